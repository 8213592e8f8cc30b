"""What subjects were doing and which line was behind it: for every kind of subject, touched and untouched."""

from __future__ import annotations

import pytest

from engine.conditions import Atom, Sort, Test
from engine.courses import Course, Leg, Script
from engine.flicker import Flicker
from engine.layout import (
    NOWHERE,
    Aspect,
    Blink,
    Board,
    Button,
    Detector,
    DetectorKind,
    Kind,
    Layout,
    Link,
    Output,
    Place,
    Position,
    Setting,
    Wiring,
)
from engine.manners import MANNERS
from engine.program import Act, Begin, Count, Deed, Program, Rehearsal, Scene, SetFlag, TrainRun, Variable
from engine.trace import (
    ButtonIs,
    CounterIs,
    Did,
    FlagIs,
    LinkIs,
    Record,
    Saw,
    SceneIs,
    Told,
    TrainOn,
)
from engine.waves import Flashing, Ramp, State, Steady
from wayside.rehearsal.explaining import Story

S = 1_000_000


STILL = MANNERS["candle"]
TWO_COLOURS = Script.of(Leg(5 * S, 0.0), Leg(10 * S, 1.0))


def at(line: int) -> Place:
    return Place("lane.scene", line, 5, line, 20)


LAYOUT = Layout(
    outputs={
        "amber": Output("amber", Kind.LAMP, Setting(0.0), steps=255),
        "reds": Output("reds", Kind.LAMP, Setting(1.0, Blink(S, 1, 0, 2))),
        "fan": Output("fan", Kind.MOTOR, Setting(0.0)),
        "lantern colour": Output("lantern colour", Kind.COLOUR, Setting(0.0), aspects=(Aspect("white"), Aspect("red"))),
        "arm": Output("arm", Kind.SERVO, Setting(0.0), positions=(Position("down", 0.0), Position("up", 90.0))),
    },
    detectors={"lane": Detector("lane", DetectorKind.BEAM, wiring=Wiring(board="box", port=2))},
    buttons={"bell-push": Button("bell-push")},
    links={"main": Link("main")},
    boards={"box": Board("box", "main", 1, 8)},
)
PROGRAM = Program(
    LAYOUT,
    {
        "evening": Scene(
            "evening",
            at(1),
            (
                SetFlag(at(2), "open", True),
                Count(at(3), "trains", 1),
                Count(at(4), "trains", None),
                SetFlag(at(5), "late", True),
            ),
        )
    },
    flags={"open": Variable("open"), "late": Variable("late")},
    counters={"trains": Variable("trains")},
)
ACTS = (
    Act(at(50), 1 * S, Deed.STAYS, "lane", "unknown", 2 * S),
    Act(at(51), 2 * S, Deed.LOSE_LINK, "main"),
    Act(at(52), 4 * S, Deed.PRESS, "bell-push", for_us=S),
)
REHEARSAL = Rehearsal(
    "one",
    at(40),
    begins=(Begin(at(41), "lane", "occupied"),),
    trains=(TrainRun(at(60), "up-line", 100, 100, 0), TrainRun(at(61), "up-line", 100, 100, 0)),
    acts=ACTS,
)


def atom(sort: Sort, subject: str) -> Atom:
    return Atom(sort, subject, Test.ON)  # what is asked does not matter, only of whom


def told(output: str, wave: Steady | Ramp | Flashing, why: str = "line", at_us: int = 0) -> Told:
    return Told(at_us, output, wave, "evening", at(9), why)


def story(*trace: Record, at_us: int = 10 * S) -> Story:
    return Story(PROGRAM, REHEARSAL, trace, at_us)


