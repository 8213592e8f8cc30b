"""A link at work on a real pty, in real time but short: opened, put right, unplugged, restarted, silent, taken."""

from __future__ import annotations

import os
import pty
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from select import select

import pytest
from bench_station import MS, S, Station, layout

from adapters.link_run import ASLEEP_US, LATE_US, LONGEST_HOLD_US, LinkRun, OpenPort, open_port
from adapters.link_states import State, Times
from adapters.serial_port import Port, PortTrouble
from adapters.stand_in import Settings
from adapters.stand_in import Station as StandInStation
from adapters.stand_in_ports import running
from engine.events import Detected, Input, LinkState, OutputMoved, Pressed
from engine.layout import NOWHERE, Blink, Layout, Link
from engine.trace import Told
from engine.waves import Flashing, Steady, Wave

QUICK = Times(
    banner_us=100 * MS,
    quiet_us=10 * MS,
    answer_us=150 * MS,
    ask_us=100 * MS,
    silence_us=400 * MS,
    fence_us=30 * MS,
    settle_us=200 * MS,
    report_us=20 * MS,
    contact_us=30 * MS,
    first_retry_us=20 * MS,
    last_retry_us=80 * MS,
)
RESTING = {"ada": 0.0, "red": 1.0, "gate": 0.0, "points": 0.0}


class FarEnd:
    """A station on a pty, under a name that stays the same when it is plugged in again."""

    def __init__(self, name: Path) -> None:
        self.name = name
        self.station = Station()
        self.mute = False
        self._ended = False
        self._lock = threading.Lock()
        self._fds: tuple[int, int] | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def plug_in(self) -> None:
        far, near = pty.openpty()
        tty.setraw(near)
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(near))
        with self._lock:
            self._fds = far, near

    def unplug(self, half: bytes = b"") -> None:
        with self._lock:
            if self._fds is not None:
                if half:
                    os.write(self._fds[0], half)
                for fd in self._fds:
                    os.close(fd)
            self._fds = None
        self.name.unlink(missing_ok=True)

    def says(self, text: str) -> None:
        with self._lock:
            assert self._fds
            os.write(self._fds[0], text.encode())

    def _run(self) -> None:
        while not self._ended:
            with self._lock:
                if self._fds is not None and select([self._fds[0]], [], [], 0.001)[0]:
                    data = os.read(self._fds[0], 4096)
                    self.station.now_us = time.monotonic_ns() // 1000
                    answers = b"" if self.mute else self.station.write(data)
                    if answers:
                        os.write(self._fds[0], answers)
            time.sleep(0.0005)

    def end(self) -> None:
        self._ended = True
        self._thread.join(2)
        self.unplug()


class Bench:
    """A link at work, with a wave wanted for each output."""

    def __init__(self, far: FarEnd, **link: object) -> None:
        self.far = far
        stage = _stage(far.name, **link)
        self.began = time.monotonic_ns()
        self.heard: list[Input] = []
        self.run = LinkRun(stage, stage.links["main"], self.now_us, self.hear, QUICK)
        for name, value in RESTING.items():
            self.want(name, Steady(value), 0)

    def now_us(self) -> int:
        return (time.monotonic_ns() - self.began) // 1000

    def hear(self) -> None:
        self.heard += self.run.take()

    def want(self, output: str, wave: Wave, at_us: int) -> None:
        self.run.want(output, Told(at_us, output, wave, "", NOWHERE))

    def put_right(self) -> list[str]:
        """Wait until everything is as it should be, and has been heard; what it was told for that."""
        until(lambda: self.run.state is State.TALKING and self.run.idle)
        until(lambda: len(self.far.station.told()) >= len(RESTING))
        time.sleep(0.05)  # for what should not come
        return self.far.station.told()


def _stage(port: Path | str, **link: object) -> Layout:
    """Without the unguarded servos, which would have to wait for each other."""
    stage = layout(port=str(port), start_up_us=50 * MS, **link)
    for name in ("boom", "turnout"):
        del stage.outputs[name]
    return stage


def until(holds: Callable[[], object], seconds: float = 3.0) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it never came about"
        time.sleep(0.002)


@pytest.fixture
def far(tmp_path: Path) -> Iterator[FarEnd]:
    end = FarEnd(tmp_path / "station")
    yield end
    end.end()


