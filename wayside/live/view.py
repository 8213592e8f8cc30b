"""What stands on the screen while a show runs: lines of text, made anew from the present. Draws nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from textwrap import wrap

from engine.kernel import Kernel
from engine.layout import OUT_OF_USE
from engine.waves import endless, under_way
from wayside.rehearsal import trace_words as words

EVENTS_LEFT = 4  # lines of events that always have room, however many outputs there are
HANG = " " * 11  # what goes on in another line stands under its beginning


def lines(
    kernel: Kernel,
    now_us: int,
    late_us: Sequence[int],
    events: Iterable[str],
    marked: Iterable[str],
    width: int = 80,
    rows: int = 22,
) -> list[str]:
    """The whole screen, never more than fits it: what runs, what detectors say, what is not at rest, events.

    `marked`: sentences of links and broken rules, which stand there as long as they are so.

    Long sentences go on in the next line: their end says what to do.
    """
    head = _wrapped(_head(kernel, now_us, marked), width)
    late = sorted(late_us)
    foot = []
    if late:
        p99 = late[min(len(late) - 1, len(late) * 99 // 100)]
        foot.append(f"lines are worked at most {words.number(p99 / 1_000, 1)} ms late (99 of 100)"[:width])
    told = _wrapped(events, width)
    room = rows - len(head) - len(foot) - 2
    outputs = _fitting([line[:width] for line in _outputs(kernel, now_us)], room - min(len(told), EVENTS_LEFT))
    left = room - len(outputs)
    return [*head, "", *outputs, "", *(told[-left:] if left > 0 else []), *foot][: max(1, rows)]


def _head(kernel: Kernel, now_us: int, marked: Iterable[str]) -> list[str]:
    layout, stage = kernel.program.layout, kernel.stage
    second = kernel.clock.at(now_us) // words.SECOND
    running = [name for name, state in stage.scenes.items() if state in ("running", "stopping")]
    out = [
        f"{layout.name or 'wayside'}   layout time {words.time_of_day(second)}   running for {words.clock(now_us)}",
        "",
        f"scenes     {', '.join(running) or 'none runs'}",
        *marked,
    ]
    for state in ("occupied", "unknown", OUT_OF_USE, "clear"):
        named = [name for name, now in stage.detectors.items() if now.state == state]
        if named:
            out.append(f"{state:10} {', '.join(named)}")
    return out


def _wrapped(texts: Iterable[str], width: int) -> list[str]:
    return [
        line
        for text in texts
        for line in (wrap(text, max(width, 2 * len(HANG)), subsequent_indent=HANG, break_on_hyphens=False) or [""])
    ]


def _fitting(shown: list[str], room: int) -> list[str]:
    """The first of them, and how many more there are."""
    if len(shown) <= room or room < 1:
        return shown[: max(0, room)]
    return [*shown[: room - 1], f"  and {len(shown) - room + 1} more"]


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
    return shown or ["  everything is at rest"]
