"""Progress of long work: a bar on a terminal's standard error, nothing at all anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

from wayside import terminal

Thing = TypeVar("Thing")

SHOWN_AFTER_S = 1.0  # work that is done before that shows no bar


def watched(things: Sequence[Thing], what: str) -> Iterable[Thing]:
    """The things one after another, with a bar if that takes long and somebody is looking."""
    if len(things) < 2 or sys.stderr is None or not sys.stderr.isatty():
        return things
    return _with_bar(things, what)


def _with_bar(things: Sequence[Thing], what: str) -> Iterator[Thing]:
    from tqdm import tqdm

    with tqdm(things, desc=what, unit="", leave=False, delay=SHOWN_AFTER_S, file=sys.stderr) as bar:
        terminal.make_room = bar.clear  # a result printed meanwhile takes the bar's line
        try:
            yield from bar
        finally:
            terminal.make_room = None
