"""What is played to measure a crossing: which trains, when, and which rehearsals are left out and why."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.layout import Crossing
from engine.program import Program
from wayside.practice.measuring import RAISED, Passage
from wayside.practice.passages import MOST_TRACKS, Played, played
from wayside.project import load

OUTPUTS = """\
layout: Marram Halt
links:
  main: {kind: serial text}
outputs:
  red-1: {kind: lamp, link: main, pin: 1}
  red-2: {kind: lamp, link: main, pin: 2}
  gate: {kind: servo, link: main, pin: 3, positions: {raised: 85 deg, lowered: 0 deg}, limits: 0 deg to 90 deg,
         full travel: 2 s, rest: raised}
detectors:
  west: {kind: section}
  road: {kind: section}
  east: {kind: section}
"""
TRACK = """\
tracks:
  single:
    stretches: [{blind: 500 mm}, {west: 3000 mm}, {road: 300 mm}, {east: 3000 mm}]
    fastest: 100 mm/s
    shortest train: 200 mm
"""
CROSSING = """\
crossing:
  halt-crossing:
    reds: [red-1, red-2]
    entrance barriers: [gate]
    detectors: [west, road, east]
    on the road: [road]
"""
SCENE = """\
scene halt
    runs whenever any of west, road, east is occupied
    flash red-1 and red-2 in turn at 60 a minute each
    wait 4 s
    move gate to lowered over 6 s
    wait until all of west, road, east are clear for 2 s
    move gate to raised over 6 s
    turn off red-1 and red-2
"""


def project(tmp_path: Path, layout: str, scene: str = SCENE) -> tuple[Program, Crossing]:
    (tmp_path / "layout.yaml").write_text(layout)
    (tmp_path / "halt.scene").write_text(scene)
    found = load([tmp_path])
    assert not found.errors, found.errors
    (crossing,) = found.layout.crossings.values()
    return found.program, crossing


def play(tmp_path: Path, layout: str, scene: str = SCENE) -> Played:
    return played(*project(tmp_path, layout, scene))


def titles(done: Played) -> list[str]:
    return [passage.title for passage in done.passages]


def detections(passage: Passage) -> list[int]:
    return passage.detected.starts()


def test_a_single_line_is_run_both_ways(tmp_path: Path) -> None:
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING)
    assert titles(done) == [
        "a train along single at 100 mm/s",
        "a train along single at 25 mm/s",
        "a train along single, backwards, at 100 mm/s",
        "a train along single, backwards, at 25 mm/s",
        "a train along single, one along single seen as the first leaves the road",
        "a train along single, one along single seen as the barriers rise",
        "a train along single, one along single seen just after the lights have gone out",
    ]
    # 500 mm that nobody sees, then 3000 mm of approach; from the other end 3000 mm. From 1 s on
    assert detections(done.passages[0]) == [6_000_000]
    assert done.passages[0].arrivals == [36_000_000]
    assert detections(done.passages[2]) == [1_000_000]
    assert done.passages[2].arrivals == [31_000_000]
    assert done.passages[1].arrivals == [1_000_000 + 3500 * 40_000]


def test_a_second_train_is_seen_at_late_instants(tmp_path: Path) -> None:
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING)
    first, second_rising, second_after = done.passages[0], done.passages[5], done.passages[6]
    (rise,) = first.going("gate", RAISED)
    assert second_rising.detected.at((rise.start + rise.end) // 2) is not None
    assert second_rising.detected.at(rise.start) is None
    (warning,) = first.warnings
    assert second_after.detected.starts()[1] == warning.end + 500_000
    leaves = done.passages[4]
    gone = max(span.end for spans in first.on_the_road.values() for span in spans)
    assert leaves.detected.at(gone) is not None
    assert len(leaves.arrivals) == len(second_rising.arrivals) == len(second_after.arrivals) == 2


def test_a_second_train_may_set_out_before_the_first(tmp_path: Path) -> None:
    """300 s of line that nobody sees lie before the second's approach: the first then waits, the phase is the same."""
    long = TRACK + TRACK.split("\n", 1)[1].replace("single", "branch").replace("blind: 500 mm", "blind: 30000 mm")
    done = play(tmp_path, OUTPUTS + long + CROSSING)
    (rising,) = [
        one for one in done.passages if one.title.endswith("single, one along branch seen as the barriers rise")
    ]
    first = done.passages[0]
    (rise,) = first.going("gate", RAISED)
    later = rising.arrivals[0] - first.arrivals[0]
    assert later > 0
    assert rising.detected.starts()[1] == (rise.start + rise.end) // 2 + later


