"""Another program in place of the one that runs: what goes on undisturbed, what waits, what begins anew.

Times are worked out by hand from the scenes' own texts. What a swap must not change is played without it, too.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from acting import S, Script, notes, program, states, told, troubles, value
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine import trace as t
from engine.drive import jump
from engine.events import (
    AllStop,
    ByHand,
    Detected,
    GoOn,
    InUse,
    KeepOld,
    LetGo,
    Pressed,
    SetClock,
    StartScene,
    StopScene,
    Swap,
)
from engine.kernel import Kernel
from engine.layout import NOWHERE, Place
from engine.program import Program
from engine.rules import Rules, sentences
from engine.swapping import alike, difference
from wayside.project import load
from wayside.rehearsal import rehearsing

GO, NEAR, CLEAR = StartScene("go"), Detected("near", "occupied"), Detected("near", "clear")
QUAY = Path(__file__).parents[2] / "examples" / "pellbrook-quay"

EVERYTHING = """
flag seen
counter trains
group row: ada, bea, cid

scene go
    starts each time near becomes occupied
    note "go"
    turn on ada for 3 s
    together
        move boom to lowered over 4 s
        flash ada and bea in turn at 45 a minute each for 5 s
        fade cid to 80 % over 6 s
    first of
        wait 2 s to 5 s
        wait until near is clear for 1 s
    as long as far is clear
        repeat 3 times
            for each one in row in random order, 200 ms to 900 ms apart
                turn on one
                wait 300 ms to 800 ms
                turn off one
            count trains up
    otherwise
        note "far"
    by chance
        50 %
            pulse coil-a for 100 ms
        otherwise
            note "else"
    wait until near is clear, at most 5 s
    otherwise
        note "late"
    remember seen

scene watch
    runs whenever near is occupied
    takes dot from idle
    fade dot to 100 % over 3 s
    wait 4 s

scene idle
    starts every 7 s
    when stopped
        turn off dot
    fade dot to 50 % over 5 s
    set dot to 20 % for 2 s
    forget seen

scene dusk
    runs only while far is occupied
    flicker eve like bonfire
    wait 100 s

rule calm
    never boom is lowered while far is occupied for longer than 2 s
    at most 3 times near is occupied within 20 s
