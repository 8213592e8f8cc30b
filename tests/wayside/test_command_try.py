"""`wayside try`: what is shown, what is refused, and what goes over a real line to the stand-in."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

from adapters.link_states import Times
from adapters.serial_port import Port, PortTrouble
from adapters.stand_in import Settings, Station
from adapters.stand_in_ports import StandIn, running
from wayside.cli import main
from wayside.far_ends import trial_talk
from wayside.far_ends.port_asking import trouble_words

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text, dialect: late, start-up: 0 s}
boards:
  box: {link: main, first address: 40, ports: 8}
  strip: {kind: pins, link: main, first pin: 100, ports: 16}
outputs:
  amber: {kind: lamp, board: box, port: 0}
  bell: {kind: sound, board: box, port: 1}
  lamp: {kind: lamp, dimmable: yes, board: strip, port: 0}
  sky: {kind: lamp, dimmable: yes}
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, limits: 0 deg to 90 deg,
         full travel: 3 s, safe: lowered}
  arm: {kind: servo, board: box, port: 2, positions: {danger: 0 deg, clear: 45 deg}, moves by itself: 2 s}
  red: {kind: lamp, link: main, pin: 21}
  green: {kind: lamp, link: main, pin: 22}
  home: {kind: signal, aspects: {danger: {red: on}, clear: {green: on}}}
  colour-light: {kind: signal, link: main, address: 5, aspects: {danger: 0, clear: 4}}
  crane: {kind: motor, link: main, pin: 30}
  point: {kind: pulse, board: box, port: 3, pulse: 120 ms}
"""
QUICK = Times(banner_us=300_000, quiet_us=20_000, answer_us=200_000)


class Said(NamedTuple):
    status: int
    out: str
    err: str


Try = Callable[..., Said]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT, encoding="utf-8")
    return tmp_path


@pytest.fixture
def attempt(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Try:
    monkeypatch.setattr(trial_talk, "TIMES", QUICK)
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")

    def run(*words: object) -> Said:
        status = main(["try", *map(str, words)])
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "fault in Wayside" not in said.err, said.err
        return Said(status, said.out, said.err)

    return run


# --- shown only ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "texts"),
    [
        ("amber on", ["a 10 3 1"]),
        ("amber off", ["a 10 3 0"]),
        ("lamp on", ["z 100 4095"]),
        ("lamp off", ["z 100 0"]),
        ("red on", ["Z 21 21 0", "Z 21 1"]),
        ("home clear", ["Z 21 21 0", "Z 21 0", "Z 22 22 0", "Z 22 1"]),
        ("colour-light clear", ["A 5 4"]),
        ("arm clear", ["a 11 1 1"]),
        ("arm danger", ["a 11 1 0"]),
        ("point on", ["a 11 2 1"]),
        ("crane 40 %", ["z 30 1638"]),
    ],
)
def test_a_name_and_its_state(attempt: Try, folder: Path, words: str, texts: list[str]) -> None:
    said = attempt(*words.split(), "--in", folder, "--dry-run")
    told = [line.split("<")[1].rstrip(">") for line in said.out.splitlines() if line.startswith("  told")]
    assert (said.status, said.err) == (0, "")
    assert told == texts
    assert said.out.splitlines()[0] == words
    assert "Nothing was sent: this is a dry run." in said.out
    sent = [line.split("bytes")[1].split("(")[0] for line in said.out.splitlines() if line.startswith("  bytes")]
    assert [bytes.fromhex(one.strip()) for one in sent] == [f"<{text}>".encode() for text in texts]


