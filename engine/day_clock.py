"""The layout clock: a time of day that runs at a ratio, can be stopped and set. Whole numbers only.

It never changes the speed of flashers, barriers or trains: those go by the performance's own microseconds.
"""

from __future__ import annotations

DAY_US = 86_400 * 1_000_000


class LayoutClock:
    """Its time of day is `_base_us` at `_from_us`, and since then `ratio` times as quick, while it runs."""

    def __init__(self, starts_s: int, ratio: int) -> None:
        self.ratio = ratio
        self.running = True
        self.times_set = 0  # by hand, so that who reckons with it reckons anew
        self._base_us = starts_s * 1_000_000
        self._from_us = 0

    def at(self, now_us: int) -> int:
        """Microseconds since the midnight before it began; past one day it counts on."""
        return self._base_us + ((now_us - self._from_us) * self.ratio if self.running else 0)

    def set(self, now_us: int, second: int | None, running: bool | None) -> None:
        """A time of day from now on, and whether it runs; None leaves it as it is."""
        self.times_set += 1
        self._base_us = self.at(now_us) if second is None else second * 1_000_000
        self._from_us = now_us
        self.running = self.running if running is None else running

    def until(self, second_of_day: int, now_us: int) -> int | None:
        """Microseconds until the next such time of day: a full day if it is just now, but 0 at the first instant.

        None while it is stopped.
        """
        if not self.running:
            return None
        wait = (second_of_day * 1_000_000 - self.at(now_us)) % DAY_US
        if wait == 0 and now_us:
            wait = DAY_US
        return -(-wait // self.ratio)
