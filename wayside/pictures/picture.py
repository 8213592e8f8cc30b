"""A rehearsal as a picture: trains where they truly are, then one row an output, a detector and a scene, against time.

Decides where everything stands. What happened comes from `rows`, marks from `marks`, ink and files are
the business of `paper`. Only failures have a colour, and their form says it, too: no printer loses anything.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from pathlib import Path

from engine.layout import Blink
from engine.program import Program
from engine.trace import Record
from engine.waves import Flashing
from wayside.pictures.failures import Failure, Failures
from wayside.pictures.marks import (
    DARK,
    GREY,
    HAIR,
    POSITION,
    SMALL,
    TINY,
    Band,
    Painter,
    Scale,
    merged,
)
from wayside.pictures.paper import Pen, Words, text_width
from wayside.pictures.rows import Contents, RuleMark, Section, contents
from wayside.pictures.sheet import EDGE, NAME_SIZE, SIDE, TRAIN, Sheet, shortened, tick_marks
from wayside.pictures.spans import Look, Row, Span
from wayside.pictures.trains import Strips
from wayside.rehearsal import trace_words as words

ENDINGS = (".svg", ".png")
MOST_ROWS = 600  # rows of one picture; what is over is counted at the foot

_NARROW, _WIDE = 8.0, 14.0  # inches that time takes, from a short scene to an hour and more
_WIDEST_NAME = 2.6
_TICK_APART = 0.75  # inches between two times written on the axis
_MINUTES_AN_INCH = 1.0

_SAMPLES = {  # the levels of the legend's other marks
    Look.SHADE: (0.1, 1.0),
    Look.WHITE: (0.1, 1.0),
    Look.MOVE: (0.0, 1.0),
    Look.LEVEL: (0.5, 0.5),
}
_RAGGED = (0.4, 0.7, 0.5, 0.9, 0.6, 0.95, 0.45, 0.8, 0.55)  # the legend's flicker
_GRID = Pen(HAIR, 0.6, layer=1)

# steps that a clock face knows, in seconds
_STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200)

_LEGEND = {
    Look.SHADE: "level: the darker, the brighter",
    Look.FLASH: "flashing",
    Look.FLICKER: "flickering: the higher, the brighter",
    Look.DENSE: "flashing, each flash too narrow to draw",
    Look.LEVEL: "standing",
    Look.MOVE: "moving between named positions",
    Look.STOP_ASPECT: "aspect at which trains stop",
    Look.GO_ASPECT: "aspect that lets trains go",
    Look.COLOUR: "colour of the light",
    Look.WHITE: "white of the light: the darker, the cooler",
    Look.SOLID: "occupied, pressed or set",
    Look.UNKNOWN: "unknown, or no link",
    Look.RUNNING: "scene running",
    Look.STOPPING: "scene being stopped",
    Look.BUSY: "many changes, each too narrow to draw",
}


class Unwritable(ValueError):
    """The picture's file name has an ending that no picture is written for."""


def draw(
    trace: Sequence[Record],
    program: Program,
    path: Path,
    until_us: int,
    title: str,
    failures: Sequence[Failure] = (),
    wall_start_s: int | None = None,
    rules: Sequence[RuleMark] = (),
) -> None:
    """Draw the trace from 0 to `until_us` and write it to `path`, as .svg or .png.

    `wall_start_s`, seconds after midnight, adds layout time along the top. Raises `Unwritable` for another ending,
    OSError where the file can't be written.
    """
    if path.suffix.lower() not in ENDINGS:
        raise Unwritable(f"a picture's file name ends in .svg or .png, not in {path.suffix or 'nothing'!r}")
    until_us = max(until_us, words.SECOND)
    page = _Page(contents(trace, program, until_us, rules), program, until_us, title, failures)
    page.lay_out(wall_start_s)
    page.sheet.paper.save(path, page.sheet.width, page.sheet.height, title)


def tick_step_s(per_second: float) -> int:
    """The smallest step of a clock face whose written times stand well apart; `per_second` in inches."""
    enough = bisect_left(_STEPS, _TICK_APART / per_second)
    if enough < len(_STEPS):
        return _STEPS[enough]
    days = 1
    while days * words.DAY_S * per_second < _TICK_APART:
        days *= 2
    return days * words.DAY_S


