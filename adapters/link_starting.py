"""What must be so before a link can talk: the station has answered, knows its detectors and pins, and has power.

Knows the order of these things and no state of the link. Definitions go out one at a time, each with its own answer.
"""

from __future__ import annotations

from collections import deque

from adapters.dialects import dialect_of
from adapters.hearing import inputs
from adapters.link_outputs import LinkOutputs
from adapters.link_states import Times
from adapters.wires import pin_definitions
from engine.layout import Layout, Link


class Starting:
    """The way from an answer to a link that talks."""

    def __init__(self, layout: Layout, link: Link, times: Times, outputs: LinkOutputs) -> None:
        self._link, self._times, self._outputs = link, times, outputs
        detectors = [(None, wire.definition) for wire in inputs(layout, link) if wire.definition]
        pins = [(outputs.wires[name].number("pin"), text) for name, text in pin_definitions(layout, link)]
        self._all: list[tuple[int | None, str]] = [*detectors, *pins]
        self._asks = "status" in dialect_of(link).words
        self.power = ""  # "on", "off" or "overload"; empty: not known
        self.unanswered = 0
        self._left: deque[tuple[int | None, str]] = deque()
        self._asked_us: int | None = None  # since when a definition has had no answer
        self._define_us: int | None = None  # when definitions may begin
        self._ready_us: int | None = None  # when its boards can be told

    def begin(self, now_us: int) -> None:
        """Nothing is known of the station."""
        self.power = ""
        self._left = deque(self._all)
        self._asked_us = self._define_us = self._ready_us = None
        self._outputs.forget_reports()
        if not self._asks:  # a far end that cannot say how it is has to be taken as it is
            self.power, self._define_us, self._ready_us = "on", now_us, now_us + self._link.start_up_us

    def power_is(self, power: str, now_us: int) -> bool:
        """It has said how its power is. Whether it went off, or is found to be off."""
        before, self.power = self.power, power
        if self._define_us is None:
            # its report goes on: pins that it names it knows, and to define them again would switch them
            self._define_us = now_us + 2 * self._times.report_us
        if power != "on":
            self._ready_us = None
            return power != before
        if before != "on":
            self._ready_us = now_us + self._link.start_up_us
        return False

    def next_due(self) -> int | None:
        if self._asked_us is not None:
            return self._asked_us + self._times.answer_us
        return self._define_us if self._left else self._ready_us

    def text(self, now_us: int) -> str:
        """The next definition; empty where none can go now."""
        if self._asked_us is not None or self._define_us is None or now_us < self._define_us:
            return ""
        known = self._outputs.pins_known()
        while self._left:
            pin, text = self._left.popleft()
            if pin is None or pin not in known:
                self._asked_us = now_us
                return text
        return ""

    def answered(self) -> bool:
        """A definition was taken or refused. Whether one was waiting for that."""
        waited, self._asked_us = self._asked_us is not None, None
        return waited

    def look(self, now_us: int) -> None:
        if self._asked_us is not None and now_us >= self._asked_us + self._times.answer_us:
            self.unanswered += 1
            self._asked_us = None

    def slept(self, now_us: int) -> None:
        self._asked_us = None if self._asked_us is None else now_us

    def ready(self, now_us: int) -> bool:
        """Whether it can be told what its outputs should do."""
        return self._ready_us is not None and now_us >= self._ready_us and self.left == 0

    @property
    def left(self) -> int:
        """Definitions without an answer."""
        return len(self._left) + (self._asked_us is not None)
