"""From what was seen on a walk to likely faults, the likeliest first: each guess of the table says what it would have
shown, and the one that explains most of what was seen and contradicts least comes first; then what is left is asked.

Pure: layout, answers and what the links said in; sentences out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from wayside.walk.guess import Guess
from wayside.walk.patterns import PATTERNS
from wayside.walk.signs import Sign, Walked

MOST_FAULTS = 100
AGAINST = 2  # what contradicts a guess weighs so many times what speaks for it (a choice, no source)


class Fault(NamedTuple):
    """A likely fault: which row of the table, what it is about, what is wrong, what to try in order, and the stops that
    it explains."""

    key: str
    about: tuple[str, ...]
    what: str
    tries: tuple[str, ...]
    stops: tuple[str, ...]


class _Weighed(NamedTuple):
    guess: Guess
    explained: tuple[str, ...]
    weight: int


def likely_faults(seen: Walked) -> list[Fault]:
    """The likely faults, what explains most first. Everything that was seen to be wrong is explained by one of them."""
    left = {name: sign for name, sign in seen.signs.items() if sign.word != "yes"}
    faults: list[Fault] = []
    guesses = [(row.key, guess) for row in PATTERNS for guess in row.finds(seen)]
    while left and len(faults) < MOST_FAULTS:
        best: _Weighed | None = None
        best_key = ""
        for key, guess in guesses:
            found = _weigh(guess, seen.signs, left)
            if len(found.explained) >= guess.least and (best is None or found.weight > best.weight):
                best, best_key = found, key
        if best is None or best.weight <= 0:
            break
        guess = best.guess
        faults.append(Fault(best_key, guess.about, guess.what, guess.tries, best.explained))
        for name in best.explained:
            del left[name]
    return faults


def _weigh(guess: Guess, signs: Mapping[str, Sign], left: dict[str, Sign]) -> _Weighed:
    """How much of what is left a guess explains, less what was seen otherwise."""
    explained, against = [], 0
    for name, expect in guess.expects.items():
        sign = signs.get(name)
        if sign is None:
            continue
        if not expect.agrees(sign):
            against += 1
        elif name in left:
            explained.append(name)
    return _Weighed(guess, tuple(explained), len(explained) - AGAINST * against)
