"""Running blocks: one object for each block or branch under way, none for a line that takes no time.

A block says how it stands: DONE, PENDING (it sleeps) or LEFT (a `stop repeating` is on its way to its loop). The
kernel carries DONE and LEFT upwards, so nothing here calls its parent, and no chain of reactions grows the stack.
What a block began is kept with it: when it has run out it passes to the block around it, when it is dropped it ends.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from engine import program as p
from engine.layout import Place
from engine.queue import LINE
from engine.stage import own_time, ramp, share
from engine.waves import Wave

if TYPE_CHECKING:
    from engine.kernel import Kernel
    from engine.performance import Run

LOOP_LIMIT = 10_000  # rounds of one loop in one instant; a loop that goes round more often is cut and reported


class Status(Enum):
    DONE = 0
    PENDING = 1
    LEFT = 2


DONE, PENDING, LEFT = Status.DONE, Status.PENDING, Status.LEFT


class Block:
    """A sequence of lines under way, and the one timed line it may be sleeping in."""

    __slots__ = ("alive", "begun", "child", "ending", "index", "kernel", "line", "lines", "parent", "run", "timer")

    def __init__(self, run: Run, parent: Node | None, lines: p.Block) -> None:
        self.run = run
        self.kernel: Kernel = run.kernel
        self.parent = parent
        self.lines = lines
        self.index = 0
        self.timer = 0
        self.line = 0  # the number of the timed line under way, for the trace
        self.child: Node | None = None
        self.ending: Callable[[bool], None] | None = None  # what the timed line does when it ends (True) or is dropped
        self.begun: dict[str, int] = {}  # output -> number of the order that this block gave it last
        self.alive = True

    def begin(self) -> Status:
        self.index = 0
        return self.go()

    @property
    def place(self) -> Place:
        """Where the line under way stands."""
        return self.lines[max(0, self.index - 1)].place if self.lines else self.run.scene.place

    def go(self) -> Status:
        lines, verbs = self.lines, _VERBS
        while self.index < len(lines):
            line = lines[self.index]
            self.index += 1
            status = verbs[type(line)](self, line)
            if status is not DONE:
                return status
        return DONE

    def wake(self) -> Status:
        """The timed line that this block sleeps in has come to its end."""
        if self.line:
            self.kernel.ended(self.line, "ran out")
            self.line = 0
        ending, self.ending = self.ending, None
        if ending is not None:
            ending(True)
        return self.go()

    def sleep(self, line: Any, for_us: int) -> Status:
        self.line = self.kernel.began(self.run.scene.name, line.place)
        self.kernel.queue.push(self.kernel.stage.now_us + for_us, LINE, self)
        return PENDING

    def child_done(self, child: Node, status: Status) -> Status:
        self.child = None
        return self.go() if status is DONE else status

    def enter(self, child: Node) -> Status:
        """Begin a nested line; it stays this block's child while it takes time."""
        status = child.begin()
        if status is PENDING:
            self.child = child
        return status

    def drop(self, how: str = "dropped") -> None:
        """End early: what is nested first, then the line under way, then what this block itself began."""
        if not self.alive:
            return
        self.alive = False
        self.timer = 0
        if self.child is not None:
            self.child.drop(how)
            self.child = None
        if self.line:
            self.kernel.ended(self.line, how)
            self.line = 0
        ending, self.ending = self.ending, None
        if ending is not None:
            ending(False)
        for output, order in self.begun.items():
            self.kernel.drop_order(self.run, output, order)

    def tell(self, output: str, order: p.Order, line: Any) -> None:
        self.begun[output] = self.kernel.order(self.run, output, order, line.place)

    def tell_wave(self, output: str, wave: Wave, line: Any) -> None:
        self.begun[output] = self.kernel.order_wave(self.run, output, wave, line.place)


