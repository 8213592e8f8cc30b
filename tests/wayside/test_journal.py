"""The journal's file and its writer: nothing lost but details, never in the way, bounded, whole after a kill."""

from __future__ import annotations

import csv
import io
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from engine.events import AllStop, ByHand, Darken, StartScene
from engine.kernel import Kernel
from engine.layout import Keeping
from wayside.cli import main
from wayside.journal import file as journal_file
from wayside.journal.file import Entry
from wayside.journal.keeper import MOST_WAITING, Journal
from wayside.live import kept
from wayside.live.hands import understood
from wayside.live.show_memory import in_words
from wayside.project import load

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
DAY_US = 24 * 3_600_000_000
PATIENCE_S = 30.0
MINUTE = r"[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}"


def entry(number: int = 0, kind: str = "scene", text: str = "", utc_us: int = 0) -> Entry:
    return Entry(utc_us or time.time_ns() // 1_000, 0, 1, number, kind, "lane", text or f"entry {number}")


def texts(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as base:
        return [text for (text,) in base.execute("SELECT text FROM entry ORDER BY id")]


def until(holds: Callable[[], object]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end, "it never came about"
        time.sleep(0.01)


# --- the writer ----------------------------------------------------------------------------------------------------


def test_what_is_put_is_there_when_the_show_has_ended(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal(path)
    journal.start()
    for number in range(500):
        journal.put(entry(number, "output" if number % 2 else "scene"))
    assert journal.close() == []
    assert texts(path) == [f"entry {number}" for number in range(500)]
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert base.execute("PRAGMA application_id").fetchone() == (0x57595344,)


@pytest.mark.parametrize("kind", ["fault", "mark", "rule", "show"])
def test_what_matters_is_written_at_once(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal(path)
    journal.start()
    journal.put(entry(1, kind))
    until(lambda: journal.written == 1)
    assert texts(path) == ["entry 1"]
    journal.close()


def test_of_too_many_details_are_dropped_first_and_it_is_said(tmp_path: Path) -> None:
    """Before its thread has begun nothing is written: as if the disk took nothing."""
    path = tmp_path / "journal.sqlite"
    journal = Journal(path)
    for number in range(100):
        journal.put(entry(number, "scene"))
    for number in range(MOST_WAITING):
        journal.put(entry(number, "detector", "a detail"))
    assert journal.lost == 100
    journal.start()
    journal.close(PATIENCE_S)
    found = texts(path)
    assert [text for text in found if text.startswith("entry")] == [f"entry {number}" for number in range(100)]
    assert found.count("a detail") == MOST_WAITING - 100
    assert "100 entries could not be kept here: the disk did not take them in time" in found


def test_a_disk_that_takes_nothing_stops_nothing_and_is_tried_again(tmp_path: Path) -> None:
    """The file's place is taken by a folder; later it is free, as after a disk has been cleared."""
    path = tmp_path / "journal.sqlite"
    path.mkdir()
    journal = Journal(path, retry_s=0.05)
    journal.start()
    journal.put(entry(1, "fault"))
    said: list[str] = []
    until(lambda: said.extend(journal.messages()) or said)
    assert "cannot be written" in said[0]
    assert "The show goes on" in said[0]
    path.rmdir()
    journal.put(entry(2, "fault"))
    until(lambda: journal.written == 2)
    said = journal.messages()
    assert said == [f"The journal {path} is written again."]
    journal.close()
    assert texts(path) == ["entry 1", "entry 2"]


def test_a_damaged_file_is_set_aside_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    path.write_bytes(b"SQLite format 3\0" + b"rubbish" * 1000)
    journal = Journal(path)
    journal.start()
    journal.put(entry(1, "fault"))
    until(lambda: journal.written == 1)
    (said,) = journal.messages()
    journal.close()
    (aside,) = tmp_path.glob("journal-set-aside-*.sqlite")
    assert aside.name in said
    assert b"rubbish" in aside.read_bytes()
    assert texts(path) == ["entry 1"]


def test_a_database_of_somebody_else_s_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("CREATE TABLE mine (a)")
        base.execute("INSERT INTO mine VALUES (7)")
    journal = Journal(path)
    journal.start()
    journal.put(entry(1, "fault"))
    until(lambda: journal.written == 1)
    journal.close()
    (aside,) = tmp_path.glob("journal-set-aside-*.sqlite")
    with closing(sqlite3.connect(aside)) as base:
        assert base.execute("SELECT a FROM mine").fetchall() == [(7,)]


def test_a_file_that_is_taken_away_meanwhile_is_begun_anew(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal(path)
    journal.start()
    journal.put(entry(1, "fault"))
    until(lambda: journal.written == 1)
    path.rename(tmp_path / "taken.sqlite")
    journal.put(entry(2, "fault"))
    until(lambda: journal.written == 2)
    journal.close()
    assert texts(path) == ["entry 2"]


# --- bounds --------------------------------------------------------------------------------------------------------


def test_what_is_older_than_it_is_kept_goes_and_nothing_else(tmp_path: Path) -> None:
    now_us = 1_800_000_000_000_000
    with closing(journal_file.open_to_write(tmp_path / "journal.sqlite")) as base:
        ages = (31, 30, 29, 1)
        journal_file.write(base, [entry(age, utc_us=now_us - age * DAY_US - 1) for age in ages])
        while journal_file.prune(base, Keeping(days=30), now_us):
            pass
        assert base.execute("SELECT at_us FROM entry ORDER BY id").fetchall() == [(29,), (1,)]


def test_a_file_that_is_too_large_loses_its_oldest_a_few_at_a_time(tmp_path: Path) -> None:
    now_us = time.time_ns() // 1_000
    with closing(journal_file.open_to_write(tmp_path / "journal.sqlite")) as base:
        journal_file.write(base, (entry(n, text="x" * 1_000, utc_us=now_us) for n in range(6_000)))
        keeping = Keeping(most_bytes=2_000_000)
        assert journal_file.too_much(base, keeping)
        rounds = 0
        while journal_file.prune(base, keeping, now_us):
            rounds += 1
        assert rounds == 3  # 2,000 rows at a time
        assert not journal_file.too_much(base, keeping)
        left = [at for (at,) in base.execute("SELECT at_us FROM entry ORDER BY id")]
        assert left == list(range(6_000 - len(left), 6_000))


# --- kept flags and counters ---------------------------------------------------------------------------------------

KEPT = """
flag open, kept
flag passing
counter trains, kept
scene s
    remember open
    remember passing
    count trains up
"""


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(
        "layout: bench\noutputs:\n  ada: {kind: lamp}\ndetectors:\n  near: {kind: section}\n"
    )
    (tmp_path / "a.scene").write_text(KEPT)
    return tmp_path


def test_kept_flags_and_counters_return_and_others_do_not(bench: Path) -> None:
    program = load([bench]).program
    path = kept.file_for(bench / "layout.yaml", False)
    kernel = Kernel(program)
    one = kept.Kept(kernel, path, {})
    kernel.set_flag("open", True)
    kernel.set_flag("passing", True)
    kernel.count("trains", 3)
    assert one.close() == ""
    values, trouble = kept.read(path, program)
    assert (values, trouble) == ({"open": True, "trains": 3}, "")
    again = Kernel(program)
    kept.Kept(again, path, values).close()
    assert (again.stage.flags, again.stage.counters) == ({"open": True, "passing": False}, {"trains": 3})


@pytest.mark.parametrize("text", ["", "[]", '{"open": 1, "trains": true}', '{"open": "yes"}', "{", '{"trains": 1e99}'])
def test_what_a_damaged_file_keeps_is_nothing(bench: Path, text: str) -> None:
    path = kept.file_for(bench / "layout.yaml", False)
    path.parent.mkdir()
    path.write_text(text)
    values, _ = kept.read(path, load([bench]).program)
    assert values == {}


# --- a real show ---------------------------------------------------------------------------------------------------


def begun(folder: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "wayside", "run", str(folder), "--dry-run", "--plain", "--no-desk"]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    assert process.stdout is not None
    while "the show begins" not in process.stdout.readline():
        assert process.poll() is None
    return process


def test_a_show_killed_at_any_instant_leaves_a_journal_that_is_whole(bench: Path) -> None:
    """Every mark that was seen in the file before the kill is there after it, and the file is sound."""
    draw = random.Random(1)
    path = bench / "journal.sqlite"
    for life in range(6):
        process = begun(bench)
        assert process.stdin is not None
        for number in range(draw.randrange(1, 12)):
            process.stdin.write(f"near {'occupied' if number % 2 else 'clear'}\nmark {life}-{number}\n")
            process.stdin.flush()
        time.sleep(draw.uniform(0, 0.3))
        seen = texts(path) if path.exists() else []
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        with closing(sqlite3.connect(path)) as base:
            assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert texts(path)[: len(seen)] == seen


def test_a_show_is_read_back_by_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "quay"
    shutil.copytree(QUAY, folder, ignore=shutil.ignore_patterns("journal*", ".wayside"))
    process = begun(folder)
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("press evening-button\n")
    process.stdin.flush()
    while "scene evening begins" not in process.stdout.readline():
        assert process.poll() is None
    said, _ = process.communicate("mark =1+1 and a half\nend\n", timeout=60)
    assert "From the journal:" in said
    assert main(["journal", str(folder), "--kind", "scene", "--about", "evening"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any("scene evening begins" in line for line in lines)
    assert all("saltmarsh" not in line for line in lines)
    assert main(["journal", str(folder), "--kind", "mark", "--csv", "-"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["kind"] for row in rows] == ["mark"]
    assert not rows[0]["text"].startswith("=")  # a spreadsheet would reckon it
    assert "=1+1 and a half" in rows[0]["text"]
    assert main(["journal", str(folder), "--mark", "--before", "1min"]) == 0
    assert "=1+1 and a half" in capsys.readouterr().out
    assert main(["journal", str(folder), "--summary"]) == 0
    assert "evening once" in capsys.readouterr().out


def test_a_show_can_do_without(bench: Path) -> None:
    command = [sys.executable, "-m", "wayside", "run", str(bench), "--dry-run", "--plain", "--no-desk", "--no-journal"]
    done = subprocess.run(command, input="mark x\nend\n", capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0
    assert "There is no journal that could be marked" in done.stdout
    assert not (bench / "journal.sqlite").exists()


def test_what_was_asked_for_on_a_page_is_in_words() -> None:
    assert in_words(AllStop()) == "all stop"
    assert in_words(StartScene("evening")) == "start scene evening asked for by name"
    assert in_words(ByHand("lamp", 0.4)) == "by hand lamp 0.4"
    assert in_words(Darken(True)) == "darken yes"


def test_a_mark_is_typed(bench: Path) -> None:
    program = load([bench]).program
    assert understood("mark the arm hung", program).mark == "the arm hung"
    assert understood("mark", program).mark == ""
    assert understood("near clear", program).mark is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "There is no journal in"),
        (("--at", "25:00"), "--at takes a time of day"),
        (("--last", "0"), "--last takes 1 to 1000000, not 0."),
        (("--last", "9" * 20), "--last takes 1 to 1000000"),
        (("--last", "many"), "--last takes 1 to 1000000, not many."),
        (("--follow", "--day", "yesterday"), "--follow looks forward"),
        (("--at", "14:00", "--mark"), "leave one of the two out"),
        (("--before", "3min"), "--before belongs to --at or --mark"),
        (("--follow", "--csv", "-"), "do not go together"),
        (("--summary", "--kind", "scene"), "--summary is of a whole day"),
    ],
)
def test_wrong_usage_is_answered(
    bench: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    if arguments:
        with closing(journal_file.open_to_write(bench / "journal.sqlite")) as base:
            journal_file.write(base, [entry(1)])
    assert main(["journal", str(bench), *arguments]) == 2
    assert words in capsys.readouterr().err


def test_a_time_of_which_there_is_nothing_says_how_far_the_journal_goes(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(journal_file.open_to_write(bench / "journal.sqlite")) as base:
        journal_file.write(base, [entry(1), entry(2)])
    assert main(["journal", str(bench), "--day", "1999-01-01"]) == 0
    said = capsys.readouterr().err
    assert re.fullmatch(rf"Nothing in the journal is like that\. It goes from {MINUTE} to {MINUTE}\.\n", said)
    with closing(sqlite3.connect(bench / "journal.sqlite")) as base:
        base.execute("DELETE FROM entry")
        base.commit()
    assert main(["journal", str(bench), "--kind", "scene"]) == 0
    assert "It is empty" in capsys.readouterr().err


def test_another_file_is_no_journal(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (bench / "photo.jpg").write_bytes(b"\xff\xd8")
    assert main(["journal", str(bench / "photo.jpg")]) == 2
    assert "photo.jpg is no journal. Write the layout's folder" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_table_that_finds_the_disk_full_is_one_sentence(bench: Path) -> None:
    """In a process of its own: what is left of a reading that broke off is told when the program leaves."""
    with closing(journal_file.open_to_write(bench / "journal.sqlite")) as base:
        journal_file.write(base, [entry(one) for one in range(1, 2000)])
    command = [sys.executable, "-m", "wayside", "journal", str(bench), "--csv", "/dev/full"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 2
    assert done.stderr == "wayside: /dev/full cannot be written: No space left on device.\n"


def test_how_long_and_how_much_is_kept_stands_in_the_layout_file(bench: Path) -> None:
    layout = (bench / "layout.yaml").read_text()
    (bench / "layout.yaml").write_text(f"{layout}journal: {{keep: 2 weeks, at most: 5 MB}}\n")
    assert load([bench]).layout.keeping == Keeping(14, 5_000_000)
    (bench / "layout.yaml").write_text(f"{layout}journal: {{keep: 0 days}}\n")
    assert [problem.place.line for problem in load([bench]).errors] == [6]
