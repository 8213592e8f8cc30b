"""What can be drawn so that people can choose: manners, ways, profiles, arrivals, characters and daylight, by name.

Owns the names, one plain line about each, and sensible lengths. Knows no ink and no terminal.
What a lamp does is asked of the engine as the kernel asks it, so that a drawing shows what a rehearsal plays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import log10
from typing import NamedTuple

from engine import curves, daylight
from engine.chance import Chance
from engine.characters import Character, read
from engine.curves import Curve
from engine.flicker import Manner
from engine.landings import FREE_UNDER_US
from engine.layout import Kind, Layout, Output, Setting
from engine.manners import ABOUT, MANNERS
from engine.program import Come, Flickers, Order, Shows
from engine.stage import wave_for
from engine.waves import Steady, Wave
from engine.ways import WAYS
from wayside.pictures.drawing_samples import Then
from wayside.wording import duration

MS, S, MINUTE = 1_000, 1_000_000, 60_000_000
LEAST_US = 10 * MS  # the shortest time that is drawn
MOST_LAMPS = 8  # neighbours in one drawing
MOST_HUES = 400  # stretches of light whose colour is told

LAMP = "lamp"  # whose flicker is drawn where no name is given


class Group(NamedTuple):
    """`one` is what a member is called; `use` is a line of a scene that uses one."""

    one: str
    about: str
    use: str


GROUPS = {
    "manners": Group("manner", "how a lamp flickers", "flicker forge like embers"),
    "ways": Group("way", "how a lamp comes on and goes off", "turn on quay-lamps like gas-mantle"),
    "profiles": Group("profile", "how a fade or a move spends its time", "move gate to raised over 2 s like swaying"),
    "arrivals": Group("arrival", "how a move comes to its end", "move arm to danger over 800 ms, bouncing twice"),
    "characters": Group("character", "how a harbour light shows", 'show harbour-light as "Fl(2) W 10s"'),
    "daylight": Group("course", "what daylight can fade through", "fade daylight through dusk over 4 min"),
}
EVERYTHING = "everything"

_MANNER_US = 20 * S
_MANNERS_US = {  # those in which something happens less often
    "embers": 60 * S,
    "forge-with-bellows": 60 * S,
    "arc-and-pause": 40 * S,
    "glow-behind-a-curtain": 40 * S,
    "bad-letter": 60 * S,
    "storm": 60 * S,
    "mantle-in-a-draught": 40 * S,
    "tube-that-struggles": 40 * S,
}
_CHARACTER_US = 10 * S
_PHASES = 30  # the shortest flash or eclipse would fit in so often
_PROFILE_US = 4 * S
_COURSE_US = 4 * MINUTE
_LONGEST_FREE_US = 600 * MS  # of a move that is drawn as a free one, unless a length is given

ABOUT_PROFILES = {
    "even": "at one speed from beginning to end",
    "smooth": "starts and ends gently, as a hand does it",
    "swaying": "half a swing of a pendulum: a little less gently than smooth",
    "ramped": "speeds up for a quarter of the time, runs evenly, slows down for a quarter",
}
ABOUT_ARRIVALS = {  # short, and paced
    "bouncing": ("falls freely and bounces off its stop", "is let down and bounces a little"),
    "settling": ("swings past its end and wobbles to rest", "is let down and wobbles a little"),
}
ABOUT_CHARACTERS = {  # read left to right as on a chart
    "F W": "fixed: always lit",
    "Oc W 6s": "occulting: longer lit than dark",
    "Oc(2) W 13s": "occulting, two eclipses in each period",
    "Iso W 4s": "isophase: as long lit as dark",
    "Fl W 5s": "flashing: longer dark than lit",
    "Fl(2) W 10s": "two flashes, then a longer eclipse",
    "Fl(2+1) W 15s": "two flashes and one",
    "LFl W 10s": "a long flash, of 2 s",
    "Q W": "quick: once a second",
    "VQ(3) W 5s": "very quick: three flashes at twice that rate",
    "Q(6)+LFl W 15s": "six quick flashes and a long one",
    "IQ W 15s": "quick, interrupted by a long eclipse",
    "Mo(A) W 8s": "the Morse sign for A: short, long",
    "Al WR 10s": "changes between white and red, never dark",
}
ABOUT_COURSES = {
    "dusk": "from daylight to the end of civil twilight: the lamps are lit",
    "nightfall": "from daylight to the dark of the night",
    "dawn": "from the beginning of civil twilight to daylight",
    "daybreak": "from the dark of the night to daylight",
}


# --- records -------------------------------------------------------------------------------------------------------


class Axis(NamedTuple):
    """What the height means: `low` and `high` are its ends, `ticks` the values that are written beside it."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    rows: int = 8  # of text: so many that ticks lie between two of them
    by_ratio: bool = False  # equal ratios are equal steps
    lit: bool = True  # whether the height tells how bright something looks

    def share(self, value: float) -> float:
        """How far up, 0..1."""
        if self.by_ratio:
            low, value, high = (log10(max(one, self.low)) for one in (self.low, value, self.high))
            return min(1.0, (value - low) / (high - low))
        return min(1.0, max(0.0, (value - self.low) / (self.high - self.low)))


