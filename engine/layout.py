"""What stands on the layout, as frozen records: outputs, detectors, buttons, tracks, links, crossings.

Made by the layout file's reader, read by everybody. Knows no file format.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from engine.supply import Draw, Exhibition, Price, Supply


class Place(NamedTuple):
    """Where something was written. Lines and columns count from 1; the end column is not included."""

    file: str
    line: int
    column: int
    end_line: int
    end_column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


NOWHERE = Place("", 0, 0, 0, 0)


class Kind(Enum):
    """What an output is, in the trade's words."""

    LAMP = "lamp"
    SERVO = "servo"
    SIGNAL = "signal"
    RELAY = "relay"
    MOTOR = "motor"
    SOUND = "sound"
    PULSE = "pulse"
    COLOUR = "colour"  # of a lamp: an output of its own, called `NAME colour`, which the layout file does not list
    DAYLIGHT = "daylight"  # the one output of that name: how light it is outdoors


class Itself(Enum):
    """Work that an output's board does on its own, so that a scene cannot set its pace."""

    MOVES = "moves by itself"
    FLICKERS = "flickers by itself"
    FLASHES = "flashes as a pair"


class Wiring(NamedTuple):
    """Where an output, detector or button is connected: a port of a board, an address, or a pin of a link."""

    link: str | None = None
    board: str | None = None
    port: int | None = None
    address: int | None = None
    pin: int | None = None


class Blink(NamedTuple):
    """A flash: `slots` lamps share one period, this one has slot `slot` (from 0).

    One cycle takes ``cycle_us / cycles`` microseconds; the pair keeps a rate such as 70 a minute exact.
    A lamp that flashes alone has one of two slots: half the period on, half off.
    """

    cycle_us: int
    cycles: int
    slot: int
    slots: int


@dataclass(frozen=True, slots=True)
class Setting:
    """What an output shows when nothing happens: a value, or a flash (for a safe state such as flashing reds).

    Values: lamp, relay, sound and pulse 0..1; motor -1..1; servo degrees; signal the index of its aspect; colour the
    index of its colour, or mired (a million divided by kelvin) where the lamp has white light only; daylight lux.
    """

    value: float
    blink: Blink | None = None


class Position(NamedTuple):
    """A servo's named position, in degrees."""

    name: str
    degrees: float


class Aspect(NamedTuple):
    """What a signal shows under one name: settings of its parts, or a number that the far end understands."""

    name: str
    parts: tuple[tuple[str, float], ...] = ()
    number: int | None = None
    stops: bool = False  # a train that obeys signals waits at this aspect


@dataclass(frozen=True, slots=True)
class Output:
    """One thing that can be told what to do."""

    name: str
    kind: Kind
    rest: Setting
    place: Place = NOWHERE
    wiring: Wiring = Wiring()
    safe: Setting | None = None  # given for guarded outputs only
    steps: int = 1  # distinct levels above nothing that the far end can show; 1 = switched only
    positions: tuple[Position, ...] = ()  # as written: the first outermost one is 0 % of the travel
    limits: tuple[float, float] | None = None  # hard limits, degrees
    travel_us: int = 0  # a servo's own time from one outermost position to the other
    itself: Itself | None = None
    itself_us: int = 0  # how long its own move takes, or its own flash's period
    soft_start_us: int = 0  # a motor's time from standing to full
    longest_on_us: int | None = None
    feed: str | None = None  # the discharge unit that a pulse draws on
    pulse_us: int = 0  # how long the board's own pulse lasts
    aspects: tuple[Aspect, ...] = ()  # of a signal; of a colour: its colours, where the lamp has several
    comes_on: str = ""  # the way in which this lamp comes on and goes off, whoever tells it; see `engine.ways`
    arrives: str = ""  # how a servo that nobody paces comes to its end: "", "bouncing" or "settling"
    follows_lux: tuple[float, float] | None = None  # a sky lamp: dark at the first, full at the second
    floor: float = 0.0  # the least level at which this lamp gives light at all
    dithers: bool = False  # whether the far end may be told two levels in turn, to show one between them
    dead_band_deg: float = 1.0  # a servo does not answer to less; 10 us of pulse (from memory)
    lit_area_mm2: float | None = None  # what is seen lit, as the public sees it; None: not stated
    mired: tuple[float, float] | None = None  # of a colour: warmest and coolest white, the warmest first

    @property
    def guarded(self) -> bool:
        """Whether the output must never be left unsafe."""
        return self.safe is not None

    @property
    def dimmable(self) -> bool:
        return self.steps > 1

    @property
    def span(self) -> tuple[float, float]:
        """A servo's outermost named positions in degrees: (where 0 % is, where 100 % is).

        Nought is whichever of the two outermost positions stands first in the layout file.
        """
        degrees = [position.degrees for position in self.positions]
        low, high = min(degrees), max(degrees)
        return (low, high) if degrees.index(low) < degrees.index(high) else (high, low)

    @property
    def lowered_deg(self) -> float:
        """Where a barrier is lowered: at its position of that name, or else at the end that is further from rest."""
        named = (position.degrees for position in self.positions if position.name == "lowered")
        return next(named, max(self.span, key=lambda degrees: abs(degrees - self.rest.value)))

    def share(self, value: float, target: float) -> float:
        """The share of a servo's whole travel between two values; 1 where the layout names no two positions."""
        if value == target:
            return 0.0
        low, high = self.span if self.positions else (value, target)
        return abs(target - value) / abs(high - low) if high != low else 1.0


