"""What conditions mean at an instant: each term becomes a function of the present, made once.

`Held` and `Becomes` have a memory; the kernel asks them first in every round in which something they read changed.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from engine.conditions import All, Any, AtLeast, Atom, Becomes, Held, Not, Sort, Term, Test, atoms, parts
from engine.layout import OUT_OF_USE, Kind
from engine.stage import Key, OutputNow, Shown, Stage, key_of
from engine.waves import Flashing, State, Steady, endless, shines, under_way

Question = Callable[[], bool]
Asked = OutputNow | Shown

_COMPARE: dict[Test, Callable[[float, float], bool]] = {
    Test.ABOVE: operator.gt,
    Test.BELOW: operator.lt,
    Test.AT_LEAST: operator.ge,
    Test.AT_MOST: operator.le,
    Test.EQUAL: operator.eq,
}


def _under_way(now: Asked, at: int, _: float) -> bool:
    return under_way(now.wave, at)


def _arrived(now: Asked, at: int, amount: float) -> bool:
    wave = now.wave
    if type(wave) is Steady:  # by far the most frequent
        return wave.value == amount and now.reachable and at >= now.sure_us
    return (
        now.reachable
        and at >= now.sure_us
        and not endless(wave)
        and not under_way(wave, at)
        and wave.value_at(at) == amount
    )


def _shows_colour(now: Asked, at: int, amount: float) -> bool:
    """One of a lamp's named colours, also while a light's character changes them: there is no way between two."""
    return round(now.wave.value_at(at)) == amount


def _between(now: Asked, at: int, _: float) -> bool:
    return now.reachable and not any(_arrived(now, at, position.degrees) for position in now.output.positions)


def _at_rest(now: Asked, at: int, _: float) -> bool:
    rest = now.output.rest
    if rest.blink is not None:
        return isinstance(now.wave, Flashing) and now.wave.blink == rest.blink
    return _arrived(now, at, rest.value)


def _comparing(compare: Callable[[float, float], bool]) -> Callable[[Asked, int, float], bool]:
    return lambda now, at, amount: compare(now.wave.value_at(at), amount)


_OUTPUT: dict[Test, Callable[[Asked, int, float], bool]] = {
    Test.ON: lambda now, at, _: shines(now.wave, at),
    Test.LIT: lambda now, at, _: now.wave.value_at(at) > 0,
    Test.FLASHING: lambda now, at, _: now.wave.state is State.FLASHING,
    Test.FADING: _under_way,
    Test.FLICKERING: lambda now, at, _: now.wave.state is State.FLICKERING,
    Test.MOVING: _under_way,
    Test.ARRIVED: _arrived,
    Test.BETWEEN: _between,
    Test.AT_REST: _at_rest,
    **{test: _comparing(compare) for test, compare in _COMPARE.items()},
}
_LEVELS = {Test.LIT, *_COMPARE}

_DETECTOR = {
    Test.OCCUPIED: ("occupied", "unknown"),  # unknown is occupied: fail to the safe side
    Test.CLEAR: ("clear",),
    Test.UNKNOWN: ("unknown",),
    Test.OUT_OF_USE: (OUT_OF_USE,),
}
_NOT_KNOWN = ("unknown", OUT_OF_USE)
_SCENE = {Test.RUNNING: ("running", "stopping"), Test.ENDED: ("ended",), Test.STOPPED: ("stopped",)}

BETWEEN = -2  # a round in which nothing fires


class Memory:
    """A term with a memory: since when `Held` has held, in which round `Becomes` fired."""

    __slots__ = ("fired_at", "fired_round", "inner", "keys", "known", "since", "term", "timer", "was")

    def __init__(self, term: Held | Becomes, inner: Question, keys: list[Key]) -> None:
        self.term = term
        self.inner = inner
        self.keys = keys
        self.since: int | None = None
        self.was = False
        self.known = False
        self.fired_round = -1
        self.fired_at = -1
        self.timer = 0


def _all(parts: list[Question]) -> Question:
    def ask() -> bool:
        for part in parts:  # noqa: SIM110  a generator for each question would cost more than the question
            if not part():
                return False
        return True

    return ask


def _any(parts: list[Question]) -> Question:
    def ask() -> bool:
        for part in parts:  # noqa: SIM110
            if part():
                return True
        return False

    return ask


class Truth:
    """Makes questions of terms and keeps the memories. `round` is counted up by the kernel."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.round = 0
        self.settling = False  # at the end of an instant: what became true in any of its rounds counts
        self.memories: dict[Term, Memory] = {}
        self._questions: dict[Term, Question] = {}

    def question(self, term: Term) -> Question:
        """A function that tells whether the term holds now. Making it also starts the memories in it."""
        found = self._questions.get(term)
        if found is None:
            found = self._questions[term] = self._make(term)
        return found

    def forget_but(self, terms: Iterable[Term]) -> list[Memory]:
        """Keep the memories in these terms only, as they are; those that are forgotten. Questions are made again."""
        wanted = {part for term in terms for part in parts(term) if isinstance(part, Held | Becomes)}
        gone = [memory for term, memory in self.memories.items() if term not in wanted]
        self.memories = {term: memory for term, memory in self.memories.items() if term in wanted}
        self._questions.clear()
        return gone

    @contextmanager
    def between_instants(self) -> Iterator[None]:
        """Ask as if this instant were over and the next had not come: what is true for an instant only is not."""
        round_now, self.round = self.round, BETWEEN
        try:
            yield
        finally:
            self.round = round_now

    def _make(self, term: Term) -> Question:
        match term:
            case Atom():
                return self._atom(term)
            case All(terms):
                return _all([self.question(part) for part in terms])
            case Any(terms):
                return _any([self.question(part) for part in terms])
            case AtLeast(count, terms):
                parts = [self.question(part) for part in terms]
                return lambda: sum(part() for part in parts) >= count
            case Not(inner):
                part = self.question(inner)
                return lambda: not part()
            case Held() | Becomes():
                return self._remembered(term)

    def _atom(self, atom: Atom) -> Question:
        stage, subject, test, amount = self.stage, atom.subject, atom.test, atom.amount
        match atom.sort:
            case Sort.OUTPUT | Sort.SHOWN:
                return self._output(stage.outputs[subject], test, amount, atom.sort is Sort.SHOWN)
            case Sort.DETECTOR:
                detector, states = stage.detectors[subject], _DETECTOR[test]
                return lambda: detector.state in states
            case Sort.SCENE:
                names = _SCENE[test]
                return lambda: stage.scenes[subject] in names
            case Sort.COUNTER:
                compare = _COMPARE[test]
                return lambda: compare(stage.counters[subject], amount)
            case Sort.BUTTON:
                return lambda: stage.pressed[subject]
            case Sort.FLAG:
                return lambda: stage.flags[subject]
            case Sort.LINK:
                return lambda: stage.links[subject] == "talking"
            case Sort.TRAIN if test is Test.REACHES:
                return lambda: self.settling and stage.reached_us[subject] == stage.now_us
            case Sort.TRAIN:
                return lambda: stage.trains_on[subject] > 0

    def _output(self, now: OutputNow, test: Test, amount: float, shown: bool) -> Question:
        if test is Test.PAST:  # asked as a threshold: as a share it might turn true a rounding after its alarm has rung
            start, end = now.output.span
            return self._output(now, Test.ABOVE if end > start else Test.BELOW, start + (end - start) * amount, shown)
        stage, ask = self.stage, _OUTPUT[test]
        now.read = True
        if test in _LEVELS:
            now.asked_about(amount)
        if test is Test.ARRIVED and now.output.kind is Kind.COLOUR:
            ask = _shows_colour
            for edge in (amount - 0.5, amount + 0.5):
                now.asked_about(edge)
        asked = Shown(now) if shown else now
        return lambda: ask(asked, stage.now_us, amount)

    def _remembered(self, term: Held | Becomes) -> Question:
        inner = self.question(term.term)
        memory = self.memories.get(term)  # one that was kept, while all questions are made again
        if memory is None:
            memory = self.memories[term] = Memory(term, inner, [key_of(atom) for atom in atoms(term)])
        if isinstance(term, Held):
            for_us = term.for_us
            return lambda: memory.since is not None and self.stage.now_us - memory.since >= for_us
        return lambda: memory.fired_round == self.round or (self.settling and memory.fired_at == self.stage.now_us)

    def known(self, memory: Memory) -> bool:
        """Whether every detector that the term reads is known."""
        detectors = self.stage.detectors
        read = (detectors[name].state for sort, name in memory.keys if sort is Sort.DETECTOR)
        return all(state not in _NOT_KNOWN for state in read)

    def remember(self, memory: Memory) -> int | None:
        """Look at a term with a memory once; for `Held`, the instant at which it will have held long enough."""
        holds, now_us = memory.inner(), self.stage.now_us
        if isinstance(memory.term, Held):
            if not holds:
                memory.since = None
            elif memory.since is None:
                memory.since = now_us
                return now_us + memory.term.for_us
            return None
        if holds and not memory.was and memory.known:
            memory.fired_round, memory.fired_at = self.round, now_us
        memory.was, memory.known = holds, self.known(memory)
        return None
