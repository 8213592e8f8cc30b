"""What is written to the screen: plain text that no terminal's alphabet and no stray control character can break."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from wayside.usage import UsageProblem, why_not

# Control characters would let a file's text move the cursor or ring the bell; line ends and tabs are meant.
_HARMLESS = {code: "?" for code in [*range(32), 127, *range(128, 160)] if chr(code) not in "\n\t"}

# Clears the line that a progress bar stands on, while there is one.
make_room: Callable[[], object] | None = None
_shown = ""  # on the line that a person works at


def prepare() -> None:
    """Letters that the terminal does not have come out as `?`, and a stream that was closed before we began is an empty
    one, instead of either stopping the program.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:  # opened in this order, each takes the number that a port would else be given
            setattr(sys, name, open(os.devnull, "w" if number else "r", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def say(text: str) -> None:
    """A result: to standard output."""
    if make_room is not None:
        make_room()
    with written():
        print(text.translate(_HARMLESS))


def tell(text: str) -> None:
    """A remark that is not the result: to standard error."""
    if make_room is not None:
        make_room()
    print(text.translate(_HARMLESS), file=sys.stderr)


@contextmanager
def written() -> Iterator[None]:
    """Whatever is written to standard output in here: a full disk is the asker's to settle, and is said in words."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as problem:
        if problem.errno == errno.EINVAL and os.name == "nt":  # what a closed pipe looks like there
            raise BrokenPipeError from problem
        drop_output(sys.stdout)
        raise UsageProblem(f"The output cannot be written: {why_not(problem)}.") from problem


def width() -> int:
    """Columns of the terminal; 80 where that is not known."""
    import shutil  # a check has no use for it

    return shutil.get_terminal_size().columns


def finish() -> None:
    """Write what is still waiting: a full disk or a closed pipe must show now, not after we have left."""
    with written():
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:
                stream.flush()


def drop_output(*streams: Any) -> None:
    """Let what is still buffered go nowhere, so that leaving makes no noise."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in streams:
        try:
            os.dup2(nowhere, stream.fileno())
        except (OSError, ValueError, AttributeError):  # not a real file, or already closed
            continue
    os.close(nowhere)


def show_line(text: str) -> None:
    """The line that a person works at, in place of what stood there; whatever else is said goes above it."""
    global make_room, _shown
    if make_room is _clear_line and text == _shown:
        return
    _shown = text
    with written():
        sys.stdout.write(f"\r{text.translate(_HARMLESS)[: width() - 1]}\x1b[K")
        sys.stdout.flush()
    make_room = _clear_line


def end_line() -> None:
    """That line stays where it is, and what follows begins below it."""
    global make_room
    if make_room is _clear_line:
        make_room = None
        with written():
            sys.stdout.write("\n")


def _clear_line() -> None:
    global make_room
    sys.stdout.write("\r\x1b[K")
    make_room = None
