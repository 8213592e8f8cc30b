"""The layout file: what a good one gives, and what each mistake in it is answered with, to the column."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import yaml

from engine.layout import (
    NOWHERE,
    Aspect,
    Blink,
    Board,
    Clock,
    Crossing,
    DetectorKind,
    Feed,
    Hold,
    Itself,
    Kind,
    Layout,
    Position,
    Setting,
    Stretch,
    Timed,
    Wiring,
)
from engine.supply import Supply
from scenes.problems import Problem, as_text
from wayside.layout import csv_tables as layout_csv
from wayside.layout import outputs as layout_outputs
from wayside.layout import values as layout_values
from wayside.layout import yaml_places
from wayside.layout.file import read_layout, schema_text
from wayside.layout.schema import MOST_FOUND, pattern

HERE = Path(__file__).parent
GOOD = (HERE / "good_layout.yaml").read_text(encoding="utf-8")  # everything that a layout file can say, once


def read(folder: Path, text: str | bytes, **others: str | bytes) -> tuple[Layout, list[Problem], dict[str, list[str]]]:
    for name, inside in {"layout.yaml": text, **others}.items():
        raw = inside if isinstance(inside, bytes) else inside.encode()
        (folder / name).write_bytes(raw)
    return read_layout(folder / "layout.yaml", "layout.yaml")


def problems_of(folder: Path, text: str | bytes, **others: str | bytes) -> list[Problem]:
    return read(folder, text, **others)[1]


def plain(text: str) -> str:
    """A message without what sets names off from other words."""
    return text.translate({ord(mark): None for mark in '`"'}).lower()


@pytest.fixture
def good(tmp_path: Path) -> Layout:
    layout, problems, lines = read(tmp_path, GOOD)
    assert [as_text(problem, lines) for problem in problems] == []
    return layout


# --- a good file ---------------------------------------------------------------------------------------------------


def test_the_heads(good: Layout) -> None:
    assert good.name == "Pellbrook Quay"
    assert good.clock == Clock(17 * 3600 + 30 * 60, 4)
    assert good.daylight_lux == 8000.5
    assert good.links["main"].settings == (("kind", "serial text"), ("port", "COM3"))
    assert good.boards["quay-board"]._replace(place=NOWHERE) == Board("quay-board", "main", 48, 16)
    assert good.feeds["point-unit"]._replace(place=NOWHERE) == Feed("point-unit", 1_000_000)


def test_the_outputs_keep_the_files_order(good: Layout) -> None:
    written = [line.split(":")[0].strip() for line in GOOD.splitlines() if line.startswith("  ") and line[2] != " "]
    made = [name for name, output in good.outputs.items() if output.kind in (Kind.COLOUR, Kind.DAYLIGHT)]
    assert made == ["sky colour", "harbour-light colour", "shop-sign colour", "daylight"]
    assert [name for name in good.outputs if name not in made] == [name for name in written if name in good.outputs]
    assert {output.kind for output in good.outputs.values()} == set(Kind)


def test_lamps(good: Layout) -> None:
    outputs = good.outputs
    assert outputs["amber"].rest == Setting(0.0)
    assert not outputs["amber"].guarded
    assert not outputs["amber"].dimmable
    assert outputs["amber"].wiring == Wiring(board="crossing-board", port=0)
    # 80 flashes a minute are 0.75 s each; two lamps take turns
    assert outputs["red-left"].safe == Setting(1.0, Blink(750_000, 1, 0, 2))
    assert outputs["red-right"].safe == Setting(1.0, Blink(750_000, 1, 1, 2))
    assert outputs["boom-lamps"].safe == Setting(1.0)
    assert outputs["quay-lamp-1"].steps == 255
    assert outputs["quay-lamp-1"].rest == Setting(0.4)
    assert outputs["quay-lamp-2"].steps == 100
    assert outputs["forge"].itself is Itself.FLICKERS
    assert (outputs["wharf-pair"].itself, outputs["wharf-pair"].itself_us) == (Itself.FLASHES, 1_333_333)


def test_servos(good: Layout) -> None:
    near, far = good.outputs["near-barrier"], good.outputs["far-barrier"]
    assert near.positions == (Position("raised", 85.0), Position("lowered", 0.0))
    assert (near.limits, near.travel_us, near.itself) == ((0.0, 90.0), 4_000_000, None)
    assert (near.rest, near.safe) == (Setting(85.0), Setting(0.0))
    assert (far.itself, far.itself_us, far.travel_us) == (Itself.MOVES, 7_000_000, 7_000_000)
    assert far.rest == Setting(85.5)  # the first position, unless the file says another
    assert far.span == (85.5, 2.5)


def test_signals_and_their_parts(good: Layout) -> None:
    outputs = good.outputs
    assert outputs["up-signal"].aspects == (
        Aspect("danger", (("up-arm", 0.0),), None, True),
        Aspect("clear", (("up-arm", 45.0),), None, False),
    )
    assert outputs["up-signal"].safe == Setting(0.0)
    assert outputs["up-arm"].safe == Setting(0.0)  # a part is as safe as its signal
    # a lamp that an aspect does not name is off in it
    assert outputs["down-signal"].aspects == (
        Aspect("halt", (("red-light", 1.0), ("green-light", 0.0)), None, True),
        Aspect("go", (("red-light", 0.0), ("green-light", 1.0)), None, False),
    )
    assert outputs["red-light"].rest == Setting(1.0)  # a part rests as its signal rests
    assert outputs["harbour-signal"].aspects == (
        Aspect("clear", (), 1, False),
        Aspect("stop", (), 0, True),
        Aspect("warning", (), 2, False),
    )
    assert outputs["harbour-signal"].rest == Setting(1.0)  # the first aspect that stops trains
    assert outputs["harbour-signal"].wiring == Wiring(link="main", address=100)


def test_the_other_kinds(good: Layout) -> None:
    outputs = good.outputs
    assert outputs["bell"].longest_on_us == 300_000_000
    assert (outputs["fountain"].rest, outputs["fountain"].longest_on_us) == (Setting(1.0), 7_200_000_000)
    assert (outputs["windmill"].soft_start_us, outputs["windmill"].rest) == (1_500_000, Setting(-0.25))
    assert (outputs["point-left"].pulse_us, outputs["point-left"].feed) == (120_000, "point-unit")
    assert (outputs["point-right"].pulse_us, outputs["point-right"].feed) == (0, "point-unit")


def test_detectors_buttons_tracks_and_crossings(good: Layout) -> None:
    lane = good.detectors["lane"]
    assert (lane.kind, lane.settle_us, lane.settle_occupied_us) == (DetectorKind.BEAM, 1_000_000, 20_000)
    assert lane.closed_circuit
    assert good.detectors["quay-end"].kind is DetectorKind.TREADLE
    assert good.buttons["evening-button"].ready_lamp == "quay-lamp-1"
    assert good.buttons["bell-push"].wiring == Wiring()
    line = good.tracks["up-line"]
    expected = (("up-approach", 3600), ("lane", 300), (None, 900), ("quay-end", 50))
    assert line.stretches == tuple(Stretch(name, length) for name, length in expected)
    assert (line.fastest_mm_s, line.shortest_train_mm) == (150, 300)
    assert line.timed == (
        Timed("up-approach", "lane", 24_200_000, "2026-05-02"),
        Timed("lane", "quay-end", 8_000_000),
    )
    assert line.holds == (Hold("up-signal", 3600), Hold("down-signal", 4000))
    assert good.crossings["saltmarsh-lane-crossing"]._replace(place=NOWHERE) == Crossing(
        "saltmarsh-lane-crossing",
        amber=("amber",),
        reds=("red-left", "red-right"),
        entrance_barriers=("near-barrier",),
        exit_barriers=("far-barrier",),
        boom_lamps=("boom-lamps",),
        audible_warning=("bell",),
        signals=("up-signal", "down-signal"),
        detectors=("up-approach", "lane"),
        on_the_road=("lane",),
    )


def test_things_know_where_they_were_written(good: Layout) -> None:
    lines = GOOD.splitlines()
    for section in (good.outputs, good.detectors, good.buttons, good.tracks, good.links, good.boards, good.crossings):
        for name, thing in section.items():
            place = thing.place
            if getattr(thing, "kind", None) in (Kind.COLOUR, Kind.DAYLIGHT):
                continue  # made from what is said of something else, where it is said
            assert lines[place.line - 1][place.column - 1 : place.end_column - 1] == name


@pytest.mark.parametrize(
    "raw",
    [
        GOOD.replace("\n", "\r\n").encode(),
        GOOD.replace("\n", "\r").encode(),
        b"\xef\xbb\xbf" + GOOD.encode(),
        GOOD.rstrip("\n").encode(),
        GOOD.replace("5 min", "5\u00a0min").encode(),
        GOOD.replace("85 deg", "85\u00b0").encode(),
        ("---\n" + GOOD).encode(),
    ],
    ids=["crlf", "cr", "bom", "no newline at the end", "no-break space", "degree sign", "dashes on top"],
)
def test_the_form_of_the_text_does_not_matter(tmp_path: Path, good: Layout, raw: bytes) -> None:
    layout, problems, _ = read(tmp_path, raw)
    assert problems == []
    assert without_places(layout) == without_places(good)


def without_places(thing: Any) -> Any:
    """The same records with no places, for comparing what was read and not where."""
    if isinstance(thing, dict):
        return {name: without_places(one) for name, one in thing.items()}
    if isinstance(thing, Supply):
        thing = thing._replace(runs=tuple(map(without_places, thing.runs)))
    if hasattr(thing, "place"):
        return thing._replace(place=NOWHERE) if isinstance(thing, tuple) else replace(thing, place=NOWHERE)
    if isinstance(thing, Layout):
        return {field.name: without_places(getattr(thing, field.name)) for field in fields(thing)}
    return thing


@pytest.mark.parametrize(
    "spelling", ["2 s", "2s", "2 sec", "2secs", "2 seconds", "2000 ms", "2,0 s", "2.0 s", "0002 s"]
)
def test_times_in_any_plain_spelling(spelling: str) -> None:
    assert layout_values.time_us(spelling) == 2_000_000


def test_a_decimal_comma_between_brackets_is_no_comma(tmp_path: Path, good: Layout) -> None:
    stretches = "[up-approach: 3,6 m, lane: 30,0 cm, blind: 900 mm, quay-end: 5,0 cm]\n"
    text = GOOD[: GOOD.index("stretches:")] + "stretches: " + stretches + GOOD[GOOD.index("    fastest:") :]
    layout, problems, _ = read(tmp_path, text)
    assert problems == []
    assert layout.tracks["up-line"].stretches == good.tracks["up-line"].stretches


def test_the_schema_is_valid_and_accepts_what_an_editor_sees(tmp_path: Path) -> None:
    """An editor reads YAML with numbers and yes/no as types of their own; the schema must accept both readings."""
    schema = json.loads(schema_text())
    jsonschema_rs.meta.validate(schema)
    validator = jsonschema_rs.Draft202012Validator(schema)
    text = GOOD
    for comma in ("2,5 deg", "1,5 s", "4,5 cm2", "0,5 lux", "0,5 deg", "33,9 S"):
        text = text.replace(comma, comma.replace(",", "."))  # the decimal comma in { } is ours alone
    seen = json.loads(json.dumps(yaml.safe_load(text), default=str))  # the YAML of editors, 1.2, knows no dates
    assert [str(error) for error in validator.iter_errors(seen)] == []


def test_every_example_in_the_schema_has_the_form_that_it_shows() -> None:
    for name, part in json.loads(schema_text())["$defs"].items():
        for example in part.get("examples", []):
            if "pattern" in part and isinstance(example, str) and not example.startswith("["):
                assert pattern(name).search(example), name


# --- mistakes ------------------------------------------------------------------------------------------------------

# What is replaced in the good file, by what, and words of the answer. The mark shows where the answer must point;
# it is not part of the file. Each mistake gives this one problem and no other.
MISTAKES: list[tuple[str, str, str]] = [
    # keys
    ("layout: Pellbrook Quay\n", "", "does not say layout"),
    ("layout: Pellbrook", "§layuot: Pellbrook", "Did you mean layout?"),
    ("daylight: 8000,5 lux", "§sunshine: yes", "not known at the top of a layout file"),
    ("outputs:\n", "§output:\n", "Did you mean outputs?"),
    ("detectors:\n  up", "§Detectors:\n  up", "Did you mean detectors?"),
    ("ratio: 4}", "§speed: 4}", "What can stand here: ratio"),
    ("longest on: 5 min", "§longest-on: 5 min", "Did you mean longest on?"),
    ("pin: 20, positions", "§pim: 20, positions", "Did you mean pin?"),
    ("kind: lamp, board: crossing-board, port: 0", "§knid: lamp, board: crossing-board, port: 0", "Did you mean kind?"),
    ("  amber: {kind: lamp, ", "  §amber: {", "amber does not say its kind"),
    ("{recharge: 1 s}", "{§charge: 1 s}", "Did you mean recharge?"),
    (", first address: 40, ports: 8", ", first address: 40", "crossing-board does not say its ports"),
    ("fastest: 150 mm/s\n    ", "", "up-line does not say its fastest"),
    ("positions: {danger: 0 deg, clear: 45 deg}, ", "", "up-arm does not say its positions"),
    (", full travel: 1200 ms", "", "up-arm says neither its full travel nor its moves by itself"),
    (", pulse: 120 ms, feed: point-unit", "", "point-left says neither its pulse nor its feed"),
    ("exit barriers:", "§exits barrier:", "Did you mean exit barriers?"),
    ("settle occupied: 20 ms", "§settle ocupied: 20 ms", "Did you mean settle occupied?"),
    ("{kind: serial text,", "{kind: §cereal text,", "Did you mean serial text?"),
    ("{kind: treadle,", "{kind: §tredle,", "Did you mean treadle?"),
    ("kind: sound", "kind: §noise", "The kinds are lamp, servo, signal, relay, motor, sound, pulse"),
    # keys of another kind
    (
        "amber: {kind: lamp,",
        "amber: {kind: lamp, §positions: {a: 0 deg, b: 9 deg},",
        "belongs to a servo, not to a lamp",
    ),
    ("kind: relay,", "kind: relay, §dimmable: yes,", "dimmable belongs to a lamp, not to a relay"),
    ("kind: sound\n", "kind: sound\n    §soft start: 1 s\n", "belongs to a motor, not to a sound"),
    ("rest: raised, safe: lowered}", "rest: raised, §longest on: 4 s}", "not to a servo"),
    (
        "kind: pulse, board: quay-board, port: 5,",
        "kind: pulse, board: quay-board, port: 5, §levels: 8,",
        "levels belongs to a lamp or motor",
    ),
    # quantities
    ("full travel: 4 s", "full travel: §4", "Write full travel: 4 s"),
    ("full travel: 4 s", "full travel: §4 mm", "is not a time"),
    ("full travel: 4 s", "full travel: §-4 s", "less than nothing"),
    ("full travel: 4 s", "full travel: §0 s", "more than nothing"),
    ("full travel: 4 s", "full travel: §99 h", "longer than a day"),
    ("full travel: 4 s", "§full travel: ", "full travel has nothing after it"),
    ("full travel: 4 s", "full travel: §four seconds", "for example full travel: 4 s"),
    ("full travel: 4 s", "full travel: §“4 s”", "straight quotes"),
    ("full travel: 4 s", "full travel: 4 s, §moves by itself: 7 s", "has two times for its travel"),
    ("recharge: 1 s", "§recharge: [1 s]", "needs a time, not a list"),
    ("settle: 200 ms", "settle: §200", "Write settle: 200 ms"),
    ("clear: 45 deg", "clear: §45", "Write clear: 45 deg"),
    ("lowered: 0 deg}", "lowered: §-5 deg}", "less than nothing"),
    ("raised: 85 deg", "raised: §95 deg", "Its limits are 0 deg to 90 deg"),
    ("raised: 85.5 deg", "raised: §400 deg", "Write 0 deg to 360 deg"),
    ("limits: 0 deg to 90 deg", "limits: §90 deg to 0 deg", "the smaller angle first"),
    ("limits: 0 deg to 90 deg", "limits: §90 deg", "is not a range of angles"),
    ("limits: 0 deg to 90 deg", "limits: §0 deg to 400 deg", "a whole turn"),
    ("lane: 30 cm", "lane: §30", "Write lane: 30 mm"),
    ("lane: 30 cm", "lane: §0 mm", "nothing at all"),
    ("lane: 30 cm", "lane: §30.55 cm", "not a whole number of mm"),
    ("lane: 30 cm", "lane: §30 inches", "is not a length"),
    ("lane: 30 cm", "lane: §99999 m", "more than any layout needs"),
    ("fastest: 150 mm/s", "fastest: §150 mm", "is not a speed"),
    ("fastest: 150 mm/s", "fastest: §0 mm/s", "nothing at all"),
    ("8000,5 lux", "§bright", "for example daylight: 10000 lux"),
    ("starts at: 17:30", "starts at: §25:30", "no clock shows"),
    ("starts at: 17:30", "starts at: §half past five", "is not a time of day"),
    ("ratio: 4", "ratio: §0", "is not a whole number from 1"),
    ("ratio: 4", "ratio: §20000", "too fast to follow"),
    ("45 a minute", "§45", "Write flashes as a pair: 45 a minute"),
    ("45 a minute", "§0 a minute", "no flash"),
    ("levels: 100", "levels: §1", "levels"),
    ("levels: 100", "levels: §100 %", "is not a whole number"),
    ("dimmable: on, ", "", "has levels, but is not dimmable"),
    ("dimmable: on", "dimmable: §maybe", "is not yes or no"),
    ("flickers by itself: yes", "flickers by itself: yes, §flashes as a pair: 9 a minute", "flickers and flashes"),
    # numbers of ports, addresses, pins
    ("port: 4\n", "port: §0x10\n", "is not a whole number from 0"),
    ("port: 4\n", "port: §four\n", "is not a whole number from 0"),
    ("port: 4\n", "port: §8\n", "Its ports are 0 to 7"),
    ("port: 4\n", "port: §3\n", "bell and boom-lamps share port 3 of crossing-board"),
    ("    port: 4\n", "", "bell says its board, but not which port"),
    ("    board: crossing-board\n    port: 4", "    §port: 4", "bell says its port, but not which board"),
    ("link: main, pin: 20,", "§pin: 20,", "near-barrier says its pin, but not which link"),
    ("link: main, pin: 20,", "§link: main,", "not where on it"),
    ("link: main, pin: 20,", "link: main, pin: 20, §address: 3,", "has an address and a pin"),
    ("board: crossing-board, port: 0}", "board: crossing-board, port: 0, §link: main}", "a board and a link"),
    ("pin: 21", "pin: §20", "far-barrier and near-barrier share pin 20 of main"),
    ("pin: 61", "pin: §60", "evening-button and lane share pin 60 of main"),
    ("address: 100, aspects", "address: §44, aspects", "harbour-signal and bell share port 4 of crossing-board"),
    ("address: 048", "address: 47", "Let quay-board begin at 48"),
    # references
    ("board: crossing-board, port: 0", "board: §crossing-bord, port: 0", "Did you mean crossing-board?"),
    ("board: crossing-board, port: 0", "board: §main, port: 0", '"main" is a link, not a board'),
    ("link: main, pin: 12", "link: §mian, pin: 12", "Did you mean main?"),
    ("{link: main, first address: 40", "{link: §spare, first address: 40", "The links are main"),
    ("pulse: 120 ms, feed: point-unit", "pulse: 120 ms, feed: §point-units", "Did you mean point-unit?"),
    ("ready lamp: quay-lamp-1", "ready lamp: §quay-lamp-3", "Did you mean quay-lamp-"),
    ("ready lamp: quay-lamp-1", "ready lamp: §bell", "a ready lamp is a lamp"),
    ("- lane: 30 cm", "- §lanes: 30 cm", "Did you mean lane?"),
    ("- quay-end: 50 mm", "- §quay-ent: 50 mm", "Did you mean quay-end?"),
    ("{down-signal: at 4 m", "{§dawn-signal: at 4 m", "Did you mean down-signal?"),
    ("{down-signal: at 4 m", "{§bell: at 4 m", "what holds trains is a signal"),
    ("{up-arm: clear}", "{§up-arms: clear}", "Did you mean up-arm?"),
    ("reds: [red-left, red-right]", "reds: [red-left, §red-rigth]", "Did you mean red-right?"),
    ("reds: [red-left, red-right]", "reds: [red-left, §red-left]", "stands in reds twice"),
    ("reds: [red-left, red-right]", "reds: [red-left, §bell]", 'and "bell" is a sound'),
    (
        "entrance barriers: [near-barrier]",
        "entrance barriers: [§up-arm]",
        "no position named raised and none named lowered",
    ),
    ("on the road: [lane]", "on the road: [§amber]", '"amber" is an output, not a detector'),
    # states
    ("rest: raised", "rest: §rised", "Did you mean raised?"),
    ("safe: lowered", "safe: §shut", "Its positions are raised, lowered"),
    ("rest: danger, safe: danger", "rest: danger, safe: §clear", "does not stop trains"),
    ("rest: danger, safe: danger", "rest: §dangerous, safe: danger", "Did you mean danger?"),
    ("rest: 40 %", "rest: §400 %", "more than all"),
    ("rest: 40 %", "rest: §half", "Write on, off, a level such as 40 %"),
    ("rest: 40 %", "rest: §flashing at 80 a minute", "a state of rest does not flash"),
    ("port: 2, rest: on", "port: 2, rest: §40 %", "is only switched"),
    ("port: 2, rest: on", "port: 2, rest: §40 % backwards", "is only switched"),
    ("a minute, 1 of 2", "a minute, 3 of 2", "there is no lamp 3 of 2"),
    ("flashing at 80 a minute, 1 of 2", "flashing at 80", "does not say how it flashes"),
    ("port: 5, feed: point-unit", "port: 5, feed: point-unit, rest: §on", "cannot stay on"),
    ("{green-light: yes}", "{green-light: §up}", "is not a state of a lamp"),
    ("{green-light: yes}", "{green-light: §50 %}", "is only switched"),
    ("{green-light: yes}", "{§bell: yes}", "a sound cannot be part of a signal"),
    # positions and aspects
    ("positions: {danger: 0 deg, clear: 45 deg}", "§positions: {danger: 0 deg}", "fewer than 2 entries"),
    ("{raised: 85.5 deg, lowered: 2,5 deg}", "{raised: 5 deg, lowered: 5,0 deg}", "are at one angle"),
    ("stop: 0, warning: {number: 2}", "stop: 0, §warning: {number: 1}", "warning and clear have one number"),
    ("warning: {number: 2}", "§warning: {}", "warning has no entries"),
    ("warning: {number: 2}", "warning: §two", "is not the states of its parts, or a number"),
    ("warning: {number: 2}", "§warning: {amber: on}", "aspects with parts and aspects with numbers"),
    ("clear: {up-arm: clear}", "§clear: {stops: no}", "does not say where up-arm stands"),
    ("halt: {red-light: on, stops: yes}", "halt: {red-light: on}", "has no aspect that stops trains"),
    ("aspects: {danger: {up-arm", "§link: main, pin: 90, aspects: {danger: {up-arm", "no connection of its own"),
    ("{up-arm: danger}", "{up-arm: danger, red-light: on}", "red-light is part of down-signal and of up-signal"),
    (
        "red-light: {kind: lamp,",
        "red-light: {kind: lamp, rest: §off,",
        "another rest state than its signal down-signal",
    ),
    ("warning: {number: 2}", "§warning: {stops: no}", "warning says neither its parts nor its number"),
    # names
    ("  fountain:", "  §Fountain:", "Write fountain"),
    ("  fountain:", "  §village fountain:", "Write village-fountain"),
    ("  fountain:", "  §VillageFountain:", "Write village-fountain"),
    ("  fountain:", "  §2nd-fountain:", "Write no-2nd-fountain"),
    ("  fountain:", "  §" + "f" * 61 + ":", "longer than 60"),
    ("  fountain:", "  §everything:", "a word of the scene language"),
    ("  windmill:", "  §fountain:", '"fountain" is given twice'),
    ("  bell-push:", "  §amber:", '"amber" is an output and a button at once'),
    ("  bell-push:", "  §lane:", '"lane" is a detector and a button at once'),
    ("{raised: 85.5 deg,", "{§moving: 5.5 deg, raised: 85.5 deg,", "cannot be a position"),
    # tracks
    ("- blind: 900 mm", "- §lane: 900 mm", "lane lies on up-line twice"),
    ("- lane: 30 cm", "- §lane 30 cm", "needs a detector's name, or blind, with a length"),
    ("up-signal: before lane", "up-signal: §before lanes", "Did you mean before lane?"),
    ("up-signal: before lane", "up-signal: §before blind", "Write the distance instead"),
    ("up-signal: before lane", "up-signal: §behind lane", "for example up-signal: before lane"),
    ("at 4 m", "§at 50 m", "up-line is 4850 mm long"),
    ("at 4 m", "§at 4", "is not where the signal stands"),
    # sections of another shape
    ("clock: {starts at: 17:30, ratio: 4}", "clock: §noon", 'clock needs the layout clock, not "noon"'),
    ("links:\n  main: {kind: serial text, port: COM3}", "links:\n  main: §serial text", "main needs a link's settings"),
    ("reds: [red-left, red-right]", "§reds: {red-left: on}", "needs a list of names"),
    ("  bell-push:", "  bell-push§:x", "a space is missing after the colon"),
]


def marked(text: str, old: str, new: str) -> tuple[str, tuple[int, int] | None]:
    """The damaged text, and the line and column that the mark stood for."""
    assert old in text, old
    damaged = text.replace(old, new, 1)
    at = damaged.find("§")
    if at < 0:
        return damaged, None
    before = damaged[:at]
    return damaged.replace("§", ""), (before.count("\n") + 1, at - before.rfind("\n"))


@pytest.mark.parametrize(("old", "new", "words"), MISTAKES, ids=[f"{new} ({words})" for _, new, words in MISTAKES])
def test_a_mistake_is_answered_once_and_where_it_is(tmp_path: Path, old: str, new: str, words: str) -> None:
    text, place = marked(GOOD, old, new)
    _, problems, lines = read(tmp_path, text)
    said = [as_text(problem, lines) for problem in problems]
    assert len(problems) == 1, "\n".join(said)
    assert plain(words) in plain(said[0]), said[0]
    if place:
        assert (problems[0].place.line, problems[0].place.column) == place, said[0]


def test_many_mistakes_are_told_in_one_run_in_the_files_order(tmp_path: Path) -> None:
    text = GOOD
    for old, new in [("full travel: 4 s", "full travel: 4"), ("port: 4\n", "port: 9\n"), ("- quay-end", "- quay-ent")]:
        text = text.replace(old, new, 1)
    problems = problems_of(tmp_path, text)
    assert [problem.place.line for problem in problems] == [36, 39, 78]


def test_a_file_in_which_nothing_is_right_is_told_so_at_some_point(tmp_path: Path) -> None:
    wrong = "".join(f"  lamp-{i}: {{kind: lamp, prot: {i}}}\n" for i in range(MOST_FOUND + 5))
    problems = problems_of(tmp_path, HEAD + "outputs:\n" + wrong)
    assert len(problems) == MOST_FOUND + 1
    assert problems[-1].what == f"There are more mistakes than the {MOST_FOUND} told here."


def test_a_name_used_twice_tells_both_places(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, GOOD.replace("  bell-push:", "  lane:"))
    assert [(str(place), why) for place, why in problem.also] == [("layout.yaml:67:3", "first used here")]


def test_a_file_with_mistakes_still_gives_what_is_right(tmp_path: Path, good: Layout) -> None:
    layout, _, _ = read(tmp_path, GOOD.replace("full travel: 4 s", "full travel: 4"))
    assert list(layout.outputs) == list(good.outputs)
    assert layout.outputs["amber"] == good.outputs["amber"]


# --- text that is no layout at all ---------------------------------------------------------------------------------

HEAD = "layout: Pellbrook Quay\n"
FORMS: list[tuple[str, str]] = [
    ("§", "the file is empty"),
    ("§# only a remark\n", "the file is empty"),
    ("§just words\n", "name: value lines"),
    ("§- a list\n", "name: value lines"),
    (HEAD + "outputs:\n§\tamber: {kind: lamp}\n", "a tab stands here"),
    (HEAD + "outputs:\n  amber:\n  §\tkind: lamp\n", "a tab stands here"),
    (HEAD + "clock:\n   ratio: 2\n  §starts at: 17:30\n", "does not begin in the same column"),
    (HEAD + "outputs:\n  amber:\n    kind: lamp\n      §port: 0\n", "indented further than the line above"),
    (HEAD + "clock:\n  §ratio:4\n", "Write ratio: 4"),
    (HEAD + "clock: {§ratio:4}\n", "Write ratio: 4"),
    (HEAD + "clock§:noon\n", "Write clock: noon"),
    (HEAD + "clock:\n  ratio§:4\n  starts at: 17:30\n", "Write ratio: 4"),
    (HEAD + "§outputs\n", "this line has no colon"),
    (HEAD + "§outputs\n  amber: {kind: lamp}\n", "this line has no colon"),
    ("§layout\nclock: {ratio: 1}\n", "this line has no colon"),
    (HEAD + 'daylight: §"10 lux\nclock: {ratio: 1}\n', "a quote is opened here and never closed"),
    (HEAD + "daylight: §'10 lux\nclock: {ratio: 1}\n", "a quote is opened here and never closed"),
    (HEAD + "clock: §{ratio: 1\noutputs: {}\n", '"{" is opened here and never closed'),
    (HEAD + "clock: §{ratio: 1", "Close it with }"),
    (HEAD + "a: b§: c\n", "a second colon"),
    (HEAD + "clock: {ratio: 1}§}\n", '"}" closes nothing here'),
    (HEAD + "clock: §]\n", '"]" closes nothing here'),
    (HEAD + "clock: [a, §, b]\n", "nothing stands before this comma"),
    (HEAD + "clock: {ratio: 1} §too\n", "something follows a value"),
    (HEAD + "daylight: '10' §lux\n", "something follows a value"),
    (HEAD + "daylight: §@10\n", 'cannot begin with "@"'),
    (HEAD + "daylight: §%10\n", 'cannot begin with "%"'),
    (HEAD + "daylight: §`10`\n", 'cannot begin with "`"'),
    (HEAD + "clock: §- ratio\n", "a list with dashes cannot begin beside its name"),
    (HEAD + "§- clock\n", "a line with a dash stands among lines with names"),
    (HEAD + "clock:\n  - a\n  §b: c\n", "this line has no dash"),
    (HEAD + 'daylight: "10§\\q lux"\n', "Use single quotes"),
    (HEAD + "daylight: §|x\n  10 lux\n", 'cannot begin with "|"'),
    (HEAD + "§---\nlayout: Another\n", "a second document begins here"),
    (HEAD + "...\n§layout: Another\n", "the layout has ended before this line"),
    (HEAD + "daylight: §!!float 10\n", 'cannot begin with "!"'),
    (HEAD + "daylight: §!!python/object/apply:os.system [ls]\n", "a layout holds plain text only"),
    (HEAD + "daylight: §&bright 10 lux\n", 'cannot begin with "&"'),
    (HEAD + "daylight: §*bright\n", "stands for something written elsewhere"),
    (HEAD + "clock: {§<<: {ratio: 1}}\n", "stands for something written elsewhere"),
    (HEAD + "clock: {§[a]: 1}\n", "not something in brackets"),
    (HEAD + "clock:\n  §: 1\n", "a name is missing before the colon"),
    (HEAD + "§layout: Another\n", '"layout" is given twice'),
    (HEAD + "daylight: 10 §\x07lux\n", "cannot be seen"),
    (HEAD + "daylight: 10 §\u2028lux\n", "cannot be seen"),
    (HEAD + "clock: " + "[" * 9 + "§[" + "]" * 10 + "\n", "deeper than 10"),
]


@pytest.mark.parametrize(("text", "words"), FORMS, ids=[f"{text[-40:]} ({words})" for text, words in FORMS])
def test_what_cannot_be_read_is_answered_in_plain_words(tmp_path: Path, text: str, words: str) -> None:
    at = text.find("§")
    _, problems, lines = read(tmp_path, text.replace("§", ""))
    said = [as_text(problem, lines) for problem in problems]
    assert len(problems) == 1, "\n".join(said)
    assert plain(words) in plain(said[0]), said[0]
    expected = (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
    assert (problems[0].place.line, problems[0].place.column) == expected, said[0]
    for never in ("token", "pars", "scann", "mapping", "scalar", "block", "flow", "YAML", "Python"):
        assert never not in problems[0].what + problems[0].instead


def test_the_same_sentences_without_the_quick_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the library was built without its C part, its other reader speaks; no message of its own gets through."""
    monkeypatch.setattr(yaml_places, "LOADER", yaml.SafeLoader)
    assert read(tmp_path, GOOD)[1] == []
    for text, _ in FORMS:
        problems = problems_of(tmp_path, text.replace("§", ""))
        assert problems
        for problem in problems:
            assert not any(word in problem.what for word in ("token", "pars", "scann", "mapping", "scalar", "flow"))


