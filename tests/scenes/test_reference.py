"""Every example of the language reference is a whole file: it is checked, and its rehearsals must pass."""

from __future__ import annotations

import re
from datetime import UTC, date
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.day import Plan
from scenes.problems import as_text
from wayside.project import Project, load
from wayside.rehearsal.day_rehearsing import rehearse_day
from wayside.rehearsal.rehearsing import rehearse

REFERENCE = Path(__file__).parents[2] / "scenes" / "README.md"
TEXT = REFERENCE.read_text(encoding="utf-8")
FENCE = re.compile(r"^```(yaml|scene)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
HEADING = re.compile(r"^#+ (.*)$", re.MULTILINE)
GRAMMAR = Path(__file__).parents[2] / "scenes" / "scene.lark"


class Example(NamedTuple):
    section: str
    line: int
    kind: str
    text: str


def examples() -> list[Example]:
    found = []
    for match in FENCE.finditer(TEXT):
        before = TEXT[: match.start()]
        section = HEADING.findall(re.sub(FENCE, "", before))[-1]
        found.append(Example(section, before.count("\n") + 1, match[1], match[2]))
    return found


EXAMPLES = [one for one in examples() if one.kind == "scene"]
ADVISED = {"pulse", "A stop without it"}  # each of these sections tells that `check` says so
(LAYOUT,) = [one.text for one in examples() if one.kind == "yaml"]


def name_of(example: Example) -> str:
    return f"{example.section.replace(' ', '-')}-line-{example.line}"


def loaded(example: Example, folder: Path) -> Project:
    (folder / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    (folder / "example.scene").write_text(example.text, encoding="utf-8")
    return load([folder], shown=lambda path: path.name)


def test_every_fence_of_the_reference_is_executed() -> None:
    assert len(examples()) == TEXT.count("\n```\n") == len(EXAMPLES) + 1


@pytest.mark.parametrize("example", EXAMPLES, ids=name_of)
def test_an_example_is_without_errors_and_its_rehearsals_pass(example: Example, tmp_path: Path) -> None:
    project = loaded(example, tmp_path)
    assert [as_text(problem, project.lines) for problem in project.errors] == []
    assert (project.advice != []) is (example.section in ADVISED)
    assert example.text.count("\nrehearsal ") == len(project.program.rehearsals)
    for rehearsal in project.program.rehearsals.values():
        result = rehearse(project.program, rehearsal)
        failed = [(one.expectation.place.line, one.what_happened) for one in result.outcomes if not one.passed]
        assert (failed, [one.text for one in result.troubles]) == ([], [])
        assert result.outcomes, f"{rehearsal.name} expects nothing"


@pytest.mark.parametrize("example", [one for one in EXAMPLES if "\nday " in one.text], ids=name_of)
def test_a_day_of_an_example_is_played_whole(example: Example, tmp_path: Path) -> None:
    project = loaded(example, tmp_path)
    for day in project.program.days.values():
        plan = Plan(day, date(2026, 12, 5), UTC, project.layout.clock)
        played = rehearse_day(project.program, plan, 0, None)
        assert played.result.passed
        assert played.nothing_came_of == played.never_ran == []


def test_every_word_of_the_grammar_stands_in_an_example() -> None:
    written = set(re.findall(r"[a-z]+", "\n".join(one.text for one in examples() if one.kind != "yaml")))
    words = set(re.findall(r'"([a-z]+)"', GRAMMAR.read_text(encoding="utf-8")))
    assert words - written == set()


LIMITS = [
    ("scenes.source", "MOST_LINES", "lines of one scene file"),
    ("scenes.source", "LONGEST_LINE", "characters in a line"),
    ("scenes.source", "DEEPEST_NESTING", "blocks inside one another"),
    ("scenes.names", "NAMES", "names in all the files"),
    ("scenes.names", "GROUP_SIZE", "members of a group"),
    ("scenes.names", "GROUP_DEPTH", "groups within groups"),
    ("scenes.conditions", "DEFINE_DEPTH", "groups within groups, defines within defines"),
    ("scenes.writer", "ROUTINE_DEPTH", "routines within routines"),
    ("scenes.writer", "WRITTEN_OUT", "statements of all scenes"),
    ("scenes.writer", "MEMBERS", "members of one `for each`"),
    ("scenes.conditions", "TERMS", "questions in one condition"),
    ("scenes.quantities", "MOST_COUNT", "rounds, counts"),
    ("scenes.quantities", "FASTEST_RATE", "a flash, a minute"),
    ("scenes.days", "MOST_ENTRIES", "lines of one day"),
    ("scenes.manners", "MOST_LEGS", "levels of a manner"),
    ("scenes.manners", "MANNER_DEPTH", "manners like manners"),
    ("engine.flicker", "OCTAVES", "ways in which a manner sways"),
    ("scenes.orders", "MOST_BOUNCES", "bounces of one arrival"),
    ("engine.kernel", "REACTION_LIMIT", "reactions at one instant"),
    ("engine.branches", "LOOP_LIMIT", "rounds of one scene's loops"),
    ("engine.performance", "RESTART_LIMIT", "starts of one scene"),
    ("engine.kernel", "TRACE_LIMIT", "records of a trace"),
]


@pytest.mark.parametrize(("module", "name", "row"), LIMITS)
def test_a_limit_is_what_the_reference_says(module: str, name: str, row: str) -> None:
    (written,) = re.findall(rf"^\| {re.escape(row)}[^|]*\| ([0-9,]+) \|$", TEXT, re.MULTILINE)
    assert int(written.replace(",", "")) == getattr(import_module(module), name)


def test_every_limit_of_the_reference_is_compared() -> None:
    table = TEXT[TEXT.index("## Limits") :]
    assert len(re.findall(r"^\|.*\| [0-9,]+ \|$", table, re.MULTILINE)) == len(
        {row.split(",")[0] for *_, row in LIMITS}
    )


def test_every_link_of_the_reference_leads_somewhere() -> None:
    headings = {re.sub(r"[^\w -]", "", heading).lower().replace(" ", "-") for heading in HEADING.findall(TEXT)}
    assert set(re.findall(r"\]\(#([^)]*)\)", TEXT)) <= headings
