"""Practice tables as people write them: what is read, and the one sentence for each thing that can be wrong."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenes.problems import as_text
from wayside.practice import reading as practice_reading
from wayside.practice.measures import MEASURES, Sort
from wayside.practice.names import SHIPPED, shipped
from wayside.practice.reading import LARGEST_BYTES, MOST_ROWS, find, read
from wayside.practice.table import Limit, Status
from wayside.usage import UsageProblem

GOOD = """\
table: Marram Point, light railway
covers: crossings of the light railway across the bay
rows:
  M1:
    quantity: an arm's descent
    measure: descent
    at least: 6 s
    at most: 10,5 s
    source: the railway's own book of rules
    status: read
  M2:
    quantity: flashes of each lamp
    measure: flash-rate
    exactly: 50 a minute
    source: somebody told me
    status: reported
  M3:
    quantity: arms rise only with no train about
    measure: rise-undetected
    source: common practice
    status: memory
"""


def written(tmp_path: Path, text: str | bytes) -> Path:
    file = tmp_path / "table.yaml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def test_a_table_of_ones_own(tmp_path: Path) -> None:
    found = find(str(written(tmp_path, GOOD)))
    assert found.problems == []
    table = found.table
    assert (table.title, table.covers) == (
        "Marram Point, light railway",
        "crossings of the light railway across the bay",
    )
    assert [row.name for row in table.rows] == ["M1", "M2", "M3"]
    assert [row.limit for row in table.rows] == [
        Limit(Fraction(6_000_000), Fraction(10_500_000)),
        Limit(exactly=Fraction(50)),
        Limit(),
    ]
    assert [row.status for row in table.rows] == [Status.READ, Status.REPORTED, Status.MEMORY]
    assert table.rows[1].place.line == 11


def test_two_limits_may_be_the_same(tmp_path: Path) -> None:
    found = find(str(written(tmp_path, GOOD.replace("at least: 6 s", "at least: 10500 ms"))))
    assert found.problems == []


def test_a_file_is_looked_for_beside_the_layout(tmp_path: Path) -> None:
    written(tmp_path, GOOD)
    assert find("table.yaml", tmp_path).table.name == str(tmp_path / "table.yaml")


# (what is changed, what it becomes, line:column, words of the message, with | where lines of the file stand between)
WRONG = [
    ("table: Marram Point, light railway\n", "", "1:1", "The table has no `table`"),
    ("table: Marram", "tabel: Marram", "1:1", "`tabel` is not known in a practice table.|Did you mean `table`?"),
    ("covers: crossings of the light railway across the bay", "covers:", "2:1", "`covers` holds a text"),
    ("table: Marram Point, light railway", "table: [a, b]", "1:1", "`table` holds a text"),
    ("    quantity: an arm's descent\n", "", "4:3", "Row `M1` has no `quantity`"),
    ("    measure: descent\n", "", "4:3", "Row `M1` has no `measure`"),
    ("    source: somebody told me\n", "", "11:3", "Row `M2` has no `source`"),
    ("    status: reported\n", "", "11:3", "Row `M2` has no `status`"),
    ("    status: reported", "    status: heard", "16:13", "`heard` is no status.|Write read, reported or memory"),
    ("measure: descent", "measure: desent", "6:14", "There is no measure `desent`.|Did you mean `descent`?"),
    ("measure: descent", "measure: sloth", "6:14", "There is no measure `sloth`.|`wayside compare --measures`"),
    (
        "at least: 6 s",
        "at least: 6 a minute",
        "7:15",
        "`at least` of `descent` is a time, such as 4 s, not `6 a minute`",
    ),
    ("at least: 6 s", "at least: 6", "7:15", "`at least` of `descent` is a time, such as 4 s, not `6`"),
    ("at least: 6 s", "at least:", "7:5", "`at least` of `descent` is a time, such as 4 s"),
    ("at least: 6 s", "at least: [6 s]", "7:5", "`at least` of `descent` is a time, such as 4 s"),
    ("exactly: 50 a minute", "exactly: 50 s", "14:14", "`exactly` of `flash-rate` is a rate, such as 35 a minute"),
    ("at least: 6 s", "at least: 11 s", "8:14", "`at most` is less than `at least`"),
    ("at least: 6 s", "exactly: 6 s", "7:5", "`exactly` stands beside another limit"),
    ("    exactly: 50 a minute\n", "", "11:3", "Row `M2` asks for nothing: `flash-rate` counts a rate"),
    (
        "    source: common practice",
        "    at least: 3 s\n    source: x",
        "20:5",
        "`rise-undetected` holds or it does not",
    ),
    ("at least: 6 s", "at leest: 6 s", "7:5", "`at leest` is not known in a row.|Did you mean `at least`?"),
    ("at least: 6 s", "colour: red", "7:5", "`colour` is not known in a row.|It has quantity, measure"),
    ("  M2:", "  M1:", "11:3", "`M1` is given twice"),
    ("  M2:", "  the second row:", "11:3", "`the second row` cannot name a row.|Write at most 6 letters"),
    ("  M2:", "  M234567:", "11:3", "`M234567` cannot name a row"),
    ("  M2:", "  M_2:", "11:3", "`M_2` cannot name a row"),
    ("  M2:", "  M2: yes\n  M9:", "11:3", "Row `M2` says nothing"),
    ("an arm's descent", "x" * 301, "5:5", "The text of `quantity` is longer than 300 characters"),
    (
        "an arm's descent",
        "!!python/name:os.system x",
        "5:15",
        "A value cannot begin with `!`: a practice table holds plain text",
    ),
    ("an arm's descent", "\x07", "5:15", "A character that cannot be seen stands here"),
    ("    measure: descent", "\tmeasure: descent", "6:1", "A tab stands here"),
    ("an arm's descent", "a: b: c", "5:16", "A second colon stands on this line"),
]


@pytest.mark.parametrize(("old", "new", "where", "words"), WRONG, ids=[one[3][:45] for one in WRONG])
def test_a_wrong_table_is_told_with_its_place(tmp_path: Path, old: str, new: str, where: str, words: str) -> None:
    assert GOOD.count(old) >= 1
    file = written(tmp_path, GOOD.replace(old, new, 1))
    found = read(file, "table.yaml", "table.yaml")
    said = [as_text(problem, found.lines) for problem in found.problems]
    assert len(said) == 1, said
    assert said[0].startswith(f"table.yaml:{where}")
    assert all(part in said[0] for part in words.split("|")), said[0]
    assert "layout" not in said[0]


WHOLE = [
    (b"", "The file is empty"),
    (b"# only a remark\n\n", "The file is empty"),
    (b"- one\n- two\n", "A practice table holds `name: value` lines"),
    (b"just some words\n", "A practice table holds `name: value` lines"),
    (b"table: x\ncovers: y\nrows: {}\n", "`rows` holds no row"),
    (b"table: x\ncovers: y\nrows: [a]\n", "`rows` holds no row"),
    (b"table: x\ncovers: y\n", "The table has no `rows`"),
    (b"table: x\ncovers: y\nrows:\n  A1: {quantity: z\n", "never closed"),
    (b"\xff\xfet\x00", "UTF-16"),
    (b"table: \xe9t\xe9\n", "not UTF-8"),
    (b"table: x\n---\ntable: y\n", "A second document begins here"),
    (b"a: " * 40, ""),
    (b"[" * 500, "deeper than"),
    (
        b"table: x\ncovers: y\nrows:\n" + b"".join(b"  A%d: {}\n" % n for n in range(MOST_ROWS + 1)),
        "more than 200 rows",
    ),
]


@pytest.mark.parametrize(("raw", "words"), WHOLE, ids=[words or "nested" for _, words in WHOLE])
def test_a_file_that_is_no_table(tmp_path: Path, raw: bytes, words: str) -> None:
    found = read(written(tmp_path, raw), "table.yaml", "table.yaml")
    assert found.problems
    assert found.table.rows == ()
    assert any(words in problem.what for problem in found.problems)
    for problem in found.problems:
        assert "layout" not in problem.what + problem.instead
        assert problem.place.line >= 1


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    file = written(tmp_path, b"#" * (LARGEST_BYTES + 1))
    with pytest.raises(UsageProblem, match="at most 200000 bytes"):
        find(str(file))
    file.write_bytes(GOOD.encode() + b"#" * (LARGEST_BYTES - len(GOOD)))
    assert find(str(file)).problems == []


@pytest.mark.parametrize(
    ("word", "words"),
    [
        ("northern-irland", "Did you mean northern-ireland?"),
        ("atlantis", "There is austria, germany"),
        ("", "The name of the practice table is missing"),
        ("  ", "The name of the practice table is missing"),
        ("missing.yaml", "There is no practice table missing.yaml"),
        ("a/b", "There is no practice table a/b"),
        ("folder.yaml", "is a folder"),
        ("nul\0.yaml", "cannot be read"),
    ],
)
def test_a_table_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, word: str, words: str) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder.yaml").mkdir()
    with pytest.raises(UsageProblem) as problem:
        find(word)
    assert words in str(problem.value)


def test_every_measure_has_its_words_and_its_needs() -> None:
    for name, measure in MEASURES.items():
        assert measure.about
        assert measure.needs, name
    assert {measure.sort for measure in MEASURES.values()} == set(Sort)


def test_the_package_carries_the_tables() -> None:
    """What `pyproject.toml` promises an installed Wayside: the files that the code looks for."""
    import tomllib

    root = Path(__file__).parents[2]
    patterns = tomllib.loads((root / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]["wayside"]
    carried = {file for pattern in patterns for file in (root / "wayside").glob(pattern)}
    assert set(shipped().values()) <= carried
    assert root / "wayside" / "practice" / "tables" == SHIPPED


def test_the_table_that_the_readme_shows_is_a_table(tmp_path: Path) -> None:
    text = (Path(__file__).parents[2] / "wayside" / "practice" / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```yaml\n(table:.*?)^```", text, re.M | re.S)
    found = find(str(written(tmp_path, block)))
    assert found.problems == []
    assert [row.status for row in found.table.rows] == list(Status)


@given(st.integers(0, len(GOOD)), st.integers(0, 30), st.text(max_size=6))
@settings(max_examples=300, deadline=None)
def test_a_damaged_table_is_read_or_answered(start: int, gone: int, put: str) -> None:
    """Whatever is cut out or typed in: a table without problems, or problems with their places."""
    raw = (GOOD[:start] + put + GOOD[start + gone :]).encode("utf-8", "surrogatepass")
    found = practice_reading._read(raw, "table.yaml", "table.yaml")
    for problem in found.problems:
        assert problem.what
        assert problem.place.file == "table.yaml"
        assert problem.place.line >= 1
        assert as_text(problem, found.lines)
    assert found.problems or all(row.measured_by for row in found.table.rows)
