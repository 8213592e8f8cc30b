"""A show day at work: what is begun, what is left out and why, and how it closes. Two drivers, one trace."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from acting import LAYOUT, S, Script, notes, program, states, told, troubles, value

from engine.day import Plan
from engine.drive import jump
from engine.events import AllStop, Close, Detected, GoOn, Input, SetClock, StopScene, Swap
from engine.kernel import Kernel
from engine.layout import Clock
from engine.live import perform
from engine.program import Program
from engine.show_day import CLOSES_WITHIN_US, Happened, ShowDay

H = 3600
ZONE = ZoneInfo("Europe/London")
SCENES = """
scene ferry
    turn on ada
    wait 1 min
    turn off ada

scene gulls
    turn on bea
    wait 10 s
    turn off bea

day x
    opens at 10:00
    closes at 17:00
"""


class Leaping:
    """A clock for the waiting driver. From `falls_s` until `wakes_s` the program is asleep, as a laptop is."""

    def __init__(self, falls_s: float = 1e9, wakes_s: float = 1e9) -> None:
        self._now_us, self._falls_us, self._wakes_us = 0, round(falls_s * S), round(wakes_s * S)

    def now_us(self) -> int:
        return self._now_us

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        await asyncio.sleep(0)
        if due_us is not None:
            self._now_us = max(self._now_us, due_us)
        if self._falls_us <= self._now_us < self._wakes_us:
            self._now_us = self._wakes_us


def made(lines: str, scenes: str = SCENES) -> Program:
    return program(scenes + "".join(f"    {one}\n" for one in lines.strip("\n").split("\n")))


def plan_of(found: Program, begins_s: int = 10 * H) -> Plan:
    midnight = datetime(2026, 12, 5, tzinfo=ZONE)
    return Plan(found.days["x"], date(2026, 12, 5), ZONE, found.layout.clock, midnight + timedelta(seconds=begins_s))


def played(
    found: Program, events: Sequence[tuple[float, Input]] = (), begins_s: int = 10 * H, until: float = 8 * H
) -> tuple[Kernel, ShowDay]:
    """A day on the driver that jumps; the waiting driver must have made the same trace."""
    days = []
    for waits in (False, True):
        plan = plan_of(found, begins_s)
        kernel = Kernel(found, 0, plan.layout_starts_s)
        kernel.hall_starts_s = plan.hall_starts_s
        clock = Leaping()
        day = ShowDay(kernel, plan, Script(events), clock.now_us if waits else None)
        if waits:
            asyncio.run(perform(kernel, day, clock, asyncio.Event(), round(until * S)))
        else:
            jump(kernel, day, round(until * S))
        days.append((kernel, day))
    (kernel, day), (twin, other) = days
    assert twin.trace == kernel.trace
    assert other.log == day.log
    return kernel, day


def asleep(found: Program, falls_s: float, wakes_s: float, begins_s: int = 10 * H) -> tuple[Kernel, ShowDay]:
    plan = plan_of(found, begins_s)
    kernel = Kernel(found, 0, plan.layout_starts_s)
    clock = Leaping(falls_s, wakes_s)
    day = ShowDay(kernel, plan, Script(), clock.now_us)
    asyncio.run(perform(kernel, day, clock, asyncio.Event(), 8 * H * S))
    return kernel, day


def came(day: ShowDay) -> list[tuple[str, str]]:
    """(hall time, what came of it) of the day's lines."""
    return [(_clock(one), one.left_out or one.what) for one in day.log if one.entry is not None]


def _clock(one: Happened) -> str:
    second = one.at_us // S + 10 * H
    return f"{second // H}:{second // 60 % 60:02d}" + (f":{second % 60:02d}" if second % 60 else "")


def begun(kernel: Kernel, scene: str) -> list[float]:
    return [at for at, state in states(kernel, scene) if state == "running"]


# --- what is begun -------------------------------------------------------------------------------------------------


