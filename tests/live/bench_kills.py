"""A real `wayside run`, killed at any instant and started again, against a far end that keeps its outputs meanwhile."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from bench_crossing import FarEnd, until, written

SECONDS_TO_BEGIN = 60.0


class Shows:
    """One show after another on one folder and one far end."""

    def __init__(self, folder: Path) -> None:
        self.project = written(folder)
        self.folder = folder
        self.far = FarEnd("tcp", folder / "port")
        self.far.power()
        self.process: subprocess.Popen[bytes] | None = None

    def begin(self, *options: str) -> None:
        command = [sys.executable, "-m", "wayside", "run", str(self.folder), "--port", self.far.url, "--plain"]
        with open(self.folder / "said.txt", "ab") as said:
            self.process = subprocess.Popen([*command, *options], stdin=subprocess.PIPE, stdout=said, stderr=said)

    def kill(self) -> None:
        assert self.process is not None
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait(10)

    def close(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.kill()
        self.far.stop()

    def mark_us(self) -> int:
        return self.far.now_us()


def killed_at(shows: Shows, number: int) -> None:
    """One life: begin, let a train come at some instant, be killed at another, begin again, and come right.

    What must be so: no barrier rises while a train is about (the far end's own judge looks); after the second beginning
    the crossing is closed as long as the train is there, and opens when it has gone.
    """
    draw = random.Random(number)
    begun_us = shows.mark_us()
    shows.begin()
    until(lambda: opens_the_road(order_of_guarded(shows, begun_us)) and shows.far.up())  # all clear
    train = draw.random() < 0.8
    time.sleep(draw.uniform(0, 0.3))
    if train:
        shows.far.train("up-approach")
    time.sleep(draw.uniform(0, 0.9))
    shows.kill()
    if train and draw.random() < 0.3:
        shows.far.train("up-approach", False)
        train = False
    elif not train and draw.random() < 0.5:
        shows.far.train("up-approach")  # it comes while nobody looks
        train = True
    if draw.random() < 0.3:
        shows.far.power(False)  # and somebody has kicked the plug
        shows.far.power()
    since_us = shows.mark_us()
    shows.begin()
    if train:
        until(lambda: shows.far.down() and _asked_for_inputs(shows, since_us))
        shows.far.train("lane")
        shows.far.train("up-approach", False)
        time.sleep(0.1)
        assert shows.far.down()
        shows.far.train("lane", False)
    until(lambda: shows.far.up())
    assert shows.far.judge.rises == []
    shows.kill()


def _asked_for_inputs(shows: Shows, since_us: int) -> bool:
    """Whether the new show has told anything yet: before that, what stands is what the old one left."""
    return bool(order_of_guarded(shows, since_us))


LOWERED = " 544"  # the pulse of 0 degrees, as the layout has it


def opens_the_road(told: list[str]) -> bool:
    """Whether barriers were told to rise: arms alone may still be up from the show before this one."""
    return any(one.startswith(("z 20 ", "z 21 ")) and not one.endswith(LOWERED) for one in told)


def order_of_guarded(shows: Shows, since_us: int) -> list[str]:
    """The first commands after an instant, as the far end got them."""
    commands = [entry.command.strip("<>") for entry in shows.far.log(since_us)]
    return [command for command in commands if command[:2] in ("z ", "Z ", "a ")]
