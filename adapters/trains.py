"""How one train runs along one track: where it stops, and the exact instants at which its parts cross boundaries.

Whole numbers only: micrometres and microseconds. Knows no detectors' states, no hands, no kernel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from enum import Enum
from typing import NamedTuple

from engine.events import TrainMoves
from engine.layout import Hold, Track
from engine.program import TrainRun, Visit

LOCOMOTIVE_MM = 150  # the part that draws current when a train is seen by its locomotive only: a 4 mm scale tank engine
UM_IN_MM = 1_000
US_IN_S = 1_000_000


class Part(Enum):
    """What of a train counts at a stretch's boundaries."""

    BODY = "body"  # the whole train: where it truly is, and what a beam sees
    SEEN = "seen"  # what a section sees: the whole train, or its first vehicle only
    LEAD = "lead"  # the end that goes first: what works a treadle


class Halt(NamedTuple):
    """A point of a journey at which a train may stop: `lead_um` is where its leading end is then."""

    lead_um: int
    signal: str | None = None
    stands_us: int = 0
    reverses: bool = False


class Itinerary(NamedTuple):
    """The halts in the order in which the train comes to them, and the visits that it can never come to."""

    halts: tuple[Halt, ...]
    missed: tuple[Visit, ...]


class Crossing(NamedTuple):
    """After `distance_um` of a leg, a part of the train comes on to a stretch or has left it.

    The order of the fields is the order of work: at equal distances what leaves goes first.
    """

    distance_um: int
    on: bool
    stretch: int
    part: Part


class Leg(NamedTuple):
    """Even motion from an instant on. `heading` is 1 along the track, -1 back."""

    from_us: int
    lead_um: int
    heading: int


class State(Enum):
    TO_COME = "to come"
    ROLLING = "rolling"
    STANDING = "standing"  # until a known instant
    HELD = "held"  # at a signal
    GONE = "gone"


