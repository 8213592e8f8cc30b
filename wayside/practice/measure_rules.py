"""How rules of order and phase are measured in one passage at a crossing: each time that one was tried, kept or broken.

Knows no practice: which rules are asked for stands in the practice tables.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from wayside.practice.measuring import LOWERED, RAISED, Findings, Found, Passage
from wayside.practice.spans import Span, Spans


def _holds_in(spans: Iterable[Span], wrong: Spans, fault: str) -> Findings:
    """A rule that is tried in each of some spans and broken where something wrong lies in it."""
    for span in spans:
        broken = wrong.within(span)
        yield Found(broken.all[0].start, None, fault) if broken else Found(span.start)


def _coincide(instants: Iterable[int], with_these: Iterable[int], fault: str) -> Findings:
    """A rule that something happens in the same instant as something else."""
    known = set(with_these)
    for at in instants:
        yield Found(at, None, "" if at in known else fault)


def red_follows_amber(one: Passage, reds: Callable[[Passage], Spans]) -> Findings:
    fault = "the amber goes out and the reds do not begin in that instant"
    return _coincide(one.some_amber.ends(), reds(one).starts(), fault)


def audible_with_amber(one: Passage) -> Findings:
    fault = "the amber came on and no audible warning began"
    return _coincide(one.some_amber.starts(), one.sounding.starts(), fault)


def audible_until_lowered(one: Passage) -> Findings:
    fault = "the audible warning stopped, and not in the instant in which all barriers are lowered"
    return _coincide(one.sounding.ends(), one.all_lowered.starts(), fault)


def reds_alternate(one: Passage) -> Findings:
    for span in one.some_red:
        yield _first_unequal(one, one.crossing.reds, span, "reds")


def _first_unequal(one: Passage, lamps: Sequence[str], span: Span, noun: str) -> Found:
    """Half of the lamps lit throughout: of two exactly one. Of an odd number one more or less."""
    changes: dict[int, int] = {span.start: 0}
    for lamp in lamps:
        for lit in one.lit(lamp).within(span):
            changes[lit.start] = changes.get(lit.start, 0) + 1
            changes[lit.end] = changes.get(lit.end, 0) - 1
    lit_now, half = 0, {len(lamps) // 2, (len(lamps) + 1) // 2}
    for at in sorted(at for at in changes if at < span.end):
        lit_now += changes[at]
        if lit_now not in half:
            return Found(at, None, f"{lit_now or 'none'} of {len(lamps)} {noun} lit")
    return Found(span.start)


def reds_flash(one: Passage) -> Findings:
    """One red that flashes, or several that flash alternately."""
    yield from _holds_in(one.some_red, one.some_red - one.reds_flash, "a red does not flash")
    if len(one.crossing.reds) > 1:
        yield from reds_alternate(one)


def reds_steady(one: Passage) -> Findings:
    steady = one.every(map(one.steady, one.crossing.reds))
    return _holds_in(one.some_red, one.some_red - steady, "a red is not steady")


def dark_at_rest(one: Passage) -> Findings:
    lights = one.some([one.some_amber, one.some_red])
    begins = min([*one.detected.starts(), one.ended_us])
    last = one.ended_us - 1
    rests = [Span(0, begins)] if begins else []
    if one.all_raised.at(last) and not one.detected.at(last):
        rests.append(Span(last, one.ended_us))
    return _holds_in(rests, lights, "a light shines with no train about")


def exit_after_entrance(one: Passage) -> Findings:
    entrance = one.every(map(one.lowered, one.crossing.entrance_barriers))
    for barrier in one.crossing.exit_barriers:
        for span in one.going(barrier, LOWERED):
            down = entrance.at(span.start) is not None
            yield Found(
                span.start, None, "" if down else "an exit barrier starts before the entrance barriers are down"
            )


def boom_lamps_with_barriers(one: Passage) -> Findings:
    for lamp in one.crossing.boom_lamps:
        fault = "the first barrier leaves fully raised and a boom lamp does not come on with it"
        yield from _coincide(one.closings.starts(), one.shining(lamp).starts(), fault)


def boom_lamps_until_raised(one: Passage) -> Findings:
    for lamp in one.crossing.boom_lamps:
        for goes_out in one.shining(lamp).ends():
            early = one.closings.at(goes_out) is not None
            yield Found(goes_out, None, "a boom lamp goes out before the barriers are fully raised" if early else "")


def boom_lamps_pattern(one: Passage) -> Findings:
    """The tips steady, the others flashing alternately. Looked at whenever all of them shine."""
    lamps = one.crossing.boom_lamps
    for span in one.every(map(one.shining, lamps)):
        steady = [lamp for lamp in lamps if one.steady(lamp).at(span.start)]
        others = [lamp for lamp in lamps if lamp not in steady]
        if not steady or len(others) < 2:
            yield Found(span.start, None, f"{len(steady) or 'none'} of {len(lamps)} boom lamps steady")
        else:
            yield _first_unequal(one, others, span, "flashing boom lamps")


def red_until_raised(one: Passage) -> Findings:
    """Tried where the barriers are fully raised again: whatever went out before then went out too early."""
    return _holds_in(one.closings, one.closings - one.reds_on, "a red is out and a barrier is not fully raised")


def signals_clear_last(one: Passage) -> Findings:
    done = one.every([one.reds_on, one.all_lowered, ~one.sounding])
    for signal in one.crossing.signals:
        for clears in (~one.at_danger(signal)).starts():
            fault = "a signal leaves danger before the sequence is done"
            yield Found(clears, None, "" if done.at(clears) else fault)


def _rises(one: Passage) -> Iterator[Span]:
    for barrier in one.barriers:
        yield from one.going(barrier, RAISED)


def rise_at_danger(one: Passage) -> Findings:
    return _holds_in(_rises(one), ~one.all_at_danger, "a barrier rises and a signal is not at danger")


def danger_unless_lowered(one: Passage) -> Findings:
    fault = "a signal is not at danger and a barrier is not lowered"
    return _holds_in(~one.all_at_danger, ~one.all_lowered, fault)


def rise_undetected(one: Passage) -> Findings:
    return _holds_in(_rises(one), one.detected, "a barrier rises with a train detected")


def lowered_while_occupied(one: Passage) -> Findings:
    there = [span for spans in one.on_the_road.values() for span in spans]
    return _holds_in(there, ~one.all_lowered, "a train is on the road and a barrier is not lowered")
