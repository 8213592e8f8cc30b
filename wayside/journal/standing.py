"""How all stands at an instant, as an entry of the journal has it: from there a rehearsal could set out.

Knows a kernel; must not know entries' files, screens, or what a rehearsal makes of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from engine.kernel import Kernel
from engine.waves import endless, under_way


def stirs(kernel: Kernel, now_us: int) -> bool:
    """Whether something that no scene holds still moves, or a detector has not settled."""
    stage = kernel.stage
    free = (one.wave for one in stage.outputs.values() if not one.holder)
    return any(under_way(wave, now_us) or endless(wave) for wave in free) or bool(_settling(kernel))


def _settling(kernel: Kernel) -> list[str]:
    return [name for name, now in kernel.stage.detectors.items() if now.used and now.raw != now.state]


def standing(kernel: Kernel, now_us: int) -> tuple[str, dict[str, Any]]:
    """In words, and for programs: what is not at rest, in use, clear, forgotten, or nought."""
    stage = kernel.stage
    outputs, unsettled = {}, []
    for name, now in stage.outputs.items():
        wave = now.wave
        if endless(wave) or under_way(wave, now_us):
            unsettled.append(name)
        elif wave.value_at(now_us) != now.output.rest.value:
            outputs[name] = wave.value_at(now_us)
    running = [name for name, state in stage.scenes.items() if state in ("running", "stopping")]
    said = {name: now.state if now.used else now.raw for name, now in stage.detectors.items()}
    details = {
        "outputs": outputs,
        "unsettled": unsettled,
        "running": running,
        "stopped": [name for name, state in stage.scenes.items() if state == "stopped"],
        "detectors": {name: state for name, state in said.items() if state != "clear"},
        "aside": [name for name, now in stage.detectors.items() if not now.used],
        "settling": _settling(kernel),
        "flags": [name for name, value in stage.flags.items() if value],
        "counters": {name: value for name, value in stage.counters.items() if value},
        "pressed": [name for name, down in stage.pressed.items() if down],
        "gone": [name for name, state in stage.links.items() if state != "talking"],
        "all_stopped": kernel.operator.stopped,
        "clock_us": kernel.clock.at(now_us),
        "clock_runs": kernel.clock.running,
    }
    return f"how all stands; {_running(running)}", details


def _running(names: Iterable[str]) -> str:
    named = list(names)
    return f"{', '.join(named)} run{'s' if len(named) == 1 else ''}" if named else "no scene runs"
