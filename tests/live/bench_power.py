"""Power gone from all of it at once: a real `wayside run` and the station beside it, both killed at one instant.

The station is a stand-in in a process of its own, so that SIGKILL ends it as a pulled plug does. What outlasts the plug
is what outlasts it in a hall: the files of the show, where trains stand, and arms, which are left anywhere.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing, suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from bench_crossing import ARMS, REACTS_US, STATION, TRAINS, Judge, until, written
from bench_kills import LOWERED, opens_the_road

from adapters.stand_in import Station
from adapters.stand_in_ports import StandIn
from adapters.stand_in_servo import Servo

PATIENCE_S = 20.0


def serve(talk: Connection, port: int, arms: dict[int, float], trains: frozenset[str]) -> None:
    """The station, from when it has power again. Its trains and arms are where they were; it knows nothing else."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    judge, station = Judge(), Station(STATION)
    judge.about_since_us = 1 - REACTS_US if trains else None  # what stands there has long stood there
    for pin, degrees in arms.items():
        station.machine.servos[pin] = Servo(degrees, STATION.servo_deg_s)
    for name, number in TRAINS.items():
        station.detector(number, name in trains, 0, by_current=True)
    far = StandIn(station, False, port, watch=judge)
    far.open()
    answers: dict[str, Any] = {
        "power": lambda there, now_us: there.power(True, now_us),
        "angles": lambda there, now_us: {name: there.angle(pin, now_us) for name, pin in ARMS.items()},
        "log": lambda there, _: [tuple(one) for one in there.log],
        "rises": lambda *_: [tuple(one) for one in judge.rises],
    }

    def listens() -> None:
        with suppress(EOFError, OSError):
            while True:
                asked, *values = talk.recv()
                if asked == "train":
                    number, there = TRAINS[values[0]], values[1]
                    far.ask(lambda one, now_us, n=number, t=there: one.detector(n, t, now_us, by_current=True))
                    talk.send(None)
                else:
                    talk.send(far.ask(answers[asked]))

    threading.Thread(target=listens, daemon=True).start()
    far.serve()


class Hall:
    """One show after another, with its station, in a hall whose power goes."""

    def __init__(self, folder: Path) -> None:
        written(folder)
        self.folder = folder
        with closing(socket.create_server(("127.0.0.1", 0))) as free:
            self.port = free.getsockname()[1]
        self.trains: set[str] = set()
        self._show: subprocess.Popen[bytes] | None = None
        self._station: Any = None
        self._talk: Connection | None = None

    # --- what goes on and off ----------------------------------------------------------------------------------------

    def station_starts(self, arms: dict[int, float]) -> None:
        spawn = multiprocessing.get_context("spawn")
        self._talk, theirs = spawn.Pipe()
        self._station = spawn.Process(target=serve, args=(theirs, self.port, arms, frozenset(self.trains)), daemon=True)
        self._station.start()
        self.ask("angles")  # its door is open

    def show_starts(self) -> None:
        port = f"socket://127.0.0.1:{self.port}"
        command = [sys.executable, "-m", "wayside", "run", str(self.folder), "--port", port, "--plain", "--no-desk"]
        with open(self.folder / "said.txt", "ab") as said:
            self._show = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=said, stderr=said)

    def plug_is_pulled(self) -> None:
        """Both are gone at once, with no last word."""
        assert self._show is not None
        pids = (self._show.pid, self._station.pid)
        for pid in pids:
            os.kill(pid, signal.SIGKILL)
        self._show.wait(10)
        self._station.join(10)

    def close(self) -> None:
        for pid in (self._show and self._show.poll() is None and self._show.pid, self._station and self._station.pid):
            if pid:
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
        if self._show is not None:
            self._show.wait(10)

    # --- what is seen ------------------------------------------------------------------------------------------------

    def ask(self, *what: Any) -> Any:
        assert self._talk is not None
        self._talk.send(what)
        assert self._talk.poll(PATIENCE_S), "the station does not answer"
        return self._talk.recv()

    def train(self, name: str, there: bool = True) -> None:
        self.trains = self.trains | {name} if there else self.trains - {name}
        self.ask("train", name, there)

    def down(self) -> bool:
        return max(self.ask("angles").values()) < 0.2

    def up(self) -> bool:
        return min(self.ask("angles").values()) > 84.8

    def told(self) -> list[str]:
        """What outputs were told since the station has power, in order."""
        commands = [one[2].strip("<>") for one in self.ask("log")]
        return [command for command in commands if command[:2] in ("z ", "Z ", "a ")]

    def journal(self) -> tuple[str, int]:
        """What the database itself says of its file, by its own check; and how many shows it tells of."""
        with closing(sqlite3.connect(self.folder / "journal.sqlite")) as file:
            (verdict,) = file.execute("pragma integrity_check").fetchone()
            (shows,) = file.execute("select count(distinct show) from entry").fetchone()
        return verdict, shows


