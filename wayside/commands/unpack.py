"""`wayside unpack`: a pack put into a folder, checked, rehearsed, and what is to be adapted on this computer."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap

from wayside import wording
from wayside.commands.check import report
from wayside.commands.pack import played
from wayside.handover.pack_form import Manifest, Pack
from wayside.handover.unpacking import open_pack, put, to_adapt
from wayside.progress import watched
from wayside.project import Project, load
from wayside.terminal import say
from wayside.usage import FINE, PROBLEMS, UsageProblem

COLUMNS = 100
DESCRIPTION = """\
Puts a pack that `wayside pack` made into a folder that is not there yet, or is empty. Nothing is written before every
file has proved to be what was packed. Then the files are checked, every rehearsal is played, and it says what this
computer needs for the show, and how to run it.
"""

EXAMPLES = """\
example:

  wayside unpack pellbrook-quay.zip quay

exit status: 0 it has arrived, and every rehearsal held, 1 it has arrived, but the files have errors here or a rehearsal
failed, 2 wrong usage, a pack that is not whole, or a folder that cannot be written
"""


def describe(parser: argparse.ArgumentParser) -> None:
    parser.usage = "wayside unpack FILE FOLDER"
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("file", metavar="FILE", nargs="?", help="a pack")
    parser.add_argument("folder", metavar="FOLDER", nargs="?", help="where it goes: not there yet, or empty")


def run(options: argparse.Namespace) -> int:
    if not options.file or not options.folder:
        raise UsageProblem("Write the pack, and the folder that it is to become: wayside unpack FILE FOLDER")
    pack, folder = open_pack(Path(options.file)), Path(options.folder)
    put(pack, folder)
    files = wording.count(len(pack.files), "file")
    say(f"{pack.manifest.layout} has arrived in {folder}: {files}, each as it was packed.\n")
    project = load([folder], watched=watched)
    for line in report(project):
        say(line)
    if project.errors:
        return PROBLEMS
    failed = _rehearsed(project, pack.manifest)
    say("\nOn this computer:")
    from adapters.serial_port import ports

    for sentence in to_adapt(pack, project.layout, [one.port for one in ports()]):
        for line in _folded(sentence):
            say(line)
    say("\nHow to run it:")
    for line in _how(pack, folder):
        say(line)
    return PROBLEMS if failed else FINE


def _rehearsed(project: Project, manifest: Manifest) -> int:
    """Play every rehearsal; how many failed."""
    from wayside.rehearsal import verdict

    failed = []
    for result in played(project):
        if not result.passed:
            failed.append(result.rehearsal.name)
            say(f"{verdict.headline(result)}\n\n{verdict.indented(verdict.details(result, project.lines))}\n")
    number = wording.count(len(project.program.rehearsals), "rehearsal")
    if not failed:
        say(f"{number} played, {'all held' if project.program.rehearsals else 'so nothing was tried'}.")
    there = [name for name in failed if manifest.held.get(name)]
    if failed:
        say(f"{len(failed)} of {number} failed.")
    if there:
        say(f"{wording.listed(there)} held where it was packed. Look first at the versions, below.")
    return len(failed)


def _folded(sentence: str) -> Iterator[str]:
    yield from wrap(sentence, COLUMNS, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)


def _how(pack: Pack, folder: Path) -> Iterator[str]:
    shown = f'"{folder}"' if " " in str(folder) else str(folder)
    day = f" --day {pack.manifest.days[0]}" if pack.manifest.days else ""
    missing = any(not need.port for need in pack.manifest.needs)
    yield f"  wayside run {shown} --dry-run      with no hardware, to see it"
    yield f"  wayside run {shown}{' --port PORT' if missing else ''}{day}"
    if pack.manifest.days:
        yield f"  wayside day-sheet {shown}{day} --pdf sheet.pdf"
