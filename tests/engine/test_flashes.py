"""Flashes counted by hand, by WCAG 2.2 (success criterion 2.3.1, "general flash and red flash thresholds")."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine import flashes
from engine.courses import Course, Ease, Leg, Script
from engine.flashes import BUDGET, GRID_US, HAIR, MOST_A_SECOND, count, series, small, worst_second
from engine.layout import Blink
from engine.lightness import luminance
from engine.waves import Flashing, Ramp, Steady, Wave

S = 1_000_000
Light = list[tuple[int, float]]


def square(per_s: float, low: float = 0.0, high: float = 1.0, lasts_s: float = 10.0) -> Light:
    """High and low in turn, beginning with high."""
    edges = range(round(lasts_s * per_s * 2))
    return [(round(edge * S / per_s / 2), low if edge % 2 else high) for edge in edges]


def steps(*lights: float, every_us: int = 50_000) -> Light:
    return [(index * every_us, light) for index, light in enumerate(lights)]


def most(light: Light) -> int:
    return worst_second(count(light))[0]


def flashing(per_min: int, slot: int = 0, slots: int = 2, from_us: int = 0) -> Flashing:
    return Flashing(from_us, Blink(60 * S, per_min, slot, slots))


def together(*waves: Wave, until_s: float = 10.0, weight: float | None = None) -> Light:
    share = 1 / len(waves) if weight is None else weight
    return list(series([(share, [(-1, wave)]) for wave in waves], 0, round(until_s * S)))


def worst(*waves: Wave, until_s: float = 10.0) -> int:
    """As many flashes as are seen of lamps, together or each by itself."""
    return max(most(together(*waves, until_s=until_s)), *(most(together(wave, until_s=until_s)) for wave in waves))


# --- what a flash is -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lights", "flashes"),
    [
        ((0.0, 1.0), 0),  # one change
        ((0.0, 1.0, 0.0), 1),  # a rise and a fall
        ((1.0, 0.0, 1.0), 1),  # a fall and a rise
        ((0.0, 1.0, 0.0, 1.0), 1),  # the third change waits for its partner
        ((0.0, 1.0, 0.0, 1.0, 0.0), 2),
        ((0.0, 0.2, 0.4, 0.6, 0.8, 1.0), 0),  # a staircase up
        ((0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 0.5, 0.0), 1),  # and down again: one flash, however many steps
        ((0.0, 0.05, 0.1, 0.05, 0.0), 1),  # changes add up over steps
        ((0.0, 0.5, 0.45, 0.95, 0.9, 1.0), 0),  # what wavers on its way up is still one way up
        ((0.0, 0.5, 0.4, 1.0, 0.0), 2),  # but not by a tenth
        ((0.5,), 0),
        ((), 0),
    ],
)
def test_a_flash_is_a_pair_of_opposing_changes(lights: Sequence[float], flashes: int) -> None:
    assert len(count(steps(*lights))) == flashes


@pytest.mark.parametrize(
    ("low", "high", "flashes"), [(0.4, 0.499, 0), (0.4, 0.4999, 0), (0.4, 0.5, 4), (0.0, 0.1, 4), (0.7, 0.8, 4)]
)
def test_a_change_is_a_tenth_of_the_greatest_light_or_more(low: float, high: float, flashes: int) -> None:
    assert len(count(steps(low, high, low, high, low, high, low, high, low))) == flashes


@pytest.mark.parametrize(("low", "flashes"), [(0.85, 0), (0.8, 0), (0.79, 4)])
def test_what_is_bright_even_at_its_darkest_does_not_flash(low: float, flashes: int) -> None:
    assert len(count(steps(low, 1.0, low, 1.0, low, 1.0, low, 1.0, low))) == flashes


def test_the_darker_image_is_the_darkest_of_the_pair() -> None:
    assert count(steps(0.85, 0.95, 0.85, 0.7)) == [150_000]  # not before it falls below 0.8
    assert count(steps(0.7, 0.95, 0.85)) == [100_000]
    assert count(steps(0.95, 0.85, 0.95, 0.7, 0.95)) == [150_000]  # the first fall is nobody's partner


def test_a_flash_is_complete_when_its_second_change_has_gone_far_enough() -> None:
    assert count([(0, 0.0), (10, 1.0), (20, 0.95), (30, 0.9), (40, 0.0)]) == [30]


# --- how many in a second ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("per_s", "flashes"), [(0.5, 1), (2.0, 2), (2.9, 3), (3.0, 3), (3.1, 4), (4.0, 4), (10.0, 10)])
def test_square_waves(per_s: float, flashes: int) -> None:
    assert most(square(per_s)) == flashes
    assert (most(square(per_s)) > MOST_A_SECOND) == (per_s > 3)


def test_a_second_holds_its_first_instant_and_not_its_last() -> None:
    assert worst_second([0, 400_000, 800_000, S]) == (3, 0)
    assert worst_second([0, 400_000, 800_000, S - 1]) == (4, 0)


def test_the_worst_second_may_begin_anywhere() -> None:
    assert worst_second([0, 900_000, 1_100_000, 1_500_000, 1_800_000, 5 * S]) == (4, 900_000)
    assert worst_second([]) == (0, 0)


@given(st.lists(st.integers(0, 5 * S), max_size=40).map(sorted))
def test_the_worst_second_against_trying_all(instants: list[int]) -> None:
    tried = [sum(begin <= at < begin + S for at in instants) for begin in instants]
    most_of_all, since = worst_second(instants)
    assert most_of_all == max(tried, default=0)
    assert not instants or tried[instants.index(since)] == most_of_all


@pytest.mark.parametrize(("per_s", "flashes"), [(0.5, 1), (3.0, 3), (3.5, 4)])
def test_a_sine_counts_as_a_square_does(per_s: float, flashes: int) -> None:
    sine = [(at, 0.5 + 0.5 * math.sin(2 * math.pi * per_s * at / S)) for at in range(0, 10 * S, 1000)]
    assert most(sine) == flashes


def test_a_ripple_on_a_slow_sine_adds_nothing() -> None:
    def wave(ripple: float) -> Light:
        slow = 2 * math.pi * 0.5 / S
        return [
            (at, 0.4 + 0.3 * math.sin(slow * at) + ripple * math.sin(40 * slow * at)) for at in range(0, 5 * S, 500)
        ]

    assert most(wave(0.01)) == 1
    assert most(wave(0.06)) > 3


# --- the light of lamps --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("per_min", "flashes"), [(174, 3), (180, 3), (186, 4), (600, 10)])
def test_a_lamp_that_flashes(per_min: int, flashes: int) -> None:
    assert most(together(flashing(per_min))) == flashes


def test_three_a_second_for_an_hour_is_three() -> None:
    assert most(together(flashing(180, from_us=7), until_s=3600)) == 3


def test_a_rate_that_is_no_whole_number_of_microseconds_stays_three() -> None:
    assert [most(together(flashing(180, 0, slots), until_s=100)) for slots in (2, 3, 5, 7)] == [3, 3, 3, 3]


def test_two_lamps_in_phase_flash_as_one() -> None:
    assert worst(flashing(150), flashing(150)) == 3
    assert most(together(flashing(150), flashing(150))) == 3


def test_two_lamps_in_alternation_do_not_hide_each_other() -> None:
    pair = flashing(240, 0), flashing(240, 1)
    assert most(together(*pair)) == 0  # their sum never changes
    assert worst(*pair) == 4


def test_two_lamps_out_of_step_flash_more_often_together() -> None:
    """Two a second each, the second lamp a quarter of a period later than the first: 0.5, 1, 0.5, 0 and again."""
    assert worst(flashing(120), flashing(120, from_us=125_000)) == 2
    brief = [Flashing(start, Blink(500_000, 1, 0, 10)) for start in (0, 250_000)]  # apart from each other
    assert [most(together(lamp)) for lamp in brief] == [2, 2]
    assert worst(*brief) == 4


def test_one_of_many_lamps_is_too_little_of_the_sum() -> None:
    assert most(together(flashing(600), *[Steady(0.0)] * 9)) == 10
    assert most(together(flashing(600), *[Steady(0.0)] * 10)) == 0
    assert most(list(series([(0.5, [(-1, flashing(600))]), (0.04, [(-1, flashing(240))])], 0, S))) == 10


def test_light_is_luminance_not_lightness() -> None:
    """L* 50 is 18.4 % of full light (CIE 15); L* 38 is just over 10 %, L* 37 just under."""
    assert [light for _, light in together(Steady(0.5), until_s=1)] == pytest.approx([0.184186518512] * 2)
    assert most(together(Flashing(0, Blink(S, 4, 0, 2), 0.38))) == 4
    assert most(together(Flashing(0, Blink(S, 4, 0, 2), 0.37))) == 0


def test_what_a_lamp_is_told_next_takes_over() -> None:
    told: list[tuple[int, Wave]] = [(50_000 * index, Steady(float(index % 2 == 0))) for index in range(20)]
    assert worst_second(count(series([(1.0, told)], 0, 5 * S))) == (9, 100_000)
    assert list(series([(1.0, [(10, Steady(1.0)), (10, Steady(0.0))])], 0, 20)) == [(0, 0.0), (20, 0.0)]
    assert list(series([(1.0, [(5, Steady(1.0))])], 10, 20)) == [(10, 1.0), (20, 1.0)]
    edges = [(0, 1.0), (500_000, 0.0), (S, 1.0), (1_200_000, 0.0), (2 * S, 0.0)]
    assert list(series([(1.0, [(0, flashing(60)), (1_200_000, Steady(0.0))])], 0, 2 * S)) == edges


def test_a_fade_that_ends_in_a_jump_is_seen_at_its_height() -> None:
    saw = Course(0, Script.of(Leg(200_000, 1.0, Ease.EVEN), Leg(50_000, 0.0)), repeats=True)
    light = together(saw, until_s=3)
    assert max(value for _, value in light) > 0.9999
    assert most(light) == 4


def test_a_dip_between_two_fades_that_cross_is_found() -> None:
    """Half way both are at L* 50: together 0.184 of what they are at the ends, though both are monotone throughout."""
    there, back = Ramp(0, 2 * S, 0.0, 1.0), Ramp(0, 2 * S, 1.0, 0.0)
    light = together(there, back, until_s=2)
    assert min(value for _, value in light) == pytest.approx(0.184, abs=HAIR)
    assert len(count(light)) == 1
    assert len(light) < 300
    sooner = [there, Ramp(0, 1_300_000, 1.0, 0.0)]
    lowest = min(value for _, value in walked(sooner, 2 * S, 1_000))
    assert min(value for _, value in together(*sooner, until_s=2)) == pytest.approx(lowest, abs=HAIR)


def test_slow_things_cost_little() -> None:
    fades = [Ramp(0, 3600 * S, 0.0, 1.0) for _ in range(200)]
    assert len(together(*fades, until_s=3600)) == 3  # its beginning, its end (twice: where it ends and the look ends)


def test_a_budget_ends_the_series_early_and_it_says_how_far_it_came() -> None:
    whole = together(flashing(600), until_s=100)
    part = list(series([(1.0, [(-1, flashing(600))])], 0, 100 * S, budget=100))
    assert whole[-1][0] == 100 * S
    assert part == whole[: len(part)]
    assert 10 < len(part) < 100
    assert BUDGET > 10_000


LEVELS = st.sampled_from([0.0, 0.2, 0.4, 0.5, 0.7, 1.0])
EASES = st.sampled_from(list(Ease))
COURSES = st.builds(
    lambda legs, begins, repeats: Course(0, Script.of(*legs), begins=begins, repeats=repeats),
    st.lists(st.builds(Leg, st.integers(20_000, 400_000), LEVELS, EASES), min_size=1, max_size=6),
    LEVELS,
    st.booleans(),
)
BLINKS = st.builds(
    Flashing,
    st.integers(0, 300_000),
    st.builds(Blink, st.just(S), st.integers(1, 12), st.just(0), st.integers(2, 5)),
    st.just(1.0),
)
WAVES = st.lists(COURSES | BLINKS, min_size=1, max_size=4)


def walked(waves: Sequence[Wave], until_us: int, every_us: int) -> Light:
    """The light at many instants, the last before each turn and each turn among them."""
    instants = {*range(0, until_us + 1, every_us)}
    for wave in waves:
        turn = wave.turns(0)
        while turn is not None and turn <= until_us:
            instants |= {turn - 1, turn}
            turn = wave.turns(turn)

    def light(at: int) -> float:
        return sum(luminance(wave.value_at(at)) for wave in waves) / len(waves)

    return [(at, light(at)) for at in sorted(instants)]


@settings(max_examples=40, deadline=None)
@given(WAVES)
def test_no_light_between_two_instants_leaves_their_range(waves: list[Wave]) -> None:
    """Against a walk in steps: the light at each lies between that given before and that given after it."""
    found = together(*waves, until_s=1.0)
    assert [at for at, _ in found] == sorted({at for at, _ in found})
    index = 0
    for at, light in walked(waves, S, 997):
        while found[index + 1][0] <= at < S:
            index += 1
        low, high = sorted((found[index][1], found[index + 1][1]))
        assert low - HAIR <= light <= high + HAIR


@settings(max_examples=40, deadline=None)
@given(WAVES)
def test_flashes_against_a_walk_in_steps(waves: list[Wave]) -> None:
    """With a little more, and a little less, asked of a change, since an end of a change is found to a hair."""
    steps = walked(waves, S, 1000)
    found = len(count(together(*waves, until_s=1.0)))
    bounds = []
    for change in (flashes.CHANGE + 2 * HAIR, flashes.CHANGE - 2 * HAIR):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(flashes, "CHANGE", change)
            bounds.append(len(count(steps)))
    assert bounds[0] <= found <= bounds[1]


def test_many_small_lamps_are_asked_on_a_grid() -> None:
    """Two hundred lamps that fade up and down out of step: far fewer instants than the lamps have turns."""
    legs = Script.of(Leg(50_000, 1.0, Ease.EVEN), Leg(50_000, 0.0, Ease.EVEN))
    waves = [Course(-index * 500, legs, repeats=True) for index in range(200)]
    light = together(*waves, until_s=1.0)
    assert S // GRID_US <= len(light) < 4_000 / 10  # twenty turns a second each
    assert most(light) == 0


# --- how much of the view ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("areas", "viewing", "harmless"),
    [
        ([20.0], 1000, True),  # 2e-5 sr
        ([6000.0], 1000, True),  # 0.006 sr, at most
        ([6001.0], 1000, False),
        ([3000.0, 3001.0], 1000, False),  # together
        ([1500.0], 500, True),
        ([1501.0], 500, False),
        ([20.0], None, False),  # not stated
        ([20.0, None], 1000, False),
    ],
)
def test_what_is_small_enough_does_no_harm(areas: list[float | None], viewing: int | None, harmless: bool) -> None:
    assert small(areas, viewing) is harmless


def test_the_threshold_is_a_quarter_of_ten_degrees_of_view() -> None:
    """A cone of 10 degrees: 2 pi (1 - cos 5 deg) = 0.0239 sr; a quarter is 0.006."""
    cone: Callable[[float], float] = lambda degrees: 2 * math.pi * (1 - math.cos(math.radians(degrees / 2)))  # noqa: E731
    assert round(cone(10) / 4, 3) == 0.006
