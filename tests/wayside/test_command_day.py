"""`--day` as a person meets it: a day rehearsed, a day performed, and everything that can be asked wrongly."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.day import Plan
from engine.drive import Nothing
from engine.show_day import ShowDay
from engine.trace import Record, SceneIs, Told
from wayside.cli import main
from wayside.live.showing import Show, ShowClock
from wayside.project import load

ROOT = Path(__file__).parents[2]
S = 1_000_000
LAYOUT = """\
layout: Quay
hall time: {time zone: Europe/London}
links: {main: {kind: serial text, dialect: late}}
outputs:
  amber: {kind: lamp, link: main, pin: 1}
  bell: {kind: sound, link: main, pin: 2}
  spare: {kind: lamp, link: main, pin: 4}
  gate: {kind: servo, link: main, pin: 3, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 1 s,
         rest: raised, safe: lowered}
detectors:
  lane: {kind: section}
tracks:
  line:
    stretches: [lane: 1500 mm]
    fastest: 150 mm/s
    shortest train: 300 mm
"""
SCENES = """\
scene ferry
    turn on amber
    wait 40 s
    turn off amber

scene gulls
    turn on bell
    wait 2 s
    turn off bell

scene gate-keeper
    runs whenever lane is occupied
    when stopped
        move gate to lowered over 2 s
    move gate to lowered over 2 s
    wait until lane is clear
    move gate to raised over 2 s

scene never-asked
    turn on spare

rule no-light-at-the-gate
    never spare is on while gate is lowered

day saturday
    opens at 10:00
    closes at 17:00
    quiet from 12:30 to 13:15
    at 10:30 hall time run ferry
    at 12:45 hall time run gulls
    every 50 min between 11:00 and 16:00 run ferry
    after ferry run gulls
    at closing
        turn off amber
        wait 20 s
"""


class Said(NamedTuple):
    status: int
    out: str
    err: str


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "quay"
    place.mkdir()
    (place / "layout.yaml").write_text(LAYOUT)
    (place / "day.scene").write_text(SCENES)
    monkeypatch.chdir(tmp_path)
    return place


@pytest.fixture
def wayside(folder: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    def run(*words: str) -> Said:
        status = main(words)
        return Said(status, *capsys.readouterr())

    return run


# --- rehearsed -----------------------------------------------------------------------------------------------------

TABLE = """\
Quay, saturday: Saturday 5 December 2026, 10:00 to 17:00 hall time (GMT)

  10:00:00         opens
  10:30:00  ferry  10:30 hall time                       40 s
  10:30:40  gulls  after ferry                           2 s
  11:00:00  ferry  every 50 min between 11:00 and 16:00  40 s
  11:00:40  gulls  after ferry                           2 s
  11:50:00  ferry  every 50 min between 11:00 and 16:00  40 s
  11:50:40  gulls  after ferry                           2 s
  12:30:00         quiet begins
  12:40:00  ferry  every 50 min between 11:00 and 16:00  left out: it is quiet
  12:45:00  gulls  12:45 hall time                       left out: it is quiet
  13:15:00         quiet ends
  13:30:00  ferry  every 50 min between 11:00 and 16:00  40 s
