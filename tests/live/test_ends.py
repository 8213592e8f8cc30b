"""A show that is ended at the very moment at which something comes in does end."""

from __future__ import annotations

import asyncio

import pytest

from engine.live import LoopClock


@pytest.mark.parametrize("rounds", range(4))
async def test_a_sleep_that_is_cancelled_while_it_is_woken(rounds: int) -> None:
    wake = asyncio.Event()

    async def sleeps() -> None:
        clock = LoopClock()
        while True:
            await clock.sleep_until(clock.now_us() + 60_000_000, wake)
            wake.clear()

    task = asyncio.ensure_future(sleeps())
    await asyncio.sleep(0.01)
    wake.set()
    for _ in range(rounds):
        await asyncio.sleep(0)
    task.cancel()
    done, _ = await asyncio.wait([task], timeout=2.0)
    assert done
    assert task.cancelled()
