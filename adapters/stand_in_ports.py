"""The stand-in in real time: a pseudo-terminal, a TCP port on this computer only, and the loop that serves them.

What is said is the business of the station.
"""

from __future__ import annotations

import contextlib
import os
import queue
import select
import socket
import threading
import time
from collections.abc import Callable, Iterator
from typing import TypeVar

from adapters.stand_in import Station
from adapters.stand_in_doors import Client, Pty

HOST = "127.0.0.1"
MOST_CLIENTS = 4  # on the TCP port
CHUNK = 4_096
LOOK_S = 0.02  # how often an unopened pseudo-terminal is looked at
LONGEST_SLEEP_S = 0.2
RETRY_US = 200_000  # after a door could not be opened again
PTY_LINE = 0

Answer = TypeVar("Answer")


class StandIn:
    """A station with its doors open. `serve` runs until `stop`; both `stop` and `ask` may come from other threads."""

    def __init__(
        self,
        station: Station,
        pty: bool = True,
        tcp: int | None = None,
        name: str | None = None,
        watch: Callable[[Station, int], None] | None = None,
    ) -> None:
        self.station = station
        self.pty = Pty(name) if pty else None
        self.port = tcp  # 0 until a free one has been found
        self._watch = watch
        self._listener: socket.socket | None = None
        self._clients: dict[int, Client] = {}
        self._lines = PTY_LINE
        self._open = False
        self._retry_us = 0
        self._asked: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._wake, self._woken = socket.socketpair()
        self._wake.setblocking(False)
        self._woken.setblocking(False)
        self._ends = False
        self._began_ns = time.monotonic_ns()

    def now_us(self) -> int:
        return (time.monotonic_ns() - self._began_ns) // 1_000

    # --- doors -----------------------------------------------------------------------------------------------------

    def open(self) -> None:
        """Open all doors; OSError if one cannot be."""
        try:
            if self.port is not None:
                self._listener = listener = socket.socket()
                if os.name != "nt":  # there it would let two programs have one port
                    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                listener.bind((HOST, self.port))
                listener.listen(MOST_CLIENTS)
                listener.setblocking(False)
                self.port = listener.getsockname()[1]
            if self.pty is not None:
                self.pty.open()
        except OSError:
            self.close()
            raise
        self._open = True

    def close(self) -> None:
        """Close all doors; clients find their line dead."""
        if self._listener is not None:
            self._listener.close()
            self._listener = None
        for client in self._clients.values():
            client.socket.close()
        self._clients.clear()
        if self.pty is not None:
            self.pty.close()
        self._open = False

    # --- the loop --------------------------------------------------------------------------------------------------

    def serve(self) -> None:
        """Keep the station's time, and carry bytes, until somebody says stop. The doors are closed then."""
        try:
            while not self._ends:
                while not self._asked.empty():
                    self._asked.get()()
                self._deliver()
                self._plug()
                if self._watch is not None:
                    self._watch(self.station, self.now_us())
                self._carry()
        finally:
            self.close()

    def stop(self) -> None:
        self._ends = True
        self._rouse()

    def ask(self, question: Callable[[Station, int], Answer], patience_s: float = 5.0) -> Answer:
        """Let the loop call `question(station, now_us)`, between two of its rounds, and give its answer or error."""
        answers: queue.SimpleQueue[tuple[Answer | None, BaseException | None]] = queue.SimpleQueue()

        def answer() -> None:
            try:
                answers.put((question(self.station, self.now_us()), None))
            except Exception as problem:  # it belongs to whoever asked
                answers.put((None, problem))

        self._asked.put(answer)
        self._rouse()
        found, problem = answers.get(timeout=patience_s)
        if problem is not None:
            raise problem
        return found  # type: ignore[return-value]

    def _rouse(self) -> None:
        with contextlib.suppress(OSError):  # full: it is awake already
            self._wake.send(b"!")

    def _deliver(self) -> None:
        for line, data in self.station.advance(self.now_us()):
            if line == PTY_LINE and self.pty is not None and self.pty.present:
                self.pty.pending.add(data)
            elif line in self._clients:
                self._clients[line].pending.add(data)
        for line, door in self._doors():
            try:
                door.pending.flush(door.write)
            except BlockingIOError:
                continue
            except OSError:
                self._lost(line)

    def _plug(self) -> None:
        """Take the cable out, or put it in again, as the station has it."""
        if self._open and not self.station.plugged:
            self.close()
        elif not self._open and self.station.plugged and self.now_us() >= self._retry_us:
            try:
                self.open()
            except OSError as problem:
                self.station.note("line", f"the port cannot be opened again: {problem.strerror}")
                self._retry_us = self.now_us() + RETRY_US

    def _doors(self) -> list[tuple[int, Pty | Client]]:
        doors: list[tuple[int, Pty | Client]] = list(self._clients.items())
        if self.pty is not None and self.pty.present:
            doors.append((PTY_LINE, self.pty))
        return doors

    def _carry(self) -> None:
        """Sleep until something comes or is due, and take in what has come."""
        doors = {door.fd if isinstance(door, Pty) else door.socket: (line, door) for line, door in self._doors()}
        reads: list[socket.socket | int] = [self._woken, *([self._listener] if self._listener else [])]
        reads += [source for source, (line, _) in doors.items() if self.station.room(line)]
        writes = [source for source, (_, door) in doors.items() if door.pending.bytes]
        ready, _, _ = select.select(reads, writes, [], self._sleep_s())
        for source in ready:
            if source is self._woken:
                self._woken.recv(CHUNK)
            elif source is self._listener:
                self._welcome(self._listener)
            else:
                self._read(*doors[source])
        if self.pty is not None and self.pty.fd >= 0:
            if not self.pty.present:
                self._look(self.pty)
            elif not self.station.room(PTY_LINE) and self.pty.hung_up():  # else reading tells
                self._lost(PTY_LINE)

    def _sleep_s(self) -> float:
        longest = LOOK_S if self.pty is not None and self._open and not self.pty.present else LONGEST_SLEEP_S
        due_us = self.station.next_due()
        if due_us is None:
            return longest
        return min(longest, max(0.0, (due_us - self.now_us()) / 1_000_000))

    def _read(self, line: int, door: Pty | Client) -> None:
        data = door.read(min(CHUNK, self.station.room(line)))
        if data is None:
            self._lost(line)
        elif data:
            self.station.received(data, self.now_us(), line)

    def _look(self, pty: Pty) -> None:
        """Whether somebody has opened the pseudo-terminal; it may have been closed again, with its bytes in it."""
        data = pty.read(CHUNK)
        if data is None:
            return
        pty.present = self.station.opened(self.now_us(), PTY_LINE)
        if data and pty.present:
            self.station.received(data, self.now_us(), PTY_LINE)

    def _welcome(self, listener: socket.socket) -> None:
        try:
            connection, _ = listener.accept()
        except OSError:  # gone before it was let in
            return
        self._lines += 1
        if len(self._clients) >= MOST_CLIENTS or not self.station.opened(self.now_us(), self._lines):
            self.station.note("line", f"one more sender was sent away; {MOST_CLIENTS} are enough")
            connection.close()
            return
        self._clients[self._lines] = Client(connection)

    def _lost(self, line: int) -> None:
        """A client has gone; the next one is welcome."""
        if line == PTY_LINE and self.pty is not None:
            self.pty.gone()
        elif line in self._clients:
            self._clients.pop(line).socket.close()
        self.station.closed(self.now_us(), line)


@contextlib.contextmanager
def running(
    station: Station | None = None, pty: bool = True, tcp: int | None = None, name: str | None = None
) -> Iterator[StandIn]:
    """A stand-in that serves from a thread of its own, for tests and trials."""
    stand_in = StandIn(Station() if station is None else station, pty, tcp, name)
    stand_in.open()
    thread = threading.Thread(target=stand_in.serve, name="stand-in", daemon=True)
    thread.start()
    try:
        yield stand_in
    finally:
        stand_in.stop()
        thread.join(5.0)
