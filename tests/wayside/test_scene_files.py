"""Scene files that are saved while they are performed: real files, and the real check in a process of its own."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import pytest

from wayside.live import scene_files
from wayside.live.scene_files import Saved, SceneFiles

LAYOUT = "layout: Bench\noutputs:\n  lamp: {kind: lamp}\n"
GOOD = "scene go\n    turn on lamp\n    wait 3 s\n    turn off lamp\n"
OTHER = "scene other\n    wait 1 s\n"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(scene_files, "LOOKS_EVERY_S", 0.02)
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "go.scene").write_text(GOOD)
    (tmp_path / "other.scene").write_text(OTHER)
    return tmp_path


class Watched:
    def __init__(self, folder: Path, *paths: Path) -> None:
        self.told: list[Saved | None] = []
        self.files = SceneFiles(folder / "layout.yaml", [str(one) for one in paths or (folder,)], self.told.append)

    def look(self) -> Saved | None:
        before = len(self.told)
        asyncio.run(self.files.look())
        assert len(self.told) == before + 1
        return self.told[-1]


def test_what_is_fine_is_handed_on_compiled_and_what_is_not_with_its_message(bench: Path) -> None:
    watched = Watched(bench)
    asyncio.run(watched.files.look())
    assert watched.told == []
    (bench / "go.scene").write_text(GOOD.replace("3 s", "30 s"))
    saved = watched.look()
    assert saved is not None
    assert (saved.names, saved.missing, saved.layout, saved.checked.fine) == (("go.scene",), (), False, True)
    assert saved.checked.project is not None
    assert saved.checked.project.program.scenes["go"].block[1].high_us == 30_000_000  # type: ignore[union-attr]
    assert "nothing wrong" in saved.checked.says
    (bench / "go.scene").write_text(GOOD.replace("turn off", "turn of"))
    saved = watched.look()
    assert saved is not None
    assert saved.checked.project is None
    assert "go.scene:4:5: error" in saved.checked.says
    (bench / "go.scene").write_text(GOOD)
    assert watched.look() is None  # as it is performed


def test_lines_that_end_as_on_another_system_are_the_same_to_a_scene(bench: Path) -> None:
    watched = Watched(bench)
    (bench / "go.scene").write_bytes(GOOD.replace("\n", "\r\n").encode())
    saved = watched.look()
    assert saved is not None
    assert saved.checked.fine


def test_a_file_that_is_written_aside_and_renamed_is_seen_and_what_lies_beside_it_is_not(bench: Path) -> None:
    watched = Watched(bench)
    for name in (".go.scene.swp", "go.scene~", ".hidden.scene", "4913"):
        (bench / name).write_text("no scene at all")
    asyncio.run(watched.files.look())
    assert watched.told == []
    (bench / "go.scene.new").write_text(GOOD.replace("3 s", "4 s"))
    os.replace(bench / "go.scene.new", bench / "go.scene")
    saved = watched.look()
    assert saved is not None
    assert saved.names == ("go.scene",)
    assert saved.checked.fine


def test_a_file_that_is_gone_is_named(bench: Path) -> None:
    watched = Watched(bench)
    (bench / "other.scene").unlink()
    saved = watched.look()
    assert saved is not None
    assert (saved.names, saved.missing, saved.checked.fine) == (("other.scene",), ("other.scene",), True)
    alone = Watched(bench, bench / "go.scene")
    (bench / "go.scene").unlink()
    saved = alone.look()
    assert saved is not None
    assert saved.missing == ("go.scene",)
    assert "There is no file or folder" in saved.checked.says


def test_a_file_that_was_not_named_is_none_of_the_show(bench: Path) -> None:
    watched = Watched(bench, bench / "go.scene")
    (bench / "other.scene").write_text("nonsense")
    asyncio.run(watched.files.look())
    assert watched.told == []


def test_a_file_that_cannot_be_read_is_said(bench: Path) -> None:
    watched = Watched(bench)
    (bench / "go.scene").unlink()
    (bench / "go.scene").mkdir()  # what even a superuser cannot read as a file
    saved = watched.look()
    assert saved is not None
    assert not saved.checked.fine
    assert "go.scene" in saved.checked.says


def test_while_something_is_still_written_nothing_is_checked_and_the_last_counts(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    watched = Watched(bench)
    checks: list[str] = []
    really = SceneFiles._checked

    async def counted(files: SceneFiles) -> scene_files.Checked:
        checks.append((bench / "go.scene").read_text())
        found = await really(files)
        if len(checks) == 1:  # saved once more while it is being checked
            (bench / "go.scene").write_text(GOOD.replace("3 s", "7 s"))
        return found

    monkeypatch.setattr(SceneFiles, "_checked", counted)
    looks = 0
    rest = asyncio.sleep

    async def saves(seconds: float) -> None:
        nonlocal looks
        looks += 1
        if looks <= 3:  # an editor that takes its time
            (bench / "go.scene").write_text(GOOD[: 10 * looks])
        elif looks == 4:
            (bench / "go.scene").write_text(GOOD.replace("3 s", "5 s"))
        await rest(0)

    (bench / "go.scene").write_text("")
    monkeypatch.setattr(asyncio, "sleep", saves)
    asyncio.run(watched.files.look())
    assert [text.count("s\n") and text.split("wait ")[1][0] for text in checks] == ["5", "7"]
    assert len(watched.told) == 1
    saved = watched.told[0]
    assert saved is not None
    assert saved.checked.project is not None
    assert saved.checked.project.program.scenes["go"].block[1].high_us == 7_000_000  # type: ignore[union-attr]


def test_a_check_that_breaks_off_is_said_and_nothing_is_taken_from_it(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    watched = Watched(bench)
    monkeypatch.setattr(scene_files.sys, "executable", "/bin/false")
    (bench / "go.scene").write_text(GOOD.replace("3 s", "4 s"))
    saved = watched.look()
    assert saved is not None
    assert saved.checked.says == "It could not be checked: its check broke off, or is too large."
    monkeypatch.setattr(scene_files.sys, "executable", str(bench / "nothing"))
    (bench / "go.scene").write_text(GOOD.replace("3 s", "9 s"))
    saved = watched.look()
    assert saved is not None
    assert saved.checked.says.startswith("It could not be checked: ")
