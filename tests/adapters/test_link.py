"""A link without its port, in virtual time: how it begins, what it tells, what it makes of what it hears; faults."""

from __future__ import annotations

import pytest
from bench_station import MS, Bench, S, Station, layout
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.dialects import DetectorIs
from adapters.link import LinkMachine
from adapters.link_states import State
from engine.events import Detected, LinkState, OutputMoved, Pressed
from engine.layout import Blink, Layout
from engine.waves import Flashing, Ramp, Steady

UNKNOWN = [Detected(name, "unknown") for name in ("lane", "beam", "reed")]
RESTING = {"ada": 0.0, "red": 1.0, "boom": 90.0, "gate": 0.0, "points": 0.0, "turnout": 90.0}


def bench(stage: Layout | None = None, opened: bool = True, **link: object) -> Bench:
    """A link whose port opens at 0, with a wave wanted for every output."""
    stage = stage or layout(**link)
    found = Bench(LinkMachine(stage, stage.links["main"]))
    for name, value in RESTING.items():
        found.machine.want(name, Steady(value), 0)
    if opened:
        found.open("<iBench station>")
    return found


def talking(report: str = "", **link: object) -> Bench:
    """One that talks. `report`: what the station says when it is asked how it is."""
    found = bench(**link)
    if report:
        found.station.answers["s"] = lambda words: report
    found.run(10 * S)
    assert found.machine.state is State.TALKING
    found.taken()
    found.station.heard.clear()
    return found


# --- beginning -----------------------------------------------------------------------------------------------------


def test_it_begins_with_everything_unknown() -> None:
    found = bench(opened=False)
    assert found.machine.state is State.UNPLUGGED
    assert found.machine.take() == [LinkState("main", "gone"), *UNKNOWN]
    assert found.machine.next_due() is None


def test_nothing_is_sent_before_the_banner_or_its_time() -> None:
    found = bench(opened=False)
    found.open()
    assert found.machine.state is State.WAKING
    found.run(found.machine.times.banner_us - 1)
    assert found.station.heard == []
    found.run(1)
    assert found.station.heard[0] == (found.machine.times.banner_us, "s")
    quick = bench(opened=False, resets=False)
    quick.open()
    quick.run(S)
    assert quick.station.heard[0] == (quick.machine.times.quiet_us, "s")


def test_it_asks_defines_waits_for_the_boards_and_then_puts_everything_right_in_a_safe_order() -> None:
    found = bench()
    found.run(10 * S)
    texts = [text for _, text in found.station.heard]
    assert texts[:8] == ["s", "S 30 30 1", "S 31 31 1", "S 32 32 1", "S 40 40 1", "Z 5 5 0", "Z 6 6 0", "Q"] or (
        texts[0] == "s" and texts[7] == "Q"
    )
    answered_us = MS
    at = {text: at_us for at_us, text in reversed(found.station.heard)}
    assert at["Q"] >= answered_us + 500 * MS, "the boards have had their time"
    told = found.station.told()
    assert set(told[:2]) == {"Z 6 1", "z 21 544"}, "the guarded ones go first"
    assert told.index("z 21 544") < told.index("z 20 1472"), "the guarded servo goes first"
    assert at["z 20 1472"] - at["z 21 544"] >= 300 * MS, "and the other one when it has arrived"
    assert sorted(told) == ["Z 5 0", "Z 6 1", "a 16 0 0", "a 16 1 0", "z 20 1472", "z 21 544"], "nothing twice"


def test_detectors_are_known_when_the_station_has_said_so_and_not_before() -> None:
    found = bench()
    found.run(400 * MS)
    found.says("<Q 30>")
    assert found.machine.state is State.WAITING
    assert found.taken() == [LinkState("main", "gone"), *UNKNOWN]
    found.station.detectors[30] = True
    found.run(10 * S)
    assert found.taken() == [
        LinkState("main", "talking"),
        Detected("lane", "occupied"),
        Detected("beam", "clear"),
        Detected("reed", "clear"),
        Pressed("bell-push", False),
    ]