@pytest.mark.parametrize(
    ("raw", "line", "column", "words"),
    [
        (HEAD.encode("utf-16"), 1, 1, "saved as UTF-16"),
        (HEAD.encode() + b"daylight: 10 \xfflux\n", 2, 14, "this character is not UTF-8"),
        (b"\x00" * 8, 1, 1, "cannot be seen"),
    ],
)
def test_bytes_that_are_no_text(tmp_path: Path, raw: bytes, line: int, column: int, words: str) -> None:
    problem = problems_of(tmp_path, raw)[0]
    assert (problem.place.line, problem.place.column) == (line, column)
    assert plain(words) in plain(problem.what)


def test_a_file_that_is_not_there_or_no_file(tmp_path: Path) -> None:
    _, (problem,), _ = read_layout(tmp_path / "none.yaml", "none.yaml")
    assert problem.what == "There is no such file."
    _, (problem,), _ = read_layout(tmp_path, "folder")
    assert problem.what == "This is not a file."


def test_yamls_surprises_do_not_bite(tmp_path: Path) -> None:
    text = """\
layout: 1921
clock: {starts at: 1:30}
outputs:
  n: {kind: lamp, link: y, pin: 010, safe: on}
  y1: {kind: servo, positions: {up: 0 deg, down: 9 deg}, full travel: 1e3 s}
links: {y: {kind: serial text, port: COM010, speed: 0115200, resets when opened: NO, words: {stop: ~, power off: 0}}}
"""
    layout, problems, _ = read(tmp_path, text)
    assert [(problem.place.line, problem.what) for problem in problems] == [
        (5, "`full travel`: `1e3 s` is not a time.")
    ]
    assert (layout.name, layout.clock.starts_s) == ("1921", 5400)
    assert layout.outputs["n"].wiring.pin == 10
    y = layout.links["y"]
    assert (y.port, y.baud, y.resets, dict(y.words)) == ("COM010", 115_200, False, {"stop": "~", "power off": "0"})


