"""How a trace reads in plain words: times, lengths, rates, values by their names, places. Shared by list and picture.

Knows the layout's names; must not know files, columns or drawing.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import PurePath

from engine.layout import NOWHERE, Blink, Kind, Output, Place
from engine.program import AsLongAs, Block, Program, Statement, blocks_of

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY_S = 24 * 3600
NEAR_DEGREES = 0.05  # a servo this close to a named position has that name


def clock(at_us: int) -> str:
    """Time since the beginning, to the tenth: 0:00.0, from an hour on 1:00:00.0."""
    tenths = (at_us + 50_000) // 100_000
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{rest // 10:02d}.{rest % 10}"
    return f"{hours}:{minutes:02d}:{seconds}" if hours else f"{minutes}:{seconds}"


def time_of_day(second: int) -> str:
    """Seconds after midnight as 17:40:05; goes round at midnight."""
    second %= DAY_S
    return f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"


def layout_second(at_us: int, starts_s: int, ratio: int) -> int:
    """The layout clock's second of the day, whole seconds gone by."""
    return starts_s + at_us * ratio // SECOND


def number(value: float, digits: int = 2) -> str:
    """A number without needless noughts: 7, 1.2, 0.25."""
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def length(us: int) -> str:
    """A length of time as one says it: 250 ms, 1.2 s, 4 min, 1 min 30 s, 2 h."""
    if us < SECOND:
        return f"{number(us / 1000, 1)} ms" if us else "0 s"
    if us < MINUTE:
        return f"{number(us / SECOND)} s"
    parts: list[str] = []
    left = us
    for size, word in ((HOUR, "h"), (MINUTE, "min")):
        if left >= size:
            parts.append(f"{left // size} {word}")
            left %= size
    if left and us < HOUR:
        parts.append(f"{number(left / SECOND, 1)} s")
    return " ".join(parts)


def rate(blink: Blink) -> str:
    """Flashes of one lamp: 80 a minute."""
    return f"{number(float(Fraction(MINUTE * blink.cycles, blink.cycle_us)), 1)} a minute"


def train(index: int) -> str:
    """A train's name: the rehearsal's first one is train 1, though the trace counts from 0."""
    return f"train {index + 1}"


def percent(share: float) -> str:
    return f"{number(share * 100, 0 if abs(share * 100 - round(share * 100)) < 0.005 else 1)} %"


def travel_share(output: Output, degrees: float) -> float:
    """How far along its travel a servo is: 0 and 1 at its outermost named positions (or its limits)."""
    start, end = output.span if output.positions else output.limits or (0.0, 180.0)
    return (degrees - start) / (end - start) if end != start else 0.0


def _servo(output: Output, degrees: float) -> str:
    near = min(output.positions, key=lambda p: abs(p.degrees - degrees), default=None)
    if near is not None and abs(near.degrees - degrees) <= NEAR_DEGREES:
        return near.name
    if len(output.positions) < 2:
        return f"{number(degrees, 1)} deg"
    end = next(p.name for p in output.positions if p.degrees == output.span[1])
    return f"{percent(round(travel_share(output, degrees), 2))} towards {end}"


def _signal(output: Output, index: float) -> str:
    at = round(index)
    return output.aspects[at].name if 0 <= at < len(output.aspects) else f"aspect {at}"


def _switched(output: Output, level: float) -> str:
    return {0.0: "off", 1.0: "on"}.get(level) or percent(level)


def _motor(output: Output, level: float) -> str:
    return "standing" if level == 0 else f"{percent(abs(level))} {'forwards' if level > 0 else 'backwards'}"


def _colour(output: Output, amount: float) -> str:
    if output.aspects:
        return _signal(output, amount)
    return f"{round(1e6 / amount, -1):.0f} K" if amount > 0 else "no colour"


def _lux(_: Output, amount: float) -> str:
    """Daylight to three figures: 10,000 lux, 758 lux, 3.41 lux."""
    return f"{float(f'{amount:.3g}'):,g} lux"


_BY_KIND = {Kind.COLOUR: _colour, Kind.DAYLIGHT: _lux, Kind.SERVO: _servo, Kind.SIGNAL: _signal, Kind.MOTOR: _motor}


def value(output: Output, amount: float) -> str:
    """What an output shows, by name: a position, an aspect, on, off, 40 %, 30 % backwards."""
    return _BY_KIND.get(output.kind, _switched)(output, amount)


def scene(name: str) -> str:
    """`scene dusk`; what a rule does if it is broken goes by the rule's name: `rule road-closed`."""
    return name if " " in name else f"scene {name}"


def statements(program: Program) -> dict[Place, Statement]:
    """Every scene's statements by the place they were written at; a line written out several times is met once."""
    found: dict[Place, Statement] = {}
    todo: list[Block] = []
    for scene in program.scenes.values():
        todo += [scene.block, scene.when_stopped or ()]
    while todo:
        for statement in todo.pop():
            # a block's head may share its place with its first line: the line that does something wins
            if statement.place not in found or isinstance(found[statement.place], AsLongAs):
                found[statement.place] = statement
            todo.extend(blocks_of(statement))
    return found


class Places:
    """Shows places as file:line, with the folder left out as long as no two files share a name."""

    def __init__(self, files: Iterable[str]) -> None:
        known = sorted(set(files))
        short = {file: PurePath(file).name for file in known}
        names = list(short.values())
        self._shown = {file: name if names.count(name) == 1 else file for file, name in short.items()}

    def __call__(self, place: Place) -> str:
        if place == NOWHERE:
            return ""
        return f"{self._shown.get(place.file, place.file)}:{place.line}"
