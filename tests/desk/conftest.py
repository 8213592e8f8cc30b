"""A desk on a small show: as an app by itself, and as the real program in a process of its own."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
KEPT = shutil.ignore_patterns("journal*", ".wayside")  # by shows that somebody has run there
WAITS_S = 30.0  # far more than any of it takes


class Running:
    """`wayside run` in a process of its own; what it prints is read by a thread."""

    def __init__(self, *options: str, folder: Path = QUAY, dry: bool = True) -> None:
        self._own = tempfile.TemporaryDirectory()  # a show keeps a journal beside its layout: not beside the example
        if folder == QUAY:
            folder = Path(self._own.name) / "pellbrook-quay"
            shutil.copytree(QUAY, folder, ignore=KEPT)
        command = [sys.executable, "-m", "wayside", "run", str(folder), "--plain", *(["--dry-run"] if dry else [])]
        env = {**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)}
        self.process = subprocess.Popen(
            [*command, *options], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=env
        )
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.until("show begins")
        found = re.search(r"http://[0-9.]+:([0-9]+)/", self.text)
        self.address, self.port = (found[0], int(found[1])) if found else ("", 0)

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.decode(errors="replace"))

    @property
    def text(self) -> str:
        return "".join(self.lines)

    def until(self, words: str) -> None:
        wait_for(lambda: words in self.text, lambda: f"{words!r} did not come; this did:\n{self.text}")

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line.encode() + b"\n")
        self.process.stdin.flush()

    def kill(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self._reader.join()
        self._own.cleanup()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe:
                pipe.close()


def wait_for(
    holds: Callable[[], bool], otherwise: Callable[[], str] = lambda: "it did not come to be", within_s: float = WAITS_S
) -> None:
    """Until something holds; an AssertionError if it does not for very long."""
    end = time.monotonic() + within_s
    while not holds():
        if time.monotonic() > end:
            raise AssertionError(otherwise())
        time.sleep(0.01)


@contextmanager
def running(*options: str, folder: Path = QUAY) -> Iterator[Running]:
    show = Running(*options, folder=folder)
    try:
        yield show
    finally:
        show.kill()


@pytest.fixture
def show() -> Iterator[Running]:
    with running("--from", "17:40") as one:
        yield one