def power_goes(hall: Hall, number: int) -> None:
    """One life: all is well, a train may come, the plug is pulled at any instant; all comes on again, and right."""
    draw = random.Random(number)
    hall.station_starts(dict.fromkeys(ARMS.values(), 85.0))
    hall.ask("power")
    hall.show_starts()
    until(lambda: opens_the_road(hall.told()) and hall.up())
    if draw.random() < 0.8:
        hall.train(draw.choice(list(TRAINS)))
    time.sleep(draw.uniform(0, 0.9))
    hall.plug_is_pulled()
    whole, before = hall.journal()
    assert whole == "ok"
    if draw.random() < 0.3:
        hall.trains ^= {"lane"}  # somebody lifts it off the track, or puts one on
    arms = {pin: draw.uniform(0, 85) for pin in ARMS.values()}
    if draw.random() < 0.5:
        hall.show_starts()
        time.sleep(draw.uniform(0, 0.5))
        hall.station_starts(arms)
    else:
        hall.station_starts(arms)
        hall.show_starts()
    time.sleep(draw.uniform(0, 0.7))
    hall.ask("power")  # the station comes on without it: somebody switches it on
    if hall.trains:
        until(lambda: hall.told() and hall.down())
        hall.train("lane")
        time.sleep(0.3)
        assert hall.down()
        for name in tuple(hall.trains):
            hall.train(name, False)
    until(hall.up)
    assert hall.ask("rises") == []
    in_a_safe_order(hall.told())
    until(lambda: hall.journal()[1] == before + 1)
    hall.plug_is_pulled()
    assert hall.journal()[0] == "ok"


GUARDED = ("z 20 ", "z 21 ", "Z 23 ", "Z 24 ", "a 11 0 ", "a 11 1 ")  # barriers, the signal's lamps, the reds
RED = "Z 23 1"


def in_a_safe_order(told: list[str]) -> None:
    """The signal at danger and every barrier lowered before either is raised, and before any lamp of the scenery."""
    barriers = {pin: [one for one in told if one.startswith(f"z {pin} ")] for pin in ARMS.values()}
    for commands in barriers.values():
        assert commands[0].endswith(LOWERED), told[:20]
    raised = next(n for n, one in enumerate(told) if one.startswith(("z 20 ", "z 21 ")) and not one.endswith(LOWERED))
    first = told[:raised]
    assert RED in first, first
    assert all(any(one.startswith(f"z {pin} ") for one in first) for pin in ARMS.values()), first
    assert any(one.startswith("a 11 0 ") for one in first), first  # the reds have been told to show
    other = next((n for n, one in enumerate(told) if not one.startswith(GUARDED)), len(told))
    assert RED in told[:other], told[: other + 1]
    assert any(one.startswith(("z 20 544", "z 21 544")) for one in told[:other]), told[: other + 1]