"""


def test_the_timetable_of_a_day(wayside: Callable[..., Said]) -> None:
    said = wayside("rehearse", "quay", "--day", "saturday", "--date", "2026-12-05")
    assert said.out.startswith(TABLE)
    assert "\n  17:00:00         closes\n  17:00:22         is over\n" in said.out  # 20 s, and the gate's 2 s
    assert "\nNever ran: gate-keeper and never-asked.\n" in said.out
    assert "Nothing came of line 30, `at 12:45 hall time run gulls`: it is quiet.\n" in said.out
    assert "main  " in said.out
    assert "kept  no-light-at-the-gate  line 23  never came near" in said.out
    assert said.status == 0


def test_with_trains(wayside: Callable[..., Said]) -> None:
    said = wayside("rehearse", "quay", "--day", "saturday", "--date", "2026-12-05", "--trains", "30min")
    assert said.out.splitlines()[0].endswith("hall time (GMT), 13 trains")
    assert "gate-keeper  13 times, 16 s  first at 10:30:00: lane is occupied" in said.out
    assert "Never ran: never-asked." in said.out


def test_a_scene_that_starts_over_goes_on_with_its_run(folder: Path, wayside: Callable[..., Said]) -> None:
    text = SCENES.replace("scene ferry\n", "scene ferry\n    if started again: start over\n")
    (folder / "day.scene").write_text(text.replace("at 12:45 hall time run gulls", "at 10:30:30 hall time run ferry"))
    said = wayside("rehearse", "quay", "--day", "saturday", "--only", "ferry", "--date", "2026-12-05")
    assert "  10:30:00  ferry  10:30 hall time                       1 min 10 s\n" in said.out
    assert "  10:30:30  ferry  10:30:30 hall time                    runs already, from the start\n" in said.out


def test_only_the_times_of_one_scene(wayside: Callable[..., Said]) -> None:
    said = wayside("rehearse", "quay", "--day", "saturday", "--only", "gulls", "--date", "2026-12-05")
    rows = [line for line in said.out.splitlines() if line.startswith("  1")]
    assert len(rows) == 8
    assert all("gulls" in row for row in rows)
    assert "Never ran" not in said.out


def test_begun_late(wayside: Callable[..., Said]) -> None:
    said = wayside("rehearse", "quay", "--day", "saturday", "--from", "11:55", "--date", "2026-12-05")
    assert "(GMT), begun at 11:55\n" in said.out
    assert "  11:55:00  ferry  10:30 hall time                       left out: missed by 1 h 25 min\n" in said.out
    assert "  11:55:00  ferry  every 50 min between 11:00 and 16:00  5 min late, 40 s\n" in said.out
    early = wayside("rehearse", "quay", "--day", "saturday", "--from", "9:30", "--date", "2026-12-05")
    assert "(GMT), begun at 09:30\n\n  10:00:00         opens\n" in early.out


def test_a_day_in_summer_and_one_on_the_night_on_which_clocks_change(
    folder: Path, wayside: Callable[..., Said]
) -> None:
    assert "hall time (BST)" in wayside("rehearse", "quay", "--day", "saturday", "--date", "2026-07-04").out
    night = "\nday night\n    opens at 22:00\n    closes at 4:00\n    at 1:30 hall time run ferry\n"
    (folder / "day.scene").write_text(SCENES + night)
    assert (
        "  02:00:00  ferry  1:30 hall time  40 s"
        in wayside("rehearse", "quay", "--day", "night", "--date", "2026-03-28").out
    )
    autumn = wayside("rehearse", "quay", "--day", "night", "--date", "2026-10-24").out
    assert autumn.count("1:30 hall time") == 1
    late = wayside("rehearse", "quay", "--day", "night", "--date", "2026-12-05", "--from", "1:00").out
    assert "begun at 01:00" in late
    assert "  01:30:00  ferry  1:30 hall time  40 s" in late


def test_a_rule_that_breaks_in_the_day_is_a_problem(folder: Path, wayside: Callable[..., Said]) -> None:
    (folder / "day.scene").write_text(SCENES.replace("never spare is on while gate is lowered", "never amber is on"))
    said = wayside("rehearse", "quay", "--day", "saturday", "--date", "2026-12-05")
    assert "rule no-light-at-the-gate" in said.out
    assert said.out.endswith("Quay: saturday was played: 14 times a scene was begun, 2 left out; 1 rule broken.\n")
    assert said.status == 1


def test_a_day_without_closing(folder: Path, wayside: Callable[..., Said]) -> None:
    text = SCENES[: SCENES.index("    at closing")].replace("    closes at 17:00\n", "")
    (folder / "day.scene").write_text(text)
    said = wayside("rehearse", "quay", "--day", "saturday", "--date", "2026-12-05")
    assert "from 10:00 on hall time" in said.out
    assert "is over" not in said.out
    assert said.status == 0


def test_the_trace_and_the_event_list(folder: Path, wayside: Callable[..., Said]) -> None:
    said = wayside("rehearse", "quay", "--day", "saturday", "--json", "t.json", "--events", "--date", "2026-12-05")
    assert "begins: 10:30 hall time" in said.out
    trace = json.loads(Path("t.json").read_text())
    assert trace["header"]["rehearsal"] == "saturday"
    assert "saturday: quiet begins" in [record.get("text") for record in trace["records"]]


WRONG = [
    (("--day", "gala"), "There is no day gala. There is saturday."),
    (("--day", "saturdy"), "There is no day saturdy. Did you mean saturday?"),
    (("--day", "saturday", "--scene", "ferry"), "--day plays a show day and --scene one scene: give only one of them."),
    (("--day", "saturday", "--for", "20min"), "--for goes with --scene NAME; a show day says itself when it closes."),
    (("--day", "saturday", "--only", "fery"), "There is no scene fery. Did you mean ferry?"),
    (("--day", "saturday", "--date", "5.12.26"), "--date takes a date such as 2026-12-05"),
    (("--day", "saturday", "--from", "17:00"), "saturday closed at 17:00"),
    (("--day", "saturday", "--from", "25:00"), "--from takes a time of day"),
    (("--day", "saturday", "--trains", "5"), "--trains takes a time with its unit"),
    (("--day", "saturday", "--trains", "9s"), "--trains takes 10 s or more."),
    (
        ("--day", "saturday", "--trains", "13s"),
        "a train takes 14 s on line, and the next would come before it has gone.",
    ),
    (("--date", "2026-12-05"), "--date goes with --day NAME."),
    (("--trains", "5min"), "--trains goes with --day NAME"),
]


@pytest.mark.parametrize(("options", "message"), WRONG)
def test_wrong_usage_is_answered(wayside: Callable[..., Said], options: tuple[str, ...], message: str) -> None:
    said = wayside("rehearse", "quay", *options)
    assert message in said.err
    assert said.status == 2


def test_files_without_a_day(folder: Path, wayside: Callable[..., Said]) -> None:
    (folder / "day.scene").write_text(SCENES[: SCENES.index("day saturday")])
    assert "hold no show day. Write one, such as: day saturday" in wayside("rehearse", "quay", "--day", "saturday").err
    assert wayside("run", "quay", "--dry-run", "--day", "saturday").status == 2


def test_the_examples_saturday_is_played_whole(wayside: Callable[..., Said]) -> None:
    quay = str(ROOT / "examples" / "pellbrook-quay")
    said = wayside("rehearse", quay, "--day", "saturday", "--trains", "5min", "--date", "2026-12-05")
    assert said.status == 0
    assert said.out.count("left out: it is quiet") == 2
    assert "saltmarsh-lane           83 times" in said.out
    assert "Never ran" not in said.out
    assert "Nothing came of" not in said.out


# --- performed -----------------------------------------------------------------------------------------------------


class Quick(ShowClock):
    """A clock a hundred times as fast as any other."""

    def now_us(self) -> int:
        return 100 * super().now_us()

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        now_us = self.now_us()
        await super().sleep_until(None if due_us is None else now_us + max(0, due_us - now_us) // 100, wake)


def test_a_show_ends_when_its_day_has_closed(folder: Path) -> None:
    project = load([folder])
    begins = datetime(2026, 12, 5, 16, 59, tzinfo=UTC)
    plan = Plan(project.program.days["saturday"], date(2026, 12, 5), UTC, project.layout.clock, begins)
    records: list[Record] = []
    show = Show(project.program, records.append, starts_s=plan.layout_starts_s, known=True, clock=Quick())
    day = ShowDay(show.kernel, plan, Nothing(), lambda: show.now_us)

    async def performed() -> None:
        task = asyncio.ensure_future(show.perform(day))
        async with asyncio.timeout(30):
            while not day.over:
                await asyncio.sleep(0.01)
            show.close()
            await task

    asyncio.run(performed())
    closing = [(r.at_us, r.state) for r in records if isinstance(r, SceneIs) and r.scene == "closing of saturday"]
    assert closing[0] == (60 * S, "running")
    assert closing[-1] == (82 * S, "stopped")
    gate = [(r.at_us, r.scene) for r in records if isinstance(r, Told) and r.output == "gate" and r.at_us > 60 * S]
    assert gate == [(80 * S, "gate-keeper")]  # made safe once, and its move not begun anew by the end of the show


def performed(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "wayside", "run", str(folder), "--dry-run", *options]
    return subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, cwd=ROOT)


def test_run_performs_a_day_and_ends_with_it(folder: Path) -> None:
    (folder / "day.scene").write_text(SCENES.replace("        wait 20 s\n", ""))
    done = performed(folder, "--day", "saturday", "--from", "16:59:58")
    assert done.returncode == 0
    assert "Quay: saturday, 10:00 to 17:00 hall time; it is 16:59 now." in done.stdout
    assert "saturday: closes" in done.stdout
    assert "saturday: is over" in done.stdout
    assert "the show has ended, guarded outputs are in their safe state." in done.stdout
    assert done.stderr == ""


def test_run_says_that_a_day_has_closed(folder: Path) -> None:
    done = performed(folder, "--day", "saturday", "--from", "17:00")
    assert done.returncode == 2
    assert "saturday closed at 17:00" in done.stderr
    assert "such as: --from 10:00" in done.stderr


def test_a_computer_whose_zone_is_none(folder: Path) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("hall time: {time zone: Europe/London}\n", ""))
    command = [sys.executable, "-m", "wayside", "rehearse", str(folder), "--day", "saturday"]
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=60, cwd=ROOT, env={"TZ": "Nowhere/Land", "PATH": ""}
    )
    assert done.stderr == ""
    assert "10:00 to 17:00 hall time" in done.stdout


def test_a_show_without_a_day_loads_no_calendar(folder: Path) -> None:
    code = (
        "import sys; from wayside.cli import main; main(['rehearse', 'quay', '--scene', 'ferry']); "
        "import wayside.commands.run; print([n for n in sys.modules if n.split('.')[0] == 'apscheduler'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder.parent,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_layout_clock_of_a_late_start(folder: Path) -> None:
    project = load([folder])
    day = project.program.days["saturday"]
    late = Plan(day, date(2026, 12, 5), UTC, project.layout.clock, datetime(2026, 12, 5, 12, tzinfo=UTC))
    assert late.layout_starts_s == project.layout.clock.starts_s + timedelta(hours=2).seconds
