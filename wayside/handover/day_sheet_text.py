"""A day sheet as plain text of a given width, and as Markdown. Knows its tables only."""

from __future__ import annotations

import re
from collections.abc import Iterator
from textwrap import wrap

from wayside.handover.day_sheet import Part, Sheet

GAP = "  "
NARROWEST = 60
LONGEST_WORD = 30  # a longer one is broken
_MEANS_SOMETHING = re.compile(r"([\\*_\[\]<>|#~])")
_TYPED = re.compile(r"(`[^`]+`)")


def text(sheet: Sheet, width: int) -> Iterator[str]:
    """Lines of at most so many columns; long names alone may be longer."""
    width = max(width, NARROWEST)
    yield sheet.title
    yield sheet.under
    for part in sheet.parts:
        yield ""
        yield part.title.upper()
        for row in (part.heads, *part.rows) if part.heads else part.rows:
            yield from _row(row, _columns(part, width - len(GAP)))
    yield ""
    yield from wrap(sheet.foot, width)


def _columns(part: Part, width: int) -> list[int]:
    """Each column as wide as its longest word at least; what room is left goes to the first that have use for it."""
    table = [part.heads, *part.rows] if part.heads else part.rows
    cells = [[row[number] for row in table] for number in range(len(part.widths))]
    widest = [max(map(len, column)) for column in cells]
    longest = [max((len(word) for cell in column for word in cell.split()), default=0) for column in cells]
    room = width - len(GAP) * (len(widest) - 1)
    least = [min(word, LONGEST_WORD) for word in longest]
    columns = [
        min(most, max(word, share * room // 100)) for most, word, share in zip(widest, least, part.widths, strict=True)
    ]
    while sum(columns) > room:  # a long name takes it from whichever column has most to spare, or else is widest
        number = max(range(len(columns)), key=lambda n: (columns[n] - least[n], columns[n]))
        columns[number] -= 1
    spare = max(room - sum(columns), 0)
    for number, most in enumerate(widest):
        more = min(spare, most - columns[number])
        columns[number] += more
        spare -= more
    return columns


def _row(row: tuple[str, ...], columns: list[int]) -> Iterator[str]:
    cells = [_cell(cell, width) for cell, width in zip(row, columns, strict=True)]
    for number in range(max(map(len, cells))):
        line = GAP.join(
            f"{cell[number] if number < len(cell) else '':<{width}}" for cell, width in zip(cells, columns, strict=True)
        )
        yield f"{GAP}{line}".rstrip()


def _cell(cell: str, width: int) -> list[str]:
    """Names stay whole, so that they can be looked for; one that is wider than its column is parted at a hyphen."""
    too_long = any(len(word) > width for word in cell.split())
    return wrap(cell, width, break_on_hyphens=too_long) or [""]


def markdown(sheet: Sheet) -> Iterator[str]:
    """Headings and tables of pipes, as most readers of Markdown show them."""
    yield f"# {_plain(sheet.title)}\n"
    yield _plain(sheet.under)
    for part in sheet.parts:
        yield f"\n## {part.title}\n"
        heads = part.heads or ("",) * len(part.widths)
        yield f"| {' | '.join(heads)} |"
        yield f"|{' --- |' * len(heads)}"
        for row in part.rows:
            yield f"| {' | '.join(map(_plain, row))} |"
    yield f"\n{_plain(sheet.foot)}"


def _plain(cell: str) -> str:
    """Letters that would be taken for marks are marked as letters; what is typed stays as it is."""
    pieces = _TYPED.split(cell.replace("\n", " "))
    return "".join(
        piece.replace("|", "\\|") if n % 2 else _MEANS_SOMETHING.sub(r"\\\1", piece) for n, piece in enumerate(pieces)
    )
