"""Where the sun stands: its altitude at a place at any instant, and the instants at which it reaches one.

Knows nothing of light, lamps or scenes. Seconds are those of the layout's day: local time, midnight is 0.
"""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from math import asin, atan2, cos, degrees, floor, pi, radians, sin
from typing import NamedTuple

from engine.layout import Whereabouts

DAY_S = 86_400
# Dynamical time less universal time. Kept for every date: a minute more or less moves the sun by 2.5 arcseconds.
_DELTA_T_S = 69.0
_J2000 = date(2000, 1, 1).toordinal() + 0.5  # noon

# The earth's longitude round the sun, theory VSOP87 (Bretagnon and Francou, 1988), cut off below 3e-6 rad (0.6
# arcseconds), as printed in Meeus, "Astronomical Algorithms", 2nd ed. 1998, appendix III: amplitude in 1e-8 rad,
# phase, and frequency in radians a thousand years; one table a power of the time.
_LONGITUDE: tuple[tuple[tuple[float, float, float], ...], ...] = (
    (
        (175_347_046, 0, 0),
        (3_341_656, 4.6692568, 6283.07585),
        (34_894, 4.6261, 12566.1517),
        (3_497, 2.7441, 5753.3849),
        (3_418, 2.8289, 3.5231),
        (3_136, 3.6277, 77713.7715),
        (2_676, 4.4181, 7860.4194),
        (2_343, 6.1352, 3930.2097),
        (1_324, 0.7425, 11506.7698),
        (1_273, 2.0371, 529.691),
        (1_199, 1.1096, 1577.3435),
        (990, 5.233, 5884.927),
        (902, 2.045, 26.298),
        (857, 3.508, 398.149),
        (780, 1.179, 5223.694),
        (753, 2.533, 5507.553),
        (505, 4.583, 18849.228),
        (492, 4.205, 775.523),
        (357, 2.92, 0.067),
        (317, 5.849, 11790.629),
    ),
    ((628_331_966_747, 0, 0), (206_059, 2.678235, 6283.07585), (4_303, 2.6351, 12566.1517), (425, 1.59, 3.523)),
    ((52_919, 0, 0), (8_720, 1.0721, 6283.0758), (309, 0.867, 12566.152)),
)
_PARALLAX = radians(8.794 / 3600)  # the sun's, at its mean distance (Meeus, ch. 40)


class Event(NamedTuple):
    """A moment of the day that has a name: where the sun's centre stands, and on which side of noon."""

    altitude_deg: float
    rising: bool


# Sunset as the United States Naval Observatory defines it: 50 arcminutes below the horizon, 34 of refraction and 16 of
# half the sun's width. Six degrees end civil twilight, eighteen astronomical (glossary of the American
# Meteorological Society).
EVENTS = {
    "daybreak": Event(-18.0, True),
    "dawn": Event(-6.0, True),
    "sunrise": Event(-50 / 60, True),
    "sunset": Event(-50 / 60, False),
    "dusk": Event(-6.0, False),
    "nightfall": Event(-18.0, False),
}


class _Day(NamedTuple):
    """The sun through one day of universal time: parabolas in the share of the day that has passed, in radians.

    `ascension` has the equation of the equinoxes taken off, so that mean sidereal time goes with it.
    """

    ascension: tuple[float, float, float]
    declination: tuple[float, float, float]


def _seen(days: float) -> tuple[float, float]:
    """Apparent right ascension less the equation of the equinoxes, and declination, as seen from the earth's centre.

    `days` of universal time since the noon that began 2000. Nutation: Meeus, ch. 22, low accuracy (0.5 arcseconds).
    """
    centuries = (days + _DELTA_T_S / DAY_S) / 36_525
    thousands = centuries / 10
    earth = 1e-8 * sum(
        thousands**power * sum(size * cos(phase + often * thousands) for size, phase, often in terms)
        for power, terms in enumerate(_LONGITUDE)
    )
    node = radians(125.04452 - 1_934.136261 * centuries)
    sun2, moon2 = 2 * radians(280.4665 + 36_000.7698 * centuries), 2 * radians(218.3165 + 481_267.8813 * centuries)
    nutation = -17.20 * sin(node) - 1.32 * sin(sun2) - 0.23 * sin(moon2) + 0.21 * sin(2 * node)
    wobble = 9.20 * cos(node) + 0.57 * cos(sun2) + 0.10 * cos(moon2) - 0.09 * cos(2 * node)
    tilt = radians(23.4392911 - 0.0130042 * centuries + wobble / 3600)
    anomaly = radians(357.52911 + 35_999.05029 * centuries)
    distance = 1.00014 - 0.01671 * cos(anomaly) - 0.00014 * cos(2 * anomaly)
    longitude = earth + pi + radians((nutation - 20.4898 / distance) / 3600)
    ascension = atan2(cos(tilt) * sin(longitude), cos(longitude))
    return ascension - radians(nutation / 3600) * cos(tilt), asin(sin(tilt) * sin(longitude))


