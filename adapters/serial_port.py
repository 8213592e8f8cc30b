"""The one file that knows the serial library: a port that is opened, read, written and closed, and what can go wrong.

Any address of the library: a device, `COM5`, `socket://`, `rfc2217://`, `loop://`. Whatever it raises becomes a
`PortTrouble` in plain words with what to try. Knows nothing of what the bytes mean.
"""

from __future__ import annotations

import errno
import os
import socket
import sys
import threading
from typing import Any, NamedTuple

import serial  # type: ignore[import-untyped]
from serial.tools import list_ports  # type: ignore[import-untyped]

if sys.platform != "win32":
    import grp
    import termios

    _TERMIOS_ERROR: type[Exception] = termios.error  # no subclass of OSError
else:
    _TERMIOS_ERROR = OSError

READ_TIMEOUT_S = 0.05  # a read without a byte ends then, so that its thread can look whether it should
WRITE_TIMEOUT_S = 1.0  # a far end that takes nothing for so long is as good as gone
READ_LIMIT = 65_536  # bytes of one read

# Tried with pyserial 3.5. TypeError, ValueError, AttributeError: a read or write while another thread closes the port.
# LookupError: its own message about a wrong socket:// address cannot be made.
_RAISED = (serial.SerialException, OSError, _TERMIOS_ERROR, TypeError, ValueError, AttributeError, LookupError)


class PortTrouble(Exception):
    """What is wrong with a port, and what to try; `kind` is one of KINDS."""

    def __init__(self, kind: str, what: str, instead: str) -> None:
        super().__init__(f"{what}; {instead}")
        self.kind = kind
        self.what = what
        self.instead = instead


KINDS = ("nothing there", "permission", "taken", "unplugged", "no such address", "other")


class Found(NamedTuple):
    """A port that is there: what to write in the layout file, and what it says of itself."""

    port: str
    what: str


def ports() -> list[Found]:
    """Every serial port of this computer, in order of its name; what has no description is called a serial port."""
    found = []
    for info in list_ports.comports():
        said = [text for text in (info.description, info.manufacturer) if text and text != "n/a"]
        found.append(Found(info.device, ", ".join(dict.fromkeys(said)) or "serial port"))
    return sorted(found)


class Port:
    """An open port. One thread reads, one writes; any thread may close it."""

    def __init__(self, opened: Any, url: str) -> None:
        self.url = url
        self._serial = opened
        self._closing = threading.Lock()
        self._closed = False
        self._streams = url.lower().startswith("socket:")  # tells only that there is something, not how much

    @classmethod
    def open(cls, url: str, baud: int = 115_200, exclusive: bool = True, leave_lines_alone: bool = False) -> Port:
        """Open a port. `leave_lines_alone`: touch no control line, so that a station on it is not reset.

        Where the system itself moves the lines when a port is opened for the first time, nothing can be done about
        that time; closing then leaves them as they are. Raises PortTrouble.
        """
        try:
            opened = serial.serial_for_url(url, do_not_open=True)
            opened.baudrate = baud
            opened.timeout = READ_TIMEOUT_S
            opened.write_timeout = WRITE_TIMEOUT_S
            if exclusive and "://" not in url and sys.platform != "win32":
                opened.exclusive = True  # on Windows a port is always exclusive
            if leave_lines_alone:
                _leave_lines(opened)
            opened.open()
        except _RAISED as raised:
            raise trouble(url, raised, opening=True) from raised
        if leave_lines_alone:
            _keep_on_closing(opened)
        return cls(opened, url)

    def read(self) -> bytes:
        """What has come in; waits a moment for the first byte, and gives nothing if none comes. Raises PortTrouble."""
        try:
            data: bytes = self._serial.read(1)
            return data + self._rest() if data else data
        except _RAISED as raised:
            raise trouble(self.url, raised) from raised

    def _rest(self) -> bytes:
        if not self._streams:
            waiting = min(self._serial.in_waiting, READ_LIMIT)
            return bytes(self._serial.read(waiting)) if waiting else b""
        self._serial.timeout = 0
        try:
            return bytes(self._serial.read(READ_LIMIT))
        finally:
            self._serial.timeout = READ_TIMEOUT_S

    def write(self, data: bytes) -> None:
        """Write all of it, or raise PortTrouble."""
        try:
            written = self._serial.write(data)
        except serial.SerialTimeoutException as raised:
            raise PortTrouble("other", f"`{self.url}` takes nothing any more", "look at the far end") from raised
        except _RAISED as raised:
            raise trouble(self.url, raised) from raised
        if written is not None and written < len(data):
            raise PortTrouble("unplugged", f"`{self.url}` was closed in the middle of a command", "plug it in again")

    def close(self) -> None:
        """Close it; a second time does nothing. Never raises."""
        with self._closing:
            if self._closed:
                return
            self._closed = True
        for step in ("cancel_read", "cancel_write", "close"):
            try:
                getattr(self._serial, step, lambda: None)()
            except _RAISED:
                pass  # it is gone already


def _leave_lines(port: Any) -> None:
    if sys.platform == "win32":  # there the lines are set with everything else; unset ones reset nobody
        port.dtr = port.rts = False
        return
    port._update_dtr_state = port._update_rts_state = lambda: None


