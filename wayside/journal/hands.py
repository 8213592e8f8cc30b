"""What hands, and the show day, ask of a show, as entries of its journal. Knows inputs, and no file."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from engine.events import (
    AllStop,
    ByHand,
    Close,
    Darken,
    GoOn,
    HandWorking,
    Hush,
    Input,
    InUse,
    LetGo,
    OutputMoved,
    SetClock,
    StartScene,
    StopScene,
)
from engine.layout import Place

# what an operator can do that no line of a rehearsal does
UNSAYABLE = (Darken, Hush, ByHand, LetGo, HandWorking, SetClock)
_BY_NAME = (StartScene._field_defaults["why"], StopScene._field_defaults["why"])


class Asked(NamedTuple):
    """One entry: its kind, what it is about, the sentence, and the same for programs."""

    kind: str
    subject: str
    text: str
    details: dict[str, Any]


def asked(event: Input) -> Asked | None:
    """None for what has an entry of its own by what it brings about, such as a detector's state."""
    match event:
        case StartScene(scene, _, why) | StopScene(scene, _, why):
            verb = "start" if isinstance(event, StartScene) else "stop"
            by = "by hand" if why in _BY_NAME else f"by the show day: {why}"
            kind = "hand" if why in _BY_NAME else "day"
            return Asked(kind, scene, f"scene {scene}: {verb} {by}", {"deed": verb})
        case OutputMoved(output, value):
            text = f"{output} was told something by somebody else on the station"
            return Asked("hand", output, text, {"deed": "moved", "value": value})
        case AllStop():
            return Asked("hand", "", "all stop", {"deed": "all stop"})
        case GoOn():
            return Asked("hand", "", "go on", {"deed": "go on"})
        case InUse(detector, used):
            how = "back in use" if used else "out of use"
            return Asked("hand", detector, f"{detector} is put {how}", {"deed": how})
        case Close():
            return Asked("show", "", "the show is being ended", {"state": "closing"})
        case _ if isinstance(event, UNSAYABLE):
            return Asked("hand", "", in_words(event), {"deed": "other"})
    return None


def in_words(event: Input) -> str:
    """An input in words: `start scene evening`, `by hand lamp 0.4`, `darken yes`, `clock 17:45:00`."""
    if isinstance(event, SetClock):
        ways = {True: "run", False: "stop", None: ""}
        return " ".join(part for part in ("clock", _time(event.second), ways[event.running]) if part)
    name = re.sub(r"(?<!^)(?=[A-Z])", " ", type(event).__name__).lower()
    said = ("yes" if value is True else "no" if value is False else value for value in event)
    return " ".join([name, *(str(value) for value in said if not isinstance(value, Place) and value != "")])


def _time(second: int | None) -> str:
    return "" if second is None else f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
