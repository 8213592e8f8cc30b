"""`wayside jog`: what goes over a real line to the stand-in, real keys in a real pseudo-terminal, and what is saved."""

from __future__ import annotations

import json
import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

from adapters import dialects
from adapters.link_states import Times
from adapters.stand_in import Settings, Station
from adapters.stand_in_ports import StandIn, running
from wayside.cli import main
from wayside.far_ends import trial_talk
from wayside.jog import session as jog_session
from wayside.jog.jogging import Jog
from wayside.layout.file import read_layout
from wayside.live import last_positions

ROOT = Path(__file__).parents[2]
LAYOUT = """\
layout: Pellbrook Quay  # of the club
links:
  main: {kind: serial text, dialect: late, start-up: 0 s}
  old: {kind: serial text, dialect: early}
outputs:
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, limits: 0 deg to 90 deg,
         full travel: 300 ms, safe: lowered}  # the near one
  crane: {kind: servo, link: main, pin: 21, positions: {quay: 20 deg, ship: 140 deg}, full travel: 3 s}
  arm: {kind: servo, link: main, address: 5, positions: {danger: 0 deg, clear: 45 deg}, moves by itself: 2 s}
  far: {kind: servo, link: old, pin: 3, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s}
  model: {kind: servo, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s}
  home: {kind: signal, aspects: {danger: {far: danger}, clear: {far: clear}}}
  amber: {kind: lamp}
"""
QUICK = Times(banner_us=200_000, quiet_us=20_000, answer_us=200_000)


class Said(NamedTuple):
    status: int
    out: str
    err: str


Jogged = Callable[..., Said]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    return tmp_path


@pytest.fixture
def jogged(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, folder: Path) -> Jogged:
    import io

    monkeypatch.setattr(trial_talk, "TIMES", QUICK)
    monkeypatch.chdir(folder)

    def run(*words: object, typed: str = "") -> Said:
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        status = main(["jog", *map(str, words)])
        said = capsys.readouterr()
        assert "fault in Wayside" not in said.err, said.err
        return Said(status, said.out, said.err)

    return run


@contextmanager
def far_end(**doors: int | bool) -> Iterator[StandIn]:
    with running(Station(Settings(servos=(20, 21))), **doors) as stand_in:  # type: ignore[arg-type]
        yield stand_in


def port_of(stand_in: StandIn) -> str:
    assert stand_in.pty is not None
    return stand_in.pty.name


def heard(stand_in: StandIn) -> list[str]:
    log = stand_in.ask(lambda station, _: list(station.log))
    return [entry.command.strip("<>") for entry in log if entry.command not in ("", "<s>")]


def pulse(degrees: float) -> int:
    """The references' common library: 544 to 2400 us over 0 to 180 degrees."""
    return round(544 + degrees * (2400 - 544) / 180)


# --- shown only ----------------------------------------------------------------------------------------------------


def test_without_a_port_it_shows_what_would_be_told(jogged: Jogged, folder: Path) -> None:
    said = jogged("gate", typed="to lowered\n+ 10\nend\n")
    assert (said.status, said.err) == (0, "")
    assert re.findall(r"<(.*?)>", said.out) == [f"z 20 {pulse(at)}" for at in (85, 0, 10)] + ["z 20 0"]
    assert "Nothing is sent." in said.out
    assert "With a port it would jump, and ask before" in said.out
    assert not (folder / ".wayside").exists()
    assert max(map(len, said.out.splitlines())) <= 120


def test_saving_needs_no_port(jogged: Jogged, folder: Path) -> None:
    said = jogged("gate", "--dry-run", typed="to 80\nhere is raised\nlimits 0 deg to 88 deg\ntravel 4 s\nsave\nend\n")
    assert "Saved in layout.yaml: raised 80 deg; limits 0 deg to 88 deg; full travel 4 s." in said.out
    text = LAYOUT.replace("raised: 85 deg", "raised: 80 deg").replace("0 deg to 90 deg", "0 deg to 88 deg")
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == text.replace("300 ms", "4 s")
    assert (folder / ".wayside" / "layout-before-1.yaml").read_text(encoding="utf-8") == LAYOUT


def test_what_is_not_saved_is_told_at_the_end(jogged: Jogged, folder: Path) -> None:
    said = jogged("gate", typed="to 80\nhere is raised\n")
    assert "Not saved: raised 80 deg" in said.out.splitlines()[-1]
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == LAYOUT


