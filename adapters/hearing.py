"""From reports to inputs: the detectors and buttons of a link, how they are defined, and what a report means.

Knows no port and no time. A detector's number is its pin's, or the one that others gave it in the station.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from adapters.dialects import DetectorIs, dialect_of, say
from adapters.seats import MOST_PIN, Unserved, seat_of
from engine.events import Detected, Input, Pressed
from engine.layout import Button, Detector, Layout, Link

PULL_UP = 1  # an input reads active when something draws it down


class InputWire(NamedTuple):
    """A detector or button: the number in its station's reports, and the command that defines it ("": others do)."""

    id: int
    sort: str  # "detector" or "button"
    name: str
    definition: str


def inputs(layout: Layout, link: Link) -> list[InputWire]:
    """The detectors and buttons of a link. One with a pin has its number; one with an address is defined by others."""
    dialect = dialect_of(link)
    found = []
    for sort, one in _all_inputs(layout):
        seat = seat_of(layout, one.wiring)
        if seat is None or seat.link.name != link.name:
            continue
        definition = ""
        if seat.is_pin and "define detector" in dialect.words:
            definition = say(dialect, "define detector", id=seat.number, pin=seat.number, pullup=PULL_UP)
        found.append(InputWire(seat.number, sort, one.name, definition))
    return found


def unheard(layout: Layout, link: Link) -> list[tuple[InputWire, Unserved]]:
    """Inputs whose reports could not be told from others', or that the station cannot number."""
    first: dict[int, InputWire] = {}
    found = []
    for wire in inputs(layout, link):
        other = first.setdefault(wire.id, wire)
        if other is not wire:
            what = f"`{wire.name}` and `{other.name}` both report as number {wire.id} of link `{link.name}`"
            found.append((wire, Unserved(what, "Give one of them another address or pin")))
        elif wire.id > MOST_PIN:
            what = f"`{wire.name}` has the number {wire.id}, and a station counts no further than {MOST_PIN}"
            found.append((wire, Unserved(what, f"Write a number from 0 to {MOST_PIN}")))
    return found


def _all_inputs(layout: Layout) -> list[tuple[str, Detector | Button]]:
    detectors: list[tuple[str, Detector | Button]] = [("detector", one) for one in layout.detectors.values()]
    return detectors + [("button", one) for one in layout.buttons.values()]


Meanings = Mapping[int, tuple[InputWire, ...]]


def meanings(layout: Layout, link: Link) -> Meanings:
    """The inputs by their number: for `meant`, where reports are many."""
    found: dict[int, tuple[InputWire, ...]] = {}
    for wire in inputs(layout, link):
        found[wire.id] = (*found.get(wire.id, ()), wire)
    return found


def meaning(layout: Layout, link: Link, report: DetectorIs) -> list[Input]:
    """What a report says of our detectors and buttons; nothing where its number is nobody's."""
    return meant(layout, meanings(layout, link), report)


def meant(layout: Layout, by_id: Meanings, report: DetectorIs) -> list[Input]:
    """The same, where `meanings` has been asked before.

    A station reports both changes of a contact, however short, so a treadle's pass is never lost between two looks.
    """
    return [_input(layout, wire, report.active) for wire in by_id.get(report.id, ())]


def _input(layout: Layout, wire: InputWire, active: bool) -> Input:
    if wire.sort == "button":
        return Pressed(wire.name, active)
    occupied = active != layout.detectors[wire.name].closed_circuit
    return Detected(wire.name, "occupied" if occupied else "clear")
