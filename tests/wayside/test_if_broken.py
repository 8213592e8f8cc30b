"""What rules do if they are broken, in rehearsals, in their event lists, and in the cases of a challenge."""

from __future__ import annotations

from pathlib import Path

from engine.layout import NOWHERE
from engine.program import Act, Deed
from wayside.challenge.case import Case, Field, judged, play
from wayside.challenge.case_menu import release_delay_us
from wayside.project import load
from wayside.rehearsal import event_list
from wayside.rehearsal.rehearsing import rehearse

LAYOUT = """\
layout: Bench
outputs:
  lamp: {kind: lamp}
  alarm: {kind: lamp}
  other: {kind: lamp}
detectors: {lane: {kind: section}}
"""
SCENES = """\
scene on
    runs whenever lane is occupied
    wait 1 s
    turn on lamp
scene beside
    turn on other
scene ring
    turn on alarm
rule lit
    never lane is occupied while lamp is off
    if broken
        start ring
        stop beside
"""


def test_a_broken_rule_does_what_it_says_in_a_case(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text(SCENES)
    program = load([tmp_path]).program
    field = Field.of(program, ["lit"])
    assert set(field.program.scenes) == {"on", "ring", "rule lit"}
    case = Case(acts=(Act(NOWHERE, 2_000_000, Deed.BECOMES, "lane", "occupied"),))
    played = play(field, case, to_the_end=True)
    assert ([line.rule for line in played.broken], played.broke_us) == (["lit"], 2_000_000)
    (judgement,) = judged(field, case)
    assert judgement.broken == 1


def test_a_wait_of_a_rule_is_no_release_delay(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    ring = "scene ring\n    wait until lane is clear for 4 s\n    turn on alarm\n"
    scenes = SCENES.replace("scene ring\n    turn on alarm\n", ring)
    (tmp_path / "a.scene").write_text(scenes + "        wait until lane is clear for 1 s\n")
    project = load([tmp_path])
    assert not project.errors
    assert release_delay_us(project.program) == 4_000_000


MENDS = """
rule mends
    never lane is occupied while lamp is off
    if broken
        turn on lamp
rehearsal comes
    at 2 s lane becomes occupied
    lasts 5 s
"""


def test_what_it_sets_off_in_the_same_instant_is_neither_shown_nor_to_blame(tmp_path: Path) -> None:
    """It mends the rule by turning on the lamp; the lamp was off when the rule broke."""
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text("scene beside\n    turn on other\n" + MENDS)
    program = load([tmp_path]).program
    result = rehearse(program, program.rehearsals["comes"])
    (rule,) = result.rules
    assert not result.passed
    assert rule.what_happened == "it was so at 2 s; lane was occupied; lamp was still off: no line had told it anything"
    assert rule.place is not None
    assert rule.place.line == 9
    listed = [" ".join(line.split()) for line in event_list.lines(result.trace, program)]
    assert listed[2:] == [
        "0:02.0 detector lane occupied",
        "0:02.0 rule mends broken a.scene:5",
        "0:02.0 rule mends begins: mends is broken a.scene:5",
        "0:02.0 rule mends has ended: its last line has run",
        "0:02.0 lamp turned on rule mends, a.scene:7",
    ]
