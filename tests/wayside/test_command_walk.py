"""`wayside walk` as a person has it: in a real terminal, over a real port to a stand-in, wrong on purpose or not."""

from __future__ import annotations

import csv
import json
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from adapters.stand_in import Station
from adapters.stand_in_ports import StandIn
from wayside.cli import main

from .walking import Person, at_the_terminal, port_of, stand_in

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs serial ports that a program can open")

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text, dialect: late, resets when opened: no, start-up: 0 s}
boards:
  box: {link: main, first address: 40, ports: 8}
outputs:
  amber: {kind: lamp, board: box, port: 0}
  hut: {kind: lamp, board: box, port: 1}
  boom-lamps: {kind: lamp, board: box, port: 2}
  bell: {kind: sound, board: box, port: 4}
  shed: {kind: lamp, board: box, port: 5}
  inn: {kind: lamp, dimmable: yes, link: main, pin: 100}
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 1 s, safe: lowered}
  sky: {kind: lamp, dimmable: yes}
detectors:
  lane: {kind: section, link: main, pin: 60}
  yard: {kind: section, link: main, pin: 61}
"""
THINGS = {
    "accessory 40": "amber",
    "accessory 41": "hut",
    "accessory 42": "boom-lamps",
    "accessory 44": "bell",
    "accessory 45": "shed",
    "pin 100": "inn",
    "pin 20": "gate",
}
INPUTS = {"lane": 60, "yard": 61}


class Said(NamedTuple):
    status: int
    out: str
    err: str


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "quay"
    home.mkdir()
    (home / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    return home


@pytest.fixture
def walk(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    def run(*words: object) -> Said:
        status = main(["walk", *map(str, words)])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        return Said(status, said.out, said.err)

    return run


def commands(layout: StandIn) -> list[str]:
    return layout.ask(lambda station, _: [entry.command for entry in station.log if entry.command])


def moving(layout: StandIn) -> list[str]:
    """What was told to outputs; questions and definitions are no such thing."""
    return [one for one in commands(layout) if one[1:3] in ("a ", "z ", "A ", "Z ") and one.count(" ") < 4]


# --- whole walks ---------------------------------------------------------------------------------------------------


def test_a_right_layout_is_walked_to_its_end(folder: Path, walk: Callable[..., Said]) -> None:
    with stand_in() as layout, at_the_terminal("walk", str(folder), "--port", port_of(layout), "--no-desk") as person:
        Person(person, layout, THINGS, INPUTS).walks()
        assert "9 stops: 9 as they should be." in person.text
        assert "Everything does what the layout file says." in person.text
        assert "Not walked: sky has no wire" in person.text
        person.type("quit")
        assert person.ended() == 0
        assert max(len(line) for line in person.text.splitlines()) <= 100
    assert walk(folder, "--report").status == 0
    kept = json.loads((folder / ".wayside" / "last-positions.json").read_text())
    assert kept == {"gate": 0.0}  # at home, which for what is guarded is its safe state


def test_a_station_that_counts_from_another_board_is_found_and_what_is_put_right_is_walked_anew(
    folder: Path, walk: Callable[..., Said]
) -> None:
    options = ("--no-desk", "--only", "box")
    with stand_in("off-by-four") as layout:
        with at_the_terminal("walk", str(folder), "--port", port_of(layout), *options) as person:
            Person(person, layout, THINGS, INPUTS).walks()
            assert "amber: bell moves instead." in person.text
            assert "hut: shed moves instead." in person.text
            assert "bell: does nothing." in person.text
            assert "1. The accessories of link main are off by four" in person.text
            assert "try: Write `boards from: 0` for link main" in person.text
            assert "  2. " not in person.text.partition("off by four")[2]
            person.type("quit")
            assert person.ended() == 1
        text = LAYOUT.replace("start-up: 0 s", "start-up: 0 s, boards from: 0")
        (folder / "layout.yaml").write_text(text, encoding="utf-8")
        assert "has changed: walked anew" in walk(folder, "--report").out
        with at_the_terminal("walk", str(folder), "--port", port_of(layout), *options) as person:
            Person(person, layout, THINGS, INPUTS).walks()
            assert "5 as they should be, 4 still open" in person.text
            person.type("quit")
            assert person.ended() == 0


def test_a_dead_board_a_reversed_servo_and_two_exchanged_detectors(folder: Path) -> None:
    """The board's accessories do nothing; the person sees the gate go the wrong way; the two sections are exchanged."""

    class Pessimist(Person):
        expected = INPUTS

        def _answer(self, name: str, before: int) -> str:
            return "wrong way" if name == "gate" else super()._answer(name, before)

    with stand_in() as layout, at_the_terminal("walk", str(folder), "--port", port_of(layout), "--no-desk") as person:
        things = {"pin 100": "inn", "pin 20": "gate"}
        Pessimist(person, layout, things, {"lane": 61, "yard": 60}).walks()
        assert "  1. Nothing on box moves (amber, hut, boom-lamps, bell and shed)" in person.text
        assert "lane and yard are exchanged: each reports as the other." in person.text
        assert "The ends of gate are reversed." in person.text
        person.type("quit")
        assert person.ended() == 1


