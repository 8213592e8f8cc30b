"""What a link will have to carry: counted as the waves' own commands are, played as the pacer plays, told in words."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.demand import Demand
from adapters.load import COMMAND_BYTES, Command, Load, advice, busiest, carries, full_seconds, outputs_on, simulate
from adapters.pacer import Pace
from engine.chance import key_of
from engine.codes import commands
from engine.curves import Curve, Smooth
from engine.drive import Nothing, jump
from engine.flicker import Flicker
from engine.kernel import Kernel
from engine.layout import Aspect, Blink, Board, Itself, Kind, Layout, Link, Output, Place, Position, Setting, Wiring
from engine.manners import MANNERS
from engine.trace import Noted, Record, Told
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside.project import load as load_project

S = 1_000_000
MAIN = Link("main")
TRACK = Pace(11_520.0, 41.0)
NO_LIMIT = Pace(math.inf, math.inf)
DARK = Setting(0.0)
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"


def lamp(name: str, **more: object) -> Output:
    return replace(Output(name, Kind.LAMP, DARK, Place("layout.yaml", 1, 1, 1, 2), steps=255), **more)


def servo(name: str, **more: object) -> Output:
    ends = (Position("lowered", 0.0), Position("raised", 90.0))
    return replace(Output(name, Kind.SERVO, DARK, positions=ends), **more)


def layout_of(*outputs: Output) -> Layout:
    return Layout(outputs={output.name: output for output in outputs}, links={"main": MAIN})


def line(number: int) -> Place:
    return Place("quay.scene", number, 5, number, 30)


def told(at_us: int, name: str, wave: Wave, number: int = 1) -> Told:
    return Told(at_us, name, wave, "evening", line(number))


def fades(count: int, seconds: int, at_us: int = 0) -> tuple[Layout, list[Record]]:
    outputs = [lamp(f"lamp-{number}") for number in range(count)]
    ramp = Ramp(at_us, at_us + seconds * S, 0.0, 1.0)
    return layout_of(*outputs), [told(at_us, one.name, ramp, number) for number, one in enumerate(outputs, 1)]


# --- which outputs -------------------------------------------------------------------------------------------------


def test_which_outputs_a_link_is_told_of() -> None:
    other, board = Wiring(link="other"), Wiring(board="box", port=1)
    by_parts = Aspect("danger", parts=(("arm", 0.0),))
    layout = Layout(
        outputs={
            output.name: output
            for output in (
                lamp("here", wiring=Wiring(link="main")),
                lamp("there", wiring=other),
                lamp("boxed", wiring=board),
                lamp("nowhere"),
                Output("boxed colour", Kind.COLOUR, DARK, wiring=board),
                Output("parts", Kind.SIGNAL, DARK, wiring=board, aspects=(by_parts,)),
                Output("numbers", Kind.SIGNAL, DARK, wiring=board, aspects=(Aspect("danger", number=0),)),
                Output("daylight", Kind.DAYLIGHT, DARK, wiring=board),
            )
        },
        links={"main": MAIN, "other": Link("other")},
        boards={"box": Board("box", "main", 1, 8)},
    )
    assert [one.name for one in outputs_on(layout, "main")] == ["here", "boxed", "boxed colour", "numbers"]
    assert [one.name for one in outputs_on(layout, "other")] == ["there"]
    alone = layout_of(lamp("nowhere"))
    assert [one.name for one in outputs_on(alone, "main")] == ["nowhere"]  # where there is one link, all is on it


# --- what is wanted, second by second ------------------------------------------------------------------------------

WAVES = st.one_of(
    st.builds(Steady, st.floats(0.0, 1.0)),
    st.builds(
        lambda start, us, low, high: Ramp(start, start + us, low, high),
        st.integers(0, 3 * S),
        st.integers(20_000, 5 * S),  # in less, some codes of 4095 are passed within one microsecond
        st.floats(0.0, 1.0),
        st.floats(0.0, 1.0),
    ),
    st.builds(lambda us: Curve(0, us, 0.0, 1.0, Smooth()), st.integers(20_000, 5 * S)),
    st.builds(lambda us, slot: Flashing(0, Blink(us, 1, slot, 2)), st.integers(40_000, 3 * S), st.integers(0, 1)),
    st.builds(
        lambda manner, low: Flicker(0, 0, key_of("x"), MANNERS[manner], (low, 1.0), (low, 1.0)),
        st.sampled_from(["embers", "forge", "candle"] if "forge" in MANNERS and "candle" in MANNERS else list(MANNERS)),
        st.floats(0.0, 0.9),
    ),
)
KINDS = st.sampled_from(
    [
        lamp("x"),
        lamp("x", floor=0.2),
        lamp("x", steps=1),
        lamp("x", steps=4095),
        lamp("x", itself=Itself.FLASHES),
        servo("x"),
        servo("x", itself=Itself.MOVES, itself_us=2 * S),
        Output("x", Kind.RELAY, DARK),
        Output("x", Kind.MOTOR, DARK, steps=28),
    ]
)


@settings(deadline=None, max_examples=60)
@given(KINDS, st.lists(st.tuples(st.integers(0, 5 * S), WAVES), min_size=1, max_size=4, unique_by=lambda one: one[0]))
def test_what_is_wanted_is_what_the_waves_tell(output: Output, asked: list[tuple[int, Wave]]) -> None:
    until_us = 6 * S
    orders = [told(at_us, "x", wave) for at_us, wave in sorted(asked, key=lambda one: one[0])]
    demand = Demand()
    demand.add(output, orders, 0, until_us)
    expected: Counter[int] = Counter()
    last = 0
    for number, order in enumerate(orders):
        end_us = orders[number + 1].at_us if number + 1 < len(orders) else until_us
        for at_us, code in commands(order.wave, output, order.at_us, end_us):
            expected[at_us // S] += code != last
            last = code
    assert {second: demand.total(second) for second in range(6)} == {second: expected[second] for second in range(6)}


@pytest.mark.parametrize(
    ("output", "wave", "seconds"),
    [
        (lamp("x", floor=0.2), Ramp(0, S, 0.0, 1.0), [248, 0]),  # nothing, then code 8 and all above it: 248 codes
        (Output("x", Kind.RELAY, DARK), Ramp(0, 2 * S, 1.0, -1.0), [1, 1]),  # off exactly as a second begins
        (Output("x", Kind.RELAY, DARK), Ramp(0, 2 * S, -1.0, 1.0), [0, 1]),
    ],
)
def test_counts_by_hand(output: Output, wave: Wave, seconds: list[int]) -> None:
    demand = Demand()
    demand.add(output, [told(0, "x", wave)], 0, 5 * S)
    expected = Counter(at_us // S for at_us, _ in commands(wave, output, 0, 5 * S))
    expected[0] -= output.kind is Kind.LAMP or wave.value_at(0) <= 0.0  # 0, which it shows already
    assert [demand.total(0), demand.total(1)] == [expected[0], expected[1]] == seconds


def test_what_stands_still_costs_nothing_to_count() -> None:
    demand = Demand(pieces=50)
    demand.add(lamp("x"), [told(0, "x", Ramp(0, S, 0.0, 1.0))], 0, 100_000 * S)
    assert demand.cut_us is None
    assert demand.total(0) == 255


# --- the stream ----------------------------------------------------------------------------------------------------


def test_a_line_with_room_carries_each_wave_as_it_is() -> None:
    layout, trace = fades(3, 4)
    found = simulate(layout, trace, 10 * S, MAIN, NO_LIMIT)
    ramp = Ramp(0, 4 * S, 0.0, 1.0)
    expected = [
        (at_us, number, f"lamp-{number}", code)
        for number in range(3)
        for at_us, code in commands(ramp, layout.outputs["lamp-0"], 0, 10 * S)
        if at_us
    ]
    assert [(one.at_us, one.output, one.code) for one in found.stream] == [
        (at_us, name, code) for at_us, _, name, code in sorted(expected)
    ]
    assert (found.over, found.late_us, found.error, found.whole, found.until_us) == ((), 0, 0.0, True, 10 * S)
    assert advice(found) == []


def test_what_is_at_rest_is_known_unless_the_line_was_just_connected() -> None:
    red = lamp("red", rest=Setting(1.0, Blink(S, 1, 0, 2)))
    layout = layout_of(red, lamp("green", rest=Setting(1.0)), lamp("blue"))
    found = simulate(layout, [Noted(0, "", "", line(1))], 2 * S, MAIN, NO_LIMIT)
    assert found.stream == (Command(500_000, "red", 0), Command(S, "red", 255), Command(1_500_000, "red", 0))
    found = simulate(layout, [], 200_000, MAIN, TRACK, begins_known=False)
    assert {(one.output, one.code) for one in found.stream} == {("red", 255), ("green", 255), ("blue", 0)}


def test_what_a_rehearsal_begins_with_is_not_told() -> None:
    layout = layout_of(lamp("red"), lamp("green"))
    begins = Told(0, "red", Steady(1.0), "", line(1), "begins")
    found = simulate(layout, [begins, told(S, "red", Steady(1.0)), told(S, "green", Steady(1.0))], 2 * S, MAIN, TRACK)
    assert found.stream == (Command(S, "green", 255),)
    assert found.busiest == (1, 1)
    found = simulate(layout, [begins], 2 * S, MAIN, TRACK, begins_known=False)
    assert {(one.output, one.code) for one in found.stream} == {("red", 255), ("green", 0)}


def test_only_what_is_on_the_link_and_before_the_end_is_played() -> None:
    layout = replace(
        layout_of(lamp("here", wiring=Wiring(link="main")), lamp("there", wiring=Wiring(link="other"))),
        links={"main": MAIN, "other": Link("other")},
    )
    trace = [
        told(S, "here", Steady(1.0)),
        told(S, "there", Steady(1.0)),
        told(2 * S, "here", Steady(0.5)),
        told(3 * S, "here", Steady(0.0)),
    ]
    found = simulate(layout, trace, 3 * S, MAIN, TRACK)
    assert [(one.at_us, one.output) for one in found.stream] == [(S, "here"), (2 * S, "here")]


def test_what_is_asked_in_an_instant_goes_before_what_the_old_wave_wants_in_it() -> None:
    trace = [told(0, "red", Flashing(0, Blink(2 * S, 1, 0, 2))), told(S, "red", Steady(1.0))]
    found = simulate(layout_of(lamp("red")), trace, 3 * S, MAIN, TRACK)
    assert found.stream == (Command(0, "red", 255),)


# --- seconds that are too full -------------------------------------------------------------------------------------


def test_the_fullest_seconds_of_the_track_and_of_the_line() -> None:
    layout, trace = fades(10, 10, 3 * S)
    each = Counter(at_us // S for at_us, _ in commands(Ramp(3 * S, 13 * S, 0.0, 1.0), lamp("x"), 3 * S, 30 * S))
    each[3] -= 1  # 0, which it shows already
    track, station, whole = busiest(layout, trace, 30 * S, MAIN, TRACK, off_track={f"lamp-{n}" for n in range(9)})
    assert track == (12, each[12], 41.0)  # one of ten lamps goes over the track
    assert station == (12, 10 * each[12], 11_520.0 / COMMAND_BYTES)
    assert whole == 10 * sum(each.values())
    assert busiest(layout, [], 30 * S, MAIN, TRACK)[0] == (0, 0, 41.0)


def test_the_seconds_that_are_too_full_with_figures_and_lines() -> None:
    layout, trace = fades(10, 10, 3 * S)
    found = simulate(layout, trace, 30 * S, MAIN, TRACK)
    each = Counter(at_us // S for at_us, _ in commands(Ramp(3 * S, 13 * S, 0.0, 1.0), lamp("x"), 3 * S, 30 * S))
    each[3] -= 1  # 0, which it shows already
    full = [second for second in range(30) if 10 * each[second] > 41]
    assert [(one.second, one.wanted) for one in found.over] == [(second, 10 * each[second]) for second in full]
    assert found.busiest == (12, 10 * each[12])
    last = found.over[-1]
    assert last.carries == 41.0
    assert [cause.place.line for cause in last.causes] == [1, 2, 3, 4, 5]
    assert last.others == 5
    assert {cause.commands for cause in last.causes} == {each[12]}
    # ten lamps share 41 commands a second, and go 10 units of lightness in one: no lamp is off by much more than 3
    assert 0.01 < found.error < 0.05
    assert found.error >= max(one.error for one in found.over) > 0.01
    # the last values of ten lamps
    assert 8 * S // 41 <= found.late_us <= S
    assert [one.code for one in found.stream[-10:]] == [255] * 10


def test_who_wants_most_comes_first_and_lines_of_the_layout_count_too() -> None:
    flash = lamp("flash", rest=Setting(1.0, Blink(100_000, 1, 0, 2)))
    layout = layout_of(flash, lamp("fade"), servo("boom"))
    trace = [told(0, "boom", Ramp(0, S, 0.0, 90.0), 7), told(0, "fade", Ramp(0, S, 0.0, 1.0), 9)]
    (over,) = simulate(layout, trace, S, MAIN, TRACK).over
    wanted = [(cause.output, cause.place.line, cause.commands) for cause in over.causes]
    assert wanted == [("fade", 9, 255), ("boom", 7, 90), ("flash", 1, 19)]
    assert over.wanted == 255 + 90 + 19


def test_a_second_that_is_just_full_is_not_too_full() -> None:
    lamps = [lamp(f"lamp-{number}") for number in range(42)]
    trace = [told(20_000 * number, one.name, Steady(1.0)) for number, one in enumerate(lamps)]
    assert simulate(layout_of(*lamps), trace[:41], 5 * S, MAIN, TRACK).over == ()
    (over,) = simulate(layout_of(*lamps), trace, 5 * S, MAIN, TRACK).over
    assert (over.second, over.wanted, over.others) == (0, 42, 37)


def test_bytes_fill_a_line_too() -> None:
    layout, trace = fades(1, 2)
    slow = Pace(30 * COMMAND_BYTES, 1_000.0)
    assert carries(slow) == 30.0
    found = simulate(layout, trace, 5 * S, MAIN, slow)
    assert [(one.second, one.carries) for one in found.over] == [(0, 30.0), (1, 30.0)]
    assert len(found.stream) <= 62
    longer = simulate(layout, trace, 5 * S, MAIN, slow, size=lambda name, code: 10 * COMMAND_BYTES)
    assert len(longer.stream) <= 8


def test_what_is_off_for_a_moment_only_is_no_error() -> None:
    lamps = [lamp(f"lamp-{number}", steps=1) for number in range(2)]
    trace = [told(S, one.name, Steady(1.0)) for one in lamps]
    assert simulate(layout_of(*lamps), trace, 5 * S, MAIN, TRACK).error == 0.0
    assert simulate(layout_of(*lamps), trace, 5 * S, MAIN, Pace(11_520.0, 5.0)).error == 1.0


def test_it_ends_at_its_budget_and_says_so() -> None:
    lamps = [lamp(f"lamp-{number}") for number in range(200)]
    names = list(MANNERS)
    trace = [
        told(
            0,
            one.name,
            Flicker(0, 0, key_of(one.name), MANNERS[names[number % len(names)]], (0.0, 1.0), (0.0, 1.0)),
            number,
        )
        for number, one in enumerate(lamps)
    ]
    found = simulate(layout_of(*lamps), trace, 60 * S, MAIN, TRACK, work=5_000)
    assert not found.whole
    assert 0 < found.until_us < 3 * S
    assert all(one.second <= found.until_us // S for one in found.over)
    found = simulate(layout_of(*lamps), trace, S, MAIN, TRACK, pieces=100)
    assert not found.whole


# --- in words ------------------------------------------------------------------------------------------------------


def words(layout: Layout, trace: Sequence[Record], link: Link = MAIN, pace: Pace = TRACK) -> list[tuple[str, str]]:
    return [(one.what, one.instead) for one in advice(simulate(layout, trace, 60 * S, link, pace))]


def test_many_fades_at_once() -> None:
    layout, trace = fades(30, 4, 5 * S)
    (found,) = advice(simulate(layout, trace, 60 * S, MAIN, TRACK))
    assert found.place == line(1)
    assert found.also == (line(2), line(3), line(4), line(5))
    assert found.what.startswith("In 4 seconds from 5 s to 9 s up to ")
    assert "commands a second are wanted on `main`, which carries 41: `lamp-" in found.what
    assert "% from what it should show" in found.what
    assert found.instead.startswith("Let fewer outputs change at once, such as `6 s apart`, or let the fade take ")
    assert "`commands: 200 a second`" in found.instead


def test_a_fade_that_is_too_quick_for_its_line() -> None:
    layout, trace = fades(1, 2)
    link, pace = replace(MAIN, commands_s=8.0), Pace(11_520.0, 8.0)
    ((what, instead),) = words(layout, trace, link, pace)
    error = simulate(layout, trace, 60 * S, link, pace).error
    assert 0.05 < error < 0.2
    peak = max(Counter(at_us // S for at_us, _ in commands(Ramp(0, 2 * S, 0.0, 1.0), lamp("x"), 1, 3 * S)).values())
    assert what.startswith(f"In 2 seconds from 0 s to 2 s up to {peak} commands a second are wanted on `main`, which")
    assert "carries 8: `lamp-0` is up to " in what
    assert instead.startswith(f"Let the fade take {math.ceil(error / 0.05 * 10) / 10} times as long, or use a board")
    assert instead.endswith("put some of the outputs on another link")


@pytest.mark.parametrize(
    ("output", "wave", "helps"),
    [
        (servo("x"), Ramp(0, 2 * S, 0.0, 90.0), "Let the move take "),
        (servo("x"), Ramp(0, 2 * S, 0.0, 90.0), "use a board that moves the servo by itself (`moves by itself`)"),
        (lamp("x"), Flashing(0, Blink(100_000, 1, 0, 2)), "Flash less often"),
        (lamp("x"), Flashing(0, Blink(100_000, 1, 0, 2)), "(`flashes as a pair`)"),
        (lamp("x"), Flicker(0, 0, 5, MANNERS["embers"], (0.0, 1.0), (0.0, 1.0)), "(`flickers by itself: yes`)"),
    ],
)
def test_what_would_help(output: Output, wave: Wave, helps: str) -> None:
    pace = Pace(11_520.0, 3.0)
    found = words(layout_of(output), [told(0, "x", wave)], MAIN, pace)
    assert len(found) == 1
    assert helps in found[0][1]


def test_where_one_line_fills_the_second_fewer_at_once_would_not_help() -> None:
    outputs = [lamp(f"lamp-{number}") for number in range(3)]
    trace = [
        told(0, "lamp-0", Ramp(0, 2 * S, 0.0, 1.0)),
        told(0, "lamp-1", Steady(1.0)),
        told(0, "lamp-2", Steady(1.0)),
    ]
    ((_, instead),) = words(layout_of(*outputs), trace, MAIN, Pace(11_520.0, 6.0))
    assert "fewer outputs" not in instead


def test_times_are_told_as_people_say_them() -> None:
    layout, trace = fades(30, 1, 3_661 * S)
    (found,) = advice(simulate(layout, trace, 3_700 * S, MAIN, TRACK))
    assert found.what.startswith("At 1 h 1 min 1 s ")


def test_what_nobody_would_see_is_no_advice() -> None:
    layout, trace = fades(2, 5)  # some codes are left out, but no lamp is ever off by more than a unit or two
    found = simulate(layout, trace, 20 * S, MAIN, TRACK)
    assert found.over
    assert advice(found) == []


# --- the example ---------------------------------------------------------------------------------------------------


def test_the_examples_evening_is_the_same_every_time_and_fits_a_line_of_its_own() -> None:
    program = load_project([EXAMPLE]).program

    def evening(pace: Pace) -> Load:
        kernel = Kernel(program, starts_s=17 * 3600 + 44 * 60)
        jump(kernel, Nothing(), 150 * S)
        return simulate(program.layout, kernel.trace, 150 * S, program.layout.links["main"], pace)

    once, again = evening(TRACK), evening(TRACK)
    assert once == again
    assert once.over
    assert once.late_us < S
    quick = evening(Pace(11_520.0, 1_000.0, 4))
    assert quick.over == ()
    assert quick.late_us < 20_000


def test_a_part_of_a_trace_is_played_as_it_is_in_the_whole() -> None:
    layout = layout_of(lamp("a-lamp"), lamp("b-lamp"))
    trace = [told(0, "a-lamp", Ramp(0, 9 * S, 0.0, 1.0)), told(4 * S, "b-lamp", Ramp(4 * S, 8 * S, 0.0, 0.7))]
    pace = Pace(11_520.0, 400.0)
    whole = simulate(layout, trace, 10 * S, MAIN, pace)
    part = simulate(layout, trace, 10 * S, MAIN, pace, from_us=5_500_000)
    assert part.stream
    assert list(part.stream) == [command for command in whole.stream if command.at_us >= 5_500_000]
    assert full_seconds(layout, trace, 10 * S, MAIN, pace) == []
    full = full_seconds(layout, trace, 10 * S, MAIN, Pace(11_520.0, 40.0))
    assert full
    assert set(full) == {over.second for over in simulate(layout, trace, 10 * S, MAIN, Pace(11_520.0, 40.0)).over}
