"""What starts scenes by itself: conditions, changes, times of day, intervals and buttons."""

from __future__ import annotations

from typing import TYPE_CHECKING

from engine.conditions import Becomes, Sort, Term
from engine.program import AtTime, EachTime, Every, Head, Level, OnButton, OnlyWhile, Scene, Whenever
from engine.queue import GUARD
from engine.stage import Alarm, Key
from engine.swapping import alike

if TYPE_CHECKING:
    from engine.kernel import Kernel


def term_of(head: Head) -> Term | None:
    """What a head asks; None for one that goes by a clock or a button."""
    return asked_by(head) if isinstance(head, Whenever | OnlyWhile | EachTime) else None


def asked_by(head: Whenever | OnlyWhile | EachTime) -> Term:
    """What a head asks."""
    term = head.condition.term
    return Becomes(term) if isinstance(head, EachTime) and not isinstance(term, Becomes) else term


class ConditionHead:
    """`runs whenever`, `runs only while`, `starts each time`: looks when its condition or its scene changes."""

    def __init__(self, kernel: Kernel, scene: Scene, head: Whenever | OnlyWhile | EachTime) -> None:
        self.kernel = kernel
        self.name = scene.name
        self.head = head
        self.term = asked_by(head)
        kernel.truth.question(self.term)  # its memory begins with the first instant
        self.keys: tuple[Key, ...] = () if isinstance(head, EachTime) else ((Sort.SCENE, scene.name),)

    def look(self, holds: bool) -> None:
        cast, name = self.kernel.cast, self.name
        words = self.head.condition.words
        if isinstance(self.head, EachTime):
            if holds:
                cast.start(name, f"{words} became true", self.head.place)
            return
        run = cast.runs.get(name)
        if not holds:
            cast.latched.discard(name)
            if run is not None and not run.stopping and isinstance(self.head, OnlyWhile):
                cast.stop(name, f"{words} no longer holds", self.head.place, latch=False)
        elif run is None and name not in cast.latched and not self.kernel.swapping.holds(name):
            cast.start(name, words, self.head.place)


class TimedHead:
    """`starts at`, `starts every`, `starts on button`: an alarm of its own."""

    def __init__(self, kernel: Kernel, scene: Scene, head: AtTime | Every | OnButton) -> None:
        self.kernel = kernel
        self.name = scene.name
        self.head = head
        self.alarm = Alarm(self)
        self.ready_at = 0  # a button's "not again for" is over from this instant
        if isinstance(head, OnButton):
            self._ready_lamp(True)
        else:
            self._set_alarm()

    def retire(self) -> None:
        """Its scene has it no more."""
        self.alarm.timer = 0
        if isinstance(self.head, OnButton):
            self._ready_lamp(False)

    def tell_ready(self) -> None:
        """Light its button's ready lamp again, if it is ready: another head of the same button has gone."""
        if isinstance(self.head, OnButton):
            self._ready_lamp(self.kernel.stage.now_us >= self.ready_at)

    def _set_alarm(self) -> None:
        kernel, head = self.kernel, self.head
        now_us = kernel.stage.now_us
        if isinstance(head, Every):
            due = now_us + head.every_us
        else:
            assert isinstance(head, AtTime)
            wait = kernel.until_time(head.second_of_day, head.layout_time)
            if wait is None:
                self.alarm.timer = 0
                return
            due = now_us + wait
        kernel.queue.push(due, GUARD, self.alarm)

    def clock_was_set(self) -> None:
        """The layout clock has been set, stopped, or goes on."""
        if isinstance(self.head, AtTime) and self.head.layout_time:
            self._set_alarm()

    def ring(self) -> None:
        if isinstance(self.head, OnButton):
            self._ready_lamp(True)
            return
        if not self.kernel.quiet:
            self.kernel.cast.start(self.name, "it is time", self.head.place)
        self._set_alarm()

    def press(self) -> None:
        head, kernel = self.head, self.kernel
        assert isinstance(head, OnButton)
        now_us = kernel.stage.now_us
        if now_us < self.ready_at:
            return
        kernel.cast.start(self.name, f"{head.button} was pressed", head.place)
        if head.not_again_us:
            self.ready_at = now_us + head.not_again_us
            self._ready_lamp(False)
            kernel.queue.push(self.ready_at, GUARD, self.alarm)

    def _ready_lamp(self, ready: bool) -> None:
        head = self.head
        assert isinstance(head, OnButton)
        button = self.kernel.program.layout.buttons.get(head.button)
        if button is not None and button.ready_lamp is not None:
            self.kernel.order(None, button.ready_lamp, Level(1.0 if ready else 0.0), head.place, "ready")


Heads = tuple[list[ConditionHead], list[TimedHead]]


def make_heads(kernel: Kernel, before: Heads | None = None) -> Heads:
    """All heads of the program, in the order written. Of those `before` the ones that are alike go on as they are."""
    left: dict[str, list[ConditionHead | TimedHead]] = {}
    known: list[ConditionHead | TimedHead] = [*before[0], *before[1]] if before is not None else []
    for one in known:
        left.setdefault(one.name, []).append(one)
    scenes = kernel.program.scenes.values()
    heads = [(scene, head, _found(left.get(scene.name), head)) for scene in scenes for head in scene.heads]
    gone = [one for ones in left.values() for one in ones if isinstance(one, TimedHead)]
    for timed_head in gone:
        timed_head.retire()
    conditions: list[ConditionHead] = []
    timed: list[TimedHead] = []
    for scene, head, found in heads:
        if isinstance(head, Whenever | OnlyWhile | EachTime):
            conditions.append(found if isinstance(found, ConditionHead) else ConditionHead(kernel, scene, head))
        else:
            timed.append(found if isinstance(found, TimedHead) else TimedHead(kernel, scene, head))
            if gone:
                timed[-1].tell_ready()
    return conditions, timed


def _found(before: list[ConditionHead | TimedHead] | None, head: Head) -> ConditionHead | TimedHead | None:
    """One of the heads of before that does the same; it stands elsewhere now, perhaps."""
    for one in before or ():
        if alike(one.head, head):
            assert before is not None
            before.remove(one)
            one.head = head
            return one
    return None
