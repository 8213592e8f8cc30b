"""Running blocks: one object for each block or branch under way, none for a line that takes no time.

A block says how it stands: DONE, PENDING (it sleeps) or LEFT (a `stop repeating` is on its way to its loop). The
kernel carries DONE and LEFT upwards, so nothing here calls its parent, and no chain of reactions grows the stack.
What a block began is kept with it: when it has run out it passes to the block around it, when it is dropped it ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import Enum
from typing import TYPE_CHECKING, Any

from engine import program as p
from engine.layout import Place
from engine.queue import LINE
from engine.waves import Wave

if TYPE_CHECKING:
    from engine.kernel import Kernel
    from engine.performance import Run


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
        lines, verbs = self.lines, self.kernel.verbs
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
        self.branches: dict[Block, None] = {}  # those under way, in the order in which they began
        self.timer = 0
        self.alive = True

    def start_branch(self, lines: p.Block) -> Status:
        """Begin a block of this line; it is kept while it takes time."""
        block = Block(self.run, self, lines)
        self.branches[block] = None
        status = block.begin()
        if status is not PENDING:
            self.over(block)
        return status

    def over(self, block: Node) -> None:
        """A block has run out: what it began goes on, and belongs to the block around."""
        assert isinstance(block, Block)
        del self.branches[block]
        self.home.begun.update(block.begun)

    @property
    def place(self) -> Place:
        return self.home.place

    def running(self) -> bool:
        return bool(self.branches)

    def leave(self) -> Status:
        """A `stop repeating` in one branch leaves the others behind."""
        self.kernel.blame = self.home.place
        self.drop()
        return LEFT

    def drop(self, how: str = "dropped") -> None:
        self.alive = False
        self.timer = 0
        for branch in self.branches:
            branch.drop(how)
        self.branches.clear()

    def repoint(self, twins: Mapping[int, Any]) -> None:
        """The line that it is stands elsewhere now; nothing to do for one that does not look at it again."""

    def begin(self) -> Status:
        raise NotImplementedError

    def child_done(self, child: Node, status: Status) -> Status:
        raise NotImplementedError

    def wake(self) -> Status:
        raise NotImplementedError


Node = Block | Branching


def repoint(root: Node, twins: Mapping[int, Any]) -> None:
    """Go on by lines that say the same and stand elsewhere: `twins` has the new record for each old one's identity."""
    todo: list[Node] = [root]
    while todo:
        node = todo.pop()
        if isinstance(node, Block):
            node.lines = twins.get(id(node.lines), node.lines)
            todo += [node.child] if node.child is not None else []
        else:
            node.repoint(twins)
            todo += node.branches
