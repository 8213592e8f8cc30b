"""Saving into layout files. Outside references: two YAML libraries of other people (ruamel.yaml, which keeps comments,
and PyYAML) read what was saved; difflib says which lines changed.
"""

from __future__ import annotations

import difflib
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from wayside.layout import edit as layout_edit
from wayside.layout import text as layout_text
from wayside.layout.edit import CannotSave, Change, edited, save

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "pellbrook-quay" / "layout.yaml"
RAISED = ("outputs", "near-barrier", "positions", "raised")


def loaded(text: str) -> Any:
    """By a library of other people; everything stays text."""
    return yaml.load(text, Loader=yaml.BaseLoader)


def by_the_other(text: str) -> Any:
    reader = YAML(typ="rt")
    return reader.load(io.StringIO(text, newline=""))


def comments(text: str) -> list[str]:
    """The remarks that the second library finds, wherever it hangs them; their order is seen in the text itself."""
    from ruamel.yaml.tokens import CommentToken

    found: dict[tuple[int, int], str] = {}

    def look(one: Any) -> None:
        if isinstance(one, CommentToken):
            for number, line in enumerate(one.value.splitlines()):
                if line.strip():
                    found[one.start_mark.line + number, number] = line.strip()
        elif isinstance(one, list | tuple):
            for inner in one:
                look(inner)
        elif isinstance(one, dict):
            look(getattr(one, "ca", None) and [one.ca.comment, one.ca.end, list(one.ca.items.values())])
            for inner in one.values():
                look(inner)

    look(by_the_other(text))
    return sorted(found.values())


def lines_of(text: str) -> list[str]:
    return text.splitlines(keepends=True)


def changed_lines(old: str, new: str) -> list[str]:
    return [
        line
        for line in difflib.unified_diff(lines_of(old), lines_of(new), n=0)
        if line[0] in "+-" and line[:3] not in ("+++", "---")
    ]


# --- the example -----------------------------------------------------------------------------------------------------


def test_one_value_changes_and_nothing_else() -> None:
    old = EXAMPLE.read_text(encoding="utf-8")
    new = edited(old, [Change(RAISED, "77.5 deg")])
    assert new == old.replace("raised: 85 deg", "raised: 77.5 deg", 1)
    assert old.index("near-barrier:") < new.index("77.5 deg") < old.index("far-barrier:")  # the first of the two


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        (("outputs", "near-barrier", "dead band"), "1 deg", "dead band: 1 deg}"),
        (("outputs", "near-barrier", "positions", "half"), "45 deg", "{raised: 85 deg, lowered: 0 deg, half: 45 deg}"),
        (("outputs", "new-lamp", "kind"), "lamp", "  new-lamp: {kind: lamp}"),
        (("tracks", "up-line", "one way"), "no", "    one way: no"),
        (("tracks", "up-line", "stretches", "0", "up-approach"), "3500 mm", "      - up-approach: 3500 mm"),
        (("tracks", "down-line", "timed", "lane"), "24 s", "    timed: {lane: 24 s}"),
        (("times", "lane"), "24 s", "  lane: 24 s"),
        (("layout",), "Marram Point", "layout: Marram Point"),
        (("clock",), '{starts at: "09:00"}', 'clock: {starts at: "09:00"}'),
    ],
)
def test_values_and_new_names_stand_where_and_as_the_others_do(path: tuple[str, ...], value: str, line: str) -> None:
    old = EXAMPLE.read_text(encoding="utf-8")
    new = edited(old, [Change(path, value)])
    assert [one for one in changed_lines(old, new) if one.startswith("+") and line in one]
    assert sum(one.startswith("-") for one in changed_lines(old, new)) <= 1
    wanted = loaded(old)
    here: Any = wanted
    for step in path[:-1]:
        here = here[int(step)] if isinstance(here, list) else here.setdefault(step, {})
    here[path[-1]] = loaded(value)
    assert loaded(new) == wanted
    assert comments(new) == comments(old)
    assert len(comments(old)) > 10  # there are some to lose


