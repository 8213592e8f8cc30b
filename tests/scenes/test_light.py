"""Lines about light and motion: what each compiles to, who is claimed, and the one message that each mistake gets."""

# ruff: noqa: E501
# Scene files as text are easier to read with a line each.

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from stage import LAYOUT, S, in_scene, lamp, problems, said, sound
from stage import read as read_on

from engine import curves, landings
from engine.conditions import Atom, Sort, Test
from engine.courses import Ease, Leg, Script
from engine.flicker import RATES, Listed, Octave, Swaying, Varied
from engine.layout import Aspect, Itself, Kind, Layout, Output, Setting, Whereabouts, colour_of
from engine.manners import MANNERS
from engine.program import (
    AtTime,
    Come,
    Fade,
    Flickers,
    ForEach,
    Hold,
    InOrder,
    Level,
    Move,
    Order,
    Release,
    Scene,
    Shows,
    Statement,
    Tell,
    Through,
    WaitUntil,
)
from scenes import manners, orders, own_manners
from scenes.check import check
from scenes.problems import Problem

MS = 1_000


def colour(of: str, *names: str, mired: tuple[float, float] | None = None) -> Output:
    aspects = tuple(Aspect(name) for name in names)
    return Output(colour_of(of), Kind.COLOUR, Setting(0.0), aspects=aspects, mired=mired)


WARM, COOL = 1e6 / 2200, 1e6 / 6500
MORE = (
    lamp("parlour", 255),
    colour("parlour", mired=(WARM, COOL)),
    lamp("harbour", 255),
    colour("harbour", "white", "red", "green"),
    lamp("own-fire", 255, itself=Itself.FLICKERS),
    replace(lamp("sky", 4095), follows_lux=(1.0, 10_000.0)),
    replace(lamp("low-sky", 4095), follows_lux=(1.0, 100.0)),
)
LIGHT = replace(LAYOUT, outputs={**LAYOUT.outputs, **{output.name: output for output in MORE}})
POLAR = replace(LIGHT, whereabouts=Whereabouts(latitude_deg=65.0, longitude_deg=0.0, month=6, day=21))


def scene(lines: str, before: str = "") -> Scene:
    return sound(f"{before}\n{in_scene(lines)}", LIGHT).scenes["s"]


def line(text: str, before: str = "") -> Statement:
    return scene(text, before).block[0]


def told(statement: Statement) -> dict[str, Order]:
    assert isinstance(statement, Tell)
    return dict(statement.orders)


def errors(text: str, layout: object = LIGHT) -> list[Problem]:
    return [problem for problem in read_on(text, layout)[1] if not problem.advice]  # type: ignore[arg-type]


# --- flicker, turn on like, show -----------------------------------------------------------------------------------

BUOY = "manner buoy\n    100 % for 500 ms\n    20 % over 700 ms\n    100 % over 1 s\n"
DYING = "manner dying\n    30 % for 500 ms\n    0 % over 1 s\n"
BOAT = "manner boat\n    sways 150 a minute by 15 %\n    sways 20 a minute\n"
ON_BUOY = Script.of(Leg(500 * MS, 1.0), Leg(700 * MS, 0.2, Ease.EVEN), Leg(S, 1.0, Ease.EVEN))
EMBERS = MANNERS["embers"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("flicker quay-1 like embers", {"quay-1": Flickers(EMBERS, 0.0, 1.0, 500 * MS)}),
        ("flicker quay-1 like embers between 25 % and 90 %", {"quay-1": Flickers(EMBERS, 0.25, 0.9, 500 * MS)}),
        ("flicker quay-1 like embers between 5 % and 30 % over 10 s", {"quay-1": Flickers(EMBERS, 0.05, 0.3, 10 * S)}),
        ("flicker quay-1 like embers over 0 s", {"quay-1": Flickers(EMBERS, 0.0, 1.0, 0)}),
        ("flicker quay-1, quay-2 like candle", dict.fromkeys(("quay-1", "quay-2"), Flickers(MANNERS["candle"], 0.0, 1.0, 500 * MS))),
        ("flicker lamps like buoy", dict.fromkeys(("quay-1", "quay-2"), Flickers(Listed("buoy", ON_BUOY), 0.0, 1.0, 500 * MS))),
        ("turn on quay-1 like filament", {"quay-1": Come(1.0, "filament")}),
        ("turn off quay-1 like filament", {"quay-1": Come(0.0, "filament")}),
        ("turn on quay-1 like candle", {"quay-1": Come(1.0, "candle")}),
        ("turn on quay-1 like tube-that-struggles", {"quay-1": Flickers(MANNERS["tube-that-struggles"], 0.0, 1.0, 0)}),
        ("turn on quay-1 like buoy", {"quay-1": Come(1.0, "buoy", ON_BUOY)}),
        (
            "turn off quay-1 like dying",  # laid from the level that is left to nothing
            {"quay-1": Come(0.0, "dying", Script.of(Leg(500 * MS, 0.7), Leg(S, 1.0, Ease.EVEN)))},
        ),
        ("set parlour to 2700 K", {"parlour colour": Level(1e6 / 2700)}),
        ("set parlour to 2200K", {"parlour colour": Level(WARM)}),
        ("set parlour to 6500 kelvin", {"parlour colour": Level(COOL)}),
        ("set harbour to red", {"harbour colour": Level(1.0)}),
        ("set harbour to 40 %", {"harbour": Level(0.4)}),
        ("turn on harbour", {"harbour": Level(1.0)}),
    ],
)  # fmt: skip
def test_a_line_that_tells_lamps(text: str, expected: dict[str, Order]) -> None:
    before = "group lamps: quay-1, quay-2\n"
    before += "".join(one for one in (BUOY, DYING) if one.split()[1] in text)
    assert told(line(text, before)) == expected


def test_a_manner_that_sways_is_turned_on_flickering() -> None:
    order = told(line("turn on quay-1 like boat", BOAT))["quay-1"]
    assert isinstance(order, Flickers)
    assert (order.manner.name, order.low, order.high, order.over_us) == ("boat", 0.0, 1.0, 0)


def test_for_is_kept_with_all_that_a_line_tells() -> None:
    found = line("flicker quay-1 like embers between 20 % and 40 % over 2 s for 20 s")
    assert isinstance(found, Tell)
    assert found.for_us == 20 * S
    found = line('show harbour as "Al WR 10s" for 1 min')
    assert isinstance(found, Tell)
    assert (found.for_us, len(found.orders)) == (60 * S, 2)


def test_a_character_is_shown_by_the_lamp_and_its_colour_is_set() -> None:
    shown = told(line('show harbour as "Fl(2) R 10s"'))
    assert isinstance(shown["harbour"], Shows)
    assert shown["harbour"].text == "Fl(2) R 10s"
    assert shown["harbour"].script.length_us == 10 * S
    assert shown["harbour colour"] == Level(1.0)
    assert list(told(line('show amber as "Iso 4s"'))) == ["amber"]
    assert list(told(line('show amber as "Fl R 5s"'))) == ["amber"]  # it may be a red one


