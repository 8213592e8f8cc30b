"""Light and motion in the layout file: lamps' ways and colours, sky lamps, arrivals, daylight and whereabouts."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import yaml

from engine.layout import DAYLIGHT, NOWHERE, Aspect, Kind, Layout, Output, Setting, Whereabouts, Wiring, colour_of
from scenes import parse as parsing
from scenes.problems import Problem, as_text
from wayside.layout import colours as layout_colours
from wayside.layout.file import read_layout, read_with_doubts, schema_text

HERE = Path(__file__).parent
GOOD = (HERE / "good_layout.yaml").read_text(encoding="utf-8")
HEAD = "layout: Pellbrook Quay\n"
SERVO = "kind: servo, positions: {up: 80 deg, down: 0 deg}"


def read(folder: Path, text: str, **others: str) -> tuple[Layout, list[Problem], dict[str, list[str]]]:
    for name, inside in {"layout.yaml": text, **others}.items():
        (folder / name).write_text(inside, encoding="utf-8")
    return read_layout(folder / "layout.yaml", "layout.yaml")


def right(folder: Path, text: str, **others: str) -> Layout:
    layout, problems, lines = read(folder, text, **others)
    assert [as_text(problem, lines) for problem in problems] == []
    return layout


def one_output(folder: Path, settings: str) -> Layout:
    return right(folder, f"{HEAD}outputs:\n  one: {{{settings}}}\n")


def plain(text: str) -> str:
    return text.translate({ord(mark): None for mark in '`"'}).lower()


@pytest.fixture
def good(tmp_path: Path) -> Layout:
    return right(tmp_path, GOOD)


# --- what a good file gives ----------------------------------------------------------------------------------------

LAMP = "kind: lamp"
DIMMED = "kind: lamp, dimmable: yes"
KEYS: list[tuple[str, str, str, Any]] = [
    (DIMMED, "comes on like: gas-mantle", "comes_on", "gas-mantle"),
    (DIMMED, "comes on like: mercury", "comes_on", "mercury"),
    (DIMMED, "comes on like: tube, flickers by itself: no", "comes_on", "tube"),
    (DIMMED, "floor: 4 %", "floor", 0.04),
    (DIMMED, "floor: 0 %", "floor", 0.0),
    (DIMMED, "floor: 99.5percent", "floor", 0.995),
    (DIMMED, "floor: 2,5 %", "floor", 0.025),
    (DIMMED, "dithers: yes", "dithers", True),
    (DIMMED, "dithers: no", "dithers", False),
    (LAMP, "dithers: no", "dithers", False),
    (LAMP, "lit area: 400 mm2", "lit_area_mm2", 400.0),
    (LAMP, "lit area: 400mm²", "lit_area_mm2", 400.0),
    (LAMP, "lit area: 4,5 cm2", "lit_area_mm2", 450.0),
    (LAMP, "lit area: 10000 cm²", "lit_area_mm2", 1_000_000.0),
    (DIMMED, "follows daylight: 1 lux to 1000 lux", "follows_lux", (1.0, 1000.0)),
    (DIMMED, "follows daylight: 0,5 to 1000lx", "follows_lux", (0.5, 1000.0)),
    (DIMMED, "follows daylight: 0.5 lux to 99,5 lux", "follows_lux", (0.5, 99.5)),
    (DIMMED, "follows daylight: 0.0001 lx to 200000 lux", "follows_lux", (0.0001, 200_000.0)),
    (f"{SERVO}, full travel: 1 s", "arrives: bouncing", "arrives", "bouncing"),
    (f"{SERVO}, full travel: 1 s", "arrives: settling", "arrives", "settling"),
    (f"{SERVO}, full travel: 1 s", "dead band: 0.5 deg", "dead_band_deg", 0.5),
    (f"{SERVO}, full travel: 1 s", "dead band: 0,01°", "dead_band_deg", 0.01),
]


@pytest.mark.parametrize(("kind", "key", "field", "value"), KEYS)
def test_a_key_of_an_output(tmp_path: Path, kind: str, key: str, field: str, value: Any) -> None:
    output = one_output(tmp_path, f"{kind}, {key}").outputs["one"]
    assert getattr(output, field) == value
    before = one_output(tmp_path, kind).outputs["one"]
    changed = [name for name in Output.__slots__ if getattr(output, name) != getattr(before, name)]
    if field == "follows_lux":
        changed.remove("rest")  # which follows the daylight, too
    assert changed in ([field], []), "a key changes its own field and no other"


def test_what_is_not_said(tmp_path: Path) -> None:
    layout = one_output(tmp_path, LAMP)
    lamp = layout.outputs["one"]
    assert list(layout.outputs) == ["one"]
    assert (lamp.comes_on, lamp.floor, lamp.dithers, lamp.lit_area_mm2, lamp.follows_lux) == (
        "",
        0.0,
        False,
        None,
        None,
    )
    assert (layout.viewing_mm, layout.daylight_lux, layout.whereabouts) == (None, 10_000.0, Whereabouts())
    servo = one_output(tmp_path, f"{SERVO}, full travel: 1 s").outputs["one"]
    assert (servo.arrives, servo.dead_band_deg) == ("", 1.0)


# The greatest and the least kelvin give the least and the greatest mired: 1e6 / K (CIE 15, reciprocal megakelvin).
WHITES: list[tuple[str, float, tuple[float, float]]] = [
    ("whites: 2500 K to 6250 K", 400.0, (400.0, 160.0)),
    ("whites: 6250 K to 2500 K", 400.0, (400.0, 160.0)),
    ("whites: 2500 to 6250k", 400.0, (400.0, 160.0)),
    ("whites: 1000 kelvin to 10000 kelvin", 1000.0, (1000.0, 100.0)),
    ("whites: 2500 K to 6250 K, rest colour: 5000 K", 200.0, (400.0, 160.0)),
    ("whites: 2500 K to 6250 K, rest colour: 6250 K", 160.0, (400.0, 160.0)),
    ("mixes colours: yes", 1e6 / 1900, (1e6 / 1900, 100.0)),
    ("mixes colours: yes, rest colour: 4000K", 250.0, (1e6 / 1900, 100.0)),
    ("mixes colours: no, whites: 2500 K to 6250 K", 400.0, (400.0, 160.0)),
]


@pytest.mark.parametrize(("keys", "rest", "mired"), WHITES)
def test_a_lamps_white(tmp_path: Path, keys: str, rest: float, mired: tuple[float, float]) -> None:
    layout = one_output(tmp_path, f"{DIMMED}, levels: 100, {keys}")
    assert list(layout.outputs) == ["one", "one colour"]
    colour = layout.outputs[colour_of("one")]
    assert (colour.name, colour.kind, colour.aspects, colour.steps) == ("one colour", Kind.COLOUR, (), 100)
    assert colour.rest == Setting(pytest.approx(rest, rel=1e-12))
    assert colour.mired == pytest.approx(mired, rel=1e-12)
    assert colour.mired is not None
    assert colour.mired[0] >= colour.rest.value >= colour.mired[1], "the state of rest is one that it can show, exactly"


def test_no_colour_at_all(tmp_path: Path) -> None:
    assert list(one_output(tmp_path, f"{DIMMED}, mixes colours: no").outputs) == ["one"]


def test_one_colour_of_several(tmp_path: Path) -> None:
    text = f"{HEAD}links: {{main: {{kind: serial text}}}}\noutputs:\n"
    text += "  two: {kind: lamp}\n  one: {kind: lamp, link: main, pin: 7, colours: [white, red, sea-green]}\n"
    text += "  end: {kind: lamp}\n"
    layout = right(tmp_path, text)
    assert list(layout.outputs) == ["two", "one", "one colour", "end"]
    colour = layout.outputs["one colour"]
    assert colour.aspects == (Aspect("white"), Aspect("red"), Aspect("sea-green"))
    assert (colour.rest, colour.mired, colour.safe) == (Setting(0.0), None, None)
    assert colour.wiring == Wiring(link="main", pin=7)
    assert colour.place == layout.outputs["one"].place != NOWHERE
    layout = right(tmp_path, text.replace("green]", "green], rest colour: sea-green"))
    assert layout.outputs["one colour"].rest == Setting(2.0)
    eight = ", ".join(f"colour-{i}" for i in range(8))
    assert len(one_output(tmp_path, f"{LAMP}, colours: [{eight}]").outputs["one colour"].aspects) == 8


def test_the_whites_that_red_green_and_blue_can_mix() -> None:
    """Below the warmest, blue would be less than nothing in linear sRGB; at it, it is not. Against colour-science."""
    import colour  # late: it takes a second

    shape = colour.SpectralShape(380, 780, 5)
    to_rgb = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB
    warmest, coolest = layout_colours.MIXED_K
    for kelvin, fits in ((warmest - 5, False), (warmest + 5, True), (4000, True), (coolest, True)):
        with colour.utilities.suppress_warnings(colour_runtime_warnings=True):
            rgb = to_rgb @ colour.sd_to_XYZ(colour.sd_blackbody(kelvin, shape))
        assert bool(min(rgb) >= 0) is fits, kelvin


PLACES: list[tuple[str, Whereabouts]] = [
    ("{latitude: 54 N, longitude: 3 W, time zone: 0 h}", Whereabouts(54.0, -3.0, 2026, 3, 21, 0)),
    (
        "{latitude: 33.9s, longitude: 151,2 e, date: 2026-06-21, time zone: +10 h}",
        Whereabouts(-33.9, 151.2, 2026, 6, 21, 600),
    ),
    (
        "{latitude: 40° n, longitude: 75 deg w, date: 1921-2-28, time zone: -5h}",
        Whereabouts(40, -75, 1921, 2, 28, -300),
    ),
    ("{latitude: 0 s, longitude: 0 W, date: 2024-02-29, time zone: −1 hour}", Whereabouts(0, 0, 2024, 2, 29, -60)),
    ("{latitude: 20 N, longitude: 80 E, time zone: 5:30 h}", Whereabouts(20, 80, utc_min=330)),
    ("{latitude: 20 N, longitude: 80 E, time zone: +5,5 h}", Whereabouts(20, 80, utc_min=330)),
    ("{latitude: 47 N, longitude: 52.7 W, time zone: -3:30 hours}", Whereabouts(47, -52.7, utc_min=-210)),
    (
        "{latitude: 90 N, longitude: 180 E, date: 2099-12-31, time zone: -12 h}",
        Whereabouts(90, 180, 2099, 12, 31, -720),
    ),
    ("{latitude: 90 S, longitude: 150 W, date: 1900-01-01, time zone: +14 h}", Whereabouts(-90, -150, 1900, 1, 1, 840)),
]


@pytest.mark.parametrize(("text", "whereabouts"), PLACES)
def test_whereabouts(tmp_path: Path, text: str, whereabouts: Whereabouts) -> None:
    found = right(tmp_path, f"{HEAD}whereabouts: {text}\n").whereabouts
    assert found == whereabouts
    assert "-0.0" not in str(found)


def test_whereabouts_line_by_line_and_in_quotes(tmp_path: Path) -> None:
    lines = "whereabouts:\n  latitude: \"33.9 S\"\n  longitude: 151.2 E\n  date: '2026-06-21'\n  time zone: +10 h\n"
    assert right(tmp_path, HEAD + lines).whereabouts == Whereabouts(-33.9, 151.2, 2026, 6, 21, 600)


@pytest.mark.parametrize(
    ("text", "mm"), [("800 mm", 800), ("80 cm", 800), ("0,8 m", 800), ("50 mm", 50), ("100 m", 100_000)]
)
def test_viewing_distance(tmp_path: Path, text: str, mm: int) -> None:
    assert right(tmp_path, f"{HEAD}viewing distance: {text}\n").viewing_mm == mm


SKY = "outputs:\n  sky: {kind: lamp, dimmable: yes, follows daylight: 1 lux to 1000 lux}\n  end: {kind: lamp}\n"


@pytest.mark.parametrize(
    ("text", "lux", "line"),
    [
        ("daylight: 40 lux\n", 40.0, 2),
        ("daylight: 0.0001 lux\n", 0.0001, 2),
        ("whereabouts: {latitude: 54 N, longitude: 3 W, time zone: 0 h}\n", 10_000.0, 2),
        (SKY, 10_000.0, 3),
        (SKY + "daylight: 0,5 lx\n", 0.5, 5),
    ],
)
def test_daylight_is_an_output_where_the_file_speaks_of_it(tmp_path: Path, text: str, lux: float, line: int) -> None:
    layout = right(tmp_path, HEAD + text)
    assert list(layout.outputs)[-1] == DAYLIGHT
    daylight = layout.outputs[DAYLIGHT]
    assert (daylight.kind, daylight.rest, daylight.steps, daylight.name) == (Kind.DAYLIGHT, Setting(lux), 1, DAYLIGHT)
    assert layout.daylight_lux == lux
    assert daylight.place.line == line


@pytest.mark.parametrize(
    ("light", "low", "high"),
    [("0.5 lux", 0, 0), ("1 lux", 0, 0), ("30 lux", 0.1, 0.9), ("1000 lux", 1, 1), ("8000 lux", 1, 1)],
)
def test_a_sky_lamp_rests_at_the_layouts_daylight(tmp_path: Path, light: str, low: float, high: float) -> None:
    rest = right(tmp_path, f"{HEAD}daylight: {light}\n{SKY}").outputs["sky"].rest
    assert low <= rest.value <= high
    assert right(tmp_path, f"{HEAD}daylight: {light}\n{SKY}").outputs["end"].rest == Setting(0.0)


def test_the_new_keys_of_the_file_that_says_everything(good: Layout) -> None:
    outputs = good.outputs
    mantle, sky, arm = outputs["mantle-lamp"], outputs["sky"], outputs["fish-dock-arm"]
    assert (mantle.comes_on, mantle.floor, mantle.dithers, mantle.lit_area_mm2) == ("gas-mantle", 0.04, True, 450.0)
    assert (sky.follows_lux, outputs["sky colour"].rest) == ((0.5, 1000.0), Setting(400.0))
    assert outputs["harbour-light colour"].rest == Setting(1.0)
    assert (arm.arrives, arm.dead_band_deg) == ("bouncing", 0.5)
    assert (good.whereabouts, good.viewing_mm) == (Whereabouts(-33.9, 151.2, 2026, 6, 21, 600), 800)
    assert outputs[DAYLIGHT].rest == Setting(8000.5)


# --- mistakes ------------------------------------------------------------------------------------------------------

# The settings of an output called `one`, with a mark where the answer must point; words of the answer; and whether an
# editor that has the schema sees it, too. Each mistake gives this one problem and no other.
OUTPUTS: list[tuple[str, str, bool]] = [
    # ways of coming on
    (f"{DIMMED}, comes on like: §gas-mantel", "Did you mean gas-mantle?", True),
    (f"{DIMMED}, comes on like: §Gas-Mantle", "Did you mean gas-mantle?", True),
    (f"{DIMMED}, comes on like: §quickly", "The ways are gas-mantle, oil-wick, candle,", True),
    (f"{DIMMED}, §comes on like: ", "has nothing after it", True),
    (f"{DIMMED}, §comes on like: [tube]", "needs a way of coming on, not a list", True),
    (f"{DIMMED}, §comes on: tube", "Did you mean comes on like?", True),
    (f"{LAMP}, §comes on like: tube", "one is only switched, so it comes on at once", False),
    (f"{LAMP}, dimmable: no, §comes on like: tube", "Add dimmable: yes, or delete comes on like", False),
    (f"{DIMMED}, comes on like: tube, §flickers by itself: yes", "flickers by itself, so it comes on as its", False),
    (
        f"{DIMMED}, comes on like: tube, §flashes as a pair: 9 a minute",
        "flashes by itself, so it comes on as its",
        False,
    ),
    (f"{DIMMED}, follows daylight: 1 lux to 9 lux, §comes on like: tube", "so it never comes on in a way", False),
    (f"{SERVO}, full travel: 1 s, §comes on like: tube", "belongs to a lamp, not to a servo", True),
    ("kind: relay, §comes on like: tube", "belongs to a lamp, not to a relay", True),
    # floors
    (f"{DIMMED}, floor: §4", "Write floor: 4 %", True),
    (f"{DIMMED}, floor: §4 lux", "is not a share. Write for example floor: 4 %", True),
    (f"{DIMMED}, floor: §-4 %", "less than nothing", True),
    (f"{DIMMED}, floor: §100 %", "no level is left between dark and full", False),
    (f"{DIMMED}, floor: §400 %", "no level is left between dark and full", False),
    (f"{LAMP}, §floor: 4 %", "only switched, so it has no least level", False),
    ("kind: motor, §floor: 4 %", "belongs to a lamp, not to a motor", True),
    # dithering
    (f"{LAMP}, §dithers: yes", "no levels to dither between", False),
    (f"{DIMMED}, dithers: §often", "is not yes or no", True),
    ("kind: motor, §dithers: yes", "belongs to a lamp, not to a motor", True),
    # lit areas
    (f"{LAMP}, lit area: §400", "Write lit area: 400 mm2", True),
    (f"{LAMP}, lit area: §400 mm", "is not an area", True),
    (f"{LAMP}, lit area: §4 sq cm", "Write lit area: 4 cm2", True),
    (f"{LAMP}, lit area: §400 square mm", "Write lit area: 400 mm2", True),
    (f"{LAMP}, lit area: §400 mm^2", "Write lit area: 400 mm2", True),
    (f"{LAMP}, lit area: §1 m2", "Write for example lit area: 400 mm2", True),
    (f"{LAMP}, lit area: §0 mm2", "nothing is seen of it", False),
    (f"{LAMP}, lit area: §10000.01 cm2", "more than a square metre", False),
    ("kind: relay, §lit area: 4 cm2", "belongs to a lamp, not to a relay", True),
    # sky lamps
    (f"{DIMMED}, follows daylight: §1 to 1000", "is not a range of light", True),
    (f"{DIMMED}, follows daylight: §from 1 to 100 lux", "Write follows daylight: 1 lux to 100 lux", True),
    (f"{DIMMED}, follows daylight: §1 lux - 0.5 klux", "for example follows daylight: 1 lux to 1000 lux", True),
    (f"{DIMMED}, follows daylight: §1000 lux", "for example follows daylight: 1 lux to 1000 lux", True),
    (f"{DIMMED}, follows daylight: §yes", "is not a range of light", True),
    (f"{DIMMED}, follows daylight: §0 lux to 1000 lux", "it is never 0 lux outdoors", False),
    (f"{DIMMED}, follows daylight: §1 lux to 200001 lux", "Write 0.0001 lux", False),
    (f"{DIMMED}, follows daylight: §1000 lux to 1 lux", "the two are the wrong way round", False),
    (f"{DIMMED}, follows daylight: §9 lux to 9.0 lux", "the two are the same", False),
    (f"{LAMP}, §follows daylight: 1 lux to 9 lux", "only switched, so it cannot follow the daylight", False),
    (f"{DIMMED}, follows daylight: 1 lux to 9 lux, §rest: 40 %", "no state of rest of its own", False),
    (f"{DIMMED}, follows daylight: 1 lux to 9 lux, §safe: on", "no safe state of its own", False),
    (f"{DIMMED}, flickers by itself: yes, §follows daylight: 1 lux to 9 lux", "flickers by itself and follows", False),
    (f"{DIMMED}, flashes as a pair: 9/min, §follows daylight: 1 lux to 9 lux", "flashes by itself and follows", False),
    (f"{SERVO}, full travel: 1 s, §follows daylight: 1 lux to 9 lux", "belongs to a lamp, not to a servo", True),
    # whites
    (f"{DIMMED}, whites: §2200 to 6500", "is not a range of whites", True),
    (f"{DIMMED}, whites: §2700K-6500K", "Write whites: 2700 K to 6500 K", True),
    (f"{DIMMED}, whites: §2700", "Write whites: 2700 K to 6500 K", True),
    (f"{DIMMED}, §whites: [2200 K, 6500 K]", "needs a range of whites, not a list", True),
    (f"{DIMMED}, whites: §999 K to 6500 K", "no lamp has a white of 999 K", False),
    (f"{DIMMED}, whites: §2200 K to 10001 K", "no lamp has a white of 10001 K", False),
    (f"{DIMMED}, whites: §2700 K to 2700 K", "leaves nothing to mix", False),
    (f"{LAMP}, §whites: 2200 K to 6500 K", "it cannot mix two whites", False),
    (f"{DIMMED}, whites: 2200 K to 6500 K, §mixes colours: yes", "makes its colour in one way", False),
    (f"{DIMMED}, whites: 2200 K to 6500 K, §colours: [white, red]", "makes its colour in one way", False),
    (f"{DIMMED}, mixes colours: yes, §colours: [white, red]", "has mixes colours and colours", False),
    (f"{LAMP}, §mixes colours: yes", "it cannot mix colours", False),
    (f"{DIMMED}, mixes colours: §rgb", "is not yes or no", True),
    (f"{DIMMED}, mixes colours: §rgb, rest colour: 2700 K", "is not yes or no", True),
    (f"{DIMMED}, §mixes colors: yes", "Did you mean mixes colours?", True),
    ("kind: relay, §whites: 2200 K to 6500 K", "belongs to a lamp, not to a relay", True),
    ("kind: signal, aspects: {stop: 0}, §mixes colours: yes", "belongs to a lamp, not to a signal", True),
    # colours by name
    (f"{LAMP}, §colours: [white]", "fewer than 2 entries", True),
    (f"{LAMP}, §colours: [a, b, c, d, e, f, g, h, i]", "more than 8 entries", True),
    (f"{LAMP}, colours: §white", "needs a list of colours, not white", True),
    (f"{LAMP}, §colours: {{white: 1}}", "for example colours: [white, red]", True),
    (f"{LAMP}, colours: [white, §Red]", "is not a name in lower-case letters, digits and hyphens. Write red", True),
    (f"{LAMP}, colours: [white, red, §white]", "white is a colour of one twice", False),
    (f"{LAMP}, colours: [white, §off]", "off cannot be a colour", True),  # for some editors it is no
    (f"{LAMP}, colours: [white, §lit]", "lit cannot be a colour", False),
    (f"{LAMP}, colours: [white, §daylight]", "daylight cannot be a colour", False),
    (f"{LAMP}, §colors: [white, red]", "Did you mean colours?", True),
    ("kind: relay, §colours: [white, red]", "belongs to a lamp, not to a relay", True),
    # the colour at rest
    (f"{LAMP}, colours: [white, red], rest colour: §rde", "Did you mean red?", False),
    (f"{LAMP}, colours: [white, red], rest colour: §2700 K", "Its colours are white, red", False),
    (f"{DIMMED}, whites: 2200 K to 6500 K, rest colour: §red", "Write 2200 K to 6500 K", False),
    (f"{DIMMED}, whites: 2200 K to 6500 K, rest colour: §2199 K", "is not a white that one can show", False),
    (f"{DIMMED}, whites: 2200 K to 6500 K, rest colour: §6501 K", "is not a white that one can show", False),
    (f"{DIMMED}, mixes colours: yes, rest colour: §1899 K", "Write 1900 K to 10000 K", False),
    (f"{DIMMED}, mixes colours: yes, rest colour: §2700", "Write rest colour: 2700 K", True),
    (f"{LAMP}, §rest colour: red", "says nothing of its colours", False),
    (f"{DIMMED}, mixes colours: no, §rest colour: 2700 K", "has a rest colour, but mixes none", False),
    (f"{LAMP}, colours: [white, red], §rest color: red", "Did you mean rest colour?", True),
    # servos
    (f"{SERVO}, full travel: 1 s, arrives: §bounce", "Did you mean bouncing?", True),
    (f"{SERVO}, full travel: 1 s, arrives: §late", "The ways are bouncing, settling", True),
    (f"{SERVO}, moves by itself: 1 s, §arrives: bouncing", "nothing but the board says how it arrives", False),
    (f"{SERVO}, moves by itself: 1 s, §dead band: 1 deg", "nothing but the board knows", False),
    (f"{SERVO}, full travel: 1 s, dead band: §1", "Write dead band: 1 deg", True),
    (f"{SERVO}, full travel: 1 s, dead band: §1 mm", "is not an angle", True),
    (f"{SERVO}, full travel: 1 s, dead band: §0 deg", "at least 0.01 deg", False),
    (f"{SERVO}, full travel: 1 s, dead band: §80 deg", "it would never move, since its travel is 80 deg", False),
    (f"{LAMP}, §arrives: bouncing", "belongs to a servo, not to a lamp", True),
    ("kind: signal, aspects: {stop: 0}, §arrives: bouncing", "belongs to a servo, not to a signal", True),
    ("kind: motor, §dead band: 1 deg", "belongs to a servo, not to a motor", True),
    # kinds that are made and not written
    ("kind: §colour", "The kinds are lamp, servo, signal, relay, motor, sound, pulse.", True),
    ("kind: §daylight", "is not a kind of output", True),
    # states that a scene could not speak of
    ("kind: servo, positions: {§below: 80 deg, down: 0 deg}, full travel: 1 s", "below cannot be a position", False),
    ("kind: signal, aspects: {stop: 0, §at: 1}", "at cannot be an aspect", False),
]

WHERE = "latitude: 54 N, longitude: 3 W"
HEADS: list[tuple[str, str, bool]] = [
    ("daylight: §0 lux", "daylight: it is never 0 lux outdoors", False),
    ("daylight: §0,00009 lux", "it is never 0.00009 lux outdoors", False),
    ("daylight: §200001 lux", "200000 lux (the brightest sun)", False),
    ("daylight: §500", "Write daylight: 500 lux", True),
    ("daylight: §500 K", "is not a light", True),
    ("viewing distance: §800", "Write viewing distance: 800 mm", True),
    ("viewing distance: §800 inches", "is not a length", True),
    ("viewing distance: §80.55 cm", "is not a whole number of mm", False),
    ("viewing distance: §49 mm", "Write 50 mm to 100 m", False),
    ("viewing distance: §101 m", "nobody looks at a layout from 101 m", False),
    ("§viewing distnace: 1 m", "Did you mean viewing distance?", True),
    ("§wherabouts: {latitude: 54 N, longitude: 3 W, time zone: 0 h}", "Did you mean whereabouts?", True),
    ("whereabouts: §54 N", "whereabouts needs a place and its date", True),
    ("§whereabouts:", "has nothing after it", True),
    (
        "§whereabouts: {latitude: 54 N, time zone: 0 h}",
        "does not say its longitude. Add for example longitude: 3 W",
        True,
    ),
    ("§whereabouts: {longitude: 3 W, time zone: 0 h}", "does not say its latitude", True),
    (f"§whereabouts: {{{WHERE}}}", "does not say its time zone", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, §dste: 2026-03-21}}", "Did you mean date?", True),
    (
        "whereabouts: {latitude: §54, longitude: 3 W, time zone: 0 h}",
        "does not say north or south. Write latitude: 54 N or latitude: 54 S",
        True,
    ),
    ("whereabouts: {latitude: §-33.9, longitude: 3 W, time zone: 0 h}", "Write latitude: 33.9 S.", True),
    (
        "whereabouts: {latitude: 54 N, longitude: §+3, time zone: 0 h}",
        "does not say east or west. Write longitude: 3 E.",
        True,
    ),
    ("whereabouts: {latitude: 54 N, longitude: §-3, time zone: 0 h}", "Write longitude: 3 W.", True),
    ("whereabouts: {latitude: §3 W, longitude: 3 W, time zone: 0 h}", "is not a latitude", True),
    ("whereabouts: {latitude: §54°30'N, longitude: 3 W, time zone: 0 h}", "Write for example latitude: 54 N", True),
    ("whereabouts: {latitude: §90.1 N, longitude: 3 W, time zone: 0 h}", "Write at most 90 N", False),
    ("whereabouts: {latitude: 54 N, longitude: §180.1 w, time zone: 0 h}", "Write at most 180 W", False),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §2026-02-29}}", "no calendar has 2026-02-29", False),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §2026-21-03}}", "Write the year, the month and the day", False),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §21.3.2026}}", "Write date: 2026-3-21", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §21 March 2026}}", "Write date: 2026-03-21", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §2026/3/21}}", "Write date: 2026-3-21", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §2026-03-21 12:00}}", "Write date: 2026-03-21", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §21 Foo 2026}}", "Write for example date: 2026-03-21", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §spring}}", "Write for example date: 2026-03-21", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §1899-12-31}}", "Write a year from 1900 to 2099", False),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, date: §2100-01-01}}", "the sun of 2100 is not worked out", False),
    (f"whereabouts: {{{WHERE}, time zone: §-1}}", "Write time zone: -1 h", True),
    (f"whereabouts: {{{WHERE}, time zone: §0}}", "Write time zone: 0 h", True),
    (f"whereabouts: {{{WHERE}, time zone: §-1:30}}", "Write time zone: -1:30 h", True),
    (f"whereabouts: {{{WHERE}, time zone: §UTC}}", "Write time zone: 0 h", True),
    (f"whereabouts: {{{WHERE}, time zone: §GMT-5}}", "Write time zone: -5 h", True),
    (f"whereabouts: {{{WHERE}, time zone: §local}}", "is not a time zone in hours from universal time", True),
    ("whereabouts: {latitude: §N 54, longitude: 3 W, time zone: 0 h}", "Write latitude: 54 N", True),
    ("whereabouts: {latitude: 54 N, longitude: §3 degrees west, time zone: 0 h}", "Write longitude: 3 w", True),
    ("whereabouts: {§lat: 54 N, longitude: 3 W, time zone: 0 h}", "Did you mean latitude?", True),
    (f"whereabouts: {{{WHERE}, time zone: 0 h, §d: 2026-03-21}}", "What can stand here: date", True),
    (
        "whereabouts:\n  latitude: 54 N\n  longitude: 3 W\n  time zone: 0 h\n  date: §March 21, 2026",
        "Write date: 2026-03-21",
        True,
    ),
    (f"whereabouts: {{{WHERE}, time zone: §0:60 h}}", "not a whole number of minutes", False),
    (f"whereabouts: {{{WHERE}, time zone: §0.33 h}}", "not a whole number of minutes", False),
    ("whereabouts: {latitude: 0 N, longitude: 180 E, time zone: §-12:01 h}", "no clock is -12:01 h", False),
    ("whereabouts: {latitude: 0 N, longitude: 150 W, time zone: §14:01 h}", "Write -12 h to +14 h", False),
]
MISTAKES = [(f"outputs:\n  one: {{{settings}}}\n", *rest) for settings, *rest in OUTPUTS]
MISTAKES += [(f"{line}\n", *rest) for line, *rest in HEADS]


def answered(folder: Path, text: str, words: str, **others: str) -> Problem:
    """The one problem of a file, which says these words where the mark stands."""
    at = text.find("§")
    _, problems, lines = read(folder, text.replace("§", ""), **others)
    said = [as_text(problem, lines) for problem in problems]
    assert len(problems) == 1, "\n".join(said)
    assert plain(words) in plain(f"{problems[0].what} {problems[0].instead}"), said[0]
    assert problems[0].instead, said[0]
    if at >= 0:
        place = problems[0].place
        assert (place.line, place.column) == (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)), said[0]
    return problems[0]


@pytest.mark.parametrize(("text", "words"), [row[:2] for row in MISTAKES], ids=[row[0] for row in MISTAKES])
def test_a_mistake_is_answered_once_and_where_it_is(tmp_path: Path, text: str, words: str) -> None:
    problem = answered(tmp_path, HEAD + text, words)
    assert not problem.advice


@pytest.mark.parametrize(
    "text",
    ["whereabouts: {latitude: 54 N, longitude: 75 W, time zone: §- 5 h}", "whereabouts:\n  time zone: §- 5 h  # west"],
)
def test_a_minus_apart_from_its_number(tmp_path: Path, text: str) -> None:
    answered(tmp_path, f"{HEAD}{text}\n", "a space stands between the minus and its number. Write -5 h")


def test_the_two_that_exclude_each_other_are_both_shown(tmp_path: Path) -> None:
    keys = "    kind: lamp\n    dimmable: yes\n    whites: 2200 K to 6500 K\n    §mixes colours: yes\n"
    problem = answered(tmp_path, f"{HEAD}outputs:\n  one:\n{keys}", "makes its colour in one way")
    assert [(place.line, place.column) for place, _ in problem.also] == [(6, 5)]
    keys = "    kind: lamp\n    dimmable: yes\n    follows daylight: 1 lux to 9 lux\n    §comes on like: tube\n"
    problem = answered(tmp_path, f"{HEAD}outputs:\n  one:\n{keys}", "never comes on in a way")
    assert [(place.line, place.column) for place, _ in problem.also] == [(6, 5)]


def test_a_lamp_that_is_only_switched_is_told_once(tmp_path: Path) -> None:
    keys = "floor: 4 %, dithers: yes, mixes colours: yes, comes on like: tube"
    answered(tmp_path, f"{HEAD}outputs:\n  one: {{kind: lamp, §{keys}}}\n", "it has no least level")


@pytest.mark.parametrize("levels", ["dimmable: maybe", "levels: 100"])
def test_levels_that_are_wrong_are_not_missed_as_well(tmp_path: Path, levels: str) -> None:
    answered(tmp_path, f"{HEAD}outputs:\n  one: {{kind: lamp, {levels}, comes on like: tube}}\n", levels.split(":")[0])


@pytest.mark.parametrize("word", ["dimmable: yes", "levels: 2, dimmable: yes"])
def test_two_levels_are_levels(tmp_path: Path, word: str) -> None:
    assert one_output(tmp_path, f"kind: lamp, {word}, comes on like: tube").outputs["one"].comes_on == "tube"


@pytest.mark.parametrize("section", ["outputs", "detectors", "buttons", "tracks", "links"])
def test_daylight_is_a_word_of_the_scenes(tmp_path: Path, section: str) -> None:
    line = next(line for line in GOOD[GOOD.index(f"\n{section}:\n") :].splitlines()[2:] if line.startswith("  "))
    name = line.strip().partition(":")[0]
    _, problems, _ = read(tmp_path, GOOD.replace(f"\n  {name}:", "\n  daylight:", 1))
    wrong = [problem for problem in problems if "word of the scene language" in problem.what]
    assert [problem.what for problem in wrong] == ["`daylight` cannot be a name: it is a word of the scene language."]
    assert wrong[0].instead.startswith("Write for example `daylight-")


def test_a_signal_cannot_show_a_lamp_that_follows_the_daylight(tmp_path: Path) -> None:
    text = HEAD + SKY + "  mast: {kind: signal, aspects: {stop: {end: on}, clear: {§sky: on}}}\n"
    answered(tmp_path, text, "sky follows the daylight, so no signal can show it")


@pytest.mark.parametrize("part", ["buttons:\n  go: {ready lamp: §sky}\n", "crossing:\n  lane: {amber: [§sky]}\n"])
def test_a_lamp_that_follows_the_daylight_shows_nothing_else(tmp_path: Path, part: str) -> None:
    answered(tmp_path, HEAD + SKY + part, "sky follows the daylight, so it cannot")


@pytest.mark.parametrize("key", ["lit area: 0 mm2", "lit area: 9 m", "floor: 100 %", "follows daylight: 9 lx to 1 lx"])
def test_a_lamp_with_a_mistake_is_as_if_nothing_had_been_said(tmp_path: Path, key: str) -> None:
    lamp = one_output(tmp_path, DIMMED).outputs["one"]
    layout, _, _ = read(tmp_path, f"{HEAD}outputs:\n  one: {{{DIMMED}, {key}}}\n")
    assert layout.outputs == {"one": lamp}


@pytest.mark.parametrize("line", ["daylight: 0 lux", "viewing distance: 1 mm", "outputs: {one: {kind: colour}}"])
def test_a_layout_with_a_mistake_is_as_if_nothing_had_been_said(tmp_path: Path, line: str) -> None:
    layout, problems, _ = read(tmp_path, f"{HEAD}{line}\n")
    assert len(problems) == 1
    assert (layout.daylight_lux, layout.viewing_mm) == (10_000.0, None)
    assert [output.kind for output in layout.outputs.values()] in ([], [Kind.DAYLIGHT])


@pytest.mark.parametrize(
    ("longitude", "zone", "noon"),
    [
        ("151.2 E", "-10 h", "15:55"),
        ("151.2 E", "0 h", "01:55"),
        ("75 W", "+5 h", "22:00"),
        ("3 W", "+4 h", "16:12"),
        ("3 W", "+3:04 h", "15:16"),
        ("3 W", "+3 h", None),
        ("73.5 E", "+8 h", None),
        ("75 W", "-5 h", None),
        ("150 W", "+14 h", None),
        ("173 E", "-12 h", None),
        ("87 E", "+8 h", None),
    ],
)
def test_a_sign_that_turns_the_day_round_is_asked_about(
    tmp_path: Path, longitude: str, zone: str, noon: str | None
) -> None:
    """151.2 E at -10 h: 12:00 less 604.8 min for the longitude, less 600 min is 15:55 of the day before."""
    text = f"{HEAD}whereabouts: {{latitude: 54 N, longitude: {longitude}, time zone: §{zone}}}\n"
    if noon is None:
        right(tmp_path, text.replace("§", ""))
    else:
        assert answered(tmp_path, text, f"the sun would stand highest at {noon} by the layout clock").advice


def test_whereabouts_keep_what_could_be_made_out(tmp_path: Path) -> None:
    layout, _, _ = read(
        tmp_path, f"{HEAD}whereabouts: {{latitude: 33.9 S, longitude: 1512 E, date: x, time zone: +10 h}}\n"
    )
    assert layout.whereabouts == Whereabouts(-33.9, utc_min=600)
    assert DAYLIGHT in layout.outputs


# --- the scenes' doubts --------------------------------------------------------------------------------------------


def test_a_lamp_in_doubt_takes_its_colour_with_it(tmp_path: Path) -> None:
    text = f"{HEAD}outputs:\n  one: {{kind: lamp, floor: 4 %, colours: [white, red]}}\n"
    text += "  two: {kind: lamp, colours: [a, b]}\n"
    (tmp_path / "layout.yaml").write_text(text)
    found = read_with_doubts(tmp_path / "layout.yaml", "layout.yaml")
    assert found.doubts is not None
    assert {"one", "one colour"} <= found.doubts.names
    assert not {"two", "two colour"} & found.doubts.names


@pytest.mark.parametrize("line", ["viewing distance: 1 mm", "daylight: 0 lux", "whereabouts: {latitude: 54 N}"])
def test_light_in_doubt_puts_no_name_in_doubt(tmp_path: Path, line: str) -> None:
    (tmp_path / "layout.yaml").write_text(f"{HEAD}{line}\noutputs: {{one: {{kind: lamp}}}}\n")
    found = read_with_doubts(tmp_path / "layout.yaml", "layout.yaml")
    assert found.problems
    assert found.doubts is not None
    assert (found.doubts.names, found.doubts.any_name) == (frozenset(), False)


# --- a table of outputs --------------------------------------------------------------------------------------------

TABLE = (HERE / "good_lights.csv").read_text(encoding="utf-8")
IN_YAML = """\
outputs:
  mantle: {kind: lamp, dimmable: yes, comes on like: gas-mantle, floor: 4 %, dithers: yes, lit area: 4.5 cm2}
  sky: {kind: lamp, dimmable: yes, follows daylight: 0.5 lux to 1000 lux, whites: 2200 K to 6500 K, rest colour: 2500 K}
  light: {kind: lamp, lit area: 400 mm2, colours: [white, red], rest colour: red}
  sign: {kind: lamp, dimmable: yes, mixes colours: yes}
  arm: {kind: servo, positions: {up: 0 deg, down: 45 deg}, full travel: 900 ms, arrives: settling, dead band: 0.5 deg}
