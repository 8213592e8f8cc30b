"""What a busy show costs: the example's evening with trains all the time, in real processes on a socket, for minutes.

`wayside run` with a page open and its journal, `wayside stand-in` at the other end, whose detectors are worked as
trains would: every half minute the lane closes and opens. From /proc, so on Linux only.

Run it: `python tests/benchmarks/busy_show.py [SECONDS]`. For growth over six hours see `show_at_pace.py`.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
KEPT = shutil.ignore_patterns("journal*", ".wayside")
TRAIN_S = (
    (60, "on", 9.0),
    (62, "on", 3.0),
    (60, "off", 3.0),
    (62, "off", 15.0),
)  # a detector, what it says, then so long


class Process:
    """A command, its lines read as they come."""

    def __init__(self, *words: str) -> None:
        command = [sys.executable, "-m", "wayside", *words]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, bufsize=1
        )
        self.lines: list[str] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line)

    def until(self, pattern: str) -> str:
        end = time.monotonic() + 60
        while time.monotonic() < end:
            for line in tuple(self.lines):
                if found := re.search(pattern, line):
                    return found[0]
            time.sleep(0.05)
        raise AssertionError(f"{pattern} did not come: {self.lines}")

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def stands(self) -> tuple[float, float]:
        """Processor seconds of all its threads; resident memory in MB."""
        where = Path(f"/proc/{self.process.pid}")
        fields = where.joinpath("stat").read_text().rpartition(")")[2].split()
        kb = re.search(r"VmRSS:\s*([0-9]+)", where.joinpath("status").read_text())
        assert kb is not None
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"), int(kb[1]) / 1_000

    def end(self) -> None:
        self.process.kill()
        self.process.wait()


def read_all(address: str) -> None:
    """A page that is open."""
    host, port = address.removeprefix("http://").rstrip("/").split(":")
    with socket.create_connection((host, int(port))) as one:
        one.sendall(f"GET /events HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
        while one.recv(65_536):
            pass


def journal_kb(folder: Path) -> tuple[float, float]:
    """The journal's file; and its write-ahead log, which is used again and again once it has grown to about 4 MB."""
    sizes = (folder.joinpath(name).stat().st_size for name in ("journal.sqlite", "journal.sqlite-wal"))
    file, log = (size / 1_000 for size in sizes)
    return file, log


def trains(far: Process, over: threading.Event) -> None:
    while not over.is_set():
        for number, state, wait_s in TRAIN_S:
            far.type(f"detector {number} {state}")
            if over.wait(wait_s):
                return


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 180.0
    over = threading.Event()
    with tempfile.TemporaryDirectory() as made:
        folder = shutil.copytree(EXAMPLE, Path(made) / "quay", ignore=KEPT)
        far = Process("stand-in", str(folder), "--tcp", "0")
        url = far.until(r"socket://[0-9.:]+")
        for line in ("power on", *(f"detector {number} off" for number in (60, 61, 62))):
            far.type(line)
        show = Process("run", str(folder), "--port", url, "--from", "17:44:30", "--plain")
        try:
            threading.Thread(target=read_all, args=(show.until(r"http://127[0-9.:]+/"),), daemon=True).start()
            show.until("scene evening begins")
            threading.Thread(target=trains, args=(far, over), daemon=True).start()
            time.sleep(10)
            print(f"{'':10}{'run':>10}{'memory':>12}{'journal':>12}{'its log':>12}{'stand-in':>12}")
            parts = max(1, round(seconds / 30))
            for part in range(parts):
                began, before = time.monotonic(), [one.stands()[0] for one in (show, far)]
                time.sleep(seconds / parts)
                lasted, now = time.monotonic() - began, [one.stands() for one in (show, far)]
                shares = [(cpu_s - then) / lasted for (cpu_s, _), then in zip(now, before, strict=True)]
                at_s, memory_mb, (file, log) = (part + 1) * seconds / parts, now[0][1], journal_kb(folder)
                kept = f"{file:9.0f} kB{log:9.0f} kB"
                print(f"{at_s:8.0f} s{shares[0]:10.2%}{memory_mb:9.1f} MB{kept}{shares[1]:12.2%}", flush=True)
        finally:
            over.set()
            show.end()
            far.end()
        closed = sum("saltmarsh-lane begins" in line for line in show.lines)
        print(f"the lane was closed {closed} times; shares are of one processor")


if __name__ == "__main__":
    main()
