"""`wayside challenge`: drives trains against a layout's rules until one breaks, and gives the smallest case back.

Decides what is asked and where the result goes; the search is the business of `wayside.challenge.challenging`.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from engine.layout import NOWHERE
from wayside import wording
from wayside.commands.check import counted, given_paths, paragraphs, without
from wayside.progress import shares, watched
from wayside.project import Project, load
from wayside.rehearsal import verdict
from wayside.terminal import say
from wayside.usage import FINE, INTERRUPTED, PROBLEMS, UsageProblem, near_miss
from wayside.wording import count, duration

if TYPE_CHECKING:
    from engine.rules import Judgement
    from wayside.challenge.case import Field
    from wayside.challenge.case_menu import Budget
    from wayside.challenge.challenging import Found, Limits, Outcome
    from wayside.challenge.search import Reach

MINUTES = 1
MOST_MINUTES = 24 * 60
TRAINS = 3
MOST_TRAINS = 20
MOST_CORES = 256

DESCRIPTION = """\
Drives trains over the tracks against the rules of a layout's scenes: of every length and speed up to the track's
fastest, a second and a third at every instant of a passage, trains that stop short, stand or turn back, detectors that
lie as their kind lies, hands that press and stop. It goes on until a rule breaks or its time is over. What breaks is
made as small as it can be and written as a rehearsal, which fails in the same way and can be kept and drawn.
"""

EPILOG = """\
examples:

  wayside challenge examples/pellbrook-quay
  wayside challenge examples/pellbrook-quay --rule road-closed --minutes 10
  wayside challenge examples/pellbrook-quay --beyond

What a scene has to bear: one kind of fault at a time (signals passed at danger, or detectors that lie), a train that no
detector sees for less than the release delay, that is the shortest time for which a scene waits until detectors are
clear; a stop by hand only where `when stopped` says what it does. What goes past that (a detector stuck in clear, a
link lost, two kinds of fault at once) is tried with --beyond, reported apart, and changes no exit status.

exit status: 0 no rule broke, 1 one broke, or a scene was stopped since it did not settle, or the files have errors or
no rules, 2 wrong usage or a file that cannot be read or written
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    parser.add_argument("--rule", metavar="NAME", action="append", help="only this rule; may be given again")
    options = (
        ("--trains", "N", f"at most so many trains in one case; {TRAINS} if left out"),
        ("--minutes", "M", f"search for so long, such as 10 or 0.5; {MINUTES} if left out"),
        ("--cases", "N", "play so many cases, however long that takes: the same search on every machine"),
        ("--seed", "N", "a whole number that the search draws from; 0 if left out"),
        ("--unseen", "TIME", "a train goes unseen for less than this; for less than the release delay if left out"),
        ("--cores", "N", "play on so many cores; on all of them if left out"),
        ("--into", "FOLDER", "where the rehearsal of a failure is written; beside the scenes if left out"),
    )
    for name, metavar, text in options:
        parser.add_argument(name, metavar=metavar, action=Once, help=text)
    parser.add_argument("--beyond", action="store_true", help="also try more than a scene has to bear")


def run(options: argparse.Namespace) -> int:
    from wayside.challenge.case_menu import LEAST_UNSEEN_US

    reach, limits = _reach(options), _limits(options)
    unseen_us = None if options.unseen is None else wording.read_duration(options.unseen, "--unseen")
    if unseen_us is not None and unseen_us < LEAST_UNSEEN_US:
        raise UsageProblem(f"--unseen takes at least {duration(LEAST_UNSEEN_US)}: a dirty wheel is on every layout.")
    into = None if options.into is None else Path(options.into)
    if into is not None and not into.is_dir():
        raise UsageProblem(f"--into takes a folder that exists, and {into} is none.")
    project = load(given_paths(options.paths, "challenge"), watched=watched)
    if project.errors:
        for paragraph in paragraphs(project.errors, project.lines):
            say(paragraph)
        left = f"nothing was challenged. Put the errors right first.{without(project)}"
        say(f"{project.name}: {counted(project)}; {left}")
        return PROBLEMS
    names = _rules(project, options.rule)
    if not names:
        say(f"{project.name}: the scene files hold no rule, so there is nothing to break. Write one, such as:\n")
        say("    rule road-closed\n        never a train is on lane while any of barriers is not lowered")
        return PROBLEMS
    return _challenge(project, names, reach, limits, into, unseen_us)


