"""The layout file's single values in the engine's units: times, lengths, angles, rates, states.

A text that does not have its form gives None: the schema's check has reported it. Knows no files.
"""

from __future__ import annotations

import re
from fractions import Fraction

from engine.layout import Blink, Kind, Output, Setting
from wayside.layout.schema import pattern

LONGEST_US = 24 * 3_600_000_000  # for any time in a layout
LONGEST_MM = 10_000_000  # for any length: ten kilometres
LEAST_LUX, MOST_LUX = 0.0001, 200_000.0  # an overcast night without a moon; more than the sun at its highest
MOST_SLOTS = 20  # lamps that share one flashing period

_TIME_US = {"ms": 1_000, "mi": 60_000_000, "h": 3_600_000_000, "s": 1_000_000}
_LENGTH_MM = {"mm": 1, "cm": 10, "m": 1_000}
_YES = ("yes", "on", "true")
_LEVEL_NAMES = {"yes": 1.0, "on": 1.0, "true": 1.0, "no": 0.0, "off": 0.0, "false": 0.0}
_PERCENT = re.compile(r"([0-9]{1,3}(?:[.,][0-9]{1,6})?) ?(?:%|percent)( backwards)?")
_FLASHING = re.compile(
    r"flashing at ([0-9]{1,4}(?:[.,][0-9]{1,6})?) ?(?:a minute|per minute|/min)(?: each)?"
    r"(?:, *([0-9]{1,4}) of ([0-9]{1,4}))?"
)


def _number(text: str) -> Fraction:
    return Fraction(text.replace(",", "."))


def time_us(text: str) -> int | None:
    found = pattern("time").fullmatch(text)
    if not found:
        return None
    unit = found[2]
    short = "ms" if unit.startswith(("ms", "milli")) else "mi" if unit.startswith("mi") else unit[0]
    return round(_number(found[1]) * _TIME_US[short])


def whole(text: str) -> int | None:
    return int(text) if pattern("from-nought").fullmatch(text) else None


def length_mm(text: str) -> Fraction | None:
    found = pattern("length").fullmatch(text)
    return _number(found[1]) * _LENGTH_MM[found[2]] if found else None


def place_mm(text: str) -> tuple[int, int] | None:
    """From the left and from the back, to the nearest mm. A unit that stands once counts for both."""
    found = pattern("place-on-the-plan").fullmatch(text)
    if not found:
        return None
    across, down = _LENGTH_MM[found[2] or found[4]], _LENGTH_MM[found[4]]
    return round(_number(found[1]) * across), round(_number(found[3]) * down)


def speed_mm_s(text: str) -> Fraction | None:
    found = pattern("speed").fullmatch(text)
    return _number(found[1]) * _LENGTH_MM[found[2].partition("/")[0]] if found else None


def degrees(text: str) -> float | None:
    found = pattern("angle").fullmatch(text)
    return float(_number(found[1])) if found else None


def limits(text: str) -> tuple[float, float] | None:
    found = pattern("angles").fullmatch(text)
    return (float(_number(found[1])), float(_number(found[2]))) if found else None


def rate_a_minute(text: str) -> Fraction | None:
    found = pattern("rate").fullmatch(text)
    return _number(found[1]) if found else None


def a_second(text: str) -> float | None:
    found = pattern("rate-a-second").fullmatch(text)
    return float(_number(found[1])) if found else None


def baud(text: str) -> int | None:
    found = pattern("baud").fullmatch(text)
    return int(found[1]) if found else None


def lux(text: str) -> float | None:
    found = pattern("light").fullmatch(text)
    return float(_number(found[1])) if found else None


def lights(text: str) -> tuple[float, float] | None:
    found = pattern("lights").fullmatch(text)
    return (float(_number(found[1])), float(_number(found[2]))) if found else None


def share(text: str) -> float | None:
    found = pattern("share").fullmatch(text)
    return float(_number(found[1]) / 100) if found else None


def area_mm2(text: str) -> float | None:
    found = pattern("area").fullmatch(text)
    return float(_number(found[1]) * (1 if found[2].startswith("mm") else 100)) if found else None


def kelvin(text: str) -> float | None:
    found = pattern("white").fullmatch(text)
    return float(_number(found[1])) if found else None