def test_an_accessory_is_shown_in_both_ways_of_counting(attempt: Try) -> None:
    # the packets: NMRA S-9.2.1 D, worked out by hand. Board 16 port 0 and board 15 port 0, output 1, activated.
    said = attempt("--address", 61, "on")
    assert "boards from 1: board 16, port 0, on the track 90 F9 69" in said.out
    assert "boards from 0: board 15, port 0, on the track 8F F9 76" in said.out
    assert "<a 16 0 1>" in said.out
    mine = [line for line in said.out.splitlines() if line.endswith("as this link counts")]
    assert [line.split(":")[0].strip() for line in mine] == ["boards from 1"]
    other = attempt("--address", 61, "on", "--boards-from", 0)
    assert "<a 15 0 1>" in other.out
    assert [line.split(" (")[0] for line in other.out.splitlines() if line.endswith("as this link counts")] == [
        "  boards from 0: board 15, port 0, on the track 8F F9 76"
    ]


def test_an_aspect_has_its_own_packet(attempt: Try) -> None:
    # S-9.2.1 D: raw address 5 aspect 4 is 81 73 04 and their exclusive or; user number 2 where boards begin at 1
    assert "on the track 81 73 04 F6" in attempt("--address", 2, "--aspect", 4).out


def test_the_last_board_of_one_way_is_everybody_in_the_other(attempt: Try) -> None:
    said = attempt("--address", 2041, "on", "--boards-from", 0)
    assert said.status == 0
    assert "boards from 1: accessory 2041 is on board 511, to which every decoder on the track listens" in said.out


def test_an_angle_needs_no_layout(attempt: Try) -> None:
    # 544 us at 0 deg to 2400 us at 180 deg, as a common servo library has it; 45 deg is a quarter of that
    right = 544 + (2400 - 544) * 45 / 180
    said = attempt("--pin", 20, "--degrees", "45,0")
    number = int(said.out.split("<z 20 ")[1].split(">")[0])
    assert number in (round(right), round(right * 4096 / 20_000))
    assert "No such" not in said.out
    assert "no port is named" in said.out


def test_where_it_is_wired_and_how_long_its_bytes_take(attempt: Try, folder: Path) -> None:
    # 10 bytes of 10 bits at 115200 baud: 0.868 ms; a packet's time is `adapters.packets`' business, tested there
    out = attempt("amber", "on", "--in", folder).out
    assert "  wired   accessory 40 of link main (port 0 of box)\n" in out
    assert "(10, 0.87 ms at 115200 baud)" in out
    assert "8A FF 75 (5.8 ms)" in out
    assert "  wired   pin 100 of link main (port 0 of strip)\n" in attempt("lamp", "on", "--in", folder).out
    assert "  wired   pin 20 of link main\n" in attempt("gate", "raised", "--in", folder).out
    assert "  wired   green: pin 22 of link main\n" in attempt("home", "clear", "--in", folder).out


def test_a_part_without_a_wire_is_named(attempt: Try, folder: Path) -> None:
    text = LAYOUT.replace("red: {kind: lamp, link: main, pin: 21}", "red: {kind: lamp}")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    said = attempt("home", "danger", "--in", folder)
    assert said.status == 0
    assert "red has no wire and is told nothing." in said.out
    assert "green has no wire" not in said.out
    assert "<Z 22 0>" in said.out
    assert "has no wire" not in attempt("green", "on", "--in", folder).out


def test_parts_on_two_links_are_tried_one_by_one(attempt: Try, folder: Path) -> None:
    text = LAYOUT.replace("links:\n", "links:\n  yard: {kind: serial text}\n")
    text = text.replace("green: {kind: lamp, link: main, pin: 22}", "green: {kind: lamp, link: yard, pin: 22}")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    said = attempt("home", "danger", "--in", folder)
    assert (said.status, "The parts of home hang on main and yard." in said.err) == (2, True)


@pytest.mark.parametrize("name", ["amber", "lamp", "red"])
def test_a_trial_does_not_flash(attempt: Try, folder: Path, name: str) -> None:
    said = attempt(name, "flashing at 80 a minute", "--in", folder)
    assert said.status == 2
    assert "<" not in said.out


