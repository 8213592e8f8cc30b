"""Flicker: value noise against theory, lists, manners varied, episodes, and the wave that they make."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import welch

import engine.swaying
import engine.waves
from engine.chance import key_of, share_at
from engine.courses import Ease, Leg, Script
from engine.episodes import BLOCK_US, Drawn, LooseLeg, Part, _begins_us, _block
from engine.flashes import count as flashes_made
from engine.flicker import Flicker, Listed, Manner, Octave, Swaying, Varied
from engine.lightness import luminance
from engine.manners import GLOW_BEHIND_A_CURTAIN, MANNERS
from engine.opposing import least_step, swings
from engine.waves import Piece, State, least_jerk, next_change

Series = NDArray[np.float64]

S = 1_000_000
KEY = key_of("quay-lamp-1")
OTHER = key_of("quay-lamp-2")

PLAIN = Swaying.of("plain", (Octave(10.0),))
BLINKER = Listed(
    "blinker",
    Script.of(
        Leg(700_000, 0.9),
        Leg(200_000, 0.1, Ease.EVEN),
        Leg(300_000, 0.4, Ease.SMOOTH),
        Leg(50_000, 1.0),
        Leg(90_001, 0.0),
    ),
)
SEVERAL: dict[str, Manner] = {
    **MANNERS,
    "plain": PLAIN,
    "blinker": BLINKER,
    "quick storm": Varied(MANNERS["storm"], 1.5, 0.6),
    "slow candle": Varied(MANNERS["candle"], 0.3),
    "quick blinker": Varied(BLINKER, 7.3, 0.5),
    "varied twice": Varied(Varied(MANNERS["bonfire"], 1.7), 1.3, 0.7),
}


def sampled(manner: Manner, key: int, count: int, step_us: int) -> Series:
    return np.array([manner.piece(key, at).value_at(at) for at in range(0, count * step_us, step_us)])


# --- value noise against theory ------------------------------------------------------------------------------------

SAMPLES, STEP_US, POINTS = 60_000, 10_000, 10.0  # ten minutes, a hundred values a second, ten lattice points a second


def blend(share: Series) -> Series:
    # 6t^5 - 15t^4 + 10t^3, written out here again
    return 6 * share**5 - 15 * share**4 + 10 * share**3


def expected_covariance(lag: float) -> float:
    """Of value noise with even draws, at a lag in lattice steps: each point weighs 1 - blend(distance)."""
    within = (np.arange(2_000) + 0.5) / 2_000
    total = np.zeros_like(within)
    for point in range(4):
        weights = [1 - blend(np.clip(np.abs(within + shift - point), 0.0, 1.0)) for shift in (1.0, 1.0 + lag)]
        total += weights[0] * weights[1]
    return float(total.mean()) / 12


def expected_density(rates: Series) -> Series:
    """One-sided: twice the draws' variance over the rate of points, times the square of the weights' transform."""
    time = np.linspace(-1, 1, 4_001)
    weights = 1 - blend(np.abs(time))
    spectrum = [np.trapezoid(weights * np.cos(2 * np.pi * rate / POINTS * time), time) for rate in rates]
    return 2 / 12 / POINTS * np.array(spectrum) ** 2


def faults(values: Series) -> list[str]:
    """What of the values is not as value noise with ten points a second has it."""
    found = []
    # 6000 draws: the mean's deviation is sqrt(1/12/6000) = 0.0037, the variance's about 1.5 %
    if abs(values.mean() - 0.5) > 0.012:
        found.append("mean")
    if abs(values.var() / 0.0652958 - 1) > 0.06:
        found.append("variance")
    away = values - values.mean()
    for lag in (2, 5, 10, 15, 25, 40):
        measured = float((away[lag:] * away[:-lag]).mean())
        if abs(measured - expected_covariance(lag / 10)) > 0.004:
            found.append(f"correlation after {lag}")
    rates, densities = welch(values, fs=100, nperseg=500)
    for low, high in ((0.3, 1), (1, 2), (2, 4), (4, 6), (6, 8)):
        band = (rates >= low) & (rates < high)
        if abs(densities[band].sum() / expected_density(rates[band]).sum() - 1) > 0.2:
            found.append(f"spectrum from {low}")
    return found


def test_the_theory_agrees_with_the_known_variance() -> None:
    # 0.0652958: by numerical integration, in the references of this project
    assert expected_covariance(0.0) == pytest.approx(0.0652958, abs=1e-7)
    assert expected_covariance(2.5) == 0.0


@pytest.mark.parametrize("key", [KEY, OTHER, 0, 1])
def test_value_noise_is_as_theory_has_it(key: int) -> None:
    assert not faults(sampled(PLAIN, key, SAMPLES, STEP_US))


def golden(key: int, index: int) -> float:
    return (index * 0.6180339887498949 + key * 2.0**-64) % 1.0


MUTANTS: dict[str, tuple[object, str, Callable[..., float], str]] = {
    "a linear draw": (engine.swaying, "share_at", golden, "correlation"),
    "every draw used twice": (engine.swaying, "share_at", lambda key, index: share_at(key, index // 2), "spectrum"),
    "draws that lean": (engine.swaying, "share_at", lambda key, index: share_at(key, index) ** 1.1, "mean"),
    "blended evenly": (engine.waves, "least_jerk", lambda share: share, "variance"),
    "blended as Perlin did first": (engine.waves, "least_jerk", lambda t: t * t * (3 - 2 * t), "spectrum"),
    "blended backwards": (engine.waves, "least_jerk", lambda share: least_jerk(1 - share), "spectrum"),
    "all points alike": (engine.swaying, "share_at", lambda key, index: 0.5, "variance"),
}


@pytest.mark.parametrize("name", MUTANTS)
def test_a_spoilt_generator_is_found(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    module, attribute, spoilt, fault = MUTANTS[name]
    monkeypatch.setattr(module, attribute, spoilt)
    found = faults(sampled(PLAIN, KEY, SAMPLES, STEP_US))
    assert any(one.startswith(fault) for one in found), found


def test_octaves_add_up() -> None:
    # draws of different octaves are independent, so at the finest lattice's points the variances add
    two = Swaying.of("two", (Octave(1.0, 3.0), Octave(20.0, 1.0)))
    rows = [sampled(two, key, 4_000, 250_000) for key in (KEY, OTHER)]
    values = np.concatenate(rows)
    expected = (9 + 1) * 0.0652958 / 16
    assert values.mean() == pytest.approx(0.5, abs=0.015)
    assert values.var() == pytest.approx(expected, rel=0.08)


def test_octaves_draw_for_themselves() -> None:
    # drawn from one list they would only be one octave of twice the weight, whose variance is 0.0653
    twice = Swaying.of("twice", (Octave(5.0), Octave(5.0)))
    assert 0.02 < sampled(twice, KEY, 6_000, 100_000).var() < 0.045


def test_lattices_of_neighbours_do_not_turn_together() -> None:
    turns = [PLAIN.piece(key_of(f"lamp-{number}"), 0).from_us for number in range(100)]
    assert len(set(turns)) > 95


def test_a_beat_pulses_at_half_its_rate() -> None:
    values = sampled(Swaying.of("beats", (Octave(8.0, 1.0, beat=1.0),)), KEY, 30_000, 10_000)
    rates, densities = welch(values, fs=100, nperseg=1_000)
    assert rates[densities.argmax()] == pytest.approx(4.0, abs=0.11)
    assert values.mean() == pytest.approx(0.5, abs=0.01)


def test_quiet_window_and_curve() -> None:
    bent = Swaying.of("bent", (Octave(5.0),), quiet=0.9, stirred=0.2, window=(0.25, 0.75), curve=2.0)
    assert [bent.level(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)] == pytest.approx([0.9, 0.9, 0.725, 0.2, 0.2])
    plain = Swaying.of("plain", (Octave(5.0),))
    for at_us in range(0, 10 * S, 100_000):
        part, same = bent.piece(KEY, at_us), plain.piece(KEY, at_us)
        assert (part.from_us, part.to_us) == (same.from_us, same.to_us)
        assert (part.low, part.high) == (bent.level(same.low), bent.level(same.high))


def test_gusts_leave_calm_what_is_calm() -> None:
    octaves = (Octave(0.2), Octave(8.0))
    gusty, even = Swaying.of("gusty", octaves, gusty=True), Swaying.of("even", octaves)
    slow = sampled(Swaying.of("slow", octaves[:1]), KEY, 20_000, 30_000)
    calm, windy = slow < 0.2, slow > 0.8
    for manner, low, high in ((gusty, 5.0, 1e9), (even, 0.6, 1.6)):
        quick = np.abs(np.diff(sampled(manner, KEY, 20_000, 30_000), append=0.0))
        assert low < quick[windy].mean() / quick[calm].mean() < high


@pytest.mark.parametrize(
    "spoilt",
    [
        {"octaves": ()},
        {"octaves": (Octave(1.0),) * 7},
        {"octaves": (Octave(2.0), Octave(1.0))},
        {"octaves": (Octave(0.001),)},
        {"octaves": (Octave(51.0),)},
        {"octaves": (Octave(1.0, 0.0),)},
        {"octaves": (Octave(1.0, 1.0, 1.1),)},
        {"quiet": -0.1},
        {"stirred": 1.1},
        {"window": (0.5, 0.5)},
        {"curve": 0.0},
    ],
)
def test_what_could_not_be_drawn_is_refused(spoilt: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"octave|weights|levels"):
        Swaying.of("spoilt", **{"octaves": (Octave(1.0),), **spoilt})  # type: ignore[arg-type]


# --- parts of any manner -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SEVERAL)
@pytest.mark.parametrize("start_us", [0, 59 * S + 1, 6 * 3600 * S, -5 * S])
def test_parts_hold_their_instant_and_follow_each_other(name: str, start_us: int) -> None:
    manner, at_us = SEVERAL[name], start_us
    for _ in range(400):
        part = manner.piece(KEY, at_us)
        assert part.to_us is not None
        assert part.from_us <= at_us < part.to_us
        middle = (part.from_us + part.to_us) // 2
        assert manner.piece(KEY, middle) == manner.piece(KEY, part.from_us) == manner.piece(KEY, part.to_us - 1) == part
        assert 0.0 <= part.low <= 1.0
        assert 0.0 <= part.high <= 1.0
        at_us = part.to_us


SMOOTH = [
    name
    for name in MANNERS
    if name in ("candle", "oil-lamp", "embers", "bonfire", "sun-on-water", "forge-with-bellows")
]


@pytest.mark.parametrize("name", [*SMOOTH, "plain", "varied twice"])
def test_what_is_smooth_never_jumps(name: str) -> None:
    manner, part = SEVERAL[name], SEVERAL[name].piece(KEY, 0)
    while part.to_us is not None and part.to_us < 400 * S:  # a forge is drawn in several blocks
        then = manner.piece(KEY, part.to_us)
        assert then.low == pytest.approx(part.high, abs=1e-9)
        part = then


@pytest.mark.parametrize("name", SEVERAL)
def test_any_instant_in_any_order(name: str) -> None:
    manner = SEVERAL[name]
    instants = [number * 3_333_337 for number in range(300)]
    in_order = [manner.piece(KEY, at) for at in instants]
    shuffled = list(enumerate(instants))
    random.Random(1).shuffle(shuffled)
    _block.cache_clear()
    for number, at in shuffled:
        manner.piece(OTHER, at)
        assert manner.piece(KEY, at) == in_order[number]


# --- lists ---------------------------------------------------------------------------------------------------------


def test_a_list_is_run_over_and_over_from_a_place_of_its_own() -> None:
    exact = BLINKER._replace(spread=0.0)
    length = exact.script.length_us
    for at_us in range(0, 2 * length, 10_007):
        value = exact.piece(KEY, at_us).value_at(at_us)
        assert value == pytest.approx(exact.piece(KEY, at_us + 5 * length).value_at(at_us + 5 * length))
    parts = [exact.piece(KEY, at_us) for at_us in range(0, length, 10_007)]
    levels = {(part.low, part.high) for part in parts}
    assert levels == {(0.9, 0.9), (0.9, 0.1), (0.1, 0.4), (1.0, 1.0), (0.0, 0.0)}
    starts = [exact.piece(key_of(f"lamp-{number}"), 0) for number in range(100)]
    assert len({part.from_us for part in starts}) > 95


def test_two_lamps_with_one_list_do_not_stay_in_step() -> None:
    held = [(part.to_us or 0) - part.from_us for part in (_first_hold(key) for key in range(200))]
    assert min(held) >= 700_000 / 1.02 - 1
    assert max(held) <= 700_000 / 0.98 + 1
    assert np.std(held) > 700_000 * 0.008


def _first_hold(key: int) -> Piece:
    part = BLINKER.piece(key, 0)
    while part.low != 0.9 or part.high != 0.9:
        part = BLINKER.piece(key, part.to_us or 0)
    return part


def test_the_usual_level_of_a_list_is_its_mean() -> None:
    two = Listed("two", Script.of(Leg(3 * S, 1.0), Leg(S, 0.2)))
    assert two.usual == pytest.approx(0.8)
    ramps = Listed("ramps", Script.of(Leg(S, 1.0, Ease.EVEN), Leg(S, 0.0, Ease.EVEN)))
    assert ramps.usual == pytest.approx(0.5)


def test_a_list_with_one_level_stands_still() -> None:
    flat = Listed("flat", Script.of(Leg(S, 0.4), Leg(S, 0.4, Ease.EVEN)))
    assert flat.usual == pytest.approx(0.4)
    wave = Flicker(FROM_US, 2 * S, KEY, flat, (1.0, 1.0), (0.0, 0.5))
    assert wave.value_at(FROM_US) == 1.0
    assert wave.value_at(FROM_US + S) == pytest.approx(0.6)
    assert wave.value_at(FROM_US + 9 * S) == pytest.approx(0.2)
    assert wave.turns(FROM_US) == FROM_US + 2 * S
    assert wave.turns(FROM_US + 2 * S) is None
    assert next_change(wave, FROM_US + 2 * S, round) is None


def test_flashes_of_lists_counted_by_hand() -> None:
    def said(*legs: Leg) -> float:
        return Listed("list", Script.of(*legs), spread=0.0).flashes_a_second

    assert said(Leg(S, 0.7)) == 0.0
    assert said(Leg(S, 1.0), Leg(S, 0.97)) == 0.0  # less than 10 % of full light
    assert said(Leg(100_000, 1.0), Leg(100_000, 0.0)) in (5.0, 6.0)  # five periods a second
    assert said(Leg(400_000, 1.0), Leg(600_000, 0.0)) in (1.0, 2.0)
    assert said(Leg(10 * S, 1.0), Leg(10 * S, 0.0)) == 1.0  # one change at a time: half a flash
    assert said(Leg(5 * S, 1.0, Ease.EVEN), Leg(5 * S, 0.0, Ease.EVEN)) == 1.0
    # steps of less than 10 % each are one way up, and one way down
    steps = [Leg(100_000, number / 10) for number in (1, 2, 3, 4, 5, 6, 7, 8, 9, 8, 7, 6, 5, 4, 3, 2)]
    assert said(*steps) in (1.0, 2.0)


def test_swings_by_hand() -> None:
    assert swings([(0, 0.0), (10, 1.0), (20, 0.5), (30, 0.55), (40, 0.2), (50, 0.29), (60, 0.0), (70, 0.3)]) == [
        (0, 10),
        (10, 60),
        (60, 70),
    ]
    assert swings([(0, 0.5), (10, 0.58), (20, 0.49)]) == []
    assert swings([(0, 1.0), (5, 1.0), (5, 0.0), (9, 0.0)]) == [(5, 5)]


# --- manners varied ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MANNERS)
def test_quicker_is_the_same_in_less_time(name: str) -> None:
    manner = MANNERS[name]
    for pace in (0.5, 2.0, 4.0):
        varied = Varied(manner, pace)
        for at_us in range(0, 40 * S, 333_336):
            inner = round(at_us * pace)
            quick = varied.piece(KEY, at_us).value_at(at_us)
            # a part's ends are rounded to whole microseconds, in which no level moves by more than this
            assert quick == pytest.approx(manner.piece(KEY, inner).value_at(inner), abs=1e-3)


def test_shallower_is_nearer_to_the_usual_level() -> None:
    for manner in MANNERS.values():
        shallow = Varied(manner, 1.0, 0.4)
        assert 0.0 <= manner.usual <= 1.0
        for at_us in range(0, 60 * S, 777_777):
            deep = manner.piece(KEY, at_us).value_at(at_us)
            level = shallow.piece(KEY, at_us).value_at(at_us)
            assert level - manner.usual == pytest.approx(0.4 * (deep - manner.usual))
    assert Varied(MANNERS["storm"], 2.0).name == "storm"


@pytest.mark.parametrize("name", MANNERS)
def test_the_usual_level_is_not_far_from_the_mean(name: str) -> None:
    values = sampled(MANNERS[name], KEY, 2_000, 601_000)
    assert MANNERS[name].usual == pytest.approx(values.mean(), abs=0.2)


# --- episodes ------------------------------------------------------------------------------------------------------

TICK = Drawn.of("tick", Part((1, 1), (LooseLeg((S, S), (0.0, 0.0)), LooseLeg((100_000, 100_000), (1.0, 1.0)))))


def test_an_episode_is_what_its_parts_say() -> None:
    three = Drawn.of(
        "three",
        Part((1, 1), (LooseLeg((2 * S, 3 * S), (0.0, 0.1)),)),
        Part((2, 4), (LooseLeg((S, S), (0.5, 0.6), Ease.EVEN), LooseLeg((S, S), (0.8, 0.9), chance=0.5))),
    )
    block = _block(three, KEY, 3)
    rises = [level for level, ease in zip(block[1][1:-1], block[2], strict=False) if ease is Ease.EVEN]
    assert all(0.5 <= level <= 0.6 for level in rises)
    rounds: list[int] = []
    for number in range(200):
        ends, levels, eases = _block(three, KEY, number)
        kinds = ["pause" if level <= 0.1 else ease.name for level, ease in zip(levels[1:], eases, strict=True)][:-1]
        pauses = [place for place, kind in enumerate(kinds) if kind == "pause"]
        rounds += [kinds[one:two].count("EVEN") for one, two in pairwise(pauses)]
        assert BLOCK_US / 4 <= ends[-1] <= BLOCK_US * 7 / 4
    assert set(rounds) == {2, 3, 4}
    assert min(rounds.count(number) for number in (2, 3, 4)) > len(rounds) / 5


def test_blocks_of_neighbours_do_not_end_together() -> None:
    # about once a minute something is cut short; when, is drawn
    ends = []
    for number in range(50):
        key = key_of(f"lamp-{number}")
        part = TICK.piece(key, 0)
        while part.low == 1.0 or (part.to_us or 0) - part.from_us == S:
            part = TICK.piece(key, part.to_us or 0)
        ends.append((part.to_us or 0) % BLOCK_US)
    assert len(set(ends)) > 45
    cuts = [[_begins_us(key_of(f"lamp-{number}"), index) for index in range(500)] for number in (1, 2)]
    apart = (np.array(cuts[0]) - np.array(cuts[1])) % BLOCK_US
    assert np.std(apart) > BLOCK_US / 5  # two that are near each other once are not so again
    assert min(np.diff(cuts[0])) >= BLOCK_US / 4
    assert np.std(ends) > BLOCK_US / 6


@pytest.mark.parametrize(
    "parts",
    [
        (),
        (Part((0, 1), (LooseLeg((S, S), (0.0, 0.0)),)),),
        (Part((1, 1), (LooseLeg((S, S), (0.0, 0.0), chance=0.5),)),),
        (Part((1, 1), (LooseLeg((9_999, S), (0.0, 0.0)),)),),
        (Part((1, 1), (LooseLeg((S, 31 * S), (0.0, 0.0)),)),),
        (Part((1, 1), (LooseLeg((S, 15 * S), (0.0, 0.0), Ease.SMOOTH),)),),
        (Part((1, 201), (LooseLeg((S, S), (0.0, 0.0)),)),),
    ],
)
def test_episodes_that_could_not_be_drawn_are_refused(parts: tuple[Part, ...]) -> None:
    with pytest.raises(ValueError, match=r"leg|steps"):
        Drawn.of("spoilt", *parts)


def test_flashes_of_episodes_counted_by_hand() -> None:
    def said(*parts: Part) -> float:
        return Drawn.of("by hand", *parts).flashes_a_second

    pause = Part((1, 1), (LooseLeg((2 * S, 5 * S), (0.0, 0.0)),))
    stroke = (LooseLeg((50_000, 80_000), (0.8, 1.0)), LooseLeg((50_000, 60_000), (0.0, 0.0)))
    assert said(pause, Part((1, 1), stroke)) == 1.0
    assert said(pause, Part((2, 2), stroke)) == 2.0
    assert said(pause, Part((1, 5), stroke)) == 5.0
    assert said(pause, Part((30, 30), stroke)) in (10.0, 11.0)  # one every tenth of a second
    assert said(Part((1, 1), (LooseLeg((S, S), (0.97, 1.0)),))) == 0.0
    # trembling within 10 % of full light is none, however quick
    assert said(Part((1, 1), (LooseLeg((20_000, 20_000), (0.965, 1.0), Ease.EVEN),))) == 0.0
    assert said(Part((1, 1), (LooseLeg((20_000, 20_000), (0.9, 1.0), Ease.EVEN),))) > 20


def test_what_may_be_left_out_brings_flashes_nearer() -> None:
    blink = Part((1, 1), (LooseLeg((50_000, 50_000), (1.0, 1.0)), LooseLeg((50_000, 50_000), (0.0, 0.0))))
    pause = (LooseLeg((2 * S, 2 * S), (0.0, 0.0)),)
    assert Drawn.of("always", blink, Part((1, 1), pause)).flashes_a_second <= 2.0
    assert Drawn.of("at times", blink, Part((0, 1), pause)).flashes_a_second >= 9.0


def test_every_key_draws_blocks_of_its_own() -> None:
    shares = [_block(GLOW_BEHIND_A_CURTAIN, key_of(f"lamp-{number}"), 5)[1][1] for number in range(50)]
    assert len(set(shares)) == 50


def test_small_octaves_count_as_soon_as_they_can_flash() -> None:
    assert 0.09 <= least_step(lambda share: share) <= 0.1
    # a change of 10 % of full light is at least 4 % of the way of lightness (CIE 1976: L* of 0.9 is 96.0)
    for weight, most in ((0.03, 3.0), (0.07, 30.0)):
        said = Swaying.of("fine", (Octave(2.0), Octave(20.0, weight))).flashes_a_second
        assert most / 3 <= said <= most


# --- flashes are never more than said ------------------------------------------------------------------------------


def random_manner(rng: random.Random) -> Manner:
    """Something that a person might make."""
    kind = rng.choice(("sways", "list", "drawn"))
    if kind == "sways":
        rates = sorted(rng.choice((0.3, 1.0, 2.5, 4.0, 9.0, 20.0)) for _ in range(rng.randint(1, 3)))
        octaves = tuple(Octave(rate, rng.choice((0.02, 0.1, 0.5, 1.0)), rng.choice((0.0, 1.0))) for rate in rates)
        ends = (rng.random(), rng.random())
        return Swaying.of(
            "r", octaves, *ends, (0.0, rng.choice((0.6, 1.0))), rng.choice((0.5, 1.0, 2.0)), rng.random() < 0.5
        )
    if kind == "list":
        legs = [
            Leg(rng.randint(30_000, 900_000), rng.random(), rng.choice((Ease.HOLD, Ease.EVEN, Ease.SMOOTH)))
            for _ in range(rng.randint(1, 8))
        ]
        return Listed("r", Script.of(*legs))
    parts = []
    for number in range(rng.randint(1, 3)):
        loose = []
        for place in range(rng.randint(1, 4)):
            shortest, level = rng.randint(20_000, 600_000), rng.random()
            chance = 1.0 if number + place == 0 else rng.choice((1.0, 0.5))
            highest = min(1.0, level + rng.choice((0.0, 0.03, 0.5)))
            ease = rng.choice((Ease.HOLD, Ease.EVEN, Ease.SMOOTH))
            loose.append(LooseLeg((shortest, shortest + rng.choice((0, 300_000))), (level, highest), ease, chance))
        fewest = 1 if number == 0 else rng.randint(0, 2)
        parts.append(Part((fewest, fewest + rng.randint(0, 3)), tuple(loose)))
    return Drawn.of("r", *parts)


def made_in_a_second(flicker: Flicker, seconds: int) -> int:
    """The most flashes in any second, as `engine.flashes` counts them."""
    points, at_us = [], flicker.from_us
    while at_us < flicker.from_us + seconds * S:
        part = flicker.piece(at_us)
        if part.to_us is None:
            break
        points += [(part.from_us, luminance(part.low)), (part.to_us, luminance(part.high))]
        at_us = part.to_us
    made = np.array(flashes_made(points))
    return max((int(((made >= one) & (made < one + S)).sum()) for one in made), default=0)


def test_nothing_flashes_more_often_than_it_says() -> None:
    rng = random.Random(20_260_321)
    close = 0
    for number in range(150):
        manner = random_manner(rng)
        if rng.random() < 0.5:
            manner = Varied(manner, rng.choice((0.4, 1.5, 3.0)), rng.choice((1.0, 0.5)))
        bounds = rng.choice(((0.0, 1.0), (0.2, 0.8), (0.75, 0.9)))
        flicker = Flicker(0, 0, key_of(f"lamp-{number}"), manner, bounds, bounds)
        made, said = made_in_a_second(flicker, 60), flicker.flashes_a_second
        assert made <= said, (manner, bounds)
        close += made >= said / 2 - 0.5
    assert close > 75  # a bound that is never met would say nothing


# --- the wave ------------------------------------------------------------------------------------------------------

FROM_US = 12_345_678


def flicker_of(name: str, over_us: int = 0, before: tuple[float, float] = (0.2, 0.9)) -> Flicker:
    return Flicker(FROM_US, over_us, KEY, SEVERAL[name], before, (0.2, 0.9))


def test_between_two_levels_as_the_manner_goes() -> None:
    wave, manner = flicker_of("bonfire"), MANNERS["bonfire"]
    for at_us in range(FROM_US + 2 * S, FROM_US + 20 * S, 123_457):
        assert wave.value_at(at_us) == pytest.approx(0.2 + 0.7 * manner.piece(KEY, at_us).value_at(at_us))
    assert wave.state is State.FLICKERING
    assert wave.ends_us is None
    assert wave.value_at(0) == wave.value_at(FROM_US)
    assert wave.turns(0) == FROM_US


@pytest.mark.parametrize("name", SEVERAL)
def test_between_two_turns_it_is_monotone_and_does_not_jump(name: str) -> None:
    wave, at_us = flicker_of(name, 3 * S, (0.5, 0.5)), FROM_US - 5
    turns = []
    for _ in range(150):
        then = wave.turns(at_us)
        assert then is not None
        assert then > at_us
        turns.append(then)
        instants = np.unique(np.linspace(at_us, then - 1, 40).astype(int)).tolist()
        values = np.array([wave.value_at(one) for one in instants])
        steps = np.diff(values)
        assert (steps >= 0).all() or (steps <= 0).all()
        if len(steps) > 30:
            # 1.875: the greatest pace of least jerk; a jump would be one step
            assert np.abs(steps).max() <= 2.2 * abs(values[-1] - values[0]) / len(steps) * 1.1 + 1e-12
        at_us = then
    assert turns[0] == FROM_US
    if turns[-1] > FROM_US + 3 * S:
        assert FROM_US + 3 * S in turns


@pytest.mark.parametrize("name", SEVERAL)
def test_the_next_change_against_a_walk(name: str) -> None:
    wave = flicker_of(name, 2 * S, (0.0, 0.0))

    def seen(value: float) -> int:
        return round(value * 63)

    at_us = FROM_US - 1_000
    for _ in range(60):
        then = next_change(wave, at_us, seen)
        assert then is not None
        between = {*np.linspace(at_us, then - 1, 150).astype(int).tolist(), *range(max(at_us, then - 20), then)}
        assert {seen(wave.value_at(one)) for one in between} == {seen(wave.value_at(at_us))}
        assert seen(wave.value_at(then)) != seen(wave.value_at(at_us))
        at_us = then


@pytest.mark.parametrize("name", SEVERAL)
@pytest.mark.parametrize("value", [0.0, 0.37, 1.0])
def test_it_is_brought_up_from_the_value_that_it_had(name: str, value: float) -> None:
    wave = flicker_of(name, 6 * S, (value, value))
    assert wave.value_at(FROM_US) == value
    values = []
    for at_us in range(FROM_US, FROM_US + 12 * S, 9_973):
        low, high = wave.bounds_at(at_us)
        assert low - 1e-12 <= wave.value_at(at_us) <= high + 1e-12
        values.append(wave.value_at(at_us))
    assert wave.bounds_at(FROM_US + 3 * S) == pytest.approx(((value + 0.2) / 2, (value + 0.9) / 2))
    assert wave.bounds_at(FROM_US + 6 * S) == wave.bounds_at(FROM_US + 99 * S) == (0.2, 0.9)
    assert wave.bounds_at(0) == (value, value)


@pytest.mark.parametrize("name", ["candle", "bonfire", "sun-on-water", "mantle-in-a-draught", "tube-that-struggles"])
def test_it_goes_on_flickering_while_it_is_brought_up(name: str) -> None:
    wave = flicker_of(name, 20 * S, (0.0, 0.0))
    values = np.array([wave.value_at(at) for at in range(FROM_US + 2 * S, FROM_US + 20 * S, 10_000)])
    turned = np.diff(np.sign(np.diff(values)[np.diff(values) != 0.0])) != 0
    assert turned.sum() > 5


@pytest.mark.parametrize("name", SEVERAL)
def test_a_second_order_goes_on_from_where_the_first_had_come_to(name: str) -> None:
    first = flicker_of(name, 4 * S, (0.6, 0.6))
    now_us = FROM_US + 1_700_003
    down = Flicker(now_us, 5 * S, KEY, SEVERAL[name], first.bounds_at(now_us), (0.0, 0.0))
    # the last part is cut short there, so it is nearly, not wholly, where it was
    assert down.value_at(now_us) == pytest.approx(first.value_at(now_us), abs=0.06)
    last = [down.value_at(now_us + at) for at in range(0, 5 * S, 50_000)]
    assert max(last[-10:]) < 0.1 * max(first.bounds_at(now_us)) + 1e-9
    assert down.value_at(now_us + 5 * S) == 0.0
    assert next_change(down, now_us + 5 * S, lambda value: round(value * 255)) is not None


def test_flashes_hang_on_the_bounds() -> None:
    candle = MANNERS["candle"]
    wide, narrow = ((0.0, 1.0), (0.9, 0.93))
    assert Flicker(0, 0, KEY, candle, wide, wide).flashes_a_second == candle.flashes_a_second == 3.0
    assert Flicker(0, 0, KEY, candle, narrow, narrow).flashes_a_second == 0.0


@pytest.mark.parametrize("name", MANNERS)
def test_a_manner_keeps_within_its_reach_and_comes_near_both_ends_of_it(name: str) -> None:
    pale = Varied(MANNERS[name], pace=2.0, depth=0.5)
    for manner in (MANNERS[name], pale):
        low, high = manner.reach
        seen = [manner.piece(key, at_us).value_at(at_us) for key in range(6) for at_us in range(0, 600 * S, 170_000)]
        assert low - 1e-9 <= min(seen)
        assert max(seen) <= high + 1e-9
        assert max(seen) - min(seen) > 0.5 * (high - low)


def test_a_list_keeps_within_its_levels() -> None:
    listed = Listed("mine", Script.of(Leg(S, 0.3), Leg(2 * S, 0.8, Ease.EVEN), Leg(S, 0.5, Ease.SMOOTH)))
    assert listed.reach == (0.3, 0.8)
    seen = [listed.piece(3, at_us).value_at(at_us) for at_us in range(0, 30 * S, 70_000)]
    assert 0.3 <= min(seen) < 0.31
    assert 0.79 < max(seen) <= 0.8
