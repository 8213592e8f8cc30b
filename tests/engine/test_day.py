"""When a day has something due, held to the calendar library itself, to zoneinfo and to dateutil.

Changes of clocks in 2026: Europe/London 29 March and 25 October, America/New_York 8 March and 1 November,
Australia/Lord_Howe (half an hour) 5 April and 4 October; all from the zone database.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pytest
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.day import Plan, date_of, on_the_wall
from engine.layout import NOWHERE, Clock
from engine.program import Day, DayAt, DayEvery, Quiet

S = 1_000_000
H = 3600
NIGHTS = [
    ("Europe/London", date(2026, 3, 29)),
    ("Europe/London", date(2026, 10, 25)),
    ("America/New_York", date(2026, 3, 8)),
    ("America/New_York", date(2026, 11, 1)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
]
LONDON = ZoneInfo("Europe/London")
SATURDAY = date(2026, 12, 5)


def at(second: int, layout_time: bool = False) -> DayAt:
    return DayAt(NOWHERE, "", "s", second, layout_time)


def every(minutes: int, between: tuple[int, int] | None = None) -> DayEvery:
    return DayEvery(NOWHERE, "", "s", minutes * 60, between)


def day(
    *entries: DayAt | DayEvery, opens: int = 10 * H, closes: int | None = 17 * H, quiet: tuple[Quiet, ...] = ()
) -> Day:
    return Day("x", NOWHERE, opens, closes, quiet, entries)


def shown(plan: Plan) -> list[str]:
    """Every time that is due, as the hall's clock shows it."""
    return [f"{plan.hall(due.at_us):%a %H:%M:%S}" for due in every_due(plan)]


class Due(NamedTuple):
    at_us: int
    number: int


def every_due(plan: Plan) -> list[Due]:
    """All that the day has, in order: each entry asked on and on, as a show day does."""
    found = []
    for number in range(len(plan.day.entries)):
        at_us: int | None = plan.opens_us - 1
        while at_us is not None and (at_us := plan.following(number, at_us)) is not None:
            found.append(Due(at_us, number))
    return sorted(found)


# --- the clock on the wall -----------------------------------------------------------------------------------------


def walked(zone: ZoneInfo, on: date) -> dict[datetime, datetime]:
    """What the wall shows, minute by minute, and when it shows it first: found by walking through universal time."""
    start = datetime(on.year, on.month, on.day, tzinfo=UTC) - timedelta(hours=15)
    first: dict[datetime, datetime] = {}
    for minute in range(60 * 54):
        instant = start + timedelta(minutes=minute)
        first.setdefault(instant.astimezone(zone).replace(tzinfo=None), instant)
    return first


@pytest.mark.parametrize(("name", "on"), NIGHTS)
def test_every_minute_of_a_night_on_which_clocks_change(name: str, on: date) -> None:
    zone = ZoneInfo(name)
    first = walked(zone, on)
    skipped = twice = 0
    for minute in range(24 * 60):
        wall = datetime(on.year, on.month, on.day) + timedelta(minutes=minute)
        found = on_the_wall(on, minute * 60, zone)
        next_shown = next(wall + timedelta(minutes=m) for m in range(120) if wall + timedelta(minutes=m) in first)
        assert found.astimezone(UTC) == first[next_shown]
        # dateutil's own opinion of which times there are, and which twice
        there = tz.gettz(name)
        assert tz.datetime_exists(wall, there) is (found.replace(tzinfo=None) == wall)
        if tz.datetime_ambiguous(wall, there):
            twice += 1
            assert found.astimezone(UTC) == wall.replace(tzinfo=there, fold=0).astimezone(UTC)
            assert found.astimezone(UTC) < wall.replace(tzinfo=there, fold=1).astimezone(UTC)
        skipped += not tz.datetime_exists(wall, there)
    assert sorted((skipped, twice)) == [0, 30 if name.endswith("Howe") else 60]


@pytest.mark.parametrize("second", [0, 9 * H, 10 * H + 30 * 60, 17 * H + 45 * 60 + 7, 86_399])
def test_an_ordinary_day_is_as_the_library_has_it(second: int) -> None:
    wall = datetime(2026, 12, 5) + timedelta(seconds=second)
    theirs = CronTrigger(hour=wall.hour, minute=wall.minute, second=wall.second, timezone=LONDON)
    assert on_the_wall(SATURDAY, second, LONDON) == theirs.get_next_fire_time(
        None, datetime(2026, 12, 5, tzinfo=LONDON)
    )
    assert on_the_wall(SATURDAY, second, LONDON) == wall.replace(tzinfo=LONDON)


def test_a_skipped_time_is_the_next_minute_and_a_double_one_comes_once() -> None:
    night = day(at(1 * H + 30 * 60), opens=22 * H, closes=4 * H)
    spring, autumn = (Plan(night, on, LONDON, Clock()) for on in (date(2026, 3, 28), date(2026, 10, 24)))
    assert shown(spring) == ["Sun 02:00:00"]
    assert [plan.hall(due.at_us).utcoffset() for plan in (autumn,) for due in every_due(plan)] == [timedelta(hours=1)]
    assert (spring.ends_us, autumn.ends_us) == (5 * H * S, 7 * H * S)  # an hour less, an hour more


