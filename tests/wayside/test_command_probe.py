"""`wayside probe` against far ends on real ports and sockets of this computer; all that can be wrong is made wrong.

Most far ends are the stand-in with its faults; what it cannot do (another speed, another service) is made here.
"""

from __future__ import annotations

import errno
import os
import select
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from adapters import serial_port
from adapters.serial_port import Found, Port
from adapters.stand_in import Settings, Station
from adapters.stand_in_ports import StandIn, running
from wayside.cli import main
from wayside.commands import probe as command_probe
from wayside.far_ends import probing
from wayside.far_ends.diagnosis import diagnose

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs serial ports that a program can open")

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {{kind: serial text, dialect: late, port: "{port}"{settings}}}
outputs:
  amber: {{kind: lamp, link: main, address: 40}}
  near-barrier: {{kind: servo, link: main, pin: 20, positions: {{raised: 85 deg, lowered: 0 deg}}, full travel: 3 s}}
detectors:
  lane: {{kind: section, link: main, pin: 60}}
  quay-track: {{kind: beam, link: main, pin: 61, closed circuit: yes}}
{more}
buttons:
  evening-button: {{link: main, pin: 70}}
"""


class Said(NamedTuple):
    status: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """All of it on one line, wherever it was wrapped."""
        return " ".join(self.out.split())


Probe = Callable[..., Said]


@pytest.fixture
def probe(capsys: pytest.CaptureFixture[str]) -> Probe:
    def run(*words: object) -> Said:
        status = main(["probe", *map(str, words)])
        said = Said(status, *capsys.readouterr())
        assert "Traceback" not in said.out + said.err
        return said

    return run


@pytest.fixture
def all_rounds() -> None:
    """As many as a person gets."""


@pytest.fixture(autouse=True)
def few_rounds(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each round trip costs a twentieth of a second, in which the line is let fall quiet."""
    if "all_rounds" not in request.fixturenames:
        monkeypatch.setattr(probing, "ROUNDS", 2)


@contextmanager
def station(
    *faults: str, on: bool = True, settings: Settings | None = None, tcp: int | None = None
) -> Iterator[StandIn]:
    with running(Station(settings or Settings()), tcp=tcp) as stand_in:

        def prepare(far_end: Station, now_us: int) -> None:
            far_end.power(on, now_us)
            for fault in faults:
                far_end.fault(fault, now_us)

        stand_in.ask(prepare)
        yield stand_in


def port_of(stand_in: StandIn) -> str:
    assert stand_in.pty is not None
    return stand_in.pty.name


@pytest.fixture
def layout(tmp_path: Path) -> Callable[..., Path]:
    def write(port: str, settings: str = "", more: str = "") -> Path:
        text = LAYOUT.format(port=port, settings=f", {settings}" if settings else "", more=more)
        (tmp_path / "layout.yaml").write_text(text, encoding="utf-8")
        return tmp_path

    return write


# --- what answers --------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("all_rounds")
def test_a_port_alone_on_a_serial_line(probe: Probe) -> None:
    with station() as far_end:
        far_end.ask(lambda station, now: station.machine.do("S 12 12 1", now))
        far_end.ask(lambda station, now: station.detector(12, True, now))
        said = probe(port_of(far_end), "--yes")
        commands = far_end.ask(lambda station, _: [entry.command for entry in station.log if entry.command])
    assert said.status == 0
    assert "banner        Wayside stand-in (by itself, after " in said.out
    assert "answered 8 of 8; round trip" in said.out
    assert "track power   on" in said.out
    assert "detectors     12 active" in said.out
    assert f"{port_of(far_end)}: all answers." in said.out
    assert "both ask in the same words" in said.words
    assert set(commands) == {"<s>", "<Q>"}


def test_an_address_on_the_network_is_not_asked_about(probe: Probe) -> None:
    with station(tcp=0) as far_end:
        said = probe(f"socket://127.0.0.1:{far_end.port}")
    assert said.status == 0
    assert "restart" not in said.out
    assert "baud" not in said.out


def test_a_newer_station_names_its_track(probe: Probe) -> None:
    with station(settings=Settings(track_name="MAIN"), tcp=0) as far_end:
        assert "names a track with its power" in probe(f"socket://127.0.0.1:{far_end.port}").words


def occupy(far_end: Station, now_us: int) -> None:
    for number in (60, 61, 70):
        far_end.detector(number, True, now_us)


