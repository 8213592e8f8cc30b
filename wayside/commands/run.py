"""`wayside run`: a show in real time, on the layout's links or, with --dry-run, on nothing at all."""

from __future__ import annotations

import argparse
import asyncio
import sys
from typing import TYPE_CHECKING

from wayside import wording
from wayside.commands.check import counted, given_paths, paragraphs, without
from wayside.desk import asked as desk_asked
from wayside.live import last_positions
from wayside.live.edits import Edits
from wayside.live.performing import Performance
from wayside.live.screen import Screen
from wayside.live.servos import Servos
from wayside.live.show_memory import Memory
from wayside.live.showing import Show, ShowClock
from wayside.progress import watched
from wayside.project import Project, load
from wayside.terminal import say
from wayside.usage import OUR_FAULT, PROBLEMS, UsageProblem

if TYPE_CHECKING:
    from engine.drive import World
    from engine.show_day import ShowDay
    from wayside.desk.desk import Desk
    from wayside.live.day import Asked

DESCRIPTION = """\
Performs a layout's scenes in real time, over the links whose `port` the layout file or --port names. Guarded outputs
begin in their safe state and stay there until their detectors have said that nothing is about. Track power is never
switched unasked. Rules are watched: one that breaks is told at once, and does what its `if broken` says, or else puts
the guarded outputs that it is about into their safe state. With --day the show is a show day of the scene files: it
begins what is due by the hall's clock, and ends at closing time. With --dry-run no hardware is touched: detectors are
worked by hand, with lines that you type, or on the desk: a page for a browser, whose address is printed. Ctrl-C ends
every scene through its `when stopped` and leaves the layout safe; a second Ctrl-C within a second ends at once.
"""

