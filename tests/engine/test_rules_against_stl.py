"""Verdicts and margins of rules against rtamt, a library for signal temporal logic: random rules, random traces.

Each sentence is written a second time as a formula of that logic (discrete time, one step a microsecond) and judged by
the library. A verdict must be the sign of its robustness. A margin must be the amount by which the formula's bound can
be tightened until the library's verdict turns; a margin in levels must be the robustness itself.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import NamedTuple

import pytest

from engine.conditions import All, Any, Atom, Condition, Held, Not, Sort, Term, Test
from engine.drive import jump
from engine.events import Detected, Input, OutputMoved
from engine.kernel import Kernel
from engine.layout import NOWHERE, Detector, DetectorKind, Kind, Layout, Output, Setting
from engine.monitors import Verdict
from engine.program import Program, Rule, RuleLine
from engine.rules import Judgement, Rules, sentences

rtamt = pytest.importorskip("rtamt", reason="the library is not made for this Python")

LENGTH = 50
NAMES = ("p", "q", "r")
FORMULAS = 600


class Script:
    """A world that plays inputs at given instants."""

    def __init__(self, events: Sequence[tuple[int, Input]]) -> None:
        self._events = list(events)

    def next_due(self) -> int | None:
        return self._events[0][0] if self._events else None

    def advance(self, now_us: int) -> list[Input]:
        found = []
        while self._events and self._events[0][0] <= now_us:
            found.append(self._events.pop(0)[1])
        return found


def signal(draw: random.Random) -> list[bool]:
    """Changes now and then, sometimes at the very next step."""
    out, value = [], draw.random() < 0.5
    while len(out) < LENGTH:
        out += [value] * draw.choice((1, 1, 2, 3, 5, 8, 13))
        value = not value
    return out[:LENGTH]


def seldom(draw: random.Random) -> list[bool]:
    """Mostly not so."""
    out: list[bool] = []
    while len(out) < LENGTH:
        out += [False] * draw.randint(4, 20) + [True] * draw.randint(1, 3)
    return out[:LENGTH]


def robustness(formula: str, signals: dict[str, Sequence[float]]) -> list[float]:
    spec = rtamt.StlDiscreteTimeSpecification()
    length = len(next(iter(signals.values())))
    data: dict[str, Sequence[float]] = {"time": list(range(length)), "clock": list(range(length)), **signals}
    for name in [*data, "out"]:
        if name != "time":
            spec.declare_var(name, "float")
    spec.spec = f"out = {formula}"
    spec.parse()
    return [value for _, value in spec.evaluate(data)]


def holds(formula: str, signals: dict[str, Sequence[float]]) -> bool:
    found = robustness(formula, signals)[0]
    assert found != 0
    return found > 0


def signed(truth: Sequence[bool]) -> list[float]:
    return [1.0 if one else -1.0 for one in truth]


# --- conditions ----------------------------------------------------------------------------------------------------


def term(draw: random.Random, depth: int = 2) -> tuple[Term, str]:
    """A random condition, as ours and as a formula."""
    kind = draw.choice(("atom", "atom", "not", "all", "any", "held")) if depth else "atom"
    if kind == "atom":
        name = draw.choice(NAMES)
        return Atom(Sort.DETECTOR, name, Test.OCCUPIED), f"({name} > 0)"
    if kind == "not":
        inner, text = term(draw, depth - 1)
        return Not(inner), f"(not {text})"
    if kind == "held":
        inner, text = term(draw, depth - 1)
        for_us = draw.randint(1, 5)
        return Held(inner, for_us), f"((historically[0:{for_us}] {text}) and (clock > {for_us - 0.5}))"
    (one, first), (two, second) = term(draw, depth - 1), term(draw, depth - 1)
    if kind == "all":
        return All((one, two)), f"({first} and {second})"
    return Any((one, two)), f"({first} or {second})"


# --- sentences -----------------------------------------------------------------------------------------------------

RISE = {name: f"(rise({name} > 0))" for name in ("a", "b")}
BEGINS = {name: f"(rise({name} > 0) and (clock > 0.5))" for name in ("a", "b")}
BOTH = "((a > 0) and (b > 0))"


def longer(d: int) -> str:
    """Nowhere do both hold for longer than d."""
    return f"always(not((historically[0:{d}] {BOTH}) and (clock > {d - 0.5})))"


def apart(d: int) -> str:
    """Nowhere are the two within d steps of each other."""
    return f"always(not((a > 0) and ((once[0:{d}] (b > 0)) or (eventually[0:{d}] (b > 0)))))"


def lead(d: int) -> str:
    return f"always({BEGINS['b']} implies (historically[0:{d}] (a > 0)))"


def late(d: int) -> str:
    return f"always({BEGINS['b']} implies (eventually[0:{d}] (a > 0)))"


def earlier(least: int) -> str:
    since = f"((not (b > 0)) since[{least - 1}:{LENGTH}] ((a > 0) and (not (b > 0))))"
    return f"always({BEGINS['b']} implies (prev {since}))"


def follows(d: int, e: int) -> str:
    answer = f"(always[0:{e - 1}] (b > 0))" if e else "(b > 0)"
    return f"always({RISE['a']} implies (eventually[0:{d}] {answer}))"


class Case(NamedTuple):
    judgement: Judgement
    a: list[bool]
    b: list[bool]

    @property
    def signals(self) -> dict[str, Sequence[float]]:
        return {"a": signed(self.a), "b": signed(self.b)}

    @property
    def margin(self) -> int:
        assert self.judgement.margin is not None
        return round(self.judgement.margin.amount)

    def padded(self, answered: bool, by: int) -> dict[str, Sequence[float]]:
        """The trace with a tail in which nothing begins, and the answer always holds, or never."""
        return {"a": signed([*self.a, *[self.a[-1]] * by]), "b": signed([*self.b, *[answered] * by])}


def changes(kernel: Kernel, raw: dict[str, list[bool]]) -> list[tuple[int, Input]]:
    """What detectors say, from their states at the beginning, which are set here."""
    for name in NAMES:
        kernel.set_detector(name, "occupied" if raw[name][0] else "clear")
    return [
        (at, Detected(name, "occupied" if raw[name][at] else "clear"))
        for at in range(1, LENGTH)
        for name in NAMES
        if raw[name][at] != raw[name][at - 1]
    ]


def play(draw: random.Random, form: str, times: tuple[int, ...] = (), count: int = 0) -> Case:
    detectors = {name: Detector(name, DetectorKind.SECTION) for name in NAMES}
    raw = {name: signal(draw) for name in NAMES}
    terms = [term(draw), term(draw)]
    if form in ("at most", "at least"):
        terms = terms[:1]
    conditions = tuple(Condition(one, text) for one, text in terms)
    line = RuleLine(NOWHERE, form, conditions, times, count)
    kernel = Kernel(Program(Layout(detectors=detectors)))
    rules = Rules(kernel, sentences([Rule("rule", NOWHERE, (line,))]))
    jump(kernel, Script(changes(kernel, raw)), LENGTH)
    (judgement,) = rules.judgements(LENGTH - 1)
    truths = [[one > 0 for one in robustness(text, {n: signed(raw[n]) for n in NAMES})] for _, text in terms]
    return Case(judgement, truths[0], truths[-1])


def draws(form: str) -> list[random.Random]:
    return [random.Random(f"{form} {number}") for number in range(FORMULAS // 6)]


def test_never_both() -> None:
    told = 0
    for draw in draws("never"):
        case = play(draw, "never while")
        expected = holds(f"always(not {BOTH})", case.signals)
        assert (case.judgement.verdict is Verdict.HELD) == expected
        if case.judgement.margin is None:
            assert not (any(case.a) and any(case.b))
        elif expected:
            assert holds(apart(case.margin), case.signals)
            assert not holds(apart(case.margin + 1), case.signals)
            told += 1
        elif not (case.a[-1] and case.b[-1]):
            assert holds(longer(-case.margin), case.signals)
            assert not holds(longer(-case.margin - 1), case.signals)
            told += 1
    assert told > 40


def test_never_of_three_parts_at_once() -> None:
    """`never p and q and r`: the margin is the shortest stretch of time that touches a span of each, by trying all."""
    told = 0
    for draw in draws("three"):
        raw = {name: seldom(draw) for name in NAMES}
        asked = All(tuple(Atom(Sort.DETECTOR, name, Test.OCCUPIED) for name in NAMES))
        detectors = {name: Detector(name, DetectorKind.SECTION) for name in NAMES}
        kernel = Kernel(Program(Layout(detectors=detectors)))
        rules = Rules(kernel, sentences([Rule("rule", NOWHERE, (RuleLine(NOWHERE, "never", (Condition(asked),)),))]))
        jump(kernel, Script(changes(kernel, raw)), LENGTH)
        (judgement,) = rules.judgements(LENGTH - 1)
        together = [all(raw[name][at] for name in NAMES) for at in range(LENGTH)]
        assert (judgement.verdict is Verdict.HELD) == (not any(together))
        if any(together) or not all(any(raw[name]) for name in NAMES):
            continue
        steps = {name: [at for at in range(LENGTH) if raw[name][at]] for name in NAMES}
        # a span reaches up to the next step, at which it has ended: two neighbouring steps are nothing apart
        shortest = min(
            max(one, two, three) - min(end(raw, "p", one), end(raw, "q", two), end(raw, "r", three))
            for one in steps["p"]
            for two in steps["q"]
            for three in steps["r"]
        )
        assert judgement.margin is not None
        assert judgement.margin.amount == shortest
        told += 1
    assert told > 10


def end(raw: dict[str, list[bool]], name: str, at: int) -> int:
    """The end of the span that a step is in, the first step at which it is no more so."""
    return next((later for later in range(at, LENGTH) if not raw[name][later]), LENGTH - 1)


def test_always_while_is_never_not() -> None:
    for draw in draws("always"):
        case = play(draw, "always while")
        expected = holds("always((b > 0) implies (a > 0))", case.signals)
        assert (case.judgement.verdict is Verdict.HELD) == expected


def test_never_for_longer() -> None:
    verdicts = set()
    for draw in draws("longer"):
        d = draw.randint(1, 8)
        case = play(draw, "never while", (d,))
        verdict = case.judgement.verdict
        verdicts.add(verdict)
        assert (verdict is not Verdict.BROKEN) == holds(longer(d), case.signals)
        assert verdict is Verdict.BROKEN or (verdict is Verdict.OPEN) == (case.a[-1] and case.b[-1])
        if case.judgement.margin is not None and verdict is not Verdict.OPEN and not (case.a[-1] and case.b[-1]):
            longest = d - case.margin
            assert holds(longer(longest), case.signals)
            assert longest == 0 or not holds(longer(longest - 1), case.signals)
    assert verdicts == {Verdict.HELD, Verdict.BROKEN, Verdict.OPEN}


def test_at_least_before() -> None:
    told, missed = 0, 0
    for draw in draws("lead"):
        d = draw.randint(0, 6)
        case = play(draw, "at least before", (d,))
        began = any(b and not before for before, b in zip(case.b, case.b[1:], strict=False))
        expected = holds(lead(d), case.signals)
        assert case.judgement.verdict is ((Verdict.HELD if began else Verdict.SILENT) if expected else Verdict.BROKEN)
        if case.judgement.margin is None:
            assert not began or holds(lead(LENGTH), case.signals)
            continue
        bound = d + case.margin
        if bound >= 0:
            assert holds(lead(bound), case.signals)
            assert not holds(lead(bound + 1), case.signals)
            told += 1
        elif holds(late(-bound), case.signals):  # else A never came at all
            assert not holds(late(-bound - 1), case.signals)
            missed += 1
    assert told > 10
    assert missed > 10


def test_before() -> None:
    told = 0
    for draw in draws("before"):
        case = play(draw, "before")
        expected = holds(earlier(1), case.signals)
        assert (case.judgement.verdict is not Verdict.BROKEN) == expected
        if expected and case.judgement.margin is not None and not case.a[0]:  # else it has always held, for us
            assert case.margin > 0
            assert holds(earlier(case.margin), case.signals)
            assert not holds(earlier(case.margin + 1), case.signals)
            told += 1
    assert told > 8


def test_whenever_within() -> None:
    verdicts = []
    for draw in draws("follows"):
        d, e = draw.randint(0, 9), draw.choice((0, 0, 1, 3, 5))
        case = play(draw, "whenever within", (d, e) if e else (d,))
        tail = d + e + 2
        expected = Verdict.OPEN
        if not holds(follows(d, e), case.padded(True, tail)):
            expected = Verdict.BROKEN
        elif holds(follows(d, e), case.padded(False, tail)):
            rises = case.a[0] or any(a and not before for before, a in zip(case.a, case.a[1:], strict=False))
            expected = Verdict.HELD if rises else Verdict.SILENT
        assert case.judgement.verdict is expected
        verdicts.append(expected)
        if expected is Verdict.HELD:
            took = d - case.margin
            assert holds(follows(took, e), case.padded(False, tail))
            assert took == 0 or not holds(follows(took - 1, e), case.padded(False, tail))
    assert all(verdicts.count(one) > 5 for one in (Verdict.HELD, Verdict.BROKEN, Verdict.OPEN))


def test_at_most_once_within() -> None:
    broken = 0
    for draw in draws("at most"):
        d = draw.randint(1, 12)
        case = play(draw, "at most", (d,), 1)
        once = f"always({BEGINS['a']} implies (not (eventually[1:{{}}] (rise(a > 0)))))"
        signals = {"a": case.signals["a"]}
        assert (case.judgement.verdict is not Verdict.BROKEN) == holds(once.format(d), signals)
        broken += case.judgement.verdict is Verdict.BROKEN
        if case.judgement.margin is not None:
            shortest = d + case.margin
            assert shortest == 1 or holds(once.format(shortest - 1), signals)
            assert not holds(once.format(shortest), signals)
    assert broken > 10


def test_at_least_once_within() -> None:
    broken = 0
    for draw in draws("at least"):
        d = draw.randint(2, 25)
        case = play(draw, "at least", (d,), 1)
        anew = f"((clock < 0.5) or {BEGINS['a']})"
        over = f"(clock < {LENGTH - 1 - d + 0.5})"
        comes = f"always(({anew} and {over}) implies (eventually[1:{d}] (rise(a > 0))))"
        assert (case.judgement.verdict is not Verdict.BROKEN) == holds(comes, {"a": case.signals["a"]})
        broken += case.judgement.verdict is Verdict.BROKEN
    assert broken > 10


def test_margins_in_levels() -> None:
    """`never lamp is above x while q`: the margin is the library's robustness, in percent."""
    lamp = Output("lamp", Kind.LAMP, Setting(0.0), steps=100)
    for number in range(100):
        draw = random.Random(f"levels {number}")
        occupied = signal(draw)
        levels = [draw.randint(0, 100) / 100 if one else None for one in signal(draw)]
        bound = draw.randint(10, 90) / 100
        above = draw.random() < 0.5
        asks = Atom(Sort.OUTPUT, "lamp", Test.ABOVE if above else Test.BELOW, bound)
        conditions = (Condition(asks), Condition(Atom(Sort.DETECTOR, "q", Test.OCCUPIED)))
        detectors = {"q": Detector("q", DetectorKind.SECTION)}
        kernel = Kernel(Program(Layout(outputs={"lamp": lamp}, detectors=detectors)))
        rules = Rules(kernel, sentences([Rule("rule", NOWHERE, (RuleLine(NOWHERE, "never while", conditions),))]))
        kernel.set_detector("q", "occupied" if occupied[0] else "clear")
        events: list[tuple[int, Input]] = []
        shown = [0.0]
        for at in range(1, LENGTH):
            if occupied[at] != occupied[at - 1]:
                events.append((at, Detected("q", "occupied" if occupied[at] else "clear")))
            level = levels[at]
            if level is not None:
                events.append((at, OutputMoved("lamp", level)))
            shown.append(shown[-1] if level is None else level)
        jump(kernel, Script(events), LENGTH)
        (judgement,) = rules.judgements(LENGTH - 1)
        told = [1e6 if one else -1e6 for one in occupied]
        formula = f"always(not((x {'>' if above else '<'} {bound}) and (q > 0)))"
        expected = robustness(formula, {"x": shown, "q": told})[0]
        if judgement.margin is None:
            assert expected > 1e5
        else:
            assert judgement.unit == "%"
            assert judgement.margin.amount == pytest.approx(100 * expected, abs=1e-6)
            assert expected == 0 or (judgement.verdict is Verdict.HELD) == (expected > 0)