def test_alternating_colours_go_through_the_colours_of_the_lamp() -> None:
    shown = told(line('show harbour as "Al WG 10s"'))["harbour colour"]
    assert isinstance(shown, Shows)
    assert shown.high == 2.0  # white, red, green: the last is 2
    assert {leg.to for leg in shown.script.legs} == {0.0, 1.0}
    assert shown.script.length_us == 10 * S


def test_a_light_of_one_colour_in_a_changing_character_keeps_it_through_its_eclipse() -> None:
    order = told(line('show harbour as "Al Fl WR 10s"'))
    lit, hue = order["harbour"], order["harbour colour"]
    assert isinstance(lit, Shows)
    assert isinstance(hue, Shows)
    assert 0.0 in {leg.to for leg in lit.script.legs}
    assert {leg.to for leg in hue.script.legs} == {0.0, 0.5}
    order = told(line('show harbour as "Al Fl RW 10s"'))["harbour colour"]
    assert isinstance(order, Shows)  # eclipse, red, eclipse, white; red is the second of three
    assert [leg.to for leg in order.script.legs] == [0.5, 0.5, 0.5, 0.0]


# --- fade, move ----------------------------------------------------------------------------------------------------


def test_fades() -> None:
    block = scene(
        """
fade quay-1 and quay-2 to 80 % over 12 s
fade quay-1 to 60 % over 4 s like smooth
fade quay-1 to 60 % over 4 s like gas-mantle
fade quay-1 to 60 % over 4 s like buoy
fade crane to 60 % over 4 s like ramped
fade parlour to 5000 K over 10 s
""",
        BUOY,
    ).block
    assert all(isinstance(one, Fade) for one in block)
    plain, smooth, mantle, own, crane, white = (one for one in block if isinstance(one, Fade))
    assert (plain.targets, plain.profile, plain.like) == ((("quay-1", 0.8), ("quay-2", 0.8)), None, None)
    assert (smooth.profile, smooth.like) == (curves.PROFILES["smooth"], None)
    assert (mantle.profile, mantle.like) == (None, Come(1.0, "gas-mantle"))
    assert own.like == Come(1.0, "buoy", ON_BUOY)
    assert (crane.targets, crane.profile) == ((("crane", 0.6),), curves.PROFILES["ramped"])
    assert (white.targets, white.over_us) == ((("parlour colour", 200.0),), 10 * S)


@pytest.mark.parametrize(
    ("text", "profile", "arrives", "bounces"),
    [
        ("over 7 s", None, "", None),
        ("over 7 s like even", curves.PROFILES["even"], "", None),
        ("over 7 s like swaying", curves.PROFILES["swaying"], "", None),
        ("over 7 s, bouncing", None, "bouncing", None),
        ("over 7 s, bouncing once", None, "bouncing", 1),
        ("over 7 s, bouncing   once", None, "bouncing", 1),
        ("over 7 s,\n        bouncing once", None, "bouncing", 1),
        ("over 7 s, bouncing twice", None, "bouncing", 2),
        ("over 7 s, bouncing 1 times", None, "bouncing", 1),
        ("over 7 s, bouncing 10 times", None, "bouncing", 10),
        ("over 7 s, settling", None, "settling", None),
    ],
)
def test_how_a_move_goes_and_arrives(text: str, profile: object, arrives: str, bounces: int | None) -> None:
    found = line(f"move near-barrier to lowered {text}")
    assert isinstance(found, Move)
    assert (found.over_us, found.profile, found.arrives, found.bounces) == (7 * S, profile, arrives, bounces)


def test_as_many_bounces_as_the_engine_makes() -> None:
    assert orders.MOST_BOUNCES == landings.MOST_TIMES


# --- daylight ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("course", ["dusk", "nightfall", "dawn", "daybreak"])
def test_daylight_goes_with_the_lamps_that_follow_it(course: str) -> None:
    found = scene(f"fade daylight through {course} over 4 min")
    (through,) = found.block
    assert isinstance(through, Through)
    assert (through.course, through.over_us, through.followers) == (course, 240 * S, ("sky", "low-sky"))
    assert found.writes == ("daylight", "sky", "low-sky")


def test_daylight_is_an_output_only_where_somebody_speaks_of_it() -> None:
    assert "daylight" not in sound(in_scene("turn on amber"), LIGHT).layout.outputs
    assert "daylight" in sound(in_scene("hold daylight"), LIGHT).layout.outputs


def test_holding_and_releasing_take_colours_and_followers_along() -> None:
    block = scene("hold daylight\nrelease daylight\nhold harbour\nhold everything").block
    outputs = [one.outputs for one in block if isinstance(one, Hold | Release)]
    assert outputs[0] == outputs[1] == ("daylight", "sky", "low-sky")
    assert outputs[2] == ("harbour", "harbour colour")
    assert set(outputs[3]) == {"daylight", "sky", "low-sky", "harbour", "harbour colour"}


def test_the_sun_starts_scenes_by_the_layout_time() -> None:
    # 54 N 3 W, 21 March 2026: dusk 19:02:37, sunset 18:27:13 (pvlib, spa_python); within 2 s
    for head, second in (
        ("dusk", 19 * 3600 + 2 * 60 + 37),
        ("dusk - 20 min", 18 * 3600 + 42 * 60 + 37),
        ("dusk + 8 h", 3 * 3600 + 2 * 60 + 37),  # after midnight
        ("sunset", 18 * 3600 + 27 * 60 + 13),
        ("sunset + 1 min", 18 * 3600 + 28 * 60 + 13),
    ):
        (found,) = scene(f"starts at {head}\nturn on amber").heads
        assert isinstance(found, AtTime)
        assert found.layout_time
        assert abs(found.second_of_day - second) <= 2, head


def test_why_flashing_is_accepted() -> None:
    assert scene('accepts flashing because " under a cover "\nturn on amber').accepts_flashing == "under a cover"
    assert scene("turn on amber").accepts_flashing == ""


# --- manners of one's own ------------------------------------------------------------------------------------------


def own(text: str) -> object:
    """The manner `m` of these lines."""
    lines = "".join(f"    {one}\n" for one in text.split("\n"))
    return sound(f"manner m\n{lines}scene s\n    flicker quay-1 like m\n", LIGHT).manners["m"]


def test_a_list_of_levels() -> None:
    script = Script.of(Leg(500 * MS, 1.0), Leg(2 * S, 0.2, Ease.EVEN), Leg(10 * MS, 0.6))
    assert own("100 % for 500 ms\n20 % over 2 s\n60 % for 10 ms") == Listed("m", script)


def test_sways_as_often_as_it_says() -> None:
    """An octave that is high and low in turn has two points a swing."""
    (twenty,) = (Octave(40 / 60, 1.0, 1.0),)
    quick = Octave(300 / 60, 0.15, 1.0)
    assert own("sways 150 a minute by 15 %\nsways 20 a minute") == Swaying("m", (twenty, quick))
    manner = Swaying("m", (twenty,))
    levels, at_us = [], 0
    while at_us < 600 * S:
        piece = manner.piece(7, at_us)
        levels.append(piece.low)
        at_us = piece.to_us or 0
    tops = sum(before < top > after for before, top, after in zip(levels, levels[1:], levels[2:], strict=False))
    assert abs(tops / 10 - 20) <= 0.2