def test_saving_twice_and_a_file_that_somebody_changed(
    jogged: Jogged, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = "to 80\nhere is raised\nsave\nto 79\nhere is raised\nsave\n"
    assert jogged("gate", typed=typed).out.count("Saved in") == 2
    first = jog_session.Session.line

    def and_somebody_types(self: jog_session.Session, line: str) -> bool:
        if line.startswith("save"):
            (folder / "layout.yaml").write_text(LAYOUT + "# mine\n", encoding="utf-8")
        return first(self, line)

    monkeypatch.setattr(jog_session.Session, "line", and_somebody_types)
    said = jogged("gate", typed="to 70\nhere is raised\nsave\n")
    assert "Not saved: layout.yaml was changed by somebody else since it was read" in said.out
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == LAYOUT + "# mine\n"


# --- refused -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        ("", 2, "Which servo? There is gate, crane, arm, far and model."),
        ("gat", 2, "The layout has no output gat. Did you mean gate?"),
        ("amber", 2, "amber is a lamp, and only servos are adjusted."),
        ("home", 2, "home is a signal, and only servos are adjusted. Its arm is far."),
        ("model", 2, "model has no wire in the layout file."),
        ("arm", 1, "arm is moved by its board"),
        ("far", 1, "far needs servo positions, and the words of link old (early) have none."),
        ("gate --port ttyUSB0", 2, "--port ttyUSB0: no device and no address is called that."),
        ("gate --port loop://", 2, "Nobody is there to be asked. Add --yes if the port may be opened."),
        ("gate --in nowhere", 2, "There is no file or folder nowhere."),
        ("gate --in=", 2, "--in and --port need something after them."),
        ("gate crane", 2, "wayside jog"),
    ],
)
def test_what_cannot_be_adjusted(jogged: Jogged, words: str, status: int, sentence: str) -> None:
    said = jogged(*words.split())
    assert sentence in said.out + said.err
    assert said.status == status
    assert "`" not in said.out


def test_errors_of_the_layout_come_first(jogged: Jogged, folder: Path) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("kind: lamp", "kind: lump"), encoding="utf-8")
    said = jogged("gate")
    assert (said.status, "Nothing was tried. Put the layout file right first." in said.out) == (1, True)


# --- over a real line ----------------------------------------------------------------------------------------------


def test_it_is_told_step_by_step_and_let_go(jogged: Jogged, folder: Path) -> None:
    with far_end() as stand_in:
        said = jogged("gate", "--port", port_of(stand_in), "--yes", typed="- 1\n- 1\nto lowered\nend\n")
        told = heard(stand_in)
    assert (said.status, said.err) == (0, "")
    assert "gate will jump, at its full speed: nobody knows where it stands." in said.out
    assert "Fingers out of arms" in said.out
    assert told[:3] == [f"z 20 {pulse(at)}" for at in (85, 84, 83)]
    assert told[-2:] == [f"z 20 {pulse(0)}", "z 20 0"]
    way = [int(text.split()[2]) for text in told[2:-1]]
    assert way == sorted(way, reverse=True)
    assert len(way) > 3, "a move to an end is paced"
    kept = json.loads(last_positions.file_for(folder / "layout.yaml").read_text(encoding="utf-8"))
    assert kept == {"gate": 0.0}


def test_a_servo_that_was_let_go_sets_out_from_where_it_was_sent_last(jogged: Jogged) -> None:
    with far_end() as stand_in:
        jogged("gate", "--port", port_of(stand_in), "--yes", typed="let go\nto lowered\nlet go\n+ 1\nend\n")
        told = [int(text.split()[2]) for text in heard(stand_in)]
    assert told[:2] == [pulse(85), 0]
    assert len([us for us in told[2:] if pulse(0) < us < pulse(85)]) > 2, "it is paced, and does not jump"
    assert told[2:4] == sorted(told[2:4], reverse=True)
    assert told[-4:] == [pulse(0), 0, pulse(1), 0]


def test_the_last_position_is_sent_first_and_others_are_kept(jogged: Jogged, folder: Path) -> None:
    kept = last_positions.file_for(folder / "layout.yaml")
    last_positions.write(kept, {"gate": 33.0, "crane": 140.0})
    with far_end() as stand_in:
        said = jogged("gate", "--port", port_of(stand_in), "--yes", "--hold", typed="+\n")
        assert heard(stand_in) == [f"z 20 {pulse(33)}", f"z 20 {pulse(34)}"]
    assert "First it is sent to 33 deg, where it was sent last." in said.out
    assert "jump, at its full speed" not in said.out
    assert json.loads(kept.read_text(encoding="utf-8")) == {"gate": 34.0, "crane": 140.0}


