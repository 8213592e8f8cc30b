"""The stand-in: an emulated station at the far end of a serial text line, in virtual time, with faults on request.

It imports nothing of the adapters that it stands in front of, so that a mistake in them is not a mistake in it, too.
The wire is in `stand_in_line`, what it works in `stand_in_machine`, its faults in `stand_in_faults`; the port and the
socket that people reach it by are in `stand_in_ports`.
"""

from __future__ import annotations

import hashlib
import heapq
from collections import deque
from collections.abc import Callable
from typing import NamedTuple

from adapters.stand_in_faults import ARMED, FAULTS, Wish
from adapters.stand_in_line import Line
from adapters.stand_in_machine import Machine
from adapters.stand_in_records import Done, Refused, Settings

LOG_LENGTH = 100_000  # entries; the oldest go first
MOST_LINES = 8  # senders at once
MOST_TIMERS = 10_000

AFTER_OPENING_US = 2_000_000  # until what was prepared happens
TRIPS = 3
STAYS_ON_US = 200_000  # between two trips of the booster
NOISE_EVERY_US = 100_000
LONGEST_NOISE = 12
ENDLESS = 5_000  # characters of a reply that never ends
FLOOD, FLOOD_PARTS = 10_000, 100
ARRIVES_US = 20_000  # for the half reply to be fetched before the cable is out
DEEP_ENOUGH = 2  # characters into a command, for a cable that comes out in the middle of one


class Entry(NamedTuple):
    """What happened: when it was done; when the command's last byte had arrived; the command as it was heard, or
    nothing where no command was the cause; which thing, what became of it in words, and its new value."""

    at_us: int
    arrived_us: int
    command: str
    thing: str
    effect: str
    value: float | None = None


class Left(NamedTuple):
    """Bytes that have left the station on one of its lines."""

    line: int
    data: bytes


ORDINARY = Settings()


