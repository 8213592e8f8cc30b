"""From outputs to words: how each is reached over its link, what it can do there, what it is told, and by whom else.

Knows no port and no time. A servo's angle is a pulse of 544 to 2400 us over 0 to 180 degrees, as a common library has
it: 10.31 us a degree. What comes in is in `adapters.hearing`, and can be had here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from adapters.dialects import BadWords, Dialect, NoWords, OutputIs, dialect_of, say
from adapters.hearing import InputWire as InputWire
from adapters.hearing import inputs as inputs
from adapters.hearing import meaning as meaning
from adapters.hearing import meanings as meanings
from adapters.hearing import meant as meant
from adapters.hearing import unheard as unheard
from adapters.packets import ASPECTS, BadNumber, numbers
from adapters.seats import MOST_PIN, Seat, seat_of
from adapters.seats import Unserved as Unserved
from engine.codes import DEGREE
from engine.layout import Itself, Kind, Layout, Link, Output

LEAST_PULSE_US = 544  # at 0 degrees
MOST_PULSE_US = 2400  # at 180 degrees
WIDEST_DEG = 180
FRAME_US = 20_000  # from one pulse to the next
COUNTS = 4096  # a 12-bit driver divides that time into so many
MOST_VALUE = COUNTS - 1  # the level of a lamp that is always on
MOST_BYTE = 255
_OWN_PINS = ("pin", "level", "servo")  # operations that end at the station


class Served(NamedTuple):
    """How an output is told. Without a link nobody is told anything: it has no wire, or only its parts have."""

    link: str = ""
    operation: str = ""
    numbers: tuple[tuple[str, int], ...] = ()  # that its words name besides the value

    def number(self, name: str) -> int | None:
        return dict(self.numbers).get(name)


def served(layout: Layout, output: Output) -> Served | Unserved:
    """How an output is reached, or why what it is cannot be had there."""
    seat = seat_of(layout, output.wiring)
    made_of_parts = output.kind is Kind.SIGNAL and all(aspect.number is None for aspect in output.aspects)
    if seat is None or made_of_parts or output.kind is Kind.DAYLIGHT:
        return Served()
    if output.kind is Kind.COLOUR:
        what = f"`{output.name}` can be told to nobody: the words of a link have no colours"
        return Unserved(what, "Delete `whites`, `mixes colours` or `colours`; its level is told all the same")
    try:
        dialect = dialect_of(seat.link)
    except BadWords as bad:
        return Unserved(bad.what, bad.instead)
    return _on_pin(output, seat, dialect) if seat.is_pin else _on_accessory(output, seat, dialect)


# --- pins ----------------------------------------------------------------------------------------------------------


def _on_pin(output: Output, seat: Seat, dialect: Dialect) -> Served | Unserved:
    operation = "level" if output.dimmable or output.kind is Kind.MOTOR else _PIN_WORDS.get(output.kind, "")
    if not operation:
        what = f"`{output.name}` has aspects with numbers, and a pin takes no numbers"
        return Unserved(what, "Give it an `address`, or make it of parts: lamps and arms with pins of their own")
    if seat.number > MOST_PIN:
        what = f"`{output.name}` is on pin {seat.number}, and a station counts no further than {MOST_PIN}"
        return Unserved(what, f"Write a pin from 0 to {MOST_PIN}")
    if operation not in dialect.words:
        return _no_words(output, seat, dialect, operation)
    return _too_much(output, dialect, operation) or Served(seat.link.name, operation, (("pin", seat.number),))


def _no_words(output: Output, seat: Seat, dialect: Dialect, operation: str) -> Unserved:
    noun, without = _NOUNS[operation]
    what = f"`{output.name}` {noun}, and the words of link `{seat.link.name}` ({dialect.name}) have none"
    late = "" if dialect.name == "late" else "Write `dialect: late` if its far end is so new, "
    give = f"give the link words for `{operation}`"
    instead = f"{late}{'or ' if late else ''}{give}{without}"
    return Unserved(what, instead[0].upper() + instead[1:])


_NOUNS: Mapping[str, tuple[str, str]] = {
    "level": ("needs levels", ", or delete `dimmable` and `levels`"),
    "servo": ("needs servo positions", ""),
    "pin": ("needs a pin that is switched", ""),
    "aspect": ("needs aspects", ", or make it of parts: lamps and arms"),
    "accessory": ("needs accessories", ", or wire it to a pin"),
}
_PIN_WORDS: Mapping[Kind, str] = {
    Kind.LAMP: "pin",
    Kind.RELAY: "pin",
    Kind.SOUND: "pin",
    Kind.PULSE: "pin",
    Kind.SERVO: "servo",
}


def _too_much(output: Output, dialect: Dialect, operation: str) -> Unserved | None:
    """What the words would have room for, but the far end has not."""
    if operation == "servo":
        wide = [one for one in output.positions if not 0 <= one.degrees <= WIDEST_DEG]
        if wide:
            what = f"`{wide[0].name}` of `{output.name}` is at {wide[0].degrees:g} deg"
            what += f", and a servo's pulses reach from 0 to {WIDEST_DEG} deg"
            return Unserved(what, "Turn its horn, and write its angles anew")
    if operation == "level":
        most = MOST_VALUE if "{value}" in dialect.words["level"] else MOST_BYTE
        if output.steps > most:
            what = f"`{output.name}` has {output.steps} levels, and the words of its link take {most}"
            return Unserved(what, f"Write `levels: {most}`")
    return None


# --- accessories ---------------------------------------------------------------------------------------------------


def _on_accessory(output: Output, seat: Seat, dialect: Dialect) -> Served | Unserved:
    refused = _ON_ACCESSORY[output.kind](output)
    if refused is not None:
        return refused
    try:
        where = numbers(seat.number, seat.link.from_one)
    except BadNumber as bad:
        return Unserved(f"`{output.name}`: {bad.what}", bad.instead)
    if output.kind is Kind.SIGNAL:
        operation = "aspect"
    else:
        operation = "accessory" if "accessory" in dialect.words else "linear accessory"
    if operation not in dialect.words:
        return _no_words(output, seat, dialect, "aspect" if operation == "aspect" else "accessory")
    if operation == "accessory":
        return Served(seat.link.name, operation, (("board", where.board), ("port", where.port)))
    return Served(seat.link.name, operation, (("linear", seat.number),))


def _lamp_there(output: Output) -> Unserved | None:
    if not output.dimmable:
        return None
    what = f"`{output.name}` is dimmable, and an accessory address only switches"
    return Unserved(what, "Wire it to a pin of a link that has levels, or delete `dimmable` and `levels`")


def _servo_there(output: Output) -> Unserved | None:
    if output.itself is not Itself.MOVES:
        what = f"`{output.name}` is moved by scenes, and an accessory address only says to which end"
        instead = "Write `moves by itself: 3 s` in place of `full travel`, or wire it to a pin of a link with servos"
        return Unserved(what, instead)
    if len(output.positions) > 2:
        what = f"`{output.name}` has {len(output.positions)} positions, and an accessory address has two"
        return Unserved(what, "Keep the two ends, or wire it to a pin of a link that has servos")
    return None


def _signal_there(output: Output) -> Unserved | None:
    beyond = [aspect for aspect in output.aspects if aspect.number is not None and aspect.number >= ASPECTS]
    if not beyond:
        return None
    what = f"`{beyond[0].name}` of `{output.name}` has the number {beyond[0].number}, and the track bus carries none"
    return Unserved(f"{what} above {ASPECTS - 1}", f"Write 0 to {ASPECTS - 1}")


def _motor_there(output: Output) -> Unserved | None:
    what = f"`{output.name}` is a motor, which has speeds, and an accessory address only switches"
    return Unserved(what, "Write `kind: relay`, or wire it to a pin of a link that has levels")


def _as_it_is(_: Output) -> Unserved | None:
    return None


_ON_ACCESSORY: Mapping[Kind, Callable[[Output], Unserved | None]] = {
    Kind.LAMP: _lamp_there,
    Kind.SERVO: _servo_there,
    Kind.SIGNAL: _signal_there,
    Kind.MOTOR: _motor_there,
    Kind.RELAY: _as_it_is,
    Kind.SOUND: _as_it_is,
    Kind.PULSE: _as_it_is,
}


# --- telling -------------------------------------------------------------------------------------------------------


def off_track(layout: Layout, link: Link) -> frozenset[str]:
    """The outputs of a link whose commands end at the station, on its own pins, and take nothing of the track."""
    reached = ((name, served(layout, output)) for name, output in layout.outputs.items())
    return frozenset(
        name
        for name, one in reached
        if isinstance(one, Served) and one.link == link.name and one.operation in _OWN_PINS
    )


def told(layout: Layout, output: Output, code: int) -> tuple[str, ...]:
    """The commands for a code of `engine.codes`. None for what nobody is told, and what the wire cannot give."""
    found = served(layout, output)
    return commands(layout, output, found, code) if isinstance(found, Served) else ()


def commands(layout: Layout, output: Output, found: Served, code: int) -> tuple[str, ...]:
    """The same, where `served` has been asked before."""
    if not found.link or (output.kind is Kind.PULSE and output.pulse_us and code <= 0):
        return ()  # a pulse that its board ends is never told to end: off may be the other coil of a pair
    dialect = dialect_of(layout.links[found.link])
    try:
        return (say(dialect, found.operation, **dict(found.numbers), **_VALUES[found.operation](output, code)),)
    except NoWords:
        return ()


def no_pulses(layout: Layout, output: Output) -> str | None:
    """What lets go of a servo: a pulse of no length (from memory). None where its words cannot say that."""
    found = served(layout, output)
    if not isinstance(found, Served) or found.operation != "servo":
        return None
    dialect = dialect_of(layout.links[found.link])
    return (
        None if "{degrees}" in dialect.words["servo"] else say(dialect, "servo", **dict(found.numbers), us=0, value=0)
    )


def refused(output: Output, code: int) -> Unserved | None:
    """Whether this one code is more than a wire that serves the output can give: a motor's backwards."""
    if output.kind is not Kind.MOTOR or code >= 0:
        return None
    return Unserved(f"`{output.name}` runs one way only: a pin has no backwards", "Leave `backwards` out")


