"""How often something may begin: monitors of `at most` and `at least ... times`. See `engine.monitors`."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from engine.monitors import Amount, Kept, Margin, Verdict


class AtMost(Kept):
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


class AtLeast(Kept):
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
