"""Ways in which lamps come on and go off: gas, wick, filament, tube, arc, and what the hand and the current do to them.

Owns the shape of each, as a script of legs; which lamp has which, and what it is told, is nobody's business here.
Levels are shares of the way from the value before to the value told, in CIE lightness and not in watts.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

from engine.chance import share_at
from engine.courses import Ease, Leg, Script

MS = 1_000
S = 1_000_000
AT_ONCE_US = 1 * MS  # what has no way of its own still takes a leg
STRIKE_APART_US = 350 * MS  # between two flashes of one way: never more than three of them begin within a second

_OFF_DRAWS = 1 << 32  # a way's draws for going off lie apart from those for coming on

Legs = tuple[Leg, ...]
Shape = Callable[[int], Legs]  # of a key


class Way(NamedTuple):
    """One way. `on` ends at 1.0; `off` is told in what is left of the light, and ends at 0.0."""

    name: str
    about: str
    on: Shape
    off: Shape


def coming_on(name: str, key: int) -> Script:
    """How a lamp brightens in this way; ends at level 1.0. The same key, the same run. Raises KeyError: no such way."""
    return Script.of(*WAYS[name].on(key))


def going_off(name: str, key: int) -> Script:
    """How a lamp darkens in this way; level 1.0, at its end, is arrived: dark. Raises KeyError: no such way."""
    return Script.of(*(leg._replace(to=1.0 - leg.to) for leg in WAYS[name].off(key)))


def scaled(script: Script, over_us: int) -> Script:
    """The same shape in exactly `over_us`, each leg at least a microsecond long.

    What flickers in a script flickers faster in a shorter one. Raises ValueError where the legs do not fit.
    """
    legs = len(script.legs)
    if over_us < legs:
        raise ValueError(f"{legs} legs want {legs} microseconds or more")
    ends = [0]
    for index, end in enumerate(script.ends_us):
        room = over_us - (legs - 1 - index)  # the legs that follow want a microsecond each
        ends.append(min(room, max(ends[-1] + 1, end * over_us // script.length_us)))
    return Script.of(
        *(leg._replace(us=end - start) for leg, (start, end) in zip(script.legs, pairwise(ends), strict=True))
    )


def _drawn(key: int, index: int, low_us: int, high_us: int) -> int:
    return low_us + int(share_at(key, index) * (high_us - low_us + 1))


def _at_once(level: float) -> Shape:
    return lambda _: (Leg(AT_ONCE_US, level),)


def _always(*legs: Leg) -> Shape:
    return lambda _: legs


# --- flames: common practice and watching, no source ---------------------------------------------------------------


def _gas_mantle_on(key: int) -> Legs:
    """The gas catches with a pop, the flame draws in, and the mantle warms until it glows white."""
    warms_us = _drawn(key, 0, 3 * S, 6 * S)
    return (
        Leg(_drawn(key, 1, 60 * MS, 120 * MS), 0.3),
        Leg(250 * MS, 0.16, Ease.EVEN),
        Leg(warms_us * 35 // 100, 0.6, Ease.EVEN),
        Leg(warms_us * 30 // 100, 0.87, Ease.EVEN),
        Leg(warms_us * 35 // 100, 1.0, Ease.EVEN),
    )


def _oil_wick_on(key: int) -> Legs:
    """A match, a low flame while the wick warms; a hand turns it half up, lets the glass warm, turns it up."""
    return (
        Leg(_drawn(key, 0, 600 * MS, 1200 * MS), 0.12),
        Leg(_drawn(key, 1, 2 * S, 4 * S), 0.22, Ease.EVEN),
        Leg(_drawn(key, 2, 1 * S, 1500 * MS), 0.55, Ease.SMOOTH),
        Leg(_drawn(key, 3, 2 * S, 3 * S), 0.55),
        Leg(_drawn(key, 4, 1500 * MS, 2500 * MS), 1.0, Ease.SMOOTH),
    )


def _oil_wick_off(key: int) -> Legs:
    """Turned down, left burning low for a moment, blown out."""
    return (
        Leg(_drawn(key, _OFF_DRAWS, 1200 * MS, 2 * S), 0.18, Ease.SMOOTH),
        Leg(_drawn(key, _OFF_DRAWS + 1, 300 * MS, 700 * MS), 0.18),
        Leg(60 * MS, 0.0, Ease.EVEN),
    )


def _candle_on(key: int) -> Legs:
    """The match's flame lights it; alone it shrinks until wax has melted, then it grows."""
    return (
        Leg(_drawn(key, 0, 400 * MS, 800 * MS), 0.55),
        Leg(_drawn(key, 1, 800 * MS, 1500 * MS), 0.2, Ease.EVEN),
        Leg(_drawn(key, 2, 3 * S, 6 * S), 1.0, Ease.SMOOTH),
    )


