"""A walk in real time: its links, its page, a person at the keyboard, and how it is left. Owns the loop's turn."""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from engine.layout import Layout, Link
from wayside.terminal import say
from wayside.typed_lines import ENDED, TypedLines
from wayside.walk.links import DryHand, LinkHand, typed_input
from wayside.walk.report import summary
from wayside.walk.session import Session
from wayside.walk.terminal import Terminal
from wayside.wording import count

if TYPE_CHECKING:
    from wayside.walk.desk import WalkDesk

LOOKS_EVERY_S = 0.05
WAKES_WITHIN_US = 10_000_000  # a station; then the walk begins without it
TOLD_WITHIN_US = 2_000_000  # the last that is to be told, when a walk is left


class Performance:
    """A walk with a person at the keyboard, and perhaps others at pages."""

    session: Session
    hand: DryHand | LinkHand

    def __init__(self) -> None:
        self.desk: WalkDesk | None = None
        self._began_ns = time.monotonic_ns()
        self._left = self._stopped = False
        self._touched = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    def now_us(self) -> int:
        return (time.monotonic_ns() - self._began_ns) // 1_000

    def linked(self, layout: Layout, links: Sequence[Link]) -> LinkHand:
        """The hand that works these links."""
        made = self.hand = LinkHand(layout, links, self.now_us, self._heard)
        return made

    def perform(self) -> bool:
        """Walk until it is left; whether by Ctrl-C."""
        return asyncio.run(self._run())

    async def _run(self) -> bool:
        self._loop = asyncio.get_running_loop()
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            with suppress(NotImplementedError, AttributeError):
                self._loop.add_signal_handler(getattr(signal, name), self._break_off)
        self._terminal = Terminal(self.session)
        if isinstance(self.hand, LinkHand):
            self.hand.start()
            await self._links_up(self.hand)
        if self.desk is not None:
            self.desk.start(self.now_us)
        TypedLines(self._typed, self.now_us).start()
        try:
            await self._walk()
            await self._go_home()
        finally:
            if self.desk is not None:
                self.desk.stop()
            if isinstance(self.hand, LinkHand):
                self.hand.stop()
        self._farewell()
        return self._stopped

    async def _links_up(self, hand: LinkHand) -> None:
        """Give the stations their time to wake, so that nobody is asked what cannot be done yet."""
        while not hand.settled and self.now_us() < WAKES_WITHIN_US and not self._left:
            await asyncio.sleep(LOOKS_EVERY_S)

    async def _walk(self) -> None:
        while not self._left:
            self.session.look()
            self._terminal.look()
            if self.desk is not None:
                self.desk.look()
            with suppress(TimeoutError):
                await asyncio.wait_for(self._touched.wait(), LOOKS_EVERY_S)
            self._touched.clear()

    async def _go_home(self) -> None:
        """What was shown goes home, gently; after Ctrl-C it stays as it is."""
        until_us = self.now_us() if self._stopped else self.session.finish()
        while not self._stopped and self.now_us() < until_us:
            await asyncio.sleep(LOOKS_EVERY_S)
        if self._stopped:  # before that, or while it went
            self.session.still()
            until_us = self.now_us()
        while not (self.session.idle or self.now_us() > until_us + TOLD_WITHIN_US):
            await asyncio.sleep(LOOKS_EVERY_S)
        self.session.gone_home()

    def _farewell(self) -> None:
        report = self.session.report
        say(f"\n{report.name}: {summary(report)}")
        if report.faults:
            say(f"{count(len(report.faults), 'likely fault')}: `wayside walk FOLDER --report` tells them.")
        if report.open:
            say("The walk is kept: the same command goes on with it.")

    # --- from outside ----------------------------------------------------------------------------------------------

    def _heard(self) -> None:
        if self._loop is not None:
            with suppress(RuntimeError):  # the walk is over
                self._loop.call_soon_threadsafe(self._touched.set)

    def _break_off(self) -> None:
        self._left = self._stopped = True
        self._touched.set()

    def _typed(self, line: str, at_us: int) -> None:
        word = " ".join(line.split())
        lower = word.lower()
        if line == ENDED:
            self._left = self._left or self.desk is None
        elif lower in ("quit", "end", "exit"):
            self._left = True
        elif lower == "help":
            self._terminal.help()
        elif lower == "faults":
            self._terminal.faults()
        elif word and not self._by_hand(lower):
            done = self.session.do(word)
            self._terminal.tell(done.says, "      ")
        self._touched.set()

    def _by_hand(self, line: str) -> bool:
        """Detectors of a dry run, as they are typed in a dry show."""
        found = typed_input(line, self.session.layout)
        if found is None:
            return False
        if not isinstance(self.hand, DryHand):
            self._terminal.tell("Detectors are worked by their links: roll a wagon over it.", "      ")
            return True
        self.session.look([found])
        return True
