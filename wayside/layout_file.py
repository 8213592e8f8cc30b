"""The layout file: read, checked as a whole, and made into the engine's records. All problems in one run.

Joins the parts that know form (YAML, CSV, schema), values, names and outputs; owns the sections that are left.
"""

from __future__ import annotations

import gc
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path, PureWindowsPath

from engine.layout import (
    Board,
    Button,
    Clock,
    Crossing,
    Detector,
    DetectorKind,
    Feed,
    Hold,
    Kind,
    Layout,
    Link,
    Output,
    Place,
    Stretch,
    Track,
)
from scenes.problems import Problem, in_order, nearest
from wayside.layout_csv import read_rows
from wayside.layout_names import NOUNS, Reading, check_names, table, text, wiring
from wayside.layout_outputs import positive_us, read_outputs
from wayside.layout_schema import check, pattern, schema_text
from wayside.layout_values import LONGEST_MM, is_yes, length_mm, lux, second_of_day, speed_mm_s, whole
from wayside.yaml_places import MAX_BYTES, Entry, Items, Table, Text, Value, read_text, read_yaml

__all__ = ["read_layout", "schema_text"]

MAX_RATIO = 10_000  # a layout clock that fast passes a day in nine seconds

Lines = dict[str, list[str]]


def read_layout(path: Path, shown: str) -> tuple[Layout, list[Problem], Lines]:
    """The layout, all that is wrong with its file (as `shown` in messages), and the lines of each file read.

    With errors among the problems, the layout holds what could be made out.
    """
    collecting = gc.isenabled()
    gc.disable()  # a large file makes many records and no cycles; looking for them doubles the time
    try:
        return _read(path, shown)
    finally:
        if collecting:
            gc.enable()


def _read(path: Path, shown: str) -> tuple[Layout, list[Problem], Lines]:
    raw = _bytes(path)
    if isinstance(raw, str):
        return Layout(), [Problem(Place(shown, 1, 1, 1, 1), raw)], {}
    source, lines, problems = read_text(raw, shown)
    all_lines: Lines = {shown: lines}
    if source is None:
        return Layout(), problems, all_lines
    root, found = read_yaml(source, shown)
    problems += found
    if not isinstance(root, Table):
        if root is not None:
            place = Place(shown, root.place.line, root.place.column, root.place.line, root.place.column + 1)
            problems.append(Problem(place, "a layout file holds name: value lines", "Begin with a line layout: NAME"))
        return Layout(), in_order(problems), all_lines
    root = _with_csv(root, path, shown, problems, all_lines)
    problems += check(root, shown)
    layout = _layout(root, shown, problems)
    return layout, in_order(problems), all_lines


def _bytes(path: Path) -> bytes | str:
    """What the file holds, or why it cannot be read."""
    try:
        if path.exists() and not path.is_file():
            return "this is not a file"
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        return "there is no such file"
    except PermissionError:
        return "this file may not be read: its permissions forbid it"
    except (OSError, ValueError):
        return "this file cannot be read"


# --- outputs from a table ------------------------------------------------------------------------------------------


def _with_csv(root: Table, path: Path, shown: str, problems: list[Problem], lines: Lines) -> Table:
    """The outputs of the table that the file names, put among its own."""
    word = text(root, "outputs from")
    if word is None:
        return root
    found = _beside(path, word, problems)
    raw = _bytes(found) if found else None
    if found is None or raw is None:
        return root
    if isinstance(raw, str):
        problems.append(Problem(word.place, f'"{word.text}": {raw}', _others(path)))
        return root
    file = shown[: len(shown) - len(path.name)] + word.text.replace("\\", "/")
    rows = read_rows(raw, file)
    lines[file] = rows.lines
    problems += rows.problems
    own = root.entries.get("outputs")
    if own and not isinstance(own.value, Table) and own.value != Text("", own.value.place):
        return root  # what stands there is reported as it is
    merged = dict(own.value.entries) if own and isinstance(own.value, Table) else {}
    for entry in rows.entries:
        first = merged.setdefault(entry.key.text, entry)
        if first is not entry:
            also = ((first.key.place, "first given here"),)
            what = f'"{entry.key.text}" is given twice'
            problems.append(Problem(entry.key.place, what, "Keep one of the two, or rename one", also=also))
    key = own.key if own else root.entries["outputs from"].key
    return Table({**root.entries, "outputs": Entry(key, Table(merged, key.place))}, root.place)


