"""`wayside time`: the watch, what its seconds mean, where they are kept, and the whole of it in a real terminal.

How far a train goes in a time, and how long a closing takes, is plain arithmetic; each figure is worked out beside it.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from wayside.cli import main
from wayside.layout.file import read_layout
from wayside.project import load
from wayside.walk.timing import Target, Watch, fits, target_of, targets

from .walking import at_the_terminal, port_of, stand_in

S = 1_000_000
LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text, dialect: late, resets when opened: no, start-up: 0 s}
outputs:
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 1 s, safe: lowered}
detectors:
  approach: {kind: section, link: main, pin: 60}   # beyond the bridge
  lane: {kind: section, link: main, pin: 61}
tracks:
  line:
    stretches: [approach: 1500 mm, lane: 300 mm]
    fastest: 100 mm/s        # 15 s to the lane
    shortest train: 200 mm
  siding:
    stretches: [blind: 500 mm]
    fastest: 50 mm/s
    shortest train: 200 mm
crossing:
  crossing: {entrance barriers: [gate], detectors: [approach, lane], on the road: [lane]}
"""
SCENE = """\
scene close-the-gate
    runs whenever any of approach, lane is occupied
    wait 4 s
    move gate to lowered over 6 s
    wait until all of approach, lane are clear
    move gate to raised over 6 s
"""  # 10 s until the gate is down


