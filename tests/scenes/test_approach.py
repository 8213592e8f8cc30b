"""What `check` says of a short approach: the seconds that it gives, those that the closing needs, and what would help.

The seconds are those of worked examples: approaches of 1.2 m and 2.0 m at 88, 147 and 235 mm/s (15, 25 and 40 mph in
4 mm scale, computed), 20 s of warning in the United States (49 CFR 234.223, .225) and in the Netherlands (a press
article that quotes the infrastructure manager). The order of what helps is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from stage import LAYOUT, S, said, sound

from engine.layout import Detector, DetectorKind, Hold, Layout, Stretch, Timed, Track
from scenes.check_approach import crossings
from scenes.problems import Problem, as_text

QUICK = replace(LAYOUT, outputs={n: replace(o, travel_us=S // 10) for n, o in LAYOUT.outputs.items()})
CLOSING = """scene s
    runs whenever any of approach, lane is occupied
    turn on amber
    wait 3 s
    turn off amber
    flash red-left, red-right in turn at 60 a minute each
    wait 5 s
    move near-barrier to lowered over 7 s
    move far-barrier to lowered over 7 s
    wait until lane is clear for 4 s
    move near-barrier, far-barrier to raised over 6 s
    turn off red-left, red-right
"""  # 22 s to the last lowering
RULE = "\nrule road-closed\n    all of near-barrier, far-barrier are lowered at least {} before a train reaches lane\n"


def on_track(mm: int, speed: int, layout: Layout = QUICK, **more: object) -> Layout:
    """A layout with one track: so much of `approach`, then the lane."""
    stretches = (Stretch("approach", mm), Stretch("lane", 300))
    track = Track("line", stretches, speed, 300)._replace(**more)
    return replace(layout, tracks={"line": track})


def advice(text: str, layout: Layout) -> list[Problem]:
    return list(crossings(sound(text, layout)))


def only(text: str, layout: Layout) -> Problem:
    (found,) = advice(text, layout)
    assert found.advice
    return found


def help_about(found: Problem, begins: str) -> str:
    (one,) = [way for way in found.helps if way.startswith(begins)]
    return one


@pytest.mark.parametrize(
    ("mm", "speed", "seconds"),
    [(1200, 88, 13.6), (1200, 147, 8.2), (1200, 235, 5.1), (2000, 88, 22.7), (2000, 147, 13.6), (2000, 235, 8.5)],
)
def test_the_seconds_that_an_approach_gives(mm: int, speed: int, seconds: float) -> None:
    text = CLOSING.replace("over 7 s", "over 12 s")
    assert f"It gives {seconds:g} s: {mm} mm at {speed} mm/s." in only(text, on_track(mm, speed)).what


def test_what_is_needed_and_what_is_missing() -> None:
    found = only(CLOSING, on_track(2000, 100))
    assert found.what == (
        "On `line` the approach is 2 s too short. It gives 20 s: 2000 mm at 100 mm/s. "
        "The closing needs 22 s until the last barrier is down."
    )
    assert found.place.line == 9
    assert found.instead == "What would help, the best first:"


def test_just_long_enough_is_not_short() -> None:
    assert advice(CLOSING, on_track(2200, 100)) == []
    assert only(CLOSING, on_track(2199, 100)).what.startswith(
        "On `line` the approach is 0.01 s too short. It gives 21.99"
    )


def test_what_helps_comes_in_its_order_with_numbers_of_this_track() -> None:
    assert only(CLOSING, on_track(2000, 100)).helps == (
        "Start earlier: 200 mm more of approach, or a start by a route button or the starting signal.",
        "Hold the train: a signal before the road, cleared only when the barriers are down.",
        "Run slower: at 90 mm/s or less there is time enough.",
        "Lower both barriers together: the closing then needs 15 s, which fits.",
        "Build half barriers: without the exit side it needs 15 s, which fits.",
        "Only then squeeze waits and moves: write `fit into 20 s` at the head of `s`.",
    )


def test_each_thing_that_is_said_to_help_does() -> None:
    assert advice(CLOSING, on_track(2000 + 200, 100)) == []
    assert advice(CLOSING, on_track(2000, 90)) == []
    assert advice(CLOSING, on_track(2000, 91)) != []
    together = CLOSING.replace("    move near-barrier to lowered over 7 s\n", "").replace(
        "move far-b", "move near-barrier, far-b"
    )
    assert advice(together, on_track(1500, 100)) == []
    assert advice(together, on_track(1499, 100)) != []
    half = CLOSING.replace("    move far-barrier to lowered over 7 s\n", "")
    assert advice(half, on_track(1500, 100)) == []
    fitted = CLOSING.replace("    turn on amber\n", "    fit into 20 s\n    turn on amber\n", 1)
    assert advice(fitted, on_track(2000, 100)) == []
    assert advice(fitted, on_track(1999, 100)) != []


def test_a_shortage_that_nothing_small_can_mend() -> None:
    found = only(CLOSING, on_track(700, 100))
    assert help_about(found, "Lower both") == (
        "Lower both barriers together: the closing then needs 15 s, which is still 8 s too long."
    )
    # a third of 22 s is 7 1/3 s
    assert found.helps[-1] == (
        "Squeezing is not enough: 7 s would be needed, and as the lines are, `fit into` can go down to 7.4 s."
    )


def test_floors_count_in_what_fit_into_can_do() -> None:
    text = CLOSING.replace("wait 5 s", "wait 5 s, never under 4 s")  # 1 + 4 + 2 * 2 1/3 s
    assert "`fit into` can go down to 9.7 s" in only(text, on_track(960, 100)).helps[-1]
    assert "write `fit into 9.7 s`" in only(text, on_track(970, 100)).helps[-1]


def test_a_scene_that_is_squeezed_already_is_told_how_much_more() -> None:
    text = CLOSING.replace("    turn on amber\n", "    fit into 16 s\n    turn on amber\n", 1)
    assert advice(text, on_track(1600, 100)) == []
    found = only(text, on_track(1500, 100))
    assert "The closing needs 16 s" in found.what
    assert found.helps[-1] == "Only then squeeze waits and moves more: write `fit into 15 s` where `s` says `16 s`."
    assert "can go down to 7.4 s" in only(text, on_track(700, 100)).helps[-1]  # a third of what is written


# --- what belongs to the reckoning ---------------------------------------------------------------------------------


def test_a_rule_that_wants_the_barriers_down_before_the_train() -> None:
    text = CLOSING + RULE.format("1 s")
    assert advice(text, on_track(2300, 100)) == []
    found = only(text, on_track(2250, 100))
    assert found.what == (
        "On `line` the approach is 0.5 s too short. It gives 22.5 s: 2250 mm at 100 mm/s. The closing needs 23 s: "
        "22 s until the last barrier is down, and 1 s more by rule `road-closed`."
    )
    assert found.helps[-1].startswith("Only then squeeze waits and moves: write `fit into 21.5 s`")


@pytest.mark.parametrize(
    "rule",
    [
        "all of red-left, red-right are flashing at least 5 s before a train reaches lane",
        "near-barrier is lowered at least 5 s before far-barrier is lowered",
        "near-barrier is lowered at least 5 s before a train reaches middle",
        "near-barrier is raised at least 5 s before bell is on",
    ],
)
def test_other_rules_want_nothing_of_the_approach(rule: str) -> None:
    assert advice(f"{CLOSING}\nrule r\n    {rule}\n", on_track(2200, 100)) == []


UNITED_STATES = """scene s
    runs whenever any of approach, lane is occupied
    flash red-left, red-right in turn at 50 a minute each
    wait 3 s
    move near-barrier, far-barrier to lowered over {}
