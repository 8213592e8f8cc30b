"""A day from its entries, what to look at before the next, and what of a show becomes an entry."""

from __future__ import annotations

import unicodedata
from datetime import date
from pathlib import Path
from typing import Any, cast

import pytest

from adapters.link_health import Health
from adapters.link_run import LinkRun
from adapters.link_states import State
from engine.drive import work
from engine.events import Detected, OutputMoved, StartScene, StopScene
from engine.layout import Link, Place
from engine.program import Program
from engine.trace import (
    Began,
    Broke,
    ButtonIs,
    CounterIs,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    Trouble,
)
from engine.waves import Steady
from wayside.journal import day as journal_day
from wayside.journal import snags as journal_snags
from wayside.journal import summary as journal_summary
from wayside.journal import watch as journal_watch
from wayside.journal.file import Entry
from wayside.journal.snags import CHATTERS_A_MINUTE
from wayside.journal.watch import MOST_COUNTED, Watch
from wayside.live.showing import Show, ShowClock
from wayside.project import load

NOON_US = 1_795_867_200_000_000  # 2026-11-28 12:00 UTC: `date -u -d @1795867200`
SECOND_US = 1_000_000
PLACE = Place("some/where/a.scene", 4, 1, 4, 2)


def entry(second: float, kind: str, subject: str = "", text: str = "", show: int = 1, **details: Any) -> Entry:
    at_us = round(second * SECOND_US)
    return Entry(NOON_US + at_us, 0, show, at_us, kind, subject, text, details)


def begins(second: float = 0, show: int = 1, **details: Any) -> Entry:
    return entry(second, "show", "quay", "the show begins", show, state="begins", layout="Quay", **details)


def ends(second: float, show: int = 1) -> Entry:
    return entry(second, "show", "quay", "all is safe", show, state="ended")


def scene(second: float, name: str, state: str, show: int = 1) -> Entry:
    return entry(second, "scene", name, show=show, state=state)


def seen(second: float, name: str, state: str, show: int = 1) -> Entry:
    return entry(second, "detector", name, show=show, state=state)


def page(*entries: Entry) -> list[str]:
    return list(journal_summary.text(journal_day.of(entries), date(2026, 11, 28)))


def snags(*entries: Entry) -> list[tuple[str, str]]:
    """Without what they are about, which has tests of its own."""
    return [(one.subject, one.what) for one in journal_snags.of(journal_day.of(entries))]


# --- a day ---------------------------------------------------------------------------------------------------------


def test_a_day_in_which_nothing_was_wrong() -> None:
    names: dict[str, Any] = {"scenes": ["lane", "evening"], "buttons": ["red", "blue"], "detectors": {"up": "main"}}
    assert page(
        begins(**names),
        scene(1, "lane", "running"),
        entry(2, "button", "red", pressed=True),
        entry(3, "button", "red", pressed=False),
        seen(4, "up", "occupied"),
        seen(9, "up", "clear"),
        scene(11, "lane", "ended"),
        scene(20, "lane", "running"),
        scene(22, "lane", "stopping"),
        scene(23, "lane", "stopped"),
        ends(60),
    ) == [
        "Quay, Saturday 28 November 2026",
        "",
        "shows      12:00:00 to 12:01:00, all is safe",
        "scenes     lane 2 times; never: evening",
        "buttons    red once; never: blue",
        "detectors  up occupied once",
        "",
        "Nothing to look at before the next show.",
    ]


def test_how_long_scenes_ran() -> None:
    day = journal_day.of([
        begins(),
        scene(1, "lane", "running"),
        scene(11, "lane", "ended"),
        scene(20, "lane", "running"),
        scene(22, "lane", "stopping"),
        scene(23, "lane", "stopped"),
        scene(50, "lane", "running"),
        ends(52),
    ])  # fmt: skip
    assert [(span.to - span.from_).total_seconds() for span in day.scenes["lane"]] == [10, 3, 2]
    assert [span.known for span in day.scenes["lane"]] == [True, True, False]
    assert journal_summary.length(day.scenes["lane"]) == "15 s"


