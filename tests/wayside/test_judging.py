"""Verdicts over histories of truth, at and beside every boundary; and who is to blame."""

from __future__ import annotations

import pytest

from engine.conditions import All, Any, AtLeast, Atom, Condition, Held, Not, Sort, Test
from engine.layout import NOWHERE
from engine.program import Expectation, Timing
from wayside.rehearsal.judging import History, Verdict, horizon_us, judge, to_blame

S = 1_000_000
AMBER = Atom(Sort.OUTPUT, "amber", Test.ON)
BELL = Atom(Sort.OUTPUT, "bell", Test.ON)


def expect(
    timing: Timing, from_us: int = 0, to_us: int | None = None, least: int = 0, most: int | None = None
) -> Expectation:
    return Expectation(NOWHERE, Condition(AMBER, "amber is on"), timing, from_us, to_us, least, most)


def on_between(*edges: int, ended: int = 100 * S, before: bool = False) -> History:
    """False at first, then the truth changes at each edge; an edge at 0 makes it true from the start."""
    changes = [] if edges[:1] == (0,) else [(0, False)]
    return History([*changes, *((at, n % 2 == 0) for n, at in enumerate(edges))], ended, before)


IT = on_between(10 * S, 20 * S)


@pytest.mark.parametrize(
    ("expectation", "passes"),
    [
        (expect(Timing.FROM_TO, 10 * S, 20 * S), True),  # the end is not included
        (expect(Timing.FROM_TO, 10 * S, 20 * S + 1), False),
        (expect(Timing.FROM_TO, 10 * S - 1, 20 * S), False),
        (expect(Timing.AT, 10 * S), True),
        (expect(Timing.AT, 10 * S - 1), False),
        (expect(Timing.AT, 20 * S - 1), True),
        (expect(Timing.AT, 20 * S), False),
        (expect(Timing.AT, 0, 15 * S), True),  # the instant may stand in either field
        (expect(Timing.BY, 0, 10 * S), True),  # not later
        (expect(Timing.BY, 0, 10 * S - 1), False),
        (expect(Timing.BEFORE, 0, 10 * S), False),  # earlier
        (expect(Timing.BEFORE, 0, 10 * S + 1), True),
        (expect(Timing.THROUGHOUT), False),
    ],
)
def test_exactly_at_its_boundary(expectation: Expectation, passes: bool) -> None:
    assert judge(expectation, IT).passed is passes


def test_throughout_is_from_the_first_instant_to_the_last() -> None:
    assert judge(expect(Timing.THROUGHOUT), on_between(0)).passed
    assert judge(expect(Timing.THROUGHOUT), on_between(0, 100 * S + 1)).passed
    last = judge(expect(Timing.THROUGHOUT), on_between(0, 100 * S))
    assert (last.passed, last.at_us) == (False, 100 * S)


def test_a_truth_of_no_length_is_none() -> None:
    """Two changes at one instant: the settled one is the last."""
    blink = History([(0, False), (5 * S, True), (5 * S, False)], 100 * S)
    assert not judge(expect(Timing.BY, 0, 50 * S), blink).passed
    assert not judge(expect(Timing.THROUGHOUT, least=1), blink).passed
    gap = History([(0, True), (5 * S, False), (5 * S, True)], 100 * S)
    assert judge(expect(Timing.THROUGHOUT), gap).passed


def test_a_truth_of_one_microsecond_is_one() -> None:
    assert judge(expect(Timing.BY, 0, 50 * S), on_between(5 * S, 5 * S + 1)).passed


@pytest.mark.parametrize(
    ("expectation", "verdict"),
    [
        (expect(Timing.FROM_TO, 5 * S, 15 * S), Verdict(False, "did not hold at 5 s, only from 10 s", 5 * S)),
        (expect(Timing.FROM_TO, 12 * S, 30 * S), Verdict(False, "held until 20 s, then no more", 20 * S)),
        (
            expect(Timing.FROM_TO, 30 * S, 40 * S),
            Verdict(False, "did not hold at 30 s, nor at any time after it", 30 * S),
        ),
        (expect(Timing.AT, 25 * S), Verdict(False, "did not hold then, only until 20 s", 25 * S)),
        (expect(Timing.AT, 2 * S), Verdict(False, "did not hold then, only from 10 s", 2 * S)),
        (
            expect(Timing.BY, 0, 9_500_000),
            Verdict(False, "did not hold at any time up to 9.5 s, only at 10 s", 9_500_000),
        ),
        (
            expect(Timing.BEFORE, 0, 10 * S),
            Verdict(False, "did not hold at any time before 10 s, only at 10 s", 10 * S),
        ),
        (
            expect(Timing.THROUGHOUT, least=2),
            Verdict(False, "became so 1 time, at 10 s", 100 * S, explained=False),
        ),
        (expect(Timing.FROM_TO, 0, 10 * S, least=1), Verdict(False, "became so not once", 10 * S)),
        (expect(Timing.THROUGHOUT, most=0), Verdict(False, "became so 1 time, at 10 s", 10 * S, wanted=False)),
    ],
)
def test_what_happened_in_words(expectation: Expectation, verdict: Verdict) -> None:
    assert judge(expectation, IT) == verdict