# --- outputs from a table ------------------------------------------------------------------------------------------

CSV_LAYOUT = """\
layout: Pellbrook Quay
links: {main: {kind: serial text}}
boards: {crossing-board: {link: main, first address: 40, ports: 8}}
feeds: {point-unit: {recharge: 1 s}}
outputs from: wiring.csv
"""
IN_YAML = (
    CSV_LAYOUT.replace("outputs from: wiring.csv\n", "")
    + """\
outputs:
  amber: {kind: lamp, board: crossing-board, port: 0}
  red-left: {kind: lamp, board: crossing-board, port: 1, safe: "flashing at 80 a minute, 1 of 2"}
  barrier: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0,5 deg}, full travel: "1,5 s"}
  quay-lamp: {kind: lamp, link: main, pin: 12, dimmable: yes, levels: 100, rest: 40 %}
  arm: {kind: servo, link: main, pin: 21, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s}
  home: {kind: signal, aspects: {danger: {arm: danger}, clear: {arm: clear}}, safe: danger}
  distant: {kind: signal, link: main, address: 90, aspects: {caution: {number: 0, stops: yes}, clear: 1}}
  point: {kind: pulse, link: main, pin: 22, feed: point-unit}
"""
)
COMMAS = (HERE / "good_wiring.csv").read_text(encoding="utf-8")


