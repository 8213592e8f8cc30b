"""`wayside new`: every combination of answers is made, checked and rehearsed; real answers in a pseudo-terminal."""

from __future__ import annotations

import itertools
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
import yaml

from wayside.cli import main
from wayside.commands import new as command_new
from wayside.starting.crossing import FULL, LEAST, least_approach_mm, times
from wayside.starting.questions import QUESTIONS, asked
from wayside.starting.starting import Answers

ROOT = Path(__file__).parents[2]
STATIONS = ("late", "early", "none")


class Said(NamedTuple):
    status: int
    out: str
    err: str


Run = Callable[..., Said]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    monkeypatch.chdir(tmp_path)

    def ran(*words: str) -> Said:
        status = main(list(words))
        said = capsys.readouterr()
        assert "fault in Wayside" not in said.err, said.err
        return Said(status, said.out, said.err)

    return ran


def combinations() -> list[list[str]]:
    """Each question that is asked with each of its answers; of lengths and speeds, ends and middles."""
    several = {
        "what": ("crossing", "lamps", "signal", "lamp"),
        "station": STATIONS,
        "tracks": ("1", "2"),
        "barriers": ("1", "2"),
        "shape": ("arm", "lamps"),
        "detectors": ("yes", "no"),
        "approach": ("960 mm", "1500 mm", "5 m"),
        "speed": ("40 mm/s", "120 mm/s"),
        "place": ("street", "quay"),
        "lamps": ("1", "5", "12"),
    }
    found = []
    for what in several["what"]:
        keys = [one.key for one in QUESTIONS if what in one.of and one.key not in ("what", "name")]
        for answers in itertools.product(*(several[key] for key in keys)):
            chosen = dict(zip(keys, answers, strict=True))
            if chosen.get("detectors") == "no" and what == "crossing":
                del chosen["approach"], chosen["speed"]
            found.append(["--what", what, *(word for key, one in chosen.items() for word in (f"--{key}", one))])
    return [list(one) for one in dict.fromkeys(tuple(one) for one in found)]


ALL = combinations()


def test_there_are_many_combinations() -> None:
    assert len(ALL) > 100
    assert {one[1] for one in ALL} == {"crossing", "lamps", "signal", "lamp"}


@pytest.mark.parametrize("flags", ALL, ids=lambda flags: " ".join(flags[1::2]))
def test_every_combination_is_checked_and_rehearsed(run: Run, tmp_path: Path, flags: list[str]) -> None:
    made = run("new", "marram-point", *flags)
    assert (made.status, made.err) == (0, "")
    checked = run("check", "marram-point")
    assert checked.status == 0
    assert "nothing wrong" in checked.out
    assert "dvice" not in checked.out
    rehearsed = run("rehearse", "marram-point")
    assert (rehearsed.status, rehearsed.err) == (0, "")
    assert "all held" in rehearsed.out
    assert "dvice" not in rehearsed.out
    text = (tmp_path / "marram-point" / "layout.yaml").read_text(encoding="utf-8")
    loaded = yaml.load(text, Loader=yaml.BaseLoader)  # by somebody else's reader, too
    assert loaded["layout"] == "Marram Point"
    station = dict(zip(flags[::2], flags[1::2], strict=True))["--station"]
    assert ("links" in loaded) == (station != "none")
    lines = [line for file in (tmp_path / "marram-point").iterdir() for line in file.read_text().splitlines()]
    assert max(map(len, lines)) <= 110
    assert text.count("#") >= 5
    wired = [one for kind in ("outputs", "detectors", "buttons") for one in loaded.get(kind, {}).values()]
    plain = [one for one in wired if isinstance(one, dict) and one.get("kind") != "signal"]
    assert all(("pin" in one or "port" in one) == (station != "none") for one in plain)


