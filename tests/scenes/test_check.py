"""The second look: each thing that it finds, and a good twin of each that stays silent."""

# ruff: noqa: E501
# Scene files as text are easier to read with a line each.

from __future__ import annotations

from dataclasses import replace

import pytest
from stage import LAYOUT, in_scene, problems, said, sound

from engine.layout import Stretch
from scenes.check import check
from scenes.check_drivers import excludes
from scenes.problems import Problem


def looked(text: str) -> list[Problem]:
    return check(sound(text))


# --- errors: (name, bad, what is said, line, good twin) ------------------------------------------------------------

ERRORS = [
    (
        "two branches",
        "scene s\n    together\n        turn on amber\n        in order\n            wait 1 s\n            turn off amber\n",
        "both tell `amber`",
        6,
        "scene s\n    together\n        turn on amber\n        in order\n            wait 1 s\n            turn off bell\n",
    ),
    (
        "a wait that contradicts itself",
        "scene s\n    wait until lane is occupied and lane is clear\n    turn on amber\n",
        "never ends: it contradicts itself",
        2,
        "scene s\n    wait until lane is occupied and middle is clear\n    turn on amber\n",
    ),
    (
        "two members side by side",
        "scene s\n    for each one in amber and bell side by side\n        turn on one\n        wait 1 s\n        turn on crane\n",
        "runs for `amber` and `bell` side by side, and both tell `crane`",
        5,
        "scene s\n    for each one in amber and bell side by side\n        turn on one\n        wait 1 s\n    turn on crane\n",
    ),
    (
        "two branches through a routine and a signal's part",
        "routine r\n    set signal to clear\nscene s\n    together\n        do r\n        move arm to danger over 2 s\n",
        "both tell `arm`",
        6,
        "routine r\n    set signal to clear\nscene s\n    do r\n    move arm to danger over 2 s\n",
    ),
    (
        "two scenes",
        "scene a-scene\n    starts every 3 min\n    turn on amber\nscene b-scene\n    starts every 4 min\n    turn off amber\n",
        "`a-scene` and `b-scene` can run at once, and both tell `amber`",
        6,
        "scene a-scene\n    starts every 3 min\n    turn on amber\n"
        "scene b-scene\n    starts every 4 min\n    takes amber from a-scene\n    turn off amber\n",
    ),
    (
        "two scenes, one run by the other",
        "scene a-scene\n    turn on amber\n    start b-scene\nscene b-scene\n    turn off amber\n",
        "both tell `amber`",
        5,
        "scene a-scene\n    turn on amber\n    run b-scene\nscene b-scene\n    turn off amber\n",
    ),
    (
        "two scenes with conditions that do not exclude each other",
        "scene a-scene\n    runs only while lane is occupied\n    turn on amber\n"
        "scene b-scene\n    runs only while middle is clear\n    turn off amber\n",
        "both tell `amber`",
        6,
        "scene a-scene\n    runs only while lane is occupied\n    turn on amber\n"
        "scene b-scene\n    runs only while lane is clear\n    turn off amber\n",
    ),
    (
        "two scenes of which only one stops the other",
        "scene day\n    stop night\n    turn on amber\nscene night\n    turn off amber\n",
        "both tell `amber`",
        5,
        "scene day\n    stop night\n    turn on amber\nscene night\n    stop every other scene\n    turn off amber\n",
    ),
    (
        "two scenes run side by side",
        "scene a-scene\n    together\n        run b-scene\n        run c-scene\n"
        "scene b-scene\n    turn on amber\nscene c-scene\n    turn off amber\n",
        "both tell `amber`",
        8,
        "scene a-scene\n    run b-scene\n    run c-scene\nscene b-scene\n    turn on amber\nscene c-scene\n    turn off amber\n",
    ),
    (
        "a loop in no time",
        "scene s\n    repeat\n        turn on amber\n        turn off amber\n",
        "Nothing in this `repeat` takes time",
        2,
        "scene s\n    repeat\n        turn on amber\n        turn off amber for 1 s\n",
    ),
    (
        "a loop in no time, bounded",
        "counter c\nscene s\n    repeat until c is 3\n        count c up\n",
        "Nothing in this `repeat` takes time",
        3,
        "counter c\nscene s\n    repeat 3 times\n        count c up\n    wait until c is 3\n",
    ),
    (
        "after an endless loop",
        "scene s\n    repeat\n        wait 1 s\n    turn on amber\n",
        "never reached",
        4,
        "scene s\n    repeat\n        wait 1 s\n        if lane is clear\n            stop repeating\n    turn on amber\n",
    ),
    (
        "after an endless loop in a branch",
        "scene s\n    together\n        turn on amber\n        repeat\n            wait 1 s\n    turn on bell\n",
        "never reached",
        6,
        "scene s\n    first of\n        turn on amber\n        repeat\n            wait 1 s\n    turn on bell\n",
    ),
    (
        "an inner stop does not end the outer loop",
        "scene s\n    repeat\n        repeat\n            wait 1 s\n            stop repeating\n    turn on amber\n",
        "never reached",
        6,
        "scene s\n    as long as lane is clear\n        repeat\n            wait 1 s\n    turn on amber\n",
    ),
    (
        "members that never get a turn",
        "scene s\n    for each one in amber and bell\n        repeat\n            wait 1 s\n            turn on one\n",
        "never gets a turn",
        2,
        "scene s\n    for each one in amber and bell side by side\n        repeat\n            wait 1 s\n            turn on one\n",
    ),
    (
        "a flag that nobody sets",
        "flag open\nscene s\n    wait until open\n",
        "nothing remembers `open`",
        3,
        "flag open\nscene s\n    wait until open\nscene t\n    remember open\n",
    ),
    (
        "a flag that nobody sets, with a way out",
        "flag open\nscene s\n    wait until open and lane is clear\n",
        "nothing remembers `open`",
        3,
        "flag open\nscene s\n    wait until open or lane is clear\n    wait until open, at most 1 min\n    wait until not open\n",
    ),
    (
        "an output that nobody drives",
        "scene s\n    wait until near-barrier is lowered\n",
        "no scene tells `near-barrier` what to do",
        2,
        "scene s\n    wait until near-barrier is raised\n",
    ),
    (
        "a counter that nobody counts",
        "counter c\nscene s\n    wait until c is at least 3\n",
        "nothing counts `c`",
        3,
        "counter c\nscene s\n    wait until c is at least 3\nscene t\n    count c up\n",
    ),
    (
        "a scene that nobody starts",
        "scene s\n    wait until t is ended\nscene t\n    wait 1 s\n",
        "nothing starts `t`",
        2,
        "scene s\n    wait until t is ended\nscene t\n    starts every 2 min\n    wait 1 s\n",
    ),
]


