"""Outputs that change hands: taken and given back, lent, told for a while; and the longest time that one may be on."""

from __future__ import annotations

from dataclasses import replace

import pytest
from acting import LAYOUT, S, lamp, notes, played, program, told, value
from acting import Script as World
from hypothesis import given, settings
from hypothesis import strategies as st

from engine import trace as t
from engine.conditions import Atom, Sort, Test
from engine.courses import Course, Ease, Leg, Script
from engine.curves import PROFILES, Curve, bouncing
from engine.daylight import Follow, Sunlight, end_lux, through
from engine.drive import jump
from engine.events import Detected, StartScene, StopScene
from engine.flicker import Flicker
from engine.kernel import Kernel
from engine.layout import DAYLIGHT, Kind, Layout, Output, Setting, Whereabouts
from engine.manners import MANNERS
from engine.program import conditions
from engine.resuming import followed, resumed
from engine.waves import Flashing, Ramp, State, Steady, Wave

GO, THIEF, NEAR = StartScene("go"), StartScene("thief"), Detected("near", "occupied")
SKY = replace(lamp("sky"), follows_lux=(1.0, 10_000.0), rest=Setting(1.0))
WINDOW = replace(lamp("window"), follows_lux=(500.0, 5.0), rest=Setting(0.0))  # comes on as daylight goes


def scene(*lines: str, name: str = "go") -> str:
    return f"scene {name}\n" + "".join(f"    {line}\n" for line in lines)


def with_outputs(*more: Output) -> Layout:
    return replace(LAYOUT, outputs={**LAYOUT.outputs, **{output.name: output for output in more}})


def follows(kernel: Kernel, seconds: float, name: str = "sky") -> bool:
    """Whether a lamp shows what the daylight of that instant makes of it."""
    output = kernel.program.layout.outputs[name]
    assert output.follows_lux
    expected = Follow(Steady(value(kernel, DAYLIGHT, seconds)), *output.follows_lux).value_at(0)
    return value(kernel, name, seconds) == pytest.approx(expected, abs=1e-12)


# --- taken and given back ------------------------------------------------------------------------------------------

LONG = Script.of(Leg(2 * S, 0.3), Leg(4 * S, 0.2), Leg(3 * S, 0.8, Ease.EVEN), Leg(S, 1.0, Ease.SMOOTH))
QUAY = Whereabouts()
FINITE: list[Wave] = [
    Ramp(0, 10 * S, 0.9, 0.1),
    Curve(0, 10 * S, 0.0, 1.0, PROFILES["smooth"]),
    Curve(0, 10 * S, 1.0, 0.2, bouncing(10 * S)),
    Course(0, LONG, 0.0, 0.9),
    Course(0, LONG, 0.0, 0.9, begins=0.5),
    Course(0, LONG, 1.0, 0.0, state=State.UNDER_WAY),
    through(QUAY, "dusk", 0, 10 * S, 10_000.0, 10_000.0),
    through(QUAY, "dawn", 0, 10 * S, 0.01, 10_000.0),
]


@pytest.mark.parametrize("wave", FINITE, ids=lambda wave: type(wave).__name__)
@given(at_us=st.integers(1, 10 * S - 1), shown=st.floats(0.0, 1.0))
@settings(max_examples=40, deadline=None)
def test_a_wave_given_back_starts_from_what_is_shown_and_ends_as_it_would_have(
    wave: Wave, at_us: int, shown: float
) -> None:
    after = resumed(wave, at_us, shown)
    assert type(after) is type(wave)
    assert after.value_at(at_us) == shown
    assert (after.ends_us, after.state) == (wave.ends_us, wave.state)
    assert after.value_at(10 * S) == wave.value_at(10 * S)


@pytest.mark.parametrize("wave", FINITE, ids=lambda wave: type(wave).__name__)
def test_a_wave_that_nobody_disturbed_is_the_very_same(wave: Wave) -> None:
    assert resumed(wave, 4 * S, wave.value_at(4 * S)) is wave


@pytest.mark.parametrize("wave", FINITE, ids=lambda wave: type(wave).__name__)
def test_a_wave_that_would_have_ended_has_ended(wave: Wave) -> None:
    assert resumed(wave, 10 * S, 0.4) == resumed(wave, 11 * S, 0.4) == Steady(wave.value_at(10 * S))


