"""`wayside compare` as a person meets it: what is printed, exit statuses, and every input that it can be given."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import pytest

from wayside.cli import main
from wayside.practice import comparing
from wayside.practice import words as practice_words
from wayside.practice.names import shipped
from wayside.practice.table import Limit

ROOT = Path(__file__).parents[2]
MINE = """\
table: The Quay's own
covers: crossings on the quay
rows:
  Q1:
    quantity: a barrier's descent
    measure: descent
    at least: 8 s
    source: the quay's book
    status: read
"""


class Said(NamedTuple):
    status: int
    out: str
    err: str


Compare = Callable[..., Said]


@pytest.fixture
def quay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(ROOT / "examples/pellbrook-quay", tmp_path / "quay")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "quay"


@pytest.fixture
def compare(quay: Path, capsys: pytest.CaptureFixture[str]) -> Compare:
    def run(*words: str) -> Said:
        status = main(["compare", *words])
        return Said(status, *capsys.readouterr())

    return run


def change(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def rows(text: str) -> dict[str, str]:
    """Each row's first line, by its name."""
    return {line.split()[0]: line for line in text.splitlines() if re.match(r"[A-Z]+[0-9]+[a-z]?  ", line)}


# --- what is said --------------------------------------------------------------------------------------------------


def test_the_table_that_the_layout_names_is_compared(compare: Compare) -> None:
    said = compare("quay")
    assert said.status == 0
    assert said.err == ""
    assert "saltmarsh-lane-crossing against northern-ireland: Northern Ireland, full barriers" in said.out
    assert rows(said.out)["K3"] == (
        "K3    kept     4 s to 6 s         5 s          1   red before an entrance barrier starts down"
    )
    assert "15 rows: 15 kept." in said.out
    assert "NI SR 2023/9 Sch. 2 par. 11(c), read" in said.out
    assert "   1  rehearsal one-train\n" in said.out
    assert "Left out: rehearsal stopped-half-way, because a hand starts or stops a scene" in said.out


@pytest.mark.parametrize("words", [["quay"], ["quay", "--table", "united-states"], ["quay", "--table", "austria"]])
def test_it_fits_a_hundred_columns_and_says_what_a_model_is(compare: Compare, words: list[str]) -> None:
    said = compare(*words)
    assert max(map(len, said.out.splitlines())) <= 100
    assert "A model's crossing is scenery. It is never a design for a real crossing" in said.out
    assert "licensed\npractice" in said.out or "licensed practice" in said.out


def test_a_read_row_that_is_not_kept_fails_and_says_where(compare: Compare) -> None:
    said = compare("quay", "--table", "united-states")
    assert said.status == 1
    assert re.match(r"U4 +not kept +at least 5 s +2 s +1 +arms horizontal", rows(said.out)["U4"])
    assert "counted at 24 s" in said.out
    assert re.match(r"U12a +not kept +at once +3 s +1", rows(said.out)["U12a"])
    assert re.match(r"U23a +advice +10 s to 15 s +7 s", rows(said.out)["U23a"])
    assert "AREMA manual, from memory" in said.out
    assert re.match(r"U15 +not there +always  +the arm light", rows(said.out)["U15"])
    assert "it takes three boom lamps or more" in said.out
    assert "14 rows: 8 kept, 4 not kept, 1 advice, 1 not there." in said.out
    assert "advice: not kept, but the source itself was not read, so nothing fails by it." in said.out


def test_rows_that_were_not_read_advise_and_never_fail(compare: Compare, quay: Path) -> None:
    said = compare("quay", "--table", "netherlands", "--table", "uk-half-barriers")
    assert said.status == 0
    assert said.out.count("  advice ") == 2
    assert "as reported" in said.out


def test_a_changed_number_is_noticed_with_the_passage_that_showed_it(compare: Compare, quay: Path) -> None:
    """6.1 s of red before the barriers: more than the 6 s of SR 2023/9 Sch. 2 par. 11(c)."""
    change(quay / "saltmarsh-lane.scene", "wait 5 s\n    turn on boom-lamps", "wait 6100 ms\n    turn on boom-lamps")
    said = compare("quay")
    assert said.status == 1
    assert re.match(r"K3 +not kept +4 s to 6 s +6\.1 s +1 ", rows(said.out)["K3"])


def test_what_only_a_late_second_train_shows_is_found(compare: Compare, quay: Path) -> None:
    """A rise that goes on although a train is seen: no single train shows it, and here no rehearsal does."""
    file = quay / "saltmarsh-lane.scene"
    text = file.read_text(encoding="utf-8")
    file.write_text(text[: text.index("rehearsal one-train")], encoding="utf-8")
    (quay / "signals.scene").unlink()
    change(file, "        as long as line-clear\n", "        in order\n")
    said = compare("quay", "--table", "united-states")
    assert re.match(r"U13a +not kept +always +not always +\d+ ", rows(said.out)["U13a"])
    number = rows(said.out)["U13a"].split("not always")[1].split()[0]
    assert re.search(
        rf"^ +{number}  a train along up-line, one along down-line seen as the barriers rise$", said.out, re.M
    )
    assert "a barrier rises with a train detected" in " ".join(said.out.split())


