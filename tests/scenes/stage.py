"""A small layout for tests of the language, and scenes as text on it."""

from __future__ import annotations

from engine.layout import (
    Aspect,
    Button,
    Crossing,
    Detector,
    DetectorKind,
    Feed,
    Itself,
    Kind,
    Layout,
    Link,
    Output,
    Position,
    Setting,
    Stretch,
    Track,
)
from engine.program import Program, Scene, Statement
from scenes.check import check
from scenes.compiler import compile_program
from scenes.parse import parse
from scenes.problems import Problem

S = 1_000_000


def lamp(name: str, steps: int = 1, safe: bool = False, itself: Itself | None = None) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0), steps=steps, safe=Setting(1.0) if safe else None, itself=itself)


def barrier(name: str, itself_us: int = 0) -> Output:
    return Output(
        name,
        Kind.SERVO,
        Setting(85.0),
        positions=(Position("raised", 85.0), Position("lowered", 0.0)),
        limits=(0.0, 90.0),
        travel_us=4 * S,
        dead_band_deg=0.5,
        itself=Itself.MOVES if itself_us else None,
        itself_us=itself_us,
    )


def pulse(name: str, feed: str | None = "unit") -> Output:
    return Output(name, Kind.PULSE, Setting(0.0), pulse_us=120_000, feed=feed)


OUTPUTS = (
    lamp("amber"),
    lamp("red-left"),
    lamp("red-right"),
    lamp("guard-lamp", safe=True),
    lamp("pair", itself=Itself.FLASHES),
    *(lamp(f"quay-{number}", 255) for number in range(1, 6)),
    barrier("near-barrier"),
    barrier("far-barrier"),
    barrier("slow-barrier", itself_us=7 * S),
    Output("arm", Kind.SERVO, Setting(0.0), positions=(Position("danger", 0.0), Position("clear", 45.0)), travel_us=S),
    Output(
        "signal",
        Kind.SIGNAL,
        Setting(0.0),
        aspects=(
            Aspect("danger", (("arm", 0.0), ("signal-lamp", 1.0)), stops=True),
            Aspect("clear", (("arm", 45.0), ("signal-lamp", 0.0))),
        ),
    ),
    lamp("signal-lamp"),
    Output("bell", Kind.SOUND, Setting(0.0), longest_on_us=300 * S),
    Output("crane", Kind.MOTOR, Setting(0.0)),
    Output("yard-power", Kind.RELAY, Setting(0.0)),
    pulse("point-left"),
    pulse("point-right"),
)
LAYOUT = Layout(
    name="bench",
    outputs={output.name: output for output in OUTPUTS},
    detectors={name: Detector(name, DetectorKind.SECTION) for name in ("approach", "middle", "lane")},
    buttons={"red-button": Button("red-button")},
    tracks={
        "up-line": Track(
            "up-line",
            (Stretch("approach", 1500), Stretch(None, 200), Stretch("middle", 500), Stretch("lane", 300)),
            fastest_mm_s=150,
            shortest_train_mm=300,
        )
    },
    links={"main": Link("main")},
    feeds={"unit": Feed("unit", recharge_us=2 * S)},
    crossings={
        "crossing": Crossing(
            "crossing", entrance_barriers=("near-barrier",), exit_barriers=("far-barrier",), on_the_road=("lane",)
        )
    },
)


def read(text: str, layout: Layout = LAYOUT) -> tuple[Program, list[Problem]]:
    """The program of a scene file's text, and the compiler's problems; the text itself must be readable."""
    parsed = parse(text, "bench.scene")
    assert not parsed.problems, parsed.problems
    return compile_program([parsed.node], layout)


def problems(text: str, layout: Layout = LAYOUT) -> list[Problem]:
    """All problems of a text, the second look's among them."""
    program, found = read(text, layout)
    return [*found, *check(program)]


def sound(text: str, layout: Layout = LAYOUT) -> Program:
    """The program of a text without errors."""
    program, found = read(text, layout)
    assert [problem for problem in found if not problem.advice] == []
    return program


def scene(lines: str, layout: Layout = LAYOUT, before: str = "") -> Scene:
    """A scene `s` with these lines."""
    return sound(f"{before}\n{in_scene(lines)}", layout).scenes["s"]


def line(text: str, before: str = "") -> Statement:
    """What one line compiles to."""
    return scene(text, before=before).block[0]


def in_scene(lines: str) -> str:
    return "scene s\n" + "".join(f"    {one}\n" for one in lines.strip("\n").split("\n"))


def said(found: list[Problem]) -> str:
    """All that was said, as one text."""
    return "\n".join(f"{problem.what} {problem.instead}" for problem in found)
