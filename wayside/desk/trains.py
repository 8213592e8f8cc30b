"""Trains that a person sends along the tracks of a dry run: the world of a show that has no layout.

Knows no web. What detectors say of them is the show's business; it believes detectors only, as on a real layout.
"""

from __future__ import annotations

from collections.abc import Callable

from adapters.simulator import World
from adapters.trains import Journey, State
from engine.events import Input, TrainStands
from engine.layout import NOWHERE, Layout
from engine.program import TrainRun
from wayside.wording import count

MOST_TRAINS = 8  # at once
LONGEST_MM = 20_000
SLOWEST_MM_S, FASTEST_MM_S = 5, 2_000


class SentTrains:
    """Sent one by one while the show goes on."""

    def __init__(self, layout: Layout, may_pass: Callable[[str], bool]) -> None:
        self._layout = layout
        self._world = World(layout, (), (), may_pass)

    def next_due(self) -> int | None:
        return self._world.next_due()

    def advance(self, now_us: int) -> list[Input]:
        """What detectors say now. Where trains truly are nobody in the show is told."""
        return [event for event in self._world.advance(now_us) if not isinstance(event, TrainStands)]

    def send(
        self, track: str, length_mm: int, speed_mm_s: int, backwards: bool, ignores_signals: bool, now_us: int
    ) -> str:
        """One more train; a sentence that says so, or why not."""
        known = self._layout.tracks.get(track)
        if known is None:
            return f"There is no track {track}."
        if not 1 <= length_mm <= LONGEST_MM:
            return f"A train is 1 mm to {LONGEST_MM} mm long."
        if not SLOWEST_MM_S <= speed_mm_s <= FASTEST_MM_S:
            return f"A train runs at {SLOWEST_MM_S} mm/s to {FASTEST_MM_S} mm/s."
        if backwards and known.one_way:
            return f"{track} is one way: trains come along it from its beginning only."
        if len(self._world.under_way) >= MOST_TRAINS:
            return f"There are {count(MOST_TRAINS, 'train')} already: take one away first."
        run = TrainRun(NOWHERE, track, length_mm, speed_mm_s * 1_000, now_us, backwards, ignores_signals)
        return f"train {self._world.send(run) + 1} sets out along {track}."

    def take_away(self, number: int, now_us: int) -> tuple[list[Input], str]:
        """A train is lifted off: what detectors say then, and a sentence."""
        if all(one.number != number - 1 for one in self._world.under_way):
            return [], f"There is no train {number} on its way."
        events = self._world.take_away(number - 1, now_us)
        return [event for event in events if not isinstance(event, TrainStands)], f"train {number} is taken away."

    def present(self, now_us: int) -> list[dict[str, object]]:
        """Each train's course: its place at a later instant is place + speed * time."""
        return [_course(one) for one in self._world.under_way]


def _course(journey: Journey) -> dict[str, object]:
    at_us, course = journey.course
    return {
        "train": course.train + 1,
        "track": course.track,
        "front_um": course.front_um,
        "tail_um": course.tail_um,
        "speed_um_s": course.speed_um_s,
        "at_us": at_us,
        "held": journey.state is State.HELD,
    }
