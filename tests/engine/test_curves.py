"""Motion profiles and the wave that follows one, against published numbers, scipy's integrator and a plain walk."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import exp, floor, inf, log, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from engine.curves import (
    PROFILES,
    Curve,
    Even,
    Profile,
    Ramped,
    Smooth,
    Swaying,
    bouncing,
    settling,
    shortest_us,
    trapezoid,
)
from engine.landings import (
    FREE_UNDER_US,
    LANDS,
    LEAST_RESTITUTION,
    LEAST_ROOM,
    MOST_DAMPING,
    MOST_RESTITUTION,
    MOST_TIMES,
    Settling,
    SettlingLate,
    bounce_end,
    bounce_times,
    damping_for,
    overshoot,
    peak_time,
    second_order_step,
)
from engine.waves import State, Wave, next_change

SHORT, LONG = 800_000, 7_000_000
NOISE = 1e-12

times = st.integers(1, MOST_TIMES)
over = st.sampled_from((1, SHORT, FREE_UNDER_US - 1, FREE_UNDER_US, LONG, 600_000_000))
restitutions = st.one_of(st.none(), st.floats(LEAST_RESTITUTION, MOST_RESTITUTION))
dampings = st.floats(0.1, MOST_DAMPING)
rooms = st.one_of(st.just(0.0), st.just(inf), st.floats(-0.5, 1.0))
profiles: st.SearchStrategy[Profile] = st.one_of(
    st.sampled_from([*PROFILES.values()]),
    st.floats(0.0, 0.5).map(Ramped),
    st.builds(bouncing, over, times, restitutions),
    st.builds(settling, over, rooms, dampings),
)


def sampled(profile: Profile, start: float = 0.0, end: float = 1.0, points: int = 4_001) -> np.ndarray:
    return np.array([profile.at(float(x)) for x in np.linspace(start, end, points)])


# --- published numbers ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("profile", "x", "share"),
    [
        # Flash and Hogan, "The coordination of arm movements", J. Neuroscience 5 (1985): 10 t^3 - 15 t^4 + 6 t^5
        (Smooth(), 0.1, 0.00856),
        (Smooth(), 0.25, 0.10351563),
        (Smooth(), 0.5, 0.5),
        (Smooth(), 0.75, 0.89648438),
        (Smooth(), 0.9, 0.99144),
        # (1 - cos pi t) / 2
        (Swaying(), 0.25, 0.146447),
        (Swaying(), 0.5, 0.5),
        (Swaying(), 0.75, 0.853553),
        (Even(), 0.3, 0.3),
    ],
)
def test_shares_of_the_way(profile: Profile, x: float, share: float) -> None:
    assert profile.at(x) == pytest.approx(share, abs=1e-6)


def test_a_trapezoid_of_speed() -> None:
    # by hand: 90 at most 60 a second and 120 a second squared takes half a second to speed up
    seconds, profile = trapezoid(90.0, 60.0, 120.0)
    assert seconds == pytest.approx(2.0)
    assert profile.ramp == pytest.approx(0.25)
    places = [90.0 * profile.at(at / seconds) for at in (0.25, 0.5, 1.0, 1.5, 1.75)]
    assert places == pytest.approx([3.75, 15.0, 45.0, 75.0, 86.25])
    assert profile.peak_speed * 90.0 / seconds == pytest.approx(60.0)


def test_too_short_a_way_makes_a_triangle() -> None:
    seconds, profile = trapezoid(20.0, 60.0, 120.0)
    assert seconds == pytest.approx(0.816497, abs=1e-6)
    assert profile.ramp == 0.5
    assert profile.peak_speed * 20.0 / seconds == pytest.approx(sqrt(20.0 * 120.0))
    # at exactly the shortest way on which the speed is reached, both are the same
    assert trapezoid(30.0, 60.0, 120.0)[0] == pytest.approx(trapezoid(30.0 + 1e-9, 60.0, 120.0)[0])


@given(st.floats(0.1, 500), st.floats(1, 600), st.floats(1, 5_000))
@settings(deadline=None)
def test_a_trapezoid_keeps_both_limits(distance: float, speed: float, acceleration: float) -> None:
    seconds, profile = trapezoid(distance, speed, acceleration)
    assert profile.peak_speed * distance / seconds <= speed * (1 + 1e-9)
    speeding_up = profile.ramp * seconds
    assert profile.peak_speed * distance / seconds / speeding_up == pytest.approx(acceleration)


@pytest.mark.parametrize("wrong", [(-1.0, 1.0, 1.0), (1.0, 0.0, 1.0), (1.0, 1.0, 0.0)])
def test_a_trapezoid_of_nothing_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above nothing"):
        trapezoid(*wrong)


def test_no_way_takes_no_time() -> None:
    assert trapezoid(0.0, 60.0, 120.0)[0] == 0.0


@pytest.mark.parametrize(
    ("restitution", "impacts", "end"),
    [
        # 1 m under standard gravity, 9.80665 m/s^2: t0 = sqrt(2h/g), gaps 2 t0 e^n, whole time t0 (1+e)/(1-e)
        (0.35, (0.451601, 0.767721, 0.878363), 0.937940),
        (0.5, (0.451601, 0.903202, 1.129002), 1.354802),
        (0.6, (0.451601, 0.993522, 1.318674), 1.806403),
    ],
)
def test_impacts_of_a_bounce(restitution: float, impacts: tuple[float, ...], end: float) -> None:
    fall = sqrt(2.0 / 9.80665)
    assert bounce_times(restitution, fall, 3) == pytest.approx(impacts, abs=1e-6)
    assert bounce_end(restitution, fall) == pytest.approx(end, abs=1e-6)
    assert bounce_times(restitution, fall, 200)[-1] == pytest.approx(end, abs=1e-6)


def test_impacts_with_the_fall_as_one() -> None:
    assert bounce_times(0.5, 1.0, 4) == pytest.approx((1.0, 2.0, 2.5, 2.75))
    assert bounce_end(0.5, 1.0) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("damping", "percent"), [(0.2, 52.66), (0.3, 37.23), (0.4, 25.38), (0.5, 16.30), (sqrt(0.5), 4.32)]
)
def test_overshoot_of_a_step(damping: float, percent: float) -> None:
    # exp(-pi z / sqrt(1 - z^2)), any textbook of control engineering
    assert 100.0 * overshoot(damping) == pytest.approx(percent, abs=0.005)
    assert damping_for(overshoot(damping)) == pytest.approx(damping)
    top = max(second_order_step(t, damping, 1.0) for t in np.linspace(0.0, 2.0, 20_001))
    assert 100.0 * (top - 1.0) == pytest.approx(percent, abs=0.01)


def test_the_answer_to_a_step() -> None:
    # damping 0.3 at 2 Hz
    assert peak_time(0.3, 2.0) == pytest.approx(0.262071, abs=1e-6)
    assert second_order_step(0.262071, 0.3, 2.0) == pytest.approx(1.372326, abs=1e-6)
    answers = [second_order_step(t, 0.3, 2.0) for t in (0.1, 0.2, 0.3, 0.5, 1.0)]
    assert answers == pytest.approx([0.549700, 1.245929, 1.334504, 0.868106, 0.984667], abs=1e-6)
    # within 2 % for good from 0.893665 s on
    assert abs(second_order_step(0.893665, 0.3, 2.0) - 1.0) == pytest.approx(0.02, abs=1e-5)
    assert abs(second_order_step(0.8935, 0.3, 2.0) - 1.0) > 0.02
    assert max(abs(second_order_step(t, 0.3, 2.0) - 1.0) for t in np.linspace(0.8937, 5.0, 5_000)) < 0.02


# --- against an integrator (scipy.integrate.solve_ivp) -------------------------------------------------------------


@pytest.mark.parametrize(("times", "restitution"), [(1, 0.5), (2, 0.5), (3, 0.35), (5, 0.8)])
def test_a_short_move_falls_and_bounces_as_bodies_do(times: int, restitution: float) -> None:
    profile = bouncing(SHORT, times, restitution)
    gravity = 2.0 / profile.impacts[0] ** 2  # a way of 1 in the first part of a time of 1

    def stop(_: float, state: np.ndarray) -> float:
        return float(state[0])

    stop.terminal, stop.direction = True, -1  # type: ignore[attr-defined]
    now, state = 0.0, [1.0, 0.0]
    for impact in profile.impacts:
        leg = solve_ivp(
            lambda _, y: [y[1], -gravity],
            (now, now + 2.0),
            state,
            events=stop,
            rtol=1e-10,
            atol=1e-13,
            dense_output=True,
        )
        hit = float(leg.t_events[0][-1])
        assert hit == pytest.approx(impact, abs=1e-8)
        for x in np.linspace(now, impact, 50)[1:-1]:
            assert profile.at(float(x)) == pytest.approx(1.0 - float(leg.sol(x)[0]), abs=1e-8)
        now, state = hit, [0.0, -restitution * float(leg.y_events[0][-1][1])]
    assert now == pytest.approx(1.0)


@pytest.mark.parametrize(("damping", "swings"), [(0.15, 8), (0.2, 6), (0.3, 3), (0.5, 2), (0.65, 1)])
def test_a_short_move_settles_as_a_spring_does(damping: float, swings: int) -> None:
    profile = settling(SHORT, inf, damping)
    assert isinstance(profile, Settling)
    natural = 2.0 * pi * profile.natural_hz

    def target(_: float, state: np.ndarray) -> float:
        return float(state[0] - 1.0)

    run = solve_ivp(
        lambda _, y: [y[1], natural**2 * (1.0 - y[0]) - 2.0 * damping * natural * y[1]],
        (0.0, 1.001),
        [0.0, 0.0],
        events=target,
        rtol=1e-11,
        atol=1e-13,
        dense_output=True,
    )
    assert [profile.at(float(x)) for x in np.linspace(0, 0.999, 200)] == pytest.approx(
        [float(run.sol(x)[0]) for x in np.linspace(0, 0.999, 200)], abs=1e-8
    )
    # it ends where it passes its target the last time, and only swings within 2 % are left out
    assert len(run.t_events[0]) == swings + 1
    assert float(run.t_events[0][-1]) == pytest.approx(1.0, abs=1e-8)
    assert exp(-pi * damping / sqrt(1 - damping**2) * (swings + 1)) <= 0.02


# --- speeds --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("profile", "speed"),
    [(Even(), 1.0), (Smooth(), 1.875), (Swaying(), 1.570796), (Ramped(), 4 / 3), (Ramped(0.5), 2.0)],
)
def test_peak_speeds(profile: Profile, speed: float) -> None:
    assert profile.peak_speed == pytest.approx(speed, abs=1e-6)


@given(profiles)
@settings(deadline=None)
def test_the_peak_speed_is_the_greatest_there_is(profile: Profile) -> None:
    speeds = np.abs(np.diff(sampled(profile, points=20_001))) * 20_000
    assert float(speeds.max()) <= profile.peak_speed * (1 + 1e-6)
    assert float(speeds.max()) >= profile.peak_speed * 0.995


def test_peak_accelerations() -> None:
    def greatest(profile: Profile) -> float:
        return float(np.abs(np.diff(sampled(profile, points=2_001), 2)).max()) * 2_000**2

    assert greatest(Smooth()) == pytest.approx(5.773503, rel=1e-4)  # 10 / sqrt(3), Flash and Hogan 1985
    assert greatest(Swaying()) == pytest.approx(pi**2 / 2, rel=1e-4)
    assert greatest(Ramped()) == pytest.approx(4 / 3 / 0.25, rel=1e-4)


def test_the_shortest_honest_time() -> None:
    # least jerk: 1.875 x angle / greatest speed
    assert shortest_us(lambda _: Smooth(), 90.0, 600.0) == shortest_us(lambda _: Smooth(), -90.0, 600.0) == 281_250
    assert shortest_us(lambda _: Smooth(), 90.0, 60.0) == 2_812_500
    # a free fall with two bounces takes 0.4 of the time to land, with twice its mean speed
    assert shortest_us(bouncing, 90.0, 600.0) == 750_000
    # from one second on it is let down, which is slower: 2 / 0.9 x 90 / 300 is 0.67 s, 2 / 0.9 x 90 / 100 is 2 s
    assert shortest_us(bouncing, 90.0, 300.0) == FREE_UNDER_US
    assert shortest_us(bouncing, 90.0, 100.0) == 2_000_000


@given(st.sampled_from((bouncing, settling, lambda _: Smooth())), st.floats(1, 180), st.floats(20, 2_000), over)
@settings(deadline=None)
def test_a_move_in_less_than_the_shortest_time_is_too_fast_and_no_other(
    profile_in: Callable[[int], Profile], way: float, fastest: float, over_us: int
) -> None:
    too_fast = profile_in(over_us).peak_speed * way * 1_000_000 > fastest * over_us * (1 + 1e-8)
    assert too_fast == (over_us < shortest_us(profile_in, way, fastest))


# --- what every profile keeps --------------------------------------------------------------------------------------


def test_people_write_four_names() -> None:
    assert set(PROFILES) == {"even", "smooth", "swaying", "ramped"}
    assert all(profile.name == name for name, profile in PROFILES.items())
    assert len({*PROFILES.values()}) == 4
    assert bouncing(SHORT).name == "bouncing"
    assert settling(SHORT).name == settling(LONG).name == "settling"


@given(profiles)
@settings(deadline=None)
def test_starts_at_nought_and_ends_at_one(profile: Profile) -> None:
    assert profile.at(0.0) == 0.0
    assert profile.at(1.0) == 1.0
    assert profile.at(1.0 - 1e-9) == pytest.approx(1.0, abs=1e-7)


@given(profiles)
@settings(deadline=None)
def test_turns_part_it_into_pieces_that_go_to_and_fro(profile: Profile) -> None:
    turns = profile.turns
    assert list(turns) == sorted(set(turns))
    assert all(0.0 < x < 1.0 for x in turns)
    for index, (start, end) in enumerate(pairwise((0.0, *turns, 1.0))):
        steps = np.diff(sampled(profile, start, end, 301)) * (1 if index % 2 == 0 else -1)
        assert float(steps.min()) >= -NOISE
        assert float(steps.sum()) > 0.0


@given(over, times, restitutions)
@settings(deadline=None)
def test_a_bounce_never_passes_its_stop(over_us: int, count: int, restitution: float | None) -> None:
    profile = bouncing(over_us, count, restitution)
    shares = sampled(profile)
    assert float(shares.max()) <= 1.0
    assert float(shares.min()) >= 0.0
    assert len(profile.turns) == 2 * count
    assert [1.0 - profile.at(x) for x in profile.turns[1::2]] == pytest.approx(profile.lifts, abs=1e-15)
    gaps = [b - a for a, b in pairwise(profile.impacts)]
    for shrinking, rate in ((gaps, 1), (profile.lifts, 2)):
        ratios = [b / a for a, b in pairwise(shrinking)]
        assert not ratios or restitution is None or ratios == pytest.approx([restitution**rate] * len(ratios), rel=1e-6)


@pytest.mark.parametrize("count", range(1, MOST_TIMES + 1))
def test_as_many_bounces_as_asked_for_can_be_seen(count: int) -> None:
    free = bouncing(SHORT, count)
    assert len(free.lifts) == count
    assert free.lifts[-1] >= 0.01 - NOISE
    assert free.lifts[0] == pytest.approx(0.25) or count > 3


@given(st.sampled_from((FREE_UNDER_US, LONG)), times, restitutions)
@settings(deadline=None)
def test_a_paced_move_bounces_little_and_late(over_us: int, count: int, restitution: float | None) -> None:
    profile = bouncing(over_us, count, restitution)
    assert profile.turns[0] == LANDS == 0.9
    assert all(profile.at(x) == pytest.approx((x / 0.9) ** 2) for x in (0.1, 0.5, 0.8, 0.899))
    assert float(sampled(profile, 0.9, 1.0).min()) >= 0.95
    # it never leaves the stop faster than it came
    gap = profile.impacts[1] - profile.impacts[0]
    assert 4.0 * profile.lifts[0] / gap <= 2.0 / 0.9 + 1e-9


def test_what_two_bounces_look_like() -> None:
    free = bouncing(FREE_UNDER_US - 1)
    assert free.impacts == pytest.approx((0.4, 0.8, 1.0))
    assert free.lifts == pytest.approx((0.25, 0.0625))  # common practice, no source: the first 10 to 25 % of the way
    paced = bouncing(FREE_UNDER_US)
    assert paced.impacts == pytest.approx((0.9, 0.9 + 0.1 / 1.5, 1.0))
    assert paced.lifts == pytest.approx((1 / 27, 1 / 108))  # 2/0.9 x 0.1/1.5 / 4, and a quarter of it
    assert bouncing(LONG, 1).lifts == pytest.approx((0.05,))  # here the 5 % are the limit


@pytest.mark.parametrize(("count", "restitution"), [(0, 0.5), (MOST_TIMES + 1, 0.5), (2, 0.24), (2, 0.81), (2, -0.5)])
def test_bounces_have_limits(count: int, restitution: float) -> None:
    with pytest.raises(ValueError, match="bounces"):
        bouncing(SHORT, count, restitution)


@given(over, rooms, dampings)
@settings(deadline=None)
def test_a_wobble_never_passes_its_room(over_us: int, room: float, damping: float) -> None:
    profile = settling(over_us, room, damping)
    shares = sampled(profile)
    assert float(shares.max()) <= 1.0 + max(0.0, room)
    assert float(shares.min()) >= 0.0
    # a wobble there is, on one side or the other
    assert len(profile.turns) >= 1
    assert 1.0 - profile.at(profile.turns[-1]) != pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("room", [inf, 1.0, 0.0, -1.0])
@pytest.mark.parametrize("damping", [0.1, 0.3, 0.7])
def test_a_paced_move_wobbles_little_and_late(room: float, damping: float) -> None:
    profile = settling(FREE_UNDER_US, room, damping)
    assert isinstance(profile, SettlingLate)
    assert profile.mirrored == (room <= 0.0)
    assert float(np.abs(sampled(profile, 0.9, 1.0) - 1.0).max()) <= 0.0305  # well inside 5 %
    assert float(sampled(profile, 0.0, 0.9).max()) <= 1.0
    assert all(x >= 0.9 for x in profile.turns)
    # it lands with the speed that the wobble sets out with: no kick
    before, after = profile.at(0.9) - profile.at(0.9 - 1e-7), profile.at(0.9 + 1e-7) - profile.at(0.9)
    assert abs(after) == pytest.approx(before, rel=1e-4)
    assert (after < 0) == profile.mirrored


def test_what_a_settling_boom_looks_like() -> None:
    paced = settling(LONG)
    assert [paced.at(x) - 1.0 for x in paced.turns] == pytest.approx([0.0227, -0.0084], abs=1e-4)
    short = settling(FREE_UNDER_US - 1)
    assert [short.at(x) - 1.0 for x in short.turns] == pytest.approx([0.3723, -0.1386, 0.0516], abs=1e-4)


def test_with_little_room_a_short_wobble_is_damped_more() -> None:
    profile = settling(SHORT, 0.2)
    assert isinstance(profile, Settling)
    assert not profile.mirrored
    assert float(sampled(profile).max()) == pytest.approx(1.2, abs=1e-5)
    assert profile.damping == pytest.approx(-log(0.2) / sqrt(pi**2 + log(0.2) ** 2), abs=1e-5)


@pytest.mark.parametrize("room", [0.0, -1.0, LEAST_ROOM])
def test_with_no_room_a_wobble_swings_back(room: float) -> None:
    free, profile = settling(SHORT, inf), settling(SHORT, room)
    assert isinstance(profile, Settling)
    assert profile.mirrored
    mirrored = 1.0 - np.abs(1.0 - sampled(free))
    assert sampled(profile) == pytest.approx(mirrored)
    assert len(profile.turns) == 2 * len(free.turns)
    assert profile.peak_speed == free.peak_speed


def test_a_well_damped_wobble_that_fits_little_room_swings_past() -> None:
    profile = settling(SHORT, 0.048, 0.7)
    assert isinstance(profile, Settling)
    assert not profile.mirrored
    assert profile.damping == 0.7


@pytest.mark.parametrize("damping", [0.0, 0.09, 0.71, 1.0])
def test_damping_has_limits(damping: float) -> None:
    with pytest.raises(ValueError, match="damping"):
        settling(SHORT, inf, damping)


# --- the wave ------------------------------------------------------------------------------------------------------

values = st.floats(-180.0, 180.0)
curves = st.builds(
    lambda start, length, low, high, profile: Curve(start, start + length, low, high, profile),
    st.integers(-(10**12), 10**12),
    st.integers(0, 900),
    values,
    values,
    profiles,
)


def instants(curve: Curve) -> list[int]:
    found: list[int] = []
    at = curve.from_us - 7
    while (after := curve.turns(at)) is not None:
        at = after
        found.append(at)
        assert len(found) < 100
    return found


def test_a_curve_is_a_wave() -> None:
    wave: Wave = Curve(0, 1_000_000, 10.0, 20.0, Smooth())
    assert wave.state is State.UNDER_WAY
    assert wave.ends_us == 1_000_000
    assert wave.value_at(250_000) == pytest.approx(11.0351563)
    assert Curve(0, 1, 0.0, 1.0, Smooth(), State.OWN_WAY).state is State.OWN_WAY


@given(curves)
@settings(deadline=None)
def test_both_ends_are_exact(curve: Curve) -> None:
    assert curve.value_at(curve.from_us - 1) == curve.low
    assert curve.value_at(curve.to_us) == curve.value_at(curve.to_us + 10**9) == curve.high
    if curve.to_us > curve.from_us:
        assert curve.value_at(curve.from_us) == curve.low
    assert instants(curve)[-1] == curve.to_us == curve.ends_us
    assert instants(curve)[0] == curve.from_us


@given(values, values, st.integers(10**9, 10**12), st.integers(1, 3))
@settings(deadline=None)
def test_no_rounding_passes_an_end(low: float, high: float, length: int, short_of: int) -> None:
    # added up from the low end, -179.3 + (-63.6 + 179.3) comes out above -63.6
    for profile in PROFILES.values():
        curve = Curve(0, length, low, high, profile)
        for at in (length - short_of, short_of):
            assert min(low, high) <= curve.value_at(at) <= max(low, high)


@given(curves)
@settings(deadline=None, max_examples=300)
def test_between_its_turns_a_curve_is_monotone_microsecond_by_microsecond(curve: Curve) -> None:
    for start, end in pairwise(instants(curve)):
        steps = np.diff([curve.value_at(at) for at in range(start, end)])
        assert steps.size == 0 or steps.min() >= -1e-10 or steps.max() <= 1e-10


def test_a_cusp_between_two_microseconds_belongs_to_the_later_piece() -> None:
    # the impact is at 4.4: 4 is before it and further from the stop than 5, after it, which 6 leaves again
    curve = Curve(0, 11, 0.0, 1.0, bouncing(SHORT))
    assert curve.value_at(4) < curve.value_at(5) > curve.value_at(6)
    assert 5 in instants(curve)
    assert 4 not in instants(curve)


@given(curves, st.integers(1, 40), st.floats(0.11, 0.89))
@settings(deadline=None, max_examples=300)
def test_the_next_change_is_the_one_that_a_walk_finds(curve: Curve, codes: int, shift: float) -> None:
    def seen(value: float) -> int:
        return floor(value * codes / 10.0 + shift)

    at: int | None = curve.from_us - 3
    walk = [
        t for t in range(curve.from_us - 2, curve.to_us + 3) if seen(curve.value_at(t)) != seen(curve.value_at(t - 1))
    ]
    found: list[int] = []
    while at is not None and (at := next_change(curve, at, seen)) is not None:
        found.append(at)
    assert found == walk


@given(
    st.floats(-90, 90),
    st.floats(-90, 90),
    st.floats(0.0, 60.0),
    st.sampled_from((SHORT, LONG)),
    dampings,
    st.floats(0.0, 1.0),
)
@settings(deadline=None)
def test_no_degree_past_a_hard_limit(
    low: float, high: float, spare: float, over_us: int, damping: float, x: float
) -> None:
    if abs(high - low) < 0.01:
        return
    limit = high + spare if high > low else high - spare
    curve = Curve(0, over_us, low, high, settling(over_us, (limit - high) / (high - low), damping))
    asked = [floor(x * over_us), *instants(curve), *(at - 1 for at in instants(curve))]
    for at in asked:
        assert min(low, high, limit) <= curve.value_at(at) <= max(low, high, limit)