def semicolons() -> str:
    """The same table as a spreadsheet saves it where the comma is the decimal mark."""
    rows = []
    for line in COMMAS.splitlines():
        cells, quoted = [""], False
        for char in line:
            quoted ^= char == '"'
            if char == "," and not quoted:
                cells.append("")
            elif char != '"':
                cells[-1] += char
        rows.append(";".join(f'"{cell}"' if ";" in cell else cell for cell in cells))
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(
    "table",
    [
        COMMAS.encode(),
        semicolons().encode(),
        b"\xef\xbb\xbf" + semicolons().replace("\n", "\r\n").encode(),
        b"sep=;\r\n" + semicolons().replace("\n", "\r\n").encode(),
        b"\r\n,,,\r\n" + COMMAS.replace("\n", "\r\n").encode(),
        semicolons()
        .replace(";", "\t")
        .replace("deg\t", "deg;")
        .replace("danger\t clear arm", "danger; clear arm")
        .encode(),
    ],
    ids=["commas", "semicolons", "bom and crlf", "separator line", "empty rows on top", "tabs"],
)
def test_a_table_gives_what_the_layout_file_gives(tmp_path: Path, table: bytes) -> None:
    if b"\t" in table:
        table = table.replace(b"0\t caution stops\t clear", b"0; caution stops; clear")
    layout, problems, lines = read(tmp_path, CSV_LAYOUT, **{"wiring.csv": table})
    assert [as_text(problem, lines) for problem in problems] == []
    written, problems, _ = read(tmp_path, IN_YAML)
    assert problems == []
    assert without_places(layout) == without_places(written)
    assert list(layout.outputs) == list(written.outputs)


