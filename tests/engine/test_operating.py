"""What an operator does to a show: what stops, what stays safe, what is given back and how."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.day_clock import LayoutClock
from engine.drive import jump
from engine.events import (
    AllStop,
    ByHand,
    Close,
    Darken,
    Detected,
    GoOn,
    HandWorking,
    Hush,
    Input,
    InUse,
    LetGo,
    Pressed,
    SetClock,
    StartScene,
    StopScene,
)
from engine.kernel import Kernel
from engine.layout import Aspect, Crossing, Kind, Layout, Output, Setting
from engine.program import Program
from engine.trace import Told
from tests.engine.acting import LAYOUT, S, Script, program, states, told, value

CROSSING = """
scene lane
    runs whenever near is occupied
    when stopped
        move gate to lowered over 2 s
        hold gate
    move gate to lowered over 4 s
    wait until near is clear
    move gate to raised over 4 s

scene evening
    starts on button red-button
    fade ada to 80 % over 4 s
    wait 20 s
    fade ada to 0 % over 4 s

scene brightly
    turn on bea
    wait 10 s
    turn off bea
"""

Events = list[tuple[float, Input]]


def run(source: str | Program, events: Events, until: float = 200) -> Kernel:
    kernel = Kernel(program(source) if isinstance(source, str) else source)
    jump(kernel, Script(events), round(until * S))
    return kernel


PRESS: Events = [(1, Pressed("red-button", True)), (1.2, Pressed("red-button", False))]


# --- all stop ------------------------------------------------------------------------------------------------------


def orders(kernel: Kernel, output: str) -> list[tuple[int, str, str]]:
    """When it was told something, by which scene, and how."""
    return [(one.at_us, one.scene, one.why) for one in kernel.trace if isinstance(one, Told) and one.output == output]


LIGHTS_FIRST = """
scene lane
    runs whenever near is occupied
    when stopped
        turn on ada
        wait 3 s
        move gate to lowered over 2 s
    move gate to lowered over 4 s
scene other
    when stopped
        move gate to lowered over 1 s
    move gate to lowered over 1 s
scene lamps
    when stopped
        turn on bea
    turn on bea
"""


@pytest.mark.parametrize("ends", [AllStop(), Close()])
def test_what_is_guarded_and_at_rest_is_made_safe_as_its_scene_does_it(ends: Input) -> None:
    kernel = run(LIGHTS_FIRST, [(1, ends)], 30)
    assert orders(kernel, "ada") == [(S, "lane", "line")]
    assert [one[:2] for one in orders(kernel, "gate")] == [(4 * S, "lane")]  # lights first, then its 2 s
    assert states(kernel, "lane") == [(1, "stopping"), (6, "stopped")]
    assert states(kernel, "other") == []  # the first written that drives it
    assert states(kernel, "lamps") == []  # nothing that it drives is guarded
    assert value(kernel, "gate", 20) == 0


def test_what_no_idle_scene_can_have_whole_goes_straight_to_safe() -> None:
    """The scene that drives the gate drives ada, too, which another has and keeps until it has stopped."""
    source = (
        LIGHTS_FIRST.split("scene other")[0]
        + """
scene busy
    when stopped
        wait 9 s
    turn on ada
    wait 60 s
