"""How long a show stands still while a new text is swapped in: many scenes, all of them one line lower, one changed.

Run it by itself: `python tests/benchmarks/swapping.py`. The show's thread does nothing else meanwhile, so this is the
lateness that a swap makes. The text is checked and compiled elsewhere; what is read back from there is timed, too.
"""

from __future__ import annotations

import pickle
import statistics
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from engine.events import StartScene, Swap
from engine.kernel import Kernel
from engine.layout import Kind, Layout, Output, Setting
from engine.program import Program
from scenes.compiler import compile_program
from scenes.parse import parse

LINES = 12  # of each scene
ROUNDS = 7


def text(scenes: int, change: str = "") -> str:
    out = ["flag seen"]
    for n in range(scenes):
        out += ["", f"scene s{n}", f"    runs whenever l{n} is on for 2 s"]
        out += [f"    fade l{n} to {k * 5 + 5} % over 2 s" for k in range(LINES - 1)]
        out.append(f"    wait {change if change and n == 0 else '20 s to 40 s'}")
    return "\n".join(out) + "\n"


def compiled(source: str, layout: Layout) -> Program:
    program, problems = compile_program([parse(source, "many.scene").node], layout)
    assert not [one for one in problems if not one.advice], problems[:3]
    return program


def main() -> None:
    for scenes in (50, 500):
        lamps = (Output(f"l{n}", Kind.LAMP, Setting(0.0), steps=255) for n in range(scenes))
        layout = Layout(outputs={one.name: one for one in lamps})
        old = compiled(text(scenes), layout)
        pickled = pickle.dumps(compiled("\n" + text(scenes, "30 s to 40 s"), layout))
        took, read = [], []
        for _ in range(ROUNDS):
            kernel = Kernel(old)
            kernel.advance(0, [StartScene(f"s{n}") for n in range(1, scenes)])
            began = time.perf_counter()
            new: Program = pickle.loads(pickled)
            read.append(time.perf_counter() - began)
            began = time.perf_counter()
            kernel.advance(1_000_000, [Swap(new, False)])
            took.append(time.perf_counter() - began)
            assert kernel.program is new
        swap, loads = (statistics.median(one) * 1_000 for one in (took, read))
        print(f"{scenes} scenes, {scenes - 1} of them running: swapped in {swap:.0f} ms, read back {loads:.0f} ms")


if __name__ == "__main__":
    main()
