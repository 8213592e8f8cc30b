"""A show in real time: the kernel on asyncio, hands and links around it, until somebody ends it.

Owns the order in which a show begins and ends. Knows no screen: what happened is handed on record by record, and each
line of a rule that breaks with what is done about it.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Protocol

from adapters.link_states import State
from engine.breaches import Deed, done_about
from engine.drive import Nothing, World
from engine.events import Close, Input, Stand
from engine.kernel import Kernel
from engine.layout import Kind, Layout
from engine.live import Clock, LoopClock, perform
from engine.program import Program
from engine.proven import Passages
from engine.rules import Broken, Judgement, Lasting, Rules, asks_trains, sentences
from engine.stage import settled_wave
from engine.standing import Standing
from engine.trace import Broke, Record, Told
from engine.waves import endless

MOST_BROKEN = 100  # lines of rules told of in one instant
MOST_INPUTS = 100_000  # waiting to be worked; more than that comes from no layout
SENT_WITHIN_US = 300_000  # after the last move has ended, before its last value is taken to be on its way
LATE_LINK_US = 20_000_000  # a show begins without a link that does not talk so long after another does
BACK_WITHIN_US = 10_000_000  # at its end a show waits so long for a link that does not talk, and may any moment
WAITS_SAID_US = 1_500_000  # a wait at the end that is longer is spoken of
ENDS_WITHIN_US = 120_000_000  # scenes may take so long for their `when stopped`; then the show ends without them
READS_WITHIN_S = 1.0  # after a stop of the program; a link that has read nothing by then is not waited for


UNKNOWN_TRAVEL_US = 3_000_000  # of a servo whose layout says nothing of it


class Wire(Protocol):
    """A link as the show sees it: it is told waves, and makes inputs by itself."""

    def want(self, output: str, told: Told) -> None: ...

    @property
    def idle(self) -> bool:
        """Whether everything that was wanted has been told."""

    @property
    def awake(self) -> bool:
        """Whether what has come in has been read; it may not be after the program was stopped for a while."""

    @property
    def state(self) -> State: ...


class ShowClock(LoopClock):
    """Microseconds since it was made, told to any thread: the show and its links count by the same clock."""

    def __init__(self) -> None:
        self._began_ns = time.monotonic_ns()

    def now_us(self) -> int:
        return (time.monotonic_ns() - self._began_ns) // 1_000


class Waiting:
    """Inputs from hands and links, worked before anything that is due: a world of its own around another."""

    def __init__(self) -> None:
        self.world: World = Nothing()
        self.now_us: Callable[[], int] = lambda: 0
        self.heard: Callable[[int, Sequence[Input]], None] | None = None  # is told what is worked, and when
        self.wake = asyncio.Event()
        self._queue: deque[Input] = deque(maxlen=MOST_INPUTS)

    def put(self, *events: Input) -> None:
        """Take in inputs, also before the show has begun. To be called in the show's own thread."""
        self._queue.extend(events)
        self.wake.set()

    def next_due(self) -> int | None:
        due = self.world.next_due()
        if not self._queue:
            return due
        now = self.now_us()
        return now if due is None else min(due, now)

    def advance(self, now_us: int) -> list[Input]:
        events = [*self._queue]
        self._queue.clear()
        events += self.world.advance(now_us)
        if events and self.heard is not None:
            self.heard(now_us, events)
        return events


