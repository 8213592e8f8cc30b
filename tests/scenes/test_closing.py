"""How long a scene takes to its last lowering: every kind of line that may lead there, reckoned by hand.

And held against the engine: what is reckoned is when a rehearsal sees the last barrier arrive.
"""

from __future__ import annotations

import pytest
from stage import LAYOUT, S, in_scene, sound

from engine.layout import Layout
from engine.program import Move, Wait
from engine.trace import Told
from engine.waves import Steady
from scenes.closing import closing
from scenes.lowering import way_down
from scenes.walking import walk
from wayside.rehearsal.rehearsing import rehearse

NEAR, FAR = "near-barrier", "far-barrier"
DOWN = "move near-barrier to lowered over 7 s"
FAR_DOWN = "move far-barrier to lowered over 5 s"
BOTH = "for each b in near-barrier, far-barrier"

CASES = [
    ("one after the other", f"wait 3 s\n{DOWN}\n{FAR_DOWN}", 15),
    ("nothing after it counts", f"wait 3 s\n{DOWN}\nwait 50 s\nmove near-barrier to raised over 4 s", 10),
    ("a drawn time counts with its longer end", f"wait 2 s to 4 s\n{DOWN}", 11),
    ("a fade", f"fade quay-1 to 50 % over 2 s\n{DOWN}", 9),
    ("a lamp for a time", f"turn on amber for 3 s\n{DOWN}", 10),
    ("a pulse", f"pulse point-left\n{DOWN}", 7.12),
    ("half the way takes half the time", f"move near-barrier to 50 % over 8 s\nwait 1 s\n{DOWN}", 8.5),
    ("a barrier that is lowered takes none", f"{DOWN}\n{DOWN}\n{FAR_DOWN}", 12),
    ("a board's own pace", f"move slow-barrier to lowered\n{DOWN}", 14),
    ("the slower of two", f"together\n    {DOWN}\n    {FAR_DOWN}", 7),
    (
        "side by side, then on",
        f"together\n    wait 4 s\n    in order\n        wait 1 s\n        wait 2 s\n{DOWN}",
        11,
    ),
    (
        "what runs beside the lowering and longer does not count",
        f"together\n    wait 60 s\n    in order\n        wait 1 s\n        {DOWN}",
        8,
    ),
    ("the first that ends", f"first of\n    wait 3 s\n    wait until lane is clear for 9 s\n{DOWN}", 10),
    ("the first of two that end", f"first of\n    wait 3 s\n    wait 5 s\n{DOWN}", 10),
    (
        "each way through an if begins where the servos stood",
        "if lane is occupied\n    move near-barrier to 50 % over 2 s\notherwise\n"
        f"    move near-barrier to 50 % over 8 s\n{DOWN}",
        7.5,
    ),
    ("the longer way through an if", f"if lane is occupied\n    wait 3 s\notherwise\n    wait 4 s\n{DOWN}", 11),
    (
        "lowered in either half of an if",
        f"if lane is occupied\n    wait 9 s\n    {DOWN}\n    wait 50 s\notherwise\n    {DOWN}",
        16,
    ),
    ("by chance the longest", f"by chance\n    40 %\n        wait 3 s\n    60 %\n        wait 5 s\n{DOWN}", 12),
    ("rounds that are counted", f"repeat 3 times\n    wait 2 s\n{DOWN}", 13),
    (
        "later rounds move nothing that is there",
        f"repeat 3 times\n    wait 1 s\n    move far-barrier to lowered over 5 s\n{DOWN}",
        15,
    ),
    ("of a loop the first round", f"repeat\n    wait 2 s\n    {DOWN}\n    wait 20 s", 9),
    ("as long as it holds", f"as long as lane is clear\n    wait 2 s\n    {DOWN}\n    wait 9 s", 9),
    ("a wait that gives up", f"wait until lane is occupied, at most 4 s\n{DOWN}", 11),
    ("for each, one after another", f"{BOTH}\n    move b to lowered over 7 s", 14),
    ("for each, apart", f"{BOTH}, 2 s apart\n    move b to lowered over 7 s", 9),
    ("for each, side by side", f"{BOTH} side by side\n    move b to lowered over 7 s", 7),
    ("set at once takes no time, as the engine has it", "wait 1 s\nset near-barrier to lowered at once\nwait 30 s", 1),
]


