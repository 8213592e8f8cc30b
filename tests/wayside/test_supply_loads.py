"""What supplies have to give, against sums reckoned by hand and against asking every output at every millisecond."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.flicker import Flicker
from engine.layout import Kind, Output, Position, Setting
from engine.manners import MANNERS
from engine.supply import Draw
from engine.trace import Told
from engine.waves import Ramp, Steady, Wave
from wayside.project import Project, load
from wayside.rehearsal.rehearsing import rehearse
from wayside.survey.supply_check import check, overloads
from wayside.survey.supply_currents import Step, steps, taken, told_to
from wayside.survey.supply_loads import Load, Moment, Played, load_of, loads, run_sums

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
MS = 1_000

LAYOUT = """\
layout: Quay
links: {main: {kind: serial text, dialect: late}}
boards:
  lamp-board: {kind: pins, link: main, first pin: 100, ports: 8, current: 30 mA}
feeds: {point-unit: {recharge: 500 ms}}
supplies:
  lamp-supply: {voltage: 12 V dc, gives: 200 mA, powers: [lamp-board, bell]}
  servo-supply: {voltage: 5 V dc, gives: 1 A, powers: [near, far, arm-signal, mill, left-point]}
outputs:
  one:   {kind: lamp, board: lamp-board, port: 0, dimmable: yes, current: 10 mA}
  two:   {kind: lamp, board: lamp-board, port: 1, current: 20 mA}
  three: {kind: lamp, board: lamp-board, port: 2}
  near:  {kind: servo, board: lamp-board, port: 3, positions: {up: 0 deg, down: 80 deg}, full travel: 2 s}
  far:   {kind: servo, link: main, pin: 4, positions: {up: 0 deg, down: 80 deg}, full travel: 2 s,
          current: 100 mA, stalled current: 500 mA, idle current: 0 mA}
  arm:   {kind: servo, link: main, pin: 5, positions: {danger: 0 deg, clear: 45 deg}, full travel: 1 s}
  arm-signal: {kind: signal, aspects: {danger: {arm: danger}, clear: {arm: clear}}}
  bell:  {kind: sound, link: main, pin: 6, current: 80 mA}
  mill:  {kind: motor, link: main, pin: 7, current: 90 mA, stalled current: 400 mA}
  left-point: {kind: pulse, link: main, pin: 8, pulse: 100 ms, feed: point-unit, current: 50 mA}
"""

SCENES = {
    "in-turn": """\
    flash one and two in turn at 60 a minute each
    wait 5 s
    turn off one and two
""",
    "both": """\
    turn on one
    wait 1 s
    turn on two and bell
    wait 1 s
    turn off one, two, bell
""",
    "apart": """\
    move near to down over 2 s
    wait 1 s
    move far to down over 2 s
""",
    "at-once": """\
    together
        move near to down over 2 s
        move far to down over 2 s
        turn on mill
""",
    "signalled": "    set arm-signal to clear\n",
    "thrown": """\
    pulse left-point
    wait 200 ms
    pulse left-point
""",
    "dims": """\
    fade one to 50 % over 2 s
    wait 1 s
    fade one to 0 % over 1 s
