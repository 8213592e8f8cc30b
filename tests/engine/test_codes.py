"""What far ends are told: code tables, honest ends, no command too many, dithering's mean, steps that would be seen."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.codes import (
    DEGREE,
    DITHER_PHASES,
    DITHER_SLOT_US,
    TooManyCommands,
    coarsest_step,
    code,
    commands,
    dithered,
    dithers_below,
    least_code,
    seen,
    servo_steps,
    shown,
)
from engine.layout import Aspect, Blink, Itself, Kind, Output, Position, Setting
from engine.lightness import VISIBLE, level, luminance
from engine.waves import Flashing, Ramp, State, Steady, next_change

S = 1_000_000


def lamp(steps: int = 255, **more: object) -> Output:
    return replace(Output("quay-lamp", Kind.LAMP, Setting(0.0), steps=steps), **more)


def servo(dead_band_deg: float = 1.0, **more: object) -> Output:
    ends = (Position("lowered", 0.0), Position("raised", 90.0))
    return replace(Output("boom", Kind.SERVO, Setting(0.0), dead_band_deg=dead_band_deg, positions=ends), **more)


def other(kind: Kind, **more: object) -> Output:
    return replace(Output("other", kind, Setting(0.0)), **more)


LAMPS = st.builds(
    lambda steps, floor, dithers: lamp(steps, floor=floor, dithers=dithers),
    st.sampled_from([1, 2, 15, 99, 255, 1023, 4095]),
    st.sampled_from([0.0, 0.0, 0.01, 0.05, 0.2]),
    st.booleans(),
)
OUTPUTS = st.one_of(
    LAMPS,
    st.builds(lambda steps: other(Kind.MOTOR, steps=steps), st.sampled_from([1, 28, 126])),
    st.sampled_from([other(Kind.RELAY), other(Kind.SOUND), other(Kind.PULSE)]),
)


# --- lamps ---------------------------------------------------------------------------------------------------------

# L* -> codes of 8 and 12 bits: Y/Yn of CIE 1976 lightness, rounded
TABLE = [
    (0, 0, 0),
    (1, 0, 5),
    (5, 1, 23),
    (8, 2, 36),
    (10, 3, 46),
    (25, 11, 181),
    (50, 47, 754),
    (75, 123, 1977),
    (90, 195, 3125),
    (100, 255, 4095),
]


@pytest.mark.parametrize(("lightness", "eight", "twelve"), TABLE)
def test_the_code_table(lightness: int, eight: int, twelve: int) -> None:
    # the table rounds L* 1 to nothing at 8 bits; a lamp that is asked for light gives the least that it can
    assert code(lamp(255), lightness / 100) == (1 if lightness == 1 else eight)
    assert code(lamp(4095), lightness / 100) == twelve


def test_a_fade_of_ten_seconds() -> None:
    fade = Ramp(0, 10 * S, 0.0, 1.0)
    eight = [code(lamp(255), fade.value_at(second * S)) for second in range(11)]
    assert eight == [0, 3, 8, 16, 29, 47, 72, 104, 145, 195, 255]
    twelve = [code(lamp(4095), fade.value_at(second * S)) for second in range(11)]
    assert twelve == [0, 46, 122, 255, 461, 754, 1152, 1669, 2321, 3125, 4095]


@pytest.mark.parametrize("steps", [1, 15, 255, 1023])
@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (1.0, 0.0)])
def test_a_fade_tells_every_code_once_and_nothing_else(steps: int, low: float, high: float) -> None:
    told = list(commands(Ramp(0, 10 * S, low, high), lamp(steps), 0, 20 * S))
    codes = [one for _, one in told]
    assert codes == (list(range(steps + 1)) if high else list(range(steps, -1, -1)))
    assert told[0][0] == 0
    if not high:
        assert told[-1] == (10 * S, 0)  # light to the very end of the fade


def test_the_first_eight_bit_codes_are_coarse() -> None:
    # codes 1, 2, 3 are L* 3.5, 7.1, 10.4, and steps stay above one unit up to L* 29
    one = lamp(255)
    assert [round(100 * shown(one, k), 1) for k in (1, 2, 3)] == [3.5, 7.1, 10.4]
    coarse = [k for k in range(255) if shown(one, k + 1) - shown(one, k) > VISIBLE]
    assert coarse == list(range(len(coarse)))
    assert 100 * shown(one, coarse[-1] + 1) == pytest.approx(29, abs=0.5)


def test_ten_bits_have_no_step_over_0_883() -> None:
    one = lamp(1023)
    steps = [100 * (shown(one, k + 1) - shown(one, k)) for k in range(1023)]
    assert max(steps) == pytest.approx(0.883, abs=0.0005)


def test_light_that_was_asked_for_is_light() -> None:
    assert code(lamp(255), 1e-9) == 1
    assert code(lamp(1), 0.004) == 1  # a lamp that is only switched
    floored = lamp(255, floor=0.25)
    assert least_code(floored) == 11
    assert [code(floored, value) for value in (0.0, 1e-9, 0.2, 0.25, 0.3)] == [0, 11, 11, 11, 16]


@settings(deadline=None)
@given(OUTPUTS, st.lists(st.floats(-1.2, 1.2), min_size=2, max_size=40))
def test_codes_rise_with_the_value(output: Output, values: list[float]) -> None:
    codes = [code(output, value) for value in sorted(values)]
    assert codes == sorted(codes)


@settings(deadline=None)
@given(OUTPUTS, st.integers(0, 4095))
def test_what_a_code_shows_is_told_as_that_code(output: Output, number: int) -> None:
    number = number % (output.steps + 1)
    if output.kind is Kind.LAMP and 0 < number < least_code(output):
        return  # a code that this lamp is never told
    assert code(output, shown(output, number)) == number


@settings(deadline=None)
@given(LAMPS, st.floats(0.0, 1.0))
def test_a_lamp_shows_what_was_asked_within_half_a_step_of_light(output: Output, value: float) -> None:
    told = code(output, value)
    off = luminance(shown(output, told)) - luminance(value)
    if 0 < told == least_code(output) and off > 0:
        return  # at the bottom it gives more than was asked, on purpose
    assert abs(off) <= 0.5 / output.steps + 1e-12


@settings(deadline=None)
@given(OUTPUTS, st.integers(0, 40), st.integers(1, 900), st.floats(-1, 1), st.floats(-1, 1))
def test_changes_are_all_found_and_no_others(output: Output, start: int, takes: int, low: float, high: float) -> None:
    wave, tells = Ramp(start, start + takes, low, high), seen(output)
    walked = [at for at in range(1, start + takes + 5) if tells(wave.value_at(at)) != tells(wave.value_at(at - 1))]
    found, at = [], next_change(wave, 0, tells)
    while at is not None:
        if tells(wave.value_at(at)) != tells(wave.value_at(at - 1)):
            found.append(at)
        at = next_change(wave, at, tells)
    assert found == walked


# --- the others ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [Kind.RELAY, Kind.SOUND, Kind.PULSE])
def test_what_is_only_switched_is_on_above_nothing(kind: Kind) -> None:
    assert [code(other(kind), value) for value in (-0.1, 0.0, 0.001, 0.4, 1.0)] == [0, 0, 1, 1, 1]
    assert shown(other(kind), 1) == 1.0


def test_a_motor_is_told_a_speed_and_a_direction() -> None:
    motor = other(Kind.MOTOR, steps=126)
    assert [code(motor, value) for value in (-2.0, -1.0, -0.5, -0.001, 0.0, 0.001, 0.5, 1.0)] == [
        -126, -126, -63, -1, 0, 1, 63, 126,
    ]  # fmt: skip
    assert shown(motor, -63) == -0.5


def test_a_signal_is_told_the_index_of_its_aspect() -> None:
    signal = other(Kind.SIGNAL, aspects=(Aspect("danger"), Aspect("caution"), Aspect("clear")))
    assert [code(signal, value) for value in (0.0, 1.0, 2.0)] == [0, 1, 2]
    assert shown(signal, 2) == 2.0


def test_a_colour_is_told_in_whole_mired_within_its_whites() -> None:
    white = other(Kind.COLOUR, mired=(1e6 / 2200, 1e6 / 6500))
    assert [code(white, value) for value in (333.3, 1000.0, 1.0)] == [333, 455, 154]
    assert [code(white, value) for value in (200.5, 201.5, 202.5)] == [201, 202, 203]  # evenly wide
    assert shown(white, 333) == 333.0
    coloured = other(Kind.COLOUR, aspects=(Aspect("red"), Aspect("green")))
    assert code(coloured, 1.0) == 1


def test_a_colours_fade_is_told_every_mired_once() -> None:
    white = other(Kind.COLOUR, mired=(400.0, 200.0))
    told = [one for _, one in commands(Ramp(0, S, 400.0, 200.0), white, 0, 2 * S)]
    assert told == list(range(400, 199, -1))


def test_daylight_is_told_to_nobody() -> None:
    assert list(commands(Ramp(0, S, 0.0, 10_000.0), other(Kind.DAYLIGHT), 0, 2 * S)) == []


# --- servos --------------------------------------------------------------------------------------------------------

ANGLES = st.floats(0.0, 90.0)


@settings(deadline=None)
@given(ANGLES, ANGLES, st.floats(0.3, 3.0))
def test_a_move_goes_by_the_dead_band_and_ends_where_it_was_told_to(start: float, end: float, band: float) -> None:
    boom = servo(band)
    wave = Ramp(0, 7 * S, start, end)
    told = list(commands(wave, boom, 0, 8 * S))
    assert told[-1][1] == round(end * DEGREE) or abs(end * DEGREE - told[-1][1]) <= 0.5
    for at, number in told:
        assert 0 <= number <= 90 * DEGREE
        assert abs(number / DEGREE - wave.value_at(at)) <= band / 2 + 0.5 / DEGREE + 1e-9
    for (_, one), (_, two) in pairwise(told[1:]):  # the first step is what is left over
        assert abs(two - one) / DEGREE == pytest.approx(band, abs=1.01 / DEGREE)
    assert len(told) <= abs(end - start) / band + 2


def test_ends_and_limits_are_never_passed() -> None:
    # counted from 9.6 deg in whole degrees the step nearest to 0 would be -0.4
    assert next(commands(Ramp(0, S, 0.0, 9.6), servo(), 0, 2 * S)) == (0, 0)
    assert next(commands(Ramp(0, S, 90.0, 80.4), servo(), 0, 2 * S)) == (0, 9000)
    assert code(servo(limits=(5.0, 80.0)), 200.0) == 80 * DEGREE
    assert code(servo(limits=(5.0, 80.0)), -3.0, towards=42.0) == 5 * DEGREE
    # an arm that stands past its named ends, where its limits let it, comes back from there
    wide = servo(limits=(-10.0, 100.0))
    told = [one for _, one in commands(Ramp(0, S, -9.7, 50.0), wide, 0, 2 * S)]
    assert told[0] == -10 * DEGREE
    assert told == sorted(told)
    assert told[-1] == 50 * DEGREE


@settings(deadline=None)
@given(ANGLES, st.lists(st.floats(-20, 120), min_size=2, max_size=30), st.booleans())
def test_a_servos_codes_rise_with_its_angle(towards: float, angles: list[float], limited: bool) -> None:
    boom = servo(0.97, limits=(-5.0, 95.0) if limited else None)
    for tells in (seen(boom, towards), seen(boom)):
        codes = [tells(angle) for angle in sorted(angles)]
        assert codes == sorted(codes)


def test_where_no_move_is_known_an_angle_is_told_as_it_is() -> None:
    assert code(servo(), 12.34) == 1234
    assert shown(servo(), 1234) == 12.34
    assert list(commands(Steady(45.67), servo(), 3, S)) == [(3, 4567)]


def test_what_a_servo_would_not_answer_is_not_told() -> None:
    assert len(list(commands(Ramp(0, S, 10.0, 10.4), servo(), 0, 2 * S))) == 1


# --- what a board does by itself -----------------------------------------------------------------------------------


def test_a_board_that_moves_by_itself_is_told_the_end_at_once() -> None:
    boom = servo(itself=Itself.MOVES)
    assert list(commands(Ramp(0, 7 * S, 0.0, 90.0), boom, 0, 8 * S)) == [(0, 9000)]
    assert list(commands(Ramp(0, 7 * S, 90.0, 0.0), boom, 0, 8 * S)) == [(0, 0)]


def test_a_pair_that_flashes_by_itself_is_told_to() -> None:
    flash = Flashing(0, Blink(60 * S, 45, 0, 2))
    assert list(commands(flash, other(Kind.LAMP, itself=Itself.FLASHES), 700_000, 60 * S)) == [(700_000, 1)]
    assert len(list(commands(flash, other(Kind.LAMP), 0, 60 * S))) == 90


def test_a_flicker_by_itself_is_told_its_beginning_and_its_end() -> None:
    class Dying(Ramp):
        @property
        def state(self) -> State:
            return State.FLICKERING

    wave = Dying(0, 5 * S, 1.0, 0.0)
    assert list(commands(wave, lamp(itself=Itself.FLICKERS), 0, 9 * S)) == [(0, 255), (5 * S, 0)]


# --- the bounds of a question --------------------------------------------------------------------------------------


def test_the_window_includes_its_beginning_and_not_its_end() -> None:
    wave = Ramp(0, 10 * S, 0.0, 1.0)
    whole = list(commands(wave, lamp(), 0, 11 * S))
    cut = whole[100][0]
    assert list(commands(wave, lamp(), cut, 11 * S)) == whole[100:]
    assert list(commands(wave, lamp(), 0, cut)) == whole[:100]
    for output in (lamp(), lamp(itself=Itself.MOVES)):
        assert list(commands(wave, output, 5, 5)) == []


def test_a_wave_that_tells_too_much_is_reported() -> None:
    flash = Flashing(0, Blink(S, 1, 0, 2))
    assert len(list(commands(flash, lamp(), 0, 5 * S, limit=10))) == 10
    with pytest.raises(TooManyCommands, match="`quay-lamp` is told more than 9 times"):
        list(commands(flash, lamp(), 0, 5 * S, limit=9))


# --- dithering -----------------------------------------------------------------------------------------------------


def mean_code(output: Output, value: float, from_us: int = 0) -> float:
    slots = [dithered(output, value, from_us + slot * DITHER_SLOT_US) for slot in range(DITHER_PHASES)]
    assert max(slots) - min(slots) <= 1
    return sum(slots) / DITHER_PHASES


@settings(deadline=None)
@given(st.sampled_from([63, 255, 1023]), st.floats(0.0, 1.0), st.integers(0, 10**12))
def test_the_mean_light_of_a_dithered_lamp_is_what_was_asked(steps: int, value: float, from_us: int) -> None:
    one = lamp(steps, dithers=True)
    off = mean_code(one, value, from_us) - luminance(value) * steps
    part = 1 / DITHER_PHASES if value < dithers_below(one) else 1.0
    if value > 0 and luminance(value) * steps < part:
        assert mean_code(one, value, from_us) == part  # the least light that it can give
    else:
        assert abs(off) <= part / 2 + 1e-9


def test_a_dithered_fade_has_no_step_that_is_seen() -> None:
    one = lamp(255, dithers=True)
    light = [mean_code(one, number / 20_000) for number in range(20_001)]
    assert light == sorted(light)
    assert max(level(b / 255) - level(a / 255) for a, b in pairwise(light)) < VISIBLE
    assert light[1] == 1 / DITHER_PHASES  # honest at the bottom, too


def test_dithering_repeats_at_least_twenty_five_times_a_second() -> None:
    one = lamp(255, dithers=True)
    assert DITHER_SLOT_US * DITHER_PHASES <= S / 25
    for value in (level(0.25 / 255), level(1.5 / 255), level(4.75 / 255), 0.2):
        told = [dithered(one, value, slot * DITHER_SLOT_US) for slot in range(100)]
        assert len(set(told)) == 2
        assert told == told[:DITHER_PHASES] * 25


@settings(deadline=None)
@given(st.floats(0.0, 1.0))
def test_what_a_link_must_carry_for_it(value: float) -> None:
    one = lamp(255, dithers=True)
    assert commands_a_second(one, value) in (0, 50, 100)


def commands_a_second(output: Output, value: float) -> int:
    """How often a lamp that rests at a value is told another code."""
    told = [dithered(output, value, slot * DITHER_SLOT_US) for slot in range(101)]
    return sum(a != b for a, b in pairwise(told))


def test_two_of_four_slots_are_no_neighbours() -> None:
    one = lamp(255, dithers=True)
    half = level(2.5 / 255)
    assert [dithered(one, half, slot * DITHER_SLOT_US) for slot in range(4)] in ([3, 2, 3, 2], [2, 3, 2, 3])


def test_neighbours_do_not_dither_together() -> None:
    lamps = [replace(lamp(255, dithers=True), name=f"quay-lamp-{number}") for number in range(40)]
    value = level(2.25 / 255)
    high = [sum(dithered(one, value, slot * DITHER_SLOT_US) == 3 for one in lamps) for slot in range(4)]
    assert sum(high) == 40
    assert max(high) < 20


def test_nothing_is_dithered_where_it_need_not_or_may_not_be() -> None:
    one = lamp(255, dithers=True)
    assert 100 * dithers_below(one) == pytest.approx(29, abs=0.5)
    assert dithers_below(lamp(255)) == 0.0
    assert dithers_below(lamp(1023, dithers=True)) == 0.0  # ten bits need none
    for output, value in (
        (lamp(255), 0.1),
        (one, 0.3),
        (one, 0.0),
        (one, 1.0),
        (lamp(1, dithers=True), 0.3),
        (lamp(255, dithers=True, floor=0.2), 0.1),  # below its floor a lamp is dark, and would blink
    ):
        assert {dithered(output, value, slot * DITHER_SLOT_US) for slot in range(8)} == {code(output, value)}
    assert commands_a_second(lamp(255, dithers=True, floor=0.2), level(12.5 / 255)) == 100


# --- steps that would be seen --------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=50)
@given(LAMPS, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_the_coarsest_step_against_a_walk(output: Output, low: float, high: float) -> None:
    low, high = sorted((low, high))
    values = [low + (high - low) * number / 2_000 for number in range(2_001)]
    light = [level(mean_code(output, value) / output.steps) for value in values]
    walked = max(((b - a, a) for a, b in pairwise(light)), key=lambda one: one[0])
    found = coarsest_step(output, low, high)
    assert found == coarsest_step(output, high, low)
    if output.steps <= 255:  # on a finer lamp this walk steps over codes
        assert found[0] == pytest.approx(walked[0], abs=1e-9)
        if walked[0] > 1e-9:
            assert level_jumps(output, found[1]) == pytest.approx(found[0], abs=1e-9)
    else:
        assert found[0] <= walked[0] + 1e-9


def level_jumps(output: Output, below: float) -> float:
    """How far the light jumps above a level that the lamp can show."""
    start = mean_code(output, below)

    def light(number: int) -> float:
        return mean_code(output, below + (1.0 - below) * number / 50_000)

    above = light(bisect_right(range(50_001), start + 1e-9, key=light))
    return level(above / output.steps) - level(start / output.steps)


def test_the_coarsest_steps_of_known_lamps() -> None:
    assert coarsest_step(lamp(255), 0.0, 1.0) == (pytest.approx(0.0354, abs=1e-4), 0.0)
    assert coarsest_step(lamp(255), 0.4, 1.0)[0] < VISIBLE
    assert coarsest_step(lamp(1023), 0.0, 1.0)[0] == pytest.approx(0.00883, abs=1e-5)
    jump, where = coarsest_step(lamp(255, dithers=True), 0.0, 1.0)
    assert jump < VISIBLE
    assert where == pytest.approx(0.29, abs=0.01)  # where dithering ends
    assert coarsest_step(lamp(255, floor=0.25), 0.0, 1.0) == (pytest.approx(0.25, abs=0.005), 0.0)
    assert coarsest_step(lamp(255, floor=0.25, dithers=True), 0.0, 1.0) == (pytest.approx(0.25, abs=0.005), 0.0)
    assert coarsest_step(lamp(1), 0.0, 1.0) == (1.0, 0.0)
    assert coarsest_step(lamp(255), 0.5, 0.5) == (0.0, 0.5)
    assert coarsest_step(servo(), 0.0, 90.0) == (0.0, 0.0)


def test_a_slow_move_takes_steps_that_are_seen() -> None:
    # 310 us of travel in 7 s at a dead band of 10 us, 10.31 us a degree: some four steps a second (common practice)
    boom = servo(10 / 10.31)
    assert servo_steps(boom, 310 / 10.31, 7 * S, 1.0) == pytest.approx(31 / 7)
    told = list(commands(Ramp(0, 7 * S, 0.0, 310 / 10.31), boom, 0, 8 * S))
    assert len(told) - 1 == 31
    assert servo_steps(boom, -310 / 10.31, 7 * S, 1.875) == pytest.approx(1.875 * 31 / 7)
    assert servo_steps(servo(0.0), 30.0, S, 1.0) == float("inf")
    assert servo_steps(servo(), 30.0, 0, 1.0) == float("inf")
