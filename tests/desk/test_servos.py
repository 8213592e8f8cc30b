"""A servo in an operator's hands on the desk: where a step leads, and which end may be put where it stands."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from engine.events import ByHand, HandWorking, Input
from wayside.desk.servos import angles, here, step, write
from wayside.layout.edit import Change

from .conftest import QUAY
from .test_state import PROGRAM, Bench


class Show(Bench):
    """A show whose time goes on when told."""

    def go(self, us: int, *inputs: Input) -> None:
        self.until((self.now_us + us) / 1_000_000)
        self.put(*inputs)


@pytest.fixture
def show() -> Show:
    return Show()


def test_a_step_goes_on_from_where_it_is_going(show: Show) -> None:
    assert step(show.kernel, "crane", 5.0, show.now_us).to == 25.0
    show.go(1_000, ByHand("crane", 60.0))
    assert step(show.kernel, "crane", -1.0, show.now_us).to == 59.0  # though it has hardly set out


def test_a_step_ends_at_the_limits(show: Show) -> None:
    assert step(show.kernel, "crane", -45.0, show.now_us).to == 10.0
    show.go(1_000, ByHand("crane", 10.0))
    assert step(show.kernel, "crane", -1.0, show.now_us).why_not == "crane is at its limit, 10 deg: no further."
    assert step(show.kernel, "forge", 1.0, show.now_us).why_not == "forge is no servo that is moved from here."


def test_only_servos_that_are_moved_from_here_have_angles() -> None:
    outputs = PROGRAM.layout.outputs
    assert angles(outputs["forge"]) is None
    assert angles(outputs["up-signal"]) is None
    # 544 to 2400 us over 180 degrees: a common servo library (references, R)
    assert angles(outputs["crane"]) == {"span": [20.0, 140.0], "limits": [10.0, 150.0], "pulse": [544, 2400, 180]}


def test_an_end_is_put_where_it_stands_and_is_held(show: Show) -> None:
    assert "not held by hand" in here(show.kernel, "crane", "quay", show.now_us)[1]
    show.go(1_000, ByHand("crane", 60.0))
    assert here(show.kernel, "crane", "quay", show.now_us) == (None, "crane is on its way. Wait until it stands.")
    show.go(10_000_000)
    assert here(show.kernel, "crane", "quay", show.now_us) == (
        Change(("outputs", "crane", "positions", "quay"), "60 deg"),
        "",
    )
    assert here(show.kernel, "crane", "roof", show.now_us)[1] == "crane has no end roof that is set from here."
    assert here(show.kernel, "forge", "on", show.now_us)[0] is None


def test_a_guarded_one_needs_hand_working(show: Show) -> None:
    show.go(1_000, ByHand("near-barrier", 60.0))
    assert "not held by hand" in here(show.kernel, "near-barrier", "raised", show.now_us)[1]
    show.go(1_000, HandWorking("saltmarsh-lane-crossing", True))
    show.go(9_000_000, ByHand("near-barrier", 60.0))
    show.go(9_000_000)
    assert show.kernel.stage.outputs["near-barrier"].value(show.now_us) == 60.0
    assert here(show.kernel, "near-barrier", "raised", show.now_us)[0] is not None


def test_it_is_written_or_the_reason_is_said(show: Show, tmp_path: Path) -> None:
    file = tmp_path / "layout.yaml"
    shutil.copy(QUAY / "layout.yaml", file)
    fine, says = write(file, Change(("outputs", "crane", "positions", "quay"), "60 deg"), show.kernel)
    assert fine
    assert says == (
        "Saved: quay of crane is 60 deg in layout.yaml; the old file is .wayside/layout-before-1.yaml. "
        "This show goes on with 20 deg."
    )
    assert "quay: 60 deg" in file.read_text(encoding="utf-8")
    file.chmod(0o444)
    fine, says = write(file, Change(("outputs", "crane", "positions", "quay"), "61 deg"), show.kernel)
    assert (fine, "write-protected" in says) == (False, True)
    file.chmod(0o644)
