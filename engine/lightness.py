"""How light looks: CIE 1976 lightness L*, which is even to the eye, against luminance, which is what a lamp is given.

Levels are L* / 100, luminance is Y/Yn, both 0..1 (ISO/CIE 11664-4). Knows no outputs.
"""

from __future__ import annotations

from math import cbrt

VISIBLE = 0.01  # one unit of lightness, as a level: a jump above it is taken as one that is seen

_STRAIGHT_L = 8.0  # below it lightness goes straight with luminance
_STRAIGHT_Y = 216 / 24389
_KAPPA = 24389 / 27


def luminance(level: float) -> float:
    """Y/Yn of a level; what lies outside 0..1 is taken as the nearer end."""
    if level <= 0.0:
        return 0.0
    if level >= 1.0:
        return 1.0
    lightness = 100.0 * level
    if lightness <= _STRAIGHT_L:
        return lightness / _KAPPA
    root: float = (lightness + 16.0) / 116.0
    return root * root * root


def level(luminance: float) -> float:
    """The level of a Y/Yn; what lies outside 0..1 is taken as the nearer end."""
    if luminance <= 0.0:
        return 0.0
    if luminance >= 1.0:
        return 1.0
    if luminance <= _STRAIGHT_Y:
        return luminance * _KAPPA / 100.0
    return (116.0 * cbrt(luminance) - 16.0) / 100.0
