"""Drawings as a picture: a row each with its name, its curve over time, and a strip of the shade that it is seen in.

Decides where everything stands and which shade a level has. Ink and files are the business of `paper`; what is
drawn comes from `drawing`. The strip has the lightness of the level, so that a printer without colour loses nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby, pairwise
from pathlib import Path
from textwrap import wrap
from typing import NamedTuple

from wayside.pictures.drawing import GROUPS, Axis, Drawing, Hue, Line
from wayside.pictures.drawing_samples import Column, columns
from wayside.pictures.drawing_shades import GLOW, HUES, NIGHT, SKY, hue, tint
from wayside.pictures.drawing_text import tick_times
from wayside.pictures.marks import DARK, GREY, HAIR, PALE
from wayside.pictures.paper import LETTER, Ink, Paper, Pen, Point, Words, text_width
from wayside.wording import duration

Watched = Callable[[Sequence[Drawing], str], Iterable[Drawing]]

# --- the page, in inches -------------------------------------------------------------------------------------------

SIDE = 0.4  # margin
GUTTER = 0.35  # between two columns of a page
PAGES = ((14, 8.27), (32, 11.69), (10_000, 16.54))  # up to so many curves, so wide: one, two, three columns of A4, A3
NAMES = (2.0, 1.55, 1.55)  # room for names and the lines about them, by the number of columns
BESIDE = 0.36  # room for what is written beside the axis
CURVE, STRIP, TIMES, GAP = 0.36, 0.10, 0.14, 0.10  # heights within a row
HEADING, SECTION = 0.30, 0.12  # a group's name; what lies above it
LEAD = 0.105  # between two lines of small print

NAME_SIZE, ABOUT_SIZE, TICK_SIZE = 8.0, 6.0, 5.2  # points
TICK_APART = 0.55  # between two written times
DETAIL = 0.018  # a slice of a curve: about a point
FLAT = 0.001  # a point that lies so near to the line between its neighbours is left out
SHADES = 32  # of a strip, from dark to full light

TITLE = "What lamps, arms and the daylight can do"
HOW = (  # groups, and how to read them
    (("manners", "ways", "characters", "profiles"), "Height: the level, even to the eye (CIE 1976 lightness)."),
    (("arrivals", "profiles"), "Height of a move: how far it has come."),
    (("daylight",), "Height of daylight: lux, equal ratios as equal steps."),
    (("manners", "ways", "characters", "profiles", "daylight"), "Strip: how it looks, as light as the level says."),
)

# --- inks -------------------------------------------------------------------------------------------------------------

_OUTLINE = Pen("#3b3122", 0.6, layer=5)
_LIGHT, _TRAVEL, _DAYLIGHT = (Ink(face, None, layer=3) for face in ("#f4d488", "#c3ccd3", "#c6d5ee"))
_GRID = Pen(HAIR, 0.5, layer=1)
_HALF = Pen(PALE, 0.4, (1.2, 1.8), layer=4)
_BASE = Pen(DARK, 0.6, layer=6)
_FRAME = Ink(None, GREY, 0.4, layer=6)
_WEDGE = Ink(DARK, layer=7)
_RULE = Pen(GREY, 0.6, layer=2)


# --- the picture ---------------------------------------------------------------------------------------------------


def draw(drawings: Sequence[Drawing], path: Path, watched: Watched = lambda things, _: things) -> None:
    """Draw them on one page and write it to `path`, as .svg or .png. Raises OSError where it can't be written."""
    order = list(GROUPS)
    drawings = sorted(drawings, key=lambda drawing: order.index(drawing.group))
    page = _Page(drawings)
    for drawing in watched(page.in_order, "drawing"):
        page.add(drawing)
    title = _title(drawings)
    page.finish(title)
    page.paper.save(path, page.width, page.height, title)


def _title(drawings: Sequence[Drawing]) -> str:
    names, groups = ({one.name for one in drawings}, {one.group for one in drawings})
    if len(names) == 1:
        return drawings[0].name
    return f"{drawings[0].group.capitalize()}: {GROUPS[drawings[0].group].about}" if len(groups) == 1 else TITLE


