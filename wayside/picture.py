"""A rehearsal as a picture: trains where they truly are, then one row an output, a detector and a scene, against time.

Decides where everything stands. What happened comes from `picture_rows`, marks from `picture_marks`, ink and files are
the business of `picture_paper`. Only failures have a colour, and their form says it, too: no printer loses anything.
"""

from __future__ import annotations

import textwrap
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from engine.layout import Blink, Track
from engine.program import Program
from engine.trace import Record
from engine.waves import Flashing
from wayside import trace_words as words
from wayside.picture_marks import (
    DARK,
    GREY,
    HAIR,
    POSITION,
    SMALL,
    STANDS,
    THIN,
    TINY,
    Band,
    Painter,
    Scale,
    merged,
)
from wayside.picture_paper import Ink, Paper, Pen, Words, text_width
from wayside.picture_rows import Contents, Course, Look, Row, Section, Span, Strip, Tick, contents

ENDINGS = (".svg", ".png")
MOST_ROWS = 600  # rows of one picture; what is over is counted at the foot
MOST_LISTED = 60  # failures and troubles written out below

_NARROW, _WIDE = 8.0, 14.0  # inches that time takes, from a short scene to an hour and more
_SIDE = 0.35  # margin
_NAME_SIZE = 7.5  # points
_WIDEST_NAME = 2.6
_TICK_APART = 0.75  # inches between two times written on the axis
_MINUTES_AN_INCH = 1.0
_TALLEST_STRIP = 8.0
_MOST_LANES = 6  # of numbers of failures above the rows

_FAIL = "#9c1c1c"
_GRID = Pen(HAIR, 0.6, layer=1)
_EDGE = Pen(GREY, 0.7, layer=2)
_TRAIN = Ink("#aab4bc", DARK, 0.7)
_BLIND = Ink("#f8f8f9", "#ccd1d5", 0.0, "...", layer=1)
_SIGNAL_POST = Pen(DARK, 0.8, (4.0, 2.0), layer=2)
_LEADER = Pen(GREY, 0.4, layer=2)
_FAIL_LINE = Pen(_FAIL, 1.0, (3.0, 2.0), layer=6)
_FAIL_CROSS = Pen(_FAIL, 2.0, layer=7)
_FAIL_DISC = Ink("white", _FAIL, 1.3, layer=7)

# steps that a clock face knows, in seconds
_STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200)

_LEGEND = {
    Look.SHADE: "level: the darker, the brighter",
    Look.FLASH: "flashing",
    Look.DENSE: "flashing, each flash too narrow to draw",
    Look.LEVEL: "standing",
    Look.MOVE: "moving between named positions",
    Look.STOP_ASPECT: "aspect at which trains stop",
    Look.GO_ASPECT: "aspect that lets trains go",
    Look.SOLID: "occupied, pressed or set",
    Look.UNKNOWN: "unknown, or no link",
    Look.RUNNING: "scene running",
    Look.STOPPING: "scene being stopped",
    Look.BUSY: "many changes, each too narrow to draw",
}


