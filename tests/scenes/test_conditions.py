"""Conditions: one closed table of states for each kind of subject, and the message for what is not in it."""

# ruff: noqa: E501
# Scene files as text are easier to read with a line each.

from __future__ import annotations

import pytest
from stage import S, in_scene, line, problems, read, said, sound

from engine.conditions import All, Any, AtLeast, Atom, Becomes, Held, Not, Sort, Term, Test
from engine.program import If, WaitUntil
from scenes import conditions

BEFORE = """
flag open
counter trains
group barriers: near-barrier, far-barrier
define about as any of approach, lane is occupied
scene other
    wait 1 s
"""


def term(text: str) -> Term:
    found = line(f"wait until {text}", BEFORE)
    assert isinstance(found, WaitUntil)
    assert found.condition.words == text
    return found.condition.term


def out(name: str, test: Test, amount: float = 0.0) -> Atom:
    return Atom(Sort.OUTPUT, name, test, amount)


NEAR = Atom(Sort.DETECTOR, "approach", Test.OCCUPIED)
LANE = Atom(Sort.DETECTOR, "lane", Test.OCCUPIED)
ABOUT = Any((NEAR, LANE))
LOWERED = tuple(out(name, Test.ARRIVED, 0.0) for name in ("near-barrier", "far-barrier"))
TERMS: list[tuple[str, Term]] = [
    ("none of barriers is lowered", Not(Any(LOWERED))),
    ("none of barriers are lowered", Not(Any(LOWERED))),
    ("amber is on", out("amber", Test.ON)),
    ("amber is off", Not(out("amber", Test.ON))),
    ("amber is not lit", Not(out("amber", Test.LIT))),
    ("amber is flashing", out("amber", Test.FLASHING)),
    ("quay-1 is fading", out("quay-1", Test.FADING)),
    ("quay-1 is flickering", out("quay-1", Test.FLICKERING)),
    ("quay-1 is above 40 %", out("quay-1", Test.ABOVE, 0.4)),
    ("quay-1 is at least 40 %", out("quay-1", Test.AT_LEAST, 0.4)),
    ("near-barrier is lowered", out("near-barrier", Test.ARRIVED, 0.0)),
    ("near-barrier is moving", out("near-barrier", Test.MOVING)),
    ("near-barrier is between", out("near-barrier", Test.BETWEEN)),
    ("near-barrier is past 50 %", out("near-barrier", Test.PAST, 0.5)),
    ("near-barrier is at rest", out("near-barrier", Test.AT_REST)),
    ("near-barrier is above 30 deg", out("near-barrier", Test.ABOVE, 30.0)),
    (
        "signal is clear",
        All((out("signal", Test.ARRIVED, 1.0), out("arm", Test.ARRIVED, 45.0), out("signal-lamp", Test.ARRIVED, 0.0))),
    ),
    ("lane is occupied", LANE),
    ("lane is clear", Atom(Sort.DETECTOR, "lane", Test.CLEAR)),
    ("lane is unknown", Atom(Sort.DETECTOR, "lane", Test.UNKNOWN)),
    ("red-button is pressed", Atom(Sort.BUTTON, "red-button", Test.PRESSED)),
    ("red-button is let go", Not(Atom(Sort.BUTTON, "red-button", Test.PRESSED))),
    ("open", Atom(Sort.FLAG, "open", Test.SET)),
    ("not open", Not(Atom(Sort.FLAG, "open", Test.SET))),
    ("about", ABOUT),
    ("trains is 3", Atom(Sort.COUNTER, "trains", Test.EQUAL, 3.0)),
    ("trains is at least 3", Atom(Sort.COUNTER, "trains", Test.AT_LEAST, 3.0)),
    ("other is running", Atom(Sort.SCENE, "other", Test.RUNNING)),
    ("main is talking", Atom(Sort.LINK, "main", Test.TALKING)),
    ("main is gone", Not(Atom(Sort.LINK, "main", Test.TALKING))),
    ("any of barriers are lowered", Any(LOWERED)),
    ("all of barriers are not lowered", All(tuple(Not(one) for one in LOWERED))),
    ("none of barriers are lowered", Not(Any(LOWERED))),
    ("at least 2 of barriers are lowered", AtLeast(2, LOWERED)),
    ("at most 1 of barriers are lowered", Not(AtLeast(2, LOWERED))),
    ("amber becomes on", Becomes(out("amber", Test.ON))),
    ("about becomes true", Becomes(ABOUT)),
    ("about becomes false", Becomes(Not(ABOUT))),
    ("about for 4 s", Held(ABOUT, 4 * S)),
    ("open and lane is occupied for 4 s", Held(All((Atom(Sort.FLAG, "open", Test.SET), LANE)), 4 * S)),
    ("open or (about and lane is occupied)", Any((Atom(Sort.FLAG, "open", Test.SET), All((ABOUT, LANE))))),
]


