"""Where the plan draws things: as the layout file says, and beside what they belong to where it says nothing."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from engine.layout import Layout, Plan
from wayside.desk.plan import Way, plan
from wayside.project import load

from .conftest import QUAY

LAYOUT: Layout = load([QUAY]).layout
STRAIGHT = ((0, 500), (4800, 500))


def drawn(**changes: Any) -> dict[str, Any]:
    found = plan(replace(LAYOUT, plan=Plan(**changes)))
    assert found is not None
    assert json.loads(json.dumps(found)) is not None  # a page is told it
    return found


def test_without_any_place_there_is_no_plan() -> None:
    assert plan(replace(LAYOUT, plan=Plan())) is None


def test_what_has_a_place_is_there() -> None:
    found = plan(LAYOUT)
    assert found is not None
    places: Any = found["places"]
    for name, at in LAYOUT.plan.places.items():
        assert places[name] == list(at)
    assert found["size"] == [5200, 1600]
    assert found["aside"] == ["sky"]


def test_every_output_is_drawn_once_or_named_aside() -> None:
    """A signal's lamps are seen in the signal, and colours and the daylight in the lamps."""
    found = drawn(places={"forge": (300, 300)}, passes={"up-line": STRAIGHT})
    parts = {"up-arm", "down-red", "down-green"}
    named = {*found["places"], *found["aside"]}
    assert named >= {name for name in LAYOUT.outputs if " " not in name and name != "daylight"} - parts
    assert not set(found["places"]) & set(found["aside"])
    assert "down-approach" in found["aside"]  # on no track that is drawn
    assert "lane" not in found["aside"]


@pytest.mark.parametrize(("spots", "side"), [(STRAIGHT, -1), (STRAIGHT[::-1], 1)])
def test_a_signal_stands_on_the_driver_s_left_before_its_stretch(spots: Any, side: int) -> None:
    """In Britain most signals stand on the left of their line (common practice, no source)."""
    x, y = drawn(passes={"up-line": spots})["places"]["up-signal"]
    assert x == pytest.approx(3600 if side < 0 else 1200, abs=1)
    assert math.copysign(1, y - 500) == side


def test_lengths_along_a_drawn_track_are_in_proportion() -> None:
    """A square's two sides, by hand: a quarter of the way is the middle of the first side."""
    way = Way(((0.0, 0.0), (100.0, 0.0), (100.0, 100.0)), 4_000)
    assert way.at(1_000) == ((50.0, 0.0), (1.0, 0.0))
    assert way.at(3_000) == ((100.0, 50.0), (0.0, 1.0))
    assert way.at(9_000)[0] == (100.0, 100.0)
    assert way.at(-5)[0] == (0.0, 0.0)


def test_a_road_runs_through_the_lanes_of_all_its_tracks_and_its_barriers_stand_beside_it() -> None:
    found = drawn(passes={"up-line": ((0, 500), (4800, 500)), "down-line": ((7500, 600), (2700, 600))})
    (road,) = found["roads"]
    (back_x, back_y), (front_x, front_y) = road["ends"]
    assert (back_x, front_x) == (pytest.approx(3750), pytest.approx(3750))
    assert back_y < 500 < 600 < front_y
    assert road["wide"] == 300
    near, far = (found["places"][name] for name in ("near-barrier", "far-barrier"))
    assert abs(near[0] - 3750) > 150
    assert abs(far[0] - 3750) > 150
    assert (near[0] - 3750) * (far[0] - 3750) < 0  # each at its own side
    assert (near[1] - 550) * (far[1] - 550) < 0


def test_a_single_track_s_road_crosses_it_squarely() -> None:
    (road,) = drawn(passes={"up-line": ((500, 0), (500, 4800))})["roads"]
    (x, y), (to_x, to_y) = road["ends"]
    assert y == pytest.approx(to_y)
    assert min(x, to_x) < 500 < max(x, to_x)


def test_two_things_at_one_spot_stand_side_by_side() -> None:
    places = drawn(places={"forge": (300, 300), "crane": (300, 300)})["places"]
    assert places["forge"] != places["crane"]
    assert math.dist(places["forge"], places["crane"]) > 5


def test_nothing_is_drawn_beyond_the_plan() -> None:
    found = drawn(size_mm=(4800, 520), passes={"up-line": STRAIGHT})
    assert all(0 <= x <= 4800 and 0 <= y <= 520 for x, y in found["places"].values())


def test_a_plan_is_large_enough_for_what_stands_on_it() -> None:
    wide, deep = drawn(places={"forge": (3000, 0)})["size"]
    assert wide > 3000
    assert deep >= 180


def test_the_page_s_module_is_told_all_of_it(tmp_path: Path) -> None:
    from wayside.desk.facts import facts

    told = facts(load([QUAY]).program, "", False, 0)
    assert told["plan"] == plan(LAYOUT)
