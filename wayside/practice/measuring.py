"""One passage at a crossing, seen through its roles: when which lamp shines, which barrier stands where, who is there.

Reads a trace and the layout's `crossing:` section. Knows no name, line or number of a scene, and no practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from engine.layout import Blink, Crossing, Itself, Layout
from engine.trace import Record, Saw, Told, TrainOn
from engine.waves import Flashing, Steady, Wave, endless, shines
from wayside.practice.spans import Span, Spans, all_of, any_of

NEAR = 1e-6  # degrees, and levels of 0 to 1, nearer than this are the same
RAISED, LOWERED = "raised", "lowered"  # the layout file's reader demands that a barrier has both


class Found(NamedTuple):
    """What a measure found in a passage at one instant: microseconds, flashes a minute, or what was wrong."""

    at_us: int
    value: Fraction | int | None = None
    fault: str = ""


Findings = Iterator[Found]


@dataclass(frozen=True)
class Passage:
    """What happened at one crossing while trains passed, up to `ended_us`. `title` says what was played.

    `before` holds the state of each detector before the first instant; one that it does not name was unknown.
    """

    title: str
    layout: Layout
    crossing: Crossing
    trace: Sequence[Record]
    ended_us: int
    before: Mapping[str, str] = field(default_factory=dict)

    # --- outputs ---------------------------------------------------------------------------------------------------

    @cached_property
    def _told(self) -> dict[str, list[Told]]:
        found: dict[str, list[Told]] = {}
        for record in self.trace:
            if isinstance(record, Told) and record.at_us < self.ended_us:
                found.setdefault(record.output, []).append(record)
        return found

    def waves(self, output: str) -> Iterator[tuple[int, int, Wave]]:
        """What an output followed, from when to when; up to its first order it rests."""
        rest = self.layout.outputs[output].rest
        start, wave = 0, self._seen(output, 0, Steady(rest.value) if rest.blink is None else Flashing(0, rest.blink))
        for told in self._told.get(output, ()):
            if told.at_us > start:
                yield start, told.at_us, wave
            start, wave = told.at_us, self._seen(output, told.at_us, told.wave)
        yield start, self.ended_us, wave

    def _seen(self, output: str, at_us: int, wave: Wave) -> Wave:
        """What is seen of a wave: a pair that its board flashes is only told to be on."""
        if self.is_pair(output) and wave.value_at(at_us) > 0:
            return Flashing(at_us, Blink(self.layout.outputs[output].itself_us, 1, 0, 2))
        return wave

    def is_pair(self, output: str) -> bool:
        """Whether the one output is two lamps that its board flashes in turn."""
        return self.layout.outputs[output].itself is Itself.FLASHES and self.layout.outputs[output].itself_us > 0

    def _spans(self, found: Iterable[tuple[int, int]]) -> Spans:
        return Spans(found, self.ended_us)

    def every(self, sets: Iterable[Spans]) -> Spans:
        return all_of(sets, self.ended_us)

    def some(self, sets: Iterable[Spans]) -> Spans:
        return any_of(sets, self.ended_us)

    # --- lamps and sounds ------------------------------------------------------------------------------------------

    def shining(self, output: str) -> Spans:
        """When it is told to be on: also between two flashes, and while it dies down or has still to come up."""
        return self._spans(_shining(self.waves(output)))

    def flashing(self, output: str) -> Spans:
        """When it flashes because a line said so."""
        return self._spans((start, end) for start, end, wave in self.waves(output) if isinstance(wave, Flashing))

    def steady(self, output: str) -> Spans:
        """When it shines and goes through nothing that repeats itself."""
        repeating = [(start, end) for start, end, wave in self.waves(output) if endless(wave)]
        return self.shining(output) - self._spans(repeating)

    def lit(self, output: str) -> Spans:
        """When it gives light: not between two flashes."""
        pieces = (piece for one in self.waves(output) for piece in _pieces(*one))
        return self._spans((start, end) for start, end, low, high in pieces if max(low, high) > NEAR)

    # --- barriers and signals --------------------------------------------------------------------------------------

    @property
    def barriers(self) -> tuple[str, ...]:
        return self.crossing.entrance_barriers + self.crossing.exit_barriers

    def standing(self, output: str, value: float) -> Spans:
        """When it stands at a value and stays there: not in the instants in which a bounce touches it."""
        pieces = (piece for one in self.waves(output) for piece in _pieces(*one))
        return self._spans(
            (start, end) for start, end, low, high in pieces if abs(low - value) < NEAR and abs(high - value) < NEAR
        )

    def position(self, barrier: str, name: str) -> float:
        positions = self.layout.outputs[barrier].positions
        return next(position.degrees for position in positions if position.name == name)

    def raised(self, barrier: str) -> Spans:
        return self.standing(barrier, self.position(barrier, RAISED))

    def lowered(self, barrier: str) -> Spans:
        return self.standing(barrier, self.layout.outputs[barrier].lowered_deg)

    def leaves(self, barrier: str, name: str) -> list[int]:
        """The instants at which it leaves a position; the first instant, too, if it rested there until then."""
        at, standing = self.position(barrier, name), self.standing(barrier, self.position(barrier, name))
        rested = abs(self.layout.outputs[barrier].rest.value - at) < NEAR
        return [*([0] if rested and standing.at(0) is None else []), *standing.ends()]

    def going(self, barrier: str, toward: str) -> Spans:
        """When it is on a way that ends nearer to a position than it began: a bounce on landing is no rise."""
        target = self.position(barrier, toward)
        return self._spans(
            (start, min(end, wave.ends_us))
            for start, end, wave in self.waves(barrier)
            if wave.ends_us is not None
            and abs(wave.value_at(wave.ends_us) - target) < abs(wave.value_at(start) - target) - NEAR
        )

    def at_danger(self, signal: str) -> Spans:
        """When it shows, with every lamp and arm arrived, an aspect at which trains stop."""
        output = self.layout.outputs[signal]
        return self.some(
            self.every([self.standing(signal, float(index)), *(self.standing(part, at) for part, at in aspect.parts)])
            for index, aspect in enumerate(output.aspects)
            if aspect.stops
        )

    # --- the crossing as a whole -----------------------------------------------------------------------------------

    @cached_property
    def reds_on(self) -> Spans:
        """When every red is told to shine, flashing or not."""
        return self.every(map(self.shining, self.crossing.reds))

    @cached_property
    def reds_flash(self) -> Spans:
        return self.every(map(self.flashing, self.crossing.reds))

    @cached_property
    def some_red(self) -> Spans:
        return self.some(map(self.shining, self.crossing.reds))

    @cached_property
    def some_amber(self) -> Spans:
        return self.some(map(self.shining, self.crossing.amber))

    @cached_property
    def amber_or_reds(self) -> Spans:
        return self.some([self.some_amber, self.reds_on])

    @cached_property
    def all_raised(self) -> Spans:
        return self.every(map(self.raised, self.barriers))

    @cached_property
    def all_lowered(self) -> Spans:
        return self.every(map(self.lowered, self.barriers))

    @cached_property
    def closings(self) -> Spans:
        """From the instant at which the first barrier leaves fully raised until all are fully raised again."""
        return ~self.all_raised

    @cached_property
    def sounding(self) -> Spans:
        return self.some(map(self.shining, self.crossing.audible_warning))

    @cached_property
    def all_at_danger(self) -> Spans:
        return self.every(map(self.at_danger, self.crossing.signals))

    @cached_property
    def warnings(self) -> Spans:
        """From a train's detection, or the first light, until no train is detected and all is dark and raised."""
        return self.some([self.detected, self.some_amber, self.some_red, self.closings])

    # --- trains ----------------------------------------------------------------------------------------------------

    @cached_property
    def detected(self) -> Spans:
        """When some detector of the crossing does not say that it is clear."""
        return self.some(map(self._not_clear, self.crossing.detectors))

    def _not_clear(self, detector: str) -> Spans:
        states = [(0, self.before.get(detector, "unknown"))]
        states += [(one.at_us, one.state) for one in self.trace if isinstance(one, Saw) and one.detector == detector]
        ends = [*(at for at, _ in states[1:]), self.ended_us]
        return self._spans((at, end) for (at, state), end in zip(states, ends, strict=True) if state != "clear")

    @cached_property
    def on_the_road(self) -> dict[int, Spans]:
        """For each train, when any part of it truly is on the road, whatever a detector says."""
        road = set(self.crossing.on_the_road)
        moves = [one for one in self.trace if isinstance(one, TrainOn) and one.detector in road]
        return {train: self._on([one for one in moves if one.train == train]) for train in {one.train for one in moves}}

    def _on(self, moves: Sequence[TrainOn]) -> Spans:
        stretches: dict[str, int] = {}
        found: list[tuple[int, int]] = []
        for move in moves:
            if move.on:
                stretches.setdefault(move.detector, move.at_us)
            elif move.detector in stretches:
                found.append((stretches.pop(move.detector), move.at_us))
        return self._spans([*found, *((since, self.ended_us) for since in stretches.values())])

    @cached_property
    def arrivals(self) -> list[int]:
        """The instants at which the front of a train comes on to the road."""
        return sorted(span.start for spans in self.on_the_road.values() for span in spans)

    def since(self, spans: Spans, at_us: int) -> int:
        """For how long something has held at an instant; 0 if it does not hold."""
        span: Span | None = spans.at(at_us)
        return 0 if span is None else at_us - span.start


def _pieces(start: int, end: int, wave: Wave) -> Iterator[tuple[int, int, float, float]]:
    """A wave from turn to turn, between which it is monotone: (from, to, value there, last value before the end)."""
    while start < end:
        turn = wave.turns(start)
        stop = end if turn is None else min(turn, end)
        yield start, stop, wave.value_at(start), wave.value_at(stop - 1)
        start = stop


def _shining(waves: Iterable[tuple[int, int, Wave]]) -> Iterator[tuple[int, int]]:
    for start, end, wave in waves:
        over = wave.ends_us
        settled = end if over is None or endless(wave) else min(max(over, start), end)
        if shines(wave, start):
            yield start, settled
        if settled < end and shines(wave, settled):
            yield settled, end