def kelvins(text: str) -> tuple[float, float] | None:
    found = pattern("whites").fullmatch(text)
    return (float(_number(found[1])), float(_number(found[2]))) if found else None


def second_of_day(text: str) -> int | None:
    """None, too, for a time that no clock shows."""
    found = pattern("time-of-day").fullmatch(text)
    if not found:
        return None
    hours, minutes, seconds = (int(part or 0) for part in found.groups())
    return hours * 3600 + minutes * 60 + seconds if hours < 24 and minutes < 60 and seconds < 60 else None


def is_yes(text: str) -> bool:
    return text.lower() in _YES


def blink(rate: Fraction, slot: int, slots: int) -> Blink:
    """A flash at a rate a minute, kept exact."""
    cycle = Fraction(60_000_000) / rate
    return Blink(cycle.numerator, cycle.denominator, slot, slots)


# --- states --------------------------------------------------------------------------------------------------------


class NoState(ValueError):
    """The text is no state of this output; says why, and what could stand there."""

    def __init__(self, what: str, instead: str) -> None:
        self.what, self.instead = what, instead
        super().__init__(what)


def setting(text: str, output: Output, may_flash: bool) -> Setting:
    """What a state's words mean for an output. Raises NoState."""
    if output.kind is Kind.SERVO:
        return Setting(_named(text, output.name, "position", {p.name: p.degrees for p in output.positions}))
    if output.kind is Kind.SIGNAL:
        return Setting(_named(text, output.name, "aspect", {a.name: float(i) for i, a in enumerate(output.aspects)}))
    if text.startswith("flash"):
        return _flashing(text, output, may_flash)
    return Setting(_level(text, output))


def _named(text: str, owner: str, word: str, values: dict[str, float]) -> float:
    from scenes.problems import nearest

    if text in values:
        return values[text]
    near = nearest(text, values)
    instead = f"Did you mean `{near}`?" if near else f"Its {word}s are `{'`, `'.join(values)}`"
    raise NoState(f"`{owner}` has no {word} `{text}`", instead)


def _level(text: str, output: Output) -> float:
    if text.lower() in _LEVEL_NAMES:
        return _LEVEL_NAMES[text.lower()]
    found = _PERCENT.fullmatch(text)
    motor = output.kind is Kind.MOTOR
    if not found:
        graded = ", a level such as 40 %" if output.dimmable else ""
        flash = ', or "flashing at 80 a minute"' if output.kind is Kind.LAMP else ""
        raise NoState(f"`{text}` is not a state of a {output.kind.value}", f"Write on, off{graded}{flash}")
    level = float(_number(found[1]) / 100)
    if level > 1:
        raise NoState(f"`{text}` is more than all", "Write 100 % or less")
    if not output.dimmable:
        hint = ", or make it dimmable: yes" if output.kind is Kind.LAMP else ""
        raise NoState(
            f"`{output.name}` is only switched, so it has no level between off and on", f"Write on or off{hint}"
        )
    if found[2] and not motor:
        raise NoState(f"a {output.kind.value} does not run backwards", f'Write "{found[1]} %"')
    return -level if found[2] else level


def _flashing(text: str, output: Output, may_flash: bool) -> Setting:
    found = _FLASHING.fullmatch(text)
    if not may_flash or output.kind not in (Kind.LAMP, Kind.RELAY):
        what = "a state of rest does not flash" if output.kind is Kind.LAMP else f"a {output.kind.value} does not flash"
        raise NoState(what, "Write on or off")
    sample = '"flashing at 80 a minute, 1 of 2"'
    if not found:
        raise NoState(f"`{text}` does not say how it flashes", f"Write {sample}, in quotes")
    rate, turn, of = _number(found[1]), int(found[2] or 1), int(found[3] or 2)
    if rate == 0:
        raise NoState("a rate of nothing a minute is no flash", f"Write {sample}, or off")
    if not 2 <= of <= MOST_SLOTS:
        raise NoState(f"{of} lamps cannot share a flashing period", f"Write a number from 2 to {MOST_SLOTS} after of")
    if not 1 <= turn <= of:
        raise NoState(f"there is no lamp {turn} of {of}", f"Write a number from 1 to {of} before of")
    return Setting(1.0, blink(rate, turn - 1, of))
