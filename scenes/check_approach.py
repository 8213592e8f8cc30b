"""Advice about approaches: the seconds that one gives, the seconds that the closing needs, and what would help.

What helps comes in one order (common practice, no source): start earlier, hold the train, run slower, lower both
barriers together or build half barriers, and only then squeeze.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.layout import Layout, Place
from engine.program import Program
from scenes.approaches import Approach, Need, approaches, lead
from scenes.closing import closing
from scenes.fitting import NICE_US, barriers_of, least
from scenes.lowering import lowered
from scenes.problems import Problem
from scenes.quantities import say_s, say_us

_S = 1_000_000


def crossings(program: Program) -> Iterator[Problem]:
    """An approach so short that the fastest train is at the road before the last barrier is down."""
    layout = program.layout
    for crossing in layout.crossings.values():
        every = {*crossing.entrance_barriers, *crossing.exit_barriers}
        for scene in program.scenes.values():
            barriers = lowered(scene.block, layout, every) if every.intersection(scene.writes) else set()
            if not barriers or not scene.heads:
                continue
            need = Need(
                scene, crossing, barriers, closing(scene.block, layout, barriers), *lead(program, crossing, barriers)
            )
            short = []
            for track in layout.tracks.values():
                for approach in approaches(track, crossing, scene, layout):
                    missing_us = need.us - approach.gives_us(track.fastest_mm_s)
                    if missing_us > 0:
                        short.append((missing_us, approach))
            if short and need.closing.by is not None:
                short.sort(key=lambda one: -one[0])
                yield _too_short(need, need.closing.by.place, short, layout)


# --- what is said --------------------------------------------------------------------------------------------------


def _too_short(need: Need, place: Place, short: list[tuple[int, Approach]], layout: Layout) -> Problem:
    missing_us, approach = short[0]
    places = 1 if missing_us >= NICE_US else 3  # so that what is missing is seen in the numbers
    track, gives_us = approach.track, max(0, approach.gives_us(approach.track.fastest_mm_s))
    at_least = "at least " if need.closing.unknown else ""
    what = (
        f"On `{track.name}` the approach{_from(approach)} is {say_s(missing_us, places)} too short. "
        f"It gives {say_s(gives_us, places)}: "
        f"{approach.length_mm} mm at {track.fastest_mm_s} mm/s{_delay(approach)}. The closing needs {at_least}"
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
    more_mm = -(-missing_us * track.fastest_mm_s // _S)
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
    missing_us = us - approach.gives_us(approach.track.fastest_mm_s)
    return "which fits" if missing_us <= 0 else f"which is still {say_s(missing_us, places)} too long"


def _squeeze(need: Need, approach: Approach, layout: Layout) -> Iterator[str]:
    """What `fit into` would have to say, or why it cannot."""
    room_us = approach.gives_us(approach.track.fastest_mm_s) - need.lead_us
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