class Line:
    """A station that takes everything, and a clock in our hand."""

    def __init__(self, folder: Path) -> None:
        file = folder / "layout.yaml"
        layout = read_layout(file, file.name)[0]
        self.kept, self.told, self.now_ns = last_positions.file_for(file), list[str](), 0
        last_positions.write(self.kept, {"gate": 85.0, "crane": 140.0})
        files = jog_session.Files(file, file.read_bytes(), self.kept)
        jog = Jog(layout.outputs["gate"], 85.0)
        self.session = jog_session.Session(jog, layout, files, self, lambda: self.now_ns)
        self.session.first(85.0)

    def give(self, text: str) -> None:
        self.told.append(text)
        if len(self.told) == self.ends_at:
            raise KeyboardInterrupt

    ends_at = -1

    def catch(self) -> list[dialects.Said]:
        self.now_ns += self.turn_ns
        return []

    turn_ns = 50_000_000

    def settle(self) -> list[dialects.Said]:
        return []


def test_a_servo_that_is_on_its_way_stands_nobody_knows_where(folder: Path) -> None:
    line = Line(folder)
    assert json.loads(line.kept.read_text(encoding="utf-8")) == {"gate": 85.0, "crane": 140.0}
    line.ends_at = 4  # killed there: nothing of its own is done any more
    with pytest.raises(KeyboardInterrupt):
        line.session.line("to lowered")
    assert json.loads(line.kept.read_text(encoding="utf-8")) == {"crane": 140.0}


def test_a_move_goes_on_from_where_it_was_when_the_program_was_stopped_for_a_while(folder: Path) -> None:
    line = Line(folder)
    line.session.line("travel 10 s")
    line.session._obey("to lowered")
    line.session._turn()
    line.now_ns += 60_000_000_000  # Ctrl-Z, or a laptop that slept
    while line.session._turn():
        pass
    told = [int(text.split()[2]) for text in line.told]
    assert max(before - after for before, after in pairwise(told)) <= pulse(85) * 0.03
    assert json.loads(line.kept.read_text(encoding="utf-8"))["gate"] == 0.0


def test_after_a_show_that_was_not_ended_nobody_knows(jogged: Jogged, folder: Path) -> None:
    kept = last_positions.file_for(folder / "layout.yaml")
    last_positions.write(kept, {"gate": 33.0})
    last_positions.begun(kept)
    with far_end() as stand_in:
        said = jogged("gate", "--port", port_of(stand_in), "--yes")
    assert "gate will jump, at its full speed: a show is running, or the last one was not ended" in said.out


def test_a_station_that_refuses_or_is_silent(jogged: Jogged) -> None:
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("refuses", now))
        said = jogged("gate", "--port", port_of(stand_in), "--yes", typed="+\n+\n")
        assert (said.status, "The station refuses it." in said.out) == (1, True)
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("no-replies", now))
        deaf = jogged("gate", "--port", port_of(stand_in), "--yes", typed="+\n")
        assert (deaf.status, "The station does not answer: it may not have heard" in deaf.out) == (1, True)
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("silence", now, 20_000_000))
        silent = jogged("gate", "--port", port_of(stand_in), "--yes", typed="+\n")
    assert (silent.status, "Nothing came back, so nothing was sent." in silent.out) == (1, True)


def test_a_cable_that_comes_out_loses_no_work(jogged: Jogged, monkeypatch: pytest.MonkeyPatch) -> None:
    with far_end(pty=False, tcp=0) as stand_in:
        line = jog_session.Session.line

        def and_it_comes_out(self: jog_session.Session, text: str) -> bool:
            if text.startswith("to 20"):
                stand_in.ask(lambda station, now: station.fault("unplug", now))
            return line(self, text)

        monkeypatch.setattr(jog_session.Session, "line", and_it_comes_out)
        typed = "to 80\nhere is raised\nto 20\nto 60\nto 20\n"
        said = jogged("gate", "--port", f"socket://127.0.0.1:{stand_in.port}", "--yes", typed=typed)
    assert said.status == 2
    assert said.out.splitlines()[-1] == "  Not saved: raised 80 deg"
    assert len(said.err.strip().splitlines()) == 1


# --- real keys -----------------------------------------------------------------------------------------------------


