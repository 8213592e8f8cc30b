"""The trace: what happened, as frozen records in order. Pictures, expectations, rules and journals all read it."""

from __future__ import annotations

from typing import NamedTuple

from engine.layout import Place
from engine.waves import Wave


class Told(NamedTuple):
    """An output was given a waveform. `scene` is empty when no scene asked (rest, safe state, the operator).

    Of several orders to one output in an instant only the last is here.
    """

    at_us: int
    output: str
    wave: Wave
    scene: str
    place: Place
    why: str = ""  # "line", "dropped", "given back", "rest", "safe", "longest time on", "hold", ...


class Began(NamedTuple):
    """A line that takes time began. `line` pairs it with its `Ended`."""

    at_us: int
    line: int
    scene: str
    place: Place


class Ended(NamedTuple):
    """`how`: "ran out", "dropped" or "stopped"; "ran out of time" for a wait whose `at most` was reached."""

    at_us: int
    line: int
    how: str


class Did(NamedTuple):
    """A line that takes no time."""

    at_us: int
    scene: str
    place: Place


class SceneIs(NamedTuple):
    """`state`: "running", "ended", "stopping", "stopped"; `why` in words; `place` what asked."""

    at_us: int
    scene: str
    state: str
    why: str
    place: Place


class Saw(NamedTuple):
    """A detector's settled state: "occupied", "clear" or "unknown"."""

    at_us: int
    detector: str
    state: str


class ButtonIs(NamedTuple):
    at_us: int
    button: str
    pressed: bool


class FlagIs(NamedTuple):
    at_us: int
    flag: str
    value: bool


class CounterIs(NamedTuple):
    at_us: int
    counter: str
    value: int


class LinkIs(NamedTuple):
    at_us: int
    link: str
    state: str


class TrainAt(NamedTuple):
    """Where a train truly is from this instant on: its front's and tail's place along the track, and its speed.

    Places are micrometres from the track's beginning; speed is micrometres a second, negative on the way back. The
    place at a later instant is place + speed * time, until the train's next record.
    """

    at_us: int
    train: int
    track: str
    front_um: int
    tail_um: int
    speed_um_s: int


class TrainOn(NamedTuple):
    """A train's body came on to, or left, the stretch of a detector: the truth, whatever the detector says."""

    at_us: int
    train: int
    detector: str
    on: bool


class TrainTaken(NamedTuple):
    """In a live show a train is taken to be on the stretch of a detector, or there no more: see `engine.proven`."""

    at_us: int
    detector: str
    on: bool


class Noted(NamedTuple):
    at_us: int
    scene: str
    text: str
    place: Place


class Broke(NamedTuple):
    """A rule broke: `place` is the line of the rule, `since_us` when what broke it began."""

    at_us: int
    rule: str
    place: Place
    since_us: int


class Trouble(NamedTuple):
    """Something was cut or refused: a loop that took no time, reactions that never settled, a limit.

    `cut`: a scene was stopped for it, since it did not settle.
    """

    at_us: int
    text: str
    places: tuple[Place, ...]
    cut: bool = False


Record = (
    Told
    | Began
    | Ended
    | Did
    | SceneIs
    | Saw
    | ButtonIs
    | FlagIs
    | CounterIs
    | LinkIs
    | TrainAt
    | TrainOn
    | TrainTaken
    | Noted
    | Broke
    | Trouble
)
