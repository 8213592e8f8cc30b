"""Tracks of a layout file: stretches in order, lengths and speeds in whole millimetres, signals with their places."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from fractions import Fraction

from engine.layout import Hold, Kind, Output, Place, Stretch, Timed, Track
from scenes.problems import nearest
from wayside.layout.lamps import yes
from wayside.layout.names import Reading, of_kind, table, text
from wayside.layout.schema import pattern
from wayside.layout.values import LONGEST_MM, length_mm, speed_mm_s, time_us
from wayside.layout.yaml_places import Entry, Items, Table, Text, Value

LEAST_TIMED_US, MOST_TIMED_US = 100_000, 3_600_000_000  # what can be a train's time from stretch to stretch


def read_track(reading: Reading, entry: Entry, settings: Table, outputs: dict[str, Output]) -> Track:
    stretches = _stretches(reading, entry, settings)
    speed = text(settings, "fastest")
    fastest = _whole_mm(reading, speed, speed_mm_s(speed.text) if speed else None, "mm/s")
    train = text(settings, "shortest train")
    shortest = _whole_mm(reading, train, length_mm(train.text) if train else None, "mm")
    holds = [
        hold
        for name, one in table(settings, "signals").entries.items()
        if (hold := _hold(reading, entry.key.text, one, stretches, outputs))
    ]
    holds.sort(key=lambda hold: hold.at_mm)
    one_way = yes(settings, "one way")
    name, place = entry.key.text, entry.key.place
    timed = [
        time
        for one in table(settings, "timed").entries.values()
        if (time := _timed(reading, entry.key.text, one, stretches))
    ]
    return Track(name, tuple(stretches), fastest or 0, shortest or 0, tuple(holds), place, one_way, tuple(timed))


def _whole_mm(reading: Reading, word: Text | None, amount: Fraction | None, unit: str) -> int | None:
    if word is None or amount is None:
        return None
    if amount.denominator != 1:
        reading.wrong(word.place, f"`{word.text}` is not a whole number of {unit}", f"Write `{round(amount)} {unit}`")
    elif amount == 0:
        reading.wrong(word.place, f"`{word.text}` is nothing at all", f"Write more than 0 {unit}")
    elif amount > LONGEST_MM:
        reading.wrong(word.place, f"`{word.text}` is more than any layout needs", f"Write at most {LONGEST_MM} {unit}")
    else:
        return int(amount)
    return None


def _stretches(reading: Reading, entry: Entry, settings: Table) -> list[Stretch]:
    listed = settings.entries.get("stretches")
    items = listed.value.items if listed and isinstance(listed.value, Items) else []
    first: dict[str, Place] = {}
    stretches = []
    for key, value in _pairs(items):
        length = _whole_mm(reading, value, length_mm(value.text), "mm")
        detector = None if key.text == "blind" else key.text
        if detector and not reading.known("detectors", key):
            detector = key.text  # its place in the order still counts
        if detector and first.setdefault(detector, key.place) != key.place:
            also = (first[detector], "first given here")
            what = f"`{detector}` lies on `{entry.key.text}` twice"
            reading.wrong(key.place, what, "Use two detectors, or one longer stretch", also)
        stretches.append(Stretch(detector, length or 0))
    return stretches


def _pairs(items: Sequence[Value]) -> list[tuple[Text, Text]]:
    return [
        (one.key, one.value)
        for item in items
        if isinstance(item, Table)
        for one in list(item.entries.values())[:1]
        if isinstance(one.value, Text)
    ]


def _hold(
    reading: Reading, track: str, entry: Entry, stretches: list[Stretch], outputs: dict[str, Output]
) -> Hold | None:
    if not of_kind(reading, entry.key, (Kind.SIGNAL,), "what holds trains"):
        return None
    signal = outputs.get(entry.key.text)
    if signal and signal.aspects and not any(aspect.stops for aspect in signal.aspects):
        instead = "Call an aspect `danger` or `stop`, or add `stops: yes` to one"
        reading.wrong(
            entry.key.place, f"`{signal.name}` has no aspect that stops trains", instead, (signal.place, "the signal")
        )
    word = entry.value if isinstance(entry.value, Text) else None
    found = pattern("place-on-a-track").fullmatch(word.text) if word else None
    if word is None or found is None:
        return None
    if found[1]:
        before = Text(found[1], word.place)
        at_mm = _before(stretches, before.text)
        if at_mm is None:
            _no_stretch(reading, track, before, stretches)
        return None if at_mm is None else Hold(entry.key.text, at_mm)
    distance = length_mm(found[2])
    whole_length = sum(stretch.length_mm for stretch in stretches)
    if distance is None or distance.denominator != 1:
        reading.wrong(word.place, f"`{word.text}` is not a whole number of mm", "Write for example `at 1200 mm`")
        return None
    if distance > whole_length and all(stretch.length_mm for stretch in stretches):
        reading.wrong(
            word.place, f"`{entry.key.text}` stands beyond the end of `{track}`", f"`{track}` is {whole_length} mm long"
        )
    return Hold(entry.key.text, int(distance))


def _timed(reading: Reading, track: str, entry: Entry, stretches: list[Stretch]) -> Timed | None:
    """One measured time: from which stretch to which, how long, when."""
    word = entry.value if isinstance(entry.value, Text) else None
    found = pattern("timed").fullmatch(word.text) if word else None
    begin, to, end = (part.strip() for part in entry.key.text.partition(" to "))
    if not to or not end:
        what = f"`{entry.key.text}` does not say from which stretch to which"
        reading.wrong(entry.key.place, what, "Write two detectors of the track, such as `up-approach to lane`")
        return None
    names = [stretch.detector for stretch in stretches if stretch.detector]
    for name in (begin, end):
        if name not in names:
            _no_time_there(reading, track, Text(name, entry.key.place), stretches)
            return None
    if word is None or found is None:
        return None
    if begin == end:
        reading.wrong(entry.key.place, f"`{begin}` is timed to itself", "Write two detectors of the track")
        return None
    us = time_us(f"{found[1]} {found[2]}") or 0
    if not LEAST_TIMED_US <= us <= MOST_TIMED_US:
        reading.wrong(word.place, f"`{word.text}` is no time that a train takes", "Write from 0.1 s to 60 min")
        return None
    if found[3] and not _is_date(found[3]):
        reading.wrong(word.place, f"There is no {found[3]}", "Write a date such as 2026-05-02, or none")
        return None
    return Timed(begin, end, us, found[3] or "")


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _no_time_there(reading: Reading, track: str, word: Text, stretches: list[Stretch]) -> None:
    """A time of a stretch that the track does not have. One that could not be read may be the one that is meant."""
    names = [stretch.detector for stretch in stretches if stretch.detector]
    if not names or (word.text in reading.section("detectors") and _has_unread(reading, track)):
        return
    near = nearest(word.text, names)
    instead = f"Did you mean `{near}`?" if near else f"Its stretches are `{'`, `'.join(names[:8])}`"
    reading.wrong(word.place, f"`{word.text}` is not a stretch of `{track}`", instead)


def _before(stretches: list[Stretch], detector: str) -> int | None:
    """Where a detector's stretch begins."""
    at_mm = 0
    for stretch in stretches:
        if stretch.detector == detector:
            return at_mm
        at_mm += stretch.length_mm
    return None


def _no_stretch(reading: Reading, track: str, word: Text, stretches: list[Stretch]) -> None:
    names = [stretch.detector for stretch in stretches if stretch.detector]
    detectors = reading.section("detectors")
    if word.text == "blind":
        instead = "Write the distance instead, such as `at 1200 mm`"
        reading.wrong(word.place, "`before blind` does not say which stretch, since several can be blind", instead)
    elif word.text in detectors and _has_unread(reading, track):
        return  # the stretch that is meant may be the one that has been reported
    elif names:
        near = nearest(word.text, names)
        instead = f"Did you mean `before {near}`?" if near else f"Its stretches are `{'`, `'.join(names[:8])}`"
        reading.wrong(word.place, f"`{word.text}` is not a stretch of `{track}`", instead)


def _has_unread(reading: Reading, track: str) -> bool:
    """Whether some stretch of a track could not be made out, or names a detector that does not exist."""
    settings = reading.section("tracks")[track].value
    listed = settings.entries.get("stretches") if isinstance(settings, Table) else None
    items = listed.value.items if listed and isinstance(listed.value, Items) else []
    pairs = _pairs(items)
    known = {*reading.section("detectors"), "blind"}
    return len(pairs) != len(items) or any(key.text not in known for key, _ in pairs)
