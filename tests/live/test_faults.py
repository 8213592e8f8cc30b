"""What a live show survives, on a real pty or socket, judged by the stand-in's own arms, pins and log.

In each: nothing crashes, no barrier rises with a train about (the judge in the bench looks all the while), and the last
value of every output is there when the line is back.
"""

from __future__ import annotations

import ast
import asyncio
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from bench_crossing import MS, PATIENCE_S, QUICK, FarEnd, S, far_end, performing, until, written

from adapters.link_states import State

ROOT = Path(__file__).parents[2]


# --- the cable -----------------------------------------------------------------------------------------------------

UNPLUGGED = [
    ("pty", "unplug"),
    ("pty", "unplug-in-reply"),
    ("pty", "unplug-in-command"),
    ("tcp", "unplug-in-command"),
]


@pytest.mark.parametrize(("door", "fault"), UNPLUGGED)
async def test_unplugged_and_plugged_in_again(tmp_path: Path, door: str, fault: str) -> None:
    """While the lane is being closed. What happens meanwhile nobody hears of before the cable is in again."""
    async with performing(tmp_path, door) as bench:
        bench.far.train("up-approach")
        await bench.until(lambda: bench.far.shown()["boom-lamps"] == 1)
        bench.far.fault(fault, 300)
        await bench.until(lambda: bench.state is State.GONE)
        assert bench.what() != "all is well"
        bench.far.dusk()
        await bench.until(bench.far.down)
        await bench.until(lambda: bench.runs("dusk-falls"))
        await bench.comes_right()
        assert bench.far.shown()["quay-lamp"] == bench.wanted()["quay-lamp"] > 0
        await bench.train_goes()


async def test_a_train_that_comes_while_the_cable_is_out_and_the_barriers_rise(tmp_path: Path) -> None:
    """Nobody hears of the train. Once the cable is in, nothing of the old rise is told any more."""
    async with performing(tmp_path, rise="600 ms") as bench:
        await bench.train_comes()
        bench.far.train("up-approach", False)
        await bench.until(lambda: min(bench.far.angles()) > 15.0)
        bench.far.fault("unplug", 800)
        await bench.until(lambda: bench.state is State.GONE)
        bench.far.train("lane")
        await bench.until(bench.far.down)
        await bench.train_goes()


async def test_two_links_of_which_one_is_dead(tmp_path: Path) -> None:
    """The crossing works as if nothing were; the other link is tried for ever, says what to do, and comes right."""
    (tmp_path / "quay").mkdir()
    async with performing(tmp_path, dead=str(tmp_path / "quay" / "station")) as bench:
        bench.far.dusk()
        await bench.train_comes()
        await bench.train_goes()
        quay = bench.links.runs[1]
        assert quay.state is State.UNPLUGGED
        assert "there is nothing at" in quay.health().what
        assert quay.health().instead
        with far_end("pty", tmp_path / "quay") as other:
            await bench.until(lambda: other.shown()["quay-lamp"] == bench.wanted()["quay-lamp"] != 0)
            await bench.until(lambda: quay.state is State.TALKING)
        await bench.until(lambda: quay.state is State.GONE)
        await bench.comes_right()


TAKES = """
import fcntl, os, sys
port = os.open(sys.argv[1], os.O_RDWR)
fcntl.flock(port, fcntl.LOCK_EX)
print("has it", flush=True)
sys.stdin.read()
"""