class Terminal:
    """`wayside jog` in a pseudo-terminal of its own."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.master, slave = os.openpty()
        env = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100", "LINES": "40"}
        command = [sys.executable, "-m", "wayside", "jog", *words]
        self.process = subprocess.Popen(command, cwd=folder, stdin=slave, stdout=slave, stderr=slave, env=env)
        os.close(slave)
        self.text = ""

    def until(self, words: str, since: int = 0, within_s: float = 30.0) -> int:
        """Read until some words have come; where they end."""
        ends = time.monotonic() + within_s
        while words not in self.text[since:]:
            assert time.monotonic() < ends, f"{words!r} did not come; this did: {self.text[-600:]!r}"
            if select.select([self.master], [], [], 0.1)[0]:
                try:
                    self.text += os.read(self.master, 4096).decode("utf-8", "replace")
                except OSError:
                    break
        assert words in self.text[since:], self.text[-600:]
        return self.text.index(words, since) + len(words)

    def press(self, keys: str, until: str) -> None:
        since = len(self.text)
        os.write(self.master, keys.encode())
        self.until(until, since)

    def ended(self) -> int:
        while True:
            try:
                if not os.read(self.master, 4096):
                    break
            except OSError:
                break
        status = self.process.wait(20)
        os.close(self.master)
        return status


pty_only = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


@pty_only
def test_keys_step_set_and_save(folder: Path) -> None:
    with far_end() as stand_in:
        terminal = Terminal(folder, "gate", "--port", port_of(stand_in))
        terminal.until("Open it? Type yes")
        terminal.press("yes\n", "Type yes to send it to raised, 85 deg")
        terminal.press("yes\n", "  85.0 deg  1420 us  step 1 ")
        terminal.press("\x1b[A", "  86.0 deg")
        terminal.press("\x1bOB", "  85.0 deg")
        terminal.press(">", "step 2 ")
        terminal.press("-", "  83.0 deg  1400 us")
        terminal.press("h", "Which end is here? 1 raised, 2 lowered")
        terminal.press("1", "raised is 83 deg now. Not saved yet.")
        terminal.press("2", "   0.0 deg")
        terminal.press("9", "The ends are 1 raised, 2 lowered.")
        terminal.press("x", "x does nothing here. ? lists the keys.")
        terminal.press("é", "é does nothing here.")
        terminal.press(":", "> ")
        terminal.press("to 10 deg\n", "  10.0 deg")
        terminal.press("e", "Not saved yet: raised 83 deg.")
        terminal.press("s", "Saved in")
        terminal.press("e", "Let go: no pulses.")
        assert terminal.ended() == 0
        told = heard(stand_in)
    assert told[:4] == [f"z 20 {pulse(at)}" for at in (85, 86, 85, 83)]
    assert told[-1] == "z 20 0"
    assert (folder / "layout.yaml").read_text(encoding="utf-8") == LAYOUT.replace("raised: 85 deg", "raised: 83 deg")


@pty_only
def test_keys_that_come_at_once_are_all_heard(folder: Path) -> None:
    last_positions.write(last_positions.file_for(folder / "layout.yaml"), {"gate": 45.0})
    with far_end() as stand_in:
        terminal = Terminal(folder, "gate", "--port", port_of(stand_in), "--yes")
        terminal.until("  45.0 deg")
        terminal.press("+++\x1b[A>--\x1b[B+", "  45.0 deg")
        terminal.press("e", "Let go")
        assert terminal.ended() == 0
        told = heard(stand_in)
    assert told == [f"z 20 {pulse(at)}" for at in (45, 46, 47, 48, 49, 47, 45, 43, 45)] + ["z 20 0"]


@pty_only
def test_any_key_ends_a_move_where_it_is(folder: Path) -> None:
    text = LAYOUT.replace("full travel: 300 ms", "full travel: 40 s")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    last_positions.write(last_positions.file_for(folder / "layout.yaml"), {"gate": 85.0})
    with far_end() as stand_in:
        terminal = Terminal(folder, "gate", "--port", port_of(stand_in), "--yes")
        terminal.until("  85.0 deg")
        terminal.press("2", "  84.")
        terminal.press(">", "step 2 ")
        terminal.press("e", "Let go")
        assert terminal.ended() == 0
    kept = json.loads(last_positions.file_for(folder / "layout.yaml").read_text(encoding="utf-8"))
    assert 40 < kept["gate"] < 85


@pty_only
def test_ctrl_c_lets_go_and_says_what_is_not_saved(folder: Path) -> None:
    terminal = Terminal(folder, "gate", "--dry-run")
    terminal.until("step 1 ")
    terminal.press("+", "  86.0 deg")
    terminal.press("h", "Which end")
    terminal.press("1", "Not saved yet.")
    import signal

    terminal.process.send_signal(signal.SIGINT)
    terminal.until("Not saved: raised 86 deg")
    assert terminal.ended() == 130


@pty_only
@pytest.mark.parametrize(("answer", "sent"), [("no\n", []), ("\n", []), ("lowered\n", [0, None]), ("95\n", [])])
def test_where_nobody_knows_it_asks(folder: Path, answer: str, sent: list[int | None]) -> None:
    with far_end() as stand_in:
        terminal = Terminal(folder, "gate", "--port", port_of(stand_in), "--typed")
        terminal.until("Open it? Type yes")
        terminal.press("y\n", "anything else leaves it:")
        os.write(terminal.master, answer.encode())
        if sent:
            terminal.until("> ")
            terminal.press("end\n", "Let go")
        else:
            terminal.until("Nothing was sent.")
        assert terminal.ended() == 0
        assert heard(stand_in) == [f"z 20 {0 if at is None else pulse(at)}" for at in sent]
