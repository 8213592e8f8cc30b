"""From outputs to words, and from reports to inputs: every kind of output on every kind of wire."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.codec import Frame
from adapters.dialects import LATE, DetectorIs, OutputIs, understand
from adapters.packets import numbers
from adapters.stand_in_machine import Machine, Settings
from adapters.wires import (
    InputWire,
    Served,
    Unserved,
    as_reported,
    inputs,
    meaning,
    pin_definitions,
    pulse_us,
    refused,
    reported,
    served,
    told,
    unheard,
)
from engine.codes import code, seen
from engine.events import Detected, Pressed
from engine.layout import (
    DAYLIGHT,
    Aspect,
    Board,
    Button,
    Detector,
    DetectorKind,
    Itself,
    Kind,
    Layout,
    Link,
    Output,
    Position,
    Setting,
    Wiring,
    colour_of,
)

MAIN = Link("main", dialect="late")
ADDRESS = Wiring(link="main", address=5)
PIN = Wiring(link="main", pin=20)
ENDS = (Position("raised", 85.0), Position("lowered", 0.0))
NUMBERED = (Aspect("danger", number=0, stops=True), Aspect("caution", number=4), Aspect("clear", number=1))


def output(kind: Kind = Kind.LAMP, wiring: Wiring = PIN, name: str = "x", **more: object) -> Output:
    return replace(Output(name, kind, Setting(0.0), wiring=wiring), **more)


def servo(wiring: Wiring = PIN, **more: object) -> Output:
    return output(Kind.SERVO, wiring, **{"positions": ENDS, **more})


def signal(wiring: Wiring = ADDRESS, aspects: tuple[Aspect, ...] = NUMBERED) -> Output:
    return output(Kind.SIGNAL, wiring, aspects=aspects)


def layout(*outputs: Output, link: Link = MAIN, boards: Iterable[Board] = ()) -> Layout:
    return Layout(
        outputs={one.name: one for one in outputs},
        links={link.name: link},
        boards={board.name: board for board in boards},
    )


def words(one: Output, value: float, link: Link = MAIN) -> str:
    """What one value of an output becomes."""
    (text,) = told(layout(one, link=link), one, code(one, value))
    return text


def why(one: Output, link: Link = MAIN) -> Unserved:
    found = served(layout(one, link=link), one)
    assert isinstance(found, Unserved)
    assert told(layout(one, link=link), one, 1) == ()
    return found


# --- accessories: on or off, and nothing between -------------------------------------------------------------------


@pytest.mark.parametrize("kind", [Kind.LAMP, Kind.RELAY, Kind.SOUND, Kind.PULSE])
def test_what_only_switches_may_be_on_an_address(kind: Kind) -> None:
    one = output(kind, ADDRESS)
    assert served(layout(one), one) == Served("main", "accessory", (("board", 2), ("port", 0)))
    assert [words(one, value) for value in (0.0, 1.0)] == ["a 2 0 0", "a 2 0 1"]


@pytest.mark.parametrize(("from_one", "text"), [(True, "a 2 0 1"), (False, "a 1 0 1")])
def test_the_style_of_numbering_is_the_links(from_one: bool, text: str) -> None:
    assert words(output(wiring=ADDRESS), 1.0, replace(MAIN, from_one=from_one)) == text


@given(st.integers(1, 2040), st.booleans())
def test_every_number_goes_to_its_board_and_port(number: int, from_one: bool) -> None:
    link = Link("main", from_one=from_one)
    board, port = numbers(number, from_one)
    assert words(output(wiring=Wiring(link="main", address=number)), 1.0, link) == f"a {board} {port} 1"


def test_a_port_of_a_board_is_the_address_that_it_counts_to() -> None:
    board = Board("quay-board", "main", 60, 16)
    one = output(wiring=Wiring(board="quay-board", port=2))
    assert told(layout(one, boards=[board]), one, 1) == ("a 16 1 1",)  # 62: RCN-213, from memory


def test_where_board_and_port_have_no_words_the_number_is_said_as_the_station_counts() -> None:
    for from_one in (True, False):
        link = Link("main", dialect="late", from_one=from_one, words=(("accessory", "none"),))
        assert words(output(wiring=ADDRESS), 1.0, link) == "a 5 1"


def test_a_fade_on_an_address_is_refused() -> None:
    found = why(output(wiring=ADDRESS, steps=255))
    assert found.what == "`x` is dimmable, and an accessory address only switches"
    assert found.instead == "Wire it to a pin of a link that has levels, or delete `dimmable` and `levels`"


def test_a_servo_that_scenes_move_is_refused_on_an_address() -> None:
    found = why(servo(ADDRESS, travel_us=3_000_000))
    assert found.what == "`x` is moved by scenes, and an accessory address only says to which end"
    assert "Write `moves by itself: 3 s` in place of `full travel`" in found.instead


def test_a_servo_that_its_board_moves_goes_to_the_end_that_is_nearer() -> None:
    one = servo(ADDRESS, itself=Itself.MOVES)
    assert [words(one, degrees) for degrees in (85.0, 0.0, 43.0, 42.0)] == ["a 2 0 0", "a 2 0 1", "a 2 0 0", "a 2 0 1"]
    other = servo(ADDRESS, itself=Itself.MOVES, positions=ENDS[::-1])  # nought is the end that stands first
    assert [words(other, degrees) for degrees in (85.0, 0.0)] == ["a 2 0 1", "a 2 0 0"]


def test_neither_end_need_be_at_nought_degrees() -> None:
    one = servo(ADDRESS, itself=Itself.MOVES, positions=(Position("shut", 30.0), Position("open", 80.0)))
    assert [words(one, degrees) for degrees in (30.0, 54.9, 55.1, 80.0)] == ["a 2 0 0", "a 2 0 0", "a 2 0 1", "a 2 0 1"]


def test_a_servo_with_a_third_position_is_refused_on_an_address() -> None:
    found = why(servo(ADDRESS, itself=Itself.MOVES, positions=(*ENDS, Position("half", 40.0))))
    assert found.what == "`x` has 3 positions, and an accessory address has two"


def test_a_motor_is_refused_on_an_address() -> None:
    assert "which has speeds" in why(output(Kind.MOTOR, ADDRESS, steps=255)).what


@pytest.mark.parametrize(
    ("number", "from_one", "what"),
    [
        (0, True, "`x`: there is no accessory 0: the first is 1"),
        (2041, True, "`x`: accessory 2041 is on board 511, to which every decoder on the track listens"),
        (2045, False, "`x`: accessory 2045 is on board 511, to which every decoder on the track listens"),
        (2049, False, "`x`: there is no accessory 2049: the last is 2044"),
    ],
)
def test_a_number_that_reaches_nobody_or_everybody_is_refused(number: int, from_one: bool, what: str) -> None:
    for one in (output(wiring=Wiring(link="main", address=number)), signal(Wiring(link="main", address=number))):
        assert why(one, replace(MAIN, from_one=from_one)).what == what


def test_a_pulse_that_its_board_ends_is_never_told_to_end() -> None:
    """Off may be the other coil of a pair; a coil without its own end is told both."""
    for wiring in (ADDRESS, PIN):
        ended, plain = output(Kind.PULSE, wiring, pulse_us=120_000), output(Kind.PULSE, wiring)
        assert len(told(layout(ended), ended, 1)) == len(told(layout(plain), plain, 0)) == 1
        assert told(layout(ended), ended, 0) == ()


# --- signals -------------------------------------------------------------------------------------------------------


def test_a_signal_with_numbers_is_told_its_aspects_number() -> None:
    assert [words(signal(), index) for index in (0, 1, 2)] == ["A 5 0", "A 5 4", "A 5 1"]


def test_an_aspects_number_is_one_byte() -> None:
    """NEM 672 (2015) 2: eight aspect bits."""
    assert words(signal(aspects=(Aspect("odd", number=255),)), 0) == "A 5 255"
    found = why(signal(aspects=(Aspect("odd", number=256),)))
    assert (found.what, found.instead) == (
        "`odd` of `x` has the number 256, and the track bus carries none above 255",
        "Write 0 to 255",
    )


def test_a_signal_with_numbers_has_no_place_on_a_pin_or_in_the_early_dialect() -> None:
    assert "a pin takes no numbers" in why(signal(PIN)).what
    found = why(signal(), Link("main"))
    assert found.what == "`x` needs aspects, and the words of link `main` (early) have none"
    assert found.instead.startswith("Write `dialect: late` if its far end is so new, or give the link words")


def test_a_signal_of_parts_is_told_to_nobody() -> None:
    parts = (Aspect("danger", (("red", 1.0),)), Aspect("clear", (("red", 0.0),)))
    for wiring in (Wiring(), ADDRESS):
        one = signal(wiring, parts)
        assert served(layout(one), one) == Served()
        assert told(layout(one), one, 1) == ()


# --- pins ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [Kind.LAMP, Kind.RELAY, Kind.SOUND, Kind.PULSE])
@pytest.mark.parametrize("dialect", ["early", "late"])
def test_what_only_switches_is_on_or_off_on_a_pin(kind: Kind, dialect: str) -> None:
    link = Link("main", dialect=dialect)
    assert [words(output(kind), value, link) for value in (0.0, 0.01, 1.0)] == ["Z 20 0", "Z 20 1", "Z 20 1"]


def test_a_port_of_a_box_of_pins_is_the_pin_that_it_counts_to() -> None:
    board = Board("servo-box", "main", 100, 16, pins=True)
    one = servo(Wiring(board="servo-box", port=3))
    assert served(layout(one, boards=[board]), one) == Served("main", "servo", (("pin", 103),))


def test_levels_go_as_far_as_the_words_go() -> None:
    lamp, motor = output(steps=100), output(Kind.MOTOR, steps=100)
    assert [told(layout(lamp), lamp, at)[0] for at in (0, 1, 50, 100)] == [
        "z 20 0",
        "z 20 41",
        "z 20 2048",
        "z 20 4095",
    ]
    assert [told(layout(motor), motor, at)[0] for at in (0, 100, -100)] == ["z 20 0", "z 20 4095", "z 20 0"]
    bytewise = replace(MAIN, words=(("level", "L {pin} {byte}"),))
    assert [told(layout(lamp, link=bytewise), lamp, at)[0] for at in (0, 1, 100)] == ["L 20 0", "L 20 3", "L 20 255"]


@given(st.integers(2, 4095), st.booleans())
def test_levels_rise_with_their_codes_and_no_two_are_one(steps: int, bytewise: bool) -> None:
    lamp = output(steps=steps)
    link = replace(MAIN, words=(("level", "L {pin} {byte}"),)) if bytewise else MAIN
    most = 255 if bytewise else 4095
    if steps > most:
        assert why(lamp, link).instead == "Write `levels: 255`"
        return
    every = layout(lamp, link=link)
    codes = sorted({0, 1, 2, steps // 2, steps - 1, steps})
    values = [int(told(every, lamp, at)[0].split()[-1]) for at in codes]
    assert values == sorted(set(values))
    assert (values[0], values[-1]) == (0, most)


def test_more_levels_than_the_words_take_are_refused() -> None:
    assert why(output(steps=4096)).what == "`x` has 4096 levels, and the words of its link take 4095"


def test_a_motor_runs_one_way_on_a_pin() -> None:
    motor = output(Kind.MOTOR, steps=255)
    found = refused(motor, -3)
    assert found is not None
    assert found.what == "`x` runs one way only: a pin has no backwards"
    assert refused(motor, 3) is refused(motor, 0) is refused(output(), 1) is None


@pytest.mark.parametrize("one", [output(steps=255), output(Kind.MOTOR, steps=255), servo()])
def test_what_a_dialect_has_no_words_for_is_refused(one: Output) -> None:
    found = why(one, Link("main"))
    assert found.what.endswith("and the words of link `main` (early) have none")
    assert "Write `dialect: late` if its far end is so new, or give the link words for" in found.instead
    without = why(one, replace(MAIN, words=(("level", "none"), ("servo", "none"))))
    assert without.instead.startswith("Give the link words for")


def test_words_of_its_own_serve_what_the_dialect_does_not() -> None:
    own = Link("main", words=(("level", "L {pin} {byte}"), ("servo", "V {pin} {degrees}")))
    assert words(output(steps=255), 1.0, own) == "L 20 255"
    assert words(servo(), 85.0, own) == "V 20 85"


def test_words_that_cannot_be_used_are_told_where_they_are_needed() -> None:
    found = why(output(), replace(MAIN, words=(("pin", "Z {pin}"),)))
    assert found.what == "the words for `pin` do not say `{act}`"
    assert why(output(), replace(MAIN, dialect="lite")).what == "there is no dialect `lite`"


def test_a_pin_that_no_station_can_number_is_refused() -> None:
    assert words(output(wiring=Wiring(link="main", pin=32_767)), 1.0) == "Z 32767 1"
    assert "is on pin 32768" in why(output(wiring=Wiring(link="main", pin=32_768))).what


# --- servos --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("degrees", "us"), [(0.0, 544), (90.0, 1472), (180.0, 2400), (-5.0, 544), (200.0, 2400)])
def test_an_angle_is_a_pulse(degrees: float, us: float) -> None:
    """A common library's 544 to 2400 us over 0 to 180 degrees: 10.31 us a degree."""
    assert pulse_us(degrees) == us
    assert round(pulse_us(1.0) - pulse_us(0.0), 2) == 10.31


