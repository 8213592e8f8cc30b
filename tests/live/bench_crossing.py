"""A crossing in a hurry, performed live on a real pty or socket against the stand-in, which is the judge of it.

The stand-in shares no code with the adapters: where its arms are and what its pins show was truly said. The crossing is
that of the example at Saltmarsh Lane, about twenty times as fast, with a lamp that fades beside it.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from adapters.link_states import State, Times
from adapters.stand_in import Entry, Settings, Station
from adapters.stand_in_ports import StandIn
from engine import codes
from engine.layout import Kind, Output
from engine.trace import Record
from wayside.live.links import Links, links_of
from wayside.live.showing import Show, ShowClock
from wayside.project import Project, load

MS, S = 1_000, 1_000_000
PATIENCE_S = 20.0  # far more than anything here takes; a busy machine must not make a test fail
REACTS_US = 500 * MS  # from a train's coming until a barrier that was rising has stopped, on a busy machine
TRAINS = {"up-approach": 60, "lane": 62}
DUSK = 63
ARMS = {"near-barrier": 20, "far-barrier": 21}
RAISED_DEG = 85.0

QUICK = Times(
    quiet_us=10 * MS,
    answer_us=200 * MS,
    ask_us=150 * MS,
    inputs_us=400 * MS,
    silence_us=500 * MS,
    fence_us=40 * MS,
    settle_us=300 * MS,
    report_us=20 * MS,
    contact_us=30 * MS,
    first_retry_us=30 * MS,
    last_retry_us=120 * MS,
)
STATION = Settings(servos=frozenset(ARMS.values()), boards_start_us=100 * MS, banner_us=20 * MS, servo_deg_s=1_200.0)

LAYOUT = """\
layout: Crossing in a hurry
links:
  main: {kind: serial text, dialect: late, start-up: START_UP}
OTHER_LINK
boards:
  crossing-board: {link: main, first address: 40, ports: 8}
outputs:
  amber:        {kind: lamp, board: crossing-board, port: 0}
  red-left:     {kind: lamp, board: crossing-board, port: 1, safe: "flashing at 80 a minute, 1 of 2"}
  red-right:    {kind: lamp, board: crossing-board, port: 2, safe: "flashing at 80 a minute, 2 of 2"}
  boom-lamps:   {kind: lamp, board: crossing-board, port: 3}
  bell:         {kind: sound, board: crossing-board, port: 4, longest on: 5 min}
  near-barrier: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg},
                 limits: 0 deg to 90 deg, full travel: 100 ms, rest: raised, safe: lowered}
  far-barrier:  {kind: servo, link: main, pin: 21, positions: {raised: 85 deg, lowered: 0 deg},
                 limits: 0 deg to 90 deg, full travel: 100 ms, rest: raised, safe: lowered}
  down-red:     {kind: lamp, link: main, pin: 23, rest: on, safe: on}
  down-green:   {kind: lamp, link: main, pin: 24, safe: off}
  down-signal:  {kind: signal, rest: danger, safe: danger,
                 aspects: {danger: {down-red: on, down-green: off}, clear: {down-red: off, down-green: on}}}
  quay-lamp:    {kind: lamp, dimmable: yes, levels: 255, link: LAMP_LINK, pin: 100}
detectors:
  up-approach:  {kind: section, link: main, pin: 60, settle: 20 ms}
  lane:         {kind: section, link: main, pin: 62, settle: 20 ms}
  dusk:         {kind: beam, link: main, pin: 63}
"""

SCENES = """\
define train-about as any of up-approach, lane is occupied
define line-clear as all of up-approach, lane are clear
group barriers: near-barrier, far-barrier
group reds: red-left, red-right

scene crossing
    runs whenever train-about
    when stopped
        set down-signal to danger
        turn off amber
        flash reds in turn at 80 a minute each
        turn on boom-lamps
        move barriers to lowered over 120 ms
        turn off bell
        hold everything
    if all of barriers are raised
        turn on amber and bell
        wait 60 ms
        turn off amber
    flash reds in turn at 80 a minute each
    wait 60 ms
    turn on boom-lamps
    repeat
        turn on bell
        move near-barrier to lowered over 120 ms
        move far-barrier to lowered over 120 ms
        turn off bell
        set down-signal to clear
        wait until line-clear for CLEAR_FOR
        set down-signal to danger
        wait until down-signal is danger
        as long as line-clear
            move barriers to raised over RISE
            stop repeating
    turn off reds and boom-lamps

scene dusk-falls
    runs whenever dusk is occupied
    as long as dusk is occupied
        fade quay-lamp to 80 % over DUSK
        wait until dusk is clear
    fade quay-lamp to 0 % over 100 ms