def test_a_show_without_an_end_is_seen_at_the_next_one_and_at_the_last_entry() -> None:
    made = [
        begins(),
        scene(5, "lane", "running"),
        begins(60, 2),
        ends(70, 2),
        begins(80, 3),
        scene(90, "x", "running", 3),
    ]
    day = journal_day.of(made)
    assert [span.known for span, _ in day.shows] == [False, True, False]
    found = snags(*made)
    assert found[0] == ("show", "the one of 12:00:00 has no end; its last entry is of 12:00:05")
    assert found[1] == ("show", "the one of 12:01:20 has no end; its last entry is of 12:01:30")
    assert day.scenes["lane"][0].to.second == 5


def test_what_comes_after_an_end_is_no_show_without_one() -> None:
    day = journal_day.of([begins(), ends(5), entry(6, "said", text="gone"), begins(9, 2), ends(10, 2)])
    assert [span.known for span, _ in day.shows] == [True, True]


def test_a_scene_that_stops_without_having_begun_here_is_not_counted() -> None:
    assert journal_day.of([begins(), scene(1, "lane", "ended"), ends(2)]).scenes == {}


def test_nothing_at_all() -> None:
    assert journal_day.of([]).shows == []
    assert page()[-1] == "Nothing to look at before the next show."


def margin(second: float, line: int, amount: float | None, verdict: str = "kept", unit: str = "us") -> Entry:
    return entry(second, "margin", "road", line=line, margin=amount, verdict=verdict, unit=unit)


def test_of_several_shows_the_least_margin_of_each_line() -> None:
    day = journal_day.of([margin(1, 4, 3e6), margin(2, 4, 1e6), margin(3, 4, 2e6), margin(4, 5, None)])
    assert day.margins["road", 4].details["margin"] == 1e6
    said = "\n".join(page(margin(1, 4, 3e6), margin(2, 4, 1e6), margin(4, 5, None)))
    assert "road (line 4) kept, 1 s to spare at the least" in said
    assert "road (line 5) kept, never came near" in said
    worse = journal_day.of([margin(1, 4, 0.5e6), margin(2, 4, 9e6, "broken")])
    assert worse.margins["road", 4].details["verdict"] == "broken"


def test_a_broken_rule_is_told_with_when_it_first_broke() -> None:
    made = [begins(), entry(3, "rule", "road"), entry(9, "rule", "road"), margin(10, 4, -1e6, "broken"), ends(11)]
    said = page(*made)
    assert "rules      road was broken 2 times, first at 12:00:03" in said
    assert not any("line 4" in line for line in said)
    assert ("road", "the rule was broken 2 times: wayside journal FOLDER --kind rule") in snags(*made)


def test_lateness_is_the_worst_of_all_minutes() -> None:
    made = [
        entry(60, "lateness", p99_us=4_000, worst_us=20_000),
        entry(120, "lateness", p99_us=9_500, worst_us=12_000),
        entry(121, "lost", entries=3),
    ]
    said = page(begins(), *made, ends(122))
    late = said.index("late       99 of 100 instants of a minute at most 9.5 ms late, the worst 20.0 ms (in the minute")
    assert said[late + 1] == "           before 12:01:00)"
    assert "           3 entries could not be kept: the disk did not take them" in said


def test_long_lists_are_cut_and_counted() -> None:
    made = [entry(number, "mark", text=f"odd {number}") for number in range(20)]
    said = page(begins(scenes=[f"s{number}" for number in range(40)]), *made, ends(60))
    assert "           and 12 more (wayside journal FOLDER --kind mark)" in said
    assert any(line.startswith("scenes     never: s0, s1") and line.endswith(" and 28 more") for line in said)


def test_nothing_in_a_page_is_obeyed_by_a_terminal() -> None:
    nasty = "\x1b[2J\nx"
    made = [begins(), entry(1, "mark", text=nasty), entry(2, "fault", nasty, nasty), ends(3)]
    assert all(line.isprintable() for line in [*page(*made), *journal_summary.short(made)])


