"""The stand-in by itself, in virtual time: the wire, the machine behind it, and each of its faults."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from adapters import stand_in, stand_in_line, stand_in_machine
from adapters.stand_in import Refused, Settings, Station
from adapters.stand_in_faults import FAULTS, BadFault, Wish, read_fault, seconds
from adapters.stand_in_servo import Servo, degrees_of
from adapters.stand_in_typed import HELP, BadLine, shown, typed

MS, S = 1_000, 1_000_000
ROOT = Path(__file__).parents[2]
QUIET = Settings(after_reply=b"", banner_us=0)
MODULES = sorted((ROOT / "adapters").glob("stand_in*.py"))


class Client:
    """Somebody at the other end of the wire: hands bytes over, and collects what comes back, with its instants."""

    def __init__(self, settings: Settings = QUIET, line: int = 0) -> None:
        self.station = Station(settings)
        self.now_us = 0
        self.line = line
        self.came: list[tuple[int, bytes]] = []
        self.station.opened(0, line)
        self.till(100 * MS)
        self.came.clear()

    def till(self, at_us: int) -> bytes:
        """Let time pass, one due instant after another; what came meanwhile."""
        first = len(self.came)
        while (due := self.station.next_due()) is not None and due <= at_us:
            self.now_us = due
            self.came += [(due, one.data) for one in self.station.advance(due) if one.line == self.line]
        self.now_us = at_us
        self.came += [(at_us, one.data) for one in self.station.advance(at_us) if one.line == self.line]
        return b"".join(data for _, data in self.came[first:])

    def wait(self, us: int) -> bytes:
        return self.till(self.now_us + us)

    def send(self, data: bytes) -> None:
        self.station.received(data, self.now_us, self.line)

    def ask(self, data: bytes, wait_us: int = 50 * MS) -> bytes:
        self.send(data)
        return self.wait(wait_us)

    def powered(self) -> Client:
        """Track power on, and its boards listening."""
        assert self.ask(b"<1>", S) == b"<p1>"
        return self

    def fault(self, name: str, time_us: int | None = None) -> None:
        self.station.fault(name, self.now_us, time_us)

    def effects(self) -> list[tuple[str, str]]:
        return [(entry.thing, entry.effect) for entry in self.station.log]


@pytest.fixture
def client() -> Client:
    return Client()


# --- what it is built of -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_it_shares_nothing_with_what_it_tests(path: Path) -> None:
    rooms = ("adapters", "engine", "scenes", "wayside", "serial", "asyncio")
    found = [node for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Import | ast.ImportFrom)]
    names = [name for node in found for name in ([node.module] if isinstance(node, ast.ImportFrom) else [])]
    names += [alias.name for node in found if isinstance(node, ast.Import) for alias in node.names]
    ours = [name for name in names if name and name.partition(".")[0] in rooms]
    assert all(re.fullmatch(r"adapters\.stand_in(_[a-z]+)?", name) for name in ours)


def test_only_the_doors_do_anything_real() -> None:
    real = {"os", "socket", "select", "time", "threading", "tempfile", "random"}
    for path in MODULES:
        if path.name not in ("stand_in_ports.py", "stand_in_doors.py"):
            assert not real & set(re.findall(r"^\s*import (\w+)", path.read_text(), re.M)), path.name


# --- the wire ------------------------------------------------------------------------------------------------------


def test_a_byte_takes_ten_bits_of_115200_baud() -> None:
    """8N1: ten bits a byte; an 11-byte command takes 0.955 ms."""
    client = Client().powered()
    began = client.now_us
    client.ask(b"<a 511 3 1>")
    entry = client.station.log[-1]
    assert entry.arrived_us - began == pytest.approx(11 * 10 / 115_200 * S, abs=2)
    assert entry.command == "<a 511 3 1>"


def test_replies_take_their_time_on_the_wire(client: Client) -> None:
    began = client.now_us
    client.ask(b"<0>")
    [(at_us, data)] = client.came
    assert data == b"<p0>"
    assert at_us - began == pytest.approx((3 + 4) * 10 / 115_200 * S, abs=3)


def test_a_slower_line_is_slower() -> None:
    client = Client(QUIET._replace(baud=9_600))
    client.ask(b"<0>")
    assert client.came[0][0] - 100 * MS == pytest.approx(7 * 10 / 9_600 * S, abs=3)


def test_bytes_in_pieces_make_the_same_commands(client: Client) -> None:
    whole = client.ask(b"\r\n<s>\x00\xff?<1>\n")
    pieces = b"".join(client.ask(bytes([byte])) for byte in b"\r\n<s>\x00\xff?<1>\n")
    assert whole == b"<p0><iWayside stand-in><p1>"
    assert pieces == b"<p1><iWayside stand-in><p1>"


def test_a_bracket_inside_a_command_begins_it_anew(client: Client) -> None:
    assert client.ask(b"<1 MA<s>") == b"<p0><iWayside stand-in>"
    assert client.ask(b">>1><") == b""


def test_one_command_at_a_time_and_the_buffer_overruns() -> None:
    """64 bytes wait while a packet has its place on the track; a sender that does not wait loses the rest."""
    client = Client().powered()
    client.ask(b"<a 11 0 1>" * 30, 2 * S)
    done = [entry for entry in client.station.log if entry.thing == "accessory 41"]
    # the first is taken at once; while it has the track the others come: six of ten bytes and a piece of a seventh
    assert 7 <= len(done) < 30
    assert client.station.lost > 0
    assert ("line", "bytes are lost: the receive buffer is full, they come faster than it can work") in client.effects()
    gaps = [late.at_us - early.at_us for early, late in pairwise(done)]
    assert all(gap >= QUIET.track_us for gap in gaps)


def test_exactly_the_buffer_is_kept() -> None:
    line = stand_in_line.Line(115_200)
    line.carry(b"x" * 70, 0)
    line.land(S)
    assert line.lost == 6


def test_a_sender_that_keeps_to_the_pace_loses_nothing() -> None:
    client = Client().powered()
    for _ in range(30):
        client.ask(b"<a 11 0 1>", QUIET.track_us)
    client.wait(S)
    assert client.station.lost == 0
    assert sum(entry.thing == "accessory 41" for entry in client.station.log) == 30


def test_what_costs_no_packet_is_done_sooner() -> None:
    client = Client()
    client.ask(b"<z 20 1420>" * 30, S)
    assert client.station.lost == 0
    assert len([entry for entry in client.station.log if entry.thing == "servo on pin 20"]) == 30


def test_the_senders_own_computer_holds_back_so_much_and_no_more(client: Client) -> None:
    assert client.station.room() == stand_in_line.MOST_COMING
    client.send(b"x" * (stand_in_line.MOST_COMING + 5))
    assert client.station.room() == 0
    client.wait(10 * S)
    assert client.station.room() == stand_in_line.MOST_COMING


# --- power, status, accessories ------------------------------------------------------------------------------------


def test_track_power_is_off_until_somebody_switches_it_on(client: Client) -> None:
    assert client.ask(b"<s>") == b"<p0><iWayside stand-in>"
    assert client.ask(b"<1>") == b"<p1>"
    assert client.ask(b"<s>") == b"<p1><iWayside stand-in>"
    assert client.ask(b"<0 MAIN>") == b"<p0>"


def test_newer_words_name_the_track() -> None:
    assert Client(QUIET._replace(track_name="MAIN")).ask(b"<1>") == b"<p1 MAIN>"


def test_nobody_hears_an_accessory_command_without_power(client: Client) -> None:
    assert client.ask(b"<a 11 0 1>") == b""
    assert client.station.machine.accessories == {}
    assert client.effects()[-1] == ("accessory 41", "nobody hears it, the track power is off")


def test_boards_need_a_while_after_the_power(client: Client) -> None:
    client.ask(b"<1>", 0)
    client.wait(MS)
    client.ask(b"<a 11 0 1>", QUIET.boards_start_us)
    assert client.station.machine.accessories == {}
    client.ask(b"<a 11 0 1>")
    assert client.station.machine.accessories == {41: 1}


# numbers of S-9.2.1 as user numbers (RCN-213 from memory): (linear, board and port counted from one, and from nought)
NUMBERS = [
    *((1, (1, 0), (0, 0)), (4, (1, 3), (0, 3)), (5, (2, 0), (1, 0)), (61, (16, 0), (15, 0))),
    *((62, (16, 1), (15, 1)), (64, (16, 3), (15, 3)), (253, (64, 0), (63, 0)), (2040, (510, 3), (509, 3))),
]


@pytest.mark.parametrize(("linear", "from_one", "from_nought"), NUMBERS)
def test_numbers_are_counted_as_in_the_tables(
    linear: int, from_one: tuple[int, int], from_nought: tuple[int, int]
) -> None:
    for first, (board, port) in ((True, from_one), (False, from_nought)):
        client = Client(QUIET._replace(from_one=first)).powered()
        client.ask(b"<a %d %d 1>" % (board, port))
        assert client.station.machine.accessories == {linear: 1}
        client.ask(b"<a %d 0>" % linear)
        assert client.station.machine.accessories == {linear: 0}


@pytest.mark.parametrize("from_one", [True, False])
def test_off_by_four_counts_as_the_other_style_does(from_one: bool) -> None:
    client = Client(QUIET._replace(from_one=from_one)).powered()
    client.fault("off-by-four")
    client.ask(b"<a 11 0 1>")
    other = Client(QUIET._replace(from_one=not from_one)).powered()
    other.ask(b"<a 11 0 1>")
    assert client.station.machine.accessories == other.station.machine.accessories
    client.station.mend("off-by-four", client.now_us)
    client.ask(b"<a 11 0 1>")
    assert sorted(client.station.machine.accessories) == [41, 45]


def test_activation_instead_of_outputs() -> None:
    client = Client(QUIET._replace(by_output=False)).powered()
    client.ask(b"<a 11 0 1>")
    assert client.station.machine.accessories == {41: 0}
    client.ask(b"<a 11 0 0>")
    assert client.station.machine.accessories == {}


def test_the_last_board_is_every_board() -> None:
    client = Client().powered()
    client.ask(b"<a 11 0 1><a 12 3 0>")
    client.ask(b"<a 511 0 1>")
    assert client.station.machine.accessories == {41: 1, 48: 1}


def test_aspects() -> None:
    client = Client().powered()
    assert client.ask(b"<A 41 7>") == b""
    assert client.station.machine.aspects == {41: 7}
    assert client.ask(b"<A 41 256>") == b"<X>"


def test_power_off_darkens_and_boards_forget() -> None:
    client = Client().powered()
    client.ask(b"<a 11 0 1><A 5 2>")
    client.ask(b"<0>")
    assert client.station.machine.accessories == client.station.machine.aspects == {}


WRONG = [
    *(b"<>", b"< >", b"<foo>", b"<E>", b"<\xff\xfe>", b"<" + b"1" * 51 + b">", b"<s 1>", b"<! 1>", b"<Q 1>"),
    *(b"<a>", b"<a 1>", b"<a 512 0 1>", b"<a 1 4 1>", b"<a 1 0 2>", b"<a 0 1>", b"<a 2045 1>", b"<a 1 0 1 1>"),
    *(b"<a one 0 1>", b"<a -1 0 1>", b"<a 9999999 1>", b"<a \xb9 0 1>", b"<A 1>", b"<A 1 -1>"),
    *(b"<T 5 1>", b"<T 5 512 0>", b"<T 99999 1 0>", b"<T 5>", b"<Z 7 1>", b"<Z 7>", b"<Z 7 -1 0>", b"<Z -7 1 0>"),
    *(b"<S 1>", b"<S 1 2>", b"<S 1 2 3>", b"<S -1 2 1>", b"<S 1 -2 1>"),
    *(b"<z>", b"<z 1 4096>", b"<z 1 -1>", b"<z 1 1 1 1 1>", b"<z 99999 1>"),
]


@pytest.mark.parametrize("command", WRONG)
def test_what_it_cannot_do_is_refused_and_changes_nothing(command: bytes) -> None:
    client = Client().powered()
    before = list(shown(client.station, client.now_us))
    assert client.ask(command) == b"<X>"
    assert list(shown(client.station, client.now_us)) == before
    assert client.station.log[-1].effect.startswith("refused: ")


def test_a_command_that_a_station_does_not_have_is_refused() -> None:
    client = Client(QUIET._replace(without="zA"))
    assert client.ask(b"<z 1 1>") == client.ask(b"<A 1 1>") == b"<X>"


def test_the_emergency_stop_has_no_answer(client: Client) -> None:
    assert client.ask(b"<!>") == b""
    assert client.effects()[-1] == ("every train", "told to stop")


# --- turnouts, outputs, pins ---------------------------------------------------------------------------------------


def test_turnouts() -> None:
    client = Client().powered()
    assert client.ask(b"<T>") == b"<X>"
    assert client.ask(b"<T 5 11 0>") == b"<O>"
    assert client.ask(b"<T 5 1>") == b"<H 5 1>"
    assert client.station.machine.accessories == {41: 1}
    assert client.ask(b"<T>") == b"<H 5 11 0 1>"
    assert client.ask(b"<s>") == b"<p1><iWayside stand-in><H 5 1>"
    assert client.ask(b"<T 5 2>") == client.ask(b"<T 6 1>") == b"<X>"
    assert client.ask(b"<T 5>") == b"<O>"
    assert client.ask(b"<T 5 1>") == b"<X>"


def test_a_reply_says_that_it_was_taken_and_not_that_anything_moved(client: Client) -> None:
    assert client.ask(b"<T 5 11 0><T 5 1>") == b"<O><H 5 1>"
    assert client.station.machine.accessories == {}


def test_outputs_on_pins(client: Client) -> None:
    assert client.ask(b"<Z 7 30 0><Z 8 31 1>") == b"<O><O>"
    assert client.station.machine.pins == {30: 0, 31: 1}  # the second is inverted
    assert client.ask(b"<Z 7 1><Z 8 1>") == b"<Y 7 1><Y 8 1>"
    assert client.station.machine.pins == {30: 1, 31: 0}
    assert client.ask(b"<Z>") == b"<Y 7 30 0 1><Y 8 31 1 1>"
    assert client.ask(b"<Z 7>") == b"<O>"
    assert client.ask(b"<s>") == b"<p0><iWayside stand-in><Y 8 1>"


def test_levels_on_pins(client: Client) -> None:
    assert client.ask(b"<z 12 140><z 13><z -13><z 14 4095>") == b""
    assert client.station.machine.pins == {12: 140, 13: 0, 14: 4095}
    client.ask(b"<z 12 1500>")  # a pin that has shown a level is no servo's
    assert client.station.machine.pins[12] == 1500
    assert 12 not in client.station.machine.servos


# --- servos --------------------------------------------------------------------------------------------------------


def test_pulses_and_degrees() -> None:
    """544 to 2400 us over half a turn: 10.31 us a degree (a common library's range)."""
    assert degrees_of(544) == 0
    assert degrees_of(2_400) == 180
    assert degrees_of(1_472) == pytest.approx(90)
    assert degrees_of(1_420) == pytest.approx(85, abs=0.05)
    assert degrees_of(500) == 0
    assert degrees_of(2_500) == 180


def test_an_arm_moves_at_its_own_speed() -> None:
    """0.10 s for 60 degrees."""
    client = Client(QUIET._replace(servo_starts_deg=0.0))
    client.ask(b"<z 20 1472>", 0)
    client.wait(2 * MS)
    began = client.station.log[-1].at_us
    for after_ms, degrees in ((0, 0), (25, 15), (50, 30), (100, 60), (150, 90), (10_000, 90)):
        assert client.station.angle(20, began + after_ms * MS) == pytest.approx(degrees, abs=0.1)
        client.now_us = began + after_ms * MS


def test_an_arm_turns_round_where_it_is() -> None:
    servo = Servo(0.0, 600.0)
    servo.tell(2_400, 0)
    assert servo.angle(100 * MS) == pytest.approx(60)
    servo.tell(544, 100 * MS)
    assert servo.angle(150 * MS) == pytest.approx(30)
    assert servo.angle(200 * MS) == pytest.approx(0)
    assert servo.angle(900 * MS) == 0


def test_an_arm_without_pulses_stays_where_it_is() -> None:
    servo = Servo(0.0, 600.0)
    servo.tell(2_400, 0)
    servo.release(100 * MS)
    assert servo.pulse_us is None
    assert servo.angle(S) == pytest.approx(60)
    client = Client()
    client.ask(b"<z 20 1420><z 20 0>")
    assert client.effects()[-1] == ("servo on pin 20", "released")


def test_a_station_can_take_its_time_over_the_way() -> None:
    servo = Servo(0.0, 600.0)
    servo.tell(1_472, 0, over_us=2 * S)
    assert servo.angle(S) == pytest.approx(45)
    client = Client(QUIET._replace(servo_starts_deg=0.0))
    client.ask(b"<z 20 1472 1 20>", S)
    assert client.station.angle(20, client.now_us) == pytest.approx(45, abs=0.1)


def test_a_pin_with_a_servo_takes_pulses_only() -> None:
    client = Client(QUIET._replace(servos=frozenset({20})))
    assert client.ask(b"<z 20 100>") == client.ask(b"<z 20 2601>") == b"<X>"
    assert client.station.angle(20, client.now_us) == 90


def test_what_is_said_of_a_servo(client: Client) -> None:
    client.ask(b"<z 20 1420>")
    assert client.effects()[-1] == ("servo on pin 20", "1420 us, 85 deg")


# --- detectors -----------------------------------------------------------------------------------------------------


def test_detectors_report_by_themselves_once_they_are_defined(client: Client) -> None:
    assert client.ask(b"<Q>") == b"<X>"
    assert client.ask(b"<S 12 26 1>") == b"<O>"
    client.station.detector(12, True, client.now_us)
    client.station.detector(12, True, client.now_us)
    assert client.wait(5 * MS) == b"<Q 12>"
    client.station.detector(12, False, client.now_us)
    assert client.wait(5 * MS) == b"<q 12>"
    client.station.detector(13, True, client.now_us)
    assert client.wait(5 * MS) == b""
    assert client.ask(b"<S 13 27 0>") == b"<O><Q 13>"
    assert client.ask(b"<Q>") == b"<q 12><Q 13>"
    assert client.ask(b"<S>") == b"<Q 12 26 1><Q 13 27 0>"
    assert client.ask(b"<S 13><Q>") == b"<O><q 12>"


def test_a_section_reports_clear_without_track_power() -> None:
    client = Client().powered()
    client.ask(b"<S 12 26 1>")
    client.station.detector(12, True, client.now_us, by_current=True)
    assert client.wait(5 * MS) == b"<Q 12>"
    assert client.ask(b"<0>") == b"<p0><q 12>"
    assert client.ask(b"<1>") == b"<p1><Q 12>"


def test_odd_detectors_are_refused(client: Client) -> None:
    for number in (-1, 32_768):
        with pytest.raises(Refused):
            client.station.detector(number, True, client.now_us)


# --- senders -------------------------------------------------------------------------------------------------------


def test_others_hear_what_concerns_them() -> None:
    client = Client()
    client.station.opened(client.now_us, 1)
    client.wait(5 * MS)
    client.station.received(b"<1><T 5 11 0><T 5 1><s><Q>", client.now_us, 1)
    assert client.wait(50 * MS) == b"<p1><H 5 1>"
    client.station.turnout(5, 0, client.now_us)
    assert client.wait(50 * MS) == b"<H 5 0>"
    client.station.received(b"<Z 7 30 0><Z 7 1>", client.now_us, 1)
    assert client.wait(50 * MS) == b"<Y 7 1>"
    with pytest.raises(Refused):
        client.station.turnout(6, 0, client.now_us)


def test_two_senders_do_not_mix_their_commands() -> None:
    client = Client()
    client.station.opened(client.now_us, 1)
    client.station.received(b"<z 12 1", client.now_us, 1)
    client.send(b"<z 13 4")
    client.wait(5 * MS)
    client.station.received(b"1>", client.now_us, 1)
    client.send(b"0>")
    client.wait(5 * MS)
    assert client.station.machine.pins == {12: 11, 13: 40}


def test_there_is_room_for_so_many_senders() -> None:
    station = Station()
    assert [station.opened(0, line) for line in range(stand_in.MOST_LINES + 1)] == [True] * stand_in.MOST_LINES + [
        False
    ]
    assert not station.opened(0, 0)  # it is open already
    station.closed(0, 3)
    assert station.opened(0, 99)


def test_a_line_that_nobody_has_opened_hears_nothing() -> None:
    station = Station()
    station.received(b"<1>", 0)
    assert station.advance(S) == []
    assert station.machine.power == "off"
    assert station.room() == 0


def test_hands_at_the_station(client: Client) -> None:
    client.ask(b"<Z 7 30 0>")
    client.station.power(True, client.now_us)
    client.station.output(7, 1, client.now_us)
    assert client.wait(5 * MS) == b"<p1><Y 7 1>"
    assert ("track power", "on, by hand") in client.effects()


# --- limits --------------------------------------------------------------------------------------------------------


def test_the_log_ends_somewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stand_in, "LOG_LENGTH", 10)
    client = Client()
    client.ask(b"<s>" * 20)
    assert len(client.station.log) == 10
    assert client.station.told == 21  # and the opening
    assert client.station.obeyed == 20


