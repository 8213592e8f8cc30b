"""Paper for a picture: shapes and words placed in inches from the top left corner, kept by ink, written as SVG or PNG.

The one place that knows the plotting library, which is imported only when something is saved. Must not know what the
shapes mean. Many shapes of one ink become one collection, so that an hour with a thousand flashes is drawn quickly.
"""

from __future__ import annotations

import warnings
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

Point = tuple[float, float]

FONT = "DejaVu Sans"  # comes with the plotting library, so that every machine draws the same
LETTER = 0.60  # a letter's mean width as a share of the type size, for this font
DOTS_PER_INCH = 150
MOST_DOTS = 30_000  # along a side: a taller picture has fewer dots an inch, and never needs more memory


class Ink(NamedTuple):
    """How a shape is filled and outlined. Colours as the plotting library reads them; None leaves it out."""

    face: str | None
    edge: str | None = None
    width: float = 0.6  # points
    hatch: str = ""
    layer: int = 3


class Pen(NamedTuple):
    """How a line is drawn. `dash`: points drawn, points left out."""

    colour: str
    width: float = 0.6
    dash: tuple[float, float] | None = None
    layer: int = 4


class Words(NamedTuple):
    """A piece of text. `across`: left, center or right of x; always centred in height."""

    x: float
    y: float
    text: str
    size: float
    across: str = "left"
    colour: str = "#222222"
    bold: bool = False
    slanted: bool = False
    halo: bool = False  # a white box behind it, so that hatching does not eat it
    gid: str = ""


def text_width(text: str, size: float) -> float:
    """About how wide a text is, in inches. Measuring each would cost more than drawing it."""
    return len(text) * size * LETTER / 72


class Paper:
    """Collects shapes; `save` writes them."""

    def __init__(self) -> None:
        self._shapes: dict[tuple[Ink, str], list[Sequence[Point]]] = defaultdict(list)
        self._lines: dict[tuple[Pen, str], list[Sequence[Point]]] = defaultdict(list)
        self._clips: dict[str, tuple[float, float, float, float]] = {}
        self._words: list[Words] = []

    def shape(self, ink: Ink, points: Sequence[Point], gid: str = "") -> None:
        self._shapes[ink, gid].append(points)

    def box(self, ink: Ink, x0: float, y0: float, x1: float, y1: float, gid: str = "") -> None:
        self.shape(ink, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), gid)

    def line(self, pen: Pen, *points: Point, gid: str = "") -> None:
        self._lines[pen, gid].append(points)

    def words(self, words: Words) -> None:
        if words.text:
            self._words.append(words)

    def clip(self, gid: str, x0: float, y0: float, x1: float, y1: float) -> None:
        """What is drawn under this name is cut off at the box."""
        self._clips[gid] = (x0, y0, x1, y1)

    def save(self, path: Path, width: float, height: float, title: str) -> None:
        """Write the file; the ending of its name says whether as SVG or PNG. Equal contents give equal bytes."""
        import matplotlib

        # text stays text, so that it can be searched and read aloud; names inside the file do not change by chance
        with matplotlib.rc_context(
            {"svg.fonttype": "none", "svg.hashsalt": "wayside", "hatch.linewidth": 0.5, "font.family": FONT}
        ):
            self._write(path, width, height, title)

    def _write(self, path: Path, width: float, height: float, title: str) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.collections import LineCollection, PolyCollection
        from matplotlib.figure import Figure
        from matplotlib.patches import Rectangle

        dots = min(DOTS_PER_INCH, MOST_DOTS / max(width, height))
        figure = Figure(figsize=(width, height), dpi=dots, facecolor="white")
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0, 0, 1, 1), xlim=(0, width), ylim=(height, 0), autoscale_on=False)
        axes.set_axis_off()
        for (ink, gid), shapes in self._shapes.items():
            made = PolyCollection(
                shapes, facecolors=ink.face or "none", edgecolors=ink.edge or "none", linewidths=ink.width,
                hatch=ink.hatch or None, zorder=ink.layer, gid=gid or None,
            )  # fmt: skip
            axes.add_collection(made, autolim=False)
            if gid in self._clips:  # after adding, which would set the clip to the whole page
                x0, y0, x1, y1 = self._clips[gid]
                made.set_clip_path(Rectangle((x0, y0), x1 - x0, y1 - y0, transform=axes.transData))
        for (pen, gid), lines in self._lines.items():
            style = (0, pen.dash) if pen.dash else "solid"
            drawn = LineCollection(
                lines, colors=pen.colour, linewidths=pen.width, linestyles=[style], zorder=pen.layer,
                capstyle="butt", gid=gid or None,
            )  # fmt: skip
            axes.add_collection(drawn, autolim=False)
        for words in self._words:
            axes.text(
                words.x, words.y, words.text, fontsize=words.size, ha=words.across, va="center_baseline",
                color=words.colour, weight="bold" if words.bold else "normal", gid=words.gid or None,
                style="italic" if words.slanted else "normal", zorder=8, parse_math=False,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8} if words.halo else None,
            )  # fmt: skip
        kind = path.suffix.lower().lstrip(".")
        metadata = {"Title": title, "Date": None, "Creator": "Wayside"} if kind == "svg" else {"Title": title}
        with warnings.catch_warnings():  # letters that the font lacks are boxes on a PNG; an SVG keeps them
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            figure.savefig(path, format=kind, metadata=metadata, dpi=dots)
