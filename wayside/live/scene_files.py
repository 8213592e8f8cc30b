"""Scene files that are edited while their show runs: looked at, and checked on save in a process of their own.

Of several saves in quick succession the last counts. Knows no show; `offering` says what is done about it.
"""

from __future__ import annotations

import asyncio
import hashlib
import pickle
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from wayside.live.checked_apart import Checked
from wayside.project import SCENE_ENDING, find
from wayside.usage import UsageProblem

LOOKS_EVERY_S = 0.5
CHECKED_WITHIN_S = 60.0
LONGEST = 4_000  # characters of what the check says
MOST_BYTES = 64_000_000  # of what the check hands back

Stamp = tuple[int, int]
Contents = dict[Path, bytes]  # what each file held, as a digest


class Saved(NamedTuple):
    """What was saved: which files differ from what is performed, and what the check says of them all.

    `contents` is what they held when they were checked; `missing` names those that are not there any more; `layout`
    tells whether the layout file is among those that differ.
    """

    names: tuple[str, ...]
    checked: Checked
    contents: Contents
    missing: tuple[str, ...] = ()
    layout: bool = False


class SceneFiles:
    """The layout file and every scene file performed with it. Hands on what was saved; None: it is as before."""

    def __init__(self, layout_file: Path, arguments: Sequence[str], tell: Callable[[Saved | None], None]) -> None:
        self._layout_file = layout_file
        self._arguments = list(arguments)
        self._tell = tell
        self._stamps = self._stamped()
        self._performed = self._contents()

    def performs(self, contents: Contents) -> None:
        """From now on what was saved is compared with this."""
        self._performed = contents

    def _paths(self) -> list[Path]:
        """As they are found now; of files that were named one by one those, whether they are there or not."""
        paths = [Path(one) for one in self._arguments]
        try:
            return [self._layout_file, *find(paths).scenes]
        except (UsageProblem, OSError):
            return [self._layout_file, *(path for path in paths if path.suffix.lower() == SCENE_ENDING)]

    def _stamped(self) -> dict[Path, Stamp]:
        stamps: dict[Path, Stamp] = {}
        for path in self._paths():
            with suppress(OSError):
                stat = path.stat()
                stamps[path] = (stat.st_mtime_ns, stat.st_size)
        return stamps

    def _contents(self) -> Contents:
        contents: Contents = {}
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
        """Check what has been saved since the last look, once nothing more is saved, and tell what came of it."""
        stamps = await asyncio.to_thread(self._stamped)  # a slow disk holds up no show
        if stamps == self._stamps:
            return
        while True:
            await self._quiet(stamps)
            now, before = await asyncio.to_thread(self._contents), self._performed
            names = sorted({path for path in {*now, *before} if now.get(path) != before.get(path)})
            if not names:
                self._tell(None)
                return
            checked = await self._checked()
            stamps = await asyncio.to_thread(self._stamped)
            if (
                stamps == self._stamps and await asyncio.to_thread(self._contents) == now
            ):  # else it was saved again meanwhile
                break
        self._tell(
            Saved(
                tuple(path.name for path in names),
                checked,
                now,
                tuple(path.name for path in names if path not in now),
                self._layout_file in names,
            )
        )

    async def _quiet(self, stamps: dict[Path, Stamp]) -> None:
        """Wait until nothing was saved for one look: some editors write in two steps, or take the file away first."""
        while True:
            await asyncio.sleep(LOOKS_EVERY_S)
            self._stamps, stamps = stamps, await asyncio.to_thread(self._stamped)
            if stamps == self._stamps:
                return

    async def _checked(self) -> Checked:
        command = [sys.executable, "-m", "wayside.live.checked_apart", *self._arguments]
        none, pipe = asyncio.subprocess.DEVNULL, asyncio.subprocess.PIPE
        process = None
        try:
            process = await asyncio.create_subprocess_exec(*command, stdin=none, stdout=pipe, stderr=none)
            made, _ = await asyncio.wait_for(process.communicate(), CHECKED_WITHIN_S)
            if process.returncode or len(made) > MOST_BYTES:
                return Checked(False, "It could not be checked: its check broke off, or is too large.")
            checked: Checked = pickle.loads(made)  # from our own process, which has just made it
        except (OSError, TimeoutError, pickle.UnpicklingError, EOFError) as problem:
            return Checked(False, f"It could not be checked: {problem or 'it took too long'}.")
        finally:
            if process is not None and process.returncode is None:
                with suppress(ProcessLookupError):
                    process.kill()
        return checked._replace(says=checked.says[:LONGEST])
