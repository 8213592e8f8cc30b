"""What an operator types: each line's inputs, and what is said of a line that can't be."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.events import AllStop, ByHand, Darken, GoOn, HandWorking, Hush, Input, InUse, LetGo, SetClock
from engine.kernel import Kernel
from wayside.live.hands import HELP, understood
from wayside.live.operator_words import refused
from wayside.project import load

QUAY = load([Path(__file__).parents[2] / "examples" / "pellbrook-quay"]).program


@pytest.mark.parametrize(
    ("line", "event"),
    [
        ("all stop", AllStop()),
        ("go on", GoOn()),
        ("blackout", Darken(True)),
        ("lights", Darken(False)),
        ("mute", Hush(True)),
        ("sound", Hush(False)),
        ("take quay-lamp-1 40 %", ByHand("quay-lamp-1", 0.4)),
        ("take quay-lamp-1 off", ByHand("quay-lamp-1", 0.0)),
        ("take near-barrier lowered", ByHand("near-barrier", 0.0)),
        ("take up-signal clear", ByHand("up-signal", 1.0)),
        ("let go quay-lamp-1", LetGo("quay-lamp-1")),
        ("lane out of use", InUse("lane", False)),
        ("lane out of use it never clears", InUse("lane", False)),
        ("lane in use", InUse("lane", True)),
        ("work saltmarsh-lane-crossing", HandWorking("saltmarsh-lane-crossing", True)),
        ("give back saltmarsh-lane-crossing", HandWorking("saltmarsh-lane-crossing", False)),
        ("clock 17:30", SetClock(63_000, None)),
        ("clock 7:05:09", SetClock(25_509, None)),
        ("clock stop", SetClock(None, False)),
        ("clock run", SetClock(None, True)),
    ],
)
def test_each_line_means_one_thing(line: str, event: Input) -> None:
    answer = understood(line, QUAY)
    assert answer.inputs == (event,)
    assert answer.says == ""


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("take", "Write take, the output, and what it is to show"),
        ("take quay-lamp-1", "Write take, the output, and what it is to show"),
        ("take quay-lmap-1 on", "There is no output quay-lmap-1. Did you mean quay-lamp-1?"),
        ("take quay-lamp-1 brightly", "not a state of a lamp"),
        ("take near-barrier upright", "raised"),
        ("let go", "Write let go, and the output."),
        ("let go moon", "There is no output moon."),
        ("lnae out of use", "There is no detector lnae. Did you mean lane?"),
        ("lnae in use", "There is no detector lnae. Did you mean lane?"),
        ("work", "Name a crossing. There is saltmarsh-lane-crossing."),
        ("give back lane", "There is no crossing lane."),
        ("clock soon", "Write clock and a time of day such as 17:30, or stop, or run."),
        ("clock 24:00", "Write clock and a time of day"),
        ("clock", "Write clock and a time of day"),
    ],
)
def test_what_cannot_be_is_answered(line: str, words: str) -> None:
    answer = understood(line, QUAY)
    assert answer.inputs == ()
    assert words in answer.says


def test_every_line_of_the_help_is_understood() -> None:
    for line in ("all stop", "blackout", "mute", "take", "lane out of use", "work", "clock"):
        assert line in HELP


def test_what_will_not_be_done_is_said() -> None:
    kernel = Kernel(QUAY)
    kernel.advance(0)
    said = list(refused([ByHand("near-barrier", 0.0), LetGo("amber"), GoOn(), ByHand("amber", 1.0)], kernel))
    assert said == [
        "near-barrier is guarded: work saltmarsh-lane-crossing by hand first.",
        "amber was not taken by hand.",
        "Nothing was stopped: all stop does that.",
    ]
