"""Text to tree: the tree itself, its places, blocks and their indentation, recovery, limits, the kept tables."""

from __future__ import annotations

import random
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lark import Token, Tree

from scenes import parse as parsing
from scenes.nodes import Node, Word
from scenes.parse import GRAMMAR, Parsed, build, parse
from scenes.source import DEEPEST_NESTING, LONGEST_CHAIN, LONGEST_NAME, MOST_PROBLEMS

DATA = Path(__file__).parent / "data"
SAMPLES = {path.name: path.read_text("utf-8") for path in sorted(DATA.glob("*.scene"))}
NEVER_SAID = re.compile(r"(?i:token|pars|gramma|lexer|lark|terminal|dedent|unexpected|syntax|_NL|_INDENT)|\bNone\b")


def _said(text: str) -> list[tuple[str, str]]:
    return [(f"{one.place.line}:{one.place.column}", one.what) for one in parse(text, "a.scene").problems]


def _shape(node: Any) -> Any:
    """A tree of ours or of the library's as nested tuples."""
    if isinstance(node, Tree):
        return (str(node.data), *map(_shape, node.children))
    if isinstance(node, Token):
        return (node.type, str(node))
    if isinstance(node, Word):
        return (node.kind, node.text)
    return (node.kind, *map(_shape, node.parts))


def _walk(node: Node) -> list[Node | Word]:
    out: list[Node | Word] = []
    for part in node.parts:
        out.append(part)
        out.extend(_walk(part) if isinstance(part, Node) else ())
    return out


# --- the tree ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def built() -> Any:
    """The grammar built anew, in strict mode: any conflict would be refused here."""
    return build()


def test_the_grammar_builds_in_strict_mode(built: Any) -> None:
    assert built.options.strict
    assert built.options.parser == "lalr"
    assert built.options.lexer == "contextual"
    assert built.options.ambiguity in ("auto", "resolve")


@pytest.mark.parametrize("name", SAMPLES)
def test_our_loop_makes_the_tree_that_the_library_makes(name: str, built: Any) -> None:
    parsed = parse(SAMPLES[name], name)
    assert parsed.problems == ()
    assert _shape(parsed.node) == _shape(built.parse(SAMPLES[name]))


def test_a_statement_reaches_from_its_first_word_to_the_end_of_its_code() -> None:
    text = "scene a   # why\n    if lane is clear   # so\n        wait 3 s\n    turn on amber,   # and\n        bell\n"
    scene = next(parse(text, "a").node.nodes("scene"))
    assert scene.place == ("a", 1, 1, 1, 8)
    if_, turn = scene.nodes()
    assert if_.place == ("a", 2, 5, 2, 21)
    assert turn.place == ("a", 4, 5, 4, 19)
    names = turn.node("names")
    assert names is not None
    assert [word.place[1:3] for word in names.words()] == [(4, 13), (5, 9)]


def test_every_word_stands_where_its_place_says() -> None:
    for name, text in SAMPLES.items():
        lines = text.split("\n")
        for part in _walk(parse(text, name).node):
            if isinstance(part, Word):
                place = part.place
                assert lines[place.line - 1][place.column - 1 : place.end_column - 1] == part.text


def test_brackets_belong_to_the_place_of_a_condition() -> None:
    text = "define a as (b is on or c is on) and (d is on)\n"
    both = next(part for part in _walk(parse(text, "a").node) if part.kind == "both")
    assert text[both.place.column - 1 : both.place.end_column - 1] == "(b is on or c is on) and (d is on)"


@pytest.mark.parametrize(
    ("text", "kind"),
    [("3 s", "DURATION"), ("3sec", "DURATION"), ("250 ms", "DURATION"), ("4 min", "DURATION"), ("1,5 s", "DURATION")],
)
def test_plain_spellings_of_a_time(text: str, kind: str) -> None:
    wait = next(part for part in _walk(parse(f"scene a\n    wait {text}\n", "a").node) if part.kind == kind)
    assert isinstance(wait, Word)
    assert wait.text == text


def test_a_colon_at_the_end_means_nothing() -> None:
    with_colons = "scene a:\n    repeat:\n        wait 3 s:\n"
    assert parse(with_colons, "a").problems == ()
    assert _shape(parse(with_colons, "a").node) == _shape(parse(with_colons.replace(":", ""), "a").node)