def _keep_on_closing(port: Any) -> None:
    """Have the system leave the lines as they are when the port is closed, so that the next opening is no reset."""
    fd = getattr(port, "fd", None)
    if sys.platform == "win32" or not isinstance(fd, int):
        return
    try:
        attributes = termios.tcgetattr(fd)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(fd, termios.TCSANOW, attributes)
    except (OSError, termios.error):
        pass  # no terminal: nothing hangs up


# --- what the library raises, in plain words -----------------------------------------------------------------------

_PLUG_IN = "plug it in, switch it on, and look at the port's name in the layout file"
_AGAIN = "plug it in again; Wayside goes on by itself"
_OWN_BOARD = "close the other program, or give Wayside a board of its own, or a socket:// address that both can use"


def trouble(url: str, raised: BaseException, opening: bool = False) -> PortTrouble:
    """What an exception of the library means for a person. While a port is open, most of them mean that it is gone."""
    cause = _cause(raised)
    number = getattr(cause, "errno", None)
    if not opening:
        return PortTrouble("unplugged", f"`{url}` is gone", _AGAIN)
    if isinstance(cause, socket.gaierror):
        return PortTrouble("no such address", f"nobody knows the address `{url}`", "look at its spelling")
    if isinstance(cause, ValueError | TypeError | LookupError) or "expected a string in the form" in str(raised):
        return _unreadable(url, cause)
    if number in _BY_NUMBER:
        kind, what, instead = _BY_NUMBER[number]
        return PortTrouble(kind, what.format(url), instead)
    if number in (errno.EACCES, errno.EPERM) or "PermissionError" in str(raised):
        return _not_allowed(url)
    if "FileNotFoundError" in str(raised) or "no ports found" in str(raised):
        return PortTrouble("nothing there", f"there is nothing at `{url}`", _PLUG_IN)
    if isinstance(cause, TimeoutError) or "timed out" in str(raised):
        return PortTrouble("nothing there", f"nobody answers at `{url}`", "look whether the far end is switched on")
    if isinstance(cause, _TERMIOS_ERROR) or "configure port" in str(raised):
        return PortTrouble("other", f"`{url}` is no serial port", "look at the port's name in the layout file")
    return PortTrouble("other", f"`{url}` cannot be opened ({cause})", "unplug it, plug it in and try again")


_BY_NUMBER: dict[int | None, tuple[str, str, str]] = {
    errno.ENOENT: ("nothing there", "there is nothing at `{}`", _PLUG_IN),
    errno.ENXIO: ("nothing there", "there is nothing at `{}`", _PLUG_IN),
    errno.ENODEV: ("nothing there", "there is nothing at `{}`", _PLUG_IN),
    errno.EIO: ("nothing there", "there is nothing behind `{}`", _PLUG_IN),
    errno.EISDIR: ("other", "`{}` is a folder", "look at the port's name in the layout file"),
    errno.ENOTTY: ("other", "`{}` is no serial port", "look at the port's name in the layout file"),
    errno.EBUSY: ("taken", "another program has `{}`", _OWN_BOARD),
    errno.EAGAIN: ("taken", "another program has `{}`", _OWN_BOARD),
    errno.EWOULDBLOCK: ("taken", "another program has `{}`", _OWN_BOARD),
    errno.ECONNREFUSED: ("nothing there", "nobody listens at `{}`", "start the far end, and look at the port's number"),
    errno.EHOSTUNREACH: ("nothing there", "there is no way to `{}`", "look whether both are on the same network"),
    errno.ENETUNREACH: ("nothing there", "there is no way to `{}`", "look whether this computer is on a network"),
    errno.ETIMEDOUT: ("nothing there", "nobody answers at `{}`", "look whether the far end is switched on"),
}


def _cause(raised: BaseException) -> BaseException:
    """The system's own exception, where the library has wrapped it."""
    while raised.__context__ is not None and isinstance(raised, serial.SerialException):
        raised = raised.__context__
    return raised


def _unreadable(url: str, cause: BaseException) -> PortTrouble:
    if "baud" in str(cause).lower():
        return PortTrouble("other", f"`{url}` cannot go at that speed", "write `speed: 115200 baud`, or leave it out")
    return PortTrouble(
        "no such address",
        f"`{url}` is no address of a port",
        "write a device such as /dev/ttyACM0 or COM5, or an address such as socket://localhost:2560",
    )


def _not_allowed(url: str) -> PortTrouble:
    if sys.platform == "win32":  # there a port that somebody else has open is a matter of permission, too
        return PortTrouble("taken", f"another program has `{url}`", _OWN_BOARD)
    what = f"this user may not use `{url}`"
    try:
        status = os.stat(url)
        group = grp.getgrgid(status.st_gid).gr_name
    except (OSError, KeyError):
        return PortTrouble("permission", what, "ask whoever looks after this computer")
    if group == "root" or not status.st_mode & 0o060:
        return PortTrouble("permission", what, "ask whoever looks after this computer")
    return PortTrouble(
        "permission",
        f"{what}: that takes the group `{group}`",
        f"run `sudo usermod -a -G {group} $USER`, then log out and in again",
    )
