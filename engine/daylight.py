"""How light it is outdoors: clear-sky daylight from the sun's altitude, and the waves that run through it.

A daylight wave is in lux; a sky lamp follows it. Knows nothing of scenes, lamps' codes or clocks.
"""

from __future__ import annotations

from math import log
from typing import NamedTuple

from engine.layout import Whereabouts
from engine.sun import EVENTS, altitude_deg, event, noon, when_at, why_not
from engine.waves import Part, State, Stretch, Wave, next_of

# the sun's events and their messages go with what daylight can fade through
__all__ = (
    "COURSES",
    "DARKEST_LUX",
    "EVENTS",
    "Follow",
    "NoSuchSun",
    "Sunlight",
    "altitude_of",
    "end_lux",
    "event",
    "lux",
    "through",
    "why_not",
)

# --- the light of a clear sky --------------------------------------------------------------------------------------

# Illuminance on level ground under a clear sky: log10 lux = l0 + l1 x + l2 x^2 + l3 x^3, x the sun's altitude / 90 deg.
# The fit is attributed to Seidelmann (ed.), "Explanatory Supplement to the Astronomical Almanac", 1992 (read in five
# agreeing transcriptions, not in the book). Each row: the altitude down to which it holds, l0, l1, l2, l3.
_FIT = (
    (20.0, 3.74, 3.97, -4.07, 1.47),
    (5.0, 3.05, 13.28, -45.98, 64.33),
    (-0.8, 2.88, 22.26, -207.64, 1034.30),
    (-5.0, 2.88, 21.81, -258.11, -858.36),
    (-12.0, 2.70, 12.17, -431.69, -1899.83),
    (-18.0, 13.84, 262.72, 1447.42, 2797.93),
)
HIGHEST_DEG, LOWEST_DEG = 90.0, -18.0  # below the lowest the sun gives no more light: it stays as dark as that
# Where two rows meet they miss each other by up to 1 %. Within this much below the meeting one passes over into the
# other, so that the light neither jumps nor rises while the sun sinks.
_SEAM_DEG = 0.03


def _log_lux(row: int, altitude: float) -> float:
    _, l0, l1, l2, l3 = _FIT[row]
    x = altitude / 90.0
    return l0 + x * (l1 + x * (l2 + x * l3))


def lux(altitude: float) -> float:
    """Daylight for an altitude of the sun in degrees (true, without refraction). Rises with it, without a jump."""
    altitude = max(LOWEST_DEG, min(HIGHEST_DEG, altitude))
    row = next(row for row, (down_to, *_) in enumerate(_FIT) if altitude >= down_to)
    value = _log_lux(row, altitude)
    if row > 0:
        past = (_FIT[row - 1][0] - altitude) / _SEAM_DEG
        if past < 1.0:
            value = past * value + (1.0 - past) * _log_lux(row - 1, altitude)
    return float(10.0**value)


DARKEST_LUX = lux(LOWEST_DEG)


def altitude_of(daylight: float) -> float:
    """The sun's altitude, in degrees, at which a clear sky gives so many lux; the nearest for what it never gives."""
    low, high = LOWEST_DEG, HIGHEST_DEG
    if daylight <= DARKEST_LUX:
        return low
    if daylight >= lux(high):
        return high
    for _ in range(64):
        middle = (low + high) / 2
        if lux(middle) < daylight:
            low = middle
        else:
            high = middle
    return high


# --- dusk and dawn, run through in a given time --------------------------------------------------------------------

COURSES = ("dusk", "nightfall", "dawn", "daybreak")  # what daylight can fade through; each is an event of the sun


class NoSuchSun(ValueError):
    """That course does not happen at that place on that date. Its text is a sentence for people."""


