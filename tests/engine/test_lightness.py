"""CIE 1976 lightness against the standard's worked values and colour-science."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from colour.colorimetry import lightness_CIE1976, luminance_CIE1976

from engine.lightness import level, luminance

# L* and Y/Yn, ISO/CIE 11664-4; worked out with the constants 216/24389 and 24389/27
TABLE = [
    (0, 0.0),
    (1, 0.001107056460),
    (5, 0.005535282299),
    (8, 0.008856451679),
    (10, 0.011260199270),
    (25, 0.044154767518),
    (50, 0.184186518512),
    (75, 0.482781043708),
    (90, 0.763033539711),
    (100, 1.0),
]


@pytest.mark.parametrize(("lightness", "light"), TABLE)
def test_the_table_holds_both_ways(lightness: int, light: float) -> None:
    assert luminance(lightness / 100) == pytest.approx(light, abs=1e-12)
    assert level(light) == pytest.approx(lightness / 100, abs=1e-11)


def test_it_is_exact_at_its_ends_and_stays_within_them() -> None:
    assert [luminance(one) for one in (-0.1, 0.0, 1.0, 1.1)] == [0.0, 0.0, 1.0, 1.0]
    assert [level(one) for one in (-0.1, 0.0, 1.0, 1.1)] == [0.0, 0.0, 1.0, 1.0]


def test_a_dense_grid_agrees_with_colour_science() -> None:
    levels = np.linspace(0.0, 1.0, 20_001)
    ours = np.array([luminance(one) for one in levels])
    assert np.abs(ours - luminance_CIE1976(levels * 100, 100) / 100).max() < 1e-12
    back = np.array([level(one) for one in levels])
    assert np.abs(back - lightness_CIE1976(levels * 100, 100) / 100).max() < 1e-12


def test_there_and_back_is_the_same_level() -> None:
    for one in np.linspace(0.0, 1.0, 5_003):
        assert level(luminance(float(one))) == pytest.approx(one, abs=1e-12)


def test_more_level_is_more_light_also_where_the_two_formulas_join() -> None:
    for grid in (np.linspace(0.0, 1.0, 20_001), np.linspace(0.0799, 0.0801, 20_001)):
        light = [luminance(float(one)) for one in grid]
        assert all(b > a for a, b in pairwise(light))
