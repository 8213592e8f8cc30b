"""Episodes: manners whose times, levels and numbers are drawn: strokes of lightning, shots on a screen, a tube trying.

One endless course is cut into blocks of about a minute, each drawn from a key of its own, so any instant can be asked.
Knows no lamp and no manner by name.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from functools import lru_cache
from itertools import count
from math import cos, exp, log, pi, sqrt
from typing import NamedTuple

from engine.chance import at_index, share_at
from engine.courses import Ease
from engine.flashes import CHANGE, SECOND_US
from engine.lightness import luminance
from engine.opposing import Light, flashes_of
from engine.waves import Piece

BLOCK_US = 60_000_000  # on the mean
_UNEVEN_US = 45_000_000  # each beginning lies up to so much later: neighbours that keep a pace must not begin together
SHORTEST_BLOCK_US = BLOCK_US - _UNEVEN_US
BLOCKS_KEPT = 512  # as a memo: about as many lamps can be asked in turn without drawing anything twice
STEPS = 200  # steps of one episode at most, every repetition counted
SHORTEST_US = 10_000
LONGEST_US = 30_000_000
_GRAIN_US = 5_000  # of the count of flashes
_ALIKE = 0.98 * CHANGE  # luminances that lie within this make no change among themselves


class LooseLeg(NamedTuple):
    """A leg whose time and level are drawn anew each time, evenly between the two that are given.

    `lognormal`: the time is drawn so instead, about the geometric middle of the two and with this deviation of its
    logarithm, and kept between them.
    """

    us: tuple[int, int]
    to: tuple[float, float]
    ease: Ease = Ease.HOLD
    chance: float = 1.0  # of its being there at all
    lognormal: float = 0.0


class Part(NamedTuple):
    """Legs one after another, repeated a drawn number of times, both ends included."""

    times: tuple[int, int]
    legs: tuple[LooseLeg, ...]


class Drawn(NamedTuple):
    """Parts one after another, over and over, each time drawn anew. Made with `Drawn.of`.

    At the end of a block the leg under way is cut short and the first part begins, from the level that was reached.
    Where blocks end is drawn, so neighbours are not cut together.
    """

    name: str
    parts: tuple[Part, ...]

    @classmethod
    def of(cls, name: str, *parts: Part) -> Drawn:
        """Raises ValueError for what could be empty, too long for a block, or too short to be shown."""
        legs = [leg for part in parts for leg in part.legs]
        if not parts or parts[0].times[0] < 1 or parts[0].legs[0].chance < 1.0:
            raise ValueError("the first leg of the first part is always there")
        if sum(part.times[1] * len(part.legs) for part in parts) > STEPS:
            raise ValueError(f"an episode has at most {STEPS} steps")
        if any(not SHORTEST_US <= leg.us[0] <= leg.us[1] <= LONGEST_US for leg in legs):
            raise ValueError(f"a leg takes {SHORTEST_US} to {LONGEST_US} microseconds")
        if parts[0].legs[0].ease is not Ease.HOLD and parts[0].legs[0].us[1] >= SHORTEST_BLOCK_US:
            raise ValueError(f"a first leg that goes little by little takes less than {SHORTEST_BLOCK_US} microseconds")
        return cls(name, parts)

    @property
    def usual(self) -> float:
        """The mean of the levels, weighed by the middles of their times."""
        shares = [
            (sum(part.times) * sum(leg.us) * leg.chance, sum(leg.to) / 2) for part in self.parts for leg in part.legs
        ]
        return sum(weight * level for weight, level in shares) / sum(weight for weight, _ in shares)

    @property
    def reach(self) -> tuple[float, float]:
        levels = [level for part in self.parts for leg in part.legs for level in leg.to]
        return min(levels), max(levels)

    def piece(self, key: int, at_us: int) -> Piece:
        index = (at_us + at_index(key, 0) % BLOCK_US) // BLOCK_US
        start_us = _begins_us(key, index)
        if at_us < start_us:
            index -= 1
            start_us = _begins_us(key, index)
        ends, levels, eases = _block(self, key, index)
        number = bisect_right(ends, at_us - start_us)
        low, high = levels[number], levels[number + 1]
        if number == 0:
            low = _last_level(self, key, index - 1)
        if eases[number] is Ease.HOLD:
            low = high
        from_us = start_us + (ends[number - 1] if number else 0)
        return Piece(from_us, start_us + ends[number], low, high, eases[number] is Ease.SMOOTH)

    def flashes_in(self, window_us: int, light: Light) -> float:
        return flashes_of(int(_Walks(self.parts, light).most(window_us) + 1e-9))

    @property
    def flashes_a_second(self) -> float:
        return self.flashes_in(SECOND_US, luminance)


def _begins_us(key: int, index: int) -> int:
    """When a block begins."""
    own = at_index(key, 0)
    return index * BLOCK_US - own % BLOCK_US + at_index(own, index) % _UNEVEN_US


Block = tuple[tuple[int, ...], tuple[float, ...], tuple[Ease, ...]]


@lru_cache(BLOCKS_KEPT)
def _block(manner: Drawn, key: int, index: int) -> Block:
    """When each leg of a block ends, the levels before the first and after each leg, and how they are reached."""
    ends: list[int] = []
    levels = [0.0]
    eases: list[Ease] = []
    at_us = 0
    length_us = _begins_us(key, index + 1) - _begins_us(key, index)
    for us, to, ease in _legs(manner.parts, at_index(at_index(key, 1), index)):
        begun_us, at_us = at_us, at_us + us
        if at_us > length_us and ease is not Ease.HOLD:  # cut short
            to = Piece(begun_us, at_us, levels[-1], to, ease is Ease.SMOOTH).value_at(length_us)
        ends.append(min(at_us, length_us))
        levels.append(to)
        eases.append(ease)
        if at_us >= length_us:
            break
    return tuple(ends), tuple(levels), tuple(eases)


def _last_level(manner: Drawn, key: int, index: int) -> float:
    """Where a block ends. It hangs only on its last legs: none that goes little by little fills a block."""
    return _block(manner, key, index)[1][-1]


def _legs(parts: tuple[Part, ...], key: int) -> Iterator[tuple[int, float, Ease]]:
    """The legs of one block, without end."""
    draws = (share_at(key, number) for number in count())
    while True:
        for part in parts:
            fewest, most = part.times
            for _ in range(fewest + int(next(draws) * (most - fewest + 1))):
                for leg in part.legs:
                    if leg.chance >= 1.0 or next(draws) < leg.chance:
                        low, high = leg.to
                        us = _length_us(leg, next(draws), next(draws) if leg.lognormal else 0.0)
                        yield us, low + (high - low) * next(draws), leg.ease


def _length_us(leg: LooseLeg, draw: float, second: float) -> int:
    shortest, longest = leg.us
    if not leg.lognormal:
        return shortest + int(draw * (longest - shortest + 1))
    normal = sqrt(-2.0 * log(1.0 - draw)) * cos(2.0 * pi * second)  # Box and Muller
    return min(longest, max(shortest, round(sqrt(shortest * longest) * exp(leg.lognormal * normal))))


# --- how many flashes an episode can make --------------------------------------------------------------------------


class _Walks:
    """Every way through the steps of an episode, each step as short as it can be, and the changes of light on it.

    A step whose levels are all alike counts as at their middle, and the changes that count are then so much smaller.
    A change made of several steps in one direction is one; one that is too small counts for its share only.
    """

    def __init__(self, parts: tuple[Part, ...], light: Light) -> None:
        self.steps: list[tuple[int, tuple[float, float]]] = []  # shortest time in grains, light
        self.jumps: list[bool] = []  # whether all its change is at its beginning
        skips: list[list[int]] = []  # where one can come to instead of this step
        ranges = [[sorted(map(light, leg.to)) for leg in part.legs] for part in parts]
        alike = [one[1] - one[0] for part in ranges for one in part if one[1] - one[0] <= _ALIKE]
        self.least = CHANGE - max(alike, default=0.0)
        for part, lights in zip(parts, ranges, strict=True):
            after = len(self.steps) + part.times[1] * len(part.legs)
            for turn in range(part.times[1]):
                for number, (leg, (low, high)) in enumerate(zip(part.legs, lights, strict=True)):
                    skips.append([len(self.steps) + 1] if leg.chance < 1.0 else [])
                    if number == 0 and turn >= part.times[0]:
                        skips[-1].append(after)
                    middle = (low + high) / 2
                    seen = (middle, middle) if high - low <= _ALIKE else (low, high)
                    self.jumps.append(leg.ease is Ease.HOLD)
                    self.steps.append((max(1, leg.us[0] // _GRAIN_US), seen))
        self.next = [self._entered(number + 1, skips) for number in range(len(self.steps))]

    def _entered(self, first: int, skips: list[list[int]]) -> list[int]:
        """The steps that can be the next one for somebody who has come to `first`."""
        found: set[int] = set()
        todo = [first]
        while todo:
            number = todo.pop() % len(self.steps)
            if number not in found:
                found.add(number)
                todo += skips[number]
        return sorted(found)

    def _ways(self, here: tuple[float, float], there: tuple[float, float]) -> list[tuple[int, float]]:
        """The directions, 1 up and -1 down, in which light can change, each with its share of a change that counts."""
        rises, falls = there[1] - here[0], here[1] - there[0]
        return [
            (direction, min(1.0, size / self.least)) for direction, size in ((1, rises), (-1, falls)) if size > 0.0
        ] or [(0, 0.0)]

    def most(self, window_us: int) -> float:
        """The most changes, with shares of a change, that can be met within so long."""
        last = -(-window_us // _GRAIN_US)
        # by the time at which a step is entered: (step, whether a block has ended, direction, a change already) -> most
        at: list[dict[tuple[int, bool, int, bool], float]] = [{} for _ in range(last)]
        for number, (_, here) in enumerate(self.steps):
            for then in self.next[number]:
                for way, share in self._ways(here, self.steps[then][1]):
                    state = (then, False, way, share >= 1.0)
                    at[0][state] = max(at[0].get(state, 0.0), share)
        best = max(at[0].values(), default=0.0)
        # of a first step that goes little by little the end may be met alone: then it takes no time
        for state, changes in [item for item in at[0].items() if not self.jumps[item[0][0]]]:
            best = max(best, self._go_on(at, 0, 0, state, changes))
        for now in range(last):
            # a block's end takes no time, so what it adds to this instant is looked at after the rest of it
            for ended in (False, True):
                for state, changes in [item for item in at[now].items() if item[0][1] is ended]:
                    best = max(best, self._go_on(at, now, self.steps[state[0]][0], state, changes))
        return best

    def _go_on(
        self,
        at: list[dict[tuple[int, bool, int, bool], float]],
        now: int,
        takes: int,
        state: tuple[int, bool, int, bool],
        changes: float,
    ) -> float:
        """From a step to each next one, and, once, to the first by the end of a block. Gives the most that was met."""
        number, ended, direction, whole = state
        here = self.steps[number][1]
        then = [(one, ended, now + takes) for one in self.next[number]]
        if not ended:
            then.append((0, True, now))
        best = changes
        for step, after_end, time in then:
            if time >= len(at):
                continue
            for way, share in self._ways(here, self.steps[step][1]):
                if way in (0, direction):
                    reached = (step, after_end, direction, whole or share >= 1.0)
                    total = changes + (0.0 if whole else share)
                else:
                    reached = (step, after_end, way, share >= 1.0)
                    total = changes + share
                if total > at[time].get(reached, -1.0):
                    at[time][reached] = total
                    best = max(best, total)
        return best