@pytest.mark.parametrize("command", [b"<T %d 1 0>", b"<Z %d 1 0>", b"<S %d 1 0>"])
def test_so_much_can_be_defined(command: bytes) -> None:
    client = Client()
    for number in range(stand_in_machine.MOST_DEFINED):
        assert client.ask(command % number, 2 * MS) == b"<O>"
    assert client.ask(command % 999, 2 * MS) == b"<X>"
    assert client.ask(command % 0, 2 * MS) == b"<O>"  # anew


def test_pins_and_inputs_end_somewhere(monkeypatch: pytest.MonkeyPatch, client: Client) -> None:
    monkeypatch.setattr(stand_in_machine, "MOST_PINS", 2)
    monkeypatch.setattr(stand_in_machine, "MOST_INPUTS", 2)
    assert client.ask(b"<z 1 1><z 2 1><z 3 1><z 4 1500><z 5 1500><z 6 1500>") == b"<X><X>"
    client.station.detector(1, True, client.now_us)
    client.station.detector(2, True, client.now_us)
    client.station.detector(1, False, client.now_us)
    with pytest.raises(Refused):
        client.station.detector(3, True, client.now_us)


def test_replies_that_nobody_fetches_end_somewhere(monkeypatch: pytest.MonkeyPatch, client: Client) -> None:
    monkeypatch.setattr(stand_in_line, "MOST_UNSENT", 100)
    client.fault("silence")
    client.fault("endless-reply")
    client.fault("flood")
    assert len(client.wait(20 * S)) <= 100 + 6


