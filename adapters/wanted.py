"""One output on a link: which code it should have, which it was told last, and how far apart the two look.

Knows no pace and no other output.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from adapters.dithering import as_told
from engine import waves
from engine.codes import DEGREE, Seen, seen, shown
from engine.layout import Itself, Kind, Output, Setting
from engine.waves import Part, State, Wave

FOREVER = 1 << 62  # an instant that never comes
UNKNOWN = 1.0  # how far apart an output is of which nobody knows what it shows: as far as can be
SERVO_WHOLE_DEG = 180.0  # a servo's whole way where the layout file names neither positions nor limits

Apart = Callable[[int, int], float]


class Wanted:
    """What one output should be told, over time. The pacer keeps its own marks on it."""

    __slots__ = (
        "_in_turns",
        "_own_code",
        "_own_until_us",
        "_part",
        "_part_from_us",
        "_part_to_us",
        "alarm",
        "apart",
        "behind_us",
        "ends_us",
        "guarded",
        "lasts",
        "looked_us",
        "low",
        "mark_us",
        "name",
        "order",
        "others",
        "output",
        "owed",
        "servo",
        "since_us",
        "switched",
        "tells",
        "told",
        "wave",
    )

    def __init__(self, output: Output, in_turns: bool = True) -> None:
        self.output, self.name, self.guarded = output, output.name, output.guarded
        self._in_turns = in_turns  # whether a lamp that dithers does
        self.servo = output.kind is Kind.SERVO
        self.lasts = output.kind is not Kind.PULSE  # whether what is over need not be told any more
        self.apart = apart_of(output)
        self.switched = self.apart is _of_switched
        self.wave: Wave | None = None
        self.told: int | None = None  # None: nobody knows what it shows
        self.owed: int | None = None  # of a pulse: what it has to be told even if that is over
        self.ends_us = FOREVER  # from when on its code stays as it is
        self.order = 0  # of all that was asked for
        self.since_us = 0  # from when on it should have been told something else; where `looked_us`: no sooner
        self.looked_us: int | None = None  # where since when is not known: an instant at which it should have
        self.behind_us: int | None = None  # from when on it has not shown what it should
        self.mark_us, self.low = 0, 2.0  # since this instant it has been off by that at least
        self.others = 0  # outputs that waited, itself among them, when its code had become final
        self.alarm = 0  # the number of the one instant that it waits for
        self.tells: Seen = _nothing
        self._own_until_us, self._own_code = -1, 0
        self._part: Part | None = None
        self._part_from_us = self._part_to_us = 0

    def ask(self, wave: Wave, now_us: int, order: int) -> None:
        """From now on it should follow this wave, a lamp that dithers in turns."""
        wave = as_told(wave, self.output) if self._in_turns else wave
        ends_us = wave.ends_us
        last = wave.value_at(now_us if ends_us is None else ends_us)
        self.wave, self.order, self._part = wave, order, None
        self.tells = seen(self.output, last)
        self._own_until_us = -1
        itself = self.output.itself
        if itself is not None and wave.state is _DONE_BY_ITSELF[itself]:
            # as engine.codes.commands has it: the far end is told the end, and then left alone
            self._own_code = self.tells(last if itself is Itself.MOVES else 1.0)
            self._own_until_us = FOREVER if ends_us is None else ends_us
            self.ends_us = now_us
        elif ends_us is not None:
            self.ends_us = max(ends_us, now_us)
        else:
            self.ends_us = now_us if wave.piece(now_us).to_us is None else FOREVER

    def code(self, at_us: int) -> int:
        """What the far end should have been told by an instant."""
        if self.owed is not None:
            return self.owed
        return self.raw(at_us)

    def raw(self, at_us: int) -> int:
        """The code of its wave at an instant."""
        if at_us < self._own_until_us:
            return self._own_code
        part = self._part
        if part is None or not self._part_from_us <= at_us < self._part_to_us:
            assert self.wave is not None
            part = self._part = self.wave.piece(at_us)
            self._part_from_us = at_us
            self._part_to_us = FOREVER if part.to_us is None else part.to_us
        return self.tells(part.value_at(at_us))

    def next_change(self, after_us: int) -> int | None:
        """The next instant at which its code may be another one; None for never."""
        if after_us < self._own_until_us:
            return self._own_until_us if self._own_until_us < FOREVER else None
        assert self.wave is not None
        return waves.next_change(self.wave, after_us, self.tells)

    def differs(self, at_us: int) -> bool:
        return self.told is None or self.code(at_us) != self.told

    def error(self, at_us: int) -> float:
        """How far what it shows is from what it should show, 0..1."""
        if self.wave is None:
            return 0.0
        return UNKNOWN if self.told is None else self.apart(self.code(at_us), self.told)


_DONE_BY_ITSELF = {
    Itself.MOVES: State.UNDER_WAY,
    Itself.FLASHES: State.FLASHING,
    Itself.FLICKERS: State.FLICKERING,
}


def _nothing(value: float) -> int:
    return 0


# --- how far apart two codes look, 0..1 ----------------------------------------------------------------------------


def apart_of(output: Output) -> Apart:
    """Lamps: lightness. Servos: share of the travel. Motors: share of full speed. White: share of what the lamp can
    do. All that is switched, aspects and named colours: 1 where they differ."""
    match output.kind:
        case Kind.LAMP if output.dimmable:
            return _of_lamp(output.steps)
        case Kind.SERVO:
            return _of_range(travel_deg(output) * DEGREE)
        case Kind.MOTOR:
            return _of_range(output.steps)
        case Kind.COLOUR if output.mired is not None:
            return _of_range(output.mired[0] - output.mired[1])
    return _of_switched


def travel_deg(output: Output) -> float:
    """A servo's whole way in degrees."""
    low, high = output.span if output.positions else output.limits or (0.0, SERVO_WHOLE_DEG)
    return abs(high - low) or SERVO_WHOLE_DEG


def _of_switched(one: int, other: int) -> float:
    return float(one != other)


@lru_cache(64)
def _of_lamp(steps: int) -> Apart:
    lamp = Output("", Kind.LAMP, _DARK, steps=steps)
    if steps > MOST_LISTED:
        return lambda one, other: abs(shown(lamp, one) - shown(lamp, other))
    levels = [shown(lamp, code) for code in range(steps + 1)]
    return lambda one, other: abs(levels[one] - levels[other])


def _of_range(whole: float) -> Apart:
    return lambda one, other: min(1.0, abs(one - other) / whole) if whole > 0.0 else float(one != other)


MOST_LISTED = 4_095  # codes whose lightness is reckoned beforehand
_DARK = Setting(0.0)