@pytest.mark.parametrize(("bad", "what", "line", "good"), [one[1:] for one in ERRORS], ids=[one[0] for one in ERRORS])
def test_an_error_and_its_good_twin(bad: str, what: str, line: int, good: str) -> None:
    found = [problem for problem in looked(bad) if not problem.advice]
    assert len(found) == 1, said(found)
    assert what in found[0].what
    assert found[0].place.line == line
    assert found[0].instead
    assert said(looked(good)) == ""


def test_both_lines_of_a_clash_are_named() -> None:
    (found,) = looked("scene a-scene\n    turn on amber\nscene b-scene\n    turn off amber\n")
    assert found.place.line == 4
    assert [place.line for place, _ in found.also] == [2]


def test_a_routine_done_twice_is_told_once() -> None:
    text = "routine r\n    repeat\n        turn on amber\nscene s\n    do r\n    wait 1 s\nscene t\n    do r\n"
    found = [problem for problem in looked(text) if "takes time" in problem.what]
    assert [problem.place.line for problem in found] == [2]


def test_conditions_that_exclude_each_other() -> None:
    text = """
flag open
counter c
define a1 as {}
define a2 as {}
scene s
    wait until a1 or a2
    remember open
    count c up
"""

    def exclude(first: str, second: str) -> bool:
        block = sound(text.format(first, second)).scenes["s"].block
        term = block[0].condition.term  # type: ignore[union-attr]
        return excludes(*term.terms)  # type: ignore[union-attr]

    assert exclude("open", "not open")
    assert exclude("any of lane, middle is occupied", "all of lane, middle are clear")
    assert exclude("open and lane is clear", "lane is occupied")
    assert exclude("near-barrier is raised", "near-barrier is lowered")
    assert exclude("c is 3", "c is 4")
    assert exclude("none of amber, bell is on", "amber is on")
    assert not exclude("open", "lane is clear")
    assert not exclude("any of lane, middle is occupied", "any of lane, middle are clear")
    assert not exclude("lane is unknown", "lane is clear and open")