def _beside(path: Path, word: Text, problems: list[Problem]) -> Path | None:
    """The named file, if it lies in the layout file's folder."""
    name = PureWindowsPath(word.text)  # knows both slashes, and drives
    folder = path.resolve().parent
    try:
        found = folder.joinpath(*name.parts) if not name.anchor else None
        inside = found is not None and ".." not in name.parts and found.resolve().is_relative_to(folder)
    except (OSError, ValueError):
        found, inside = None, False
    if found is None or not inside:
        what = f'"{word.text}" does not lie in the folder of the layout file'
        problems.append(Problem(word.place, what, "Put the table beside the layout file and write its name only"))
        return None
    if found.suffix.lower() in (".xlsx", ".xls", ".ods", ".numbers"):
        what = f'"{word.text}" is a spreadsheet program\'s own file'
        problems.append(Problem(word.place, what, f"Save it as CSV in UTF-8 and write {found.stem}.csv"))
        return None
    return found


def _others(path: Path) -> str:
    tables = sorted(file.name for file in path.resolve().parent.glob("*.csv"))[:8]
    return f"The tables here are {', '.join(tables)}" if tables else "Put a CSV file beside the layout file"


# --- the whole -----------------------------------------------------------------------------------------------------


def _layout(root: Table, shown: str, problems: list[Problem]) -> Layout:
    reading = Reading(shown, problems, {name: table(root, name) for name in NOUNS})
    check_names(reading)
    links = {name: _link(entry) for name, entry in reading.section("links").items()}
    reading.boards = {name: _board(reading, entry) for name, entry in reading.section("boards").items()}
    _boards_apart(reading)
    feeds = {
        name: Feed(name, positive_us(reading, settings, "recharge"), entry.key.place)
        for name, entry, settings in _settings(reading.section("feeds"))
    }
    outputs = read_outputs(reading)
    detectors = {
        name: _detector(reading, entry, settings) for name, entry, settings in _settings(reading.section("detectors"))
    }
    buttons = {
        name: _button(reading, entry, settings) for name, entry, settings in _settings(reading.section("buttons"))
    }
    tracks = {
        name: _track(reading, entry, settings, outputs)
        for name, entry, settings in _settings(reading.section("tracks"))
    }
    crossings = {
        name: _crossing(reading, entry, settings, outputs)
        for name, entry, settings in _settings(table(root, "crossing").entries)
    }
    name, daylight = text(root, "layout"), text(root, "daylight")
    light = lux(daylight.text) if daylight else None
    return Layout(
        name=name.text if name else "",
        outputs=outputs,
        detectors=detectors,
        buttons=buttons,
        tracks=tracks,
        links=links,
        boards=reading.boards,
        feeds=feeds,
        crossings=crossings,
        clock=_clock(reading, table(root, "clock")),
        daylight_lux=Layout().daylight_lux if light is None else light,
    )


def _settings(entries: dict[str, Entry]) -> list[tuple[str, Entry, Table]]:
    """Each entry with its table; an entry with nothing after it has an empty one."""
    return [
        (name, entry, entry.value if isinstance(entry.value, Table) else Table({}, entry.key.place))
        for name, entry in entries.items()
    ]


def _clock(reading: Reading, settings: Table) -> Clock:
    word, ratio = text(settings, "starts at"), text(settings, "ratio")
    start = second_of_day(word.text) if word else None
    if word and start is None and pattern("time-of-day").fullmatch(word.text):
        reading.wrong(word.place, f'no clock shows "{word.text}"', "Write 00:00 to 23:59")
    times = whole(ratio.text) if ratio else None
    if ratio and times and times > MAX_RATIO:
        reading.wrong(ratio.place, f"a ratio of {times} is too fast to follow", f"Write 1 to {MAX_RATIO}")
    return Clock(Clock().starts_s if start is None else start, times or 1)


