"""Fuses: the least rating that carries a load for good. Pure; knows no layout."""

from __future__ import annotations

from fractions import Fraction

SHARE = Fraction(75, 100)  # of its rating that a fuse is loaded to at 25 degrees Celsius (makers' guides)
SHARE_SOURCE = "makers' guides, at 25 C"

# Ratings of miniature fuses in milliamperes: IEC 60127-2, from memory.
RATINGS_MA = (
    *(32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800),
    *(1_000, 1_250, 1_600, 2_000, 2_500, 3_150, 4_000, 5_000, 6_300, 8_000, 10_000),
)
RATINGS_SOURCE = "IEC 60127-2, from memory"


def carries_ua(rating_ua: int) -> int:
    """What a fuse may be loaded with for good."""
    return int(rating_ua * SHARE)


def for_load(ua: int) -> int | None:
    """The least rating, in microamperes, that is loaded to no more than its share; None past the largest."""
    return next((one * 1_000 for one in RATINGS_MA if one * 1_000 * SHARE >= ua), None)