def test_what_has_no_end_goes_on_in_its_own_step() -> None:
    kernel = played(scene("flash ada at 60 a minute", "flicker bea like candle", "wait 1 s"), [(0, GO)], until=2)
    flash, flicker = kernel.wave("ada"), kernel.wave("bea")
    assert resumed(flash, S, 0.37) is flash
    assert resumed(flicker, S, flicker.value_at(S)) is flicker
    back = resumed(flicker, S, 0.37)
    assert back.value_at(S) == 0.37  # no leap: it glides back to its levels ...
    assert [back.value_at(at) for at in range(2 * S, 9 * S, 7_919)] == [  # ... and is the same fire then
        flicker.value_at(at) for at in range(2 * S, 9 * S, 7_919)
    ]


def test_the_legs_of_a_course_that_are_still_to_come_come_when_they_would_have() -> None:
    after = resumed(Course(S, LONG, 0.0, 1.0), 4 * S, 0.5)
    assert isinstance(after, Course)
    assert [after.from_us + end for end in after.script.ends_us] == [7 * S, 10 * S, 11 * S]
    assert after.value_at(5 * S) == pytest.approx(0.5 - 0.4 / 3 * 0.0 + (0.2 * 0.5 + 0.5 - 0.5) / 3)  # no leap: evenly
    assert after.value_at(10 * S) == pytest.approx(0.5 + 0.5 * 0.8)


