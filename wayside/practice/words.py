"""A comparison as a person reads it: an aligned table of at most 100 columns, what was played, what it is not.

Decides how things look. What is measured and judged is decided elsewhere.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from engine.trace import TrainAt
from wayside.practice.comparing import Comparison, Judged, Verdict
from wayside.practice.measures import MEASURES, Need, Sort
from wayside.practice.measuring import Passage
from wayside.practice.passages import Played
from wayside.practice.table import Limit, PracticeTable, Status
from wayside.wording import count, duration, listed

COLUMNS = 100
GAP = "  "
HEADINGS = ("row", "verdict", "required", "measured", "in", "quantity, and where it stands")

SCENERY = (
    "A model's crossing is scenery. It is never a design for a real crossing: that is for licensed practice and the "
    "railway's own standards."
)
_MEANS = {
    Verdict.ADVICE: "advice: not kept, but the source itself was not read, so nothing fails by it",
    Verdict.NOT_THERE: "not there: the crossing has not the parts that the row speaks of, so nothing was measured",
    Verdict.SQUEEZED: "squeezed: a time of a sequence that was made to fit into less, so it is told and not judged",
}
_LACKS = {
    Need.TRAINS: "no track lies on the road, or `on the road` is not given",
    Need.TWO_REDS: "it takes two reds or more",
    Need.THREE_BOOMS: "it takes three boom lamps or more, each an output of its own",
}


# --- one table -----------------------------------------------------------------------------------------------------


def lines(comparison: Comparison, passages: Sequence[Passage]) -> Iterator[str]:
    """One table held against one crossing."""
    table = comparison.table
    yield from _wrapped(f"{comparison.crossing.name} against {table.name}: {table.title}")
    yield from _wrapped(f"It covers {table.covers}.")
    yield ""
    numbers = {id(passage): number for number, passage in enumerate(passages, 1)}
    cells = [_cells(one, numbers) for one in comparison.rows]
    widths = [max(len(row[column]) for row in [HEADINGS, *(row for row, _ in cells)]) for column in range(5)]
    yield _aligned(HEADINGS, widths)
    for row, more in cells:
        yield from _row(row, more, widths)
    yield ""
    yield from _wrapped(f"{_counted(comparison)}.")
    for verdict, words in _MEANS.items():
        if comparison.count(verdict):
            yield from _wrapped(f"{words}.")


def _row(cells: Sequence[str], more: Iterable[str], widths: Sequence[int]) -> Iterator[str]:
    room = COLUMNS - len(_aligned([""] * 6, widths))
    quantity = textwrap.wrap(cells[5], room)
    yield _aligned([*cells[:5], quantity[0]], widths)
    for text in [*quantity[1:], *(line for part in more for line in textwrap.wrap(part, room))]:
        yield _aligned(["", "", "", "", "", text], widths)


def _aligned(cells: Sequence[str], widths: Sequence[int]) -> str:
    padded = [f"{cell:<{width}}" for cell, width in zip(cells, widths, strict=False)]
    return GAP.join([*padded, cells[5]]) if cells[5] else GAP.join(padded) + GAP


def _cells(one: Judged, numbers: dict[int, int]) -> tuple[tuple[str, ...], list[str]]:
    """The cells of a row, and the lines that follow its quantity."""
    row = one.row
    number = f"{numbers[id(one.worst.passage)]}" if one.worst is not None and _shows_where(one) else ""
    cells = (
        row.name,
        one.verdict.value,
        required(row.limit, row.measured_by.sort),
        measured(one),
        number,
        row.quantity,
    )
    return cells, [f"{row.source}, {row.status.words}", *_remarks(one)]


def _shows_where(one: Judged) -> bool:
    return one.worst is not None and (one.worst.found.value is not None or bool(one.worst.found.fault))


def _remarks(one: Judged) -> Iterator[str]:
    if one.missing:
        yield f"not there: {'; '.join(_LACKS.get(need, f'the layout names no {need.value}') for need in one.missing)}"
    elif one.worst is None:
        yield "it never came about in anything that was played"
    elif one.worst.found.fault:
        yield f"at {duration(one.worst.found.at_us)}: {one.worst.found.fault}"
    elif one.verdict in (Verdict.NOT_KEPT, Verdict.ADVICE):
        yield f"counted at {duration(one.worst.found.at_us)}"
    elif one.verdict is Verdict.SQUEEZED and one.worst.found.value is not None:
        yield ratio(one.row.limit, Fraction(one.worst.found.value))


def ratio(limit: Limit, value: Fraction) -> str:
    """A squeezed time as a share of what practice asks for."""
    bound = limit.nearest_to(value)
    return f"{float(value / bound):.2g} of {duration(int(bound))}" if bound else "nothing to compare it with"


def required(limit: Limit, sort: Sort) -> str:
    if sort is Sort.RULE:
        return "always"
    least, most, exactly = limit
    if exactly is not None:
        return f"exactly {number(exactly, sort)}" if exactly else "at once"
    if least is not None and most is not None:
        low = number(least, sort)
        return f"{low.removesuffix(' a minute')} to {number(most, sort)}"
    return f"at least {number(least, sort)}" if least is not None else f"at most {number(most or Fraction(0), sort)}"


def measured(one: Judged) -> str:
    if one.missing:
        return ""
    if one.worst is None:
        return "never"
    found = one.worst.found
    if found.value is not None:
        return number(Fraction(found.value), one.row.measured_by.sort)
    return "not always" if found.fault else "always"


def number(value: Fraction, sort: Sort) -> str:
    if sort is Sort.RATE:
        return f"{_rounded(value)} a minute"
    return duration(int(value))


def _rounded(value: Fraction) -> str:
    """To three places, as far as they are not noughts."""
    return f"{float(value):.3f}".rstrip("0").rstrip(".")


def _counted(comparison: Comparison) -> str:
    parts = [f"{comparison.count(one) or 'none'} {one.value}" for one in Verdict if comparison.count(one)]
    return f"{count(len(comparison.rows), 'row')}: {', '.join(parts)}"


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, COLUMNS, subsequent_indent=indent)


# --- all shipped tables in short -----------------------------------------------------------------------------------


def short(comparisons: Sequence[Comparison]) -> Iterator[str]:
    """A line for each table, where none was asked for."""
    yield from _wrapped(f"{comparisons[0].crossing.name} against every table that comes with Wayside")
    yield ""
    verdicts = [one for one in Verdict if one is not Verdict.SQUEEZED or any(each.count(one) for each in comparisons)]
    width = max(len(one.table.name) for one in comparisons)
    yield GAP.join([f"{'table':<{width}}", *(one.value for one in verdicts)])
    for one in comparisons:
        yield GAP.join(
            [f"{one.table.name:<{width}}", *(f"{one.count(verdict):>{len(verdict.value)}}" for verdict in verdicts)]
        )
    yield ""
    yield from _wrapped(
        "Nothing fails, because no table was asked for. --table NAME shows the rows of one; `practice: NAME` at the "
        "crossing in layout.yaml says which practice it is built to."
    )


# --- what was played -----------------------------------------------------------------------------------------------


def what_was_played(played: Played, numbered: bool) -> Iterator[str]:
    """The passages, by the numbers that the tables give."""
    if not played.passages:
        yield from _wrapped(
            "Nothing could be played, so nothing was measured: no track lies on the road (`on the road` at the "
            "crossing, `tracks`), and the crossing names no detectors that a hand could work."
        )
        return
    where = ", and `in` says which gave it" if numbered else ""
    yield from _wrapped(f"Played. Of all that was measured the worst counts{where}:")
    for number, passage in enumerate(played.passages, 1):
        in_vain = any(isinstance(record, TrainAt) for record in passage.trace) and not passage.arrivals
        yield f"  {number:>2}  {passage.title}{'; no train reached the road' if in_vain else ''}"
    for name, why in played.left_out:
        yield from _wrapped(f"Left out: rehearsal {name}, because {why}.", "  ")
    if played.tracks_left_out:
        yield from _wrapped(
            f"Left out: trains along {', '.join(played.tracks_left_out)}; so many tracks are not played."
        )


def squeezed(scenes: Sequence[str]) -> list[str]:
    """Which scenes' times are not those of practice."""
    if not scenes:
        return []
    verb = "is" if len(scenes) == 1 else "are"
    return _wrapped(
        f"{listed(list(scenes))} {verb} made to fit into a time: order, phase and rate are judged, times are told."
    )


