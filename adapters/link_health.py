"""How a link is, in plain words: what it does, and what a person could try. Knows no clock and no port."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from adapters.link_states import State


class Facts(NamedTuple):
    """What the words are made of."""

    state: State
    port: str
    baud: int
    trouble: tuple[str, str] = ("", "")  # why the port is not open: what, and what to try
    power: str = ""  # "", "on", "off" or "overload"
    frames: int = 0  # understood on this connection
    noise: int = 0  # bytes on this connection that are no words
    refused: int = 0  # on this connection
    defining: int = 0  # definitions that are still to be told
    unknown: int = 0  # detectors that have said nothing
    unserved: int = 0  # outputs that its wire cannot serve


class Health(NamedTuple):
    """One link, for a view. Instants and times in microseconds."""

    link: str
    state: State
    since_us: int
    what: str  # in plain words
    instead: str  # what to try; empty where nothing is wrong
    power: str
    round_trip_us: int | None
    refused: int  # commands since the show began
    unanswered: int  # questions and commands
    noise: int  # bytes
    waiting: int  # outputs that do not show what they should
    contacts: Mapping[str, int]  # of treadles and buttons
    moved: int = 0  # outputs that another hand has told something
    late_p50_us: int = 0
    late_p99_us: int = 0


class Row(NamedTuple):
    when: Callable[[Facts], object]
    what: str
    instead: str


_NOISE = Row(
    lambda facts: facts.noise and not facts.frames,
    "bytes come from `{port}`, but no words",
    "look at `speed`: {baud} baud may not be that of its far end",
)
_REFUSES = Row(
    lambda facts: facts.refused and not facts.power,
    "it answers, but refuses what it is asked",
    "look at `dialect` and `words` of the link in the layout file",
)
_POWER = (
    Row(
        lambda facts: facts.power == "overload",
        "track power has tripped",
        "look for a short circuit; outputs are put right when it is back",
    ),
    Row(
        lambda facts: facts.power == "off",
        "track power is off",
        "switch it on at the station: Wayside never does that unasked",
    ),
)
_ALWAYS: Callable[[Facts], object] = lambda facts: True  # noqa: E731


# For each state the first row that fits.
ROWS: Mapping[State, tuple[Row, ...]] = {
    State.UNPLUGGED: (
        Row(lambda facts: facts.trouble[0], "{trouble[0]}", "{trouble[1]}"),
        Row(_ALWAYS, "not opened yet", ""),
    ),
    State.GONE: (Row(_ALWAYS, "{trouble[0]}", "{trouble[1]}"),),
    State.WAKING: (Row(_ALWAYS, "just opened; its far end may be starting anew", ""),),
    State.WAITING: (
        _NOISE,
        _REFUSES,
        *_POWER,
        Row(lambda facts: not facts.power, "asked, and no answer yet", ""),
        Row(lambda facts: facts.defining, "it is told its detectors and pins, {defining} to go", ""),
        Row(_ALWAYS, "its boards are starting", ""),
    ),
    State.TALKING: (
        Row(
            lambda facts: facts.refused,
            "it talks, but has refused commands: {refused}",
            "look at `dialect`, `words` and the numbers of its outputs and detectors",
        ),
        Row(
            lambda facts: facts.unknown,
            "it talks, but {unknown} of its detectors have said nothing",
            "look at their pins; until they speak they count as occupied",
        ),
        Row(
            lambda facts: facts.unserved,
            "it talks, but cannot serve {unserved} of its outputs",
            "`wayside check` says which, and what would help",
        ),
        Row(_ALWAYS, "all is well", ""),
    ),
    State.SILENT: (
        _NOISE,
        Row(
            lambda facts: facts.frames,
            "it has stopped answering",
            "look at the station, and switch it off and on if it does not come back",
        ),
        Row(
            _ALWAYS,
            "`{port}` is open, but nobody answers",
            "look whether it is the right port and switched on, and whether {baud} baud is its speed",
        ),
    ),
}


def words(facts: Facts) -> tuple[str, str]:
    """What a link does, and what to try."""
    row = next(row for row in ROWS[facts.state] if row.when(facts))
    values = facts._asdict()
    return row.what.format_map(values), row.instead.format_map(values)
