"""Which lamps flash too fast, by which lines: in traces made by hand, and in scenes as text that a check plays."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from engine import flashes
from engine.chance import key_of
from engine.courses import Course, Leg, Script
from engine.flicker import Flicker, Listed
from engine.layout import Aspect, Blink, Button, Itself, Kind, Layout, Output, Place, Position, Setting
from engine.program import Program, Scene
from engine.trace import Record, Told
from engine.waves import Flashing, Ramp, State, Steady, Wave
from scenes.compiler import compile_program
from scenes.parse import parse
from wayside.checks import flash_acts, flash_warnings
from wayside.checks.flash_acts import LOOK_US
from wayside.checks.flash_doubts import may_flash
from wayside.checks.flash_warnings import CAUTION, MOST_WARNINGS, FastFlashing, check_by_playing, fast_flashing, problem

S = 1_000_000
NAMES = tuple(f"lamp-{number}" for number in range(1, 31))


def lamp(name: str, area: float | None = None, **more: object) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0), steps=255, lit_area_mm2=area, **more)  # type: ignore[arg-type]


def layout(area: float | None = None, viewing: int | None = None, *more: Output) -> Layout:
    outputs = (*(lamp(name, area) for name in NAMES), Output("bell", Kind.SOUND, Setting(0.0)), *more)
    named = {output.name: output for output in outputs}
    return Layout("bench", outputs=named, buttons={"knob": Button("knob")}, viewing_mm=viewing)


def line(number: int) -> Place:
    return Place("bench.scene", number, 5, number, 20)


def blink(per_s: float, slot: int = 0, slots: int = 2) -> Blink:
    return Blink(round(S / per_s * 1000), 1000, slot, slots)


def told(at_s: float, name: str, wave: Wave, at_line: int, scene: str = "s") -> Told:
    return Told(round(at_s * S), name, wave, scene, line(at_line))


def flashing(
    at_s: float, name: str, per_s: float, at_line: int, scene: str = "s", slot: int = 0, slots: int = 2
) -> Told:
    return told(at_s, name, Flashing(round(at_s * S), blink(per_s, slot, slots)), at_line, scene)


def found(
    trace: Sequence[Record], until_s: float = 60, on: Layout | None = None, accepts: str = ""
) -> list[FastFlashing]:
    scenes = {
        name: Scene(name, line(1), (), accepts_flashing="it is a show" if name == accepts else "")
        for name in ("s", "t")
    }
    return fast_flashing(Program(on or layout(), scenes), trace, round(until_s * S))


def lines(warnings: Sequence[FastFlashing]) -> list[tuple[int, ...]]:
    return [tuple(place.line for place in warning.places) for warning in warnings]


# --- traces --------------------------------------------------------------------------------------------------------


def test_one_lamp_that_flashes_too_fast() -> None:
    (warning,) = found([flashing(5, "lamp-1", 4, 3)])
    assert warning == FastFlashing(4, 5_125_000, ("lamp-1",), (line(3),), ("s",))


def test_three_a_second_is_not_too_fast() -> None:
    assert found([flashing(5, "lamp-1", 3, 3)], until_s=3600) == []
    assert found([flashing(5, "lamp-1", 3.1, 3)]) != []


def test_what_lines_turn_on_and_off_counts_as_a_flash_does() -> None:
    trace = [told(10 + 0.1 * n, "lamp-1", Steady(float(n % 2 == 0)), 3 + n % 2) for n in range(10)]
    (warning,) = found(trace)
    assert (warning.flashes, warning.places) == (5, (line(3), line(4)))


def test_lamps_in_turn_by_many_lines() -> None:
    """Five lamps, each on for 50 ms once, 150 ms apart: none of them flashes twice."""
    trace = []
    for n in range(5):
        trace += [
            told(1 + 0.15 * n, NAMES[n], Steady(1.0), 2 * n + 1),
            told(1.05 + 0.15 * n, NAMES[n], Steady(0.0), 2 * n + 2),
        ]
    (warning,) = found(trace)
    assert (warning.flashes, warning.lamps, len(warning.places)) == (5, NAMES[:5], 10)
    slowly = [one._replace(at_us=one.at_us * 3) for one in trace]
    assert found(slowly) == []


def test_a_pair_that_alternates() -> None:
    """Their sum is constant, so each is counted by itself."""
    pair = [flashing(1, "lamp-1", 3, 3, slot=0), flashing(1, "lamp-2", 3, 3, slot=1)]
    assert found(pair) == []
    pair = [flashing(1, "lamp-1", 4, 3, slot=0), flashing(1, "lamp-2", 4, 3, slot=1)]
    (warning,) = found(pair)
    assert (warning.flashes, warning.places) == (4, (line(3),))


def test_two_scenes_that_together_are_too_fast() -> None:
    """Short flashes, two a second each, the second lamp a quarter of a second later."""
    trace = [flashing(1, "lamp-1", 2, 3, "s", 0, 10), flashing(1.25, "lamp-2", 2, 30, "t", 0, 10)]
    (warning,) = found(trace)
    assert (warning.flashes, warning.scenes, warning.places) == (4, ("s", "t"), (line(3), line(30)))
    assert found(trace[:1]) == []


def test_others_that_flash_slowly_beside_it_are_not_named() -> None:
    trace = [flashing(1, "lamp-1", 5, 3), *(flashing(1, name, 0.5, 9) for name in NAMES[1:4])]
    assert lines(found(trace)) == [(3,)]


def test_one_small_lamp_among_many_is_counted_by_itself() -> None:
    trace = [flashing(1, name, 0.5, 9) for name in NAMES[1:]]
    assert lines(found([*trace, flashing(1, "lamp-1", 5, 3)])) == [(3,)]


def test_steady_light_and_slow_fades_do_not_thin_it_out() -> None:
    """Five lamps that flash once each, as above, while twenty-five others are lit or fade up."""
    others = [told(0, name, Steady(1.0), 50) for name in NAMES[5:15]]
    others += [told(29, name, Ramp(29 * S, 60 * S, 0.0, 1.0), 51) for name in NAMES[15:30]]
    trace = []
    for n in range(5):
        trace += [
            told(30 + 0.15 * n, NAMES[n], Steady(1.0), 2 * n + 1),
            told(30.05 + 0.15 * n, NAMES[n], Steady(0.0), 2 * n + 2),
        ]
    assert lines(found([*others, *trace])) == [tuple(range(1, 11))]


def in_turn(on: int, off: int, scene: str = "s") -> list[Told]:
    """Five lamps, each on once for 50 ms, 150 ms apart, at 30 s."""
    trace = []
    for n in range(5):
        trace.append(told(30 + 0.15 * n, NAMES[n], Steady(1.0), on, scene))
        trace.append(told(30.05 + 0.15 * n, NAMES[n], Steady(0.0), off, scene))
    return trace


def test_the_lamps_of_a_line_and_of_a_scene_are_counted_by_themselves() -> None:
    """While twenty-five others are turned on in the same second, each of the five being a thirtieth of all light."""

    def others(scene: str) -> list[Told]:
        return [told(29.5, name, Steady(1.0), 50, scene) for name in NAMES[5:]]

    assert lines(found([*others("s"), *in_turn(7, 7)])) == [(7,)]
    crossed = [one._replace(place=line(n + 1)) for n, one in enumerate(in_turn(0, 0))]
    assert lines(found([*others("t"), *crossed])) == [tuple(range(1, 11))]
    assert found([*others("s"), *crossed]) == []


def test_the_same_again_and_again_is_not_looked_at_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    real = flashes.series

    def counting(waves: Sequence[tuple[float, flashes.History]], from_us: int, to_us: int) -> object:
        asked.append(len(waves))
        return real(waves, from_us, to_us)

    monkeypatch.setattr(flash_warnings, "series", counting)
    trace = [told(10 * n, "lamp-1", Steady(float(n % 2 == 0)), 3 + n % 2) for n in range(400)]
    assert found(trace, 4000) == []
    assert len(asked) <= 3 * flash_warnings.TIMES
    asked.clear()
    assert found([flickering(name, Leg(100_000, 0.0), Leg(100_000, 1.0)) for name in NAMES]) != []
    assert max(asked) == len(NAMES)  # the largest flash too fast, so all are looked at


def test_the_worst_comes_first_and_there_is_an_end() -> None:
    trace = [flashing(1, NAMES[n], 4 + n, n + 1) for n in range(MOST_WARNINGS + 3)]
    warnings = found(trace)
    assert len(warnings) == MOST_WARNINGS
    assert [warning.flashes for warning in warnings] == list(range(MOST_WARNINGS + 6, 6, -1))


def test_the_same_lines_again_are_told_once_at_their_worst() -> None:
    trace = [flashing(1, "lamp-1", 4, 3), told(20, "lamp-1", Steady(0.0), 4), flashing(40, "lamp-1", 6, 3)]
    (warning,) = found(trace)
    assert warning.flashes == 6
    assert warning.at_us > 40 * S


def test_what_joins_late_is_looked_at() -> None:
    """An hour of slow flashing, then something is added that is too much together with it."""
    slow = flashing(1, "lamp-1", 2, 3, "s", 0, 10)
    assert LOOK_US < 1000 * S
    late = flashing(3000.25, "lamp-2", 2, 30, "t", 0, 10)
    assert lines(found([slow, late], 3600)) == [(3, 30)]


def test_what_lasts_is_looked_at_for_a_while_only(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[int, int]] = []
    real = flashes.series

    def counting(waves: Sequence[tuple[float, object]], from_us: int, to_us: int) -> object:
        asked.append((from_us, to_us))
        return real(waves, from_us, to_us)  # type: ignore[arg-type]

    monkeypatch.setattr(flash_warnings, "series", counting)
    assert found([flashing(1, "lamp-1", 2, 3)], 36_000) == []
    assert max(to_us for _, to_us in asked) == 1 * S + LOOK_US + flash_acts.EDGE_US


def test_what_lies_across_two_stretches_is_found() -> None:
    """Four flashes in less than a second, at any time after a slow light has begun."""
    assert flash_acts.OVERLAP_US > S
    for tenth in range(45, 65):
        start = tenth / 10
        quick = [told(start + 0.1 * n, "lamp-2", Steady(float(n % 2 == 0)), 7) for n in range(8)]
        assert [one.flashes for one in found([flashing(1, "lamp-1", 0.2, 3), *quick])] == [4], start


def test_what_comes_after_the_end_is_left_out() -> None:
    assert found([flashing(5, "lamp-1", 9, 3)], until_s=5) == []
    assert found([flashing(5, "lamp-1", 9, 3)], until_s=6) != []
    later = [told(50 + 0.1 * n, "lamp-1", Steady(float(n % 2 == 0)), 3) for n in range(12)]
    assert found([flashing(1, "lamp-1", 1, 2), *later], until_s=40) == []


def flickering(name: str, *legs: Leg) -> Told:
    wave = Flicker(0, 0, key_of(name), Listed("bench", Script.of(*legs)), (0.0, 0.0), (0.0, 1.0))
    return told(0, name, wave, 3)


def test_a_flicker_is_looked_at_for_a_minute() -> None:
    """A burst of five flashes once in 40 s, wherever in its list a lamp begins."""
    burst = [Leg(60_000, float(n % 2 == 0)) for n in range(10)]
    for name in NAMES[:10]:
        assert [one.flashes for one in found([flickering(name, Leg(40 * S, 0.0), *burst)])] == [5]


def test_a_flicker_that_says_that_it_cannot_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flash_warnings, "series", None)  # asking it would fail
    assert found([flickering("lamp-1", Leg(S, 0.0), Leg(S, 1.0))]) == []
    assert found([flickering("lamp-1", Leg(50_000, 0.1), Leg(50_000, 0.2))]) == []


def test_of_many_that_flicker_the_largest_are_looked_at_first(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    real = flashes.series

    def counting(waves: Sequence[tuple[float, flashes.History]], from_us: int, to_us: int) -> object:
        asked.append(len(waves))
        return real(waves, from_us, to_us)

    monkeypatch.setattr(flash_warnings, "series", counting)
    assert found([flickering(name, Leg(700_000, 0.3), Leg(400_000, 0.4)) for name in NAMES]) == []
    assert found([flickering(name, Leg(700_000, 0.0), Leg(400_000, 0.5)) for name in NAMES], 5) == []
    assert max(asked) == flash_warnings.FLICKERING


def test_lit_area_and_distance() -> None:
    trace = [flashing(1, name, 4, 3) for name in NAMES]
    assert found(trace, on=layout(20.0, 1000)) == []  # 30 lamps of 20 mm2: 0.0006 sr
    assert found(trace, on=layout(200.0, 1000)) == []  # 0.006 sr, which is at most that
    assert found(trace, on=layout(201.0, 1000)) != []
    assert found(trace, on=layout(20.0, 300)) != []
    assert found(trace, on=layout(20.0)) != []
    assert found(trace, on=layout(None, 1000)) != []


def test_areas_of_lamps_that_flash_by_different_lines_add_up() -> None:
    trace = [flashing(1, NAMES[n], 4, n + 1) for n in range(3)]
    assert found(trace, on=layout(2000.0, 1000)) == []
    assert len(found(trace, on=layout(2001.0, 1000))) == 3


def test_a_large_lamp_weighs_more_than_a_small_one() -> None:
    """Two a second each, out of step: the small one is a twelfth of the light and adds no flash."""
    trace = [flashing(1, "lamp-1", 2, 3, "s", 0, 10), flashing(1.25, "small", 2, 30, "t", 0, 10)]
    assert found(trace, on=layout(1100.0, None, lamp("small", 100.0))) == []
    assert found(trace, on=layout(800.0, None, lamp("small", 100.0))) != []
    trace.append(flashing(1, "tiny", 0.5, 40))
    unstated = layout(800.0, None, lamp("small", None), lamp("tiny", 10.0))
    assert lines(found(trace, on=unstated)) == [(3, 30, 40)]  # not stated: as large as the largest


def test_a_scene_that_accepts_it_is_left_out() -> None:
    trace = [flashing(1, "lamp-1", 5, 3), flashing(1, "lamp-2", 4, 9, "t")]
    assert lines(found(trace)) == [(3,), (9,)]
    assert lines(found(trace, accepts="s")) == [(9,)]


def test_only_lamps_count() -> None:
    assert found([flashing(1, "bell", 8, 3)]) == []


def test_a_lamp_whose_board_flashes_it_by_itself() -> None:
    board = layout(
        None, None, lamp("pair", itself=Itself.FLASHES, itself_us=200_000), lamp("fire", itself=Itself.FLICKERS)
    )
    assert [one.flashes for one in found([told(1, "pair", Steady(1.0), 3)], on=board)] == [5]
    assert found([told(1, "pair", Steady(0.0), 3)], on=board) == []
    assert found([told(1, "fire", Steady(1.0), 3)], on=board) == []


def test_a_lamp_that_flashes_at_rest_blames_the_layout_file() -> None:
    place = Place("layout.yaml", 7, 1, 7, 5)
    beacon = Output("beacon", Kind.LAMP, Setting(1.0, blink(5)), place)
    (warning,) = found([], on=layout(None, None, beacon))
    assert (warning.lamps, warning.places, warning.scenes) == (("beacon",), (place,), ())


def test_a_state_from_before_the_first_instant_is_no_change() -> None:
    begins = told(0, "lamp-1", Steady(1.0), 1)._replace(why="begins")
    trace = [begins, *(told(0.1 * n, "lamp-1", Steady(float(n % 2 == 0)), 3) for n in range(1, 8))]
    assert found(trace) == []  # off, on, off, on, off, on, off: three flashes
    assert [
        one.flashes for one in found([*trace, *(told(0.1 * n, "lamp-1", Steady(float(n % 2 == 0)), 3) for n in (7, 8))])
    ] == [4]


def test_a_character_is_counted_by_its_flashes() -> None:
    ultra = Course(0, Script.of(Leg(100_000, 1.0), Leg(100_000, 0.0)), repeats=True, state=State.FLASHING)
    assert [one.flashes for one in found([told(0, "lamp-1", ultra, 3)])] == [5]
    quick = Course(0, Script.of(Leg(500_000, 1.0), Leg(500_000, 0.0)), repeats=True, state=State.FLASHING)
    assert found([told(0, "lamp-1", quick, 3)]) == []


def test_a_lamp_that_comes_on_with_a_stutter() -> None:
    def stutter(times: int) -> Course:
        return Course(0, Script.of(*[Leg(50_000, float(n % 2 == 0)) for n in range(2 * times)]))

    assert found([told(0, "lamp-1", stutter(3), 3)]) == []
    assert [one.flashes for one in found([told(0, "lamp-1", stutter(4), 3)])] == [4]


def test_the_sentence() -> None:
    said = problem(FastFlashing(5, 3_200_000, ("a", "b"), (line(3), line(9)), ("s",)))
    assert (
        said.what
        == "`a` and `b` flash, together or each by itself, 5 times within one second, from 3.2 s on: more than three."
    )
    assert CAUTION in said.instead
    assert "accepts flashing because" in said.instead
    assert "states `viewing distance` and the `lit area`" in said.instead
    assert "lit area" not in problem(FastFlashing(5, 0, ("a",), (line(3),), (), stated=True)).instead
    assert (said.place, said.also, said.advice) == (line(3), ((line(9), "and here"),), True)
    assert problem(FastFlashing(5, 0, ("a",), (line(3),), ("s",)), "s").what == (
        "`a` flashes 5 times within one second, when `s` is played: more than three."
    )


# --- scenes --------------------------------------------------------------------------------------------------------

SIGNAL = Output(
    "signal",
    Kind.SIGNAL,
    Setting(0.0),
    aspects=(
        Aspect("danger", (("red", 1.0), ("green", 0.0)), stops=True),
        Aspect("clear", (("red", 0.0), ("green", 1.0))),
    ),
)
ARM = Output("arm", Kind.SERVO, Setting(0.0), positions=(Position("up", 0.0), Position("down", 90.0)), travel_us=S)
STAGE = layout(None, None, SIGNAL, lamp("red"), lamp("green"), ARM)


def program(text: str, on: Layout = STAGE) -> Program:
    source = f"group lamps: {', '.join(NAMES)}\ngroup five: {', '.join(NAMES[:5])}\n{text}"
    parsed = parse(source, "bench.scene")
    assert not parsed.problems, parsed.problems
    made, problems = compile_program([parsed.node], on)
    assert not [one for one in problems if not one.advice], problems
    return made


def scene(body: str, name: str = "s") -> str:
    return f"scene {name}\n" + "".join(f"    {one}\n" for one in body.strip("\n").split("\n"))


FAST = {
    "a flash": "flash lamp-1 at 200 a minute",
    "a loop": "repeat\n    turn on lamp-1\n    wait 100 ms\n    turn off lamp-1\n    wait 100 ms",
    "a loop that waits now and then": (
        "repeat\n    repeat 5 times\n        turn on lamp-1\n        wait 60 ms to 90 ms\n        turn off lamp-1\n"
        "        wait 60 ms to 90 ms\n    wait 5 s to 10 s"
    ),
    "a loop of two halves": "repeat\n    turn on lamp-1 for 100 ms\n    wait 100 ms",
    "one after another": "for each lamp in five, 100 ms apart\n    turn on lamp for 50 ms",
    "side by side": (
        "together\n    repeat\n        turn on lamp-1 for 50 ms\n        wait 450 ms\n"
        "    in order\n        wait 250 ms\n"
        "        repeat\n            turn on lamp-2 for 50 ms\n            wait 450 ms"
    ),
    "lines in a row": "wait 20 s\n" + "turn on lamp-1 for 50 ms\nwait 50 ms\n" * 4,
    "a signal": "repeat\n    set signal to clear\n    wait 100 ms\n    set signal to danger\n    wait 100 ms",
    "short fades": "repeat\n    fade lamp-1 to 100 % over 100 ms\n    fade lamp-1 to 0 % over 100 ms",
    "two flashes out of step": ("flash lamp-1 and lamp-2 in turn at 240 a minute each\nwait 1 s\nturn off lamp-2"),
}
SLOW = {
    "a flash": "flash lamp-1 at 180 a minute",
    "reds of a crossing": "turn on lamp-3\nwait 3 s\nturn off lamp-3\nflash five in turn at 35 a minute each",
    "a loop": "repeat\n    turn on lamp-1\n    wait 500 ms\n    turn off lamp-1\n    wait 500 ms",
    "windows": (
        "for each lamp in lamps side by side\n    repeat\n        wait 20 s to 4 min\n        turn on lamp\n"
        "        wait 1 min to 9 min\n        turn off lamp"
    ),
    "a lamplighter": "for each lamp in lamps, 6 s apart\n    fade lamp to 85 % over 2 s",
    "quickly on": "for each lamp in lamps, 20 ms apart\n    turn on lamp\nwait 100 ms\nturn off lamps",
    "five changes": "repeat 3 times\n    turn on lamp-1 for 200 ms\n    wait 200 ms",
    "waits for a hand": (
        "repeat\n    turn on lamp-1\n    wait until knob is pressed\n    turn off lamp-1\n    wait until knob is let go"
    ),
    "nothing but sound": "repeat\n    turn on bell for 50 ms\n    wait 50 ms",
}


@pytest.mark.parametrize("lines", FAST.values(), ids=FAST)
def test_scenes_that_flash_too_fast_are_found(lines: str) -> None:
    made = program(scene(lines))
    assert may_flash(made) == ["s"]
    said = check_by_playing(made)
    assert len(said) == 1
    assert CAUTION in said[0].instead
    assert "when `s` is played" in said[0].what


@pytest.mark.parametrize("lines", SLOW.values(), ids=SLOW)
def test_scenes_that_do_not(lines: str) -> None:
    assert check_by_playing(program(scene(lines))) == []


@pytest.mark.parametrize("name", [name for name in SLOW if name != "quickly on"])
def test_most_scenes_are_not_even_played(name: str) -> None:
    assert may_flash(program(scene(SLOW[name]))) == []


@pytest.mark.parametrize(
    "text",
    [
        "flash lamp-1 at 150 a minute\nrepeat\n    turn on lamp-2 for 100 ms\n    wait 400 ms",
        "fade lamp-1 to 100 % over 1 s like tube",
        "turn on pair",
    ],
)
def test_what_might_be_too_fast_is_played(text: str) -> None:
    board = layout(None, None, lamp("pair", itself=Itself.FLASHES, itself_us=200_000))
    assert may_flash(program(scene(text), board)) == ["s"]


def test_what_a_doubt_is_about_is_played_and_dropped() -> None:
    """The static look is rather too careful: a pair that alternates at 120 a minute each is no flash too many."""
    made = program(scene("flash lamp-1 and lamp-2 in turn at 120 a minute each"))
    assert may_flash(made) == ["s"]
    assert check_by_playing(made) == []


def test_a_scene_that_accepts_it_is_not_played() -> None:
    made = program(scene('accepts flashing because "it is a welder"\n' + FAST["a flash"]))
    assert may_flash(made) == []
    assert check_by_playing(made) == []


def test_what_a_scene_does_when_it_is_stopped_is_played_too() -> None:
    made = program(scene("when stopped\n    flash lamp-1 at 300 a minute\n    wait 2 s\nturn on lamp-2\nwait 5 min"))
    assert may_flash(made) == ["s"]
    (said,) = check_by_playing(made)
    assert "`lamp-1` flashes 5 times" in said.what


def test_a_scene_that_another_runs_over_and_over() -> None:
    text = scene("turn on lamp-1 for 100 ms", "once") + scene("repeat\n    run once\n    wait 100 ms", "often")
    made = program(text)
    assert may_flash(made) == ["often"]
    (said,) = check_by_playing(made)
    assert said.place.line == 4


def test_a_scene_that_starts_itself_does_not_go_on_for_ever() -> None:
    assert may_flash(program(scene("turn on lamp-1\nwait 1 s\nturn off lamp-1\nwait 1 s\nstart s"))) == []


def test_loops_in_loops_and_scenes_that_run_each_other_come_to_an_end() -> None:
    loops = "".join("    " * depth + "repeat\n" for depth in range(8)) + "    " * 8 + "wait 1 ms"
    ring = [scene("\n".join(f"start s{other}" for other in range(8)), f"s{number}") for number in range(8)]
    made = program(scene(loops) + "".join(ring))
    assert may_flash(made) == [f"s{number}" for number in range(8)]  # no end is seen: playing it is quicker
    assert check_by_playing(made) == []


def test_each_set_of_lines_is_told_once() -> None:
    text = scene(FAST["a flash"], "a") + scene("run a", "b") + scene("run a\n" + "flash lamp-9 at 300 a minute", "c")
    assert [one.place.line for one in check_by_playing(program(text))] == [4, 9]


def test_a_check_plays_so_many_scenes_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flash_warnings, "MOST_PLAYED", 2)
    text = "".join(scene(f"flash lamp-{number} at 200 a minute", f"s{number}") for number in range(1, 5))
    said = check_by_playing(program(text))
    assert len(said) == 3
    assert said[2].what == "4 scenes may flash fast, and a check plays only 2 to find out: not this one."
    assert said[2].place.line == 7


def test_small_lamps_far_away_are_no_matter_for_a_check() -> None:
    assert may_flash(program(scene(FAST["a flash"]), layout(20.0, 800))) == []
    assert may_flash(program(scene(FAST["a flash"]), layout(20.0, 80))) == ["s"]
    assert check_by_playing(program(scene(FAST["a flash"]), layout(20.0, 800))) == []
