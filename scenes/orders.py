"""Lines that tell outputs what to do: turn, set, fade, move, flash, pulse, hold, release.

A wrong kind of output is answered here with what to write, or what the layout file must say.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

from engine.layout import Blink, Itself, Kind, Output
from engine.program import (
    Come,
    Fade,
    Flash,
    Hold,
    Level,
    Move,
    Order,
    Pulse,
    Release,
    Statement,
    Swing,
    Together,
)
from scenes import light, quantities
from scenes.manners import Way
from scenes.names import Refused, Scope
from scenes.nodes import Node, Word
from scenes.telling import TOLD_APART, how, is_a
from scenes.writer import Writer

if TYPE_CHECKING:
    from engine.curves import Profile

Wrong = tuple[str, str] | None

MOST_BOUNCES = 10  # of one arrival

_A_MINUTE_US = 60_000_000
_TURNED = (Kind.LAMP, Kind.RELAY, Kind.MOTOR, Kind.SOUND)


def turn(writer: Writer, node: Node, scope: Scope) -> Statement:
    like = node.node("like") is not None
    outputs = writer.outputs(
        node, scope, lambda output: light.dims(output, "comes on in a way") if like else _turned(output)
    )
    on = node.word("ON", "OFF") == node.word("ON")
    order = light.coming(writer, node, scope, on) or Level(float(on))
    return light.told(writer, node, scope, [(output, order) for output in outputs])


def _turned(output: Output) -> Wrong:
    if output.kind in _TURNED:
        return None
    return f"{is_a(output)} and is not turned on or off", how(output)


def _with_parts(writer: Writer, output: Output, order: Order) -> list[tuple[Output, Order]]:
    """A signal is told its aspect, and then each of its parts what that means for it."""
    told: list[tuple[Output, Order]] = [(output, order)]
    if output.kind is not Kind.SIGNAL or not isinstance(order, Level):
        return told
    for name, value in output.aspects[int(order.value)].parts:
        part = writer.names.layout.outputs.get(name)
        if part is not None:
            told.append((part, Swing(value) if part.kind is Kind.SERVO else Level(value)))
    return told


# --- set -----------------------------------------------------------------------------------------------------------


def set_to(writer: Writer, node: Node, scope: Scope) -> Statement:
    target = _target(writer, node, scope)
    if target.kind in ("ON", "OFF"):
        outputs = writer.outputs(node, scope, _turned)
        return light.told(writer, node, scope, [(one, Level(float(target.kind == "ON"))) for one in outputs])
    if target.kind == "KELVIN":
        mired = light.temperatures(writer, node, scope, target)
        return light.told(writer, node, scope, [(colour, Level(value)) for colour, value in mired])
    at_once = node.node("at_once") is not None
    outputs = writer.outputs(node, scope, lambda output: _settable(output, target, node, at_once))
    orders: list[tuple[Output, Order]] = []
    for output in outputs:
        told = _named_colour(writer, output, target)
        level = _value(writer, output, target, node, scope) if told is output else _colour(told, target)
        orders += _with_parts(writer, told, Level(level))
    return light.told(writer, node, scope, orders)


def _named_colour(writer: Writer, output: Output, target: Word) -> Output:
    """A lamp that is set to one of its colours: the output that is its colour."""
    colour = light.colour_output(writer.names, output) if target.kind == "NAME" else None
    if colour is None or all(aspect.name != target.text for aspect in colour.aspects):
        return output
    writer.claim([colour])
    return colour


def _colour(colour: Output, target: Word) -> float:
    return float([aspect.name for aspect in colour.aspects].index(target.text))


def _target(writer: Writer, node: Node, scope: Scope) -> Word:
    """What stands behind `to`, a parameter filled in; for `on` and `off` that word."""
    word = next((part for part in node.parts if isinstance(part, Word) and part.kind != "BACKWARDS"), None)
    if word is None:
        raise Refused
    return writer.names.resolve(word, scope)


def _settable(output: Output, target: Word, node: Node, at_once: bool) -> Wrong:
    if output.kind is Kind.SERVO and not at_once:
        instead = f"write `move {output.name} to {target.text} over 3 s`, or add `at once`"
        return f"{is_a(output)}, and `set` would throw it over without a pace", instead
    if target.kind == "PERCENT" and output.kind is not Kind.SERVO:
        return _dims(output, node, "a level")
    return None


def _dims(output: Output, node: Node, needs: str) -> Wrong:
    """Whether an output has levels between on and off, and a direction if one is asked for."""
    backwards = node.word("BACKWARDS") is not None
    if backwards and output.kind is not Kind.MOTOR:
        return f"{is_a(output)} and has no backwards", "leave `backwards` out"
    if output.kind is Kind.MOTOR:
        return None
    if output.kind not in (Kind.LAMP, Kind.SOUND):
        return f"{is_a(output)} and takes no level", how(output)
    if not output.dimmable:
        if output.kind is Kind.SOUND:
            return (
                f"`{output.name}` is switched only, and {needs} needs one that dims",
                f"write `turn on {output.name}`",
            )
        say = f"write `turn on {output.name}`, or in the layout file `dimmable: yes` for it if its board can dim"
        return f"`{output.name}` is switched only, and {needs} needs one that dims", say
    return None


def _value(writer: Writer, output: Output, target: Word, node: Node, scope: Scope) -> float:
    """The target in the output's own unit. Raises `Refused` after reporting what cannot be meant."""
    if target.kind == "PERCENT":
        share = float(writer.names.quantity(target, scope, "PERCENT", quantities.share))
        if output.kind is Kind.SERVO:
            low, high = output.span
            return low + (high - low) * share
        return -share if node.word("BACKWARDS") else share
    if target.kind == "ANGLE" and output.kind is Kind.SERVO:
        return _angle(writer, output, target, scope)
    if target.kind == "NAME":
        return _named_value(writer, output, target, scope)
    what = f"{is_a(output)} and cannot be set to `{target.text}`"
    raise writer.names.refuse(target.place, what, how(output), scope)


