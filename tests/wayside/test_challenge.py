"""The challenge: what it plays, what it covers, what it calls a failure, and what it gives back."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from engine.layout import NOWHERE
from engine.program import Act, Deed, TrainRun, Visit
from engine.trace import TrainAt, Trouble
from wayside.challenge import case_words
from wayside.challenge.case import Case, Field, Line, collides, play
from wayside.challenge.case_menu import Budget, families, menu, moments, release_delay_us, within
from wayside.challenge.challenging import MOST_SMALL, Limits, Outcome, challenge
from wayside.challenge.phases import OFFSETS_US, Asked, Passage, product
from wayside.challenge.search import BATCH, CHANGED, MOST_ACTS, Covered, Reach, Search
from wayside.challenge.shrinking import fails_alike, needed, shrunk
from wayside.challenge.snags import MOST_SNAGS, Snag, Snagged, Snags, snags_of
from wayside.cli import main
from wayside.commands import challenge as command
from wayside.project import Project, load

ROOT = Path(__file__).parents[2]
QUAY = ROOT / "examples" / "pellbrook-quay"
S = 1_000_000
FIRST = TrainRun(NOWHERE, "up-line", 800, 150_000, S)
EDGE = """
scene saltmarsh-lane
    starts each time train-about
    when stopped
        set guards to danger
        flash reds in turn at 80 a minute each
        move barriers to lowered over 7 s
        hold everything

    flash reds in turn at 80 a minute each
    turn on boom-lamps
    wait 3 s
    move barriers to lowered over 7 s
    set guards to clear
    wait until lane is occupied
    wait until lane is clear for 4 s
    set guards to danger
    wait 2 s
    move barriers to raised over 6 s
    turn off reds and boom-lamps
"""


@pytest.fixture(scope="module")
def quay() -> Project:
    return load([QUAY])


@pytest.fixture
def edge(tmp_path: Path) -> Path:
    """The crossing with a scene that starts at a change, and forgets a second train."""
    folder = tmp_path / "quay"
    shutil.copytree(QUAY, folder)
    file = folder / "saltmarsh-lane.scene"
    text = file.read_text(encoding="utf-8")
    head, rest = text.split("\nscene saltmarsh-lane", 1)
    _, rules = rest.split("# What must be so", 1)
    rules = rules.split("rehearsal one-train", 1)[0]
    file.write_text(f"{head}\n{EDGE}\n# What must be so{rules}", encoding="utf-8")
    (folder / "signals.scene").unlink()
    return folder


def ground_of(project: Project) -> Field:
    return Field.of(project.program, project.program.rules)


def budget_of(ground: Field, beyond: bool = False) -> Budget:
    return Budget(release_delay_us(ground.program), beyond)


def challenged(project: Project, cases: int, cores: int = 1, **more: object) -> Outcome:
    ground = ground_of(project)
    reach = Reach(**more)  # type: ignore[arg-type]
    return challenge(ground, budget_of(ground, reach.beyond), reach, Limits(0, cases, cores))


# --- cases ---------------------------------------------------------------------------------------------------------


def test_only_scenes_that_rules_can_see_are_played(quay: Project) -> None:
    """The evening changes nothing that the crossing's rules ask: it is left out, and the cases play faster."""
    assert list(ground_of(quay).program.scenes) == ["saltmarsh-lane"]


