"""What failed, on a picture: numbered labels above the rows, lines and crosses where it failed, and a list in words.

The only marks with a colour, and their form says it, too. Must not know what the rows show.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from engine.trace import Trouble
from wayside.pictures.marks import DARK, SMALL, Band
from wayside.pictures.paper import Ink, Pen, Words, text_width
from wayside.pictures.sheet import SIDE, Sheet
from wayside.rehearsal import trace_words as words

MOST_LISTED = 60  # failures and troubles written out below
_MOST_LANES = 6  # of numbers of failures above the rows

_FAIL = "#9c1c1c"
_FAIL_LINE = Pen(_FAIL, 1.0, (3.0, 2.0), layer=6)
_FAIL_CROSS = Pen(_FAIL, 2.0, layer=7)
_FAIL_DISC = Ink("white", _FAIL, 1.3, layer=7)


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


class Failures:
    """Puts what failed on a sheet: `discs` above the rows, `lines` when the rows are drawn, `lists` at the foot."""

    def __init__(self, sheet: Sheet, failures: Sequence[Failure], troubles: Sequence[Trouble], until_us: int) -> None:
        self._sheet = sheet
        self._marks = _marked(failures, troubles, until_us)
        self._lines: list[tuple[float, float]] = []  # where the lines begin
        self.crossed = False

    def discs(self) -> None:
        """The labels above the rows and where their lines begin; labels that would touch go into another lane."""
        sheet = self._sheet
        if not self._marks:
            return
        left = sheet.left - 0.3
        sheet.paper.words(Words(left, sheet.height + 0.08, "failed", SMALL, "right", _FAIL, bold=True, slanted=True))
        by_x: dict[float, list[_Mark]] = {}
        for mark in self._marks[:MOST_LISTED]:
            by_x.setdefault(round(sheet.scale(mark.at_us), 2), []).append(mark)
        lanes: list[float] = []  # where the last label of each lane ends
        for x, marks in sorted(by_x.items()):
            text = _together([mark.label for mark in marks])
            half = max(0.1, text_width(text, SMALL) / 2 + 0.05)
            lane = next((n for n, end in enumerate(lanes) if x - half > end), len(lanes))
            y = sheet.height + 0.09 + 0.2 * min(lane, _MOST_LANES)
            if lane < _MOST_LANES:  # in a crowd the line is drawn, and the list says the rest
                lanes[lane : lane + 1] = [x + half]
                sheet.paper.box(_FAIL_DISC, x - half, y - 0.085, x + half, y + 0.085)
                gid = f"mark-at-{marks[0].at_us}"
                sheet.paper.words(Words(x, y, text, SMALL, "center", _FAIL, bold=True, gid=gid))
            self._lines.append((x, y + 0.085))
        sheet.height += 0.2 * len(lanes) + 0.06

    def lines(self, rows: Mapping[str, Sequence[Band]]) -> None:
        """From the labels down to here, and a cross on each row that a failure is about."""
        sheet = self._sheet
        for x, y in self._lines:
            sheet.paper.line(_FAIL_LINE, (x, y), (x, sheet.height))
        for number, mark in enumerate(self._marks[:MOST_LISTED], start=1):
            x = sheet.scale(mark.at_us)
            for place in (place for name in dict.fromkeys(mark.subjects) for place in rows.get(name, ())):
                self.cross(x, place.middle, f"failure-{number}")
                self.crossed = True

    def cross(self, x: float, y: float, gid: str = "") -> None:
        r = 0.065
        self._sheet.paper.line(_FAIL_CROSS, (x - r, y - r), (x + r, y + r), gid=gid)
        self._sheet.paper.line(_FAIL_CROSS, (x - r, y + r), (x + r, y - r), gid=gid)

    def lists(self) -> None:
        """What failed, in words, below the picture."""
        sheet = self._sheet
        if not self._marks:
            return
        sheet.caption("What failed")
        column = max(30, int((sheet.width - 2 * SIDE - 1.0) / text_width("x", 7)))
        for mark in self._marks[:MOST_LISTED]:
            sheet.paper.words(Words(SIDE + 0.1, sheet.height + 0.08, mark.label, 7, "center", _FAIL, bold=True))
            sheet.paper.words(Words(SIDE + 0.28, sheet.height + 0.08, mark.when, 7, "left", _FAIL))
            wrapped = [line for part in mark.text.splitlines() for line in textwrap.wrap(part, column)]
            for line in wrapped or [""]:
                sheet.paper.words(Words(SIDE + 0.95, sheet.height + 0.08, line, 7, "left", DARK))
                sheet.height += 0.15
        if len(self._marks) > MOST_LISTED:
            sheet.caption(f"and {len(self._marks) - MOST_LISTED} more")


def _marked(failures: Sequence[Failure], troubles: Sequence[Trouble], until_us: int) -> list[_Mark]:
    """Failures by number, then what was cut or refused; those over the limit are counted by the list."""
    marks = []
    for number, one in enumerate(failures, start=1):
        at = until_us if one.at_us is None else min(max(one.at_us, 0), until_us)
        when = "at the end" if one.at_us is None else words.clock(one.at_us)
        marks.append(_Mark(str(number), at, when, one.text, one.subjects))
    for trouble in troubles:
        at = min(max(trouble.at_us, 0), until_us)
        marks.append(_Mark("!", at, words.clock(trouble.at_us), trouble.text))
    return marks


def _together(labels: Sequence[str]) -> str:
    """The labels of one instant in few letters: 1, 1 2, 3-7."""
    numbers = [label for label in labels if label != "!"]
    text = f"{numbers[0]}-{numbers[-1]}" if len(numbers) > 2 else " ".join(numbers)
    return " ".join(part for part in (text, "!" if "!" in labels else "") if part)
