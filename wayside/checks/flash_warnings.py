"""Light that flashes more than three times within a second: found in a played trace, and in scenes by playing them.

Owns which lamps are seen together, and the sentence of the caution. The counting itself is `engine.flashes`.

A lamp is counted by itself, with the lamps of its line, with those of its scene, and with all that change at that time;
the worst counts. By itself, since two lamps that alternate light the room evenly and yet both flash for an eye that is
near; together, since from afar lamps run into one light, which may flash more often than any of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from engine.flashes import MOST_A_SECOND, SECOND_US, count, series, small, worst_second
from engine.layout import Layout, Place
from engine.program import Program
from engine.trace import Record
from scenes.problems import Problem
from wayside.checks.flash_acts import Act, Lamp, lamps_that_act, stretches
from wayside.checks.flash_doubts import may_flash
from wayside.wording import duration, listed

TIMES = 20  # one lamp, or any several, doing what the same lines say are looked at in so many stretches
WORK = 1_000_000  # values of lamps; past it what changes at the same time is no longer looked at, only lines and scenes
FLICKERING = 8  # so many of a set are looked at first; only if they flash too fast, all of them
MOST_WARNINGS = 10
MOST_PLAYED = 40  # scenes that one check plays
PLAY_US = 60 * SECOND_US

CAUTION = "Such light can harm people with photosensitive epilepsy"
SLOWER = f"{CAUTION}: flash more slowly, or keep it small and away from the public."
STATE = "Whether it is small is known once the layout file states `viewing distance` and the `lit area` of these lamps."
ACCEPT = 'Where it must be, write `accepts flashing because "..."` with your reason in the scene.'

Active = dict[Lamp, tuple[Act, ...]]  # what each does in a stretch


class FastFlashing(NamedTuple):
    """So many flashes in the second from `at_us` on: of which lamps, by which lines, of which scenes."""

    flashes: int
    at_us: int
    lamps: tuple[str, ...]
    places: tuple[Place, ...]
    scenes: tuple[str, ...]
    stated: bool = False  # whether it is known how much of the view these lamps fill


# --- a played trace ------------------------------------------------------------------------------------------------


def fast_flashing(program: Program, trace: Sequence[Record], until_us: int) -> list[FastFlashing]:
    """Where a played trace flashes more than three times within a second, the worst first, one for each set of lines.

    Left out: what scenes that accept flashing tell, and what fills too little of the view to do harm. Of several sets
    of lines the smallest that is enough is given. The work is bounded: see TIMES, WORK and `wayside.checks.flash_acts`.
    """
    lamps = lamps_that_act(program, trace, until_us)
    look = _Look(program.layout)
    worst: dict[frozenset[Place], FastFlashing] = {}
    for from_us, to_us in stretches(lamps, until_us):
        active = {lamp: acts for lamp in lamps if (acts := lamp.during(from_us, to_us))}
        for found in look.at(active, from_us, to_us):
            lines = frozenset(found.places)
            if lines not in worst or found.flashes > worst[lines].flashes:
                worst[lines] = found
    least = [found for lines, found in worst.items() if not any(other < lines for other in worst)]
    return sorted(least, key=lambda found: (-found.flashes, found.at_us))[:MOST_WARNINGS]


class _Look:
    """Looks at one stretch after another, and not for ever at the same."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._seen: dict[tuple[str, frozenset[Place]], int] = {}
        self._spent = 0

    def at(self, active: Active, from_us: int, to_us: int) -> list[FastFlashing]:
        """Every set of lamps that flashes too fast in a stretch, unless all of them together are small."""
        found = []
        for lamps in _sets(active):
            if self._harmless(lamps, active) or (len(lamps) == len(active) > 1 and self._spent > WORK):
                continue
            few = _fewer(lamps, active)
            instants = self._flashes(few, from_us, to_us)
            if len(few) < len(lamps) and worst_second(instants)[0] > MOST_A_SECOND:
                instants = self._flashes(lamps, from_us, to_us)
            most, at_us = worst_second(instants)
            if most > MOST_A_SECOND:
                before_us = max((one for one in instants if one < at_us), default=from_us)
                found.append(_found(most, max(before_us + 1, at_us - SECOND_US), at_us, lamps))
        flashing = dict.fromkeys(name for one in found for name in one.lamps)
        areas = [self._layout.outputs[name].lit_area_mm2 for name in flashing]
        if small(areas, self._layout.viewing_mm):
            return []
        stated = self._layout.viewing_mm is not None and None not in areas
        return [one._replace(stated=stated) for one in found]

    def _flashes(self, lamps: Sequence[Lamp], from_us: int, to_us: int) -> list[int]:
        waves = [(weight, lamp.history) for weight, lamp in zip(_weights(lamps), lamps, strict=True)]
        light = list(series(waves, from_us, to_us))
        self._spent += len(light) * len(lamps)
        return count(light)

    def _harmless(self, lamps: Sequence[Lamp], active: Active) -> bool:
        """Whether their manners let them make too few flashes, or they have been looked at often enough."""
        if sum(max(act.most for act in active[lamp]) for lamp in lamps) <= MOST_A_SECOND:
            return True
        alone = lamps[0].output.name if len(lamps) == 1 else ""
        key = alone, frozenset(act.place for lamp in lamps for act in active[lamp])
        self._seen[key] = self._seen.get(key, 0) + 1
        return self._seen[key] > TIMES


