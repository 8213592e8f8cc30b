"""The search against a brute-force grid, with wrong crossings made from the text of the right one.

All mutants, and the score, are `python -m tests.benchmarks.mutants`; here are twelve, and the two judges held together.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

import pytest

from tests.challenge.brute_force import PELLBROOK, Case, broken, cases, first_witness, meet, played
from tests.challenge.mutants import Mutant, mutants, unchanged
from wayside.challenge import case
from wayside.challenge.case import Field, play
from wayside.challenge.case_menu import Budget, within
from wayside.challenge.challenging import Limits, challenge
from wayside.challenge.search import Reach

STATED = Budget(4_000_000, False)  # the right crossing's release delay, whatever the mutant has made of its own
CASES = 1_500  # the slowest of the twelve needed 166
EVERY = 13  # of the grid: a prime, so that all of its kinds come up

TWELVE = (
    "1 deleted: runs whenever train-about",
    "5 deleted: flash reds in turn at 80 a minute each",
    "14 deleted: flash reds in turn at 80 a minute each",
    "19 deleted: move near-barrier to lowered over 7 s",
    "20 deleted: move far-barrier to lowered over 7 s, bouncing twice",
    "28 unwrapped: as long as line-clear",
    "29 deleted: move barriers to raised over 6 s",
    "17 swapped: repeat / turn off reds and boom-lamps",
    "29 swapped: move barriers to raised over 6 s / stop repeating",
    "12 doubled: wait 6 s",
    "15 doubled: wait 10 s",
    "25 zeroed: wait until line-clear for 0 s",
)


def named(name: str) -> Mutant:
    return next(one for one in mutants() if one.name == name)


def ground_of(mutant: Mutant) -> Field:
    project = mutant.project()
    assert not project.errors
    return Field.of(project.program, list(project.program.rules))


@pytest.mark.parametrize("name", TWELVE)
def test_what_the_grid_finds_bad_the_search_finds_too(name: str) -> None:
    ground = ground_of(named(name))
    witness = first_witness(named(name).project().program)
    assert witness is not None
    outcome = challenge(ground, STATED, Reach(), Limits(600.0, CASES, cores=1))
    assert any(found.within for found in outcome.found)
    for found in outcome.found:  # and what it gives back is bad in the grid's eyes, too
        program = ground.program
        trace = played(program, found.case.trains, found.case.acts)
        assert {line.rule for line in found.lines} <= broken(trace, program.layout, PELLBROOK)


def some(every: int) -> Iterator[Case]:
    return islice(cases(unchanged().project().program, PELLBROOK), 0, None, every)


@pytest.mark.parametrize("name", ["unchanged", TWELVE[1], TWELVE[5], TWELVE[6], TWELVE[9]])
def test_two_judges_that_share_nothing_agree(name: str) -> None:
    """The engine's monitors and `brute_force.broken`, and the two ways of telling that trains met."""
    ground = ground_of(unchanged() if name == "unchanged" else named(name))
    layout, seen = ground.program.layout, set()
    for one in some(EVERY):
        trace = played(ground.program, one.trains, one.acts)
        theirs = play(ground, case.Case(one.trains, one.acts), to_the_end=True)
        ours = broken(trace, layout, PELLBROOK)
        assert ours == {line.rule for line in theirs.broken}, one.said
        assert meet(one.trains, trace, layout) is not theirs.possible, one.said
        seen |= ours
    assert bool(seen) is (name != "unchanged")


def test_everything_in_the_grid_is_within_the_budget() -> None:
    """Else the search need not find what the grid finds."""
    ground = ground_of(unchanged())
    for one in some(EVERY):
        whole = case.Case(one.trains, one.acts)
        assert within(whole, ground.program, STATED, play(ground, whole, to_the_end=True).unseen_us), one.said


def test_mutants_are_what_they_say() -> None:
    kinds = {one.kind for one in mutants()}
    assert kinds == {"deleted", "unwrapped", "swapped", "halved", "doubled", "zeroed"}
    texts = [one.text for one in mutants()]
    assert len(set(texts)) == len(texts)
    assert unchanged().text not in texts
    assert named("24 deleted: set guards to clear").text.count("set guards to clear") == 0
    assert "wait until line-clear for 2 s\n" in named("25 halved: wait until line-clear for 2 s").text
