"""What outputs were told, in the words of the event list: turned on, flash in turn, moves raised -> lowered, freezes.

Reads orders and waveforms. Must not know rows, columns or the order of a trace.
"""

from __future__ import annotations

from typing import NamedTuple, assert_never

from engine.layout import Blink, Kind, Output, Setting
from engine.trace import Told
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside import trace_words as words

_INTRO = {"given back": "back again: ", "rest": "to rest: ", "safe": "to its safe state: "}


class Group(NamedTuple):
    """Outputs that one line told the same at one instant."""

    told: Told
    outputs: list[Output]
    waves: list[Wave]
    untils: list[int | None]
    cut: str
    before: Wave | None


def unknown_output(name: str) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0))


def likeness(told: Told, output: Output, before: Wave | None) -> object:
    """What must be equal for two outputs to share a row."""
    match told.wave:
        case Flashing(start, blink, high):
            return ("flash", start, blink._replace(slot=0), high)
        case Ramp(start, end, low, high):
            return ("ramp", output.kind, start, end, words.value(output, low), words.value(output, high))
        case Steady(amount):
            return ("steady", output.kind, words.value(output, amount), _froze(told, before))
    assert_never(told.wave)


def _froze(told: Told, before: Wave | None) -> bool:
    return isinstance(before, Ramp) and told.at_us < before.to_us


def in_words(group: Group) -> str:
    told, several = group.told, len(group.outputs) > 1
    output = group.outputs[0]
    intro = _INTRO.get(told.why, "")
    match told.wave:
        case Flashing(high=high):
            said = _flash([wave.blink for wave in group.waves if isinstance(wave, Flashing)], several)
            said += "" if high == 1.0 else f" at {words.percent(high)}"
        case Ramp(start, end, low, high):
            verb = {Kind.SERVO: "move", Kind.MOTOR: "change"}.get(output.kind, "fade") + ("" if several else "s")
            said = f"{verb} {words.value(output, low)} -> {words.value(output, high)}, {words.length(end - start)}"
        case Steady(amount):
            said, intro = _steady(group, output, amount), ""
    known = told.why in ("", "line", "dropped", "hold", "longest time on") or told.why in _INTRO
    return intro + said + ("" if known else f" ({told.why})")


def _flash(blinks: list[Blink], several: bool) -> str:
    verb = "flash" if several else "flashes"
    if len({blink.slot for blink in blinks}) > 1:
        return f"{verb} in turn, {words.rate(blinks[0])} each"
    return f"{verb}{' together' if several else ''}, {words.rate(blinks[0])}"


def _steady(group: Group, output: Output, amount: float) -> str:
    told = group.told
    shown = words.value(output, amount)
    if told.why == "dropped":
        verb = "freeze" if _froze(told, group.before) else "go back to"
        verb = verb if len(group.outputs) > 1 else verb.replace("freeze", "freezes").replace("go ", "goes ")
        return f"{verb} at {shown}" if "freeze" in verb else f"{verb} {shown}"
    if told.why == "hold":
        return f"held at {shown}"
    if told.why == "longest time on":
        return f"turned {shown} after the longest time on"
    if told.why in _INTRO:
        return f"{_INTRO[told.why]}{shown}"
    return f"turned {shown}" if shown in ("on", "off") else f"set to {shown}"
