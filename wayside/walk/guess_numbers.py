"""Guesses of a walk about numbers that lead elsewhere: off by four, exchanged, shifted, two on one address. Pure.

The two ways of counting accessories, four apart, are those of NMRA S-9.2.1 and of stations.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from wayside.walk.guess import SHIFTS, SHOWN, Guess, grouped, owners_of, words
from wayside.walk.signs import Expect, Walked
from wayside.wording import listed


def _led_to(seen: Walked, owner: str | None) -> Expect:
    """What is seen where a number leads to that output; or to nothing that the layout file names."""
    if owner:
        return Expect(frozenset(("other",)), owner)
    return Expect(frozenset(("no", "other")), never=frozenset(stop.name for stop in seen.stops()))


def off_by_four(seen: Walked) -> Iterator[Guess]:
    for link, all_stops in grouped(seen.stops(), "link").items():
        stops = [stop for stop in all_stops if not stop.is_pin]
        owners = owners_of(seen, link, is_pin=False)
        from_one = seen.layout.links[link].from_one
        for shift in (4, -4):
            if not any(stop.number + shift in owners for stop in stops):
                continue
            expects = {stop.name: _led_to(seen, owners.get(stop.number + shift)) for stop in stops}
            way = "up" if shift > 0 else "down"
            what = f"The accessories of link {link} are off by four: what answers is four numbers further {way}."
            tries = (
                f"Write {boards_with_shift(seen, link, -shift)} in the layout file: the decoders have such addresses.",
                "Or give the decoders addresses that are four numbers away, as their books say.",
            )
            if (shift > 0) == from_one:  # only then can it be the way of counting: see `adapters.packets.numbers`
                tries = (
                    f"Write `boards from: {int(not from_one)}` for link {link} in the layout file, and walk on: the "
                    "station counts its boards so.",
                    "If the station's book disagrees, give the decoders addresses four numbers away instead.",
                )
            yield Guess((link,), expects, what, tries, least=1)


def boards_with_shift(seen: Walked, link: str, shift: int) -> str:
    """Boards of accessories with their first addresses so many numbers on; without a board, its outputs."""
    boards = [board for board in seen.layout.boards.values() if board.link == link and not board.pins]
    written = [f"`first address: {board.first_address + shift}` for {board.name}" for board in boards]
    return listed(written, SHOWN) if written else f"addresses that are {shift:+d} for its outputs"


def boards_swapped(seen: Walked) -> Iterator[Guess]:
    boards = grouped(seen.stops(), "board")
    for (one, ones), (other, others) in combinations(boards.items(), 2):
        mine, theirs = seen.layout.boards[one], seen.layout.boards[other]
        if (mine.link, mine.pins) != (theirs.link, theirs.pins):
            continue
        here, there = ({stop.port: stop.name for stop in stops} for stops in (ones, others))
        expects = {stop.name: _led_to(seen, there.get(stop.port)) for stop in ones}
        expects |= {stop.name: _led_to(seen, here.get(stop.port)) for stop in others}
        what = f"{one} and {other} are taken for each other: each has the other's numbers."
        first = "first pin" if mine.pins else "first address"
        tries = (
            f"Exchange their `{first}` in the layout file: {theirs.first_address} for {one}, "
            f"{mine.first_address} for {other}.",
            "Or give the boards themselves each other's number.",
        )
        yield Guess((one, other), expects, what, tries, least=3)


def board_shifted(seen: Walked) -> Iterator[Guess]:
    for name, stops in grouped(seen.stops(), "board").items():
        board = seen.layout.boards[name]
        owners = owners_of(seen, board.link, board.pins)
        for shift in SHIFTS:
            led = [owners.get(stop.number + shift) for stop in stops]
            if not any(led):
                continue
            expects = {stop.name: _led_to(seen, owner) for stop, owner in zip(stops, led, strict=True)}
            first = "first pin" if board.pins else "first address"
            what = (
                f"The numbers of {name} are {abs(shift)} off: what answers is "
                f"{'further up' if shift > 0 else 'further down'}."
            )
            tries = (
                f"Write `{first}: {board.first_address - shift}` for {name}: its ports may be counted from "
                f"{'1' if abs(shift) == 1 else 'another number'} on the box.",
                "Or set the board's own address, as its book says.",
            )
            yield Guess((name,), expects, what, tries, least=2)


def two_swapped(seen: Walked) -> Iterator[Guess]:
    led = {name: sign.others for name, sign in seen.signs.items() if sign.word == "other"}
    stops = {stop.name: stop for stop in seen.stops()}
    for one, other in combinations([name for name in led if name in stops], 2):
        if other in led[one] and one in led[other]:
            expects = {one: _led_to(seen, other), other: _led_to(seen, one)}
            what = f"{one} and {other} are exchanged: each answers to the other's number."
            tries = (
                f"Exchange what the layout file says of them: {one} is at {stops[other].where}, "
                f"{other} at {stops[one].where}.",
                "Or exchange their two plugs on the board.",
            )
            yield Guess((one, other), expects, what, tries, least=2)


def one_address(seen: Walked) -> Iterator[Guess]:
    stops = {stop.name: stop for stop in seen.stops()}
    for one, sign in seen.signs.items():
        for other in sign.others if sign.word == "also" and one in stops else ():
            if other not in stops:
                continue
            expects = {one: Expect(frozenset(("also",)), other), other: words("no", "also")}
            where, theirs = stops[one], stops[other]
            what = f"{one} and {other} are both on one number, {where.number}: they move together."
            tries = (
                f"Set what drives {other} to {theirs.number}, as the layout file has it ({theirs.where}).",
                f"If it is on the same board, look whether the wires of {one} and {other} touch or share a terminal.",
            )
            yield Guess((one, other), expects, what, tries, least=1)


def leads_elsewhere(seen: Walked) -> Iterator[Guess]:
    stops = {stop.name: stop for stop in seen.stops()}
    for name, sign in seen.signs.items():
        if sign.word == "other" and name in stops:
            other = sign.others[0] if sign.others else "something else"
            what = f"{other} moves where {name} should."
            tries = (
                f"Follow the wire from {stops[name].where}: the layout file has {name} there.",
                f"If {other} is meant to be there, exchange them in the layout file.",
            )
            yield Guess((name, other), {name: words("other")}, what, tries)


def moves_two(seen: Walked) -> Iterator[Guess]:
    stops = {stop.name: stop for stop in seen.stops()}
    for name, sign in seen.signs.items():
        if sign.word == "also" and name in stops:
            other = sign.others[0] if sign.others else "something else"
            what = f"{other} moves when {name} is told to, and by itself as well."
            tries = (
                f"Look whether their wires touch, or share a terminal: {stops[name].where}.",
                f"Does what drives {other} answer to two numbers? Its book says how to clear one.",
            )
            yield Guess((name, other), {name: words("also")}, what, tries)
