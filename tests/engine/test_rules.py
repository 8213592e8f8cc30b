"""Rules at one kernel: when they begin to count, the instants they wake it for, what they ask of outputs and trains."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from engine.conditions import All, Any, Atom, Becomes, Condition, Not, Sort, Test
from engine.drive import jump
from engine.events import Detected, Input, LinkState, Pressed, StartScene, TrainStands
from engine.kernel import Kernel
from engine.layout import NOWHERE, Place
from engine.monitors import Amount, Margin, Verdict
from engine.program import Program, Rule, RuleLine
from engine.rules import Judgement, Rules, sentences
from engine.trace import Broke
from tests.engine.acting import LAYOUT, S, Script, program

NEAR = Condition(Atom(Sort.DETECTOR, "near", Test.OCCUPIED), "near is occupied")
FAR = Condition(Atom(Sort.DETECTOR, "far", Test.OCCUPIED), "far is occupied")
PRESSED = Condition(Atom(Sort.BUTTON, "red-button", Test.PRESSED), "red-button is pressed")
TRAIN = Condition(Atom(Sort.TRAIN, "near", Test.TRAIN_ON), "a train is on near")
REACHES = Condition(Atom(Sort.TRAIN, "near", Test.REACHES), "a train reaches near")
LOWERED = Condition(Atom(Sort.OUTPUT, "boom", Test.ARRIVED, 0.0), "boom is lowered")


def line(form: str, *conditions: Condition, times: tuple[int, ...] = (), count: int = 0, at: int = 1) -> RuleLine:
    return RuleLine(Place("r.scene", at, 5, at, 9), form, conditions, times, count)


def judged(
    lines: Sequence[RuleLine],
    events: Sequence[tuple[float, Input]] = (),
    until_s: float = 100,
    made: Program | None = None,
    unknown: Sequence[str] = (),
) -> tuple[Kernel, tuple[Judgement, ...]]:
    kernel = Kernel(made or Program(LAYOUT))
    rules = Rules(kernel, sentences([Rule("rule", NOWHERE, tuple(lines))]))
    for name in unknown:
        kernel.set_detector(name, "unknown")
    jump(kernel, Script(events), round(until_s * S))
    return kernel, rules.judgements(round(until_s * S))


def one(form: str, *conditions: Condition, **more: object) -> Judgement:
    about = {key: more.pop(key) for key in ("times", "count") if key in more}
    _, found = judged([line(form, *conditions, **about)], **more)  # type: ignore[arg-type]
    return found[0]


def occupied(name: str, at: float, until: float) -> list[tuple[float, Input]]:
    return [(at, Detected(name, "occupied")), (until, Detected(name, "clear"))]


# --- each sentence, by hand ----------------------------------------------------------------------------------------


def test_never_holds_by_the_gap_between_the_two() -> None:
    found = one("never while", NEAR, FAR, events=occupied("near", 2, 5) + occupied("far", 6.5, 9))
    assert (found.verdict, found.margin) == (Verdict.HELD, Margin(1.5 * S, Amount.TIME, 6_500_000))


def test_never_breaks_by_the_longest_time_for_which_both_hold() -> None:
    events = occupied("near", 2, 5) + occupied("far", 4, 9) + occupied("near", 8, 8.5)
    found = one("never while", NEAR, FAR, events=events)
    assert (found.verdict, found.broken, found.margin) == (Verdict.BROKEN, 2, Margin(-S, Amount.TIME, 4 * S))


def test_spans_that_only_touch_keep_never() -> None:
    found = one("never while", NEAR, FAR, events=[*occupied("near", 2, 5), (5, Detected("far", "occupied"))])
    assert (found.verdict, found.margin) == (Verdict.HELD, Margin(0, Amount.TIME, 5 * S))


def test_what_never_happens_comes_near_nothing() -> None:
    found = one("never while", NEAR, FAR, events=occupied("near", 2, 5))
    assert (found.verdict, found.margin) == (Verdict.HELD, None)


@pytest.mark.parametrize(
    ("until", "verdict", "margin"),
    [(3.9, Verdict.HELD, 100_000), (4, Verdict.HELD, 0), (4.000001, Verdict.BROKEN, -1), (9, Verdict.BROKEN, -5 * S)],
)
def test_never_for_longer_is_exact_to_the_microsecond(until: float, verdict: Verdict, margin: int) -> None:
    found = one("never", NEAR, times=(2 * S,), events=occupied("near", 2, until))
    assert (found.verdict, found.margin) == (verdict, Margin(margin, Amount.TIME, 2 * S))


@pytest.mark.parametrize(
    ("since", "verdict", "margin"), [(3, Verdict.HELD, S), (4, Verdict.HELD, 0), (4.000001, Verdict.BROKEN, -1)]
)
def test_a_lead_counts_what_has_held_without_a_break(since: float, verdict: Verdict, margin: int) -> None:
    events = [*occupied("near", 1, 2), (since, Detected("near", "occupied")), (5, Detected("far", "occupied"))]
    found = one("at least before", NEAR, FAR, times=(S,), events=events)
    assert (found.verdict, found.margin) == (verdict, Margin(margin, Amount.TIME, 5 * S))


def test_a_lead_that_did_not_hold_is_short_until_it_does() -> None:
    events: list[tuple[float, Input]] = [(5, Detected("far", "occupied")), (7, Detected("near", "occupied"))]
    found = one("at least before", NEAR, FAR, times=(S,), events=events)
    assert (found.verdict, found.margin) == (Verdict.BROKEN, Margin(-3 * S, Amount.TIME, 5 * S))


@pytest.mark.parametrize(
    ("answer", "verdict"), [(6, Verdict.HELD), (7, Verdict.HELD), (7.000001, Verdict.BROKEN), (None, Verdict.BROKEN)]
)
def test_whenever_within_takes_in_its_last_instant(answer: float | None, verdict: Verdict) -> None:
    events: list[tuple[float, Input]] = [(2, Detected("near", "occupied"))]
    events += [(answer, Detected("far", "occupied"))] if answer else []
    assert one("whenever within", NEAR, FAR, times=(5 * S,), events=events).verdict is verdict


def test_what_may_still_be_answered_is_open() -> None:
    events: list[tuple[float, Input]] = [(2, Detected("near", "occupied"))]
    assert one("whenever within", NEAR, FAR, times=(5 * S,), events=events, until_s=6).verdict is Verdict.OPEN


@pytest.mark.parametrize(("until", "verdict"), [(8, Verdict.BROKEN), (9, Verdict.HELD)])
def test_an_answer_must_last(until: float, verdict: Verdict) -> None:
    events = [(2, Detected("near", "occupied")), *occupied("far", 6, until)]
    assert one("whenever within", NEAR, FAR, times=(5 * S, 3 * S), events=events).verdict is verdict  # type: ignore[arg-type]


def test_before_asks_anew_each_time() -> None:
    """The amber lamp that is left out at the second closing: it had been on before the first."""
    events = occupied("near", 1, 2) + occupied("far", 3, 4) + occupied("far", 6, 7)
    found = one("before", NEAR, FAR, events=events)
    assert (found.verdict, found.breaches[0].at_us) == (Verdict.BROKEN, 6 * S)


def test_before_at_the_same_instant_is_not_before() -> None:
    events: list[tuple[float, Input]] = [(3, Detected("near", "occupied")), (3, Detected("far", "occupied"))]
    assert one("before", NEAR, FAR, events=events).verdict is Verdict.BROKEN


def test_times_are_counted_in_any_such_stretch_of_time() -> None:
    events = [event for at in (1, 11, 21, 26) for event in occupied("near", at, at + 1)]
    assert one("at most", NEAR, times=(14 * S,), count=2, events=events).margin == Margin(S, Amount.TIME, 26 * S)
    assert one("at most", NEAR, times=(15 * S,), count=2, events=events).verdict is Verdict.BROKEN
    assert one("at least", NEAR, times=(75 * S,), count=1, events=events).verdict is Verdict.HELD
    assert one("at least", NEAR, times=(74 * S,), count=1, events=events).verdict is Verdict.BROKEN


# --- when a rule counts --------------------------------------------------------------------------------------------


def test_a_rule_counts_from_when_all_it_reads_is_known() -> None:
    """Unknown is occupied, but no rule is broken by what nobody knows yet."""
    both = [line("never while", NEAR, FAR)]
    events: list[tuple[float, Input]] = [(2, Detected("near", "clear")), (3, Detected("far", "occupied"))]
    _, (found,) = judged(both, events, unknown=("near", "far"))
    assert found.verdict is Verdict.HELD
    _, (never_known,) = judged(both, (), unknown=("near", "far"))
    assert never_known.verdict is Verdict.SILENT
    _, (found,) = judged(both, [*events, (5, Detected("near", "unknown"))], unknown=("near", "far"))
    assert found.verdict is Verdict.BROKEN  # once it counts, unknown is occupied


def test_a_late_answer_is_told_when_it_is_late_not_at_the_next_change() -> None:
    follows = [line("whenever within", NEAR, FAR, times=(5 * S,))]
    kernel, _ = judged(follows, [(2, Detected("near", "occupied")), (60, Detected("near", "clear"))])
    assert [record.at_us for record in kernel.trace if isinstance(record, Broke)] == [7 * S]


def test_what_lasts_too_long_is_told_when_it_does() -> None:
    longer = [line("never", NEAR, times=(5 * S,))]
    kernel, _ = judged(longer, [(2, Detected("near", "occupied")), (60, Detected("near", "clear"))])
    assert [record.at_us for record in kernel.trace if isinstance(record, Broke)] == [7 * S]


def test_every_breach_is_in_the_trace_with_its_line() -> None:
    events = occupied("near", 2, 3) + occupied("near", 6, 7)
    kernel, _ = judged([line("never", FAR, at=3), line("never", NEAR, at=4)], events)
    found = [record for record in kernel.trace if isinstance(record, Broke)]
    assert [(one.at_us, one.rule, one.place.line) for one in found] == [(2 * S, "rule", 4), (6 * S, "rule", 4)]


def test_what_passes_within_an_instant_breaks_nothing() -> None:
    events: list[tuple[float, Input]] = [(2, Detected("near", "occupied")), (2, Detected("near", "clear"))]
    assert one("never", NEAR, events=events).verdict is Verdict.HELD


def test_an_instant_is_over_after_itself() -> None:
    """`becomes` is true for its instant only: one a second later finds it over."""
    becomes = Condition(Becomes(NEAR.term), "near becomes occupied")
    events: list[tuple[float, Input]] = [(2, Detected("near", "occupied")), (3, Detected("far", "occupied"))]
    found = one("never while", becomes, FAR, events=events)
    assert (found.verdict, found.margin) == (Verdict.HELD, Margin(S - 1, Amount.TIME, 3 * S))
    either = Condition(Any((becomes.term, PRESSED.term)), "either")
    pressed: list[tuple[float, Input]] = [(1, Pressed("red-button", True)), *events]
    assert one("never while", either, FAR, events=pressed).verdict is Verdict.BROKEN


# --- trains and outputs --------------------------------------------------------------------------------------------


def test_every_train_reaches_also_while_another_is_there() -> None:
    events: list[tuple[float, Input]] = [(2, TrainStands(0, "near", True)), (4, TrainStands(1, "near", True))]
    found = one("at most", REACHES, count=1, events=events)
    assert (found.verdict, found.margin) == (Verdict.BROKEN, Margin(-1, Amount.TIMES, 4 * S))
    assert one("at most", TRAIN, count=1, events=events).verdict is Verdict.HELD  # one stretch of time for both


BOOM = "scene s\n    move boom to lowered over 4 s\n"


def test_what_nobody_can_reach_stays_as_it_was_for_a_rule() -> None:
    """A barrier that is down when its link is lost stays down; one that is half-way stays half-way until it is back."""
    up_with_a_train = [line("never while", TRAIN, Condition(Not(LOWERED.term), "boom is not lowered"))]
    train: list[tuple[float, Input]] = [(20, TrainStands(0, "near", True)), (22, TrainStands(0, "near", False))]
    made = wired(program(BOOM))
    begins: list[tuple[float, Input]] = [(0, StartScene("s"))]
    _, (late,) = judged(up_with_a_train, [*begins, (5, LinkState("main", "gone")), *train], made=made)
    assert late.verdict is Verdict.HELD
    gone = [*begins, (2, LinkState("main", "gone")), *train]
    _, (half_way,) = judged(up_with_a_train, gone, made=made)
    assert half_way.verdict is Verdict.BROKEN
    _, (back,) = judged(
        up_with_a_train, [*begins, (2, LinkState("main", "gone")), (9, LinkState("main", "talking")), *train], made=made
    )
    assert back.verdict is Verdict.HELD


def wired(made: Program) -> Program:
    from dataclasses import replace

    from engine.layout import Wiring

    boom = replace(made.layout.outputs["boom"], wiring=Wiring(link="main", pin=3))
    return replace(made, layout=replace(made.layout, outputs={**made.layout.outputs, "boom": boom}))


def test_a_level_has_its_margin_in_its_own_unit() -> None:
    """A fade to 60 % comes within 5 % of `above 65 %`; a move past 50 of 90 degrees is 5 deg past 45."""
    made = program(
        "scene s\n    fade ada to 60 % over 4 s\n    fade ada to 0 % over 4 s\n    move boom to 50 deg over 4 s\n"
    )
    start: list[tuple[float, Input]] = [(1, StartScene("s"))]
    above = Condition(Atom(Sort.OUTPUT, "ada", Test.ABOVE, 0.65), "ada is above 65 %")
    _, (found,) = judged([line("never", above)], start, made=made)
    assert (found.verdict, found.unit) == (Verdict.HELD, "%")
    assert found.margin is not None
    assert found.margin.amount == pytest.approx(5)
    assert found.margin.at_us == 5 * S
    below = Condition(Atom(Sort.OUTPUT, "boom", Test.BELOW, 55.0), "boom is below 55 deg")
    _, (found,) = judged([line("never", below)], start, made=made)
    assert (found.verdict, found.unit) == (Verdict.BROKEN, "deg")
    assert found.margin is not None
    assert found.margin.amount == pytest.approx(-5)


def test_always_above_has_the_least_distance_above() -> None:
    made = program("scene s\n    fade ada to 60 % over 4 s\n    wait 90 s\n")
    above = Condition(Atom(Sort.OUTPUT, "ada", Test.ABOVE, 0.25), "ada is above 25 %")
    far = Condition(FAR.term, "far is occupied")
    events = [(1.0, StartScene("s")), *occupied("far", 3, 20)]
    _, (found,) = judged([line("always while", above, far)], events, made=made)  # type: ignore[arg-type]
    assert (found.verdict, found.unit) == (Verdict.HELD, "%")
    assert found.margin is not None
    assert (found.margin.amount, found.margin.at_us) == (pytest.approx(30 - 25, abs=0.01), 3 * S)


def test_a_level_just_before_it_leaps_counts() -> None:
    """Up to 60 % over 2 s, then dark at once: the highest is what it came to, the instant before."""
    made = program("manner saw\n    60 % over 2 s\n    0 % for 1 s\nscene s\n    flicker ada like saw\n    wait 60 s\n")
    above = Condition(Atom(Sort.OUTPUT, "ada", Test.ABOVE, 0.65), "ada is above 65 %")
    _, (found,) = judged([line("never", above)], [(1.0, StartScene("s"))], until_s=30, made=made)
    assert found.margin is not None
    assert found.margin.amount == pytest.approx(5, abs=0.01)


def test_a_level_counts_while_the_rest_holds() -> None:
    made = program("scene s\n    fade ada to 60 % over 4 s\n    fade ada to 0 % over 4 s\n")
    above = Condition(Atom(Sort.OUTPUT, "ada", Test.ABOVE, 0.65), "ada is above 65 %")
    events = [(1.0, StartScene("s")), *occupied("near", 2, 3)]
    _, (found,) = judged([line("never while", above, NEAR)], events, made=made)  # type: ignore[arg-type]
    assert found.margin is not None
    assert found.margin.amount == pytest.approx(65 - 30, abs=0.01)  # at 3 s, half-way up


def test_of_three_parts_joined_by_and_all_count() -> None:
    parts = Condition(All((NEAR.term, FAR.term, PRESSED.term)), "near and far and red-button")
    events = occupied("near", 1, 2) + occupied("far", 4, 5)
    events += [(7, Pressed("red-button", True))]
    found = one("never", parts, events=events)
    assert (found.verdict, found.margin) == (Verdict.HELD, Margin(5 * S, Amount.TIME, 7 * S))