@pytest.fixture
def bench(far: FarEnd) -> Iterator[Bench]:
    """A link that talks, with all of its outputs put right."""
    far.plug_in()
    found = Bench(far)
    found.run.start()
    found.put_right()
    yield found
    found.run.stop()
    assert not found.run._reader.is_alive()


def test_everything_is_put_right_guarded_outputs_first_and_detectors_are_known(bench: Bench) -> None:
    told = bench.far.station.told()
    assert set(told[:2]) == {"Z 6 1", "z 21 544"}
    assert sorted(told) == ["Z 5 0", "Z 6 1", "a 16 0 0", "z 21 544"]
    until(lambda: Pressed("bell-push", False) in bench.heard)
    assert bench.heard[0] == LinkState("main", "gone")
    assert [one for one in bench.heard if isinstance(one, Detected)][-3:] == [
        Detected("lane", "clear"),
        Detected("beam", "clear"),
        Detected("reed", "clear"),
    ]
    health = bench.run.health()
    assert health.what == "all is well"
    assert health.round_trip_us is not None
    assert 0 < health.round_trip_us < S


def test_unplugged_in_the_middle_of_a_frame_and_plugged_in_again(bench: Bench) -> None:
    bench.far.unplug(half=b"<Q 3")
    until(lambda: bench.run.state is State.GONE)
    until(lambda: bench.heard[-1] == Detected("reed", "unknown"))
    assert LinkState("main", "gone") in bench.heard[1:]
    assert bench.run.idle, "nobody is there to be told"
    bench.want("ada", Steady(1.0), bench.now_us())
    bench.want("ada", Steady(0.0), bench.now_us())
    bench.want("points", Steady(1.0), bench.now_us())
    until(lambda: "nothing at" in bench.run.health().what)
    bench.far.station.restart()
    bench.far.station.heard.clear()
    bench.far.plug_in()
    told = bench.put_right()
    assert told[0] == "Z 6 1", "the servo has to wait for its turn"
    assert sorted(told) == ["Z 5 0", "Z 6 1", "a 16 0 1", "z 21 544"], "nothing twice, and nothing that is superseded"


def test_a_restart_in_mid_show(bench: Bench) -> None:
    bench.want("ada", Flashing(bench.now_us(), Blink(50 * MS, 1, 0, 2)), bench.now_us())
    time.sleep(0.1)
    bench.far.mute = True
    with bench.far._lock:
        bench.far.station.restart()
        bench.far.station.heard.clear()
    time.sleep(0.06)  # it hears and says nothing while it starts
    with bench.far._lock:
        bench.far.station.restart()
    bench.far.says("<iBench station>")
    bench.far.mute = False
    until(lambda: bench.far.station.pins.get(6) == 1 and bench.far.station.levels == {21: 544})
    until(lambda: len(bench.far.station.told("a")) == 1)
    until(lambda: bench.far.station.told("Z")[-4:].count("Z 5 1") == 2)


def test_silence_is_noticed_said_and_mended(bench: Bench) -> None:
    bench.far.mute = True
    bench.far.station.answers["s"] = lambda words: ""
    until(lambda: bench.run.state is State.SILENT)
    assert bench.run.health().what == "it has stopped answering"
    bench.far.station.heard.clear()
    bench.far.station.answers["s"] = Station._status.__get__(bench.far.station)
    bench.far.mute = False
    assert len(bench.put_right()) == 4


def test_a_port_that_is_taken_is_tried_until_it_is_free(far: FarEnd) -> None:
    far.plug_in()
    other = Port.open(str(far.name))
    bench = Bench(far)
    bench.run.start()
    until(lambda: "another program" in bench.run.health().what)
    assert bench.run.state is State.UNPLUGGED
    assert "socket://" in bench.run.health().instead
    other.close()
    assert len(bench.put_right()) == 4
    bench.run.stop()


def test_another_hand_and_a_contact_reach_whoever_performs(bench: Bench) -> None:
    time.sleep(0.25)  # what was told is settled
    bench.far.station.pins[5] = 1
    bench.far.says("<Y 5 1><Q 32><q 32>")
    until(lambda: OutputMoved("ada", 1.0) in bench.heard)
    until(lambda: bench.heard[-1] == Detected("reed", "clear"))
    assert Detected("reed", "occupied") in bench.heard
    assert bench.run.health().contacts == {"reed": 1}