def _parabola(first: float, middle: float, last: float) -> tuple[float, float, float]:
    """Through three values at 0, 1/2 and 1: the coefficients, constant first."""
    return first, 4 * middle - 3 * first - last, 2 * (first + last) - 4 * middle


@lru_cache(maxsize=64)  # a pure memo
def _day(whole: int) -> _Day:
    """A day's course of the sun. The parabolas miss the series by less than 0.01 arcseconds between their nodes."""
    (first, *_), (middle, *_), (last, *_) = nodes = [_seen(whole + part) for part in (0.0, 0.5, 1.0)]
    turn = 2 * pi
    middle, last = (value + turn * round((first - value) / turn) for value in (middle, last))
    return _Day(_parabola(first, middle, last), _parabola(*(declination for _, declination in nodes)))


def altitude_deg(where: Whereabouts, second: float) -> float:
    """The true altitude of the sun's centre, without refraction, at a second of the layout's day.

    May be asked for before the day begins and after it has ended. Raises ValueError if there is no such date.
    """
    midnight = date(where.year, where.month, where.day).toordinal() - _J2000 - where.utc_min / 1_440
    days = midnight + second / DAY_S
    whole = floor(days)
    x = days - whole
    (a, b, c), (d, e, f) = _day(whole)
    declination = d + x * (e + x * f)
    # mean sidereal time at Greenwich (Meeus, formula 12.4, whose terms of the second order are below a millisecond)
    sidereal_deg = 280.46061837 + 0.98564736629 * days + 360.0 * x
    hour = radians(sidereal_deg + where.longitude_deg) - (a + x * (b + x * c))
    latitude = radians(where.latitude_deg)
    centre = asin(max(-1.0, min(1.0, sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * cos(hour))))
    return degrees(centre - _PARALLAX * cos(centre))


def _turning(where: Whereabouts, early_s: float, late_s: float, falls_after: bool) -> float:
    """Between two seconds: where the altitude is greatest or least. At the very poles it may be one of the two."""
    while late_s - early_s > 0.001:
        middle = (early_s + late_s) / 2
        falls = altitude_deg(where, middle + 10) < altitude_deg(where, middle - 10)
        if falls == falls_after:
            late_s = middle
        else:
            early_s = middle
    return (early_s + late_s) / 2


@lru_cache(maxsize=64)
def noon(where: Whereabouts) -> float:
    """The second at which the sun stands highest; of two such in a day, the one nearer to the clock's noon.

    Near the poles that is not when it stands due south or north, since it climbs or sinks from day to day.
    """
    mean = DAY_S / 2 + (where.utc_min - 4 * where.longitude_deg) * 60
    mean += DAY_S * round((DAY_S / 2 - mean) / DAY_S)
    # the sundial is never off by more than 17 minutes
    return _turning(where, mean - 7_200, mean + 7_200, True)


@lru_cache(maxsize=64)
def _lowest(where: Whereabouts, before_noon: bool) -> float:
    """The second at which the sun stands lowest, in the night before that noon or in the night after it."""
    about = noon(where) + (-DAY_S / 2 if before_noon else DAY_S / 2)
    return _turning(where, about - 7_200, about + 7_200, False)


@lru_cache(maxsize=256)
def when_at(where: Whereabouts, altitude: float, rising: bool) -> float | None:
    """The second at which the sun reaches an altitude, between noon and the middle of the night before or after it.

    It may lie before 0 or after 86400. None: the sun does not reach it on that side of noon.
    """
    high, low = noon(where), _lowest(where, before_noon=rising)
    if not altitude_deg(where, low) <= altitude <= altitude_deg(where, high):
        return None
    for _ in range(64):
        middle = (high + low) / 2
        if altitude_deg(where, middle) < altitude:
            low = middle
        else:
            high = middle
    return high


def event(where: Whereabouts, name: str) -> int | None:
    """The whole second nearest to an event of the table; None if there is none at that place on that date."""
    second = when_at(where, *EVENTS[name])
    return None if second is None else round(second)


MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]


def why_not(where: Whereabouts, name: str) -> str:
    """Why there is no such event, as a sentence for people; nothing if there is one."""
    if event(where, name) is not None:
        return ""
    altitude = EVENTS[name].altitude_deg
    goes = "rise" if altitude_deg(where, noon(where)) < altitude else "sink"
    goal = f"{-altitude:g} deg below the horizon" if altitude < -1 else "the horizon"
    latitude = f"{abs(round(where.latitude_deg, 2)):g} {'S' if where.latitude_deg < 0 else 'N'}"
    day = f"{where.day} {MONTHS[where.month - 1]}"
    return f"At {latitude} on {day} the sun does not {goes} to {goal}, so there is no {name}."
