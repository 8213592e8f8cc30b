"""Time that never passes and time that never ends: loops, lines after an endless loop, waits that nothing can end."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import NamedTuple

from engine.conditions import All, Any, AtLeast, Atom, Becomes, Held, Not, Sort, Term, Test, atoms
from engine.layout import Output
from engine.program import Block, Count, Deed, ForEach, Program, Repeat, RunScene, SetFlag, WaitUntil
from scenes.check_drivers import excludes
from scenes.problems import Problem
from scenes.walking import every_block, is_endless, takes_time, walk, whole

COMPARED = 20  # parts of one condition looked at in pairs


def loops(program: Program) -> Iterator[Problem]:
    """A loop in which nothing can take time: it would go round for ever in one instant."""
    for scene in program.scenes.values():
        for statement in walk(*whole(scene)):
            if not isinstance(statement, Repeat) or statement.times is not None:
                continue
            if not any(takes_time(inner) for inner in walk(statement.block)):
                what = "Nothing in this `repeat` takes time, so it would go round for ever in one instant."
                yield Problem(statement.place, what, "Put a line such as `wait 1 s` into it.")


def after_endless(program: Program) -> Iterator[Problem]:
    """Lines that are never reached, since a loop before them never ends."""
    for scene in program.scenes.values():
        for block in every_block(*whole(scene)):
            for statement, after in pairwise(block):
                if is_endless(statement):
                    what = "This line is never reached: what stands before it goes on for ever."
                    instead = "Write `stop repeating` or `repeat until ...` there, or put both under `together`."
                    yield Problem(after.place, what, instead, also=((statement.place, "this never ends"),))
                    break
        yield from _next_member(scene.block)


def _next_member(block: Block) -> Iterator[Problem]:
    for statement in walk(block):
        if isinstance(statement, ForEach) and statement.apart_us is None and len(statement.members) > 1:
            first = statement.members[0]
            if any(is_endless(inner) for inner in first.block):
                others = "each of the others" if len(statement.members) > 2 else f"`{statement.members[1].name}`"
                what = f"The block never ends for `{first.name}`, so {others} never gets a turn."
                yield Problem(statement.place, what, "Write `side by side` at the end of the line.")


# --- waits ---------------------------------------------------------------------------------------------------------


class Can(NamedTuple):
    """Whether a condition can ever hold, and whether it can ever not hold."""

    hold: bool
    fail: bool


EITHER = Can(True, True)
NEVER = Can(False, True)


class World:
    """What the scenes can bring about: which flags, counters, outputs and scenes ever change."""

    def __init__(self, program: Program) -> None:
        self.layout = program.layout
        self.set: set[str] = set()
        self.counted: set[str] = set()
        self.started = {scene.name for scene in program.scenes.values() if scene.heads}
        self.driven = {button.ready_lamp for button in program.layout.buttons.values()}
        for scene in program.scenes.values():
            self.driven.update(scene.writes)
            for statement in walk(*whole(scene)):
                match statement:
                    case SetFlag(_, flag, True):
                        self.set.add(flag)
                    case Count(_, counter, by) if by is not None:
                        self.counted.add(counter)
                    case RunScene(_, name, _):
                        self.started.add(name)
                    case _:
                        pass
        for rehearsal in program.rehearsals.values():
            self.started.update(name for _, name, _ in rehearsal.plays)
            self.started.update(act.subject for act in rehearsal.acts if act.deed is Deed.START)

    def can(self, term: Term) -> Can:
        match term:
            case Atom():
                return self._atom(term)
            case Not(inner):
                can = self.can(inner)
                return Can(can.fail, can.hold)
            case All(terms):
                parts = [self.can(one) for one in terms]
                return Can(all(one.hold for one in parts) and not _contrary(terms), any(one.fail for one in parts))
            case Any(terms):
                parts = [self.can(one) for one in terms]
                return Can(any(one.hold for one in parts), all(one.fail for one in parts))
            case AtLeast(count, terms):
                parts = [self.can(one) for one in terms]
                must = sum(not one.fail for one in parts)
                return Can(sum(one.hold for one in parts) >= count, must < count)
            case Held(inner, _):
                return Can(self.can(inner).hold, True)
            case Becomes(inner):
                can = self.can(inner)
                return Can(can.hold and can.fail, True)

    def _atom(self, atom: Atom) -> Can:
        match atom.sort:
            case Sort.FLAG:
                return EITHER if atom.subject in self.set else NEVER
            case Sort.COUNTER:
                return EITHER if atom.subject in self.counted else _fixed(atom, 0.0)
            case Sort.SCENE:
                return EITHER if atom.subject in self.started else NEVER
            case Sort.OUTPUT if atom.subject not in self.driven and atom.subject in self.layout.outputs:
                return _at_rest(atom, self.layout.outputs[atom.subject])
            case _:
                return EITHER

    def why(self, atom: Atom) -> str:
        """Why a question always has the same answer; empty if it has not."""
        if self._atom(atom) == EITHER:
            return ""
        return _WHY[atom.sort].format(atom.subject)


_WHY = {
    Sort.FLAG: "nothing remembers `{}`",
    Sort.COUNTER: "nothing counts `{}`",
    Sort.SCENE: "nothing starts `{}`",
    Sort.OUTPUT: "no scene tells `{}` what to do",
}


def _contrary(terms: tuple[Term, ...]) -> bool:
    """Whether two of the terms exclude each other, as `lane is occupied and lane is clear`."""
    return len(terms) <= COMPARED and any(excludes(one, other) for one, other in combinations(terms, 2))


def _fixed(atom: Atom, value: float) -> Can:
    """A value that never changes."""
    holds = {
        Test.ABOVE: value > atom.amount,
        Test.BELOW: value < atom.amount,
        Test.AT_LEAST: value >= atom.amount,
        Test.AT_MOST: value <= atom.amount,
        Test.EQUAL: value == atom.amount,
        Test.ARRIVED: value == atom.amount,
        Test.ON: value != 0,
        Test.LIT: value != 0,
        Test.AT_REST: True,
    }.get(atom.test, False)
    return Can(holds, not holds)


def _at_rest(atom: Atom, output: Output) -> Can:
    if output.rest.blink is not None or atom.test in (Test.BETWEEN, Test.PAST):
        return EITHER
    return _fixed(atom, output.rest.value)


def waits(program: Program) -> Iterator[Problem]:
    """Waits for something that nothing in the files can bring about."""
    world = World(program)
    for scene in program.scenes.values():
        for statement in walk(*whole(scene)):
            if not isinstance(statement, WaitUntil) or statement.at_most_us is not None:
                continue
            term = statement.condition.term
            if world.can(term).hold:
                continue
            why = next((why for atom in atoms(term) if (why := world.why(atom))), "it contradicts itself")
            what = f"This wait never ends: {why}."
            yield Problem(statement.condition.place, what, "Wait for something that happens, or add `, at most 3 min`.")
