"""A link at work: its port, a thread that reads, a thread that sends in time, and new attempts for ever.

Owns the threads and the lock around the machine; what bytes mean, and what is due when, the machine knows. Whoever
performs asks and tells from a thread of their own, and is called when there is something to take.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from typing import Protocol

from adapters.link import Left, LinkMachine
from adapters.link_health import Health
from adapters.link_states import OPEN, TIMES, State, Times
from adapters.sender import Lateness, LatenessNow, Sender, monotonic_us
from adapters.serial_port import Port, PortTrouble
from engine.events import Input
from engine.layout import Layout, Link
from engine.trace import Told

SLICE = 512  # bytes that are understood at once: no longer than that a command waits for a flood of reports
ASLEEP_US = 250_000  # nothing has been read for so long: we were stopped, and what has come in is read first
LATE_US = 100_000  # a wave that was to begin so long ago is one of many that are being made up for
SETTLES_US = 30_000  # so long after the last of those their outputs are told, and only what is then wanted
LONGEST_HOLD_US = 500_000  # but no later than this after the first of them
LOOK_AGAIN_US = 5_000
# A thread that computes hands over within this; CPython's own 5 ms would make commands late. It goes for the process.
SWITCH_S = 0.0005


class OpenPort(Protocol):
    """What a link needs of a port."""

    def read(self) -> bytes: ...

    def write(self, data: bytes) -> None: ...

    def close(self) -> None: ...


Opens = Callable[[Link], OpenPort]


def open_port(link: Link) -> OpenPort:
    """The link's port, for us alone; its control lines left alone where opening it must not reset the station."""
    return Port.open(link.port, link.baud, exclusive=True, leave_lines_alone=not link.resets)


