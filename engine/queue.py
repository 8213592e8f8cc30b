"""The queue of what is due: a heap keyed (due, priority, sequence), so that equal instants keep the order asked for."""

from __future__ import annotations

import heapq
from typing import Protocol

INPUT, GUARD, LINE = 0, 1, 2


class Sleeper(Protocol):
    """Something that waits for an instant. `timer` is the sequence number it waits under; another is stale."""

    timer: int


class Queue:
    """Entries are never searched for: a sleeper that is told to forget its timer is skipped when its turn comes."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, int, Sleeper]] = []
        self._sequence = 0

    def push(self, due_us: int, priority: int, sleeper: Sleeper) -> None:
        """Wake the sleeper at an instant. It has one timer: a second push replaces the first."""
        self._sequence = sequence = self._sequence + 1
        sleeper.timer = sequence
        heapq.heappush(self._heap, (due_us, priority, sequence, sleeper))

    def next_due(self) -> int | None:
        """The instant of the first entry that is not stale."""
        heap = self._heap
        while heap:
            due_us, _, sequence, sleeper = heap[0]
            if sleeper.timer == sequence:
                return due_us
            heapq.heappop(heap)
        return None

    def due(self, now_us: int) -> bool:
        """Whether an entry, stale or not, is due by now."""
        return bool(self._heap) and self._heap[0][0] <= now_us

    def alarm_due(self, now_us: int) -> Sleeper | None:
        """The next sleeper due by now that is no line, its timer forgotten."""
        heap = self._heap
        while heap and heap[0][0] <= now_us and (heap[0][1] != LINE or heap[0][3].timer != heap[0][2]):
            _, _, sequence, sleeper = heapq.heappop(heap)
            if sleeper.timer == sequence:
                sleeper.timer = 0
                return sleeper
        return None

    def lines_due(self, now_us: int) -> list[tuple[int, Sleeper]]:
        """All lines due by now, in the order asked for, with their timers, which may go stale before their turn."""
        heap, due = self._heap, []
        while heap and heap[0][0] <= now_us and heap[0][1] == LINE:
            _, _, sequence, sleeper = heapq.heappop(heap)
            if sleeper.timer == sequence:
                due.append((sequence, sleeper))
        return due
