"""`wayside run` as a real process: typed lines, Ctrl-C once and twice, a real terminal, and a link to a stand-in."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
QUAY = str(ROOT / "examples" / "pellbrook-quay")
WAITS_S = 30.0  # far more than any of it takes; a hung process must not hang the tests
LAYOUT = """\
layout: Bench
links: {main: {kind: serial text}}
outputs:
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 100 ms,
         rest: raised, safe: lowered}
  lamp: {kind: lamp, link: main, pin: 21}
detectors:
  lane: {kind: section}
"""
SCENES = """\
scene close-the-gate
    runs whenever lane is occupied
    when stopped
        note "stopped in good order"
        move gate to lowered over 300 ms
    turn on lamp
    move gate to lowered over 300 ms
    wait until lane is clear
    move gate to raised over 300 ms
    turn off lamp
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "gate.scene").write_text(SCENES)
    return tmp_path


class Running:
    """A show in a process of its own, its output read as it comes."""

    def __init__(self, process: subprocess.Popen[bytes], reads: int, writes: int) -> None:
        self.process = process
        self.text = ""
        self._reads, self.writes = reads, writes

    def until(self, words: str) -> str:
        """Read on until some words have come."""
        end = time.monotonic() + WAITS_S
        while words not in self.text:
            ready, _, _ = select.select([self._reads], [], [], max(0.0, end - time.monotonic()))
            piece = os.read(self._reads, 65_536) if ready else b""
            if not piece:
                raise AssertionError(f"{words!r} did not come; this did:\n{self.text}")
            self.text += piece.decode(errors="replace")
        return self.text

    def type(self, line: str) -> None:
        os.write(self.writes, line.encode() + b"\n")

    def ended(self) -> int:
        """The exit status, all that was still to come read."""
        end = time.monotonic() + WAITS_S
        while self.process.poll() is None and time.monotonic() < end:
            self._drain(0.05)
        self._drain(0.2)
        return self.process.wait(1)

    def _drain(self, seconds: float) -> None:
        ready, _, _ = select.select([self._reads], [], [], seconds)
        try:
            self.text += os.read(self._reads, 65_536).decode(errors="replace") if ready else ""
        except OSError:  # the terminal is gone with the process
            time.sleep(seconds)


@contextmanager
def running(folder: Path, *options: str, terminal: bool = False, dry: bool = True) -> Iterator[Running]:
    command = [sys.executable, "-m", "wayside", "run", str(folder), *(["--dry-run"] if dry else []), *options]
    env = {**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "100", "LINES": "40"}
    if terminal:
        ours, theirs = pty.openpty()
        process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=env, start_new_session=True)
        os.close(theirs)
        show = Running(process, ours, ours)
    else:
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=env
        )
        assert process.stdin is not None
        assert process.stdout is not None
        show = Running(process, process.stdout.fileno(), process.stdin.fileno())
    try:
        yield show
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe:
                pipe.close()
        if terminal:
            with suppress(OSError):
                os.close(ours)


def test_a_detector_worked_by_hand_starts_the_scene_and_the_end_is_in_good_order(folder: Path) -> None:
    with running(folder) as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("lamp turned on")
        show.type("lane occupyed")
        show.until("Did you mean occupied?")
        show.type("lane clear")
        show.until("scene close-the-gate has ended")
        show.type("end")
        assert show.ended() == 0
        assert "guarded outputs are in their safe state" in show.text
        assert (
            "scene close-the-gate is being stopped: the show is over" in show.text
        )  # idle, and it closes all the same
        assert "stopped in good order" in show.text
        assert "Traceback" not in show.text


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_ends_scenes_through_when_stopped(folder: Path, name: str) -> None:
    with running(folder) as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("lamp turned on")
        show.process.send_signal(getattr(signal, name))
        assert show.ended() == 0
        assert "note: stopped in good order" in show.text
        assert show.text.index("is being stopped") < show.text.index("the show has ended")
        assert "Traceback" not in show.text


def test_a_second_ctrl_c_ends_at_once(folder: Path) -> None:
    slow = SCENES.replace('order"\n        move gate', 'order"\n        wait 60 s\n        move gate')
    assert slow != SCENES
    (folder / "gate.scene").write_text(slow)
    with running(folder) as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("gate moves")
        show.process.send_signal(signal.SIGINT)
        show.until("Ending:")
        show.process.send_signal(signal.SIGINT)
        assert show.ended() == 130
        assert "ended at once" in show.text
        assert "Traceback" not in show.text