def test_a_servo_is_told_its_pulse_in_the_unit_of_its_words() -> None:
    """1500 us at 50 Hz are 307 counts of a 12-bit driver (its data sheet, 7.3.5)."""
    middle = (1500 - 544) / 1856 * 180
    for template, text in (
        ("z {pin} {us}", "z 20 1500"),
        ("z {pin} {value}", "z 20 307"),
        ("z {pin} {degrees}", "z 20 93"),
    ):
        assert words(servo(), middle, replace(MAIN, words=(("servo", template),))) == text
    assert words(servo(), 85.0) == "z 20 1420"


def test_the_steps_of_a_moving_arm_are_told_one_by_one() -> None:
    """Codes are a hundredth of a degree: none of the pulses between 0 and 2 degrees is passed over."""
    one = servo(dead_band_deg=0.05)
    told_us = {words(one, step / 100) for step in range(201)}
    assert told_us == {f"z 20 {us}" for us in range(544, 566)}
    assert seen(one)(0.5) == 50


def test_an_angle_beyond_half_a_turn_is_refused() -> None:
    found = why(servo(positions=(Position("shut", 10.0), Position("open", 190.0))))
    assert found.what == "`open` of `x` is at 190 deg, and a servo's pulses reach from 0 to 180 deg"
    assert isinstance(served(layout(one := servo(positions=(Position("a", 0.0), Position("b", 180.0)))), one), Served)