def test_a_line_that_would_be_too_long_goes_on_in_the_next() -> None:
    long = "outputs:\n  mast: {kind: servo, link: main, pin: 3, positions: {quite-a-long-name: 10 deg, other: 80 deg}}"
    new = edited(f"{long} # why\n", [Change(("outputs", "mast", "limits"), "0 deg to 90 deg")])
    assert new == f"{long[:-1]},\n         limits: 0 deg to 90 deg}} # why\n"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("last", [True, False])
def test_line_ends_and_byte_order_marks_stay(end: str, mark: str, last: bool) -> None:
    lines = [
        "layout: Marram Point # bay",
        "",
        "outputs:",
        "  arm:",
        "    kind: servo",
        "    limits: 0 deg to 90 deg # end",
    ]
    old = mark + end.join(lines) + (end if last else "")
    new = edited(old, [Change(("layout",), "Pellbrook"), Change(("outputs", "arm", "dead band"), "1 deg")])
    lines[0] = "layout: Pellbrook # bay"
    assert new == mark + end.join([*lines, "    dead band: 1 deg"]) + (end if last else "")


@pytest.mark.parametrize(
    ("old", "path", "value", "new"),
    [
        ("a:\nb: 1\n", ("a",), "2", "a: 2\nb: 1\n"),
        ("a:   # none\nb: 1\n", ("a", "c"), "2", "a:   # none\n  c: 2\nb: 1\n"),
        ("x: {a, b: 1}", ("x", "a"), "2", "x: {a: 2, b: 1}"),
        ("x: {a: , b: 1}", ("x", "a"), "2", "x: {a: 2 , b: 1}"),
        ("x: {b: 1, a: }", ("x", "c"), "2", "x: {b: 1, a: , c: 2 }"),
        ("x: {}", ("x", "c"), "2", "x: {c: 2}"),
        ("x: {b: 1, }", ("x", "c"), "2", "x: {b: 1, c: 2, }"),
        ("x: {y: }", ("x", "y", "c"), "2", "x: {y: {c: 2} }"),
        ("x: {y: 1,5 s, z: 2}", ("x", "y"), "2,5 s", "x: {y: 2,5 s, z: 2}"),
        ("x: {y: 1,5 s}", ("x", "c"), "3", "x: {y: 1,5 s, c: 3}"),
        ("x: 'it''s'  # so\n", ("x",), '"no"', 'x: "no"  # so\n'),
        ("x: |\n  long\n  text\n\n# so\ny: 1\n", ("x",), "z", "x: z\n\n# so\ny: 1\n"),
        ("x:\n  - a: 1 # one\n  - b: 2\n", ("x", "0", "c"), "3", "x:\n  - a: 1 # one\n    c: 3\n  - b: 2\n"),
        ("x: two\n   lines # so\n", ("x",), "one", "x: one # so\n"),
        ("x:\u00a0{a: 1\u00a0s}\n", ("x", "a"), "2 s", "x:\u00a0{a: 2 s}\n"),
    ],
)
def test_odd_ways_of_writing(old: str, path: tuple[str, ...], value: str, new: str) -> None:
    assert edited(old, [Change(path, value)]) == new


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        (RAISED, "", "is not one value in one line"),
        (RAISED, "85 deg # high", "is not one value in one line"),
        (RAISED, "85 deg\nrest: lowered", "is not one value in one line"),
        (RAISED, "85 deg, lowered: 9 deg", "is not one value in one line"),
        (RAISED, "85, or so", "Write it by hand: `raised: 85, or so` under outputs, near-barrier, positions"),
        (RAISED, "85 }", "Write it by hand"),
        (("outputs", "near-barrier", "kind", "of"), "1", "`kind` is a plain value"),
        (("outputs",), "{}", "`outputs` has lines of its own"),
        (("tracks", "up-line", "stretches", "7", "lane"), "1 mm", "no item `7`"),
        ((), "1", "a name is missing"),
        (("outputs", ""), "1", "a name is missing"),
        (("outputs", "a: b"), "1", "Write it by hand"),
    ],
)
def test_what_cannot_be_saved_is_said(path: tuple[str, ...], value: str, says: str) -> None:
    with pytest.raises(CannotSave, match=re.escape(says)):
        edited(EXAMPLE.read_text(encoding="utf-8"), [Change(path, value)])


