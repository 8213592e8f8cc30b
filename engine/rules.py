"""Rules at work: each line bound to the present of one kernel, fed at settled instants, and what breaks told.

The same for rehearsals, for the search and for a live show. Which line breaks when is decided in `engine.monitors`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, NamedTuple

from engine.conditions import All, Atom, Not, Sort, Term, as_shown, atoms, instantaneous
from engine.levels import Closeness, closeness
from engine.monitors import Amount, Breach, Margin, Monitor, Verdict
from engine.monitors_counting import AtLeast, AtMost
from engine.monitors_never import Never, NeverLonger
from engine.monitors_order import Earlier, Follows, Lead
from engine.program import Program, Rule, RuleLine
from engine.proven import Passages
from engine.queue import GUARD
from engine.stage import Alarm, Key, key_of
from engine.swapping import alike
from engine.truth import Question

if TYPE_CHECKING:
    from engine.kernel import Kernel


class Judgement(NamedTuple):
    """What a line of a rule has come to. `unit` is of the margin: "us", "times", "%", "deg", "lux"."""

    rule: Rule
    line: RuleLine
    verdict: Verdict
    margin: Margin | None
    unit: str
    breaches: tuple[Breach, ...]
    broken: int  # how many breaches there were; of very many only the first are kept
    guilty: tuple[Atom, ...]  # what was so at the first breach, of all that the line asks


class Broken(NamedTuple):
    """A line that has just broken. `number` counts the lines of all rules, from 0; `guilty` is what was so just then,
    of all that the line asks."""

    number: int
    rule: Rule
    line: RuleLine
    breach: Breach
    guilty: tuple[Atom, ...] = ()


def _never(line: RuleLine) -> list[Term]:
    """What must never hold all at once. `always A while B` is `never not A while B`; a lone A is what `and` joins."""
    said, *circumstance = [condition.term for condition in line.conditions]
    if line.form.startswith("always"):
        return [Not(said), *circumstance]
    return list(said.terms) if isinstance(said, All) and not circumstance else [said, *circumstance]


def _in_order(line: RuleLine) -> list[Term]:
    return [condition.term for condition in line.conditions]


def _make_never(line: RuleLine, parts: int) -> Monitor:
    return NeverLonger(line.times_us[0]) if line.times_us else Never(parts)


def _within(line: RuleLine) -> int | None:
    return line.times_us[0] if line.times_us else None


class _Form(NamedTuple):
    """A sentence's shape: the terms that its monitor is fed, and the monitor."""

    terms: Callable[[RuleLine], list[Term]]
    make: Callable[[RuleLine, int], Monitor]


_FORMS: dict[str, _Form] = {
    "never": _Form(_never, _make_never),
    "never while": _Form(_never, _make_never),
    "always": _Form(_never, _make_never),
    "always while": _Form(_never, _make_never),
    "at least before": _Form(_in_order, lambda line, _: Lead(line.times_us[0])),
    "before": _Form(_in_order, lambda line, _: Earlier()),
    "whenever within": _Form(_in_order, lambda line, _: Follows(*line.times_us)),
    "at most": _Form(_in_order, lambda line, _: AtMost(line.count, _within(line))),
    "at least": _Form(_in_order, lambda line, _: AtLeast(line.count, _within(line))),
}


class Sentence(NamedTuple):
    """One line of one rule, with all that can be known of it before a kernel is there."""

    rule: Rule
    line: RuleLine
    terms: tuple[Term, ...]  # what its monitor is fed
    asked: tuple[Atom, ...]
    keys: frozenset[Key]
    instants: bool  # whether something in it is true for an instant only


def sentences(rules: Iterable[Rule]) -> tuple[Sentence, ...]:
    """Every line of the rules, in the order written. Who plays many cases makes them once."""
    return tuple(_sentence(rule, line) for rule in rules for line in rule.lines)


def _sentence(rule: Rule, line: RuleLine) -> Sentence:
    terms = tuple(as_shown(term) for term in _FORMS[line.form].terms(line))
    asked = tuple(dict.fromkeys(atom for term in terms for atom in atoms(term)))
    return Sentence(rule, line, terms, asked, frozenset(map(key_of, asked)), any(map(instantaneous, terms)))


