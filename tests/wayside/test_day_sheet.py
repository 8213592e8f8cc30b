"""The day sheet: what stands on it, held against the calendar, the desk, the terminal; the page as others read it."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pypdfium2
import pytest
from dateutil.rrule import MINUTELY, rrule
from markdown_it import MarkdownIt

from engine.layout import Place
from engine.trace import Record, SceneIs, Told
from engine.waves import Ramp, Steady
from wayside.cli import COMMANDS, Parser, main, read_options
from wayside.handover import day_what_if
from wayside.handover.day_sheet import Part, Sheet
from wayside.handover.day_sheet_page import page
from wayside.handover.day_sheet_text import markdown, text
from wayside.handover.day_signs import seen
from wayside.live.hands import understood
from wayside.project import Project, load

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
DESK = "".join(file.read_text(encoding="utf-8") for file in (ROOT / "wayside" / "desk" / "page").glob("*.*"))
S = 1_000_000
HERE = Place("a.scene", 1, 1, 1, 1)
A4_MM = (210, 297)  # ISO 216

LAYOUT = """\
layout: Small Quay
hall time: {time zone: Europe/London}
clock: {starts at: 17:00}
outputs:
  amber: {kind: lamp}
  blue: {kind: lamp}
  gate: {kind: servo, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 1 s, rest: raised, safe: lowered}
  arm: {kind: servo, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s}
  board: {kind: signal, aspects: {danger: {arm: danger}, clear: {arm: clear}}, rest: danger}
buttons:
  knob: {does: all stop}
  green-button: {}
  spare-button: {}
"""
SCENES = """\
# What the ferry shows | when it comes.
scene ferry
    starts on button green-button, not again for 2 min
    turn on amber
    wait 1 s
    move gate to lowered over 4 s
    move gate to raised over 3 s
    turn off amber

scene dusk                                    # it grows dark
    starts at 18:00 layout time
    turn on blue
    wait 30 s
    set board to clear

scene unheard
    wait 1 s

day saturday
    opens at 10:00
    closes at 12:00
    quiet from 10:50 to 11:00
    every 7 min between 10:10 and 11:30 run ferry
    after dusk run unheard
"""


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    folder = tmp_path / "quay"
    folder.mkdir()
    (folder / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    (folder / "all.scene").write_text(SCENES, encoding="utf-8")
    return folder


def said(folder: Path, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    assert main(["day-sheet", str(folder), "--date", "2026-11-28", *words]) == 0
    return capsys.readouterr().out


def rows_of(sheet: str, title: str) -> list[list[str]]:
    """The rows of one part of a sheet as text; wrapped rows go to the one above."""
    body = sheet.partition(f"\n{title.upper()}\n")[2].partition("\n\n")[0]
    rows: list[list[str]] = []
    starts: list[int] = []
    for line in body.splitlines():
        if not line.startswith("   "):
            starts = starts or [m.start() for m in re.finditer(r"(?:(?<=  )|(?<=^  ))\S", line)]
            rows.append([])
            edges = [*starts, 1000]
            rows[-1] = [line[a:b].strip() for a, b in pairwise(edges)]
        else:
            for number, (a, b) in enumerate(pairwise([*starts, 1000])):
                rows[-1][number] = f"{rows[-1][number]} {line[a:b].strip()}".strip()
    return rows


# --- what stands on it ---------------------------------------------------------------------------------------------


def test_times_are_those_of_the_calendar(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every 7 minutes as dateutil's recurrence rules count them; quiet ones are left out, not forgotten."""
    rule = rrule(MINUTELY, interval=7, dtstart=datetime(2026, 11, 28, 10, 10), until=datetime(2026, 11, 28, 11, 30))
    due = [f"{at:%H:%M}" for at in rule]
    rows = [row for row in rows_of(said(quay, capsys), "What begins when") if row[1] == "ferry"]
    assert [row[0] for row in rows] == due
    quiet = [row[0] for row in rows if row[3] == "left out: it is quiet"]
    assert quiet == [at for at in due if "10:50" <= at < "11:00"]
    assert {row[3] for row in rows if row[0] not in quiet} == {"8 s"}  # 1 s of waiting, 7 s of moving


