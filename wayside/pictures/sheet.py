"""The sheet that the parts of a picture are laid out on, from the top down, and what pictures have in common on it.

Knows the page's edges, time along it, and how far down it is filled. Must not know what is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence

from wayside.pictures.marks import DARK, GREY, SMALL, STANDS, THIN, Band, Scale
from wayside.pictures.paper import Ink, Paper, Pen, Words, text_width
from wayside.pictures.spans import Tick

SIDE = 0.35  # inches: margin
NAME_SIZE = 7.5  # points
EDGE = Pen(GREY, 0.7, layer=2)
TRAIN = Ink("#aab4bc", DARK, 0.7)


class Sheet:
    """`left` and `right` are where time begins and ends; `height` is what is filled already."""

    def __init__(self, left: float, right: float, width: float, until_us: int) -> None:
        self.paper = Paper()
        self.left = left
        self.right = right
        self.width = width
        self.scale = Scale(left, (right - left) / until_us)
        self.height = 0.3

    def caption(self, text: str) -> None:
        self.height += 0.06
        self.paper.words(Words(SIDE, self.height + 0.07, text, NAME_SIZE, bold=True, colour=GREY, halo=True))
        self.height += 0.17


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


def tick_marks(sheet: Sheet, ticks: Sequence[Tick], place: Band) -> None:
    """A wedge each; its words to the right of it if the next one leaves room. Wedges in one spot are one."""
    xs = [sheet.scale(tick.at_us) for tick in ticks]
    last = -1.0
    for number, (tick, x) in enumerate(zip(ticks, xs, strict=True)):
        if x - last >= THIN:
            top = place.middle - place.half
            sheet.paper.shape(Ink(DARK), ((x - 0.035, top), (x + 0.035, top), (x, place.middle)))
            sheet.paper.line(STANDS, (x, top), (x, place.middle + place.half))
            last = x
        end = xs[number + 1] if number + 1 < len(xs) else sheet.width - 0.1
        text = tick.text.replace("\n", " ")
        before = xs[number - 1] if number else sheet.left
        if x + 0.12 + text_width(text, SMALL) > end and x - before > text_width(text, SMALL) + 0.2:
            sheet.paper.words(Words(x - 0.06, place.middle + 0.01, text, SMALL, "right", DARK))
            continue
        text = shortened(text, end - x - 0.12, SMALL)
        if len(text) > 8 or text == tick.text:
            sheet.paper.words(Words(x + 0.06, place.middle + 0.01, text, SMALL, "left", DARK))


def shortened(text: str, room: float, size: float) -> str:
    """A text cut to what fits, with an ellipsis."""
    if text_width(text, size) <= room:
        return text
    keep = int(room / text_width("x", size)) - 1
    return text[:keep] + "…" if keep > 0 else ""
