"""What is heard at the stop of a detector or button, from when a wagon is rolled over it until it has come and gone.

Pure: states and instants in, what was heard out.
"""

from __future__ import annotations

from collections.abc import Mapping

from engine.events import Detected, Input, Pressed
from wayside.walk.answers import Rolled

QUIET_US = 1_500_000  # after its last change an input that has come and gone is ticked off


class Listening:
    """One stop's listening; `strange` says how often numbers have changed that the layout file does not name."""

    def __init__(self, name: str, state: str, strange: Mapping[int, int]) -> None:
        self.name, self._state, self._strange = name, state, dict(strange)
        self._began = state
        self._occupied = self._cleared = 0
        self._others: dict[str, None] = {}
        self._last_us: int | None = None

    @property
    def state(self) -> str:
        """How it stands: occupied, clear, or empty where nobody knows."""
        return self._state

    @property
    def taken(self) -> bool:
        """Whether it has been occupied all the while: no wagon has been seen to come."""
        return self._began == self._state == "occupied" and not self._occupied

    def changed(self, name: str, state: str, now_us: int) -> None:
        """A detector or button is in another state."""
        self._last_us = now_us
        if name != self.name:
            if state == "occupied":
                self._others[name] = None
            return
        known = self._state != ""  # what is first said of it is no change
        self._state = state
        self._occupied += state == "occupied"
        self._cleared += state == "clear" and known

    def heard(self, strange: Mapping[int, int]) -> Rolled:
        """All that was heard so far."""
        new = tuple(sorted(number for number, times in strange.items() if times > self._strange.get(number, 0)))
        return Rolled(self._began, self._occupied, self._cleared, self._state, tuple(self._others), new)

    def over(self, now_us: int) -> bool:
        """Whether it has come and gone, and been quiet since."""
        quiet = self._last_us is not None and now_us - self._last_us >= QUIET_US
        return quiet and self.heard({}).complete


def state_of(event: Input) -> tuple[str, str]:
    """The name of a detector or button, and its state: occupied, clear, or empty; of other events nothing."""
    match event:
        case Detected(name, "occupied" | "clear" as state):
            return name, state
        case Detected(name, _):
            return name, ""
        case Pressed(name, down):
            return name, "occupied" if down else "clear"
    return "", ""