def test_definitions_go_one_at_a_time_and_a_missing_or_refused_one_holds_nothing_up() -> None:
    found = bench()
    silent, found.station.answers["S"] = found.station.answers["S"], lambda words: ""
    found.run(1600 * MS)
    sent = [at_us for at_us, text in found.station.heard if text.startswith("S")]
    assert sent[1] - sent[0] >= S
    assert found.machine.health().unanswered == 1
    found.station.answers["S"] = lambda words: "<X>" if words[0] == "32" else silent(words)
    found.run(10 * S)
    assert found.machine.state is State.TALKING
    assert found.machine.refused == 1
    assert Detected("lane", "clear") not in found.inputs, "its definition was never taken"
    assert Detected("reed", "clear") not in found.inputs
    assert Detected("beam", "clear") not in found.inputs or 31 in found.station.detectors
    assert "have said nothing" in found.machine.health().what or "refused" in found.machine.health().what


def test_pins_that_the_station_knows_are_not_defined_again() -> None:
    found = bench()
    found.station.pins = {6: 1}
    found.run(10 * S)
    texts = [text for _, text in found.station.heard]
    assert "Z 5 5 0" in texts
    assert "Z 6 6 0" not in texts, "that would switch the red light off"


def test_a_far_end_that_cannot_be_asked_is_taken_as_it_is() -> None:
    found = bench(words=(("status", "none"),))
    found.run(10 * S)
    assert found.machine.state is State.TALKING
    assert "s" not in [text for _, text in found.station.heard]
    assert len(found.station.told()) == 6


def test_boards_that_take_long_are_waited_for_once() -> None:
    found = bench(start_up_us=3500 * MS)
    found.run(4 * S)
    assert found.machine.state is State.TALKING, "each answer in between says that the power is on"
    assert min(at for at, text in found.station.heard if text[0] in "azQ") >= 3500 * MS


# --- talking -------------------------------------------------------------------------------------------------------


def test_a_change_is_sent_at_its_instant() -> None:
    found = talking()
    start = found.now_us + 100 * MS
    found.machine.want("ada", Flashing(start, Blink(S, 1, 0, 2)), start)
    found.run(2 * S)
    assert [(at - start, text) for at, text in found.station.heard if text[0] == "Z"] == [
        (0, "Z 5 1"),
        (500 * MS, "Z 5 0"),
        (S, "Z 5 1"),
        (1500 * MS, "Z 5 0"),
    ]


def test_what_is_late_is_told_with_its_due_instant_and_as_of_now() -> None:
    found = talking()
    start = found.now_us
    found.machine.want("ada", Ramp(start, start + 10 * S, 0.0, 1.0), start)
    found.run(S)
    found.machine.want("red", Steady(0.0), found.now_us)
    due_us = found.now_us
    left = [one for one in found.machine.leaving(due_us + 3 * MS) if one.due_us is not None]
    assert left == [(b"<Z 6 0>", due_us)]
    found = talking()
    found.machine.want("red", Flashing(found.now_us, Blink(S, 1, 1, 2)), found.now_us)
    left = [one for one in found.machine.leaving(found.now_us + 600 * MS) if one.due_us is not None]
    assert left == [], "in the meantime it went off and came on again"


def test_commands_without_a_reply_are_fenced_and_the_buffer_is_never_overrun() -> None:
    found = talking(commands_s=1000.0)
    found.station.answers["s"] = lambda words: ""  # it hears, and does not answer
    start = found.now_us
    found.machine.want("boom", Ramp(start, start + 2 * S, 90.0, 0.0), start)
    found.run(500 * MS)
    sizes = [len(text) + 2 for _, text in found.station.heard if text != "s"]
    assert sum(sizes) <= 64
    assert "s" in [text for _, text in found.station.heard]
    found.says("<p1>")
    more = found.station.heard[:]
    found.run(100 * MS)
    assert len(found.station.heard) > len(more), "an answer makes room"


