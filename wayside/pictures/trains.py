"""Trains on a picture: distance along a track against time, each train a band from its front to its tail.

Draws one track at a time where the sheet is free. Must not know rows or failures.
"""

from __future__ import annotations

from collections.abc import Sequence

from engine.layout import Track
from wayside.pictures.marks import DARK, GREY, POSITION, SMALL
from wayside.pictures.paper import Ink, Pen, Words, text_width
from wayside.pictures.rows import Course, Strip
from wayside.pictures.sheet import EDGE, TRAIN, Sheet, spread
from wayside.rehearsal import trace_words as words

_TALLEST_STRIP = 8.0  # inches
_BLIND = Ink("#f8f8f9", "#ccd1d5", 0.0, "...", layer=1)
_SIGNAL_POST = Pen(DARK, 0.8, (4.0, 2.0), layer=2)
_LEADER = Pen(GREY, 0.4, layer=2)


class Strips:
    """Puts tracks with their trains on a sheet."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet

    def draw(self, strip: Strip) -> None:
        """Distance against time: the track's beginning at the foot, a train's front and tail as the band's edges."""
        sheet = self._sheet
        track = strip.track
        sheet.caption(f"Trains on {track.name}")
        tall = min(_TALLEST_STRIP, max(1.3, 0.19 * len(track.stretches) + 0.4))
        top, foot = sheet.height, sheet.height + tall
        up = tall / max(track.length_mm, 1)
        self._stretches(track, top, foot, up)
        gid = f"track-{track.name}"
        sheet.paper.clip(gid, sheet.left, top, sheet.right, foot)
        for course in strip.courses:
            sheet.paper.shape(TRAIN, self._band(course, foot, up), gid)
        self._train_names(strip.courses, top, foot, up)
        sheet.paper.line(EDGE, (sheet.left, top), (sheet.right, top))
        sheet.paper.line(EDGE, (sheet.left, foot), (sheet.right, foot))
        sheet.height = foot + 0.1

    def _band(self, course: Course, foot: float, up: float) -> list[tuple[float, float]]:
        x0, x1 = self._sheet.scale(course.from_us), self._sheet.scale(course.to_us)
        (front0, front1), (tail0, tail1) = (
            [foot - place / 1000 * up for place in ends] for ends in (course.front, course.tail)
        )
        return [(x0, front0), (x1, front1), (x1, tail1), (x0, tail0)]

    def _stretches(self, track: Track, top: float, foot: float, up: float) -> None:
        sheet = self._sheet
        edge = 0
        middles, names = [], []
        for stretch in track.stretches:
            low, high = foot - edge * up, foot - (edge + stretch.length_mm) * up
            edge += stretch.length_mm
            if stretch.detector is None:
                sheet.paper.box(_BLIND, sheet.left, high, sheet.right, low)
            if edge < track.length_mm:
                sheet.paper.line(POSITION, (sheet.left, high), (sheet.right, high))
            middles.append((low + high) / 2)
            names.append(f"{stretch.detector or 'blind'} {stretch.length_mm} mm")
        # from the top down for spreading; of more names than there is room for, every second or third is written
        every = -(-len(names) * 13 // int((foot - top - 0.12) * 100))
        middles, names = middles[::-every], names[::-every]
        places = spread(middles, 0.13, top + 0.06, foot - 0.06)
        for middle, y, name in zip(middles, places, names, strict=True):
            sheet.paper.words(Words(sheet.left - 0.14, y, name, SMALL, "right", DARK))
            sheet.paper.line(_LEADER, (sheet.left - 0.12, y), (sheet.left - 0.03, middle), (sheet.left, middle))
        holds = sorted(track.holds, key=lambda hold: -hold.at_mm)
        wanted = [foot - hold.at_mm * up for hold in holds]
        for hold, y, beside in zip(holds, wanted, spread(wanted, 0.13, top + 0.06, foot - 0.06), strict=True):
            sheet.paper.line(_SIGNAL_POST, (sheet.left, y), (sheet.right, y))
            sheet.paper.line(_LEADER, (sheet.right, y), (sheet.right + 0.05, y), (sheet.right + 0.1, beside))
            sheet.paper.words(Words(sheet.right + 0.12, beside, hold.signal, SMALL, "left", DARK))

    def _train_names(self, courses: Sequence[Course], top: float, foot: float, up: float) -> None:
        """One name a train, in the middle of its longest course, unless another name is there already."""
        sheet = self._sheet
        longest: dict[int, Course] = {}
        for course in courses:
            best = longest.get(course.train)
            if best is None or course.to_us - course.from_us > best.to_us - best.from_us:
                longest[course.train] = course
        taken: list[tuple[float, float]] = []
        for train, course in longest.items():
            name = words.train(train)
            x = (sheet.scale(course.from_us) + sheet.scale(course.to_us)) / 2
            y = foot - sum((*course.front, *course.tail)) / 4000 * up
            wide = text_width(name, SMALL) + 0.06
            x = min(max(x, sheet.left + wide / 2), sheet.right - wide / 2)
            y = min(max(y, top + 0.08), foot - 0.08)
            if all(abs(x - a) >= wide or abs(y - b) >= 0.13 for a, b in taken):
                taken.append((x, y))
                sheet.paper.words(Words(x, y, name, SMALL, "center", DARK, halo=True))
