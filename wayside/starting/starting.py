"""The first files of a new layout, from a few answers: a layout file with remarks, a scene and rehearsals of it. Pure.

Owns what stands in every layout file; what each kind of thing needs is in `crossing` and `lights`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

CROSSING, LAMPS, SIGNAL, LAMP = "crossing", "lamps", "signal", "lamp"
LATE, EARLY, NONE = "late", "early", "none"
MOST_LAMPS = 12


class Answers(NamedTuple):
    """What is known of the layout. Only some of it matters for each `what`."""

    what: str
    name: str
    station: str = NONE  # the dialect of a station, or none
    tracks: int = 1
    barriers: int = 2
    detectors: bool = True
    approach_mm: int = 2400  # from where a train is first seen to the road
    speed_mm_s: int = 120  # of the fastest train
    lamps: int = 4
    place: str = "street"  # where the lamps stand
    arm: bool = False  # whether the signal has an arm, or two lamps


class Part(NamedTuple):
    """What one kind of thing puts into the files. Lines without their line ends; a layout's sections by their names."""

    sections: Mapping[str, list[str]]
    scene_file: str
    scene: str


class Wires:
    """Where things are wired: on the station's accessories, on its pins, or nowhere yet."""

    def __init__(self, station: str) -> None:
        self.station = station
        self._ports = 0
        self._pins = {"servo": 20, "lamp": 100, "input": 60}

    @property
    def pins(self) -> bool:
        """Whether lamps can be dimmed and servos be moved from here; with nothing wired yet, all is possible."""
        return self.station != EARLY

    def switched(self) -> str:
        """Something that is on or off: a port of the board."""
        self._ports += 1
        return f", board: first-board, port: {self._ports - 1}" if self.station != NONE else ""

    def pin(self, sort: str) -> str:
        """A pin of the station: for a servo, a lamp that is dimmed, or an input."""
        self._pins[sort] += 1
        return f", link: main, pin: {self._pins[sort] - 1}" if self.station != NONE else ""

    def lamp(self) -> str:
        """A lamp that is dimmed where it can be."""
        return f", dimmable: yes{self.pin('lamp')}" if self.pins else self.switched()

    def servo(self, travel: str, by_itself: str) -> str:
        """A servo, with its own time where the station moves it, and the board's where that does."""
        return (
            f", full travel: {travel}{self.pin('servo')}"
            if self.pins
            else f", moves by itself: {by_itself}{self.switched()}"
        )

    def heads(self) -> list[str]:
        """The station and its board, as the layout file has them."""
        if self.station == NONE:
            return [
                "# No station yet: all of this can be checked, rehearsed and run with --dry-run all the same. When",
                "# there is one, add `links:` and `boards:`, and say at each thing where it is wired.",
            ]
        lines = [
            "# The station, and what hangs on it. Find its port with `wayside probe`, and write it in here as",
            "# `port: /dev/ttyUSB0` or `port: COM5`. Until then nothing is opened.",
            "links:",
            f"  main: {{kind: serial text, dialect: {self.station}}}",
        ]
        if self._ports:
            lines += [
                "boards:",
                "  # a board with ports that are on or off; its port 0 has this address",
                f"  first-board: {{link: main, first address: 41, ports: {max(8, self._ports)}}}",
            ]
        return lines


def files(answers: Answers) -> dict[str, str]:
    """The texts by the names of their files."""
    from wayside.starting import crossing as starting_crossing
    from wayside.starting import lights as starting_lights

    makers: dict[str, Callable[[Answers, Wires], Part]] = {
        CROSSING: starting_crossing.part,
        LAMPS: starting_lights.lamps,
        SIGNAL: starting_lights.signal,
        LAMP: starting_lights.lamp,
    }
    wires = Wires(answers.station)
    part = makers[answers.what](answers, wires)
    lines = [
        f"# {answers.name}: what is wired where. Scenes use the names only. After any change: wayside check.",
        f'layout: "{answers.name}"',
        'clock: {starts at: "17:40", ratio: 1}   # the layout clock, by which an evening begins',
        "",
        *wires.heads(),
    ]
    for section, body in part.sections.items():
        lines += ["", f"{section}:", *(f"  {line}" if line else "" for line in body)]
    return {"layout.yaml": "\n".join(lines) + "\n", part.scene_file: part.scene.strip("\n") + "\n"}


def seconds(value: float) -> str:
    """A time as a scene has it: `7 s`, `2500 ms`."""
    return f"{value:g} s" if value == int(value) else f"{round(value * 1000)} ms"