def test_one_command_that_is_answered_is_on_its_way_at_a_time() -> None:
    found = talking()
    does = found.station.answers["Z"]
    found.station.answers["Z"] = lambda words: does(words)[:0]
    found.station.answers["s"] = lambda words: "<p1>"
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.machine.want("red", Steady(0.0), found.now_us)
    found.run(900 * MS)
    assert found.station.told() == ["Z 6 0"]
    found.says("<Y 9 1><H 6 0><q 31><Y 6 1>")
    found.run(50 * MS)
    assert found.station.told() == ["Z 6 0"], "those were not its reply"
    found.run(S)
    assert found.station.told() == ["Z 6 0", "Z 5 1"], "a reply that never comes holds nothing up for longer"
    assert found.machine.health().unanswered == 1
    found.says("<Y 5 1>")
    found.says("<Y 6 0>")
    found.says("<Y 5 1>")
    found.run(5 * S)
    assert found.station.told() == ["Z 6 0", "Z 5 1"], "late and doubled replies double nothing"
    assert not [one for one in found.taken() if isinstance(one, OutputMoved)]


def test_an_early_report_may_come_between_a_command_and_its_reply() -> None:
    found = talking()
    found.station.answers["Z"] = lambda words: f"<Q 30><* hello *><Y {words[0]} {words[1]}>"
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.machine.want("red", Steady(0.0), found.now_us)
    found.run(100 * MS)
    assert found.station.told() == ["Z 6 0", "Z 5 1"]
    assert found.taken() == [Detected("lane", "occupied")]


def test_refusals_are_counted_said_and_hold_nothing_up() -> None:
    found = talking()
    for letter in "SQZza":  # all but how it is: one that refuses that for long has heard nothing else either
        found.station.answers[letter] = lambda words: "<X>"
    for step in range(20):
        found.machine.want("ada", Steady(float(step % 2 == 0)), found.now_us)
        found.run(200 * MS)
    assert found.station.told("Z") == [f"Z 5 {int(step % 2 == 0)}" for step in range(20)]
    assert found.machine.state is State.TALKING
    health = found.machine.health()
    assert health.refused > 20
    assert "has refused" in health.what
    assert "dialect" in health.instead


def test_a_station_that_refuses_everything_from_the_start_is_said_to() -> None:
    found = bench()
    for letter in "sSQZza":
        found.station.answers[letter] = lambda words: "<X>"
    found.run(20 * S)
    assert found.machine.state is State.WAITING
    assert found.machine.health().what == "it answers, but refuses what it is asked"
    assert found.station.told() == []


def test_something_can_be_said_out_of_turn() -> None:
    found = talking()
    assert found.machine.order("stop")
    found.run(1)
    assert [text for _, text in found.station.heard] == ["!"]
    early = talking(dialect="early", words=(("level", "z {pin} {value}"), ("servo", "z {pin} {value}")))
    assert not early.machine.order("stop")


# --- losing and coming back ----------------------------------------------------------------------------------------


def test_a_lost_link_knows_nothing_and_tries_again_ever_less_often() -> None:
    found = talking()
    found.machine.lost(found.now_us, "`loop://` is gone", "plug it in again")
    assert found.machine.take() == [LinkState("main", "gone"), *UNKNOWN]
    assert found.machine.state is State.GONE
    assert found.machine.health().what == "`loop://` is gone"
    assert found.machine.due(found.now_us + S) == []
    waits = []
    for _ in range(8):
        waits.append(found.machine.retry_us - found.now_us)
        found.now_us = found.machine.retry_us
        found.machine.lost(found.now_us, "there is nothing at `loop://`")
    assert waits == [500 * MS, S, 2 * S, 4 * S, 8 * S, 8 * S, 8 * S, 8 * S]
    assert found.machine.state is State.GONE
    found.open()
    found.machine.lost(found.now_us, "gone again")
    assert found.machine.retry_us - found.now_us == 500 * MS, "it was there"


