"""The crossing at Saltmarsh Lane against the crossing orders of Northern Ireland.

Sources, row by row: SR 2023/9 Schedule 2 paragraph 11(a) to (g) (K1-K6, K8, K9), SR 2016/404 Schedule 2 paragraph 5
(K7) and SR 2016/403 Schedule 1 paragraph 21 (K10). Each row is measured on a copy of the scene just inside its limit
and on one just outside.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

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

FOLDER = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
SCENE = "saltmarsh-lane.scene"
PLAYED = ("one-train", "second-train-while-rising")


def k1_amber(measured: Measured) -> list[str]:
    """Steady amber for about 3 s, the audible warning with it (par. 11(a)). "About" is read here as within 0.5 s."""
    faults = []
    ambers = measured.spans(all_of([measured.steady(lamp) for lamp in measured.roles.amber]))
    sounds = measured.spans(any_of([measured.shining(sound) for sound in measured.roles.audible_warning]))
    for closing in measured.closings:
        before = [span for span in ambers if span.end <= closing.start]
        if not before:
            faults.append(f"no amber before {s(closing.start)}")
            continue
        amber = before[-1]
        if not 2.5 * SECOND <= amber.end - amber.start <= 3.5 * SECOND:
            faults.append(f"amber for {s(amber.end - amber.start)}")
        if amber.start not in [sound.start for sound in sounds]:
            faults.append(f"no audible warning begins with the amber at {s(amber.start)}")
    return faults


def k2_red_at_once(measured: Measured) -> list[str]:
    """After the amber the intermittent red, at once (par. 11(b))."""
    ambers = measured.spans(any_of([measured.shining(lamp) for lamp in measured.roles.amber]))
    starts = [span.start for span in measured.all_flashing]
    return [
        f"no red begins as the amber ends at {s(span.end)}"
        for span in ambers
        if not span.open and span.end not in starts
    ]


def k3_red_before_barriers(measured: Measured) -> list[str]:
    """4 to 6 s of red before the entrance barriers start down (par. 11(c))."""
    faults = []
    for barrier in measured.roles.entrance_barriers:
        for up in measured.spans(measured.raised(barrier)):
            if up.open:
                continue
            red = covering(measured.all_flashing, up.end)
            lead = up.end - red.start if red else 0
            if not 4 * SECOND <= lead <= 6 * SECOND:
                faults.append(f"{s(lead)} of red before {s(up.end)}")
    return faults


def k4_entrance_descent(measured: Measured) -> list[str]:
    """The entrance barriers' descent takes 6 to 10 s (par. 11(c))."""
    return _descents(measured, measured.roles.entrance_barriers)


def _descents(measured: Measured, barriers: tuple[str, ...]) -> list[str]:
    ways = [way for barrier in barriers for way in measured.descents(barrier)]
    faults = [f"a descent of {s(way)}" for way in ways if not 6 * SECOND <= way <= 10 * SECOND]
    return faults if ways else ["no whole descent"]


def k5_exit_barriers(measured: Measured) -> list[str]:
    """The exit barriers start only when the entrance barriers are down, and take 6 to 10 s (par. 11(e))."""
    faults = _descents(measured, measured.roles.exit_barriers)
    down = measured.spans(all_of([measured.lowered(barrier) for barrier in measured.roles.entrance_barriers]))
    for barrier in measured.roles.exit_barriers:
        for going in measured.spans(measured.going(barrier, down=True)):
            if covering(down, going.start) is None:
                faults.append(f"an exit barrier starts down at {s(going.start)}")
    return faults


def k6_boom_lamps_on(measured: Measured) -> list[str]:
    """The boom lights come on when the first barrier leaves fully raised (par. 11(d))."""
    starts = [span.start for span in _boom_lamps(measured)]
    return [f"first barrier at {s(span.start)}" for span in measured.closings if span.start not in starts]


def k7_boom_lamps_off(measured: Measured) -> list[str]:
    """The boom lights go off only when the barriers are fully raised (SR 2016/404 Sch. 2 par. 5)."""
    faults = []
    for lamp in measured.roles.boom_lamps:
        for span in measured.spans(measured.shining(lamp)):
            if not span.open and covering(measured.closings, span.end):
                faults.append(f"boom lights off at {s(span.end)}")
    return faults


def _boom_lamps(measured: Measured) -> list[Span]:
    return measured.spans(all_of([measured.shining(lamp) for lamp in measured.roles.boom_lamps]))


def k8_audible_warning_stops(measured: Measured) -> list[str]:
    """The audible warning stops when all barriers are fully lowered (par. 11(f))."""
    starts = [span.start for span in measured.all_lowered]
    sounds = measured.spans(any_of([measured.shining(sound) for sound in measured.roles.audible_warning]))
    return [f"silent from {s(span.end)}" for span in sounds if not span.open and span.end not in starts]