def test_the_end_of_one_show_in_short() -> None:
    made = [begins(detectors=[f"d{number}" for number in range(9)]), entry(1, "button", "red", pressed=True), ends(3)]
    said = journal_summary.short(made)
    assert said[:2] == ["From the journal:", "  buttons    red once"]
    assert not any(line.startswith(("  shows", "  detectors")) for line in said)
    assert [line.strip() for line in said[2:-1]] == [
        "look at    d0: never saw a train",
        *(f"d{number}: never saw a train" for number in range(1, 4)),
    ]
    assert said[-1].strip() == "and 5 more"


def test_nothing_is_wider_than_a_hundred_columns() -> None:
    """Measured by letters that take two columns each: Unicode, Standard Annex 11, East Asian Width."""
    wide = "\u706f\u53f0" * 70
    names = begins(scenes=[f"a-scene-with-a-long-name-{number}" for number in range(12)], detectors=["x" * 60, "up"])
    made = [
        names,
        entry(1, "mark", text=wide),
        entry(2, "fault", "main", f"link main: {wide}"),
        entry(3, "mark", text="up " + "y" * 90),
    ]
    for line in [*page(*made), *journal_summary.short(made)]:
        assert sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in line) <= 100, line
    assert wide in "".join(line.strip() for line in page(*made, ends(4)))


def test_when_a_link_did_not_talk() -> None:
    """From its first word that is not of talking or being opened, until it talks; at the end of a show, until then."""
    made = [
        begins(),
        entry(0.5, "link", "main", state="waking", health=True),
        entry(1.5, "link", "main", state="waiting", health=True),
        entry(2, "link", "main", state="talking", health=True),
        entry(2, "link", "shed", state="talking"),
        entry(60, "link", "main", state="gone"),
        entry(61, "fault", "main", "link main: the port is lost", state="gone", health=True),
        entry(75, "link", "main", state="waking", health=True),
        entry(80, "link", "main", state="talking", health=True),
        entry(90, "fault", "main", "link main: its answers are late", state="talking", health=True),
        entry(100, "fault", "main", "link main: no answer", state="silent", health=True),
        ends(130),
    ]
    day = journal_day.of(made)
    assert [((span.to - span.from_).total_seconds(), span.known) for span in day.outages["main"]] == [
        (20, True),
        (30, False),
    ]
    said = page(*made)
    assert "links      main did not talk 2 times, 50 s in all, first at 12:01:00, and still not at the end" in said
    assert "           shed talked all the time" in said


def test_a_link_that_never_talks_is_away_from_the_first_fault_on() -> None:
    made = [
        begins(),
        entry(1, "link", "main", state="unplugged", health=True),
        entry(6, "fault", "main", "link main: no such port", state="unplugged", health=True),
        ends(66),
    ]
    assert [(span.to - span.from_).total_seconds() for span in journal_day.of(made).outages["main"]] == [60]


def test_a_link_that_was_gone_in_one_show_has_no_outage_in_the_next() -> None:
    talks = entry(1, "link", "main", state="talking")
    day = journal_day.of([begins(), talks, entry(5, "link", "main", state="gone"), ends(9), begins(50, 2), ends(99, 2)])
    assert [(span.to - span.from_).total_seconds() for span in day.outages["main"]] == [4]


# --- snags ---------------------------------------------------------------------------------------------------------


def test_a_detector_that_chatters() -> None:
    for changes, is_one in ((CHATTERS_A_MINUTE, False), (CHATTERS_A_MINUTE + 1, True)):
        made = [
            begins(detectors=["up"]),
            seen(1, "up", "occupied"),
            seen(5, "up", "clear"),
            entry(60, "lateness", raw={"up": changes}),
            entry(120, "lateness", raw={"up": 2}),
            ends(130),
        ]
        found = [what for name, what in snags(*made) if name == "up"]
        assert bool(found) is is_one
        assert not is_one or found[0].startswith("chattered: 31 changes in the minute before 12:01:00")


