"""A day of shows on one page, against the hall's clock: what ran, what failed, what was marked, what to look at next.

Draws what `day` has reckoned. Must not know entries' files or layouts. Nothing is told by colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

from wayside.journal import summary as journal_summary
from wayside.journal.day import Day
from wayside.journal.rows import Rows
from wayside.journal.text import day as day_words
from wayside.journal.text import plain
from wayside.pictures.marks import DARK, GREY, HAIR, SMALL, STANDS, Band, Painter, Scale, merged
from wayside.pictures.paper import Ink, Pen, Words, text_width
from wayside.pictures.picture import tick_step_s
from wayside.pictures.rows import Section
from wayside.pictures.sheet import EDGE, NAME_SIZE, SIDE, Sheet, shortened, tick_marks
from wayside.pictures.spans import Look, Span
from wayside.wording import wrapped

SECOND = 1_000_000
MOST_ROWS = 200  # of one section
MOST_LINES = 80  # of each list at the foot
WIDE, TALL = 10.0, 0.24  # inches: of time, and of a row
_WIDEST_NAME = 2.4
BOLD = 1.12  # how much wider than plain letters
_LINE, _SIZE = 0.15, 7.0  # inches and points, of the list at the foot
_GRID = Pen(HAIR, 0.6, layer=1)
_LEGEND = {
    Look.RUNNING: "show or scene running",
    Look.SOLID: "occupied",
    Look.UNKNOWN: "link that does not talk, detector of which nothing is known",
    Look.BUSY: "many changes, each too narrow to draw",
}
_WEDGE = "an instant: a mark, a fault, a broken rule, something put right"


def draw(day: Day, of_day: date, path: Path) -> None:
    """Write the page as .svg or .png. Raises OSError where that cannot be done, ValueError for a day without a show."""
    if not day.shows:
        raise ValueError("a day without a show has no picture")
    title = plain(", ".join(part for part in (day.name, day_words(of_day)) if part))
    page = _Page(day, title)
    page.lay_out()
    page.sheet.paper.save(path, page.sheet.width, page.sheet.height, title)


# --- the page ------------------------------------------------------------------------------------------------------


class _Page:
    """Laid out from the top down."""

    def __init__(self, day: Day, title: str) -> None:
        self._day, self._title = day, title
        self._rows = Rows(day)
        self._sections = [one for one in self._rows.sections() if one.rows]
        beside = max(text_width(row.beside, SMALL) for one in self._sections for row in one.rows) + 0.12
        names = max(text_width(row.name, NAME_SIZE) for one in self._sections for row in one.rows)
        titles = max(text_width(one.title, NAME_SIZE) for one in self._sections) * BOLD
        left = SIDE + max(min(names, _WIDEST_NAME) + beside + 0.1, titles + 0.15)
        self._gap = beside
        self.sheet = Sheet(left, left + WIDE, left + WIDE + SIDE, self._rows.until_us)
        self._painter = Painter(self.sheet.paper)

    def lay_out(self) -> None:
        sheet = self.sheet
        sheet.paper.words(Words(SIDE, sheet.height, self._title, 11, bold=True, colour=DARK, gid="title"))
        sheet.height += 0.26
        self._axis("top")
        top = sheet.height
        for section in self._sections:
            self._section(section)
        for second in self._ticks():
            x = self._x(second)
            sheet.paper.line(_GRID, (x, top), (x, sheet.height))
        for x in (sheet.left, sheet.right):
            sheet.paper.line(EDGE, (x, top), (x, sheet.height))
        self._axis("foot")
        self._painter.write_labels()
        self._list()
        self._legend()
        sheet.height += 0.2

    # --- time ------------------------------------------------------------------------------------------------------

    def _ticks(self) -> range:
        """Round times of the hall's clock, in seconds since the midnight before the page begins."""
        begins = self._rows.begins
        first = begins.hour * 3600 + begins.minute * 60 + begins.second + (begins.microsecond > 0)
        step = tick_step_s(self.sheet.scale.per_us * SECOND)
        return range(-(-first // step) * step, first + self._rows.until_us // SECOND + 1, step)

    def _x(self, second: int) -> float:
        begins = self._rows.begins
        midnight = begins.replace(hour=0, minute=0, second=0, microsecond=0)
        return self.sheet.scale(self._rows.us(midnight + timedelta(seconds=second)))

    def _axis(self, where: str) -> None:
        sheet = self.sheet
        ticks = self._ticks()
        y = sheet.height + 0.09
        for second in ticks:
            text = f"{second // 3600 % 24:02d}:{second // 60 % 60:02d}" + (f":{second % 60:02d}" * (ticks.step < 60))
            sheet.paper.words(Words(self._x(second), y, text, 7, "center", DARK, gid=f"hall-{where}-{second}"))
        sheet.paper.words(Words(sheet.left - 0.3, y, "hall time", SMALL, "right", GREY, slanted=True))
        sheet.height += 0.22

    # --- rows ------------------------------------------------------------------------------------------------------

    def _section(self, section: Section) -> None:
        sheet = self.sheet
        sheet.caption(section.title)
        for row in section.rows[:MOST_ROWS]:
            place = Band(sheet.height + TALL / 2, TALL / 2 - 0.05)
            name = shortened(row.name, sheet.left - self._gap - SIDE, NAME_SIZE)
            gid = f"row-{row.sort}-{row.name}"
            sheet.paper.words(Words(sheet.left - self._gap, place.middle, name, NAME_SIZE, "right", DARK, gid=gid))
            sheet.paper.words(Words(sheet.left - 0.06, place.middle, row.beside, SMALL, "right", GREY))
            for span in merged(row.spans, sheet.scale.per_us):
                self._painter.span(span, sheet.scale, place)
            tick_marks(sheet, row.ticks, place)
            sheet.height += TALL
            sheet.paper.line(_GRID, (SIDE, sheet.height), (sheet.right, sheet.height))
        if len(section.rows) > MOST_ROWS:
            sheet.caption(f"and {len(section.rows) - MOST_ROWS} more")

    # --- below -----------------------------------------------------------------------------------------------------

    def _list(self) -> None:
        """What is to be looked at, as in the text; what never ran, and what the last faults were."""
        sheet = self.sheet
        sheet.height += 0.1
        sheet.caption(
            "To look at before the next show" if self._rows.snags else "Nothing to look at before the next show"
        )
        room = max((text_width(plain(one.subject), _SIZE) for one in self._rows.snags), default=0.0)
        room = min(room, _WIDEST_NAME) + 0.2
        sort = subject = ""
        for one in self._rows.snags[:MOST_LINES]:
            if one.sort != sort:
                self._lines(0.1, [one.sort], bold=True)
                sort, subject = one.sort, ""
            name = shortened(plain(one.subject), _WIDEST_NAME, _SIZE) if one.subject != subject else ""
            sheet.paper.words(Words(SIDE + 0.2, sheet.height + _LINE / 2, name, _SIZE, colour=DARK))
            self._lines(0.2 + room, self._wrapped(one.what, 0.2 + room))
            subject = one.subject
        if len(self._rows.snags) > MOST_LINES:
            sheet.caption(f"and {len(self._rows.snags) - MOST_LINES} more: wayside journal FOLDER --summary")
        never = [name for name in self._day.known_scenes if name not in self._day.scenes]
        for title, found in (
            ("Scenes that never ran", [", ".join(never)]),
            ("Faults", journal_summary.faults(self._day)),
        ):
            lines = [part for line in found if line for part in self._wrapped(line, 0.1)]
            if lines:
                sheet.caption(title)
                self._lines(0.1, lines[:MOST_LINES])

    def _wrapped(self, text: str, indent: float) -> list[str]:
        columns = (self.sheet.width - 2 * SIDE - indent) / text_width("x", _SIZE)
        return wrapped(plain(text), int(columns))

    def _lines(self, indent: float, lines: Sequence[str], bold: bool = False) -> None:
        sheet = self.sheet
        for line in lines:
            sheet.paper.words(Words(SIDE + indent, sheet.height + _LINE / 2, line, _SIZE, colour=DARK, bold=bold))
            sheet.height += _LINE

    def _legend(self) -> None:
        sheet = self.sheet
        sheet.height += 0.06
        sheet.caption("How to read it")
        x = SIDE
        marked = any(row.ticks for section in self._sections for row in section.rows)
        shown = [(look, text) for look, text in _LEGEND.items() if look in self._painter.used]
        for look, text in (*shown, *([(None, _WEDGE)] if marked else [])):
            wide = 0.7 + text_width(text, SMALL)
            if x > SIDE and x + wide > sheet.width - SIDE:
                x, sheet.height = SIDE, sheet.height + 0.22
            self._sample(look, x, sheet.height + 0.09)
            sheet.paper.words(Words(x + 0.5, sheet.height + 0.09, text, SMALL, "left", DARK))
            x += wide
        sheet.height += 0.2

    def _sample(self, look: Look | None, x: float, y: float) -> None:
        if look is not None:
            self._painter.span(Span(0, 100, look), Scale(x, 0.4 / 100), Band(y, 0.065))
            return
        self.sheet.paper.shape(Ink(DARK), ((x + 0.165, y - 0.065), (x + 0.235, y - 0.065), (x + 0.2, y)))
        self.sheet.paper.line(STANDS, (x + 0.2, y - 0.065), (x + 0.2, y + 0.065))