def test_sways_by_as_much_as_it_says() -> None:
    alone = own("sways 20 a minute by 60 %")
    assert isinstance(alone, Swaying)
    assert (alone.quiet, alone.stirred) == (pytest.approx(0.2), pytest.approx(0.8))
    two = own("sways 20 a minute by 30 %\nsways 60 a minute by 10 %")
    assert isinstance(two, Swaying)
    assert (two.quiet, two.stirred) == (pytest.approx(0.3), pytest.approx(0.7))
    levels = [alone.piece(3, second * S).low for second in range(600)]
    assert 0.2 <= min(levels) < 0.25
    assert 0.75 < max(levels) <= 0.8


def test_like_another_quicker_slower_and_shallower() -> None:
    assert own("like bonfire\npace 60 %\ndepth 50 %") == Varied(MANNERS["bonfire"], 0.6, 0.5, "m")
    assert own("depth 50 %\nlike bonfire") == Varied(MANNERS["bonfire"], 1.0, 0.5, "m")
    assert own("like bonfire") == Varied(MANNERS["bonfire"], own_name="m")
    assert own("pace 1000 %\nsways 20 a minute") == Varied(Swaying("m", (Octave(40 / 60, 1.0, 1.0),)), 10.0, 1.0, "m")


def test_a_list_at_another_pace_is_a_way_at_that_pace() -> None:
    quick = "manner quick\n    like buoy\n    pace 200 %\n"
    order = told(line("turn on quay-1 like quick", BUOY + quick))["quay-1"]
    assert isinstance(order, Come)
    assert order.script is not None
    assert order.script.ends_us == (250 * MS, 600 * MS, 1100 * MS)
    alike = "manner alike\n    like quick\n    pace 50 %\n"
    order = told(line("turn on quay-1 like alike", BUOY + quick + alike))["quay-1"]
    assert isinstance(order, Come)
    assert order.script is not None
    assert order.script.ends_us == (500 * MS, 1200 * MS, 2200 * MS)


def test_a_shallower_list_never_comes_to_full_light_so_it_flickers() -> None:
    shallow = "manner shallow\n    like buoy\n    depth 50 %\n"
    assert isinstance(told(line("turn on quay-1 like shallow", BUOY + shallow))["quay-1"], Flickers)
    alike = "manner alike\n    like shallow\n"
    assert isinstance(told(line("turn on quay-1 like alike", BUOY + shallow + alike))["quay-1"], Flickers)


def test_the_order_of_manners_does_not_matter() -> None:
    first, second = "manner m1\n    like m2\n", "manner m2\n    like candle\n"
    uses = "scene s\n    flicker quay-1 like m1\n"
    assert sound(first + second + uses, LIGHT).manners == sound(second + first + uses, LIGHT).manners


def test_a_manner_that_nobody_is_like_is_advice() -> None:
    _, found = read_on(BUOY + in_scene("turn on amber"), LIGHT)
    assert [(one.advice, one.place.line) for one in found] == [(True, 1)]
    assert "nothing is like the manner `buoy`" in said(found).lower()
    assert read_on(BUOY + in_scene("flicker quay-1 like buoy"), LIGHT)[1] == []


# --- through routines, loops and stops -----------------------------------------------------------------------------


def test_names_times_and_levels_are_given_to_routines() -> None:
    text = f"""
{BUOY}
group quay: quay-1, quay-2
routine light-up with lamps, way, fire, low, high, time, shape, hours
    turn on lamps like way
    flicker lamps like fire between low and high over time for time
    for each one in lamps side by side
        fade one to high over time like shape
    fade daylight through hours over time
    turn on lamps like mine
routine light-one with lamp, mine
    turn on lamp like mine
scene s
    do light-one with quay-1, buoy
    do light-up with quay, gas-mantle, embers, 20 %, 80 %, 3 s, smooth, dawn
"""
    text = text.replace("    turn on lamps like mine\n", "", 1)
    one, up = sound(text, LIGHT).scenes["s"].block
    assert isinstance(one, InOrder)
    assert isinstance(up, InOrder)
    assert told(one.block[0]) == {"quay-1": Come(1.0, "buoy", ON_BUOY)}
    on, flicker, each, hours = up.block
    assert told(on) == dict.fromkeys(("quay-1", "quay-2"), Come(1.0, "gas-mantle"))
    assert told(flicker) == dict.fromkeys(("quay-1", "quay-2"), Flickers(EMBERS, 0.2, 0.8, 3 * S))
    assert isinstance(flicker, Tell)
    assert flicker.for_us == 3 * S
    assert isinstance(each, ForEach)
    fade = each.members[1].block[0]
    assert isinstance(fade, Fade)
    assert (fade.targets, fade.profile) == ((("quay-2", 0.8),), curves.PROFILES["smooth"])
    assert isinstance(hours, Through)
    assert (hours.course, hours.over_us) == ("dawn", 3 * S)


def test_when_stopped_flickers_shows_and_fades_daylight() -> None:
    found = scene(
        """
when stopped
    flicker quay-1 like embers between 0 % and 20 %
    show harbour as "Fl R 5s"
    fade daylight through dawn over 5 s
    hold everything
turn on quay-1 and amber
"""
    )
    assert found.when_stopped is not None
    hold = found.when_stopped[-1]
    assert isinstance(hold, Hold)
    assert hold.outputs == ("amber",)  # all the rest has been told by the stop itself


def test_who_is_claimed() -> None:
    assert scene("set harbour to red").writes == ("harbour", "harbour colour")
    assert scene("fade parlour to 3000 K over 3 s").writes == ("parlour", "parlour colour")
    assert scene('show harbour as "Fl G 5s"').writes == ("harbour", "harbour colour")
    assert scene("turn on harbour").writes == ("harbour",)


CLASHES = [
    ("set harbour to red", "set harbour to white", "harbour"),
    ("fade daylight through dusk over 3 s", "fade daylight through dawn over 3 s", "daylight"),
]


@pytest.mark.parametrize(("first", "second", "name"), CLASHES)
def test_two_scenes_and_one_colour_or_daylight(first: str, second: str, name: str) -> None:
    a_scene, b_scene = f"scene a\n    starts every 3 min\n    {first}\n", "scene b\n    starts every 4 min\n    {}\n"
    (clash,) = problems(a_scene + b_scene.format(second), LIGHT)
    assert (clash.place.line, clash.advice) == (6, False)
    assert f"both tell `{name}`" in clash.what
    assert f"`takes {name} from a`" in clash.instead
    assert problems(a_scene + b_scene.format(f"takes {name} from a\n    {second}"), LIGHT) == []


def test_what_is_taken_with_a_lamp_and_with_daylight() -> None:
    before = "scene other\n    turn on amber\n"
    (lamp_taken,) = scene("takes harbour from other\nturn on amber", before).takes
    assert lamp_taken.outputs == ("harbour", "harbour colour")
    (taken,) = scene("takes daylight from other\nturn on amber", before).takes
    assert taken.outputs == ("daylight", "sky", "low-sky")


