"""`wayside stand-in` as a person meets it: what it prints, what it is told, typed lines, and every way out."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
import serial

from adapters import stand_in_faults
from adapters.stand_in import Entry, Settings, Station
from wayside.cli import main
from wayside.commands import stand_in as command_stand_in
from wayside.far_ends.stand_in_teller import LINES_A_SECOND, Teller, clock, line_of

ROOT = Path(__file__).parents[2]
MS, S = 1_000, 1_000_000
PATIENCE_S = 10.0

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text}
  pier: {kind: serial text, boards from: 0}
boards:
  crossing-board: {link: main, first address: 40, ports: 8}
outputs:
  amber: {kind: lamp, board: crossing-board, port: 0}
  near-barrier: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 3 s}
  pier-lamp: {kind: lamp, link: pier, pin: 30}
buttons:
  evening-button: {link: main, pin: 40}
"""

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


class Said(NamedTuple):
    status: int
    out: str
    err: str


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    return tmp_path


@pytest.fixture
def wayside(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Said]:
    """For what never gets as far as running."""
    monkeypatch.setattr(
        command_stand_in, "_serve", lambda stand_in, teller: command_stand_in._open(stand_in) or stand_in.close() or 99
    )

    def run(*words: str) -> Said:
        status = main(["stand-in", *words])
        return Said(status, *capsys.readouterr())

    return run


# --- one that runs -------------------------------------------------------------------------------------------------


class Running:
    """A stand-in in a program of its own, as a person starts it."""

    def __init__(self, tmp_path: Path, *words: str) -> None:
        environment = {**os.environ, "TMPDIR": str(tmp_path), "PYTHONPATH": str(ROOT)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "wayside", "stand-in", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            cwd=ROOT,
            env=environment,
            bufsize=0,
        )
        self.text = ""
        self.until("`show`.\n\n")

    def until(self, words: str) -> str:
        """Read what it says up to some words; all that it has said so far."""
        assert self.process.stdout is not None
        while words not in self.text:
            data = self.process.stdout.read(4_096)
            assert data, f"it ended, having said:\n{self.text}"
            self.text += data.decode()
        return self.text

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line.encode() + b"\n")

    def end(self, by: int = signal.SIGINT) -> int:
        assert self.process.stdout is not None
        self.process.send_signal(by)
        while data := self.process.stdout.read(65_536):
            self.text += data.decode()
        return self.process.wait(PATIENCE_S)

    @property
    def pty(self) -> str:
        found = re.search(r"serial port: (\S+?)(,|\n)", self.text)
        assert found
        return found[1]

    @property
    def url(self) -> str:
        found = re.search(r"socket://\S+", self.text)
        assert found
        return found[0]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Running]]:
    with contextlib.ExitStack() as stack:

        def begin(*words: str) -> Running:
            running = Running(tmp_path, *words)
            stack.enter_context(running.process)
            stack.callback(running.process.kill)
            return running

        yield begin


def test_it_says_where_it_listens_and_what_it_is_told(start: Callable[..., Running], tmp_path: Path) -> None:
    stand_in = start("--pty", "--tcp", "0")
    assert stand_in.pty == str(tmp_path / "wayside-stand-in")
    assert re.fullmatch(r"socket://127\.0\.0\.1:\d+", stand_in.url)
    for number, url in enumerate((stand_in.pty, stand_in.url)):
        with contextlib.closing(serial.serial_for_url(url, 115_200, timeout=PATIENCE_S)) as port:
            port.write(b"<z 2%d 1420><s>" % number)
            assert b"<p0>" in port.read_until(b"<p0>")
            stand_in.until(f"servo on pin 2{number}: 1420 us, 85 deg")
    assert re.search(r"^ +0:\d\d\.\d  servo on pin 20: 1420 us, 85 deg +<z 20 1420>$", stand_in.text, re.M)
    assert stand_in.end() == 0
    assert re.search(r"Stopped after 0:\d\d\.\d: 4 commands\.\n$", stand_in.text)
    assert not list(tmp_path.glob("wayside*"))


def test_without_options_it_is_a_serial_port(start: Callable[..., Running]) -> None:
    stand_in = start()
    assert stand_in.pty
    assert "TCP" not in stand_in.text
    with contextlib.closing(serial.serial_for_url(stand_in.pty, timeout=PATIENCE_S)) as port:
        assert port.read_until(b">") == b"<iWayside stand-in>"