def test_a_line_that_is_served_one_way_only_is_run_that_way(tmp_path: Path) -> None:
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING.replace("[west, road, east]", "[road, east]"))
    assert titles(done)[:2] == [
        "a train along single, backwards, at 100 mm/s",
        "a train along single, backwards, at 25 mm/s",
    ]


def test_a_road_without_an_approach_is_run_over_all_the_same(tmp_path: Path) -> None:
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING.replace("[west, road, east]", "[road]"))
    assert titles(done)[0] == "a train along single at 100 mm/s"
    assert done.passages[0].arrivals == [36_000_000]


def test_without_a_track_hands_work_the_detectors(tmp_path: Path) -> None:
    done = play(tmp_path, OUTPUTS + CROSSING)
    assert titles(done) == ["west worked by hand", "east worked by hand"]
    assert [detections(passage) for passage in done.passages] == [[1_000_000], [1_000_000]]
    assert all(passage.closings and passage.arrivals == [] for passage in done.passages)


def test_with_nothing_on_the_road_hands_work_the_detectors(tmp_path: Path) -> None:
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING.replace("    on the road: [road]\n", ""))
    assert titles(done) == ["west worked by hand", "road worked by hand", "east worked by hand"]


def test_without_detectors_nothing_can_be_played(tmp_path: Path) -> None:
    bare = CROSSING.replace("    detectors: [west, road, east]\n    on the road: [road]\n", "")
    assert play(tmp_path, OUTPUTS + TRACK + bare).passages == ()


def test_so_many_tracks_and_no_more(tmp_path: Path) -> None:
    (head, body) = TRACK.split("\n", 1)
    tracks = head + "\n" + "".join(body.replace("single", f"line-{number}") for number in range(MOST_TRACKS + 2))
    done = play(tmp_path, OUTPUTS + tracks + CROSSING)
    assert done.tracks_left_out == ("line-8", "line-9")
    assert len(done.passages) == 7 * MOST_TRACKS


# --- rehearsals ----------------------------------------------------------------------------------------------------

TRAIN = "    a train 200 mm long runs along single at 100 mm/s, from 0 s\n"


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ("", ""),
        ("    at 12 s road stays clear for 400 ms\n", ""),
        ("    expect gate is raised by 90 s\n", ""),
        ("    at 12 s stop halt\n", "a hand starts or stops a scene, or a link is lost"),
        ("    at 12 s lose link main\n", "a hand starts or stops a scene, or a link is lost"),
        ("    begins with gate lowered\n", "it begins with an output away from rest"),
        ("    lasts 10 s\n", "no train of it reaches the road"),
    ],
)
def test_which_rehearsals_count(tmp_path: Path, lines: str, why: str) -> None:
    scene = f"{SCENE}\nrehearsal mine\n    begins with every detector clear\n{TRAIN}{lines}"
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING, scene)
    assert ("rehearsal mine" in titles(done)) is (not why)
    assert done.left_out == ((("mine", why),) if why else ())


@pytest.mark.parametrize(
    ("train", "why"),
    [
        ("    a train 200 mm long runs along single at 101 mm/s, from 0 s\n", "faster than the fastest of its track"),
        (TRAIN.replace("100 mm/s", "100,05 mm/s"), "faster than the fastest of its track"),
        (TRAIN.replace(", from 0 s", ", from 0 s, ignoring signals"), "a train ignores signals"),
    ],
)
def test_trains_that_break_the_rules_on_purpose_are_left_out(tmp_path: Path, train: str, why: str) -> None:
    done = play(tmp_path, OUTPUTS + TRACK + CROSSING, f"{SCENE}\nrehearsal mine\n{train}")
    (left_out,) = done.left_out
    assert left_out[0] == "mine"
    assert why in left_out[1]


def test_rehearsals_without_trains_are_not_spoken_of(tmp_path: Path) -> None:
    scene = f"{SCENE}\nrehearsal mine\n    plays halt\n    lasts 1 min\n"
    assert play(tmp_path, OUTPUTS + TRACK + CROSSING, scene).left_out == ()


def test_a_rehearsal_is_played_as_long_as_its_expectations_look(tmp_path: Path) -> None:
    scene = (
        f"{SCENE}\nrehearsal mine\n    begins with every detector clear\n{TRAIN}    expect gate is lowered by 50 s\n"
    )
    (mine,) = [one for one in play(tmp_path, OUTPUTS + TRACK + CROSSING, scene).passages if "mine" in one.title]
    assert mine.ended_us == 50_000_000


def test_detectors_that_begin_unknown_are_known_to_be(tmp_path: Path) -> None:
    scene = f"{SCENE}\nrehearsal mine\n{TRAIN}    lasts 2 min\n"
    (mine,) = [one for one in play(tmp_path, OUTPUTS + TRACK + CROSSING, scene).passages if "mine" in one.title]
    assert detections(mine) == [0]