def test_a_file_that_cannot_be_read_is_not_touched() -> None:
    with pytest.raises(CannotSave, match="line 2 of the layout file cannot be read"):
        edited("layout: a\n\tb: c\n", [Change(("layout",), "b")])


def test_an_output_of_a_table_is_refused_with_what_to_write() -> None:
    with pytest.raises(CannotSave) as told:
        edited("layout: a\noutputs from: wiring.csv\n", [Change(RAISED, "80 deg")])
    assert str(told.value) == (
        "`near-barrier` stands in the table wiring.csv, which is not changed from here. Write `raised 80 deg` there, "
        "in the row of near-barrier and the column positions in its place among the others, semicolons between them."
    )
    with pytest.raises(CannotSave, match="Write `0 deg to 80 deg` there, in the row of arm and the column limits"):
        edited("layout: a\noutputs from: w.csv\n", [Change(("outputs", "arm", "limits"), "0 deg to 80 deg")])
    own = "layout: a\noutputs from: wiring.csv\noutputs:\n  near-barrier: {kind: servo}\n"
    assert "positions: {raised: 80 deg}" in edited(own, [Change(RAISED, "80 deg")])


def test_what_is_read_back_must_be_what_was_meant(monkeypatch: pytest.MonkeyPatch) -> None:
    """Were the place of a value reckoned wrongly, nothing would be written."""
    monkeypatch.setattr(layout_text, "_replaced", lambda written, value, entry, change: written.put(0, 0, "x: 1\n"))
    with pytest.raises(CannotSave, match="would not say what it should"):
        edited(EXAMPLE.read_text(encoding="utf-8"), [Change(RAISED, "80 deg")])


# --- any file --------------------------------------------------------------------------------------------------------

NAMES = st.from_regex(r"\A[a-z][a-z0-9-]{0,7}\Z").filter(lambda name: name not in ("y", "n"))
PLAIN = st.sampled_from(["85 deg", "lamp", "0 deg to 90 deg", "40 %", '"17:30"', "'it''s'", "yes", "a-b"])
REMARKS = st.sampled_from(["", "", "  # why, so: {it} is", " # 85 deg"])


@st.composite
def tables(draw: st.DrawFn, depth: int = 3) -> list[tuple[str, Any]]:
    names = draw(st.lists(NAMES, min_size=1, max_size=4, unique=True))
    inner = PLAIN if depth == 0 else st.one_of(PLAIN, tables(depth=depth - 1))
    return [(name, draw(inner)) for name in names]


def written(draw: st.DrawFn, table: list[tuple[str, Any]], lead: int) -> list[str]:
    """A block table, each of its values in a style of its own."""
    lines: list[str] = []
    for name, value in table:
        if draw(st.booleans()) and draw(st.booleans()):
            lines += draw(st.sampled_from([[""], [f"{' ' * lead}# a remark: 1"], ["# far left"]]))
        remark = draw(REMARKS)
        if isinstance(value, str):
            lines.append(f"{' ' * lead}{name}:{' ' * draw(st.integers(1, 3))}{value}{remark}")
        elif draw(st.booleans()):
            lines += [f"{' ' * lead}{name}:{remark}", *written(draw, value, lead + draw(st.integers(1, 4)))]
        else:
            lines += f"{' ' * lead}{name}: {in_braces(draw, value, lead + 2)}{remark}".split("\n")
    return lines


def in_braces(draw: st.DrawFn, table: list[tuple[str, Any]], lead: int) -> str:
    parts = [
        f"{name}: {value if isinstance(value, str) else in_braces(draw, value, lead + 1)}" for name, value in table
    ]
    comma = draw(st.sampled_from([", ", ",", " , ", f",\n{' ' * lead}", f", # so\n{' ' * lead}"]))
    return "{" + comma.join(parts) + draw(st.sampled_from(["}", " }", ", }"]))


