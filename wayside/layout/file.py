"""The layout file: read, checked as a whole, and made into the engine's records. All problems in one run.

Joins the parts that know form (YAML, CSV, schema), values, names and outputs; owns the sections that are left.
"""

from __future__ import annotations

import gc
from dataclasses import replace
from pathlib import Path, PureWindowsPath
from typing import NamedTuple

from engine.layout import (
    Button,
    Clock,
    Detector,
    DetectorKind,
    Feed,
    Kind,
    Layout,
    Output,
    Place,
)
from scenes.names import Doubts, sentence
from scenes.problems import Problem, in_order
from wayside.hall_time import read_hall_zone
from wayside.layout.crossings import read_crossing
from wayside.layout.csv_tables import read_rows
from wayside.layout.daylight import read_daylight, read_viewing, read_whereabouts, with_daylight
from wayside.layout.doubts import doubts_of
from wayside.layout.keeping import read_keeping
from wayside.layout.links import boards_apart, links_apart, read_board, read_link
from wayside.layout.names import NOUNS, Reading, check_names, of_kind, table, text, wiring
from wayside.layout.outputs import positive_us, read_outputs
from wayside.layout.plan import read_plan
from wayside.layout.schema import check, pattern, schema_text, with_sections_named
from wayside.layout.supplies import read_draws, read_exhibition, read_prices, read_supplies
from wayside.layout.tracks import read_track
from wayside.layout.values import is_yes, second_of_day, whole
from wayside.layout.yaml_places import MAX_BYTES, Entry, Table, Text, read_text, read_yaml

__all__ = ["read_layout", "schema_text"]

MOST_LINES = 8  # on which one and the same missing name stands, listed in a sentence
MAX_RATIO = 10_000  # a layout clock that fast passes a day in nine seconds

Lines = dict[str, list[str]]
Torn = frozenset[tuple[str, int]]


class LayoutRead(NamedTuple):
    """A layout file once it has been read; `doubts` is None if it could not be made out at all."""

    layout: Layout
    problems: list[Problem]
    lines: Lines
    doubts: Doubts | None = None


def read_layout(path: Path, shown: str) -> tuple[Layout, list[Problem], Lines]:
    """The layout, all that is wrong with its file (as `shown` in messages), and the lines of each file read.

    With errors among the problems, the layout holds what could be made out.
    """
    found = read_with_doubts(path, shown)
    return found.layout, found.problems, found.lines


def read_with_doubts(path: Path, shown: str) -> LayoutRead:
    """The same, and what the scenes cannot count on if there are errors."""
    collecting = gc.isenabled()
    gc.disable()  # a large file makes many records and no cycles; looking for them doubles the time
    try:
        found = _read(path, shown)
    finally:
        if collecting:
            gc.enable()
    return found._replace(problems=_told_once([_as_sentences(problem) for problem in found.problems]))


def _told_once(problems: list[Problem]) -> list[Problem]:
    """A name that does not exist is one cause, however often the file speaks of it."""
    again: dict[tuple[str, str], list[Problem]] = {}
    for problem in problems:
        if problem.what.startswith("There is no ") and not problem.advice:
            again.setdefault((problem.place.file, problem.what), []).append(problem)
    told = []
    for problem in problems:
        same = again.get((problem.place.file, problem.what), [problem])
        if problem is same[0]:
            lines = list(dict.fromkeys(str(other.place.line) for other in same[1:]))
            more = f", and {len(lines) - MOST_LINES} more" if len(lines) > MOST_LINES else ""
            word = "line" if len(lines) == 1 else "lines"
            also = f" It stands on {word} {', '.join(lines[:MOST_LINES])}{more}, too." if lines else ""
            told.append(replace(problem, instead=problem.instead + also))
    return told


def _as_sentences(problem: Problem) -> Problem:
    """As those of the scenes are: a capital at the beginning, a stop at the end."""
    return replace(problem, what=sentence(problem.what), instead=sentence(problem.instead))


def _read(path: Path, shown: str) -> LayoutRead:
    raw = _bytes(path)
    if isinstance(raw, str):
        return LayoutRead(Layout(), [Problem(Place(shown, 1, 1, 1, 1), raw)], {})
    source, lines, problems = read_text(raw, shown)
    all_lines: Lines = {shown: lines}
    if source is None:
        return LayoutRead(Layout(), problems, all_lines)
    root, found = read_yaml(source, shown)
    problems += found
    if not isinstance(root, Table):
        if root is not None:
            place = Place(shown, root.place.line, root.place.column, root.place.line, root.place.column + 1)
            problems.append(
                Problem(place, "a layout file holds `name: value` lines", "Begin with a line `layout: NAME`")
            )
        return LayoutRead(Layout(), in_order(problems), all_lines)
    root, found = with_sections_named(root)
    problems += found
    root, torn = _with_csv(root, path, shown, problems, all_lines)
    problems += check(root, shown, torn)
    layout, missing = _layout(root, shown, problems)
    doubts = doubts_of(root, [problem for problem in problems if not problem.advice], layout, missing)
    return LayoutRead(layout, in_order(problems), all_lines, doubts)


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


