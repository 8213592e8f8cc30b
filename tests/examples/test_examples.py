"""The examples as a person meets them: nothing wrong or advised, every rehearsal held, and the cookbook is true."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from engine.program import Wait
from engine.trace import Saw, SceneIs, TrainOn
from scenes.problems import as_text
from scenes.walking import walk
from tests.practice.measure import changed
from wayside.cli import main
from wayside.project import Project, load
from wayside.rehearsal.rehearsing import Result, rehearse

EXAMPLES = Path(__file__).parents[2] / "examples"
FOLDERS = sorted(file.parent for file in EXAMPLES.rglob("layout.yaml"))
SCENES_TO_COPY = [folder for folder in FOLDERS if folder.parent.name == "cookbook"]
QUAY = EXAMPLES / "pellbrook-quay"
COOKBOOK = (EXAMPLES / "README.md").read_text(encoding="utf-8")


def results(project: Project) -> Iterator[Result]:
    return (rehearse(project.program, one) for one in project.program.rehearsals.values())


def failures(result: Result) -> list[str]:
    return [one.what_happened for one in result.outcomes if not one.passed] + [one.text for one in result.troubles]


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_nothing_is_wrong_and_nothing_is_advised(folder: Path) -> None:
    project = load([folder])
    assert [as_text(problem, project.lines) for problem in project.problems] == []
    for result in results(project):
        assert failures(result) == [], result.rehearsal.name
        assert result.outcomes, f"{result.rehearsal.name} expects nothing"


def test_every_scene_of_the_examples_is_rehearsed() -> None:
    for folder in FOLDERS:
        project = load([folder])
        ran = {one.scene for result in results(project) for one in result.trace if isinstance(one, SceneIs)}
        assert ran == set(project.program.named_scenes)


@pytest.mark.parametrize("seed", range(20))
def test_the_evening_holds_whatever_is_drawn(seed: int) -> None:
    project = load([QUAY])
    for name in ("lamps-are-lit", "once-by-the-button"):
        assert failures(rehearse(project.program, project.program.rehearsals[name], seed)) == []


def test_a_changed_number_shows_as_the_cookbook_says(tmp_path: Path) -> None:
    """Twelve seconds of red for five: expectations fail with the line that did it, and the train waits."""
    for file in (one for one in QUAY.iterdir() if one.suffix in (".yaml", ".scene")):
        text = file.read_text(encoding="utf-8")
        if file.name == "saltmarsh-lane.scene":
            text = changed(text, [("    wait 5 s\n", "    wait 12 s\n")])
        (tmp_path / file.name).write_text(text, encoding="utf-8")
    project = load([tmp_path])
    assert not project.errors
    result = rehearse(project.program, project.program.rehearsals["one-train"])
    failed = [one for one in result.outcomes if not one.passed]
    assert failed
    lines = project.lines[str(tmp_path / "saltmarsh-lane.scene")]
    blamed = [lines[one.place.line - 1].strip() for one in failed if one.place is not None]
    assert "move far-barrier to lowered over 7 s, bouncing twice" in blamed
    on_the_lane = [one.at_us for one in result.trace if isinstance(one, TrainOn) and one.detector == "lane" and one.on]
    assert on_the_lane
    assert on_the_lane[0] > 29_000_000  # 3 + 12 + 7 + 7 s: only when the lane is closed to the road; else at 24 s


def test_the_dirty_wheel_is_seen_and_bridged() -> None:
    """The detector says clear under the train, as the cookbook tells; the settle time alone does not hide it."""
    project = load([QUAY])
    result = rehearse(project.program, project.program.rehearsals["second-train-while-rising"])
    seen = [(one.at_us, one.state) for one in result.trace if isinstance(one, Saw) and one.detector == "lane"]
    assert (27_200_000, "clear") in seen
    assert (27_400_000, "occupied") in seen


def test_the_cookbook_names_what_is_there() -> None:
    for folder in FOLDERS:
        assert f"`{folder.name}`" in COOKBOOK
        for scene in folder.glob("*.scene"):
            assert scene.name in COOKBOOK
    for path in re.findall(r"`((?:tests|pellbrook-quay|marram-point)/[\w./-]+)`", COOKBOOK):
        assert (EXAMPLES / path).exists() or (EXAMPLES.parent / path).exists(), path


@pytest.mark.parametrize(
    "caution",
    [
        "never a design for a real crossing",
        "photosensitive epilepsy",
        "at or below three flashes a second",
        "Extra-low voltage only",
        "pinch points",
        "stays with a layout in public",
    ],
)
def test_the_cautions_stand_in_the_cookbook(caution: str) -> None:
    assert caution in " ".join(COOKBOOK.split())


def test_a_short_approach_is_told_as_the_cookbook_says(tmp_path: Path) -> None:
    """2500 mm for 3600: what is advised, word for word, and the line that it ends with puts it right."""
    for file in (one for one in QUAY.iterdir() if one.suffix in (".yaml", ".scene")):
        text = file.read_text(encoding="utf-8").replace("-approach: 3600 mm", "-approach: 2500 mm")
        (tmp_path / file.name).write_text(text, encoding="utf-8")
    project = load([tmp_path], shown=lambda path: path.name)
    (told,) = [as_text(problem, project.lines) for problem in project.problems]
    section = COOKBOOK[COOKBOOK.index("## 7. A short approach") :]
    (sample,) = re.findall(r"^```\n(.*?)^```", section, re.M | re.S)
    assert told.startswith(sample)

    scene = tmp_path / "saltmarsh-lane.scene"
    (head,) = re.findall(r"one line below `([^`]*)`", section)
    (line,) = re.findall(r"write `(fit into [^`]*)`", sample)
    text = changed(scene.read_text(encoding="utf-8"), [(f"    {head}\n", f"    {head}\n    {line}\n")])
    scene.write_text(text, encoding="utf-8")
    project = load([tmp_path])
    assert project.problems == ()
    waits = [one for one in walk(project.program.scenes["saltmarsh-lane"].block) if isinstance(one, Wait)]
    said = [float(seconds) * 1_000_000 for seconds in re.findall(r"(?:are|barriers) ([0-9.]+) s", section)]
    assert [wait.high_us for wait in waits if wait.written_us] == pytest.approx(said, abs=50_000)


# --- the scenes to copy -----------------------------------------------------------------------------------------------

RULED = [folder for folder in SCENES_TO_COPY if any("\nrule " in one.read_text() for one in folder.glob("*.scene"))]
CASES = ["--cases", "400", "--cores", "1"]
TRAPS = [  # what each scene guards against, put back into it
    (
        "trains-from-both-sides",
        "define line-clear as all of from-the-west, lane, from-the-east are clear",
        "define line-clear as lane is clear",
    ),
    ("trains-from-both-sides", "2700 mm", "2100 mm"),
    (
        "one-track-with-a-treadle",
        "define line-clear as trains-within is 0 and road-quiet",
        "define line-clear as road-quiet",
    ),
    ("one-track-with-a-treadle", "if nobody-seen for 6 min", "if road-quiet"),
    ("platform-in-the-approach", "beyond: 1500 mm", "beyond: 900 mm"),
    ("decoder-does-it", "3000 mm", "1500 mm"),
    ("hand-worked-gate", "as long as gate-away is clear", "if gate-away is clear"),
    ("point-motors", "    if points-section is clear for 1 s\n        pulse coil", "    pulse coil"),
]


def test_every_link_of_the_cookbook_leads_somewhere() -> None:
    links = re.findall(r"\]\(([^)#]+)\)", COOKBOOK)
    assert links
    for link in links:
        assert (EXAMPLES / link).is_file(), link


def test_there_is_enough_to_copy() -> None:
    assert len(SCENES_TO_COPY) >= 12
    assert len(RULED) >= 8


@pytest.mark.parametrize("folder", SCENES_TO_COPY, ids=lambda folder: folder.name)
def test_the_index_says_when_to_take_it_and_what_to_change(folder: Path) -> None:
    (scene,) = folder.glob("*.scene")
    (entry,) = re.findall(rf"^\*\*`{folder.name}`\*\* \(`{scene.name}`\)\. (.*?)\n\n", COOKBOOK, re.M | re.S)
    assert "*Take it*" in entry
    named = " ".join(entry[entry.index("*Change first*") :].split())
    text = scene.read_text(encoding="utf-8") + (folder / "layout.yaml").read_text(encoding="utf-8")
    for words in re.findall(r"`([^`]*)`", named):
        assert words.startswith("wayside") or words in text or words == "layout.yaml", words


@pytest.mark.parametrize("folder", SCENES_TO_COPY, ids=lambda folder: folder.name)
def test_it_holds_whatever_is_drawn(folder: Path) -> None:
    project = load([folder])
    for rehearsal in project.program.rehearsals.values():
        for seed in range(10):
            if rehearsal.seed is None:
                assert failures(rehearse(project.program, rehearsal, seed)) == [], (rehearsal.name, seed)


@pytest.mark.parametrize("folder", RULED, ids=lambda folder: folder.name)
def test_a_challenge_breaks_no_rule_of_it(folder: Path, tmp_path: Path) -> None:
    assert main(["challenge", str(folder), *CASES, "--into", str(tmp_path)]) == 0


@pytest.mark.parametrize(("name", "old", "new"), TRAPS, ids=[f"{name}-{new[:20]}" for name, _, new in TRAPS])
def test_a_challenge_finds_what_a_scene_guards_against(name: str, old: str, new: str, tmp_path: Path) -> None:
    hits = 0
    for file in (EXAMPLES / "cookbook" / name).iterdir():
        text = file.read_text(encoding="utf-8")
        hits += old in text
        (tmp_path / file.name).write_text(text.replace(old, new), encoding="utf-8")
    assert hits == 1
    assert main(["challenge", str(tmp_path), "--cases", "3000", "--cores", "1"]) == 1
    assert list(tmp_path.glob("found-*.scene"))