def test_a_flood_is_taken_in_while_commands_go_out_in_time(bench: Bench) -> None:
    start = bench.now_us()
    bench.want("ada", Flashing(start, Blink(50 * MS, 1, 0, 2)), start)
    for _ in range(10):
        bench.far.says("<Q 30><q 30>" * 500)
        time.sleep(0.02)
    bench.far.says("<Q 30>")
    until(lambda: [one for one in bench.heard if one[:1] == ("lane",)][-1:] == [Detected("lane", "occupied")])
    assert bench.run.state is State.TALKING
    assert bench.run.lateness().p50_us < 20 * MS
    assert len(bench.heard) < 10_000


def test_a_flash_keeps_time(bench: Bench) -> None:
    bench.far.station.heard.clear()
    start = bench.now_us() + 50 * MS
    bench.want("ada", Flashing(start, Blink(40 * MS, 1, 0, 2)), start)
    time.sleep(0.45)
    lateness = bench.run.lateness()
    assert lateness.commands > 10
    assert 0 < lateness.p50_us < 5 * MS
    texts = bench.far.station.told("Z")
    assert texts[:4] == ["Z 5 1", "Z 5 0", "Z 5 1", "Z 5 0"]


class Scripted:
    """A port that says what it is told to say, and keeps what is written."""

    def __init__(self) -> None:
        self.says: list[bytes | Exception] = []
        self.written: list[bytes] = []
        self.fails_writing = False
        self.closed = threading.Event()

    def read(self) -> bytes:
        time.sleep(0.002)
        if self.closed.is_set():
            raise PortTrouble("unplugged", "it is gone", "plug it in")
        found = self.says.pop(0) if self.says else b""
        if isinstance(found, Exception):
            raise found
        return found

    def write(self, data: bytes) -> None:
        if self.fails_writing:
            raise PortTrouble("unplugged", "it is gone", "plug it in")
        self.written.append(data)
        if data == b"<s>":
            self.says.append(b"<p1>")
        elif data[1:2] in (b"S", b"Z"):
            self.says.append(b"<O>")

    def close(self) -> None:
        self.closed.set()


def scripted(ports: list[Scripted], now_us: Callable[[], int]) -> LinkRun:
    opened: list[Scripted] = []

    def opens(_: Link) -> OpenPort:
        if len(opened) == len(ports):
            raise PortTrouble("nothing there", "there is nothing", "plug it in")
        opened.append(ports[len(opened)])
        return opened[-1]

    stage = _stage("nowhere", resets=False)
    return LinkRun(stage, stage.links["main"], now_us, times=QUICK, opens=opens)


def real_us() -> int:
    return time.monotonic_ns() // 1000


def test_a_write_that_fails_is_a_lost_port_too() -> None:
    ports = [Scripted(), Scripted()]
    ports[0].fails_writing = True
    run = scripted(ports, real_us)
    run.start()
    until(lambda: run.state is State.TALKING)
    assert ports[0].closed.is_set()
    assert b"<s>" in ports[1].written
    run.stop()
    assert ports[1].closed.is_set()


def test_a_mistake_of_ours_is_said_and_ends_the_link() -> None:
    port = Scripted()
    run = scripted([port], real_us)
    port.says.append(ZeroDivisionError("oh"))
    run.start()
    until(lambda: run.state is State.GONE)
    assert "failed on this link (ZeroDivisionError: oh)" in run.health().what
    assert port.closed.is_set()
    run.stop()


def test_late_waves_are_let_settle_and_only_the_last_is_told() -> None:
    """The program was stopped for a while: many lines are made up for, and their outputs told once."""
    port, now = Scripted(), real_us
    run = scripted([port], now)
    run.start()
    until(lambda: run.state is State.TALKING)
    port.written.clear()
    late_us = now() - LATE_US - S
    for step in range(20):
        run.want("points", Told(late_us + step, "points", Steady(float(step % 2 == 0)), "", NOWHERE))
        time.sleep(0.001)
    assert b"<a" not in b"".join(port.written)
    until(lambda: b"<a" in b"".join(port.written))
    assert run.idle
    assert b"".join(port.written).count(b"<a") == b"".join(port.written).count(b"<a 16 0 0>") == 1
    run.stop()