class Branching:
    """A line made of blocks. `home` is the block it stands in, which inherits what its blocks began."""

    __slots__ = ("alive", "branches", "home", "kernel", "parent", "run", "timer")

    def __init__(self, home: Block) -> None:
        self.home = home
        self.parent: Node | None = home
        self.run = home.run
        self.kernel: Kernel = home.kernel
        self.branches: list[Block | None] = []
        self.timer = 0
        self.alive = True

    def start_branch(self, lines: p.Block) -> Status:
        """Begin a block of this line; it is kept while it takes time."""
        block = Block(self.run, self, lines)
        self.branches.append(block)
        status = block.begin()
        if status is not PENDING:
            self.over(block)
        return status

    def over(self, block: Node) -> None:
        """A block has run out: what it began goes on, and belongs to the block around."""
        assert isinstance(block, Block)
        self.branches[self.branches.index(block)] = None
        self.home.begun.update(block.begun)

    @property
    def place(self) -> Place:
        return self.home.place

    def running(self) -> bool:
        return any(branch is not None for branch in self.branches)

    def leave(self) -> Status:
        """A `stop repeating` in one branch leaves the others behind."""
        self.kernel.blame = self.home.place
        self.drop()
        return LEFT

    def drop(self, how: str = "dropped") -> None:
        self.alive = False
        self.timer = 0
        for branch in self.branches:
            if branch is not None:
                branch.drop(how)
        self.branches.clear()

    def begin(self) -> Status:
        raise NotImplementedError

    def child_done(self, child: Node, status: Status) -> Status:
        raise NotImplementedError

    def wake(self) -> Status:
        raise NotImplementedError


class One(Branching):
    """A line that is one block: in order, if, by chance, the `otherwise` of another line."""

    __slots__ = ("lines",)

    def __init__(self, home: Block, lines: p.Block) -> None:
        super().__init__(home)
        self.lines = lines

    def begin(self) -> Status:
        return self.start_branch(self.lines)

    def child_done(self, child: Node, status: Status) -> Status:
        self.over(child)
        return status


class All(Branching):
    """`together`: all branches side by side, over when all are."""

    __slots__ = ("blocks",)

    def __init__(self, home: Block, blocks: tuple[p.Block, ...]) -> None:
        super().__init__(home)
        self.blocks = blocks

    def begin(self) -> Status:
        for lines in self.blocks:
            if self.start_branch(lines) is LEFT:
                return self.leave()
        return PENDING if self.running() else DONE

    def child_done(self, child: Node, status: Status) -> Status:
        self.over(child)
        if status is LEFT:
            return self.leave()
        return PENDING if self.running() else DONE


class First(Branching):
    """`first of`: settled at the end of the round in which a branch ends, so that the first written wins a tie."""

    __slots__ = ("blocks", "winners")

    def __init__(self, home: Block, blocks: tuple[p.Block, ...]) -> None:
        super().__init__(home)
        self.blocks = blocks
        self.winners: list[int] = []

    def begin(self) -> Status:
        for lines in self.blocks:
            status = self.start_branch(lines)
            if status is not PENDING:
                self.drop()
                return status
        return PENDING

    def child_done(self, child: Node, status: Status) -> Status:
        if status is LEFT:
            self.over(child)
            return self.leave()
        assert isinstance(child, Block)
        if not self.winners:
            self.kernel.settle_later(self)
        self.winners.append(self.branches.index(child))
        return PENDING

    def wake(self) -> Status:
        """The round's lines have run: the first written of those that ended goes on, the others are dropped."""
        winner = self.branches[min(self.winners)]
        if winner is not None:
            self.over(winner)
        self.kernel.blame = self.home.place
        self.drop()
        return DONE


class Loop(Branching):
    """`repeat`: for ever, so many times, or until a condition holds."""

    __slots__ = ("block", "line", "looked_at", "round", "rounds_now")

    def __init__(self, home: Block, line: p.Repeat) -> None:
        super().__init__(home)
        self.line = line
        self.block = Block(self.run, self, line.block)
        self.round = 0
        self.looked_at = -1
        self.rounds_now = 0

    def begin(self) -> Status:
        line, kernel = self.line, self.kernel
        until = None if line.until is None else kernel.truth.question(line.until.term)
        block = self.block
        while (line.times is None or self.round < line.times) and not (until is not None and until()):
            if self._spins():
                return DONE
            self.round += 1
            self.branches = [block]
            status = block.begin()
            if status is PENDING:
                return PENDING
            self.over(block)
            if status is LEFT:
                return DONE
        return DONE

    def over(self, block: Node) -> None:
        """A round is over; the block is used again for the next."""
        self.home.begun.update(self.block.begun)
        self.block.begun.clear()
        self.branches.clear()

    def _spins(self) -> bool:
        now_us = self.kernel.stage.now_us
        self.rounds_now = self.rounds_now + 1 if self.looked_at == now_us else 1
        self.looked_at = now_us
        if self.rounds_now <= LOOP_LIMIT:
            return False
        self.kernel.trouble(
            f"this loop went round {LOOP_LIMIT} times without taking any time, and was ended", self.line.place
        )
        return True

    def child_done(self, child: Node, status: Status) -> Status:
        self.over(child)
        return DONE if status is LEFT else self.begin()