# --- faults --------------------------------------------------------------------------------------------------------


def test_swallowing_the_first_second() -> None:
    client = Client()
    client.fault("swallow")
    client.station.closed(client.now_us)
    client.station.opened(client.now_us)
    opened = client.now_us
    assert client.ask(b"<1>", 900 * MS) == b""
    assert client.ask(b"<s>", 300 * MS) == b"<iWayside stand-in>"
    assert client.came[-1][0] - opened >= S
    assert client.ask(b"<s>") == b"<p0><iWayside stand-in>"
    assert client.station.machine.power == "off"


def test_a_late_banner_and_an_ordinary_one() -> None:
    client = Client(QUIET._replace(banner_us=200 * MS))
    assert client.wait(99 * MS) == b""
    assert client.wait(10 * MS) == b"<iWayside stand-in>"
    client.fault("late-banner")
    client.station.closed(client.now_us)
    client.station.opened(client.now_us)
    assert client.ask(b"<0>", 2_990 * MS) == b"<p0>"
    assert client.wait(50 * MS) == b"<iWayside stand-in>"


def test_a_banner_is_not_said_to_the_next_one_as_well() -> None:
    client = Client(QUIET._replace(banner_us=50 * MS))
    client.wait(S)
    for _ in range(3):
        client.station.closed(client.now_us)
        client.station.opened(client.now_us)
        client.wait(MS)
    assert client.wait(S) == b"<iWayside stand-in>"


