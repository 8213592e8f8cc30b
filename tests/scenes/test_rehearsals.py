"""Rules and rehearsals: what each sentence compiles to, and the message for each mistake."""

# ruff: noqa: E501
# Scene files as text are easier to read with a line each.

from __future__ import annotations

import pytest
from stage import LAYOUT, S, problems, read, said, sound

from engine.conditions import Atom, Not, Sort, Test
from engine.program import Act, Begin, Deed, Expectation, Rehearsal, Timing, Visit

SCENE = "scene s\n    wait 1 s\n"


def rehearsal(lines: str) -> Rehearsal:
    text = "".join(f"    {one}\n" for one in lines.strip("\n").split("\n"))
    return sound(f"{SCENE}rehearsal r\n{text}").rehearsals["r"]


def test_how_it_begins() -> None:
    found = rehearsal(
        """
begins with every detector clear
begins with lane occupied
begins with all of near-barrier, far-barrier lowered
begins with signal clear
begins with quay-1 40 %
begins at 17:40 layout time
plays s at 3 s
seed 7
lasts 5 min
expect amber is off throughout
"""
    )
    begins = [(one.subject, one.detector_state, one.value) for one in found.begins]
    assert begins[:3] == [(name, "clear", 0.0) for name in LAYOUT.detectors]
    assert begins[3:] == [
        ("lane", "occupied", 0.0),
        ("near-barrier", None, 0.0),
        ("far-barrier", None, 0.0),
        ("signal", None, 1.0),
        ("arm", None, 45.0),
        ("signal-lamp", None, 0.0),
        ("quay-1", None, 0.4),
    ]
    assert isinstance(found.begins[0], Begin)
    assert found.begins_at_s == 17 * 3600 + 40 * 60
    assert [(name, at) for _, name, at in found.plays] == [("s", 3 * S)]
    assert (found.seed, found.lasts_us) == (7, 300 * S)


def test_trains() -> None:
    plain, odd = rehearsal(
        """
a train 800 mm long runs along up-line at 150 mm/s, from 0 s
a train 60,5 cm long runs along up-line backwards at 147.5 mm/s from 38 s, ignoring signals, seen by locomotive only, standing in lane for 4 s, reversing in approach
expect amber is off throughout
"""
    ).trains
    assert (plain.track, plain.length_mm, plain.speed_um_s, plain.from_us) == ("up-line", 800, 150_000, 0)
    assert (plain.backwards, plain.ignores_signals, plain.locomotive_only, plain.visits) == (False, False, False, ())
    assert (odd.length_mm, odd.speed_um_s, odd.from_us) == (605, 147_500, 38 * S)
    assert (odd.backwards, odd.ignores_signals, odd.locomotive_only) == (True, True, True)
    assert odd.visits == (Visit("lane", 4 * S, False), Visit("approach", 0, True))


@pytest.mark.parametrize(
    ("text", "deed", "subject", "state", "for_us"),
    [
        ("press red-button", Deed.PRESS, "red-button", "", None),
        ("press red-button for 2 s", Deed.PRESS, "red-button", "", 2 * S),
        ("let go red-button", Deed.LET_GO, "red-button", "", None),
        ("start s", Deed.START, "s", "", None),
        ("stop s", Deed.STOP, "s", "", None),
        ("lose link main", Deed.LOSE_LINK, "main", "", None),
        ("mend link main", Deed.MEND_LINK, "main", "", None),
        ("lane stays clear for 400 ms", Deed.STAYS, "lane", "clear", 400_000),
        ("lane becomes occupied", Deed.BECOMES, "lane", "occupied", None),
    ],
)
def test_hands_and_faults(text: str, deed: Deed, subject: str, state: str, for_us: int | None) -> None:
    (act,) = rehearsal(f"at 27 s {text}\nexpect amber is off throughout").acts
    assert act == Act(act.place, 27 * S, deed, subject, state, for_us)


@pytest.mark.parametrize(
    ("text", "timing", "from_us", "to_us"),
    [
        ("throughout", Timing.THROUGHOUT, 0, None),
        ("from 1 s to 3 s", Timing.FROM_TO, S, 3 * S),
        ("at 3 s", Timing.AT, 3 * S, 3 * S),
        ("by 3 s", Timing.BY, 0, 3 * S),
        ("before 3 s", Timing.BEFORE, 0, 3 * S),
    ],
)
def test_when_an_expectation_is_looked_at(text: str, timing: Timing, from_us: int, to_us: int | None) -> None:
    (found,) = rehearsal(f"expect amber is on {text}").expectations
    assert found == Expectation(found.place, found.condition, timing, from_us, to_us)
    assert found.condition.words == "amber is on"


