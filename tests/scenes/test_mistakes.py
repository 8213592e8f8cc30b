"""Every mistake of the table, with several names, depths and places: its sentence, its line, its caret's columns."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import pytest

import scenes.reader
from engine.daylight import EVENTS as SUN
from engine.layout import Place
from engine.manners import MANNERS
from engine.ways import WAYS
from scenes.mistake_table import EVENTS, KNOWN, TABLE
from scenes.mistakes import Line, Mistake, as_name, explain, repaired_name
from scenes.parse import parse
from scenes.problems import Problem
from scenes.source import read

DATA = Path(__file__).parent / "data"
NAMES = (("amber", "near-arm"), ("quay-lamp-12", "bell"), ("x1", "far-barrier-2"))
BLOCKS = ("repeat", "if lane is clear", "together", "as long as all of amber, bell are on")
NEVER_SAID = re.compile(r"(?i:token|pars|gramma|lexer|lark|terminal|dedent|unexpected|syntax|_NL|_INDENT)|\bNone\b")


def _cases() -> list[tuple[str, str, str]]:
    lines = [
        line for line in (DATA / "mistakes.txt").read_text("utf-8").splitlines() if line and not line.startswith("#")
    ]
    return [(head[0], head[3:], said.strip()) for head, said in zip(lines[::2], lines[1::2], strict=True)]


CASES = _cases()


def _around(where: str, line: str, depth: int, place: str) -> tuple[list[str], int]:
    """A file with the line in it, and the index of the line."""
    if where in "t":
        before = ["flag shop-open", "scene first-one", "    wait 3 s"] if place != "first" else []
        after = ["flag door-open"] if place != "last" else []
        return [*before, line, *after], len(before)
    head, fine = {
        "h": ("rehearsal x", "plays evening"),
        "r": ("rule x", "never lane is occupied"),
        "m": ("manner x", "40 % for 3 s"),
        "d": ("day x", "opens at 10:00"),
        "b": ("rule x", "wait 3 s"),
    }.get(where, ("scene x", "wait 3 s"))
    if where == "2":
        depth = max(depth, 1)
    if where in "hrmd1":
        depth = 0
    out = [head]
    if where == "b":
        out += ["    never lane is occupied", "    if broken"]
        depth = max(depth, 1)
    for level in range(depth):
        if where != "b" or level:
            out.append("    " * (level + 1) + BLOCKS[level])
    lead = "    " * (depth + 1)
    if place == "middle" or (place == "last" and where != "1"):
        out.append(lead + ("starts every 20 min" if where == "1" else fine))
    at = len(out)
    out.append(lead + line)
    if place != "last" and where != "e":
        out.append(lead + fine)
    if where == "1":
        out.append("    wait 3 s")
    return out, at


@pytest.mark.parametrize(("where", "marked", "said"), CASES, ids=[re.sub("[«»]", "", line) for _, line, _ in CASES])
def test_its_sentence_and_its_caret(where: str, marked: str, said: str) -> None:
    for number, ((a, b), depth) in enumerate(product(NAMES, range(5))):
        place = ("first", "middle", "last")[number % 3 if where != "e" else 2]
        line = marked.format(a=a, b=b)
        begin, end = line.index("«"), line.index("»") - 1
        lines, at = _around(where, line.replace("«", "").replace("»", ""), depth, place)
        lead = len(lines[at]) - len(lines[at].lstrip())
        comment = "   # and a remark, with a comma" if number % 2 and marked != 'note «"doors open»' else ""
        lines[at] += comment
        text = ("\r\n" if number % 4 < 2 else "\n").join(lines) + ("\n" if number % 5 else "")
        source = read(text.encode(), "a.scene")
        assert not source.problems
        found = parse(source.text, "a.scene").problems
        expected = Problem(Place("a.scene", at + 1, lead + begin + 1, at + 1, lead + end + 1), "", "")
        assert [str(problem.place) for problem in found] == [str(expected.place)], text
        assert found[0].place == expected.place, text
        assert f"{found[0].what} {found[0].instead}" == said.format(a=a, b=b)


def test_every_entry_of_the_table_is_met(monkeypatch: pytest.MonkeyPatch) -> None:
    met: set[str] = set()

    def watched(line: Line) -> Mistake:
        mistake = explain(line)
        met.add(mistake.key)
        return mistake

    monkeypatch.setattr(scenes.reader, "explain", watched)
    for where, marked, _ in CASES:
        lines, _ = _around(where, marked.format(a="amber", b="bell").replace("«", "").replace("»", ""), 1, "last")
        parse("\n".join(lines), "a.scene")
    assert {entry.key for entry in TABLE} - met == set()
    assert len(TABLE) >= 80


def test_no_two_entries_share_a_key() -> None:
    keys = [entry.key for entry in TABLE]
    assert len(keys) == len(set(keys))


def test_messages_speak_plainly() -> None:
    for entry in TABLE:
        assert not NEVER_SAID.search(entry.what), entry.key
        if isinstance(entry.instead, str):
            assert not NEVER_SAID.search(entry.instead), entry.key
    for _, _, said in CASES:
        assert not NEVER_SAID.search(said), said


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Near Lamp", "near-lamp"),
        ("nearLamp", "near-lamp"),
        ("Brücke 2", "bruecke-2"),
        ("café", "cafe"),
        ("2nd", ""),
        ("灯", ""),
    ],
)
def test_the_nearest_name(text: str, name: str) -> None:
    assert as_name(text) == name


def test_the_name_that_a_broken_head_was_to_give() -> None:
    assert repaired_name("scene Saltmarsh Lane:") == "saltmarsh-lane"
    assert repaired_name("routine Lamplighter with first-lamp") == "lamplighter"
    assert repaired_name("scene") == ""


def test_the_names_that_the_table_knows_are_those_that_there_are() -> None:
    assert sorted(KNOWN) == sorted({*MANNERS, *WAYS})
    assert sorted(EVENTS) == sorted(SUN)
