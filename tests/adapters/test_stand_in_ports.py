"""The stand-in's doors, real ones: a pseudo-terminal and a socket on this computer, with pyserial at the other end."""

from __future__ import annotations

import contextlib
import os
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import serial

from adapters import stand_in_doors
from adapters.stand_in import Settings, Station
from adapters.stand_in_faults import FAULTS
from adapters.stand_in_ports import HOST, MOST_CLIENTS, StandIn, running

MS, S = 1_000, 1_000_000
PATIENCE_S = 5.0
BANNER = b"<iWayside stand-in>"
QUICK = Settings(banner_us=60 * MS, boards_start_us=10 * MS)

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


@pytest.fixture
def both(tmp_path: Path) -> Iterator[StandIn]:
    with running(Station(QUICK), tcp=0, name=str(tmp_path / "line")) as stand_in:
        yield stand_in


def url(stand_in: StandIn, door: str) -> str:
    if door == "socket":
        return f"socket://{HOST}:{stand_in.port}"
    assert stand_in.pty is not None
    return stand_in.pty.name


@contextlib.contextmanager
def client(stand_in: StandIn, door: str) -> Iterator[serial.SerialBase]:
    port = serial.serial_for_url(url(stand_in, door), 115_200, timeout=PATIENCE_S)
    try:
        assert read(port, BANNER).endswith(BANNER + b"\r\n")
        yield port
    finally:
        with contextlib.suppress(OSError, serial.SerialException):
            port.close()


def read(port: serial.SerialBase, until: bytes) -> bytes:
    """What comes up to a text and its line end."""
    return bytes(port.read_until(until + b"\r\n"))


def wait_for(so: Callable[[], bool]) -> None:
    """No order is proved by this: it waits until something has happened at all."""
    ends = time.monotonic() + PATIENCE_S
    while not so():
        assert time.monotonic() < ends
        time.sleep(0.005)


def dead(port: serial.SerialBase) -> bool:
    """Whether the line has gone under a client."""
    try:
        port.timeout = 0.02
        port.write(b"<s><z 9 1>")
        port.read(1)
    except (OSError, serial.SerialException):
        return True
    return False


DOORS = pytest.mark.parametrize("door", ["pty", "socket"])


@DOORS
def test_it_is_told_and_answers(both: StandIn, door: str) -> None:
    with client(both, door) as port:
        port.write(b"<1><S 12 26 1>")
        assert read(port, b"<O>") == b"<p1>\r\n<O>\r\n"
        both.ask(lambda station, now_us: station.detector(12, True, now_us))
        assert read(port, b"<Q 12>") == b"<Q 12>\r\n"
        ready_us = both.now_us() + QUICK.boards_start_us
        wait_for(lambda: both.now_us() > ready_us)
        port.write(b"<a 11 0 1><z 20 1420>")
        wait_for(lambda: both.ask(lambda station, _: 20 in station.machine.servos))
        assert both.ask(lambda station, _: station.machine.accessories) == {41: 1}
        wait_for(lambda: both.ask(lambda station, now_us: abs(station.angle(20, now_us) - 85) < 0.1))


@DOORS
def test_a_client_that_goes_and_comes_back_is_served_again(both: StandIn, door: str) -> None:
    for _ in range(3):
        with client(both, door) as port:
            port.write(b"<z 12 1><0>")
            assert read(port, b"<p0>").endswith(b"<p0>\r\n")
        wait_for(lambda: not both.ask(lambda station, _: station.room(0) or station.room(1)))
    assert [entry.effect for entry in both.station.log if entry.thing == "line"].count("somebody has opened it") == 3


def test_what_a_client_wrote_before_it_went_is_heard(both: StandIn) -> None:
    """Opened, written and closed faster than anybody looks."""
    port = serial.serial_for_url(url(both, "pty"), 115_200)
    port.write(b"<1>")
    port.close()
    wait_for(lambda: both.station.machine.power == "on" or both.station.obeyed > 0 or len(both.station.log) >= 2)
    with client(both, "pty") as port:
        port.write(b"<s>")
        assert b"<p" in read(port, BANNER)