def test_counted_expectations_and_order() -> None:
    least, most, by, before = rehearsal(
        """
expect amber is on at least 2 times
expect amber is on at most 3 times from 1 s to 9 s
expect amber is on at least 2 times by 9 s
expect amber is on before a train is on lane
"""
    ).expectations
    assert (least.at_least, least.at_most, least.timing) == (2, None, Timing.THROUGHOUT)
    assert (most.at_least, most.at_most, most.from_us, most.to_us) == (0, 3, S, 9 * S)
    assert (by.timing, by.from_us, by.to_us) == (Timing.BY, 0, 9 * S)
    assert before.timing is Timing.BEFORE_CONDITION
    assert before.other is not None
    assert before.other.term == Atom(Sort.TRAIN, "lane", Test.TRAIN_ON)


def test_rules() -> None:
    text = """
scene s
    turn on amber and bell
rule r
    never amber is on while bell is not on for longer than 2 s
    always amber is on
    amber is on at least 1 s before a train reaches lane
    amber is on before bell is on
    whenever a train reaches lane, bell is on within 3 s and for 4 s
    at most 3 times amber is on within 4 s
    never no train is on lane
"""
    lines = sound(text).rules["r"].lines
    assert [(one.form, len(one.conditions), one.times_us, one.count) for one in lines] == [
        ("never while", 2, (2 * S,), 0),
        ("always", 1, (), 0),
        ("at least before", 2, (S,), 0),
        ("before", 2, (), 0),
        ("whenever within", 2, (3 * S, 4 * S), 0),
        ("at most", 1, (4 * S,), 3),
        ("never", 1, (), 0),
    ]
    train = Atom(Sort.TRAIN, "lane", Test.TRAIN_ON)
    assert lines[2].conditions[1].term == Atom(Sort.TRAIN, "lane", Test.REACHES)
    assert lines[6].conditions[0].term == Not(train)


BROKEN = """
scene s
    runs whenever lane is occupied
    when stopped
        move near-barrier to lowered over 3 s
    move near-barrier to lowered over 3 s
    turn on amber
scene t
    turn on amber
rule r
    never amber is on while bell is on
    if broken
        flash amber at 60 a minute
        stop s
        wait until lane is clear
        move near-barrier to lowered over 3 s
rule q
    if broken
        turn off amber
        turn on guard-lamp
    always amber is on
rule plain
    always amber is on
"""


def test_if_broken_is_a_scene_that_nobody_can_name_and_that_has_what_it_writes() -> None:
    program, found = read(BROKEN)
    assert [one for one in found if not one.advice] == []
    rules = program.rules
    assert [rule.if_broken for rule in rules.values()] == ["rule r", "rule q", ""]
    assert [len(rule.lines) for rule in rules.values()] == [1, 1, 1]
    scene = program.scenes["rule r"]
    assert (scene.place.line, scene.heads, scene.when_stopped) == (12, (), None)
    assert [type(line).__name__ for line in scene.block] == ["Tell", "StopScene", "WaitUntil", "Move"]
    assert (scene.writes, scene.reads) == (("amber", "near-barrier"), ("lane",))
    taken = {(one.scene, one.outputs) for one in scene.takes}
    assert taken == {("s", ("amber", "near-barrier")), ("t", ("amber",)), ("rule q", ("amber",))}
    assert list(program.named_scenes) == ["s", "t"]


def test_the_second_look_sees_into_if_broken_but_gives_it_no_advice_that_it_cannot_take() -> None:
    """No clash of two drivers, for it takes what it writes; no word of `when stopped`. But its loops are looked at."""
    clash = "The scenes `s` and `t` can run at once, and both tell `amber` what to do."
    found = [one.what for one in problems(BROKEN.replace("        stop s\n", "        repeat\n            stop s\n"))]
    assert "Nothing in this `repeat` takes time, so it would go round for ever in one instant." in found
    assert [one for one in found if "can run at once" in one] == [clash]
    assert not [one for one in found if "about a stop" in one]


@pytest.mark.parametrize(
    ("lines", "what"),
    [
        (("if broken", "    stop s"), "The rule `x` says nothing that could be broken."),
        (("always bell is on", "if broken", "    stop s", "if broken", "    stop s"), "here for the second time"),
        (("always bell is on", "if broken", "    stop nobody"), "There is no scene called `nobody`."),
    ],
)
def test_mistakes_with_if_broken(lines: tuple[str, ...], what: str) -> None:
    text = BROKEN + "rule x\n" + "".join(f"    {line}\n" for line in lines)
    (problem,) = [one for one in read(text)[1] if not one.advice]
    assert what in problem.what