TABLE_MISTAKES: list[tuple[str, str, str]] = [
    ("amber,lamp", "amber,§lmap", "Did you mean lamp?"),
    ("amber,lamp", "§Amber,lamp", "Write amber"),
    ("amber,lamp", "amber,", "amber does not say its kind"),
    ("amber,lamp", "§,lamp", "this row has no name"),
    ("amber,lamp", "red-left,lamp", '"red-left" is given twice'),
    ("crossing-board,1,", "§crosing-board,1,", "Did you mean crossing-board?"),
    ("crossing-board,1,", "crossing-board,§0,", "share port 0"),
    ("crossing-board,1,", "crossing-board,§9,", "Its ports are 0 to 7"),
    ("crossing-board,1,", "§crossing-board,,", "but not which port"),
    ('"1,5 s"', '"§1,5"', "Write full travel: 1,5 s"),
    ("lowered 0,5 deg", "§lowered", '"lowered" has no angle'),
    ("lowered 0,5 deg", "§raised 0 deg", '"raised" is given twice'),
    ('"1,5 s"', "§1,5 s", 'Put it in quotes: "1,5 s"'),
    ("Positions,", "§Postions,", "Did you mean positions?"),
    ("Feed,", "§Rest,", 'the heading "rest" is given twice'),
    ("Name,Kind", "§Nmae,Kind", "Did you mean name?"),
    ("Name,Kind", "§Rest of it,Kind", "is not a heading"),
    ('"1,5 s"', '§"1,5 s', "not closed on its line"),
    ('"1,5 s"', '"1,5 s"§x', "something follows the closing quote"),
    (",point-unit,", ",point-unit,§spare", "a column without a heading"),
    ("amber,lamp,crossing-board,0,,,,", "amber,lamp,crossing-board,0,,,,§a 1 deg; b 2 deg", "belongs to a servo"),
    ("danger arm danger;", "§danger;", "danger has nothing after it"),
    ("clear 1,", "§clear one,", "is not a whole number from 0"),
    ("danger arm danger;", "§danger arms danger;", "Did you mean arm?"),
]


