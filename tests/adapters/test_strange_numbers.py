"""Numbers that the layout does not name: how often each has changed, so that a wagon finds a detector's true one."""

from __future__ import annotations

from adapters.dialects import DetectorIs
from adapters.link_inputs import MOST_STRANGE, LinkInputs
from engine.layout import Detector, DetectorKind, Layout, Link, Wiring

LINK = Link("main", dialect="late")
LAYOUT = Layout(
    links={"main": LINK}, detectors={"lane": Detector("lane", DetectorKind.SECTION, wiring=Wiring("main", pin=60))}
)


def heard(*reports: tuple[int, bool]) -> LinkInputs:
    inputs = LinkInputs(LAYOUT, LINK, 60_000)
    inputs.link_talks(True)
    for number, active in reports:
        inputs.report(DetectorIs(number, active), 0)
    return inputs


def test_only_changes_count_and_only_of_strangers() -> None:
    found = heard((77, False), (77, False), (77, True), (77, False), (60, True), (60, False), (78, True))
    assert {number: times for number, times in found.strange.items() if times} == {77: 2}


def test_a_flood_of_numbers_does_not_grow_without_end() -> None:
    assert len(heard(*((1_000 + number, False) for number in range(2 * MOST_STRANGE))).strange) == MOST_STRANGE
