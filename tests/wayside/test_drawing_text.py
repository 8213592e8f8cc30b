"""Curves as letters: which cell is filled how far, and what stands under the time axis."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.courses import Course, Leg, Script
from engine.layout import Blink
from engine.waves import Flashing, Ramp, Steady, Wave
from wayside.pictures.drawing import LEVEL, Drawing, Hue, Line, Mark
from wayside.pictures.drawing_samples import columns
from wayside.pictures.drawing_text import BLOCKS, PLAIN, letters_for, lines, picture, tick_times

S = 1_000_000


def rows(wave: Wave, to_us: int, across: int, letters: object = BLOCKS) -> list[str]:
    assert letters in (BLOCKS, PLAIN)
    cells = list(columns(wave, 0, to_us, across))
    return [row for _, row in picture(cells, LEVEL, BLOCKS if letters is BLOCKS else PLAIN)]


def test_a_level_fills_so_many_eighths_of_the_height() -> None:
    for eighths in range(1, 65):
        drawn = "".join(row[0] for row in reversed(rows(Steady(eighths / 64), S, 1)))
        assert sum(BLOCKS.parts.index(one) for one in drawn) == eighths
        assert drawn == "".join(sorted(drawn, key=BLOCKS.parts.index, reverse=True))  # from the foot up


@pytest.mark.parametrize("letters", [BLOCKS, PLAIN])
def test_the_faintest_light_is_seen_and_darkness_is_empty(letters: object) -> None:
    assert rows(Steady(0.001), S, 3, letters)[-1].strip()
    assert not "".join(rows(Steady(0.0), S, 3, letters)).strip()


def test_a_curve_that_rises_is_drawn_where_it_is_half_way_through_its_column() -> None:
    feet = [sum(BLOCKS.parts.index(row[x]) for row in rows(Ramp(0, 8 * S, 0.0, 1.0), 8 * S, 8)) for x in range(8)]
    assert feet == [4, 12, 20, 28, 36, 44, 52, 60]


def test_one_jump_in_a_column_is_no_flicker_and_two_are() -> None:
    half_and_half = Flashing(0, Blink(10 * S, 1, 0, 2))  # five seconds lit, five dark
    assert rows(half_and_half, 10 * S, 3) == ["██ "] * 8  # the middle one is lit when it is half over
    assert rows(Flashing(0, Blink(S, 1, 0, 2)), 9 * S, 3) == ["░░░"] * 8


def test_what_is_always_lit_is_filled_and_what_comes_and_goes_is_not() -> None:
    """Between 50 % and 100 %: four rows are filled for good and four come and go."""
    legs = Script.of(Leg(S, 0.5), Leg(S, 1.0))
    assert rows(Course(0, legs, repeats=True), 18 * S, 2) == ["░░"] * 4 + ["██"] * 4


@pytest.mark.parametrize(
    ("encoding", "letters"),
    [("utf-8", BLOCKS), *((other, PLAIN) for other in ("ascii", "latin-1", "cp1252", "x-no", None))],
)
def test_letters_that_the_terminal_has(encoding: str | None, letters: object) -> None:
    assert letters_for(encoding) is letters


def test_plain_letters_are_plain() -> None:
    assert "".join(PLAIN).isascii()


@given(st.integers(10_000, 48 * 3600 * S), st.integers(4, 40))
def test_times_are_round_and_stand_apart(to_us: int, ticks: int) -> None:
    found = tick_times(to_us, to_us / ticks)
    assert found[0] == 0
    assert found[-1] <= to_us
    assert found.step >= to_us / ticks
    assert found.step <= max(1000, 6 * to_us / ticks)


def drawing(**changes: object) -> Drawing:
    plain = Drawing("manners", "oil-lamp", "about", -S, 9 * S, (Line("", Steady(0.5)),))
    return plain._replace(**changes)


def test_marks_stand_under_their_instants() -> None:
    made = list(lines(drawing(marks=(Mark(0, "on"), Mark(5 * S, "off"))), 72, BLOCKS))
    across = 72 - 6 - 1 - 4
    axis, marks = made[-3], made[-1]
    assert marks.index("↑ on") == 7 + across // 10
    assert marks.index("↑ off") == 7 + across * 6 // 10
    assert axis[7 + across // 10] == "┬"  # nought lies where it is told, not where the drawing begins
    assert made[-2][7 + across // 10 :].startswith("0 s")


def test_letters_of_colours_are_left_out_where_there_is_no_room() -> None:
    hues = tuple(Hue(at * S // 50, (at + 1) * S // 50, "WR"[at % 2]) for at in range(450))
    row = list(lines(drawing(hues=hues), 60, BLOCKS))[-1]
    assert len(row) <= 60
    assert set(row.split()) <= {"W", "R"}
    assert len(row.split()) > 10


def test_several_lamps_have_their_names_above_and_one_axis_below() -> None:
    made = list(lines(drawing(lines=(Line("a", Steady(0.2)), Line("b", Steady(0.9)))), 60, BLOCKS))
    assert [line.strip() for line in made if line.strip() in ("a", "b")] == ["a", "b"]
    assert sum("└" in line for line in made) == 1
