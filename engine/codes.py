"""What an output's far end is told, in whole numbers, and what such a number looks like. Knows no link and no wording.

Lamp: 0..steps of luminance. Motor: -steps..steps. Relay, sound, pulse: 0 or 1. Servo: hundredths of a degree. Signal:
the index of its aspect. Colour: whole mired, or the index of its colour. Nobody is told daylight.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator
from math import floor, inf

from engine.chance import key_of
from engine.layout import Itself, Kind, Output
from engine.lightness import VISIBLE, level, luminance
from engine.waves import State, Wave, next_change

COMMANDS = 100_000  # commands that one wave may give before its asker is told that they are too many
DEGREE = 100  # a servo's codes in one degree: finer than 1 us of pulse, which is about a tenth of a degree
DITHER_SLOT_US = 10_000
DITHER_PHASES = 4  # slots after which a dithered lamp repeats itself
_DITHER_ORDER = (0, 2, 1, 3)  # van der Corput's: of two slots in four, no two are neighbours

Seen = Callable[[float], int]


class TooManyCommands(ValueError):
    """A wave that tells its far end more often than its asker allows."""


# --- values to codes -----------------------------------------------------------------------------------------------


def code(output: Output, value: float, towards: float | None = None) -> int:
    """What the far end is told for a value. Whoever asks often asks `seen` once."""
    return seen(output, towards)(value)


def seen(output: Output, towards: float | None = None) -> Seen:
    """`code` for one output, for many values; for `engine.waves.next_change`.

    `towards` is where a servo's move will end. With it the codes are steps of the servo's dead band, counted from
    there, since it answers to nothing less, and the end itself is told exactly. The others take no notice of it.
    """
    return _SEEN[output.kind](output, towards)


def least_code(output: Output) -> int:
    """The least code at which a lamp gives light: the one nearest to its floor, and never 0."""
    return max(1, _nearest(luminance(output.floor) * output.steps))


def _lamp(output: Output, towards: float | None) -> Seen:
    # Honest at the bottom: what was asked to give light gives light, and a lamp that is only switched is then on.
    steps, least = output.steps, least_code(output)
    return lambda value: max(least, floor(luminance(value) * steps + 0.5)) if value > 0.0 else 0


def _switched(output: Output, towards: float | None) -> Seen:
    # Any value above nothing is on, as with a lamp. A half as the threshold would make 40 % of a relay nothing.
    return lambda value: 1 if value > 0.0 else 0


def _motor(output: Output, towards: float | None) -> Seen:
    steps = output.steps

    def told(value: float) -> int:
        speed = max(1, _nearest(min(abs(value), 1.0) * steps))
        return speed if value > 0.0 else -speed if value < 0.0 else 0

    return told


def _servo(output: Output, towards: float | None) -> Seen:
    least, most = output.limits or (-inf, inf)
    band = output.dead_band_deg
    if towards is None or band * DEGREE < 1.0:
        return lambda value: _nearest(_within(value, least, most) * DEGREE)
    low, high = sorted(output.span) if output.positions else (least, most)

    def told(value: float) -> int:
        step = towards + _nearest((value - towards) / band) * band
        # the nearest step may lie past an end that the arm has not passed, and is not to pass
        bottom, top = low if value >= low else least, high if value <= high else most
        return _nearest(_within(step, bottom, top) * DEGREE)

    return told


def _index(output: Output, towards: float | None) -> Seen:
    return _nearest


def _colour(output: Output, towards: float | None) -> Seen:
    if output.mired is None:
        return _nearest
    warm, cool = output.mired
    return lambda value: _nearest(_within(value, cool, warm))


def _nobody(output: Output, towards: float | None) -> Seen:
    return lambda value: 0


_SEEN: dict[Kind, Callable[[Output, float | None], Seen]] = {
    Kind.LAMP: _lamp,
    Kind.SERVO: _servo,
    Kind.SIGNAL: _index,
    Kind.RELAY: _switched,
    Kind.MOTOR: _motor,
    Kind.SOUND: _switched,
    Kind.PULSE: _switched,
    Kind.COLOUR: _colour,
    Kind.DAYLIGHT: _nobody,
}


def _nearest(value: float) -> int:
    return floor(value + 0.5)  # halves always upwards, so that the codes of an even fade are evenly wide


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def shown(output: Output, code: int) -> float:
    """What a code looks like, in the output's own values."""
    match output.kind:
        case Kind.LAMP:
            return level(code / output.steps)
        case Kind.MOTOR:
            return code / output.steps
        case Kind.SERVO:
            return code / DEGREE
    return float(code)


# --- what a wave has to tell ---------------------------------------------------------------------------------------


def commands(
    wave: Wave, output: Output, from_us: int, until_us: int, limit: int = COMMANDS
) -> Iterator[tuple[int, int]]:
    """Each instant at which the far end must be told something new, with its code; first the one at `from_us`.

    `until_us` is not included. Of what the board does by itself it is told the beginning and the end. Dithering is
    not in it: that goes by the slot, see `dithered`. Raises TooManyCommands at more than `limit`.
    """
    if output.kind is Kind.DAYLIGHT or from_us >= until_us:
        return
    tells = seen(output, wave.value_at(from_us if wave.ends_us is None else wave.ends_us))
    at_us: int | None = from_us
    last, given = None, 0
    if output.itself is not None and wave.state is _DONE_BY_ITSELF[output.itself]:
        last, given = tells(wave.value_at(wave.ends_us) if output.itself is Itself.MOVES and wave.ends_us else 1.0), 1
        yield from_us, last
        at_us = wave.ends_us
    while at_us is not None and at_us < until_us:
        now = tells(wave.value_at(at_us))
        if now != last:
            given += 1
            if given > limit:
                raise TooManyCommands(f"`{output.name}` is told more than {limit} times")
            yield at_us, now
            last = now
        at_us = next_change(wave, at_us, tells)


