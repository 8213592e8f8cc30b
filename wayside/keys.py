"""Single keys from the terminal, without Enter. The one file that knows how a terminal is asked for them."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

if sys.platform != "win32":
    import select
    import termios
    import tty
else:
    import msvcrt

STDIN = 0
ESCAPE = "escape"
END = "end of input"
_AFTER_ESCAPE_S = 0.05  # a terminal sends the rest of a key's sequence at once
_SEQUENCES = {
    "[A": "up", "[B": "down", "[C": "right", "[D": "left", "OA": "up", "OB": "down", "OC": "right", "OD": "left",
    "[5~": "page up", "[6~": "page down",
}  # fmt: skip
_WINDOWS = {"H": "up", "P": "down", "M": "right", "K": "left", "I": "page up", "Q": "page down"}


def there() -> bool:
    """Whether a person with a keyboard is there."""
    return sys.stdin.isatty() and sys.stdout.isatty()


if sys.platform != "win32":

    @contextmanager
    def single() -> Iterator[None]:
        """Keys come one by one in here, and are not shown. Ctrl-C works as ever; the terminal is put back after."""
        before = termios.tcgetattr(STDIN)
        tty.setcbreak(STDIN, termios.TCSADRAIN)
        try:
            yield
        finally:
            termios.tcsetattr(STDIN, termios.TCSADRAIN, before)

    @contextmanager
    def whole_lines() -> Iterator[None]:
        """For one typed line among single keys."""
        now = termios.tcgetattr(STDIN)
        lines = termios.tcgetattr(STDIN)
        lines[3] |= termios.ICANON | termios.ECHO
        termios.tcsetattr(STDIN, termios.TCSADRAIN, lines)
        try:
            yield
        finally:
            termios.tcsetattr(STDIN, termios.TCSADRAIN, now)

    def key(within_s: float) -> str:
        """The next key, by its character or its name; "" if none comes in time."""
        if not _waits(within_s):
            return ""
        first = os.read(STDIN, 1)
        if not first:
            return END
        if first != b"\x1b":
            return _character(first)
        sequence = ""
        while len(sequence) < 6 and _waits(_AFTER_ESCAPE_S):
            sequence += os.read(STDIN, 1).decode("latin-1")
            if len(sequence) > 1 and (sequence[-1].isalpha() or sequence[-1] == "~"):
                break
        return _SEQUENCES.get(sequence, ESCAPE if not sequence else "other")

    def _waits(within_s: float) -> bool:
        return bool(select.select([STDIN], [], [], within_s)[0])

    def _character(first: bytes) -> str:
        more = 3 if first[0] >= 0xF0 else 2 if first[0] >= 0xE0 else 1 if first[0] >= 0xC0 else 0
        return (first + (os.read(STDIN, more) if more else b"")).decode("utf-8", "replace")

else:

    @contextmanager
    def single() -> Iterator[None]:
        """There is nothing to be switched."""
        yield

    @contextmanager
    def whole_lines() -> Iterator[None]:
        """There is nothing to be switched."""
        yield

    def key(within_s: float) -> str:
        """The next key, by its character or its name; "" if none comes in time."""
        import time

        until = time.monotonic() + within_s
        while not msvcrt.kbhit():
            if time.monotonic() >= until:
                return ""
            time.sleep(0.01)
        first = msvcrt.getwch()
        if first == "\x03":
            raise KeyboardInterrupt
        if first in "\x00\xe0":
            return _WINDOWS.get(msvcrt.getwch(), "other")
        return ESCAPE if first == "\x1b" else first
