"""A drawing as text: the height of a curve in block characters, or in plain ones where the terminal has no others.

Knows columns and rows. Must not know what is drawn, or where the text goes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from wayside.pictures.drawing import Axis, Drawing, Mark
from wayside.pictures.drawing_samples import Column, columns
from wayside.wording import duration

NARROWEST, WIDEST = 40, 160  # characters of a line
BEYOND = 4  # of them right of the curve, for the last time
STEPS_US = (
    *(step * unit for unit in (1_000, 10_000, 100_000) for step in (1, 2, 5)),
    *(step * unit for unit in (1_000_000, 60_000_000) for step in (1, 2, 5, 10, 15, 30)),
    *(step * 3_600_000_000 for step in (1, 2, 4, 6, 12, 24)),
)


class Letters(NamedTuple):
    """`parts`: a cell that is filled from its foot, the emptiest first; `between`: one that comes and goes."""

    parts: str
    between: str
    side: str
    tick: str
    corner: str
    foot: str
    foot_tick: str
    mark: str


BLOCKS = Letters(" ▁▂▃▄▅▆▇█", "░", "│", "┤", "└", "─", "┬", "↑")
PLAIN = Letters("  ...###", ":", "|", "+", "+", "-", "+", "^")


def letters_for(encoding: str | None) -> Letters:
    """Blocks where the terminal's alphabet has all of them."""
    try:
        "".join(BLOCKS).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return BLOCKS


def lines(drawing: Drawing, width: int, letters: Letters) -> Iterator[str]:
    """The drawing, a line at a time, no longer than `width` (within NARROWEST to WIDEST)."""
    width = min(WIDEST, max(NARROWEST, width))
    left = max(len(text) for _, text in drawing.axis.ticks) + 1
    across = width - left - 1 - BEYOND
    comes_and_goes = False
    for line in drawing.lines:
        if line.label:
            yield f"{'':{left}}  {line.label}"
        cells = list(columns(line.wave, drawing.from_us, drawing.to_us, across))
        for row in picture(cells, drawing.axis, letters):
            comes_and_goes = comes_and_goes or letters.between in row[1]
            yield f"{row[0]:>{left}}{letters.tick if row[0] else letters.side}{row[1]}".rstrip()
    yield from _feet(drawing, left, across, letters)
    if comes_and_goes:
        yield f"{'':{left}} {letters.between} too quick to draw"


def picture(cells: Sequence[Column], axis: Axis, letters: Letters) -> Iterator[tuple[str, str]]:
    """Rows from the top down: what stands beside the row, and the row."""
    rows = axis.rows
    beside = {min(rows - 1, int(axis.share(value) * rows + 1e-9)): text for value, text in axis.ticks}
    ends = [_ends(cell) for cell in cells]
    shares = [(axis.share(low) * rows, axis.share(high) * rows) for low, high in ends]
    for row in range(rows - 1, -1, -1):
        yield beside.get(row, ""), "".join(_cell(low - row, high - row, row, letters) for low, high in shares)


def _ends(cell: Column) -> tuple[float, float]:
    """Between which values it comes and goes; a curve that only rises or falls stands for itself."""
    return (cell.middle, cell.middle) if cell.one_way else (cell.low, cell.high)


def _cell(low: float, high: float, row: int, letters: Letters) -> str:
    """One cell, of a column whose least and greatest height are given in cells from this one's foot."""
    low, high = min(1.0, max(0.0, low)), min(1.0, max(0.0, high))
    if high - low >= 0.5:
        return letters.between
    filled = (low + high) / 2
    part = round(filled * (len(letters.parts) - 1))
    if row == 0 and filled > 0.0:  # the faintest light is seen
        part = max(part, next(number for number, one in enumerate(letters.parts) if one != " "))
    return letters.parts[part]


def _feet(drawing: Drawing, left: int, across: int, letters: Letters) -> Iterator[str]:
    """The time axis, the times under it, and what happens at instants of its own."""
    span_us = drawing.to_us - drawing.from_us

    def place(at_us: int) -> int:
        return min(across - 1, (at_us - drawing.from_us) * across // span_us)

    times = [(at_us, duration(at_us)) for at_us in tick_times(drawing.to_us, span_us * 10 // across)]
    axis, under = [letters.foot] * across, [" "] * (across + BEYOND)
    for at_us, text in times:
        axis[place(at_us)] = letters.foot_tick
        _put(under, place(at_us), text)
    yield f"{'':{left}}{letters.corner}{''.join(axis)}"
    yield f"{'':{left}} {''.join(under).rstrip()}"
    beneath = [Mark(mark.at_us, f"{letters.mark} {mark.text}") for mark in drawing.marks]
    beneath += [Mark((hue.from_us + hue.to_us) // 2, hue.letters) for hue in drawing.hues]
    row = [" "] * (across + BEYOND)
    for mark in beneath:
        _put(row, place(mark.at_us), mark.text)
    if beneath:
        yield f"{'':{left}} {''.join(row).rstrip()}"


def _put(row: list[str], at: int, text: str) -> None:
    """Written unless something stands there already."""
    at = max(0, min(at, len(row) - len(text)))
    if not "".join(row[max(0, at - 1) : at + len(text)]).strip():
        row[at : at + len(text)] = text


def tick_times(to_us: int, apart_us: float) -> range:
    """Round times from 0, at least so far apart."""
    step = next((step for step in STEPS_US if step >= apart_us), STEPS_US[-1])
    while step < apart_us:
        step *= 2
    return range(0, to_us + 1, step)
