"""What stands in a picture's rows, as records: spans, ticks, the looks that tell them apart. Knows no trace, no ink."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from engine.waves import Wave


class Look(Enum):
    """How a span is drawn; each can be told from the others without colour."""

    IDLE = "idle"  # off, clear: a base line only
    SHADE = "shade"  # a level, or a fade from one to another
    FLASH = "flash"
    FLICKER = "flicker"
    DENSE = "flashing too quickly to draw each"
    LEVEL = "level line"  # a servo that stands
    MOVE = "move"  # a servo on its way
    STOP_ASPECT = "aspect that stops trains"
    GO_ASPECT = "aspect that lets trains go"
    COLOUR = "one of a lamp's named colours"
    WHITE = "a lamp's white, or a fade from one to another"
    SOLID = "occupied"
    UNKNOWN = "unknown"
    RUNNING = "running"
    STOPPING = "stopping"
    BUSY = "changes too quick to draw"


class Span(NamedTuple):
    """From one instant to another. `low`, `high`: the level at either end, or a servo's share of its travel.

    `levels`: what it shows on the way, at even distances, the first and the last included; empty: evenly.
    """

    from_us: int
    to_us: int
    look: Look
    low: float = 0.0
    high: float = 0.0
    text: str = ""
    pulses: Wave | None = None  # of what flashes: lit while the value is above nought
    levels: tuple[float, ...] = ()


class Tick(NamedTuple):
    """Something that takes no time."""

    at_us: int
    text: str


@dataclass(frozen=True)
class Row:
    """One line of the picture. `sort` and `name` say whose; `beside` stands small beside the name."""

    sort: str
    name: str
    spans: tuple[Span, ...] = ()
    ticks: tuple[Tick, ...] = ()
    beside: str = ""
    marks: tuple[tuple[str, float], ...] = ()  # a servo's named positions and their shares of its travel

    @property
    def idle(self) -> bool:
        """Nothing ever happens in it."""
        return not self.ticks and (not self.spans or (len(self.spans) == 1 and self.spans[0].look is Look.IDLE))


def joined(spans: Sequence[Span]) -> list[Span]:
    """Neighbours that look alike become one: a line that says again what is so already leaves no seam."""
    out: list[Span] = []
    for span in spans:
        last = out[-1] if out else None
        still = last is not None and last.low == last.high == span.low == span.high and not span.levels
        if last is not None and still and last[2:] == span[2:]:
            out[-1] = last._replace(to_us=span.to_us)
        else:
            out.append(span)
    return out
