"""The plan that a page draws: where everything stands as seen from above, also what the layout file gives no place.

Plain values for JSON, lengths in mm of the model. Knows no show, no web, and nothing of how things look.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise, zip_longest
from typing import NamedTuple

from engine.layout import Crossing, Kind, Layout, Output, Track

Spot = tuple[float, float]
Facts = dict[str, object]

MARGIN = 0.06  # of the greater side, around what has a place, where the file does not say how large the plan is
LEAST_MM = 200.0  # of either side
BESIDE = 0.035  # of the greater side: from a track or a road to what stands beside it
SAME = 0.5  # mm: nearer than that is the same spot


class Way(NamedTuple):
    """A track as it is drawn. Along it lengths are in proportion: a bend drawn short is short for its train, too."""

    spots: tuple[Spot, ...]
    length_mm: int  # the track's own

    @property
    def drawn_mm(self) -> float:
        return sum(math.dist(*pair) for pair in pairwise(self.spots))

    def at(self, along_mm: float) -> tuple[Spot, Spot]:
        """Where a place along the track is drawn, and the direction there, of length 1."""
        left = min(1.0, max(0.0, along_mm / self.length_mm)) * self.drawn_mm
        for (x, y), (to_x, to_y) in pairwise(self.spots):
            length = math.dist((x, y), (to_x, to_y))
            heading = ((to_x - x) / length, (to_y - y) / length)
            if left <= length:
                break
            left -= length
        left = min(left, length)
        return (x + heading[0] * left, y + heading[1] * left), heading


class Road(NamedTuple):
    """A crossing's road: its middle line, and how wide it is."""

    crossing: Crossing
    ends: tuple[Spot, Spot]  # at the back, at the front
    wide_mm: float


def plan(layout: Layout) -> Facts | None:
    """The whole of it; None where the layout file gives nothing a place, so that tracks are laid out by themselves."""
    given = layout.plan
    if not given.places and not given.passes:
        return None
    ways = {
        name: Way(tuple((float(x), float(y)) for x, y in spots), layout.tracks[name].length_mm)
        for name, spots in given.passes.items()
        if layout.tracks[name].length_mm
    }
    wide, deep = given.size_mm or _size([*given.places.values(), *(one for way in ways.values() for one in way.spots)])
    step = BESIDE * max(wide, deep)
    roads = [road for one in layout.crossings.values() if (road := _road(one, layout, ways, step)) is not None]
    places: dict[str, Spot] = {name: (float(x), float(y)) for name, (x, y) in given.places.items()}
    for name, spot in _at_signals(layout, ways, step) + _at_roads(roads, step):
        places.setdefault(name, spot)
    places = _apart(places, step)
    within = {name: (min(max(x, 0.0), wide), min(max(y, 0.0), deep)) for name, (x, y) in places.items()}
    parts = {name for one in layout.outputs.values() for name in _parts(one) if one.name in places}
    shown = {name: one for name, one in layout.outputs.items() if one.kind not in (Kind.COLOUR, Kind.DAYLIGHT)}
    wholes = {name for name, one in shown.items() if _parts(one) and all(part in places for part in _parts(one))}
    seen_in_track = {one.detector for name in ways for one in layout.tracks[name].stretches}
    return {
        "size": [wide, deep],
        "places": {name: [round(x), round(y)] for name, (x, y) in within.items()},
        "ways": {name: [list(spot) for spot in way.spots] for name, way in ways.items()},
        "roads": [
            {"crossing": one.crossing.name, "ends": [list(end) for end in one.ends], "wide": round(one.wide_mm)}
            for one in roads
        ],
        "aside": [
            *(name for name in shown if name not in within and name not in parts and name not in wholes),
            *(name for name in layout.detectors if name not in within and name not in seen_in_track),
        ],
    }