# --- what nobody is told -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "one",
    [
        output(wiring=Wiring()),
        output(wiring=Wiring(board="not-there", port=1)),
        output(wiring=Wiring(link="not-there", pin=1)),
        output(wiring=Wiring(link="main")),
        output(Kind.DAYLIGHT, Wiring(), DAYLIGHT),
        servo(Wiring()),
    ],
)
def test_what_is_wired_to_nothing_is_told_to_nobody(one: Output) -> None:
    assert served(layout(one), one) == Served()
    assert told(layout(one), one, 1) == ()


def test_no_words_have_colours() -> None:
    found = why(output(Kind.COLOUR, PIN, colour_of("sky"), mired=(333.0, 154.0)))
    assert found.what == "`sky colour` can be told to nobody: the words of a link have no colours"


def test_every_kind_is_served_or_refused_on_every_wire() -> None:
    for kind in Kind:
        for wiring in (ADDRESS, PIN, Wiring()):
            for steps in (1, 255):
                one = output(kind, wiring, steps=steps, positions=ENDS, aspects=NUMBERED)
                for dialect in ("early", "late"):
                    plan = layout(one, link=Link("main", dialect=dialect))
                    assert isinstance(served(plan, one), Served | Unserved)
                    told(plan, one, 1)


# --- defining pins -------------------------------------------------------------------------------------------------


