"""Joins the compiler: from the trees of all scene files and the layout to one frozen program, and every problem.

Knows the order of the work; each kind of definition and line has a module of its own.
"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from engine.layout import Layout, Place
from engine.program import Again, Block, Day, Head, Program, Rehearsal, Rule, Scene, Takes, Variable, if_broken
from scenes import heads
from scenes.conditions import Conditions
from scenes.days import Days
from scenes.fitting import Fitting
from scenes.manners import Manners
from scenes.names import DEFINED, NO_DOUBTS, OPEN, Doubts, Names, Refused, Scope, Sort
from scenes.nodes import Node, Word
from scenes.problems import Problem, in_order
from scenes.rehearsals import Rehearsals
from scenes.statements import STATEMENTS
from scenes.writer import TooLong, Writer, parameters

_SORTS = {
    "define": Sort.DEFINE,
    "group": Sort.GROUP,
    "flag": Sort.FLAG,
    "counter": Sort.COUNTER,
    "scene": Sort.SCENE,
    "routine": Sort.ROUTINE,
    "manner": Sort.MANNER,
}
_INVENTED = "broken-"  # begins the name that stands in for one that could not be read
_ADVICE = {
    Sort.DEFINE: "nothing asks for the condition `{}`",
    Sort.GROUP: "nothing speaks of the group `{}`",
    Sort.FLAG: "nothing uses the flag `{}`",
    Sort.COUNTER: "nothing uses the counter `{}`",
    Sort.ROUTINE: "nothing does the routine `{}`",
    Sort.MANNER: "nothing is like the manner `{}`",
}


def compile_program(nodes: Sequence[Node], layout: Layout, doubts: Doubts = NO_DOUBTS) -> tuple[Program, list[Problem]]:
    """Compile the trees of scene files, one a file. The program holds what compiled; problems may be many.

    `doubts` are the names that a layout file with errors should have given.
    """
    collecting = gc.isenabled()
    gc.disable()  # many records and no cycles among them; looking for cycles doubles the time
    try:
        return _Compiler(layout, doubts).compile(nodes)
    finally:
        if collecting:
            gc.enable()


@dataclass(slots=True)
class _Draft:
    """A scene while its lines are read."""

    heads: list[Head] = field(default_factory=list)
    again: Again = Again.CARRY_ON
    takes: list[Takes] = field(default_factory=list)
    when_stopped: Block | None = None
    accepts_flashing: str = ""
    fits: tuple[Place, int] | None = None
    block: Block = ()


class _Compiler:
    def __init__(self, layout: Layout, doubts: Doubts) -> None:
        self.names = Names(layout, doubts)
        self.conditions = Conditions(self.names)
        self.manners = Manners(self.names)
        self.rehearsals = Rehearsals(self.names, self.conditions)
        self.fitting = Fitting(self.names)
        self.days = Days(self.names)
        self.items: dict[str, list[tuple[str, Node]]] = {}
        self.spent = 0

    def compile(self, nodes: Sequence[Node]) -> tuple[Program, list[Problem]]:
        self._collect(nodes)
        for name, _ in self._of("group"):
            self.names.group(self.names.symbols[name])
        for name, _ in self._of("define"):
            self.conditions.define(name)
        for name, _ in self._of("manner"):
            self.manners.define(name)
        scenes = self._scenes()
        days = {name: day for name, node in self._of("day") if (day := self.days.day(name, node)) is not None}
        scenes |= self._closings(scenes, days)
        rules = {name: self._rule(name, node) for name, node in self._of("rule")}
        scenes |= self._if_broken(scenes, rules)
        rehearsals = {name: self._rehearsal(name, node) for name, node in self._of("rehearsal")}
        # the names' layout: it has daylight, if anybody has spoken of it
        layout = self.names.layout
        flags, counters = self._variables("flag"), self._variables("counter")
        program = Program(layout, scenes, rules, rehearsals, flags, counters, self.manners.own(), days)
        self._routines()
        self._unused()
        self.fitting.idle()
        return program, in_order(self.names.problems)

    # --- definitions -----------------------------------------------------------------------------------------------

    def _collect(self, nodes: Sequence[Node]) -> None:
        """Take in every name before anything is compiled, so that the order of definitions does not matter."""
        apart: dict[str, dict[str, Word]] = {"rule": {}, "rehearsal": {}, "day": {}}
        items = [item for node in nodes for item in (node.nodes() if node.kind == "start" else (node,))]
        for item in items:
            self._note_broken(item)
            word = item.words()[0] if item.words() else None
            if item.kind == "broken" or word is None or word.text.startswith(_INVENTED):
                continue
            if item.kind in apart:
                if self._is_new(apart[item.kind], item.kind, word):
                    self.items.setdefault(item.kind, []).append((word.text, item))
            elif self.names.add(_SORTS[item.kind], word, item):
                self.items.setdefault(item.kind, []).append((word.text, item))

    def _note_broken(self, item: Node) -> None:
        """Remember what could not be read, so that nothing is said about what follows from it."""
        for node in _broken(item):
            self.names.something_broken = True
            named = [word.text for word in node.words() if not word.text.startswith(_INVENTED)]
            self.names.broken.update(named)
            if node is item and not named:
                self.names.item_broken = True

    def _is_new(self, known: dict[str, Word], kind: str, word: Word) -> bool:
        """Rules, rehearsals and days are never named by a line, so each kind has its names to itself."""
        first = known.setdefault(word.text, word)
        if first is not word:
            also = ((first.place, "first named here"),)
            what = f"There is already a {kind} called `{word.text}`."
            self.names.problems.append(Problem(word.place, what, "Choose another name.", also=also))
        return first is word

    def _of(self, kind: str) -> Iterator[tuple[str, Node]]:
        return iter(self.items.get(kind, ()))

    def _variables(self, kind: str) -> dict[str, Variable]:
        return {name: Variable(name, node.place, kept=node.node("kept") is not None) for name, node in self._of(kind)}

    def _rule(self, name: str, node: Node) -> Rule:
        rule, blocks = self.rehearsals.rule(name, node), list(node.nodes("if_broken"))
        for other in blocks[1:]:
            what = "`if broken` stands here for the second time"
            self.names.report(other.place, what, "a rule has one: put both together")
        if blocks and len(blocks) == len(list(node.nodes())):
            what = f"the rule `{name}` says nothing that could be broken"
            self.names.report(node.place, what, "write what it is about, such as `never lane is occupied while ...`")
        return rule._replace(if_broken=if_broken(name)) if blocks else rule

    def _if_broken(self, scenes: dict[str, Scene], rules: dict[str, Rule]) -> dict[str, Scene]:
        """What rules do if they are broken, each a scene that nobody can name.

        It takes what it writes from every other scene: what is to be done in need comes before what was going on.
        """
        made: dict[str, Scene] = {}
        try:
            for name, node in self._of("rule"):
                part = node.node("if_broken")
                block = part.node("block") if part else None
                if part is not None and block is not None and rules[name].if_broken:
                    scene = self._scene(rules[name].if_broken, block)
                    made[scene.name] = replace(scene, place=part.place)
        except TooLong:
            pass
        others = {**scenes, **made}
        return {name: replace(scene, takes=tuple(_takes(scene, others.values()))) for name, scene in made.items()}

    def _closings(self, scenes: dict[str, Scene], days: dict[str, Day]) -> dict[str, Scene]:
        """What days do at closing, each a scene that nobody can name.

        It takes what it writes from every other scene, and keeps it until all of them have ended.
        """
        made: dict[str, Scene] = {}
        try:
            for name, node in self._of("day"):
                part = node.node("at_closing")
                block = part.node("block") if part else None
                if part is not None and block is not None and name in days:
                    scene = self._scene(days[name].closing, block)
                    made[scene.name] = replace(scene, place=part.place, when_stopped=(), lingers=True)
        except TooLong:
            pass
        others = {**scenes, **made}
        return {name: replace(scene, takes=tuple(_takes(scene, others.values()))) for name, scene in made.items()}

    def _rehearsal(self, name: str, node: Node) -> Rehearsal:
        return self.rehearsals.rehearsal(name, node)

    # --- scenes ----------------------------------------------------------------------------------------------------

    def _scenes(self) -> dict[str, Scene]:
        made: dict[str, Scene] = {}
        try:
            for name, node in self._of("scene"):
                made[name] = self._scene(name, node)
        except TooLong:
            pass
        return made

    def _scene(self, name: str, node: Node) -> Scene:
        writer, draft = self._written(name, node, None)
        if writer.asks_everything:  # a second time, now that it is known what everything is
            writer, draft = self._written(name, node, tuple(writer.writes))
        self.spent += writer.statements
        scene = Scene(
            name,
            node.place,
            draft.block,
            tuple(draft.heads),
            draft.again,
            tuple(draft.takes),
            draft.when_stopped,
            tuple(writer.writes),
            tuple(writer.reads),
            draft.accepts_flashing,
            draft.fits[1] if draft.fits else None,
        )
        return self.fitting.scene(scene, draft.fits[0] if draft.fits else None)

    def _written(self, name: str, node: Node, everything: tuple[str, ...] | None) -> tuple[Writer, _Draft]:
        writer = Writer(self.names, self.conditions, self.manners, STATEMENTS, name)
        writer.everything = everything
        writer.spent = self.spent
        draft = _Draft()
        scope = Scope(first_line=node.place.line)
        lines = list(node.nodes())
        seen: set[str] = set()
        for line in lines:
            if line.kind not in heads.TOP:
                continue
            if line.kind in heads.ONCE and line.kind in seen:
                what = f"{heads.ONCE[line.kind]} stands here for the second time"
                self.names.report(line.place, what, "a scene has one: put both together")
            seen.add(line.kind)
            try:
                self._head(writer, line, draft, scope)
            except Refused:
                continue
        draft.block = writer.lines((line for line in lines if line.kind not in heads.TOP), scope)
        return writer, draft

    def _head(self, writer: Writer, line: Node, draft: _Draft, scope: Scope) -> None:
        if line.kind == "again":
            way = line.node(*heads.AGAIN)
            draft.again = heads.AGAIN[way.kind] if way else Again.CARRY_ON
        elif line.kind == "accepts":
            draft.accepts_flashing = heads.reason(writer, line)
        elif line.kind == "fit":
            draft.fits = heads.fit(writer, line)
        elif line.kind == "takes":
            draft.takes.append(heads.takes(writer, line))
        elif line.kind == "when_stopped":
            writer.closing = {}
            draft.when_stopped = writer.block(line.node("block"), scope)
            writer.closing = None
        else:
            draft.heads.append(heads.HEADS[line.kind](writer, line))

    # --- what nobody uses ------------------------------------------------------------------------------------------

    def _routines(self) -> None:
        """A routine that nobody does is looked at all the same, where it can be: without parameters to fill in."""
        for name, node in self._of("routine"):
            symbol = self.names.symbols[name]
            seen: dict[str, Word] = {}
            for word in parameters(node):
                first = seen.setdefault(word.text, word)
                known = self.names.symbols.get(word.text)
                if first is not word or known is not None:
                    what = f"`{word.text}` is already the name of {known.described if known else 'another parameter'}"
                    self.names.report(word.place, what, "choose another")
            if name not in self.names.used and not seen:
                writer = Writer(self.names, self.conditions, self.manners, STATEMENTS, "")
                scope = Scope(first_line=node.place.line, calls=((symbol.name, node.place),))
                try:
                    writer.block(node.node("block"), scope)
                except TooLong:
                    continue

    def _unused(self) -> None:
        """Advice, one for each definition; none while a line that may use it could not be read."""
        if self.names.something_broken:
            return
        for symbol in self.names.symbols.values():
            if symbol.sort in DEFINED and symbol.name not in self.names.used:
                what = _ADVICE[symbol.sort].format(symbol.name)
                self.names.report(symbol.place, what, "take it out, or use it", OPEN, advice=True)


def _takes(scene: Scene, others: Iterable[Scene]) -> Iterator[Takes]:
    """All that it writes, from each other scene that writes it, too."""
    for other in others:
        both = tuple(name for name in scene.writes if name in other.writes)
        if both and other.name != scene.name:
            yield Takes(scene.place, both, other.name)


def _broken(item: Node) -> Iterator[Node]:
    """Every part of an item that could not be read."""
    todo = [item]
    while todo:
        node = todo.pop()
        if node.kind == "broken" or (node is item and any(word.text.startswith(_INVENTED) for word in node.words())):
            yield node
        todo.extend(part for part in node.parts if type(part) is Node)