@pytest.mark.parametrize(("text", "expected"), TERMS, ids=[text for text, _ in TERMS])
def test_terms(text: str, expected: Term) -> None:
    assert term(text) == expected


def test_all_outputs_and_every_detector() -> None:
    found = term("all outputs are at rest")
    assert isinstance(found, All)
    assert out("bell", Test.AT_REST) in found.terms
    every = line("wait until every detector is clear")
    assert isinstance(every, WaitUntil)
    assert isinstance(every.condition.term, All)
    assert len(every.condition.term.terms) == 3


MISTAKES = [
    ("amber is lowered", "a lamp is never `lowered`", "`flashing`"),
    ("near-barrier is lowerd", "`near-barrier` can be `raised`, `lowered`", "did you mean `lowered`"),
    ("signal is green", "`danger`, `clear`", ""),
    ("lane is free", "`occupied`, `clear`, `unknown` or `out of use`", ""),
    ("lane is 40 %", "a detector is never `40 %`", ""),
    ("amber is past 50 %", "a lamp is never `past 50 %`", ""),
    ("barriers is lowered", "`barriers` is a group", "`all of barriers`"),
    ("amber", "is a lamp", "`amber is on`"),
    ("barriers", "is a group", "any of barriers"),
    ("open is on", "true or not by itself", "`not open`"),
    ("nothing-such", "called `nothing-such`", ""),
    ("at least 3 of barriers are lowered", "there are 2 of them", "1 to 2"),
    ("amber becomes on for 3 s", "an instant only", "write `is`"),
    ("a train is on lane", "does not know where trains truly are", "`lane is occupied`"),
    ("daylight is below 20 %", "`below 70 lux`", ""),
    ("daylight is on", "is never `on`", "`below 70 lux`"),
    ("amber is below 20 lux", "is never `below 20 lux`", ""),
    ("trains is lowered", "`at least 3`", ""),
]


@pytest.mark.parametrize(("text", "what", "instead"), MISTAKES, ids=[text for text, _, _ in MISTAKES])
def test_a_mistake_gets_one_message(text: str, what: str, instead: str) -> None:
    _, found = read(BEFORE + in_scene(f"wait until {text}"))
    errors = [problem for problem in found if not problem.advice]
    assert len(errors) == 1, said(found)
    assert what.lower() in errors[0].what.lower()
    assert instead.lower() in f"{errors[0].what} {errors[0].instead}".lower()


def test_where_trains_truly_are_is_for_rules_and_rehearsals() -> None:
    text = "define there as a train is on lane\n"
    assert said([p for p in problems(text + "rule r\n    never there\n") if not p.advice]) == ""
    assert "rules and rehearsals only" in said(problems(text + in_scene("wait until there")))


def test_an_instant_cannot_be_a_guard() -> None:
    text = "as long as lane becomes clear\n    wait 1 s"
    assert "needs something that lasts" in said(problems(in_scene(text)))
    assert "needs something that lasts" in said(problems(in_scene("runs whenever lane becomes clear\nwait 1 s")))
    assert problems(in_scene("starts each time lane becomes clear\nwait 1 s")) == []


def test_a_parameter_in_a_condition() -> None:
    text = "routine r with one, state\n    if one is state\n        wait 1 s\nscene s\n    do r with near-barrier, lowered\n"
    choice = sound(text).scenes["s"].block[0].block[0]  # type: ignore[union-attr]
    assert isinstance(choice, If)
    assert choice.condition.term == LOWERED[0]


def test_the_limit_of_a_condition(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conditions, "TERMS", 2)
    assert problems(in_scene("wait until any of amber, bell is on\nturn on amber")) == []
    assert "more than 2 questions" in said(problems(in_scene("wait until any of amber, bell, crane is on")))


def test_the_limit_of_defines_within_defines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conditions, "DEFINE_DEPTH", 2)
    chain = "define c3 as c2\ndefine c2 as c1\ndefine c1 as lane is clear\n"
    assert "more than 2 deep" in said(problems(chain + in_scene("wait until c3")))
    assert problems(chain.replace("define c3 as c2\n", "") + in_scene("wait until c2")) == []