def reaches_us(from_us: int, distance_um: int, speed_um_s: int) -> int:
    """The first whole microsecond at which a distance has been covered."""
    return from_us - (-distance_um * US_IN_S // speed_um_s)


def boundaries_um(track: Track) -> tuple[tuple[int, int], ...]:
    """Each stretch's beginning and end along the track."""
    ends: list[tuple[int, int]] = []
    at = 0
    for stretch in track.stretches:
        ends.append((at, at + stretch.length_mm * UM_IN_MM))
        at = ends[-1][1]
    return tuple(ends)


def itinerary(run: TrainRun, track: Track) -> Itinerary:
    """Everything about a journey that does not depend on when signals clear."""
    length = run.length_mm * UM_IN_MM
    heading = -1 if run.backwards else 1
    lead = track.length_mm * UM_IN_MM if run.backwards else 0
    halts: list[Halt] = []
    missed: list[Visit] = []
    for visit in run.visits:
        stop = _far_end(visit.detector, track, lead, heading)
        if stop is None:
            missed.append(visit)
            continue
        halts += _signals(run, track.holds, heading, lead, stop)
        halts.append(Halt(stop, None, visit.stands_us, visit.reverses))
        lead = stop
        if visit.reverses:
            lead, heading = lead - heading * length, -heading
    halts += _signals(run, track.holds, heading, lead, None)
    return Itinerary(tuple(halts), tuple(missed))


def _far_end(detector: str, track: Track, lead: int, heading: int) -> int | None:
    """Where a train stops to visit a stretch: the end that it comes to last, if that is still ahead of it."""
    names = [stretch.detector for stretch in track.stretches][::heading]
    ends = [span[1] if heading > 0 else span[0] for span in boundaries_um(track)][::heading]
    following = [*names[1:], None]  # stretches of one detector that adjoin are one
    far = [end for name, after, end in zip(names, following, ends, strict=True) if name == detector != after]
    ahead = [end for end in far if (end - lead) * heading >= 0]
    return min(ahead, key=lambda end: (end - lead) * heading, default=None)


def _signals(run: TrainRun, holds: Iterable[Hold], heading: int, lead: int, stop: int | None) -> list[Halt]:
    """The signals met from `lead` on. One exactly at a stopping place holds the train when it wants to go on."""
    if run.ignores_signals or heading < 0:  # signals face trains that come along the track, not back
        return []
    met = [Halt(hold.at_mm * UM_IN_MM, hold.signal) for hold in sorted(holds, key=lambda hold: hold.at_mm)]
    return [halt for halt in met if lead <= halt.lead_um and (stop is None or halt.lead_um < stop)]


def crossings(leg: Leg, spans: Iterable[tuple[int, int]], parts: dict[Part, tuple[int, int]]) -> list[Crossing]:
    """All that a leg still has to cross, in order. `parts`: from where to where behind the leading end each lies.

    A part is inside a stretch from the distance at which it begins to go in to the one at which it is out; touching a
    boundary is not inside.
    """
    found: list[Crossing] = []
    for index, span in enumerate(spans):
        near, far = ((end - leg.lead_um) * leg.heading for end in span[:: leg.heading])
        for part, (first, last) in parts.items():
            if part is Part.LEAD:
                found.append(Crossing(near, True, index, part))
            elif near + first < far + last:  # a point does not get inside a point
                found.append(Crossing(near + first, True, index, part))
                found.append(Crossing(far + last, False, index, part))
    ahead = (one for one in found if one.distance_um >= 0)
    return sorted(ahead, key=lambda one: (one.distance_um, one.on, one.stretch, one.part.value))


class Journey:
    """One train under way. `advance` works what is due; what it has crossed is read from `body`, `seen`, `contacts`."""

    def __init__(self, number: int, run: TrainRun, track: Track) -> None:
        self.number = number
        self.run = run
        self.state = State.TO_COME
        self.contacts: list[tuple[int, int]] = []  # (instant, stretch) at which the leading end went in
        self._inside: dict[Part, set[int]] = {Part.BODY: set(), Part.SEEN: set()}
        self._on: dict[Part, frozenset[str]] = {Part.BODY: frozenset(), Part.SEEN: frozenset()}
        self._track = track
        self._spans = boundaries_um(track)
        self._length = run.length_mm * UM_IN_MM
        self._home = -1 if run.backwards else 1  # the heading in which the locomotive leads
        self._halts = list(reversed(itinerary(run, track).halts))
        self._due: int | None = run.from_us
        self._ahead: list[Crossing] = []
        start = track.length_mm * UM_IN_MM if run.backwards else 0
        self._leg = Leg(run.from_us, start, self._home)
        self._told: TrainMoves | None = None

    @property
    def body(self) -> frozenset[str]:
        """The detectors on whose stretches the train truly is."""
        return self._on[Part.BODY]

    @property
    def seen(self) -> frozenset[str]:
        """The detectors on whose stretches the part of it is that sections see."""
        return self._on[Part.SEEN]

    def _detectors(self, part: Part) -> frozenset[str]:
        names = (self._track.stretches[index].detector for index in self._inside[part])
        return frozenset(name for name in names if name is not None)

    @property
    def held(self) -> bool:
        """Whether a signal holds it now."""
        return self.state is State.HELD

    @property
    def course(self) -> tuple[int, TrainMoves]:
        """Its present course, and the instant for which its places are said."""
        return self._leg.from_us, self._course()

    def detector_of(self, stretch: int) -> str | None:
        return self._track.stretches[stretch].detector

    def next_due(self) -> int | None:
        """None while a signal holds the train, and when it has gone."""
        return self._due

    def advance(self, now_us: int, may_pass: Callable[[str], bool]) -> TrainMoves | None:
        """Work everything due until now; the new course, if it has changed. A held train goes if its signal allows."""
        if self.state is State.HELD and self._passes(may_pass):
            self._depart(now_us)
        while self._due is not None and self._due <= now_us:
            self._step(self._due, may_pass)
        if self.state is State.TO_COME:
            return None
        course = self._course()
        if course == self._told:
            return None
        self._told = course
        return course

    def _step(self, at_us: int, may_pass: Callable[[str], bool]) -> None:
        if self.state is State.ROLLING:
            self._roll(at_us, may_pass)
        elif self.state is State.STANDING:
            self._leave_visit(at_us)
        else:
            self._depart(at_us)

    def _roll(self, at_us: int, may_pass: Callable[[str], bool]) -> None:
        if self._crossing_next():
            self._cross(self._ahead.pop(), at_us)
        elif not self._halts:
            self.state, self._leg = State.GONE, Leg(at_us, self._end_um(), self._leg.heading)
        elif self._halts[-1].signal is None:
            self._stand(at_us)
        elif not self._passes(may_pass):
            self.state, self._leg = State.HELD, Leg(at_us, self._halts[-1].lead_um, self._leg.heading)
        self._due = self._next()

    def _cross(self, crossing: Crossing, at_us: int) -> None:
        if crossing.part is Part.LEAD:
            self.contacts.append((at_us, crossing.stretch))
            return
        inside = self._inside[crossing.part]
        (inside.add if crossing.on else inside.discard)(crossing.stretch)
        self._on[crossing.part] = self._detectors(crossing.part)

    def _passes(self, may_pass: Callable[[str], bool]) -> bool:
        signal = self._halts[-1].signal
        if signal is None or not may_pass(signal):
            return False
        self._halts.pop()
        return True

    def _stand(self, at_us: int) -> None:
        halt = self._halts[-1]
        self.state, self._leg = State.STANDING, Leg(at_us, halt.lead_um, self._leg.heading)
        self._due = at_us + halt.stands_us

    def _leave_visit(self, at_us: int) -> None:
        halt = self._halts.pop()
        if halt.reverses:
            heading = self._leg.heading
            self._leg = Leg(at_us, halt.lead_um - heading * self._length, -heading)
        self._depart(at_us)

    def _depart(self, at_us: int) -> None:
        """A new leg from where the train stands."""
        self.state = State.ROLLING
        self._leg = self._leg._replace(from_us=at_us)
        self._ahead = crossings(self._leg, self._spans, self._parts())[::-1]
        self._due = self._next()

    def _parts(self) -> dict[Part, tuple[int, int]]:
        shown = min(LOCOMOTIVE_MM * UM_IN_MM, self._length) if self.run.locomotive_only else self._length
        seen = (0, shown) if self._leg.heading == self._home else (self._length - shown, self._length)
        return {Part.BODY: (0, self._length), Part.SEEN: seen, Part.LEAD: (0, 0)}

    def _end_um(self) -> int:
        """Where the leading end is when the whole train has left the track."""
        return self._track.length_mm * UM_IN_MM + self._length if self._leg.heading > 0 else -self._length

    def _run_um(self) -> int:
        """How far this leg goes: to the next halt, or until the train has left."""
        stop = self._halts[-1].lead_um if self._halts else self._end_um()
        return (stop - self._leg.lead_um) * self._leg.heading

    def _crossing_next(self) -> bool:
        """Whether a boundary comes before the next halt. Exactly at the halt a train has left, but not gone in."""
        run = self._run_um()
        return bool(self._ahead) and (self._ahead[-1].distance_um, self._ahead[-1].on) < (run, True)

    def _next(self) -> int | None:
        if self.state is State.STANDING:
            return self._due
        if self.state is not State.ROLLING or self.run.speed_um_s <= 0:
            return None
        distance = self._ahead[-1].distance_um if self._crossing_next() else self._run_um()
        return reaches_us(self._leg.from_us, distance, self.run.speed_um_s)

    def _course(self) -> TrainMoves:
        """Front is the locomotive's end, also on the way back."""
        leg = self._leg
        lead, trail = leg.lead_um, leg.lead_um - leg.heading * self._length
        front, tail = (lead, trail) if leg.heading == self._home else (trail, lead)
        speed = leg.heading * self.run.speed_um_s if self.state is State.ROLLING else 0
        return TrainMoves(self.number, self.run.track, front, tail, speed)
