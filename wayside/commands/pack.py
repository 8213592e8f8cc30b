"""`wayside pack`: a layout's folder as one file for another computer; with --check, whether such a file is whole."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from wayside import wording
from wayside.commands.check import counted, paragraphs
from wayside.handover.pack_form import Pack, PackProblem, packed, read
from wayside.handover.unpacking import open_pack
from wayside.progress import watched
from wayside.project import Project, load
from wayside.terminal import say
from wayside.usage import FINE, PROBLEMS, UsageProblem, why_not

if TYPE_CHECKING:
    from wayside.rehearsal.rehearsing import Result

ENDING = ".zip"
DESCRIPTION = """\
Packs what a layout's show needs into one file: the layout file, the tables that it names, and the scenes. The journal
and what shows keep stay behind, unless asked for. The rehearsals are played first, so that it is known which held. On
the other computer `wayside unpack` puts the pack into a folder, checks that every file has arrived as it was, and plays
them again. Equal folders make equal files.
"""

EXAMPLES = """\
examples:

  wayside pack examples/pellbrook-quay
  wayside pack examples/pellbrook-quay --to quay.zip --kept
  wayside pack --check quay.zip

exit status: 0 fine, 1 the files have errors, so nothing was packed, or a rehearsal failed, 2 wrong usage, or a file
that cannot be read or written, or is no whole pack
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("folder", metavar="FOLDER", nargs="?", help="a layout's folder")
    parser.add_argument("--to", metavar="FILE", action=Once, help="the file to write; the folder's name if left out")
    parser.add_argument("--kept", action="store_true", help="with the flags and counters that shows keep")
    parser.add_argument("--positions", action="store_true", help="with where each servo was last sent")
    parser.add_argument("--check", metavar="FILE", action=Once, help="say what is in a pack, and whether it is whole")


def run(options: argparse.Namespace) -> int:
    if options.check is not None:
        if options.folder or options.to or options.kept or options.positions:
            raise UsageProblem("--check looks into a pack and packs nothing: leave out the rest.")
        for line in contents(open_pack(Path(options.check)), options.check):
            say(line)
        return FINE
    if not options.folder:
        raise UsageProblem("Which layout? Write its folder: wayside pack FOLDER")
    return _pack(Path(options.folder), options)


def _pack(folder: Path, options: argparse.Namespace) -> int:
    from wayside.handover.packing import pack_of

    if not folder.is_dir():
        raise UsageProblem(f"{folder} is no folder. A pack is made of a layout's whole folder.")
    project = load([folder], watched=watched)
    if project.errors:
        for paragraph in paragraphs(project.errors, project.lines):
            say(paragraph)
        say(f"{project.name}: {counted(project)}; nothing was packed. Put the errors right first.")
        return PROBLEMS
    target = Path(options.to) if options.to is not None else Path(f"{folder.resolve().name or 'layout'}{ENDING}")
    _may_be_written(target)
    held = {result.rehearsal.name: result.passed for result in played(project)}
    made, left = pack_of(project, folder, held, options.kept, options.positions)
    data = packed(made)
    read(data, str(target))  # what could not be unpacked is not written
    _write(target, data)
    for line in contents(made, str(target)):
        say(line)
    if left:
        say(f"Left behind: {wording.listed(list(left))}.")
    say(f"On the other computer:  wayside unpack {target.name} FOLDER")
    return FINE if all(held.values()) else PROBLEMS


def played(project: Project) -> Iterator[Result]:
    """What came of every rehearsal."""
    from wayside.rehearsal.rehearsing import rehearse

    for one in watched(list(project.program.rehearsals.values()), "rehearsing"):
        yield rehearse(project.program, one)


def _may_be_written(target: Path) -> None:
    """An older pack may be replaced; nothing else is."""
    if target.suffix.lower() != ENDING:
        raise UsageProblem(f"--to writes a file whose name ends in {ENDING}, not {str(target)!r}.")
    try:
        if target.exists():
            open_pack(target)
    except PackProblem:
        raise UsageProblem(
            f"{target} is there and is no whole pack: it is not written over. Name another file."
        ) from None


def _write(target: Path, data: bytes) -> None:
    beside = target.with_name(f".{target.name}-{os.getpid()}.new")
    try:
        with beside.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    except (OSError, ValueError) as problem:
        with suppress(OSError, ValueError):
            beside.unlink()
        why = why_not(problem) if isinstance(problem, OSError) else "it is no name of a file"
        raise UsageProblem(f"{target} cannot be written: {why}.") from problem


def contents(pack: Pack, shown: str) -> Iterator[str]:
    """What is in a pack, and what its show needs."""
    manifest, names = pack.manifest, sorted(pack.files)
    whole = sum(map(len, pack.files.values()))
    yield f"{manifest.layout}: {wording.count(len(names), 'file')}, {whole:,} bytes, in {shown}; all whole:\n"
    width = max(map(len, names), default=0)
    for name in names:
        yield f"  {name:<{width}}  {len(pack.files[name]):>9,} bytes"
    for need in manifest.needs:
        port = f"port {need.port}" if need.port else "no port named"
        yield f"  link {need.link}: {port}, {need.speed} baud, dialect {need.dialect}"
    if manifest.days:
        yield f"  {wording.count(len(manifest.days), 'show day')}: {wording.listed(list(manifest.days))}"
    failed = [name for name, held in manifest.held.items() if not held]
    said = f"failed: {wording.listed(failed)}" if failed else "all held"
    yield f"  {wording.count(len(manifest.held), 'rehearsal')}{f', {said}' if manifest.held else ''}"
    yield f"  packed by Wayside {manifest.wayside} under Python {manifest.python}, hall time {manifest.zone}\n"
