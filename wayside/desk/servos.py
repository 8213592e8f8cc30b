"""A servo in an operator's hands on the desk: a step from where it is going, and a named end put where it stands.

Reads the show and changes nothing of it; writes the layout file through `layout.edit` only.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from adapters.wires import LEAST_PULSE_US, MOST_PULSE_US, WIDEST_DEG
from engine.layout import Itself, Kind, Output
from engine.operating import Grip
from engine.waves import under_way
from wayside.layout.edit import CannotSave, Change, save

if TYPE_CHECKING:
    from engine.kernel import Kernel

LONGEST_STEP_DEG = 45.0


class Step(NamedTuple):
    """Where a step leads, or why there is none."""

    to: float = 0.0
    why_not: str = ""


def angles(output: Output) -> dict[str, object] | None:
    """What a page needs to show angle and pulse of a servo that is moved from here; None for anything else."""
    if output.kind is not Kind.SERVO or output.itself is Itself.MOVES:
        return None
    return {
        "span": list(output.span),
        "limits": list(output.limits or (0.0, float(WIDEST_DEG))),
        "pulse": [LEAST_PULSE_US, MOST_PULSE_US, WIDEST_DEG],
    }


def step(kernel: Kernel, name: str, by: float, now_us: int) -> Step:
    """A step further from where it is going, to its limit at the most.

    `now_us` is the show's, since the kernel's own instant is that of its last event.
    """
    now = kernel.stage.outputs[name]
    if angles(now.output) is None:
        return Step(why_not=f"{name} is no servo that is moved from here.")
    low, high = now.output.limits or (0.0, float(WIDEST_DEG))
    ends_us = now.wave.ends_us
    going = now.wave.value_at(now_us if ends_us is None else ends_us)
    to = round(min(max(going + by, low), high), 2)
    if to == round(going, 2):
        return Step(why_not=f"{name} is at its limit, {to:g} deg: no further.")
    return Step(to)


def here(kernel: Kernel, name: str, end: str, now_us: int) -> tuple[Change | None, str]:
    """The change that puts a named end where a servo stands; or why that cannot be."""
    now = kernel.stage.outputs[name]
    if angles(now.output) is None or end not in {one.name for one in now.output.positions}:
        return None, f"{name} has no end {end} that is set from here."
    if Grip.HAND not in kernel.operator.grips.get(name, ()):
        return None, f"{name} is not held by hand. Take it first, then step it to where {end} is to be."
    if under_way(now.wave, now_us):
        return None, f"{name} is on its way. Wait until it stands."
    at = round(now.value(now_us), 2)
    return Change(("outputs", name, "positions", end), f"{at:g} deg"), ""


def write(file: Path, change: Change, kernel: Kernel) -> tuple[bool, str]:
    """Put it into the layout file: whether that was done, and what to say. Takes as long as the disk does."""
    _, name, _, end = change.path
    try:
        kept = save(file, [change])
    except CannotSave as why:
        return False, f"Not saved: {why}".replace("`", "")
    before = next(one.degrees for one in kernel.program.layout.outputs[name].positions if one.name == end)
    return True, (
        f"Saved: {end} of {name} is {change.value} in {file.name}; the old file is {kept.parent.name}/{kept.name}. "
        f"This show goes on with {before:g} deg."
    )
