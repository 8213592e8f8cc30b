"""The event list: what each record of a trace reads like, and that the columns hold on paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

import pytest

from engine.conditions import All, Condition
from engine.courses import Course, Leg, Script
from engine.layout import (
    Aspect,
    Blink,
    Button,
    Clock,
    Detector,
    DetectorKind,
    Kind,
    Layout,
    Output,
    Place,
    Position,
    Setting,
    Stretch,
    Track,
)
from engine.program import AsLongAs, Count, Hold, Level, Program, Scene, SetFlag, Tell, Wait, WaitUntil
from engine.trace import (
    Began,
    Broke,
    ButtonIs,
    CounterIs,
    Did,
    Ended,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    TrainAt,
    TrainOn,
    TrainTaken,
    Trouble,
)
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside.rehearsal import event_list, trace_words

S = 1_000_000
FILE = "pellbrook-quay/lane.scene"
EIGHTY = 60 * S
LONG_NOTE = "a long note that goes on and on, past the end of any column that it could have"


def at_line(line: int, file: str = FILE) -> Place:
    return Place(file, line, 5, line, 20)


def barrier(name: str) -> Output:
    positions = (Position("raised", 85.0), Position("lowered", 0.0))
    return Output(name, Kind.SERVO, Setting(85.0), positions=positions, safe=Setting(0.0))


OUTPUTS = [
    *(Output(name, Kind.LAMP, Setting(0.0)) for name in ("amber", "red-left", "red-right")),
    *(Output(f"quay-lamp-{number}", Kind.LAMP, Setting(0.0), steps=255) for number in range(1, 9)),
    barrier("near-barrier"),
    barrier("far-barrier"),
    Output("up-signal", Kind.SIGNAL, Setting(0.0), aspects=(Aspect("danger", stops=True), Aspect("clear"))),
    Output("fan", Kind.MOTOR, Setting(0.0), steps=100),
]
LINE_CLEAR = Condition(All(()), "line-clear for 4 s")
BLOCK = (
    Wait(at_line(10), 3 * S, 3 * S),
    Wait(at_line(11), 20 * S, 240 * S),
    WaitUntil(at_line(12), LINE_CLEAR, at_most_us=180 * S),
    AsLongAs(at_line(13), LINE_CLEAR, (Tell(at_line(14), (("amber", Level(1.0)),)),)),
    SetFlag(at_line(15), "shop-open", True),
    Count(at_line(16), "trains", 1),
    Hold(at_line(17), ("near-barrier", "far-barrier")),
    Hold(at_line(18), ()),
)
PROGRAM = Program(
    Layout(
        "Pellbrook Quay",
        {output.name: output for output in OUTPUTS},
        {"lane": Detector("lane", DetectorKind.SECTION)},
        {"evening-button": Button("evening-button")},
        {"up-line": Track("up-line", (Stretch("lane", 1500),), 150, 300)},
        clock=Clock(17 * 3600, 60),
    ),
    {"lane": Scene("lane", at_line(1), BLOCK)},
)


def told(seconds: float, output: str, wave: Wave, line: int = 30, why: str = "line") -> Told:
    asked = why in ("line", "dropped", "given back", "hold")
    place = at_line(line) if asked else Place("", 0, 0, 0, 0)
    return Told(int(seconds * S), output, wave, "lane" if asked else "", place, why)


def flash(seconds: float, slot: int) -> Flashing:
    return Flashing(int(seconds * S), Blink(EIGHTY, 80, slot, 2))


def events(trace: Sequence[Record], wall_start_s: int | None = None) -> list[str]:
    """The list without its header."""
    return list(event_list.lines(trace, PROGRAM, wall_start_s))[2:]


def cells(trace: Sequence[Record]) -> list[list[str]]:
    """The list as cells (time, until, what, does, asked by), read back by its columns, wrapped ones put together."""
    _, rule, *lines = event_list.lines(trace, PROGRAM)
    starts = [at for at in range(len(rule)) if rule[at] == "-" and (at == 0 or rule[at - 1] == " ")]
    rows: list[list[str]] = []
    for line in lines:
        parts = [line[start:end].strip() for start, end in zip(starts, [*starts[1:], None], strict=True)]
        if parts[0]:
            rows.append(parts)
        else:
            rows[-1] = [" ".join(filter(None, pair)) for pair in zip(rows[-1], parts, strict=True)]
    return rows


def only(trace: Sequence[Record]) -> list[str]:
    """The cells of a list of one event."""
    (row,) = cells(trace)
    return row


@pytest.mark.parametrize(
    ("wave", "output", "why", "says"),
    [
        (Steady(1.0), "amber", "line", "turned on"),
        (Steady(0.0), "amber", "line", "turned off"),
        (Steady(0.4), "quay-lamp-1", "line", "set to 40 %"),
        (Steady(0.125), "quay-lamp-1", "line", "set to 12.5 %"),
        (Steady(1.0), "up-signal", "line", "set to clear"),
        (Steady(-0.3), "fan", "line", "set to 30 % backwards"),
        (Steady(0.0), "near-barrier", "line", "set to lowered"),
        (Steady(0.0), "near-barrier", "safe", "to its safe state: lowered"),
        (Steady(85.0), "near-barrier", "rest", "to rest: raised"),
        (Steady(42.5), "near-barrier", "hold", "held at 50 % towards lowered"),
        (Steady(0.0), "amber", "longest time on", "turned off after the longest time on"),
        (Steady(0.0), "amber", "dropped", "goes back to off"),
        (Steady(1.0), "amber", "given back", "back again: on"),
        (Steady(1.0), "amber", "the operator", "turned on (the operator)"),
        (Ramp(0, 7 * S, 85.0, 0.0), "near-barrier", "line", "moves raised -> lowered, 7 s"),
        (Ramp(0, 3_500_000, 42.5, 0.0), "near-barrier", "line", "moves 50 % towards lowered -> lowered, 3.5 s"),
        (Ramp(0, 250_000, 0.0, 0.85), "quay-lamp-1", "line", "fades off -> 85 %, 250 ms"),
        (Ramp(0, 2 * S, 0.0, 0.5), "fan", "line", "changes standing -> 50 % forwards, 2 s"),
        (Ramp(0, 4 * S, 42.5, 0.0), "near-barrier", "safe",
         "to its safe state: moves 50 % towards lowered -> lowered, 4 s"),
        (flash(0, 0), "red-left", "line", "flashes, 80 a minute"),
        (flash(0, 0)._replace(high=0.5), "red-left", "line", "flashes, 80 a minute at 50 %"),
        (flash(0, 0), "red-left", "given back", "back again: flashes, 80 a minute"),
    ],
)  # fmt: skip
def test_what_an_output_was_told_in_plain_words(wave: Wave, output: str, why: str, says: str) -> None:
    assert only([told(0, output, wave, why=why)])[2:4] == [output, says]


def test_a_row_says_when_until_when_what_and_who_asked() -> None:
    trace = [told(8, "near-barrier", Ramp(8 * S, 15 * S, 85.0, 0.0), line=39)]
    assert only(trace) == ["0:08.0", "0:15.0", "near-barrier", "moves raised -> lowered, 7 s", "lane.scene:39"]


def test_a_scene_in_the_file_of_its_own_name_is_not_named_twice() -> None:
    inn = Told(0, "amber", Steady(1.0), "inn", at_line(40), "line")
    assert [row[4] for row in cells([told(0, "red-left", Steady(1.0)), inn])] == ["lane.scene:30", "inn, lane.scene:40"]


def test_outputs_told_alike_by_one_line_share_a_row() -> None:
    trace = [told(3, "red-left", flash(3, 0)), told(3, "red-right", flash(3, 1))]
    assert only(trace)[2:4] == ["red-left, red-right", "flash in turn, 80 a minute each"]


def test_in_turn_is_told_from_together() -> None:
    trace = [told(3, "red-left", flash(3, 0)), told(3, "red-right", flash(3, 0))]
    assert only(trace)[3] == "flash together, 80 a minute"


def test_outputs_share_a_row_although_another_record_stands_between_them() -> None:
    trace = [told(0, "near-barrier", Steady(0.0)), Saw(0, "lane", "clear"), told(0, "far-barrier", Steady(0.0))]
    assert [row[2] for row in cells(trace)] == ["near-barrier, far-barrier", "detector lane"]


@pytest.mark.parametrize(
    "other",
    [
        told(0, "far-barrier", Steady(0.0), line=31),
        told(0, "far-barrier", Steady(85.0)),
        told(1, "far-barrier", Steady(0.0)),
    ],
    ids=["another line", "another value", "another instant"],
)
def test_outputs_told_otherwise_have_their_own_rows(other: Told) -> None:
    assert len(events([told(0, "near-barrier", Steady(0.0)), other])) == 2


def test_a_flash_ends_when_the_lamp_is_told_something_else() -> None:
    trace = [told(3, "red-left", flash(3, 0)), told(78, "red-left", Steady(0.0))]
    assert events(trace)[0].startswith("0:03.0  1:18.0  red-left")


def test_lamps_of_one_row_that_end_at_different_times_say_so() -> None:
    trace = [
        told(3, "red-left", flash(3, 0)), told(3, "red-right", flash(3, 1)),
        told(50, "red-left", Steady(0.0)), told(78, "red-right", Steady(0.0)),
    ]  # fmt: skip
    assert events(trace)[0].startswith("0:03.0  varies  red-left, red-right")


@pytest.mark.parametrize(
    ("why", "word", "then"),
    [
        ("dropped", "dropped", "freezes at 50 % towards lowered"),
        ("hold", "held", "held at 50 % towards lowered"),
        ("line", "cut short", "set to 50 % towards lowered"),
    ],
)
def test_a_move_that_did_not_arrive_says_how_and_when_it_ended(why: str, word: str, then: str) -> None:
    move = told(35, "near-barrier", Ramp(35 * S, 41 * S, 0.0, 85.0))
    first, second = cells([move, told(38, "near-barrier", Steady(42.5), why=why)])
    assert first[:2] == ["0:35.0", "0:38.0"]
    assert first[3] == f"moves lowered -> raised, 6 s, {word}"
    assert second[:4] == ["0:38.0", "", "near-barrier", then]


def test_a_move_that_arrived_first_is_not_cut_short() -> None:
    move = told(35, "near-barrier", Ramp(35 * S, 41 * S, 0.0, 85.0))
    line = events([move, told(41, "near-barrier", Steady(85.0))])[0]
    assert line.startswith("0:35.0  0:41.0")
    assert "cut short" not in line


@pytest.mark.parametrize(
    ("line", "how", "ends_s", "says"),
    [
        (10, "ran out", 3, "waits 3 s"),
        (10, "dropped", 2, "waits 3 s: dropped"),
        (11, "ran out", 47, "waits 47 s (between 20 s and 4 min)"),
        (12, "ran out", 30, "waits until line-clear for 4 s, at most 3 min"),
        (12, "ran out of time", 180, "waits until line-clear for 4 s, at most 3 min: time ran out"),
        (13, "dropped", 4, "goes on as long as line-clear for 4 s: dropped"),
    ],
)
def test_waits_and_guards(line: int, how: str, ends_s: int, says: str) -> None:
    row = only([Began(0, 7, "lane", at_line(line)), Ended(ends_s * S, 7, how)])
    assert row == ["0:00.0", trace_words.clock(ends_s * S), "scene lane", says, f"lane.scene:{line}"]


@pytest.mark.parametrize(
    ("record", "what", "says"),
    [
        (SceneIs(0, "lane", "running", "train-about", at_line(2)), "scene lane", "begins: train-about"),
        (SceneIs(0, "lane", "ended", "", at_line(2)), "scene lane", "has ended"),
        (SceneIs(0, "lane", "stopping", "by hand", at_line(2)), "scene lane", "is being stopped: by hand"),
        (SceneIs(0, "lane", "stopped", "", at_line(2)), "scene lane", "is stopped"),
        (Saw(0, "lane", "occupied"), "detector lane", "occupied"),
        (ButtonIs(0, "evening-button", True), "button evening-button", "pressed"),
        (ButtonIs(0, "evening-button", False), "button evening-button", "let go"),
        (FlagIs(0, "shop-open", True), "flag shop-open", "remembered"),
        (FlagIs(0, "shop-open", False), "flag shop-open", "forgotten"),
        (CounterIs(0, "trains", 3), "counter trains", "is 3"),
        (LinkIs(0, "main", "gone"), "link main", "gone"),
        (TrainAt(0, 0, "up-line", 0, -800_000, 150_000), "train 1", "enters up-line, 150 mm/s"),
        (TrainAt(0, 0, "up-line", 1_200_000, 400_000, 0), "train 1", "stands on up-line, 1200 mm along"),
        (TrainOn(0, 0, "lane", True), "train 1", "comes on to lane"),
        (TrainOn(0, 1, "lane", False), "train 2", "leaves lane"),
        (Noted(0, "lane", "the shop opens", at_line(3)), "note", "the shop opens"),
        (Trouble(0, "it never settled", (at_line(3),)), "trouble", "it never settled"),
    ],
)
def test_everything_else_in_plain_words(record: Record, what: str, says: str) -> None:
    assert only([record])[2:4] == [what, says]


def test_a_train_goes_on_and_back() -> None:
    trace = [
        TrainAt(0, 1, "up-line", 0, -800_000, 150_000),
        TrainAt(10 * S, 1, "up-line", 1_500_000, 700_000, 0),
        TrainAt(20 * S, 1, "up-line", 1_500_000, 700_000, 100_000),
        TrainAt(30 * S, 1, "up-line", 2_500_000, 1_700_000, -147_500),
    ]
    lines = events(trace)
    assert "goes on from 1500 mm, 100 mm/s" in lines[2]
    assert "turns back at 2500 mm, 147.5 mm/s" in lines[3]


def test_a_train_that_came_backwards_turns_back_too() -> None:
    trace = [
        TrainAt(0, 1, "up-line", 4_800_000, 5_600_000, -150_000),
        TrainAt(8 * S, 1, "up-line", 3_600_000, 4_400_000, 0),
        TrainAt(9 * S, 1, "up-line", 3_600_000, 4_400_000, -150_000),
        TrainAt(10 * S, 1, "up-line", 3_450_000, 4_250_000, 150_000),
    ]
    lines = events(trace)
    assert "goes on from 3600 mm, 150 mm/s" in lines[2]
    assert "turns back at 3450 mm, 150 mm/s" in lines[3]


def test_every_kind_of_record_is_read() -> None:
    """A kind added to the trace must be given its words (or be one of those that only pair others up)."""
    place = at_line(1)
    made: dict[type, Record] = {
        Told: told(0, "amber", Steady(1.0)), Began: Began(0, 1, "lane", at_line(10)), Ended: Ended(0, 1, "ran out"),
        Did: Did(0, "lane", place), SceneIs: SceneIs(0, "lane", "running", "", place), Saw: Saw(0, "lane", "clear"),
        ButtonIs: ButtonIs(0, "b", True), FlagIs: FlagIs(0, "f", True), CounterIs: CounterIs(0, "c", 1),
        LinkIs: LinkIs(0, "l", "gone"), TrainAt: TrainAt(0, 1, "t", 0, 0, 1), TrainOn: TrainOn(0, 1, "lane", True),
        Noted: Noted(0, "lane", "n", place), Trouble: Trouble(0, "t", ()),
        Broke: Broke(0, "road-closed", place, 0), TrainTaken: TrainTaken(0, "lane", True),
    }  # fmt: skip
    assert set(made) == set(get_args(Record))
    for kind, record in made.items():
        assert len(events([record])) == (0 if kind in (Ended, Did) else 1), kind


def test_a_flag_and_a_counter_name_the_line_that_changed_them() -> None:
    trace = [
        Did(0, "lane", at_line(15)), FlagIs(0, "shop-open", True),
        Did(S, "lane", at_line(16)), CounterIs(S, "trains", 1),
    ]  # fmt: skip
    assert [line.rsplit(":", 1)[1] for line in events(trace)] == ["15", "16"]


def test_a_line_that_changed_nothing_is_listed_all_the_same() -> None:
    assert only([Did(0, "lane", at_line(17))])[2:4] == ["near-barrier, far-barrier", "no change"]


def test_a_line_for_everything_says_everything() -> None:
    assert only([Did(0, "lane", at_line(18))])[2:4] == ["everything", "no change"]


def test_a_train_beyond_either_end_of_its_track_has_left() -> None:
    beyond = [(2_300_000, 1_500_000), (-800_000, 0), (0, -800_000), (2_299_999, 1_499_999), (-799_999, 1)]
    says = [only([TrainAt(0, 0, "up-line", front, tail, 0)])[3] for front, tail in beyond]
    assert [text == "has left up-line" for text in says] == [True, True, True, False, False]


def test_a_lamp_that_is_given_back_after_it_came_on_is_turned_on() -> None:
    """It goes on as it was: in its own way, which was over long before."""
    came = Course(0, Script.of(Leg(2 * S, 1.0)), 0.0, 1.0, name="tube")
    trace = [
        Told(0, "amber", came, "evening", at_line(1), "line"),
        Told(10 * S, "amber", Steady(0.0), "evening", at_line(2), "line"),
        Told(13 * S, "amber", came, "evening", at_line(2), "line"),
    ]
    listed = "\n".join(event_list.lines(trace, PROGRAM))
    assert "comes on like tube, 2 s" in listed
    assert listed.count("comes on") == 1
    assert [line.split()[2:4] for line in listed.splitlines() if line.startswith("0:13.0")] == [["turned", "on"]]


def test_a_line_whose_order_was_sent_is_not_listed_twice() -> None:
    trace: list[Record] = [Did(0, "lane", at_line(17)), told(0, "near-barrier", Steady(42.0), line=17, why="hold")]
    assert len(events(trace)) == 1


def test_layout_time_has_a_column_of_its_own_and_keeps_the_clock_ratio() -> None:
    trace = [told(0, "amber", Steady(1.0)), told(90, "amber", Steady(0.0))]
    header, _, first, second = event_list.lines(trace, PROGRAM, 17 * 3600 + 1800)
    assert header.split()[:3] == ["time", "clock", "until"]
    assert first.split()[1] == "17:30:00"
    assert second.split()[:2] == ["1:30.0", "19:00:00"]
    assert "clock" not in next(event_list.lines(trace, PROGRAM))


def test_layout_time_goes_round_at_midnight() -> None:
    assert events([told(90, "amber", Steady(1.0))], 23 * 3600)[0].split()[1] == "00:30:00"


def test_columns_are_aligned_and_the_list_fits_on_paper() -> None:
    trace: list[Record] = [
        *(told(0, f"quay-lamp-{n}", Ramp(0, 2 * S, 0.0, 0.85), line=200) for n in range(1, 9)),
        told(4000, "near-barrier", Ramp(4000 * S, 4007 * S, 85.0, 0.0), line=7),
        Noted(4000 * S, "lane", LONG_NOTE, at_line(9)),
    ]  # fmt: skip
    lines = list(event_list.lines(trace, PROGRAM))
    assert max(map(len, lines)) <= event_list.WIDTH
    gaps = [at for at in range(len(lines[1])) if lines[1][at] == " "]
    assert len(gaps) == 4 * len(event_list.GAP)
    for line in lines:
        assert all(line[at : at + 1] in ("", " ") for at in gaps), line
    lamps, barrier, note = cells(trace)
    assert lamps[2] == ", ".join(f"quay-lamp-{number}" for number in range(1, 9))
    assert barrier[:3] == ["1:06:40.0", "1:06:47.0", "near-barrier"]
    assert note[3] == LONG_NOTE


def test_a_long_name_is_never_cut() -> None:
    name = "lamp-" + "x" * 60
    assert any(name in line for line in events([told(0, name, Steady(1.0))]))


def test_columns_hold_beside_a_long_name() -> None:
    """A name wider than its share makes its column wide enough: what stands beside it never slips."""
    long = SceneIs(0, "life-behind-the-windows-of-the-harbour-inn", "running", "a long reason " * 5, at_line(2))
    row = only([long])
    assert row[2] == "scene life-behind-the-windows-of-the-harbour-inn"
    assert row[3] == "begins: " + " ".join(["a long reason"] * 5)
    assert row[4] == "lane.scene:2"


def test_two_files_of_one_name_are_shown_with_their_folders() -> None:
    other = "marram-point/lane.scene"
    trace = [told(0, "amber", Steady(1.0)), Told(0, "red-left", Steady(1.0), "lane", at_line(3, other), "line")]
    assert [FILE in line or other in line for line in events(trace)] == [True, True]


def test_an_empty_trace_is_a_header() -> None:
    assert len(list(event_list.lines([], PROGRAM))) == 2


def test_the_list_comes_line_by_line() -> None:
    """A long show is not held in memory as text: the first event is there when only it has been asked for."""
    trace = [told(second, "amber", Steady(float(second % 2))) for second in range(1000)]
    lines = event_list.lines(trace, PROGRAM)
    assert iter(lines) is lines
    assert [next(lines) for _ in range(3)][2].startswith("0:00.0")


@pytest.mark.parametrize(
    ("us", "text"),
    [
        (0, "0:00.0"), (949_999, "0:00.9"), (950_000, "0:01.0"), (59_949_999, "0:59.9"), (59_950_000, "1:00.0"),
        (3_599_949_999, "59:59.9"), (3_600 * S, "1:00:00.0"), (36_061 * S, "10:01:01.0"),
    ],
)  # fmt: skip
def test_times(us: int, text: str) -> None:
    assert trace_words.clock(us) == text


@pytest.mark.parametrize(
    ("us", "text"),
    [
        (0, "0 s"), (120_000, "120 ms"), (1_200_000, "1.2 s"), (7 * S, "7 s"), (60 * S, "1 min"),
        (90 * S, "1 min 30 s"),
        (240 * S, "4 min"), (3_600 * S, "1 h"), (5_400 * S, "1 h 30 min"), (100 * S, "1 min 40 s"),
    ],
)  # fmt: skip
def test_lengths(us: int, text: str) -> None:
    assert trace_words.length(us) == text