def shared_out(drawings: Sequence[Drawing], number: int) -> list[list[Drawing]]:
    """The drawings in so many columns of about one height: whole groups, or, of too few groups, wherever it is full."""
    groups = [list(found) for _, found in groupby(drawings, lambda drawing: drawing.group)]
    shares: list[list[Drawing]] = [[] for _ in range(number)]
    if len(groups) >= number:
        for group in sorted(groups, key=_height, reverse=True):
            min(shares, key=_height).extend(group)
        order = [drawing.group for drawing in drawings]
        return sorted(
            (sorted(one, key=lambda d: order.index(d.group)) for one in shares),
            key=lambda one: order.index(one[0].group),
        )
    whole, filled = _height(drawings), 0.0
    for drawing in drawings:
        shares[min(number - 1, int((filled + _tall(drawing) / 2) * number / whole))].append(drawing)
        filled += _tall(drawing)
    return [one for one in shares if one]


class _Frame(NamedTuple):
    """Where a curve stands, and the time that it shows."""

    left: float
    right: float
    top: float
    foot: float
    from_us: int
    to_us: int
    axis: Axis

    def x(self, at_us: float) -> float:
        return self.left + (self.right - self.left) * (at_us - self.from_us) / (self.to_us - self.from_us)

    def y(self, value: float) -> float:
        return self.foot - (self.foot - self.top) * self.axis.share(value)


