"""What becomes of edited scene files while a show runs: offered, waited for, refused, left. In virtual time."""

from __future__ import annotations

import asyncio
from pathlib import Path
from types import SimpleNamespace

import pytest

from engine.drive import work
from engine.events import Detected, Input, StartScene
from engine.show_day import Phase
from engine.trace import Noted, Record, SceneIs
from wayside.live.checked_apart import check
from wayside.live.offering import MOST_LINES, Offering, Stand
from wayside.live.scene_files import Saved
from wayside.live.showing import Show
from wayside.project import Project, load

S = 1_000_000
LAYOUT = """\
layout: Bench
outputs:
  lamp: {kind: lamp}
  gate: {kind: servo, positions: {raised: 90 deg, lowered: 0 deg}, full travel: 2 s, rest: raised, safe: lowered}
detectors:
  lane: {kind: section}
tracks:
  main: {stretches: [blind: 900 mm, lane: 300 mm, blind: 900 mm], fastest: 150 mm/s, shortest train: 300 mm}
"""
TEXT = """\
flag seen, kept

scene go
    turn on lamp
    wait 20 s
    turn off lamp

scene close-the-gate
    runs whenever lane is occupied
    move gate to lowered over 2 s
    wait until lane is clear
    move gate to raised over 2 s

day saturday
    opens at 10:00
    at 10:30 hall time run go
"""


class Bench:
    def __init__(self, folder: Path, dry: bool = True) -> None:
        self.folder = folder
        (folder / "layout.yaml").write_text(LAYOUT)
        (folder / "bench.scene").write_text(TEXT)
        self.project = load([folder])
        assert not self.project.errors, self.project.errors
        self.said: list[str] = []
        self.told: list[Record] = []
        self.performed: list[Project] = []
        self.show = Show(self.project.program, self.told.append, known=True)
        self.offering = Offering(self.project, self.show, dry, self.said.append)
        self.offering.performs = lambda project, _: self.performed.append(project)

    def save(self, text: str, layout: str = LAYOUT, missing: tuple[str, ...] = ()) -> None:
        (self.folder / "layout.yaml").write_text(layout)
        (self.folder / "bench.scene").write_text(text)
        names = ("bench.scene",) if layout == LAYOUT else ("layout.yaml",)
        self.offering.saved(Saved(names, check([str(self.folder)]), {}, missing, layout != LAYOUT))

    def at(self, at_s: float, *events: Input) -> None:
        """Work all that is due up to an instant, and the instant itself."""
        kernel, until_us = self.show.kernel, round(at_s * S)
        self.show.inputs.now_us = lambda: kernel.stage.now_us
        while (due := kernel.next_due()) is not None and due < until_us:
            self._work(due)
        self.show.inputs.put(*events)
        self._work(until_us)

    def _work(self, at_us: int) -> None:
        work(self.show.kernel, self.show.inputs, at_us)
        asyncio.run(self.show._worked(at_us))

    @property
    def notes(self) -> list[tuple[float, str]]:
        return [(one.at_us / S, one.text) for one in self.told if isinstance(one, Noted)]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture
def real(tmp_path: Path) -> Bench:
    return Bench(tmp_path, dry=False)


NEW = TEXT.replace("wait 20 s", "wait 30 s")
SWAPPED = "bench.scene is swapped in: go is changed"


