"""The server against real sockets: floods, silence, half a request, a page that reads nothing, beside a real show."""

from __future__ import annotations

import os
import socket
import time
from argparse import Namespace
from collections.abc import Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest

from wayside.desk import asked as desk_asked
from wayside.desk import server as desk_server
from wayside.desk.server import AT_ONCE, MOST_CONNECTIONS, MOST_FROM_ONE, Doors, Server, bound
from wayside.usage import UsageProblem

from .conftest import Running, running, wait_for

SOCKETS = 10_000
HELD = 400  # of them at once, on the attacker's side


def knock(port: int, within_s: float = 10) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=within_s)


def open_files(process: int) -> int:
    return len(os.listdir(f"/proc/{process}/fd"))


def listening(process: int) -> list[str]:
    """Sockets of a process that listen, by Linux's own table: state 0A."""
    table = Path(f"/proc/{process}/net/tcp")
    if not table.exists():
        return []
    files = set()
    for one in Path(f"/proc/{process}/fd").iterdir():
        with suppress(FileNotFoundError):  # closed since: a journal opens and closes files of its own
            files.add(os.readlink(one))
    rows = [line.split() for line in table.read_text().splitlines()[1:]]
    return [row[1] for row in rows if row[3] == "0A" and f"socket:[{row[9]}]" in files]


def order(show: Running, words: dict[str, str]) -> int:
    answer = httpx.post(f"{show.address}do", json=words, headers={"Origin": show.address.rstrip("/")}, timeout=10)
    return answer.status_code


def test_ten_thousand_sockets_are_bounded_and_the_show_goes_on(show: Running) -> None:
    proc = Path(f"/proc/{show.process.pid}/fd")
    most = 0
    with ExitStack() as held:
        mine: list[socket.socket] = []
        for number in range(SOCKETS):
            try:
                mine.append(held.enter_context(closing(knock(show.port, 0.1))))
            except OSError:
                continue
            if len(mine) >= HELD:
                mine.pop(0).close()
            if number % 500 == 0 and proc.exists():
                most = max(most, open_files(show.process.pid))
        if proc.exists():
            # one batch just taken, one being turned away, one being closed; and what the program itself has open
            assert 0 < most < MOST_CONNECTIONS + 3 * AT_ONCE + 64
        show.type("up-approach occupied")
        show.until("scene saltmarsh-lane begins")
    wait_for(lambda: order(show, {"do": "all stop"}) == 200)
    show.until("from a page: all stop")


def test_a_page_that_never_reads_does_not_slow_the_show(show: Running) -> None:
    with closing(socket.socket()) as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
        deaf.connect(("127.0.0.1", show.port))
        deaf.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{show.port}\r\n\r\n".encode())
        for number in range(300):  # far more than the sockets between us hold
            show.type("lane " + ("occupied", "clear")[number % 2])
        began = time.monotonic()
        show.type("no-such-thing clear")
        show.until("There is no detector no-such-thing")
        assert time.monotonic() - began < 10
        assert order(show, {"do": "all stop"}) == 200
        show.until("from a page: all stop")


def test_all_stop_by_http_alone_closes_the_lane_and_answers(show: Running) -> None:
    show.type("up-approach occupied")
    show.until("amber turned on")
    assert order(show, {"do": "all stop"}) == 200
    show.until("near-barrier moves raised -> lowered")
    show.until("scene saltmarsh-lane has stopped")


def test_a_taken_port_gives_the_next_one_and_says_so() -> None:
    with closing(bound(18_640, False)) as taken, running("--desk", str(taken.getsockname()[1])) as show:
        assert show.port != taken.getsockname()[1]
        assert "is taken" in show.text
        assert httpx.get(show.address).status_code == 200


def test_without_a_desk_nothing_listens() -> None:
    with running("--no-desk") as show:
        assert show.address == ""
        assert not listening(show.process.pid)
    with running() as show:
        assert listening(show.process.pid) or not Path("/proc").exists()


def test_no_free_port_is_said_in_words() -> None:
    with ExitStack() as held:
        first = held.enter_context(closing(bound(18_700, False))).getsockname()[1]
        taken = {first}
        while max(taken) < first + desk_server.PORTS_TRIED - 1:
            taken.add(held.enter_context(closing(bound(first, False))).getsockname()[1])
        with pytest.raises(UsageProblem, match="--no-desk"):
            bound(first, False)


def test_a_show_goes_on_without_a_desk_that_nobody_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine that begins by itself a taken port must not be the end of the show."""

    def refuses(*_: object) -> None:
        raise UsageProblem("No port is free.")

    monkeypatch.setattr("wayside.desk.desk.Desk", refuses)
    said: list[str] = []
    screen: Any = SimpleNamespace(remark=said.append)
    assert desk_asked.desk(Namespace(no_desk=False, desk=None, lan=False, paths=[]), screen) is None
    assert said == ["No port is free. The show goes on without its desk."]
    for asked in (Namespace(no_desk=False, desk="8640", lan=False), Namespace(no_desk=False, desk=None, lan=True)):
        with pytest.raises(UsageProblem, match="No port"):
            desk_asked.desk(asked, screen)


class Plain:
    """An app that says yes."""

    async def __call__(self, scope: object, receive: object, send: object) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"3")]})  # type: ignore[operator]
        await send({"type": "http.response.body", "body": b"yes"})  # type: ignore[operator]


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Server, int]]:
    monkeypatch.setattr(desk_server, "QUIET_S", 0.1)
    listening = bound(18_800, False)
    port = listening.getsockname()[1]
    one = Server(Plain(), listening, lambda loop: None)
    one.start()
    wait_for(lambda: answers(port))
    yield one, port
    one.stop()


def answers(port: int) -> bool:
    try:
        with closing(knock(port)) as one:
            one.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
            return one.recv(100).startswith(b"HTTP/1.1 200")
    except OSError:
        return False


@pytest.mark.parametrize("half", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: "])
def test_a_connection_that_asks_nothing_whole_is_cut(server: tuple[Server, int], half: bytes) -> None:
    with closing(knock(server[1])) as one:
        one.sendall(half)
        try:
            assert one.recv(100) == b""
        except ConnectionResetError:
            pass
    wait_for(lambda: len(server[0].doors) == 0)


def test_a_header_without_end_is_not_collected(server: tuple[Server, int]) -> None:
    with closing(knock(server[1])) as one:
        try:
            for _ in range(64):
                one.sendall(b"X" * 4_096)
            assert not one.recv(100).startswith(b"HTTP/1.1 200")
        except OSError:
            pass
    wait_for(lambda: len(server[0].doors) == 0)
    assert answers(server[1])


class Transport:
    aborted = False

    def abort(self) -> None:
        self.aborted = True


def test_one_device_cannot_keep_the_others_out_nor_all_of_them_this_computer() -> None:
    doors = Doors()
    greedy = [doors.admit(("10.0.0.1", port), Transport()) for port in range(MOST_FROM_ONE + 5)]  # type: ignore[arg-type]
    assert greedy.count(True) == MOST_FROM_ONE
    for device in range(2, 9):
        for port in range(MOST_FROM_ONE):
            doors.admit((f"10.0.0.{device}", port), Transport())  # type: ignore[arg-type]
    assert not doors.admit(("10.0.0.99", 1), Transport())  # type: ignore[arg-type]
    assert doors.admit(("127.0.0.1", 1), Transport())  # type: ignore[arg-type]
    doors.leave(("10.0.0.1", 0))
    assert len(doors) < MOST_CONNECTIONS
