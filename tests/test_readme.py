"""The README keeps what it promises: its commands, its files, its options, and the numbers of its one sample."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from wayside.cli import COMMANDS, Parser, main, read_options

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMAND_LINES = re.findall(r"`wayside ([a-z][^`]*)`", README)


def test_the_two_lines_for_each_kind_of_terminal() -> None:
    unix = re.findall(r"^python3 -m venv .*$", README, re.M)
    windows = re.findall(r'^cmd /c "py -m venv .*"$', README, re.M)
    assert len(unix) == len(windows) == 2
    for line, other in zip(unix, windows, strict=True):
        assert line.count(" && ") == other.count(" && ") == 2
        assert "git" not in line + other
    assert "wayside rehearse examples/pellbrook-quay" in unix[0]
    assert "pytest" in unix[1]


def test_the_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    assert first.startswith("Wayside animates a model railway from plain text.")


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`([\w/-]+\.(?:md|scene|yaml))`", README))))
def test_every_file_that_it_names_is_there(name: str) -> None:
    homes = [ROOT, ROOT / "examples/pellbrook-quay"]
    assert any((home / name).is_file() for home in homes)


@pytest.mark.parametrize("line", COMMAND_LINES)
def test_every_command_that_it_shows_is_understood(line: str) -> None:
    name, *rest = shlex.split(line)
    parser = Parser(name)
    __import__(f"wayside.commands.{COMMANDS[name].module}", fromlist=["describe"]).describe(parser)
    read_options(parser, rest)


def test_commands_were_found() -> None:
    assert len(COMMAND_LINES) >= 6


def test_changing_the_number_does_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "examples/pellbrook-quay"
    shutil.copytree(ROOT / "examples/pellbrook-quay", copy)
    file = copy / "saltmarsh-lane.scene"
    text = file.read_text(encoding="utf-8")
    changed = text.replace("move far-barrier to lowered over 7 s", "move far-barrier to lowered over 9 s")
    assert changed != text
    file.write_text(changed, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["rehearse", "examples/pellbrook-quay"]) == 1
    said = capsys.readouterr().out
    (sample,) = re.findall(r"^```\n(  failed .*?)^```", README, re.M | re.S)
    assert sample in said
    assert "5 of 12 rehearsals failed, 3 rules kept." in said


PAGES = sorted(
    page for page in ROOT.rglob("*.md") if not any(part.startswith(".") for part in page.relative_to(ROOT).parts)
)
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")


def anchors(page: Path) -> set[str]:
    """What a heading is called in a link to it, as readers of Markdown make it: lower case, words joined by hyphens."""
    prose = re.sub(r"^```.*?^```", "", page.read_text(encoding="utf-8"), flags=re.M | re.S)
    return {
        re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-")
        for heading in re.findall(r"^#+ (.*)$", prose, re.M)
    }


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_link_leads_somewhere(page: Path) -> None:
    for target in LINK.findall(page.read_text(encoding="utf-8")):
        if "://" in target:
            continue
        file, _, anchor = target.partition("#")
        there = (page.parent / file).resolve() if file else page
        assert there.exists(), target
        assert not anchor or anchor in anchors(there), target
