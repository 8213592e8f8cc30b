"""What is drawn: samples that miss nothing, lengths that show it whole, and lamps that do as they do in a rehearsal."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine import curves, daylight, landings
from engine.chance import Chance
from engine.characters import read
from engine.courses import Course, Ease, Leg, Script
from engine.curves import Curve
from engine.flicker import Flicker, Listed
from engine.layout import Blink, Layout, Whereabouts
from engine.manners import MANNERS
from engine.trace import Told
from engine.waves import Flashing, Ramp, Steady, Wave
from engine.ways import WAYS
from wayside.pictures import drawing
from wayside.pictures.drawing import GROUPS, LEVEL, LUX, Asked, members
from wayside.pictures.drawing_samples import MOST_TURNS, Column, Sample, Then, columns
from wayside.project import load
from wayside.rehearsal.rehearsing import play

S = 1_000_000


@st.composite
def waves(draw: st.DrawFn) -> Wave:
    key = draw(st.integers(0, 2**64 - 1))
    manner = draw(st.sampled_from([*MANNERS.values()]))
    times = draw(st.integers(1, 10))
    legs = draw(
        st.lists(
            st.builds(Leg, st.integers(1, 3 * S), st.floats(0, 1), st.sampled_from([*Ease])), min_size=1, max_size=6
        )
    )
    return draw(
        st.sampled_from(
            [
                Flicker(0, 0, key, manner, (0.0, 0.0), (0.2, 0.9)),
                Flashing(0, Blink(60 * S, 80, 0, 2)),
                Curve(0, 2 * S, 0.0, 1.0, curves.bouncing(2 * S, times)),
                Curve(0, 600_000, 0.0, 1.0, curves.settling(600_000)),
                Course(0, Script.of(*legs), repeats=True),
                Then(Ramp(0, 5 * S, 1.0, 0.2), 3 * S, Flashing(3 * S, Blink(60 * S, 30, 0, 2))),
            ]
        )
    )


# --- samples -------------------------------------------------------------------------------------------------------


@given(waves(), st.integers(-S, 5 * S), st.integers(2, 4 * S), st.integers(1, 200), st.integers(0, 2**32))
def test_no_value_lies_outside_its_column(wave: Wave, from_us: int, long_us: int, number: int, salt: int) -> None:
    found = list(columns(wave, from_us, from_us + long_us, number))
    assert found[0].samples[0].at_us == from_us
    assert found[-1].samples[-1].at_us == from_us + long_us
    for one, other in pairwise(found):
        assert one.samples[-1].at_us == other.samples[0].at_us
    for index, column in enumerate(found):
        start, end = column.samples[0].at_us, column.samples[-1].at_us
        assert [sample.at_us for sample in column.samples] == sorted(sample.at_us for sample in column.samples)
        if len(column.samples) <= 2 * MOST_TURNS and len(column.samples) != MOST_TURNS + 1:
            at_us = start + (salt * (index + 1)) % (end - start)
            assert column.low - 1e-9 <= wave.value_at(at_us) <= column.high + 1e-9


def test_a_flash_much_shorter_than_a_column_is_not_missed() -> None:
    """25 ms of light in 100 s, in columns of 10 s."""
    script = Script.of(Leg(33 * S, 0.0), Leg(25_000, 1.0), Leg(67 * S, 0.0))
    found = list(columns(Course(0, script), 0, 100 * S, 10))
    assert [column.high for column in found] == [0, 0, 0, 1, 0, 0, 0, 0, 0, 0]
    assert not found[3].one_way
    assert found[3].mean(float) == pytest.approx(0.0025)
    assert found[3].middle == 0.0


def test_jumps_at_the_edge_of_a_column_stay_outside_it() -> None:
    found = list(columns(Flashing(0, Blink(2 * S, 1, 0, 2)), 0, 4 * S, 4))
    assert [(column.low, column.high) for column in found] == [(1, 1), (0, 0), (1, 1), (0, 0)]


def test_a_dense_curve_costs_no_more_than_its_columns() -> None:
    asked: list[int] = []

    class Dense(Flashing):
        def value_at(self, at_us: int) -> float:
            asked.append(at_us)
            return super().value_at(at_us)

    found = list(columns(Dense(0, Blink(20_000, 1, 0, 2)), 0, 48 * 3600 * S, 100))
    assert len(found) == 100
    # of each column its beginning, its end, what was met until it was seen to be dense, and what stands for it
    assert len(asked) < 100 * 20 * MOST_TURNS
    assert all(len(column.samples) <= MOST_TURNS + 1 for column in found)


def test_means_and_middles_are_those_of_the_time_between() -> None:
    column = Column((Sample(0, 0.0), Sample(10, 1.0), Sample(10, 0.5), Sample(30, 0.5)))
    assert column.mean(float) == pytest.approx((10 * 0.5 + 20 * 0.5) / 30)
    assert column.middle == 0.5
    assert not column.one_way
    assert Column((Sample(0, 0.2), Sample(5, 0.2), Sample(9, 0.1))).one_way
    assert Column((Sample(0, 0.0), Sample(10, 1.0))).middle == 0.5


def test_axes() -> None:
    assert [LEVEL.share(value) for value in (-0.5, 0.0, 0.25, 1.0, 1.5)] == [0, 0, 0.25, 1, 1]
    assert [LUX.share(value) for value in (0.0, 0.001, 1.0, 10_000.0, 1e9)] == pytest.approx([0, 0, 3 / 8, 7 / 8, 1])


# --- what each thing does ------------------------------------------------------------------------------------------


def test_everything_has_a_line_about_it() -> None:
    known = members(Asked())
    assert list(known) == list(GROUPS) == list(drawing.DRAWS)
    assert list(known["profiles"]) == list(curves.PROFILES)
    assert list(known["daylight"]) == list(daylight.COURSES)
    assert list(known["ways"]) == list(WAYS)
    assert list(known["manners"]) == list(MANNERS)
    for group, names in known.items():
        for name, about in names.items():
            assert about
            assert all(one.about for one in drawing.DRAWS[group](name, Asked()))
            assert "  " not in about
            assert not about.endswith(".")


@pytest.mark.parametrize("name", WAYS)
def test_a_way_is_shown_whole(name: str) -> None:
    """Dark before, full when it is told to go off, dark at the end."""
    asked = Asked(lamps=("quay-lamp-1", "quay-lamp-2", "quay-lamp-3"))
    (one,) = drawing.way(name, asked)
    on, off = one.marks
    assert (on.at_us, on.text, off.text) == (0, "on", "off")
    for line in one.lines:
        assert line.wave.value_at(one.from_us) == 0.0
        assert line.wave.value_at(off.at_us - 1) == 1.0
        assert line.wave.value_at(one.to_us - 1) == 0.0
        assert one.to_us - off.at_us > 50_000


def test_a_way_of_a_given_length_goes_off_at_its_end_or_not_at_all() -> None:
    (long,) = drawing.way("gas-mantle", Asked(for_us=60 * S))
    assert long.to_us == 60 * S
    assert 58 * S < long.marks[1].at_us < 60 * S
    assert long.lines[0].wave.value_at(60 * S - 1) == 0.0
    (short,) = drawing.way("gas-mantle", Asked(for_us=2 * S))
    assert [mark.text for mark in short.marks] == ["on"]


def test_moves_and_fades_take_all_of_the_time() -> None:
    for name in curves.PROFILES:
        (one,) = drawing.profile(name, Asked(for_us=7 * S))
        wave = one.lines[0].wave
        assert (one.to_us, wave.value_at(0), wave.value_at(7 * S)) == (7 * S, 0.0, 1.0)
        assert 0.0 < wave.value_at(S) < wave.value_at(6 * S) < 1.0


def test_arrivals_are_short_and_paced_and_fit_on_their_axis() -> None:
    for name in ("bouncing", "settling"):
        short, paced = drawing.arrival(name, Asked())
        assert short.to_us < landings.FREE_UNDER_US <= paced.to_us
        assert short.about != paced.about
        for one in (short, paced):
            highest = max(column.high for column in columns(one.lines[0].wave, 0, one.to_us, 500))
            assert highest <= one.axis.high
            assert highest > one.axis.high * 0.85  # and do not leave much of it empty
    assert len(drawing.arrival("bouncing", Asked(), 7)[0].lines[0].wave.profile.impacts) == 8  # type: ignore[attr-defined]


@pytest.mark.parametrize("text", [*drawing.ABOUT_CHARACTERS, "Al WRG 9s", "Mo(SOS) 20s", "VQ", "Fl 60s"])
def test_a_character_is_shown_in_whole_periods_as_charts_have_it(text: str) -> None:
    (one,) = drawing.character(text, Asked())
    found = read(text)
    assert one.name == found.text
    assert one.to_us % found.period_us == 0
    assert one.to_us >= 10 * S
    at_us = 0
    for phase in found.phases:
        middle = at_us + phase.us // 2
        assert one.lines[0].wave.value_at(middle) == (phase.level if phase.colour else 0.0)
        letters = [hue.letters for hue in one.hues if hue.from_us <= middle < hue.to_us]
        assert letters == ([phase.colour] if phase.colour and found.colours != ("W",) else [])
        at_us += phase.us


def test_the_colours_of_two_days_of_a_light_are_limited() -> None:
    (one,) = drawing.character("Al WR 2s", Asked(for_us=48 * 3600 * S))
    assert len(one.hues) <= drawing.MOST_HUES + 2


@pytest.mark.parametrize("name", daylight.COURSES)
def test_daylight_sets_out_and_ends_where_the_engine_has_it(name: str) -> None:
    layout = Layout(daylight_lux=20_000.0, whereabouts=Whereabouts(40.0, -75.0, 2026, 12, 21))
    (one,) = drawing.course(name, Asked(60 * S, layout=layout))
    wave = one.lines[0].wave
    assert wave.value_at(60 * S) == daylight.end_lux(layout.whereabouts, name, 20_000.0)
    falls = name in ("dusk", "nightfall")
    assert (wave.value_at(0) > wave.value_at(60 * S)) is falls
    assert 20_000.0 in (wave.value_at(0), wave.value_at(60 * S))


def test_a_manner_of_the_writers_own_goes_before_ours() -> None:
    mine = Listed("candle", Script.of(Leg(S, 0.3), Leg(S, 0.6)))
    asked = Asked(layout=Layout("Pellbrook Quay"), own={"candle": mine})
    (one,) = drawing.manner("candle", asked)
    assert one.about == "a manner that Pellbrook Quay defines"
    assert {round(one.lines[0].wave.value_at(at), 9) for at in range(0, 9 * S, 77_777)} == {0.3, 0.6}
    assert members(asked)["manners"]["candle"] == one.about


def test_lamps_have_their_own_keys_and_the_seed_counts() -> None:
    one, other = drawing.manner("bonfire", Asked(seed=5, lamps=("forge", "bonfire-lamp")))[0].lines
    assert (one.label, other.label) == ("forge", "bonfire-lamp")
    flicker = Flicker(0, 0, Chance(5).key("forge"), MANNERS["bonfire"], (0.0, 0.0), (0.0, 1.0))
    instants = range(0, 20 * S, 333_333)
    assert [one.wave.value_at(at) for at in instants] == [flicker.value_at(at) for at in instants]
    assert [one.wave.value_at(at) for at in instants] != [other.wave.value_at(at) for at in instants]


def test_then() -> None:
    wave = Then(Steady(0.25), 5, Ramp(5, 9, 0.25, 1.0))
    assert [wave.value_at(at) for at in (0, 4, 5, 9)] == [0.25, 0.25, 0.25, 1.0]
    assert [wave.turns(at) for at in (0, 4, 5, 9)] == [5, 5, 9, None]
    assert Then(Ramp(0, 20, 0.0, 1.0), 5, Steady(0.0)).turns(2) == 5
    assert Then(Ramp(0, 3, 0.0, 1.0), 5, Steady(0.0)).turns(2) == 3
    assert (wave.piece(2).to_us, wave.piece(2).value_at(4), wave.piece(6).to_us) == (5, 0.25, 9)
    assert (wave.ends_us, wave.state) == (9, wave.second.state)


# --- and a rehearsal -----------------------------------------------------------------------------------------------


def test_a_drawing_shows_what_a_rehearsal_plays(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(
        "layout: Pellbrook Quay\nlinks:\n  main: {kind: serial text}\noutputs:\n"
        + "".join(
            f"  {name}: {{kind: lamp, dimmable: yes, link: main, pin: {pin}}}\n"
            for pin, name in enumerate(("forge", "quay-lamp", "harbour-light"), 1)
        )
    )
    (tmp_path / "a.scene").write_text(
        "scene evening\n    flicker forge like embers\n    turn on quay-lamp like tube\n"
        '    show harbour-light as "Fl(2) W 10s"\n    wait 30 s\n'
    )
    program = load([tmp_path]).program
    trace = play(program, "evening", None, 30 * S, seed=7).trace
    played = {record.output: record.wave for record in trace if isinstance(record, Told) and record.at_us == 0}
    drawn = {
        "forge": drawing.manner("embers", Asked(seed=7, lamps=("forge",)))[0],
        "quay-lamp": drawing.way("tube", Asked(for_us=40 * S, seed=7, lamps=("quay-lamp",)))[0],
        "harbour-light": drawing.character("Fl(2) W 10s", Asked())[0],
    }
    for name, one in drawn.items():
        for at_us in range(3 * S, 20 * S, 98_765):  # a flicker is brought up first
            assert one.lines[0].wave.value_at(at_us) == played[name].value_at(at_us), (name, at_us)
