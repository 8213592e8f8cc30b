"""`wayside run`: a show in real time, on the layout's links or, with --dry-run, on nothing at all."""

from __future__ import annotations

import argparse
import asyncio
import signal
import sys
import threading
from collections import deque
from contextlib import suppress

from engine.trace import Record
from wayside import live_view, terminal, wording
from wayside import trace_words as words
from wayside.command_check import counted, given_paths, paragraphs, without
from wayside.hands import understood
from wayside.live_words import Teller
from wayside.progress import watched
from wayside.project import Project, load
from wayside.showing import Show
from wayside.terminal import say
from wayside.usage import FINE, INTERRUPTED, PROBLEMS, UsageProblem

DESCRIPTION = """\
Performs a layout's scenes in real time. With --dry-run no hardware is touched: detectors are worked by hand, with
lines that you type. Ctrl-C ends every scene through its `when stopped` and leaves the layout safe; a second Ctrl-C
within a second ends at once.
"""

EXAMPLES = """\
example:

  wayside run examples/pellbrook-quay --dry-run --from 17:44

    up-approach occupied      a train is coming: the lane closes to the road
    up-approach clear
    press evening-button      the lamplighter sets out

exit status: 0 the show was ended, 1 the scenes have errors, 2 wrong usage or a file that cannot be read,
130 ended at once by a second Ctrl-C
"""

REDRAWN_EVERY_S = 0.5
AT_ONCE_WITHIN_S = 1.0  # a second Ctrl-C within this time ends without waiting
EVENTS = 8  # the last of them, below the outputs


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser.add_argument("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or its files")
    parser.add_argument("--dry-run", action="store_true", help="touch no hardware: everything is worked by hand")
    parser.add_argument(
        "--from", dest="from_", metavar="17:40", action=Once, help="the layout clock's time to begin at"
    )
    parser.add_argument("--seed", metavar="N", action=Once, help="for random draws (default 0)")
    parser.add_argument("--plain", action="store_true", help="a line for each thing that happens, on a terminal, too")


def run(options: argparse.Namespace) -> int:
    seed = 0 if options.seed is None else wording.read_whole_number(options.seed, "--seed")
    from_s = None if options.from_ is None else wording.read_time_of_day(options.from_, "--from")
    project = load(given_paths(options.paths, "run"), watched=watched)
    if project.errors:
        for paragraph in paragraphs(project.errors, project.lines):
            say(paragraph)
        say(f"{project.name}: {counted(project)}; nothing was performed. Put the errors right first.{without(project)}")
        return PROBLEMS
    if not options.dry_run:
        raise UsageProblem("No link is driven yet. Write --dry-run to see the show with no hardware.")
    screen = Screen(project, plain=options.plain or not (sys.stdout.isatty() and sys.stdin.isatty()))
    show = Show(project.program, screen.record, seed=seed, starts_s=from_s, known=True)
    return asyncio.run(Performance(project, show, screen).run())


class Screen:
    """Where a show is seen: lines as they happen, or one screen that is drawn anew."""

    def __init__(self, project: Project, plain: bool) -> None:
        self.plain = plain
        self._teller = Teller(project.program)
        self._events: deque[str] = deque(maxlen=EVENTS)
        self._height = 0

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
        lines = live_view.lines(show.kernel, show.now_us, show.late_us, self._events, ())
        width = terminal.width()
        text = "".join(f"{line[:width]}\x1b[K\n" for line in lines)
        first = self._height != len(lines)
        self._height = len(lines)
        # the cursor is kept where the person types, and that line moves only when the screen grows or shrinks
        foot = f"\x1b[J\x1b[{len(lines) + 1};1H> " if first else "\x1b8"
        sys.stdout.write(f"\x1b7\x1b[H{text}{foot}")
        sys.stdout.flush()


class Performance:
    """A show with a person at it: typed lines, Ctrl-C, a terminal that is closed."""

    def __init__(self, project: Project, show: Show, screen: Screen) -> None:
        self._project = project
        self._show = show
        self._screen = screen
        self._asked_at: float | None = None
        self._at_once = False

    async def run(self) -> int:
        loop = asyncio.get_running_loop()
        self._catch_signals(loop)
        self._screen.remark(f"{self._project.name}: the show begins. Type what your hands do; `help` says how.")
        threading.Thread(target=self._read, args=(loop,), daemon=True).start()
        task = asyncio.ensure_future(self._show.perform())
        while not task.done() and not self._at_once:
            self._screen.draw(self._show)
            await asyncio.wait([task], timeout=REDRAWN_EVERY_S)
        if self._at_once:
            task.cancel()
            say(f"{self._project.name}: ended at once. Nothing was brought to its safe state.")
            return INTERRUPTED
        await task
        say(f"{self._project.name}: the show has ended, guarded outputs are in their safe state.")
        return FINE

    def _catch_signals(self, loop: asyncio.AbstractEventLoop) -> None:
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is None:
                continue
            try:
                loop.add_signal_handler(number, self._asked, loop)
            except NotImplementedError:  # where the loop has no signals
                signal.signal(number, lambda *_: loop.call_soon_threadsafe(self._asked, loop))

    def _asked(self, loop: asyncio.AbstractEventLoop) -> None:
        """The end was asked for: once in good order, twice within a second at once."""
        before, self._asked_at = self._asked_at, loop.time()
        if before is not None and self._asked_at - before <= AT_ONCE_WITHIN_S:
            self._at_once = True
        elif before is None:
            self._screen.remark("Ending: scenes are stopped, then guarded outputs are made safe. Again to end at once.")
            self._show.close()

    def _read(self, loop: asyncio.AbstractEventLoop) -> None:
        """In a thread of its own: a terminal's line is read by waiting for it. Nothing more to read ends nothing."""
        with suppress(ValueError, OSError, RuntimeError):  # the show ended while we waited
            for line in sys.stdin:
                loop.call_soon_threadsafe(self._typed, line, loop)

    def _typed(self, line: str, loop: asyncio.AbstractEventLoop) -> None:
        answer = understood(line, self._project.program)
        if answer.says:
            self._screen.remark(answer.says)
        if answer.inputs:
            self._show.inputs.put(*answer.inputs)
        if answer.ends:
            self._asked(loop)
