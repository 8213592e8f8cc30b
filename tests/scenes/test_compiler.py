"""From text to program: what each line compiles to, and the one message that each mistake gets."""

# ruff: noqa: E501
# Scene files as text are easier to read with a line each.

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import cast

import pytest
from stage import LAYOUT, S, in_scene, line, problems, read, said, scene, sound

from engine.layout import Blink, Kind
from engine.program import (
    Again,
    AtTime,
    ByChance,
    Every,
    Fade,
    Flash,
    ForEach,
    Hold,
    If,
    InOrder,
    Level,
    Move,
    OnButton,
    Order,
    Pulse,
    Release,
    Repeat,
    Statement,
    Swing,
    Tell,
    Together,
    Wait,
    WaitUntil,
)
from scenes import names, writer
from scenes.compiler import compile_program
from scenes.parse import parse


def orders(statement: Statement) -> dict[str, Order]:
    assert isinstance(statement, Tell)
    return dict(statement.orders)


# --- what lines compile to -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("turn on amber", {"amber": Level(1.0)}),
        ("turn off amber and bell", {"amber": Level(0.0), "bell": Level(0.0)}),
        ("turn on crane, yard-power", {"crane": Level(1.0), "yard-power": Level(1.0)}),
        ("set quay-1 to 40 %", {"quay-1": Level(0.4)}),
        ("set quay-1 to 12,5 %", {"quay-1": Level(0.125)}),
        ("set quay-1 to off", {"quay-1": Level(0.0)}),
        ("set crane to 40 % backwards", {"crane": Level(-0.4)}),
        ("set near-barrier to lowered at once", {"near-barrier": Level(0.0)}),
        ("set near-barrier to 90 deg at once", {"near-barrier": Level(90.0)}),
        ("set near-barrier to 50 % at once", {"near-barrier": Level(42.5)}),
        ("set signal to clear", {"signal": Level(1.0), "arm": Swing(45.0), "signal-lamp": Level(0.0)}),
        ("flash amber at 80 a minute", {"amber": Flash(Blink(750_000, 1, 0, 2))}),
        ("flash amber in turn at 70 a minute", {"amber": Flash(Blink(6_000_000, 7, 0, 2))}),
        (
            "flash red-left and red-right at 60 a minute",
            {name: Flash(Blink(1_000_000, 1, 0, 2)) for name in ("red-left", "red-right")},
        ),
        (
            "flash red-left, amber, red-right in turn at 45 a minute each",
            {name: Flash(Blink(4_000_000, 3, i, 3)) for i, name in enumerate(("red-left", "amber", "red-right"))},
        ),
    ],
)
def test_a_line_that_tells_outputs(text: str, expected: dict[str, Order]) -> None:
    assert orders(line(text)) == expected


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("3 s", 3 * S),
        ("3sec", 3 * S),
        ("250 ms", 250_000),
        ("4 min", 240 * S),
        ("1,5 s", 1_500_000),
        ("2 hours", 7200 * S),
    ],
)
def test_times_in_every_spelling(text: str, us: int) -> None:
    found = line(f"wait {text}")
    assert isinstance(found, Wait)
    assert (found.low_us, found.high_us, found.draw) == (us, us, 0)


def test_lines_that_take_time() -> None:
    block = scene(
        """
turn on amber for 20 s
fade quay-1 and quay-2 to 80 % over 12 s
move near-barrier, far-barrier to lowered over 7 s, bouncing twice
move slow-barrier to lowered
pulse point-left
pulse point-left for 100 ms
wait 20 s to 3 min
"""
    ).block
    told, fade, move, own, pulse, short, wait = block
    assert isinstance(told, Tell)
    assert told.for_us == 20 * S
    assert isinstance(fade, Fade)
    assert (fade.targets, fade.over_us) == ((("quay-1", 0.8), ("quay-2", 0.8)), 12 * S)
    assert isinstance(move, Move)
    assert (move.targets, move.over_us) == ((("near-barrier", 0.0), ("far-barrier", 0.0)), 7 * S)
    assert isinstance(own, Move)
    assert own.over_us is None
    assert isinstance(pulse, Pulse)
    assert isinstance(short, Pulse)
    assert (pulse.for_us, short.for_us) == (120_000, 100_000)
    assert isinstance(wait, Wait)
    assert (wait.low_us, wait.high_us) == (20 * S, 180 * S)
    assert wait.draw > 0