def test_a_detector_that_flickers() -> None:
    def passing(times: int, length: float) -> list[Entry]:
        return [
            one
            for number in range(times)
            for one in (seen(number * 9, "up", "occupied"), seen(number * 9 + length, "up", "clear"))
        ]

    names = begins(detectors=["up"])
    assert snags(names, *passing(3, 0.4), ends(99)) == [
        ("up", "flickered: 3 times occupied for less than 500 ms, first at 12:00:00")
    ]
    assert snags(names, *passing(2, 0.4), ends(99)) == snags(names, *passing(3, 0.5), ends(99)) == []


def test_a_detector_that_saw_nothing_and_one_that_stayed_occupied() -> None:
    names = begins(detectors=["up", "down"])
    assert snags(names, seen(1, "down", "occupied"), ends(60)) == [
        ("up", "never saw a train"),
        ("down", "was still occupied at the end, since 12:00:01"),
    ]


@pytest.mark.parametrize(("last", "is_one"), [(1_800, False), (1_801, True)])
def test_a_detector_that_was_held_for_long(last: float, is_one: bool) -> None:
    found = snags(begins(detectors=["up"]), seen(0, "up", "occupied"), seen(last, "up", "clear"), ends(4_000))
    assert found == ([("up", "was occupied for 30 min 1 s from 12:00:00 on")] if is_one else [])
    held = snags(begins(detectors=["up"]), seen(0, "up", "occupied"), ends(7_200))
    assert held == [("up", "was occupied for 2 h from 12:00:00 on, and never cleared")]


@pytest.mark.parametrize(("length", "is_one"), [(10, False), (11, True)])
def test_a_detector_that_said_nothing(length: float, is_one: bool) -> None:
    made = [seen(0, "up", "unknown"), seen(length, "up", "occupied"), seen(length + 5, "up", "clear")]
    found = snags(begins(detectors=["up"]), *made, ends(60))
    assert found == ([("up", "said nothing 1 time, for 11 s at the longest")] if is_one else [])


def test_faults_by_link_and_what_the_last_one_was() -> None:
    made = [
        begins(),
        entry(1, "fault", "main", "link main: gone."),
        entry(2, "fault", "", "trouble: a loop"),
        entry(3, "fault", "main", "link main: silent."),
        ends(4),
    ]
    assert [name for name, _ in snags(*made)] == ["main", "scenes"]
    said = page(*made)
    assert "faults     link main: 2 times, last at 12:00:03: link main: silent." in said
    assert "           the scenes: 1 time, last at 12:00:02: trouble: a loop" in said


def test_marks_come_under_the_names_in_them() -> None:
    names = begins(outputs=["gate-arm"], buttons=["red"], scenes=["lane"])
    marks = [entry(1, "mark", text="Gate-arm jerked, at lane."), entry(2, "mark", text="the gate smelt")]
    found = [one for one in snags(names, *marks, ends(3)) if "marked" in one[1]]
    assert found == [
        ("gate-arm", "marked at 12:00:01: Gate-arm jerked, at lane."),
        ("lane", "marked at 12:00:01: Gate-arm jerked, at lane."),
        ("mark", "marked at 12:00:02: the gate smelt"),
    ]


def test_snags_come_by_detector_and_by_output() -> None:
    names = begins(outputs=["gate-arm"], buttons=["red"], scenes=["lane"], detectors={"up": "", "down": ""})
    made = [
        names,
        entry(1, "mark", text="up is slow"),
        entry(2, "mark", text="gate-arm jerks"),
        entry(3, "rule", "road"),
        entry(4, "output", "gate-arm", why="put right"),
        entry(5, "fault", "main", "gone"),
        entry(6, "mark", text="smoke"),
        ends(9),
    ]
    said = page(*made)
    assert said[said.index("", 2) + 1 :] == [
        "To look at before the next show:",
        "  rules",
        "    road  the rule was broken 1 time: wayside journal FOLDER --kind rule",
        "  links",
        "    main  1 fault: wayside journal FOLDER --kind fault",
        "  detectors",
        "    up    never saw a train",
        "          marked at 12:00:01: up is slow",
        "    down  never saw a train",
        "  outputs",
        "    gate-arm  somebody else told it something, and it was put right 1 time",
        "              marked at 12:00:02: gate-arm jerks",
        "  marks that name nothing",
        "    mark  marked at 12:00:06: smoke",
    ]


