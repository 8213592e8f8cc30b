"""What `wayside check` and `wayside rehearse` say of supplies: what was played is held against what they give.

Owns what is played for it, and how much. What is found, `wayside.survey.supply_findings` says.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from engine.program import Program
from engine.trace import Record
from scenes.problems import Problem
from wayside.survey.supply_findings import of_stated, too_much_at_once
from wayside.survey.supply_loads import Load, Played, load_of, loads

MOST_PLAYED = 40  # scenes that one check plays
PLAY_US = 60_000_000


def check(program: Program) -> list[Problem]:
    """Everything about the supplies of a layout; scenes are played only where all at once would be too much."""
    layout = program.layout
    if not layout.supplies:
        return []
    found = [load_of(layout, supply) for supply in layout.supplies.values()]
    said = [problem for load in found for problem in of_stated(layout, load)]
    doubtful = {load.supply.name for load in found if _may_be_too_much(load)}
    if doubtful:
        played = loads(layout, _scenes_alone(program))
        said += [one for load in played if load.supply.name in doubtful for one in too_much_at_once(load)]
    return said


def overloads(program: Program, played: Iterable[tuple[str, Sequence[Record], int]]) -> list[Problem]:
    """What was rehearsed and is more than a supply gives: its name, its trace and its end for each play."""
    layout = program.layout
    stated = any(supply.gives_ua is not None for supply in layout.supplies.values())
    if not stated:
        return []
    found = loads(layout, (Played(*one) for one in played))
    too_much = [load for load in found if load.worst and load.worst.ua > (load.supply.gives_ua or load.worst.ua)]
    return [problem for load in too_much for problem in too_much_at_once(load)]


def _may_be_too_much(load: Load) -> bool:
    return load.supply.gives_ua is not None and load.sums.most_ua > load.supply.gives_ua


def _scenes_alone(program: Program) -> Iterable[Played]:
    from wayside.rehearsal.playing import played_alone

    for name in list(program.named_scenes)[:MOST_PLAYED]:
        trace, until_us = played_alone(program, name, PLAY_US)
        yield Played(f"the scene {name}", trace, until_us)
