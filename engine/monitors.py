"""Rules as monitors: fed the truth of their conditions at settled instants, in order; they know no kernel and no names.

Truth is constant from one feed up to the next. A monitor keeps a verdict, when its rule broke, and the margin: by how
much the rule held, or failed, as a time in microseconds, a number of times, or in the unit of an output: the greatest
amount by which the sentence could be made stricter and still hold (less than nothing: by how much it would have to be
eased). `engine/README.md` has the formulas of metric temporal logic.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from enum import Enum
from typing import NamedTuple, Protocol

BREACHES = 100  # of one line of a rule are kept; the rest are counted
OBLIGATIONS = 10_000  # open at once in one line of a rule; past that the newest stands for all


class Verdict(Enum):
    """What a rule's line has come to, so far."""

    SILENT = "never came to it"  # what it speaks of has not happened
    HELD = "held"
    OPEN = "open"  # something has begun that the rule waits for the end of
    BROKEN = "broken"


class Amount(Enum):
    """What a margin is counted in."""

    TIME = "us"
    TIMES = "times"
    LEVEL = "level"  # the unit of the output that is asked


class Margin(NamedTuple):
    """By how much, and at which instant it came closest. At nothing, a rule is kept with nothing to spare, unless it
    asks for an earlier or a later (see each monitor)."""

    amount: float
    unit: Amount
    at_us: int


class Breach(NamedTuple):
    """`at_us` is when it was certain, `since_us` when what broke it began."""

    at_us: int
    since_us: int


class Monitor(Protocol):
    """One line of a rule. `settle` is called at each instant at which one of its conditions may have changed, and at
    `next_due`, at which its verdict may change by itself."""

    breaches: list[Breach]
    broken: int
    margin: Margin | None

    def settle(self, at_us: int, holds: Sequence[bool]) -> None: ...

    def next_due(self) -> int | None: ...

    def finish(self, at_us: int) -> Verdict:
        """The verdict if everything ended at this instant; may be asked again and again."""


class _Base:
    """What all monitors keep."""

    def __init__(self) -> None:
        self.breaches: list[Breach] = []
        self.broken = 0
        self.margin: Margin | None = None
        self.spoke = False  # whether it came to anything

    def next_due(self) -> int | None:
        return None

    def _break(self, at_us: int, since_us: int) -> None:
        self.broken += 1
        if len(self.breaches) < BREACHES:
            self.breaches.append(Breach(at_us, since_us))

    def _close(self, amount: float, at_us: int, unit: Amount = Amount.TIME) -> None:
        """It came so close; the closest counts, and of equals the first."""
        if self.margin is None or amount < self.margin.amount:
            self.margin = Margin(amount, unit, at_us)

    def finish(self, at_us: int) -> Verdict:
        if self.broken:
            return Verdict.BROKEN
        return Verdict.HELD if self.spoke else Verdict.SILENT


class Never(_Base):
    """`never A while B`: its parts, the conditions joined by `and`, never all hold at once.

    Margin: the shortest time within which each of the parts held once; where all held at once, less than nothing by
    the longest time they did. A single part has none while it never holds.
    """

    def __init__(self, parts: int) -> None:
        super().__init__()
        self._last: list[int | None] = [None] * parts  # until when each part held last
        self._held = [False] * parts
        self._since: int | None = None

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        last, held = self._last, self._held
        rises = False
        for number, now in enumerate(holds):
            if held[number] or now:
                last[number] = at_us
            rises = rises or (now and not held[number])
            held[number] = now
        if all(holds):
            self.spoke = True
            if self._since is None:
                self._since = at_us
                self._break(at_us, at_us)
            self._close(self._since - at_us, self._since)
            return
        if self._since is not None:
            self._close(self._since - at_us, self._since)
            self._since = None
        if rises and len(last) > 1:
            known = [one for one in last if one is not None]
            if len(known) == len(last):
                self.spoke = True
                self._close(at_us - min(known), at_us)

    def finish(self, at_us: int) -> Verdict:
        if self._since is not None:
            self._close(self._since - at_us, self._since)
        return Verdict.BROKEN if self.broken else Verdict.HELD