@dataclass(frozen=True, slots=True)
class Failure:
    """A failed expectation: when (None: it was still open at the end), what to write, and the rows that it is about."""

    at_us: int | None
    text: str
    subjects: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Mark:
    """What went wrong, as it stands above the rows and in the list below them."""

    label: str
    at_us: int
    when: str
    text: str
    subjects: tuple[str, ...] = ()


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
) -> None:
    """Draw the trace from 0 to `until_us` and write it to `path`, as .svg or .png.

    `wall_start_s`, seconds after midnight, adds layout time along the top. Raises `Unwritable` for another ending,
    OSError where the file can't be written.
    """
    if path.suffix.lower() not in ENDINGS:
        raise Unwritable(f"a picture's file name ends in .svg or .png, not in {path.suffix or 'nothing'!r}")
    until_us = max(until_us, words.SECOND)
    page = _Page(contents(trace, program, until_us), program, until_us, title, failures)
    page.lay_out(wall_start_s)
    page.paper.save(path, page.width, page.height, title)


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Places as near as may be to the wanted ones (in rising order), at least `apart`, between `low` and `high`."""
    places: list[float] = []
    for want in wanted:
        places.append(max(want, places[-1] + apart if places else low))
    ceiling = high
    for number in range(len(places) - 1, -1, -1):
        places[number] = min(places[number], ceiling)
        ceiling = places[number] - apart
    return places


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
        self.paper = Paper()
        self._painter = Painter(self.paper)
        self._found = found
        self._ratio = program.layout.clock.ratio
        self._layout_name = program.layout.name
        self._until_us = until_us
        self._title = title
        self._marks = self._marked(failures)
        self._rows: dict[str, list[Band]] = {}  # by name, for the crosses of failures
        self._left = _SIDE + self._margin() + 0.12
        minutes = until_us / words.MINUTE
        self._across = min(_WIDE, max(_NARROW, _NARROW - 0.5 + minutes / _MINUTES_AN_INCH))
        self._scale = Scale(self._left, self._across / until_us)
        holds = [hold.signal for strip in found.strips for hold in strip.track.holds]
        self._right = self._left + self._across
        self.width = self._right + max([_SIDE, *(text_width(name, SMALL) + 0.3 for name in holds)])
        self.height = 0.3

    def _margin(self) -> float:
        """Room for names on the left, up to a limit."""
        widest = 0.6
        for section in self._found.sections:
            rows = section.rows[:MOST_ROWS]
            names = max(text_width(row.name, _NAME_SIZE) for row in rows)
            widest = max(widest, names + max(_beside_width(row) for row in rows))
        for strip in self._found.strips:
            for stretch in strip.track.stretches:
                widest = max(widest, text_width(f"{stretch.detector or 'blind'} 0000 mm", SMALL) + 0.2)
        return min(widest, _WIDEST_NAME)

    def lay_out(self, wall_start_s: int | None) -> None:
        self.paper.words(Words(_SIDE, self.height, self._title, 11, bold=True, colour=DARK, gid="title"))
        if self._layout_name not in self._title:
            self.paper.words(Words(self._right, self.height, self._layout_name, 8, "right", GREY))
        self.height += 0.3
        if wall_start_s is not None:
            self._day_axis(wall_start_s)
        self._axis("top")
        grid_top = self.height
        lines = self._mark_discs()
        for strip in self._found.strips:
            self._strip(strip)
        self._sections()
        if self._found == Contents((), (), ()):
            self._caption("The layout has no outputs and no detectors, and nothing happened.")
        self._grid(grid_top)
        self._mark_lines(lines)
        self._axis("foot")
        self._lists()
        self._painter.write_labels()
        self._legend()
        self.height += 0.2

    # --- time ------------------------------------------------------------------------------------------------------

    def _ticks(self) -> list[int]:
        step = tick_step_s(self._scale.per_us * words.SECOND)
        return list(range(0, self._until_us // words.SECOND + 1, step))

    def _axis(self, where: str) -> None:
        y = self.height + 0.09
        for second in self._ticks():
            text = words.clock(second * words.SECOND).removesuffix(".0")
            x = self._scale(second * words.SECOND)
            self.paper.words(Words(x, y, text, 7, "center", DARK, gid=f"time-{where}-{second}"))
        self.paper.words(Words(self._left - 0.3, y, "time", SMALL, "right", GREY, slanted=True))
        self.height += 0.22

    def _day_axis(self, starts_s: int) -> None:
        step = tick_step_s(self._scale.per_us * words.SECOND / self._ratio)
        ends = words.layout_second(self._until_us, starts_s, self._ratio)
        y = self.height + 0.05
        for second in range(-(-starts_s // step) * step, ends + 1, step):
            x = self._scale((second - starts_s) * words.SECOND / self._ratio)
            text = words.time_of_day(second)
            text = text if step % 60 else text[:-3]
            self.paper.words(Words(x, y, text, 7, "center", GREY, gid=f"layout-time-{second}"))
            self.paper.line(_EDGE, (x, y + 0.07), (x, y + 0.12))
        self.paper.words(Words(self._left - 0.3, y, "layout time", SMALL, "right", GREY, slanted=True))
        self.height += 0.22

    def _grid(self, top: float) -> None:
        for second in self._ticks():
            x = self._scale(second * words.SECOND)
            self.paper.line(_GRID, (x, top), (x, self.height))
        for x in (self._left, self._right):
            self.paper.line(_EDGE, (x, top), (x, self.height))

    # --- trains ----------------------------------------------------------------------------------------------------

    def _strip(self, strip: Strip) -> None:
        """Distance against time: the track's beginning at the foot, a train's front and tail as the band's edges."""
        track = strip.track
        self._caption(f"Trains on {track.name}")
        tall = min(_TALLEST_STRIP, max(1.3, 0.19 * len(track.stretches) + 0.4))
        top, foot = self.height, self.height + tall
        up = tall / max(track.length_mm, 1)
        self._stretches(track, top, foot, up)
        gid = f"track-{track.name}"
        self.paper.clip(gid, self._left, top, self._right, foot)
        for course in strip.courses:
            self.paper.shape(_TRAIN, self._band(course, foot, up), gid)
        self._train_names(strip.courses, top, foot, up)
        self.paper.line(_EDGE, (self._left, top), (self._right, top))
        self.paper.line(_EDGE, (self._left, foot), (self._right, foot))
        self.height = foot + 0.1

    def _band(self, course: Course, foot: float, up: float) -> list[tuple[float, float]]:
        x0, x1 = self._scale(course.from_us), self._scale(course.to_us)
        (front0, front1), (tail0, tail1) = (
            [foot - place / 1000 * up for place in ends] for ends in (course.front, course.tail)
        )
        return [(x0, front0), (x1, front1), (x1, tail1), (x0, tail0)]

    def _stretches(self, track: Track, top: float, foot: float, up: float) -> None:
        edge = 0
        middles, names = [], []
        for stretch in track.stretches:
            low, high = foot - edge * up, foot - (edge + stretch.length_mm) * up
            edge += stretch.length_mm
            if stretch.detector is None:
                self.paper.box(_BLIND, self._left, high, self._right, low)
            if edge < track.length_mm:
                self.paper.line(POSITION, (self._left, high), (self._right, high))
            middles.append((low + high) / 2)
            names.append(f"{stretch.detector or 'blind'} {stretch.length_mm} mm")
        # from the top down for spreading; of more names than there is room for, every second or third is written
        every = -(-len(names) * 13 // int((foot - top - 0.12) * 100))
        middles, names = middles[::-every], names[::-every]
        places = spread(middles, 0.13, top + 0.06, foot - 0.06)
        for middle, y, name in zip(middles, places, names, strict=True):
            self.paper.words(Words(self._left - 0.14, y, name, SMALL, "right", DARK))
            self.paper.line(_LEADER, (self._left - 0.12, y), (self._left - 0.03, middle), (self._left, middle))
        holds = sorted(track.holds, key=lambda hold: -hold.at_mm)
        wanted = [foot - hold.at_mm * up for hold in holds]
        for hold, y, beside in zip(holds, wanted, spread(wanted, 0.13, top + 0.06, foot - 0.06), strict=True):
            self.paper.line(_SIGNAL_POST, (self._left, y), (self._right, y))
            self.paper.line(_LEADER, (self._right, y), (self._right + 0.05, y), (self._right + 0.1, beside))
            self.paper.words(Words(self._right + 0.12, beside, hold.signal, SMALL, "left", DARK))

    def _train_names(self, courses: Sequence[Course], top: float, foot: float, up: float) -> None:
        """One name a train, in the middle of its longest course, unless another name is there already."""
        longest: dict[int, Course] = {}
        for course in courses:
            best = longest.get(course.train)
            if best is None or course.to_us - course.from_us > best.to_us - best.from_us:
                longest[course.train] = course
        taken: list[tuple[float, float]] = []
        for train, course in longest.items():
            name = words.train(train)
            x = (self._scale(course.from_us) + self._scale(course.to_us)) / 2
            y = foot - sum((*course.front, *course.tail)) / 4000 * up
            wide = text_width(name, SMALL) + 0.06
            x = min(max(x, self._left + wide / 2), self._right - wide / 2)
            y = min(max(y, top + 0.08), foot - 0.08)
            if all(abs(x - a) >= wide or abs(y - b) >= 0.13 for a, b in taken):
                taken.append((x, y))
                self.paper.words(Words(x, y, name, SMALL, "center", DARK, halo=True))

    # --- rows ------------------------------------------------------------------------------------------------------

    def _caption(self, text: str) -> None:
        self.height += 0.06
        self.paper.words(Words(_SIDE, self.height + 0.07, text, _NAME_SIZE, bold=True, colour=GREY, halo=True))
        self.height += 0.17

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
            self._caption(f"{left_out} left out: a picture has at most {MOST_ROWS}")

    def _section(self, section: Section) -> None:
        self._caption(section.title)
        gap = max(_beside_width(row) for row in section.rows)
        for row in section.rows:
            tall = self._tall(row)
            place = Band(self.height + tall / 2, tall / 2 - (0.09 if tall > 0.4 else 0.05 if tall > 0.2 else 0.04))
            self._rows.setdefault(row.name, []).append(place)
            self._row(row, place, gap)
            self.height += tall
            if not row.idle:
                self.paper.line(_GRID, (_SIDE, self.height), (self._right, self.height))

    @staticmethod
    def _tall(row: Row) -> float:
        if row.marks and len(row.spans) > 1:
            return 0.48
        return 0.17 if row.idle else 0.26

    def _row(self, row: Row, place: Band, gap: float) -> None:
        name = _shortened(row.name, _WIDEST_NAME - gap, _NAME_SIZE)
        colour = GREY if row.idle else DARK
        gid = f"row-{row.sort}-{row.name}"
        self.paper.words(Words(self._left - gap, place.middle, name, _NAME_SIZE, "right", colour, gid=gid))
        moves = bool(row.marks) and len(row.spans) > 1
        if moves:
            self._positions(row, place)
        else:
            self.paper.words(Words(self._left - 0.05, place.middle, row.beside, TINY, "right", GREY))
        flat = Band(place.middle, 0.0) if row.marks and not moves else place
        for span in merged(row.spans, self._scale.per_us):
            self._painter.span(span, self._scale, flat)
        self._tick_marks(row.ticks, place)

    def _positions(self, row: Row, place: Band) -> None:
        """A servo's named positions: a faint line each, their names on the left where they do not touch."""
        last = -1.0
        for name, share in sorted(row.marks, key=lambda mark: mark[1]):
            y = self._painter.height(share, place)
            self.paper.line(POSITION, (self._left, y), (self._right, y))
            if y - last >= 0.09:
                self.paper.words(Words(self._left - 0.05, y, name, TINY, "right", GREY))
                last = y

    def _tick_marks(self, ticks: Sequence[Tick], place: Band) -> None:
        """A wedge each; its words to the right of it if the next one leaves room. Wedges in one spot are one."""
        xs = [self._scale(tick.at_us) for tick in ticks]
        last = -1.0
        for number, (tick, x) in enumerate(zip(ticks, xs, strict=True)):
            if x - last >= THIN:
                top = place.middle - place.half
                self.paper.shape(Ink(DARK), ((x - 0.035, top), (x + 0.035, top), (x, place.middle)))
                self.paper.line(STANDS, (x, top), (x, place.middle + place.half))
                last = x
            end = xs[number + 1] if number + 1 < len(xs) else self.width - 0.1
            text = tick.text.replace("\n", " ")
            text = _shortened(text, end - x - 0.12, SMALL)
            if len(text) > 8 or text == tick.text:
                self.paper.words(Words(x + 0.06, place.middle + 0.01, text, SMALL, "left", DARK))

    # --- what failed -----------------------------------------------------------------------------------------------

    def _marked(self, failures: Sequence[Failure]) -> list[_Mark]:
        """Failures by number, then what was cut or refused; those over the limit are counted by the list."""
        marks = []
        for number, one in enumerate(failures, start=1):
            at = self._until_us if one.at_us is None else min(max(one.at_us, 0), self._until_us)
            when = "at the end" if one.at_us is None else words.clock(one.at_us)
            marks.append(_Mark(str(number), at, when, one.text, one.subjects))
        for trouble in self._found.troubles:
            at = min(max(trouble.at_us, 0), self._until_us)
            marks.append(_Mark("!", at, words.clock(trouble.at_us), trouble.text))
        return marks

    def _mark_discs(self) -> list[tuple[float, float]]:
        """The labels above the rows and where their lines begin; labels that would touch go into another lane."""
        if not self._marks:
            return []
        left = self._left - 0.3
        self.paper.words(Words(left, self.height + 0.08, "failed", SMALL, "right", _FAIL, bold=True, slanted=True))
        by_x: dict[float, list[_Mark]] = {}
        for mark in self._marks[:MOST_LISTED]:
            by_x.setdefault(round(self._scale(mark.at_us), 2), []).append(mark)
        lanes: list[float] = []  # where the last label of each lane ends
        lines = []
        for x, marks in sorted(by_x.items()):
            text = _together([mark.label for mark in marks])
            half = max(0.1, text_width(text, SMALL) / 2 + 0.05)
            lane = next((n for n, end in enumerate(lanes) if x - half > end), len(lanes))
            y = self.height + 0.09 + 0.2 * min(lane, _MOST_LANES)
            if lane < _MOST_LANES:  # in a crowd the line is drawn, and the list says the rest
                lanes[lane : lane + 1] = [x + half]
                self.paper.box(_FAIL_DISC, x - half, y - 0.085, x + half, y + 0.085)
                gid = f"mark-at-{marks[0].at_us}"
                self.paper.words(Words(x, y, text, SMALL, "center", _FAIL, bold=True, gid=gid))
            lines.append((x, y + 0.085))
        self.height += 0.2 * len(lanes) + 0.06
        return lines

    def _mark_lines(self, lines: Sequence[tuple[float, float]]) -> None:
        for x, y in lines:
            self.paper.line(_FAIL_LINE, (x, y), (x, self.height))
        for number, mark in enumerate(self._marks[:MOST_LISTED], start=1):
            x = self._scale(mark.at_us)
            for place in (place for name in dict.fromkeys(mark.subjects) for place in self._rows.get(name, ())):
                self._cross(x, place.middle, f"failure-{number}")

    def _cross(self, x: float, y: float, gid: str = "") -> None:
        r = 0.065
        self.paper.line(_FAIL_CROSS, (x - r, y - r), (x + r, y + r), gid=gid)
        self.paper.line(_FAIL_CROSS, (x - r, y + r), (x + r, y - r), gid=gid)

    def _lists(self) -> None:
        """What failed, in words, below the picture."""
        if not self._marks:
            return
        self._caption("What failed")
        column = max(30, int((self.width - 2 * _SIDE - 1.0) / text_width("x", 7)))
        for mark in self._marks[:MOST_LISTED]:
            self.paper.words(Words(_SIDE + 0.1, self.height + 0.08, mark.label, 7, "center", _FAIL, bold=True))
            self.paper.words(Words(_SIDE + 0.28, self.height + 0.08, mark.when, 7, "left", _FAIL))
            wrapped = [line for part in mark.text.splitlines() for line in textwrap.wrap(part, column)]
            for line in wrapped or [""]:
                self.paper.words(Words(_SIDE + 0.95, self.height + 0.08, line, 7, "left", DARK))
                self.height += 0.15
        if len(self._marks) > MOST_LISTED:
            self._caption(f"and {len(self._marks) - MOST_LISTED} more")

    # --- legend ----------------------------------------------------------------------------------------------------

    def _legend(self) -> None:
        """A sample of each mark that the picture uses, in rows as wide as the page."""
        samples: list[tuple[Callable[[float, float], None], str]] = []
        if self._found.strips:
            samples.append((self._train_sample, "train, from front to tail"))
        for look, text in _LEGEND.items():
            if look in self._painter.used:
                samples.append((self._sample(look), text))
        if any(name in self._rows for mark in self._marks for name in mark.subjects):
            samples.append((lambda x, y: self._cross(x + 0.2, y), "what a failed expectation is about"))
        if not samples:
            return
        self._caption("How to read it")
        x = _SIDE
        for paint, text in samples:
            wide = 0.5 + text_width(text, SMALL) + 0.2
            if x > _SIDE and x + wide > self.width - _SIDE / 2:
                x = _SIDE
                self.height += 0.22
            paint(x, self.height + 0.09)
            self.paper.words(Words(x + 0.5, self.height + 0.09, text, SMALL, "left", DARK))
            x += wide
        self.height += 0.2

    def _sample(self, look: Look) -> Callable[[float, float], None]:
        flash = Flashing(0, Blink(24, 1, 0, 2)) if look is Look.FLASH else None
        low, high = {Look.SHADE: (0.1, 1.0), Look.MOVE: (0.0, 1.0), Look.LEVEL: (0.5, 0.5)}.get(look, (1.0, 1.0))

        def paint(x: float, y: float) -> None:
            self._painter.span(Span(0, 100, look, low, high, "", flash), Scale(x, 0.4 / 100), Band(y, 0.065))

        return paint

    def _train_sample(self, x: float, y: float) -> None:
        self.paper.shape(_TRAIN, [(x, y + 0.02), (x + 0.4, y - 0.07), (x + 0.4, y - 0.01), (x, y + 0.07)])


def _beside_width(row: Row) -> float:
    """Room for what stands small between a row's name and the row."""
    longest = max(len(row.beside), *(len(name) for name, _ in row.marks), 0)
    return text_width("x" * longest, TINY) + 0.1 if longest else 0.06


def _together(labels: Sequence[str]) -> str:
    """The labels of one instant in few letters: 1, 1 2, 3-7."""
    numbers = [label for label in labels if label != "!"]
    text = f"{numbers[0]}-{numbers[-1]}" if len(numbers) > 2 else " ".join(numbers)
    return " ".join(part for part in (text, "!" if "!" in labels else "") if part)


def _shortened(text: str, room: float, size: float) -> str:
    """A text cut to what fits, with an ellipsis."""
    if text_width(text, size) <= room:
        return text
    keep = int(room / text_width("x", size)) - 1
    return text[:keep] + "…" if keep > 0 else ""
