"""One driver an output: branches of one `together`, and scenes that can run at once, must not tell the same output."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from engine.conditions import All, Any, Atom, Not, Term, Test
from engine.layout import Place
from engine.program import (
    Count,
    ForEach,
    Note,
    OnlyWhile,
    Program,
    RunScene,
    Scene,
    SetFlag,
    StopOthers,
    StopScene,
    Together,
)
from scenes.problems import Problem
from scenes.walking import guards, walk, whole, written

CLASHES = 200  # pairs of scenes told of at most; a file with more has one cause for all of them
SIDE_BY_SIDE = (0, 0)  # how far apart such members start
COMPARED = 2_000  # parts of two conditions looked at to see whether they exclude each other


def branches(program: Program) -> Iterator[Problem]:
    """Two branches of a `together`, or two members of a `for each ... side by side`, that tell one output."""
    for scene in program.scenes.values():
        for statement in walk(*whole(scene)):
            if isinstance(statement, Together):
                yield from _branches(statement)
            elif isinstance(statement, ForEach) and statement.apart_us == SIDE_BY_SIDE:
                yield from _members(statement)


def _branches(together: Together) -> Iterator[Problem]:
    before: dict[str, Place] = {}
    for branch in together.branches:
        here = written(branch)
        name = next((name for name in here if name in before), None)
        if name is not None:
            what = f"two lines that run side by side both tell `{_said(name)}` what to do"
            instead = "Put them one after the other under `in order`, or leave one out."
            yield Problem(here[name], _sentence(what), instead, also=((before[name], "the other line"),))
        before = {**here, **before}


def _members(each: ForEach) -> Iterator[Problem]:
    told_by: dict[str, str] = {}
    for member in each.members:
        here = written(member.block)
        name = next((name for name in here if name in told_by), None)
        if name is not None:
            what = (
                f"this runs for `{told_by[name]}` and `{member.name}` side by side, "
                f"and both tell `{_said(name)}` what to do"
            )
            instead = "Put the line outside the `for each`, or leave out `side by side`."
            yield Problem(here[name], _sentence(what), instead, also=((each.place, "the `for each`"),))
            return
        told_by.update(dict.fromkeys(here, member.name))


def scenes_at_once(program: Program) -> Iterator[Problem]:
    """Two scenes that can run at once and tell one output, with no word about who has it."""
    drivers: dict[str, list[str]] = {}
    for scene in program.scenes.values():
        for output in scene.writes:
            drivers.setdefault(output, []).append(scene.name)
    shared: dict[tuple[str, str], list[str]] = {}
    for output, names in drivers.items():
        for pair in combinations(names, 2):
            shared.setdefault(pair, []).append(output)
            if len(shared) > 50 * CLASHES:
                break
    meeting = _Meeting(program)
    told = 0
    for (first, second), outputs in shared.items():
        left = meeting.unsettled(program.scenes[first], program.scenes[second], outputs)
        if left and told < CLASHES:
            told += 1
            yield _clash(program.scenes[first], program.scenes[second], left)


def _clash(first: Scene, second: Scene, outputs: list[str]) -> Problem:
    here_at, there_at = _lines(second), _lines(first)
    name = _said(next((one for one in outputs if _said(one) in here_at), outputs[0]))
    more = len(dict.fromkeys(map(_said, outputs))) - 1
    told = f"`{name}`" + (f" and {more} more" if more else "")
    what = f"The scenes `{first.name}` and `{second.name}` can run at once, and both tell {told} what to do."
    instead = f"Write `takes {name} from {first.name}` in the scene that shall have it, here `{second.name}`."
    here, there = here_at.get(name, second.place), there_at.get(name, first.place)
    return Problem(here, what, instead, also=((there, f"the line of `{first.name}`"),))


def _lines(scene: Scene) -> dict[str, Place]:
    """The first line of a scene that tells an output its level; where none does, the first that tells its colour."""
    found = written(*whole(scene))
    levels = {name: place for name, place in found.items() if _said(name) == name}
    return {_said(name): place for name, place in found.items()} | levels


def _said(output: str) -> str:
    """An output as a scene calls it: the colour of a lamp goes by the lamp's name."""
    return output.partition(" ")[0]


