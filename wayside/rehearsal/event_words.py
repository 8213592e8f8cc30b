"""What outputs were told, in the words of the event list: turned on, flash in turn, moves raised -> lowered, freezes.

Reads orders and waveforms. Must not know rows, columns or the order of a trace.
"""

from __future__ import annotations

from typing import NamedTuple

from engine.courses import Course
from engine.curves import Curve
from engine.flicker import Flicker
from engine.layout import Blink, Kind, Output, Setting
from engine.trace import Told
from engine.waves import Flashing, State, Steady, Wave, endless, under_way
from wayside.rehearsal import trace_words as words

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
    wave = told.wave
    match wave:
        case Flashing(start, blink, high):
            return ("flash", start, blink._replace(slot=0), high)
        case Steady(amount):
            return ("steady", output.kind, words.value(output, amount), _froze(told, before))
    if endless(wave):  # each begins from what it shows, and goes on alike
        return (type(wave), output.kind, _manner(wave))
    ends = tuple(words.value(output, wave.value_at(at)) for at in (told.at_us, wave.ends_us or told.at_us))
    return (type(wave), output.kind, wave.ends_us, ends, _manner(wave))


def _froze(told: Told, before: Wave | None) -> bool:
    return before is not None and before.state is State.UNDER_WAY and under_way(before, told.at_us)


def in_words(group: Group) -> str:
    told = group.told
    wave, intro = told.wave, _INTRO.get(told.why, "")
    match wave:
        case Flashing(high=high):
            said = _flash([wave.blink for wave in group.waves if isinstance(wave, Flashing)], len(group.outputs) > 1)
            said += "" if high == 1.0 else f" at {words.percent(high)}"
        case Steady(amount):
            said, intro = _steady(group, group.outputs[0], amount), ""
        case _:
            said = _on_its_way(group)
    known = told.why in ("", "line", "dropped", "hold", "longest time on") or told.why in _INTRO
    return intro + said + ("" if known else f" ({told.why})")


def _on_its_way(group: Group) -> str:
    """What goes somewhere, or on and on: a fade, a move, a lamp that comes on, a flicker, a character."""
    told, output, s = group.told, group.outputs[0], "" if len(group.outputs) > 1 else "s"
    wave, like = told.wave, _manner(told.wave)
    if wave.state is State.FLICKERING:
        bounds = wave.bounds if isinstance(wave, Flicker) else (0.0, 1.0)
        between = "" if bounds == (0.0, 1.0) else f", {words.percent(bounds[0])} to {words.percent(bounds[1])}"
        return f"flicker{s} like {like}{between}"
    if wave.state is State.FLASHING:
        return f"show{s} {like}"
    ends_us = wave.ends_us or told.at_us
    low = wave.low if isinstance(wave, Course) else wave.value_at(told.at_us)  # before it leapt to its first level
    high = wave.value_at(ends_us)
    takes = words.length(ends_us - told.at_us)
    if wave.state is State.OWN_WAY:
        comes = ("comes on" if s else "come on") if high > low else ("goes off" if s else "go off")
        return f"{comes} like {like}, {takes}"
    verb = {Kind.SERVO: "move", Kind.MOTOR: "change"}.get(output.kind, "fade") + s
    likely = "" if not like else f", {like}" if output.kind is Kind.SERVO else f" like {like}"
    return f"{verb} {words.value(output, low)} -> {words.value(output, high)}, {takes}{likely}"


def _manner(wave: Wave) -> str:
    """What a wave is like, in the words of the scene file; nothing for what is plain."""
    match wave:
        case Flicker(manner=manner):
            return manner.name
        case Course(name=name):
            return name
        case Curve(profile=profile):
            return "" if profile.name == "smooth" else profile.name
    return ""


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
