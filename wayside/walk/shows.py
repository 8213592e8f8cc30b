"""What each kind of output does at its stop of a walk, so that a person can find it and see whether it is right.

Pure: an output in, a list of legs out. A lamp's flash is short and its pause long, so that one that is wired the wrong
way round is seen to be; nothing flashes more than once in two seconds. A servo goes between its ends far more slowly
than it could.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.curves import Curve, Smooth
from engine.layout import Itself, Kind, Output
from engine.waves import Steady, Wave

MS, S = 1_000, 1_000_000
LIT_US, DARK_US = 500 * MS, 1_500 * MS  # 30 flashes a minute
FADE_US, DWELL_US = 2 * S, 1 * S
SLOWER = 2  # a servo takes so many times its own full travel ...
LEAST_TRAVEL_US = 4 * S  # ... and at least this (a choice, no source)
ASPECT_US = 3 * S
SLOW_MOTOR = 0.3  # of full speed
MOVES = (Kind.SERVO, Kind.MOTOR, Kind.PULSE)  # what may hurt a finger, and is asked for one by one


class Leg(NamedTuple):
    """One thing that it is told: in words, the value it goes to, how long it takes for that, and then stays."""

    says: str
    value: float
    over_us: int = 0
    stays_us: int = 0


class Show(NamedTuple):
    """All legs, and whether they go round until somebody has answered."""

    legs: tuple[Leg, ...]
    repeats: bool
    what: str  # what there is to see, as a sentence
    home: Leg  # what it is told when the stop is over


def show_of(output: Output) -> Show:
    """What an output does at its stop."""
    return _SHOWS[output.kind](output)


def home_of(output: Output) -> float:
    """Where it is left: guarded outputs safe, others at rest."""
    left = output.safe if output.safe is not None else output.rest
    return 1.0 if left.blink is not None else left.value


def wave_of(leg: Leg, from_value: float | None, at_us: int) -> Wave:
    """The waveform of a leg. From an unknown place there is nothing to travel from: it jumps."""
    if not leg.over_us or from_value is None or from_value == leg.value:
        return Steady(leg.value)
    return Curve(at_us, at_us + leg.over_us, from_value, leg.value, Smooth())


def travel_us(output: Output) -> int:
    """How long a servo takes from end to end in a walk."""
    return max(output.travel_us * SLOWER, LEAST_TRAVEL_US)


# --- one for each kind ---------------------------------------------------------------------------------------------


def _lamp(output: Output) -> Show:
    home = Leg("as at rest", home_of(output))
    flash = (Leg("lit", 1.0, 0, LIT_US), Leg("dark", 0.0, 0, DARK_US))
    if output.itself is not None:
        does = "flashes" if output.itself is Itself.FLASHES else "flickers"
        legs = (Leg("on", 1.0, 0, 4 * S), Leg("off", 0.0, 0, 2 * S))
        return Show(legs, True, f"Its board makes it work: it {does} for four seconds, and is dark for two.", home)
    if not output.dimmable:
        return Show(flash, True, "It flashes: lit for half a second, dark for one and a half.", home)
    fade = (Leg("fading up", 1.0, FADE_US, LIT_US), Leg("fading down", 0.0, FADE_US, DWELL_US))
    what = "It flashes twice, each time lit for half a second, then fades up and down slowly."
    return Show((*flash, *flash, *fade), True, what, home)


def _servo(output: Output) -> Show:
    if not output.positions:
        low, high = output.limits or (80.0, 100.0)
        ends = [(f"{low:g} deg", low), (f"{high:g} deg", high)]
    else:
        by_degrees = {position.degrees: position.name for position in reversed(output.positions)}
        ends = [(by_degrees[end], end) for end in output.span]
    home = home_of(output)
    if home == ends[-1][1]:
        ends.reverse()  # it begins at home, and ends there
    us = 0 if output.itself is Itself.MOVES else travel_us(output)
    stays = (output.itself_us if output.itself is Itself.MOVES else 0) + 2 * S
    (near, near_deg), (far, far_deg) = ends
    legs = (
        Leg(f"to {near}", near_deg, us, stays),
        Leg(f"to {far}", far_deg, us, stays),
        Leg(f"back to {near}", near_deg, us, stays),
    )
    what = f"It goes to {near}, then to {far}, waits, and comes back to {near}."
    return Show(legs, False, what, Leg("home", home, us))


def _signal(output: Output) -> Show:
    legs = tuple(Leg(aspect.name, float(index), 0, ASPECT_US) for index, aspect in enumerate(output.aspects))
    names = ", ".join(aspect.name for aspect in output.aspects)
    return Show(legs, True, f"It shows its aspects one after another: {names}.", Leg("home", home_of(output)))


def _switched(output: Output) -> Show:
    home = Leg("as at rest", home_of(output))
    verb = "sounds" if output.kind is Kind.SOUND else "is on"
    legs = (Leg("on", 1.0, 0, 1 * S), Leg("off", 0.0, 0, 3 * S))
    return Show(legs, True, f"It {verb} for one second, and is off for three.", home)


def _motor(output: Output) -> Show:
    legs = (
        Leg("forwards, slowly", SLOW_MOTOR, FADE_US, 2 * S),
        Leg("stopping", 0.0, FADE_US, DWELL_US),
        Leg("stopped", 0.0, 0, 0),
    )
    return Show(legs, False, "It runs forwards slowly for a few seconds, and stops.", Leg("home", home_of(output)))


def _pulse(output: Output) -> Show:
    legs = (Leg("one pulse", 1.0, 0, max(output.pulse_us, 200 * MS)), Leg("over", 0.0))
    return Show(legs, False, "It gets one pulse.", Leg("home", 0.0))


_SHOWS = {
    Kind.LAMP: _lamp,
    Kind.SERVO: _servo,
    Kind.SIGNAL: _signal,
    Kind.RELAY: _switched,
    Kind.SOUND: _switched,
    Kind.MOTOR: _motor,
    Kind.PULSE: _pulse,
}
