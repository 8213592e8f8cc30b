"""What was cut or refused in the cases of a challenge, though no rule broke by it, with the smallest case of each.

Plays nothing and prints nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from engine.layout import NOWHERE, Place
from engine.trace import Record, Trouble

if TYPE_CHECKING:
    from wayside.challenge.case import Case

MOST_SNAGS = 20  # different ones that are kept


class Snag(NamedTuple):
    """`cut`: a scene was stopped, since it did not settle."""

    text: str
    place: Place
    cut: bool
    at_us: int


class Snagged(NamedTuple):
    """A snag with a case that shows it, and whether a scene would have had to bear that case."""

    snag: Snag
    case: Case
    within: bool


def snags_of(trace: Iterable[Record]) -> tuple[Snag, ...]:
    """The first of each kind, in order."""
    found: dict[str, Snag] = {}
    for record in trace:
        if isinstance(record, Trouble) and len(found) < MOST_SNAGS:
            place = record.places[0] if record.places else NOWHERE
            found.setdefault(record.text, Snag(record.text, place, record.cut, record.at_us))
    return tuple(found.values())


class Snags:
    """Those of a whole search. Of the cases that show one the smallest is kept, and one within the budget first."""

    def __init__(self) -> None:
        self._found: dict[str, Snagged] = {}

    def learn(self, case: Case, within: bool, snags: Iterable[Snag]) -> None:
        """What came of a case."""
        for snag in snags:
            before = self._found.get(snag.text)
            if before is None and len(self._found) >= MOST_SNAGS:
                continue
            if before is None or (not within, case.size) < (not before.within, before.case.size):
                self._found[snag.text] = Snagged(snag, case, within)

    def found(self) -> list[Snagged]:
        """Scenes that were stopped first, and of those what a scene has to bear."""
        return sorted(self._found.values(), key=lambda one: (not one.snag.cut, not one.within))
