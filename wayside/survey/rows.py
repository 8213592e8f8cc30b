"""What is wired where, as rows: each link and board port by port, what is free, doubled, unused or missing, and costs.

Pure: a layout and its program in, records out. How it looks is decided elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import NamedTuple

from adapters.packets import BadNumber, numbers
from adapters.seats import seat_of
from engine.layout import Board, Button, Detector, Itself, Kind, Layout, Link, Output, Place, Setting
from engine.program import Program
from scenes.problems import Problem
from wayside.rehearsal import trace_words
from wayside.survey.supply_loads import outputs_fed, taken_by

_NOBODY = re.compile(r"There is no(?:thing)? .* called `([^`]+)`")
_OF_PEOPLE = (Kind.COLOUR, Kind.DAYLIGHT)  # outputs that nobody wires


class Row(NamedTuple):
    """One connection, or a free port, with an empty name. Numbers of boards and ports stand as `10,3`."""

    port: int | None
    number: int | None  # the accessory address or pin
    from_one: str = ""
    from_nought: str = ""
    name: str = ""
    kind: str = ""
    ends: str = ""
    rest: str = ""
    safe: str = ""
    supply: str = ""
    ua: int | None = None  # None: not stated, and not usual either
    usual: bool = False  # whether the current is that of a usual servo
    start_ua: int | None = None  # where it draws more as it starts

    is_input: bool = False  # a detector or button

    @property
    def free(self) -> bool:
        return not self.name


class Box(NamedTuple):
    """A board with all its ports, or, without one, what hangs on the link itself."""

    link: Link
    board: Board | None
    rows: tuple[Row, ...]

    @property
    def used(self) -> int:
        return len({row.port for row in self.rows if not row.free and row.port is not None})

    @property
    def free(self) -> tuple[int, ...]:
        return tuple(row.port for row in self.rows if row.free and row.port is not None)


class Cost(NamedTuple):
    """What a board, or all on a link itself, comes to in one currency, and how many connections share it."""

    what: str
    currency: str
    amount: Fraction
    connections: int


class Survey(NamedTuple):
    """A layout taken stock of."""

    boxes: tuple[Box, ...]
    unwired: tuple[Row, ...]  # in the file, and wired to nothing
    by_parts: tuple[tuple[str, tuple[str, ...]], ...]  # signals that are shown by their parts
    doubled: tuple[tuple[str, tuple[str, ...]], ...]  # where, and who is there
    unused: tuple[str, ...]  # outputs that no scene uses
    missing: tuple[tuple[str, Place], ...]  # names that scenes use and nothing has
    costs: tuple[Cost, ...]
    mixed: tuple[str, ...]  # boards of pins with servos and dimmed lamps
    whole: bool = True  # whether the files could be read without an error


def survey(layout: Layout, program: Program | None, problems: Iterable[Problem]) -> Survey:
    """Take stock. Without a program (its files have errors) nothing is said about what scenes use."""
    fed = {name: supply.name for supply in layout.supplies.values() for name in outputs_fed(layout, supply.powers)}
    boxes = tuple(_boxes(layout, fed))
    return Survey(
        boxes,
        tuple(_unwired(layout, fed)),
        tuple(_by_parts(layout)),
        tuple(_doubled(layout)),
        tuple(_unused(layout, program)) if program is not None else (),
        tuple(_missing(problems)),
        tuple(_costs(layout, boxes)),
        tuple(_mixed(layout)),
        program is not None,
    )


# --- rows ----------------------------------------------------------------------------------------------------------

_Wired = Output | Detector | Button


def _all_wired(layout: Layout) -> Iterator[_Wired]:
    yield from (one for one in layout.outputs.values() if one.kind not in _OF_PEOPLE)
    yield from layout.detectors.values()
    yield from layout.buttons.values()


def _boxes(layout: Layout, fed: dict[str, str]) -> Iterator[Box]:
    everything = list(_all_wired(layout))
    for link in layout.links.values():
        for board in (one for one in layout.boards.values() if one.link == link.name):
            on_it = [one for one in everything if one.wiring.board == board.name]
            yield Box(link, board, tuple(_ports(layout, link, board, on_it, fed)))
        own = [one for one in everything if one.wiring.board is None and one.wiring.link == link.name]
        rows = sorted((_row(layout, one, fed) for one in own), key=lambda row: (row.from_one == "", row.number or 0))
        if rows:
            yield Box(link, None, tuple(rows))


def _ports(layout: Layout, link: Link, board: Board, on_it: list[_Wired], fed: dict[str, str]) -> Iterator[Row]:
    for port in range(board.ports):
        here = [one for one in on_it if one.wiring.port == port]
        number = board.first_address + port
        yield from (_row(layout, one, fed) for one in here)
        if not here:
            yield Row(port, number, *(("", "") if board.pins else _seats(number)))
    yield from (_row(layout, one, fed) for one in on_it if one.wiring.port is None or one.wiring.port >= board.ports)


def _row(layout: Layout, one: _Wired, fed: dict[str, str]) -> Row:
    seat = seat_of(layout, one.wiring)
    accessory = seat is not None and not seat.is_pin
    number = seat.number if seat else None
    both = _seats(number) if accessory and number is not None and isinstance(one, Output) else ("", "")
    where = Row(one.wiring.port if one.wiring.board else None, number, *both, name=one.name)
    if isinstance(one, Detector):
        return where._replace(kind=f"{one.kind.value} detector", is_input=True)
    if isinstance(one, Button):
        return where._replace(kind="all-stop button" if one.stops else "button", is_input=True)
    own = taken_by(layout, one.name)
    servo, known = one.kind is Kind.SERVO, own.stated or one.kind is Kind.SERVO
    return where._replace(
        kind=one.kind.value,
        ends=ends(one),
        rest=_state(one, one.rest),
        safe=_state(one, one.safe) if one.safe else "",
        supply=fed.get(one.name, ""),
        ua=own.full_ua if known else None,
        usual=servo and not own.stated,
        start_ua=own.start_ua if own.start_ua > own.full_ua else None,
    )


def _seats(number: int) -> tuple[str, str]:
    """Board and port of an accessory, with boards counted from 1 and from 0."""
    return _seat(number, True), _seat(number, False)


def _seat(number: int, from_one: bool) -> str:
    try:
        found = numbers(number, from_one)
    except BadNumber:
        return ""
    return f"{found.board},{found.port}"


def ends(output: Output) -> str:
    """Between what an output goes: named positions, aspects, levels."""
    if output.kind is Kind.SERVO:
        named = [f"{one.name} {one.degrees:g} deg" for one in output.positions]
        within = f"limits {output.limits[0]:g} to {output.limits[1]:g} deg" if output.limits else "no limits stated"
        return f"{', '.join(named)}; {within}"
    if output.kind is Kind.SIGNAL:
        return ", ".join(_aspect(output, index) for index in range(len(output.aspects)))
    if output.kind is Kind.PULSE:
        return f"pulse {trace_words.length(output.pulse_us)}" if output.pulse_us else f"from {output.feed}"
    if output.kind is Kind.LAMP and output.itself is Itself.FLICKERS:
        return "off, flickers"
    levels = f", {output.steps} levels" if output.dimmable else ""
    return f"off, on{levels}"


def _aspect(output: Output, index: int) -> str:
    aspect = output.aspects[index]
    return aspect.name if aspect.number is None else f"{aspect.name} = {aspect.number}"


def _state(output: Output, setting: Setting) -> str:
    if setting.blink is None:
        return trace_words.value(output, setting.value)
    turn = (
        f", {setting.blink.slot + 1} of {setting.blink.slots}" if setting.blink.slots != 2 or setting.blink.slot else ""
    )
    return f"flashing at {trace_words.rate(setting.blink)}{turn or ', 1 of 2'}"


def _unwired(layout: Layout, fed: dict[str, str]) -> Iterator[Row]:
    shown = {name for name, _ in _by_parts(layout)}
    for one in _all_wired(layout):
        if seat_of(layout, one.wiring) is None and one.name not in shown:
            yield _row(layout, one, fed)


def _by_parts(layout: Layout) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Signals without a wire, which need none: their parts have theirs."""
    for output in layout.outputs.values():
        parts = tuple(dict.fromkeys(part for aspect in output.aspects for part, _ in aspect.parts))
        if output.kind is Kind.SIGNAL and parts and seat_of(layout, output.wiring) is None:
            yield output.name, parts


