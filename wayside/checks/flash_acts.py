"""What the light of lamps does in a played trace that may be part of fast flashing, and when to look at it.

Knows which waves matter and for how long; counts nothing, says nothing.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import inf
from typing import TYPE_CHECKING, NamedTuple

from engine.flashes import SECOND_US
from engine.layout import Blink, Itself, Kind, Output, Place
from engine.lightness import luminance
from engine.program import Program
from engine.trace import Record, Told
from engine.waves import Flashing, Ramp, State, Steady, Wave

if TYPE_CHECKING:
    from engine.flicker import Manner

# How long light that goes on by itself is looked at, from when it began, and again from when something new joins it.
LOOK_US = 20 * SECOND_US  # it repeats itself; two rates that differ by a twentieth of a flash a second have met by then
FLICKER_LOOK_US = 60 * SECOND_US  # it never does, so nothing is certain
EDGE_US = SECOND_US  # looked at before and after each change
STRETCH_US, OVERLAP_US = 5 * SECOND_US, 3 * SECOND_US // 2  # looked at in one go: in the next, other lamps may matter
SLOW_US = SECOND_US  # a fade that takes so long is no part of fast flashing

_SAME = 1e-9  # levels


class Act(NamedTuple):
    """Something that a lamp's light does: by which line of which scene (empty: of none), and how long."""

    from_us: int
    to_us: int  # when it ended, or the lamp was told something else
    look_us: int  # until when it need be looked at, if nothing else happens
    place: Place
    scene: str
    most: float  # flashes in any second that it can make, if that is known; else endless


@dataclass(frozen=True, slots=True, eq=False)
class Lamp:
    output: Output
    history: tuple[tuple[int, Wave], ...]
    acts: tuple[Act, ...]

    def during(self, from_us: int, to_us: int) -> tuple[Act, ...]:
        """Its acts of which some part lies in a time, both ends included."""
        last = bisect_right(self.acts, to_us, key=lambda act: act.from_us)
        first = last
        while first and self.acts[first - 1].to_us >= from_us:
            first -= 1
        return self.acts[first:last]


def lamps_that_act(program: Program, trace: Iterable[Record], until_us: int) -> list[Lamp]:
    """The lamps that matter, with all that they were told until then.

    What a scene that accepts flashing told a lamp is as if the lamp had stayed as it was. A lamp whose board flickers
    by itself is on: how it flickers is not known. Colours are left out.
    """
    accepted = {name for name, scene in program.scenes.items() if scene.accepts_flashing}
    told: dict[str, list[Told]] = {
        name: [Told(-1, name, _rest(output), "", output.place)]
        for name, output in program.layout.outputs.items()
        if output.kind is Kind.LAMP
    }
    for record in trace:
        if not isinstance(record, Told) or record.output not in told or record.at_us > until_us:
            continue
        mine = told[record.output]
        if record.why == "begins":
            mine[:] = [record._replace(at_us=-1)]
        elif record.scene in accepted:
            mine.append(record._replace(wave=Steady(mine[-1].wave.value_at(record.at_us))))
        else:
            mine.append(record._replace(wave=_seen(program.layout.outputs[record.output], record)))
    found = (_lamp(program.layout.outputs[name], records, until_us) for name, records in told.items())
    return [lamp for lamp in found if lamp.acts]


def stretches(lamps: Iterable[Lamp], until_us: int) -> Iterator[tuple[int, int]]:
    """The times to look at: around everything that happens, cut into handy stretches that overlap."""
    merged: list[tuple[int, int]] = []
    for from_us, to_us in sorted((act.from_us - EDGE_US, act.look_us + EDGE_US) for lamp in lamps for act in lamp.acts):
        if merged and from_us <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(to_us, merged[-1][1])
        else:
            merged.append((from_us, to_us))
    for begin_us, end_us in merged:
        from_us, to_us = max(-1, begin_us), min(until_us, end_us)
        yield from_us, min(to_us, from_us + STRETCH_US)
        while to_us > from_us + STRETCH_US:
            from_us += STRETCH_US - OVERLAP_US
            yield from_us, min(to_us, from_us + STRETCH_US)


# --- one lamp ------------------------------------------------------------------------------------------------------


def _rest(output: Output) -> Wave:
    rest = output.rest
    return Steady(rest.value) if rest.blink is None else Flashing(0, rest.blink)


def _seen(output: Output, record: Told) -> Wave:
    """What is seen of a wave: a lamp whose board flashes it by itself is only told to be on."""
    wave = record.wave
    if output.itself is Itself.FLASHES and output.itself_us and wave.value_at(record.at_us) > 0:
        return Flashing(record.at_us, Blink(output.itself_us, 1, 0, 2))
    return wave


def _lamp(output: Output, told: Sequence[Told], until_us: int) -> Lamp:
    acts = []
    for number, one in enumerate(told):
        next_us = told[number + 1].at_us if number + 1 < len(told) else until_us
        before = told[number - 1].wave.value_at(one.at_us) if number else None
        lasts_us = _lasts(one, before)
        if lasts_us is not None:
            look_us = min(next_us, one.at_us + lasts_us)
            to_us = next_us if one.wave.ends_us is None and lasts_us else look_us
            acts.append(Act(one.at_us, to_us, look_us, one.place, one.scene, most_of(one.wave)))
    return Lamp(output, tuple((one.at_us, one.wave) for one in told), tuple(acts))


def _lasts(told: Told, before: float | None) -> int | None:
    """How long a wave need be looked at; 0 for a jump, None if it is no part of fast flashing."""
    wave, at_us = told.wave, told.at_us
    if wave.state is State.FLICKERING and most_of(wave) > 0:
        return FLICKER_LOOK_US
    if wave.state is State.FLASHING:
        return LOOK_US
    ends_us = wave.ends_us
    if ends_us is not None and ends_us > at_us and not (isinstance(wave, Ramp) and ends_us - at_us >= SLOW_US):
        return min(ends_us - at_us, LOOK_US)
    return 0 if before is not None and abs(wave.value_at(at_us) - before) > _SAME else None


def most_of(wave: Wave) -> float:
    """No fewer than the flashes that it can make in any second; endless where the wave does not tell."""
    from engine.flicker import Flicker

    return _most_of(wave.manner, *wave.bounds) if isinstance(wave, Flicker) else inf


@lru_cache(maxsize=1024)
def _most_of(manner: Manner, low: float, high: float) -> float:
    return manner.flashes_in(SECOND_US, lambda level: luminance(low + (high - low) * level))
