"""Advice about show days: what would never be begun, scenes that begin by themselves, too, and what meets.

Reckons with an ordinary day of 24 hours; the nights when clocks change are the calendar's business.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from engine.layout import Place
from engine.program import Again, Day, DayAfter, DayAt, DayEntry, DayEvery, OnButton, Program, Scene
from scenes.problems import Problem
from scenes.quantities import say_us
from scenes.walking import fixed_us, guards

DAY_S = 86_400
MOST_TIMES = 2_000  # of one entry that are looked at; more tell nothing new
_AGAIN = {
    Again.CARRY_ON: "it carries on, and is not begun again",
    Again.START_OVER: "it starts over, and never comes to its end",
    Again.ONCE_MORE_AFTER: "it runs once more after each time, without a pause",
}


def days(program: Program) -> Iterator[Problem]:
    """Everything that is odd about a program's show days."""
    for day in program.days.values():
        hours = _Hours(day, program)
        yield from _closing(day, program)
        yield from hours.quiet_hours()
        yield from _own_heads(hours.entries, program)
        for entry in hours.entries:
            yield from hours.never(entry)
            yield from _too_often(entry, program)
        yield from hours.meetings()


def _advice(place: Place, what: str, instead: str, *also: tuple[Place, str]) -> Problem:
    return Problem(place, what, instead, advice=True, also=also)


def _clock(second: int) -> str:
    second %= DAY_S
    seconds = f":{second % 60:02d}" if second % 60 else ""
    return f"{second // 3600}:{second // 60 % 60:02d}{seconds}"


class _Hours:
    """A day in seconds from its opening."""

    def __init__(self, day: Day, program: Program) -> None:
        self.day = day
        self.program = program
        self.entries = [entry for entry in day.entries if entry.scene in program.scenes]
        self.end = DAY_S if day.closes_s is None else (day.closes_s - day.opens_s) % DAY_S or DAY_S
        self.said = f"{_clock(day.opens_s)} to {_clock(day.opens_s + self.end)}"
        self.quiet = [(self.after(one.from_s), self.after(one.to_s)) for one in day.quiet]

    def after(self, second_of_day: int) -> int:
        return (second_of_day - self.day.opens_s) % DAY_S

    def is_quiet(self, at: int) -> bool:
        return any(begin <= at < end for begin, end in self.quiet)

    def times(self, entry: DayEntry) -> list[int]:
        """When it is due while the day is open; not all of very many."""
        clock = self.program.layout.clock
        match entry:
            case DayAt(second_of_day=second, layout_time=True):
                first = (second - clock.starts_s) % DAY_S
                return [at // clock.ratio for at in range(first, self.end * clock.ratio, DAY_S)][:MOST_TIMES]
            case DayAt(second_of_day=second):
                at = self.after(second)
                return [at] if at < self.end else []
            case DayEvery(every_s=every_s, between_s=between):
                first, last = map(self.after, between) if between else (0, self.end)
                return list(range(first, min(last + 1, self.end), every_s))[:MOST_TIMES]
            case DayAfter():
                return []

    def quiet_hours(self) -> Iterator[Problem]:
        for one, (begin, end) in zip(self.day.quiet, self.quiet, strict=True):
            if begin >= self.end or end < begin:
                what = f"This does not lie within the hours in which the day is open, {self.said}."
                yield _advice(one.place, what, "Nothing is kept quiet by it; write hours within those, or change them.")

    def never(self, entry: DayEntry) -> Iterator[Problem]:
        """A line that begins nothing."""
        if isinstance(entry, DayAfter):
            return
        times = self.times(entry)
        if not times:
            yield _advice(entry.place, self._why_never(entry), f"`{entry.scene}` is never begun by it.")
        elif all(map(self.is_quiet, times)):
            what = f"The day is quiet then, and nothing begins: `{entry.scene}` is always left out."
            yield _advice(entry.place, what, "Write another time, or change the quiet hours.")

    def _why_never(self, entry: DayEntry) -> str:
        if isinstance(entry, DayAt) and entry.layout_time:
            clock = self.program.layout.clock
            fast = "as fast as" if clock.ratio == 1 else f"{clock.ratio} times as fast as"
            shows = f"it shows {_clock(clock.starts_s)} at opening, and runs {fast} the hall's"
            return f"The layout clock does not come to {_clock(entry.second_of_day)} while the day is open: {shows}."
        if isinstance(entry, DayEvery) and entry.between_s and self.after(entry.between_s[0]) < self.end:
            first, last = map(_clock, entry.between_s)
            return f"No time lies between {first} and {last}: the second is earlier than the first."
        return f"The day is open from {self.said}, and this is never within that."

    def meetings(self) -> Iterator[Problem]:
        """Two scenes that are begun at one time and tell the same outputs."""
        scenes = self.program.scenes
        due = [{at for at in self.times(one) if not self.is_quiet(at)} for one in self.entries]
        busy = [(one, at) for one, at in zip(self.entries, due, strict=True) if at]
        for (first, ours), (second, theirs) in combinations(busy[:200], 2):
            at = min(ours & theirs, default=None) if first.scene != second.scene else None
            both = [name for name in scenes[first.scene].writes if name in scenes[second.scene].writes]
            if at is None or not both:
                continue
            what = (
                f"`{first.scene}` and `{second.scene}` are both begun at {_clock(self.day.opens_s + at)}, and both "
                f"tell `{both[0]}` what to do."
            )
            yield _advice(second.place, what, "Let them begin at different times.", (first.place, "the other line"))


def _closing(day: Day, program: Program) -> Iterator[Problem]:
    if day.closes_s is None:
        what = (
            f"Nothing says when `{day.name}` closes: it goes on for 24 hours, and what runs is never brought to rest."
        )
        yield _advice(day.place, what, "Write `closes at 17:00`, and below `at closing` what is done then.")
    closing = program.scenes.get(day.closing)
    names = guards(closing, program.layout) if closing else []
    if closing and names:
        what = f"`{names[0]}` is guarded: when the day is over it goes to its safe state, whatever is done here."
        yield _advice(closing.place, what, "Leave it out, unless it is to be there only for a moment.")


def _own_heads(entries: Sequence[DayEntry], program: Program) -> Iterator[Problem]:
    """Scenes of the day that begin by a head of their own; a button is a hand's doing."""
    for entry in {entry.scene: entry for entry in reversed(entries)}.values():
        scene = program.scenes[entry.scene]
        head = next((head for head in scene.heads if not isinstance(head, OnButton)), None)
        if head is not None:
            what = f"`{scene.name}` begins by itself, too, apart from what the day says."
            yield _advice(entry.place, what, "Take one of the two out.", (head.place, "where it says so"))


def _too_often(entry: DayEntry, program: Program) -> Iterator[Problem]:
    if not isinstance(entry, DayEvery):
        return
    scene = program.scenes[entry.scene]
    takes_us = _at_least_us(scene)
    if takes_us > entry.every_s * 1_000_000:
        what = f"`{scene.name}` takes {say_us(takes_us)} or more, so it still runs when it is due again."
        yield _advice(entry.place, what, f"Then {_AGAIN[scene.again]}; write a longer time.")


def _at_least_us(scene: Scene) -> int:
    """How long its lines take at the least, as far as they tell."""
    return sum(fixed_us(line) or 0 for line in scene.block)
