"""`wayside survey` as a person meets it: on the screen, in files, on paper, and all that can be asked wrongly."""

from __future__ import annotations

import csv
import re
from io import StringIO
from pathlib import Path

import pypdf
import pytest

from wayside.cli import main
from wayside.project import Project, load
from wayside.survey.faces import CSV_HEADINGS, as_csv, as_markdown, as_text, table_lines
from wayside.survey.pages import pages
from wayside.survey.rows import Survey, survey
from wayside.survey.sections import Section, Table

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
A4_PT = (595.28, 841.89)  # 210 x 297 mm, ISO 216

LAYOUT = """\
layout: Größe Łódź | quay
links: {main: {kind: serial text, dialect: late}}
boards: {box: {link: main, first address: 61, ports: 4, price: 10 EUR}}
outputs:
  amber: {kind: lamp, board: box, port: 0, price: 1.25 EUR, current: 10 mA}
  green: {kind: lamp, board: box, port: 3, price: 2.50 GBP}
  arm: {kind: servo, link: main, pin: 5, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s, rest: clear,
        safe: danger}
  up-signal: {kind: signal, aspects: {danger: {arm: danger}, clear: {arm: clear}}, rest: clear, safe: danger}
  spare: {kind: lamp}
detectors: {lane: {kind: section, link: main, pin: 60}}
buttons: {go: {link: main, pin: 61}}
"""
SCENE = "scene one\n    turn on amber\n    set up-signal to danger\n"


def project_in(folder: Path, layout: str = LAYOUT, scene: str = SCENE) -> Project:
    (folder / "layout.yaml").write_text(layout, encoding="utf-8")
    (folder / "all.scene").write_text(scene, encoding="utf-8")
    return load([folder])


def surveyed(project: Project) -> Survey:
    return survey(project.layout, None if project.errors else project.program, project.problems)


# --- rows ----------------------------------------------------------------------------------------------------------

# Accessory number; board and port with boards from 1 (RCN style) and from 0: rows of the numbering table, which follows
# NMRA S-9.2.1 (2012) D and the "offset by four" of common practice.
SEATS = [(1, "1,0", "0,0"), (4, "1,3", "0,3"), (5, "2,0", "1,0"), (61, "16,0", "15,0"), (62, "16,1", "15,1")]
SEATS += [(64, "16,3", "15,3"), (253, "64,0", "63,0"), (2040, "510,3", "509,3")]


@pytest.mark.parametrize(("number", "from_one", "from_nought"), SEATS)
def test_both_numberings(tmp_path: Path, number: int, from_one: str, from_nought: str) -> None:
    output = f"outputs: {{a: {{kind: lamp, link: main, address: {number}}}}}\n"
    layout = f"layout: Quay\nlinks: {{main: {{kind: serial text}}}}\n{output}"
    (box,) = surveyed(project_in(tmp_path, layout, "")).boxes
    (row,) = box.rows
    assert (row.number, row.from_one, row.from_nought) == (number, from_one, from_nought)


def test_port_by_port(tmp_path: Path) -> None:
    found = surveyed(project_in(tmp_path))
    box, own = found.boxes
    assert [(row.port, row.number, row.name) for row in box.rows] == [
        (0, 61, "amber"),
        (1, 62, ""),
        (2, 63, ""),
        (3, 64, "green"),
    ]
    assert (box.used, box.free) == (2, (1, 2))
    assert [(row.number, row.name, row.kind) for row in own.rows] == [
        (5, "arm", "servo"),
        (60, "lane", "section detector"),
        (61, "go", "button"),
    ]
    arm = own.rows[0]
    assert (arm.ends, arm.rest, arm.safe) == ("danger 0 deg, clear 45 deg; no limits stated", "clear", "danger")
    assert (arm.ua, arm.usual, arm.start_ua) == (170_000, True, 650_000)
    assert [row.name for row in found.unwired] == ["spare"]
    assert found.by_parts == (("up-signal", ("arm",)),)