async def test_another_program_has_the_port(tmp_path: Path) -> None:
    """A real process; when it ends the show begins by itself."""
    async with performing(tmp_path, starts=False) as bench:
        other = subprocess.Popen(
            [sys.executable, "-c", TAKES, bench.far.url], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        assert other.stdin
        assert other.stdout
        try:
            assert other.stdout.readline() == b"has it\n"
            bench.start()
            await bench.until(lambda: "another program has" in bench.what())
            assert bench.state is State.UNPLUGGED
            other.stdin.close()
            await bench.until(bench.far.up)
            await bench.comes_right()
        finally:
            other.kill()
            other.wait()
            other.stdout.close()


# --- the station ---------------------------------------------------------------------------------------------------


async def test_the_station_restarts_in_mid_fade(tmp_path: Path) -> None:
    """It forgets its pins and detectors, and its track power is off until somebody switches it on."""
    async with performing(tmp_path) as bench:
        await bench.train_comes()
        bench.far.dusk()
        await bench.until(lambda: 50 < (bench.far.shown()["quay-lamp"] or 0) < 1_000)
        bench.far.fault("restart")
        began_us = bench.far.now_us()
        await bench.until(lambda: "power is off" in bench.what())
        assert not [one for one in bench.far.log(began_us) if one.command == "<1>"], "never unasked"
        bench.far.power()
        await bench.comes_right()
        assert bench.far.shown()["quay-lamp"] == bench.wanted()["quay-lamp"] > 2_000
        assert [one for one in bench.far.log(began_us) if one.command == "<S 60 60 1>"], "it knows its detectors again"
        await bench.train_goes()


async def test_the_booster_trips_three_times_and_comes_back(tmp_path: Path) -> None:
    """The station answers all the while, and no accessory hears it: nothing of that time counts as done."""
    async with performing(tmp_path, start_up="350 ms") as bench:
        bench.far.train("up-approach")
        await bench.until(lambda: bench.far.shown()["boom-lamps"] == 1)
        began_us = bench.far.now_us()
        bench.far.fault("booster-trips", 150)
        await bench.until(lambda: sum("tries again" in one.effect for one in bench.far.log(began_us)) == 3)
        await bench.until(bench.far.down)
        await bench.comes_right()
        log = bench.far.log(began_us)
        first = next(number for number, one in enumerate(log) if "tripped" in one.effect)
        last = max(number for number, one in enumerate(log) if "tries again" in one.effect)
        assert [one for one in log[first:last] if one.command == "<s>"], "it is asked all the while"
        # a command may have been under way when it tripped
        late = [
            one
            for one in log[first:last]
            if one.command[:2] in ("<a", "<z", "<Z") and one.at_us > log[first].at_us + 100 * MS
        ]
        assert not late
        assert not [one for one in log[last:] if "nobody hears it" in one.effect], "boards have had their time"
        await bench.train_goes()


async def test_silence(tmp_path: Path) -> None:
    """It neither hears nor speaks; a train comes meanwhile, and the dusk."""
    async with performing(tmp_path, "tcp") as bench:
        bench.far.fault("silence", 900)
        bench.far.train("up-approach")
        bench.far.dusk()
        await bench.until(lambda: bench.state is State.SILENT)
        assert bench.what() == "it has stopped answering"
        await bench.until(bench.far.down)
        await bench.until(lambda: bench.runs("dusk-falls"))
        await bench.comes_right()
        await bench.train_goes()


async def test_bad_replies(tmp_path: Path) -> None:
    """A pass each while replies come late, twice, in pieces, and in noise; the last while none come for a while."""
    async with performing(tmp_path) as bench:
        for fault, ms in (("late-replies", 120), ("doubled-replies", None), ("half-replies", 15), ("garbage", None)):
            bench.far.fault(fault, ms)
            bench.far.dusk(fault in ("late-replies", "half-replies"))
            await bench.train_comes()
            assert bench.show.kernel.stage.detectors["up-approach"].state == "occupied"
            bench.far.mend(fault)
            await bench.train_goes()
        bench.far.fault("no-replies")
        await bench.until(lambda: bench.state is State.SILENT)
        bench.far.train("up-approach")
        bench.far.dusk()
        bench.far.mend("no-replies")
        await bench.until(bench.far.down)
        await bench.train_goes()


async def test_a_reply_that_never_comes(tmp_path: Path) -> None:
    """One answer is lost, again and again; the line as such is well."""
    async with performing(tmp_path) as bench:
        bench.far.dusk()
        await bench.until(lambda: bench.runs("dusk-falls"))
        for _ in range(4):
            bench.far.fault("no-replies")
            await asyncio.sleep(0.1)
            bench.far.mend("no-replies")
            await asyncio.sleep(0.1)
        assert bench.links.runs[0].health().unanswered
        await bench.comes_right()
        await bench.train_comes()
        await bench.train_goes()


async def test_it_refuses_everything(tmp_path: Path) -> None:
    """`<X>` to all it is told, from the coming of a train on; then it is itself again."""
    async with performing(tmp_path, times=QUICK._replace(inputs_us=60 * S)) as bench:
        bench.far.train("up-approach")
        await bench.until(lambda: bench.far.shown()["boom-lamps"] == 1)
        bench.far.fault("refuses")
        bench.far.dusk()
        await bench.until(lambda: bench.links.runs[0].health().refused > 10)
        await bench.until(lambda: bench.what() == "it answers, but refuses what it is asked")
        bench.far.mend("refuses")
        await bench.until(bench.far.down)
        await bench.comes_right()
        await bench.train_goes()


def _noises() -> list[bytes]:
    draw = random.Random(4)
    return [
        b"\x00" * 300,
        b"\xff\xfe" * 200,
        b"<" * 400,
        b">" * 400,
        b"<>" * 200,
        b"<Q><q><H><Y><p><O><X><i>",
        b"<Q 99999><q -1><Q sixty><H 40 7><Y 23 -3><p9><p -><Q 60 60 60 60>",
        b"<* <* <* ",
        "<Q ６０>".encode(),
        b"<q 60" + b"0" * 2_000 + b">",
        b"<p1 " + b"x" * 5_000,
        b"\x1b[2J\x1b[31m<\x07>",
        bytes(draw.randrange(256) for _ in range(3_000)),
    ]


async def test_garbage_of_every_kind(tmp_path: Path) -> None:
    async with performing(tmp_path) as bench:
        await bench.train_comes()
        bench.far.dusk()
        for noise in _noises():
            bench.far.says(noise)
            await asyncio.sleep(0.02)
        bench.far.fault("endless-reply")
        await bench.until(lambda: bench.links.runs[0].health().noise > 5_000)
        await bench.until(lambda: bench.state is State.TALKING)
        assert bench.far.down()
        await bench.comes_right()
        await bench.train_goes()


async def test_a_flood_of_reports(tmp_path: Path) -> None:
    """10,000 in a second, of trains that come and go; the truth comes last. The engine is not flooded."""
    async with performing(tmp_path) as bench:
        await bench.train_comes()
        bench.far.dusk()
        worked = len(bench.records)
        bench.far.fault("flood", 1_000)
        await asyncio.sleep(0.5)
        bench.nothing_has_crashed()
        await bench.until(lambda: bench.show.kernel.stage.detectors["up-approach"].state == "occupied")
        await bench.until(bench.far.down)
        await bench.comes_right()
        assert len(bench.records) - worked < 10_000
        assert len(bench.show.inputs._queue) < 10
        await bench.train_goes()


# --- this computer, and this program ---------------------------------------------------------------------------------


async def test_the_wall_clock_is_set_back_and_forward(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By an hour, again and again, while a train passes. Nothing of ours even looks at it."""
    looked: list[str] = []
    real, real_ns = time.time, time.time_ns

    def off_s() -> int:
        asks = sys._getframe(2).f_globals.get("__name__", "")
        if asks.split(".")[0] in ("engine", "scenes", "adapters", "wayside", "asyncio", "threading", "serial"):
            looked.append(asks)
        return 3_600 * (int(real() * 20) % 3 - 1)

    async with performing(tmp_path) as bench:
        monkeypatch.setattr(time, "time", lambda: real() + off_s())
        monkeypatch.setattr(time, "time_ns", lambda: real_ns() + off_s() * 1_000_000_000)
        assert time.time() > 0
        bench.far.dusk()
        await bench.train_comes()
        await bench.train_goes()
        monkeypatch.undo()
        assert not looked


# what tells the hall's time, or writes it down: it performs nothing
CALENDAR = {
    "wayside/commands/journal.py",
    "wayside/hall_time.py",
    "wayside/journal/keeper.py",
    "wayside/journal/watch.py",
}
WALL = {"time", "time_ns", "localtime", "gmtime", "ctime", "now", "utcnow", "today"}


def test_nothing_that_performs_reads_the_wall_clock() -> None:
    found = {
        path.relative_to(ROOT).as_posix()
        for room in ("engine", "adapters", "wayside")
        for path in (ROOT / room).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in WALL
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id in ("time", "datetime", "date")
    }
    assert found == CALENDAR


@contextmanager
def performed(folder: Path, far: FarEnd) -> Iterator[subprocess.Popen[bytes]]:
    """`wayside run` as a process of its own, at rest; ended in good order."""
    command = [sys.executable, "-m", "wayside", "run", str(folder), "--plain", "--port", f"main={far.url}"]
    said = folder.parent / "said"
    with said.open("wb") as out:
        process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT)
        try:
            until(lambda: process.poll() is None and far.up() and far.shown()["quay-lamp"] == 0)
            yield process
            process.send_signal(signal.SIGTERM)
            assert process.wait(PATIENCE_S) == 0, said.read_text()
            assert far.down()
        finally:
            process.kill()
            process.wait()
    assert "Traceback" not in said.read_text()


def test_stopped_and_resumed(tmp_path: Path) -> None:
    """A process that slept tells what is now wanted, and nothing of what it has slept through.

    Then its wait for a clear line ends while it sleeps; but a train has come, and what has come in is read first.
    """
    written(tmp_path / "layout", dusk="1 s", clear_for="1 s")
    with far_end("pty", tmp_path) as far, performed(tmp_path / "layout", far) as process:
        far.dusk()
        far.train("lane")
        until(lambda: 50 < (far.shown()["quay-lamp"] or 0) < 1_000)
        process.send_signal(signal.SIGSTOP)
        time.sleep(1.2)
        resumed_us = far.now_us()
        process.send_signal(signal.SIGCONT)
        until(lambda: far.down() and far.shown()["down-green"] == 1)
        until(lambda: far.shown()["quay-lamp"] == 2_329)
        told = Counter(one.thing for one in far.log(resumed_us) if one.command[:2] in ("<a", "<z", "<Z"))
        assert {times for thing, times in told.items() if thing not in ("accessory 41", "accessory 42")} == {1}, told
        far.train("lane", False)
        time.sleep(0.3)
        process.send_signal(signal.SIGSTOP)
        assert far.down()
        far.train("up-approach")
        time.sleep(1.2)
        process.send_signal(signal.SIGCONT)
        time.sleep(0.5)
        assert far.down()
        assert far.shown()["down-green"] == 1, "it is still the same pass"
        far.train("up-approach", False)
        until(far.up)