def pulse_us(degrees: float) -> float:
    """The pulse that sends a servo to an angle."""
    within = min(max(degrees, 0.0), float(WIDEST_DEG))
    return LEAST_PULSE_US + within * (MOST_PULSE_US - LEAST_PULSE_US) / WIDEST_DEG


def _switched(output: Output, code: int) -> dict[str, int]:
    if output.kind is not Kind.SERVO:
        return {"act": int(code > 0)}
    nought, whole = output.span
    return {"act": int(abs(code - whole * DEGREE) < abs(code - nought * DEGREE))}


def _level(output: Output, code: int) -> dict[str, int]:
    """Honest at the bottom: what is to give light gets at least the least value."""
    return {name: _share(code, output.steps, most) for name, most in (("value", MOST_VALUE), ("byte", MOST_BYTE))}


def _share(code: int, steps: int, most: int) -> int:
    return 0 if code <= 0 else max(1, _nearest(min(code / steps, 1.0) * most))


def _servo(_: Output, code: int) -> dict[str, int]:
    us = pulse_us(code / DEGREE)
    return {"us": _nearest(us), "value": _nearest(us * COUNTS / FRAME_US), "degrees": _nearest(code / DEGREE)}


def _aspect(output: Output, code: int) -> dict[str, int]:
    return {"aspect": output.aspects[code].number or 0}


