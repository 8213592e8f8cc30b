"""How many values, and how many changes as an 8-bit far end sees them, each waveform gives in a second of work.

Run: python tests/benchmarks/waveforms.py
"""

from __future__ import annotations

import time
from collections.abc import Callable

from engine.chance import key_of
from engine.characters import read
from engine.codes import seen
from engine.courses import Course
from engine.curves import PROFILES, Curve, bouncing, settling
from engine.daylight import Follow, through
from engine.flicker import Flicker
from engine.layout import Blink, Kind, Output, Setting, Whereabouts
from engine.manners import MANNERS
from engine.waves import Flashing, Ramp, State, Wave, next_change
from engine.ways import WAYS, coming_on

S = 1_000_000
LAMP = Output("lamp", Kind.LAMP, Setting(0.0), steps=255)
STEP_US = 7_919  # a prime, so that no waveform is asked at instants of its own
LEAST_S = 0.3  # of work for one figure


def waves() -> dict[str, Wave]:
    key = key_of("lamp")
    sun = through(Whereabouts(), "dusk", 0, 240 * S, 10_000.0, 10_000.0)
    found: dict[str, Wave] = {
        "ramp": Ramp(0, 60 * S, 0.0, 1.0),
        "flashing": Flashing(0, Blink(60 * S, 45, 0, 2)),
        "character Q(6)+LFl 15s": Course(0, read("Q(6)+LFl 15s").script(), repeats=True, state=State.FLASHING),
        "daylight": sun,
        "sky lamp": Follow(sun, 1.0, 10_000.0),
        "bouncing": Curve(0, 7 * S, 0.0, 1.0, bouncing(7 * S)),
        "settling": Curve(0, 7 * S, 0.0, 1.0, settling(7 * S, 0.0)),
    }
    found |= {f"curve {name}": Curve(0, 60 * S, 0.0, 1.0, profile) for name, profile in PROFILES.items()}
    found |= {f"way {name}": Course(0, coming_on(name, key)) for name in WAYS}
    found |= {f"flicker {name}": Flicker(0, 0, key, manner, (0.0, 1.0), (0.0, 1.0)) for name, manner in MANNERS.items()}
    return found


def a_second(work: Callable[[], int]) -> float:
    """How many of what `work` counts are done in a second; the best of three."""
    best = 0.0
    for _ in range(3):
        began, done = time.perf_counter(), 0
        while (spent := time.perf_counter() - began) < LEAST_S:
            done += work()
        best = max(best, done / spent)
    return best


def values(wave: Wave, whole_us: int) -> Callable[[], int]:
    def work() -> int:
        value_at = wave.value_at
        for at_us in range(0, whole_us, STEP_US):
            value_at(at_us)
        return len(range(0, whole_us, STEP_US))

    return work


def changes(wave: Wave, whole_us: int) -> Callable[[], int]:
    look = seen(LAMP)

    def work() -> int:
        at_us, count = 0, 0
        while at_us < whole_us and (change := next_change(wave, at_us, look)) is not None:
            at_us, count = change, count + 1
        return count or 1

    return work


def main() -> None:
    print(f"{'waveform':34}{'values a second':>18}{'changes a second':>18}")
    for name, wave in waves().items():
        whole_us = min(wave.ends_us or 60 * S, 60 * S)
        figures = a_second(values(wave, whole_us)), a_second(changes(wave, whole_us))
        print(f"{name:34}{figures[0]:18,.0f}{figures[1]:18,.0f}", flush=True)


if __name__ == "__main__":
    main()
