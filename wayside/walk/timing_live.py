"""A train timed live: the watch with its links, a person at the keyboard, and the loop that joins them."""

from __future__ import annotations

import asyncio
import signal
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from textwrap import wrap

from engine.layout import Link
from wayside.project import Project
from wayside.terminal import finish, say
from wayside.typed_lines import ENDED, TypedLines
from wayside.walk.links import LinkHand
from wayside.walk.listening import state_of
from wayside.walk.timing import Watch

WIDE = 100
LOOKS_EVERY_S = 0.05
KEEP = "Keep these seconds in the layout file? Type yes, or anything else:"


class LiveTiming:
    """The watch with its links and a person at the keyboard."""

    def __init__(self, project: Project, watch: Watch, links: Sequence[Link], means: Callable[[], object]) -> None:
        self._project, self._watch, self._links, self._means = project, watch, links, means
        self._began_ns = time.monotonic_ns()
        self._left = False
        self._agreed: bool | None = None  # whether the seconds are to be kept; None: nobody has said
        self._said = ""
        self._changed = asyncio.Event()

    def _now_us(self) -> int:
        return (time.monotonic_ns() - self._began_ns) // 1_000

    def perform(self, asks: bool) -> bool | None:
        """Whether the seconds are to be kept, if that is asked; None where nothing was timed."""
        return asyncio.run(self._run(asks))

    async def _run(self, asks: bool) -> bool | None:
        loop = asyncio.get_running_loop()
        with suppress(NotImplementedError):
            loop.add_signal_handler(signal.SIGINT, self._leave)
        target = self._watch.target
        say(f"{self._project.name}, {target.track}: from {target.begin} to {target.end}.")
        say("Take the fastest train that will run there, and let it come.")
        if self._links:
            how = "The detectors time it; Enter does, too, as the nose passes."
        else:
            how = f"Press Enter as its nose comes upon {target.begin}, and again as it reaches {target.end}."
        self._tell(f"{how} quit leaves.")
        TypedLines(self._typed, self._now_us).start()
        hand = LinkHand(self._project.layout, self._links, self._now_us, lambda: self._heard(loop))
        hand.start()
        try:
            while self._watch.took_us is None and not self._left:
                self._listen(hand)
                await self._next()
        finally:
            hand.stop()
        if self._watch.took_us is None:
            return None
        self._means()
        if asks:
            await self._ask()
        return bool(self._agreed)

    async def _next(self) -> None:
        with suppress(TimeoutError):
            await asyncio.wait_for(self._changed.wait(), LOOKS_EVERY_S)
        self._changed.clear()

    async def _ask(self) -> None:
        """The next line that is typed is the answer; the thread that reads the keyboard has it."""
        if sys.stdin is None or not sys.stdin.isatty():
            return
        self._tell(KEEP)
        while self._agreed is None and not self._left:
            await self._next()

    def _heard(self, loop: asyncio.AbstractEventLoop) -> None:
        with suppress(RuntimeError):  # it is over
            loop.call_soon_threadsafe(self._changed.set)

    def _listen(self, hand: LinkHand) -> None:
        now_us = self._now_us()
        for event in hand.take():
            name, state = state_of(event)
            self._tell(self._watch.hear(name, state, now_us))
        how = "; ".join(hand.lines())
        if how != self._said:
            self._said = how
            self._tell(how)

    def _typed(self, line: str, at_us: int) -> None:
        words = line.lower().split()
        target = self._watch.target
        if self._watch.took_us is not None and line != ENDED:
            self._agreed = words[:1] in (["yes"], ["y"])
        elif line == ENDED or words in (["quit"], ["end"], ["exit"]):
            self._left = True
        elif not words:
            self._tell(self._watch.press(at_us))
        elif words[0] in (target.begin, target.end) and words[1:] in ([], ["occupied"], ["clear"]) and not self._links:
            state = (words[1:] or ["occupied"])[0]
            self._tell(self._watch.hear(words[0], state, at_us))
        else:
            self._tell(f"Press Enter as the nose passes, or type quit{'' if self._links else f', or {target.begin}'}.")
        self._changed.set()

    def _leave(self) -> None:
        self._left = True
        self._changed.set()

    def _tell(self, text: str) -> None:
        for line in wrap(text, WIDE, break_long_words=False, break_on_hyphens=False):
            say(line)
        finish()
