"""Ports: real ptys and sockets, and every way in which the library fails, in words that help."""

from __future__ import annotations

import errno
import os
import pty
import socket
import termios
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from adapters import serial_port
from adapters.serial_port import KINDS, Port, PortTrouble, ports, trouble


@pytest.fixture
def ends() -> Iterator[tuple[int, str]]:
    """A pty: the far end, and the name of the near one."""
    far, near = pty.openpty()
    name = os.ttyname(near)
    os.close(near)
    yield far, name
    try:
        os.close(far)
    except OSError:
        pass


def all_of(port: Port, count: int) -> bytes:
    data = b""
    until = time.monotonic() + 2
    while len(data) < count and time.monotonic() < until:
        data += port.read()
    return data


def test_bytes_go_both_ways(ends: tuple[int, str]) -> None:
    far, name = ends
    port = Port.open(name)
    port.write(b"<s>")
    assert os.read(far, 100) == b"<s>"
    os.write(far, b"<p1>" * 100)
    assert all_of(port, 400) == b"<p1>" * 100
    assert port.read() == b""
    port.close()
    port.close()


def test_a_port_is_ours_alone(ends: tuple[int, str]) -> None:
    port = Port.open(ends[1])
    with pytest.raises(PortTrouble) as caught:
        Port.open(ends[1])
    assert caught.value.kind == "taken"
    assert "another program" in caught.value.what
    assert "socket://" in caught.value.instead
    Port.open(ends[1], exclusive=False).close()
    port.close()
    Port.open(ends[1]).close()


def test_nothing_there() -> None:
    with pytest.raises(PortTrouble) as caught:
        Port.open("/dev/ttyNOBODY7")
    assert caught.value.kind == "nothing there"
    assert "`/dev/ttyNOBODY7`" in caught.value.what


