"""Rehearsing six hours of the example: idle, and busy with trains all day; times real time.

Run it: `python tests/benchmarks/six_hours.py`.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from adapters.simulator import World
from engine.conditions import may_pass
from engine.drive import jump
from engine.kernel import Kernel
from engine.layout import NOWHERE
from engine.program import Program, TrainRun
from wayside.project import load

HOURS = 6
END_US = HOURS * 3600 * 1_000_000
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"


def busy_trains(program: Program) -> tuple[TrainRun, ...]:
    """A train every 100 s on each track in turn."""
    tracks = list(program.layout.tracks)
    return tuple(
        TrainRun(NOWHERE, tracks[number % len(tracks)], 600, 150_000, number * 100_000_000)
        for number in range(HOURS * 36)
    )


def run(program: Program, trains: tuple[TrainRun, ...]) -> tuple[float, int]:
    began = time.perf_counter()
    kernel = Kernel(program, starts_s=17 * 3600)
    signals = program.layout.outputs
    world = World(program.layout, trains, (), lambda name: kernel.holds(may_pass(signals[name])))
    jump(kernel, world, END_US)
    return time.perf_counter() - began, len(kernel.trace)


def main() -> None:
    program = load([EXAMPLE]).program
    quiet = replace(program, scenes={name: one for name, one in program.scenes.items() if not one.heads})
    for name, made, trains in (
        ("idle", quiet, ()),
        ("busy", program, busy_trains(program)),
    ):
        for _ in range(3):
            seconds, records = run(made, trains)
            times = HOURS * 3600 / seconds
            print(f"{name}: {HOURS} h in {seconds:.4f} s, {times:,.0f} times real time, {records} records")


if __name__ == "__main__":
    main()
