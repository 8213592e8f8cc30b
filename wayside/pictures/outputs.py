"""An output's row of a picture: what its waves look like from one order to the next. Knows no other row, and no ink."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import log10

from engine.courses import Course
from engine.curves import Curve
from engine.layout import Kind, Output
from engine.trace import Told
from engine.waves import Flashing, Ramp, State, Steady, Wave
from wayside.pictures.spans import Look, Row, Span, joined
from wayside.rehearsal import trace_words as words

FADE_SAMPLES = 24  # as many shades as the painter draws of one fade
MOVE_SAMPLES = 96  # enough for the small bounces at the end of a long move
FLICKER_SAMPLES = 900  # of one row, however long: closer ones could not be told apart on the page
FLICKER_EVERY_US = 25_000
FEWEST_IN_SPAN = 12  # so that a short one is no triangle
MOST_COLOURS = 2_000  # changes of colour that one character is drawn with; of more none could be told apart
DARKEST, BRIGHTEST = -3.0, 5.0  # powers of ten of lux, from a night to noon


def output_row(output: Output, told: Sequence[Told], until_us: int, samples: int = FLICKER_SAMPLES) -> Row:
    """An output's row. Before it is first told something it shows its rest, or where its first move began.

    `samples`: so many of what flickers from beginning to end, where the picture has rows enough to cut them short.
    """
    before = _began_at(told[0]) if told else None
    blink = output.rest.blink
    waves: list[tuple[int, Wave]] = [
        (0, Flashing(0, blink) if blink else Steady(output.rest.value if before is None else before))
    ]
    for record in told:
        if waves[-1][0] == record.at_us:
            waves.pop()  # only the last order of an instant was sent
        waves.append((record.at_us, record.wave))
    spans: list[Span] = []
    for (at_us, wave), (next_us, _) in zip(waves, [*waves[1:], (until_us, None)], strict=True):
        if at_us < until_us:
            every_us = max(FLICKER_EVERY_US, until_us // samples)
            spans.extend(_wave_spans(output, wave, at_us, min(next_us, until_us), every_us))
    marks: tuple[tuple[str, float], ...] = ()
    if output.kind is Kind.SERVO:
        marks = tuple((one.name, words.travel_share(output, one.degrees)) for one in output.positions)
    return Row(output.kind.value, output.name, tuple(joined(spans)), marks=marks)


def _began_at(told: Told) -> float | None:
    """The value from which a fade or a move set out when it was told; None for what leaps."""
    wave = told.wave
    if wave.state is not State.UNDER_WAY or wave.turns(told.at_us - 1) != told.at_us:
        return None
    return wave.low if isinstance(wave, Course) else wave.value_at(told.at_us)


def _wave_spans(output: Output, wave: Wave, from_us: int, to_us: int, every_us: int) -> list[Span]:
    match wave.state:
        case State.STEADY:
            return [_steady(output, wave.value_at(from_us), from_us, to_us)]
        case State.FLASHING:
            return _colours(output, wave, from_us, to_us) if output.aspects else [_flashing(wave, from_us, to_us)]
        case State.FLICKERING:
            return [_flickering(output, wave, from_us, to_us, every_us)]
        case State.UNDER_WAY | State.OWN_WAY:
            ends_us = to_us if wave.ends_us is None else wave.ends_us
            turn = min(max(ends_us, from_us), to_us)
            spans = [_going(output, wave, from_us, turn)] if turn > from_us else []
            return [*spans, _steady(output, wave.value_at(ends_us), turn, to_us)] if to_us > turn else spans


def _colours(output: Output, wave: Wave, from_us: int, to_us: int) -> list[Span]:
    """The colours of a character that changes them, one after another."""
    spans: list[Span] = []
    while from_us < to_us and len(spans) < MOST_COLOURS:
        edge = min(wave.turns(from_us) or to_us, to_us)
        spans.append(_steady(output, wave.value_at(from_us), from_us, edge))
        from_us = edge
    return joined(spans) if from_us >= to_us else [*joined(spans), Span(from_us, to_us, Look.COLOUR, text="in turn")]


def _flashing(wave: Wave, from_us: int, to_us: int) -> Span:
    if isinstance(wave, Flashing):
        return Span(from_us, to_us, Look.FLASH, wave.high, wave.high, words.rate(wave.blink), wave)
    return Span(from_us, to_us, Look.FLASH, 1.0, 1.0, getattr(wave, "name", ""), wave)


def _flickering(output: Output, wave: Wave, from_us: int, to_us: int, every_us: int) -> Span:
    number = max(2, min(FEWEST_IN_SPAN, (to_us - from_us) // FLICKER_EVERY_US), (to_us - from_us) // every_us)
    levels = _sampled(output, wave, from_us, to_us, number)
    text = getattr(getattr(wave, "manner", None), "name", "")
    return Span(from_us, to_us, Look.FLICKER, levels[0], levels[-1], text, levels=levels)


def _going(output: Output, wave: Wave, from_us: int, to_us: int) -> Span:
    ends_us = to_us if wave.ends_us is None else wave.ends_us
    number = 2 if isinstance(wave, Ramp) else MOVE_SAMPLES if isinstance(wave, Curve) else FADE_SAMPLES
    levels = _sampled(output, wave, from_us, to_us, number)
    look = {Kind.SERVO: Look.MOVE, Kind.COLOUR: Look.WHITE}.get(output.kind, Look.SHADE)
    text = f"to {words.value(output, wave.value_at(ends_us))}"
    return Span(from_us, to_us, look, levels[0], levels[-1], text, levels=levels if number > 2 else ())


def _sampled(output: Output, wave: Wave, from_us: int, to_us: int, number: int) -> tuple[float, ...]:
    """The level at even distances; a last instant before what comes next, where the wave jumps there."""
    level = _LEVELS.get(output.kind, _as_it_is)
    return tuple(
        level(output, wave.value_at(from_us + (to_us - from_us) * step // (number - 1))) for step in range(number)
    )


def _as_it_is(_: Output, value: float) -> float:
    return value


def _daylight(_: Output, lux: float) -> float:
    """By its power of ten, as an eye that has time to get used to it sees it."""
    return (min(max(log10(max(lux, 1e-9)), DARKEST), BRIGHTEST) - DARKEST) / (BRIGHTEST - DARKEST)


def _colour(output: Output, mired: float) -> float:
    """The cooler, the brighter: how far from the lamp's warmest white."""
    warm, cool = output.mired or (0.0, 1.0)
    return (mired - warm) / (cool - warm)


