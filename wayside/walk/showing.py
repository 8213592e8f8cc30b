"""What is shown at the stop of an output: one leg after another, from where it stands, and home at the end.

Tells a `Hand`; knows no port, no answers, and asks nobody for the time.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from engine.layout import Kind, Layout
from engine.waves import Steady, Wave
from wayside.walk.shows import Leg, Show, show_of, wave_of
from wayside.walk.signs import Heard

LONG_US = 3_600_000_000  # what has been shown once is not shown again by itself


class Hand(Protocol):
    """What tells the outputs, and knows how their links are."""

    def tell(self, output: str, wave: Wave, at_us: int) -> None: ...

    def heard(self, link: str) -> Heard: ...

    def strange(self, link: str) -> Mapping[int, int]:
        """How often numbers have changed that the layout file does not name."""


class Showing:
    """Shows one output at a time. `positions` are where servos were last told to go, in degrees."""

    def __init__(self, layout: Layout, hand: Hand, positions: dict[str, float]) -> None:
        self.positions = positions
        self.says = ""  # what it is told just now
        self.name = ""  # of what is shown; empty: nothing
        self._layout, self._hand = layout, hand
        self._show: Show | None = None
        self._leg, self._until_us = -1, 0
        self._waves: dict[str, Wave] = {}

    @property
    def repeats(self) -> bool:
        """Whether what is shown goes round and round."""
        return self._show is not None and self._show.repeats

    def begin(self, name: str) -> None:
        """Show it from now on, from the beginning."""
        self.name, self._show = name, show_of(self._layout.outputs[name])
        self.from_the_beginning()

    def from_the_beginning(self) -> None:
        """Whatever was told has not been heard."""
        self._leg, self._until_us, self.says = -1, 0, ""

    def over(self) -> None:
        """It is shown no more, and stays as it is."""
        self.name, self.says, self._show = "", "", None

    def tick(self, now_us: int) -> None:
        """The next leg, if it is due."""
        show = self._show
        if show is None or (self._leg >= 0 and now_us < self._until_us):
            return
        self._leg += 1
        if self._leg >= len(show.legs):
            if not show.repeats:
                self._until_us, self.says = now_us + LONG_US, "it has been shown"
                return
            self._leg = 0
        leg = show.legs[self._leg]
        moves = self.place(self.name, now_us) not in (None, leg.value)
        self._follow(self.name, leg, now_us)
        self.says = leg.says
        self._until_us = now_us + (leg.over_us if moves else 0) + leg.stays_us

    def lost(self, name: str) -> None:
        """Its link does not talk: nobody knows how much of what it was told has been heard, nor where it stands."""
        if self._layout.outputs[name].kind is Kind.SERVO and self._waves.pop(name, None) is not None:
            self.positions.pop(name, None)

    def home(self, now_us: int) -> int:
        """It goes home; when it will be there."""
        name, show = self.name, self._show
        self.over()
        if show is None:
            return now_us
        before = self.place(name, now_us)
        self._follow(name, show.home, now_us)
        return now_us + (0 if before in (None, show.home.value) else show.home.over_us)

    def still(self, now_us: int) -> None:
        """Everything stays as it is this instant. A motor stops."""
        self.over()
        for name, wave in list(self._waves.items()):
            if self._layout.outputs[name].kind is Kind.MOTOR:
                self._tell(name, Steady(0.0), now_us)
            elif not isinstance(wave, Steady):
                here = wave.value_at(now_us)
                self._tell(name, Steady(here), now_us)
                if name in self.positions:
                    self.positions[name] = here

    def place(self, name: str, now_us: int | None = None) -> float | None:
        """Where an output is just now, or else where it was last told to go; None where nobody knows."""
        wave, kind = self._waves.get(name), self._layout.outputs[name].kind
        if wave is not None and now_us is not None:
            return wave.value_at(now_us)
        if kind is Kind.SERVO:
            return self.positions.get(name)
        return 0.0 if wave is None and kind is Kind.MOTOR else None

    def _follow(self, name: str, leg: Leg, now_us: int) -> None:
        self._tell(name, wave_of(leg, self.place(name, now_us), now_us), now_us)
        if self._layout.outputs[name].kind is Kind.SERVO:
            self.positions[name] = leg.value

    def _tell(self, name: str, wave: Wave, now_us: int) -> None:
        self._waves[name] = wave
        self._hand.tell(name, wave, now_us)
