"""Lines that order time: waits, blocks, rounds, choices, flags, routines, other scenes. A table from kind to maker."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from engine.program import (
    AsLongAs,
    Block,
    ByChance,
    Count,
    FirstOf,
    ForEach,
    If,
    InOrder,
    Member,
    Note,
    Repeat,
    RunScene,
    SetFlag,
    Statement,
    StopOthers,
    StopRepeating,
    StopScene,
    Together,
    Wait,
    WaitUntil,
)
from scenes import quantities
from scenes.names import Refused, Scope, Sort
from scenes.nodes import Node, Word
from scenes.orders import ORDERS
from scenes.writer import MEMBERS, Writer


def _span(writer: Writer, node: Node, words: list[Word], scope: Scope) -> tuple[int, int]:
    """One time, or two between which one is drawn."""
    times = [writer.names.duration(word, scope) for word in words]
    if times[-1] < times[0]:
        turned = f"write `{words[-1].text} to {words[0].text}`"
        raise writer.names.refuse(node.place, "the second time is shorter than the first", turned, scope)
    return times[0], times[-1]


def _wait(writer: Writer, node: Node, scope: Scope) -> Statement:
    words = [part for part in node.parts if isinstance(part, Word)]
    low, high = _span(writer, node, words, scope)
    draw = writer.draw(node.place, scope) if low != high else 0
    return Wait(node.place, low, high, draw, writer.never_under(node, scope, low))


def _wait_until(writer: Writer, node: Node, scope: Scope) -> Statement:
    at_most = writer.time_of(node, "at_most", scope)
    other = node.node("otherwise")
    if other is not None and at_most is None:
        instead = "write `wait until ..., at most 3 min`, or take `otherwise` out"
        raise writer.names.refuse(other.place, "this wait never gives up, so `otherwise` never runs", instead, scope)
    return WaitUntil(node.place, writer.condition(node, scope), at_most, _otherwise(writer, node, scope))


def _otherwise(writer: Writer, node: Node, scope: Scope) -> Block:
    """What stands under `otherwise`; `otherwise if` is one more choice inside it."""
    part = node.node("otherwise")
    if part is None:
        return ()
    chained = part.node("otherwise_if")
    if chained is None:
        return writer.block(part.node("block"), scope)
    return writer.lines((Node("if", chained.parts, chained.place),), scope.deeper())


def _together(writer: Writer, node: Node, scope: Scope) -> Statement:
    return Together(node.place, writer.branches(node, scope))


def _first_of(writer: Writer, node: Node, scope: Scope) -> Statement:
    return FirstOf(node.place, writer.branches(node, scope))


def _in_order(writer: Writer, node: Node, scope: Scope) -> Statement:
    return InOrder(node.place, writer.block(node.node("block"), scope))


def _repeat(writer: Writer, node: Node, scope: Scope) -> Statement:
    until = node.node("until")
    condition = writer.condition(until, scope) if until else None
    times = _times(writer, node, scope)
    return Repeat(node.place, writer.block(node.node("block"), scope, in_repeat=True), times, condition)


def _times(writer: Writer, node: Node, scope: Scope) -> int | None:
    part = node.node("times")
    if part is None:
        return None
    word = part.word("INTEGER", "NAME")
    if word is None:
        return 2 if part.word("TWICE") else 1
    times = writer.names.quantity(word, scope, "INTEGER", quantities.whole)
    if times == 0:
        raise writer.names.refuse(word.place, "a block repeated 0 times never runs", "take it out", scope)
    return times


def _stop_repeating(writer: Writer, node: Node, scope: Scope) -> Statement:
    if not scope.in_repeat:
        what = "there is no `repeat` around this line to stop"
        raise writer.names.refuse(node.place, what, "put it inside the block of a `repeat`", scope)
    return StopRepeating(node.place)


def _as_long_as(writer: Writer, node: Node, scope: Scope) -> Statement:
    condition = writer.lasting(node, scope, "as long as")
    block = writer.block(node.node("block"), scope)
    return AsLongAs(node.place, condition, block, _otherwise(writer, node, scope))


def _if(writer: Writer, node: Node, scope: Scope) -> Statement:
    condition = writer.condition(node, scope)
    return If(node.place, condition, writer.block(node.node("block"), scope), _otherwise(writer, node, scope))


def _by_chance(writer: Writer, node: Node, scope: Scope) -> Statement:
    """Shares in percent; `otherwise` has what is left."""
    shares: list[tuple[Fraction | None, Block]] = []
    for part in node.nodes("share"):
        word = part.word("PERCENT")
        size = None if word is None else writer.names.quantity(word, scope, "PERCENT", quantities.share) * 100
        shares.append((size, writer.block(part.node("block"), scope)))
    given = sum((size for size, _ in shares if size is not None), Fraction(0))
    rest = [block for size, block in shares if size is None]
    if given > 100:
        what = f"the shares add up to {float(given):g} %"
        raise writer.names.refuse(node.place, what, "they may add up to 100 % at most", scope)
    if len(rest) > 1:
        raise writer.names.refuse(node.place, "there is more than one `otherwise`", "leave one", scope)
    if rest and given == 100:
        what = "the shares add up to 100 %, so `otherwise` never runs"
        raise writer.names.refuse(node.place, what, "make a share smaller, or take `otherwise` out", scope)
    sized = tuple((100 - given if size is None else size, block) for size, block in shares)
    return ByChance(node.place, sized, writer.draw(node.place, scope))


def _for_each(writer: Writer, node: Node, scope: Scope) -> Statement:
    """The block once for every member, each with its own draws."""
    variable, *words = node.words()
    before = len(writer.names.problems)
    found = writer.names.members(words, scope, Sort.OUTPUT, Sort.DETECTOR)
    if not found:
        silent = writer.names.item_broken or writer.names.short_group or any(map(writer.names.lacks, words))
        if len(writer.names.problems) == before and not silent:
            writer.names.report(node.place, "there is nobody in this group", "", scope)
        raise Refused
    if len(found) > MEMBERS:
        what = f"there are {len(found):,} members, and `for each` takes {MEMBERS:,} at most"
        raise writer.names.refuse(node.place, what, "split the group", scope)
    members = []
    for _, symbol in found:
        word = Word("NAME", symbol.name, variable.place)
        bound = writer.names.bind(scope, variable, word)
        path = (*scope.path, symbol.name)
        inner = Scope(bound, path, scope.first_line, scope.calls, scope.in_repeat, scope.depth)
        block = writer.block(node.node("block"), inner)
        members.append(Member(symbol.name, block, writer.draw(node.place, inner)))
    return ForEach(node.place, tuple(members), _apart(writer, node, scope), node.node("random_order") is not None)


def _apart(writer: Writer, node: Node, scope: Scope) -> tuple[int, int] | None:
    if node.node("side_by_side"):
        return 0, 0
    part = node.node("apart")
    return _span(writer, node, [w for w in part.parts if isinstance(w, Word)], scope) if part else None


def _named(writer: Writer, node: Node, scope: Scope, sort: Sort) -> str:
    symbol = writer.names.look_up(node.words()[0], scope, sort)
    if symbol is None:
        raise Refused
    return symbol.name


def _remember(writer: Writer, node: Node, scope: Scope) -> Statement:
    return SetFlag(node.place, _named(writer, node, scope, Sort.FLAG), node.kind == "remember")


def _count(writer: Writer, node: Node, scope: Scope) -> Statement:
    by = None if node.kind == "reset" else 1 if node.word("UP") else -1
    return Count(node.place, _named(writer, node, scope, Sort.COUNTER), by)


def _run(writer: Writer, node: Node, scope: Scope) -> Statement:
    name = _named(writer, node, scope, Sort.SCENE)
    if name == writer.scene and node.kind == "run":
        what = f"`{name}` would wait for its own end"
        raise writer.names.refuse(node.place, what, "for a round without end write `repeat`", scope)
    return RunScene(node.place, name, node.kind == "run")


def _stop_scene(writer: Writer, node: Node, scope: Scope) -> Statement:
    return StopScene(node.place, _named(writer, node, scope, Sort.SCENE))


def _stop_others(writer: Writer, node: Node, scope: Scope) -> Statement:
    return StopOthers(node.place)


def _note(writer: Writer, node: Node, scope: Scope) -> Statement:
    word = node.word("TEXT")
    return Note(node.place, word.text[1:-1] if word else "")


def _do(writer: Writer, node: Node, scope: Scope) -> Statement:
    return writer.routine(node, scope)


STATEMENTS: dict[str, Callable[[Writer, Node, Scope], Statement]] = {
    **ORDERS,
    "wait": _wait,
    "wait_until": _wait_until,
    "together": _together,
    "first_of": _first_of,
    "in_order": _in_order,
    "repeat": _repeat,
    "stop_repeating": _stop_repeating,
    "as_long_as": _as_long_as,
    "if": _if,
    "by_chance": _by_chance,
    "for_each": _for_each,
    "remember": _remember,
    "forget": _remember,
    "count": _count,
    "reset": _count,
    "do": _do,
    "run": _run,
    "start_scene": _run,
    "stop_scene": _stop_scene,
    "stop_others": _stop_others,
    "note": _note,
}
