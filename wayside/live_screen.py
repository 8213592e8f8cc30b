"""Where a show is seen: lines as they happen, or one screen that is drawn anew. Knows no link and no signal."""

from __future__ import annotations

import sys
from collections import deque
from collections.abc import Callable, Iterable

from engine.trace import Record
from wayside import live_view, terminal
from wayside import trace_words as words
from wayside.live_words import Teller
from wayside.project import Project
from wayside.showing import Show
from wayside.terminal import say

EVENTS = 8  # the last of them, below the outputs


class Screen:
    """Where a show is seen: lines as they happen, or one screen that is drawn anew."""

    def __init__(self, project: Project, plain: bool) -> None:
        self.plain = plain
        self._teller = Teller(project.program)
        self._events: deque[str] = deque(maxlen=EVENTS)
        self._height = 0
        self.links: Callable[[], Iterable[str]] = tuple

    def record(self, record: Record) -> None:
        sentence = self._teller.sentence(record)
        if sentence:
            self.remark(f"{words.clock(record.at_us):>8}  {sentence}")

    def remark(self, text: str) -> None:
        """Something to read: at once, or in the next drawing."""
        if self.plain:
            say(text)
            sys.stdout.flush()
        else:
            self._events.extend(text.splitlines())

    def draw(self, show: Show) -> None:
        """The whole screen again; what is being typed at its foot stays."""
        if self.plain:
            return
        lines = live_view.lines(show.kernel, show.now_us, show.late_us, self._events, self.links())
        width = terminal.width()
        text = "".join(f"{line[:width]}\x1b[K\n" for line in lines)
        first = self._height != len(lines)
        self._height = len(lines)
        # the cursor is kept where the person types, and that line moves only when the screen grows or shrinks
        foot = f"\x1b[J\x1b[{len(lines) + 1};1H> " if first else "\x1b8"
        sys.stdout.write(f"\x1b7\x1b[H{text}{foot}")
        sys.stdout.flush()