@pytest.mark.parametrize(("old", "new", "words"), TABLE_MISTAKES)
def test_a_mistake_in_a_table_points_at_its_cell(tmp_path: Path, old: str, new: str, words: str) -> None:
    table, place = marked(COMMAS, old, new)
    _, problems, lines = read(tmp_path, CSV_LAYOUT, **{"wiring.csv": table})
    said = [as_text(problem, lines) for problem in problems]
    assert plain(words) in plain("\n".join(said))
    if place:
        assert place in [(problem.place.line, problem.place.column) for problem in problems], "\n".join(said)
    assert {problem.place.file for problem in problems} == {"wiring.csv"}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("../wiring.csv", "does not lie in the folder"),
        ("/etc/hostname", "does not lie in the folder"),
        ("C:/wiring.csv", "does not lie in the folder"),
        ("..\\wiring.csv", "does not lie in the folder"),
        ("a/../../wiring.csv", "does not lie in the folder"),
        ("wirings.csv", "The tables here are wiring.csv"),
        ("wiring.ods", "Save it as CSV"),
        (".", "this is not a file"),
    ],
)
def test_a_table_is_looked_for_beside_the_layout_only(tmp_path: Path, name: str, words: str) -> None:
    text = CSV_LAYOUT.replace("wiring.csv", name)
    _, problems, lines = read(tmp_path, text, **{"wiring.csv": COMMAS})
    assert [problem.place.line for problem in problems] == [5]
    assert plain(words) in plain(as_text(problems[0], lines))


