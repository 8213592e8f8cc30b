"""Whether a trace does what a journal says: what is compared, and where the two first part."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_journal_summary import entry

from engine.events import AllStop, Close, Darken, GoOn, Input, InUse, OutputMoved, SetClock, StartScene, StopScene
from engine.layout import NOWHERE
from engine.program import Program
from engine.trace import Broke, Record, SceneIs, Told
from engine.waves import Ramp, Steady
from wayside.journal.alike import ABOUT_US, Event, apart, but_for, ending_otherwise, played, said, scenery_by_chance
from wayside.journal.hands import asked
from wayside.project import load

S = 1_000_000
NOTHING = frozenset[str]()


def scene(second: float, name: str, did: str) -> Event:
    return Event(round(second * S), "scene", name, did)


def order(at_us: int, did: str) -> Event:
    return Event(at_us, "output", "arm", did)


@pytest.mark.parametrize(
    ("ours", "theirs", "at_s", "words"),
    [
        ([scene(1, "a", "running")], [scene(1, "a", "running")], None, ""),
        ([scene(1, "a", "ended")], [scene(1, "a", "stopped")], 1, "has a stopped at 1 s, the rehearsal a ended at 1 s"),
        ([scene(1, "a", "running")], [], 1, "has nothing like it, the rehearsal a running at 1 s"),
        ([], [scene(2, "a", "running")], 2, "has a running at 2 s, the rehearsal nothing like it"),
        ([scene(3, "a", "ended")], [scene(2, "a", "ended")], 2, "has a ended at 2 s, the rehearsal a ended at 3 s"),
        # the earliest of all that part
        (
            [scene(9, "b", "x"), scene(3, "a", "x")],
            [scene(8, "b", "x")],
            3,
            "nothing like it, the rehearsal a x at 3 s",
        ),
        # the order within an instant does not count
        ([scene(1, "a", "x"), scene(1, "b", "y")], [scene(1, "b", "y"), scene(1, "a", "x")], None, ""),
        ([Event(S, "rule", "r", "broken")], [], 1, "the rehearsal rule r broken at 1 s"),
    ],
)
def test_where_they_part(ours: list[Event], theirs: list[Event], at_s: int | None, words: str) -> None:
    found = apart(ours, theirs)
    assert (None if found is None else found.at_us) == (None if at_s is None else at_s * S)
    assert words in (found.words if found else "")


def test_what_comes_a_few_microseconds_late_is_at_one_instant() -> None:
    assert apart([scene(1, "a", "x")], [scene(1, "a", "x")._replace(at_us=S + ABOUT_US)]) is None
    assert apart([scene(1, "a", "x")], [scene(1, "a", "x")._replace(at_us=S + ABOUT_US + 1)]) is not None


def test_of_several_orders_at_about_one_instant_the_last_was_sent() -> None:
    assert apart([order(5, "up"), order(6, "down")], [order(6, "down")]) is None
    assert apart([order(5, "up"), order(6, "down")], [order(6, "up")]) is not None
    assert apart([order(5, "up"), order(500, "down")], [order(500, "down")]) is not None
    twice = [scene(1, "a", "running"), scene(1, "a", "stopping")]
    assert apart(twice, twice[1:]) is not None  # a scene that begins and stops at once has done both


def test_who_ends_otherwise_and_who_does_something_else() -> None:
    begun = [scene(1, "a", "running"), scene(1, "b", "running")]
    ours = [*begun, scene(5, "a", "ended"), scene(6, "b", "stopped"), scene(9, "c", "running")]
    theirs = [*begun, scene(7, "a", "ended"), scene(8, "b", "stopped")]
    assert ending_otherwise(ours, theirs) == {"a"}
    assert ending_otherwise(begun, [*begun, scene(7, "a", "ended")]) == {"a"}  # it had not come to its end yet
    assert but_for(ours, frozenset(["a", "b"])) == [scene(9, "c", "running")]


# --- what is compared ----------------------------------------------------------------------------------------------

LAYOUT = """\
layout: Bench
outputs:
  lamp: {kind: lamp, dimmable: yes, levels: 255}
  red: {kind: lamp, safe: on}
  arm: {kind: servo, positions: {up: 90 deg, down: 0 deg}, rest: up, safe: down, full travel: 1 s}
detectors: {lane: {kind: section}}
"""
SCENES = """\
group lamps: lamp
scene waits
    wait 1 s to 3 s
scene draws
    by chance
        50 %
            turn on lamp
