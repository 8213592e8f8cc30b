"""One case of a challenge: trains and acts to be played against the rules, and what came of playing it.

Plays as fast as it can and stops where a rule breaks. Knows no search and no screen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from adapters.simulator import World
from engine.conditions import Sort, atoms
from engine.drive import next_instant, work
from engine.kernel import Kernel
from engine.layout import Track
from engine.monitors import Verdict
from engine.program import (
    Act,
    Program,
    Rule,
    TrainRun,
    lines_of,
)
from engine.rules import Broken, Judgement, Rules, Sentence, sentences
from engine.trace import Record, Saw, TrainAt
from wayside.challenge.snags import Snag, snags_of
from wayside.rehearsal.playing import drivers_see

BEGINS_US = 1_000_000  # a case is at rest for so long: what is so from the first instant on is no change for any scene
LONGEST_US = 600_000_000  # of one case, where it never comes to rest
TOUCHING_UM = 1_000  # trains that overlap by no more touch: what is rounded to whole micrometres is far less
MOST_INSTANTS = 1_500  # of one case: light that flickers for ten minutes is not what a challenge is about


class Case(NamedTuple):
    """What happens to the layout. Begins with every detector clear and every output at rest."""

    trains: tuple[TrainRun, ...] = ()
    acts: tuple[Act, ...] = ()
    seed: int = 0  # of what scenes leave to chance

    @property
    def size(self) -> int:
        return len(self.trains) + len(self.acts)


class Line(NamedTuple):
    """Which line of which rule, by name and number: what is the same in every process."""

    rule: str
    number: int


class Played(NamedTuple):
    """What came of a case. `instants` are those at which anything happened, `order` in which detectors spoke."""

    broken: tuple[Line, ...]
    broke_us: int  # when the first rule broke; -1: none did
    margins: dict[Line, tuple[float, int]]  # of lines that were kept: the margin, and at which instant
    instants: tuple[int, ...]
    order: tuple[tuple[str, str], ...]
    unseen_us: int
    possible: bool  # no train ran through another
    snags: tuple[Snag, ...] = ()


@dataclass(frozen=True)
class Field:
    """What cases are played on: a program cut down to what its rules can see, made ready once."""

    program: Program
    rules: tuple[Sentence, ...]
    lines: tuple[Line, ...]

    @staticmethod
    def of(program: Program, names: Iterable[str]) -> Field:
        """For the rules named."""
        rules = [program.rules[name] for name in names]
        known = sentences(rules)
        numbers: dict[str, int] = {}
        lines = []
        for one in known:
            numbers[one.rule.name] = numbers.get(one.rule.name, -1) + 1
            lines.append(Line(one.rule.name, numbers[one.rule.name]))
        return Field(_relevant(program, rules), known, tuple(lines))


def play(field: Field, case: Case, to_the_end: bool = False) -> Played:
    """Play a case until a rule breaks, or until nothing happens any more; `to_the_end` in any case until then."""
    kernel, rules, world = _set_out(field, case)
    instants: list[int] = []
    broken: list[int] = []
    broke_us = -1
    for now_us, found in _worked(kernel, world):
        instants.append(now_us)
        if found:
            broken += [one.number for one in found if one.number not in broken]
            broke_us = now_us if broke_us < 0 else broke_us
            if not to_the_end:
                break
    judgements = rules.judgements(kernel.stage.now_us)
    margins = {
        line: (one.margin.amount, one.margin.at_us)
        for line, one in zip(field.lines, judgements, strict=True)
        if one.margin is not None and one.verdict is not Verdict.BROKEN
    }
    trace = kernel.trace
    return Played(
        tuple(field.lines[number] for number in broken),
        broke_us,
        margins,
        tuple(instants),
        tuple((record.detector, record.state) for record in trace if isinstance(record, Saw)),
        world.unseen_us(kernel.stage.now_us),
        not collides(case.trains, trace, field.program.layout.tracks),
        snags_of(trace),
    )


def judged(field: Field, case: Case) -> tuple[Judgement, ...]:
    """What every line of every rule comes to, in the order of `field.lines`."""
    kernel, rules, world = _set_out(field, case)
    for _ in _worked(kernel, world):
        pass
    return rules.judgements(kernel.stage.now_us)


def _set_out(field: Field, case: Case) -> tuple[Kernel, Rules, World]:
    layout = field.program.layout
    kernel = Kernel(field.program, case.seed)
    rules = Rules(kernel, field.rules)
    return kernel, rules, World(layout, case.trains, case.acts, drivers_see(kernel, layout))


def _worked(kernel: Kernel, world: World) -> Iterator[tuple[int, list[Broken]]]:
    """Each instant that a case comes to, within its bounds, and what it has broken."""
    for _ in range(MOST_INSTANTS):
        now_us = next_instant(kernel, world)
        if now_us is None or now_us >= LONGEST_US:
            return
        yield now_us, work(kernel, world, now_us)


# --- trains that run through one another ---------------------------------------------------------------------------


def collides(trains: Sequence[TrainRun], trace: Sequence[Record], tracks: Mapping[str, Track]) -> bool:
    """Whether two trains on one track were ever at the same place: no layout can do that, so no rule need bear it."""
    names = [train.track for train in trains]
    if len(set(names)) == len(names):
        return False
    courses: dict[int, list[TrainAt]] = {}
    for record in trace:
        if isinstance(record, TrainAt):
            courses.setdefault(record.train, []).append(record)
    numbers = sorted(courses)
    return any(
        _meet(courses[one], courses[other], tracks[names[one]].length_mm * 1_000)
        for place, one in enumerate(numbers)
        for other in numbers[place + 1 :]
        if names[one] == names[other]
    )


def _meet(one: list[TrainAt], other: list[TrainAt], length_um: int) -> bool:
    """Both run evenly between their records, so how far they are apart changes evenly, too: look at both ends of the
    time for which both are on the track. What is beyond its ends is nobody's place.
    """
    changes = sorted({record.at_us for record in (*one, *other)})
    for at_us, end_us in zip(changes, [*changes[1:], changes[-1]], strict=True):
        mine, its = _course_at(one, at_us), _course_at(other, at_us)
        if mine is None or its is None:
            continue
        times = [_there(course, at_us, end_us, length_um) for course in (mine, its)]
        from_us, until_us = max(time[0] for time in times), min(time[1] for time in times)
        if from_us <= until_us:
            sides = [_side(mine, its, instant) for instant in (from_us, until_us)]
            if 0 in sides or sides[0] != sides[1]:
                return True
    return False


def _course_at(course: list[TrainAt], at_us: int) -> TrainAt | None:
    return next((record for record in reversed(course) if record.at_us <= at_us), None)


def _there(course: TrainAt, at_us: int, end_us: int, length_um: int) -> tuple[int, int]:
    """From when until when, of a time for which it runs evenly, a train is on the track; until before from: never."""
    low, high = _span(course, at_us)
    speed = abs(course.speed_um_s)
    ahead, room = (-high, length_um - low) if course.speed_um_s >= 0 else (low - length_um, high)
    if not speed:
        return (at_us, end_us) if ahead < 0 < room else (end_us, at_us - 1)
    return max(at_us, at_us + ahead * 1_000_000 // speed), min(end_us, at_us + room * 1_000_000 // speed)


def _side(one: TrainAt, other: TrainAt, at_us: int) -> int:
    """1 if one is wholly ahead of the other along the track, -1 if behind, 0 if they overlap."""
    (low, high), (its_low, its_high) = _span(one, at_us), _span(other, at_us)
    return 1 if low + TOUCHING_UM >= its_high else -1 if high <= its_low + TOUCHING_UM else 0


def _span(course: TrainAt, at_us: int) -> tuple[int, int]:
    """From where to where a train is, along the track or beyond its ends."""
    way = course.speed_um_s * (at_us - course.at_us) // 1_000_000
    ends = course.front_um + way, course.tail_um + way
    return min(ends), max(ends)


# --- what rules can see --------------------------------------------------------------------------------------------


def _relevant(program: Program, rules: Sequence[Rule]) -> Program:
    """The program without the scenes that nothing the rules ask can depend on, so that cases play faster."""
    asked = [atom for rule in rules for line in rule.lines for one in line.conditions for atom in atoms(one.term)]
    outputs = {atom.subject for atom in asked if atom.sort is Sort.OUTPUT}
    outputs |= {hold.signal for track in program.layout.tracks.values() for hold in track.holds}
    other = {(atom.sort, atom.subject) for atom in asked}
    kept: set[str] = set()
    own = {rule.if_broken for rule in rules}  # begun by the rules themselves
    while True:
        more = {
            name
            for name, scene in program.scenes.items()
            if name not in kept
            and (
                name in own
                or outputs & set(scene.writes)
                or (Sort.SCENE, name) in other
                or _touches(program, name, other, kept)
            )
        }
        if not more:
            break
        kept |= more
        for name in more:
            outputs |= set(program.scenes[name].writes)
            other |= _reads(program, name)
            outputs |= {subject for sort, subject in other if sort is Sort.OUTPUT}
    scenes = {name: scene for name, scene in program.scenes.items() if name in kept}
    return replace(program, scenes=scenes, rehearsals={})


def _touches(program: Program, name: str, other: set[tuple[Sort, str]], kept: set[str]) -> bool:
    """Whether a scene changes a flag or counter that matters, or starts or stops a scene that does."""
    from engine.program import Count, RunScene, SetFlag, StopOthers, StopScene

    scene = program.scenes[name]
    for line in (*lines_of(scene.block), *lines_of(scene.when_stopped or ())):
        match line:
            case SetFlag(flag=flag):
                matters = (Sort.FLAG, flag) in other
            case Count(counter=counter):
                matters = (Sort.COUNTER, counter) in other
            case RunScene(scene=target) | StopScene(scene=target):
                matters = target in kept
            case StopOthers():
                matters = True
            case _:
                matters = False
        if matters:
            return True
    return False


def _reads(program: Program, name: str) -> set[tuple[Sort, str]]:
    """What a scene's heads and lines ask, and the scenes that it starts."""
    from engine.program import RunScene, conditions

    scene = program.scenes[name]
    alone = replace(program, scenes={name: scene})
    found = {(atom.sort, atom.subject) for condition in conditions(alone) for atom in atoms(condition.term)}
    for line in (*lines_of(scene.block), *lines_of(scene.when_stopped or ())):
        if isinstance(line, RunScene):
            found.add((Sort.SCENE, line.scene))
    found |= {(Sort.SCENE, take.scene) for take in scene.takes}
    return found
