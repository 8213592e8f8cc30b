"""What a link will have to carry: the same pacer played over a trace, without hardware; where it is too much, and why.

Knows no wiring beyond which link an output is on, no words of a dialect, and no layout file.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from typing import NamedTuple

from adapters.demand import PIECES, SECOND_US, Asked, Demand
from adapters.load_advice import Advice as Advice  # what is known of a load comes through one door
from adapters.load_advice import advice as advice
from adapters.pacer import Pace, Pacer
from adapters.simulator import link_of
from engine.codes import code
from engine.layout import NOWHERE, Kind, Layout, Link, Output, Place, Setting
from engine.trace import Record, Told
from engine.waves import Flashing, State, Steady, Wave

COMMAND_BYTES = 11  # `<a 511 3 1>`
WORK = 2_000_000  # looks at single outputs in one simulation; it ends there and says so
BEGINS = "begins"  # why a trace has an output told in a rehearsal's first instant: it is so already
CAUSES = 5  # lines that are named for one second

Size = Callable[[str, int], int]


class Command(NamedTuple):
    """A command as it would leave. `late_us` is counted from when it should have left; see `Choice.since_us`."""

    at_us: int
    output: str
    code: int
    late_us: int = 0


class Cause(NamedTuple):
    """A line that wants commands in a second, for one output."""

    place: Place
    output: str
    kind: Kind
    state: State
    commands: int


class Over(NamedTuple):
    """A second in which more is wanted than the link can carry; the causes by how much they want."""

    second: int
    wanted: int
    carries: float
    causes: tuple[Cause, ...]
    others: int  # further lines and outputs that want something in it
    error: float  # the worst of it: how far an output was off, 0..1, and which
    error_of: str
    late_us: int


class Load(NamedTuple):
    """What a link would carry from 0 up to `until_us`, which is earlier than asked for where that was too much work."""

    link: Link
    pace: Pace
    stream: tuple[Command, ...]
    over: tuple[Over, ...]
    busiest: tuple[int, int]  # the second that wants most, and how many commands
    error: float  # the worst of all: how far off, which output, when
    error_of: str
    error_at_us: int
    late_us: int  # the latest command: how late, which output, when
    late_of: str
    late_at_us: int
    until_us: int
    whole: bool  # whether all of the time was looked at

    @property
    def carries(self) -> float:
        return carries(self.pace)


def carries(pace: Pace, size: int = COMMAND_BYTES) -> float:
    """Commands of so many bytes in a second."""
    return min(pace.commands_s, pace.bytes_s / size)


def outputs_on(layout: Layout, link: str) -> list[Output]:
    """The outputs that a link is told of, in the layout file's order.

    A signal that is told by its parts is not among them, nor is daylight. A lamp's colour is, as an output of its own.
    """
    return [
        output
        for output in layout.outputs.values()
        if output.kind is not Kind.DAYLIGHT and not _told_by_parts(output) and link_of(layout, output.wiring) == link
    ]


def _told_by_parts(output: Output) -> bool:
    return output.kind is Kind.SIGNAL and any(aspect.parts for aspect in output.aspects)


def at_rest(setting: Setting) -> Wave:
    """The wave of an output that nobody has told anything yet."""
    return Steady(setting.value) if setting.blink is None else Flashing(0, setting.blink)


# --- playing it ----------------------------------------------------------------------------------------------------


def simulate(
    layout: Layout,
    trace: Iterable[Record],
    until_us: int,
    link: Link,
    pace: Pace,
    begins_known: bool = True,
    size: Size = lambda _name, _code: COMMAND_BYTES,
    work: int = WORK,
    pieces: int = PIECES,
    off_track: Container[str] = (),
    from_us: int = 0,
) -> Load:
    """Play a trace over one link, from an instant, at which its far ends show what they should, to another.

    `begins_known`: the far ends show what the trace begins with, or the layout at rest, as they do once a link has been
    put right; False puts it right first. `off_track` are outputs whose commands take nothing of the track. `size`
    tells the bytes of a command from the output and its code. Answers are taken to come at once. It stops early after
    so much work.
    """
    given = _Given(layout, trace, until_us, link, from_us)
    played = _Played(
        [(one, given.begins[name].wave) for name, one in given.outputs.items()],
        pace,
        begins_known,
        size,
        work,
        off_track,
        from_us,
    )
    until_us = played.play(given.orders, until_us)
    demand = given.demand(until_us, pieces)
    until_us = until_us if demand.cut_us is None else min(until_us, demand.cut_us)
    over = tuple(_over(demand, played, pace, until_us, off_track))
    busiest = max(((demand.total(second), -second) for second in demand.seconds), default=(0, 0))
    return Load(
        link,
        pace,
        tuple(played.stream),
        over,
        (-busiest[1], busiest[0]),
        *played.error,
        *played.late,
        until_us,
        not played.cut and demand.cut_us is None,
    )


def full_seconds(
    layout: Layout, trace: Iterable[Record], until_us: int, link: Link, pace: Pace, off_track: Container[str] = ()
) -> list[int]:
    """The seconds in which more is wanted than the link carries: far less work than to play the trace."""
    demand = _Given(layout, trace, until_us, link).demand(until_us, PIECES)
    return [second for second in sorted(demand.seconds) if _too_much(demand, second, pace, off_track)]


class Busiest(NamedTuple):
    """The fullest second of what a trace asks of a link: commands wanted in it, and how many can be carried."""

    second: int
    wanted: int
    carries: float


def busiest(
    layout: Layout, trace: Iterable[Record], until_us: int, link: Link, pace: Pace, off_track: Container[str] = ()
) -> tuple[Busiest, Busiest, int]:
    """The fullest second of the track, that of the line to the station, and how many commands are wanted in all."""
    demand = _Given(layout, trace, until_us, link).demand(until_us, PIECES)
    whole = {second: sum(asks.values()) for second, asks in demand.seconds.items()}
    track = {
        second: sum(many for one, many in asks.items() if demand.askers[one].output.name not in off_track)
        for second, asks in demand.seconds.items()
    }
    return (
        _fullest(track, carries(pace)),
        _fullest(whole, pace.bytes_s / COMMAND_BYTES),
        sum(whole.values()),
    )


def _fullest(wanted: dict[int, int], most: float) -> Busiest:
    second = max(wanted, key=lambda second: (wanted[second], -second), default=0)
    return Busiest(second, wanted.get(second, 0), most)


class _Given:
    """What a trace asks of a link: its outputs, what each begins with, and what each is told after that."""

    def __init__(self, layout: Layout, trace: Iterable[Record], until_us: int, link: Link, from_us: int = 0) -> None:
        self.from_us = from_us
        self.outputs = mine = {output.name: output for output in outputs_on(layout, link.name)}
        orders = [one for one in trace if type(one) is Told and one.output in mine and one.at_us < until_us]
        self.begins = {
            name: Told(from_us, name, at_rest(one.rest), "", one.place, "rest") for name, one in mine.items()
        }
        earlier = [order for order in orders if order.why == BEGINS or order.at_us < from_us]
        self.begins.update((order.output, order._replace(at_us=from_us)) for order in earlier)
        self.orders = [order for order in orders if order.why != BEGINS and order.at_us >= from_us]

    def demand(self, until_us: int, pieces: int) -> Demand:
        demand = Demand(pieces)
        own = {name: [first] for name, first in self.begins.items()}
        for order in self.orders:
            own[order.output].append(order)
        for name, output in self.outputs.items():
            demand.add(output, own[name], code(output, self.begins[name].wave.value_at(self.from_us)), until_us)
        return demand


class _Played:
    """The pacer at work on a trace, and the worst of what came of it, as a whole and second by second."""

    def __init__(
        self,
        begins: Sequence[tuple[Output, Wave]],
        pace: Pace,
        begins_known: bool,
        size: Size,
        work: int,
        off_track: Container[str],
        from_us: int,
    ) -> None:
        outputs = [output for output, _ in begins]
        self.pacer, self.size, self.work, self.cut = Pacer(outputs, pace, off_track), size, work, False
        self.stream: list[Command] = []
        self.error, self.late = (0.0, "", 0), (0, "", 0)
        self.seconds: dict[int, tuple[float, str, int]] = {}
        for output, wave in begins:
            if begins_known:
                self.pacer.known(output.name, code(output, wave.value_at(from_us)))
            self.pacer.want(output.name, wave, from_us)
        self.from_us = from_us

    def play(self, orders: Sequence[Told], until_us: int) -> int:
        """Where it ended."""
        pacer, now_us, number = self.pacer, self.from_us, 0
        while True:
            due_us = pacer.next_due(now_us)
            told = orders[number] if number < len(orders) else None
            if told is not None and (due_us is None or told.at_us <= due_us):
                now_us = told.at_us
                pacer.want(told.output, told.wave, now_us)
                number += 1
                continue
            if due_us is None or due_us >= until_us:
                return until_us
            now_us = due_us
            self._slot(now_us)
            if self.work < 0:
                self.cut = True
                return now_us

    def _slot(self, now_us: int) -> None:
        pacer = self.pacer
        self.work -= 1 + pacer.backlog()
        choice = pacer.choose(now_us)
        if choice is None:
            return
        pacer.sent(choice.name, choice.code, now_us, self.size(choice.name, choice.code))
        pacer.answered()
        late_us = max(0, now_us - choice.since_us)
        self.stream.append(Command(now_us, choice.name, choice.code, late_us))
        far = pacer.furthest
        if far.error > self.error[0]:
            self.error = (far.error, far.name, now_us)
        late_us = late_us if choice.exact else 0
        if late_us > self.late[0]:
            self.late = (late_us, choice.name, now_us)
        second = now_us // SECOND_US
        error, name, latest_us = self.seconds.get(second, (0.0, "", 0))
        if far.error > error:
            error, name = far.error, far.name
        self.seconds[second] = (error, name, max(late_us, latest_us))


def _over(demand: Demand, played: _Played, pace: Pace, until_us: int, off_track: Container[str]) -> Iterator[Over]:
    """The seconds in which the track, or else the line itself, is asked for more than it carries."""
    for second in sorted(demand.seconds):
        found = None if second * SECOND_US >= until_us else _too_much(demand, second, pace, off_track)
        if found is None:
            continue
        counted, most = found
        wanted = sum(counted.values())
        asked = sorted(counted.items(), key=lambda item: (-item[1], item[0]))
        causes = tuple(_cause(demand.askers[number], commands) for number, commands in asked[:CAUSES])
        error, name, late_us = played.seconds.get(second, (0.0, "", 0))
        yield Over(second, wanted, most, causes, len(asked) - len(causes), error, name, late_us)


def _too_much(
    demand: Demand, second: int, pace: Pace, off_track: Container[str]
) -> tuple[dict[int, int], float] | None:
    """Who asks for how much in a second, and what can be carried of it; None where that is enough."""
    asks = demand.seconds[second]
    on_track = {one: many for one, many in asks.items() if demand.askers[one].output.name not in off_track}
    for counted, most in ((on_track, carries(pace)), (asks, pace.bytes_s / COMMAND_BYTES)):
        if sum(counted.values()) > most:
            return counted, most
    return None


def _cause(asked: Asked, commands: int) -> Cause:
    told, output = asked
    place = told.place if told.place != NOWHERE else output.place
    return Cause(place, output.name, output.kind, told.wave.state, commands)
