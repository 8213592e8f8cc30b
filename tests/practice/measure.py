"""Measures a crossing from its roles in the layout file and from the trace of a rehearsal.

Must not know any name, position or line of a scene: a barrier's raised position is its rest, its lowered position the
other end of its travel; a signal protects while it shows an aspect at which trains stop.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from engine.layout import DAYLIGHT, Crossing, Kind, Layout
from engine.trace import Record, Saw, Told, TrainOn
from engine.waves import Flashing, Steady, Wave, endless
from wayside.project import load
from wayside.rehearsal.rehearsing import rehearse

SECOND = 1_000_000
NEAR = 1e-6  # degrees and levels nearer than this are the same

Facts = Callable[[int, int], bool]  # does something hold from this instant up to the next?


class Span(NamedTuple):
    """From an instant up to another; `open` where the rehearsal ended first."""

    start: int
    end: int
    open: bool

    def covers(self, at: int) -> bool:
        return self.start <= at < self.end


@dataclass(frozen=True)
class Measured:
    """One rehearsal's trace, seen through the roles of the layout's one crossing."""

    layout: Layout
    trace: tuple[Record, ...]
    ended_us: int

    @cached_property
    def roles(self) -> Crossing:
        (crossing,) = self.layout.crossings.values()
        return crossing

    @property
    def barriers(self) -> tuple[str, ...]:
        return self.roles.entrance_barriers + self.roles.exit_barriers

    @cached_property
    def courses(self) -> dict[str, list[tuple[int, Wave]]]:
        """What each output was told, and when; before the first order it rests."""
        found: dict[str, list[tuple[int, Wave]]] = {
            name: [(0, Steady(output.rest.value))] for name, output in self.layout.outputs.items()
        }
        for record in self.trace:
            if isinstance(record, Told):
                found[record.output].append((record.at_us, record.wave))
        return found

    @cached_property
    def instants(self) -> list[int]:
        """Every instant at which anything measured here can change."""
        found = {0, self.ended_us}
        for course in self.courses.values():
            for (at, wave), (until, _) in zip(course, [*course[1:], (self.ended_us, None)], strict=True):
                found.add(at)
                turn = None if endless(wave) else wave.turns(at)
                while turn is not None and turn < until:
                    found.add(turn)
                    turn = wave.turns(turn)
        found.update(record.at_us for record in self.trace if isinstance(record, Saw | TrainOn))
        return sorted(at for at in found if 0 <= at <= self.ended_us)

    def wave(self, output: str, at: int) -> Wave:
        return [wave for since, wave in self.courses[output] if since <= at][-1]

    def spans(self, facts: Facts) -> list[Span]:
        """The longest spans throughout which something holds."""
        found: list[Span] = []
        for start, end in zip(self.instants, self.instants[1:], strict=False):
            if not facts(start, end):
                continue
            if found and found[-1].end == start:
                start = found.pop().start
            found.append(Span(start, end, end == self.ended_us))
        return found

    # --- what can hold -----------------------------------------------------------------------------------------

    def stands(self, output: str, value: float) -> Facts:
        def facts(start: int, end: int) -> bool:
            wave = self.wave(output, start)
            return abs(wave.value_at(start) - value) < NEAR and abs(wave.value_at(end) - value) < NEAR

        return facts

    def raised(self, barrier: str) -> Facts:
        return self.stands(barrier, self.layout.outputs[barrier].rest.value)

    def lowered(self, barrier: str) -> Facts:
        return self.stands(barrier, self._lowered_value(barrier))

    def _lowered_value(self, barrier: str) -> float:
        output = self.layout.outputs[barrier]
        return max(output.span, key=lambda degrees: abs(degrees - output.rest.value))

    def going(self, barrier: str, down: bool) -> Facts:
        """The barrier moves toward its lowered position, or away from it."""
        target = self._lowered_value(barrier)

        def facts(start: int, end: int) -> bool:
            wave = self.wave(barrier, start)
            nearer = abs(wave.value_at(start) - target) - abs(wave.value_at(end) - target)
            return (nearer if down else -nearer) > NEAR

        return facts

    def flashing(self, lamp: str) -> Facts:
        return lambda start, end: isinstance(self.wave(lamp, start), Flashing)

    def steady(self, lamp: str) -> Facts:
        def facts(start: int, end: int) -> bool:
            wave = self.wave(lamp, start)
            return not isinstance(wave, Flashing) and wave.value_at(start) > 0

        return facts

    def shining(self, lamp: str) -> Facts:
        return any_of([self.flashing(lamp), self.steady(lamp)])

    def protecting(self, signal: str) -> Facts:
        """The signal shows, with every lamp and arm arrived, an aspect at which trains stop."""
        output = self.layout.outputs[signal]
        shown = [
            all_of([self.stands(signal, float(index)), *(self.stands(part, value) for part, value in aspect.parts)])
            for index, aspect in enumerate(output.aspects)
            if aspect.stops
        ]
        return any_of(shown)

    def detected(self) -> Facts:
        """Some detector of the crossing does not report clear."""
        return lambda start, end: any(self._saw(name, start) != "clear" for name in self.roles.detectors)

    def _saw(self, detector: str, at: int) -> str:
        seen = [r.state for r in self.trace if isinstance(r, Saw) and r.detector == detector and r.at_us <= at]
        return seen[-1] if seen else "clear"

    def train_on(self, detectors: Iterable[str]) -> Facts:
        """A train truly stands on the stretch of one of the detectors, whatever the detector says."""
        wanted = set(detectors)
        moves = [r for r in self.trace if isinstance(r, TrainOn) and r.detector in wanted]

        def facts(start: int, end: int) -> bool:
            return sum(1 if move.on else -1 for move in moves if move.at_us <= start) > 0

        return facts

    # --- what is asked often -----------------------------------------------------------------------------------

    @cached_property
    def closings(self) -> list[Span]:
        """From the instant at which the first barrier leaves fully raised until all are fully raised again."""
        return self.spans(none_of([all_of([self.raised(barrier) for barrier in self.barriers])]))

    @cached_property
    def all_lowered(self) -> list[Span]:
        return self.spans(all_of([self.lowered(barrier) for barrier in self.barriers]))

    @cached_property
    def all_flashing(self) -> list[Span]:
        return self.spans(all_of([self.flashing(lamp) for lamp in self.roles.reds]))

    def descents(self, barrier: str) -> list[int]:
        """How long each whole way took, from fully raised to fully lowered."""
        raised, lowered = self.spans(self.raised(barrier)), self.spans(self.lowered(barrier))
        found = []
        for up in raised:
            down = next((span for span in lowered if span.start >= up.end), None)
            again = next((span for span in raised if span.start > up.start), None)
            if down and (again is None or again.start > down.start):
                found.append(down.start - up.end)
        return found

    def arrivals(self) -> list[int]:
        """The instants at which a train's front truly comes on to the road."""
        return [span.start for span in self.spans(self.train_on(self.roles.on_the_road))]

    def onsets(self, lamp: str) -> list[int]:
        """The instants at which a flashing lamp lights, over each span of its flashing."""
        found = []
        for span in self.spans(self.flashing(lamp)):
            wave, at = self.wave(lamp, span.start), span.start
            while (nxt := wave.turns(at)) is not None and nxt < span.end:
                at = nxt
                if wave.value_at(at) > 0:
                    found.append(at)
        return found