def test_two_branches_and_one_daylight() -> None:
    two = "together\n    fade daylight through dusk over 3 s\n    fade daylight through dawn over 3 s"
    (found,) = problems(in_scene(two), LIGHT)
    assert (found.place.line, found.advice) == (4, False)
    assert "both tell `daylight`" in found.what


def test_fading_daylight_takes_time() -> None:
    loop = "repeat\n    fade daylight through dusk over {}\n    fade daylight through dawn over 0 s"
    assert problems(in_scene(loop.format("3 s")), LIGHT) == []
    (found,) = problems(in_scene(loop.format("0 s")), LIGHT)
    assert "takes time" in found.what


def test_a_discharge_unit_recharges_while_daylight_fades() -> None:
    pulses = "pulse point-left\nfade daylight through dusk over {}\npulse point-right"
    assert problems(in_scene(pulses.format("2 s")), LIGHT) == []
    (found,) = problems(in_scene(pulses.format("1 s")), LIGHT)
    assert "has to wait" in found.what


# --- conditions ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "asked",
    [
        "daylight is below 70 lux",
        "daylight is at least 20 lx",
        "daylight is fading",
        "harbour is red",
        "harbour is not white",
        "harbour is on and harbour is green",
        "any of harbour, quay-1 is flickering",
        "daylight becomes below 70 lux",
    ],
)
def test_what_can_be_asked(asked: str) -> None:
    assert errors(in_scene(f"set harbour to red\nwait until {asked}")) == []


def test_a_colour_is_asked_of_the_colour_and_light_in_lux() -> None:
    block = scene("set harbour to green\nwait until harbour is green\nwait until daylight is below 70 lux").block
    asked = [one.condition.term for one in block if isinstance(one, WaitUntil)]
    assert asked == [
        Atom(Sort.OUTPUT, "harbour colour", Test.ARRIVED, 2.0),
        Atom(Sort.OUTPUT, "daylight", Test.BELOW, 70.0),
    ]


# --- mistakes: (line, what is said, what to write instead, what the caret marks) -----------------------------------

