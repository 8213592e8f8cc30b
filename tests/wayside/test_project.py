"""Which files make one layout, and what is said when they do not."""

from __future__ import annotations

from pathlib import Path

import pytest

from wayside import project
from wayside.layout import doubts as layout_doubts
from wayside.project import find, load
from wayside.usage import UsageProblem

LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text}
outputs:
  amber: {kind: lamp, link: main, pin: 1}
  cabin-lamp: {kind: lamp, link: main, pin: 2}
"""
SCENE = "scene {name}\n    turn on {lamp}\n    wait 3 s\n    turn off {lamp}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "b.scene").write_text(SCENE.format(name="lane", lamp="amber"))
    (tmp_path / "a.scene").write_text(SCENE.format(name="cabin", lamp="cabin-lamp"))
    return tmp_path


def refusal(*paths: Path) -> str:
    with pytest.raises(UsageProblem) as caught:
        load(paths)
    return str(caught.value)


def test_a_folder_is_its_layout_and_all_its_scene_files_by_name(folder: Path) -> None:
    found = load([folder])
    assert found.name == "Pellbrook Quay"
    assert found.problems == ()
    assert [Path(file).name for file in found.scene_files] == ["a.scene", "b.scene"]
    assert list(found.program.scenes) == ["cabin", "lane"]
    assert found.lines[str(folder / "a.scene")][0] == "scene cabin"


def test_one_scene_file_brings_the_layout_beside_it(folder: Path) -> None:
    found = load([folder / "b.scene"])
    assert list(found.program.scenes) == ["lane"]
    assert list(found.layout.outputs) == ["amber", "cabin-lamp"]


def test_a_file_named_twice_is_read_once(folder: Path) -> None:
    files = find([folder / "b.scene", folder, folder / "b.scene"])
    assert [file.name for file in files.scenes] == ["b.scene", "a.scene"]


def test_a_layout_file_may_stand_elsewhere_when_it_is_named(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "elsewhere"
    other.mkdir()
    (other / "club.yaml").write_text(LAYOUT.replace("Pellbrook Quay", "The Club"))
    assert load([other / "club.yaml", folder / "a.scene"]).name == "The Club"


def test_a_layout_without_a_name_is_called_after_its_folder(folder: Path) -> None:
    (folder / "layout.yaml").write_text(LAYOUT.replace("layout: Pellbrook Quay\n", ""))
    assert load([folder]).name == folder.name


def test_names_are_shown_as_the_caller_likes(folder: Path) -> None:
    (folder / "c.scene").write_text("scene c\n    turn on ambre\n")
    found = load([folder], shown=lambda path: f"~/{path.name}")
    assert [str(problem.place) for problem in found.errors] == ["~/c.scene:2:13"]


def test_errors_stand_before_advice_and_have_their_lines(folder: Path) -> None:
    (folder / "c.scene").write_text("scene c\n    turn on ambre\n")
    (folder / "d.scene.txt").write_text("")
    found = load([folder])
    assert [problem.advice for problem in found.problems] == [False, True]
    assert found.lines[str(folder / "c.scene")][1] == "    turn on ambre"


def test_a_scene_file_with_a_second_ending_is_pointed_out(folder: Path) -> None:
    (folder / "c.scene.txt").write_text(SCENE.format(name="c", lamp="amber"))
    (only,) = load([folder]).advice
    assert only.place.file == str(folder / "c.scene.txt")
    assert "rename it to c.scene" in only.instead


def test_a_broken_layout_does_not_accuse_the_scenes(folder: Path) -> None:
    (folder / "layout.yaml").write_text(
        LAYOUT.replace("kind: lamp, link: main, pin: 1", "kind: lmap, link: main, pin: 1")
    )
    found = load([folder])
    assert found.errors
    assert {Path(problem.place.file).name for problem in found.errors} == {"layout.yaml"}


def test_two_scenes_of_one_name_in_two_files_tell_both_places(folder: Path) -> None:
    (folder / "c.scene").write_text(SCENE.format(name="lane", lamp="cabin-lamp"))
    (only,) = load([folder]).errors
    places = {only.place, *(place for place, _ in only.also)}
    assert {Path(place.file).name for place in places} == {"b.scene", "c.scene"}


def test_advice_waits_until_the_errors_are_gone(folder: Path) -> None:
    file = folder / "c.scene"
    file.write_text("define lit as amber is on\n\nscene c\n    wait until lti\n    turn on amber\n")
    found = load([folder])
    assert (len(found.errors), found.advice) == (1, [])
    file.write_text("define lit as amber is on\n\nscene c\n    takes amber from lane\n    turn on amber\n")
    found = load([folder])
    assert not found.errors
    assert [problem.place.line for problem in found.advice] == [1]


def test_the_scene_files_that_were_not_named_are_known(folder: Path) -> None:
    assert load([folder / "a.scene"]).unread == ("b.scene",)
    assert load([folder]).unread == ()


def test_a_clashing_pair_of_layouts_is_refused(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "layout.yaml").write_text(LAYOUT)
    (other / "x.scene").write_text(SCENE.format(name="x", lamp="amber"))
    assert "different layouts" in refusal(folder, other)
    assert "different layouts" in refusal(folder / "a.scene", other / "x.scene")


@pytest.mark.parametrize(
    ("names", "sentence"),
    [
        ([], "is empty"),
        (["a.scene"], "holds no layout file. It must be called layout.yaml"),
        (["layout.yml"], "layout.yml must be called layout.yaml"),
        (["layout.yaml.txt", "a.scene"], "layout.yaml.txt must be called layout.yaml"),
        (["Layout.yaml"], "Layout.yaml must be called layout.yaml"),
    ],
)
def test_a_folder_without_a_layout_file(tmp_path: Path, names: list[str], sentence: str) -> None:
    for name in names:
        (tmp_path / name).write_text("")
    assert sentence in refusal(tmp_path)


def test_a_scene_file_without_a_layout_beside_it(tmp_path: Path) -> None:
    (tmp_path / "a.scene").write_text(SCENE.format(name="a", lamp="amber"))
    assert "holds no layout file" in refusal(tmp_path / "a.scene")


def test_a_file_that_is_not_there_is_told_with_the_nearest(folder: Path) -> None:
    (folder / "crossing.scene").write_text("")
    said = refusal(folder / "crosing.scene")
    assert f"There is no file or folder {folder / 'crosing.scene'}." in said
    assert f"Did you mean {folder / 'crossing.scene'}?" in said


def test_another_kind_of_file_is_refused(folder: Path) -> None:
    (folder / "notes.txt").write_text("")
    assert "no scene file: the name of a scene file ends in .scene" in refusal(folder / "notes.txt")


@pytest.mark.parametrize("name", ["a.scene", "layout.yaml"])
def test_a_file_that_cannot_be_read(folder: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.open

    def refuse(self: Path, *rest: object, **more: object) -> object:
        if self.name == name:
            raise PermissionError(13, "Permission denied", str(self))
        return real(self, *rest, **more)  # type: ignore[arg-type, call-overload]

    monkeypatch.setattr(Path, "open", refuse)
    assert refusal(folder) == f"{folder / name} cannot be read: Permission denied."


def test_a_dangling_link_among_the_scene_files(folder: Path) -> None:
    (folder / "gone.scene").symlink_to(folder / "nowhere")
    assert "gone.scene cannot be read" in refusal(folder)


@pytest.mark.parametrize(("files", "fine"), [(3, True), (4, False)])
def test_the_number_of_scene_files_has_a_limit(
    folder: Path, files: int, fine: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(project, "MOST_SCENE_FILES", 3)
    for number in range(files - 2):
        (folder / f"more-{number}.scene").write_text("")
    if fine:
        assert len(find([folder]).scenes) == 3
    else:
        assert "one layout takes at most 3" in refusal(folder)


# --- errors in both files ------------------------------------------------------------------------------------------

BOTH_LAYOUT = """\
layout: Pellbrook Quay
links:
  main: {kind: serial text}