class Said(NamedTuple):
    status: int
    out: str
    err: str


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "quay"
    home.mkdir()
    (home / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    (home / "gate.scene").write_text(SCENE, encoding="utf-8")
    return home


@pytest.fixture
def timed(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    def run(*words: object) -> Said:
        status = main(["time", *map(str, words)])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        return Said(status, said.out, said.err)

    return run


# --- the watch -----------------------------------------------------------------------------------------------------


def watch() -> Watch:
    return Watch(Target("line", "approach", "lane"))


def test_detectors_time_it_and_later_axles_do_not() -> None:
    one = watch()
    one.hear("approach", "clear", 0)
    one.hear("approach", "occupied", 2 * S)
    one.hear("approach", "clear", 3 * S)  # a dirty wheel
    one.hear("approach", "occupied", 4 * S)
    assert one.running
    one.hear("lane", "occupied", 14 * S + 460_000)
    one.hear("lane", "occupied", 20 * S)
    assert (one.took_us, one.by_hand) == (12 * S + 400_000, False)  # tenths of a second, never too long


def test_what_stands_there_already_is_no_train_that_comes() -> None:
    """What a detector says first, or after it was unknown, is how it stands: `scenes/README.md`, states."""
    one = Watch(Target("line", "approach", "lane"), unheard=True)
    assert "occupied already" in one.hear("approach", "occupied", 1 * S)
    assert one.hear("lane", "occupied", 1 * S) == ""
    one.hear("approach", "clear", 2 * S)
    assert not one.running
    one.hear("approach", "", 3 * S)  # its link was lost
    assert "occupied already" in one.hear("approach", "occupied", 4 * S)
    assert not one.running
    one.hear("approach", "clear", 5 * S)
    one.hear("approach", "occupied", 6 * S)
    one.hear("lane", "clear", 6 * S)
    one.hear("lane", "occupied", 16 * S)
    assert one.took_us == 10 * S


def test_the_first_word_of_a_clear_detector_bids_the_train_come() -> None:
    one = Watch(Target("line", "approach", "lane"), unheard=True)
    assert one.hear("lane", "clear", 0) == ""
    assert one.hear("approach", "clear", 0) == "approach is clear: let the train come."
    assert one.hear("approach", "clear", 1) == ""


def test_a_hand_times_it() -> None:
    one = watch()
    one.press(1 * S)
    one.press(11 * S + 250_000)
    assert (one.took_us, one.by_hand) == (10 * S + 200_000, True)


def test_what_comes_the_wrong_way_or_too_soon_is_no_time() -> None:
    one = watch()
    assert "nothing had been seen on approach" in one.hear("lane", "occupied", 0)
    assert not one.running
    one.press(1 * S)
    assert "no time that a train takes" in one.press(1 * S + 50_000)
    assert one.took_us is None
    one.press(2 * S)
    assert "no time that a train takes" in one.press(2 * S + 3_601 * S)
    one.press(2 * S)
    one.press(3 * S)
    assert one.took_us == S


# --- what it means -------------------------------------------------------------------------------------------------


def test_the_approach_to_the_crossing_is_what_is_timed(folder: Path) -> None:
    program = load([folder]).program
    assert targets(program, program.layout.tracks["line"]) == [Target("line", "approach", "lane")]
    assert target_of(program, "line", None) == Target("line", "approach", "lane")
    assert target_of(program, "line", "lane to approach") == Target("line", "lane", "approach")


@pytest.mark.parametrize(("seconds", "spare"), [(10, 0), (12.5, 2.5), (15, 5), (40, 30)])
def test_it_fits_with_so_much_to_spare(folder: Path, seconds: float, spare: float) -> None:
    """The gate is down after 10 s."""
    (fit,) = fits(load([folder]).program, Target("line", "approach", "lane"), int(seconds * S))
    assert fit.fits
    assert f"leaves {spare:g} s to spare" in fit.says
    assert ("One at the track's fastest, 100 mm/s, would leave 5 s." in fit.says) == (seconds > 15)


def test_what_a_detector_takes_to_settle_is_not_there_for_the_closing(folder: Path) -> None:
    text = LAYOUT.replace("approach: {kind: section,", "approach: {kind: section, settle occupied: 1 s,")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    (fit,) = fits(load([folder]).program, Target("line", "approach", "lane"), 14 * S)
    assert "leaves 3 s to spare" in fit.says  # 14 s, less 1 s, less the closing's 10 s


def test_it_does_not_fit_and_what_would_help_comes_in_the_known_order(folder: Path) -> None:
    (fit,) = fits(load([folder]).program, Target("line", "approach", "lane"), 8 * S)
    assert not fit.fits
    assert "is 2 s too short. It gives 8 s" in fit.says
    # 1500 mm in 8 s are 187.5 mm/s, of which 2 s are 376 mm with the speed rounded up to 188
    assert [way.split(":")[0] for way in fit.helps] == [
        "Start earlier",
        "Hold the train",
        "Run slower",
        "Only then squeeze waits and moves",
    ]
    assert fit.helps[0].startswith("Start earlier: 376 mm more")
    assert "at 150 mm/s or less" in fit.helps[2]  # 1500 mm in 10 s
    assert "fit into 8 s" in fit.helps[3]


def test_a_train_that_fits_where_the_fastest_does_not(folder: Path) -> None:
    text = LAYOUT.replace("fastest: 100 mm/s ", "fastest: 200 mm/s ")  # 7.5 s
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    (fit,) = fits(load([folder]).program, Target("line", "approach", "lane"), 12 * S)
    assert not fit.fits
    assert fit.says.startswith("This train would leave 2 s to spare; one at the track's fastest would not. ")
    assert "is 2.5 s too short" in fit.says


def test_a_hand_that_has_hardly_any_to_spare_is_told_to_do_it_again(folder: Path) -> None:
    target = Target("line", "approach", "lane")
    program = load([folder]).program
    for us, by_hand, again in ((10_300_000, True, True), (10_300_000, False, False), (12 * S, True, False)):
        (fit,) = fits(program, target, us, by_hand)
        assert ("time it once more" in fit.says) == again


# --- kept in the layout file ---------------------------------------------------------------------------------------


def test_the_seconds_are_kept_and_check_goes_by_them(
    folder: Path, timed: Callable[..., Said], capsys: pytest.CaptureFixture[str]
) -> None:
    said = timed(folder, "line", "--took", "8.04s", "--keep")
    assert said.status == 1
    assert "Kept in layout.yaml, under line: timed, approach to lane: 8.0 s on 20" in " ".join(said.out.split())
    assert "As it was: .wayside/layout-before-1.yaml." in " ".join(said.out.split())
    text = (folder / "layout.yaml").read_text(encoding="utf-8")
    assert "# beyond the bridge" in text
    assert re.search(r"\n    timed:.*approach to lane: 8\.0 s on 20\d\d-\d\d-\d\d", text, re.DOTALL)
    layout, problems, _ = read_layout(folder / "layout.yaml", "layout.yaml")
    assert [problem for problem in problems if not problem.advice] == []
    assert [(one.begin, one.end, one.us) for one in layout.tracks["line"].timed] == [("approach", "lane", 8 * S)]
    assert main(["check", str(folder)]) == 0
    checked = capsys.readouterr().out
    assert "the approach is 2 s too short. It gives 8 s: a train was timed in that on 20" in checked
    assert "Write `fastest: 188 mm/s`" in checked


def test_the_fastest_train_stays_unless_one_says_anew(folder: Path, timed: Callable[..., Said]) -> None:
    def kept() -> int:
        return read_layout(folder / "layout.yaml", "layout.yaml")[0].tracks["line"].timed[0].us

    timed(folder, "line", "--took", "12s", "--keep")
    assert "A faster train took 12 s" in timed(folder, "line", "--took", "13s", "--keep").out
    assert kept() == 12 * S
    timed(folder, "line", "--took", "11s", "--keep")
    assert kept() == 11 * S
    timed(folder, "line", "--took", "13s", "--keep", "--anew")
    assert kept() == 13 * S


def test_without_keep_and_without_a_person_nothing_is_kept(folder: Path, timed: Callable[..., Said]) -> None:
    said = timed(folder, "line", "--took", "12s")
    assert (said.status, "Not kept." in said.out) == (0, True)
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == LAYOUT


def test_a_file_that_cannot_be_written_is_said(folder: Path, timed: Callable[..., Said]) -> None:
    (folder / "layout.yaml").chmod(0o444)
    said = timed(folder, "line", "--took", "12s", "--keep")
    assert (said.status, "Not kept:" in said.out) == (1, True)
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == LAYOUT


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("approach to lane: 22", "has no unit"),
        ("approach to lane: 22 s on tuesday", "is not the seconds that a train took"),
        ("approach to lane: 22 s on 2026-02-30", "There is no 2026-02-30"),
        ("approach to lane: 0.05 s", "no time that a train takes"),
        ("approach to lane: 61 min", "no time that a train takes"),
        ("approach: 22 s", "does not say from which stretch to which"),
        ("approach to lanne: 22 s", "Did you mean `lane`?"),
        ("approach to approach: 22 s", "timed to itself"),
    ],
)
def test_a_time_that_is_none_is_told_with_its_place(folder: Path, line: str, says: str) -> None:
    text = LAYOUT.replace(
        "    shortest train: 200 mm\n  siding", f"    shortest train: 200 mm\n    timed: {{{line}}}\n  siding"
    )
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    _, problems, _ = read_layout(folder / "layout.yaml", "layout.yaml")
    (problem,) = [one for one in problems if not one.advice]
    assert says in f"{problem.what} {problem.instead}"
    assert problem.place.line == 14