@pytest.mark.parametrize(
    ("sort", "subject", "trace", "states"),
    [
        (Sort.OUTPUT, "amber", (), "amber was still off: no line had told it anything"),
        (Sort.OUTPUT, "reds", (), "reds was still flashing, lit: no line had told it anything"),
        (
            Sort.OUTPUT,
            "amber",
            (Told(0, "amber", Steady(1.0), "", NOWHERE, "begins"),),
            "amber was still on: no line had told it anything",
        ),
        (Sort.OUTPUT, "amber", (told("amber", Steady(0.4)),), "amber was 40 %"),
        (Sort.OUTPUT, "amber", (told("amber", Ramp(0, 20 * S, 0.0, 1.0)),), "amber was fading, 50 %"),
        (Sort.OUTPUT, "amber", (told("amber", Ramp(10 * S, 20 * S, 0.0, 1.0)),), "amber was fading, still off"),
        (Sort.OUTPUT, "amber", (told("amber", Ramp(0, 10 * S, 0.0, 1.0)),), "amber was on"),
        (
            Sort.OUTPUT,
            "amber",
            (told("amber", Flicker(0, 0, 7, STILL, (0.4, 0.4), (0.4, 0.4))),),
            "amber was flickering, at 40 %",
        ),
        (Sort.OUTPUT, "amber", (told("amber", Flashing(0, Blink(S, 1, 1, 2), 0.5)),), "amber was flashing, dark"),
        (
            Sort.OUTPUT,
            "lantern colour",
            (told("lantern colour", Course(0, TWO_COLOURS, 0.0, 1.0, repeats=True, state=State.FLASHING)),),
            "the colour of lantern was red",
        ),
        (
            Sort.OUTPUT,
            "lantern colour",
            (),
            "the colour of lantern was still white: no line had told it anything",
        ),
        (Sort.OUTPUT, "fan", (told("fan", Steady(-0.3)),), "fan was 30 % backwards"),
        (Sort.OUTPUT, "arm", (told("arm", Steady(90.0)),), "arm was up"),
        (
            Sort.OUTPUT,
            "reds",
            (told("reds", Flashing(0, Blink(S, 1, 0, 2)), "safe"),),
            "reds was flashing, lit, in its safe state since evening was stopped",
        ),
        (Sort.OUTPUT, "arm", (told("arm", Steady(0.0), "dropped"),), "arm was down, left so when its line was dropped"),
        (
            Sort.OUTPUT,
            "amber",
            (told("amber", Steady(0.0), "longest time on"),),
            "amber was off, its longest time on being over",
        ),
        (Sort.DETECTOR, "lane", (), "lane was still occupied"),
        (Sort.DETECTOR, "lane", (Saw(0, "lane", "clear"),), "lane was clear"),
        (Sort.DETECTOR, "lane", (Saw(10 * S + 1, "lane", "clear"),), "lane was still occupied"),
        (Sort.TRAIN, "lane", (), "no train was on lane"),
        (
            Sort.TRAIN,
            "lane",
            (TrainOn(0, 0, "lane", True), TrainOn(1, 1, "lane", True), TrainOn(2, 0, "lane", False)),
            "a train was on lane",
        ),
        (Sort.TRAIN, "lane", (TrainOn(0, 0, "lane", True), TrainOn(2, 0, "lane", False)), "no train was on lane"),
        (Sort.SCENE, "evening", (), "evening had not been started"),
        (Sort.SCENE, "evening", (SceneIs(0, "evening", "running", "", at(9)),), "scene evening was running"),
        (Sort.SCENE, "evening", (SceneIs(0, "evening", "ended", "", at(9)),), "scene evening had ended"),
        (Sort.BUTTON, "bell-push", (), "bell-push had not been pressed"),
        (Sort.BUTTON, "bell-push", (ButtonIs(4 * S, "bell-push", True),), "bell-push was pressed"),
        (Sort.BUTTON, "bell-push", (ButtonIs(5 * S, "bell-push", False),), "bell-push was let go"),
        (Sort.FLAG, "open", (), "open had not been remembered"),
        (Sort.FLAG, "open", (FlagIs(0, "open", False),), "open was not remembered"),
        (Sort.COUNTER, "trains", (), "trains was still 0"),
        (Sort.COUNTER, "trains", (CounterIs(0, "trains", 3),), "trains was 3"),
        (Sort.LINK, "main", (), "main had not changed since the beginning"),
        (Sort.LINK, "main", (LinkIs(2 * S, "main", "gone"),), "main was gone"),
    ],
)
def test_the_state_of_a_subject(sort: Sort, subject: str, trace: tuple[Record, ...], states: str) -> None:
    assert story(*trace).states([atom(sort, subject)]) == states


@pytest.mark.parametrize(
    ("sort", "subject", "trace", "line"),
    [
        (Sort.OUTPUT, "amber", (), None),
        (Sort.OUTPUT, "amber", (told("amber", Steady(1.0)),), 9),
        (Sort.OUTPUT, "amber", (told("amber", Steady(1.0), at_us=11 * S),), None),
        (
            Sort.OUTPUT,
            "amber",
            (SceneIs(S, "evening", "stopped", "by name", at(70)), told("amber", Steady(0.0), "rest", S)),
            70,
        ),
        (Sort.SCENE, "evening", (SceneIs(0, "evening", "running", "", at(8)),), 8),
        (Sort.SCENE, "evening", (SceneIs(0, "evening", "ended", "", NOWHERE),), 1),  # its last line has run
        (
            Sort.SCENE,
            "evening",
            (SceneIs(0, "evening", "stopping", "", at(70)), SceneIs(S, "evening", "stopped", "", NOWHERE)),
            70,
        ),
        (Sort.TRAIN, "lane", (TrainOn(0, 1, "lane", True),), 61),
        (Sort.DETECTOR, "lane", (TrainOn(0, 1, "lane", True), Saw(0, "lane", "occupied")), 61),
        (Sort.DETECTOR, "lane", (TrainOn(0, 1, "lane", True), Saw(S, "lane", "unknown")), 50),
        (Sort.DETECTOR, "lane", (Saw(2 * S, "lane", "unknown"),), 51),  # by the link of its board
        (Sort.DETECTOR, "lane", (Saw(3 * S, "lane", "clear"),), 50),  # it stuck until then
        (Sort.BUTTON, "bell-push", (ButtonIs(5 * S, "bell-push", False),), 52),
        (Sort.LINK, "main", (LinkIs(2 * S, "main", "gone"),), 51),
        (Sort.FLAG, "open", (FlagIs(0, "open", True),), 2),
        (Sort.FLAG, "open", (FlagIs(0, "open", False),), None),  # no line can have
        (Sort.COUNTER, "trains", (Did(0, "evening", at(4)), CounterIs(0, "trains", 0)), 4),
        (Sort.COUNTER, "trains", (CounterIs(0, "trains", 0),), None),  # one of two lines: not guessed
    ],
)
def test_the_line_behind_it(sort: Sort, subject: str, trace: tuple[Record, ...], line: int | None) -> None:
    assert story(*trace).cause([atom(sort, subject)]) == (None if line is None else at(line))


def test_of_several_subjects_the_last_that_something_happened_to() -> None:
    trace = (told("amber", Steady(1.0)), SceneIs(S, "evening", "running", "", at(8)))
    both = [atom(Sort.OUTPUT, "amber"), atom(Sort.SCENE, "evening")]
    assert story(*trace).cause(both) == at(8)
    assert story(*trace, at_us=S - 1).cause(both) == at(9)


def test_a_long_list_is_cut() -> None:
    many = [atom(Sort.OUTPUT, name) for name in LAYOUT.outputs]
    many += [atom(Sort.DETECTOR, "lane"), atom(Sort.TRAIN, "lane")]
    assert story().states(many).endswith("; and 3 more")
