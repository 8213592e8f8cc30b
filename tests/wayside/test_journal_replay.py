"""Minutes of a show given back as a rehearsal: rehearsed from its text, it does what the kernel's own trace says.

The measure is the trace of the show itself, taken beside the journal, not what the journal says of it.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from virtual_show import S, Shown, show

from engine.trace import Broke, Record, SceneIs, Told
from wayside.cli import main
from wayside.journal.replay import _counts
from wayside.project import load
from wayside.rehearsal.rehearsing import rehearse

QUAY = Path(__file__).parents[2] / "examples" / "pellbrook-quay"
WATCHFUL = """

rule lane-is-guarded
    never lane is occupied while any of barriers is not lowered
"""
# two trains, a hand, a mark, the second train onto the lane before it is closed; then a quiet hour and another train
BUSY = [
    (20.25, "up-approach occupied"),
    (44.5, "lane occupied"),
    (45.75, "up-approach clear"),
    (52.125, "lane clear"),
    (130.0, "down-approach occupied"),
    (133.3, "lane occupied"),
    (134.0, "mark a train on the lane, barriers up"),
    (150.0, "stop saltmarsh-lane"),
    (170.0, "down-approach clear"),
    (171.0, "lane clear"),
    (200.0, "start saltmarsh-lane"),
    (900.004321, "up-approach occupied"),
    (930.0, "lane occupied"),
    (931.0, "up-approach clear"),
    (940.0, "lane clear"),
    (941.5, "mark again"),
]


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    folder = tmp_path / "quay"
    shutil.copytree(QUAY, folder, ignore=shutil.ignore_patterns("journal*", ".wayside"))
    with (folder / "saltmarsh-lane.scene").open("a", encoding="utf-8") as file:
        file.write(WATCHFUL)
    return folder


def events(trace: list[Record] | tuple[Record, ...], from_us: int, until_us: int, without: set[str]) -> list[object]:
    """What scenes and rules did, at times from the beginning of the window.

    Sorted, since a scene that a broken rule has stopped in the show is stopped by hand in the same instant.
    """
    found: list[tuple[int, str, str]] = []
    for one in trace:
        if from_us <= one.at_us <= until_us:
            if isinstance(one, SceneIs) and one.scene not in without:
                found.append((one.at_us - from_us, one.scene, one.state))
            elif isinstance(one, Broke) and one.rule != "road-closed":  # it asks for trains, and none runs
                found.append((one.at_us - from_us, one.rule, f"broken since {one.since_us - from_us}"))
    return sorted(found)  # type: ignore[return-value]


def told(trace: list[Record] | tuple[Record, ...], from_us: int, until_us: int, scene: str) -> list[object]:
    return [
        (one.at_us - from_us, one.output, one.why, one.place.line)
        for one in trace
        if isinstance(one, Told) and one.scene == scene and from_us <= one.at_us <= until_us
    ]


def guarded(shown: Shown, trace: list[Record] | tuple[Record, ...], from_us: int, until_us: int) -> list[object]:
    """Where guarded outputs are sent, now and ten seconds on."""
    outputs = shown.project.layout.outputs
    return [
        (one.at_us - from_us, one.output, *(round(one.wave.value_at(one.at_us + on), 6) for on in (0, 10 * S)))
        for one in trace
        if isinstance(one, Told) and outputs[one.output].guarded and one.why != "begins"
        if from_us <= one.at_us <= until_us
    ]


def given_back(folder: Path, capsys: pytest.CaptureFixture[str], *options: str, status: int = 0) -> tuple[str, str]:
    """The name of the rehearsal that was written, and what was said of it."""
    target = folder / "odd.scene"
    target.unlink(missing_ok=True)
    capsys.readouterr()
    assert main(["journal", str(folder), "--as-rehearsal", "--into", str(target), *options]) == status
    return target.read_text().split("rehearsal ")[-1].split("\n")[0], " ".join(capsys.readouterr().err.split())


def compared(
    shown: Shown, folder: Path, name: str, from_s: float, until_s: float, without: set[str] = frozenset()
) -> int:  # type: ignore[assignment]
    """Rehearse the text, and compare with the show's own trace; how many events there were."""
    project = load([folder])
    assert not project.errors, [str(one) for one in project.errors]
    result = rehearse(project.program, project.program.rehearsals[name])
    from_us, until_us = round(from_s * S), round(until_s * S)
    length_us = until_us - from_us
    theirs = events(shown.trace, from_us, until_us, without)
    assert events(result.trace, 0, length_us, without) == theirs
    assert told(result.trace, 0, length_us, "saltmarsh-lane") == told(shown.trace, from_us, until_us, "saltmarsh-lane")
    orders = guarded(shown, shown.trace, from_us, until_us)
    assert guarded(shown, result.trace, 0, length_us) == orders
    assert orders
    return len(theirs)


