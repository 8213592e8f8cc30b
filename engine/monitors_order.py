"""What must come before or after something else: monitors of leads, `before` and `whenever`. See `engine.monitors`."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from engine.monitors import Kept, Verdict

OBLIGATIONS = 10_000  # open at once in one line of a rule; past that the newest stands for all


class Lead(Kept):
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


class Earlier(Kept):
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


class Follows(Kept):
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