class _Page:
    """Fills one column of the page after the other, from the top down."""

    def __init__(self, drawings: Sequence[Drawing]) -> None:
        self.paper = Paper()
        curves = sum(len(drawing.lines) for drawing in drawings)
        columns, self.width = next((n, wide) for n, (most, wide) in enumerate(PAGES, 1) if curves <= most)
        self._wide = (self.width - 2 * SIDE - (columns - 1) * GUTTER) / columns
        self._names_wide = NAMES[columns - 1]
        shares = shared_out(drawings, columns)
        self.in_order = [drawing for share in shares for drawing in share]
        self._breaks = {share[0] for share in shares[1:]}
        self._headed = len({drawing.group for drawing in drawings}) > 1
        groups = {drawing.group for drawing in drawings}
        how = "  ".join(text for about, text in HOW if groups & set(about))
        self._how = wrap(how, int((self.width - 2 * SIDE) / (text_width("x", 7) * 0.9)))
        self._top = SIDE + 0.38 + 0.13 * len(self._how)
        self._column = 0
        self._y = self._lowest = self._top
        self._group = ""

    @property
    def height(self) -> float:
        return self._lowest + SIDE * 0.6

    @property
    def _left(self) -> float:
        return SIDE + self._column * (self._wide + GUTTER)

    def add(self, drawing: Drawing) -> None:
        if drawing in self._breaks:
            self._column, self._y = self._column + 1, self._top
        if self._headed and (drawing.group != self._group or drawing in self._breaks):
            self._heading(drawing.group)
        self._group = drawing.group
        self._names(drawing)
        for line in drawing.lines:
            self._row(drawing, line)
        self._lowest = max(self._lowest, self._y)

    def _heading(self, group: str) -> None:
        left, about = self._left, GROUPS[group]
        self._y += SECTION
        right, y = left + self._wide, self._y
        self.paper.words(Words(left, y, group, 10, bold=True, colour=DARK, gid=f"group-{group}"))
        self.paper.words(Words(left + 1.05, y + 0.01, about.about, 7, colour=GREY))
        self.paper.words(Words(right, y + 0.01, about.use, ABOUT_SIZE, "right", GREY, slanted=True))
        self.paper.line(_RULE, (left, y + 0.11), (right, y + 0.11))
        self._y += HEADING

    def _names(self, drawing: Drawing) -> None:
        left, y = self._left, self._y + 0.07
        gid = f"name-{drawing.group}-{drawing.name}"
        self.paper.words(Words(left, y, drawing.name, NAME_SIZE, bold=True, colour=DARK, gid=gid))
        letters = int(72 * (self._names_wide - 0.05) / (ABOUT_SIZE * LETTER * 0.93))
        for number, part in enumerate(wrap(drawing.about, letters)):
            self.paper.words(Words(left, y + 0.14 + number * LEAD, part, ABOUT_SIZE, colour=GREY))

    # --- one curve -------------------------------------------------------------------------------------------------

    def _row(self, drawing: Drawing, line: Line) -> None:
        left, right = self._left + self._names_wide + BESIDE, self._left + self._wide
        top = self._y
        frame = _Frame(left, right, top, top + CURVE, drawing.from_us, drawing.to_us, drawing.axis)
        found = list(columns(line.wave, drawing.from_us, drawing.to_us, round((right - left) / DETAIL)))
        gid = f"{drawing.group}-{drawing.name}" + (f"-{line.label}" if line.label else "")
        self._axes(frame, drawing)
        self._curve(frame, found, gid)
        self._marks(frame, drawing)
        if line.label:
            beside = frame.left - BESIDE - 0.06
            y = frame.foot + STRIP / 2 + 0.02
            self.paper.words(Words(beside, y, line.label, TICK_SIZE + 0.4, "right", DARK, slanted=True))
        if drawing.axis.lit:
            self._strip(frame, found, drawing, gid)
        self._y += _ROW if drawing.axis.lit else _ROW - STRIP

    def _axes(self, frame: _Frame, drawing: Drawing) -> None:
        paper, axis = self.paper, drawing.axis
        for value, text in axis.ticks:
            y = frame.y(value)
            paper.words(Words(frame.left - 0.05, y, text, TICK_SIZE, "right", GREY))
            if value > axis.low:
                paper.line(_HALF, (frame.left, y), (frame.right, y))
        foot = frame.foot + (STRIP + 0.02 if axis.lit else 0.0)
        per_us = (frame.right - frame.left) / (frame.to_us - frame.from_us)
        for at_us in tick_times(frame.to_us, TICK_APART / per_us):
            x, text = frame.x(at_us), duration(at_us)
            paper.line(_GRID, (x, frame.top), (x, frame.foot))
            paper.line(_BASE, (x, foot), (x, foot + 0.03))
            x = min(x, frame.right - text_width(text, TICK_SIZE) / 2 + 0.04)
            paper.words(Words(x, foot + 0.08, text, TICK_SIZE, "center", GREY))
        paper.line(_BASE, (frame.left, frame.foot), (frame.right, frame.foot))

    def _curve(self, frame: _Frame, found: Sequence[Column], gid: str) -> None:
        points = [(_fine(frame.x(at_us)), _fine(frame.y(value))) for column in found for at_us, value in column.samples]
        points = thinned(points)
        ink = _DAYLIGHT if frame.axis.by_ratio else _LIGHT if frame.axis.lit else _TRAVEL
        self.paper.shape(ink, [(frame.left, frame.foot), *points, (frame.right, frame.foot)], f"fill-{gid}")
        self.paper.line(_OUTLINE, *points, gid=f"curve-{gid}")

    def _marks(self, frame: _Frame, drawing: Drawing) -> None:
        """A wedge at the instants that have a name, and the letters of coloured light."""
        for mark in drawing.marks:
            x = frame.x(mark.at_us)
            above = frame.top - 0.05
            self.paper.shape(_WEDGE, [(x - 0.03, above), (x + 0.03, above), (x, frame.top)])
            self.paper.words(Words(x + 0.05, frame.top - 0.035, mark.text, TICK_SIZE, "left", DARK))
        end = frame.left
        for one in drawing.hues:
            middle, wide = (frame.x(one.from_us) + frame.x(one.to_us)) / 2, text_width(one.letters, TICK_SIZE)
            if middle - wide / 2 > end:
                self.paper.words(Words(middle, frame.foot - 0.07, one.letters, TICK_SIZE, "center", DARK))
                end = middle + wide / 2 + 0.02

    def _strip(self, frame: _Frame, found: Sequence[Column], drawing: Drawing, gid: str) -> None:
        """Shade upon shade from the dark up, each where it is that bright or brighter: no seams."""
        top, foot = frame.foot + 0.02, frame.foot + 0.02 + STRIP
        self.paper.box(Ink(NIGHT, None, layer=3), frame.left, top, frame.right, foot, f"strip-{gid}")
        shades = [round(SHADES * column.mean(frame.axis.share)) for column in found]
        edges = [_fine(frame.x(column.samples[0].at_us)) for column in found] + [frame.right]
        colours = [_hue_at(drawing.hues, column.samples[0].at_us) for column in found]
        for letters in sorted(set(colours)):
            own = [shade if other == letters else 0 for shade, other in zip(shades, colours, strict=True)]
            every = [_runs([one >= shade for one in own]) for shade in range(1, max(own) + 2)]
            for shade, (runs, above) in enumerate(pairwise(every), 1):
                if runs != above:  # else it would be hidden
                    ink = Ink(self._shade(drawing, shade / SHADES, letters), None, layer=4)
                    self.paper.shape(ink, _comb([(edges[a], edges[b]) for a, b in runs], top, foot), f"strip-{gid}")
        self.paper.box(_FRAME, frame.left, top, frame.right, foot)

    @staticmethod
    def _shade(drawing: Drawing, level: float, letters: str) -> str:
        if letters in HUES:
            return hue(level, letters)
        return tint(level, SKY if drawing.axis.by_ratio else GLOW)

    def finish(self, title: str) -> None:
        self.paper.words(Words(SIDE, SIDE, title, 15, bold=True, colour=DARK, gid="title"))
        for number, part in enumerate(self._how):
            self.paper.words(Words(SIDE, SIDE + 0.24 + number * 0.13, part, 7, colour=GREY))