def test_after_a_reconnection_everything_is_put_right_as_it_is_by_then() -> None:
    found = talking()
    found.machine.lost(found.now_us, "gone")
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.machine.want("ada", Steady(0.0), found.now_us + S)
    found.machine.want("gate", Steady(90.0), found.now_us + S)
    found.run(30 * S)
    assert found.station.heard == []
    found.station.restart()
    found.open("<iBench station>")
    found.run(10 * S)
    assert set(found.station.told()[:2]) == {"Z 6 1", "z 21 1472"}, "the guarded ones"
    assert sorted(found.station.told()) == ["Z 5 0", "Z 6 1", "a 16 0 0", "a 16 1 0", "z 20 1472", "z 21 1472"]


def test_a_frame_cut_by_the_plug_is_forgotten() -> None:
    found = talking()
    found.says("<Q 3")
    found.machine.lost(found.now_us, "gone")
    found.taken()
    found.open()
    found.says("0><iBench station>")
    found.run(10 * S)
    assert Detected("lane", "occupied") not in found.taken()
    assert found.machine.state is State.TALKING


@pytest.mark.parametrize(
    "order", ["<p1><iBench station>", "<iBench station><p1>", "<p1>", "<p1><p1><iBench station><iBench station>"]
)
def test_what_a_station_says_of_itself_when_asked_is_no_restart(order: str) -> None:
    found = talking(order)
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(20 * S)
    assert found.machine.state is State.TALKING
    assert found.taken() == []
    assert found.station.told() == ["Z 5 1"]


@pytest.mark.parametrize("after_us", [210 * MS, 350 * MS, 700 * MS, 970 * MS])
def test_a_restart_in_mid_show_is_noticed_and_everything_put_right_once(after_us: int) -> None:
    found = talking()
    found.run(after_us)
    found.station.heard.clear()
    found.station.restart()
    found.says("<iBench station>")
    assert found.machine.state is State.WAITING
    found.run(10 * S)
    found.inputs = [one for one in found.taken() if isinstance(one, LinkState)]
    assert found.inputs == [LinkState("main", "gone"), LinkState("main", "talking")]
    assert len(found.station.told()) == 6
    assert found.station.pins == {5: 0, 6: 1}


def test_a_restart_that_swallows_the_question_is_noticed_too() -> None:
    found = talking()
    answer, found.station.answers["s"] = found.station.answers["s"], lambda words: ""
    while not [text for _, text in found.station.heard if text == "s"]:
        found.run(10 * MS)
    found.station.restart()
    found.says("<iBench station>")  # the question is lost, and this is no answer
    found.station.answers["s"] = answer
    found.run(10 * S)
    assert found.station.pins == {5: 0, 6: 1}
    assert len(found.station.told()) == 6


@pytest.mark.parametrize("report", ["<p1><iBench station>", "<p1>"])
def test_a_restart_that_answers_the_question_all_the_same_is_noticed(report: str) -> None:
    """It came up just before the question, and says what it is just before the answer."""
    found = talking(report)
    found.station.answers["s"] = lambda words: "<iBench station>" + report
    found.station.restart()
    while not [text for _, text in found.station.heard if text == "s"]:
        found.run(10 * MS)
    found.station.answers["s"] = lambda words: report
    found.run(10 * S)
    assert found.station.pins == {5: 0, 6: 1}
    assert len(found.station.told()) == 6


@pytest.mark.parametrize("times", [1, 2])
def test_a_station_that_says_what_it_is_first_and_twice_starts_but_once(times: int) -> None:
    found = bench(opened=False)
    found.station.answers["s"] = lambda words: "<iBench station><p1>" * times
    found.open("<iBench station>" * times)
    found.run(20 * S)
    assert found.machine.state is State.TALKING
    assert len([one for one in found.taken() if isinstance(one, LinkState)]) == 2