def test_a_file_is_no_port(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("no port")
    for wrong in (str(file), str(tmp_path)):
        with pytest.raises(PortTrouble) as caught:
            Port.open(wrong)
        assert caught.value.kind == "other"
        assert "layout file" in caught.value.instead


@pytest.mark.parametrize(
    "url", ["telegraph://pellbrook:1", "socket://localhost", "socket://localhost:99999", "", "loop://?x=1"]
)
def test_no_such_address(url: str) -> None:
    with pytest.raises(PortTrouble) as caught:
        Port.open(url)
    assert caught.value.kind in ("no such address", "nothing there")
    assert caught.value.kind == "no such address" or not url


def test_a_host_that_nobody_knows(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(*_: object, **__: object) -> None:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr(socket, "create_connection", unknown)
    with pytest.raises(PortTrouble) as caught:
        Port.open("socket://pellbrook.invalid:2560")
    assert caught.value.kind == "no such address"


def test_nobody_listens() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    with pytest.raises(PortTrouble) as caught:
        Port.open(f"socket://127.0.0.1:{number}")
    assert caught.value.kind == "nothing there"
    assert "nobody listens" in caught.value.what


@pytest.mark.parametrize(
    ("raised", "kind"),
    [
        (OSError(errno.EHOSTUNREACH, "no route"), "nothing there"),
        (OSError(errno.ETIMEDOUT, "timed out"), "nothing there"),
        (TimeoutError("timed out"), "nothing there"),
        (serial.SerialException("could not open port 'COM5': FileNotFoundError(2, ...)"), "nothing there"),
        (serial.SerialException(errno.EBUSY, "busy"), "taken"),
        (serial.SerialException(errno.EACCES, "denied"), "permission"),
        (termios.error(22, "Invalid argument"), "other"),
        (ValueError("Invalid baud rate: -1"), "other"),
        (serial.SerialException("something new"), "other"),
    ],
)
def test_whatever_is_raised_while_opening_has_a_kind(raised: Exception, kind: str) -> None:
    told = trouble("COM5", raised, opening=True)
    assert told.kind == kind
    assert told.kind in KINDS
    assert "COM5" in told.what
    assert told.instead


def test_permission_names_the_group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    node = tmp_path / "ttyACM0"
    node.write_text("")
    node.chmod(0o660)
    monkeypatch.setattr(serial_port.grp, "getgrgid", lambda _: serial_port.grp.struct_group(("dialout", "x", 20, [])))
    told = trouble(str(node), serial.SerialException(errno.EACCES, "denied"), opening=True)
    assert told.kind == "permission"
    assert "`dialout`" in told.what
    assert "usermod -a -G dialout" in told.instead
    node.chmod(0o600)  # a group that may not read it either is no help
    assert "usermod" not in trouble(str(node), serial.SerialException(errno.EACCES, "denied"), opening=True).instead


def test_unplugged_while_reading_and_writing(ends: tuple[int, str]) -> None:
    far, name = ends
    port = Port.open(name)
    os.close(far)
    with pytest.raises(PortTrouble) as caught:
        port.read()
    assert caught.value.kind == "unplugged"
    with pytest.raises(PortTrouble) as caught:
        port.write(b"<s>")
    assert caught.value.kind == "unplugged"
    port.close()


@pytest.mark.parametrize("raised", [OSError(5, "EIO"), termios.error(5, "EIO"), TypeError("closed"), ValueError("-1")])
def test_whatever_is_raised_by_an_open_port_is_an_unplugged_one(ends: tuple[int, str], raised: Exception) -> None:
    port = Port.open(ends[1])

    def gone(*_: object) -> None:
        raise raised

    port._serial.read = gone
    port._serial.write = gone
    for deed in (port.read, lambda: port.write(b"<s>")):
        with pytest.raises(PortTrouble) as caught:
            deed()
        assert caught.value.kind == "unplugged"
    port.close()


def test_closing_ends_a_read_in_another_thread(ends: tuple[int, str]) -> None:
    port, ended = Port.open(ends[1]), []

    def read() -> None:
        try:
            while True:
                port.read()
        except PortTrouble as told:
            ended.append(told.kind)

    reading = threading.Thread(target=read)
    reading.start()
    port.close()
    reading.join(2)
    assert ended == ["unplugged"]


def test_a_far_end_that_takes_nothing(ends: tuple[int, str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serial_port, "WRITE_TIMEOUT_S", 0.05)
    port = Port.open(ends[1])
    with pytest.raises(PortTrouble, match="takes nothing"):
        port.write(b"x" * 400_000)
    port.close()


def test_a_write_that_was_cut_short_is_a_lost_port(ends: tuple[int, str]) -> None:
    port = Port.open(ends[1])
    port._serial.write = lambda data: len(data) - 1
    with pytest.raises(PortTrouble, match="in the middle"):
        port.write(b"<s>")
    port.close()


def test_a_socket_is_read_by_the_chunk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serial_port, "READ_TIMEOUT_S", 3.0)  # nobody waits for more than has come
    began = time.monotonic()
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = Port.open(f"socket://127.0.0.1:{listening.getsockname()[1]}")
        far, _ = listening.accept()
        port.write(b"<s>")
        assert far.recv(100) == b"<s>"
        far.sendall(b"<Q 1>" * 2000)
        reads, data = 0, b""
        while len(data) < 10_000 and reads < 1000:
            data += port.read()
            reads += 1
        assert data == b"<Q 1>" * 2000
        assert reads < 200
        assert time.monotonic() - began < 2.0
        far.close()
        with pytest.raises(PortTrouble, match="gone"):
            port.read()
        port.close()


def test_a_port_that_echoes() -> None:
    port = Port.open("loop://")
    port.write(b"<s>")
    assert all_of(port, 3) == b"<s>"
    port.close()


@pytest.mark.parametrize(("alone", "touched"), [(True, set()), (False, {"dtr", "rts"})])
def test_control_lines_are_left_alone_when_told(
    ends: tuple[int, str], monkeypatch: pytest.MonkeyPatch, alone: bool, touched: set[str]
) -> None:
    seen: set[str] = set()
    monkeypatch.setattr(serial.Serial, "_update_dtr_state", lambda self: seen.add("dtr"))
    monkeypatch.setattr(serial.Serial, "_update_rts_state", lambda self: seen.add("rts"))
    far, name = ends
    attributes = termios.tcgetattr(far)
    attributes[2] |= termios.HUPCL
    termios.tcsetattr(far, termios.TCSANOW, attributes)
    port = Port.open(name, leave_lines_alone=alone)
    assert seen == touched
    hangs_up = bool(termios.tcgetattr(port._serial.fd)[2] & termios.HUPCL)
    assert hangs_up is not alone
    port.close()


def test_ports_are_listed_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    class Info:
        def __init__(self, device: str, description: str | None, manufacturer: str | None) -> None:
            self.device, self.description, self.manufacturer = device, description, manufacturer

    there = [Info("/dev/ttyUSB1", "n/a", None), Info("/dev/ttyACM0", "Station", "Station")]
    monkeypatch.setattr(serial_port.list_ports, "comports", lambda: there)
    assert ports() == [("/dev/ttyACM0", "Station"), ("/dev/ttyUSB1", "serial port")]
