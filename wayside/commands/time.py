"""`wayside time`: times a train from its approach to the crossing, and says whether the sequence fits in that.

Decides what is timed and how; what the seconds mean is decided in `timing`. It tells no output anything.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

from wayside.terminal import finish, say
from wayside.usage import FINE, INTERRUPTED, PROBLEMS, UsageProblem
from wayside.wording import read_duration

if TYPE_CHECKING:
    from engine.layout import Link
    from wayside.project import Project
    from wayside.walk.timing import Target, Watch

WIDE = 100

DESCRIPTION = """\
Times a train from where its nose comes upon the approach to where it reaches the crossing, says at once whether the
closing fits in that and what would make it fit, and keeps the seconds in the layout file, where `check` finds them.
With the port of a link it listens to the detectors; without, or with --dry-run, press Enter as the nose passes the
beginning of the approach, and again as it reaches the crossing. Take the fastest train that will ever run there.
Nothing is told to the layout, and no train is driven: that is for you.
"""

EXAMPLES = """\
examples:

  wayside time examples/pellbrook-quay up-line --dry-run
  wayside time FOLDER up-line --port /dev/ttyUSB0
  wayside time FOLDER up-line --took 23.6s --keep

    23.6 s from up-approach to lane.
    It fits: saltmarsh-lane needs 23 s until its last barrier is down, 1 s of that by rule road-closed;
    this train leaves 0.6 s to spare.

exit status: 0 it fits, or no crossing hangs on it; 1 it does not fit, the files have errors, or the time cannot be
kept; 2 wrong usage; 130 left before there was a time
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.usage = "wayside time FOLDER TRACK [options]"
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it times"
    parser.add_argument("words", metavar="FOLDER TRACK", nargs="*", help="a layout's folder, and one of its tracks")
    parser.add_argument(
        "--stretch",
        metavar='"A to B"',
        action=Once,
        help="from which detector to which, where the track has several approaches, or other ones are meant",
    )
    parser.add_argument(
        "--port",
        metavar="[LINK=]PORT",
        action="append",
        default=[],
        help="a link's port, in place of the layout file's",
    )
    parser.add_argument("--dry-run", action="store_true", help="open no port: a hand presses, or types the detectors")
    parser.add_argument("--took", metavar="22.4s", action=Once, help="a time that you have measured already")
    parser.add_argument("--keep", action="store_true", help="keep it in the layout file without asking")
    parser.add_argument("--anew", action="store_true", help="keep it although a faster train was timed before")
    parser.add_argument("--yes", action="store_true", help="do not ask before a port is opened")


def run(options: argparse.Namespace) -> int:
    from wayside.walk.timing import Watch, target_of

    if len(options.words) != 2:
        raise UsageProblem("Write the folder and the track, such as: wayside time examples/pellbrook-quay up-line")
    took_us = None if options.took is None else read_duration(options.took, "--took")
    if took_us is not None and (options.port or options.dry_run):
        raise UsageProblem("--took says the time itself: leave out --port and --dry-run.")
    if options.dry_run and options.port:
        raise UsageProblem("--dry-run opens no port: leave one of the two out.")
    folder, track = options.words
    project = _project(folder)
    if project is None:
        return PROBLEMS
    target = target_of(project.program, track, options.stretch)
    if took_us is not None:
        watch = Watch(target)
        watch.press(0)
        if said := watch.press(took_us):
            say(said)
        return _told(project, watch, options) if watch.took_us is not None else PROBLEMS
    return _live(project, target, options)


def _project(folder: str) -> Project | None:
    """The layout and its scenes; None with the errors said."""
    from wayside.commands.check import counted, paragraphs, without
    from wayside.project import load

    if not folder:
        raise UsageProblem("The name of the folder is empty. Write the folder of a layout.")
    project = load([Path(folder)])
    if not project.errors:
        return project
    for paragraph in paragraphs(project.errors, project.lines):
        say(paragraph)
    say(f"{project.name}: {counted(project)}; nothing was timed. Put the errors right first.{without(project)}")
    return None


