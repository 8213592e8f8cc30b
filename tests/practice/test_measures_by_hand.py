"""The measures on traces written by hand, against arithmetic done by hand.

D1 to D9 are worked from the rows of the references: the US lamp period (49 CFR 234.217(c): 35 to 65 a minute), the
times of 49 CFR 234.223 and .225, of NI SR 2023/9 Sch. 2 par. 11, of S.I. 47/1985 art. 5(1)(a), and the Dutch 20 s.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

import pytest

from engine.layout import (
    NOWHERE,
    Aspect,
    Blink,
    Crossing,
    Detector,
    DetectorKind,
    Itself,
    Kind,
    Layout,
    Output,
    Position,
    Setting,
    Stretch,
    Track,
)
from engine.program import Program
from engine.trace import Record, Saw, Told, TrainOn
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside.practice.comparing import Judged, Verdict, compare
from wayside.practice.measures import MEASURES
from wayside.practice.measuring import Found, Passage
from wayside.practice.reading import find

S = 1_000_000
RAISED, LOWERED = 85.0, 0.0
LAMPS = ("amber", "red-1", "red-2", "boom-1", "boom-2", "boom-3")
CROSSING = Crossing(
    "by-hand",
    amber=("amber",),
    reds=("red-1", "red-2"),
    entrance_barriers=("gate-in",),
    exit_barriers=("gate-out",),
    boom_lamps=("boom-1", "boom-2", "boom-3"),
    audible_warning=("bell",),
    signals=("signal",),
    detectors=("approach", "road"),
    on_the_road=("road",),
)


def gate(name: str) -> Output:
    return Output(
        name, Kind.SERVO, Setting(RAISED), positions=(Position("raised", RAISED), Position("lowered", LOWERED))
    )


OUTPUTS = [
    *(Output(name, Kind.LAMP, Setting(0.0)) for name in LAMPS),
    Output("bell", Kind.SOUND, Setting(0.0)),
    Output("signal", Kind.SIGNAL, Setting(0.0), aspects=(Aspect("danger", stops=True), Aspect("clear"))),
    gate("gate-in"),
    gate("gate-out"),
]
LAYOUT = Layout(
    outputs={output.name: output for output in OUTPUTS},
    detectors={name: Detector(name, DetectorKind.SECTION) for name in CROSSING.detectors},
    tracks={"line": Track("line", (Stretch("approach", 3600), Stretch("road", 300)), 150, 300)},
    crossings={CROSSING.name: CROSSING},
)
PROGRAM = Program(layout=LAYOUT)


def us(seconds: float) -> int:
    return round(seconds * S)


def told(at_s: float, output: str, wave: Wave) -> Told:
    return Told(us(at_s), output, wave, "", NOWHERE)


def on(at_s: float, *outputs: str) -> list[Record]:
    return [told(at_s, output, Steady(1.0)) for output in outputs]


def off(at_s: float, *outputs: str) -> list[Record]:
    return [told(at_s, output, Steady(0.0)) for output in outputs]


def flash(at_s: float, period_us: int, lamps: Iterable[str] = CROSSING.reds, late_us: int = 0) -> list[Record]:
    """Lamps in turn; the second of them late by some microseconds."""
    return [
        told(at_s, lamp, Flashing(us(at_s) + (late_us if slot else 0), Blink(period_us, 1, slot, 2)))
        for slot, lamp in enumerate(lamps)
    ]


def move(at_s: float, barrier: str, over_s: float, start: float = RAISED, end: float = LOWERED) -> list[Record]:
    return [told(at_s, barrier, Ramp(us(at_s), us(at_s) + us(over_s), start, end))]


def seen(at_s: float, detector: str = "approach", state: str = "occupied") -> list[Record]:
    return [Saw(us(at_s), detector, state)]


def train(at_s: float, is_on: bool = True, number: int = 0) -> list[Record]:
    return [TrainOn(us(at_s), number, "road", is_on)]


def passage(*parts: list[Record], until_s: float = 120, crossing: Crossing = CROSSING) -> Passage:
    trace = sorted((record for part in parts for record in part), key=lambda record: record.at_us)
    return Passage("by hand", LAYOUT, crossing, trace, us(until_s), dict.fromkeys(CROSSING.detectors, "clear"))


def measured(name: str, *passages: Passage) -> list[Found]:
    return [found for one in passages for found in MEASURES[name].find(one)]


def judged(table: str, *passages: Passage) -> dict[str, Judged]:
    rows = compare(PROGRAM, passages[0].crossing, passages, find(table).table).rows
    return {one.row.name: one for one in rows}


def not_kept(table: str, rows: Iterable[str], *passages: Passage) -> set[str]:
    """Of some rows of a table those that are not kept."""
    found = judged(table, *passages)
    assert all(found[row].verdict is not Verdict.NOT_THERE for row in rows)
    return {row for row in rows if found[row].verdict is not Verdict.KEPT}


# --- D1, D5, D6, D9: rate and phase --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("period_us", "kept"),
    [(923_077, True), (922_900, False), (1_714_285, True), (1_714_600, False), (1_200_000, True)],
)
def test_d1_the_period_of_a_lamp_in_the_united_states(period_us: int, kept: bool) -> None:
    """35 a minute are 1.714 s, 65 a minute are 0.923 s: 60 / 35 and 60 / 65."""
    assert not_kept("united-states", ["U1"], passage(flash(0, period_us))) == (set() if kept else {"U1"})


def test_d5_irelands_rate_lies_partly_below_the_american_floor() -> None:
    """32 a minute for each lamp are 64 for the pair: within 60 to 80, and below 35."""
    one = passage(flash(0, 60 * S // 32))
    assert not_kept("ireland", ["K25"], one) == set()
    assert not_kept("united-states", ["U1"], one) == {"U1"}


def test_d6_ninety_a_minute_in_alternation_are_three_onsets_a_second() -> None:
    """90 for each lamp are 180 for the pair, 3.0 a second: at the public limit (WCAG 2.2 SC 2.3.1), not over it."""
    lamps: list[Record] = [
        told(0, lamp, Flashing(0, Blink(60 * S, 90, slot, 2))) for slot, lamp in enumerate(CROSSING.reds)
    ]
    one = passage(lamps, until_s=60)
    (rate,) = {round(found.value or 0, 2) for found in measured("combined-rate", one)}
    assert rate / 60 == pytest.approx(3.0, abs=0.001)
    onsets = sorted(span.start for lamp in CROSSING.reds for span in one.lit(lamp))
    assert len(onsets) == 180
    assert max(sum(at <= other < at + S for other in onsets) for at in onsets) == 3
    assert not_kept("uk-half-barriers", ["K24a"], one) == set()


@pytest.mark.parametrize(("late_us", "alike"), [(0, False), (1_000, True), (-1_000, True)])
def test_d9_in_an_alternating_pair_exactly_one_lamp_is_lit(late_us: int, alike: bool) -> None:
    one = passage(flash(1, 750_000, late_us=late_us), off(50, *CROSSING.reds))
    assert bool([found for found in measured("reds-alternate", one) if found.fault]) is alike


def test_a_pair_that_is_dark_in_between_has_not_one_lamp_always_lit() -> None:
    """Each lamp a third of the period, the last third dark (TSRGD, from memory: one lamp is always lit)."""
    lamps = [told(1, lamp, Flashing(us(1), Blink(900_000, 1, slot, 3))) for slot, lamp in enumerate(CROSSING.reds)]
    (found,) = measured("reds-alternate", passage(lamps, off(50, *CROSSING.reds)))
    assert found == Found(us(1.6), None, "none of 2 reds lit")


def test_of_three_reds_one_or_two_are_lit() -> None:
    crossing = CROSSING._replace(reds=("red-1", "red-2", "amber"))
    lamps = [told(1, lamp, Flashing(us(1), Blink(900_000, 1, slot, 3))) for slot, lamp in enumerate(crossing.reds)]
    one = passage(lamps, off(50, *crossing.reds), crossing=crossing)
    assert not any(found.fault for found in measured("reds-alternate", one))
    both = [told(1, lamp, Flashing(us(1), Blink(900_000, 1, 0, 2))) for lamp in crossing.reds]
    (found,) = measured("reds-alternate", passage(both, off(50, *crossing.reds), crossing=crossing))
    assert found.fault == "3 of 3 reds lit"


# --- D2, D3, D8: times ---------------------------------------------------------------------------------------------


def american(lights_s: float, lead_s: float, descent_s: float, train_s: float) -> Passage:
    arms = lights_s + lead_s
    down = [*move(arms, "gate-in", descent_s), *move(arms, "gate-out", descent_s)]
    return passage(seen(lights_s), flash(lights_s, 1_200_000), down, train(train_s), train(train_s + 10, False))


@pytest.mark.parametrize(
    ("lead_s", "descent_s", "train_s", "broken"),
    [
        (3, 12, 20, set()),  # the longest descent at exactly 20 s of warning: 20 - 5 - 3 = 12
        (3, 12.001, 20, {"U4"}),
        (2.999, 12, 20, {"U3"}),
        (3, 12, 19.999, {"U4", "U6"}),
        (8, 12, 25, set()),
    ],
)
def test_d2_the_longest_descent_at_twenty_seconds(
    lead_s: float, descent_s: float, train_s: float, broken: set[str]
) -> None:
    """49 CFR 234.223 and .225: 3 s of lights, the arms horizontal for 5 s, 20 s in all."""
    assert not_kept("united-states", ["U3", "U4", "U6"], american(0, lead_s, descent_s, train_s)) == broken


def irish_sea(red_s: float, starts_s: float, entrance_s: float, exit_s: float) -> Passage:
    """Northern Ireland's full barriers, from the amber on; the train comes long after."""
    down, closed = starts_s + entrance_s, starts_s + entrance_s + exit_s
    return passage(
        [*seen(0), *on(0, "amber", "bell"), *off(red_s, "amber"), *flash(red_s, 750_000)],
        [*on(starts_s, *CROSSING.boom_lamps), *move(starts_s, "gate-in", entrance_s), *move(down, "gate-out", exit_s)],
        [*off(closed, "bell"), *on(closed, "signal"), *train(60), *train(70, False)],
    )


