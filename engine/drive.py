"""The driver that jumps: from one due instant to the next, with nothing in between. For rehearsals and tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from engine.breaches import answers
from engine.events import Input
from engine.kernel import Kernel
from engine.rules import Broken


class World(Protocol):
    """What happens outside: the far end that makes inputs."""

    def next_due(self) -> int | None: ...

    def advance(self, now_us: int) -> list[Input]: ...


class Nothing:
    """A world in which nothing happens."""

    def next_due(self) -> int | None:
        return None

    def advance(self, now_us: int) -> list[Input]:
        return []


def next_instant(kernel: Kernel, world: World) -> int | None:
    """The next instant at which the kernel or the world has something to do."""
    ours, theirs = kernel.next_due(), world.next_due()
    if ours is None or theirs is None:
        return ours if theirs is None else theirs
    return min(ours, theirs)


def work(kernel: Kernel, world: World, now_us: int) -> list[Broken]:
    """Work one instant: the world, then the kernel, and again while the world answers. What rules it has broken.

    What a broken rule sets off belongs to the same instant, and is judged, too.
    """
    kernel.advance(now_us, world.advance(now_us))
    found: list[Broken] = []
    while True:
        while events := world.advance(now_us):
            kernel.advance(now_us, events)
        broken = kernel.judge()
        found += broken
        events = answers(kernel, broken) if broken else []
        if not events:
            return found
        kernel.advance(now_us, events)


def jump(kernel: Kernel, world: World, until_us: int | None, progress: Callable[[int], None] | None = None) -> int:
    """Work every due instant earlier than `until_us` (all there are, if None); the last instant worked."""
    last = 0
    while True:
        now_us = next_instant(kernel, world)
        if now_us is None or (until_us is not None and now_us >= until_us):
            return last
        work(kernel, world, now_us)
        last = now_us
        if progress is not None:
            progress(now_us)
