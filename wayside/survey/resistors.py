"""The resistor of an LED: what it has to be, the next value that is made, what then flows and how warm it gets.

Pure and exact: fractions, and the series as the whole numbers of the standard. Knows no layout.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from wayside.layout.electric_values import digits

# IEC 60063: preferred numbers of one decade.
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24 = tuple(sorted((*E12, 11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91)))
SERIES = {"E12": E12, "E24": E24}

LEAST_OHM, MOST_OHM = 1, 10_000_000  # what is made and sold everywhere (common practice, no source)
POWERS_MW = (125, 250, 500, 1_000, 2_000, 5_000)  # of resistors that are sold (common practice, no source)
SPARE = 2  # a resistor is bought for twice the power that it takes (common practice, no source)

_MARKS = ((1_000_000, "M"), (1_000, "k"), (1, "R"))  # IEC 60062: the letter stands in the place of the decimal point


class NoResistor(ValueError):
    """There is no such resistor; says why, and what to write instead."""

    def __init__(self, what: str, instead: str) -> None:
        super().__init__(f"{what}. {instead}.")
        self.what, self.instead = what, instead


class Chosen(NamedTuple):
    """A resistor of a series, the current that then flows, and the power that it takes."""

    series: str
    ohms: Fraction
    amperes: Fraction
    watts: Fraction

    @property
    def sold_mw(self) -> int | None:
        """The least power of those sold that leaves room; None if it gets too warm for all of them."""
        return next((one for one in POWERS_MW if self.watts * 1000 * SPARE <= one), None)


def exact_ohms(supply_mv: int, forward_mv: int, in_series: int, current_ua: int) -> Fraction:
    """R = (Vs - n Vf) / I. Raises NoResistor."""
    if current_ua <= 0 or forward_mv <= 0 or in_series <= 0:
        raise NoResistor("an LED has a forward voltage and a current above nothing", "Write what stands in its data")
    left_mv = supply_mv - in_series * forward_mv
    if left_mv <= 0:
        what = f"{in_series} LEDs need more volts than there are" if in_series > 1 else "the LED needs all the volts"
        raise NoResistor(f"{what}, so nothing is left for a resistor", "Take fewer in series, or a higher voltage")
    return Fraction(left_mv, 1_000) / Fraction(current_ua, 1_000_000)


def next_higher(ohms: Fraction, series: tuple[int, ...]) -> Fraction:
    """The least value of a series that is not less. Raises NoResistor outside what is made."""
    if not LEAST_OHM <= ohms <= MOST_OHM:
        side = "less than 1 ohm" if ohms < LEAST_OHM else "more than 10 megohms"
        raise NoResistor(f"the resistor would have {side}", "See whether volts and amperes have their right units")
    decade = Fraction(1)
    while decade * 10 <= ohms:
        decade *= 10
    return next((decade * step / 10 for step in series if decade * step / 10 >= ohms), decade * 10)


def choose(supply_mv: int, forward_mv: int, in_series: int, current_ua: int) -> tuple[Chosen, ...]:
    """The next higher E12 and E24 values. Raises NoResistor."""
    exact = exact_ohms(supply_mv, forward_mv, in_series, current_ua)
    left_v = Fraction(supply_mv - in_series * forward_mv, 1_000)
    values = [(name, next_higher(exact, series)) for name, series in SERIES.items()]
    return tuple(Chosen(name, ohms, left_v / ohms, left_v * left_v / ohms) for name, ohms in values)


def code(ohms: Fraction) -> str:
    """As it is printed and ordered: `270R`, `1k`, `1k2` (IEC 60062)."""
    scale, letter = next((one for one in _MARKS if ohms >= one[0]), _MARKS[-1])
    figures = digits(ohms / scale)
    return figures.replace(".", letter) if "." in figures else f"{figures}{letter}"