TIMED = ["K1a", "K1b", "K2", "K3", "K4", "K5a", "K5b", "K6", "K8", "K9"]


@pytest.mark.parametrize(
    ("starts_s", "entrance_s", "exit_s", "entrance_down_s", "exit_down_s"),
    [(7, 6, 6, 13, 19), (9, 10, 10, 19, 29), (8, 7, 7, 15, 22)],
)
def test_d3_northern_irelands_sequence_from_the_amber(
    starts_s: float, entrance_s: float, exit_s: float, entrance_down_s: float, exit_down_s: float
) -> None:
    """Red at 3 s; entrance barriers start at 7 to 9 s and are down at 13 to 19 s; exit barriers down at 19 to 29 s."""
    one = irish_sea(3, starts_s, entrance_s, exit_s)
    assert one.lowered("gate-in").starts() == [us(entrance_down_s)]
    assert one.all_lowered.starts() == [us(exit_down_s)]
    assert [found.value for found in measured("red-to-lowered", one)] == [us(exit_down_s - 3)]
    assert not_kept("northern-ireland", TIMED, one) == set()


@pytest.mark.parametrize(
    ("red_s", "starts_s", "entrance_s", "exit_s", "broken"),
    [
        (3, 6.999, 6, 6, {"K3"}),
        (3, 9.001, 6, 6, {"K3"}),
        (3, 8, 5.999, 6, {"K4"}),
        (3, 8, 10.001, 6, {"K4"}),
        (3, 8, 6, 5.999, {"K5b"}),
        (3, 8, 6, 10.001, {"K5b"}),
        (2.499, 7, 6, 6, {"K1a"}),
        (3.501, 8, 6, 6, {"K1a"}),
    ],
)
def test_d3_a_millisecond_outside(
    red_s: float, starts_s: float, entrance_s: float, exit_s: float, broken: set[str]
) -> None:
    assert not_kept("northern-ireland", TIMED, irish_sea(red_s, starts_s, entrance_s, exit_s)) == broken