def test_a_hurry_is_made_by_ctrl_c_only(folder: Path) -> None:
    """Whoever closes a terminal sends the same signal twice, and the layout is to be left safe all the same."""
    with running(folder) as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("lamp turned on")
        show.process.send_signal(signal.SIGHUP)
        show.until("Ending:")
        show.process.send_signal(signal.SIGHUP)
        show.process.send_signal(signal.SIGTERM)
        assert show.ended() == 0
        assert "note: stopped in good order" in show.text


@pytest.mark.parametrize("terminal", [True, False])
def test_a_terminal_that_is_closed_ends_the_show_in_good_order(folder: Path, terminal: bool) -> None:
    """Also where the signal is lost: nobody is there to be shown anything, and the gate is left safe."""
    (folder / "layout.yaml").write_text(WIRED)
    with stand_in() as (station, port):
        station.type("power on")
        with running(folder, "--port", port, dry=False, terminal=terminal) as show:
            station.until("servo on pin 20: 1472 us, 90 deg")
            station.text = ""
            if terminal:
                os.close(show.writes)
            else:
                assert show.process.stdout is not None
                show.process.stdout.close()
                show.process.stdout = None
                show.type("lane occupied")  # something to be said
            station.until("servo on pin 20: 544 us, 0 deg")
            assert show.process.wait(WAITS_S) == 0


def test_input_that_ends_does_not_end_the_show(folder: Path) -> None:
    with running(folder) as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("lamp turned on")
        assert show.process.stdin is not None
        show.process.stdin.close()
        show.process.stdin = None
        time.sleep(0.3)
        assert show.process.poll() is None
        show.process.send_signal(signal.SIGTERM)
        assert show.ended() == 0


def test_plain_lines_on_a_terminal_fit_it(folder: Path) -> None:
    """Broken between words, what goes on further in; in a pipe each stays one line."""
    words = " ".join(["somebody looks at the gate"] * 6)
    (folder / "talk.scene").write_text(f'scene talk\n    note "{words} and is glad"\n')
    for terminal in (True, False):
        with running(folder, "--plain", "--no-desk", "--no-journal", terminal=terminal) as show:
            show.until("the show begins")
            show.type("start talk")
            show.until("and is glad")
            show.type("end")
            show.ended()
        lines = [line.rstrip("\r") for line in show.text.split("\n")]
        told = next(number for number, line in enumerate(lines) if "note: somebody looks" in line)
        assert (len(lines[told]) <= 100) == terminal
        assert lines[told + 1].startswith("    ") == terminal
        shown = " ".join(lines[told].split() + lines[told + 1].split())
        assert f"{words} and is glad" in shown


def test_on_a_terminal_the_screen_shows_what_runs(folder: Path) -> None:
    with running(folder, terminal=True) as show:
        show.until("everything is at rest")
        show.type("lane occupied")
        show.until("scenes     close-the-gate")
        show.until("occupied   lane")
        show.type("end")
        assert show.ended() == 0
        assert "Traceback" not in show.text


RULED = """\
rule shut
    never lane is occupied while gate is not lowered
rule lit
    whenever lane is occupied, lamp is off within 1 s
    if broken
        note "the lamp burns"
"""


def test_a_broken_rule_is_told_at_once_and_makes_the_status_1(folder: Path) -> None:
    """The gate takes 300 ms, and the train is there at once; the lamp's deadline passes with nobody doing anything."""
    (folder / "gate.scene").write_text(SCENES + RULED)
    with running(folder) as show:
        show.until("2 rules watched: shut and lit.")
        show.type("lane occupied")
        show.until("rule shut is broken   (gate.scene:12)")
        show.until("never lane is occupied while gate is not lowered")
        show.until("close-the-gate is stopped, and its guarded outputs go to their safe state")
        show.until("stopped in good order")
        show.type("lane clear")
        show.type("start close-the-gate")
        show.until("scene close-the-gate has ended")
        show.type("end")
        assert show.ended() == 1
        assert "2 lines of the rules, and what each had to spare where it came closest:\n  broken  shut" in show.text
        assert "guarded outputs are in their safe state" in show.text
        assert "Traceback" not in show.text


