"""What a show says of crossings that stay closed, and of how it ended: sentences for somebody in front of visitors."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.layout import Aspect, Kind, Layout, Link, Output, Setting, Wiring
from engine.program import Program
from engine.trace import LinkIs
from wayside.live.links import Unreached, guarded_on, may_reset
from wayside.live.showing import Show
from wayside.live.words import Teller, ended, kept_closed, not_begun
from wayside.project import load

LAYOUT = """\
layout: Bench
outputs:
  red-left: {kind: lamp, safe: flashing at 80 a minute}
  by-board: {kind: lamp, flashes as a pair: 45 a minute, safe: on}
  amber: {kind: lamp, safe: on}
  lamp: {kind: lamp}
"""


def test_one_detector_that_says_nothing() -> None:
    assert kept_closed(["lane"], ["crossing"], []) == (
        "Nothing is known of lane, so it counts as occupied, and crossing stays closed to the road; to work it by "
        "hand, type `lane clear`."
    )


def test_several_detectors_and_why_they_say_nothing() -> None:
    assert kept_closed(["up", "lane"], ["gates", "crossing"], ["main: track power is off"]) == (
        "Nothing is known of up and lane (link main: track power is off), so they count as occupied, and gates and "
        "crossing stay closed to the road; to work them by hand, type `up clear` and `lane clear`, a line each."
    )


def test_very_many_are_not_all_written_out() -> None:
    says = kept_closed([f"d{number}" for number in range(100)], [], [])
    assert "d0, d1, d2, d3 and 96 more" in says
    assert "guarded outputs stay closed" in says
    assert says.endswith("type `d0 clear` and so on for each, a line each.")


def test_an_end_that_reached_nobody_does_not_say_that_all_is_safe() -> None:
    assert ended([]) == "the show has ended, guarded outputs are in their safe state."
    says = ended([Unreached("main", ("gate", "reds"), "track power is off"), Unreached("yard", ("arm",), "gone")])
    assert says == (
        "the show has ended, but these may not be in their safe state: gate and reds (link main: track power is off), "
        "and arm (link yard: gone). See to them by hand."
    )


def test_what_flashes_does_so_no_longer_than_wayside_is_there() -> None:
    assert ended([], ["red"]).endswith(
        "But red flashes no more: with Wayside gone, it stays as it was last told, on or off."
    )
    assert "But red-left and red-right flash no more: with Wayside gone, each stays" in ended(
        [], ["red-left", "red-right"]
    )


def test_a_show_knows_which_of_its_safe_states_it_keeps_up_itself(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text("scene quiet\n    wait 1 s\n")
    project = load([tmp_path])
    assert not project.errors
    assert Show(project.program, lambda record: None).flashing == ("red-left",)


def test_the_guarded_outputs_of_each_link() -> None:
    safe, rest = Setting(1.0), Setting(0.0)
    outputs = [
        Output("gate", Kind.SERVO, rest, safe=safe, wiring=Wiring(link="main", pin=20)),
        Output("lamp", Kind.LAMP, rest, wiring=Wiring(link="main", pin=21)),
        Output("arm", Kind.SERVO, rest, wiring=Wiring(link="yard", pin=20)),
        Output("post", Kind.SIGNAL, rest, safe=safe, aspects=(Aspect("clear", (("arm", 1.0),)),)),
        Output("bell", Kind.SOUND, rest, safe=safe),
    ]
    layout = Layout(links={"main": Link("main"), "yard": Link("yard")}, outputs={one.name: one for one in outputs})
    assert guarded_on(layout) == {"main": ("gate",), "yard": ("post",)}


@pytest.mark.parametrize(
    ("link", "resets"),
    [
        (Link("main", port="/dev/ttyUSB0"), True),
        (Link("main", port="COM5"), True),
        (Link("main", port="/dev/ttyUSB0", resets=False), False),
        (Link("main", port="socket://localhost:2560"), False),
        (Link("main", port="rfc2217://localhost:2560"), True),
    ],
)
def test_only_a_port_with_control_lines_resets_a_station(link: Link, resets: bool) -> None:
    assert may_reset(link) is resets


def test_a_link_that_never_talked_has_not_gone() -> None:
    teller = Teller(Program(Layout(), {}))
    said = [teller.sentence(LinkIs(0, "main", state)) for state in ("gone", "talking", "gone")]
    assert said == [None, "link main is talking", "link main is gone"]


def test_why_a_show_has_not_begun() -> None:
    assert not_begun(["main: track power is off"]) == (
        "The show has not begun: it waits for link main: track power is off. Guarded outputs keep their safe state. "
        "Type `begin` to begin without it."
    )
    assert "for link main: gone; link yard: silent. " in not_begun(["main: gone", "yard: silent"])
    assert "still being put right" in not_begun([])