def scenery() -> list[str]:
    return _wrapped(SCENERY)


# --- lists ---------------------------------------------------------------------------------------------------------


def tables(known: Sequence[PracticeTable]) -> Iterator[str]:
    """The tables that are shipped, with how many rows of each were read, reported or remembered."""
    width = max(len(one.name) for one in known)
    for one in known:
        parts = [(sum(row.status is status for row in one.rows), status.words) for status in Status]
        said = ", ".join(f"{number} {words}" for number, words in parts if number)
        text = f"{one.title} ({count(len(one.rows), 'row')}: {said})"
        yield from textwrap.wrap(f"{one.name:<{width}}{GAP}{text}", COLUMNS, subsequent_indent=" " * (width + 2))
    yield ""
    yield from _wrapped(
        "wayside compare FOLDER --table NAME holds a layout's crossings against one of these, or against a table of "
        "your own: --table FILE.yaml. wayside/practice/README.md says how to write one."
    )


def measures() -> Iterator[str]:
    """All that a row can measure."""
    heads = {Sort.TIME: "times", Sort.RATE: "rates", Sort.RULE: "rules, which take no number"}
    width = max(map(len, MEASURES))
    for sort, head in heads.items():
        yield f"{head}:"
        for name, measure in MEASURES.items():
            if measure.sort is sort:
                start = f"  {name:<{width}}{GAP}"
                yield from textwrap.wrap(f"{start}{measure.about}", COLUMNS, subsequent_indent=" " * len(start))
        yield ""
