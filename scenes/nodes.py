"""The syntax tree's one node: what the grammar calls it, its parts, and where it stands. Knows no parser."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from engine.layout import Place


class Word(NamedTuple):
    """One word, quantity or text as written. `kind` is the grammar's name for it: NAME, DURATION, ON ..."""

    kind: str
    text: str
    place: Place


class Node(NamedTuple):
    """A rule of the grammar and what stood in it, in the order written; absent options are left out."""

    kind: str
    parts: tuple[Node | Word, ...]
    place: Place

    def words(self, kind: str = "NAME") -> list[Word]:
        """The words of one kind that stand directly in this node."""
        return [part for part in self.parts if isinstance(part, Word) and part.kind == kind]

    def word(self, *kinds: str) -> Word | None:
        """The first word of any of the kinds that stands directly in this node."""
        return next((part for part in self.parts if isinstance(part, Word) and part.kind in kinds), None)

    def nodes(self, *kinds: str) -> Iterator[Node]:
        """The nodes of any of the kinds that stand directly in this node; all of them if none is named."""
        return (part for part in self.parts if isinstance(part, Node) and (not kinds or part.kind in kinds))

    def node(self, *kinds: str) -> Node | None:
        return next(self.nodes(*kinds), None)