EXAMPLES = """\
example:

  wayside run examples/pellbrook-quay --port /dev/ttyUSB0
  wayside run examples/pellbrook-quay --dry-run --from 17:44
  wayside run examples/pellbrook-quay --port /dev/ttyUSB0 --day saturday

    up-approach occupied      a train is coming: the lane closes to the road
    up-approach clear
    press evening-button      the lamplighter sets out

exit status: 0 the show was ended, 1 the scenes have errors, a rule was broken, or guarded outputs could not be told
their safe state at the end, 2 wrong usage or a file that cannot be read, 130 ended at once by a second Ctrl-C
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    parser.add_argument(
        "--port",
        metavar="[LINK=]PORT",
        action="append",
        default=[],
        help="a link's port, in place of the layout file's: /dev/ttyUSB0, COM5, socket://localhost:2560",
    )
    parser.add_argument("--dry-run", action="store_true", help="touch no hardware: everything is worked by hand")
    parser.add_argument(
        "--from",
        dest="from_",
        metavar="17:40",
        action=Once,
        help="the layout clock's time to begin at; with --day the hall's, in place of this computer's",
    )
    parser.add_argument("--day", metavar="NAME", action=Once, help="perform this show day, until it has closed")
    parser.add_argument("--seed", metavar="N", action=Once, help="for random draws (default 0)")
    desk_asked.describe(parser)
    parser.add_argument(
        "--no-journal", action="store_true", help="write nothing into journal.sqlite beside the layout file"
    )
    parser.add_argument("--plain", action="store_true", help="a line for each thing that happens, on a terminal, too")


def run(options: argparse.Namespace) -> int:
    seed = 0 if options.seed is None else wording.read_whole_number(options.seed, "--seed")
    from_s = None if options.from_ is None else wording.read_time_of_day(options.from_, "--from")
    project = load(given_paths(options.paths, "run"), watched=watched)
    if project.errors:
        for paragraph in paragraphs(project.errors, project.lines):
            say(paragraph)
        say(f"{project.name}: {counted(project)}; nothing was performed. Put the errors right first.{without(project)}")
        return PROBLEMS
    if options.dry_run and options.port:
        raise UsageProblem("--dry-run opens no port: leave one of the two out.")
    screen = Screen(project, plain=options.plain or not (sys.stdout.isatty() and sys.stdin.isatty()))
    asked = None
    if options.day is not None:
        from wayside.commands.day import announced

        asked = _asked(project, options, from_s)
        from_s = asked.plan.layout_starts_s
        screen.remark(announced(project, asked.plan))
    elif project.program.days:
        names = wording.listed(list(project.program.days), 4)
        screen.remark(f"{project.name}: no show day is performed; --day NAME performs one ({names}).")
    desk = desk_asked.desk(options, screen)
    memory = Memory(project, screen, options.dry_run, not options.no_journal, asked is not None)
    if options.dry_run:
        show = Show(project.program, memory.record, seed=seed, starts_s=from_s, known=True, broken=screen.rules.broken)
        memory.begins(show, seed=seed)
        day = _day_of(show, asked, _staged(desk, project, show, True), memory, desk)
        edits = Edits(project, options.paths, show, screen, memory, True, day, desk)
        return _performed(Performance(project, show, screen, memory, edits, day=day, desk=desk), memory)
    return _on_links(project, options, screen, memory, seed, from_s, asked, desk)


def _asked(project: Project, options: argparse.Namespace, from_s: int | None) -> Asked:
    """The show day that is asked for. By a made-up time, or with no hardware, nothing of it is kept."""
    from wayside.commands.day import live_plan
    from wayside.live import day_kept
    from wayside.live.day import Asked

    true_time = from_s is None and not options.dry_run
    kept = day_kept.file_for(project.layout_file) if true_time else None
    killed = true_time and last_positions.killed(last_positions.file_for(project.layout_file))
    return Asked(live_plan(project, options.day, from_s, killed), kept)


def _performed(performance: Performance, memory: Memory) -> int:
    """Its exit status; whatever becomes of it, the journal comes to its end."""
    try:
        return asyncio.run(performance.run())
    finally:
        memory.close("the show broke off, by a fault in Wayside", OUR_FAULT)


def _staged(desk: Desk | None, project: Project, show: Show, dry_run: bool) -> World:
    """The desk of a show; the trains that are sent from it, which are a dry run's world."""
    from engine.drive import Nothing

    if desk is None:
        return Nothing()
    desk.stage(project, show, dry_run)
    return desk.trains or Nothing()


def _day_of(show: Show, asked: Asked | None, world: World, memory: Memory, desk: Desk | None) -> ShowDay | None:
    """The show day as the world of a show; None where none was asked for."""
    if asked is None:
        return None
    from wayside.live.day import day_of

    return day_of(show, asked, world, memory, desk)


def _on_links(
    project: Project,
    options: argparse.Namespace,
    screen: Screen,
    memory: Memory,
    seed: int,
    from_s: int | None,
    asked: Asked | None,
    desk: Desk | None,
) -> int:
    from wayside.live.links import Links, links_of

    clock = ShowClock()
    wired = links_of(project.layout, options.port)
    links = Links(project.layout, wired, clock.now_us, screen.show)  # the journal looks at links for itself
    kept = last_positions.file_for(project.layout_file)
    positions, trouble = last_positions.read(kept, project.layout)
    if trouble:
        screen.remark(trouble)
    if last_positions.begun(kept):
        screen.remark(
            "The last show was not ended: guarded servos go to their safe state at once, from wherever they are."
        )
        guarded = {name for name, output in project.layout.outputs.items() if output.guarded}
        positions = {name: degrees for name, degrees in positions.items() if name not in guarded}
    show = Show(project.program, memory.record, links.runs, seed, from_s, False, positions, clock, screen.rules.broken)
    day = _day_of(show, asked, _staged(desk, project, show, False), memory, desk)
    memory.begins(show, links.runs, seed)
    servos = Servos(show, kept, links.runs)
    edits = Edits(project, options.paths, show, screen, memory, False, day, desk)
    return _performed(Performance(project, show, screen, memory, edits, links, servos, day, desk), memory)