# --- indentation ---------------------------------------------------------------------------------------------------

INDENTATION = [
    ("scene a\nwait 3 s\n", ["2:1 The line is not indented, so it does not belong to `scene a` above it."]),
    (
        "scene a\n    repeat\n    wait 3 s\n",
        ["3:5 The line is not indented, so it does not belong to `repeat` above it."],
    ),
    (
        "scene a\n    repeat:\n    wait 3 s\n    wait 4 s\n",
        ["3:5 The line is not indented, so it does not belong to `repeat` above it."],
    ),
    ("scene a\n", ["1:1 Nothing stands under `scene a`: its block is missing."]),
    ("scene a\nflag b\n", ["1:1 Nothing stands under `scene a`: its block is missing."]),
    ("scene a\n    repeat\n", ["2:5 Nothing stands under `repeat`: its block is missing."]),
    ("scene a\n    repeat\n        if b\n    wait 3 s\n", ["3:9 Nothing stands under `if b`: its block is missing."]),
    ("scene a\n    wait 3 s\n        wait 4 s\n", ["3:9 The line is indented, but the line above it takes no block."]),
    (
        "scene a\n    wait 3 s\n        wait 4 s\n        wait 5\n",
        [
            "3:9 The line is indented, but the line above it takes no block.",
            "4:14 `5` of what? A time carries its unit.",
        ],
    ),
    ("    scene a\n        wait 3 s\n", ["1:5 The first line of a file is not indented."]),
    ("flag a\n    wait 3 s\n", ["2:5 `flag` takes no block, so this line cannot be indented under it."]),
    (
        "scene a\n        repeat\n              wait 3 s\n            wait 4 s\n        wait 5 s\n",
        ["4:1 The line is indented by 12 columns; the lines above it stand at 0, 8 or 14."],
    ),
    (
        "scene a\n    repeat\n        wait 3 s\n      wait 4 s\n      wait 5 s\n    wait 6 s\n",
        ["4:1 The line is indented by 6 columns; the lines above it stand at 0, 4 or 8."],
    ),
    (
        "scene a\n    wait 3 s\n  wait 4 s\nflag b\n",
        ["3:1 The line is indented by 2 columns; the lines above it stand at 0 or 4."],
    ),
]


@pytest.mark.parametrize(("text", "said"), INDENTATION)
@pytest.mark.parametrize("end", ["\n", "\n\n# a remark\n\n", ""])
def test_indentation(text: str, said: list[str], end: str) -> None:
    assert [f"{place} {what}" for place, what in _said(text.rstrip("\n") + end)] == said


# --- recovery ------------------------------------------------------------------------------------------------------


def test_every_mistake_of_a_file_in_one_run_and_no_consequence() -> None:
    text = """\
flag shop open
scene Evening Lights
    starts at 17:45
    turn lamp on
    while lane is clear
        wait 3
        else
            hold bell.
    by chanse
        20 %
            wait
        otherwise
            wait 3 s
    for each lamp quay-lamps
        turn on lamp
scen morning
    wait 4 s
    wait 4 m
tests crossing
    begins with every detector clear
    plays
rule one
    never lane is
flag last
"""
    found = parse(text, "a")
    assert [one.place.line for one in found.problems] == [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 14, 16, 18, 19, 21, 23]
    kinds = [part.kind for part in found.node.nodes()]
    assert kinds == ["broken", "scene", "broken", "broken", "rule", "flag"]
    scene = list(found.node.nodes())[1]
    assert scene.words()[0].text == "evening-lights"


def test_a_comma_at_the_end_does_not_swallow_the_next_line() -> None:
    text = "scene a\n    turn on amber,\n    turn off bell\n    wait 3 s\n"
    assert _said(text) == [
        ("2:18", "The comma at the end joins this line with the next one, and together they make no sentence.")
    ]
    (scene,) = parse(text, "a").node.nodes("scene")
    assert [part.kind for part in scene.nodes()] == ["broken", "turn", "wait"]


def test_a_mistake_on_a_carried_on_line_is_told_there() -> None:
    ((place, _),) = _said("scene a\n    turn on amber,\n        near_lamp\n")
    assert place == "3:9"


