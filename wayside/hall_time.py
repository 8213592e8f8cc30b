"""The clock on the wall of the hall: its time zone, read from the layout file, and dates as people say them."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone, tzinfo

from engine.layout import Layout
from wayside.layout.daylight import zone_min
from wayside.layout.names import Reading, text
from wayside.layout.schema import pattern
from wayside.layout.yaml_places import Table
from wayside.usage import UsageProblem

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
FIRST_YEAR, LAST_YEAR = 1980, 2099  # of a show day; the zone database knows the clocks of these years


def read_hall_zone(reading: Reading, settings: Table) -> str:
    """The zone as it is written, which `zone_of` understands; empty if none is."""
    word = text(settings, "time zone")
    if word is None:
        return ""
    if pattern("time-zone").fullmatch(word.text):
        minutes = zone_min(reading, settings)
        return "" if minutes is None else f"{minutes:+d} min"
    if not pattern("hall-zone").fullmatch(word.text):
        return ""  # the schema has reported it
    if _known(word.text) is None:
        from zoneinfo import available_timezones

        from scenes.problems import nearest

        near = nearest(word.text, available_timezones())
        what = f"`time zone`: the zone database has no `{word.text}`"
        reading.wrong(word.place, what, f"Did you mean `{near}`?" if near else "Write hours, such as `+1 h`")
        return ""
    return word.text


def _known(name: str) -> tzinfo | None:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def zone_of(layout: Layout) -> tzinfo:
    """The zone of the hall's clock: the layout file's, or this computer's."""
    if layout.hall_zone.endswith(" min"):
        return timezone(timedelta(minutes=int(layout.hall_zone[: -len(" min")])))
    known = _known(layout.hall_zone) if layout.hall_zone else None
    if known is not None:
        return known
    from engine.day import local_zone

    try:
        return local_zone()
    except (LookupError, ValueError, OSError):  # this computer's own settings name no zone that there is
        here = datetime.now().astimezone().tzinfo
        assert here is not None
        return here


def now(layout: Layout) -> datetime:
    """What the hall's clock shows now."""
    return datetime.now(zone_of(layout))


def read_date(written: str, option: str) -> date:
    """A date from `2026-12-05`."""
    try:
        found = date.fromisoformat(written.strip())
    except ValueError:
        raise UsageProblem(f"{option} takes a date such as 2026-12-05, not {written!r}.") from None
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise UsageProblem(f"{option} takes a year from {FIRST_YEAR} to {LAST_YEAR}, not {written!r}.")
    return found


def next_date(day: str, at: datetime) -> date:
    """The date on which a day of that name is next: of a weekday the next such date, else today."""
    ahead = (WEEKDAYS.index(day) - at.weekday()) % 7 if day in WEEKDAYS else 0
    return at.date() + timedelta(days=ahead)


def said(on: date) -> str:
    """`Saturday 5 December 2026`."""
    return f"{on:%A} {on.day} {on:%B} {on.year}"