def test_what_a_scene_begins_by_its_own_clock_stands_there_too(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = rows_of(said(quay, capsys), "What begins when")
    assert ["11:00", "dusk", "starts at 18:00 layout time", "30 s"] in rows
    assert ["about 11:00", "unheard", "after dusk", "1 s"] in rows
    assert [row[0][-5:] for row in rows[1:]] == sorted(row[0][-5:] for row in rows[1:])


def test_each_scene_in_the_words_of_its_writer_with_its_signs(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = {row[0]: row[1:] for row in rows_of(said(quay, capsys), "Scenes")}
    assert rows["ferry"] == [
        "What the ferry shows | when it comes.",
        "first amber comes on; then gate moves; last amber goes out",
        "8 s",
    ]
    assert rows["dusk"] == ["it grows dark", "first blue comes on; last board shows clear", "30 s"]
    assert rows["unheard"] == ["tells no output anything", "nothing is seen of it", "1 s"]


def test_the_crossing_of_the_example(capsys: pytest.CaptureFixture[str]) -> None:
    rows = {row[0]: row[1:] for row in rows_of(said(QUAY, capsys), "Scenes")}
    does, look, takes = rows["saltmarsh-lane"]
    assert does == "runs whenever train-about: the lane closes for a train and opens again"
    assert look == (
        "first amber comes on, bell sounds; then near-barrier and far-barrier move; last red-left, red-right and "
        "boom-lamps go out"
    )
    assert takes.startswith("40 s to")
    assert rows["bell-rings"][2] == "4.4 s"  # four times 200 ms and 900 ms
    assert rows["drifter-calls"][1] == "first drifter-whistle sounds; last crane moves to quay"
    assert rows["harbour-light-keeper"][1] == "first harbour-light flashes"
    assert "daylight falls" in rows["evening"][1]
    assert rows["forge-fire"][2] == "while that holds"


def test_hours_closing_and_buttons(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = said(quay, capsys)
    assert "Saturday 28 November 2026, 10:00 to 12:00 hall time (GMT)" in sheet
    hours = rows_of(sheet, "Hours")
    assert hours[1][0] == "10:50 to 11:00"
    assert hours[1][1].startswith("quiet: ")
    assert hours[2][0] == "12:00"
    assert hours[3][1].startswith("over, guarded outputs are in their safe state")
    assert rows_of(sheet, "Buttons") == [
        ["knob", "stops everything (all stop)"],
        ["green-button", "starts ferry, not again for 2 min"],
        ["spare-button", "nothing"],
    ]
    example = said(QUAY, capsys)
    assert "lid of its box" not in example  # a line's own comment is not for the operator
    assert "closes: run closing-time; turn off house-windows, forge, harbour-light; move crane" in example


def test_no_line_is_wider_than_the_screen(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in (quay, QUAY):
        assert max(map(len, said(folder, capsys).splitlines())) <= 100


def test_a_stopped_run_ends_where_it_was_stopped() -> None:
    """A trace by hand: the safe state is no sign of a scene, and nor is what a drop leaves."""
    project = Project(*load([QUAY])[:])
    down = Ramp(2 * S, 9 * S, 85.0, 0.0)
    trace: list[Record] = [
        SceneIs(0, "saltmarsh-lane", "running", "train-about", HERE),
        Told(0, "amber", Steady(1.0), "saltmarsh-lane", HERE, "line"),
        Told(2 * S, "near-barrier", down, "saltmarsh-lane", HERE, "line"),
        Told(5 * S, "near-barrier", Steady(40.0), "saltmarsh-lane", HERE, "dropped"),
        SceneIs(5 * S, "saltmarsh-lane", "stopping", "stop", HERE),
        Told(5 * S, "boom-lamps", Steady(1.0), "saltmarsh-lane", HERE, "line"),
        SceneIs(9 * S, "saltmarsh-lane", "stopped", "stop", HERE),
    ]
    found = seen(project.program, [trace])["saltmarsh-lane"]
    assert (found.first, found.meanwhile, found.last) == ("amber comes on", "near-barrier moves", "")
    assert found.took_us == ()
    trace[3:] = [
        SceneIs(9 * S, "saltmarsh-lane", "ended", "", HERE),
        Told(9 * S, "amber", Steady(0.0), "saltmarsh-lane", HERE, "line"),
        Told(9 * S, "bell", Steady(0.0), "saltmarsh-lane", HERE, "rest"),  # nobody asked for it
        Told(10 * S, "bell", Steady(1.0), "saltmarsh-lane", HERE, "line"),  # of no run any more
    ]
    found = seen(project.program, [trace])["saltmarsh-lane"]
    assert (found.first, found.meanwhile, found.last) == ("amber comes on", "near-barrier moves", "amber goes out")
    assert found.took_us == (9 * S,)


# --- what to do if -------------------------------------------------------------------------------------------------


def typed(rows: Iterable[tuple[str, str]]) -> list[str]:
    return [one for _, do in rows for one in re.findall(r"`([^`]+)`", do)]


@pytest.mark.parametrize("folder", [QUAY, ROOT / "examples" / "marram-point"])
def test_every_line_to_be_typed_is_understood(folder: Path) -> None:
    project = load([folder])
    lines = typed(day_what_if.rows(project.program, "saturday", str(folder)))
    assert len(lines) >= 8
    for line in lines:
        if line.startswith("wayside "):
            _, name, *rest = shlex.split(line)
            parser = Parser(name)
            __import__(f"wayside.commands.{COMMANDS[name].module}", fromlist=["describe"]).describe(parser)
            read_options(parser, rest)
            continue
        answer = understood(line, project.program)
        assert not answer.says, (line, answer.says)
        assert answer.inputs or answer.ends or answer.order or answer.mark is not None, line


def test_the_desk_calls_its_keys_so() -> None:
    words = " ".join(do for _, do in day_what_if.rows(load([QUAY]).program, "saturday", "quay"))
    for key in (
        "All stop", "Go on", "Blackout", "Lights back", "Mute", "Sound back", "Work by hand", "Give back",
        "Out of use…", "Back in use", "Mark this moment",
    ):  # fmt: skip
        assert key in words
        assert re.search(rf"[>\"]{re.escape(key)}[<\"]", DESK), key


def test_only_what_the_layout_has_is_spoken_of(quay: Path, tmp_path: Path) -> None:
    rows = dict(day_what_if.rows(load([quay]).program, "saturday", "quay"))
    assert "it is too loud" not in rows
    assert "a detector lies" not in rows
    assert "a link is gone, or nothing moves" not in rows
    assert "the button knob" in rows["danger, or a hand in the way"]
    assert "gate lowered" in rows["danger, or a hand in the way"]
    cautions = " ".join(day_what_if.cautions(load([quay]).layout))
    assert "photosensitive" in cautions
    assert "Moving parts" in cautions
    assert "Sound" not in cautions
    assert "flashing: switch" not in cautions
    of_the_quay = " ".join(day_what_if.cautions(load([QUAY]).layout))
    assert "scenery" in of_the_quay
    assert "Blackout. That leaves red-left and red-right flashing: switch their supply off." in of_the_quay


# --- Markdown ------------------------------------------------------------------------------------------------------


def cells(source: str) -> list[list[str]]:
    """The body rows of every table, as markdown-it reads them: text and code as a reader sees them."""
    found: list[list[str]] = []
    tokens = MarkdownIt("commonmark").enable("table").parse(source)
    inside = False
    for token in tokens:
        inside = (inside or token.type == "tbody_open") and token.type != "tbody_close"
        if inside and token.type == "tr_open":
            found.append([])
        if inside and token.type == "inline":
            pieces = (f"`{one.content}`" if one.type == "code_inline" else one.content for one in token.children or ())
            found[-1].append("".join(pieces))
    return found


def test_markdown_says_the_same_to_those_who_read_it() -> None:
    odd = "a | b, *c*, __d__, <b>, [e](f), \\g, ~~h~~, # i"
    part = Part("Odd", ("one", "two"), ((odd, "type `go on | now`"), ("_" * 10, "")), (50, 50))
    bare = Part("Bare", (), (("only",),), (100,))
    sheet = Sheet("*Title*", "under_it_", (part, bare), "foot", False)
    assert cells("\n".join(markdown(sheet))) == [[odd, "type `go on | now`"], ["_" * 10, ""], ["only"]]


def test_markdown_of_the_example_has_every_row(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(QUAY, capsys, "--markdown", str(tmp_path / "sheet.md"))
    rows = cells((tmp_path / "sheet.md").read_text(encoding="utf-8"))
    assert sum(row[1] == "drifter-calls" for row in rows if len(row) == 4) == 15
    assert ["evening-button", "starts evening, not again for 2 min; evening-lamp is lit while it may"] in rows


# --- the page ------------------------------------------------------------------------------------------------------


def read_page(file: Path) -> str:
    """A PDF's only page as PDFium reads it."""
    document = pypdfium2.PdfDocument(file)
    assert len(document) == 1
    width, height = (size * 25.4 / 72 for size in document[0].get_size())
    assert (round(width), round(height)) == A4_MM
    words: str = document[0].get_textpage().get_text_range()
    return " ".join(words.replace("\u200b", "").replace("\ufffe", "-").split())


def test_one_page_of_a4(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "sheet.pdf"
    said(QUAY, capsys, "--pdf", str(file))
    words = read_page(file)
    assert "Pellbrook Quay: day sheet, saturday" in words
    assert "every 25 min between 10:30 and 16:30: 13 times; left out: 12:35 and 13:00" in words
    assert "or type “all stop”" in words
    assert "stays with the layout" in words
    first = file.read_bytes()
    said(QUAY, capsys, "--pdf", str(file))
    assert file.read_bytes() == first


def test_a_small_day_stands_there_whole(quay: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "sheet.pdf"
    assert main(["day-sheet", str(quay), "--pdf", str(file), "--date", "2026-11-28"]) == 0
    assert "gathered" not in capsys.readouterr().err
    words = read_page(file)
    assert words.count("every 7 min between 10:10 and 11:30") == 12


def test_letters_that_the_type_does_not_have_are_told(
    quay: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Common practice of type: a letter without a shape is a box. It is never just not there."""
    text_of = (quay / "all.scene").read_text(encoding="utf-8")
    (quay / "all.scene").write_text(text_of.replace("it grows dark", "Dämmerung, ÆØÅ, 日暮れ"), encoding="utf-8")
    file = tmp_path / "sheet.pdf"
    assert main(["day-sheet", str(quay), "--pdf", str(file), "--date", "2026-11-28"]) == 0
    assert "does not have 日暮れ: boxes stand there" in capsys.readouterr().err
    assert "Dämmerung, ÆØÅ, □□□" in read_page(file)


def busy(folder: Path, scenes: int) -> Path:
    """Very many scenes with long names, each very often."""
    folder.mkdir()
    named = [f"the-rather-long-winded-scene-number-{number}-of-the-day" for number in range(scenes)]
    outputs = "".join(f"  lamp-{number}: {{kind: lamp}}\n" for number in range(scenes))
    buttons = "".join(f"  button-{number}: {{}}\n" for number in range(scenes))
    (folder / "layout.yaml").write_text(f"layout: Busy\noutputs:\n{outputs}buttons:\n{buttons}", encoding="utf-8")
    bodies = "".join(
        f"scene {name}\n    starts on button button-{number}\n    turn on lamp-{number}\n    wait 2 s\n"
        f"    turn off lamp-{number}\n"
        for number, name in enumerate(named)
    )
    due = "".join(f"    every 45 min between 10:00 and 16:30 run {name}\n" for name in named)
    day = f"day saturday\n    opens at 10:00\n    closes at 17:00\n{due}"
    (folder / "all.scene").write_text(bodies + day, encoding="utf-8")
    return folder


def test_a_busy_day_is_gathered_and_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, file = busy(tmp_path / "busy", 60), tmp_path / "sheet.pdf"
    assert main(["day-sheet", str(folder), "--pdf", str(file)]) == 0
    assert "some of it is gathered and counted" in capsys.readouterr().err
    words = read_page(file)
    times = len(re.findall("every 45 min between 10:00 and 16:30: 9 times", words))
    (more,) = re.findall(r"and (\d+) more see the sheet on the screen Scenes", words)
    assert times + int(more) == 60
    scenes = len(re.findall(r"first lamp-\d+ comes on", words))
    (others,) = re.findall(r"(\d+) more the-rather", words)
    assert scenes + int(others) == 60
    (unnamed,) = re.findall(r"and (\d+) more see the sheet on the screen Buttons", words)
    assert int(unnamed) + 8 == int(others)  # so many are at least named
    buttons = len(re.findall(r"button-\d+ starts", words))
    (rest,) = re.findall(r"(\d+) more see the sheet on the screen What to do if", words)
    assert buttons + int(rest) == 60
    whole = said(folder, capsys)
    assert "more" not in whole.partition("WHAT TO DO IF")[0]  # on the screen all of it
    assert len(re.findall(r"first lamp-\d+ comes", whole)) == 60
    assert max(map(len, whole.splitlines())) <= 100


def test_the_larger_type_is_taken_where_it_fits() -> None:
    def sheet(rows: int) -> Sheet:
        return Sheet("T", "u", (Part("P", ("a",), (("x",),) * rows, (100,)),), "f", False)

    points = [page([sheet(rows)], datetime(2026, 11, 28).date()).points for rows in (5, 56, 63, 70)]
    assert points[0] == 10.0
    assert points == sorted(points, reverse=True)
    assert points[-1] < points[0]
    made = page([sheet(500), sheet(100), sheet(5)], datetime(2026, 11, 28).date())
    assert made.sheet == sheet(5)  # what fits, of what is given


# --- what can be asked wrongly -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        ([], 2, "Which layout? Write its folder: wayside day-sheet FOLDER"),
        (["quay", "--day", "sunday"], 2, "There is no day sunday"),
        (["quay", "--date", "28 November"], 2, "--date takes a date such as"),
        (["quay", "--pdf", "sheet.png"], 2, "--pdf writes a file whose name ends in .pdf"),
        (["quay", "--markdown", "sheet.pdf"], 2, "--markdown writes a file whose name ends in .md"),
        (["quay", "--pdf", "no/such/sheet.pdf"], 2, "cannot be written"),
        (["quay", "--pdf", "a\0b.pdf"], 2, "it is no name of a file"),
        (["quay", "--trains", "1s"], 2, "--trains takes 10 s or more"),
        (["quay", "--trains", "1min"], 2, "--trains needs tracks"),
        (["two"], 2, "Which day? Write --day and one of saturday and sunday."),
        (["none"], 2, "The scene files hold no show day"),
        (["wrong"], 1, "no sheet was made"),
    ],
)
def test_what_can_be_asked_wrongly(
    words: list[str],
    status: int,
    said: str,
    quay: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    day = SCENES.partition("day saturday")
    for name, scenes in (
        ("two", f"{SCENES}\nday sunday\n    opens at 11:00\n"),
        ("none", day[0]),
        ("wrong", SCENES.replace("turn on amber", "turn on ambre")),
    ):
        (tmp_path / name).mkdir()
        (tmp_path / name / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
        (tmp_path / name / "all.scene").write_text(scenes, encoding="utf-8")
    assert main(["day-sheet", *words]) == status
    heard = capsys.readouterr()
    assert said in heard.out + heard.err
    assert "Traceback" not in heard.err


def test_a_broken_rule_is_told_on_the_sheet(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with (quay / "all.scene").open("a", encoding="utf-8") as file:
        file.write("\nrule never-dark\n    never blue is on\n")
    assert main(["day-sheet", str(quay), "--date", "2026-11-28"]) == 1
    assert "Rules broken in it: never-dark." in capsys.readouterr().out


def test_a_day_without_an_end_and_one_over_midnight(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text_of = (quay / "all.scene").read_text(encoding="utf-8")
    (quay / "all.scene").write_text(text_of.replace("    closes at 12:00\n", ""), encoding="utf-8")
    assert "nothing in the files closes it" in said(quay, capsys)
    for was, now in (
        ("opens at 10:00", "opens at 22:00"),
        ("closes at 12:00", "closes at 1:00"),
        ("from 10:50 to 11:00", "from 23:50 to 0:10"),
        ("between 10:10 and 11:30", "between 23:00 and 0:30"),
    ):
        text_of = text_of.replace(was, now)
    (quay / "all.scene").write_text(text_of, encoding="utf-8")
    rows = [row[0] for row in rows_of(said(quay, capsys), "What begins when") if row[1] == "ferry"]
    assert rows[0] == "23:00"
    assert rows[-1] == "00:24"


def test_names_stay_whole_where_there_is_room() -> None:
    cell = "near-barrier and far-barrier and up-signal and down-signal"
    lines = list(text(Sheet("T", "u", (Part("P", (), ((cell, cell),), (50, 50)),), "f", False), 60))
    assert not [line for line in lines if line.rstrip().endswith("-")]


def test_the_text_of_a_narrow_screen_keeps_every_word() -> None:
    words = "a-very-long-name-of-a-scene-that-nobody-would-type and more of it"
    part = Part("P", ("one", "two", "three"), ((words, words, words),), (20, 40, 40))
    lines = list(text(Sheet("T", "u", (part,), "f", False), 60))
    assert max(map(len, lines)) <= 60
    joined = "".join("".join(lines).split())
    for piece in ("scene-", "nobody-", "type", "it"):
        assert joined.count(piece) >= 3
