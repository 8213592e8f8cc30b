"""A show in virtual time with its journal: the real show, watch, writer thread and file; only the clock jumps."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from datetime import UTC, date
from pathlib import Path
from typing import NamedTuple

from engine.day import Plan
from engine.drive import Nothing
from engine.events import Input
from engine.rules import Rules, sentences
from engine.show_day import ShowDay
from engine.trace import Record
from wayside.journal import file as journal_file
from wayside.journal.keeper import Journal
from wayside.journal.watch import Watch
from wayside.live import kept
from wayside.live.hands import understood
from wayside.live.showing import Show, ShowClock
from wayside.project import Project, load

S = 1_000_000
LOOK_US = 500_000
NOON = 1_795_867_200 * S  # 2026-11-28 12:00:00 UTC


class Clock(ShowClock):
    """It jumps to whatever comes first: what is due, the next typed line, the next look at everything."""

    def __init__(self, script: Sequence[tuple[float, str]]) -> None:
        self.at_us = 0
        self.show: Show
        self.watch: Watch
        self._script = sorted(((round(at * S), line) for at, line in script), key=lambda one: one[0])
        self._look_us = LOOK_US

    def now_us(self) -> int:
        return self.at_us

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        typed_us = self._script[0][0] if self._script else None
        self.at_us = min(at for at in (due_us, typed_us, self._look_us) if at is not None)
        if self.at_us == self._look_us:
            self._look_us += LOOK_US
            self.watch.look()
        while self._script and self._script[0][0] <= self.at_us:
            self._type(self._script.pop(0)[1])
        await asyncio.sleep(0)

    def _type(self, line: str) -> None:
        answer = understood(line, self.show.kernel.program)
        self.watch.typed(line)
        if answer.mark is not None:
            self.watch.mark(answer.mark)
        if answer.inputs:
            self.show.inputs.put(*answer.inputs)
        if answer.ends:
            self.show.close()


class Shown(NamedTuple):
    """`trace` is the kernel's own, all of it."""

    project: Project
    trace: list[Record]
    journal: Path
    said: list[str]


def show(
    folder: Path,
    script: Sequence[tuple[float, str]],
    until_s: float,
    starts_s: int | None = None,
    begins_us: int = NOON,
    seed: int = 0,
    day: str = "",
) -> Shown:
    """Perform a dry run to the end, its rules watched; lines are typed at their seconds. `day`: from its opening on."""
    return asyncio.run(_show(folder, [*script, (until_s, "end")], starts_s, begins_us, seed, day))


async def _show(
    folder: Path, script: Sequence[tuple[float, str]], starts_s: int | None, begins_us: int, seed: int, day: str
) -> Shown:
    project, trace, clock = load([folder]), list[Record](), Clock(script)
    assert not project.errors, project.errors
    path = journal_file.file_for(project.layout_file)
    journal = Journal(path)
    watch = Watch(journal, project.program, project.name, lambda: begins_us + clock.at_us, dry=True)

    def tell(record: Record) -> None:
        trace.append(record)
        watch.record(record)

    made = Show(project.program, tell, seed=seed, starts_s=starts_s, known=True, clock=clock)
    clock.show, clock.watch = made, watch
    if made.kernel.rules is None:
        Rules(made.kernel, sentences(project.program.rules.values()))
    keeping = kept.file_for(project.layout_file, dry=True)
    holds = kept.Kept(made.kernel, keeping, kept.read(keeping, project.program)[0])
    journal.start()
    watch.begins(made, seed=seed)
    plan = Plan(project.program.days[day], date(2026, 11, 28), UTC, project.layout.clock) if day else None
    await made.perform(ShowDay(made.kernel, plan, Nothing(), clock.now_us) if plan else None)
    watch.ended("the show has ended", 0)
    holds.close()
    return Shown(project, trace, path, journal.close())


def inputs(line: str, project: Project) -> tuple[Input, ...]:
    return understood(line, project.program).inputs
