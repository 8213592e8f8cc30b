"""A day of shows in one page, reckoned from its journal entries alone, and what to look at before the next day.

Knows entries; must not know files, layouts or drawing. What is a snag is told by `journal_snags`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from wayside import journal_snags
from wayside.journal_file import Entry
from wayside.journal_read import hall
from wayside.journal_text import day as day_words
from wayside.journal_text import plain
from wayside.rule_words import amount
from wayside.wording import count, duration, listed

MOST_LISTED = 12
MOST_MARKS = 8
MARGIN = 11  # columns for what a line is about


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
    corrected: Counter[str] = field(default_factory=Counter)
    lateness: list[Entry] = field(default_factory=list)
    raw: dict[str, tuple[int, datetime]] = field(default_factory=dict)  # most changes in a minute, and when
    lost: int = 0
    minutes: int = 0


class _Reader:
    """Goes through entries in order."""

    def __init__(self) -> None:
        self.day = Day()
        self._show: Entry | None = None
        self._last: Entry | None = None
        self._ended: int | None = None
        self._running: dict[str, datetime] = {}
        self._states: dict[str, tuple[str, datetime]] = {}

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
        self._running, self._states = {}, {}
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
        self.day.corrected[entry.subject] += entry.details.get("why") == "put right"

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
    "fault": lambda reader, entry: reader.day.faults.append(entry),
    "mark": lambda reader, entry: reader.day.marks.append(entry),
}


def of(entries: Iterable[Entry]) -> Day:
    """What came of a day, from its entries in order."""
    reader = _Reader()
    for entry in entries:
        reader.take(entry)
    return reader.finish()


# --- in words ------------------------------------------------------------------------------------------------------


def text(day: Day, of_day: date) -> Iterator[str]:
    """The page."""
    yield plain(", ".join(part for part in (day.name, day_words(of_day)) if part))
    yield ""
    yield from _body(day)
    yield ""
    snags = list(journal_snags.of(day))
    yield "To look at before the next show:" if snags else "Nothing to look at before the next show."
    widest = max((len(one.subject) for one in snags), default=0)
    for one in snags:
        yield plain(f"  {one.subject:<{widest}}  {one.what}")


def short(entries: Sequence[Entry]) -> list[str]:
    """The end of one show in a few lines."""
    day = of(entries)
    snags = [f"{one.subject}: {one.what}" for one in journal_snags.of(day)]
    lines = [line for line in _body(day) if line[:MARGIN].strip() not in ("shows", "detectors")]
    more = f" and {len(snags) - 4} more" if len(snags) > 4 else ""
    found = [plain(f"{'look at':<{MARGIN}}{one}") for one in snags[:4]]
    return [
        "From the journal:",
        *(f"  {line}" for line in [*lines, *found]),
        *([f"  {'':<{MARGIN}}{more}"] if more else []),
    ]


def _body(day: Day) -> Iterator[str]:
    rows: list[tuple[str, list[str]]] = [
        ("shows", [f"{span.from_:%H:%M:%S} to {span.to:%H:%M:%S}, {how}" for span, how in day.shows]),
        ("scenes", _times({name: len(spans) for name, spans in day.scenes.items()}, day.known_scenes)),
        ("buttons", _times(dict(day.buttons), day.known_buttons)),
        ("detectors", _times({name: len(spans) for name, spans in day.occupied.items()}, day.detectors, "occupied ")),
        ("rules", list(_rules(day))),
        ("faults", list(_faults(day))),
        ("late", list(_late(day))),
        ("marks", list(_marks(day))),
    ]
    for head, lines in rows:
        for number, line in enumerate(lines):
            yield plain(f"{head if not number else '':<{MARGIN}}{line}")


def _times(counted: dict[str, int], known: Sequence[str], did: str = "") -> list[str]:
    """`lane 12 times, up-approach once; never: beyond`."""
    most = sorted(counted.items(), key=lambda pair: (-pair[1], pair[0]))
    said = [f"{name} {did}{'once' if number == 1 else f'{number} times'}" for name, number in most if number]
    never = [name for name in known if not counted.get(name)]
    shown = ", ".join(said[:MOST_LISTED]) + (f" and {len(said) - MOST_LISTED} more" if len(said) > MOST_LISTED else "")
    missing = f"never: {listed(never, MOST_LISTED)}" if never else ""
    return ["; ".join(part for part in (shown, missing) if part)] if said or never else []


def _rules(day: Day) -> Iterator[str]:
    broken = Counter(entry.subject for entry in day.broken)
    for name, number in broken.items():
        first = next(entry for entry in day.broken if entry.subject == name)
        times = "once" if number == 1 else f"{number} times, first"
        yield f"{name} was broken {times} at {hall(first):%H:%M:%S}"
    for (name, line), entry in day.margins.items():
        if name not in broken:
            found = entry.details.get("margin")
            spare = "never came near" if found is None else _spare(float(found), str(entry.details.get("unit", "us")))
            yield f"{name} (line {line}) {entry.details.get('verdict')}, {spare}"


def _spare(margin: float, unit: str) -> str:
    return f"{amount(abs(margin), unit)} {'to spare' if margin >= 0 else 'short'} at the least"


def _faults(day: Day) -> Iterator[str]:
    by_subject = Counter(entry.subject for entry in day.faults)
    for name, number in by_subject.most_common():
        last = [entry for entry in day.faults if entry.subject == name][-1]
        whose = f"link {name}" if name else "the scenes"
        yield f"{whose}: {count(number, 'time')}, last at {hall(last):%H:%M:%S}: {last.text}"


def _late(day: Day) -> Iterator[str]:
    if day.lateness:
        worst = max(day.lateness, key=lambda entry: int(entry.details.get("worst_us", 0)))
        p99 = max(int(entry.details.get("p99_us", 0)) for entry in day.lateness)
        yield (
            f"99 of 100 instants of a minute at most {p99 / 1_000:.1f} ms late, "
            f"the worst {int(worst.details.get('worst_us', 0)) / 1_000:.1f} ms "
            f"(in the minute before {hall(worst):%H:%M:%S})"
        )
    if day.lost:
        yield f"{count(day.lost, 'entry', 'entries')} could not be kept: the disk did not take them"


def _marks(day: Day) -> Iterator[str]:
    for entry in day.marks[:MOST_MARKS]:
        yield f"{hall(entry):%H:%M:%S}  {entry.text}"
    if len(day.marks) > MOST_MARKS:
        yield f"and {len(day.marks) - MOST_MARKS} more (wayside journal FOLDER --kind mark)"


def length(spans: Iterable[Span]) -> str:
    """How long all of them lasted together."""
    whole = sum(((span.to - span.from_) for span in spans), timedelta())
    return duration(max(1, round(whole.total_seconds())) * 1_000_000)