def k9_train_permitted(measured: Measured) -> list[str]:
    """A train is permitted only after the whole sequence (par. 11(g)): red, all barriers lowered, warning silent."""
    faults = []
    done = measured.spans(
        all_of(
            [
                *(measured.flashing(lamp) for lamp in measured.roles.reds),
                *(measured.lowered(barrier) for barrier in measured.barriers),
                none_of([measured.shining(sound) for sound in measured.roles.audible_warning]),
            ]
        )
    )
    cleared = 0
    for signal in measured.roles.signals:
        for span in measured.spans(none_of([measured.protecting(signal)])):
            cleared += 1
            if covering(done, span.start) is None:
                faults.append(f"a signal leaves danger at {s(span.start)}")
    return faults if cleared else ["no signal ever clears"]


def k10_interlock(measured: Measured) -> list[str]:
    """Barriers rise only with the signals at danger; none clears while one is raised (SR 2016/403 Sch. 1 par. 21)."""
    faults = []
    danger = measured.spans(all_of([measured.protecting(signal) for signal in measured.roles.signals]))
    for barrier in measured.barriers:
        for span in measured.spans(measured.going(barrier, down=False)):
            if covering(danger, span.start) is None:
                faults.append(f"a barrier rises at {s(span.start)}")
    not_down = none_of([all_of([measured.lowered(barrier) for barrier in measured.barriers])])
    open_signal = none_of([all_of([measured.protecting(signal) for signal in measured.roles.signals])])
    for span in measured.spans(all_of([not_down, open_signal])):
        faults.append(f"a signal is not at danger while a barrier is not lowered, at {s(span.start)}")
    return faults


ROWS: dict[str, Callable[[Measured], list[str]]] = {
    "K1": k1_amber,
    "K2": k2_red_at_once,
    "K3": k3_red_before_barriers,
    "K4": k4_entrance_descent,
    "K5": k5_exit_barriers,
    "K6": k6_boom_lamps_on,
    "K7": k7_boom_lamps_off,
    "K8": k8_audible_warning_stops,
    "K9": k9_train_permitted,
    "K10": k10_interlock,
}

WARNING = "        turn on amber and bell\n        wait 3 s\n        turn off amber\n"
RED = "        turn off amber\n    flash reds in turn at 80 a minute each\n    wait 5 s\n"
BOOM = "    wait 5 s\n    turn on boom-lamps\n"
NEAR = "        move near-barrier to lowered over 7 s\n"
FAR = "        move far-barrier to lowered over 7 s, bouncing twice\n"
SILENCE = "        turn off bell\n        wait until all of barriers are lowered "
GUARDED = "        wait until all of guards are danger "
RISE = "            move barriers to raised over 6 s\n"
END = "    turn off reds and boom-lamps\n"


def side_by_side(first: str, wait: str, second: str, indent: int) -> str:
    """Two lines that run together, the second begun after a wait."""
    lines = ["together", f"    {first}", "    in order", f"        wait {wait}", f"        {second}"]
    return "".join(f"{' ' * indent}{line}\n" for line in lines)