@pytest.mark.parametrize(
    ("lead_s", "descent_s", "train_s", "broken"),
    [
        (5, 12, 20, set()),  # 5 + 12 + 3 = 20
        (4.999, 12, 20, {"N2"}),
        (5, 12.001, 20, {"N3", "N4"}),
        (5, 12, 19.999, {"N1", "N4"}),
    ],
)
def test_d8_the_dutch_twenty_seconds(lead_s: float, descent_s: float, train_s: float, broken: set[str]) -> None:
    rows = ["N1", "N2", "N3", "N4"]
    assert not_kept("netherlands", rows, american(0, lead_s, descent_s, train_s)) == broken


@pytest.mark.parametrize(
    ("times", "broken"),
    [((4, 6, 25), set()), ((4, 5.999, 25), {"J1"}), ((4, 6, 24.999), {"J2"}), ((4, 6, 19.999), {"J2", "J3"})],
)
def test_japans_three_times_are_judged_each_by_itself(times: tuple[float, float, float], broken: set[str]) -> None:
    """10 s to the barriers down, 15 s from there to the train, 20 s in all (the standards 15, 20, 30 are not added)."""
    assert not_kept("japan", ["J1", "J2", "J3"], american(0, *times)) == broken


# --- the worst counts ----------------------------------------------------------------------------------------------


