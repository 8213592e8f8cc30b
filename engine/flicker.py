"""Flicker: manners, which say a level for any instant from a key alone, and the wave that lays one between two levels.

Knows no lamp, no scene and no manner by name (those are in `engine.manners`). Keeps no state: any instant may be asked
in any order. Two keys give two courses that have nothing to do with each other.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil
from typing import NamedTuple, Protocol

from engine.chance import at_index, share_at
from engine.courses import Ease, Script
from engine.flashes import SECOND_US
from engine.lightness import luminance
from engine.opposing import Light, flashes_of, met_by, swings
from engine.swaying import OCTAVES as OCTAVES
from engine.swaying import RATES as RATES
from engine.swaying import Octave as Octave
from engine.swaying import Swaying as Swaying
from engine.waves import Piece, State

MILLION = 1_000_000
PACES = (0.1, 10.0)
SPREAD = 0.02  # how far the paces of two lamps with the same list differ, so that they do not stay in step

Bounds = tuple[float, float]


class Manner(Protocol):
    """What a lamp does when it flickers, as levels 0..1. `at_us` counts from the beginning of the show."""

    def __hash__(self) -> int: ...

    @property
    def name(self) -> str: ...

    @property
    def usual(self) -> float:
        """The level about which it keeps."""

    @property
    def reach(self) -> Bounds:
        """The least and the greatest level that it can ever have."""

    def piece(self, key: int, at_us: int) -> Piece:
        """The monotone part that holds an instant: from_us <= at_us < to_us. The next part may begin elsewhere."""

    def flashes_in(self, window_us: int, light: Light) -> float:
        """No fewer than the flashes of `CHANGE` that it can make in so long, whatever the key."""

    @property
    def flashes_a_second(self) -> float:
        """No fewer than it can make in any second when it is run from nothing to full light."""


# --- lists of levels and times, and a manner varied ----------------------------------------------------------------


class Listed(NamedTuple):
    """A list of levels and times, over and over.

    Every key begins at a place of its own in the list and runs through it at a pace of its own, up to `spread` quicker
    or slower: neighbours are never in step, and those that are by chance do not stay so.
    """

    name: str
    script: Script
    spread: float = SPREAD

    @property
    def usual(self) -> float:
        legs = self.script.legs
        total = 0.0
        for before, leg in zip((legs[-1], *legs[:-1]), legs, strict=True):
            total += leg.us * (leg.to if leg.ease is Ease.HOLD else (before.to + leg.to) / 2)
        return total / self.script.length_us

    @property
    def reach(self) -> Bounds:
        levels = [leg.to for leg in self.script.legs]
        return min(levels), max(levels)

    def piece(self, key: int, at_us: int) -> Piece:
        phase_us = at_index(key, 0) % self.script.length_us
        pace = MILLION + round((2.0 * share_at(key, 1) - 1.0) * self.spread * MILLION)
        found = self.script.piece(at_us * pace // MILLION + phase_us, self.script.legs[-1].to, True)
        return _paced(found, phase_us, pace)

    def flashes_in(self, window_us: int, light: Light) -> float:
        length_us = self.script.length_us
        points = []
        level = self.script.legs[-1].to
        for leg, end_us in zip(self.script.legs, self.script.ends_us, strict=True):
            if leg.ease is Ease.HOLD:
                points += [(end_us - leg.us, light(level)), (end_us - leg.us, light(leg.to))]
            points.append((end_us, light(leg.to)))
            level = leg.to
        rounds = [(at_us + turn * length_us, seen) for turn in range(5) for at_us, seen in points]
        changes = swings(rounds)
        whole, rest_us = divmod(ceil(window_us * (1.0 + self.spread)), length_us)
        # the first rounds may still look for their first change, so counting begins in the second
        starts = [number for number, (_, end_us) in enumerate(changes) if length_us <= end_us <= 3 * length_us]
        a_round = sum(2 * length_us <= end_us < 3 * length_us for _, end_us in changes)
        most = max((met_by(changes, first, changes[first][1] + rest_us) for first in starts), default=0)
        return flashes_of(whole * a_round + most)

    @property
    def flashes_a_second(self) -> float:
        return self.flashes_in(SECOND_US, luminance)


def _paced(found: Piece, phase_us: int, pace: int) -> Piece:
    """A part of a manner's own time, `pace` millionths as quick, as a part of the show's: no instant is in two."""
    from_us = -((phase_us - found.from_us) * MILLION // pace)
    to_us = None if found.to_us is None else -((phase_us - found.to_us) * MILLION // pace)
    return found._replace(from_us=from_us, to_us=to_us)


class Varied(NamedTuple):
    """A manner quicker (`pace` 1.5: half as quick again) or slower, and shallower (`depth` below 1).

    Shallower is nearer to the level about which the manner keeps: drawn towards full light instead, a storm would be
    a bright night. Depth 0..1, pace within PACES.
    """

    manner: Manner
    pace: float = 1.0
    depth: float = 1.0
    own_name: str = ""

    @property
    def name(self) -> str:
        return self.own_name or self.manner.name

    @property
    def usual(self) -> float:
        return self.manner.usual

    @property
    def reach(self) -> Bounds:
        low, high = self.manner.reach
        return self._level(low), self._level(high)

    def piece(self, key: int, at_us: int) -> Piece:
        pace = round(self.pace * MILLION)
        found = _paced(self.manner.piece(key, at_us * pace // MILLION), 0, pace)
        return found._replace(low=self._level(found.low), high=self._level(found.high))

    def _level(self, level: float) -> float:
        if self.depth == 1.0:
            return level
        usual = _usual(self.manner)
        return usual + (level - usual) * self.depth

    def flashes_in(self, window_us: int, light: Light) -> float:
        return self.manner.flashes_in(ceil(window_us * self.pace), lambda level: light(self._level(level)))

    @property
    def flashes_a_second(self) -> float:
        return self.flashes_in(SECOND_US, luminance)


@lru_cache(64)
def _usual(manner: Manner) -> float:
    return manner.usual


# --- the wave ------------------------------------------------------------------------------------------------------


class Flicker(NamedTuple):
    """A manner between two levels, which go evenly from `before` to `bounds` in `over_us`: it is brought up flickering.

    From a steady value v: before=(v, v). From another flicker with the same key: before=its `bounds_at(now)`.
    """

    from_us: int
    over_us: int
    key: int
    manner: Manner
    before: Bounds
    bounds: Bounds
    starts: float | None = None  # what was shown at from_us, where the manner goes on in the middle of a part

    def bounds_at(self, at_us: int) -> Bounds:
        """The two levels at an instant, from which a later order goes on."""
        past_us = at_us - self.from_us
        if past_us >= self.over_us:
            return self.bounds
        share = max(0, past_us) / self.over_us
        (low, high), (low_then, high_then) = self.before, self.bounds
        return low + (low_then - low) * share, high + (high_then - high) * share

    @property
    def reach(self) -> Bounds:
        """The least and the greatest value that it can ever show."""
        ends = (*self.before, *self.bounds)
        return min(ends), max(ends)

    @property
    def settled_us(self) -> int:
        """From when on its levels stay as they are."""
        return self.from_us + self.over_us

    @property
    def settled_reach(self) -> Bounds:
        """The least and the greatest value that it can show from then on."""
        (low, high), (least, most) = self.bounds, self.manner.reach
        return low + (high - low) * least, low + (high - low) * most

    def piece(self, at_us: int) -> Piece:
        """The monotone part that holds an instant, in the output's own values.

        While the levels move every part goes evenly, so that it keeps between them all the way.
        """
        if at_us < self.from_us:
            before = self.piece(self.from_us).low
            return Piece(at_us, self.from_us, before, before)
        found = self.manner.piece(self.key, at_us)
        start, end, settled_us = found.from_us, found.to_us, self.from_us + self.over_us
        for edge in (self.from_us, settled_us):
            if edge <= at_us:
                start = max(start, edge)
            elif end is None or edge < end:
                end = edge
        low = self._laid(found.value_at(start), start)
        if start == self.from_us and self.over_us and self.starts is not None:
            low = self.starts
        if end is None:
            return Piece(start, None, low, low)
        return Piece(start, end, low, self._laid(found.value_at(end), end), found.smooth and at_us >= settled_us)

    def _laid(self, level: float, at_us: int) -> float:
        low, high = self.bounds_at(at_us)
        return low + (high - low) * level

    def value_at(self, at_us: int) -> float:
        return self.piece(at_us).value_at(at_us)

    def turns(self, after_us: int) -> int | None:
        return self.piece(after_us).to_us

    @property
    def flashes_a_second(self) -> float:
        """No fewer than the flashes that it can make in any second, once its levels are reached."""
        low, high = self.bounds
        return self.manner.flashes_in(SECOND_US, lambda level: luminance(low + (high - low) * level))

    @property
    def ends_us(self) -> int | None:
        return None

    @property
    def state(self) -> State:
        return State.FLICKERING