def test_opening_can_restart_it() -> None:
    client = Client().powered()
    client.fault("reset-on-open")
    client.station.opened(client.now_us, 1)
    assert client.station.machine.power == "off"
    assert client.wait(50 * MS) == b"<iWayside stand-in>"


def test_silence(client: Client) -> None:
    client.fault("silence", 5 * S)
    assert client.ask(b"<s>" + b"<z 12 9>" * 20, 4_990 * MS) == b""
    assert client.wait(50 * MS) == b"<p0><iWayside stand-in>"  # what its buffer held
    assert client.station.lost == 3 + 160 - 64
    assert client.ask(b"<0>") == b"<p0>"


def test_silence_holds_what_it_was_about_to_say(client: Client) -> None:
    client.ask(b"<S 12 26 1>")
    client.station.detector(12, True, client.now_us)
    client.fault("silence", 2 * S)
    assert client.wait(1_990 * MS) == b""
    assert client.wait(20 * MS) == b"<Q 12>"


def test_a_restart_forgets_everything_but_where_arms_and_trains_are() -> None:
    client = Client().powered()
    client.ask(b"<S 12 26 1><T 5 11 0><T 5 1><Z 7 30 0><Z 7 1><A 9 1>")
    client.ask(b"<z 20 1420>", S)
    client.station.detector(12, True, client.now_us)
    client.wait(50 * MS)
    client.send(b"<s><s>")
    client.fault("restart")
    assert client.wait(S).startswith(b"<iWayside stand-in>")
    machine = client.station.machine
    assert machine.power == "off"
    assert not (machine.accessories)
    assert not (machine.aspects)
    assert not (machine.pins)
    assert not (machine.turnouts)
    assert not (machine.outputs)
    assert not (machine.detectors)
    assert machine.servos[20].pulse_us is None
    assert client.station.angle(20, client.now_us) == pytest.approx(85, abs=0.1)
    assert client.ask(b"<Q>") == b"<X>"
    assert client.ask(b"<S 12 26 1>") == b"<O><Q 12>"  # the train still stands there


