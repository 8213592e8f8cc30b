"""What a picture shows, before anything is placed: a row of spans for each output, detector and scene; trains' courses.

Read from trace and layout. Must not know inches, ink or the plotting library.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from engine.layout import OUT_OF_USE, Kind, Layout, Track
from engine.program import Program
from engine.trace import (
    ButtonIs,
    CounterIs,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    TrainAt,
    Trouble,
)
from engine.waves import State
from wayside.pictures.outputs import FLICKER_SAMPLES, output_row
from wayside.pictures.spans import Look, Row, Span, Tick, joined
from wayside.rehearsal import trace_words as words


class Course(NamedTuple):
    """A train's straight piece of its way along one track, in micrometres."""

    train: int
    from_us: int
    to_us: int
    front: tuple[float, float]
    tail: tuple[float, float]


@dataclass(frozen=True)
class Strip:
    """A track on which trains run, with their courses."""

    track: Track
    courses: tuple[Course, ...]


@dataclass(frozen=True)
class Section:
    title: str
    rows: tuple[Row, ...]


@dataclass
class _Found:
    """The trace by subject."""

    told: dict[str, list[Told]] = field(default_factory=lambda: defaultdict(list))
    trains: dict[tuple[str, int], list[TrainAt]] = field(default_factory=lambda: defaultdict(list))
    states: dict[tuple[str, str], list[tuple[int, str]]] = field(default_factory=lambda: defaultdict(list))
    notes: list[Tick] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)


_KINDS = (
    ("Signals", (Kind.SIGNAL,)),
    ("Servos", (Kind.SERVO,)),
    ("Lamps", (Kind.LAMP,)),
    ("Relays", (Kind.RELAY,)),
    ("Motors", (Kind.MOTOR,)),
    ("Sounds", (Kind.SOUND,)),
    ("Pulses", (Kind.PULSE,)),
    ("Colours of lamps", (Kind.COLOUR,)),
    ("Daylight", (Kind.DAYLIGHT,)),
)
SAMPLES = 90_000  # of all rows that flicker together: a picture of hundreds of lamps takes seconds, not minutes
FEWEST_SAMPLES = 150  # of one such row
_ONLY_IF_TOLD = (Kind.COLOUR, Kind.DAYLIGHT)
_DETECTOR = {"occupied": Look.SOLID, "clear": Look.IDLE, "unknown": Look.UNKNOWN, OUT_OF_USE: Look.UNKNOWN}
_SCENE = {"running": Look.RUNNING, "stopping": Look.STOPPING}
_LINK = {"talking": Look.IDLE}
_YES = {"yes": Look.SOLID}


class RuleMark(NamedTuple):
    """A line of a rule: where it came closest (None: nothing came near), and by how much, in words."""

    rule: str
    line: int
    at_us: int | None
    text: str


class Contents(NamedTuple):
    strips: tuple[Strip, ...]
    sections: tuple[Section, ...]
    troubles: tuple[Trouble, ...]