def _found(most: int, begins_us: int, at_us: int, lamps: Sequence[Lamp]) -> FastFlashing:
    """With the lamps that do something in that second, or in the first flash of it, and the lines that told them to."""
    acts = {lamp.output.name: lamp.during(begins_us, at_us + SECOND_US - 1) for lamp in lamps}
    every = [act for one in acts.values() for act in one]
    return FastFlashing(
        most,
        at_us,
        tuple(name for name, one in acts.items() if one),
        tuple(sorted({act.place for act in every})),
        tuple(sorted({act.scene for act in every if act.scene})),
    )


def _sets(active: Active) -> list[list[Lamp]]:
    """Each lamp, the lamps of each line, of each scene, and all of them; no set twice."""
    groups: dict[object, list[Lamp]] = {}
    for number, (lamp, acts) in enumerate(active.items()):
        for key in dict.fromkeys((number, *(act.place for act in acts), *(act.scene for act in acts), None)):
            groups.setdefault(key, []).append(lamp)
    return list({tuple(map(id, lamps)): lamps for lamps in groups.values()}.values())


def _fewer(lamps: Sequence[Lamp], active: Active) -> list[Lamp]:
    """Of many lamps that do nothing but flicker the largest: each goes its own way, so more are steadier together."""
    flickering = [lamp for lamp in lamps if all(act.most < inf for act in active[lamp])]
    spared = set(sorted(flickering, key=lambda lamp: -(lamp.output.lit_area_mm2 or inf))[FLICKERING:])
    return [lamp for lamp in lamps if lamp not in spared]


def _weights(lamps: Sequence[Lamp]) -> list[float]:
    """Each lamp's share of the light by its lit area; one that is not stated is taken to be as large as the largest."""
    stated = [lamp.output.lit_area_mm2 for lamp in lamps]
    largest = max((area for area in stated if area), default=1.0)
    areas = [area or largest for area in stated]
    whole = sum(areas)
    return [area / whole for area in areas]


# --- scenes that might ---------------------------------------------------------------------------------------------


def check_by_playing(program: Program) -> list[Problem]:
    """Advice about scenes that flash too fast, found by playing each that might for a minute; then it is stopped."""
    doubtful = may_flash(program)
    worst: dict[tuple[Place, ...], tuple[FastFlashing, str]] = {}
    for name in doubtful[:MOST_PLAYED]:
        for found in _played(program, name):
            before = worst.get(found.places)
            if before is None or found.flashes > before[0].flashes:
                worst[found.places] = found, name
    said = [problem(found, scene) for found, scene in worst.values()]
    if len(doubtful) > MOST_PLAYED:
        place = program.scenes[doubtful[MOST_PLAYED]].place
        what = f"{len(doubtful)} scenes may flash fast, and a check plays only {MOST_PLAYED} to find out: not this one."
        said.append(Problem(place, what, "Rehearse it, and those after it.", advice=True))
    return said


def _played(program: Program, scene: str) -> list[FastFlashing]:
    from wayside.rehearsal.playing import played_alone

    trace, until_us = played_alone(program, scene, PLAY_US)
    return fast_flashing(program, trace, until_us)


def problem(found: FastFlashing, played: str = "") -> Problem:
    """What is said about it, at the first of its lines. `played`: the scene that a check played to find it."""
    lamps = listed([f"`{name}`" for name in found.lamps], 4)
    when = f"when `{played}` is played" if played else f"from {duration(round(found.at_us, -4))} on"
    many = "flashes" if len(found.lamps) == 1 else "flash, together or each by itself,"
    what = f"{lamps} {many} {found.flashes} times within one second, {when}: more than three."
    first, *others = found.places
    instead = " ".join((SLOWER, *(() if found.stated else (STATE,)), ACCEPT))
    return Problem(first, what, instead, advice=True, also=tuple((place, "and here") for place in others))