"""
FROM_TABLE = f"{HEAD}outputs from: wiring.csv\n"


def placeless(layout: Layout) -> list[tuple[Any, ...]]:
    names = [name for name in Output.__slots__ if name != "place"]
    return [tuple(getattr(output, name) for name in names) for output in layout.outputs.values()]


@pytest.mark.parametrize("colours", ["white; red", "[white; red]", "white / red", "white red", '"white, red"'])
def test_a_table_gives_what_the_layout_file_gives(tmp_path: Path, colours: str) -> None:
    table = TABLE.replace("white; red", colours, 1)
    assert placeless(right(tmp_path, FROM_TABLE, **{"wiring.csv": table})) == placeless(right(tmp_path, HEAD + IN_YAML))


def test_the_table_has_every_key_of_light_and_motion() -> None:
    assert {heading.lower().replace("_", " ") for heading in TABLE.splitlines()[0].split(",")} >= NEW_KEYS


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("gas-mantle", "§gas-mantel", "Did you mean gas-mantle?"),
        ("white; red,red", "§white,red", "fewer than 2 entries"),
        ("white; red,red", "white; §white; red,red", "white is a colour of light twice"),
        ("white; red,red", "white; red,§rde", "Did you mean red?"),
        ("white; red,red", "white; §off,white", "off cannot be a colour"),
        ('"4,5 cm2"', "§4,5 cm2", 'Put it in quotes: "4,5 cm2"'),
        ('"0,5 deg"', "§0,5 deg", 'Put it in quotes: "0,5 deg"'),
        ('"0,5 lux to 1000 lux"', "§0,5 lux to 1000 lux", "divides it into two cells"),
        ("4 %", "§4", "Write floor: 4 %"),
        ("Colours", "§Colors", "Did you mean colours?"),
        ("sign,lamp,yes", "sign,lamp,", "it cannot mix colours"),
    ],
)
def test_a_mistake_in_a_table_points_at_its_cell(tmp_path: Path, old: str, new: str, words: str) -> None:
    text = TABLE.replace(old, new, 1)
    at = text.find("§")
    _, problems, lines = read(tmp_path, FROM_TABLE, **{"wiring.csv": text.replace("§", "")})
    said = [as_text(problem, lines) for problem in problems]
    first = problems[0]
    assert plain(words) in plain(said[0]), "\n".join(said)
    assert first.place.file == "wiring.csv"
    if at >= 0:
        assert (first.place.line, first.place.column) == (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))


# --- the schema and the reader -------------------------------------------------------------------------------------

NEW_KEYS = {row[1].partition(":")[0] for row in KEYS} | {"whites", "mixes colours", "colours", "rest colour"}


@cache
def validator() -> Any:
    return jsonschema_rs.Draft202012Validator(json.loads(schema_text()))


class _Editor(yaml.SafeLoader):
    """Numbers and yes/no have types of their own, and dates have none, as in YAML 1.2."""


_Editor.yaml_implicit_resolvers = {
    first: [(tag, form) for tag, form in rows if not tag.endswith(":timestamp")]
    for first, rows in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def as_an_editor_sees_it(text: str) -> Any:
    return yaml.load(text.replace("§", ""), Loader=_Editor)


GOOD_FILES = [
    *(
        f"outputs:\n  one:\n    {kind.replace(', ', chr(10) + '    ')}\n    {key}\n"
        for kind, key, *_ in KEYS
        if "{" not in kind and ", " not in key
    ),
    *(f"outputs:\n  one: {{{DIMMED}, {keys}}}\n" for keys, *_ in WHITES),
    *(f"whereabouts: {text}\n" for text, _ in PLACES if "151,2" not in text and "5,5" not in text),
]


@pytest.mark.parametrize("text", GOOD_FILES)
def test_the_schema_takes_what_the_reader_takes(text: str) -> None:
    assert [str(error) for error in validator().iter_errors(as_an_editor_sees_it(HEAD + text))] == []


@pytest.mark.parametrize(("text", "seen"), [(row[0], row[2]) for row in MISTAKES], ids=[row[0] for row in MISTAKES])
def test_the_schema_sees_every_wrong_form(text: str, seen: bool) -> None:
    assert (not validator().is_valid(as_an_editor_sees_it(HEAD + text))) is seen


def test_the_schema_has_no_key_that_is_not_tried_here() -> None:
    """Every key that only a lamp or only a servo has is either older than these tests or among them."""
    older = {"dimmable", "levels", "flickers by itself", "flashes as a pair", "longest on"}
    older |= {"positions", "limits", "full travel", "moves by itself"}
    older |= {"forward voltage", "in series", "idle current"}  # see test_layout_supplies.py
    rows = json.loads(schema_text())["$defs"]["output"]["allOf"]
    barred = {row["if"]["properties"]["kind"]["const"]: set(row["then"]["properties"]) for row in rows}
    assert set(barred) == {kind.value for kind in Kind} - {"colour", "daylight"}
    of_lamps = set.intersection(*(keys for kind, keys in barred.items() if kind != "lamp")) - barred["lamp"]
    of_servos = set.intersection(*(keys for kind, keys in barred.items() if kind != "servo")) - barred["servo"]
    assert (of_lamps | of_servos) - older == NEW_KEYS
    for kind, keys in barred.items():
        assert keys >= NEW_KEYS - (of_lamps if kind == "lamp" else of_servos if kind == "servo" else set()), kind


def test_the_schema_states_the_whites_that_are_mixed() -> None:
    mixes = json.loads(schema_text())["$defs"]["output"]["properties"]["mixes colours"]["description"]
    low, high = layout_colours.MIXED_K
    assert f"{low:g} K to {high:g} K" in mixes


def test_the_schema_knows_every_way_of_coming_on() -> None:
    from engine.ways import WAYS

    ways = json.loads(schema_text())["$defs"]["output"]["properties"]["comes on like"]["enum"]
    assert sorted(ways) == sorted(WAYS)


def test_a_colours_name_can_be_said_in_a_scene(tmp_path: Path) -> None:
    """Whatever the reader takes as a colour, position or aspect, the scenes' own reader takes as a state."""
    words = sorted(set(parsing._tables().words) | {"white", "lit"})
    _, problems, _ = read(
        tmp_path,
        f"{HEAD}outputs:\n"
        + "".join(f"  lamp-{i}: {{kind: lamp, colours: [{word}, xx]}}\n" for i, word in enumerate(words)),
    )
    refused = {problem.what.split("`")[1] for problem in problems}
    assert "lit" in refused
    assert "white" not in refused
    for word in words:
        if word not in refused:
            text = f"scene a\n    set x to {word}\n    wait until x is {word}\n"
            assert not parsing.parse(text, "a").problems, word


