"""A show day at work: a world around another that begins scenes when they are due, keeps quiet hours, and closes.

Owns what is done about times that were missed and about the end. Knows no calendar: its plan says what is due.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping
from enum import Enum
from typing import NamedTuple, Protocol

from engine.day_clock import LayoutClock
from engine.drive import World
from engine.events import Close, Input, Quieten, Remark, Stand, StartScene, StopScene
from engine.kernel import Kernel
from engine.layout import NOWHERE, Place
from engine.program import Again, Day, DayAfter, DayAt, DayEntry, DayEvery
from engine.swapping import alike

GRACE_US = 600_000_000  # what is missed by less is done at once, what by more is left out
LATE_US = 1_000_000  # what is done within this time is done on time
CLOSES_WITHIN_US = 600_000_000  # the lines of `at closing` may take so long; then the show ends without them
ENDS_WITHIN_US = 120_000_000  # and scenes so long for their `when stopped`


class Times(Protocol):
    """What `engine.day` works out. Here it is only asked: the calendar library stays away from the kernel."""

    day: Day
    clock: LayoutClock
    opens_us: int
    ends_us: int
    closes: bool
    quiet: tuple[tuple[int, int], ...]

    def of(self, day: Day) -> Times: ...

    def is_quiet(self, at_us: int) -> bool: ...

    def following(self, number: int, after_us: int) -> int | None: ...


class Phase(Enum):
    BEFORE = "before it opens"
    OPEN = "open"
    CLOSING = "closing"  # the lines of `at closing` run
    ENDING = "ending"  # every other scene ends
    LEAVING = "leaving"  # what `at closing` held is let go, as it is
    OVER = "over"


class Happened(NamedTuple):
    """What came of one thing that was due. `late_us` after its time; `left_out` says why, if it was."""

    at_us: int
    late_us: int
    what: str  # "begins", or what its being begun again has come to; for the hours what they do
    entry: DayEntry | None = None
    left_out: str = ""
    missed: int = 0  # earlier times of the same entry that were missed, too


class Coming(NamedTuple):
    """What is due next of one line of the day, or one of its hours. `quiet`: it would be left out."""

    at_us: int
    what: str  # for the hours, what they do; else empty
    entry: DayEntry | None = None
    quiet: bool = False


AGAIN = {
    Again.CARRY_ON: "runs already, carries on",
    Again.START_OVER: "runs already, from the start",
    Again.ONCE_MORE_AFTER: "runs already, once more after it",
}


class ShowDay:
    """The day's own world. `log` is all that has come of it; `over` whether it has closed and everything has ended.

    `now` is the present, where instants may be worked late: a program that was asleep finds out by it. Without it
    every instant is worked on time, as in a rehearsal. `begun`: when a show before this one last began what stands in a
    line, by its number; that is not begun again for a time that was missed.
    """

    def __init__(
        self,
        kernel: Kernel,
        plan: Times,
        around: World,
        now: Callable[[], int] | None = None,
        begun: Mapping[int, int] | None = None,
    ) -> None:
        self.log: list[Happened] = []
        self.phase = Phase.BEFORE
        self._kernel = kernel
        self._plan = plan
        self._around = around
        self._now = now
        self._begun = begun or {}
        self._limit_us = 0
        self._closing_done = False
        self._due: list[tuple[int, int, int]] = []  # a heap: instant, rank, number of the entry or of the hour
        self._hours: list[tuple[str, Callable[[int, int], list[Input]]]] = []
        self._times_set = kernel.clock.times_set
        self._program = kernel.program
        plan.clock = kernel.clock
        kernel.quiet = True
        kernel.cast.hears = self._heard
        self._plan_all(plan.opens_us - 1)

    def _plan_all(self, after_us: int) -> None:
        """All that is due later than an instant; before it opens, and of its closing, whatever is still to come."""
        plan = self._plan
        if self.phase is Phase.BEFORE:
            self._hour(plan.opens_us, "opens", self._opens)
        for from_us, to_us in plan.quiet:
            if plan.opens_us <= from_us < to_us:
                if from_us > after_us:
                    self._hour(from_us, "quiet begins", self._quiet_begins)
                if to_us > after_us:
                    self._hour(to_us, "quiet ends", self._quiet_ends)
        if plan.closes:
            self._hour(plan.ends_us, "closes", self._closes)
        for number in range(len(plan.day.entries)):
            self._plan_next(number, max(plan.opens_us - 1, after_us))

    def _program_was_swapped(self, now_us: int) -> list[Input]:
        """Another text: the day's lines stand elsewhere, or are others. What they had before now is not begun."""
        self._program = self._kernel.program
        before, day = self._plan.day, self._program.days.get(self._plan.day.name)
        if day is None:
            return []
        clock = self._plan.clock
        self._plan = self._plan.of(day)
        self._plan.clock = clock
        if alike(before, day) or self.phase not in (Phase.BEFORE, Phase.OPEN):
            return []
        ended = [before.entries[number] for _, rank, number in self._due if rank == 2]
        self._due, self._hours, self._begun = [], [], {}
        self._plan_all(now_us)
        for number, entry in enumerate(day.entries):
            if any(alike(one, entry) for one in ended):
                heapq.heappush(self._due, (now_us, 2, number))
        return [Quieten(self.phase is Phase.BEFORE or self._plan.is_quiet(now_us))]

    @property
    def name(self) -> str:
        return self._plan.day.name

    @property
    def over(self) -> bool:
        return self.phase is Phase.OVER

    def coming(self, most: int) -> list[Coming]:
        """What is due next, in order: of each line once, and the day's hours."""
        if self.phase not in (Phase.BEFORE, Phase.OPEN) or self._kernel.closed:
            return []
        entries, plan = self._plan.day.entries, self._plan
        return [
            Coming(due_us, "", entries[number], plan.is_quiet(due_us))
            if rank
            else Coming(due_us, self._hours[number][0])
            for due_us, rank, number in heapq.nsmallest(most, self._due)
        ]

    def _hour(self, at_us: int, name: str, deed: Callable[[int, int], list[Input]]) -> None:
        heapq.heappush(self._due, (at_us, 0, len(self._hours)))
        self._hours.append((name, deed))

    def _plan_next(self, number: int, after_us: int) -> None:
        due = self._plan.following(number, after_us)
        if due is not None:
            heapq.heappush(self._due, (due, 1, number))

    def _clock_was_set(self) -> None:
        """A hand has set the layout clock: what goes by it is due at other times."""
        self._times_set = self._kernel.clock.times_set
        entries = self._plan.day.entries
        by_it = [n for n, entry in enumerate(entries) if isinstance(entry, DayAt) and entry.layout_time]
        self._due = [one for one in self._due if one[1] != 1 or one[2] not in by_it]
        heapq.heapify(self._due)
        for number in by_it:
            self._plan_next(number, self._kernel.stage.now_us)

    # --- as a world ------------------------------------------------------------------------------------------------

    def next_due(self) -> int | None:
        due, theirs = self._next(), self._around.next_due()
        if due is None or theirs is None:
            return theirs if due is None else due
        return min(due, theirs)

    def _next(self) -> int | None:
        if self.phase in (Phase.CLOSING, Phase.ENDING):
            due = self._limit_us
        elif self._due and not self._kernel.closed:
            due = self._due[0][0]
        else:
            return None
        due = max(due, self._kernel.stage.now_us, self._kernel.begins_us)
        present = self._now() if self._now is not None else due
        return present if present - due > LATE_US else due  # what was missed is done now, not in the past

    def advance(self, now_us: int) -> list[Input]:
        out = self._around.advance(now_us)
        if self._now is not None and self._now() - now_us > LATE_US:
            return out  # the kernel works what was due in the past; ours waits until it has come to the present
        if self._program is not self._kernel.program:
            out += self._program_was_swapped(now_us)
        if self._times_set != self._kernel.clock.times_set:
            self._clock_was_set()
        if self._kernel.closed and self.phase in (Phase.BEFORE, Phase.OPEN, Phase.CLOSING):
            self.phase = Phase.OVER  # somebody has ended the show
        while self._due and self._due[0][0] <= now_us and self.phase in (Phase.BEFORE, Phase.OPEN):
            due_us, rank, number = heapq.heappop(self._due)
            out += self._begin(number, due_us, now_us) if rank else self._hours[number][1](due_us, now_us)
        return out + self._end(now_us)

    # --- hours -----------------------------------------------------------------------------------------------------

    def _opens(self, due_us: int, now_us: int) -> list[Input]:
        self.phase = Phase.OPEN
        return self._tell(due_us, now_us, "opens", self._plan.day.opens_place, Quieten(self._plan.is_quiet(now_us)))

    def _quiet_begins(self, due_us: int, now_us: int) -> list[Input]:
        return self._tell(due_us, now_us, "quiet begins", NOWHERE, Quieten(self._plan.is_quiet(now_us)))

    def _quiet_ends(self, due_us: int, now_us: int) -> list[Input]:
        return self._tell(due_us, now_us, "quiet ends", NOWHERE, Quieten(self._plan.is_quiet(now_us)))

    def _closes(self, due_us: int, now_us: int) -> list[Input]:
        day = self._plan.day
        self.phase, self._limit_us = Phase.CLOSING, now_us + CLOSES_WITHIN_US
        out = self._tell(due_us, now_us, "closes", day.closes_place, Quieten(True))
        if not day.closing or self._kernel.operator.stopped:
            self._closing_done = True
            return out
        return [*out, StartScene(day.closing, self._kernel.program.scenes[day.closing].place, f"{day.name} closes")]

    def _tell(self, due_us: int, now_us: int, what: str, place: Place, *inputs: Input) -> list[Input]:
        self.log.append(Happened(now_us, now_us - due_us, what))
        passed = now_us - due_us > GRACE_US and what != "closes"  # nobody wants to hear of an hour long past
        return [*inputs] if passed else [*inputs, Remark(f"{self._plan.day.name}: {what}", place)]

    # --- what is run -----------------------------------------------------------------------------------------------

    def _heard(self, scene: str) -> None:
        """A scene's last line has run."""
        if scene == self._plan.day.closing:
            self._closing_done = True
        if self.phase is not Phase.OPEN:
            return
        for number, entry in enumerate(self._plan.day.entries):
            if isinstance(entry, DayAfter) and entry.after == scene:
                heapq.heappush(self._due, (self._kernel.stage.now_us, 2, number))

    def _begin(self, number: int, due_us: int, now_us: int) -> list[Input]:
        """Begin a scene that is due, or leave it out. Of several times of one entry that were missed only the last."""
        entry, missed = self._plan.day.entries[number], 0
        if isinstance(entry, DayEvery) and now_us - due_us > LATE_US:
            while (later := self._plan.following(number, due_us)) is not None and later <= now_us:
                due_us, missed = later, missed + 1
        if not isinstance(entry, DayAfter):
            self._plan_next(number, due_us)
        late_us = now_us - due_us
        why = self._why_not(due_us, now_us, missed) or self._begun_before(number, due_us, now_us)
        run = self._kernel.cast.runs.get(entry.scene)
        what = "begins" if run is None else AGAIN[run.scene.again]
        self.log.append(Happened(now_us, late_us, what, entry, why, missed))
        if why:
            return [Remark(f"{entry.scene} is left out ({entry.words}): {why}", entry.place)]
        late = f", {_minutes(late_us)} late" if late_us > LATE_US else ""
        return [StartScene(entry.scene, entry.place, f"{entry.words}{late}")]

    def _why_not(self, due_us: int, now_us: int, missed: int) -> str:
        if now_us >= self._plan.ends_us:
            return "the day has closed"
        if self._kernel.operator.stopped:
            return "everything is stopped"
        if self._plan.is_quiet(now_us) or self._plan.is_quiet(due_us):
            return "it is quiet"
        if now_us - due_us > GRACE_US:
            return f"missed by {_minutes(now_us - due_us)}" + (f", the last of {missed + 1}" if missed else "")
        return ""

    def _begun_before(self, number: int, due_us: int, now_us: int) -> str:
        """A show that was killed has begun it, and this one makes up for what was missed only."""
        at_us = self._begun.get(number)
        if at_us is None or at_us < due_us or now_us - due_us <= LATE_US:
            return ""
        return f"begun {_minutes(now_us - at_us)} ago, before this show"

    # --- the end ---------------------------------------------------------------------------------------------------

    def _end(self, now_us: int) -> list[Input]:
        """One step towards the end; the next is taken when the kernel has worked this one."""
        kernel, day = self._kernel, self._plan.day
        if self.phase is Phase.CLOSING and (self._closing_done or now_us >= self._limit_us):
            late = [] if self._closing_done else [Remark("`at closing` took too long, and was ended", day.closes_place)]
            self.phase, self._limit_us = Phase.ENDING, now_us + ENDS_WITHIN_US
            return [*late, Close(day.closing)]
        if self.phase is Phase.ENDING and (kernel.cast.runs.keys() <= {day.closing} or now_us >= self._limit_us):
            self.phase = Phase.LEAVING
            return [StopScene(day.closing, day.closes_place, "the show is over")]
        if self.phase is Phase.LEAVING:
            self.phase = Phase.OVER
            self.log.append(Happened(now_us, 0, "is over"))
            closing = kernel.program.scenes.get(day.closing)
            held = closing.writes if closing else ()
            outputs = kernel.program.layout.outputs.values()
            safe = [Stand(output.name, True) for output in outputs if output.guarded and output.name in held]
            return [*safe, Remark(f"{day.name}: is over", day.closes_place)]
        return []


def _minutes(us: int) -> str:
    """`40 s`, `12 min`, `2 h 5 min`: nobody wants the milliseconds of a lateness."""
    minutes, seconds = divmod(us // 1_000_000, 60)
    hours, minutes = divmod(minutes, 60)
    if not hours and not minutes:
        return f"{seconds} s"
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{minutes} min" if minutes else "") if part)
