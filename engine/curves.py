"""Motion profiles: how much of the way is done at which share of the time, and the wave that follows one.

A profile is a frozen value in closed form, from exactly 0 at 0 to exactly 1 at 1. It knows no degrees, no servo and no
clock; `Curve` puts it between two values and two instants. Those that turn round before they end: `engine.landings`.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, pi, sin, sqrt
from typing import NamedTuple, Protocol

from engine.landings import FREE_UNDER_US
from engine.landings import bouncing as bouncing  # profiles come through one door
from engine.landings import settling as settling
from engine.waves import Part, State, Stretch, least_jerk


class Profile(Protocol):
    """How a fade or a move is shared out over its time."""

    @property
    def name(self) -> str: ...

    def at(self, x: float) -> float:
        """The share of the way done at the share x of the time, 0..1: exactly 0 at 0, exactly 1 at 1."""

    @property
    def turns(self) -> tuple[float, ...]:
        """Where in (0, 1) it turns round, in order; between them it is monotone."""

    @property
    def peak_speed(self) -> float:
        """The greatest speed, either way, as a multiple of the whole way in the whole time."""


# --- there and no further ------------------------------------------------------------------------------------------


class Even(NamedTuple):
    """At one speed."""

    name: str = "even"
    turns: tuple[float, ...] = ()
    peak_speed: float = 1.0

    def at(self, x: float) -> float:
        return x


class Smooth(NamedTuple):
    """Least jerk: starts and ends at rest, with no acceleration either (Flash and Hogan 1985)."""

    name: str = "smooth"
    turns: tuple[float, ...] = ()
    peak_speed: float = 1.875

    def at(self, x: float) -> float:
        # the second half from its end: the polynomial itself may come out above 1 by a rounding
        return least_jerk(x) if x < 0.5 else 1.0 - least_jerk(1.0 - x)


class Swaying(NamedTuple):
    """Raised cosine: half a swing of a pendulum, from rest to rest."""

    name: str = "swaying"
    turns: tuple[float, ...] = ()
    peak_speed: float = 0.5 * pi

    def at(self, x: float) -> float:
        half = sin(0.5 * pi * x)
        return half * half


class Ramped(NamedTuple):
    """Trapezoid of speed: speeds up, runs evenly, slows down. `ramp` of the time, 0..1/2, goes into each change."""

    ramp: float = 0.25
    name: str = "ramped"

    def at(self, x: float) -> float:
        ramp, speed = self.ramp, self.peak_speed
        if x < ramp:
            return speed * x * x / (2.0 * ramp)
        if x > 1.0 - ramp:
            return 1.0 - speed * (1.0 - x) * (1.0 - x) / (2.0 * ramp)
        return speed * (x - 0.5 * ramp)

    @property
    def turns(self) -> tuple[float, ...]:
        return ()

    @property
    def peak_speed(self) -> float:
        return 1.0 / (1.0 - self.ramp)


def trapezoid(distance: float, speed: float, acceleration: float) -> tuple[float, Ramped]:
    """The quickest such move within a greatest speed and acceleration: seconds, and its profile.

    Where the distance is too short to get to the speed, it speeds up to half way: a triangle. Raises ValueError for a
    distance below nothing, or a speed or acceleration that is not above it.
    """
    if distance < 0 or speed <= 0 or acceleration <= 0:
        raise ValueError("a move has a distance, a speed and an acceleration above nothing")
    if speed * speed >= distance * acceleration:
        return 2.0 * sqrt(distance / acceleration), Ramped(0.5)
    seconds = distance / speed + speed / acceleration
    return seconds, Ramped(speed / acceleration / seconds)


PROFILES: dict[str, Profile] = {one.name: one for one in (Even(), Smooth(), Swaying(), Ramped())}


def shortest_us(profile_in: Callable[[int], Profile], way: float, fastest: float) -> int:
    """The shortest time in which a way can be gone so without ever passing a speed, in the way's units a second.

    `profile_in` gives the profile for a time, such as `bouncing`: from FREE_UNDER_US on it is another, and slower.
    """

    def needed(over_us: int) -> int:
        exactly = 1_000_000 * profile_in(over_us).peak_speed * abs(way) / fastest
        return ceil(round(exactly, 3))  # a rounding is not another microsecond

    free = needed(0)
    return free if free < FREE_UNDER_US else max(FREE_UNDER_US, needed(FREE_UNDER_US))


# --- the wave ------------------------------------------------------------------------------------------------------


class Curve(NamedTuple):
    """From one value to another as a profile has it; before and after it the value stays."""

    from_us: int
    to_us: int
    low: float  # the value up to from_us
    high: float  # the value from to_us on
    profile: Profile
    state: State = State.UNDER_WAY

    def value_at(self, at_us: int) -> float:
        if at_us >= self.to_us:
            return self.high
        if at_us <= self.from_us:
            return self.low
        share = self.profile.at((at_us - self.from_us) / (self.to_us - self.from_us))
        # from the nearer end: no rounding passes either end
        if share < 0.5:
            return self.low + (self.high - self.low) * share
        return self.high + (self.high - self.low) * (share - 1.0)

    def turns(self, after_us: int) -> int | None:
        if after_us < self.from_us:
            return self.from_us
        if after_us >= self.to_us:
            return None
        length = self.to_us - self.from_us
        for x in self.profile.turns:
            # The first microsecond not before the turn. The nearest one could be before it, and where a bounce leaves
            # the stop more slowly than it came, the next microsecond would be nearer to the stop again.
            at_us = self.from_us + ceil(x * length)
            if at_us > after_us:
                return min(at_us, self.to_us)
        return self.to_us

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return self.to_us