# --- advice --------------------------------------------------------------------------------------------------------

STOP = "    when stopped\n        hold everything\n"
CLOSING = "scene s\n    runs whenever any of approach, middle, lane is occupied\n    wait 2 s\n    {}\n"
ADVICE = [
    (
        "guarded on a change",
        f"scene s\n    starts each time lane is occupied\n{STOP}    turn on guard-lamp\n",
        "a change that is missed",
        2,
        f"scene s\n    runs whenever lane is occupied\n{STOP}    turn on guard-lamp\n",
    ),
    (
        "guarded without a stop",
        "scene s\n    runs whenever lane is occupied\n    turn on guard-lamp\n",
        "says nothing about a stop",
        1,
        "scene s\n    runs whenever lane is occupied\n    turn on amber\n",
    ),
    (
        "blind",
        f"scene s\n    runs whenever any of approach, lane is occupied\n{STOP}    turn on guard-lamp\n",
        "a train of 300 mm can stand on 700 mm of track that `s` does not see",
        1,
        f"scene s\n    runs whenever any of approach, middle, lane is occupied\n{STOP}    turn on guard-lamp\n",
    ),
    (
        "an idle rule",
        "scene s\n    turn on amber\nrule r\n    never bell is on\n",
        "No scene tells `bell` what to do",
        4,
        "scene s\n    turn on bell\nrule r\n    never bell is on\n",
    ),
    (
        "pulses in a row",
        "scene s\n    pulse point-left\n    wait 1 s\n    pulse point-right\n",
        "has to wait",
        4,
        "scene s\n    pulse point-left\n    wait 2 s\n    pulse point-right\n",
    ),
    (
        "pulses side by side",
        "scene s\n    together\n        pulse point-left\n        pulse point-right\n",
        "has to wait",
        4,
        "scene s\n    together\n        pulse point-left\n        turn on amber\n",
    ),
    (
        "pulses on one line",
        "scene s\n    pulse point-left and point-right\n",
        "the second waits",
        2,
        "scene s\n    pulse point-left\n",
    ),
    (
        # 2200 mm at 150 mm/s take 14.67 s; 2 s and 13 s end at 15 s, 2 s and 12.6 s at 14.6 s
        "a short approach",
        CLOSING.format("move near-barrier, far-barrier to lowered over 13 s"),
        "It gives 14.7 s: 2200 mm at 150 mm/s. The closing needs 15 s until the last barrier is down.",
        4,
        CLOSING.format("move near-barrier, far-barrier to lowered over 12600 ms"),
    ),
]


@pytest.mark.parametrize(("bad", "what", "line", "good"), [one[1:] for one in ADVICE], ids=[one[0] for one in ADVICE])
def test_advice_and_its_good_twin(bad: str, what: str, line: int, good: str) -> None:
    found = looked(bad)
    assert len(found) == 1, said(found)
    assert found[0].advice
    assert what in f"{found[0].what} {found[0].instead}"
    assert found[0].place.line == line
    assert said(looked(good)) == ""


def test_a_blind_stretch_as_long_as_the_shortest_train_is_just_seen() -> None:
    stretches = (Stretch("approach", 1500), Stretch(None, 300), Stretch("lane", 300))
    track = LAYOUT.tracks["up-line"]._replace(stretches=stretches)
    layout = replace(LAYOUT, tracks={"up-line": track})
    text = f"scene s\n    runs whenever any of approach, lane is occupied\n{STOP}    turn on guard-lamp\n"
    assert check(sound(text, layout)) == []


def test_a_scene_without_a_head_that_nobody_starts_is_fine() -> None:
    assert problems(in_scene("turn on amber")) == []


def test_a_beginners_file_is_not_thirty_warnings() -> None:
    lines = "\n".join(
        f"    turn on quay-{number}\n    wait 1 s\n    set quay-{number} to 40 %" for number in range(1, 6)
    )
    assert problems(f"scene lights\n{lines}\n") == []
