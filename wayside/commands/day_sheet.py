"""`wayside day-sheet`: one page for whoever minds a show day, on the screen, as Markdown, or on a sheet of A4."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from engine.program import Day
from engine.trace import Record
from wayside import hall_time, wording
from wayside.commands.check import counted, given_paths, paragraphs, without
from wayside.commands.day import choose_day
from wayside.handover.day_sheet import Known, Sheet
from wayside.progress import shares, watched
from wayside.project import Project, load
from wayside.rehearsal.day_rehearsing import DayPlayed
from wayside.terminal import say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, why_not

SCREEN_COLUMNS = 100
MOST_ROWS = 100  # with a row for each time
DESCRIPTION = """\
One page for whoever minds a show day: what begins when, what each scene does, what to look for, how long it takes, what
the buttons start, quiet hours and closing, what to do if something goes wrong, and who stays with it, to be filled in
by hand. All of it comes from the files: the day and every rehearsal are played for it.
"""

EXAMPLES = """\
examples:

  wayside day-sheet examples/pellbrook-quay
  wayside day-sheet examples/pellbrook-quay --day saturday --date 2026-11-28 --pdf saturday.pdf
  wayside day-sheet examples/pellbrook-quay --markdown saturday.md

exit status: 0 fine, 1 the files have errors or a rule was broken on that day, 2 wrong usage or a file that cannot be
read or written
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    parser.add_argument("--day", metavar="NAME", action=Once, help="which show day, where there are several")
    parser.add_argument(
        "--date", metavar="DATE", action=Once, help="its date, such as 2026-11-28; the next of that name if left out"
    )
    parser.add_argument(
        "--trains", metavar="TIME", action=Once, help="a train so often, on each track in turn, such as 5min"
    )
    parser.add_argument("--pdf", metavar="FILE", action=Once, help="one page of A4 to print")
    parser.add_argument("--markdown", metavar="FILE", action=Once, help="as Markdown")


def run(options: argparse.Namespace) -> int:
    for name, ending in (("pdf", ".pdf"), ("markdown", ".md")):
        written = getattr(options, name)
        if written is not None and Path(written).suffix.lower() != ending:
            raise UsageProblem(f"--{name} writes a file whose name ends in {ending}, not {written!r}.")
    paths = given_paths(options.paths, "day-sheet")
    project = load(paths, watched=watched)
    if project.errors:
        for paragraph in paragraphs(project.errors, project.lines):
            say(paragraph)
        say(f"{project.name}: {counted(project)}; no sheet was made. Put the errors right first.{without(project)}")
        return PROBLEMS
    known = _known(project, _day(project, options.day), options, str(paths[0]))
    from wayside.handover.day_sheet import sheets
    from wayside.handover.day_sheet_text import markdown, text

    given = list(sheets(known))
    if options.markdown is not None:
        _write(options.markdown, "\n".join(markdown(_whole(given))).encode() + b"\n")
    if options.pdf is not None:
        _print(given, known, options.pdf)
    if options.pdf is None and options.markdown is None:
        for line in text(_whole(given), SCREEN_COLUMNS):
            say(line)
    return FINE if all(one.kept for one in known.played.result.rules) else PROBLEMS


def _day(project: Project, name: str | None) -> Day:
    days = project.program.days
    if name is None and len(days) == 1:
        return next(iter(days.values()))
    if name is None and days:
        raise UsageProblem(f"Which day? Write --day and one of {wording.listed(list(days))}.")
    return choose_day(project.program, name or "")


def _known(project: Project, day: Day, options: argparse.Namespace, folder: str) -> Known:
    """Play the day and every rehearsal, and look at what is seen of each scene."""
    from importlib.metadata import version

    from engine.day import Plan
    from wayside.commands.day import trains_every
    from wayside.handover.day_signs import seen
    from wayside.rehearsal.day_rehearsing import rehearse_day

    zone = hall_time.zone_of(project.layout)
    on = hall_time.next_date(day.name, hall_time.now(project.layout))
    on = on if options.date is None else hall_time.read_date(options.date, "--date")
    every_us = trains_every(options.trains)
    plan = Plan(day, on, zone, project.layout.clock)
    with shares(1, "rehearsing") as come:
        played = rehearse_day(project.program, plan, 0, every_us, None if come is None else partial(come, 0))
    signs = seen(project.program, _traces(project, played))
    return Known(project.name, folder, played, signs, project.lines, version("wayside"))


def _traces(project: Project, played: DayPlayed) -> Iterator[tuple[Record, ...]]:
    from wayside.rehearsal.rehearsing import rehearse

    yield played.result.trace
    for rehearsal in watched(list(project.program.rehearsals.values()), "rehearsing"):
        yield rehearse(project.program, rehearsal).trace


def _whole(given: list[Sheet]) -> Sheet:
    """The sheet that leaves nothing out, with a row for every time, unless that would be very many."""
    return given[0] if given[0].rows <= MOST_ROWS else given[1]


def _print(given: list[Sheet], known: Known, file: str) -> None:
    from wayside.handover.day_sheet_page import TooMuch, page

    try:
        made = page(given, known.played.plan.date)
    except TooMuch:
        raise UsageProblem(
            "So much does not fit on one page, however it is gathered: the names are too long. The same command "
            "without --pdf shows it all."
        ) from None
    _write(file, made.pdf)
    if made.missing:
        tell(f"The page's type does not have {made.missing[:20]}: boxes stand there instead.")
    if made.sheet.gathered:
        tell("To fit on one page some of it is gathered and counted. The same command without --pdf shows all of it.")


def _write(file: str, data: bytes) -> None:
    try:
        Path(file).write_bytes(data)
    except (OSError, ValueError) as problem:
        why = why_not(problem) if isinstance(problem, OSError) else "it is no name of a file"
        raise UsageProblem(f"{file} cannot be written: {why}.") from problem
    say(f"The day sheet is in {file}.")