def _size(spots: Sequence[tuple[float, float]]) -> tuple[float, float]:
    right, front = (max(spot[axis] for spot in spots) for axis in (0, 1))
    margin = MARGIN * max(right, front)
    return max(right + margin, LEAST_MM), max(front + margin, LEAST_MM)


def _parts(output: Output) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for aspect in output.aspects for name, _ in aspect.parts))


# --- what follows from tracks and roads ----------------------------------------------------------------------------


def _at_signals(layout: Layout, ways: dict[str, Way], step: float) -> list[tuple[str, Spot]]:
    """Signals stand at their place along their track, on the left of who drives there."""
    found = []
    for name, way in ways.items():
        for hold in layout.tracks[name].holds:
            (x, y), (ahead_x, ahead_y) = way.at(hold.at_mm)
            found.append((hold.signal, (x + ahead_y * step, y - ahead_x * step)))
    return found


def _lanes(crossing: Crossing, layout: Layout, ways: dict[str, Way]) -> Iterable[tuple[Spot, Spot, float]]:
    """Where each track that is drawn crosses the road: its middle, its direction there, and how wide the road is."""
    for name, way in ways.items():
        for from_mm, length_mm in _stretches(layout.tracks[name], crossing.on_the_road):
            spot, ahead = way.at(from_mm + length_mm / 2)
            yield spot, ahead, length_mm * way.drawn_mm / way.length_mm


def _stretches(track: Track, detectors: Sequence[str]) -> Iterable[tuple[int, int]]:
    from_mm = 0
    for one in track.stretches:
        if one.detector in detectors:
            yield from_mm, one.length_mm
            return
        from_mm += one.length_mm


def _road(crossing: Crossing, layout: Layout, ways: dict[str, Way], step: float) -> Road | None:
    """Through the places where the tracks cross it, and some way on at both ends."""
    lanes = sorted(_lanes(crossing, layout, ways), key=lambda lane: lane[0][1])
    if not lanes:
        return None
    back, front = lanes[0][0], lanes[-1][0]
    ahead = lanes[0][1]
    across = (-ahead[1], ahead[0]) if ahead[0] >= 0 else (ahead[1], -ahead[0])  # from the back to the front
    apart = math.dist(back, front)
    if apart > SAME:
        across = ((front[0] - back[0]) / apart, (front[1] - back[1]) / apart)
    ends = tuple(
        (x + side * across[0] * 2 * step, y + side * across[1] * 2 * step) for side, (x, y) in ((-1, back), (1, front))
    )
    return Road(crossing, (ends[0], ends[1]), max(1.0, max(lane[2] for lane in lanes)))


def _at_roads(roads: Sequence[Road], step: float) -> list[tuple[str, Spot]]:
    """A crossing's parts stand beside both ends of its road, barriers next to it: in a row to one side at the back, to
    the other at the front."""
    found = []
    for road in roads:
        one = road.crossing
        (x, y), (to_x, to_y) = road.ends
        length = math.dist(*road.ends) or 1.0
        beside = ((y - to_y) / length, (to_x - x) / length)
        parts = [*one.entrance_barriers, *one.exit_barriers]
        parts += [
            name
            for row in zip_longest(one.reds, one.amber, one.audible_warning, one.boom_lamps)
            for name in row
            if name
        ]
        for n, name in enumerate(parts):
            side, (from_x, from_y) = ((1, (x, y)), (-1, (to_x, to_y)))[n % 2]
            out = side * (road.wide_mm / 2 + step * (0.8 + 1.4 * (n // 2)))
            found.append((name, (from_x + beside[0] * out, from_y + beside[1] * out)))
    return found


def _apart(places: dict[str, Spot], step: float) -> dict[str, Spot]:
    """What stands on one and the same spot is drawn side by side."""
    taken: dict[tuple[int, int], int] = {}
    found = {}
    for name, (x, y) in places.items():
        spot = (round(x), round(y))
        n = taken.setdefault(spot, 0)
        taken[spot] += 1
        found[name] = (x + n * step * 1.5, y)
    return found