class _Page:
    """Lays the picture out from top to bottom; `height` is known when it is done."""

    def __init__(
        self, found: Contents, program: Program, until_us: int, title: str, failures: Sequence[Failure]
    ) -> None:
        self._found = found
        self._ratio = program.layout.clock.ratio
        self._layout_name = program.layout.name
        self._until_us = until_us
        self._title = title
        self._rows: dict[str, list[Band]] = {}  # by name, for the crosses of failures
        left = SIDE + self._margin() + 0.12
        right = left + min(_WIDE, max(_NARROW, _NARROW - 0.5 + until_us / words.MINUTE / _MINUTES_AN_INCH))
        holds = [hold.signal for strip in found.strips for hold in strip.track.holds]
        width = right + max([SIDE, *(text_width(name, SMALL) + 0.3 for name in holds)])
        self.sheet = Sheet(left, right, width, until_us)
        self._painter = Painter(self.sheet.paper)
        self._failures = Failures(self.sheet, failures, found.troubles, until_us)

    def _margin(self) -> float:
        """Room for names on the left, up to a limit."""
        widest = 0.6
        for section in self._found.sections:
            rows = section.rows[:MOST_ROWS]
            names = max(text_width(row.name, NAME_SIZE) for row in rows)
            widest = max(widest, names + max(_beside_width(row) for row in rows))
        for strip in self._found.strips:
            for stretch in strip.track.stretches:
                widest = max(widest, text_width(f"{stretch.detector or 'blind'} 0000 mm", SMALL) + 0.2)
        return min(widest, _WIDEST_NAME)

    def lay_out(self, wall_start_s: int | None) -> None:
        sheet = self.sheet
        sheet.paper.words(Words(SIDE, sheet.height, self._title, 11, bold=True, colour=DARK, gid="title"))
        if self._layout_name not in self._title:
            sheet.paper.words(Words(sheet.right, sheet.height, self._layout_name, 8, "right", GREY))
        sheet.height += 0.3
        if wall_start_s is not None:
            self._day_axis(wall_start_s)
        self._axis("top")
        grid_top = sheet.height
        self._failures.discs()
        strips = Strips(self.sheet)
        for strip in self._found.strips:
            strips.draw(strip)
        self._sections()
        if self._found == Contents((), (), ()):
            sheet.caption("The layout has no outputs and no detectors, and nothing happened.")
        self._grid(grid_top)
        self._failures.lines(self._rows)
        self._axis("foot")
        self._failures.lists()
        self._painter.write_labels()
        self._legend()
        sheet.height += 0.2

    # --- time ------------------------------------------------------------------------------------------------------

    def _ticks(self) -> list[int]:
        step = tick_step_s(self.sheet.scale.per_us * words.SECOND)
        return list(range(0, self._until_us // words.SECOND + 1, step))

    def _axis(self, where: str) -> None:
        sheet = self.sheet
        y = sheet.height + 0.09
        for second in self._ticks():
            text = words.clock(second * words.SECOND).removesuffix(".0")
            x = sheet.scale(second * words.SECOND)
            sheet.paper.words(Words(x, y, text, 7, "center", DARK, gid=f"time-{where}-{second}"))
        sheet.paper.words(Words(sheet.left - 0.3, y, "time", SMALL, "right", GREY, slanted=True))
        sheet.height += 0.22

    def _day_axis(self, starts_s: int) -> None:
        sheet = self.sheet
        step = tick_step_s(sheet.scale.per_us * words.SECOND / self._ratio)
        ends = words.layout_second(self._until_us, starts_s, self._ratio)
        y = sheet.height + 0.05
        for second in range(-(-starts_s // step) * step, ends + 1, step):
            x = sheet.scale((second - starts_s) * words.SECOND / self._ratio)
            text = words.time_of_day(second)
            text = text if step % 60 else text[:-3]
            sheet.paper.words(Words(x, y, text, 7, "center", GREY, gid=f"layout-time-{second}"))
            sheet.paper.line(EDGE, (x, y + 0.07), (x, y + 0.12))
        sheet.paper.words(Words(sheet.left - 0.3, y, "layout time", SMALL, "right", GREY, slanted=True))
        sheet.height += 0.22

    def _grid(self, top: float) -> None:
        sheet = self.sheet
        for second in self._ticks():
            x = sheet.scale(second * words.SECOND)
            sheet.paper.line(_GRID, (x, top), (x, sheet.height))
        for x in (sheet.left, sheet.right):
            sheet.paper.line(EDGE, (x, top), (x, sheet.height))

    # --- rows ------------------------------------------------------------------------------------------------------

    def _sections(self) -> None:
        left = MOST_ROWS
        over = 0
        for section in self._found.sections:
            shown = section.rows[:left]
            over += len(section.rows) - len(shown)
            left -= len(shown)
            if shown:
                self._section(Section(section.title, shown))
        if over:
            left_out = f"{over} more rows are" if over > 1 else "1 more row is"
            self.sheet.caption(f"{left_out} left out: a picture has at most {MOST_ROWS}")

    def _section(self, section: Section) -> None:
        sheet = self.sheet
        sheet.caption(section.title)
        gap = max(_beside_width(row) for row in section.rows)
        for row in section.rows:
            tall = self._tall(row)
            place = Band(sheet.height + tall / 2, tall / 2 - (0.09 if tall > 0.4 else 0.05 if tall > 0.2 else 0.04))
            self._rows.setdefault(row.name, []).append(place)
            self._row(row, place, gap)
            sheet.height += tall
            if not row.idle:
                sheet.paper.line(_GRID, (SIDE, sheet.height), (sheet.right, sheet.height))

    @staticmethod
    def _tall(row: Row) -> float:
        if row.marks and len(row.spans) > 1:
            return 0.48
        return 0.17 if row.idle else 0.26

    def _row(self, row: Row, place: Band, gap: float) -> None:
        sheet = self.sheet
        name = shortened(row.name, _WIDEST_NAME - gap, NAME_SIZE)
        colour = GREY if row.idle else DARK
        gid = f"row-{row.sort}-{row.name}"
        sheet.paper.words(Words(sheet.left - gap, place.middle, name, NAME_SIZE, "right", colour, gid=gid))
        moves = bool(row.marks) and len(row.spans) > 1
        if moves:
            self._positions(row, place)
        else:
            sheet.paper.words(Words(sheet.left - 0.05, place.middle, row.beside, TINY, "right", GREY))
        flat = Band(place.middle, 0.0) if row.marks and not moves else place
        for span in merged(row.spans, sheet.scale.per_us):
            self._painter.span(span, sheet.scale, flat)
        tick_marks(sheet, row.ticks, place)

    def _positions(self, row: Row, place: Band) -> None:
        """A servo's named positions: a faint line each, their names on the left where they do not touch."""
        sheet = self.sheet
        last = -1.0
        for name, share in sorted(row.marks, key=lambda mark: mark[1]):
            y = self._painter.height(share, place)
            sheet.paper.line(POSITION, (sheet.left, y), (sheet.right, y))
            if y - last >= 0.09:
                sheet.paper.words(Words(sheet.left - 0.05, y, name, TINY, "right", GREY))
                last = y

    # --- legend ----------------------------------------------------------------------------------------------------

    def _legend(self) -> None:
        """A sample of each mark that the picture uses, in rows as wide as the page."""
        sheet = self.sheet
        samples: list[tuple[Callable[[float, float], None], str]] = []
        if self._found.strips:
            samples.append((self._train_sample, "train, from front to tail"))
        for look, text in _LEGEND.items():
            if look in self._painter.used:
                samples.append((self._sample(look), text))
        if self._failures.crossed:
            samples.append((lambda x, y: self._failures.cross(x + 0.2, y), "what a failed expectation is about"))
        if not samples:
            return
        sheet.caption("How to read it")
        x = SIDE
        for paint, text in samples:
            wide = 0.5 + text_width(text, SMALL) + 0.2
            if x > SIDE and x + wide > sheet.width - SIDE / 2:
                x = SIDE
                sheet.height += 0.22
            paint(x, sheet.height + 0.09)
            sheet.paper.words(Words(x + 0.5, sheet.height + 0.09, text, SMALL, "left", DARK))
            x += wide
        sheet.height += 0.2

    def _sample(self, look: Look) -> Callable[[float, float], None]:
        pulses = Flashing(0, Blink(24, 1, 0, 2)) if look is Look.FLASH else None
        levels = _RAGGED if look is Look.FLICKER else ()
        low, high = _SAMPLES.get(look, (1.0, 1.0))

        def paint(x: float, y: float) -> None:
            self._painter.span(Span(0, 100, look, low, high, "", pulses, levels), Scale(x, 0.4 / 100), Band(y, 0.065))

        return paint

    def _train_sample(self, x: float, y: float) -> None:
        self.sheet.paper.shape(TRAIN, [(x, y + 0.02), (x + 0.4, y - 0.07), (x + 0.4, y - 0.01), (x, y + 0.07)])


def _beside_width(row: Row) -> float:
    """Room for what stands small between a row's name and the row."""
    longest = max(len(row.beside), *(len(name) for name, _ in row.marks), 0)
    return text_width("x" * longest, TINY) + 0.1 if longest else 0.06
