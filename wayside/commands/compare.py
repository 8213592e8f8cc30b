"""`wayside compare`: holds a layout's crossings against published practice, measured from what rehearsals did.

Decides which tables are asked for and how the program leaves. How a comparison looks is decided where it is written.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from wayside import terminal
from wayside.commands.check import counted, given_paths, paragraphs, without
from wayside.progress import watched
from wayside.project import Project, load
from wayside.terminal import say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, why_not

if TYPE_CHECKING:
    from engine.layout import Crossing
    from wayside.practice.comparing import Comparison
    from wayside.practice.passages import Played
    from wayside.practice.table import PracticeTable

MOST_TABLES = 20

DESCRIPTION = """\
Measures a layout's crossings against published practice: times, rates and orders, from the parts that `crossing:` in
layout.yaml names, and from what trains and rehearsals did. Never from names or from the text of a scene. For each row
of a practice table it says what is required, what was measured, the verdict and the source.
"""

EXAMPLES = """\
examples:

  wayside compare examples/pellbrook-quay
  wayside compare examples/pellbrook-quay --table vienna-convention
  wayside compare examples/pellbrook-quay --table my-practice.yaml
  wayside compare --tables

The tables are those of --table; without it those that the crossing names in layout.yaml (`practice: northern-ireland`);
without that all that come with Wayside, in short. A row that is from memory, or known from somebody who reports it,
advises and never fails. A model's crossing is scenery, and never a design for a real one.

exit status: 0 no row fails, 1 a row of a table that was asked for is not kept or the files have errors, 2 wrong usage,
a wrong practice table, or a file that cannot be read or written
"""

Out = Callable[[str], None]


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    parser.add_argument(
        "--table", metavar="NAME", action="append", help="a practice table, or a file of your own; may be given again"
    )
    parser.add_argument("--tables", action="store_true", help="list the tables that come with Wayside, and stop")
    parser.add_argument("--measures", action="store_true", help="list what a row of a table can measure, and stop")
    parser.add_argument("--json", metavar="FILE", action=Once, help="write it all for programs, to a file or -")


def run(options: argparse.Namespace) -> int:
    if options.tables or options.measures:
        return _list(options)
    _refuse_odd_mixes(options)
    paths = given_paths(options.paths, "compare")
    asked = _tables(options.table or [])  # a wrong table is said before a long look at the layout
    project = load(paths, watched=watched)
    out: Out = tell if options.json == "-" else say
    if project.errors:
        for paragraph in paragraphs(project.errors, project.lines):
            out(paragraph)
        out(f"{project.name}: {counted(project)}; nothing was compared. Put the errors right first.{without(project)}")
        return PROBLEMS
    if not project.layout.crossings:
        out(
            f"{project.name} has no crossing to compare. Write under `crossing:` in {project.layout_file.name} who "
            "plays which part at one; wayside/layout/README.md shows how."
        )
        return PROBLEMS
    compared = [_compare(project, crossing, asked) for crossing in project.layout.crossings.values()]
    _say(project, compared, out)
    _write(compared, options.json, out)
    return PROBLEMS if any(one.fails for one in compared) else FINE


def _list(options: argparse.Namespace) -> int:
    from wayside.practice import words as practice_words
    from wayside.practice.names import shipped
    from wayside.practice.reading import find

    beside = (options.paths, options.table, options.json is not None, options.tables and options.measures)
    if any(beside):
        option = "--tables" if options.tables else "--measures"
        raise UsageProblem(f"{option} lists and does nothing else: leave out all that stands beside it.")
    if options.tables:
        said = practice_words.tables([find(name).table for name in shipped()])
    else:
        said = practice_words.measures()
    for line in said:
        say(line)
    return FINE


def _refuse_odd_mixes(options: argparse.Namespace) -> None:
    tables = options.table or []
    twice = next((name for name in tables if tables.count(name) > 1), None)
    if twice is not None:
        raise UsageProblem(f"--table {twice} is given twice. Give it once.")
    if len(tables) > MOST_TABLES:
        raise UsageProblem(f"At most {MOST_TABLES} tables are compared at once.")
    if options.json == "":
        raise UsageProblem("--json needs the name of a file after it, or -.")


# --- tables --------------------------------------------------------------------------------------------------------


class WrongTable(UsageProblem):
    """A practice table's file that has mistakes in it."""


def _tables(words: Sequence[str], beside: Path | None = None) -> list[PracticeTable]:
    from wayside.practice.reading import find

    found = []
    for word in words:
        read = find(word, beside)
        if read.problems:
            said = "\n".join(paragraphs(read.problems, read.lines))
            raise WrongTable(f"{read.table.name} cannot be used as a practice table; nothing was compared.\n\n{said}")
        found.append(read.table)
    return found


class Compared(NamedTuple):
    """A crossing with all that it was held against. `asked` tells whether anybody named the tables."""

    played: Played
    comparisons: list[Comparison]
    asked: bool
    squeezed: list[str]

    @property
    def fails(self) -> bool:
        return self.asked and any(one.fails for one in self.comparisons)


def _compare(project: Project, crossing: Crossing, asked: Sequence[PracticeTable]) -> Compared:
    from wayside.practice.comparing import compare, squeezed_scenes
    from wayside.practice.names import shipped
    from wayside.practice.passages import played

    try:
        named = asked or _tables(crossing.practice, project.layout_file.parent)
    except UsageProblem as problem:
        raise UsageProblem(f"{crossing.place}: the practice of {crossing.name}: {problem}") from problem
    tables = named or _tables(list(shipped()))
    done = played(project.program, crossing, watched)
    comparisons = [compare(project.program, crossing, done.passages, table) for table in tables]
    return Compared(done, comparisons, bool(named), squeezed_scenes(project.program, crossing))


# --- what is said --------------------------------------------------------------------------------------------------


def _say(project: Project, compared: Sequence[Compared], out: Out) -> None:
    from wayside.practice import words

    for one in compared:
        said = [words.lines(each, one.played.passages) for each in one.comparisons] if one.asked else []
        for lines in said or [words.short(one.comparisons)]:
            out(f"{project.name}:")
            for line in lines:
                out(line)
            out("")
        for line in (*words.squeezed(one.squeezed), *words.what_was_played(one.played, one.asked), ""):
            out(line)
    for line in words.scenery():
        out(line)


def _write(compared: Sequence[Compared], where: str | None, out: Out) -> None:
    from wayside.practice.as_json import dump

    if where is None:
        return
    found = [(one.played, one.comparisons) for one in compared]
    if where == "-":
        with terminal.written():
            dump(found, sys.stdout)
        return
    try:
        with open(where, "w", encoding="utf-8", newline="\n") as file:
            dump(found, file)
    except (OSError, ValueError) as problem:
        why = why_not(problem) if isinstance(problem, OSError) else "its name cannot be that of a file"
        raise UsageProblem(f"{where} cannot be written: {why}.") from problem
    out(f"It is in {where}, for programs.")
