"""`wayside survey`: what is wired where, what each supply has to carry, and the papers that belong to it.

Decides what is played and where results go. What is found, and how it looks, is decided elsewhere.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

from wayside import terminal
from wayside.commands.check import counted, given_paths
from wayside.progress import shares, watched
from wayside.project import Project, load
from wayside.terminal import say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, why_not

if TYPE_CHECKING:
    from wayside.checks.flash_warnings import FastFlashing
    from wayside.survey.paper import Written
    from wayside.survey.rows import Survey
    from wayside.survey.sections import Section
    from wayside.survey.supply_loads import Load, Played

WIDTH = 100  # at most; a narrower terminal has its own
LEAST_WIDTH = 72
SCREEN = "-"
SHEETS = (".pdf", ".txt", ".md")  # an office file with plain text in it is opened by nobody

DESCRIPTION = """\
Takes stock of a layout: what is wired where, port by port, with board and port as decoders count them; what is free,
doubled or unused; what each supply has to carry, added up and at the worst moment of the rehearsals; fuses, wires and
resistors for it. It plays the rehearsals, and with --day a whole show day, to find that moment. Nothing moves.
"""

EXAMPLES = """\
examples:

  wayside survey examples/pellbrook-quay
  wayside survey examples/pellbrook-quay --day saturday --trains 5min
  wayside survey examples/pellbrook-quay --chart wiring.pdf        a wiring chart, and labels to cut out
  wayside survey examples/pellbrook-quay --organiser sheet.pdf     what an exhibition's organiser asks for
  wayside survey examples/pellbrook-quay --csv wiring.csv

  wayside survey --resistor "12 V, 3.2 V, 10 mA"      no layout is needed for these
  wayside survey --drop "5 m of 0.5 mm2, 1 A, 12 V"
  wayside survey --fuse "1.2 A"