def test_what_a_rule_says_under_if_broken_is_done_when_its_time_is_over(folder: Path) -> None:
    (folder / "gate.scene").write_text(SCENES + RULED[RULED.index("rule lit") :])
    with running(folder) as show:
        show.until("1 rule watched: lit.")
        show.type("lane occupied")
        show.until("rule lit is broken   (gate.scene:12)")
        show.until("lamp was on")
        show.until("what its `if broken` says begins")
        show.until("note: the lamp burns")
        show.type("end")
        assert show.ended() == 1


def test_on_a_terminal_a_broken_rule_stays_on_the_screen(folder: Path) -> None:
    (folder / "gate.scene").write_text(SCENES + RULED)
    with running(folder, terminal=True) as show:
        show.until("everything is at rest")
        show.type("lane occupied")
        show.until("rule shut has broken 1 time, the last at")
        show.type("end")
        assert show.ended() == 1
        assert "Traceback" not in show.text


def test_errors_in_the_files_are_said_and_nothing_is_performed(folder: Path) -> None:
    (folder / "gate.scene").write_text(SCENES.replace("turn on lamp", "turn on lmap"))
    with running(folder) as show:
        assert show.ended() == 1
        assert "did you mean `lamp`?" in show.text.lower()
        assert "nothing was performed" in show.text


# --- on a link -----------------------------------------------------------------------------------------------------

WIRED = LAYOUT.replace("{kind: serial text}", "{kind: serial text, dialect: late, start-up: 100 ms}").replace(
    "lane: {kind: section}", "lane: {kind: section, link: main, pin: 60}"
)


@contextmanager
def stand_in() -> Iterator[tuple[Running, str]]:
    """A station in a process of its own, and the port that it listens on."""
    command = [sys.executable, "-m", "wayside", "stand-in", "--tcp", "0"]
    process = subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdin is not None
    assert process.stdout is not None
    station = Running(process, process.stdout.fileno(), process.stdin.fileno())
    try:
        station.until("socket://")
        station.until("Lines that you can type")
        yield station, "socket://" + station.text.split("socket://")[1].split()[0]
    finally:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()


def test_on_a_link_the_gate_is_closed_until_the_detector_has_spoken(folder: Path) -> None:
    (folder / "layout.yaml").write_text(WIRED)
    with stand_in() as (station, port), running(folder, "--port", f"main={port}", dry=False) as show:
        show.until("gate may jump: nobody knows where it stands")
        show.until("link main: opening socket://")
        assert "may reset" not in show.text  # a network port has no lines that could
        show.until("track power is off")
        station.type("power on")
        show.until("link main is talking")
        show.until("detector lane is clear")  # pulled up and nothing on it: clear
        show.until("gate to rest: moves lowered -> raised")
        assert show.text.index("detector lane is clear") < show.text.index("gate to rest")
        station.until("servo on pin 20: 544 us, 0 deg")  # safe came first
        station.until("servo on pin 20: 1472 us, 90 deg")  # raised: 544 us and 10.31 us a degree
        show.process.send_signal(signal.SIGINT)
        assert show.ended() == 0
        station.until("servo on pin 20: 544 us, 0 deg (")  # safe at the end
    kept = folder / ".wayside" / "last-positions.json"
    assert '"gate": 0.0' in kept.read_text()
    with stand_in() as (_, port), running(folder, "--port", port, dry=False) as show:
        show.until("the show begins")
        show.until("track power is off")
        assert "may jump" not in show.text
        show.process.send_signal(signal.SIGINT)
        assert show.ended() == 1
        assert "may not be in their safe state: gate (link main: track power is off)" in show.text
        assert "guarded outputs are in" not in show.text


