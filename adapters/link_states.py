"""How a link stands: six states, one table of what leads from one to another, and the times that go with them.

The table is drawn in `adapters/README.md`; a test compares. Knows no bytes, no port and no clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import NamedTuple


class State(Enum):
    UNPLUGGED = "unplugged"
    WAKING = "waking"
    WAITING = "waiting"
    TALKING = "talking"
    SILENT = "silent"
    GONE = "gone"


class Event(Enum):
    """What can happen to a link, in words that can be drawn."""

    OPENED = "the port opens"
    NOT_OPENED = "the port cannot be opened"
    AWAKE = "it says what it is, or has had its time for that"
    STARTED = "it answers, track power is on and its boards have had their time"
    POWER_OFF = "track power goes off"
    REBOOTED = "it starts anew"
    NO_ANSWER = "no answer, though asked again and again"
    ANSWERED = "it answers"
    LOST = "the port is lost"


MEANING: Mapping[State, str] = {
    State.UNPLUGGED: "nothing there yet",
    State.WAKING: "just opened: may be starting anew, and deaf for its first second",
    State.WAITING: "asked, and not ready: no answer yet, track power off, or its boards are starting",
    State.TALKING: "all is well: outputs are told, detectors are known",
    State.SILENT: "there, but it does not answer",
    State.GONE: "lost; tried again for ever, ever less often",
}

NEXT: Mapping[tuple[State, Event], State] = {
    (State.UNPLUGGED, Event.OPENED): State.WAKING,
    (State.UNPLUGGED, Event.NOT_OPENED): State.UNPLUGGED,
    (State.WAKING, Event.AWAKE): State.WAITING,
    (State.WAKING, Event.LOST): State.GONE,
    (State.WAITING, Event.STARTED): State.TALKING,
    (State.WAITING, Event.POWER_OFF): State.WAITING,
    (State.WAITING, Event.REBOOTED): State.WAITING,
    (State.WAITING, Event.NO_ANSWER): State.SILENT,
    (State.WAITING, Event.LOST): State.GONE,
    (State.TALKING, Event.POWER_OFF): State.WAITING,
    (State.TALKING, Event.REBOOTED): State.WAITING,
    (State.TALKING, Event.NO_ANSWER): State.SILENT,
    (State.TALKING, Event.LOST): State.GONE,
    (State.SILENT, Event.ANSWERED): State.WAITING,
    (State.SILENT, Event.REBOOTED): State.WAITING,
    (State.SILENT, Event.LOST): State.GONE,
    (State.GONE, Event.OPENED): State.WAKING,
    (State.GONE, Event.NOT_OPENED): State.GONE,
}

OPEN = frozenset({State.WAKING, State.WAITING, State.TALKING, State.SILENT})  # states in which there is a port


class Times(NamedTuple):
    """How long a link waits for what. Common practice, no source; shorter ones make quick tests."""

    banner_us: int = 2_500_000  # for a station that starts anew when its port is opened to say what it is
    quiet_us: int = 100_000  # the same, where opening the port does not reset it
    answer_us: int = 1_000_000  # for one answer, before it is taken as lost
    ask_us: int = 1_000_000  # between two questions whether it is still there
    inputs_us: int = 5_000_000  # between two questions what its detectors say, lest it has forgotten them
    silence_us: int = 3_000_000  # asked and nothing heard for so long: silent
    fence_us: int = 250_000  # commands without a reply stand no longer without a question behind them
    settle_us: int = 2_000_000  # a report that contradicts what was just told is an old one, or doubled, for so long
    report_us: int = 200_000  # from one line of a report to the next, at most; starting anew takes longer
    contact_us: int = 60_000  # a passing contact and a pressed button are shown for at least so long
    first_retry_us: int = 500_000
    last_retry_us: int = 8_000_000


TIMES = Times()


def back_off_us(times: Times, failures: int) -> int:
    """How long to wait before the port is tried again: doubled each time, up to a limit."""
    return min(times.first_retry_us << min(max(failures - 1, 0), 30), times.last_retry_us)


def drawn() -> str:
    """The table as text, for people: each state, what it means, and what leads out of it."""
    wide = max(len(event.value) for event in Event)
    lines = []
    for state in State:
        lines.append(f"{state.value:<10} {MEANING[state]}")
        lines += [
            f"  {event.value} {'-' * (wide - len(event.value) + 3)}> {after.value}"
            for (before, event), after in NEXT.items()
            if before is state
        ]
    return "\n".join(lines)
