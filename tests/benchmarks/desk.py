"""What a desk costs a show: processor time of a busy dry run with no page, and with some pages reading all the time.

Run it: `python tests/benchmarks/desk.py [seconds] [pages]`.
"""

from __future__ import annotations

import re
import resource
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"


def read_all(port: int, got: list[int]) -> None:
    with socket.create_connection(("127.0.0.1", port)) as one:
        one.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        while piece := one.recv(65_536):
            got.append(len(piece))


def processor_s(seconds: float, pages: int, *options: str) -> tuple[float, int]:
    """Processor seconds of a whole run, and the bytes that pages were sent."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [
        sys.executable,
        "-m",
        "wayside",
        "run",
        str(EXAMPLE),
        "--dry-run",
        "--plain",
        "--from",
        "17:44:59",
        *options,
    ]
    show = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert show.stdin is not None
    assert show.stdout is not None
    got: list[int] = []
    found = None
    while options != ("--no-desk",) and found is None:
        found = re.search(r"http://[^/]+:([0-9]+)/", show.stdout.readline())
    for _ in range(pages):
        assert found is not None
        threading.Thread(target=read_all, args=(int(found[1]), got), daemon=True).start()
    drain = threading.Thread(target=lambda: show.stdout.read() if show.stdout else "", daemon=True)
    drain.start()
    time.sleep(seconds)
    show.kill()
    show.wait()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, sum(got)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    pages = int(sys.argv[2]) if len(sys.argv) > 2 else 8
    for many, options in ((0, ("--no-desk",)), (0, ()), (1, ()), (pages, ())):
        spent, sent = processor_s(seconds, many, *options)
        each = f", {sent / many / seconds / 1_000:.1f} kB/s each" if many else ""
        print(f"{' '.join(options) or 'desk':10} {many} pages: {spent:.2f} s of processor in {seconds:.0f} s{each}")


if __name__ == "__main__":
    main()