class Guarded(Branching):
    """`as long as`: the block is dropped the instant the condition stops holding; then `otherwise` runs."""

    __slots__ = ("line",)

    def __init__(self, home: Block, line: p.AsLongAs) -> None:
        super().__init__(home)
        self.line = line

    def begin(self) -> Status:
        if not self.kernel.truth.question(self.line.condition.term)():
            return self.start_branch(self.line.otherwise)
        self.kernel.watchers.add(self, "guard", self.line.condition.term)
        status = self.start_branch(self.line.block)
        if status is not PENDING:
            self.kernel.watchers.remove(self)
        return status

    def look(self, holds: bool) -> None:
        """The condition was looked at again."""
        if holds:
            return
        self.kernel.watchers.remove(self)
        self.kernel.blame = self.line.place
        self.drop()
        self.alive = True
        self.kernel.queue.push(self.kernel.stage.now_us, LINE, self)

    def wake(self) -> Status:
        return self.start_branch(self.line.otherwise)

    def child_done(self, child: Node, status: Status) -> Status:
        self.kernel.watchers.remove(self)
        self.over(child)
        return status

    def drop(self, how: str = "dropped") -> None:
        self.kernel.watchers.remove(self)
        super().drop(how)


class Until(Branching):
    """`wait until`, with the longest time it waits and what it does then."""

    __slots__ = ("line", "number")

    def __init__(self, home: Block, line: p.WaitUntil) -> None:
        super().__init__(home)
        self.line = line
        self.number = 0

    def begin(self) -> Status:
        line, kernel = self.line, self.kernel
        if kernel.truth.question(line.condition.term)():
            return DONE
        self.number = kernel.began(self.run.scene.name, line.place)
        kernel.watchers.add(self, "wait", line.condition.term)
        if line.at_most_us is not None:
            kernel.queue.push(kernel.stage.now_us + line.at_most_us, LINE, self)
        return PENDING

    def look(self, holds: bool) -> None:
        if holds:
            self._over("ran out")
            self.kernel.queue.push(self.kernel.stage.now_us, LINE, self)

    def _over(self, how: str) -> None:
        self.kernel.watchers.remove(self)
        if self.number:
            self.kernel.ended(self.number, how)
            self.number = 0

    def wake(self) -> Status:
        if not self.number:  # the condition came to hold
            return DONE
        self._over("ran out of time")
        return self.start_branch(self.line.otherwise)

    def child_done(self, child: Node, status: Status) -> Status:
        self.over(child)
        return status

    def drop(self, how: str = "dropped") -> None:
        self._over(how)
        super().drop(how)


class Each(Branching):
    """`for each`: its members one after another, so far apart, or side by side; over when the last has ended."""

    __slots__ = ("line", "waiting")

    def __init__(self, home: Block, line: p.ForEach) -> None:
        super().__init__(home)
        self.line = line
        members = list(line.members)
        if line.random_order:
            # every member draws its own place, so that a new lamp leaves the others in their order
            members.sort(key=lambda member: self.kernel.chance.draw(member.draw))
        self.waiting = members[::-1]

    def begin(self) -> Status:
        return self.next_members()

    def next_members(self) -> Status:
        """Begin the next member, and all that are due at this same instant."""
        while self.waiting:
            member = self.waiting.pop()
            status = self.start_branch(member.block)
            if status is LEFT:
                return self.leave()
            if self.line.apart_us is None:
                if status is PENDING:
                    return PENDING
            elif self.waiting:
                gap = self.kernel.chance.between(self.waiting[-1].draw, *self.line.apart_us)
                if gap:
                    self.kernel.queue.push(self.kernel.stage.now_us + gap, LINE, self)
                    return PENDING
        return PENDING if self.running() else DONE

    def wake(self) -> Status:
        return self.next_members()

    def child_done(self, child: Node, status: Status) -> Status:
        self.over(child)
        if status is LEFT:
            return self.leave()
        if self.line.apart_us is None:
            return self.next_members()
        return PENDING if self.running() or self.waiting else DONE


