"""A show killed at a hundred random instants, and started again each time.

`python tests/benchmarks/kills.py [TIMES]`: the show alone, against a far end that keeps its outputs.
`python tests/benchmarks/kills.py power [TIMES]`: show and station at one instant, with arms left anywhere.
It stops at the first life in which something was not as it must be.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "live"))

from bench_kills import Shows, killed_at
from bench_power import Hall, power_goes

TIMES = 100


def shows_killed(times: int) -> str:
    with tempfile.TemporaryDirectory() as folder:
        shows = Shows(Path(folder) / "crossing")
        try:
            for number in range(times):
                killed_at(shows, number)
            told = len(shows.far.log())
        finally:
            shows.close()
    return f"no barrier rose under a train, {told} entries in the log"


def power_gone(times: int) -> str:
    with tempfile.TemporaryDirectory() as folder:
        hall = Hall(Path(folder) / "crossing")
        try:
            for number in range(times):
                power_goes(hall, number)
            whole, lives = hall.journal()
        finally:
            hall.close()
    return f"no barrier rose under a train, all in a safe order; the journal of {lives} shows is whole: {whole}"


def main() -> None:
    words = sys.argv[1:]
    power = words[:1] == ["power"]
    numbers = words[power:]
    times = int(numbers[0]) if numbers else TIMES
    began = time.monotonic()
    came_of = (power_gone if power else shows_killed)(times)
    print(f"{times} {'times the power gone' if power else 'kills'} in {time.monotonic() - began:.0f} s: {came_of}")


if __name__ == "__main__":
    main()
