"""Rules in a live show, in virtual time: judged by detectors alone, told at once and not too often, harmless to it."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import pytest

from adapters.simulator import World
from engine import rules as engine_rules
from engine.conditions import Sort
from engine.drive import World as AnyWorld
from engine.events import Detected, Input, TrainMoves, TrainStands
from engine.monitors import Verdict
from engine.trace import Broke, Record, SceneIs, Told, Trouble
from wayside.live import rules as live_rules
from wayside.live.hands import understood
from wayside.live.screen import Screen
from wayside.live.showing import Show
from wayside.project import Project, load
from wayside.rehearsal.rehearsing import rehearse

S = 1_000_000
QUAY = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
BENCH = """\
layout: Bench
links: {main: {kind: serial text}}
outputs:
  gate: {kind: servo, link: main, pin: 20, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 1 s,
         rest: raised, safe: lowered}
  lamp: {kind: lamp, link: main, pin: 21}
  alarm: {kind: lamp, link: main, pin: 22}
detectors:
  before: {kind: section}
  lane: {kind: section}
  after: {kind: section}
tracks:
  line: {stretches: [before: 1500 mm, lane: 600 mm, after: 1500 mm], fastest: 150 mm/s, shortest train: 300 mm}
"""


class Clock:
    """Jumps to what is due, and ends the show at its time."""

    def __init__(self, show: Show, ends_us: int) -> None:
        self._show, self._ends_us, self._now_us = show, ends_us, 0

    def now_us(self) -> int:
        return self._now_us

    async def sleep_until(self, due_us: int | None, wake: asyncio.Event) -> None:
        await asyncio.sleep(0)
        ends_us = self._ends_us if self._now_us < self._ends_us else self._now_us + S
        self._now_us = ends_us if due_us is None else max(self._now_us, min(due_us, ends_us))
        if self._now_us >= self._ends_us:
            self._show.close()


class DetectorsOnly:
    """An emulated layout of which a show hears what a real one would tell."""

    def __init__(self, world: World) -> None:
        self.next_due = world.next_due
        self._world = world

    def advance(self, now_us: int) -> list[Input]:
        return [one for one in self._world.advance(now_us) if not isinstance(one, TrainMoves | TrainStands)]


class Hands:
    """What a person types, and when."""

    def __init__(self, project: Project, lines: Sequence[tuple[float, str]]) -> None:
        self._due = [(round(at_s * S), understood(line, project.program).inputs) for at_s, line in lines]
        assert all(inputs for _, inputs in self._due)

    def next_due(self) -> int | None:
        return self._due[0][0] if self._due else None

    def advance(self, now_us: int) -> list[Input]:
        found: list[Input] = []
        while self._due and self._due[0][0] <= now_us:
            found += self._due.pop(0)[1]
        return found


class Performed(NamedTuple):
    show: Show
    screen: Screen
    said: str
    records: list[Record]

    @property
    def broke(self) -> list[float]:
        return [record.at_us / S for record in self.records if isinstance(record, Broke)]

    @property
    def announced(self) -> list[str]:
        """The instants and rules that were told in full."""
        return re.findall(r"^ *([0-9:.]+  rule \S+ is broken)", self.said, re.MULTILINE)


def shown(
    project: Project,
    world: AnyWorld | None,
    ends_s: float,
    capsys: pytest.CaptureFixture[str],
    left: dict[str, float] | None = None,
) -> Performed:
    """`left`: as on a layout, with nothing known and its servos left there; else all is known, as in a dry run."""
    records: list[Record] = []
    screen = Screen(project, plain=True)

    def tell(record: Record) -> None:
        records.append(record)
        screen.record(record)

    show = Show(project.program, tell, known=left is None, positions=left, broken=screen.rules.broken)
    asyncio.run(asyncio.wait_for(show.perform(world, Clock(show, round(ends_s * S))), 60))
    for line in screen.rules.closing(show.judgements()):
        screen.remark(line)
    return Performed(show, screen, capsys.readouterr().out, records)


def bench(folder: Path, scenes: str) -> Project:
    (folder / "layout.yaml").write_text(BENCH)
    (folder / "bench.scene").write_text(scenes)
    project = load([folder])
    assert not project.errors, project.errors
    return project


def by_trains(project: Project, name: str, show_ready: list[Show]) -> DetectorsOnly:
    rehearsal = project.program.rehearsals[name]
    trains, acts = rehearsal.trains, rehearsal.acts
    return DetectorsOnly(World(project.layout, trains, acts, lambda signal: _may(show_ready, signal)))


def _may(ready: list[Show], signal: str) -> bool:
    from engine.conditions import may_pass

    show = ready[0]
    return show.kernel.holds(may_pass(show.kernel.program.layout.outputs[signal]))


# --- the same verdicts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["one-train", "a-train-each-way", "second-train-while-rising"])
def test_by_detectors_alone_a_good_crossing_is_judged_as_in_its_rehearsal(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    project = load([QUAY])
    rehearsal = project.program.rehearsals[name]
    result = rehearse(project.program, rehearsal)
    ready: list[Show] = []
    world = by_trains(project, name, ready)
    records: list[Record] = []
    show = Show(project.program, records.append, known=True)
    ready.append(show)
    asyncio.run(asyncio.wait_for(show.perform(world, Clock(show, result.ended_us + 1)), 60))
    ours = [(one.rule.name, one.line.place.line, one.verdict) for one in show.judgements()]
    judged = [one.judgement for one in result.rules]
    assert ours == [(one.rule.name, one.line.place.line, one.verdict) for one in judged]
    assert not [one for one in records if isinstance(one, Broke | Trouble)]
    assert all(one.verdict is Verdict.HELD and one.margin for one in judged if one.rule.name == "road-closed")
    capsys.readouterr()


# --- what detectors alone can not tell, and the last proven passage can --------------------------------------------

DROPS_OUT = """\
scene close
    runs whenever train-about
    when stopped
        move gate to lowered over 1 s like even
        hold gate
    move gate to lowered over 1 s like even
    turn on lamp
    wait until line-clear for 4 s
    move gate to raised over 1 s like even
    turn off lamp