def _link(entry: Entry) -> Link:
    inner = entry.value.entries.items() if isinstance(entry.value, Table) else ()
    words = tuple((key, one.value.text) for key, one in inner if isinstance(one.value, Text))
    return Link(entry.key.text, words, entry.key.place)


def _board(reading: Reading, entry: Entry) -> Board:
    settings = entry.value if isinstance(entry.value, Table) else Table({}, entry.key.place)
    link, first, ports = (text(settings, key) for key in ("link", "first address", "ports"))
    known = link is not None and reading.known("links", link)
    return Board(
        entry.key.text,
        link.text if link and known else "",
        (whole(first.text) if first else None) or 0,
        (whole(ports.text) if ports else None) or 0,
        entry.key.place,
    )


def _boards_apart(reading: Reading) -> None:
    """Two boards on one link never answer to one address."""
    boards = sorted(
        (box for box in reading.boards.values() if box.link and box.ports), key=lambda b: (b.link, b.first_address)
    )
    for one, other in pairwise(boards):
        if one.link != other.link or one.first_address + one.ports <= other.first_address:
            continue
        later, first = (one, other) if one.place > other.place else (other, one)
        last = one.first_address + one.ports - 1
        begins = f"{other.name} begins at {other.first_address}"
        what = f"{one.name} has the addresses {one.first_address} to {last}, and {begins}"
        reading.wrong(
            later.place, what, f"Let {other.name} begin at {last + 1}", (first.place, f"{first.name} is here")
        )


def _detector(reading: Reading, entry: Entry, settings: Table) -> Detector:
    word, closed = text(settings, "kind"), text(settings, "closed circuit")
    kind = next((kind for kind in DetectorKind if word and kind.value == word.text), DetectorKind.SECTION)
    return Detector(
        entry.key.text,
        kind,
        entry.key.place,
        wiring(reading, entry.key.text, settings, "input"),
        positive_us(reading, settings, "settle", may_be_nothing=True),
        positive_us(reading, settings, "settle occupied", may_be_nothing=True),
        closed is not None and is_yes(closed.text),
    )


def _button(reading: Reading, entry: Entry, settings: Table) -> Button:
    lamp = text(settings, "ready lamp")
    known = lamp is not None and _of_kind(reading, lamp, (Kind.LAMP,), "a ready lamp")
    where = wiring(reading, entry.key.text, settings, "input")
    return Button(entry.key.text, entry.key.place, where, lamp.text if lamp and known else None)


def _of_kind(reading: Reading, word: Text, kinds: Sequence[Kind], role: str) -> bool:
    """Whether the word names an output that can play a part; reported if not."""
    if not reading.known("outputs", word):
        return False
    kind = reading.kinds.get(word.text)
    if kind is None or kind in kinds:
        return True
    fitting = " or ".join(f"a {one.value}" for one in kinds)
    reading.wrong(word.place, f'{role} is {fitting}, and "{word.text}" is a {kind.value}', "Name another output")
    return False


# --- tracks --------------------------------------------------------------------------------------------------------


def _track(reading: Reading, entry: Entry, settings: Table, outputs: dict[str, Output]) -> Track:
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
    return Track(entry.key.text, tuple(stretches), fastest or 0, shortest or 0, tuple(holds), entry.key.place)


