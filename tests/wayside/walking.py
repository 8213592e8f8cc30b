"""A person with a terminal and a layout before their eyes: `wayside walk` in a real pty, against a real stand-in.

The layout is the stand-in's: what moved is read from its log, so a stand-in that is wrong on purpose looks wrong.
"""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from adapters.stand_in import Station
from adapters.stand_in_ports import StandIn, running

WAITS_S = 30.0  # far more than any of it takes
GOES_HOME_S = 0.4  # until the last command of the stop before has gone, so that it is not taken for this stop's
_HEADING = r" *\d+ of \d+  [a-z0-9-]+,|That was the last stop"
ROOT = Path(__file__).parents[2]


class AtTheTerminal:
    """A program in a terminal of its own."""

    def __init__(self, *arguments: str) -> None:
        self._ours, theirs = pty.openpty()
        env = {**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "100", "LINES": "40", "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", "wayside", *arguments]
        self.process = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=env, start_new_session=True
        )
        os.close(theirs)
        self._all = ""
        self._read_to = 0

    @property
    def text(self) -> str:
        """All that was ever shown."""
        return self._all.replace("\r\n", "\n")

    def until(self, *words: str) -> str:
        """Wait for one of these words in what is new; which of them came."""
        return self.until_match("|".join(map(re.escape, words)))

    def until_match(self, pattern: str) -> str:
        """The same for a pattern; what matched."""
        end = time.monotonic() + WAITS_S
        while True:
            new = self.text[self._read_to :]
            if found := re.search(pattern, new):
                self._read_to += found.end()
                return found[0]
            assert time.monotonic() < end, f"{pattern} did not come; this did:\n{new}"
            assert self.process.poll() is None or self._more(), f"it has ended:\n{self.text}"
            self._drain(0.05)

    def type(self, line: str) -> None:
        os.write(self._ours, line.encode() + b"\n")

    def ended(self) -> int:
        end = time.monotonic() + WAITS_S
        while self.process.poll() is None:
            assert time.monotonic() < end, f"it does not end:\n{self.text}"
            self._drain(0.05)
        self._drain(0.1)
        assert "Traceback" not in self.text
        return self.process.wait()

    def _more(self) -> bool:
        before = len(self._all)
        self._drain(0.05)
        return len(self._all) > before

    def _drain(self, seconds: float) -> None:
        ready, _, _ = select.select([self._ours], [], [], seconds)
        with suppress(OSError):  # the terminal is gone with the process
            self._all += os.read(self._ours, 65_536).decode(errors="replace") if ready else ""

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self._ours)


@contextmanager
def at_the_terminal(*arguments: str) -> Iterator[AtTheTerminal]:
    one = AtTheTerminal(*arguments)
    try:
        yield one
    finally:
        one.close()


@contextmanager
def stand_in(*faults: str, power: bool = True) -> Iterator[StandIn]:
    """A station on a real pseudo-terminal, its track power switched by hand."""
    station = Station()
    for fault in faults:
        station.fault(fault, 0)
    with running(station) as one:
        if power:
            one.ask(lambda station, now_us: station.power(True, now_us))
        yield one


def port_of(one: StandIn) -> str:
    assert one.pty is not None
    return one.pty.name


class Person:
    """Somebody who looks at the layout and answers. `things` says what truly hangs on `accessory 40`, `pin 20`, ...;
    `inputs` which numbers truly report the stretch or button of a name."""

    def __init__(
        self, terminal: AtTheTerminal, layout: StandIn, things: Mapping[str, str], inputs: Mapping[str, int]
    ) -> None:
        self.terminal, self._layout, self._things, self._inputs = terminal, layout, things, inputs

    def walks(self) -> None:
        """The whole walk, from `ready` to the last stop."""
        self.terminal.until("Type ready")
        self.walks_on()

    def walks_on(self) -> None:
        """The same, where the question has come already."""
        self.terminal.type("ready")
        while (came := self.terminal.until_match(_HEADING)) != "That was the last stop":
            self._at_a_stop(came.split()[3].rstrip(","))

    def _at_a_stop(self, name: str) -> None:
        if name in self._inputs:
            self.terminal.until("skip:")
            self._rolls(name)
            return
        time.sleep(GOES_HOME_S)
        before = self._told()
        if self.terminal.until("Type go, or skip:", "skip:") == "Type go, or skip:":
            assert self._moved(before) == []
            self.terminal.type("go")
            self.terminal.until("skip:")
        self.terminal.type(self._answer(name, before))

    def _told(self) -> int:
        return self._layout.ask(lambda station, _: station.told)

    def _moved(self, before: int) -> list[str]:
        """The things of the layout that the station has worked since."""

        def look(station: Station, _: int) -> list[str]:
            new = list(station.log)[len(station.log) - (station.told - before) :] if station.told > before else []
            return [entry.thing for entry in new if entry.thing.startswith(("accessory", "pin", "servo"))]

        return [_plain(thing) for thing in self._layout.ask(look)]

    def _answer(self, name: str, before: int) -> str:
        end = time.monotonic() + WAITS_S
        while not (moved := self._moved(before)):
            assert time.monotonic() < end, f"nothing was told for {name}"
            time.sleep(0.02)
        seen = self._things.get(moved[0], "")
        return "yes" if seen == name else f"other {seen}" if seen else "no"

    def _rolls(self, name: str) -> None:
        number = self._inputs[name]
        for active in (True, False):
            self._layout.ask(lambda station, now_us, active=active: station.detector(number, active, now_us))
            time.sleep(0.15)
        if self._is_wrong(name):
            time.sleep(0.3)
            self.terminal.type("no")

    def _is_wrong(self, name: str) -> bool:
        return self._inputs[name] != self.expected.get(name, self._inputs[name])

    expected: Mapping[str, int] = {}


def _plain(thing: str) -> str:
    """`servo on pin 20` is `pin 20`."""
    return thing.removeprefix("servo on ")