define train-about as any of before, lane is occupied
define line-clear as all of before, lane are clear
rule road-closed
    never a train is on lane while gate is not lowered
rule by-detectors
    never lane is occupied while gate is not lowered
rehearsal passes
    a train 500 mm long runs along line at 150 mm/s, from 1 s
rehearsal drops-out
    a train 300 mm long runs along line at 30 mm/s, from 1 s
    at 62 s lane stays clear for 8 s
"""


def test_a_drop_out_without_proof_breaks_a_rule_that_clear_alone_would_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing has come to the detector beyond the lane when that goes clear; after 4 s the gate begins to rise."""
    slow = bench(tmp_path, DROPS_OUT)
    blind = shown(slow, Hands(slow, [(1, "before occupied"), (9, "lane occupied"), (10, "before clear"),
                                      (20, "lane clear")]), 40, capsys)  # fmt: skip
    assert [(one.rule.name, one.verdict) for one in blind.show.judgements()] == [
        ("road-closed", Verdict.BROKEN), ("by-detectors", Verdict.HELD)
    ]  # fmt: skip
    assert blind.broke == [24.0]
    assert "a train was taken to be on lane; gate was moving" in blind.said
    assert "lane says clear, and nothing has proven it; if nothing stands there, type lane clear" in blind.said
    assert "close is stopped, and its guarded outputs go to their safe state; when all is well, type start close" in (
        blind.said
    )
    gate = [one for one in blind.records if isinstance(one, Told) and one.output == "gate"]
    assert gate[-1].wave.value_at(40 * S) == 0.0  # and it is down again
    seen = shown(slow, Hands(slow, [(1, "before occupied"), (9, "lane occupied"), (10, "before clear"),
                                    (19, "after occupied"), (20, "lane clear")]), 40, capsys)  # fmt: skip
    assert [one.verdict for one in seen.show.judgements()] == [Verdict.HELD, Verdict.HELD]
    looked = shown(slow, Hands(slow, [(1, "before occupied"), (9, "lane occupied"), (10, "before clear"),
                                      (20, "lane clear"), (22, "lane clear")]), 40, capsys)  # fmt: skip
    assert [one.verdict for one in looked.show.judgements()] == [Verdict.HELD, Verdict.HELD]


def test_trains_that_truly_run_break_it_by_their_drop_out_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    project = bench(tmp_path, DROPS_OUT)
    good = shown(project, by_trains(project, "passes", []), 60, capsys)
    assert [one.verdict for one in good.show.judgements()] == [Verdict.HELD, Verdict.HELD]
    bad = shown(project, by_trains(project, "drops-out", []), 120, capsys)
    assert bad.broke
    assert bad.announced[0].endswith("rule road-closed is broken")
    # wholly on the lane from 61 s, at the next detector from 71 s; blind from 62 s, and the gate waits for 4 s of clear
    assert bad.broke[0] == 66.0