def test_a_scene_that_stops_another_is_seen_by_the_other_s_rules(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(
        "layout: bench\noutputs:\n  ada: {kind: lamp}\n  bea: {kind: lamp}\nbuttons:\n  red: {}\n"
    )
    (tmp_path / "a.scene").write_text(
        "flag on-show\n"
        "scene lights\n    runs whenever on-show\n    turn on ada\n    wait 1 s\n"
        "scene opens\n    starts on button red\n    remember on-show\n    wait 1 s\n    forget on-show\n"
        "scene ends\n    starts at 17:00 hall time\n    stop lights\n    wait 1 s\n"
        "scene far-off\n    starts at 18:00 hall time\n    turn on bea\n    wait 1 s\n"
        "rule dark\n    never ada is on\n"
    )
    project = load([tmp_path])
    assert not project.errors
    assert list(Field.of(project.program, ["dark"]).program.scenes) == ["lights", "opens", "ends"]


def test_a_case_stops_where_a_rule_breaks(edge: Path) -> None:
    ground = ground_of(load([edge]))
    second = FIRST._replace(track="down-line", from_us=31 * S, ignores_signals=True)
    played = play(ground, Case((FIRST, second)))
    assert played.broken
    assert played.instants[-1] == played.broke_us
    assert play(ground, Case((FIRST, second)), to_the_end=True).instants[-1] > played.broke_us
    assert not play(ground, Case((FIRST,))).broken


def at(train: int, at_us: int, tail_mm: int, front_mm: int, speed: int) -> TrainAt:
    return TrainAt(at_us, train, "up-line", front_mm * 1000, tail_mm * 1000, speed * 1000)


@pytest.mark.parametrize(
    ("records", "meets"),
    [
        ([at(0, 0, 0, 800, 100), at(1, 0, 900, 1200, 100)], False),
        ([at(0, 0, 0, 800, 150), at(1, 0, 900, 1200, 100), at(0, 30 * S, 4500, 5300, 0)], True),  # runs into it
        ([at(0, 0, 0, 800, 100), at(1, 0, 4000, 3200, -100), at(0, 30 * S, 3000, 3800, 0)], True),  # head on
        ([at(0, 0, 0, 800, 100), at(1, 0, 700, 900, 100)], True),  # on the same place
        ([at(0, 0, 5000, 5800, 0), at(1, 0, 5100, 5400, 0)], False),  # both have left the track
        ([at(0, 0, 0, 800, 100), at(1, 0, 800, 1200, 100)], False),  # buffer to buffer
    ],
)
def test_trains_do_not_run_through_one_another(quay: Project, records: list[TrainAt], meets: bool) -> None:
    trains = (FIRST, FIRST)
    assert collides(trains, records, quay.layout.tracks) is meets
    assert not collides((FIRST, FIRST._replace(track="down-line")), records, quay.layout.tracks)


# --- the budget ----------------------------------------------------------------------------------------------------


def test_the_release_delay_is_read_from_the_scenes(quay: Project) -> None:
    assert release_delay_us(quay.program) == 4 * S


def test_the_shortest_release_delay_counts(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(
        "layout: bench\noutputs:\n  ada: {kind: lamp}\ndetectors:\n  near: {kind: section}\n"
    )
    (tmp_path / "a.scene").write_text(
        "scene s\n    runs whenever near is occupied for 300 ms\n    turn on ada\n"
        "    wait until near is clear for 3 s\n    turn off ada\n    wait until near is clear for 2 s\n"
    )
    project = load([tmp_path])
    assert not project.errors
    assert release_delay_us(project.program) == 2 * S  # what asks for occupied is no release


def stays(state: str, for_us: int | None, detector: str = "lane", at_us: int = 0) -> Act:
    return Act(NOWHERE, at_us, Deed.STAYS, detector, state, for_us)


@pytest.mark.parametrize(
    ("case", "unseen_us", "bears"),
    [
        (Case((FIRST,)), 0, True),
        (Case((FIRST._replace(ignores_signals=True),)), 0, True),
        (Case((FIRST,), (stays("clear", 3 * S),)), 4 * S - 1, True),
        (Case((FIRST,), (stays("clear", 3 * S),)), 4 * S, False),
        (Case((FIRST,), (stays("clear", None),)), 0, False),
        (Case((FIRST,), (stays("occupied", None),)), 0, True),
        (Case((FIRST._replace(ignores_signals=True),), (stays("clear", S),)), 0, False),  # two kinds of fault
        (Case((FIRST._replace(speed_um_s=150_001),)), 0, False),
        (Case((FIRST._replace(length_mm=299),)), 0, False),
        (Case((FIRST._replace(backwards=True),)), 0, False),
        (Case((FIRST,), (Act(NOWHERE, 0, Deed.STOP, "saltmarsh-lane"),)), 0, True),
        (Case((FIRST,), (Act(NOWHERE, 0, Deed.STOP, "evening"),)), 0, False),  # it has no `when stopped`
        (Case((FIRST,), (Act(NOWHERE, 0, Deed.LOSE_LINK, "main"),)), 0, False),
    ],
)
def test_what_a_scene_has_to_bear(quay: Project, case: Case, unseen_us: int, bears: bool) -> None:
    assert within(case, quay.program, Budget(4 * S, False), unseen_us) is bears


def test_a_train_counts_as_unseen_only_while_no_detector_sees_any_of_it(quay: Project) -> None:
    ground = ground_of(quay)
    dirty = play(ground, Case((FIRST,), (stays("clear", 3 * S, "up-approach", 10 * S),)))
    assert dirty.unseen_us == 3 * S
    on_both = play(ground, Case((FIRST,), (stays("clear", 3 * S, "up-approach", 26 * S),)))  # lane sees its front
    assert on_both.unseen_us == 0


# --- what it plays -------------------------------------------------------------------------------------------------


def test_the_moments_of_a_train_are_those_at_which_it_comes_and_goes(quay: Project) -> None:
    """3600 mm at 150 mm/s are 24 s; the lane is 300 mm, the train 800 mm, the whole track 4800 mm."""
    found = [moment / S for moment in moments(FIRST, quay.layout.tracks["up-line"])]
    assert found == pytest.approx([0, 24, 29.333334, 31.333334, 37.333334], abs=1e-6)
    stands = FIRST._replace(visits=(Visit("up-approach", 20 * S, False),))
    assert {24 * S, 44 * S} <= set(moments(stands, quay.layout.tracks["up-line"]))


def test_every_kind_of_fault_is_on_the_menu(quay: Project) -> None:
    ground = ground_of(quay)
    usual = {one.kind for one in menu(ground.program, budget_of(ground))}
    assert {
        "a train along up-line, ignoring signals",
        "a train along down-line, seen by locomotive only",
        "a train along up-line, standing in up-approach",
        "a train along up-line, reversing in lane",
        "lane: a drop-out",
        "lane: damp track",
        "power off for a moment",
        "closing-button pressed",
        "saltmarsh-lane stopped",
        "saltmarsh-lane started",
    } <= usual
    more = {one.kind for one in menu(ground.program, budget_of(ground, beyond=True))} - usual
    assert {"lane: a broken wire", "power off for long", "link main lost", "lane: a drop-out that is too long"} <= more
    assert not any(kind.startswith("a train back") for kind in usual)  # these tracks are one way


@pytest.mark.parametrize(
    ("kind", "words"), [("beam", ("a gap", "a hand", "stuck by the sun")), ("treadle", ("a second contact",))]
)
def test_each_kind_of_detector_lies_in_its_own_way(edge: Path, kind: str, words: tuple[str, ...]) -> None:
    file = edge / "layout.yaml"
    text = file.read_text(encoding="utf-8").replace("lane:          {kind: section,", f"lane: {{kind: {kind},")
    file.write_text(text, encoding="utf-8")
    ground = ground_of(load([edge]))
    kinds = {one.kind for one in menu(ground.program, budget_of(ground))}
    assert {f"lane: {word}" for word in words} <= kinds
    assert "lane: a dirty wheel" not in kinds


def test_first_comes_every_next_event_at_every_phase(quay: Project) -> None:
    """The product of the phases of the plain passages and what can happen next is played to its end, once."""
    ground = ground_of(quay)
    search = Search(ground, budget_of(ground), Reach(most_trains=1))
    seen: set[tuple[Case, str]] = set()
    passages = 0
    while search.covered.pairs < search.covered.of_pairs or search.setting_out:
        for asked in search.batch():
            played = play(ground, asked.case)
            passages += asked.kinds[0].startswith("a ") and len(asked.kinds) == 1
            assert not asked.pair or (asked.case, asked.kinds[-1]) not in seen
            if asked.pair:
                seen.add((asked.case, asked.kinds[-1]))
            search.learn(asked, played)
    # by hand: for each of the passages each instant has four places, each with every moment of every fault and hand
    faults = [one for one in menu(ground.program, budget_of(ground)) if not one.trains]
    hands = [one for one in faults if not any(act.deed in (Deed.STAYS, Deed.BECOMES) for act in one.acts)]
    plain = [
        (track, length, speed, ignores, hands if ignores else faults)  # one kind of fault at a time
        for track in ("up-line", "down-line")
        for length, speed, ignores in ((600, 150_000, False), (300, 75_000, False), (300, 150_000, True))
    ]
    expected = set()
    for track, length, speed, ignores, next_ones in plain:
        train = TrainRun(NOWHERE, track, length, speed, S, ignores_signals=ignores)
        instants = play(ground, Case((train,))).instants
        places = [at_us + offset for at_us in instants for _, offset in OFFSETS_US if offset is not None]
        places += [
            (one + other) // 2 for one, other in zip(instants, [*instants[1:], instants[-1] + 2 * S], strict=True)
        ]
        expected |= {
            (track, length, speed, one.kind, place - moment)
            for place in places
            for one in next_ones
            for moment in one.moments
            if place - moment >= S
        }
    assert search.covered.of_pairs == len(expected)
    assert len(search.covered.orders) > 10
    assert {one.kind for one in faults} <= set(search.covered.kinds)


def test_third_trains_come_at_every_phase_of_the_closest_two(quay: Project) -> None:
    ground = ground_of(quay)
    search = Search(ground, budget_of(ground), Reach())
    for _ in range(3):
        for asked in search.batch():
            search.learn(asked, play(ground, asked.case))
    search._todo.clear()  # as if the product had been played
    cases = [asked.case for asked in (*search.batch()[: BATCH - CHANGED], *search._todo)]
    assert {len(case.trains) for case in cases} == {3}
    assert search.covered.thirds == len(cases)
    twos = {case.trains[:2] for case in cases}
    assert 1 <= len(twos) <= 4
    for two in twos:
        instants = play(ground, Case(two)).instants
        for track in ("up-line", "down-line"):  # a train of full length at the road just when something happens
            came = {
                case.trains[2].from_us for case in cases if case.trains[:2] == two and case.trains[2].track == track
            }
            assert {at_us - 24 * S for at_us in instants if at_us >= 25 * S} <= came


def test_a_product_that_is_too_large_is_drawn_from(quay: Project) -> None:
    ground = ground_of(quay)
    happenings = menu(ground.program, budget_of(ground))
    passage = Passage(Asked(Case((FIRST,)), ("a train",)), tuple(range(S, 4_000 * S, S)))
    found = product([passage], happenings, random.Random(1))
    assert found.whole > 1_000_000
    assert 50_000 < len(found.pairs) <= 100_000
    assert found == product([passage], happenings, random.Random(1))


def test_what_came_closest_is_then_changed_within_the_limits(quay: Project) -> None:
    ground = ground_of(quay)
    search = Search(ground, budget_of(ground), Reach(most_trains=2))
    search._todo = type(search._todo)(list(search._todo)[:4])  # a search that has set out little has more to change
    search._setting_out = 4
    changed: list[Asked] = []
    while len(changed) < 3 * BATCH:
        batch = search.batch()
        assert batch
        for asked in batch:
            search.learn(asked, play(ground, asked.case))
        search._todo.clear()
        changed += [asked for asked in batch if not asked.pair]
    cases = [asked.case for asked in changed[4:]]
    assert max(len(case.trains) for case in cases) == 2
    assert max(len(case.acts) for case in cases) <= MOST_ACTS
    assert all(len(families(case, ground.program)) <= 1 for case in cases)
    assert len({train.speed_um_s for case in cases for train in case.trains}) > 5
    assert any(act.deed is Deed.STOP for case in cases for act in case.acts)


def test_the_same_seed_makes_the_same_search_on_any_number_of_cores(quay: Project) -> None:
    one, two = challenged(quay, 400, cores=1), challenged(quay, 400, cores=2)
    assert one.covered == two.covered
    assert one.closest == two.closest
    other = challenged(quay, 400, cores=1, seed=1)
    assert other.covered.kinds != one.covered.kinds


def test_at_most_so_many_trains(quay: Project) -> None:
    assert challenged(quay, 300, most_trains=1).covered.trains <= 300


# --- what it gives back --------------------------------------------------------------------------------------------


def test_a_failure_is_small_round_and_fails_again(edge: Path) -> None:
    project = load([edge])
    ground = ground_of(project)
    outcome = challenged(project, 2_000)
    found = outcome.found[0]
    assert found.within
    assert found.line.rule == "road-closed"
    assert found.line in play(ground, found.case, to_the_end=True).broken
    assert needed(found.case, fails_alike(ground, found.line, budget_of(ground), bears=True))
    assert found.case.size <= 2
    numbers = [train.from_us for train in found.case.trains] + [act.at_us for act in found.case.acts]
    assert all(number % 100_000 == 0 for number in numbers)
    assert all(train.speed_um_s <= 150_000 for train in found.case.trains)


CHANCE = """
layout: bench
outputs:
  ada: {kind: lamp}
buttons:
  red: {}
"""


def test_what_is_left_to_chance_is_drawn_again_and_again(tmp_path: Path) -> None:
    """A wait of 4 s to 16 s is too long for its rule only above 15 s; the seed that shows it is kept."""
    (tmp_path / "layout.yaml").write_text(CHANCE)
    scene = "scene s\n    starts on button red\n    turn on ada\n    wait 4 s to 16 s\n    turn off ada\n"
    (tmp_path / "a.scene").write_text(f"{scene}rule short\n    never ada is on for longer than 15 s\n")
    project = load([tmp_path])
    found = challenged(project, 2_000).found[0]
    assert found.case.seed
    text = case_words.rehearsal(found.case, project.layout, "found", 60 * S)
    assert f"    seed {found.case.seed}\n" in text


def test_shrinking_drops_rounds_and_keeps_what_is_needed() -> None:
    """A stand-in for a failure: it needs the second train after 31 s, and a stop."""
    stop = Act(NOWHERE, 7_654_321, Deed.STOP, "s")
    case = Case(
        (FIRST._replace(from_us=1_234_567), FIRST._replace(from_us=41_234_567, length_mm=437, locomotive_only=True)),
        (stop, stays("clear", 1_234_000), stop._replace(deed=Deed.PRESS)),
    )

    def fails(one: Case) -> bool:
        return any(train.from_us >= 31 * S for train in one.trains) and any(a.deed is Deed.STOP for a in one.acts)

    found = shrunk(case, fails)
    assert needed(found, fails)
    (train,), (act,), _ = found
    assert train == TrainRun(NOWHERE, "up-line", 400, 150_000, 31 * S)
    assert (act.deed, act.at_us) == (Deed.STOP, S)


def test_every_case_can_be_written_and_read_again(edge: Path) -> None:
    """Whatever the search plays is a rehearsal that means the same to the microsecond."""
    project = load([edge])
    ground = ground_of(project)
    budget = budget_of(ground, beyond=True)
    placed = [one.at(12_345_678) for one in menu(ground.program, budget)]
    text = "".join(
        case_words.rehearsal(case, project.layout, f"r-{number}", 90 * S) for number, case in enumerate(placed) if case
    )
    (edge / "all.scene").write_text(text, encoding="utf-8")
    again = load([edge])
    assert not again.errors
    for number, case in enumerate(placed):
        if case is None:
            continue
        read = again.program.rehearsals[f"r-{number}"]
        trains = tuple(train._replace(place=NOWHERE) for train in read.trains)
        assert trains == case.trains
        acts = [act._replace(place=NOWHERE) for act in read.acts]
        assert acts == [
            act._replace(for_us=case_words.FOR_EVER_US if _for_ever(act) else act.for_us) for act in case.acts
        ]


def _for_ever(act: Act) -> bool:
    return act.deed is Deed.STAYS and act.for_us is None


# --- the command ---------------------------------------------------------------------------------------------------

Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*arguments: object) -> tuple[int, str]:
        status = main(["challenge", *map(str, arguments)])
        said = capsys.readouterr()
        return status, said.out + said.err

    return run


def test_a_failure_is_kept_beside_the_scenes_and_fails_a_rehearsal(
    edge: Path, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    status, said = run(edge, "--cases", 2000, "--cores", 1)
    assert status == 1
    file = edge / "found-road-closed.scene"
    assert str(file) in said
    assert said.endswith("Pellbrook Quay: road-closed broke.\n")
    assert f"wayside rehearse {edge} --only found-road-closed --picture found-road-closed.svg" in said
    kept = file.read_text(encoding="utf-8")
    assert kept.partition("\n")[2] in _unindented(said)
    assert main(["rehearse", str(edge), "--only", "found-road-closed"]) == 1
    assert "rule road-closed" in capsys.readouterr().out


def _unindented(said: str) -> str:
    return "\n".join(line[4:] if line.startswith("    ") else line for line in said.splitlines())


def test_a_file_that_is_there_is_never_overwritten(edge: Path, run: Run) -> None:
    mine = "# mine\n"
    (edge / "found-road-closed.scene").write_text(mine)
    run(edge, "--cases", 2000, "--cores", 1)
    assert (edge / "found-road-closed.scene").read_text() == mine
    assert (edge / "found-road-closed-2.scene").is_file()


def test_a_failure_can_be_kept_elsewhere_or_not_at_all(edge: Path, tmp_path: Path, run: Run) -> None:
    into = tmp_path / "found"
    into.mkdir()
    _, said = run(edge, "--cases", 2000, "--cores", 1, "--into", into)
    assert (into / "found-road-closed.scene").is_file()
    assert not list(edge.glob("found-*"))
    (command,) = [line.split() for line in said.splitlines() if line.strip().startswith("wayside rehearse")]
    assert main(command[1:-2]) == 1  # as it is printed, but for the picture


def test_a_full_or_read_only_disk_loses_nothing(edge: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wayside.challenge.case_keeping.open", refuse, raising=False)
    status, said = run(edge, "--cases", 2000, "--cores", 1)
    assert status == 1
    assert "It could not be written to" in said
    assert "rehearsal found-road-closed" in said


def test_all_kept_is_said_with_what_was_played(run: Run) -> None:
    status, said = run(QUAY, "--cases", 300, "--cores", 1)
    assert status == 0
    assert "Played 300 cases" in said
    assert "kept    road-closed  line 50" in said
    assert said.endswith("Pellbrook Quay: all 3 rules kept.\n")


def changed(edge: Path, *changes: tuple[str, str]) -> None:
    """The example's crossing with other lines, beside its rules."""
    text = (QUAY / "saltmarsh-lane.scene").read_text(encoding="utf-8").split("rehearsal one-train")[0]
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (edge / "saltmarsh-lane.scene").write_text(text, encoding="utf-8")


SPINS = """\
    turn off reds and boom-lamps
    wait 1 s
    as long as down-approach is occupied
        repeat
            wait until up-approach is clear
            count laps up
"""


def test_a_scene_that_is_stopped_since_it_does_not_settle_is_told_though_no_rule_breaks(edge: Path, run: Run) -> None:
    changed(edge, ("scene saltmarsh", "counter laps\nscene saltmarsh"), ("    turn off reds and boom-lamps\n", SPINS))
    status, said = run(edge, "--cases", 600, "--cores", 1, "--trains", 2, "--rule", "reds-first")
    assert status == 1
    told = said.partition("Cut or refused on the way:\n")[2].splitlines()
    assert told[0].startswith("  stopped  saltmarsh-lane.scene line ")
    assert told[1].strip() == ("this loop went round 1000 times without taking any time; stopped: saltmarsh-lane, with")
    case = [line.strip() for line in told[2:] if line.strip().startswith(("a train", "at "))]
    assert len(case) == 2, "one train, and something by the other approach as the barriers have risen"
    assert said.endswith("the rule kept. A scene was stopped, since it did not settle.\n")
    kept = [f"    {line}" for line in ("begins with every detector clear", *case)]
    (edge / "kept.scene").write_text("\n".join(["rehearsal kept", *kept]) + "\n", encoding="utf-8")
    assert main(["rehearse", str(edge), "--only", "kept"]) == 1, "the case that is told shows it"


def test_an_output_that_a_scene_is_refused_is_told_and_fails_nothing(quay: Project) -> None:
    found = Snags()
    two, one = Case((FIRST, FIRST)), Case((FIRST,))
    refused = snags_of([Trouble(S, "other may not have amber while lane runs", (NOWHERE,))])
    cut = snags_of([Trouble(S, "reactions did not settle", (), cut=True)] * 2)
    found.learn(two, True, refused)
    found.learn(one, False, refused)
    found.learn(one, False, cut)
    assert found.found() == [
        Snagged(Snag("reactions did not settle", NOWHERE, True, S), one, False),
        Snagged(Snag("other may not have amber while lane runs", NOWHERE, False, S), two, True),
    ]
    found.learn(one, True, refused)
    assert found.found()[1].case == one
    found.learn(one, True, [Snag(str(number), NOWHERE, False, 0) for number in range(2 * MOST_SNAGS)])
    assert len(found.found()) == MOST_SNAGS
    nothing = Outcome(Covered(), (), (), 1.0, False, False)
    assert list(command._snagged(nothing)) == []
    told = list(command._snagged(nothing._replace(snags=tuple(found.found()))))
    assert told[1] == "  stopped  at 1 s, past what a scene has to bear"
    assert told[4] == "  refused  at 1 s"
    assert told[-1] == f"  and {MOST_SNAGS - MOST_SMALL} more"


def test_past_the_budget_is_told_apart_and_fails_nothing(edge: Path, run: Run) -> None:
    (edge / "saltmarsh-lane.scene").write_text(
        (QUAY / "saltmarsh-lane.scene")
        .read_text(encoding="utf-8")
        .split("rehearsal one-train")[0]
        .replace("line-clear for 4 s", "line-clear for 1 s"),
        encoding="utf-8",
    )
    status, said = run(edge, "--cases", 3000, "--cores", 1, "--beyond", "--rule", "road-closed")
    assert status == 0
    assert "rule road-closed broke, past what a scene has to bear:" in said
    assert said.endswith("Pellbrook Quay: the rule kept; 2 failures past what a scene has to bear.\n")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--rule", "raod-closed"), "There is no rule raod-closed. Did you mean road-closed?"),
        (("--trains", "0"), "--trains takes a whole number from 1 to 20, not 0."),
        (("--trains", "many"), "--trains takes a whole number"),
        (("--minutes", "soon"), "--minutes takes a number above 0"),
        (("--minutes", "nan"), "--minutes takes a number above 0"),
        (("--minutes", "0"), "--minutes takes a number above 0"),
        (("--minutes", "2", "--cases", "5"), "give one of them"),
        (("--unseen", "400ms"), "--unseen takes at least 500 ms"),
        (("--unseen", "long"), "--unseen takes a time with its unit"),
        (("--cores", "0"), "--cores takes a whole number from 1"),
        (("--into", "nowhere"), "--into takes a folder that exists"),
        (("--seed", "-1"), "--seed takes a whole number"),
    ],
)
def test_wrong_options_are_answered(run: Run, arguments: tuple[str, ...], words: str) -> None:
    status, said = run(QUAY, *arguments)
    assert status == 2
    assert words in said


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="children are looked up where Linux keeps them")
def test_stopped_it_tells_what_came_of_it_until_then(edge: Path) -> None:
    """A real process, and Ctrl-C to it and to those that play for it, as a terminal does it."""
    shutil.copyfile(QUAY / "saltmarsh-lane.scene", edge / "saltmarsh-lane.scene")
    command = [sys.executable, "-m", "wayside", "challenge", str(edge), "--minutes", "5", "--cores", "2"]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    assert process.stdout is not None
    assert "challenged" in process.stdout.readline()  # it has begun
    deadline = time.monotonic() + 30
    while len(_children(process.pid)) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    os.killpg(process.pid, signal.SIGINT)
    said, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "How near each line" in said
    assert said.endswith("It was stopped before its time was over.\n")
    assert errors == ""


def _children(pid: int) -> list[str]:
    return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()


def test_a_layout_without_rules_or_trains(tmp_path: Path, run: Run) -> None:
    (tmp_path / "layout.yaml").write_text("layout: bench\noutputs:\n  ada: {kind: lamp}\n")
    (tmp_path / "a.scene").write_text("scene s\n    turn on ada\n    wait 1 s\n")
    status, said = run(tmp_path)
    assert status == 1
    assert "hold no rule" in said
    (tmp_path / "a.scene").write_text("scene s\n    turn on ada\n    wait 1 s\nrule r\n    never ada is flashing\n")
    status, said = run(tmp_path, "--cases", 50, "--cores", 1)
    assert status == 0
    assert "the rule kept" in said
    (tmp_path / "a.scene").write_text("scene s\n    turn on bea\n")
    status, said = run(tmp_path)
    assert status == 1
    assert "nothing was challenged" in said


def test_what_a_person_reads_names_lines_by_number(quay: Project) -> None:
    assert ground_of(quay).lines[1:3] == (Line("road-closed", 0), Line("road-closed", 1))
