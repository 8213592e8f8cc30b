"""A show day as a process, to its closing: what it says then, and what lies beside the layout file afterwards."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

LAYOUT = """\
layout: Bench
outputs:
  lamp: {kind: lamp}
detectors:
  lane: {kind: section}
"""
SCENES = """\
scene bell-rings
    turn on lamp
    wait 200 ms

day short
    opens at 10:00
    closes at 12:00
    every 1 s between 11:59 and 12:00 run bell-rings
    at closing
        turn off lamp
"""


def run(folder: Path, *options: str) -> str:
    command = [sys.executable, "-m", "wayside", "run", str(folder), "--dry-run", "--plain", "--no-desk", *options]
    done = subprocess.run(
        command,
        input="mark the lamp is dim\n",
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    return done.stdout


def test_a_day_that_closes_leaves_its_summary(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text(SCENES)
    said = run(tmp_path, "--day", "short", "--from", "11:59:58")
    (text,), (picture,) = (list((tmp_path / ".wayside").glob(f"day-*.{ending}")) for ending in ("txt", "svg"))
    page = text.read_text(encoding="utf-8")
    assert page in f"{said}\n"
    assert "bell-rings " in page
    assert "never saw a train" in page
    assert "marked at " in page
    assert "the lamp is dim" in picture.read_text(encoding="utf-8")
    assert f"The day's summary is in {text}, as a picture in {picture}." in said


def test_one_that_can_leave_nothing_closes_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text(SCENES)
    (tmp_path / ".wayside").write_text("a file in its place")
    said = run(tmp_path, "--day", "short", "--from", "11:59:59")
    assert "bell-rings " in said
    assert "The day's summary could not be written to" in said
    assert "the show has ended" in said