"""


def written(folder: Path, other_link: str = "", lamp_link: str = "main", **times: str) -> Project:
    """The layout and its scenes as files, and read again as a show reads them."""
    folder.mkdir(exist_ok=True)
    layout, scenes = LAYOUT.replace("OTHER_LINK\n", other_link).replace("LAMP_LINK", lamp_link), SCENES
    for name, usual in (("CLEAR_FOR", "150 ms"), ("RISE", "250 ms"), ("DUSK", "700 ms"), ("START_UP", "150 ms")):
        time_there = times.get(name.lower(), usual)
        layout, scenes = layout.replace(name, time_there), scenes.replace(name, time_there)
    (folder / "layout.yaml").write_text(layout)
    (folder / "crossing.scene").write_text(scenes)
    project = load([folder])
    assert not project.errors, project.errors
    return project


def until(holds: Callable[[], object]) -> None:
    """Wait for what must come about, where no show runs in this process."""
    end = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end, "it never came about"
        time.sleep(0.01)


class Rise(NamedTuple):
    """A barrier that rose although a train had been about for long enough to be known."""

    at_us: int
    pin: int
    from_deg: float
    to_deg: float


class Judge:
    """Looks at the stand-in's arms in each round of its loop, and at the trains that truly stand there."""

    def __init__(self) -> None:
        self.rises: list[Rise] = []
        self.about_since_us: int | None = None
        self._seen: tuple[int, dict[int, float]] = (0, {})

    def __call__(self, station: Station, now_us: int) -> None:
        machine = station.machine
        if not any(machine.inputs.get(number) for number in TRAINS.values()):
            self.about_since_us = None
        elif self.about_since_us is None:
            self.about_since_us = now_us
        angles = {pin: machine.servos[pin].angle(now_us) for pin in ARMS.values()}
        before_us, before = self._seen
        if self.about_since_us is not None and before_us >= self.about_since_us + REACTS_US:
            risen = [pin for pin, angle in angles.items() if angle > before[pin] + 0.1]
            self.rises += [Rise(now_us, pin, before[pin], angles[pin]) for pin in risen]
        self._seen = now_us, angles