def test_a_cable_that_comes_out_brings_no_train(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For scenes and for rules about detectors unknown is occupied; it has not brought a train."""
    project = bench(tmp_path, DROPS_OUT)
    lost = [(2, "before unknown"), (2, "lane unknown"), (2, "after unknown"), (9, "lane clear"), (9, "before clear")]
    done = shown(project, Hands(project, lost), 40, capsys)
    assert [(one.rule.name, one.verdict) for one in done.show.judgements()] == [
        ("road-closed", Verdict.HELD), ("by-detectors", Verdict.BROKEN)
    ]  # fmt: skip
    assert ("close", "running") in [(one.scene, one.state) for one in done.records if isinstance(one, SceneIs)]
    came = shown(project, Hands(project, [*lost[:3], (2.5, "lane occupied")]), 40, capsys)
    assert came.show.judgements()[0].breaches[0].at_us == 2_500_000  # it is there, and the gate is on its way
    assert "says clear" not in came.said


def test_what_is_not_heard_of_yet_breaks_nothing_about_trains(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A show begins with nothing known; its gate was left raised. A rule counts from when its detectors are known."""
    project = bench(tmp_path, DROPS_OUT)
    hands = [(1, "before clear"), (1.5, "after clear"), (2, "lane clear")]
    done = shown(project, Hands(project, hands), 30, capsys, {"gate": 90.0})
    assert done.broke == []
    assert done.show.kernel.stage.trains_on == {"before": 0, "lane": 0, "after": 0}
    assert [one.verdict for one in done.show.judgements()] == [Verdict.HELD, Verdict.HELD]


# --- what is said --------------------------------------------------------------------------------------------------

LATE = """\
scene close
    starts each time before is occupied
    turn on lamp
    wait 30 s
rule answered
    whenever before is occupied, lamp is off within 5 s
    if broken
        turn on alarm
rule dark
    never lane is occupied while lamp is on
"""


def test_a_deadline_is_told_when_it_passes_with_all_that_a_person_should_know(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = shown(bench(tmp_path, LATE), Hands(load([tmp_path]), [(3, "before occupied")]), 20, capsys)
    assert done.broke == [8.0]
    told = done.said[done.said.index("  0:08.0") :].splitlines()
    assert told[0].strip() == "0:08.0  rule answered is broken   (bench.scene:6)"
    assert told[1].strip() == "whenever before is occupied, lamp is off within 5 s"
    so = "before was occupied; lamp was on"
    assert told[2].strip() == f"it began at 3 s, and by 8 s `lamp is off` had not followed; {so}"
    assert told[3].strip() == "what its `if broken` says begins"
    assert told[4].strip() == "before it:"
    assert [" ".join(line.split()) for line in told[5:7]] == [
        "0:03.0 detector before occupied",
        "0:03.0 lamp turned on close, bench.scene:3",
    ]
    assert told[7].strip() == "0:08.0  rule answered begins: answered is broken"
    assert [" ".join(line.split()) for line in done.said.splitlines()[-3:]] == [
        "2 lines of the rules, and what each had to spare where it came closest:",
        "broken answered line 6 broken by 12 s at 3 s",
        "kept dark line 10 never came near",
    ]


def test_two_lines_of_a_rule_that_break_together_are_both_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "scene on\n    turn on lamp\nrule dark\n    never lane is occupied\n    always lane is clear\n"
    done = shown(bench(tmp_path, text), Hands(load([tmp_path]), [(3, "lane occupied"), (5, "lane clear")]), 20, capsys)
    assert done.broke == [3.0, 3.0]
    assert done.announced == ["0:03.0  rule dark is broken"]
    lines = [line.strip() for line in done.said.splitlines()]
    assert lines[lines.index("and so is   (bench.scene:5)") + 1] == "always lane is clear"
    assert done.screen.rules.standing() == ["rule dark has broken 2 times, the last at 0:03.0"]


def test_a_rule_that_is_about_nothing_guarded_is_only_told_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hands = [(3, "before occupied"), (4, "lane occupied")]
    done = shown(bench(tmp_path, LATE), Hands(load([tmp_path]), hands), 20, capsys)
    assert "nothing is done about it: it reads no guarded output, and says nothing under `if broken`" in done.said
    scenes = [(one.scene, one.state) for one in done.records if isinstance(one, SceneIs) and one.at_us < 20 * S]
    assert scenes == [("close", "running"), ("rule answered", "running"), ("rule answered", "ended")]


def test_a_rule_that_breaks_all_the_time_is_told_once_a_minute_and_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    project = bench(tmp_path, "scene quiet\n    turn on lamp\nrule still\n    never lane is occupied\n")
    hands = [(at / 2, f"lane {'clear' if at % 2 else 'occupied'}") for at in range(4, 400)]
    done = shown(project, Hands(project, hands), 250, capsys)
    assert len(done.broke) == 198
    assert done.announced == [f"{at}  rule still is broken" for at in ("0:02.0", "1:02.0", "2:02.0", "3:02.0")]
    assert done.said.count("it has broken 59 times more since that was last said") == 3
    assert done.screen.rules.standing() == ["rule still has broken 198 times, the last at 3:19.0"]


def test_it_keeps_a_bounded_past_and_of_what_lies_before_the_last_of_each_subject(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The lamp was turned on, and the button never touched, long before the breach: the sentence knows the lamp."""
    text = "scene on\n    starts each time before is occupied\n    turn on lamp\n"
    text += "scene blink\n    runs whenever after is occupied\n    flash alarm at 60 a minute\n    wait 1 s\n"
    text += "rule dark\n    never lane is occupied while lamp is on\n"
    project = bench(tmp_path, text)
    hands = [(1, "before occupied"), (2, "after occupied"), (900, "lane occupied")]
    done = shown(project, Hands(project, hands), 901, capsys)
    assert "it was so at 15 min; lane was occupied; lamp was on" in done.said
    teller = done.screen.rules
    assert len(teller._records) <= live_rules.MOST_RECORDS
    assert teller._records[0].at_us > 800 * S
    assert len(teller._before) < 10
    assert len(done.records) > 2_000


def test_what_it_opens_with(tmp_path: Path) -> None:
    project = load([QUAY])
    teller = Screen(project, plain=True).rules
    show = Show(project.program, lambda record: None)
    said = teller.opening(show.asks_trains, show.unproven)
    assert said.startswith("3 rules watched: reds-first, road-closed and signals.")
    assert "by the last proven passage" in said
    assert "weaker than where trains truly are" in said
    assert "For lane nothing can prove it" in said
    plain = bench(tmp_path, LATE)
    show = Show(plain.program, lambda record: None)
    assert show.kernel.passages is None
    said = Screen(plain, plain=True).rules.opening(show.asks_trains, show.unproven)
    assert said == "2 rules watched: answered and dark."
    none = bench(tmp_path, "scene quiet\n    turn on lamp\n")
    assert Screen(none, plain=True).rules.opening((), ()) == ""
    assert Show(none.program, lambda record: None).judgements() == ()


# --- it does no harm -----------------------------------------------------------------------------------------------


def test_a_fault_of_our_own_in_judging_ends_the_judging_and_not_the_show(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    project = bench(tmp_path, LATE)

    def fails(judge: object, now_us: int) -> None:
        if now_us:
            raise ZeroDivisionError("bad")

    monkeypatch.setattr(engine_rules._Judge, "settle", fails)
    done = shown(project, Hands(project, [(3, "before occupied"), (4, "lane occupied")]), 20, capsys)
    assert done.said.count("trouble: rules are not judged any more, for a reason of our own: ZeroDivisionError") == 1
    assert "lamp turned on" in done.said
    assert "detector lane is occupied" in done.said


def test_what_can_not_be_put_in_words_does_not_end_the_show(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    project = bench(tmp_path, LATE)

    def fails(*_: object) -> str:
        raise ZeroDivisionError("bad")

    monkeypatch.setattr(live_rules.RuleTeller, "_what_was", fails)
    done = shown(project, Hands(project, [(3, "before occupied")]), 20, capsys)
    assert "rule answered is broken   (bench.scene:6)" in done.said
    assert "more can't be said of it, for a reason of our own: ZeroDivisionError" in done.said
    assert "rule answered begins" in done.said


def test_when_the_show_is_ending_nothing_more_is_set_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its deadline passes while a scene takes its time to stop."""
    text = LATE.replace("scene close\n", "scene close\n    when stopped\n        wait 10 s\n        turn off lamp\n")
    done = shown(bench(tmp_path, text), Hands(load([tmp_path]), [(3, "before occupied")]), 6, capsys)
    assert done.broke == [8.0]
    assert "the show is ending, which leaves everything safe: nothing else is done about it" in done.said
    assert not [one for one in done.records if isinstance(one, SceneIs) and one.scene == "rule answered"]


def test_a_live_show_asks_by_detectors_and_a_rehearsal_does_not(tmp_path: Path) -> None:
    project = bench(tmp_path, DROPS_OUT)
    show = Show(project.program, lambda record: None, known=True)
    assert show.asks_trains == ("lane",)
    assert show.kernel.passages is not None
    show.kernel.advance(0, [Detected("lane", "occupied")])
    assert show.kernel.stage.trains_on["lane"] == 1
    assert (Sort.TRAIN, "lane") in show.kernel._changed
