"""Which scenes could make light flash more than three times a second: a quick look at their lines, nothing is played.

Rather too many than too few: those that it names are then played to find out. Knows no traces and no words.
"""

from __future__ import annotations

from collections.abc import Iterable

from engine.flashes import MOST_A_SECOND, SECOND_US, small, worst_second
from engine.layout import Itself, Kind, Layout
from engine.lightness import luminance
from engine.program import (
    AsLongAs,
    Block,
    ByChance,
    Come,
    Fade,
    FirstOf,
    Flash,
    Flickers,
    ForEach,
    If,
    InOrder,
    Move,
    Order,
    Program,
    Pulse,
    Release,
    Repeat,
    RunScene,
    Scene,
    Shows,
    Statement,
    StopRepeating,
    Tell,
    Through,
    Together,
    Wait,
    WaitUntil,
    lines_of,
)

FEW_CHANGES = 4  # in a second: fewer are no flashes to speak of, beside lamps that flash by themselves
ROUNDS = 12  # of a loop: more than enough changes to tell
ROUNDS_US = 5 * SECOND_US // 2  # or so long
MOST_LINES = 5_000  # gone through in one scene, loops and scenes that it runs included; then playing it is quicker
CALLS = 5  # scenes run by scenes
FLICKERS = "flickers"  # marks a lamp that wavers by itself, in step with nobody
WAITS_US = SECOND_US  # a wait until something happens: nobody knows how long, and hardly ever less


def may_flash(program: Program) -> list[str]:
    """The scenes that could, by themselves, make more than three flashes within a second, and have not accepted it.

    What only happens when several scenes run at once is found by rehearsing them.
    """
    outputs = program.layout.outputs.values()
    lamps = [output for output in outputs if output.kind is Kind.LAMP and output.follows_lux is None]
    if small((lamp.lit_area_mm2 for lamp in lamps), program.layout.viewing_mm):
        return []  # whatever they do
    return [name for name, scene in program.scenes.items() if not scene.accepts_flashing and _quick(program, scene)]


def _quick(program: Program, scene: Scene) -> bool:
    blocks = (scene.block, scene.when_stopped or ())
    rate = _by_themselves(program.layout, [line for block in blocks for line in lines_of(block)])
    return any(rate + _by_lines(program, block) > MOST_A_SECOND for block in blocks)


# --- lamps that flash by themselves --------------------------------------------------------------------------------


def _by_themselves(layout: Layout, lines: Iterable[Statement]) -> float:
    """Flashes a second of all lamps that the lines set flashing, each at its fastest; lamps in step count once.

    Lamps that flicker are looked at one by one. What several of them make together is found by rehearsing: it is rare,
    and a check that plays every evening with two fires in it would find next to nothing.
    """
    fastest: dict[str, tuple[float, object]] = {}
    for line in lines:
        for name, order in line.orders if isinstance(line, Tell) else ():
            output = layout.outputs.get(name)
            if output is None or output.kind is not Kind.LAMP:
                continue
            rate, step = _rate(order), (line.place, getattr(order, "blink", None))
            if output.itself is Itself.FLASHES and output.itself_us:
                rate = max(rate, SECOND_US / output.itself_us)
            if rate > fastest.get(name, (0.0, None))[0]:
                fastest[name] = rate, FLICKERS if isinstance(order, Flickers) else step
    wavers = max((rate for rate, step in fastest.values() if step is FLICKERS), default=0.0)
    return max(wavers, sum({step: rate for rate, step in fastest.values() if step is not FLICKERS}.values()))


def _rate(order: Order) -> float:
    match order:
        case Flash(blink):
            return SECOND_US * blink.cycles / blink.cycle_us
        case Shows(script):
            turns = [
                turn * script.length_us + end for turn in range(_turns(script.length_us)) for end in script.ends_us
            ]
            return worst_second(turns)[0] / 2
        case Flickers(manner, low, high):
            return manner.flashes_in(SECOND_US, lambda level: luminance(low + (high - low) * level))
    return 0.0