def test_a_restart_drops_what_it_was_about_to_do_and_to_say(client: Client) -> None:
    client.ask(b"<S 12 26 1>")
    client.fault("silence")
    client.station.detector(12, True, client.now_us)
    client.ask(b"<z 12 1><1")
    client.fault("restart")
    assert client.ask(b"2>", S) == b"<iWayside stand-in>"
    assert client.station.machine.pins == {}
    assert client.station.machine.power == "off"


def test_a_restart_ends_a_flood_and_a_tripping() -> None:
    client = Client().powered()
    client.fault("flood")
    client.fault("booster-trips", S)
    client.wait(S)
    client.wait(100 * MS)
    client.fault("restart")
    client.send(b"<1>")
    assert client.wait(5 * S) == b"<iWayside stand-in><p1>"


def test_garbage(client: Client) -> None:
    client.fault("garbage")
    said = client.ask(b"<0>", S)
    assert b"<p0>" in said
    noise = said.replace(b"<p0>", b"")
    assert len(noise) > 20
    assert any(byte > 127 for byte in noise)
    client.station.mend("garbage", client.now_us)
    client.wait(S)
    assert client.wait(S) == b""
    for _ in range(3):
        client.fault("garbage")
    began = len(client.came)
    client.wait(S)
    assert 9 <= len(client.came) - began <= 12  # told three times, it is still one noise