def test_with_a_tcp_port_alone_it_is_no_serial_port(start: Callable[..., Running]) -> None:
    stand_in = start("--tcp", "0")
    assert "serial port" not in stand_in.text
    assert stand_in.end(signal.SIGTERM) == 0


def test_hands_at_the_keyboard(start: Callable[..., Running]) -> None:
    stand_in = start("--tcp", "0")
    with contextlib.closing(serial.serial_for_url(stand_in.url, timeout=PATIENCE_S)) as port:
        port.write(b"<S 12 26 1>")
        stand_in.until("detector 12: it is pin 26, pulled up")
        stand_in.type("detector 12 on")
        assert port.read_until(b"<Q 12>").endswith(b"<Q 12>")
        stand_in.until("detector 12: on\n")
        stand_in.type("power on\nshow")
        stand_in.until("detector 12 (pin 26): on")
        assert "track power: on, by hand" in stand_in.text
        stand_in.type("explode")
        stand_in.until("There is nothing called explode to do here.")
        stand_in.type("fault unplug 100 ms")
        stand_in.until("the cable is in again")
    stand_in.type("fault garbage\nhelp\nfaults")
    stand_in.until("it says everything twice")
    stand_in.type("quit")
    stand_in.until("Stopped after")
    assert stand_in.process.wait(PATIENCE_S) == 0


def test_faults_from_the_start(start: Callable[..., Running]) -> None:
    stand_in = start("--tcp", "0", "--fault", "doubled-replies", "--fault", "late-replies 200 ms")
    with contextlib.closing(serial.serial_for_url(stand_in.url, timeout=PATIENCE_S)) as port:
        port.write(b"<0>")
        began = time.monotonic()
        assert b"<p0>\r\n<p0>\r\n" in port.read_until(b"<p0>\r\n<p0>\r\n")
        assert time.monotonic() - began >= 0.19
    assert "fault late-replies: everything it says comes 200 ms late" in stand_in.until("opened")


def test_it_goes_on_when_nobody_can_type(start: Callable[..., Running]) -> None:
    stand_in = start("--tcp", "0")
    assert stand_in.process.stdin is not None
    stand_in.process.stdin.close()
    with contextlib.closing(serial.serial_for_url(stand_in.url, timeout=PATIENCE_S)) as port:
        port.write(b"<0>")
        assert b"<p0>" in port.read_until(b"<p0>")
    stand_in.process.stdin = None
    assert stand_in.end() == 0


def test_a_screen_that_goes_away_ends_it(start: Callable[..., Running]) -> None:
    stand_in = start("--tcp", "0")
    assert stand_in.process.stdout is not None
    stand_in.process.stdout.close()
    with contextlib.closing(serial.serial_for_url(stand_in.url, timeout=PATIENCE_S)) as port:
        port.write(b"<z 12 40>")
        assert stand_in.process.wait(PATIENCE_S) == 141


def test_on_a_terminal(tmp_path: Path) -> None:
    """Ctrl-C with a line half typed, and a terminal that is closed: it leaves nothing behind."""
    import pty

    for closes in (False, True):
        number, terminal = pty.fork()
        if number == 0:
            os.environ.update(TMPDIR=str(tmp_path), PYTHONPATH=str(ROOT))
            os.execv(sys.executable, [sys.executable, "-m", "wayside", "stand-in"])
        said = b""
        while b"`show`." not in said:
            said += os.read(terminal, 4_096)
        os.write(terminal, b"power on\n")
        while b"by hand" not in said:
            said += os.read(terminal, 4_096)
        assert (tmp_path / "wayside-stand-in").is_symlink()
        if closes:
            os.close(terminal)
        else:
            os.write(terminal, b"sho\x03")
            while b"no commands." not in said:
                said += os.read(terminal, 4_096)
        status = os.waitstatus_to_exitcode(os.waitpid(number, 0)[1])
        assert status == 0 or (closes and status == 2)  # it may have been about to write, and could not
        if not closes:
            os.close(terminal)
        assert not list(tmp_path.iterdir())