LEVEL = Axis(0.0, 1.0, ((0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")))
TRAVEL = LEVEL._replace(lit=False)
A_LITTLE_BEYOND = TRAVEL._replace(high=8 / 7)
BEYOND = TRAVEL._replace(high=1.4, rows=7)
LUX = Axis(0.001, 100_000.0, ((0.001, "0.001 lx"), (1.0, "1 lx"), (1_000.0, "1000 lx")), by_ratio=True)


class Line(NamedTuple):
    """One lamp's course; `label` says whose where there are several."""

    label: str
    wave: Wave


class Mark(NamedTuple):
    at_us: int
    text: str


class Hue(NamedTuple):
    """A stretch of light of one colour, in the chart's letters."""

    from_us: int
    to_us: int
    letters: str


class Drawing(NamedTuple):
    """One thing to draw, from `from_us` to `to_us`; 0 is the instant at which it is told."""

    group: str
    name: str
    about: str
    from_us: int
    to_us: int
    lines: tuple[Line, ...]
    axis: Axis = LEVEL
    marks: tuple[Mark, ...] = ()
    hues: tuple[Hue, ...] = ()


# --- drawings ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person asked for besides the name. `own`: manners that scene files define."""

    for_us: int | None = None
    seed: int = 0
    lamps: tuple[str, ...] = ()
    layout: Layout = field(default_factory=Layout)
    own: Mapping[str, Manner] = field(default_factory=dict)

    def told(self, order: Order, at_us: int = 0, before: Sequence[Wave] = ()) -> tuple[Line, ...]:
        """What each lamp does that gets an order, in the state in which it is before."""
        chance = Chance(self.seed)
        names = self.lamps or (LAMP,)
        found = []
        for number, name in enumerate(names):
            now = before[number] if before else Steady(0.0)
            wave = wave_for(order, Output(name, Kind.LAMP, Setting(0.0), steps=4095), at_us, now, chance)
            found.append(Line(name if self.lamps else "", Then(now, at_us, wave)))
        return tuple(found)


def manner(name: str, asked: Asked) -> list[Drawing]:
    found = asked.own.get(name) or MANNERS[name]
    mine = f"a manner that {asked.layout.name or 'the scenes'} defines"
    about = mine if name in asked.own else ABOUT[name]
    to_us = asked.for_us or _MANNERS_US.get(name, _MANNER_US)
    return [Drawing("manners", name, about, 0, to_us, asked.told(Flickers(found, 0.0, 1.0, 0)))]


def way(name: str, asked: Asked) -> list[Drawing]:
    """On at 0; off when every lamp has been fully on for a while, or later, so that going off ends with the drawing."""
    on = asked.told(Come(1.0, name))
    lit_us = max(line.wave.ends_us or 0 for line in on)
    waves = [line.wave for line in on]
    off_us = max((line.wave.ends_us or 0) - lit_us for line in asked.told(Come(0.0, name), lit_us, waves))
    stays_us = max(300 * MS, (lit_us + off_us) // 4)
    whole_us = lit_us + stays_us + off_us + max(100 * MS, (lit_us + off_us) // 10)
    whole_us = -(-whole_us // (100 * MS)) * (100 * MS)
    to_us = asked.for_us or whole_us
    out_us = lit_us + stays_us + max(0, to_us - whole_us)
    lines = asked.told(Come(0.0, name), out_us, waves)
    marks = tuple(mark for mark in (Mark(0, "on"), Mark(out_us, "off")) if mark.at_us < to_us)
    return [Drawing("ways", name, WAYS[name].about, -(to_us // 40), to_us, lines, marks=marks)]


def profile(name: str, asked: Asked) -> list[Drawing]:
    to_us = asked.for_us or _PROFILE_US
    wave = Curve(0, to_us, 0.0, 1.0, curves.PROFILES[name])
    return [Drawing("profiles", name, ABOUT_PROFILES[name], 0, to_us, (Line("", wave),), LEVEL)]


def arrival(name: str, asked: Asked, times: int | None = None) -> list[Drawing]:
    """A short move and a paced one, which come to their end in different ways; of a length given, only that one."""
    found = []
    for takes_us in (asked.for_us,) if asked.for_us else (_LONGEST_FREE_US, _PROFILE_US):
        shape: curves.Profile
        if name == "bouncing":
            shape = curves.bouncing(takes_us) if times is None else curves.bouncing(takes_us, times)
        else:
            shape = curves.settling(takes_us)
        about = ABOUT_ARRIVALS[name][takes_us >= FREE_UNDER_US]
        line = Line("", Curve(0, takes_us, 0.0, 1.0, shape))
        called = f"{name} {_TIMES.get(times, f'{times} times')}" if times else name
        found.append(Drawing("arrivals", called, about, 0, takes_us, (line,), _axis_for(shape)))
    return found


def _axis_for(shape: curves.Profile) -> Axis:
    """With room above the end, where the move goes past it."""
    most = max(shape.at(x) for x in (*shape.turns, 1.0))
    return next(axis for axis in (TRAVEL, A_LITTLE_BEYOND, BEYOND) if most <= axis.high or axis is BEYOND)


def character(text: str, asked: Asked) -> list[Drawing]:
    """Whole periods, as many as show each flash. Raises engine.characters.NotRead."""
    found = read(text)
    shortest_us = min(phase.us for phase in found.phases)
    enough_us = max(_CHARACTER_US, min(_PHASES * shortest_us, 3 * found.period_us))
    to_us = asked.for_us or found.period_us * -(-enough_us // found.period_us)
    line = asked.told(Shows(found.script(), found.text))[0]._replace(label="")
    about = ABOUT_CHARACTERS.get(found.text, f"over and over, every {duration(found.period_us)}")
    return [Drawing("characters", found.text, about, 0, to_us, (line,), hues=_hues(found, to_us))]


def _hues(found: Character, to_us: int) -> tuple[Hue, ...]:
    hues: list[Hue] = []
    at_us = 0
    while found.colours != ("W",) and at_us < to_us and len(hues) < MOST_HUES:
        for phase in found.phases:
            if phase.colour and at_us < to_us:
                hues.append(Hue(at_us, min(at_us + phase.us, to_us), phase.colour))
            at_us += phase.us
    return tuple(hues)


def course(name: str, asked: Asked) -> list[Drawing]:
    """Raises engine.daylight.NoSuchSun. Rising courses begin in the dark that the falling ones end in."""
    to_us, day_lux = asked.for_us or _COURSE_US, asked.layout.daylight_lux
    where = asked.layout.whereabouts
    now_lux = daylight.lux(daylight.EVENTS[name].altitude_deg) if daylight.EVENTS[name].rising else day_lux
    wave = daylight.through(where, name, 0, to_us, now_lux, day_lux)
    return [Drawing("daylight", name, ABOUT_COURSES[name], 0, to_us, (Line("", wave),), LUX)]


Draws = Callable[[str, Asked], list[Drawing]]
_TIMES = {1: "once", 2: "twice"}
BY_CHANCE = ("manners", "ways")  # what differs from lamp to lamp, and from seed to seed
DRAWS: dict[str, Draws] = {
    "manners": manner,
    "ways": way,
    "profiles": profile,
    "arrivals": arrival,
    "characters": character,
    "daylight": course,
}


def members(asked: Asked) -> dict[str, dict[str, str]]:
    """Everything that has a name, by group, with the line about it; of characters, examples."""
    mine = f"a manner that {asked.layout.name or 'the scenes'} defines"
    arrivals = {name: f"{free}; from 1 s on it {paced}" for name, (free, paced) in ABOUT_ARRIVALS.items()}
    return {
        "manners": {**{name: ABOUT[name] for name in MANNERS}, **dict.fromkeys(asked.own, mine)},
        "ways": {name: found.about for name, found in WAYS.items()},
        "profiles": {name: ABOUT_PROFILES[name] for name in curves.PROFILES},
        "arrivals": arrivals,
        "characters": ABOUT_CHARACTERS,
        "daylight": {name: ABOUT_COURSES[name] for name in daylight.COURSES},
    }
