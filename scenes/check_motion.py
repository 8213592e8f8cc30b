"""Advice about light and motion as the eye will see it: servos asked too much, moves and fades whose steps are seen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from engine.layout import Kind, Output
from engine.program import Fade, Move, Program
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
            if isinstance(line, Move) and line.over_us:
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


def _too_fast(move: Move, over_us: int, servos: list[Output]) -> Iterator[Problem]:
    slow = max(servos, key=lambda output: output.travel_us)
    if over_us >= slow.travel_us * _profile(move, over_us).peak_speed:
        return
    least_us = over_us
    for _ in range(3):  # how a landing goes depends on its time, so the proposal is looked at with its own
        peak = _profile(move, least_us).peak_speed
        least_us = max(over_us, -(-round(slow.travel_us * peak) // NICE_US) * NICE_US)
    peak = _profile(move, over_us).peak_speed
    what = (
        f"`{slow.name}` needs {_seconds(slow.travel_us)} for its whole travel at full speed (layout file), and this move, "
        f"at its fastest, goes {peak:.2f} times as fast as on average."
    )
    yield _advice(move, what, f"Write `over {_seconds(least_us)}` or longer, or `like even`.")


def _in_steps(move: Move, over_us: int, servos: list[Output]) -> Iterator[Problem]:
    from engine.codes import servo_steps

    for servo in servos:
        low, high = servo.span if servo.positions else (0.0, 0.0)
        steps = servo_steps(servo, high - low, over_us, 1.0)
        if 0.0 < steps < FLOWING_STEPS_S:
            quicker_us = round(over_us * steps / FLOWING_STEPS_S) // NICE_US * NICE_US
            what = (
                f"`{servo.name}` will be seen to move in steps, {steps:.1f} a second: it answers to no less than "
                f"{servo.dead_band_deg:g} deg (layout file: `dead band`)."
            )
            faster = f"Write `over {_seconds(quicker_us)}` or shorter" if quicker_us else "Move it further"
            yield _advice(move, what, f"{faster}, or turn the servo further with a shorter crank.")
            return


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
