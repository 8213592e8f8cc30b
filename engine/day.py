"""When a show day has something due: hall time by the calendar library's triggers, layout time by the layout clock.

Pure: instants are microseconds of the performance, and the present is always given. Knows no kernel and no scene.
Imported only where a day is performed: the calendar library takes a moment to load.

Hall time is what the clock on the wall shows. On the nights when that clock is put forward or back:
a time that it skips is taken to be the next minute that it does show; one that it shows twice is the first of the two;
`every 25 min` counts minutes that pass, whatever the clock does.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, tzinfo

from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger

from engine.day_clock import DAY_US, LayoutClock
from engine.layout import Clock
from engine.program import Day, DayAfter, DayAt, DayEntry, DayEvery

DAY_S = 86_400
SECOND_US = 1_000_000
_US = timedelta(microseconds=1)
_NEXT = timedelta(days=1)


def local_zone() -> tzinfo:
    """The zone of this computer's clock."""
    zone: tzinfo = CronTrigger(hour=0).timezone
    return zone


def on_the_wall(on: date, second_of_day: int, zone: tzinfo) -> datetime:
    """The instant at which the hall's clock shows a time on a date: the first, or if it skips it the next minute."""
    wall = datetime(on.year, on.month, on.day) + timedelta(seconds=second_of_day)
    while not _exists(wall, zone):
        wall = wall.replace(second=0) + timedelta(minutes=1)
    trigger = CronTrigger(
        *(wall.year, wall.month, wall.day), hour=wall.hour, minute=wall.minute, second=wall.second, timezone=zone
    )
    fires: datetime | None = trigger.get_next_fire_time(None, datetime(wall.year, wall.month, wall.day, tzinfo=zone))
    assert fires is not None, f"{wall} exists in {zone}"
    return fires


def _exists(wall: datetime, zone: tzinfo) -> bool:
    return wall.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None) == wall


def date_of(day: Day, now: datetime) -> date:
    """The date of the show day that an instant belongs to: the day before, while that one is still open.

    `now` knows its zone, which is the hall's.
    """
    zone = now.tzinfo
    assert zone is not None
    today = now.date()
    before = Plan(day, today - _NEXT, zone, Clock())
    return today - _NEXT if before.us(now) < before.ends_us else today


class Plan:
    """One show day on one date. Instants count from `begins`, which is the opening unless it is given.

    `opens_us`, `ends_us`: from when until before when it is open. `closes`: whether anything closes it. `clock`: the
    layout clock; where a hand may set that, give the one that is set.
    """

    def __init__(self, day: Day, on: date, zone: tzinfo, clock: Clock, begins: datetime | None = None) -> None:
        self.day = day
        self.date = on
        self.zone = zone
        opens = on_the_wall(on, day.opens_s, zone)
        self._begins = (begins or opens).astimezone(UTC)
        self.opens_us = self.us(opens)
        # at opening the layout clock shows what the layout file says
        self.layout_starts_s = (clock.starts_s - self.opens_us * clock.ratio // SECOND_US) % DAY_S
        self.clock = LayoutClock(self.layout_starts_s, clock.ratio)
        self.closes = day.closes_s is not None
        self.ends_us = self._us_of(day.closes_s) if day.closes_s is not None else self._day_after_us()
        self.quiet = tuple((self._us_of(one.from_s), self._us_of(one.to_s)) for one in day.quiet)
        self._intervals = {
            number: self._interval(entry) for number, entry in enumerate(day.entries) if isinstance(entry, DayEvery)
        }

    def of(self, day: Day) -> Plan:
        """The plan of the same date with other lines. The layout clock goes on as it is."""
        made = Plan(day, self.date, self.zone, Clock(), self._begins)
        made.clock, made.layout_starts_s = self.clock, self.layout_starts_s
        return made

    def us(self, at: datetime) -> int:
        """The instant in microseconds of the performance."""
        return (at.astimezone(UTC) - self._begins) // _US

    def hall(self, at_us: int) -> datetime:
        """What the hall's clock and calendar show at an instant."""
        return (self._begins + at_us * _US).astimezone(self.zone)

    @property
    def hall_starts_s(self) -> int:
        """What the hall's clock shows at 0, in seconds after midnight."""
        wall = self.hall(0)
        return wall.hour * 3600 + wall.minute * 60 + wall.second

    def is_quiet(self, at_us: int) -> bool:
        return any(from_us <= at_us < to_us for from_us, to_us in self.quiet)

    # --- what is due -----------------------------------------------------------------------------------------------

    def following(self, number: int, after_us: int) -> int | None:
        """The first instant later than `after_us` at which an entry is due while the day is open; None if none is."""
        entry = self.day.entries[number]
        after_us = max(after_us, self.opens_us - 1)
        due = self._following(entry, number, after_us)
        return due if due is not None and due < self.ends_us else None

    def _following(self, entry: DayEntry, number: int, after_us: int) -> int | None:
        match entry:
            case DayAt(second_of_day=second, layout_time=True):
                return self._layout(second, after_us)
            case DayAt(second_of_day=second):
                at = self._us_of(second)
                return at if at > after_us else None
            case DayEvery():
                fires = self._intervals[number].get_next_fire_time(None, self._begins + (after_us + 1) * _US)
                return None if fires is None else self.us(fires)
            case DayAfter():
                return None

    def _layout(self, second: int, after_us: int) -> int | None:
        """When the layout clock next shows a time of day; None while it is stopped.

        The same rounding as the kernel's, so that a day and a scene's head mean the same instant.
        """
        clock, from_us = self.clock, after_us + 1
        if not clock.running:
            return None
        return from_us - (-((second * SECOND_US - clock.at(from_us)) % DAY_US) // clock.ratio)

    def _interval(self, entry: DayEvery) -> IntervalTrigger:
        first_s, last_s = entry.between_s or (self.day.opens_s, None)
        first = self._instant(first_s)
        last = self.hall(self.ends_us) if last_s is None else self._instant(last_s)
        return IntervalTrigger(seconds=entry.every_s, start_date=first, end_date=last, timezone=self.zone)

    def _instant(self, second: int) -> datetime:
        """A time of day of this show day; one before the opening is of the next date."""
        return on_the_wall(self.date + (_NEXT if second < self.day.opens_s else _NEXT * 0), second, self.zone)

    def _us_of(self, second: int) -> int:
        if second == self.day.opens_s == self.day.closes_s:
            return self._day_after_us()
        return self.us(self._instant(second))

    def _day_after_us(self) -> int:
        return self.us(on_the_wall(self.date + _NEXT, self.day.opens_s, self.zone))