def test_a_client_that_goes_in_the_middle_of_everything(both: StandIn) -> None:
    for door in ("pty", "socket"):
        with client(both, door) as port:
            port.write(b"<s>" * 200 + b"<a 11")
    for door in ("pty", "socket"):
        with client(both, door) as port:
            port.write(b"<0>")
            assert read(port, b"<p0>").endswith(b"<p0>\r\n")


def test_both_doors_at_once(both: StandIn) -> None:
    with client(both, "pty") as first, client(both, "socket") as second:
        first.write(b"<1>")
        assert read(first, b"<p1>") == read(second, b"<p1>") == b"<p1>\r\n"


def test_only_this_computer_is_listened_to(both: StandIn) -> None:
    assert both._listener is not None
    assert both._listener.getsockname()[0] == "127.0.0.1"


def test_so_many_clients_and_no_more(both: StandIn) -> None:
    with contextlib.ExitStack() as stack:
        ports = [stack.enter_context(client(both, "socket")) for _ in range(MOST_CLIENTS)]
        one_more = stack.enter_context(contextlib.closing(socket.create_connection((HOST, both.port or 0))))
        one_more.settimeout(PATIENCE_S)
        assert one_more.recv(100) == b""
        ports[0].write(b"<0>")
        assert read(ports[0], b"<p0>") == b"<p0>\r\n"
    wait_for(lambda: not both._clients)
    with client(both, "socket"):
        pass


# --- the cable -----------------------------------------------------------------------------------------------------


@DOORS
@pytest.mark.parametrize("fault", ["unplug", "unplug-in-reply", "unplug-in-command"])
def test_unplug_and_replug(both: StandIn, door: str, fault: str) -> None:
    with client(both, door) as port:
        both.ask(lambda station, now_us: station.fault(fault, now_us, 200 * MS))
        wait_for(lambda: dead(port))
    wait_for(lambda: both.ask(lambda station, _: station.plugged) and both._open)
    with client(both, door) as port:  # under the same name
        port.write(b"<0>")
        assert read(port, b"<p0>") == b"<p0>\r\n"


def test_nobody_is_there_while_the_cable_is_out(both: StandIn) -> None:
    pty, tcp = url(both, "pty"), url(both, "socket")
    both.ask(lambda station, now_us: station.fault("unplug", now_us, S))
    wait_for(lambda: not both._open)
    for one in (pty, tcp):
        with pytest.raises(serial.SerialException):
            serial.serial_for_url(one, 115_200)


def test_half_a_reply_arrives_before_the_cable_is_out(both: StandIn) -> None:
    with client(both, "socket") as port:
        both.ask(lambda station, now_us: station.fault("unplug-in-reply", now_us, 100 * MS))
        port.write(b"<s>")
        assert port.read(2) == b"<p"


def test_a_port_that_somebody_took_meanwhile(both: StandIn, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as taken:
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        both.ask(lambda station, now_us: station.fault("unplug", now_us, 300 * MS))
        wait_for(lambda: not both._open)
        taken.bind((HOST, both.port or 0))
        taken.listen()
        wait_for(lambda: any("cannot be opened again" in entry.effect for entry in both.station.log))
    wait_for(lambda: both._open)
    with client(both, "pty"):
        pass


# --- faults over the real line -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("door", "name"),
    [
        *(("pty", name) for name in FAULTS if not name.startswith("unplug")),
        *(("socket", name) for name in ("garbage", "half-replies", "flood", "restart")),
    ],
)
def test_each_fault_reaches_the_client_and_ends(both: StandIn, door: str, name: str) -> None:
    """What each does in detail is tested in virtual time; here that the doors carry it, and go on afterwards."""
    time_us = {"silence": 50 * MS, "late-replies": 50 * MS, "booster-trips": 10 * MS, "flood": 50 * MS}.get(name)
    with client(both, door) as port:
        both.ask(lambda station, now_us: station.fault(name, now_us, time_us))
        port.write(b"<s><1>")
        port.timeout = 0.05
        port.read(100)
        if FAULTS[name].lasts:
            both.ask(lambda station, now_us: station.mend(name, now_us))
        both.ask(lambda station, now_us: station.detector(9, True, now_us))
        port.write(b"<S 9 9 1>")
        port.timeout = PATIENCE_S
        assert read(port, b"<Q 9>").endswith(b"<Q 9>\r\n")


