"""The example's crossing with a train in a hurry: rehearsed, and performed on a real pty against the stand-in.

It is a copy of Pellbrook Quay in which waits and ways are about a seventh, and servos go about a seventh of their way:
so a second of it has the commands of a second of the example. Everything else is the example's.
"""

from __future__ import annotations

import asyncio
import contextlib
import heapq
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from adapters.link_outputs import pace_of, size_of
from adapters.link_run import LinkRun
from adapters.link_states import State, Times
from adapters.load import Command, simulate
from adapters.sender import Lateness, LatenessNow
from adapters.stand_in import Entry, Settings, Station
from adapters.stand_in_ports import StandIn, running
from adapters.wires import off_track, told
from adapters.simulator import World
from engine.conditions import may_pass
from engine.drive import jump
from engine.events import Detected, Input
from engine.kernel import Kernel
from engine.layout import Layout, Link
from engine.program import Program
from engine.trace import Record, Saw
from wayside.live_links import Links, links_of
from wayside.project import load
from wayside.rehearsing import rehearse
from wayside.showing import Show, ShowClock

MS, S = 1_000, 1_000_000
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
PATIENCE_S = 20.0
SECTIONS = {"up-approach": 60, "down-approach": 61, "lane": 62}
SERVOS = {20: "near-barrier", 21: "far-barrier", 22: "up-arm"}
TIMES = Times(quiet_us=50 * MS, report_us=50 * MS)

IN_A_HURRY = {
    "layout.yaml": {
        "kind: serial text, dialect: late": "kind: serial text, dialect: late, resets when opened: no, start-up: 300 ms",
        "full travel: 3 s": "full travel: 430 ms",
        "full travel: 1200 ms": "full travel: 400 ms",
        "-approach: 3600 mm": "-approach: 500 mm",
        "lane: 300 mm": "lane: 90 mm",
        "shortest train: 300 mm": "shortest train: 100 mm",
    },
    "saltmarsh-lane.scene": {
        "wait 3 s": "wait 430 ms",
        "wait 5 s": "wait 715 ms",
        "over 7 s": "over 1 s",
        "over 6 s": "over 860 ms",
        "for 4 s": "for 570 ms",
        "rehearsal one-train\n": "rehearsal in-a-hurry\n    begins with every detector clear\n"
        "    a train 120 mm long runs along up-line at 150 mm/s, from 0 s\n    lasts 8 s\n\nrehearsal one-train\n",
    },
}


def in_a_hurry(folder: Path) -> Program:
    """The copy, written into a folder and read from there."""
    shutil.copytree(EXAMPLE, folder)
    for name, changes in IN_A_HURRY.items():
        text = (folder / name).read_text(encoding="utf-8")
        for before, after in changes.items():
            assert before in text, before
            text = text.replace(before, after)
        (folder / name).write_text(text, encoding="utf-8")
    project = load([folder])
    assert not project.errors, project.errors
    return project.program


# --- rehearsed -----------------------------------------------------------------------------------------------------


class Deed(NamedTuple):
    """A detector that changes."""

    at_us: int
    detector: str
    state: str


class Rehearsed(NamedTuple):
    """What the rehearsal says: when detectors change, what is then told to whom and when, and when it is over."""

    deeds: tuple[Deed, ...]
    stream: tuple[Command, ...]
    ends_us: int


class Detectors:
    """A world in which detectors change at given instants, and nothing else happens."""

    def __init__(self, deeds: Sequence[Deed]) -> None:
        self._deeds = list(deeds)

    def next_due(self) -> int | None:
        return self._deeds[0].at_us if self._deeds else None

    def advance(self, now_us: int) -> list[Input]:
        found = []
        while self._deeds and self._deeds[0].at_us <= now_us:
            _, detector, state = self._deeds.pop(0)
            found.append(Detected(detector, state))
        return found


class Watched:
    """The simulated layout, and what its detectors said."""

    def __init__(self, world: World) -> None:
        self._world = world
        self.deeds: list[Deed] = []

    def next_due(self) -> int | None:
        return self._world.next_due()

    def advance(self, now_us: int) -> list[Input]:
        found = self._world.advance(now_us)
        self.deeds += [Deed(now_us, *one) for one in found if isinstance(one, Detected)]
        return found