@pytest.mark.parametrize(
    "head", ["runs whenever lane is clear", "takes amber from evening", "if started again: start over"]
)
def test_a_head_below_a_statement(head: str) -> None:
    ((place, what),) = _said(f"scene a\n    wait 3 s\n    {head}\n    wait 4 s\n")
    assert place == "3:5"
    assert "stands above the scene's first line" in what


def test_a_broken_loop_keeps_the_rest_of_its_block_readable() -> None:
    found = parse("scene a\n    repeat 3\n        wait 3 s\n    wait 4 s\n", "a")
    (scene,) = found.node.nodes("scene")
    broken, wait = scene.nodes()
    assert (broken.kind, wait.kind) == ("broken", "wait")
    assert [part.kind for part in broken.nodes()] == ["wait"]
    assert broken.place == ("a", 2, 5, 2, 13)


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("define train about as lane is occupied", "train-about"),
        ("define train-about = lane is occupied", "train-about"),
        ("group reds = red-left", "reds"),
        ("group Reds: red-left", "reds"),
        ("flag shop open", "shop-open"),
        ("group reds red-left, red-right", "reds"),
        ("group house windows: red-left", "house-windows"),
        ("counter trains kept", "trains"),
        ("define", None),
    ],
)
def test_a_broken_definition_keeps_the_name_that_it_was_to_give(line: str, name: str | None) -> None:
    found = parse(f"{line}\nflag b\n", "a")
    assert [one.place.line for one in found.problems] == [1]
    broken, _ = found.node.nodes()
    assert [word.text for word in broken.words()] == ([name] if name else [])


def test_a_broken_loop_keeps_its_members_name() -> None:
    for line in ("for each lamp quay-lamps", "for lamp in quay-lamps", "foreach lamp in quay-lamps"):
        found = parse(f"scene a\n    {line}\n        turn on lamp\n", "a")
        broken = next(part for part in _walk(found.node) if part.kind == "broken")
        assert isinstance(broken, Node)
        assert [word.text for word in broken.words()] == ["lamp"]
        assert len(found.problems) == 1


# --- limits --------------------------------------------------------------------------------------------------------


def _nested(depth: int) -> str:
    lines = ["scene a", *(" " * (level + 1) + "repeat" for level in range(depth - 1)), " " * depth + "wait 3 s"]
    return "\n".join([*lines, " " * depth + "wait 4 s", "flag b"])


def test_nesting() -> None:
    assert _said(_nested(DEEPEST_NESTING)) == []
    what = f"Blocks stand inside one another more than {DEEPEST_NESTING} deep."
    assert _said(_nested(DEEPEST_NESTING + 1)) == [(f"{DEEPEST_NESTING + 2}:{DEEPEST_NESTING + 2}", what)]
    assert [one.kind for one in parse(_nested(DEEPEST_NESTING + 1), "a").node.nodes()] == ["scene", "flag"]


def test_brackets() -> None:
    def text(depth: int) -> str:
        return f"define a as {'(' * depth}b is on{')' * depth}\nflag b\n"

    assert _said(text(DEEPEST_NESTING)) == []
    what = f"Brackets stand inside one another more than {DEEPEST_NESTING} deep."
    assert _said(text(DEEPEST_NESTING + 1)) == [(f"1:{13 + DEEPEST_NESTING}", what)]


def test_otherwise_if_in_a_row() -> None:
    def text(chain: int) -> str:
        return (
            "scene a\n    if b\n        wait 3 s\n"
            + "    otherwise if b\n        wait 3 s\n" * chain
            + "    wait 4 s\n"
        )

    assert _said(text(LONGEST_CHAIN)) == []
    assert _said(text(LONGEST_CHAIN + 1)) == [
        (f"{4 + 2 * LONGEST_CHAIN}:5", f"More than {LONGEST_CHAIN} `otherwise if` follow one another.")
    ]


def test_length_of_a_name() -> None:
    assert _said(f"flag {'a' * LONGEST_NAME}\n") == []
    what = f"The name has {LONGEST_NAME + 1} letters; the most that a name may have is {LONGEST_NAME}."
    assert _said(f"flag {'a' * (LONGEST_NAME + 1)}\n") == [("1:6", what)]