def test_the_worst_of_several_passages_is_the_one_that_is_told() -> None:
    good, bad, middle = american(0, 3, 10, 30), american(0, 3, 10, 17), american(0, 3, 10, 20)
    worst = judged("united-states", good, bad, middle)["U4"].worst
    assert worst is not None
    assert worst.passage is bad
    assert worst.found.value == us(17 - 13)


def test_of_two_bounds_the_one_that_is_missed_further_counts() -> None:
    """6 to 10 s: 4 s is 2 s outside, 11 s only one."""
    worst = judged("northern-ireland", irish_sea(3, 8, 11, 6), irish_sea(3, 8, 4, 6))["K4"].worst
    assert worst is not None
    assert worst.found.value == us(4)


def test_a_second_train_that_follows_on_to_the_road_is_measured_too() -> None:
    """The first is still there when the second comes, whose barriers were down for long: two arrivals, not one."""
    one = passage(flash(0, 750_000), train(20), train(21, number=1), train(30, False), train(31, False, number=1))
    assert [found.value for found in measured("red-before-train", one)] == [us(20), us(21)]


def test_a_train_over_two_stretches_of_the_road_arrives_once() -> None:
    wide = CROSSING._replace(on_the_road=("road", "approach"))
    second = [TrainOn(us(21), 0, "approach", True), TrainOn(us(24), 0, "approach", False)]
    one = passage(flash(0, 750_000), train(20), train(22, False), second, crossing=wide)
    assert one.arrivals == [us(20)]


def test_the_reds_are_on_when_all_of_them_are() -> None:
    """One that is late, or dead, warns nobody on its side."""
    late = [told(2, "red-1", Steady(1.0)), told(3, "red-2", Steady(1.0))]
    one = passage(late, move(8, "gate-in", 7))
    assert [found.value for found in measured("red-before-entrance-barriers", one)] == [us(5)]
    dead = passage(on(2, "red-1"), move(8, "gate-in", 7))
    assert [found.value for found in measured("red-before-entrance-barriers", dead)] == [0]


# --- what must come about ------------------------------------------------------------------------------------------


def test_what_never_came_about_is_not_kept() -> None:
    """A crossing at which nothing happens keeps no row; nothing is passed in silence."""
    idle = passage()
    found = judged("northern-ireland", idle)
    assert {one.verdict for one in found.values()} == {Verdict.NOT_KEPT, Verdict.ADVICE}
    assert {one.worst for one in found.values()} == {None}


def test_a_train_without_any_warning() -> None:
    one = passage(seen(1), seen(5, state="clear"), train(2), train(4, False), until_s=20)
    found = judged("united-states", one)
    assert {name: found[name].verdict for name in ("U4", "U6", "U12a", "U12b", "U12c")} == dict.fromkeys(
        ("U4", "U6", "U12a", "U12b", "U12c"), Verdict.NOT_KEPT
    )
    assert found["U12a"].worst is not None
    assert "reds stayed dark" in found["U12a"].worst.found.fault


def test_what_is_under_way_at_the_end_has_no_length() -> None:
    assert measured("amber-time", passage(seen(1), on(1, "amber"), until_s=2)) == []


def test_a_warning_without_amber_has_none_of_it() -> None:
    one = passage(flash(1, 750_000), off(20, *CROSSING.reds))
    assert measured("amber-time", one) == [Found(us(1), 0)]


def test_a_flashing_amber_is_not_steady() -> None:
    one = passage([told(1, "amber", Flashing(us(1), Blink(S, 1, 0, 2)))], off(4, "amber"))
    assert [found.value for found in measured("amber-time", one)] == [0]


