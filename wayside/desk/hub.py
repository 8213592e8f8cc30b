"""What all pages of a desk are told, kept once: the whole state, and the last changes, numbered.

A page asks for what came after the number that it has seen; one that is too far behind gets the whole again. So a slow
page costs nothing and holds nobody up. Publishing is done in the show's thread, asking in the server's.
"""

from __future__ import annotations

import asyncio
import json
import threading
from collections import deque
from collections.abc import Callable
from typing import NamedTuple

KEPT = 256  # changes; a page further behind is sent everything
EVENTS_KEPT = 80  # lines of what happened last, in a whole state


class Event(NamedTuple):
    """A line of what happened: a number that only grows, and its text."""

    number: int
    text: str


def _text(message: dict[str, object]) -> str:
    return json.dumps(message, separators=(",", ":"), ensure_ascii=True)


class Hub:
    """One for a show. `publish` and `event` may be called from the show's thread at any time; they never wait long."""

    def __init__(self, show: str, facts: dict[str, object]) -> None:
        self.show = show  # tells one run of the program from another
        self.pages = 0  # open just now
        self.facts = facts
        self._lock = threading.Lock()
        self._version = 0
        self._state: dict[str, object] = {}
        self._changes: deque[tuple[int, str]] = deque(maxlen=KEPT)
        self._events: deque[Event] = deque(maxlen=EVENTS_KEPT)
        self._fresh: list[Event] = []
        self._events_told = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._changed = asyncio.Event()
        self.now_us: Callable[[], int] = lambda: 0  # the show's time, asked for from any thread

    def serve(self, loop: asyncio.AbstractEventLoop) -> None:
        """From now on pages wait in this loop."""
        self._loop = loop

    # --- in the show's thread --------------------------------------------------------------------------------------

    def event(self, text: str) -> None:
        """Something happened; told with the next change that is published."""
        with self._lock:
            self._events_told += 1
            event = Event(self._events_told, text)
            self._events.append(event)
            self._fresh.append(event)
            del self._fresh[:-EVENTS_KEPT]

    def renew(self, show: str, facts: dict[str, object]) -> None:
        """What pages had to know once is other now: each is sent everything under another name, and begins anew."""
        with self._lock:
            self.show, self.facts, self._state = show, facts, {}
            self._changes.clear()
            self._version += 1

    def publish(self, changes: dict[str, object]) -> None:
        """Tell every page what has changed; nothing where nothing has."""
        with self._lock:
            fresh, self._fresh = self._fresh, []
            if not changes and not fresh:
                return
            self._version += 1
            self._state.update(changes)
            message = {"v": self._version, "now": self.now_us(), "set": changes, "events": fresh}
            self._changes.append((self._version, _text(message)))
            loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._wake)

    # --- in the server's thread ------------------------------------------------------------------------------------

    def _wake(self) -> None:
        changed, self._changed = self._changed, asyncio.Event()
        changed.set()

    async def wait(self, version: int, seconds: float) -> None:
        """Until there is something newer than a version, or for so long."""
        changed = self._changed
        with self._lock:
            if self._version > version:
                return
        try:
            await asyncio.wait_for(changed.wait(), seconds)
        except TimeoutError:
            pass

    def whole(self) -> tuple[int, str]:
        """Everything, and its number."""
        with self._lock:
            message = {
                "v": self._version,
                "show": self.show,
                "now": self.now_us(),
                "facts": self.facts,
                "set": self._state,
                "events": list(self._events),
            }
            return self._version, _text(message)

    def after(self, version: int) -> tuple[int, list[str]] | None:
        """The changes after a version, and the number of the last; None where some of them are no longer kept."""
        with self._lock:
            if version == self._version:
                return version, []
            if not self._changes or self._changes[0][0] > version + 1:
                return None
            return self._version, [text for number, text in self._changes if number > version]
