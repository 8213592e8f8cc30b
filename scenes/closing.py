"""How long a scene takes until its last barrier is down. Knows no message.

A closing is reckoned as it is meant to go: it begins with every output at rest, an `as long as` holds, and of several
ways through an `if` or a `by chance` the longest counts. A time that is drawn counts with its longer end. A wait for
something that nobody can date counts as no time, and is named as such.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from engine.layout import Layout, Output
from engine.program import (
    AsLongAs,
    Block,
    ByChance,
    Fade,
    FirstOf,
    ForEach,
    If,
    InOrder,
    Level,
    Move,
    Order,
    Repeat,
    RunScene,
    Statement,
    Swing,
    Tell,
    Together,
    Wait,
    WaitUntil,
)
from scenes.lowering import lowers, way_down
from scenes.walking import fixed_us

MOST_SECONDS = 1_000  # second rounds that are gone through: loops within loops would double them at every depth
Times = Mapping[int, int]  # squeezed times by the identity of the line; two lines that look alike are still two


class Step(NamedTuple):
    """A line that takes time, and the way that led to it."""

    before: Step | None
    line: Statement
    takes_us: int


class Moment(NamedTuple):
    at_us: int
    way: Step | None

    def then(self, line: Statement, takes_us: int) -> Moment:
        return Moment(self.at_us + takes_us, Step(self.way, line, takes_us)) if takes_us else self

    def steps(self) -> list[Step]:
        """Every line on the longest way to this moment, in the order in which they come."""
        found, step = [], self.way
        while step is not None:
            found.append(step)
            step = step.before
        return found[::-1]


START = Moment(0, None)


class Closing(NamedTuple):
    """When the last barrier is down, and the lines for which that cannot be known beforehand."""

    down: Moment
    by: Statement | None  # the line that lowers the last barrier; None if none does
    unknown: tuple[Statement, ...]


def closing(block: Block, layout: Layout, barriers: Iterable[str], times: Times | None = None) -> Closing:
    """Reckon a block from its start to the last lowering; `times` are squeezed times of some of its lines."""
    return reckon(way_down(block, layout, barriers), layout, barriers, times)


def reckon(way: Block, layout: Layout, barriers: Iterable[str], times: Times | None = None) -> Closing:
    """As `closing`, of a way that has been cut already."""
    clock = _Clock(layout, frozenset(barriers), times or {})
    clock.block(way, START)
    return Closing(clock.down, clock.by, tuple(dict.fromkeys(clock.unknown)))


class _Clock:
    """Goes along a way with the time and the servos' positions."""

    def __init__(self, layout: Layout, barriers: frozenset[str], times: Times) -> None:
        self.layout = layout
        self.barriers = barriers
        self.times = times
        self.stands: dict[str, float] = {}
        self.down = START
        self.by: Statement | None = None
        self.unknown: list[Statement] = []
        self.seconds = 0

    def block(self, block: Block, now: Moment) -> Moment:
        for line in block:
            now = self._after(line, now)
        return now

    def _after(self, line: Statement, now: Moment) -> Moment:
        match line:
            case Wait(_, _, high):
                return now.then(line, self.times.get(id(line), high))
            case Fade(_, _, over):
                return now.then(line, self.times.get(id(line), over))
            case Move():
                return self._moved(line, now)
            case Tell(_, orders, for_us):
                self._told(line, orders, now)
                return now.then(line, for_us or 0)
            case InOrder(_, block) | AsLongAs(_, _, block):
                return self.block(block, now)
            case If(_, _, block, otherwise):
                return self._longest((block, otherwise), now)
            case ByChance(_, shares):
                return self._longest([block for _, block in shares], now)
            case Together(_, branches):
                return max((self.block(branch, now) for branch in branches), key=_at, default=now)
            case FirstOf(_, branches):
                return self._first(line, branches, now)
            case Repeat():
                return self._rounds(line, now)
            case ForEach(_, members, apart):
                return self._members(line, [member.block for member in members], apart, now)
            case WaitUntil(_, _, at_most, otherwise):
                return self.block(otherwise, self._waited(line, at_most, now))
            case RunScene(_, _, True):
                return self._waited(line, None, now)
            case _:
                return now.then(line, fixed_us(line) or 0)

    def _waited(self, line: Statement, at_most_us: int | None, now: Moment) -> Moment:
        if at_most_us is None:
            self.unknown.append(line)
        return now.then(line, at_most_us or 0)

    def _moved(self, line: Move, now: Moment) -> Moment:
        """Each servo takes its share of the line's time, or of its own; the line ends with the last of them."""
        ends = now
        for name, value in line.targets:
            output = self.layout.outputs[name]
            whole_us = output.itself_us or output.travel_us
            if line.over_us is not None:
                whole_us = self.times.get(id(line), line.over_us)
            end = now.then(line, round(whole_us * self._share(output, value)))
            self._stands(line, name, value, end)
            ends = max(ends, end, key=_at)
        return ends

    def _told(self, line: Tell, orders: Iterable[tuple[str, Order]], now: Moment) -> None:
        """Servos that are set: at once, as the engine has it, or those of a signal in their own time."""
        for name, order in orders:
            output = self.layout.outputs[name]
            if isinstance(order, Level | Swing) and output.positions:
                own_us = (output.itself_us or output.travel_us) if isinstance(order, Swing) else 0
                end = now.then(line, round(own_us * self._share(output, order.value)))
                self._stands(line, name, order.value, end)

    def _stands(self, line: Statement, name: str, value: float, then: Moment) -> None:
        self.stands[name] = value
        if name in self.barriers and name in lowers(line, self.layout) and then.at_us >= self.down.at_us:
            self.down, self.by = then, line

    def _share(self, output: Output, value: float) -> float:
        """The share of the whole travel that is still to be gone."""
        return output.share(self.stands.get(output.name, output.rest.value), value)

    def _longest(self, blocks: Iterable[Block], now: Moment) -> Moment:
        """One of the blocks runs: the longest counts, and where it leaves the servos."""
        before, ends = dict(self.stands), []
        for block in blocks:
            self.stands = dict(before)
            ends.append((self.block(block, now), self.stands))
        end, self.stands = max(ends, key=lambda one: one[0].at_us, default=(now, before))
        return end

    def _first(self, line: Statement, branches: Iterable[Block], now: Moment) -> Moment:
        """The branch that ends first, of those whose end is known."""
        known, before = [], self.unknown
        for branch in branches:
            self.unknown = []
            end = self.block(branch, now)
            if not self.unknown:
                known.append(end)
        self.unknown = before if known else [*before, line]
        return min(known, key=_at, default=now)

    def _rounds(self, line: Repeat, now: Moment) -> Moment:
        """From the second round on each takes as long as the second: the servos stand where the first left them."""
        if line.times is None:
            self.unknown.append(line)
            return self.block(line.block, now)
        before = dict(self.stands)
        first = self.block(line.block, now)
        if line.times == 1:
            return first
        self.seconds += 1
        if self.stands == before or self.seconds > MOST_SECONDS:
            return first.then(line, (first.at_us - now.at_us) * (line.times - 1))
        second = self.block(line.block, first)
        return second.then(line, (second.at_us - first.at_us) * (line.times - 2))

    def _members(self, line: Statement, blocks: list[Block], apart: tuple[int, int] | None, now: Moment) -> Moment:
        if apart is None:
            return self.block(tuple(inner for block in blocks for inner in block), now)
        ends = now
        for index, block in enumerate(blocks):
            ends = max(ends, self.block(block, now.then(line, index * apart[1])), key=_at)
        return ends


def _at(moment: Moment) -> int:
    return moment.at_us