def test_a_flood_that_nobody_reads_is_survived(both: StandIn, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stand_in_doors, "MOST_PENDING", 10_000)
    with client(both, "pty") as slow, client(both, "socket") as port:
        both.ask(lambda station, now_us: station.fault("flood", now_us, 100 * MS))
        both.ask(lambda station, now_us: station.fault("flood", now_us, 100 * MS))
        port.timeout = 0.3
        while port.read(10_000):
            pass
        port.timeout = PATIENCE_S
        port.write(b"<0>")
        assert read(port, b"<p0>").endswith(b"<p0>\r\n")
        wait_for(lambda: len(both.pty.pending.bytes) <= 10_000 if both.pty else False)
        while slow.read(max(1, slow.in_waiting)) and slow.in_waiting:
            pass
        slow.write(b"<S 9 9 1>")
        both.ask(lambda station, now_us: station.detector(9, True, now_us))
        assert read(slow, b"<Q 9>").endswith(b"<Q 9>\r\n")


def test_a_sender_that_never_stops_is_held_back(both: StandIn) -> None:
    """What the wire cannot carry waits at the sender, as it would with a real port."""
    with client(both, "pty") as port:
        port.write_timeout = 0.3
        with pytest.raises(serial.SerialTimeoutException):
            port.write(b"x" * 400_000)
        assert both.ask(lambda station, _: station.lost) == 0
    wait_for(lambda: both.station.log[-1].effect == "closed")
    with client(both, "pty") as port:
        port.write(b"<0>")
        assert read(port, b"<p0>").endswith(b"<p0>\r\n")


# --- names, and the end --------------------------------------------------------------------------------------------


def test_the_names_of_the_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stand_in_doors.tempfile, "gettempdir", lambda: str(tmp_path))
    (tmp_path / "wayside-stand-in").symlink_to(tmp_path / "gone")  # left by one that was killed
    (tmp_path / "wayside-stand-in-2").write_text("somebody's own")
    with running() as first, running() as second:
        assert url(first, "pty") == str(tmp_path / "wayside-stand-in")
        assert url(second, "pty") == str(tmp_path / "wayside-stand-in-3")
        with client(first, "pty"):
            pass
    assert [path.name for path in tmp_path.iterdir()] == ["wayside-stand-in-2"]


def test_without_a_free_name_it_goes_by_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stand_in_doors.tempfile, "gettempdir", lambda: str(tmp_path / "not there"))
    with running() as stand_in:
        assert url(stand_in, "pty").startswith("/dev/")
        with client(stand_in, "pty"):
            pass


def test_a_door_that_cannot_be_opened_is_told_and_leaves_none_open(both: StandIn, tmp_path: Path) -> None:
    second = StandIn(Station(), tcp=both.port, name=str(tmp_path / "second"))
    with pytest.raises(OSError, match="in use"):
        second.open()
    assert not (tmp_path / "second").exists()
    third = StandIn(Station(), tcp=0, name=str(tmp_path / "line"))
    with pytest.raises(FileExistsError):
        third.open()
    assert third._listener is None


def test_what_is_asked_wrongly_comes_back_to_whoever_asked(both: StandIn) -> None:
    with pytest.raises(KeyError):
        both.ask(lambda station, now_us: station.angle(99, now_us))


def test_clients_are_let_go_when_it_ends(tmp_path: Path) -> None:
    with running(Station(QUICK), tcp=0, name=str(tmp_path / "line")) as stand_in, client(stand_in, "socket") as port:
        stand_in.stop()
        wait_for(lambda: dead(port))
    assert not (tmp_path / "line").is_symlink()


def test_an_idle_one_costs_nearly_nothing(both: StandIn) -> None:
    """It sleeps: a loop that spins would go round thousands of times."""
    rounds: list[int] = []
    both._watch = lambda station, now_us: rounds.append(now_us)
    with client(both, "pty"):
        time.sleep(0.3)
        opened = len(rounds)
    wait_for(lambda: not both.ask(lambda station, _: station.room(0)))
    time.sleep(0.3)
    assert opened < 60
    assert len(rounds) - opened < 100
