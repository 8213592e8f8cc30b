"""Bytes to lines: encodings, line ends, blanks, tabs, and each limit at it and one past it."""

from __future__ import annotations

import pytest

from scenes import source
from scenes.parse import parse
from scenes.source import read

SCENE = "scene evening\n    turn on amber\n    wait 3 s\n"


def _said(raw: bytes) -> list[tuple[str, str]]:
    return [(str(problem.place), problem.what) for problem in read(raw, "a.scene").problems]


@pytest.mark.parametrize(
    "raw",
    [
        SCENE.encode(),
        SCENE.replace("\n", "\r\n").encode(),
        SCENE.replace("\n", "\r").encode(),
        b"\xef\xbb\xbf" + SCENE.encode(),
        SCENE.rstrip("\n").encode(),
        SCENE.replace(" ", "\u00a0").encode(),
        SCENE.replace(" ", "\u2003").encode(),
        SCENE.replace("amber", "amber\u200b").encode(),
        SCENE.replace("    ", "\t").encode(),
        SCENE.replace("wait 3 s", "wait\t3 s").encode(),
        SCENE.replace("\n", "\u2028").encode(),
        (SCENE + "\n\n   \n\t\n").encode(),
    ],
    ids=[
        "plain",
        "crlf",
        "cr",
        "bom",
        "no end",
        "no-break",
        "em blank",
        "unseen",
        "tabs",
        "inner tab",
        "line sign",
        "blank lines",
    ],
)
def test_reads_as_the_plain_file_does(raw: bytes) -> None:
    found = read(raw, "a.scene")
    parsed = parse(found.text, "a.scene")
    assert found.problems == ()
    assert parsed.problems == ()
    (scene,) = parsed.node.nodes("scene")
    assert [part.kind for part in scene.nodes()] == ["turn", "wait"]


def test_nothing_is_a_file_without_scenes() -> None:
    for raw in (b"", b"\xef\xbb\xbf", b"\n", b"# a remark"):
        assert read(raw, "a.scene").problems == ()
        assert parse(read(raw, "a.scene").text, "a.scene").node.parts == ()


def test_lines_are_the_persons_own_with_true_columns() -> None:
    found = read("scene a\r\n\twait\u00a03\u00a0s\t# dämmrig\r\n".encode(), "a.scene")
    assert found.lines == ["scene a", " wait 3 s # dämmrig"]
    assert [len(line) for line in found.text.splitlines()] == [len(line) for line in found.lines]
    broken = parse(read(b"scene a\n\twait 3\n", "a.scene").text, "a.scene").problems[0]
    assert (broken.place.line, broken.place.column) == (2, 7)


def test_utf_16_is_told() -> None:
    assert _said("scene a".encode("utf-16")) == [("a.scene:1:1", "The file is saved as UTF-16.")]


def test_another_encoding_is_told_where() -> None:
    raw = "scene a\n    # d\u00e4mmrig\n".encode("latin-1")
    assert _said(raw) == [("a.scene:2:8", "The file is not saved as UTF-8: this letter cannot be read.")]
    assert read(raw, "a.scene").lines[1] == "    # d\ufffdmmrig"


def test_a_control_character_is_told_and_harmless_to_a_terminal() -> None:
    found = read(b"scene a\n    wait \x1b[2J3 s\n", "a.scene")
    assert _said(b"scene a\n    wait \x1b3 s\n") == [("a.scene:2:10", "An invisible sign (number 27) stands here.")]
    assert "\x1b" not in found.lines[1]
    assert "\x1b" not in found.text


def test_tabs_and_spaces_before_one_line() -> None:
    ((place, what),) = _said(b"scene a\n  \twait 3 s\n")
    assert place == "a.scene:2:1"
    assert what == "The line is indented with tabs and spaces mixed, so how deep it stands cannot be told."


def test_tabs_below_spaces_are_told_once() -> None:
    raw = b"scene a\n    repeat\n\t\twait 3 s\n\t\twait 4 s\n"
    assert _said(raw) == [("a.scene:3:1", "The line is indented with tabs, lines above it with spaces.")]
    assert parse(read(raw, "a.scene").text, "a.scene").problems == ()


def test_a_remark_may_be_indented_anyhow() -> None:
    assert _said(b"scene a\n    wait 3 s\n\t# a remark\n") == []


def test_file_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source, "LARGEST_FILE", 20)
    assert _said(b"#" * 20) == []
    assert _said(b"#" * 21) == [("a.scene:1:1", "The file has 21 bytes; the most that a scene file may have is 20.")]
    assert source.LARGEST_FILE == 20


def test_number_of_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source, "MOST_LINES", 5)
    assert _said(b"#\n" * 5) == []
    assert _said(b"#\n" * 6) == [("a.scene:1:1", "The file has 6 lines; the most that a scene file may have is 5.")]


def test_line_length() -> None:
    fits = "#" * source.LONGEST_LINE
    assert _said(fits.encode()) == []
    what = f"The line has {source.LONGEST_LINE + 1} characters; the most that a line may have is {source.LONGEST_LINE}."
    assert _said(f"flag a\n{fits}#\nflag b\n".encode()) == [(f"a.scene:2:{source.LONGEST_LINE + 1}", what)]
    assert len(parse(read(f"flag a\n{fits}#\nflag b\n".encode(), "a").text, "a").node.parts) == 2
