"""One wire into the stand-in: bytes at the pace of 8N1, a small receive buffer, frames out of it, replies on their way.

Its own way of reading frames, on purpose, so that a mistake here is not the mistake of the codec. Does no I/O.
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

RECEIVE_BUFFER = 64  # bytes, as the small boards have them (from memory)
LONGEST_COMMAND = 50  # characters between the brackets
MOST_COMING = 8_192  # bytes that the sender's own computer holds back
MOST_UNSENT = 262_144  # bytes of replies; what is more is lost
BITS = 10  # of one byte on the wire: a start bit, eight, a stop bit
US = 1_000  # nanoseconds


class Heard(NamedTuple):
    """A command, and when its last byte was there. `text` is None for one that was too long."""

    text: str | None
    arrived_us: int


class Line:
    """All that one sender sends, and what is said to it. Instants in microseconds, the pace kept in nanoseconds."""

    def __init__(self, baud: int) -> None:
        self._byte_ns = BITS * 1_000_000_000 // baud
        self._coming: deque[tuple[int, int]] = deque()
        self._buffer: deque[tuple[int, int]] = deque()
        self._frame: bytearray | None = None
        self._in_free_ns = self._out_free_ns = 0
        self._out: deque[tuple[int, bytes]] = deque()
        self._unsent = 0
        self.deaf_until_us = 0
        self.lost = 0  # bytes that found the receive buffer full
        self.unheard = 0  # bytes that came while it was deaf
        self.dropped = 0  # bytes of replies that nobody fetched

    # --- in --------------------------------------------------------------------------------------------------------

    @property
    def room(self) -> int:
        """How many bytes the sender can hand over without losing any to its own computer."""
        return MOST_COMING - len(self._coming)

    def carry(self, data: bytes, now_us: int) -> None:
        """The sender hands bytes over; each takes its time on the wire."""
        self.lost += max(0, len(data) - self.room)
        for byte in data[: self.room]:
            self._in_free_ns = max(self._in_free_ns, now_us * US) + self._byte_ns
            self._coming.append((-(-self._in_free_ns // US), byte))

    def land(self, now_us: int) -> None:
        """What has come over the wire goes into the receive buffer, as long as there is room."""
        while self._coming and self._coming[0][0] <= now_us:
            arrived = self._coming.popleft()
            if arrived[0] < self.deaf_until_us:
                self.unheard += 1
            elif len(self._buffer) >= RECEIVE_BUFFER:
                self.lost += 1
            else:
                self._buffer.append(arrived)

    def take(self) -> Heard | None:
        """The station looks into the receive buffer: the next whole command, if there is one."""
        while self._buffer:
            at_us, byte = self._buffer.popleft()
            if byte == ord("<"):
                self._frame = bytearray()
            elif self._frame is None:
                continue  # outside of brackets: nothing to anybody
            elif byte == ord(">"):
                found, self._frame = bytes(self._frame), None
                return Heard(found.decode("ascii", "replace") if len(found) <= LONGEST_COMMAND else None, at_us)
            elif len(self._frame) <= LONGEST_COMMAND:
                self._frame.append(byte)
        return None

    @property
    def within(self) -> int:
        """How far into a command it is, in characters."""
        return len(self._frame or b"")

    def forget(self) -> None:
        """The station has restarted: what was waiting in it is gone. What is on the wire still comes."""
        self._buffer.clear()
        self._out.clear()
        self._frame, self._unsent, self._out_free_ns = None, 0, 0

    # --- out -------------------------------------------------------------------------------------------------------

    def say(self, data: bytes, now_us: int, paced: bool = True) -> int:
        """Bytes after all that still waits; when the last of them will have left. `now_us` may lie ahead."""
        if self._unsent + len(data) > MOST_UNSENT:
            self.dropped += len(data)
            return now_us
        self._out_free_ns = max(self._out_free_ns, now_us * US) + (len(data) * self._byte_ns if paced else 0)
        self._unsent += len(data)
        left_us = -(-self._out_free_ns // US)
        self._out.append((left_us, data))
        return left_us

    def leave(self, now_us: int) -> list[bytes]:
        """What has left by now."""
        gone = []
        while self._out and self._out[0][0] <= now_us:
            gone.append(self._out.popleft()[1])
            self._unsent -= len(gone[-1])
        return gone

    def next_due(self, free_us: int, speaks_us: int) -> int | None:
        """When something is next to be done, given when the station can take a command and may speak."""
        dues = []
        if self._coming:
            dues.append(self._coming[0][0])
        if self._buffer:
            dues.append(free_us)
        if self._out:
            dues.append(max(self._out[0][0], speaks_us))
        return min(dues, default=None)
