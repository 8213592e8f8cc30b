"""`fit into`: which lines are squeezed, how far, and that nothing else changes. Times are worked by hand.

Properties are tried on drawn scenes: the total is exact, no line is under its floor, all others share one factor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stage import LAYOUT, S, problems, read, said, sound

from engine.layout import Itself, Layout
from engine.program import Fade, Flash, Move, Program, Statement, Tell, Wait, WaitUntil
from scenes.check import check
from scenes.closing import closing
from scenes.fitting import least, shared
from scenes.problems import Problem
from scenes.walking import walk, whole
from wayside.rehearsal.rehearsing import rehearse

BARRIERS = {"near-barrier", "far-barrier"}
QUICK = replace(LAYOUT, outputs={n: replace(o, travel_us=S // 10) for n, o in LAYOUT.outputs.items()})
"""The stage with servos so quick that the third of what is written is what limits a move."""


def fitted(lines: str, into: str | None, layout: Layout = QUICK, before: str = "") -> str:
    head = f"    fit into {into}\n" if into else ""
    body = "".join(f"    {one}\n" for one in lines.strip("\n").split("\n"))
    return f"{before}scene s\n    runs whenever approach is occupied\n{head}{body}"


def times(text: str, layout: Layout = QUICK) -> list[float]:
    """The seconds of every wait, fade and move of the scene, in the order written."""
    found = []
    for line in walk(*whole(sound(text, layout).scenes["s"])):
        if isinstance(line, Wait):
            found.append(line.high_us / S)
        elif isinstance(line, Fade | Move) and line.over_us is not None:
            found.append(line.over_us / S)
    return found


SEQUENCE = "wait 3 s\nwait 5 s\nmove near-barrier to lowered over 7 s\nmove far-barrier to lowered over 7 s"


def test_one_factor_for_all() -> None:
    assert times(fitted(SEQUENCE, "11 s")) == [1.5, 2.5, 3.5, 3.5]  # 22 s are written


def test_a_line_at_its_floor_leaves_less_for_the_others() -> None:
    # 14 s of wait and move: the wait stays at 3 s, so the move has 5 of its 9
    lines = "wait 5 s, never under 3 s\nmove near-barrier to lowered over 9 s"
    assert times(fitted(lines, "8 s")) == [3.0, 5.0]


def test_us_descent_at_exactly_twenty_seconds_of_warning() -> None:
    """D2 of 49 CFR 234.223 and .225: of 20 s of warning 3 s come before the descent and 5 s after it."""
    lines = "flash red-left, red-right in turn at 50 a minute\nwait 3 s, never under 3 s\n"
    lines += "move near-barrier, far-barrier to lowered over 15 s"
    assert times(fitted(lines, "15 s")) == [3.0, 12.0]


def test_what_comes_after_the_last_lowering_stays() -> None:
    lines = f"{SEQUENCE}\nwait until lane is clear for 4 s\nwait 2 s\nmove near-barrier, far-barrier to raised over 6 s"
    text = fitted(lines, "11 s")
    assert times(text)[-2:] == [2.0, 6.0]
    (release,) = [one for one in sound(text, QUICK).scenes["s"].block if isinstance(one, WaitUntil)]
    assert release.condition.words == "lane is clear for 4 s"
    assert release in sound(fitted(lines, "12 s"), QUICK).scenes["s"].block


@pytest.mark.parametrize(
    ("lines", "seconds"),
    [
        (
            "if lane is occupied\n    wait 4 s\n    {0}\n    wait 50 s\notherwise\n    {0}\n    wait 9 s",
            [2, 4, 50, 4, 9],
        ),
        ("together\n    wait 60 s\n    in order\n        wait 4 s\n        {0}\n        wait 9 s", [60, 2, 4, 9]),
        ("first of\n    wait 60 s\n    in order\n        wait 4 s\n        {0}\n        wait 9 s", [60, 2, 4, 9]),
        ("as long as lane is clear\n    wait 4 s\n    {0}\n    wait 9 s\notherwise\n    wait 7 s", [2, 4, 9, 7]),
        (
            "by chance\n    50 %\n        wait 4 s\n        {0}\n        wait 9 s\n    50 %\n        wait 7 s",
            [2, 4, 9, 7],
        ),
        ("wait 4 s\nwait until bell is on, at most 0 s\notherwise\n    {0}\n    wait 9 s", [2, 4, 9]),
        (
            "for each b in near-barrier, far-barrier, 0 s apart\n"
            "    wait 4 s\n    move b to lowered over 8 s\n    wait 9 s",
            [2, 4, 9] * 2,
        ),
    ],
)
def test_what_comes_after_it_in_a_block_stays_too(lines: str, seconds: list[float]) -> None:
    assert times(fitted(lines.format("move near-barrier to lowered over 8 s"), "6 s")) == seconds


def test_of_members_one_after_another_the_last_ends_with_its_lowering() -> None:
    lines = "for each b in near-barrier, far-barrier\n    move b to lowered over 8 s\n    wait 4 s"
    assert times(fitted(lines, "10 s")) == [4, 2, 4, 4]


def test_a_stop_is_not_squeezed() -> None:
    stop = "when stopped\n    move near-barrier, far-barrier to lowered over 7 s\n"
    assert times(fitted(stop + SEQUENCE, "11 s")) == [1.5, 2.5, 3.5, 3.5, 7.0]


def test_rates_and_lamps_for_a_time_stay() -> None:
    lines = f"turn on amber for 3 s\nflash red-left at 60 a minute\n{SEQUENCE}"
    text = fitted(lines, "14 s")
    assert times(text) == [1.5, 2.5, 3.5, 3.5]  # 3 s of the 14 belong to the amber
    tells = [one for one in sound(text, QUICK).scenes["s"].block if isinstance(one, Tell)]
    assert tells[0].for_us == 3 * S
    (order,) = [order for _, order in tells[1].orders]
    assert isinstance(order, Flash)
    assert order.blink.cycle_us / order.blink.cycles == S


def test_side_by_side_the_longest_way_counts_and_all_keep_step() -> None:
    lines = "together\n    in order\n        wait 2 s\n        move near-barrier to lowered over 8 s\n"
    lines += "    move far-barrier to lowered over 6 s"
    assert times(fitted(lines, "5 s")) == [1.0, 4.0, 3.0]


def test_where_one_way_is_at_its_floors_the_other_still_fits() -> None:
    lines = "together\n    move near-barrier to lowered over 8 s, never under 6 s\n"
    lines += "    move far-barrier to lowered over 12 s"
    assert times(fitted(lines, "6 s")) == [6.0, 6.0]


def test_both_ways_through_an_if_fit() -> None:
    lines = "if lane is occupied\n    wait 4 s\notherwise\n    wait 6 s\nmove near-barrier to lowered over 4 s"
    assert times(fitted(lines, "5 s")) == [2.0, 3.0, 2.0]


def test_half_the_way_is_given_half_of_it() -> None:
    lines = "move near-barrier to 50 % over 8 s\nwait 2 s\nmove near-barrier to lowered over 8 s"
    # 4 + 2 + 4 s take 5; half of a microsecond more for the whole way is none for half of it
    assert times(fitted(lines, "5 s")) == pytest.approx([4.0, 1.0, 4.0], abs=2e-6)


def test_a_drawn_wait_is_squeezed_at_both_ends() -> None:
    text = fitted("wait 2 s to 4 s\nmove near-barrier to lowered over 6 s", "5 s")
    wait = sound(text, QUICK).scenes["s"].block[0]
    assert isinstance(wait, Wait)
    assert (wait.low_us, wait.high_us, wait.written_us) == (1 * S, 2 * S, 4 * S)
    as_written = sound(fitted("wait 2 s to 4 s\nmove near-barrier to lowered over 6 s", None)).scenes["s"].block[0]
    assert isinstance(as_written, Wait)
    assert wait.draw != 0
    assert as_written.draw != 0


def test_the_floor_of_a_drawn_wait_is_one_of_its_shorter_end() -> None:
    text = fitted("wait 2 s to 4 s, never under 1500 ms\nmove near-barrier to lowered over 6 s", "6 s")
    wait = sound(text, QUICK).scenes["s"].block[0]
    assert isinstance(wait, Wait)
    assert (wait.low_us, wait.high_us) == (1_500_000, 3_000_000)


def test_without_a_word_a_third_stays() -> None:
    lines = "wait 3 s\nfade quay-1 to 50 % over 6 s\nmove near-barrier to lowered over 9 s"
    assert times(fitted(lines, "6 s")) == [1.0, 2.0, 3.0]
    assert "takes 6 s at the least" in said(problems(fitted(lines, "5.9 s"), QUICK))


def test_without_a_word_a_move_is_no_quicker_than_its_servo_honestly_goes() -> None:
    # 4 s for the whole travel (layout), and least jerk is 1.875 times as quick at its quickest: 7.5 s
    lines = "wait 3 s\nmove near-barrier to lowered over 9 s"
    assert times(fitted(lines, "8.5 s"), LAYOUT) == [1.0, 7.5]
    assert "takes 8.5 s at the least" in said(problems(fitted(lines, "8.4 s"), LAYOUT))
    assert check(sound(fitted(lines, "8.5 s"), LAYOUT)) == []


def test_a_move_that_is_too_quick_as_it_is_written_is_not_made_slower() -> None:
    lines = "wait 6 s\nmove near-barrier to lowered over 5 s"
    assert times(fitted(lines, "8 s"), LAYOUT) == [3.0, 5.0]


def test_a_floor_below_what_the_servo_can_do_is_told_as_such() -> None:
    text = fitted("wait 3 s\nmove near-barrier to lowered over 9 s, never under 3 s", "5 s")
    (found,) = [one for one in problems(text, LAYOUT) if "full speed" in one.what]
    assert "squeezed to 3.75 s" in found.what
    assert found.instead == "Write `never under 7.5 s` or longer."


def test_routines_and_for_each_written_out_are_squeezed_line_by_line() -> None:
    before = "routine closing with pause\n    wait pause, never under 2 s\n\n"
    lines = "do closing with 3 s\ndo closing with 6 s\n"
    lines += "for each b in near-barrier, far-barrier\n    move b to lowered over 5 s"
    # 19 s are written; the first pause stays at 2 s, so 8 are left for 16
    assert times(fitted(lines, "10 s", before=before)) == [2.0, 3.0, 2.5, 2.5]


def test_a_routine_that_is_done_elsewhere_is_not_squeezed_there() -> None:
    routine = "routine pause\n    wait 4 s, never under 1 s\n\n"
    other = "scene other\n    do pause\n\n"
    text = fitted("do pause\nmove near-barrier to lowered over 4 s", "4 s", before=routine + other)
    program = sound(text, QUICK)
    assert [one.high_us for one in walk(program.scenes["other"].block) if isinstance(one, Wait)] == [4 * S]
    assert times(text) == [2.0, 2.0]
    assert said(problems(text, QUICK)) == ""


def test_later_rounds_go_as_the_first() -> None:
    lines = "repeat\n    wait 4 s\n    move near-barrier to lowered over 4 s\n    wait 9 s"
    assert times(fitted(lines, "6 s")) == [3.0, 3.0, 9.0]


def test_the_scene_says_what_it_was_fitted_into() -> None:
    assert sound(fitted(SEQUENCE, "11 s"), QUICK).scenes["s"].fits_us == 11 * S
    assert sound(fitted(SEQUENCE, None), QUICK).scenes["s"].fits_us is None


def test_a_scene_without_it_is_as_it_was() -> None:
    block = sound(fitted(SEQUENCE, None), QUICK).scenes["s"].block
    assert [getattr(one, "written_us", None) for one in block] == [None] * len(block)
    assert times(fitted(SEQUENCE, None)) == [3.0, 5.0, 7.0, 7.0]


def test_the_squeezed_lines_know_what_was_written() -> None:
    block = sound(fitted(SEQUENCE, "11 s"), QUICK).scenes["s"].block
    assert [getattr(one, "written_us", None) for one in block] == [3 * S, 5 * S, 7 * S, 7 * S]


def test_a_rehearsal_has_the_barriers_down_then() -> None:
    text = fitted(f"turn on amber\n{SEQUENCE}\nturn off amber", "12.345678 s")
    text += "\nrehearsal r\n    plays s\n    lasts 20 s\n"
    program = sound(text, QUICK)
    told = [(one.at_us, one.output) for one in rehearse(program, program.rehearsals["r"]).trace if hasattr(one, "wave")]
    assert told[-1] == (12_345_678, "amber")


# --- what is said --------------------------------------------------------------------------------------------------

DOWN = "move near-barrier to lowered over 8 s"
SAID = [
    ("too much", f"wait 4 s\n{DOWN}", "3 s", "This closing does not fit into 3 s: it takes 4 s at the least.", 3),
    (
        "no barrier",
        "wait 4 s",
        "3 s",
        "`fit into` is for the closing of a crossing, and `s` lowers no barrier of one.",
        3,
    ),
    ("raised only", "move near-barrier to raised over 4 s", "3 s", "`s` lowers no barrier of one", 3),
    ("no time", DOWN, "0 s", "No barrier comes down in no time.", 3),
    ("twice", f"fit into 7 s\n{DOWN}", "6 s", "`fit into` stands here for the second time.", 4),
    (
        "floor above",
        "wait 4 s, never under 5 s\n" + DOWN,
        "9 s",
        "`never under 5 s` is more than the 4 s that are wr",
        4,
    ),
    ("floor above, drawn", "wait 2 s to 4 s, never under 3 s\n" + DOWN, "9 s", "is more than the 2 s that are wr", 4),
    ("floor twice", f"{DOWN}, never under 3 s, never under 2 s", "7 s", "`never under` stands here twice.", 4),
    ("own pace", "move slow-barrier to lowered, never under 2 s", "7 s", "`never under` is set on its board", 4),
]


@pytest.mark.parametrize(("lines", "into", "what", "line"), [one[1:] for one in SAID], ids=[one[0] for one in SAID])
def test_what_cannot_be_fitted_is_an_error(lines: str, into: str, what: str, line: int) -> None:
    found = [one for one in read(fitted(lines, into), QUICK)[1] if not one.advice]
    assert len(found) == 1, said(found)
    assert what in f"{found[0].what} {found[0].instead}"
    assert found[0].place.line == line


def test_what_holds_a_closing_up_is_named_the_longest_first() -> None:
    lines = "turn on amber for 2 s\nwait 3 s, never under 1 s\nwait 6 s\n" + DOWN
    (found,) = [one for one in read(fitted(lines, "3 s", LAYOUT), LAYOUT)[1] if not one.advice]
    assert "it takes 12.5 s at the least" in found.what
    assert found.instead == "Write `fit into 12.5 s` or longer, or let these lines be shorter."
    assert [(place.line, why) for place, why in found.also] == [
        (7, "takes 7.5 s, as long as its servo needs to go so"),
        (4, "takes 2 s, which is never squeezed"),
        (6, "takes 2 s, a third of what is written"),
        (5, "takes 1 s, as its `never under` asks"),
    ]


def advice(text: str, layout: Layout = QUICK) -> list[Problem]:
    return [one for one in read(text, layout)[1] if one.advice]


def test_nothing_to_squeeze_is_said() -> None:
    (found,) = advice(fitted(f"wait 4 s\n{DOWN}", "12 s"))
    assert found.what == "Nothing is squeezed: the last barrier is down after 12 s as it is written."
    assert times(fitted(f"wait 4 s\n{DOWN}", "12 s")) == [4.0, 8.0]


def test_a_wait_that_nobody_can_date_is_counted_as_nothing_and_told() -> None:
    (found,) = advice(fitted(f"wait until lane is clear\nwait 4 s\n{DOWN}", "6 s"))
    assert found.what == "How long this takes is not known beforehand, so `fit into` counts it as no time."
    assert found.place.line == 4
    assert times(fitted(f"wait until lane is clear, at most 3 s\nwait 4 s\n{DOWN}", "9 s")) == [2.0, 4.0]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (fitted(f"wait 4 s, never under 1 s\n{DOWN}", None), "`s` has no `fit into`"),
        (
            fitted(f"{DOWN}\nwait 4 s, never under 1 s", "6 s"),
            "it does not come before the last barrier of `s` is down",
        ),
        (
            fitted(f"when stopped\n    wait 4 s, never under 1 s\n{DOWN}", "6 s"),
            "it does not come before the last barrier of `s` is down",
        ),
    ],
)
def test_a_floor_that_nothing_comes_near_is_told(text: str, why: str) -> None:
    (found,) = advice(text)
    assert found.what == f"Nothing squeezes this line: {why}."


def test_nothing_follows_from_a_line_that_could_not_be_compiled() -> None:
    found = read(fitted("wait 4 s\nmove no-barrier to lowered over 8 s", "6 s"), QUICK)[1]
    assert len(found) == 1, said(found)


def test_a_layout_without_a_crossing_says_so() -> None:
    (found,) = read(fitted(DOWN, "6 s"), replace(QUICK, crossings={}))[1]
    assert "lowers no barrier of one" in found.what
    assert "`crossing`" in found.instead


# --- properties ----------------------------------------------------------------------------------------------------

Tree = int | tuple[str, list["Tree"]]


def trees(leaves: int) -> st.SearchStrategy[Tree]:
    one = st.integers(0, leaves - 1)
    return st.recursive(
        one, lambda inner: st.tuples(st.sampled_from(["and", "beside"]), st.lists(inner, min_size=1, max_size=4))
    )


def takes(tree: Tree, us: Sequence[int]) -> int:
    if isinstance(tree, int):
        return us[tree]
    ends = [takes(one, us) for one in tree[1]]
    return sum(ends) if tree[0] == "and" else max(ends)


def leaves(tree: Tree) -> list[int]:
    return [tree] if isinstance(tree, int) else [leaf for one in tree[1] for leaf in leaves(one)]


@st.composite
def whole_ways(draw: st.DrawFn) -> tuple[list[tuple[int, int]], Tree, int]:
    """Spans, how they stand together, and a time between what the floors and what the lines take."""
    written = draw(st.lists(st.integers(1, 3_600 * S), min_size=1, max_size=7))
    spans = [(us, draw(st.integers(0, us))) for us in written]
    tree = draw(trees(len(spans)))
    low, high = takes(tree, [floor for _, floor in spans]), takes(tree, written)
    return spans, tree, draw(st.integers(low, high))


@given(whole_ways())
def test_the_total_is_exact_and_one_factor_shared(way: tuple[list[tuple[int, int]], Tree, int]) -> None:
    spans, tree, into = way
    found = shared(spans, into, lambda us: takes(tree, us))
    assert found is not None
    total = takes(tree, found)
    often = max(leaves(tree).count(index) for index in range(len(spans)))
    assert into - often < total <= into  # a line that counts several times over grows by as many microseconds
    if often == 1:
        assert total == into
    assert all(floor <= us <= written for us, (written, floor) in zip(found, spans, strict=True))
    # a line above its floor has the common part to the microsecond; one at its floor has no less than that part
    above = [(us, written) for us, (written, floor) in zip(found, spans, strict=True) if us > floor]
    least = max(((us - 1) / written for us, written in above), default=0.0)
    most = min(((us + 1) / written for us, written in above), default=1.0)
    assert least <= most
    assert all((floor + 1) / written >= least for us, (written, floor) in zip(found, spans, strict=True) if us == floor)


@given(whole_ways(), st.integers(1, S))
def test_less_than_the_floors_take_is_refused(way: tuple[list[tuple[int, int]], Tree, int], less: int) -> None:
    spans, tree, _ = way
    assert shared(spans, takes(tree, [floor for _, floor in spans]) - less, lambda us: takes(tree, us)) is None


SECONDS = st.decimals(0.5, 30, places=3).map(lambda one: f"{one} s")


@st.composite
def closings(draw: st.DrawFn) -> str:
    """Lines that lead to two lowerings: waits, fades and moves, some side by side, some with a floor."""

    def one(depth: int) -> list[str]:
        kind = draw(
            st.sampled_from(["wait", "drawn", "fade", "move", "turn", "flash", *(["together", "if"] * (depth < 2))])
        )
        time, floor = draw(SECONDS), draw(st.sampled_from(["", ", never under 400 ms", ", never under 500 ms"]))
        match kind:
            case "wait":
                return [f"wait {time}{floor}"]
            case "drawn":
                return [f"wait 500 ms to {time}{floor}"]
            case "fade":
                return [f"fade quay-1 to 50 % over {time}{floor}"]
            case "move":
                share = draw(st.integers(1, 99))
                return [f"move near-barrier to {share} % over {time}{floor}"]
            case "turn":
                return ["turn on amber"]
            case "flash":
                return ["flash red-left, red-right in turn at 60 a minute each"]
        inner = [line for _ in range(draw(st.integers(1, 3))) for line in one(depth + 1)]
        first = "together" if kind == "together" else "if lane is occupied"
        return [first, *(f"    {line}" for line in inner)]

    before = [line for _ in range(draw(st.integers(0, 4))) for line in one(0)]
    between = [line for _ in range(draw(st.integers(0, 2))) for line in one(0)]
    near, far = (f"move {name}-barrier to lowered over {draw(SECONDS)}" for name in ("near", "far"))
    return "\n".join([*before, near, *between, far, "wait 3 s", "move near-barrier to raised over 4 s"])


def shape(program: Program) -> list[tuple[object, ...]]:
    """The lines of the scene without their times."""
    return [without_times(line) for line in walk(*whole(program.scenes["s"]))]


def without_times(line: Statement) -> tuple[object, ...]:
    match line:
        case Wait():
            return Wait, line.place.line, line.draw
        case Fade() | Move():
            return type(line), line.place.line, line.targets, getattr(line, "arrives", "")
        case Tell():
            return Tell, line.place.line, line.orders, line.for_us
        case _:
            return type(line), line.place.line


@settings(max_examples=150, deadline=None)
@given(closings(), st.integers(0, 1000))
def test_a_drawn_scene_fits_exactly_in_its_order(lines: str, part: int) -> None:
    as_written = sound(fitted(lines, None).replace("occupied\n", "occupied\n\n", 1), QUICK)
    block = as_written.scenes["s"].block
    high = closing(block, QUICK, BARRIERS).down.at_us
    low = least(as_written.scenes["s"], QUICK, BARRIERS).down.at_us
    assert low < high
    into_us = low + (high - low) * part // 1001
    program, found = read(fitted(lines, f"{into_us / S:.6f} s"), QUICK)
    assert not [one for one in found if not one.advice], said(found)
    assert closing(program.scenes["s"].block, QUICK, BARRIERS).down.at_us == into_us
    assert shape(program) == shape(as_written)
    for line in walk(program.scenes["s"].block):
        if isinstance(line, Wait | Fade | Move) and line.written_us is not None:
            us = line.high_us if isinstance(line, Wait) else line.over_us
            assert us is not None
            assert us < line.written_us
            floor_us = line.never_under_us if line.never_under_us is not None else -(-line.written_us // 3)
            assert (line.low_us if isinstance(line, Wait) and line.never_under_us else us) >= floor_us


def test_the_stage_has_a_barrier_that_its_board_moves() -> None:
    assert QUICK.outputs["slow-barrier"].itself is Itself.MOVES
