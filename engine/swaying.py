"""Swaying: value noise, a sum of octaves of random points on even lattices, smoothly blended; any instant can be asked.

Knows no lamp and no manner by name.
"""

from __future__ import annotations

from math import ceil
from typing import NamedTuple

from engine.chance import at_index, share_at
from engine.flashes import SECOND_US
from engine.lightness import luminance
from engine.opposing import Light, flashes_of, least_step
from engine.waves import Piece

OCTAVES = 6  # of one manner
RATES = (0.005, 50.0)  # lattice points a second


class Octave(NamedTuple):
    """Random points on an even lattice, blended; `beat` 0: each point for itself; 1: high and low in turn.

    With beat it pulses, rate / 2 times a second, never twice alike; the mean stays a half.
    """

    rate: float  # lattice points a second
    weight: float = 1.0
    beat: float = 0.0


class Swaying(NamedTuple):
    """Value noise: a sum of octaves, the slowest first, from `quiet` where nothing stirs to `stirred`.

    Each octave's lattice points take what the slower ones say there and add their own draw; between two points of one
    lattice the sum goes with the polynomial of least jerk. So the whole is monotone between two points of the finest
    lattice. The sum, as a share of all weights, is then cut to `window` (below: quiet; above: wholly stirred) and bent
    by `curve` (above 1: seldom stirred).
    """

    name: str
    octaves: tuple[Octave, ...]
    quiet: float = 0.0
    stirred: float = 1.0
    window: tuple[float, float] = (0.0, 1.0)
    curve: float = 1.0
    gusty: bool = False  # the finer octaves move only as far as the slower ones stir

    @classmethod
    def of(
        cls,
        name: str,
        octaves: tuple[Octave, ...],
        quiet: float = 0.0,
        stirred: float = 1.0,
        window: tuple[float, float] = (0.0, 1.0),
        curve: float = 1.0,
        gusty: bool = False,
    ) -> Swaying:
        """Raises ValueError for what could not be drawn, or would leave 0..1."""
        rates = [octave.rate for octave in octaves]
        if not 0 < len(octaves) <= OCTAVES or rates != sorted(rates):
            raise ValueError(f"there are 1 to {OCTAVES} octaves, the slowest first")
        if not RATES[0] <= rates[0] <= rates[-1] <= RATES[1]:
            raise ValueError(f"an octave has {RATES[0]} to {RATES[1]} points a second")
        if any(octave.weight <= 0.0 or not 0.0 <= octave.beat <= 1.0 for octave in octaves):
            raise ValueError("weights are above nothing, and beats lie between 0 and 1")
        if not (0.0 <= window[0] < window[1] <= 1.0 and 0.0 <= quiet <= 1.0 and 0.0 <= stirred <= 1.0 and curve > 0.0):
            raise ValueError("levels and the window lie between 0 and 1, and the curve is above nothing")
        return cls(name, octaves, quiet, stirred, window, curve, gusty)

    @property
    def usual(self) -> float:
        return self.level(0.5)

    @property
    def reach(self) -> tuple[float, float]:
        return min(self.quiet, self.stirred), max(self.quiet, self.stirred)

    def level(self, share: float) -> float:
        """The level for a sum, as a share of all weights."""
        low, high = self.window
        inside = min(1.0, max(0.0, (share - low) / (high - low)))
        bent: float = inside**self.curve
        return self.quiet + (self.stirred - self.quiet) * bent

    def piece(self, key: int, at_us: int) -> Piece:
        total = sum(octave.weight for octave in self.octaves)
        from_us, to_us, low, high = self._cell(key, len(self.octaves) - 1, at_us)
        return Piece(from_us, to_us, self.level(low / total), self.level(high / total), True)

    def _cell(self, key: int, number: int, at_us: int) -> tuple[int, int, float, float]:
        """The cell of an octave's lattice that holds an instant, and the sum up to that octave at its two ends."""
        step_us = _step_us(self.octaves[number])
        own = at_index(key, number)
        offset = own % step_us  # lattices of different keys do not turn together
        index = (at_us + offset) // step_us
        from_us = index * step_us - offset
        to_us = from_us + step_us
        if number == 0:
            return from_us, to_us, self._sum(0, own, index), self._sum(0, own, index + 1)
        slower = Piece(*self._cell(key, number - 1, from_us), True)
        low = self._sum(number, own, index, slower.value_at(from_us))
        if slower.to_us is not None and to_us > slower.to_us:
            slower = Piece(*self._cell(key, number - 1, to_us), True)
        return from_us, to_us, low, self._sum(number, own, index + 1, slower.value_at(to_us))

    def _sum(self, number: int, own: int, index: int, slower: float = 0.0) -> float:
        """The sum of the octaves up to this one at one of its lattice points, where the slower ones make `slower`."""
        _, weight, beat = self.octaves[number]
        draw = share_at(own, index)
        if beat:
            draw += beat * ((0.5 if index % 2 else 0.0) - 0.5 * draw)
        if self.gusty and number:
            draw *= slower / sum(octave.weight for octave in self.octaves[:number])
        return slower + weight * draw

    def flashes_in(self, window_us: int, light: Light) -> float:
        """Where the finer octaves together are too small for a change, only the lattice of the slower ones counts."""
        total = sum(octave.weight for octave in self.octaves)
        least = least_step(lambda share: light(self.level(share))) * total
        fewest, small, long_us = None, 0.0, window_us
        for octave in reversed(self.octaves):
            if small < least:
                changes = ceil(long_us / _step_us(octave)) + 1
                fewest = changes if fewest is None else min(fewest, changes)
            small += octave.weight
            long_us += 2 * _step_us(octave)  # its points lie up to one step outside what is looked at
        return flashes_of(0 if fewest is None or small < least else fewest)

    @property
    def flashes_a_second(self) -> float:
        return self.flashes_in(SECOND_US, luminance)


def _step_us(octave: Octave) -> int:
    return round(SECOND_US / octave.rate)