def test_only_pins_that_are_switched_are_defined() -> None:
    every = layout(
        output(name="lamp", wiring=Wiring(link="main", pin=7)),
        output(name="dimmed", wiring=Wiring(link="main", pin=8), steps=255),
        servo(Wiring(link="main", pin=9), name="arm"),
        output(Kind.RELAY, ADDRESS, "fan"),
        output(wiring=Wiring(), name="nowhere"),
    )
    assert pin_definitions(every, MAIN) == [("lamp", "Z 7 7 0")]
    assert pin_definitions(every, replace(MAIN, words=(("define pin", "none"),))) == []
    assert pin_definitions(every, replace(MAIN, name="other")) == []


# --- as the stand-in hears it, which shares nothing with us --------------------------------------------------------


@given(st.integers(1, 2040), st.booleans(), st.booleans(), st.booleans())
def test_the_stand_in_finds_the_number_of_the_book(number: int, from_one: bool, by_output: bool, linear: bool) -> None:
    """By board and port, and by the number alone; `boards from` is the same on both sides."""
    own = (("accessory", "none"),) if linear else ()
    link = Link("main", dialect="late", words=own, from_one=from_one, by_output=by_output)
    station = Machine(Settings(from_one=from_one, by_output=by_output))
    station.set_power("on", 0)
    lamp = output(wiring=Wiring(link="main", address=number))
    station.do(words(lamp, 1.0, link), 1_000_000)
    assert station.accessories == ({number: 1} if by_output else {number: 0})
    station.do(words(lamp, 0.0, link), 1_000_000)
    assert station.accessories == ({number: 0} if by_output else {})


