"""Timing a train from stretch to stretch: what can be timed, the watch itself, and whether a crossing's closing fits.

Pure: instants in, sentences out. Where the seconds are kept is decided in `timing_keeping`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from engine.layout import Timed, Track
from engine.program import Program
from scenes.approaches import Approach, Need, needed
from scenes.check_approach import too_short
from scenes.quantities import say_s
from wayside.layout.tracks import LEAST_TIMED_US, MOST_TIMED_US
from wayside.usage import UsageProblem, near_miss
from wayside.wording import listed

_S, TENTH_US = 1_000_000, 100_000
HAND_US = 500_000  # two presses of a key are right to about so much (common practice, no source)


class Target(NamedTuple):
    """What is timed: from where the nose comes upon one detector's stretch to where it comes upon another's."""

    track: str
    begin: str
    end: str

    def __str__(self) -> str:
        return f"{self.begin} to {self.end}"


def targets(program: Program, track: Track) -> list[Target]:
    """What is worth timing on a track: its approaches to crossings; without any, from each detector to the next."""
    found: dict[Target, None] = {}
    for need, approaches in needed(program):
        for one in approaches:
            begin, road = one.track.stretches[one.first].detector, _road(need, one)
            if one.track.name == track.name and begin and road and begin != road:
                found[Target(track.name, begin, road)] = None
    names = [stretch.detector for stretch in track.stretches if stretch.detector]
    pairs = pairwise(names)
    return list(found) or [Target(track.name, begin, end) for begin, end in pairs]


def _road(need: Need, approach: Approach) -> str | None:
    on_the_road = (
        stretch.detector for stretch in approach.track.stretches if stretch.detector in need.crossing.on_the_road
    )
    return next(on_the_road, None)


def target_of(program: Program, track: str, stretch: str | None) -> Target:
    """What a person wants to time. Raises UsageProblem."""
    tracks = program.layout.tracks
    if track not in tracks:
        there_is = f" There is {listed(list(tracks))}." if tracks else " Its layout file has no tracks."
        raise UsageProblem(f"The layout has no track {track}.{near_miss(track, tracks) or there_is}")
    one = tracks[track]
    if stretch is None:
        found = targets(program, one)
        if not found:
            raise UsageProblem(f"{track} has fewer than two detectors, so there is nothing to time between.")
        if len(found) > 1:
            ways = " or ".join(f'--stretch "{each}"' for each in found[:4])
            raise UsageProblem(f"{track} has several stretches to time. Write {ways}.")
        return found[0]
    names = [each.detector for each in one.stretches if each.detector]
    begin, to, end = (word.strip() for word in stretch.partition(" to "))
    if not to or not begin or not end or begin == end:
        raise UsageProblem(f'--stretch takes two detectors, such as "{" to ".join(names[:2])}", not {stretch!r}.')
    for name in (begin, end):
        if name not in names:
            raise UsageProblem(f"{track} has no stretch {name}.{near_miss(name, names)}")
    return Target(track, begin, end)


# --- the watch -----------------------------------------------------------------------------------------------------


class Watch:
    """One train's time. It begins when the first detector becomes occupied, or a hand says so, and ends likewise.

    What a detector says first is how it stands, and no train that comes; so too after it was unknown. Where `unheard`
    is false, as with a person who types them, they are clear from the start.
    """

    def __init__(self, target: Target, unheard: bool = False) -> None:
        self.target = target
        self._unheard = {target.begin, target.end} if unheard else set()
        self.began_us: int | None = None
        self.took_us: int | None = None
        self.by_hand = False

    @property
    def running(self) -> bool:
        return self.began_us is not None and self.took_us is None

    def press(self, now_us: int) -> str:
        """A hand: the nose passes just now. A sentence of what that came to."""
        self.by_hand = True
        return self._next(now_us)

    def hear(self, detector: str, state: str, now_us: int) -> str:
        """A detector has become so; a sentence, if that means anything here. Further reports of a train that is under
        way already are its later axles."""
        if state not in ("occupied", "clear"):
            self._unheard.add(detector)
        elif detector in self._unheard:
            self._unheard.discard(detector)
            return self._stands(detector, state)
        if state != "occupied":
            return ""
        if detector == self.target.begin and self.began_us is None:
            return self._next(now_us)
        if detector == self.target.end and self.running:
            return self._next(now_us)
        if detector == self.target.end and self.began_us is None:
            return f"{detector} was reached, and nothing had been seen on {self.target.begin} before."
        return ""

    def _stands(self, detector: str, state: str) -> str:
        """Where the time is to begin, how it is there, before any train has come."""
        if detector != self.target.begin or self.began_us is not None:
            return ""
        if state == "clear":
            return f"{detector} is clear: let the train come."
        return (
            f"{detector} is occupied already. Let what stands there leave it; the time begins when it is reached anew."
        )

    def _next(self, now_us: int) -> str:
        if self.took_us is not None:
            return ""
        if self.began_us is None:
            self.began_us = now_us
            return f"The nose is on {self.target.begin}: the time runs."
        took_us = now_us - self.began_us
        if not LEAST_TIMED_US <= took_us <= MOST_TIMED_US:
            self.began_us = None
            return f"{say_s(took_us)} is no time that a train takes. Once more: from the beginning."
        self.took_us = took_us // TENTH_US * TENTH_US  # rounded to the side that asks more of the closing
        return f"{say_s(self.took_us)} from {self.target.begin} to {self.target.end}."


# --- whether it fits -----------------------------------------------------------------------------------------------


def with_time(program: Program, target: Target, us: int, on: str = "") -> Program:
    """The same program, with the time in its layout."""
    layout = program.layout
    track = layout.tracks[target.track]
    others = tuple(one for one in track.timed if (one.begin, one.end) != (target.begin, target.end))
    timed = track._replace(timed=(*others, Timed(target.begin, target.end, us, on)))
    return replace(program, layout=replace(layout, tracks={**layout.tracks, track.name: timed}))


class Fit(NamedTuple):
    """What a timed train means for one crossing's scene: a sentence, and what would help, the best first."""

    fits: bool
    says: str
    helps: tuple[str, ...] = ()


