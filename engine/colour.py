"""The colour of light that glows: mired and kelvin, the chromaticity and the primaries of Planck's light, two whites.

Knows no outputs. Chromaticity after M. Krystek, "An algorithm to calculate correlated colour temperature", Color
Research and Application 10 (1985), 38-40.
"""

from __future__ import annotations

LEAST_KELVIN, MOST_KELVIN = 1_000.0, 15_000.0  # what Krystek's formula is for; outside it the nearer end is taken

# CIE XYZ to linear sRGB primaries (IEC 61966-2-1)
_TO_RGB = ((3.2406, -1.5372, -0.4986), (-0.9689, 1.8758, 0.0415), (0.0557, -0.2040, 1.0570))


def mired(kelvin: float) -> float:
    """A million divided by the colour temperature: even steps of it look about even, steps of kelvin do not."""
    return 1_000_000.0 / kelvin


def kelvin(mired: float) -> float:
    return 1_000_000.0 / mired


def xy(kelvin: float) -> tuple[float, float]:
    """CIE 1931 chromaticity of Planck's light, within 0.0004 of the integral over the colour matching functions."""
    t = min(max(kelvin, LEAST_KELVIN), MOST_KELVIN)
    u = (0.860117757 + t * (1.54118254e-4 + t * 1.28641212e-7)) / (1.0 + t * (8.42420235e-4 + t * 7.08145163e-7))
    v = (0.317398726 + t * (4.22806245e-5 + t * 4.20481691e-8)) / (1.0 + t * (-2.89741816e-5 + t * 1.61456053e-7))
    whole = 2.0 * u - 8.0 * v + 4.0  # from the CIE 1960 plane
    return 3.0 * u / whole, 2.0 * v / whole


def rgb(kelvin: float) -> tuple[float, float, float]:
    """Linear shares of the sRGB primaries, the greatest of them 1; a primary that would be negative is 0.

    Within 0.002 of the integral: less than half a step of 8 bits.
    """
    x, y = xy(kelvin)
    light = (x / y, 1.0, (1.0 - x - y) / y)
    red, green, blue = (max(0.0, sum(a * b for a, b in zip(row, light, strict=True))) for row in _TO_RGB)
    most = max(red, green, blue)
    return red / most, green / most, blue / most


def cool_share(mired: float, warm_mired: float, cool_mired: float) -> float:
    """The cooler white's share, 0..1, in a lamp with two whites, mixed by mired.

    By kelvin the mix is far too warm. By mired it is a little cool: 3000 K from 2200 and 6500 K gets 0.403, and the
    share of the light whose correlated colour temperature is 3000 K is 0.369 (0.403 is 3100 K, 11 mired off).
    """
    if warm_mired == cool_mired:
        return 0.0
    return min(max((warm_mired - mired) / (warm_mired - cool_mired), 0.0), 1.0)
