"""What one output draws from instant to instant of a played trace, as steps of whole microamperes.

Knows no supply and no file. A lamp counts in full whenever it is lit: dimmed, it is switched fully on many times a
second, and lamps on one driver are switched on together. A servo is nearly stalled as it starts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from engine.layout import Kind, Layout, Output
from engine.supply import Draw
from engine.trace import Record, Told
from engine.waves import Flashing, State, Steady, Wave, endless, next_change

# A servo of the 9 g class at 4.8 V (sellers); standing: from memory.
SERVO_MOVING_UA, SERVO_STALLED_UA, SERVO_IDLE_UA = 170_000, 650_000, 10_000
SERVO_SOURCE = "9 g class at 4.8 V, sellers' figures"
START_US = 100_000  # that a servo or motor draws nearly its stall current as it starts (common practice, no source)
MOST_EDGES = 50_000  # of one wave that are told apart; past them it counts as lit

_SAME_DEG = 1e-9
ON, STARTS, MOVES, STANDS, PULSES = "on", "starts", "moves", "stands", "pulses"


class Taken(NamedTuple):
    """What an output takes, with what the layout file leaves out filled in. `stated`: nothing had to be."""

    full_ua: int
    start_ua: int
    idle_ua: int
    stated: bool


class Step(NamedTuple):
    """From an instant on it draws this much, and why; `start_ua` in place of it where a start counts as moving only."""

    at_us: int
    ua: int
    lasting_ua: int
    doing: str


def taken(output: Output, draw: Draw | None) -> Taken:
    """What it takes; of servos the usual of a small one, of all else nothing, where the layout file is silent."""
    draw = draw or Draw()
    servo = output.kind is Kind.SERVO
    full = draw.full_ua if draw.full_ua is not None else SERVO_MOVING_UA if servo else 0
    usual = max(SERVO_STALLED_UA, full) if servo else full
    start = draw.stalled_ua if draw.stalled_ua is not None else usual
    idle = draw.idle_ua if draw.idle_ua is not None else min(SERVO_IDLE_UA, full) if servo else 0
    stated = draw.full_ua is not None and (not servo or draw.stalled_ua is not None)
    return Taken(full, start, idle, stated)


def told_to(layout: Layout, trace: Sequence[Record], names: Mapping[str, object]) -> dict[str, list[tuple[int, Wave]]]:
    """What each of the outputs was told from the beginning on: its state of rest first."""
    found: dict[str, list[tuple[int, Wave]]] = {name: [(0, _rest(layout.outputs[name]))] for name in names}
    for record in trace:
        if not isinstance(record, Told) or record.output not in found:
            continue
        waves = found[record.output]
        if record.why == "begins":
            waves[:] = [(0, record.wave)]
            continue
        waves.append((record.at_us, record.wave))
    return found


def _rest(output: Output) -> Wave:
    return Flashing(0, output.rest.blink) if output.rest.blink else Steady(output.rest.value)


def steps(output: Output, own: Taken, waves: Sequence[tuple[int, Wave]], until_us: int, recharge_us: int) -> list[Step]:
    """Every change of what an output draws. `recharge_us`: of the discharge unit that feeds a pulse."""
    found: list[Step] = []
    before: Wave | None = None
    for number, (at_us, wave) in enumerate(waves):
        end_us = waves[number + 1][0] if number + 1 < len(waves) else until_us
        if output.kind is Kind.SERVO:
            found += _servo(output, own, before, at_us, wave, end_us)
        elif output.kind is Kind.PULSE:
            found += _pulse(own, at_us, wave, end_us, recharge_us)
        elif output.kind is Kind.SIGNAL:
            found += [Step(at_us, own.full_ua, own.full_ua, ON)]
        else:
            running = before is not None and before.value_at(at_us) != 0
            found += _lit(output, own, at_us, wave, end_us, running)
        before = wave
    return found


def _lit(output: Output, own: Taken, at_us: int, wave: Wave, end_us: int, running: bool) -> Iterator[Step]:
    """A lamp, relay, sound or motor. A motor that stood draws more as it starts."""
    for from_us, lit in _edges(wave, at_us, end_us):
        if output.kind is Kind.MOTOR and lit and not running and own.start_ua > own.full_ua:
            yield Step(from_us, own.start_ua, own.full_ua, STARTS)
            from_us = min(from_us + START_US, end_us)
        yield Step(from_us, own.full_ua if lit else 0, own.full_ua if lit else 0, ON if lit else "")
        running = lit


def _edges(wave: Wave, at_us: int, end_us: int) -> Iterator[tuple[int, bool]]:
    if wave.state is State.STEADY:
        yield at_us, wave.value_at(at_us) != 0
        return
    if wave.state is State.FLICKERING:
        yield at_us, True
        return
    lit = wave.value_at(at_us) != 0
    yield at_us, lit
    here_us: int | None = at_us
    for _ in range(MOST_EDGES):
        here_us = next_change(wave, here_us or at_us, _is_lit, end_us)
        if here_us is None or here_us >= end_us:
            return
        if (now := wave.value_at(here_us) != 0) != lit:
            lit = now
            yield here_us, lit
    if not lit and here_us is not None:
        yield here_us, True


def _is_lit(value: float) -> int:
    return int(value != 0)


def _pulse(own: Taken, at_us: int, wave: Wave, end_us: int, recharge_us: int) -> Iterator[Step]:
    """A pulse, or what its discharge unit takes from then until it has recharged."""
    if wave.value_at(at_us) != 0:
        yield Step(at_us, own.full_ua, own.full_ua, PULSES)
    elif at_us == 0:
        yield Step(at_us, 0, 0, "")
    elif at_us + recharge_us < end_us:  # else it is still recharging when the next pulse comes
        yield Step(at_us + recharge_us, 0, 0, "")


def _servo(output: Output, own: Taken, before: Wave | None, at_us: int, wave: Wave, end_us: int) -> Iterator[Step]:
    moves_until_us = _moves_until(output, before, at_us, wave)
    if moves_until_us is None or moves_until_us <= at_us:
        yield Step(at_us, own.idle_ua, own.idle_ua, STANDS)
        return
    stop_us = min(moves_until_us, end_us)
    yield Step(at_us, own.start_ua, own.full_ua, STARTS)
    if at_us + START_US < stop_us:
        yield Step(at_us + START_US, own.full_ua, own.full_ua, MOVES)
    if stop_us < end_us:
        yield Step(stop_us, own.idle_ua, own.idle_ua, STANDS)


def _moves_until(output: Output, before: Wave | None, at_us: int, wave: Wave) -> int | None:
    """When a move ends that begins with a wave; None if nothing moves."""
    if endless(wave):
        return 1 << 62
    if wave.ends_us is not None:
        return wave.ends_us
    if before is None:
        return None
    way = abs(wave.value_at(at_us) - before.value_at(at_us))
    if way <= _SAME_DEG or len(output.positions) < 2:
        return None
    low, high = sorted(output.span)
    travel_us = output.itself_us or output.travel_us
    return at_us + round(travel_us * min(1.0, way / (high - low))) if high > low else None
