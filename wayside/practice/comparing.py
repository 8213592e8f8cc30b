"""Holds a practice table against what was played at a crossing: the worst measured for each row, and a verdict.

Knows no screen and no files; how a row is measured and what it asks is decided elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from engine.layout import Crossing
from engine.program import Program
from wayside.practice.measures import NEVER_SQUEEZED, Measure, Need, Sort
from wayside.practice.measuring import Found, Passage
from wayside.practice.passages import tracks_over
from wayside.practice.table import PracticeTable, Row, Status


class Verdict(Enum):
    KEPT = "kept"
    NOT_KEPT = "not kept"
    ADVICE = "advice"  # not kept, but its source was not read, so nothing fails by it
    NOT_THERE = "not there"  # the crossing has not the parts that the row speaks of
    SQUEEZED = "squeezed"  # a time of a sequence that was made to fit into less


class Worst(NamedTuple):
    """The finding that keeps a row least, and the passage that gave it."""

    found: Found
    passage: Passage


@dataclass(frozen=True, slots=True)
class Judged:
    """One row held against one crossing. `missing` are the parts that it has not; `worst` is None if it never came
    about in any passage."""

    row: Row
    verdict: Verdict
    worst: Worst | None = None
    missing: tuple[Need, ...] = ()

    @property
    def fails(self) -> bool:
        return self.verdict is Verdict.NOT_KEPT


@dataclass(frozen=True, slots=True)
class Comparison:
    crossing: Crossing
    table: PracticeTable
    rows: tuple[Judged, ...]

    def count(self, verdict: Verdict) -> int:
        return sum(one.verdict is verdict for one in self.rows)

    @property
    def fails(self) -> bool:
        return any(one.fails for one in self.rows)


def compare(program: Program, crossing: Crossing, passages: Sequence[Passage], table: PracticeTable) -> Comparison:
    """Every row of a table, judged by the worst of all passages."""
    squeezed = bool(squeezed_scenes(program, crossing))
    return Comparison(crossing, table, tuple(_judged(row, program, crossing, passages, squeezed) for row in table.rows))


def squeezed_scenes(program: Program, crossing: Crossing) -> list[str]:
    """The scenes that work this crossing and are made to fit into a time: their durations are not those of practice."""
    parts = set(parts_of(crossing))
    return [
        name
        for name, scene in program.scenes.items()
        if getattr(scene, "fits_us", None) is not None and parts.intersection(scene.writes)
    ]


def parts_of(crossing: Crossing) -> Iterator[str]:
    """The names of all outputs that play a part."""
    yield from (*crossing.amber, *crossing.reds, *crossing.entrance_barriers, *crossing.exit_barriers)
    yield from (*crossing.boom_lamps, *crossing.audible_warning, *crossing.signals)


# --- one row -------------------------------------------------------------------------------------------------------


def _judged(row: Row, program: Program, crossing: Crossing, passages: Sequence[Passage], squeezed: bool) -> Judged:
    missing = tuple(need for need in row.measured_by.needs if not _HAS[need](program, crossing))
    if missing:
        return Judged(row, Verdict.NOT_THERE, missing=missing)
    worst = _worst(row, passages)
    if squeezed and _is_squeezed(row):
        return Judged(row, Verdict.SQUEEZED, worst)
    if worst is not None and _is_kept(row, worst.found):
        return Judged(row, Verdict.KEPT, worst)
    return Judged(row, Verdict.NOT_KEPT if row.status is Status.READ else Verdict.ADVICE, worst)


def _is_squeezed(row: Row) -> bool:
    """Whether a row asks for a time of the closing. What must come at once is a matter of order: nothing excuses it."""
    return row.measured_by.sort is Sort.TIME and row.measure not in NEVER_SQUEEZED and row.limit.exactly != 0


def _worst(row: Row, passages: Iterable[Passage]) -> Worst | None:
    """Of all findings the one furthest from keeping the row; of equal ones the first."""
    found = [Worst(one, passage) for passage in passages for one in row.measured_by.find(passage)]
    return min(found, key=lambda one: _ease(row, one.found), default=None)


def _ease(row: Row, found: Found) -> tuple[bool, Fraction]:
    if found.fault or found.value is None:
        return (not found.fault, Fraction(0))
    return (True, row.limit.margin(Fraction(found.value)))


def _is_kept(row: Row, found: Found) -> bool:
    measure: Measure = row.measured_by
    if measure.sort is Sort.RULE or found.value is None:
        return not found.fault
    return row.limit.kept_by(Fraction(found.value), measure.sort)


_HAS: dict[Need, Callable[[Program, Crossing], bool]] = {
    Need.AMBER: lambda _, crossing: bool(crossing.amber),
    Need.REDS: lambda _, crossing: bool(crossing.reds),
    Need.TWO_REDS: lambda _, crossing: len(crossing.reds) > 1,  # a pair that its board flashes is one output
    Need.ENTRANCE: lambda _, crossing: bool(crossing.entrance_barriers),
    Need.EXIT: lambda _, crossing: bool(crossing.exit_barriers),
    Need.BARRIERS: lambda _, crossing: bool(crossing.entrance_barriers or crossing.exit_barriers),
    Need.BOOMS: lambda _, crossing: bool(crossing.boom_lamps),
    Need.THREE_BOOMS: lambda _, crossing: len(crossing.boom_lamps) > 2,
    Need.BELL: lambda _, crossing: bool(crossing.audible_warning),
    Need.SIGNALS: lambda _, crossing: bool(crossing.signals),
    Need.DETECTORS: lambda _, crossing: bool(crossing.detectors),
    Need.TRAINS: lambda program, crossing: bool(tracks_over(program, crossing)),
}
