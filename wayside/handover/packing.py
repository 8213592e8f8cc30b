"""A layout's folder made into a pack: which of its files a show needs, and what the show needs of a computer.

The journal, what shows keep in `.wayside`, and files that nothing names stay behind, unless they are asked for.
"""

from __future__ import annotations

import os
import platform
from collections.abc import Iterator, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

from engine.layout import Layout
from wayside import hall_time
from wayside.handover.pack_form import MOST_BYTES, MOST_FILE, MOST_FILES, Manifest, Need, Pack, clashing, why_no_name
from wayside.live import kept, last_positions
from wayside.project import Project
from wayside.usage import UsageProblem, why_not

KEPT = f"{last_positions.FOLDER}/{kept.FILE}"
POSITIONS = f"{last_positions.FOLDER}/{last_positions.FILE}"


class Packed(NamedTuple):
    """A pack, and the names of what stands in the folder and stays behind."""

    pack: Pack
    left: tuple[str, ...]


def pack_of(project: Project, folder: Path, held: Mapping[str, bool], with_kept: bool, with_positions: bool) -> Packed:
    """Everything that the show needs. `held`: each rehearsal, and whether it did.

    Raises UsageProblem for a file that lies elsewhere, or cannot be taken along.
    """
    home = folder.resolve()
    files: dict[str, bytes] = {}
    for name, file in _needed(project, folder, with_kept, with_positions):
        files[name] = _bytes(name, file, home)
    _must_fit(files)
    return Packed(Pack(manifest(project, held), files), tuple(_left(folder, files)))


def manifest(project: Project, held: Mapping[str, bool]) -> Manifest:
    """What the show needs, and what it was packed by."""
    layout, program = project.layout, project.program
    zone = layout.hall_zone or str(hall_time.zone_of(layout))
    days = tuple(program.days)
    return Manifest(
        project.name, version("wayside"), platform.python_version(), zone, days, held, needs_of(layout)
    )  # fmt: skip


def needs_of(layout: Layout) -> tuple[Need, ...]:
    """The links that a show of it wants."""
    return tuple(Need(link.name, link.port, link.baud, link.dialect) for link in layout.links.values())


def _needed(project: Project, folder: Path, with_kept: bool, with_positions: bool) -> Iterator[tuple[str, Path]]:
    """Each file by its name in the pack: what was read, practice tables, and what was asked for."""
    found = dict.fromkeys([project.layout_file, *map(Path, project.lines), *map(Path, project.scene_files)])
    found.update(dict.fromkeys(folder / word for word in practice_files(project.layout)))
    for file in found:
        yield os.path.relpath(file, folder).replace(os.sep, "/"), file
    for asked, name in ((with_kept, KEPT), (with_positions, POSITIONS)):
        if asked and (folder / name).is_file():
            yield name, folder / name


def practice_files(layout: Layout) -> list[str]:
    """The practice tables of the person's own that crossings name."""
    from wayside.practice.names import is_file, shipped

    named = (word for crossing in layout.crossings.values() for word in crossing.practice)
    return [word.replace("\\", "/") for word in dict.fromkeys(named) if word not in shipped() and is_file(word)]


def _bytes(name: str, file: Path, home: Path) -> bytes:
    if not file.resolve().is_relative_to(home):
        raise UsageProblem(f"{name} lies outside the folder {home.name}. Copy it into the folder, and name it there.")
    if why := why_no_name(name):
        raise UsageProblem(f"{name} cannot be packed: {why}. Give it another name.")
    try:
        if file.stat().st_size > MOST_FILE:
            raise UsageProblem(f"{name} is not packed: it has more than {MOST_FILE // 1024 // 1024} MB.")
        return file.read_bytes()
    except OSError as problem:
        raise UsageProblem(f"{name} cannot be read: {why_not(problem)}.") from problem


def _must_fit(files: dict[str, bytes]) -> None:
    """What cannot be unpacked is not packed."""
    if clash := clashing(files):
        raise UsageProblem(f"The folder holds {clash}. Rename one of them.")
    if len(files) >= MOST_FILES or sum(map(len, files.values())) > MOST_BYTES - MOST_FILE:
        raise UsageProblem(
            f"So much is not packed: {len(files):,} files; the most is {MOST_FILES - 1:,}, with "
            f"{(MOST_BYTES - MOST_FILE) // 1024 // 1024} MB in all."
        )


def _left(folder: Path, files: Mapping[str, bytes], within: str = "") -> Iterator[str]:
    """What stands in the folder and is not in the pack; of a folder of which nothing is, the name only."""
    for entry in sorted(folder.iterdir()):
        name = f"{within}{entry.name}"
        if entry.is_dir() and any(one.startswith(f"{name}/") for one in files):
            yield from _left(entry, files, f"{name}/")
        elif name not in files:
            yield f"{name}/" if entry.is_dir() else name
