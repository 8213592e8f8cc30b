"""What rules come to: verdicts, margins, breaches; what every monitor of a rule's line is. Knows no kernel, no names.

Truth is constant from one feed up to the next. A monitor keeps a verdict, when its rule broke, and the margin: by how
much the rule held, or failed, as a time in microseconds, a number of times, or in the unit of an output: the greatest
amount by which the sentence could be made stricter and still hold (less than nothing: by how much it would have to be
eased). `engine/README.md` has the formulas of metric temporal logic.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import NamedTuple, Protocol

BREACHES = 100  # of one line of a rule are kept; the rest are counted


class Verdict(Enum):
    """What a rule's line has come to, so far."""

    SILENT = "never came to it"  # what it speaks of has not happened
    HELD = "held"
    OPEN = "open"  # something has begun that the rule waits for the end of
    BROKEN = "broken"


class Amount(Enum):
    """What a margin is counted in."""

    TIME = "us"
    TIMES = "times"
    LEVEL = "level"  # the unit of the output that is asked


class Margin(NamedTuple):
    """By how much, and at which instant it came closest. At nothing, a rule is kept with nothing to spare, unless it
    asks for an earlier or a later (see each monitor)."""

    amount: float
    unit: Amount
    at_us: int


class Breach(NamedTuple):
    """`at_us` is when it was certain, `since_us` when what broke it began."""

    at_us: int
    since_us: int


class Monitor(Protocol):
    """One line of a rule. `settle` is called at each instant at which one of its conditions may have changed, and at
    `next_due`, at which its verdict may change by itself."""

    breaches: list[Breach]
    broken: int
    margin: Margin | None

    def settle(self, at_us: int, holds: Sequence[bool]) -> None: ...

    def next_due(self) -> int | None: ...

    def finish(self, at_us: int) -> Verdict:
        """The verdict if everything ended at this instant; may be asked again and again."""


class Kept:
    """What all monitors keep. They call `_break` when a line breaks, and `_close` when it came so close."""

    def __init__(self) -> None:
        self.breaches: list[Breach] = []
        self.broken = 0
        self.margin: Margin | None = None
        self.spoke = False  # whether it came to anything

    def next_due(self) -> int | None:
        return None

    def _break(self, at_us: int, since_us: int) -> None:
        self.broken += 1
        if len(self.breaches) < BREACHES:
            self.breaches.append(Breach(at_us, since_us))

    def _close(self, amount: float, at_us: int, unit: Amount = Amount.TIME) -> None:
        """It came so close; the closest counts, and of equals the first."""
        if self.margin is None or amount < self.margin.amount:
            self.margin = Margin(amount, unit, at_us)

    def finish(self, at_us: int) -> Verdict:
        if self.broken:
            return Verdict.BROKEN
        return Verdict.HELD if self.spoke else Verdict.SILENT
