"""A pack put into a folder of its own: whole, or not at all. Then what this computer lacks for its show.

Writes beside the folder and renames, so that a pulled plug leaves nothing that looks like a layout.
"""

from __future__ import annotations

import os
import platform
import shutil
from collections.abc import Iterator, Sequence
from importlib.metadata import version
from pathlib import Path

from engine.layout import Kind, Layout
from wayside import hall_time
from wayside.handover.pack_form import MOST_PACK, Manifest, Need, Pack, PackProblem, read
from wayside.handover.packing import KEPT, POSITIONS, needs_of
from wayside.usage import UsageProblem, why_not
from wayside.wording import count, listed

MOST_PORTS = 6  # said by name


def open_pack(file: Path) -> Pack:
    """The pack in a file. Raises PackProblem for what is none."""
    try:
        if file.is_dir():
            raise UsageProblem(f"{file} is a folder. A pack is a file: `wayside pack {file}` makes one.")
        if file.stat().st_size > MOST_PACK:
            raise PackProblem(f"{file} is not read: a pack has at most {MOST_PACK // 1024 // 1024} MB.")
        return read(file.read_bytes(), str(file))
    except OSError as problem:
        raise UsageProblem(f"{file} cannot be read: {why_not(problem)}.") from problem
    except ValueError as problem:  # a name with a nought in it
        raise UsageProblem("There is no file of such a name.") from problem


def put(pack: Pack, folder: Path) -> None:
    """Write a pack's files as a folder that is not there yet, or is empty.

    Raises UsageProblem; then nothing is left.
    """
    try:
        if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
            raise UsageProblem(f"{folder} is there, and is no folder. Name one that is not there yet.")
        if folder.is_dir() and any(folder.iterdir()):
            raise UsageProblem(f"{folder} is not empty, and nothing in it is written over. Name another folder.")
        home = folder.resolve()
        if home == Path.cwd():
            raise UsageProblem("That is the folder that you are in. Name one that is not there yet.")
        above = next((one for one in home.parents if one.exists()), home.parent)
        if not above.is_dir():
            raise UsageProblem(f"{above} is a file, and no folder stands in a file. Name another folder.")
        home.parent.mkdir(parents=True, exist_ok=True)
        beside = home.with_name(f".{home.name}-arrives-{os.getpid()}")
        beside.mkdir()
    except (OSError, ValueError) as problem:
        raise UsageProblem(f"{folder} cannot be made: {_why(problem)}.") from problem
    try:
        for name, data in pack.files.items():
            _write(beside.joinpath(*name.split("/")), data)
        if home.is_dir():
            home.rmdir()
        beside.rename(home)
    except BaseException as problem:
        shutil.rmtree(beside, ignore_errors=True)
        if isinstance(problem, OSError):
            raise UsageProblem(f"{folder} cannot be written: {_why(problem)}. Nothing was left there.") from problem
        raise


def _write(file: Path, data: bytes) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    with file.open("xb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


def _why(problem: Exception) -> str:
    return why_not(problem) if isinstance(problem, OSError) else "it is no name of a folder"


# --- what is to be adapted -----------------------------------------------------------------------------------------


def to_adapt(pack: Pack, layout: Layout, ports: Sequence[str]) -> Iterator[str]:
    """What is other than where it was packed, or has to be seen to before a show; a sentence each."""
    manifest = pack.manifest
    yield from _versions(manifest)
    for need in needs_of(layout):
        yield _port(need, ports)
    if manifest.days and not layout.hall_zone:
        here = str(hall_time.zone_of(layout))
        if here != manifest.zone:
            yield (
                f"The hall's clock: this computer goes by {here}, the other one by {manifest.zone}. Show days go by "
                f"this one, unless layout.yaml says otherwise: hall time: {{time zone: {manifest.zone}}}"
            )
    if KEPT in pack.files:
        yield "Flags and counters come along, as the last show there left them."
    servos = [output.name for output in layout.outputs.values() if output.kind is Kind.SERVO]
    if servos and POSITIONS not in pack.files:
        stood = count(len(servos), "servo")
        yield f"Where {stood} stood did not come along: each may jump when it is first told. Hands off."


def _versions(manifest: Manifest) -> Iterator[str]:
    if (here := version("wayside")) != manifest.wayside:
        yield f"Packed by Wayside {manifest.wayside}; here is {here}. The rehearsals above say if that matters."
    if (here := platform.python_version()) != manifest.python:
        yield f"Packed under Python {manifest.python}; here is {here}. Nothing is to be done about it."


def _port(need: Need, ports: Sequence[str]) -> str:
    """What is to be done about a link's port."""
    what = f"Link {need.link} ({need.dialect}, {need.speed} baud)"
    if "://" in need.port:
        return f"{what} goes to {need.port}: `wayside probe` with that address says whether it answers from here."
    here = f"Here {'is' if len(ports) == 1 else 'are'} {listed(list(ports), MOST_PORTS)}" if ports else "Here is none"
    if need.port and (need.port in ports or Path(need.port).exists()):
        return f"{what} has its port here, {need.port}."
    lacks = f"wants port {need.port}, which is not here" if need.port else "names no port"
    return f"{what} {lacks}. {here}; `wayside probe` lists them, and --port or layout.yaml says which."