# --- live ----------------------------------------------------------------------------------------------------------


def _live(project: Project, target: Target, options: argparse.Namespace) -> int:
    from wayside.far_ends.port_asking import may_open
    from wayside.live.links import links_of
    from wayside.walk.timing import Watch
    from wayside.walk.timing_live import LiveTiming

    links: Sequence[Link] = ()
    if not options.dry_run and (options.port or any(link.port for link in project.layout.links.values())):
        links = _listening(project, target, links_of(project.layout, options.port))
        if not may_open(links, options.yes):
            say("Nothing was opened, and nothing was timed.")
            return FINE
    watch = Watch(target, unheard=bool(links))
    fits: list[bool] = []
    live = LiveTiming(project, watch, links, lambda: fits.append(_means(project, watch)))
    keeps = live.perform(asks=not options.keep)
    if keeps is None:
        say("\nNothing was timed.")
        return INTERRUPTED
    return _ended(project, watch, options, fits[0], options.keep or keeps)


def _listening(project: Project, target: Target, links: Sequence[Link]) -> list[Link]:
    """The links that the two detectors hang on. Raises UsageProblem where one of them is on none that has a port."""
    layout = project.layout
    wanted = {}
    for name in (target.begin, target.end):
        link = layout.link_of(layout.detectors[name].wiring)
        found = None if link is None else next((one for one in links if one.name == link.name), None)
        if found is None:
            raise UsageProblem(f"{name} is on no link with a port. Time it by hand: --dry-run.")
        wanted[found.name] = found
    return list(wanted.values())


# --- what it means -------------------------------------------------------------------------------------------------


def verdict(project: Project, watch: Watch) -> tuple[bool, list[str]]:
    """Whether the sequence fits, and the lines that say so."""
    from wayside.walk.timing import fits

    assert watch.took_us is not None
    found = list(fits(project.program, watch.target, watch.took_us, watch.by_hand))
    lines = [line for fit in found for line in _lines(fit.says, fit.helps)]
    if not found:
        lines = ["No scene closes a crossing there, so nothing has to fit in it."]
    return all(fit.fits for fit in found), lines


def _lines(says: str, helps: Sequence[str]) -> Iterator[str]:
    yield from wrap(says, WIDE, break_long_words=False, break_on_hyphens=False)
    for number, way in enumerate(helps, 1):
        first = f"{number:>3}. "
        yield from wrap(way, WIDE, initial_indent=first, subsequent_indent=" " * 5, break_on_hyphens=False)


def _means(project: Project, watch: Watch) -> bool:
    """Say what the seconds mean; whether the sequence fits."""
    fine, lines = verdict(project, watch)
    for line in lines:
        say(line)
    return fine


def _told(project: Project, watch: Watch, options: argparse.Namespace) -> int:
    """For a time that was measured elsewhere."""
    fine = _means(project, watch)
    return _ended(project, watch, options, fine, options.keep or _agreed())


def _ended(project: Project, watch: Watch, options: argparse.Namespace, fine: bool, keeps: bool) -> int:
    from wayside.hall_time import now
    from wayside.walk.timing_keeping import keep

    if not keeps:
        say("Not kept. --keep keeps it.")
        return FINE if fine else PROBLEMS
    assert watch.took_us is not None
    track = project.layout.tracks[watch.target.track]
    today = now(project.layout).date()
    kept, says = keep(project.layout_file, track, watch.target, watch.took_us, today, options.anew)
    for line in wrap(says, WIDE, break_long_words=False, break_on_hyphens=False):
        say(line)
    return FINE if fine and kept else PROBLEMS


def _agreed() -> bool:
    if sys.stdin is None or not sys.stdin.isatty():
        return False
    from wayside.walk.timing_live import KEEP

    say(KEEP)
    finish()
    try:
        return sys.stdin.readline().strip().lower() in ("yes", "y")
    except (OSError, ValueError):  # the terminal has gone, or what was typed is no text
        return False
