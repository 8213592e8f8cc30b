"""What a page of a survey is made of: a heading, sentences, a table. Knows neither words nor ink."""

from __future__ import annotations

from typing import NamedTuple


class Table(NamedTuple):
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()  # columns of figures


class Section(NamedTuple):
    """A heading, sentences, a table, and what stands below it."""

    title: str
    lines: tuple[str, ...] = ()
    table: Table | None = None
    below: tuple[str, ...] = ()