def trains_detectors(program: Program, name: str = "in-a-hurry") -> tuple[Deed, ...]:
    """When the detectors change in a rehearsal, raw, as a station would report it."""
    kernel, outputs = Kernel(program), program.layout.outputs
    trains = program.rehearsals[name].trains
    world = Watched(World(program.layout, trains, (), lambda signal: kernel.holds(may_pass(outputs[signal]))))
    world.advance(0) if False else None
    jump(kernel, world, program.rehearsals[name].lasts_us)
    return tuple(deed for deed in world.deeds)


def rehearsed(program: Program, link: Link, deeds: Sequence[Deed], until_us: int) -> tuple[Command, ...]:
    """The commands that a rehearsal with these detectors predicts, on this link."""
    kernel = Kernel(program)
    jump(kernel, Detectors(deeds), until_us)
    layout = program.layout

    def size(name: str, code: int) -> int:
        return size_of(told(layout, layout.outputs[name], code))

    off = off_track(layout, link)
    load = simulate(layout, kernel.trace, until_us, link, pace_of(link), size=size, off_track=off)
    assert load.whole
    return load.stream


# --- live ----------------------------------------------------------------------------------------------------------


class Performed(NamedTuple):
    """What was told live. Instants are the show's."""

    deeds: tuple[Deed, ...]  # as the show heard them
    log: tuple[Entry, ...]  # of the stand-in, its instants made the show's
    lateness: LatenessNow  # of the sender, in the passage
    worked_at: tuple[int, ...]


async def performed(program: Program, deeds: Sequence[Deed], lasts_us: int, name: Path) -> Performed:
    """Put everything right on a real pty, then let a train pass: its detectors are worked on the stand-in."""
    station = Station(Settings(servos=frozenset(SERVOS), boards_start_us=100 * MS, banner_us=20 * MS))
    with running(station, name=str(name)) as far:
        for number in SECTIONS.values():
            far.ask(lambda there, now_us, number=number: there.detector(number, False, now_us, by_current=True))
        far.ask(lambda there, now_us: there.power(True, now_us))
        clock, records = ShowClock(), list[Record]()
        links = Links(program.layout, links_of(program.layout, [str(name)]), clock.now_us, lambda _: None, TIMES)
        run = links.runs[0]
        show = Show(program, records.append, links.runs, clock=clock)
        task = asyncio.ensure_future(show.perform())
        links.start(show.inputs.put)
        shift_us = (far._began_ns - clock._began_ns) // 1_000
        try:
            await _at_rest(show, run)
            run._lateness = Lateness()
            del records[:]
            begins_us = clock.now_us() + 50 * MS
            worked_at = []
            for deed in deeds:
                await asyncio.sleep(max(0.0, (begins_us + deed.at_us - clock.now_us()) / S))
                far.ask(
                    lambda there, now_us, deed=deed: there.detector(
                        SECTIONS[deed.detector], deed.state == "occupied", now_us, by_current=True
                    )
                )
                worked_at.append(clock.now_us())
            await asyncio.sleep(max(0.0, (begins_us + lasts_us - clock.now_us()) / S))
            lateness = run.lateness()
            heard = tuple(Deed(one.at_us, one.detector, one.state) for one in records if isinstance(one, Saw))
            entries = far.ask(lambda there, _: list(there.log))
        finally:
            links.stop()
            task.cancel()
    log = [one._replace(at_us=one.at_us + shift_us, arrived_us=one.arrived_us + shift_us) for one in entries]
    return Performed(heard, tuple(one for one in log if one.at_us >= begins_us), lateness, tuple(worked_at))


async def _at_rest(show: Show, run: LinkRun) -> None:
    end = time.monotonic() + PATIENCE_S
    while not (run.state is State.TALKING and run.idle and not show.kept_closed and _raised(show)):
        assert time.monotonic() < end, ("it never came to rest", run.health())
        await asyncio.sleep(0.02)
    await asyncio.sleep(0.3)
    assert run.idle


def _raised(show: Show) -> bool:
    outputs, now_us = show.kernel.stage.outputs, show.now_us
    return all(outputs[name].value(now_us) == outputs[name].output.rest.value for name in SERVOS.values())