def _angle(writer: Writer, output: Output, target: Word, scope: Scope) -> float:
    degrees = quantities.degrees(target)
    low, high = output.limits or (min(output.span), max(output.span))
    if not low <= degrees <= high:
        what = f"`{output.name}` may go from {low:g} deg to {high:g} deg (layout file), and {target.text} is outside"
        raise writer.names.refuse(target.place, what, f"write an angle from {low:g} deg to {high:g} deg", scope)
    return degrees


def _named_value(writer: Writer, output: Output, target: Word, scope: Scope) -> float:
    named = {position.name: position.degrees for position in output.positions}
    named |= {aspect.name: float(index) for index, aspect in enumerate(output.aspects)}
    if target.text in named:
        return named[target.text]
    if output.kind is Kind.LAMP:
        raise writer.names.refuse(target.place, *light.no_colour(writer.names, output, target.text), scope)
    if not named:
        what = f"{is_a(output)} and cannot be set to `{target.text}`"
        raise writer.names.refuse(target.place, what, how(output), scope)
    one = "position" if output.kind is Kind.SERVO else "aspect"
    what = f"`{output.name}` has no {one} called `{target.text}`; it has {', '.join(f'`{name}`' for name in named)}"
    raise writer.names.refuse(target.place, what, writer.names.near(target.text, named), scope)


# --- fade and move -------------------------------------------------------------------------------------------------


def fade(writer: Writer, node: Node, scope: Scope) -> Statement:
    target = _target(writer, node, scope)
    over_us = writer.time_of(node, "over", scope) or 0
    if target.kind == "KELVIN":
        like = node.node("like")
        if like is not None:
            raise writer.names.refuse(like.place, "a colour fades evenly, by mired", "leave `like` out", scope)
        mired = light.temperatures(writer, node, scope, target)
        least_us = writer.never_under(node, scope, over_us)
        values = [(colour.name, value) for colour, value in mired]
        return Fade(node.place, tuple(values), over_us, never_under_us=least_us)
    outputs = writer.outputs(node, scope, lambda output: _fades(writer, output, target, node))
    if target.kind in ("ON", "OFF"):
        values = [(output.name, float(target.kind == "ON")) for output in outputs]
    else:
        values = [(output.name, _value(writer, output, target, node, scope)) for output in outputs]
    least_us = writer.never_under(node, scope, over_us)
    return Fade(node.place, tuple(values), over_us, *_fading(writer, node, scope, outputs), least_us)


