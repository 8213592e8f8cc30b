"""What a track gives to the scene of a crossing, and what the scene needs: in time, without a word."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from engine.conditions import Held, Not, Sort, Test, atoms
from engine.layout import Crossing, Layout, Timed, Track
from engine.program import EachTime, OnlyWhile, Program, RuleLine, Scene, Whenever
from scenes.closing import Closing, closing
from scenes.lowering import lowered

_S = 1_000_000


class Approach(NamedTuple):
    """What a track gives to a crossing's scene, from when it starts to when a train may be on the road."""

    track: Track
    first: int  # the stretch whose detector starts the scene for the fastest train
    road_mm: int
    backwards: bool  # of trains that come from the track's far end; `track` is then the track as they meet it
    late_us: int  # from when the train is in that stretch until the scene starts: settling, and `for` in the head
    timed: Timed | None = None  # how long a train took from there to the road, where one was timed

    @property
    def length_mm(self) -> int:
        return self.road_mm - sum(one.length_mm for one in self.track.stretches[: self.first])

    @property
    def reckoned_us(self) -> int:
        """The fastest train's time to the road, by length and speed."""
        return self.length_mm * _S // self.track.fastest_mm_s

    @property
    def true_us(self) -> int:
        """The shorter of the two: the layout file may be wrong about the speed, a clock is not."""
        return min(self.reckoned_us, self.timed.us) if self.timed else self.reckoned_us

    @property
    def true_mm_s(self) -> int:
        """The speed that goes with it."""
        faster = self.timed is not None and self.timed.us < self.reckoned_us
        return -(-self.length_mm * _S // self.true_us) if faster else self.track.fastest_mm_s

    @property
    def gives_us(self) -> int:
        return self.true_us - self.late_us


class Need(NamedTuple):
    """What the closing of a scene needs: until the last barrier is down, and before the train by some rule."""

    scene: Scene
    crossing: Crossing
    barriers: set[str]
    closing: Closing
    lead_us: int
    rule: str  # the one that asks for the lead

    @property
    def us(self) -> int:
        return self.closing.down.at_us + self.lead_us


def approaches(track: Track, crossing: Crossing, scene: Scene, layout: Layout) -> Iterator[Approach]:
    """The approach along the track; also from its far end, where trains come from there and the scene asks there."""
    along = _approach(track, crossing, scene, layout)
    if along:
        yield along
    turned = track._replace(stretches=track.stretches[::-1], holds=())  # signals face trains that come along it
    back = None if track.one_way else _approach(turned, crossing, scene, layout)
    if back and back.length_mm:
        yield back._replace(backwards=True)


def _approach(track: Track, crossing: Crossing, scene: Scene, layout: Layout) -> Approach | None:
    """The stretch that starts the scene first for a train at the fastest; None where none of the track's does."""
    at_mm, road_mm, road = 0, None, ""
    starts: list[tuple[int, int, int]] = []  # when it starts, by which stretch, how long after the train is in it
    for index, stretch in enumerate(track.stretches):
        late_us = _late_us(stretch.detector, scene, layout)
        if late_us is not None:
            starts.append((at_mm * _S // track.fastest_mm_s + late_us, index, late_us))
        if stretch.detector in crossing.on_the_road:
            road_mm, road = at_mm, stretch.detector or ""
            break
        at_mm += stretch.length_mm
    if road_mm is None or not starts:
        return None
    _, first, late_us = min(starts)
    begin = track.stretches[first].detector
    timed = next((one for one in track.timed if (one.begin, one.end) == (begin, road)), None)
    return Approach(track, first, road_mm, False, late_us, timed)


def _late_us(detector: str | None, scene: Scene, layout: Layout) -> int | None:
    """How long after a train is in its stretch a detector starts the scene; None if no head asks it."""
    found = []
    for head in scene.heads:
        if isinstance(head, Whenever | OnlyWhile | EachTime):
            term = head.condition.term
            asked = {atom.subject for atom in atoms(term) if atom.sort is Sort.DETECTOR}
            if detector in asked and detector in layout.detectors:
                held_us = term.for_us if isinstance(term, Held) else 0
                found.append(layout.detectors[detector].settle_occupied_us + held_us)
    return min(found, default=None)


def needed(program: Program) -> Iterator[tuple[Need, list[Approach]]]:
    """What each scene that lowers a crossing's barriers needs, with the approaches that lead to it."""
    layout = program.layout
    for crossing in layout.crossings.values():
        every = {*crossing.entrance_barriers, *crossing.exit_barriers}
        for scene in program.scenes.values():
            barriers = lowered(scene.block, layout, every) if every.intersection(scene.writes) else set()
            if not barriers or not scene.heads:
                continue
            closes = closing(scene.block, layout, barriers)
            need = Need(scene, crossing, barriers, closes, *lead(program, crossing, barriers))
            tracks = layout.tracks.values()
            yield need, [one for track in tracks for one in approaches(track, crossing, scene, layout)]


def lead(program: Program, crossing: Crossing, barriers: set[str]) -> tuple[int, str]:
    """The longest time by which a rule wants barriers to be down before a train is on the road, and the rule's name."""
    found = [
        (line.times_us[0], rule.name)
        for rule in program.rules.values()
        for line in rule.lines
        if line.form == "at least before" and line.times_us and _is_lead(line, crossing, barriers)
    ]
    return max(found, default=(0, ""))


def _is_lead(line: RuleLine, crossing: Crossing, barriers: set[str]) -> bool:
    what, event = (condition.term for condition in line.conditions)
    about = [atom for atom in atoms(what) if atom.subject in barriers and atom.test is Test.ARRIVED]
    reached = [atom.subject for atom in atoms(event) if atom.sort is Sort.TRAIN]
    return bool(about) and not isinstance(event, Not) and bool({*reached} & {*crossing.on_the_road})