def test_silence_makes_detectors_unknown_and_is_mended_when_it_ends() -> None:
    found = talking()
    found.plugged = False
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(6 * S)
    assert found.machine.state is State.SILENT
    assert found.taken() == [LinkState("main", "gone"), *UNKNOWN]
    assert found.machine.health().what == "it has stopped answering"
    found.plugged = True
    found.run(10 * S)
    assert found.machine.state is State.TALKING
    assert LinkState("main", "talking") in found.taken()
    assert len(found.station.told()) == 6, "what was lost meanwhile is put right"
    assert found.station.pins[5] == 1


def test_nobody_answers_at_all() -> None:
    found = bench(opened=False)
    found.plugged = False
    found.open()
    found.run(20 * S)
    assert found.machine.state is State.SILENT
    assert "nobody answers" in found.machine.health().what
    found.says(b"\xff\x00\x81")
    assert "no words" in found.machine.health().what
    assert "115200" in found.machine.health().instead


def test_a_short_stall_is_no_silence() -> None:
    found = talking()
    found.plugged = False
    found.run(1500 * MS)
    found.plugged = True
    found.run(3 * S)
    assert found.machine.state is State.TALKING
    assert found.taken() == []


@pytest.mark.parametrize("state", ["<p0>", "<p2>", "<p0 MAIN>"])
def test_without_track_power_nothing_is_known_and_nothing_told(state: str) -> None:
    found = talking()
    found.station.power = int(state[2])
    found.says(state)
    assert found.machine.state is State.WAITING
    assert found.taken() == [LinkState("main", "gone"), *UNKNOWN]
    found.machine.want("points", Steady(1.0), found.now_us)
    found.run(5 * S)
    found.says("<Q 30>")
    assert found.station.told() == []
    assert found.taken() == []
    assert "track power" in found.machine.health().what
    assert "1" not in [text for _, text in found.station.heard], "power is never switched on unasked"
    found.says(found.station.set_power(1))
    on_us = found.now_us
    found.run(10 * S)
    assert min(at for at, text in found.station.heard if text[0] in "azZ") >= on_us + 500 * MS
    assert sorted(found.station.told()) == ["Z 5 0", "Z 6 1", "a 16 0 1", "a 16 1 0", "z 20 1472", "z 21 544"]
    assert Detected("lane", "clear") in found.taken()
    definitions = [text for _, text in found.station.heard if text[0] == "S" or text.startswith("Z 5 5")]
    assert definitions == [], "the station has kept them"


def test_a_booster_that_trips_again_and_again_is_put_right_once_it_stays() -> None:
    found = talking()
    for _ in range(3):
        found.says(found.station.set_power(2))
        found.run(300 * MS)
        found.says(found.station.set_power(1))
        found.run(300 * MS)
    assert found.station.told() == []
    found.run(10 * S)
    assert len(found.station.told()) == 6


def test_after_a_sleep_of_a_minute_what_was_said_is_read_first() -> None:
    found = talking()
    start = found.now_us
    found.machine.want("ada", Flashing(start, Blink(S, 1, 0, 2)), start)
    found.run(S)
    found.station.heard.clear()
    found.answers.clear()
    found.now_us += 60 * S  # stopped, and going on
    found._write()
    assert found.machine.state is State.TALKING
    found.run(900 * MS)
    assert len(found.station.told("Z")) <= 3, "no flash is made up for"
    assert "Q" in [text for _, text in found.station.heard]


@pytest.mark.parametrize("letter", ["Z", "S"])
def test_a_sleep_takes_no_time_from_an_answer(letter: str) -> None:
    found = bench() if letter == "S" else talking()
    found.station.answers[letter] = lambda words: ""
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(500 * MS)
    found.answers.clear()
    found.now_us += 60 * S
    found._write()
    found.run(10 * MS)
    assert found.machine.health().unanswered == 0


