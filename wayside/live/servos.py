"""The servos of a show: which of them may jump, and where each was last sent, kept beside the layout file."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from adapters.link_states import State
from adapters.simulator import link_of
from engine.layout import Itself, Kind
from wayside import wording
from wayside.live import last_positions
from wayside.live.showing import Show

if TYPE_CHECKING:
    from adapters.link_run import LinkRun


class Servos:
    """Keeps where the servos were last sent, and says which of them may jump."""

    def __init__(self, show: Show, kept: Path, runs: Sequence[LinkRun]) -> None:
        layout = show.kernel.program.layout
        self._show, self.kept, self._runs = show, kept, runs
        self._written: dict[str, float] = dict(show.positions)
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._writing: Future[str] | None = None
        self._servos = {
            name: link_of(layout, output.wiring)
            for name, output in layout.outputs.items()
            if output.kind is Kind.SERVO and output.itself is not Itself.MOVES
        }

    def warning(self) -> str:
        """The servos that nobody knows anything of."""
        served = {run.link.name for run in self._runs}
        lost = [name for name, link in self._servos.items() if link in served and name not in self._written]
        if not lost:
            return ""
        return (
            f"{wording.listed(lost, 6)} may jump: nobody knows where {'it stands' if len(lost) == 1 else 'they stand'}."
        )

    def keep(self) -> str:
        """Write down where they are, if that has changed; what is wrong if it cannot be written.

        The disk may take its time, so a thread writes, and the show goes on. Ask again: the answer is the last one's.
        """
        talking = {run.link.name for run in self._runs if run.state is State.TALKING}
        stage, now_us = self._show.kernel.stage, self._show.now_us
        now = {
            name: round(stage.outputs[name].value(now_us), 2) for name, link in self._servos.items() if link in talking
        }
        busy = self._writing is not None and not self._writing.done()
        if not busy and now != {name: self._written.get(name) for name in now}:
            self._written.update(now)
            self._writing = self._pool.submit(last_positions.write, self.kept, dict(self._written))
        done = self._writing is not None and self._writing.done()
        return self._writing.result() if self._writing is not None and done else ""

    def close(self) -> str:
        """Write what is still to be written."""
        self.keep()
        self._pool.shutdown()
        return self._writing.result() if self._writing is not None else ""
