"""Lines that are made of blocks, under way: together, first of, repeat, as long as, wait until, for each, pulse.

Each says when its blocks begin, and what their ends mean for it. What lines without blocks do is in `engine.verbs`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine import program as p
from engine.blocks import DONE, LEFT, PENDING, Block, Branching, Node, Status
from engine.queue import LINE

LOOP_LIMIT = 1_000  # rounds of a scene's loops, beyond the first of each, in one instant; more of them stop the scene


class Lined(Branching):
    """One that looks at its own line again and again."""

    __slots__ = ("line",)

    line: Any

    def repoint(self, twins: Mapping[int, Any]) -> None:
        self.line = twins.get(id(self.line), self.line)


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
        self.winners: set[Block] = set()

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
        self.winners.add(child)
        return PENDING

    def wake(self) -> Status:
        """The round's lines have run: the first written of those that ended goes on, the others are dropped."""
        self.over(next(branch for branch in self.branches if branch in self.winners))
        self.kernel.blame = self.home.place
        self.drop()
        return DONE


class Loop(Lined):
    """`repeat`: for ever, so many times, or until a condition holds."""

    __slots__ = ("block", "looked_at", "round")

    def __init__(self, home: Block, line: p.Repeat) -> None:
        super().__init__(home)
        self.line = line
        self.block = Block(self.run, self, line.block)
        self.round = 0
        self.looked_at = -1

    def begin(self) -> Status:
        line, kernel = self.line, self.kernel
        until = None if line.until is None else kernel.truth.question(line.until.term)
        block = self.block
        while (line.times is None or self.round < line.times) and not (until is not None and until()):
            if self._spins():
                return PENDING  # nothing after it runs: the scene is stopped at the end of the round
            self.round += 1
            self.branches[block] = None
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
        """Whether the scene's loops go round for ever in one instant. What stands behind them was not meant for now.

        A loop's first round in an instant counts for nothing: very many lamps may each have a loop of their own.
        """
        run, kernel, now_us = self.run, self.kernel, self.kernel.stage.now_us
        before, self.looked_at = self.looked_at, now_us
        if before != now_us:
            return run.spins(now_us)
        rounds = run.goes_round(now_us)
        if run.spins(now_us):  # another loop of the scene has found the same: it is stopped once
            return True
        if rounds < LOOP_LIMIT and not (rounds >= kernel.ROUNDS_AT_WORK and kernel.overworked):
            return False
        run.spun_at_us, stopping = now_us, run.stopping
        what = f"this loop went round {rounds} times without taking any time; stopped: {run.scene.name}"
        kernel.trouble(what, self.line.place, cut=True)
        kernel.do_later(lambda: kernel.cast.cut(run, stopping))
        return True

    def child_done(self, child: Node, status: Status) -> Status:
        self.over(child)
        return DONE if status is LEFT else self.begin()


class Guarded(Lined):
    """`as long as`: the block is dropped the instant the condition stops holding; then `otherwise` runs."""

    __slots__ = ()

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


class Until(Lined):
    """`wait until`, with the longest time it waits and what it does then."""

    __slots__ = ("number",)

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


class Each(Lined):
    """`for each`: its members one after another, so far apart, or side by side; over when the last has ended."""

    __slots__ = ("waiting",)

    def __init__(self, home: Block, line: p.ForEach) -> None:
        super().__init__(home)
        self.line = line
        members = list(line.members)
        if line.random_order:
            # every member draws its own place, so that a new lamp leaves the others in their order
            members.sort(key=lambda member: self.kernel.chance.draw(member.draw))
        self.waiting = members[::-1]

    def repoint(self, twins: Mapping[int, Any]) -> None:
        super().repoint(twins)
        self.waiting = [twins.get(id(member), member) for member in self.waiting]

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


class Pulses(Lined):
    """`pulse`: each output waits for its feed to recharge, in the order written."""

    __slots__ = ("number", "on", "steps")

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
