"""What a page may ask for: a closed table. Anything else is turned away with a sentence."""

from __future__ import annotations

import pytest

from engine import events as e
from wayside.desk.orders import LONGEST_WORD, BadOrder, Order, asked, read_order
from wayside.project import load

from .conftest import QUAY

CROSSING = "saltmarsh-lane-crossing"
PROGRAM = load([QUAY]).program


def means(**words: str) -> object:
    what = asked(read_order(words), PROGRAM, dry_run=True)
    return what.answer.inputs or what.answer.says or what


@pytest.mark.parametrize(
    ("words", "inputs"),
    [
        ({"do": "all stop"}, (e.AllStop(),)),
        ({"do": "go on"}, (e.GoOn(),)),
        ({"do": "blackout"}, (e.Darken(True),)),
        ({"do": "lights"}, (e.Darken(False),)),
        ({"do": "mute"}, (e.Hush(True),)),
        ({"do": "sound"}, (e.Hush(False),)),
        ({"do": "start", "scene": "evening"}, (e.StartScene("evening"),)),
        ({"do": "stop", "scene": "evening"}, (e.StopScene("evening"),)),
        ({"do": "press", "button": "closing-button"}, tuple(e.Pressed("closing-button", on) for on in (True, False))),
        ({"do": "detector", "detector": "lane", "state": "occupied"}, (e.Detected("lane", "occupied"),)),
        ({"do": "detector", "detector": "lane", "state": "clear"}, (e.Swept("lane"), e.Detected("lane", "clear"))),
        ({"do": "put aside", "detector": "lane", "reason": "it sticks"}, (e.InUse("lane", False),)),
        ({"do": "put back", "detector": "lane"}, (e.InUse("lane", True),)),
        ({"do": "take", "output": "quay-lamp-1", "state": "40 %"}, (e.ByHand("quay-lamp-1", 0.4),)),
        ({"do": "take", "output": "near-barrier", "state": "lowered"}, (e.ByHand("near-barrier", 0.0),)),
        ({"do": "let go", "output": "quay-lamp-1"}, (e.LetGo("quay-lamp-1"),)),
        ({"do": "work", "crossing": CROSSING}, (e.HandWorking(CROSSING, True),)),
        ({"do": "give back", "crossing": CROSSING}, (e.HandWorking(CROSSING, False),)),
        ({"do": "clock", "time": "17:30"}, (e.SetClock(63_000, None),)),
        ({"do": "clock", "time": "stop"}, (e.SetClock(None, False),)),
    ],
)  # fmt: skip
def test_each_order_becomes_its_inputs(words: dict[str, str], inputs: tuple[e.Input, ...]) -> None:
    assert means(**words) == inputs


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({"do": "step", "output": "crne", "by": "1 deg"}, "There is no output crne. Did you mean crane?"),
        ({"do": "step", "output": "crane", "by": "far"}, "A step is up to 45 deg up or down, such as -1 deg."),
        ({"do": "step", "output": "crane", "by": "0 deg"}, "A step is up to 45 deg up or down"),
        ({"do": "step", "output": "crane", "by": "-46 deg"}, "A step is up to 45 deg up or down"),
        ({"do": "here", "output": "moon", "end": "quay"}, "There is no output moon."),
        ({"do": "start", "scene": "evenin"}, "There is no scene evenin. Did you mean evening?"),
        ({"do": "start", "scene": "<img src=x>"}, "There is no scene <img src=x>."),
        ({"do": "take", "output": "moon", "state": "on"}, "There is no output moon."),
        ({"do": "put aside", "detector": "lane", "reason": " "}, "Say why lane is put out of use"),
        ({"do": "clock", "time": "25:00"}, "Write a time of day such as 17:30."),
        ({"do": "clock", "time": "17:60"}, "Write a time of day such as 17:30."),
        ({"do": "detector", "detector": "lane", "state": "full"}, "A detector is occupied, clear or unknown."),
        ({"do": "take", "output": "near-barrier", "state": "400 deg"}, "outside"),
        ({"do": "take away", "train": "-1"}, "A train is named by its number."),
        ({"do": "train", "track": "up", "length": "1e9", "speed": "1", "direction": "", "signals": ""}, "are whole"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said(words: dict[str, str], says: str) -> None:
    what = asked(read_order(words), PROGRAM, dry_run=True)
    assert not what.fine
    assert says in what.answer.says
    assert not what.answer.inputs


def test_detectors_are_worked_by_hand_in_a_dry_run_only() -> None:
    what = asked(Order("detector", {"detector": "lane", "state": "clear"}), PROGRAM, dry_run=False)
    assert not what.answer.inputs
    assert not what.fine


@pytest.mark.parametrize(
    "body",
    [
        None, [], "all stop", 1, {}, {"do": ""}, {"do": "delete"}, {"do": ["all stop"]},
        {"do": "all stop", "scene": "x"},
        {"do": "start"}, {"do": "start", "scene": 1}, {"do": "start", "scene": None},
        {"do": "start", "scene": "a", "why": "b"},
        {"do": "mark", "note": "x" * (LONGEST_WORD + 1)}, {str(n): "" for n in range(20)}, {"do": "__class__"},
    ],
)  # fmt: skip
def test_what_is_no_order_is_turned_away(body: object) -> None:
    with pytest.raises(BadOrder):
        read_order(body)


def test_a_note_keeps_its_letters_and_loses_what_would_move_a_cursor_or_turn_a_line() -> None:
    order = read_order({"do": "mark", "note": "a\x1b[2Jb\nc\u202ed <b>é</b>"})
    assert order.words["note"] == "a [2Jb c d <b>é</b>"
