"""The published characters of lights: `Fl(2) W 10s` as charts write it, as phases of light and dark.

How it is written is in `engine.chart_words`, proportions and limits in `engine.rhythms`. Which lamp shows which colour
is nobody's business here.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.chart_words import NotRead, Written, refuse, written
from engine.courses import Leg, Script
from engine.rhythms import Beats, Unfit, beats, in_turn, morse, seconds, then_long, usual_period_us

__all__ = ["Character", "NotRead", "Phase", "read"]

FIXED_US = 1_000_000  # ours: a fixed light has no period; its one phase is said to last this long
FIXED_LEVEL = 0.5  # ours: how bright `FFl` is between its flashes, in lightness
EXAMPLES_US = tuple(length * 1_000_000 for length in (10, 15, 20, 30, 60, 120))  # periods to offer where one is missing


class Phase(NamedTuple):
    """A time of one light. `colour` as charts write it: W, R, G, Y, Bu, Vi, Or or Am; None: an eclipse."""

    us: int
    colour: str | None
    level: float = 1.0  # lightness; less than full only between the flashes of a fixed and flashing light


class Character(NamedTuple):
    """A light's character. `text` is how charts write it; the phases fill the period exactly, an eclipse first."""

    text: str
    period_us: int
    phases: tuple[Phase, ...]

    @property
    def colours(self) -> tuple[str, ...]:
        """The colours that it shows, in the order in which they come."""
        return tuple(dict.fromkeys(phase.colour for phase in self.phases if phase.colour))

    @property
    def flashes_a_minute(self) -> float:
        """How often it brightens; a change of colour alone is no flash."""
        levels = [phase.level if phase.colour else 0.0 for phase in self.phases]
        return (
            sum(after > before for before, after in zip([levels[-1], *levels], levels, strict=False))
            * 60e6
            / self.period_us
        )

    def script(self, colour: str | None = None) -> Script:
        """One period for the whole light, or for the lamp of one colour. Raises ValueError: it never shows that."""
        if colour is not None and colour not in self.colours:
            raise ValueError(f"{self.text} never shows {colour}")
        legs: list[Leg] = []
        for phase in self.phases:
            lit = phase.colour is not None and colour in (None, phase.colour)
            level = phase.level if lit else 0.0
            if legs and legs[-1].to == level:  # two colours in a row are one light
                legs[-1] = Leg(legs[-1].us + phase.us, level)
            else:
                legs.append(Leg(phase.us, level))
        return Script.of(*legs)


def read(text: str) -> Character:
    """A light's character, such as `Fl(2) W 10s`. Raises NotRead."""
    parts = written(text)
    colours = parts.colours or ("W",)
    period_us = _period_us(text, parts, len(colours))
    try:
        found = _beats(parts, len(colours), period_us)
    except Unfit as unfit:
        refuse(unfit.what, unfit.instead, parts.period_span)
    if len(found) % len(colours):
        what = f"{len(found)} flashes cannot be shared out among {len(colours)} colours."
        refuse(what, f"Write a number of flashes that {len(colours)} divides.", parts.colours_span)
    shown = "" if parts.period_us is None else f" {seconds(period_us)}"
    return Character(f"{parts.name} {''.join(colours)}{shown}", period_us, _phases(parts.rhythm, found, colours))


def _period_us(text: str, parts: Written, colours: int) -> int:
    """What was written; a fixed light has none, and of the others only a quick light without groups can do without."""
    usual_us = None if parts.groups else usual_period_us(parts.rhythm)
    if parts.rhythm == "F" and not parts.changes:
        usual_us = FIXED_US
    period_us = usual_us * colours if usual_us and parts.period_us is None else parts.period_us
    if period_us is None:
        fits = next((seconds(us) for us in EXAMPLES_US if _fits(parts, colours, us)), "10s")
        example = f"{parts.name} {''.join(parts.colours) or 'W'} {fits}"
        end = len(text.rstrip())
        refuse(f"`{parts.name}` needs its period.", f"Write its seconds behind it: `{example}`.", (end, end + 1))
    return period_us


def _fits(parts: Written, colours: int, period_us: int) -> bool:
    try:
        return bool(_beats(parts, colours, period_us))
    except Unfit:
        return False


def _beats(parts: Written, colours: int, period_us: int) -> Beats:
    if parts.letters:
        return morse(parts.letters, period_us)
    if parts.long:
        return then_long(parts.rhythm, parts.groups[0] if parts.groups else 1, period_us)
    if parts.rhythm == "F" or (parts.changes and not parts.groups):
        return in_turn(parts.rhythm, colours, period_us)
    return beats(parts.rhythm, parts.groups, period_us)


def _phases(rhythm: str, found: Beats, colours: tuple[str, ...]) -> tuple[Phase, ...]:
    """The flashes take the colours in turn. A fixed and flashing light is dim where another is dark."""
    dim = rhythm in ("FFl", "FLFl")
    phases: list[Phase] = []
    for index, beat in enumerate(found):
        colour = colours[index % len(colours)]
        if beat.dark_us:
            phases.append(Phase(beat.dark_us, colour, FIXED_LEVEL) if dim else Phase(beat.dark_us, None))
        phases.append(Phase(beat.light_us, colour))
    return tuple(phases)