def test_a_detector_under_another_number_is_told_with_that_number(folder: Path) -> None:
    class Knows(Person):
        expected = INPUTS

    options = ("--no-desk", "--only", "lane")
    with stand_in() as layout:
        layout.ask(lambda station, now_us: station.detector(77, False, now_us))
        with at_the_terminal("walk", str(folder), "--port", port_of(layout), *options) as person:
            person.until("Type ready")
            define(layout, 77)
            Knows(person, layout, THINGS, {"lane": 77}).walks_on()
            assert "lane reports under another number: 77." in person.text
            person.type("quit")
            assert person.ended() == 1


def define(layout: StandIn, number: int) -> None:
    """Somebody else has defined it in the station before."""
    layout.ask(lambda station, now_us: station.machine.do(f"S {number} {number} 1", now_us))


# --- with care -----------------------------------------------------------------------------------------------------


def test_nothing_is_told_before_hands_are_off_and_the_track_power_is_never_switched(folder: Path) -> None:
    with stand_in(power=False) as layout:
        with at_the_terminal("walk", str(folder), "--port", port_of(layout), "--no-desk") as person:
            person.until("Type ready")
            assert "track power is off" in person.text
            person.type("yess")
            person.until("Nothing moves before")
            assert moving(layout) == []
            person.type("ready")
            person.until("Nothing is told yet. Link main:")
            assert moving(layout) == []
            layout.ask(lambda station, now_us: station.power(True, now_us))
            wait_for(lambda: moving(layout))
            person.type("quit")
            assert person.ended() == 0
        assert [one for one in commands(layout) if one[1:2] in "01"] == []
        assert {one.rpartition(" ")[0] for one in moving(layout)} == {"<a 10 3"}  # accessory 40, which is amber


def test_a_guarded_servo_moves_after_it_was_agreed_to_and_gently(folder: Path) -> None:
    options = ("--no-desk", "--only", "gate")
    with stand_in() as layout, at_the_terminal("walk", str(folder), "--port", port_of(layout), *options) as person:
        person.until("Type ready")
        person.type("ready")
        person.until("Type go, or skip:")
        assert "Nobody knows where it stands: it may jump" in " ".join(person.text.split())
        time.sleep(0.3)
        assert moving(layout) == []
        person.type("go")
        person.until("now: to lowered")
        person.until("now: to raised")
        angles = []
        end = time.monotonic() + 6.0
        while time.monotonic() < end and (not angles or angles[-1][1] < 84.0):
            now = layout.ask(lambda station, now_us: (now_us, station.angle(20, now_us)))
            angles.append(now)
            time.sleep(0.05)
        assert angles[-1][1] >= 84.0
        speeds = [(b[1] - a[1]) / (b[0] - a[0]) * 1e6 for a, b in zip(angles[::4], angles[4::4], strict=False)]
        assert 10.0 < max(speeds) < 85.0  # degrees a second: its own full travel takes 1 s
        person.type("yes")
        person.until("That was the last stop")
        person.type("quit")
        assert person.ended() == 0
        assert layout.ask(lambda station, now_us: station.angle(20, now_us)) == pytest.approx(0.0, abs=1.0)


def test_ctrl_c_leaves_everything_still_and_the_walk_kept(folder: Path) -> None:
    options = ("--no-desk", "--only", "gate", "--only", "amber")
    with stand_in() as layout, at_the_terminal("walk", str(folder), "--port", port_of(layout), *options) as person:
        person.until("Type ready")
        person.type("ready")
        person.until("skip:")
        person.type("yes")
        person.until("Type go, or skip:")
        person.type("go")
        person.until("now: to raised")
        wait_for(lambda: layout.ask(lambda station, now_us: station.angle(20, now_us)) > 20.0)
        person.process.send_signal(signal.SIGINT)
        assert person.ended() == 130
        here = layout.ask(lambda station, now_us: station.angle(20, now_us))
        time.sleep(0.5)
        assert layout.ask(lambda station, now_us: station.angle(20, now_us)) == pytest.approx(here, abs=1.0)
        assert 15.0 < here < 84.0
        assert "The walk is kept" in person.text
    assert json.loads((folder / ".wayside" / "walk.json").read_text())["answers"].keys() == {"amber"}
    kept = json.loads((folder / ".wayside" / "last-positions.json").read_text())
    assert kept["gate"] == pytest.approx(here, abs=3.0)


def test_a_walk_is_gone_on_with_where_it_was_left(folder: Path, walk: Callable[..., Said]) -> None:
    def some(*words: str, options: tuple[str, ...] = ()) -> str:
        with at_the_terminal("walk", str(folder), "--dry-run", "--no-desk", *options) as person:
            person.until("Type ready")
            person.type("ready")
            for word in words:
                person.until("skip:")
                person.type(word)
            person.type("quit")
            person.ended()
            return person.text

    some("yes", "no", "not sure")
    text = some("yes")
    assert "Pellbrook Quay: 7 stops, 2 walked before." in text
    assert "  1 of 7  boom-lamps" in text
    assert "  1 of 7  hut" in some("yes", options=("--again",))
    assert "9 stops." in some("yes", options=("--anew",))
    assert (folder / ".wayside" / "walk.before.json").exists()
    assert "1 as they should be" in walk(folder, "--report").out


