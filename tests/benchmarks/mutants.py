"""Wrong crossings made from the right one by its text: how many of those that a brute-force grid finds bad `wayside
challenge` finds, and how long it takes. Some ten minutes of two cores: most of it one mutant that never comes to rest.

Run it: `python -m tests.benchmarks.mutants [--keep]`, which with `--keep` writes what it prints to `mutants.txt`.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

from tests.challenge.brute_force import Witness, first_witness
from tests.challenge.mutants import Mutant, mutants, unchanged
from wayside.challenge import case_words
from wayside.challenge.case import Field
from wayside.challenge.case_menu import Budget, release_delay_us
from wayside.challenge.challenging import Limits, challenge
from wayside.challenge.search import Reach
from wayside.project import Project

KEPT = Path(__file__).with_suffix(".txt")
CASES = 12_000  # of each search for what the grid found, the same on every machine
OTHER_CASES = 600  # of a search for what the grid did not find
STATED_US = 4_000_000  # a train goes unseen for less: the release delay of the right crossing
MOST_SECONDS = 3_600.0
PROCESSES = 2


class Search(NamedTuple):
    rules: tuple[str, ...]  # that broke; none: nothing was found
    cases: int
    seconds: float
    said: str


class Row(NamedTuple):
    mutant: Mutant
    refused: str  # why the compiler would not have it
    bad: Witness | None
    stated: Search | None  # with a train unseen for less than 4 s
    own: Search | None  # as the command does it: unseen for less than the mutant's own release delay


def search(project: Project, unseen_us: int | None = STATED_US, cases: int = CASES) -> Search:
    """What a challenge finds, on one core."""
    ground = Field.of(project.program, list(project.program.rules))
    budget = Budget(release_delay_us(ground.program) if unseen_us is None else unseen_us, False)
    outcome = challenge(ground, budget, Reach(), Limits(MOST_SECONDS, cases, cores=1))
    rules = tuple(sorted({line.rule for found in outcome.found for line in found.lines}))
    said = "; ".join(case_words.lines(outcome.found[0].case)) if outcome.found else ""
    return Search(rules, outcome.covered.cases, outcome.seconds, said)


def row(mutant: Mutant) -> Row:
    project = mutant.project()
    if project.errors:
        return Row(mutant, project.errors[0].what, None, None, None)
    bad = first_witness(project.program)
    own_us = release_delay_us(Field.of(project.program, list(project.program.rules)).program)
    stated = search(project, cases=CASES if bad else OTHER_CASES)
    own = stated if own_us == STATED_US or bad is None else search(project, None)
    return Row(mutant, "", bad, stated, own)


def report(rows: list[Row]) -> Iterable[str]:
    bad = [one for one in rows if one.bad is not None]
    found = [one for one in bad if one.stated is not None and one.stated.rules]
    own = [one for one in bad if one.own is not None and one.own.rules]
    more = [one for one in rows if one.bad is None and one.stated is not None and one.stated.rules]
    refused = [one for one in rows if one.refused]
    kinds = Counter(one.mutant.kind for one in rows)
    shown_by = Counter(one.bad.kind for one in bad if one.bad)
    yield f"mutants                                   {len(rows):4}   {_counts(kinds)}"
    yield f"refused by check                          {len(refused):4}"
    yield f"bad by the grid                           {len(bad):4}   {_counts(shown_by)}"
    yield f"of these found, unseen for less than 4 s  {len(found):4}"
    yield f"of these found, with its own delay        {len(own):4}"
    yield f"found, and not bad by the grid            {len(more):4}"
    seconds = sorted(one.stated.seconds for one in found if one.stated is not None)
    cases = sorted(one.stated.cases for one in found if one.stated is not None)
    if seconds:
        yield f"to find one: median {statistics.median(seconds):.2f} s and {statistics.median(cases):.0f} cases,"
        yield f"  longest {seconds[-1]:.2f} s and {cases[-1]} cases"
    for title, some in (
        ("missed", [one for one in bad if one not in found]),
        ("missed with its own release delay only", [one for one in found if one not in own]),
        ("found, and not bad by the grid", more),
        ("bad by the grid and found", found),
    ):
        yield f"\n{title}:"
        for one in some:
            yield f"  {one.mutant.name}"
            if one.bad is not None:
                yield f"      grid:   {', '.join(sorted(one.bad.rules))}: {one.bad.said}"
            if one.stated is not None and one.stated.rules:
                yield f"      search: {', '.join(one.stated.rules)} in {one.stated.cases} cases: {one.stated.said}"


def _counts(counter: Counter[str]) -> str:
    return ", ".join(f"{count} {kind}" for kind, count in counter.items())


def main() -> None:
    right = row(unchanged())
    assert right.bad is None, f"the right crossing is bad by the grid: {right.bad}"
    assert right.stated is not None
    assert not right.stated.rules, f"the right crossing is accused: {right.stated}"
    rows, all_of, began = [], mutants(), time.monotonic()
    with ProcessPoolExecutor(PROCESSES) as pool:
        for mutant, one in zip(all_of, pool.map(row, all_of), strict=True):
            rows.append(one)
            spent = time.monotonic() - began
            print(f"{len(rows):3} of {len(all_of)}  {spent:6.1f} s  {mutant.name}", file=sys.stderr, flush=True)
    lines = list(report(rows))
    print("\n".join(lines))
    if "--keep" in sys.argv:
        KEPT.write_text("\n".join(["# python -m tests.benchmarks.mutants --keep", *lines]) + "\n", encoding="utf-8")
    missed = [one for one in rows if one.bad is not None and not (one.stated and one.stated.rules)]
    assert not missed, f"bad by the grid, and not found: {[one.mutant.name for one in missed]}"


if __name__ == "__main__":
    main()