def test_what_was_not_answered_when_the_link_was_lost_is_not_missed_later() -> None:
    found = talking()
    found.station.answers["Z"] = lambda words: ""
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(MS)
    found.machine.lost(found.now_us, "gone")
    found.station.restart()
    found.open("<iBench station>")
    found.run(800 * MS)
    assert found.machine.health().unanswered == 0


# --- inputs --------------------------------------------------------------------------------------------------------


def test_a_contact_is_shown_for_a_while_and_counted() -> None:
    found = talking()
    for _ in range(3):
        found.says("<Q 32><q 32>")
        assert found.taken() == [Detected("reed", "occupied")]
        found.run(59 * MS)
        assert found.taken() == []
        found.run(2 * MS)
        assert found.taken() == [Detected("reed", "clear")]
    assert found.machine.health().contacts == {"reed": 3}


def test_a_contact_that_nobody_has_taken_is_not_over() -> None:
    found = talking()
    inputs = found.machine.inputs
    inputs.report(DetectorIs(40, True), found.now_us)
    inputs.report(DetectorIs(40, False), found.now_us)
    inputs.due(found.now_us + S)
    assert found.machine.take() == [Pressed("bell-push", True)]
    inputs.due(found.now_us + S)
    assert found.machine.take() == [Pressed("bell-push", False)]


def test_whoever_is_late_sees_a_contact_for_as_long() -> None:
    found = talking()
    inputs, start = found.machine.inputs, found.now_us
    inputs.report(DetectorIs(32, True), start)
    inputs.report(DetectorIs(32, False), start + MS)
    assert found.machine.take(start + S) == [Detected("reed", "occupied")]
    inputs.due(start + S + 59 * MS)
    assert found.machine.take() == []
    inputs.due(start + S + 60 * MS)
    assert found.machine.take() == [Detected("reed", "clear")]


def test_two_contacts_in_one_are_one_that_is_shown_longer() -> None:
    found = talking()
    found.says("<Q 32><q 32>")
    found.run(40 * MS)
    found.says("<Q 32><q 32>")
    found.run(40 * MS)
    assert found.taken() == [Detected("reed", "occupied"), Detected("reed", "occupied")]
    found.run(40 * MS)
    assert found.taken() == [Detected("reed", "clear")]
    assert found.machine.health().contacts == {"reed": 2}


def test_a_contact_that_is_made_again_does_not_end_with_the_one_before() -> None:
    found = talking()
    found.says("<Q 32><q 32><Q 32>")
    found.run(200 * MS)
    assert found.taken() == [Detected("reed", "occupied")]
    found.says("<q 32>")
    found.run(MS)
    assert found.taken() == [Detected("reed", "clear")]


def test_a_contact_that_was_under_way_when_the_link_was_lost_does_not_end_later() -> None:
    found = talking()
    found.says("<Q 32><q 32>")
    found.machine.lost(found.now_us, "gone")
    found.run(200 * MS)
    assert found.taken()[-1] == Detected("reed", "unknown")


def test_a_train_that_stands_on_a_treadle_when_it_is_first_asked_is_no_contact() -> None:
    found = bench()
    found.station.detectors[32] = True
    found.run(4 * S)
    assert Detected("reed", "occupied") in found.taken()
    assert found.machine.health().contacts == {"reed": 0}
    found.says("<q 32><Q 32>")
    assert found.machine.health().contacts == {"reed": 1}


def test_what_is_new_comes_last() -> None:
    found = talking()
    for number, active in ((30, True), (31, True), (30, False)):
        found.machine.inputs.report(DetectorIs(number, active), found.now_us)
    assert found.machine.take() == [Detected("beam", "occupied"), Detected("lane", "clear")]


