"""Courses: a short list of levels and times, run through once or over and over.

What a lamp does when it comes on in its own way, a harbour light's character, and manners that a person lists.
"""

from __future__ import annotations

from bisect import bisect_right
from enum import Enum
from itertools import accumulate
from typing import NamedTuple

from engine.waves import Piece, State

LEGS = 1_000  # legs of one course


class Ease(Enum):
    """How a leg gets to its level."""

    HOLD = "at once, and stays"
    EVEN = "evenly"
    SMOOTH = "smoothly"  # least jerk: starts and ends at rest


class Leg(NamedTuple):
    """For `us` microseconds to a level, as a share 0..1 of the way from the course's `low` to its `high`."""

    us: int
    to: float
    ease: Ease = Ease.HOLD


class Script(NamedTuple):
    """Legs one after another, with the instants at which each ends. Made with `Script.of`."""

    legs: tuple[Leg, ...]
    ends_us: tuple[int, ...]
    level: bool = False  # all legs have the same level: once there, over and over is for good

    @classmethod
    def of(cls, *legs: Leg) -> Script:
        """Raises ValueError for no legs, too many, one that takes no time, or a level that is no share."""
        if not 0 < len(legs) <= LEGS or any(leg.us <= 0 for leg in legs):
            raise ValueError(f"a course has 1 to {LEGS} legs, each longer than nothing")
        if not all(0.0 <= leg.to <= 1.0 for leg in legs):
            raise ValueError("a leg's level is a share from 0 to 1")
        ends_us = tuple(accumulate(leg.us for leg in legs))
        return cls(legs, ends_us, all(leg.to == legs[0].to for leg in legs))

    @property
    def length_us(self) -> int:
        return self.ends_us[-1]

    def piece(self, at_us: int, begins: float, repeats: bool) -> Piece:
        """The leg that is under way `at_us` after the beginning, in levels 0..1; the last level for good after it."""
        rounds = at_us // self.length_us if repeats else 0
        start = rounds * self.length_us
        index = bisect_right(self.ends_us, at_us - start)
        if index == len(self.legs):
            return Piece(self.length_us, None, self.legs[-1].to, self.legs[-1].to)
        leg = self.legs[index]
        before = begins if index == 0 and rounds == 0 else self.legs[index - 1].to
        low = leg.to if leg.ease is Ease.HOLD else before
        if repeats and self.level and low == leg.to:  # a fixed light: nothing ever turns again
            return Piece(start + self.ends_us[index] - leg.us, None, low, low)
        return Piece(
            start + self.ends_us[index] - leg.us, start + self.ends_us[index], low, leg.to, leg.ease is Ease.SMOOTH
        )


class Course(NamedTuple):
    """A script from `from_us` on; its first leg sets out from level `begins`. Before that it is where it begins.

    `repeats`: over and over, each round setting out from where the last leg ended; else the last level stays.
    """

    from_us: int
    script: Script
    low: float = 0.0
    high: float = 1.0
    begins: float = 0.0
    repeats: bool = False
    state: State = State.OWN_WAY
    name: str = ""  # what it is like, for people: filament, Fl(2) 10s

    def piece(self, at_us: int) -> Piece:
        """The monotone part that holds an instant, in the output's own values."""
        if at_us < self.from_us:
            before = self._value(self.begins)
            return Piece(at_us, self.from_us, before, before)
        found = self.script.piece(at_us - self.from_us, self.begins, self.repeats)
        return Piece(
            found.from_us + self.from_us,
            None if found.to_us is None else found.to_us + self.from_us,
            self._value(found.low),
            self._value(found.high),
            found.smooth,
        )

    def _value(self, level: float) -> float:
        """A level in the output's own values; who has arrived shows what was told, to the last digit."""
        return self.high if level == 1.0 else self.low + (self.high - self.low) * level

    def value_at(self, at_us: int) -> float:
        return self.piece(at_us).value_at(at_us)

    def turns(self, after_us: int) -> int | None:
        return self.piece(after_us).to_us

    @property
    def ends_us(self) -> int | None:
        return None if self.repeats else self.from_us + self.script.length_us
