"""Waveforms: what an output does, as a value of time in closed form. Frozen, nothing ticks, nothing is stored.

A wave answers two questions: its value at an instant, and the next instant at which the value, seen in `steps` even
steps, changes. Values: lamp and relay 0..1, motor -1..1, servo degrees, signal the index of its aspect.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.layout import Blink


class Steady(NamedTuple):
    """One value, for good."""

    value: float

    def value_at(self, at_us: int) -> float:
        return self.value

    def next_change(self, after_us: int, step: float) -> int | None:
        return None

    @property
    def ends_us(self) -> int | None:
        return None


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

    def next_change(self, after_us: int, step: float) -> int | None:
        """The first instant later than `after_us` whose value rounds to another multiple of `step`."""
        if after_us >= self.to_us:
            return None
        start = max(after_us, self.from_us)
        here = round(self.value_at(start) / step)
        rising = self.high > self.low
        if here == round(self.high / step):
            return None
        # the middle between two multiples is where the rounded value changes
        middle = (here + (0.5 if rising else -0.5)) * step
        return self._first(start, middle, here, step)

    def _first(self, start: int, middle: float, here: int, step: float) -> int:
        """Solve for the middle, then step over what the float's rounding left: a microsecond or two."""
        whole = self.to_us - self.from_us
        guess = self.from_us + int((middle - self.low) / (self.high - self.low) * whole)
        at = max(start + 1, guess - 2)
        while at < self.to_us and round(self.value_at(at) / step) == here:
            at += 1
        return at

    def crosses(self, value: float) -> int | None:
        """The first instant at which the value has reached or passed `value`, or None if it never does."""
        if not min(self.low, self.high) <= value <= max(self.low, self.high) or self.low == self.high:
            return None
        whole = self.to_us - self.from_us
        at = max(self.from_us, self.from_us + int((value - self.low) / (self.high - self.low) * whole) - 1)
        sign = 1 if self.high > self.low else -1
        while (self.value_at(at) - value) * sign < 0:
            at += 1
        return at

    @property
    def ends_us(self) -> int | None:
        return self.to_us


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

    def next_change(self, after_us: int, step: float) -> int | None:
        blink = self.blink
        slot = self._slot(after_us) + 1
        while (slot % blink.slots == blink.slot) == (self.value_at(after_us) > 0):
            slot += 1
        # the first microsecond that belongs to that slot
        return self.from_us - (-slot * blink.cycle_us // (blink.cycles * blink.slots))

    @property
    def ends_us(self) -> int | None:
        return None


Wave = Steady | Ramp | Flashing
