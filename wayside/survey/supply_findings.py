"""What a supply, its fuse and its wires cannot carry, as sentences with their sources. Reckons; plays nothing.

One list for `wayside check`, `wayside rehearse` and `wayside survey`.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from engine.layout import Kind, Layout, Place
from engine.supply import Cable, Run, Supply
from scenes.problems import Problem
from wayside.layout.electric_values import amperes, digits, metres, supply_said, volts
from wayside.rehearsal.trace_words import time_of_day
from wayside.survey import cables, fuses, voltage_limits
from wayside.survey.supply_loads import Load, Moment, Part, run_sums
from wayside.wording import count, duration, listed

MOST_NAMED = 5  # outputs of a moment
CAUTION = "what is on the mains side of it is for a qualified person"


def of_stated(layout: Layout, load: Load) -> Iterator[Problem]:
    """What can be said without playing anything: voltage, fuse, wires."""
    supply = load.supply
    yield from _too_high(layout, load)
    yield from _fuse(load)
    for run in supply.runs:
        yield from _run(layout, supply, run)


def too_much_at_once(load: Load) -> Iterator[Problem]:
    """Where a supply gives less than its worst moment, or than all that it powers takes at once."""
    supply, worst = load.supply, load.worst
    if supply.gives_ua is None:
        return
    if worst is not None and worst.ua > supply.gives_ua:
        what = f"`{supply.name}` gives {amperes(supply.gives_ua)}, and {amperes(worst.ua)} is drawn {when(worst)}"
        yield _advice(supply.place, f"{what}: {parts(worst.parts)}", _instead(load))
    elif load.sums.most_ua > supply.gives_ua:
        what = f"`{supply.name}` gives {amperes(supply.gives_ua)}, and all that it powers takes {added_up(load)}"
        yield _advice(supply.place, what, f"As played it never comes to that. {_instead(load)}")


def added_up(load: Load) -> str:
    """`1.21 A with everything on and 4 servos starting together`."""
    moving = load.sums.starting_ua > 0
    drives = " and all that moves starting together, or stalled" if moving else ""
    return f"{amperes(load.sums.most_ua)} with everything on{drives}"


def when(moment: Moment) -> str:
    if moment.hall_s is not None:
        return f"at {time_of_day(moment.hall_s)} hall time of {moment.play}"
    return f"at {duration(round(moment.at_us, -4))} of {moment.play}"


def parts(all_parts: tuple[Part, ...]) -> str:
    """The largest shares of a moment, what does and draws the same taken together."""
    alike: dict[tuple[int, str], list[str]] = {}
    for part in all_parts:
        alike.setdefault((part.ua, part.doing), []).append(part.name)
    said = []
    for (ua, doing), names in list(alike.items())[:MOST_NAMED]:
        verb = {"starts": "start", "moves": "move", "stands": "stand", "pulses": "pulse"}.get(doing, doing)
        each = " each" if len(names) > 1 else ""
        said.append(f"{listed(names, 4)} {verb if len(names) > 1 else doing} ({amperes(ua)}{each})")
    left = sum(len(names) for names in list(alike.values())[MOST_NAMED:])
    return "; ".join([*said, f"and {left} more"] if left else said)


def _instead(load: Load) -> str:
    from_what = f"{amperes(load.worst.ua if load.worst else load.sums.most_ua)}"
    servos = "let servos start one after another, " if load.sums.starting_ua else ""
    return f"Take a supply that gives {from_what} or more, {servos}or divide what it powers; {CAUTION}"


def _advice(place: Place, what: str, instead: str) -> Problem:
    return Problem(place, f"{what}.", f"{instead[:1].upper()}{instead[1:]}.", advice=True)


# --- voltage, fuse, wires ------------------------------------------------------------------------------------------


def _too_high(layout: Layout, load: Load) -> Iterator[Problem]:
    supply = load.supply
    said = supply_said(supply.millivolts, supply.alternating)
    limit = voltage_limits.passed(supply.millivolts, supply.alternating)
    if limit is not None and not limit.refuses:
        what = f"`{supply.name}` has {said}, and {limit.what} ({limit.source})"
        yield _advice(supply.place, what, f"Take a finished, marked supply of 24 V or less; {CAUTION}")
    lamps = [name for name in load.outputs if layout.outputs[name].kind is Kind.LAMP]
    if limit is None and lamps and not supply.alternating and supply.millivolts > voltage_limits.LIGHTS_MV:
        what = f"`{supply.name}` powers lamps with {said}, and scenic lights keep to 15 V dc"
        yield _advice(supply.place, f"{what} ({voltage_limits.USUAL_SOURCE})", "Take a supply of 12 V dc for them")


def _fuse(load: Load) -> Iterator[Problem]:
    supply = load.supply
    if supply.fuse_ua is None:
        return
    carries, lasting = fuses.carries_ua(supply.fuse_ua), load.sums.lasting_ua
    if lasting > carries:
        rating = fuses.for_load(lasting)
        what = f"the fuse of `{supply.name}`, {amperes(supply.fuse_ua)}, carries {amperes(carries)} for good"
        better = f"Take one of {amperes(rating)}" if rating else "Divide what it powers"
        yield _advice(
            supply.place,
            f"{what[:1].upper()}{what[1:]} (75 % of its rating, {fuses.SHARE_SOURCE}), and all that it powers takes "
            f"{amperes(lasting)}",
            f"{better}, where the wires carry that",
        )


def _run(layout: Layout, supply: Supply, run: Run) -> Iterator[Problem]:
    cable = run.cable
    if cable is None:
        return
    carries = cables.may_carry_ua(cable.mm2)
    if supply.fuse_ua is not None and supply.fuse_ua > carries:
        what = f"the wire of {digits(cable.mm2)} mm2 from `{supply.name}` to {listed(list(run.powers), 4)} carries"
        yield _advice(
            run.place,
            f"{what[:1].upper()}{what[1:]} {amperes(carries)} ({cables.carries_source(cable.mm2)}), and its fuse lets "
            f"{amperes(supply.fuse_ua)} through",
            "Give it a fuse below what its thinnest wire carries, or thicker wire",
        )
    ua = run_sums(layout, run).lasting_ua
    lost = cables.drop_mv(cable, ua)
    if lost > cables.MOST_LOST * supply.millivolts:
        better = cables.enough(cable.length_mm, ua, supply.millivolts, supply.fuse_ua or 0)
        instead = f"Take {digits(better)} mm2" if better else "Bring the supply nearer, or divide what it powers"
        yield _advice(
            run.place,
            f"{lost_said(cable, ua, supply.millivolts)}: more than {_most_lost()} ({cables.LOST_SOURCE})",
            instead,
        )


def _most_lost() -> str:
    return f"{digits(cables.MOST_LOST * 100)} %"


def lost_said(cable: Cable, ua: int, millivolts: int) -> str:
    """`5 m of 0.5 mm2 lose 390 mV of 12 V, 3.3 %, there and back at 1 A`."""
    lost = cables.drop_mv(cable, ua)
    share = digits(lost / millivolts * 100 if millivolts else Fraction(0), 2)
    run = f"{metres(cable.length_mm)} of {digits(cable.mm2)} mm2"
    return f"{run} lose {volts(lost)} of {volts(millivolts)}, {share} %, there and back at {amperes(ua)}"


def fed_said(layout: Layout, load: Load) -> str:
    return (
        f"{listed(list(load.supply.powers), 8)}: {count(len(load.outputs), 'output')}"
        if load.supply.powers
        else "nothing"
    )
