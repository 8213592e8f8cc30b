"""Progress of long work: a bar on a terminal's standard error, nothing at all anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from wayside import terminal

Thing = TypeVar("Thing")

STEPS = 1000  # of a bar
REDRAWN_EVERY_S = 0.1
SHOWN_AFTER_S = 1.0  # work that is done before that shows no bar


def watched(things: Sequence[Thing], what: str) -> Iterable[Thing]:
    """The things one after another, with a bar if that takes long and somebody is looking."""
    if len(things) < 2 or not _somebody_looks():
        return things
    return _with_bar(things, what)


@contextmanager
def shares(count: int, what: str) -> Iterator[Callable[[int, float], None] | None]:
    """A bar for `count` long things, even for one: it is told which one (from 0) has come how far (0 to 1).

    None where nobody looks, so that nothing is spent on it.
    """
    if not _somebody_looks():
        yield None
        return
    from tqdm import tqdm

    look = "{desc}: {percentage:3.0f}% |{bar}| {elapsed}"
    times = {"delay": SHOWN_AFTER_S, "mininterval": REDRAWN_EVERY_S}
    with tqdm(total=count, desc=what, bar_format=look, leave=False, file=sys.stderr, miniters=0, **times) as bar:
        terminal.make_room = bar.clear
        try:
            yield lambda number, share: _move(bar, number + share)
        finally:
            terminal.make_room = None


def _move(bar: Any, to: float) -> None:
    """Small steps are saved up: a step is shorter than anything that shows."""
    if abs(to - bar.n) >= bar.total / STEPS:
        bar.update(to - bar.n)


def _somebody_looks() -> bool:
    return sys.stderr is not None and sys.stderr.isatty()


def _with_bar(things: Sequence[Thing], what: str) -> Iterator[Thing]:
    from tqdm import tqdm

    with tqdm(things, desc=what, unit="", leave=False, delay=SHOWN_AFTER_S, file=sys.stderr) as bar:
        terminal.make_room = bar.clear  # a result printed meanwhile takes the bar's line
        try:
            yield from bar
        finally:
            terminal.make_room = None
