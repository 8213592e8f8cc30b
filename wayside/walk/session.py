"""A walk as one session: the walker with its links and its file, worked from the terminal and from pages alike.

Everything here is done in one thread. Draws nothing; whoever shows it looks at `walker` and `report`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from engine.events import Input
from engine.layout import Layout
from wayside.hall_time import now, said
from wayside.live import last_positions
from wayside.walk import keeping as walk_keeping
from wayside.walk.links import DryHand, LinkHand
from wayside.walk.listening import state_of
from wayside.walk.report import Report, report_of
from wayside.walk.signs import Walked, walked
from wayside.walk.stops import Round, Stop
from wayside.walk.time import WalkTime
from wayside.walk.walker import DONE, HANDS, SHOWS, Said, Walker

LEAVES_WITHIN_US = 20_000_000  # what goes home when a walk is left


class Session:
    """One walk of one layout. Its file is written after every answer."""

    def __init__(
        self,
        name: str,
        layout: Layout,
        layout_file: Path,
        walk: Round,
        stops: Sequence[Stop],
        kept: walk_keeping.Kept,
        hand: LinkHand | DryHand,
        now_us: Callable[[], int],
    ) -> None:
        self.name, self.layout, self.layout_file = name, layout, layout_file
        self.now_us = now_us
        self._hand = hand
        self._file = walk_keeping.file_for(layout_file)
        self._servos = last_positions.file_for(layout_file)
        self._positions, self.trouble = last_positions.read(self._servos, layout)
        # a show that was killed, or runs still, has not kept where they stand: they are taken to stand nowhere
        positions = {} if last_positions.killed(self._servos) else dict(self._positions)
        answers = dict(kept.answers)
        self.walker = Walker(layout, walk, hand, answers, stops, positions)
        self.walker.heard.update(kept.heard)
        self.time = WalkTime(layout_file)
        self._answered = dict(answers)
        self._others = {name: at for name, at in self._positions.items() if name not in positions}

    @property
    def report(self) -> Report:
        """What came of it so far."""
        return report_of(self.name, self.seen, self.walker.answers, said(now(self.layout).date()))

    @property
    def seen(self) -> Walked:
        """What was seen so far: quicker to have than what it means."""
        walker = self.walker
        return walked(self.layout, walker.round, walker.answers, walker.heard)

    def do(self, line: str) -> Said:
        """A word from the terminal or a page."""
        if self.time.watch is not None and line != "stop":
            return Said(False, "A train is being timed: leave that first. Nothing else moves meanwhile.")
        done = self.walker.do(line, self.now_us())
        self.keep()
        return done

    def begin_timing(self, stretch: str) -> Said:
        """Time a train; only while the walk moves nothing."""
        if self.walker.phase not in (HANDS, DONE):
            return Said(False, "Stop the walk first: while a train runs, nothing else is to move.")
        return self.time.begin(stretch)

    def look(self, heard: Sequence[Input] = ()) -> None:
        """Take in what was heard, and do what is due."""
        now_us = self.now_us()
        events = [*heard, *(self._hand.take() if isinstance(self._hand, LinkHand) else ())]
        for event in events:
            self.time.hear(*state_of(event), now_us)
        self.walker.hear(events, now_us)
        self.walker.tick(now_us)
        self.keep()

    def keep(self) -> None:
        """Write down what has changed. Where a servo stands is not known while it is being shown."""
        walker = self.walker
        if walker.answers != self._answered:
            self._answered = dict(walker.answers)
            self._note(walk_keeping.write(self._file, self.layout, walker.round, walker.answers, walker.heard))
        if isinstance(self._hand, DryHand):
            return
        moving = walker.stop.name if walker.stop is not None and walker.phase == SHOWS else walker.homing
        self._others = {name: at for name, at in self._others.items() if name not in (moving, *walker.positions)}
        known = self._others | {name: at for name, at in walker.positions.items() if name != moving}
        if known != self._positions:
            self._positions = known
            self._note(last_positions.write(self._servos, known))

    def _note(self, trouble: str) -> None:
        self.trouble = self.trouble or trouble

    def lines(self) -> list[str]:
        """How the links are."""
        return self._hand.lines() if isinstance(self._hand, LinkHand) else ["dry run: nothing is told, no port is open"]

    def finish(self) -> int:
        """The walk is left: what was shown goes home. When it is there."""
        return min(self.walker.finish(self.now_us()), self.now_us() + LEAVES_WITHIN_US)

    def still(self) -> None:
        """Everything stays as it is this instant."""
        self.walker.do("stop", self.now_us())

    def gone_home(self) -> None:
        """The end: where the servos stand is known, since what was on its way has been stopped there."""
        self.walker.homing = ""
        self.walker.phase = HANDS
        self.keep()

    @property
    def idle(self) -> bool:
        return not isinstance(self._hand, LinkHand) or self._hand.idle


def chosen(walk: Round, kept: walk_keeping.Kept, only: Sequence[str], again: bool, layout: Layout) -> list[Stop]:
    """The stops of this walk: those that are asked for by name, else those that are open, and on request those that
    were not right."""
    if only:
        return [stop for stop in walk.stops if {stop.name, stop.board, stop.link} & set(only)]
    signs = walked(layout, walk, kept.answers).signs
    return [stop for stop in walk.stops if (sign := signs.get(stop.name)) is None or (again and sign.word != "yes")]


def names_of(walk: Round) -> list[str]:
    """What can be walked by name: stops, boards and links."""
    found = [name for stop in walk.stops for name in (stop.name, stop.board, stop.link) if name]
    return list(dict.fromkeys(found))