def test_blocks() -> None:
    before = "flag open\n"
    text = """
together
    turn on amber
    in order
        wait 1 s
if open
    wait 1 s
otherwise if lane is clear
    wait 2 s
otherwise
    wait 3 s
repeat twice
    wait 1 s
by chance
    20 %
        wait 1 s
    otherwise
        wait 2 s
wait until open for 4 s, at most 3 min
otherwise
    remember open
"""
    together, choice, repeat, chance, wait = scene(text, before=before).block
    assert isinstance(together, Together)
    assert [len(branch) for branch in together.branches] == [1, 1]
    assert isinstance(choice, If)
    inner = choice.otherwise[0]
    assert isinstance(inner, If)
    assert isinstance(inner.otherwise[0], Wait)
    assert inner.otherwise[0].low_us == 3 * S
    assert isinstance(repeat, Repeat)
    assert repeat.times == 2
    assert isinstance(chance, ByChance)
    assert [share for share, _ in chance.shares] == [Fraction(20), Fraction(80)]
    assert isinstance(wait, WaitUntil)
    assert (wait.at_most_us, len(wait.otherwise)) == (180 * S, 1)


def test_heads() -> None:
    text = """
starts at 17:45 layout time
starts at 9:05:30 hall time
starts every 20 min
starts on button red-button, not again for 2 min
if started again: start over
turn on amber
"""
    found = scene(text)
    assert found.again is Again.START_OVER
    at, hall, every, button = found.heads
    assert isinstance(at, AtTime)
    assert isinstance(hall, AtTime)
    assert (at.second_of_day, at.layout_time) == (17 * 3600 + 45 * 60, True)
    assert (hall.second_of_day, hall.layout_time) == (9 * 3600 + 5 * 60 + 30, False)
    assert isinstance(every, Every)
    assert every.every_us == 1200 * S
    assert isinstance(button, OnButton)
    assert (button.button, button.not_again_us) == ("red-button", 120 * S)


def test_groups_within_groups_are_written_out_once_each() -> None:
    before = "group all-lamps: reds, amber, red-left\ngroup reds: red-left, red-right\n"
    assert list(orders(line("turn on all-lamps and amber", before))) == ["red-left", "red-right", "amber"]


def test_a_routine_is_written_out_with_names_times_levels_and_rates() -> None:
    text = """
group quay: quay-1, quay-2
routine light with lamps, level, time, rate
    for each lamp in lamps, time apart
        fade lamp to level over time
    flash amber at rate
scene s
    do light with quay, 40 %, 2 s and 45 a minute
"""
    (done,) = sound(text).scenes["s"].block
    assert isinstance(done, InOrder)
    assert done.called == "light"
    each, flash = done.block
    assert isinstance(each, ForEach)
    assert [member.name for member in each.members] == ["quay-1", "quay-2"]
    assert each.apart_us == (2 * S, 2 * S)
    fade = each.members[1].block[0]
    assert isinstance(fade, Fade)
    assert (fade.targets, fade.over_us) == ((("quay-2", 0.4),), 2 * S)
    assert orders(flash) == {"amber": Flash(Blink(4_000_000, 3, 0, 2))}


def test_what_a_scene_writes_is_seen_through_everything() -> None:
    text = """
group reds: red-left, red-right
routine shine with lamp
    turn on lamp
scene s
    runs whenever middle is clear
    when stopped
        turn off bell
    if lane is occupied
        do shine with quay-1
    for each one in reds
        turn on one
    set signal to clear
    hold near-barrier
    release far-barrier
"""
    found = sound(text).scenes["s"]
    told = {"bell", "quay-1", "red-left", "red-right", "signal", "arm", "signal-lamp", "near-barrier", "far-barrier"}
    assert set(found.writes) == told
    assert found.reads == ("middle", "lane")


def test_everything_is_all_that_the_scene_writes_but_for_what_its_stop_has_told() -> None:
    text = """
when stopped
    turn off amber
    hold everything
turn on amber and bell
set signal to clear
release everything
"""
    found = scene(text)
    assert found.when_stopped is not None
    hold, release = found.when_stopped[-1], found.block[-1]
    assert isinstance(hold, Hold)
    assert hold.outputs == ("bell", "signal", "arm", "signal-lamp")
    assert isinstance(release, Release)
    assert set(release.outputs) == {"amber", "bell", "signal", "arm", "signal-lamp"}


# --- draws ---------------------------------------------------------------------------------------------------------


def draws(text: str, name: str = "s") -> dict[str, int]:
    """The draws of a scene whose only statement is a `for each` around a wait: by member."""
    (each,) = sound(text).scenes[name].block
    assert isinstance(each, ForEach)
    return {member.name: cast(Wait, member.block[0]).draw for member in each.members}