def test_a_layout_gives_its_names(start: Callable[..., Running], folder: Path) -> None:
    stand_in = start(str(folder), "--link", "main")
    with contextlib.closing(serial.serial_for_url(stand_in.pty, timeout=PATIENCE_S)) as port:
        port.write(b"<z 20 1420><a 11 0 1><a 10 3 1>")
        stand_in.until("servo on pin 20, near-barrier: 1420 us, 85 deg")
        stand_in.until("accessory 40, amber: nobody hears it, the track power is off")
        stand_in.type("detector 40 on")
        stand_in.until("detector 40, evening-button: on, but nobody has defined it")


def test_the_demo_world_can_be_stood_in_for(start: Callable[..., Running]) -> None:
    stand_in = start("examples/pellbrook-quay")
    stand_in.type("show")
    stand_in.until("servo on pin 20: no pulses, at 90 deg")


# --- wrong usage ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--tcp", "quay"], "--tcp takes the number of a port, such as 4041, or 0 for any free one; not 'quay'."),
        (["--tcp", "65536"], "--tcp takes the number of a port"),
        (["--tcp", "-1"], "--tcp"),
        (["--tcp", ""], "--tcp takes the number of a port"),
        (["--tcp", "1", "--tcp", "2"], "--tcp is given twice"),
        (["--fault", "silense"], "Did you mean silence?"),
        (["--fault", "garbage off"], "garbage cannot be switched off"),
        (["--fault", "silence soon"], "`soon` is no time"),
        (["--fault", "garbage"] * 31, "At most 30 faults at once"),
        (["--fault"], "--fault needs something after it"),
        (["--faults", "garbage"], "has no option --faults. Did you mean --fault?"),
        (["--link", "main"], "--link goes with the FOLDER of a layout"),
        (["there-is-none"], "there-is-none"),
        ([""], "The name of the folder is empty"),
    ],
)
def test_wrong_usage_is_told(wayside: Callable[..., Said], words: list[str], says: str) -> None:
    said = wayside(*words)
    assert said.status == 2
    assert says in said.err
    assert not said.out


def test_a_layout_with_several_links_needs_to_be_told_which(wayside: Callable[..., Said], folder: Path) -> None:
    assert "Write which: --link main or --link pier." in wayside(str(folder)).err
    assert "no link peer. Did you mean pier?" in wayside(str(folder), "--link", "peer").err
    (folder / "layout.yaml").write_text("layout: Pellbrook Quay\n")
    assert "This layout has no links" in wayside(str(folder)).err


def test_a_layout_with_errors_is_not_read_half(wayside: Callable[..., Said], folder: Path) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("port: 0}", "port: 99}").replace("kind: servo", "kind: serpent"))
    said = wayside(str(folder), "--link", "main")
    assert said.status == 1
    assert "serpent" in said.out