def test_only_what_is_guarded_is_called_so(attempt: Try, folder: Path) -> None:
    assert "gate is guarded in a show" in attempt("gate", "raised", "--in", folder).out
    assert "guarded" not in attempt("amber", "on", "--in", folder).out


def test_a_number_of_the_layout_has_its_name(attempt: Try, folder: Path) -> None:
    assert "this is amber." in attempt("--address", 40, "on", "--in", folder).out
    assert "this is lamp." in attempt("--pin", 100, "40", "%", "--in", folder).out
    assert "this is gate." in attempt("--pin", 20, "--degrees", 90, "--in", folder).out
    assert "this is" not in attempt("--pin", 40, "on", "--in", folder).out


def test_the_layout_of_the_folder_one_stands_in(attempt: Try, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    assert "<z 100 4095>" in attempt("lamp", "on").out


# --- refused -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        ("", 2, "Which output?"),
        ("amber", 2, "Told what? Write its state behind the name"),
        ("ambre on --in .", 2, "The layout has no output ambre. Did you mean amber?"),
        ("amber dim --in .", 2, "'dim' is not a state of a lamp. Write on, off.\n"),
        ("amber 40% --in .", 2, "amber is only switched"),
        ("gate lowerd --in .", 2, "gate has no position 'lowerd'. Did you mean lowered?\n"),
        ("gate sideways --in .", 2, "Its positions are raised, lowered, or an angle such as 45deg.\n"),
        ("gate 91deg --in .", 2, "The limits of gate are 0 deg to 90 deg; 91 deg is outside."),
        ("--pin 20 --degrees 91 --in .", 2, "The limits of gate are 0 deg to 90 deg; 91 deg is outside."),
        ("--pin 20 on --in .", 2, "On pin 20 is gate, a servo: write --degrees N"),
        ("sky on --in .", 2, "sky has no wire in the layout file"),
        ("point off --in .", 2, "its board ends its pulse by itself. Write on."),
        ("crane 40 % backwards --in .", 1, "crane runs one way only: a pin has no backwards"),
        ("amber on", 2, "In which layout is amber? Write --in FOLDER"),
        ("--pin 20 --degrees 181", 2, "A servo turns from 0 deg to 180 deg; 181 deg is outside."),
        ("--pin 20 --degrees steep", 2, "--degrees takes an angle such as 45, not 'steep'"),
        ("--pin 20", 2, "Told what? Write on, off or a level"),
        ("--pin 20 wobble", 2, "'wobble' is not a state of a lamp. Write on, off, a level such as 40 %.\n"),
        ("--pin x on", 2, "--pin takes a whole number"),
        ("--pin 20 --address 41 on", 2, "Give --address or --pin, not both."),
        ("--address 41 --degrees 4", 2, "--degrees goes with --pin N"),
        ("--pin 20 --aspect 4", 2, "--aspect goes with --address N"),
        ("--pin 20 --degrees 4 on", 2, "told two things at once"),
        ("--pin 20 on --dialect klingon", 2, "There is no dialect klingon. Write early or late."),
        ("--address 41 on --boards-from 2", 2, "--boards-from takes 1 or 0, not '2'."),
        ("--pin 20 on --link yard --in .", 2, "The layout has no link yard."),
        ("amber on --link main --in .", 2, "--link goes with --address or --pin"),
        ("--pin 20 on --pin 21", 2, "--pin is given twice"),
        ("--address 0 on", 1, "there is no accessory 0: the first is 1. Write 1 to 2040."),
        ("--address 2041 on", 1, "board 511, to which every decoder on the track listens"),
        ("--address 41 --aspect 256", 1, "Write 0 to 255"),
        (
            "--address 41 40%",
            1,
            "An accessory such as address 41 is on or off and no more. Write on or off, or try a pin.\n",
        ),
        ("--address 41 --aspect 300", 1, "The track bus carries no aspect 300. Write 0 to 255.\n"),
        ("lamp flashing --in .", 2, "Nothing flashes in a trial: scenes do that. Write on or off.\n"),
        ("box on --in .", 2, "box is a board, and only outputs are told something.\n"),
        ("turntable on --in .", 2, "The layout has no output turntable. There is amber, bell, lamp,"),
        ("--pin 20 on --yes --port localhost:2560", 2, "Write socket://localhost:2560.\n"),
        ("--pin 20 on --yes --port ttyUSB0", 2, "--port ttyUSB0: no device and no address is called that."),
        ("--pin 20 40% --dialect early", 1, "needs levels"),
    ],
)
def test_what_cannot_be_tried(attempt: Try, folder: Path, words: str, status: int, sentence: str) -> None:
    said = attempt(*(str(folder) if word == "." else word for word in words.split()))
    assert sentence in said.out + said.err
    assert said.status == status
    assert "`" not in said.out + said.err


