"""Daylight: the clear sky's light against published values, and the waves through dusk and dawn against pvlib."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib.solarposition import spa_python

from engine.daylight import (
    COURSES,
    DARKEST_LUX,
    Follow,
    NoSuchSun,
    Sunlight,
    altitude_of,
    end_lux,
    lux,
    through,
)
from engine.layout import Whereabouts
from engine.sun import EVENTS, altitude_deg, noon, why_not
from engine.waves import Ramp, State, Steady, Wave, endless, next_change, under_way

QUAY = Whereabouts()
MINUTE = 60_000_000
DAY = 10_000.0


# --- the light of a clear sky


@pytest.mark.parametrize(
    ("altitude", "wanted"),
    [
        (20, 27376), (5, 4538), (0, 758.6), (-0.8333, 453.5), (-1, 404.6), (-2, 189.4), (-3, 79.07), (-4, 29.93),
        (-5, 10.44), (-6, 3.412), (-8, 0.3481), (-10, 0.04211), (-12, 0.008056), (-18, 0.000645),
    ],
)  # fmt: skip
def test_worked_values(altitude: float, wanted: float) -> None:
    """Worked out by another hand from the fit in the Explanatory Supplement to the Astronomical Almanac, 1992."""
    assert lux(altitude) == pytest.approx(wanted, rel=5e-4)


def test_civil_dusk_lies_within_the_bounds_of_the_glossary() -> None:
    # American Meteorological Society, Glossary of Meteorology: 585-410 lux at sunset, 3.5-2 as civil twilight ends
    assert 410 <= lux(EVENTS["sunset"].altitude_deg) <= 585
    assert 2 <= lux(EVENTS["dusk"].altitude_deg) <= 3.5


@pytest.mark.parametrize(("light", "altitude"), [(70, -3.131), (55, -3.385), (35, -3.845), (1.5 * 10.7639, -4.595)])
def test_where_street_lamps_come_on(light: float, altitude: float) -> None:
    # 70 on, 35 off: a lighting trade page; 1.5 footcandles: ANSI C136.10; altitudes worked out from the same fit
    assert altitude_of(light) == pytest.approx(altitude, abs=6e-4)


def test_a_higher_sun_is_always_more_light_and_never_a_jump() -> None:
    steps = [lux(-18 + step / 1000) for step in range(108_001)]
    assert all(low < high < 1.01 * low for low, high in pairwise(steps))
    for seam in (20, 5, -0.8, -5, -12):
        for edge in (seam, seam - 0.03):
            assert lux(edge - 1e-9) == pytest.approx(lux(edge), rel=1e-6)


def test_beyond_its_ends_the_light_stays() -> None:
    assert lux(-90) == lux(-18.001) == lux(-18) == DARKEST_LUX
    assert lux(91) == lux(90) == pytest.approx(10**5.11)


@given(st.floats(-17.99, 89.9))
def test_the_inverse_is_one(altitude: float) -> None:
    assert altitude_of(lux(altitude)) == pytest.approx(altitude, abs=1e-6)


def test_the_inverse_beyond_what_the_sky_gives() -> None:
    assert altitude_of(0.0) == altitude_of(1e-9) == -18
    assert altitude_of(1e9) == 90


# --- dusk and dawn


def spa_altitude(where: Whereabouts, second: float) -> float:
    midnight = datetime(where.year, where.month, where.day, tzinfo=UTC) - timedelta(minutes=where.utc_min)
    times = pandas.DatetimeIndex([midnight + timedelta(seconds=second)])
    found = spa_python(times, where.latitude_deg, where.longitude_deg, altitude=0.0, delta_t=69.0)
    return float(found["elevation"].iloc[0])


def fit(altitude: float) -> float:
    """The rows of the published fit that a dusk from 10,000 lux meets, written out."""
    rows = ((5, 3.05, 13.28, -45.98, 64.33), (-0.8, 2.88, 22.26, -207.64, 1034.30), (-5, 2.88, 21.81, -258.11, -858.36))
    _, *terms = next(row for row in (*rows, (-12, 2.70, 12.17, -431.69, -1899.83)) if altitude >= row[0])
    return float(10 ** sum(term * (altitude / 90) ** power for power, term in enumerate(terms)))


@pytest.mark.parametrize(
    "where", [QUAY, Whereabouts(-33.9, 151.2, 2026, 12, 21, 600), Whereabouts(40, -75, 2026, 12, 21)]
)
def test_the_quarters_of_a_dusk_of_four_minutes(where: Whereabouts) -> None:
    """The sun of those instants by pvlib, its light by the published fit; both ends found here by halving on pvlib."""

    def crossing(altitude: float) -> float:
        high, low = noon(where), noon(where) + 40_000
        while low - high > 0.01:
            middle = (low + high) / 2
            low, high = (middle, high) if spa_altitude(where, middle) < altitude else (low, middle)
        return low

    wave = through(where, "dusk", 0, 4 * MINUTE, DAY, DAY)
    start, end = crossing(altitude_of(DAY)), crossing(-6.0)
    for quarter in range(5):
        sun = spa_altitude(where, start + (end - start) * quarter / 4)
        assert wave.value_at(quarter * MINUTE) == pytest.approx(fit(sun), rel=2e-3), quarter


def test_the_quarters_are_no_even_fade() -> None:
    """Half way through, most of the light is gone, and less than half of its ratio: so falls dusk, no straight line."""
    half = through(QUAY, "dusk", 0, 4 * MINUTE, DAY, DAY).value_at(2 * MINUTE)
    assert 2 * (DAY * 3.412) ** 0.5 < half < DAY / 4


@pytest.mark.parametrize(
    ("course", "now", "end"), [("dusk", DAY, 3.4116), ("nightfall", DAY, 0.0006447), ("dawn", 3.4, DAY)]
)
def test_each_course_ends_where_it_should(course: str, now: float, end: float) -> None:
    wave = through(QUAY._replace(month=10), course, 5, MINUTE, now, DAY)
    assert wave.value_at(5) == wave.value_at(-100) == now
    assert wave.value_at(5 + MINUTE) == wave.value_at(10 * MINUTE) == pytest.approx(end, rel=1e-3)
    assert end_lux(QUAY._replace(month=10), course, DAY) == wave.value_at(5 + MINUTE)


def test_nightfall_goes_deeper_and_daybreak_comes_from_there() -> None:
    where = QUAY._replace(month=10)
    dusk, nightfall = (through(where, name, 0, MINUTE, DAY, DAY) for name in ("dusk", "nightfall"))
    dawn, daybreak = (through(where, name, 0, MINUTE, DARKEST_LUX, DAY) for name in ("dawn", "daybreak"))
    assert altitude_deg(where, dusk.to_s) == pytest.approx(-6)
    assert altitude_deg(where, nightfall.to_s) == pytest.approx(-18)
    assert altitude_deg(where, dawn.from_s) == pytest.approx(-6)
    assert altitude_deg(where, daybreak.from_s) == pytest.approx(-18)
    assert dusk.from_s == nightfall.from_s
    assert dawn.to_s == daybreak.to_s < noon(where) < dusk.from_s
    for one in (dusk, nightfall, daybreak):
        assert (one.first_gain, one.last_gain) == pytest.approx((1, 1))
    assert dawn.first_gain == pytest.approx(DARKEST_LUX / 3.4116, rel=1e-3)  # it is darker than dawn: met there


def test_dusk_undone_by_dawn_is_nearly_dusk_backwards() -> None:
    """Morning and afternoon of one day differ only by what the sun climbs in between."""
    dusk = through(QUAY, "dusk", 0, 4 * MINUTE, DAY, DAY)
    dawn = through(QUAY, "dawn", 0, 4 * MINUTE, dusk.last_lux, DAY)
    for at in range(0, 4 * MINUTE, MINUTE // 3):
        assert dawn.value_at(at) == pytest.approx(dusk.value_at(4 * MINUTE - at), rel=0.1)


def test_a_dusk_broken_off_goes_on_from_where_it_was() -> None:
    """The rest of the course, so the same sun: at the same light the rest looks the same."""
    whole = through(QUAY, "dusk", 0, 4 * MINUTE, DAY, DAY)
    rest = through(QUAY, "dusk", MINUTE, 3 * MINUTE, whole.value_at(MINUTE), DAY)
    for at in range(MINUTE, 4 * MINUTE, MINUTE // 4):
        assert rest.value_at(at) == pytest.approx(whole.value_at(at), rel=1e-6)


def test_more_light_than_noon_gives_is_met_at_noon() -> None:
    where = Whereabouts(60, 0, 2026, 12, 21)
    sky = lux(altitude_deg(where, noon(where)))
    assert sky < 7_000
    dusk = through(where, "dusk", 0, MINUTE, DAY, DAY)
    assert dusk.from_s == pytest.approx(noon(where), abs=2)
    assert dusk.first_gain == pytest.approx(DAY / sky)
    dawn = through(where, "dawn", 0, MINUTE, 20.0, DAY)
    assert dawn.to_s == pytest.approx(noon(where), abs=2)
    assert (dawn.first_gain, dawn.last_gain) == pytest.approx((1, DAY / sky))
    assert lux(altitude_deg(where, dawn.from_s)) == pytest.approx(20)


def goes_well(wave: Sunlight, now: float, last: float) -> None:
    """From what it was to where it should, one way (but for roundings), and with no jump at either end."""
    assert (wave.value_at(wave.from_us), wave.value_at(wave.to_us)) == (now, last)
    long = wave.to_us - wave.from_us
    values = [wave.value_at(wave.from_us + long * step // 240) for step in range(-1, 242)]
    slack = 1e-12
    assert all(
        (low <= high * (1 + slack)) if last >= now else (high <= low * (1 + slack)) for low, high in pairwise(values)
    )
    if long > MINUTE:
        assert wave.value_at(wave.from_us + 1) == pytest.approx(now, rel=1e-4, abs=1e-9)
        assert wave.value_at(wave.to_us - 1) == pytest.approx(last, rel=1e-4, abs=1e-9)


LIGHTS = (0.0, 1e-5, DARKEST_LUX, 0.02, 2.0, 3.4116, 60.0, DAY, 40_000.0, 130_000.0)


@pytest.mark.parametrize("course", COURSES)
@pytest.mark.parametrize("now", LIGHTS)
def test_from_any_light_to_any_day(course: str, now: float) -> None:
    for where in (QUAY, Whereabouts(70, 0, 2026, 12, 21), Whereabouts(-10, 100, 2026, 11, 2, 420)):
        for day in LIGHTS:
            wave = through(where, course, 1_000, 5 * MINUTE, now, day)
            last = day if course in ("dawn", "daybreak") else lux(EVENTS[course].altitude_deg)
            assert end_lux(where, course, day) == last
            goes_well(wave, now, last)


LUX = st.one_of(st.just(0.0), st.floats(-6, 5.3).map(lambda power: float(10**power)))


@settings(max_examples=300, deadline=None)
@given(
    st.builds(
        Whereabouts,
        st.floats(-90, 90),
        st.floats(-180, 180),
        st.integers(1900, 2100),
        st.integers(1, 12),
        st.integers(1, 28),
        st.integers(-720, 840),
    ),
    st.sampled_from(COURSES),
    LUX,
    LUX,
    st.integers(1, 90 * MINUTE),
)
def test_wherever_and_whatever_it_starts_there_ends_well_and_goes_one_way(
    where: Whereabouts, course: str, now: float, day: float, over: int
) -> None:
    if no := why_not(where, course):
        with pytest.raises(NoSuchSun, match=re.escape(no)):
            through(where, course, 1_000, over, now, day)
        return
    goes_well(through(where, course, 1_000, over, now, day), now, end_lux(where, course, day))


def test_nothing_holds_the_course_back_in_between() -> None:
    """What it gives is sky times gain: it is cut off at its two ends' values nowhere but by a rounding."""
    for now in (0.0, 0.0001, 1.0, 50.0, DAY, 90_000.0):
        for course in COURSES:
            if now == DAY and EVENTS[course].rising:
                continue  # it is there already
            wave = through(QUAY, course, 0, MINUTE, now, DAY)
            values = [wave.value_at(at) for at in range(0, MINUTE + 1, MINUTE // 40)]
            assert len(set(values)) == len(values), (course, now)


def test_there_is_no_dusk_in_a_polar_summer_or_winter() -> None:
    with pytest.raises(NoSuchSun, match=r"^At 65 N on 21 June the sun does not sink .* so there is no dusk\.$"):
        through(Whereabouts(65, 0, 2026, 6, 21), "dusk", 0, MINUTE, DAY, DAY)
    with pytest.raises(NoSuchSun, match=r"^At 80 S on 21 June the sun does not rise .* so there is no dawn\.$"):
        end_lux(Whereabouts(-80, 0, 2026, 6, 21), "dawn", DAY)


def test_a_polar_day_without_sunrise_still_has_its_dusk() -> None:
    where = Whereabouts(70, 0, 2026, 12, 21)
    assert why_not(where, "sunset")
    wave = through(where, "dusk", 0, MINUTE, DAY, DAY)
    assert (wave.value_at(0), wave.value_at(MINUTE)) == (DAY, lux(-6))


def test_how_it_answers_the_questions_to_a_wave() -> None:
    wave = through(QUAY, "dusk", 100, MINUTE, DAY, DAY)
    assert (wave.turns(0), wave.turns(100), wave.turns(100 + MINUTE)) == (100, 100 + MINUTE, None)
    assert wave.ends_us == 100 + MINUTE
    assert wave.state is State.UNDER_WAY
    assert under_way(wave, 100 + MINUTE - 1)
    assert not under_way(wave, 100 + MINUTE)
    assert not endless(wave)
    assert through(QUAY, "dusk", 7, 0, DAY, DAY).value_at(7) == lux(-6)  # no time at all


def walked(wave: Wave, end_us: int, steps: float) -> list[int]:
    """Every microsecond at which the whole number of steps is another than a microsecond before."""
    seen = [int(wave.value_at(at) * steps) for at in range(end_us + 1)]
    return [at for at, (before, now) in enumerate(pairwise(seen), 1) if before != now]


def asked(wave: Wave, end_us: int, steps: float) -> list[int]:
    found: list[int] = []
    at = next_change(wave, 0, lambda value: int(value * steps))
    while at is not None and at <= end_us:
        found.append(at)
        at = next_change(wave, at, lambda value: int(value * steps))
    return found


@pytest.mark.parametrize("course", ["dusk", "dawn"])
def test_every_change_is_found_and_no_other(course: str) -> None:
    wave = through(QUAY, course, 50, 3_000, DAY if course == "dusk" else 2.0, DAY)
    for shown, steps in ((wave, 1 / 70), (wave, 3.0), (Follow(wave, 5.0, 5_000.0), 255.0)):
        changes = asked(shown, 3_200, steps)
        assert changes == walked(shown, 3_200, steps)
        assert len(changes) > 100


def test_seventy_lux_is_passed_once_and_when_the_sun_says() -> None:
    wave = through(QUAY, "dusk", 0, 4 * MINUTE, DAY, DAY)
    at = next_change(wave, 0, lambda value: value < 70)
    assert at is not None
    assert next_change(wave, at, lambda value: value < 70) is None
    sun = spa_altitude(QUAY, wave.from_s + (wave.to_s - wave.from_s) * at / (4 * MINUTE))
    assert sun == pytest.approx(-3.131, abs=0.002)


# --- sky lamps


def test_a_sky_lamp_takes_equal_ratios_in_equal_steps() -> None:
    shown = [Follow(Steady(light), 1.0, 10_000.0).value_at(0) for light in (0.0, 0.5, 1, 10, 100, 1_000, 10_000, 1e5)]
    assert shown == pytest.approx([0, 0, 0, 0.25, 0.5, 0.75, 1, 1])
    assert Follow(Steady(100.0), 1.0, 10_000.0, 0.2, 0.6).value_at(0) == pytest.approx(0.4)


def test_a_lamp_that_comes_on_as_daylight_goes() -> None:
    assert [Follow(Steady(light), 100.0, 1.0).value_at(0) for light in (1_000, 100, 10, 1, 0.0)] == pytest.approx(
        [0, 0, 0.5, 1, 1]
    )


def test_bounds_that_leave_no_room_make_a_switch() -> None:
    assert [Follow(Steady(light), 10.0, 10.0).value_at(0) for light in (9.9, 10.0)] == [0, 1]
    assert Follow(Steady(1.0), 0.0, 10.0).value_at(0) == pytest.approx(
        0.76, abs=0.01
    )  # dark at none: the darkest sky's


def test_a_sky_lamp_turns_and_ends_with_its_daylight() -> None:
    inner = Ramp(10, 20, 1.0, 100.0)
    lamp = Follow(inner, 1.0, 100.0)
    assert (lamp.turns(0), lamp.turns(10), lamp.turns(20)) == (10, 20, None)
    assert lamp.ends_us == 20
    assert lamp.state is State.UNDER_WAY
    assert Follow(Steady(5.0), 1.0, 100.0).ends_us is None
    assert Follow(Steady(5.0), 1.0, 100.0).state is State.STEADY


def test_a_wave_is_a_value() -> None:
    assert through(QUAY, "dusk", 0, MINUTE, DAY, DAY) == through(QUAY, "dusk", 0, MINUTE, DAY, DAY)
    assert isinstance(through(QUAY, "dusk", 0, MINUTE, DAY, DAY), Sunlight)