def _fading(writer: Writer, node: Node, scope: Scope, outputs: list[Output]) -> tuple[Profile | None, Come | None]:
    """A fade's `like`: a profile, or a way of coming on, which only a lamp has."""
    like = node.node("like")
    if like is None:
        return None, None
    found = writer.manners.fading(like.words()[0], scope)
    if not isinstance(found, Way):
        return found, None
    for output in outputs:
        wrong = light.dims(output, "comes on in a way")
        if wrong is not None:
            raise writer.names.refuse(like.place, *wrong, scope)
    return None, Come(1.0, *found)


def _fades(writer: Writer, output: Output, target: Word, node: Node) -> Wrong:
    if output.kind in (Kind.SERVO, Kind.SIGNAL):
        return f"{is_a(output)} and does not fade", how(output)
    if output.kind is Kind.LAMP and target.kind == "NAME":
        colour = light.colour_output(writer.names, output)
        if colour is not None and any(aspect.name == target.text for aspect in colour.aspects):
            what = f"`{output.name}` goes from one of its colours to another at once, without a fade"
            return what, f"write `set {output.name} to {target.text}`"
        return light.no_colour(writer.names, output, target.text)
    return _dims(output, node, "a fade")


def move(writer: Writer, node: Node, scope: Scope) -> Statement:
    target = _target(writer, node, scope)
    over = node.node("over")
    outputs = writer.outputs(node, scope, lambda output: _moves(output, target, over, node))
    over_us = writer.time_of(node, "over", scope)
    values = tuple((output.name, _value(writer, output, target, node, scope)) for output in outputs)
    like, arrival = node.node("like"), _arrival(writer, node, scope)
    profile = writer.manners.moving(like.words()[0], scope) if like is not None else None
    if like is not None and arrival[0]:
        what = f"a move that arrives {arrival[0]} has its own course"
        raise writer.names.refuse(like.place, what, "leave `like` or the arrival out", scope)
    return Move(node.place, values, over_us, profile, *arrival, writer.never_under(node, scope, over_us or 0))


def _arrival(writer: Writer, node: Node, scope: Scope) -> tuple[str, int | None]:
    """How a move comes to its end, and how often it bounces if that is said."""
    arrivals = list(node.nodes("arrival"))
    if not arrivals:
        return "", None
    if len(arrivals) > 1:
        raise writer.names.refuse(arrivals[1].place, "a move arrives in one way", "leave one of the two", scope)
    if arrivals[0].node("settling") is not None:
        return "settling", None
    part = arrivals[0].node("bouncing")
    number = part.word("INTEGER") if part else None
    if part is None or number is None:
        once = (
            part is not None
            and part.word("TWICE") is None
            and part.place.end_column - part.place.column > len("bouncing")
        )
        return "bouncing", 2 if part is not None and part.word("TWICE") else 1 if once else None
    times = writer.names.quantity(number, scope, "INTEGER", quantities.whole)
    if not 1 <= times <= MOST_BOUNCES:
        what = f"an arm does not bounce {times} times"
        raise writer.names.refuse(number.place, what, f"write 1 to {MOST_BOUNCES} times, or `bouncing`", scope)
    return "bouncing", times


def _moves(output: Output, target: Word, over: Node | None, node: Node) -> Wrong:
    if output.kind is not Kind.SERVO:
        instead = how(output) if output.kind in TOLD_APART else f"write `turn on {output.name}`"
        return f"{is_a(output)} and does not move", instead
    own = output.itself is Itself.MOVES
    extra = over or node.node("like") or node.node("arrival") or node.node("never_under")
    if own and extra is not None:
        what = f"`{output.name}` moves by itself in {quantities.say_us(output.itself_us)}"
        arrives = "settling" if extra.node("settling") else "bouncing"
        which = f"`{arrives if extra.kind == 'arrival' else extra.kind.replace('_', ' ')}`"
        instead = f"set the pace on the board and write `move {output.name} to {target.text}`"
        return f"{what}: {which} is set on its board", instead
    if not own and over is None:
        instead = f"write `move {output.name} to {target.text} over 3 s`"
        return f"how long may `{output.name}` take from one end to the other?", instead
    return None


# --- flash and pulse -----------------------------------------------------------------------------------------------