def test_lines_of_every_sort_begin_their_scenes() -> None:
    kernel, day = played(
        made("at 10:30 hall time run ferry\nafter ferry run gulls\nevery 3 h between 12:00 and 16:00 run ferry")
    )
    assert begun(kernel, "ferry") == [1800, 2 * H, 5 * H]
    assert begun(kernel, "gulls") == [1860, 2 * H + 60, 5 * H + 60]
    assert [
        r.why for r in kernel.trace if getattr(r, "scene", "") == "ferry" and getattr(r, "state", "") == "running"
    ] == [
        "10:30 hall time",
        "every 3 h between 12:00 and 16:00",
        "every 3 h between 12:00 and 16:00",
    ]
    assert day.over
    assert notes(kernel) == [(0, "x: opens"), (7 * H, "x: closes"), (7 * H, "x: is over")]


@pytest.mark.parametrize("ratio", [1, 7, 12])
def test_layout_time_is_that_of_a_scene_by_itself(ratio: int) -> None:
    layout = LAYOUT.__class__(**{**{f: getattr(LAYOUT, f) for f in LAYOUT.__slots__}, "clock": Clock(9 * H, ratio)})
    text = (
        "scene own\n    starts at 11:00:01 layout time\n    turn on eve\n"
        + SCENES
        + "    at 11:00:01 layout time run gulls\n"
    )
    kernel, _ = played(program(text, layout))
    assert begun(kernel, "own") == begun(kernel, "gulls")
    assert len(begun(kernel, "own")) == -(-(7 * ratio - 2) // 24)


def test_hall_time_of_a_scene_by_itself_is_the_day_s() -> None:
    text = "scene own\n    starts at 11:00 hall time\n    turn on eve\n" + SCENES + "    at 11:00 hall time run gulls\n"
    kernel, _ = played(program(text))
    assert begun(kernel, "own") == begun(kernel, "gulls") == [H]


def test_a_scene_that_was_stopped_is_followed_by_nothing() -> None:
    kernel, _ = played(made("at 10:30 hall time run ferry\nafter ferry run gulls"), [(1810, StopScene("ferry"))])
    assert begun(kernel, "gulls") == []
    with_lines = SCENES.replace("scene ferry\n", "scene ferry\n    when stopped\n        wait 1 s\n")
    kernel, _ = played(
        made("at 10:30 hall time run ferry\nafter ferry run gulls", with_lines), [(1810, StopScene("ferry"))]
    )
    assert states(kernel, "ferry")[-1] == (1811, "stopped")
    assert begun(kernel, "gulls") == []


@pytest.mark.parametrize(
    ("again", "starts", "ends"),
    [("carry on", [0], [60]), ("start over", [0, 30], [90]), ("once more after", [0, 60], [60, 120])],
)
def test_a_scene_that_is_due_while_it_runs_does_as_it_says(again: str, starts: list[int], ends: list[int]) -> None:
    scenes = SCENES.replace("scene ferry\n", f"scene ferry\n    if started again: {again}\n")
    kernel, day = played(made("at 10:00 hall time run ferry\nat 10:00:30 hall time run ferry", scenes))
    assert begun(kernel, "ferry") == starts
    assert [at for at, state in states(kernel, "ferry") if state == "ended"] == ends
    assert [one.what for one in day.log if one.entry][1].startswith("runs already")


# --- quiet ---------------------------------------------------------------------------------------------------------


def test_in_quiet_hours_nothing_begins_by_a_clock_and_what_runs_goes_on() -> None:
    text = (
        "scene by-itself\n    starts every 30 min\n    turn on eve\nscene crossing\n"
        "    runs whenever near is occupied\n"
        "    turn on fay\n    wait until near is clear\n    turn off fay\n" + SCENES
    )
    lines = "quiet from 12:00 to 13:00\nevery 30 min between 11:30 and 13:00 run gulls\nat 11:59:30 hall time run ferry"
    kernel, day = played(
        made(lines, text), [(2.5 * H, Detected("near", "occupied")), (2.6 * H, Detected("near", "clear"))]
    )
    assert begun(kernel, "gulls") == [1.5 * H, 3 * H]
    assert came(day)[2:5] == [("12:00", "it is quiet"), ("12:30", "it is quiet"), ("13:00", "begins")]
    assert states(kernel, "ferry")[-1] == (2 * H + 30, "ended")  # through the beginning of the quiet
    assert [at for at in begun(kernel, "by-itself") if 2 * H <= at < 3 * H] == []
    assert {1.5 * H, 3 * H} <= set(begun(kernel, "by-itself"))
    assert begun(kernel, "crossing") == [2.5 * H]
    assert (2 * H, "gulls is left out (every 30 min between 11:30 and 13:00): it is quiet") in notes(kernel)


def test_before_it_opens_nothing_begins_by_a_clock() -> None:
    text = "scene by-itself\n    starts every 30 min\n    turn on eve\n" + SCENES
    kernel, _ = played(made("at 10:00 hall time run gulls", text), begins_s=9 * H, until=2 * H)
    assert begun(kernel, "by-itself") == [H, 1.5 * H]  # an hour after nine it opens, and that is an instant of the day
    assert begun(kernel, "gulls") == [H]


# --- late, asleep --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("begins", "came_of"),
    [
        (10 * H + 39 * 60 + 59, "begins"),
        (10 * H + 40 * 60, "begins"),
        (10 * H + 40 * 60 + 1, "missed by 10 min"),
        (12 * H, "missed by 1 h 30 min"),
    ],
)
def test_a_late_start(begins: int, came_of: str) -> None:
    kernel, day = played(made("at 10:30 hall time run gulls"), begins_s=begins)
    assert [one.left_out or one.what for one in day.log if one.entry] == [came_of]
    assert begun(kernel, "gulls") == ([0] if came_of == "begins" else [])


