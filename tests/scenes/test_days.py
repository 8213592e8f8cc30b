"""Show days: what their lines compile to, what is refused, and what check has to say about them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from stage import LAYOUT, problems, read, said, sound

from engine.daylight import event
from engine.layout import Clock, Layout
from engine.program import Day, DayAfter, DayAt, DayEvery, Tell
from scenes.check import check
from scenes.days import MOST_ENTRIES
from scenes.parse import parse

H = 3600
SCENES = """
scene ferry
    turn on amber
    wait 40 s
    turn off amber

scene gulls
    turn on bell
    wait 2 s
    turn off bell

"""


def day(lines: str, opens: str = "opens at 10:00\ncloses at 17:00", scenes: str = SCENES) -> str:
    return scenes + "day x\n" + "".join(f"    {one}\n" for one in f"{opens}\n{lines}".strip("\n").split("\n"))


def compiled(lines: str, opens: str = "opens at 10:00\ncloses at 17:00") -> Day:
    return sound(day(lines, opens)).days["x"]


# --- what it compiles to -------------------------------------------------------------------------------------------


def test_hours() -> None:
    made = compiled("quiet from 12:30 to 13:15", "opens at 10:00 hall time\ncloses at 17:00")
    assert (made.opens_s, made.closes_s) == (10 * H, 17 * H)
    assert [(one.from_s, one.to_s) for one in made.quiet] == [(12 * H + 1800, 13 * H + 900)]
    assert (made.opens_place.line, made.closes_place.line, made.place.line, made.closing) == (13, 14, 12, "")
    assert compiled("", "opens at 10:00").closes_s is None


def test_lines_that_run_a_scene() -> None:
    made = compiled(
        "at 10:30 hall time run ferry\nat 17:45 layout time run ferry\nat dusk run gulls\nat dusk - 20 min run gulls\n"
        "every 25 min run gulls\nevery 25 min between 11:00 and 16:00 run ferry\nafter ferry run gulls"
    )
    dusk = event(LAYOUT.whereabouts, "dusk")
    assert dusk is not None
    assert [one[1:] for one in made.entries] == [
        ("10:30 hall time", "ferry", 10 * H + 1800, False),
        ("17:45 layout time", "ferry", 17 * H + 2700, True),
        ("dusk", "gulls", dusk, True),
        ("dusk - 20 min", "gulls", dusk - 1200, True),
        ("every 25 min", "gulls", 1500, None),
        ("every 25 min between 11:00 and 16:00", "ferry", 1500, (11 * H, 16 * H)),
        ("after ferry", "gulls", "ferry"),
    ]
    assert [type(one) for one in made.entries] == [DayAt] * 4 + [DayEvery] * 2 + [DayAfter]
    assert [one.place.line for one in made.entries] == [15, 16, 17, 18, 19, 20, 21]


def test_at_closing_is_a_scene_that_nobody_can_name_and_that_takes_what_it_writes() -> None:
    program = sound(day("at closing\n    turn off amber\n    run gulls"))
    closing = program.scenes[program.days["x"].closing]
    assert closing.name == "closing of x"
    assert (closing.lingers, closing.when_stopped, closing.writes) == (True, (), ("amber",))
    assert [(one.outputs, one.scene) for one in closing.takes] == [(("amber",), "ferry")]
    assert isinstance(closing.block[0], Tell)
    assert list(program.named_scenes) == ["ferry", "gulls"]


def test_the_closings_of_two_days_and_a_broken_rule_are_no_drivers_at_once() -> None:
    other = "\nday y\n    opens at 10:00\n    closes at 12:00\n    at closing\n        turn off amber\n"
    rule = "\nrule z\n    never lane is occupied\n    if broken\n        turn on amber\n"
    program, found = read(day("at closing\n    turn off amber") + other + rule)
    assert [one for one in [*found, *check(program)] if not one.advice] == []


def test_days_have_names_of_their_own() -> None:
    assert list(sound(day("").replace("day x", "day ferry")).days) == ["ferry"]


# --- what is refused -----------------------------------------------------------------------------------------------

REFUSED = [
    ("at 10:30 hall time run fery", "There is no scene called `fery`. Did you mean `ferry`?"),
    ("at 10:30 hall time run amber", "`amber` is a lamp, and this needs a scene."),
    ("at 25:00 hall time run ferry", "There is no `25:00` in a day. Times of day run from 0:00 to 23:59."),
    ("at dsk run ferry", "The sun knows no `dsk`"),
    ("at evening run ferry", "Write `at dusk`."),
    ("at dusk - 1,5 s run ferry", "Write for example `at dusk - 20 min`."),
    ("every 500 ms run ferry", "not every `500 ms`. Write a time such as `25 min`."),
    ("every 1,5 s run ferry", "A day runs a scene every whole number of seconds"),
    ("every 24 h run ferry", "less than a day"),
    ("every 25 min between 11:00 and 16:00 layout time run ferry", "Leave `layout time` out, or write `hall time`."),
    ("after ferry run ferry", "`ferry` would begin again each time it has ended, and never come to rest."),
    ("quiet from 12:00 to 12:00", "That is no time at all."),
    ("quiet from 12:00 to 13:00 layout time", "doors, quiet hours and `every` go by the clock of the hall"),
    ("opens at 11:00", "`opens at` stands here for the second time. A day has one."),
    ("closes at 11:00", "`closes at` stands here for the second time."),
    ("at closing\n    turn off amber\nat closing\n    turn off bell", "`at closing` stands here for the second time."),
    ("at closing\n    turn off ambr", "There is no output or group called `ambr`. Did you mean `amber`?"),
]


@pytest.mark.parametrize(("lines", "message"), REFUSED)
def test_a_line_that_cannot_be_meant(lines: str, message: str) -> None:
    _, found = read(day(lines))
    errors = [one for one in found if not one.advice]
    assert message.lower() in said(errors).lower()
    assert len(errors) == 1


@pytest.mark.parametrize(
    ("opens", "message"),
    [
        ("closes at 17:00", "The day `x` does not say when it opens. Write for example `opens at 10:00`"),
        ("opens at 10:00\ncloses at 10:00", "It would close when it opens. Write a later time."),
        ("opens at 10:00 layout time\ncloses at 17:00", "write `hall time`"),
        (
            "opens at 10:00\nat closing\n    turn off amber",
            "Nothing says when the day closes, so this would never be done.",
        ),
    ],
)
def test_hours_that_cannot_be_meant(opens: str, message: str) -> None:
    _, found = read(day("", opens))
    assert message.lower() in said([one for one in found if not one.advice]).lower()


def test_a_line_that_cannot_be_read_is_the_only_thing_that_is_told() -> None:
    parsed = parse(day("at 10:30 run ferry", "open at 10:00\ncloses at 17:00"), "a.scene")
    assert [one.place.line for one in parsed.problems] == [13, 15]
    capital = parse(day("").replace("day x", "day Saturday"), "a.scene")
    assert [one.place.line for one in capital.problems] == [12]
    lines_below = parse(day("").replace("day x", "saturday"), "a.scene")
    assert [one.place.line for one in lines_below.problems] == [12]


def test_a_day_has_a_limit() -> None:
    lines = "\n".join(["at 10:30 hall time run ferry"] * (MOST_ENTRIES + 1))
    program, found = read(day(lines))
    assert f"more than {MOST_ENTRIES:,} lines" in said(found)
    assert len(program.days["x"].entries) == MOST_ENTRIES


# --- what check says -----------------------------------------------------------------------------------------------

NEVER = [
    ("at 9:59 hall time run ferry", "The day is open from 10:00 to 17:00, and this is never within that."),
    ("at 17:00 hall time run ferry", "never within that"),
    ("every 25 min between 9:00 and 16:00 run ferry", "never within that"),
    ("every 25 min between 16:00 and 11:00 run ferry", "No time lies between 16:00 and 11:00"),
    ("at 11:59 layout time run ferry", "The layout clock does not come to 11:59 while the day is open"),
    ("quiet from 12:00 to 13:00\nat 12:00 hall time run ferry", "The day is quiet then, and nothing begins"),
    ("quiet from 12:00 to 13:00\nevery 30 min between 12:00 and 12:30 run ferry", "`ferry` is always left out."),
    ("quiet from 9:30 to 10:30", "This does not lie within the hours in which the day is open, 10:00 to 17:00."),
    ("quiet from 17:00 to 18:00", "This does not lie within the hours"),
]
FINE = [
    "at 10:00 hall time run ferry",
    "at 16:59:59 hall time run ferry",
    "at 12:00 layout time run ferry",
    "at 18:59:59 layout time run ferry",
    "quiet from 12:00 to 13:00\nat 13:00 hall time run ferry",
    "quiet from 12:00 to 13:00\nevery 30 min between 12:00 and 13:00 run ferry",
    "quiet from 16:00 to 17:00",
    "every 40 s run ferry",
    "at 11:00 hall time run ferry\nat 11:00 hall time run gulls",
    "after ferry run gulls",
]


@pytest.mark.parametrize(("lines", "advice"), NEVER)
def test_what_would_never_be_is_told(lines: str, advice: str) -> None:
    found = problems(day(lines))
    assert len(found) == 1
    assert found[0].advice
    assert advice in said(found)


@pytest.mark.parametrize("lines", FINE)
def test_what_is_well_is_not_spoken_of(lines: str) -> None:
    assert problems(day(lines)) == []


def test_the_layout_clock_may_run_faster() -> None:
    quick: Layout = replace(LAYOUT, clock=Clock(12 * H, 4))
    assert problems(day("at 11:59 layout time run ferry"), quick) == []
    assert problems(day("at 11:59 layout time run ferry", "opens at 10:00\ncloses at 15:59"), quick) != []


def test_a_night() -> None:
    night = "opens at 22:00\ncloses at 2:00"
    assert problems(day("quiet from 23:30 to 0:30\nat 1:30 hall time run ferry", night)) == []
    assert "from 22:00 to 2:00" in said(problems(day("at 2:30 hall time run ferry", night)))


def test_a_scene_that_begins_by_itself_too_is_told_once() -> None:
    heads = SCENES.replace("scene ferry\n", "scene ferry\n    starts at 10:45 hall time\n")
    found = problems(day("at 10:30 hall time run ferry\nevery 50 min run ferry", scenes=heads))
    assert [(one.place.line, one.also[0][0].line) for one in found] == [(16, 3)]
    assert "`ferry` begins by itself, too" in said(found)
    button = SCENES.replace("scene ferry\n", "scene ferry\n    starts on button red-button\n")
    assert problems(day("at 10:30 hall time run ferry", scenes=button)) == []


def test_two_that_tell_one_output_at_one_time() -> None:
    both = SCENES + "scene bright\n    takes amber from ferry\n    turn on amber\n    wait 20 min\n\n"
    meeting = "at 11:40 hall time run ferry\nevery 50 min run bright"
    found = problems(day(meeting, scenes=both))
    assert "`ferry` and `bright` are both begun at 11:40, and both tell `amber` what to do." in said(found)
    assert problems(day(meeting.replace("11:40", "11:41"), scenes=both)) == []


@pytest.mark.parametrize(("every", "advice"), [("39 s", True), ("40 s", False)])
def test_a_scene_that_still_runs_when_it_is_due_again(every: str, advice: bool) -> None:
    found = problems(day(f"every {every} run ferry"))
    assert ("`ferry` takes 40 s or more, so it still runs when it is due again." in said(found)) is advice


def test_closing_is_looked_at() -> None:
    assert "Nothing says when `x` closes: it goes on for 24 hours" in said(problems(day("", "opens at 10:00")))
    found = problems(day("at closing\n    turn on guard-lamp"))
    assert "`guard-lamp` is guarded: when the day is over it goes to its safe state" in said(found)
