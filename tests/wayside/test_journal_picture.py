"""A day as a picture: what stands in its rows, where it stands on the page, and that nothing leaves the page."""

from __future__ import annotations

import re
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from test_journal_summary import begins, ends, entry, scene, seen

from wayside.cli import main
from wayside.journal import day as journal_day
from wayside.journal import picture as journal_picture
from wayside.journal.day import Day
from wayside.journal.file import Entry, open_to_write, write
from wayside.journal.rows import Rows
from wayside.pictures.rows import Section
from wayside.pictures.spans import Look, Row

S = 1_000_000
SATURDAY = date(2026, 11, 28)
SVG = "{http://www.w3.org/2000/svg}"
NAMES: dict[str, Any] = {
    "scenes": ["lane", "evening"],
    "detectors": ["up", "yard", "down"],
    "outputs": ["gate-arm", "lamp"],
    "buttons": ["red"],
}
BUSY = [
    begins(60, **NAMES),
    seen(60, "down", "occupied"),
    seen(70, "down", "clear"),
    scene(120, "lane", "running"),
    seen(120, "up", "occupied"),
    scene(180, "lane", "ended"),
    seen(190, "up", "clear"),
    entry(300, "fault", "main", "link main: the port is lost", state="gone", health=True),
    entry(330, "rule", "road"),
    entry(340, "mark", text="gate-arm jerks"),
    entry(350, "mark", text="smoke"),
    entry(400, "link", "main", "link main: talking", state="talking", health=True),
    entry(410, "fault", "", "trouble: a loop took no time"),
    entry(420, "hand", "", "all stop", deed="all stop"),
    entry(430, "hand", "", "go on", deed="go on"),
    entry(500, "output", "gate-arm", why="put right"),
    scene(600, "lane", "running"),
    ends(3_660),
]


def day(*entries: Entry) -> Day:
    return journal_day.of(entries or BUSY)


def sections(found: Day) -> dict[str, Section]:
    return {one.title: one for one in Rows(found).sections() if one.rows}


def busy(row: Row) -> list[tuple[float, float, Look]]:
    """Spans in seconds from the show's beginning, without the time in between."""
    return [(span.from_us / S, span.to_us / S, span.look) for span in row.spans if span.look is not Look.IDLE]


# --- rows ----------------------------------------------------------------------------------------------------------


def test_every_kind_of_row_in_its_place() -> None:
    found = sections(day())
    assert {title: [row.name for row in one.rows] for title, one in found.items()} == {
        "Shows": ["show"],
        "Scenes that ran": ["lane"],
        "Links": ["main"],
        "Rules broken": ["road"],
        "Marked, stopped, at fault": ["marks", "stops", "faults"],
        "Detectors to look at": ["yard"],
        "Outputs to look at": ["gate-arm"],
    }
    assert busy(found["Scenes that ran"].rows[0]) == [(60, 120, Look.RUNNING), (540, 3_600, Look.RUNNING)]
    assert busy(found["Links"].rows[0]) == [(240, 340, Look.UNKNOWN)]
    assert [tick.at_us / S for tick in found["Links"].rows[0].ticks] == [240]
    assert [tick.at_us / S for tick in found["Rules broken"].rows[0].ticks] == [270]
    marks, stops, faults = found["Marked, stopped, at fault"].rows
    assert [(tick.at_us / S, tick.text) for tick in marks.ticks] == [(280, "gate-arm jerks"), (290, "smoke")]
    assert [tick.text for tick in stops.ticks] == ["all stop", "go on"]
    assert [tick.text for tick in faults.ticks] == ["trouble: a loop took no time"]  # the link's stand in its own row
    assert [tick.at_us / S for tick in found["Outputs to look at"].rows[0].ticks] == [280, 440]  # marked, put right


def test_rows_have_no_gaps() -> None:
    for section in Rows(day()).sections():
        for row in section.rows:
            assert all(before.to_us == after.from_us for before, after in pairwise(row.spans))
            assert not row.spans or (row.spans[0].from_us, row.spans[-1].to_us) == (0, 3_600 * S)


def test_a_quiet_day_has_no_empty_sections() -> None:
    found = sections(day(begins(detectors=["up"]), seen(1, "up", "occupied"), seen(9, "up", "clear"), ends(60)))
    assert list(found) == ["Shows"]


def test_a_show_without_an_end_says_so() -> None:
    found = sections(day(begins(), scene(5, "lane", "running"), begins(600, 2), ends(700, 2)))
    assert [span.text for span in found["Shows"].rows[0].spans if span.look is Look.RUNNING] == ["no end known", ""]


# --- the page ------------------------------------------------------------------------------------------------------


def drawn(found: Day, tmp_path: Path) -> ElementTree.Element:
    path = tmp_path / "day.svg"
    journal_picture.draw(found, SATURDAY, path)
    return ElementTree.fromstring(path.read_text(encoding="utf-8"))


def texts(root: ElementTree.Element) -> list[str]:
    return ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]


