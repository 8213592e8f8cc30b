"""A train's journey: exact instants at boundaries, halts, reversals; and the same journeys stepped by brute force."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import ceil

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from adapters.simulator import World
from adapters.trains import LOCOMOTIVE_MM, Journey, State, itinerary, reaches_us
from engine.events import Detected, TrainMoves, TrainStands
from engine.layout import NOWHERE, Detector, DetectorKind, Hold, Layout, Stretch, Track
from engine.program import TrainRun, Visit

S = 1_000_000
MM = 1_000
ALWAYS: Callable[[str], bool] = lambda signal: True  # noqa: E731
NEVER: Callable[[str], bool] = lambda signal: False  # noqa: E731


def track(*stretches: tuple[str | None, int], holds: tuple[Hold, ...] = ()) -> Track:
    return Track("up-line", tuple(Stretch(*one) for one in stretches), 150, 300, holds)


def train(length_mm: int, mm_s: int, from_us: int = 0, **rest: object) -> TrainRun:
    return TrainRun(NOWHERE, "up-line", length_mm, mm_s * MM, from_us, **rest)  # type: ignore[arg-type]


def changes(journey: Journey, may_pass: Callable[[str], bool], until: int = 10_000 * S) -> list[tuple[int, str, bool]]:
    """Every change of where the body is, as (instant, detector, on)."""
    found: list[tuple[int, str, bool]] = []
    body: frozenset[str] = frozenset()
    due = journey.next_due()
    while due is not None and due <= until:
        journey.advance(due, may_pass)
        found += [(due, name, True) for name in sorted(journey.body - body)]
        found += [(due, name, False) for name in sorted(body - journey.body)]
        body, due = journey.body, journey.next_due()
    return found


UP_LINE = track(("up-approach", 3600), ("lane", 300), (None, 900))


def test_front_and_tail_cross_at_distance_over_speed() -> None:
    # 3600 mm at 150 mm/s is 24 s; the tail is 800 mm behind: 5 1/3 s later, the next whole microsecond
    assert changes(Journey(0, train(800, 150), UP_LINE), ALWAYS) == [
        (0, "up-approach", True),
        (24 * S, "lane", True),
        (29_333_334, "up-approach", False),
        (31_333_334, "lane", False),
    ]


def test_an_instant_is_the_first_microsecond_at_which_it_holds() -> None:
    assert reaches_us(0, 1, 3) == 333_334
    assert reaches_us(5, 0, 3) == 5
    assert reaches_us(0, 3, 3_000_000) == 1


def test_a_train_longer_than_a_stretch_is_in_three_at_once() -> None:
    journey = Journey(0, train(1000, 100), track(("a", 200), ("b", 200), ("c", 200)))
    journey.advance(0, ALWAYS)
    for due in (2 * S, 4 * S):
        journey.advance(due, ALWAYS)
    assert journey.body == {"a", "b", "c"}


def test_backwards_runs_enter_from_the_far_end() -> None:
    found = changes(Journey(0, train(100, 100, backwards=True), UP_LINE), NEVER)  # signals do not matter
    assert found == [
        (9 * S, "lane", True),
        (12 * S, "up-approach", True),
        (13 * S, "lane", False),
        (49 * S, "up-approach", False),
    ]


def test_a_reversing_train_leaves_by_the_end_it_came_from() -> None:
    journey = Journey(0, train(400, 100, visits=(Visit("lane", 5 * S, True),)), UP_LINE)
    assert changes(journey, ALWAYS) == [
        (0, "up-approach", True),
        (36 * S, "lane", True),
        # at 39 s its front is at the far end of the lane and 100 mm of it are still on the approach
        (47 * S, "lane", False),  # reversed at 44 s; the front has to come back 300 mm
        (83 * S, "up-approach", False),
    ]
    assert journey.state is State.GONE


def test_courses_name_the_locomotives_end_front_on_the_way_back_too() -> None:
    journey = Journey(7, train(400, 100, visits=(Visit("lane", 5 * S, True),)), UP_LINE)
    told: list[tuple[int, TrainMoves]] = []
    due = journey.next_due()
    while due is not None:
        course = journey.advance(due, ALWAYS)
        told += [(due, course)] if course else []
        due = journey.next_due()
    assert told == [
        (0, TrainMoves(7, "up-line", 0, -400_000, 100_000)),
        (39 * S, TrainMoves(7, "up-line", 3_900_000, 3_500_000, 0)),
        (44 * S, TrainMoves(7, "up-line", 3_900_000, 3_500_000, -100_000)),
        (83 * S, TrainMoves(7, "up-line", 0, -400_000, 0)),
    ]


def test_reversing_without_a_halt_is_one_change_of_course() -> None:
    journey = Journey(0, train(400, 100, visits=(Visit("lane", 0, True),)), UP_LINE)
    journey.advance(0, ALWAYS)
    journey.advance(36 * S, ALWAYS)
    course = journey.advance(39 * S, ALWAYS)
    assert course is not None
    assert course.speed_um_s == -100_000


def test_touching_a_boundary_is_not_inside() -> None:
    """A train that stands at the end of a stretch is not in the next one, and one that backs off never was."""
    journey = Journey(0, train(400, 100, visits=(Visit("up-approach", 0, True),)), UP_LINE)
    assert changes(journey, ALWAYS) == [(0, "up-approach", True), (72 * S, "up-approach", False)]


def test_a_train_that_stops_exactly_as_its_tail_leaves_has_left() -> None:
    line = track(("a", 1000), ("b", 400), ("c", 100))
    journey = Journey(0, train(400, 100, visits=(Visit("b", 10 * S, False),)), line)
    found = changes(journey, ALWAYS)
    assert (14 * S, "a", False) in found
    assert (24 * S, "c", True) in found  # touched at 14 s, gone into when it goes on


def test_a_signal_holds_until_it_may_be_passed() -> None:
    line = track(("up-approach", 3600), ("lane", 300), holds=(Hold("up-signal", 3600),))
    journey = Journey(0, train(800, 150), line)
    assert changes(journey, NEVER) == [(0, "up-approach", True)]
    assert journey.held
    assert journey.advance(30 * S, NEVER) is None
    course = journey.advance(40 * S, ALWAYS)
    assert course == TrainMoves(0, "up-line", 3_600_000, 2_800_000, 150_000)
    assert journey.body == {"up-approach", "lane"}  # it touched the lane, and goes in the instant that it starts


def test_a_signal_that_is_clear_on_arrival_changes_nothing() -> None:
    line = track(("up-approach", 3600), ("lane", 300), (None, 900), holds=(Hold("up-signal", 3600),))
    assert changes(Journey(0, train(800, 150), line), ALWAYS) == changes(Journey(0, train(800, 150), UP_LINE), NEVER)


def test_a_signal_behind_or_against_the_train_does_not_hold_it() -> None:
    line = track(("a", 1000), ("b", 1000), holds=(Hold("up-signal", 1000),))
    assert not itinerary(train(100, 100, backwards=True), line).halts
    assert not itinerary(train(100, 100, ignores_signals=True), line).halts
    turned = itinerary(train(100, 100, backwards=True, visits=(Visit("a", 0, True),)), line)
    assert [halt.signal for halt in turned.halts] == [None, "up-signal"]  # forwards again, it counts
    beyond = itinerary(train(1500, 100, backwards=True, visits=(Visit("a", 0, True),)), line)
    assert [halt.signal for halt in beyond.halts] == [None]  # the end that now leads stands beyond it already


def test_a_signal_at_the_stopping_place_holds_the_train_only_when_it_goes_on() -> None:
    line = track(("a", 1000), ("b", 1000), holds=(Hold("up-signal", 1000),))
    stands = itinerary(train(100, 100, visits=(Visit("a", S, False),)), line)
    assert [(halt.signal, halt.stands_us) for halt in stands.halts] == [(None, S), ("up-signal", 0)]
    turns = itinerary(train(100, 100, visits=(Visit("a", S, True),)), line)
    assert [halt.signal for halt in turns.halts] == [None]


def test_two_signals_in_one_place_both_have_a_say() -> None:
    line = track(("a", 1000), ("b", 1000), holds=(Hold("home", 1000), Hold("shunt", 1000)))
    journey = Journey(0, train(100, 100), line)
    changes(journey, lambda signal: signal == "home")
    assert journey.held
    journey.advance(20 * S, lambda signal: signal == "shunt")  # home was passed already
    assert not journey.held


def test_a_signal_before_the_first_stretch_keeps_the_train_out() -> None:
    line = track(("a", 1000), holds=(Hold("home", 0),))
    journey = Journey(0, train(100, 100, from_us=3 * S), line)
    assert changes(journey, NEVER) == []
    assert journey.held
    journey.advance(5 * S, ALWAYS)
    assert journey.body == {"a"}


@pytest.mark.parametrize(("backwards", "stops_mm"), [(False, 500), (True, 100)])
def test_adjoining_stretches_of_one_detector_are_visited_as_one(backwards: bool, stops_mm: int) -> None:
    run = train(100, 100, backwards=backwards, visits=(Visit("a", S, False),))
    (halt,) = itinerary(run, track(("b", 100), ("a", 200), ("a", 200), ("b", 100))).halts
    assert halt.lead_um == stops_mm * MM


def test_visits_behind_the_train_are_named_as_never_made() -> None:
    back = Visit("a", S, False)
    assert itinerary(train(100, 100, visits=(Visit("b", 0, False), back)), track(("a", 500), ("b", 500))).missed == (
        back,
    )


def test_seen_by_its_locomotive_only() -> None:
    journey = Journey(0, train(1000, 100, locomotive_only=True), track(("a", 2000), ("b", 2000)))
    seen: list[tuple[int, set[str]]] = []
    due = journey.next_due()
    while due is not None:
        journey.advance(due, ALWAYS)
        seen += [(due, set(journey.seen))] if not seen or seen[-1][1] != journey.seen else []
        due = journey.next_due()
    behind = LOCOMOTIVE_MM * 10_000  # microseconds at 100 mm/s
    assert seen == [
        (0, {"a"}),
        (20 * S, {"a", "b"}),
        (20 * S + behind, {"b"}),
        (40 * S + behind, set()),
    ]


def test_after_a_reversal_the_locomotive_is_at_the_rear() -> None:
    visits = (Visit("b", 0, True),)
    line = track(("a", 2000), ("b", 500))
    journey = Journey(0, train(1000, 100, locomotive_only=True, visits=visits), line)
    found: list[tuple[int, set[str]]] = []
    due = journey.next_due()
    while due is not None:
        journey.advance(due, ALWAYS)
        found.append((due, set(journey.seen)))
        due = journey.next_due()
    # turned at 25 s with its locomotive's end at 2500 mm; the locomotive enters a 350 mm later, and leaves b after 500
    assert (28_500_000, {"a", "b"}) in found
    assert (30 * S, {"a"}) in found
    assert found[-1] == (50 * S, set())


# --- brute force ---------------------------------------------------------------------------------------------------


class Stepped:
    """The same train, moved on a millisecond at a time and asked where it is. Shares no code with the journey.

    Halts begin at the first whole microsecond at which the train is there, which is how the journeys define it.
    """

    def __init__(self, run: TrainRun, line: Track, opens_us: dict[str, list[tuple[int, int]]]) -> None:
        self.v = Fraction(run.speed_um_s, S)
        self.length = run.length_mm * MM
        self.home = self.heading = -1 if run.backwards else 1
        self.line = line
        self.ends: list[tuple[int, int]] = []
        for stretch in line.stretches:
            start = self.ends[-1][1] if self.ends else 0
            self.ends.append((start, start + stretch.length_mm * MM))
        self.end = self.ends[-1][1]
        self.lead = Fraction(self.end if run.backwards else 0)
        self.run = run
        self.visits = list(run.visits)
        self.signals_due = self._signals()
        self.time = Fraction(run.from_us)
        self.opens_us = opens_us

    def _signals(self) -> list[Hold]:
        if self.heading < 0 or self.run.ignores_signals:
            return []
        ahead = [hold for hold in self.line.holds if hold.at_mm * MM >= self.lead]
        return sorted(ahead, key=lambda hold: hold.at_mm)

    def _target(self) -> int | None:
        """Where the next visit is made; visits that are behind are given up."""
        while self.visits:
            order = range(len(self.ends))[:: self.heading]
            for index in order:
                far = self.ends[index][self.heading > 0]
                beyond = index + self.heading
                goes_on = beyond in order and self._name(beyond) == self._name(index)
                if (
                    self._name(index) == self.visits[0].detector
                    and not goes_on
                    and (far - self.lead) * self.heading >= 0
                ):
                    return far
            self.visits.pop(0)
        return None

    def _name(self, index: int) -> str | None:
        return self.line.stretches[index].detector

    def _open(self, signal: str, at: Fraction) -> int | None:
        """When a signal may be passed, at or after an instant."""
        for start, stop in self.opens_us[signal]:
            if at < stop:
                return max(ceil(at), start)
        return None

    def until(self, limit: int) -> None:
        """Move on to an instant; most of the time that is one plain step."""
        while self.time <= limit:
            target = self._target()
            signal = self.signals_due[0] if self.signals_due else None
            visit_first = target is not None and (signal is None or target <= signal.at_mm * MM)
            stop = target if visit_first else signal.at_mm * MM if signal else None
            if stop is None or self.time + abs(stop - self.lead) / self.v > limit:
                self.lead += self.heading * self.v * (limit - self.time)
                self.time = Fraction(limit)
                return
            self._halt(stop, visit_first)

    def _halt(self, stop: int, visits: bool) -> None:
        exact = self.time + abs(stop - self.lead) / self.v
        if not visits:
            signal = self.signals_due[0].signal
            opens = self._open(signal, Fraction(ceil(exact)))
            if opens == ceil(exact):  # it is open: no halt, and nothing is rounded
                self.lead, self.time = Fraction(stop), exact
            else:
                self.lead, self.time = Fraction(stop), Fraction(10**15 if opens is None else opens)
            self.signals_due.pop(0)
            return
        visit = self.visits.pop(0)
        self.lead, self.time = Fraction(stop), Fraction(ceil(exact) + visit.stands_us)
        if visit.reverses:
            self.lead -= self.heading * self.length
            self.heading = -self.heading
            self.signals_due = self._signals()

    def inside(self, at: int, seen: bool) -> set[str]:
        """The detectors whose stretches hold some of the train just after an instant."""
        if at < self.run.from_us:
            return set()
        moving = self.time <= at
        lead = self.lead + (Fraction(self.heading, 10**9) if moving else 0)
        body = sorted((lead, lead - self.heading * self.length))
        if seen and self.run.locomotive_only:
            shown = min(self.length, LOCOMOTIVE_MM * MM)
            forwards_end = self.home > 0
            body = [body[1] - shown, body[1]] if forwards_end else [body[0], body[0] + shown]
        pairs = zip(self.line.stretches, self.ends, strict=True)
        return {one.detector for one, (a, b) in pairs if one.detector and body[1] > a and body[0] < b}


@st.composite
def journeys(draw: st.DrawFn) -> tuple[TrainRun, Track, dict[str, list[tuple[int, int]]]]:
    names = ["a", "b", "c", None]
    stretches = draw(st.lists(st.tuples(st.sampled_from(names), st.integers(0, 60)), min_size=1, max_size=5))
    length = sum(mm for _, mm in stretches)
    holds = draw(st.lists(st.builds(Hold, st.sampled_from(["h", "i"]), st.integers(0, length)), max_size=2))
    visit = st.builds(Visit, st.sampled_from("abc"), st.integers(0, 40).map(lambda ms: ms * 1_000), st.booleans())
    run = TrainRun(
        NOWHERE,
        "up-line",
        draw(st.sampled_from([1, 40, 149, 150, 151, 300])),
        draw(st.sampled_from([1_000_000, 700_001, 333_333, 2_000_000])),
        draw(st.integers(0, 20)) * 1_000,
        draw(st.booleans()),
        draw(st.booleans()),
        draw(st.booleans()),
        tuple(draw(st.lists(visit, max_size=3))),
    )
    opens: dict[str, list[tuple[int, int]]] = {}
    for signal in "hi":
        edges = sorted(set(draw(st.lists(st.integers(0, 400), max_size=6))))
        opens[signal] = [(a * 1_000, b * 1_000) for a, b in zip(edges[::2], edges[1::2], strict=False)]
    return run, track(*stretches, holds=tuple(holds)), opens


@settings(max_examples=200, deadline=None)
@given(journeys())
def test_brute_force_agrees_at_every_millisecond(
    case: tuple[TrainRun, Track, dict[str, list[tuple[int, int]]]],
) -> None:
    run, line, opens = case
    journey, stepped = Journey(0, run, line), Stepped(run, line, opens)
    now = 0

    def may_pass(signal: str) -> bool:
        return any(start <= now < stop for start, stop in opens[signal])

    assume(line.length_mm > 0)
    for at in range(0, 600_001, 1_000):
        while (due := journey.next_due()) is not None and due < at:
            now = due
            journey.advance(now, may_pass)
        now = at
        journey.advance(now, may_pass)
        stepped.until(at)
        assert journey.body == stepped.inside(at, seen=False), f"body at {at}"
        assert journey.seen == stepped.inside(at, seen=True), f"seen at {at}"
        if journey.state is State.GONE:
            break


@pytest.mark.parametrize("length", [0, 1, 150])
def test_a_stretch_of_no_length_is_covered_while_the_train_lies_across_it(length: int) -> None:
    found = changes(Journey(0, train(length, 100), track((None, 100), ("a", 0), (None, 100))), ALWAYS)
    expected = [(S, "a", True), (S + length * 10_000, "a", False)] if length else []
    assert found == expected


@st.composite
def crossings_of_two(draw: st.DrawFn) -> tuple[Layout, list[TrainRun]]:
    """Two tracks over the same detectors, a train on each."""
    tracks: dict[str, Track] = {}
    for name in ("up-line", "down-line"):
        parts = draw(st.lists(st.tuples(st.sampled_from(["a", "b", None]), st.integers(1, 40)), min_size=1, max_size=4))
        tracks[name] = Track(name, tuple(Stretch(*one) for one in parts), 150, 300)
    visit = st.builds(Visit, st.sampled_from("ab"), st.integers(0, 30).map(lambda ms: ms * 1_000), st.booleans())
    run = st.builds(
        TrainRun,
        place=st.just(NOWHERE),
        track=st.sampled_from(["up-line", "down-line"]),
        length_mm=st.sampled_from([1, 20, 170]),
        speed_um_s=st.sampled_from([1_000_000, 700_001]),
        from_us=st.integers(0, 60).map(lambda ms: ms * 1_000),
        backwards=st.booleans(),
        locomotive_only=st.booleans(),
        visits=st.lists(visit, max_size=2).map(tuple),
    )
    kinds = {"a": DetectorKind.SECTION, "b": DetectorKind.BEAM}
    detectors = {name: Detector(name, kind) for name, kind in kinds.items()}
    return Layout(detectors=detectors, tracks=tracks), draw(st.lists(run, min_size=2, max_size=3))


@settings(max_examples=60, deadline=None)
@given(crossings_of_two())
def test_several_trains_are_seen_as_brute_force_sees_them(case: tuple[Layout, list[TrainRun]]) -> None:
    layout, runs = case
    world = World(layout, runs, [], NEVER)
    stepped = [Stepped(run, layout.tracks[run.track], {}) for run in runs]
    told = dict.fromkeys(layout.detectors, "clear")
    truth: set[tuple[int, str]] = set()
    for at in range(0, 400_001, 1_000):
        for event in world.advance(at):
            if isinstance(event, Detected):
                assert told[event.detector] != event.state
                told[event.detector] = event.state
            elif isinstance(event, TrainStands):
                one = (event.train, event.detector)
                (truth.add if event.on else truth.remove)(one)
        for train_of in stepped:
            train_of.until(at)
        assert truth == {(n, name) for n, one in enumerate(stepped) for name in one.inside(at, seen=False)}
        seen = {name for one in stepped for name in one.inside(at, seen=True)}
        body = {name for one in stepped for name in one.inside(at, seen=False)}
        assert {name for name, state in told.items() if state == "occupied"} == (seen & {"a"}) | (body & {"b"})
