"""A far end for the tests of a link, as small as can be: no wire and no time of its own; words in, words out."""

from __future__ import annotations

import re
from collections.abc import Callable

from adapters.link import LinkMachine
from engine.events import Input
from engine.layout import (
    Button,
    Detector,
    DetectorKind,
    Itself,
    Kind,
    Layout,
    Link,
    Output,
    Position,
    Setting,
    Wiring,
)

S = 1_000_000
MS = 1_000


def lamp(name: str, pin: int, **more: object) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0), wiring=Wiring(link="main", pin=pin), **more)  # type: ignore[arg-type]


def arm(name: str, pin: int, safe: Setting | None = None) -> Output:
    positions = (Position("raised", 90.0), Position("lowered", 0.0))
    wiring = Wiring(link="main", pin=pin)
    return Output(name, Kind.SERVO, Setting(90.0), wiring=wiring, safe=safe, positions=positions, travel_us=4 * S)


def layout(**link: object) -> Layout:
    """A lamp and a guarded one on pins, two servos, one of them guarded, a relay on an accessory address; inputs."""
    wire = {"port": "loop://", "dialect": "late", "start_up_us": 500 * MS, **link}
    main = Link("main", **wire)  # type: ignore[arg-type]
    points = Output("points", Kind.RELAY, Setting(0.0), wiring=Wiring(link="main", address=61))
    turnout = Output(
        "turnout",
        Kind.SERVO,
        Setting(90.0),
        wiring=Wiring(link="main", address=62),
        positions=(Position("straight", 90.0), Position("thrown", 0.0)),
        itself=Itself.MOVES,
        itself_us=S,
    )
    outputs = (
        lamp("ada", 5),
        lamp("red", 6, safe=Setting(1.0)),
        arm("boom", 20),
        arm("gate", 21, safe=Setting(0.0)),
        points,
        turnout,
    )
    detectors = (
        Detector("lane", DetectorKind.SECTION, wiring=Wiring(link="main", pin=30)),
        Detector("beam", DetectorKind.BEAM, wiring=Wiring(link="main", pin=31)),
        Detector("reed", DetectorKind.TREADLE, wiring=Wiring(link="main", pin=32)),
    )
    return Layout(
        outputs={one.name: one for one in outputs},
        detectors={one.name: one for one in detectors},
        buttons={"bell-push": Button("bell-push", wiring=Wiring(link="main", pin=40))},
        links={"main": main},
    )


class Station:
    """Obeys commands. `answers` may be changed by a test: what it says to a command, by the command's letter."""

    def __init__(self) -> None:
        self.power = 1
        self.pins: dict[int, int] = {}  # defined, with their values
        self.levels: dict[int, int] = {}
        self.accessories: dict[str, int] = {}
        self.detectors: dict[int, bool] = {}  # defined, and whether active
        self.heard: list[tuple[int, str]] = []  # when, what
        self.held = b""
        self.now_us = 0
        self.answers: dict[str, Callable[[list[str]], str]] = {
            "s": self._status,
            "S": self._define_detector,
            "Q": lambda _: "".join(self.detector(number) for number in self.detectors),
            "Z": self._pin,
            "z": self._level,
            "a": self._accessory,
            "1": lambda _: self.set_power(1),
        }

    def restart(self) -> None:
        self.pins.clear()
        self.levels.clear()
        self.detectors.clear()
        self.accessories.clear()
        self.held = b""

    def write(self, data: bytes) -> bytes:
        """Bytes come; the bytes of the answers."""
        *texts, self.held = re.split(b">", self.held + data)
        return "".join(self._obey(text.rpartition(b"<")[2].decode()) for text in texts).encode()

    def _obey(self, text: str) -> str:
        self.heard.append((self.now_us, text))
        answer = self.answers.get(text[:1])
        return answer(text[1:].split()) if answer else "<X>"

    def told(self, letters: str = "azZ") -> list[str]:
        """What it was told of outputs, in order; definitions are not among them."""
        return [text for _, text in self.heard if text[0] in letters and not re.fullmatch(r"Z \d+ \d+ \d+", text)]

    def set_power(self, power: int) -> str:
        self.power = power
        return f"<p{power}>"

    def _status(self, _: list[str]) -> str:
        return f"<p{self.power}><iBench station>" + "".join(f"<Y {pin} {on}>" for pin, on in self.pins.items())

    def _define_detector(self, words: list[str]) -> str:
        self.detectors.setdefault(int(words[0]), False)
        return "<O>"

    def detector(self, number: int) -> str:
        return f"<{'Q' if self.detectors[number] else 'q'} {number}>"

    def set_detector(self, number: int, active: bool) -> str:
        self.detectors[number] = active
        return self.detector(number)

    def _pin(self, words: list[str]) -> str:
        pin = int(words[0])
        if len(words) == 3:
            self.pins[pin] = 0
            return "<O>"
        if pin not in self.pins:
            return "<X>"
        self.pins[pin] = int(words[1])
        return f"<Y {pin} {words[1]}>"

    def _level(self, words: list[str]) -> str:
        self.levels[int(words[0])] = int(words[1])
        return ""

    def _accessory(self, words: list[str]) -> str:
        if self.power == 1:
            self.accessories[" ".join(words[:-1])] = int(words[-1])
        return ""


class Bench:
    """A link and a station in virtual time. What the station answers is there 1 ms later."""

    def __init__(self, machine: LinkMachine, station: Station | None = None) -> None:
        self.machine = machine
        self.station = station or Station()
        self.now_us = 0
        self.inputs: list[Input] = []
        self.plugged = True
        self.answers: list[tuple[int, bytes]] = []
        self.passes: Callable[[bytes], list[bytes]] = lambda data: [data] if data else []  # what becomes of answers
        self.delay_us = MS

    def open(self, banner: str = "") -> None:
        self.machine.opened(self.now_us)
        if banner:
            self.says(banner)

    def says(self, text: str | bytes) -> None:
        """The station says something by itself, now."""
        data = text.encode() if isinstance(text, str) else text
        self.inputs += self.machine.received(data, self.now_us)

    def run(self, for_us: int, limit: int = 20_000) -> None:
        """Let time pass."""
        until_us = self.now_us + for_us
        for _ in range(limit):
            due_us = self.machine.next_due()
            dues = [at_us for at_us, _ in self.answers[:1]] + ([] if due_us is None else [due_us])
            next_us = min(dues, default=until_us)
            if next_us > until_us:
                break
            self.now_us = max(self.now_us, next_us)
            if self.answers and self.answers[0][0] <= self.now_us:
                self.says(self.answers.pop(0)[1])
            else:
                self._write()
            if next_us == until_us and not dues:
                break
        else:
            raise AssertionError("it never comes to rest")
        self.now_us = until_us
        self.inputs += self.machine.take()

    def _write(self) -> None:
        self.station.now_us = self.now_us
        for data in self.machine.due(self.now_us):
            if self.plugged:
                for answer in self.passes(self.station.write(data)):
                    self.answers.append((self.now_us + self.delay_us, answer))
        self.inputs += self.machine.take()

    def taken(self) -> list[Input]:
        """The inputs since the last time."""
        found, self.inputs = self.inputs, []
        return found