_DONE_BY_ITSELF = {
    Itself.MOVES: State.UNDER_WAY,
    Itself.FLASHES: State.FLASHING,
    Itself.FLICKERS: State.FLICKERING,
}


# --- levels between two codes --------------------------------------------------------------------------------------
#
# Between two neighbouring codes that are more than one unit of lightness apart a lamp that may be dithered is told the
# higher one in one, two or three of every four slots of 10 ms. At 8 bits that makes the steps at the bottom those of
# 10 bits, 0.89 units at most. The pattern repeats 25 times a second, or 50 at two of four; whether that is seen hangs
# on the lamp: brighter ones show it sooner, and between nothing and the first code it shows most. A floor ends it
# there: below a floor above the first code nothing is dithered. A link carries 50 or 100 commands a second for each
# lamp that rests between two codes: four to eight such lamps take all of the 4,800 bytes a second that a link gets
# when nothing else is stated, and one can take all that a track bus carries for accessories, 41 to 82 a second.


def dithered(output: Output, value: float, at_us: int) -> int:
    """The code of the slot of DITHER_SLOT_US, counted from 0, in which an instant lies; else the same as `code`.

    Where it dithers, the mean light over any DITHER_PHASES slots is within an eighth of a code of what was asked;
    but a value above nothing gets a quarter of a code at least. Neighbours are shifted against each other.
    """
    low, high, share = _mix(output, value)
    if share == 0:
        return low
    slot = at_us // DITHER_SLOT_US + key_of(output.name)
    return high if _DITHER_ORDER[slot % DITHER_PHASES] < share else low


def dithers_below(output: Output) -> float:
    """The level from which on every level is shown by one code; 0 where nothing is dithered."""
    return shown(output, _whole_from(output)) if _may_dither(output) else 0.0


def _may_dither(output: Output) -> bool:
    return output.dithers and output.dimmable and output.kind is Kind.LAMP


def _whole_from(output: Output) -> int:
    """The least code that is followed by one no more than one unit lighter."""

    def fine(lower: int) -> bool:
        return shown(output, lower + 1) - shown(output, lower) <= VISIBLE

    return bisect_left(range(output.steps), True, key=fine)  # lightness rises ever more slowly with luminance


def _mix(output: Output, value: float) -> tuple[int, int, int]:
    """Two codes, and in how many of DITHER_PHASES slots the second is told."""
    told = code(output, value)
    if told == 0 or not _may_dither(output):
        return told, told, 0
    parts = max(1, _nearest(luminance(value) * output.steps * DITHER_PHASES))
    low, share = divmod(parts, DITHER_PHASES)
    least = least_code(output)
    if low < least and least > 1:
        return told, told, 0
    if shown(output, low + 1) - shown(output, low) <= VISIBLE:
        return told, told, 0
    return low, low + 1, share


# --- what would be seen --------------------------------------------------------------------------------------------


def coarsest_step(output: Output, low: float, high: float) -> tuple[float, float]:
    """The greatest jump of lightness in a fade of a lamp, as a level, and the level from which it jumps.

    (0, low) where nothing jumps, or the output is no lamp. Compare it with `engine.lightness.VISIBLE`.
    """
    low, high = min(low, high), max(low, high)
    if output.kind is not Kind.LAMP:
        return 0.0, low
    begin, end = _parts(output, low), _parts(output, high)
    starts = [begin]
    if _may_dither(output):  # where dithering ends, the steps are coarser again
        starts.append(max(begin, _whole_from(output) * DITHER_PHASES))
    whole = output.steps * DITHER_PHASES
    jumps = [
        (level(_next_part(output, parts) / whole) - level(parts / whole), level(parts / whole))
        for parts in starts
        if parts < end
    ]
    return max(jumps, default=(0.0, low))


def _parts(output: Output, value: float) -> int:
    """The mean light of a value as it is shown, in parts of a code."""
    low, _, share = _mix(output, value)
    return low * DITHER_PHASES + share


def _next_part(output: Output, parts: int) -> int:
    """The next light that the lamp can show above one that it shows."""
    lower = parts // DITHER_PHASES
    least = least_code(output)
    if _may_dither(output) and lower < _whole_from(output) and (lower >= least or least == 1):
        return parts + 1
    return max(lower + 1, least) * DITHER_PHASES


def servo_steps(output: Output, degrees: float, over_us: int, peak_speed: float) -> float:
    """How many steps a second a servo takes at the fastest of a move, since it answers to nothing below its dead band.

    `peak_speed` is the greatest speed of the move's profile over its mean: 1 evenly, 1.875 for least jerk. A servo
    that takes only a few steps a second is seen to take them; from about 12 on they run together (from memory).
    """
    if output.dead_band_deg <= 0.0 or over_us <= 0:
        return inf
    return abs(degrees) / output.dead_band_deg * peak_speed * 1_000_000 / over_us