def test_errors_of_the_layout_come_first(attempt: Try, folder: Path) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("kind: motor", "kind: moter"), encoding="utf-8")
    said = attempt("amber", "on", "--in", folder)
    assert said.status == 1
    assert "Did you mean `motor`?" in said.out
    assert "Nothing was tried." in said.out


def test_two_links_must_be_told_apart(attempt: Try, folder: Path) -> None:
    text = LAYOUT.replace("links:\n", "links:\n  yard: {kind: serial text, boards from: 0}\n")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    said = attempt("--address", 5, "on", "--in", folder)
    assert (said.status, "The layout has the links yard and main. Write --link NAME." in said.err) == (2, True)
    assert "<a 1 0 1>" in attempt("--address", 5, "on", "--link", "yard", "--in", folder).out
    assert "<a 2 0 1>" in attempt("--address", 5, "on", "--link", "main", "--in", folder).out


# --- over a real line ----------------------------------------------------------------------------------------------


@contextmanager
def far_end(power: bool = True, settings: Settings | None = None, **doors: int | bool) -> Iterator[StandIn]:
    with running(Station(settings or Settings()), **doors) as stand_in:  # type: ignore[arg-type]
        stand_in.ask(lambda station, now: station.power(power, now))
        yield stand_in


def port_of(stand_in: StandIn) -> str:
    assert stand_in.pty is not None
    return stand_in.pty.name


def heard(stand_in: StandIn) -> list[str]:
    """The commands that the far end has obeyed, but for questions."""
    log = stand_in.ask(lambda station, _: list(station.log))
    return [entry.command.strip("<>") for entry in log if entry.command not in ("", "<s>")]