def test_a_flood_is_taken_in_and_the_last_state_wins() -> None:
    found = talking()
    inputs = found.machine.inputs
    for step in range(10_000):
        inputs.report(DetectorIs(30 + step % 2, step % 3 == 0), found.now_us)
    inputs.report(DetectorIs(30, True), found.now_us)
    inputs.report(DetectorIs(31, False), found.now_us)
    assert sorted(found.machine.take()) == [Detected("beam", "clear"), Detected("lane", "occupied")]


def test_reports_of_nobodys_number_do_no_harm() -> None:
    found = talking()
    found.says("<Q 999><q -4><Q x><Q><H 1 2 3 4 5><Y 5><p7><p><O><O><?><>" + "<" * 50)
    assert found.taken() == []
    assert found.machine.state is State.TALKING


WORDS = [b"<p1>", b"<p0>", b"<iX>", b"<O>", b"<X>", b"<Q 30>", b"<q 30>", b"<H 61 1>", b"<Q 32>", b"<", b">", b"< 30>"]


@given(st.lists(st.binary(max_size=40) | st.sampled_from(WORDS), max_size=60))
@settings(max_examples=60, deadline=None)
def test_whatever_comes_it_goes_on(pieces: list[bytes]) -> None:
    found = bench()
    for piece in pieces:
        found.says(piece)
        found.run(70 * MS)
    found.says(b"> ")
    found.run(30 * S)
    assert found.machine.state is State.TALKING
    assert found.station.pins == {5: 0, 6: 1}
    assert found.station.levels == {20: 1472, 21: 544}


def test_a_station_that_has_forgotten_its_detectors_has_started_anew() -> None:
    """It said so while nobody could hear it; the detectors would have been taken for clear for ever."""
    found = talking()
    found.station.restart()
    found.run(16 * S)
    states = [one for one in found.taken() if isinstance(one, LinkState)]
    assert states == [LinkState("main", "gone"), LinkState("main", "talking")]
    assert found.station.detectors == {30: False, 31: False, 32: False, 40: False}
    assert found.station.pins == {5: 0, 6: 1}


def test_one_lost_answer_is_no_restart_and_what_never_answers_is_not_missed() -> None:
    found = talking()
    answer = found.station.answers["Q"]
    for _ in range(4):
        found.station.answers["Q"] = lambda words: ""
        found.run(5 * S)
        found.station.answers["Q"] = answer
        found.run(5 * S)
    assert found.taken() == []
    mute = bench()
    mute.station.answers["Q"] = lambda words: "<X>"
    mute.run(60 * S)
    assert mute.machine.state is State.TALKING
    assert len([one for one in mute.taken() if isinstance(one, LinkState)]) == 2


# --- other hands ---------------------------------------------------------------------------------------------------


def test_another_hand_is_an_input_and_what_is_then_wanted_is_told() -> None:
    found = talking()
    found.run(5 * S)
    found.station.heard.clear()
    found.station.pins[5] = 1
    found.says("<Y 5 1>")
    assert found.taken() == [OutputMoved("ada", 1.0)]
    found.run(3 * S)
    assert found.station.told() == [], "it is left so until the engine says what is to be"
    found.machine.want("ada", Steady(0.0), found.now_us)
    found.run(S)
    assert found.station.told() == ["Z 5 0"]
    assert found.machine.health().moved == 1


def test_another_hand_ends_what_was_going_on() -> None:
    found = talking()
    start = found.now_us
    found.machine.want("ada", Flashing(start, Blink(20 * S, 1, 0, 2)), start)
    found.run(5 * S)
    found.says("<Y 5 0>")
    found.station.pins[5] = 0
    assert found.taken() == [OutputMoved("ada", 0.0)]
    found.run(60 * S)
    assert found.station.told() == ["Z 5 1"]


