"""What a show day has begun, kept over a kill. A real show that is killed is in `tests/live/test_recovery.py`."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from adapters.simulator import World
from engine.day import Plan
from engine.drive import jump
from engine.kernel import Kernel
from engine.program import Program
from engine.show_day import ShowDay
from wayside.desk import day as desk_day
from wayside.live import day_kept
from wayside.project import load

S = 1_000_000
LAYOUT = "layout: Bench\nhall time: {time zone: 0 h}\noutputs:\n  lamp: {kind: lamp}\n"
SCENES = """\
scene ferry
    turn on lamp
    wait 2 s
    turn off lamp

day fair
    opens at OPENS
    at FIRST hall time run ferry
    every 20 min run ferry
    quiet from 11:00 to 12:00
    at 11:15 hall time run ferry
"""
BEGINS = datetime(2026, 12, 5, 10, 32, tzinfo=UTC)


def written(folder: Path, opens: str = "10:00", first: str = "10:30") -> Program:
    (folder / "layout.yaml").write_text(LAYOUT)
    (folder / "a.scene").write_text(SCENES.replace("OPENS", opens).replace("FIRST", first))
    project = load([folder])
    assert not project.errors, project.errors
    return project.program


def plan_of(program: Program, begins: datetime = BEGINS) -> Plan:
    return Plan(program.days["fair"], date(2026, 12, 5), UTC, program.layout.clock, begins)


def performed(program: Program, plan: Plan, begun: dict[int, int], seconds: int) -> ShowDay:
    kernel = Kernel(program, 0, plan.layout_starts_s)
    day = ShowDay(kernel, plan, World(program.layout, (), (), lambda _: True), begun=begun)
    jump(kernel, day, seconds * S)
    return day


def came(day: ShowDay) -> list[str]:
    return [one.left_out or one.what for one in day.log if one.entry]


def test_what_one_show_has_begun_another_knows(tmp_path: Path) -> None:
    """At 10:32 the first makes up for 10:30 and 10:20; at 10:36 it is begun anew, and again at 10:38."""
    program, path = written(tmp_path), tmp_path / ".wayside" / "day-begun.json"
    first = plan_of(program)
    day = performed(program, first, {}, 60)
    assert came(day) == ["missed by 12 min, the last of 2", "begins"]
    kept = day_kept.DayKept(day, first, path, {})
    assert kept.keep() == ""
    assert kept.close() == ""
    said = json.loads(path.read_text())
    assert said == {
        "day": "fair",
        "date": "2026-12-05",
        "begun": {"10:30 hall time run ferry": "2026-12-05T10:32:00+00:00"},
    }
    for minutes in (4, 6):  # a second kill forgets nothing that the first show did
        plan = plan_of(program, BEGINS + timedelta(minutes=minutes))
        before, trouble = day_kept.read(path, plan)
        assert (before, trouble) == ({0: -minutes * 60 * S}, "")
        day = performed(program, plan, before, 60)
        assert came(day)[1] == f"begun {minutes} min ago, before this show"
        again = day_kept.DayKept(day, plan, path, before)
        again.keep()
        again.close()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        '{"day": "fair", "date": "2026-12-05", "begun": []}',
        '{"day": "fair", "date": "2026-12-05", "begun": {"10:30 hall time run ferry": 5}}',
        '{"day": "fair", "date": "2026-12-05", "begun": {"10:30 hall time run ferry": "tea"}}',
        '{"day": "fair", "date": "2026-12-05", "begun": {"10:30 hall time run ferry": "2026-12-05T10:32:00"}}',
        '{"day": "fair", "date": "2026-12-05", "begun": {"10:30 hall time run ferry": "2026-12-05T10:33:00+00:00"}}',
        '{"day": "fair", "date": "2026-12-04", "begun": {"10:30 hall time run ferry": "2026-12-05T10:31:00+00:00"}}',
        '{"day": "fete", "date": "2026-12-05", "begun": {"10:30 hall time run ferry": "2026-12-05T10:31:00+00:00"}}',
        '{"day": "fair", "date": "2026-12-05", "begun": {"10:29 hall time run ferry": "2026-12-05T10:31:00+00:00"}}',
    ],
)
def test_a_damaged_file_one_of_another_day_and_one_from_the_future_say_nothing(tmp_path: Path, text: str) -> None:
    path = tmp_path / "day-begun.json"
    path.write_text(text)
    begun, trouble = day_kept.read(path, plan_of(written(tmp_path)))
    assert begun == {}
    assert ("damaged" in trouble) is (text in ("", "[]", "{"))


def test_a_file_that_cannot_be_written_is_told_and_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where the folder should be")
    program = written(tmp_path)
    plan = plan_of(program)
    kept = day_kept.DayKept(performed(program, plan, {}, 60), plan, tmp_path / "taken" / "day-begun.json", {})
    assert kept.keep() == ""  # it does not wait for the disk
    assert "may begin it again" in kept.close()


def test_the_desk_is_told_what_comes_next_by_the_hall_s_clock(tmp_path: Path) -> None:
    program = written(tmp_path)
    plan = plan_of(program)
    day = performed(program, plan, {}, 60)
    rows = desk_day.coming(day, plan)
    assert [row[1:] for row in rows] == [
        ["10:40", "ferry", "every 20 min", ""],
        ["11:00", "quiet begins", "", ""],
        ["11:15", "ferry", "", "left out: it is quiet"],
        ["12:00", "quiet ends", "", ""],
    ]
    assert rows[0][0] == 8 * 60 * S
    assert json.dumps(rows)
