"""What a wire cannot carry: an error on a link that exists, advice or nothing where a layout is only rehearsed."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenes.problems import Problem
from wayside.project import load

STATED = ("port: COM5", "dialect: early", "words: {status: s}")
BOARDS = """\
boards:
  box: {link: main, first address: 40, ports: 16}
  strip: {kind: pins, link: main, first pin: 100, ports: 16}
"""
SERVO = "kind: servo, positions: {up: 80 deg, down: 0 deg}"


def problems(folder: Path, link: str, rows: str, scene: str = "", inputs: str = "") -> tuple[Problem, ...]:
    links = f"links: {{main: {{kind: serial text{', ' if link else ''}{link}}}}}\n"
    outputs = "".join(f"  {row}\n" for row in rows.splitlines())
    (folder / "layout.yaml").write_text(f"layout: Pellbrook Quay\n{links}{BOARDS}outputs:\n{outputs}{inputs}")
    if scene:
        (folder / "a.scene").write_text(scene)
    return load([folder]).problems


def plain(problem: Problem) -> str:
    return f"{problem.what} {problem.instead}".replace("`", "").lower()


REFUSED: list[tuple[str, str, str]] = [
    ("dialect: late", "x: {kind: lamp, dimmable: yes, board: box, port: 0}", "an accessory address only switches"),
    ("dialect: late", "x: {kind: lamp, dimmable: yes, link: main, address: 9}", "an accessory address only switches"),
    ("dialect: late", f"x: {{{SERVO}, full travel: 2 s, board: box, port: 0}}", "write moves by itself: 3 s"),
    ("dialect: late", "x: {kind: motor, board: box, port: 0}", "is a motor, which has speeds"),
    ("dialect: early", "x: {kind: lamp, dimmable: yes, board: strip, port: 0}", "write dialect: late if its far end"),
    ("port: COM5", "x: {kind: lamp, dimmable: yes, board: strip, port: 0}", "write dialect: late if its far end"),
    ("dialect: early", f"x: {{{SERVO}, full travel: 2 s, board: strip, port: 0}}", "needs servo positions"),
    ("dialect: late", "x: {kind: lamp, dimmable: yes, levels: 9999, link: main, pin: 9}", "write levels: 4095"),
    (
        "dialect: late, words: {level: none}",
        "x: {kind: lamp, dimmable: yes, link: main, pin: 9}",
        "give the link words for level",
    ),
    ("dialect: late", "x: {kind: signal, link: main, pin: 9, aspects: {stop: 0, go: 1}}", "a pin takes no numbers"),
    ("dialect: late", "x: {kind: signal, link: main, address: 9, aspects: {stop: 0, go: 256}}", "write 0 to 255"),
    ("dialect: early", "x: {kind: signal, link: main, address: 9, aspects: {stop: 0, go: 1}}", "needs aspects"),
]


@pytest.mark.parametrize(("link", "row", "words"), REFUSED)
def test_what_a_wire_cannot_carry_is_an_error_at_the_output(tmp_path: Path, link: str, row: str, words: str) -> None:
    (problem,) = problems(tmp_path, link, row)
    assert not problem.advice
    assert words in plain(problem)
    assert (problem.place.line, problem.place.column) == (7, 3)
    assert problem.what.endswith(".")
    assert problem.instead.endswith(".")


CARRIED = [
    "x: {kind: lamp, board: box, port: 0}",
    "x: {kind: relay, link: main, address: 9}",
    "x: {kind: lamp, dimmable: yes, levels: 4095, board: strip, port: 0}",
    f"x: {{{SERVO}, full travel: 2 s, board: strip, port: 0}}",
    f"x: {{{SERVO}, moves by itself: 2 s, board: box, port: 0}}",
    "x: {kind: motor, board: strip, port: 0}",
    "x: {kind: signal, link: main, address: 9, aspects: {stop: 0, go: 31}}",
    "x: {kind: lamp, dimmable: yes}",
    "x: {kind: lamp, dimmable: yes, whites: 2200 K to 6500 K}",
]


@pytest.mark.parametrize("row", CARRIED)
def test_what_it_can_carry_is_fine(tmp_path: Path, row: str) -> None:
    assert problems(tmp_path, "port: COM5, dialect: late", row) == ()


@pytest.mark.parametrize("link", STATED)
def test_a_link_that_exists_is_held_to_it(tmp_path: Path, link: str) -> None:
    (problem,) = problems(tmp_path, link, "x: {kind: lamp, dimmable: yes, board: box, port: 0}")
    assert not problem.advice


def test_a_link_that_says_nothing_is_being_rehearsed(tmp_path: Path) -> None:
    rows = "\n".join(f"lamp-{n}: {{kind: lamp, dimmable: yes, board: box, port: {n}}}" for n in range(10))
    (problem,) = problems(tmp_path, "", rows)
    assert problem.advice
    said = plain(problem)
    assert "so it is with lamp-1, lamp-2, lamp-3, lamp-4, lamp-5, lamp-6 and 3 more." in said
    assert [(place.line, label) for place, label in problem.also] == [
        (4, "`box` is here; `kind: pins` would take levels and positions")
    ]
    on_pins = "x: {kind: lamp, dimmable: yes, link: main, pin: 1, colours: [white, red]}"
    assert problems(tmp_path, "", on_pins) == (), "that its words have no levels is told once it has words"


def test_a_cause_on_each_board_is_told_once(tmp_path: Path) -> None:
    rows = (
        "a: {kind: lamp, dimmable: yes, board: box, port: 0}\nb: {kind: lamp, dimmable: yes, board: box, port: 1}\n"
        "c: {kind: lamp, dimmable: yes, link: main, address: 9}\nd: {kind: motor, board: box, port: 2}"
    )
    found = problems(tmp_path, "dialect: late", rows)
    assert [problem.place.line for problem in found] == [7, 9, 10]
    assert "so it is with b." in plain(found[0])


def test_a_colour_that_goes_nowhere_is_advice(tmp_path: Path) -> None:
    (problem,) = problems(
        tmp_path, "dialect: late", "x: {kind: lamp, dimmable: yes, link: main, pin: 1, whites: 2200 K to 6500 K}"
    )
    assert problem.advice
    assert "x colour can be told to nobody" in plain(problem)


def test_an_aspect_that_not_every_decoder_knows_is_advice(tmp_path: Path) -> None:
    # NMRA S-9.2.1 of 2012 has five bits for the aspect, so 31 is the last; NEM 672 has eight.
    (problem,) = problems(
        tmp_path, "dialect: late", "x: {kind: signal, link: main, address: 9, aspects: {stop: 0, go: 32}}"
    )
    assert problem.advice
    assert "go of x has the number 32, which not every decoder knows. see in its book" in plain(problem)


def test_two_inputs_of_one_number_could_not_be_told_apart(tmp_path: Path) -> None:
    inputs = "detectors:\n  lane: {kind: section, link: main, address: 7}\nbuttons:\n  bell: {link: main, pin: 7}\n"
    (problem,) = problems(tmp_path, "dialect: late", "x: {kind: lamp, link: main, pin: 1}", inputs=inputs)
    assert "both report as number 7" in plain(problem)
    assert problem.place.line == 11
    assert problems(tmp_path, "", "x: {kind: lamp, link: main, pin: 1}", inputs=inputs) == ()


@pytest.mark.parametrize(
    "line",
    ["set crane to 40 % backwards", "fade crane to 40 % backwards over 2 s"],
)
def test_a_motor_on_a_pin_does_not_run_backwards(tmp_path: Path, line: str) -> None:
    crane = "crane: {kind: motor, link: main, pin: 1}"
    scene = f"scene a\n    set crane to 20 %\n    repeat 2 times\n        {line}\n        wait 1 s\n"
    found = problems(tmp_path, "dialect: late", crane, scene)
    assert [(problem.place.line, problem.advice) for problem in found] == [(4, False)], found
    assert "crane runs one way only" in plain(found[0])
    assert problems(tmp_path, "", crane, scene) == ()
    assert problems(tmp_path, "dialect: late", crane, scene.replace(" backwards", "")) == ()


def test_a_motor_that_rests_backwards_is_told_where_it_stands(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, "dialect: late", "crane: {kind: motor, link: main, pin: 1, rest: 40 % backwards}")
    assert problem.place.line == 7
    scene = "scene a\n    set crane to 20 %\n    wait 1 s\n    turn off crane\n"
    assert problems(tmp_path, "dialect: late", "crane: {kind: motor, link: main, pin: 1, rest: off}", scene) == ()


def test_two_motors_do_not_answer_for_each_other(tmp_path: Path) -> None:
    rows = "crane: {kind: motor, link: main, pin: 1}\nmill: {kind: motor, link: main, pin: 2}"
    scene = "scene a\n    set crane to 20 %\n    set mill to 30 % backwards\n"
    (problem,) = problems(tmp_path, "dialect: late", rows, scene)
    assert "mill runs one way only" in plain(problem)


def test_as_many_as_a_sentence_holds_are_all_named(tmp_path: Path) -> None:
    rows = "\n".join(f"lamp-{n}: {{kind: lamp, dimmable: yes, board: box, port: {n}}}" for n in range(7))
    (problem,) = problems(tmp_path, "", rows)
    assert "so it is with lamp-1, lamp-2, lamp-3, lamp-4, lamp-5 and lamp-6." in plain(problem)


def test_errors_of_wires_do_not_hide_those_of_scenes(tmp_path: Path) -> None:
    row = "x: {kind: lamp, dimmable: yes, board: box, port: 0}"
    found = problems(tmp_path, "dialect: late", row, "scene a\n    turn on y\n")
    assert [Path(problem.place.file).name for problem in found if not problem.advice] == ["a.scene", "layout.yaml"]