MISTAKES = [
    # the wrong kind of output
    ("flicker «amber» like embers", "switched only, and only a lamp that dims flickers", "`dimmable: yes`"),
    ("flicker «bell» like embers", "`bell` is a sound, and only a lamp flickers", "turn on bell"),
    ("flicker «own-fire» like embers", "flickers by itself", "turn on own-fire"),
    ("flicker «near-barrier» like embers", "is a servo", "move near-barrier to raised"),
    ("turn on «amber» like filament", "only a lamp that dims comes on in a way", "turn on amber"),
    ("turn on «bell» like filament", "is a sound, and only a lamp comes on in a way", "turn on bell"),
    ("turn off «signal» like filament", "is a signal", "set signal to danger"),
    ("turn on «daylight»", "how light it is outdoors", "fade daylight through dusk over 4 min"),
    ("set «daylight» to 40 %", "how light it is outdoors", "fade daylight through dusk over 4 min"),
    ("fade «daylight» to dusk over 4 min", "how light it is outdoors", "fade daylight through dusk over 4 min"),
    ("flash «daylight» at 30 a minute", "how light it is outdoors", "fade daylight through dusk over 4 min"),
    ("flicker «daylight» like candle", "how light it is outdoors", "fade daylight through dusk over 4 min"),
    ('show «daylight» as "Iso 4s"', "how light it is outdoors", "fade daylight through dusk over 4 min"),
    ("do «daylight»", "`daylight` is the light outdoors, and this needs a routine", ""),
    ('show «bell» as "Iso 4s"', "only a lamp shows a character", "turn on bell"),
    ('show «pair» as "Iso 4s"', "works by itself", "turn on pair"),
    # names behind like
    ("flicker quay-1 like «embrs»", "nothing flickers like `embrs`", "did you mean `embers`?"),
    ("flicker quay-1 like «nothing-such»", "nothing flickers like", "`candle`, `oil-lamp`"),
    ("flicker quay-1 like «filament»", "a way in which a lamp comes on", "turn on ... like filament"),
    ("flicker quay-1 like «smooth»", "the course of a fade or a move", "over 3 s like smooth"),
    ("flicker quay-1 like «settling»", "how a move arrives, and only servos move", "leave `like` out"),
    ("flicker quay-1 like «dusk»", "what daylight fades through", "fade daylight through dusk over 4 min"),
    ("flicker quay-1 like «quay-2»", "nothing flickers like `quay-2`: it is a lamp", "`candle`"),
    ("turn on quay-1 like «filamet»", "nothing comes on like `filamet`", "did you mean `filament`?"),
    ("turn on quay-1 like «smooth»", "the course of a fade or a move", "fade ... to 100 % over 3 s like smooth"),
    ("turn off quay-1 like «smooth»", "the course of a fade or a move", "fade ... to 0 % over 3 s like smooth"),
    ("turn off quay-1 like «embers»", "a lamp that goes off does not flicker", "like filament"),
    ("fade quay-1 to 50 % over 3 s like «embers»", "a fade comes to an end", "flicker ... like embers between"),
    ("fade quay-1 to 50 % over 3 s like «smoth»", "nothing fades like `smoth`", "did you mean `smooth`?"),
    ("fade crane to 50 % over 3 s «like filament»", "is a motor, and only a lamp comes on in a way", ""),
    ("fade parlour to 2700 K over 3 s «like smooth»", "fades evenly, by mired", "leave `like` out"),
    ("move near-barrier to lowered over 9 s like «filament»", "a servo is no lamp", "like even"),
    ("move near-barrier to lowered over 9 s like «embers»", "a servo is no lamp", "like even"),
    ("move near-barrier to lowered over 9 s like «bouncing»", "stands behind a comma", "`, bouncing` at the end"),
    ("move near-barrier to lowered over 9 s like «smoth»", "nothing moves like `smoth`", "did you mean `smooth`?"),
    # levels and times
    ("flicker quay-1 like embers «between 90 % and 20 %»", "not below the second", "`between 20 % and 90 %`"),
    ("flicker quay-1 like embers «between 20 % and 20 %»", "not below the second", "two levels that differ"),
    ("flicker quay-1 like embers between 20 % and «120 %»", "more than there is", "100 %"),
    ("flicker quay-1 like embers between «dim» and 20 %", "nothing here is called `dim`", ""),
    ("«flicker quay-1 like embers for 0 s»", "for no time at all", "for 3 s"),
    # characters: the column is that inside the quotation marks
    ('show harbour as "Fl(2) «10»"', "10 of what?", "`10s`"),
    ('show harbour as "«XX» 10s"', "`XX` is no rhythm of a light", ""),
    ('show harbour as "«Occ» 10s"', "not how charts write it now", "write `Oc`"),
    ('show harbour as "Fl(2) 10s «14m»"', "is a height or a range", "leave heights"),
    ('show harbour as "Fl(2)«"»', "needs its period", "Fl(2) W 10s"),
    ('show harbour as "«"»', "begins with its rhythm", "Fl(2) W 10s"),
    ('show amber as «"Al WR 10s"»', "has one colour, and `Al WR 10s` is white and red", "`colours: [white, red]`"),
    ('show parlour as «"Fl R 10s"»', "has white light only, and `Fl R 10s` is red", "`colours: [white, red]`"),
    ('show harbour as «"Fl Bu 10s"»', "has no blue; it has white, red, green", ""),
    ('show harbour as «"Fl Vi 10s"»', "has no violet", ""),
    # colours
    ("set harbour to «blue»", "has no colour called `blue`; it has `white`, `red`, `green`", ""),
    ("set harbour to «rde»", "has no colour called `rde`", "did you mean `red`?"),
    ("set amber to «red»", "`amber` has one colour only", "`colours: [white, red]`"),
    ("set amber to «warm»", "`amber` has one colour only", "`whites: 2200 K to 6500 K`"),
    ("set parlour to «warm»", "has no colour called `warm`", "`2200 K`"),
    ("set parlour to «cool-white»", "has no colour called", "`6500 K`"),
    ("set parlour to «red»", "has no colour called `red`", "from `2200 K` to `6500 K`"),
    ("set quay-1 to «hafl»", "cannot go to `hafl`", "`40 %`"),
    ("set «harbour» to 2700 K", "colours of its own, not a temperature", "`set harbour to red`"),
    ("set «quay-1» to 2700 K", "has one colour only", "`whites: 2200 K to 6500 K`"),
    ("set «near-barrier» to 2700 K", "only a lamp has a colour of light", "move near-barrier"),
    ("set parlour to «2199 K»", "shines from 2200 K to 6500 K", "2200 K to 6500 K"),
    ("fade parlour to «6501 K» over 3 s", "shines from 2200 K to 6500 K", "2200 K to 6500 K"),
    ("set parlour to «900 K»", "no lamp shines at `900 K`", "1000 K"),
    ("fade «harbour» to red over 3 s", "without a fade", "`set harbour to red`"),
    ("fade «parlour» to red over 3 s", "has no colour called `red`", "from `2200 K` to `6500 K`"),
    ("fade «quay-1» to dusk over 3 s", "only daylight goes through `dusk`", "fade daylight through dusk over 4 min"),
    # daylight
    ("set «sky» to 40 %", "follows the daylight", "fade daylight through dusk"),
    ("turn on «sky» like filament", "follows the daylight", "fade daylight through dusk"),
    ("flash «sky» at 30 a minute", "follows the daylight", "fade daylight through dusk"),
    ("flicker «sky» like candle", "follows the daylight", "fade daylight through dusk"),
    ('show «sky» as "Iso 4s"', "follows the daylight", "fade daylight through dusk"),
    ("fade «sky» to 40 % over 3 s", "follows the daylight", "fade daylight through dusk"),
    ("fade daylight through «noon» over 4 min", "daylight knows no `noon`", "`through dusk`"),
    ("fade daylight through «sunrise» over 4 min", "daylight knows no `sunrise`", "`through dawn`"),
    ("fade daylight through «duks» over 4 min", "daylight knows no `duks`", "did you mean `dusk`?"),
    ("fade «quay-1» through dusk over 4 min", "only `daylight` fades through", "fade daylight through dusk over 4 min"),
    ("fade «daylight and sky» through dusk over 4 min", "only `daylight` fades through", ""),
    # moves
    ("move near-barrier to lowered over 9 s, bouncing «0» times", "does not bounce 0 times", "1 to 10 times"),
    ("move near-barrier to lowered over 9 s, bouncing «11» times", "does not bounce 11 times", "1 to 10 times"),
    ("move near-barrier to lowered over 9 s, bouncing«, settling»", "arrives in one way", "leave one"),
    ("move near-barrier to lowered over 9 s «like even», settling", "arrives settling has its own course", "leave"),
    ("move «slow-barrier» to lowered, settling", "`settling` is set on its board", "`move slow-barrier to lowered`"),
    ("move «slow-barrier» to lowered, bouncing", "`bouncing` is set on its board", "`move slow-barrier to lowered`"),
    ("move «slow-barrier» to lowered like even", "`like` is set on its board", "`move slow-barrier to lowered`"),
    ("move «daylight» to lowered over 3 s", "does not move", "fade daylight through dusk"),
    # heads
    ("starts at «noon»\nturn on amber", "the sun knows no `noon`", "starts at 12:00 layout time"),
    ("starts at «midnight»\nturn on amber", "the sun knows no `midnight`", "starts at 0:00 layout time"),
    ("starts at «tea-time»\nturn on amber", "the sun knows no `tea-time`", "starts at 17:45 layout time"),
    ("starts at «dsuk»\nturn on amber", "the sun knows no `dsuk`", "did you mean `dusk`?"),
    ("starts at dusk + «500 ms»\nturn on amber", "starts at a whole second", "starts at dusk - 20 min"),
    ("starts at dusk + «24 h»\nturn on amber", "a whole day or more", "starts at dusk - 20 min"),
    ('accepts flashing because «""»\nturn on amber', "for a reason, and none is given", 'because "'),
    ('accepts flashing because «"  "»\nturn on amber', "for a reason, and none is given", 'because "'),
    # conditions
    ("set harbour to red\nwait until harbour is «gren»", "never `gren`; `harbour` can be `white`, `red`, `green`", ""),
    ("wait until daylight is «on»", "the light outdoors is never `on`", "below 70 lux"),
    ("wait until daylight is «below 20 %»", "the light outdoors is never `below 20 %`", "below 70 lux"),
    ("wait until quay-1 is «below 20 lux»", "a lamp is never `below 20 lux`", ""),
    ("wait until daylight is below «200001 lux»", "brighter than any day", "200,000 lux"),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "what", "instead"), MISTAKES, ids=[one[0].replace("\n", " | ") for one in MISTAKES])
def test_a_mistake_gets_one_message_at_its_place(marked: str, what: str, instead: str) -> None:
    lines = in_scene(marked).split("\n")
    row = next(number for number, text in enumerate(lines) if "«" in text)
    begin, end = lines[row].index("«"), lines[row].index("»") - 1
    found = errors("\n".join(lines).replace("«", "").replace("»", ""))
    assert len(found) == 1, said(found)
    (problem,) = found
    assert what.lower() in problem.what.lower()
    assert instead.lower() in f"{problem.instead} {problem.what}".lower()
    assert (problem.place.line, problem.place.column, problem.place.end_column) == (row + 1, begin + 1, end + 1)
    assert problem.what.endswith((".", "?"))
    assert not problem.instead or problem.instead.endswith((".", "?"))


def test_there_are_many_of_them() -> None:
    assert len(MISTAKES) + len(OWN) >= 100


def test_accepting_twice() -> None:
    text = in_scene('accepts flashing because "a"\naccepts flashing because "b"\nturn on amber')
    (found,) = errors(text)
    assert (found.place.line, found.what) == (3, "`accepts flashing` stands here for the second time.")


