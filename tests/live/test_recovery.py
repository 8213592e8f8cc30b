"""Killed at any instant, and started again: nothing rises under a train, and the crossing comes right by itself.

Five lives here; `tests/benchmarks/kills.py` takes a hundred, and says what it saw.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from bench_crossing import until
from bench_kills import Shows, killed_at, opens_the_road, order_of_guarded
from bench_power import Hall, in_a_safe_order, power_goes


@pytest.fixture
def shows(tmp_path: Path) -> Iterator[Shows]:
    made = Shows(tmp_path / "crossing")
    yield made
    made.close()


def test_killed_at_any_instant_it_comes_right_again(shows: Shows) -> None:
    for number in range(5):
        killed_at(shows, number)


def test_after_a_kill_signals_and_barriers_are_put_right_before_all_else(shows: Shows) -> None:
    """A train stands on the lane, the show was killed with the road open: what is told first makes it safe."""
    begun_us = shows.mark_us()
    shows.begin()
    until(lambda: opens_the_road(order_of_guarded(shows, begun_us)) and shows.far.up())
    shows.kill()
    shows.far.train("lane")
    since_us = shows.mark_us()
    shows.begin()
    until(lambda: shows.far.down())
    told = order_of_guarded(shows, since_us)
    guarded = {"z 20", "z 21", "Z 23", "Z 24", "a 11 0", "a 11 1"}  # barriers, the signal's lamps, the reds
    first_other = next(n for n, one in enumerate(told) if not _about(one, guarded))
    before = {next(thing for thing in guarded if _about(one, {thing})) for one in told[:first_other]}
    assert before >= guarded - {"z 21"}  # servos set out one after another, so that no supply breaks down
    assert "Z 23 1" in told[:first_other]  # danger, and lowered
    assert "z 20 544" in told[:first_other]


def _about(command: str, things: set[str]) -> bool:
    return any(command.startswith(f"{thing} ") for thing in things)


def test_with_the_power_gone_from_all_of_it_at_once_it_comes_right_again(tmp_path: Path) -> None:
    """Show and station are killed at one instant, arms left anywhere; `benchmarks/kills.py power` takes a hundred."""
    hall = Hall(tmp_path / "crossing")
    try:
        for number in range(3):
            power_goes(hall, number)
    finally:
        hall.close()


def noon_is_near(shows: Shows) -> Callable[[int], str]:
    """Puts the hall where it is about noon, so that no test runs over midnight; what it shows minutes from now."""
    now = datetime.now(UTC)
    zone_h = 12 - now.hour
    layout = shows.folder / "layout.yaml"
    layout.write_text(layout.read_text() + f"hall time: {{time zone: {zone_h:+d} h}}\n")
    return lambda minutes: f"{now + timedelta(hours=zone_h, minutes=minutes):%H:%M}"


def test_what_a_day_had_begun_is_not_begun_again_after_a_kill(shows: Shows) -> None:
    """By this computer's own clock: a line that was due a minute ago is made up for once, and not after the kill."""
    hall = noon_is_near(shows)
    (shows.folder / "day.scene").write_text(
        'scene lamplighter\n    note "the lamps are lit"\n    wait 10 min\n\n'
        f"day fair\n    opens at {hall(-2)}\n    at {hall(-1)} hall time run lamplighter\n"
    )
    said, kept = shows.folder / "said.txt", shows.folder / ".wayside" / "day-begun.json"
    shows.begin("--day", "fair")
    until(lambda: "scene lamplighter begins" in said.read_text() and kept.exists())
    shows.kill()
    before = len(said.read_text())
    shows.begin("--day", "fair")
    until(lambda: "lamplighter is left out" in said.read_text()[before:])
    assert "before this show" in said.read_text()[before:]
    until(shows.far.up)
    assert "scene lamplighter begins" not in said.read_text()[before:]


def test_a_show_that_is_killed_about_its_closing_time_is_closed_by_the_one_after_it(shows: Shows) -> None:
    hall = noon_is_near(shows)
    (shows.folder / "day.scene").write_text(f"day fair\n    opens at {hall(-5)}\n    closes at {hall(-1)}\n")
    said = shows.folder / "said.txt"
    shows.begin("--day", "fair")
    assert shows.process is not None
    assert shows.process.wait(20) == 2  # it has closed, and nobody had begun it: most likely a mistake
    assert "fair closed at" in said.read_text()
    shows.begin()
    until(lambda: "the show begins" in said.read_text())
    shows.kill()
    shows.begin("--day", "fair")
    assert shows.process.wait(30) == 0
    assert shows.far.down()
    assert "fair: closes" in said.read_text()


def test_the_judge_of_the_order_can_fail() -> None:
    safe = ["Z 23 1", "Z 24 0", "a 11 0 1", "z 20 544", "z 21 544", "a 10 0 0", "z 20 1420", "z 21 1420"]
    in_a_safe_order(safe)
    for wrong in (
        ["z 20 1420", *safe],
        [one for one in safe if one != "Z 23 1"],
        ["a 10 0 0", *safe],
        [one for one in safe if one != "z 21 544"],
        [*safe[:2], *safe[3:]],
    ):
        with pytest.raises(AssertionError):
            in_a_safe_order(wrong)