def test_a_layout_with_its_detectors_and_buttons(probe: Probe, layout: Callable[..., Path]) -> None:
    with station() as far_end:
        far_end.ask(occupy)
        said = probe(layout(port_of(far_end)), "--yes")
        log = far_end.ask(lambda station, _: [entry.command for entry in station.log if entry.command])
    assert said.status == 0
    assert "lane occupied, quay-track clear, evening-button pressed" in said.out
    assert "main: all answers." in said.out
    assert set(log) == {"<s>", "<S 60 60 1>", "<S 61 61 1>", "<S 70 70 1>", "<Q>"}


def test_two_links_in_turn_and_one_of_them(probe: Probe, tmp_path: Path) -> None:
    with station(tcp=0) as quay, station(on=False, tcp=0) as depot:
        (tmp_path / "layout.yaml").write_text(
            "layout: Pellbrook Quay\n"
            "links:\n"
            f"  quay: {{kind: serial text, port: 'socket://127.0.0.1:{quay.port}'}}\n"
            f"  depot: {{kind: serial text, port: 'socket://127.0.0.1:{depot.port}'}}\n",
            encoding="utf-8",
        )
        both, one = probe(tmp_path), probe(tmp_path, "--link", "quay")
        wrong = probe(tmp_path, "--link", "qay")
    assert (both.status, one.status, wrong.status) == (1, 0, 2)
    assert both.out.index("quay: all answers.") < both.out.index("depot: 1 thing is wrong.")
    assert "depot" not in one.out
    assert "Did you mean quay?" in wrong.err


def test_the_numbers_in_both_ways_reach_accessories_four_apart(probe: Probe, layout: Callable[..., Path]) -> None:
    """What probe calls the other way is what a station that counts so takes for the layout's number."""
    with station("off-by-four") as far_end:
        said = probe(layout(port_of(far_end)), "--yes")
        own = far_end.ask(lambda station, now: station.machine.do("a 10 3 1", now + 10_000_000))
        other = far_end.ask(lambda station, now: station.machine.do("a 9 3 1", now + 10_000_000))
    assert "`amber` is accessory 40, which here is <a 10 3 1>; where counting begins at board 0 it is <a 9 3 1>" in (
        said.words
    )
    assert (own.thing, other.thing) == ("accessory 44", "accessory 40")
    assert "accessory 44 moves in its place" in said.words
    assert "`wayside try amber on`" in said.words
    assert said.status == 0


