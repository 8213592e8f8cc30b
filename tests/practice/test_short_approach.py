"""The crossing at Saltmarsh Lane on an approach of 2 m, squeezed by `fit into 12 s`: what must not change does not.

The rows are those of the crossing orders of Northern Ireland that speak of order (`test_ni.py`); that order, phase,
flash rate and release delay are never squeezed is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from engine.trace import Saw, Told
from tests.practice.measure import SECOND, Measured, all_of, changed, covering, play
from tests.practice.test_ni import (
    k2_red_at_once,
    k6_boom_lamps_on,
    k7_boom_lamps_off,
    k8_audible_warning_stops,
    k9_train_permitted,
    k10_interlock,
)
from wayside.project import load
from wayside.rehearsal.rehearsing import rehearse

FOLDER = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
SCENE = "saltmarsh-lane.scene"
HEAD = "    runs whenever train-about\n"
FIT = (HEAD, f"{HEAD}    fit into 12 s\n")
BEGINS = "rehearsal one-train\n    begins with every detector clear\n"
TRAIN = f"{BEGINS}    a train 800 mm long runs along up-line at 150 mm/s, from 0 s"
UNRULY = (TRAIN, f"{TRAIN}, ignoring signals")  # it finds the road closed or does not
PLAYED = ("one-train", "second-train-while-rising")


def shortened(tmp_path: Path, *changes: tuple[str, str]) -> list[Measured]:
    """A copy of the example with 2 m of approach and quicker servos, one scene of it changed."""
    short, into = tmp_path / "short", tmp_path / "played"
    short.mkdir()
    into.mkdir()
    for file in [*FOLDER.glob("*.yaml"), *FOLDER.glob("*.scene")]:
        text = file.read_text(encoding="utf-8")
        if file.suffix == ".yaml":
            text = changed(
                text, [(f"- {way}-approach: 3600 mm", f"- {way}-approach: 2000 mm") for way in ("up", "down")]
            )
            text = text.replace("full travel: 3 s", "full travel: 2 s")
        (short / file.name).write_text(text, encoding="utf-8")
    return play(short, SCENE, changes, into, PLAYED)


def full_size(tmp_path: Path) -> list[Measured]:
    return play(FOLDER, SCENE, (), tmp_path, PLAYED)


def test_the_last_barrier_is_down_after_just_that_time(tmp_path: Path) -> None:
    for measured in shortened(tmp_path, FIT):
        assert measured.all_lowered[0].start == 12 * SECOND


def down_a_second_before(measured: Measured) -> bool:
    """The rule `road-closed`: all barriers lowered at least 1 s before a train is on the road."""
    spans = [(covering(measured.all_lowered, at), at) for at in measured.arrivals()]
    return bool(spans) and all(span is not None and at - span.start >= SECOND for span, at in spans)


def test_a_train_that_obeys_no_signal_finds_the_road_closed(tmp_path: Path) -> None:
    assert down_a_second_before(shortened(tmp_path, FIT, UNRULY)[0])


def test_without_it_that_train_does_not(tmp_path: Path) -> None:
    assert not down_a_second_before(shortened(tmp_path, UNRULY)[0])


def broken_rules(folder: Path) -> set[str]:
    """The rules that some rehearsal of the crossing breaks; they speak of order, and of one second only."""
    program = load([folder]).program
    results = [rehearse(program, one) for name, one in program.rehearsals.items() if name in PLAYED]
    assert all(result.rules for result in results)
    return {rule.judgement.rule.name for result in results for rule in result.rules if not rule.kept}


def test_every_rule_of_the_example_is_kept(tmp_path: Path) -> None:
    shortened(tmp_path, FIT, UNRULY)
    assert broken_rules(tmp_path / "played") == set()


def test_without_it_the_rule_about_the_road_is_broken(tmp_path: Path) -> None:
    shortened(tmp_path, UNRULY)
    assert broken_rules(tmp_path / "played") == {"road-closed"}


@pytest.mark.parametrize(
    "row",
    [k2_red_at_once, k6_boom_lamps_on, k7_boom_lamps_off, k8_audible_warning_stops, k9_train_permitted, k10_interlock],
)
def test_the_rows_about_order_hold(row: Callable[[Measured], list[str]], tmp_path: Path) -> None:
    assert [row(measured) for measured in shortened(tmp_path, FIT)] == [[], []]


def test_the_exit_barrier_starts_when_the_entrance_barrier_is_down(tmp_path: Path) -> None:
    """K5, but for its 6 to 10 s, which are what is squeezed."""
    measured = shortened(tmp_path, FIT)[0]
    near, far = measured.roles.entrance_barriers + measured.roles.exit_barriers
    down = measured.spans(measured.lowered(near))[0].start
    assert measured.spans(measured.going(far, down=True))[0].start == down


def orders(measured: Measured) -> list[tuple[str, str, float]]:
    """What was told to whom, in its order, until the last barrier is down: without the times."""
    until = measured.all_lowered[0].start
    told = [one for one in measured.trace if isinstance(one, Told) and one.at_us <= until]
    return [(one.output, type(one.wave).__name__, one.wave.value_at(until + 60 * SECOND)) for one in told]


def test_the_same_is_told_to_the_same_in_the_same_order(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    squeezed, full = shortened(tmp_path, FIT)[0], full_size(tmp_path / "full")[0]

    def steady(found: list[tuple[str, str, float]]) -> list[tuple[str, str, float | None]]:
        # what flashes is somewhere in its period when it is asked
        return [(name, wave, None if wave == "Flashing" else value) for name, wave, value in found]

    assert steady(orders(squeezed)) == steady(orders(full))
    assert len(orders(full)) > 8


def test_rate_phase_and_release_are_as_written(tmp_path: Path) -> None:
    measured = shortened(tmp_path, FIT)[0]
    left, right = (measured.onsets(lamp) for lamp in measured.roles.reds)
    assert {round((two - one) / SECOND, 5) for one, two in pairwise(left)} == {0.75}  # 80 a minute
    assert {round((two - one) / SECOND, 5) for one, two in pairwise(sorted([*left, *right]))} == {0.375}  # in turn
    clear = [one.at_us for one in measured.trace if isinstance(one, Saw) and one.state == "clear"][-1]
    danger = measured.spans(all_of([measured.protecting(signal) for signal in measured.roles.signals]))
    told = min(
        one.at_us for one in measured.trace if isinstance(one, Told) and one.output == "up-arm" and one.at_us > clear
    )
    assert told - clear == 4 * SECOND
    rising = measured.spans(measured.going(measured.barriers[0], down=False))[0]
    assert rising.end - rising.start == 6 * SECOND
    assert danger[-1].start <= rising.start
