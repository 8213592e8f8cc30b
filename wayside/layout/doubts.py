"""What the scenes cannot count on when the layout file has errors: names that it fails to give, or gives wrongly.

So that all real problems of both are told in one run, and none that follows from another. Reports nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TypeVar

from engine.layout import Layout, Place, colour_of
from scenes.names import Doubts
from scenes.problems import Problem
from wayside.layout.names import SEEN_BY_SCENES
from wayside.layout.schema import plain_name
from wayside.layout.yaml_places import Entry, Items, Table, Text, Value

_WIRES = frozenset(["board", "link", "port", "address", "pin", "at", "passes"])  # no line of a scene depends on these
_COSTS = frozenset(["current", "stalled current", "idle current", "forward voltage", "in series", "price"])  # nor these
_UNSEEN = frozenset(
    [
        *("layout", "clock", "hall time", "daylight", "whereabouts", "viewing distance", "boards", "feeds"),
        *("supplies", "crossing", "exhibition", "plan size"),
    ]
)
MOST_WEIGHED = 100  # errors; a layout file with more has another trouble

T = TypeVar("T")


def doubts_of(root: Table, errors: Iterable[Problem], layout: Layout, missing: set[str]) -> Doubts | None:
    """What follows from the errors of a file. `missing` are names that it speaks of and does not give.

    None if there are so many errors that the scenes had better wait.
    """
    errors = list(errors)
    if len(errors) > MOST_WEIGHED:
        return None
    names, any_name = set(missing), False
    for problem in errors:
        found = _in_doubt(root, problem.place)
        any_name = any_name or found is None
        names.update(found or ())
    given = {name for section in SEEN_BY_SCENES for name in getattr(layout, section)}
    written = {name for section in SEEN_BY_SCENES for name in _entries(root, section)}
    names |= written - given
    names |= {plain_name(name) for name in names if name}
    names |= {colour_of(name) for name in names if colour_of(name) in layout.outputs}
    return Doubts(frozenset(_with_signals(names, layout)), any_name)


def without(layout: Layout, doubts: Doubts) -> Layout:
    """The layout without the names in doubt."""

    def kept(things: dict[str, T]) -> dict[str, T]:
        return {name: thing for name, thing in things.items() if name not in doubts.names}

    return replace(
        layout,
        outputs=kept(layout.outputs),
        detectors=kept(layout.detectors),
        buttons=kept(layout.buttons),
        tracks=kept(layout.tracks),
        links=kept(layout.links),
    )


def _in_doubt(root: Table, place: Place) -> set[str] | None:
    """The names that an error at this place makes doubtful; None if it may be any."""
    if place.line == place.end_line and place.column == place.end_column:
        return set()  # of the file as a whole: something is missing at its top
    for section, entry in root.entries.items():
        if section in SEEN_BY_SCENES:
            for name, one in _entries(root, section).items():
                if _holds(one, place):
                    return set() if _is_wire(one, place) else {name}
        if not _holds(entry, place):
            continue
        if section in _UNSEEN or (entry.key.place == place and isinstance(entry.value, Table)):
            known = section in (*SEEN_BY_SCENES, *_UNSEEN)
            return set() if known else set(_entries(root, section))
        is_text = isinstance(entry.value, Text)
        return set() if is_text and section not in (*SEEN_BY_SCENES, "outputs from") else None
    return None


def _is_wire(entry: Entry, place: Place) -> bool:
    inner = entry.value.entries if isinstance(entry.value, Table) else {}
    return any(key in _WIRES | _COSTS and _holds(one, place) for key, one in inner.items())


def _holds(entry: Entry, place: Place) -> bool:
    """Whether the place lies on an entry's name or in what stands after it."""
    first, last = entry.key.place, entry.value.place
    if first.file == last.file == place.file and not first.line <= place.line <= last.end_line:
        return False
    return any(
        whole.file == place.file
        and (whole.line, whole.column) <= (place.line, place.column) < (whole.end_line, whole.end_column)
        for whole in _spans(entry)
    )


def _spans(entry: Entry) -> Iterator[Place]:
    first, last = entry.key.place, entry.value.place
    yield first
    yield last
    if first.file == last.file:
        yield Place(first.file, first.line, first.column, last.end_line, last.end_column)


def _entries(root: Table, section: str) -> dict[str, Entry]:
    value: Value | None = root.entries[section].value if section in root.entries else None
    if isinstance(value, Items):
        return {}
    return value.entries if isinstance(value, Table) else {}


def _with_signals(names: set[str], layout: Layout) -> set[str]:
    """A signal is in doubt with any of its parts."""
    signals = {
        output.name
        for output in layout.outputs.values()
        if any(part in names or part not in layout.outputs for aspect in output.aspects for part, _ in aspect.parts)
    }
    return names | signals
