"""The example's crossing with a train in a hurry: rehearsed, and performed on a real pty against the stand-in.

It is a copy of Pellbrook Quay in which waits, moves and approaches are about a seventh, and the up signal's arm is
quick; everything else is the example's. So a second of it has far more commands than one of the example.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from typing import NamedTuple

from adapters.link_outputs import pace_of, size_of
from adapters.link_run import LinkRun
from adapters.link_states import State, Times
from adapters.load import simulate
from adapters.sender import Lateness, LatenessNow
from adapters.simulator import World
from adapters.stand_in import Entry, Settings, Station
from adapters.stand_in_ports import running
from adapters.wires import off_track, told
from engine.conditions import may_pass
from engine.drive import jump
from engine.events import Detected, Input
from engine.kernel import Kernel
from engine.program import Program
from wayside.live.links import Links, links_of
from wayside.live.showing import Show, ShowClock
from wayside.project import load

MS, S = 1_000, 1_000_000
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
PATIENCE_S = 20.0
SECTIONS = {"up-approach": 60, "down-approach": 61, "lane": 62}
SERVOS = frozenset({20, 21, 22})
TELLING = ("<a", "<z", "<Z")  # an output what it should show
TIMES = Times(quiet_us=50 * MS, report_us=50 * MS)

IN_A_HURRY = {
    "layout.yaml": {
        "dialect: late": "dialect: late, resets when opened: no, start-up: 300 ms",
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


class Due(NamedTuple):
    """A command that a rehearsal predicts."""

    at_us: int
    output: str
    text: str


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
    jump(kernel, world, program.rehearsals[name].lasts_us)
    return tuple(world.deeds)


def rehearsed(program: Program, deeds: Sequence[Deed], until_us: int) -> list[Due]:
    """The commands that a rehearsal predicts in which detectors do this."""
    kernel, layout, link = Kernel(program), program.layout, program.layout.links["main"]
    jump(kernel, Detectors(deeds), until_us)

    def texts(name: str, code: int) -> tuple[str, ...]:
        return told(layout, layout.outputs[name], code)

    load = simulate(
        layout,
        kernel.trace,
        until_us,
        link,
        pace_of(link),
        size=lambda name, code: size_of(texts(name, code)),
        off_track=off_track(layout, link),
    )
    assert load.whole
    return [Due(one.at_us, one.output, f"<{text}>") for one in load.stream for text in texts(one.output, one.code)]


# --- the far end, in a process of its own as it would be ------------------------------------------------------------


def serve(talk: Connection, name: str) -> None:
    """In that process: a stand-in on a pty. `(number, occupied)` works a detector, `None` asks for all that it did."""
    station = Station(Settings(servos=SERVOS, boards_start_us=100 * MS, banner_us=20 * MS))
    with running(station, name=name) as far:
        for number in SECTIONS.values():
            far.ask(lambda there, now_us, number=number: there.detector(number, False, now_us, by_current=True))
        far.ask(lambda there, now_us: there.power(True, now_us))
        talk.send(far._began_ns)
        while (asked := talk.recv()) is not None:
            number, occupied = asked

            def work(there: Station, now_us: int, number: int = number, occupied: bool = occupied) -> int:
                there.detector(number, occupied, now_us, by_current=True)
                return now_us

            talk.send(far.ask(work))
        talk.send([tuple(one) for one in far.ask(lambda there, _: list(there.log))])


@contextmanager
def far_end(name: str) -> Iterator[tuple[Connection, int]]:
    """What to talk to it by, and its clock's beginning in nanoseconds."""
    spawn = multiprocessing.get_context("spawn")
    ours, theirs = spawn.Pipe()
    process = spawn.Process(target=serve, args=(theirs, name), daemon=True)
    process.start()
    try:
        assert ours.poll(PATIENCE_S), "the stand-in does not begin"
        yield ours, ours.recv()
    finally:
        process.join(0.5)
        process.kill()
        process.join()


