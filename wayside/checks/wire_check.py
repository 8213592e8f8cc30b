"""What the wires of a layout cannot carry: levels on an address that only switches, words that a station has not.

Of a link that says its port, dialect or words, all of it is an error. Of one that says nothing of itself only what no
accessory address can ever do, as advice: such a layout is being rehearsed. What a wire can do, `adapters.wires` knows.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from engine.layout import Kind, Layout, Link, Output, Place
from scenes.problems import Problem

if TYPE_CHECKING:
    from engine.program import Program

MOST_NAMED = 6  # outputs in one sentence
OLD_ASPECTS = 32  # NMRA S-9.2.1 of 2012 has five bits for an aspect, NEM 672 eight


class _Refused(NamedTuple):
    """One output that cannot be had as it is."""

    output: Output
    what: str
    instead: str
    advice: bool


def check(program: Program) -> list[Problem]:
    """Everything that a wire cannot carry, one problem for each cause on a board or link."""
    layout = program.layout
    if not layout.links:
        return []
    problems = [_told(layout, group) for group in _grouped(_refused(layout))]
    return problems + list(_inputs(layout)) + list(_backwards(program))


def is_stated(link: Link) -> bool:
    """Whether the layout file says how this link is reached or what it understands."""
    return bool(link.port or link.words) or any(key == "dialect" for key, _ in link.settings)


def _on_accessory(layout: Layout, output: Output) -> bool:
    board = layout.boards.get(output.wiring.board or "")
    return not board.pins if board else output.wiring.address is not None


def _refused(layout: Layout) -> Iterator[_Refused]:
    from adapters.wires import Unserved, served

    for output in layout.outputs.values():
        link = layout.link_of(output.wiring)
        if link is None:
            continue
        stated = is_stated(link)
        if not stated and (output.kind is Kind.COLOUR or not _on_accessory(layout, output)):
            continue
        found = served(layout, output)
        if isinstance(found, Unserved):
            # that a lamp's colour goes nowhere is a pity; its level still goes where it should
            yield _Refused(output, found.what, found.instead, not stated or output.kind is Kind.COLOUR)
        elif stated and (doubt := _new_aspect(output)):
            yield doubt


def _new_aspect(output: Output) -> _Refused | None:
    beyond = [aspect for aspect in output.aspects if aspect.number is not None and aspect.number >= OLD_ASPECTS]
    if not beyond or output.kind is not Kind.SIGNAL:
        return None
    what = f"`{beyond[0].name}` of `{output.name}` has the number {beyond[0].number}, which not every decoder knows"
    return _Refused(output, what, f"See in its book whether it knows more than 0 to {OLD_ASPECTS - 1}", True)


def _grouped(refused: Iterator[_Refused]) -> list[list[_Refused]]:
    """A board's lamps that all need levels are one cause, however many they are."""
    groups: dict[tuple[str, Kind, str, bool], list[_Refused]] = {}
    for one in refused:
        where = one.output.wiring.board or one.output.wiring.link or ""
        groups.setdefault((where, one.output.kind, one.instead, one.advice), []).append(one)
    return list(groups.values())


def _told(layout: Layout, group: list[_Refused]) -> Problem:
    first, *others = group
    names = [f"`{one.output.name}`" for one in others[:MOST_NAMED]]
    if len(others) > MOST_NAMED:
        names.append(f"{len(others) - MOST_NAMED} more")
    also = f". So it is with {' and '.join(filter(None, (', '.join(names[:-1]), names[-1])))}" if names else ""
    board = layout.boards.get(first.output.wiring.board or "")
    sort = "" if not board or board.pins else "; `kind: pins` would take levels and positions"
    places: tuple[tuple[Place, str], ...] = ((board.place, f"`{board.name}` is here{sort}"),) if board else ()
    return Problem(first.output.place, f"{first.what}{also}.", f"{first.instead}.", first.advice, places)


def _inputs(layout: Layout) -> Iterator[Problem]:
    """Detectors and buttons whose reports nobody could tell apart."""
    from adapters.wires import unheard

    places = {name: one.place for name, one in layout.detectors.items()}
    places.update({name: one.place for name, one in layout.buttons.items()})
    for link in layout.links.values():
        if is_stated(link):
            for wire, why in unheard(layout, link):
                yield Problem(places[wire.name], f"{why.what}.", f"{why.instead}.")


def _backwards(program: Program) -> Iterator[Problem]:
    """A motor that a scene turns round, on a wire that has no backwards."""
    layout = program.layout
    motors = [output for output in layout.outputs.values() if output.kind is Kind.MOTOR and _is_stated(layout, output)]
    if not motors:
        return
    from adapters.wires import refused

    for motor in motors:
        why = refused(motor, -1)
        places = list(_turned_round(program, motor)) if why else []
        if why and places:
            also = tuple((place, "and here") for place in places[1:MOST_NAMED])
            yield Problem(places[0], f"{why.what}.", f"{why.instead}.", also=also)


def _is_stated(layout: Layout, output: Output) -> bool:
    link = layout.link_of(output.wiring)
    return link is not None and is_stated(link)


def _turned_round(program: Program, motor: Output) -> Iterator[Place]:
    from engine.program import Fade, Level, Tell, lines_of

    if motor.rest.value < 0 or (motor.safe is not None and motor.safe.value < 0):
        yield motor.place
    for scene in program.scenes.values():
        for line in lines_of((*scene.block, *(scene.when_stopped or ()))):
            told: list[tuple[str, float]] = []
            if isinstance(line, Tell):
                told = [(name, order.value) for name, order in line.orders if isinstance(order, Level)]
            elif isinstance(line, Fade):
                told = list(line.targets)
            if any(name == motor.name and value < 0 for name, value in told):
                yield line.place
