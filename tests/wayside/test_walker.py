"""The walk as a machine, in virtual time: what is told when, and above all what is not told before it may be."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.events import Detected, Pressed
from engine.layout import Layout
from engine.waves import Wave
from wayside.layout.file import read_layout
from wayside.live import last_positions
from wayside.walk.answers import Answer, How
from wayside.walk.keeping import Kept
from wayside.walk.links import LinkHand
from wayside.walk.session import Session
from wayside.walk.signs import Heard, sign_of
from wayside.walk.stops import walk_round
from wayside.walk.walker import ASKS, DONE, HANDS, HOMING, ROLLS, SHOWS, Walker

S = 1_000_000
TEXT = """\
layout: Pellbrook Quay
links: {main: {kind: serial text, dialect: late}}
boards:
  box: {link: main, first address: 40, ports: 8}
outputs:
  amber: {kind: lamp, board: box, port: 0}
  red: {kind: lamp, board: box, port: 1, safe: "flashing at 80 a minute"}
  inn: {kind: lamp, dimmable: yes, link: main, pin: 100}
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 3 s, safe: lowered}
  crane: {kind: motor, link: main, pin: 30}
  point: {kind: pulse, board: box, port: 3, pulse: 120 ms}
detectors:
  lane: {kind: section, link: main, pin: 60}
  yard: {kind: section, link: main, pin: 61}
buttons:
  bell-push: {link: main, pin: 62}
