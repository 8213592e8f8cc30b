"""Guarded outputs while no scene holds them, in a live show: safe until it is known that nothing is about.

A rehearsal begins with everything known and at rest, a show with nothing known. It decides; the kernel does it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from engine.events import Input, Stand
from engine.layout import OUT_OF_USE

if TYPE_CHECKING:
    from engine.kernel import Kernel


_NOTHING_ABOUT = ("clear", OUT_OF_USE)  # who puts a detector out of use has looked


class Standing:
    """Ask it after every instant: what it says is worked at the next one."""

    def __init__(self, kernel: Kernel) -> None:
        self._kernel = kernel
        outputs = kernel.program.layout.outputs
        self._guarded = [name for name, output in outputs.items() if output.guarded]
        self._program = kernel.program
        self._reads = {name: self._read_for(name) for name in self._guarded}
        self._safe: set[str] = set()

    def _read_for(self, output: str) -> tuple[str, ...]:
        """The detectors that the scenes which write an output read: they tell whether a train is about."""
        scenes = [scene for scene in self._kernel.program.scenes.values() if output in scene.writes]
        return tuple(dict.fromkeys(name for scene in scenes for name in scene.reads))

    def begin(self) -> list[Input]:
        """Before the first instant: every guarded output to its safe state."""
        self._safe = set(self._guarded)
        return [Stand(name, True) for name in self._guarded]

    def look(self) -> list[Input]:
        """Those go to rest whose detectors have all reported clear; one that a scene has taken is the scene's."""
        stage = self._kernel.stage
        if self._program is not self._kernel.program:  # another text: other scenes may write it, and read others
            self._program = self._kernel.program
            self._reads = {name: self._read_for(name) for name in self._guarded}
        ready: list[Input] = []
        for name in sorted(self._safe):
            if stage.outputs[name].holder:
                self._safe.discard(name)
            elif all(stage.detectors[one].state in _NOTHING_ABOUT for one in self._reads[name]):
                self._safe.discard(name)
                ready.append(Stand(name, False))
        return ready
