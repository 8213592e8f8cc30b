"""Flags and counters that are declared `, kept`: what they hold, kept beside the layout file over a restart.

The file is small text, written whole and at once by a thread. A dry run has a file of its own: it is no show.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from engine.program import Program
from wayside.live import last_positions

if TYPE_CHECKING:
    from engine.kernel import Kernel

FILE, DRY_FILE = "kept.json", "kept-dry-run.json"
MOST_COUNT = 10**15  # what a counter is taken to hold at most: more comes from a damaged file

Values = Mapping[str, bool | int]


def file_for(layout_file: Path, dry: bool) -> Path:
    return layout_file.resolve().parent / last_positions.FOLDER / (DRY_FILE if dry else FILE)


def named(program: Program) -> list[str]:
    """The flags and counters that are kept, in the order written."""
    return [one.name for one in (*program.flags.values(), *program.counters.values()) if one.kept]


def read(path: Path, program: Program) -> tuple[dict[str, bool | int], str]:
    """What was kept of the flags and counters that there still are, and what is wrong with the file, if anything."""
    names = named(program)
    if not names:
        return {}, ""
    found, trouble = last_positions.read_object(path)
    sound = {name: _fitting(found.get(name), name in program.flags) for name in names}
    return {name: value for name, value in sound.items() if value is not None}, trouble


def _fitting(value: object, flag: bool) -> bool | int | None:
    """What a flag, or a counter, may hold; None for anything else."""
    if isinstance(value, bool):
        return value if flag else None
    return value if isinstance(value, int) and not flag and abs(value) <= MOST_COUNT else None


class Kept:
    """The kept flags and counters of one show, written whenever one has changed."""

    def __init__(self, kernel: Kernel, path: Path, values: Values) -> None:
        """Before the first instant: they hold what they held."""
        self._kernel, self._path = kernel, path
        self._names = named(kernel.program)
        for name, value in values.items():
            if name in kernel.stage.flags:
                kernel.set_flag(name, bool(value))
            else:
                kernel.count(name, int(value))
        self._written = self._now()
        self._pool = ThreadPoolExecutor(max_workers=1) if self._names else None
        self._writing: Future[str] | None = None

    def _now(self) -> dict[str, bool | int]:
        stage = self._kernel.stage
        return {name: stage.flags[name] if name in stage.flags else stage.counters[name] for name in self._names}

    def swapped(self) -> None:
        """The kernel performs another program: others may be kept. Nothing older than the show comes back for those."""
        self._names = named(self._kernel.program)
        if self._names and self._pool is None:
            self._pool = ThreadPoolExecutor(max_workers=1)

    def keep(self) -> str:
        """Write them down if one has changed; what is wrong if that could not be done. Never waits for the disk."""
        busy = self._writing is not None and not self._writing.done()
        now = self._now()
        if self._pool is not None and not busy and now != self._written:
            self._written = now
            self._writing = self._pool.submit(_write, self._path, now)
        done = self._writing is not None and self._writing.done()
        return self._writing.result() if self._writing is not None and done else ""

    def close(self) -> str:
        """Write what is still to be written; what is wrong if that could not be done."""
        if self._pool is None:
            return ""
        with suppress(Exception):
            if self._writing is not None:
                self._writing.result(2)
        self.keep()
        self._pool.shutdown()
        return self._writing.result() if self._writing is not None else ""


def _write(path: Path, values: Values) -> str:
    why = last_positions.write_object(path, dict(values))
    return f"Kept flags and counters cannot be written to {path} ({why}); a restart will not know them." if why else ""


def as_text(values: Values) -> str:
    """For the screen, when a show begins with what an earlier one left."""
    said = [f"{name} {'remembered' if value else 'forgotten'}" if isinstance(value, bool) else f"{name} is {value}"
            for name, value in values.items() if value]  # fmt: skip
    return f"Kept from before: {', '.join(said)}." if said else ""