@contextmanager
def metronome() -> Iterator[Callable[[], int]]:
    """How late this computer wakes a process that sleeps and does nothing else: p99 in microseconds."""
    ticks = (
        "import sys, time\nlate = []\nsys.stdin = sys.stdin.buffer\nimport select\n"
        "while not select.select([sys.stdin], [], [], 0)[0]:\n"
        "    due = time.monotonic() + 0.005\n    time.sleep(0.005)\n    late.append(time.monotonic() - due)\n"
        "late.sort()\nprint(int(late[len(late) * 99 // 100] * 1e6))"
    )
    process = subprocess.Popen([sys.executable, "-c", ticks], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    try:
        yield lambda: int(process.communicate(b"\n")[0])
    finally:
        process.kill()
        process.wait()


# --- live ----------------------------------------------------------------------------------------------------------


class Performed(NamedTuple):
    """What a live show told. All instants are the show's own."""

    worked: tuple[Deed, ...]  # detectors, as they changed at the station
    heard: tuple[Deed, ...]  # the same, as the show took them
    commands: tuple[Entry, ...]  # to outputs, as the stand-in got them
    lateness: LatenessNow  # of the sender
    machine_us: int  # how late this computer wakes anybody

    @property
    def reason(self) -> str:
        late = self.lateness
        return (
            f"commands left up to {late.worst_us / MS:.1f} ms late, p99 {late.p99_us / MS:.1f} ms; "
            f"this computer wakes a process that only sleeps {self.machine_us / MS:.1f} ms late (p99)"
        )


async def performed(program: Program, deeds: Sequence[Deed], name: Path) -> Performed:
    """Put everything right on a real pty, then let the train pass: its detectors are worked at the stand-in."""
    with far_end(str(name)) as (far, far_began_ns), metronome() as machine_us:
        clock = ShowClock()
        shift_us = (far_began_ns - clock._began_ns) // 1_000
        links = Links(program.layout, links_of(program.layout, [str(name)]), clock.now_us, lambda _: None, TIMES)
        run = links.runs[0]
        show = Show(program, lambda _: None, links.runs, clock=clock)
        heard, worked = overheard(show), list[Deed]()
        task = asyncio.ensure_future(show.perform())
        links.start(show.inputs.put)
        try:
            await at_rest(show, run)
            heard.clear()
            run._lateness = Lateness()
            begins_us = clock.now_us() + 100 * MS
            for at_us, detector, state in deeds:
                await asyncio.sleep(max(0.0, (begins_us + at_us - clock.now_us()) / S))
                far.send((SECTIONS[detector], state == "occupied"))
                while not far.poll():
                    await asyncio.sleep(0.001)
                worked.append(Deed(far.recv() + shift_us, detector, state))
            await at_rest(show, run)
            far.send(None)
            log = [Entry(*one) for one in far.recv()]
            lateness = run.lateness()
        finally:
            links.stop()
            task.cancel()
        entries = [one._replace(at_us=one.at_us + shift_us, arrived_us=one.arrived_us + shift_us) for one in log]
        commands = [one for one in entries if one.command[:2] in TELLING and one.at_us >= begins_us]
        return Performed(tuple(worked), tuple(heard), tuple(commands), lateness, machine_us())


def overheard(show: Show) -> list[Deed]:
    """The detectors that the show hears of from now on, with the instant at which it works each."""
    heard: list[Deed] = []
    advance = show.inputs.advance

    def listens(now_us: int) -> list[Input]:
        found = advance(now_us)
        heard.extend(Deed(now_us, *one) for one in found if isinstance(one, Detected))
        return found

    show.inputs.advance = listens  # type: ignore[method-assign]
    return heard


async def at_rest(show: Show, run: LinkRun) -> None:
    """Until every output is at rest, no scene runs, and all has been told."""
    end = time.monotonic() + PATIENCE_S
    outputs = show.kernel.stage.outputs.values()
    settled = 0
    while settled < 10:  # for what might come after it
        quiet = run.state is State.TALKING and run.idle and not show.kernel.cast.runs and not show.kept_closed
        still = all(one.value(show.now_us) == one.output.rest.value for one in outputs if one.output.guarded)
        settled = settled + 1 if quiet and still else 0
        assert time.monotonic() < end, ("it never came to rest", run.health())
        await asyncio.sleep(0.03)
