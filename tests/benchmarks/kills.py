"""A show killed at a hundred random instants, and started again each time, against a far end that keeps its outputs.

Run it: `python tests/benchmarks/kills.py [TIMES]`. It stops at the first life in which something was not as it must be.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "live"))

from bench_kills import Shows, killed_at

TIMES = 100


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else TIMES
    with tempfile.TemporaryDirectory() as folder:
        shows = Shows(Path(folder) / "crossing")
        began = time.monotonic()
        try:
            for number in range(times):
                killed_at(shows, number)
            told = len(shows.far.log())
        finally:
            shows.close()
    print(
        f"{times} kills in {time.monotonic() - began:.0f} s: no barrier rose under a train, {told} entries in the log"
    )


if __name__ == "__main__":
    main()