def test_what_was_put_right() -> None:
    made = [
        entry(second, "output", "gate", why=why) for second, why in ((1, "put right"), (2, "safe"), (3, "put right"))
    ]
    assert snags(begins(), *made, ends(4)) == [
        ("gate", "somebody else told it something, and it was put right 2 times")
    ]
    assert snags(begins(), made[1], ends(4)) == []


# --- what of a show becomes an entry -------------------------------------------------------------------------------

LAYOUT = """\
layout: Bench
outputs:
  lamp: {kind: lamp}
  red: {kind: lamp, safe: on}
detectors:
  up: {kind: section}
buttons:
  bell: {}
"""


class Hand(ShowClock):
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.at_us = 0

    def now_us(self) -> int:
        return self.at_us


class Kept(list[Entry]):
    def put(self, entry: Entry) -> None:
        self.append(entry)

    def of(self, kind: str) -> list[Entry]:
        return [one for one in self if one.kind == kind]


class Bench:
    """A show that is made, and a watch on it."""

    def __init__(self, program: Program) -> None:
        self.kept, self.clock = Kept(), Hand()
        self.watch = Watch(self.kept, program, "bench", lambda: NOON_US + self.clock.at_us)
        self.show = Show(program, self.watch.record, known=True, clock=self.clock)
        self.watch.begins(self.show)

    def after(self, seconds: float) -> None:
        self.clock.at_us = round(seconds * SECOND_US)
        self.watch.look()


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text("scene quiet\n    wait 1 s\n")
    project = load([tmp_path])
    assert not project.errors
    return Bench(project.program)


@pytest.mark.parametrize(
    ("record", "kind", "subject", "text", "details", "place"),
    [
        (SceneIs(5, "quiet", "running", "by hand", PLACE), "scene", "quiet", "scene quiet begins: by hand",
         {"state": "running", "why": "by hand"}, "a.scene:4"),
        (Saw(5, "up", "occupied"), "detector", "up", "detector up is occupied", {"state": "occupied"}, ""),
        (ButtonIs(5, "bell", True), "button", "bell", "button bell is pressed", {"pressed": True}, ""),
        (LinkIs(5, "main", "talking"), "link", "main", "link main is talking", {"state": "talking"}, ""),
        (Broke(5, "road", PLACE, 2), "rule", "road", "rule road is broken", {"since_us": 2}, "a.scene:4"),
        (FlagIs(5, "dusk", False), "flag", "dusk", "flag dusk is forgotten", {"value": False}, ""),
        (CounterIs(5, "trains", 3), "counter", "trains", "counter trains is 3", {"value": 3}, ""),
        (Noted(5, "quiet", "hello", PLACE), "note", "quiet", "note: hello", {}, "a.scene:4"),
    ],
)  # fmt: skip
def test_records_and_their_entries(
    bench: Bench, record: Record, kind: str, subject: str, text: str, details: dict[str, Any], place: str
) -> None:
    bench.kept.clear()
    bench.watch.record(record)
    (found,) = bench.kept
    assert (found.kind, found.subject, found.text, found.details, found.place) == (kind, subject, text, details, place)
    assert (found.at_us, found.show) == (5, NOON_US)


def test_trouble_is_a_fault_of_the_scenes(bench: Bench) -> None:
    bench.watch.record(Trouble(5, "a loop took no time", (PLACE, PLACE._replace(line=9))))
    bench.watch.record(Trouble(6, "a limit", ()))
    first, second = bench.kept.of("fault")
    assert (first.subject, first.place, second.place) == ("", "a.scene:4", "")
    assert first.text.startswith("trouble: a loop took no time")