def test_it_is_told_and_what_comes_back_is_said(attempt: Try, folder: Path) -> None:
    with far_end() as stand_in:
        said = attempt("amber", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
        assert heard(stand_in) == ["a 10 3 1"]
    assert (said.status, said.err) == (0, "")
    assert f"Opening {port_of(stand_in)} may reset the station" in said.out
    assert "track power is on" in said.out
    assert "Wayside stand-in" in said.out
    assert "The station took it. Whether anything moved, only you can see." in said.out
    order = [
        said.out.index(word) for word in ("may reset", "says what it is", "sent    <a 10 3 1>", "The station took it")
    ]
    assert order == sorted(order)


def test_power_that_is_off_is_said_and_left(attempt: Try, folder: Path) -> None:
    with far_end(power=False) as stand_in:
        said = attempt("amber", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
        assert "1" not in heard(stand_in)
        assert stand_in.ask(lambda station, _: station.machine.power) == "off"
        assert "No decoder hears this while the track has no power. Wayside does not switch it on" in said.out
        pin = attempt("lamp", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
    assert "track power is off" in pin.out
    assert "No decoder hears this" not in pin.out, "a pin needs no track"


def test_a_station_that_refuses(attempt: Try, folder: Path) -> None:
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("refuses", now))
        said = attempt("--pin", 20, "--degrees", 45, "--in", folder, "--port", port_of(stand_in), "--yes")
    assert said.status == 1
    assert "it refuses" in said.out
    assert "The station refused it. Compare the words with its book" in said.out


def test_a_far_end_that_says_nothing(attempt: Try, folder: Path) -> None:
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("no-replies", now))
        stand_in.ask(lambda station, now: station.fault("late-banner", now))
        said = attempt("--address", 41, "on", "--in", folder, "--port", port_of(stand_in), "--yes")
    assert said.status == 1
    assert "Nothing came back. Is this the station's port" in said.out


def test_a_far_end_that_falls_silent(attempt: Try, folder: Path) -> None:
    """What it said before it was told is no answer to what it was told."""
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("no-replies", now))
        said = attempt("amber", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
        assert heard(stand_in) == ["a 10 3 1"]
    assert said.status == 1
    assert "Wayside stand-in" in said.out
    assert "Nothing came back after that" in said.out
    assert "took it" not in said.out


def test_after_a_restart_the_boards_get_their_time(attempt: Try, folder: Path) -> None:
    text = LAYOUT.replace("start-up: 0 s", "start-up: 300 ms")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("reset-on-open", now))
        said = attempt("lamp", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
        log = stand_in.ask(lambda station, _: [(one.at_us, one.command, one.effect) for one in station.log])
    assert said.status == 0
    assert "It may have started anew: 0.3 s for its boards to start." in said.out
    restarts = [at for at, command, effect in log if not command and "restart" in effect]
    first_told = next(at for at, command, _ in log if command)
    assert restarts
    assert first_told - restarts[-1] >= 300_000


def test_more_than_can_be_read_is_counted(attempt: Try, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trial_talk, "MOST_SHOWN", 2)
    with far_end() as stand_in:
        said = attempt("amber", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
    assert said.out.count("  heard ") == 2
    assert "more.\n" in said.out


def test_noise_is_counted(attempt: Try, folder: Path) -> None:
    with far_end() as stand_in:
        stand_in.ask(lambda station, now: station.fault("garbage", now))
        said = attempt("--address", 41, "on", "--in", folder, "--port", port_of(stand_in), "--yes")
    assert "besides could not be read. If there are many, the speed is wrong." in said.out


def test_over_a_socket(attempt: Try, folder: Path) -> None:
    with far_end(pty=False, tcp=0) as stand_in:
        said = attempt("gate", "lowered", "--in", folder, "--port", f"socket://localhost:{stand_in.port}", "--yes")
        assert [text.split()[:2] for text in heard(stand_in)] == [["z", "20"]]
    assert said.status == 0
    assert "resets nothing by itself" in said.out
    assert "gate is guarded in a show" in said.out


def test_a_port_may_be_one_links_as_in_a_run(attempt: Try, folder: Path) -> None:
    text = LAYOUT.replace("links:\n", "links:\n  yard: {kind: serial text}\n")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    with far_end() as stand_in:
        said = attempt("amber", "on", "--in", folder, "--port", f"main={port_of(stand_in)}", "--yes")
        assert heard(stand_in) == ["a 10 3 1"]
        assert said.status == 0
        other = attempt("amber", "on", "--in", folder, "--port", f"yard={port_of(stand_in)}", "--yes")
        assert heard(stand_in) == ["a 10 3 1"]
    assert "no port is named" in other.out
    nobody = attempt("amber", "on", "--in", folder, "--port", "mian=/dev/ttyUSB0", "--yes")
    assert (nobody.status, "The layout has no link mian. Did you mean main?" in nobody.err) == (2, True)


def test_an_echo_over_the_loop(attempt: Try) -> None:
    said = attempt("--address", 41, "on", "--port", "loop://", "--yes")
    assert said.status == 1
    assert "this line is an echo" in said.out


@pytest.mark.parametrize(
    ("typed", "told"), [("yes\n", True), ("Y\n", True), ("no\n", False), ("", False), ("\n", False)]
)
def test_a_person_is_asked_first(
    attempt: Try, folder: Path, monkeypatch: pytest.MonkeyPatch, typed: str, told: bool
) -> None:
    class Person:
        def isatty(self) -> bool:
            return True

        def readline(self) -> str:
            return typed

    monkeypatch.setattr(sys, "stdin", Person())
    with far_end() as stand_in:
        said = attempt("--address", 41, "on", "--in", folder, "--port", port_of(stand_in))
        assert heard(stand_in) == (["a 11 0 1"] if told else [])
    assert said.status == 0
    assert "Open it and tell the station?" in said.out
    assert ("Nothing was sent." in said.out) is not told


def test_where_nobody_can_be_asked_nothing_is_opened(
    attempt: Try, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Pipe:
        def isatty(self) -> bool:
            return False

    monkeypatch.setattr(sys, "stdin", Pipe())
    with far_end() as stand_in:
        said = attempt("--address", 41, "on", "--in", folder, "--port", port_of(stand_in))
        assert heard(stand_in) == []
    assert (said.status, "Add --yes" in said.err) == (2, True)


def test_a_port_that_is_not_there(attempt: Try) -> None:
    said = attempt("--address", 41, "on", "--port", "/dev/no-such-port", "--yes")
    assert said.status == 2
    assert "There is nothing at /dev/no-such-port" in said.err


def test_a_far_end_that_hangs_up_in_the_middle(attempt: Try) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]

        def answer() -> None:
            connection, _ = server.accept()
            connection.recv(100)
            connection.close()

        thread = threading.Thread(target=answer)
        thread.start()
        said = attempt("--address", 41, "on", "--port", f"socket://127.0.0.1:{port}", "--yes")
        thread.join()
    assert said.status == 2
    assert "is gone" in said.err


@pytest.mark.parametrize(
    ("said_of_it", "alone"), [("", False), ("resets when opened: yes, ", False), ("resets when opened: no, ", True)]
)
def test_how_the_port_is_opened(
    attempt: Try, folder: Path, monkeypatch: pytest.MonkeyPatch, said_of_it: str, alone: bool
) -> None:
    asked: list[tuple[str, int, bool]] = []

    def opened(url: str, baud: int, leave_lines_alone: bool) -> None:
        asked.append((url, baud, leave_lines_alone))
        raise PortTrouble("taken", f"another program has `{url}`", "close it")

    monkeypatch.setattr(Port, "open", opened)
    text = LAYOUT.replace("start-up: 0 s", f"{said_of_it}speed: 57600, port: COM7")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    said = attempt("amber", "on", "--in", folder, "--yes")
    assert asked == [("COM7", 57_600, alone)]
    assert (said.status, said.err) == (2, "wayside: Another program has COM7: close it.\n")


@pytest.mark.parametrize("option", ["--in", "--port"])
def test_an_option_with_nothing_behind_it(attempt: Try, option: str) -> None:
    said = attempt("--address", 41, "on", option, "")
    assert (said.status, "--in and --port need something after them." in said.err) == (2, True)


def test_control_lines_left_alone(attempt: Try, folder: Path) -> None:
    text = LAYOUT.replace("start-up: 0 s", "start-up: 0 s, resets when opened: no")
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    with far_end() as stand_in:
        said = attempt("amber", "on", "--in", folder, "--port", port_of(stand_in), "--yes")
        assert heard(stand_in) == ["a 10 3 1"]
    assert "are left alone, so the station should not be reset" in said.out


def test_a_port_in_trouble_is_said_as_a_trial_needs_it() -> None:
    what, instead = "`socket://localhost:1` is gone", "plug it in again; Wayside goes on by itself"
    assert trouble_words(what, instead) == "socket://localhost:1 is gone: plug it in again."
    assert trouble_words("nobody listens at `COM5`", "look") == "Nobody listens at COM5: look."
