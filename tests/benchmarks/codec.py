"""How many bytes a second the codec reads and writes, against what a serial line carries.

Run: python tests/benchmarks/codec.py
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator

from adapters.codec import Decoder, Frame, encode
from adapters.dialects import EARLY, say, understand

LINE_BYTES_S = 11_520  # 115200 baud, 8N1
LEAST_S = 0.3  # of work for one figure
SIZE = 200_000


def reports() -> bytes:
    return b"".join(b"<%c %d>\r\n" % (b"Qq"[number % 2], number % 256) for number in range(SIZE // 8))[:SIZE]


def noisy() -> bytes:
    """Reports with random bytes between and inside them."""
    draws = random.Random(1)
    rude = bytearray(reports())
    for place in draws.choices(range(len(rude)), k=len(rude) // 20):
        rude[place] = draws.randrange(256)
    return bytes(rude)


def streams() -> Iterator[tuple[str, bytes]]:
    yield "detector reports", reports()
    yield "the same, one byte in twenty wrong", noisy()
    yield "random bytes", random.Random(2).randbytes(SIZE)
    yield "an endless frame", b"<" + b"x" * (SIZE - 1)
    yield "open brackets only", b"<" * SIZE


def a_second(work: Callable[[], int]) -> float:
    """How many bytes are done in a second; the best of three."""
    best = 0.0
    for _ in range(3):
        began, done = time.perf_counter(), 0
        while (spent := time.perf_counter() - began) < LEAST_S:
            done += work()
        best = max(best, done / spent)
    return best


def reading(data: bytes, at_once: int, understood: bool = False) -> Callable[[], int]:
    pieces = [data[start : start + at_once] for start in range(0, len(data), at_once)]

    def work() -> int:
        decoder = Decoder()
        for piece in pieces:
            for one in decoder.feed(piece):
                if understood and isinstance(one, Frame):
                    understand(EARLY, one)
        return len(data)

    return work


def writing() -> int:
    return sum(len(encode(say(EARLY, "accessory", board=n % 511, port=n % 4, act=n % 2))) for n in range(5_000))


def row(what: str, at_once: str, bytes_s: float) -> None:
    print(f"{what:38}{at_once:>14}{bytes_s / 1e6:12.2f}{bytes_s / LINE_BYTES_S:14,.0f}", flush=True)


def main() -> None:
    print(f"{'':38}{'bytes a read':>14}{'MB/s':>12}{'times a line':>14}")
    for name, data in streams():
        for at_once in (1, 64, 4_096):
            row(name, str(at_once), a_second(reading(data, at_once)))
    row("detector reports, understood", "64", a_second(reading(reports(), 64, understood=True)))
    row("accessory commands, said and written", "", a_second(writing))


if __name__ == "__main__":
    main()