class NeverLonger(_Base):
    """`never A while B for longer than d`. Margin: d less the longest time for which all held without a break."""

    def __init__(self, longest_us: int) -> None:
        super().__init__()
        self._longest_us = longest_us
        self._since: int | None = None
        self._told = False

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        now = all(holds)
        since = self._since
        if since is not None:
            self._close(self._longest_us - (at_us - since), since)
            due = since + self._longest_us
            if not self._told and (at_us > due or (at_us == due and now)):
                self._told = True
                self._break(due, since)
        if now and since is None:
            self.spoke, self._told, self._since = True, False, at_us
            self._close(self._longest_us, at_us)
        elif not now:
            self._since = None

    def next_due(self) -> int | None:
        return None if self._since is None or self._told else self._since + self._longest_us

    def finish(self, at_us: int) -> Verdict:
        if self._since is not None:
            self.settle(at_us, (True,))
        if self.broken:
            return Verdict.BROKEN
        return Verdict.OPEN if self._since is not None else Verdict.HELD


class Lead(_Base):
    """`A at least d before E`: whenever E begins, A has held for d without a break, and still does.

    Margin: how long A had held then, less d; where it did not hold, less than nothing by d and the wait until it did.
    What holds from the first instant on has always held, and E then begins nowhere.
    """

    def __init__(self, lead_us: int) -> None:
        super().__init__()
        self._lead_us = lead_us
        self._began = False  # whether anything has been fed yet
        self._since: int | None = None  # since when A holds; None: always
        self._holds = False
        self._event = False
        self._missed: int | None = None  # an E without A: until A comes

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        lead, event = holds
        if lead and not self._holds:
            self._since = at_us if self._began else None
            if self._missed is not None:
                self._close(self._missed - at_us - self._lead_us, self._missed)
                self._missed = None
        self._holds = lead
        if event and not self._event and self._began:
            self._judge(at_us)
        self._event, self._began = event, True

    def _judge(self, at_us: int) -> None:
        self.spoke = True
        if not self._holds:
            self._break(at_us, at_us)
            self._close(-self._lead_us, at_us)
            self._missed = at_us if self._missed is None else self._missed
        elif self._since is not None:
            self._close(at_us - self._since - self._lead_us, at_us)
            if at_us - self._since < self._lead_us:
                self._break(at_us, self._since)

    def finish(self, at_us: int) -> Verdict:
        if self._missed is not None:
            self._close(self._missed - at_us - self._lead_us, self._missed)
        return super().finish(at_us)


class Earlier(_Base):
    """`A before B`: whenever B begins, A has held at an earlier instant since B held last.

    Margin: how much earlier it first did; nothing at the same instant, which is not earlier and breaks the rule; less
    than nothing by the wait until it did. What holds from the first instant on has always held, and B then begins
    nowhere.
    """

    def __init__(self) -> None:
        super().__init__()
        self._began = False
        self._first: int | None = None
        self._always = False
        self._event = False
        self._missed: int | None = None

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        earlier, event = holds
        if event and not self._event and self._began:
            self._judge(at_us)
        if earlier and self._missed is not None:
            self._close(self._missed - at_us, self._missed)
            self._missed = None
        if event:
            self._first, self._always = None, False
        elif earlier and self._first is None and not self._always:
            self._first, self._always = (at_us, False) if self._began else (None, True)
        self._event, self._began = event, True

    def _judge(self, at_us: int) -> None:
        self.spoke = True
        if self._always:
            return
        if self._first is not None and self._first < at_us:
            self._close(at_us - self._first, at_us)
            return
        self._break(at_us, at_us)
        self._close(0, at_us)
        self._missed = at_us if self._missed is None else self._missed

    def finish(self, at_us: int) -> Verdict:
        if self._missed is not None:
            self._close(self._missed - at_us, self._missed)
        return super().finish(at_us)


