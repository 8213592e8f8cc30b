"""How times and rates are measured in one passage at a crossing.

Each function yields what it found, and when. Knows no practice: how much is enough stands in the practice tables.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import pairwise

from wayside.practice.measuring import LOWERED, RAISED, Findings, Found, Passage
from wayside.practice.spans import Span, Spans

MINUTE_US = 60_000_000

Barriers = Callable[[Passage], Iterable[str]]  # which of a crossing's barriers are meant


def amber_time(one: Passage) -> Findings:
    steady = one.every(map(one.steady, one.crossing.amber))
    for warning in one.warnings:
        ambers = steady.within(warning)
        if not ambers:
            yield Found(warning.start, 0)
        yield from (Found(span.start, span.length) for span in ambers if not steady.open(span))


def _until_first(one: Passage, begins: Sequence[int], what: Spans, missing: str) -> Findings:
    """From each of some instants until something holds, in the same warning; what held before counts as nothing."""
    for begin in begins:
        warning = one.warnings.at(begin)
        limit = one.ended_us if warning is None else warning.end
        later = what.within(Span(begin, limit))
        if later:
            yield Found(begin, later.all[0].start - begin)
        elif limit < one.ended_us:
            yield Found(begin, None, missing)


def detection_to_light(one: Passage) -> Findings:
    return _until_first(one, one.detected.starts(), one.amber_or_reds, "a train was detected and no light came on")


def detection_to_red(one: Passage) -> Findings:
    return _until_first(one, one.detected.starts(), one.reds_on, "a train was detected and the reds stayed dark")


def detection_to_boom_lamps(one: Passage) -> Findings:
    lamps = one.every(map(one.shining, one.crossing.boom_lamps))
    return _until_first(one, one.detected.starts(), lamps, "a train was detected and the boom lamps stayed dark")


def amber_to_red(one: Passage) -> Findings:
    return _until_first(one, one.some_amber.starts(), one.reds_on, "no red came on after the amber")


def red_to_lowered(one: Passage) -> Findings:
    firsts = [spans.all[0].start for spans in map(one.reds_on.within, one.warnings) if spans]
    return _until_first(one, firsts, one.all_lowered, "the barriers were never all lowered")


def red_before(one: Passage, barriers: Barriers) -> Findings:
    for barrier in barriers(one):
        for leaves in one.leaves(barrier, RAISED):
            yield Found(leaves, one.since(one.reds_on, leaves))


def whole_ways(one: Passage, barriers: Barriers, down: bool) -> Findings:
    """From leaving one end until standing at the other, where it did not come back in between."""
    for barrier in barriers(one):
        start, end = (RAISED, LOWERED) if down else (LOWERED, RAISED)
        first, last = (one.standing(barrier, one.position(barrier, name)) for name in (start, end))
        for leaves in one.leaves(barrier, start):
            there = next((at for at in last.starts() if at >= leaves), None)
            back = next((at for at in first.starts() if at >= leaves), None)
            if there is not None and (back is None or back > there):
                yield Found(leaves, there - leaves)


def before_train(one: Passage, what: Callable[[Passage], Spans]) -> Findings:
    for arrives in one.arrivals:
        yield Found(arrives, one.since(what(one), arrives))


# --- rates ---------------------------------------------------------------------------------------------------------


def _onsets(one: Passage, lamp: str) -> list[int]:
    return [span.start for flashing in one.flashing(lamp) for span in one.lit(lamp).within(flashing)]


def flash_rate(one: Passage) -> Findings:
    """From one flash of a lamp to its next; not over a time in which it did not flash."""
    for lamp in one.crossing.reds:
        flashing = one.flashing(lamp)
        for first, second in pairwise(_onsets(one, lamp)):
            if flashing.at(first) == flashing.at(second):
                yield Found(first, Fraction(MINUTE_US, second - first))


def combined_rate(one: Passage) -> Findings:
    """All reds counted together, over a stretch in which each of them flashes once."""
    pairs = [lamp for lamp in one.crossing.reds if one.is_pair(lamp)]
    lamps = len(one.crossing.reds) + len(pairs)
    onsets = [at for lamp in one.crossing.reds for at in _onsets(one, lamp)]
    onsets = sorted([*onsets, *(at for pair in pairs for at in _second_onsets(one, pair))])
    for first, last in zip(onsets, onsets[lamps:], strict=False):
        if last > first and one.reds_flash.at(first) == one.reds_flash.at(last) is not None:
            yield Found(first, Fraction(lamps * MINUTE_US, last - first))


def _second_onsets(one: Passage, pair: str) -> list[int]:
    """The second lamp of a pair lights as the first goes out, unless both are told to go out."""
    over = set(one.flashing(pair).ends())
    return [at for at in one.lit(pair).ends() if at not in over]
