"""A show with a person at it: what is typed, Ctrl-C, a terminal that is closed, what is looked at twice a second.

Joins a show to its links, screen, journal, edited files and desk, and decides how it ends. Knows no options.
"""

from __future__ import annotations

import asyncio
import signal
import sys
import threading
from contextlib import suppress
from typing import TYPE_CHECKING

from wayside.live import last_positions, last_resort
from wayside.live.edits import Edits
from wayside.live.hands import so_already, understood
from wayside.live.operator_words import refused
from wayside.live.screen import Screen
from wayside.live.servos import Servos
from wayside.live.show_memory import Memory
from wayside.live.showing import Show
from wayside.live.words import ended, kept_closed, not_begun
from wayside.project import Project
from wayside.usage import FINE, INTERRUPTED, PROBLEMS

if TYPE_CHECKING:
    from engine.show_day import ShowDay
    from wayside.desk.desk import Desk
    from wayside.live.hands import Answer
    from wayside.live.links import Links

REDRAWN_EVERY_S = 0.5
AT_ONCE_WITHIN_S = 1.0  # a second Ctrl-C within this time ends without waiting
SILENT_AFTER_US = 5_000_000  # detectors that have said nothing for so long are spoken of


class Performance:
    """A show with a person at it: typed lines, Ctrl-C, a terminal that is closed."""

    def __init__(
        self,
        project: Project,
        show: Show,
        screen: Screen,
        memory: Memory,
        edits: Edits,
        links: Links | None = None,
        servos: Servos | None = None,
        day: ShowDay | None = None,
        desk: Desk | None = None,
    ) -> None:
        self._project = project
        self._show = show
        self._screen = screen
        self._memory = memory
        self._edits = edits
        self._links = links
        self._servos = servos
        self._day = day
        self._desk = desk
        self._silence_said = self._waiting_said = self._end_said = False
        self._silent_since_us: int | None = None
        if links is not None:
            screen.links = links.lines
        self._asked_at: float | None = None
        self._at_once = False

    async def run(self) -> int:
        loop = asyncio.get_running_loop()
        self._catch_signals(loop)
        when = " when its links talk" if self._links is not None else ""
        self._screen.remark(f"{self._project.name}: the show begins{when}. Type what your hands do; `help` says how.")
        if watched_rules := self._screen.rules.opening(self._show.asks_trains, self._show.unproven):
            self._screen.remark(watched_rules)
        threading.Thread(target=self._read, args=(loop,), daemon=True).start()
        if self._servos is not None and (warning := self._servos.warning()):
            self._screen.remark(warning)
        trains = self._desk.trains if self._desk is not None else None
        task = asyncio.ensure_future(self._show.perform(self._day or trains))
        if self._links is not None:
            self._links.start(self._show.inputs.put)
        if self._desk is not None:
            self._desk.start(self, self._screen.links, self._screen.rules.tallies, self._edits.offering.state)
        self._edits.start()
        try:
            while not task.done() and not self._at_once:
                self._look()
                self._screen.draw(self._show)
                if self._screen.left_alone and self._asked_at is None:
                    self._asked(loop)
                if self._day is not None and self._day.over and self._asked_at is None:
                    self._asked_at = loop.time()  # everything has ended already: there is nothing more to say
                    self._show.close()
                await asyncio.wait([task], timeout=REDRAWN_EVERY_S)
            if task.done() and not task.cancelled() and task.exception() is not None:
                await self._last_resort()
            if not self._at_once:
                self._look()
            unreached = self._links.unreached() if self._links is not None else []
        except Exception:  # in what looks on, while the show itself goes on
            if not task.done():
                task.cancel()
                await self._last_resort()
            raise
        finally:
            self._screen.close()
            self._edits.stop()
            if self._desk is not None:
                self._desk.stop()
            if self._links is not None:
                self._links.stop()
            if self._servos is not None and (trouble := self._servos.close()):
                self._screen.remark(trouble)
            if self._servos is not None:
                last_positions.ended(self._servos.kept)
        if self._at_once:
            task.cancel()
            return self._ended("ended at once. Nothing was brought to its safe state.", INTERRUPTED)
        await task
        for line in self._screen.rules.closing(self._show.judgements()):
            self._screen.remark(line)
        how = ended(unreached, self._show.flashing if self._links else ())
        return self._ended(how, PROBLEMS if unreached or self._screen.rules.any_broken else FINE)

    async def _last_resort(self) -> None:
        """A show that breaks off by a fault of our own leaves nothing guarded as it happens to be."""
        if self._links is None:
            return
        self._screen.remark(last_resort.SAYS)
        safe = asyncio.ensure_future(last_resort.make_safe(self._show, self._links.runs))
        while not safe.done() and not self._at_once:
            await asyncio.wait([safe], timeout=REDRAWN_EVERY_S)
        safe.cancel()
        with suppress(asyncio.CancelledError, Exception):  # the first fault is the one to be told
            await safe

    def _ended(self, how: str, status: int) -> int:
        self._screen.show(f"{self._project.name}: {how}")
        self._memory.close(how, status)
        return status

    def _look(self) -> None:
        """What is looked at twice a second: links, servos, and whether anything has been heard at all."""
        self._memory.look()
        if self._links is not None:
            self._links.look()
        if self._servos is not None and (trouble := self._servos.keep()):
            self._screen.remark(trouble)
            self._servos = None  # said once
        if self._show.waiting and not self._waiting_said and self._show.now_us > SILENT_AFTER_US:
            self._waiting_said = True
            links = self._links.not_talking() if self._links is not None else []
            self._screen.remark(not_begun(links))
        if self._links is not None and self._show.waits_to_end and not self._end_said:
            self._end_said = True
            them = "; ".join(f"link {one}" for one in self._links.not_talking())
            self._screen.remark(f"Waiting a little to leave all safe{f' ({them})' if them else ''}.")
        self._look_for_silence()

    def _look_for_silence(self) -> None:
        """Detectors that say nothing keep a crossing closed: said once each time that they fall silent."""
        waits = () if self._show.waiting else self._show.kept_closed
        if not waits:
            self._silent_since_us, self._silence_said = None, False
            return
        now_us = self._show.now_us
        if self._silent_since_us is None:
            self._silent_since_us = now_us
        if not self._silence_said and now_us - self._silent_since_us > SILENT_AFTER_US:
            self._silence_said = True
            links = self._links.not_talking(waits) if self._links is not None else []
            self._screen.remark(kept_closed(waits, self._show.holding(waits), links))

    def _catch_signals(self, loop: asyncio.AbstractEventLoop) -> None:
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is None:
                continue
            try:
                loop.add_signal_handler(number, self._asked, loop, name)
            except NotImplementedError:  # where the loop has no signals
                signal.signal(number, lambda *_, name=name: loop.call_soon_threadsafe(self._asked, loop, name))

    def _asked(self, loop: asyncio.AbstractEventLoop, by: str = "") -> None:
        """The end was asked for: once in good order; Ctrl-C within a second of that at once.

        A terminal that is closed may say so twice, the shell and the system once each, and is no hurry.
        """
        before = self._asked_at
        if before is None or by == "SIGINT":
            self._asked_at = loop.time()
        if before is not None and by == "SIGINT":
            if loop.time() - before <= AT_ONCE_WITHIN_S:
                self._at_once = True
            else:
                self._screen.remark("The show is ending already. Ctrl-C twice within a second ends it at once.")
        elif before is None:
            self._screen.remark(
                "Ending: scenes are stopped, then guarded outputs are made safe. Ctrl-C within a second ends at once."
            )
            self._show.close()

    def _read(self, loop: asyncio.AbstractEventLoop) -> None:
        """In a thread of its own: a terminal's line is read by waiting for it. Nothing more to read ends nothing."""
        with suppress(ValueError, OSError, RuntimeError):  # the show ended while we waited
            for line in sys.stdin:
                loop.call_soon_threadsafe(self._typed, line, loop)

    def _typed(self, line: str, loop: asyncio.AbstractEventLoop) -> None:
        self._screen.typed()
        self._memory.typed(line)
        self._work(line, loop)
        self._screen.draw(self._show)

    def _work(self, line: str, loop: asyncio.AbstractEventLoop) -> None:
        answer = understood(line, self._show.kernel.program)
        for sentence in self._do(answer):
            self._screen.remark(sentence)
        if answer.mark is not None:
            self._memory.mark(answer.mark)
        if answer.swap is not None:
            self._screen.remark(self._edits.typed(answer.swap))
        if answer.order:
            self._order(answer.order)
        if answer.begins:
            self._show.begin_now = True
        if answer.ends:
            self._asked(loop)

    def obey(self, answer: Answer) -> list[str]:
        """Do what was asked for on a page; sentences for who did."""
        self._memory.asked(answer.inputs)
        return self._do(answer)

    def _do(self, answer: Answer) -> list[str]:
        says = [answer.says] if answer.says else []
        if answer.inputs and self._show.waiting:
            says.append("The show has not begun: that is worked when it does. Type `begin` to begin now.")
        kernel = self._show.kernel
        says += [*so_already(answer.inputs, kernel.stage), *refused(answer.inputs, kernel)]
        if answer.inputs:
            self._show.inputs.put(*answer.inputs)
        return says

    def say(self, text: str) -> None:
        """Something for everybody to read."""
        self._screen.remark(text)

    def mark(self, note: str) -> None:
        """Something odd was seen just now."""
        self._memory.mark(note)

    def swap(self, how: str, number: int) -> tuple[bool, list[str]]:
        """What becomes of edited scene files, asked for on a page."""
        self._memory.typed(f"on the desk: swap {how}")
        fine, says = self._edits.offering.asked(how, number)
        return fine, [says]

    def _order(self, operation: str) -> None:
        if self._links is None:
            self._screen.remark(f"Nothing here has power to be switched: this is a dry run ({operation}).")
        else:
            self._links.order(operation)
