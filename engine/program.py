"""What scene files compile to: frozen records, fully bound. No names are left to look up, no variables to fill in.

Routines are written out where they are used, groups are lists of outputs, and a `for each` carries one block for
each member, so the engine never meets a parameter. Times are integer microseconds.

Most records are named tuples: there are some forty, and a data class costs ten times as much to import. Orders of one
number are data classes, since two of them that hold the same number must not be equal.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from engine.conditions import Condition
from engine.layout import NOWHERE, Blink, Layout, Place
from engine.waves import Steady

if TYPE_CHECKING:
    from engine.courses import Script
    from engine.curves import Profile
    from engine.flicker import Manner

# --- orders: what one output is told -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Level:
    """Go to a value and stay there: at once, but for a motor with a soft start and a lamp that has a way of its own."""

    value: float
    steady: Steady = field(init=False, repr=False, compare=False)  # made once: by far the most frequent wave

    def __post_init__(self) -> None:
        object.__setattr__(self, "steady", Steady(self.value))


@dataclass(frozen=True, slots=True)
class Flash:
    """Flash until told otherwise; the phase counts from the line that started it."""

    blink: Blink
    high: float = 1.0


@dataclass(frozen=True, slots=True)
class Swing:
    """Move to a value in the servo's own time: an arm of a signal, or a servo on its way to its safe state."""

    value: float


class Come(NamedTuple):
    """Come on, or go off, in the way of some lamp: one of `engine.ways` by name, or a script of the writer's own."""

    value: float
    way: str
    script: Script | None = None


class Flickers(NamedTuple):
    """Flicker between two levels; the bounds go there in `over_us` from what is shown now."""

    manner: Manner
    low: float
    high: float
    over_us: int


class Shows(NamedTuple):
    """Show a light's character, over and over; the phase counts from the line that started it."""

    script: Script
    text: str  # the character as it is written on a chart
    high: float = 1.0  # the value of level 1: full light, or the last colour of a lamp's


Order = Level | Flash | Swing | Come | Flickers | Shows


# --- statements ----------------------------------------------------------------------------------------------------


class Tell(NamedTuple):
    """Orders that take no time. With `for_us` they take that long; then each output does again what it did before."""

    place: Place
    orders: tuple[tuple[str, Order], ...]
    for_us: int | None = None


class Fade(NamedTuple):
    """All outputs go to their values, each from what it shows now, in the whole of `over_us`.

    Evenly, or with a profile, or in the way of a lamp that comes on, squeezed into that time.
    """

    place: Place
    targets: tuple[tuple[str, float], ...]
    over_us: int
    profile: Profile | None = None
    like: Come | None = None
    never_under_us: int | None = None  # as a wait's
    written_us: int | None = None


class Through(NamedTuple):
    """Daylight goes through one of the courses of `engine.daylight`, and the lamps that follow it go with it."""

    place: Place
    course: str
    over_us: int
    followers: tuple[str, ...]


class Move(NamedTuple):
    """Servos go to their positions. `over_us` is for the whole travel: each takes its share of it.

    None is for a servo whose board moves by itself: it takes its own stated time.
    """

    place: Place
    targets: tuple[tuple[str, float], ...]
    over_us: int | None
    profile: Profile | None = None  # None: least jerk
    arrives: str = ""  # "bouncing" or "settling"
    bounces: int | None = None  # None: as many as is usual
    never_under_us: int | None = None  # as a wait's, and like `over_us` for the whole travel
    written_us: int | None = None


class Pulse(NamedTuple):
    """Each output is on for `for_us`; outputs that share a feed wait for its recharge, in the order written."""

    place: Place
    outputs: tuple[str, ...]
    for_us: int


class Wait(NamedTuple):
    """`low_us` to `high_us`; drawn if they differ. `draw` names the line for the random draw (see `engine.chance`).

    `never_under_us` is what the line says of being squeezed, `written_us` the time in the file where a `fit into` has
    squeezed it; the engine asks for neither.
    """

    place: Place
    low_us: int
    high_us: int
    draw: int = 0
    never_under_us: int | None = None
    written_us: int | None = None  # of a drawn time the longer one


class WaitUntil(NamedTuple):
    place: Place
    condition: Condition
    at_most_us: int | None = None
    otherwise: Block = ()


