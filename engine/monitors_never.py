"""What must never be so: monitors of `never` and `always`, with and without a time. See `engine.monitors`."""

from __future__ import annotations

from collections.abc import Sequence

from engine.monitors import Kept, Verdict


class Never(Kept):
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
        for number, now in enumerate(holds):
            if held[number] or now:
                last[number] = at_us
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
        if len(last) > 1:
            known = [one for one in last if one is not None]
            if len(known) == len(last):
                self.spoke = True
                self._close(at_us - min(known), at_us)

    def finish(self, at_us: int) -> Verdict:
        if self._since is not None:
            self._close(self._since - at_us, self._since)
        return Verdict.BROKEN if self.broken else Verdict.HELD


class NeverLonger(Kept):
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