def test_a_port_that_is_taken(wayside: Callable[..., Said]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        number = taken.getsockname()[1]
        said = wayside("--tcp", str(number))
    assert said.status == 2
    assert f"TCP port {number} cannot be opened: Address already in use. Is another program using it?" in said.err
    assert "--tcp 0 for a free one" in said.err


def test_a_system_without_pseudo_terminals(wayside: Callable[..., Said], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "openpty")
    assert "Use --tcp 0 instead" in wayside("--pty").err


def test_help_names_every_fault(wayside: Callable[..., Said]) -> None:
    said = wayside("--help")
    assert said.status == 0
    for name in stand_in_faults.FAULTS:
        assert re.search(rf"^  {name} +\w", said.out, re.M)
    assert "examples/pellbrook-quay" in said.out
    assert max(map(len, said.out.splitlines())) <= 120


# --- how much is said ----------------------------------------------------------------------------------------------


class Screen:
    def __init__(self, names: dict[str, str] | None = None) -> None:
        self.lines: list[str] = []
        self.station = Station(Settings(after_reply=b"", banner_us=0))
        self.station.opened(0)
        self.teller = Teller(names or {}, self.lines.append)

    def tell(self, data: bytes, at_us: int) -> None:
        self.station.received(data, at_us)
        self.look(at_us + 20 * MS)

    def look(self, at_us: int) -> None:
        self.station.advance(at_us)
        self.teller.look(self.station, at_us)

    def told(self, words: str) -> int:
        return sum(words in line for line in self.lines)


def test_a_moving_servo_is_told_of_now_and_then_and_its_end_always() -> None:
    screen = Screen()
    for step in range(100):
        screen.tell(b"<z 20 %d>" % (1_000 + step), step * 20 * MS)
    for at_ms in range(2_000, 4_000, 50):
        screen.look(at_ms * MS)
    assert screen.told("servo on pin 20") == 4  # at 0 s, 0.5 s, 1.5 s, and the end
    assert screen.told("1099 us") == 1
    assert "1099 us, 53.8 deg (23 more before)" in screen.lines[-1]
    times = [line.split()[0] for line in screen.lines]
    assert times == sorted(times)


def test_a_lamp_that_flashes_for_ever_does_not_fill_the_screen() -> None:
    screen = Screen()
    for count in range(160):  # 80 a minute, for a minute
        screen.tell(b"<z 12 %d>" % (count % 2), count * 375 * MS)
    assert screen.told("pin 12") == 11  # at 0, 0.5, 1.5, 3.5, 7.5 s and then every 8 s
    screen.look(70 * S)
    assert screen.told("pin 12") == 12
    screen.tell(b"<z 12 1>", 80 * S)
    assert screen.told("pin 12") == 13


def test_what_waits_is_said_at_the_end() -> None:
    screen = Screen()
    screen.tell(b"<z 20 1000><z 20 1100>", 0)
    assert screen.told("1100 us") == 0
    screen.teller.end()
    assert screen.told("1100 us") == 1


def test_a_thing_told_now_and_then_is_told_of_each_time() -> None:
    screen = Screen()
    for second in range(4):
        screen.tell(b"<z 12 40>", second * S)
    assert screen.told("pin 12: level 40") == 4


def test_a_status_asked_every_second_is_said_once_until_it_changes() -> None:
    screen = Screen()
    for second in range(10):
        screen.tell(b"<s><Q>", second * S)
    assert screen.told("asked how it is") == 1
    assert screen.told("asked what the detectors say") == 1
    screen.tell(b"<1>", 10 * S)
    screen.tell(b"<s>", 11 * S)
    assert screen.told("asked how it is; the track power is on") == 1


def test_more_than_can_be_read_is_summed_up() -> None:
    screen = Screen()
    for pin in range(60):
        screen.tell(b"<z %d 1>" % pin, pin * MS)
    screen.look(900 * MS)
    assert len(screen.lines) == LINES_A_SECOND
    screen.look(1_100 * MS)
    assert screen.lines[-1].endswith("... and 41 more; `show` tells how everything is now")


def test_one_that_looks_late_misses_nothing_that_the_log_has() -> None:
    screen = Screen()
    for second in range(5):
        screen.station.received(b"<1><0>", second * S)
    screen.look(6 * S)
    assert screen.station.obeyed == 10
    assert screen.told("track power: ") == 10  # no lamp: each time counts


def test_the_clock() -> None:
    assert clock(12_345_678) == "   0:12.3"
    assert clock(3_600 * S + 5 * S) == "  60:05.0"


@pytest.mark.parametrize(
    ("entry", "line"),
    [
        (
            Entry(12_300 * MS, 0, "<a 11 0 1>", "accessory 41", "output 1 on", 1),
            "   0:12.3  accessory 41, red-left: output 1 on                  <a 11 0 1>",
        ),
        (Entry(0, 0, "", "track power", "on, by hand"), "   0:00.0  track power: on, by hand"),
        (
            Entry(0, 0, "<foo>", "refused", "refused: it does not know this command"),
            "   0:00.0  refused: it does not know this command               <foo>",
        ),
    ],
)
def test_a_line(entry: Entry, line: str) -> None:
    assert line_of(entry, {"accessory 41": "red-left"}) == line


def test_a_program_in_the_background_does_not_read_the_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading would stop the whole program."""
    near, far = os.openpty()
    monkeypatch.setattr(command_stand_in, "STDIN", far)
    monkeypatch.setattr(os, "tcgetpgrp", lambda number: os.getpgrp() + 1)
    assert command_stand_in._in_background()
    monkeypatch.setattr(os, "tcgetpgrp", lambda number: os.getpgrp())
    assert not command_stand_in._in_background()
    os.close(near)
    os.close(far)