_ROW = CURVE + 0.02 + STRIP + TIMES + GAP


def _tall(drawing: Drawing) -> float:
    return len(drawing.lines) * (_ROW if drawing.axis.lit else _ROW - STRIP)


def _height(drawings: Sequence[Drawing]) -> float:
    return sum(map(_tall, drawings)) + (HEADING + SECTION) * len({drawing.group for drawing in drawings})


def _fine(inches: float) -> float:
    """To the hundredth of a point, which keeps the file small."""
    return round(inches * 7200) / 7200


def _hue_at(hues: Sequence[Hue], at_us: int) -> str:
    return next((one.letters for one in hues if one.from_us <= at_us < one.to_us), "")


def _runs(flags: Sequence[bool]) -> list[tuple[int, int]]:
    """From where to where it is so."""
    edges = [number for number, (was, now) in enumerate(pairwise([False, *flags, False])) if was != now]
    return list(zip(edges[::2], edges[1::2], strict=True))


def _comb(runs: Sequence[tuple[float, float]], top: float, foot: float) -> list[Point]:
    """Boxes side by side as one shape, joined along their foot."""
    return [point for left, right in runs for point in ((left, foot), (left, top), (right, top), (right, foot))]


def thinned(points: Sequence[Point]) -> list[Point]:
    """The same line with fewer points: none is left out that lies more than FLAT off."""
    kept = [points[0]]
    waiting: list[Point] = []
    for point in points[1:]:
        if waiting and any(_off(between, kept[-1], point) > FLAT for between in waiting):
            kept.append(waiting[-1])
            waiting.clear()
        waiting.append(point)
    return [*kept, points[-1]]


def _off(point: Point, start: Point, end: Point) -> float:
    """How far a point lies above or below a line; a line that goes straight up or down is far from any other point."""
    if end[0] == start[0]:
        return 0.0 if min(start[1], end[1]) <= point[1] <= max(start[1], end[1]) else 1.0
    return abs(start[1] + (end[1] - start[1]) * (point[0] - start[0]) / (end[0] - start[0]) - point[1])
