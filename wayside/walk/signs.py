"""What an answer is a sign of, in one small alphabet for outputs and inputs alike; and what a guess expects to be seen.

Pure. The table of guesses is in `patterns`, how they are weighed in `faults`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from engine.layout import Layout
from wayside.walk.answers import CHATTERS_FROM, LOOKED_AT, Answer, Answers, How, Rolled
from wayside.walk.stops import OUTPUT, Round, Stop


class Sign(NamedTuple):
    """`word`: yes, no, other, also, wrong way, no fade; of inputs also strange, stuck, chatters. `others` are names, or
    a number that the layout file does not have."""

    word: str
    others: tuple[str, ...] = ()


class Expect(NamedTuple):
    """What would be seen at a stop if a guess were right: one of these words, and the thing that it is about."""

    words: frozenset[str]
    other: str = ""
    never: frozenset[str] = frozenset()  # names that it cannot be about

    def agrees(self, sign: Sign) -> bool:
        about = not self.other or self.other in sign.others
        return sign.word in self.words and about and self.never.isdisjoint(sign.others)


class Heard(NamedTuple):
    """How a link was during the walk, in its own words."""

    link: str
    talks: bool = True
    power: str = ""  # "on", "off", "overload"; empty where the station has not said
    what: str = ""
    instead: str = ""
    refused: int = 0


class Walked(NamedTuple):
    """All that a diagnosis goes by."""

    layout: Layout
    round: Round
    signs: Mapping[str, Sign]  # of stops that were looked at
    heard: Mapping[str, Heard]

    def stops(self, sort: str = OUTPUT) -> list[Stop]:
        return [stop for stop in self.round.stops if stop.sort == sort]


def walked(layout: Layout, walk: Round, answers: Answers, heard: Mapping[str, Heard] | None = None) -> Walked:
    """What was seen, ready for the table; answers to what is no stop of this layout any more are left out."""
    signs = {
        stop.name: sign_of(stop, answers[stop.name])
        for stop in walk.stops
        if stop.name in answers and answers[stop.name].how in LOOKED_AT
    }
    return Walked(layout, walk, signs, heard or {})


def sign_of(stop: Stop, answer: Answer) -> Sign:
    """Of an output what the person said; of an input what was heard, if anything was."""
    if stop.sort == OUTPUT or answer.rolled is None:
        return Sign(answer.how.value, (answer.other,) if answer.other else ())
    return _of_rolled(answer.rolled, answer.how)


def _of_rolled(rolled: Rolled, how: How) -> Sign:
    if rolled.occupied >= CHATTERS_FROM:
        return Sign("chatters")
    if not rolled.anything:
        if rolled.others:
            return Sign("other", rolled.others)
        if rolled.strange:
            return Sign("strange", tuple(map(str, rolled.strange)))
        return Sign("stuck" if rolled.began == "occupied" else "no")
    if rolled.began == rolled.ended == "occupied" and rolled.cleared:
        return Sign("wrong way")
    if rolled.ended == "occupied":
        return Sign("stuck")
    if rolled.others:
        return Sign("also", rolled.others)
    return Sign("yes" if rolled.occupied else how.value)