class Station:
    """A station in virtual time: bytes in by `received`, bytes out by `advance`. Instants never go backwards."""

    def __init__(self, settings: Settings = ORDINARY) -> None:
        self.settings = settings
        self.machine = Machine(settings)
        self.faults: dict[str, int] = {}  # those that are on, with their time in microseconds
        self.plugged = True
        self.log: deque[Entry] = deque(maxlen=LOG_LENGTH)
        self.told = 0  # entries that were ever made
        self.obeyed = 0  # commands, those that it refused included
        self.lost = 0  # bytes that found a receive buffer full
        self._lines: dict[int, Line] = {}
        self._timers: list[tuple[int, int, int, Callable[[], None]]] = []
        self._count = 0
        self._life = 0  # restarts end what was begun before them
        self._now_us = 0
        self._free_us = 0  # when it can take the next command
        self._speaks_us = 0  # when it can speak again
        self._noise_us = 0  # when there may be noise again
        self._left: list[Left] = []
        self._at_opening: list[Wish] = []
        self._full: set[int] = set()  # lines whose receive buffer overran and has not been told of again

    # --- the wire --------------------------------------------------------------------------------------------------

    def opened(self, now_us: int, line: int = 0) -> bool:
        """Somebody opens the port, or a connection. False: there are too many already, or the cable is out."""
        self._run(now_us)
        if not self.plugged or line in self._lines or len(self._lines) >= MOST_LINES:
            return False
        self._lines[line] = Line(self.settings.baud)
        self.note("line", "somebody has opened it")
        for wish in self._at_opening:
            self._later(AFTER_OPENING_US, lambda wish=wish: self.fault(wish.name, self._now_us, wish.time_us), True)  # type: ignore[misc]
        self._at_opening.clear()
        if "reset-on-open" in self.faults:
            self._restart()
        else:
            self._greet(line)
        return True

    def closed(self, now_us: int, line: int = 0) -> None:
        self._run(now_us)
        if self._lines.pop(line, None) is not None:
            self.note("line", "closed")

    def room(self, line: int = 0) -> int:
        """How many bytes `received` takes now without losing any."""
        return self._lines[line].room if line in self._lines else 0

    def received(self, data: bytes, now_us: int, line: int = 0) -> None:
        """Bytes that a sender hands to the wire at this instant; a line that nobody has opened hears nothing."""
        self._run(now_us)
        if line in self._lines:
            self._lines[line].carry(data, now_us)

    def advance(self, now_us: int) -> list[Left]:
        """Do all that is due by now; the bytes that have left since the last time."""
        self._run(now_us)
        left, self._left = self._left, []
        return left

    def next_due(self) -> int | None:
        """When it next has something to do, if nothing comes."""
        all_lines = (line.next_due(self._free_us, self._speaks_us) for line in self._lines.values())
        dues = [at for at in all_lines if at is not None]
        if self._timers:
            dues.append(self._timers[0][0])
        return max(min(dues), self._now_us) if dues else None

    # --- hands -----------------------------------------------------------------------------------------------------

    def detector(self, number: int, active: bool, now_us: int, by_current: bool = False) -> None:
        """A train comes or goes. `by_current`: a section, which reports clear while the track power is off.

        Raises Refused for a number that no detector has.
        """
        self._run(now_us)
        self.machine.set_input(number, active, by_current)
        known = "" if number in self.machine.detectors else ", but nobody has defined it"
        self.note(f"detector {number}", f"{'on' if active else 'off'}{known}", active)
        self._report_changes()

    def power(self, on: bool, now_us: int) -> None:
        """Somebody switches the track power at the station itself."""
        self._run(now_us)
        self._set_power("on" if on else "off", "by hand")

    def turnout(self, number: int, value: int, now_us: int) -> None:
        """Somebody throws a turnout from elsewhere, and the station says so. Raises Refused where there is none."""
        self._run(now_us)
        self._by_hand(self.machine.throw(number, value, now_us))

    def output(self, number: int, value: int, now_us: int) -> None:
        """The same for a pin that was defined as an output."""
        self._run(now_us)
        self._by_hand(self.machine.switch(number, value))

    def fault(self, name: str, now_us: int, time_us: int | None = None) -> None:
        """Let a fault of FAULTS begin; KeyError for any other name."""
        self._run(now_us)
        fault = FAULTS[name]
        time_us = time_us or fault.time_us
        self.note(f"fault {name}", fault.words(time_us))
        if fault.lasts or name in ARMED:
            self.faults[name] = time_us
            self._faults_changed()
        if name in BEGINS:
            BEGINS[name](self, time_us)

    def mend(self, name: str, now_us: int) -> None:
        """A fault ends. One that is not on is no matter."""
        self._run(now_us)
        if self.faults.pop(name, None) is not None:
            self.note(f"fault {name}", "over")
            self._faults_changed()

    def prepare(self, wish: Wish) -> None:
        """A fault from the start; what happens once happens a while after somebody has opened the line."""
        if FAULTS[wish.name].lasts or wish.name in ARMED:
            self.fault(wish.name, self._now_us, wish.time_us)
        else:
            self._at_opening.append(wish)

    def angle(self, pin: int, now_us: int) -> float:
        """Where the arm on a pin truly is; KeyError where there is no servo."""
        self._run(now_us)
        return self.machine.servos[pin].angle(now_us)

    def note(self, thing: str, effect: str, value: float | None = None, command: str = "", arrived: int = -1) -> None:
        """Write an entry into the log."""
        self.log.append(Entry(self._now_us, self._now_us if arrived < 0 else arrived, command, thing, effect, value))
        self.told += 1

    # --- time ------------------------------------------------------------------------------------------------------

    def _run(self, until_us: int) -> None:
        while (at_us := self.next_due()) is not None and at_us <= until_us:
            self._now_us = at_us
            self._step()
        self._now_us = max(self._now_us, until_us)

    def _step(self) -> None:
        """All that is due at this instant."""
        while self._timers and self._timers[0][0] <= self._now_us:
            _, _, life, action = heapq.heappop(self._timers)
            if life in (self._life, FOR_EVER):
                action()
        for number, line in list(self._lines.items()):
            before = line.lost
            line.land(self._now_us)
            self._count_lost(number, line.lost - before)
        self._listen()
        for number, line in list(self._lines.items()):
            if self._now_us >= self._speaks_us:
                self._left += [Left(number, data) for data in line.leave(self._now_us)]

    def _listen(self) -> None:
        """One command at a time, from each line in turn."""
        heard_one = True
        while heard_one and self._free_us <= self._now_us:
            heard_one = False
            for number, line in list(self._lines.items()):
                if self._free_us > self._now_us:
                    return
                heard = line.take()
                if line.within >= DEEP_ENOUGH and "unplug-in-command" in self.faults:
                    self._unplug(self.faults.pop("unplug-in-command"))
                    return
                if heard is not None:
                    heard_one = True
                    self._full.discard(number)
                    self._obey(number, heard.text, heard.arrived_us)

    def _count_lost(self, number: int, lost: int) -> None:
        self.lost += lost
        if lost and number not in self._full:
            self._full.add(number)
            self.note("line", "bytes are lost: the receive buffer is full, they come faster than it can work")

    def _later(self, wait_us: int, action: Callable[[], None], for_ever: bool = False) -> None:
        """`for_ever`: even a restart does not stop it."""
        if len(self._timers) < MOST_TIMERS:
            self._count += 1
            life = FOR_EVER if for_ever else self._life
            heapq.heappush(self._timers, (self._now_us + wait_us, self._count, life, action))

    # --- obeying and speaking --------------------------------------------------------------------------------------

    def _obey(self, number: int, text: str | None, arrived_us: int) -> None:
        if "refuses" in self.faults:
            done = Done("refused", "refused, as every command", answers=("X",))
        else:
            done = self.machine.do(text, self._now_us)
        self._free_us = self._now_us + (self.settings.track_us if done.packet else self.settings.command_us)
        self.obeyed += 1
        command = "<...>" if text is None else f"<{text}>"
        self.note(done.thing, done.effect, done.value, command, arrived_us)
        if "no-replies" not in self.faults:
            self._say(number, *done.answers)
        if done.to_all:
            self._say_to_all(*done.answers, but=number)
        self._report_changes()

    def _by_hand(self, done: Done) -> None:
        self.note(done.thing, f"{done.effect}, by hand", done.value)
        self._say_to_all(*done.answers)

    def _set_power(self, power: str, why: str) -> None:
        self.machine.set_power(power, self._now_us)
        self.note("track power", f"{power}, {why}")
        self._say_to_all(self.machine.power_words())
        self._report_changes()

    def _report_changes(self) -> None:
        self._say_to_all(*self.machine.changes())

    def _say_to_all(self, *texts: str, but: int | None = None) -> None:
        for number in list(self._lines):
            if number != but:
                self._say(number, *texts)

    def _say(self, number: int, *texts: str, paced: bool = True) -> None:
        """Replies and reports, with all that the faults make of them."""
        for text in texts:
            if (line := self._lines.get(number)) is None:
                return
            data = b"<" + text.encode("ascii", "replace") + b">" + self.settings.after_reply
            at_us = self._now_us + self.faults.get("late-replies", 0)
            for copy in [data] * (2 if "doubled-replies" in self.faults else 1):
                if "garbage" in self.faults:
                    line.say(self._noise(), at_us, paced)
                if "unplug-in-reply" in self.faults:
                    left_us = line.say(copy[: len(text) // 2 + 1], at_us)
                    self._unplug_later(left_us, self.faults.pop("unplug-in-reply"))
                    return
                if "half-replies" in self.faults:
                    left_us = line.say(copy[: len(text) // 2 + 1], at_us, paced)
                    copy, at_us = copy[len(text) // 2 + 1 :], left_us + self.faults["half-replies"]
                line.say(copy, at_us, paced)

    def _noise(self) -> bytes:
        """Bytes of every kind, the same in every run."""
        self._count += 1
        found = hashlib.blake2s(self._count.to_bytes(8, "big")).digest()
        return found[1 : 2 + found[0] % LONGEST_NOISE]

    # --- faults ----------------------------------------------------------------------------------------------------

    def _faults_changed(self) -> None:
        self.machine.off_by_four = "off-by-four" in self.faults

    def _greet(self, number: int) -> None:
        """The banner after an opening or a restart, and the time before it in which a station may hear nothing."""
        deaf_us = self.faults.get("swallow", 0)
        self._lines[number].deaf_until_us = self._now_us + deaf_us
        wait_us = max(self.settings.banner_us, deaf_us, self.faults.get("late-banner", 0))
        line = self._lines[number]

        def greet() -> None:
            if self._lines.get(number) is line:  # and not the next one on the same port
                self._say(number, f"i{self.settings.banner}")

        self._later(wait_us, greet)

    def _restart(self, time_us: int = 0) -> None:
        self._life += 1
        self.machine.restart(self._now_us)
        self._free_us = self._speaks_us = self._now_us
        self.note("station", "it has restarted; everything it was told is forgotten, the track power is off")
        for number, line in self._lines.items():
            line.forget()
            self._greet(number)

    def _hang(self, time_us: int) -> None:
        self._speaks_us = max(self._speaks_us, self._now_us + time_us)
        self._free_us = max(self._free_us, self._speaks_us)

    def _garble(self, time_us: int = 0) -> None:
        """Noise by itself, now and again, as long as the fault is on."""
        if "garbage" in self.faults and self._now_us >= self._noise_us:
            self._noise_us = self._now_us + NOISE_EVERY_US
            for line in self._lines.values():
                line.say(self._noise(), self._now_us)
            self._later(NOISE_EVERY_US, self._garble, True)

    def _never_end(self, time_us: int) -> None:
        for line in self._lines.values():
            line.say(b"<" + b"i" * ENDLESS, self._now_us)

    def _trip(self, off_us: int, left: int = TRIPS) -> None:
        """The booster gives up on a short, tries again, and the station answers all the while."""
        if self.machine.power != "on":
            self.note("track power", f"{self.machine.power}, so there is nothing to trip")
            return
        self._set_power("overload", "the booster has tripped")
        self._later(off_us, lambda: self._try_again(off_us, left - 1))

    def _try_again(self, off_us: int, left: int) -> None:
        if self.machine.power == "overload":  # else somebody has switched it meanwhile
            self._set_power("on", "the booster tries again")
            if left:
                self._later(STAYS_ON_US, lambda: self._trip(off_us, left))

    def _flood(self, time_us: int) -> None:
        for part in range(FLOOD_PARTS):
            self._later(time_us * part // FLOOD_PARTS, lambda part=part: self._flood_part(part))  # type: ignore[misc]
        self._later(time_us, self._flood_ends)

    def _flood_part(self, part: int) -> None:
        """Unpaced: as fast as a station on a network could be."""
        ids = list(self.machine.detectors) or [1]
        for turn in range(FLOOD // FLOOD_PARTS):
            round_of, which = divmod(part * FLOOD // FLOOD_PARTS + turn, len(ids))
            for number in list(self._lines):
                self._say(number, f"{'Qq'[round_of % 2]} {ids[which]}", paced=False)

    def _flood_ends(self) -> None:
        """The truth comes last."""
        self._say_to_all(*[self.machine.report(number) for number in list(self.machine.detectors) or [1]])

    def _unplug_later(self, left_us: int, time_us: int) -> None:
        self._later(left_us - self._now_us + ARRIVES_US, lambda: self._unplug(time_us), True)

    def _unplug(self, time_us: int) -> None:
        """The cable comes out. The station stays awake, having a supply of its own."""
        if not self.plugged:
            return
        self.plugged = False
        self._lines.clear()
        self.note("line", "the cable is out")
        self._later(time_us, self._plug, True)

    def _plug(self) -> None:
        self.plugged = True
        self.note("line", "the cable is in again")


FOR_EVER = -1

BEGINS: dict[str, Callable[[Station, int], None]] = {
    "silence": Station._hang,
    "restart": Station._restart,
    "garbage": Station._garble,
    "endless-reply": Station._never_end,
    "booster-trips": Station._trip,
    "flood": Station._flood,
    "unplug": Station._unplug,
}

__all__ = ["Entry", "Left", "Refused", "Settings", "Station"]