@pytest.mark.parametrize("what", ["crossing", "signal"])
def test_what_moves_and_stops_trains_is_guarded(run: Run, tmp_path: Path, what: str) -> None:
    run("new", "bay", "--what", what, "--usual")
    loaded = yaml.load((tmp_path / "bay" / "layout.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    guarded = {name for name, one in loaded["outputs"].items() if "safe" in one}
    if what == "crossing":
        assert guarded == {"red-left", "red-right", "near-barrier", "far-barrier"}
    else:
        assert guarded == {"home-red", "home-green", "home-signal"}


# --- times of a closing --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("speed", [10, 60, 88, 120, 147, 235, 1000])  # 15, 25 and 40 mph at 4 mm scale among them
@pytest.mark.parametrize("mm", [300, 1000, 1200, 2000, 3600, 20_000])
def test_a_closing_fits_into_its_approach_or_there_is_none(station: str, speed: int, mm: int) -> None:
    when = times(Answers("crossing", "bay", station, approach_mm=mm, speed_mm_s=speed))
    if when is None:
        assert mm < least_approach_mm(speed)
        return
    assert when.closed <= mm / speed - 1  # the rule of the scene: a second before the train
    parts = (when.amber, when.reds, when.fall)
    assert all(least <= one <= full for one, least, full in zip(parts, LEAST, FULL, strict=True))
    if mm / speed >= 17:
        assert parts[:2] == FULL[:2]  # nothing is shortened without need


def test_a_shortened_closing_says_so(run: Run, tmp_path: Path) -> None:
    run("new", "bay", "--what", "crossing", "--approach", "1200 mm", "--usual")
    scene = (tmp_path / "bay" / "crossing.scene").read_text(encoding="utf-8")
    assert "# A train is seen 10.0 s before the road, so the closing takes" in scene
    run("new", "sea", "--what", "crossing", "--usual")
    assert "A train is seen" not in (tmp_path / "sea" / "crossing.scene").read_text(encoding="utf-8")


# --- refused -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("", "Which folder is to be made?"),
        ("bay", "Write --what crossing, lamps, signal or lamp."),
        ("bay --what crosing", "--what: crosing is none of the answers. Did you mean crossing?"),
        ("bay --what tram", "--what: tram is none of the answers. Write crossing, lamps, signal or lamp."),
        ("bay --what crossing --tracks 3", "--tracks: 3 is not what can stand here. Write 1 or 2."),
        ("bay --what lamps --lamps 13", "--lamps: 13 is not what can stand here. Write a whole number from 1 to 12."),
        ("bay --what lamps --tracks 2", "--tracks goes with --what crossing."),
        ("bay --what crossing --detectors no --speed 50", "--speed goes with --detectors yes."),
        ("bay --what crossing --detectors maybe", "--detectors: maybe is neither yes nor no."),
        ("bay --what crossing --approach long", "--approach: long is no length."),
        ("bay --what crossing --approach 10mm", "--approach: 10mm is too short. Write 300 mm to 20 m."),
        ("bay --what crossing --approach 900m", "--approach: 900m is too long."),
        ("bay --what crossing --speed fast", "--speed: fast is no speed of a train."),
        ("bay --what crossing --approach 500mm", "--speed: A train that fast is at the road 4.2 s after it is seen"),
        ("bay --what lamp --name a\"b", "--name: A name holds no quotes"),
        ("bay --what lamp --name=", "--name needs something after it."),
        ("bay --what lamp --what lamp", "--what is given twice."),
        ("bay --what lamp --colour red", "wayside new has no option --colour."),
        ("no/such/bay --what lamp", "There is no folder"),
        ("taken --what lamp", "taken holds something already, and nothing is overwritten."),
        ("file --what lamp", "file is there already, and nothing is overwritten."),
        ("file/bay --what lamp", "file is a file, and no folder stands in a file."),
        ("bay bight --what lamp", "bight is one word too many."),
        ("bay --what crossing --speed 900mm/s", "--speed: A train of 900 mm/s that is seen 2400 mm before the road"),
        ("bay --what crossing --speed 200mm/s --approach 700mm", "--speed: A train that fast"),
        ("bay --what crossing --speed -5mm/s", "--speed takes nothing that is less than nothing: -5mm/s."),
    ],
)  # fmt: skip
def test_what_is_refused(run: Run, tmp_path: Path, words: str, sentence: str) -> None:
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "layout.yaml").write_text("mine", encoding="utf-8")
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    said = run("new", *words.split())
    assert said.status == 2
    assert sentence in said.err
    assert len(said.err.strip().splitlines()) == 1
    assert sorted(one.name for one in tmp_path.iterdir()) == ["file", "taken"]
    assert (tmp_path / "taken" / "layout.yaml").read_text(encoding="utf-8") == "mine"


def test_a_long_name_is_refused(run: Run) -> None:
    assert "has 61 characters" in run("new", "bay", "--what", "lamp", "--name", "n" * 61).err


def test_an_empty_folder_is_filled(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "bay").mkdir()
    assert run("new", "bay", "--what", "lamp").status == 0
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert run("new", ".", "--what", "lamp").status == 0
    for folder in ("bay", "here"):
        assert sorted(one.name for one in (tmp_path / folder).iterdir()) == ["evening.scene", "layout.yaml"]
    assert "layout: \"Here\"" in (tmp_path / "here" / "layout.yaml").read_text(encoding="utf-8")  # fmt: skip


def test_one_that_comes_meanwhile_is_not_overwritten(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "bay").mkdir()
    played = command_new._played

    def and_somebody_writes(folder: Path) -> str:
        (tmp_path / "bay" / "layout.yaml").write_text("mine", encoding="utf-8")
        return played(folder)

    monkeypatch.setattr(command_new, "_played", and_somebody_writes)
    said = run("new", "bay", "--what", "lamp")
    assert (said.status, "Nothing was made." in said.err) == (2, True)
    assert [one.name for one in (tmp_path / "bay").iterdir()] == ["layout.yaml"]
    assert (tmp_path / "bay" / "layout.yaml").read_text(encoding="utf-8") == "mine"