EACH = "group lamps: {lamps}\n{more}scene {name}\n    for each lamp in lamps side by side\n        wait 1 s to 9 s\n        turn on lamp\n"


def test_draws_belong_to_scene_line_and_member() -> None:
    first = draws(EACH.format(lamps="quay-1, quay-2", more="", name="s"))
    assert len(set(first.values())) == 2
    more = draws(EACH.format(lamps="quay-3, quay-2, quay-1", more="", name="s"))
    assert {name: more[name] for name in first} == first
    lower = draws(EACH.format(lamps="quay-1, quay-2", more="scene other\n    turn on amber\n\n", name="s"))
    assert lower == first
    other = draws(EACH.format(lamps="quay-1, quay-2", more="", name="t"), "t")
    assert not set(other.values()) & set(first.values())
    assert all(0 <= draw < 2**64 for draw in first.values())


def test_draws_in_a_routine_depend_on_who_does_it_and_not_on_where_it_stands() -> None:
    routine = "routine pause\n    wait 1 s to 9 s\n"
    twice = "scene s\n    do pause\n    do pause\n"

    def of(text: str) -> list[int]:
        return [cast(Wait, cast(InOrder, one).block[0]).draw for one in sound(text).scenes["s"].block]

    assert of(routine + twice) == of(twice + "\n\n" + routine)
    assert len(set(of(routine + twice))) == 2


# --- mistakes ------------------------------------------------------------------------------------------------------

MISTAKES = [
    ("turn on ambr", "no output or group", "`amber`"),
    ("turn on near-barrier", "is a servo", "move near-barrier to raised over 3 s"),
    ("turn on signal", "is a signal", "set signal to danger"),
    ("turn on point-left", "is a pulse", "pulse point-left"),
    ("turn on lane", "`lane` is a detector", ""),
    ("fade yard-power to 40 % over 3 s", "is a relay", "turn on yard-power"),
    ("fade amber to 40 % over 3 s", "switched only", "`dimmable: yes`"),
    ("fade near-barrier to 40 % over 3 s", "does not fade", "move near-barrier"),
    ("set amber to 40 %", "switched only", "turn on amber"),
    ("set quay-1 to 140 %", "more than there is", "100 %"),
    ("set quay-1 to 40 deg", "cannot be set to `40 deg`", "turn on"),
    ("set quay-1 to 40 % backwards", "no backwards", "leave"),
    ("set near-barrier to lowered", "without a pace", "move near-barrier to lowered over 3 s"),
    ("set near-barrier to 91 deg at once", "outside", "0 deg to 90 deg"),
    ("set signal to cleer", "no aspect called `cleer`", "`clear`"),
    ("move amber to lowered over 3 s", "does not move", "turn on amber"),
    ("move near-barrier to lowerd over 5 s", "no position called `lowerd`", "`lowered`"),
    ("move near-barrier to lowered", "how long may", "over 3 s"),
    ("move slow-barrier to lowered over 7 s", "`over` is set on its board", "move slow-barrier to lowered"),
    ("move slow-barrier to lowered, bouncing", "`bouncing` is set on its board", ""),
    ("flash amber", "how often a minute", "flash amber at 60 a minute"),
    ("flash red-left and red-right in turn", "how often", "flash red-left and red-right in turn at 60 a minute"),
    ("flash bell at 60 a minute", "does not flash", "turn on bell"),
    ("flash pair at 60 a minute", "flashes by itself", "turn on pair"),
    ("flash amber at 0 a minute", "does not flash", "turn on"),
    ("pulse amber for 100 ms", "nothing but this program", "`kind: pulse`"),
    ("pulse point-left for 300 ms", "120 ms at most", "120 ms"),
    ("turn on bell for 10 min", "5 min at a time", "5 min"),
    ("wait 5 s to 3 s", "shorter than the first", "3 s to 5 s"),
    ("wait 999999 h", "longer than a month", ""),
    ("wait soon", "`soon`", "3 s"),
    ("stop repeating", "no `repeat` around", ""),
    ("repeat 0 times\n    wait 1 s", "never runs", ""),
    ("by chance\n    60 %\n        wait 1 s\n    50 %\n        wait 1 s", "add up to 110 %", ""),
    ("by chance\n    100 %\n        wait 1 s\n    otherwise\n        wait 1 s", "never runs", ""),
    ("wait until lane is clear\notherwise\n    wait 1 s", "never gives up", "at most"),
    ("remember amber", "`amber` is a lamp", ""),
    ("run s", "its own end", "`repeat`"),
    ("do nothing-known", "no routine called", ""),
    ("for each lane in quay-1\n    wait 1 s", "already the name of a detector", "choose another"),
    ("starts at 25:00 layout time", "no `25:00` in a day", "23:59"),
    ("starts on button red-buton", "no button", "`red-button`"),
    ("takes amber from s\nturn on amber", "from itself", ""),
]