def test_of_every_only_the_last_is_made_up_for() -> None:
    kernel, day = played(made("every 25 min run gulls"), begins_s=12 * H + 12 * 60)
    first = next(one for one in day.log if one.entry)
    assert (first.what, first.late_us, first.missed, first.left_out) == (
        "begins",
        7 * 60 * S,
        5,
        "",
    )  # 12:05, the sixth
    assert begun(kernel, "gulls")[:2] == [0, 18 * 60]  # and then as ever, at 12:30
    _, day = played(made("every 25 min run gulls"), begins_s=12 * H + 16 * 60)
    assert next(one for one in day.log if one.entry).left_out == "missed by 11 min, the last of 6"


def test_asleep_for_two_hours() -> None:
    lines = "every 25 min run gulls\n" + "".join(
        f"at {time} hall time run ferry\n" for time in ("10:30", "12:25", "13:00")
    )
    woken = 2 * H + 32 * 60
    kernel, day = asleep(made(lines), 20 * 60, woken)  # from 10:20 on
    assert begun(kernel, "gulls")[:3] == [0, woken, 2 * H + 55 * 60]  # of six that were missed the last, 12:30
    assert begun(kernel, "ferry") == [woken, 3 * H]  # 12:25, seven minutes late
    left_out = [(one.entry.words, one.left_out) for one in day.log if one.left_out and one.entry]
    assert left_out == [("10:30 hall time", "missed by 2 h 2 min")]
    assert [one.missed for one in day.log if one.entry and one.entry.scene == "gulls"][:2] == [0, 5]
    whys = [getattr(record, "why", "") for record in kernel.trace]
    assert "12:25 hall time, 7 min late" in whys
    assert troubles(kernel) == []


@pytest.mark.parametrize(("due", "wakes_s"), [("11:55", 2 * H + 120), ("12:58", 3 * H + 120)])
def test_asleep_at_the_edge_of_the_quiet(due: str, wakes_s: float) -> None:
    """What was missed is not made up for in the quiet, nor what was missed in the quiet after it."""
    kernel, day = asleep(made(f"quiet from 12:00 to 13:00\nat {due} hall time run gulls"), 1.8 * H, wakes_s)
    assert [one.left_out for one in day.log if one.entry] == ["it is quiet"]
    assert begun(kernel, "gulls") == []


def test_asleep_while_scenes_went_on_by_themselves() -> None:
    """The kernel works what they had due one by one, in the past; what the day begins, it begins in the present."""
    text = "scene by-itself\n    starts every 1 min\n    turn on eve\n" + SCENES
    kernel, _ = asleep(made("at 12:25 hall time run ferry", text), H, 2.5 * H)
    assert len(begun(kernel, "by-itself")) > 400
    assert begun(kernel, "ferry") == [2.5 * H]
    assert states(kernel, "ferry")[-1] == (2.5 * H + 60, "ended")


