"""A lamp of few levels, told two of them in turn: its wave as the far end must be told it, slot by slot.

What the codes of a slot are, `engine.codes` knows; here they become a wave that a pacer can follow like any other.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.codes import DITHER_SLOT_US, dithered, dithers_below, shown
from engine.layout import Output
from engine.waves import Part, State, Stretch, Wave, next_change

_OFF, _DARK, _LIGHT = 0, 1, 2


class Dithered(NamedTuple):
    """A wave whose dark part is told in turns. Above `below` it is the wave itself."""

    inner: Wave
    output: Output
    below: float

    def value_at(self, at_us: int) -> float:
        """In the dark what is told for the whole of a slot, as it was wanted when the slot began."""
        value = self.inner.value_at(at_us)
        if self._region(value) != _DARK:
            return value
        value = self.inner.value_at(at_us - at_us % DITHER_SLOT_US)
        return shown(self.output, dithered(self.output, value, at_us))

    def _region(self, value: float) -> int:
        return _OFF if value <= 0.0 else _DARK if value < self.below else _LIGHT

    def turns(self, after_us: int) -> int | None:
        """In the dark every slot is a turn; in the light, the wave's own turns and where it gets dark."""
        turn_us = self.inner.turns(after_us)
        if self._region(self.inner.value_at(after_us)) == _DARK:
            slot_us = after_us - after_us % DITHER_SLOT_US + DITHER_SLOT_US
            return slot_us if turn_us is None else min(slot_us, turn_us)
        return turn_us and next_change(self.inner, after_us, self._region, turn_us)

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        """A lamp that comes to rest in the dark goes on being told for ever."""
        ends_us = self.inner.ends_us
        rests = ends_us is not None and self._region(self.inner.value_at(ends_us)) != _DARK
        return ends_us if rests else None

    @property
    def state(self) -> State:
        return self.inner.state


def as_told(wave: Wave, output: Output) -> Wave:
    """The wave that a far end must be told: another one for a lamp that dithers."""
    below = dithers_below(output)
    return Dithered(wave, output, below) if below else wave
