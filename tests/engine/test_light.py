"""Light and motion as the kernel performs them: what starts from where, what a drop, a stop and a hold do to it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from acting import LAYOUT, S, lamp, notes, played, program, told, value
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.conditions import Atom, Sort, Test, fully_shown
from engine.courses import Course, Ease, Leg, Script
from engine.curves import PROFILES, Curve
from engine.events import Detected, StartScene, StopScene
from engine.flicker import Flicker
from engine.kernel import Kernel
from engine.landings import Bouncing
from engine.layout import DAYLIGHT, Aspect, Kind, Layout, Output, Setting
from engine.lightness import luminance
from engine.manners import MANNERS
from engine.stage import OutputNow, level_left
from engine.waves import Ramp, State, Steady, endless

GO, NEAR = (0, StartScene("go")), Detected("near", "occupied")
MS = 1_000


def scene(*lines: str) -> str:
    return "scene go\n" + "".join(f"    {line}\n" for line in lines)


def with_outputs(*more: Output) -> Layout:
    return replace(LAYOUT, outputs={**LAYOUT.outputs, **{output.name: output for output in more}})


# --- no jump that nobody wrote -------------------------------------------------------------------------------------

GENTLE = [
    "fade ada to {level} % over {time} ms",
    "fade ada to {level} % over {time} ms like smooth",
    "fade ada to {level} % over {time} ms like ramped",
    "fade ada to {level} % over {time} ms like gas-mantle",
    "flicker ada like candle between 20 % and {level} %",
    "flicker ada like storm",
    "flicker ada like embers over {time} ms",
    "turn off ada like filament",
    "turn on ada like oil-wick",
]


@given(
    st.lists(st.tuples(st.sampled_from(GENTLE), st.integers(30, 100), st.integers(200, 3_000)), min_size=2, max_size=6)
)
@settings(max_examples=30, deadline=None)
def test_whatever_is_told_next_starts_from_what_is_shown(lines: list[tuple[str, int, int]]) -> None:
    together = ["together"]
    for number, (line, level, time) in enumerate(lines):
        together += [
            "    in order",
            f"        wait {number * 700} ms",
            "        " + line.format(level=level, time=time),
        ]
    kernel = played(scene(*together), [GO], until=60)
    orders = told(kernel, "ada")
    for (_, before), (at, after) in pairwise(orders):
        now = round(at * S)
        if isinstance(after, Course) and after.script.legs[0].ease is Ease.HOLD:
            continue  # a mantle pops: its way begins with a leap, and is asked for by name
        assert after.value_at(now) == pytest.approx(before.value_at(now), abs=1e-9)  # type: ignore[attr-defined]


def test_a_move_that_is_told_anew_starts_from_where_it_is() -> None:
    kernel = played(
        scene(
            "first of",
            "    move boom to lowered over 8 s, bouncing",
            "    wait 3 s",
            "move boom to raised over 8 s, settling",
        ),
        [GO],
    )
    (_, down), (turned, up) = told(kernel, "boom")  # the drop and the new order fall in one instant: the last is sent
    assert turned == 3
    assert 0 < down.value_at(3 * S) == up.value_at(3 * S) < 90  # type: ignore[attr-defined]


# --- ways ----------------------------------------------------------------------------------------------------------


def test_a_lamp_that_was_turned_on_in_its_way_comes_on_though_its_block_is_dropped() -> None:
    kernel = played(
        scene(
            "as long as near is clear",
            "    turn on ada like gas-mantle",
            "    fade bea to 80 % over 20 s like gas-mantle",
            'note "over"',
        ),
        [GO, (1, NEAR)],
    )
    assert notes(kernel) == [(1, "over")]
    assert value(kernel, "ada", 60) == 1.0
    (_, fading), (_, frozen) = told(kernel, "bea")
    assert isinstance(frozen, Steady)
    assert frozen.value == fading.value_at(S)  # type: ignore[attr-defined]


def test_hold_stops_a_lamp_that_comes_on() -> None:
    kernel = played(scene("turn on ada like gas-mantle", "wait 1 s", "hold ada", "wait 60 s"), [GO])
    (_, coming), (_, held) = told(kernel, "ada")
    assert held == Steady(coming.value_at(S))  # type: ignore[attr-defined]


def test_a_lamp_that_is_there_already_does_not_come_on_again() -> None:
    kernel = played(scene("turn on ada", "wait 1 s", "turn on ada like tube"), [GO])
    assert [wave for _, wave in told(kernel, "ada")] == [Steady(1.0), Steady(1.0)]


def test_what_differs_from_time_to_time_differs_and_the_same_seed_gives_it_again() -> None:
    text = scene("turn on ada, bea like tube", "wait 20 s", "turn off ada", "wait 1 s", "turn on ada like tube")
    first, again, other = (played(text, [GO], seed=seed) for seed in (1, 1, 2))
    tubes = [wave for lamp_name in ("ada", "bea") for _, wave in told(first, lamp_name) if isinstance(wave, Course)]
    assert len({wave.script for wave in tubes}) == 3
    assert told(first, "ada") == told(again, "ada") != told(other, "ada")


def test_a_lamp_with_a_way_of_its_own_has_it_whoever_tells_it() -> None:
    layout = with_outputs(lamp("bulb", comes_on="filament"))
    kernel = played(program(scene("turn on bulb", "wait 5 s", "turn off bulb"), layout), [GO])
    (_, on), (_, off) = told(kernel, "bulb")
    assert [(wave.state, wave.name) for wave in (on, off)] == [(State.OWN_WAY, "filament")] * 2  # type: ignore[attr-defined]
    assert 0 < value(kernel, "bulb", 0.05) < 1
    assert value(kernel, "bulb", 4) == 1
    assert 0 < value(kernel, "bulb", 5.1) < 1
    assert value(kernel, "bulb", 9) == 0


def test_a_signal_of_filament_lamps_is_never_dark_and_never_shows_two_aspects() -> None:
    red, green = (lamp(name, comes_on="filament") for name in ("red", "green"))
    aspects = (
        Aspect("danger", (("red", 1.0), ("green", 0.0)), stops=True),
        Aspect("clear", (("red", 0.0), ("green", 1.0))),
    )
    post = Output("post", Kind.SIGNAL, Setting(0.0), aspects=aspects)
    layout = with_outputs(replace(red, rest=Setting(1.0)), green, post)
    made = program(
        scene("set post to clear", "wait until post is clear", 'note "shown"', "wait 2 s", "set post to danger"), layout
    )
    kernel = played(made, [GO], until=20)
    ((shown, _),) = notes(kernel)
    assert 0 < shown < 2  # when its lamps have arrived, not when they were told
    for start in (0.0, shown + 2):
        for step in range(100):
            light = [luminance(value(kernel, name, start + step / 100)) for name in ("red", "green")]
            assert sum(light) > 0.5, "a dark gap"
            assert min(light) < 0.4, "two aspects"
    assert kernel.holds(fully_shown(post, "danger"))


# --- flicker -------------------------------------------------------------------------------------------------------


def test_a_flicker_goes_on_when_it_is_told_other_levels() -> None:
    kernel = played(
        scene("flicker ada like embers", "wait 10 s", "flicker ada like embers between 5 % and 30 % over 10 s"), [GO]
    )
    (_, first), (_, second) = told(kernel, "ada")
    assert isinstance(first, Flicker)
    assert isinstance(second, Flicker)
    assert second.before == (0.0, 1.0)
    assert second.key == first.key
    # it is the same fire: between its levels it stands where the first would have stood
    for at in range(20, 60):
        share = (second.value_at(at * S) - 0.05) / 0.25
        assert share == pytest.approx(first.value_at(at * S), abs=1e-9)


def test_another_manner_begins_from_the_value_and_not_from_the_levels() -> None:
    kernel = played(scene("set ada to 40 %", "wait 1 s", "flicker ada like candle", "wait 3 s"), [GO])
    (_, wave) = told(kernel, "ada")[-1]
    assert isinstance(wave, Flicker)
    assert wave.before == (0.4, 0.4)
    assert wave.value_at(S) == 0.4


def test_a_dropped_flicker_or_character_goes_back_to_the_level_before() -> None:
    kernel = played(
        scene(
            "set ada, bea to 30 %",
            "as long as near is clear",
            "    flicker ada like candle",
            '    show bea as "Iso 4s"',
            "    flash ada at 60 a minute",  # a second one that goes on: still the level from before the first
            "    wait 20 s",
        ),
        [GO, (5, NEAR)],
    )
    assert value(kernel, "ada", 30) == pytest.approx(0.3)
    assert value(kernel, "bea", 30) == pytest.approx(0.3)


def test_conditions_about_a_flicker_change_just_when_it_crosses_their_levels() -> None:
    text = (
        'scene low\n    starts each time ada is below 55 %\n    note "low"\n'
        'scene high\n    starts each time ada is at least 80 %\n    note "high"\n'
    ) + scene("flicker ada like bonfire over 0 s", "wait 1 h")
    kernel = played(text, [(0.0, StartScene("go"))], until=20)
    ((_, wave),) = told(kernel, "ada")
    assert isinstance(wave, Flicker)
    expected, before = [], wave.value_at(0)
    for at in range(1 * MS, 20 * S, MS):  # by brute force, to the millisecond
        now = wave.value_at(at)
        expected += [(at, "low")] if now < 0.55 <= before else []
        expected += [(at, "high")] if now >= 0.8 > before else []
        before = now
    found = [(at, text) for at, text in notes(kernel) if at > 0]
    assert len(found) > 10
    assert [text for _, text in found] == [text for _, text in expected]
    assert all(0 <= brute - at * S <= MS for (at, _), (brute, _) in zip(found, expected, strict=True))


def test_a_flicker_that_has_come_above_a_level_for_good_wakes_nobody() -> None:
    """It is lit once it has been brought up, so no piece of its curve need be looked at for that any more."""
    now = OutputNow(lamp("ada"))
    now.asked_about(0.0)
    now.wave = Flicker(0, S, 7, MANNERS["candle"], (0.0, 0.0), (0.2, 0.9), 0.0)
    first = now.next_state_change(0)
    assert first is not None
    assert 0 < first <= S
    at, asked = first, 0
    while at is not None and asked < 1_000:
        last, at, asked = at, now.next_state_change(at), asked + 1
    assert at is None
    assert last == S
    assert asked < 40
    now.asked_about(0.6)  # which it does pass
    then = now.next_state_change(S)
    assert then is not None
    assert then > S


def test_a_manner_that_never_goes_dark_wakes_nobody_about_that() -> None:
    now = OutputNow(lamp("ada"))
    now.asked_about(0.0)
    for name, manner in MANNERS.items():
        now.wave = Flicker(0, 0, 7, manner, (0.0, 1.0), (0.0, 1.0))
        assert (now.next_state_change(5 * S) is None) == (manner.reach[0] > 0.0), name
    assert MANNERS["candle"].reach[0] > 0.0
    assert MANNERS["storm"].reach[0] == 0.0


def test_states_tell_a_flicker_from_a_flash() -> None:
    kernel = Kernel(program(scene("flicker ada like candle", 'show bea as "Fl 5s"', "turn on cid like led")))
    lines = [("ada", State.FLICKERING), ("bea", State.FLASHING), ("cid", State.OWN_WAY)]
    kernel.advance(0, [StartScene("go")])
    assert [kernel.wave(name).state for name, _ in lines] == [state for _, state in lines]
    assert [endless(kernel.wave(name)) for name, _ in lines] == [True, True, False]


def test_the_colour_of_a_light_is_asked_for_while_its_character_changes_it() -> None:
    aspects = (Aspect("white"), Aspect("red"), Aspect("green"))
    lantern = Output("bay colour", Kind.COLOUR, Setting(0.0), aspects=aspects)
    text = (
        'scene r\n    starts each time bay is red\n    note "red"\n'
        'scene g\n    starts each time bay is green\n    note "green"\n'
        'scene w\n    wait until bay is green for 2 s\n    note "green for 2 s"\n'
        'scene go\n    start w\n    show bay as "Al WRG 9s"\n    wait 20 s\n    set bay to red\n    wait 1 h\n'
    )
    kernel = played(program(text, with_outputs(lamp("bay"), lantern)), [(0.0, StartScene("go"))], until=30)
    assert notes(kernel) == [
        (3.0, "red"),
        (6.0, "green"),
        (8.0, "green for 2 s"),
        (12.0, "red"),
        (15.0, "green"),
        (20.0, "red"),
    ]


# --- moves ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("arrival", ["", ", bouncing once", ", bouncing 5 times", ", settling"])
@pytest.mark.parametrize("over", ["600 ms", "7 s"])
def test_a_move_stays_between_its_ends_and_has_arrived_when_its_line_ends(arrival: str, over: str) -> None:
    kernel = played(scene(f"move boom to lowered over {over}{arrival}", 'note "down"'), [GO])
    ((at, _),) = notes(kernel)
    assert at == (0.6 if over == "600 ms" else 7)
    ((_, wave),) = told(kernel, "boom")
    assert isinstance(wave, Curve)
    assert all(0.0 <= wave.value_at(us) <= 90.0 for us in range(0, round(at * S), 997))
    assert value(kernel, "boom", at) == 0.0


def test_an_arm_worked_by_its_signal_arrives_as_the_layout_file_says() -> None:
    layout = with_outputs(replace(LAYOUT.outputs["boom"], arrives="bouncing"))
    made = program(scene("when stopped", "    release boom", "wait 1 h"), layout)
    kernel = Kernel(made)
    kernel.set_output("boom", 0.0)
    kernel.advance(0, [StartScene("go")])
    kernel.advance(S, [StopScene("go")])
    wave = kernel.wave("boom")
    assert isinstance(wave, Curve)
    assert (wave.low, wave.high, wave.profile.name) == (0.0, 90.0, "bouncing")
    assert wave.to_us - wave.from_us == 4 * S  # its own time for the whole travel


# --- daylight ------------------------------------------------------------------------------------------------------


def test_the_sky_follows_daylight_and_both_freeze_when_the_line_is_dropped() -> None:
    sky = replace(lamp("sky"), follows_lux=(1.0, 10_000.0), rest=Setting(1.0))
    text = scene("as long as near is clear", "    fade daylight through dusk over 4 min", "wait 1 h")
    kernel = played(program(text, with_outputs(sky)), [GO, (120, NEAR)])
    (_, sun), (_, still) = told(kernel, DAYLIGHT)
    assert sun.value_at(0) == 10_000.0  # type: ignore[attr-defined]
    assert still == Steady(sun.value_at(120 * S))  # type: ignore[attr-defined]
    half = value(kernel, "sky", 120)
    assert 0.2 < half < 0.95
    assert value(kernel, "sky", 3600) == half


def test_a_stop_brings_daylight_and_sky_back_to_the_layouts_day() -> None:
    sky = replace(lamp("sky"), follows_lux=(1.0, 10_000.0), rest=Setting(1.0))
    kernel = played(
        program(scene("fade daylight through dusk over 4 min", "wait 1 h"), with_outputs(sky)),
        [GO, (300, StopScene("go"))],
    )
    assert value(kernel, DAYLIGHT, 299) < 4
    assert value(kernel, DAYLIGHT, 300) == 10_000.0
    assert value(kernel, "sky", 300) == 1.0


# --- an evening ----------------------------------------------------------------------------------------------------


def test_after_an_evening_and_its_dawn_everything_is_at_rest_to_the_last_digit() -> None:
    sky = replace(lamp("sky"), follows_lux=(1.0, 7_000.0), rest=Setting(1.0))
    bulb = lamp("bulb", comes_on="filament")
    kernel = played(
        program(
            scene(
                "fade daylight through nightfall over 1 min",
                "turn on bulb",
                "flicker ada like candle between 20 % and 70 %",
                "fade bea to 77 % over 3 s like gas-mantle",
                "move boom to lowered over 4 s, bouncing",
                "wait 1 min",
                "turn off bulb, ada like filament",
                "fade bea to 0 % over 2 s like oil-wick",
                "move boom to raised over 4 s, settling",
                "fade daylight through dawn over 1 min",
            ),
            with_outputs(sky, bulb),
        ),
        [GO],
        until=600,
    )
    for name, output in kernel.program.layout.outputs.items():
        assert kernel.holds(Atom(Sort.OUTPUT, name, Test.AT_REST)), (name, output.rest, kernel.wave(name))


def test_a_motor_starts_and_stops_softly_whoever_tells_it() -> None:
    crane = Output("crane", Kind.MOTOR, Setting(0.0), steps=100, soft_start_us=2 * S)
    kernel = played(program(scene("turn on crane", "wait 1 s", "turn off crane"), with_outputs(crane)), [GO])
    assert [wave for _, wave in told(kernel, "crane")] == [Ramp(0, 2 * S, 0.0, 1.0), Ramp(S, 2 * S, 0.5, 0.0)]


# --- what a spoilt copy of the kernel got past ---------------------------------------------------------------------


def test_a_line_that_moves_several_takes_as_long_as_the_longest() -> None:
    kernel = Kernel(program(scene("move boom, gate to lowered over 8 s", 'note "both"')))
    kernel.set_output("gate", 22.5)  # a quarter of the way is left
    kernel.advance(0, [GO[1]])
    while (due := kernel.next_due()) is not None:
        kernel.advance(due)
    assert notes(kernel) == [(8, "both")]
    assert kernel.wave("gate").ends_us == 2 * S
    assert getattr(kernel.wave("gate"), "profile", None) == PROFILES["smooth"]


def test_a_fade_in_a_way_takes_the_time_that_the_line_says() -> None:
    kernel = played(scene("fade ada to 80 % over 3 s like sodium", 'note "there"'), [GO])
    ((_, wave),) = told(kernel, "ada")
    assert wave.ends_us == 3 * S  # type: ignore[attr-defined]
    assert notes(kernel) == [(3, "there")]
    assert value(kernel, "ada", 3) == 0.8


def test_a_move_bounces_as_often_as_the_line_says() -> None:
    for words, impacts in (("", 3), (" once", 2), (" 5 times", 6)):
        ((_, wave),) = told(played(scene(f"move boom to lowered over 700 ms, bouncing{words}"), [GO]), "boom")
        assert isinstance(wave, Curve)
        assert isinstance(wave.profile, Bouncing)
        assert len(wave.profile.impacts) == impacts


def test_what_flashes_is_not_at_rest_in_its_dark_half() -> None:
    kernel = played(scene("flash ada at 60 a minute", "wait 750 ms"), [GO], until=1)
    assert kernel.wave("ada").value_at(kernel.stage.now_us) == 0.0
    assert not kernel.holds(Atom(Sort.OUTPUT, "ada", Test.AT_REST))


def test_the_level_that_a_flash_comes_back_to() -> None:
    fade, coming = Ramp(0, 10 * S, 0.0, 1.0), Course(0, Script.of(Leg(10 * S, 1.0, Ease.EVEN)))
    assert level_left(fade, 3 * S) == pytest.approx(0.3)
    assert level_left(coming, 3 * S) == 1.0
    assert level_left(Steady(0.4), 3 * S) == 0.4


def test_a_lamp_that_was_turned_off_waits_for_nothing() -> None:
    kernel = played(scene("turn on brief", "wait 1 s", "turn off brief"), [GO])
    assert kernel.stage.now_us == S
    assert kernel.next_due() is None