# --- what is odd ---------------------------------------------------------------------------------------------------


def _doubled(layout: Layout) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Ports, pins and addresses with several things on them; addresses of outputs and inputs are counted apart."""
    seats: dict[tuple[str, str, int], list[str]] = {}
    for one in _all_wired(layout):
        seat = seat_of(layout, one.wiring)
        if seat is None:
            continue
        board = layout.boards.get(one.wiring.board or "")
        input_address = not seat.is_pin and not isinstance(one, Output) and board is None
        word = "pin" if seat.is_pin else "input address" if input_address else "address"
        seats.setdefault((seat.link.name, word, seat.number), []).append(one.name)
    for (link, word, number), names in seats.items():
        if len(names) > 1:
            yield f"{word} {number} of {link}", tuple(names)


def _unused(layout: Layout, program: Program) -> Iterator[str]:
    """Outputs that no scene writes, that show no signal, no readiness and no daylight."""
    used = {name for scene in program.scenes.values() for name in scene.writes}
    used |= {button.ready_lamp for button in layout.buttons.values() if button.ready_lamp}
    used |= {
        part
        for name in used & set(layout.outputs)
        for aspect in layout.outputs[name].aspects
        for part, _ in aspect.parts
    }
    for output in layout.outputs.values():
        if output.name not in used and output.kind not in _OF_PEOPLE and output.follows_lux is None:
            yield output.name


def _missing(problems: Iterable[Problem]) -> Iterator[tuple[str, Place]]:
    """Names that scenes use and nothing has, each at the first of its places."""
    seen: set[str] = set()
    for problem in problems:
        found = None if problem.advice else _NOBODY.match(problem.what)
        if found and found[1] not in seen:
            seen.add(found[1])
            yield found[1], problem.place


def _mixed(layout: Layout) -> Iterator[str]:
    """A 16-channel driver has one rate for all its channels (PCA9685 data sheet 7.3.5)."""
    for board in layout.boards.values():
        on_it = [one for one in layout.outputs.values() if one.wiring.board == board.name and board.pins]
        servos = any(one.kind is Kind.SERVO for one in on_it)
        if servos and any(one.kind is Kind.LAMP and one.dimmable for one in on_it):
            yield board.name


# --- costs ---------------------------------------------------------------------------------------------------------


def _costs(layout: Layout, boxes: Iterable[Box]) -> Iterator[Cost]:
    """Each board with what is on it, what hangs on a link itself, and supplies; one line for each currency."""
    groups: list[tuple[str, list[tuple[str, str]], int]] = [
        (box.board.name if box.board else f"{box.link.name} itself", _keys(layout, box), _connections(box))
        for box in boxes
    ]
    groups.append(("supplies", [("supplies", name) for name in layout.supplies], 0))
    for what, keys, connections in groups:
        totals: dict[str, Fraction] = {}
        for key in keys:
            price = layout.prices.get(key)
            if price is not None:
                totals[price.currency] = totals.get(price.currency, Fraction(0)) + price.amount
        yield from (Cost(what, currency, amount, connections) for currency, amount in totals.items())


def _connections(box: Box) -> int:
    return len([row for row in box.rows if not row.free])


def _keys(layout: Layout, box: Box) -> list[tuple[str, str]]:
    names = {row.name for row in box.rows if not row.free}
    sections = (
        ("outputs", list(layout.outputs)),
        ("detectors", list(layout.detectors)),
        ("buttons", list(layout.buttons)),
    )
    keys = [(section, name) for section, known in sections for name in known if name in names]
    return [("boards", box.board.name), *keys] if box.board else keys