def test_the_stand_in_switches_dims_and_moves_what_is_on_its_pins() -> None:
    lamp, dimmed, arm = output(name="lamp"), output(name="dimmed", steps=100), servo(name="arm")
    station = Machine(Settings(servos=frozenset([22])))
    every = layout(
        lamp, replace(dimmed, wiring=Wiring(link="main", pin=21)), replace(arm, wiring=Wiring(link="main", pin=22))
    )
    for _, text in pin_definitions(every, MAIN):
        assert station.do(text, 0).answers == ("O",)
    # a pin whose first level could be a pulse is a servo to it, so the lamp is put out first, as at its rest
    for name, value in (("lamp", 1), ("dimmed", 0), ("dimmed", 50), ("arm", code(arm, 85.0))):
        (text,) = told(every, every.outputs[name], value)
        assert "X" not in station.do(text, 0).answers
    assert (station.pins[20], station.pins[21]) == (1, 2048)
    assert station.servos[22].target_deg == pytest.approx(85.0, abs=0.05)  # half a microsecond of pulse


def test_the_stand_ins_detectors_are_heard() -> None:
    station = Machine(Settings())
    defined = [wire for wire in inputs(INPUTS, MAIN) if wire.definition]
    for wire in defined:
        assert station.do(wire.definition, 0).answers == ("O",)
    station.set_input(30, True, by_current=False)
    station.set_input(41, True, by_current=False)
    heard = [understand(LATE, Frame(text)) for text in (*station.changes(), *station.do("Q", 0).answers)]
    found = [event for one in heard if isinstance(one, DetectorIs) for event in meaning(INPUTS, MAIN, one)]
    changed = [Detected("lane", "occupied"), Pressed("start", True)]
    assert found == [*changed, changed[0], Detected("gate", "occupied"), changed[1]]


# --- inputs --------------------------------------------------------------------------------------------------------

INPUTS = Layout(
    links={"main": MAIN, "other": Link("other")},
    boards={"box": Board("box", "main", 60, 8, pins=True), "decoder": Board("decoder", "main", 80, 8)},
    detectors={
        "lane": Detector("lane", DetectorKind.SECTION, wiring=Wiring(link="main", pin=30)),
        "gate": Detector("gate", DetectorKind.BEAM, wiring=Wiring(board="box", port=1), closed_circuit=True),
        "reed": Detector("reed", DetectorKind.TREADLE, wiring=Wiring(link="main", address=7)),
        "shed": Detector("shed", DetectorKind.SECTION, wiring=Wiring(board="decoder", port=2)),
        "far": Detector("far", DetectorKind.SECTION, wiring=Wiring(link="other", pin=30)),
        "unwired": Detector("unwired", DetectorKind.SECTION),
    },
    buttons={"start": Button("start", wiring=Wiring(link="main", pin=41)), "loose": Button("loose")},
)


