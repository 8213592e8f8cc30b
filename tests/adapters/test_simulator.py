"""The emulated layout: trains over shared detectors, hands, sticking detectors, lost links; order at one instant."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from adapters.simulator import PRESS_US, TREADLE_CONTACT_US, World
from engine.events import Detected, Input, LinkState, Pressed, StartScene, StopScene, TrainMoves, TrainStands
from engine.layout import (
    NOWHERE,
    Board,
    Button,
    Detector,
    DetectorKind,
    Hold,
    Layout,
    Link,
    Stretch,
    Track,
    Wiring,
)
from engine.program import Act, Deed, TrainRun, Visit

S = 1_000_000
MS = 1_000


def layout(holds: tuple[Hold, ...] = (), kind: DetectorKind = DetectorKind.SECTION) -> Layout:
    def one_way(name: str, approach: str) -> Track:
        stretches = (Stretch(approach, 1000), Stretch("lane", 200), Stretch(None, 500))
        return Track(name, stretches, 200, 100, holds if name == "up-line" else ())

    return Layout(
        detectors={
            "up-approach": Detector("up-approach", DetectorKind.SECTION, wiring=Wiring(link="main")),
            "down-approach": Detector("down-approach", DetectorKind.SECTION),
            "lane": Detector("lane", kind, wiring=Wiring(board="box", port=1)),
        },
        buttons={"red-button": Button("red-button", wiring=Wiring(link="main"))},
        tracks={"up-line": one_way("up-line", "up-approach"), "down-line": one_way("down-line", "down-approach")},
        links={"main": Link("main"), "yard": Link("yard")},
        boards={"box": Board("box", "main", 1, 8)},
    )


def train(line: str = "up-line", from_us: int = 0, length_mm: int = 100, **rest: object) -> TrainRun:
    return TrainRun(NOWHERE, line, length_mm, 100_000, from_us, **rest)  # type: ignore[arg-type]


def act(at_us: int, deed: Deed, subject: str, state: str = "", for_us: int | None = None) -> Act:
    return Act(NOWHERE, at_us, deed, subject, state, for_us)


def played(
    trains: Sequence[TrainRun] = (),
    acts: Sequence[Act] = (),
    on: Layout | None = None,
    may_pass: Callable[[str], bool] = lambda signal: True,
) -> list[tuple[int, Input]]:
    """Everything that comes in, with its instant."""
    world = World(on or layout(), trains, acts, may_pass)
    found: list[tuple[int, Input]] = []
    while (due := world.next_due()) is not None:
        found += [(due, one) for one in world.advance(due)]
    return found


def states(found: list[tuple[int, Input]], name: str) -> list[tuple[int, str]]:
    return [(at, one.state) for at, one in found if isinstance(one, Detected) and one.detector == name]


def test_one_train_in_the_order_course_stands_detectors() -> None:
    assert played([train()])[:3] == [
        (0, TrainMoves(0, "up-line", 0, -100_000, 100_000)),
        (0, TrainStands(0, "up-approach", True)),
        (0, Detected("up-approach", "occupied")),
    ]


def test_two_trains_on_one_shared_section_are_one_occupation() -> None:
    found = played([train(), train("down-line", 2 * S)])
    assert states(found, "lane") == [(10 * S, "occupied"), (15 * S, "clear")]
    stands = [(at, one.train, one.on) for at, one in found if isinstance(one, TrainStands) and one.detector == "lane"]
    assert stands == [(10 * S, 0, True), (12 * S, 1, True), (13 * S, 0, False), (15 * S, 1, False)]


def test_one_train_leaving_as_another_comes_leaves_no_gap() -> None:
    found = played([train(), train("down-line", 3 * S)])  # the first is off the lane at 13 s, the second comes at 13 s
    assert states(found, "lane") == [(10 * S, "occupied"), (16 * S, "clear")]


def test_a_beam_sees_the_coaches_that_a_section_does_not() -> None:
    long = train(length_mm=400, locomotive_only=True)
    assert states(played([long]), "lane") == [(10 * S, "occupied"), (13_500 * MS, "clear")]
    assert states(played([long], on=layout(kind=DetectorKind.BEAM)), "lane") == [
        (10 * S, "occupied"),
        (16 * S, "clear"),
    ]


def test_a_treadle_closes_once_for_each_end_that_comes_in() -> None:
    there_and_back = train(length_mm=150, visits=(Visit("lane", S, True),))
    found = played([train(length_mm=400)], on=layout(kind=DetectorKind.TREADLE))
    assert states(found, "lane") == [(10 * S, "occupied"), (10 * S + TREADLE_CONTACT_US, "clear")]
    # backing out of the lane, its leading end is already beyond the treadle's near end or inside: no new contact
    found = played([there_and_back], on=layout(kind=DetectorKind.TREADLE))
    assert len(states(found, "lane")) == 2


def test_a_treadle_closes_again_when_the_other_end_comes_over_it() -> None:
    line = Track("up-line", (Stretch("lane", 100), Stretch("up-approach", 900)), 100, 100)
    on = layout(kind=DetectorKind.TREADLE)
    on.tracks["up-line"] = line
    found = played([train(visits=(Visit("up-approach", 0, True),))], on=on)
    # the end that leads on the way back is 800 mm from the treadle when it turns at 10 s
    assert [at for at, state in states(found, "lane") if state == "occupied"] == [0, 18 * S]


def test_contacts_that_overlap_are_one() -> None:
    found = played([train(), train("down-line", 30 * MS)], on=layout(kind=DetectorKind.TREADLE))
    assert states(found, "lane") == [(10 * S, "occupied"), (10_030 * MS + TREADLE_CONTACT_US, "clear")]


def test_a_held_train_waits_for_the_caller() -> None:
    clear = False
    world = World(layout((Hold("up-signal", 1000),)), [train()], [], lambda signal: clear)
    world.advance(0)
    stopped = world.advance(10 * S)
    assert stopped == [TrainMoves(0, "up-line", 1_000_000, 900_000, 0)]
    assert world.next_due() is None
    assert world.advance(12 * S) == []
    clear = True
    assert world.advance(20 * S) == [
        TrainMoves(0, "up-line", 1_000_000, 900_000, 100_000),
        TrainStands(0, "lane", True),
        Detected("lane", "occupied"),
    ]


def test_a_signal_that_clears_at_the_instant_of_arrival() -> None:
    """The instant is worked, the signal clears in it, the world is asked again: the train goes on at that instant."""
    clear = False
    world = World(layout((Hold("up-signal", 1000),)), [train()], [], lambda signal: clear)
    world.advance(0)
    assert len(world.advance(10 * S)) == 1
    clear = True
    assert Detected("lane", "occupied") in world.advance(10 * S)
    assert world.next_due() == 11 * S  # its tail leaves the approach, exactly as if it had never been held


def test_acts_come_as_written_and_before_trains() -> None:
    acts = [
        act(0, Deed.STOP, "evening"),
        act(0, Deed.PRESS, "red-button"),
        act(0, Deed.BECOMES, "lane", "occupied"),
        act(0, Deed.START, "evening"),
    ]
    first = [one for at, one in played([train()], acts) if at == 0]
    assert first == [
        StopScene("evening"),
        Pressed("red-button", True),
        Detected("lane", "occupied"),
        StartScene("evening"),
        TrainMoves(0, "up-line", 0, -100_000, 100_000),
        TrainStands(0, "up-approach", True),
        Detected("up-approach", "occupied"),
    ]


def test_a_finger_stays_on_the_button_for_a_moment() -> None:
    assert played(acts=[act(S, Deed.PRESS, "red-button")]) == [
        (S, Pressed("red-button", True)),
        (S + PRESS_US, Pressed("red-button", False)),
    ]
    for held_us in (0, 2 * S):
        assert played(acts=[act(S, Deed.PRESS, "red-button", for_us=held_us)]) == [
            (S, Pressed("red-button", True)),
            (S + held_us, Pressed("red-button", False)),
        ]


def test_a_press_that_is_let_go_further_down_lasts_until_then() -> None:
    acts = [act(S, Deed.PRESS, "red-button"), act(9 * S, Deed.LET_GO, "red-button")]
    assert played(acts=acts) == [(S, Pressed("red-button", True)), (9 * S, Pressed("red-button", False))]


def test_pressing_a_button_that_is_down_holds_it_on() -> None:
    acts = [act(S, Deed.PRESS, "red-button", for_us=S), act(1_500 * MS, Deed.PRESS, "red-button", for_us=S)]
    assert [at for at, _ in played(acts=acts)] == [S, 2_500 * MS]


def test_a_detector_stuck_in_a_state_then_tells_the_truth() -> None:
    found = played([train()], [act(10_500 * MS, Deed.STAYS, "lane", "clear", 400 * MS)])
    assert states(found, "lane") == [
        (10 * S, "occupied"),
        (10_500 * MS, "clear"),
        (10_900 * MS, "occupied"),
        (13 * S, "clear"),
    ]


def test_what_trains_do_while_it_is_stuck_is_not_seen() -> None:
    assert states(played([train()], [act(9 * S, Deed.STAYS, "lane", "clear", 10 * S)]), "lane") == []


def test_stuck_until_exactly_the_instant_at_which_the_train_leaves() -> None:
    found = played([train()], [act(9 * S, Deed.STAYS, "lane", "clear", 4 * S)])  # until 13 s
    assert states(found, "lane") == []


def test_one_sticking_inside_another() -> None:
    acts = [act(S, Deed.STAYS, "lane", "occupied", 4 * S), act(2 * S, Deed.STAYS, "lane", "unknown", S)]
    assert states(played(acts=acts), "lane") == [
        (S, "occupied"),
        (2 * S, "unknown"),
        (3 * S, "occupied"),
        (5 * S, "clear"),
    ]


def test_worked_by_hand_until_a_train_changes_it() -> None:
    found = played([train()], [act(5 * S, Deed.BECOMES, "lane", "occupied")])
    assert states(found, "lane") == [(5 * S, "occupied"), (13 * S, "clear")]
    found = played(acts=[act(5 * S, Deed.BECOMES, "lane", "occupied"), act(6 * S, Deed.BECOMES, "lane", "clear")])
    assert states(found, "lane") == [(5 * S, "occupied"), (6 * S, "clear")]


def test_chatter_is_passed_on_raw() -> None:
    acts = [act(n * MS, Deed.BECOMES, "lane", "clear" if n % 2 else "occupied") for n in range(50)]
    assert len(states(played(acts=acts), "lane")) == 50


def test_a_lost_link_makes_its_detectors_unknown_and_mending_tells_the_truth() -> None:
    found = played([train()], [act(5 * S, Deed.LOSE_LINK, "main"), act(10_500 * MS, Deed.MEND_LINK, "main")])
    assert states(found, "up-approach") == [
        (0, "occupied"),
        (5 * S, "unknown"),
        (10_500 * MS, "occupied"),
        (11 * S, "clear"),
    ]
    assert states(found, "lane") == [(5 * S, "unknown"), (10_500 * MS, "occupied"), (13 * S, "clear")]  # by its board
    assert states(found, "down-approach") == []  # on no link
    links = [(at, one) for at, one in found if isinstance(one, LinkState)]
    assert links == [(5 * S, LinkState("main", "gone")), (10_500 * MS, LinkState("main", "talking"))]


def test_where_there_is_one_link_everything_is_on_it() -> None:
    one = layout()
    del one.links["yard"]
    found = played(acts=[act(2 * S, Deed.LOSE_LINK, "main")], on=one)
    assert states(found, "down-approach") == [(2 * S, "unknown")]


def test_losing_a_link_twice_and_mending_a_sound_one_change_nothing() -> None:
    acts = [act(S, Deed.MEND_LINK, "main"), act(2 * S, Deed.LOSE_LINK, "main"), act(3 * S, Deed.LOSE_LINK, "main")]
    assert {at for at, _ in played(acts=acts)} == {2 * S}


def test_a_button_over_a_lost_link_is_not_heard_and_is_remembered_as_such() -> None:
    acts = [act(S, Deed.LOSE_LINK, "main"), act(2 * S, Deed.PRESS, "red-button"), act(3 * S, Deed.MEND_LINK, "main")]
    world = World(layout(), [], acts, lambda signal: True)
    found: list[Input] = []
    while (due := world.next_due()) is not None:
        found += world.advance(due)
    assert not [one for one in found if isinstance(one, Pressed)]
    assert world.unheard == [(2 * S, acts[1])]


def test_a_button_held_down_while_its_link_is_mended_is_heard_then() -> None:
    acts = [
        act(S, Deed.LOSE_LINK, "main"),
        act(2 * S, Deed.PRESS, "red-button", for_us=5 * S),
        act(3 * S, Deed.MEND_LINK, "main"),
    ]
    assert [(at, one) for at, one in played(acts=acts) if isinstance(one, Pressed)] == [
        (3 * S, Pressed("red-button", True)),
        (7 * S, Pressed("red-button", False)),
    ]


def test_a_state_from_before_the_first_instant_stays_until_a_train_changes_it() -> None:
    world = World(layout(), [train()], [], lambda signal: True)
    world.begins("lane", "occupied")
    found: list[tuple[int, Input]] = []
    while (due := world.next_due()) is not None:
        found += [(due, one) for one in world.advance(due)]
    assert states(found, "lane") == [(13 * S, "clear")]  # already told as occupied when the train comes


def test_a_late_caller_gets_everything_in_order() -> None:
    world = World(layout(), [train()], [act(10_500 * MS, Deed.STAYS, "lane", "clear", 400 * MS)], lambda signal: True)
    found = [one.state for one in world.advance(60 * S) if isinstance(one, Detected) and one.detector == "lane"]
    assert found == ["occupied", "clear", "occupied", "clear"]
    assert world.next_due() is None
