"""Practice tables as records: rows, their limits and where each stands. What a limit asks, and by how much it is kept.

Knows the names of measures, and nothing of how they are measured, of files or of any layout.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from engine.layout import Place
from scenes.problems import Problem
from wayside.practice.measures import MEASURES, Measure, Sort

SAME_US = 1_000  # `exactly` is meant to the millisecond
SAME_RATE = Fraction(1, 100_000)


class Status(Enum):
    """How the source is known. Only what was read in its own text can be failed."""

    READ = "read"  # in its own text, or in an official copy of it
    REPORTED = "reported"  # in a page that reports it
    MEMORY = "memory"

    @property
    def words(self) -> str:
        return _STATUS_WORDS[self]


_STATUS_WORDS = {Status.READ: "read", Status.REPORTED: "as reported", Status.MEMORY: "from memory"}


class Limit(NamedTuple):
    """Microseconds, or flashes a minute. All None for a rule, which holds or does not."""

    at_least: Fraction | None = None
    at_most: Fraction | None = None
    exactly: Fraction | None = None

    def kept_by(self, value: Fraction, sort: Sort) -> bool:
        # edges of a flash stand at whole microseconds: allow a rate what that rounding costs, and no more
        slack = SAME_RATE if sort is Sort.RATE else Fraction(0)
        if self.exactly is not None:
            return abs(value - self.exactly) <= (SAME_US if sort is Sort.TIME else self.exactly * slack)
        enough = self.at_least is None or value >= self.at_least * (1 - slack)
        return enough and (self.at_most is None or value <= self.at_most * (1 + slack))

    def margin(self, value: Fraction) -> Fraction:
        """How far inside the limit a value lies; less than nothing outside. The worst of several has the least."""
        if self.exactly is not None:
            return -abs(value - self.exactly)
        above = None if self.at_least is None else value - self.at_least
        below = None if self.at_most is None else self.at_most - value
        return min(side for side in (above, below) if side is not None)

    def nearest_to(self, value: Fraction) -> Fraction:
        """Of the limit's bounds the one that a value is nearest to."""
        return min((abs(bound - value), bound) for bound in self if bound is not None)[1]


@dataclass(frozen=True, slots=True)
class Row:
    """One published row: what is asked, by which measure it is held against a crossing, and where it stands."""

    name: str
    quantity: str
    measure: str
    limit: Limit
    source: str
    status: Status
    place: Place

    @property
    def measured_by(self) -> Measure:
        return MEASURES[self.measure]


@dataclass(frozen=True, slots=True)
class PracticeTable:
    name: str  # as it is asked for: a shipped table's name, or its file
    title: str
    covers: str
    rows: tuple[Row, ...]


class TableRead(NamedTuple):
    table: PracticeTable
    problems: list[Problem]
    lines: dict[str, list[str]]