class Follows(_Base):
    """`whenever A, B within d and for e`: each time A begins, B holds at some instant not later than d after it, and
    from there on for e. A that holds from the first instant on begins there.

    Margin: d less the time that B took. What has not come at the end, and still may, is open.
    """

    def __init__(self, within_us: int, for_us: int = 0) -> None:
        super().__init__()
        self._within_us = within_us
        self._for_us = for_us
        self._open: deque[int] = deque()  # instants at which A began, the first first
        self._late: deque[int] = deque()  # those whose time is over: only the margin still waits for B
        self._event = False
        self._since: int | None = None  # since when B holds

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        event, answer = holds
        self._answered(at_us)
        if not answer or self._since is None:
            self._since = at_us if answer else None
        if event and not self._event:
            self.spoke = True
            if len(self._open) < OBLIGATIONS:
                self._open.append(at_us)
        self._event = event
        self._answered(at_us)
        self._overdue(at_us)

    def _answered(self, at_us: int) -> None:
        """Those that B, holding up to now, has answered."""
        if self._since is None:
            return
        for waiting in (self._late, self._open):
            while waiting and max(self._since, waiting[0]) + self._for_us <= at_us:
                took = max(self._since, waiting[0]) - waiting[0]
                if took > self._within_us and waiting is self._open:
                    break  # too late: `_overdue` tells it
                self._close(self._within_us - took, waiting.popleft())

    def _overdue(self, at_us: int) -> None:
        """Those that can't be answered in time any more."""
        while self._open:
            began = self._open[0]
            due = began + self._within_us
            may = self._since is not None and max(self._since, began) <= due
            if may or at_us < due:
                return
            self._open.popleft()
            self._break(max(due, began), began)
            self._close(self._within_us - (at_us - began), began)
            if len(self._late) < OBLIGATIONS:
                self._late.append(began)
            self._answered(at_us)

    def next_due(self) -> int | None:
        if not self._open:
            return None
        began = self._open[0]
        if self._since is not None and max(self._since, began) <= began + self._within_us:
            return max(self._since, began) + self._for_us
        return began + self._within_us

    def finish(self, at_us: int) -> Verdict:
        self._answered(at_us)
        for began in self._late:
            self._close(self._within_us - (at_us - began), began)
        if self.broken:
            return Verdict.BROKEN
        return Verdict.OPEN if self._open else super().finish(at_us)


class AtMost(_Base):
    """`at most N times A within d`: no N + 1 beginnings of A lie within d. Margin: the time of the closest N + 1,
    less d; within d to the microsecond breaks it. Without d: N less the number of beginnings."""

    def __init__(self, count: int, within_us: int | None) -> None:
        super().__init__()
        self._count = count
        self._within_us = within_us
        self._starts: deque[int] = deque(maxlen=count + 1)
        self._times = 0
        self._holds: bool | None = None

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        (now,) = holds
        if now and self._holds is False:
            self.spoke = True
            self._times += 1
            self._starts.append(at_us)
            self._judge(at_us)
        self._holds = now

    def _judge(self, at_us: int) -> None:
        if self._within_us is None:
            self._close(self._count - self._times, at_us, Amount.TIMES)
            if self._times > self._count:
                self._break(at_us, at_us)
        elif len(self._starts) > self._count:
            took = at_us - self._starts[0]
            self._close(took - self._within_us, at_us)
            if took <= self._within_us:
                self._break(at_us, self._starts[0])


class AtLeast(_Base):
    """`at least N times A within d`: from any instant on, N beginnings of A come within d. Margin: d less the longest
    time that N took. Without d: the number of beginnings less N; fewer at the end are open, for more may come."""

    def __init__(self, count: int, within_us: int | None) -> None:
        super().__init__()
        self._count = count
        self._within_us = within_us
        self._from: deque[int] = deque(maxlen=count)  # the instants from which the next N are counted
        self._times = 0
        self._holds: bool | None = None
        self._told = -1  # the instant from which too few were told last

    def settle(self, at_us: int, holds: Sequence[bool]) -> None:
        (now,) = holds
        if self._holds is None:
            self._from.append(at_us)
        self._overdue(at_us, now)
        if now and self._holds is False:
            self._times += 1
            self.spoke = True
            if self._within_us is not None and self._times >= self._count:
                first = self._from[0]
                self._close(self._within_us - (at_us - first), first)
            self._from.append(at_us)
        self._holds = now

    def _overdue(self, at_us: int, now: bool) -> None:
        if self._within_us is None or self._holds is None:
            return
        waits = self._waits_from()
        due = waits + self._within_us
        completes = now and self._holds is False and self._times + 1 >= self._count
        if self._told < waits and (at_us > due or (at_us == due and not completes)):
            self._told = waits
            self.spoke = True
            self._break(due, waits)
            self._close(self._within_us - (at_us - waits), waits)

    def _waits_from(self) -> int:
        """The instant whose N times are not complete yet."""
        return self._from[0]

    def next_due(self) -> int | None:
        if self._within_us is None or self._holds is None or self._told >= self._waits_from():
            return None
        return self._waits_from() + self._within_us

    def finish(self, at_us: int) -> Verdict:
        if self._holds is None:
            return Verdict.SILENT
        if self._within_us is None:
            self.margin = Margin(self._times - self._count, Amount.TIMES, at_us)
            return Verdict.HELD if self._times >= self._count else Verdict.OPEN
        self._overdue(at_us, False)
        if self.broken:
            self._close(self._within_us - (at_us - self._waits_from()), self._waits_from())
            return Verdict.BROKEN
        return Verdict.HELD if self._times >= self._count else Verdict.OPEN
