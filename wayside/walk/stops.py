"""The stops of a walk round the layout: each output, detector and button, in the order in which a person meets them.

Pure: reads the layout's records only. What a stop shows is in `shows`, what an answer means in `faults`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from adapters.seats import seat_of
from adapters.wires import Unserved, served
from engine.layout import Kind, Layout, Output, Wiring

ORDERS = ("board", "place", "file")  # what hangs together on a box; from left to right on the plan; as written
OUTPUT, DETECTOR, BUTTON = "output", "detector", "button"


class Stop(NamedTuple):
    """One thing to look at. `box` is the board, or the link where it hangs on the link itself; `number` its address or
    pin there, and on which link."""

    name: str
    sort: str  # OUTPUT, DETECTOR or BUTTON
    link: str
    number: int
    is_pin: bool
    board: str = ""
    port: int | None = None
    kind: Kind | None = None  # of an output
    guarded: bool = False

    @property
    def box(self) -> str:
        return self.board or self.link

    @property
    def where(self) -> str:
        """`port 3 of lane-board, accessory 43`, `pin 20 of main`."""
        what = f"{'pin' if self.is_pin else 'accessory'} {self.number}"
        if self.sort != OUTPUT:
            what = f"input {self.number}"
        return f"port {self.port} of {self.board}, {what}" if self.board else f"{what} of {self.link}"


class LeftOut(NamedTuple):
    """What no walk can look at, and why."""

    name: str
    why: str


class Round(NamedTuple):
    """All stops in order, and what is left out."""

    stops: tuple[Stop, ...]
    left_out: tuple[LeftOut, ...] = ()

    def named(self, name: str) -> Stop | None:
        return next((stop for stop in self.stops if stop.name == name), None)


def walk_round(layout: Layout, order: str = "board") -> Round:
    """The stops: outputs first, what is guarded last on its box; then detectors and buttons, which need a wagon."""
    stops, left_out = [], []
    for output in layout.outputs.values():
        found = _of_output(layout, output)
        if isinstance(found, Stop):
            stops.append(found)
        elif found is not None:
            left_out.append(found)
    inputs = list(_inputs(layout))
    if order == "board":
        stops.sort(key=lambda stop: _by_board(layout, stop))
        inputs.sort(key=lambda stop: stop.sort != DETECTOR)
    elif order == "place":
        stops.sort(key=lambda stop: _by_place(layout, stop))
        inputs.sort(key=lambda stop: _by_place(layout, stop))
    return Round((*stops, *inputs), tuple(left_out))


def _by_board(layout: Layout, stop: Stop) -> tuple[object, ...]:
    boxes = [*layout.boards, *layout.links]
    return boxes.index(stop.box), stop.guarded, stop.is_pin, stop.number


def _by_place(layout: Layout, stop: Stop) -> tuple[object, ...]:
    """From left to right, from the back to the front; what has no place (`at`) comes last, as the file has it."""
    place = layout.plan.places.get(stop.name)
    return place is None, place or (0, 0)


def _of_output(layout: Layout, output: Output) -> Stop | LeftOut | None:
    """Its stop; None for what is no thing of its own: a lamp's colour, daylight, a signal made of parts."""
    if output.kind in (Kind.COLOUR, Kind.DAYLIGHT):
        return None
    if output.kind is Kind.SIGNAL and any(aspect.parts for aspect in output.aspects):
        return None  # its lamps and arms have stops of their own
    found = served(layout, output)
    if isinstance(found, Unserved):
        return LeftOut(output.name, f"{found.what}. {found.instead}".replace("`", ""))
    if not found.link:
        return LeftOut(output.name, f"{output.name} has no wire in the layout file")
    return _stop(layout, output.name, OUTPUT, output.wiring, output.kind, output.guarded)


def _inputs(layout: Layout) -> Iterator[Stop]:
    for sort, things in ((DETECTOR, layout.detectors), (BUTTON, layout.buttons)):
        for name, thing in things.items():
            if stop := _stop(layout, name, sort, thing.wiring):
                yield stop


def _stop(
    layout: Layout, name: str, sort: str, wiring: Wiring, kind: Kind | None = None, guarded: bool = False
) -> Stop | None:
    seat = seat_of(layout, wiring)
    if seat is None:
        return None
    return Stop(name, sort, seat.link.name, seat.number, seat.is_pin, wiring.board or "", wiring.port, kind, guarded)


def links_walked(stops: Iterable[Stop]) -> tuple[str, ...]:
    """The links that the stops hang on."""
    return tuple(dict.fromkeys(stop.link for stop in stops))
