"""What `wayside stand-in` says of all that its station is told: in plain words, and quietly. Knows no port."""

from __future__ import annotations

from collections.abc import Callable
from itertools import islice
from typing import TYPE_CHECKING

from wayside.terminal import finish, say

if TYPE_CHECKING:
    from adapters.stand_in import Entry, Station

AGAIN_US = 500_000  # before an output is told of a second time; then twice as long, and so on
LONGEST_PATIENCE_US = 8_000_000
CALM_US = 1_000_000  # an output that was told nothing for so long is told of at once
OUTPUTS = ("accessory", "signal", "pin", "servo", "turnout")
LINES_A_SECOND = 20
MOST_THINGS = 10_000
COMMAND_COLUMN = 62


class Heard:
    """An output that is told again and again: when it last was, what has not been said yet, and how long that waits."""

    def __init__(self) -> None:
        self.heard_us = self.said_us = 0
        self.patience_us = AGAIN_US
        self.held: Entry | None = None
        self.before = 0  # entries that the held one took the place of


class Teller:
    """Says what the station is told, quietly: of an output that is told something new again and again it says ever
    less, but always the last; and what is asked over and over is said once."""

    def __init__(self, names: dict[str, str], out: Callable[[str], None] = say) -> None:
        self._names = names
        self._out = out
        self._seen = 0
        self._things: dict[str, Heard] = {}
        self._asked: dict[str, str] = {}
        self._second = -1
        self._lines = self._unsaid = 0

    def look(self, station: Station, now_us: int) -> None:
        """Say what is new in the station's log, and what has waited long enough."""
        fresh = min(station.told - self._seen, len(station.log))
        self._seen = station.told
        for entry in list(islice(reversed(station.log), fresh))[::-1]:
            self._hear(entry)
        said = [heard for heard in self._things.values() if heard.held is not None and self._is_time(heard, now_us)]
        for heard in said:
            self._say_held(heard, now_us)
        self._turn(now_us)
        if fresh or said:
            finish()

    def end(self) -> None:
        """Say what is still held."""
        for heard in self._things.values():
            if heard.held is not None:
                self._say_held(heard, heard.held.at_us)

    def _is_time(self, heard: Heard, now_us: int) -> bool:
        return now_us - heard.heard_us >= CALM_US or now_us - heard.said_us >= heard.patience_us

    def _hear(self, entry: Entry) -> None:
        if entry.thing == "asked":
            if self._asked.get(entry.command) != entry.effect:
                self._asked[entry.command] = entry.effect
                self._print(entry)
            return
        if not entry.command or not entry.thing.startswith(OUTPUTS) or len(self._things) >= MOST_THINGS:
            self._print(entry)
            return
        heard = self._things.get(entry.thing)
        if heard is None or entry.at_us - heard.heard_us >= CALM_US:
            if heard is not None and heard.held is not None:
                self._say_held(heard, entry.at_us)
            heard = self._things[entry.thing] = Heard()
            heard.said_us = entry.at_us
            self._print(entry)
        else:
            heard.before += heard.held is not None
            heard.held = entry
        heard.heard_us = entry.at_us

    def _say_held(self, heard: Heard, now_us: int) -> None:
        if heard.held is not None:
            self._print(heard.held._replace(at_us=now_us), heard.before)  # said now: the clock never goes back
        heard.held, heard.before, heard.said_us = None, 0, now_us
        heard.patience_us = min(heard.patience_us * 2, LONGEST_PATIENCE_US)

    def _print(self, entry: Entry, before: int = 0) -> None:
        self._turn(entry.at_us)
        if self._lines >= LINES_A_SECOND:
            self._unsaid += 1
            return
        self._lines += 1
        self._out(line_of(entry, self._names, before))

    def _turn(self, now_us: int) -> None:
        second = now_us // 1_000_000
        if second > self._second:
            if self._unsaid:
                self._out(f"{clock(now_us)}  ... and {self._unsaid} more; `show` tells how everything is now")
            self._second, self._lines, self._unsaid = second, 0, 0


def clock(at_us: int) -> str:
    """`0:12.3`: minutes, seconds and tenths since it began."""
    tenths = at_us // 100_000
    return f"{tenths // 600:>4}:{tenths // 10 % 60:02}.{tenths % 10}"


def line_of(entry: Entry, names: dict[str, str], before: int = 0) -> str:
    """One entry as a line for the screen, with the command as it came."""
    name = f", {names[entry.thing]}" if entry.thing in names else ""
    words = {"asked": f"asked {entry.effect}", "refused": entry.effect}.get(
        entry.thing, f"{entry.thing}{name}: {entry.effect}"
    )
    more = f" ({before} more before)" if before else ""
    text = f"{clock(entry.at_us)}  {words}{more}"
    return f"{text:<{COMMAND_COLUMN}}  {entry.command}".rstrip() if entry.command else text