# --- what is asked -------------------------------------------------------------------------------------------------


def _reach(options: argparse.Namespace) -> Reach:
    from wayside.challenge.search import Reach

    trains = _number(options.trains, "--trains", TRAINS, 1, MOST_TRAINS)
    seed = 0 if options.seed is None else wording.read_whole_number(options.seed, "--seed")
    return Reach(trains, seed, options.beyond)


def _limits(options: argparse.Namespace) -> Limits:
    from wayside.challenge.challenging import Limits

    if options.cases is not None and options.minutes is not None:
        raise UsageProblem("--cases and --minutes both say when to end: give one of them.")
    cases = None if options.cases is None else _number(options.cases, "--cases", 1, 1, 10**9)
    cores = None if options.cores is None else _number(options.cores, "--cores", 1, 1, MOST_CORES)
    return Limits(_minutes(options.minutes) * 60, cases, cores)


def _minutes(text: str | None) -> float:
    if text is None:
        return MINUTES
    try:
        minutes = float(text.replace(",", "."))
    except ValueError:
        minutes = -1.0
    if not 0 < minutes <= MOST_MINUTES:
        raise UsageProblem(
            f"--minutes takes a number above 0, at most {MOST_MINUTES}, such as 10 or 0.5, not {text!r}."
        )
    return minutes


def _number(text: str | None, option: str, usual: int, least: int, most: int) -> int:
    number = usual if text is None else wording.read_whole_number(text, option)
    if not least <= number <= most:
        raise UsageProblem(f"{option} takes a whole number from {least} to {most:,}, not {number}.")
    return number


def _rules(project: Project, only: list[str] | None) -> list[str]:
    known = list(project.program.rules)
    for name in only or ():
        if name not in known:
            there_is = f" There is {wording.listed(known)}." if known else " The files hold no rule."
            raise UsageProblem(f"There is no rule {name}.{near_miss(name, known) or there_is}")
    return [name for name in known if only is None or name in only]


# --- playing and telling -------------------------------------------------------------------------------------------


def _challenge(
    project: Project, names: list[str], reach: Reach, limits: Limits, into: Path | None, unseen_us: int | None
) -> int:
    from wayside.challenge.case import Field
    from wayside.challenge.case_menu import Budget, release_delay_us
    from wayside.challenge.challenging import challenge

    ground = Field.of(project.program, names)
    budget = Budget(unseen_us or release_delay_us(ground.program), reach.beyond)
    for line in _opening(project, names, budget, reach, limits):
        say(line)
    with shares(1, "challenging") as come:
        outcome = challenge(ground, budget, reach, limits, None if come is None else partial(come, 0))
    for line in _covered(outcome, ground):
        say(line)
    broke = [found for found in outcome.found if found.within]
    past = [found for found in outcome.found if not found.within and reach.beyond]
    for found in (*broke, *past):
        _tell(project, ground, found, into)
    for line in _snagged(outcome):
        say(line)
    cut = any(one.snag.cut and one.within for one in outcome.snags)
    say(_summary(project, broke, past, names) + (" A scene was stopped, since it did not settle." if cut else ""))
    if outcome.stopped:
        say("It was stopped before its time was over.")
        return INTERRUPTED
    return PROBLEMS if broke or cut else FINE


def _opening(project: Project, names: list[str], budget: Budget, reach: Reach, limits: Limits) -> Iterator[str]:
    how_long = f"{limits.cases:,} cases" if limits.cases is not None else duration(round(limits.seconds * 1_000_000))
    trains = f"up to {count(reach.most_trains, 'train')} at once"
    yield f"{project.name}: {count(len(names), 'rule')} challenged with {trains}, for {how_long}, seed {reach.seed}."
    release = duration(budget.release_us)
    yield f"A scene has to bear one kind of fault at a time, and a train that is unseen for less than {release}."
    if budget.beyond:
        yield "More than that is tried as well, and told apart."


