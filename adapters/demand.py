"""How many commands a second waves ask for on a link that carries them all, and which lines ask. No pace is known here.

Lamps and what is switched are counted piece by piece, since a fade passes through each of its codes once; the others by
their commands. Nothing is played.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from adapters.wanted import Wanted
from engine.codes import Seen, least_code
from engine.layout import Kind, Output
from engine.trace import Told
from engine.waves import Part, Wave

SECOND_US = 1_000_000
PIECES = 1_000_000  # of curves that are counted before an answer is given for a part of the time only

_STEP_BY_STEP = (Kind.LAMP, Kind.RELAY, Kind.SOUND, Kind.PULSE)  # between two codes these pass through all others


class Asked(NamedTuple):
    """Who asks for commands: the order and the output."""

    told: Told
    output: Output


class Demand:
    """Commands asked for, by second and by who asks."""

    def __init__(self, pieces: int = PIECES) -> None:
        self.seconds: dict[int, dict[int, int]] = {}  # second -> the number of who asks -> commands
        self.askers: list[Asked] = []
        self.left = pieces
        self.cut_us: int | None = None  # where counting ended, if it was too much

    def add(self, output: Output, orders: Iterable[Told], first: int, until_us: int) -> None:
        """All that one output is told, the first order first, with the code that it had before."""
        # dithering takes what is left over, so nobody asks for it
        one, last = Wanted(output, in_turns=False), first
        orders = list(orders)
        ends = [order.at_us for order in orders[1:]] + [until_us]
        for order, end_us in zip(orders, ends, strict=True):
            one.ask(order.wave, order.at_us, 0)
            asker = len(self.askers)
            self.askers.append(Asked(order, output))
            for at_us, commands in changes(one, order.wave, last, order.at_us, min(end_us, until_us)):
                self.left -= 1
                if self.left < 0:
                    self.cut_us = min(at_us, self.cut_us or at_us)
                    return
                if commands:
                    second = self.seconds.setdefault(at_us // SECOND_US, {})
                    second[asker] = second.get(asker, 0) + commands
            if end_us > order.at_us:
                last = one.raw(end_us - 1)

    def total(self, second: int) -> int:
        return sum(self.seconds.get(second, {}).values())


def changes(one: Wanted, wave: Wave, last: int, from_us: int, until_us: int) -> Iterator[tuple[int, int]]:
    """Instants, and how many commands from each on within its second; nothing counts twice."""
    if one.output.kind not in _STEP_BY_STEP or one.output.itself is not None:
        yield from _by_commands(one, last, from_us, until_us)
        return
    least = least_code(one.output) if one.output.kind is Kind.LAMP else 1
    at_us, tells = from_us, one.tells
    here = _rank(last, least)
    while at_us < until_us:
        part = wave.piece(at_us)
        end_us = until_us if part.to_us is None else min(part.to_us, until_us)
        start = _rank(tells(part.value_at(at_us)), least)
        yield at_us, int(start != here)  # from one piece to the next it may jump, and a jump is one command
        here = start
        final = here if part.to_us is None else _rank(tells(part.value_at(end_us - 1)), least)
        if final != here:
            yield from _within(part, tells, least, here, at_us, end_us)
        here, at_us = final, end_us


def _within(part: Part, tells: Seen, least: int, here: int, at_us: int, end_us: int) -> Iterator[tuple[int, int]]:
    """A piece that goes one way, second by second."""
    while at_us < end_us:
        border_us = min(end_us, (at_us // SECOND_US + 1) * SECOND_US)
        there = _rank(tells(part.value_at(border_us - 1)), least)
        yield at_us, min(abs(there - here), border_us - at_us)  # it cannot be told more often than every microsecond
        here, at_us = there, border_us
        if at_us < end_us:  # a change at the border itself belongs to the second that begins there
            there = _rank(tells(part.value_at(border_us)), least)
            yield at_us, abs(there - here)
            here = there


def _rank(code: int, least: int) -> int:
    """The how-manieth of its codes that is: below the least that gives light there is only 0."""
    return max(0, code - least + 1)


def _by_commands(one: Wanted, last: int, from_us: int, until_us: int) -> Iterator[tuple[int, int]]:
    at_us: int | None = from_us
    while at_us is not None and at_us < until_us:
        code = one.raw(at_us)
        yield at_us, int(code != last)
        last, at_us = code, one.next_change(at_us)