class _Judge:
    """One line of one rule at work."""

    def __init__(self, kernel: Kernel, number: int, sentence: Sentence) -> None:
        self.number = number
        self.rule, self.line, terms, self._asked, self.keys, self._instants = sentence
        self.monitor = _FORMS[self.line.form].make(self.line, len(terms))
        self.alarm = Alarm(self)
        self.due: int | None = None
        self.guilty: tuple[Atom, ...] = ()
        self._kernel = kernel
        self._asks: list[Question] = [kernel.truth.question(term) for term in terms]
        # where trains are is known by detectors only in a live show; in a rehearsal whatever detectors say
        by_detectors = (Sort.DETECTOR,) if kernel.passages is None else (Sort.DETECTOR, Sort.TRAIN)
        self._detectors = [kernel.stage.detectors[name] for sort, name in self.keys if sort in by_detectors]
        self._counts = False  # everything that it reads has been known once
        self._after: tuple[int, list[bool]] | None = None  # from when on it is how, where something lasts an instant
        self._closeness: Closeness | None = closeness(terms, kernel.stage) if isinstance(self.monitor, Never) else None

    def settle(self, now_us: int) -> Broken | None:
        """Feed it the present; the breach, if that was one."""
        if not self._counts:
            if any(detector.state == "unknown" for detector in self._detectors):
                return None
            self._counts = True
        monitor, before = self.monitor, self.monitor.broken
        self._pass_instant(now_us)
        truth = self._kernel.truth
        truth.settling = True
        holds = [ask() for ask in self._asks]
        truth.settling = False
        if self._closeness is not None:
            self._closeness.settle(now_us, holds)
        monitor.settle(now_us, holds)
        if self._instants:
            with truth.between_instants():
                self._after = now_us + 1, [ask() for ask in self._asks]
        self.due = monitor.next_due()
        if monitor.broken == before:
            return None
        guilty = self._so_now()
        self.guilty = self.guilty or guilty
        latest = monitor.breaches[-1] if monitor.broken == len(monitor.breaches) else Breach(now_us, now_us)
        return Broken(self.number, self.rule, self.line, latest, guilty)

    def _pass_instant(self, now_us: int) -> None:
        """What was true for the last instant only is so no more."""
        if self._after is not None and self._after[0] < now_us:
            self.monitor.settle(*self._after)
        self._after = None

    def _so_now(self) -> tuple[Atom, ...]:
        truth = self._kernel.truth
        truth.settling = True
        found = tuple(atom for atom in self._asked if truth.question(atom)())
        truth.settling = False
        return found

    def judgement(self, at_us: int) -> Judgement:
        """What it has come to, if everything ended at this instant."""
        monitor = self.monitor
        if not self._counts:
            return Judgement(self.rule, self.line, Verdict.SILENT, None, "us", (), 0, ())
        self._pass_instant(at_us)
        verdict, margin, unit = monitor.finish(at_us), monitor.margin, "us"
        if self._closeness is not None:
            self._closeness.finish(at_us)
            margin, unit = self._closeness.margin, self._closeness.unit
        elif margin is not None and margin.unit is Amount.TIMES:
            unit = "times"
        breaches = tuple(monitor.breaches)
        return Judgement(self.rule, self.line, verdict, margin, unit, breaches, monitor.broken, self.guilty)


