"""What is played to measure a crossing: its own rehearsals in which trains reach the road, and passages made for it.

Decides which trains run, when and how fast. Measures nothing, and knows no practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from engine.layout import Crossing, Stretch, Track
from engine.program import Act, Begin, Deed, Program, Rehearsal, TrainRun
from wayside.practice.measuring import RAISED, Passage
from wayside.rehearsal.rehearsing import LONGEST_REHEARSAL_US, horizon, rehearse

MOST_TRACKS = 8  # over one road; each is played five times or more
FIRST_US = 1_000_000  # a scene that waits for a change needs something before it
REST_US = 180_000_000  # for the road to be opened again, and to stay so
SLOW_SHARE = 4  # the slow train takes this many times as long as the fastest
AFTER_US = 500_000  # the next train comes this long after the lights have gone out
BY_HAND_US = 60_000_000  # between a hand on the approach's detector and one on the road's

_HANDS = {Deed.START, Deed.STOP, Deed.LOSE_LINK}
Watched = Callable[[Sequence[Any], str], Iterable[Any]]  # lets long work show how far it is


class Played(NamedTuple):
    """All passages at one crossing, and the rehearsals that were left out, each with the reason."""

    passages: tuple[Passage, ...]
    left_out: tuple[tuple[str, str], ...]
    tracks_left_out: tuple[str, ...] = ()


class _Stage(NamedTuple):
    program: Program
    crossing: Crossing

    def play(self, title: str, rehearsal: Rehearsal) -> Passage:
        # its expectations are not asked for: judging them would play it twice
        rehearsal = rehearsal._replace(expectations=(), lasts_us=horizon(rehearsal))
        result = rehearse(self.program, rehearsal)
        before = {one.subject: one.detector_state for one in rehearsal.begins if one.detector_state is not None}
        return Passage(title, self.program.layout, self.crossing, result.trace, result.ended_us, before)

    def made(self, title: str, trains: tuple[TrainRun, ...], acts: tuple[Act, ...] = ()) -> Passage:
        """A rehearsal of our own: every detector clear, and time enough for the road to be opened again."""
        layout = self.program.layout
        leaves = [train.from_us + transit_us(layout.tracks[train.track], train) for train in trains]
        lasts = max([*leaves, *(act.at_us for act in acts)]) + REST_US
        begins = tuple(Begin(self.crossing.place, name, "clear") for name in layout.detectors)
        lasts = min(lasts, LONGEST_REHEARSAL_US)
        return self.play(title, Rehearsal(title, self.crossing.place, begins, trains=trains, acts=acts, lasts_us=lasts))


def played(program: Program, crossing: Crossing, watched: Watched = lambda things, _: things) -> Played:
    """Everything that is played at a crossing, in the order in which it is told."""
    stage = _Stage(replace(program, rules={}), crossing)  # the layout's own rules are not what is asked here
    passages, left_out = _rehearsals(stage, watched)
    tracks = tracks_over(program, crossing)
    some = tracks[:MOST_TRACKS]
    pairs = [(track, some[(number + 1) % len(some)]) for number, track in enumerate(some)]
    for track, other in watched(pairs, "running trains"):
        passages += _trains(stage, track, other)
    if not tracks:
        passages += _by_hand(stage)
    return Played(tuple(passages), tuple(left_out), tuple(track.name for track in tracks[MOST_TRACKS:]))


def tracks_over(program: Program, crossing: Crossing) -> list[Track]:
    """The tracks that lie on the road."""
    road = set(crossing.on_the_road)
    return [
        track
        for track in program.layout.tracks.values()
        if any(stretch.detector in road for stretch in track.stretches)
    ]


# --- the layout's own rehearsals -----------------------------------------------------------------------------------


def _rehearsals(stage: _Stage, watched: Watched) -> tuple[list[Passage], list[tuple[str, str]]]:
    kept: list[Passage] = []
    left_out: list[tuple[str, str]] = []
    over = {track.name for track in tracks_over(stage.program, stage.crossing)}
    for name, rehearsal in watched(list(stage.program.rehearsals.items()), "rehearsing"):
        if not any(train.track in over for train in rehearsal.trains):
            continue
        why = _why_not(stage, rehearsal)
        passage = None if why else stage.play(f"rehearsal {name}", rehearsal)
        if passage is not None and passage.arrivals:
            kept.append(passage)
        else:
            left_out.append((name, why or "no train of it reaches the road"))
    return kept, left_out


def _why_not(stage: _Stage, rehearsal: Rehearsal) -> str:
    """Why a rehearsal says nothing about practice; a table of (is it so, what to say)."""
    tracks = stage.program.layout.tracks
    outputs = stage.program.layout.outputs
    reasons = (
        (any(act.deed in _HANDS for act in rehearsal.acts), "a hand starts or stops a scene, or a link is lost"),
        (any(train.ignores_signals for train in rehearsal.trains), "a train ignores signals"),
        (any(begin.subject in outputs for begin in rehearsal.begins), "it begins with an output away from rest"),
        (
            any(train.speed_um_s > tracks[train.track].fastest_mm_s * 1000 for train in rehearsal.trains),
            "a train is faster than the fastest of its track",
        ),
    )
    return next((words for so, words in reasons if so), "")


# --- trains of our own ---------------------------------------------------------------------------------------------


def transit_us(track: Track, train: TrainRun) -> int:
    """How long a train takes over the whole of a track, if nothing holds it."""
    return (track.length_mm + train.length_mm) * 1000 * 1_000_000 // train.speed_um_s


def _trains(stage: _Stage, track: Track, other: Track) -> Iterator[Passage]:
    """Each way that the detectors serve: the fastest train and a slow one. Then a second train at late instants."""
    ways = _ways(stage.crossing, track)
    first: Passage | None = None
    for backwards in ways:
        for speed in (track.fastest_mm_s * 1000, max(track.fastest_mm_s * 1000 // SLOW_SHARE, 1000)):
            way = f"{track.name}, backwards," if backwards else track.name
            title = f"a train along {way} at {speed / 1000:g} mm/s"
            passage = stage.made(title, (_train(stage, track, speed, FIRST_US, backwards),))
            first = first or passage
            yield passage
    back = _ways(stage.crossing, other)[0]
    for seen_us, words in _phases(first) if first else ():
        from_us = seen_us - _until_seen_mm(stage.crossing, other, back) * 1_000_000 // other.fastest_mm_s
        later = max(0, FIRST_US - from_us)  # where the second sets out before the first did, all of it comes later
        lead = _train(stage, track, track.fastest_mm_s * 1000, FIRST_US + later, ways[0])
        second = _train(stage, other, other.fastest_mm_s * 1000, from_us + later, back)
        yield stage.made(f"a train along {track.name}, one along {other.name} seen {words}", (lead, second))


def _train(stage: _Stage, track: Track, speed_um_s: int, from_us: int, backwards: bool) -> TrainRun:
    return TrainRun(stage.crossing.place, track.name, track.shortest_train_mm, speed_um_s, from_us, backwards)


def _ways(crossing: Crossing, track: Track) -> list[bool]:
    """The ways to run (backwards?) in which a detector sees a train before it is on the road; forwards if none does."""
    on_the_road = set(crossing.on_the_road)

    def served(stretches: Iterable[Stretch]) -> bool:
        first = next(one.detector for one in stretches if one.detector in {*on_the_road, *crossing.detectors})
        return first not in on_the_road

    ways = [backwards for backwards in (False, True) if served(_along(track, backwards))]
    return ways or [False]


def _along(track: Track, backwards: bool) -> tuple[Stretch, ...]:
    return track.stretches[::-1] if backwards else track.stretches


def _until_seen_mm(crossing: Crossing, track: Track, backwards: bool) -> int:
    """How far a train runs until a detector of the crossing sees it."""
    run = 0
    for stretch in _along(track, backwards):
        if stretch.detector in (*crossing.detectors, *crossing.on_the_road):
            break
        run += stretch.length_mm
    return run


def _phases(first: Passage) -> Iterator[tuple[int, str]]:
    """The late instants of a passage at which a second train is seen."""
    gone = [span.end for spans in first.on_the_road.values() for span in spans if not spans.open(span)]
    if not gone:
        return
    yield max(gone), "as the first leaves the road"
    rises = [span for barrier in first.barriers for span in first.going(barrier, RAISED) if span.start >= max(gone)]
    if rises:
        yield (rises[0].start + rises[0].end) // 2, "as the barriers rise"
    over = [span.end for span in first.warnings if not first.warnings.open(span) and span.end >= max(gone)]
    if over:
        yield over[0] + AFTER_US, "just after the lights have gone out"


# --- hands instead of trains ---------------------------------------------------------------------------------------


def _by_hand(stage: _Stage) -> Iterator[Passage]:
    """Where no track lies on the road: detectors worked as a train would work them."""
    crossing = stage.crossing
    road = [name for name in crossing.detectors if name in crossing.on_the_road]
    approaches = [name for name in crossing.detectors if name not in road] or road[:1]
    for approach in approaches[:MOST_TRACKS]:
        times = {approach: (FIRST_US, FIRST_US + BY_HAND_US + 4_000_000)}
        times |= {name: (FIRST_US + BY_HAND_US, FIRST_US + BY_HAND_US + 8_000_000) for name in road if name != approach}
        acts = tuple(
            Act(crossing.place, at, Deed.BECOMES, name, state)
            for name, both in times.items()
            for at, state in zip(both, ("occupied", "clear"), strict=True)
        )
        yield stage.made(f"{approach} worked by hand", (), acts)