def test_free_ports_are_named_in_ranges() -> None:
    project = load([ROOT / "examples" / "marram-point"])
    (section, *_) = pages(project.layout, surveyed(project), [], [])
    assert "6 of 16 ports used, free: 6 to 15." in section.lines[1]


def test_what_no_scene_uses(tmp_path: Path) -> None:
    assert surveyed(project_in(tmp_path)).unused == ("green", "spare")
    used = SCENE + "    turn on green and spare\n"
    assert surveyed(project_in(tmp_path, LAYOUT, used)).unused == ()


def test_a_lamp_that_follows_the_daylight_needs_no_scene(tmp_path: Path) -> None:
    sky = "  sky: {kind: lamp, dimmable: yes, follows daylight: 1 lux to 1000 lux}\n  spare:"
    assert surveyed(project_in(tmp_path, LAYOUT.replace("  spare:", sky))).unused == ("green", "spare")


def test_a_lamp_that_shows_readiness_is_used() -> None:
    assert surveyed(load([QUAY])).unused == ()


def test_names_that_nothing_has(tmp_path: Path) -> None:
    scene = "scene one\n    turn on ambre\n    wait until lan is occupied\n    turn on ambre\n"
    found = surveyed(project_in(tmp_path, LAYOUT, scene))
    assert [(name, place.line) for name, place in found.missing] == [("ambre", 2), ("lan", 3)]
    assert found.unused == ()  # with errors nobody knows


def test_what_is_doubled(tmp_path: Path) -> None:
    layout = LAYOUT.replace("board: box, port: 3", "link: main, address: 61").replace("pin: 61", "pin: 60")
    found = surveyed(project_in(tmp_path, layout))
    assert found.doubled == (("address 61 of main", ("amber", "green")), ("pin 60 of main", ("lane", "go")))


def test_servos_and_dimmed_lamps_on_one_board(tmp_path: Path) -> None:
    layout = """\
layout: Quay
links: {main: {kind: serial text, dialect: late}}
boards: {box: {kind: pins, link: main, first pin: 0, ports: 16}}
outputs:
  arm: {kind: servo, board: box, port: 0, positions: {a: 0 deg, b: 45 deg}, full travel: 1 s}
  lamp: {kind: lamp, board: box, port: 1, dimmable: yes}
"""
    assert surveyed(project_in(tmp_path, layout, "")).mixed == ("box",)
    assert surveyed(project_in(tmp_path, layout.replace(", dimmable: yes", ""), "")).mixed == ()


def test_costs_by_connection_and_currency(tmp_path: Path) -> None:
    found = surveyed(project_in(tmp_path))
    rows = [(one.what, one.currency, one.amount, one.connections) for one in found.costs]
    assert [(what, currency, str(float(amount)), number) for what, currency, amount, number in rows] == [
        ("box", "EUR", "11.25", 2),
        ("box", "GBP", "2.5", 2),
    ]


# --- faces ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [72, 80, 100])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    project = load([QUAY])
    sections = pages(project.layout, surveyed(project), [], ["one-train"])
    lines = list(as_text("Pellbrook Quay", sections, width))
    assert max(map(len, lines)) <= width
    names = [one.name for one in project.layout.outputs.values() if one.wiring.board or one.wiring.link]
    assert len(names) > 20
    assert width == 72 or [name for name in names if not any(name in line for line in lines)] == []


def test_a_cell_goes_on_below_itself() -> None:
    table = Table(("name", "between"), (("near-barrier", "raised 85 deg, lowered 0 deg"), ("b", "off")), frozenset())
    assert list(table_lines(table, 30)) == [
        "name          between",
        "near-barrier  raised 85 deg,",
        "              lowered 0 deg",
        "b             off",
    ]


def test_a_number_is_not_parted_from_its_unit() -> None:
    table = Table(("", ""), (("a wire", "it carries 850 mA and no more"),))
    lines = list(table_lines(table, 24))
    assert any("850 mA" in line for line in lines)
    assert not any(line.endswith("850") for line in lines)