def test_a_barrier_that_turns_back_has_gone_no_whole_way() -> None:
    back = [*move(1, "gate-in", 7), *move(4, "gate-in", 3, 48.6, RAISED), *move(20, "gate-in", 8)]
    assert measured("entrance-descent", passage(back)) == [Found(us(20), us(8))]


def test_an_ascent_is_measured_as_a_descent_is() -> None:
    one = passage(move(1, "gate-in", 7), move(20, "gate-in", 6, LOWERED, RAISED))
    assert [found.value for found in measured("ascent", one)] == [us(6)]


def test_a_barrier_that_leaves_in_the_first_instant_is_seen_to_leave() -> None:
    one = passage(flash(0, 750_000), move(0, "gate-in", 7))
    assert [found.value for found in measured("red-before-entrance-barriers", one)] == [0]
    assert [found.value for found in measured("entrance-descent", one)] == [us(7)]


def test_a_rate_is_not_measured_across_a_pause() -> None:
    one = passage(flash(0, S), off(10.1, *CROSSING.reds), flash(30, S), off(40, *CROSSING.reds))
    assert {found.value for found in measured("flash-rate", one)} == {Fraction(60)}
    assert {found.value for found in measured("combined-rate", one)} == {Fraction(120)}


def test_the_lamps_of_a_flash_that_is_cut_off_do_not_count_as_alike() -> None:
    """Both go out at the same instant, in the middle of a flash: the pair is over, and nothing is wrong."""
    assert not any(found.fault for found in measured("reds-alternate", passage(flash(1, S), off(9.3, *CROSSING.reds))))


@pytest.mark.parametrize(
    ("reds", "waves", "kept"),
    [
        (("red-1",), {"red-1": 0}, True),  # one flashing red
        (("red-1", "red-2"), {"red-1": 0, "red-2": 1}, True),  # alternately flashing reds
        (("red-1", "red-2"), {"red-1": 0, "red-2": 0}, False),  # both at once
        (("red-1", "red-2"), {"red-1": 0}, False),  # one of two stays dark
    ],
)
def test_the_vienna_conventions_two_ways(reds: tuple[str, ...], waves: dict[str, int], kept: bool) -> None:
    crossing = CROSSING._replace(reds=reds)
    lamps: list[Record] = [told(1, lamp, Flashing(us(1), Blink(S, 1, slot, 2))) for lamp, slot in waves.items()]
    one = passage(lamps, off(30, *reds), crossing=crossing)
    assert judged("vienna-convention", one)["V1"].verdict is (Verdict.KEPT if kept else Verdict.NOT_KEPT)


def test_a_steady_red_flashes_nowhere() -> None:
    one = passage(on(1, "red-1"), off(9, "red-1"), crossing=CROSSING._replace(reds=("red-1",)))
    assert judged("vienna-convention", one)["V1"].verdict is Verdict.NOT_KEPT


@pytest.mark.parametrize(("rest_lit", "end_lit"), [(False, False), (True, False), (False, True)])
def test_dark_at_rest_before_and_after(rest_lit: bool, end_lit: bool) -> None:
    """Austria, EisbKrV 2012 par. 19(3): dark at rest."""
    lights = [*(on(0, "red-1") if rest_lit else []), *on(10, *CROSSING.reds)]
    dark = off(30, *CROSSING.reds) if not end_lit else off(30, "red-1")
    one = passage(seen(10), seen(20, state="clear"), lights, dark)
    assert (not_kept("austria", ["A1"], one) == {"A1"}) is (rest_lit or end_lit)


# --- signals and detection -----------------------------------------------------------------------------------------


def rising(signal_clear_until_s: float, detected_from_s: float) -> Passage:
    down = [*move(1, "gate-in", 4), *move(1, "gate-out", 4)]
    up = [*move(20, "gate-in", 6, LOWERED, RAISED), *move(20, "gate-out", 6, LOWERED, RAISED)]
    signal = [*on(10, "signal"), *off(signal_clear_until_s, "signal")]
    return passage(flash(0, S), down, up, signal, seen(detected_from_s), off(40, *CROSSING.reds))


@pytest.mark.parametrize(
    ("clear_until_s", "detected_s", "broken"),
    [
        (20, 26, set()),  # at danger in the instant of the start; detected in the instant of the end
        (20.001, 26, {"K10a", "K10b"}),
        (19, 25.999, {"U13a"}),
        (25, 30, {"K10a", "K10b"}),
    ],
)
def test_rising_with_signals_and_trains(clear_until_s: float, detected_s: float, broken: set[str]) -> None:
    one = rising(clear_until_s, detected_s)
    found = not_kept("northern-ireland", ["K10a", "K10b"], one) | not_kept("united-states", ["U13a"], one)
    assert found == broken