def test_in_a_dry_run_it_is_swapped_in_by_itself_when_its_scene_is_idle(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save(NEW)
    assert bench.said == [
        "bench.scene was saved, and nothing is wrong: go is changed. It is swapped in when go has ended; type swap now "
        "not to wait."
    ]
    assert bench.offering.state()[0] == "when idle"
    assert bench.offering.state()[3:] == ["1", "go is changed", ["go"]]
    bench.at(10)
    assert bench.notes == []
    bench.at(21)
    assert bench.notes == [(20, SWAPPED)]
    assert bench.performed[0].program is bench.show.kernel.program
    assert bench.offering.state() == ["", "", "", "1", "", []]


def test_where_no_scene_of_it_runs_it_is_swapped_in_at_once(bench: Bench) -> None:
    bench.at(0)
    bench.save(NEW)
    assert bench.said == ["bench.scene was saved, and nothing is wrong: go is changed."]
    bench.at(1)
    assert bench.notes == [(1, SWAPPED)]


def test_on_a_real_layout_nothing_is_swapped_in_unasked(real: Bench) -> None:
    real.at(0)
    real.save(NEW)
    assert real.said[-1].endswith("The show goes on with what it has. Type swap now to swap it in.")
    real.at(100)
    assert real.notes == []
    assert real.offering.asked("when idle") == (True, "bench.scene is swapped in at once.")
    real.at(101)
    assert real.notes == [(101, SWAPPED)]


def test_on_request_what_runs_is_stopped_for_it_and_its_guarded_outputs_go_to_safe(real: Bench) -> None:
    real.at(0, Detected("lane", "occupied"))
    real.at(5, Detected("lane", "clear"))
    real.save(TEXT.replace("raised over 2 s", "raised over 3 s"))
    assert "Type swap now to swap it in, which first stops close-the-gate; or swap when idle." in real.said[-1]
    assert real.offering.asked("now") == (True, "close-the-gate is stopped first.")
    assert real.offering.stand is Stand.NOW
    real.at(6)
    real.at(20)
    changes = [(one.at_us / S, one.state) for one in real.told if isinstance(one, SceneIs)]
    assert changes == [(0, "running"), (6, "stopped")]
    assert real.show.kernel.stage.outputs["gate"].value(20 * S) == 0.0


def test_it_may_be_left_and_had_all_the_same_later(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save(NEW)
    assert bench.offering.asked("never") == (
        True,
        "The show goes on with what it has. bench.scene can still be swapped in: swap now.",
    )
    bench.at(50)
    assert bench.notes == []
    assert bench.offering.stand is Stand.LEFT
    assert bench.offering.asked("now") == (True, "bench.scene is swapped in at once.")
    bench.at(51)
    assert bench.notes == [(51, SWAPPED)]


def test_what_is_wrong_takes_the_offer_away_and_its_message_is_shown(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save(NEW)
    bench.save(NEW.replace("turn off", "turn of"))
    assert bench.offering.stand is Stand.WRONG
    assert bench.said[-2] == "bench.scene was saved, and something is wrong. The show goes on with what it has."
    assert "`turn` needs `on` or `off`" in bench.said[-1]
    assert bench.offering.asked("now")[0] is False
    bench.at(50)
    assert bench.notes == []


def test_of_very_much_that_is_wrong_the_first_lines_are_said(bench: Bench) -> None:
    bench.at(0)
    bench.save(TEXT + "nonsense\n" * 50)
    assert len(bench.said[-1].splitlines()) == MOST_LINES + 1
    assert "more lines; wayside check says it all" in bench.said[-1]
    assert len(str(bench.offering.state()[2])) > len(bench.said[-1])


def test_a_page_that_has_not_seen_the_last_save_swaps_nothing(real: Bench) -> None:
    real.at(0)
    real.save(NEW)
    real.save(TEXT.replace("wait 20 s", "wait 40 s"))
    fine, says = real.offering.asked("now", 1)
    assert (fine, says) == (False, "bench.scene has been saved again since: look at the new offer first.")
    assert real.offering.asked("now", 2)[0]


def test_the_last_of_several_saves_is_what_is_swapped_in(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save(NEW)
    bench.save(TEXT.replace("turn off lamp", "set lamp to on"))
    bench.at(21)
    assert bench.notes == [(20, SWAPPED)]
    assert bench.show.kernel.stage.outputs["lamp"].value(21 * S) == 0.0  # the run that ended was of the first text
    bench.at(30, StartScene("go"))
    bench.at(51)
    assert bench.show.kernel.stage.outputs["lamp"].value(51 * S) == 1.0


def test_a_save_that_goes_back_to_what_is_performed_takes_the_offer_away(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save(NEW)
    bench.offering.saved(None)
    bench.at(50)
    assert bench.notes == []
    assert bench.offering.asked("now") == (
        False,
        "The scene files are as they are performed: there is nothing to swap in.",
    )


def test_another_layout_is_for_the_next_show(bench: Bench) -> None:
    bench.at(0)
    bench.save(NEW, LAYOUT.replace("full travel: 2 s", "full travel: 3 s"))
    assert bench.offering.stand is Stand.RESTART
    assert bench.said[-1] == (
        "layout.yaml was saved, and nothing is wrong. layout.yaml says something else of the layout, which a running "
        "show keeps: begin the show anew for it."
    )
    assert not bench.offering.asked("now")[0]
    bench.save(NEW, LAYOUT + "# a remark\n")  # says the same
    bench.at(1)
    assert bench.notes[0][0] == 1
    assert bench.show.kernel.program.layout is bench.project.layout  # links and pages know this one


def test_a_file_that_is_gone_is_never_swapped_in_by_itself(bench: Bench) -> None:
    bench.at(0)
    bench.save("scene third\n    turn on lamp\n", missing=("other.scene",))
    bench.at(5)
    assert bench.notes == []
    assert bench.offering.stand is Stand.OFFERED
    bench.offering.asked("now")
    bench.at(6)
    assert "third is new, go and close-the-gate are gone" in bench.notes[0][1]


def test_a_text_that_changes_nothing_is_said_to(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save("# a remark\n\n" + TEXT)
    bench.at(1)
    assert bench.said[-1] == "bench.scene is swapped in: nothing that is performed is changed by it."
    assert bench.notes == []
    bench.at(25)
    places = [one.place.line for one in bench.told if getattr(one, "output", "") == "lamp"]
    assert places == [4, 6 + 2]  # what it does then stands in the new text


def test_nothing_is_swapped_in_when_the_show_ends(bench: Bench) -> None:
    bench.at(0, StartScene("go"))
    bench.save(NEW)
    bench.show.close()
    bench.at(1)
    assert bench.notes == []
    assert bench.offering.asked("now") == (False, "The show is ending: nothing is swapped in any more.")


def test_a_day_that_is_performed_is_not_taken_away_nor_anything_swapped_in_while_it_closes(real: Bench) -> None:
    day = SimpleNamespace(name="saturday", phase=Phase.OPEN)
    real.offering = Offering(real.project, real.show, False, real.said.append, day)  # type: ignore[arg-type]
    real.at(0)
    real.save(TEXT.split("day saturday")[0])
    assert real.offering.stand is Stand.RESTART
    assert real.said[-1].endswith("The day saturday, which is performed, is gone from it: begin the show anew for it.")
    real.save(NEW)
    day.phase = Phase.CLOSING
    assert real.offering.asked("now") == (False, "The show is ending: nothing is swapped in any more.")


def test_kept_flags_and_rules_are_those_of_the_new_text(bench: Bench) -> None:
    from wayside.live.kept import Kept
    from wayside.live.screen import Screen

    path = bench.folder / "kept.json"
    kept, screen = Kept(bench.show.kernel, path, {"seen": True}), Screen(bench.project, plain=True)

    def performs(project: Project, contents: object) -> None:
        kept.swapped()
        screen.perform(project)

    bench.offering.performs = performs
    bench.at(0, Detected("lane", "occupied"))
    rule = "\nrule quiet\n    never a train is on lane\n"
    bench.save(TEXT.replace("flag seen, kept", "flag seen, kept\ncounter trains, kept") + rule)
    bench.at(1)
    bench.show.kernel.count("trains", 3)
    assert kept.close() == ""
    assert path.read_text().replace(" ", "").replace("\n", "") == '{"seen":true,"trains":3}'
    assert screen.rules.tallies() == {"quiet": (0, 0)}
    assert [one.text for one in bench.told if isinstance(one, Noted)] == [
        "bench.scene is swapped in: no scene is changed"
    ]
    assert [type(one).__name__ for one in bench.told if one.at_us == S].count("Broke") == 1  # a train is there already