class Pulses(Branching):
    """`pulse`: each output waits for its feed to recharge, in the order written."""

    __slots__ = ("line", "number", "on", "steps")

    def __init__(self, home: Block, line: p.Pulse) -> None:
        super().__init__(home)
        self.line = line
        self.on: list[str] = []
        self.number = self.kernel.began(self.run.scene.name, line.place)
        self.steps = sorted(self._plan(), key=lambda step: step[0], reverse=True)

    def _plan(self) -> list[tuple[int, str, bool]]:
        stage, steps = self.kernel.stage, []
        for name in self.line.outputs:
            feed = stage.outputs[name].output.feed
            start = stage.now_us if feed is None else max(stage.now_us, stage.feeds_ready[feed])
            if feed is not None:
                recharge = self.run.kernel.program.layout.feeds[feed].recharge_us
                stage.feeds_ready[feed] = start + self.line.for_us + recharge
            steps += [(start, name, True), (start + self.line.for_us, name, False)]
        return steps

    def begin(self) -> Status:
        now_us = self.kernel.stage.now_us
        while self.steps and self.steps[-1][0] <= now_us:
            _, name, on = self.steps.pop()
            self.home.tell(name, p.Level(1.0 if on else 0.0), self.line)
            (self.on.append if on else self.on.remove)(name)
        if self.steps:
            self.kernel.queue.push(self.steps[-1][0], LINE, self)
            return PENDING
        self.kernel.ended(self.number, "ran out")
        self.number = 0
        return DONE

    wake = begin

    def drop(self, how: str = "dropped") -> None:
        if self.number:
            self.kernel.ended(self.number, how)
            self.number = 0
        for name in self.on:
            self.home.tell(name, p.Level(0.0), self.line)
        super().drop(how)


class Watch(Branching):
    """`run SCENE`: until that scene has ended or been stopped."""

    __slots__ = ()

    def wake(self) -> Status:
        return DONE


Node = Block | Branching


# --- what each line does -------------------------------------------------------------------------------------------


def _tell(block: Block, line: p.Tell) -> Status:
    kernel, run = block.kernel, block.run
    if line.for_us is None:
        for output, order in line.orders:
            block.begun[output] = kernel.order(run, output, order, line.place)
        return DONE
    before = [(output, kernel.view(run, output)) for output, _ in line.orders]
    for output, order in line.orders:
        block.tell(output, order, line)

    def go_back(_: bool) -> None:
        for output, wave in before:
            block.tell_wave(output, wave, line)

    block.ending = go_back
    return block.sleep(line, line.for_us)


def _fade(block: Block, line: p.Fade) -> Status:
    kernel, now_us = block.kernel, block.kernel.stage.now_us
    for output, target in line.targets:
        value = kernel.view(block.run, output).value_at(now_us)
        block.tell_wave(output, ramp(now_us, line.over_us, value, target), line)
    return block.sleep(line, line.over_us)


def _move(block: Block, line: p.Move) -> Status:
    kernel, now_us, longest = block.kernel, block.kernel.stage.now_us, 0
    for name, target in line.targets:
        output = kernel.stage.outputs[name].output
        value = kernel.view(block.run, name).value_at(now_us)
        if line.over_us is None:
            takes = own_time(output, value, target)
        else:
            takes = round(line.over_us * share(output, value, target))
        block.tell_wave(name, ramp(now_us, takes, value, target), line)
        longest = max(longest, takes)
    if longest:
        return block.sleep(line, longest)
    kernel.did(block.run.scene.name, line.place)
    return DONE