def test_garbage_survives_a_restart(client: Client) -> None:
    client.fault("garbage")
    client.fault("restart")
    client.wait(S)
    assert len(client.wait(S)) > 10


def test_garbage_is_the_same_in_every_run() -> None:
    def said() -> bytes:
        client = Client()
        client.fault("garbage")
        return client.ask(b"<0><1><s>", S)

    assert said() == said()


def test_half_replies(client: Client) -> None:
    client.fault("half-replies")
    client.ask(b"<0>", S)
    (first_us, first), (second_us, second) = client.came
    assert first + second == b"<p0>"
    assert first
    assert second
    assert second_us - first_us == pytest.approx(150 * MS, abs=MS)


def test_an_endless_reply(client: Client) -> None:
    client.fault("endless-reply")
    said = client.ask(b"<0>", 2 * S)
    assert said.count(b"<") == 2
    assert said.count(b">") == 1
    assert said.endswith(b"<p0>")
    assert len(said) > 5_000


def test_late_replies(client: Client) -> None:
    client.fault("late-replies", 700 * MS)
    assert client.ask(b"<0>", 690 * MS) == b""
    client.station.mend("late-replies", client.now_us)
    assert client.ask(b"<1>", 50 * MS) == b"<p0><p1>"  # a line does not overtake itself


def test_doubled_replies(client: Client) -> None:
    client.fault("doubled-replies")
    assert client.ask(b"<s>") == b"<p0><p0><iWayside stand-in><iWayside stand-in>"


def test_no_replies_but_the_work_is_done(client: Client) -> None:
    client.ask(b"<S 12 26 1>")
    client.fault("no-replies")
    assert client.ask(b"<s><1>") == b""
    assert client.station.machine.power == "on"
    client.station.detector(12, True, client.now_us)
    assert client.wait(5 * MS) == b"<Q 12>"  # a report is no reply


def test_refusing_everything(client: Client) -> None:
    client.fault("refuses")
    assert client.ask(b"<1><s><z 12 1>") == b"<X><X><X>"
    assert client.station.machine.power == "off"
    assert not client.station.machine.pins
    client.station.mend("refuses", client.now_us)
    assert client.ask(b"<1>") == b"<p1>"


def test_the_booster_trips_three_times_and_comes_back() -> None:
    client = Client().powered()
    client.ask(b"<a 11 0 1>")
    client.fault("booster-trips")
    assert client.wait(500 * MS) == b"<p2>"
    assert client.station.machine.accessories == {}
    assert client.ask(b"<s>") == b"<p2><iWayside stand-in>"  # it goes on answering
    assert client.ask(b"<a 11 0 1><T 5 11 0><T 5 1>") == b"<O><H 5 1>"
    assert client.station.machine.accessories == {}
    assert client.wait(10 * S) == b"<p1><p2><p1><p2><p1>"
    client.ask(b"<a 11 0 1>")
    assert client.station.machine.accessories == {41: 1}


def test_somebody_who_switches_off_ends_the_tripping() -> None:
    client = Client().powered()
    client.fault("booster-trips")
    client.wait(100 * MS)
    assert client.ask(b"<0>", 10 * S) == b"<p0>"


def test_without_power_nothing_trips(client: Client) -> None:
    client.fault("booster-trips")
    assert client.wait(10 * S) == b""
    assert client.effects()[-1] == ("track power", "off, so there is nothing to trip")


@pytest.mark.parametrize("detectors", [0, 1, 3])
def test_a_flood_of_ten_thousand_reports_in_a_second(detectors: int) -> None:
    client = Client()
    for number in range(detectors):
        client.ask(b"<S %d %d 1>" % (number + 1, number + 30))
    if detectors:
        client.station.detector(1, True, client.now_us)
    client.wait(50 * MS)
    client.fault("flood")
    began = client.now_us
    reports = re.findall(rb"<([Qq]) (\d+)>", client.wait(2 * S))
    assert len(reports) == 10_000 + max(1, detectors)
    assert client.came[-1][0] - began <= 1_100 * MS
    last = {number: state for state, number in reports}
    truth = {b"%d" % number: b"q" for number in range(1, max(1, detectors) + 1)}
    assert last == truth | ({b"1": b"Q"} if detectors else {})