class Together(NamedTuple):
    """The branches run side by side; ends when all have ended."""

    place: Place
    branches: tuple[Block, ...]


class FirstOf(NamedTuple):
    """The branches run side by side; the first that ends drops the others. Of two, the first written wins."""

    place: Place
    branches: tuple[Block, ...]


class InOrder(NamedTuple):
    """A block as one statement. `called` names the routine that was written out here, if it was one."""

    place: Place
    block: Block
    called: str = ""


class Repeat(NamedTuple):
    """For ever, `times` times, or until `until` holds, which is looked at before each round."""

    place: Place
    block: Block
    times: int | None = None
    until: Condition | None = None


class StopRepeating(NamedTuple):
    place: Place


class AsLongAs(NamedTuple):
    """The block is dropped the instant the condition stops holding; then `otherwise` runs."""

    place: Place
    condition: Condition
    block: Block
    otherwise: Block = ()


class If(NamedTuple):
    place: Place
    condition: Condition
    block: Block
    otherwise: Block = ()


class ByChance(NamedTuple):
    """One of the blocks, drawn by the shares (percent, adding up to at most 100); none for what is left over."""

    place: Place
    shares: tuple[tuple[Fraction, Block], ...]
    draw: int = 0


class Member(NamedTuple):
    """One member of a `for each`: its name, its block, and its own draws for order and spacing."""

    name: str
    block: Block
    draw: int = 0


class ForEach(NamedTuple):
    """One block a member. `apart` is start to start (low, high); None runs one after another, (0, 0) side by side."""

    place: Place
    members: tuple[Member, ...]
    apart_us: tuple[int, int] | None = None
    random_order: bool = False


class SetFlag(NamedTuple):
    place: Place
    flag: str
    value: bool


class Count(NamedTuple):
    """Add `by` to a counter; None sets it back to nought."""

    place: Place
    counter: str
    by: int | None


class RunScene(NamedTuple):
    """Start a scene; `waits` until it has ended or been stopped."""

    place: Place
    scene: str
    waits: bool


class StopScene(NamedTuple):
    place: Place
    scene: str


class StopOthers(NamedTuple):
    """Stop every other scene, but for those that drive guarded outputs."""

    place: Place


class Hold(NamedTuple):
    """Moves and fades stop where they are; what flashes goes on flashing."""

    place: Place
    outputs: tuple[str, ...]


class Release(NamedTuple):
    """Go to rest."""

    place: Place
    outputs: tuple[str, ...]


class Note(NamedTuple):
    place: Place
    text: str


Statement = (
    Tell
    | Fade
    | Through
    | Move
    | Pulse
    | Wait
    | WaitUntil
    | Together
    | FirstOf
    | InOrder
    | Repeat
    | StopRepeating
    | AsLongAs
    | If
    | ByChance
    | ForEach
    | SetFlag
    | Count
    | RunScene
    | StopScene
    | StopOthers
    | Hold
    | Release
    | Note
)
Block = tuple[Statement, ...]


# --- scenes --------------------------------------------------------------------------------------------------------


class Again(Enum):
    """What happens when a scene that is running is started again."""

    CARRY_ON = "carry on"
    START_OVER = "start over"
    ONCE_MORE_AFTER = "once more after"


class Whenever(NamedTuple):
    """`runs whenever C`: level, not edge. Begins while C holds; C failing does not end it."""

    place: Place
    condition: Condition


class OnlyWhile(NamedTuple):
    """`runs only while C`: as whenever, and stopped when C fails."""

    place: Place
    condition: Condition


class EachTime(NamedTuple):
    """`starts each time C`: the change to C."""

    place: Place
    condition: Condition


class AtTime(NamedTuple):
    """`starts at 17:45 layout time` or hall time; seconds after midnight."""

    place: Place
    second_of_day: int
    layout_time: bool


class Every(NamedTuple):
    """`starts every 20 min`, first after one such time."""

    place: Place
    every_us: int


class OnButton(NamedTuple):
    """`starts on button B, not again for 2 min`."""

    place: Place
    button: str
    not_again_us: int = 0


Head = Whenever | OnlyWhile | EachTime | AtTime | Every | OnButton


class Takes(NamedTuple):
    """Outputs that a scene takes from another while both run."""

    place: Place
    outputs: tuple[str, ...]
    scene: str


