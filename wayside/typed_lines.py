"""Lines typed at a terminal, or written into a pipe, each with the instant at which it came; read by a thread."""

from __future__ import annotations

import asyncio
import os
import threading
from collections.abc import Callable
from contextlib import suppress

STDIN = 0
MOST_BYTES = 4_096  # of one line; the rest of a longer one is a line of its own
BACKGROUND_S = 0.5  # between two looks whether the terminal is ours again
ENDED = "\x04"  # what is heard at the end of all lines


class TypedLines:
    """`hear` is called in the loop's thread with each line; with ENDED when there will be no more."""

    def __init__(self, hear: Callable[[str, int], None], now_us: Callable[[], int]) -> None:
        self._hear, self._now_us = hear, now_us
        self._loop: asyncio.AbstractEventLoop | None = None

    def start(self) -> None:
        """To be called in the loop."""
        self._loop = asyncio.get_running_loop()
        threading.Thread(target=self._read, name="typed lines", daemon=True).start()

    def _read(self) -> None:
        """Read from the keyboard's number: a thread that held a reader's lock would spoil the leaving."""
        waiting = b""
        with suppress(OSError):
            while data := _read():
                at_us = self._now_us()
                *lines, waiting = (waiting + data).split(b"\n")
                for line in lines:
                    self._tell(line.decode("utf-8", "replace").rstrip("\r"), at_us)
                if len(waiting) > MOST_BYTES:
                    self._tell(waiting.decode("utf-8", "replace"), at_us)
                    waiting = b""
        if waiting:
            self._tell(waiting.decode("utf-8", "replace"), self._now_us())
        self._tell(ENDED, self._now_us())

    def _tell(self, line: str, at_us: int) -> None:
        assert self._loop is not None
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._hear, line, at_us)


def _read() -> bytes:
    """What is typed next. Reading from a terminal that another job has would stop the whole program."""
    while _in_background():
        threading.Event().wait(BACKGROUND_S)
    return os.read(STDIN, MOST_BYTES)


def _in_background() -> bool:
    try:
        return hasattr(os, "tcgetpgrp") and os.isatty(STDIN) and os.tcgetpgrp(STDIN) != os.getpgrp()
    except OSError:  # a terminal, and not the one that this program was started from: nobody stops it there
        return False