def _covered(outcome: Outcome, ground: Field) -> Iterator[str]:
    """What was played, and how near each line of the rules came to breaking."""
    from wayside.challenge import case_words

    covered = outcome.covered
    yield f"\nPlayed {covered.cases:,} cases with {covered.trains:,} trains in {outcome.seconds:.1f} s:"
    pairs = f"{covered.pairs:,} of {covered.of_pairs:,}" if covered.of_pairs else "none"
    yield f"  phases    {covered.phases:,} of plain passages, each with all that can happen next: {pairs} played"
    if covered.thirds:
        yield f"  thirds    {covered.thirds:,} third trains at the phases of the closest cases of two"
    yield f"  orders    {len(covered.orders):,} in which the detectors spoke"
    faults = sum(times for kind, times in covered.kinds.items() if not kind.startswith("a "))
    kinds = [kind for kind in covered.kinds if not kind.startswith("a ")]
    yield f"  faults    {count(len(kinds), 'kind')} of fault and hand, {faults:,} times"
    if covered.impossible:
        yield f"  left out  {covered.impossible:,} in which trains would have run through one another"
    yield "\nHow near each line of the rules came to breaking:"
    broke = {line for found in outcome.found if found.within for line in found.lines}
    names = [sentence.rule.name for sentence in ground.rules]
    width = max(map(len, names))
    for closest, sentence in zip(outcome.closest, ground.rules, strict=True):
        where = f"{sentence.rule.name:<{width}}  line {sentence.line.place.line:<4}"
        if closest.line in broke:
            yield f"  broken  {where}".rstrip()
            continue
        yield f"  kept    {where}  {_closest_row(closest.judgement)}"
        if closest.case is not None and closest.judgement is not None:
            yield from (f"            {line}" for line in case_words.lines(closest.case))


def _snagged(outcome: Outcome) -> Iterator[str]:
    """What was cut or refused, though no rule broke by it."""
    from wayside.challenge import case_words
    from wayside.challenge.challenging import MOST_SMALL

    if not outcome.snags:
        return
    yield "\nCut or refused on the way:"
    for snag, case, within in outcome.snags[:MOST_SMALL]:
        where = "" if snag.place == NOWHERE else f"  {Path(snag.place.file).name} line {snag.place.line}"
        bears = "" if within else ", past what a scene has to bear"
        yield f"  {'stopped' if snag.cut else 'refused'}{where}  at {duration(snag.at_us)}{bears}"
        yield f"            {snag.text}, with"
        yield from (f"            {line}" for line in case_words.lines(case))
    if len(outcome.snags) > MOST_SMALL:
        yield f"  and {len(outcome.snags) - MOST_SMALL} more"


def _closest_row(judgement: Judgement | None) -> str:
    from wayside.rehearsal.rule_words import margin

    if judgement is None or judgement.margin is None:
        return "nothing came near"
    return f"{margin(judgement)} at {duration(judgement.margin.at_us)}, with"


def _tell(project: Project, ground: Field, found: Found, into: Path | None) -> None:
    """A failure: the rule, the rehearsal that shows it, and where that was kept."""
    from wayside.challenge.case_keeping import keep

    sentence = ground.rules[ground.lines.index(found.line)]
    bears = "" if found.within else ", past what a scene has to bear"
    say(f"\nrule {sentence.rule.name} broke{bears}:\n")
    kept = keep(project, found, sentence, into)
    say(verdict.indented(kept.text) + "\n")
    if kept.details:
        say(verdict.indented(kept.details))
    if kept.path is None:
        say(f"\n    It could not be written to {kept.wanted}: {kept.why_not}. Copy it from here.")
        return
    say(f"\n    It is kept in {kept.path}. To see it:")
    say(f"    wayside rehearse {_files(project, kept.path)} --only {kept.name} --picture {kept.name}.svg")


def _files(project: Project, kept: Path) -> str:
    """What to rehearse, so that the new file is among it: the folder, or each file where it lies elsewhere."""
    folder = project.layout_file.parent
    if kept.parent.resolve() == folder.resolve():
        return str(folder)
    return " ".join(map(str, (project.layout_file, *project.scene_files, kept)))


def _summary(project: Project, broke: list[Found], past: list[Found], names: list[str]) -> str:
    rules = sorted({line.rule for found in broke for line in found.lines})
    if rules:
        said = f"{wording.listed(rules)} broke"
    else:
        said = f"{'the rule' if len(names) == 1 else f'all {len(names)} rules'} kept"
    more = f"; {count(len(past), 'failure')} past what a scene has to bear" if past else ""
    return f"\n{project.name}: {said}{more}."