"""


def test_at_twenty_seconds_of_warning_the_descent_may_take_twelve() -> None:
    """D2: 49 CFR 234.223 wants 3 s of lights and 5 s of horizontal arms, 234.225 20 s in all: 20 - 5 - 3 = 12 s."""
    text = UNITED_STATES + RULE.format("5 s")
    assert advice(text.format("12 s"), on_track(2000, 100)) == []
    assert "is 0.1 s too short" in only(text.format("12.1 s"), on_track(2000, 100)).what


def test_twenty_seconds_in_the_netherlands() -> None:
    """D8: booms up for the first 5 s, down within 12 s, 3 s left: 20 s."""
    text = UNITED_STATES.replace("wait 3 s", "wait 5 s") + RULE.format("3 s")
    assert advice(text.format("12 s"), on_track(2000, 100)) == []
    assert only(text.format("12 s"), on_track(1990, 100)).what.endswith(
        "17 s until the last barrier is down, and 3 s more by rule `road-closed`."
    )


def settling(layout: Layout, occupied_us: int) -> Layout:
    approach = Detector("approach", DetectorKind.SECTION, settle_occupied_us=occupied_us)
    return replace(layout, detectors={**layout.detectors, "approach": approach})


def test_a_detector_that_takes_its_time_to_say_occupied() -> None:
    assert advice(CLOSING, settling(on_track(2250, 100), 500_000)) == []
    found = only(CLOSING, settling(on_track(2200, 100), 500_000))
    assert "It gives 21.5 s: 2200 mm at 100 mm/s, less the 0.5 s until `approach` has told of the train." in found.what
    assert help_about(found, "Run slower") == "Run slower: at 97 mm/s or less there is time enough."  # 2200 / 22.5


def test_a_head_that_waits_for_a_time_gives_it_away() -> None:
    text = CLOSING.replace(
        "runs whenever any of approach, lane is occupied", "starts each time approach is occupied for 2 s"
    )
    assert advice(text, on_track(2400, 100)) == []
    assert "less the 2 s until `approach`" in only(text, on_track(2300, 100)).what


def test_stretches_before_the_one_that_is_asked_are_named() -> None:
    stretches = (Stretch(None, 900), Stretch("middle", 600), Stretch("approach", 1500), Stretch("lane", 300))
    found = only(CLOSING, on_track(0, 100, stretches=stretches))
    assert "It gives 15 s: 1500 mm at 100 mm/s." in found.what
    assert found.helps[0] == (
        "Start earlier: 700 mm more of approach. 1500 mm of the track lie before it: ask `middle`, too, "
        "which has 600 mm more. Or start it by a route button or the starting signal."
    )
    blind = (Stretch(None, 900), Stretch("approach", 1500), Stretch("lane", 300))
    found = only(CLOSING, on_track(0, 100, stretches=blind))
    assert "900 mm of the track lie before it: let a detector see them." in found.helps[0]


def test_a_blind_stretch_within_the_approach_is_part_of_it() -> None:
    stretches = (Stretch("approach", 1500), Stretch(None, 700), Stretch("lane", 300))
    assert advice(CLOSING, on_track(0, 100, stretches=stretches)) == []


def test_a_scene_that_asks_only_the_road_has_no_approach_at_all() -> None:
    text = CLOSING.replace("any of approach, lane is occupied", "lane is occupied")
    found = only(text, on_track(2000, 100))
    assert "It gives 0 s: 0 mm at 100 mm/s." in found.what
    assert "ask `approach`, too, which has 2000 mm more" in found.helps[0]
    assert not [way for way in found.helps if way.startswith("Run slower")]
    assert found.helps[-1].startswith("Squeezing is not enough: no time is left")


def test_the_sooner_of_two_detectors_starts_it() -> None:
    """The first of them settles for so long that a train is in the second before it has told."""
    stretches = (Stretch("approach", 100), Stretch("middle", 2000), Stretch("lane", 300))
    layout = settling(on_track(0, 100, stretches=stretches), 5 * S)
    text = CLOSING.replace("any of approach, lane", "any of approach, middle, lane")
    assert "It gives 20 s: 2000 mm at 100 mm/s." in only(text, layout).what


def test_a_track_that_no_head_asks_is_not_spoken_of() -> None:
    stretches = (Stretch("middle", 2000), Stretch("lane", 300))
    text = CLOSING.replace("any of approach, lane is occupied", "approach is occupied")
    assert advice(text, on_track(0, 100, stretches=stretches)) == []
    assert (
        advice(text.replace("runs whenever approach is occupied", "starts on button red-button"), on_track(10, 100))
        == []
    )


def test_the_shortest_approach_is_told_and_the_others_named() -> None:
    one = on_track(2000, 100).tracks["line"]
    layout = replace(QUICK, tracks={"line": one, "other": one._replace(name="other", fastest_mm_s=125)})
    found = only(CLOSING, layout)
    assert found.what.startswith("On `other` the approach is 6 s too short.")
    assert [why for _, why in found.also] == ["the track", "here it is 2 s too short"]


def test_a_wait_that_nobody_can_date_makes_it_at_least_so_long() -> None:
    text = CLOSING.replace("    wait 5 s\n", "    wait 5 s\n    wait until bell is off\n")
    assert "The closing needs at least 22 s until" in only(text, on_track(2000, 100)).what


def single_line(**more: object) -> Layout:
    """A track that trains run along both ways, asked on both sides of the road."""
    stretches = (Stretch("approach", 2300), Stretch("lane", 300), Stretch("middle", 2100), Stretch(None, 500))
    return on_track(0, 100, stretches=stretches, **more)


def test_trains_that_come_from_the_far_end_have_an_approach_of_their_own() -> None:
    text = CLOSING.replace("any of approach, lane", "any of approach, middle, lane")
    found = only(text, single_line(holds=(Hold("signal", 2300),)))
    assert found.what.startswith("On `line` the approach from its far end is 1 s too short. It gives 21 s: 2100 mm")
    assert found.instead.startswith("If no train comes from there, write `one way: yes` for the track")
    assert "obeys" not in found.instead  # the signal faces the others
    assert "500 mm of the track lie before it: let a detector see them." in found.helps[0]
    assert advice(text, single_line(one_way=True)) == []


def test_a_scene_that_asks_nothing_on_the_far_side_is_not_told_of_it() -> None:
    assert advice(CLOSING, single_line()) == []


# --- signals -------------------------------------------------------------------------------------------------------


def test_where_a_signal_protects_the_road_it_is_about_waiting_and_about_those_who_do_not() -> None:
    held = on_track(2000, 100, holds=(Hold("signal", 2000),))
    found = only(CLOSING, held)
    assert found.instead == (
        "A train that obeys `signal` waits there until the road is closed; one that does not finds it open. "
        "What would help, the best first:"
    )
    assert not [way for way in found.helps if way.startswith("Hold")]


def test_where_only_the_rules_time_is_missing_the_road_is_closed_by_then() -> None:
    held = on_track(2250, 100, holds=(Hold("signal", 2000),))
    assert "one that does not comes too soon after that" in only(CLOSING + RULE.format("1 s"), held).instead


def test_a_signal_behind_the_road_or_clear_at_rest_holds_nobody_before_it() -> None:
    behind = on_track(2000, 100, holds=(Hold("signal", 2300),))
    assert help_about(only(CLOSING, behind), "Hold the train")
    signal = QUICK.outputs["signal"]
    clear = replace(signal, rest=signal.rest.__class__(1.0))
    open_road = replace(on_track(2000, 100, holds=(Hold("signal", 2000),)), outputs={**QUICK.outputs, "signal": clear})
    assert help_about(only(CLOSING, open_road), "Hold the train")


def test_it_reads_as_one_message() -> None:
    text = as_text(only(CLOSING, on_track(2000, 100)), {"bench.scene": CLOSING.split("\n")})
    assert "\n        What would help, the best first:\n        1. Start earlier: 200 mm" in text
    assert "\n        6. Only then squeeze" in text
    assert said([only(CLOSING, on_track(2000, 100))])


# --- trains that were timed ----------------------------------------------------------------------------------------


def timed(seconds: float, on: str = "2026-05-02") -> tuple[Timed, ...]:
    return (Timed("approach", "lane", int(seconds * S), on),)


def test_a_clock_that_shows_less_than_length_and_speed_is_believed() -> None:
    """3.3 m at 150 mm/s is 22 s, which is just enough; a train that took 20 s is 2 s too early, at 165 mm/s."""
    assert advice(CLOSING, on_track(3300, 150)) == []
    short, faster = advice(CLOSING, on_track(3300, 150, timed=timed(20)))
    assert short.what == (
        "On `line` the approach is 2 s too short. It gives 20 s: a train was timed in that on 2026-05-02; 3300 mm at "
        "150 mm/s would take 22 s. The closing needs 22 s until the last barrier is down."
    )
    assert help_about(short, "Start earlier").startswith("Start earlier: 330 mm more of approach")
    assert faster.what == (
        "A train was timed on `line` in 20 s from `approach` to `lane`: at the `fastest` of 150 mm/s it takes 22 s."
    )
    assert faster.instead.startswith("Write `fastest: 165 mm/s`")


def test_a_slower_train_does_not_make_an_approach_longer() -> None:
    found = only(CLOSING, on_track(2000, 100, timed=timed(30)))
    assert found.what.startswith(
        "On `line` the approach is 2 s too short. It gives 20 s: 2000 mm at 100 mm/s; a train was timed in 30 s on "
        "2026-05-02. The closing needs 22 s"
    )


def test_what_a_clock_and_a_ruler_cannot_tell_apart_is_no_contradiction() -> None:
    assert advice(CLOSING, on_track(3300, 150, timed=timed(22))) == []
    assert len(advice(CLOSING, on_track(3300, 150, timed=timed(21.7)))) == 1  # too short, and no word of `fastest`


def test_a_time_of_another_stretch_is_no_matter_to_the_crossing() -> None:
    stretches = (Stretch("far", 1000), Stretch("approach", 3300), Stretch("lane", 300))
    detectors = {**QUICK.detectors, "far": Detector("far", DetectorKind.SECTION)}
    layout = replace(QUICK, detectors=detectors)
    times = (Timed("far", "approach", 7 * S), Timed("far", "lane", 29 * S))
    assert advice(CLOSING, on_track(3300, 150, layout, stretches=stretches, timed=times)) == []


def test_a_train_from_the_far_end_is_timed_there() -> None:
    stretches = (Stretch("approach", 3300), Stretch("lane", 300), Stretch("other", 3300))
    detectors = {**QUICK.detectors, "other": Detector("other", DetectorKind.SECTION)}
    layout = replace(QUICK, detectors=detectors)
    text = CLOSING.replace("any of approach, lane", "any of approach, other, lane")
    times = (Timed("other", "lane", 20 * S),)
    found = advice(text, on_track(3300, 150, layout, stretches=stretches, timed=times))
    assert "the approach from its far end is 2 s too short. It gives 20 s: a train was timed in that;" in found[0].what
    assert "`fastest: 165 mm/s`" in found[1].instead
