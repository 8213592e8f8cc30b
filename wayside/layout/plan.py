"""Where a layout file says that things stand on the plan: `plan size`, `at` of things, `passes` of tracks.

Owns what is wrong with places by themselves. How a plan is drawn is not known here.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.layout import Plan
from wayside.layout.names import Reading, text
from wayside.layout.values import LONGEST_MM, place_mm
from wayside.layout.yaml_places import Items, Table, Text

PLACED = ("outputs", "detectors", "buttons")
Spot = tuple[int, int]


def read_plan(reading: Reading, root: Table) -> Plan:
    """Every place that the file gives, in mm from the left and from the back."""
    size = _size(reading, root)
    places = {name: at for name, word in _ats(reading) if (at := _spot(reading, name, word, size)) is not None}
    passes: dict[str, tuple[Spot, ...]] = {}
    for name, entry in reading.section("tracks").items():
        listed = entry.value.entries.get("passes") if isinstance(entry.value, Table) else None
        if listed is not None and isinstance(listed.value, Items):
            spots = _course(reading, name, listed.value, size)
            if len(spots) > 1:
                passes[name] = tuple(spots)
    return Plan(size, places, passes)


def _ats(reading: Reading) -> Iterator[tuple[str, Text]]:
    for section in PLACED:
        for name, entry in reading.section(section).items():
            word = text(entry.value, "at") if isinstance(entry.value, Table) else None
            if word is not None:
                yield name, word


def _size(reading: Reading, root: Table) -> Spot | None:
    word = text(root, "plan size")
    size = place_mm(word.text) if word else None
    if word is None or size is None:
        return None
    if min(size) == 0:
        instead = "Write its width and its depth, such as `5200 mm by 1300 mm`"
        reading.wrong(word.place, f"`plan size`: `{word.text}` has no room for anything", instead)
        return None
    return size if _within_reason(reading, "plan size", word, size) else None


def _spot(reading: Reading, name: str, word: Text, size: Spot | None) -> Spot | None:
    at = place_mm(word.text)
    if at is None or not _within_reason(reading, name, word, at):
        return None
    if size is not None and (at[0] > size[0] or at[1] > size[1]):
        what = f"`{name}` is at `{word.text}`, beyond the plan, which is {size[0]} mm by {size[1]} mm"
        reading.wrong(word.place, what, "Write a place on it, from its left and from its back, or a larger `plan size`")
        return None
    return at


def _within_reason(reading: Reading, name: str, word: Text, at: Spot) -> bool:
    if max(at) <= LONGEST_MM:
        return True
    reading.wrong(
        word.place, f"`{name}`: `{word.text}` is more than any layout needs", f"Write at most {LONGEST_MM} mm"
    )
    return False


def _course(reading: Reading, name: str, items: Items, size: Spot | None) -> list[Spot]:
    """The places that a track passes; two that follow one another differ."""
    spots: list[Spot] = []
    for item in items.items:
        at = _spot(reading, name, item, size) if isinstance(item, Text) else None
        if at is None:
            continue
        if spots and spots[-1] == at and isinstance(item, Text):
            reading.wrong(item.place, f"`{name}` passes `{item.text}` twice in succession", "Delete one of the two")
            continue
        spots.append(at)
    return spots
