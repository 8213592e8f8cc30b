"""What is done when a show breaks off by a fault of our own: guarded outputs go to their safe state all the same.

Goes past the kernel, which may be what broke, and trusts as little of it as can be.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING

from adapters.link_states import State
from engine.stage import orders_for, wave_for
from engine.trace import Told

if TYPE_CHECKING:
    from wayside.live.showing import Show, Wire

LOOKS_EVERY_S = 0.05
SENT_WITHIN_US = 300_000  # after the last move has ended
MADE_SAFE_WITHIN_US = 60_000_000  # then it is left as it is

SAYS = "Something in Wayside itself went wrong. Guarded outputs are brought to their safe state, then the show ends."


async def make_safe(show: Show, wires: Iterable[Wire]) -> None:
    """Tell every guarded output its safe state, servos in their own time, and give them the time for it.

    A link that does not talk is not waited for. To be called in the show's loop.
    """
    stage, wires = show.kernel.stage, tuple(wires)
    outputs, now_us = show.kernel.program.layout.outputs, show.now_us
    ends_us = now_us
    for output in outputs.values():
        for part, order in orders_for(output, output.safe, outputs) if output.safe is not None else ():
            now = stage.outputs[part]
            now.wave = wave_for(order, now.output, now_us, now.wave, show.kernel.chance)
            ends_us = max(ends_us, now.wave.ends_us or now_us)
            for wire in wires:
                wire.want(part, Told(now_us, part, now.wave, "", output.place, "safe"))
    until_us = min(ends_us + SENT_WITHIN_US, now_us + MADE_SAFE_WITHIN_US)
    while show.now_us < until_us or (_busy(wires) and show.now_us < now_us + MADE_SAFE_WITHIN_US):
        await asyncio.sleep(LOOKS_EVERY_S)


def _busy(wires: Iterable[Wire]) -> bool:
    return any(wire.state is State.TALKING and not wire.idle for wire in wires)