def test_a_link_in_the_file_system_does_not_lead_out_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "elsewhere.csv").write_text(COMMAS)
    folder = tmp_path / "layout"
    folder.mkdir()
    (folder / "wiring.csv").symlink_to(tmp_path / "elsewhere.csv")
    (problem,) = problems_of(folder, CSV_LAYOUT)
    assert "does not lie in the folder" in problem.what


def test_a_table_and_the_layout_file_together(tmp_path: Path) -> None:
    text = CSV_LAYOUT + "outputs:\n  amber: {kind: lamp}\n  bell: {kind: sound}\n"
    layout, (problem,), _ = read(tmp_path, text, **{"wiring.csv": COMMAS})
    assert str(problem.place) == "wiring.csv:2:1"
    assert [str(place) for place, _ in problem.also] == ["layout.yaml:7:3"]
    assert list(layout.outputs)[:3] == ["amber", "bell", "red-left"]


@pytest.mark.parametrize("table", ["", "\n\n", ",,,\n;;\n"])
def test_an_empty_table(tmp_path: Path, table: str) -> None:
    (problem,) = problems_of(tmp_path, CSV_LAYOUT, **{"wiring.csv": table})
    assert problem.what == "The table is empty."


# --- limits, each at the limit and one past it ---------------------------------------------------------------------