def flash(writer: Writer, node: Node, scope: Scope) -> Statement:
    outputs = writer.outputs(node, scope, _flashes)
    part = node.node("rate")
    word = part.word("RATE", "NAME") if part else None
    if word is None:
        named = node.node("names")
        names = " and ".join(one.text for one in named.words()) if named else outputs[0].name
        turns = " in turn" if node.node("in_turn") else ""
        instead = f"write `flash {names}{turns} at 60 a minute`"
        raise writer.names.refuse(node.place, "how often a minute should it flash?", instead, scope)
    rate = writer.names.quantity(word, scope, "RATE", quantities.rate_per_min)
    cycle = Fraction(_A_MINUTE_US) / rate
    slots = max(2, len(outputs)) if node.node("in_turn") else 2
    blinks = [
        Blink(cycle.numerator, cycle.denominator, slot if node.node("in_turn") else 0, slots)
        for slot in range(len(outputs))
    ]
    flashes: list[tuple[Output, Order]] = [(one, Flash(blink)) for one, blink in zip(outputs, blinks, strict=True)]
    return light.told(writer, node, scope, flashes)


def _flashes(output: Output) -> Wrong:
    if output.kind is not Kind.LAMP:
        return f"{is_a(output)} and does not flash: only lamps do", how(output)
    if output.itself is Itself.FLASHES:
        return f"`{output.name}` flashes by itself, at the rate set on its board", f"write `turn on {output.name}`"
    return None


def pulse(writer: Writer, node: Node, scope: Scope) -> Statement:
    for_us = writer.time_of(node, "for", scope)
    outputs = writer.outputs(node, scope, lambda output: _pulses(output, for_us))
    lengths = dict.fromkeys(for_us if for_us is not None else output.pulse_us for output in outputs)
    if len(lengths) == 1:
        return Pulse(node.place, tuple(output.name for output in outputs), next(iter(lengths)))
    branches = tuple((Pulse(node.place, (output.name,), output.pulse_us),) for output in outputs)
    return Together(node.place, branches)


def _pulses(output: Output, for_us: int | None) -> Wrong:
    if output.kind is not Kind.PULSE:
        what = f"{is_a(output)}, and nothing but this program would end its pulse"
        return what, "write `turn on ... for 1 s`, or `kind: pulse` in the layout file if its board ends the pulse"
    if for_us is None and not output.pulse_us:
        return f"how long is the pulse of `{output.name}`?", f"write `pulse {output.name} for 120 ms`"
    allowed = [us for us in (output.pulse_us, output.longest_on_us) if us]
    if for_us is not None and allowed and for_us > min(allowed):
        most = quantities.say_us(min(allowed))
        return f"a pulse of `{output.name}` lasts {most} at most (layout file)", f"write `for {most}` or less"
    return None


# --- hold and release ----------------------------------------------------------------------------------------------


def _held(writer: Writer, node: Node, scope: Scope) -> tuple[str, ...]:
    """The outputs of `hold X`; `everything` is all that the scene writes, but for what its `when stopped` has told."""
    if node.word("EVERYTHING") is None:
        outputs = writer.outputs(node, scope, lambda output: None)
        parts = (name for output in outputs for name in (output.name, *_parts(writer, output)))
        return tuple(dict.fromkeys(parts))
    writer.asks_everything = True
    told = writer.closing or {}
    return tuple(name for name in writer.everything or () if name not in told)


def _parts(writer: Writer, output: Output) -> list[str]:
    """A signal's lamps and arms; a lamp's colour; the lamps that follow the daylight."""
    if output.kind is Kind.DAYLIGHT:
        lamps = light.followers(writer.names)
        writer.claim(lamps)
        return [lamp.name for lamp in lamps]
    colour = light.colour_output(writer.names, output)
    if colour is not None:
        writer.claim([colour])
        return [colour.name]
    return [name for aspect in output.aspects for name, _ in aspect.parts]


def hold(writer: Writer, node: Node, scope: Scope) -> Statement:
    return Hold(node.place, _held(writer, node, scope))


def release(writer: Writer, node: Node, scope: Scope) -> Statement:
    return Release(node.place, _held(writer, node, scope))


ORDERS: dict[str, Callable[[Writer, Node, Scope], Statement]] = {
    "turn": turn,
    "set": set_to,
    "fade": fade,
    "move": move,
    "flash": flash,
    "pulse": pulse,
    "hold": hold,
    "release": release,
    "flicker": light.flicker,
    "show": light.show,
    "daylight": light.through,
}
