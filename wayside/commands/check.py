"""`wayside check`: everything that is wrong with a layout's files, in one go, errors apart from advice."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping
from pathlib import Path

from scenes.problems import Problem, as_text
from wayside.progress import watched
from wayside.project import Project, load
from wayside.terminal import say
from wayside.usage import FINE, PROBLEMS, UsageProblem
from wayside.wording import count, listed

DESCRIPTION = """\
Reads a layout's folder (layout.yaml and every file that ends in .scene), or the files that you name, and says
everything that is wrong: which file, line and column, what, and what to write instead. Nothing moves.
Advice is printed apart, does not count as wrong, and waits until there are no errors.
"""

EXAMPLES = """\
example:

  wayside check examples/pellbrook-quay
  wayside check examples/pellbrook-quay/saltmarsh-lane.scene

    scene saltmarsh-lane
        runs whenever train-abuot
                      ^^^^^^^^^^^     a misspelt name is shown with the name that you meant

exit status: 0 nothing wrong (there may be advice), 1 errors, 2 wrong usage or a file that cannot be read
"""


def describe(parser: argparse.ArgumentParser) -> None:
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    parser.add_argument(
        "--schema", action="store_true", help="print the JSON Schema of layout.yaml, for editors, and stop"
    )


def run(options: argparse.Namespace) -> int:
    if options.schema:
        if options.paths:
            raise UsageProblem("--schema reads no files: leave out the folder, or leave out --schema.")
        say(schema_text())
        return FINE
    project = load(given_paths(options.paths, "check"), watched=watched)
    for line in report(project):
        say(line)
    return PROBLEMS if project.errors else FINE


def schema_text() -> str:
    from wayside.layout import schema as layout_schema

    return layout_schema.schema_text().rstrip()


def given_paths(words: list[str], command: str) -> list[Path]:
    """The paths on the command line: at least one, none empty."""
    if not words:
        raise UsageProblem(f"Which layout? Write its folder: wayside {command} FOLDER")
    if not all(words):
        raise UsageProblem(f"One of the names after `wayside {command}` is empty.")
    return [Path(word) for word in words]


def report(project: Project) -> Iterable[str]:
    """All the lines of a check."""
    yield from paragraphs(project.errors, project.lines)
    if project.advice:
        yield "Advice (nothing stops because of it):\n"
        yield from paragraphs(project.advice, project.lines)
    yield from _accepted(project)
    yield f"{project.name}: {_verdict(project)}.{without(project)}"


def _accepted(project: Project) -> Iterable[str]:
    """What was accepted with a reason is named each time, so that nobody forgets it."""
    for scene in project.program.scenes.values():
        if scene.accepts_flashing and not project.errors:
            yield f"{scene.name} ({scene.place}) accepts fast flashing, because: {scene.accepts_flashing}\n"


def paragraphs(problems: Iterable[Problem], lines: Mapping[str, list[str]]) -> Iterable[str]:
    return (as_text(problem, lines) + "\n" for problem in problems)


def without(project: Project) -> str:
    """What to think of when single files have errors: their names may be given in files that were not named."""
    if not project.errors or not project.unread:
        return ""
    return f" Names from {listed(list(project.unread))} are not known here: check the folder to know them."


def counted(project: Project) -> str:
    """`2 errors, 1 piece of advice`; what there is none of is left out."""
    errors, advice = len(project.errors), len(project.advice)
    parts = (
        (errors, count(errors, "error")),
        (advice, count(advice, "piece of advice", "pieces of advice")),
    )
    return ", ".join(text for number, text in parts if number)


def _verdict(project: Project) -> str:
    files = count(len(project.scene_files), "scene file")
    if not project.names_checked and project.scene_files:
        return f"{counted(project)}; names in {files} are looked at once the layout file is right"
    if project.errors:
        return f"{counted(project)}; {files} read"
    scenes, outputs = count(len(project.program.named_scenes), "scene"), count(len(project.layout.outputs), "output")
    return f"{files}, {scenes}, {outputs}, nothing wrong{', ' if project.advice else ''}{counted(project)}"
