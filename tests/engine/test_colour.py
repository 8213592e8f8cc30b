"""The colour of light: Planck's light by colour-science, and lamps with two whites."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import colour
import numpy as np
import pytest
from colour.temperature import uv_to_CCT_Ohno2013

from engine.colour import LEAST_KELVIN, MOST_KELVIN, cool_share, kelvin, mired, rgb, xy

CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
TO_RGB = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB


@cache
def planck(temperature: float) -> tuple[float, float, float]:
    """CIE XYZ of Planck's light with Y = 1, by colour-science at 1 nm."""
    spectrum = colour.sd_blackbody(temperature, CMFS.shape)
    xyz = colour.sd_to_XYZ(spectrum, CMFS, method="Integration")
    return tuple(xyz / xyz[1])


def primaries(xyz: tuple[float, float, float]) -> np.ndarray:
    linear = np.clip(TO_RGB @ np.array(xyz), 0.0, None)
    return linear / linear.max()


# colour-science 0.4.7: Planck, CIE 1931 2 deg, linear sRGB primaries, the greatest 1
ROWS = [
    (1800, (0.54925, 0.40822), (1, 0.2081, 0)),
    (2200, None, (1, 0.3041, 0.0282)),
    (2700, (0.45986, 0.41060), (1, 0.4154, 0.0992)),
    (4000, None, (1, 0.6536, 0.3773)),
    (6500, (0.31353, 0.32363), (1, 0.9429, 0.9921)),
]


@pytest.mark.parametrize(("temperature", "chromaticity", "shares"), ROWS)
def test_the_rows(temperature: int, chromaticity: tuple[float, float] | None, shares: tuple[float, ...]) -> None:
    if chromaticity:
        assert xy(temperature) == pytest.approx(chromaticity, abs=4e-4)
    assert rgb(temperature) == pytest.approx(shares, abs=1.1e-3)
    assert max(rgb(temperature)) == 1.0


def test_the_stated_errors_hold_over_the_whole_range() -> None:
    for temperature in np.arange(LEAST_KELVIN, MOST_KELVIN + 1, 100):
        light = planck(float(temperature))
        whole = sum(light)
        assert xy(temperature) == pytest.approx((light[0] / whole, light[1] / whole), abs=4e-4)
        assert rgb(temperature) == pytest.approx(tuple(primaries(light)), abs=2e-3)


def test_hotter_light_is_never_redder() -> None:
    grid = [rgb(float(one)) for one in np.arange(LEAST_KELVIN, MOST_KELVIN, 50)]
    for cooler, hotter in pairwise(grid):
        assert hotter[0] <= cooler[0]
        assert hotter[2] >= cooler[2]


def test_outside_the_formulas_range_the_nearer_end_is_taken() -> None:
    assert rgb(1.0) == rgb(LEAST_KELVIN)
    assert xy(1e9) == xy(MOST_KELVIN)


def test_mired_and_kelvin() -> None:
    assert mired(2700) == pytest.approx(370.37, abs=0.005)
    assert kelvin(mired(4000.0)) == pytest.approx(4000.0)


def test_two_whites_are_mixed_by_mired() -> None:
    assert cool_share(mired(3000), mired(2200), mired(6500)) == pytest.approx(0.403, abs=0.0005)
    assert cool_share(mired(2200), mired(2200), mired(6500)) == 0.0
    assert cool_share(mired(6500), mired(2200), mired(6500)) == 1.0
    assert cool_share(mired(1000), mired(2200), mired(6500)) == 0.0
    assert cool_share(mired(9000), mired(2200), mired(6500)) == 1.0
    assert cool_share(300.0, 300.0, 300.0) == 0.0


@pytest.mark.parametrize(("share", "seen_k"), [(0.369, 3000), (0.403, 3103), (0.186, 2543)])
def test_what_a_mix_of_two_whites_is_seen_as(share: float, seen_k: int) -> None:
    # correlated colour temperature after Ohno (2013), shares of light: by kelvin 3000 K would be 0.186
    mix = (1 - share) * np.array(planck(2200.0)) + share * np.array(planck(6500.0))
    x, y, z = mix
    whole = x + 15 * y + 3 * z
    assert uv_to_CCT_Ohno2013(np.array([4 * x, 6 * y]) / whole)[0] == pytest.approx(seen_k, abs=5)