scene orders
    for each one in lamps in random order
        wait 1 s
scene spaces
    for each one in lamps, 1 s to 2 s apart
        wait 1 s
scene guards
    turn on red
    wait 1 s to 3 s
scene plain
    wait 1 s
    for each one in lamps, 2 s apart
        wait 1 s
rule proven
    never a train is on lane while red is off
rule dark
    never lamp is on while red is on
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Program:
    folder = tmp_path_factory.mktemp("bench")
    (folder / "layout.yaml").write_text(LAYOUT)
    (folder / "a.scene").write_text(SCENES)
    project = load([Path(folder)])
    assert not project.errors, [str(one) for one in project.errors]
    return project.program


def test_scenery_that_draws(bench: Program) -> None:
    assert scenery_by_chance(bench) == {"waits", "draws", "orders", "spaces"}


def told(output: str, wave: Steady | Ramp, why: str = "line", scene: str = "plain") -> Told:
    return Told(5 * S, output, wave, scene, NOWHERE, why)


def test_scenes_rules_and_guarded_outputs_are_compared_and_nothing_else(bench: Program) -> None:
    trace: list[Record] = [
        SceneIs(5 * S, "plain", "running", "by hand", NOWHERE),
        SceneIs(5 * S, "left-out", "running", "by hand", NOWHERE),
        Broke(5 * S, "dark", NOWHERE, 4 * S),
        Broke(5 * S, "proven", NOWHERE, 4 * S),  # no train runs in a rehearsal from a journal
        told("lamp", Steady(1.0)),
        told("red", Steady(1.0)),
        told("red", Steady(1.0), "begins"),
        told("red", Steady(1.0), "put right"),
        told("red", Steady(1.0), "another hand"),
        told("red", Steady(1.0), scene="left-out"),
        told("arm", Ramp(5 * S, 6 * S, 90.0, 0.0)),
        SceneIs(5 * S + 1, "plain", "ended", "", NOWHERE),
    ]
    ours = played(bench, trace, frozenset(["left-out"]), 5 * S)
    assert ours == [
        Event(5 * S, "scene", "plain", "running"),
        Event(5 * S, "rule", "dark", "broken"),
        Event(5 * S, "output", "red", "turned on"),
        Event(5 * S, "output", "arm", "moves up -> down, 1 s"),
    ]
    journal = [
        entry(7, "scene", "plain", state="running"),
        entry(7, "scene", "left-out", state="running"),
        entry(7, "rule", "dark"),
        entry(7, "rule", "proven"),
        entry(7, "output", "lamp", scene="plain", why="put right", does="turned on"),
        entry(7, "output", "red", scene="plain", why="line", does="turned on"),
        entry(7, "output", "red", scene="", why="another hand", does="turned on"),
        entry(7, "output", "red", scene="left-out", why="line", does="turned on"),
        entry(7, "output", "arm", scene="plain", why="safe", does="moves up -> down, 1 s"),
        entry(7.1, "scene", "plain", state="ended"),
    ]
    assert said(bench, journal, frozenset(["left-out"]), 2 * S, 5 * S) == ours


# --- what was asked for --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("event", "kind", "subject", "deed", "text"),
    [
        (StartScene("a"), "hand", "a", "start", "scene a: start by hand"),
        (StopScene("a"), "hand", "a", "stop", "scene a: stop by hand"),
        (StartScene("a", NOWHERE, "at 10:02"), "day", "a", "start", "scene a: start by the show day: at 10:02"),
        (AllStop(), "hand", "", "all stop", "all stop"),
        (GoOn(), "hand", "", "go on", "go on"),
        (InUse("lane", False), "hand", "lane", "out of use", "lane is put out of use"),
        (InUse("lane", True), "hand", "lane", "back in use", "lane is put back in use"),
        (OutputMoved("red", 1.0), "hand", "red", "moved", "red was told something by somebody else on the station"),
        (Darken(True), "hand", "", "other", "darken yes"),
        (SetClock(63_900, None), "hand", "", "other", "clock 17:45:00"),
        (SetClock(None, False), "hand", "", "other", "clock stop"),
        (Close(), "show", "", None, "the show is being ended"),
    ],
)
def test_what_was_asked_for_has_an_entry(event: Input, kind: str, subject: str, deed: str | None, text: str) -> None:
    found = asked(event)
    assert found is not None
    assert (found.kind, found.subject, found.details.get("deed"), found.text) == (kind, subject, deed, text)
