"""What every PDF of Wayside has in common: its type, what it says of itself, and what becomes of letters that it lacks.

Knows the PDF library, which is imported when a paper is made. Knows nothing of what stands on it.
"""

from __future__ import annotations

import logging
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fpdf import FPDF

FONT = "DejaVu"  # comes with the plotting library: names of layouts are in any language
MISSING = "\u25a1"  # a box
MM_A_POINT = 25.4 / 72

Boxes = dict[int, str]


def dress(paper: FPDF, title: str, on: date, margin_mm: float) -> None:
    """Give a new paper its type, margins and title. `on` is the date that it bears: equal papers make equal files."""
    from matplotlib import get_data_path

    for name in ("fontTools", "fpdf"):  # they say how they make fonts smaller
        logging.getLogger(name).setLevel(logging.ERROR)
    fonts = Path(get_data_path()) / "fonts" / "ttf"
    paper.add_font(FONT, "", fonts / "DejaVuSans.ttf")
    paper.add_font(FONT, "B", fonts / "DejaVuSans-Bold.ttf")
    paper.set_margin(margin_mm)
    paper.set_auto_page_break(True, margin_mm)
    paper.set_title(title)
    paper.set_lang("en-GB")
    paper.set_creator("Wayside")
    paper.set_creation_date(datetime(on.year, on.month, on.day, tzinfo=UTC))


def missing(paper: FPDF, words: str) -> Boxes:
    """Boxes for the letters that the type does not have: it would leave them out without a word."""
    from fpdf.fonts import TTFFont

    font = paper.fonts[FONT.lower()]
    assert isinstance(font, TTFFont)
    return {ord(letter): MISSING for letter in words if ord(letter) not in font.cmap}