@given(
    at_us=st.integers(1, 10 * S - 1),
    shown=st.floats(0.0001, 50_000.0),
    course=st.sampled_from(["dusk", "nightfall", "dawn", "daybreak"]),
)
@settings(max_examples=60, deadline=None)
def test_daylight_given_back_goes_one_way_along_the_sun_and_its_followers_with_it(
    at_us: int, shown: float, course: str
) -> None:
    begins = 10_000.0 if course in ("dusk", "nightfall") else 0.001
    sun = resumed(through(QUAY, course, 0, 10 * S, begins, 10_000.0), at_us, shown)
    assert isinstance(sun, Sunlight)
    assert sun.value_at(10 * S) == end_lux(QUAY, course, 10_000.0)
    steps = [sun.value_at(at_us + (10 * S - at_us) * step // 40) for step in range(41)]
    assert steps in (sorted(steps), sorted(steps, reverse=True))
    lamp_after = followed(Follow(through(QUAY, course, 0, 10 * S, begins, 10_000.0), 1.0, 10_000.0), sun, at_us)
    for step in range(41):
        now = at_us + (10 * S - at_us) * step // 40
        assert lamp_after.value_at(now) == Follow(Steady(sun.value_at(now)), 1.0, 10_000.0).value_at(0)


@pytest.mark.parametrize("thief", ["fade daylight through dawn over 20 s", "hold daylight", "release daylight"])
@pytest.mark.parametrize("lasts", ["1 s", "30 s", "59 s", "10 min"])
def test_daylight_and_its_followers_are_in_step_whoever_has_them(thief: str, lasts: str) -> None:
    text = scene("fade daylight through nightfall over 4 min", "wait 20 min") + scene(
        "takes daylight from go", thief, f"wait {lasts}", name="thief"
    )
    kernel = played(program(text, with_outputs(SKY, WINDOW)), [(0, GO), (120, THIEF)], until=1500)
    assert isinstance(told(kernel, DAYLIGHT)[0][1], Sunlight)
    for at in range(1500):
        assert follows(kernel, at), at
        assert follows(kernel, at, "window"), at
    assert value(kernel, DAYLIGHT, 1200) == end_lux(QUAY, "nightfall", 10_000.0)  # as if nobody had taken it


def test_daylight_lent_to_a_scene_and_stopped_there_is_in_step_too() -> None:
    text = scene(
        "fade daylight through dusk over 1 min", "run other", "wait 20 s", "fade daylight through dawn over 1 min"
    )
    text += scene("fade daylight through nightfall over 1 min", "wait 1 h", name="other")
    made = program(text, with_outputs(SKY, WINDOW))
    kernel = played(made, [(0, GO), (90, StopScene("other"))], until=400)
    assert all(follows(kernel, at) and follows(kernel, at, "window") for at in range(400))


def test_a_move_that_nobody_disturbed_while_taken_keeps_its_shape() -> None:
    text = scene("move boom to lowered over 8 s, bouncing") + scene(
        "takes boom from go", "wait 2 s", "if near is occupied", "    release boom", name="thief"
    )
    kernel = played(text, [(0, GO), (3, THIEF)])
    (_, moving), *later = told(kernel, "boom")
    assert isinstance(moving, Curve)
    assert all(wave == moving for _, wave in later)


def test_a_lamp_that_comes_on_still_does_when_given_back_and_no_drop_freezes_it() -> None:
    text = scene("as long as near is clear", "    turn on ada like gas-mantle", "    wait 1 h") + scene(
        "takes ada from go", "turn off ada", "wait 1 s", name="thief"
    )
    kernel = played(text, [(0, GO), (0.5, THIEF), (2, NEAR)])
    wave = told(kernel, "ada")[-1][1]
    assert isinstance(wave, Course)
    assert wave.state is State.OWN_WAY
    assert value(kernel, "ada", 1.5) == 0.0
    assert value(kernel, "ada", 60) == 1.0


def test_a_fade_given_back_still_freezes_when_its_block_is_dropped() -> None:
    text = scene("as long as near is clear", "    fade ada to 100 % over 10 s", 'note "over"') + scene(
        "takes ada from go", "turn off ada", "wait 2 s", name="thief"
    )
    kernel = played(text, [(0, GO), (2, THIEF), (6, NEAR)])
    assert notes(kernel) == [(6, "over")]
    assert value(kernel, "ada", 6) == value(kernel, "ada", 60) == pytest.approx(2 / 6)


def test_a_flash_given_back_goes_back_to_its_own_level_when_it_is_dropped() -> None:
    text = scene("set ada to 40 %", "as long as near is clear", "    flash ada at 60 a minute", "    wait 1 h") + scene(
        "takes ada from go", "set ada to 70 %", "wait 2 s", name="thief"
    )
    kernel = played(text, [(0, GO), (2, THIEF), (6, NEAR)])
    assert isinstance(told(kernel, "ada")[-2][1], Flashing)
    assert value(kernel, "ada", 60) == pytest.approx(0.4)


def test_a_flash_told_and_dropped_while_taken_leaves_the_level_from_before() -> None:
    text = scene(
        "set ada to 40 %",
        "wait 3 s",
        "as long as near is clear",
        "    flicker ada like candle",
        "    wait 1 h",
        "wait 1 h",
    ) + scene("takes ada from go", "set ada to 70 %", "wait 20 s", name="thief")
    kernel = played(text, [(0, GO), (2, THIEF), (6, NEAR)])
    assert told(kernel, "ada")[-1] == (22, Steady(0.4))


def test_the_one_from_whom_it_was_taken_gets_it_back() -> None:
    text = (
        scene("set ada to 10 %", "wait 1 h")
        + scene("takes ada from go", "set ada to 20 %", "wait 10 s", name="thief")
        + scene("takes ada from thief", "set ada to 30 %", "wait 2 s", name="third")
    )
    kernel = played(text, [(0, GO), (1, THIEF), (2, StartScene("third"))])
    assert told(kernel, "ada") == [
        (0, Steady(0.1)), (1, Steady(0.2)), (2, Steady(0.3)), (4, Steady(0.2)), (11, Steady(0.1)),
    ]  # fmt: skip


def test_a_stopped_taker_gives_back_what_it_shows_and_not_its_rest() -> None:
    text = scene("fade ada to 100 % over 10 s", "wait 1 h") + scene(
        "takes ada from go", "set ada to 80 %", "wait 1 h", name="thief"
    )
    kernel = played(text, [(0, GO), (2, THIEF), (5, StopScene("thief"))])
    assert value(kernel, "ada", 5) == pytest.approx(0.8)
    assert value(kernel, "ada", 7.5) == pytest.approx(0.9)


# --- told for a while ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", ["flash ada at 60 a minute", "flicker ada like candle", 'show ada as "Iso 4s"'])
@pytest.mark.parametrize("cut", [False, True])
def test_what_was_before_a_line_with_for_goes_on_and_keeps_its_level(line: str, cut: bool) -> None:
    text = scene(
        "set ada to 40 %",
        "as long as far is clear",
        f"    {line}",
        "    wait 500 ms",
        "    as long as near is clear",
        "        turn on ada for 5 s",
        "        wait 1 h",
        "    wait 1 h",
    )
    kernel = played(text, [(0, GO), (2 if cut else 8, NEAR), (20, Detected("far", "occupied"))])
    begun = told(kernel, "ada")[0][1]
    assert told(kernel, "ada")[1:] == [
        (0.5, Steady(1.0)),
        (2 if cut else 5.5, begun),
        (20, Steady(0.4)),  # the drop of the block that began it ends it, and leaves the level from before it
    ]


def test_a_flash_and_a_line_with_for_in_one_block_are_dropped_with_it() -> None:
    text = scene(
        "set ada to 40 %",
        "as long as near is clear",
        "    flash ada at 60 a minute",
        "    wait 500 ms",
        "    turn on ada for 5 s",
        "    wait 1 h",
    )
    kernel = played(text, [(0, GO), (20, NEAR)])
    assert told(kernel, "ada")[-1] == (20, Steady(0.4))


def test_what_a_scene_that_was_run_began_is_not_dropped_with_the_block_that_ran_it() -> None:
    text = scene(
        "set ada to 40 %", "as long as near is clear", "    flash ada at 60 a minute", "    run other", "    wait 1 h"
    ) + scene("wait 1 s", "flash ada at 90 a minute", name="other")
    kernel = played(text, [(0, GO), (20, NEAR)])
    at, wave = told(kernel, "ada")[-1]
    assert (at, isinstance(wave, Flashing)) == (1, True)


def test_a_line_with_for_that_ends_while_its_lamp_is_taken_goes_back_all_the_same() -> None:
    text = scene("set ada to 40 %", "turn on ada for 5 s", "wait 1 h") + scene(
        "takes ada from go", "turn off ada", "wait 20 s", name="thief"
    )
    assert told(played(text, [(0, GO), (1, THIEF)]), "ada")[-1] == (21, Steady(0.4))


def test_a_lamp_that_was_coming_on_before_a_line_with_for_has_come_on_after_it() -> None:
    kernel = played(scene("turn on ada like gas-mantle", "flicker ada like candle for 20 s", "wait 1 s"), [(0, GO)])
    assert value(kernel, "ada", 60) == 1.0


def test_a_flicker_over_a_lamp_that_comes_on_is_dropped_to_where_that_would_have_come() -> None:
    kernel = played(
        scene("turn on ada like gas-mantle", "as long as near is clear", "    flicker ada like candle", "    wait 1 h"),
        [(0, GO), (4, NEAR)],
    )
    assert told(kernel, "ada")[-1] == (4, Steady(1.0))


# --- the longest time on -------------------------------------------------------------------------------------------


def offs(kernel: Kernel) -> list[float]:
    return [r.at_us / S for r in kernel.trace if isinstance(r, t.Told) and r.why == "longest time on"]


BRIEF = with_outputs(lamp("brief", longest_on_us=5 * S, comes_on="dynamo"))


def test_a_lamp_that_goes_off_slowly_is_off_at_once_when_its_time_is_up_and_has_its_time_again() -> None:
    kernel = played(program(scene("turn on brief", "wait 10 s", "turn on brief", "wait 1 h"), BRIEF), [(0, GO)])
    assert offs(kernel) == [5, 15]
    assert value(kernel, "brief", 5) == 0.0


@pytest.mark.parametrize("off", ["turn off brief like filament", "fade brief to 0 % over 500 ms"])
def test_a_lamp_that_died_down_by_itself_has_its_whole_time_again(off: str) -> None:
    kernel = played(scene("turn on brief", off, "wait 2 s", "turn on brief", "wait 1 h"), [(0, GO)])
    assert offs(kernel) == [pytest.approx(7.5 if "fade" in off else 7)]


@pytest.mark.parametrize("off", ["turn off brief like filament", "fade brief to 0 % over 500 ms"])
def test_what_is_dark_already_is_not_told_again_that_its_time_is_up(off: str) -> None:
    assert offs(played(scene("turn on brief", off, "wait 1 h"), [(0, GO)])) == []


def test_a_lamp_that_is_told_again_and_again_is_on_all_the_while() -> None:
    text = scene("turn on brief", "wait 2 s", "flash brief at 60 a minute", "wait 2 s", "set brief to 30 %", "wait 1 h")
    assert offs(played(text, [(0, GO)])) == [5]


# --- before the first instant --------------------------------------------------------------------------------------


def test_who_follows_daylight_begins_as_it_is() -> None:
    kernel = Kernel(
        program(scene("wait 1 s"), with_outputs(SKY, WINDOW, Output(DAYLIGHT, Kind.DAYLIGHT, Setting(1e4))))
    )
    kernel.set_output(DAYLIGHT, 0.5)
    kernel.advance(0, [GO])
    assert [kernel.wave(name) for name in ("sky", "window")] == [Steady(0.0), Steady(1.0)]
    assert {r.output for r in kernel.trace if isinstance(r, t.Told)} == {DAYLIGHT, "sky", "window"}


def test_a_lamp_with_a_way_begins_at_its_level_and_comes_from_there() -> None:
    kernel = Kernel(program(scene("turn on bulb", "wait 1 s"), with_outputs(lamp("bulb", comes_on="filament"))))
    kernel.set_output("bulb", 0.6)
    kernel.advance(0, [GO])
    wave = kernel.wave("bulb")
    assert isinstance(wave, Course)
    assert (wave.value_at(0), wave.value_at(S)) == (0.6, 1.0)


# --- thresholds ----------------------------------------------------------------------------------------------------


@given(st.integers(1, 99), st.booleans())
@settings(max_examples=60, deadline=None)
def test_past_a_share_of_the_way_is_seen_in_its_very_first_instant(percent: int, back: bool) -> None:
    """The boom's way is from raised, 90 degrees, to lowered, 0: past half of it is below 45."""
    condition = f"boom is {'not ' * back}past {percent} %"
    made = program(scene(f"move boom to {'raised' if back else 'lowered'} over 7 s") + scene(
        f"wait until {condition}", 'note "there"', name="other"
    ))  # fmt: skip
    kernel = Kernel(made)
    kernel.set_output("boom", 0.0 if back else 90.0)
    jump(kernel, World([(0, GO), (0, StartScene("other"))]), 60 * S)
    ((found, _),), ((_, wave),) = notes(kernel), [pair for pair in told(kernel, "boom") if pair[1] != Steady(0.0)][-1:]
    assert wave.value_at(round(found * S)) == pytest.approx(90 - 0.9 * percent, abs=1e-3)  # type: ignore[attr-defined]
    (question,) = conditions(made)
    twin = Kernel(made)
    for at_us, holds in ((round(found * S) - 1, False), (round(found * S), True)):
        twin.stage.outputs["boom"].wave = Steady(wave.value_at(at_us))  # type: ignore[attr-defined]
        assert twin.truth.question(question.term)() is holds


# --- a flicker and its conditions ----------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [0.0, 0.1, 0.7, 1.0])
def test_a_flicker_that_cannot_pass_a_level_keeps_nobody_busy(level: float) -> None:
    made = program(scene("set ada to 40 %", "flicker ada like candle between 20 % and 60 %", "wait 1 h"))
    kernel = Kernel(made)
    kernel.watch(Atom(Sort.OUTPUT, "ada", Test.ABOVE, level))
    worked = []
    kernel.advance(0, [GO])
    while (due := kernel.next_due()) is not None:
        worked.append(due)
        kernel.advance(due)
    assert worked == [3600 * S]


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.sampled_from(sorted(MANNERS)), st.integers(0, 60 * S))
@settings(max_examples=60, deadline=None)
def test_a_flicker_keeps_within_its_reach(low: float, high: float, manner: str, at_us: int) -> None:
    wave = Flicker(0, 9 * S, 7, MANNERS[manner], (0.5, 0.6), (min(low, high), max(low, high)))
    least, greatest = wave.reach
    assert least - 1e-12 <= wave.value_at(at_us) <= greatest + 1e-12