def test_another_hand_seen_in_the_report_of_how_it_is() -> None:
    found = talking()
    found.run(5 * S)
    found.station.pins[5] = 1
    found.run(1500 * MS)
    assert found.taken() == [OutputMoved("ada", 1.0)]
    found.run(5 * S)
    assert found.taken() == []


def test_an_old_report_is_no_other_hand() -> None:
    found = talking()
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(10 * MS)
    found.says("<Y 5 0>")  # said before it was told, and late
    found.says("<Y 5 1>")
    found.run(5 * S)
    assert found.taken() == []
    assert found.station.told() == ["Z 5 1"]


def test_a_contradiction_of_what_was_told_before_is_no_other_hand() -> None:
    found = talking()
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(10 * MS)
    found.says("<Y 5 0>")
    found.station.answers["Z"] = lambda words: ""
    found.station.answers["s"] = lambda words: "<p1>"
    found.machine.want("ada", Steady(0.0), found.now_us + MS)
    found.run(10 * S)
    assert found.taken() == []


def test_a_contradiction_that_stands_is_another_hand() -> None:
    found = talking()
    found.machine.want("ada", Steady(1.0), found.now_us)
    found.run(10 * MS)
    found.station.pins[5] = 0
    found.says("<Y 5 0>")
    found.run(1900 * MS)
    assert found.taken() == []
    found.run(200 * MS)
    assert found.taken() == [OutputMoved("ada", 0.0)]


def test_what_the_station_keeps_of_an_accessory_is_not_what_we_told_it() -> None:
    found = talking()
    found.station.answers["s"] = lambda words: "<p1><iBench station><H 61 0>"
    found.machine.want("points", Steady(1.0), found.now_us)
    found.run(20 * S)
    assert found.taken() == []
    assert found.station.told() == ["a 16 0 1"]
    found.says("<H 61 1>")
    found.says("<H 61 0>")
    assert found.taken() == [OutputMoved("points", 0.0)]


def test_a_turnout_by_another_hand_is_a_position() -> None:
    found = talking()
    found.run(5 * S)
    found.says("<H 62 0><H 62 1>")
    assert found.taken() == [OutputMoved("turnout", 0.0)]


# --- nothing grows, whoever is slow --------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", ["half", "double", "late", "noise"])
def test_replies_that_come_in_a_bad_way(fault: str) -> None:
    found = talking()
    if fault == "half":
        found.passes = lambda data: [data[: len(data) // 2], data[len(data) // 2 :]]
    elif fault == "double":
        found.passes = lambda data: [data, data] if data else []
    elif fault == "noise":
        found.passes = lambda data: [b"\xfe\x01 noise >", b"<\x80>", data, b"<Q 3"] if data else []
    else:
        found.delay_us = 1200 * MS
    for step in range(10):
        found.machine.want("ada", Steady(float(step % 2 == 0)), found.now_us)
        found.machine.want("gate", Steady(90.0 if step % 2 else 0.0), found.now_us)
        found.run(3 * S)
    assert found.machine.state is State.TALKING
    assert found.station.told("Z") == [f"Z 5 {int(step % 2 == 0)}" for step in range(10)]
    assert found.station.told("z") == ["z 21 1472" if step % 2 else "z 21 544" for step in range(10)][1:]
    assert not [one for one in found.taken() if not isinstance(one, Detected)]


def test_only_ours_are_taken() -> None:
    found = talking()
    assert not found.machine.want("daylight", Steady(1.0), found.now_us)
    assert found.machine.want("ada", Steady(1.0), found.now_us)
    assert not found.machine.idle
    found.run(S)
    assert found.machine.idle


def test_a_station_is_its_own_witness() -> None:
    """The bench's station does what it is told, so that the tests above judge something."""
    station = Station()
    assert station.write(b"<Z 5 1>") == b"<X>"
    assert station.write(b"<Z 5 5 0><Z 5 ") == b"<O>"
    assert station.write(b"1>") == b"<Y 5 1>"
