"""`wayside rehearse`: plays rehearsals, or one scene freely, in virtual time, and writes what came of it.

Decides what to play and where the results go; how they look is decided where they are drawn.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from engine.layout import NOWHERE, Place
from engine.program import Program, Rehearsal
from wayside import terminal, wording
from wayside.commands.check import counted, given_paths, paragraphs, without
from wayside.progress import shares, watched
from wayside.project import Project, load
from wayside.rehearsal import verdict
from wayside.rehearsal.rule_words import broken
from wayside.terminal import say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, near_miss, why_not
from wayside.wording import count

if TYPE_CHECKING:
    from wayside.checks.flash_warnings import FastFlashing
    from wayside.pictures.failures import Failure
    from wayside.rehearsal.rehearsing import Result

FREE_PLAY_US = 10 * 60 * 1_000_000
PICTURES = (".svg", ".png")

Out = Callable[[str], None]  # where a line of the result goes

DESCRIPTION = """\
Plays every rehearsal of a layout and says which held and which failed, and why. Time is virtual: an hour takes a
moment. With --scene it plays one scene freely and prints what happened as an event list. With --day it plays a whole
show day, and prints its timetable, what ran by itself or never, what the links carry and what the rules had to spare.
"""

EXAMPLES = """\
examples:

  wayside rehearse examples/pellbrook-quay
  wayside rehearse examples/pellbrook-quay --only second-train-while-rising --events
  wayside rehearse examples/pellbrook-quay --scene evening --from 17:40 --for 20min
  wayside rehearse examples/pellbrook-quay --picture crossing.svg
  wayside rehearse examples/pellbrook-quay --day saturday --trains 5min

    rehearsal one-train
        begins with every detector clear
        plays saltmarsh-lane
        a train 800 mm long runs along up-line at 150 mm/s, from 0 s
        expect all of barriers are lowered by 22 s

