"""The numbered points of "Semantics that must hold", on the engine, each played on both drivers.

Times are worked out by hand from the scene's own text; nothing here is copied from the engine's output.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from acting import S, notes, played, program, states, told, troubles, value

from engine.conditions import fully_shown
from engine.drive import Nothing, jump
from engine.events import Detected, Pressed, StartScene, StopScene
from engine.kernel import REACTION_LIMIT, Kernel
from engine.layout import Aspect, Kind, Layout, Output, Setting
from engine.trace import Saw
from engine.waves import Flashing, Steady

GO = (0.0, StartScene("go"))
NEAR, CLEAR = Detected("near", "occupied"), Detected("near", "clear")


def scene(*lines: str, name: str = "go") -> str:
    return "\n".join([f"scene {name}", *(f"    {line}" for line in lines), ""])


# --- every line takes as long as it says ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "takes"),
    [
        ("turn on ada", 0),
        ("set ada to 40 %", 0),
        ("flash ada at 60 a minute", 0),
        ("turn on ada for 20 s", 20),
        ("flash ada and bea in turn at 45 a minute each for 3 s", 3),
        ("fade ada to 80 % over 12 s", 12),
        ("fade ada to 0 % over 12 s", 12),  # a fade takes its time, also where there is nothing to fade
        ("move boom to lowered over 7 s", 7),
        ("move boom to 45 deg over 7 s", 3.5),  # its share of the whole travel
        ("move boom to raised over 7 s", 0),  # already there
        ("wait 1,5 s", 1.5),
        ("pulse coil-a for 100 ms", 0.1),
        ('note "x"', 0),
    ],
)
def test_a_line_takes_as_long_as_it_says(line: str, takes: float) -> None:
    kernel = played(scene(line, 'note "after"'), [GO])
    assert notes(kernel)[-1] == (takes, "after")


def test_what_for_does_is_undone_and_a_flash_goes_on_in_its_phase() -> None:
    kernel = played(scene("flash ada at 60 a minute", "wait 250 ms", "turn on ada for 10 s"), [GO], until=20)
    waves = told(kernel, "ada")
    assert [at for at, _ in waves] == [0, 0.25, 10.25]
    assert waves[0][1] == waves[2][1]  # the same flash, from the same start
    assert isinstance(waves[1][1], Steady)


def test_a_new_order_starts_from_the_value_of_that_instant() -> None:
    kernel = played(
        scene("together", "    fade ada to 100 % over 10 s", "    in order", "        wait 4 s", '        note "x"'),
        [GO],
    )
    assert value(kernel, "ada", 4) == pytest.approx(0.4)
    two = scene("start second", "fade ada to 100 % over 10 s") + scene(
        "takes ada from go", "wait 4 s", "fade ada to 0 % over 4 s", name="second"
    )
    kernel = played(two, [GO])
    # the second scene takes ada at once, before the first has faded it: it starts from nought
    assert value(kernel, "ada", 2) == 0


# --- 1: deterministic; rounds --------------------------------------------------------------------------------------


def test_lines_due_at_one_instant_run_in_the_order_asked_for() -> None:
    kernel = played(
        scene(
            "together",
            "    in order",
            "        wait 1 s",
            "        wait 1 s",
            '        note "asked second"',
            "    in order",
            "        wait 2 s",
            '        note "asked first"',
        ),
        [GO],
    )
    assert notes(kernel) == [(2, "asked first"), (2, "asked second")]


def test_of_several_orders_in_an_instant_the_last_is_sent() -> None:
    kernel = played(scene("turn on ada", "turn off ada", "set ada to 30 %"), [GO])
    assert told(kernel, "ada") == [(0, Steady(0.3))]


def test_if_reads_the_value_now_but_a_guard_sees_a_settled_round() -> None:
    kernel = played(
        scene(
            "turn on ada",
            "turn on bea",
            "as long as ada is on",
            "    turn off ada",
            "    if ada is off",
            '        note "off now"',
            "    turn on ada",
            "    wait 1 s",
            '    note "still here"',
        ),
        [GO],
    )
    assert notes(kernel) == [(0, "off now"), (1, "still here")]


def test_a_flag_that_was_set_for_no_time_is_seen_by_a_wait_only_between_rounds() -> None:
    text = (
        "flag seen\n"
        + scene("wait until seen", 'note "saw it"')
        + scene("wait 1 s", "remember seen", "forget seen", name="flicks")
    )
    assert notes(played(text, [GO, (0, StartScene("flicks"))])) == []
    text = text.replace("    forget seen", "    wait 0 s\n    forget seen")
    assert notes(played(text, [GO, (0, StartScene("flicks"))])) == [(1, "saw it")]


def test_a_condition_true_for_no_time_between_two_inputs_of_an_instant_starts_nothing() -> None:
    text = scene("starts each time near is occupied", 'note "train"')
    assert notes(played(text, [(1, NEAR), (1, CLEAR)])) == []
    assert notes(played(text, [(1, NEAR), (1.000001, CLEAR)])) == [(1, "train")]


def test_a_failing_guard_beats_the_end_of_its_block() -> None:
    text = scene("as long as near is clear", "    wait 5 s", '    note "ran out"', "otherwise", '    note "dropped"')
    assert notes(played(text, [GO, (5, NEAR)])) == [(5, "dropped")]
    assert notes(played(text, [GO, (5.000001, NEAR)])) == [(5, "ran out")]


def test_a_guard_that_does_not_hold_at_the_start_runs_otherwise_at_once() -> None:
    text = scene("as long as near is occupied", "    wait 5 s", "otherwise", '    note "otherwise"', 'note "on"')
    assert notes(played(text, [GO])) == [(0, "otherwise"), (0, "on")]
    assert notes(played(text.replace('otherwise\n        note "otherwise"\n    ', ""), [GO])) == [(0, "on")]


def test_a_guard_about_a_move_that_ends_with_its_block_fails_first() -> None:
    kernel = played(
        scene(
            "start mover",
            "wait 0 s",
            "as long as boom is moving",
            "    wait 7 s",
            '    note "ran out"',
            "otherwise",
            '    note "dropped"',
        )
        + scene("move boom to lowered over 7 s", name="mover"),
        [GO],
    )
    assert notes(kernel) == [(7, "dropped")]


SEEDED = scene(
    "repeat 20 times",
    "    for each lamp in ada, bea, cid, dot in random order, 1 s to 9 s apart",
    "        turn on lamp",
    "        wait 1 s to 3 s",
    "        turn off lamp",
    "    by chance",
    "        40 %",
    '            note "often"',
    "        otherwise",
    '            note "else"',
)


def test_the_same_seed_is_the_same_trace_and_another_seed_another() -> None:
    assert played(SEEDED, [GO], seed=3).trace == played(SEEDED, [GO], seed=3).trace
    assert played(SEEDED, [GO], seed=3).trace != played(SEEDED, [GO], seed=4).trace


LIGHT = scene(
    "together",
    "    fade daylight through dusk over 4 min",
    "    repeat 20 times",
    "        for each lamp in ada, bea, cid in random order, 1 s to 9 s apart",
    "            turn on lamp like tube",
    "            wait 1 s to 3 s",
    "            flicker lamp like storm between 10 % and 80 % over 2 s",
    "            wait 1 s to 9 s",
    "            fade lamp to 30 % over 4 s like gas-mantle",
    "            turn off lamp like candle for 2 s",
    "            wait until lamp is above 20 %, at most 3 s",
    "        move boom to lowered over 5 s, bouncing",
    '        show dot as "VQ(6) + LFl 10s"',
    "        move boom to raised over 800 ms, settling",
    "        as long as ada is below 50 %",
    "            flicker dot like a-manner-of-ours",
    "            wait 20 s",
    "fade daylight through dawn over 1 min",
) + scene(
    "starts each time ada is above 60 %", "takes dot, daylight from go", "set dot to 40 %", "wait 7 s", name="thief"
)
LIGHT = "manner a-manner-of-ours\n    sways 30 a minute by 80 %\n    sways 200 a minute by 20 %\n" + LIGHT


@pytest.mark.parametrize("text", ["SEEDED", "LIGHT"])
def test_the_same_trace_on_two_hash_seeds(text: str) -> None:
    here = Path(__file__).parent
    code = (
        f"import test_semantics as ts, hashlib; k = ts.played(ts.{text}, [ts.GO], seed=3);"
        "print(hashlib.sha256(repr(k.trace).encode()).hexdigest(), len(k.trace))"
    )
    seen = set()
    for hash_seed in ("1", "2"):
        path = os.pathsep.join([str(here), str(here.parents[1])])
        env = {**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONPATH": path}
        seen.add(subprocess.run([sys.executable, "-c", code], env=env, check=True, capture_output=True).stdout)
    assert len(seen) == 1
    assert int(seen.pop().split()[1]) > 100


def test_a_new_lamp_changes_nobody_elses_evening() -> None:
    text = scene("for each lamp in ada, bea side by side", "    wait 1 s to 60 s", "    turn on lamp")
    more = text.replace("ada, bea", "ada, cid, bea")
    few, many = played(text, [GO], seed=5), played(more, [GO], seed=5)
    for lamp in ("ada", "bea"):
        assert told(few, lamp) == told(many, lamp)


# --- 2: reactions take no time -------------------------------------------------------------------------------------


def test_a_chain_that_never_settles_is_cut_and_reported_and_time_goes_on() -> None:
    text = (
        "flag ping\n"
        + scene("starts each time ping", "forget ping", "wait 0 s", "remember ping", "wait 0 s", name="one")
        + scene("repeat", "    wait until ping", "    forget ping", "    wait 0 s", "    remember ping", name="two")
        + scene("remember ping", "wait 3 s", 'note "later"')
    )
    kernel = played(text, [GO, (0, StartScene("two"))], until=5)
    (text,) = [text for text in troubles(kernel) if str(REACTION_LIMIT) in text]
    assert "stopped: " in text
    assert "two" in text
    assert states(kernel, "two")[-1] == (0, "stopped")
    assert (3, "later") in notes(kernel)


def test_a_loop_that_goes_round_in_no_time_is_cut() -> None:
    kernel = played(
        scene("turn on bea", "repeat", "    if bea is off", "        wait 1 s", 'note "out"'), [GO], until=5
    )
    assert any("went round" in text for text in troubles(kernel))
    assert notes(kernel) == [], "what stands behind the loop was not meant for now"


def test_a_scene_that_takes_no_time_and_whose_condition_holds_does_not_hang() -> None:
    kernel = played(scene("runs whenever near is occupied", "turn on ada"), [(1, NEAR)], until=5)
    assert any("began again" in text for text in troubles(kernel))


# --- 3: structured -------------------------------------------------------------------------------------------------


def test_dropped_moves_freeze_and_flashes_go_back_to_the_level_before() -> None:
    kernel = played(
        scene(
            "set ada to 30 %",
            "turn on cid",
            "as long as near is clear",
            "    flash ada at 60 a minute",
            "    turn on bea",
            "    together",
            "        move boom to lowered over 8 s like even",
            "        fade cid to 0 % over 8 s",
            "        wait 20 s",
        ),
        [GO, (2, NEAR)],
    )
    assert value(kernel, "boom", 30) == pytest.approx(67.5)  # a quarter of 90 degrees, and there it stays
    assert value(kernel, "cid", 30) == pytest.approx(0.75)
    assert value(kernel, "ada", 30) == pytest.approx(0.3)
    assert value(kernel, "bea", 30) == 1  # a steady level is no flash: it stays


def test_a_flash_from_before_the_block_goes_on_when_the_block_is_dropped() -> None:
    kernel = played(
        scene("flash ada at 60 a minute", "as long as near is clear", "    wait 20 s", "wait 5 s"), [GO, (2, NEAR)]
    )
    assert [type(wave) for _, wave in told(kernel, "ada")] == [Flashing]


def test_ran_out_leaves_what_was_started() -> None:
    kernel = played(
        scene("repeat", "    flash ada at 60 a minute", "    wait 1 s", "    stop repeating", 'note "out"', "wait 9 s"),
        [GO],
    )
    assert [type(wave) for _, wave in told(kernel, "ada")] == [Flashing]
    assert notes(kernel) == [(1, "out")]


def test_a_finished_inner_block_belongs_to_the_block_around_it_which_is_dropped_later() -> None:
    kernel = played(
        scene(
            "as long as near is clear",
            "    in order",
            "        flash ada at 60 a minute",
            "    wait 20 s",
        ),
        [GO, (2, NEAR)],
    )
    assert told(kernel, "ada")[-1] == (2, Steady(0.0))


def test_stop_repeating_in_a_together_drops_the_other_branches() -> None:
    kernel = played(
        scene(
            "repeat",
            "    together",
            "        move boom to lowered over 10 s",
            "        in order",
            "            flash ada at 60 a minute",
            "            wait 30 s",
            "        in order",
            "            wait 5 s",
            "            stop repeating",
            'note "out"',
        ),
        [GO],
    )
    assert notes(kernel) == [(5, "out")]
    assert value(kernel, "boom", 60) == pytest.approx(45)
    assert value(kernel, "ada", 60) == 0
    assert states(kernel, "go")[-1] == (5, "ended")


def test_what_a_loop_began_in_no_time_belongs_to_the_block_around_it() -> None:
    kernel = played(
        scene("as long as near is clear", "    repeat 2 times", "        flash ada at 60 a minute", "    wait 20 s"),
        [GO, (2, NEAR)],
    )
    assert told(kernel, "ada")[-1] == (2, Steady(0.0))


def test_first_of_drops_the_losers() -> None:
    kernel = played(
        scene(
            "first of",
            "    wait until near is occupied",
            "    in order",
            "        flash ada at 60 a minute",
            "        wait 9 s",
            'note "on"',
        ),
        [GO, (4, NEAR)],
    )
    assert notes(kernel) == [(4, "on")]
    assert told(kernel, "ada")[-1] == (4, Steady(0.0))


@pytest.mark.parametrize("asked_first", [True, False])
def test_of_two_winners_the_first_written_wins(asked_first: bool) -> None:
    first = ["wait 2 s"] if asked_first else ["wait 1 s", "wait 1 s"]  # asked for at 0, or only at 1 s
    kernel = played(
        scene(
            "first of",
            "    in order",
            *(f"        {line}" for line in first),
            "        turn on ada",
            "    in order",
            "        flash bea at 60 a minute",
            "        wait 2 s",
            "wait 1 s",
        ),
        [GO],
    )
    assert value(kernel, "ada", 2.5) == 1
    assert told(kernel, "bea")[-1] == (2, Steady(0.0))  # the loser's flash has ended


def test_a_stop_in_a_together_in_a_repeat() -> None:
    kernel = played(
        scene(
            "when stopped",
            "    move boom to raised over 8 s",
            '    note "safe"',
            "repeat",
            "    together",
            "        move boom to lowered over 8 s",
            "        flash ada and bea in turn at 60 a minute each",
            "        wait 8 s",
            "    wait 8 s",
        ),
        [GO, (4, StopScene("go"))],
    )
    assert states(kernel, "go") == [(0, "running"), (4, "stopping"), (8, "stopped")]
    assert value(kernel, "boom", 4) == 45
    assert notes(kernel) == [(8, "safe")]  # half the travel, half the time
    for lamp in ("ada", "bea"):
        assert told(kernel, lamp)[-1] == (4, Steady(0.0))
    assert not [r for r in kernel.trace if r.at_us > 8 * S]  # nothing runs on


def test_a_frozen_half_way_barrier_stays_after_a_stop() -> None:
    kernel = played(
        scene("when stopped", "    hold everything", "move boom to lowered over 8 s like even", "wait 60 s"),
        [GO, (2, StopScene("go"))],
    )
    assert value(kernel, "boom", 60) == pytest.approx(67.5)
    assert states(kernel, "go")[-1] == (2, "stopped")


def test_a_when_stopped_block_cannot_be_stopped() -> None:
    kernel = played(
        scene("when stopped", "    wait 5 s", '    note "done"', "wait 60 s"),
        [GO, (2, StopScene("go")), (3, StopScene("go"))],
    )
    assert notes(kernel) == [(7, "done")]


def test_a_scene_started_while_its_stop_runs_begins_when_that_is_over() -> None:
    kernel = played(
        scene("when stopped", "    wait 5 s", 'note "begins"', "wait 60 s"),
        [GO, (2, StopScene("go")), (3, StartScene("go"))],
        until=20,
    )
    assert [at for at, _ in notes(kernel)] == [0, 7]


def test_a_for_line_that_is_dropped_goes_back_at_once() -> None:
    kernel = played(
        scene("set ada to 20 %", "as long as near is clear", "    turn on ada for 20 s", "wait 1 s"), [GO, (3, NEAR)]
    )
    assert told(kernel, "ada")[-1] == (3, Steady(0.2))


# --- 4: one driver an output ---------------------------------------------------------------------------------------


def test_what_a_scene_wanted_of_a_taken_output_is_applied_when_it_is_given_back() -> None:
    text = scene("turn on ada", "wait 10 s", "set ada to 40 %", "wait 10 s", "set ada to 60 %", "wait 60 s") + scene(
        "takes ada from go", "turn off ada", "wait 20 s", name="thief"
    )
    kernel = played(text, [GO, (5, StartScene("thief"))])
    # taken from 5 s to 25 s; at 10 s and 20 s the loser's lines were only remembered
    assert told(kernel, "ada") == [(0, Steady(1.0)), (5, Steady(0.0)), (25, Steady(0.6))]


def test_what_a_scene_that_was_run_began_goes_on_when_its_caller_has_the_output_back() -> None:
    text = scene("set ada to 20 %", "run helper", "wait 5 s", "set ada to 60 %", "wait 5 s") + scene(
        "wait 1 s", "turn on ada", "flash bea at 60 a minute", "wait 2 s", name="helper"
    )
    kernel = played(text, [GO])
    assert troubles(kernel) == []
    assert told(kernel, "ada") == [(0, Steady(0.2)), (1, Steady(1.0)), (8, Steady(0.6))]
    assert [type(wave) for _, wave in told(kernel, "bea")] == [Flashing]


def test_a_loser_that_ends_gives_up_its_claim() -> None:
    text = scene("turn on ada", "wait 10 s") + scene("takes ada from go", "turn off ada", "wait 20 s", name="thief")
    kernel = played(text, [GO, (5, StartScene("thief"))])
    assert told(kernel, "ada")[-1] == (5, Steady(0.0))


# --- 5: unknown is occupied ----------------------------------------------------------------------------------------


def test_unknown_is_occupied_and_leaving_unknown_is_no_change() -> None:
    text = scene("starts each time near is clear", 'note "clear"') + scene(
        "starts each time near becomes occupied", 'note "occupied"', name="other"
    )
    unknown = Detected("near", "unknown")
    assert notes(played(text, [(1, unknown), (2, CLEAR), (3, NEAR), (4, CLEAR)])) == [
        (1, "occupied"),  # not known to be clear: at once
        (3, "occupied"),
        (4, "clear"),
    ]
    assert notes(played(text, [(1, NEAR), (2, unknown), (3, NEAR)])) == [(1, "occupied")]


@pytest.mark.parametrize(("state", "answers"), [("clear", "c"), ("occupied", "o"), ("unknown", "ou")])
def test_the_three_states_of_a_detector(state: str, answers: str) -> None:
    text = scene(
        "if near is clear", '    note "c"', "if near is occupied", '    note "o"', "if near is unknown", '    note "u"'
    )
    kernel = played(text, [(0, Detected("near", state)), GO])
    assert "".join(text for _, text in notes(kernel)) == answers


def test_a_detector_that_chatters_faster_than_its_settle_time_stays_occupied() -> None:
    # settle time 200 ms: occupied counts at once, clear only after it has lasted
    events = [(1 + number * 0.1, Detected("slow", ("occupied", "clear")[number % 2])) for number in range(40)]
    kernel = played(scene("starts each time slow is clear", 'note "clear"'), events)
    seen = [record.state for record in kernel.trace if isinstance(record, Saw)]
    assert seen == ["occupied", "clear"]
    last_clear = 1 + 39 * 0.1
    assert notes(kernel) == [(pytest.approx(last_clear + 0.2), "clear")]


def test_a_clear_that_did_not_last_is_never_heard_of() -> None:
    events = [(at, Detected("slow", state)) for at, state in ((1, "occupied"), (2, "clear"), (2.05, "occupied"))]
    kernel = played(scene("wait 1 s"), events)
    assert [(record.at_us / S, record.state) for record in kernel.trace if isinstance(record, Saw)] == [(1, "occupied")]


# --- 6 and 7: stops ------------------------------------------------------------------------------------------------


def test_without_when_stopped_guarded_outputs_go_to_safe_and_others_to_rest() -> None:
    kernel = played(
        scene("turn on ada", "move boom to lowered over 4 s", "move gate to 45 deg over 4 s", "wait 60 s"),
        [GO, (8, StopScene("go"))],
    )
    assert value(kernel, "ada", 60) == 0
    assert value(kernel, "boom", 60) == 90  # at rest: raised
    assert value(kernel, "gate", 60) == 0  # its safe state: lowered
    assert value(kernel, "boom", 10) == pytest.approx(45)  # in its own time, 4 s, no jump


def test_a_stopped_signals_parts_follow_its_safe_aspect_and_not_their_own_rest() -> None:
    parts = {name: Output(name, Kind.LAMP, Setting(1.0 if name == "green" else 0.0)) for name in ("green", "red")}
    aspects = (
        Aspect("danger", (("red", 1.0), ("green", 0.0)), stops=True),
        Aspect("clear", (("red", 0.0), ("green", 1.0))),
    )
    signal = Output("home", Kind.SIGNAL, Setting(1.0), safe=Setting(0.0), aspects=aspects)
    for outputs in ({"home": signal, **parts}, {**parts, "home": signal}):
        made = program(scene("set home to clear", "wait 60 s"), Layout(outputs=outputs))
        kernel = played(made, [GO, (8, StopScene("go"))])
        assert value(kernel, "green", 9) == 0
        assert value(kernel, "red", 9) == 1
        assert kernel.holds(fully_shown(signal, "danger"))


def test_a_stopped_whenever_scene_stays_stopped_until_its_condition_has_been_false() -> None:
    text = scene("runs whenever near is occupied", "turn on ada", "wait 10 s")
    kernel = played(text, [(1, NEAR), (5, StopScene("go")), (30, CLEAR), (40, NEAR)], until=45)
    assert states(kernel, "go") == [(1, "running"), (5, "stopped"), (40, "running")]
    kernel = played(text, [(1, NEAR), (5, StopScene("go")), (7, StartScene("go"))], until=20)
    assert states(kernel, "go") == [(1, "running"), (5, "stopped"), (7, "running"), (17, "ended"), (17, "running")]


def test_whenever_begins_again_at_the_instant_it_ends() -> None:
    kernel = played(scene("runs whenever near is occupied", "wait 10 s"), [(1, NEAR), (25, CLEAR)])
    assert states(kernel, "go") == [
        (1, "running"), (11, "ended"), (11, "running"), (21, "ended"), (21, "running"), (31, "ended"),
    ]  # fmt: skip


def test_only_while_is_stopped_when_its_condition_fails_and_comes_back() -> None:
    text = scene("runs only while near is occupied", "when stopped", '    note "stopped"', "wait 10 s")
    kernel = played(text, [(1, NEAR), (3, CLEAR), (5, NEAR), (6, CLEAR)])
    assert notes(kernel) == [(3, "stopped"), (6, "stopped")]


@pytest.mark.parametrize(
    ("way", "begins"),
    [("", [0]), ("carry on", [0]), ("start over", [0, 4]), ("once more after", [0, 10])],
)
def test_started_again(way: str, begins: list[float]) -> None:
    head = [f"if started again: {way}"] if way else []
    kernel = played(scene(*head, 'note "begins"', "wait 10 s"), [GO, (4, StartScene("go"))])
    assert [at for at, _ in notes(kernel)] == begins


def test_a_scene_restarted_at_the_instant_it_ends() -> None:
    kernel = played(scene('note "begins"', "wait 10 s"), [GO, (10, StartScene("go"))])
    # the input comes first: it finds the scene still running and carries on
    assert [at for at, _ in notes(kernel)] == [0]
    kernel = played(scene('note "begins"', "wait 10 s"), [GO, (10.000001, StartScene("go"))])
    assert [at for at, _ in notes(kernel)] == [0, 10.000001]


# --- conditions, heads and the rest --------------------------------------------------------------------------------


def test_for_counts_time_from_before_the_wait_began() -> None:
    text = scene("wait 10 s", "wait until near is occupied for 4 s", 'note "held"')
    assert notes(played(text, [GO, (1, NEAR)])) == [(10, "held")]
    assert notes(played(text, [GO, (8, NEAR)])) == [(12, "held")]
    assert notes(played(text, [GO, (8, NEAR), (11, CLEAR), (12, NEAR)])) == [(16, "held")]


def test_at_most_and_otherwise() -> None:
    text = scene("wait until near is occupied, at most 5 s", "otherwise", '    note "late"', 'note "on"')
    assert notes(played(text, [GO])) == [(5, "late"), (5, "on")]
    assert notes(played(text, [GO, (3, NEAR)])) == [(3, "on")]
    assert notes(played(text, [GO, (5, NEAR)])) == [(5, "on")]  # the condition is looked at before the line is due


def test_a_wait_for_a_move_that_was_under_way_when_it_began() -> None:
    kernel = played(
        scene("start mover", "wait 3 s", "wait until boom is lowered", 'note "down"')
        + scene("move boom to lowered over 7 s", name="mover"),
        [GO],
    )
    assert notes(kernel) == [(7, "down")]


def test_past_counts_from_the_position_written_first() -> None:
    kernel = played(
        scene("start mover", "wait until boom is past 50 %", 'note "past"')
        + scene("move boom to lowered over 8 s", name="mover"),
        [GO],
    )
    ((at, _),) = notes(kernel)
    assert at == pytest.approx(4, abs=2e-6)
    assert at > 4


def test_a_button_is_deaf_for_its_time_and_its_lamp_shows_it() -> None:
    text = scene("starts on button red-button, not again for 2 min", 'note "go"', "wait 1 s")
    presses = [(at, Pressed("red-button", down)) for at in (10, 60, 129, 130) for down in (True, False)]
    kernel = played(text, presses)
    assert notes(kernel) == [(10, "go"), (130, "go")]
    assert told(kernel, "ready") == [(0, Steady(1.0)), (10, Steady(0.0)), (130, Steady(0.0)), (250, Steady(1.0))]


def test_times_of_day_and_intervals() -> None:
    text = scene("starts at 12:10 layout time", 'note "ten past"') + scene(
        "starts every 20 min", 'note "every"', name="often"
    )
    assert notes(played(text, until=3601)) == [(600, "ten past"), (1200, "every"), (2400, "every"), (3600, "every")]
    late = Kernel(program(text), starts_s=12 * 3600 + 601)
    jump(late, Nothing(), 86_400 * S)
    assert (86_399, "ten past") in notes(late)


def test_pulses_of_one_feed_wait_for_its_recharge() -> None:
    kernel = played(scene("pulse coil-a, coil-b for 100 ms", 'note "done"'), [GO])
    assert told(kernel, "coil-a") == [(0, Steady(1.0)), (0.1, Steady(0.0))]
    assert told(kernel, "coil-b") == [(2.1, Steady(1.0)), (2.2, Steady(0.0))]
    assert notes(kernel) == [(2.2, "done")]


def test_a_pulse_ends_when_its_block_is_dropped() -> None:
    kernel = played(scene("as long as near is clear", "    pulse coil-a for 100 ms", "wait 1 s"), [GO, (0.03, NEAR)])
    assert told(kernel, "coil-a")[-1] == (0.03, Steady(0.0))


def test_the_longest_time_on() -> None:
    kernel = played(scene("turn on brief", "wait 2 s", "set brief to 50 %", "wait 60 s"), [GO])
    assert told(kernel, "brief")[-1] == (5, Steady(0.0))


def test_for_each_overlaps_and_ends_with_the_last() -> None:
    kernel = played(scene("for each lamp in ada, bea, cid, 2 s apart", "    turn on lamp for 5 s", 'note "over"'), [GO])
    assert [told(kernel, lamp)[0][0] for lamp in ("ada", "bea", "cid")] == [0, 2, 4]
    assert notes(kernel) == [(9, "over")]


def test_counters_flags_and_run() -> None:
    text = (
        "counter trips\nflag done\n"
        + scene("repeat until trips is at least 3", "    run trip", "remember done", "if done", '    note "three"')
        + scene("wait 2 s", "count trips up", name="trip")
    )
    assert notes(played(text, [GO])) == [(6, "three")]


def test_stop_every_other_scene_spares_the_guarded() -> None:
    text = (
        scene("wait 5 s", "stop every other scene")
        + scene("turn on ada", "wait 60 s", name="plain")
        + scene("move gate to lowered over 50 s", "wait 60 s", name="watched")
    )
    kernel = played(text, [GO, (0, StartScene("plain")), (0, StartScene("watched"))])
    assert states(kernel, "plain")[-1] == (5, "stopped")
    assert states(kernel, "watched") == [(0, "running"), (110, "ended")]


def test_expectations_see_settled_instants() -> None:
    made = program(scene("starts each time near is occupied", "turn on ada", "wait 0 s", "turn off ada"))
    kernel = Kernel(made)
    from engine.conditions import Atom, Becomes, Sort, Test

    on = kernel.watch(Atom(Sort.OUTPUT, "ada", Test.ON))
    became = kernel.watch(Becomes(Atom(Sort.DETECTOR, "near", Test.OCCUPIED)))
    kernel.advance(0)
    kernel.advance(S, [NEAR])
    kernel.advance(2 * S, [CLEAR])
    assert on.changes == [(0, False)]
    assert became.changes == [(0, False), (S, True), (S + 1, False)]
