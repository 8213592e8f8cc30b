"""The trace for programs: nothing is lost on the way, equal traces give equal bytes, the docstring keeps its word."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, get_args

import pytest

import engine
from engine.conditions import All, Condition
from engine.courses import Course, Ease, Leg, Script
from engine.flicker import Flicker
from engine.layout import (
    NOWHERE,
    Aspect,
    Blink,
    Detector,
    DetectorKind,
    Kind,
    Layout,
    Output,
    Place,
    Position,
    Setting,
    Stretch,
    Track,
)
from engine.manners import MANNERS
from engine.program import Expectation, Program, Rehearsal, Timing
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
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside.rehearsal import trace_json
from wayside.rehearsal.rule_words import RuleOutcome

PLACE = Place("pellbrook-quay/lane.scene", 12, 5, 12, 20)
LAYOUT = Layout(
    "Pellbrook Quay",
    {
        "near-barrier": Output(
            "near-barrier", Kind.SERVO, Setting(85.0), safe=Setting(0.0),
            positions=(Position("raised", 85), Position("lowered", 0)),
        ),
        "up-signal": Output("up-signal", Kind.SIGNAL, Setting(0), aspects=(Aspect("danger"), Aspect("clear"))),
    },
    {"lane": Detector("lane", DetectorKind.BEAM)},
    tracks={"up-line": Track("up-line", (Stretch("lane", 300), Stretch(None, 900)), 150, 300)},
)  # fmt: skip
PROGRAM = Program(LAYOUT)
TRACE: tuple[Record, ...] = (
    Told(0, "amber", Steady(1.0), "lane", PLACE, "line"),
    Told(0, "near-barrier", Ramp(0, 7_000_000, 85.0, 0.0), "", NOWHERE, "safe"),
    Told(0, "red-left", Flashing(3, Blink(60_000_000, 80, 1, 2), 0.5), "lane", PLACE, "line"),
    Began(1, 4, "lane", PLACE),
    Ended(2, 4, "ran out of time"),
    Did(2, "lane", PLACE),
    SceneIs(3, "lane", "running", "train-about", PLACE),
    Saw(4, "lane", "unknown"),
    ButtonIs(5, "evening-button", True),
    FlagIs(6, "shop-open", False),
    CounterIs(7, "trains", 3),
    LinkIs(8, "main", "gone"),
    TrainAt(9, 1, "up-line", 0, -800_000, 150_000),
    TrainOn(10, 1, "lane", True),
    Noted(11, "lane", 'the shop says "good evening", \u00e9t\u00e9 \u2028 and all', PLACE),
    Broke(12, "road-closed", PLACE, 9),
    TrainTaken(12, "lane", False),
    Trouble(12, "it never settled", (PLACE, PLACE)),
)


@dataclass(frozen=True)
class Outcome:
    expectation: Expectation
    passed: bool
    what_happened: str
    at_us: int | None
    place: Place | None


@dataclass(frozen=True)
class Result:
    rehearsal: Rehearsal
    outcomes: tuple[Outcome, ...]
    trace: tuple[Record, ...]
    ended_us: int
    seed: int | None
    rules: tuple[RuleOutcome, ...] = ()


def text(trace: trace_json.ResultLike | Sequence[Record]) -> str:
    out = io.StringIO()
    trace_json.dump(trace, PROGRAM, out)
    return out.getvalue()


def place_back(data: dict[str, Any] | None) -> Place:
    return NOWHERE if data is None else Place(**data)


def wave_back(data: dict[str, Any]) -> Wave:
    kinds: dict[str, type[Any]] = {"steady": Steady, "ramp": Ramp, "flashing": Flashing}
    made = kinds[data.pop("shape")]
    if "blink" in data:
        data["blink"] = Blink(**data["blink"])
    wave: Wave = made(**data)
    return wave


def record_back(data: dict[str, Any]) -> Record:
    """Read as the docstring says, by the names alone."""
    kinds = {name: kind for kind, name in trace_json.KINDS.items()}
    kind: Any = kinds[data.pop("record")]
    if "place" in data:
        data["place"] = place_back(data["place"])
    if "places" in data:
        data["places"] = tuple(place_back(place) for place in data["places"])
    if "wave" in data:
        data["wave"] = wave_back(data["wave"])
    record: Record = kind(**data)
    return record


def test_every_record_comes_back_as_it_was() -> None:
    assert {type(record) for record in TRACE} == set(get_args(Record))
    records = json.loads(text(TRACE))["records"]
    assert tuple(record_back(record) for record in records) == TRACE


def test_the_object_and_its_header() -> None:
    data = json.loads(text(TRACE))
    assert list(data) == ["format", "version", "header", "outcomes", "rules", "records"]
    assert (data["format"], data["version"]) == ("wayside trace", 1)
    header = data["header"]
    assert header["layout"] == "Pellbrook Quay"
    assert (header["rehearsal"], header["seed"], header["ended_us"]) == (None, None, 12)
    assert header["outputs"]["near-barrier"]["positions"] == {"raised": 85.0, "lowered": 0.0}
    assert header["outputs"]["near-barrier"]["guarded"] is True
    assert header["outputs"]["up-signal"]["aspects"] == ["danger", "clear"]
    assert header["detectors"] == {"lane": "beam"}
    assert header["tracks"]["up-line"][1] == {"detector": None, "length_mm": 900}


def test_a_result_carries_its_outcomes() -> None:
    expectation = Expectation(PLACE, Condition(All(()), "amber is on"), Timing.AT)
    outcomes = (
        Outcome(expectation, False, "amber was off", 7, PLACE),
        Outcome(expectation, True, "", None, None),
    )
    data = json.loads(text(Result(Rehearsal("second-train", PLACE), outcomes, TRACE, 90_000_000, 5)))
    assert data["header"]["rehearsal"] == "second-train"
    assert (data["header"]["seed"], data["header"]["ended_us"]) == (5, 90_000_000)
    failed, passed = data["outcomes"]
    assert failed == {
        "place": PLACE._asdict(), "expected": "amber is on", "passed": False, "what_happened": "amber was off",
        "at_us": 7, "done_by": PLACE._asdict(),
    }  # fmt: skip
    assert passed["passed"] is True
    assert passed["done_by"] is None


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (Told(0, "amber", Steady(1.0), "", NOWHERE), Told(0, "amber", Steady(1), "", NOWHERE)),
        (Told(0, "amber", Steady(0.0), "", NOWHERE), Told(0, "amber", Steady(-0.0), "", NOWHERE)),
        (Told(0, "a", Ramp(0, 1, 0, 1), "", NOWHERE), Told(0, "a", Ramp(0, 1, -0.0, 1.0), "", NOWHERE)),
        (FlagIs(0, "shop-open", True), FlagIs(0, "shop-open", 1)),  # type: ignore[arg-type]
        (ButtonIs(0, "b", False), ButtonIs(0, "b", 0)),  # type: ignore[arg-type]
    ],
)
def test_equal_traces_give_equal_bytes(one: Record, other: Record) -> None:
    assert one == other
    assert text([one]) == text([other])


def test_different_traces_give_different_bytes() -> None:
    assert text(TRACE) != text(TRACE[:-1])
    assert text([Saw(0, "lane", "clear")]) != text([Saw(1, "lane", "clear")])


def test_the_bytes_do_not_hang_on_an_encoding() -> None:
    assert text(TRACE).isascii()


def test_one_record_a_line() -> None:
    """So that a difference between two rehearsals shows in any tool that compares lines."""
    lines = text(TRACE).splitlines()
    assert sum('"record":' in line for line in lines) == len(TRACE)
    assert not any(line.count('"record":') > 1 for line in lines)


def test_several_rehearsals_are_a_list() -> None:
    out = io.StringIO()
    trace_json.dump_all([TRACE, (), TRACE], PROGRAM, out)
    assert [len(one["records"]) for one in json.loads(out.getvalue())] == [len(TRACE), 0, len(TRACE)]
    none = io.StringIO()
    trace_json.dump_all([], PROGRAM, none)
    assert json.loads(none.getvalue()) == []


def test_an_empty_trace() -> None:
    data = json.loads(text(()))
    assert data["records"] == []
    assert data["header"]["ended_us"] == 0


def test_every_kind_and_every_field_is_documented() -> None:
    rows = {}
    for line in (trace_json.__doc__ or "").splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.strip().startswith("| `"):
            rows[cells[0].strip("`")] = cells[1]
    assert set(rows) == set(trace_json.KINDS.values())
    for kind, name in trace_json.KINDS.items():
        fields: tuple[str, ...] = kind._fields  # type: ignore[attr-defined]
        for field in fields:
            assert field == "at_us" or f"`{field}`" in rows[name], (name, field)
    assert set(trace_json.KINDS) == set(get_args(Record))


def waveforms() -> set[type]:
    """Every class of the engine that can be asked what a waveform is asked."""
    modules = [import_module(f"engine.{file.stem}") for file in Path(engine.__file__).parent.glob("[a-z]*.py")]
    found = {thing for module in modules for thing in vars(module).values() if isinstance(thing, type)}
    return {one for one in found if all(hasattr(one, name) for name in ("value_at", "turns", "ends_us", "_fields"))}


def test_every_waveform_has_a_shape_and_is_documented() -> None:
    assert set(trace_json.SHAPES) == waveforms()
    for shape in trace_json.SHAPES.values():
        assert f'"{shape}"' in (trace_json.__doc__ or "")


def test_a_flicker_is_written_with_its_manners_name_and_a_course_with_its_legs() -> None:
    course = Course(5, Script.of(Leg(10, 0.5), Leg(20, 1.0, Ease.EVEN)), 0.0, 0.8, name="lamp")
    flicker = Flicker(0, 7, 9, MANNERS["embers"], (0.0, 0.0), (0.2, 0.9))
    trace = [Told(0, "amber", wave, "", NOWHERE, "line") for wave in (course, flicker)]
    first, second = (record["wave"] for record in json.loads(text(trace))["records"])
    assert first["script"] == [
        {"us": 10, "to": 0.5, "ease": "at once, and stays"},
        {"us": 20, "to": 1.0, "ease": "evenly"},
    ]
    assert (second["manner"], second["bounds"]) == ("embers", [0.2, 0.9])