def test_without_any_table_named_all_are_told_in_short_and_nothing_fails(compare: Compare, quay: Path) -> None:
    change(quay / "layout.yaml", "    practice: northern-ireland\n", "")
    said = compare("quay")
    assert said.status == 0
    for name in shipped():
        assert re.search(rf"^{name} +\d+ +\d+ +\d+ +\d+$", said.out, re.M)
    assert re.search(r"^united-states +8 +4 +1 +1$", said.out, re.M)
    assert "Nothing fails, because no table was asked for." in said.out


def test_a_name_on_the_command_line_goes_before_the_layouts(compare: Compare) -> None:
    said = compare("quay", "--table", "vienna-convention")
    assert "northern-ireland" not in said.out
    assert "1 row: 1 kept." in said.out


def test_several_crossings_are_compared_each_with_its_own(compare: Compare, quay: Path) -> None:
    layout = quay / "layout.yaml"
    layout.write_text(
        layout.read_text(encoding="utf-8")
        + "  footpath:\n    reds: [quay-lamp-1]\n    practice: [vienna-convention, germany]\n",
        encoding="utf-8",
    )
    said = compare("quay")
    assert said.status == 1
    heads = re.findall(r"^(\S+) against (\S+):", said.out, re.M)
    assert heads == [
        ("saltmarsh-lane-crossing", "northern-ireland"),
        ("footpath", "vienna-convention"),
        ("footpath", "germany"),
    ]
    assert re.match(r"V1 +not kept +always +never ", rows(said.out)["V1"])
    assert "it never came about in anything that was played" in said.out
    assert re.match(r"G1 +not there", rows(said.out)["G1"])
    assert "not there: the layout names no amber" in said.out
    assert "Nothing could be played" in said.out


def test_trains_that_never_reach_the_road_are_told(compare: Compare, quay: Path) -> None:
    """The signals stay at danger, and trains obey them: times to a train are asked for and never come about."""
    change(quay / "saltmarsh-lane.scene", "        set guards to clear\n", "")
    said = compare("quay")
    assert said.status == 1
    assert "  1  a train along up-line at 150 mm/s; no train reached the road\n" in said.out
    assert "Left out: rehearsal one-train, because no train of it reaches the road." in said.out
    assert re.match(r"K9 +not kept +always +never ", rows(said.out)["K9"])


# --- tables --------------------------------------------------------------------------------------------------------


def test_a_table_of_ones_own_by_its_file(compare: Compare, quay: Path) -> None:
    (quay / "mine.yaml").write_text(MINE)
    said = compare("quay", "--table", "quay/mine.yaml")
    assert said.status == 1
    assert re.match(r"Q1 +not kept +at least 8 s +7 s +1 +a barrier's descent", rows(said.out)["Q1"])
    (quay / "mine.yaml").write_text(MINE.replace("8 s", "7 s"))
    assert compare("quay", "--table", "quay/mine.yaml").status == 0


def test_a_table_of_ones_own_that_the_layout_names_stands_beside_it(compare: Compare, quay: Path) -> None:
    (quay / "mine.yaml").write_text(MINE)
    change(quay / "layout.yaml", "practice: northern-ireland", "practice: mine.yaml")
    said = compare("quay")
    assert said.status == 1
    assert "quay/mine.yaml: The Quay's own" in said.out.replace("\n", " ").replace("\\", "/")