@pytest.mark.parametrize(("on", "times"), [(date(2026, 3, 28), 7), (date(2026, 10, 24), 11)])
def test_every_half_hour_counts_what_passes(on: date, times: int) -> None:
    """From 0:00 to 4:00 by the wall are 3 hours in spring and 5 in autumn; the library's own chain says the same."""
    night = day(every(30, (0, 4 * H)), opens=22 * H, closes=5 * H)
    plan = Plan(night, on, LONDON, Clock())
    ours = [plan.hall(due.at_us) for due in every_due(plan)]
    morning = on + timedelta(days=1)
    first, last = (datetime(morning.year, morning.month, morning.day, hour, tzinfo=LONDON) for hour in (0, 4))
    trigger = IntervalTrigger(minutes=30, start_date=first, end_date=last, timezone=LONDON)
    theirs, before = [], None
    while (fires := trigger.get_next_fire_time(before, first)) is not None:
        theirs.append(fires)
        before = fires
    assert ours == theirs
    assert len(ours) == times
    assert {b.astimezone(UTC) - a.astimezone(UTC) for a, b in pairwise(ours)} == {timedelta(minutes=30)}


# --- a day ---------------------------------------------------------------------------------------------------------


def test_opening_closing_and_quiet_are_counted_from_the_beginning() -> None:
    plan = Plan(day(quiet=(Quiet(NOWHERE, 12 * H, 13 * H),)), SATURDAY, LONDON, Clock())
    assert (plan.opens_us, plan.ends_us, plan.quiet) == (0, 7 * H * S, ((2 * H * S, 3 * H * S),))
    assert [plan.is_quiet(us) for us in (2 * H * S - 1, 2 * H * S, 3 * H * S)] == [False, True, False]
    late = Plan(day(), SATURDAY, LONDON, Clock(), datetime(2026, 12, 5, 12, tzinfo=LONDON))
    assert (late.opens_us, late.ends_us, late.hall_starts_s) == (-2 * H * S, 5 * H * S, 12 * H)


def test_both_ends_of_every_count_but_not_the_closing() -> None:
    assert shown(Plan(day(every(60, (11 * H, 13 * H))), SATURDAY, LONDON, Clock())) == [
        "Sat 11:00:00",
        "Sat 12:00:00",
        "Sat 13:00:00",
    ]
    assert shown(Plan(day(every(210)), SATURDAY, LONDON, Clock())) == ["Sat 10:00:00", "Sat 13:30:00"]
    assert shown(Plan(day(at(17 * H)), SATURDAY, LONDON, Clock())) == []
    assert shown(Plan(day(at(10 * H)), SATURDAY, LONDON, Clock())) == ["Sat 10:00:00"]


def test_a_day_without_closing_goes_on_until_it_would_open_again() -> None:
    plan = Plan(day(at(9 * H), closes=None), date(2026, 3, 28), LONDON, Clock())
    assert (plan.closes, plan.ends_us) == (False, 23 * H * S)  # the night on which clocks go forward
    assert shown(plan) == ["Sun 09:00:00"]


@pytest.mark.parametrize(("ratio", "times"), [(1, ["Sat 10:15:00"]), (4, ["Sat 10:03:45", "Sat 16:03:45"])])
def test_layout_time_starts_at_opening(ratio: int, times: list[str]) -> None:
    clock = Clock(17 * H + 30 * 60, ratio)
    plan = Plan(day(at(17 * H + 45 * 60, layout_time=True)), SATURDAY, LONDON, clock)
    assert shown(plan) == times
    late = Plan(plan.day, SATURDAY, LONDON, clock, datetime(2026, 12, 5, 12, tzinfo=LONDON))
    assert shown(late) == times
    assert late.layout_starts_s == (17 * H + 30 * 60 + 2 * H * ratio) % 86_400


def test_nothing_is_due_before_the_opening_however_early_the_show_begins() -> None:
    early = datetime(2026, 12, 5, 8, tzinfo=LONDON)
    plan = Plan(day(at(9 * H, layout_time=True), every(60)), SATURDAY, LONDON, Clock(10 * H), early)
    assert plan.following(0, -1) is None  # the layout clock, too, shows nine at nine
    assert plan.following(1, -1) == 2 * H * S


def test_several_can_be_due_at_once() -> None:
    plan = Plan(day(every(60), at(12 * H), at(11 * H)), SATURDAY, LONDON, Clock())
    assert [plan.following(number, 0) for number in range(3)] == [1 * H * S, 2 * H * S, 1 * H * S]
    assert [plan.following(number, 1 * H * S) for number in range(3)] == [2 * H * S, 2 * H * S, None]


@pytest.mark.parametrize(("hour", "belongs"), [(23, SATURDAY), (1, SATURDAY - timedelta(1)), (2, SATURDAY)])
def test_after_midnight_a_show_belongs_to_the_day_before_until_it_closes(hour: int, belongs: date) -> None:
    night = day(opens=22 * H, closes=2 * H)
    assert date_of(night, datetime(2026, 12, 5, hour, tzinfo=LONDON)) == belongs


seconds = st.integers(0, 86_399)
entries = st.one_of(
    st.builds(at, seconds, st.booleans()),
    st.builds(every, st.integers(1, 700), st.none() | st.tuples(seconds, seconds)),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(entries, min_size=1, max_size=4), seconds, seconds, st.sampled_from(NIGHTS), st.integers(1, 30))
def test_times_come_in_order_and_only_while_the_day_is_open(
    found: list[DayAt | DayEvery], opens: int, closes: int, night: tuple[str, date], ratio: int
) -> None:
    zone, on = ZoneInfo(night[0]), night[1] - timedelta(days=1)
    plan = Plan(day(*found, opens=opens, closes=closes), on, zone, Clock(12 * H, ratio))
    dues = every_due(plan)
    times = [due.at_us for due in dues]
    assert times == sorted(times)
    assert all(plan.opens_us <= one < plan.ends_us for one in times)
    assert len(dues) == len(set(dues))
    for number in range(len(found)):  # and asked in between, an entry says the same
        alone = [due.at_us for due in dues if due.number == number]
        for before, after in zip([-1, *alone], [*alone, None], strict=True):
            between = before + (0 if after is None else (after - before) // 2)
            assert plan.following(number, between) == after
