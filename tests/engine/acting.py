"""Helpers of the engine's tests: a small stage, scenes as text, and the two drivers side by side."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TypeVar

from engine import trace as t
from engine.drive import Nothing, jump
from engine.events import Input
from engine.kernel import Kernel
from engine.layout import Button, Detector, DetectorKind, Feed, Kind, Layout, Link, Output, Position, Setting
from engine.live import perform
from engine.program import Program
from scenes.compiler import compile_program
from scenes.parse import parse

S = 1_000_000
K = TypeVar("K", bound=Kernel)


def lamp(name: str, **more: object) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0), steps=255, **more)  # type: ignore[arg-type]


def arm(name: str, safe: Setting | None = None) -> Output:
    positions = (Position("raised", 90.0), Position("lowered", 0.0))
    return Output(name, Kind.SERVO, Setting(90.0), positions=positions, travel_us=4 * S, safe=safe)


LAYOUT = Layout(
    name="bench",
    outputs={
        output.name: output
        for output in (
            *(lamp(name) for name in ("ada", "bea", "cid", "dot", "eve", "fay")),
            lamp("brief", longest_on_us=5 * S),
            lamp("ready"),
            arm("boom"),
            arm("gate", safe=Setting(0.0)),
            Output("coil-a", Kind.PULSE, Setting(0.0), pulse_us=100_000, feed="unit"),
            Output("coil-b", Kind.PULSE, Setting(0.0), pulse_us=100_000, feed="unit"),
        )
    },
    detectors={
        "near": Detector("near", DetectorKind.SECTION),
        "far": Detector("far", DetectorKind.SECTION),
        "slow": Detector("slow", DetectorKind.SECTION, settle_us=200_000),
    },
    buttons={"red-button": Button("red-button", ready_lamp="ready")},
    links={"main": Link("main")},
    feeds={"unit": Feed("unit", recharge_us=2 * S)},
)


class Script:
    """A world that does what it is told, when it is told."""

    def __init__(self, events: Sequence[tuple[float, Input]] = ()) -> None:
        self._events = [(round(at * S), event) for at, event in events]
        self._events.sort(key=lambda pair: pair[0])

    def next_due(self) -> int | None:
        return self._events[0][0] if self._events else None

    def advance(self, now_us: int) -> list[Input]:
        due = []
        while self._events and self._events[0][0] <= now_us:
            due.append(self._events.pop(0)[1])
        return due


class JumpingClock:
    """A clock for the waiting driver that waits for nothing."""

    def __init__(self) -> None:
        self._now_us = 0

    def now_us(self) -> int:
        return self._now_us

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        await asyncio.sleep(0)
        if due_us is not None:
            self._now_us = max(self._now_us, due_us)


def program(text: str, layout: Layout = LAYOUT) -> Program:
    """Compile scenes that must be right."""
    parsed = parse(text, "bench.scene")
    assert not parsed.problems, parsed.problems
    made, problems = compile_program([parsed.node], layout)
    assert not [problem for problem in problems if not problem.advice], problems
    return made


def played(
    source: str | Program,
    events: Sequence[tuple[float, Input]] = (),
    until: float = 3600,
    seed: int = 0,
    of: type[K] = Kernel,  # type: ignore[assignment]
) -> K:
    """A kernel that has performed, on the driver that jumps; the waiting driver must have made the same trace."""
    made = program(source) if isinstance(source, str) else source
    kernel = of(made, seed)
    jump(kernel, Script(events), round(until * S))
    twin = of(made, seed)
    asyncio.run(perform(twin, Script(events), JumpingClock(), asyncio.Event(), round(until * S)))
    assert twin.trace == kernel.trace
    return kernel


def told(kernel: Kernel, output: str) -> list[tuple[float, object]]:
    """When an output was told what: (seconds, wave)."""
    return [(r.at_us / S, r.wave) for r in kernel.trace if isinstance(r, t.Told) and r.output == output]


def value(kernel: Kernel, output: str, at: float) -> float:
    """What an output showed at an instant, from the trace."""
    wave = kernel.program.layout.outputs[output].rest.value
    shown: object = None
    for record in kernel.trace:
        if isinstance(record, t.Told) and record.output == output and record.at_us <= round(at * S):
            shown = record.wave
    return wave if shown is None else shown.value_at(round(at * S))  # type: ignore[attr-defined]


def notes(kernel: Kernel) -> list[tuple[float, str]]:
    return [(r.at_us / S, r.text) for r in kernel.trace if isinstance(r, t.Noted)]


def states(kernel: Kernel, scene: str) -> list[tuple[float, str]]:
    return [(r.at_us / S, r.state) for r in kernel.trace if isinstance(r, t.SceneIs) and r.scene == scene]


def troubles(kernel: Kernel) -> list[str]:
    return [r.text for r in kernel.trace if isinstance(r, t.Trouble)]


__all__ = ["LAYOUT", "Nothing", "S", "Script", "notes", "played", "program", "states", "told", "troubles", "value"]