def test_csv_is_read_back(tmp_path: Path) -> None:
    project = project_in(tmp_path)
    rows = list(csv.DictReader(StringIO(as_csv(surveyed(project)))))
    assert tuple(rows[0]) == CSV_HEADINGS
    assert [row["name"] for row in rows] == ["amber", "", "", "green", "arm", "lane", "go", "spare"]
    assert (rows[0]["board"], rows[0]["port"], rows[0]["address"], rows[0]["pin"]) == ("box", "0", "61", "")
    assert (rows[0]["boards from 1"], rows[0]["boards from 0"], rows[0]["current mA"]) == ("16,0", "15,0", "10")
    assert (rows[4]["pin"], rows[4]["address"], rows[4]["starting mA"], rows[4]["usual current"]) == (
        "5",
        "",
        "650",
        "yes",
    )


def test_markdown_marks_of_a_persons_text_are_not_obeyed() -> None:
    lines = list(as_markdown("a | *b*", [Section("t", ("<x>",), Table(("h",), (("1 | 2",),)))]))
    assert lines[0] == r"# a \| \*b\*"
    assert r"- \<x\>" in lines
    assert r"| 1 \| 2 |" in lines


# --- the command ---------------------------------------------------------------------------------------------------


def test_the_screen_of_the_example(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", str(QUAY)]) == 0
    said = capsys.readouterr().out
    assert "crossing-board, on main" in said
    assert re.search(r"^ +0 +41 +11,0 +10,0 +amber +lamp", said, re.M)
    assert "650 mA each" in said  # the barriers start together
    assert "It carries all that, even at once." in said
    assert "qualified" in said
    assert "nothing is unused" in said


def test_the_example_in_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    chart, sheet = tmp_path / "wiring.pdf", tmp_path / "sheet.pdf"
    table, text = tmp_path / "wiring.csv", tmp_path / "survey.md"
    options = ["--chart", str(chart), "--organiser", str(sheet), "--csv", str(table), "--markdown", str(text)]
    assert main(["survey", str(QUAY), *options]) == 0
    assert capsys.readouterr().out.count("in ") >= 4
    project = load([QUAY])
    paper = pypdf.PdfReader(chart)
    sizes = [sorted(map(float, (page.mediabox.width, page.mediabox.height))) for page in paper.pages]
    assert all(size == pytest.approx(A4_PT, abs=0.1) for size in sizes)
    words = "\n".join(page.extract_text() for page in paper.pages)
    labels = "\n".join(page.extract_text() for page in paper.pages if "Cut along" in page.extract_text())
    wired = [one.name for one in project.layout.outputs.values() if one.wiring != type(one.wiring)()]
    for name in (*wired, *project.layout.detectors, *project.layout.buttons, *project.layout.supplies):
        assert name in labels
    assert "11,0 from 1, 10,0 from 0" in labels
    assert "worst moment" in words
    assert "EUR" not in words  # what it cost is nobody's business under a baseboard
    (page,) = pypdf.PdfReader(sheet).pages
    said = page.extract_text()
    for part in ("1 mains lead", "36 W", "80 a minute each", "crane", "An operator and a steward, in turn", "2 A"):
        assert part in said
    assert table.read_text(encoding="utf-8") == as_csv(surveyed(project))
    assert text.read_text(encoding="utf-8").startswith("# Pellbrook Quay: what is wired where\n")


def test_papers_of_a_layout_in_any_language(tmp_path: Path) -> None:
    project_in(tmp_path)
    chart = tmp_path / "chart.pdf"
    assert main(["survey", str(tmp_path), "--chart", str(chart)]) == 0
    assert "Größe Łódź" in pypdf.PdfReader(chart).pages[0].extract_text()


def test_letters_that_the_type_lacks_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    who = "exhibition: {stays with it: 港の人}\n"
    project_in(tmp_path, LAYOUT.replace("Größe", "港") + who)
    for option in ("--chart", "--organiser"):
        assert main(["survey", str(tmp_path), option, str(tmp_path / "it.pdf")]) == 0
        assert "港" in capsys.readouterr().err
        assert "\u25a1 Łódź" in pypdf.PdfReader(tmp_path / "it.pdf").pages[0].extract_text()


def test_equal_surveys_make_equal_papers(tmp_path: Path) -> None:
    one, other = tmp_path / "one.pdf", tmp_path / "other.pdf"
    for path in (one, other):
        assert main(["survey", str(QUAY), "--chart", str(path)]) == 0
    assert one.read_bytes() == other.read_bytes()


def test_a_large_layout_goes_over_pages(tmp_path: Path) -> None:
    rows = "".join(f"  lamp-{number}: {{kind: lamp, board: box, port: {number}}}\n" for number in range(120))
    layout = (
        "layout: Quay\nlinks: {main: {kind: serial text}}\nboards: {box: {link: main, first address: 1, ports: 128}}\n"
    )
    project_in(tmp_path, f"{layout}outputs:\n{rows}", "")
    chart = tmp_path / "chart.pdf"
    assert main(["survey", str(tmp_path), "--chart", str(chart)]) == 0
    texts = [page.extract_text() for page in pypdf.PdfReader(chart).pages]
    tables = [text for text in texts if "address" in text and "lamp-" in text and "Cut along" not in text]
    assert len(tables) > 2
    assert all("from 1" in text for text in tables)  # the headings stand on every page
    labels = [text for text in texts if "Cut along" in text]
    assert len(labels) > 2
    assert sum(len(re.findall(r"^lamp-\d+$", text, re.M)) for text in labels) == 120


def test_the_organisers_sheet_without_supplies(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    project_in(tmp_path)
    assert main(["survey", str(tmp_path), "--organiser"]) == 0
    said = capsys.readouterr().out
    assert "states no supply" in said
    assert "1 servo: arm." in said
    assert "Nothing flashes" in said
    assert said.count("....") > 5


def test_volts_and_amperes_of_alternating_current(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    supply = "supplies: {old: {voltage: 16 V ac, gives: 2 A, powers: [amber]}}\n"
    project_in(tmp_path, LAYOUT + supply)
    assert main(["survey", str(tmp_path), "--organiser"]) == 0
    assert "2 A, 32 VA" in capsys.readouterr().out


def test_a_show_day_is_played_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", str(QUAY), "--day", "saturday", "--trains", "30min"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "a-fast-train-waits and saturday" in said
    assert re.search(r"at [0-9:]{8} hall time of saturday: ", said)


def test_files_with_errors_are_surveyed_all_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    project_in(tmp_path, LAYOUT.replace("port: 3", "port: 0"), "scene one\n    turn on ambre\n")
    assert main(["survey", str(tmp_path)]) == 1
    told = capsys.readouterr()
    said = " ".join(told.out.split())
    assert "address 61 of main: amber and green are all there" in said
    assert "The files have errors: more cannot be said before they are put right." in said
    assert "Nothing is doubled" not in said
    assert "wayside check" in told.err
    project_in(tmp_path, LAYOUT, "scene one\n    turn on ambre\n")
    assert main(["survey", str(tmp_path)]) == 1
    assert "has the name ambre" in " ".join(capsys.readouterr().out.split())


def test_where_nothing_is_there_nothing_is_called_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "layout.yaml").write_text("layout: Nothing\n", encoding="utf-8")
    assert main(["survey", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "names no output, no detector and no button yet" in " ".join(said.split())
    assert "Nothing is doubled" not in said


def test_the_organisers_sheet_is_no_office_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "sheet.docx"
    assert main(["survey", str(QUAY), "--organiser", str(sheet)]) == 2
    assert "--organiser writes a .pdf, .txt or .md file" in capsys.readouterr().err
    assert not sheet.exists()
    assert main(["survey", str(QUAY), "--organiser", str(tmp_path / "sheet.txt")]) == 0


def test_what_a_supply_cannot_carry_is_a_problem(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    supply = "supplies: {five: {voltage: 5 V dc, gives: 500 mA, powers: [arm]}}\n"
    rehearsal = "\nrehearsal r\n    plays one\n    lasts 5 s\n"
    project_in(tmp_path, LAYOUT + supply, SCENE + rehearsal)
    assert main(["survey", str(tmp_path)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "`five` gives 500 mA, and 650 mA is drawn at 0 s of r: arm starts (650 mA)" in said
    project_in(tmp_path, LAYOUT + supply, SCENE)
    assert main(["survey", str(tmp_path)]) == 0  # too much all at once, but not as played


ANSWERS = [
    (["--resistor", "12 V, 3.2 V, 10 mA"], ["880 ohm", "E12  1k", "8.8 mA", "77.4 mW", "E24  910R"]),
    (["--resistor", "12 V dc; 3 x 3,2 V; 10 mA"], ["240 ohm", "E12  270R", "E24  240R"]),
    (["--resistor", "5V, 2V, 10mA"], ["300 ohm", "E12  330R", "E24  300R"]),
    (["--drop", "5 m of 0.5 mm2, 1 A"], ["390 mV", "IEC 60228", "3 A"]),
    (["--drop", "5 m of 1,5 mm2, 1 A, 12 V dc"], ["133 mV of 12 V"]),
    (["--fuse", "1.2 A"], ["1.6 A", "75 %", "makers' guides"]),
]


@pytest.mark.parametrize(("words", "parts"), ANSWERS, ids=[words[1] for words, _ in ANSWERS])
def test_questions_without_a_layout(words: list[str], parts: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", *words]) == 0
    said = capsys.readouterr().out
    assert [part for part in parts if part not in said] == []


REFUSED = [
    (["--resistor", "fred"], "such as"),
    (["--resistor", "12 V, 3.2 V"], "such as"),
    (["--resistor", "12, 3.2, 10"], "such as"),
    (["--resistor", "3 V, 3.2 V, 10 mA"], "nothing is left"),
    (["--resistor", "12 V, 3.2 V, 0 mA"], "above nothing"),
    (["--resistor", "12 V, 3.2 V, 900 A"], "more than any LED"),
    (["--resistor", "16 V ac, 2 V, 10 mA"], "rectifier"),
    (["--resistor", "230 V, 2 V, 10 mA"], "qualified person"),
    (["--drop", "5 m"], "such as"),
    (["--drop", "0 m of 1 mm2, 1 A"], "up to"),
    (["--drop", "5 m of 1 mm2, 1 A, 12 apples"], "such as"),
    (["--fuse", "a lot"], "such as"),
    (["--fuse", "0 A"], "more than nothing"),
    (["--fuse", "80 A"], "at most 7.5 A"),
    (["--fuse", "1 A", "--drop", "5 m of 1 mm2, 1 A"], "one at a time"),
    ([str(QUAY), "--fuse", "1 A"], "needs no layout"),
    (["--csv", str(QUAY)], "Put the folder first"),
    ([str(QUAY), "--csv", "--markdown"], "Only one of them"),
    ([str(QUAY), "--csv", "x", "--markdown", "x"], "same file"),
    ([str(QUAY), "--chart", "x.svg"], ".pdf"),
    ([str(QUAY), "--chart", "/nowhere/x.pdf"], "cannot be written"),
    ([str(QUAY), "--csv", "/nowhere/x.csv"], "cannot be written"),
    ([str(QUAY), "--csv", ""], "is empty"),
    ([str(QUAY), "--day", "sunday"], "Did you mean saturday"),
    ([str(QUAY), "--trains", "5min"], "--day"),
    ([], "Write its folder"),
]


@pytest.mark.parametrize(("words", "said"), REFUSED, ids=[" ".join(words)[-30:] for words, _ in REFUSED])
def test_what_cannot_be_had(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.out == ""
