"""Lamps of a layout file: their levels, how they come on, what they follow, and what their boards do alone.

Knows neither their colour nor any other kind of output.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from engine.layout import Itself, Output
from wayside.layout.daylight import is_light
from wayside.layout.names import Reading, text
from wayside.layout.schema import choices, pattern
from wayside.layout.values import area_mm2, is_yes, lights, rate_a_minute, share, whole
from wayside.layout.yaml_places import Entry, Table, Text

MAX_LEVELS = 65_535
USUAL_LEVELS = 255
WIDEST_MM2 = 1_000_000.0  # a square metre of light

_YES_OR_NO = ("flickers by itself", "dithers", "mixes colours")
_NEED_LEVELS = {
    "comes on like": "it comes on at once",
    "floor": "it has no least level",
    "dithers": "it has no levels to dither between",
    "follows daylight": "it cannot follow the daylight",
    "whites": "it cannot mix two whites",
    "mixes colours": "it cannot mix colours",
}


class _Apart(NamedTuple):
    """Two keys that one lamp cannot have at once."""

    one: str
    other: str
    what: str
    instead: str


_ITS_BOARD = "Keep what its board does, or delete that"
_FOLLOWS = "Delete it, or `follows daylight`"
_APART = (
    _Apart("flickers by itself", "flashes as a pair", "flickers and flashes by itself", "Keep the one its board does"),
    _Apart("comes on like", "flickers by itself", "flickers by itself, so it comes on as its board does", _ITS_BOARD),
    _Apart("comes on like", "flashes as a pair", "flashes by itself, so it comes on as its board does", _ITS_BOARD),
    _Apart("follows daylight", "flickers by itself", "flickers by itself and follows the daylight", _ITS_BOARD),
    _Apart("follows daylight", "flashes as a pair", "flashes by itself and follows the daylight", _ITS_BOARD),
    _Apart("follows daylight", "comes on like", "follows the daylight, so it never comes on in a way", _FOLLOWS),
    _Apart("follows daylight", "rest", "follows the daylight, so it has no state of rest of its own", _FOLLOWS),
    _Apart("follows daylight", "safe", "follows the daylight, so it has no safe state of its own", _FOLLOWS),
)


_SPECIAL = frozenset([*_NEED_LEVELS, "lit area", "flickers by itself", "flashes as a pair"])


def read_lamp(reading: Reading, output: Output, settings: Table) -> Output:
    dimmable, said = yes(settings, "dimmable"), text(settings, "dimmable")
    can_tell = said is None or pattern("yes-or-no").fullmatch(said.text) is not None
    written = settings.entries.get("levels")
    if written and not dimmable and can_tell:
        reading.wrong(written.key.place, f"`{output.name}` has levels, but is not dimmable", "Add `dimmable: yes`")
    if written or dimmable:
        output = replace(output, steps=levels(reading, settings))
    if _is_plain(settings):
        return output
    if output.steps == 1 and can_tell:
        _only_switched(reading, output, settings)
    _keep_apart(reading, output, settings)
    output = _with_light(reading, output, settings)
    if yes(settings, "flickers by itself"):
        return replace(output, itself=Itself.FLICKERS)
    pair = text(settings, "flashes as a pair")
    return _pair(reading, output, pair) if pair else output


def yes(settings: Table, key: str) -> bool:
    word = text(settings, key)
    return word is not None and is_yes(word.text)


def given(settings: Table, key: str) -> Entry | None:
    """The entry of a key that has an effect; `no` has none."""
    entry = settings.entries.get(key)
    return entry if entry and (key not in _YES_OR_NO or yes(settings, key)) else None


def levels(reading: Reading, settings: Table) -> int:
    word = text(settings, "levels")
    number = whole(word.text) if word else None
    if word is None or number is None:
        return USUAL_LEVELS
    if not 2 <= number <= MAX_LEVELS:
        instead = f"Write 2 to {MAX_LEVELS}; for a lamp that is only switched, leave it out"
        reading.wrong(word.place, f"{number} levels are none that an output can be dimmed through", instead)
        return USUAL_LEVELS
    return number


def _is_plain(settings: Table) -> bool:
    """As most lamps are: with nothing that could contradict anything. A layout can have thousands."""
    return _SPECIAL.isdisjoint(settings.entries)


def _only_switched(reading: Reading, output: Output, settings: Table) -> None:
    """What only levels can do. One cause, so it is told once, at the first key that needs them."""
    needing = [(entry.key.place, key) for key in _NEED_LEVELS if (entry := given(settings, key))]
    if needing:
        place, key = min(needing)
        what = f"`{output.name}` is only switched, so {_NEED_LEVELS[key]}"
        reading.wrong(place, what, f"Add `dimmable: yes`, or delete `{key}`")


def _keep_apart(reading: Reading, output: Output, settings: Table) -> None:
    for pair in _APART:
        one, other = given(settings, pair.one), given(settings, pair.other)
        if one and other:
            first, second = sorted([one.key.place, other.key.place])
            reading.wrong(second, f"`{output.name}` {pair.what}", pair.instead, (first, "the other is here"))


def _pair(reading: Reading, output: Output, word: Text) -> Output:
    rate = rate_a_minute(word.text)
    if rate == 0:
        reading.wrong(word.place, "a rate of nothing a minute is no flash", "Write for example 45 a minute")
    if not rate:
        return output
    return replace(output, itself=Itself.FLASHES, itself_us=round(60_000_000 / rate))


# --- the light itself ----------------------------------------------------------------------------------------------


def _with_light(reading: Reading, output: Output, settings: Table) -> Output:
    way = text(settings, "comes on like")
    return replace(
        output,
        comes_on=way.text if way and way.text in choices("comes on like") else "",
        floor=_floor(reading, settings),
        dithers=yes(settings, "dithers"),
        lit_area_mm2=_lit_area(reading, settings),
        follows_lux=_follows(reading, settings),
    )


def _floor(reading: Reading, settings: Table) -> float:
    word = text(settings, "floor")
    least = share(word.text) if word else None
    if word is None or least is None:
        return 0.0
    if least >= 1:
        what = f"`floor`: with `{word.text}` no level is left between dark and full"
        reading.wrong(word.place, what, "Write for example `floor: 4 %`")
        return 0.0
    return least


def _lit_area(reading: Reading, settings: Table) -> float | None:
    word = text(settings, "lit area")
    area = area_mm2(word.text) if word else None
    if word is None or area is None:
        return None
    if area == 0:
        reading.wrong(word.place, "`lit area`: nothing is seen of it", "Write for example `lit area: 400 mm2`")
    elif area > WIDEST_MM2:
        reading.wrong(word.place, f"`lit area`: `{word.text}` is more than a square metre", "Write at most 10000 cm2")
    return area if 0 < area <= WIDEST_MM2 else None


def _follows(reading: Reading, settings: Table) -> tuple[float, float] | None:
    word = text(settings, "follows daylight")
    found = lights(word.text) if word else None
    if word is None or found is None or not all(is_light(reading, word, "follows daylight", lux) for lux in found):
        return None
    dark, full = found
    if dark >= full:
        what = "`follows daylight`: " + ("the two are the same" if dark == full else "the two are the wrong way round")
        reading.wrong(word.place, what, "Write first where it is dark, then where it is full, which is more light")
        return None
    return dark, full