def _wait(block: Block, line: p.Wait) -> Status:
    kernel = block.kernel
    for_us = line.low_us if line.low_us == line.high_us else kernel.chance.between(line.draw, line.low_us, line.high_us)
    kernel.queue.push(kernel.stage.now_us + for_us, LINE, block)
    return PENDING


def _if(block: Block, line: p.If) -> Status:
    lines = line.block if block.kernel.truth.question(line.condition.term)() else line.otherwise
    return block.enter(One(block, lines)) if lines else DONE


def _by_chance(block: Block, line: p.ByChance) -> Status:
    point = Fraction(block.kernel.chance.draw(line.draw) * 100, 1 << 64)
    for percent, lines in line.shares:
        if point < percent:
            return block.enter(One(block, lines))
        point -= percent
    return DONE


def _set_flag(block: Block, line: p.SetFlag) -> Status:
    block.kernel.set_flag(line.flag, line.value)
    return DONE


def _count(block: Block, line: p.Count) -> Status:
    block.kernel.count(line.counter, line.by)
    return DONE


def _run_scene(block: Block, line: p.RunScene) -> Status:
    kernel, here = block.kernel, block.run.scene.name
    kernel.did(here, line.place)
    if line.scene == here and not line.waits:
        kernel.do_later(lambda: kernel.start_scene(here, f"{here} asked", line.place))
        return DONE
    kernel.start_scene(line.scene, f"{here} asked", line.place, lender=here if line.waits else "")
    if not line.waits or line.scene == here:
        return DONE
    watch = Watch(block)
    if not kernel.tell_when_over(line.scene, watch):
        return DONE
    block.child = watch
    return PENDING


def _stop_scene(block: Block, line: p.StopScene) -> Status:
    kernel, here = block.kernel, block.run.scene.name
    kernel.did(here, line.place)
    if line.scene != here:
        kernel.stop_scene(line.scene, f"{here} asked", line.place)
        return DONE
    kernel.do_later(lambda: kernel.stop_scene(here, f"{here} asked", line.place))
    return PENDING  # nothing after it runs: the stop drops this block at the end of the round


def _stop_others(block: Block, line: p.StopOthers) -> Status:
    kernel, here = block.kernel, block.run.scene.name
    kernel.did(here, line.place)
    for name in kernel.unguarded_scenes():
        if name != here:
            kernel.stop_scene(name, f"{here} stopped every other scene", line.place)
    return DONE


def _hold(block: Block, line: p.Hold) -> Status:
    for output in line.outputs:
        block.kernel.hold(block.run, output, line.place)
    block.kernel.did(block.run.scene.name, line.place)
    return DONE


def _release(block: Block, line: p.Release) -> Status:
    for output, order in block.kernel.rest_orders(line.outputs):
        block.tell(output, order, line)
    block.kernel.did(block.run.scene.name, line.place)
    return DONE


def _note(block: Block, line: p.Note) -> Status:
    block.kernel.note(block.run.scene.name, line.text, line.place)
    return DONE


_VERBS: dict[type, Callable[[Block, Any], Status]] = {
    p.Tell: _tell,
    p.Fade: _fade,
    p.Move: _move,
    p.Pulse: lambda block, line: block.enter(Pulses(block, line)),
    p.Wait: _wait,
    p.WaitUntil: lambda block, line: block.enter(Until(block, line)),
    p.Together: lambda block, line: block.enter(All(block, line.branches)),
    p.FirstOf: lambda block, line: block.enter(First(block, line.branches)),
    p.InOrder: lambda block, line: block.enter(One(block, line.block)),
    p.Repeat: lambda block, line: block.enter(Loop(block, line)),
    p.StopRepeating: lambda block, line: LEFT,
    p.AsLongAs: lambda block, line: block.enter(Guarded(block, line)),
    p.If: _if,
    p.ByChance: _by_chance,
    p.ForEach: lambda block, line: block.enter(Each(block, line)),
    p.SetFlag: _set_flag,
    p.Count: _count,
    p.RunScene: _run_scene,
    p.StopScene: _stop_scene,
    p.StopOthers: _stop_others,
    p.Hold: _hold,
    p.Release: _release,
    p.Note: _note,
}
