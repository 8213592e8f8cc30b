"""Where servos were last sent, over a show and over whatever happens to the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.layout import Kind, Layout, Output, Position, Setting
from wayside.live.last_positions import file_for, read, write

GATE = Output(
    "gate",
    Kind.SERVO,
    Setting(85.0),
    positions=(Position("raised", 85.0), Position("lowered", 0.0)),
    limits=(0.0, 90.0),
)
LAYOUT = Layout(outputs={"gate": GATE, "lamp": Output("lamp", Kind.LAMP, Setting(0.0))})


def test_what_is_written_is_read(tmp_path: Path) -> None:
    path = file_for(tmp_path / "layout.yaml")
    assert read(path, LAYOUT) == ({}, "")
    assert write(path, {"gate": 42.123}) == ""
    assert read(path, LAYOUT) == ({"gate": 42.12}, "")
    assert write(path, {"gate": 0.0}) == ""
    assert read(path, LAYOUT) == ({"gate": 0.0}, "")
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize(
    "text",
    [
        '{"gate": "42"}',
        '{"gate": true}',
        '{"gate": 91.0}',
        '{"gate": NaN}',
        '{"lamp": 1.0}',
        '{"gone": 1.0}',
    ],
)
def test_what_cannot_be_meant_is_passed_over(tmp_path: Path, text: str) -> None:
    path = file_for(tmp_path / "layout.yaml")
    path.parent.mkdir()
    path.write_text(text)
    assert read(path, LAYOUT) == ({}, "")


@pytest.mark.parametrize("raw", [b'{"gate": 4', b"\xff\xfe", b"", b"[1, 2]", b"3", b"x" * 2_000_000])
def test_a_damaged_file_is_said_and_nothing_is_known(tmp_path: Path, raw: bytes) -> None:
    path = file_for(tmp_path / "layout.yaml")
    path.parent.mkdir()
    path.write_bytes(raw)
    known, says = read(path, LAYOUT)
    assert known == {}
    assert str(path) in says
    assert "Error" not in says


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    path = file_for(tmp_path / "layout.yaml")
    path.parent.write_text("a file where the folder should be")
    assert "may jump" in write(path, {"gate": 1.0})
