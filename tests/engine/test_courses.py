"""Courses: legs one after another, once or over and over, against a walk through every microsecond."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.courses import LEGS, Course, Ease, Leg, Script
from engine.waves import State, endless, least_jerk, next_change, under_way

SHARES = st.sampled_from([0.0, 0.1, 0.25, 0.3, 0.5, 0.7, 0.9, 1.0])
LEG = st.builds(Leg, st.integers(1, 40), SHARES, st.sampled_from(Ease))
SCRIPTS = st.lists(LEG, min_size=1, max_size=6).map(lambda legs: Script.of(*legs))
COURSES = st.builds(
    Course,
    st.integers(0, 30),
    SCRIPTS,
    st.sampled_from([-1.0, 0.0, 0.2]),
    st.sampled_from([-0.5, 0.7, 1.0]),
    SHARES,
    st.booleans(),
)


def walked(course: Course, at_us: int) -> float:
    """The level by going through the legs one by one; says nothing of how the module finds it."""
    level, left = course.begins, at_us - course.from_us
    if left < 0:
        return level
    while True:
        for leg in course.script.legs:
            if left < leg.us:
                if leg.ease is Ease.HOLD:
                    return leg.to
                share = left / leg.us
                return level + (leg.to - level) * (share if leg.ease is Ease.EVEN else least_jerk(share))
            left, level = left - leg.us, leg.to
        if not course.repeats:
            return level


@given(COURSES, st.integers(0, 600))
def test_a_value_is_what_a_walk_through_the_legs_finds(course: Course, at_us: int) -> None:
    expected = course.low + (course.high - course.low) * walked(course, at_us)
    assert course.value_at(at_us) == pytest.approx(expected, abs=1e-12)


@given(COURSES)
def test_between_two_turns_it_is_monotone_and_does_not_jump(course: Course) -> None:
    start, steepest = 0, 2.0  # a leg of one microsecond may go the whole way in it
    while start < 200:
        end = course.turns(start)
        assert end is None or end > start
        last = min(200, end or 200)
        values = [course.value_at(at) for at in range(start, last)]
        steps = [after - before for before, after in itertools.pairwise(values)]
        assert all(step >= -1e-12 for step in steps) or all(step <= 1e-12 for step in steps)
        assert all(abs(step) < steepest for step in steps)
        if end is None:
            assert len(set(values)) <= 1
        start = last


@given(COURSES, st.integers(1, 9))
def test_every_change_is_found_and_no_other(course: Course, steps: int) -> None:
    def seen(value: float) -> int:
        return round(value * steps)

    codes = [seen(course.value_at(at)) for at in range(301)]
    found, at = [], next_change(course, 0, seen)
    while at is not None and at <= 300:
        if seen(course.value_at(at)) != codes[at - 1]:  # the asker looks: nothing need have changed
            found.append(at)
        at = next_change(course, at, seen)
    assert found == [at for at in range(1, 301) if codes[at] != codes[at - 1]]


@given(SCRIPTS, st.floats(-90, 90), st.floats(-90, 90))
def test_who_has_arrived_shows_exactly_what_was_told(script: Script, low: float, high: float) -> None:
    arriving = Script.of(*script.legs, Leg(3, 1.0, Ease.EVEN))
    course = Course(7, arriving, low, high)
    assert course.ends_us == 7 + arriving.length_us
    assert course.value_at(course.ends_us) == high
    assert course.value_at(course.ends_us + 10**12) == high
    assert course.turns(course.ends_us) is None
    assert under_way(course, course.ends_us - 1)
    assert not under_way(course, course.ends_us)


def test_it_sets_out_from_where_it_begins() -> None:
    course = Course(100, Script.of(Leg(10, 1.0, Ease.EVEN)), 0.0, 0.5, begins=0.4)
    assert [course.value_at(at) for at in (0, 99, 100, 105, 110)] == pytest.approx([0.2, 0.2, 0.2, 0.35, 0.5])
    assert course.turns(0) == 100


def test_a_hold_jumps_at_its_first_microsecond() -> None:
    course = Course(100, Script.of(Leg(10, 0.0), Leg(10, 1.0)))
    assert [course.value_at(at) for at in (109, 110, 119, 120)] == [0.0, 1.0, 1.0, 1.0]


def test_over_and_over_each_round_sets_out_from_the_last_level() -> None:
    course = Course(0, Script.of(Leg(10, 1.0, Ease.EVEN), Leg(10, 0.5, Ease.EVEN)), repeats=True, state=State.FLASHING)
    assert [course.value_at(at) for at in (5, 25, 20_000_005)] == [0.5, 0.75, 0.75]
    assert course.ends_us is None
    assert endless(course)


def test_a_fixed_light_never_turns_again() -> None:
    fixed = Course(50, Script.of(Leg(10, 1.0), Leg(10, 1.0, Ease.EVEN)), repeats=True)
    assert fixed.turns(0) == 50
    assert fixed.turns(50) is None
    assert fixed.value_at(10**15) == 1.0
    rising = Course(0, Script.of(Leg(10, 1.0, Ease.EVEN)), repeats=True)
    assert rising.turns(3) == 10
    assert rising.turns(10) is None


@pytest.mark.parametrize(
    "legs", [(), (Leg(0, 1.0),), (Leg(-5, 1.0),), (Leg(5, 1.01),), (Leg(5, -0.01),), (Leg(5, float("nan")),)]
)
def test_what_is_no_course_is_refused(legs: tuple[Leg, ...]) -> None:
    with pytest.raises(ValueError, match=r"legs|level"):
        Script.of(*legs)


def test_legs_are_limited() -> None:
    assert len(Script.of(*[Leg(1, 1.0)] * LEGS).legs) == LEGS
    with pytest.raises(ValueError, match="1000"):
        Script.of(*[Leg(1, 1.0)] * (LEGS + 1))
