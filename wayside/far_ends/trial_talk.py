"""One trial over an open port: wait until the station is awake, look at its power, tell it, and say what came back.

Tells nothing that was not asked for: never the track power. Knows neither layout nor the library of the port.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

from adapters.codec import Decoder, Frame, Noise, encode
from adapters.dialects import (
    Banner,
    DetectorIs,
    Dialect,
    Other,
    OutputIs,
    PowerIs,
    Refused,
    Remark,
    Said,
    Took,
    say,
    understand,
)
from adapters.link_states import TIMES, Times
from wayside.wording import count

MOST_SHOWN = 40  # lines of what comes back; a station with a thousand detectors reports them all
POWER = {
    "on": "track power is on",
    "off": "track power is off",
    "overload": "track power is off: too much current, perhaps a short",
}


class Line(Protocol):
    """An open port."""

    def read(self) -> bytes: ...
    def write(self, data: bytes) -> None: ...


class Heard(NamedTuple):
    """How it went."""

    anything: bool  # after it was told, the station said something that could be read
    refused: bool
    power: str  # "on", "off", "overload", or "" where it did not say


class Talk:
    """The conversation. `tell` is called with each line for the person."""

    def __init__(
        self,
        line: Line,
        dialect: Dialect,
        tell: Callable[[str], None],
        times: Times | None = None,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._line, self._dialect, self._tell, self._times = line, dialect, tell, times or TIMES
        self._now_ns = now_ns
        self._decoder = Decoder()
        self._shown = 0
        self._said: list[Said] = []
        self._noise = 0
        self._words: set[str] = set()  # that were sent
        self._echoed = False

    def run(self, texts: Sequence[str], resets: bool, start_up_us: int, needs_track: bool) -> Heard:
        """All of it; `resets`: opening the port may have made the station start anew."""
        power = self.wake(resets, start_up_us)
        if needs_track and power in ("off", "overload"):
            self._tell("  No decoder hears this while the track has no power. Wayside does not switch it on: you do.")
        before = len(self._said)
        for text in texts:
            self._tell(f"  {'sent':<8}<{text}>")
            self._write(text)
        power = self._ask() or power
        after = self._said[before:]
        heard = Heard(bool(after), any(isinstance(said, Refused) for said in after), power)
        self._conclude(heard)
        return heard

    def wake(self, resets: bool, start_up_us: int) -> str:
        """Wait until the station can be told; what it says of the track's power, or "" if it says nothing."""
        self._listen(self._times.banner_us if resets else self._times.quiet_us, until=Banner)
        awake = any(isinstance(said, Banner) for said in self._said)
        if resets and awake and start_up_us:
            self._tell(f"  It may have started anew: {start_up_us / 1_000_000:g} s for its boards to start.")
            self._listen(start_up_us)
        return self._ask()

    @property
    def awake(self) -> bool:
        """Whether anything has come that a station says."""
        return bool(self._said)

    def give(self, text: str) -> None:
        """Tell it one thing, and wait for nothing."""
        self._write(text)

    def catch(self) -> list[Said]:
        """What has come in since, in silence. Waits a moment for the first byte."""
        data = self._line.read()
        found = [one for one in (self._decoder.feed(data) if data else ()) if isinstance(one, Frame)]
        return [understand(self._dialect, one) for one in found if one.text not in self._words]

    def settle(self) -> list[Said]:
        """Ask how it is, and wait for the answer: what was told before has arrived by then. All that has come."""
        if "status" in self._dialect.words:
            self._write(say(self._dialect, "status"))
        heard: list[Said] = []
        ends = self._now_ns() + self._times.answer_us * 1_000
        while self._now_ns() < ends and not any(isinstance(said, PowerIs | Refused) for said in heard):
            heard += self.catch()
        return heard

    def _ask(self) -> str:
        """Asks how the station is, as a fence behind what was sent; what it says of the track's power."""
        if "status" in self._dialect.words:
            self._write(say(self._dialect, "status"))
        before = len(self._said)
        self._listen(self._times.answer_us, until=PowerIs)
        return next((said.state for said in reversed(self._said[before:]) if isinstance(said, PowerIs)), "")

    def _write(self, text: str) -> None:
        self._words.add(text)
        self._line.write(encode(text))

    def _listen(self, us: int, until: type[Said] | None = None) -> None:
        """For so long; or only until a moment of quiet after such an answer."""
        ends = self._now_ns() + us * 1_000
        while self._now_ns() < ends:
            data = self._line.read()
            for one in self._decoder.feed(data) if data else ():
                said = self._hear(one)
                if until is not None and isinstance(said, until):
                    ends = min(ends, self._now_ns() + self._times.quiet_us * 1_000)

    def _hear(self, one: Frame | Noise) -> Said | None:
        if isinstance(one, Noise):
            self._noise += one.count
            return None
        if one.text in self._words:  # no station repeats a command
            self._echoed = True
            return None
        said = understand(self._dialect, one)
        self._said.append(said)
        self._shown += 1
        if self._shown <= MOST_SHOWN:
            self._tell(f"  {'heard':<8}<{one.text}>  {in_words(said)}")
        return said

    def _conclude(self, heard: Heard) -> None:
        if self._shown > MOST_SHOWN:
            self._tell(f"  And {count(self._shown - MOST_SHOWN, 'line')} more.")
        if self._noise:
            unread = count(self._noise, "byte")
            self._tell(f"  {unread} besides could not be read. If there are many, the speed is wrong.")
        if heard.refused:
            self._tell("  The station refused it. Compare the words with its book; `words:` of a link changes them.")
        elif heard.anything:
            self._tell("  The station took it. Whether anything moved, only you can see.")
        elif self._said:
            self._tell("  Nothing came back after that: it was awake, and may not have heard it. Try once more.")
        elif self._echoed:
            self._tell("  Only what was sent came back: this line is an echo, and no station is on it.")
        else:
            self._tell("  Nothing came back. Is this the station's port, is its speed right, and is it switched on?")


def in_words(said: Said) -> str:
    """What an answer of the station means."""
    match said:
        case PowerIs(state):
            return POWER[state]
        case DetectorIs(number, active):
            return f"input {number} is {'active' if active else 'not active'}"
        case OutputIs(kind, number, value):
            return f"{kind} {number} is {'on' if value else 'off'}"
        case Took():
            return "it has taken a definition"
        case Refused():
            return "it refuses"
        case Banner():
            return "says what it is"
        case Remark():
            return "a remark"
        case Other():
            return "means nothing to Wayside"
