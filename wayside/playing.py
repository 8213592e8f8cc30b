"""One scene played by itself in virtual time, for checks that look at what it does. Knows no file and no screen."""

from __future__ import annotations

from collections.abc import Sequence

from engine.program import Program
from engine.trace import Record


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
