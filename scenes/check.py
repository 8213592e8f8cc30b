"""The second look: what only shows when all scenes are seen together. Reads a compiled program only."""

from __future__ import annotations

import gc

from engine.program import Program
from scenes.check_advice import feeds, guarded, ruled
from scenes.check_approach import crossings
from scenes.check_day import days
from scenes.check_drivers import branches, scenes_at_once
from scenes.check_motion import daylight, fades, moves
from scenes.check_waits import after_endless, loops, waits
from scenes.problems import Problem, in_order

_CHECKS = (
    branches,
    scenes_at_once,
    loops,
    after_endless,
    waits,
    guarded,
    ruled,
    feeds,
    crossings,
    moves,
    fades,
    daylight,
    days,
)


def check(program: Program) -> list[Problem]:
    """Every problem of a compiled program that no single line shows, one a cause."""
    collecting = gc.isenabled()
    gc.disable()  # many small tuples and no cycles among them; looking for cycles doubles the time
    try:
        return _check(program)
    finally:
        if collecting:
            gc.enable()


def _check(program: Program) -> list[Problem]:
    found: dict[tuple[object, ...], Problem] = {}
    for one_check in _CHECKS:
        for problem in one_check(program):
            # a routine written out twice, or a member of a `for each`, is told once
            found.setdefault((one_check, problem.place), problem)
    return in_order(found.values())