# --- what is wrong -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("faults", "on", "words"),
    [
        ((), False, "The track power is off. Nothing on the track hears a command"),
        (("refuses",), True, "It answers, and refuses to say how it is"),
        (("no-replies",), True, "It speaks by itself (`Wayside stand-in`), and answered none of"),
        (("silence",), True, "It opens, and nothing comes back at all: not a byte in"),
        (("garbage",), True, "There is noise between its answers:"),
        (("late-replies",), True, "It takes long to answer: "),
        (("booster-trips",), True, "The booster has tripped"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_a_fault_is_told_in_words(probe: Probe, faults: tuple[str, ...], on: bool, words: str) -> None:
    with station(*faults, on=on, tcp=0) as far_end:
        said = probe(f"socket://127.0.0.1:{far_end.port}", "--for", "3s" if "late-replies" in faults else "500ms")
    assert said.status == 1
    assert words in said.words
    assert " is wrong." in said.out or " are wrong." in said.out


@pytest.mark.parametrize("fault", ["half-replies", "doubled-replies", "swallow", "reset-on-open"])
def test_what_a_show_can_live_with_is_no_fault(probe: Probe, fault: str) -> None:
    with station(fault, tcp=0) as far_end:
        said = probe(f"socket://127.0.0.1:{far_end.port}")
    restarted = fault == "reset-on-open"
    assert ("track power   off" in said.out) == restarted
    assert said.status == restarted
    assert "answers are" not in said.out
    assert "Only" not in said.out


def test_a_station_that_goes_away(probe: Probe) -> None:
    with station("unplug-in-reply", tcp=0) as far_end:
        said = probe(f"socket://127.0.0.1:{far_end.port}")
    assert said.status == 1
    assert "is gone" in said.words
    assert "after it was opened" in said.words


def test_detectors_that_never_answer(probe: Probe, layout: Callable[..., Path]) -> None:
    more = "  up-approach: {kind: section, link: main, address: 5}"
    with station() as far_end:
        said = probe(layout(port_of(far_end), more=more), "--yes")
    assert said.status == 1
    assert "The layout names `up-approach`, and nothing answers to it" in said.words
    assert "lane clear" in said.words


def test_detectors_whose_definition_is_refused(probe: Probe, layout: Callable[..., Path]) -> None:
    with station(settings=Settings(without="S")) as far_end:
        said = probe(layout(port_of(far_end)), "--yes")
    assert said.status == 1
    assert "It does not take `lane`, `quay-track` and `evening-button` as an input" in said.words


def test_detectors_that_the_layout_does_not_name(probe: Probe, layout: Callable[..., Path]) -> None:
    with station() as far_end:
        far_end.ask(lambda station, now: station.machine.do("S 12 12 1", now))
        said = probe(layout(port_of(far_end)), "--yes")
    assert said.status == 0
    assert "It also reports 12, which the layout file does not name" in said.words


def test_words_of_the_layout_are_the_ones_that_are_asked(probe: Probe, layout: Callable[..., Path]) -> None:
    with station() as far_end:
        said = probe(layout(port_of(far_end), 'words: {status: "s now", "define detector": none}'), "--yes")
        asked = far_end.ask(lambda station, _: [entry.command for entry in station.log if entry.command])
    assert set(asked) == {"<s now>"}
    assert "refuses to say how it is" in said.words


def test_no_words_for_the_status(probe: Probe, layout: Callable[..., Path]) -> None:
    with station() as far_end:
        said = probe(layout(port_of(far_end), "words: {status: none}"), "--yes", "--for", "500ms")
    assert said.status == 1
    assert "`status: none`, so it cannot be asked anything. For a board that has no track power" in said.words
    assert "`wayside walk` goes from one output to the next" in said.words


def test_nobody_but_ourselves(probe: Probe) -> None:
    said = probe("loop://", "--for", "500ms")
    assert said.status == 1
    assert "comes back as it was said" in said.words


# --- far ends that are no station ----------------------------------------------------------------------------------


@contextmanager
def served(answer: Callable[[socket.socket], None]) -> Iterator[int]:
    """A service on a free port of this computer; `answer` is called with the one connection."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            try:
                connection, _ = listener.accept()
                with connection:
                    answer(connection)
            except OSError:
                return

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield listener.getsockname()[1]
    thread.join(5)


def test_something_else_listens_there(probe: Probe) -> None:
    def answer(connection: socket.socket) -> None:
        connection.recv(100)
        connection.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        connection.recv(100)
        time.sleep(0.3)

    with served(answer) as number:
        said = probe(f"socket://127.0.0.1:{number}", "--for", "500ms", "--try-speeds")
    assert said.status == 1
    assert "something else than a station listens there" in said.words
    assert "`HTTP/1.1400BadRe`" in said.words or "`HTTP/1.1" in said.words
    assert "Other speeds" not in said.out


def test_frames_that_mean_nothing(probe: Probe) -> None:
    def answer(connection: socket.socket) -> None:
        while connection.recv(100):
            connection.sendall(b"<HELLO 1>")

    with served(answer) as number:
        said = probe(f"socket://127.0.0.1:{number}", "--for", "500ms")
    assert "words that Wayside does not know, such as <HELLO 1>" in said.words


def test_a_flood_is_bounded(probe: Probe) -> None:
    def answer(connection: socket.socket) -> None:
        count = 0
        while True:
            connection.sendall(b"".join(b"<Q %d>" % (count + turn) for turn in range(500)))
            count += 500

    with served(answer) as number:
        began = time.monotonic()
        said = probe(f"socket://127.0.0.1:{number}", "--for", "500ms")
        took_s = time.monotonic() - began
    assert said.status == 1
    assert took_s < 5
    assert "answered none of" in said.words
    assert "more" in said.out
    assert len(said.out) < 3_000


@contextmanager
def line_at(baud: int) -> Iterator[str]:
    """A serial port whose far end runs at one speed: at any other its bytes make no sense."""
    import termios
    import tty

    fd, far = os.openpty()
    tty.setraw(far)
    speed, ends = getattr(termios, f"B{baud}"), threading.Event()

    def serve() -> None:
        while not ends.is_set():
            ready, _, _ = select.select([fd], [], [], 0.02)
            if not ready:
                continue
            try:
                data = os.read(fd, 100)
            except OSError as problem:
                if problem.errno != errno.EIO:
                    return
                time.sleep(0.02)
                continue
            if b"<" in data:
                at_our_speed = termios.tcgetattr(fd)[5] == speed
                os.write(fd, b"<p1><iharbour station>" if at_our_speed else b"\xf8\x00\xc6\x1e\xfe\xe6\x80")

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield os.ttyname(far)
    finally:
        ends.set()
        thread.join(5)
        os.close(far)
        os.close(fd)


def test_the_wrong_speed_is_suspected(probe: Probe) -> None:
    with line_at(9600) as port:
        said = probe(port, "--yes", "--for", "500ms")
        right = probe(port, "--yes", "--for", "500ms", "--speed", "9600")
    assert said.status == 1
    assert "no answer among them. They begin f8 00 c6" in said.words
    assert f"`wayside probe {port} --try-speeds`" in said.words
    assert (right.status, "harbour station" in right.out) == (0, True)


def test_the_right_speed_is_found(probe: Probe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probing, "USUAL_SPEEDS", (115_200, 19_200, 9_600, 230_400))
    monkeypatch.setattr(probing, "SPEED_US", 500_000)
    with line_at(9600) as port:
        said = probe(port, "--yes", "--for", "500ms", "--try-speeds")
        right = probe(port, "--yes", "--for", "500ms", "--try-speeds", "--speed", "9600")
    assert (right.status, "Other speeds" in right.out) == (0, False)
    assert said.status == 1
    assert "19200 baud: nothing" in said.out
    assert "230400" not in said.out
    assert "at 9600 baud it can" in said.words


def test_no_speed_may_fit(probe: Probe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probing, "USUAL_SPEEDS", (115_200, 19_200))
    monkeypatch.setattr(probing, "SPEED_US", 500_000)
    with line_at(9600) as port:
        said = probe(port, "--yes", "--for", "500ms", "--try-speeds")
    assert "nor at 19200 baud" in said.words


# --- the port does not open ----------------------------------------------------------------------------------------


def test_taken_by_another_program(probe: Probe) -> None:
    with station() as far_end:
        other = Port.open(port_of(far_end))
        try:
            said = probe(port_of(far_end), "--yes")
        finally:
            other.close()
    assert said.status == 1
    assert f"Another program has `{port_of(far_end)}`" in said.words
    assert "give Wayside a board of its own, or a socket:// address" in said.words


def test_nothing_there_names_the_ports_that_are(probe: Probe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serial_port, "ports", lambda: [Found("/dev/ttyACM7", "harbour board")])
    said = probe("/dev/ttyQUAY9", "--yes")
    assert said.status == 1
    assert "There is nothing at `/dev/ttyQUAY9`" in said.words
    assert "This computer has /dev/ttyACM7 (harbour board)." in said.words


def test_nobody_listens(probe: Probe) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        number = listener.getsockname()[1]
    said = probe(f"socket://127.0.0.1:{number}")
    assert said.status == 1
    assert "Nobody listens at" in said.words


@pytest.mark.filterwarnings("ignore:set:DeprecationWarning")  # of the serial library
def test_a_network_address_without_a_serial_bridge(probe: Probe) -> None:
    """The library waits three seconds for what such a bridge would answer; this one goes at once."""

    def answer(connection: socket.socket) -> None:
        connection.recv(100)

    with served(answer) as number:
        said = probe(f"rfc2217://127.0.0.1:{number}", "--yes")
    assert said.status == 1
    assert "RFC2217" not in said.out
    assert f"`socket://127.0.0.1:{number}`" in said.words


@pytest.mark.skipif(sys.platform == "win32", reason="groups of POSIX")
def test_permission_names_the_group(probe: Probe, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    class Denied:
        """A port that the system does not let anybody open."""

        def open(self) -> None:
            raise PermissionError(errno.EACCES, "Permission denied")

    class Group(NamedTuple):
        gr_name: str = "dialout"

    real = os.stat
    monkeypatch.setattr("adapters.serial_port.serial.serial_for_url", lambda *_, **__: Denied())
    monkeypatch.setattr("adapters.serial_port.grp.getgrgid", lambda _: Group())
    monkeypatch.setattr(
        "adapters.serial_port.os.stat",
        lambda path, **rest: real("/dev/tty", **rest) if "QUAY" in str(path) else real(path, **rest),
    )
    said = probe("/dev/ttyQUAY9", "--yes")
    assert said.status == 1
    assert "that takes the group `dialout`" in said.words
    assert "usermod -a -G dialout" in said.words


# --- asking first --------------------------------------------------------------------------------------------------


class Typed:
    """A keyboard at which somebody types one line."""

    def __init__(self, line: str) -> None:
        self._line = line

    def isatty(self) -> bool:
        return True

    def readline(self) -> str:
        return self._line


@pytest.mark.parametrize(("line", "opens"), [("yes\n", True), ("Y\n", True), ("no\n", False), ("", False)])
def test_a_terminal_is_asked(probe: Probe, monkeypatch: pytest.MonkeyPatch, line: str, opens: bool) -> None:
    monkeypatch.setattr(sys, "stdin", Typed(line))
    with station() as far_end:
        said = probe(port_of(far_end))
        asked = far_end.ask(lambda station, _: station.obeyed)
    assert said.status == 0
    assert "may restart the station: trains stop" in said.out
    assert ("Nothing was opened." in said.out) != opens
    assert bool(asked) == opens


def test_with_nobody_to_ask_it_must_be_said(probe: Probe) -> None:
    with station() as far_end:
        said = probe(port_of(far_end))
        assert far_end.ask(lambda station, _: station.obeyed) == 0
    assert said.status == 2
    assert "Add --yes" in said.err


def test_two_ports_are_asked_about_at_once(probe: Probe, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sys, "stdin", Typed("no\n"))
    (tmp_path / "layout.yaml").write_text(
        "layout: Quay\nlinks:\n  quay: {kind: serial text, port: COM5}\n  depot: {kind: serial text, port: COM6}\n",
        encoding="utf-8",
    )
    said = probe(tmp_path)
    assert said.status == 0
    assert said.out.count("may restart") == 2
    assert said.out.count("Open them?") == 1


def test_no_keyboard_at_all(probe: Probe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    assert probe("/dev/ttyQUAY9").status == 2


def test_a_link_that_is_not_reset_is_left_alone(
    probe: Probe, layout: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[bool] = []
    real = Port.open

    def watched(url: str, baud: int, exclusive: bool = True, leave_lines_alone: bool = False) -> Port:
        opened.append(leave_lines_alone)
        return real(url, baud, exclusive, leave_lines_alone)

    monkeypatch.setattr("wayside.far_ends.probing.Port.open", watched)
    with station() as far_end:
        left = probe(layout(port_of(far_end), "resets when opened: no"))
        assert far_end.ask(lambda station, _: station.machine.power) == "on"
        probe(layout(port_of(far_end)), "--yes")
    assert left.status == 0
    assert "restart" not in left.out
    assert opened == [True, False]


@pytest.mark.parametrize("fault", ["refuses", "no-replies", "reset-on-open", "garbage"])
def test_track_power_is_never_switched(probe: Probe, layout: Callable[..., Path], fault: str) -> None:
    with station(fault, on=False) as far_end:
        probe(layout(port_of(far_end)), "--yes", "--for", "500ms")
        heard = far_end.ask(lambda station, _: {entry.command for entry in station.log})
        power = far_end.ask(lambda station, _: station.machine.power)
    assert power == "off"
    assert not heard & {"<0>", "<1>", "<!>"}
    assert not any(command.startswith(("<a", "<A", "<z", "<Z", "<T")) for command in heard)


# --- nothing behind it, and wrong usage ----------------------------------------------------------------------------


def test_ports_are_listed_with_what_to_write_next(probe: Probe, monkeypatch: pytest.MonkeyPatch) -> None:
    found = [Found("/dev/ttyACM0", "harbour board"), Found("/dev/ttyUSB0", "serial port")]
    monkeypatch.setattr(serial_port, "ports", lambda: found)
    said = probe()
    assert said.status == 0
    assert "/dev/ttyACM0  harbour board\n/dev/ttyUSB0  serial port\n" in said.out
    assert "wayside probe /dev/ttyACM0" in said.out
    assert "port: /dev/ttyACM0" in said.out


def test_no_port_at_all(probe: Probe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serial_port, "ports", list)
    said = probe()
    assert said.status == 1
    assert "shows no serial port" in said.out
    assert "wayside stand-in" in said.words


def test_a_link_without_a_port(probe: Probe, tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text("layout: Quay\nlinks: {main: {kind: serial text}}\n", encoding="utf-8")
    said = probe(tmp_path)
    assert said.status == 1
    assert "does not say where `main` is plugged in" in said.words


def test_a_layout_without_links(probe: Probe, tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text("layout: Quay\n", encoding="utf-8")
    said = probe(tmp_path)
    assert (said.status, "no links" in said.out) == (1, True)


def test_a_layout_with_errors_opens_nothing(probe: Probe, layout: Callable[..., Path]) -> None:
    folder = layout("socket://127.0.0.1:1", "dialect: latest")
    said = probe(folder)
    assert said.status == 1
    assert "layout.yaml:" in said.out
    assert "Nothing was opened." in said.out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["nowhere"], "There is no file or folder nowhere"),
        ([""], "is empty"),
        (["a\0b"], "no file or folder"),
        (["x" * 5_000], "xxx cannot be read: "),
        (["localhost:2560"], "written socket://localhost:2560"),
        (["tcp://localhost:2560"], "written socket://localhost:2560"),
        (["ttyUSB0"], "Did you mean /dev/ttyUSB0?"),
        (["spy://loop://?file=here"], "no address that Wayside knows"),
        (["socket://localhost"], "no address that Wayside knows"),
        (["socket://localhost:99999"], "1 to 65535"),
        (["/dev/ttyUSB0", "--speed", "12"], "--speed takes 300 to 4000000 baud"),
        (["/dev/ttyUSB0", "--speed", "fast"], "--speed takes a whole number"),
        (["/dev/ttyUSB0", "--link", "main"], "--link goes with the FOLDER"),
        (["/dev/ttyUSB0", "--for", "1h"], "--for takes 500 ms to 1 min"),
        (["/dev/ttyUSB0", "--for", "5"], "--for takes a time with its unit"),
        (["--link", "main"], "--link goes with"),
        (["--try-speeds"], "--try-speeds goes with"),
        (["one", "two"], "two"),
    ],
)
def test_wrong_usage(
    probe: Probe, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, words: list[str], sentence: str
) -> None:
    monkeypatch.chdir(tmp_path)
    said = probe(*words)
    assert (said.status, said.out) == (2, "")
    assert sentence in said.err
    assert list(tmp_path.iterdir()) == []


def test_the_speed_of_a_link_is_in_its_layout(probe: Probe, layout: Callable[..., Path]) -> None:
    said = probe(layout("/dev/ttyUSB0"), "--speed", "9600")
    assert said.status == 2
    assert "a layout's links have their own" in said.err


def test_help_shows_the_demo_world(probe: Probe) -> None:
    said = probe("--help")
    assert said.status == 0
    assert "wayside probe examples/pellbrook-quay" in said.out
    assert "exit status: 0 all answers" in said.words
    assert max(map(len, said.out.splitlines())) <= 120


def test_it_keeps_to_its_time(probe: Probe) -> None:
    """The one bound on real time: a far end that says nothing is given what was asked for, and not much more."""
    with station("silence") as far_end:
        began = time.monotonic()
        probe(port_of(far_end), "--yes", "--for", "500ms")
        assert time.monotonic() - began < 3


def test_any_bytes_are_survived(probe: Probe) -> None:
    import random

    draw = random.Random(4)

    def answer(connection: socket.socket) -> None:
        for _ in range(40):
            connection.sendall(draw.randbytes(200) + draw.choice([b"<", b">", b"<p1>", b"<p 1 2 3>", b"<q", b"<Q -1>"]))
            time.sleep(0.005)
        time.sleep(0.2)

    with served(answer) as number:
        said = probe(f"socket://127.0.0.1:{number}", "--for", "500ms")
    assert said.status in (0, 1)
    assert said.err == ""


def test_what_was_seen_can_be_diagnosed_again() -> None:
    """Observations are plain records: the same ones give the same sentences."""
    with station(on=False, tcp=0) as far_end:
        seen: Any = probing.probe(probing.of_port(f"socket://127.0.0.1:{far_end.port}", 115_200), 2_000_000)
    assert diagnose(seen) == diagnose(seen._replace())
    assert [finding.name for finding in diagnose(seen) if finding.wrong] == ["power off"]
    assert command_probe.USUAL_US >= probing.PATIENCE_US