def _nearest(value: float) -> int:
    return int(value + 0.5)  # nothing below nought comes here


_VALUES: Mapping[str, Callable[[Output, int], dict[str, int]]] = {
    "accessory": _switched,
    "linear accessory": _switched,
    "aspect": _aspect,
    "pin": _switched,
    "level": _level,
    "servo": _servo,
}


def pin_definitions(layout: Layout, link: Link) -> list[tuple[str, str]]:
    """What a station must be told before it can switch pins: (output, command). Telling it again does no harm."""
    dialect = dialect_of(link)
    if "define pin" not in dialect.words:
        return []
    wires = ((output.name, served(layout, output)) for output in layout.outputs.values())
    return [
        (name, say(dialect, "define pin", pin=wire.number("pin") or 0))
        for name, wire in wires
        if isinstance(wire, Served) and wire.link == link.name and wire.operation == "pin"
    ]


# --- what somebody else told -------------------------------------------------------------------------------------


Reported = Mapping[tuple[str, int], tuple[Output, ...]]

_REPORTED: Mapping[str, str] = {"pin": "pin", "accessory": "accessory", "linear accessory": "accessory"}


def reported(layout: Layout, link: Link) -> Reported:
    """The outputs whose state the link's station may report, by kind and number: for `as_reported`.

    A pin goes by its number; an accessory by the number that the layout file gives it, so it is known where it was
    defined in the station under that number.
    """
    found: dict[tuple[str, int], tuple[Output, ...]] = {}
    for output in layout.outputs.values():
        wire, seat = served(layout, output), seat_of(layout, output.wiring)
        if isinstance(wire, Served) and wire.link == link.name and seat and wire.operation in _REPORTED:
            key = _REPORTED[wire.operation], seat.number
            found[key] = (*found.get(key, ()), output)
    return found


def as_reported(outputs: Reported, report: OutputIs) -> list[tuple[Output, int]]:
    """Whose state a station reports, and as which code: the work of another hand, or the echo of our own."""
    return [(output, _code(output, report.value)) for output in outputs.get((report.kind, report.id), ())]


def _code(output: Output, value: int) -> int:
    return _nearest(output.span[value] * DEGREE) if output.kind is Kind.SERVO else value
