"""`fit into 8 s`: the waits, moves and fades of a closing squeezed by one factor, none below its floor.

Knows which lines may be squeezed and how far; how long a closing takes is reckoned in `scenes.closing`. What is
squeezed is written into the program, so that the check, a rehearsal and the show are told the same times.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

from engine.layout import Layout, Place
from engine.program import (
    Block,
    Fade,
    Move,
    Scene,
    Statement,
    Wait,
)
from scenes.check_motion import honest_us
from scenes.closing import Closing, reckon
from scenes.lowering import lowered, way_down
from scenes.names import NO_DOUBTS, Names
from scenes.problems import Problem
from scenes.quantities import say_s
from scenes.walking import walk, whole, with_lines

LEAST_PART = 3  # a line without `never under` keeps at least a third of what is written
NICE_US = 100_000  # a time is proposed in tenths of a second, never too short
MOST_NAMED = 6  # lines that a message names
_FINE = 1 << 50  # one factor for all lines, in so many steps: far finer than a microsecond of a month


class Span(NamedTuple):
    """A line that may be squeezed: its time as written, and the least that it may be given."""

    line: Wait | Fade | Move
    written_us: int
    floor_us: int


# --- one factor for all --------------------------------------------------------------------------------------------


def shared(
    spans: Sequence[tuple[int, int]], into_us: int, takes_us: Callable[[Sequence[int]], int]
) -> list[int] | None:
    """Times for all spans (written, floor), so that the whole takes `into_us`; None if it cannot, whatever they are.

    Each span gets the same part of what is written, or its floor if that is more. `takes_us` says how long the whole
    takes with given times; it may not fall when one of them grows. The whole comes out exactly, unless a time counts
    in it several times over; it is never longer.
    """

    def times(factor: int) -> list[int]:
        return [max(floor, written * factor // _FINE) for written, floor in spans]

    if takes_us(times(0)) > into_us:
        return None
    if takes_us(times(_FINE)) <= into_us:
        return times(_FINE)
    low, high = 0, _FINE  # with the one factor it fits, with the other it does not
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if takes_us(times(middle)) <= into_us else (low, middle)
    less, more = times(low), times(high)
    fits, over = 0, len(spans)  # so many lines have one microsecond more: the last ones, line after line
    while over - fits > 1:
        middle = (fits + over) // 2
        fits, over = (middle, over) if takes_us([*more[:middle], *less[middle:]]) <= into_us else (fits, middle)
    return [*more[:fits], *less[fits:]]


# --- which lines, and how far --------------------------------------------------------------------------------------


def spans(way: Block, layout: Layout) -> list[Span]:
    """The lines of a way that may be squeezed, in the order written."""
    found = []
    for line in walk(way):
        if isinstance(line, Wait | Fade | Move) and (us := line.written_us or _us(line)):
            found.append(Span(line, us, floor_us(line, us, layout)))
    return found


def _us(line: Wait | Fade | Move) -> int | None:
    """The time that a line has now; of a drawn time the longer one. None for a move that its board paces."""
    return line.high_us if isinstance(line, Wait) else line.over_us


def floor_us(line: Wait | Fade | Move, written_us: int, layout: Layout) -> int:
    """The least that a line may be given: what it says itself, or a third; for a move also what its servo needs."""
    if line.never_under_us is not None:
        if isinstance(line, Wait) and line.low_us:  # what is said holds for the shorter end of a drawn time
            return -(-line.never_under_us * line.high_us // line.low_us)
        return line.never_under_us
    third_us = -(-written_us // LEAST_PART)
    if not isinstance(line, Move):
        return third_us
    servos = [layout.outputs[name] for name, _ in line.targets]
    return min(written_us, max(third_us, honest_us(line, servos)))


def barriers_of(scene: Scene, layout: Layout) -> set[str]:
    """The barriers of all crossings that the lines of a scene lower."""
    every = {
        name for crossing in layout.crossings.values() for name in crossing.entrance_barriers + crossing.exit_barriers
    }
    return lowered(scene.block, layout, every)


def least(scene: Scene, layout: Layout, barriers: set[str]) -> Closing:
    """The closing of a scene with every line at its floor."""
    way = way_down(scene.block, layout, barriers)
    return reckon(way, layout, barriers, {id(one.line): one.floor_us for one in spans(way, layout)})


# --- the scenes of a program ---------------------------------------------------------------------------------------


class Fitting:
    """Squeezes the scenes that say `fit into`, and knows the lines with `never under` that nothing squeezes."""

    def __init__(self, names: Names) -> None:
        self.names = names
        self.may: set[Place] = set()  # lines with `never under` that some scene may squeeze
        self.idlers: dict[Place, Problem] = {}

    def scene(self, scene: Scene, head: Place | None) -> Scene:
        """The scene with its closing squeezed, if it says so and that can be done; all that is wrong is reported."""
        limited = [line for line in walk(*whole(scene)) if getattr(line, "never_under_us", None) is not None]
        if head is None or scene.fits_us is None:
            for line in limited:
                self._idle(line, f"`{scene.name}` has no `fit into`", "Write `fit into 8 s` at the head of the scene")
            return scene
        if self._in_doubt():
            self.may.update(line.place for line in limited)
            return scene
        barriers = barriers_of(scene, self.names.layout)
        if not barriers:
            self.may.update(line.place for line in limited)
            what = f"`fit into` is for the closing of a crossing, and `{scene.name}` lowers no barrier of one"
            instead = "move its barriers to lowered in this scene, and name them under `crossing` in the layout file"
            self.names.report(head, what, instead)
            return scene
        way = way_down(scene.block, self.names.layout, barriers)
        found = spans(way, self.names.layout)
        self.may.update(one.line.place for one in found)
        for line in limited:
            self._idle(line, f"it does not come before the last barrier of `{scene.name}` is down")
        return self._squeezed(scene, head, way, barriers, found)

    def _in_doubt(self) -> bool:
        """Whether something could not be read: what is missing here may be just that."""
        names = self.names
        return names.doubts != NO_DOUBTS or names.something_broken or any(not one.advice for one in names.problems)

    def _squeezed(self, scene: Scene, head: Place, way: Block, barriers: set[str], found: list[Span]) -> Scene:
        layout, into_us = self.names.layout, scene.fits_us or 0

        def at(times: Sequence[int]) -> Closing:
            named = zip(found, times, strict=True)
            return reckon(way, layout, barriers, {id(one.line): us for one, us in named})

        written = at([one.written_us for one in found])
        for line in written.unknown:
            what = "how long this takes is not known beforehand, so `fit into` counts it as no time"
            instead = "allow for it; of `wait until ..., at most 2 s` those 2 s are counted"
            self.names.report(line.place, what, instead, advice=True)
        if written.down.at_us <= into_us:
            what = f"nothing is squeezed: the last barrier is down after {say_s(written.down.at_us)} as it is written"
            self.names.report(head, what, "leave `fit into` out, or write a shorter time", advice=True)
            return scene
        times = shared([one[1:] for one in found], into_us, lambda us: at(us).down.at_us)
        if times is None:
            self.names.problems.append(_too_much(head, into_us, at([one.floor_us for one in found]), found))
            return scene
        made = {id(one.line): _given(one, us) for one, us in zip(found, times, strict=True)}
        return replace(scene, block=with_lines(scene.block, made))

    def _idle(self, line: Statement, why: str, instead: str = "") -> None:
        what = f"Nothing squeezes this line: {why}."
        instead = f"{instead}, or leave `never under` out." if instead else "Leave `never under` out."
        self.idlers.setdefault(line.place, Problem(line.place, what, instead, advice=True))

    def idle(self) -> None:
        """Advice for lines with `never under` that no scene squeezes."""
        if self._in_doubt():
            return
        self.names.problems += [problem for place, problem in self.idlers.items() if place not in self.may]


def _too_much(head: Place, into_us: int, closing: Closing, found: list[Span]) -> Problem:
    """The error for a closing that does not fit even with every line at its floor."""
    least_us = closing.down.at_us
    floors = {id(one.line): one for one in found}
    steps = sorted(closing.down.steps(), key=lambda step: -step.takes_us)[:MOST_NAMED]
    also = tuple((step.line.place, _held_up(floors.get(id(step.line)), step.takes_us)) for step in steps)
    what = f"This closing does not fit into {say_s(into_us)}: it takes {say_s(least_us)} at the least."
    nice = say_s(-(-least_us // NICE_US) * NICE_US)
    instead = f"Write `fit into {nice}` or longer, or let these lines be shorter."
    return Problem(head, what, instead, also=also)


def _held_up(span: Span | None, takes_us: int) -> str:
    if span is None:
        return f"takes {say_s(takes_us)}, which is never squeezed"
    if span.line.never_under_us is not None:
        return f"takes {say_s(takes_us)}, as its `never under` asks"
    if isinstance(span.line, Move) and span.floor_us > -(-span.written_us // LEAST_PART):
        return f"takes {say_s(takes_us)}, as long as its servo needs to go so"
    return f"takes {say_s(takes_us)}, a third of what is written"


def _given(span: Span, us: int) -> Statement:
    """The line with its squeezed time."""
    if us == span.written_us:
        return span.line
    if not isinstance(span.line, Wait):
        return span.line._replace(over_us=us, written_us=span.written_us)
    low_us = max(span.line.never_under_us or 0, span.line.low_us * us // span.written_us)
    return span.line._replace(low_us=low_us, high_us=us, written_us=span.written_us)
