"""A button in the layout file that stops all by itself: read, told wrong, and pressed in a real show."""

from __future__ import annotations

from pathlib import Path

from wayside.project import load

from .conftest import Running, wait_for

LAYOUT = """\
layout: Bench
links: {main: {kind: serial text}}
outputs:
  lamp: {kind: lamp, link: main, pin: 21}
buttons:
  red-knob: {link: main, pin: 3, does: all stop}
  bell-push: {link: main, pin: 4}
"""
SCENE = "scene glow\n    turn on lamp\n    wait 10 min\n    turn off lamp\n"


def folder(at: Path, layout: str = LAYOUT) -> Path:
    (at / "layout.yaml").write_text(layout)
    (at / "glow.scene").write_text(SCENE)
    return at


def test_the_layout_file_says_which_button_stops_all(tmp_path: Path) -> None:
    buttons = load([folder(tmp_path)]).layout.buttons
    assert (buttons["red-knob"].stops, buttons["bell-push"].stops) == (True, False)


def test_another_deed_is_told_wrong(tmp_path: Path) -> None:
    problems = load([folder(tmp_path, LAYOUT.replace("all stop", "al stop"))]).errors
    assert [(one.what, one.instead) for one in problems] == [
        ("`al stop` is not a deed of a button.", "Did you mean `all stop`?")
    ]


def test_pressed_it_stops_the_show_and_a_scene_that_is_started_then_is_told_to_wait(tmp_path: Path) -> None:
    show = Running("--no-desk", folder=folder(tmp_path))
    try:
        show.type("start glow")
        show.until("lamp turned on")
        show.type("press red-knob")
        show.until("scene glow has stopped")
        show.type("start glow")
        show.until("All is stopped, so glow does not begin. First go on.")
        show.type("go on")
        show.type("start glow")
        wait_for(lambda: show.text.count("scene glow begins") == 2)
    finally:
        show.kill()