def test_if_broken_in_a_scene_is_led_to_a_rule() -> None:
    (problem,) = [one for one in read("scene s\n    if broken\n        turn on amber\n")[1] if not one.advice]
    assert "`if broken`" in problem.instead


MISTAKES = [
    ("begins with lane raised", "a detector is never `raised`", "`occupied`"),
    ("begins with near-barrier clear", "cannot begin `clear`", "`raised`"),
    ("begins with amber lowered", "cannot begin `lowered`", "`on` or `off`"),
    ("begins with any of lane, middle clear", "something certain", "all of"),
    ("begins with amber 3", "a lamp cannot begin `3`", "`on` or `off`"),
    ("begins at 24:00", "no `24:00`", ""),
    ("plays nobody", "no scene called `nobody`", ""),
    ("a train 800 mm long runs along up-lane at 150 mm/s, from 0 s", "no track called `up-lane`", "`up-line`"),
    ("a train 0 mm long runs along up-line at 150 mm/s, from 0 s", "not 0 mm long", ""),
    ("a train 800 mm long runs along up-line at 0 mm/s, from 0 s", "does not run at 0 mm/s", ""),
    ("at 3 s press lane", "`lane` is a detector", ""),
    ("at 3 s lane stays cleer for 3 s", "never `cleer`", "`clear`"),
    ("expect amber is on from 3 s to 3 s", "ends before it begins", ""),
    ("expect amber is on before 0 s", "before the first instant", ""),
    ("expect amber is on at least 0 times", "always so", ""),
    ("expect amber is lowered at 3 s", "a lamp is never `lowered`", ""),
]


@pytest.mark.parametrize(("text", "what", "instead"), MISTAKES, ids=[text for text, _, _ in MISTAKES])
def test_a_mistake_gets_one_message(text: str, what: str, instead: str) -> None:
    _, found = read(f"{SCENE}rehearsal r\n    {text}\n")
    assert len(found) == 1, said(found)
    assert what.lower() in found[0].what.lower()
    assert instead.lower() in f"{found[0].what} {found[0].instead}".lower()
    assert found[0].place.line == 4


@pytest.mark.parametrize(
    ("text", "what", "instead"),
    [
        ("busy on", "a flag cannot begin `on`", "`begins with busy remembered`"),
        ("busy 3", "a flag cannot begin `3`", "`forgotten`"),
        ("rounds remembered", "a counter cannot begin `remembered`", "`begins with rounds 3`"),
    ],
)
def test_flags_and_counters_begin_in_their_own_words(text: str, what: str, instead: str) -> None:
    _, found = read(f"flag busy\ncounter rounds\n{SCENE}rehearsal r\n    begins with {text}\n")
    (problem,) = [one for one in found if not one.advice]
    assert what.lower() in problem.what.lower()
    assert instead.lower() in f"{problem.what} {problem.instead}".lower()


def test_rules_and_rehearsals_have_names_of_their_own() -> None:
    text = "scene signals\n    wait 1 s\nrule signals\n    never amber is on\nrehearsal signals\n    plays signals\n"
    assert [p for p in read(text)[1] if not p.advice] == []
    twice = read(text + "rule signals\n    never bell is on\n")[1]
    assert [(p.place.line, p.also[0][0].line) for p in twice] == [(7, 3)]


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        ("seed 4\nseed 5", 3, "`seed` stands here for the second time"),
        ("lasts 4 s\nlasts 5 s", 3, "`lasts` stands here for the second time"),
        ("begins at 17:00\nbegins at 18:00", 3, "`begins at` stands here for the second time"),
        ("begins with amber on\nbegins with amber off", 3, "`amber` begins in another way on line 2"),
        ("begins with lane clear\nbegins with lane occupied", 3, "`lane` begins in another way on line 2"),
        ("at 3 s lane stays clear for 0 s", 2, "nothing happens"),
        ("at 3 s press red-button for 0 s", 2, "nothing happens"),
        ("expect amber becomes on throughout", 2, "is ... at least 1 times`"),
        ("expect amber becomes on from 3 s to 5 s", 2, "is ... at least 1 times from 3 s to 5 s`"),
    ],
)
def test_a_line_that_could_have_no_effect_is_answered(lines: str, line: int, words: str) -> None:
    text = "rehearsal r\n" + "".join(f"    {one}\n" for one in lines.split("\n"))
    _, found = read(text)
    assert [problem.place.line for problem in found] == [line]
    assert words in said(found)


def test_a_single_subject_may_begin_otherwise_than_all() -> None:
    _, found = read("rehearsal r\n    begins with every detector clear\n    begins with lane occupied\n")
    assert found == []