def test_late_waves_without_end_are_not_waited_for_without_end() -> None:
    now = [10 * S]
    run = scripted([], lambda: now[0])
    for _ in range(100):
        run.want("points", Told(0, "points", Steady(1.0), "", NOWHERE))
        if run._not_yet(now[0]) is None:
            break
        now[0] += 20 * MS
    assert now[0] - 10 * S == LONGEST_HOLD_US
    run.want("points", Told(now[0] - LATE_US, "points", Steady(1.0), "", NOWHERE))
    assert run._not_yet(now[0]) is None, "that is not late yet"


def test_whoever_performs_is_called_once_until_they_take() -> None:
    calls: list[int] = []
    run = scripted([], real_us)
    run._hear = lambda: calls.append(1)
    run._say()
    run._say()
    assert calls == [1]
    assert run.take()[0] == LinkState("main", "gone")
    run._say()
    assert calls == [1], "there is nothing to take"
    run._machine.inputs.output_moved("ada", 1.0)
    run._say()
    assert calls == [1, 1]


def test_a_port_that_was_given_up_before_takes_nobody_else_with_it() -> None:
    run, old, new = scripted([], real_us), Scripted(), Scripted()
    run._port = new
    run._machine.opened(real_us())
    run._lost(old, PortTrouble("unplugged", "gone", "plug in"))
    assert run.state is State.WAKING
    run._lost(new, PortTrouble("unplugged", "gone", "plug in"))
    assert run.state is State.GONE


def test_a_port_that_is_not_there_is_tried_with_patience() -> None:
    tries: list[int] = []

    def opens(_: Link) -> OpenPort:
        tries.append(1)
        raise PortTrouble("nothing there", "there is nothing", "plug it in")

    stage = _stage("nowhere")
    run = LinkRun(stage, stage.links["main"], real_us, times=QUICK, opens=opens)
    run.start()
    time.sleep(0.25)
    run.stop()
    assert 2 <= len(tries) <= 6


@pytest.mark.parametrize("resets", [True, False])
def test_the_port_is_ours_alone_and_its_lines_are_left_alone_where_that_is_said(
    resets: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    monkeypatch.setattr(Port, "open", lambda *words, **named: asked.extend([words, named]))
    open_port(Link("main", port="COM5", baud=57_600, resets=resets))
    assert asked == [("COM5", 57_600), {"exclusive": True, "leave_lines_alone": not resets}]


def test_what_has_come_in_is_read_before_anything_is_sent_after_a_stop() -> None:
    """Work is put off while no read has ended for longer than a read can take."""
    run = scripted([], real_us)
    run._port = Scripted()
    run._read_us = real_us() - ASLEEP_US - 1
    assert run._not_yet(real_us()) is not None
    run._read_us = real_us()
    assert run._not_yet(real_us()) is None


# --- the stand-in at the other end, through its real doors ---------------------------------------------------------


@pytest.mark.parametrize("door", ["pty", "socket"])
@pytest.mark.parametrize("fault", ["unplug-in-command", "unplug-in-reply"])
def test_plugged_in_again_after_a_cut_in_the_middle(tmp_path: Path, door: str, fault: str) -> None:
    station = StandInStation(Settings(banner_us=20 * MS, boards_start_us=10 * MS, servos=frozenset({21})))
    with running(station, tcp=0, name=str(tmp_path / "line")) as stand_in:
        stand_in.ask(lambda there, now_us: there.power(True, now_us))
        assert stand_in.pty is not None
        stage = _stage(stand_in.pty.name if door == "pty" else f"socket://127.0.0.1:{stand_in.port}")
        run = LinkRun(stage, stage.links["main"], real_us, times=QUICK)
        for name, value in RESTING.items():
            run.want(name, Told(0, name, Steady(value), "", NOWHERE))
        run.start()
        until(lambda: run.state is State.TALKING and run.idle)
        stand_in.ask(lambda there, now_us: there.fault(fault, now_us, 100 * MS))
        run.want("ada", Told(real_us(), "ada", Steady(1.0), "", NOWHERE))
        run.want("points", Told(real_us(), "points", Steady(1.0), "", NOWHERE))
        until(lambda: run.state in (State.GONE, State.UNPLUGGED))
        until(lambda: run.state is State.TALKING and run.idle)

        def shown(there: StandInStation, now_us: int) -> list[float | None]:
            one = there.machine
            return [one.pins.get(5), one.pins.get(6), one.accessories.get(61), round(there.angle(21, now_us))]

        until(lambda: stand_in.ask(shown) == [1, 1, 1, 0])
        run.stop()
