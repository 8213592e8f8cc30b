"""What a picture shows, before anything is placed: a row of spans for each output, detector and scene; trains' courses.

Read from trace and layout. Must not know inches, ink or the plotting library.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple, assert_never

from engine.layout import Kind, Layout, Output, Track
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
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside import trace_words as words


class Look(Enum):
    """How a span is drawn; each can be told from the others without colour."""

    IDLE = "idle"  # off, clear: a base line only
    SHADE = "shade"  # a level, or a fade from one to another
    FLASH = "flash"
    DENSE = "flashing too quickly to draw each"
    LEVEL = "level line"  # a servo that stands
    MOVE = "move"  # a servo on its way
    STOP_ASPECT = "aspect that stops trains"
    GO_ASPECT = "aspect that lets trains go"
    SOLID = "occupied"
    UNKNOWN = "unknown"
    RUNNING = "running"
    STOPPING = "stopping"
    BUSY = "changes too quick to draw"


class Span(NamedTuple):
    """From one instant to another. `low`, `high`: the level at either end, or a servo's share of its travel."""

    from_us: int
    to_us: int
    look: Look
    low: float = 0.0
    high: float = 0.0
    text: str = ""
    flash: Flashing | None = None


class Tick(NamedTuple):
    """Something that takes no time."""

    at_us: int
    text: str


@dataclass(frozen=True)
class Row:
    """One line of the picture. `sort` and `name` say whose; `beside` stands small beside the name."""

    sort: str
    name: str
    spans: tuple[Span, ...] = ()
    ticks: tuple[Tick, ...] = ()
    beside: str = ""
    marks: tuple[tuple[str, float], ...] = ()  # a servo's named positions and their shares of its travel

    @property
    def idle(self) -> bool:
        """Nothing ever happens in it."""
        return not self.ticks and (not self.spans or (len(self.spans) == 1 and self.spans[0].look is Look.IDLE))


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
)
_DETECTOR = {"occupied": Look.SOLID, "clear": Look.IDLE, "unknown": Look.UNKNOWN}
_SCENE = {"running": Look.RUNNING, "stopping": Look.STOPPING}
_LINK = {"talking": Look.IDLE}
_YES = {"yes": Look.SOLID}


class Contents(NamedTuple):
    strips: tuple[Strip, ...]
    sections: tuple[Section, ...]
    troubles: tuple[Trouble, ...]


def contents(trace: Sequence[Record], program: Program, until_us: int) -> Contents:
    """Everything that the picture shows, from 0 to `until_us`, in the order in which it stands on the page."""
    found = _read(trace)
    layout = program.layout
    sections = [Section("Detectors", tuple(_detector_rows(found, layout, until_us)))]
    for title, kinds in _KINDS:
        outputs = [output for output in layout.outputs.values() if output.kind in kinds]
        rows = tuple(output_row(output, found.told.get(output.name, ()), until_us) for output in outputs)
        sections.append(Section(title, rows))
    sections.append(Section("Scenes", tuple(_state_rows(found, "scene", program.scenes, _SCENE, until_us))))
    sections.append(Section("Hands and notes", tuple(_other_rows(found, program, until_us))))
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


# --- outputs -------------------------------------------------------------------------------------------------------


def output_row(output: Output, told: Sequence[Told], until_us: int) -> Row:
    """An output's row. Before it is first told something it shows its rest, or where its first move began."""
    first = told[0].wave if told else None
    before = first.low if isinstance(first, Ramp) and first.from_us == told[0].at_us else output.rest.value
    blink = output.rest.blink
    waves: list[tuple[int, Wave]] = [(0, Flashing(0, blink) if blink else Steady(before))]
    for record in told:
        if waves[-1][0] == record.at_us:
            waves.pop()  # only the last order of an instant was sent
        waves.append((record.at_us, record.wave))
    spans: list[Span] = []
    for (at_us, wave), (next_us, _) in zip(waves, [*waves[1:], (until_us, None)], strict=True):
        if at_us < until_us:
            spans.extend(_wave_spans(output, wave, at_us, min(next_us, until_us)))
    marks: tuple[tuple[str, float], ...] = ()
    if output.kind is Kind.SERVO:
        marks = tuple((one.name, words.travel_share(output, one.degrees)) for one in output.positions)
    return Row(output.kind.value, output.name, tuple(_joined(spans)), marks=marks)


def _wave_spans(output: Output, wave: Wave, from_us: int, to_us: int) -> list[Span]:
    match wave:
        case Steady(amount):
            return [_steady(output, amount, from_us, to_us)]
        case Flashing(_, blink, high):
            return [Span(from_us, to_us, Look.FLASH, high, high, words.rate(blink), wave)]
        case Ramp():
            turn = min(max(wave.to_us, from_us), to_us)
            spans = []
            if turn > from_us:
                spans.append(_ramp(output, wave, from_us, turn))
            if to_us > turn:
                spans.append(_steady(output, wave.high, turn, to_us))
            return spans
    assert_never(wave)


def _ramp(output: Output, wave: Ramp, from_us: int, to_us: int) -> Span:
    low, high = wave.value_at(from_us), wave.value_at(to_us)
    text = f"to {words.value(output, wave.high)}"
    if output.kind is Kind.SERVO:
        return Span(from_us, to_us, Look.MOVE, words.travel_share(output, low), words.travel_share(output, high), text)
    return Span(from_us, to_us, Look.SHADE, low, high, text)


def _steady(output: Output, amount: float, from_us: int, to_us: int) -> Span:
    text = words.value(output, amount)
    if output.kind is Kind.SERVO:
        share = words.travel_share(output, amount)
        return Span(from_us, to_us, Look.LEVEL, share, share, text)
    if output.kind is Kind.SIGNAL:
        index = round(amount)
        stops = 0 <= index < len(output.aspects) and output.aspects[index].stops
        return Span(from_us, to_us, Look.STOP_ASPECT if stops else Look.GO_ASPECT, text=text)
    if amount == 0:
        return Span(from_us, to_us, Look.IDLE)
    return Span(from_us, to_us, Look.SHADE, amount, amount, "" if amount == 1.0 else text)


def _joined(spans: Sequence[Span]) -> list[Span]:
    """Neighbours that look alike become one: a line that says again what is so already leaves no seam."""
    joined: list[Span] = []
    for span in spans:
        last = joined[-1] if joined else None
        still = last is not None and last.low == last.high == span.low == span.high
        if last is not None and still and last[2:] == span[2:]:
            joined[-1] = last._replace(to_us=span.to_us)
        else:
            joined.append(span)
    return joined


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
    return tuple(_joined(spans))


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
