"""Six hours of the example's Saturday at the pace of its link: how memory and the journal grow, and what it costs.

In virtual time: the show, its link as a machine without a port, and the stand-in at its other end, byte for byte at the
line's own pace; trains all day, which the station's detectors report; the journal is written as in a real show.

Run it: `python tests/benchmarks/show_at_pace.py [HOURS]`. It takes some minutes.
"""

from __future__ import annotations

import asyncio
import gc
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from adapters.link import LinkMachine
from adapters.link_health import Health
from adapters.link_states import State
from adapters.simulator import World
from adapters.stand_in import Settings, Station
from engine.conditions import may_pass
from engine.day import Plan
from engine.events import Detected, Input
from engine.layout import NOWHERE, Layout, Link
from engine.program import Program, TrainRun
from engine.show_day import ShowDay
from engine.trace import Told
from wayside.journal import file as journal_file
from wayside.journal import read as journal_read
from wayside.journal.keeper import Journal
from wayside.journal.watch import Watch
from wayside.live.links import links_of
from wayside.live.showing import Show, ShowClock
from wayside.project import load

EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
SERVOS = frozenset({20, 21, 22, 26})
S, HOUR_US = 1_000_000, 3_600_000_000
LOOK_US = 500_000
TRAIN_EVERY_US = 100 * S
BEGINS = datetime(2026, 12, 5, 10, 0, tzinfo=UTC)  # a Saturday


class Line:
    """The link's machine and the station, joined by a wire: a `Wire` for the show, a link for the journal."""

    def __init__(self, layout: Layout, link: Link, clock: Clock) -> None:
        self.link = link
        self._clock = clock
        self._machine = LinkMachine(layout, link, 0)
        self.station = Station(Settings(servos=SERVOS))
        for one in layout.detectors.values():
            self.station.detector(one.wiring.pin or 0, False, 0, by_current=True)
        self.station.power(True, 0)
        self.station.opened(0)
        self._machine.opened(0)
        self.awake = True
        self.sent = 0  # bytes to the station

    def want(self, output: str, told: Told) -> None:
        self._machine.want(output, told.wave, told.at_us)

    @property
    def idle(self) -> bool:
        return self._machine.idle

    @property
    def state(self) -> State:
        return self._machine.state

    def health(self) -> Health:
        return self._machine.health()

    def next_due(self) -> int | None:
        dues = [at for at in (self._machine.next_due(), self.station.next_due()) if at is not None]
        return min(dues, default=None)

    def step(self, now_us: int) -> list[Input]:
        for data in self._machine.due(now_us):
            self.sent += len(data)
            self.station.received(data, now_us)
        for left in self.station.advance(now_us):
            self._machine.take_in(left.data, now_us)
        return self._machine.take(now_us)


class Clock(ShowClock):
    """Virtual: while the show waits, the line works, and the journal looks twice a second."""

    def __init__(self, until_us: int) -> None:
        super().__init__()
        self._now_us, self._until_us, self._look_us = 0, until_us, 0
        self.line: Line | None = None
        self.hear: Callable[..., None] = lambda *_: None
        self.look: Callable[[], None] = lambda: None
        self.over = asyncio.Event()

    def now_us(self) -> int:
        return self._now_us

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        assert self.line is not None
        while not wake.is_set():
            line_us = self.line.next_due()
            next_us = min(at for at in (due_us, line_us, self._look_us) if at is not None)
            if next_us >= self._until_us:
                self.over.set()
                await asyncio.Event().wait()
            stuck = next_us <= self._now_us and next_us == line_us
            self._now_us = max(self._now_us, next_us)
            if self._now_us >= self._look_us:
                self._look_us += LOOK_US
                self.look()
            events = self.line.step(self._now_us)
            if events:
                self.hear(*events)
            if due_us is not None and due_us <= self._now_us:
                return
            if stuck and (after := self.line.next_due()) is not None and after <= self._now_us:
                self._now_us += 1_000  # it looks again when a thread would


class OnTheTrack:
    """Trains that the station's detectors see, and the show only through them."""

    def __init__(self, world: World, line: Line, layout: Layout) -> None:
        self._world, self._line, self._layout = world, line, layout

    def next_due(self) -> int | None:
        return self._world.next_due()

    def advance(self, now_us: int) -> list[Input]:
        for one in self._world.advance(now_us):
            if not isinstance(one, Detected):
                continue  # where trains truly are is nothing that a real show could know
            number = self._layout.detectors[one.detector].wiring.pin or 0
            self._line.station.detector(number, one.state == "occupied", now_us, by_current=True)
        return []


