"""What one trial is: one output, one thing that it is told, and what goes over the wire and on to the track for it.

Pure: knows no port. The numbers are shown in both ways of counting, to be compared with the decoder's book.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from adapters import packets
from adapters.codec import encode
from adapters.dialects import dialect_of, say
from adapters.packets import BadNumber
from adapters.wires import Served, Unserved, commands, refused, served
from engine.codes import code
from engine.layout import Aspect, Kind, Layout, Link, Output, Position, Setting, Wiring
from scenes.problems import nearest
from wayside.layout.values import NoState, degrees, setting
from wayside.usage import UsageProblem
from wayside.wording import listed

WIDEST_DEG = 180.0  # of a servo that no layout file knows
MOST_ASPECT = 255
LEVELS = 4_095  # of a lamp that no layout file knows
BARE = "main"  # the link of a trial without a layout file


class CannotBeTold(Exception):
    """What is wrong with the wiring of the output that is tried, and what to write instead."""

    def __init__(self, why: Unserved) -> None:
        super().__init__(f"{why.what}. {why.instead}.")


class Step(NamedTuple):
    """One output's share of a trial: how it is reached, and the texts that are sent."""

    output: Output
    found: Served
    code: int
    texts: tuple[str, ...]


class Trial(NamedTuple):
    """All that is tried at once: one output, or the parts of a signal, over one link."""

    title: str
    layout: Layout
    link: Link
    steps: tuple[Step, ...]
    remarks: tuple[str, ...] = ()

    @property
    def texts(self) -> list[str]:
        return [text for step in self.steps for text in step.texts]

    @property
    def on_the_track(self) -> bool:
        """Whether any of it is heard only where the track has power."""
        return any(step.found.number("pin") is None for step in self.steps)


# --- by name -------------------------------------------------------------------------------------------------------


def by_name(layout: Layout, name: str, state: str) -> Trial:
    """A trial of an output of the layout. Raises UsageProblem, or CannotBeTold."""
    output = layout.outputs.get(name)
    if output is None or output.kind in (Kind.COLOUR, Kind.DAYLIGHT):
        known = [one.name for one in layout.outputs.values() if one.kind not in (Kind.COLOUR, Kind.DAYLIGHT)]
        raise UsageProblem(_no_output(layout, name, known))
    value = value_of(output, state)
    parts = [(output, value)]
    if output.kind is Kind.SIGNAL and output.aspects[int(value)].number is None:
        parts = [(layout.outputs[part], level) for part, level in output.aspects[int(value)].parts]
    steps = tuple(step for part, level in parts if (step := _step(layout, part, level)))
    links = list(dict.fromkeys(step.found.link for step in steps))
    if not steps:
        raise UsageProblem(f"{name} has no wire in the layout file. Try its pin or address: --pin N or --address N.")
    if len(links) > 1:
        raise UsageProblem(f"The parts of {name} hang on {listed(links)}. Try one part at a time.")
    remarks = []
    if len(steps) < len(parts):
        without = [part.name for part, _ in parts if all(step.output is not part for step in steps)]
        remarks.append(f"{listed(without)} has no wire and is told nothing.")
    if any(step.output.guarded for step in steps) or output.guarded:
        remarks.append(f"{name} is guarded in a show; here it stays as it is told.")
    return Trial(f"{name} {state}", layout, layout.links[links[0]], steps, tuple(remarks))


def _no_output(layout: Layout, name: str, known: list[str]) -> str:
    others = (
        ("detector", layout.detectors),
        ("button", layout.buttons),
        ("board", layout.boards),
        ("link", layout.links),
    )
    kind = next((kind for kind, named in others if name in named), "")
    if kind:
        return f"{name} is a {kind}, and only outputs are told something."
    near = nearest(name, known)
    there_is = f"Did you mean {near}?" if near else f"There is {listed(known)}." if known else "It has none."
    return f"The layout has no output {name}. {there_is}"