def test_a_wrong_table_is_told_as_other_files_are(compare: Compare, quay: Path) -> None:
    (quay / "mine.yaml").write_text(
        MINE.replace("descent\n", "desent\n", 2).replace("measure: descent", "measure: desent")
    )
    said = compare("quay", "--table", "quay/mine.yaml")
    assert said.status == 2
    assert said.out == ""
    assert "quay/mine.yaml:6:14: error: There is no measure `desent`." in said.err.replace("\\", "/")
    assert "measure: desent\n" in said.err
    assert "^^^^^^" in said.err
    assert "Did you mean `descent`?" in said.err
    assert "nothing was compared" in said.err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["quay", "--table", "northern-irland"], "Did you mean northern-ireland?"),
        (["quay", "--table", "missing.yaml"], "There is no practice table missing.yaml."),
        (["quay", "--table", ""], "The name of the practice table is missing."),
        (["quay", "--table", "austria", "--table", "austria"], "--table austria is given twice."),
        (["quay", *[word for n in range(21) for word in ("--table", f"t{n}")]], "At most 20 tables"),
        (["quay", "--table"], "--table needs something after it."),
        (["quay", "--tabel", "austria"], "Did you mean --table?"),
        (["quay", "--json", ""], "--json needs the name of a file after it"),
        (["quay", "--json", "no/where.json"], "no/where.json cannot be written"),
        (["quay", "--tables"], "--tables lists and does nothing else"),
        (["--measures", "--table", "austria"], "--measures lists and does nothing else"),
        (["--tables", "--json", ""], "--tables lists and does nothing else"),
        (["--measures", "--tables"], "--tables lists and does nothing else"),
        ([], "Which layout? Write its folder: wayside compare FOLDER"),
        (["nowhere"], "There is no file or folder nowhere."),
    ],
)
def test_wrong_usage(compare: Compare, words: list[str], sentence: str) -> None:
    said = compare(*words)
    assert said.status == 2
    assert sentence in said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize(
    ("practice", "words"),
    [
        ("northern-irland", "There is no practice table `northern-irland`"),
        ("[austria, austria]", "`austria` stands in practice twice"),
        ("{a: b}", "practice"),
        ("", "practice"),
    ],
)
def test_a_wrong_practice_in_the_layout_is_an_error_of_the_layout(
    compare: Compare, quay: Path, practice: str, words: str
) -> None:
    change(quay / "layout.yaml", "practice: northern-ireland", f"practice: {practice}")
    said = compare("quay")
    assert said.status == 1
    (line,) = [line for line in said.out.splitlines() if "error" in line and ": error: " in line]
    assert re.match(r"quay.layout\.yaml:\d+:\d+: error: ", line)
    assert words in line
    assert "nothing was compared" in said.out


def test_a_missing_file_that_the_layout_names(compare: Compare, quay: Path) -> None:
    change(quay / "layout.yaml", "practice: northern-ireland", "practice: mine.yaml")
    said = compare("quay")
    assert said.status == 2
    said_of = "the practice of saltmarsh-lane-crossing: There is no practice table quay/mine.yaml"
    assert re.search(rf"quay/layout.yaml:\d+:3: {said_of}", said.err.replace("\\", "/"))


def test_the_tables_are_listed(compare: Compare) -> None:
    said = compare("--tables")
    assert said.status == 0
    assert [line.split()[0] for line in said.out.splitlines()[: len(shipped())]] == list(shipped())
    assert "13 read, 2 from memory" in said.out
    assert max(map(len, said.out.splitlines())) <= 100


def test_the_measures_are_listed(compare: Compare) -> None:
    said = compare("--measures")
    assert said.status == 0
    assert "  descent                       any barrier's whole way down\n" in said.out
    assert max(map(len, said.out.splitlines())) <= 100


# --- layouts that lack something -----------------------------------------------------------------------------------


def test_a_layout_without_a_crossing(compare: Compare, quay: Path) -> None:
    layout = quay / "layout.yaml"
    layout.write_text(layout.read_text(encoding="utf-8").split("crossing:\n  saltmarsh")[0], encoding="utf-8")
    said = compare("quay")
    assert said.status == 1
    assert "Pellbrook Quay has no crossing to compare. Write under `crossing:` in layout.yaml" in said.out


def test_a_layout_without_tracks_is_worked_by_hand(compare: Compare, tmp_path: Path, quay: Path) -> None:
    text = (quay / "layout.yaml").read_text(encoding="utf-8")
    before, rest = text.split("tracks:\n  up-line")
    (quay / "layout.yaml").write_text(before + "crossing:\n" + rest.split("\ncrossing:\n")[1], encoding="utf-8")
    scene = (quay / "saltmarsh-lane.scene").read_text(encoding="utf-8").split("rule reds-first")[0]
    (quay / "saltmarsh-lane.scene").write_text(scene, encoding="utf-8")
    (quay / "signals.scene").unlink()
    said = compare("quay", "--table", "united-states", "--table", "northern-ireland")
    assert "up-approach worked by hand" in said.out
    assert re.match(r"U6 +not there +at least 20 s ", rows(said.out)["U6"])
    assert "no track lies on the road" in said.out
    assert re.match(r"K4 +kept +6 s to 10 s +7 s +1 ", rows(said.out)["K4"])


def test_a_crossing_without_detectors_and_tracks(compare: Compare, quay: Path) -> None:
    change(quay / "layout.yaml", "    detectors: [up-approach, down-approach, lane]\n    on the road: [lane]\n", "")
    said = compare("quay")
    assert said.status == 1
    assert "Nothing could be played, so nothing was measured" in said.out
    assert "15 rows: 13 not kept, 2 advice." in said.out