MOVE_NEAR, MOVE_FAR = NEAR.strip(), FAR.strip()
TWINS = [
    Twin("K1", True, "amber 2.5 s", ((WARNING, WARNING.replace("3 s", "2.5 s")),)),
    Twin("K1", False, "amber 2.4 s", ((WARNING, WARNING.replace("3 s", "2.4 s")),)),
    Twin("K1", True, "amber 3.5 s", ((WARNING, WARNING.replace("3 s", "3.5 s")),)),
    Twin("K1", False, "amber 3.6 s", ((WARNING, WARNING.replace("3 s", "3.6 s")),)),
    Twin("K1", True, "bell first in the same instant", ((" amber and bell\n", " bell and amber\n"),)),
    Twin(
        "K1",
        False,
        "bell late",
        (
            (
                " amber and bell\n        wait 3 s",
                " amber\n        wait 100 ms\n        turn on bell\n        wait 2.9 s",
            ),
        ),
    ),
    Twin("K1", False, "amber flashes", ((" amber and bell\n", " bell\n        flash amber at 60 a minute\n"),)),
    Twin(
        "K2",
        True,
        "red first in the same instant",
        (
            ("        turn off amber\n    flash reds in", "    flash reds in"),
            ("    wait 5 s\n", "    turn off amber\n    wait 5 s\n"),
        ),
    ),
    Twin("K2", False, "100 ms dark", ((RED, RED.replace("amber\n", "amber\n        wait 100 ms\n")),)),
    Twin(
        "K2",
        False,
        "100 ms of both",
        (
            ("        turn off amber\n    flash reds in", "    flash reds in"),
            ("    wait 5 s\n", "    wait 100 ms\n    turn off amber\n    wait 4.9 s\n"),
        ),
    ),
    Twin("K3", True, "4 s", ((BOOM, BOOM.replace("5 s", "4 s")),)),
    Twin("K3", False, "3.9 s", ((BOOM, BOOM.replace("5 s", "3.9 s")),)),
    Twin("K3", True, "6 s", ((BOOM, BOOM.replace("5 s", "6 s")),)),
    Twin("K3", False, "6.1 s", ((BOOM, BOOM.replace("5 s", "6.1 s")),)),
    Twin("K4", True, "6 s", ((NEAR, NEAR.replace("7 s", "6 s")),)),
    Twin("K4", False, "5.9 s", ((NEAR, NEAR.replace("7 s", "5.9 s")),)),
    Twin("K4", True, "10 s", ((NEAR, NEAR.replace("7 s", "10 s")),)),
    Twin("K4", False, "10.1 s", ((NEAR, NEAR.replace("7 s", "10.1 s")),)),
    Twin("K5", True, "6 s", ((FAR, FAR.replace("7 s", "6 s")),)),
    Twin("K5", False, "5.9 s", ((FAR, FAR.replace("7 s", "5.9 s")),)),
    Twin("K5", True, "10 s", ((FAR, FAR.replace("7 s", "10 s")),)),
    Twin("K5", False, "10.1 s", ((FAR, FAR.replace("7 s", "10.1 s")),)),
    Twin("K5", False, "starts 100 ms early", ((NEAR + FAR, side_by_side(MOVE_NEAR, "6.9 s", MOVE_FAR, 8)),)),
    Twin("K5", False, "with the entrance barrier", ((NEAR + FAR, NEAR.replace("near-barrier", "barriers")),)),
    Twin(
        "K6",
        True,
        "after the barrier in the same instant",
        ((BOOM, "    wait 4 s\n    wait 1 s\n    turn on boom-lamps\n"),),
    ),
    Twin("K6", False, "100 ms early", ((BOOM, "    wait 4.9 s\n    turn on boom-lamps\n    wait 100 ms\n"),)),
    Twin(
        "K6",
        False,
        "100 ms late",
        (
            (BOOM, "    wait 5 s\n"),
            (NEAR, side_by_side(MOVE_NEAR, "100 ms", "turn on boom-lamps", 8)),
        ),
    ),
    Twin("K7", True, "100 ms after", ((END, "    turn off reds\n    wait 100 ms\n    turn off boom-lamps\n"),)),
    Twin("K7", False, "100 ms before", ((RISE, side_by_side(RISE.strip(), "5.9 s", "turn off boom-lamps", 12)),)),
    Twin(
        "K8",
        True,
        "before the signals in the same instant",
        ((SILENCE, SILENCE.replace("bell\n", 'bell\n        note "down"\n')),),
    ),
    Twin("K8", False, "100 ms late", ((SILENCE, "        wait 100 ms\n" + SILENCE),)),
    Twin("K8", False, "100 ms early", ((FAR, side_by_side(MOVE_FAR, "6.9 s", "turn off bell", 8)),)),
    Twin(
        "K9", True, "100 ms after the sequence", ((SILENCE, SILENCE.replace("bell\n", "bell\n        wait 100 ms\n")),)
    ),
    Twin("K9", False, "100 ms before its end", ((FAR, side_by_side(MOVE_FAR, "6.9 s", "set guards to clear", 8)),)),
    Twin("K10", True, "when the arm has had its time", ((GUARDED, "        wait 1200 ms "),)),
    Twin("K10", False, "100 ms before the arm has arrived", ((GUARDED, "        wait 1100 ms "),)),
    Twin(
        "K10",
        False,
        "cleared while they are raised",
        (("    if all of barriers are raised  ", "    set guards to clear\n    if all of barriers are raised  "),),
    ),
]


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
        assert faults == {row: [] for row in ROWS}
    else:
        assert faults[twin.row]


def test_every_row_has_a_twin_on_either_side() -> None:
    assert {(twin.row, twin.inside) for twin in TWINS} == {(row, inside) for row in ROWS for inside in (True, False)}


def test_names_do_not_matter(tmp_path: Path) -> None:
    """The roles are enough: with every name another, the same twin is told apart for the same reason."""
    names_do_not_matter(FOLDER, SCENE, TWINS[-1].changes, tmp_path, PLAYED, ROWS.values())
