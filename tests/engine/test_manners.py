"""The named manners: each has a figure that none of the others shows; none is in step with its neighbour; none flashes
more than three times a second. Sampled 200 times a second, as a camera would."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import welch

from engine.chance import key_of
from engine.flicker import Manner
from engine.manners import ABOUT, MANNERS

Series = NDArray[np.float64]

RATE = 200  # samples a second
LONG_S = 400
LAMPS = ("quay-lamp-1", "fish-dock-tube", "forge")
ROOT = Path(__file__).parents[2]


def sampled(manner: Manner, key: int, seconds: float, rate: float = RATE, from_us: int = 0) -> Series:
    """Levels at even instants, part by part."""
    instants = from_us + (np.arange(int(seconds * rate)) * (1_000_000 / rate)).astype(np.int64)
    values = []
    part = manner.piece(key, from_us)
    for at_us in instants.tolist():
        if part.to_us is None or at_us >= part.to_us:
            part = manner.piece(key, at_us)
        values.append(part.value_at(at_us))
    return np.array(values)


# --- what tells each from the others -------------------------------------------------------------------------------


def power(series: Series, low: float, high: float, above: float = 0.0) -> float:
    """The share of the power above some rate that lies between two rates (turns a second)."""
    rates, densities = welch(series, fs=RATE, nperseg=RATE * 20)
    inside = densities[(rates >= low) & (rates <= high)].sum()
    return float(inside / densities[rates > above].sum())


def skew(series: Series) -> float:
    away = series - series.mean()
    return float((away**3).mean() / (away**2).mean() ** 1.5)


def smooth(series: Series) -> bool:
    return float(np.abs(np.diff(series)).max()) < 0.05


def held(series: Series, low: float, high: float) -> float:
    """The share of the time that it stays exactly where it is, between two levels."""
    still = np.diff(series) == 0.0
    return float((still & (series[1:] >= low) & (series[1:] <= high)).mean())


def seconds_to_forget(series: Series) -> float:
    """After how long it no longer is what it was: the correlation has fallen to 1/e."""
    thin = series[:: RATE // 10] - series.mean()
    for lag in range(1, len(thin) // 2):
        if float((thin[lag:] * thin[:-lag]).mean()) < float((thin**2).mean()) / np.e:
            return lag / 10
    return len(thin) / 20


def between_percentiles(series: Series) -> float:
    low, high = np.percentile(series, (1, 99))
    return float(high - low)


# what is measured, and between which values it lies for this manner and for none of the others
FIGURES: dict[str, tuple[str, Callable[[Series], float], float, float]] = {
    "candle": ("of what is quicker than 8 a second, the share about 15", lambda s: power(s, 13, 17, 8), 0.7, 1.0),
    "oil-lamp": ("all but a fiftieth of the time lies within", between_percentiles, 0.08, 0.27),
    "mantle-in-a-draught": (
        "the share of the time at full light, if it never jumps",
        lambda s: held(s, 1.0, 1.0) if smooth(s) else 0.0,
        0.2,
        0.75,
    ),
    "embers": ("seconds to forget, if it never jumps", lambda s: seconds_to_forget(s) if smooth(s) else 0.0, 4.2, 15),
    "bonfire": ("the share of its power about 1.5 a second", lambda s: power(s, 1.2, 1.8), 0.35, 1.0),
    "forge-with-bellows": ("the share of its power about one in 3 s", lambda s: power(s, 0.25, 0.45, 0.06), 0.45, 1.0),
    "arc-and-pause": (
        "the share of the time dark times that of trembling brightly",
        lambda s: held(s, 0.0, 0.0) * float(((np.diff(s) != 0.0) & (s[1:] > 0.9)).mean()),
        0.08,
        0.25,
    ),
    "glow-behind-a-curtain": ("the share of the time held half bright", lambda s: held(s, 0.2, 0.9), 0.5, 1.0),
    "bad-letter": ("how far it leans to the dark side", skew, -9.0, -2.2),
    "sun-on-water": (
        "how far it leans to the bright side, if it never jumps",
        lambda s: skew(s) if smooth(s) else 0.0,
        0.9,
        3,
    ),
    "storm": ("the share of the time in the dark", lambda s: float((s < 0.03).mean()), 0.85, 1.0),
    "tube-that-struggles": ("the share of the time that only the ends glow", lambda s: held(s, 0.03, 0.125), 0.15, 0.8),
}


@pytest.fixture(scope="module")
def evenings() -> dict[str, list[Series]]:
    return {name: [sampled(manner, key_of(lamp), LONG_S) for lamp in LAMPS] for name, manner in MANNERS.items()}


@pytest.mark.parametrize("name", MANNERS)
def test_a_manner_has_its_figure(name: str, evenings: dict[str, list[Series]]) -> None:
    what, figure, low, high = FIGURES[name]
    measured = [figure(series) for series in evenings[name]]
    assert all(low <= value <= high for value in measured), (what, measured)


@pytest.mark.parametrize("name", MANNERS)
def test_no_other_manner_has_that_figure(name: str, evenings: dict[str, list[Series]]) -> None:
    what, figure, low, high = FIGURES[name]
    measured = {other: [figure(series) for series in rows] for other, rows in evenings.items() if other != name}
    alike = {other: row for other, row in measured.items() if any(low <= value <= high for value in row)}
    assert not alike, what


def test_there_are_twelve_and_a_line_about_each() -> None:
    assert len(MANNERS) == 12
    assert list(ABOUT) == list(MANNERS) == [manner.name for manner in MANNERS.values()]
    assert set(FIGURES) == set(MANNERS)


# --- against the world outside -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "width_m"), [("candle", 0.01), ("bonfire", 1.0)])
def test_flames_puff_as_their_width_asks(name: str, width_m: float, evenings: dict[str, list[Series]]) -> None:
    # 1.5 / sqrt(D): Cetegen and Ahmed, Combustion and Flame 93 (1993), from memory
    expected = 1.5 / width_m**0.5
    for series in evenings[name]:
        rates, densities = welch(series, fs=RATE, nperseg=RATE * 10)
        near = (rates > 0.6 * expected) & (rates < 1.6 * expected)
        assert rates[near][densities[near].argmax()] == pytest.approx(expected, rel=0.08)


def test_quick_flutter_is_shallow(evenings: dict[str, list[Series]]) -> None:
    # between 10 and 25 a second people are most sensitive (common practice): a flame moves less than 10 % of full light
    for series in evenings["candle"]:
        light = ((100 * series + 16) / 116) ** 3
        wide = np.ptp(np.lib.stride_tricks.sliding_window_view(light, RATE // 15), axis=1)
        slow = np.abs(light[RATE // 15 - 1 :] - light[: 1 - RATE // 15])
        assert float((wide - slow).max()) < 0.1


def test_shots_are_about_four_seconds_long() -> None:
    # film and television: lognormal, mean about 4 s (the only source is weak)
    lengths = []
    manner = MANNERS["glow-behind-a-curtain"]
    for lamp in LAMPS:
        key, at_us = key_of(lamp), 0
        while at_us < 3_600_000_000:
            part = manner.piece(key, at_us)
            assert part.to_us is not None
            if part.low == part.high:
                lengths.append((part.to_us - part.from_us) / 1e6)
            at_us = part.to_us
    logs = np.log(np.array(lengths))
    assert np.mean(lengths) == pytest.approx(4.0, rel=0.08)
    # the ends of blocks cut some shots short, and the shortest and longest are held within bounds
    assert logs.std() == pytest.approx(0.83, rel=0.12)
    assert abs(skew(logs)) < 0.6 < 1.0 < skew(np.array(lengths))


def test_a_tube_tries_about_once_a_second(evenings: dict[str, list[Series]]) -> None:
    for series in evenings["tube-that-struggles"]:
        up = np.flatnonzero((series[:-1] < 0.15) & (series[1:] > 0.5)) / RATE
        first = up[1:][np.diff(up) > 0.5]  # the first strike of a try
        apart = np.diff(first)
        assert 1.0 < float(np.median(apart)) < 2.2


def test_lightning_has_two_or_three_strokes() -> None:
    strokes = []
    for lamp in LAMPS:
        series = sampled(MANNERS["storm"], key_of(lamp), 1_800)
        up = np.flatnonzero((series[:-1] < 0.1) & (series[1:] > 0.4)) / RATE
        strokes += [len(group) for group in np.split(up, np.flatnonzero(np.diff(up) > 1.0) + 1)]
    # the end of a block may cut one off
    assert sum(number in (2, 3) for number in strokes) > 0.95 * len(strokes) > 100
    assert max(strokes) == 3


# --- each for itself -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MANNERS)
def test_neighbours_have_nothing_to_do_with_each_other(name: str) -> None:
    # over four hours, a value every four seconds: r of chance has a deviation of 0.01 to 0.024 (measured on 15 pairs
    # of each; the embers, which forget slowest, have the most)
    keys = [key_of(f"quay-lamp-{number}") for number in (1, 2, 3)]
    rows = [sampled(MANNERS[name], key, 14_400, 0.25) for key in keys]
    assert np.abs(np.corrcoef(rows) - np.eye(3)).max() < 0.1


@pytest.mark.parametrize("name", MANNERS)
def test_no_neighbour_does_the_same_a_little_later(name: str) -> None:
    one, other = (sampled(MANNERS[name], key_of(f"quay-lamp-{number}"), 1_200, 5) for number in (1, 2))
    one, other = one - one.mean(), other - other.mean()
    longest = 150  # half a minute
    middle = one[longest:-longest]
    both = np.correlate(other, middle, "valid") / (len(middle) * one.std() * other.std())
    assert len(both) == 2 * longest + 1
    assert np.abs(both).max() < 0.55


def test_different_seeds_give_different_evenings() -> None:
    for manner in MANNERS.values():
        assert not np.array_equal(
            sampled(manner, key_of("forge", 1), 60, 10), sampled(manner, key_of("forge", 2), 60, 10)
        )


def test_the_same_in_every_process() -> None:
    code = (
        "from engine.manners import MANNERS; from engine.chance import key_of\n"
        "print([repr(m.piece(key_of(n), t)) for n, m in MANNERS.items() for t in range(0, 10**10, 777_777_777)])"
    )
    texts = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(texts) == 1
    assert texts.pop().count("Piece(") == 12 * 13


# --- flashes -------------------------------------------------------------------------------------------------------


def most_in_a_second(manner: Manner, key: int, seconds: int) -> int:
    """Flashes of 10 % counted by hand: for every second that begins where the course turns, go through it anew."""
    points: list[tuple[int, float]] = []
    at_us = 0
    while at_us < seconds * 1_000_000:
        part = manner.piece(key, at_us)
        assert part.to_us is not None
        points += [(part.from_us, luminance_of(part.low)), (part.to_us, luminance_of(part.high))]
        at_us = part.to_us
    most = 0
    for first in range(len(points)):
        end_us = points[first][0] + 1_000_000
        low = high = points[first][1]
        changes, last = 0, 0
        number = first
        while number < len(points) and points[number][0] <= end_us:
            light = points[number][1]
            number += 1
            low, high = min(low, light), max(high, light)
            if last <= 0 and light - low >= 0.1:
                changes, last, high = changes + 1, 1, light
            elif last >= 0 and high - light >= 0.1:
                changes, last, low = changes + 1, -1, light
            if last > 0:
                low = high  # the next change falls from the highest point
            elif last < 0:
                high = low
        most = max(most, changes // 2)
    return most


def luminance_of(level: float) -> float:
    # CIE 1976 L* (ISO/CIE 11664-4), inverted
    return ((100 * level + 16) / 116) ** 3 if level > 0.08 else 2700 * level / 24389


# some come as near to their bound as they may, so the counting is seen to count
REACHED = {"storm": 3, "tube-that-struggles": 3, "arc-and-pause": 2, "bad-letter": 2, "bonfire": 2}


@pytest.mark.parametrize("name", MANNERS)
def test_no_manner_flashes_more_often_than_it_says(name: str) -> None:
    manner = MANNERS[name]
    counted = max(most_in_a_second(manner, key_of(lamp), 600) for lamp in LAMPS)
    assert counted <= manner.flashes_a_second <= 3.0  # WCAG 2.2, success criterion 2.3.1
    assert counted >= {"storm": 3, "tube-that-struggles": 3, "arc-and-pause": 2, "bad-letter": 2, "bonfire": 2}.get(
        name, 0
    )
