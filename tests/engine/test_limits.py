"""The engine's limits, each at the limit and one past it. The large ones are turned down for the test."""

from __future__ import annotations

from dataclasses import replace

import pytest
from acting import LAYOUT, S, Script, lamp, notes, played, program, states, told, troubles
from test_semantics import GO, scene

from engine import branches, kernel, performance
from engine.drive import jump
from engine.events import Detected, StartScene
from engine.kernel import Kernel
from engine.trace import Trouble


@pytest.mark.parametrize(("rounds", "cut"), [(branches.LOOP_LIMIT, False), (branches.LOOP_LIMIT + 1, True)])
def test_rounds_of_one_loop_in_one_instant(rounds: int, cut: bool) -> None:
    made = played("counter laps\n" + scene(f"repeat {rounds} times", "    count laps up", 'note "on"'), [GO])
    assert made.stage.counters["laps"] == branches.LOOP_LIMIT
    assert bool(troubles(made)) is cut
    assert notes(made) == ([] if cut else [(0, "on")]), (
        "what stands behind a loop that never ends was not meant for now"
    )


def test_loops_in_loops_share_what_a_scene_may_go_round_in_an_instant() -> None:
    text = "counter laps\n" + scene("repeat", "    repeat 30 times", "        count laps up", 'note "on"')
    made = played(text, [GO])
    assert branches.LOOP_LIMIT * 0.9 < made.stage.counters["laps"] <= branches.LOOP_LIMIT + 30
    assert len(troubles(made)) == 1
    assert notes(made) == []


def test_a_scene_whose_loop_takes_no_time_is_stopped_and_its_when_stopped_runs_whole() -> None:
    text = "counter laps\n" + scene(
        "when stopped",
        "    repeat 900 times",
        "        count laps up",
        '    note "safe"',
        "repeat",
        "    count laps down",
    )
    made = played(text, [GO])
    assert notes(made) == [(0, "safe")]
    assert made.stage.counters["laps"] == 900 - branches.LOOP_LIMIT


@pytest.mark.parametrize("when_stopped", [(), ("when stopped", "    wait 2 s", '    note "safe"')])
def test_two_loops_of_one_scene_that_take_no_time_stop_it_once(when_stopped: tuple[str, ...]) -> None:
    spins = ("    repeat", "        count laps up")
    made = played("counter laps\n" + scene(*when_stopped, "together", *spins, *spins), [GO])
    assert len(troubles(made)) == 1
    assert notes(made) == ([(2, "safe")] if when_stopped else [])
    assert states(made, "go")[-1] == (2 if when_stopped else 0, "stopped")


def test_a_scene_that_is_stopped_by_another_as_its_loop_is_found_runs_its_when_stopped_whole() -> None:
    spins = scene("when stopped", "    wait 2 s", '    note "safe"', "wait 1 s", "repeat", "    count laps up")
    made = played("counter laps\n" + spins + scene("wait 1 s", "stop go", name="other"), [GO, (0, StartScene("other"))])
    assert notes(made) == [(3, "safe")]
    assert states(made, "go") == [(0, "running"), (1, "stopping"), (3, "stopped")]


def test_very_many_loops_that_each_go_round_at_one_instant_go_on() -> None:
    names = [f"lamp-{number}" for number in range(branches.LOOP_LIMIT + 1)]
    wide = replace(LAYOUT, outputs={**LAYOUT.outputs, **{name: lamp(name) for name in names}})
    each = ("for each one in row, 0 s apart", "    repeat", "        turn on one for 1 s", "        wait 1 s")
    made = Kernel(program(f"group row: {', '.join(names)}\n" + scene(*each), wide))
    jump(made, Script([GO]), 10 * S)
    assert troubles(made) == []
    assert len(told(made, names[-1])) > 5


@pytest.mark.parametrize("waits", [(), ("    wait 0 s",)])
def test_a_loop_that_tells_very_many_outputs_is_cut_earlier(waits: tuple[str, ...]) -> None:
    names = [f"lamp-{number}" for number in range(1_000)]
    wide = replace(LAYOUT, outputs={**LAYOUT.outputs, **{name: lamp(name) for name in names}})
    lines = ("when stopped", "    repeat 90 times", "        count laps up", "repeat", *waits, "    turn on row")
    made = Kernel(program(f"counter laps\ngroup row: {', '.join(names)}\n" + scene(*lines), wide))
    jump(made, Script([GO]), 10 * S)
    assert len(troubles(made)) == 1
    assert made._orders <= kernel.ORDER_LIMIT + 3 * len(names)
    assert states(made, "go")[-1] == (0, "stopped")
    assert made.stage.counters["laps"] == 90, "what makes it safe is not cut"


@pytest.mark.parametrize(("waits", "cut"), [(18, False), (19, True)])
def test_rounds_in_one_instant(monkeypatch: pytest.MonkeyPatch, waits: int, cut: bool) -> None:
    # n waits of no time take n + 1 rounds, and the scene's end one more: 20 in all for 18 waits
    monkeypatch.setattr(kernel, "REACTION_LIMIT", 20)
    made = played(scene(*["wait 0 s"] * waits, 'note "through"'), [GO])
    assert bool(troubles(made)) is cut
    longer = played(scene(*["wait 0 s"] * 20, 'note "through"'), [GO])
    assert notes(longer) == []  # the scene was stopped before its last line


@pytest.mark.parametrize(("times", "cut"), [(performance.RESTART_LIMIT, False), (performance.RESTART_LIMIT + 1, True)])
def test_beginnings_of_one_scene_in_one_instant(times: int, cut: bool) -> None:
    text = "counter laps\n" + scene(f"repeat {times} times", "    run lap") + scene("count laps up", name="lap")
    made = played(text, [GO])
    assert made.stage.counters["laps"] == min(times, performance.RESTART_LIMIT)
    assert bool(troubles(made)) is cut


@pytest.mark.parametrize(("changes", "full"), [(5, False), (6, True)])
def test_records_in_a_trace(monkeypatch: pytest.MonkeyPatch, changes: int, full: bool) -> None:
    monkeypatch.setattr(kernel, "TRACE_LIMIT", 5)
    events = [(1 + n, Detected("near", ("occupied", "clear")[n % 2])) for n in range(changes)]
    made = played(scene("wait 1 s"), [*events, (60, Detected("far", "occupied"))] if full else events)
    assert len(made.trace) == (6 if full else 5)
    assert isinstance(made.trace[-1], Trouble) is full
    assert made.trace[-1].at_us == (6 if full else 5) * S
