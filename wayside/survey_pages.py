"""A survey as pages: sections of lines and tables, the same for the screen, for Markdown and for paper.

Owns the words. Knows no columns of a screen and no ink.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from engine.layout import Layout, Link
from wayside import cables, fuses, resistors, supply_findings, voltage_limits
from wayside.electric_values import amperes, digits, money, power_w, supply_said, volts, watts
from wayside.supply_currents import SERVO_SOURCE
from wayside.supply_loads import Load, run_sums
from wayside.survey_rows import Box, Row, Survey
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
USUAL_NOTE = f"{USUAL_MARK} not stated: that of a small servo ({SERVO_SOURCE})."
NUMBERS_NOTE = (
    "Board and port as decoders count them: with boards from 1, and from 0. Which of the two a station means differs; "
    "they lie four addresses apart."
)
# One rate a chip (PCA9685 data sheet 7.3.5); prescale = round(25 MHz / (4096 * rate)) - 1.
CLOCK_HZ, COUNTS = 25_000_000, 4_096
SERVO_HZ, LAMP_HZ = 50, 200


_SAMPLE = "lamp-supply: {voltage: 12 V dc, gives: 2 A, fuse: 1 A, powers: [NAME], wire: 3 m of 0.5 mm2}"


class Table(NamedTuple):
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()  # columns of figures


class Section(NamedTuple):
    """A heading, sentences, a table, and what stands below it."""

    title: str
    lines: tuple[str, ...] = ()
    table: Table | None = None
    below: tuple[str, ...] = ()


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
    free = f"free: {', '.join(map(str, box.free))}" if box.free else "none is free"
    return f"{word} {board.first_address} to {last}; {box.used} of {board.ports} ports used, {free}."


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
    yield Section("To look at", tuple(lines or ["Nothing is doubled, nothing is unused, and no name is missing."]))


# --- supplies ------------------------------------------------------------------------------------------------------


def supplies(layout: Layout, loads: Sequence[Load], played: Sequence[str]) -> Iterator[Section]:
    """Each supply, after what was played for them; without any how one is stated."""
    if not loads:
        lines = "The layout file states no supply. Write for example, under `supplies:`", _SAMPLE
        yield Section("Supplies", lines)
        return
    of = f"Worst moments are those of {listed(list(played), 40)}." if played else "Nothing was played."
    lamps = (
        "A lamp counts in full whenever it is lit, and a servo draws nearly its stall current for 0.1 s as it starts"
    )
    yield Section("Supplies", (of, f"{lamps} (common practice, no source)."))
    for load in loads:
        yield supply(layout, load)


def supply(layout: Layout, load: Load) -> Section:
    """One supply: what it feeds, what that takes, whether supply, fuse and wires carry it."""
    one = load.supply
    gives = f"gives {amperes(one.gives_ua)}" if one.gives_ua else "what it gives is not stated"
    fuse = f"fuse {amperes(one.fuse_ua)}" if one.fuse_ua else "no fuse stated"
    title = f"{one.name}: {supply_said(one.millivolts, one.alternating)}, {gives}, {fuse}"
    rows = [
        ("powers", supply_findings.fed_said(layout, load)),
        *_sums(load),
        *_moments(load),
        *_fuse(load),
        *_wires(layout, load),
    ]
    found = [*supply_findings.of_stated(layout, load), *supply_findings.too_much_at_once(load)]
    below = [f"Look here: {problem.what} {problem.instead}" for problem in found]
    return Section(title, (), Table(("", ""), tuple(rows)), tuple(below or _carries(load)) + tuple(_unsure(load)))


def _carries(load: Load) -> list[str]:
    if load.supply.gives_ua is None or not load.outputs:
        return []
    return ["It carries all that, even at once."]


def _sums(load: Load) -> Iterator[tuple[str, str]]:
    sums, lit = load.sums, load.sums.boards_ua + load.sums.lit_ua
    if lit:
        boards = f", the boards' own {amperes(sums.boards_ua)} in it" if sums.boards_ua else ""
        yield "all on", f"{amperes(lit)} with everything lit together{boards}"
    if sums.starting_ua:
        moving = f"{amperes(sums.moving_ua)} with all servos and motors moving"
        yield "all moving", f"{moving}; {amperes(sums.starting_ua)} with all of them starting together, or stalled"
    if lit and sums.starting_ua:
        yield "added up", f"{amperes(sums.lasting_ua)} that lasts; {amperes(sums.most_ua)} at the most"


def _moments(load: Load) -> Iterator[tuple[str, str]]:
    worst, lasting = load.worst, load.lasting
    if worst is None or lasting is None:
        yield "as played", "nothing was played"
        return
    if not worst.ua:
        yield "as played", "nothing that it powers was on"
        return
    power = watts(power_w(load.supply.millivolts, worst.ua))
    yield (
        "worst moment",
        f"{amperes(worst.ua)} ({power}) {supply_findings.when(worst)}: {supply_findings.parts(worst.parts)}",
    )
    if lasting.ua != worst.ua:
        yield (
            "and lasting",
            f"{amperes(lasting.ua)} {supply_findings.when(lasting)}: {supply_findings.parts(lasting.parts)}",
        )


def _fuse(load: Load) -> Iterator[tuple[str, str]]:
    lasting, most = load.sums.lasting_ua, load.sums.most_ua
    if not lasting:
        return
    rating = fuses.for_load(lasting)
    if rating is None:
        yield "a fuse for it", f"no rating ({fuses.RATINGS_SOURCE}) carries {amperes(lasting)}: divide what it powers"
        return
    why = f"the least that is loaded to no more than 75 % by {amperes(lasting)} ({fuses.SHARE_SOURCE})"
    slow = f"; time-lag, since {amperes(most)} flow for a moment as servos start" if most > rating else ""
    sections = [run.cable.mm2 for run in load.supply.runs if run.cable]
    thinnest = f"; at most {_at_most(min(sections))}" if sections else ""
    yield "a fuse for it", f"{amperes(rating)}, {why}{slow}{thinnest}"
    gives = load.supply.gives_ua
    if gives is not None and (load.supply.fuse_ua or rating) >= gives:
        yield "", "a fuse of no less than the supply gives may never blow: see whether the supply protects itself"


def _at_most(mm2: Fraction) -> str:
    return f"{amperes(cables.may_carry_ua(mm2))}, by its thinnest wire ({cables.carries_source(mm2)})"


def _wires(layout: Layout, load: Load) -> Iterator[tuple[str, str]]:
    one = load.supply
    for run in one.runs:
        ua = run_sums(layout, run).lasting_ua
        names = listed(list(run.powers), 4)
        if run.cable is None:
            yield "a wire", f"to {names}: not stated, so what it loses is not known"
            continue
        lost = supply_findings.lost_said(run.cable, ua, one.millivolts)
        yield "a wire", f"to {names}: {lost} ({cables.resistance_source(run.cable.mm2)})"


def _unsure(load: Load) -> Iterator[str]:
    if load.silent:
        yield f"Counted as nothing, since no `current` is stated: {listed(list(load.silent), 40)}."
    if load.usual:
        yield f"Counted as small servos ({SERVO_SOURCE}; standing 10 mA, from memory): {listed(list(load.usual), 40)}."
    one = load.supply
    if not voltage_limits.is_usual(one.millivolts, one.alternating):
        yield f"On model railways {voltage_limits.USUAL[one.alternating]} ({voltage_limits.USUAL_SOURCE})."


# --- resistors, costs ----------------------------------------------------------------------------------------------


def led_resistors(layout: Layout, loads: Iterable[Load]) -> Iterator[Section]:
    """For each LED whose forward voltage and current are stated and whose supply is known; alike ones together."""
    alike: dict[tuple[int, bool, int, int, int], list[str]] = {}
    for load in loads:
        for name in load.outputs:
            draw = layout.draws.get(("outputs", name))
            if draw is not None and draw.forward_mv is not None and draw.full_ua:
                one = load.supply
                key = (one.millivolts, one.alternating, draw.forward_mv, draw.in_series, draw.full_ua)
                alike.setdefault(key, []).append(name)
    rows = tuple(_resistor_row(key, names) for key, names in alike.items())
    if rows:
        headings = ("for", "from", "LEDs", "current", "reckoned", "E12", "E24")
        below = ("Each with the next higher value of IEC 60063, what then flows, and the power to buy it for.",)
        yield Section("Resistors of LEDs, one for each chain", (), Table(headings, rows), below)


def _resistor_row(key: tuple[int, bool, int, int, int], names: list[str]) -> tuple[str, ...]:
    millivolts, alternating, forward, in_series, ua = key
    chain = f"{in_series} x {volts(forward)}" if in_series > 1 else volts(forward)
    head = (listed(names, 8), supply_said(millivolts, alternating), chain, amperes(ua))
    if alternating:
        return (*head, "on alternating current an LED needs a rectifier: reckon with what comes out of it", "", "")
    try:
        exact = resistors.exact_ohms(millivolts, forward, in_series, ua)
        chosen = resistors.choose(millivolts, forward, in_series, ua)
    except resistors.NoResistor as no:
        return (*head, no.what, "", "")
    return (*head, f"{digits(exact, 4)} ohm", *(chosen_said(one) for one in chosen))


def chosen_said(one: resistors.Chosen) -> str:
    """`1k, 8.8 mA, 77.4 mW, 1/4 W`."""
    ua, power = one.amperes * 1_000_000, watts(one.watts)
    return f"{resistors.code(one.ohms)}, {amperes(ua)}, {power}; {sold_said(one)}"


def sold_said(one: resistors.Chosen) -> str:
    if one.sold_mw is None:
        return "too warm for one resistor"
    return f"{Fraction(one.sold_mw, 1_000)} W"


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
    title = "What it cost, by the prices in the layout file"
    table = Table(("", "price", "connections", "each"), tuple(rows), frozenset({1, 2, 3}))
    yield Section(
        title, (), table, (f"{count(connections, 'connection')} in all; what has no price counts as nothing.",)
    )


def _each(amount: Fraction, connections: int, currency: str) -> str:
    return money(amount / connections, currency) if connections else ""