def _whole_mm(reading: Reading, word: Text | None, amount: Fraction | None, unit: str) -> int | None:
    if word is None or amount is None:
        return None
    if amount.denominator != 1:
        reading.wrong(word.place, f'"{word.text}" is not a whole number of {unit}', f"Write {round(amount)} {unit}")
    elif amount == 0:
        reading.wrong(word.place, f'"{word.text}" is nothing at all', f"Write more than 0 {unit}")
    elif amount > LONGEST_MM:
        reading.wrong(word.place, f'"{word.text}" is more than any layout needs', f"Write at most {LONGEST_MM} {unit}")
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
            what = f"{detector} lies on {entry.key.text} twice"
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
    if not _of_kind(reading, entry.key, (Kind.SIGNAL,), "what holds trains"):
        return None
    signal = outputs.get(entry.key.text)
    if signal and signal.aspects and not any(aspect.stops for aspect in signal.aspects):
        instead = "Call an aspect danger or stop, or add stops: yes to one"
        reading.wrong(
            entry.key.place, f"{signal.name} has no aspect that stops trains", instead, (signal.place, "the signal")
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
        reading.wrong(word.place, f'"{word.text}" is not a whole number of mm', "Write for example at 1200 mm")
        return None
    if distance > whole_length and all(stretch.length_mm for stretch in stretches):
        reading.wrong(
            word.place, f"{entry.key.text} stands beyond the end of {track}", f"{track} is {whole_length} mm long"
        )
    return Hold(entry.key.text, int(distance))


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
        instead = "Write the distance instead, such as at 1200 mm"
        reading.wrong(word.place, "before blind does not say which stretch, since several can be blind", instead)
    elif word.text in detectors and _has_unread(reading, track):
        return  # the stretch that is meant may be the one that has been reported
    elif names:
        near = nearest(word.text, names)
        instead = f"Did you mean before {near}?" if near else f"Its stretches are {', '.join(names[:8])}"
        reading.wrong(word.place, f'"{word.text}" is not a stretch of {track}', instead)


def _has_unread(reading: Reading, track: str) -> bool:
    """Whether some stretch of a track could not be made out, or names a detector that does not exist."""
    settings = reading.section("tracks")[track].value
    listed = settings.entries.get("stretches") if isinstance(settings, Table) else None
    items = listed.value.items if listed and isinstance(listed.value, Items) else []
    pairs = _pairs(items)
    known = {*reading.section("detectors"), "blind"}
    return len(pairs) != len(items) or any(key.text not in known for key, _ in pairs)


# --- crossings -----------------------------------------------------------------------------------------------------

_LAMPS = (Kind.LAMP, Kind.RELAY)
_ROLES: dict[str, tuple[Kind, ...]] = {
    "amber": _LAMPS,
    "reds": _LAMPS,
    "entrance barriers": (Kind.SERVO,),
    "exit barriers": (Kind.SERVO,),
    "boom lamps": _LAMPS,
    "audible warning": (Kind.SOUND, Kind.RELAY, Kind.PULSE),
    "signals": (Kind.SIGNAL,),
}
_BARRIER_POSITIONS = ("raised", "lowered")


def _crossing(reading: Reading, entry: Entry, settings: Table, outputs: dict[str, Output]) -> Crossing:
    roles = {role: _role(reading, settings, role, outputs) for role in (*_ROLES, "detectors", "on the road")}
    fields = {role.replace(" ", "_"): names for role, names in roles.items()}
    return Crossing(entry.key.text, **fields, place=entry.key.place)


def _role(reading: Reading, settings: Table, role: str, outputs: dict[str, Output]) -> tuple[str, ...]:
    entry = settings.entries.get(role)
    value = entry.value if entry else None
    words = value.items if isinstance(value, Items) else [value] if isinstance(value, Text) and value.text else []
    first: dict[str, Place] = {}
    for word in words:
        if not isinstance(word, Text) or not word.text:
            continue
        if first.setdefault(word.text, word.place) != word.place:
            also = (first[word.text], "first given here")
            reading.wrong(word.place, f'"{word.text}" stands in {role} twice', "Delete one of them", also)
            continue
        _plays(reading, word, role, outputs)
    return tuple(first)


def _plays(reading: Reading, word: Text, role: str, outputs: dict[str, Output]) -> None:
    kinds = _ROLES.get(role)
    if kinds is None:
        reading.known("detectors", word)
        return
    if not _of_kind(reading, word, kinds, f"what plays {role}") or "barriers" not in role:
        return
    positions = [position.name for position in outputs[word.text].positions] if word.text in outputs else []
    missing = [name for name in _BARRIER_POSITIONS if name not in positions]
    if positions and missing:
        what = f"the barrier {word.text} has no position named {' and none named '.join(missing)}"
        reading.wrong(
            word.place, what, "Name a barrier's positions raised and lowered", (outputs[word.text].place, "the barrier")
        )