@dataclass(frozen=True, slots=True)
class Scene:
    name: str
    place: Place
    block: Block
    heads: tuple[Head, ...] = ()
    again: Again = Again.CARRY_ON
    takes: tuple[Takes, ...] = ()
    when_stopped: Block | None = None
    writes: tuple[str, ...] = ()  # every output that it can write, signals' parts included
    reads: tuple[str, ...] = ()  # every detector that its heads and lines read
    accepts_flashing: str = ""  # why light that flashes more often than is harmless for everybody is accepted here
    fits_us: int | None = None  # what `fit into` asks for: from its start to the last barrier being down
    lingers: bool = False  # when its last line has run it keeps what it holds, until it is stopped
    asked: tuple[Condition, ...] = field(init=False, repr=False, compare=False)  # found once: every kernel wants it

    def __post_init__(self) -> None:
        object.__setattr__(self, "asked", tuple(_asked(self)))


# --- rules: parsed and name-checked now, judged later --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One line of a rule. `form` is the sentence's shape; `conditions` in the order written."""

    place: Place
    form: str
    conditions: tuple[Condition, ...]
    times_us: tuple[int, ...] = ()
    count: int = 0


class Rule(NamedTuple):
    """`if_broken` names the scene that its lines below `if broken` make; empty if it has none."""

    name: str
    place: Place
    lines: tuple[RuleLine, ...]
    if_broken: str = ""


def if_broken(rule: str) -> str:
    """The name of the scene that a rule's `if broken` makes. It has a blank in it, so that nobody can write it."""
    return f"rule {rule}"


# --- rehearsals ----------------------------------------------------------------------------------------------------


class Begin(NamedTuple):
    """`begins with lane occupied`, `begins with near-barrier lowered`: a state from before the first instant."""

    place: Place
    subject: str
    detector_state: str | None = None  # "clear", "occupied", "unknown"
    value: float = 0.0  # for an output


class Visit(NamedTuple):
    """A halt of a train: its front stops at the far end of a stretch, stands, then goes on or back."""

    detector: str
    stands_us: int
    reverses: bool


class TrainRun(NamedTuple):
    """A train along a track. Its front enters the track's first stretch at `from_us`."""

    place: Place
    track: str
    length_mm: int
    speed_um_s: int  # micrometres a second: keeps a speed such as 147.5 mm/s whole
    from_us: int
    backwards: bool = False  # along the track from its far end
    ignores_signals: bool = False
    locomotive_only: bool = False  # only its first vehicle is seen by section detectors
    visits: tuple[Visit, ...] = ()


class Deed(Enum):
    """What a hand, or fate, does in a rehearsal."""

    PRESS = "press"
    LET_GO = "let go"
    START = "start"
    STOP = "stop"
    LOSE_LINK = "lose link"
    MEND_LINK = "mend link"
    STAYS = "stays"  # a detector sticks in a state for a time, whatever trains do
    BECOMES = "becomes"  # a detector is worked by hand, until trains change it
    PUT_ASIDE = "put out of use"  # a detector, by the operator
    PUT_BACK = "put back in use"
    ALL_STOP = "all stop"
    GO_ON = "go on"


class Act(NamedTuple):
    place: Place
    at_us: int
    deed: Deed
    subject: str
    state: str = ""
    for_us: int | None = None


class Timing(Enum):
    """When an expectation is looked at. From A to B is throughout, the end not included."""

    THROUGHOUT = "throughout"
    FROM_TO = "from to"
    AT = "at"
    BY = "by"  # at some instant not later
    BEFORE = "before"  # at some instant earlier
    BEFORE_CONDITION = "before condition"  # first true earlier than the other is first true


class Expectation(NamedTuple):
    """`at_least`: how many times the condition must become true within the stated time (0: not counted)."""

    place: Place
    condition: Condition
    timing: Timing
    from_us: int = 0
    to_us: int | None = None
    at_least: int = 0
    at_most: int | None = None
    other: Condition | None = None


class Rehearsal(NamedTuple):
    name: str
    place: Place
    begins: tuple[Begin, ...] = ()
    begins_at_s: int | None = None  # layout time of day, seconds after midnight
    plays: tuple[tuple[Place, str, int], ...] = ()  # scene and when it is started by name
    trains: tuple[TrainRun, ...] = ()
    acts: tuple[Act, ...] = ()
    expectations: tuple[Expectation, ...] = ()
    seed: int | None = None
    lasts_us: int | None = None