def test_asleep_over_the_closing() -> None:
    found = made(
        "at 16:00 hall time run gulls\nat 16:58 hall time run gulls\nat closing\n    move boom to lowered over 8 s"
    )
    kernel, day = asleep(found, 6.9 * H, 7.5 * H)
    assert came(day) == [("16:00", "begins"), ("17:30", "the day has closed")]
    assert begun(kernel, "gulls") == [6 * H]
    assert begun(kernel, "closing of x") == [7.5 * H]  # when it wakes, and in its own time
    assert states(kernel, "closing of x")[-1] == (7.5 * H + 8, "stopped")
    assert value(kernel, "boom", 7.6 * H) == 0.0


def test_a_clock_that_is_set_changes_what_goes_by_it() -> None:
    found = made("at 14:00 layout time run gulls\nat 14:00 hall time run ferry")  # the layout clock starts from 12:00
    kernel, _ = played(found, [(H, SetClock(13 * H + 1800, None))])
    assert begun(kernel, "gulls") == [H + 1800]
    assert begun(kernel, "ferry") == [4 * H]
    kernel, _ = played(found, [(H, SetClock(None, False))])
    assert begun(kernel, "gulls") == []
    kernel, _ = played(found, [(H, SetClock(None, False)), (2 * H, SetClock(None, True))])
    assert begun(kernel, "gulls") == [3 * H]


# --- closing -------------------------------------------------------------------------------------------------------

ENDLESS = """
scene windows
    when stopped
        turn off cid
        wait 5 s
    repeat
        turn on cid
        wait 7 s
        turn off cid
        wait 5 s

scene crane-works
    repeat
        move boom to lowered over 4 s
        move boom to raised over 4 s

scene gate-keeper
    runs whenever near is occupied
    when stopped
        move gate to lowered over 4 s
    move gate to lowered over 4 s
    wait until near is clear
    move gate to raised over 4 s
"""


def test_at_closing_its_lines_run_and_what_they_told_stays_so() -> None:
    lines = (
        "at 16:00 hall time run windows\nat 16:00 hall time run crane-works\nat closing\n"
        "    run gulls\n    move boom to lowered over 4 s\n    turn on dot\n    wait 3 s"
    )
    kernel, day = played(made(lines, ENDLESS + SCENES))
    closes = 7 * H
    assert begun(kernel, "gulls") == [closes]
    ended = next(at for at, state in states(kernel, "windows") if state == "stopping")
    assert closes + 13 <= ended <= closes + 17  # after the lines of the closing, and not before
    assert states(kernel, "crane-works")[-1][1] == "stopped"
    assert states(kernel, "closing of x")[-1] == (ended + 5, "stopped")  # it lets go last
    assert value(kernel, "boom", 8 * H) == 0.0  # at rest it is raised, and crane-works would have it move
    assert value(kernel, "dot", 8 * H) == 1.0
    assert value(kernel, "cid", 8 * H) == 0.0
    assert value(kernel, "gate", 8 * H) == 0.0  # guarded: in its safe state
    assert day.over


def test_what_is_guarded_is_left_safe_whatever_the_closing_did_with_it() -> None:
    kernel, _ = played(made("at closing\n    move gate to raised over 4 s\n    wait 1 min"))
    assert value(kernel, "gate", 7 * H + 60) > 0
    assert value(kernel, "gate", 8 * H) == 0.0


def test_after_the_closing_nothing_begins() -> None:
    lines = "at closing\n    wait 1 min"
    events = [
        (7 * H + 30, Detected("near", "occupied")),
        (7 * H + 200, Detected("near", "clear")),
        (7 * H + 300, Detected("near", "occupied")),
    ]
    kernel, _ = played(made(lines, ENDLESS + SCENES), events)
    assert begun(kernel, "gate-keeper") == [7 * H + 30]  # while the closing's lines run a crossing still works
    assert states(kernel, "gate-keeper")[-1] == (7 * H + 60, "stopped")  # and then it is closed


def test_a_closing_that_never_ends_is_ended() -> None:
    kernel, day = played(made("at closing\n    wait until near is occupied\n    turn on dot"))
    limit = 7 * H + CLOSES_WITHIN_US / S
    assert notes(kernel)[-2:] == [(limit, "`at closing` took too long, and was ended"), (limit, "x: is over")]
    assert day.over


def test_a_show_that_somebody_ends_is_not_closed_again() -> None:
    kernel, day = played(made("at 11:00 hall time run gulls\nat closing\n    turn on dot"), [(1800, Close())])
    assert day.over
    assert begun(kernel, "gulls") == begun(kernel, "closing of x") == []