_LEVELS: dict[Kind, Callable[[Output, float], float]] = {
    Kind.SERVO: words.travel_share,
    Kind.DAYLIGHT: _daylight,
    Kind.COLOUR: _colour,
}


def _steady(output: Output, amount: float, from_us: int, to_us: int) -> Span:
    text = words.value(output, amount)
    if output.kind is Kind.SERVO:
        share = words.travel_share(output, amount)
        return Span(from_us, to_us, Look.LEVEL, share, share, text)
    if output.kind is Kind.COLOUR:
        if output.aspects:
            return Span(from_us, to_us, Look.COLOUR, text=text)
        level = _colour(output, amount)
        return Span(from_us, to_us, Look.WHITE, level, level, text)
    if output.kind is Kind.SIGNAL:
        index = round(amount)
        stops = 0 <= index < len(output.aspects) and output.aspects[index].stops
        return Span(from_us, to_us, Look.STOP_ASPECT if stops else Look.GO_ASPECT, text=text)
    if output.kind in _LEVELS:
        level = _LEVELS[output.kind](output, amount)
        return Span(from_us, to_us, Look.SHADE, level, level, text)
    if amount == 0:
        return Span(from_us, to_us, Look.IDLE)
    return Span(from_us, to_us, Look.SHADE, amount, amount, "" if amount == 1.0 else text)
