"""What is seen of a scene, from traces alone: its first sign, what moves meanwhile, its last sign, how long it takes.

Knows no day and no page.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from engine.layout import Kind, Layout, Output
from engine.program import Program
from engine.trace import Record, SceneIs, Told
from engine.waves import State, Wave
from wayside.rehearsal import trace_words as words
from wayside.rehearsal.event_words import unknown_output
from wayside.wording import listed

MOST_NAMED = 3  # outputs in one sign
MOST_SIGNS = 4  # of one instant

# one output's verb, and that of several
_FLASH, _FLICKER = ("flashes", "flash"), ("flickers", "flicker")
_ON_OFF = {
    Kind.LAMP: (("comes on", "come on"), ("goes out", "go out")),
    Kind.SOUND: (("sounds", "sound"), ("falls silent", "fall silent")),
    Kind.RELAY: (("switches on", "switch on"), ("switches off", "switch off")),
    Kind.MOTOR: (("runs", "run"), ("stops", "stop")),
    Kind.PULSE: (("gets its pulse", "get their pulse"), ("", "")),
}
_UNASKED = ("begins", "dropped", "hold", "rest", "safe", "longest time on")  # what no line asked to be seen
_DIMS, _RISES, _FALLS = ("dims", "dim"), ("rises", "rise"), ("falls", "fall")

Verb = tuple[str, str]


class Seen(NamedTuple):
    """What there is to see of a scene. `took_us`: of every run that came to its end by itself, in order."""

    first: str = ""
    meanwhile: str = ""
    last: str = ""
    took_us: tuple[int, ...] = ()


class _Run(NamedTuple):
    begun_us: int
    told: list[Told]
    whole_us: int | None = None  # how long it took, if it ended by itself


def seen(program: Program, traces: Iterable[Sequence[Record]]) -> dict[str, Seen]:
    """For each scene that ran in any trace: the signs of its first run that ended by itself, or else of its first."""
    runs: dict[str, list[_Run]] = {}
    for trace in traces:
        for scene, run in _runs(trace):
            runs.setdefault(scene, []).append(run)
    return {scene: _seen(program.layout, found) for scene, found in runs.items()}


def _runs(trace: Sequence[Record]) -> Iterator[tuple[str, _Run]]:
    """Every run with what it told outputs. One that somebody stopped is cut there: its safe state is no sign of it.

    What is told in an instant stands behind what scenes have come to in it, so a run is over when its instant is.
    """
    begun: dict[str, _Run] = {}
    over: dict[str, _Run] = {}
    over_us = 0
    for record in trace:
        if over and record.at_us > over_us:
            yield from over.items()
            over = {}
        match record:
            case SceneIs(at_us, scene, "running"):
                begun.setdefault(scene, _Run(at_us, []))
            case SceneIs(at_us, scene, "ended") if scene in begun:
                run = begun.pop(scene)
                over[scene], over_us = run._replace(whole_us=at_us - run.begun_us), at_us
            case SceneIs(_, scene, "stopping" | "stopped") if scene in begun:
                yield scene, begun.pop(scene)
            case Told(_, _, _, scene, _, why) if why not in _UNASKED:
                if scene in over or scene in begun:
                    (over.get(scene) or begun[scene]).told.append(record)
    yield from over.items()
    yield from begun.items()


def _seen(layout: Layout, runs: list[_Run]) -> Seen:
    took = tuple(run.whole_us for run in runs if run.whole_us is not None)
    telling = [run for run in runs if run.told]
    if not telling:
        return Seen(took_us=took)
    run = next((one for one in telling if one.whole_us is not None), telling[0])
    parts = {part for one in layout.outputs.values() for aspect in one.aspects for part, _ in aspect.parts}
    moments: dict[int, list[tuple[str, Verb]]] = {}
    for told in run.told:
        output = layout.outputs.get(told.output) or unknown_output(told.output)
        verb = _verb(output, told.wave, told.at_us)
        if told.output not in parts and verb[0]:
            moments.setdefault(told.at_us, []).append((told.output, verb))
    if not moments:
        return Seen(took_us=took)
    ends = run.whole_us is not None and len(moments) > 1
    first, last = moments[min(moments)], moments[max(moments)] if ends else []
    named = {name for name, _ in (*first, *last)}
    moving = (name for each in moments.values() for name, _ in each if layout.outputs[name].kind is Kind.SERVO)
    between = list(dict.fromkeys(name for name in moving if name not in named))
    meanwhile = f"{listed(between, MOST_NAMED)} {'moves' if len(between) == 1 else 'move'}" if between else ""
    return Seen(_sentence(first), meanwhile, _sentence(last), took)


def _verb(output: Output, wave: Wave, at_us: int) -> Verb:
    """What one sees of an output that has been told a wave; nothing for what nobody sees."""
    if output.kind is Kind.COLOUR:
        return "", ""
    if wave.state in (State.FLASHING, State.FLICKERING):
        return _FLASH if wave.state is State.FLASHING else _FLICKER
    before, after = wave.value_at(at_us), wave.value_at(at_us if wave.ends_us is None else wave.ends_us)
    match output.kind:
        case Kind.SERVO:
            where = words.value(output, after)
            return f"moves to {where}", f"move to {where}"
        case Kind.SIGNAL:
            aspect = words.value(output, after)
            return f"shows {aspect}", f"show {aspect}"
        case Kind.DAYLIGHT:
            return _FALLS if after < before else _RISES
    on, off = _ON_OFF[output.kind]
    if after == 0:
        return off
    return _DIMS if after < before else on


def _sentence(signs: list[tuple[str, Verb]]) -> str:
    """`amber comes on, bell sounds`; outputs that do the same together."""
    alike: dict[Verb, list[str]] = {}
    for name, verb in signs:
        alike.setdefault(verb, []).append(name)
    said = [f"{listed(names, MOST_NAMED)} {verb[len(names) > 1]}" for verb, names in alike.items()]
    return ", ".join(said[:MOST_SIGNS]) + (f" and {len(said) - MOST_SIGNS} more" if len(said) > MOST_SIGNS else "")
