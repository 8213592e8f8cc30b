"""Who waits for a change: an index from what can change to those that must then look again, in their order."""

from __future__ import annotations

from typing import Protocol

from engine.conditions import Term, atoms, instantaneous
from engine.stage import Key, key_of
from engine.truth import Memory, Question, Truth

_RANK = {"memory": 0, "guard": 1, "head": 2, "wait": 3}


class Looker(Protocol):
    """Something that is told whether its condition holds, whenever it may have changed."""

    def look(self, holds: bool) -> None: ...


class Watch:
    """A condition's truth at settled instants: (instant, truth), the first entry at the first instant."""

    def __init__(self, truth: Truth, term: Term) -> None:
        self.term = term
        self.changes: list[tuple[int, bool]] = []
        self._truth = truth
        self._ask = truth.question(term)
        self._becoming = instantaneous(term)

    def settle(self, now_us: int) -> None:
        """The instant is over: note the truth if it is another than before."""
        while self.changes and self.changes[-1][0] >= now_us:
            self.changes.pop()  # the instant is worked again, with more inputs
        self._truth.settling = True
        holds = self._ask()
        self._truth.settling = False
        self._note(now_us, holds)
        if holds and self._becoming:
            self._note(now_us + 1, False)  # a becoming lasts for its instant only

    def _note(self, at_us: int, holds: bool) -> None:
        if not self.changes or self.changes[-1][1] != holds:
            self.changes.append((at_us, holds))


class Watchers:
    """Guards, heads and waits by what they read. Looked at in that order, each kind in the order it began."""

    def __init__(self, truth: Truth) -> None:
        self._truth = truth
        self._number = 0
        self._readers: dict[Key, dict[object, tuple[int, int]]] = {}
        self._entries: dict[object, tuple[Question, list[Key]]] = {}

    def add(self, looker: Looker | Memory, kind: str, term: Term, *also: Key) -> None:
        """Have it look again when anything that the term reads changes, or one of `also`."""
        self._number += 1
        keys = [key_of(atom) for atom in atoms(term)]
        keys += also
        self._entries[looker] = (self._truth.question(term), keys)
        rank = (_RANK[kind], self._number)
        for key in keys:
            self._readers.setdefault(key, {})[looker] = rank

    def remove(self, looker: object) -> None:
        found = self._entries.pop(looker, None)
        if found is not None:
            for key in found[1]:
                self._readers[key].pop(looker, None)

    def affected(self, keys: set[Key]) -> list[object]:
        """Everybody who reads one of the keys, in the order in which they look."""
        found: dict[object, tuple[int, int]] = {}
        for key in keys:
            found.update(self._readers.get(key, ()))
        return sorted(found, key=found.__getitem__)

    def look(self, looker: object) -> None:
        """Let one look, unless an earlier one in this round has removed it."""
        entry = self._entries.get(looker)
        if entry is not None:
            looker.look(entry[0]())  # type: ignore[attr-defined]