def test_inputs_with_pins_are_defined_and_those_with_addresses_are_others() -> None:
    assert inputs(INPUTS, MAIN) == [
        InputWire(30, "detector", "lane", "S 30 30 1"),
        InputWire(61, "detector", "gate", "S 61 61 1"),
        InputWire(7, "detector", "reed", ""),
        InputWire(82, "detector", "shed", ""),
        InputWire(41, "button", "start", "S 41 41 1"),
    ]
    assert [wire.name for wire in inputs(INPUTS, INPUTS.links["other"])] == ["far"]
    no_words = replace(MAIN, words=(("define detector", "none"),))
    assert {wire.definition for wire in inputs(INPUTS, no_words)} == {""}


@pytest.mark.parametrize(
    ("number", "active", "meant"),
    [
        (30, True, [Detected("lane", "occupied")]),
        (30, False, [Detected("lane", "clear")]),
        (61, True, [Detected("gate", "clear")]),  # closed circuit: current flows while it is clear
        (61, False, [Detected("gate", "occupied")]),  # and a broken wire is a train
        (7, True, [Detected("reed", "occupied")]),
        (82, False, [Detected("shed", "clear")]),
        (41, True, [Pressed("start", True)]),
        (41, False, [Pressed("start", False)]),
        (99, True, []),
    ],
)
def test_what_a_report_means(number: int, active: bool, meant: list[object]) -> None:
    found = meaning(INPUTS, MAIN, DetectorIs(number, active))
    assert found == meant
    assert [type(one) for one in found] == [type(one) for one in meant]


def test_one_number_on_two_links_is_two_inputs() -> None:
    assert meaning(INPUTS, INPUTS.links["other"], DetectorIs(30, True)) == [Detected("far", "occupied")]


def test_a_short_contact_of_a_treadle_is_both_its_changes() -> None:
    reports = [DetectorIs(7, True), DetectorIs(7, False)]
    found = [event for report in reports for event in meaning(INPUTS, MAIN, report)]
    assert found == [Detected("reed", "occupied"), Detected("reed", "clear")]


def test_two_inputs_with_one_number_cannot_be_told_apart() -> None:
    both = replace(INPUTS, buttons={"stop": Button("stop", wiring=Wiring(link="main", address=30))})
    ((wire, found),) = unheard(both, MAIN)
    assert wire.name == "stop"
    assert found.what == "`stop` and `lane` both report as number 30 of link `main`"
    assert unheard(INPUTS, MAIN) == []


def test_an_input_that_no_station_can_number_is_told() -> None:
    last, high = (
        replace(INPUTS, buttons={"stop": Button("stop", wiring=Wiring(link="main", pin=pin))})
        for pin in (32_767, 32_768)
    )
    assert unheard(last, MAIN) == []
    ((wire, found),) = unheard(high, MAIN)
    assert (wire.name, found.instead) == ("stop", "Write a number from 0 to 32767")


# --- what somebody else does ---------------------------------------------------------------------------------------


def test_what_another_hand_throws_is_known_by_its_number() -> None:
    lamp, relay = output(name="lamp"), output(Kind.RELAY, ADDRESS, "fan")
    arm = servo(Wiring(link="main", address=6), name="arm", itself=Itself.MOVES)
    dimmed = output(name="dimmed", wiring=Wiring(link="main", pin=5), steps=255)
    every = layout(lamp, relay, arm, dimmed)
    assert as_reported(reported(every, MAIN), OutputIs("pin", 20, 1)) == [(lamp, 1)]
    assert as_reported(reported(every, MAIN), OutputIs("accessory", 5, 0)) == [(relay, 0)]
    assert as_reported(reported(every, MAIN), OutputIs("accessory", 20, 1)) == []
    assert as_reported(reported(every, MAIN), OutputIs("pin", 5, 1)) == []  # its level is not said
    assert as_reported(reported(every, replace(MAIN, name="other")), OutputIs("pin", 20, 1)) == []
    for value, degrees in ((0, 85.0), (1, 0.0)):
        assert as_reported(reported(every, MAIN), OutputIs("accessory", 6, value)) == [(arm, code(arm, degrees))]
        assert words(arm, degrees) == f"a 2 1 {value}"