def value_of(output: Output, state: str) -> float:
    """What a state's words mean for an output. Raises UsageProblem."""
    if state.split(" ")[0] in ("flash", "flashing"):
        raise UsageProblem("Nothing flashes in a trial: scenes do that. Write on or off.")
    angle = degrees(state) if output.kind is Kind.SERVO else None
    if angle is not None:
        _within_limits(output, angle)
        return angle
    try:
        return setting(state, output, may_flash=False).value
    except NoState as no:
        what = no.what.replace(f"`{state}`", f"'{state}'").replace("`", "")
        instead = no.instead.replace("`", "").replace(', or "flashing at 80 a minute"', "")  # a trial does not flash
        if output.kind is Kind.SERVO and not instead.endswith("?"):
            instead += ", or an angle such as 45deg"
        stop = "" if instead.endswith("?") else "."
        raise UsageProblem(f"{name_or_capital(what, output)}. {instead}{stop}") from None


def name_or_capital(what: str, output: Output) -> str:
    """A sentence's beginning: names keep their small letters."""
    return what if what.startswith(output.name) else f"{what[:1].upper()}{what[1:]}"


def _within_limits(output: Output, angle: float) -> None:
    low, high = output.limits or (0.0, WIDEST_DEG)
    if not low <= angle <= high:
        whose = f"The limits of {output.name} are" if output.limits else "A servo turns from"
        raise UsageProblem(f"{whose} {low:g} deg to {high:g} deg; {angle:g} deg is outside.")


def _step(layout: Layout, output: Output, value: float) -> Step | None:
    found = served(layout, output)
    if isinstance(found, Unserved):
        raise CannotBeTold(found)
    told = code(output, value)
    if not found.link:
        return None
    if why := refused(output, told):
        raise CannotBeTold(why)
    texts = commands(layout, output, found, told)
    if not texts:
        raise UsageProblem(f"{output.name} is never told that: its board ends its pulse by itself. Write on.")
    dialect = dialect_of(layout.links[found.link])
    if found.operation == "pin" and "define pin" in dialect.words:
        texts = (say(dialect, "define pin", pin=found.number("pin") or 0), *texts)
    return Step(output, found, told, texts)


# --- by number -----------------------------------------------------------------------------------------------------


class Number(NamedTuple):
    """What a person names without a layout's name: where it is, and what it is told."""

    wiring: Wiring
    state: str = ""  # on, off or a level
    degrees: float | None = None
    aspect: int | None = None


def by_number(layout: Layout, link: Link, asked: Number) -> Trial:
    """A trial of an address or pin. Raises UsageProblem, or CannotBeTold."""
    wiring = asked.wiring._replace(link=link.name)
    where = f"pin {wiring.pin}" if wiring.pin is not None else f"address {wiring.address}"
    owner = _owner(layout, wiring)
    output = Output(where, Kind.RELAY, Setting(0.0), wiring=wiring)
    if asked.degrees is not None:
        ends = (Position("one", 0.0), Position("other", WIDEST_DEG))
        output = replace(output, kind=Kind.SERVO, positions=ends, limits=owner.limits if owner else None)
        _within_limits(replace(output, name=owner.name if owner else where), asked.degrees)
        title, value = f"{where} {asked.degrees:g} deg", asked.degrees
    elif asked.aspect is not None:
        if asked.aspect > MOST_ASPECT:
            raise CannotBeTold(Unserved(f"The track bus carries no aspect {asked.aspect}", f"Write 0 to {MOST_ASPECT}"))
        output = replace(output, kind=Kind.SIGNAL, aspects=(Aspect(str(asked.aspect), (), asked.aspect),))
        title, value = f"{where} aspect {asked.aspect}", 0.0
    else:
        if owner is not None and owner.kind is Kind.SERVO and wiring.pin is not None:
            what = f"On {where} is {owner.name}, a servo"
            raise UsageProblem(f"{what}: write --degrees N, or {owner.name} and a position.")
        if asked.state not in ("on", "off"):
            output = replace(output, kind=Kind.LAMP, steps=LEVELS)
        title, value = f"{where} {asked.state}", value_of(output, asked.state)
        if output.kind is Kind.LAMP and wiring.address is not None:
            raise CannotBeTold(
                Unserved(f"An accessory such as {where} is on or off and no more", "Write on or off, or try a pin")
            )
    remarks = (f"In the layout file this is {owner.name}.",) if owner else ()
    step = _step(layout, output, value)
    assert step is not None  # it has a link
    return Trial(title, layout, link, (step,), remarks)


