"""What can happen next in a case: trains of every habit, hands, and faults by the kind of detector; and what a scene
need not bear. Made from the layout and the program alone; plays nothing.

How detectors lie is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from adapters.trains import Journey
from engine.conditions import Atom, Held, Sort, Test, parts
from engine.layout import NOWHERE, Detector, DetectorKind, Layout, Track
from engine.program import Act, Deed, Program, TrainRun, Visit, conditions
from wayside.challenge.case import BEGINS_US, Case

MS = 1_000
S = 1_000_000
STANDS_US = 20 * S
LEFT_US = 300 * S  # a train that somebody has left standing: longer than any wait should last
HELD_US = 10 * S  # a finger that stays on a button
GAP_US = 80 * MS  # a beam between two wagons: 12 mm at 147 mm/s
CONTACT_US = 60 * MS
STUCK_US = 60 * S
TRIP_US = 5 * S  # a booster's breaker that tries again
DIRTY_US = 400 * MS  # a dirty wheel
LEAST_UNSEEN_US = 500 * MS  # whatever scenes wait for: a dirty wheel is on every layout


class Budget(NamedTuple):
    """What a scene has to bear: one kind of fault at a time, and none of it too long. What goes past it is reported
    apart."""

    release_us: int  # a train goes unseen for less than this
    beyond: bool  # whether cases past it are played at all


class Happening(NamedTuple):
    """Trains or acts, with their instants counted from the first. `moments`: instants of it that matter."""

    kind: str
    trains: tuple[TrainRun, ...] = ()
    acts: tuple[Act, ...] = ()
    moments: tuple[int, ...] = (0,)
    beyond: bool = False

    def at(self, at_us: int, moment_us: int = 0) -> Case | None:
        """So that one of its moments falls on an instant; None if it would have had to begin before the case."""
        shift = at_us - moment_us
        if shift < BEGINS_US:
            return None
        trains = tuple(train._replace(from_us=train.from_us + shift) for train in self.trains)
        return Case(trains, tuple(act._replace(at_us=act.at_us + shift) for act in self.acts))


# --- the budget ----------------------------------------------------------------------------------------------------


def release_delay_us(program: Program) -> int:
    """The shortest time for which any scene waits until its detectors are clear: a drop-out that lasts as long opens
    the road under a train. Half a second at least."""
    named = replace(program, scenes=program.named_scenes)  # what rules do when it is too late is none of it
    waits = [
        part.for_us
        for condition in conditions(named)
        for part in parts(condition.term)
        if isinstance(part, Held) and _asks_clear(part)
    ]
    return max(LEAST_UNSEEN_US, min(waits, default=LEAST_UNSEEN_US))


def _asks_clear(held: Held) -> bool:
    return any(isinstance(one, Atom) and one.sort is Sort.DETECTOR and one.test is Test.CLEAR for one in parts(held))


def families(case: Case, program: Program) -> frozenset[str]:
    """The kinds of fault in a case: signals passed at danger, detectors that lie, links that are lost."""
    found = {"signals" for train in case.trains if train.ignores_signals and program.layout.tracks[train.track].holds}
    found |= {"detectors" for train in case.trains if train.locomotive_only}
    found |= {_FAMILY[act.deed] for act in case.acts if act.deed in _FAMILY}
    return frozenset(found)


_FAMILY = {
    Deed.STAYS: "detectors",
    Deed.BECOMES: "detectors",
    Deed.LOSE_LINK: "links",
    Deed.MEND_LINK: "links",
}


def within(case: Case, program: Program, budget: Budget, unseen_us: int) -> bool:
    """Whether a scene has to bear it: see `Budget`, and what is never asked of one."""
    if len(families(case, program)) > 1 or unseen_us >= budget.release_us:
        return False
    tracks = program.layout.tracks
    return all(_usual(train, tracks[train.track]) for train in case.trains) and not any(
        _past(act, program) for act in case.acts
    )


def _usual(train: TrainRun, track: Track) -> bool:
    """No faster, no shorter, and in no other direction than the layout file says."""
    slow = train.speed_um_s <= track.fastest_mm_s * 1000
    return slow and train.length_mm >= track.shortest_train_mm and not (train.backwards and track.one_way)


def _past(act: Act, program: Program) -> bool:
    """A stop where no line says what it does; a detector stuck in clear for good; a link that is lost: nobody can move
    what nobody can reach."""
    if act.deed is Deed.STOP:
        return program.scenes[act.subject].when_stopped is None
    if act.deed in (Deed.LOSE_LINK, Deed.MEND_LINK):
        return True
    return act.deed is Deed.STAYS and act.state == "clear" and act.for_us is None


# --- trains --------------------------------------------------------------------------------------------------------


def menu(program: Program, budget: Budget) -> tuple[Happening, ...]:
    """Everything that can happen next, in an order that hangs on the layout file only."""
    found = [*trains(program.layout), *_detectors(program.layout, budget), *_hands(program), *_links(program.layout)]
    return tuple(one for one in found if budget.beyond or not one.beyond)


def trains(layout: Layout) -> list[Happening]:
    return [one for track in layout.tracks.values() for one in _on_track(track, layout)]


def _on_track(track: Track, layout: Layout) -> Iterator[Happening]:
    for backwards in (False, True):
        if backwards and track.one_way:
            continue
        way = f"{'back ' if backwards else ''}along {track.name}"
        plain = TrainRun(
            NOWHERE, track.name, track.shortest_train_mm * 2, track.fastest_mm_s * 1000, 0, backwards=backwards
        )
        short = plain._replace(length_mm=track.shortest_train_mm)
        long = plain._replace(length_mm=track.shortest_train_mm * 4)
        slow = short._replace(speed_um_s=max(1000, plain.speed_um_s // 2))
        runs = [(f"a train {way}", plain), (f"a short slow train {way}", slow), (f"a long train {way}", long)]
        if track.holds and not backwards:
            runs.append((f"a train {way}, ignoring signals", short._replace(ignores_signals=True)))
        if any(_kind(layout, name) is DetectorKind.SECTION for name in _seen_on(track)):
            runs.append((f"a train {way}, seen by locomotive only", plain._replace(locomotive_only=True)))
        for name in _seen_on(track):
            stands, turns = Visit(name, STANDS_US, False), Visit(name, 0, True)
            left = Visit(name, LEFT_US, False)
            runs.append((f"a train {way}, standing in {name}", plain._replace(visits=(stands,))))
            runs.append((f"a train {way}, left in {name}", plain._replace(visits=(left,))))
            runs.append((f"a train {way}, reversing in {name}", plain._replace(visits=(turns,))))
        yield from (Happening(kind, (run,), moments=moments(run, track)) for kind, run in runs)


def _seen_on(track: Track) -> list[str]:
    return [stretch.detector for stretch in track.stretches if stretch.detector is not None]


def _kind(layout: Layout, detector: str) -> DetectorKind:
    return layout.detectors[detector].kind


def moments(run: TrainRun, track: Track) -> tuple[int, ...]:
    """When a train that no signal holds comes on to a stretch or leaves it, or sets out again, from its start."""
    journey = Journey(0, run._replace(from_us=0), track)
    found: dict[int, None] = {}
    while (due := journey.next_due()) is not None:
        before = journey.body, journey.state
        journey.advance(due, lambda _: True)
        if (journey.body, journey.state) != before:
            found[due] = None
    return tuple(found) or (0,)


# --- detectors that lie --------------------------------------------------------------------------------------------


def _detectors(layout: Layout, budget: Budget) -> Iterator[Happening]:
    for name, detector in layout.detectors.items():
        yield from _LIES[detector.kind](detector, budget)
        wire = "occupied" if detector.closed_circuit else "clear"
        yield _stays(f"{name}: a broken wire", name, wire, None, beyond=wire == "clear")
    sections = [name for name, one in layout.detectors.items() if one.kind is DetectorKind.SECTION]
    if sections:
        for for_us, beyond in ((_short_of(budget), False), (TRIP_US, budget.release_us <= TRIP_US)):
            acts = tuple(Act(NOWHERE, 0, Deed.STAYS, name, "clear", for_us) for name in sections)
            yield Happening(f"power off for {'long' if for_us == TRIP_US else 'a moment'}", (), acts, beyond=beyond)


def _short_of(budget: Budget) -> int:
    """As long as a drop-out may be."""
    return budget.release_us - 100 * MS


def _section(detector: Detector, budget: Budget) -> Iterator[Happening]:
    name = detector.name
    yield _stays(f"{name}: a dirty wheel", name, "clear", min(DIRTY_US, _short_of(budget)))
    yield _stays(f"{name}: a drop-out", name, "clear", _short_of(budget))
    yield _stays(f"{name}: a drop-out that is too long", name, "clear", budget.release_us * 2, beyond=True)
    yield _stays(f"{name}: damp track", name, "occupied", 10 * S)


def _beam(detector: Detector, budget: Budget) -> Iterator[Happening]:
    name = detector.name
    yield _stays(f"{name}: a gap", name, "clear", min(GAP_US, _short_of(budget)))
    yield _stays(f"{name}: a long gap", name, "clear", _short_of(budget))
    yield _stays(f"{name}: a hand", name, "occupied", S)
    yield _stays(f"{name}: stuck by the sun", name, "occupied", STUCK_US)


def _treadle(detector: Detector, budget: Budget) -> Iterator[Happening]:
    name = detector.name
    yield _stays(f"{name}: a train missed", name, "clear", 500 * MS, beyond=True)
    twice = (
        Act(NOWHERE, 0, Deed.BECOMES, name, "occupied"),
        Act(NOWHERE, CONTACT_US, Deed.BECOMES, name, "clear"),
    )
    yield Happening(f"{name}: a second contact", (), twice)


_LIES = {DetectorKind.SECTION: _section, DetectorKind.BEAM: _beam, DetectorKind.TREADLE: _treadle}


def _stays(kind: str, detector: str, state: str, for_us: int | None, beyond: bool = False) -> Happening:
    act = Act(NOWHERE, 0, Deed.STAYS, detector, state, for_us)
    return Happening(kind, (), (act,), (0,) if for_us is None else (0, for_us), beyond)


# --- hands and links -----------------------------------------------------------------------------------------------


def _hands(program: Program) -> Iterator[Happening]:
    for button in program.layout.buttons:
        yield Happening(f"{button} pressed", (), (Act(NOWHERE, 0, Deed.PRESS, button),))
        held = Act(NOWHERE, 0, Deed.PRESS, button, for_us=HELD_US)
        yield Happening(f"{button} held", (), (held,), (0, HELD_US))
    for name, scene in program.named_scenes.items():
        stop, start = Act(NOWHERE, 0, Deed.STOP, name), Act(NOWHERE, 0, Deed.START, name)
        yield Happening(f"{name} stopped", (), (stop,), beyond=scene.when_stopped is None)
        yield Happening(f"{name} started", (), (start,))


def _links(layout: Layout) -> Iterator[Happening]:
    for name in layout.links:
        lost = Act(NOWHERE, 0, Deed.LOSE_LINK, name)
        for for_us in (S, 15 * S):
            mended = Act(NOWHERE, for_us, Deed.MEND_LINK, name)
            yield Happening(f"link {name} lost for {for_us // S} s", (), (lost, mended), (0, for_us), beyond=True)
        yield Happening(f"link {name} lost", (), (lost,), beyond=True)


def bases(happenings: Sequence[Happening]) -> Iterable[Happening]:
    """What a case begins with: a plain train on each track and way, and one that passes its signals whatever they show:
    what protects the road then is the crossing alone. Without any track, nothing does."""
    short = [one for one in happenings if one.trains and one.kind.startswith(("a train", "a short"))]
    return [one for one in short if "," not in one.kind or one.trains[0].ignores_signals]
