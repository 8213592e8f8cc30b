"""Which lines lower a barrier, and which lead to the last lowering of a block. Knows no time and no message."""

from __future__ import annotations

from collections.abc import Iterable
from math import isclose

from engine.layout import Layout
from engine.program import (
    AsLongAs,
    Block,
    ByChance,
    FirstOf,
    ForEach,
    If,
    InOrder,
    Level,
    Move,
    Repeat,
    Statement,
    Swing,
    Tell,
    Together,
    WaitUntil,
)
from scenes.walking import walk


def lowers(line: Statement, layout: Layout) -> frozenset[str]:
    """The servos that a line itself, without the lines in it, sends to where they are lowered."""
    match line:
        case Move(_, targets, _):
            sent = targets
        case Tell(_, orders, None):
            sent = tuple((name, order.value) for name, order in orders if isinstance(order, Level | Swing))
        case _:
            return frozenset()
    servos = ((layout.outputs[name], value) for name, value in sent if layout.outputs[name].positions)
    return frozenset(one.name for one, value in servos if isclose(value, one.lowered_deg, abs_tol=1e-6))


def lowered(block: Block, layout: Layout, barriers: Iterable[str]) -> set[str]:
    """Which of the barriers some line of a block lowers."""
    found = {name for line in walk(block) for name in lowers(line, layout)}
    return found.intersection(barriers)


def way_down(block: Block, layout: Layout, barriers: Iterable[str]) -> Block:
    """The lines up to the one with which the last of the barriers that the block lowers is lowered; nothing after it.

    The lines are the block's own; what holds blocks is written anew around what is left of them.
    """
    needed = lowered(block, layout, barriers)
    lines: list[Statement] = []
    for line in block if needed else ():
        here = lowered((line,), layout, needed)
        if here == needed:
            return (*lines, _cut(line, layout, here))
        needed -= here
        lines.append(line)
    return tuple(lines)


def _cut(line: Statement, layout: Layout, needed: set[str]) -> Statement:
    def cut(block: Block) -> Block:
        return way_down(block, layout, needed)

    match line:
        case InOrder(place, block) | Repeat(place, block):  # of a repeat only the first round leads there
            return InOrder(place, cut(block))
        case If(place, condition, block, otherwise) | AsLongAs(place, condition, block, otherwise):
            return If(place, condition, cut(block), cut(otherwise))
        case Together(place, branches) | FirstOf(place, branches):
            return Together(place, tuple(cut(branch) for branch in branches))
        case ByChance(_, shares):
            return line._replace(shares=tuple((share, cut(block)) for share, block in shares))
        case WaitUntil(place, _, _, otherwise):
            return InOrder(place, (line._replace(otherwise=()), *cut(otherwise)))
        case ForEach(place, members, None) if members:
            return InOrder(place, cut(tuple(InOrder(place, member.block) for member in members)))
        case ForEach(_, members):
            return line._replace(members=tuple(one._replace(block=cut(one.block)) for one in members))
        case _:
            return line