def test_on_a_link_a_rule_that_a_detector_breaks_leaves_the_gate_safe(folder: Path) -> None:
    """A scene that opens the gate at a wrong time, and a detector that says so: the station's own arm is down."""
    (folder / "layout.yaml").write_text(WIRED)
    blind = "runs whenever lamp is on"
    (folder / "gate.scene").write_text(
        SCENES.replace("runs whenever lane is occupied", blind) + RULED.split("rule lit")[0]
    )
    with stand_in() as (station, port), running(folder, "--port", f"main={port}", dry=False) as show:
        station.type("power on")
        show.until("detector lane is clear")
        station.until("servo on pin 20: 1472 us, 90 deg")  # raised, at rest: nothing keeps it closed
        station.type("detector 60 on")
        show.until("rule shut is broken   (gate.scene:12)")
        show.until("gate goes to its safe state, until a scene that drives it begins")
        show.until("gate to its safe state: moves raised -> lowered")
        station.until("servo on pin 20: 544 us, 0 deg (")
        show.process.send_signal(signal.SIGINT)
        assert show.ended() == 1
        assert "guarded outputs are in their safe state" in show.text


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "No link of this layout says its port"),
        (("--port", "yard=/dev/ttyUSB0"), "the layout has no link yard. There is main."),
        (("--dry-run", "--port", "/dev/ttyUSB0"), "leave one of the two out"),
    ],
)
def test_ports_that_cannot_be_meant(folder: Path, options: tuple[str, ...], says: str) -> None:
    with running(folder, *options, dry=False) as show:
        assert show.ended() == 2
        assert says in show.text


# --- scene files that are edited meanwhile -------------------------------------------------------------------------


def edit(folder: Path, old: str, new: str) -> None:
    text = (folder / "gate.scene").read_text()
    assert old in text
    (folder / "gate.scene").write_text(text.replace(old, new))


@pytest.mark.parametrize("terminal", [False, True])
def test_an_edited_scene_is_swapped_in_by_a_typed_line_and_told_in_its_new_lines(folder: Path, terminal: bool) -> None:
    with running(folder, "--no-desk", terminal=terminal) as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("scene close-the-gate begins" if not terminal else "close-the-gate begins")
        show.type("swap")
        show.until("there is nothing to swap in")
        edit(folder, "scene close-the-gate", "# a remark\n# and another\nscene close-the-gate")
        edit(folder, "wait until lane is clear", 'note "new"\n    wait until lane is clear')
        show.until("type swap now")
        show.type("swap sometime")
        show.until("Write swap now, swap when idle or swap never")
        show.type("swap now")
        show.until("is swapped in: close-the-gate is changed")
        show.until("note: new")
        if not terminal:
            show.until("(close-the-gate, gate.scene:8)")  # turn on lamp, which was line 6
        show.process.send_signal(signal.SIGINT)
        assert show.ended() == 0


def test_on_a_link_a_new_text_waits_until_it_is_asked_for(folder: Path) -> None:
    (folder / "layout.yaml").write_text(WIRED)
    with stand_in() as (station, port), running(folder, "--no-desk", "--port", f"main={port}", dry=False) as show:
        show.until("the show begins")
        station.type("power on")
        show.until("gate to rest: moves lowered -> raised")
        edit(folder, "turn on lamp", 'note "new"\n    turn on lamp')
        show.until("The show goes on with what it has. Type swap now to swap it in.")
        station.type("detector 60 on")
        show.until("close-the-gate begins: lane is occupied")
        station.type("detector 60 off")
        show.until("close-the-gate has ended")
        assert "note: " not in show.text
        show.type("swap when idle")
        show.until("gate.scene is swapped in: close-the-gate is changed")
        station.type("detector 60 on")
        show.until("note: new")
        show.process.send_signal(signal.SIGINT)
        assert show.ended() == 0
    journal = subprocess.run(
        [sys.executable, "-m", "wayside", "journal", str(folder)], capture_output=True, text=True, check=True
    ).stdout
    assert "gate.scene is swapped in: close-the-gate is changed" in journal
    assert "swap when idle" in journal
    assert "gate.scene was saved, and nothing is wrong" in journal


def test_a_show_that_is_killed_after_a_swap_begins_with_the_new_text(folder: Path) -> None:
    with running(folder, "--no-desk") as show:
        show.until("the show begins")
        edit(folder, "turn on lamp", 'note "new"\n    turn on lamp')
        show.until("gate.scene is swapped in")
        show.process.kill()
        show.process.wait()
    with running(folder, "--no-desk") as show:
        show.until("the show begins")
        show.type("lane occupied")
        show.until("note: new")
