"""Supplies, currents and prices in the layout file: what each key gives, and what is told of a wrong one."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from engine.layout import Layout
from engine.supply import Cable, Draw, Exhibition, Price
from scenes.problems import Problem, as_text
from wayside.layout.file import read_layout

HEAD = """\
layout: Pellbrook Quay
links: {main: {kind: serial text, dialect: late}}
boards: {quay-board: {kind: pins, link: main, first pin: 100, ports: 8, current: 30 mA, price: 22}}
outputs:
  amber: {kind: lamp, board: quay-board, port: 0, current: 10 mA, forward voltage: 3.2 V, in series: 2, price: 0,35 EUR}
  crane: {kind: servo, link: main, pin: 2, positions: {up: 0 deg, down: 45 deg}, full travel: 2 s,
          current: 200 mA, stalled current: 0.7 A, idle current: 6 mA}
  mill: {kind: motor, link: main, pin: 3, current: 90 mA, stalled current: 400 mA}
"""


def read(folder: Path, text: str) -> tuple[Layout, list[Problem], dict[str, list[str]]]:
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    return read_layout(folder / "layout.yaml", "layout.yaml")


def right(folder: Path, text: str) -> Layout:
    layout, problems, lines = read(folder, text)
    assert [as_text(problem, lines) for problem in problems] == []
    return layout


def test_everything_that_a_supply_can_say(tmp_path: Path) -> None:
    text = """\
supplies:
  lamp-supply: {voltage: 12 V dc, gives: "1,5 A", fuse: 800 mA, price: 18.90 EUR, powers: [quay-board],
                wire: 3 m of 0.5 mm2}
  servo-supply:
    voltage: 5V DC
    runs:
      - {powers: crane, wire: 120 cm of 0,75 mm2}
      - powers: [mill]
  old-one: {voltage: 16 V ac}