class _Meeting:
    """Which scenes can run at once."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.runs: dict[str, set[str]] = {}
        self.starters: dict[str, list[tuple[str, RunScene]]] = {}
        for scene in program.scenes.values():
            for statement in walk(*whole(scene)):
                if isinstance(statement, RunScene):
                    self.starters.setdefault(statement.scene, []).append((scene.name, statement))
                    if statement.waits:
                        self.runs.setdefault(scene.name, set()).add(statement.scene)

    def unsettled(self, first: Scene, second: Scene, outputs: list[str]) -> list[str]:
        """The outputs that both may tell at once and that neither takes from the other."""
        taken = _taken(first, second.name) | _taken(second, first.name)
        left = [output for output in outputs if output not in taken]
        if not left or self._reaches(first.name, second.name) or self._reaches(second.name, first.name):
            return []
        if self._never_together(first, second) or self._one_after_the_other(first, second):
            return []
        return left

    def _reaches(self, first: str, second: str) -> bool:
        """Whether the first waits for the second with `run`, directly or through others."""
        seen, todo = {first}, [first]
        while todo:
            for name in self.runs.get(todo.pop(), ()):
                if name == second:
                    return True
                if name not in seen:
                    seen.add(name)
                    todo.append(name)
        return False

    def _never_together(self, first: Scene, second: Scene) -> bool:
        """Conditions that exclude each other, or scenes that stop each other before they do anything."""
        if self._stops(first, second) and self._stops(second, first):
            return True
        ours = [head.condition.term for head in first.heads if isinstance(head, OnlyWhile)]
        theirs = [head.condition.term for head in second.heads if isinstance(head, OnlyWhile)]
        if not ours or not theirs or len(ours) < len(first.heads) or len(theirs) < len(second.heads):
            return False
        return all(excludes(one, other) for one in ours for other in theirs)

    def _stops(self, scene: Scene, other: Scene) -> bool:
        for statement in scene.block:
            if isinstance(statement, StopScene) and statement.scene == other.name:
                return True
            if isinstance(statement, StopOthers):
                return not guards(other, self.program.layout)
            if not isinstance(statement, StopScene | SetFlag | Count | Note):
                return False
        return False

    def _one_after_the_other(self, first: Scene, second: Scene) -> bool:
        """Both are only ever run, one at a time, by one and the same scene."""
        if first.heads or second.heads:
            return False
        started = [*self.starters.get(first.name, ()), *self.starters.get(second.name, ())]
        parents = {parent for parent, _ in started}
        both = first.name in self.starters and second.name in self.starters
        if not both or len(parents) != 1 or not all(run.waits for _, run in started):
            return False
        parent = self.program.scenes[parents.pop()]
        for statement in walk(*whole(parent)):
            if isinstance(statement, Together):
                sides = [{one.scene for one in walk(side) if isinstance(one, RunScene)} for side in statement.branches]
                one, other = ([i for i, side in enumerate(sides) if name in side] for name in (first.name, second.name))
                if any(i != j for i in one for j in other):
                    return False
        return True


def _taken(scene: Scene, other: str) -> set[str]:
    return {output for takes in scene.takes if takes.scene == other for output in takes.outputs}


# --- conditions that exclude each other ----------------------------------------------------------------------------

_OPPOSITE = {Test.CLEAR: Test.OCCUPIED}  # unknown counts as occupied, so one of the two always holds


def excludes(first: Term, second: Term) -> bool:
    """Whether it can be seen from their shape that two conditions never hold at once."""
    return _excludes(_plain(first, True), _plain(second, True), [COMPARED])


def _plain(term: Term, positive: bool) -> Term:
    """With `not` pushed down to single questions, and `clear` as not occupied."""
    match term:
        case Not(inner):
            return _plain(inner, not positive)
        case All(terms) | Any(terms):
            parts = tuple(_plain(one, positive) for one in terms)
            return All(parts) if isinstance(term, All) is positive else Any(parts)
        case Atom(sort, subject, test, amount) if test in _OPPOSITE:
            return _plain(Atom(sort, subject, _OPPOSITE[test], amount), not positive)
        case _:
            return term if positive else Not(term)


def _excludes(first: Term, second: Term, left: list[int]) -> bool:
    left[0] -= 1
    if left[0] < 0:
        return False
    if isinstance(first, Any):
        return all(_excludes(one, second, left) for one in first.terms)
    if isinstance(second, Any):
        return all(_excludes(first, one, left) for one in second.terms)
    if isinstance(first, All):
        return any(_excludes(one, second, left) for one in first.terms)
    if isinstance(second, All):
        return any(_excludes(first, one, left) for one in second.terms)
    if isinstance(first, Not) != isinstance(second, Not):
        return (first.term if isinstance(first, Not) else Not(first)) == second
    return _two_values(first, second)


def _two_values(first: Term, second: Term) -> bool:
    """One output at two values, or one counter at two counts."""
    match first, second:
        case Atom(sort, subject, test, amount), Atom(sort_2, subject_2, test_2, amount_2):
            same = (sort, subject, test) == (sort_2, subject_2, test_2)
            return same and test in (Test.ARRIVED, Test.EQUAL) and amount != amount_2
        case _:
            return False


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."