class Show:
    """One performance. `tell` is given every record of the trace as it is made."""

    def __init__(
        self,
        program: Program,
        tell: Callable[[Record], None],
        wires: Sequence[Wire] = (),
        seed: int = 0,
        starts_s: int | None = None,
        known: bool = False,
        positions: Mapping[str, float] | None = None,
        clock: ShowClock | None = None,
        broken: Callable[[Broken, Deed], None] | None = None,
    ) -> None:
        self.kernel = Kernel(program, seed, starts_s)
        self.clock = clock or ShowClock()
        self.standing = Standing(self.kernel)
        self.late_us: deque[int] = deque(maxlen=1_000)
        self.worked = 0  # instants
        self.inputs = Waiting()
        self._tell = tell
        self._wires = wires
        self._known = known
        self._patient = True  # whether links that have not read what has come in are waited for
        self._closing_since: int | None = None
        self._settled_since: int | None = None  # since when the links only are waited for
        self._clock: Clock = self.clock
        self.positions = positions or {}  # degrees in which servos were last left
        self.begin_now = False  # whether somebody would rather not wait for links that do not talk
        self.waiting = bool(wires)
        if not known:
            self._begins_unknown(program.layout)
        for name, degrees in self.positions.items():
            self.kernel.set_output(name, degrees)
        self._tell_broken = broken
        self._broken: deque[tuple[Broken, Deed]] = deque()  # in this instant; told when what came before has been
        self.rules = self._watched(program)
        self.swapped: Callable[[], None] = lambda: None  # is told when another program has been taken up
        self._program = program

    def _watched(self, program: Program) -> Rules:
        """The same monitors as in a rehearsal, with the last proven passage in place of where trains truly are."""
        if asks_trains(program):
            states = {name: now.state for name, now in self.kernel.stage.detectors.items()}
            self.kernel.believe(Passages(program.layout, states))
        rules = Lasting(self.kernel, sentences(program.rules.values()), makes_safe=True)
        rules.tell = self._breaks
        return rules

    def _breaks(self, broken: Broken) -> None:
        """A line has broken just now. Of very many in one instant the first are told."""
        if len(self._broken) < MOST_BROKEN:
            self._broken.append((broken, done_about(self.kernel, broken.rule)))

    @property
    def asks_trains(self) -> tuple[str, ...]:
        """The detectors by which rules ask where trains are."""
        return asks_trains(self.kernel.program)

    @property
    def unproven(self) -> tuple[str, ...]:
        """Detectors whose clear has to do as proof that a train has gone."""
        return self.kernel.passages.unproven if self.kernel.passages is not None else ()

    def judgements(self) -> tuple[Judgement, ...]:
        """What every line of every rule has come to."""
        return self.rules.judgements(self.kernel.stage.now_us)

    def _begins_unknown(self, layout: Layout) -> None:
        """Nothing has been heard, and guarded outputs show their safe state: a link tells them so before anything."""
        for name in layout.detectors:
            self.kernel.set_detector(name, "unknown")
        for name, output in layout.outputs.items():
            if output.safe is not None:
                self.kernel.stage.outputs[name].wave = settled_wave(output.safe, 0)

    @property
    def kept_closed(self) -> tuple[str, ...]:
        """Detectors that say nothing and are read by a scene with guarded outputs: they count as occupied."""
        if self._known or self.kernel.closed:
            return ()
        stage, scenes = self.kernel.stage, self.kernel.program.scenes.values()
        guarded = [scene for scene in scenes if any(stage.outputs[name].output.guarded for name in scene.writes)]
        read = dict.fromkeys(name for scene in guarded for name in scene.reads)
        return tuple(name for name in read if stage.detectors[name].state == "unknown")

    @property
    def flashing(self) -> tuple[str, ...]:
        """Guarded outputs that flash, told each time by us: their boards do not do it."""
        now = self.kernel.stage.outputs.items()
        return tuple(name for name, one in now if one.output.guarded and not one.output.itself and endless(one.wave))

    def holding(self, detectors: Iterable[str]) -> tuple[str, ...]:
        """Running scenes with guarded outputs that read some of these detectors."""
        stage, read = self.kernel.stage, set(detectors)
        return tuple(
            scene.name
            for scene in self.kernel.program.scenes.values()
            if stage.scenes[scene.name] == "running"
            and read & set(scene.reads)
            and any(stage.outputs[name].output.guarded for name in scene.writes)
        )

    @property
    def now_us(self) -> int:
        return self._clock.now_us()

    async def perform(self, world: World | None = None, clock: Clock | None = None) -> None:
        """Perform until `close` has been called and everything has come to its end."""
        self._clock = clock = clock or self.clock
        self.inputs.now_us, self.inputs.world = clock.now_us, world or Nothing()
        self._tell_all()
        await self._links_ready()
        if self._closing_since is not None:
            return
        self.waiting, self.kernel.begins_us = False, clock.now_us()
        self._unsure()
        if not self._known:
            self.inputs.put(*self.standing.begin(), *self._to_rest())
        performing = perform(
            self.kernel, self.inputs, clock, self.inputs.wake, worked=self._worked, overdue=self._read_first
        )
        task = asyncio.ensure_future(performing)
        try:
            while not self._over():
                await asyncio.wait([task], timeout=0.05)
                if task.done():
                    break
        finally:
            if task.done():
                task.result()
            task.cancel()

    async def _links_ready(self) -> None:
        """Wait until every link talks and its far ends have been put right, so that servos set out from where they are.

        A link that never talks is waited for only so long as any other does not do either, and LATE_LINK_US after it.
        """
        first_us: int | None = None
        while self._wires and not self.begin_now and self._closing_since is None:
            ready = [wire.state is State.TALKING and wire.idle for wire in self._wires]
            if all(ready):
                return
            if any(ready) and first_us is None:
                first_us = self.now_us
            if first_us is not None and self.now_us - first_us > LATE_LINK_US:
                return
            await asyncio.sleep(0.02)

    def _unsure(self) -> None:
        """Servos that nobody knows anything of have been told where to go, and may be on their way for a while."""
        if self._known:
            return
        for name, now in self.kernel.stage.outputs.items():
            if now.output.kind is Kind.SERVO and name not in self.positions:
                takes_us = now.output.itself_us or now.output.travel_us or UNKNOWN_TRAVEL_US
                self.kernel.unsure(name, self.kernel.begins_us + takes_us)

    def _to_rest(self) -> list[Input]:
        """Servos that were left elsewhere go home in their own time; guarded ones to their safe state instead."""
        outputs = self.kernel.program.layout.outputs
        away = (name for name, at in self.positions.items() if at != outputs[name].rest.value)
        return [Stand(name, False) for name in away if not outputs[name].guarded]

    def _tell_all(self) -> None:
        """What every output shows before anything happens: a link puts its far ends right by it."""
        for name, now in self.kernel.stage.outputs.items():
            for wire in self._wires:
                wire.want(name, Told(0, name, now.wave, "", now.output.place, "begins"))

    def close(self) -> None:
        """End every scene through its `when stopped`, and leave guarded outputs safe."""
        if self._closing_since is None:
            self._closing_since = self.now_us
            if self.kernel.closed:  # a show day has closed, and has made all safe itself
                return
            self.inputs.put(Close())

    def _over(self) -> bool:
        if self._closing_since is None:
            return False
        if self.now_us - self._closing_since > ENDS_WITHIN_US:
            return True
        if not self._settled:
            return False
        if self._settled_since is None:
            self._settled_since = self.now_us
        patient = self.now_us - self._settled_since < BACK_WITHIN_US
        return not any(self._waits_for(wire, patient) for wire in self._wires)

    @property
    def waits_to_end(self) -> bool:
        """Whether nothing but a link has kept it from its end for longer than telling takes."""
        return self._settled_since is not None and self.now_us - self._settled_since > WAITS_SAID_US

    @staticmethod
    def _waits_for(wire: Wire, patient: bool) -> bool:
        """A link that talks is waited for until it has been told all; another for as long as it may come back."""
        return not wire.idle and (patient or wire.state is State.TALKING)

    @property
    def _settled(self) -> bool:
        """Whether the last scene has come to its end, and every move with it."""
        stage = self.kernel.stage
        moving = (one.wave.ends_us for one in stage.outputs.values() if one.output.guarded)
        done_us = self.now_us - SENT_WITHIN_US
        return self.kernel.closed and not self.kernel.cast.runs and all((at or 0) <= done_us for at in moving)

    async def _read_first(self) -> None:
        """The program was stopped, and lines are overdue: what came in meanwhile is read before any is performed.

        Else a barrier would rise that the clock lets rise, although a train has come.
        """
        end = time.monotonic() + READS_WITHIN_S
        while not (awake := all(wire.awake for wire in self._wires)) and self._patient and time.monotonic() < end:
            await asyncio.sleep(0.005)
        self._patient = awake  # one that never reads is waited for once
        await asyncio.sleep(0)  # what they have read is put into the queue by the loop itself

    async def _worked(self, due_us: int) -> None:
        self.late_us.append(max(0, self.now_us - due_us))
        self.worked += 1
        trace = self.kernel.trace
        records = trace[:]
        trace.clear()  # a show of six hours keeps nothing that it does not need
        if self.kernel.program is not self._program:
            self._program = self.kernel.program
            self.swapped()
        for record in records:
            if isinstance(record, Told):
                for wire in self._wires:
                    wire.want(record.output, record)
            if isinstance(record, Broke) and self._broken and self._tell_broken is not None:
                self._tell_broken(*self._broken.popleft())
            self._tell(record)
        self._broken.clear()
        if not self._known and not self.kernel.closed:
            stands = self.standing.look()
            if stands:
                self.inputs.put(*stands)
