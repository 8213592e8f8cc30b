"""Checking a generated layout folder: seconds for 10,000 and 100,000 lines, and how they grow.

Run it: `python tests/benchmarks/checking.py [lines ...]`.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from wayside.project import load

SCENE = """scene shop-{n}
    starts every 20 min
    repeat 3 times
        turn on lamp-{n}
        wait 2 s to 9 s
        fade lamp-{n} to 40 % over 3 s
        together
            flash lamp-{n} at 60 a minute
            wait 4 s
        if track-{d} is occupied
            turn off lamp-{n}
        otherwise
            set lamp-{n} to 80 %
        as long as track-{d} is clear
            wait 10 s
    turn off lamp-{n}
"""


def make(folder: Path, lines: int) -> int:
    """A folder of about that many lines; how many it has."""
    scenes = lines // (SCENE.count("\n") + 2)
    layout = ["layout: bench", "links:", "  main: {kind: serial text}", "outputs:"]
    layout += [f"  lamp-{n}: {{kind: lamp, dimmable: yes, link: main, pin: {n}}}" for n in range(scenes)]
    layout += ["detectors:", *(f"  track-{d}: {{kind: section}}" for d in range(10))]
    (folder / "layout.yaml").write_text("\n".join(layout) + "\n", encoding="utf-8")
    per_file = 200
    total = len(layout)
    for first in range(0, scenes, per_file):
        text = "\n".join(SCENE.format(n=n, d=n % 10) for n in range(first, min(first + per_file, scenes)))
        (folder / f"part-{first:06}.scene").write_text(text, encoding="utf-8")
        total += text.count("\n")
    return total


def main() -> None:
    for lines in [int(arg) for arg in sys.argv[1:]] or [10_000, 20_000, 100_000]:
        with tempfile.TemporaryDirectory() as name:
            total = make(Path(name), lines)
            times = []
            for _ in range(3):
                began = time.perf_counter()
                project = load([Path(name)])
                times.append(time.perf_counter() - began)
            errors = sum(not problem.advice for problem in project.problems)
            best = sorted(times)[1]
            print(f"{total:7} lines: {best:6.2f} s, {total / best / 1e3:5.1f} k lines/s, {errors} errors")


if __name__ == "__main__":
    main()
