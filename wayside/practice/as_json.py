"""A comparison for programs: plain dictionaries of names, seconds and rates.

Owns the form of the output. Judges nothing.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from typing import Any, TextIO

from wayside.practice.comparing import Comparison, Judged
from wayside.practice.measures import Sort
from wayside.practice.passages import Played

SECOND_US = 1_000_000


def dump(compared: Sequence[tuple[Played, Sequence[Comparison]]], file: TextIO) -> None:
    """One object for each crossing: what was played, and each table with its rows."""
    json.dump([_crossing(*one) for one in compared], file, indent=1, ensure_ascii=False)
    file.write("\n")


def _crossing(played: Played, comparisons: Sequence[Comparison]) -> dict[str, Any]:
    return {
        "crossing": comparisons[0].crossing.name,
        "played": [passage.title for passage in played.passages],
        "left out": dict(played.left_out),
        "tables": [
            {"name": one.table.name, "title": one.table.title, "rows": [_row(row) for row in one.rows]}
            for one in comparisons
        ],
    }


def _row(one: Judged) -> dict[str, Any]:
    """Times in seconds, rates in flashes a minute; what does not apply is left out."""
    row, sort, worst = one.row, one.row.measured_by.sort, one.worst
    limit = {key.replace("_", " "): _number(value, sort) for key, value in row.limit._asdict().items()}
    found = None if worst is None else worst.found
    said = {
        "row": row.name,
        "quantity": row.quantity,
        "measure": row.measure,
        "counts": sort.name.lower(),
        **limit,
        "verdict": one.verdict.value,
        "measured": None if found is None else _number(found.value, sort),
        "fault": None if found is None else found.fault or None,
        "at": None if found is None else found.at_us / SECOND_US,
        "in": None if worst is None else worst.passage.title,
        "missing": [need.value for need in one.missing] or None,
        "source": row.source,
        "status": row.status.value,
    }
    return {key: value for key, value in said.items() if value is not None}


def _number(value: Fraction | int | None, sort: Sort) -> float | None:
    if value is None:
        return None
    return round(float(value), 6) if sort is Sort.RATE else float(Fraction(value) / SECOND_US)