def test_errors_in_the_scenes_stop_it(compare: Compare, quay: Path) -> None:
    change(quay / "saltmarsh-lane.scene", "move near-barrier to lowered", "move near-barier to lowered")
    said = compare("quay")
    assert said.status == 1
    assert "quay/saltmarsh-lane.scene:31:14: error:" in said.out.replace("\\", "/")
    assert "Pellbrook Quay: 1 error; nothing was compared. Put the errors right first." in said.out


# --- sequences that are squeezed -----------------------------------------------------------------------------------


def test_a_squeezed_sequence_has_its_times_told_and_not_judged(
    compare: Compare, quay: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(comparing, "squeezed_scenes", lambda *_: ["saltmarsh-lane"])
    change(
        quay / "saltmarsh-lane.scene", "move near-barrier to lowered over 7 s", "move near-barrier to lowered over 3 s"
    )
    said = compare("quay")
    assert said.status == 0
    assert re.match(r"K4 +squeezed +6 s to 10 s +3 s ", rows(said.out)["K4"])
    assert "0.5 of 6 s" in said.out
    assert re.match(r"K24a +kept ", rows(said.out)["K24a"])
    assert re.match(r"K5a +kept ", rows(said.out)["K5a"])
    assert "saltmarsh-lane is made to fit into a time: order, phase and rate are judged" in said.out
    said = compare("quay", "--table", "united-states")
    assert said.status == 1  # the rate is judged, and so is what must come at once
    assert re.match(r"U12a +not kept +at once ", rows(said.out)["U12a"])
    assert re.match(r"U1 +not kept ", rows(said.out)["U1"])
    assert re.match(r"U4 +squeezed ", rows(said.out)["U4"])
    assert re.match(r"U23b +kept ", rows(said.out)["U23b"])  # the ascent: only the closing is squeezed


def test_only_scenes_that_work_the_crossing_are_looked_at(quay: Path) -> None:
    from types import SimpleNamespace

    from wayside.project import load

    project = load([quay])
    (crossing,) = project.layout.crossings.values()
    scenes = {
        "close": SimpleNamespace(writes=("red-left", "forge"), fits_us=8_000_000),
        "fire": SimpleNamespace(writes=("forge",), fits_us=8_000_000),
        "open": SimpleNamespace(writes=("near-barrier",), fits_us=None),
        "older": SimpleNamespace(writes=("near-barrier",)),
    }
    program = SimpleNamespace(scenes=scenes)
    assert comparing.squeezed_scenes(program, crossing) == ["close"]  # type: ignore[arg-type]
    assert comparing.squeezed_scenes(project.program, crossing) == []


@pytest.mark.parametrize(
    ("limit", "value", "words"),
    [
        (Limit(at_least=Fraction(4_000_000), at_most=Fraction(6_000_000)), 1_600_000, "0.4 of 4 s"),
        (Limit(at_least=Fraction(4_000_000), at_most=Fraction(6_000_000)), 9_000_000, "1.5 of 6 s"),
        (Limit(exactly=Fraction(4_000_000)), 1_000_000, "0.25 of 4 s"),
    ],
)
def test_a_squeezed_time_is_told_as_a_share(limit: Limit, value: int, words: str) -> None:
    assert practice_words.ratio(limit, Fraction(value)) == words


# --- for programs --------------------------------------------------------------------------------------------------


def test_json_for_programs(compare: Compare, tmp_path: Path) -> None:
    said = compare("quay", "--table", "united-states", "--json", "out.json")
    assert said.status == 1
    assert "It is in out.json, for programs." in said.out
    (crossing,) = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert crossing["crossing"] == "saltmarsh-lane-crossing"
    (table,) = crossing["tables"]
    found = {row["row"]: row for row in table["rows"]}
    assert found["U4"] == {
        "row": "U4",
        "quantity": "arms horizontal before a train arrives",
        "measure": "lowered-before-train",
        "counts": "time",
        "at least": 5.0,
        "verdict": "not kept",
        "measured": 2.0,
        "at": 24.0,
        "in": "rehearsal one-train",
        "source": "49 CFR 234.223",
        "status": "read",
    }
    assert found["U1"]["measured"] == 80.0
    assert found["U1"]["at most"] == 65.0
    assert found["U15"]["missing"] == ["three or more boom lamps"]
    assert crossing["played"][0] == "rehearsal one-train"


def test_json_on_standard_output_is_nothing_else(compare: Compare) -> None:
    said = compare("quay", "--json", "-")
    assert json.loads(said.out)[0]["tables"][0]["name"] == "northern-ireland"
    assert "15 rows: 15 kept." in said.err


# --- how it starts -------------------------------------------------------------------------------------------------


def test_it_loads_nothing_heavy() -> None:
    code = (
        "import sys; from wayside.cli import main; main(['compare', 'examples/pellbrook-quay']); "
        "print([n for n in ('matplotlib', 'numpy', 'asyncio', 'serial') if n in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