def test_all_stop_holds_the_day_and_its_closing_is_left_out() -> None:
    found = made("at 11:00 hall time run gulls\nat 12:00 hall time run gulls\nat closing\n    turn on dot")
    kernel, day = played(found, [(1800, AllStop()), (1.5 * H, GoOn())])
    assert came(day) == [("11:00", "everything is stopped"), ("12:00", "begins")]
    kernel, day = played(found, [(1800, AllStop())])
    assert notes(kernel)[-1] == (7 * H, "x: is over")
    assert told(kernel, "dot") == []


def test_a_day_without_a_closing_block_ends_its_scenes_all_the_same() -> None:
    kernel, day = played(made("at 16:00 hall time run crane-works", ENDLESS + SCENES))
    assert states(kernel, "crane-works")[-1] == (7 * H, "stopped")
    assert day.over


def test_a_program_without_a_day_is_as_it_was() -> None:
    found = program(ENDLESS)
    assert found.days == {}
    kernel = Kernel(found)
    jump(kernel, Script(), 60 * S)
    assert (kernel.quiet, kernel.closed) == (False, False)


# --- another text --------------------------------------------------------------------------------------------------

DAY = "at 10:30 hall time run ferry\nat 12:00 hall time run ferry\nevery 1 h between 14:00 and 16:00 run gulls"


def swapped(lines: str, at_h: float, scenes: str = SCENES) -> tuple[float, Input]:
    return (at_h - 10) * H, Swap(made(lines, scenes), False)


def test_a_day_whose_lines_are_swapped_begins_what_is_still_to_come_and_nothing_that_has_passed() -> None:
    new = "at 10:15 hall time run gulls\nat 12:30 hall time run ferry\nevery 1 h between 10:00 and 16:00 run gulls"
    kernel, _ = played(made(DAY), [swapped(new, 11.5)])
    assert begun(kernel, "ferry") == [0.5 * H, 2.5 * H]
    assert begun(kernel, "gulls") == [n * H for n in range(2, 7)]
    assert [text for _, text in notes(kernel) if "x:" in text] == ["x: opens", "x: closes", "x: is over"]


def test_a_day_that_only_stands_elsewhere_goes_on_as_it_was() -> None:
    plain, _ = played(made(DAY))
    kernel, day = played(made(DAY), [swapped(DAY, 11.5, "\n\n\n" + SCENES)])
    assert begun(kernel, "ferry") == begun(plain, "ferry")
    assert begun(kernel, "gulls") == begun(plain, "gulls")
    lines = [one.entry.place.line for one in day.log if one.entry is not None]
    assert lines == [15, 16 + 3, 17 + 3, 17 + 3, 17 + 3]


def test_what_comes_after_a_scene_comes_after_it_when_its_end_is_what_the_swap_waited_for() -> None:
    lines = "at 10:30 hall time run ferry\nafter ferry run gulls"
    other = SCENES.replace("wait 1 min", "wait 2 min").replace("closes at 17:00", "closes at 16:00")
    kernel, day = played(made(lines), [(H / 2 + 10, Swap(made(lines, other), False))])
    assert begun(kernel, "gulls") == [H / 2 + 60]
    assert [one.at_us for one in day.log if one.what == "closes"] == [6 * H * S]


def test_a_closing_time_that_has_passed_closes_now_and_quiet_hours_hold_at_once() -> None:
    kernel, day = played(made(DAY), [swapped(DAY, 15.5, SCENES.replace("17:00", "15:00"))])
    assert [one.at_us for one in day.log if one.what == "closes"] == [5.5 * H * S]
    assert day.over
    kernel, _ = played(made(DAY), [swapped(f"quiet from 11:00 to 15:30\n{DAY}", 11.5)])
    assert begun(kernel, "ferry") == [0.5 * H]
    assert begun(kernel, "gulls") == [6 * H]


def test_a_day_swapped_before_it_opens_opens_by_its_new_hours() -> None:
    new = SCENES.replace("opens at 10:00", "opens at 11:00")
    kernel, _ = played(made(DAY), [(60.0, Swap(made(DAY, new), False))], 9 * H, 9 * H)
    assert [at for at, text in notes(kernel) if text == "x: opens"] == [2 * H]
    assert begun(kernel, "ferry") == [3 * H]
