"""Guesses of a walk about detectors and buttons. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations
from typing import NamedTuple

from wayside.walk.guess import DEAD, SHIFTS, SHOWN, Guess, all_of, count_of, grouped, words
from wayside.walk.signs import Expect, Walked
from wayside.walk.stops import BUTTON, DETECTOR, Stop
from wayside.wording import listed


def inputs_of(seen: Walked) -> list[Stop]:
    return [*seen.stops(DETECTOR), *seen.stops(BUTTON)]


def inputs_silent(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(inputs_of(seen), "link").items():
        what = f"No detector and no button of link {link} was heard ({count_of(stops)})."
        tries = (
            "Look at the supply of the detectors' board, and at its wire to the station.",
            "If the sections are fed through it, look that the track power is on: without it they report clear.",
            f"`wayside probe` says which of them the station of {link} knows.",
        )
        yield Guess((link,), all_of(stops, DEAD), what, tries, least=2)


def inputs_shifted(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(inputs_of(seen), "link").items():
        owners = {stop.number: stop.name for stop in stops}
        for shift in SHIFTS:
            expects = {}
            for stop in stops:
                owner = owners.get(stop.number + shift)
                words = frozenset(("other",) if owner else ("strange",))
                expects[stop.name] = Expect(words, owner or str(stop.number + shift))
            what = (
                f"The detectors of link {link} report under numbers that are {shift:+d} from those in the layout file."
            )
            tries = (f"Add {shift:+d} to each of their numbers in the layout file; count from the same first input.",)
            yield Guess((link,), expects, what, tries, least=3)


def inputs_swapped(seen: Walked) -> Iterator[Guess]:
    stops = {stop.name: stop for stop in inputs_of(seen)}
    led = {name: sign.others for name, sign in seen.signs.items() if sign.word == "other" and name in stops}
    for one, other in combinations(led, 2):
        if other in led[one] and one in led[other]:
            led_to = frozenset(("other",))
            what = f"{one} and {other} are exchanged: each reports as the other."
            tries = (
                f"Exchange their numbers in the layout file: {stops[other].number} for {one}, "
                f"{stops[one].number} for {other}.",
                "Or exchange their two wires at the board.",
            )
            yield Guess((one, other), {one: Expect(led_to, other), other: Expect(led_to, one)}, what, tries, least=2)


def inputs_joined(seen: Walked) -> Iterator[Guess]:
    stops = {stop.name for stop in inputs_of(seen)}
    for one, sign in seen.signs.items():
        for other in sign.others if sign.word == "also" and one in stops else ():
            expects = {one: Expect(frozenset(("also",)), other)}
            if (theirs := seen.signs.get(other)) is not None and theirs.word == "also":
                expects[other] = Expect(frozenset(("also",)), one)
            what = f"A wagon on {one} is seen by {other}, too."
            tries = (
                "Is the gap in the rail between them closed, by a rail joiner or by swarf?",
                "Does a wire lead from one to the other at the board?",
                "If the wagon stood across both, roll it once more with only one axle.",
            )
            yield Guess((one, other), expects, what, tries)


class _InputFault(NamedTuple):
    word: str
    what: str
    tries: tuple[str, ...]


INPUT_FAULTS = {
    "detector never clears": _InputFault(
        "stuck",
        "{name} never clears: it says that it is taken with nothing there.",
        (
            "Look for a wagon, a tool or a wet place on it; damp ballast conducts.",
            "If it is a beam, look whether it is blocked, or out of line. If it is a switch, whether it hangs.",
            "A section may be set too sensitive: turn it down until the empty track reports clear.",
        ),
    ),
    "detector the wrong way round": _InputFault(
        "wrong way",
        "{name} says the opposite: taken while it is free, free under the wagon.",
        (
            "If its contact is closed while the track is free, write `closed circuit: yes` for it in the layout file; "
            "if that stands there, take it out.",
            "Look whether it uses the right one of its two contacts.",
        ),
    ),
    "detector chatters": _InputFault(
        "chatters",
        "{name} chatters: one wagon came and went several times.",
        (
            "Clean the rails and the wheels there.",
            "Write `settle: 300 ms` for it, so that it clears only after that long; more if it still chatters.",
            "A wagon needs an axle that conducts; a loose wire chatters, too: move it and watch.",
        ),
    ),
    "another number": _InputFault(
        "strange",
        "{name} reports under another number: {others}.",
        ("Write that number for it in the layout file in place of {number}.",),
    ),
    "leads to another detector": _InputFault(
        "other",
        "{others} reports where {name} should.",
        ("Follow the wire from {name} to the board; the layout file has it at input {number}.",),
    ),
    "detector never seen": _InputFault(
        "no",
        "{name} was never heard.",
        (
            "Does the wagon's axle conduct? Roll a locomotive over it, or bridge the rails for a moment.",
            "Look at its wire and its feed, and at the track power if it is a section.",
            "Is its number right? The layout file has it at input {number}; `wayside probe` lists what reports.",
        ),
    ),
}  # fmt: skip


def of_input(fault: _InputFault) -> Callable[[Walked], Iterator[Guess]]:
    def finds(seen: Walked) -> Iterator[Guess]:
        for stop in inputs_of(seen):
            sign = seen.signs.get(stop.name)
            others = listed(list(sign.others), SHOWN) if sign is not None and sign.others else "something else"
            said = {"name": stop.name, "number": str(stop.number), "others": others}
            tries = tuple(one.format(**said) for one in fault.tries)
            yield Guess((stop.name,), {stop.name: words(fault.word)}, fault.what.format(**said), tries)

    return finds
