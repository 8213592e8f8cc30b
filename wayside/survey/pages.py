"""A survey as pages: sections of lines and tables, the same for the screen, for Markdown and for paper.

Owns the words. Knows no columns of a screen and no ink.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from engine.layout import Layout, Link
from wayside.layout.electric_values import amperes, money
from wayside.survey.rows import Box, Row, Survey
from wayside.survey.sections import Section, Table
from wayside.survey.supplies import led_resistors, supplies
from wayside.survey.supply_currents import SERVO_SOURCE
from wayside.survey.supply_loads import Load
from wayside.wording import count, listed

CAUTIONS = (
    "Extra-low voltage only. Mains, and anything that is not sold as a finished, marked supply, is for a qualified "
    "person; local codes come first.",
    "Fuse each supply below what its thinnest wire can carry. The track bus can deliver several amperes into a short: "
    "try a short at the far end of every bus, and see its breaker trip.",
    "Figures from memory, and figures of usual parts, are for a first idea. What stands on the part and in its "
    "maker's papers comes first; measure before you trust.",
    "Somebody stays with a layout in public, and nothing that heats runs unwatched.",
)
USUAL_MARK = "*"
FREE = "(free)"
COSTS = "What it cost, by the prices in the layout file"
USUAL_NOTE = f"{USUAL_MARK} not stated: that of a small servo ({SERVO_SOURCE})."
NUMBERS_NOTE = (
    "Board and port as decoders count them: with boards from 1, and from 0. Which of the two a station means differs; "
    "they lie four addresses apart."
)
# One rate a chip (PCA9685 data sheet 7.3.5); prescale = round(25 MHz / (4096 * rate)) - 1.
CLOCK_HZ, COUNTS = 25_000_000, 4_096
SERVO_HZ, LAMP_HZ = 50, 200


def prescale(rate_hz: int) -> int:
    """What a PCA9685 is given for a rate (data sheet 7.3.5), halves up."""
    return (2 * CLOCK_HZ + COUNTS * rate_hz) // (2 * COUNTS * rate_hz) - 1


def pages(layout: Layout, survey: Survey, loads: Iterable[Load], played: Sequence[str]) -> list[Section]:
    """The whole survey, without the title. `played`: the names of what the worst moments were looked for in."""
    found = list(loads)
    return [
        *wiring(survey),
        *odd(survey),
        Section("With care", CAUTIONS),
        *supplies(layout, found, played),
        *led_resistors(layout, found),
        *costs(survey),
    ]


# --- wiring --------------------------------------------------------------------------------------------------------


def wiring(survey: Survey) -> Iterator[Section]:
    told: set[str] = set()
    for box in survey.boxes:
        lines = [_about(box), *_all_fed_alike(box.rows)]
        if box.link.name not in told:
            lines.insert(0, link_said(box.link))
            told.add(box.link.name)
        usual = (USUAL_NOTE,) if any(row.usual for row in box.rows) else ()
        both = (NUMBERS_NOTE,) if any(row.from_one for row in box.rows) else ()
        told_now = [row for row in box.rows if not row.is_input or box.board is not None]
        yield Section(box_title(box), tuple(lines), rows_table(told_now), (*both, *usual))
        if hears := [row for row in box.rows if row.is_input and box.board is None]:
            yield Section(f"{box.link.name} itself: what it hears", (), rows_table(hears))
    if survey.by_parts:
        lines = [f"{name}: {listed(list(parts))}" for name, parts in survey.by_parts]
        yield Section("Signals that are shown by their parts", tuple(lines))
    if survey.unwired:
        title = "Wired to nothing that Wayside can reach"
        yield Section(title, (), rows_table(survey.unwired))


def box_title(box: Box) -> str:
    return f"{box.board.name}, on {box.link.name}" if box.board else f"{box.link.name} itself"


def _about(box: Box) -> str:
    board = box.board
    if board is None:
        return "Wired to the station itself, or to a decoder that the layout file does not list as a board."
    last = board.first_address + board.ports - 1
    word = "Pins" if board.pins else "Addresses"
    free = f"free: {_ranges(box.free)}" if box.free else "none is free"
    return f"{word} {board.first_address} to {last}; {box.used} of {board.ports} ports used, {free}."


def _ranges(numbers: Sequence[int]) -> str:
    """`3, 6 to 15`, of numbers in order."""
    spans: list[tuple[int, int]] = []
    for number in numbers:
        follows = bool(spans) and spans[-1][1] == number - 1
        spans[-1:] = [(spans[-1][0], number)] if follows else [*spans[-1:], (number, number)]
    return ", ".join(f"{first} to {last}" if last > first else str(first) for first, last in spans)


def _all_fed_alike(rows: Sequence[Row]) -> list[str]:
    """One supply for all needs no column."""
    named = {row.supply for row in rows if row.ua is not None or row.supply}
    return [f"Everything on it is powered by {next(iter(named))}."] if len(named) == 1 and named != {""} else []


def link_said(link: Link) -> str:
    port = f"at {link.port}" if link.port else "no port stated"
    return f"{link.name}: serial text, {link.dialect}, {port}; it counts boards from {1 if link.from_one else 0}."


def rows_table(rows: Iterable[Row]) -> Table:
    """Port by port. Columns in which nothing stands are left out, and the supply where one feeds all."""
    found = list(rows)
    number = "pin" if all(not row.from_one for row in found) else "address"
    headings = ("port", number, "from 1", "from 0", "name", "kind", "between", "rest", "safe", "draws", "supply")
    alike = bool(_all_fed_alike(found))
    return _without_empty(Table(headings, tuple(_cells(row, alike) for row in found), frozenset({0, 1})))


def _cells(row: Row, alike: bool) -> tuple[str, ...]:
    states = (row.kind, row.ends, row.rest, row.safe)
    return (*_place(row), row.name or FREE, *states, _draws(row), "" if alike else row.supply)


def _place(row: Row) -> tuple[str, str, str, str]:
    port = "" if row.port is None else str(row.port)
    return port, "" if row.number is None else str(row.number), row.from_one, row.from_nought


def _draws(row: Row) -> str:
    if row.ua is None:
        return ""
    mark = USUAL_MARK if row.usual else ""
    start = f", {amperes(row.start_ua)}{mark} starting" if row.start_ua else ""
    return f"{amperes(row.ua)}{mark}{start}"


def _without_empty(table: Table) -> Table:
    kept = [number for number, _ in enumerate(table.headings) if any(row[number] for row in table.rows)]
    right = frozenset(new for new, old in enumerate(kept) if old in table.right)
    rows = tuple(tuple(row[number] for number in kept) for row in table.rows)
    return Table(tuple(table.headings[number] for number in kept), rows, right)


def odd(survey: Survey) -> Iterator[Section]:
    """What a person had better look at; nothing where all is well but for a sentence that says so."""
    lines = [f"{where}: {listed(list(names))} are all there." for where, names in survey.doubled]
    lines += [f"No output, detector or button has the name {name}, used at {place}." for name, place in survey.missing]
    if survey.unused:
        lines.append(f"No scene uses {listed(list(survey.unused), 40)}.")
    for board in survey.mixed:
        lines.append(
            f"{board} has servos and dimmed lamps. A 16-channel driver has one rate for all its channels (PCA9685 data "
            f"sheet 7.3.5): servos want {SERVO_HZ} Hz (prescale {prescale(SERVO_HZ)}), at which lamps are seen to "
            f"flicker; lamps want {LAMP_HZ} Hz (prescale {prescale(LAMP_HZ)}) or more. Give them boards of their own."
        )
    if not survey.whole:
        lines.append("The files have errors: more cannot be said before they are put right.")
    elif not (survey.boxes or survey.unwired or survey.by_parts):
        lines.append("The layout file names no output, no detector and no button yet, so nothing is wired.")
    yield Section("To look at", tuple(lines or ["Nothing is doubled, nothing is unused, and no name is missing."]))


# --- costs -----------------------------------------------------------------------------------------------------------


def costs(survey: Survey) -> Iterator[Section]:
    if not survey.costs:
        return
    rows = [
        (
            one.what,
            money(one.amount, one.currency),
            str(one.connections or ""),
            _each(one.amount, one.connections, one.currency),
        )
        for one in survey.costs
    ]
    totals: dict[str, Fraction] = {}
    for one in survey.costs:
        totals[one.currency] = totals.get(one.currency, Fraction(0)) + one.amount
    connections = sum(len([row for row in box.rows if not row.free]) for box in survey.boxes)
    for currency, amount in totals.items():
        rows.append(("all", money(amount, currency), str(connections), _each(amount, connections, currency)))
    table = Table(("", "price", "connections", "each"), tuple(rows), frozenset({1, 2, 3}))
    yield Section(
        COSTS, (), table, (f"{count(connections, 'connection')} in all; what has no price counts as nothing.",)
    )


def _each(amount: Fraction, connections: int, currency: str) -> str:
    return money(amount / connections, currency) if connections else ""
