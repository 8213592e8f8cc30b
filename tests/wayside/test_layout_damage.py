"""A good layout file with lines deleted, doubled, swapped, moved and cut: always an answer, always inside the file."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from scenes.problems import Problem, as_text
from wayside.layout.file import read_layout

HERE = Path(__file__).parent
LINES = (HERE / "good_layout.yaml").read_text(encoding="utf-8").splitlines()
TABLES = {
    name: (HERE / name).read_text(encoding="utf-8").splitlines() for name in ("good_wiring.csv", "good_lights.csv")
}
Damage = Callable[[list[str]], Iterator[list[str]]]
WITH_TABLE = """\
layout: Pellbrook Quay
links: {main: {kind: serial text}}
boards: {crossing-board: {link: main, first address: 40, ports: 8}}
feeds: {point-unit: {recharge: 1 s}}
outputs from: wiring.csv
"""


EXTRAS = ["", "", "", *":,\"'{}[]#- \t&*!%é\x00"]  # nothing is written for a character too few


def deleted(lines: list[str]) -> Iterator[list[str]]:
    for i in range(len(lines)):
        yield lines[:i] + lines[i + 1 :]


def doubled(lines: list[str]) -> Iterator[list[str]]:
    for i in range(len(lines)):
        yield lines[: i + 1] + lines[i:]


def swapped(lines: list[str]) -> Iterator[list[str]]:
    for i in range(len(lines) - 1):
        yield [*lines[:i], lines[i + 1], lines[i], *lines[i + 2 :]]


def indented(lines: list[str]) -> Iterator[list[str]]:
    for i in range(len(lines)):
        yield [*lines[:i], "  " + lines[i], *lines[i + 1 :]]
        yield [*lines[:i], lines[i].removeprefix("  "), *lines[i + 1 :]]
        yield [*lines[:i], "\t" + lines[i].lstrip(), *lines[i + 1 :]]


def cut_off(lines: list[str]) -> Iterator[list[str]]:
    """As when a disk is full: the file ends in the middle of a line."""
    for i in range(len(lines)):
        yield [*lines[:i], lines[i][: len(lines[i]) // 2]]


def characters(lines: list[str]) -> Iterator[list[str]]:
    """One character too few, or one too many, somewhere in each line; the same places in every run."""
    draw = random.Random(20)
    for i, line in enumerate(lines):
        for extra in draw.sample(EXTRAS, 6):
            at = draw.randrange(len(line) or 1)
            yield [*lines[:i], line[:at] + extra + line[at + (not extra) :], *lines[i + 1 :]]


DAMAGE: list[Damage] = [deleted, doubled, swapped, indented, cut_off, characters]


def answered_inside(problems: list[Problem], lines: dict[str, list[str]]) -> None:
    for problem in problems:
        text = lines[problem.place.file]
        place = problem.place
        assert 1 <= place.line <= max(1, len(text)), problem
        assert 1 <= place.column <= len(text[place.line - 1] if text else "") + 1, problem
        assert (place.end_line, place.end_column) >= (place.line, place.column), problem
        assert problem.what[0] == problem.what[0].upper(), problem.what
        assert problem.what.endswith((".", "?", "!")), problem.what
        assert not problem.instead or problem.instead.endswith((".", "?", "!")), problem.instead
        for other, _ in problem.also:
            assert 1 <= other.line <= len(lines[other.file]), problem
        said = as_text(problem, lines)
        for never in ("token", "parser", "Traceback", "None", "NoneType", "mapping", "scalar", "Text(", "Place("):
            assert never not in problem.what + problem.instead, said


@pytest.mark.parametrize("damage", DAMAGE, ids=[damage.__name__ for damage in DAMAGE])
def test_every_damaged_layout_is_answered(tmp_path: Path, damage: Damage) -> None:
    path = tmp_path / "layout.yaml"
    for lines in damage(LINES):
        path.write_text("\n".join(lines) + "\n")
        _, problems, read = read_layout(path, "layout.yaml")
        answered_inside(problems, read)


@pytest.mark.parametrize("damage", DAMAGE, ids=[damage.__name__ for damage in DAMAGE])
@pytest.mark.parametrize("table", TABLES)
def test_every_damaged_table_is_answered(tmp_path: Path, damage: Damage, table: str) -> None:
    path = tmp_path / "layout.yaml"
    path.write_text(WITH_TABLE)
    for lines in damage(TABLES[table]):
        (tmp_path / "wiring.csv").write_text("\n".join(lines) + "\n")
        _, problems, read = read_layout(path, "layout.yaml")
        answered_inside(problems, read)


def test_a_deleted_line_is_missed_wherever_it_leaves_something_undone(tmp_path: Path) -> None:
    """Deleting a line that something else refers to must not pass in silence."""
    path = tmp_path / "layout.yaml"
    for name in (
        "main:",
        "crossing-board:",
        "point-unit:",
        "amber:",
        "up-arm:",
        "up-signal:",
        "lane:",
        "- lane:",
        "fastest:",
    ):
        at = next(i for i, line in enumerate(LINES) if line.strip().startswith(name))
        path.write_text("\n".join(LINES[:at] + LINES[at + 1 :]) + "\n")
        assert read_layout(path, "layout.yaml")[1], name
