"""Advice about approaches: the seconds that one gives, the seconds that the closing needs, and what would help.

What helps comes in one order (common practice, no source): start earlier, hold the train, run slower, lower both
barriers together or build half barriers, and only then squeeze.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.layout import Layout, Place, Timed, Track
from engine.program import Program
from scenes.approaches import Approach, Need, needed
from scenes.closing import closing
from scenes.fitting import NICE_US, barriers_of, least
from scenes.lowering import lowered
from scenes.problems import Problem
from scenes.quantities import say_s, say_us

_S = 1_000_000


FASTER_PART = 50  # a train that is faster by less than a fiftieth than it can be is a matter of the clock (a choice)


def crossings(program: Program) -> Iterator[Problem]:
    """An approach so short that the fastest train is at the road before the last barrier is down."""
    layout = program.layout
    for need, found in needed(program):
        if problem := too_short(need, found, layout):
            yield problem
    for track in layout.tracks.values():
        yield from _faster(track)


def too_short(need: Need, found: list[Approach], layout: Layout) -> Problem | None:
    """What is wrong with the approaches to a crossing, of which the shortest is told; None if they are long enough."""
    short = [(need.us - one.gives_us, one) for one in found if need.us > one.gives_us]
    if not short or need.closing.by is None:
        return None
    short.sort(key=lambda one: -one[0])
    return _too_short(need, need.closing.by.place, short, layout)


def _faster(track: Track) -> Iterator[Problem]:
    """A train that took less time than the fastest of its track could."""
    for timed in track.timed:
        length_mm = _between(track, timed)
        reckoned_us = length_mm * _S // track.fastest_mm_s
        if timed.us < reckoned_us - reckoned_us // FASTER_PART:
            speed = -(-length_mm * _S // timed.us)
            what = (
                f"A train was timed on `{track.name}` in {say_s(timed.us)} from `{timed.begin}` to `{timed.end}`: at "
                f"the `fastest` of {track.fastest_mm_s} mm/s it takes {say_s(reckoned_us)}."
            )
            instead = f"Write `fastest: {speed} mm/s`, or measure the {length_mm} mm of its stretches anew."
            yield Problem(track.place, what, instead, advice=True)


def _between(track: Track, timed: Timed) -> int:
    """From where the nose of a train comes upon one stretch to where it comes upon the other."""
    names = [stretch.detector for stretch in track.stretches]
    first, last = names.index(timed.begin), names.index(timed.end)
    part = track.stretches[first:last] if first < last else track.stretches[last + 1 : first + 1]
    return sum(stretch.length_mm for stretch in part)


# --- what is said --------------------------------------------------------------------------------------------------


def _too_short(need: Need, place: Place, short: list[tuple[int, Approach]], layout: Layout) -> Problem:
    missing_us, approach = short[0]
    places = 1 if missing_us >= NICE_US else 3  # so that what is missing is seen in the numbers
    track, gives_us = approach.track, max(0, approach.gives_us)
    at_least = "at least " if need.closing.unknown else ""
    what = (
        f"On `{track.name}` the approach{_from(approach)} is {say_s(missing_us, places)} too short. "
        f"It gives {say_s(gives_us, places)}: "
        f"{_by(approach)}{_delay(approach)}. The closing needs {at_least}"
        f"{say_s(need.us, places)}{_with_lead(need, places)}."
    )
    holds = _holds(approach, layout)
    instead = "What would help, the best first:"
    if approach.backwards:
        instead = f"If no train comes from there, write `one way: yes` for the track in the layout file. {instead}"
    if holds:
        finds = "finds it open" if missing_us > need.lead_us else "comes too soon after that"
        obeys = f"A train that obeys `{holds[0]}` waits there until the road is closed; one that does not {finds}."
        instead = f"{obeys} {instead}"
    helps = (
        *_start_earlier(approach, missing_us),
        *(() if holds else ("Hold the train: a signal before the road, cleared only when the barriers are down.",)),
        *_run_slower(need, approach),
        *_together(need, approach, layout, places),
        *_squeeze(need, approach, layout),
    )
    also = [(track.place, "the track")]
    also += [(one.track.place, f"here it is{_from(one)} {say_s(us, places)} too short") for us, one in short[1:]]
    return Problem(place, what, instead, advice=True, also=tuple(also), helps=helps)


def _by(approach: Approach) -> str:
    """By which reckoning: length and speed, beside a train that was timed."""
    reckoned = f"{approach.length_mm} mm at {approach.track.fastest_mm_s} mm/s"
    if approach.timed is None:
        return reckoned
    when = f" on {approach.timed.on}" if approach.timed.on else ""
    if approach.timed.us < approach.reckoned_us:
        return f"a train was timed in that{when}; {reckoned} would take {say_s(approach.reckoned_us)}"
    return f"{reckoned}; a train was timed in {say_s(approach.timed.us)}{when}"


def _from(approach: Approach) -> str:
    return " from its far end" if approach.backwards else ""


def _delay(approach: Approach) -> str:
    if not approach.late_us:
        return ""
    name = approach.track.stretches[approach.first].detector
    return f", less the {say_s(approach.late_us)} until `{name}` has told of the train"


def _with_lead(need: Need, places: int) -> str:
    down = "until the last barrier is down"
    if not need.lead_us:
        return f" {down}"
    return f": {say_s(need.closing.down.at_us, places)} {down}, and {say_s(need.lead_us)} more by rule `{need.rule}`"


def _holds(approach: Approach, layout: Layout) -> list[str]:
    """The signals before the road at which a train waits unless they are cleared."""
    found = []
    for hold in approach.track.holds:
        output = layout.outputs.get(hold.signal)
        aspect = output.aspects[int(output.rest.value)] if output and output.aspects else None
        if aspect is not None and aspect.stops and hold.at_mm <= approach.road_mm:
            found.append(hold.signal)
    return found


# --- what would help -----------------------------------------------------------------------------------------------


def _start_earlier(approach: Approach, missing_us: int) -> Iterator[str]:
    track = approach.track
    more_mm = -(-missing_us * approach.true_mm_s // _S)
    say = f"Start earlier: {more_mm} mm more of approach"
    before = track.stretches[: approach.first]
    before_mm = sum(stretch.length_mm for stretch in before)
    unasked = next((one.detector for one in before if one.detector), None)
    if before_mm:
        sooner_mm = sum(one.length_mm for one in before[[one.detector for one in before].index(unasked) :])
        which = f"ask `{unasked}`, too, which has {sooner_mm} mm more" if unasked else "let a detector see them"
        lie = f"{before_mm} mm of the track lie before it"
        yield f"{say}. {lie}: {which}. Or start it by a route button or the starting signal."
    else:
        yield f"{say}, or a start by a route button or the starting signal."


def _run_slower(need: Need, approach: Approach) -> Iterator[str]:
    speed = approach.length_mm * _S // (need.us + approach.late_us)
    if speed:
        yield f"Run slower: at {speed} mm/s or less there is time enough."


def _together(need: Need, approach: Approach, layout: Layout, places: int) -> Iterator[str]:
    """All barriers lowered in one go: of the lines on the longest way that lower one, only the longest counts."""
    lowering = [step.takes_us for step in need.closing.down.steps() if lowered((step.line,), layout, need.barriers)]
    saved_us = sum(lowering) - max(lowering, default=0)
    entrance = {*need.crossing.entrance_barriers} & need.barriers
    all_of = "both barriers" if len(need.barriers) == 2 else "all barriers"
    if saved_us:
        us = need.us - saved_us
        yield f"Lower {all_of} together: the closing then needs {say_s(us, places)}, {_fits(us, approach, places)}."
    if entrance and entrance != need.barriers:
        us = closing(need.scene.block, layout, entrance).down.at_us + need.lead_us
        if us < need.us:
            half = f"without the exit side it needs {say_s(us, places)}"
            yield f"Build half barriers: {half}, {_fits(us, approach, places)}."


def _fits(us: int, approach: Approach, places: int) -> str:
    missing_us = us - approach.gives_us
    return "which fits" if missing_us <= 0 else f"which is still {say_s(missing_us, places)} too long"


def _squeeze(need: Need, approach: Approach, layout: Layout) -> Iterator[str]:
    """What `fit into` would have to say, or why it cannot."""
    room_us = approach.gives_us - need.lead_us
    barriers = barriers_of(need.scene, layout)
    least_us = least(need.scene, layout, barriers).down.at_us
    if least_us <= room_us:
        nice_us = room_us // NICE_US * NICE_US
        into = say_s(nice_us if nice_us >= least_us else room_us // 1000 * 1000)
        before = f"where `{need.scene.name}` says `{say_us(need.scene.fits_us)}`" if need.scene.fits_us else ""
        where = before or f"at the head of `{need.scene.name}`"
        yield f"Only then squeeze waits and moves{' more' if before else ''}: write `fit into {into}` {where}."
    else:
        floor = say_s(-(-least_us // NICE_US) * NICE_US)
        wanted = f"{say_s(room_us // NICE_US * NICE_US)} would be needed" if room_us >= NICE_US else "no time is left"
        yield f"Squeezing is not enough: {wanted}, and as the lines are, `fit into` can go down to {floor}."
