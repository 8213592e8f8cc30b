"""Every case of a coarse grid played against a crossing, and judged without the engine's rules and monitors.

The search of `wayside.challenge.search` is held to it. It shares the kernel, the trains and the trace with the
search, and nothing of the judging, of what is tried, or of what trains can't do: whether a barrier is down, a lamp
flashes or a signal has cleared is read here from the waves that outputs were told, and where trains are from their own
records.

What it knows is the crossing of the example: two tracks, three rules.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from adapters.simulator import World
from engine.drive import jump
from engine.kernel import Kernel
from engine.layout import NOWHERE, Layout
from engine.program import Act, Deed, Program, TrainRun
from engine.trace import Record, Told, TrainAt, TrainOn
from engine.waves import State, Wave
from wayside.rehearsal.playing import drivers_see

S = 1_000_000
LONGEST_US = 200 * S  # a passage is over by then; what goes on is held at a signal for ever
LEAD_US = 1 * S  # of the rule: lowered at least 1 s before a train reaches the lane
STEP_S = 1  # of the grid
LENGTH_MM = 600
SPEEDS_MM_S = (150, 75)
DROPOUTS_S = (1, 3)
SAMPLE_US = 200_000  # how often it is looked whether trains meet


class Crossing(NamedTuple):
    """The names of what is judged and tried."""

    scene: str
    tracks: tuple[str, ...]
    detectors: tuple[str, ...]
    lane: str
    barriers: tuple[str, ...]
    reds: tuple[str, ...]
    signals: tuple[str, ...]


PELLBROOK = Crossing(
    scene="saltmarsh-lane",
    tracks=("up-line", "down-line"),
    detectors=("up-approach", "down-approach", "lane"),
    lane="lane",
    barriers=("near-barrier", "far-barrier"),
    reds=("red-left", "red-right"),
    signals=("up-signal", "down-signal"),
)


class Witness(NamedTuple):
    """A case that breaks a rule. `kind`: one train, two trains, a drop-out or a stop."""

    kind: str
    said: str
    trains: tuple[TrainRun, ...]
    acts: tuple[Act, ...]
    rules: frozenset[str]
    played: int  # cases up to this one


class Case(NamedTuple):
    kind: str
    said: str
    trains: tuple[TrainRun, ...]
    acts: tuple[Act, ...] = ()


# --- what is tried -------------------------------------------------------------------------------------------------


def cases(program: Program, crossing: Crossing) -> Iterator[Case]:
    """One train; then one train with a stop, a drop-out or a second train at each second of its passage."""
    stops = program.scenes[crossing.scene].when_stopped is not None
    for first in _firsts(crossing):
        yield Case("one train", _words(first), (first,))
        over_s = _passage_s(program, first)
        for second in range(1, over_s + 1, STEP_S):
            if stops:
                stop = Act(NOWHERE, second * S, Deed.STOP, crossing.scene)
                yield Case("a stop", f"{_words(first)}; a stop at {second} s", (first,), (stop,))
            yield from _followed(first, second, crossing)
            if not first.ignores_signals:  # one kind of fault at a time
                yield from _unseen(first, second, crossing)


def _firsts(crossing: Crossing) -> Iterator[TrainRun]:
    for ignores in (False, True):
        for track in crossing.tracks:
            for speed in SPEEDS_MM_S:
                yield TrainRun(NOWHERE, track, LENGTH_MM, speed * 1000, 1 * S, ignores_signals=ignores)


def _followed(first: TrainRun, second: int, crossing: Crossing) -> Iterator[Case]:
    for track in crossing.tracks:
        for speed in SPEEDS_MM_S:
            other = first._replace(track=track, speed_um_s=speed * 1000, from_us=second * S)
            yield Case("two trains", f"{_words(first)}; {_words(other)}", (first, other))


def _unseen(first: TrainRun, second: int, crossing: Crossing) -> Iterator[Case]:
    for detector in crossing.detectors:
        for lasts_s in DROPOUTS_S:
            act = Act(NOWHERE, second * S, Deed.STAYS, detector, "clear", lasts_s * S)
            said = f"{_words(first)}; {detector} stays clear for {lasts_s} s at {second} s"
            yield Case("a drop-out", said, (first,), (act,))


def _words(train: TrainRun) -> str:
    ignores = ", ignoring signals" if train.ignores_signals else ""
    return f"{train.track} {train.speed_um_s // 1000} mm/s from {train.from_us // S} s{ignores}"


def _passage_s(program: Program, train: TrainRun) -> int:
    """Until a little after all is still again, in whole seconds."""
    trace = played(program, (train,), ())
    return min(90, max((record.at_us for record in trace), default=0) // S + 2)


def played(program: Program, trains: tuple[TrainRun, ...], acts: tuple[Act, ...]) -> list[Record]:
    kernel = Kernel(program)
    world = World(program.layout, trains, acts, drivers_see(kernel, program.layout))
    jump(kernel, world, LONGEST_US)
    return list(kernel.trace)


def first_witness(program: Program, crossing: Crossing = PELLBROOK) -> Witness | None:
    """The first case of the grid that breaks a rule, and that trains could do."""
    for number, case in enumerate(cases(program, crossing), 1):
        trace = played(program, case.trains, case.acts)
        rules = broken(trace, program.layout, crossing)
        if rules and not meet(case.trains, trace, program.layout):
            return Witness(case.kind, case.said, case.trains, case.acts, frozenset(rules), number)
    return None


# --- what is judged ------------------------------------------------------------------------------------------------


class _Now(NamedTuple):
    """What an output follows, and when it arrives; None: it never moves, or goes on for ever."""

    wave: Wave
    arrives_us: int | None

    def stands_at(self, value: float, at_us: int) -> bool:
        """Whether it stands still at a value."""
        wave = self.wave
        if wave.state in (State.FLASHING, State.FLICKERING):
            return False
        return (self.arrives_us is None or at_us >= self.arrives_us) and abs(wave.value_at(at_us) - value) < 1e-6


def broken(trace: list[Record], layout: Layout, crossing: Crossing) -> set[str]:
    """The rules that a trace breaks: read anew at each instant at which something is told, arrives or moves."""
    told, on_lane, instants = _story(trace, layout, crossing)
    now: dict[str, _Now] = {}
    trains: set[int] = set()
    lowered_since: int | None = None
    found: set[str] = set()
    for at_us in instants:
        for record in told.get(at_us, ()):
            now[record.output] = _Now(record.wave, record.wave.ends_us)
        reached = False
        for step in on_lane.get(at_us, ()):
            reached = reached or step.on
            (trains.add if step.on else trains.discard)(step.train)
        lowered = all(_at(layout, now, name, "lowered", at_us, rest="raised") for name in crossing.barriers)
        raised = all(_at(layout, now, name, "raised", at_us, rest="raised") for name in crossing.barriers)
        flashing = all(name in now and now[name].wave.state is State.FLASHING for name in crossing.reds)
        lowered_since = None if not lowered else at_us if lowered_since is None else lowered_since
        if not raised and not flashing:
            found.add("reds-first")
        if trains and not lowered:
            found.add("road-closed")
        if reached and (lowered_since is None or at_us - lowered_since < LEAD_US):
            found.add("road-closed")
        if not lowered and any(_shows_clear(layout, now, name, at_us) for name in crossing.signals):
            found.add("signals")
    return found


def _story(
    trace: list[Record], layout: Layout, crossing: Crossing
) -> tuple[dict[int, list[Told]], dict[int, list[TrainOn]], list[int]]:
    parts = {part for name in crossing.signals for aspect in layout.outputs[name].aspects for part, _ in aspect.parts}
    watched = {*crossing.barriers, *crossing.reds, *parts}
    told: dict[int, list[Told]] = {}
    on_lane: dict[int, list[TrainOn]] = {}
    instants: set[int] = set()
    for record in trace:
        if isinstance(record, Told) and record.output in watched:
            told.setdefault(record.at_us, []).append(record)
            instants |= {record.at_us} if record.wave.ends_us is None else {record.at_us, record.wave.ends_us}
        elif isinstance(record, TrainOn) and record.detector == crossing.lane:
            on_lane.setdefault(record.at_us, []).append(record)
            instants.add(record.at_us)
    return told, on_lane, sorted(instants)


def _at(layout: Layout, now: dict[str, _Now], name: str, position: str, at_us: int, rest: str) -> bool:
    if name not in now:
        return position == rest
    degrees = next(one.degrees for one in layout.outputs[name].positions if one.name == position)
    return now[name].stands_at(degrees, at_us)


def _shows_clear(layout: Layout, now: dict[str, _Now], name: str, at_us: int) -> bool:
    """Whether every lamp and arm of a signal has arrived at `clear`. One that was never told is at rest: at danger."""
    parts = next(aspect.parts for aspect in layout.outputs[name].aspects if aspect.name == "clear")
    return all(part in now and now[part].stands_at(value, at_us) for part, value in parts)


# --- what trains can't do ------------------------------------------------------------------------------------------


def meet(trains: tuple[TrainRun, ...], trace: list[Record], layout: Layout) -> bool:
    """Whether two trains on one track are ever at one place: looked at five times a second."""
    if len(trains) < 2 or trains[0].track != trains[1].track:
        return False
    end_um = layout.tracks[trains[0].track].length_mm * 1000
    courses = [[record for record in trace if isinstance(record, TrainAt) and record.train == n] for n in (0, 1)]
    last_us = max(record.at_us for course in courses for record in course)
    return any(_overlap(courses, at_us, end_um) for at_us in range(0, last_us + SAMPLE_US, SAMPLE_US))


def _overlap(courses: list[list[TrainAt]], at_us: int, end_um: int) -> bool:
    spans = []
    for course in courses:
        here = [record for record in course if record.at_us <= at_us]
        if not here:
            return False
        way = here[-1].speed_um_s * (at_us - here[-1].at_us) / S
        ends = sorted((here[-1].front_um + way, here[-1].tail_um + way))
        spans.append((max(0.0, ends[0]), min(float(end_um), ends[1])))
    (low, high), (its_low, its_high) = spans
    return low < high and its_low < its_high and low < its_high and its_low < high