"""

HANDS = (
    (0.0, NEAR), (2.0, Detected("far", "occupied")), (3.0, CLEAR), (5.0, Detected("far", "clear")), (8.0, NEAR),
    (11.0, Detected("far", "occupied")), (12.0, ByHand("dot", 0.3)), (14.0, LetGo("dot")), (16.0, CLEAR),
    (17.0, Detected("far", "clear")), (18.5, Detected("far", "occupied")), (18.6, NEAR), (21.0, StopScene("watch")),
    (29.0, CLEAR), (30.0, Detected("far", "clear")),
)  # fmt: skip


def performed(
    source: str | Program, events: Any = (), until: float = 60, rules: bool = False, seed: int = 0
) -> tuple[Kernel, Rules | None]:
    made = program(source) if isinstance(source, str) else source
    kernel = Kernel(made, seed, 0)
    judges = Rules(kernel, sentences(made.rules.values())) if rules else None
    jump(kernel, Script(events), round(until * S))
    return kernel, judges


def again(text: str, lower: int = 0) -> Program:
    """The same text, compiled anew, so many lines lower."""
    return program("\n" * lower + text)


def swap(text: str, at: float = 10.0, now: bool = False) -> tuple[float, Swap]:
    return at, Swap(program(text), now, "bench.scene")


def placed(value: Any, by: int = 0) -> Any:
    """A record with every place so many lines lower."""
    if isinstance(value, Place):
        return value if value == NOWHERE else value._replace(line=value.line + by, end_line=value.end_line + by)
    if isinstance(value, tuple):
        parts = (placed(one, by) for one in value)
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    return value


# --- the same program ----------------------------------------------------------------------------------------------

INSTANTS = st.lists(st.integers(0, 40_000).map(lambda ms: ms / 1_000), min_size=1, max_size=6)


@settings(max_examples=60, deadline=None)
@given(INSTANTS, st.booleans(), st.integers(0, 3))
@example([0.0, 3.0, 8.0, 9.0, 21.0], True, 0)
def test_the_same_program_at_any_instant_changes_nothing(instants: list[float], at_once: bool, seed: int) -> None:
    plain, judged = performed(EVERYTHING, HANDS, 60, True, seed)
    swaps = [(at, Swap(again(EVERYTHING), at_once)) for at in instants]
    swapped, judged_too = performed(EVERYTHING, [*HANDS, *swaps], 60, True, seed)
    assert swapped.trace == plain.trace
    assert judged is not None
    assert judged_too is not None
    assert judged_too.judgements(60 * S) == judged.judgements(60 * S)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 40_000).map(lambda ms: ms / 1_000), st.integers(1, 30))
@example(9.123, 7)
def test_a_text_that_only_stands_lower_changes_nothing_but_where_its_lines_are(at: float, lower: int) -> None:
    plain, _ = performed(EVERYTHING, HANDS, 60)
    swapped, _ = performed(EVERYTHING, [*HANDS, (at, Swap(again(EVERYTHING, lower), False))], 60)
    assert [placed(one, 0) for one in plain.trace if one.at_us < at * S] == [
        one for one in swapped.trace if one.at_us < at * S
    ]
    after = [one for one in plain.trace if one.at_us > at * S]
    assert [placed(one, lower) for one in after] == [one for one in swapped.trace if one.at_us > at * S]
    assert any(place.line for one in after for place in one if isinstance(place, Place))  # there is something to see


class Restless(Kernel):
    """Takes up the same program, compiled anew, at every instant that it works."""

    twin: Program

    def advance(self, now_us: int, inputs: Any = ()) -> None:
        super().advance(now_us, [*inputs, Swap(self.twin, False)])


def test_the_rehearsals_of_the_example_are_the_same_with_a_swap_at_each_instant(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    project = load([QUAY])
    rehearsals = list(project.program.rehearsals.values())
    assert rehearsals
    plain = [rehearsing.rehearse(project.program, one) for one in rehearsals]
    Restless.twin = load([QUAY]).program
    monkeypatch.setattr(rehearsing, "Kernel", Restless)
    restless = [rehearsing.rehearse(project.program, one) for one in rehearsals]
    for before, after in zip(plain, restless, strict=True):
        assert after.trace == before.trace
        assert after.rules == before.rules


# --- what differs --------------------------------------------------------------------------------------------------

TWO = """
scene go
    note "old"
    turn on ada
    wait {wait} s
    note "old end"

scene other
    flash bea at 60 a minute
    wait 30 s
