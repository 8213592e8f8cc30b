"""The engine's limits, each at the limit and one past it. The large ones are turned down for the test."""

from __future__ import annotations

import pytest
from acting import S, notes, played, troubles
from test_semantics import GO, scene

from engine import branches, kernel, performance
from engine.events import Detected
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
    assert branches.LOOP_LIMIT * 0.9 < made.stage.counters["laps"] < branches.LOOP_LIMIT
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