def test_a_mark_is_given_back_with_the_broken_rule(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = show(quay, BUSY, 1000)
    name, said = given_back(quay, capsys, "--at", "12:02:14", "--before", "1min")
    assert "Rehearsed, it does the same" in said
    assert "1 broken rule" in said
    assert any(isinstance(one, Broke) and one.rule == "lane-is-guarded" for one in shown.trace)
    text = (quay / "odd.scene").read_text()
    start_s = _start(text, shown)
    assert compared(shown, quay, name, start_s, 134.0) == 3  # the crossing begins, the rule breaks, and that stops it


def _start(text: str, shown: Shown) -> float:
    """The second of the show at which the rehearsal begins, from its layout time."""
    hours, minutes, seconds = map(int, text.split("begins at ")[1].split()[0].split(":"))
    return hours * 3600 + minutes * 60 + seconds - shown.project.layout.clock.starts_s


def test_the_last_mark_sets_out_from_rest(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`at 900.004321 s` is kept to the microsecond, and the settling of detectors is reckoned with."""
    shown = show(quay, BUSY, 1000)
    name, said = given_back(quay, capsys, "--mark")
    assert (
        "Rehearsed, it does the same: 2 beginnings and ends of scenes and 9 orders" in said
    )  # the evening at 17:45, too
    text = (quay / "odd.scene").read_text()
    start_s = _start(text, shown)
    assert start_s == 761  # nothing had happened for minutes: it sets out just where it was asked to
    assert "earlier" not in said
    assert f"at {900.004321 - start_s:.6f} s up-approach becomes occupied" in text
    assert compared(shown, quay, name, start_s, 941.5) == 2


def test_a_scene_that_was_half_way_is_begun_earlier(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = show(quay, BUSY, 1000)
    name, said = given_back(quay, capsys, "--at", "12:00:50", "--before", "10 s")  # 40 s: the crossing is closed
    assert "earlier: only then did no scene run that counts" in said
    text = (quay / "odd.scene").read_text()
    assert _start(text, shown) < 20
    assert compared(shown, quay, name, _start(text, shown), 50) == 1


def test_hands_stop_and_start_scenes_at_the_same_instants(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = show(quay, BUSY, 1000)
    name, said = given_back(quay, capsys, "--at", "12:05", "--before", "200s")
    assert "Rehearsed, it does the same" in said
    text = (quay / "odd.scene").read_text()
    assert "stop saltmarsh-lane" in text
    assert "start saltmarsh-lane" in text
    assert compared(shown, quay, name, _start(text, shown), 300) >= 5


EVENING = [
    (10.0, "press evening-button"),
    *((420.0 + at, line) for at, line in BUSY),
]


def test_what_runs_all_evening_and_shares_nothing_is_left_out(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Flags are as they were: a rehearsal can begin with them remembered."""
    shown = show(quay, EVENING, 1500, seed=7)
    name, said = given_back(quay, capsys, "--at", "12:09:14", "--before", "60s")
    assert "were half-way then and have no part in the rest: they are left out" in said
    text = (quay / "odd.scene").read_text()
    assert "begins with evening-lit remembered" in text
    assert "begins with evenings 1" in text
    assert "seed 7" in text
    without = {"forge-fire", "life-behind-the-windows"}
    assert compared(shown, quay, name, _start(text, shown), 554, without) == 5


def test_from_the_beginning_chance_is_the_same_chance(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = show(quay, EVENING, 1500, seed=7)
    name, said = given_back(quay, capsys, "--at", "12:06", "--before", "6min")
    assert "Rehearsed, it does the same" in said
    project = load([quay])
    played = rehearse(project.program, project.program.rehearsals[name]).trace
    ours, theirs = (
        [one for one in trace if isinstance(one, Told) and one.at_us < 360 * S and one.why != "begins"]
        for trace in (played, shown.trace)
    )
    assert len(ours) > 20  # draws of chance among them: windows in random order
    assert [one[:4] for one in ours] == [one[:4] for one in theirs]


def test_what_the_show_day_begins_is_begun_by_hand(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """At 10:02 by the hall's clock, two minutes after doors: no head of the scene says so."""
    shown = show(quay, BUSY[:4], 400, day="saturday")
    assert any(isinstance(one, SceneIs) and one.scene == "bell-rings" and one.at_us == 120 * S for one in shown.trace)
    name, said = given_back(quay, capsys, "--from", "12:01:00", "--to", "12:03:00")
    assert "Rehearsed, it does the same" in said
    text = (quay / "odd.scene").read_text()
    start_s = _start(text, shown)
    assert f"at {120 - start_s:g} s start bell-rings" in text
    assert compared(shown, quay, name, start_s, 180) >= 2


def test_scenery_that_draws_by_chance_does_not_take_it_back_to_the_beginning(
    quay: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It has drawn before, so that its own times cannot be had again without all that came before them."""
    trains = [(at + 3_300.0 - 20, line) for at, line in BUSY[:4]]
    shown = show(quay, trains, 3_600, day="saturday")
    begun = [
        one
        for one in shown.trace
        if isinstance(one, SceneIs) and (one.scene, one.state) == ("drifter-calls", "running")
    ]
    assert [one.at_us // S for one in begun] == [1_800, 3_300]
    name, said = given_back(quay, capsys, "--at", "12:57", "--before", "3min")
    assert "drifter-calls draws by chance, and had drawn before: when it ends is not compared" in said
    assert "Rehearsed, it does the same: 2 beginnings and ends of scenes and 18 orders" in said
    start_s = _start((quay / "odd.scene").read_text(), shown)
    assert start_s >= 3_000
    assert compared(shown, quay, name, start_s, 3_420, {"drifter-calls"}) == 2


def test_all_stop_and_what_came_after_it(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script = [*BUSY[:2], (46.0, "all stop"), (60.0, "lane clear"), (61.0, "up-approach clear"), (70.0, "go on")]
    shown = show(quay, [*script, (90.0, "up-approach occupied"), (95.0, "up-approach clear")], 200)
    name, said = given_back(quay, capsys, "--at", "12:02:30", "--before", "2min")
    assert "Rehearsed, it does the same" in said
    text = (quay / "odd.scene").read_text()
    assert "s all stop\n" in text
    assert "s go on\n" in text
    assert compared(shown, quay, name, _start(text, shown), 150) >= 5


def test_a_detector_that_was_out_of_use(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says occupied all the while: out of use it keeps nothing closed, and back in use it does."""
    script = [(5.0, "lane out of use dirty"), (8.0, "lane occupied"), (300.0, "lane in use"), (310.0, "lane clear")]
    shown = show(quay, script, 400)
    for until, start, expects in ((290.0, 180, "put lane out of use"), (305.0, 240, "put lane back in use")):
        at = f"12:0{int(until // 60)}:{int(until % 60):02d}"
        name, said = given_back(quay, capsys, "--at", at, "--before", "1min")
        assert "same" in said or "No scene begins" in said
        text = (quay / "odd.scene").read_text()
        assert expects in text
        assert _start(text, shown) >= start  # it need not set out from the beginning of the show
        project = load([quay])
        assert not project.errors, [str(one) for one in project.errors]
        scenes = [one for one in shown.trace if isinstance(one, SceneIs) and start * S < one.at_us <= until * S]
        played = rehearse(project.program, project.program.rehearsals[name]).trace
        ours = [one for one in played if isinstance(one, SceneIs)]
        # it begins when the detector counts again, and is stopped by the rule that breaks by that
        assert [one.state for one in ours] == [one.state for one in scenes]
        assert len(scenes) == (2 if until > 300 else 0)


def test_an_operator_who_does_what_no_rehearsal_can_is_told_of(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show(quay, [*BUSY[:1], (22.0, "clock 17:44:30"), *BUSY[1:4]], 200)
    _, said = given_back(quay, capsys, "--at", "12:01:30", status=1)
    assert "What an operator did is left out, for want of a line that does it: `clock 17:44:30` at 12:00:22" in said
    assert (
        "it does not do the same. After 52 s the journal has evening running at 52 s, the rehearsal nothing like it."
        in said
    )


def test_after_the_show_there_is_nothing_to_give_back(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its own last minutes are, without its being ended."""
    shown = show(quay, [*BUSY[:4], (95.0, "up-approach occupied")], 100)
    assert main(["journal", str(quay), "--at", "12:30", "--as-rehearsal"]) == 2
    assert "No show was on in the 3 min before 12:30 on 2026-11-28." in capsys.readouterr().err
    name, said = given_back(quay, capsys, "--at", "12:03", "--before", "2min")
    assert "Rehearsed, it does the same" in said
    assert compared(shown, quay, name, _start((quay / "odd.scene").read_text(), shown), 99.999) >= 1


def test_of_several_that_differ_the_one_that_is_alike_the_longest(
    quay: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Measured by the clock of the show, not from where each sets out."""
    shown = show(quay, [*BUSY[:4], (100.0, "up-approach occupied"), (104.0, "clock 17:44:30")], 200)
    given_back(quay, capsys, "--at", "12:02:30", "--before", "1min", status=1)
    text = (quay / "odd.scene").read_text()
    assert _start(text, shown) > 60  # from the show's beginning it would be alike for no longer


def test_files_changed_since_are_noticed(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show(quay, BUSY, 1000)
    file = quay / "saltmarsh-lane.scene"
    file.write_text(file.read_text().replace("runs whenever train-about", "runs whenever lane is occupied", 1))
    _, said = given_back(quay, capsys, "--at", "12:02:14", "--before", "1min", status=1)
    assert "it does not do the same." in said
    assert "the journal has saltmarsh-lane running at" in said


def test_nothing_is_written_over(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show(quay, BUSY[:4], 100)
    target = quay / "mine.scene"
    target.write_text("# mine\n")
    assert main(["journal", str(quay), "--at", "12:01", "--as-rehearsal", "--into", str(target)]) == 2
    assert target.read_text() == "# mine\n"
    assert "is there already" in capsys.readouterr().err


def test_a_broken_rule_is_in_the_journal(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As often as the kernel's own trace has it, at the same instants."""
    shown = show(quay, BUSY, 1000)
    broke = [one for one in shown.trace if isinstance(one, Broke)]
    assert len(broke) >= 2
    capsys.readouterr()
    assert main(["journal", str(quay), "--kind", "rule", "--csv", "-"]) == 0
    rows = capsys.readouterr().out.splitlines()[1:]
    said = [(row.split(",")[4], row.split(",")[6]) for row in rows]
    assert said == [(f"{one.at_us / S:.6f}", one.rule) for one in broke]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--as-rehearsal"], "needs to know when"),
        (["--mark", "--as-rehearsal", "--about", "lane"], "leave the filters out"),
        (["--mark", "--into", "x.scene"], "--into belongs to --as-rehearsal"),
        (["--mark", "--as-rehearsal", "--into", "x.txt"], "whose name ends in .scene"),
        (["--at", "11:00", "--as-rehearsal"], "the journal begins later"),
        (["--at", "12:00", "--as-rehearsal", "--before", "0s"], "more than nothing"),
    ],
)
def test_what_cannot_be_meant(quay: Path, capsys: pytest.CaptureFixture[str], options: list[str], says: str) -> None:
    show(quay, [*BUSY[:4], (60, "mark odd")], 100)
    assert main(["journal", str(quay), *options]) == 2
    assert says in capsys.readouterr().err


def test_a_show_that_began_a_moment_ago(quay: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show(quay, BUSY[:4], 100)
    _, said = given_back(quay, capsys, "--at", "12:00:05")
    assert "No scene begins or ends in it" in said


APART = """
scene reader
    runs whenever lane is occupied
    turn on lamp
    wait 1 min

scene asked
    turn on bell
    wait 1 min

scene asker
    wait until bell is on
    wait 1 min

scene alone
    turn on other
    wait 1 min

counter rounds

rehearsal twice
    begins with rounds 3
    begins with rounds 3
    expect rounds is 3 at 1 s
    lasts 2 s

scene counts
    count rounds up

flag seen

scene remembers
    remember seen

rule not-seen
    never seen while lane is occupied

scene guards
    turn on red
    wait 1 s
"""


@pytest.mark.parametrize(
    ("scene", "counts"),
    [
        ("alone", False),
        ("reader", False),  # what it reads does not matter, if nobody asks what it makes of it
        ("asked", True),  # another scene asks after its bell
        ("remembers", True),  # a rule asks after its flag
        ("counts", False),
        ("guards", True),
        ("gone-since", True),
    ],
)
def test_which_scenes_can_be_left_out(tmp_path: Path, scene: str, counts: bool) -> None:
    (tmp_path / "layout.yaml").write_text(
        "layout: Bench\noutputs: {lamp: {kind: lamp}, bell: {kind: sound}, other: {kind: lamp}, "
        "red: {kind: lamp, safe: on}}\ndetectors: {lane: {kind: section}}\nbuttons: {bell-push: }\n"
    )
    (tmp_path / "a.scene").write_text(APART)
    project = load([tmp_path])
    assert not project.errors, [str(one) for one in project.errors]
    assert _counts(project.program, scene) is counts
    assert rehearse(project.program, project.program.rehearsals["twice"]).passed
