"""An hour of 200 flickering lamps: rehearsed and judged, with its picture, and what an 8-bit far end would be told.

Also the memory that a simulated day of them takes, hour by hour: it must be flat.

Run: python tests/benchmarks/flickering_lamps.py
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

from engine.chance import key_of
from engine.codes import seen
from engine.drive import Nothing, jump
from engine.flicker import Flicker
from engine.kernel import Kernel
from engine.layout import Kind, Output, Setting
from engine.manners import MANNERS
from engine.waves import next_change
from wayside.project import load

LAMPS = 200
HOUR_US = 3_600_000_000


def folder(parent: Path, hours: int) -> Path:
    names = [f"lamp-{number}" for number in range(LAMPS)]
    manners = list(MANNERS)
    kind = "kind: lamp, dimmable: yes, link: main"
    outputs = "\n".join(f"  {name}: {{{kind}, pin: {pin}}}" for pin, name in enumerate(names))
    (parent / "layout.yaml").write_text(
        f"layout: Pellbrook Quay\nlinks:\n  main: {{kind: serial text}}\noutputs:\n{outputs}\n"
    )
    lines = [f"    flicker {name} like {manners[number % len(manners)]}" for number, name in enumerate(names)]
    scene = "scene all-of-them\n" + "\n".join(lines)
    expect = "\n".join(f"    expect {name} is flickering throughout" for name in names)
    rehearsal = f"rehearsal an-hour\n    plays all-of-them\n{expect}\n    lasts {hours} h"
    (parent / "lamps.scene").write_text(f"{scene}\n\n{rehearsal}\n")
    return parent


def timed(*command: str) -> float:
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def rehearsed() -> None:
    with tempfile.TemporaryDirectory() as name:
        where = folder(Path(name), 1)
        wayside = (sys.executable, "-m", "wayside", "rehearse", str(where))
        print(f"rehearsed, as a whole process: {timed(*wayside):6.2f} s")
        print(f"with a picture of it:          {timed(*wayside, '--picture', str(where / 'hour.svg')):6.2f} s")


def told(seconds: int = 60) -> None:
    """What the far ends of all lamps would be told, each change of each lamp's code found."""
    look = seen(Output("lamp", Kind.LAMP, Setting(0.0), steps=255))
    began, commands = time.perf_counter(), 0
    manners = list(MANNERS.values())
    for number in range(LAMPS):
        wave = Flicker(0, 0, key_of(f"lamp-{number}"), manners[number % len(manners)], (0.0, 1.0), (0.0, 1.0))
        at_us = 0
        while (change := next_change(wave, at_us, look)) is not None and change < seconds * 1_000_000:
            at_us, commands = change, commands + 1
    spent = time.perf_counter() - began
    print(f"every change of every lamp's code: {commands / spent:,.0f} a second of work, ", end="")
    print(f"{commands / seconds:,.0f} in a second of the show")


def a_day() -> None:
    with tempfile.TemporaryDirectory() as name:
        program = load([folder(Path(name), 1)]).program
        kernel = Kernel(program)
        kernel.start_scene("all-of-them", "", program.scenes["all-of-them"].place)
        waves = []
        tracemalloc.start()
        print("memory of a day, after each sixth hour, in kB:", end="")
        for hour in range(0, 25, 6):
            jump(kernel, Nothing(), hour * HOUR_US)
            waves = [kernel.wave(one) for one in program.layout.outputs]
            sum(wave.value_at(hour * HOUR_US + second * 1_000_000) for wave in waves for second in range(60))
            print(f" {tracemalloc.get_traced_memory()[0] // 1_000}", end="")
        tracemalloc.stop()
        print(f"; greatest resident size {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1_000} MB")


if __name__ == "__main__":
    rehearsed()
    told()
    a_day()
