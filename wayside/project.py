"""One layout's files, read into one program: a folder with `layout.yaml` and `*.scene` files, or the files themselves.

Decides which files belong together and in which order they are read. What stands in them is others' business.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from engine.layout import Layout, Place
from engine.program import Program
from scenes.problems import Problem, in_order
from wayside.usage import UsageProblem, why_not

LAYOUT_NAME = "layout.yaml"
SCENE_ENDING = ".scene"
LAYOUT_ENDINGS = (".yaml", ".yml")
MOST_SCENE_FILES = 1_000

Shown = Callable[[Path], str]
Watched = Callable[[Sequence[Path], str], Iterable[Path]]


class Project(NamedTuple):
    """A layout and all its scenes, with everything that is wrong with them (errors first, each by place).

    `lines` holds the text of each file read, for excerpts; `scene_files` their names as shown.
    """

    layout: Layout
    program: Program
    problems: tuple[Problem, ...]
    lines: dict[str, list[str]]
    scene_files: tuple[str, ...] = ()
    name: str = ""  # the layout's, or its folder's if it has none
    unread: tuple[str, ...] = ()  # scene files that stand beside those read
    names_checked: bool = True  # False: the layout file could not be made out, so the scenes were only read
    layout_file: Path = Path("layout.yaml")

    @property
    def errors(self) -> list[Problem]:
        return [problem for problem in self.problems if not problem.advice]

    @property
    def advice(self) -> list[Problem]:
        return [problem for problem in self.problems if problem.advice]


class Files(NamedTuple):
    """What belongs together: one layout file, its scene files, and remarks on files that were left out."""

    layout: Path
    scenes: tuple[Path, ...]
    remarks: tuple[Problem, ...] = ()


def load(paths: Sequence[Path], shown: Shown = str, watched: Watched = lambda files, _: files) -> Project:
    """Read everything. `shown` names a file in messages; `watched` lets a long reading show how far it is.

    Raises UsageProblem if a file is missing or cannot be read; all that is wrong inside the files is in `problems`.
    """
    files = find(paths, shown)
    _must_be_readable(files.layout)
    from scenes.compiler import compile_program
    from scenes.parse import parse
    from scenes.source import read
    from wayside.layout.doubts import without
    from wayside.layout.file import read_with_doubts

    layout, problems, lines, doubts = read_with_doubts(files.layout, shown(files.layout))
    problems = [*problems, *files.remarks]
    layout_is_sound = all(problem.advice for problem in problems)
    nodes = []
    for file in watched(files.scenes, "reading"):
        source = read(_bytes_of(file), shown(file))
        lines[source.file] = list(source.lines)
        parsed = parse(source.text, source.file)
        nodes.append(parsed.node)
        problems += [*source.problems, *parsed.problems]
    program = Program(layout=layout)
    if layout_is_sound:
        program, found = compile_program(nodes, layout)
        problems = _causes_only([*problems, *found, *_second_look(program, [*problems, *found])], files.remarks)
    elif doubts is not None:
        # What the layout file fails to say is not reported a second time in the scenes.
        _, found = compile_program(nodes, without(layout, doubts), doubts)
        problems = _causes_only([*problems, *found], files.remarks)
    name = layout.name or files.layout.resolve().parent.name
    read_files = tuple(map(shown, files.scenes))
    unread = _unread(files.scenes)
    return Project(
        layout, program, tuple(in_order(problems)), lines, read_files, name, unread, doubts is not None, files.layout
    )


def _second_look(program: Program, so_far: list[Problem]) -> list[Problem]:
    """What only shows when all lines are seen together; in files with errors it would report their consequences."""
    from scenes.check import check
    from wayside.checks.flash_doubts import may_flash
    from wayside.checks.wire_check import check as check_wires

    broken = {problem.place.file for problem in so_far if not problem.advice}
    found = [*check(program), *check_wires(program)]
    if not broken and may_flash(program):
        from wayside.checks.flash_warnings import check_by_playing

        found += check_by_playing(program)
    if not broken and program.layout.supplies:
        from wayside.survey.supply_check import check as check_supplies

        found += check_supplies(program)
    if not broken and any(link.port for link in program.layout.links.values()):
        from wayside.checks.load_check import by_playing

        found += by_playing(program)
    return [one for one in found if one.place.file not in broken]


def _causes_only(problems: list[Problem], remarks: Sequence[Problem]) -> list[Problem]:
    """Advice waits until the errors are gone: a misspelt name makes another one look unused."""
    if all(problem.advice for problem in problems):
        return problems
    return [problem for problem in problems if not problem.advice or problem in remarks]


# --- which files ---------------------------------------------------------------------------------------------------


def find(paths: Sequence[Path], shown: Shown = str) -> Files:
    """The layout file and the scene files that the paths name, folders opened, each file once."""
    layouts: dict[Path, Path] = {}
    scenes: dict[Path, Path] = {}
    remarks: list[Problem] = []
    for path in paths:
        inside, left_out = _in_folder(path, shown) if path.is_dir() else ([_named_file(path)], [])
        remarks += left_out
        for file in inside:
            home = layouts if file.suffix.lower() in LAYOUT_ENDINGS else scenes
            home.setdefault(file.resolve(), file)
    if not layouts:
        layouts = _beside(list(scenes.values()))
    if len(layouts) > 1:
        names = " and ".join(str(file) for file in layouts.values())
        raise UsageProblem(f"These belong to different layouts: {names}. Give the files of one layout at a time.")
    if len(scenes) > MOST_SCENE_FILES:
        raise UsageProblem(f"{len(scenes)} scene files; one layout takes at most {MOST_SCENE_FILES}.")
    return Files(next(iter(layouts.values())), tuple(scenes.values()), tuple(remarks))


def _in_folder(folder: Path, shown: Shown) -> tuple[list[Path], list[Problem]]:
    try:
        names = sorted(os.listdir(folder))
    except OSError as problem:
        raise UsageProblem(f"The folder {folder} cannot be read: {why_not(problem)}.") from problem
    scenes = [folder / name for name in names if name.lower().endswith(SCENE_ENDING) and not name.startswith(".")]
    if LAYOUT_NAME not in names:
        raise UsageProblem(_no_layout(folder, names))
    return [folder / LAYOUT_NAME, *scenes], [_left_out(shown(folder / name)) for name in names if _is_scene_txt(name)]


def _is_scene_txt(name: str) -> bool:
    """Some editors add an ending of their own, and some file managers do not show it."""
    return name.lower().endswith(SCENE_ENDING + ".txt")


def _left_out(file: str) -> Problem:
    what = "this file is not read, because its name does not end in .scene"
    return Problem(Place(file, 1, 1, 1, 1), what, f"If it holds scenes, rename it to {Path(file).stem}", advice=True)


def _no_layout(folder: Path, names: list[str]) -> str:
    alike = [name for name in names if name.lower().removesuffix(".txt") in ("layout.yml", "layout.yaml")]
    if alike:
        return f"{folder} holds no layout file: {alike[0]} must be called {LAYOUT_NAME}."
    if not names:
        return f"{folder} is empty. A layout's folder holds {LAYOUT_NAME} and files that end in {SCENE_ENDING}."
    return f"{folder} holds no layout file. It must be called {LAYOUT_NAME} and stand beside the scene files."


def _named_file(path: Path) -> Path:
    if not path.exists():
        raise UsageProblem(f"There is no file or folder {path}.{_like_it(path)}")
    if not path.is_file():
        raise UsageProblem(f"{path} is neither a file nor a folder.")
    if path.suffix.lower() not in (SCENE_ENDING, *LAYOUT_ENDINGS):
        raise UsageProblem(f"{path} is no scene file: the name of a scene file ends in {SCENE_ENDING}.")
    return path


def _like_it(path: Path) -> str:
    from wayside.usage import near_miss

    try:
        beside = [str(path.parent / name) for name in os.listdir(path.parent)]
    except OSError:
        return ""
    return near_miss(str(path), beside)


def _beside(scenes: list[Path]) -> dict[Path, Path]:
    """The layout file in the folder of each scene file, when none was named."""
    found = [scene.parent / LAYOUT_NAME for scene in scenes]
    for file in found:
        if not file.is_file():
            names = sorted(os.listdir(file.parent))
            raise UsageProblem(_no_layout(file.parent, names))
    return {file.resolve(): file for file in found}


def _unread(scenes: Sequence[Path]) -> tuple[str, ...]:
    """The names of scene files that stand beside those named and were not named."""
    read = {scene.resolve() for scene in scenes}
    beside = [file for folder in dict.fromkeys(scene.parent for scene in scenes) for file in sorted(folder.iterdir())]
    return tuple(file.name for file in beside if file.suffix.lower() == SCENE_ENDING and file.resolve() not in read)


# --- reading -------------------------------------------------------------------------------------------------------


def _must_be_readable(path: Path) -> None:
    try:
        with path.open("rb"):
            pass
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be read: {why_not(problem)}.") from problem


def _bytes_of(path: Path) -> bytes:
    """The file's bytes; one that is far too large is not even opened."""
    from scenes.source import LARGEST_FILE

    try:
        size = path.stat().st_size
        if size > LARGEST_FILE * 4:
            most = f"the most that a scene file may have is {LARGEST_FILE}"
            raise UsageProblem(f"{path} is not read: it has {size} bytes; {most}.")
        return path.read_bytes()
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be read: {why_not(problem)}.") from problem
