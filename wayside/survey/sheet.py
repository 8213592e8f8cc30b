"""The sheet that an exhibition's organiser asks for, as pages: watts, leads, fuses, flashing, moving parts, who stays.

Owns the words. What nothing in the files says is left as a line to be filled in by hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from engine.layout import Itself, Kind, Layout
from engine.program import Flash, Flickers, Program, Shows, Tell, lines_of
from engine.supply import Supply
from wayside.checks.flash_warnings import CAUTION, FastFlashing
from wayside.layout.electric_values import amperes, power_said, power_w, supply_said, watts
from wayside.rehearsal.trace_words import rate
from wayside.survey.sections import Section, Table
from wayside.survey.supply_loads import Load
from wayside.wording import count, listed

BLANK = "." * 50
TICK_DOTS = 30  # of that, behind what is to be ticked
MOST_NAMED = 12
PHOTOSENSITIVE = "No more than three flashes in any second is the limit for the public (WCAG 2.2, 2.3.1)"
TICKS = (
    "All of it is extra-low voltage, behind finished, marked supplies",
    "Mains leads and plugs looked at and tested: by whom, when",
    "Residual-current protection in the hall's or our own supply",
    "One labelled switch takes everything off: where it is",
    "Every bus shorted at its far end, and the breaker tripped: when",
    "Servos have little force, and nothing that moves can pinch a finger",
    "Sound is turned down when anybody asks",
    "Filled in by, on",
)


def pages(
    layout: Layout, program: Program, loads: Iterable[Load], fast: Iterable[FastFlashing] | None
) -> list[Section]:
    """The whole sheet, without the title. `fast` is None where nothing was played."""
    found = list(loads)
    return [
        _power(layout, found),
        Section("Flashing light", tuple(_flashing(layout, program, None if fast is None else list(fast)))),
        Section("What moves, and what sounds", tuple(_moving(layout))),
        Section("Who stays with it", (_stays(layout),)),
        Section(
            "To be ticked and signed on the day",
            (),
            Table(("", ""), tuple((tick, BLANK[:TICK_DOTS]) for tick in TICKS)),
        ),
    ]


# --- power ---------------------------------------------------------------------------------------------------------


def _power(layout: Layout, loads: list[Load]) -> Section:
    exhibition = layout.exhibition
    leads = exhibition.mains_leads if exhibition else None
    if leads is None:
        said = f"Mains leads: one for each supply, {len(loads)}; or {BLANK}" if loads else f"Mains leads: {BLANK}"
    else:
        said = f"{count(leads, 'mains lead')} to the hall."
    if not loads:
        return Section(
            "Power", (said, "The layout file states no supply, so watts and fuses are to be filled in:", BLANK)
        )
    rows = tuple(_supply(load) for load in loads)
    gives = [power_w(load.supply.millivolts, load.supply.gives_ua) for load in loads if load.supply.gives_ua]
    whole = sum(gives, Fraction(0))
    unsaid = [load.supply.name for load in loads if not load.supply.gives_ua]
    lines = [said]
    if gives:
        without = f", without {listed(unsaid)}, of which it is not stated" if unsaid else ""
        lines.append(f"{watts(whole)} is the most that all supplies can give together{without}.")
    below = (
        "Watts are of what comes out of the supplies. What they take from the mains stands on their plates, and is "
        f"more: {BLANK}",
    )
    headings = ("supply", "voltage", "gives", "most as played", "everything at once", "fuse")
    return Section("Power", tuple(lines), Table(headings, rows), below)


def _supply(load: Load) -> tuple[str, ...]:
    one = load.supply
    return (
        one.name,
        supply_said(one.millivolts, one.alternating),
        _both(one, one.gives_ua),
        _both(one, load.worst.ua if load.worst else None),
        _both(one, load.sums.most_ua),
        amperes(one.fuse_ua) if one.fuse_ua else "not stated",
    )


def _both(one: Supply, ua: int | None) -> str:
    return "not stated" if ua is None else f"{amperes(ua)}, {power_said(one.millivolts, one.alternating, ua)}"


# --- light, motion, people -----------------------------------------------------------------------------------------


def _flashing(layout: Layout, program: Program, fast: list[FastFlashing] | None) -> Iterator[str]:
    found = flashing(layout, program)
    for what, names in found.items():
        yield f"{listed(names, MOST_NAMED)}: {what}."
    if not found:
        yield "Nothing flashes or flickers."
        return
    for one in fast or ():
        yield f"{listed(list(one.lamps), MOST_NAMED)}: {one.flashes} flashes within one second as played. {CAUTION}."
    accepted = {scene.name: scene.accepts_flashing for scene in program.scenes.values() if scene.accepts_flashing}
    for name, why in accepted.items():
        yield f"The scene {name} flashes faster, and that is accepted, because: {why}"
    if fast is None:
        yield f"{PHOTOSENSITIVE}. Nothing was played to see whether it is kept."
    elif not fast and not accepted:
        yield f"{PHOTOSENSITIVE}; nothing that was played came to more, or it fills too little of the view."


def flashing(layout: Layout, program: Program) -> dict[str, list[str]]:
    """What flashes in any scene, in any safe state or by its board, with the lamps that do."""
    lamps: dict[str, dict[str, None]] = {}
    for output in layout.outputs.values():
        if output.safe and output.safe.blink:
            lamps.setdefault(f"{rate(output.safe.blink)} each", {})[output.name] = None
        if output.itself is Itself.FLASHES and output.itself_us:
            lamps.setdefault(f"{60_000_000 / output.itself_us:.3g} a minute each, by its board", {})[output.name] = None
        if output.itself is Itself.FLICKERS:
            lamps.setdefault("flickers by its board", {})[output.name] = None
    for scene in program.scenes.values():
        for line in lines_of((*scene.block, *(scene.when_stopped or ()))):
            for name, order in line.orders if isinstance(line, Tell) else ():
                if layout.outputs[name].kind is not Kind.LAMP:
                    continue
                if isinstance(order, Flash):
                    lamps.setdefault(f"{rate(order.blink)} each", {})[name] = None
                elif isinstance(order, Shows):
                    lamps.setdefault(f"a harbour light's character, {order.text}", {})[name] = None
                elif isinstance(order, Flickers):
                    lamps.setdefault(f"flickers like {order.manner.name}", {})[name] = None
    return {what: list(names) for what, names in lamps.items()}


def _moving(layout: Layout) -> Iterator[str]:
    servos = [one.name for one in layout.outputs.values() if one.kind is Kind.SERVO]
    motors = [one.name for one in layout.outputs.values() if one.kind is Kind.MOTOR]
    if servos:
        yield f"{count(len(servos), 'servo')}: {listed(servos, 40)}."
    if motors:
        yield f"{count(len(motors), 'motor')}: {listed(motors, 40)}."
    for track in layout.tracks.values():
        yield f"Trains on {track.name}, up to {track.fastest_mm_s} mm/s."
    if not servos and not motors and not layout.tracks:
        yield "Nothing moves."
    sounds = [one.name for one in layout.outputs.values() if one.kind is Kind.SOUND]
    if sounds:
        yield f"Sounds: {listed(sounds, 40)}."


def _stays(layout: Layout) -> str:
    who = layout.exhibition.stays_with_it if layout.exhibition else ""
    return f"{who[:1].upper()}{who[1:]}. Name and telephone: {BLANK}" if who else BLANK
