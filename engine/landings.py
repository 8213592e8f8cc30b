"""How a move comes to its end where that shows: an arm that bounces off its stop, a boom whose tip wobbles.

Both are motion profiles (see `engine.curves`): frozen values in closed form that turn round before they end. Knows no
degrees, no servo and no clock.

A move that takes less than FREE_UNDER_US is short and moves as the thing itself would: an arm falls freely and bounces
as its restitution has it, a boom answers as a second-order system answers a step. From that time on, exactly that time
included, a move is paced: it is let down with an even acceleration for the first LANDS of the time, which gives it a
speed to arrive with, and what follows is small.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import accumulate
from math import acos, asin, cos, exp, floor, inf, log, pi, pow, sin, sqrt
from typing import NamedTuple

FREE_UNDER_US = 1_000_000
LANDS = 0.9  # of a paced move: when it first comes to its target; bounces and wobbles have the last tenth
LIFT = 0.05  # of a paced move: the first bounce goes back by no more of the way
TIMES = 2  # bounces where nobody says how many; common practice for a semaphore arm is 2 or 3, no source
MOST_TIMES = 10  # infinitely many bounces end in finite time: they are capped by number
RESTITUTION = 0.5  # first bounce of a free fall: a quarter of the way; common practice is 0.35 to 0.5, no source
LEAST_RESTITUTION, MOST_RESTITUTION = 0.25, 0.8
LAST_SEEN = 0.01  # of the way: where nobody says the restitution, the last bounce of a free fall lifts no less
DAMPING = 0.3  # a boom's tip wobbles once or twice; common practice, no source
LEAST_DAMPING, MOST_DAMPING = 0.1, 0.7
SETTLED = 0.02  # the usual band of control practice: a swing within it is no longer made
LEAST_ROOM = 0.05  # a short move's wobble that would have to be smaller than this swings back instead
PACED_SWINGS = 2  # of a paced move's wobble: one past the target and one back

# --- bouncing ------------------------------------------------------------------------------------------------------


def bounce_times(restitution: float, fall_time: float, n: int) -> tuple[float, ...]:
    """The first n impacts of what falls onto a stop: gaps of 2 e^k times the fall. They never pass `bounce_end`."""
    gaps = (2.0 * fall_time * restitution**k for k in range(1, n))
    return tuple(accumulate(gaps, initial=fall_time))


def bounce_end(restitution: float, fall_time: float) -> float:
    """When the last of infinitely many bounces is over: t (1 + e) / (1 - e)."""
    return fall_time * (1.0 + restitution) / (1.0 - restitution)


class Bouncing(NamedTuple):
    """An even acceleration to the stop, then parabolas back from it. Made with `bouncing`."""

    impacts: tuple[float, ...]  # shares of the time; the last is 1
    lifts: tuple[float, ...]  # how far back each bounce goes, shares of the way; one less than impacts
    name: str = "bouncing"

    def at(self, x: float) -> float:
        if x >= 1.0:
            return 1.0
        after = bisect_right(self.impacts, x)
        if after == 0:
            fallen = x / self.impacts[0]
            return fallen * fallen
        start, end = self.impacts[after - 1], self.impacts[after]
        share = (x - start) / (end - start)
        return 1.0 - 4.0 * self.lifts[after - 1] * share * (1.0 - share)

    @property
    def turns(self) -> tuple[float, ...]:
        gaps = zip(self.impacts, self.impacts[1:], strict=False)
        return tuple(x for start, end in gaps for x in (start, 0.5 * (start + end)))

    @property
    def peak_speed(self) -> float:
        return 2.0 / self.impacts[0]  # of the fall; no bounce is quicker, see `bouncing`


def restitution_for(times: int) -> float:
    """The usual one; for more than three bounces as much as lets the last of them be seen."""
    return max(RESTITUTION, pow(LAST_SEEN, 0.5 / times))


def bouncing(over_us: int, times: int = TIMES, restitution: float | None = None) -> Bouncing:
    """The profile of an arm that drops against a stop within `over_us`, the time of this very move.

    Under FREE_UNDER_US it falls freely, and each bounce leaves the stop with `restitution` of the speed it came with.
    From then on it is let down, and its bounces share the rest of the time as free ones would, each lifting e squared
    of the one before. The first would hardly be seen at its true height; it lifts LIFT of the way, or as much as leaves
    the stop with the speed of the landing if that is less. Raises ValueError for a number of times or a restitution
    beyond the limits.
    """
    if not 1 <= times <= MOST_TIMES:
        raise ValueError(f"1 to {MOST_TIMES} bounces")
    if restitution is None:
        restitution = restitution_for(times)
    if not LEAST_RESTITUTION <= restitution <= MOST_RESTITUTION:
        raise ValueError(f"bounces with a restitution from {LEAST_RESTITUTION} to {MOST_RESTITUTION}")
    free = bounce_times(restitution, 1.0, times + 1)
    if over_us < FREE_UNDER_US:
        impacts, first = tuple(at / free[-1] for at in free), restitution * restitution
    else:
        scale = (1.0 - LANDS) / (free[-1] - 1.0)
        impacts = (*(LANDS + scale * (at - 1.0) for at in free[:-1]), 1.0)
        landing = 2.0 / LANDS
        first = min(LIFT, 0.25 * landing * (impacts[1] - impacts[0]))
    return Bouncing(impacts, tuple(first * restitution ** (2 * k) for k in range(times)))


# --- settling ------------------------------------------------------------------------------------------------------


def second_order_step(t: float, damping: float, natural_hz: float) -> float:
    """A second-order system's answer, t seconds after a step from 0 to 1; `damping` above 0 and below 1."""
    root = sqrt(1.0 - damping * damping)
    natural = 2.0 * pi * natural_hz
    angle = natural * root * t
    return 1.0 - exp(-damping * natural * t) * (cos(angle) + damping / root * sin(angle))


