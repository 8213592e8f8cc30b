"""The pages on wiring are true: what they say to write is read without a word, what they say to try says what they
show, and their sums come out again by Ohm's law and the series of IEC 60063 (references: LEDs, supplies)."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import yaml

from scenes.problems import as_text
from wayside.cli import COMMANDS, Parser, main, read_options
from wayside.project import load
from wayside.rehearsal.rehearsing import rehearse

ROOT = Path(__file__).parents[2]
WIRING = ROOT / "adapters/wiring"
PAGES = sorted(page for page in WIRING.glob("*.md") if page.name != "README.md")
SECTIONS = ["What you need", "How it is wired", "What to write", "Try it", "What goes wrong"]
BASE = {"layout": "My Table", "links": {"main": {"kind": "serial text", "dialect": "late"}}}
QUIET = 'scene nothing-yet\n    note "nothing yet"\n'
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24 = tuple(sorted((*E12, 11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91)))


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def blocks(page: Path, kind: str) -> list[str]:
    found = re.findall(r"^```(\w*)\n(.*?)^```$", text_of(page), re.M | re.S)
    return [text for named, text in found if named == kind]


def tried(page: Path) -> list[tuple[str, list[str]]]:
    """Each command with the lines that are said to come of it."""
    found = []
    for block in blocks(page, ""):
        command, *lines = block.splitlines()
        if command.startswith("wayside "):
            found.append((command, lines))
    return found


@pytest.fixture
def layout(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """A folder with the page's layout lines, and the wire to the station where the page has none."""
    page: Path = request.param
    (written,) = blocks(page, "yaml")
    whole = BASE | yaml.safe_load(written)
    missing = {key: value for key, value in BASE.items() if whole[key] is value}
    (tmp_path / "layout.yaml").write_text(yaml.safe_dump(missing) + written, encoding="utf-8")
    scenes = blocks(page, "scene")
    (tmp_path / "page.scene").write_text("\n".join(scenes) or QUIET, encoding="utf-8")
    return tmp_path


each_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
each_layout = pytest.mark.parametrize(
    ("page", "layout"), [(page, page) for page in PAGES], indirect=["layout"], ids=[page.stem for page in PAGES]
)


@each_page
def test_every_page_has_the_same_five_parts_and_a_drawing(page: Path) -> None:
    parts = re.split(r"^## ", text_of(page), flags=re.M)
    named = {part.splitlines()[0]: part for part in parts[1:]}
    assert [name for name in named if name in SECTIONS] == SECTIONS
    assert "```\n" in named["How it is wired"]
    assert named["What goes wrong"].count("\n- **") >= 4


@each_page
def test_drawings_and_lines_are_no_wider_than_a_printed_page(page: Path) -> None:
    for block in blocks(page, ""):
        assert max(map(len, block.splitlines())) <= 100
        assert block.isascii()
        assert "\t" not in block


@each_layout
def test_what_is_to_be_written_is_read_without_a_word(page: Path, layout: Path) -> None:
    project = load([layout])
    assert [as_text(problem, project.lines) for problem in project.problems] == []
    results = [rehearse(project.program, one) for one in project.program.rehearsals.values()]
    assert all(result.passed for result in results)
    assert bool(results) == bool(blocks(page, "scene"))


@each_layout
def test_what_is_to_be_tried_says_what_the_page_shows(
    page: Path, layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    commands = tried(page)
    assert commands
    for command, lines in commands:
        _, name, *rest = shlex.split(command.replace("my-layout", str(layout)))
        if name == "try":
            assert lines, command
            assert main([name, *rest, "--dry-run"]) == 0
            said = capsys.readouterr().out
            for line in lines:
                assert line in said, f"{command}: {line}\n{said}"


@pytest.mark.parametrize("page", [*PAGES, WIRING / "README.md"], ids=lambda page: page.stem)
def test_every_link_leads_somewhere(page: Path) -> None:
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text_of(page))
    for link in links:
        assert (page.parent / link).is_file(), link


@each_page
def test_the_index_has_every_page(page: Path) -> None:
    assert f"({page.name})" in text_of(WIRING / "README.md")


@pytest.mark.parametrize("caution", ["Extra-low voltage only", "a qualified person", "local codes", "Fuse each supply"])
def test_the_cautions_stand_first(caution: str) -> None:
    assert caution in " ".join(text_of(WIRING / "README.md").split())


def above(ohms: float, series: tuple[int, ...]) -> int:
    """The next value of a series of IEC 60063 that is not below."""
    return next(one * ten for ten in (1, 10, 100, 1000) for one in series if one * ten >= ohms - 1e-9)


def rows(page: str, head: str) -> list[list[str]]:
    after = text_of(WIRING / page).split(head)[1]
    lines = after.split("\n\n")[0].strip().splitlines()[1:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_the_resistors_are_those_of_ohm_and_of_the_series() -> None:
    table = rows("led-and-resistor.md", "| supply | LEDs in a row | current wanted | R | E12 | E24 |")
    assert len(table) == 4
    for supply, leds, current, ohms, twelve, twenty_four in table:
        count, volts = re.match(r"(\d) of ([\d.]+) V", leds).groups()  # type: ignore[union-attr]
        exact = (float(supply.split()[0]) - int(count) * float(volts)) / float(current.split()[0]) * 1000
        assert exact == pytest.approx(float(ohms))
        assert (above(exact, E12), above(exact, E24)) == (int(twelve), int(twenty_four))
    milliamperes = (12 - 3.2) / 1000 * 1000
    assert f"{milliamperes:g} mA" in text_of(WIRING / "led-and-resistor.md")
    assert f"{milliamperes * (12 - 3.2):.0f} mW" in text_of(WIRING / "led-and-resistor.md")


def test_the_losses_are_those_of_the_wires() -> None:
    """IEC 60228, class 5: ohm/km by five metres, there and back, at one ampere."""
    table = rows("supplies.md", "| mm2 | ohm/km | V |")
    assert len(table) == 5
    for _, ohms, volts in table:
        assert float(ohms) * 2 * 5 / 1000 == pytest.approx(float(volts), rel=0.005)


def test_the_drivers_prescale_is_that_of_the_data_sheet() -> None:
    """PCA9685, 7.3.5: prescale = round(25 MHz / (4096 * rate)) - 1."""
    page = " ".join(text_of(WIRING / "servo-driver.md").split())
    for rate, said in ((50, "prescale 121"), (200, "At 200 a second, prescale 30")):
        assert f"{round(25e6 / (4096 * rate)) - 1}" == said.split()[-1]
        assert said in page


def test_servos_that_stall_draw_what_is_said() -> None:
    (line,) = [one for one in text_of(WIRING / "supplies.md").splitlines() if "sixteen of them stalled" in one]
    assert [float(one) for one in re.findall(r"([\d.]+) A", line)] == pytest.approx([0.65 * n for n in (4, 8, 16)])


def test_commands_are_understood() -> None:
    """Every command of every page, but for those that this project does not have yet, which are named and not shown."""
    seen = 0
    for page in [*PAGES, WIRING / "README.md"]:
        for line in re.findall(r"`wayside ([a-z][^`]*)`", text_of(page)):
            name, *rest = shlex.split(line)
            if name in COMMANDS and rest:
                parser = Parser(name)
                __import__(f"wayside.commands.{COMMANDS[name].module}", fromlist=["describe"]).describe(parser)
                read_options(parser, rest)
                seen += 1
            elif name not in COMMANDS:
                assert name in ("survey", "jog", "walk"), line
    assert seen >= 3
