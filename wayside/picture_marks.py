"""How a span of a row is marked on paper: levels, flashes, moves, states, each told from the others without colour.

Draws one span at a time where it is told to. Must not know pages, sections or failures.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from engine.layout import Blink
from wayside.picture_paper import Ink, Paper, Pen, Words, text_width
from wayside.picture_rows import Look, Span

MOST_LABELS = 900  # words inside rows; the roomiest places get them
THIN = 0.014  # inches, about a point: less is hard to see
SMALL, TINY = 6.0, 5.2  # points

DARK, GREY, PALE, HAIR = "#1e2429", "#6d757c", "#c9ced2", "#e4e7e9"

_OUTLINE = Ink(None, DARK, 0.6, layer=5)
_INKS = {
    Look.SOLID: Ink("#8b949b", DARK, 0.6),
    Look.UNKNOWN: Ink("white", DARK, 0.6, "xxxxx"),
    Look.DENSE: Ink("white", DARK, 0.6, "/////"),
    Look.STOP_ASPECT: Ink("#b9bfc4", DARK, 0.6),
    Look.GO_ASPECT: Ink("white", DARK, 0.6),
    Look.RUNNING: Ink("#eef0f1", DARK, 0.6),
    Look.STOPPING: Ink("white", DARK, 0.6, "\\\\\\\\\\"),
    Look.BUSY: Ink("white", DARK, 0.6, "......"),
}
_BASE = Pen(PALE, 0.7, layer=3)
STANDS = Pen(DARK, 0.9)
_MOVES = Pen(DARK, 1.9)
POSITION = Pen(PALE, 0.5, (1.2, 1.8), layer=2)


class Scale(NamedTuple):
    """Time along the page."""

    left: float
    per_us: float

    def __call__(self, at_us: float) -> float:
        return self.left + at_us * self.per_us


class Band(NamedTuple):
    """Where a row lies: its middle and half of the height that its marks take."""

    middle: float
    half: float


class _Label(NamedTuple):
    room: float
    words: Words


def _grey(level: float) -> str:
    """Ink for a level: never quite white, so that the faintest glow can be seen, never quite black."""
    share = min(abs(level), 1.0)
    tone = round(0xF2 - (0xF2 - 0x66) * round(share * 24) / 24)
    return f"#{tone:02x}{tone:02x}{tone:02x}"


class Painter:
    """Draws spans. Every mark of the rows and of the legend comes from here."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.used: dict[Look, None] = {}
        self.labels: list[_Label] = []
        self._by_look: dict[Look, Callable[[Span, Scale, Band], None]] = {
            Look.IDLE: self._idle,
            Look.SHADE: self._shade,
            Look.FLASH: self._flash,
            Look.LEVEL: self._level,
            Look.MOVE: self._level,
        }

    def span(self, span: Span, scale: Scale, place: Band) -> None:
        dense = span.look is Look.FLASH and self._too_narrow(span, scale)
        span = span._replace(look=Look.DENSE) if dense else span
        self.used.setdefault(span.look)
        self._by_look.get(span.look, self._band)(span, scale, place)

    @staticmethod
    def _too_narrow(span: Span, scale: Scale) -> bool:
        """Whether one flash would be too narrow to see."""
        blink = span.flash.blink if span.flash else Blink(1, 1, 0, 2)
        return blink.cycle_us / (blink.cycles * blink.slots) * scale.per_us < 1.4 * THIN

    def _ends(self, span: Span, scale: Scale) -> tuple[float, float]:
        x0, x1 = scale(span.from_us), scale(span.to_us)
        return x0, max(x1, x0 + THIN)

    def _idle(self, span: Span, scale: Scale, place: Band) -> None:
        y = place.middle + place.half
        self.paper.line(_BASE, (scale(span.from_us), y), (scale(span.to_us), y))

    def _band(self, span: Span, scale: Scale, place: Band) -> None:
        x0, x1 = self._ends(span, scale)
        self.paper.box(_INKS[span.look], x0, place.middle - place.half, x1, place.middle + place.half)
        self._label(span.text, x0, x1, place.middle, SMALL, halo=bool(_INKS[span.look].hatch))

    def _shade(self, span: Span, scale: Scale, place: Band) -> None:
        """A level; a fade in as many shades as it is wide. What runs backwards hangs in the lower half."""
        x0, x1 = self._ends(span, scale)
        top, bottom = place.middle - place.half, place.middle + place.half
        if min(span.low, span.high) < 0:
            top = place.middle
        pieces = 1 if span.low == span.high else max(2, min(24, int((x1 - x0) / (2 * THIN))))
        for number in range(pieces):
            level = span.low + (span.high - span.low) * (number + 0.5) / pieces
            left, right = (x0 + (x1 - x0) * (number + more) / pieces for more in (0, 1))
            self.paper.box(Ink(_grey(level), _grey(level), 0.2), left, top, right, bottom)
        self.paper.box(_OUTLINE, x0, top, x1, bottom)
        self._label(span.text, x0, x1, place.middle, SMALL, halo=True)

    def _flash(self, span: Span, scale: Scale, place: Band) -> None:
        """A train of pulses, in step with the clock."""
        flash = span.flash
        assert flash is not None, "a flashing span carries its flash"
        blink = flash.blink
        slot_us = blink.cycle_us / (blink.cycles * blink.slots)
        self._idle(span, scale, place)
        ink = Ink(_grey(flash.high), DARK, 0.4)
        top, bottom = place.middle - place.half, place.middle + place.half
        period_us = slot_us * blink.slots
        start = flash.from_us + slot_us * blink.slot
        start += max(0, (span.from_us - start) // period_us) * period_us
        while start < span.to_us:
            left, right = max(start, span.from_us), min(start + slot_us, span.to_us)
            if right > left:
                self.paper.box(ink, scale(left), top, scale(right), bottom)
            start += period_us

    def _level(self, span: Span, scale: Scale, place: Band) -> None:
        """A servo: the first-named outermost position on top, a thick line while it moves."""
        low, high = (self.height(share, place) for share in (span.low, span.high))
        x0, x1 = scale(span.from_us), scale(span.to_us)
        moving = span.look is Look.MOVE
        self.paper.line(_MOVES if moving else STANDS, (x0, low), (x1, high))
        if not moving:
            beside = low + 0.075 if low <= place.middle else low - 0.065
            self._label(span.text, x0, x1, beside, TINY, colour=GREY)

    @staticmethod
    def height(share: float, place: Band) -> float:
        return place.middle + place.half * (2 * min(max(share, -0.1), 1.1) - 1)

    def _label(
        self, text: str, x0: float, x1: float, y: float, size: float, colour: str = DARK, halo: bool = False
    ) -> None:
        """Written only where there is room; of too many, the roomiest are kept."""
        room = x1 - x0 - text_width(text, size) - 0.08
        if text and room > 0:
            self.labels.append(_Label(room, Words((x0 + x1) / 2, y, text, size, "center", colour, halo=halo)))

    def write_labels(self) -> None:
        for label in sorted(self.labels, key=lambda label: -label.room)[:MOST_LABELS]:
            self.paper.words(label.words)


def merged(spans: Sequence[Span], per_us: float) -> list[Span]:
    """Three and more neighbours, each too narrow to see, become one that says so."""
    out: list[Span] = []
    run: list[Span] = []

    def flush() -> None:
        if len(run) >= 3:
            out.append(Span(run[0].from_us, run[-1].to_us, Look.BUSY))
        else:
            out.extend(run)
        run.clear()

    for span in spans:
        if (span.to_us - span.from_us) * per_us < THIN:
            run.append(span)
        else:
            flush()
            out.append(span)
    flush()
    return out