def overshoot(damping: float) -> float:
    """How far the answer to a step goes past it, as a share of it; each further swing is that share of the last."""
    return exp(-pi * damping / sqrt(1.0 - damping * damping))


def peak_time(damping: float, natural_hz: float) -> float:
    """Seconds from a step to the first peak; the further turns follow at the same distance."""
    return 0.5 / (natural_hz * sqrt(1.0 - damping * damping))


def damping_for(passing: float) -> float:
    """The damping whose overshoot is that much."""
    return -log(passing) / sqrt(pi * pi + log(passing) * log(passing))


class Settling(NamedTuple):
    """The true answer to a step, cut where it passes its target after `swings` turns. Made with `settling`."""

    damping: float
    swings: int
    mirrored: bool  # swings back where it would swing past
    name: str = "settling"

    @property
    def natural_hz(self) -> float:
        """Cycles in the time of the move: so many that the last passing of the target is the end of the move."""
        angle = 0.5 * pi + asin(self.damping) + self.swings * pi
        return angle / (2.0 * pi * sqrt(1.0 - self.damping * self.damping))

    def at(self, x: float) -> float:
        if x >= 1.0:
            return 1.0
        there = second_order_step(x, self.damping, self.natural_hz)
        return 2.0 - there if self.mirrored and there > 1.0 else there

    @property
    def turns(self) -> tuple[float, ...]:
        half = peak_time(self.damping, self.natural_hz)
        passes = half * (0.5 + asin(self.damping) / pi)
        extremes = [k * half for k in range(1, self.swings + 1)]
        touches = [passes + k * half for k in range(self.swings)] if self.mirrored else []
        return tuple(sorted(extremes + touches))

    @property
    def peak_speed(self) -> float:
        root = sqrt(1.0 - self.damping * self.damping)
        return 2.0 * pi * self.natural_hz * exp(-self.damping / root * acos(self.damping))


class SettlingLate(NamedTuple):
    """Let down until LANDS, then a dying swing that sets out with the speed of the landing. Made with `settling`.

    With PACED_SWINGS in the last tenth it passes its target by 3.1 % of the way at LEAST_DAMPING and less above.
    """

    damping: float
    mirrored: bool  # swings back where it would swing past
    name: str = "settling"

    def at(self, x: float) -> float:
        if x >= 1.0:
            return 1.0
        if x < LANDS:
            return (x / LANDS) * (x / LANDS)
        beyond = self._swing(PACED_SWINGS * pi * (x - LANDS) / (1.0 - LANDS))
        return 1.0 - abs(beyond) if self.mirrored else 1.0 + beyond

    def _swing(self, angle: float) -> float:
        """How far past the target; its slope at 0 makes the speed that of the landing."""
        reach = 2.0 / LANDS * (1.0 - LANDS) / (PACED_SWINGS * pi)
        return reach * exp(-self.damping / sqrt(1.0 - self.damping * self.damping) * angle) * sin(angle)

    @property
    def passing(self) -> float:
        """How far it goes past its target where it is not mirrored."""
        return self._swing(acos(self.damping))

    @property
    def turns(self) -> tuple[float, ...]:
        extremes = [acos(self.damping) + k * pi for k in range(PACED_SWINGS)]
        touches = [k * pi for k in range(PACED_SWINGS)] if self.mirrored else []
        return tuple(LANDS + (1.0 - LANDS) * angle / (PACED_SWINGS * pi) for angle in sorted(extremes + touches))

    @property
    def peak_speed(self) -> float:
        return 2.0 / LANDS


def settling(over_us: int, room: float = inf, damping: float = DAMPING) -> Settling | SettlingLate:
    """The profile of a boom whose tip wobbles to rest within `over_us`, the time of this very move.

    `room` is how far past its target it may go, as a share of this move's way; it never goes further. A short move
    with too little room is damped more until its overshoot fits; with less than LEAST_ROOM, and a paced one with less
    than its wobble takes, it swings back from its target instead of past it. Raises ValueError for a damping beyond
    the limits.
    """
    if not LEAST_DAMPING <= damping <= MOST_DAMPING:
        raise ValueError(f"a damping from {LEAST_DAMPING} to {MOST_DAMPING}")
    usable = room * (1.0 - 1e-6)  # so that no rounding on the way to degrees goes past a hard limit
    if over_us >= FREE_UNDER_US:
        return SettlingLate(damping, SettlingLate(damping, False).passing > usable)
    mirrored = overshoot(damping) > usable and usable < LEAST_ROOM
    if not mirrored and overshoot(damping) > usable:
        damping = damping_for(usable)
    swings = floor(log(SETTLED) / log(overshoot(damping)))  # those that go beyond the band
    return Settling(damping, swings, mirrored)