"""


class Told(NamedTuple):
    output: str
    wave: Wave
    at_us: int


class Recorder:
    """A hand that tells nobody, and remembers."""

    def __init__(self) -> None:
        self.told: list[Told] = []
        self.link = Heard("main")
        self.numbers: dict[int, int] = {}

    def tell(self, output: str, wave: Wave, at_us: int) -> None:
        self.told.append(Told(output, wave, at_us))

    def heard(self, link: str) -> Heard:
        return self.link

    def strange(self, link: str) -> Mapping[int, int]:
        return self.numbers

    @property
    def outputs(self) -> set[str]:
        return {one.output for one in self.told}


class Walk:
    """A walk, with the clock in our hand."""

    def __init__(self, layout: Layout, *names: str, positions: dict[str, float] | None = None) -> None:
        round_ = walk_round(layout)
        stops = [stop for stop in round_.stops if not names or stop.name in names]
        self.hand, self.now_us = Recorder(), 0
        self.walker = Walker(layout, round_, self.hand, {}, stops, positions)

    def say(self, *words: str) -> str:
        says = ""
        for word in words:
            says = self.walker.do(word, self.now_us).says
        return says

    def wait(self, us: int) -> None:
        for _ in range(us // 50_000):
            self.now_us += 50_000
            self.walker.tick(self.now_us)

    def hear(self, *events: Detected | Pressed) -> None:
        self.walker.hear(events, self.now_us)

    def value(self, output: str) -> float:
        last = next(one for one in reversed(self.hand.told) if one.output == output)
        return last.wave.value_at(self.now_us)


@pytest.fixture
def layout(tmp_path: Path) -> Layout:
    (tmp_path / "layout.yaml").write_text(TEXT, encoding="utf-8")
    layout, problems, _ = read_layout(tmp_path / "layout.yaml", "layout.yaml")
    assert [problem for problem in problems if not problem.advice] == []
    return layout


# --- nothing before it may be --------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["yes", "no", "again", "go", "skip", "back", "other red", "go to inn", "stop", ""])
def test_nothing_is_told_before_hands_are_off(layout: Layout, word: str) -> None:
    walk = Walk(layout)
    if word != "yes":  # which is the answer to the question whether they are
        walk.say(word)
    walk.wait(20 * S)
    assert walk.hand.told == []
    assert walk.walker.phase == HANDS


@pytest.mark.parametrize("name", ["red", "gate", "crane", "point"])
def test_what_moves_or_is_guarded_is_asked_for_first(layout: Layout, name: str) -> None:
    walk = Walk(layout, name)
    walk.say("ready")
    walk.wait(10 * S)
    assert (walk.walker.phase, walk.hand.told) == (ASKS, [])
    assert walk.walker.caution
    walk.say("go")
    assert walk.hand.outputs == {name}


def test_skipping_what_was_asked_for_tells_it_nothing(layout: Layout) -> None:
    walk = Walk(layout, "gate")
    walk.say("ready", "skip")
    walk.wait(10 * S)
    assert (walk.hand.told, walk.walker.phase) == ([], DONE)
    assert walk.walker.answers["gate"] == Answer(How.SKIPPED)


def test_a_stop_holds_everything_where_it_is(layout: Layout) -> None:
    walk = Walk(layout, "gate", positions={"gate": 85.0})
    walk.say("ready", "go")
    walk.wait(9 * S)
    before = walk.value("gate")
    assert before not in (85.0, 0.0)
    walk.say("stop")
    told = len(walk.hand.told)
    walk.wait(60 * S)
    assert len(walk.hand.told) == told
    assert walk.value("gate") == pytest.approx(before, abs=0.01)
    assert walk.walker.phase == HANDS
    assert walk.walker.positions["gate"] == pytest.approx(before, abs=0.01)


def test_a_motor_is_stopped_by_a_stop(layout: Layout) -> None:
    walk = Walk(layout, "crane")
    walk.say("ready", "go")
    walk.wait(3 * S)
    assert walk.value("crane") == pytest.approx(0.3)
    walk.say("stop")
    assert walk.value("crane") == 0.0


# --- what is shown -------------------------------------------------------------------------------------------------


def test_a_lamp_is_lit_for_less_long_than_it_is_dark_and_never_flashes_fast(layout: Layout) -> None:
    """So that one which is wired the wrong way round is seen to be; and at 30 flashes a minute, far below the three a
    second that public flashing may have at most (the caution of the README)."""
    walk = Walk(layout, "amber")
    walk.say("ready")
    walk.wait(19 * S)
    rises = [one.at_us for one in walk.hand.told if one.wave.value_at(one.at_us) == 1.0]
    falls = [one.at_us for one in walk.hand.told if one.wave.value_at(one.at_us) == 0.0]
    assert len(rises) == 10
    assert all(b - a == 2 * S for a, b in pairwise(rises))
    assert all(b - a == 500_000 for a, b in zip(rises, falls, strict=False))


def test_a_servo_goes_home_before_the_next_stop_is_told_anything(layout: Layout) -> None:
    walk = Walk(layout, "gate", positions={"gate": 0.0})
    walk.say("ready", "go")
    walk.wait(7 * S)  # to lowered it is already; then to raised
    walk.say("yes")
    assert "goes home first" in walk.say("go to gate")
    assert walk.walker.phase == HOMING
    walk.wait(2 * S)
    assert walk.walker.phase == HOMING
    walk.wait(6 * S)
    assert walk.walker.phase == DONE
    assert walk.value("gate") == 0.0


def test_a_servo_of_which_nothing_is_known_is_said_to_jump(layout: Layout) -> None:
    walk = Walk(layout, "gate")
    walk.say("ready")
    assert "may jump" in walk.walker.caution
    known = Walk(layout, "gate", positions={"gate": 85.0})
    known.say("ready")
    assert "may jump" not in known.walker.caution
    assert "last told 85 deg" in known.walker.caution


def test_a_known_servo_moves_from_where_it_stands_and_never_faster_than_its_own_speed(layout: Layout) -> None:
    walk = Walk(layout, "gate", positions={"gate": 85.0})
    walk.say("ready", "go")
    here, fastest = 85.0, 0.0
    for _ in range(600):
        walk.wait(50_000)
        there = walk.value("gate")
        fastest = max(fastest, abs(there - here) / 0.05)
        here = there
    own = 85.0 / 3.0  # its full travel in 3 s
    assert 0.0 < fastest < own


def test_a_quick_servo_takes_its_time_all_the_same(tmp_path: Path) -> None:
    text = TEXT.replace("full travel: 3 s", "full travel: 200 ms")
    (tmp_path / "layout.yaml").write_text(text, encoding="utf-8")
    walk = Walk(read_layout(tmp_path / "layout.yaml", "layout.yaml")[0], "gate", positions={"gate": 85.0})
    walk.say("ready", "go")
    walk.wait(2 * S)
    assert walk.value("gate") == pytest.approx(42.5)  # halfway of 85 degrees in half of 4 s, as least jerk has it
    walk.wait(2 * S)
    assert walk.value("gate") == pytest.approx(0.0)


def test_a_link_that_goes_quiet_is_waited_for_and_what_moves_is_asked_for_anew(layout: Layout) -> None:
    walk = Walk(layout, "amber", "gate")
    walk.hand.link = Heard("main", talks=False, what="no answer", instead="look at its cable")
    walk.say("ready")
    walk.wait(5 * S)
    assert walk.hand.told == []
    assert walk.walker.waits_for() == "Link main: no answer. Look at its cable."
    walk.hand.link = Heard("main")
    walk.wait(1 * S)
    assert walk.hand.outputs == {"amber"}
    walk.say("yes", "go")
    walk.hand.link = Heard("main", talks=False, what="no answer")
    walk.wait(1 * S)
    told = len(walk.hand.told)
    assert walk.walker.phase == ASKS
    assert "cannot be told" in walk.say("go")
    walk.hand.link = Heard("main")
    walk.wait(30 * S)
    assert len(walk.hand.told) == told


# --- answers -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("word", "answer"),
    [
        ("yes", Answer(How.YES)),
        ("Y", Answer(How.YES)),
        ("no", Answer(How.NO)),
        ("wrong way", Answer(How.WRONG_WAY)),
        ("no fade", Answer(How.NO_FADE)),
        ("not sure", Answer(How.NOT_SURE)),
        ("other amber", Answer(How.OTHER, "amber")),
        ("other AMBER", Answer(How.OTHER, "amber")),
        ("also the church clock", Answer(How.ALSO, "the church clock")),
        ("skip", Answer(How.SKIPPED)),
    ],
)
def test_an_answer_is_noted_and_the_next_stop_comes(layout: Layout, word: str, answer: Answer) -> None:
    walk = Walk(layout, "inn", "lane")
    walk.say("ready", word)
    assert walk.walker.answers == {"inn": answer}
    assert walk.walker.phase == ROLLS


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("yess", "Did you mean yes?"),
        ("other", "What was it?"),
        ("other inn", "the one that was told"),
        ("other ambr", "Did you mean other amber?"),
        ("other " + "x" * 61, "at most 60 characters"),
        ("go to nowhere", "no stop nowhere"),
        ("back", "first stop"),
    ],
)
def test_what_is_no_answer_says_what_to_say_and_changes_nothing(layout: Layout, word: str, says: str) -> None:
    walk = Walk(layout, "inn", "lane")
    walk.say("ready")
    assert says in walk.say(word)
    assert walk.walker.answers == {}
    assert walk.walker.phase == SHOWS


def test_no_fade_is_no_answer_for_what_should_not_fade(layout: Layout) -> None:
    walk = Walk(layout, "amber")
    walk.say("ready")
    assert "not to fade" in walk.say("no fade")


def test_a_no_keeps_how_the_link_was(layout: Layout) -> None:
    walk = Walk(layout, "amber", "inn")
    walk.hand.link = Heard("main", talks=False, power="off", what="track power is off")
    walk.say("ready", "no")
    assert walk.walker.heard["main"].power == "off"
    walk.hand.link = Heard("main")
    walk.say("yes")
    assert walk.walker.heard == {}


# --- detectors and buttons -----------------------------------------------------------------------------------------


def rolled(layout: Layout, *events: Detected | Pressed, name: str = "lane", first: str = "clear") -> Walk:
    walk = Walk(layout, name)
    if first:
        walk.hear(Detected("lane", first), Detected("yard", "clear"), Pressed("bell-push", False))
    walk.say("ready")
    for event in events:
        walk.wait(200_000)
        walk.hear(event)
    return walk


def word_of(walk: Walk, name: str = "lane") -> str:
    stop = walk.walker.round.named(name)
    assert stop is not None
    return sign_of(stop, walk.walker.answers[name]).word


def test_a_detector_ticks_itself_off_when_a_wagon_has_come_and_gone(layout: Layout) -> None:
    walk = rolled(layout, Detected("lane", "occupied"))
    walk.wait(5 * S)
    assert walk.walker.answers == {}  # it stands there
    walk.hear(Detected("lane", "clear"))
    walk.wait(1 * S)
    assert walk.walker.answers == {}  # it may come again
    walk.wait(1 * S)
    assert walk.walker.phase == DONE
    assert word_of(walk) == "yes"


def test_a_button_ticks_itself_off_when_it_is_let_go(layout: Layout) -> None:
    walk = rolled(layout, Pressed("bell-push", True), Pressed("bell-push", False), name="bell-push")
    walk.wait(2 * S)
    assert word_of(walk, "bell-push") == "yes"


def test_the_first_report_of_all_is_no_wagon(layout: Layout) -> None:
    walk = rolled(layout, Detected("lane", "clear"), first="")
    walk.wait(5 * S)
    assert walk.walker.answers == {}


def test_one_that_is_occupied_before_the_wagon_comes_is_said_to_be(layout: Layout) -> None:
    walk = rolled(layout, first="occupied")
    assert "occupied, or pressed, already" in walk.walker.taken
    for state in ("clear", "occupied", "clear"):
        walk.wait(200_000)
        walk.hear(Detected("lane", state))
        assert walk.walker.taken == ""
    walk.wait(2 * S)
    assert word_of(walk) == "yes"


def test_a_clear_that_was_not_seen_to_come_is_no_wagon_gone(layout: Layout) -> None:
    """The link was lost while the wagon stood there: nobody knows when, or whether, it went."""
    lost = [Detected("lane", state) for state in ("occupied", "unknown", "clear")]
    walk = rolled(layout, *lost)
    walk.wait(3 * S)
    assert walk.walker.answers == {}


def test_one_that_chatters_is_told_from_one_that_came_once(layout: Layout) -> None:
    pairs = [Detected("lane", state) for _ in range(6) for state in ("occupied", "clear")]
    walk = rolled(layout, *pairs)
    walk.wait(2 * S)
    assert word_of(walk) == "chatters"


@pytest.mark.parametrize(
    ("first", "events", "word"),
    [
        ("clear", [], "no"),
        ("occupied", [], "stuck"),
        ("clear", [Detected("lane", "occupied")], "stuck"),
        ("occupied", [Detected("lane", "clear"), Detected("lane", "occupied")], "wrong way"),
        ("clear", [Detected("yard", "occupied"), Detected("yard", "clear")], "other"),
    ],
)
def test_a_no_at_a_detector_goes_by_what_was_heard(
    layout: Layout, first: str, events: list[Detected], word: str
) -> None:
    walk = rolled(layout, *events, first=first)
    walk.wait(2 * S)
    walk.say("no")
    assert word_of(walk) == word


def test_another_that_comes_as_well_is_noted(layout: Layout) -> None:
    both = [Detected(name, state) for state in ("occupied", "clear") for name in ("lane", "yard")]
    walk = rolled(layout, *both)
    walk.wait(2 * S)
    rolled_over = walk.walker.answers["lane"].rolled
    assert rolled_over is not None
    assert (rolled_over.others, word_of(walk)) == (("yard",), "also")


def test_a_number_that_the_layout_does_not_name_is_noted(layout: Layout) -> None:
    walk = rolled(layout)
    walk.hand.numbers = {77: 2}
    walk.say("no")
    assert word_of(walk) == "strange"


def test_yes_is_no_answer_at_a_detector(layout: Layout) -> None:
    walk = rolled(layout)
    assert "ticks itself off" in walk.say("yes")
    assert walk.walker.answers == {}


# --- a link that is lost on the way --------------------------------------------------------------------------------


def test_a_servo_whose_link_is_lost_on_its_way_stands_nobody_knows_where(layout: Layout) -> None:
    walk = Walk(layout, "gate", positions={"gate": 85.0})
    walk.say("ready", "go")
    walk.wait(S)
    walk.hand.link = Heard("main", False)
    walk.wait(S)
    assert walk.walker.phase == ASKS
    assert "gate" not in walk.walker.positions
    assert "may jump" in walk.walker.caution


def test_a_servo_whose_link_is_lost_on_its_way_home_stands_nobody_knows_where(layout: Layout) -> None:
    walk = Walk(layout, "gate", "bell-push", positions={"gate": 85.0})
    walk.say("ready", "go")
    walk.wait(2 * S)
    walk.say("yes")
    assert walk.walker.phase == HOMING
    walk.hand.link = Heard("main", False)
    walk.wait(10 * S)
    assert "gate" not in walk.walker.positions


def test_a_servo_that_was_told_nothing_yet_stands_where_it_stood_though_its_link_is_lost(layout: Layout) -> None:
    walk = Walk(layout, "gate", positions={"gate": 85.0})
    walk.say("ready")
    walk.hand.link = Heard("main", False)
    walk.wait(S)
    assert walk.walker.positions == {"gate": 85.0}


@pytest.mark.parametrize("killed", [True, False])
def test_after_a_show_that_was_killed_a_walk_knows_of_no_servo_where_it_stands(
    layout: Layout, tmp_path: Path, killed: bool
) -> None:
    file = tmp_path / "layout.yaml"
    kept = last_positions.file_for(file)
    last_positions.write(kept, {"gate": 85.0})
    if killed:
        last_positions.begun(kept)
    round_ = walk_round(layout)
    stops = [stop for stop in round_.stops if stop.name == "gate"]
    hand = LinkHand(layout, [], lambda: 0, lambda: None)
    session = Session("Pellbrook Quay", layout, file, round_, stops, Kept({}, {}), hand, lambda: 0)
    session.do("ready")
    assert ("may jump" in session.walker.caution) is killed
    session.keep()
    assert last_positions.read(kept, layout)[0] == {"gate": 85.0}, "what was kept is not lost by looking"
