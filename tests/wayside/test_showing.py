"""How a show ends: it waits for links that hear, for a while for those that may, and never for ever."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from adapters.link_states import State
from engine.trace import Told
from wayside.live import showing
from wayside.live.showing import Show, ShowClock
from wayside.project import load

LAYOUT = """\
layout: Bench
links: {main: {kind: serial text, dialect: late}}
outputs:
  lamp: {kind: lamp, link: main, pin: 21, safe: on}
"""


class Far:
    """A link that has something left to tell."""

    def __init__(self, state: State) -> None:
        self.state = state
        self.idle = False
        self.awake = True

    def want(self, output: str, told: Told) -> None:
        """Nothing is kept."""


class Clock(ShowClock):
    """A clock a hundred times as fast as any other."""

    def now_us(self) -> int:
        return 100 * super().now_us()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "layout.yaml").write_text(LAYOUT)
    (tmp_path / "a.scene").write_text("scene quiet\n    turn on lamp\n")
    return tmp_path


def closed(folder: Path, far: Far) -> Show:
    """A show that has begun without its link, and is to end."""
    project = load([folder])
    show = Show(project.program, lambda record: None, [far], clock=Clock())
    show.begin_now = True
    return show


async def ends(show: Show, far: Far, told_after_s: float) -> bool:
    """Whether it is over when the link has told all, or before."""
    task = asyncio.ensure_future(show.perform())
    await asyncio.sleep(0.05)
    show.close()
    await asyncio.sleep(told_after_s)
    early = task.done()
    far.idle = True
    await asyncio.wait_for(task, 5)
    return early


def test_a_link_that_answers_nothing_useful_does_not_hold_up_the_end(folder: Path) -> None:
    far = Far(State.WAITING)
    assert asyncio.run(ends(closed(folder, far), far, 0.5))  # 50 s of the show's


def test_a_link_that_may_come_back_is_waited_for(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(showing, "BACK_WITHIN_US", 1_000_000_000)
    monkeypatch.setattr(showing, "ENDS_WITHIN_US", 1_000_000_000)
    far = Far(State.WAITING)
    assert not asyncio.run(ends(closed(folder, far), far, 0.3))


def test_a_servo_that_nobody_knows_anything_of_is_on_its_way_for_as_long_as_it_may_be(folder: Path) -> None:
    """Its place was kept: it is there. It was not: for its whole travel of 4 s it has arrived nowhere."""
    boom = "  boom: {kind: servo, link: main, pin: 3, positions: {up: 90 deg, down: 0 deg}, full travel: 4 s}\n"
    (folder / "layout.yaml").write_text(LAYOUT + boom)
    project = load([folder])
    for kept, unsure_us in (({"boom": 90.0}, 0), ({}, 4_000_000)):
        far = Far(State.TALKING)
        show = Show(project.program, lambda record: None, [far], clock=Clock(), positions=kept)
        show.begin_now = True
        asyncio.run(ends(show, far, 0.1))
        sure_us = show.kernel.stage.outputs["boom"].sure_us
        assert sure_us == (show.kernel.begins_us + unsure_us if unsure_us else 0)


def test_a_link_that_talks_is_told_all(folder: Path) -> None:
    far = Far(State.TALKING)
    assert not asyncio.run(ends(closed(folder, far), far, 0.5))
