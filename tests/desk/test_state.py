"""What the page is shown of a show, and trains sent along it, in virtual time."""

from __future__ import annotations

import json

import pytest

from engine.drive import jump, work
from engine.events import AllStop, ByHand, Darken, HandWorking, Input, InUse, SetClock, StartScene
from engine.kernel import Kernel
from engine.program import Program
from engine.trace import SceneIs
from wayside.desk.facts import facts
from wayside.desk.state import Reader, State, difference
from wayside.desk.trains import LONGEST_MM, MOST_TRAINS, SentTrains
from wayside.project import load
from wayside.rehearsal.playing import drivers_see

from .conftest import QUAY

S = 1_000_000
PROGRAM: Program = load([QUAY]).program


class Bench:
    """A show without its loop: the kernel, and trains."""

    def __init__(self) -> None:
        self.kernel = Kernel(PROGRAM, 0, 17 * 3600)
        self.trains = SentTrains(PROGRAM.layout, drivers_see(self.kernel, PROGRAM.layout))
        self.reader = Reader(self, self.trains)  # type: ignore[arg-type]
        self.now_us = 0
        self.waiting = False
        self.kept_closed = ()
        self.until(0)

    def until(self, seconds: float) -> Bench:
        self.now_us = round(seconds * S)
        jump(self.kernel, self.trains, self.now_us + 1)
        for record in self.kernel.trace:
            if isinstance(record, SceneIs):
                self.reader.scene_is(record.scene, record.state, record.at_us, record.why)
        return self

    def put(self, *events: Input) -> Bench:
        self.kernel.advance(self.now_us, events)
        return self

    def send(self, track: str = "up-line", length: int = 600, speed: int = 150, **more: bool) -> str:
        said = self.trains.send(
            track, length, speed, more.get("backwards", False), more.get("ignores", False), self.now_us
        )
        work(self.kernel, self.trains, self.now_us)
        return said

    def read(self) -> State:
        return self.reader.read()


def test_facts_say_roles_and_colours_by_the_layouts_own_roles() -> None:
    known = facts(PROGRAM, "Pellbrook Quay", True, 0)
    outputs = {one["name"]: one for one in known["outputs"]}  # type: ignore[attr-defined]
    tints = {
        name: outputs[name]["tint"] for name in ("red-left", "amber", "down-red", "down-green", "forge", "boom-lamps")
    }
    assert tints == {
        "red-left": "red", "amber": "amber", "down-red": "red", "down-green": "green", "forge": "white",
        "boom-lamps": "red",
    }  # fmt: skip
    assert outputs["up-arm"]["group"] == "saltmarsh-lane-crossing"
    assert outputs["quay-lamp-1"]["group"] == "evening"
    assert outputs["up-signal"]["stops"] == [True, False]
    assert not outputs["sky"]["told_by_hand"]  # it follows the daylight
    scenes = {one["name"]: one for one in known["scenes"]}  # type: ignore[attr-defined]
    assert scenes["evening"]["starts"] == ["starts at 17:45 layout time", "starts on button evening-button"]
    assert scenes["evening"]["timed"] == [[17 * 3600 + 45 * 60, True]]
    assert "red-left" in json.dumps(known)


def test_the_state_says_what_every_output_shows_and_who_has_it() -> None:
    bench = Bench()
    assert bench.read()["out near-barrier"] == [0.0, "raised", "", True, ""]
    bench.put(StartScene("evening")).until(61)
    state = bench.read()
    assert state["out quay-lamp-1"] == [0.85, "85 %", "evening", True, ""]
    assert state["out fish-dock-tube"][1] == "flickering"  # type: ignore[index]
    assert state["scene evening"] == ["running", 0, "asked for by name"]
    assert bench.reader.moving
    bench.put(Darken(True))
    assert bench.read()["out quay-lamp-1"][1:3] == ["off", "blackout"]  # type: ignore[index]
    assert bench.read()["dark"] is True
    bench.put(ByHand("quay-lamp-1", 0.4))
    assert bench.read()["out quay-lamp-1"][:3] == [0.4, "40 %", "by hand"]  # type: ignore[index]
    assert bench.read()["hushed"] is False


def test_nothing_moves_where_everything_is_at_rest_and_then_nothing_is_told() -> None:
    bench = Bench()
    before = bench.read()
    assert not bench.reader.moving
    bench.until(600)
    assert difference(before, bench.read()) == {}


