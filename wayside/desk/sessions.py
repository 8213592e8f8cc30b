"""Who may see and work a desk that others can reach: a PIN, sessions that expire, and tries that are limited.

Pure but for chance; time is asked of a function that is given. Knows no web.
"""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from typing import NamedTuple

PIN_DIGITS = 6
LASTS_S = 14 * 3600.0  # a session in all: an exhibition's day
IDLE_S = 2 * 3600.0  # without a word from its page
MOST_SESSIONS = 64  # the one that has been idle the longest gives way
TRIES = 5  # wrong ones from one address ...
WAIT_S = 300.0  # ... then it waits so long
TRIES_IN_ALL = 10  # wrong ones a minute from anywhere but this computer: a guesser gets 3,600 of 1,000,000 in six hours
MINUTE_S = 60.0
MOST_ADDRESSES = 1_000
HERE = ("127.0.0.1", "::1")


class Entered(NamedTuple):
    """What came of a try: the session's token, or a sentence that says why there is none."""

    token: str = ""
    says: str = ""


def new_pin() -> str:
    return "".join(secrets.choice("0123456789") for _ in range(PIN_DIGITS))


class Sessions:
    """Without a PIN everybody who reaches the desk may work it; it is then to be reached from this computer only."""

    def __init__(self, pin: str | None, now: Callable[[], float] = time.monotonic) -> None:
        self.pin = pin
        self._now = now
        self._open: OrderedDict[str, tuple[float, float]] = OrderedDict()  # token: (began, last heard of)
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()  # address: (times, when last)
        self._lately: deque[float] = deque(maxlen=TRIES_IN_ALL)

    def allows(self, token: str) -> bool:
        """Whether a token is a session's that has not expired; it is heard of now."""
        if self.pin is None:
            return True
        found = self._open.get(token)
        now = self._now()
        if found is None:
            return False
        if now - found[0] > LASTS_S or now - found[1] > IDLE_S:
            del self._open[token]
            return False
        self._open[token] = (found[0], now)
        self._open.move_to_end(token)
        return True

    def enter(self, pin: str, address: str) -> Entered:
        """A try with a PIN from an address."""
        assert self.pin is not None
        now = self._now()
        times, last = self._wrong.get(address, (0, now))
        if now - last > WAIT_S:
            times = 0
        if times >= TRIES:
            return Entered(says="Too many wrong PINs from this device. Wait five minutes, then try again.")
        here = address in HERE
        if not here and len(self._lately) == TRIES_IN_ALL and now - self._lately[0] < MINUTE_S:
            return Entered(says="Too many wrong PINs just now. Wait a minute, then try again.")
        if secrets.compare_digest(pin.encode(), self.pin.encode()):
            self._wrong.pop(address, None)
            return Entered(self._begin(now))
        self._wrong[address] = (times + 1, now)
        self._wrong.move_to_end(address)
        while len(self._wrong) > MOST_ADDRESSES:
            self._wrong.popitem(last=False)
        if not here:
            self._lately.append(now)
        return Entered(says="That is not the PIN. It stands in the terminal in which the show runs.")

    def _begin(self, now: float) -> str:
        while len(self._open) >= MOST_SESSIONS:
            self._open.popitem(last=False)
        token = secrets.token_urlsafe(32)
        self._open[token] = (now, now)
        return token


class Allowance:
    """So many a second on the long run, and a few more at once. For orders of all pages together."""

    def __init__(self, a_second: float, at_once: int, now: Callable[[], float] = time.monotonic) -> None:
        self._a_second, self._most, self._left, self._now = a_second, float(at_once), float(at_once), now
        self._at = now()

    def take(self) -> bool:
        """Whether one more is allowed now."""
        now = self._now()
        self._left = min(self._most, self._left + (now - self._at) * self._a_second)
        self._at = now
        if self._left < 1:
            return False
        self._left -= 1
        return True
