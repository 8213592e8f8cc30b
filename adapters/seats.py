"""Where something is wired: on which link, under which number, and whether that is a pin. Knows no words."""

from __future__ import annotations

from typing import NamedTuple

from engine.layout import Layout, Link, Wiring

MOST_PIN = 32_767  # what a station holds as the number of a pin or a detector (from memory)


class Seat(NamedTuple):
    link: Link
    number: int
    is_pin: bool


class Unserved(NamedTuple):
    """What an output is asked for that its wire cannot give, and what to write instead."""

    what: str
    instead: str


def seat_of(layout: Layout, wiring: Wiring) -> Seat | None:
    """None for what is wired to nothing, or to what the layout file does not have, which its reader has told."""
    board = layout.boards.get(wiring.board) if wiring.board else None
    link = layout.link_of(wiring)
    if link is None:
        return None
    if board is not None:
        return None if wiring.port is None else Seat(link, board.first_address + wiring.port, board.pins)
    if wiring.pin is not None:
        return Seat(link, wiring.pin, True)
    return None if wiring.address is None else Seat(link, wiring.address, False)