def _owner(layout: Layout, wiring: Wiring) -> Output | None:
    """The output of the layout that is wired to a pin or address."""
    return next(
        (
            output
            for output in layout.outputs.values()
            if output.kind not in (Kind.COLOUR, Kind.DAYLIGHT) and _on_link(layout, output.wiring) == wiring
        ),
        None,
    )


def _on_link(layout: Layout, wiring: Wiring) -> Wiring:
    """Where on its link something is, whether it was said by a board's port or not."""
    board = layout.boards.get(wiring.board or "")
    if board is None or wiring.port is None:
        return wiring
    number = board.first_address + wiring.port
    return Wiring(link=board.link, pin=number) if board.pins else Wiring(link=board.link, address=number)


# --- what is shown -------------------------------------------------------------------------------------------------


def lines(trial: Trial) -> Iterator[str]:
    """The trial for a person: where it goes, as text, as bytes, and as a packet on the track."""
    yield trial.title
    for step in trial.steps:
        yield f"  {'wired':<8}{_wired(trial, step)}"
        for text in step.texts:
            data = encode(text)
            ms = packets.line_us(text, trial.link.baud) / 1_000
            yield f"  {'told':<8}<{text}>"
            yield f"  {'bytes':<8}{data.hex(' ').upper()}  ({len(data)}, {ms:.2f} ms at {trial.link.baud} baud)"
        yield from _packets(trial, step)
    for remark in trial.remarks:
        yield f"  {remark}"


def _wired(trial: Trial, step: Step) -> str:
    place = _on_link(trial.layout, step.output.wiring)
    where = f"pin {place.pin}" if place.pin is not None else f"accessory {place.address}"
    box = step.output.wiring
    by_board = f" (port {box.port} of {box.board})" if box.board else ""
    name = f"{step.output.name}: " if len(trial.steps) > 1 else ""
    return f"{name}{where} of link {trial.link.name}{by_board}"


def _packets(trial: Trial, step: Step) -> Iterator[str]:
    """Both ways of counting boards, since decoders' books have both, and the two differ by four."""
    address = _on_link(trial.layout, step.output.wiring).address
    if address is None:
        return
    for from_one in (True, False):
        mine = "  as this link counts" if from_one == trial.link.from_one else ""
        yield f"  boards from {int(from_one)}: {_packet(trial.link, step, address, from_one)}{mine}"


def _packet(link: Link, step: Step, address: int, from_one: bool) -> str:
    try:
        seat = packets.numbers(address, from_one)
        if step.found.operation == "aspect":
            data = packets.extended(seat.raw, step.output.aspects[step.code].number or 0)
        else:
            data = packets.told(link, seat, _act(step))
    except BadNumber as bad:
        return bad.what
    us = packets.packet_us(data, link.preamble)
    return f"board {seat.board}, port {seat.port}, on the track {data.hex(' ').upper()} ({us / 1_000:.1f} ms)"


def _act(step: Step) -> bool:
    """What the command's last number is: for a servo that moves by itself, which of its ends."""
    if step.output.kind is not Kind.SERVO:
        return step.code > 0
    nought, whole = (100 * end for end in step.output.span)
    return abs(step.code - whole) < abs(step.code - nought)


def bare_layout(link: Link) -> Layout:
    """A layout that has nothing but a link."""
    return Layout(links={link.name: link})