exhibition: {stays with it: two operators, mains leads: 2}
"""
    layout = right(tmp_path, HEAD + text)
    lamps, servos, old = layout.supplies.values()
    assert (lamps.millivolts, lamps.alternating, lamps.gives_ua, lamps.fuse_ua) == (12_000, False, 1_500_000, 800_000)
    assert lamps.runs[0][:2] == (("quay-board",), Cable(3_000, Fraction(1, 2)))
    assert [run[:2] for run in servos.runs] == [(("crane",), Cable(1_200, Fraction(3, 4))), (("mill",), None)]
    assert servos.powers == ("crane", "mill")
    assert (old.millivolts, old.alternating, old.gives_ua, old.runs) == (16_000, True, None, ())
    assert layout.exhibition == Exhibition("two operators", 2)
    assert layout.prices == {
        ("outputs", "amber"): Price(Fraction(35, 100), "EUR"),
        ("boards", "quay-board"): Price(Fraction(22), ""),
        ("supplies", "lamp-supply"): Price(Fraction(189, 10), "EUR"),
    }
    assert layout.draws == {
        ("outputs", "amber"): Draw(10_000, forward_mv=3_200, in_series=2),
        ("outputs", "crane"): Draw(200_000, 700_000, 6_000),
        ("outputs", "mill"): Draw(90_000, 400_000),
        ("boards", "quay-board"): Draw(30_000),
    }


def test_a_layout_without_any_of_it(tmp_path: Path) -> None:
    layout = right(tmp_path, "layout: Quay\n")
    assert (layout.supplies, layout.draws, layout.prices, layout.exhibition) == ({}, {}, {}, None)


def test_a_table_of_outputs_has_the_columns(tmp_path: Path) -> None:
    (tmp_path / "wiring.csv").write_text("name,kind,current,price\namber,lamp,10 mA,1.20 EUR\n", encoding="utf-8")
    layout = right(tmp_path, "layout: Quay\noutputs from: wiring.csv\n")
    assert layout.draws == {("outputs", "amber"): Draw(10_000)}
    assert layout.prices == {("outputs", "amber"): Price(Fraction(6, 5), "EUR")}


# A section that takes the place of `§`, and words of what is told of it; the place is the one marked `^`.
WRONG = [
    ("supplies: {a: {voltage: ^51 V ac}}", "safety extra-low voltage ends at 50 v ac (iec 61558-1)"),
    ("supplies: {a: {voltage: ^121 V dc}}", "safety extra-low voltage ends at 120 v ripple-free dc (iec 61558-1)"),
    ("supplies: {a: {voltage: ^230 V ac}}", "qualified person"),
    ("supplies: {a: {voltage: ^0 V dc}}", "no volts powers nothing"),
    ("supplies: {a: {voltage: ^12 V}}", "ac or dc"),
    ("supplies: {a: {voltage: ^12}}", "write voltage: 12 v dc"),
    ("supplies: {^a: {gives: 1 A}}", "does not say its voltage"),
    ("supplies: {a: {voltage: 12 V dc, gives: ^2}}", "has no unit"),
    ("supplies: {a: {voltage: 12 V dc, gives: ^0 A}}", "nothing at all"),
    ("supplies: {a: {voltage: 12 V dc, fuse: ^500 A}}", "more than any layout has"),
    ("supplies: {a: {voltage: 12 V dc, ^wire: 3 m of 0.5 mm2}}", "leads to nothing"),
    ("supplies: {a: {voltage: 12 V dc, powers: [amber], wire: ^3 m}}", "is not a run of wire"),
    ("supplies: {a: {voltage: 12 V dc, powers: [amber], wire: ^3 m of 0 mm2}}", "is no wire"),
    ("supplies: {a: {voltage: 12 V dc, powers: [amber], wire: ^0 m of 1 mm2}}", "is no wire"),
    ("supplies: {a: {voltage: 12 V dc, powers: [^ambre]}}", "did you mean amber"),
    ("supplies: {a: {voltage: 12 V dc, powers: [^quay-bord]}}", "did you mean quay-board"),
    ("supplies: {a: {voltage: 12 V dc, powers: [^zzzzzz]}}", "the boards are quay-board"),
    ("supplies: {a: {voltage: 12 V dc, powers: [amber, ^amber]}}", "powered twice"),
    (
        "supplies: {a: {voltage: 12 V dc, powers: [amber]}, b: {voltage: 5 V dc, runs: [{powers: ^amber}]}}",
        "powered twice",
    ),
    ("supplies: {a: {voltage: 12 V dc, ^runs: [{wire: 3 m of 1 mm2}]}}", "powers"),
    ("supplies: {a: {voltage: 12 V dc, ^volts: 3}}", "volts is not known"),
    ("exhibition: {^who: me}", "who is not known"),
    ("exhibition: {mains leads: ^many}", "is not a number of leads"),
]


@pytest.mark.parametrize(("text", "said"), WRONG, ids=[text for text, _ in WRONG])
def test_what_is_wrong_with_a_supply(tmp_path: Path, text: str, said: str) -> None:
    _one_problem(tmp_path, HEAD + text + "\n", said)


OUTPUTS = [
    ("{kind: servo, positions: {a: 0 deg, b: 9 deg}, full travel: 1 s, current: 2 A, stalled current: ^1 A}", "held"),
    ("{kind: servo, positions: {a: 0 deg, b: 9 deg}, full travel: 1 s, current: 1 mA, idle current: ^1 A}", "standing"),
    ("{kind: lamp, ^stalled current: 1 A}", "belongs to a servo or motor"),
    ("{kind: lamp, current: ^10}", "has no unit"),
    ("{kind: lamp, current: ^10 ma}", "is not a current"),
    ("{kind: relay, ^forward voltage: 3 V}", "belongs to a lamp"),
    ("{kind: lamp, forward voltage: ^0 V}", "no led has"),
    ("{kind: lamp, forward voltage: 3 V, in series: ^101}", "too many"),
    ("{kind: lamp, in series: ^3}", "forward voltage is not stated"),
    ("{kind: lamp, price: ^3 euros}", "is not a price"),
]


@pytest.mark.parametrize(("settings", "said"), OUTPUTS, ids=[settings for settings, _ in OUTPUTS])
def test_what_is_wrong_with_what_an_output_draws(tmp_path: Path, settings: str, said: str) -> None:
    _one_problem(tmp_path, f"layout: Quay\noutputs:\n  one: {settings}\n", said)


def test_an_output_and_a_board_of_one_name(tmp_path: Path) -> None:
    text = HEAD.replace("  amber:", "  quay-board:") + "supplies: {a: {voltage: 12 V dc, powers: [^quay-board]}}\n"
    _one_problem(tmp_path, text, "an output and a board")


def _one_problem(folder: Path, text: str, said: str) -> None:
    """One problem, at the mark, with these words; and something to write instead."""
    at = text.index("^")
    _, problems, lines = read(folder, text.replace("^", ""))
    told = [as_text(problem, lines) for problem in problems]
    assert len(told) == 1, "\n".join(told)
    place = problems[0].place
    assert (place.line, place.column) == (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)), told[0]
    assert said in told[0].replace("`", "").lower()
    assert problems[0].instead
