"""A day sheet on paper: one page of A4, as PDF. The PDF library is imported when a page is made.

Of the sheets that it is given it takes the first that fits, in the largest type that does. Knows tables only.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from wayside.handover.day_sheet import Part, Sheet
from wayside.handover.pdf_type import FONT, MM_A_POINT, Boxes, dress, missing

if TYPE_CHECKING:
    from fpdf import FPDF

SIZES = (10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0)  # points; the letters of this type are wide and tall
MARGIN_MM = 11.0
LEADING = 1.2  # of a line, as a share of its type
GREY = 238
MOST_LINES = 85  # that a page can hold in the smallest type
LONG_WORD = 22  # letters; a longer one may be parted behind a hyphen
_LONG_WORD = re.compile(rf"\S{{{LONG_WORD},}}")


class Page(NamedTuple):
    """The page's bytes, and the sheet that it shows. `missing`: letters that its type does not have, shown as boxes."""

    pdf: bytes
    sheet: Sheet
    points: float
    missing: str


class TooMuch(Exception):
    """Not even the most gathered sheet fits on a page."""


def page(sheets: Iterable[Sheet], on: date) -> Page:
    """The first sheet that fits on one page, in the largest type in which it does. Equal sheets give equal bytes."""
    for sheet in sheets:
        if sheet.rows <= MOST_LINES and (made := _largest(sheet, on)) is not None:
            return made
    raise TooMuch


def _largest(sheet: Sheet, on: date) -> Page | None:
    """A sheet in the largest type in which it fits; None if it does not in any. Setting a page takes a while: halve."""
    fits: Page | None = None
    low, high = 0, len(SIZES) - 1
    boxes = missing(_paper(sheet, on), _words(sheet))
    shown = _boxed(sheet, boxes)
    while low <= high:
        middle = (low + high) // 2 if fits else high  # first the smallest: most sheets that are not gathered fail it
        pdf = _set(shown, SIZES[middle], on)
        if pdf.pages_count == 1:
            fits, high = Page(bytes(pdf.output()), sheet, SIZES[middle], "".join(map(chr, boxes))), middle - 1
        elif fits is None:
            return None
        else:
            low = middle + 1
    return fits


def _words(sheet: Sheet) -> str:
    return "".join((sheet.title, *(cell for part in sheet.parts for row in part.rows for cell in row)))


def _boxed(sheet: Sheet, boxes: Boxes) -> Sheet:
    parts = (
        part._replace(rows=tuple(tuple(cell.translate(boxes) for cell in row) for row in part.rows))
        for part in sheet.parts
    )
    return sheet._replace(title=sheet.title.translate(boxes), parts=tuple(parts))


def _set(sheet: Sheet, points: float, on: date) -> FPDF:
    pdf = _paper(sheet, on)
    pdf.set_font(FONT, "B", points + 4)
    pdf.multi_cell(
        0, (points + 4) * MM_A_POINT * LEADING, _quoted(sheet.title), align="L", new_x="LMARGIN", new_y="NEXT"
    )
    pdf.set_font(FONT, "", points + 1)
    pdf.cell(0, (points + 1) * MM_A_POINT * LEADING, sheet.under, new_x="LMARGIN", new_y="NEXT")
    for part in sheet.parts:
        _part(pdf, part, points)
        if pdf.pages_count > 1:
            return pdf
    pdf.ln(points * MM_A_POINT * 0.4)
    pdf.set_font(FONT, "", points - 1)
    pdf.multi_cell(0, (points - 1) * MM_A_POINT * LEADING, sheet.foot, align="L")
    return pdf


def _paper(sheet: Sheet, on: date) -> FPDF:
    from fpdf import FPDF

    pdf = FPDF(orientation="portrait", unit="mm", format="A4")
    dress(pdf, sheet.title, on, MARGIN_MM)
    pdf.c_margin = 0
    pdf.add_page()
    return pdf


def _part(pdf: FPDF, part: Part, points: float) -> None:
    from fpdf.enums import TableBordersLayout, VAlign
    from fpdf.fonts import FontFace

    line = points * MM_A_POINT * LEADING
    pdf.ln(line * 0.45)
    pdf.set_font(FONT, "B", points + 0.5)
    pdf.cell(0, line * 1.1, part.title, new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(FONT, "", points)
    pdf.set_draw_color(150)
    plain, bold = FontFace(), FontFace(emphasis="BOLD")
    with pdf.table(
        col_widths=part.widths,
        first_row_as_headings=bool(part.heads),
        headings_style=FontFace(emphasis="BOLD", fill_color=GREY),
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        line_height=line,
        text_align="LEFT",
        v_align=VAlign.T,
        padding=(0.25, 1.5, 0.25, 0),
        wrapmode="WORD",
    ) as table:
        for cells in (part.heads, *part.rows) if part.heads else part.rows:
            row = table.row()
            for number, cell in enumerate(cells):
                row.cell(_quoted(cell), style=bold if _leads(part, number) else plain)


def _leads(part: Part, number: int) -> bool:
    """Whether a column is the one by which a row is found."""
    return number == part.leads


def _quoted(cell: str) -> str:
    """A cell as it stands on paper: what is to be typed is in quotation marks, and long names can be parted."""
    cell = _LONG_WORD.sub(lambda word: word[0].replace("-", "-\u200b"), cell)
    pieces = cell.split("`")
    if len(pieces) % 2 == 0:
        return cell
    return "".join(f"“{piece}”" if n % 2 else piece for n, piece in enumerate(pieces))
