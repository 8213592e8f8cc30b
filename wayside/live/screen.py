"""Where a show is seen: lines as they happen, or one screen that is drawn anew. Knows no link and no signal."""

from __future__ import annotations

import errno
import shutil
import sys
from collections import deque
from collections.abc import Callable, Iterable

from engine.trace import Record
from wayside import terminal
from wayside.live import view as live_view
from wayside.live.rules import RuleTeller
from wayside.live.showing import Show
from wayside.live.words import Teller
from wayside.project import Project
from wayside.rehearsal import trace_words as words
from wayside.terminal import say
from wayside.usage import UsageProblem
from wayside.wording import wrapped

_HARMLESS = dict.fromkeys([*range(32), 127, *range(128, 160)], "?")  # would move the cursor or ring the bell
_NOBODY_THERE = (errno.EPIPE, errno.EIO, errno.ENXIO, errno.EINVAL)  # EINVAL: a closed pipe on Windows
WIDEST = 100  # columns of a line that is read
EVENTS = 40  # the last of them, below the outputs; those are shown that fit


class Screen:
    """Where a show is seen: lines as they happen, or one screen that is drawn anew."""

    marks: tuple[str, ...] = ()  # lines that always stand there
    held = False  # nothing is drawn before a line has been typed: what stands there is still to be read

    def __init__(self, project: Project, plain: bool) -> None:
        self.plain = plain
        self._teller = Teller(project.program)
        self.rules = RuleTeller(project.program, project.lines, self.remark)
        self._events: deque[str] = deque(maxlen=EVENTS)
        self.left_alone = False  # whether the terminal has been closed, or nobody reads on
        self._mute = False
        self._foot = 0  # the row in which a person types; 0: not drawn yet
        self.links: Callable[[], Iterable[str]] = tuple
        self.told: Callable[[str], None] = lambda _: None  # hears all that is said, too
        self.recorded: Callable[[Record], None] = lambda _: None  # and every record
        self.said: Callable[[str], None] = lambda text: None  # hears every remark

    def perform(self, project: Project) -> None:
        """Tell of these files from now on."""
        self._teller.perform(project.program)
        self.rules.perform(project.program, project.lines)

    def record(self, record: Record) -> None:
        self.rules.record(record)
        self.recorded(record)
        sentence = self._teller.sentence(record)
        if sentence:
            self.show(f"{words.clock(record.at_us):>8}  {sentence}")

    def remark(self, text: str) -> None:
        """Something to read that the trace does not tell."""
        self.said(text)
        self.show(text)

    def show(self, text: str) -> None:
        """A text: at once, or in the next drawing."""
        self.told(text)
        if self.plain:
            self._write(lambda: say(_folded(text) if sys.stdout.isatty() else text))
        else:
            self._events.extend(text.splitlines())

    def _write(self, write: Callable[[], object]) -> None:
        """Nobody may be there any more, or the disk be full: a show does not stop dead over what cannot be shown."""
        if self._mute:
            return
        try:
            write()
            sys.stdout.flush()
        except (OSError, UsageProblem) as problem:
            cause = problem.__cause__ if isinstance(problem, UsageProblem) else problem
            self.left_alone = isinstance(cause, OSError) and cause.errno in _NOBODY_THERE
            self._mute = True
            terminal.drop_output(sys.stdout, sys.stderr)

    def typed(self) -> None:
        """A line has been typed at the foot: that place is cleared for the next."""
        self._foot = 0
        self.held = False

    def draw(self, show: Show) -> None:
        """The whole screen again, as much as fits it; what is being typed at its foot stays."""
        if self.plain or self.held:
            return
        width, height = shutil.get_terminal_size()
        rows = max(1, height - 2)  # below it the line for typing, and one for the cursor when that line has ended
        marked = [*self.marks, *(f"link       {line}" for line in self.links()), *self.rules.standing()]
        lines = live_view.lines(show.kernel, show.now_us, show.late_us, self._events, marked, width, rows)
        lines += [""] * (rows - len(lines))
        text = "".join(f"{line[:width].translate(_HARMLESS)}\x1b[K\n" for line in lines)
        # the cursor is kept where the person types; that place stays the same until a line has been typed
        foot = "\x1b8" if self._foot == rows + 1 else f"\x1b[{rows + 1};1H\x1b[J> "
        self._foot = rows + 1
        self._write(lambda: sys.stdout.write(f"\x1b7\x1b[H{text}{foot}"))

    def close(self) -> None:
        """No drawing any more: what is still to be said is said below it."""
        if not self.plain and self._foot:
            self._write(lambda: sys.stdout.write(f"\x1b[{self._foot};1H\x1b[J"))
        self.plain = True


def _folded(text: str) -> str:
    """No line wider than the terminal, nor than is read with ease; what goes on stands under its beginning. A file or a
    pipe has one line for each thing, to be searched.
    """
    columns = min(WIDEST, terminal.width())
    lines = (one for line in text.splitlines() for one in (_fold(line, columns) if len(line) > columns else [line]))
    return "\n".join(lines)


def _fold(line: str, columns: int) -> list[str]:
    beginning = len(line) - len(line.lstrip())
    return wrapped(line, columns, rest=" " * min(beginning + 2, columns // 2))