def all_of(facts: Sequence[Facts]) -> Facts:
    return lambda start, end: all(fact(start, end) for fact in facts)


def any_of(facts: Sequence[Facts]) -> Facts:
    return lambda start, end: any(fact(start, end) for fact in facts)


def none_of(facts: Sequence[Facts]) -> Facts:
    return lambda start, end: not any(fact(start, end) for fact in facts)


def covering(spans: Iterable[Span], at: int) -> Span | None:
    return next((span for span in spans if span.covers(at)), None)


def s(us: int) -> str:
    return f"{us / SECOND:g} s"


# --- twins: a scene just inside a row's limit, or just outside it --------------------------------------------------


class Twin(NamedTuple):
    """A copy of an example's scene with some of its text changed, and the row whose limit it tries."""

    row: str
    inside: bool
    what: str
    changes: tuple[tuple[str, str], ...]

    @property
    def id(self) -> str:
        return f"{self.row}-{'inside' if self.inside else 'outside'}-{self.what.replace(' ', '-')}"


def changed(text: str, changes: Iterable[tuple[str, str]]) -> str:
    """The text with each change made; each must find its words exactly once, so that no twin is the original."""
    for old, new in changes:
        assert text.count(old) == 1, f"found {text.count(old)} times: {old!r}"
        assert old != new
        text = text.replace(old, new)
    return text


def play(
    folder: Path,
    scene: str,
    changes: Iterable[tuple[str, str]],
    into: Path,
    only: Sequence[str],
    renamed: Callable[[str], str] = str,
) -> list[Measured]:
    """Rehearse a copy of a folder, one scene of it changed; whether expectations are kept is not asked here."""
    for file in [*folder.glob("*.yaml"), *folder.glob("*.scene")]:
        text = file.read_text(encoding="utf-8")
        text = changed(text, changes) if file.name == scene else text
        (into / file.name).write_text(renamed(text), encoding="utf-8")
    project = load([into])
    errors = [problem for problem in project.problems if not problem.advice]
    assert not errors, errors
    found = []
    for name in only:
        result = rehearse(project.program, project.program.rehearsals[name])
        found.append(Measured(project.layout, tuple(result.trace), result.ended_us))
    return found


def other_names(layout: Layout) -> Callable[[str], str]:
    """Gives every output and detector of a layout another name, in layout and scene files alike."""
    written = [output.name for output in layout.outputs.values() if output.kind not in (Kind.COLOUR, Kind.DAYLIGHT)]
    numbered = {name: f"thing-{number}" for number, name in enumerate([*written, *layout.detectors])}
    longest_first = sorted(numbered, key=len, reverse=True)
    # a name, not a part of a longer one, and not a role of the crossing that happens to be called the same
    pattern = re.compile(rf"(?<![\w-])({'|'.join(longest_first)})(?![\w-])(?!: \[)")
    return lambda text: pattern.sub(lambda match: numbered[match[1]], text)


def names_do_not_matter(
    folder: Path,
    scene: str,
    wrong: Iterable[tuple[str, str]],
    tmp_path: Path,
    only: Sequence[str],
    checks: Iterable[Callable[[Measured], list[str]]],
) -> None:
    """Assert that a folder keeps its faults, and its having none, when every output and detector is renamed."""
    renamed, checks = other_names(load([folder]).layout), tuple(checks)
    for number, changes in enumerate(((), tuple(wrong))):
        into, beside = tmp_path / str(number), tmp_path / f"{number}-plain"
        into.mkdir()
        beside.mkdir()
        plain = play(folder, scene, changes, beside, only)
        other = play(folder, scene, changes, into, only, renamed)
        assert set(plain[0].layout.outputs) & set(other[0].layout.outputs) <= {DAYLIGHT}
        faults = [[check(measured) for measured in one for check in checks] for one in (plain, other)]
        assert faults[0] == faults[1]
        assert any(faults[1]) is bool(changes)
