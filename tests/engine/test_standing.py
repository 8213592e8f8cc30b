"""Guarded outputs in a live show: safe from the beginning, at rest when every detector that matters is clear."""

from __future__ import annotations

from dataclasses import replace

from acting import LAYOUT, S, notes, program, states, told

from engine.events import Close, Detected, InUse, LinkState, StartScene
from engine.kernel import Kernel
from engine.layout import Wiring
from engine.standing import Standing
from engine.waves import Ramp, Steady

TEXT = """
scene gate-keeper
    runs whenever near is occupied
    when stopped
        move gate to lowered over 4 s like even
        hold gate
    move gate to lowered over 4 s like even
    wait until near is clear
    move gate to raised over 4 s like even
scene other
    starts each time far is occupied
    turn on ada
"""


EDGE = TEXT.replace("    runs whenever near is occupied\n", "    starts each time near becomes occupied\n")


def begun(text: str = TEXT) -> tuple[Kernel, Standing]:
    kernel = Kernel(program(text))
    for name in kernel.stage.detectors:
        kernel.set_detector(name, "unknown")
    standing = Standing(kernel)
    kernel.advance(0, standing.begin())
    return kernel, standing


def test_unknown_detectors_close_the_gate_and_the_scene_holds_it() -> None:
    kernel, standing = begun()
    assert states(kernel, "gate-keeper") == [(0, "running")]  # unknown is occupied
    assert standing.look() == []
    kernel.advance(S, [Detected("near", "clear")])
    assert standing.look() == []  # it is the scene's now


def test_a_guarded_output_that_no_scene_holds_rests_when_its_detectors_are_clear() -> None:
    kernel, standing = begun(EDGE)
    assert [type(wave) for _, wave in told(kernel, "gate")] == [Ramp]
    assert standing.look() == []
    kernel.advance(5 * S, [Detected("far", "clear")])  # another detector says nothing about the gate
    assert standing.look() == []
    kernel.advance(6 * S, [Detected("near", "clear")])
    kernel.advance(6 * S, standing.look())
    (_, safe), (at, rest) = told(kernel, "gate")
    assert at == 6
    assert safe.value_at(5 * S) == 0.0  # type: ignore[attr-defined]
    assert rest.value_at(60 * S) == 90.0  # type: ignore[attr-defined]
    assert standing.look() == []


def test_a_dead_detector_put_out_of_use_keeps_no_gate_closed() -> None:
    kernel, standing = begun(EDGE)
    assert [type(wave) for _, wave in told(kernel, "gate")] == [Ramp]
    assert standing.look() == []
    kernel.advance(5 * S, [Detected("far", "clear")])  # another detector says nothing about the gate
    assert standing.look() == []
    kernel.advance(6 * S, [InUse("near", False)])
    assert [event.output for event in standing.look()] == ["gate"]  # type: ignore[union-attr]


def test_close_stops_every_scene_and_none_begins_again() -> None:
    kernel, _ = begun()
    kernel.advance(S, [Detected("far", "clear"), Close()])
    assert states(kernel, "gate-keeper")[-1] == (1, "stopping")
    kernel.advance(2 * S, [Detected("far", "occupied"), StartScene("other")])
    while (due := kernel.next_due()) is not None and due < 60 * S:
        kernel.advance(due)
    assert states(kernel, "gate-keeper")[-1][1] == "stopped"
    assert states(kernel, "other") == []
    assert kernel.wave("gate") == Steady(0.0) or kernel.wave("gate").value_at(60 * S) == 0.0


def test_what_nobody_can_reach_has_not_arrived() -> None:
    gate = replace(LAYOUT.outputs["gate"], wiring=Wiring(link="main", pin=20))
    layout = replace(LAYOUT, outputs={**LAYOUT.outputs, "gate": gate})
    text = """
scene go
    move gate to lowered over 4 s like even
    wait until gate is lowered
    note "lowered"
"""
    kernel = Kernel(program(text, layout))
    kernel.advance(0, [LinkState("main", "gone"), StartScene("go")])
    while (due := kernel.next_due()) is not None and due <= 20 * S:
        kernel.advance(due)
    assert notes(kernel) == []
    kernel.advance(20 * S, [LinkState("main", "talking")])
    assert notes(kernel) == []
    while (due := kernel.next_due()) is not None and due <= 60 * S:
        kernel.advance(due)
    assert notes(kernel) == [(24, "lowered")]  # it has 4 s for its whole travel


def test_a_servo_that_nobody_knows_anything_of_has_arrived_only_after_its_travel() -> None:
    """After a kill: it was told at once where to go, and may be anywhere on its way there."""
    text = 'scene go\n    move gate to lowered over 4 s\n    wait until gate is lowered\n    note "lowered"\n'
    kernel = Kernel(program(text))
    kernel.stage.outputs["gate"].wave = Steady(0.0)
    kernel.unsure("gate", 4 * S)
    kernel.advance(0, [StartScene("go")])
    while (due := kernel.next_due()) is not None and due <= 60 * S:
        kernel.advance(due)
    assert notes(kernel) == [(4, "lowered")]