# --- its documentation ---------------------------------------------------------------------------------------------

GUIDE = (Path(layout_colours.__file__).parent / "README.md").read_text(encoding="utf-8")


def test_the_guides_layout_has_no_mistake(tmp_path: Path) -> None:
    layout = right(tmp_path, GUIDE.split("```yaml\n")[1].split("```")[0])
    assert {"quay-lamp", "parlour colour", "harbour-light colour", "sky", "up-arm", DAYLIGHT} <= set(layout.outputs)


def test_the_guide_explains_every_key() -> None:
    schema = json.loads(schema_text())
    keys = {
        *schema["properties"],
        *schema["$defs"]["output"]["properties"],
        *schema["$defs"]["whereabouts"]["properties"],
        *schema["$defs"]["link"]["properties"],
        *schema["$defs"]["link"]["properties"]["words"]["properties"],
        *schema["$defs"]["board"]["properties"],
        *schema["$defs"]["crossing"]["properties"],
        *schema["$defs"]["supply"]["properties"],
        *schema["properties"]["exhibition"]["properties"],
    }
    written = GUIDE.replace("latitude:", "`latitude`").replace("longitude:", "`longitude`")
    written = written.replace("time zone:", "`time zone`").replace("`date:", "`date`")
    assert [key for key in sorted(keys) if f"`{key}`" not in written] == []


def _rows() -> list[str]:
    """The rows of the guide's tables that tell a key, each with its section before it."""
    sections = [(part.splitlines()[0], part) for part in GUIDE.split("## ")]
    rows = [f"{name}{line}" for name, part in sections for line in part.splitlines() if line.startswith("| `")]
    return [row for row in rows if "` | none |" not in row and "`{" not in row.split("|")[2][:3]]


@pytest.mark.parametrize("row", _rows())
def test_the_guides_examples_are_taken(row: str) -> None:
    """Each example of a key in a table has the form that the schema wants."""
    section, key, example = (cell.strip() for cell in row.split("|")[:3])
    name = key.strip("`")
    schema = json.loads(schema_text())
    known = {"Links": "link", "Boards": "board", "Crossings": "crossing", "Supplies": "supply"}.get(section, "output")
    part = {**schema["properties"], **schema["$defs"][known]["properties"]}.get(name)
    for text in re.findall(r"`([^`]+)`", example) if part else []:
        value = _plain(text)
        found = jsonschema_rs.Draft202012Validator({"$defs": schema["$defs"], **part})
        assert [str(error) for error in found.iter_errors(value)] == [], text


def _plain(text: str) -> Any:
    return yaml.load(text, Loader=yaml.BaseLoader)