def contents(trace: Sequence[Record], program: Program, until_us: int, rules: Sequence[RuleMark] = ()) -> Contents:
    """Everything that the picture shows, from 0 to `until_us`, in the order in which it stands on the page."""
    found = _read(trace)
    layout = program.layout
    flickering = sum(any(one.wave.state is State.FLICKERING for one in told) for told in found.told.values())
    samples = max(FEWEST_SAMPLES, min(FLICKER_SAMPLES, SAMPLES // max(1, flickering)))
    sections = [Section("Detectors", tuple(_detector_rows(found, layout, until_us)))]
    for title, kinds in _KINDS:
        outputs = [output for output in layout.outputs.values() if output.kind in kinds]
        if kinds[0] in _ONLY_IF_TOLD:
            outputs = [output for output in outputs if output.name in found.told]
        rows = tuple(output_row(output, found.told.get(output.name, ()), until_us, samples) for output in outputs)
        sections.append(Section(title, rows))
    sections.append(Section("Scenes", tuple(_state_rows(found, "scene", program.scenes, _SCENE, until_us))))
    sections.append(Section("Hands and notes", tuple(_other_rows(found, program, until_us))))
    sections.append(Section("Rules at closest", tuple(_rule_row(mark) for mark in rules)))
    strips = tuple(_strips(found, layout, until_us))
    return Contents(strips, tuple(section for section in sections if section.rows), tuple(found.troubles))


def _read(trace: Sequence[Record]) -> _Found:
    found = _Found()
    for record in trace:
        match record:
            case Told():
                found.told[record.output].append(record)
            case TrainAt():
                found.trains[record.track, record.train].append(record)
            case Saw(at, detector, state):
                found.states["detector", detector].append((at, state))
            case SceneIs(at, scene, state):
                found.states["scene", scene].append((at, state))
            case ButtonIs(at, button, pressed):
                found.states["button", button].append((at, "yes" if pressed else "no"))
            case FlagIs(at, flag, value):
                found.states["flag", flag].append((at, "yes" if value else "no"))
            case CounterIs(at, counter, amount):
                found.states["counter", counter].append((at, str(amount)))
            case LinkIs(at, link, state):
                found.states["link", link].append((at, state))
            case Noted(at, _, text):
                found.notes.append(Tick(at, text))
            case Trouble():
                found.troubles.append(record)
    return found


# --- states --------------------------------------------------------------------------------------------------------


def _state_spans(
    states: Sequence[tuple[int, str]], looks: dict[str, Look], at_first: Look, until_us: int, other: Look = Look.IDLE
) -> tuple[Span, ...]:
    changes = [(0, at_first), *((at, looks.get(state, other)) for at, state in states)]
    ends = [*(at for at, _ in changes[1:]), until_us]
    spans = [
        Span(at, min(end, until_us), look)
        for (at, look), end in zip(changes, ends, strict=True)
        if at < min(end, until_us)
    ]
    return tuple(joined(spans))


def _detector_rows(found: _Found, layout: Layout, until_us: int) -> list[Row]:
    """In the layout's order. A detector that reported nothing was clear, as rehearsals begin."""
    rows = []
    for name in layout.detectors:
        seen_by = [t.name for t in layout.tracks.values() if any(s.detector == name for s in t.stretches)]
        states = found.states.get(("detector", name), ())
        spans = _state_spans(states, _DETECTOR, Look.IDLE, until_us)
        rows.append(Row("detector", name, spans, beside=", ".join(seen_by)))
    return rows


def _state_rows(
    found: _Found, sort: str, names: Iterable[str], looks: dict[str, Look], until_us: int, other: Look = Look.IDLE
) -> list[Row]:
    """Rows for what the trace speaks of, in the order of `names`."""
    told = [name for kind, name in found.states if kind == sort]
    order = {name: number for number, name in enumerate(names)}
    told.sort(key=lambda name: order.get(name, len(order)))
    return [Row(sort, name, _state_spans(found.states[sort, name], looks, Look.IDLE, until_us, other)) for name in told]


def _other_rows(found: _Found, program: Program, until_us: int) -> list[Row]:
    rows = []
    for row in _state_rows(found, "button", program.layout.buttons, _YES, until_us):
        presses = [Tick(at, "") for at, state in found.states["button", row.name] if state == "yes" and at <= until_us]
        rows.append(Row("button", row.name, row.spans, tuple(presses), "button"))
    for sort, looks, other in (("flag", _YES, Look.IDLE), ("link", _LINK, Look.UNKNOWN)):
        for row in _state_rows(found, sort, (), looks, until_us, other):
            rows.append(Row(sort, row.name, row.spans, beside=sort))
    for (sort, name), states in found.states.items():
        if sort == "counter":
            ticks = tuple(Tick(at, text) for at, text in states if at <= until_us)
            rows.append(Row("counter", name, ticks=ticks, beside="counter"))
    notes = tuple(tick for tick in found.notes if tick.at_us <= until_us)
    return [*rows, Row("notes", "notes", ticks=notes)] if notes else rows


def _rule_row(mark: RuleMark) -> Row:
    ticks = () if mark.at_us is None else (Tick(mark.at_us, mark.text),)
    return Row("rule", mark.rule, ticks=ticks, beside=f"line {mark.line}")


# --- trains --------------------------------------------------------------------------------------------------------


def _strips(found: _Found, layout: Layout, until_us: int) -> list[Strip]:
    strips = []
    for track in layout.tracks.values():
        courses: list[Course] = []
        for (name, train), records in found.trains.items():
            if name == track.name:
                courses.extend(_courses(train, records, track.length_mm * 1000, until_us))
        if courses:
            strips.append(Strip(track, tuple(courses)))
    return strips


def _courses(train: int, records: Sequence[TrainAt], length_um: int, until_us: int) -> list[Course]:
    courses = []
    for record, after in zip(records, [*records[1:], None], strict=True):
        end = min(after.at_us if after else until_us, until_us)
        end = min(end, _gone(record, length_um))
        if end > record.at_us:
            way = record.speed_um_s * (end - record.at_us) / words.SECOND
            front, tail = float(record.front_um), float(record.tail_um)
            courses.append(Course(train, record.at_us, end, (front, front + way), (tail, tail + way)))
    return courses


def _gone(record: TrainAt, length_um: int) -> int:
    """The instant by which a train has left the track for good, on this course."""
    near, far = min(record.front_um, record.tail_um), max(record.front_um, record.tail_um)
    if record.speed_um_s > 0:
        return record.at_us + max(0, (length_um - near) * words.SECOND // record.speed_um_s)
    if record.speed_um_s < 0:
        return record.at_us + max(0, far * words.SECOND // -record.speed_um_s)
    on_track = near < length_um and far > 0
    return 1 << 62 if on_track else record.at_us