@pytest.mark.parametrize(("text", "what", "instead"), MISTAKES, ids=[text.split("\n")[0] for text, _, _ in MISTAKES])
def test_a_mistake_gets_one_message(text: str, what: str, instead: str) -> None:
    _, found = read(in_scene(text))
    errors = [problem for problem in found if not problem.advice]
    assert len(errors) == 1, said(found)
    assert what.lower() in errors[0].what.lower()
    assert instead.lower() in errors[0].instead.lower() or instead.lower() in errors[0].what.lower()
    assert errors[0].place.line in range(2, 8)
    assert errors[0].what.endswith((".", "?"))


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("group a-group: b-group\ngroup b-group: a-group\n", "the group contains itself: a-group > b-group > a-group"),
        ("define x1 as x2\ndefine x2 as not x1\n", "the condition asks for itself: x1 > x2 > x1"),
        (
            "routine x1\n    do x2\nroutine x2\n    do x1\nscene s\n    do x1\n",
            "the routine does itself: x1 > x2 > x1",
        ),
        ("routine r with x1, x2\n    turn on x1\nscene s\n    do r with amber\n", "takes 2 (x1, x2) and is given 1"),
        ("routine r with x1\n    wait x1\nscene s\n    do r with amber\n", "this needs a time such as `3 s`"),
        ("routine r with x1\n    turn on x1\nscene s\n    do r with ambre\n", "no thing called `ambre`"),
    ],
)
def test_mistakes_in_definitions(text: str, what: str) -> None:
    _, found = read(text)
    assert what.lower() in said([p for p in found if not p.advice]).lower()
    assert len([p for p in found if not p.advice]) == 1


def test_two_names_that_clash_tell_both_places() -> None:
    first, second = parse("flag open\n", "a.scene"), parse("\nscene open\n    wait 1 s\n", "b.scene")
    _, found = compile_program([first.node, second.node], LAYOUT)
    (clash,) = (problem for problem in found if not problem.advice)
    assert (clash.place.file, clash.place.line) == ("b.scene", 2)
    assert [(place.file, place.line) for place, _ in clash.also] == [("a.scene", 1)]


def test_a_name_of_the_layout_file_is_taken_too() -> None:
    assert "`amber` is already the name of a lamp" in said(problems("flag amber\n"))


def test_every_mistake_is_told_in_one_go_and_each_once() -> None:
    text = """
group lamps: amber, red-left, red-right
scene s
    if any of lamp is on
        fade lamps to 40 % over 3 s
    for each lamp in lamps
        fade lamp to 40 % over 3 s
    turn on nobody-1 and nobody-2
"""
    _, found = read(text)
    assert sorted(problem.place.line for problem in found) == [4, 5, 7, 8, 8]


def test_a_broken_definition_has_no_consequences() -> None:
    parsed = parse("group reds red-left, red-right\nscene s\n    turn on reds\n", "bench.scene")
    assert len(parsed.problems) == 1
    assert compile_program([parsed.node], LAYOUT)[1] == []


def test_unused_definitions_are_advice_one_each() -> None:
    text = "group reds: red-left\nflag open\ncounter trains\ndefine quiet as lane is clear\nroutine r\n    wait 1 s\n"
    _, found = read(text)
    assert [(problem.advice, problem.place.line) for problem in found] == [
        (True, 1),
        (True, 2),
        (True, 3),
        (True, 4),
        (True, 5),
    ]


def test_a_routine_that_nobody_does_is_looked_at() -> None:
    assert "no output or group called `ambre`" in said(problems("routine r\n    turn on ambre\n"))


# --- limits --------------------------------------------------------------------------------------------------------


def test_the_limit_of_lines_written_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "WRITTEN_OUT", 10)
    assert read(in_scene("turn on amber\n" * 10))[1] == []
    (found,) = read(in_scene("turn on amber\n" * 11))[1]
    assert "more than 10 lines" in found.what