"""
    )
    kernel = run(source, [(1, StartScene("busy")), (2, AllStop())], 30)
    assert orders(kernel, "gate") == [(2 * S, "", "safe")]
    assert states(kernel, "lane") == []


def test_all_stop_closes_what_is_guarded_first_and_rests_all_else() -> None:
    kernel = run(CROSSING, [*PRESS, (2, Detected("near", "occupied")), (3, AllStop())], 30)
    gone = (
        10 * 0.25**3 - 15 * 0.25**4 + 6 * 0.25**5
    )  # least jerk, a quarter of its time; the rest takes its share of 2 s
    at, state = states(kernel, "lane")[-1]
    assert (at, state) == (pytest.approx(3 + 2 * (1 - gone), abs=1e-6), "stopped")
    assert value(kernel, "gate", 29) == 0.0
    assert states(kernel, "evening")[-1] == (3.0, "stopped")
    assert value(kernel, "ada", 3.1) == 0.0
    stopped = [record.scene for record in kernel.trace if getattr(record, "state", "") in ("stopping", "stopped")]
    assert stopped.index("lane") < stopped.index("evening")


def test_an_all_stop_closes_a_crossing_at_rest_whatever_its_rest_state() -> None:
    kernel = run(CROSSING, [(3, AllStop())], 30)
    assert value(kernel, "gate", 2.9) == 90.0
    assert value(kernel, "gate", 7.1) == 0.0


def test_nothing_begins_until_it_goes_on_and_then_conditions_are_looked_at_afresh() -> None:
    events: Events = [
        (3, AllStop()),
        (5, Detected("near", "occupied")),
        (6, StartScene("brightly")),
        (8, Pressed("red-button", True)),
    ]
    kernel = run(CROSSING, [*events, (20, GoOn())], 60)
    begun = [(record.at_us / S, record.scene) for record in kernel.trace if getattr(record, "state", "") == "running"]
    assert begun == [(20.0, "lane")]  # the train is still there; the button and the name asked for were not heard


def test_a_scene_that_was_stopped_by_it_runs_again_after_it() -> None:
    kernel = run(CROSSING, [(1, Detected("near", "occupied")), (2, AllStop()), (9, GoOn())], 30)
    assert [at for at, state in states(kernel, "lane") if state == "running"] == [1.0, 9.0]


# --- blackout and mute ---------------------------------------------------------------------------------------------


def test_a_blackout_darkens_lamps_and_gives_them_back_as_they_would_be() -> None:
    kernel = run(CROSSING, [*PRESS, (3, Darken(True)), (10, Darken(False))], 60)
    assert value(kernel, "ada", 2.9) == pytest.approx(0.8 * 1.9 / 4, abs=1e-3)
    assert [value(kernel, "ada", at) for at in (3, 6, 9.9)] == [0, 0, 0]
    assert value(kernel, "ada", 10) == pytest.approx(0.8)
    assert value(kernel, "ada", 27) == pytest.approx(0.4, abs=1e-3)  # and the scene goes on with it
    assert value(kernel, "gate", 5) == 90.0


def test_what_a_lamp_did_by_itself_goes_on_after_a_blackout() -> None:
    text = "scene s\n    turn on ada\n"
    kernel = run(text, [(1, StartScene("s")), (5, Darken(True)), (9, Darken(False))])
    assert [value(kernel, "ada", at) for at in (4, 6, 10)] == [1, 0, 1]


def test_a_scene_that_begins_in_the_dark_is_seen_when_it_is_over() -> None:
    kernel = run(CROSSING, [(1, Darken(True)), (2, StartScene("brightly")), (5, Darken(False))], 60)
    assert [value(kernel, "bea", at) for at in (3, 6, 13)] == [0, 1, 0]


def test_a_scene_that_ends_in_the_dark_leaves_what_it_wanted() -> None:
    text = "scene s\n    turn on ada\n    wait 3 s\n    turn on bea\n"
    kernel = run(text, [(1, Darken(True)), (2, StartScene("s")), (9, Darken(False))])
    assert [(value(kernel, lamp, 8), value(kernel, lamp, 10)) for lamp in ("ada", "bea")] == [(0, 1), (0, 1)]


def test_a_scene_stopped_in_the_dark_leaves_its_lamps_at_rest() -> None:
    kernel = run(
        CROSSING, [(2, StartScene("brightly")), (3, Darken(True)), (4, StopScene("brightly")), (9, Darken(False))]
    )
    assert [value(kernel, "bea", at) for at in (2.5, 3.5, 10)] == [1, 0, 0]


def guarded_lights() -> Layout:
    lamps = {name: Output(name, Kind.LAMP, Setting(0.0)) for name in ("red", "green")}
    aspects = (
        Aspect("danger", (("red", 1.0), ("green", 0.0)), stops=True),
        Aspect("clear", (("red", 0.0), ("green", 1.0))),
    )
    signal = Output("signal", Kind.SIGNAL, Setting(0.0), safe=Setting(0.0), aspects=aspects)
    bell = Output("bell", Kind.SOUND, Setting(0.0))
    crossing = Crossing("crossing", entrance_barriers=("gate",), signals=("signal",))
    outputs = {**LAYOUT.outputs, **lamps, "signal": signal, "bell": bell}
    return replace(LAYOUT, outputs=outputs, crossings={"crossing": crossing})


def test_the_lamps_of_a_guarded_signal_stay_lit_in_a_blackout() -> None:
    made = program("scene s\n    set signal to clear\n    turn on ada\n", guarded_lights())
    kernel = run(made, [(1, StartScene("s")), (2, Darken(True))], 5)
    assert (value(kernel, "green", 4), value(kernel, "ada", 4)) == (1.0, 0.0)


def test_mute_is_for_sounds() -> None:
    made = program("scene s\n    turn on bell and ada\n    wait 9 s\n", guarded_lights())
    kernel = run(made, [(1, StartScene("s")), (2, Hush(True)), (4, Hush(False))], 8)
    assert [(value(kernel, "bell", at), value(kernel, "ada", at)) for at in (1.5, 3, 5)] == [(1, 1), (0, 1), (1, 1)]


# --- by hand -------------------------------------------------------------------------------------------------------


def test_by_hand_and_back_to_its_scene() -> None:
    kernel = run(CROSSING, [*PRESS, (3, ByHand("ada", 0.25)), (10, LetGo("ada"))], 60)
    assert [value(kernel, "ada", at) for at in (3, 8)] == [0.25, 0.25]
    assert value(kernel, "ada", 10) == pytest.approx(0.8)


def test_a_hand_has_an_output_before_a_blackout_has() -> None:
    events: Events = [
        (2, StartScene("brightly")),
        (3, Darken(True)),
        (4, ByHand("bea", 0.5)),
        (6, LetGo("bea")),
        (8, Darken(False)),
    ]
    kernel = run(CROSSING, events)
    assert [value(kernel, "bea", at) for at in (2.5, 3.5, 5, 7, 9, 12.5)] == [1, 0, 0.5, 0, 1, 0]
    order: Events = [
        (2, StartScene("brightly")),
        (3, ByHand("bea", 0.5)),
        (4, Darken(True)),
        (6, LetGo("bea")),
        (8, Darken(False)),
    ]
    assert [value(run(CROSSING, order), "bea", at) for at in (5, 7, 9)] == [0.5, 0, 1]


def test_a_servo_that_is_given_back_goes_in_its_own_time() -> None:
    text = "scene s\n    move boom to lowered over 4 s\n    wait 30 s\n"
    kernel = run(text, [(1, StartScene("s")), (10, ByHand("boom", 90.0)), (20, LetGo("boom"))])
    assert value(kernel, "boom", 15) == 90.0
    assert value(kernel, "boom", 22) == pytest.approx(45.0)  # 4 s for the whole travel: half of it in 2 s
    assert value(kernel, "boom", 24) == 0.0


def test_guarded_outputs_are_nobodys_to_take() -> None:
    kernel = run(CROSSING, [(1, ByHand("gate", 0.0))], 9)
    assert value(kernel, "gate", 8) == 90.0
    assert kernel.operator.why_not("gate", 0.0) == "gate is guarded: only its scene tells it what to do"


def test_hand_working_puts_signals_to_danger_and_holds_the_barriers_until_they_are() -> None:
    made = program("scene s\n    set signal to clear\n    wait 60 s\n", guarded_lights())
    kernel = run(made, [(1, StartScene("s"))], 5)
    why = kernel.operator.why_not
    assert why("gate", 0.0) == "gate is guarded: work crossing by hand first"
    kernel.advance(5 * S, [HandWorking("crossing", True)])
    assert (value(kernel, "red", 5), value(kernel, "green", 5)) == (1.0, 0.0)
    assert why("gate", 0.0) == ""
    assert why("signal", 1.0) == "signal may not clear before every barrier of crossing is lowered"
    kernel.advance(6 * S, [ByHand("gate", 0.0)])
    kernel.advance(20 * S, [ByHand("signal", 1.0)])
    assert kernel.stage.outputs["gate"].value(20 * S) == 0.0
    assert kernel.stage.outputs["green"].value(20 * S) == 1.0
    assert why("gate", 90.0) == "gate may not rise before every signal of crossing shows danger"
    kernel.advance(21 * S, [HandWorking("crossing", False)])
    kernel.advance(40 * S)
    assert kernel.operator.grips == {}
    assert (value(kernel, "green", 40), value(kernel, "gate", 40)) == (
        1.0,
        90.0,
    )  # the scene's signal; the gate at rest


# --- out of use ----------------------------------------------------------------------------------------------------


def test_a_detector_out_of_use_is_neither_occupied_nor_clear_nor_unknown() -> None:
    text = (
        "scene s\n    runs whenever near is occupied\n    turn on ada\n    wait until near is clear\n    turn off ada\n"
        "scene aside\n    runs whenever near is out of use\n    turn on bea\n    wait until far is occupied\n"
    )
    events: Events = [(1, InUse("near", False)), (2, Detected("near", "occupied")), (5, InUse("near", True))]
    kernel = run(text, events, 9)
    assert [at for at, state in states(kernel, "s") if state == "running"] == [5.0]
    assert [at for at, state in states(kernel, "aside") if state == "running"] == [1.0]


def test_coming_back_in_use_is_no_change() -> None:
    text = "scene s\n    starts each time near is occupied\n    turn on ada\n"
    events: Events = [(1, InUse("near", False)), (2, Detected("near", "occupied")), (5, InUse("near", True))]
    assert states(run(text, events, 9), "s") == []


# --- the layout clock ----------------------------------------------------------------------------------------------


def test_the_layout_clock_counts_whole_microseconds() -> None:
    clock = LayoutClock(17 * 3600, 6)
    assert clock.until(17 * 3600 + 60, 0) == 10 * S
    clock.set(2 * S, None, False)
    assert clock.at(9 * S) == clock.at(2 * S) == (17 * 3600 + 12) * S
    assert clock.until(18 * 3600, 9 * S) is None
    clock.set(9 * S, None, True)
    assert clock.at(10 * S) == (17 * 3600 + 18) * S
    clock.set(10 * S, 6 * 3600, None)
    assert clock.until(6 * 3600, 10 * S) == 24 * 3600 * S // 6


def test_a_stopped_clock_rings_no_time_and_set_it_rings_the_next() -> None:
    made = program("scene s\n    starts at 12:01 layout time\n    turn on ada\n    wait 5 s\n")
    at = [
        at
        for at, state in states(run(made, [(10, SetClock(None, False)), (100, SetClock(None, True))]), "s")
        if state == "running"
    ]
    assert at == [150.0]
    set_on = run(made, [(10, SetClock(12 * 3600 + 50, None))], 100)
    assert [at for at, state in states(set_on, "s") if state == "running"] == [20.0]
    passed_over = run(made, [(10, SetClock(13 * 3600, None))], 1000)
    assert states(passed_over, "s") == []


def test_a_clock_never_changes_the_speed_of_anything() -> None:
    quick = replace(LAYOUT, clock=LAYOUT.clock._replace(ratio=12))
    text = "scene s\n    starts at 12:01 layout time\n    move boom to lowered over 4 s\n"
    kernel = run(program(text, quick), [], 100)
    assert [at for at, _ in told(kernel, "boom")] == [5.0]
    assert value(kernel, "boom", 9) == 0.0


def with_stop_button() -> Program:
    from engine.layout import Button

    found = program(CROSSING)
    buttons = {**found.layout.buttons, "stop-knob": Button("stop-knob", stops=True)}
    return replace(found, layout=replace(found.layout, buttons=buttons))


def test_a_button_that_stops_all_does_and_nothing_goes_on_while_it_is_down() -> None:
    events: Events = [
        (1, StartScene("brightly")),
        (2, Pressed("stop-knob", True)),
        (3, GoOn()),  # it is down: no
        (4, StartScene("brightly")),
        (5, Pressed("stop-knob", False)),
        (6, StartScene("brightly")),  # that it is up starts nothing
        (7, GoOn()),
        (8, StartScene("brightly")),
    ]
    kernel = run(with_stop_button(), events)
    assert [(at, state) for at, state in states(kernel, "brightly")] == [
        (1.0, "running"), (2.0, "stopped"), (8.0, "running"), (18.0, "ended"),
    ]  # fmt: skip


def test_another_button_stops_nothing() -> None:
    kernel = run(with_stop_button(), [(1, StartScene("brightly")), (2, Pressed("red-button", True))], until=5)
    assert not kernel.operator.stopped
