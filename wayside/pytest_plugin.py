"""The test plug-in: in a folder with a layout file, each rehearsal of each scene file is a test. Loaded whenever
pytest starts, so everything but pytest itself is imported when a scene file is met; other projects notice nothing.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from engine.program import Rehearsal
    from scenes.problems import Problem
    from wayside.project import Project
    from wayside.rehearsal.rehearsing import Result

LAYOUT_NAME = "layout.yaml"
SCENE_ENDING = ".scene"

_projects = pytest.StashKey[dict[Path, "Project"]]()


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    if file_path.suffix == SCENE_ENDING and (file_path.parent / LAYOUT_NAME).is_file():
        return SceneFile.from_parent(parent, path=file_path)
    return None


class FilesHaveErrors(pytest.Collector.CollectError):
    """The layout's files have errors, so nothing in them can be played. Its text is what `wayside check` says."""


class RehearsalFailed(Exception):
    """An expectation failed. Carries what a person reads."""


class SceneFile(pytest.File):
    """A scene file beside a layout file; the folder is read once, whatever number of files it holds."""

    def collect(self) -> Iterator[pytest.Item]:
        from wayside.usage import UsageProblem

        try:
            project = project_of(self.path.parent, self.config)
        except UsageProblem as problem:
            raise FilesHaveErrors(str(problem)) from None
        if project.errors:
            raise FilesHaveErrors(_errors_text(project, self.path.name))
        for name, rehearsal in project.program.rehearsals.items():
            if Path(rehearsal.place.file).name == self.path.name:
                yield RehearsalItem.from_parent(self, name=name, project=project, rehearsal=rehearsal)


class RehearsalItem(pytest.Item):
    """One rehearsal as a test."""

    def __init__(self, *, project: Project, rehearsal: Rehearsal, **rest: Any) -> None:
        super().__init__(**rest)
        self.project = project
        self.rehearsal = rehearsal

    def runtest(self) -> None:
        from wayside.rehearsal.rehearsing import rehearse
        from wayside.rehearsal.verdict import details

        result = rehearse(self.project.program, self.rehearsal)
        if not result.passed:
            raise RehearsalFailed(details(result, self.project.lines))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        if isinstance(excinfo.value, RehearsalFailed):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int, str]:
        return self.path, self.rehearsal.place.line - 1, f"rehearsal {self.name}"


def project_of(folder: Path, config: pytest.Config) -> Project:
    """The folder's files, read once in a test run; named as seen from where the run was started."""
    known = config.stash.setdefault(_projects, {})
    if folder not in known:
        from wayside.project import load

        known[folder] = load([folder], shown=lambda path: _seen_from(config.invocation_params.dir, path))
    return known[folder]


def _seen_from(start: Path, path: Path) -> str:
    try:
        return os.path.relpath(path, start)
    except ValueError:  # on another drive
        return str(path)


def _errors_text(project: Project, file: str) -> str:
    """The file's own errors and the layout's in full; of other scene files only where they are."""
    from scenes.problems import as_text

    def is_near(problem: Problem) -> bool:
        return Path(problem.place.file).name == file or problem.place.file not in project.scene_files

    full = [as_text(problem, project.lines) for problem in project.errors if is_near(problem)]
    far = [f"{problem.place}: error: {problem.what}" for problem in project.errors if not is_near(problem)]
    return "\n\n".join([*full, *(["\n".join(["Not played, because of errors elsewhere:", *far])] if far else [])])


@pytest.fixture
def wayside_rehearse(request: pytest.FixtureRequest) -> Callable[..., Result]:
    """A function `rehearse(folder_or_file, name, seed=None, begins_at=None, lasts="10 min")` for tests in Python.

    `name` is a rehearsal, or a scene to play freely, which then begins at a layout time such as "17:40" and lasts a
    time such as "20 min". Returns a `wayside.rehearsal.rehearsing.Result`. Files with errors, and names that are not
    there, fail the test with the message of the command line. What failed in a rehearsal stands in the report of a
    test that fails.
    """

    def rehearse(
        folder_or_file: str | os.PathLike[str],
        name: str,
        seed: int | None = None,
        *,
        begins_at: str | None = None,
        lasts: str | None = None,
    ) -> Result:
        __tracebackhide__ = True
        from wayside.usage import UsageProblem

        try:
            result, story = _rehearse(Path(folder_or_file), name, seed, begins_at, lasts)
        except UsageProblem as problem:
            missing = str(problem)
        else:
            if not result.passed:  # shown if the test fails, whatever it asserts
                request.node.add_report_section("call", f"rehearsal {name}", story)
            return result
        pytest.fail(missing, pytrace=False)

    return rehearse


def _rehearse(path: Path, name: str, seed: int | None, begins_at: str | None, lasts: str | None) -> tuple[Result, str]:
    project, rehearsal = _chosen(path, name, begins_at, lasts)
    from wayside.rehearsal.rehearsing import rehearse
    from wayside.rehearsal.verdict import details

    result = rehearse(project.program, rehearsal, seed)
    return result, details(result, project.lines)


def _chosen(path: Path, name: str, begins_at: str | None, lasts: str | None) -> tuple[Project, Rehearsal]:
    from wayside import wording
    from wayside.commands.check import paragraphs
    from wayside.commands.rehearse import FREE_PLAY_US, free_play, unknown
    from wayside.project import load
    from wayside.usage import UsageProblem

    project = load([path])
    if project.errors:
        raise UsageProblem("\n".join(paragraphs(project.errors, project.lines)))
    program = project.program
    if name in program.rehearsals:
        if begins_at is not None or lasts is not None:
            raise UsageProblem(f"{name} is a rehearsal, which says itself when it begins and how long it lasts.")
        return project, program.rehearsals[name]
    if name not in program.named_scenes:
        raise UsageProblem(unknown("rehearsal or scene", name, [*program.rehearsals, *program.named_scenes], (), ""))
    begins_s = None if begins_at is None else wording.read_time_of_day(begins_at, "begins_at")
    for_us = FREE_PLAY_US if lasts is None else wording.read_duration(lasts, "lasts")
    return project, free_play(program, name, begins_s, for_us)