def test_the_limit_on_a_files_size(tmp_path: Path) -> None:
    at_limit = HEAD + "#" * (yaml_places.MAX_BYTES - len(HEAD))
    assert problems_of(tmp_path, at_limit) == []
    (problem,) = problems_of(tmp_path, at_limit + "#")
    assert "larger than 4 million" in problem.what


def test_the_limit_on_depth(tmp_path: Path) -> None:
    for depth, words in (
        (yaml_places.MAX_DEPTH - 1, "needs the layout clock"),
        (yaml_places.MAX_DEPTH, "deeper than 10"),
    ):
        (problem,) = problems_of(tmp_path, HEAD + "clock: " + "[" * depth + "]" * depth)
        assert words in problem.what


def test_no_depth_can_exhaust_the_reader(tmp_path: Path) -> None:
    for text in ("[" * 100_000, "{a: " * 100_000, "- " * 100_000, "".join(" " * i + "a:\n" for i in range(2000))):
        assert len(problems_of(tmp_path, text)) == 1


def test_the_limit_on_outputs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout_outputs, "MAX_OUTPUTS", 3)
    text = HEAD + "outputs:\n" + "".join(f"  lamp-{i}: {{kind: lamp}}\n" for i in range(3))
    assert problems_of(tmp_path, text) == []
    (problem,) = problems_of(tmp_path, text + "  lamp-3: {kind: lamp}\n")
    assert (problem.place.line, problem.what) == (6, "There are more than 3 outputs, the most that is read.")


def test_the_limit_on_values(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = HEAD + "clock: {ratio: 1}\n"
    monkeypatch.setattr(yaml_places, "MAX_VALUES", 7)  # two tables, three names and two values
    assert problems_of(tmp_path, text) == []
    monkeypatch.setattr(yaml_places, "MAX_VALUES", 6)
    (problem,) = problems_of(tmp_path, text)
    assert problem.what == "More than 6 names and values."


def test_the_limit_on_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout_csv, "MAX_ROWS", 3)
    table = "name,kind\n" + "".join(f"lamp-{i},lamp\n" for i in range(3))
    assert problems_of(tmp_path, CSV_LAYOUT, **{"wiring.csv": table}) == []
    (problem,) = problems_of(tmp_path, CSV_LAYOUT, **{"wiring.csv": table + "one-more,lamp\n"})
    assert (problem.place.line, problem.what) == (5, "The table has more than 3 rows, the most that is read.")


def test_the_limit_on_a_names_length(tmp_path: Path) -> None:
    assert problems_of(tmp_path, HEAD + f"outputs: {{{'a' * 60}: {{kind: lamp}}}}\n") == []
    (problem,) = problems_of(tmp_path, HEAD + f"outputs: {{{'a' * 61}: {{kind: lamp}}}}\n")
    assert "longer than 60" in problem.what


@pytest.mark.parametrize(
    ("at_limit", "past"),
    [("24 h", "24.001 h"), ("1 ms", "0 ms")],
)
def test_the_limits_on_times(tmp_path: Path, at_limit: str, past: str) -> None:
    text = HEAD + "feeds: {unit: {recharge: TIME}}\n"
    assert problems_of(tmp_path, text.replace("TIME", at_limit)) == []
    assert len(problems_of(tmp_path, text.replace("TIME", past))) == 1


@pytest.mark.parametrize(
    ("good", "bad", "what", "instead"),
    [
        ("kind: lamp", "kind: lmap", "`lmap` is not a kind of output.", "Did you mean `lamp`?"),
        ("link: main, pin: 12", "link: mian, pin: 12", "There is no link named `mian`.", "Did you mean `main`?"),
        ("full travel: 4 s", "full travel: 4", "`full travel`: `4` has no unit.", "Write `full travel: 4 s`."),
    ],
)
def test_sentences_are_like_those_of_the_scenes(tmp_path: Path, good: str, bad: str, what: str, instead: str) -> None:
    problem = problems_of(tmp_path, GOOD.replace(good, bad, 1))[0]
    assert (problem.what, problem.instead) == (what, instead)


def test_a_missing_name_is_told_once_with_all_its_lines(tmp_path: Path) -> None:
    (problem,) = problems_of(
        tmp_path,
        HEAD + "".join(["outputs:\n", *(f"  l{i}: {{kind: lamp, link: main, pin: {i}}}\n" for i in range(12))]),
    )
    assert problem.place.line == 3
    assert problem.what == "There is no link named `main`."
    assert problem.instead == "Add it under `links:`. It stands on lines 4, 5, 6, 7, 8, 9, 10, 11, and 3 more, too."


def test_a_name_written_wrongly_is_not_missed_as_well(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, GOOD.replace("  near-barrier:", "  Near_Barrier:"))
    assert problem.instead == "Write `near-barrier`."


@pytest.mark.parametrize(
    ("role", "output", "opens"),
    [
        (
            "entrance barriers",
            "kind: servo, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 4 s, safe: raised",
            True,
        ),
        (
            "entrance barriers",
            "kind: servo, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 4 s, safe: lowered",
            False,
        ),
        (
            "exit barriers",
            "kind: servo, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 4 s, safe: raised",
            False,
        ),
        ("reds", "kind: lamp, safe: off", True),
        ("reds", "kind: lamp, safe: on", False),
        ("reds", 'kind: lamp, safe: "flashing at 80 a minute, 1 of 2"', False),
        ("reds", "kind: lamp", False),
    ],
)
def test_a_crossings_safe_state_closes_the_road(tmp_path: Path, role: str, output: str, opens: bool) -> None:
    text = HEAD + f"outputs:\n  one: {{{output}}}\ncrossing:\n  lane: {{{role}: [one]}}\n"
    found = [problem.what for problem in problems_of(tmp_path, text)]
    assert found == ([f"`one` stands in {role}, and its safe state would open the road."] if opens else [])