outputs:
  amber: {kind: lamp, link: main, pin: 1}
  red: {kind: lamp, link: main, pin: 2}
  barrier: {kind: servo, link: main, pin: 3, positions: {raised: 85 deg, lowered: 0 deg}, full travel: 4 s}
  signal: {kind: signal, aspects: {danger: {red: on}, clear: {red: off}}, safe: danger}
detectors:
  lane: {kind: section}
  yard: {kind: section}
tracks:
  up-line: {stretches: [yard: 2 m, lane: 1 m], fastest: 150 mm/s, shortest train: 300 mm}
"""
BOTH_SCENE = """\
group lamps: amber, red
scene crossing
    runs whenever at least 1 of lane, yard is occupied
    if at least 2 of lamps are on
        wait 3 s
    for each lamp in lamps
        set lamp to on
    move barrier to lowered over 3 s
    set signal to clear
    turn on bel
    move barrier to shut over 3 s
rehearsal one
    a train 300 mm long runs along up-line at 100 mm/s, from 0 s, standing in lane for 3 s
    expect all outputs are at rest by 9 s
    expect amber is on at 1 s
"""
BEL, SHUT = (10, 13), (11, 21)  # what is wrong with the scenes, whatever the layout says


@pytest.mark.parametrize(
    ("good", "bad", "told"),
    [
        ("amber: {kind: lamp", "amber: {kind: lmp", [BEL, SHUT]),
        ("amber: {kind: lamp", "Amber: {kind: lamp", [BEL, SHUT]),
        ("  red: {kind: lamp", "  red: {kind: lmp", [BEL, SHUT]),
        ("pin: 2", "pin: 1", [BEL, SHUT]),
        ("link: main, pin: 1", "link: mian, pin: 1", [BEL, SHUT]),
        ("lowered: 0 deg", "lowered: 0", [BEL]),
        ("outputs:", "ouputs:", [BEL, SHUT]),
        ("detectors:", "sensors:", [BEL, SHUT]),
        ("  lane: {kind: section}\n", "", [BEL, SHUT]),
        ("kind: section}", "kind: sections}", [BEL, SHUT]),
        ("tracks:", "rails:", [BEL, SHUT]),
        ("layout: Pellbrook Quay\n", "", [BEL, SHUT]),
        ("  yard: {kind", "  lane: {kind", [SHUT]),  # one name is missing, and nobody knows which
    ],
)
def test_a_layout_with_errors_hides_no_error_of_the_scenes_and_makes_none(
    tmp_path: Path, good: str, bad: str, told: list[tuple[int, int]]
) -> None:
    assert good in BOTH_LAYOUT
    (tmp_path / "layout.yaml").write_text(BOTH_LAYOUT.replace(good, bad))
    (tmp_path / "a.scene").write_text(BOTH_SCENE)
    found = load([tmp_path])
    places = [(one.place.line, one.place.column) for one in found.problems if one.place.file.endswith(".scene")]
    assert [one for one in found.errors if one.place.file.endswith(".yaml")]
    assert places == told
    assert found.names_checked
    (tmp_path / "layout.yaml").write_text(BOTH_LAYOUT)
    assert [(one.place.line, one.place.column) for one in load([tmp_path]).errors] == [BEL, SHUT]


def test_a_layout_that_cannot_be_read_leaves_the_names_alone(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(BOTH_LAYOUT + "tracks: {up-line: [")
    (tmp_path / "a.scene").write_text(BOTH_SCENE)
    found = load([tmp_path])
    assert not found.names_checked
    assert [one.place.file for one in found.problems] == [str(tmp_path / "layout.yaml")]


def test_the_limit_on_errors_that_are_weighed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "layout.yaml").write_text(BOTH_LAYOUT.replace("kind: lamp", "kind: lmp"))  # two errors
    (tmp_path / "a.scene").write_text(BOTH_SCENE)
    monkeypatch.setattr(layout_doubts, "MOST_WEIGHED", 2)
    assert load([tmp_path]).names_checked
    monkeypatch.setattr(layout_doubts, "MOST_WEIGHED", 1)
    assert not load([tmp_path]).names_checked
