"""The driver that waits: never early, late instants keep their due time, and new inputs wake it."""

from __future__ import annotations

import asyncio

from acting import S, Script, notes, program
from test_semantics import GO, scene

from engine.events import StartScene
from engine.kernel import Kernel
from engine.live import LoopClock, perform


class HandClock:
    """A clock that the test moves: every sleep ends, but the hand moves only as far as it was told."""

    def __init__(self, stride_us: int) -> None:
        self.at_us = 0
        self.stride_us = stride_us
        self.slept: list[int | None] = []

    def now_us(self) -> int:
        return self.at_us

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        self.slept.append(due_us)
        self.at_us += self.stride_us
        await asyncio.sleep(0)


async def performed(stride_us: int) -> tuple[Kernel, list[tuple[int, int]]]:
    kernel, clock, worked = (
        Kernel(program(scene("wait 3 s", 'note "a"', "wait 4 s", 'note "b"'))),
        HandClock(stride_us),
        [],
    )

    async def note_when(due_us: int) -> None:
        worked.append((due_us, clock.now_us()))

    await perform(kernel, Script([GO]), clock, asyncio.Event(), 60 * S, note_when)
    return kernel, worked


async def test_nothing_is_worked_early() -> None:
    kernel, worked = await performed(100_000)
    assert notes(kernel) == [(3, "a"), (7, "b")]
    assert all(now_us >= due_us for due_us, now_us in worked)
    assert [due_us for due_us, _ in worked] == [0, 3 * S, 7 * S]


async def test_late_instants_keep_their_due_time_and_their_order() -> None:
    kernel, worked = await performed(50 * S)  # one sleep of 50 s: both lines are late
    assert notes(kernel) == [(3, "a"), (7, "b")]
    assert worked[1:] == [(3 * S, 50 * S), (7 * S, 50 * S)]


async def test_a_new_input_wakes_a_performance_in_which_nothing_is_due() -> None:
    kernel, world, wake = Kernel(program(scene('note "here"'))), Script(), asyncio.Event()
    going = asyncio.create_task(perform(kernel, world, LoopClock(), wake, until_us=3600 * S))
    while kernel.next_due() is not None:
        await asyncio.sleep(0)
    world._events.append((0, StartScene("go")))
    wake.set()
    while not notes(kernel):
        await asyncio.sleep(0)
    going.cancel()
    assert [text for _, text in notes(kernel)] == ["here"]
