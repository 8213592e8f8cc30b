"""The colour of a lamp: an output of its own behind the lamp, made from what the layout file says of the lamp.

Knows nothing of levels; a lamp without them that mixes colours is told so with the other lamps.
"""

from __future__ import annotations

from dataclasses import replace

from engine.layout import Aspect, Kind, Output, Setting, colour_of
from scenes.problems import nearest
from wayside.layout.lamps import given
from wayside.layout.names import NO_STATES, RESERVED, Reading, text
from wayside.layout.schema import pattern
from wayside.layout.values import kelvin, kelvins
from wayside.layout.yaml_places import Entry, Items, Table, Text

WARMEST_K, COOLEST_K = 1_000.0, 10_000.0  # a dull ember; a blue sky
# The whites that red, green and blue can mix: below 1900 K Planck's locus lies outside the primaries of sRGB
# (IEC 61966-2-1), so that blue would have to be less than nothing.
MIXED_K = (1_900.0, 10_000.0)
RESERVED_COLOURS = RESERVED | NO_STATES | {"lit", "flashing", "fading", "flickering", "full"}

_WAYS = ("whites", "mixes colours", "colours")


def read_colour(reading: Reading, lamp: Output, settings: Table) -> Output | None:
    """The lamp's colour, if the file says that it has any."""
    ways = [key for key in settings.entries if key in _WAYS and given(settings, key)]
    if not ways:
        _no_rest(reading, lamp, settings)
        return None
    first, entry = ways[0], settings.entries[ways[0]]
    for key in ways[1:]:
        what = f"`{lamp.name}` has `{first}` and `{key}`, and a lamp makes its colour in one way"
        reading.wrong(settings.entries[key].key.place, what, "Keep one of the two", (entry.key.place, "the other"))
    colour = Output(colour_of(lamp.name), Kind.COLOUR, Setting(0.0), lamp.place, lamp.wiring)
    if first == "colours":
        return _of_names(reading, colour, lamp, _named(reading, lamp, entry), settings)
    low, high = _range(reading, settings) if first == "whites" else MIXED_K
    rest = _white_at_rest(reading, lamp, settings, low, high)
    return replace(colour, rest=Setting(_mired(rest)), mired=(_mired(low), _mired(high)), steps=lamp.steps)


def _mired(white_k: float) -> float:
    return 1e6 / white_k


def _no_rest(reading: Reading, lamp: Output, settings: Table) -> None:
    written, mixes = settings.entries.get("rest colour"), text(settings, "mixes colours")
    if written and "mixes colours" not in settings.entries:
        instead = "Add `whites: 2200 K to 6500 K`, `mixes colours: yes` or `colours: [white, red]`, or delete this"
        reading.wrong(written.key.place, f"`{lamp.name}` has a rest colour, but says nothing of its colours", instead)
    elif written and mixes and pattern("yes-or-no").fullmatch(mixes.text):
        what = f"`{lamp.name}` has a rest colour, but mixes none"
        reading.wrong(written.key.place, what, "Write `mixes colours: yes`, or delete this")


# --- whites --------------------------------------------------------------------------------------------------------


def _range(reading: Reading, settings: Table) -> tuple[float, float]:
    """The warmest and the coolest white, in kelvin; those of a mixer if they cannot be made out."""
    word = text(settings, "whites")
    found = kelvins(word.text) if word else None
    if word is None or found is None:
        return MIXED_K
    low, high = sorted(found)
    if low < WARMEST_K or high > COOLEST_K:
        what = f"`whites`: no lamp has a white of {low if low < WARMEST_K else high:g} K"
        reading.wrong(word.place, what, f"Write {WARMEST_K:g} K to {COOLEST_K:g} K, or a part of that")
        return MIXED_K
    if low == high:
        what = f"`whites`: the two are the same, so `{word.text}` leaves nothing to mix"
        reading.wrong(word.place, what, "Write two different whites, or leave it out")
        return MIXED_K
    return low, high


def _white_at_rest(reading: Reading, lamp: Output, settings: Table, low: float, high: float) -> float:
    word = text(settings, "rest colour")
    if word is None:
        return low
    white = kelvin(word.text)
    if white is not None and low <= white <= high:
        return white
    what = f"`{word.text}` is not a white that `{lamp.name}` can show"
    instead = f"Write {low:g} K to {high:g} K"
    if word.text.isdigit():
        what, instead = f"`rest colour`: `{word.text}` has no unit", f"Write `rest colour: {word.text} K`"
    reading.wrong(word.place, what, instead)
    return low


# --- one colour of several -----------------------------------------------------------------------------------------


def _named(reading: Reading, lamp: Output, entry: Entry) -> list[str]:
    """The names of the colours; what has not the form of a name has been reported."""
    first: dict[str, Text] = {}
    for word in entry.value.items if isinstance(entry.value, Items) else ():
        if not isinstance(word, Text) or not pattern("name").fullmatch(word.text):
            continue
        if first.setdefault(word.text, word) is not word:
            also = (first[word.text].place, "first given here")
            reading.wrong(word.place, f"`{word.text}` is a colour of `{lamp.name}` twice", "Delete one of them", also)
        elif word.text in RESERVED_COLOURS:
            what = f"`{word.text}` cannot be a colour: scenes say it of every lamp"
            reading.wrong(word.place, what, "Write what is seen, such as white")
    return list(first)


def _of_names(reading: Reading, colour: Output, lamp: Output, names: list[str], settings: Table) -> Output:
    word = text(settings, "rest colour")
    if word and names and word.text not in names:
        near = nearest(word.text, names)
        instead = f"Did you mean `{near}`?" if near else f"Its colours are `{'`, `'.join(names)}`"
        reading.wrong(word.place, f"`{lamp.name}` has no colour `{word.text}`", instead)
    rest = names.index(word.text) if word and word.text in names else 0
    return replace(colour, rest=Setting(float(rest)), aspects=tuple(Aspect(name) for name in names))
