"""The screen of a show: it never runs over, and no sentence loses its end."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from engine.kernel import Kernel
from wayside.live import screen as live_screen
from wayside.live import view as live_view
from wayside.live.showing import Show
from wayside.project import load

MANY = 60
LONG = (
    "main (/dev/ttyUSB0): track power is off. Switch it on at the station: Wayside never does that unasked, since "
    "hands may be on the track."
)


@pytest.fixture
def show(tmp_path: Path) -> Show:
    lamps = "\n".join(f"  lamp-{number}: {{kind: lamp}}" for number in range(MANY))
    (tmp_path / "layout.yaml").write_text(f"layout: Bench\noutputs:\n{lamps}\ndetectors:\n  lane: {{kind: section}}\n")
    (tmp_path / "a.scene").write_text("scene quiet\n    wait 1 s\n")
    project = load([tmp_path])
    assert not project.errors
    return Show(project.program, lambda record: None, known=True)


def drawn(kernel: Kernel, width: int, rows: int, events: list[str]) -> list[str]:
    return live_view.lines(kernel, 1_000_000, [400], events, [LONG], width, rows)


@pytest.mark.parametrize("rows", [1, 3, 8, 12, 22, 40, 200])
@pytest.mark.parametrize("width", [30, 80, 200])
def test_it_fits_whatever_there_is_to_show(show: Show, width: int, rows: int) -> None:
    for number in range(MANY):
        show.kernel.set_output(f"lamp-{number}", 1.0)
    lines = drawn(show.kernel, width, rows, [f"event {number}" for number in range(MANY)])
    assert len(lines) <= rows
    assert all(len(line) <= width for line in lines)


def test_a_long_sentence_goes_on_in_the_next_line(show: Show) -> None:
    text = " ".join(" ".join(drawn(show.kernel, 60, 22, [LONG])).split())
    assert text.count("hands may be on the track.") == 2  # of the link, and in the events


def test_outputs_leave_room_for_the_last_events_and_are_counted(show: Show) -> None:
    for number in range(MANY):
        show.kernel.set_output(f"lamp-{number}", 1.0)
    lines = drawn(show.kernel, 200, 22, [f"event {number}" for number in range(MANY)])
    assert [line for line in lines if line.startswith("event")] == [f"event {MANY - 4 + number}" for number in range(4)]
    lamps = sum("lamp-" in line for line in lines)
    assert f"  and {MANY - lamps} more" in lines
    assert len(lines) == 22


class Terminal(io.StringIO):
    """What a screen writes."""


def test_the_line_for_typing_stays_until_something_has_been_typed(show: Show, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "70")
    monkeypatch.setenv("LINES", "20")
    written = Terminal()
    monkeypatch.setattr(live_screen.sys, "stdout", written)
    screen = object.__new__(live_screen.Screen)
    screen.plain, screen._foot, screen.links, screen._mute = False, 0, tuple, False
    screen._events = live_screen.deque(["bell\x07 and \x1b[2J"])
    screen.rules = live_screen.RuleTeller(show.kernel.program, {}, screen.remark)

    def drawing() -> str:
        written.seek(0)
        written.truncate()
        screen.draw(show)
        return written.getvalue()

    assert drawing().endswith("\x1b[19;1H\x1b[J> ")
    second = drawing()
    assert second.endswith("\x1b8")
    assert second.count("\n") == 18
    assert "bell? and ?[2J" in second
    screen.typed()
    assert drawing().endswith("\x1b[19;1H\x1b[J> ")
    screen.close()
    assert drawing() == ""  # and what is said now is said in plain lines
    assert screen.plain
