"""A whole `wayside check` of the example, cold, against a bare `import lark, yaml`; medians of runs in turn.

Run it: `python tests/benchmarks/cold_start.py [runs]`, in an environment in which bytecode may be written.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
BARE = [sys.executable, "-c", "import lark, yaml"]
CHECK = [sys.executable, "-m", "wayside", "check", str(EXAMPLE)]


def seconds(command: list[str]) -> float:
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    seconds(CHECK)  # the first run writes the bytecode
    pairs = [(seconds(BARE), seconds(CHECK)) for _ in range(runs)]
    bare, check = (statistics.median(one) * 1000 for one in zip(*pairs, strict=True))
    ratio = statistics.median(ours / theirs for theirs, ours in pairs)
    print(f"import lark, yaml: {bare:.0f} ms   wayside check: {check:.0f} ms   ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
