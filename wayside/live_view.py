"""What stands on the screen while a show runs: lines of text, made anew from the present. Draws nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from engine.kernel import Kernel
from engine.waves import endless, under_way
from wayside import trace_words as words

MOST_OUTPUTS = 24  # lines of outputs; what is over is counted
LATE_SHOWN_US = 1_000


def lines(
    kernel: Kernel, now_us: int, late_us: Sequence[int], events: Iterable[str], links: Iterable[str]
) -> list[str]:
    """The whole screen: what runs, what detectors say, what is not at rest, how the links are, and the last events."""
    layout, stage = kernel.program.layout, kernel.stage
    second = words.layout_second(now_us, kernel.starts_s, layout.clock.ratio)
    running = [name for name, state in stage.scenes.items() if state in ("running", "stopping")]
    out = [
        f"{layout.name or 'wayside'}   layout time {words.time_of_day(second)}   running for {words.clock(now_us)}",
        "",
        f"scenes     {', '.join(running) or 'none runs'}",
        *(f"link       {line}" for line in links),
    ]
    for state in ("occupied", "unknown", "clear"):
        named = [name for name, now in stage.detectors.items() if now.state == state]
        if named:
            out.append(f"{state:10} {', '.join(named)}")
    out += ["", *_outputs(kernel, now_us), "", *events]
    late = sorted(late_us)
    if late:
        p99 = late[min(len(late) - 1, len(late) * 99 // 100)]
        out.append(f"lines are worked {words.number(p99 / 1_000, 1)} ms late, or less (99 of 100)")
    return out


def _outputs(kernel: Kernel, now_us: int) -> list[str]:
    """Those that are not at rest, each with what it shows."""
    shown = []
    for name, now in kernel.stage.outputs.items():
        wave, output = now.wave, now.output
        value = wave.value_at(now_us)
        if endless(wave):
            says = f"{wave.state.value}, {words.value(output, round(value, 2))}"
        elif under_way(wave, now_us):
            says = f"on its way, {words.value(output, round(value, 2))}"
        elif value == output.rest.value:
            continue
        else:
            says = words.value(output, value)
        shown.append(f"  {name:24} {says}")
    more = len(shown) - MOST_OUTPUTS
    return [*shown[:MOST_OUTPUTS], *([f"  and {more} more"] if more > 0 else [])] or ["  everything is at rest"]
