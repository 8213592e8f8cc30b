"""A thread that keeps time: it sleeps until shortly before an instant, then looks at the clock until it has come.

An event loop's timers are a millisecond coarse; this one is not. Knows nothing of what is done at the instant.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from typing import NamedTuple

SPIN_US = 300  # before the instant; what a sleep oversleeps on a quiet machine fits into it
LONGEST_SLEEP_US = 1_000_000
REMEMBERED = 4_096  # commands whose lateness is kept


def monotonic_us() -> int:
    """Microseconds of a clock that nobody sets."""
    return time.monotonic_ns() // 1_000


class Sender:
    """Calls `work` whenever it is due. `work` does all that is due now and says when it wants to be called again.

    None: only when somebody wakes it. It is never called early, and at once when it is late. If it raises, the thread
    ends and `failed` is called with what it raised.
    """

    def __init__(
        self,
        work: Callable[[], int | None],
        now_us: Callable[[], int] = monotonic_us,
        failed: Callable[[BaseException], None] | None = None,
        name: str = "sender",
    ) -> None:
        self._work = work
        self._now_us = now_us
        self._failed = failed
        self._woken = threading.Event()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wake(self) -> None:
        """Something new is due, perhaps sooner than what it sleeps for."""
        self._woken.set()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End after the work under way."""
        self._stopping = True
        self._woken.set()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join(timeout_s)

    def _run(self) -> None:
        try:
            while not self._stopping:
                self._woken.clear()  # before the work: what comes in during it is seen by the next
                self._sleep_until(self._work())
        except BaseException as raised:
            if self._failed is None:
                raise
            self._failed(raised)

    def _sleep_until(self, due_us: int | None) -> None:
        while not self._woken.is_set():
            left = LONGEST_SLEEP_US if due_us is None else due_us - self._now_us()
            if left <= SPIN_US:
                break
            self._woken.wait((min(left, LONGEST_SLEEP_US) - SPIN_US) / 1_000_000)
        if due_us is None or self._woken.is_set():
            return
        while self._now_us() < due_us:
            pass


class LatenessNow(NamedTuple):
    """How late commands left, of the last REMEMBERED ones; microseconds."""

    commands: int
    p50_us: int
    p99_us: int
    worst_us: int


class Lateness:
    """Remembers how late things were. One thread notes, any thread asks."""

    def __init__(self) -> None:
        self._late: deque[int] = deque(maxlen=REMEMBERED)
        self._lock = threading.Lock()
        self._count = 0

    def note(self, late_us: int) -> None:
        with self._lock:
            self._late.append(late_us)
            self._count += 1

    def now(self) -> LatenessNow:
        with self._lock:
            late, count = sorted(self._late), self._count
        if not late:
            return LatenessNow(0, 0, 0, 0)
        return LatenessNow(count, late[len(late) // 2], late[min(len(late) - 1, len(late) * 99 // 100)], late[-1])