""",
}


def project_in(folder: Path, name: str, layout: str = LAYOUT) -> Project:
    """The layout with one of the scenes, and a rehearsal of it."""
    folder.mkdir(exist_ok=True)
    text = f"scene {name}\n{SCENES[name]}\nrehearsal {name}-played\n    plays {name}\n    lasts 10 s\n"
    (folder / "layout.yaml").write_text(layout, encoding="utf-8")
    (folder / "all.scene").write_text(text, encoding="utf-8")
    found = load([folder])
    assert found.errors == []
    return found


@pytest.fixture(scope="module")
def projects(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Project]:
    return {name: project_in(tmp_path_factory.mktemp(name), name) for name in SCENES}


@pytest.fixture(scope="module")
def project(projects: dict[str, Project]) -> Project:
    return projects["at-once"]


def play(projects: dict[str, Project], name: str) -> Played:
    program = projects[name].program
    result = rehearse(program, program.rehearsals[f"{name}-played"])
    return Played(name, result.trace, result.ended_us)


def played(projects: dict[str, Project], name: str) -> tuple[Load, Load]:
    lamps, servos = loads(projects[name].layout, [play(projects, name)])
    return lamps, servos


def worst(load: Load) -> Moment:
    assert load.worst is not None
    return load.worst


def drawing(moment: Moment) -> dict[str, tuple[int, str]]:
    return {part.name: (part.ua // 1000, part.doing) for part in moment.parts}


def own_steps(projects: dict[str, Project], scene: str, name: str) -> list[Step]:
    layout, found = projects[scene].layout, play(projects, scene)
    output = layout.outputs[name]
    own = taken(output, layout.draws.get(("outputs", name)))
    recharge = layout.feeds[output.feed].recharge_us if output.feed else 0
    return steps(output, own, told_to(layout, found.trace, {name: None})[name], found.until_us, recharge)


# --- added up ------------------------------------------------------------------------------------------------------


def test_all_added_up(project: Project) -> None:
    lamps, servos = (load_of(project.layout, one) for one in project.layout.supplies.values())
    # 30 mA of the board, 10 + 20 + 0 of its lamps, 80 of the bell; `near` is on the board and fed by the other supply
    assert (lamps.sums.boards_ua, lamps.sums.lit_ua, lamps.sums.most_ua) == (30_000, 110_000, 140_000)
    assert lamps.outputs == ("one", "two", "three", "bell")
    # moving: 170 (usual) + 100 + 170 (usual) + 90; starting: 650 + 500 + 650 + 400; the point's unit 50
    assert (servos.sums.moving_ua, servos.sums.starting_ua, servos.sums.lit_ua) == (530_000, 2_200_000, 50_000)
    assert servos.sums.lasting_ua == 580_000
    assert servos.outputs == ("near", "far", "arm-signal", "arm", "mill", "left-point")
    assert (lamps.silent, servos.usual, servos.silent) == (("three",), ("near", "arm"), ())


def test_n_small_servos_stalled() -> None:
    from engine.layout import Output, Setting

    # n stalled at 650 mA each: 4 are 2.6 A, 8 are 5.2 A, 16 are 10.4 A (9 g class at 4.8 V, sellers)
    one = taken(Output("arm", Kind.SERVO, Setting(0.0)), None)
    assert [n * one.start_ua for n in (4, 8, 16)] == [2_600_000, 5_200_000, 10_400_000]
    assert one.full_ua == 170_000


def test_the_sums_of_a_run_of_wire(project: Project) -> None:
    run = project.layout.supplies["lamp-supply"].runs[0]
    assert run_sums(project.layout, run).most_ua == 140_000


# --- the worst moment ----------------------------------------------------------------------------------------------


def test_lamps_that_alternate_are_never_lit_together(projects: dict[str, Project]) -> None:
    lamps, _ = played(projects, "in-turn")
    assert drawing(worst(lamps)) == {"lamp-board": (30, "on"), "two": (20, "on")}
    assert worst(lamps).at_us == 500 * MS  # the second half of the first period of a second


def test_what_is_on_together(projects: dict[str, Project]) -> None:
    lamps, _ = played(projects, "both")
    assert (worst(lamps).ua, worst(lamps).at_us, worst(lamps).play) == (140_000, 1_000 * MS, "both")
    assert list(drawing(worst(lamps))) == ["bell", "lamp-board", "two", "one"]  # the most first


def test_servos_that_start_together(projects: dict[str, Project]) -> None:
    _, servos = played(projects, "at-once")
    # 650 + 500 + 400 starting, and the arm stands at 10
    assert drawing(worst(servos)) == {
        "near": (650, "starts"),
        "far": (500, "starts"),
        "mill": (400, "starts"),
        "arm": (10, "stands"),
    }
    assert servos.lasting is not None
    assert drawing(servos.lasting) == {
        "near": (170, "moves"),
        "far": (100, "moves"),
        "mill": (90, "moves"),
        "arm": (10, "stands"),
    }


def test_servos_that_start_one_after_another(projects: dict[str, Project]) -> None:
    _, servos = played(projects, "apart")
    # near starts: 650 + 0 + 10; three seconds later far starts: 10 + 500 + 10
    assert (worst(servos).ua, worst(servos).at_us) == (660_000, 0)


def test_the_worst_of_several_plays_is_named(projects: dict[str, Project]) -> None:
    found = loads(projects["both"].layout, [play(projects, name) for name in SCENES])
    assert [worst(one).play for one in found] == ["both", "at-once"]


def test_every_step_of_a_servo(projects: dict[str, Project]) -> None:
    # 80 deg in 2 s: nearly stalled for 0.1 s, moving until it is there, standing
    near = own_steps(projects, "apart", "near")
    assert [(step.at_us // MS, step.ua // 1000, step.doing) for step in near] == [
        (0, 10, "stands"),
        (0, 650, "starts"),
        (100, 170, "moves"),
        (2_000, 10, "stands"),
    ]


def test_the_arm_of_a_signal(projects: dict[str, Project]) -> None:
    arm = own_steps(projects, "signalled", "arm")
    assert [(step.at_us // MS, step.ua // 1000) for step in arm] == [(0, 10), (0, 650), (100, 170), (1_000, 10)]
    _, servos = played(projects, "signalled")
    assert worst(servos).ua == 660_000  # 650, and near at 10; the signal itself draws nothing


def test_a_discharge_unit_draws_until_it_has_recharged(projects: dict[str, Project]) -> None:
    point = own_steps(projects, "thrown", "left-point")
    rows = [(step.at_us // MS, step.ua // 1000) for step in point]
    # the second pulse waits for the unit: 100 ms of pulse, 500 ms of recharge, another pulse at 600 ms
    assert [row for row in rows if row[1] == 0][-1] == (1_200, 0)
    assert [row[0] for row in rows if row[1] == 50] == [0, 600]


def test_a_lamp_counts_in_full_while_it_is_lit_at_all(projects: dict[str, Project]) -> None:
    one = own_steps(projects, "dims", "one")
    assert {step.ua for step in one} == {0, 10_000}
    assert one[-1].ua == 0
    assert 3_900 < one[-1].at_us // MS <= 4_000  # faded out over the fourth second


BARRIER = Output(
    "barrier", Kind.SERVO, Setting(0.0), positions=(Position("up", 0.0), Position("down", 80.0)), travel_us=2_000 * MS
)
LAMP, MILL = Output("lamp", Kind.LAMP, Setting(0.0)), Output("mill", Kind.MOTOR, Setting(0.0))


def rows(output: Output, draw: Draw, *waves: tuple[int, Wave]) -> list[tuple[int, int, str]]:
    """Milliseconds, milliamperes and what is done, of waves that begin at milliseconds and end at ten seconds."""
    told = [(at_ms * MS, wave) for at_ms, wave in waves]
    found = steps(output, taken(output, draw), told, 10_000 * MS, 0)
    return [(step.at_us // MS, step.ua // 1000, step.doing) for step in found]


def test_a_servo_that_is_set_at_once_takes_its_own_time() -> None:
    # a quarter of the way of 80 deg: a quarter of its 2 s
    found = rows(BARRIER, Draw(), (0, Steady(0.0)), (3_000, Steady(20.0)), (4_000, Steady(20.0)))
    assert found[1:] == [
        (3_000, 650, "starts"),
        (3_100, 170, "moves"),
        (3_500, 10, "stands"),
        (4_000, 10, "stands"),
    ]


def test_a_short_move_is_all_start() -> None:
    found = rows(BARRIER, Draw(), (0, Steady(0.0)), (3_000, Steady(2.0)))  # 50 ms of way
    assert found[1:] == [(3_000, 650, "starts"), (3_050, 10, "stands")]


def test_a_move_that_is_cut_short_starts_again() -> None:
    found = rows(
        BARRIER, Draw(), (0, Steady(0.0)), (1_000, Ramp(1_000 * MS, 3_000 * MS, 0.0, 80.0)), (2_000, Steady(0.0))
    )
    assert found[1:] == [
        (1_000, 650, "starts"),
        (1_100, 170, "moves"),
        (2_000, 650, "starts"),
        (2_100, 170, "moves"),
        (3_000, 10, "stands"),
    ]


def test_what_flickers_counts_as_lit() -> None:
    embers = Flicker(500 * MS, 0, 1, MANNERS["embers"], (0.25, 0.9), (0.25, 0.9))
    assert rows(LAMP, Draw(10_000), (0, Steady(0.0)), (500, embers)) == [(0, 0, ""), (500, 10, "on")]


def test_a_motor_that_runs_already_does_not_start() -> None:
    draw = Draw(90_000, 400_000)
    found = rows(MILL, draw, (0, Steady(0.0)), (1_000, Steady(0.5)), (5_000, Steady(-1.0)), (8_000, Steady(0.0)))
    assert found == [
        (0, 0, ""),
        (1_000, 400, "starts"),
        (1_100, 90, "on"),
        (5_000, 90, "on"),
        (8_000, 0, ""),
    ]


def test_of_two_worst_moments_alike_the_first_is_named(projects: dict[str, Project]) -> None:
    one = play(projects, "both")
    found = loads(projects["both"].layout, [one, one._replace(name="again")])
    assert worst(found[0]).play == "both"


def test_against_asking_every_output_every_millisecond() -> None:
    """The same by brute force: everything that is not nothing counts, looked at a thousand times a second."""
    project = load([QUAY])
    result = rehearse(project.program, project.program.rehearsals["one-train"])
    (lamps, _) = loads(project.layout, [Played("one-train", result.trace, result.ended_us)])
    told: dict[str, list[tuple[int, Wave]]] = {}
    for record in result.trace:
        if isinstance(record, Told) and record.output in lamps.outputs:
            told.setdefault(record.output, []).append((record.at_us, record.wave))
    most, base = 0, 70_000  # the two boards
    for at_us in range(0, result.ended_us, MS):
        now = base
        for name in lamps.outputs:
            output = project.layout.outputs[name]
            before = [wave for from_us, wave in told.get(name, ()) if from_us <= at_us]
            value = before[-1].value_at(at_us) if before else output.rest.value
            now += (project.layout.draws["outputs", name].full_ua or 0) if value else 0
        most = max(most, now)
    assert worst(lamps).ua == most


# --- what check and rehearse say -----------------------------------------------------------------------------------


def test_check_says_what_a_supply_cannot_carry(project: Project) -> None:
    said = [problem.what + " " + problem.instead for problem in check(project.program)]
    (too_much,) = said  # 1550 mA and 10 starting of the 1 A that servo-supply gives; lamp-supply gives enough
    assert "`servo-supply` gives 1 A, and 1.56 A is drawn at 0 s of the scene at-once" in too_much
    assert "near starts (650 mA)" in too_much
    assert "1.56 A or more" in too_much
    assert "qualified person" in too_much


def test_all_at_once_that_never_comes_is_said_to_be_so(tmp_path: Path) -> None:
    found = _changed(tmp_path, "gives: 1 A", "gives: 2 A")
    (said,) = check(found.program)
    assert "all that it powers takes 2.25 A" in said.what
    assert "never comes to that" in said.instead
    assert said.advice


def test_what_a_supply_gives_exactly_it_carries(tmp_path: Path) -> None:
    (said,) = check(_changed(tmp_path, "gives: 1 A", "gives: 1.56 A").program)
    assert "all that it powers" in said.what
    (said,) = check(_changed(tmp_path, "gives: 1 A", "gives: 1559 mA").program)
    assert "is drawn at 0 s" in said.what


def test_a_supply_that_gives_enough_is_passed_over(tmp_path: Path) -> None:
    assert check(_changed(tmp_path, "gives: 1 A", "gives: 2.25 A").program) == []
    assert len(check(_changed(tmp_path, "gives: 1 A", "gives: 2249 mA").program)) == 1


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ("voltage: 5 V dc, fuse: 500 mA, powers: [near, far]", ""),  # 270 mA lasting, 375 carried
        ("voltage: 5 V dc, fuse: 360 mA, powers: [near, far]", ""),  # and here 270 carried, to the last
        ("voltage: 5 V dc, fuse: 315 mA, powers: [near, far]", "carries 236 mA for good"),
        ("voltage: 5 V dc, fuse: 4 A, powers: [near], wire: 1 m of 0.5 mm2", "carries 3 A"),
        ("voltage: 5 V dc, fuse: 3 A, powers: [near], wire: 1 m of 0.5 mm2", ""),
        ("voltage: 5 V dc, powers: [near], wire: 18 m of 0.5 mm2", ""),  # 39 * 36 m * 170 mA: 239 mV, 4.8 %
        ("voltage: 5 V dc, powers: [near], wire: 19 m of 0.5 mm2", "252 mV of 5 V, 5 %"),
        ("voltage: 25 V dc, powers: [near]", "toys keep to 24 V (2009/48/EC)"),
        ("voltage: 61 V dc, powers: [near]", "IEC 60335-1"),
        ("voltage: 18 V dc, powers: [two]", "scenic lights keep to 15 V dc (NEM 611 (2017))"),
        ("voltage: 18 V dc, powers: [far]", ""),
        ("voltage: 15 V dc, powers: [two]", ""),
    ],
)
def test_check_of_fuse_wire_and_voltage(tmp_path: Path, settings: str, said: str) -> None:
    supply = "  servo-supply: {voltage: 5 V dc, gives: 1 A, powers: [near, far, arm-signal, mill, left-point]}"
    found = check(_changed(tmp_path, supply, f"  servo-supply: {{{settings}}}").program)
    found = [one for one in found if "lamp-supply" not in one.what]  # it feeds all of the board that no other does
    assert [said in problem.what for problem in found] == ([True] if said else [])
    assert all(problem.advice and problem.instead for problem in found)


def test_rehearse_says_when_it_was_too_much(projects: dict[str, Project]) -> None:
    (said,) = overloads(projects["at-once"].program, [play(projects, "at-once")])
    assert "at 0 s of at-once" in said.what
    assert overloads(projects["apart"].program, [play(projects, "apart")]) == []


def _changed(folder: Path, old: str, new: str) -> Project:
    assert old in LAYOUT
    return project_in(folder, "at-once", LAYOUT.replace(old, new))
