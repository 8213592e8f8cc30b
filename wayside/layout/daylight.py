"""How light it is on the layout: daylight, the place and date that it belongs to, and how near the public stands.

Knows nothing of the sun: what these numbers make of the day is the engine's business.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from engine.layout import DAYLIGHT, Kind, Layout, Output, Place, Setting, Whereabouts
from engine.waves import Steady
from scenes.problems import Problem
from wayside.layout.names import Reading, text
from wayside.layout.schema import pattern
from wayside.layout.values import LEAST_LUX, MOST_LUX, length_mm, lux
from wayside.layout.yaml_places import Table, Text

FIRST_YEAR, LAST_YEAR = 1900, 2099
MOST_BEHIND_MIN, MOST_AHEAD_MIN = -12 * 60, 14 * 60  # the time zones that there are (common practice, no source)
# How far from twelve the sun's noon is by the clock of any place, with or without summer time: three hours and some
# minutes, in the west of China and of Alaska (from memory). More is more likely a wrong sign.
ODD_NOON_MIN = 3 * 60 + 15
NEAREST_MM, FARTHEST_MM = 50, 100_000  # of viewing

_DAY_MIN = 24 * 60


def is_light(reading: Reading, word: Text, key: str, value: float) -> bool:
    """Whether it is ever so light or dark outdoors; reported if not."""
    if LEAST_LUX <= value <= MOST_LUX:
        return True
    bounds = f"{LEAST_LUX:g} lux (a black night) to {MOST_LUX:g} lux (the brightest sun)"
    shown = f"{value:.6f}".rstrip("0").rstrip(".")
    reading.wrong(word.place, f"`{key}`: it is never {shown} lux outdoors", f"Write {bounds}")
    return False


def read_daylight(reading: Reading, root: Table) -> float:
    word = text(root, "daylight")
    light = lux(word.text) if word else None
    if word is None or light is None or not is_light(reading, word, "daylight", light):
        return Layout().daylight_lux
    return light


def with_daylight(outputs: dict[str, Output], root: Table, light: float) -> dict[str, Output]:
    """The outputs, and behind them the daylight if the file speaks of it in any way."""
    written = [root.entries[key].key.place for key in ("daylight", "whereabouts") if key in root.entries]
    skies = [output.place for output in outputs.values() if output.follows_lux]
    spoken = next(iter(written + skies), None)
    if spoken is None:
        return outputs
    others = {name: _resting(output, light) for name, output in outputs.items() if name != DAYLIGHT}
    return {**others, DAYLIGHT: Output(DAYLIGHT, Kind.DAYLIGHT, Setting(light), spoken)}


def _resting(output: Output, light: float) -> Output:
    """A sky lamp rests at what the layout's daylight makes of it."""
    if output.follows_lux is None:
        return output
    from engine.daylight import Follow  # few layouts have a sky

    level = Follow(Steady(light), *output.follows_lux).value_at(0)
    return replace(output, rest=Setting(level))


def read_viewing(reading: Reading, root: Table) -> int | None:
    word = text(root, "viewing distance")
    distance = length_mm(word.text) if word else None
    if word is None or distance is None:
        return None
    if distance.denominator != 1:
        what = f"`viewing distance`: `{word.text}` is not a whole number of mm"
        reading.wrong(word.place, what, "Write for example `viewing distance: 800 mm`")
    elif not NEAREST_MM <= distance <= FARTHEST_MM:
        what = f"`viewing distance`: nobody looks at a layout from `{word.text}`"
        reading.wrong(word.place, what, f"Write {NEAREST_MM} mm to {FARTHEST_MM // 1_000} m")
    else:
        return int(distance)
    return None


# --- whereabouts ---------------------------------------------------------------------------------------------------


def read_whereabouts(reading: Reading, settings: Table) -> Whereabouts:
    usual = Whereabouts()
    north = _degrees(reading, settings, "latitude", 90)
    east = _degrees(reading, settings, "longitude", 180)
    zone = zone_min(reading, settings)
    if east is not None and zone is not None:
        _noon_is_by_day(reading, settings, east, zone)
    return Whereabouts(
        usual.latitude_deg if north is None else north,
        usual.longitude_deg if east is None else east,
        *(_date(reading, settings) or (usual.year, usual.month, usual.day)),
        usual.utc_min if zone is None else zone,
    )


def _degrees(reading: Reading, settings: Table, key: str, most: int) -> float | None:
    """Degrees north or east; negative to the south and west."""
    word = text(settings, key)
    found = pattern(key).fullmatch(word.text) if word else None
    if word is None or found is None:
        return None
    degrees = float(found[1].replace(",", "."))
    if degrees > most:
        reading.wrong(word.place, f"`{key}`: no place is at `{word.text}`", f"Write at most {most} {found[2].upper()}")
        return None
    return -degrees if degrees and found[2] in "SsWw" else degrees


def _date(reading: Reading, settings: Table) -> tuple[int, int, int] | None:
    word = text(settings, "date")
    found = pattern("date").fullmatch(word.text) if word else None
    if word is None or found is None:
        return None
    year, month, day = (int(part) for part in found.groups())
    if not FIRST_YEAR <= year <= LAST_YEAR:
        instead = f"Write a year from {FIRST_YEAR} to {LAST_YEAR}"
        reading.wrong(word.place, f"`date`: the sun of {year} is not worked out here", instead)
        return None
    try:
        date(year, month, day)
    except ValueError:
        instead = "Write the year, the month and the day, such as 2026-03-21"
        reading.wrong(word.place, f"`date`: no calendar has `{word.text}`", instead)
        return None
    return year, month, day


def zone_min(reading: Reading, settings: Table) -> int | None:
    """Minutes from universal time; None where no hours are written, or such as no clock has, which is reported."""
    word = text(settings, "time zone")
    found = pattern("time-zone").fullmatch(word.text) if word else None
    if word is None or found is None:
        return None
    sign, hours, minutes, part = found.groups()
    exact = int(hours) * 60 + int(minutes or 0) + float(f"0.{part or 0}") * 60
    zone = round(exact) if sign in ("", "+") else -round(exact)
    if int(minutes or 0) > 59 or abs(exact - round(exact)) > 1e-6:
        what = f"`time zone`: `{word.text}` is not a whole number of minutes"
        reading.wrong(word.place, what, "Write for example `+5.5 h` or `+5:30 h`")
        return None
    if not MOST_BEHIND_MIN <= zone <= MOST_AHEAD_MIN:
        bounds = f"{MOST_BEHIND_MIN // 60} h to +{MOST_AHEAD_MIN // 60} h"
        reading.wrong(word.place, f"`time zone`: no clock is `{word.text}` from universal time", f"Write {bounds}")
        return None
    return zone


def _noon_is_by_day(reading: Reading, settings: Table, east: float, zone: int) -> None:
    """A wrong sign is easily written and hard to see later: the sun would stand highest at an odd time."""
    noon = round(12 * 60 - east * 4 + zone) % _DAY_MIN  # the sun passes a degree in four minutes
    if abs(noon - 12 * 60) <= ODD_NOON_MIN:
        return
    place: Place = settings.entries["time zone"].value.place
    also = ((settings.entries["longitude"].value.place, "the longitude"),)
    what = f"the sun would stand highest at {noon // 60:02d}:{noon % 60:02d} by the layout clock"
    instead = "See that W and E are right, and that the time zone has a minus only west of Greenwich"
    reading.problems.append(Problem(place, what, instead, advice=True, also=also))
