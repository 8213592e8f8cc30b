"""Going through compiled blocks: what their lines write, whether and how long they take time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.layout import DAYLIGHT, Layout, Place
from engine.program import (
    AsLongAs,
    Block,
    ByChance,
    Fade,
    FirstOf,
    ForEach,
    Hold,
    If,
    InOrder,
    Move,
    Pulse,
    Release,
    Repeat,
    RunScene,
    Scene,
    Statement,
    StopRepeating,
    Tell,
    Through,
    Together,
    Wait,
    WaitUntil,
    blocks_of,
    lines_of,
)


def walk(*roots: Block) -> Iterator[Statement]:
    """Every statement in the blocks, each before what stands inside it, in the order written."""
    for block in roots:
        yield from lines_of(block)


def every_block(*roots: Block) -> Iterator[Block]:
    """Every block, the outer ones first."""
    yield from roots
    for statement in walk(*roots):
        yield from blocks_of(statement)


def whole(scene: Scene) -> tuple[Block, Block]:
    """A scene's blocks: its lines, and what it does when stopped."""
    return scene.block, scene.when_stopped or ()


def told(statement: Statement) -> tuple[str, ...]:
    """The outputs that a statement itself writes."""
    match statement:
        case Tell(_, orders, _):
            return tuple(name for name, _ in orders)
        case Fade(_, targets, _) | Move(_, targets, _):
            return tuple(name for name, _ in targets)
        case Pulse(_, outputs, _) | Hold(_, outputs) | Release(_, outputs):
            return outputs
        case Through(_, _, _, followers):
            return (DAYLIGHT, *followers)
        case _:
            return ()


def written(*roots: Block) -> dict[str, Place]:
    """Every output that the blocks write, and the first line that does."""
    found: dict[str, Place] = {}
    for statement in walk(*roots):
        for name in told(statement):
            found.setdefault(name, statement.place)
    return found


def takes_time(statement: Statement) -> bool:
    """Whether a statement itself can take time, whatever stands inside it."""
    match statement:
        case Wait(_, _, high, _):
            return high > 0
        case Fade(_, _, over) | Pulse(_, _, over) | Through(_, _, over):
            return over > 0
        case Tell(_, _, for_us):
            return bool(for_us)
        case RunScene(_, _, waits):
            return waits
        case ForEach(_, members, apart, _):
            return apart is not None and apart[1] > 0 and len(members) > 1
        case Move() | WaitUntil():
            return True
        case _:
            return False


def is_endless(statement: Statement) -> bool:
    """Whether a statement can never run out by itself."""
    match statement:
        case Repeat(_, block, times, until):
            unbounded = times is None and until is None and not _stops(block)
            return unbounded or any(is_endless(one) for one in block)
        case InOrder(_, block, _):
            return any(is_endless(one) for one in block)
        case Together(_, branches):
            return any(is_endless(one) for branch in branches for one in branch)
        case FirstOf(_, branches):
            return bool(branches) and all(any(is_endless(one) for one in branch) for branch in branches)
        case ForEach(_, members, _, _):
            return any(is_endless(one) for member in members for one in member.block)
        case If(_, _, block, otherwise) | AsLongAs(_, _, block, otherwise):
            return all(any(is_endless(one) for one in inner) for inner in (block, otherwise))
        case ByChance(_, shares, _):
            full = sum(share for share, _ in shares) == 100
            return full and all(any(is_endless(one) for one in block) for _, block in shares)
        case _:
            return False


def _stops(block: Block) -> bool:
    """Whether a `stop repeating` in the block belongs to the repeat around it."""
    todo = list(block)
    while todo:
        statement = todo.pop()
        if isinstance(statement, StopRepeating):
            return True
        if not isinstance(statement, Repeat):
            todo.extend(one for inner in blocks_of(statement) for one in inner)
    return False


def fixed_us(statement: Statement) -> int | None:
    """How long a line takes at least, or None where the files alone do not tell."""
    match statement:
        case Wait(_, low, _, _):
            return low
        case Fade(_, _, over) | Pulse(_, _, over) | Through(_, _, over):
            return over
        case Tell(_, _, for_us):
            return for_us or 0
        case Move() | WaitUntil() | RunScene():
            return None
        case _:
            return None if blocks_of(statement) else 0


def guards(scene: Scene, layout: Layout) -> list[str]:
    """The guarded outputs that a scene writes."""
    return [name for name in scene.writes if name in layout.outputs and layout.outputs[name].guarded]


# --- writing lines anew --------------------------------------------------------------------------------------------


def with_lines(block: Block, made: Mapping[int, Statement]) -> Block:
    """A block with some of its lines, and of the lines in it, in the place of others: those by their identity."""
    return tuple(made.get(id(line)) or _around(line, made) for line in block)


def _around(line: Statement, made: Mapping[int, Statement]) -> Statement:
    def inner(block: Block) -> Block:
        return with_lines(block, made)

    match line:
        case InOrder(_, block) | Repeat(_, block):
            return line._replace(block=inner(block))
        case If(_, _, block, otherwise) | AsLongAs(_, _, block, otherwise):
            return line._replace(block=inner(block), otherwise=inner(otherwise))
        case Together(_, branches) | FirstOf(_, branches):
            return line._replace(branches=tuple(map(inner, branches)))
        case WaitUntil(_, _, _, otherwise):
            return line._replace(otherwise=inner(otherwise))
        case ByChance(_, shares):
            return line._replace(shares=tuple((share, inner(block)) for share, block in shares))
        case ForEach(_, members):
            return line._replace(members=tuple(one._replace(block=inner(one.block)) for one in members))
        case _:
            return line