def _with_csv(root: Table, path: Path, shown: str, problems: list[Problem], lines: Lines) -> tuple[Table, Torn]:
    """The outputs of the table that the file names, put among its own."""
    word = text(root, "outputs from")
    if word is None:
        return root, frozenset()
    found = _beside(path, word, problems)
    raw = _bytes(found) if found else None
    if found is None or raw is None:
        return root, frozenset()
    if isinstance(raw, str):
        problems.append(Problem(word.place, f"`{word.text}`: {raw}", _others(path)))
        return root, frozenset()
    file = shown[: len(shown) - len(path.name)] + word.text.replace("\\", "/")
    rows = read_rows(raw, file)
    lines[file] = rows.lines
    problems += rows.problems
    own = root.entries.get("outputs")
    if own and not isinstance(own.value, Table) and own.value != Text("", own.value.place):
        return root, rows.torn  # what stands there is reported as it is
    merged = dict(own.value.entries) if own and isinstance(own.value, Table) else {}
    for entry in rows.entries:
        first = merged.setdefault(entry.key.text, entry)
        if first is not entry:
            also = ((first.key.place, "first given here"),)
            what = f"`{entry.key.text}` is given twice"
            problems.append(Problem(entry.key.place, what, "Keep one of the two, or rename one", also=also))
    key = own.key if own else root.entries["outputs from"].key
    whole = Table({**root.entries, "outputs": Entry(key, Table(merged, key.place))}, root.place)
    return whole, rows.torn


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
        what = f"`{word.text}` does not lie in the folder of the layout file"
        problems.append(Problem(word.place, what, "Put the table beside the layout file and write its name only"))
        return None
    if found.suffix.lower() in (".xlsx", ".xls", ".ods", ".numbers"):
        what = f"`{word.text}` is a spreadsheet program's own file"
        problems.append(Problem(word.place, what, f"Save it as CSV in UTF-8 and write {found.stem}.csv"))
        return None
    return found


def _others(path: Path) -> str:
    tables = sorted(file.name for file in path.resolve().parent.glob("*.csv"))[:8]
    return f"The tables here are `{'`, `'.join(tables)}`" if tables else "Put a CSV file beside the layout file"


# --- the whole -----------------------------------------------------------------------------------------------------


def _layout(root: Table, shown: str, problems: list[Problem]) -> tuple[Layout, set[str]]:
    """The layout, and the names that its file speaks of and does not give."""
    reading = Reading(shown, problems, {name: table(root, name) for name in NOUNS})
    check_names(reading)
    reading.links = {name: read_link(reading, entry) for name, entry in reading.section("links").items()}
    links_apart(reading)
    reading.boards = {name: read_board(reading, entry) for name, entry in reading.section("boards").items()}
    boards_apart(reading)
    feeds = {
        name: Feed(name, positive_us(reading, settings, "recharge"), entry.key.place)
        for name, entry, settings in _settings(reading.section("feeds"))
    }
    outputs = read_outputs(reading)
    detectors = {
        name: _detector(reading, entry, settings) for name, entry, settings in _settings(reading.section("detectors"))
    }
    buttons = {
        name: _button(reading, entry, settings, outputs)
        for name, entry, settings in _settings(reading.section("buttons"))
    }
    tracks = {
        name: read_track(reading, entry, settings, outputs)
        for name, entry, settings in _settings(reading.section("tracks"))
    }
    crossings = {
        name: read_crossing(reading, entry, settings, outputs)
        for name, entry, settings in _settings(table(root, "crossing").entries)
    }
    name, light = text(root, "layout"), read_daylight(reading, root)
    layout = Layout(
        name=name.text if name else "",
        outputs=with_daylight(outputs, root, light),
        detectors=detectors,
        buttons=buttons,
        tracks=tracks,
        links=reading.links,
        boards=reading.boards,
        feeds=feeds,
        crossings=crossings,
        clock=_clock(reading, table(root, "clock")),
        hall_zone=read_hall_zone(reading, table(root, "hall time")),
        daylight_lux=light,
        whereabouts=read_whereabouts(reading, table(root, "whereabouts")),
        keeping=read_keeping(reading, table(root, "journal")),
        plan=read_plan(reading, root),
        viewing_mm=read_viewing(reading, root),
        supplies=read_supplies(reading),
        draws=read_draws(reading),
        prices=read_prices(reading),
        exhibition=read_exhibition(root),
    )
    return layout, reading.missing


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
        reading.wrong(word.place, f"no clock shows `{word.text}`", "Write 00:00 to 23:59")
    times = whole(ratio.text) if ratio else None
    if ratio and times and times > MAX_RATIO:
        reading.wrong(ratio.place, f"a ratio of {times} is too fast to follow", f"Write 1 to {MAX_RATIO}")
    return Clock(Clock().starts_s if start is None else start, times or 1)


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


def _button(reading: Reading, entry: Entry, settings: Table, outputs: dict[str, Output]) -> Button:
    lamp = text(settings, "ready lamp")
    known = lamp is not None and of_kind(reading, lamp, (Kind.LAMP,), "a ready lamp")
    if lamp and lamp.text in outputs and outputs[lamp.text].follows_lux:
        what = f"`{lamp.text}` follows the daylight, so it cannot show that a button is ready"
        reading.wrong(lamp.place, what, "Name another lamp", (outputs[lamp.text].place, "the lamp"))
    where = wiring(reading, entry.key.text, settings, "input")
    stops = text(settings, "does") is not None  # the schema knows one thing that a button does by itself
    return Button(entry.key.text, entry.key.place, where, lamp.text if lamp and known else None, stops)
