"""Crossings that are wrong on purpose: the search finds each by its rule, and gives back a case that says why.

The published rows that they violate stand in `crossings.SOURCES`. No clock: each search plays a fixed number of cases.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from adapters.simulator import World
from engine.drive import Nothing, jump
from engine.kernel import Kernel
from engine.layout import NOWHERE, Layout
from engine.program import Act, Begin, Deed, Rehearsal
from engine.rules import Rules
from tests.challenge.crossings import CASES, EXAMPLE, NOTHING, SOURCES, Crossing, crossings
from wayside.challenge.case import Case, Field
from wayside.challenge.case_keeping import Kept, keep
from wayside.challenge.case_menu import Budget, release_delay_us
from wayside.challenge.challenging import Found, Limits, Outcome, challenge
from wayside.challenge.search import Reach
from wayside.challenge.shrinking import fails_alike, shrunk
from wayside.project import Project, load
from wayside.rehearsal.playing import drivers_see
from wayside.rehearsal.rehearsing import rehearse

BAD = [one for one in crossings() if one.breaks != NOTHING]
GOOD = [one for one in crossings() if one.breaks == NOTHING]


def searched(ground: Field, budget: Budget, cases: int = CASES) -> Outcome:
    return challenge(ground, budget, Reach(), Limits(60.0, cases, cores=1))


def test_there_are_enough_of_them_and_each_says_what_is_wrong() -> None:
    assert len(BAD) >= 14
    for one in BAD:
        assert one.wrong
        assert one.rows
        assert all(row in SOURCES for row in one.rows)


@pytest.mark.parametrize("crossing", BAD, ids=lambda one: one.name)
def test_what_is_wrong_is_found_and_kept(crossing: Crossing, tmp_path: Path) -> None:
    project = crossing.project()
    assert not project.errors
    ground = crossing.ground(project)
    outcome = searched(ground, crossing.budget(ground), crossing.cases)
    found = next(one for one in outcome.found if one.within)
    assert crossing.breaks in {line.rule for line in found.lines}
    assert breaks(ground, found, found.case)
    for fewer in without_one(found.case):
        assert not breaks(ground, found, fewer), "something in the case is not needed"
    kept = keep(project, found, ground.rules[ground.lines.index(found.line)], tmp_path)
    assert kept.path is not None
    assert fails_from_disk(project, kept, kept.path) == {line.rule for line in found.lines}


def without_one(case: Case) -> list[Case]:
    """The case with each of its trains and acts left out, and each train without what it does on its way."""
    fewer = [Case((*case.trains[:n], *case.trains[n + 1 :]), case.acts) for n in range(len(case.trains))]
    fewer += [Case(case.trains, (*case.acts[:n], *case.acts[n + 1 :])) for n in range(len(case.acts))]
    plain = {"visits": (), "ignores_signals": False, "locomotive_only": False}
    for n, train in enumerate(case.trains):
        simpler = train._replace(**plain)
        if simpler != train:
            fewer.append(Case((*case.trains[:n], simpler, *case.trains[n + 1 :]), case.acts))
    return fewer


def breaks(ground: Field, found: Found, case: Case) -> bool:
    """Whether a case breaks the line that was found, played here to its end and not by the challenge."""
    kernel = Kernel(ground.program)
    rules = Rules(kernel, ground.rules)
    layout = ground.program.layout
    world = World(layout, case.trains, case.acts, drivers_see(kernel, layout)) if case.size else Nothing()
    jump(kernel, world, 600_000_000)
    return bool(rules.judgements(kernel.stage.now_us)[ground.lines.index(found.line)].breaches)


def fails_from_disk(project: Project, kept: Kept, path: Path) -> set[str]:
    """The rules that break when the rehearsal is read from its file and played."""
    again = load([project.layout_file, *map(Path, project.scene_files), path])
    assert not again.errors
    result = rehearse(again.program, again.program.rehearsals[kept.name])
    assert not result.passed
    assert not result.troubles
    return {outcome.judgement.rule.name for outcome in result.rules if not outcome.kept}


@pytest.mark.parametrize("crossing", GOOD, ids=lambda one: one.name)
def test_what_is_right_is_not_accused(crossing: Crossing) -> None:
    project = crossing.project()
    assert not project.errors
    ground = crossing.ground(project)
    outcome = searched(ground, crossing.budget(ground))
    assert outcome.found == ()
    assert outcome.covered.cases == CASES


def test_the_example_is_not_accused() -> None:
    project = load([EXAMPLE])
    ground = Field.of(project.program, list(project.program.rules))
    outcome = searched(ground, Budget(release_delay_us(ground.program), False))
    assert outcome.found == ()
    assert outcome.covered.cases == CASES


def test_the_kept_case_and_the_case_that_was_played_are_one(tmp_path: Path) -> None:
    """What is written is what was played: exact to the microsecond, whatever numbers the search has drawn."""
    crossing = next(one for one in BAD if one.name == "edge-instead-of-level")
    project = crossing.project()
    ground = crossing.ground(project)
    found = searched(ground, crossing.budget(ground)).found[0]
    odd = found.case.trains[-1]._replace(from_us=found.case.trains[-1].from_us + 123_457)
    case = Case((*found.case.trains[:-1], odd), found.case.acts)
    kept = keep(project, found._replace(case=case), ground.rules[ground.lines.index(found.line)], tmp_path)
    assert kept.path is not None
    again = load([project.layout_file, *map(Path, project.scene_files), kept.path])
    written = again.program.rehearsals[kept.name]
    played = as_rehearsal(case, project.layout, kept.name)
    assert [one._replace(place=odd.place) for one in written.trains] == list(played.trains)


@pytest.mark.parametrize("crossing", BAD[::4], ids=lambda one: one.name)
def test_what_is_not_needed_is_taken_out(crossing: Crossing) -> None:
    """A late train and a late hand are added to the case that was found: it is no larger for it in the end."""
    ground = crossing.ground(crossing.project())
    budget = crossing.budget(ground)
    found = searched(ground, budget, crossing.cases).found[0]
    late = found.case.trains[0]._replace(from_us=400_123_456, visits=())
    hand = Act(NOWHERE, 450_000_001, Deed.START, next(iter(ground.program.scenes)))
    fat = Case((*found.case.trains, late), (*found.case.acts, hand))
    lean = shrunk(fat, fails_alike(ground, found.line, budget, True))
    assert lean.size <= found.case.size


def as_rehearsal(case: Case, layout: Layout, name: str, lasts_us: int | None = None) -> Rehearsal:
    """The same case as a rehearsal."""
    begins = tuple(Begin(NOWHERE, detector, "clear") for detector in layout.detectors)
    return Rehearsal(name, NOWHERE, begins, None, (), case.trains, case.acts, (), case.seed, lasts_us)
