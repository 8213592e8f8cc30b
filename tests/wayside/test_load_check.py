"""A link that has too much to carry is told of: by check where it names its port, by rehearse in any case."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenes.problems import as_text
from wayside.cli import main
from wayside.project import load

LAYOUT = """\
layout: Bench
links: {{main: {{kind: serial text, dialect: late{port}}}}}
outputs:
{outputs}
"""
LAMPS = 12


def folder(where: Path, port: str, scene: str, board: str = "address") -> Path:
    lamps = "\n".join(f"  lamp-{n}: {{kind: lamp, link: main, {board}: {n + 1}}}" for n in range(LAMPS))
    (where / "layout.yaml").write_text(LAYOUT.format(port=f", port: {port}" if port else "", outputs=lamps))
    (where / "bench.scene").write_text(scene)
    return where


BUSY = """\
group lamps: {names}
scene busy
    repeat 20 times
        turn on lamps
        wait 400 ms
        turn off lamps
        wait 400 ms
rehearsal all-of-it
    plays busy
    expect lamp-0 is on at 0 s
    lasts 16 s
""".format(names=", ".join(f"lamp-{n}" for n in range(LAMPS)))
QUIET = BUSY.replace("400 ms", "2 s").replace("16 s", "20 s")


def loaded(where: Path) -> list[str]:
    project = load([where])
    assert not project.errors, project.errors
    return [as_text(one, project.lines) for one in project.advice if "carries" in one.what]


def test_check_tells_of_a_link_with_a_port_that_has_too_much_to_carry(tmp_path: Path) -> None:
    # twelve lamps switched every 400 ms are 30 commands a second; half of the track and four packets each carry 20.5
    advice = loaded(folder(tmp_path, "/dev/ttyUSB0, repeats: 4", BUSY))
    assert advice
    assert any("bench.scene:4:9" in one for one in advice)
    assert all("on `main`, which carries 21" in one for one in advice)


@pytest.mark.parametrize(
    ("port", "scene", "board"),
    [
        ("", BUSY, "address"),  # nothing is wired yet: rehearse will tell
        ("/dev/ttyUSB0, repeats: 4", QUIET, "address"),
        ("/dev/ttyUSB0, repeats: 4", BUSY, "pin"),  # pins of the station take nothing of the track
        ('/dev/ttyUSB0, commands: "200 a second"', BUSY, "address"),
    ],
)
def test_it_tells_of_nothing_that_is_carried(tmp_path: Path, port: str, scene: str, board: str) -> None:
    assert loaded(folder(tmp_path, port, scene, board)) == []


def test_rehearse_tells_of_it_before_anything_is_wired(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    where = folder(tmp_path, "", BUSY)
    text = (where / "layout.yaml").read_text().replace("dialect: late", "dialect: late, repeats: 4")
    (where / "layout.yaml").write_text(text)
    assert main(["rehearse", str(where)]) == 0
    said = capsys.readouterr().out
    assert "commands a second are wanted on `main`" in said
    assert "Advice (nothing fails because of it)" in said
