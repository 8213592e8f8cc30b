"""A challenge at work: cases played on every core, until a rule breaks or the time is over; what was found, made small.

Owns processes and the clock; what to play is the business of `wayside.challenge.search`.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor
from contextlib import contextmanager
from typing import NamedTuple

from engine.monitors import Verdict
from engine.rules import Judgement
from wayside.challenge.case import Case, Field, Line, Played, judged, play
from wayside.challenge.case_menu import Budget
from wayside.challenge.phases import Asked
from wayside.challenge.search import Covered, Failure, Reach, Search
from wayside.challenge.shrinking import fails_alike, shrunk, snags_alike
from wayside.challenge.snags import Snagged
from wayside.usage import UsageProblem

CHUNK = 16  # cases that a core is given at once
MOST_SMALL = 5  # snags that are made small and told

Progress = Callable[[float], None]  # hears the share of the time that is over, 0 to 1


class Limits(NamedTuple):
    """When a challenge is over."""

    seconds: float
    cases: int | None = None  # for a challenge that must be the same on every machine
    cores: int | None = None  # None: as many as there are


class Found(NamedTuple):
    """A failure, made small; `case` is what is left of it. `line` broke, and all of `lines` with it."""

    line: Line
    case: Case
    within: bool
    broke_us: int
    lines: tuple[Line, ...]


class Closest(NamedTuple):
    """What a line of a rule came to, in the case that came closest; None where none came near."""

    line: Line
    case: Case | None
    judgement: Judgement | None


class Outcome(NamedTuple):
    """What came of a challenge. `found` are within the budget first; `seconds` is how long it searched."""

    covered: Covered
    found: tuple[Found, ...]
    closest: tuple[Closest, ...]
    seconds: float
    over: bool  # nothing was left to try
    stopped: bool  # somebody stopped it
    snags: tuple[Snagged, ...] = ()  # the first are made small


def challenge(ground: Field, budget: Budget, reach: Reach, limits: Limits, progress: Progress | None = None) -> Outcome:
    """Search until something breaks that a scene has to bear, or the limits are reached."""
    search = Search(ground, budget, reach)
    began = time.monotonic()
    stopped = False
    try:
        _search(ground, search, limits, began, progress)
    except KeyboardInterrupt:
        stopped = True  # what was found until then is told all the same
    seconds = time.monotonic() - began
    asked_for = [failure for failure in search.failures if failure.within or reach.beyond]
    found = _made_small(ground, budget, asked_for)
    closest = tuple(_closest(ground, line, search) for line in ground.lines)
    snags = tuple(_small_snags(ground, budget, search))
    return Outcome(search.covered, found, closest, seconds, search.over, stopped, snags)


def _search(ground: Field, search: Search, limits: Limits, began: float, progress: Progress | None) -> None:
    with _cores(ground, limits) as players:
        while not _enough(search, began, limits):
            batch = search.batch()
            if not batch:
                break
            if limits.cases is not None:
                batch = batch[: limits.cases - search.covered.cases]
            for asked, played in zip(batch, players(batch), strict=True):
                search.learn(asked, played)
            if progress is not None:
                progress(_share(search, began, limits))


def _enough(search: Search, began: float, limits: Limits) -> bool:
    if any(failure.within for failure in search.failures):
        return True
    if limits.cases is not None:
        return search.covered.cases >= limits.cases
    return time.monotonic() - began >= limits.seconds


def _share(search: Search, began: float, limits: Limits) -> float:
    done = search.covered.cases / limits.cases if limits.cases else (time.monotonic() - began) / limits.seconds
    return min(1.0, done)


# --- cores ---------------------------------------------------------------------------------------------------------

_ground: Field | None = None  # of a process that plays


def _begin(ground: Field) -> None:
    global _ground
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one who asked is told; those who play are told by it
    _ground = ground


def _play_all(cases: Sequence[Case]) -> list[Played]:
    assert _ground is not None
    return [play(_ground, case) for case in cases]


def _cores_there() -> int:
    """Those that this process may use, where the system tells it."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def _cores(ground: Field, limits: Limits) -> Iterator[Callable[[list[Asked]], list[Played]]]:
    """How a batch is played: by several processes, or by this one where there is one core only."""
    count = limits.cores or _cores_there()
    if count < 2:
        yield lambda batch: [play(ground, asked.case) for asked in batch]
        return
    pool: Executor
    with ProcessPoolExecutor(count, initializer=_begin, initargs=(ground,)) as pool:

        def players(batch: list[Asked]) -> list[Played]:
            cases = [asked.case for asked in batch]
            chunks = [cases[start : start + CHUNK] for start in range(0, len(cases), CHUNK)]
            return [played for some in pool.map(_play_all, chunks) for played in some]

        try:
            yield players
        except KeyboardInterrupt:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
        except BrokenExecutor as problem:
            what = "A process that played cases was ended from outside, for want of memory perhaps."
            raise UsageProblem(f"{what} Try it with --cores 1.") from problem


# --- what came of it -----------------------------------------------------------------------------------------------


def _made_small(ground: Field, budget: Budget, failures: Sequence[Failure]) -> tuple[Found, ...]:
    """The smallest failure of each line on each side of the budget, made smaller; those within it first."""
    smallest: dict[tuple[bool, Line], Failure] = {}
    for failure in failures:
        key = (failure.within, failure.line)
        if key not in smallest or failure.asked.case.size < smallest[key].asked.case.size:
            smallest[key] = failure
    found: list[Found] = []
    for (bears, line), failure in sorted(smallest.items(), key=lambda pair: not pair[0][0]):
        if not any(one.within == bears and line in one.lines for one in found):
            found.append(_one(ground, budget, failure))
    return tuple(found)


def _one(ground: Field, budget: Budget, failure: Failure) -> Found:
    fails = fails_alike(ground, failure.line, budget, failure.within)
    case = shrunk(failure.asked.case, fails)
    broke = {
        line: judgement.breaches[0].at_us
        for line, judgement in zip(ground.lines, judged(ground, case), strict=True)
        if judgement.breaches
    }
    return Found(failure.line, case, failure.within, broke[failure.line], tuple(broke))


def _small_snags(ground: Field, budget: Budget, search: Search) -> Iterator[Snagged]:
    for number, one in enumerate(search.snags.found()):
        if number >= MOST_SMALL:
            yield one
            continue
        case = shrunk(one.case, snags_alike(ground, one.snag.text, budget, one.within))
        at_us = {snag.text: snag.at_us for snag in play(ground, case, to_the_end=True).snags}[one.snag.text]
        yield Snagged(one.snag._replace(at_us=at_us), case, one.within)


def _closest(ground: Field, line: Line, search: Search) -> Closest:
    near = search.closest.get(line)
    if near is None:
        return Closest(line, None, None)
    judgements = dict(zip(ground.lines, judged(ground, near.asked.case), strict=True))
    judgement = judgements[line]
    return Closest(line, near.asked.case, None if judgement.verdict is Verdict.BROKEN else judgement)