@pytest.mark.parametrize(("lines", "seconds"), [one[1:] for one in CASES], ids=[one[0] for one in CASES])
def test_when_the_last_barrier_is_down(lines: str, seconds: float) -> None:
    block = sound(in_scene(lines)).scenes["s"].block
    found = closing(block, LAYOUT, {NEAR, FAR})
    assert found.down.at_us == round(seconds * S)
    assert sum(step.takes_us for step in found.down.steps()) == found.down.at_us
    assert found.unknown == ()


# what the engine draws, or what depends on a detector, may go quicker than is reckoned
QUICKER = ("a drawn time", "the longer way", "by chance", "lowered in either half")
PLAYED = [one for one in CASES if not one[0].startswith(QUICKER)]


@pytest.mark.parametrize(("lines", "seconds"), [one[1:] for one in PLAYED], ids=[one[0] for one in PLAYED])
def test_the_engine_has_it_down_then(lines: str, seconds: float) -> None:
    assert last_down(f"{in_scene(lines)}\nrehearsal r\n    plays s\n    lasts 90 s\n") == round(seconds * S)


def last_down(text: str, layout: Layout = LAYOUT) -> int:
    """When a rehearsal first has every barrier down that it ever sends there."""
    program = sound(text, layout)
    result = rehearse(program, program.rehearsals["r"])
    first: dict[str, int] = {}
    for record in result.trace:
        if isinstance(record, Told) and record.output in (NEAR, FAR):
            ends = record.at_us if isinstance(record.wave, Steady) else record.wave.ends_us
            if ends is not None and record.wave.value_at(ends) == 0.0:
                first.setdefault(record.output, ends)
    return max(first.values())


@pytest.mark.parametrize(
    "lines",
    [
        f"wait until lane is occupied\nwait 1 s\n{DOWN}",
        f"repeat until lane is occupied\n    wait 1 s\n{DOWN}",
        f"run other\nwait 1 s\n{DOWN}",
        f"first of\n    wait until lane is occupied\n    wait until lane is clear\nwait 1 s\n{DOWN}",
    ],
)
def test_what_nobody_can_date_is_named_and_not_counted(lines: str) -> None:
    block = sound(f"scene other\n    wait 3 s\n{in_scene(lines)}").scenes["s"].block
    found = closing(block, LAYOUT, {NEAR, FAR})
    assert found.unknown == (block[0],)
    assert found.down.at_us == 8 * S  # of a loop one round counts


def test_a_wait_after_the_last_lowering_is_none_of_it() -> None:
    block = sound(in_scene(f"{DOWN}\nwait until lane is clear for 4 s")).scenes["s"].block
    assert closing(block, LAYOUT, {NEAR, FAR}).unknown == ()


def test_a_scene_that_lowers_nothing_has_no_closing() -> None:
    block = sound(in_scene("wait 3 s\nmove near-barrier to raised over 4 s")).scenes["s"].block
    assert way_down(block, LAYOUT, {NEAR, FAR}) == ()
    assert closing(block, LAYOUT, {NEAR, FAR}).by is None


def test_the_way_holds_the_scenes_own_lines() -> None:
    block = sound(in_scene(f"repeat\n    wait 2 s\n    {DOWN}\n    wait 20 s")).scenes["s"].block
    way = [line for line in walk(way_down(block, LAYOUT, {NEAR, FAR})) if isinstance(line, Wait | Move)]
    own = [line for line in walk(block) if isinstance(line, Wait | Move)]
    assert [id(line) for line in way] == [id(line) for line in own[:2]]


def test_loops_within_loops_are_reckoned_in_no_more_rounds_than_there_is_time_for() -> None:
    """At every depth the barrier ends where it did not begin, so each round would want a second look."""
    lines: list[str] = []
    for depth in range(25):
        lead = "    " * depth
        lines += [f"{lead}repeat 2 times", f"{lead}    wait 1 s"]
    for depth in reversed(range(25)):
        lead = "    " * (depth + 1)
        lines += [f"{lead}if near-barrier is raised", f"{lead}    move near-barrier to 30 % over 7 s"]
        lines += [f"{lead}otherwise", f"{lead}    move near-barrier to raised over 7 s"]
    block = sound(in_scene("\n".join([*lines, DOWN]))).scenes["s"].block
    assert closing(block, LAYOUT, {NEAR, FAR}).down.at_us >= 2**25 * S
