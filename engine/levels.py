"""How near a level came to a bound that a rule names: a margin in the output's own unit, exact over whole waves.

Between two settled instants a wave is what it was told, and between two turns it is monotone: its extremes are there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from engine.conditions import Any, Atom, Not, Sort, Term, Test
from engine.layout import Kind
from engine.monitors import Amount, Margin
from engine.stage import Shown, Stage
from engine.waves import LOOK_AHEAD, Wave

_UNITS = {Kind.SERVO: "deg", Kind.DAYLIGHT: "lux"}
_SIGNS = {Test.ABOVE: 1, Test.AT_LEAST: 1, Test.BELOW: -1, Test.AT_MOST: -1}
_Excess = Callable[[float], float]  # how far a value is past what the rule forbids; less than nothing: short of it


class _Bound(NamedTuple):
    """One output and the bound that it must not pass."""

    shown: Shown
    excess: _Excess


class Closeness:
    """The margin of a `never` with one part about levels: the least distance to the bound while all else held."""

    def __init__(self, bounds: Sequence[_Bound], part: int, unit: str, scale: float) -> None:
        self.margin: Margin | None = None
        self.unit = unit
        self._bounds = bounds
        self._part = part
        self._scale = scale
        self._since: int | None = None
        self._waves: list[Wave] = []

    def settle(self, now_us: int, holds: Sequence[bool]) -> None:
        self.finish(now_us - 1)
        others = all(held for part, held in enumerate(holds) if part != self._part)
        self._since = now_us if others else None
        self._waves = [bound.shown.wave for bound in self._bounds]
        if others:
            self.finish(now_us)  # the instant itself, even if the next one changes everything

    def finish(self, to_us: int) -> None:
        """Look at everything up to this instant, and the instant itself."""
        if self._since is None or to_us < self._since:
            return
        for bound, wave in zip(self._bounds, self._waves, strict=True):
            for at_us in _extremes(wave, self._since, to_us):
                distance = -bound.excess(wave.value_at(at_us)) * self._scale
                if self.margin is None or distance < self.margin.amount:
                    self.margin = Margin(distance, Amount.LEVEL, at_us)


def _extremes(wave: Wave, from_us: int, to_us: int) -> Iterator[int]:
    """Instants at which a wave may be highest and lowest. Of a wave that turns very often, the first turns."""
    yield from_us
    turn = wave.turns(from_us)
    for _ in range(LOOK_AHEAD):
        if turn is None or turn > to_us:
            break
        yield turn - 1
        yield turn
        turn = wave.turns(turn)
    yield to_us


def closeness(terms: Sequence[Term], stage: Stage) -> Closeness | None:
    """For a `never` of these parts; None unless just one of them compares levels, all of one unit."""
    about = [(part, bounds) for part, term in enumerate(terms) if (bounds := _bounds(term, stage, True))]
    if len(about) != 1:
        return None
    ((part, bounds),) = about
    units = {_UNITS.get(bound.shown.output.kind, "%") for bound in bounds}
    if len(units) != 1:
        return None
    (unit,) = units
    return Closeness(bounds, part, unit, 100.0 if unit == "%" else 1.0)


def _bounds(term: Term, stage: Stage, positive: bool) -> list[_Bound]:
    """The levels that a part compares, of which any may break the rule; none for what asks anything else, too."""
    match term:
        case Not(inner):
            return _bounds(inner, stage, not positive)
        case Any(terms) if positive:
            found = [_bounds(one, stage, positive) for one in terms]
            return [bound for bounds in found for bound in bounds] if all(found) else []
        case Atom(Sort.SHOWN, subject, test, amount) if test in _SIGNS or test is Test.PAST:
            return [_bound(Shown(stage.outputs[subject]), test, amount, positive)]
        case _:
            return []


def _bound(shown: Shown, test: Test, amount: float, positive: bool) -> _Bound:
    if test is Test.PAST:
        start, end = shown.output.span
        amount, sign = start + (end - start) * amount, 1 if end > start else -1
    else:
        sign = _SIGNS[test]
    way = sign if positive else -sign
    return _Bound(shown, lambda value: (value - amount) * way)