def test_number_of_problems() -> None:
    assert len(_said("flag\n" * MOST_PROBLEMS)) == MOST_PROBLEMS
    found = _said("flag\n" * (MOST_PROBLEMS + 1))
    assert len(found) == MOST_PROBLEMS + 1
    assert found[-1] == (
        f"{MOST_PROBLEMS + 1}:1",
        f"The file has {MOST_PROBLEMS} mistakes up to here; it is not read further.",
    )


def test_a_long_block_needs_no_deep_stack() -> None:
    text = "scene a\n" + "    wait 3 s\n" * 20_000
    (scene,) = parse(text, "a").node.nodes()
    assert len(scene.parts) == 20_001


# --- names and reserved words --------------------------------------------------------------------------------------

RESERVED = sorted(set(parsing._tables().words))
PLACES_OF_A_NAME = [
    ("scene a\n    turn on {}\n", 2),
    ("scene a\n    set bell, {} to 40 %\n", 2),
    ("scene a\n    wait until {} is on\n", 2),
    ("scene a\n    for each {} in lamps\n        wait 3 s\n", 2),
    ("scene a\n    do {}\n", 2),
    ("scene a\n    stop {}\n", 2),
    ("scene {}\n    wait 3 s\n", 1),
    ("group {}: amber, bell\n", 1),
    ("group lamps: {}, bell\n", 1),
    ("define {} as bell is on\n", 1),
    ("flag {}\n", 1),
    ("rehearsal a\n    plays {}\n", 2),
]


@pytest.mark.parametrize(("text", "line"), PLACES_OF_A_NAME)
def test_each_reserved_word_as_a_name(text: str, line: int) -> None:
    assert len(RESERVED) > 100
    for word in RESERVED:
        parsed = parse(text.format(word), "a")
        if parsed.problems:
            assert [one.place.line for one in parsed.problems] == [line], word
            assert not NEVER_SAID.search(parsed.problems[0].what + parsed.problems[0].instead)
        else:
            kinds = {part.text for part in _walk(parsed.node) if isinstance(part, Word)}
            meant = word in kinds or {part.kind for part in _walk(parsed.node)} & {"stop_repeating"}
            assert meant, word


# --- mutations -----------------------------------------------------------------------------------------------------

_PIECE = re.compile(r'"[^"]*"|#.*|[0-9][0-9:.,]*|[A-Za-z][\w-]*|\S')


def _mutants(text: str) -> list[tuple[str, int, str]]:
    """Each word of the text deleted, doubled, or swapped with the next: (text, line number, what was done)."""
    out = []
    lines = text.split("\n")
    for number, line in enumerate(lines, 1):
        pieces = [one for one in _PIECE.finditer(line) if not one[0].startswith("#")]
        changed = []
        for at, one in enumerate(pieces):
            changed.append((line[: one.start()] + line[one.end() :], f"without {one[0]}"))
            changed.append((line[: one.end()] + " " + one[0] + line[one.end() :], f"twice {one[0]}"))
            if at + 1 < len(pieces):
                two = pieces[at + 1]
                swapped = line[: one.start()] + two[0] + line[one.end() : two.start()] + one[0] + line[two.end() :]
                changed.append((swapped, f"swapped {one[0]}"))
        start = max(at for at in range(number) if at == 0 or lines[at][:1].isalpha())
        end = next((at for at in range(number, len(lines)) if lines[at][:1].isalpha()), len(lines))
        for new, done in changed:  # the item around the line is enough
            item = [*[""] * start, *lines[start : number - 1], new, *lines[number:end]]
            out.append(("\n".join(item), number, done))
    return out


@pytest.mark.parametrize("name", SAMPLES)
def test_a_changed_word_gives_one_sentence_on_its_line(name: str) -> None:
    mutants = _mutants(SAMPLES[name])
    assert len(mutants) > 350
    told = 0
    wrong = []
    lines = SAMPLES[name].split("\n")
    for text, number, done in mutants:
        problems = parse(text, name).problems
        following = next(
            (at for at in range(number + 1, len(lines) + 1) if lines[at - 1].split("#")[0].strip()), number
        )
        if len(problems) > 1 or not {one.place.line for one in problems} <= {number, following}:
            wrong.append((number, done, [(one.place.line, one.what) for one in problems]))
        assert not any(NEVER_SAID.search(one.what + one.instead) for one in problems)
        told += any(one.place.line == number for one in problems)
    assert wrong == []
    assert told > len(mutants) // 2


