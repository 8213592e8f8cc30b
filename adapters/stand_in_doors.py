"""The stand-in's doors: a pseudo-terminal under a name that stays, and a connection. Neither ever waits.

Knows nothing of what goes through them.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import tempfile
from collections.abc import Callable

MOST_PENDING = 262_144  # bytes that a client has not fetched; what is more is lost
CHUNK = 4_096
LINK_NAME = "wayside-stand-in"
MOST_LINK_NAMES = 20


class Pending:
    """Bytes for one client that it has not fetched."""

    def __init__(self) -> None:
        self.bytes = bytearray()

    def add(self, data: bytes) -> None:
        if len(self.bytes) + len(data) <= MOST_PENDING:
            self.bytes += data

    def flush(self, write: Callable[[bytes], int]) -> None:
        while self.bytes:
            del self.bytes[: write(bytes(self.bytes[:CHUNK]))]


class Pty:
    """A pseudo-terminal under a name that stays the same when the cable is out and in again."""

    def __init__(self, name: str | None = None) -> None:
        self._wanted = name
        self.name = self.device = ""
        self.present = False  # whether somebody has it open
        self.pending = Pending()
        self.fd = -1

    def open(self) -> None:
        import tty

        self.fd, far = os.openpty()
        tty.setraw(far)
        self.device = os.ttyname(far)
        os.close(far)
        os.set_blocking(self.fd, False)
        self.name = _link(self.device, self.name or self._wanted)
        self.present = False

    def close(self) -> None:
        if self.fd >= 0:
            with contextlib.suppress(OSError):
                if self.name != self.device and os.readlink(self.name) == self.device:
                    os.unlink(self.name)
            os.close(self.fd)
            self.fd = -1
        self.gone()

    def gone(self) -> None:
        self.present = False
        self.pending = Pending()

    def read(self, most: int) -> bytes | None:
        """What has come, perhaps nothing; None while nobody has the other end open."""
        try:
            return os.read(self.fd, most) or None
        except BlockingIOError:
            return b""
        except OSError:  # the other end is closed, or was never opened
            return None

    def write(self, data: bytes) -> int:
        return os.write(self.fd, data)

    def hung_up(self) -> bool:
        """Whether the other end is closed, without reading what was written to it before."""
        poller = select.poll()
        poller.register(self.fd, 0)
        return any(events & select.POLLHUP for _, events in poller.poll(0))


def _link(device: str, wanted: str | None) -> str:
    """A name for the device that stays; the device itself where no name is free."""
    if wanted is not None:
        os.symlink(device, wanted)
        return wanted
    first = os.path.join(tempfile.gettempdir(), LINK_NAME)
    for name in [first, *(f"{first}-{count}" for count in range(2, MOST_LINK_NAMES))]:
        with contextlib.suppress(OSError):
            if os.path.islink(name) and not os.path.exists(name) and os.lstat(name).st_uid == os.getuid():
                os.unlink(name)  # left behind by one that was killed
            os.symlink(device, name)
            return name
    return device


class Client:
    """A connection on the TCP port."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.socket = connection
        self.pending = Pending()

    def read(self, most: int) -> bytes | None:
        try:
            return self.socket.recv(most) or None
        except BlockingIOError:
            return b""
        except OSError:
            return None

    def write(self, data: bytes) -> int:
        return self.socket.send(data)
