"""Spans of time, as sets: when something holds, when it does not, when two things hold together.

Pure arithmetic of whole microseconds; knows nothing of what holds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from functools import reduce
from typing import NamedTuple


class Span(NamedTuple):
    """From an instant up to another, which is not included."""

    start: int
    end: int

    @property
    def length(self) -> int:
        return self.end - self.start


class Spans:
    """When something holds, from nought up to `over_us`: spans in order that neither touch nor overlap."""

    __slots__ = ("_starts", "all", "over_us")

    def __init__(self, spans: Iterable[tuple[int, int]], over_us: int) -> None:
        self.over_us = over_us
        self.all = tuple(_joined(spans, over_us))
        self._starts = [span.start for span in self.all]

    def __iter__(self) -> Iterator[Span]:
        return iter(self.all)

    def __bool__(self) -> bool:
        return bool(self.all)

    def at(self, at_us: int) -> Span | None:
        """The span in which an instant lies."""
        index = bisect_right(self._starts, at_us) - 1
        return self.all[index] if index >= 0 and at_us < self.all[index].end else None

    def open(self, span: Span) -> bool:
        """Whether the span was not over when the looking ended, so that its length is not known."""
        return span.end >= self.over_us

    def ends(self) -> list[int]:
        """The instants at which it stopped holding."""
        return [span.end for span in self.all if not self.open(span)]

    def starts(self) -> list[int]:
        return [span.start for span in self.all]

    def __invert__(self) -> Spans:
        edges = [0, *(edge for span in self.all for edge in span), self.over_us]
        return Spans(zip(edges[::2], edges[1::2], strict=True), self.over_us)

    def __or__(self, other: Spans) -> Spans:
        return Spans([*self.all, *other.all], self.over_us)

    def __and__(self, other: Spans) -> Spans:
        return ~(~self | ~other)

    def __sub__(self, other: Spans) -> Spans:
        return self & ~other

    def within(self, span: Span) -> Spans:
        """What of it lies in a span."""
        return self & Spans([span], self.over_us)


def all_of(sets: Iterable[Spans], over_us: int) -> Spans:
    """When every one of them holds; of none of them that is always."""
    return reduce(Spans.__and__, sets, Spans([(0, over_us)], over_us))


def any_of(sets: Iterable[Spans], over_us: int) -> Spans:
    """When at least one of them holds."""
    return Spans([span for one in sets for span in one], over_us)


def _joined(spans: Iterable[tuple[int, int]], over_us: int) -> Iterator[Span]:
    start = end = -1
    for first, last in sorted((max(first, 0), min(last, over_us)) for first, last in spans):
        if last <= first:
            continue
        if start >= 0 and first <= end:
            end = max(end, last)
            continue
        if start >= 0:
            yield Span(start, end)
        start, end = first, last
    if start >= 0:
        yield Span(start, end)