def test_of_outputs_only_guarded_ones_and_what_others_did(bench: Bench) -> None:
    for output, why in (("lamp", "line"), ("red", "line"), ("lamp", "put right"), ("red", "begins")):
        bench.watch.record(Told(5, output, Steady(1.0), "quiet", PLACE, why))
    bench.watch.record(Began(5, 1, "quiet", PLACE))
    assert [(one.subject, one.details["why"]) for one in bench.kept.of("output")] == [
        ("red", "line"),
        ("lamp", "put right"),
    ]


def test_a_link_that_was_never_there_has_not_gone(bench: Bench) -> None:
    for state in ("gone", "talking", "gone"):
        bench.watch.record(LinkIs(5, "main", state))
    assert [one.details["state"] for one in bench.kept.of("link")] == ["talking", "gone"]


def test_buttons_pressed_are_counted_and_those_let_go_are_not(bench: Bench) -> None:
    for pressed in (True, False, True):
        bench.watch.record(ButtonIs(5, "bell", pressed))
    assert bench.watch.pressed == {"bell": 2}


def test_an_entry_has_the_time_at_which_it_happened(bench: Bench) -> None:
    bench.clock.at_us = 7 * SECOND_US
    bench.watch.record(Saw(4 * SECOND_US, "up", "clear"))
    assert bench.kept[-1].utc_us == NOON_US + 4 * SECOND_US
    bench.watch.record(Saw(9 * SECOND_US, "up", "occupied"))  # never later than now
    assert bench.kept[-1].utc_us == NOON_US + 7 * SECOND_US


def test_hands_are_heard_as_inputs_and_typed_lines_are_kept(bench: Bench) -> None:
    heard = bench.show.inputs.heard
    assert heard is not None
    heard(5, [StartScene("quiet"), StopScene("quiet"), OutputMoved("lamp", 1.0)])
    assert [(one.subject, one.details["deed"]) for one in bench.kept.of("hand")] == [
        ("quiet", "start"), ("quiet", "stop"), ("lamp", "moved"),
    ]  # fmt: skip
    bench.watch.typed("  up occupied \n")
    bench.watch.typed("   ")
    bench.watch.mark("")
    bench.watch.said("two\n  lines")
    assert [one.text for one in bench.kept.of("typed")] == ["up occupied"]
    assert [one.text for one in bench.kept.of("mark")] == ["something odd just now"]
    assert [one.text for one in bench.kept.of("said")] == ["two lines"]


def test_lateness_of_a_minute_and_what_chattered(bench: Bench) -> None:
    heard = bench.show.inputs.heard
    assert heard is not None
    bench.show.late_us.extend(range(1, 101))
    bench.show.worked = 100
    heard(5, [Detected("up", "occupied")] * 40)
    bench.after(59)
    assert not bench.kept.of("lateness")
    bench.after(60)
    (found,) = bench.kept.of("lateness")
    assert {name: found.details[name] for name in ("worked", "p50_us", "p99_us", "worst_us", "raw")} == {
        "worked": 100, "p50_us": 51, "p99_us": 100, "worst_us": 100, "raw": {"up": 40},
    }  # fmt: skip
    bench.after(200)
    assert len(bench.kept.of("lateness")) == 1  # nothing was worked: nothing is said


def test_what_is_counted_of_a_minute_is_bounded(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_watch, "MOST_COUNTED", 2_500)
    for _ in range(20):
        bench.show.late_us.extend([7] * 1_000)
        bench.show.worked += 1_000
        bench.after(1)
    bench.after(60)
    worked = bench.kept.of("lateness")[0].details["worked"]
    assert 2_500 <= worked <= 2_500 + 1_000
    assert MOST_COUNTED == 100_000


