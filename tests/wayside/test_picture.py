"""The picture, read back from its SVG: the rows, the words, the marks where things failed, no words on words."""

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

from engine.courses import Course, Leg, Script
from engine.flicker import Flicker
from engine.layout import (
    Aspect,
    Blink,
    Button,
    Clock,
    Detector,
    DetectorKind,
    Hold,
    Kind,
    Layout,
    Output,
    Place,
    Position,
    Setting,
    Stretch,
    Track,
)
from engine.manners import MANNERS
from engine.program import Program
from engine.trace import (
    ButtonIs,
    CounterIs,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    TrainAt,
    Trouble,
)
from engine.waves import Flashing, Ramp, State, Steady, Wave
from wayside.pictures import picture
from wayside.pictures.failures import MOST_LISTED, Failure
from wayside.pictures.marks import MOST_LABELS, merged
from wayside.pictures.outputs import FEWEST_IN_SPAN, FLICKER_SAMPLES, MOST_COLOURS, output_row
from wayside.pictures.paper import text_width
from wayside.pictures.picture import tick_step_s
from wayside.pictures.rows import FEWEST_SAMPLES, contents
from wayside.pictures.sheet import spread
from wayside.pictures.spans import Look, Row, Span

S = 1_000_000
PLACE = Place("lane.scene", 3, 5, 3, 9)
SVG = "{http://www.w3.org/2000/svg}"
NEAR = 1.5  # points: what a place on the page may be off

# --- a layout, and traces written by hand --------------------------------------------------------------------------


def lamp(name: str, steps: int = 1) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0), steps=steps)


def barrier(name: str) -> Output:
    return Output(name, Kind.SERVO, Setting(85.0), positions=(Position("raised", 85.0), Position("lowered", 0.0)))


def program(
    outputs: Sequence[Output], detectors: Sequence[str], tracks: Sequence[Track] = (), ratio: int = 1
) -> Program:
    layout = Layout(
        "Pellbrook Quay",
        {output.name: output for output in outputs},
        {name: Detector(name, DetectorKind.SECTION) for name in detectors},
        {"red-button": Button("red-button")},
        {track.name: track for track in tracks},
        clock=Clock(17 * 3600, ratio),
    )
    return Program(layout)


SIGNAL = Output("up-signal", Kind.SIGNAL, Setting(0.0), aspects=(Aspect("danger", stops=True), Aspect("clear")))
UP_LINE = Track(
    "up-line",
    (Stretch("up-approach", 3600), Stretch("lane", 300), Stretch(None, 900), Stretch("beyond", 1200)),
    150, 300, (Hold("up-signal", 3600),),
)  # fmt: skip
CROSSING = program(
    [
        *map(lamp, ("amber", "red-left", "red-right")), lamp("quay-lamp", 255), lamp("idle-lamp"),
        barrier("near-barrier"), barrier("far-barrier"), SIGNAL,
        Output("bell", Kind.SOUND, Setting(0.0)), Output("fan", Kind.MOTOR, Setting(0.0), steps=100),
    ],
    ("up-approach", "lane", "beyond"),
    (UP_LINE,),
)  # fmt: skip


def told(seconds: float, output: str, wave: Wave) -> Told:
    return Told(int(seconds * S), output, wave, "lane", PLACE, "line")


def ramp(from_s: float, to_s: float, low: float, high: float) -> Ramp:
    return Ramp(int(from_s * S), int(to_s * S), low, high)


def flash(from_s: float, slot: int = 0) -> Flashing:
    return Flashing(int(from_s * S), Blink(60 * S, 80, slot, 2))