def colour_of(lamp: str) -> str:
    """The name of the output that is a lamp's colour; no scene can write such a name."""
    return f"{lamp} colour"


DAYLIGHT = "daylight"


OUT_OF_USE = "out of use"  # the state of a detector that an operator has put aside


class DetectorKind(Enum):
    """How a detector sees: a section by current, a beam by interruption, a treadle by a passing contact."""

    SECTION = "section"
    BEAM = "beam"
    TREADLE = "treadle"


class Detector(NamedTuple):
    """Something that reports trains. A change to clear counts only after it has lasted `settle_us`."""

    name: str
    kind: DetectorKind
    place: Place = NOWHERE
    wiring: Wiring = Wiring()
    settle_us: int = 0  # a change to clear must last this long
    settle_occupied_us: int = 0  # a change to occupied must last this long; 0 takes it at once, the safe way
    closed_circuit: bool = False


class Button(NamedTuple):
    """A push button, with the lamp that shows that it is ready, if it has one."""

    name: str
    place: Place = NOWHERE
    wiring: Wiring = Wiring()
    ready_lamp: str | None = None
    stops: bool = False  # pressed, it is an all stop; while it is down nothing goes on


class Stretch(NamedTuple):
    """A length of track that one detector sees, or that none sees (`detector` is None: a blind stretch)."""

    detector: str | None
    length_mm: int


class Hold(NamedTuple):
    """A signal that holds trains, and how far along the track it stands."""

    signal: str
    at_mm: int


class Timed(NamedTuple):
    """How long a train took from its nose at the beginning of one stretch to its nose at the beginning of another."""

    begin: str  # the detector of the first
    end: str
    us: int
    on: str = ""  # the date, as 2026-05-02; empty: not stated


class Track(NamedTuple):
    """Detectors in the order in which a train meets them."""

    name: str
    stretches: tuple[Stretch, ...]
    fastest_mm_s: int
    shortest_train_mm: int
    holds: tuple[Hold, ...] = ()
    place: Place = NOWHERE
    one_way: bool = False  # trains come along it from its beginning only
    timed: tuple[Timed, ...] = ()

    @property
    def length_mm(self) -> int:
        return sum(stretch.length_mm for stretch in self.stretches)


class Feed(NamedTuple):
    """A discharge unit shared by several pulse outputs; after one pulse it recharges before the next."""

    name: str
    recharge_us: int
    place: Place = NOWHERE


class Crossing(NamedTuple):
    """Who plays which part at a level crossing, so that practice is measured from roles and not from names."""

    name: str
    amber: tuple[str, ...] = ()
    reds: tuple[str, ...] = ()
    entrance_barriers: tuple[str, ...] = ()
    exit_barriers: tuple[str, ...] = ()
    boom_lamps: tuple[str, ...] = ()
    audible_warning: tuple[str, ...] = ()
    signals: tuple[str, ...] = ()
    detectors: tuple[str, ...] = ()
    on_the_road: tuple[str, ...] = ()  # the detectors whose stretch lies on the road itself
    place: Place = NOWHERE
    practice: tuple[str, ...] = ()  # the published practice that it is built to: names of tables, or files