def test_unplug_and_replug() -> None:
    client = Client().powered()
    client.ask(b"<a 11 0 1>")
    client.send(b"<s>")
    client.fault("unplug")
    assert not client.station.plugged
    assert client.wait(1_990 * MS) == b""
    assert not client.station.opened(client.now_us)
    client.wait(20 * MS)
    assert client.station.plugged
    assert client.station.opened(client.now_us)
    assert client.ask(b"<s>") == b"<iWayside stand-in><p1><iWayside stand-in>"
    assert client.station.machine.accessories == {41: 1}  # it has a supply of its own


def test_unplug_in_the_middle_of_a_reply(client: Client) -> None:
    client.fault("unplug-in-reply", S)
    assert client.station.plugged
    assert client.ask(b"<s>") == b"<p"
    assert not client.station.plugged
    client.wait(S)
    assert client.station.plugged
    assert "unplug-in-reply" not in client.station.faults


def test_unplug_in_the_middle_of_a_command(client: Client) -> None:
    client.fault("unplug-in-command", S)
    assert client.ask(b"<1>") == b"<p1>"  # too short to have a middle
    client.ask(b"<z 12 1>")
    assert not client.station.plugged
    assert client.station.machine.pins == {}
    client.wait(S)
    assert client.station.plugged
    client.station.opened(client.now_us)
    assert client.ask(b"2 1><z 13 1>") == b"<iWayside stand-in>"  # the rest of the old one is nothing
    assert client.station.machine.pins == {13: 1}


def test_a_restart_does_not_leave_the_cable_out(client: Client) -> None:
    client.fault("unplug")
    client.fault("restart")
    client.wait(3 * S)
    assert client.station.plugged


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_alone_is_survived(name: str) -> None:
    client = Client().powered()
    client.ask(b"<S 12 26 1>")
    client.fault(name)
    client.ask(b"<s><a 11 0 1>", 20 * S)
    if FAULTS[name].lasts:
        assert name in client.station.faults
        client.station.mend(name, client.now_us)
    client.station.opened(client.now_us)
    client.wait(5 * S)
    assert client.ask(b"<s>", 5 * S).endswith(b"<iWayside stand-in>")
    assert not client.station.faults


def test_all_faults_at_once_are_survived() -> None:
    client = Client().powered()
    for name in FAULTS:
        client.fault(name)
    client.station.opened(client.now_us)
    client.ask(b"<s><a 11 0 1><z 20 1500><Q>", 60 * S)
    for name in FAULTS:
        client.station.mend(name, client.now_us)
    client.station.opened(client.now_us)
    client.wait(20 * S)
    assert client.ask(b"<s>").endswith(b"<iWayside stand-in>")


def test_a_prepared_fault_waits_for_somebody() -> None:
    station = Station(QUIET)
    station.prepare(Wish("unplug"))
    station.prepare(Wish("doubled-replies"))
    station.advance(10 * S)
    assert station.plugged
    assert "doubled-replies" in station.faults
    station.opened(10 * S)
    station.advance(10 * S + stand_in.AFTER_OPENING_US - 1)
    assert station.plugged
    station.advance(10 * S + stand_in.AFTER_OPENING_US)
    assert not station.plugged


def test_how_long_faults_last_unless_told_otherwise() -> None:
    times = {name: fault.time_us / S for name, fault in FAULTS.items() if fault.time_us}
    assert times == {
        "swallow": 1,
        "late-banner": 3,
        "silence": 5,
        "half-replies": 0.15,
        "late-replies": 1,
        "booster-trips": 1,
        "flood": 1,
        "unplug": 2,
        "unplug-in-reply": 2,
        "unplug-in-command": 2,
    }
    once = {name for name, fault in FAULTS.items() if not fault.lasts}
    assert once == {
        *("silence", "restart", "endless-reply", "booster-trips", "flood"),
        *("unplug", "unplug-in-reply", "unplug-in-command"),
    }


def test_what_happens_is_written_down(client: Client) -> None:
    client.station.detector(12, True, client.now_us)
    client.fault("unplug", S)
    client.wait(2 * S)
    assert client.effects() == [
        ("line", "somebody has opened it"),
        ("detector 12", "on, but nobody has defined it"),
        ("fault unplug", "the cable is out for 1 s"),
        ("line", "the cable is out"),
        ("line", "the cable is in again"),
    ]


def test_the_least_of_everything() -> None:
    client = Client().powered()
    assert client.ask(b"<a 0 3 1><A 1 0><A 2 255><z 0 0><z 13><Z 0 0 0><S 0 0 0><T 0 0 0><a 1 0>", S) == b"<O><O><O>"
    assert client.station.machine.accessories == {0: 1, 1: 0}
    assert client.station.machine.aspects == {1: 0, 2: 255}
    assert client.station.machine.pins == {0: 0, 13: 1}


def test_unknown_faults(client: Client) -> None:
    with pytest.raises(KeyError):
        client.fault("sunspots")
    client.station.mend("garbage", client.now_us)  # not on: no matter
    assert client.effects()[-1][0] == "line"