exit status: 0 fine, 1 the files have errors, or a supply, fuse or wire does not carry what it has to, 2 wrong usage or
a file that cannot be read or written
"""

QUESTIONS = (
    ("--resistor", "VALUES", "the resistor of an LED, such as '12 V, 3.2 V, 10 mA'; no folder is needed"),
    ("--drop", "RUN", "what a run of wire loses there and back, such as '5 m of 0.5 mm2, 1 A'; no folder either"),
    ("--fuse", "CURRENT", "the fuse for a current that lasts, such as '1.2 A'; no folder either"),
)
FILES = (
    ("--markdown", "as Markdown, to a file or to the screen"),
    ("--csv", "one row for each connection, for a spreadsheet, to a file or to the screen"),
    ("--organiser", "the sheet that an exhibition's organiser asks for, to a .pdf or text file, or to the screen"),
)


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    for name, text in FILES:
        parser.add_argument(name, metavar="FILE", action=Once, nargs="?", const=SCREEN, help=text)
    parser.add_argument("--chart", metavar="FILE", action=Once, help="a wiring chart with labels, as FILE.pdf, A4")
    parser.add_argument("--day", metavar="NAME", action=Once, help="play this show day, too")
    parser.add_argument("--trains", metavar="TIME", action=Once, help="on --day a train so often, such as 5min")
    for name, metavar, text in QUESTIONS:
        parser.add_argument(name, metavar=metavar, action=Once, help=text)


def run(options: argparse.Namespace) -> int:
    _refuse_odd_mixes(options)
    if _asked(options):
        return _answer(options)
    project = load(given_paths(options.paths, "survey"), watched=watched)
    played = [] if project.errors else list(_played(project, options))
    stock, loads, found = _stock(project, played)
    for write in _faces(project, options, stock, loads, found, played):
        write()
    if project.errors:
        tell(f"{project.name}: {counted(project)}; nothing was played. `wayside check` tells them all.")
    wrong = project.errors or stock.doubled or any(_problems(project, loads))
    return PROBLEMS if wrong else FINE


def _asked(options: argparse.Namespace) -> list[str]:
    return [name for name, _, _ in QUESTIONS if getattr(options, name[2:]) is not None]


def _refuse_odd_mixes(options: argparse.Namespace) -> None:
    """Combinations that have no meaning; a table of (is it so, what to say)."""
    asked = _asked(options)
    files = {name: getattr(options, name[2:]) for name, _ in FILES} | {"--chart": options.chart}
    given = {name: value for name, value in files.items() if value is not None}
    named = [value for value in given.values() if value != SCREEN]
    folders = {value: name for name, value in given.items() if value != SCREEN and Path(value).is_dir()}
    folder, eaten = next(iter(folders.items()), ("", "")) if not options.paths else ("", "")
    mixes = (
        (len(asked) > 1, f"{' and '.join(asked)} are questions of their own: ask one at a time."),
        (asked and (options.paths or given or options.day),
         f"{''.join(asked[:1])} needs no layout: leave out the rest."),
        (eaten, f"{eaten} took {folder} for the file to write. Put the folder first: survey {folder} {eaten}"),
        (not all(named), "The name of a file to write is empty."),
        (len(set(named)) < len(named), "Two options would write the same file. Give them different names."),
        (list(given.values()).count(SCREEN) > 1, "Only one of them can go to the screen. Name a file for the others."),
        (options.chart is not None and Path(options.chart).suffix.lower() != ".pdf",
         f"--chart draws a .pdf file: end the name {options.chart!r} in .pdf."),
        (options.organiser not in (None, SCREEN) and Path(options.organiser).suffix.lower() not in SHEETS,
         f"--organiser writes a .pdf, .txt or .md file: end the name {options.organiser!r} in one of these."),
        (options.trains is not None and options.day is None, "--trains goes with --day NAME."),
    )  # fmt: skip
    for so, sentence in mixes:
        if so:
            raise UsageProblem(sentence)


def _answer(options: argparse.Namespace) -> int:
    from wayside.survey import reckon as survey_reckon

    (name,) = _asked(options)
    answer: Callable[[str], Iterator[str]] = getattr(survey_reckon, name[2:])
    for line in list(answer(getattr(options, name[2:]))):
        for part in wrap(line, _width()) if len(line) > _width() else [line]:
            say(part)
    return FINE


# --- playing -------------------------------------------------------------------------------------------------------


def _played(project: Project, options: argparse.Namespace) -> Iterator[Played]:
    """Every rehearsal, and the day if one is asked for."""
    from wayside.rehearsal.rehearsing import rehearse
    from wayside.survey.supply_loads import Played

    rehearsals = list(project.program.rehearsals.values())
    days = 0 if options.day is None else 1
    with shares(len(rehearsals) + days, "playing") as come:
        for number, rehearsal in enumerate(rehearsals):
            result = rehearse(project.program, rehearsal, None, None if come is None else partial(come, number))
            yield Played(rehearsal.name, result.trace, result.ended_us)
        if days:
            yield _day(project, options, None if come is None else partial(come, len(rehearsals)))


def _day(project: Project, options: argparse.Namespace, progress: Callable[[float], None] | None) -> Played:
    from wayside.commands.day import trains_every, whole_day
    from wayside.rehearsal.day_rehearsing import rehearse_day
    from wayside.survey.supply_loads import Played

    plan = whole_day(project, options.day)
    played = rehearse_day(project.program, plan, 0, trains_every(options.trains), progress).result
    return Played(played.rehearsal.name, played.trace, played.ended_us, plan.hall_starts_s)


def _stock(project: Project, played: list[Played]) -> tuple[Survey, list[Load], list[FastFlashing]]:
    from wayside.checks.flash_warnings import fast_flashing
    from wayside.survey.rows import survey
    from wayside.survey.supply_loads import loads

    program = None if project.errors else project.program
    fast = [one for play in played for one in fast_flashing(project.program, play.trace, play.until_us)]
    return survey(project.layout, program, project.problems), loads(project.layout, played), fast


def _problems(project: Project, loads: list[Load]) -> Iterator[str]:
    """What supplies, fuses and wires cannot carry: what is only too much all at once, and never as played, is not."""
    from wayside.survey.supply_findings import of_stated, too_much_at_once

    for one in loads:
        yield from (problem.what for problem in of_stated(project.layout, one))
        gives = one.supply.gives_ua
        if gives is not None and one.worst is not None and one.worst.ua > gives:
            yield from (problem.what for problem in too_much_at_once(one))


# --- where it goes -------------------------------------------------------------------------------------------------


def _faces(
    project: Project,
    options: argparse.Namespace,
    stock: Survey,
    loads: list[Load],
    fast: list[FastFlashing],
    played: list[Played],
) -> Iterator[Callable[[], None]]:
    """What is to be written, each as something to do: the screen's text unless something else was asked for."""
    from wayside.survey import faces as survey_faces
    from wayside.survey import pages as survey_pages
    from wayside.survey import sheet as survey_sheet

    title = f"{project.name}: what is wired where"
    sections = survey_pages.pages(project.layout, stock, loads, [one.name for one in played])
    sheet_title = f"{project.name}: for the exhibition's organiser"
    if options.csv is not None:
        yield partial(_put, options.csv, [survey_faces.as_csv(stock).rstrip("\n")])
    if options.markdown is not None:
        yield partial(_put, options.markdown, list(survey_faces.as_markdown(title, sections)))
    if options.organiser is not None:
        sheet = survey_sheet.pages(project.layout, project.program, loads, fast if played else None)
        yield partial(_sheet, options.organiser, sheet_title, sheet)
    if options.chart is not None:
        chart = [one for one in sections if one.title != survey_pages.COSTS]  # nobody needs these under a baseboard
        yield partial(_chart, project, Path(options.chart), stock, chart)
    if all(one is None for one in (options.csv, options.markdown, options.organiser, options.chart)):
        yield partial(_put, SCREEN, list(survey_faces.as_text(title, sections, _width())))


def _width() -> int:
    return max(LEAST_WIDTH, min(WIDTH, terminal.width()))


def _put(where: str, lines: list[str]) -> None:
    if where == SCREEN:
        for line in lines:
            say(line)
        return
    _write(Path(where), "\n".join(lines) + "\n")


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be written: {why_not(problem)}.") from problem
    say(f"It is in {path}.")


def _sheet(where: str, title: str, sections: list[Section]) -> None:
    from wayside.survey import faces as survey_faces

    if Path(where).suffix.lower() != ".pdf":
        _put(where, list(survey_faces.as_text(title, sections, _width())))
        return
    from wayside.survey.paper import write_sheet

    _paper(Path(where), lambda path: write_sheet(path, title, sections))


def _chart(project: Project, path: Path, stock: Survey, sections: list[Section]) -> None:
    from wayside.survey.paper import write_chart

    supplies = list(project.layout.supplies.values())
    _paper(path, lambda to: write_chart(to, project.name, stock, sections, supplies))


def _paper(path: Path, write: Callable[[Path], Written]) -> None:
    from wayside.wording import count

    try:
        written = write(path)
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be written: {why_not(problem)}.") from problem
    say(f"{count(written.pages, 'page')}, A4, in {path}.")
    if written.missing:
        tell(f"The type on paper has no letters for {written.missing}: they stand there as boxes.")