class Rules:
    """Every line of a program's rules, watching one kernel. Make it before the first instant.

    `makes_safe`: whether a broken rule without `if broken` puts what it is about into its safe state, as in a live
    show. A rehearsal only judges: what comes after a first breach would else be hidden by it.
    """

    def __init__(self, kernel: Kernel, lines: Iterable[Sentence], makes_safe: bool = False) -> None:
        self._kernel = kernel
        self.makes_safe = makes_safe
        self.answered_at: dict[str, int] = {}  # when something was last done about a rule
        self.tell: Callable[[Broken], None] | None = None  # hears of each line that breaks
        self._judges = [_Judge(kernel, number, line) for number, line in enumerate(lines)]
        self._readers: dict[Key, list[_Judge]] = {}
        self._fresh = dict.fromkeys(self._judges)  # those that have seen nothing yet
        self._next_due: int | None = None
        self._know_readers()
        kernel.rules = self

    def take_up(self, lines: Iterable[Sentence]) -> None:
        """Other rules: lines that are alike go on as they stand, the others begin at this instant."""
        left: dict[str, list[_Judge]] = {}
        for judge in self._judges:
            left.setdefault(judge.rule.name, []).append(judge)
        self._judges = [self._found(left, number, line) for number, line in enumerate(lines)]
        for judge in (one for ones in left.values() for one in ones):
            judge.alarm.timer = 0
        self._know_readers()

    def _found(self, left: dict[str, list[_Judge]], number: int, line: Sentence) -> _Judge:
        of_rule = left.get(line.rule.name, [])
        found = next((one for one in of_rule if alike(one.line, line.line)), None)
        if found is None:
            found = _Judge(self._kernel, number, line)
            self._fresh[found] = None
        else:
            of_rule.remove(found)
            found.number, found.rule, found.line = number, line.rule, line.line
        return found

    def _know_readers(self) -> None:
        self._readers = {}
        for judge in self._judges:
            for key in judge.keys:
                self._readers.setdefault(key, []).append(judge)
        self._next_due = min((judge.due for judge in self._judges if judge.due is not None), default=None)

    def settle(self, now_us: int, changed: Iterable[Key]) -> list[Broken]:
        """The instant is over: `changed` is what may be other than before. What has broken now."""
        affected, self._fresh = self._fresh, {}
        for key in changed:
            for judge in self._readers.get(key, ()):
                affected[judge] = None
        if self._next_due is not None and self._next_due <= now_us:
            affected |= {judge: None for judge in self._judges if judge.due is not None and judge.due <= now_us}
        return self._feed(affected, now_us) if affected else []

    def _feed(self, affected: dict[_Judge, None], now_us: int) -> list[Broken]:
        found = []
        for judge in sorted(affected, key=lambda judge: judge.number):  # in the order written, whatever was first
            broken = judge.settle(now_us)
            if broken is not None:
                found.append(broken)
            if judge.due is not None and judge.due > now_us:
                self._kernel.queue.push(judge.due, GUARD, judge.alarm)
        self._next_due = min((judge.due for judge in self._judges if judge.due is not None), default=None)
        if self.tell is not None:
            for one in found:
                self.tell(one)
        return found

    def judgements(self, at_us: int) -> tuple[Judgement, ...]:
        """What every line has come to, if everything ended at this instant, in the order written."""
        return tuple(judge.judgement(at_us) for judge in self._judges)


class Lasting(Rules):
    """Rules of a live show: whatever goes wrong in judging them ends the judging, and never the show."""

    def take_up(self, lines: Iterable[Sentence]) -> None:
        """As ever; if these are the first that ask where trains are, that is followed from now on."""
        kernel = self._kernel
        if kernel.passages is None and asks_trains(kernel.program):
            states = {name: now.state for name, now in kernel.stage.detectors.items()}
            kernel.believe(Passages(kernel.program.layout, states))
        super().take_up(lines)

    def settle(self, now_us: int, changed: Iterable[Key]) -> list[Broken]:
        try:
            return super().settle(now_us, changed)
        except Exception as problem:  # nothing outside judges by it, so nothing outside may fall with it
            self._kernel.rules = None
            self._kernel.trouble(f"rules are not judged any more, for a reason of our own: {problem!r}")
            return []

    def judgements(self, at_us: int) -> tuple[Judgement, ...]:
        return super().judgements(at_us) if self._kernel.rules is self else ()


def asks_trains(program: Program) -> tuple[str, ...]:
    """The detectors by which the rules ask where trains are."""
    conditions = (one for rule in program.rules.values() for line in rule.lines for one in line.conditions)
    asked = (atom for condition in conditions for atom in atoms(condition.term))
    return tuple(dict.fromkeys(atom.subject for atom in asked if atom.sort is Sort.TRAIN))
