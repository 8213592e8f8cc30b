"""What a link is told next: the furthest, guarded first, nothing twice, nothing late for ever, nothing by polling."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.pacer import INRUSH_GAP_US, PATIENCE_US, Choice, Pace, Pacer
from engine.chance import key_of
from engine.codes import commands, seen
from engine.flicker import Flicker
from engine.layout import Blink, Itself, Kind, Output, Position, Setting
from engine.lightness import level
from engine.manners import MANNERS
from engine.waves import Flashing, Ramp, Steady, Wave

S = 1_000_000
NO_LIMIT = Pace(math.inf, math.inf)
TRACK = Pace(11_520.0, 41.05)  # 115200 baud, half of the track's packets, each command twice
SIZE = 11
DARK = Setting(0.0)


def lamp(name: str = "lamp", **more: object) -> Output:
    return replace(Output(name, Kind.LAMP, DARK, steps=255), **more)


def relay(name: str = "relay", **more: object) -> Output:
    return replace(Output(name, Kind.RELAY, DARK), **more)


def servo(name: str = "boom", **more: object) -> Output:
    ends = (Position("lowered", 0.0), Position("raised", 90.0))
    return replace(Output(name, Kind.SERVO, DARK, positions=ends), **more)


class Want(NamedTuple):
    at_us: int
    name: str
    wave: Wave


class Left(NamedTuple):
    at_us: int
    name: str
    code: int


def drive(pacer: Pacer, wants: Sequence[Want], until_us: int, size: int = SIZE, now_us: int = 0) -> list[Left]:
    """Wake only when told to, up to an instant that is not included."""
    left: list[Left] = []
    wants = sorted(wants, key=lambda want: want.at_us)
    while True:
        due_us = pacer.next_due(now_us)
        if wants and (due_us is None or wants[0].at_us <= due_us):
            now_us = wants[0].at_us
            pacer.want(wants[0].name, wants[0].wave, now_us)
            wants = wants[1:]
            continue
        if due_us is None or due_us >= until_us:
            return left
        assert due_us >= now_us
        now_us = due_us
        choice = pacer.choose(now_us)
        if choice is not None:
            left.append(Left(now_us, choice.name, choice.code))
            pacer.sent(choice.name, choice.code, now_us, size)
            pacer.answered()


def known(outputs: Sequence[Output], pace: Pace) -> Pacer:
    pacer = Pacer(outputs, pace)
    for output in outputs:
        pacer.known(output.name, 0)
    return pacer


# --- any show ------------------------------------------------------------------------------------------------------

OUTPUTS = st.lists(
    st.sampled_from(
        [
            lamp(),
            lamp(steps=15),
            lamp(steps=1),
            lamp(safe=Setting(1.0)),
            servo(),
            servo(safe=DARK),
            relay(),
            relay(safe=Setting(1.0)),
            Output("signal", Kind.SIGNAL, DARK),
            Output("motor", Kind.MOTOR, DARK, steps=28),
        ]
    ),
    min_size=1,
    max_size=14,
).map(lambda some: [replace(one, name=f"{one.name}-{number}") for number, one in enumerate(some)])


class Rough(NamedTuple):
    """A want before it is known which outputs there are."""

    at_ms: int
    number: int
    shape: str
    ms: int
    high: float


ROUGH = st.lists(
    st.builds(
        Rough,
        st.one_of(st.just(0), st.just(1_000), st.integers(0, 6_000)),
        st.integers(0, 1_000),
        st.sampled_from(["steady", "ramp", "ramp", "flash", "flicker"]),
        st.integers(1, 4_000),
        st.floats(0.0, 1.0),
    ),
    min_size=1,
    max_size=40,
)


def wants_of(outputs: Sequence[Output], rough: Sequence[Rough]) -> list[Want]:
    """One want for an output in an instant: the trace holds no more."""
    wants: dict[tuple[int, str], Want] = {}
    for at_ms, number, shape, ms, high in sorted(rough, key=lambda one: one.at_ms):
        output, at_us = outputs[number % len(outputs)], at_ms * 1_000
        top = {Kind.SERVO: 90.0 * high, Kind.SIGNAL: float(round(high))}.get(output.kind, high)
        wave: Wave = Steady(top)
        if shape == "ramp" and output.kind is not Kind.SIGNAL:
            wave = Ramp(at_us, at_us + ms * 1_000, 0.0 if ms % 2 else 30.0 if output.kind is Kind.SERVO else 1.0, top)
        elif shape == "flash" and output.kind in (Kind.LAMP, Kind.RELAY):
            wave = Flashing(at_us, Blink(max(ms, 50) * 1_000, 1, 0, 2))
        elif shape == "flicker" and output.kind is Kind.LAMP:
            wave = Flicker(at_us, 0, key_of(output.name), MANNERS["embers"], (0.0, 1.0), (0.0, 1.0))
        wants[at_us, output.name] = Want(at_us, output.name, wave)
    return list(wants.values())


class Course(NamedTuple):
    """What one output should be told, reckoned without the pacer."""

    want: Want
    output: Output
    until_us: int  # when it wants something else

    def code(self, at_us: int) -> int:
        wave = self.want.wave
        return seen(self.output, wave.value_at(self.want.at_us if wave.ends_us is None else wave.ends_us))(
            wave.value_at(at_us)
        )

    @property
    def ends_us(self) -> int | None:
        wave = self.want.wave
        if isinstance(wave, Steady):
            return self.want.at_us
        return None if wave.ends_us is None else max(wave.ends_us, self.want.at_us)


def courses_of(outputs: Sequence[Output], wants: Sequence[Want], until_us: int) -> dict[str, list[Course]]:
    courses: dict[str, list[Course]] = {}
    for output in outputs:
        own = [want for want in wants if want.name == output.name]
        ends = [*(want.at_us for want in own[1:]), until_us][: len(own)]
        courses[output.name] = [Course(want, output, end) for want, end in zip(own, ends, strict=True)]
    return courses


def wanted_at(courses: Sequence[Course], at_us: int) -> int:
    return next((one.code(at_us) for one in courses if one.want.at_us <= at_us < one.until_us), 0)


def told_at(left: Sequence[Left], name: str, at_us: int, included: bool = True) -> int:
    codes = [one.code for one in left if one.name == name and (one.at_us < at_us or (included and one.at_us == at_us))]
    return codes[-1] if codes else 0


# --- a line that carries everything --------------------------------------------------------------------------------


@settings(deadline=None, max_examples=40)
@given(OUTPUTS, ROUGH)
def test_with_room_to_spare_it_is_exactly_what_the_waves_tell(outputs: list[Output], rough: list[Rough]) -> None:
    until_us = 8 * S
    wants = wants_of(outputs, rough)
    told: list[tuple[int, int, Left]] = []
    courses = courses_of(outputs, wants, until_us)
    for order, want in enumerate(wants):
        course = next(one for one in courses[want.name] if one.want is want)
        for at_us, code in commands(want.wave, course.output, want.at_us, course.until_us):
            told.append((at_us, order, Left(at_us, want.name, code)))
    expected, last = [], dict.fromkeys((output.name for output in outputs), 0)
    for _, _, one in sorted(told, key=lambda entry: entry[:2]):
        if last[one.name] != one.code:  # what it shows already is not told again
            expected.append(one)
            last[one.name] = one.code
    assert drive(known(outputs, NO_LIMIT), wants, until_us) == expected


def test_the_order_of_an_instant_is_the_order_asked_for() -> None:
    names = ["cid", "ada", "bea"]
    pacer = known([lamp(name, safe=DARK if name == "bea" else None) for name in sorted(names)], NO_LIMIT)
    left = drive(pacer, [Want(0, name, Steady(1.0)) for name in names], S)
    assert [one.name for one in left] == names


# --- a line that is full -------------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=80)
@given(OUTPUTS, ROUGH, st.sampled_from([2.0, 5.0, 12.0, 41.05]))
def test_what_holds_on_every_line(outputs: list[Output], rough: list[Rough], rate: float) -> None:
    until_us = 30 * S
    wants = wants_of(outputs, rough)
    courses = courses_of(outputs, wants, until_us)
    left = drive(known(outputs, Pace(11_520.0, rate)), wants, until_us)
    for one in left:  # nothing that is superseded
        assert one.code == wanted_at(courses[one.name], one.at_us)
    for output in outputs:  # nothing twice
        codes = [0] + [one.code for one in left if one.name == output.name]
        assert all(before != after for before, after in pairwise(codes))
    for first in range(len(left)):  # nothing quicker than the line: half a slot is made up where one came late
        for last in range(first + 1, min(first + 60, len(left))):
            assert last - first <= (left[last].at_us - left[first].at_us) * rate / S + 0.5 + 1e-6
    for name, own in courses.items():  # the last value of everything arrives
        for course in own:
            _arrives(outputs, courses, left, name, course, rate)


def _arrives(
    outputs: Sequence[Output],
    courses: dict[str, list[Course]],
    left: Sequence[Left],
    name: str,
    course: Course,
    rate: float,
) -> None:
    ends_us = course.ends_us
    if ends_us is None or ends_us >= course.until_us:
        return
    waiting = sum(
        wanted_at(courses[one.name], ends_us) != told_at(left, one.name, ends_us, included=False) for one in outputs
    )
    bound_us = math.ceil(ends_us + waiting / rate * S + S)
    if bound_us < course.until_us:
        assert told_at(left, name, bound_us) == course.code(bound_us)


def test_the_last_value_arrives_though_the_line_is_full_for_ever() -> None:
    """Guarded lamps that flicker for ever want ten times what the line carries; a lamp is switched once."""
    rivals = [lamp(f"rival-{number}", safe=DARK) for number in range(20)]
    pacer = known([lamp("quay"), *rivals], Pace(11_520.0, 20.0))
    wants = [
        Want(0, one.name, Flicker(0, 0, key_of(one.name), MANNERS["embers"], (0.0, 1.0), (0.0, 1.0))) for one in rivals
    ]
    wants.append(Want(5 * S, "quay", Steady(0.02)))
    left = drive(pacer, wants, 20 * S)
    arrived = next(one.at_us for one in left if one.name == "quay")
    assert len(left) == pytest.approx(400, abs=2)
    assert 5 * S < arrived <= 5 * S + 21 * S // 20 + S
    # and it does not come sooner than it has to, since guarded outputs go before it
    assert arrived > 6 * S


def test_age_raises_priority_so_that_nothing_starves() -> None:
    """A lamp that fades by a hair in ten minutes, beside guarded ones that are always far off."""
    rivals = [relay(f"rival-{number}", safe=DARK) for number in range(20)]
    pacer = known([lamp("slow", steps=4095), *rivals], Pace(11_520.0, 5.0))
    wants = [Want(0, one.name, Flashing(0, Blink(900_000 + 37_000 * n, 1, 0, 2))) for n, one in enumerate(rivals)]
    wants.append(Want(0, "slow", Ramp(0, 600 * S, 0.5, 0.6)))
    left = drive(pacer, wants, 300 * S)
    at = [0] + [one.at_us for one in left if one.name == "slow"]
    assert len(left) == pytest.approx(1_500, abs=5)  # never a slot to spare
    assert len(at) > 10
    assert max(after - before for before, after in pairwise(at)) < 3 * PATIENCE_US


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=12), st.data())
def test_the_furthest_goes_first(levels: list[float], data: st.DataObject) -> None:
    outputs = [lamp(f"lamp-{number}") for number in range(len(levels))]
    pacer = Pacer(outputs, TRACK)
    for output, target in zip(outputs, levels, strict=True):
        pacer.known(output.name, data.draw(st.integers(0, 255)))
        pacer.want(output.name, Steady(target), 0)
    errors = {output.name: pacer.error(output.name, 0) for output in outputs}
    choice = pacer.choose(0)
    if choice is None:
        assert not any(errors.values())
    else:
        assert errors[choice.name] == max(errors.values()) == choice.error


def test_lamps_go_by_lightness_and_servos_by_travel() -> None:
    pacer = Pacer([lamp("bright"), lamp("dim"), servo(), servo("arm", positions=())], TRACK)
    for name, code in (("bright", 200), ("dim", 0), ("boom", 0), ("arm", 0)):
        pacer.known(name, code)
    pacer.want("bright", Steady(1.0), 0)  # 55 codes, and 9 units of lightness
    pacer.want("dim", Steady(level(8 / 255)), 0)  # 8 codes, and 20 units
    pacer.want("boom", Steady(27.0), 0)  # 30 % of 90 degrees
    pacer.want("arm", Steady(45.0), 0)  # a quarter of 180 degrees: nothing says how far it goes
    assert pacer.error("bright", 0) == pytest.approx(1.0 - level(200 / 255))
    assert pacer.error("dim", 0) == pytest.approx(level(8 / 255))
    assert pacer.error("boom", 0) == pytest.approx(0.3)
    assert pacer.error("arm", 0) == pytest.approx(0.25)
    assert [one.name for one in drive(pacer, [], S)] == ["boom", "arm", "dim", "bright"]


@pytest.mark.parametrize(
    ("output", "told", "wanted", "error"),
    [
        (relay(), 0, 0.4, 1.0),
        (relay(), 1, 0.4, 0.0),
        (lamp(steps=1), 0, 0.2, 1.0),
        (Output("sig", Kind.SIGNAL, DARK), 2, 0.0, 1.0),
        (Output("fan", Kind.MOTOR, DARK, steps=10), 2, 0.5, 0.3),
        (Output("fan", Kind.MOTOR, DARK, steps=10), -10, 1.0, 1.0),  # never more than all of it
        (Output("c", Kind.COLOUR, DARK, mired=(400.0, 200.0)), 250, 350.0, 0.5),
        (Output("c", Kind.COLOUR, DARK), 1, 2.0, 1.0),
    ],
)
def test_how_far_off_other_outputs_are(output: Output, told: int, wanted: float, error: float) -> None:
    pacer = Pacer([output], TRACK)
    assert pacer.error(output.name, 0) == 0.0  # nobody has asked anything of it
    pacer.want(output.name, Steady(wanted), 0)
    assert pacer.error(output.name, 0) == 1.0  # and nobody knows what it shows
    pacer.forget()
    pacer.known(output.name, told)
    assert pacer.error(output.name, 0) == pytest.approx(error)


def test_guarded_outputs_go_before_the_furthest() -> None:
    pacer = known([lamp(), servo(safe=DARK), relay(safe=DARK)], TRACK)
    wants = [Want(0, "lamp", Steady(1.0)), Want(0, "boom", Steady(9.0)), Want(0, "relay", Steady(1.0))]
    assert [one.name for one in drive(pacer, wants, S)] == ["relay", "boom", "lamp"]


def test_a_guarded_output_goes_before_last_values_that_still_have_time() -> None:
    """A hundred lamps are switched at once; two seconds later, when many still wait, the signal goes to danger."""
    lamps = [lamp(f"lamp-{number}") for number in range(100)]
    pacer = known([*lamps, relay("danger", safe=DARK)], TRACK)
    wants = [Want(0, one.name, Steady(1.0)) for one in lamps]
    left = drive(pacer, [*wants, Want(2 * S, "danger", Steady(1.0))], 10 * S)
    at = next(number for number, one in enumerate(left) if one.name == "danger")
    assert len(left) == 101
    assert left[at].at_us <= 2 * S + S // 41 + 1
    assert left[-1].at_us > left[at].at_us


def test_what_nobody_needs_any_more_is_not_sent() -> None:
    pacer = known([lamp(), relay()], Pace(11_520.0, 2.0))
    wants = [
        Want(0, "relay", Steady(1.0)),
        Want(1, "lamp", Steady(1.0)),
        Want(100_000, "lamp", Steady(0.5)),
        Want(200_000, "lamp", Steady(0.0)),  # as it was: nothing is left to tell
    ]
    assert drive(pacer, wants, 5 * S) == [Left(0, "relay", 1)]
    assert pacer.next_due(5 * S) is None


def test_a_pulse_is_not_left_out_though_it_is_over() -> None:
    coil = Output("coil", Kind.PULSE, DARK, pulse_us=100_000)
    pacer = known([coil, relay()], Pace(11_520.0, 2.0))
    wants = [Want(0, "relay", Steady(1.0)), Want(1, "coil", Steady(1.0)), Want(100_000, "coil", Steady(0.0))]
    left = drive(pacer, wants, 5 * S)
    assert [(one.name, one.code) for one in left] == [("relay", 1), ("coil", 1), ("coil", 0)]
    # but what was owed when the line was lost is not made up for: the points may have been thrown by hand
    pacer.want("relay", Steady(0.0), 6 * S)
    pacer.sent("relay", 0, 6 * S, SIZE)
    pacer.want("coil", Steady(1.0), 6 * S)
    pacer.want("coil", Steady(0.0), 6 * S + 100_000)
    pacer.forget()
    assert {(one.name, one.code) for one in drive(pacer, [], 20 * S, now_us=7 * S)} == {("relay", 0), ("coil", 0)}


@pytest.mark.parametrize(
    ("output", "wave", "code"),
    [
        (servo(itself=Itself.MOVES, itself_us=3 * S), Ramp(0, 3 * S, 0.0, 90.0), 9_000),
        (lamp(itself=Itself.FLASHES), Flashing(0, Blink(S, 1, 0, 2)), 255),
        (lamp(itself=Itself.FLICKERS), Flicker(0, 0, 1, MANNERS["embers"], (0.0, 1.0), (0.0, 1.0)), 255),
    ],
)
def test_what_a_board_does_by_itself_is_told_once(output: Output, wave: Wave, code: int) -> None:
    left = drive(known([output], TRACK), [Want(0, output.name, wave)], 10 * S)
    assert left == [Left(0, output.name, code)]


# --- after a reconnect ---------------------------------------------------------------------------------------------


def _station() -> tuple[list[Output], list[Want]]:
    outputs = [lamp(f"lamp-{number}") for number in range(6)]
    outputs += [servo("arm"), servo("near", safe=DARK), servo("far", safe=DARK), relay("bell"), relay("red", safe=DARK)]
    wants = [Want(0, one.name, Steady(45.0 if one.kind is Kind.SERVO else 0.5)) for one in outputs]
    return outputs, wants


def test_after_a_reconnect_all_is_put_right_once_guarded_first_servos_one_by_one() -> None:
    outputs, wants = _station()
    pacer = known(outputs, TRACK)
    before = drive(pacer, wants, 5 * S)
    assert len(before) == len(outputs)
    pacer.forget(5 * S)
    assert pacer.waiting(5 * S) == len(outputs)
    after = drive(pacer, [], 30 * S, now_us=5 * S)
    assert sorted(after, key=lambda one: one.name) == sorted(
        (one._replace(at_us=other.at_us) for one in before for other in after if other.name == one.name),
        key=lambda one: one.name,
    )
    assert {one.name for one in after[:2]} == {"red", "near"}
    servos = [one for one in after if one.name in ("arm", "near", "far")]
    assert [one.name for one in servos] == ["near", "far", "arm"]
    assert all(b.at_us - a.at_us >= INRUSH_GAP_US for a, b in pairwise(servos))
    assert servos[-1].at_us - servos[0].at_us < 2 * INRUSH_GAP_US + S // 20
    # while a servo waits for its turn the line is not idle
    assert [one.at_us for one in after[:9]] == sorted(one.at_us for one in after[:9])
    assert after[8].at_us - after[0].at_us < 9 * S // 41 + S // 20


def test_unguarded_servos_wait_for_guarded_ones_however_long_it_takes() -> None:
    outputs = [servo("arm"), *(servo(f"gate-{number}", safe=DARK) for number in range(8)), servo("boom")]
    pacer = Pacer(outputs, TRACK)
    left = drive(pacer, [Want(0, one.name, Steady(45.0)) for one in outputs], 30 * S)
    assert len(left) == 10
    assert {one.name for one in left[-2:]} == {"arm", "boom"}
    assert all(b.at_us - a.at_us == INRUSH_GAP_US for a, b in pairwise(left))


def test_servos_that_are_known_do_not_wait_for_each_other() -> None:
    outputs = [servo(f"arm-{number}") for number in range(5)]
    left = drive(known(outputs, TRACK), [Want(0, one.name, Steady(90.0)) for one in outputs], 5 * S)
    assert left[-1].at_us < INRUSH_GAP_US


def test_a_move_goes_on_where_it_is_after_a_reconnect() -> None:
    pacer = known([servo()], TRACK)
    drive(pacer, [Want(0, "boom", Ramp(0, 9 * S, 0.0, 90.0))], 3 * S)
    pacer.forget(4 * S)
    left = drive(pacer, [], 20 * S, now_us=4 * S)
    assert left[0] == Left(4 * S, "boom", 4_000)
    assert left[-1].code == 9_000
    assert [one.code for one in left] == sorted({one.code for one in left})


def test_a_far_end_that_nobody_knows_is_told_what_it_may_show_already() -> None:
    pacer = Pacer([lamp(), relay()], TRACK)
    assert drive(pacer, [Want(0, "lamp", Steady(0.0))], S) == [Left(0, "lamp", 0)]
    assert pacer.next_due(S) is None  # and of the relay nobody wants anything
    pacer.forget(S)
    assert drive(pacer, [], 2 * S, now_us=S) == [Left(S, "lamp", 0)]
    assert pacer.told("lamp") == 0
    assert pacer.told("relay") is None


# --- slots ---------------------------------------------------------------------------------------------------------


def test_a_long_command_takes_its_bytes_worth() -> None:
    outputs = [relay(f"relay-{number}") for number in range(4)]
    wants = [Want(0, one.name, Steady(1.0)) for one in outputs]
    left = drive(known(outputs, Pace(100.0, 1_000.0)), wants, 5 * S, size=20)
    # 20 bytes at 100 bytes a second
    assert [one.at_us for one in left] == [0, 200_000, 400_000, 600_000]
    left = drive(known(outputs, Pace(100.0, 2.0)), wants, 5 * S, size=20)
    assert [one.at_us for one in left] == [0, 500_000, 1_000_000, 1_500_000]


def test_waking_late_does_not_put_off_what_follows() -> None:
    outputs = [relay(f"relay-{number}") for number in range(100)]
    pacer = known(outputs, Pace(11_520.0, 50.0))
    for one in outputs:
        pacer.want(one.name, Steady(1.0), 0)
    late_us = 0
    for number in range(100):
        due_us = pacer.next_due(late_us)
        assert due_us is not None
        late_us = max(due_us, number * 20_000) + 700  # wakes 0.7 ms late, every time
        choice = pacer.choose(late_us)
        assert choice is not None
        pacer.sent(choice.name, choice.code, late_us, SIZE)
        pacer.answered()
    assert late_us == 99 * 20_000 + 700


def test_one_command_at_a_time_waits_for_its_answer() -> None:
    pacer = known([relay("ada"), relay("bea"), relay("cid")], Pace(math.inf, math.inf, 2))
    for name in ("ada", "bea", "cid"):
        pacer.want(name, Steady(1.0), 0)
    for name in ("ada", "bea"):
        assert pacer.next_due(0) == 0
        assert pacer.choose(0) == Choice(name, 1, 0, 1.0)
        pacer.sent(name, 1, 0, SIZE)
    assert pacer.choose(0) is None
    assert pacer.next_due(0) is None  # nothing to wake for: the answer wakes
    pacer.answered()
    assert pacer.next_due(5) == 5
    pacer.sent("cid", 1, 5, SIZE)
    pacer.want("ada", Steady(0.0), 6)
    assert pacer.choose(6) is None
    pacer.forget(7)  # nobody will answer any more
    assert pacer.choose(7) == Choice("bea", 1, 7, 1.0)


def test_a_command_in_two_parts_takes_two_slots() -> None:
    pacer = known([relay("ada")], Pace(11_520.0, 10.0, 2))
    pacer.want("ada", Steady(1.0), 0)
    pacer.sent("ada", 1, 0, SIZE, commands=2)
    pacer.want("ada", Steady(0.0), 1)
    assert pacer.choose(S) is None
    pacer.answered()
    assert pacer.next_due(1) == 200_000
    assert pacer.choose(S) is not None


def test_asked_twice_it_says_the_same_and_before_it_is_due_nothing() -> None:
    pacer = known([lamp(), servo()], TRACK)
    pacer.want("lamp", Ramp(0, 10 * S, 0.0, 1.0), 0)
    pacer.want("boom", Ramp(0, 10 * S, 0.0, 90.0), 0)
    now_us = 0
    for _ in range(200):
        due_us = pacer.next_due(now_us)
        assert due_us is not None
        if due_us > now_us:
            assert pacer.choose(due_us - 1) is None
        now_us = due_us
        choice = pacer.choose(now_us)
        assert choice == pacer.choose(now_us)
        if choice is not None:
            pacer.sent(choice.name, choice.code, now_us, SIZE)
            pacer.answered()


def test_it_wakes_for_commands_and_not_to_look() -> None:
    pacer = known([lamp("ada"), lamp("bea")], Pace(11_520.0, 1_000.0))
    pacer.want("ada", Ramp(10 * S, 20 * S, 0.0, 1.0), 0)
    pacer.want("bea", Steady(1.0), 0)
    now_us = wakes = told = 0
    while (due_us := pacer.next_due(now_us)) is not None:
        now_us, wakes = due_us, wakes + 1
        choice = pacer.choose(now_us)
        if choice is not None:
            told += 1
            pacer.sent(choice.name, choice.code, now_us, SIZE)
            pacer.answered()
    assert told == 256
    assert wakes <= told + 4


def test_when_it_should_have_been_told() -> None:
    pacer = known([lamp("ada"), lamp("bea"), relay("cid")], Pace(11_520.0, 1.0))
    pacer.want("cid", Steady(1.0), 0)
    pacer.sent("cid", 1, 0, SIZE)
    pacer.answered()
    pacer.want("cid", Flashing(300_000, Blink(2 * S, 1, 1, 2)), 300_000)  # off at once
    assert pacer.choose(S) == Choice("cid", 0, 300_000, 1.0)
    pacer.sent("cid", 0, S, SIZE)
    pacer.answered()
    last = pacer.choose(2 * S)  # on since 1.3 s, within the slot of its last command
    assert last == Choice("cid", 1, 1_300_000, 1.0)
    pacer.sent("cid", 1, 2 * S, SIZE)
    pacer.answered()
    pacer.want("cid", Steady(1.0), 2 * S)
    pacer.want("ada", Ramp(2 * S, 2_600_000, 0.0, 0.8), 2 * S)
    pacer.want("bea", Steady(0.9), 2_250_000)
    for at_us, name, since_us in ((3 * S, "bea", 2_250_000), (4 * S, "ada", 2_600_000)):  # from when its wave ended
        choice = pacer.choose(at_us)
        assert choice is not None
        assert (choice.name, choice.since_us, choice.exact) == (name, since_us, True)
        pacer.sent(choice.name, choice.code, at_us, SIZE)
        pacer.answered()


def test_what_has_left_codes_out_is_not_said_to_be_late() -> None:
    pacer = known([lamp("ada"), lamp("bea")], Pace(11_520.0, 5.0))
    for name in ("ada", "bea"):
        pacer.want(name, Ramp(0, 10 * S, 0.0, 1.0), 0)
    drive(pacer, [], 2 * S)
    free_us = pacer.next_due(0)
    assert free_us is not None
    choice = pacer.choose(free_us)
    assert choice is not None
    assert not choice.exact
    assert free_us - 400_000 <= choice.since_us <= free_us


def test_a_process_that_slept_for_a_minute_sends_what_is_wanted_now() -> None:
    outputs = [lamp(f"lamp-{number}") for number in range(5)]
    pacer = known(outputs, TRACK)
    left = drive(pacer, [Want(0, one.name, Ramp(0, 30 * S, 0.0, 1.0)) for one in outputs], S)
    left = drive(pacer, [], 90 * S, now_us=61 * S)
    assert [one.code for one in left] == [255] * 5
    assert left[0].at_us == 61 * S


def test_alarms_do_not_pile_up() -> None:
    pacer = known([lamp()], TRACK)
    for number in range(5_000):
        pacer.want("lamp", Ramp(number, number + 3_600 * S, 0.0, 0.0), number)
    assert len(pacer._alarms) < 200


@pytest.mark.parametrize("pace", [Pace(0.0, 1.0), Pace(1.0, 0.0), Pace(1.0, 1.0, 0)])
def test_a_pace_at_which_nothing_goes_is_refused(pace: Pace) -> None:
    with pytest.raises(ValueError, match="carries"):
        Pacer([], pace)


def test_an_output_of_another_link_is_refused() -> None:
    with pytest.raises(KeyError):
        Pacer([lamp()], TRACK).want("other", Steady(1.0), 0)


def test_a_command_that_ends_at_the_station_takes_nothing_of_the_track() -> None:
    lamps = [Output(name, Kind.LAMP, Setting(0.0), steps=255) for name in ("on-track", "own-pin")]
    pace = Pace(11_520.0, 40.0)
    pacer = Pacer(lamps, pace, off_track={"own-pin"})
    for lamp in lamps:
        pacer.known(lamp.name, 0)
    pacer.sent("own-pin", 3, 0, 11)
    pacer.answered()
    pacer.want("own-pin", Steady(1.0), 1)
    free_us = pacer.next_due(0)
    assert free_us is not None
    assert free_us < 1_000  # a millisecond of the line
    pacer.sent("on-track", 3, 1_000_000, 11)
    pacer.answered()
    free_us = pacer.next_due(0)
    assert free_us is not None
    assert free_us >= 1_012_500  # half a slot may have been saved up