@pytest.mark.parametrize(
    ("text", "what", "instead"),
    [
        (
            "fade daylight through dusk over 3 s",
            "the sun does not sink to 6 deg below the horizon",
            "another date or place",
        ),
        ("fade daylight through daybreak over 3 s", "so there is no daybreak", "another date or place"),
        (
            "starts at dusk\n    turn on amber",
            "the sun does not sink to 6 deg below the horizon",
            "starts at 17:45 layout time",
        ),
    ],
)
def test_where_the_sun_does_not_go_that_far(text: str, what: str, instead: str) -> None:
    """65 N on 21 June: civil twilight never ends (pvlib, spa_python)."""
    (found,) = errors(f"scene s\n    {text}\n", POLAR)
    assert what in found.what
    assert "At 65 N on 21 June" in found.what
    assert instead in found.instead
    assert errors("scene s\n    starts at sunset\n    fade daylight through dusk over 3 s\n", LIGHT) == []


def test_colours_are_given_to_routines() -> None:
    text = "routine r with white, named\n    set parlour to white\n    set harbour to named\nscene s\n    do r with 2700 K, red\n"
    (done,) = sound(text, LIGHT).scenes["s"].block
    assert isinstance(done, InOrder)
    assert [told(one) for one in done.block] == [
        {"parlour colour": Level(1e6 / 2700)},
        {"harbour colour": Level(1.0)},
    ]


def test_a_quantity_given_to_a_routine_is_nothing_to_be_like() -> None:
    (found,) = errors("routine r with way\n    turn on quay-1 like way\nscene s\n    do r with 40 %\n")
    assert "`way` stands for 40 % here" in found.what
    assert [place.line for place, _ in found.also] == [4]


def test_an_unknown_name_given_to_a_routine_is_told_where_it_is_given() -> None:
    (found,) = errors("routine r with way\n    turn on quay-1 like way\nscene s\n    do r with gas-mantel\n")
    assert (found.place.line, found.place.column) == (4, 15)
    assert "did you mean `gas-mantle`?" in found.instead.lower()


# --- mistakes in manners: (lines of the manner, line of the message, what, instead) --------------------------------

OWN = [
    ("pace 50 %", 1, "neither levels nor a manner", "`70 % for 2 s`, or `like candle`"),
    ("70 % for 2 s\nsways 40 a minute", 3, "one of the three", "two manners"),
    ("like candle\n70 % for 2 s\n20 % for 2 s", 3, "one of the three", "two manners"),
    ("like candle\nlike embers", 3, "like one other", "leave one"),
    ("like candle\npace 50 %\npace 60 %", 4, "`pace` stands here for the second time", "leave one"),
    ("like candle\ndepth 50 %\ndepth 60 %", 4, "`depth` stands here for the second time", "leave one"),
    ("like candle\ndepth 0 %", 3, "depth of 0 % stands still", "depth 60 %"),
    ("like candle\ndepth 101 %", 3, "more than there is", "100 %"),
    ("like candle\npace 9 %", 3, "a pace of `9 %` cannot be seen", "10 % to 1000 %"),
    ("like candle\npace 1001 %", 3, "a pace of `1001 %` cannot be seen", "10 % to 1000 %"),
    ("like m", 1, "the manner is like itself: m > m", "like candle"),
    ("like cadnle", 2, "nothing flickers like `cadnle`", "did you mean `candle`?"),
    ("like filament", 2, "a way in which a lamp comes on", "turn on ... like filament"),
    ("like quay-1", 2, "it is a lamp", "`candle`"),
    ("70 % for 2 s\n20 % for 0 s", 3, "lasts 0 s is not seen", "`2 s`"),
    ("70 % for 2 s\n20 % over 9 ms", 3, "lasts 9 ms is not seen", "`10 ms`"),
    ("70 % for 2 s\n120 % over 1 s", 3, "more than there is", "100 %"),
    ("70 % for 2 s\n20 % for pause", 3, "nothing here is called `pause`", ""),
    ("sways 0 a minute", 2, "nobody would see a lamp sway 0 a minute", "from 0.15 to 1500 a minute"),
    ("sways 0.14 a minute", 2, "nobody would see a lamp sway", "from 0.15 to 1500 a minute"),
    ("sways 1501 a minute", 2, "nobody would see a lamp sway", "from 0.15 to 1500 a minute"),
    ("sways 40 a minute\nsways 60 a minute by 0 %", 3, "by 0 % stands still", "by 60 %"),
    ("sways 40 a minute by 120 %", 2, "more than there is", "100 %"),
    ("70 % for 2 s", 4, "`m` has one level only", "`40 % for 2 s`"),
]  # fmt: skip


@pytest.mark.parametrize(("lines", "row", "what", "instead"), OWN, ids=[one[0].replace("\n", " | ") for one in OWN])
def test_a_mistake_in_a_manner(lines: str, row: int, what: str, instead: str) -> None:
    inside = "".join(f"    {one}\n" for one in lines.split("\n"))
    found = errors(f"manner m\n{inside}scene s\n    flicker quay-1 like m\n")
    assert len(found) == 1, said(found)
    assert what.lower() in found[0].what.lower()
    assert instead.lower() in found[0].instead.lower()
    assert found[0].place.line == row


def test_the_bounds_of_swaying_are_those_of_the_engine() -> None:
    assert (RATES[0] * 30, RATES[1] * 30) == (0.15, 1500.0)
    own("sways 0.15 a minute")
    own("sways 1500 a minute")


@pytest.mark.parametrize(
    ("on", "manner", "what", "instead"),
    [
        ("on", DYING.replace("dying", "m"), "`m` ends at 0 %, and a lamp that comes on like it must end at 100 %", "say `100 %`"),
        ("off", BUOY.replace("buoy", "m"), "`m` ends at 100 %, and a lamp that goes off like it must end at 0 %", "say `0 %`"),
        ("off", BOAT.replace("boat", "m"), "a lamp that goes off does not flicker", "like filament"),
    ],
)  # fmt: skip
def test_a_list_must_bring_the_lamp_all_the_way(on: str, manner: str, what: str, instead: str) -> None:
    (found,) = errors(manner + in_scene(f"turn {on} quay-1 like m"))
    assert what in found.what
    assert instead in found.instead


def test_a_manner_is_no_course_of_a_fade_and_of_no_move() -> None:
    (found,) = errors(BOAT + in_scene("fade quay-1 to 40 % over 3 s like boat"))
    assert "a fade comes to an end" in found.what
    (found,) = errors(BOAT + in_scene("move near-barrier to lowered over 9 s like boat"))
    assert "a servo is no lamp" in found.what


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("embers", "a manner of flickering"),
        ("filament", "a way in which a lamp comes on"),
        ("smooth", "the course of a fade or a move"),
        ("settling", "how a move arrives"),
        ("dusk", "what daylight fades through"),
    ],
)
def test_the_names_that_wayside_brings_are_taken(name: str, what: str) -> None:
    _, found = read_on(f"manner {name}\n    sways 40 a minute\nscene s\n    turn on amber\n", LIGHT)
    (only,) = found
    assert not only.advice
    assert (only.place.line, only.place.column) == (1, 8)
    assert f"`{name}` is a name that Wayside uses itself: {what}." == only.what
    assert f"`own-{name}`" in only.instead