def test_a_signal_that_is_clear_from_the_first_instant_has_cleared_too_early() -> None:
    assert any(found.fault for found in measured("signals-clear-last", passage(on(0, "signal"), off(5, "signal"))))


def test_an_unknown_detector_counts_as_one_that_has_detected() -> None:
    one = Passage("", LAYOUT, CROSSING, seen(3, state="clear") + seen(4, "road", "clear"), us(10))
    assert [(span.start, span.end) for span in one.detected] == [(0, us(4))]


def test_a_pair_that_its_board_flashes_is_told_to_be_on_and_flashes() -> None:
    """`flashes as a pair: 30 a minute`, one output for two lamps: 30 a minute each, 60 for the two."""
    pair = Output("pair", Kind.LAMP, Setting(0.0), itself=Itself.FLASHES, itself_us=2 * S)
    layout = replace(LAYOUT, outputs={**LAYOUT.outputs, "pair": pair})
    crossing = CROSSING._replace(reds=("pair",))
    one = Passage("", layout, crossing, [*on(1, "pair"), *off(20, "pair")], us(30))
    assert {found.value for found in measured("flash-rate", one)} == {Fraction(30)}
    assert {found.value for found in measured("combined-rate", one)} == {Fraction(60)}
    assert not any(found.fault for found in measured("reds-flash", one))
    assert [(span.start, span.end) for span in one.flashing("pair")] == [(us(1), us(20))]


@pytest.mark.parametrize(
    ("red_out_s", "second_down_s", "silent_s", "kept"),
    [
        (60, 7, 8, True),
        (9, 7, 8, False),  # a red is out as the signal clears
        (60, 11, 8, False),  # an exit barrier is still on its way
        (60, 7, 11, False),  # the audible warning still sounds
        (60, 10, 10, True),  # all of it in the same instant
    ],
)
def test_a_signal_clears_after_the_whole_sequence(
    red_out_s: float, second_down_s: float, silent_s: float, kept: bool
) -> None:
    """NI SR 2023/9 Sch. 2 par. 11(g): red shows, the barriers are down, the audible warning is over. Clear at 10 s."""
    down = [*move(1, "gate-in", 3), *move(4, "gate-out", second_down_s - 4)]
    one = passage(flash(0, S), off(red_out_s, "red-1"), on(0, "bell"), off(silent_s, "bell"), down, on(10, "signal"))
    assert not_kept("northern-ireland", ["K9"], one) == (set() if kept else {"K9"})


def test_one_red_that_goes_out_early_is_enough() -> None:
    """MUTCD 2009 8C.04 par. 4: the lights stop when the arms are upright, all of them."""
    down, up = move(1, "gate-in", 4), move(10, "gate-in", 4, LOWERED, RAISED)
    early = passage(flash(0, S), down, up, off(13.9, "red-2"), off(14, "red-1"))
    assert not_kept("united-states", ["U13b"], early) == {"U13b"}
    assert not_kept("united-states", ["U13b"], passage(flash(0, S), down, up, off(14, *CROSSING.reds))) == set()


def test_a_single_red_alternates_with_nothing() -> None:
    one = passage(flash(0, S), crossing=CROSSING._replace(reds=("red-1",)))
    assert judged("united-states", one)["U2"].verdict is Verdict.NOT_THERE


def test_a_lamp_shines_until_it_has_died_down() -> None:
    dying = [told(4, "amber", Ramp(us(4), us(4.5), 1.0, 0.0))]
    one = passage(on(1, "amber"), dying)
    assert [(span.start, span.end) for span in one.shining("amber")] == [(us(1), us(4.5))]
    assert [(span.start, span.end) for span in one.lit("amber")] == [(us(1), us(4.5))]


def test_a_lamp_shines_as_soon_as_it_is_told_to_come_up() -> None:
    one = passage([told(4, "amber", Ramp(us(4), us(4.5), 0.0, 1.0))])
    assert [span.start for span in one.shining("amber")] == [span.start for span in one.lit("amber")] == [us(4)]
    assert one.shining("amber").all[0].end == one.ended_us