def test_the_limit_of_a_group(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(names, "GROUP_SIZE", 3)
    use = "scene s\n    turn on lamps\n"
    assert read("group lamps: quay-1, quay-2, quay-3\n" + use)[1] == []
    (found,) = read("group lamps: quay-1, quay-2, quay-3, quay-4\n" + use)[1]
    assert "4 members" in found.what


def test_the_limit_of_names(monkeypatch: pytest.MonkeyPatch) -> None:
    lamps = {name: LAYOUT.outputs[name] for name in ("amber", "bell")}
    small = replace(LAYOUT, outputs=lamps, detectors={}, buttons={}, tracks={}, links={})
    monkeypatch.setattr(names, "NAMES", 4)
    fine = "scene s1\n    turn on amber\nscene s2\n    turn on bell\n"
    assert read(fine, small)[1] == []
    (found,) = read(fine + "scene s3\n    turn on bell\nscene s4\n    turn on bell\n", small)[1]
    assert "more than 4 names" in found.what


def test_the_limit_of_nesting_after_writing_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "NESTING", 3)
    deep = "routine r\n    repeat twice\n        wait 1 s\nscene s\n    in order\n{}"
    assert read(deep.format("        do r\n"))[1] == []
    (found,) = read(deep.format("        in order\n            do r\n"))[1]
    assert "more than 3 deep" in found.what


def test_the_limit_of_routines_within_routines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "ROUTINE_DEPTH", 2)
    chain = "routine r1\n    wait 1 s\nroutine r2\n    do r1\n"
    assert read(chain + "scene s\n    do r2\n")[1] == []
    assert "more than 2 deep" in said(read(chain + "routine r3\n    do r2\nscene s\n    do r3\n")[1])


def test_the_limit_of_groups_within_groups(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(names, "GROUP_DEPTH", 2)
    two = "group g1: amber\ngroup g2: g1\n"
    assert read(two + "scene s\n    turn on g2\n")[1] == []
    # the outermost stands first: it is the one that is opened first
    assert "more than 2 deep" in said(read("group g3: g2\ngroup g2: g1\ngroup g1: amber\nscene s\n    turn on g3\n")[1])


def test_the_limit_of_members(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scenes.statements.MEMBERS", 2)
    each = "for each one in {}\n    turn on one"
    assert read(in_scene(each.format("amber, bell")))[1] == []
    (found,) = read(in_scene(each.format("amber, bell, crane")))[1]
    assert "3 members" in found.what


def test_what_to_write_instead_speaks_of_the_group_that_was_written() -> None:
    (found,) = read("group barriers: near-barrier, far-barrier\nscene s\n    move barriers to lowered\n")[1]
    assert found.instead == "Write `move barriers to lowered over 3 s`."


def test_a_scene_ahead_of_a_broken_line_is_still_told_of_its_own_mistakes() -> None:
    parsed = parse("scene s\n    turn on ambr\n    wait 3\n    turn on bel\n", "bench.scene")
    assert len(parsed.problems) == 1
    found = compile_program([parsed.node], LAYOUT)[1]
    assert [(problem.place.line, problem.place.column) for problem in found] == [(2, 13), (4, 13)]


def test_every_kind_of_output_is_answered_by_every_verb() -> None:
    verbs = (
        "turn on {}",
        "set {} to 40 %",
        "set {} to clear",
        "fade {} to 40 % over 2 s",
        "move {} to lowered over 5 s",
    )
    verbs += ("flash {} at 30 a minute", "pulse {} for 10 ms", "hold {}", "release {}", "set {} to 3 deg at once")
    kinds = {output.kind: output.name for output in LAYOUT.outputs.values()}
    assert set(kinds) == set(Kind) - {Kind.COLOUR, Kind.DAYLIGHT}  # not written in a layout file
    for name in kinds.values():
        for verb in verbs:
            program, found = read(in_scene(verb.format(name)))
            assert len(found) == (0 if program.scenes["s"].block else 1), (verb, name, said(found))


@pytest.mark.parametrize(("word", "figure"), [("three", "3"), ("two", "2"), ("twelve", "12")])
def test_a_number_in_words_is_answered_with_its_figure(word: str, figure: str) -> None:
    _, found = read(in_scene(f"repeat {word} times\n    wait 1 s"))
    assert [problem.instead for problem in found] == [f"Write `{figure} times`."]


def test_what_lasts_no_time_is_answered_and_a_sound_is_not_told_to_dim() -> None:
    _, found = read(in_scene("turn on amber for 0 s\nset bell to 40 %"))
    assert [problem.place.line for problem in found] == [2, 3]
    assert [problem.instead for problem in found] == ["Write `for 3 s`.", "Write `turn on bell`."]


def test_everything_is_held_or_released_only() -> None:
    _, found = read(in_scene("turn off everything\nhold everything"))
    assert [problem.place.line for problem in found] == [2]
    assert found[0].instead.startswith("Only `hold` and `release` take `everything`")
