"""Ways of coming on and going off: what each is known by, what the references say of it, and never a strobe."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from itertools import combinations, pairwise
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.chance import key_of
from engine.courses import Course, Ease, Leg, Script
from engine.ways import WAYS, coming_on, going_off, scaled

S = 1_000_000
KEYS = [key_of(f"lamp {number}", 7) for number in range(30)]


def points(script: Script) -> list[tuple[int, float]]:
    """Where the level turns or jumps: (instant, level). Between two of them it is monotone."""
    found, at, level = [(0, 0.0)], 0, 0.0
    for leg in script.legs:
        if leg.ease is Ease.HOLD:
            found.append((at, leg.to))
        at, level = at + leg.us, leg.to
        found.append((at, level))
    return found


def swings(levels: list[float]) -> list[tuple[int, float]]:
    """The turning points of a list of levels: (index, level), with both ends."""
    out = [(0, levels[0])]
    for index, level in enumerate(levels[1:], 1):
        if level == out[-1][1]:
            continue
        if len(out) > 1 and (level - out[-1][1]) * (out[-1][1] - out[-2][1]) > 0:
            out.pop()
        out.append((index, level))
    return out


def luminance(lightness: float) -> float:
    """CIE 1976 (ISO/CIE 11664-4), lightness as a share of 100."""
    star = lightness * 100
    return float(((star + 16) / 116) ** 3 if star > 8 else star * 27 / 24389)


def brightenings(script: Script) -> list[int]:
    """The instants of the general flash's changes to brighter (WCAG 2.2: 10 % of the whole, darker state under 0.80).

    Counted by hand from its definition: a flash is a pair of opposing changes, so as many brightenings or fewer.
    """
    marks = points(script)
    turning = swings([luminance(level) for _, level in marks])
    return [marks[after][0] for (_, dark), (after, light) in pairwise(turning) if light - dark >= 0.1 and dark < 0.8]


class Traits(NamedTuple):
    """What a way is known by."""

    takes_s: float
    first: float  # the level of its first instant
    half_share: float  # the share of its time at which it is first half lit, for good or not
    dips: int  # how often it falls on its way
    lowest_dip: float  # the lowest level that it falls to; 1.0 if it never falls
    glow: float  # the level shortly before it first is half lit
    steepest: float  # the fastest climb, in shares a second; a jump counts as a climb in a microsecond


@cache
def traits(script: Script) -> Traits:
    course = Course(0, script)
    count = 1_000
    levels = [course.value_at(script.length_us * step // count) for step in range(count + 1)]
    half = next(index for index, level in enumerate(levels) if level >= 0.5)
    turning = swings([level for _, level in points(script)])
    falls = [low for (_, high), (_, low) in pairwise(turning) if low < high]
    marks = points(script)
    climb = max((b - a) / max(1, until - at) for (at, a), (until, b) in pairwise(marks)) * S
    return Traits(
        script.length_us / S,
        course.value_at(0),
        half / count,
        len(falls),
        min(falls, default=1.0),
        levels[max(0, half - 1)],
        climb,
    )


KNOWN_BY: dict[str, Callable[[Traits], bool]] = {
    "gas-mantle": lambda t: t.dips == 1 and 0.25 < t.first < 0.35 and t.half_share > 0.25,
    "oil-wick": lambda t: t.dips == 0 and 0.1 <= t.first < 0.2 and 7 < t.takes_s < 12.5,
    "candle": lambda t: t.dips == 1 and 0.5 < t.first < 0.6 and 0.1 < t.lowest_dip < 0.3,
    "filament": lambda t: t.dips == 0 and 0.15 <= t.takes_s <= 0.3,
    "tube": lambda t: t.dips in (2, 3) and t.first == 0.0 and 0.05 < t.lowest_dip < 0.2 and t.steepest > 1000,
    "neon-sign": lambda t: t.dips in (1, 2) and t.lowest_dip == 0.0,
    "sodium": lambda t: t.takes_s >= 300 and t.half_share > 0.45,
    "mercury": lambda t: t.takes_s >= 300 and t.half_share < 0.3,
    "arc-lamp": lambda t: t.dips == 3 and t.first > 0.9,
    "dynamo": lambda t: t.dips == 2 and t.first == 0.0 and t.steepest < 1,
    "led": lambda t: t.first == 1.0,
    "soft-led": lambda t: t.dips == 0 and 0.4 < t.half_share < 0.6 and t.takes_s < 2,
}


@pytest.mark.parametrize("name", WAYS)
def test_each_way_is_known_by_a_statistic_that_no_other_has(name: str) -> None:
    for other in WAYS:
        told = {KNOWN_BY[name](traits(coming_on(other, key))) for key in KEYS}
        assert told == {other == name}, other


def test_squeezed_into_the_same_time_no_two_ways_look_alike() -> None:
    for key in KEYS[:10]:
        courses = {name: Course(0, scaled(coming_on(name, key), 20 * S)) for name in WAYS}
        curves = {name: [course.value_at(at * S // 10) for at in range(201)] for name, course in courses.items()}
        for one, other in combinations(WAYS, 2):
            assert max(abs(a - b) for a, b in zip(curves[one], curves[other], strict=True)) > 0.15, (one, other)


@pytest.mark.parametrize("name", WAYS)
def test_no_way_flashes_more_than_three_times_in_any_second(name: str) -> None:
    # WCAG 2.2 SC 2.3.1, borrowed for lamps
    for key in KEYS:
        for script in (coming_on(name, key), going_off(name, key)):
            starts = brightenings(script)
            assert all(sum(at <= later < at + S for later in starts) <= 3 for at in starts)


def test_the_count_of_flashes_can_fail() -> None:
    strobe = Script.of(*[Leg(100_000, 1.0), Leg(100_000, 0.0)] * 4)
    assert len(brightenings(strobe)) == 4
    assert brightenings(Script.of(Leg(S, 0.2), Leg(S, 0.0), Leg(S, 0.1, Ease.EVEN))) == []  # Y 0.03: too faint


@pytest.mark.parametrize("name", WAYS)
def test_every_way_arrives_exactly(name: str) -> None:
    for key in KEYS:
        for script in (coming_on(name, key), going_off(name, key)):
            assert script.legs[-1].to == 1.0
            assert all(0.0 <= leg.to <= 1.0 for leg in script.legs)
        off = Course(0, going_off(name, key), 0.85, 0.0)
        assert off.value_at(off.ends_us or 0) == 0.0
        # nothing that goes off lights up again on its way, as the eye sees it
        turning = swings([level for _, level in points(going_off(name, key))])
        assert len(turning) == 2


@pytest.mark.parametrize("name", WAYS)
def test_the_same_key_is_the_same_run(name: str) -> None:
    assert coming_on(name, 5) == coming_on(name, 5)
    assert going_off(name, 5) == going_off(name, 5)


@pytest.mark.parametrize(
    "name", ["gas-mantle", "oil-wick", "candle", "tube", "neon-sign", "sodium", "mercury", "arc-lamp", "dynamo"]
)
def test_what_differs_from_run_to_run_differs_from_lamp_to_lamp(name: str) -> None:
    assert len({coming_on(name, key) for key in KEYS}) == len(KEYS)


def test_how_long_each_takes() -> None:
    takes = {name: [coming_on(name, key).length_us / S for key in KEYS] for name in WAYS}
    off = {name: [going_off(name, key).length_us / S for key in KEYS] for name in WAYS}
    assert min(takes["sodium"]) >= 300  # references, read: high-pressure sodium >= 5 min to full light
    assert min(takes["mercury"]) >= 300
    assert max(takes["mercury"]) <= 900
    assert 0.15 <= takes["filament"][0] <= 0.3 < off["filament"][0]  # from memory
    assert min(takes["gas-mantle"]) >= 3
    assert max(takes["gas-mantle"]) < 7
    assert off["gas-mantle"][0] == 0.5
    for name in ("tube", "neon-sign", "sodium", "mercury", "led"):  # a discharge ends with its current
        assert max(off[name]) <= 0.001


def test_a_tube_preheats_and_strikes_as_the_references_say() -> None:
    # references, read: 0.5-2 s preheat, 2-3 strikes
    strikes = set()
    for key in KEYS:
        script = coming_on("tube", key)
        lit = [start for start, level in points(script)[:-1] if level >= 0.5]
        assert 0.5 * S <= lit[0] <= 2 * S
        preheat = Course(0, script)
        assert all(0.0 <= preheat.value_at(at) <= 0.2 for at in range(0, lit[0], 10_000))
        assert preheat.value_at(lit[0] - 1) > 0.1  # its ends glow
        strikes.add(sum(leg.to == 0.75 for leg in script.legs))
    assert strikes == {2, 3}


def test_a_filament_starts_fast_and_finishes_slowly_both_ways() -> None:
    for script in (coming_on("filament", 0), going_off("filament", 0)):
        course = Course(0, script)
        speeds = [
            course.value_at(at + 10_000) - course.value_at(at) for at in range(0, script.length_us - 9_999, 10_000)
        ]
        assert all(after <= before + 1e-9 for before, after in pairwise(speeds))
        assert speeds[0] > 3 * speeds[-1]


@given(st.sampled_from(sorted(WAYS)), st.integers(0, 2**64 - 1), st.integers(0, 10**9))
def test_scaled_takes_exactly_what_it_is_given(name: str, key: int, over_us: int) -> None:
    script = coming_on(name, key)
    if over_us < len(script.legs):
        with pytest.raises(ValueError, match="microseconds"):
            scaled(script, over_us)
        return
    squeezed = scaled(script, over_us)
    assert squeezed.length_us == over_us
    assert [leg[1:] for leg in squeezed.legs] == [leg[1:] for leg in script.legs]
    for end, was in zip(squeezed.ends_us, script.ends_us, strict=True):  # to the microsecond, but for the room of a leg
        assert abs(end - was * over_us / script.length_us) <= len(script.legs)


def test_scaled_to_its_own_length_is_itself() -> None:
    for name in WAYS:
        script = coming_on(name, 3)
        assert scaled(script, script.length_us) == script
    assert [leg.us for leg in scaled(Script.of(Leg(1, 0.5), Leg(10**6, 0.5), Leg(1, 1.0)), 3).legs] == [1, 1, 1]
    assert [leg.us for leg in scaled(Script.of(Leg(10**6, 0.5), Leg(1, 0.5), Leg(1, 1.0)), 3).legs] == [1, 1, 1]
