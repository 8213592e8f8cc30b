"""Killed at any instant, and started again: nothing rises under a train, and the crossing comes right by itself.

Eight lives here; `tests/benchmarks/kills.py` takes a hundred, and says what it saw.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from bench_crossing import until
from bench_kills import Shows, killed_at, order_of_guarded


@pytest.fixture
def shows(tmp_path: Path) -> Iterator[Shows]:
    made = Shows(tmp_path / "crossing")
    yield made
    made.close()


def test_killed_at_any_instant_it_comes_right_again(shows: Shows) -> None:
    for number in range(8):
        killed_at(shows, number)


def test_after_a_kill_signals_and_barriers_are_put_right_before_all_else(shows: Shows) -> None:
    """A train stands on the lane, the show was killed with the road open: what is told first makes it safe."""
    shows.begin()
    until(lambda: shows.far.up())
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
