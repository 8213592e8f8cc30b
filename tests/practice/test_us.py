"""The crossing at Depot Road against practice in the United States, with trains from the layout file's tracks.

Sources, row by row: 49 CFR 234.217(c) (U1, U2), 234.223 (U3, U4), 234.225 (U6), MUTCD 2009 section 8C.04 paragraph 3
(U12) and paragraph 4 (U13). Each row is measured on a copy of the scene just inside its limit and on one just outside.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from engine.trace import Saw
from tests.practice.measure import (
    SECOND,
    Measured,
    Span,
    Twin,
    all_of,
    any_of,
    covering,
    names_do_not_matter,
    none_of,
    play,
    s,
)

FOLDER = Path(__file__).parents[2] / "examples" / "marram-point"
SCENE = "depot-road.scene"
PLAYED = ("one-train-eastbound", "another-train-while-rising")


def u1_rate(measured: Measured) -> list[str]:
    """Each light unit flashes 35 to 65 times a minute (49 CFR 234.217(c))."""
    faults, counted = [], 0
    for lamp in measured.roles.reds:
        for first, second in pairwise(measured.onsets(lamp)):
            counted += 1
            rate = 60 * SECOND / (second - first)
            # edges stand at whole microseconds: allow the rate what that rounding costs
            if not 34.9999 <= rate <= 65.0001:
                faults.append(f"{rate:.4f} a minute at {s(first)}")
    return faults if counted else ["no light flashes"]


def u2_alternate(measured: Measured) -> list[str]:
    """The light units flash alternately (49 CFR 234.217(c)): one of a pair is lit, and the other dark."""
    left, right = measured.roles.reds
    edges = sorted({*measured.onsets(left), *measured.onsets(right)})
    both = measured.all_flashing
    return [
        f"both alike at {s(at)}"
        for at in edges
        if covering(both, at)
        and (measured.wave(left, at).value_at(at) > 0) == (measured.wave(right, at).value_at(at) > 0)
    ]


def u3_lights_before_arms(measured: Measured) -> list[str]:
    """The lights flash for at least 3 s before an arm starts down (49 CFR 234.223)."""
    faults = []
    for arm in measured.barriers:
        for up in measured.spans(measured.raised(arm)):
            lights = covering(measured.all_flashing, up.end)
            if not up.open and (lights is None or up.end - lights.start < 3 * SECOND):
                faults.append(f"an arm starts down at {s(up.end)}")
    return faults


def u4_arms_before_train(measured: Measured) -> list[str]:
    """The arms are horizontal at least 5 s before a train arrives (49 CFR 234.223)."""
    arrivals = measured.arrivals()
    late = [at for at in arrivals if not _since(measured.all_lowered, at, 5 * SECOND)]
    return [f"a train arrives at {s(at)}" for at in late] if arrivals else ["no train arrives"]


def u6_warning_time(measured: Measured) -> list[str]:
    """At least 20 s of warning before a through train (49 CFR 234.225)."""
    arrivals = measured.arrivals()
    late = [at for at in arrivals if not _since(measured.all_flashing, at, 20 * SECOND)]
    return [f"a train arrives at {s(at)}" for at in late] if arrivals else ["no train arrives"]


def _since(spans: list[Span], at: int, lead_us: int) -> bool:
    span = covering(spans, at)
    return span is not None and at - span.start >= lead_us


def u12_sequence(measured: Measured) -> list[str]:
    """Lights and arm lights begin on detection; the arms stay down while a train is there (MUTCD 8C.04 par. 3)."""
    faults = []
    warned = measured.spans(
        all_of([*map(measured.flashing, measured.roles.reds), *map(measured.shining, measured.roles.boom_lamps)])
    )
    for seen in (r for r in measured.trace if isinstance(r, Saw)):
        if seen.state == "occupied" and covering(warned, seen.at_us) is None:
            faults.append(f"no lights when a train is detected at {s(seen.at_us)}")
    there = measured.train_on(measured.roles.on_the_road)
    down = all_of([measured.lowered(arm) for arm in measured.barriers])
    for span in measured.spans(all_of([there, none_of([down])])):
        faults.append(f"an arm is not down with a train on the road at {s(span.start)}")
    return faults


def u13_release(measured: Measured) -> list[str]:
    """The arms rise only when no train is detected; the lights stop only when they are upright (MUTCD 8C.04 par. 4)."""
    faults = []
    for arm in measured.barriers:
        rising = all_of([measured.going(arm, down=False), measured.detected()])
        faults += [f"an arm rises at {s(span.start)} with a train detected" for span in measured.spans(rising)]
    lamps = measured.roles.reds + measured.roles.boom_lamps
    dark = any_of([none_of([measured.shining(lamp)]) for lamp in lamps])
    not_upright = none_of([all_of([measured.raised(arm) for arm in measured.barriers])])
    for span in measured.spans(all_of([dark, not_upright])):
        faults.append(f"a light is out at {s(span.start)} and the arms are not upright")
    return faults


ROWS: dict[str, Callable[[Measured], list[str]]] = {
    "U1": u1_rate,
    "U2": u2_alternate,
    "U3": u3_lights_before_arms,
    "U4": u4_arms_before_train,
    "U6": u6_warning_time,
    "U12": u12_sequence,
    "U13": u13_release,
}

RATE = "    flash lights in turn at 50 a minute each\n"
LEAD = "    do warn\n    wait 4 s\n"
DOWN = "    repeat\n        move arms to lowered over 10 s\n"
HELD = "        wait until all-clear for 3 s\n        as long as all-clear\n"
RISE = "            move arms to raised over 8 s\n"
END = "    turn off lights  "


def with_lights_out_after(wait: str) -> str:
    lines = ["together", f"    {RISE.strip()}", "    in order", f"        wait {wait}", "        turn off lights"]
    return "".join(f"{' ' * 12}{line}\n" for line in lines)


TWINS = [
    Twin("U1", True, "35 a minute", ((RATE, RATE.replace("50", "35")),)),
    Twin("U1", False, "34 a minute", ((RATE, RATE.replace("50", "34")),)),
    Twin("U1", True, "65 a minute", ((RATE, RATE.replace("50", "65")),)),
    Twin("U1", False, "66 a minute", ((RATE, RATE.replace("50", "66")),)),
    Twin(
        "U2",
        True,
        "the other one first",
        (("group lights: light-left, light-right", "group lights: light-right, light-left"),),
    ),
    Twin("U2", False, "both at once", ((RATE, RATE.replace(" in turn", "")),)),
    Twin("U3", True, "3 s", ((LEAD, LEAD.replace("4 s", "3 s")),)),
    Twin("U3", False, "2.9 s", ((LEAD, LEAD.replace("4 s", "2.9 s")),)),
    Twin("U4", True, "down 5 s before the train", ((DOWN, DOWN.replace("10 s", "16 s")),)),
    Twin("U4", False, "down 4.9 s before the train", ((DOWN, DOWN.replace("10 s", "16.1 s")),)),
    Twin("U6", True, "20 s of warning", ((LEAD, "    wait 5 s\n    do warn\n    wait 4 s\n"),)),
    Twin("U6", False, "19.9 s of warning", ((LEAD, "    wait 5.1 s\n    do warn\n    wait 4 s\n"),)),
    Twin("U12", True, "down as long as a train is detected", (("for 3 s\n        as long", "\n        as long"),)),
    Twin("U12", False, "up under the train", ((HELD, "        wait 19 s\n        if all of arms are lowered\n"),)),
    Twin("U12", False, "lights 100 ms late", ((LEAD, "    wait 100 ms\n" + LEAD),)),
    Twin("U13", True, "lights 100 ms longer", ((END, "    wait 100 ms\n" + END),)),
    Twin("U13", False, "lights out 100 ms early", ((RISE, with_lights_out_after("7.9 s")),)),
    Twin("U13", False, "goes on rising", (("        as long as all-clear\n", "        in order\n"),)),
]
# A copy just inside one row may be outside another: waiting before the lights is late by the book on detection.
ELSEWHERE = {"U6": {"U12"}}


@pytest.fixture(params=TWINS, ids=lambda twin: twin.id)
def twin(request: pytest.FixtureRequest) -> Twin:
    one: Twin = request.param
    return one


def test_the_scene_as_it_stands_keeps_every_row(tmp_path: Path) -> None:
    for measured in play(FOLDER, SCENE, (), tmp_path, PLAYED):
        assert {row: check(measured) for row, check in ROWS.items()} == {row: [] for row in ROWS}


def test_a_twin_is_told_apart(twin: Twin, tmp_path: Path) -> None:
    played = play(FOLDER, SCENE, twin.changes, tmp_path, PLAYED)
    faults = {row: [fault for measured in played for fault in check(measured)] for row, check in ROWS.items()}
    if twin.inside:
        aside = ELSEWHERE.get(twin.row, set())
        assert {row for row, found in faults.items() if found} <= aside
    else:
        assert faults[twin.row]


def test_every_row_has_a_twin_on_either_side() -> None:
    assert {(twin.row, twin.inside) for twin in TWINS} == {(row, inside) for row in ROWS for inside in (True, False)}


def test_names_do_not_matter(tmp_path: Path) -> None:
    """The roles are enough: with every name another, the same twin is told apart for the same reason."""
    names_do_not_matter(FOLDER, SCENE, TWINS[-1].changes, tmp_path, PLAYED, ROWS.values())