def test_a_name_of_an_output_is_taken_too() -> None:
    (found,) = errors("manner quay-1\n    sways 40 a minute\nscene s\n    turn on amber\n")
    assert "already the name of a lamp" in found.what


def test_manners_like_each_other_are_told_once() -> None:
    text = "manner m1\n    like m2\nmanner m2\n    like m1\nscene s\n    flicker quay-1 like m1\n    flicker quay-2 like m2\n"
    (found,) = errors(text)
    assert "m1 > m2 > m1" in found.what


def test_a_broken_line_in_a_manner_has_no_consequences() -> None:
    from scenes.compiler import compile_program
    from scenes.parse import parse

    text = "manner m\n    30 % for 2 s\n    100 % 2 s\nscene s\n    turn on quay-1 like m\n    flicker quay-1 like m\n"
    parsed = parse(text, "bench.scene")
    assert [one.place.line for one in parsed.problems] == [3]
    assert compile_program([parsed.node], LIGHT)[1] == []


@pytest.mark.parametrize("head", ["manner My Fire", "manner low fire", "manner: low-fire", "manner low-fire = 3"])
def test_a_broken_first_line_of_a_manner_has_no_consequences(head: str) -> None:
    from scenes.compiler import compile_program
    from scenes.parse import parse

    parsed = parse(f"{head}\n    like candle\n    pace 60 %\nscene s\n    turn on amber\n", "bench.scene")
    assert [one.place.line for one in parsed.problems] == [1]
    assert [one for one in compile_program([parsed.node], LIGHT)[1] if not one.advice] == []


# --- limits --------------------------------------------------------------------------------------------------------


def test_the_limit_of_levels(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(own_manners, "MOST_LEGS", 3)
    text = "manner m\n{}scene s\n    flicker quay-1 like m\n"
    legs = "".join(f"    {level} % for 1 s\n" for level in (10, 20, 30, 40))
    assert errors(text.format(legs[: legs.index("    40")])) == []
    (found,) = errors(text.format(legs))
    assert (found.place.line, "at most 3 levels" in found.what) == (5, True)


def test_the_limit_of_swaying_ways() -> None:
    text = "manner m\n{}scene s\n    flicker quay-1 like m\n"
    assert errors(text.format("    sways 40 a minute\n" * 6)) == []
    (found,) = errors(text.format("    sways 40 a minute\n" * 7))
    assert (found.place.line, "at most 6 ways" in found.what) == (8, True)


def chain(length: int, lines: str = "") -> str:
    """Manners like manners, so many in a row."""
    first = f"manner m1\n    like candle\n{lines}"
    rest = "".join(f"manner m{number}\n    like m{number - 1}\n{lines}" for number in range(length, 1, -1))
    return f"{rest}{first}scene s\n    flicker quay-1 like m{length}\n"


def test_the_limit_of_manners_like_manners() -> None:
    assert errors(chain(manners.MANNER_DEPTH)) == []
    (found,) = errors(chain(manners.MANNER_DEPTH + 1))
    assert f"more than {manners.MANNER_DEPTH} deep" in found.what


def test_paces_do_not_multiply_without_end() -> None:
    assert errors(chain(2, "    pace 300 %\n")) == []
    (found,) = errors(chain(3, "    pace 300 %\n"))
    assert "this makes 2700 %" in found.what
    assert found.place.line == 3  # the outermost, m3, stands first
    (found,) = errors(chain(3, "    pace 30 %\n"))
    assert "this makes 9 %" in found.what


# --- advice: a servo asked too much, steps that are seen -----------------------------------------------------------


def advice(lines: str, layout: object = LIGHT) -> list[Problem]:
    found = problems(in_scene(lines), layout)  # type: ignore[arg-type]
    assert all(one.advice for one in found), said(found)
    return found


# The stage's barriers need 4 s for 85 deg. Least jerk is 1.875 times as fast at its middle as on average (Flash and
# Hogan 1985), a raised cosine pi / 2 times, a move that is let down 2 / 0.9 times (its landing is at nine tenths).
@pytest.mark.parametrize(
    ("how", "shortest_ms", "proposed"),
    [
        ("", 7500, "7.5 s"),
        (" like smooth", 7500, "7.5 s"),
        (" like even", 4000, "4 s"),
        (" like swaying", 6284, "6.3 s"),
        (" like ramped", 5334, "5.4 s"),
        (", bouncing twice", 8889, "8.9 s"),
        (", settling", 8889, "8.9 s"),
    ],
)
def test_a_move_that_is_too_fast_for_its_servo(how: str, shortest_ms: int, proposed: str) -> None:
    move = "move near-barrier to lowered over {} ms" + how
    assert advice(move.format(shortest_ms + 1)) == []
    assert advice(move.format(shortest_ms)) == []
    (found,) = advice(move.format(shortest_ms - 1))
    assert "`near-barrier` needs 4 s for its whole travel" in found.what
    assert f"`over {proposed}` or longer" in found.instead
    assert advice(f"move near-barrier to lowered over {proposed}{how}") == []


def test_evenly_is_proposed_only_where_it_helps() -> None:
    assert "`like even`" in said(advice("move near-barrier to lowered over 4 s"))
    assert "`like even`" not in said(advice("move near-barrier to lowered over 3900 ms"))
    assert "`like even`" not in said(advice("move near-barrier to lowered over 8 s, bouncing"))


def test_a_move_in_no_time_is_too_fast() -> None:
    (found,) = advice("move near-barrier to lowered over 0 s")
    assert "needs 4 s" in found.what
    assert "times as fast" not in found.what


def test_the_slowest_servo_of_a_line_decides() -> None:
    quick = replace(
        LIGHT, outputs={**LIGHT.outputs, "near-barrier": replace(LIGHT.outputs["near-barrier"], travel_us=S)}
    )
    (found,) = advice("move near-barrier and far-barrier to lowered over 5 s", quick)
    assert "`far-barrier` needs 4 s" in found.what


def test_a_free_fall_and_a_move_that_is_let_down() -> None:
    """Under a second an arm falls freely: of two bounces of restitution 1/2 the fall takes 1 / 2.5 of the time."""
    quick = replace(LIGHT, outputs={**LIGHT.outputs, "arm": replace(LIGHT.outputs["arm"], travel_us=100 * MS)})
    assert advice("move arm to clear over 500 ms, bouncing twice", quick) == []
    (found,) = advice("move arm to clear over 499 ms, bouncing twice", quick)
    assert "5.00 times as fast" in found.what
    slower = replace(LIGHT, outputs={**LIGHT.outputs, "arm": replace(LIGHT.outputs["arm"], travel_us=300 * MS)})
    (found,) = advice("move arm to clear over 990 ms, bouncing twice", slower)
    assert "`over 1 s` or longer" in found.instead  # not 1.5 s: from a second on it is let down
    assert advice("move arm to clear over 1 s, bouncing twice", slower) == []


def test_a_move_so_slow_that_it_is_seen_in_steps() -> None:
    """85 deg in steps of 0.5 deg are 170; at 8 a second they take 21.25 s."""
    assert advice("move near-barrier to lowered over 21250 ms") == []
    assert advice("move near-barrier to lowered over 21249 ms") == []
    assert len(advice("move near-barrier to lowered over 21251 ms")) == 1
    (found,) = advice("move near-barrier to lowered over 21300 ms")
    assert "no less than 0.5 deg (`dead band` in the layout file)" in found.what
    assert "`over 21.2 s` or shorter" in found.instead
    assert advice("move near-barrier to lowered over 21200 ms") == []


def test_a_board_that_moves_by_itself_is_left_alone() -> None:
    assert advice("move slow-barrier to lowered") == []


def fading(lines: str, **changes: object) -> list[Problem]:
    one = replace(LIGHT.outputs["quay-1"], **changes)  # type: ignore[arg-type]
    return advice(lines, replace(LIGHT, outputs={**LIGHT.outputs, "quay-1": one}))


def test_a_slow_fade_that_is_seen_in_steps() -> None:
    """255 levels: the first is 3.54 % of lightness (CIE 1976: 903.3 / 255), which takes 0.4 s of a fade of 11.29 s."""
    assert fading("fade quay-1 to 100 % over 11200 ms") == []
    (found,) = fading("fade quay-1 to 100 % over 11400 ms")
    assert "with 255 levels, one of 3.5 % at 0 %" in found.what
    assert "`dithers: yes`" in found.instead
    assert fading("fade quay-1 to 50 % over 5600 ms") == []
    assert len(fading("fade quay-1 to 50 % over 5700 ms")) == 1
    assert len(fading("fade quay-1 to 0 % over 11400 ms")) == 1
    assert fading("fade quay-1 to 0 % over 11200 ms") == []


def test_lamps_with_many_levels_or_that_dither_fade_unseen() -> None:
    assert fading("fade quay-1 to 100 % over 1 min", steps=4095) == []
    assert fading("fade quay-1 to 100 % over 1 min", dithers=True) == []
    assert fading("fade quay-1 to 100 % over 1 min", dithers=True, steps=15) == []  # nothing more can be advised
    # at so many levels the first is just 2 units: 903.3 / 451 is above, 903.3 / 452 below
    assert len(fading("fade quay-1 to 100 % over 1 min", steps=451)) == 1
    assert fading("fade quay-1 to 100 % over 1 min", steps=452) == []


def test_a_lamp_is_told_once_of_its_steps() -> None:
    assert len(fading("fade quay-1 to 100 % over 1 min\nfade quay-1 to 0 % over 1 min")) == 1


# --- how a rehearsal begins ----------------------------------------------------------------------------------------


def test_a_rehearsal_begins_as_light_as_it_says_and_the_sky_with_it() -> None:
    program, found = read_on("rehearsal night\n    begins with daylight 20 lux\n    lasts 1 s\n", LIGHT)
    assert not [problem for problem in found if not problem.advice], said(found)
    begins = {begin.subject: begin.value for begin in program.rehearsals["night"].begins}
    assert begins.pop("daylight") == 20.0
    sky = {name: output.follows_lux for name, output in LIGHT.outputs.items() if output.follows_lux}
    assert set(begins) == set(sky)
    for name, (dark, bright) in sky.items():
        share = (math.log10(20) - math.log10(dark)) / (math.log10(bright) - math.log10(dark))
        assert begins[name] == pytest.approx(min(1.0, max(0.0, share)))


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("begins with daylight off", "daylight cannot begin `off`"),
        ("begins with daylight 20 %", "daylight cannot begin `20 %`"),
        ("begins with sky 40 %", "`sky` follows the daylight"),
        ("begins with quay-1 20 lux", "cannot begin `20 lux`"),
    ],
)
def test_how_a_rehearsal_cannot_begin(line: str, what: str) -> None:
    _, found = read_on(f"rehearsal night\n    {line}\n    lasts 1 s\n", LIGHT)
    errors = [problem for problem in found if not problem.advice]
    assert len(errors) == 1, said(found)
    assert what in errors[0].what.replace("Daylight", "daylight")


