"""Statements a second with 1,000 lamps side by side, against the same behaviour written by hand in SimPy.

Both record every change of every lamp. Run it: `python tests/benchmarks/kernel_against_simpy.py [lamps] [rounds]`.
"""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable, Generator

import simpy

from engine import program as p
from engine.drive import Nothing, jump
from engine.events import StartScene
from engine.kernel import Kernel
from engine.layout import NOWHERE, Kind, Layout, Output, Setting
from engine.trace import Told
from engine.waves import Steady


def ours(lamps: int, rounds: int) -> list[tuple[int, str, float]]:
    names = [f"lamp-{number}" for number in range(lamps)]

    def one(number: int, name: str) -> p.Block:
        def turn(level: float) -> p.Tell:
            return p.Tell(NOWHERE, ((name, p.Level(level)),))

        def wait(us: int) -> p.Wait:
            return p.Wait(NOWHERE, us, us)

        return (p.Repeat(NOWHERE, (turn(1.0), wait(1000 + number), turn(0.0), wait(2000)), times=rounds),)

    scene = p.Scene(
        "all",
        NOWHERE,
        (p.Together(NOWHERE, tuple(one(number, name) for number, name in enumerate(names))),),
        writes=tuple(names),
    )
    layout = Layout(outputs={name: Output(name, Kind.LAMP, Setting(0.0)) for name in names})
    kernel = Kernel(p.Program(layout=layout, scenes={"all": scene}))
    kernel.advance(0, [StartScene("all")])
    jump(kernel, Nothing(), None)
    return [
        (r.at_us, r.output, r.wave.value) for r in kernel.trace if isinstance(r, Told) and isinstance(r.wave, Steady)
    ]


def theirs(lamps: int, rounds: int) -> list[tuple[int, str, float]]:
    env, log = simpy.Environment(), []

    def lamp(number: int, name: str) -> Generator:
        for _ in range(rounds):
            log.append((int(env.now), name, 1.0))
            yield env.timeout(1000 + number)
            log.append((int(env.now), name, 0.0))
            yield env.timeout(2000)

    for number in range(lamps):
        env.process(lamp(number, f"lamp-{number}"))
    env.run()
    return log


def timed(work: Callable[[int, int], list[tuple[int, str, float]]], lamps: int, rounds: int) -> float:
    gc.collect()
    began = time.perf_counter()
    work(lamps, rounds)
    return time.perf_counter() - began


def main() -> None:
    lamps, rounds = (int(arg) for arg in (sys.argv[1:] + ["1000", "100"][len(sys.argv) - 1 :]))
    assert sorted(ours(50, 5)) == sorted(theirs(50, 5)), "the two do not do the same"
    statements = lamps * rounds * 4
    print(f"{lamps} lamps, {rounds} rounds, {statements} statements; five runs of each in turn")
    for _ in range(5):
        mine, simpys = timed(ours, lamps, rounds), timed(theirs, lamps, rounds)
        print(
            f"wayside {statements / mine / 1e3:7.0f} k statements/s   SimPy {statements / simpys / 1e3:7.0f} k/s"
            f"   ratio {simpys / mine:.2f}"
        )


if __name__ == "__main__":
    main()