def fits(program: Program, target: Target, us: int, by_hand: bool = False) -> Iterator[Fit]:
    """For each scene that closes a crossing behind that stretch: whether the last barrier is down in time."""
    timed = with_time(program, target, us)
    for need, approaches in needed(timed):
        for one in approaches:
            if one.timed is None or (one.track.name, one.timed.begin, one.timed.end) != target:
                continue
            if need.closing.by is None:
                continue
            spare_us = us - one.late_us - need.us
            if problem := too_short(need, [one], timed.layout):
                this = f"This train would leave {say_s(spare_us)} to spare; one at the track's fastest would not. "
                says = f"{this if spare_us >= 0 else ''}{problem.what} {problem.instead}"
                yield Fit(False, _plain(says), tuple(map(_plain, problem.helps)))
            else:
                yield Fit(True, _it_fits(need, one, spare_us, by_hand))


def _it_fits(need: Need, approach: Approach, spare_us: int, by_hand: bool) -> str:
    at_least = "at least " if need.closing.unknown else ""
    lead = f", {say_s(need.lead_us)} of that by rule {need.rule}" if need.lead_us else ""
    says = (
        f"It fits: {need.scene.name} needs {at_least}{say_s(need.us)} until its last barrier is down{lead}; this train "
        f"leaves {say_s(spare_us)} to spare."
    )
    fastest_us = approach.gives_us - need.us
    if fastest_us < spare_us:
        says += f" One at the track's fastest, {approach.track.fastest_mm_s} mm/s, would leave {say_s(fastest_us)}."
    if by_hand and spare_us < HAND_US:
        says += f" A hand is right to about {say_s(HAND_US)}: time it once more."
    return says


def _plain(text: str) -> str:
    return text.replace("`", "")