def trains(program: Program, until_us: int) -> tuple[TrainRun, ...]:
    """A train on each track in turn."""
    tracks = list(program.layout.tracks)
    times = range(60 * S, until_us, TRAIN_EVERY_US)
    return tuple(TrainRun(NOWHERE, tracks[n % len(tracks)], 600, 150_000, at_us) for n, at_us in enumerate(times))


def resident_mb() -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1_000
    return 0.0


class Row:
    """A line of the table for each hour that has gone."""

    def __init__(self, clock: Clock, line: Line, show: Show, path: Path, watch: Watch) -> None:
        self._clock, self._line, self._show, self._path, self._watch = clock, line, show, path, watch
        self._next_us = 0
        self._cpu_s = time.process_time()

    def look(self) -> None:
        self._watch.look()
        if self._clock.now_us() < self._next_us:
            return
        time.sleep(1.2)  # the journal writes once a second of real time
        gc.collect()
        log = self._path.with_name(f"{self._path.name}-wal")
        file_kb, log_kb = (one.stat().st_size / 1_000 if one.exists() else 0.0 for one in (self._path, log))
        spent_s, self._cpu_s = time.process_time() - self._cpu_s, time.process_time()
        share = f"{spent_s / 3600:8.2%} of one processor" if self._next_us else ""
        grown = f"{resident_mb():10.1f} MB {file_kb:9,.0f} + {log_kb:5,.0f} kB {self._line.sent:12,} bytes"
        print(f"{self._next_us // HOUR_US:4} h {grown} {self._show.worked:10,} instants {share}", flush=True)
        self._next_us += HOUR_US


async def perform(folder: Path, hours: float) -> None:
    project = load([EXAMPLE])
    assert not project.errors
    program, layout = project.program, project.layout
    plan = Plan(program.days["saturday"], date(2026, 12, 5), UTC, layout.clock, BEGINS)
    clock = Clock(round(hours * HOUR_US))
    link = replace(links_of(layout, ["loop://"])[0], resets=False)
    line = clock.line = Line(layout, link, clock)
    journal = Journal(folder / journal_file.FILE, layout.keeping)
    wall_us = int(BEGINS.timestamp()) * S
    watch = Watch(journal, program, project.name, lambda: wall_us + clock.now_us())
    show = Show(program, watch.record, [line], starts_s=plan.layout_starts_s, clock=clock)
    show.kernel.hall_starts_s = plan.hall_starts_s
    journal.start()
    runs: Any = [line]
    watch.begins(show, runs)
    signals = layout.outputs
    world = World(layout, trains(program, clock._until_us), (), lambda name: show.kernel.holds(may_pass(signals[name])))
    day = ShowDay(show.kernel, plan, OnTheTrack(world, line, layout), lambda: show.now_us)
    clock.hear, clock.look = show.inputs.put, Row(clock, line, show, journal.path, watch).look
    show.begin_now = True  # nothing passes in virtual time while it would wait for its link
    began = time.monotonic()
    task = asyncio.ensure_future(show.perform(day))
    over = asyncio.ensure_future(clock.over.wait())
    await asyncio.wait([task, over], return_when=asyncio.FIRST_COMPLETED)
    if task.done():
        task.result()
    task.cancel()
    watch.ended("the benchmark is over", 0)
    assert journal.close() == []
    entries = journal_read.of_show(journal.path, watch.began_us)
    kinds = {kind: sum(one.kind == kind for one in entries) for kind in dict.fromkeys(one.kind for one in entries)}
    print(f"{hours:g} h in {time.monotonic() - began:.0f} s; {len(entries):,} entries in the journal: {kinds}")
    for one in [one for one in entries if one.kind in ("fault", "rule")][:8]:
        print(f"  {one.kind} at {(one.at_us or 0) / S:.1f} s: {one.text} ({one.subject})")
    print(f"of the day: {sum(not one.left_out for one in day.log if one.entry)} begun, state {line.state.value}")


def main() -> None:
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 6.0
    assert os.path.exists("/proc/self/status"), "it reads its memory from /proc"
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(perform(Path(folder), hours))


if __name__ == "__main__":
    main()
