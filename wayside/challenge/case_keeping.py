"""A failure that a challenge found, written beside the scenes as a rehearsal, and read again to see it fail alike."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from engine.program import Program
from engine.rules import Sentence
from scenes.problems import as_text
from wayside.challenge import case_words
from wayside.challenge.challenging import Found
from wayside.project import SCENE_ENDING, Project, load
from wayside.rehearsal import verdict
from wayside.usage import UsageProblem, why_not

MOST_NAMES = 1_000  # found-road-closed, found-road-closed-2, ...


class Kept(NamedTuple):
    """`path` is None where it could not be written to `wanted`. `details` is what a rehearsal of it says."""

    name: str
    text: str
    details: str
    path: Path | None
    wanted: Path
    why_not: str = ""


def keep(project: Project, found: Found, sentence: Sentence, into: Path | None) -> Kept:
    """Write it to a file of its own, whose name is free; say what rehearsing it says."""
    folder = into or Path(sentence.line.place.file).parent
    name = _free_name(project.program, folder, f"found-{found.line.rule}")
    text = case_words.rehearsal(found.case, project.layout, name, case_words.lasts_us(found.broke_us))
    path = folder / f"{name}{SCENE_ENDING}"
    remark = f"# Found by a challenge: it broke rule {found.line.rule}, {_where(sentence)}. A test like any other.\n"
    try:
        with open(path, "x", encoding="utf-8", newline="\n") as file:
            file.write(f"{remark}{text}")
    except OSError as problem:
        return Kept(name, text, "", None, path, why_not(problem))
    return Kept(name, text, _rehearsed(project, path, name), path, path)


def _where(sentence: Sentence) -> str:
    place = sentence.line.place
    return f"line {place.line} of {Path(place.file).name}"


def _free_name(program: Program, folder: Path, wanted: str) -> str:
    names = (wanted if number == 1 else f"{wanted}-{number}" for number in range(1, MOST_NAMES))
    free = (
        name for name in names if name not in program.rehearsals and not (folder / f"{name}{SCENE_ENDING}").exists()
    )
    return next(free, f"{wanted}-{MOST_NAMES}")


def _rehearsed(project: Project, path: Path, name: str) -> str:
    """What `wayside rehearse` says of the file that was written."""
    from wayside.rehearsal.rehearsing import rehearse

    try:
        again = load([project.layout_file, *map(Path, project.scene_files), path])
    except UsageProblem as problem:
        return str(problem)
    if again.errors:
        return "\n\n".join(as_text(problem, again.lines) for problem in again.errors)
    result = rehearse(again.program, again.program.rehearsals[name])
    return verdict.details(result, again.lines)
