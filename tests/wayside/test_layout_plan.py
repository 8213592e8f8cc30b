"""Places in the layout file, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.layout import Layout, Plan
from scenes.problems import Problem, as_text
from wayside.layout.file import read_layout

HEAD = "layout: Pellbrook Quay\n"
TRACK = "stretches: [blind: 300 mm], fastest: 10 mm/s, shortest train: 30 mm"
GOOD = (Path(__file__).parent / "good_layout.yaml").read_text(encoding="utf-8")


def read(folder: Path, text: str, **others: str) -> tuple[Layout, list[Problem], dict[str, list[str]]]:
    for name, inside in {"layout.yaml": text, **others}.items():
        (folder / name).write_text(inside, encoding="utf-8")
    return read_layout(folder / "layout.yaml", "layout.yaml")


def right(folder: Path, text: str, **others: str) -> Layout:
    layout, problems, lines = read(folder, text, **others)
    assert [as_text(problem, lines) for problem in problems] == []
    return layout


def test_places_are_read_in_any_unit_and_counted_in_mm(tmp_path: Path) -> None:
    assert right(tmp_path, GOOD).plan == Plan(
        (5200, 1300),
        {"fountain": (1200, 300), "quay-end": (4000, 300), "evening-button": (900, 1200)},
        {"up-line": ((0, 700), (3600, 700), (4800, 500))},
    )


def test_a_layout_without_places_has_none(tmp_path: Path) -> None:
    assert right(tmp_path, HEAD).plan == Plan()


def test_a_table_has_them_too(tmp_path: Path) -> None:
    table = 'name,kind,at\none,lamp,1200 mm by 300 mm\ntwo,lamp,"12,5 cm, 300 mm"\nthree,lamp,\n'
    layout = right(tmp_path, f"{HEAD}outputs from: wires.csv\n", **{"wires.csv": table})
    assert layout.plan.places == {"one": (1200, 300), "two": (125, 300)}


@pytest.mark.parametrize(
    ("line", "what", "instead"),
    [
        ("outputs: {one: {kind: lamp, at: 1200 mm, 300 mm}}", "in braces a comma ends `at`", "`at: 1200 mm by 300 mm`"),
        ("outputs: {one: {kind: lamp, at: 1200 by 300}}", "`1200 by 300` is not a place", "`at: 1200 mm by 300 mm`"),
        ("outputs: {one: {kind: lamp, at: 12 cm by 300}}", "is not a place", "`at: 12 cm by 300 cm`"),
        ("outputs: {one: {kind: lamp, at: 300 mm}}", "`300 mm` is not a place", "for example"),
        ("outputs: {one: {kind: lamp, at: -5 mm by 3 mm}}", "less than nothing", "for example"),
        ("outputs: {one: {kind: lamp, at: [1, 2]}}", "needs a place on the plan, not a list", "for example"),
        ("outputs: {one: {kind: lamp, at: 11 km by 3 km}}", "is not a place", "for example"),
        ("outputs: {one: {kind: lamp, at: 99999 m by 3 m}}", "more than any layout needs", "at most 10000000 mm"),
        ("outputs: {one: {kind: lamp, at: 501 mm by 3 mm}}\nplan size: 500 mm by 300 mm", "beyond the plan", "larger"),
        ("buttons: {one: {at: 3 mm by 301 mm}}\nplan size: 500 mm by 300 mm", "500 mm by 300 mm", "larger"),
        ("plan size: 500 mm by 0 mm", "no room for anything", "such as"),
        ("plan size: large", "`large` is not a width and a depth", "`plan size: 5200 mm by 1300 mm`"),
        (f"tracks: {{one: {{{TRACK}, passes: [1 mm by 2 mm]}}}}", "fewer than 2", "for example"),
        (f"tracks: {{one: {{{TRACK}, passes: 1 mm by 2 mm}}}}", "a list of places on the plan", "for example"),
        (f"tracks: {{one: {{{TRACK}, passes: [1 mm by 2 mm, 1 mm by 2 mm]}}}}", "twice in succession", "Delete"),
        (
            f"tracks: {{one: {{{TRACK}, passes: [1 mm by 2 mm, 3 mm by 4]}}}}",
            "`3 mm by 4` is not a place",
            "`3 mm by 4 mm`",
        ),
    ],
)
def test_what_is_wrong_is_said_once_with_what_to_write(tmp_path: Path, line: str, what: str, instead: str) -> None:
    _, problems, lines = read(tmp_path, f"{HEAD}{line}\n")
    (told,) = [as_text(problem, lines) for problem in problems]
    assert what in told or what[0].upper() + what[1:] in told
    assert instead in told
    assert "layout.yaml:2:" in told or "layout.yaml:3:" in told


def test_the_edge_is_on_the_plan(tmp_path: Path) -> None:
    text = f"{HEAD}plan size: 500 mm by 300 mm\noutputs: {{one: {{kind: lamp, at: 500 mm by 300 mm}}}}\n"
    assert right(tmp_path, text).plan.places == {"one": (500, 300)}