# --- wrong usage ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "Write the folder and the track"),
        (["quay"], "Write the folder and the track"),
        (["quay", "lin"], "Did you mean line?"),
        (["quay", "siding"], "fewer than two detectors"),
        (["quay", "line", "--stretch", "approach"], "takes two detectors"),
        (["quay", "line", "--stretch", "approach to lanne"], "Did you mean lane?"),
        (["quay", "line", "--took", "12"], "a time with its unit"),
        (["quay", "line", "--took", "12s", "--dry-run"], "leave out --port and --dry-run"),
        (["quay", "line", "--port", "/dev/ttyUSB0", "--dry-run"], "leave one of the two out"),
        (["", "line"], "is empty"),
    ],
)
def test_wrong_usage_is_said_in_one_sentence(
    folder: Path, timed: Callable[..., Said], monkeypatch: pytest.MonkeyPatch, words: list[str], says: str
) -> None:
    monkeypatch.chdir(folder.parent)
    said = timed(*words)
    assert (said.status, says in said.err) == (2, True), said


def test_a_time_that_no_train_takes_is_refused(folder: Path, timed: Callable[..., Said]) -> None:
    assert timed(folder, "line", "--took", "50ms").status == 1


# --- at the terminal -----------------------------------------------------------------------------------------------

needs_ports = pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs terminals that a program can open")


@needs_ports
def test_a_hand_presses_enter_twice_and_keeps_it(folder: Path) -> None:
    with at_the_terminal("time", str(folder), "line", "--dry-run") as person:
        person.until("again as it reaches lane")
        person.type("what")
        person.until("Press Enter as the nose passes")
        person.type("")
        person.until("the time runs")
        began = time.monotonic()
        time.sleep(1.0)
        person.type("")
        person.until(" s from approach to lane.")
        took = time.monotonic() - began
        person.until("Keep these seconds")
        person.type("yes")
        assert person.ended() == 1
        seconds = float(re.findall(r"([0-9.]+) s from approach", person.text)[0])
        assert 0.8 <= seconds <= took + 0.1
        assert "Kept in layout.yaml" in person.text


@needs_ports
def test_the_detectors_of_a_real_link_time_it_and_nothing_is_told_to_an_output(folder: Path) -> None:
    with stand_in() as layout, at_the_terminal("time", str(folder), "line", "--port", port_of(layout)) as person:
        person.until("approach is clear: let the train come.")
        for number, active in ((60, True), (60, False), (61, True)):
            layout.ask(lambda station, now_us, n=number, a=active: station.detector(n, a, now_us))
            if number == 60:
                time.sleep(0.6)
        person.until(" s from approach to lane.")
        person.until("Keep these seconds")
        person.type("no")
        assert person.ended() == 1
        seconds = float(re.findall(r"([0-9.]+) s from approach", person.text)[0])
        assert 1.1 <= seconds <= 2.0
        assert "Not kept" in person.text
        commands = layout.ask(lambda station, _: [entry.command for entry in station.log])
        assert [one for one in commands if one[1:3] in ("a ", "A ", "z ")] == []
        assert [one for one in commands if one[1:2] in "01" and one] == []


@needs_ports
def test_detectors_are_typed_in_a_dry_run(folder: Path) -> None:
    with at_the_terminal("time", str(folder), "line", "--dry-run") as person:
        person.until("again as it reaches lane")
        person.type("lane occupied")
        person.until("nothing had been seen on approach before")
        person.type("approach occupied")
        person.until("the time runs")
        time.sleep(0.3)
        person.type("lane")
        person.until("Keep these seconds")
        person.type("no")
        assert person.ended() == 1


@needs_ports
def test_it_is_left_without_a_time(folder: Path) -> None:
    with at_the_terminal("time", str(folder), "line", "--dry-run") as person:
        person.until("quit leaves")
        person.type("quit")
        assert person.ended() == 130
        assert "Nothing was timed." in person.text