def _candle_off(key: int) -> Legs:
    """Blown out; the wick glows on."""
    return (Leg(120 * MS, 0.07, Ease.EVEN), Leg(_drawn(key, _OFF_DRAWS, 900 * MS, 1800 * MS), 0.0, Ease.EVEN))


# --- hot and discharging -------------------------------------------------------------------------------------------


def _tube_on(key: int) -> Legs:
    """0.5 to 2 s of glowing ends, two or three strikes that do not last, then full (references: fluorescent tube)."""
    preheat_us = _drawn(key, 0, 500 * MS, 2 * S)
    legs = [Leg(preheat_us // 4, 0.1, Ease.EVEN), Leg(preheat_us - preheat_us // 4, 0.15, Ease.EVEN)]
    for strike in range(2 if share_at(key, 1) < 0.5 else 3):
        legs.append(Leg(_drawn(key, 2 + 2 * strike, 40 * MS, 90 * MS), 0.75))
        legs.append(Leg(_drawn(key, 3 + 2 * strike, STRIKE_APART_US, 700 * MS), 0.13))
    return (*legs, Leg(AT_ONCE_US, 1.0))


def _neon_sign_on(key: int) -> Legs:
    """No glow before it: part of the gas lights and goes out, once or twice, then all of it (from memory)."""
    legs: list[Leg] = []
    for start in range(1 if share_at(key, 0) < 0.5 else 2):
        legs.append(Leg(_drawn(key, 1 + 2 * start, 80 * MS, 150 * MS), 0.45))
        legs.append(Leg(_drawn(key, 2 + 2 * start, STRIKE_APART_US, 600 * MS), 0.0))
    return (*legs, Leg(AT_ONCE_US, 1.0))


def _sodium_on(key: int) -> Legs:
    """High pressure: a faint start that hangs back, full after 5 min or more (references)."""
    takes_us = _drawn(key, 0, 300 * S, 420 * S)
    hangs_us, climbs_us = takes_us * 45 // 100, takes_us * 30 // 100
    return (
        Leg(20 * S, 0.1),
        Leg(hangs_us - 20 * S, 0.22, Ease.EVEN),
        Leg(climbs_us, 0.75, Ease.EVEN),
        Leg(takes_us - hangs_us - climbs_us, 1.0, Ease.EVEN),
    )


def _mercury_on(key: int) -> Legs:
    """A dim glow at once, most of the light early, the rest drawn out: 5 to 15 min in all (references)."""
    takes_us = _drawn(key, 0, 450 * S, 900 * S)
    early_us, later_us = takes_us * 25 // 100, takes_us * 30 // 100
    return (
        Leg(10 * S, 0.22),
        Leg(early_us - 10 * S, 0.6, Ease.EVEN),
        Leg(later_us, 0.88, Ease.EVEN),
        Leg(takes_us - early_us - later_us, 1.0, Ease.EVEN),
    )


def _arc_lamp_on(key: int) -> Legs:
    """The carbons touch and part: a blaze, a fall, and two more sags until they burn evenly (from memory)."""
    return (
        Leg(120 * MS, 0.95),
        Leg(_drawn(key, 0, 150 * MS, 300 * MS), 0.45, Ease.EVEN),
        Leg(_drawn(key, 1, 500 * MS, 900 * MS), 0.8, Ease.EVEN),
        Leg(_drawn(key, 2, 200 * MS, 400 * MS), 0.6, Ease.EVEN),
        Leg(_drawn(key, 3, 700 * MS, 1200 * MS), 0.92, Ease.EVEN),
        Leg(_drawn(key, 4, 200 * MS, 400 * MS), 0.78, Ease.EVEN),
        Leg(_drawn(key, 5, 1 * S, 2 * S), 1.0, Ease.EVEN),
    )


def _dynamo_on(key: int) -> Legs:
    """Lamps on a small engine's dynamo: they swell as it runs up, and sag twice as its governor hunts (from memory)."""
    return (
        Leg(_drawn(key, 0, 1 * S, 1500 * MS), 0.2, Ease.EVEN),
        Leg(_drawn(key, 1, 1500 * MS, 2500 * MS), 0.8, Ease.EVEN),
        Leg(_drawn(key, 2, 500 * MS, 800 * MS), 0.65, Ease.EVEN),
        Leg(_drawn(key, 3, 800 * MS, 1200 * MS), 0.95, Ease.EVEN),
        Leg(_drawn(key, 4, 500 * MS, 800 * MS), 0.85, Ease.EVEN),
        Leg(_drawn(key, 5, 800 * MS, 1200 * MS), 1.0, Ease.EVEN),
    )


# An incandescent wire heats and cools about exponentially; three straight legs each. Times from memory.
_FILAMENT_ON = (Leg(50 * MS, 0.58, Ease.EVEN), Leg(70 * MS, 0.88, Ease.EVEN), Leg(110 * MS, 1.0, Ease.EVEN))
_FILAMENT_OFF = (Leg(100 * MS, 0.5, Ease.EVEN), Leg(150 * MS, 0.18, Ease.EVEN), Leg(250 * MS, 0.0, Ease.EVEN))
_MANTLE_OFF = (Leg(150 * MS, 0.3, Ease.EVEN), Leg(350 * MS, 0.0, Ease.EVEN))
_ARC_OFF = (Leg(40 * MS, 0.28, Ease.EVEN), Leg(800 * MS, 0.0, Ease.EVEN))  # the carbons' tips glow on
_DYNAMO_OFF = (Leg(1500 * MS, 0.7, Ease.EVEN), Leg(2 * S, 0.25, Ease.EVEN), Leg(1500 * MS, 0.0, Ease.EVEN))

WAYS: dict[str, Way] = {
    way.name: way
    for way in (
        Way("gas-mantle", "a pop, then the mantle warms for some seconds", _gas_mantle_on, _always(*_MANTLE_OFF)),
        Way("oil-wick", "a match, a low flame, then a hand turns it up by halves", _oil_wick_on, _oil_wick_off),
        Way("candle", "lit bright, shrinks until the wax has melted, grows", _candle_on, _candle_off),
        Way("filament", "glows up quickly, dies down more slowly", _always(*_FILAMENT_ON), _always(*_FILAMENT_OFF)),
        Way("tube", "glowing ends, two or three strikes, then full", _tube_on, _at_once(0.0)),
        Way("neon-sign", "stutters half lit once or twice, then full", _neon_sign_on, _at_once(0.0)),
        Way("sodium", "a faint start, full after 5 to 7 minutes", _sodium_on, _at_once(0.0)),
        Way("mercury", "a dim glow at once, full after 7 to 15 minutes", _mercury_on, _at_once(0.0)),
        Way("arc-lamp", "a blaze, then it sags and steadies", _arc_lamp_on, _always(*_ARC_OFF)),
        Way("dynamo", "swells as the engine runs up, hunts, steadies", _dynamo_on, _always(*_DYNAMO_OFF)),
        Way("led", "on and off with a hard edge", _at_once(1.0), _at_once(0.0)),
        Way(
            "soft-led",
            "up and down gently, as electronics do it",
            _always(Leg(600 * MS, 1.0, Ease.SMOOTH)),
            _always(Leg(900 * MS, 0.0, Ease.SMOOTH)),
        ),
    )
}
