"""Typed lines: each is an input, the end, or a sentence that helps."""

from __future__ import annotations

import pytest

from engine.events import Detected, Pressed, StartScene, StopScene, Swept
from engine.kernel import Kernel
from engine.layout import NOWHERE, Button, Detector, DetectorKind, Kind, Layout, Output, Setting, Stretch, Track
from engine.program import Program, Rule, Scene
from engine.proven import Passages
from wayside.live.hands import HELP, so_already, understood

LAYOUT = Layout(
    detectors={name: Detector(name, DetectorKind.SECTION) for name in ("lane", "up-approach")},
    outputs={"lamp": Output("lamp", Kind.LAMP, Setting(0.0))},
    buttons={"evening-button": Button("evening-button")},
)
PROGRAM = Program(LAYOUT, {"evening": Scene("evening", NOWHERE, ())})


@pytest.mark.parametrize(
    ("line", "inputs"),
    [
        ("lane occupied", (Detected("lane", "occupied"),)),
        ("  up-approach   clear \n", (Swept("up-approach"), Detected("up-approach", "clear"))),
        ("lane unknown", (Detected("lane", "unknown"),)),
        ("press evening-button", (Pressed("evening-button", True), Pressed("evening-button", False))),
        ("start evening", (StartScene("evening"),)),
        ("stop evening", (StopScene("evening"),)),
        ("", ()),
        ("   \n", ()),
    ],
)
def test_a_line_is_an_input(line: str, inputs: tuple[object, ...]) -> None:
    answer = understood(line, PROGRAM)
    assert (answer.inputs, answer.says, answer.ends) == (inputs, "", False)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("lane occupyed", "Did you mean occupied?"),
        ("lan occupied", "Did you mean lane?"),
        ("press evning-button", "Did you mean evening-button?"),
        ("start morning", "There is no scene morning."),
        ("stop evning", "Did you mean evening?"),
        ("lane", "lane is a detector. Write lane occupied, clear or unknown."),
        ("evening-button", "is a button. Write press evening-button."),
        ("evening", "is a scene. Write start evening, or stop evening."),
        ("lamp", "is an output"),
        ("lanes", "alone says nothing"),
        ("pres evening-button", "Did you mean press?"),
        ("lane is occupied now", "more than I understand"),
        ("help", HELP),
        ("x" * 100_000, "alone says nothing"),
    ],
)
def test_anything_else_is_a_sentence_that_helps(line: str, says: str) -> None:
    answer = understood(line, PROGRAM)
    assert says in answer.says
    assert len(answer.says) < 1_000
    assert (answer.inputs, answer.ends) == ((), False)


@pytest.mark.parametrize("word", ["end", "quit", "exit"])
def test_the_end(word: str) -> None:
    assert understood(word, PROGRAM).ends


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("lane clear", ["lane is clear already."]),
        ("lane occupied", []),
        ("stop evening", ["evening is not running."]),
        ("start evening", []),
        ("press evening-button", []),
    ],
)
def test_what_is_so_already_is_said(line: str, says: list[str]) -> None:
    kernel = Kernel(PROGRAM)
    kernel.set_detector("lane", "clear")
    assert list(so_already(understood(line, PROGRAM).inputs, kernel.stage)) == says


def test_a_running_scene_is_not_started_again() -> None:
    stage = Kernel(PROGRAM).stage
    stage.scenes["evening"] = "running"
    assert list(so_already([StartScene("evening")], stage)) == ["evening is running already."]
    assert list(so_already([StopScene("evening")], stage)) == []


def test_a_person_who_says_clear_has_looked() -> None:
    """Said of a detector that is clear, while a train is only taken to be there still."""
    stretches = (Stretch("up-approach", 500), Stretch("lane", 500), Stretch("beyond", 500))
    detectors = {name: Detector(name, DetectorKind.SECTION) for name in ("up-approach", "lane", "beyond")}
    program = Program(Layout(detectors=detectors, tracks={"line": Track("line", stretches, 150, 300)}))
    kernel = Kernel(program)
    kernel.believe(Passages(program.layout, dict.fromkeys(detectors, "clear")))
    typed = understood("lane clear", program).inputs
    kernel.advance(0, [Detected("lane", "occupied")])
    assert list(so_already(typed, kernel.stage)) == []
    kernel.advance(1, typed)
    assert kernel.stage.trains_on["lane"] == 1
    assert list(so_already(typed, kernel.stage)) == [
        "lane is clear already; since you say so, no train is taken to be there any more."
    ]
    kernel.advance(2, typed)
    assert kernel.stage.trains_on["lane"] == 0
    assert list(so_already(typed, kernel.stage)) == ["lane is clear already."]


def test_what_a_rule_does_cannot_be_named() -> None:
    rules = {"shut": Rule("shut", NOWHERE, (), "rule shut")}
    scenes = {**PROGRAM.scenes, "rule shut": Scene("rule shut", NOWHERE, ())}
    known = Program(LAYOUT, scenes, rules)
    assert understood("shut", known).says == "shut alone says nothing. Type help: it lists what I do."
    assert understood("start shut", known).says == "There is no scene shut. There is evening."


@pytest.mark.parametrize("how", ["now", "when idle", "never", ""])
def test_what_becomes_of_edited_scenes_is_typed(how: str) -> None:
    answer = understood(f"swap  {how}", PROGRAM)
    assert (answer.swap, answer.inputs, answer.says) == (how, (), "")
    assert "swap now" in understood("swap it", PROGRAM).says
