"""A show whose program was stopped for a while: what came in meanwhile is read before any overdue line is performed.

The stop is a clock that jumps, the link one that reads when the test says so: the order is the same in every run.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from bench_crossing import PATIENCE_S, S, written

from adapters.link_states import State
from engine.events import Detected
from engine.trace import Record, Told
from wayside.live import showing
from wayside.live.showing import Show, ShowClock


class JumpingClock(ShowClock):
    def __init__(self) -> None:
        super().__init__()
        self.slept_us = 0

    def now_us(self) -> int:
        return super().now_us() + self.slept_us


class Wire:
    """A link to nobody, always well, which has read what came in or has not."""

    idle, state = True, State.TALKING

    def __init__(self) -> None:
        self.awake = True

    def want(self, output: str, told: Told) -> None: ...


class Bench:
    def __init__(self, folder: Path) -> None:
        self.clock, self.wire = JumpingClock(), Wire()
        self.records: list[Record] = []
        program = written(folder / "layout", clear_for="2 s").program
        self.show = Show(program, self.records.append, [self.wire], clock=self.clock)

    def says(self, detector: str, state: str) -> None:
        self.show.inputs.put(Detected(detector, state))

    def stop(self, for_us: int) -> None:
        self.clock.slept_us += for_us
        self.show.inputs.wake.set()  # its sleep is over, too

    def at(self, output: str) -> float:
        return self.show.kernel.stage.outputs[output].value(self.clock.now_us())

    async def until(self, holds: object) -> None:
        assert callable(holds)
        end = time.monotonic() + PATIENCE_S
        while not holds():
            assert time.monotonic() < end, "it never came about"
            await asyncio.sleep(0.005)

    def lowered(self) -> bool:
        return self.at("near-barrier") == self.at("far-barrier") == 0.0


@asynccontextmanager
async def stopped_before_a_rise(folder: Path) -> AsyncIterator[Bench]:
    """The line has just become clear, and the program is stopped for four seconds."""
    bench = Bench(folder)
    task = asyncio.ensure_future(bench.show.perform())
    try:
        for name in ("up-approach", "lane", "dusk"):
            bench.says(name, "clear")
        bench.says("lane", "occupied")
        await bench.until(lambda: bench.at("down-green") == 1.0 and bench.lowered())
        bench.says("lane", "clear")
        await bench.until(lambda: bench.show.kernel.stage.detectors["lane"].state == "clear")
        bench.wire.awake = False
        bench.stop(4 * S)
        yield bench
    finally:
        task.cancel()


async def test_a_train_that_came_while_it_was_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(showing, "READS_WITHIN_S", PATIENCE_S)
    async with stopped_before_a_rise(tmp_path) as bench:
        since = len(bench.records)
        await asyncio.sleep(0.2)  # the wait for a clear line is long over, and nothing has been read
        bench.says("up-approach", "occupied")
        bench.wire.awake = True
        await bench.until(lambda: bench.show.kernel.stage.detectors["up-approach"].state == "occupied")
        await asyncio.sleep(0.2)
        assert bench.lowered()
        assert bench.at("down-green") == 1.0
        assert not [one for one in bench.records[since:] if isinstance(one, Told) and "barrier" in one.output]
        bench.says("up-approach", "clear")
        await bench.until(lambda: bench.at("near-barrier") == 85.0)


async def test_a_link_that_never_reads_is_waited_for_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(showing, "READS_WITHIN_S", 0.3)
    async with stopped_before_a_rise(tmp_path) as bench:
        began = bench.clock.now_us()
        await bench.until(lambda: bench.at("near-barrier") == 85.0)
        assert bench.clock.now_us() - began < 10 * S
        assert not bench.show._patient
        bench.wire.awake = True
        bench.stop(4 * S)
        bench.says("lane", "occupied")
        await bench.until(bench.lowered)
