"""Curves cut into slices of time, so that no turn and no jump of a wave is missed however coarse the slices are.

Knows waves; must not know what they stand for, or how they are drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from engine.waves import Part, State, Stretch, Wave, next_of

MOST_TURNS = 12  # of a curve within one column; where there are more, so many samples stand for it


class Sample(NamedTuple):
    at_us: int
    value: float


class Column(NamedTuple):
    """What a curve does in a slice of time: `samples` from its beginning to its end, in order, two or more."""

    samples: tuple[Sample, ...]

    @property
    def low(self) -> float:
        return min(sample.value for sample in self.samples)

    @property
    def high(self) -> float:
        return max(sample.value for sample in self.samples)

    @property
    def one_way(self) -> bool:
        """Whether it never turns round here."""
        values = [sample.value for sample in self.samples]
        return values in (sorted(values), sorted(values, reverse=True))

    @property
    def middle(self) -> float:
        """The value half way through its time."""
        half_us = (self.samples[0].at_us + self.samples[-1].at_us) / 2
        after = next(number for number, sample in enumerate(self.samples) if sample.at_us > half_us)
        (from_us, low), (to_us, high) = self.samples[after - 1], self.samples[after]
        return low + (high - low) * (half_us - from_us) / (to_us - from_us)

    def mean(self, of: Callable[[float], float]) -> float:
        """Over the time that it takes, of what `of` makes of each value."""
        first, last = self.samples[0].at_us, self.samples[-1].at_us
        pairs = zip(self.samples, self.samples[1:], strict=False)
        area = sum((of(a.value) + of(b.value)) / 2 * (b.at_us - a.at_us) for a, b in pairs)
        return area / (last - first)


def columns(wave: Wave, from_us: int, to_us: int, number: int) -> Iterator[Column]:
    """The curve cut into so many slices of time (fewer if a slice would be shorter than two microseconds).

    Jumps and turns within a slice are met exactly, up to MOST_TURNS of them.
    """
    number = max(1, min(number, (to_us - from_us) // 2))
    turn = wave.turns(from_us)
    for index in range(number):
        start, end = (from_us + (to_us - from_us) * edge // number for edge in (index, index + 1))
        samples = [Sample(start, wave.value_at(start))]
        while turn is not None and turn < end and len(samples) <= 2 * MOST_TURNS:
            if turn > start:
                samples += [Sample(turn, wave.value_at(turn - 1)), Sample(turn, wave.value_at(turn))]
            turn = wave.turns(turn)
        if turn is not None and turn < end:
            steps = [start + (end - start) * step // MOST_TURNS for step in range(MOST_TURNS)]
            samples = [Sample(at, wave.value_at(at)) for at in steps]
            turn = wave.turns(end - 1)
        yield Column((*samples, Sample(end, wave.value_at(end - 1))))


class Then(NamedTuple):
    """One wave until an instant, another from then on: a lamp that is told something new."""

    first: Wave
    at_us: int
    second: Wave

    def value_at(self, at_us: int) -> float:
        return (self.first if at_us < self.at_us else self.second).value_at(at_us)

    def turns(self, after_us: int) -> int | None:
        if after_us >= self.at_us:
            return self.second.turns(after_us)
        turn = self.first.turns(after_us)
        return next_of((self.at_us,), after_us) if turn is None else min(turn, self.at_us)

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return self.second.ends_us

    @property
    def state(self) -> State:
        return self.second.state
