"""What comes in from outside: the kernel's inputs, as frozen records."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from engine.layout import NOWHERE, Place

if TYPE_CHECKING:
    from engine.program import Program


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


class AllStop(NamedTuple):
    """Everything stops, and guarded outputs are left safe; nothing begins again until `GoOn`."""


class GoOn(NamedTuple):
    """Scenes may begin again after an all stop."""


class Darken(NamedTuple):
    """Every lamp that is not guarded goes out (`held`), or does again what its scene wants of it."""

    held: bool


class Hush(NamedTuple):
    """The same for sounds."""

    held: bool


class ByHand(NamedTuple):
    """An output is taken from its scene and shows a value until it is let go."""

    output: str
    value: float


class LetGo(NamedTuple):
    """What was taken by hand is given back."""

    output: str


class HandWorking(NamedTuple):
    """A crossing is worked by hand: its signals to danger first, then its barriers may be told; or is given back."""

    crossing: str
    held: bool


class InUse(NamedTuple):
    """A detector is put out of use, whatever it says, or back in use."""

    detector: str
    used: bool


class SetClock(NamedTuple):
    """The layout clock: a time of day (seconds after midnight) from now on, or stopped, or going on; None: as it is."""

    second: int | None
    running: bool | None


class Close(NamedTuple):
    """The show is over: every scene but `keeps` is stopped, none begins again, and what is guarded is made safe."""

    keeps: str = ""


class Quieten(NamedTuple):
    """From now on nothing begins by a clock (`on`), or it does again."""

    on: bool


class Swap(NamedTuple):
    """Perform another program of the same layout when the scenes that differ are idle; `at_once`: they are stopped.

    `what` names what was edited.
    """

    program: Program
    at_once: bool
    what: str = ""


class KeepOld(NamedTuple):
    """What waited to be swapped in is waited for no more."""


class Remark(NamedTuple):
    """Something to be read in the trace, of which no scene speaks."""

    text: str
    place: Place = NOWHERE


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
    | AllStop
    | GoOn
    | Darken
    | Hush
    | ByHand
    | LetGo
    | HandWorking
    | InUse
    | SetClock
    | Close
    | Quieten
    | Swap
    | KeepOld
    | Remark
    | TrainMoves
    | TrainStands
)
