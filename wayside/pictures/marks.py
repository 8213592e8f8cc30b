"""How a span of a row is marked on paper: levels, flashes, moves, states, each told from the others without colour.

Draws one span at a time where it is told to. Must not know pages, sections or failures.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from wayside.pictures.paper import Ink, Paper, Pen, Words, text_width
from wayside.pictures.spans import Look, Span

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
    Look.COLOUR: Ink("white", DARK, 0.6),
    Look.RUNNING: Ink("#eef0f1", DARK, 0.6),
    Look.STOPPING: Ink("white", DARK, 0.6, "\\\\\\\\\\"),
    Look.BUSY: Ink("white", DARK, 0.6, "......"),
}
_FLICKER = Ink("#a9b0b5", DARK, 0.4)
_LOOKED_AT = 12  # edges of a flash that tell whether it can be drawn: a light's character has several
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


def _level_at(span: Span, share: float) -> float:
    """The level at a share of a span."""
    if not span.levels:
        return span.low + (span.high - span.low) * share
    at = share * (len(span.levels) - 1)
    before = min(int(at), len(span.levels) - 2)
    return span.levels[before] + (span.levels[before + 1] - span.levels[before]) * (at - before)


class Painter:
    """Draws spans. Every mark of the rows and of the legend comes from here."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.used: dict[Look, None] = {}
        self.labels: list[_Label] = []
        self._by_look: dict[Look, Callable[[Span, Scale, Band], None]] = {
            Look.IDLE: self._idle,
            Look.SHADE: self._shade,
            Look.WHITE: self._shade,
            Look.FLASH: self._flash,
            Look.FLICKER: self._flicker,
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
        edge, on = span.from_us, []
        for _ in range(_LOOKED_AT):
            following = span.pulses.turns(edge) if span.pulses else None
            if following is None or following > span.to_us:
                break
            on += [following - edge] if edge > span.from_us else []
            edge = following
        return bool(on) and min(on) * scale.per_us < 1.4 * THIN

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
        still = span.low == span.high and not span.levels
        pieces = 1 if still else max(2, min(24, int((x1 - x0) / (2 * THIN))))
        for number in range(pieces):
            level = _level_at(span, (number + 0.5) / pieces)
            left, right = (x0 + (x1 - x0) * (number + more) / pieces for more in (0, 1))
            self.paper.box(Ink(_grey(level), _grey(level), 0.2), left, top, right, bottom)
        self.paper.box(_OUTLINE, x0, top, x1, bottom)
        self._label(span.text, x0, x1, place.middle, SMALL, halo=True)

    def _flash(self, span: Span, scale: Scale, place: Band) -> None:
        """A train of pulses, in step with the clock."""
        wave = span.pulses
        assert wave is not None, "a flashing span carries its wave"
        self._idle(span, scale, place)
        ink = Ink(_grey(span.high), DARK, 0.4)
        top, bottom = place.middle - place.half, place.middle + place.half
        start = span.from_us
        while start < span.to_us:
            edge = wave.turns(start) or span.to_us
            if wave.value_at(start) > 0:
                self.paper.box(ink, scale(start), top, scale(min(edge, span.to_us)), bottom)
            start = edge

    def _flicker(self, span: Span, scale: Scale, place: Band) -> None:
        """A ragged edge: the higher, the brighter."""
        self._idle(span, scale, place)
        x0, x1 = self._ends(span, scale)
        bottom, high = place.middle + place.half, 2 * place.half
        last = len(span.levels) - 1
        edge = [(x0 + (x1 - x0) * i / last, bottom - high * min(level, 1.0)) for i, level in enumerate(span.levels)]
        self.paper.shape(_FLICKER, [(x0, bottom), *edge, (x1, bottom)])
        self._label(span.text, x0, x1, place.middle, SMALL, halo=True)

    def _level(self, span: Span, scale: Scale, place: Band) -> None:
        """A servo: the first-named outermost position on top, a thick line while it moves."""
        x0, x1 = scale(span.from_us), scale(span.to_us)
        moving = span.look is Look.MOVE
        levels = span.levels or (span.low, span.high)
        points = [(x0 + (x1 - x0) * i / (len(levels) - 1), self.height(share, place)) for i, share in enumerate(levels)]
        self.paper.line(_MOVES if moving else STANDS, *points)
        low = points[0][1]
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