SHORT: list[Record] = [
    TrainAt(0, 0, "up-line", 0, -800_000, 150_000),
    Saw(0, "up-approach", "occupied"),
    SceneIs(0, "saltmarsh-lane", "running", "train-about", PLACE),
    told(0, "amber", Steady(1.0)),
    told(3, "amber", Steady(0.0)),
    told(3, "red-left", flash(3)),
    told(3, "red-right", flash(3, 1)),
    told(8, "near-barrier", ramp(8, 15, 85.0, 0.0)),
    told(15, "far-barrier", ramp(15, 22, 85.0, 0.0)),
    told(22, "up-signal", Steady(1.0)),
    ButtonIs(25 * S, "red-button", True),
    ButtonIs(26 * S, "red-button", False),
    Noted(30 * S, "saltmarsh-lane", "the train is on the lane", PLACE),
    Saw(32 * S, "beyond", "unknown"),
    FlagIs(33 * S, "shop-open", True),
    CounterIs(34 * S, "trains", 2),
    LinkIs(35 * S, "main", "gone"),
    TrainAt(40 * S, 0, "up-line", 6_000_000, 5_200_000, 150_000),
    told(40, "quay-lamp", ramp(40, 52, 0.0, 0.85)),
    told(40, "fan", ramp(40, 42, 0.0, -0.5)),
    SceneIs(70 * S, "saltmarsh-lane", "stopping", "by hand", PLACE),
    SceneIs(75 * S, "saltmarsh-lane", "stopped", "", PLACE),
]
FAILURES = [
    Failure(22 * S, "expected that all of barriers are lowered by 21 s", ("far-barrier",)),
    Failure(41 * S, "expected that amber is on at 41 s", ("amber", "near-barrier")),
    Failure(None, "expected that all outputs are at rest by 90 s", ("fan",)),
]