def test_a_moving_barrier_is_told_by_its_share_of_the_way() -> None:
    bench = Bench()
    bench.put(HandWorking("saltmarsh-lane-crossing", True)).until(5)
    assert bench.read()["crossing saltmarsh-lane-crossing"] is True
    bench.put(ByHand("near-barrier", 0.0)).until(6.5)  # 3 s for the whole travel, as the layout file says
    value, says, holder, *_ = bench.read()["out near-barrier"]  # type: ignore[misc]
    assert value == pytest.approx(0.5, abs=0.01)
    assert says == "on its way, 50 % towards lowered"
    assert holder == "by hand"


def test_the_layout_clock_is_told_once_and_again_when_it_is_set() -> None:
    bench = Bench()
    first = bench.read()["clock"]
    assert first == [17 * 3600 * S, 0, True, 1]
    bench.until(100)
    assert bench.read()["clock"] == first
    bench.put(SetClock(18 * 3600, False))
    assert bench.read()["clock"] == [18 * 3600 * S, 100 * S, False, 1]
    bench.until(200)
    assert bench.read()["clock"] == [18 * 3600 * S, 100 * S, False, 1]


def test_all_stop_and_out_of_use_are_told() -> None:
    bench = Bench()
    bench.put(AllStop(), InUse("lane", False))
    state = bench.read()
    assert (state["stopped"], state["det lane"]) == (True, "out of use")


# --- trains --------------------------------------------------------------------------------------------------------


def test_a_sent_train_closes_the_lane_waits_and_goes_on_as_a_rehearsed_one_does() -> None:
    bench = Bench()
    assert bench.send(speed=180) == "train 1 sets out along up-line."
    assert bench.until(0).read()["det up-approach"] == "occupied"
    (train,) = bench.until(21).read()["trains"]  # type: ignore[misc]
    assert train["held"]  # 3600 mm at 180 mm/s take 20 s; its signal clears after 24
    assert (train["front_um"], train["speed_um_s"]) == (3_600_000, 0)
    (train,) = bench.until(25).read()["trains"]  # type: ignore[misc]
    assert not train["held"]
    assert bench.read()["det lane"] == "occupied"
    assert bench.until(80).read()["trains"] == []
    state = bench.read()
    assert state["out near-barrier"][1] == "raised"  # type: ignore[index]
    assert all(state[f"det {name}"] == "clear" for name in PROGRAM.layout.detectors)


def test_a_trains_place_is_told_so_that_it_can_be_reckoned_at_any_time() -> None:
    bench = Bench()
    bench.send()
    (train,) = bench.until(10).read()["trains"]  # type: ignore[misc]
    run = train["speed_um_s"] * (bench.now_us - train["at_us"]) // S
    assert train["front_um"] + run == 1_500_000  # 150 mm/s for 10 s
    assert train["front_um"] - train["tail_um"] == 600_000


def test_the_show_is_told_by_detectors_only_where_a_train_is() -> None:
    bench = Bench()
    bench.send()
    bench.until(5)
    assert bench.kernel.stage.trains_on["up-approach"] == 0


def test_two_trains_on_one_stretch_and_one_taken_away_leave_it_occupied() -> None:
    bench = Bench()
    bench.send()
    bench.until(6)
    bench.send()
    bench.until(8)
    events, said = bench.trains.take_away(1, bench.now_us)
    assert (events, said) == ([], "train 1 is taken away.")
    assert bench.read()["det up-approach"] == "occupied"
    events, _ = bench.trains.take_away(2, bench.now_us)
    bench.put(*events).until(9)
    assert bench.read()["det up-approach"] == "clear"
    assert bench.trains.take_away(2, bench.now_us)[1] == "There is no train 2 on its way."
    assert bench.until(60).read()["det lane"] == "clear"  # nothing of them comes later


def test_trains_are_bounded() -> None:
    bench = Bench()
    for number in range(MOST_TRAINS):
        assert bench.send(), number
    assert "take one away first" in bench.send()
    assert len(bench.trains.present(0)) == MOST_TRAINS


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ({"track": "moon-line"}, "There is no track moon-line."),
        ({"length": 0}, "A train is 1 mm"),
        ({"length": LONGEST_MM + 1}, "A train is 1 mm"),
        ({"speed": 4}, "A train runs at"),
        ({"speed": 2_001}, "A train runs at"),
        ({"backwards": True}, "up-line is one way"),
    ],
)
def test_a_train_that_cannot_be_is_refused(words: dict[str, object], says: str) -> None:
    bench = Bench()
    assert says in bench.send(**words)  # type: ignore[arg-type]
    assert bench.trains.present(0) == []