# --- show days -----------------------------------------------------------------------------------------------------


class DayAt(NamedTuple):
    """`at 10:30 hall time run S`, `at 17:45 layout time run S`, `at dusk run S`; seconds after midnight."""

    place: Place
    words: str  # when, as it is written: what is said of it
    scene: str
    second_of_day: int
    layout_time: bool


class DayEvery(NamedTuple):
    """`every 25 min between 11:00 and 16:00 run S`, by hall time, both ends included; without `between` all day."""

    place: Place
    words: str
    scene: str
    every_s: int
    between_s: tuple[int, int] | None = None


class DayAfter(NamedTuple):
    """`after A run S`: each time that A has run to its end."""

    place: Place
    words: str
    scene: str
    after: str


DayEntry = DayAt | DayEvery | DayAfter


class Quiet(NamedTuple):
    """`quiet from 12:30 to 13:15`: from then on, and before then, nothing begins by a clock. Hall time."""

    place: Place
    from_s: int
    to_s: int


@dataclass(frozen=True, slots=True)
class Day:
    """A show day. Times of day are seconds after midnight, by the hall's clock; those before `opens_s` are of the next
    date. Without `closes_s` it goes on until it would open again. `closing` is the scene that `at closing` makes."""

    name: str
    place: Place
    opens_s: int
    closes_s: int | None = None
    quiet: tuple[Quiet, ...] = ()
    entries: tuple[DayEntry, ...] = ()
    closing: str = ""
    opens_place: Place = NOWHERE
    closes_place: Place = NOWHERE


def closing_of(day: str) -> str:
    """The name of the scene that a day's `at closing` makes. It has a blank in it, so that nobody can write it."""
    return f"closing of {day}"


class Variable(NamedTuple):
    """A flag or counter; `kept` over a restart of the show."""

    name: str
    place: Place = NOWHERE
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Program:
    """Everything that the scene files say, bound to a layout."""

    layout: Layout = field(default_factory=Layout)
    scenes: dict[str, Scene] = field(default_factory=dict)
    rules: dict[str, Rule] = field(default_factory=dict)
    rehearsals: dict[str, Rehearsal] = field(default_factory=dict)
    flags: dict[str, Variable] = field(default_factory=dict)
    counters: dict[str, Variable] = field(default_factory=dict)
    manners: dict[str, Manner] = field(default_factory=dict)  # of the writer's own; the lines carry theirs themselves
    days: dict[str, Day] = field(default_factory=dict)

    @property
    def named_scenes(self) -> dict[str, Scene]:
        """The scenes that people can name: all but what rules do if they are broken, and days at closing."""
        return {name: scene for name, scene in self.scenes.items() if " " not in name}


# --- looking through a program -------------------------------------------------------------------------------------


def blocks_of(line: Statement) -> tuple[Block, ...]:
    """The blocks that stand in a line, in the order written."""
    match line:
        case Together(_, branches) | FirstOf(_, branches):
            return branches
        case InOrder(_, block) | Repeat(_, block):
            return (block,)
        case AsLongAs(_, _, block, otherwise) | If(_, _, block, otherwise):
            return (block, otherwise)
        case WaitUntil(_, _, _, otherwise):
            return (otherwise,)
        case ByChance(_, shares):
            return tuple(block for _, block in shares)
        case ForEach(_, members):
            return tuple(member.block for member in members)
    return ()


def lines_of(block: Block) -> Iterator[Statement]:
    """Every line of a block and of the blocks in it, in the order written."""
    todo = list(reversed(block))
    while todo:
        line = todo.pop()
        yield line
        for inner in reversed(blocks_of(line)):
            todo.extend(reversed(inner))


def conditions(program: Program) -> Iterator[Condition]:
    """Every condition that the scenes' heads and lines ask."""
    for scene in program.scenes.values():
        yield from scene.asked


def _asked(scene: Scene) -> Iterator[Condition]:
    for head in scene.heads:
        if isinstance(head, Whenever | OnlyWhile | EachTime):
            yield head.condition
    for line in (*lines_of(scene.block), *lines_of(scene.when_stopped or ())):
        match line:
            case WaitUntil(_, condition) | AsLongAs(_, condition) | If(_, condition):
                yield condition
            case Repeat(until=Condition() as condition):
                yield condition