@pytest.mark.parametrize("name", SAMPLES)
def test_a_lost_line_end_or_a_shifted_line_is_told_nearby(name: str) -> None:
    lines = SAMPLES[name].split("\n")
    for at, line in enumerate(lines):
        if not line.split("#")[0].strip():
            continue
        for changed in (line[1:] if line[0] == " " else " " + line, "    " + line, line.removeprefix("    ")):
            problems = parse("\n".join([*lines[:at], changed, *lines[at + 1 :]]), name).problems
            assert not any(NEVER_SAID.search(one.what + one.instead) for one in problems)
            assert all(one.place.line >= at - 1 for one in problems), (at + 1, changed, problems)
        joined = "\n".join(
            [*lines[:at], line.split("#")[0].rstrip() + " " + "".join(lines[at + 1 : at + 2]).strip(), *lines[at + 2 :]]
        )
        assert all(one.place.line >= at for one in parse(joined, name).problems)


WORDS = [
    *RESERVED,
    "amber",
    "3 s",
    "40 %",
    ",",
    ":",
    "(",
    ")",
    '"',
    "\n",
    "\n    ",
    "\n        ",
    "\t",
    "é",
    "#",
    "-",
    "=",
    "17:45",
]


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(WORDS), max_size=40).map(" ".join) | st.text(max_size=60))
def test_nothing_makes_it_stumble(text: str) -> None:
    parsed = parse(text, "a")
    assert isinstance(parsed, Parsed)
    assert parsed.node.kind == "start"
    lines = text.split("\n")
    for one in parsed.problems:
        assert 1 <= one.place.line <= len(lines)
        assert 1 <= one.place.column <= len(lines[one.place.line - 1]) + 1
        assert not NEVER_SAID.search(one.what), one


# --- the kept tables -----------------------------------------------------------------------------------------------


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, built: Any) -> Path:
    """A place of the test's own for the tables; building is only looked up, since it takes its time."""
    path = tmp_path / "kept" / "tables.json"
    monkeypatch.setattr(parsing, "build", lambda: built)
    monkeypatch.setattr(parsing, "_cache_files", lambda: [path])
    monkeypatch.setattr(parsing, "_loaded", [])
    return path


def _fresh(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parsing, "_loaded", [])


def test_kept_tables_are_used(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = parse(SAMPLES["crossing.scene"], "a")
    assert cache.exists()
    _fresh(monkeypatch)
    monkeypatch.setattr(parsing, "build", lambda: pytest.fail("built again"))
    assert parse(SAMPLES["crossing.scene"], "a") == first


def test_a_damaged_file_is_built_anew(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parse("flag a\n", "a")
    whole = cache.read_bytes()
    chance = random.Random(1)
    damaged = [
        b"",
        b"\n",
        whole[: len(whole) // 2],
        b"\xff" + whole,
        whole.replace(b"[", b"{", 1),
        whole.split(b"\n")[0] + b"\n{}",
    ]
    at = chance.randrange(100, len(whole))
    damaged.append(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
    for raw in damaged:
        cache.write_bytes(raw)
        _fresh(monkeypatch)
        assert parse("flag a\n", "a").problems == ()
        assert cache.read_bytes() == whole


def test_tables_of_another_grammar_are_not_used(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parse("flag a\n", "a")
    cache.write_bytes(b"0 " + cache.read_bytes())
    assert parsing._kept_tables(cache, "1 2 3") is None


def test_a_folder_that_cannot_be_written_does_no_harm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = tmp_path / "a-file"
    blocked.write_text("in the way")
    monkeypatch.setattr(parsing, "_cache_files", lambda: [blocked / "tables.json"])
    _fresh(monkeypatch)
    assert parse("flag a\n", "a").problems == ()
    assert blocked.read_text() == "in the way"


def test_with_kept_tables_the_library_is_not_even_imported() -> None:
    parse("flag a\n", "a")
    script = (
        "import sys; from scenes.parse import parse; parse('scene a\\n    wait 3\\n', 'a');"
        "print(sorted({'lark', 'interegular'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, cwd=GRAMMAR.parent.parent, check=True
    )
    assert done.stdout == "[]\n"
