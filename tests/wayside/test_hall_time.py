"""The hall's clock: read from the layout file, its zone, and dates as people write and say them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from engine.layout import Layout
from wayside import hall_time
from wayside.project import load
from wayside.usage import UsageProblem

HEAD = "layout: Bench\n"


def read(folder: Path, line: str) -> tuple[Layout, list[str]]:
    (folder / "layout.yaml").write_text(HEAD + line + "\n", encoding="utf-8")
    (folder / "a.scene").write_text("scene a\n    wait 1 s\n")
    project = load([folder], shown=lambda path: path.name)
    return project.layout, [f"{one.place.line}:{one.place.column} {one.what} {one.instead}" for one in project.errors]


@pytest.mark.parametrize(
    ("written", "offset_h"),
    [
        ("+1 h", 1),
        ("-3:30 h", -3.5),
        ("5,5 hours", 5.5),
        ("0 h", 0),
        ("Europe/London", 0),
        ("Etc/GMT-14", 14),
        ("UTC", 0),
    ],
)
def test_a_zone_by_hours_or_by_name(tmp_path: Path, written: str, offset_h: float) -> None:
    layout, errors = read(tmp_path, f"hall time: {{time zone: {written}}}")
    assert errors == []
    found = datetime(2026, 12, 5, 12, tzinfo=hall_time.zone_of(layout)).utcoffset()
    assert found == timedelta(hours=offset_h)


def test_a_named_zone_knows_summer(tmp_path: Path) -> None:
    layout, _ = read(tmp_path, "hall time: {time zone: Europe/London}")
    assert datetime(2026, 7, 5, 12, tzinfo=hall_time.zone_of(layout)).utcoffset() == timedelta(hours=1)


def test_without_it_this_computers_zone_counts(tmp_path: Path) -> None:
    layout, errors = read(tmp_path, "")
    assert (layout.hall_zone, errors) == ("", [])
    here = datetime(2026, 12, 5, 12).astimezone().utcoffset()
    assert datetime(2026, 12, 5, 12, tzinfo=hall_time.zone_of(layout)).utcoffset() == here


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("hall time: {time zone: Europe/Londn}", "2:24 `time zone`: the zone database has no `Europe/Londn`"),
        ("hall time: {time zone: Europe/Londn}", "Did you mean `Europe/London`?"),
        ("hall time: {time zone: Pellbrook}", "Write hours, such as `+1 h`"),
        ("hall time: {time zone: 1}", "Write `time zone: 1 h`"),
        ("hall time: {time zone: +20 h}", "no clock is `+20 h` from universal time"),
        ("hall time: {zone: +1 h}", "Did you mean `time zone`?"),
        ("hall time: {}", "does not say its `time zone`"),
        ("hall: {time zone: +1 h}", "Did you mean `hall time`?"),
        ("hall time: {time zone: ../../etc/passwd}", "time zone"),
    ],
)
def test_a_mistake_is_answered(tmp_path: Path, line: str, said: str) -> None:
    _, errors = read(tmp_path, line)
    assert len(errors) == 1
    assert said in errors[0]


def test_dates() -> None:
    assert hall_time.read_date("2026-12-05", "--date") == date(2026, 12, 5)
    assert hall_time.said(date(2026, 12, 5)) == "Saturday 5 December 2026"
    for wrong in ("5.12.2026", "2026-02-30", "", "1066-10-14", "saturday"):
        with pytest.raises(UsageProblem, match="--date takes"):
            hall_time.read_date(wrong, "--date")


@pytest.mark.parametrize(("name", "days"), [("saturday", 0), ("sunday", 1), ("friday", 6), ("gala", 0)])
def test_a_day_named_after_a_weekday_is_the_next_of_them(name: str, days: int) -> None:
    saturday = datetime(2026, 12, 5, 9)
    assert hall_time.next_date(name, saturday) == date(2026, 12, 5) + timedelta(days=days)