@st.composite
def files(draw: st.DrawFn) -> tuple[str, list[tuple[str, Any]]]:
    table = draw(tables())
    end = draw(st.sampled_from(["\n", "\r\n"]))
    text = end.join(line for part in written(draw, table, 0) for line in part.split("\n"))
    return draw(st.sampled_from(["", "\ufeff"])) + text + draw(st.sampled_from(["", end, end + end])), table


def paths(table: list[tuple[str, Any]]) -> list[tuple[str, ...]]:
    found: list[tuple[str, ...]] = []
    for name, value in table:
        found += [(name,)] if isinstance(value, str) else [(name, *rest) for rest in paths(value)]
    return found


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_value_of_any_file_changes_alone(data: st.DataObject) -> None:
    old, table = data.draw(files())
    path = data.draw(st.sampled_from(paths(table)))
    new = edited(old, [Change(path, "12.5 deg")])
    here: Any = (wanted := loaded(old))
    for step in path[:-1]:
        here = here[step]
    here[path[-1]] = "12.5 deg"
    assert loaded(new) == wanted
    assert by_the_other(new) == {**by_the_other(old), path[0]: by_the_other(new)[path[0]]}
    assert comments(new) == comments(old)
    found = difflib.SequenceMatcher(None, lines_of(old), lines_of(new), autojunk=False).get_opcodes()
    assert sum(kind != "equal" for kind, *_ in found) <= 1  # one place only


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_new_name_goes_into_any_table(data: st.DataObject) -> None:
    old, table = data.draw(files())
    path = (*data.draw(st.sampled_from(paths(table)))[:-1], "new name")
    new = edited(old, [Change(path, "12.5 deg")])
    here: Any = (wanted := loaded(old))
    for step in path[:-1]:
        here = here[step]
    here["new name"] = "12.5 deg"
    assert loaded(new) == wanted
    assert comments(new) == comments(old)
    rest = iter(new)
    assert all(character in rest for character in old)  # nothing of the old text is gone or in another order


# --- files -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def layout(tmp_path: Path) -> Path:
    file = tmp_path / "layout.yaml"
    file.write_bytes(EXAMPLE.read_bytes())
    return file


def test_the_old_file_is_kept(layout: Path) -> None:
    old = layout.read_bytes()
    kept = save(layout, [Change(RAISED, "80 deg")])
    again = save(layout, [Change(RAISED, "81 deg")])
    assert kept.read_bytes() == old
    assert again.read_bytes() == old.replace(b"raised: 85 deg", b"raised: 80 deg", 1)
    assert layout.read_bytes() == old.replace(b"raised: 85 deg", b"raised: 81 deg", 1)
    assert sorted(one.name for one in layout.parent.iterdir()) == [".wayside", "layout.yaml"]
    assert kept != again


def test_so_many_old_files_are_kept_and_no_more(layout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout_edit, "MOST_KEPT", 3)
    kept = [save(layout, [Change(RAISED, f"{80 + number} deg")]) for number in range(6)]
    assert [one.exists() for one in kept] == [False, False, False, True, True, True]
    assert [int(one.stem.rpartition("-")[2]) for one in kept] == [1, 2, 3, 4, 5, 6]


def test_a_file_that_was_changed_meanwhile_is_left_alone(layout: Path) -> None:
    as_read = layout.read_bytes()
    layout.write_bytes(as_read + b"# mine\n")
    with pytest.raises(CannotSave, match="was changed by somebody else since it was read"):
        save(layout, [Change(RAISED, "80 deg")], as_read)
    assert layout.read_bytes() == as_read + b"# mine\n"