class Board(NamedTuple):
    """A box with numbered ports on a link: accessory addresses, or pins that take levels and servo positions."""

    name: str
    link: str
    first_address: int  # of port 0; where `pins`, the number of its first pin
    ports: int
    place: Place = NOWHERE
    pins: bool = False


@dataclass(frozen=True, slots=True)
class Link:
    """A wire to hardware. What it carries is the adapters' business; here it has a name and its words."""

    name: str
    settings: tuple[tuple[str, str], ...] = ()
    place: Place = NOWHERE
    port: str = ""  # a device, or an address such as socket://localhost:2560; empty: not stated
    baud: int = 115_200
    dialect: str = "early"
    words: tuple[tuple[str, str], ...] = ()  # operations whose words differ from the dialect's: (operation, template)
    resets: bool = True  # whether opening the port may reset the station; False: Wayside leaves its control lines alone
    from_one: bool = True  # accessory numbers: user number 1 is board 1 port 0 (True), or board 0 port 0
    by_output: bool = True  # what on and off of an accessory drive: the output of the pair, or whether it is activated
    track_share: float = 0.5  # of the packets on the track that accessories get
    repeats: int = 2  # packets for each command
    preamble: int = 14  # bits
    commands_s: float | None = None  # stated outright, for a far end whose commands go to no track
    outstanding: int = 1  # commands that may be without an answer
    start_up_us: int = 2_000_000  # from when it answers until its boards can be told
    yields: bool = False  # whether a scene gives way to what somebody else does on the same station


class Clock(NamedTuple):
    """The layout clock: the time of day that it starts from (seconds after midnight) and its ratio to real time."""

    starts_s: int = 12 * 3600
    ratio: int = 1


class Whereabouts(NamedTuple):
    """The place and the date whose daylight the layout shows. North and east are positive."""

    latitude_deg: float = 54.0
    longitude_deg: float = -3.0
    year: int = 2026
    month: int = 3
    day: int = 21
    utc_min: int = 0  # the layout clock's time less universal time


class Keeping(NamedTuple):
    """How long the journal of shows is kept, and how large its file may grow."""

    days: int = 30
    most_bytes: int = 50_000_000


class Plan(NamedTuple):
    """Where things stand as seen from above, in mm of the model: from the left edge, and from the back edge."""

    size_mm: tuple[int, int] | None = None  # None: as large as what has a place on it
    places: dict[str, tuple[int, int]] = {}  # noqa: RUF012  of outputs, detectors and buttons that have one
    passes: dict[str, tuple[tuple[int, int], ...]] = {}  # noqa: RUF012  of tracks: from beginning to end


@dataclass(frozen=True, slots=True)
class Layout:
    """Everything that the layout file says. The mappings keep the file's order."""

    name: str = ""
    outputs: dict[str, Output] = field(default_factory=dict)
    detectors: dict[str, Detector] = field(default_factory=dict)
    buttons: dict[str, Button] = field(default_factory=dict)
    tracks: dict[str, Track] = field(default_factory=dict)
    links: dict[str, Link] = field(default_factory=dict)
    boards: dict[str, Board] = field(default_factory=dict)
    feeds: dict[str, Feed] = field(default_factory=dict)
    crossings: dict[str, Crossing] = field(default_factory=dict)
    clock: Clock = Clock()
    hall_zone: str = ""  # a name of the zone database, or hours from universal time; empty: this computer's
    daylight_lux: float = 10_000.0
    whereabouts: Whereabouts = Whereabouts()
    keeping: Keeping = Keeping()
    plan: Plan = Plan()
    viewing_mm: int | None = None  # from the nearest visitor's eye to the nearest lamp; None: not stated
    supplies: dict[str, Supply] = field(default_factory=dict)
    draws: dict[tuple[str, str], Draw] = field(default_factory=dict)  # by section and name, where anything is stated
    prices: dict[tuple[str, str], Price] = field(default_factory=dict)  # likewise
    exhibition: Exhibition | None = None

    def link_of(self, wiring: Wiring) -> Link | None:
        """The link that something is wired to, itself or through its board."""
        board = self.boards.get(wiring.board) if wiring.board else None
        return self.links.get(board.link if board else wiring.link or "")
