"""The supplies of a survey: what each powers, what that takes, its fuse and wires; and the resistors of LEDs.

Owns the words. Knows no columns of a screen and no ink.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from engine.layout import Layout
from wayside.layout.electric_values import amperes, digits, power_said, supply_said, volts, watts
from wayside.survey import cables, fuses, resistors, supply_findings, voltage_limits
from wayside.survey.sections import Section, Table
from wayside.survey.supply_currents import SERVO_SOURCE
from wayside.survey.supply_loads import Load, run_sums
from wayside.wording import listed

_SAMPLE = "lamp-supply: {voltage: 12 V dc, gives: 2 A, fuse: 1 A, powers: [NAME], wire: 3 m of 0.5 mm2}"


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
    return [f"It carries {'what is stated of it' if load.silent else 'all that'}, even at once."]


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
    power = power_said(load.supply.millivolts, load.supply.alternating, worst.ua)
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


# --- resistors ----------------------------------------------------------------------------------------------


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
