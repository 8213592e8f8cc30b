"""What all that plays in virtual time shares: what drivers see of signals, one scene by itself. No file, no screen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from engine.layout import Layout
from engine.program import Program
from engine.trace import Record

if TYPE_CHECKING:
    from engine.kernel import Kernel


def played_alone(program: Program, scene: str, for_us: int) -> tuple[Sequence[Record], int]:
    """The trace of a scene that is started by name with nothing else happening, and until when it goes.

    If the scene has a `when stopped`, it is stopped then, and played as long again.
    """
    from engine.drive import Nothing, jump
    from engine.events import StartScene, StopScene
    from engine.kernel import Kernel

    kernel, until_us = Kernel(program), for_us
    kernel.advance(0, [StartScene(scene)])
    jump(kernel, Nothing(), until_us)
    if program.scenes[scene].when_stopped is not None:
        kernel.advance(until_us, [StopScene(scene)])
        until_us += for_us
        jump(kernel, Nothing(), until_us)
    return kernel.trace, until_us


def drivers_see(kernel: Kernel, layout: Layout) -> Callable[[str], bool]:
    """Whether a signal lets trains pass now, as a driver sees it. Asked once before the first instant, so that the
    kernel works the one at which an arm arrives, even if nothing else reads it."""
    from engine.conditions import as_shown, may_pass

    signals = [hold.signal for track in layout.tracks.values() for hold in track.holds]
    terms = {signal: as_shown(may_pass(layout.outputs[signal])) for signal in signals}
    for term in terms.values():
        kernel.holds(term)

    def asks(signal: str) -> bool:
        return kernel.holds(terms[signal])

    return asks
