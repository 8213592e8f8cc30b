"""A real show as a process, its journal, the minutes before a mark as a rehearsal, and that rehearsal as a process.

What the show printed and stamped by the clock of the computer is compared with what the rehearsal's trace says.
"""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

LAYOUT = """\
layout: Bench
outputs:
  arm: {kind: servo, positions: {raised: 90 deg, lowered: 0 deg}, rest: raised, safe: lowered, full travel: 1 s}
  red: {kind: lamp, safe: on}
  lamp: {kind: lamp}
detectors:
  lane: {kind: section, settle: 200 ms}
buttons:
  bell: {}
"""
SCENES = """\
flag rung

scene gate
    runs whenever lane is occupied
    when stopped
        turn on red
        move arm to lowered over 500 ms
    turn on red
    move arm to lowered over 500 ms
    wait until lane is clear
    move arm to raised over 500 ms
    turn off red

scene ring
    starts on button bell
    remember rung
    turn on lamp
    wait 300 ms
    if rung
        turn off lamp

rule red-before-arm
    never arm is not raised while red is off
"""
STEPS = (  # what is typed, and what is waited for until the next
    ("press bell", "scene ring has ended"),
    ("lane occupied", "scene gate begins"),
    ("press bell", "scene ring has ended"),
    ("lane clear", "scene gate has ended"),
    ("lane occupied", "scene gate begins"),
    ("all stop", "scene gate has stopped"),
    ("mark that was odd", "Marked: that was odd."),
)


def wayside(*words: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "wayside", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=60, check=False)


def perform(folder: Path) -> None:
    """Type each line when the one before has done what it does; then end in good order."""
    command = [sys.executable, "-m", "wayside", "run", str(folder), "--dry-run", "--plain", "--no-desk"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=subprocess.STDOUT, text=True) as show:
        assert show.stdin is not None
        assert show.stdout is not None
        try:
            for typed, awaited in (("", "the show begins"), *STEPS):
                show.stdin.write(f"{typed}\n" if typed else "")
                show.stdin.flush()
                assert any(awaited in line for line in iter(show.stdout.readline, "")), awaited
            show.stdin.write("end\n")
            show.stdin.flush()
            assert "Traceback" not in show.stdout.read()
            assert show.wait(30) == 0
        finally:
            show.kill()


def journal_says(folder: Path, until: str) -> list[tuple[int, str, str]]:
    """Beginnings and ends, and guarded outputs that are told something, in microseconds of the show."""
    rows = list(csv.DictReader(io.StringIO(wayside("journal", folder, "--csv", "-").stdout)))
    (end,) = (number for number, row in enumerate(rows) if row["kind"] == "mark" and row["text"] == until)
    return [
        (round(float(row["show time s"]) * 1_000_000), row["subject"], json.loads(row["details"]).get("state", "told"))
        for row in rows[:end]
        if row["kind"] in ("scene", "output")
    ]


def rehearsed(folder: Path, name: str) -> list[tuple[int, str, str]]:
    into = folder / "trace.json"
    done = wayside("rehearse", folder, "--only", name, "--json", into)
    assert done.returncode == 0, done.stdout + done.stderr
    return [
        (one["at_us"], one.get("scene") if one["record"] == "scene" else one["output"], one.get("state", "told"))
        for one in json.loads(into.read_text())["records"]
        if one["record"] == "scene" or (one["record"] == "told" and one["output"] in ("arm", "red"))
    ]


def test_a_show_and_the_rehearsal_of_its_minutes_do_the_same(tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    folder.mkdir()
    (folder / "layout.yaml").write_text(LAYOUT)
    (folder / "a.scene").write_text(SCENES)
    perform(folder)
    given = wayside("journal", folder, "--mark", "--as-rehearsal", "--into", folder / "odd.scene")
    assert given.returncode == 0, given.stderr
    assert "Rehearsed, it does the same: 9 beginnings and ends of scenes and 8 orders" in " ".join(given.stderr.split())
    name = (folder / "odd.scene").read_text().split("rehearsal ")[1].split()[0]
    theirs, ours = journal_says(folder, "that was odd"), rehearsed(folder, name)
    assert len(theirs) > 12
    assert [one[1:] for one in ours[: len(theirs)]] == [one[1:] for one in theirs]
    assert max(abs(a[0] - b[0]) for a, b in zip(ours, theirs, strict=False)) == 0