exit status: 0 all held, 1 one failed or the files have errors, 2 wrong usage or a file that cannot be read or written
"""


OPTIONS = (
    ("--scene", "NAME", "play this scene freely instead of the rehearsals"),
    ("--from", "TIME", "layout time at which --scene begins, such as 17:40; with --day the hall time"),
    ("--for", "TIME", "how long --scene plays, such as 20min; 10 min if left out"),
    ("--day", "NAME", "play this show day instead of the rehearsals; --only SCENE then shows the times of one scene"),
    ("--date", "DATE", "the date of --day, such as 2026-12-05; the next of that name if left out"),
    ("--trains", "TIME", "on --day a train so often, on each track in turn, such as 5min"),
    ("--seed", "N", "a whole number that everything left to chance is drawn from"),
    ("--picture", "FILE", "draw a timeline as FILE.svg or FILE.png; of several rehearsals one file each"),
)
_KEYWORDS = ("--from", "--for")  # their plain names are words of the programming language


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    for name, metavar, text in OPTIONS:
        parser.add_argument(
            name, metavar=metavar, action=Once, help=text, dest=name[2:] + ("_" if name in _KEYWORDS else "")
        )
    parser.add_argument("--only", metavar="NAME", action="append", help="play this rehearsal only; may be given again")
    parser.add_argument("--events", action="store_true", help="print the event list of each rehearsal, too")
    parser.add_argument(
        "--json", metavar="FILE", action=Once, nargs="?", const="-", help="write the trace for programs, to a file or -"
    )


def run(options: argparse.Namespace) -> int:
    _refuse_odd_mixes(options)
    seed = None if options.seed is None else wording.read_whole_number(options.seed, "--seed")
    free_for_us = FREE_PLAY_US if options.for_ is None else wording.read_duration(options.for_, "--for")
    from_s = None if options.from_ is None else wording.read_time_of_day(options.from_, "--from")
    project = load(given_paths(options.paths, "rehearse"), watched=watched)
    # A trace on standard output must be a program's food and nothing else.
    out: Out = tell if options.json == "-" else say
    if project.errors:
        return _stopped_by_errors(project, out)
    if options.day is not None:
        from wayside.commands.day import rehearse

        return rehearse(project, options, seed or 0, out)
    if options.scene is not None:
        chosen = [free_play(project.program, options.scene, from_s, free_for_us)]
    else:
        chosen = choose(project.program, options.only)
    if not chosen:
        out(f"{project.name}: the scene files hold no rehearsal. Write one, or play a scene freely with --scene NAME.")
        return PROBLEMS
    return _play(project, chosen, seed, options, out)


def _refuse_odd_mixes(options: argparse.Namespace) -> None:
    """Combinations that have no meaning; a table of (is it so, what to say)."""
    free, json, picture = options.scene is not None, options.json, options.picture
    day = options.day is not None
    eaten = json if json and not options.paths and Path(json).is_dir() else None
    mixes = (
        (eaten, f"--json took {eaten} for the file to write. Put the folder first: rehearse {eaten} --json"),
        (free and options.only, "--only plays a rehearsal and --scene plays without one: give only one of them."),
        (free and day, "--day plays a show day and --scene one scene: give only one of them."),
        (not day and options.date, "--date goes with --day NAME."),
        (not day and options.trains, "--trains goes with --day NAME; a rehearsal says itself which trains run."),
        (day and options.for_, "--for goes with --scene NAME; a show day says itself when it closes."),
        (
            not free and not day and options.from_,
            "--from goes with --scene NAME; a rehearsal says itself when it begins.",
        ),
        (not free and options.for_, "--for goes with --scene NAME; a rehearsal says itself how long it lasts."),
        (
            picture is not None and Path(picture).suffix.lower() not in PICTURES,
            f"--picture draws {' or '.join(PICTURES)} files: end the name {picture!r} in one of these.",
        ),
        (json and json == picture, "--json and --picture would write the same file. Give them different names."),
    )
    for so, sentence in mixes:
        if so:
            raise UsageProblem(sentence)


def _stopped_by_errors(project: Project, out: Out) -> int:
    for paragraph in paragraphs(project.errors, project.lines):
        out(paragraph)
    out(f"{project.name}: {counted(project)}; nothing was rehearsed. Put the errors right first.{without(project)}")
    return PROBLEMS


# --- what to play --------------------------------------------------------------------------------------------------


def choose(program: Program, only: Sequence[str] | None) -> list[Rehearsal]:
    """The rehearsals named, each once in the order of the files; all of them if none is named."""
    for name in only or ():
        if name not in program.rehearsals:
            raise UsageProblem(unknown("rehearsal", name, program.rehearsals, program.named_scenes, "--scene"))
    return [one for name, one in program.rehearsals.items() if only is None or name in only]


def free_play(program: Program, scene: str, from_s: int | None, for_us: int) -> Rehearsal:
    """A rehearsal that plays one scene and expects nothing."""
    if scene not in program.named_scenes:
        raise UsageProblem(unknown("scene", scene, program.named_scenes, program.rehearsals, "--only"))
    return Rehearsal(scene, NOWHERE, begins_at_s=from_s, plays=((NOWHERE, scene, 0),), lasts_us=for_us)


def unknown(kind: str, name: str, known: Iterable[str], others: Iterable[str], option: str) -> str:
    """There is no such scene or rehearsal: the nearest name, or what there is."""
    known = list(known)
    if not name:
        return f"The name of the {kind} is missing. There is {wording.listed(known)}."
    if name in others:
        other = "scene" if kind == "rehearsal" else "rehearsal"
        return f"{name} is a {other}, not a {kind}: write {option} {name}."
    near = near_miss(name, known)
    there_is = f" There is {wording.listed(known)}." if known else f" The files hold no {kind}."
    return f"There is no {kind} {name}.{near or there_is}"


# --- playing -------------------------------------------------------------------------------------------------------


def _play(project: Project, chosen: list[Rehearsal], seed: int | None, options: argparse.Namespace, out: Out) -> int:
    from wayside.rehearsal.rehearsing import rehearse

    free = options.scene is not None
    width = max(len(one.name) for one in chosen)
    if not free:
        out(f"{project.name}: {count(len(chosen), 'rehearsal')}")
    results: list[Result] = []
    with shares(len(chosen), "rehearsing") as come:
        for number, rehearsal in enumerate(chosen):
            result = rehearse(project.program, rehearsal, seed, None if come is None else partial(come, number))
            results.append(result)
            _show(project, result, width, free or options.events, out)
    say_rules(project, results, out)
    say_advice(project, results, out)
    if not free:
        out(_summary(project, results))
    write_files(project, results, options, out)
    return FINE if all(result.passed for result in results) else PROBLEMS


def say_advice(project: Project, results: Sequence[Result], out: Out) -> None:
    """What all the rehearsals together show: flashing that is too fast, links and supplies with too much to carry."""
    from wayside.checks.flash_warnings import fast_flashing, problem
    from wayside.checks.load_check import overloads

    worst: dict[tuple[Place, ...], FastFlashing] = {}
    for result in results:
        for found in fast_flashing(project.program, result.trace, result.ended_us):
            if found.places not in worst or found.flashes > worst[found.places].flashes:
                worst[found.places] = found
    said = [problem(found) for found in worst.values()]
    said += overloads(project.program, [(result.trace, result.ended_us) for result in results])
    if project.layout.supplies:
        from wayside.survey.supply_check import overloads as too_much_current

        said += too_much_current(project.program, [(one.rehearsal.name, one.trace, one.ended_us) for one in results])
    if said:
        out("\nAdvice (nothing fails because of it):\n")
        for paragraph in paragraphs(said, project.lines):
            out(paragraph)


def _show(project: Project, result: Result, width: int, events: bool, out: Out) -> None:
    out(verdict.headline(result, width))
    why = verdict.details(result, project.lines)
    if why:
        out(f"\n{verdict.indented(why)}\n")
    for note in result.notes:
        out(verdict.indented(verdict.note(note)))
    if events:
        from wayside.rehearsal import event_list

        out("")
        for line in event_list.lines(result.trace, project.program, _wall_start(project, result)):
            out(line)
        out("")


def _wall_start(project: Project, result: Result) -> int | None:
    """The layout time at which it began, where layout time matters: it was given, or a scene plays freely."""
    begins_s = result.rehearsal.begins_at_s
    return project.layout.clock.starts_s if begins_s is None and result.rehearsal.place == NOWHERE else begins_s


def _summary(project: Project, results: list[Result]) -> str:
    failed = sum(not result.passed for result in results)
    expected = sum(len(result.outcomes) for result in results)
    if failed:
        score = f"{failed} of {count(len(results), 'rehearsal')} failed"
    else:
        score = f"{'it' if len(results) == 1 else 'all'} held, {count(expected, 'expectation')}"
    rules = len(project.program.rules)
    broke = {one.judgement.rule.name for result in results for one in broken(result.rules)}
    kept = f"; {count(len(broke), 'rule')} broken" if broke else f", {count(rules, 'rule')} kept" if rules else ""
    return f"{project.name}: {score}{kept}."


def say_rules(project: Project, results: Sequence[Result], out: Out) -> None:
    """How near each line of each rule came, over all that was played."""
    from wayside.rehearsal.rule_words import closest, table

    found = closest((result.rehearsal.name, [one.judgement for one in result.rules]) for result in results)
    if found:
        lines = count(len(found), "line of the rules", "lines of the rules")
        out(f"\n{lines}, and what each had to spare where it came closest:")
        for row in table(found, len(results) == 1):
            out(row)
        out("")


# --- files ---------------------------------------------------------------------------------------------------------


def write_files(project: Project, results: list[Result], options: argparse.Namespace, out: Out) -> None:
    if options.json == "-":
        with terminal.written():
            _dump(project, results, sys.stdout)
    elif options.json is not None:
        with _settled_by_the_asker(Path(options.json)), open(options.json, "w", encoding="utf-8", newline="\n") as file:
            _dump(project, results, file)
        out(f"The trace is in {options.json}.")
    if options.picture is not None:
        _draw(project, results, Path(options.picture), out)


def _dump(project: Project, results: list[Result], file: TextIO) -> None:
    """One object for one rehearsal, a list of them for several."""
    from wayside.rehearsal import trace_json

    if len(results) == 1:
        trace_json.dump(results[0], project.program, file)
    else:
        trace_json.dump_all(results, project.program, file)


def _draw(project: Project, results: list[Result], path: Path, out: Out) -> None:
    from wayside.pictures import picture
    from wayside.rehearsal.rule_words import rule_marks

    for result in watched(results, "drawing"):
        name = result.rehearsal.name
        file = path if len(results) == 1 else path.with_name(f"{path.stem}-{name}{path.suffix}")
        title, begins_s = f"{project.name}: {name}", _wall_start(project, result)
        with _settled_by_the_asker(file):
            marks = rule_marks([one.judgement for one in result.rules])
            picture.draw(
                result.trace, project.program, file, result.ended_us, title, _failures(result), begins_s, marks
            )
        out(f"The picture is in {file}.")


def _failures(result: Result) -> list[Failure]:
    """The marks on a picture: where expectations failed, and the rows that did not do as expected."""
    from wayside.pictures.failures import Failure

    missed = [Failure(one.at_us, one.what_happened, one.subjects) for one in verdict.missed(result)]
    broke = (
        Failure(one.at_us, f"rule {one.judgement.rule.name}: {one.what_happened}", one.subjects)
        for one in broken(result.rules)
    )
    return [*missed, *broke]


@contextmanager
def _settled_by_the_asker(path: Path) -> Iterator[None]:
    """A file that was asked for and cannot be written is no fault of ours."""
    try:
        yield
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be written: {why_not(problem)}.") from problem
