"""The picture of drawings, read back from its SVG: rows, curves, shades, words, and the same bytes every time."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine import characters
from wayside.cli import main
from wayside.pictures import drawing, drawing_picture
from wayside.pictures.drawing import Asked, Drawing
from wayside.pictures.drawing_choice import chosen
from wayside.pictures.drawing_picture import FLAT, shared_out, thinned
from wayside.pictures.drawing_samples import columns
from wayside.pictures.drawing_shades import FULL, GLOW, HUES, SKY, Rgb, hue, tint
from wayside.pictures.paper import text_width

ROOT = Path(__file__).parents[2]
GALLERY = ROOT / "examples/gallery.svg"
S = 1_000_000
SVG = "{http://www.w3.org/2000/svg}"


class Text(NamedTuple):
    x: float
    y: float
    text: str
    size: float
    anchor: str

    @property
    def ends(self) -> tuple[float, float]:
        wide = text_width(self.text, self.size) * 72 * 0.8  # the estimate is a generous one
        left = {"start": self.x, "middle": self.x - wide / 2, "end": self.x - wide}[self.anchor]
        return left, left + wide


class Page:
    def __init__(self, path: Path) -> None:
        self.root = ElementTree.parse(path).getroot()
        _, _, self.width, self.height = map(float, self.root.attrib["viewBox"].split())

    def texts(self) -> list[Text]:
        found = []
        for one in self.root.iter(f"{SVG}text"):
            style = dict(re.findall(r"([\w-]+): ([^;]+)", one.attrib["style"]))
            size = float(style["font-size"].removesuffix("px"))
            found.append(
                Text(float(one.attrib["x"]), float(one.attrib["y"]), one.text or "", size, style["text-anchor"])
            )
        return found

    def paths(self, gid: str) -> list[tuple[str, list[tuple[float, float]]]]:
        """(fill or stroke, points) of everything that is drawn under a name."""
        found = []
        for group in self.root.iter(f"{SVG}g"):
            if group.attrib.get("id") == gid:
                for path in group.iter(f"{SVG}path"):
                    points = re.findall(r"[ML] (\S+) (\S+)", path.attrib["d"])
                    colour = re.findall(r"(?:fill|stroke): (#\w+)", path.attrib.get("style", ""))
                    found.append((colour[0] if colour else "#000000", [(float(x), float(y)) for x, y in points]))
        return found


def picture(drawings: Sequence[Drawing], path: Path) -> Page:
    drawing_picture.draw(drawings, path)
    return Page(path)


def everything() -> list[Drawing]:
    return chosen(["everything"], Asked())


# --- shades --------------------------------------------------------------------------------------------------------


def lightness(shade: str) -> float:
    colour = pytest.importorskip("colour")
    parts = [int(shade[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    return float(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(parts), colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"])[0])


@pytest.mark.parametrize("lights", [GLOW, SKY])
def test_a_shade_has_the_lightness_of_its_level(lights: tuple[Rgb, Rgb]) -> None:
    """Against the colour-science library: L* within half a step of 8 bits, which is most where it is dark."""
    shades = [tint(step / 32, lights) for step in range(33)]
    for step, shade in enumerate(shades):
        assert lightness(shade) == pytest.approx(100 * FULL * step / 32, abs=0.7), shade
    assert len(set(shades)) == 33


def test_coloured_light_has_a_shade_for_every_colour_of_a_chart() -> None:
    for letters in ("R", "G", "Y", "Bu", "Vi", "Or", "Am"):
        assert characters.read(f"Fl {letters} 5s").colours == (letters,)
        assert letters in HUES
        greys = [lightness(hue(step / 8, letters)) for step in range(9)]
        assert greys == sorted(greys)
        assert greys[0] < 0.1
    assert len({hue(1.0, letters) for letters in HUES}) == len(HUES)


# --- rows ----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def gallery(tmp_path_factory: pytest.TempPathFactory) -> Page:
    return picture(everything(), tmp_path_factory.mktemp("draw") / "all.svg")


def test_every_name_and_every_line_about_it_is_there(gallery: Page) -> None:
    words = " ".join(one.text for one in gallery.texts())
    for one in everything():
        assert gallery.root.find(f".//{SVG}g[@id='name-{one.group}-{one.name}']") is not None
        assert one.about in words
        assert gallery.paths(f"curve-{one.group}-{one.name}")
        assert bool(gallery.paths(f"strip-{one.group}-{one.name}")) is one.axis.lit
    for group, about in drawing.GROUPS.items():
        assert group in [one.text for one in gallery.texts()]
        assert about.about in words


def test_words_lie_on_the_page_and_not_on_each_other(gallery: Page) -> None:
    lines = gallery.texts()
    for one in lines:
        assert one.ends[0] > 0
        assert one.ends[1] < gallery.width, one
        assert 0 < one.y < gallery.height
    for number, one in enumerate(lines):
        for other in lines[number + 1 :]:
            if abs(one.y - other.y) < 0.6 * min(one.size, other.size):
                assert one.ends[1] <= other.ends[0] or other.ends[1] <= one.ends[0], (one, other)


def test_the_gallery_has_the_shape_of_a_sheet_of_paper(gallery: Page) -> None:
    """A3 lies on its side at 1.41; so that it prints large, it is not far from that."""
    assert 1.0 < gallery.width / gallery.height < 1.5


@pytest.mark.parametrize("words", [["Iso W 4s"], ["gas-mantle"], ["bouncing"], ["storm"], ["dusk"]])
def test_a_curve_is_where_its_values_are(words: list[str], tmp_path: Path) -> None:
    one = chosen(words, Asked(for_us=12 * S))[0]
    page = picture([one], tmp_path / "one.svg")
    (colour, points) = page.paths(f"curve-{one.group}-{one.name}")[0]
    (_, filled) = page.paths(f"fill-{one.group}-{one.name}")[0]
    foot, left, right = filled[0][1], filled[0][0], filled[-1][0]
    tall = drawing_picture.CURVE * 72
    assert points == filled[1:-1]
    assert colour != "#ffffff"
    assert [x for x, _ in points] == sorted(x for x, _ in points)
    wave, span = one.lines[0].wave, one.to_us - one.from_us
    for (x0, y0), (x1, y1) in pairwise(points):
        if x1 - x0 > 0.2:
            for share in (0.25, 0.5, 0.75):
                at_us = one.from_us + round((x0 + (x1 - x0) * share - left) / (right - left) * span)
                shown = (foot - (y0 + (y1 - y0) * share)) / tall
                near = [one.axis.share(wave.value_at(at_us + slip)) for slip in (-span // 2000, 0, span // 2000)]
                assert min(near) - 0.02 <= shown <= max(near) + 0.02, at_us


def shades(page: Page, gid: str, number: int) -> list[str]:
    """What is seen in the middle of so many parts of a strip. Where shades lie on shades, the last one is seen."""
    strip = page.paths(gid)
    left, right = strip[0][1][0][0], max(x for x, _ in strip[0][1])
    seen = []
    for part in range(number):
        x = left + (right - left) * (part + 0.5) / number
        # the boxes of one shade are joined along their foot: only their tops count
        seen.append(
            [
                colour
                for colour, points in strip
                if any(a[0] <= x <= b[0] for a, b in pairwise(points) if a[1] == b[1] == min(y for _, y in points))
            ][-1]
        )
    return seen


def test_a_strip_is_light_where_the_lamp_is(tmp_path: Path) -> None:
    """Isophase, from its eclipse on: two seconds dark, two light."""
    page = picture(chosen(["Iso W 4s"], Asked(for_us=8 * S)), tmp_path / "iso.svg")
    seen = shades(page, "strip-characters-Iso W 4s", 8)
    assert [lightness(one) > 90 for one in seen] == [False, False, True, True] * 2
    assert seen[0] == "#000000"


@pytest.mark.parametrize(("name", "words"), [("profiles-even", "even"), ("daylight-nightfall", "nightfall")])
def test_a_strip_has_the_lightness_of_its_curve(name: str, words: str, tmp_path: Path) -> None:
    (one,) = chosen([words], Asked())
    seen = shades(picture([one], tmp_path / "even.svg"), f"strip-{name}", 20)
    for part, shade in enumerate(seen):
        share = one.axis.share(one.lines[0].wave.value_at(one.to_us * (2 * part + 1) // 40))
        assert lightness(shade) == pytest.approx(100 * FULL * share, abs=2.5), part


def test_neighbours_have_a_row_each_with_their_names(tmp_path: Path) -> None:
    drawings = chosen(["embers"], Asked(lamps=("quay-lamp-1", "quay-lamp-2")))
    page = picture(drawings, tmp_path / "two.svg")
    texts = [one.text for one in page.texts()]
    assert texts.count("embers") == 2  # the title, and the row
    assert "quay-lamp-1" in texts
    curves = [page.paths(f"curve-manners-embers-quay-lamp-{number}")[0][1] for number in (1, 2)]
    assert curves[0] != curves[1]


def test_colours_are_told_in_letters(tmp_path: Path) -> None:
    page = picture(chosen(["Al WRG 9s"], Asked(for_us=18 * S)), tmp_path / "al.svg")
    letters = [one.text for one in page.texts() if one.text in ("W", "R", "G")]
    assert letters == ["W", "R", "G"] * 2
    white, red, green = tint(1.0, GLOW), hue(1.0, "R"), hue(1.0, "G")
    assert shades(page, "strip-characters-Al WRG 9s", 6) == [white, red, green] * 2


def test_on_and_off_are_written(tmp_path: Path) -> None:
    texts = [one.text for one in picture(chosen(["filament"], Asked()), tmp_path / "on.svg").texts()]
    assert "on" in texts
    assert "off" in texts


# --- pages ---------------------------------------------------------------------------------------------------------


def test_drawings_are_shared_out_whole_and_evenly() -> None:
    drawings = everything()
    for number in (1, 2, 3):
        shares = shared_out(drawings, number)
        assert len(shares) == number
        assert sorted((d for share in shares for d in share), key=drawings.index) == drawings
        groups = [group for share in shares for group in {one.group for one in share}]
        assert len(groups) == len(set(groups))  # no group is torn apart
        tall = [drawing_picture._height(share) for share in shares]
        assert max(tall) < 1.25 * min(tall)
    manners = [one for one in drawings if one.group == "manners"] * 2
    assert [len(share) for share in shared_out(manners, 2)] == [12, 12]


def test_many_lamps_of_one_manner(tmp_path: Path) -> None:
    lamps = tuple(f"quay-lamp-{number}" for number in range(1, 9))
    page = picture(chosen(["embers", "oil-lamp", "storm", "sodium", "led"], Asked(lamps=lamps)), tmp_path / "many.svg")
    assert [one.text for one in page.texts()].count("quay-lamp-8") == 5
    assert max(one.y for one in page.texts()) < page.height


points = st.tuples(st.integers(0, 400), st.floats(0, 1)).map(lambda at: (at[0] / 100, at[1]))


@given(st.lists(points, min_size=2, max_size=60))
def test_leaving_points_out_changes_nothing_that_is_seen(found: list[tuple[float, float]]) -> None:
    found.sort(key=lambda at: at[0])
    kept = thinned(found)
    assert (kept[0], kept[-1]) == (found[0], found[-1])
    assert set(kept) <= set(found)
    for x, y in found:
        near = []
        for (x0, y0), (x1, y1) in pairwise(kept):
            if x0 <= x <= x1:
                on = y0 + (y1 - y0) * (x - x0) / (x1 - x0) if x1 > x0 else min(max(y, min(y0, y1)), max(y0, y1))
                near.append(abs(on - y))
        assert min(near) <= FLAT + 1e-9
    straight = [(number / 10, 0.5) for number in range(30)]
    assert thinned(straight) == [straight[0], straight[-1]]


def test_the_same_bytes_whenever_it_is_made(tmp_path: Path) -> None:
    """In other processes, with other salts for hashing; the same for PNG."""
    for ending in ("svg", "png"):
        made = []
        for number in (1, 2):
            words = ["draw", "bonfire", "Al WR 9s", "--picture", f"{number}.{ending}"]
            code = f"from wayside.cli import main; main({words!r})"
            env = {"PYTHONPATH": str(ROOT), "PYTHONHASHSEED": str(number), "PATH": "", "HOME": str(tmp_path)}
            subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=env, check=True, capture_output=True)
            made.append((tmp_path / f"{number}.{ending}").read_bytes())
        assert made[0] == made[1]
        assert len(made[0]) > 10_000
    assert b"202" not in re.sub(rb"[0-9.]+(?=[ \"/])", b"", (tmp_path / "1.svg").read_bytes())  # no date


def test_a_picture_is_made_of_everything_if_nothing_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "gallery.svg"
    assert main(["draw", "--picture", str(path)]) == 0
    assert capsys.readouterr() == (f"The picture is in {path}.\n", "")
    assert len(Page(path).texts()) > 500


def test_the_gallery_in_the_examples_is_of_today(gallery: Page) -> None:
    """Every word of it. If this fails: `wayside draw everything --picture examples/gallery.svg`."""
    assert [one.text for one in Page(GALLERY).texts()] == [one.text for one in gallery.texts()]
    for one in everything():
        (_, now), (_, then) = (page.paths(f"curve-{one.group}-{one.name}")[0] for page in (gallery, Page(GALLERY)))
        assert len(now) == len(then), one.name
        for point, before in zip(now, then, strict=True):
            assert point == pytest.approx(before, abs=0.1), one.name  # points of the page


def test_every_level_of_a_long_manner_is_in_the_curve(tmp_path: Path) -> None:
    one = chosen(["storm"], Asked(for_us=120 * S))[0]
    page = picture([one], tmp_path / "storm.svg")
    points = page.paths("curve-manners-storm")[0][1]
    foot = page.paths("fill-manners-storm")[0][1][0][1]
    highest = max(column.high for column in columns(one.lines[0].wave, 0, one.to_us, 5000))
    assert (foot - min(y for _, y in points)) / 72 / drawing_picture.CURVE == pytest.approx(highest, abs=0.01)