def test_a_file_that_changes_at_the_last_moment_is_left_alone(layout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep = layout_edit._keep

    def and_somebody_saves(file: Path, data: bytes) -> Path:
        file.write_bytes(b"layout: mine\n")
        return keep(file, data)

    monkeypatch.setattr(layout_edit, "_keep", and_somebody_saves)
    with pytest.raises(CannotSave, match="was changed by somebody else"):
        save(layout, [Change(RAISED, "80 deg")])
    assert layout.read_bytes() == b"layout: mine\n"
    assert not list(layout.parent.glob(".layout*"))


@pytest.mark.parametrize("fails", ["fsync", "replace"])
def test_a_disk_that_fails_leaves_the_old_file_whole(layout: Path, monkeypatch: pytest.MonkeyPatch, fails: str) -> None:
    old = layout.read_bytes()

    def full(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*((os, "fsync") if fails == "fsync" else (Path, "replace")), full)
    with pytest.raises(CannotSave, match=r"No space left on device.*Write it by hand: `raised: 80 deg`"):
        save(layout, [Change(RAISED, "80 deg")])
    assert layout.read_bytes() == old
    assert not list(layout.parent.glob(".layout*"))


@pytest.mark.parametrize("dies_in", ["_no_new_error", "_keep", "_settle"])
def test_a_plug_that_is_pulled_leaves_the_old_file_or_the_new_one(layout: Path, dies_in: str) -> None:
    """A real process that is gone at one go, at three moments of a save."""
    old = layout.read_bytes()
    code = (
        f"import os; from pathlib import Path; from wayside.layout import edit\n"
        f"edit.{dies_in} = lambda *_: os._exit(9)\n"
        f"edit.save(Path({str(layout)!r}), [edit.Change({RAISED!r}, '80 deg')])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False)
    assert done.returncode == 9
    new = old.replace(b"raised: 85 deg", b"raised: 80 deg", 1)
    assert layout.read_bytes() == (new if dies_in == "_settle" else old)
    save(layout, [Change(RAISED, "79 deg")])  # and what lies about is in nobody's way
    assert b"raised: 79 deg" in layout.read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="modes and links as POSIX has them")
def test_mode_and_link_stay(layout: Path, tmp_path: Path) -> None:
    layout.chmod(0o640)
    home = tmp_path / "show"
    home.mkdir()
    link = home / "layout.yaml"
    link.symlink_to(layout)
    save(link, [Change(RAISED, "80 deg")])
    assert link.is_symlink()
    assert layout.stat().st_mode & 0o777 == 0o640
    assert "raised: 80 deg" in layout.read_text(encoding="utf-8")


def test_a_write_protected_file_stays_as_it_is(layout: Path) -> None:
    layout.chmod(0o444)
    with pytest.raises(CannotSave, match="is write-protected"):
        save(layout, [Change(RAISED, "80 deg")])
    layout.chmod(0o644)


@pytest.mark.skipif(os.name == "nt", reason="modes as POSIX has them")
def test_a_folder_that_may_not_be_written_in_is_said() -> None:
    """In a process of its own, since who may do everything is stopped by no mode."""
    folder = Path(tempfile.mkdtemp())  # which others may reach
    folder.chmod(0o755)
    layout = folder / "layout.yaml"
    layout.write_bytes(EXAMPLE.read_bytes())
    layout.chmod(0o666)
    code = (
        f"import os; from pathlib import Path; from wayside.layout.edit import *\n"
        f"import wayside.layout.file, wayside.project\n"  # read in while everything may be read
        f"edited('layout: a', [Change(('layout',), 'b')])\n"
        f"os.chmod({str(folder)!r}, 0o555); os.chdir({str(folder)!r})\n"
        f"if os.geteuid() == 0: os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        f"try: save(Path('layout.yaml'), [Change({RAISED!r}, '80 deg')])\n"
        f"except CannotSave as why: print(why)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    folder.chmod(0o755)
    assert "the folder of layout.yaml takes no file (Permission denied). Write it by hand" in done.stdout, done.stderr
    assert layout.read_bytes() == EXAMPLE.read_bytes()
    shutil.rmtree(folder)


def test_a_value_that_would_be_an_error_is_not_saved(layout: Path) -> None:
    with pytest.raises(CannotSave, match="`raised` is outside what `near-barrier` may move to"):
        save(layout, [Change(RAISED, "95 deg")])
    assert layout.read_bytes() == EXAMPLE.read_bytes()


def test_what_is_no_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(CannotSave, match="cannot be read"):
        save(tmp_path / "layout.yaml", [Change(RAISED, "80 deg")])
    (tmp_path / "layout.yaml").write_bytes(b"layout: \xff\n")
    with pytest.raises(CannotSave, match="not saved as UTF-8"):
        save(tmp_path / "layout.yaml", [Change(("layout",), "a")])
