"""What to do about a link that has more to carry than it can, in plain words: advice for each line that is to blame.

Knows no pacer and no layout file beyond the words that a person writes in it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

from engine.layout import NOWHERE, Kind, Place
from engine.waves import State

if TYPE_CHECKING:
    from adapters.load import Load, Over

MATTERS = 0.05  # what is off by no more than 5 units of lightness, or 5 % of its way, is not worth a word
MATTERS_US = 250_000  # nor is a command that comes no later (common practice, no source)
MANY = 3  # outputs that change in one second, from which on it helps to let fewer change at once
COUNTS = 0.1  # the share of what is wanted from which on a further line is named: nine at most
MOST_LONGER = 10.0  # times as long: more than that is no advice
LEADING = 2  # outputs whose way of moving is spoken of
MOST_ADVICE = 10


class Advice(NamedTuple):
    """A line, what comes of it, what would help, and further lines that add to it."""

    place: Place
    what: str
    instead: str
    also: tuple[Place, ...] = ()


def advice(load: Load) -> list[Advice]:
    """One for each line that wants most in a second that is too full, the worst first; none where nobody would see."""
    spells: dict[Place, list[Over]] = {}
    for over in load.over:
        spells.setdefault(over.causes[0].place, []).append(over)
    worth = [
        (place, overs)
        for place, overs in spells.items()
        if any(over.error > MATTERS or over.late_us > MATTERS_US for over in overs)
    ]
    worth.sort(key=lambda spell: (-len(spell[1]), spell[1][0].second))
    return [_one(load, place, overs) for place, overs in worth[:MOST_ADVICE]]


def _one(load: Load, place: Place, overs: Sequence[Over]) -> Advice:
    totals: Counter[Place] = Counter()
    causes: Counter[tuple[str, Kind, State]] = Counter()
    for over in overs:
        for cause in over.causes:
            totals[cause.place] += cause.commands
            causes[cause.output, cause.kind, cause.state] += cause.commands
    least = COUNTS * sum(totals.values())
    also = tuple(
        other for other, commands in totals.most_common() if commands >= least and other not in (place, NOWHERE)
    )
    return Advice(place, _what(load, overs), _instead(load, overs, causes), also)


# --- what comes of it ----------------------------------------------------------------------------------------------


def _what(load: Load, overs: Sequence[Over]) -> str:
    peak = max(overs, key=lambda over: (over.wanted, -over.second))
    worst = max(overs, key=lambda over: over.error)
    late_us = max(over.late_us for over in overs)
    first, last = overs[0].second, overs[-1].second
    when = (
        f"At {_time(first)}" if len(overs) == 1 else f"In {len(overs)} seconds from {_time(first)} to {_time(last + 1)}"
    )
    seen = []
    if worst.error > MATTERS:
        seen.append(f"`{worst.error_of}` is up to {ceil(100 * worst.error)} % from what it should show")
    if late_us > MATTERS_US:
        seen.append(f"a command comes {_number(late_us / 1_000_000)} s late")
    most = f"up to {peak.wanted}" if len(overs) > 1 else f"{peak.wanted}"
    return (
        f"{when} {most} commands a second are wanted on `{load.link.name}`, which carries {_number(peak.carries)}: "
        f"{', and '.join(seen)}"
    )


def _time(second: int) -> str:
    hours, rest = divmod(second, 3_600)
    minutes, seconds = divmod(rest, 60)
    words = [f"{many} {unit}" for many, unit in ((hours, "h"), (minutes, "min"), (seconds, "s")) if many]
    return " ".join(words) or "0 s"


def _number(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}".removesuffix(".0")


# --- what would help -----------------------------------------------------------------------------------------------


def _instead(load: Load, overs: Sequence[Over], causes: Counter[tuple[str, Kind, State]]) -> str:
    leading = [cause for cause, _ in causes.most_common(LEADING)]
    ways: list[str] = []
    if any(map(_many, overs)):
        ways.append("let fewer outputs change at once, such as `6 s apart`")
    times = max(over.error for over in overs) / MATTERS  # what moves half as fast is half as far off
    for _, kind, state in leading:
        ways += _by_way(kind, state, times)
    ways.append(_another_link(load))
    first, *others = dict.fromkeys(ways)
    said = ", or ".join([first, *others])
    return f"{said[0].upper()}{said[1:]}"


def _many(over: Over) -> bool:
    """Whether it is the number of outputs that fills a second, and not one of them alone."""
    outputs = len({cause.output for cause in over.causes}) + over.others
    return outputs >= MANY and 2 * over.causes[0].commands <= over.wanted


def _by_way(kind: Kind, state: State, times: float) -> list[str]:
    """What helps with an output of this kind that does this."""
    board = _BOARDS.get((kind, state))
    ways = []
    if state is State.UNDER_WAY and 1.0 < times <= MOST_LONGER:
        longer = _number(ceil(10 * times) / 10)
        ways.append(f"let the {'move' if kind is Kind.SERVO else 'fade'} take {longer} times as long")
    elif state is State.FLASHING:
        ways.append("flash less often")
    if board:
        ways.append(f"use a board that {board}")
    return ways


# what a board does in the words of the layout file, where it has a word for it
_BOARDS = {
    (Kind.LAMP, State.UNDER_WAY): "fades the lamp by itself and is told only the end: `set` instead of `fade`",
    (Kind.LAMP, State.OWN_WAY): "brings the lamp up by itself, without `comes on like`",
    (Kind.LAMP, State.FLICKERING): "flickers the lamp by itself (`flickers by itself: yes`)",
    (Kind.LAMP, State.FLASHING): "flashes the lamps by itself (`flashes as a pair`)",
    (Kind.SERVO, State.UNDER_WAY): "moves the servo by itself (`moves by itself`)",
}


def _another_link(load: Load) -> str:
    if load.link.commands_s is None and load.carries >= load.pace.commands_s:
        return (
            "wire it to another link, whose commands do not go over the track (in the layout file: "
            "`commands: 200 a second`, or whatever it takes)"
        )
    return "put some of the outputs on another link"