def an_hour() -> tuple[Program, list[Record]]:
    """60 rows, most of them busy; two lamps flash for an hour."""
    lamps = [lamp(f"quay-lamp-{number}", 255) for number in range(1, 41)]
    outputs = [*lamps, lamp("red-left"), lamp("red-right"), lamp("chatter"), barrier("near-barrier"), SIGNAL]
    detectors = [f"section-{number}" for number in range(1, 16)]
    # runs of short stretches, whose names would lie on each other if they stood where the stretches are
    lengths = [(60, 60, 60, 60, 3000)[number % 5] for number in range(len(detectors))]
    track = Track("main-line", tuple(map(Stretch, detectors, lengths)), 150, 300)
    trace: list[Record] = [told(5, "red-left", flash(5)), told(5, "red-right", flash(5, 1))]
    for second in range(0, 3600, 90):
        for number, one in enumerate(lamps):
            trace.append(told(second + number, one.name, ramp(second + number, second + number + 40, 0.0, 0.85)))
            trace.append(told(second + number + 50, one.name, Steady(0.0)))
        trace += [told(second, "near-barrier", ramp(second, second + 7, 85.0, 0.0))]
        trace += [told(second + 40, "near-barrier", ramp(second + 40, second + 47, 0.0, 85.0))]
        trace += [told(second, "up-signal", Steady(float(second // 90 % 2)))]
        trace += [Noted(second * S, "evening", f"note number {second}", PLACE)]
        trace += [TrainAt(second * S, second // 90, "main-line", 0, -800_000, 150_000)]
        for number, name in enumerate(detectors):
            trace.append(Saw((second + number) * S, name, "occupied"))
            trace.append(Saw((second + number + 30) * S, name, ("clear", "unknown")[number % 2]))
    trace += [told(100 + 0.2 * number, "chatter", Steady(float(number % 2))) for number in range(2000)]
    trace.sort(key=lambda record: record.at_us)
    return program(outputs, detectors, (track,)), trace


# --- reading it back -----------------------------------------------------------------------------------------------


class Text(NamedTuple):
    text: str
    x: float
    y: float
    size: float
    across: str
    gid: str

    @property
    def left(self) -> float:
        wide = text_width(self.text, self.size) * 72
        return self.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.across] * wide

    @property
    def right(self) -> float:
        return self.left + text_width(self.text, self.size) * 72


class Drawn:
    """A picture as an SVG reader sees it; lengths in points."""

    def __init__(self, path: Path) -> None:
        self.root = ElementTree.parse(path).getroot()
        self.groups = {group.get("id", ""): group for group in self.root.iter(f"{SVG}g")}
        self.width = float(str(self.root.get("width")).removesuffix("pt"))
        self.height = float(str(self.root.get("height")).removesuffix("pt"))
        self.texts = [self._text(one, gid) for gid, group in self.groups.items() for one in group.findall(f"{SVG}text")]

    @staticmethod
    def _text(one: ElementTree.Element, gid: str) -> Text:
        style = one.get("style", "")
        size = re.search(r"([\d.]+)px", style)
        anchor = re.search(r"text-anchor: (\w+)", style)
        moved = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", one.get("transform", ""))
        x, y = (float(moved[1]), float(moved[2])) if moved else (float(one.get("x", 0)), float(one.get("y", 0)))
        across = anchor[1] if anchor else "start"
        return Text("".join(one.itertext()), x, y, float(size[1]) if size else 0.0, across, gid)

    def words(self) -> list[str]:
        return [text.text for text in self.texts]

    def text(self, gid: str) -> Text:
        (found,) = [text for text in self.texts if text.gid == gid]
        return found

    def rows(self) -> list[str]:
        return [gid for gid in self.groups if gid.startswith("row-")]

    def points(self, gid: str) -> list[list[tuple[float, float]]]:
        """The corners of each shape drawn under a name."""
        found = []
        for one in self.groups[gid].iter(f"{SVG}path"):
            numbers = re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", one.get("d", "").replace("\n", " "))
            found.append([(float(x), float(y)) for x, y in numbers])
        return found

    def x_of(self, second: float) -> float:
        """Where a second lies, by the times written along the top."""
        ticks = sorted((int(t.gid.rsplit("-", 1)[1]), t.x) for t in self.texts if t.gid.startswith("time-top-"))
        (first, left), (last, right) = ticks[0], ticks[-1]
        return left + (second - first) * (right - left) / (last - first)


def draw(
    folder: Path,
    trace: Sequence[Record],
    of: Program = CROSSING,
    seconds: float = 90,
    failures: Sequence[Failure] = (),
    wall: int | None = None,
    title: str = "second-train-while-rising",
) -> Drawn:
    path = folder / "picture.svg"
    picture.draw(trace, of, path, int(seconds * S), title, failures, wall)
    return Drawn(path)


# --- the rows ------------------------------------------------------------------------------------------------------


def test_one_row_an_output_and_a_detector(tmp_path: Path) -> None:
    rows = draw(tmp_path, SHORT).rows()
    for output in CROSSING.layout.outputs.values():
        assert rows.count(f"row-{output.kind.value}-{output.name}") == 1
    for name in CROSSING.layout.detectors:
        assert rows.count(f"row-detector-{name}") == 1
    others = {"row-scene-saltmarsh-lane", "row-button-red-button", "row-flag-shop-open", "row-counter-trains"}
    assert others | {"row-link-main", "row-notes-notes"} <= set(rows)
    assert len(rows) == len(CROSSING.layout.outputs) + len(CROSSING.layout.detectors) + 6


def test_outputs_stand_in_groups_in_the_layouts_order(tmp_path: Path) -> None:
    drawn = draw(tmp_path, SHORT)
    order = [gid.removeprefix("row-") for gid in sorted(drawn.rows(), key=lambda gid: drawn.text(gid).y)]
    assert order[:3] == ["detector-up-approach", "detector-lane", "detector-beyond"]
    assert order[3:6] == ["signal-up-signal", "servo-near-barrier", "servo-far-barrier"]
    assert order[6:11] == [f"lamp-{name}" for name in ("amber", "red-left", "red-right", "quay-lamp", "idle-lamp")]
    assert {"Signals", "Servos", "Lamps", "Detectors", "Motors", "Sounds", "Scenes"} <= set(drawn.words())


def test_the_words_that_a_reader_needs_are_there(tmp_path: Path) -> None:
    words = draw(tmp_path, SHORT).words()
    wanted = {
        "second-train-while-rising", "Pellbrook Quay", "Trains on up-line", "train 1", "up-approach 3600 mm",
        "blind 900 mm", "raised", "lowered", "danger", "clear", "85 %", "to 85 %", "50 % backwards", "0:00", "1:30",
        "the train is on the lane", "How to read it", "flashing", "moving between named positions",
        "unknown, or no link",
    }  # fmt: skip
    assert wanted <= set(words)


def test_the_legend_explains_only_what_is_drawn(tmp_path: Path) -> None:
    words = draw(tmp_path, [told(0, "amber", Steady(1.0))]).words()
    assert "level: the darker, the brighter" in words
    assert "flashing" not in words
    assert "train, from front to tail" not in words


def test_the_picture_grows_by_its_rows_and_not_beyond_its_width(tmp_path: Path) -> None:
    few, many = (program([lamp(f"lamp-{n}") for n in range(count)], ()) for count in (10, 60))
    trace = [told(1, f"lamp-{n}", Steady(1.0)) for n in range(60)]
    short, tall = draw(tmp_path, trace[:10], few), draw(tmp_path, trace, many)
    assert tall.width == short.width
    assert (tall.height - short.height) / 50 == pytest.approx(0.26 * 72, abs=1)
    assert draw(tmp_path, trace, many, 36_000).width < 18 * 72


def test_rows_over_the_limit_are_counted_at_the_foot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(picture, "MOST_ROWS", 20)
    at, over = (program([lamp(f"lamp-{n}") for n in range(count)], ()) for count in (20, 21))
    assert len(draw(tmp_path, (), at).rows()) == 20
    assert not any("left out" in word for word in draw(tmp_path, (), at).words())
    drawn = draw(tmp_path, (), over)
    assert len(drawn.rows()) == 20
    assert any("1 more row is left out" in word for word in drawn.words())


@pytest.fixture(scope="module")
def hour(tmp_path_factory: pytest.TempPathFactory) -> Drawn:
    of, trace = an_hour()
    return draw(tmp_path_factory.mktemp("hour"), trace, of, 3600, FAILURES, 17 * 3600)


@pytest.mark.parametrize("sample", ["short", "hour"])
def test_no_words_lie_on_other_words(tmp_path: Path, sample: str, hour: Drawn) -> None:
    drawn = hour if sample == "hour" else draw(tmp_path, SHORT, CROSSING, 90, FAILURES, 17 * 3600)
    texts = sorted(drawn.texts, key=lambda text: text.y)
    for number, one in enumerate(texts):
        for other in texts[number + 1 :]:
            if other.y - one.y >= 0.75 * min(one.size, other.size):
                break
            assert one.right <= other.left + 1 or other.right <= one.left + 1, (one, other)
    for one in texts:
        assert one.left >= -1, one
        assert one.right <= drawn.width + 1, one
        assert 0 <= one.y <= drawn.height, one


# --- time ----------------------------------------------------------------------------------------------------------


def test_time_runs_evenly_and_is_written_at_both_ends(tmp_path: Path) -> None:
    drawn = draw(tmp_path, SHORT)
    for second in range(0, 91, 10):
        assert drawn.text(f"time-top-{second}").x == pytest.approx(drawn.x_of(second), abs=NEAR)
        assert drawn.text(f"time-foot-{second}").x == pytest.approx(drawn.x_of(second), abs=NEAR)


def test_layout_time_runs_along_the_top_at_the_clocks_own_ratio(tmp_path: Path) -> None:
    fast = program([lamp("amber")], (), ratio=60)
    drawn = draw(tmp_path, (), fast, 90, wall=17 * 3600 + 1800)
    assert drawn.text(f"layout-time-{18 * 3600}").x == pytest.approx(drawn.x_of(30), abs=NEAR)
    assert drawn.text(f"layout-time-{18 * 3600}").text == "18:00"
    assert not any(gid.startswith("layout-time") for gid in draw(tmp_path, (), fast).groups)


@pytest.mark.parametrize("seconds", [1, 7, 90, 600, 3600, 6 * 3600, 10 * 86_400])
def test_written_times_stand_apart_and_are_enough(seconds: int) -> None:
    per_second = 8.0 / seconds
    step = tick_step_s(per_second)
    assert step * per_second >= 0.75
    assert step == 1 or seconds / step >= 3


# --- trains --------------------------------------------------------------------------------------------------------


def test_a_trains_band_is_where_it_truly_is(tmp_path: Path) -> None:
    """The front enters the lane, 3600 mm along at 150 mm/s, after 24 s; the tail, 800 mm behind, after 29.33 s."""
    drawn = draw(tmp_path, SHORT)
    first, _ = drawn.points("track-up-line")
    corners = [(x, y) for x, y in first]
    (x0, front0), (x1, front1), (_, tail1), (_, tail0) = corners[:4]
    assert x0 == pytest.approx(drawn.x_of(0), abs=NEAR)
    assert x1 == pytest.approx(drawn.x_of(40), abs=NEAR)
    # the track is 6000 mm long: its ends are where the front starts (0) and arrives (6000 mm at 40 s)
    up = (front0 - front1) / 6000
    assert (tail0 - front0) / up == pytest.approx(800, abs=5)
    assert (tail1 - front1) / up == pytest.approx(800, abs=5)
    at_lane = x0 + (x1 - x0) * 3600 / 6000
    assert at_lane == pytest.approx(drawn.x_of(24), abs=NEAR)


def test_what_of_a_train_is_not_on_the_track_is_cut_off(tmp_path: Path) -> None:
    drawn = draw(tmp_path, SHORT)
    clipped = [one for one in drawn.groups["track-up-line"].iter() if "clip-path" in one.attrib]
    (name,) = {str(one.get("clip-path"))[5:-1] for one in clipped}
    (rect,) = [one for clip in drawn.root.iter(f"{SVG}clipPath") if clip.get("id") == name for one in clip]
    assert float(rect.get("height", 0)) < drawn.height / 3


def test_a_train_that_turns_back_and_a_train_that_has_left() -> None:
    trace = [
        TrainAt(0, 1, "up-line", 0, -800_000, 150_000),
        TrainAt(10 * S, 1, "up-line", 1_500_000, 700_000, 0),
        TrainAt(20 * S, 1, "up-line", 1_500_000, 700_000, -150_000),
    ]
    (strip,) = contents(trace, CROSSING, 90 * S).strips
    there, stands, back = strip.courses
    assert there.front == (0, 1_500_000)
    assert stands.front == (1_500_000, 1_500_000)
    assert (stands.from_us, stands.to_us) == (10 * S, 20 * S)
    assert back.to_us == 30 * S  # the front, now last, passes the track's beginning
    assert back.front == (1_500_000, 0)


def test_a_track_of_very_many_stretches_writes_as_many_names_as_fit(tmp_path: Path) -> None:
    names = [f"s-{number}" for number in range(200)]
    track = Track("long-line", tuple(Stretch(name, 10) for name in names), 150, 300)
    drawn = draw(tmp_path, [TrainAt(0, 1, "long-line", 0, -100_000, 50_000)], program([], names, (track,)))
    written = sorted(text.y for text in drawn.texts if text.text.endswith(" 10 mm"))
    assert 40 < len(written) < 200
    assert all(below - above >= 0.1299 * 72 for above, below in pairwise(written))


def test_tracks_without_trains_take_no_room(tmp_path: Path) -> None:
    assert "Trains on up-line" not in draw(tmp_path, [told(0, "amber", Steady(1.0))]).words()


# --- what failed ---------------------------------------------------------------------------------------------------


def middle(shapes: Sequence[Sequence[tuple[float, float]]]) -> list[tuple[float, float]]:
    return [(sum(x for x, _ in shape) / len(shape), sum(y for _, y in shape) / len(shape)) for shape in shapes]


def test_failed_expectations_are_marked_where_they_failed(tmp_path: Path) -> None:
    drawn = draw(tmp_path, SHORT, failures=FAILURES)
    for number, (second, rows) in enumerate(
        [(22, ["servo-far-barrier"]), (41, ["lamp-amber", "servo-near-barrier"]), (90, ["motor-fan"])], start=1
    ):
        label = drawn.text(f"mark-at-{second * S}")
        assert label.text == str(number)
        assert label.x == pytest.approx(drawn.x_of(second), abs=NEAR)
        crosses = middle(drawn.points(f"failure-{number}"))
        assert all(x == pytest.approx(drawn.x_of(second), abs=NEAR) for x, _ in crosses)
        heights = sorted({drawn.text(f"row-{row}").y for row in rows})
        assert sorted({y for _, y in crosses})[:: len(crosses) // len(rows) // 2 or 1] == pytest.approx(heights, abs=5)


def test_crosses_are_explained_only_where_one_is_drawn(tmp_path: Path) -> None:
    crossed = draw(tmp_path, SHORT, failures=[Failure(10 * S, "far-barrier", ("far-barrier",))])
    without = draw(tmp_path, SHORT, failures=[Failure(10 * S, "never started", ("no-row-of-this-name",))])
    assert "what a failed expectation is about" in crossed.words()
    assert "what a failed expectation is about" not in without.words()


def test_failures_are_written_out_below(tmp_path: Path) -> None:
    drawn = draw(tmp_path, SHORT, failures=FAILURES)
    lowest = max(drawn.text(gid).y for gid in drawn.rows())
    below = [text.text for text in drawn.texts if text.y > lowest]
    for failure, when in zip(FAILURES, ("0:22.0", "0:41.0", "at the end"), strict=True):
        assert failure.text in below
        assert when in below


def test_failures_of_one_instant_share_a_label_and_long_texts_are_wrapped(tmp_path: Path) -> None:
    text = "expected a great deal " * 20
    drawn = draw(tmp_path, SHORT, failures=[Failure(10 * S, text, ()) for _ in range(4)])
    assert drawn.text(f"mark-at-{10 * S}").text == "1-4"
    assert all(text.right <= drawn.width for text in drawn.texts)


def test_a_crowd_of_failures_is_cut_at_the_limit_and_counted(tmp_path: Path) -> None:
    many = [Failure(number * S // 2, f"failure number {number}") for number in range(MOST_LISTED + 5)]
    words = draw(tmp_path, SHORT, failures=many).words()
    assert f"failure number {MOST_LISTED - 1}" in words
    assert f"failure number {MOST_LISTED}" not in words
    assert "and 5 more" in words


def test_trouble_is_marked_and_written_out(tmp_path: Path) -> None:
    drawn = draw(tmp_path, [*SHORT, Trouble(79 * S, "a loop went round in no time; it was cut", (PLACE,))])
    assert drawn.text(f"mark-at-{79 * S}").x == pytest.approx(drawn.x_of(79), abs=NEAR)
    assert "a loop went round in no time; it was cut" in drawn.words()


@st.composite
def orders(draw_from: st.DrawFn) -> list[Told]:
    """What a barrier may be told in 100 s, at rising instants, some of them equal."""
    instants = sorted(draw_from(st.lists(st.integers(0, 100), max_size=12)))
    made = []
    for at in instants:
        low, high = (draw_from(st.sampled_from((85.0, 42.5, 0.0))) for _ in range(2))
        wave = draw_from(st.sampled_from((Steady(low), ramp(at, at + 7, low, high), ramp(at, at, low, high))))
        made.append(told(at, "near-barrier", wave))
    return made


@given(orders(), st.integers(1, 120))
def test_the_spans_of_a_row_leave_no_gap_and_never_overlap(trace: list[Told], seconds: int) -> None:
    row = output_row(CROSSING.layout.outputs["near-barrier"], trace, seconds * S)
    assert row.spans[0].from_us == 0
    assert row.spans[-1].to_us == seconds * S
    assert all(span.from_us < span.to_us for span in row.spans)
    assert all(one.to_us == other.from_us for one, other in pairwise(row.spans))
    # what is drawn at an instant is what the last order before it says
    for span in row.spans:
        at = (span.from_us + span.to_us) // 2
        said = [one.wave.value_at(at) for one in trace if one.at_us <= at]
        if said:
            shown = (span.low + span.high) / 2
            assert shown == pytest.approx((85.0 - said[-1]) / 85.0, abs=1e-6)


# --- spans ---------------------------------------------------------------------------------------------------------


def row_of(name: str, *trace: Told) -> Row:
    return output_row(CROSSING.layout.outputs[name], trace, 90 * S)


def looks(row: Row) -> list[tuple[float, float, Look]]:
    return [(span.from_us / S, span.to_us / S, span.look) for span in row.spans]


def test_an_output_that_is_never_told_shows_its_rest() -> None:
    assert looks(row_of("amber")) == [(0, 90, Look.IDLE)]
    assert looks(row_of("near-barrier")) == [(0, 90, Look.LEVEL)]
    assert row_of("near-barrier").spans[0].text == "raised"
    assert row_of("up-signal").spans[0].text == "danger"


def test_a_move_then_standing() -> None:
    row = row_of("near-barrier", told(8, "near-barrier", ramp(8, 15, 85.0, 0.0)))
    assert looks(row) == [(0, 8, Look.LEVEL), (8, 15, Look.MOVE), (15, 90, Look.LEVEL)]
    assert [(span.low, span.high) for span in row.spans] == [(0, 0), (0, 1), (1, 1)]
    assert [span.text for span in row.spans] == ["raised", "to lowered", "lowered"]


def test_a_move_that_is_cut_short_stops_where_it_was() -> None:
    row = row_of(
        "near-barrier",
        told(10, "near-barrier", ramp(10, 20, 85.0, 0.0)),
        told(15, "near-barrier", Steady(42.5)),
    )
    assert looks(row)[1:] == [(10, 15, Look.MOVE), (15, 90, Look.LEVEL)]
    assert row.spans[1].high == pytest.approx(0.5)
    assert row.spans[2].text == "50 % towards lowered"


def test_an_output_that_did_not_begin_at_rest_shows_where_its_first_move_began() -> None:
    row = row_of("near-barrier", told(8, "near-barrier", ramp(8, 15, 0.0, 85.0)))
    assert row.spans[0].text == "lowered"


def test_only_the_last_order_of_an_instant_shows() -> None:
    row = row_of("amber", told(5, "amber", Steady(1.0)), told(5, "amber", Steady(0.0)))
    assert looks(row) == [(0, 90, Look.IDLE)]


LANTERN = Output("bay colour", Kind.COLOUR, Setting(0.0), aspects=(Aspect("white"), Aspect("red")))
PARLOUR = Output("parlour colour", Kind.COLOUR, Setting(370.0), mired=(450.0, 150.0))
IN_TURN = Course(0, Script.of(Leg(4 * S, 0.0), Leg(2 * S, 1.0)), 0.0, 1.0, repeats=True, state=State.FLASHING)


def test_the_colours_of_a_character_stand_one_after_another_and_let_no_train_go(tmp_path: Path) -> None:
    row = output_row(LANTERN, [told(0, "bay colour", IN_TURN), told(13, "bay colour", Steady(1.0))], 20 * S)
    seen = [(span.from_us // S, span.to_us // S, span.text) for span in row.spans]
    assert seen == [
        (0, 4, "white"),
        (4, 6, "red"),
        (6, 10, "white"),
        (10, 12, "red"),
        (12, 13, "white"),
        (13, 20, "red"),
    ]
    assert {span.look for span in row.spans} == {Look.COLOUR}
    drawn = draw(tmp_path, [told(0, "bay colour", IN_TURN)], program([LANTERN], []), 20)
    assert "colour of the light" in drawn.words()
    assert not any("trains" in word for word in drawn.words())


def test_of_very_many_changes_of_colour_the_first_are_drawn_and_the_rest_is_named() -> None:
    row = output_row(LANTERN, [told(0, "bay colour", IN_TURN)], 48 * 3600 * S)
    assert len(row.spans) == MOST_COLOURS + 1
    assert row.spans[-1][1:] == (48 * 3600 * S, Look.COLOUR, 0.0, 0.0, "in turn", None, ())


def test_the_white_of_a_lamp_is_explained_as_one(tmp_path: Path) -> None:
    trace = [told(3, "parlour colour", ramp(3, 9, 370.0, 200.0))]
    row = output_row(PARLOUR, trace, 20 * S)
    assert looks(row) == [(0, 3, Look.WHITE), (3, 9, Look.WHITE), (9, 20, Look.WHITE)]
    assert row.spans[0].low < row.spans[2].low  # the cooler, the darker the ink
    words = draw(tmp_path, trace, program([PARLOUR], []), 20).words()
    assert "white of the light: the darker, the cooler" in words
    assert "level: the darker, the brighter" not in words


def test_what_flickers_on_many_rows_or_in_many_spans_is_sampled_no_closer_than_the_page_shows() -> None:
    lamps = [lamp(f"l{number}", 255) for number in range(600)]

    def samples(count: int, spans: int) -> int:
        trace = [
            told(at * 3600 // spans, one.name, Flicker(0, 0, 7, MANNERS["candle"], (0.0, 1.0), (0.0, 1.0)))
            for one in lamps[:count]
            for at in range(spans)
        ]
        found = contents(trace, program(lamps, []), 3600 * S)
        rows = [row for section in found.sections for row in section.rows if row.name == "l0"]
        return sum(len(span.levels) for span in rows[0].spans)

    assert samples(1, 1) == FLICKER_SAMPLES
    assert samples(1, 60) == FLICKER_SAMPLES  # not as many in each
    assert samples(600, 1) == FEWEST_SAMPLES
    assert samples(600, 60) == 60 * FEWEST_IN_SPAN


def test_what_comes_after_the_end_is_left_out() -> None:
    row = row_of("amber", told(80, "amber", Steady(1.0)), told(95, "amber", Steady(0.0)))
    assert looks(row) == [(0, 80, Look.IDLE), (80, 90, Look.SHADE)]


def test_detectors_are_clear_until_they_say_otherwise() -> None:
    (section, *_) = contents(SHORT, CROSSING, 90 * S).sections
    rows = {row.name: row for row in section.rows}
    assert looks(rows["lane"]) == [(0, 90, Look.IDLE)]
    assert looks(rows["up-approach"]) == [(0, 90, Look.SOLID)]
    assert looks(rows["beyond"]) == [(0, 32, Look.IDLE), (32, 90, Look.UNKNOWN)]
    assert rows["lane"].beside == "up-line"


def test_flashing_is_a_train_of_pulses_where_there_is_room_and_hatching_where_there_is_not(tmp_path: Path) -> None:
    trace = [told(3, "red-left", flash(3))]
    assert "flashing" in draw(tmp_path, trace).words()
    dense = "flashing, each flash too narrow to draw"
    assert dense not in draw(tmp_path, trace).words()
    assert dense in draw(tmp_path, trace, seconds=3600).words()
    assert "flashing" not in draw(tmp_path, trace, seconds=3600).words()


def test_neighbours_too_narrow_to_see_are_merged() -> None:
    narrow = [Span(n, n + 1, Look.SHADE if n % 2 else Look.IDLE) for n in range(10)]
    wide = Span(10, 1000, Look.SHADE)
    assert merged([*narrow, wide], 0.01) == [Span(0, 10, Look.BUSY), wide]
    assert merged(narrow[:2], 0.01) == narrow[:2]
    assert merged(narrow, 1.0) == narrow


@pytest.mark.parametrize("wanted", [[1.0, 1.01, 1.02], [0.0, 0.0, 3.0], [2.9, 2.95, 3.0], [0.5], []])
def test_labels_spread_keep_their_order_their_distance_and_the_page(wanted: list[float]) -> None:
    places = spread(wanted, 0.13, 0.06, 2.94)
    assert places == sorted(places)
    assert all(after - before >= 0.13 - 1e-9 for before, after in pairwise(places))
    assert all(0.06 - 1e-9 <= place <= 2.94 + 1e-9 for place in places)


# --- the file ------------------------------------------------------------------------------------------------------


def test_nothing_at_all_is_a_picture_that_says_so(tmp_path: Path) -> None:
    drawn = draw(tmp_path, (), Program(), 0)
    assert any("nothing happened" in word for word in drawn.words())
    assert drawn.rows() == []


def test_the_same_rehearsal_gives_the_same_bytes(tmp_path: Path) -> None:
    for ending in ("svg", "png"):
        paths = [tmp_path / f"{name}.{ending}" for name in ("one", "other")]
        for path in paths:
            picture.draw(SHORT, CROSSING, path, 90 * S, "same", FAILURES)
        assert paths[0].read_bytes() == paths[1].read_bytes()
    assert b"<dc:date>" not in (tmp_path / "one.svg").read_bytes()


def test_a_png_is_one(tmp_path: Path) -> None:
    path = tmp_path / "picture.PNG"
    picture.draw(SHORT, CROSSING, path, 90 * S, "short")
    data = path.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") > 1000


@pytest.mark.parametrize("name", ["picture", "picture.pdf", "picture.svgz"])
def test_another_ending_is_refused_in_a_sentence(tmp_path: Path, name: str) -> None:
    with pytest.raises(picture.Unwritable, match=r"ends in \.svg or \.png"):
        picture.draw(SHORT, CROSSING, tmp_path / name, 90 * S, "short")
    assert list(tmp_path.iterdir()) == []


def test_names_and_titles_are_written_as_they_are(tmp_path: Path) -> None:
    """Not as a formula, not as markup."""
    title = "50 % < 100 % & $x$ \u00fcber"
    drawn = draw(tmp_path, [], program([lamp("r\u00e4ucherlampe")], ()), title=title)
    assert drawn.text("title").text == title
    assert "r\u00e4ucherlampe" in drawn.words()


def test_an_hour_is_drawn_with_few_pieces(hour: Drawn) -> None:
    """Flashes and shades of one ink are one piece each: what a thousand pieces would cost is never paid."""
    pieces = [gid for gid in hour.groups if "Collection" in gid]
    assert len(hour.rows()) >= 60
    assert len(pieces) < 80
    assert len(hour.texts) < MOST_LABELS + 400


def test_the_plotting_library_is_imported_only_to_draw() -> None:
    code = "import sys, wayside.pictures.picture; sys.exit('matplotlib' in sys.modules or 'numpy' in sys.modules)"
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
