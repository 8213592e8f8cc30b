"""A survey on paper: A4 pages in PDF, a wiring chart with labels to cut out, and the organiser's sheet.

Knows pages and ink; the words come from others.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

from wayside.handover.pdf_type import FONT, Boxes, dress, missing
from wayside.layout.electric_values import amperes, supply_said
from wayside.survey.pages import FREE
from wayside.survey.rows import Box, Row, Survey
from wayside.survey.sections import Section, Table

if TYPE_CHECKING:
    from fpdf import FPDF

    from engine.supply import Supply

ALIKE = date(2000, 1, 1)  # equal surveys make equal files
MARGIN_MM = 14.0
BODY_PT, TABLE_PT, HEAD_PT, TITLE_PT = 9.0, 8.0, 11.0, 16.0
LINE_MM, ROW_MM = 4.6, 4.4
SHADE = 236  # of headings and free ports: the word says it, too
CARD_MM = (45.5, 24.0)  # a label's width and height
CARDS_ACROSS = 4
TICK, BOX = "seen", "\u2610"  # a column to tick beside the layout


class Label(NamedTuple):
    """What stands on a label: large, and small lines below it."""

    name: str
    lines: tuple[str, ...]


class Written(NamedTuple):
    """How many pages, and the letters that the type does not have, which stand there as boxes."""

    pages: int
    missing: str


def write_chart(
    path: Path, title: str, survey: Survey, sections: Sequence[Section], supplies: Iterable[Supply]
) -> Written:
    """The wiring chart, landscape, then labels, upright. Raises OSError."""
    paper, boxes = _begun(f"{title}: wiring chart", "landscape")
    for section in sections:
        _section(paper, _boxed(_with_ticks(section), boxes))
    _labels(paper, title.translate(boxes), list(labels(survey, supplies)))
    return _write(paper, path, boxes)


def write_sheet(path: Path, title: str, sections: Sequence[Section]) -> Written:
    """The organiser's sheet, upright. Raises OSError."""
    words = " ".join(line for section in sections for line in section.lines)
    paper, boxes = _begun(title, "portrait", words)
    for section in sections:
        _section(paper, _boxed(section, boxes))
    return _write(paper, path, boxes)


def _begun(title: str, way: Literal["landscape", "portrait"], words: str = "") -> tuple[FPDF, Boxes]:
    """Paper with its title, and boxes for the letters of a person's own words that the type lacks."""
    paper = _paper(title)
    boxes = missing(paper, title + words)
    paper.add_page(orientation=way)
    paper.set_font(FONT, "B", TITLE_PT)
    paper.multi_cell(0, 8, title.translate(boxes), new_x="LMARGIN", new_y="NEXT")
    return paper, boxes


def _write(paper: FPDF, path: Path, boxes: Boxes) -> Written:
    path.write_bytes(bytes(paper.output()))
    return Written(int(paper.pages_count), "".join(map(chr, boxes)))


def _boxed(section: Section, boxes: Boxes) -> Section:
    return section._replace(lines=tuple(line.translate(boxes) for line in section.lines)) if boxes else section


def _paper(title: str) -> FPDF:
    from fpdf import FPDF

    class Paper(FPDF):
        def footer(self) -> None:
            self.set_y(-10)
            self.set_font(FONT, size=7)
            self.cell(0, 4, f"{title.translate(missing(self, title))}   page {self.page_no()} of {{nb}}", align="R")

    paper = Paper(format="A4", unit="mm")
    dress(paper, title, ALIKE, MARGIN_MM)
    return paper


# --- sections ------------------------------------------------------------------------------------------------------


def _section(paper: FPDF, section: Section) -> None:
    """A heading never stands alone at the foot of a page, and what fits a page is not divided."""
    with_table = section.table is not None and bool(section.table.rows)
    rows = len(section.table.rows) + 2 if section.table is not None and with_table else 0
    above, below = _high(paper, section.lines), _high(paper, section.below)
    whole = 12 + above + below + (ROW_MM + 0.7) * rows
    least = 12 + above + (3 * ROW_MM if with_table else LINE_MM)
    if paper.will_page_break(whole if whole < paper.eph else least):
        paper.add_page(same=True)
    paper.ln(3)
    paper.set_font(FONT, "B", HEAD_PT)
    paper.multi_cell(0, 6, section.title, new_x="LMARGIN", new_y="NEXT")
    _lines(paper, section.lines)
    if section.table is not None and section.table.rows:
        _table(paper, section.table)
    _lines(paper, section.below)


def _high(paper: FPDF, lines: Iterable[str]) -> float:
    """How much of a page these sentences take, lines that go on in a second one counted twice."""
    paper.set_font(FONT, "", BODY_PT)
    return sum(LINE_MM * max(1, ceil(paper.get_string_width(line) * 1.05 / paper.epw)) for line in lines)