def test_what_was_kept_and_is_damaged_is_said_and_passed_over(folder: Path, walk: Callable[..., Said]) -> None:
    home = folder / ".wayside"
    home.mkdir()
    for text in (
        "{",
        "[]",
        '{"answers": 3}',
        '{"answers": {"amber": {"how": "perhaps"}}}',
        '{"answers": {"amber": 1}}',
    ):
        (home / "walk.json").write_text(text)
        said = walk(folder, "--report")
        assert (said.status, "9 still open" in said.out) == (0, True)


# --- the result to give away ---------------------------------------------------------------------------------------


def test_the_result_as_a_page_and_as_a_table(folder: Path, tmp_path: Path, walk: Callable[..., Said]) -> None:
    page, table = tmp_path / "walk.md", tmp_path / "walk.csv"
    with at_the_terminal(
        *("walk", str(folder), "--dry-run", "--no-desk", "--markdown", str(page), "--csv", str(table))
    ) as person:
        person.until("Type ready")
        person.type("ready")
        for word in ("yes", "other =1+1|*bold*", "no"):
            person.until("skip:")
            person.type(word)
        person.until("skip:")
        person.type("quit")
        assert person.ended() == 1
    text = page.read_text(encoding="utf-8")
    assert text.startswith("# A walk round Pellbrook Quay\n")
    assert "| amber | a lamp | port 0 of box, accessory 40 | does it |" in text
    assert r"=1+1\|\*bold\* moves instead" in text
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert [row["answer"] for row in rows[:4]] == ["yes", "other", "no", ""]
    assert rows[1]["instead"] == "'=1+1|*bold*"
    assert rows[2]["likely fault"].startswith("boom-lamps does nothing")
    assert {row["stop"] for row in rows} == {*THINGS.values(), *INPUTS}


# --- wrong usage ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "Which layout is walked?"),
        (["quay", "--dry-run", "--port", "/dev/ttyUSB0"], "leave one of the two out"),
        (["quay", "--only", "ambr", "--dry-run"], "Did you mean amber?"),
        (["quay", "--only", "sky", "--dry-run"], "sky cannot be walked: sky has no wire"),
        (["quay", "--order", "bord", "--dry-run"], "Did you mean board?"),
        (["quay", "--report", "--anew"], "Leave one of the two out."),
        (["quay", "--report", "--only", "amber"], "leave out --only"),
        (["quay", "--no-desk", "--lan", "--dry-run"], "leaves the page out: leave out --desk"),
        (["quay", "--markdown", "", "--report"], "need the name of a file"),
        (["quay", "--markdown", "nowhere/x.md", "--report"], "cannot be written"),
        (["quay"], "No link of this layout says its port"),
        (["quay", "--desk", "80", "--dry-run"], "1024 to 65535"),
        (["elsewhere"], "elsewhere"),
        (["quay\0"], "There is no file or folder"),
    ],
)
def test_wrong_usage_is_said_in_one_sentence(
    folder: Path, walk: Callable[..., Said], monkeypatch: pytest.MonkeyPatch, words: list[str], says: str
) -> None:
    monkeypatch.chdir(folder.parent)
    said = walk(*words)
    assert said.status == 2
    assert says in said.err
    assert len(said.err.splitlines()) <= 2


def test_a_layout_with_errors_is_not_walked(folder: Path, walk: Callable[..., Said]) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("kind: sound", "kind: sond"), encoding="utf-8")
    said = walk(folder, "--dry-run")
    assert (said.status, "Nothing was walked." in said.out) == (1, True)


def test_a_port_that_may_reset_is_asked_for(folder: Path) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("resets when opened: no, ", ""), encoding="utf-8")
    with stand_in() as layout, at_the_terminal("walk", str(folder), "--port", port_of(layout), "--no-desk") as person:
        person.until("may reset the station")
        person.until("Type yes")
        person.type("no")
        assert person.ended() == 0
        assert "Nothing was opened" in person.text
        assert layout.ask(lambda station, _: station.told) <= 1  # the track power, by hand


def wait_for(holds: Callable[[], object]) -> None:
    end = time.monotonic() + 30.0
    while not holds():
        assert time.monotonic() < end, "it did not come to be"
        time.sleep(0.02)


def test_the_station_is_a_station() -> None:
    """The stand-in, not wayside, decides what moves: with the fault another accessory does."""
    right, wrong = Station(), Station()
    wrong.fault("off-by-four", 0)
    seen = []
    for station in (right, wrong):
        station.opened(0)
        station.power(True, 0)
        station.received(b"<a 11 3 1>", 3_000_000)
        station.advance(4_000_000)
        seen.append([entry.thing for entry in station.log if entry.thing.startswith("accessory")])
    assert seen[0] != seen[1]
