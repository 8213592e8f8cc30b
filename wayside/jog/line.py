"""What the keys of a servo's session do, and the one line that is worked at. Pure: values in, text out."""

from __future__ import annotations

from adapters.wires import pulse_us
from wayside.jog.jogging import Jog

GAUGE = 25  # columns between two limits

KEYS = """\
  right, up or +   a step up            1 2 3   to that end           h and a number   that end is here
  left, down or -  a step down          [  ]    lowest, highest here  l   let go       s   save
  <  >             smaller, larger step :       type a line (help)    e   end          ?   these keys
  Any key ends a move where it is.
"""
STEPS = {"right": "+", "up": "+", "+": "+", "=": "+", "left": "-", "down": "-", "-": "-"}
LINES = {
    "[": "lowest here",
    "]": "highest here",
    "l": "let go",
    "s": "save",
    "e": "end",
    "q": "end",
    "escape": "end",
}


def picture(jog: Jog, now: float | None) -> str:
    """The line: the angle, where it lies between the limits, and the numbers of the ends."""
    if now is None:
        return f"  {jog.name}: {jog.state()}"
    cells = ["-"] * GAUGE
    for number, at in enumerate(jog.ends.values(), 1):
        cells[_cell(jog, at)] = str(number)[-1]
    cells[_cell(jog, now)] = "#"
    gauge = f"{jog.low:g} [{''.join(cells)}] {jog.high:g}"
    unsaved = "  not saved" if jog.changes() else ""
    return f"  {now:6.1f} deg  {pulse_us(now):4.0f} us  step {jog.step:g}  {gauge}{unsaved}  {ends(jog)}"


def ends(jog: Jog) -> str:
    """The named ends with their keys."""
    return ", ".join(f"{number} {name}" for number, name in enumerate(jog.ends, 1))


def _cell(jog: Jog, at: float) -> int:
    return min(max(round((at - jog.low) / (jog.high - jog.low) * (GAUGE - 1)), 0), GAUGE - 1)
