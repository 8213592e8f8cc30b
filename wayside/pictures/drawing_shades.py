"""Shades on paper for levels of light: of the lightness that the level says, whatever their colour.

Knows levels and colours of light; must not know what shines.
"""

from __future__ import annotations

from collections.abc import Iterable

from engine.lightness import luminance

Rgb = tuple[float, float, float]
_WEIGHTS = (0.2126, 0.7152, 0.0722)  # of the sRGB primaries in luminance (IEC 61966-2-1)

FULL = 0.96  # lightness of full light on paper: white would not show that it is warm
GLOW: tuple[Rgb, Rgb] = ((1.95, 0.77, 0.12), (1.09, 1.0, 0.72))  # faint and full: what glows is redder when it is faint
SKY: tuple[Rgb, Rgb] = ((0.45, 0.85, 2.6), (0.86, 1.01, 1.25))  # night and day
NIGHT = "#000000"
HUES: dict[str, Rgb] = {  # what a coloured light looks like at its brightest; its letter stands beside it
    "R": (1.0, 0.05, 0.03),
    "G": (0.05, 0.80, 0.22),
    "Y": (1.0, 0.72, 0.05),
    "Am": (1.0, 0.50, 0.03),
    "Or": (1.0, 0.32, 0.02),
    "Bu": (0.06, 0.20, 1.0),
    "Vi": (0.45, 0.10, 0.90),
}


def tint(level: float, lights: tuple[Rgb, Rgb]) -> str:
    """The shade of a level, of FULL times that lightness, its colour between the two."""
    bright = luminance(FULL * level)
    faint, full = lights
    share = level * level * level  # it pales late
    light = [low + (high - low) * share for low, high in zip(faint, full, strict=True)]
    whole = sum(weight * part for weight, part in zip(_WEIGHTS, light, strict=True))
    return _hex([bright * part / whole for part in light])


def hue(level: float, letters: str) -> str:
    """The shade of a coloured light: full colour at full level."""
    return _hex([part * luminance(level) for part in HUES[letters]])


def _hex(linear: Iterable[float]) -> str:
    return "#" + "".join(f"{round(255 * _coded(min(1.0, max(0.0, part)))):02x}" for part in linear)


def _coded(part: float) -> float:
    """IEC 61966-2-1."""
    return 12.92 * part if part <= 0.0031308 else float(1.055 * part ** (1 / 2.4) - 0.055)