class FarEnd:
    """The stand-in behind its door, in a thread of its own, with the judge in it."""

    def __init__(self, door: str, name: Path, settings: Settings = STATION) -> None:
        self.judge = Judge()
        pty = door == "pty"
        self.serves = StandIn(Station(settings), pty, None if pty else 0, str(name) if pty else None, watch=self.judge)
        self.serves.open()
        self.url = str(name) if pty else f"socket://127.0.0.1:{self.serves.port}"
        self._thread = threading.Thread(target=self.serves.serve, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self.serves.stop()
        self._thread.join(5)

    def power(self, on: bool = True) -> None:
        self.serves.ask(lambda station, now_us: station.power(on, now_us))

    def fault(self, name: str, ms: int | None = None) -> None:
        self.serves.ask(lambda station, now_us: station.fault(name, now_us, None if ms is None else ms * MS))

    def mend(self, name: str) -> None:
        self.serves.ask(lambda station, now_us: station.mend(name, now_us))

    def train(self, detector: str, there: bool = True) -> None:
        self.serves.ask(lambda station, now_us: station.detector(TRAINS[detector], there, now_us, by_current=True))

    def dusk(self, dark: bool = True) -> None:
        self.serves.ask(lambda station, now_us: station.detector(DUSK, dark, now_us))

    def says(self, data: bytes) -> None:
        """Bytes that no station would say."""
        assert self.serves.pty
        pending = self.serves.pty.pending
        self.serves.ask(lambda *_: pending.add(data))

    def angles(self) -> list[float]:
        return self.serves.ask(lambda station, now_us: [station.angle(pin, now_us) for pin in ARMS.values()])

    def down(self) -> bool:
        return max(self.angles()) < 0.2

    def up(self) -> bool:
        return min(self.angles()) > RAISED_DEG - 0.2

    def log(self, since_us: int = 0) -> list[Entry]:
        return self.serves.ask(lambda station, _: [entry for entry in station.log if entry.at_us >= since_us])

    def now_us(self) -> int:
        return self.serves.now_us()

    def shown(self) -> dict[str, float | None]:
        """What everything truly shows. Addresses, pins and levels as the layout above has them, by hand."""

        def look(station: Station, now_us: int) -> dict[str, float | None]:
            one = station.machine
            shows: dict[str, float | None] = {
                name: one.accessories.get(40 + port)
                for port, name in enumerate(("amber", "red-left", "red-right", "boom-lamps", "bell"))
            }
            shows |= {name: one.pins.get(pin) for name, pin in (("down-red", 23), ("down-green", 24))}
            lamp = one.servos.get(100)  # it takes a lamp for one if the first level could be a pulse
            shows["quay-lamp"] = lamp.pulse_us if lamp else one.pins.get(100)
            return shows | {name: round(station.angle(pin, now_us), 1) for name, pin in ARMS.items()}

        return self.serves.ask(look)


def wanted(show: Show) -> dict[str, float]:
    """What the kernel wants everything to show now, as the stand-in has it."""
    now_us = show.now_us
    outputs = show.kernel.stage.outputs
    return {name: _as_shown(one.output, one.value(now_us)) for name, one in outputs.items() if name != "down-signal"}


def _as_shown(output: Output, value: float) -> float:
    if output.kind is Kind.SERVO:
        return round(value, 1)
    code = codes.code(output, value)
    return round(code / output.steps * 4_095) if output.dimmable else code


class Bench:
    """A show that is being performed."""

    def __init__(self, project: Project, far: FarEnd, ports: list[str], times: Times) -> None:
        self.far = far
        self.said: list[str] = []
        self.records: list[Record] = []
        clock = ShowClock()
        links = [replace(link, resets=False) for link in links_of(project.layout, ports)]  # no wait for a banner
        self.links = Links(project.layout, links, clock.now_us, self.said.append, times)
        self.show = Show(project.program, self.records.append, self.links.runs, clock=clock)
        self.task: asyncio.Future[None] | None = None

    def start(self) -> None:
        self.show.begin_now = True  # a link that is dead from the beginning is not waited for
        self.task = asyncio.ensure_future(self.show.perform())
        self.links.start(self.show.inputs.put)

    @property
    def state(self) -> State:
        return self.links.runs[0].state

    def runs(self, scene: str) -> bool:
        return self.show.kernel.stage.scenes[scene] == "running"

    def what(self) -> str:
        return self.links.runs[0].health().what

    async def until(self, holds: Callable[[], object], patience_s: float = PATIENCE_S) -> None:
        """Wait for what must come about."""
        end = time.monotonic() + patience_s
        while not holds():
            self.nothing_has_crashed()
            if time.monotonic() > end:
                raise AssertionError(f"it never came about\n{self.stands()}")
            await asyncio.sleep(0.004)

    def stands(self) -> str:
        """For a person who looks why."""
        entries = [one for one in self.far.log() if one.thing != "asked"][-40:]
        log = "\n".join(f"  {one.at_us / S:8.3f} {one.command:16} {one.thing}: {one.effect}" for one in entries)
        return f"links {self.links.lines()}\nwanted {wanted(self.show)}\nshown  {self.far.shown()}\n{log}"

    def nothing_has_crashed(self) -> None:
        assert self.task
        if self.task.done():
            self.task.result()
            raise AssertionError("the show has ended by itself")
        for run in self.links.runs:
            assert "failed on this link" not in run.health().what, run.health().what
            assert run._reader.is_alive()
            assert run._sender._thread.is_alive()

    def wanted(self) -> dict[str, float]:
        return wanted(self.show)

    def right(self) -> bool:
        """Whether all has come to its end, is told, and the far end shows it."""
        waves = [one.wave for one in self.show.kernel.stage.outputs.values()]
        if any((wave.ends_us or 0) > self.show.now_us for wave in waves):
            return False
        shown, wants = self.far.shown(), self.wanted()
        if len(self.links.runs) > 1:  # the lamp is on the other one
            shown["quay-lamp"] = wants["quay-lamp"]
        return self.state is State.TALKING and shown == wants

    async def comes_right(self) -> None:
        """The last value of every output arrives, and stays."""
        await self.until(self.right)
        await asyncio.sleep(0.1)  # for what might come after it
        await self.until(self.right)

    async def train_comes(self) -> None:
        """A train on the approach, and the lane closed to the road for it."""
        self.far.train("up-approach")
        await self.until(self.far.down)

    async def train_goes(self) -> None:
        """It leaves, and the lane is open again: everything at rest."""
        for name in TRAINS:
            self.far.train(name, False)
        await self.until(self.far.up)
        await self.until(lambda: not self.runs("crossing"))
        await self.comes_right()

    async def end(self) -> None:
        """In good order: everything guarded is safe at the far end, too."""
        assert self.task
        self.nothing_has_crashed()
        self.show.close()
        await asyncio.wait_for(self.task, PATIENCE_S)
        await self.until(self.far.down)  # told last, put right perhaps: the arms themselves take a moment
        shown = self.far.shown()
        assert (shown["down-red"], shown["down-green"]) == (1, 0)


@contextmanager
def far_end(door: str, folder: Path, settings: Settings = STATION) -> Iterator[FarEnd]:
    far = FarEnd(door, folder / "station", settings)
    try:
        for name in TRAINS:
            far.train(name, False)
        far.dusk(False)
        far.power()
        yield far
    finally:
        far.stop()
    assert not far.judge.rises, ("a barrier rose with a train about", far.judge.rises[:3])


@asynccontextmanager
async def performing(
    folder: Path, door: str = "pty", starts: bool = True, times: Times = QUICK, dead: str = "", **written_with: str
) -> AsyncIterator[Bench]:
    """A show at rest, its line well; ended in good order. `dead`: the port of a second link, with the lamp on it."""
    if dead:
        written_with |= {
            "other_link": "  quay: {kind: serial text, dialect: late, start-up: 150 ms}\n",
            "lamp_link": "quay",
        }
    project = written(folder / "layout", **written_with)
    with far_end(door, folder) as far:
        ports = [f"main={far.url}", *([f"quay={dead}"] if dead else [])]
        bench = Bench(project, far, ports, times)
        try:
            if starts:
                bench.start()
                await bench.until(far.up)
                await bench.comes_right()
            yield bench
            await bench.end()
        finally:
            bench.links.stop()
            if bench.task:
                bench.task.cancel()