def _with_ticks(section: Section) -> Section:
    """What is wired gets a column to tick."""
    table = section.table
    if table is None or "kind" not in table.headings:
        return section
    rows = tuple((*row, "" if FREE in row else BOX) for row in table.rows)
    return section._replace(table=Table((*table.headings, TICK), rows, table.right))


def _lines(paper: FPDF, lines: Iterable[str]) -> None:
    paper.set_font(FONT, "", BODY_PT)
    for line in lines:
        paper.multi_cell(0, LINE_MM, line, align="L", new_x="LMARGIN", new_y="NEXT")


def _table(paper: FPDF, table: Table) -> None:
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace

    paper.ln(1)
    titled = any(table.headings)
    widths = _widths(paper, table)
    paper.set_font(FONT, "", TABLE_PT)
    paper.set_line_width(0.1)
    full = paper.epw - 0.01
    with paper.table(
        borders_layout=TableBordersLayout.HORIZONTAL_LINES if titled else TableBordersLayout.NONE,
        col_widths=tuple(widths),
        width=min(full, sum(widths)),
        align="LEFT",
        text_align=tuple("RIGHT" if column in table.right else "LEFT" for column, _ in enumerate(table.headings)),
        line_height=ROW_MM,
        padding=(0.3, 1.0),
        first_row_as_headings=titled,
        headings_style=FontFace(emphasis="BOLD", fill_color=SHADE),
    ) as grid:
        for row in [table.headings, *table.rows] if titled else table.rows:
            cells = grid.row()
            for text in row:
                cells.cell(text, style=FontFace(fill_color=SHADE) if FREE in row and titled else None)
    paper.ln(1)


def _widths(paper: FPDF, table: Table) -> list[float]:
    """As wide as each column's widest cell; the widest give way until all fit the page."""
    rows = [table.headings, *table.rows]
    paper.set_font(FONT, "B", TABLE_PT)
    wanted = [max(paper.get_string_width(text) for text in column) + 3 for column in zip(*rows, strict=True)]
    left = paper.epw
    widths = list(wanted)
    while sum(widths) > left:
        widest = widths.index(max(widths))
        widths[widest] -= 1
    return widths


# --- labels --------------------------------------------------------------------------------------------------------


def labels(survey: Survey, supplies: Iterable[Supply]) -> Iterator[Label]:
    """One for each supply, board and connection."""
    for supply in supplies:
        fuse = f"fuse {amperes(supply.fuse_ua)}" if supply.fuse_ua else "fuse: see its plate"
        yield Label(supply.name, (supply_said(supply.millivolts, supply.alternating), fuse))
    for box in survey.boxes:
        if box.board is not None:
            last = box.board.first_address + box.board.ports - 1
            word = "pins" if box.board.pins else "addresses"
            yield Label(box.board.name, (f"on {box.link.name}", f"{word} {box.board.first_address} to {last}"))
        yield from (_label(box, row) for row in box.rows if not row.free)


def _label(box: Box, row: Row) -> Label:
    where = f"{box.board.name}, port {row.port}" if box.board and row.port is not None else f"on {box.link.name}"
    number = f"{'address' if row.from_one else 'pin'} {row.number}"
    both = (f"{row.from_one} from 1, {row.from_nought} from 0",) if row.from_one else ()
    return Label(row.name, (where, f"{row.kind}, {number}", *both))


def _labels(paper: FPDF, title: str, found: list[Label]) -> None:
    """Cards with broken lines between them, to be cut apart."""
    across, down = CARD_MM
    for number, label in enumerate(found):
        column = number % CARDS_ACROSS
        if number == 0 or (column == 0 and paper.get_y() + 2 * down > paper.h - MARGIN_MM):
            paper.add_page(orientation="portrait")
            paper.set_font(FONT, "", BODY_PT)
            paper.cell(0, LINE_MM, f"{title}: labels. Cut along the broken lines.", new_x="LMARGIN", new_y="NEXT")
            top = paper.get_y() + 2
        elif column == 0:
            top += down
        paper.set_y(top)
        _card(paper, MARGIN_MM + column * across, top, label)
        paper.set_y(top)


def _card(paper: FPDF, left: float, top: float, label: Label) -> None:
    across, down = CARD_MM
    paper.set_dash_pattern(dash=1, gap=1)
    paper.rect(left, top, across, down)
    paper.set_dash_pattern()
    size = 11.0
    paper.set_font(FONT, "B", size)
    while size > 5 and paper.get_string_width(label.name) > across - 4:
        size -= 0.5
        paper.set_font(FONT, "B", size)
    paper.set_xy(left + 1, top + 3)
    paper.cell(across - 2, 6, label.name, align="C")
    paper.set_font(FONT, "", 7.5)
    for number, line in enumerate(label.lines):
        paper.set_xy(left + 1, top + 10 + 4 * number)
        paper.cell(across - 2, 4, line, align="C")
