"""What a guess at a wrong wiring is, and what guesses are made of. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from wayside.walk.signs import Expect, Walked
from wayside.walk.stops import Stop
from wayside.wording import listed

SHIFTS = (*range(-16, 0), *range(1, 17))  # how far numbers may be off
SHOWN = 6  # names in one sentence


class Guess(NamedTuple):
    """Something that may be wrong, what would be seen at which stop, and how many of those must have been seen."""

    about: tuple[str, ...]
    expects: Mapping[str, Expect]
    what: str
    tries: tuple[str, ...]
    least: int = 1


def words(*words: str) -> Expect:
    return Expect(frozenset(words))


DEAD = words("no")
WRONG_WAY = words("wrong way")


def all_of(stops: Iterable[Stop], expect: Expect) -> dict[str, Expect]:
    return {stop.name: expect for stop in stops}


def grouped(stops: Iterable[Stop], attribute: str) -> dict[str, list[Stop]]:
    found: dict[str, list[Stop]] = {}
    for stop in stops:
        if name := getattr(stop, attribute):
            found.setdefault(name, []).append(stop)
    return found


def owners_of(seen: Walked, link: str, is_pin: bool) -> dict[int, str]:
    return {stop.number: stop.name for stop in seen.stops() if stop.link == link and stop.is_pin == is_pin}


def count_of(stops: list[Stop]) -> str:
    return listed([stop.name for stop in stops], SHOWN)