def test_how_all_stands_is_written_seldom(bench: Bench) -> None:
    assert len(bench.kept.of("standing")) == 1  # before anything happens
    for second in range(1, 121):
        bench.watch.record(Saw(second * SECOND_US, "up", "occupied" if second % 2 else "clear"))
        bench.after(second)
    assert 2 <= len(bench.kept.of("standing")) <= 4
    before = len(bench.kept.of("standing"))
    bench.after(121)
    bench.after(1_000)
    bench.after(2_000)
    assert len(bench.kept.of("standing")) <= before + 1  # nothing has happened since


class Run:
    """A link as the journal looks at it."""

    def __init__(self, name: str) -> None:
        self.link = Link(name)
        self.now = health(name, State.WAKING, "just opened")

    def health(self) -> Health:
        return self.now


def health(link: str, state: State, what: str, instead: str = "") -> Health:
    return Health(link, state, 0, what, instead, "on", None, 0, 0, 0, 0, {})


def test_how_a_link_is_has_an_entry_when_it_changes(tmp_path: Path, bench: Bench) -> None:
    """Figures that change in the sentence make no new entry; what to try makes it a fault."""
    run = Run("main")
    bench.watch = Watch(bench.kept, bench.show.kernel.program, "bench", lambda: NOON_US + bench.clock.at_us)
    bench.watch.begins(bench.show, [cast(LinkRun, run)])
    seen = (
        health("main", State.WAKING, "just opened"),
        health("main", State.WAITING, "its boards are starting"),
        health("main", State.TALKING, "talking, 3 waiting"),
        health("main", State.TALKING, "talking, 12 waiting"),
        health("main", State.SILENT, "no answer for 5 s", "look at the cable"),
        health("main", State.SILENT, "no answer for 9 s", "look at the cable"),
        health("main", State.TALKING, "talking, 0 waiting"),
    )
    for second, run.now in enumerate(seen, 1):
        bench.after(second)
    found = [one for one in bench.kept if one.subject == "main"]
    assert [(one.kind, one.at_us, one.details["state"]) for one in found] == [
        ("link", 1 * SECOND_US, "waking"),
        ("link", 2 * SECOND_US, "waiting"),  # nothing is wrong with that
        ("link", 3 * SECOND_US, "talking"),
        ("fault", 5 * SECOND_US, "silent"),
        ("link", 7 * SECOND_US, "talking"),
    ]
    assert found[3].text == "link main: no answer for 5 s. Look at the cable."
    assert all(one.details["health"] for one in found)


RULES = """\
scene quiet
    turn on red
    wait 1 min

rule dark
    never lamp is on while red is on
    never red is on
rule idle
    red is on at least 1 s before a train reaches up
"""


def test_at_its_end_a_show_has_an_entry_for_each_line_of_a_rule(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text(RULES)
    project = load([tmp_path])
    assert not project.errors, [str(one) for one in project.errors]
    bench = Bench(project.program)
    bench.show.inputs.put(StartScene("quiet"))
    for second in (2, 3):
        work(bench.show.kernel, bench.show.inputs, second * SECOND_US)
    bench.clock.at_us = 5 * SECOND_US
    bench.watch.ended("all is safe", 1)
    found = bench.kept.of("margin")
    assert [(one.subject, one.details["line"], one.details["verdict"], one.details["broken"]) for one in found] == [
        ("dark", 6, "kept", 0),
        ("dark", 7, "broken", 1),
    ]  # the rule about trains has seen none, and says nothing
    assert found[0].place == "a.scene:6"
    assert found[1].text.startswith("broken")
    assert bench.kept[-1].kind == "show"


def test_a_show_begins_and_ends_once(bench: Bench) -> None:
    bench.watch.ended("all is safe", 0)
    bench.watch.ended("a fault", 70)
    count = len(bench.kept)
    bench.after(500)
    assert len(bench.kept) == count
    first, last = bench.kept.of("show")
    assert (first.details["state"], last.details) == ("begins", {"state": "ended", "status": 0})
    assert (list(first.details["outputs"]), list(first.details["scenes"])) == (["lamp", "red"], ["quiet"])
    assert last.text == "all is safe"
