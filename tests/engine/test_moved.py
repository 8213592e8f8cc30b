"""Another hand on the same station: what a scene holds is put right or left, and guarded outputs are never given up."""

from __future__ import annotations

from dataclasses import replace

import pytest
from acting import LAYOUT, S, played, program, value
from test_semantics import scene

from engine import trace as t
from engine.events import OutputMoved, StartScene, StopScene
from engine.kernel import Kernel
from engine.layout import Board, Layout, Link, Wiring
from engine.waves import Steady

GO = StartScene("go")
LONG_SCENE = scene("turn on ada", "wait 60 s", "turn off ada")


def wired(yields: bool) -> Layout:
    """A layout whose outputs are on a link, that of `ada` through a board."""
    outputs = {name: replace(one, wiring=Wiring(link="main", pin=5)) for name, one in LAYOUT.outputs.items()}
    outputs["ada"] = replace(outputs["ada"], wiring=Wiring(board="box", port=1))
    links = {"main": Link("main", yields=yields), "other": Link("other", yields=not yields)}
    return replace(LAYOUT, outputs=outputs, links=links, boards={"box": Board("box", "main", 1, 8)})


def orders(kernel: Kernel, output: str) -> list[tuple[float, object, str, str]]:
    return [(r.at_us / S, r.wave, r.why, r.scene) for r in kernel.trace if isinstance(r, t.Told) and r.output == output]


def test_the_scene_that_holds_it_puts_it_right() -> None:
    kernel = played(program(LONG_SCENE, wired(yields=False)), [(0, GO), (5, OutputMoved("ada", 0.0))], 20)
    assert orders(kernel, "ada")[-1] == (5, Steady(1.0), "put right", "go")
    assert value(kernel, "ada", 6) == 1.0


def test_or_gives_way_until_its_next_line() -> None:
    made = program(LONG_SCENE + "\n", wired(yields=True))
    kernel = played(made, [(0, GO), (5, OutputMoved("ada", 0.4))], 100)
    assert orders(kernel, "ada")[1:] == [(5, Steady(0.4), "another hand", ""), (60, Steady(0.0), "line", "go")]


def test_nobody_holds_it_so_it_stays_as_the_hand_left_it() -> None:
    text = (
        LONG_SCENE
        + "\n"
        + scene("turn on bea", name="watch").replace("scene watch", "scene watch\n    runs whenever ada is lit", 1)
    )
    kernel = played(program(text, wired(yields=False)), [(5, OutputMoved("ada", 1.0))], 20)
    assert orders(kernel, "ada") == [(5, Steady(1.0), "another hand", "")]
    assert value(kernel, "bea", 5) == 1.0, "conditions read it"


def test_what_it_shows_already_is_no_news() -> None:
    kernel = played(program(LONG_SCENE, wired(yields=True)), [(0, GO), (5, OutputMoved("ada", 1.0))], 20)
    assert len(orders(kernel, "ada")) == 1


def test_a_flash_is_put_right_as_the_flash_that_it_was() -> None:
    made = program(scene("flash ada at 60 a minute", "wait 60 s"), wired(yields=False))
    kernel = played(made, [(0, GO), (5.2, OutputMoved("ada", 0.0))], 20)
    (first, again) = orders(kernel, "ada")
    assert first[1] == again[1]
    assert again[2] == "put right"


def test_a_flash_that_gave_way_is_not_dropped_later() -> None:
    made = program(scene("flash ada at 60 a minute", "wait 60 s"), wired(yields=True))
    kernel = played(made, [(0, GO), (5, OutputMoved("ada", 0.3)), (9, StopScene("go"))], 20)
    assert [why for _, _, why, _ in orders(kernel, "ada")] == ["line", "another hand", "rest"]


@pytest.mark.parametrize("yields", [True, False])
@pytest.mark.parametrize("held", [True, False])
def test_a_guarded_output_is_never_left_as_a_hand_put_it(yields: bool, held: bool) -> None:
    made = program(scene("move gate to lowered over 4 s", "wait 60 s"), wired(yields))
    start = [(0.0, GO)] if held else []
    kernel = played(made, [*start, (9, OutputMoved("gate", 90.0))], 20)
    if held:
        assert orders(kernel, "gate")[-1][2:] == ("put right", "go")
        assert value(kernel, "gate", 10) == 0.0
    else:
        assert not orders(kernel, "gate"), "it stands raised at rest already"


def test_a_guarded_output_may_be_made_safe_by_anybody() -> None:
    made = program(scene("move gate to raised over 4 s", "wait 60 s"), wired(yields=False))
    kernel = played(made, [(9, OutputMoved("gate", 0.0))], 20)
    assert orders(kernel, "gate") == [(9, Steady(0.0), "another hand", "")]
    kernel = played(made, [(9, OutputMoved("gate", 45.0))], 20)
    assert orders(kernel, "gate") == [(9, Steady(90.0), "put right", "")]