def test_a_clash_over_a_lamp_points_to_the_line_that_tells_its_colour() -> None:
    text = "scene a\n    turn on parlour\nscene b\n    wait 1 s\n    fade parlour to 3000 K over 3 s\n"
    (found,) = check(sound(text, LIGHT))
    assert "both tell `parlour` what to do" in found.what
    assert found.place.line == 5
    assert found.instead.startswith("Write `takes parlour from a`")
    taken = text.replace("scene b\n", "scene b\n    takes parlour from a\n")
    assert check(sound(taken, LIGHT)) == []


def test_a_clash_points_to_the_level_where_one_is_told_and_the_colour_before_it() -> None:
    text = "scene a\n    turn on parlour\nscene b\n    set parlour to 3000 K\n    turn off parlour\n"
    (found,) = check(sound(text, LIGHT))
    assert found.place.line == 5


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("sundown", "sunset"),
        ("sunup", "sunrise"),
        ("twilight", "dusk"),
        ("night", "nightfall"),
        ("daylight", "daybreak"),
    ],
)
def test_a_time_of_the_sun_by_another_name(word: str, meant: str) -> None:
    (found,) = problems(f"scene s\n    starts at {word}\n    turn on amber\n")
    assert found.what.startswith(f"The sun knows no `{word}`")
    assert found.instead == f"Write `starts at {meant}`."


@pytest.mark.parametrize(
    ("over", "how_often"),
    [("40 s", "4.2 a second"), ("340 s", "one every 2 s"), ("1 h", "one every 21.2 s")],
)
def test_steps_that_are_seen_are_counted_in_words_that_fit(over: str, how_often: str) -> None:
    (found,) = check(sound(f"scene s\n    move near-barrier to lowered over {over}\n", LIGHT))
    assert f"seen to move in steps, {how_often}: it is taken" in found.what


DUSK, DAWN = "    fade daylight through dusk over 4 min\n", "    fade daylight through dawn over 4 min\n"
NIGHT = replace(LIGHT, daylight_lux=2.0)


@pytest.mark.parametrize(
    ("text", "layout", "what"),
    [
        ("scene s\n" + DUSK, LIGHT, ""),
        ("scene s\n" + DUSK + DAWN, LIGHT, ""),
        ("scene s\n" + DAWN + "scene t\n    takes daylight from s\n" + DUSK, LIGHT, ""),
        ("scene s\n" + DAWN, LIGHT, "Nothing makes it dark before this dawn"),
        ("scene s\n" + DAWN + "rehearsal r\n    plays s\n    begins with daylight 1 lux\n", LIGHT, ""),
        (
            "scene s\n" + DUSK,
            NIGHT,
            "It grows no darker here: the layout file says `daylight: 2 lux`, and dusk ends at 3.",
        ),
        ("scene s\n" + DUSK.replace("dusk", "nightfall"), NIGHT, ""),
        ("scene s\n" + DUSK + DUSK, NIGHT, "It grows no darker here"),
    ],
)
def test_dusk_in_the_dark_and_dawn_in_the_light_are_advised_on(text: str, layout: Layout, what: str) -> None:
    found = check(sound(text, layout))
    assert [problem.advice for problem in found] == ([True] if what else [])
    assert all(problem.what.startswith(what) and problem.place.line == 2 for problem in found)
