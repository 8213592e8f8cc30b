"""Advice about light and motion as the eye will see it: servos asked too much, moves and fades whose steps are seen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from engine.layout import DAYLIGHT, Kind, Output
from engine.program import Fade, Move, Program, Through
from scenes.problems import Problem
from scenes.walking import walk, whole

if TYPE_CHECKING:
    from engine.curves import Profile

FLOWING_STEPS_S = 8.0  # steps a second from which on a servo is seen to flow (from memory)
NICE_US = 100_000  # a time is proposed in tenths of a second, never too short
SEEN_UNITS = 2.0  # lightness units: a step that the eye cannot miss; one is just seen
SLOW_STEP_US = 400_000  # a step that stands this long before the next is seen as a step


def _seconds(us: int) -> str:
    return f"{us / 1_000_000:g} s"


def _advice(move: Move | Fade, what: str, instead: str) -> Problem:
    return Problem(move.place, what, instead, advice=True)


def moves(program: Program) -> Iterator[Problem]:
    """A move faster than its servo, or so slow that the servo takes it in steps."""
    for scene in program.scenes.values():
        for line in walk(*whole(scene)):
            if isinstance(line, Move) and line.over_us is not None:
                servos = [program.layout.outputs[name] for name, _ in line.targets]
                yield from _too_fast(line, line.over_us, servos)
                yield from _in_steps(line, line.over_us, servos)


def _profile(move: Move, over_us: int) -> Profile:
    from engine import curves

    if move.arrives == "bouncing":
        return curves.bouncing(over_us) if move.bounces is None else curves.bouncing(over_us, move.bounces)
    if move.arrives == "settling":
        return curves.settling(over_us, 0.0)
    return move.profile or curves.PROFILES["smooth"]


def honest_us(move: Move, servos: list[Output]) -> int:
    """The shortest time that the slowest of its servos can keep to for this move's whole travel, given how it goes."""
    from engine.curves import shortest_us

    # how an arm lands depends on the time of its move, so each time is looked at with its own landing
    return shortest_us(lambda us: _profile(move, us), max(servo.travel_us for servo in servos), 1_000_000)


def _too_fast(move: Move, over_us: int, servos: list[Output]) -> Iterator[Problem]:
    slow = max(servos, key=lambda output: output.travel_us)
    peak = _profile(move, over_us).peak_speed
    if over_us >= slow.travel_us * peak:
        return
    proposed_us = -(-honest_us(move, servos) // NICE_US) * NICE_US
    what = f"`{slow.name}` needs {_seconds(slow.travel_us)} for its whole travel at full speed (layout file)"
    if over_us:
        squeezed = "" if move.written_us is None else f", squeezed to {_seconds(over_us)}"
        what += f", and this move{squeezed}, at its fastest, goes {peak:.2f} times as fast as on average"
    evenly = not move.arrives and over_us >= slow.travel_us
    longer = "over" if move.written_us is None or move.written_us < proposed_us else "never under"  # squeezed too far
    instead = f"Write `{longer} {_seconds(proposed_us)}` or longer" + (", or `like even`." if evenly else ".")
    yield _advice(move, f"{what}.", instead)


def _in_steps(move: Move, over_us: int, servos: list[Output]) -> Iterator[Problem]:
    from engine.codes import servo_steps

    for servo in servos:
        low, high = servo.span if servo.positions else (0.0, 0.0)
        steps = servo_steps(servo, high - low, over_us, 1.0)
        if 0.0 < steps < FLOWING_STEPS_S:
            quicker_us = int(over_us * steps / FLOWING_STEPS_S) // NICE_US * NICE_US
            what = (
                f"`{servo.name}` will be seen to move in steps, {_how_often(steps)}: it is taken to answer to no less "
                f"than {servo.dead_band_deg:g} deg (`dead band` in the layout file)."
            )
            faster = f"Write `over {_seconds(quicker_us)}` or shorter" if quicker_us else "Move it further"
            yield _advice(move, what, f"{faster}, or turn the servo further with a shorter crank.")
            return


def _how_often(steps_a_second: float) -> str:
    if steps_a_second >= 1.0:
        return f"{steps_a_second:.1f} a second"
    return f"one every {_seconds(round(10 / steps_a_second) * NICE_US)}"


def daylight(program: Program) -> Iterator[Problem]:
    """Dusk where it is as dark already, and dawn where nothing makes it dark: once for each."""
    lines = [line for scene in program.scenes.values() for line in walk(*whole(scene)) if isinstance(line, Through)]
    if not lines:
        return
    from engine.daylight import EVENTS, end_lux

    layout = program.layout
    at_first = f"the layout file says `daylight: {layout.daylight_lux:g} lux`"
    set_out = any(begin.subject == DAYLIGHT for one in program.rehearsals.values() for begin in one.begins)
    dark = set_out or not all(EVENTS[line.course].rising for line in lines)
    told: set[str] = set()
    for line in lines:
        if line.course in told:
            continue
        end = end_lux(layout.whereabouts, line.course, layout.daylight_lux)
        if EVENTS[line.course].rising:
            what = f"Nothing makes it dark before this {line.course}, so nothing will be seen of it: {at_first}."
            instead, odd = "Write a line such as `fade daylight through dusk over 4 min` that comes first.", not dark
        else:
            what = f"It grows no darker here: {at_first}, and {line.course} ends at {end:.3g} lux."
            instead, odd = "Write more light there, such as `daylight: 10000 lux`.", end >= layout.daylight_lux
        if odd:
            told.add(line.course)
            yield Problem(line.place, what, instead, advice=True)


def fades(program: Program) -> Iterator[Problem]:
    """Slow fades to or from the dark on lamps with few levels: once for each lamp."""
    told: set[str] = set()
    for scene in program.scenes.values():
        for line in walk(*whole(scene)):
            if isinstance(line, Fade):
                for name, target in line.targets:
                    output = program.layout.outputs[name]
                    if output.kind is Kind.LAMP and name not in told and not output.dithers:
                        found = list(_coarse(line, output, target))
                        told.update([name] if found else [])
                        yield from found


def _coarse(fade: Fade, lamp: Output, target: float) -> Iterator[Problem]:
    """The way is not known; it is taken to be from the dark, or to it from full light."""
    from engine.codes import coarsest_step

    way = target or 1.0
    step, at = coarsest_step(lamp, 0.0, way)
    if step * 100 <= SEEN_UNITS or fade.over_us * step / way < SLOW_STEP_US:
        return
    what = (
        f"In the dark part of this fade `{lamp.name}` goes in steps that are seen: with {lamp.steps} levels, "
        f"one of {step * 100:.1f} % at {at * 100:.0f} %."
    )
    instead = (
        "If its board has more levels, or can be told two in turn, say so in the layout file "
        "(`levels: 4095`, `dithers: yes`); or fade more quickly."
    )
    yield _advice(fade, what, instead)
