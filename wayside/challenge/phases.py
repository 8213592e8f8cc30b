"""Every next event at every phase: passages that have been played, and all that can be set at each instant of them.

A product too large to be written out is drawn from. Plays nothing.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from wayside.challenge.case import BEGINS_US, Case
from wayside.challenge.case_menu import Happening

OFFSETS_US = (("just before", -1_000), ("at", 0), ("just after", 1_000), ("between", None))
AFTER_US = 2_000_000  # after a passage's last instant, half of this is one more place
MOST = 100_000  # pairs that are tried of a product that has more


@dataclass(frozen=True)
class Asked:
    """A case to be played, and what it covers."""

    case: Case
    kinds: tuple[str, ...]
    pair: bool = False  # one of the product

    def joined(self, added: Case, kind: str, pair: bool = False) -> Asked:
        case = self.case._replace(trains=(*self.case.trains, *added.trains), acts=(*self.case.acts, *added.acts))
        return Asked(case, (*self.kinds, kind), pair)


class Passage(NamedTuple):
    """A case that has been played, and the instants at which anything happened in it."""

    asked: Asked
    instants: tuple[int, ...]

    def places(self) -> Iterator[int]:
        """Just before, at and just after each of its instants, and between it and the next."""
        ends = [*self.instants[1:], self.instants[-1] + AFTER_US] if self.instants else []
        for at_us, until_us in zip(self.instants, ends, strict=True):
            for _, offset in OFFSETS_US:
                yield (at_us + until_us) // 2 if offset is None else at_us + offset


class Product(NamedTuple):
    """`phases` is how many places there are, `whole` how many pairs; `pairs` those to be tried, well mixed."""

    phases: int
    whole: int
    pairs: tuple[Asked, ...]


def product(passages: Sequence[Passage], following: Sequence[Happening], dice: random.Random) -> Product:
    """Everything that can happen next at every phase of every passage. Two places less one moment may be one pair."""
    next_ones = [(happening, moment_us) for happening in following for moment_us in happening.moments]
    places = [(number, place) for number, passage in enumerate(passages) for place in passage.places()]
    size = len(places) * len(next_ones)
    chosen: Sequence[int] = range(size) if size <= MOST else dice.sample(range(size), MOST)
    found: dict[tuple[int, str, int], Asked] = {}
    for index in chosen:
        number, placed_us = places[index // len(next_ones)]
        happening, moment_us = next_ones[index % len(next_ones)]
        key = (number, happening.kind, placed_us - moment_us)
        added = None if key in found or placed_us - moment_us < BEGINS_US else happening.at(placed_us, moment_us)
        if added is not None:
            found[key] = passages[number].asked.joined(added, happening.kind, pair=True)
    pairs = list(found.values())
    dice.shuffle(pairs)
    return Product(len(places), len(pairs) if size <= MOST else size, tuple(pairs))
