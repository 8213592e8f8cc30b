"""A layout that is wired wrongly on purpose, and a person who says what they see of it: for tests of a walk.

Shares nothing with the table of guesses. `things` says which outputs hang on which (link, pin or not, number); `manner`
how one of them does what it is told; inputs likewise.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from engine.layout import Layout
from wayside.walk.answers import Answer, How, Rolled
from wayside.walk.stops import OUTPUT, Round, Stop, walk_round

Key = tuple[str, bool, int]
STRANGE = "something that has no name"


def key_of(stop: Stop) -> Key:
    return stop.link, stop.is_pin, stop.number


@dataclass
class World:
    """How it truly is."""

    layout: Layout
    things: dict[Key, list[str]] = field(default_factory=dict)
    manner: dict[str, How] = field(default_factory=dict)
    inputs: dict[str, list[int]] = field(default_factory=dict)  # by the stretch of track: the numbers that report it
    behaves: dict[str, str] = field(default_factory=dict)  # of inputs: stuck, wrong way, chatters

    def __post_init__(self) -> None:
        self.round: Round = walk_round(self.layout)
        for stop in self.round.stops:
            if stop.sort == OUTPUT:
                self.things.setdefault(key_of(stop), []).append(stop.name)
            else:
                self.inputs[stop.name] = [stop.number]

    def answers(self) -> dict[str, Answer]:
        """What a person answers on the whole walk."""
        return {stop.name: self._seen(stop) if stop.sort == OUTPUT else self._heard(stop) for stop in self.round.stops}

    def _seen(self, stop: Stop) -> Answer:
        moved = self.things.get(key_of(stop), [])
        if not moved:
            return Answer(How.NO)
        if stop.name not in moved:
            return Answer(How.OTHER, moved[0])
        others = [name for name in moved if name != stop.name]
        if others:
            return Answer(How.ALSO, others[0])
        return Answer(self.manner.get(stop.name, How.YES))

    def _heard(self, stop: Stop) -> Answer:
        """A wagon is rolled over the stretch of that name: which numbers report, and what they are called."""
        numbers = self.inputs[stop.name]
        named = {one.number: one.name for one in self.round.stops if one.sort != OUTPUT and one.link == stop.link}
        others = tuple(named[number] for number in numbers if number in named and number != stop.number)
        strange = tuple(number for number in numbers if number not in named)
        if stop.number not in numbers:
            rolled = Rolled("clear", 0, 0, "clear", others, strange)
        else:
            rolled = _BEHAVES[self.behaves.get(stop.name, "")]._replace(others=others, strange=strange)
        return Answer(How.YES if rolled.complete else How.NO, "", rolled)

    # --- what somebody did to it ---------------------------------------------------------------------------------

    def move(self, moves: dict[Key, Key]) -> None:
        """What hung on one number hangs on another; all at once."""
        taken = {new: self.things.pop(old) for old, new in moves.items() if old in self.things}
        for new, names in taken.items():
            self.things.setdefault(new, []).extend(names)


_BEHAVES = {
    "": Rolled("clear", 1, 1, "clear"),
    "stuck": Rolled("occupied", 0, 0, "occupied"),
    "never clears": Rolled("clear", 1, 0, "occupied"),
    "wrong way": Rolled("occupied", 1, 1, "occupied"),
    "chatters": Rolled("clear", 7, 7, "clear"),
}
