"""What a layout draws and what it costs, as frozen records: supplies, currents, prices, who minds it in public.

The engine performs without any of it; the layout carries it to those who reckon. Currents are whole microamperes,
voltages whole millivolts, so that no sum depends on its order.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from engine.layout import NOWHERE, Place


class Draw(NamedTuple):
    """What an output or a board draws. None: the layout file does not say."""

    full_ua: int | None = (
        None  # a lamp at full, a relay held, a motor running, a servo moving without load, a board idle
    )
    stalled_ua: int | None = None  # a servo or motor that is held, and nearly so at each start
    idle_ua: int | None = None  # a servo that stands
    forward_mv: int | None = None  # of one LED at its current
    in_series: int = 1  # LEDs one behind the other on one resistor


class Price(NamedTuple):
    """An amount of some currency, exact; the currency as it is written, or empty."""

    amount: Fraction
    currency: str = ""


class Cable(NamedTuple):
    """A run of wire from a supply to what it powers: the length is one way, the current goes there and back."""

    length_mm: int
    mm2: Fraction


class Run(NamedTuple):
    """What one run of wire of a supply powers: boards, with all on them, and outputs. `cable` is None if not stated."""

    powers: tuple[str, ...]
    cable: Cable | None = None
    place: Place = NOWHERE


class Supply(NamedTuple):
    """A finished, marked supply of extra-low voltage."""

    name: str
    millivolts: int
    alternating: bool = False
    gives_ua: int | None = None
    fuse_ua: int | None = None
    runs: tuple[Run, ...] = ()
    place: Place = NOWHERE

    @property
    def powers(self) -> tuple[str, ...]:
        """Everything that it powers by name, in the order written."""
        return tuple(name for run in self.runs for name in run.powers)


class Exhibition(NamedTuple):
    """What an organiser asks and the layout file alone cannot know; empty and None: not stated."""

    stays_with_it: str = ""
    mains_leads: int | None = None
