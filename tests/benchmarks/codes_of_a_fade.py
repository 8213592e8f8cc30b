"""Commands of fades against the distinct codes they pass through, and how many values a second become codes.

Run it: `python tests/benchmarks/codes_of_a_fade.py [rounds]`.
"""

from __future__ import annotations

import sys
import time

from engine.codes import code, commands, dithered, seen
from engine.layout import Kind, Output, Setting
from engine.waves import Ramp

SECOND = 1_000_000
VALUES = [number / 9_999 for number in range(10_000)]


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    fade = Ramp(0, 10 * SECOND, 0.0, 1.0)
    for bits in (8, 10, 12):
        lamp = Output("lamp", Kind.LAMP, Setting(0.0), steps=2**bits - 1, dithers=True)
        began = time.perf_counter()
        for _ in range(rounds):
            told = list(commands(fade, lamp, 0, 11 * SECOND))
        per_s = rounds * len(told) / (time.perf_counter() - began)
        distinct = len({code(lamp, fade.value_at(at_us)) for at_us in range(0, 10 * SECOND + 1, 100)})
        ratio = len(told) / distinct
        print(f"{bits} bits: {len(told)} commands, {distinct} codes, ratio {ratio:.3f}; {per_s:,.0f} commands a second")
    lamp = Output("lamp", Kind.LAMP, Setting(0.0), steps=255, dithers=True)
    tells = seen(lamp)
    for name, ask in (
        ("code()", lambda value: code(lamp, value)),
        ("seen()", tells),
        ("dithered()", lambda value: dithered(lamp, value, 0)),
    ):
        began = time.perf_counter()
        for _ in range(rounds):
            for value in VALUES:
                ask(value)
        print(f"{name}: {rounds * len(VALUES) / (time.perf_counter() - began):,.0f} values a second")


if __name__ == "__main__":
    main()