def test_nothing_is_made_that_does_not_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    texts = command_new.files

    def broken(answers: Answers) -> dict[str, str]:
        return {name: text.replace("on from 3 s", "off from 3 s") for name, text in texts(answers).items()}

    monkeypatch.setattr(command_new, "files", broken)
    assert main(["new", "bay", "--what", "lamp"]) == 70
    assert "fault in Wayside" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize("moment", ["_played", "_umask", "_place"])
def test_ctrl_c_at_any_moment_makes_nothing(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str, there: bool
) -> None:
    if there:
        (tmp_path / "bay").mkdir()

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(command_new, moment, stopped)
    assert run("new", "bay", "--what", "lamp").status == 130
    assert [one.name for one in tmp_path.rglob("*")] == (["bay"] if there else [])


def test_every_question_is_asked_of_somebody() -> None:
    for what in ("crossing", "lamps", "signal", "lamp"):
        keys = [one.key for one in asked({"what": what})]
        assert keys[:3] == ["what", "name", "station"]
    assert {one.key for what in ("crossing", "lamps", "signal") for one in asked({"what": what})} == {
        one.key for one in QUESTIONS
    }


# --- a person at a terminal ----------------------------------------------------------------------------------------

pty_only = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


class Terminal:
    """`wayside new` in a pseudo-terminal of its own."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.master, slave = os.openpty()
        env = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100"}
        command = [sys.executable, "-m", "wayside", "new", *words]
        self.process = subprocess.Popen(command, cwd=folder, stdin=slave, stdout=slave, stderr=slave, env=env)
        os.close(slave)
        self.text = ""

    def until(self, words: str, since: int = 0) -> None:
        ends = time.monotonic() + 30
        while words not in self.text[since:]:
            assert time.monotonic() < ends, f"{words!r} did not come; this did: {self.text[-600:]!r}"
            if select.select([self.master], [], [], 0.1)[0]:
                try:
                    self.text += os.read(self.master, 4096).decode("utf-8", "replace")
                except OSError:
                    break
        assert words in self.text[since:], self.text[-600:]

    def answer(self, line: str, until: str) -> None:
        since = len(self.text)
        os.write(self.master, line.encode() + b"\n")
        self.until(until, since)

    def status(self) -> int:
        status = self.process.wait(20)
        os.close(self.master)
        return status


@pty_only
def test_a_person_is_asked_and_asked_again(tmp_path: Path, run: Run) -> None:
    terminal = Terminal(tmp_path, "quay-side")
    terminal.until("  [crossing] ")
    terminal.answer("tram", "tram is none of the answers. Write crossing, lamps, signal or lamp.")
    terminal.answer("", "What is the layout called?")
    terminal.until("[Quay Side] ")
    terminal.answer("Pellbrook", "[none] ")
    terminal.answer("late", "How many tracks")
    terminal.answer("7", "7 is not what can stand here. Write 1 or 2.")
    terminal.answer("2", "How many barriers")
    terminal.answer("", "Do detectors see the trains")
    terminal.answer("perhaps", "perhaps is neither yes nor no.")
    terminal.answer("yes", "How far before the road")
    terminal.answer("1000", "1000 is no length.")
    terminal.answer("1,5 m", "How fast is the fastest train?")
    terminal.answer("300 mm/s", "A train that fast is at the road 5.0 s after it is seen")
    terminal.answer("100 mm/s", "Made quay-side: layout.yaml and crossing.scene.")
    terminal.until("Then:")
    assert terminal.status() == 0
    assert run("rehearse", "quay-side").status == 0
    assert 'layout: "Pellbrook"' in (tmp_path / "quay-side" / "layout.yaml").read_text(encoding="utf-8")


@pty_only
@pytest.mark.parametrize("way", ["ctrl-c", "end of input"])
def test_leaving_in_the_middle_makes_nothing(tmp_path: Path, way: str) -> None:
    terminal = Terminal(tmp_path, "bay")
    terminal.until("  [crossing] ")
    terminal.answer("lamps", "What is the layout called?")
    if way == "ctrl-c":
        terminal.process.send_signal(signal.SIGINT)
        terminal.until("Stopped.")
    else:
        os.write(terminal.master, b"\x04")
        terminal.until("Nothing was made.")
    assert terminal.status() == (130 if way == "ctrl-c" else 2)
    assert list(tmp_path.iterdir()) == []


@pty_only
def test_given_options_are_not_asked(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, "bay", "--what", "signal", "--name", "Bay", "--station", "none")
    terminal.until("Has the signal an arm, or lamps?")
    assert "What is to come alive" not in terminal.text
    terminal.answer("arm", "Do detectors")
    terminal.answer("no", "Made bay")
    terminal.until("never a design")
    assert terminal.status() == 0
