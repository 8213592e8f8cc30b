"""Waveforms: what an output does, as a value of time in closed form. Frozen, nothing ticks, nothing is stored.

A wave says its value at any instant, and where its curve may turn or jump: between two such instants it is monotone,
so the next change of what is seen of it, at any resolution, is found by halving and never by polling. Values: lamp and
relay 0..1 (a lamp's in CIE 1976 lightness), motor -1..1, servo degrees, signal the index of its aspect, daylight lux.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from typing import NamedTuple, Protocol

from engine.layout import Blink

LOOK_AHEAD = 4_096  # pieces of a curve that one question looks through; past them the asker asks again


class State(Enum):
    """What an output that follows a wave is said to be doing."""

    STEADY = "steady"
    UNDER_WAY = "under way"  # a fade or a move: stops where it is when its block is dropped
    OWN_WAY = "in its own way"  # a lamp that comes on or goes off as such lamps do: goes on, whatever is dropped
    FLASHING = "flashing"
    FLICKERING = "flickering"


class Part(Protocol):
    """A continuous and monotone stretch of a curve."""

    @property
    def to_us(self) -> int | None:
        """The instant at which it is over, and another begins; None for never."""

    def value_at(self, at_us: int) -> float: ...


class Stretch(NamedTuple):
    """A part that is as quick to ask as its wave."""

    to_us: int | None
    of: Callable[[int], float]

    def value_at(self, at_us: int) -> float:
        return self.of(at_us)


class Wave(Protocol):
    """What the engine, the pictures and the links need to know of a waveform."""

    def value_at(self, at_us: int) -> float: ...

    def turns(self, after_us: int) -> int | None:
        """The next instant after this one at which the curve may turn or jump. None: it is constant from here on.

        From one such instant up to, but not including, the next the value is continuous and monotone.
        """

    def piece(self, at_us: int) -> Part:
        """The curve from an instant up to its next turn: often quicker to ask again and again than the wave itself."""

    @property
    def ends_us(self) -> int | None:
        """From when on it is constant; None for what goes on for ever, or was never anything else."""

    @property
    def state(self) -> State: ...


class Steady(NamedTuple):
    """One value, for good."""

    value: float

    def value_at(self, at_us: int) -> float:
        return self.value

    def turns(self, after_us: int) -> int | None:
        return None

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return None

    @property
    def state(self) -> State:
        return State.STEADY


class Ramp(NamedTuple):
    """Evenly from one value to another; before and after it the value stays."""

    from_us: int
    to_us: int
    low: float  # the value at from_us
    high: float  # the value at to_us

    def value_at(self, at_us: int) -> float:
        if at_us >= self.to_us:
            return self.high
        if at_us <= self.from_us:
            return self.low
        share = (at_us - self.from_us) / (self.to_us - self.from_us)
        return self.low + (self.high - self.low) * share

    def turns(self, after_us: int) -> int | None:
        return next_of((self.from_us, self.to_us), after_us)

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return self.to_us

    @property
    def state(self) -> State:
        return State.UNDER_WAY


class Flashing(NamedTuple):
    """On in one slot of its period, off in the others. Exact for ever: edges are counted from the start."""

    from_us: int
    blink: Blink
    high: float = 1.0

    def _slot(self, at_us: int) -> int:
        """How many whole slots have begun since the start, less one."""
        blink = self.blink
        return (at_us - self.from_us) * blink.cycles * blink.slots // blink.cycle_us

    def value_at(self, at_us: int) -> float:
        return self.high if self._slot(at_us) % self.blink.slots == self.blink.slot else 0.0

    def turns(self, after_us: int) -> int | None:
        blink = self.blink
        slot = self._slot(after_us) + 1
        while (slot % blink.slots == blink.slot) == (self.value_at(after_us) > 0):
            slot += 1
        # the first microsecond that belongs to that slot
        return self.from_us - (-slot * blink.cycle_us // (blink.cycles * blink.slots))

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return None

    @property
    def state(self) -> State:
        return State.FLASHING


class Piece(NamedTuple):
    """A monotone part of a curve: from `low` at from_us to `high` at to_us (None: `low` for good)."""

    from_us: int
    to_us: int | None
    low: float
    high: float
    smooth: bool = False  # with the polynomial of least jerk, which starts and ends at rest; else evenly

    def value_at(self, at_us: int) -> float:
        if self.to_us is None or self.low == self.high or at_us <= self.from_us:
            return self.low
        if at_us >= self.to_us:
            return self.high
        share = (at_us - self.from_us) / (self.to_us - self.from_us)
        return self.low + (self.high - self.low) * (least_jerk(share) if self.smooth else share)


def least_jerk(share: float) -> float:
    """10 t^3 - 15 t^4 + 6 t^5 (Flash and Hogan, "The coordination of arm movements", J. Neuroscience 5, 1985)."""
    return share * share * share * (10.0 + share * (6.0 * share - 15.0))


# --- questions to any wave -----------------------------------------------------------------------------------------


def next_of(instants: tuple[int, ...], after_us: int) -> int | None:
    """The first of some instants, in order, that is later."""
    return next((at for at in instants if at > after_us), None)


def under_way(wave: Wave, at_us: int) -> bool:
    """Whether it is still on its way to the value that it will keep."""
    ends_us = wave.ends_us
    return ends_us is not None and at_us < ends_us


def endless(wave: Wave) -> bool:
    """Whether it goes on until the output is told something else: a flash, a flicker, a light's character."""
    return type(wave) is not Steady and wave.state in (State.FLASHING, State.FLICKERING)


def shines(wave: Wave, at_us: int) -> bool:
    """Whether it is told to be on: also between two flashes, and where it has still to come up from nothing."""
    return endless(wave) or wave.value_at(at_us) != 0 or under_way(wave, at_us)


def next_change(wave: Wave, after_us: int, seen: Callable[[float], int], until_us: int | None = None) -> int | None:
    """The first instant later than `after_us` at which what is seen of the value changes; None if it never does.

    `seen` tells what is seen of a value, as a whole number that rises or falls with it: a far end's code, or on which
    side of some thresholds it lies. Where nothing changes for LOOK_AHEAD pieces, or up to `until_us`, the instant
    reached is given, at which nothing need have changed: the asker looks, and asks again from there.
    """
    start, part = after_us, wave.piece(after_us)
    here = seen(part.value_at(start))
    for _ in range(LOOK_AHEAD):
        end = part.to_us
        if end is None:
            return None
        if end - 1 > start and seen(part.value_at(end - 1)) != here:
            return _first_other(part, start, end - 1, seen, here)
        start, part = end, wave.piece(end)
        if seen(part.value_at(start)) != here or (until_us is not None and start >= until_us):
            return start
    return start


def _first_other(part: Part, same_us: int, other_us: int, seen: Callable[[float], int], here: int) -> int:
    """Within one part: the first instant at which something else is seen."""
    while other_us - same_us > 1:
        middle = (same_us + other_us) // 2
        if seen(part.value_at(middle)) == here:
            same_us = middle
        else:
            other_us = middle
    return other_us
