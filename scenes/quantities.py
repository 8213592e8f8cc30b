"""Quantities as written to exact integers and fractions: times, shares, angles, rates, lengths, speeds.

Knows spelling and units; knows nothing of names, scenes or what a quantity is for.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from scenes.nodes import Word

LONGEST_US = 31 * 24 * 3600 * 1_000_000  # a wait, a fade or a rehearsal: a month
FASTEST_RATE = 3000  # flashes a minute: 50 a second, beyond what a lamp shows or an eye sees
BRIGHTEST_LUX = 200_000
WARMEST_K, COOLEST_K = 1_000, 10_000
SLOWEST_PACE, FASTEST_PACE = Fraction(1, 10), 10
MOST_COUNT = 1_000_000  # rounds, counts, seeds' digits apart

_MICROSECONDS = {
    **dict.fromkeys(("ms", "millisecond", "milliseconds"), 1_000),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1_000_000),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 60_000_000),
    **dict.fromkeys(("h", "hour", "hours"), 3_600_000_000),
}
_MILLIMETRES = {"mm": 1, "cm": 10, "m": 1000}
_WRITTEN = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(.*?)\s*")

_WORDS = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
NUMBER_WORDS = {word: number for number, word in enumerate(_WORDS, start=2)}
KINDS = {
    "DURATION": "a time such as `3 s`",
    "PERCENT": "a level such as `40 %`",
    "ANGLE": "an angle such as `15 deg`",
    "RATE": "a rate such as `45 a minute`",
    "INTEGER": "a whole number",
    "LENGTH": "a length such as `800 mm`",
    "SPEED": "a speed such as `150 mm/s`",
    "LUX": "an amount of light such as `20 lux`",
    "KELVIN": "a colour of light such as `2700 K`",
    "TIME": "a time of day such as `17:45`",
    "NAME": "a name",
    "ON": "`on`",
    "OFF": "`off`",
}


class OutOfRange(ValueError):
    """A quantity that is written well and cannot be meant. Its text says why, and `instead` what to write."""

    def __init__(self, what: str, instead: str = "") -> None:
        super().__init__(what)
        self.instead = instead


@lru_cache(maxsize=4096)
def split(text: str) -> tuple[Fraction, str]:
    """A number with a decimal point or comma, and the unit behind it as written."""
    found = _WRITTEN.fullmatch(text)
    if found is None:
        raise OutOfRange(f"`{text}` is no quantity")
    return Fraction(found[1].replace(",", ".")), found[2]


def duration_us(word: Word) -> int:
    """A time in microseconds, to the nearest one."""
    return _duration_us(word.text)


@lru_cache(maxsize=4096)
def _duration_us(text: str) -> int:
    value, unit = split(text)
    us = round(value * _MICROSECONDS[unit])
    if us > LONGEST_US:
        raise OutOfRange(f"`{text}` is longer than a month", "write a shorter time")
    if us == 0 and value:
        raise OutOfRange(f"`{text}` is shorter than a millionth of a second", "write a longer time")
    return us


def share(word: Word) -> Fraction:
    """A percentage as a share: 40 % is two fifths."""
    value = split(word.text)[0] / 100
    if value > 1:
        raise OutOfRange(f"`{word.text}` is more than there is", "levels and shares end at 100 %")
    return value


def degrees(word: Word) -> float:
    return float(split(word.text)[0])


def lux(word: Word) -> float:
    value = split(word.text)[0]
    if value > BRIGHTEST_LUX:
        raise OutOfRange(f"`{word.text}` is brighter than any day", f"at most {BRIGHTEST_LUX:,} lux")
    return float(value)


def kelvin(word: Word) -> float:
    value = split(word.text)[0]
    if not WARMEST_K <= value <= COOLEST_K:
        raise OutOfRange(
            f"no lamp shines at `{word.text}`", f"write {WARMEST_K} K (embers) to {COOLEST_K} K (blue sky)"
        )
    return float(value)


def pace(word: Word) -> float:
    """A percentage that may be more than the whole: a pace of 150 % is half as fast again."""
    value = split(word.text)[0] / 100
    if not SLOWEST_PACE <= value <= FASTEST_PACE:
        raise OutOfRange(f"a pace of `{word.text}` cannot be seen", "write a pace from 10 % to 1000 %")
    return float(value)


def rate_per_min(word: Word) -> Fraction:
    """Flashes a minute, exact."""
    value = split(word.text)[0]
    if not value:
        raise OutOfRange("a lamp that flashes 0 times a minute does not flash", "write `turn on` or `turn off`")
    if value > FASTEST_RATE:
        raise OutOfRange(f"`{word.text}` is faster than any lamp can flash", f"at most {FASTEST_RATE} a minute")
    return value


def whole(word: Word, most: int = MOST_COUNT) -> int:
    if len(word.text) > 20 or int(word.text) > most:
        raise OutOfRange(f"`{word.text[:24]}` is too large a number", f"at most {most:,}")
    return int(word.text)


def length_mm(word: Word) -> int:
    value, unit = split(word.text)
    mm = round(value * _MILLIMETRES[unit])
    if not 1 <= mm <= 1_000_000:
        raise OutOfRange(f"a train is not {word.text} long", "write its length on the layout, such as `800 mm`")
    return mm


def speed_um_s(word: Word) -> int:
    um = round(split(word.text)[0] * 1000)
    if not 1 <= um <= 10_000_000:
        raise OutOfRange(f"a train does not run at {word.text}", "write its speed on the layout, such as `150 mm/s`")
    return um


def second_of_day(word: Word) -> int:
    """A time of day in seconds after midnight."""
    hours, minutes, *seconds = (int(part) for part in word.text.split(":"))
    second = seconds[0] if seconds else 0
    if hours > 23 or minutes > 59 or second > 59:
        raise OutOfRange(f"there is no `{word.text}` in a day", "times of day run from 0:00 to 23:59")
    return hours * 3600 + minutes * 60 + second


def say_us(us: int) -> str:
    """A time as a person would write it."""
    for size, unit in ((3_600_000_000, "h"), (60_000_000, "min"), (1_000_000, "s"), (1_000, "ms")):
        if us >= size and us % size == 0:
            return f"{us // size} {unit}"
    return f"{us / 1_000_000:g} s"


def say_s(us: int, places: int = 3) -> str:
    """A time in seconds, to so many places: for times that are worked out, and that nobody would write in ms."""
    return f"{f'{us / 1_000_000:.{places}f}'.rstrip('0').rstrip('.')} s"
