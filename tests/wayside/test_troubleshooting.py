"""The page on trouble speaks with Wayside's own words: each quoted line stands in the code, many are provoked here, and
every command on it is one that can be typed."""

from __future__ import annotations

import ast
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from wayside.cli import COMMANDS, Parser, main, read_options

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "wayside/troubleshooting.md"
TEXT = PAGE.read_text(encoding="utf-8")
QUOTES = re.findall(r"^> (.*)$", TEXT, re.M)
SHORTEST = 8  # a fragment of fewer letters would be found anywhere
COMMANDS_TO_COME = ("jog",)


def literals(room: Path) -> Iterator[str]:
    for file in room.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield node.value


SPOKEN = [text for room in ("wayside", "scenes", "engine", "adapters") for text in literals(ROOT / room)]


def fragments(quote: str) -> list[str]:
    parts = [part.strip(" `") for part in quote.split("...")]
    return [part for part in parts if len(part) >= SHORTEST]


LAYOUT = """layout: T
links:
  main: {kind: serial text, dialect: late}
boards:
  b: {link: main, first address: 41, ports: 8}
outputs:
  lamp: {kind: lamp, dimmable: yes, link: main, pin: 3}
  arm: {kind: servo, link: main, pin: 4, positions: {up: 0 deg, down: 80 deg}, limits: 0 deg to 90 deg,
        full travel: 2 s}
  one: {kind: lamp, board: b, port: 0}
  two: {kind: lamp, board: b, port: 1}
detectors:
  lane: {kind: section, link: main, pin: 60}
tracks:
  line: {stretches: [lane: 500 mm], fastest: 150 mm/s, shortest train: 200 mm}
"""
SCENE = """scene s
    starts each time lane is occupied
    turn on one
    wait 5 s
"""


class Provoked(NamedTuple):
    """What is typed in a folder in which one thing has been changed."""

    command: str
    old: str = "T"
    new: str = "T"


LAMP = "lamp: {kind: lamp, dimmable: yes, link: main, pin: 3}"
TRAIN = """    wait 5 s

rehearsal r
    a train 300 mm long runs along line at 100 mm/s, from 0 s
    expect one is on at 1 s
"""
ANOTHER = """    wait 5 s

scene t
    starts at 18:00 hall time
    turn off one
    wait 9 s
"""
DAY = """    wait 5 s

day saturday
    opens at 10:00
    closes at 11:00
    quiet from 10:30 to 10:40
    at 10:35 hall time run s
"""
PROVOKED = {
    "is dimmable, and an accessory address only switches.": Provoked(
        "check .", LAMP, "lamp: {kind: lamp, dimmable: yes, board: b, port: 5}"
    ),
    "needs servo positions, and the words of link": Provoked("check .", "dialect: late", "dialect: early"),
    "and ... share port": Provoked("check .", "board: b, port: 1}", "board: b, port: 0}"),
    "is outside what ... may move to.": Provoked("check .", "down: 80 deg", "down: 100 deg"),
    "In the dark part of this fade": Provoked("check .", "    turn on one\n", "    fade lamp to 50 % over 20 s\n"),
    "will be seen to move in steps, one every": Provoked(
        "check .", "    turn on one\n", "    move arm to down over 90 s\n"
    ),
    "Such light can harm people with photosensitive epilepsy": Provoked(
        "check .", "    turn on one\n", "    flash lamp at 300 a minute\n"
    ),
    "by which clock?": Provoked("check .", "starts each time lane is occupied", "starts at 18:00"),
    "can run at once, and both tell": Provoked("check .", "    wait 5 s\n", ANOTHER),
    "No link of this layout says its port. Write it in the layout file": Provoked("run ."),
    "There is nothing at": Provoked("probe /dev/no-such-port --yes"),
    "left out: it is quiet": Provoked("rehearse . --day saturday", "    wait 5 s\n", DAY),
    "What the links were asked for:": Provoked("rehearse . --day saturday", "    wait 5 s\n", DAY),
    "in the first instant, which counts as the beginning, and `starts each time` waits for a": Provoked(
        "rehearse .", "    wait 5 s\n", TRAIN
    ),
}


@pytest.mark.parametrize("quote", [one for one in QUOTES if not any(words in one for words in PROVOKED)])
def test_a_quoted_line_is_wayside_s_own(quote: str) -> None:
    found = fragments(quote)
    assert found, "too short to be looked for"
    for part in found:
        assert any(part in text for text in SPOKEN), part


def test_a_line_that_nobody_says_is_noticed() -> None:
    assert not any("the servo is tired today" in text for text in SPOKEN)


@pytest.mark.parametrize("words", PROVOKED, ids=lambda words: words[:30])
def test_what_goes_wrong_is_said_in_these_words(
    words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    command, old, new = PROVOKED[words]
    assert old in LAYOUT + SCENE
    (tmp_path / "layout.yaml").write_text(LAYOUT.replace(old, new), encoding="utf-8")
    (tmp_path / "t.scene").write_text(SCENE.replace(old, new), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    main(command.split())
    captured = capsys.readouterr()
    said = " ".join((captured.out + captured.err).split())
    assert any(words in quote for quote in QUOTES)
    for part in words.split(" ... "):
        assert part in said, said


def test_every_command_is_understood() -> None:
    shown = re.findall(r"`wayside ([a-z][^`]*)`", TEXT)
    for block in re.findall(r"^```\n(.*?)^```$", TEXT, re.M | re.S):
        shown += [re.split(r"\s{2,}", line)[0].removeprefix("wayside ") for line in block.splitlines()]
    seen = 0
    for line in shown:
        name, *rest = shlex.split(line)
        if name not in COMMANDS:
            assert name in COMMANDS_TO_COME, line
        elif rest:
            parser = Parser(name)
            __import__(f"wayside.commands.{COMMANDS[name].module}", fromlist=["describe"]).describe(parser)
            read_options(parser, rest)
            seen += 1
    assert seen >= 12


def test_every_entry_of_its_index_is_there() -> None:
    heads = {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in re.findall(r"^##? (.*)$", TEXT, re.M)}
    linked = re.findall(r"\]\(#([\w-]+)\)", TEXT)
    assert len(linked) >= 20
    assert set(linked) <= heads
    entries = re.findall(r"^## (.*)$", TEXT, re.M)
    assert len(entries) == len(set(linked))
    for link in re.findall(r"\]\(([^)#]+)\)", TEXT):
        assert (PAGE.parent / link).is_file(), link


def test_the_states_of_a_link_are_all_told() -> None:
    from adapters.link_states import State

    for state in State:
        assert f"| {state.value} |" in TEXT
