"""What is written to the screen: plain text that no terminal's alphabet and no stray control character can break."""

from __future__ import annotations

import io
import os
import sys

# Control characters would let a file's text move the cursor or ring the bell; line ends and tabs are meant.
_HARMLESS = {code: "?" for code in [*range(32), 127, *range(128, 160)] if chr(code) not in "\n\t"}


def prepare() -> None:
    """Letters that the terminal does not have come out as `?` instead of stopping the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def say(text: str) -> None:
    """A result: to standard output."""
    print(text.translate(_HARMLESS))


def tell(text: str) -> None:
    """A remark that is not the result: to standard error."""
    print(text.translate(_HARMLESS), file=sys.stderr)


def drop_output() -> None:
    """Nobody reads any more: let what is still buffered go nowhere, so that leaving makes no noise."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            os.dup2(nowhere, stream.fileno())
        except (OSError, ValueError, AttributeError):  # not a real file, or already closed
            continue
