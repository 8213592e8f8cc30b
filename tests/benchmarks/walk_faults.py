"""How long a walk's diagnosis takes on a large layout: 504 accessories on 63 boards, more and more of them dead.

.venv/bin/python tests/benchmarks/walk_faults.py
"""

from __future__ import annotations

import random
import tempfile
import time
from pathlib import Path

from wayside.layout.file import read_layout
from wayside.walk.answers import Answer, How
from wayside.walk.faults import likely_faults
from wayside.walk.signs import walked
from wayside.walk.stops import walk_round

BOARDS, PORTS = 63, 8
SHARES = (0.0, 0.02, 0.5, 1.0)  # of the outputs that do nothing


def layout_text() -> str:
    boards = [f"  b{n}: {{link: main, first address: {1 + n * PORTS}, ports: {PORTS}}}" for n in range(BOARDS)]
    lamps = [f"  o{n}-{p}: {{kind: lamp, board: b{n}, port: {p}}}" for n in range(BOARDS) for p in range(PORTS)]
    head = "layout: large\nlinks:\n  main: {kind: serial text, dialect: late}"
    return "\n".join([head, "boards:", *boards, "outputs:", *lamps]) + "\n"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "layout.yaml"
        file.write_text(layout_text(), encoding="utf-8")
        layout = read_layout(file, "layout.yaml")[0]
    walk = walk_round(layout)
    chance = random.Random(1)
    for share in SHARES:
        answers = {stop.name: Answer(How.NO if chance.random() < share else How.YES) for stop in walk.stops}
        began = time.perf_counter()
        faults = likely_faults(walked(layout, walk, answers))
        took = time.perf_counter() - began
        print(f"{len(walk.stops)} stops, {share:4.0%} dead: {len(faults):>3} faults in {took * 1000:6.0f} ms")


if __name__ == "__main__":
    main()
