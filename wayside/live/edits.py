"""Edited scene files in a show with a person at it: watched, offered, and swapped in.

Joins the files, the offer, and whatever tells of the show by a program of its own. Decides nothing.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING

from wayside.live.offering import Offering
from wayside.live.scene_files import Contents, SceneFiles
from wayside.live.screen import Screen
from wayside.live.show_memory import Memory
from wayside.live.showing import Show
from wayside.project import Project

if TYPE_CHECKING:
    from engine.show_day import ShowDay
    from wayside.desk.desk import Desk


class Edits:
    """Made before the show begins: what is saved from then on counts."""

    def __init__(
        self,
        project: Project,
        paths: Sequence[str],
        show: Show,
        screen: Screen,
        memory: Memory,
        dry_run: bool,
        day: ShowDay | None,
        desk: Desk | None,
    ) -> None:
        self.offering = Offering(project, show, dry_run, screen.remark, day)
        self.offering.performs = self._performs
        self._files = SceneFiles(project.layout_file, paths, self.offering.saved)
        self._screen, self._memory, self._desk = screen, memory, desk
        self._task: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Look at the files from now on. To be called in the show's loop."""
        self._task = asyncio.ensure_future(self._files.watch())

    def stop(self) -> None:
        if self._task is not None:
            self._task.cancel()

    def typed(self, how: str) -> str:
        """`now`, `when idle`, `never`; empty asks what is offered. A sentence."""
        return self.offering.asked(how)[1] if how else self.offering.offered()

    def _performs(self, project: Project, contents: Contents) -> None:
        self._files.performs(contents)
        self._screen.perform(project)
        self._memory.perform(project.program)
        if self._desk is not None:
            self._desk.performs()
