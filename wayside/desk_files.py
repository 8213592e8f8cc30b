"""Scene files that are edited while their show runs: checked on save, by a `wayside check` in a process of its own.

The show goes on with what it began with. Knows no show.
"""

from __future__ import annotations

import asyncio
import hashlib
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

LOOKS_EVERY_S = 1.0
CHECKED_WITHIN_S = 60.0
LONGEST = 4_000  # characters of what the check says

Verdict = list[str]  # ["fine" or "wrong", which files, what the check says]; empty while nothing was edited
Stamp = tuple[int, int]


class Files:
    """The layout file and every scene file beside it."""

    def __init__(self, layout_file: Path, arguments: Sequence[str], tell: Callable[[Verdict], None]) -> None:
        self._layout_file = layout_file
        self._arguments = list(arguments)
        self._tell = tell
        self._stamps = self._stamped()
        self._began_with = self._contents()

    def _paths(self) -> list[Path]:
        found: list[Path] = []
        with suppress(OSError):
            found = sorted(self._layout_file.parent.glob("*.scene"))
        return [self._layout_file, *found]

    def _stamped(self) -> dict[Path, Stamp]:
        stamps: dict[Path, Stamp] = {}
        for path in self._paths():
            with suppress(OSError):
                stat = path.stat()
                stamps[path] = (stat.st_mtime_ns, stat.st_size)
        return stamps

    def _contents(self) -> dict[Path, bytes]:
        contents: dict[Path, bytes] = {}
        for path in self._paths():
            with suppress(OSError):
                contents[path] = hashlib.sha256(path.read_bytes()).digest()
        return contents

    async def watch(self) -> None:
        """Look for ever."""
        while True:
            await asyncio.sleep(LOOKS_EVERY_S)
            await self.look()

    async def look(self) -> None:
        """Check what has been saved since the last look, and tell what came of it."""
        stamps = self._stamped()
        if stamps == self._stamps:
            return
        self._stamps = stamps
        now = self._contents()
        names = sorted(path.name for path in {*now, *self._began_with} if now.get(path) != self._began_with.get(path))
        if not names:
            self._tell([])
            return
        fine, said = await self._checked()
        self._tell(["fine" if fine else "wrong", ", ".join(names), said])

    async def _checked(self) -> tuple[bool, str]:
        command = [sys.executable, "-m", "wayside", "check", *self._arguments]
        none, pipe, both = asyncio.subprocess.DEVNULL, asyncio.subprocess.PIPE, asyncio.subprocess.STDOUT
        process = None
        try:
            process = await asyncio.create_subprocess_exec(*command, stdin=none, stdout=pipe, stderr=both)
            said, _ = await asyncio.wait_for(process.communicate(), CHECKED_WITHIN_S)
        except (OSError, TimeoutError) as problem:
            return False, f"It could not be checked: {problem or 'it took too long'}."
        finally:
            if process is not None and process.returncode is None:
                with suppress(ProcessLookupError):
                    process.kill()
        return process.returncode == 0, said.decode(errors="replace").strip()[:LONGEST]