def _turns(length_us: int) -> int:
    return min(ROUNDS, SECOND_US // length_us + 2)


# --- lamps that lines turn on and off ------------------------------------------------------------------------------


def _by_lines(program: Program, block: Block) -> float:
    """Flashes a second that the lines themselves make when they go as quickly as they can."""
    pace = _Pace(program)
    pace.block(block, 0)
    if pace.lines > MOST_LINES:
        return MOST_LINES
    changes = worst_second(sorted(set(pace.changes)))[0]
    return changes / 2 if changes >= FEW_CHANGES else 0.0


class _Pace:
    """Goes through lines at their quickest, and notes when the light of lamps changes."""

    def __init__(self, program: Program) -> None:
        self.changes: list[int] = []
        self.lines = 0
        self._program = program
        self._outputs = program.layout.outputs
        self._calls = 0

    def block(self, lines: Block, at_us: int) -> int:
        """When the lines have run, if they begin then."""
        for line in lines:
            self.lines += 1
            if isinstance(line, StopRepeating) or self.lines > MOST_LINES:
                break
            at_us = self._line(line, at_us)
        return at_us

    def _line(self, line: Statement, at_us: int) -> int:
        match line:
            case Tell():
                return self._tell(line, at_us)
            case Fade():
                return self._fade(line, at_us)
            case Wait(_, low_us):
                return at_us + low_us
            case Through(_, _, over_us) | Pulse(_, _, over_us):
                return at_us + over_us
            case Move(_, targets, over_us):
                own = (self._outputs[name] for name, _ in targets)
                return at_us + (over_us if over_us is not None else max(one.itself_us or one.travel_us for one in own))
            case Release(_, outputs):
                self._change(outputs, at_us)
            case WaitUntil(_, _, at_most_us, otherwise):
                return self.block(otherwise, at_us + min(WAITS_US, at_most_us or WAITS_US))
            case RunScene(_, scene, waits):
                after_us = self._called(scene, at_us)
                return after_us if waits else at_us
            case Repeat():
                return self._repeat(line, at_us)
            case _:
                return self._inside(line, at_us)
        return at_us

    def _inside(self, line: Statement, at_us: int) -> int:
        """Lines that hold blocks; those of which only one runs are all looked at, and the quickest counts."""
        match line:
            case Together(_, branches):
                return max((self.block(branch, at_us) for branch in branches), default=at_us)
            case FirstOf(_, branches):
                return min((self.block(branch, at_us) for branch in branches), default=at_us)
            case InOrder(_, block):
                return self.block(block, at_us)
            case AsLongAs(_, _, block, otherwise):
                self.block(otherwise, at_us)
                return self.block(block, at_us)
            case If(_, _, block, otherwise):
                return min(self.block(block, at_us), self.block(otherwise, at_us))
            case ByChance(_, shares):
                return min((self.block(block, at_us) for _, block in shares), default=at_us)
            case ForEach(_, members, apart_us):
                ends = [at_us]
                for number, member in enumerate(members):
                    start_us = ends[-1] if apart_us is None else at_us + number * apart_us[0]
                    ends.append(self.block(member.block, start_us))
                return max(ends)
        return at_us

    def _repeat(self, line: Repeat, at_us: int) -> int:
        start_us = at_us
        for _ in range(min(ROUNDS, line.times if line.times is not None else ROUNDS)):
            at_us = self.block(line.block, at_us)
            if at_us - start_us >= ROUNDS_US or self.lines > MOST_LINES:
                break
        return at_us

    def _called(self, scene: str, at_us: int) -> int:
        if self._calls >= CALLS or scene not in self._program.scenes:
            return at_us
        self._calls += 1
        at_us = self.block(self._program.scenes[scene].block, at_us)
        self._calls -= 1
        return at_us

    def _tell(self, line: Tell, at_us: int) -> int:
        lamps = [name for name, order in line.orders if not isinstance(order, Flash | Flickers | Shows)]
        ends = [at_us + (line.for_us or 0)]
        self._change(lamps, at_us)
        for name, order in line.orders:
            if isinstance(order, Come) and order.script is not None:
                for end_us in order.script.ends_us:
                    self._change((name,), at_us + end_us)
        if line.for_us:
            self._change(lamps, ends[0])
        return ends[0]

    def _fade(self, line: Fade, at_us: int) -> int:
        """A fade is one change; one like a lamp that flickers as it comes on may be any number when it is short."""
        names = [name for name, _ in line.targets]
        if line.over_us < SECOND_US:
            self._change(names, at_us)
        if line.like is not None and line.over_us < 4 * SECOND_US:
            for number in range(1, 2 * FEW_CHANGES):
                self._change(names, at_us + number * min(line.over_us, SECOND_US) // (2 * FEW_CHANGES))
        return at_us + line.over_us

    def _change(self, names: Iterable[str], at_us: int) -> None:
        if any(name in self._outputs and self._outputs[name].kind is Kind.LAMP for name in names):
            self.changes.append(at_us)
