"""Writes one scene out: its blocks, what it writes and reads, the keys of its draws, and how far it may grow.

Knows how blocks, groups and routines are joined; the statements themselves are a table that it is given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from engine.chance import key_of
from engine.conditions import Condition, atoms
from engine.conditions import Sort as On
from engine.layout import Output, Place
from engine.program import Block, InOrder, Statement
from scenes.conditions import Conditions
from scenes.manners import Manners, brought, every_brought
from scenes.names import Names, Refused, Scope, Sort, Symbol
from scenes.nodes import Node, Word
from scenes.quantities import say_us

WRITTEN_OUT = 200_000  # statements of all scenes together, after groups and routines are written out
NESTING = 60  # blocks within blocks, routines written out
ROUTINE_DEPTH = 20  # routines within routines
MEMBERS = 5_000  # members of one `for each`


_CONDITION_FIRST = frozenset({"if", "repeat", "as_long_as", "wait_until"})  # refused before their blocks were looked at


_LEVELS = frozenset({"turn", "set", "fade", "flash", "flicker", "show", "hold", "release"})


class TooLong(Exception):
    """The scenes have grown past `WRITTEN_OUT`; that has been reported."""


class Writer:
    """What the statements of one scene are compiled with."""

    def __init__(
        self, names: Names, conditions: Conditions, manners: Manners, table: Mapping[str, Maker], scene: str
    ) -> None:
        self.names = names
        self.conditions = conditions
        self.manners = manners
        self.table = table
        self.scene = scene
        self.writes: dict[str, None] = {}
        self.reads: dict[str, None] = {}
        self.statements = 0
        self.spent = 0  # statements of the scenes before
        self.everything: tuple[str, ...] | None = None  # all that the scene writes, once that is known
        self.asks_everything = False
        self.closing: dict[str, None] | None = None  # inside `when stopped`: what it has told so far

    # --- blocks ----------------------------------------------------------------------------------------------------

    def block(self, node: Node | None, scope: Scope, **changes: object) -> Block:
        """A block's statements; one that cannot be compiled is left out, having been reported."""
        if node is None:
            return ()
        inner = scope.deeper(**changes)
        if inner.depth > NESTING:
            what = f"blocks stand within blocks more than {NESTING} deep"
            self.names.report(node.place, what, "make a routine, or a scene of its own", scope)
            return ()
        return self.lines(node.nodes(), inner)

    def lines(self, nodes: Iterable[Node], scope: Scope) -> Block:
        made: list[Statement] = []
        for node in nodes:
            try:
                made.append(self.statement(node, scope))
            except Refused:
                self._look_inside(node, scope)
        return tuple(made)

    def _look_inside(self, node: Node, scope: Scope) -> None:
        """Look at the block of a line that was given up, so that every mistake is told in one go."""
        if node.kind in _CONDITION_FIRST:
            self.block(node.node("block"), scope, in_repeat=scope.in_repeat or node.kind == "repeat")
            other = node.node("otherwise")
            if other is not None:
                self._look_inside(Node("if", (*other.parts, *_chained(other)), other.place), scope)

    def statement(self, node: Node, scope: Scope) -> Statement:
        maker = self.table.get(node.kind)
        if maker is None:  # a line that could not be read
            raise Refused
        self.statements += 1
        if self.statements + self.spent > WRITTEN_OUT:
            what = f"the scenes have more than {WRITTEN_OUT:,} lines, with groups and routines written out"
            self.names.report(node.place, what, "use smaller groups, or fewer lines for each member", scope)
            raise TooLong
        return maker(self, node, scope)

    def branches(self, node: Node, scope: Scope) -> tuple[Block, ...]:
        """Every line of a block as a branch of its own."""
        return tuple((line,) for line in self.block(node.node("block"), scope))

    # --- outputs and conditions ------------------------------------------------------------------------------------

    def outputs(self, node: Node, scope: Scope, fits: Callable[[Output], tuple[str, str] | None]) -> list[Output]:
        """The outputs of a line's list. `fits` says what is wrong with one, and what to write instead.

        An output that does not fit is told at the word that named it, and the line is given up.
        """
        names = node.node("names")
        words = names.words() if names else []
        before = len(self.names.problems)
        found = self.names.members(words, scope, Sort.OUTPUT, need="an output or a group")
        good: list[Output] = []
        refused = len(self.names.problems) > before
        for word, symbol in found:
            assert symbol.output is not None
            wrong = _followed(node, symbol.output) or fits(symbol.output)
            if wrong is None:
                good.append(symbol.output)
                continue
            what, instead = wrong
            # the line was written about a group, so what to write instead speaks of the group, too
            self.names.report(word.place, what, instead.replace(symbol.name, word.text), scope)
            refused = True
        if not good or refused:
            self.claim(good)
            raise Refused
        self.claim(good)
        return good

    def claim(self, outputs: Iterable[Output]) -> None:
        """Note that the scene writes these, and the parts of those that are signals."""
        for output in outputs:
            told = (output.name, *(part for aspect in output.aspects for part, _ in aspect.parts))
            for name in told:
                self.writes.setdefault(name)
                if self.closing is not None:
                    self.closing.setdefault(name)

    def reading(self, condition: Condition) -> Condition:
        """Note the detectors that a condition reads."""
        for atom in atoms(condition.term):
            if atom.sort is On.DETECTOR:
                self.reads.setdefault(atom.subject)
        return condition

    def condition(self, node: Node, scope: Scope) -> Condition:
        """The condition of a line's `held` part."""
        held = node.node("held")
        if held is None:
            raise Refused
        return self.reading(self.conditions.needed(held, scope))

    def lasting(self, node: Node, scope: Scope, word: str) -> Condition:
        held = node.node("held")
        if held is None:
            raise Refused
        return self.reading(self.conditions.lasting(held, scope, word))

    # --- draws and times -------------------------------------------------------------------------------------------

    def draw(self, place: Place, scope: Scope) -> int:
        """A key for random draws, the same whatever is written elsewhere: 64 bits over the scene and the line's place.

        The line counts from the first line of its scene or routine; the path holds members and routines on the way.
        """
        parts = (self.scene, str(place.line - scope.first_line), str(place.column), *scope.path)
        return key_of("\0".join(parts))

    def time_of(self, node: Node, kind: str, scope: Scope) -> int | None:
        """The time of an optional part such as `for 3 s`."""
        part = node.node(kind)
        word = part.word("DURATION", "NAME") if part else None
        return self.names.duration(word, scope) if word else None

    def never_under(self, node: Node, scope: Scope, written_us: int) -> int | None:
        """The time of `, never under 1.5 s`: `fit into` squeezes the line no further. None where nothing is said."""
        parts = list(node.nodes("never_under"))
        word = parts[0].word("DURATION", "NAME") if parts else None
        if word is None:
            return None
        if len(parts) > 1:
            raise self.names.refuse(parts[1].place, "`never under` stands here twice", "leave one of the two", scope)
        least_us = self.names.duration(word, scope)
        if least_us > written_us:
            written = say_us(written_us)
            what = f"`never under {word.text}` is more than the {written} that are written"
            raise self.names.refuse(word.place, what, f"write `never under {written}`, or less", scope)
        return least_us

    # --- routines --------------------------------------------------------------------------------------------------

    def routine(self, node: Node, scope: Scope) -> Statement:
        """A routine written out where it is done, its parameters filled in."""
        name, *arguments = (part for part in node.parts if isinstance(part, Word))
        symbol = self.names.look_up(name, scope, Sort.ROUTINE)
        if symbol is None or symbol.node is None:
            raise Refused
        called = [call for call, _ in scope.calls]
        if symbol.name in called:
            chain = " > ".join([*called[called.index(symbol.name) :], symbol.name])
            what = f"the routine does itself: {chain}"
            raise self.names.refuse(name.place, what, "for a round without end write `repeat`", scope)
        if len(called) >= ROUTINE_DEPTH:
            what = f"routines stand within routines more than {ROUTINE_DEPTH} deep"
            raise self.names.refuse(name.place, what, "name fewer steps", scope)
        inner = Scope(
            words=self._parameters(symbol, symbol.node, name, arguments, scope),
            path=(*scope.path, f"{node.place.line - scope.first_line}:{node.place.column}>{symbol.name}"),
            first_line=symbol.node.place.line,
            calls=(*scope.calls, (symbol.name, node.place)),
            depth=scope.depth,
        )
        return InOrder(node.place, self.block(symbol.node.node("block"), inner), symbol.name)

    def _parameters(
        self, symbol: Symbol, node: Node, name: Word, arguments: list[Word], scope: Scope
    ) -> dict[str, Word]:
        wanted = parameters(node)
        if len(wanted) != len(arguments):
            takes = ", ".join(word.text for word in wanted)
            what = f"`{symbol.name}` takes {len(wanted) or 'nothing'}{f' ({takes})' if takes else ''}"
            given = f"and is given {len(arguments) or 'nothing'}"
            instead = f"write `do {symbol.name}{f' with {takes}' if takes else ''}`"
            raise self.names.refuse(name.place, f"{what} {given}", instead, scope)
        values = [self.names.resolve(word, scope) for word in arguments]
        for word, value in zip(arguments, values, strict=True):
            if value.kind == "NAME" and not self.names.exists(value) and not brought(value.text):
                self.names.unknown(word, "a thing", (*self.names.every_name(), *every_brought()), scope)
                raise Refused
        return {word.text: value for word, value in zip(wanted, values, strict=True)}


def _followed(node: Node, output: Output) -> tuple[str, str] | None:
    """A lamp that follows the daylight takes no level from anybody else; its colour may be told."""
    if output.follows_lux is None or node.kind not in _LEVELS or node.word("KELVIN") is not None:
        return None
    what = f"`{output.name}` follows the daylight (layout file), and takes no other orders"
    return what, "write `fade daylight through dusk over 4 min`"


def _chained(otherwise: Node) -> tuple[Node | Word, ...]:
    chained = otherwise.node("otherwise_if")
    return chained.parts if chained else ()


def parameters(routine: Node) -> list[Word]:
    """The names of a routine's parameters."""
    names = routine.node("names")
    return names.words() if names else []


Maker = Callable[[Writer, Node, Scope], Statement]