class LinkRun:
    """One link, from `start` to `stop`. All methods may be called from any thread.

    `now_us` is the clock of whoever performs: the instants of waves are in it. `hear` is called, from a thread of the
    link, when there is something to `take`; it must return at once. Raises BadWords for words that cannot be used.
    """

    def __init__(
        self,
        layout: Layout,
        link: Link,
        now_us: Callable[[], int] = monotonic_us,
        hear: Callable[[], None] = lambda: None,
        times: Times = TIMES,
        opens: Opens = open_port,
    ) -> None:
        self.link = link
        self._now_us, self._hear, self._opens = now_us, hear, opens
        self._machine = LinkMachine(layout, link, now_us(), times)
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._port: OpenPort | None = None
        self._told = False  # whether there is something to take, and has been said to be
        self._read_us = now_us()  # all that had come by then has been read
        self._late_us: tuple[int, int] | None = None  # when the first and the last late wave came; None: all in time
        self._lateness = Lateness()
        self._sender = Sender(self._work, now_us, self._failed, f"sender of {link.name}")
        self._reader = threading.Thread(target=self._read, name=f"reader of {link.name}", daemon=True)

    # --- for whoever performs --------------------------------------------------------------------------------------

    def start(self) -> None:
        """Open the port, and again for ever if it is lost."""
        sys.setswitchinterval(min(sys.getswitchinterval(), SWITCH_S))
        self._sender.start()
        self._reader.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """Close the port. What is still waiting is not told any more: see `idle`."""
        self._stopping.set()
        self._sender.stop(timeout_s)
        with self._lock:
            port = self._port
        if port is not None:
            port.close()
        if self._reader.is_alive():
            self._reader.join(timeout_s)

    def want(self, output: str, told: Told) -> None:
        """An output has been given a wave. Outputs of other links are no matter."""
        with self._lock:
            if self._machine.want(output, told.wave, told.at_us):
                now_us = self._now_us()
                if now_us - told.at_us > LATE_US:
                    self._late_us = (self._late_us[0] if self._late_us else now_us, now_us)
        self._sender.wake()

    def order(self, operation: str) -> bool:
        """Say something once, as soon as it can hear: "power on", "stop". False where its dialect has no words."""
        with self._lock:
            known = self._machine.order(operation)
        self._sender.wake()
        return known

    def take(self) -> list[Input]:
        """What has happened since the last time."""
        with self._lock:
            self._told = False
            events = self._machine.take(self._now_us())
            contact = self._machine.inputs.next_due() is not None
        if contact:
            self._sender.wake()  # it may end now that somebody has seen it
        return events

    @property
    def idle(self) -> bool:
        """Whether everything that was wanted has been told, or nobody is there to be told."""
        with self._lock:
            return self._machine.idle

    @property
    def awake(self) -> bool:
        """Whether all that came in has been read, but for the last moment. It is not after this program was stopped."""
        return self._port is None or self._now_us() - self._read_us <= ASLEEP_US

    @property
    def state(self) -> State:
        return self._machine.state

    def health(self) -> Health:
        """How it is, in plain words and figures."""
        late = self.lateness()
        with self._lock:
            return self._machine.health()._replace(late_p50_us=late.p50_us, late_p99_us=late.p99_us)

    def strange(self) -> dict[int, int]:
        """How often each number has changed that the layout does not name."""
        with self._lock:
            return dict(self._machine.inputs.strange)

    def lateness(self) -> LatenessNow:
        """How late commands to outputs left, against the instant that the pace gave them."""
        return self._lateness.now()

    # --- the thread that reads -------------------------------------------------------------------------------------

    def _read(self) -> None:
        try:
            while not self._stopping.is_set():
                port = self._open()
                if port is not None:
                    self._read_from(port)
                self._wait_to_retry()
        except BaseException as raised:
            self._failed(raised)

    def _open(self) -> OpenPort | None:
        try:
            port = self._opens(self.link)
        except PortTrouble as trouble:
            self._lost(None, trouble)
            return None
        with self._lock:
            self._read_us = self._now_us()
            self._port = port
            self._machine.opened(self._read_us)
        self._sender.wake()
        return port

    def _read_from(self, port: OpenPort) -> None:
        try:
            while not self._stopping.is_set():
                began_us = self._now_us()
                data = port.read()
                for begin in range(0, len(data), SLICE):
                    with self._lock:
                        self._machine.take_in(data[begin : begin + SLICE], self._now_us())
                    self._say()
                self._read_us = began_us
                if data:
                    self._sender.wake()
        except PortTrouble as trouble:
            self._lost(port, trouble)
        finally:
            port.close()

    def _wait_to_retry(self) -> None:
        with self._lock:
            wait_us = self._machine.retry_us - self._now_us()
        self._stopping.wait(max(0, wait_us) / 1_000_000)

    def _lost(self, port: OpenPort | None, trouble: PortTrouble) -> None:
        """The port is gone (whoever of the two threads notices first), or it could not be opened."""
        with self._lock:
            if self._port is port:
                self._port = None
                self._machine.lost(self._now_us(), trouble.what, trouble.instead)
        self._say()

    # --- the thread that sends -------------------------------------------------------------------------------------

    def _work(self) -> int | None:
        with self._lock:
            now_us = self._now_us()
            wait_us = self._not_yet(now_us)
            left = [] if wait_us else self._machine.leaving(now_us)
            port, due_us = self._port, self._machine.next_due()
        self._say()
        if left and port is not None:
            self._write(port, left)
        return wait_us or due_us

    def _not_yet(self, now_us: int) -> int | None:
        """Until when nothing is sent although it may be due: what has come in is read first, what is late settles."""
        if not self.awake:
            return now_us + LOOK_AGAIN_US
        if self._late_us is not None:
            first_us, last_us = self._late_us
            settled_us = min(first_us + LONGEST_HOLD_US, last_us + SETTLES_US)
            if now_us < settled_us:
                return settled_us
            self._late_us = None
        return None

    def _write(self, port: OpenPort, left: list[Left]) -> None:
        try:
            port.write(b"".join(one.data for one in left))
        except PortTrouble as trouble:
            self._lost(port, trouble)
            port.close()
            return
        now_us = self._now_us()
        for one in left:
            if one.due_us is not None:
                self._lateness.note(now_us - one.due_us)

    # --- for both --------------------------------------------------------------------------------------------------

    def _say(self) -> None:
        """Tell whoever performs that there is something to take; once, until it is taken."""
        with self._lock:
            if self._told or not self._machine.inputs.waiting:
                return
            self._told = True
        self._hear()

    def _failed(self, raised: BaseException) -> None:
        """A mistake of ours: the link is given up, and says so."""
        self._stopping.set()
        with self._lock:
            port, self._port = self._port, None
            if port is not None or self._machine.state not in OPEN:
                what = f"Wayside itself has failed on this link ({type(raised).__name__}: {raised})"
                self._machine.lost(self._now_us(), what, "end the show, start it again, and tell Wayside's makers")
        if port is not None:
            port.close()
        self._sender.wake()
        self._say()
