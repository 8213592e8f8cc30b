"""What comes in from outside: the kernel's inputs, as frozen records."""

from __future__ import annotations

from typing import NamedTuple

from engine.layout import NOWHERE, Place


class Detected(NamedTuple):
    """A detector's raw state, before it has settled: "occupied", "clear" or "unknown"."""

    detector: str
    state: str


class Swept(NamedTuple):
    """A person has looked at a detector's stretch in a live show, and no train stands there."""

    detector: str


class Pressed(NamedTuple):
    button: str
    down: bool


class LinkState(NamedTuple):
    link: str
    state: str


class OutputMoved(NamedTuple):
    """Somebody else has told an output: a hand on the same station. The value that it has now."""

    output: str
    value: float


class StartScene(NamedTuple):
    scene: str
    place: Place = NOWHERE
    why: str = "asked for by name"


class StopScene(NamedTuple):
    scene: str
    place: Place = NOWHERE
    why: str = "stopped by name"


class Stand(NamedTuple):
    """An output that no scene holds goes to its safe state, or to rest."""

    output: str
    safe: bool


class Close(NamedTuple):
    """The show is over: every scene is stopped, as by name, and none begins again."""


class TrainMoves(NamedTuple):
    """For the trace and for what reads the truth: a train's new course."""

    train: int
    track: str
    front_um: int
    tail_um: int
    speed_um_s: int


class TrainStands(NamedTuple):
    """A train's body came on to (`on`) or left the stretch of a detector."""

    train: int
    detector: str
    on: bool


Input = (
    Detected
    | Swept
    | Pressed
    | LinkState
    | OutputMoved
    | StartScene
    | StopScene
    | Stand
    | Close
    | TrainMoves
    | TrainStands
)