# --- how faults are written ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("silence", Wish("silence")),
        ("  Silence 5 s ", Wish("silence", 5 * S)),
        ("silence 250ms", Wish("silence", 250 * MS)),
        ("late-replies 1,5 s", Wish("late-replies", 1_500 * MS)),
        ("unplug 2 min", Wish("unplug", 120 * S)),
        ("unplug 60 min", Wish("unplug", 3_600 * S)),
        ("unplug 1 ms", Wish("unplug", MS)),
        ("garbage on", Wish("garbage")),
        ("garbage off", Wish("garbage", over=True)),
    ],
)
def test_faults_as_they_are_written(text: str, wish: Wish) -> None:
    assert read_fault(text) == wish


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "There is no fault without a name. There are swallow,"),
        ("silense 5 s", "Did you mean silence?"),
        ("qqqq", "There are swallow,"),
        ("silence soon", "Write one such as `silence 5 s`"),
        ("silence 0 s", "at least 1 ms"),
        ("silence 61 min", "at most 60 min"),
        ("silence off", "ends by itself"),
        ("garbage 5 s", "takes no time. Write `garbage` or `garbage off`."),
        ("restart 5 s", "takes no time. Write `restart`."),
        ("silence " + "5" * 100, "at most 80 characters"),
    ],
)
def test_what_is_no_fault_is_told(text: str, says: str) -> None:
    with pytest.raises(BadFault, match=re.escape(says)):
        read_fault(text)


def test_every_fault_has_words_for_its_time() -> None:
    for name, fault in FAULTS.items():
        assert "{" not in fault.words()
        assert (seconds(777 * MS) in fault.words(777 * MS)) == (fault.time_us > 0), name
    assert [seconds(us) for us in (250 * MS, 1_500 * MS, 90 * S, 120 * S)] == ["250 ms", "1.5 s", "90 s", "2 min"]


# --- typed lines ---------------------------------------------------------------------------------------------------


@pytest.fixture
def hands(client: Client) -> Callable[[str], list[str]]:
    return lambda text: typed(client.station, text, client.now_us)


def test_typed_lines_do_what_they_say(client: Client, hands: Callable[[str], list[str]]) -> None:
    client.ask(b"<S 12 26 1><S 13 27 1><T 5 11 0><Z 7 30 0>")
    for line in ("POWER on", "detector 12 on", "section 13 on", "turnout 5 on", "output 7 on", ""):
        assert hands(line) == []
    assert client.wait(50 * MS) == b"<p1><Q 12><Q 13><H 5 1><Y 7 1>"
    assert hands("power off") == hands("detector 12 off") == []
    assert client.wait(50 * MS) == b"<p0><q 13><q 12>"
    hands("fault doubled-replies")
    assert client.ask(b"<0>") == b"<p0><p0>"
    assert hands("fault doubled-replies off") == []
    assert client.ask(b"<0>") == b"<p0>"
    assert hands("fault garbage off") == ["garbage is not on."]
    hands("fault silence 2 s")
    assert client.ask(b"<0>", S) == b""


def test_help_tells_of_every_line(hands: Callable[[str], list[str]]) -> None:
    from adapters.stand_in_typed import LINES

    assert hands("help") == HELP.splitlines()
    told = {line.split()[0] for line in HELP.splitlines()}
    assert told == {*LINES, "quit"} - {"help", "?"}


def test_faults_are_listed_with_those_that_are_on(hands: Callable[[str], list[str]]) -> None:
    hands("fault late-replies 3 s")
    rows = hands("faults")
    assert [row.split()[0] for row in rows] == list(FAULTS)
    assert [row for row in rows if "now on" in row] == ["late-replies       everything it says comes 3 s late (now on)"]


def test_show_tells_of_everything(client: Client, hands: Callable[[str], list[str]]) -> None:
    client.powered().ask(b"<a 11 0 1><A 9 2><z 12 40><z 20 1420><S 12 26 1>", S)
    hands("fault garbage")
    assert hands("show") == [
        "track power: on",
        "accessory 41: output 1 on",
        "signal 9: aspect 2",
        "pin 12: 40",
        "servo on pin 20: 1420 us, at 85 deg",
        "detector 12 (pin 26): off",
        "going wrong: garbage",
    ]
    for pin in range(100, 160):
        client.ask(b"<z %d 1>" % pin)
    assert "and 21 more of these" in hands("show")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("explode", "There is nothing called explode"),
        ("detector", "such as `detector 12 on`"),
        ("detector 12", "such as `detector 12 on`"),
        ("detector twelve on", "such as `detector 12 on`"),
        ("detector 12 maybe", "such as `detector 12 on`"),
        ("section 12 on now", "such as `section 12 on`"),
        ("detector 99999 on", "Detectors have numbers from 0 to 32767"),
        ("detector ¹² on", "such as `detector 12 on`"),
        ("turnout 5 on", "No such turnout, or neither 0 nor 1."),
        ("output 5 off", "No such output, or neither 0 nor 1."),
        ("power", "Write `power on` or `power off`"),
        ("fault", "There is no fault without a name"),
        ("fault silense", "Did you mean silence?"),
        ("x" * 201, "at most 200 characters"),
    ],
)
def test_what_cannot_be_done_is_told(hands: Callable[[str], list[str]], line: str, says: str) -> None:
    with pytest.raises(BadLine) as problem:
        hands(line)
    assert says in str(problem.value)
    assert not str(problem.value).endswith(("..", "?."))
