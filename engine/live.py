"""The driver that waits: the same kernel on asyncio. The clock is a parameter, so that tests need not wait."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Protocol

from engine.drive import World, next_instant, work
from engine.kernel import Kernel

OVERDUE_US = 250_000  # later than any load makes an instant: the program itself was stopped


class Clock(Protocol):
    """What time it is, in microseconds since the performance began, and how to wait for a time."""

    def now_us(self) -> int: ...

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        """Until the instant or, sooner, until `wake` is set; for ever if the instant is None."""


class LoopClock:
    """The event loop's own monotonic clock."""

    def __init__(self) -> None:
        self._began = asyncio.get_running_loop().time()

    def now_us(self) -> int:
        return int((asyncio.get_running_loop().time() - self._began) * 1_000_000)

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        timeout = None if due_us is None else max(0.0, (due_us - self.now_us()) / 1_000_000)
        try:
            async with asyncio.timeout(timeout):  # `wait_for` of Python 3.11 forgets that it was cancelled while woken
                await wake.wait()
        except TimeoutError:
            pass


async def perform(
    kernel: Kernel,
    world: World,
    clock: Clock,
    wake: asyncio.Event,
    until_us: int | None = None,
    worked: Callable[[int], Awaitable[None]] | None = None,
    overdue: Callable[[], Awaitable[None]] | None = None,
) -> None:
    """Work every instant at its due time, never early; an instant that is late keeps its due time in the trace.

    `wake` is set by whoever has put something new into the world. Goes on for ever, also while nothing is due; with
    `until_us` the instants earlier than it are worked, and it ends then. `overdue` is called before an instant that
    should have been worked long ago: what it puts into the world is worked with it.
    """
    while True:
        wake.clear()
        due_us = next_instant(kernel, world)
        if due_us is None or (until_us is not None and due_us > until_us):
            due_us = until_us
        if due_us is None or due_us > clock.now_us():
            await clock.sleep_until(due_us, wake)
        elif due_us == until_us:
            return
        else:
            if overdue is not None and clock.now_us() - due_us > OVERDUE_US:
                await overdue()
            work(kernel, world, due_us)
            if worked is not None:
                await worked(due_us)
