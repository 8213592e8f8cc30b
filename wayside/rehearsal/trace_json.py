"""The trace for programs, as one JSON object; equal traces give equal bytes. Must not know how one is played.

The object, in this order (version 1; a later version may add keys, and changes the number if a key's meaning changes):

- `format`: always "wayside trace"; `version`: 1.
- `header`: `layout` (its name), `clock` {`starts_s`, `ratio`}; `rehearsal` (name or null), `seed` (or null),
  `ended_us` (or the last record's instant); `outputs`: name -> {`kind`, `rest`, `guarded`, `positions` (name ->
  degrees, servos), `aspects` (names by index, signals)}; `detectors`: name -> kind; `tracks`: name -> list of
  {`detector` (null if blind), `length_mm`}.
- `outcomes`: one an expectation, in the order written: {`place`, `expected` (the condition's words), `passed`,
  `what_happened`, `at_us` (or null), `done_by` (a place or null)}. Empty for a bare trace.
- `rules`: one a line of every rule, in the order written: {`rule`, `place`, `verdict` ("kept", "broken", "open" or
  "idle"), `margin` (or null: nothing came near), `unit` ("us", "times", "%", "deg", "lux"), `closest_at_us` (or null),
  `broken` (how many times), `what_happened`}. Empty for a bare trace.
- `records`: in order, one a line of the text. Each has `record` (its kind), `at_us` (microseconds from the beginning)
  and the fields below. A *place* is {`file`, `line`, `column`, `end_line`, `end_column`}, counted from 1, the end
  column not included; null where nothing written asked.

  | record     | fields                                                                                             |
  |------------|----------------------------------------------------------------------------------------------------|
  | `told`     | `output`, `wave`, `scene` ("" if none asked), `place`, `why`                                       |
  | `began`    | `line` (pairs with `ended`), `scene`, `place`                                                      |
  | `ended`    | `line`, `how` ("ran out", "dropped", "stopped", "ran out of time")                                 |
  | `did`      | `scene`, `place`                                                                                   |
  | `scene`    | `scene`, `state` ("running", "ended", "stopping", "stopped"), `why`, `place`                       |
  | `detector` | `detector`, `state` ("occupied", "clear", "unknown")                                               |
  | `button`   | `button`, `pressed`                                                                                |
  | `flag`     | `flag`, `value`                                                                                    |
  | `counter`  | `counter`, `value`                                                                                 |
  | `link`     | `link`, `state`                                                                                    |
  | `train at` | `train`, `track`, `front_um`, `tail_um` (from the track's beginning), `speed_um_s` (negative: back) |
  | `train on` | `train`, `detector`, `on`                                                                          |
  | `train taken` | `detector`, `on`: in a live show, where a train is taken to be by the last proven passage          |
  | `note`     | `scene`, `text`, `place`                                                                           |
  | `broken rule` | `rule`, `place` (of its line), `since_us` (when what broke it began)                               |
  | `trouble`  | `text`, `places`, `cut`                                                                            |

  Trains are numbered from 0 in the order in which the rehearsal's file writes them.

- A *wave* has `shape`: "steady" {`value`}; "ramp" {`from_us`, `to_us`, `low`, `high`: evenly from `low` to `high`};
  "flashing" {`from_us`, `blink` {`cycle_us`, `cycles`, `slot`, `slots`}, `high`: on in slot `slot` of `slots` of each
  period of `cycle_us` / `cycles`}; "curve" (as a ramp, with its `profile`); "course" {`from_us`, `script` (legs of `us`
  microseconds `to` a level, `ease`: how), `low` and `high` (the values of levels 0 and 1), `begins`, `repeats`,
  `state`, `name`}; "flicker" {`from_us`, `over_us`, `key`, `manner` (its name), `before` and `bounds` (two
  values each)}; "sunlight" (daylight along the sun's course `where`, `from_s` to `to_s`); "follow" (a sky lamp's:
  `inner` is the daylight, `dark_lux` and `bright_lux` its `low` and `high`). Values: lamp, relay, sound and pulse 0..1,
  a lamp's in CIE 1976 lightness; motor -1..1; servo degrees; signal the index of its aspect; colour mired or an index;
  daylight lux.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from enum import Enum
from typing import Any, Protocol, TextIO

from engine.courses import Course, Script
from engine.curves import Curve
from engine.daylight import Follow, Sunlight
from engine.flicker import Flicker
from engine.layout import NOWHERE, Kind, Output, Place
from engine.program import Expectation, Program, Rehearsal
from engine.trace import (
    Began,
    Broke,
    ButtonIs,
    CounterIs,
    Did,
    Ended,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    TrainAt,
    TrainOn,
    TrainTaken,
    Trouble,
)
from engine.waves import Flashing, Ramp, Steady
from wayside.rehearsal.rule_words import VERDICTS, RuleOutcome

FORMAT = "wayside trace"
VERSION = 1

KINDS: dict[type[tuple[Any, ...]], str] = {
    Told: "told",
    Began: "began",
    Ended: "ended",
    Did: "did",
    SceneIs: "scene",
    Saw: "detector",
    ButtonIs: "button",
    FlagIs: "flag",
    CounterIs: "counter",
    LinkIs: "link",
    TrainAt: "train at",
    TrainOn: "train on",
    TrainTaken: "train taken",
    Noted: "note",
    Broke: "broken rule",
    Trouble: "trouble",
}
SHAPES: dict[type[tuple[Any, ...]], str] = {
    Steady: "steady",
    Ramp: "ramp",
    Flashing: "flashing",
    Curve: "curve",
    Course: "course",
    Flicker: "flicker",
    Sunlight: "sunlight",
    Follow: "follow",
}
# what is a fraction stays one, whether the trace holds 1 or 1.0; what is yes or no likewise
_FRACTIONS = {(Steady, "value"), (Ramp, "low"), (Ramp, "high"), (Flashing, "high")}
_YES_NO = {(ButtonIs, "pressed"), (FlagIs, "value"), (TrainOn, "on"), (TrainTaken, "on"), (Trouble, "cut")}


class OutcomeLike(Protocol):
    @property
    def expectation(self) -> Expectation: ...
    @property
    def passed(self) -> bool: ...
    @property
    def what_happened(self) -> str: ...
    @property
    def at_us(self) -> int | None: ...
    @property
    def place(self) -> Place | None: ...


class ResultLike(Protocol):
    """What a played rehearsal must offer to be written with its outcomes."""

    @property
    def rehearsal(self) -> Rehearsal: ...
    @property
    def outcomes(self) -> Sequence[OutcomeLike]: ...
    @property
    def rules(self) -> Sequence[RuleOutcome]: ...
    @property
    def trace(self) -> Sequence[Record]: ...
    @property
    def ended_us(self) -> int: ...
    @property
    def seed(self) -> int | None: ...


def dump(result_or_trace: ResultLike | Sequence[Record], program: Program, out: TextIO) -> None:
    """Write one object, and a newline after it."""
    out.writelines(_object(result_or_trace, program))
    out.write("\n")


def dump_all(results: Iterable[ResultLike | Sequence[Record]], program: Program, out: TextIO) -> None:
    """Write a list of such objects, for several rehearsals played in one go."""
    out.write("[")
    for number, result in enumerate(results):
        out.write(",\n" if number else "\n")
        out.writelines(_object(result, program))
    out.write("\n]\n")


def _text(value: object) -> str:
    """One value. Plain ASCII, so that the bytes do not hang on the encoding of where they go."""
    return json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(", ", ": "))


def _object(result_or_trace: ResultLike | Sequence[Record], program: Program) -> Iterator[str]:
    result = None if isinstance(result_or_trace, Sequence) else result_or_trace
    trace = result_or_trace if isinstance(result_or_trace, Sequence) else result_or_trace.trace
    yield f'{{"format": {_text(FORMAT)}, "version": {VERSION},\n'
    yield f'"header": {_text(_header(result, trace, program))},\n'
    yield '"outcomes": ['
    for number, outcome in enumerate(result.outcomes if result else ()):
        yield (",\n" if number else "\n") + _text(_outcome(outcome))
    yield '],\n"rules": ['
    for number, rule in enumerate(result.rules if result else ()):
        yield (",\n" if number else "\n") + _text(_rule(rule))
    yield '],\n"records": ['
    for number, record in enumerate(trace):
        yield (",\n" if number else "\n") + _text({"record": KINDS[type(record)], **_fields(record)})
    yield "]}"


def _header(result: ResultLike | None, trace: Sequence[Record], program: Program) -> dict[str, object]:
    layout = program.layout
    tracks = {
        name: [{"detector": stretch.detector, "length_mm": stretch.length_mm} for stretch in track.stretches]
        for name, track in layout.tracks.items()
    }
    return {
        "layout": layout.name,
        "clock": {"starts_s": layout.clock.starts_s, "ratio": layout.clock.ratio},
        "rehearsal": result.rehearsal.name if result else None,
        "seed": result.seed if result else None,
        "ended_us": result.ended_us if result else trace[-1].at_us if trace else 0,
        "outputs": {name: _output(output) for name, output in layout.outputs.items()},
        "detectors": {name: detector.kind.value for name, detector in layout.detectors.items()},
        "tracks": tracks,
    }


def _output(output: Output) -> dict[str, object]:
    rest: dict[str, object] = {"value": _fraction(output.rest.value)}
    if output.rest.blink is not None:
        rest["blink"] = output.rest.blink._asdict()
    shown: dict[str, object] = {"kind": output.kind.value, "rest": rest, "guarded": output.guarded}
    if output.kind is Kind.SERVO:
        shown["positions"] = {position.name: _fraction(position.degrees) for position in output.positions}
    if output.kind is Kind.SIGNAL:
        shown["aspects"] = [aspect.name for aspect in output.aspects]
    return shown


def _outcome(outcome: OutcomeLike) -> dict[str, object]:
    return {
        "place": _place(outcome.expectation.place),
        "expected": outcome.expectation.condition.words,
        "passed": outcome.passed,
        "what_happened": outcome.what_happened,
        "at_us": outcome.at_us,
        "done_by": None if outcome.place is None else _place(outcome.place),
    }


def _rule(outcome: RuleOutcome) -> dict[str, object]:
    judgement = outcome.judgement
    margin = judgement.margin
    return {
        "rule": judgement.rule.name,
        "place": _place(judgement.line.place),
        "verdict": VERDICTS[judgement.verdict],
        "margin": None if margin is None else margin.amount,
        "unit": judgement.unit,
        "closest_at_us": None if margin is None else margin.at_us,
        "broken": judgement.broken,
        "what_happened": outcome.what_happened,
    }


def _place(place: Place) -> dict[str, object] | None:
    return None if place == NOWHERE else place._asdict()


def _fraction(value: float) -> float:
    return float(value) + 0.0  # adding nought turns a negative nought into nought


def _fields(record: tuple[Any, ...]) -> dict[str, object]:
    """A record's, a wave's or a flash's fields by name; nested ones likewise."""
    kind = type(record)
    names: tuple[str, ...] = kind._fields  # type: ignore[attr-defined]
    return {name: _value(kind, name, value) for name, value in zip(names, record, strict=True)}


def _value(kind: type[tuple[Any, ...]], name: str, value: Any) -> object:
    if isinstance(value, Place):
        return _place(value)
    if type(value) in SHAPES:
        return {"shape": SHAPES[type(value)], **_fields(value)}
    if isinstance(value, Script):
        return [_fields(leg) for leg in value.legs]
    if isinstance(value, Enum):
        return value.value
    if kind is Flicker and name == "manner":
        return value.name
    if hasattr(value, "_fields"):
        return {"kind": type(value).__name__.lower(), **_fields(value)} if kind is not Flashing else value._asdict()
    if isinstance(value, tuple) and name != "places":
        return [_value(kind, "", one) for one in value]
    if name == "places":
        return [_place(place) for place in value]
    if (kind, name) in _YES_NO:
        return bool(value)
    return _fraction(value) if (kind, name) in _FRACTIONS else value