def test_so_before_and_again_later() -> None:
    verdict = judge(expect(Timing.AT, 25 * S), on_between(10 * S, 20 * S, 30 * S, 40 * S))
    assert verdict.what == "did not hold then, only until 20 s, and again from 30 s"


def test_so_again_later() -> None:
    twice = on_between(0, 5 * S, 7 * S)
    assert judge(expect(Timing.THROUGHOUT), twice).what == "held until 5 s, then no more, and again from 7 s"


@pytest.mark.parametrize(
    ("least", "most", "span", "passes"),
    [
        (3, None, (0, None), True),
        (4, None, (0, None), False),
        (0, 3, (0, None), True),
        (0, 2, (0, None), False),
        (2, None, (20 * S, 31 * S), True),  # becoming true at the beginning counts
        (2, None, (20 * S, 30 * S), False),  # at the end it does not
        (0, 0, (21 * S, 30 * S), True),  # being true already is no becoming
    ],
)
def test_how_often_it_becomes_true(least: int, most: int | None, span: tuple[int, int | None], passes: bool) -> None:
    often = on_between(10 * S, 11 * S, 20 * S, 25 * S, 30 * S)
    timing = Timing.THROUGHOUT if span[1] is None else Timing.FROM_TO
    assert judge(expect(timing, *span, least, most), often).passed is passes


def test_by_counts_its_instant_in() -> None:
    assert judge(expect(Timing.BY, 0, 10 * S, least=1), IT).passed
    assert not judge(expect(Timing.BY, 0, 10 * S - 1, least=1), IT).passed


def test_true_at_the_first_instant_is_a_becoming_unless_it_was_so_before() -> None:
    assert judge(expect(Timing.THROUGHOUT, least=1), on_between(0)).passed
    assert not judge(expect(Timing.THROUGHOUT, least=1), on_between(0, before=True)).passed


@pytest.mark.parametrize(
    ("mine", "other", "passes", "what"),
    [
        ((10 * S,), (11 * S,), True, ""),
        ((10 * S,), (), True, ""),
        ((10 * S,), (10 * S,), False, "held at 10 s, and `bell is on` at the same instant"),
        ((11 * S,), (10 * S,), False, "held only at 11 s, but `bell is on` at 10 s"),
        ((), (10 * S,), False, "never held, but `bell is on` held at 10 s"),
        ((), (), False, "never held, up to the end at 1 min 40 s"),
    ],
)
def test_which_of_two_comes_first(mine: tuple[int, ...], other: tuple[int, ...], passes: bool, what: str) -> None:
    both = Expectation(
        NOWHERE, Condition(AMBER, "amber is on"), Timing.BEFORE_CONDITION, other=Condition(BELL, "bell is on")
    )
    verdict = judge(both, on_between(*mine), on_between(*other))
    assert (verdict.passed, verdict.what) == (passes, what)


def test_what_gives_a_rehearsal_an_end() -> None:
    assert horizon_us(expect(Timing.AT, 5 * S)) == 5 * S
    assert horizon_us(expect(Timing.BY, 0, 6 * S)) == 6 * S
    assert horizon_us(expect(Timing.THROUGHOUT)) is None
    assert horizon_us(expect(Timing.THROUGHOUT, least=2)) is None


def test_who_is_to_blame() -> None:
    lit = {AMBER: True, BELL: False}
    assert to_blame(All((AMBER, BELL)), True, lit.__getitem__) == (BELL,)
    assert to_blame(Any((AMBER, BELL)), False, lit.__getitem__) == (AMBER,)
    assert to_blame(Not(Any((AMBER, BELL))), True, lit.__getitem__) == (AMBER,)
    assert to_blame(AtLeast(2, (AMBER, BELL)), True, lit.__getitem__) == (BELL,)
    assert to_blame(Held(All((AMBER, Not(BELL))), S), True, lit.__getitem__) == (AMBER, BELL)  # so, but not long enough
