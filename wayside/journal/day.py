"""What came of a day of shows, reckoned from its journal entries alone. Knows entries; no file, layout or drawing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from wayside.journal.file import Entry
from wayside.journal.read import hall


class Span(NamedTuple):
    """From when to when, by the hall's clock, and whether its end is known."""

    from_: datetime
    to: datetime
    known: bool = True


@dataclass
class Day:
    """What came of a day, or of one show."""

    shows: list[tuple[Span, str]] = field(default_factory=list)
    name: str = ""
    scenes: dict[str, list[Span]] = field(default_factory=dict)
    known_scenes: tuple[str, ...] = ()
    buttons: Counter[str] = field(default_factory=Counter)
    occupied: dict[str, list[Span]] = field(default_factory=dict)
    unknown: dict[str, list[Span]] = field(default_factory=dict)
    detectors: tuple[str, ...] = ()
    known_buttons: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    broken: list[Entry] = field(default_factory=list)
    margins: dict[tuple[str, int], Entry] = field(default_factory=dict)
    faults: list[Entry] = field(default_factory=list)
    marks: list[Entry] = field(default_factory=list)
    presses: list[Entry] = field(default_factory=list)
    corrected: dict[str, list[Entry]] = field(default_factory=dict)
    outages: dict[str, list[Span]] = field(default_factory=dict)
    links: dict[str, None] = field(default_factory=dict)  # those that were heard of
    stops: list[Entry] = field(default_factory=list)  # all stop, and go on
    lateness: list[Entry] = field(default_factory=list)
    raw: dict[str, tuple[int, datetime]] = field(default_factory=dict)  # most changes in a minute, and when
    lost: int = 0


class _Reader:
    """Goes through entries in order."""

    def __init__(self) -> None:
        self.day = Day()
        self._show: Entry | None = None
        self._last: Entry | None = None
        self._ended: int | None = None
        self._running: dict[str, datetime] = {}
        self._states: dict[str, tuple[str, datetime]] = {}
        self._away: dict[str, datetime] = {}  # links that do not talk, since when
        self._talked: set[str] = set()

    def take(self, entry: Entry) -> None:
        if self._show is not None and entry.show != self._show.show:
            self._over(None)
        if self._show is None:
            if entry.show == self._ended:
                return  # what straggles in after an end is no other show
            self._opens(entry)
        self._last = entry
        act = _ACTS.get(entry.kind)
        if act is not None:
            act(self, entry)

    def finish(self) -> Day:
        if self._show is not None:
            self._over(None)
        return self.day

    def _opens(self, entry: Entry) -> None:
        """A show's first entry, which is its beginning unless that was on the day before or has been pruned."""
        self._show = entry
        self._running, self._states, self._away, self._talked = {}, {}, {}, set()
        found = entry.details
        day = self.day
        day.name = str(found.get("layout", "")) or day.name
        for name in ("detectors", "outputs"):
            setattr(day, name, tuple(dict.fromkeys([*getattr(day, name), *found.get(name, ())])))
        day.known_buttons = tuple(dict.fromkeys([*day.known_buttons, *found.get("buttons", ())]))
        day.known_scenes = tuple(dict.fromkeys([*day.known_scenes, *found.get("scenes", ())]))

    def show(self, entry: Entry) -> None:
        if entry.details.get("state") == "ended":
            self._over(entry)
            self._ended = entry.show

    def _over(self, end: Entry | None) -> None:
        assert self._show is not None
        at = hall(end or self._last or self._show)
        for name, since in self._running.items():
            self.day.scenes.setdefault(name, []).append(Span(since, at, False))
        for name in list(self._states):
            self._leaves(name, at, False)
        for name, since in self._away.items():
            self.day.outages.setdefault(name, []).append(Span(since, at, False))
        how = (
            end.text
            if end is not None
            else "it has no end here: it still goes on, or the program or its power was lost"
        )
        self.day.shows.append((Span(hall(self._show), at, end is not None), how))
        self._show = None

    def scene(self, entry: Entry) -> None:
        state, at = entry.details.get("state"), hall(entry)
        if state == "running":
            self._running.setdefault(entry.subject, at)
        elif state in ("ended", "stopped") and entry.subject in self._running:
            span = Span(self._running.pop(entry.subject), at)
            self.day.scenes.setdefault(entry.subject, []).append(span)

    def detector(self, entry: Entry) -> None:
        at, state = hall(entry), str(entry.details.get("state", ""))
        self._leaves(entry.subject, at, True)
        self._states[entry.subject] = state, at

    def _leaves(self, name: str, at: datetime, known: bool) -> None:
        state, since = self._states.pop(name, ("", at))
        into = {"occupied": self.day.occupied, "unknown": self.day.unknown}.get(state)
        if into is not None:
            into.setdefault(name, []).append(Span(since, at, known))

    def button(self, entry: Entry) -> None:
        if entry.details.get("pressed"):
            self.day.buttons[entry.subject] += 1
            self.day.presses.append(entry)

    def margin(self, entry: Entry) -> None:
        key = entry.subject, int(entry.details.get("line", 0))
        if key not in self.day.margins or _worse(entry) < _worse(self.day.margins[key]):
            self.day.margins[key] = entry

    def late(self, entry: Entry) -> None:
        self.day.lateness.append(entry)
        for name, changes in dict(entry.details.get("raw", {})).items():
            most = self.day.raw.get(name, (0, hall(entry)))
            self.day.raw[name] = max(most, (int(changes), hall(entry)), key=lambda pair: pair[0])

    def output(self, entry: Entry) -> None:
        if entry.details.get("why") == "put right":
            self.day.corrected.setdefault(entry.subject, []).append(entry)

    def link(self, entry: Entry) -> None:
        """Whether it talks, from its own entries and from those of its health."""
        name, state = entry.subject, str(entry.details.get("state", ""))
        if not name or not state:
            return
        self.day.links.setdefault(name)
        if state == "talking" and name in self._away:
            self.day.outages.setdefault(name, []).append(Span(self._away.pop(name), hall(entry)))
        elif state != "talking" and (entry.kind == "fault" or name in self._talked):
            self._away.setdefault(name, hall(entry))  # before it talked for the first time it was being opened
        if state == "talking":
            self._talked.add(name)

    def fault(self, entry: Entry) -> None:
        self.day.faults.append(entry)
        self.link(entry)

    def hand(self, entry: Entry) -> None:
        if entry.details.get("deed") in ("all stop", "go on"):
            self.day.stops.append(entry)

    def lose(self, entry: Entry) -> None:
        self.day.lost += int(entry.details.get("entries", 0))


def _worse(entry: Entry) -> tuple[int, float]:
    found = entry.details.get("margin")
    return (entry.details.get("verdict") != "broken", float("inf") if found is None else float(found))


_ACTS: dict[str, Callable[[_Reader, Entry], Any]] = {
    "show": _Reader.show,
    "scene": _Reader.scene,
    "detector": _Reader.detector,
    "button": _Reader.button,
    "margin": _Reader.margin,
    "lateness": _Reader.late,
    "output": _Reader.output,
    "lost": _Reader.lose,
    "rule": lambda reader, entry: reader.day.broken.append(entry),
    "fault": _Reader.fault,
    "link": _Reader.link,
    "hand": _Reader.hand,
    "mark": lambda reader, entry: reader.day.marks.append(entry),
}


def of(entries: Iterable[Entry]) -> Day:
    """What came of a day, from its entries in order."""
    reader = _Reader()
    for entry in entries:
        reader.take(entry)
    return reader.finish()