class Sunlight(NamedTuple):
    """Daylight in lux along the sun's real course from one second of a day to another, squeezed into a given time.

    The clear sky's light is multiplied by a gain that goes from `first_gain` to `last_gain` by equal ratios: 1 for the
    day as it is, another where daylight sets out from, or ends at, what that sky does not give. Made by `through`.
    """

    from_us: int
    to_us: int
    first_lux: float
    last_lux: float
    where: Whereabouts
    from_s: float
    to_s: float
    first_gain: float
    last_gain: float
    course: str

    def value_at(self, at_us: int) -> float:
        if at_us >= self.to_us:
            return self.last_lux
        if at_us <= self.from_us:
            return self.first_lux
        x = (at_us - self.from_us) / (self.to_us - self.from_us)
        sky = lux(altitude_deg(self.where, self.from_s + (self.to_s - self.from_s) * x))
        gain: float = self.first_gain ** (1.0 - x) * self.last_gain**x
        # no gain leads to or from utter darkness: the last of the light goes, or comes, evenly
        lacks = _lack(self.first_lux) * (1.0 - x) + _lack(self.last_lux) * x
        value = sky * gain - lacks
        low, high = sorted((self.first_lux, self.last_lux))
        return max(low, min(high, value))

    def turns(self, after_us: int) -> int | None:
        # sky, gain and lack all go the same way as the course, so there is nothing between the two ends
        return next_of((self.from_us, self.to_us), after_us)

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return self.to_us

    @property
    def state(self) -> State:
        return State.UNDER_WAY


def _lack(daylight: float) -> float:
    """By how much it is darker than the darkest clear sky."""
    return max(0.0, DARKEST_LUX - daylight)


def end_lux(where: Whereabouts, course: str, day_lux: float) -> float:
    """Where a course ends: at the layout's own daylight, or in the dark that follows dusk or nightfall.

    Raises NoSuchSun if the course does not happen there.
    """
    if when_at(where, *EVENTS[course]) is None:
        raise NoSuchSun(why_not(where, course))
    return day_lux if EVENTS[course].rising else lux(EVENTS[course].altitude_deg)


def through(where: Whereabouts, course: str, from_us: int, over_us: int, lux_now: float, day_lux: float) -> Sunlight:
    """The wave of `fade daylight through dusk over 4 min`. Raises NoSuchSun if the course does not happen there.

    It sets out from the instant at which the sky gives the light that there is, and ends with the sun where the event
    has it, or, rising, at the instant at which the sky gives `day_lux`. Light beyond what the sky gives between noon
    and the event is met at noon, or at the event, by a gain; light already past the course's end goes back to it. So it
    always starts at `lux_now`, ends at `end_lux`, and goes one way.
    """
    last = end_lux(where, course, day_lux)
    edge, rising = EVENTS[course]
    from_s = _second(where, max(edge, altitude_of(lux_now)), rising)
    to_s = _second(where, max(edge, altitude_of(day_lux)) if rising else edge, rising)
    first_gain, last_gain = (
        max(light, DARKEST_LUX) / lux(altitude_deg(where, second))
        for light, second in ((lux_now, from_s), (last, to_s))
    )
    return Sunlight(from_us, from_us + over_us, lux_now, last, where, from_s, to_s, first_gain, last_gain, course)


def _second(where: Whereabouts, altitude: float, rising: bool) -> float:
    """When the sun is as high as that, which is no lower than the event, which exists; noon if it never is so high."""
    second = when_at(where, altitude, rising)
    return noon(where) if second is None else second


# --- sky lamps -----------------------------------------------------------------------------------------------------


class Follow(NamedTuple):
    """What a sky lamp does while daylight does `inner`: `low` at `dark_lux` and darker, `high` from `bright_lux` on.

    Between them the level goes by the logarithm of the light: the eye adapts, so equal ratios of daylight look like
    equal steps. With `dark_lux` the greater of the two the lamp goes the other way, and comes on as daylight goes.
    """

    inner: Wave
    dark_lux: float
    bright_lux: float
    low: float = 0.0
    high: float = 1.0

    def value_at(self, at_us: int) -> float:
        now, dark, bright = (
            max(light, DARKEST_LUX) for light in (self.inner.value_at(at_us), self.dark_lux, self.bright_lux)
        )
        if dark == bright:
            share = 1.0 if now >= bright else 0.0
        else:
            share = max(0.0, min(1.0, log(now / dark) / log(bright / dark)))
        return self.low + (self.high - self.low) * share

    def turns(self, after_us: int) -> int | None:
        # a piece that goes one way still does so when its ends are cut off
        return self.inner.turns(after_us)

    def piece(self, at_us: int) -> Part:
        return Stretch(self.turns(at_us), self.value_at)

    @property
    def ends_us(self) -> int | None:
        return self.inner.ends_us

    @property
    def state(self) -> State:
        return self.inner.state
