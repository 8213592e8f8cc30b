"""The faces of a survey's pages: text for a screen, Markdown, and CSV with one row for each connection.

Knows columns and separators; must not know what stands in them.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from io import StringIO
from textwrap import wrap

from wayside.journal.text import cell as harmless
from wayside.layout.electric_values import digits
from wayside.survey.rows import Row, Survey
from wayside.survey.sections import Section, Table

GAP = "  "
_QUANTITY = re.compile(r"([0-9]\*?) (m?A|m?V|m?W|m|mm2|deg|%|ohm|EUR|levels|min|s|h)(?![a-z0-9])")
LEAST_COLUMN = 4
CSV_HEADINGS = (
    *("link", "board", "port", "address", "pin", "boards from 1", "boards from 0", "name", "kind", "between", "rest"),
    *("safe", "current mA", "starting mA", "usual current", "supply"),
)


def as_text(title: str, sections: Iterable[Section], width: int) -> Iterator[str]:
    """Lines of at most so many columns."""
    yield title
    yield "=" * min(len(title), width)
    for section in sections:
        yield ""
        heads = _wrapped(section.title, width)
        yield from heads
        yield "-" * max(map(len, heads))
        for line in section.lines:
            yield from _wrapped(line, width)
        if section.table and section.table.rows:
            if section.lines:
                yield ""
            yield from table_lines(section.table, width)
        for number, line in enumerate(section.below):
            if section.table and not number:
                yield ""
            yield from _wrapped(line, width)


def table_lines(table: Table, width: int) -> Iterator[str]:
    """A table in columns; what does not fit goes on in the lines below, in its own column."""
    rows = [table.headings, *table.rows] if any(table.headings) else list(table.rows)
    widths = _widths(rows, width)
    for row in rows:
        cells = [_wrapped(cell, room) or [""] for cell, room in zip(row, widths, strict=True)]
        for number in range(max(map(len, cells))):
            parts = [cell[number] if number < len(cell) else "" for cell in cells]
            sides = [
                part.rjust(room) if column in table.right else part.ljust(room)
                for column, (part, room) in enumerate(zip(parts, widths, strict=True))
            ]
            yield GAP.join(sides).rstrip()


def _widths(rows: Sequence[Sequence[str]], width: int) -> list[int]:
    """As wide as the widest cell. Where that is too much the widest column gives way, again and again: first those
    that can be wrapped between words, and only then within them."""
    columns = list(zip(*rows, strict=True))
    widths = [max(map(len, column)) for column in columns]
    longest = [max(len(word) for cell in column for word in (_together(cell).split(" "))) for column in columns]
    for least in (longest, [LEAST_COLUMN] * len(columns)):
        while sum(widths) + len(GAP) * (len(widths) - 1) > width:
            room = [now if now > low else 0 for now, low in zip(widths, least, strict=True)]
            if not any(room):
                break
            widths[room.index(max(room))] -= 1
    return widths


def _together(text: str) -> str:
    """A number and its unit stay on one line."""
    return _QUANTITY.sub("\\1\u00a0\\2", text)


def _wrapped(text: str, width: int) -> list[str]:
    return [line.replace("\u00a0", " ") for line in wrap(_together(text), width, break_on_hyphens=False)]


def as_markdown(title: str, sections: Iterable[Section]) -> Iterator[str]:
    yield f"# {_escaped(title)}"
    for section in sections:
        yield f"\n## {_escaped(section.title)}\n"
        yield from (f"- {_escaped(line)}" for line in section.lines)
        if section.table and section.table.rows:
            if section.lines:
                yield ""
            yield from _markdown_table(section.table)
        if section.below:
            yield ""
            yield from (f"- {_escaped(line)}" for line in section.below)


def _markdown_table(table: Table) -> Iterator[str]:
    yield f"| {' | '.join(map(_escaped, table.headings))} |"
    marks = ("---:" if column in table.right else "---" for column, _ in enumerate(table.headings))
    yield f"|{'|'.join(marks)}|"
    yield from (f"| {' | '.join(map(_escaped, row))} |" for row in table.rows)


def _escaped(text: str) -> str:
    """What Markdown would take for a mark of its own."""
    return "".join(f"\\{letter}" if letter in "\\`*_[]<>|#" else letter for letter in text)


def as_csv(survey: Survey) -> str:
    """One row a connection or free port, for a spreadsheet."""
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(CSV_HEADINGS)
    for box in survey.boxes:
        for row in box.rows:
            writer.writerow(map(harmless, _csv_row(box.link.name, box.board.name if box.board else "", row)))
    for row in survey.unwired:
        writer.writerow(map(harmless, _csv_row("", "", row)))
    return text.getvalue()


def _csv_row(link: str, board: str, row: Row) -> tuple[str, ...]:
    number = "" if row.number is None else str(row.number)
    accessory = bool(row.from_one)
    return (
        *(link, board, "" if row.port is None else str(row.port)),
        *(number if accessory else "", "" if accessory else number, row.from_one, row.from_nought),
        *(row.name, row.kind, row.ends, row.rest, row.safe),
        *(_milliamperes(row.ua), _milliamperes(row.start_ua), "yes" if row.usual else "", row.supply),
    )


def _milliamperes(ua: int | None) -> str:
    return "" if ua is None else digits(Fraction(ua, 1000), 9)