def place(root: ElementTree.Element, gid: str) -> tuple[float, float]:
    (group,) = (one for one in root.iter(f"{SVG}g") if one.get("id") == gid)
    (text,) = group.iter(f"{SVG}text")
    found = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", text.get("transform", "")) or re.search(
        r"rotate\([-\d.]+ ([-\d.]+) ([-\d.]+)\)", text.get("transform", "")
    )
    if found:
        return float(found[1]), float(found[2])
    return float(text.get("x", "nan")), float(text.get("y", "nan"))


def test_the_page_has_the_hours_of_the_hall_and_all_names(tmp_path: Path) -> None:
    said = texts(drawn(day(), tmp_path))
    assert "Quay, Saturday 28 November 2026" in said
    for word in (
        "12:05",
        "13:00",
        "lane",
        "main",
        "road",
        "gate-arm",
        "yard",
        "hall time",
        "marked at 12:05:40: gate-arm jerks",
    ):
        assert word in said, word
    assert "never saw a train" in said
    assert "evening" in said  # never ran
    assert "link main: 1 time, last at 12:05:00: link main: the port is lost" in said


def test_hours_stand_at_even_distances_and_rows_below_one_another(tmp_path: Path) -> None:
    root = drawn(day(), tmp_path)
    ids = [one.get("id", "") for one in root.iter(f"{SVG}g")]
    hours = [one for one in ids if one.startswith("hall-top-")]
    seconds = [int(one.removeprefix("hall-top-")) for one in hours]
    assert seconds[0] == 43_200 + 300  # the show began at 12:01
    assert {b - a for a, b in pairwise(seconds)} == {300}
    xs = [place(root, one)[0] for one in hours]
    apart = [b - a for a, b in pairwise(xs)]
    assert max(apart) - min(apart) < 0.01
    ys = [place(root, one)[1] for one in ids if one.startswith("row-")]
    assert ys == sorted(ys)
    assert min(b - a for a, b in pairwise(ys)) > 10  # points


def test_a_full_day_stays_on_its_page(tmp_path: Path) -> None:
    """However long names and notes are, and however many there are."""
    many = [entry(100 + number, "mark", text=f"{'wide ' * 60}{number}") for number in range(90)]
    names = {**NAMES, "scenes": [f"scene-{'x' * 70}-{number}" for number in range(90)]}
    ran = [scene(10 + number, names["scenes"][number], "running") for number in range(80)]
    path = tmp_path / "day.png"
    journal_picture.draw(day(begins(**names), *ran, *many, ends(40_000)), SATURDAY, path)
    import matplotlib.image

    pixels = matplotlib.image.imread(path)
    wide = pixels.shape[1]
    assert pixels[:, : wide // 100].min() == 1.0  # nothing in the margins
    assert pixels[:, -wide // 100 :].min() == 1.0


def test_the_same_day_gives_the_same_bytes(tmp_path: Path) -> None:
    one, two = tmp_path / "one.svg", tmp_path / "two.svg"
    for path in (one, two):
        journal_picture.draw(day(), SATURDAY, path)
    assert one.read_bytes() == two.read_bytes()


def test_letters_that_the_font_lacks_are_no_noise(tmp_path: Path, recwarn: pytest.WarningsRecorder) -> None:
    found = day(begins(), entry(1, "mark", text="\u706f is dark"), ends(60))
    assert "\u706f is dark" in texts(drawn(found, tmp_path))
    journal_picture.draw(found, SATURDAY, tmp_path / "day.png")
    assert not recwarn.list


def test_a_day_without_a_show_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no picture"):
        journal_picture.draw(Day(), SATURDAY, tmp_path / "day.svg")


# --- the command ---------------------------------------------------------------------------------------------------


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "journal.sqlite"
    base = open_to_write(path)
    write(base, BUSY)
    base.close()
    return path


@pytest.mark.parametrize("ending", ["svg", "png", "SVG"])
def test_the_command_draws_beside_the_text(journal: Path, capsys: pytest.CaptureFixture[str], ending: str) -> None:
    into = journal.parent / f"day.{ending}"
    assert main(["journal", str(journal), "--summary", "--picture", str(into)]) == 0
    assert into.stat().st_size > 5_000
    said = capsys.readouterr().out
    assert said.startswith("Quay, Saturday 28 November 2026\n")
    assert said.endswith(f"\nThe picture is in {into}.\n")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--picture", "day.svg"], "write --summary, too"),
        (["--summary", "--picture", "day.pdf"], "end the name 'day.pdf' in one of these"),
        (["--summary", "--picture", ""], "end the name '' in one of these"),
        (["--summary", "--picture", "/nowhere/day.svg"], "/nowhere/day.svg cannot be written: "),
    ],
)
def test_what_cannot_be_drawn(journal: Path, capsys: pytest.CaptureFixture[str], options: list[str], says: str) -> None:
    assert main(["journal", str(journal), *options]) == 2
    assert says in capsys.readouterr().err
