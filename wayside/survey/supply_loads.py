"""What each supply of a layout has to give: all of it added up, and the worst moment of what was played.

Pure: layout and traces in, records out. Knows no file and no words. The words are `survey.pages`'s.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from engine.layout import Kind, Layout
from engine.supply import Run, Supply
from engine.trace import Record
from wayside.survey.supply_currents import MOVES, STARTS, Step, Taken, steps, taken, told_to

DRIVES = (Kind.SERVO, Kind.MOTOR)


class Played(NamedTuple):
    """A trace, with the name of what was played and when it ended."""

    name: str
    trace: Sequence[Record]
    until_us: int
    hall_starts_s: int | None = None  # of a show day: the hall's second of the day at its beginning


class Part(NamedTuple):
    """One output's or board's share of a moment."""

    name: str
    ua: int
    doing: str


class Moment(NamedTuple):
    """The most that was drawn at once: how much, in which play, when, and by what (the most first)."""

    ua: int
    play: str
    at_us: int
    parts: tuple[Part, ...]
    hall_s: int | None = None  # on a show day: the hall's second of the day


class Sums(NamedTuple):
    """All that a supply feeds added up, in microamperes."""

    boards_ua: int  # the boards themselves
    lit_ua: int  # everything on that does not move
    moving_ua: int  # all servos and motors moving
    starting_ua: int  # all of them starting together, or stalled

    @property
    def lasting_ua(self) -> int:
        return self.boards_ua + self.lit_ua + self.moving_ua

    @property
    def most_ua(self) -> int:
        return self.boards_ua + self.lit_ua + self.starting_ua


class Load(NamedTuple):
    """A supply, what it feeds, and what that takes. The moments are None where nothing was played."""

    supply: Supply
    outputs: tuple[str, ...]
    boards: tuple[str, ...]
    sums: Sums
    worst: Moment | None = None  # starts counted as nearly stalled
    lasting: Moment | None = None  # starts counted as moving: what a fuse feels
    silent: tuple[str, ...] = ()  # of whose current the layout file says nothing: counted as nothing
    usual: tuple[str, ...] = ()  # servos that were counted with the usual figures


def outputs_fed(layout: Layout, names: Iterable[str]) -> list[str]:
    """The outputs behind these names: of a board all on it that no other line feeds by name, of a signal its parts."""
    by_name = {name for supply in layout.supplies.values() for name in _wired(layout, supply.powers)}
    found: dict[str, None] = {}
    for name in names:
        if name in layout.boards and name not in layout.outputs:
            on_it = (one.name for one in layout.outputs.values() if one.wiring.board == name)
            found.update(dict.fromkeys(one for one in on_it if one not in by_name))
        else:
            found.update(dict.fromkeys(_wired(layout, (name,))))
    return [name for name in found if layout.outputs[name].kind not in (Kind.COLOUR, Kind.DAYLIGHT)]


def _wired(layout: Layout, names: Iterable[str]) -> Iterator[str]:
    """Outputs by name, a signal with its parts."""
    for name in names:
        output = layout.outputs.get(name)
        if output is not None:
            yield name
            yield from dict.fromkeys(
                part for aspect in output.aspects for part, _ in aspect.parts if output.kind is Kind.SIGNAL
            )


def taken_by(layout: Layout, name: str) -> Taken:
    return taken(layout.outputs[name], layout.draws.get(("outputs", name)))


def board_ua(layout: Layout, board: str) -> int:
    draw = layout.draws.get(("boards", board))
    return (draw.full_ua or 0) if draw else 0


def sums_of(layout: Layout, outputs: Iterable[str], boards: Iterable[str]) -> Sums:
    own = [(layout.outputs[name].kind in DRIVES, taken_by(layout, name)) for name in outputs]
    return Sums(
        sum(board_ua(layout, board) for board in boards),
        sum(one.full_ua for moves, one in own if not moves),
        sum(one.full_ua for moves, one in own if moves),
        sum(one.start_ua for moves, one in own if moves),
    )


def run_sums(layout: Layout, run: Run) -> Sums:
    """The same for what one run of wire feeds."""
    boards = [name for name in run.powers if name in layout.boards and name not in layout.outputs]
    return sums_of(layout, outputs_fed(layout, run.powers), boards)


def load_of(layout: Layout, supply: Supply) -> Load:
    """What a supply feeds, added up; nothing played yet."""
    outputs = outputs_fed(layout, supply.powers)
    boards = [name for name in supply.powers if name in layout.boards and name not in layout.outputs]
    own = {name: taken_by(layout, name) for name in outputs}
    unsaid = [name for name, one in own.items() if not one.stated and _has_a_draw(layout, name)]
    usual = tuple(name for name in unsaid if layout.outputs[name].kind is Kind.SERVO)
    silent = tuple(name for name in unsaid if name not in usual)
    return Load(supply, tuple(outputs), tuple(boards), sums_of(layout, outputs, boards), silent=silent, usual=usual)


def _has_a_draw(layout: Layout, name: str) -> bool:
    """A signal that is shown by its parts draws nothing itself."""
    output = layout.outputs[name]
    return output.kind is not Kind.SIGNAL or not any(aspect.parts for aspect in output.aspects)


def loads(layout: Layout, played: Iterable[Played]) -> list[Load]:
    """Every supply with its worst moment of all that was played, the first of several alike."""
    found = [load_of(layout, supply) for supply in layout.supplies.values()]
    for play in played:
        found = [_worse(layout, load, play) for load in found]
    return found


def _worse(layout: Layout, load: Load, play: Played) -> Load:
    own = {name: taken_by(layout, name) for name in load.outputs}
    told = told_to(layout, play.trace, own)
    all_steps = {
        name: steps(layout.outputs[name], own[name], told[name], play.until_us, _recharge_us(layout, name))
        for name in load.outputs
    }
    always = [Part(board, board_ua(layout, board), "on") for board in load.boards if board_ua(layout, board)]
    worst = _most(all_steps, always, play, lasting=False)
    lasting = _most(all_steps, always, play, lasting=True)
    return load._replace(worst=_greater(load.worst, worst), lasting=_greater(load.lasting, lasting))


def _recharge_us(layout: Layout, name: str) -> int:
    feed = layout.feeds.get(layout.outputs[name].feed or "")
    return feed.recharge_us if feed else 0


def _greater(first: Moment | None, second: Moment) -> Moment:
    return first if first is not None and first.ua >= second.ua else second


def _most(all_steps: dict[str, list[Step]], always: list[Part], play: Played, lasting: bool) -> Moment:
    """The instant at which the sum is greatest, looked at after all that changes in that instant."""
    changes = sorted(
        ((step.at_us, name, step) for name, row in all_steps.items() for step in row), key=lambda one: one[0]
    )
    now: dict[str, int] = dict.fromkeys(all_steps, 0)
    doing: dict[str, str] = {}
    base = sum(part.ua for part in always)
    total = best = base
    best_us, parts = 0, tuple(always)
    for number, (at_us, name, step) in enumerate(changes):
        ua = step.lasting_ua if lasting else step.ua
        total += ua - now[name]
        now[name], doing[name] = ua, MOVES if lasting and step.doing == STARTS else step.doing
        last_of_instant = number + 1 == len(changes) or changes[number + 1][0] != at_us
        if last_of_instant and total > best:
            drawing = [Part(one, amount, doing[one]) for one, amount in now.items() if amount]
            best, best_us, parts = total, at_us, (*always, *drawing)
    hall_s = None if play.hall_starts_s is None else play.hall_starts_s + best_us // 1_000_000
    return Moment(best, play.name, best_us, tuple(sorted(parts, key=lambda part: -part.ua)), hall_s)