"""
NEW = TWO.replace("old", "new").format(wait=4)
OLD = TWO.format(wait=20)


def test_a_scene_that_runs_is_waited_for_and_the_other_goes_on() -> None:
    kernel, _ = performed(OLD, [(0, GO), (0, StartScene("other")), swap(NEW), (25.0, GO)])
    assert notes(kernel) == [
        (0, "old"), (20, "old end"), (20, "bench.scene is swapped in: go is changed"), (25, "new"), (29, "new end"),
    ]  # fmt: skip
    assert states(kernel, "other") == [(0, "running"), (30, "ended")]
    assert len(told(kernel, "bea")) == 1


def test_on_request_what_differs_is_stopped_first() -> None:
    kernel, _ = performed(OLD, [(0, GO), (0, StartScene("other")), swap(NEW, now=True)])
    assert states(kernel, "go") == [(0, "running"), (10, "stopped")]
    assert value(kernel, "ada", 11) == 0  # as `stop SCENE` does: to rest
    assert notes(kernel)[-1] == (10, "bench.scene is swapped in: go is changed")
    assert states(kernel, "other") == [(0, "running"), (30, "ended")]


def test_when_stopped_runs_to_its_end_before_the_new_text_and_what_began_meanwhile_begins_with_it() -> None:
    text = 'scene go\n    when stopped\n        wait 5 s\n        note "safe"\n    wait 60 s\n'
    new = text.replace("wait 60 s", 'note "new"\n    wait 1 s')
    kernel, _ = performed(text, [(0, GO), swap(new, now=True), (12.0, GO)])
    assert notes(kernel) == [(15, "safe"), (15, "bench.scene is swapped in: go is changed"), (15, "new")]
    assert states(kernel, "go") == [(0, "running"), (10, "stopping"), (15, "stopped"), (15, "running"), (16, "ended")]


def test_guarded_outputs_of_a_scene_that_is_stopped_for_it_go_to_their_safe_state() -> None:
    text = "scene go\n    runs whenever near is occupied\n    move gate to 45 deg over 2 s\n    wait 60 s\n"
    new = text.replace("60 s", "50 s")
    kernel, _ = performed(text, [(0, NEAR), (5.0, CLEAR), swap(new, now=True)])
    assert value(kernel, "gate", 20) == 0.0
    assert states(kernel, "go")[-1] == (10, "stopped")


def test_scenes_with_guarded_outputs_are_stopped_first() -> None:
    text = "scene go\n    turn on ada\n    wait 60 s\n\nscene lane\n    move gate to 45 deg over 2 s\n    wait 60 s\n"
    kernel, _ = performed(text, [(0, GO), (0, StartScene("lane")), swap(text.replace("60", "50"), now=True)])
    assert [one.scene for one in kernel.trace if isinstance(one, t.SceneIs) and one.state == "stopped"] == [
        "lane",
        "go",
    ]


def test_what_is_given_back_and_what_is_told_at_that_instant_stand_in_the_new_text() -> None:
    text = "scene go\n    set dot to 20 %\n    wait 3 s\n    set dot to 30 %\n    wait 30 s\n\n"
    text += "scene other\n    takes dot from go\n    set dot to 50 %\n    wait 10 s\n"
    events = [(0, GO), (1.0, StartScene("other")), (5.0, Swap(again(text, 9), False))]
    kernel, _ = performed(text, events)
    back = [one for one in kernel.trace if isinstance(one, t.Told) and one.why == "given back"]
    assert [(one.at_us, one.place.line) for one in back] == [(11 * S, 4 + 9)]
    at_once, _ = performed(text, [(0, GO), (0, Swap(again(text, 9), False))])
    assert [one.place.line for one in at_once.trace if isinstance(one, t.Told) and not one.at_us] == [2 + 9]


def test_a_scene_that_begins_again_and_again_is_swapped_between_two_rounds() -> None:
    text = 'scene go\n    runs whenever near is occupied\n    note "old"\n    wait 4 s\n'
    kernel, _ = performed(text, [(0, NEAR), swap(text.replace("old", "new")), (15.0, CLEAR)])
    said = [one for one in notes(kernel) if "swapped" not in one[1]]
    assert said == [(0, "old"), (4, "old"), (8, "old"), (12, "new")]


def test_a_scene_that_is_started_over_while_it_waits_goes_on_with_its_old_text() -> None:
    text = 'scene go\n    if started again: once more after\n    note "old"\n    wait 12 s\n'
    kernel, _ = performed(text, [(0, GO), (5.0, GO), swap(text.replace("old", "new"))])
    said = [one for one in notes(kernel) if "swapped" not in one[1]]
    assert said == [(0, "old"), (12, "new")]  # the first end is a moment at which nothing that differs runs


def test_the_last_of_several_counts_and_one_may_be_left() -> None:
    first, last = OLD.replace("old", "first"), OLD.replace("old", "last")
    kernel, _ = performed(OLD, [(0, GO), swap(first), swap(last, 11.0), (25.0, GO)])
    assert [text for at, text in notes(kernel) if at == 25] == ["last"]
    kernel, _ = performed(OLD, [(0, GO), swap(first), (11.0, KeepOld()), (25.0, GO)])
    assert [text for at, text in notes(kernel) if at == 25] == ["old"]


def test_what_was_put_off_begins_as_it_was_where_the_new_text_is_left() -> None:
    text = 'scene go\n    when stopped\n        wait 5 s\n    note "old"\n    wait 60 s\n'
    kernel, _ = performed(text, [(0, GO), swap(text.replace("old", "new"), now=True), (12.0, GO), (13.0, KeepOld())])
    assert notes(kernel) == [(0, "old"), (15, "old")]


@pytest.mark.parametrize("now", [False, True])
def test_a_scene_that_runs_another_again_and_again_waits_while_that_one_is_swapped(now: bool) -> None:
    text = (
        "scene caller\n    runs whenever near is occupied\n    repeat\n        run part\n"
        "scene part\n    when stopped\n        wait 3 s\n    turn on ada\n    wait 5 s\n"
    )
    kernel, _ = performed(text, [(0, NEAR), swap(text.replace("5 s", "6 s"), 12.0, now)], 40)
    assert troubles(kernel) == []
    assert states(kernel, "caller") == [(0, "running")]
    ended = [at for at, state in states(kernel, "part") if state in ("ended", "stopped")]
    assert ended == [5, 10, 15, 21, 27, 33, 39]  # stopped at 12, it needs until 15 for that


def test_a_scene_lends_its_outputs_to_one_that_was_put_off() -> None:
    text = (
        "scene caller\n    runs whenever near is occupied\n    turn on bea\n    repeat\n        run part\n"
        "scene part\n    turn on bea\n    wait 5 s\n"
    )
    kernel, _ = performed(text, [(0, NEAR), swap(text.replace("5 s", "6 s"), 12.0)], 40)
    assert troubles(kernel) == []
    assert (21, "ended") in states(kernel, "part")


@pytest.mark.parametrize("left", [True, False])
def test_what_was_stopped_for_a_text_that_is_left_begins_again_by_itself(left: bool) -> None:
    text = (
        "scene short\n    runs whenever near is occupied\n    turn on ada\n    wait 100 s\n"
        "scene long\n    when stopped\n        wait 5 s\n    runs whenever near is occupied\n    wait 100 s\n"
    )
    after = KeepOld() if left else Swap(program(text.replace("5 s", "6 s")), True, "other.scene")  # short is as it was
    kernel, _ = performed(text, [(0, NEAR), swap(text.replace("100", "90"), now=True), (11.0, after)], 40)
    assert states(kernel, "short") == [(0, "running"), (10, "stopped"), (11, "running")]


def test_a_scene_that_is_new_is_there_and_one_that_is_gone_is_not() -> None:
    kernel, _ = performed(
        OLD, [swap(OLD.replace("scene other", "scene third")), (20.0, StartScene("third")), (21.0, StartScene("other"))]
    )
    assert notes(kernel)[0][1] == "bench.scene is swapped in: third is new, other is gone"
    assert states(kernel, "third") == [(20, "running"), (50, "ended")]
    assert "there is no scene other any more" in troubles(kernel)[0]
    assert "other" not in kernel.stage.scenes


# --- what begins scenes --------------------------------------------------------------------------------------------


def test_whenever_is_looked_at_afresh_and_begins_once() -> None:
    new = 'scene go\n    runs whenever near is occupied\n    note "new"\n    wait 40 s\n'
    kernel, _ = performed(OLD, [(0, NEAR), swap(new)], 40)
    assert [one for one in notes(kernel) if one[1] == "new"] == [(10, "new")]


def test_starts_each_time_does_not_fire_for_what_holds_already() -> None:
    new = 'scene go\n    starts each time near becomes occupied\n    note "new"\n'
    kernel, _ = performed(OLD, [(0, NEAR), swap(new), (20.0, CLEAR), (30.0, NEAR)])
    assert [one for one in notes(kernel) if one[1] == "new"] == [(30, "new")]


def test_a_condition_that_lasts_goes_on_counting_where_it_stands_in_both() -> None:
    text = 'scene go\n    starts each time near is occupied for 15 s\n    note "old"\n'
    kernel, _ = performed(text, [(0, NEAR), swap(text.replace("old", "new"))])
    assert notes(kernel)[-1] == (15, "new")
    longer = text.replace("15 s", "12 s").replace("old", "new")
    kernel, _ = performed(text, [(0, NEAR), swap(longer)])
    assert notes(kernel)[-1] == (22, "new")  # one that is new begins to count now


def test_times_that_have_passed_are_not_begun_and_intervals_go_on() -> None:
    text = 'scene go\n    starts at 00:01 layout time\n    note "old"\n\nscene tick\n    starts every 40 s\n'
    text += "    turn on ada\n"
    new = text.replace("00:01", "00:00").replace("old", "new").replace("turn on ada", 'note "tick"')
    kernel, _ = performed(text, [swap(new)], 130)  # the layout clock has begun at midnight
    assert [one for one in notes(kernel) if "swapped" not in one[1]] == [(40, "tick"), (80, "tick"), (120, "tick")]
    later, _ = performed(text, [swap(new.replace("00:00", "00:02"))], 130)
    assert (120, "new") in notes(later)
    assert (60, "old") not in notes(later)


def test_a_clock_that_is_set_is_heard_by_heads_that_were_swapped_in() -> None:
    new = 'scene go\n    starts at 10:00 layout time\n    note "new"\n'
    kernel, _ = performed(OLD, [swap(new), (20.0, SetClock(9 * 3600 + 3590, None))], 40)
    assert (30, "new") in notes(kernel)


def test_a_button_keeps_its_pause_and_one_that_is_gone_lets_its_lamp_go_out() -> None:
    text = 'scene go\n    starts on button red-button, not again for 20 s\n    note "old"\n'
    press = [(8.0, Pressed("red-button", True)), (8.1, Pressed("red-button", False))]
    more = [(12.0, Pressed("red-button", True)), (12.1, Pressed("red-button", False))]
    kernel, _ = performed(text, [*press, swap(text.replace("old", "new")), *more, (30.0, Pressed("red-button", True))])
    assert [one for one in notes(kernel) if "swapped" not in one[1]] == [(8, "old"), (30, "new")]
    kernel, _ = performed(text, [swap(OLD)])
    assert (value(kernel, "ready", 5), value(kernel, "ready", 15)) == (1.0, 0.0)


def test_whenever_that_no_longer_holds_is_not_begun_when_the_new_text_has_come() -> None:
    text = "scene go\n    runs whenever near is occupied\n    when stopped\n        wait 5 s\n    wait 60 s\n"
    kernel, _ = performed(text, [(0, NEAR), swap(text.replace("60", "50"), now=True), (12.0, CLEAR)], 40)
    assert states(kernel, "go") == [(0, "running"), (10, "stopping"), (15, "stopped")]
    held, _ = performed(text, [(0, NEAR), swap(text.replace("60", "50"), now=True)], 40)
    assert states(held, "go")[-1] == (15, "running")


def test_a_lamp_stays_ready_for_the_other_scene_of_the_same_button() -> None:
    text = "scene go\n    starts on button red-button\n    wait 1 s\n\n"
    both = text + text.replace("go", "other")
    kernel, _ = performed(both, [swap(text)], 30)
    assert value(kernel, "ready", 20) == 1.0


# --- what is kept --------------------------------------------------------------------------------------------------


def test_flags_and_counters_keep_what_they_hold_while_they_are_declared() -> None:
    text = "flag seen\nflag lost\ncounter trains\n\nscene go\n    remember seen\n    count trains up\n"
    new = text.replace("flag lost", "flag fresh").replace("count trains up", "count trains up\n    count trains up")
    kernel, _ = performed(text, [(0, GO), swap(new), (20.0, GO)])
    assert kernel.stage.flags == {"seen": True, "fresh": False}
    assert kernel.stage.counters == {"trains": 3}


def test_what_an_operator_has_done_stays_done() -> None:
    text = "scene go\n    runs whenever near is occupied\n    turn on ada\n    wait 60 s\n"
    new = text.replace("60 s", "50 s")
    by_hand = [
        (0, NEAR),
        (1.0, ByHand("ada", 0.4)),
        (2.0, InUse("far", False)),
        swap(new, now=True),
        (20.0, LetGo("ada")),
    ]
    kernel, _ = performed(text, by_hand, 30)
    assert (value(kernel, "ada", 15), value(kernel, "ada", 25)) == (0.4, 1.0)
    assert not kernel.stage.detectors["far"].used
    latched, _ = performed(text, [(0, NEAR), (5.0, StopScene("go")), swap(new)], 30)
    assert states(latched, "go")[-1] == (5, "stopped")  # a person has stopped it, and no new text begins it again
    stopped, _ = performed(text, [(0, NEAR), (5.0, AllStop()), swap(new), (20.0, GoOn())], 30)
    assert states(stopped, "go")[-2:] == [(5, "stopped"), (20, "running")]


def test_rules_that_are_alike_go_on_and_others_begin_anew() -> None:
    rule = "\nrule calm\n    at most 2 times near is occupied within 60 s\n"
    passes = [(at, event) for n in range(3) for at, event in ((4.0 + 4 * n, NEAR), (6.0 + 4 * n, CLEAR))]
    kernel, _ = performed(OLD + rule, [*passes, swap(NEW + rule)], rules=True)
    assert [one.at_us for one in kernel.trace if isinstance(one, t.Broke)] == [12 * S]
    kernel, _ = performed(OLD + rule, [*passes, swap(NEW + rule.replace("60 s", "59 s"))], rules=True)
    assert not [one for one in kernel.trace if isinstance(one, t.Broke)]


def test_a_rule_that_is_new_is_broken_by_what_is_so_already() -> None:
    kernel, judged = performed(OLD, [(0, NEAR), swap(OLD + "\nrule calm\n    never near is occupied\n")], rules=True)
    assert [(one.at_us, one.place.line) for one in kernel.trace if isinstance(one, t.Broke)] == [(10 * S, 13)]
    assert judged is not None
    assert len(judged.judgements(60 * S)) == 1


# --- a new text as if from the start -------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(st.sampled_from([31, 33, 34]), st.integers(0, 5))
def test_a_swap_while_nothing_runs_equals_a_show_that_had_the_new_text_from_the_start(at: int, seed: int) -> None:
    old = EVERYTHING.replace("fade cid to 80 %", "fade cid to 30 %").replace("wait 100 s", "wait 90 s")
    old = old.replace("starts every 7 s\n", "starts each time fay is on\n")
    new = EVERYTHING.replace("starts every 7 s\n", "starts each time fay is on\n")
    later = [(at_s + 40.0, event) for at_s, event in HANDS]
    swapped, _ = performed(old, [(float(at), Swap(program(new), False)), *later], 100, seed=seed)
    ever, _ = performed(new, later, 100, seed=seed)
    assert [one for one in swapped.trace if one.at_us > at * S] == [one for one in ever.trace if one.at_us > at * S]
    assert [text for at_s, text in notes(swapped) if at_s == at] == [
        "a new text is swapped in: go and dusk are changed"
    ]


# --- what is alike -------------------------------------------------------------------------------------------------


def test_places_draws_and_wording_make_no_difference_and_all_else_does() -> None:
    text = "scene go\n    runs whenever near is occupied\n    wait 1 s to 2 s\n    move boom to lowered over 3 s\n"
    shifted = "\n\n" + text.replace("    wait", "\n    -- a remark\n    wait")
    assert alike(program(text).scenes, program("\n\n" + text).scenes)
    assert not difference(program(text), program(shifted.replace("    -- a remark\n", ""))).something
    for other in (text.replace("2 s", "3 s"), text.replace("near", "far"), text.replace("lowered", "raised")):
        assert difference(program(text), program(other)).changed == ("go",)
    assert difference(program(text), program(text + "\nflag seen\n")).others


def test_a_program_of_another_layout_is_refused() -> None:
    from dataclasses import replace

    from acting import LAYOUT

    made = program(OLD)
    kernel = Kernel(made)
    with pytest.raises(ValueError, match="same layout"):
        kernel.advance(0, [Swap(program(OLD, replace(LAYOUT, detectors={})), False)])


def test_nothing_of_texts_that_were_swapped_out_is_kept() -> None:
    texts = [f"scene go\n    starts each time near is occupied for {n} s\n    wait 1 s\n" for n in range(1, 101)]
    kernel, _ = performed(texts[0], [(float(n), Swap(program(text), False)) for n, text in enumerate(texts)], 200)
    assert len(kernel.truth.memories) == 2  # one that lasts, and its becoming
    assert len(kernel.watchers._entries) == 3
