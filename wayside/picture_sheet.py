"""The sheet that the parts of a picture are laid out on, from the top down, and what they have in common on it.

Knows the page's edges, time along it, and how far down it is filled. Must not know what is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence

from wayside.picture_marks import DARK, GREY, Scale
from wayside.picture_paper import Ink, Paper, Pen, Words

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
