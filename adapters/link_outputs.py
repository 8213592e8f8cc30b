"""The outputs of one link: what each was told, which reply is still to come, and the work of other hands.

When to tell what is the pacer's business, how it is said the wires'. Knows no state of the link and no port.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from adapters.dialects import OutputIs, dialect_of
from adapters.link_asking import BUFFER, FENCE_BYTES
from adapters.link_states import Times
from adapters.pacer import Pace, Pacer
from adapters.packets import commands_a_second
from adapters.wires import Served, Unserved, as_reported, commands, off_track, reported, served
from engine.codes import shown
from engine.layout import Layout, Link
from engine.waves import Steady, Wave

BITS_OF_A_BYTE = 10  # on the line: 8N1
BRACKETS = 2
CATCH_UP_US = 20_000  # a command later than that goes out as of now: what it should have been is superseded
MOST_REPORTED = 4_096  # outputs whose last report is remembered
ANSWER_S = 0.005  # a question's way to the station and its answer's back (common practice, no source)
REPLIED = {"pin"}  # operations that the station answers with the output's new state (from memory)


class Command(NamedTuple):
    """What to send for one output, and when it should have been sent."""

    texts: tuple[str, ...]
    due_us: int


class _Told(NamedTuple):
    texts: tuple[str, ...]
    at_us: int


def pace_of(link: Link) -> Pace:
    """What a link carries: what the line does, and no more than can go while an answer is on its way.

    A faster pace would only run into the station's full buffer: commands would wait there for an answer, and be late.
    """
    bytes_s = link.baud / BITS_OF_A_BYTE
    if "status" in dialect_of(link).words:
        bytes_s = min(bytes_s, (BUFFER - FENCE_BYTES) / ANSWER_S)
    return Pace(bytes_s, commands_a_second(link), link.outstanding)


def size_of(texts: tuple[str, ...]) -> int:
    """Bytes on the line."""
    return sum(len(text) + BRACKETS for text in texts)


class LinkOutputs:
    """Instants never go back."""

    def __init__(self, layout: Layout, link: Link, times: Times, now_us: int) -> None:
        self._layout, self._link, self._times = layout, link, times
        self.wires, self.unserved = _reached(layout, link)
        self._pacer = Pacer([layout.outputs[name] for name in self.wires], pace_of(link), off_track(layout, link))
        self._by_number = reported(layout, link)
        self._told: dict[str, _Told] = {}  # since everything was put right
        self._awaited: dict[str, _Told] = {}  # whose reply is still to come
        self._reported: dict[tuple[str, int], int] = {}  # what the station has said of outputs, by kind and number
        self._doubts: dict[str, tuple[int, int]] = {}  # code that contradicts what was told, and when it is judged
        self._at_us = now_us
        self.unanswered = self.moved = 0

    # --- what is wanted --------------------------------------------------------------------------------------------

    def want(self, name: str, wave: Wave, at_us: int) -> bool:
        """From an instant on an output should do this; whether it is one of this link's."""
        if name not in self.wires:
            return False
        self._at_us = max(self._at_us, at_us)
        self._pacer.want(name, wave, self._at_us)
        return True

    def known(self, name: str, code: int) -> None:
        """The far end is known to show this code already."""
        if name in self.wires:
            self._pacer.known(name, code)

    def put_right(self, now_us: int) -> None:
        """Nobody knows any more what they show: each is told anew, guarded ones first, servos one after another."""
        self._at_us = max(self._at_us, now_us)
        self._pacer.forget(self._at_us)

    def over(self) -> None:
        """The link talks no more: no reply will come."""
        self._told.clear()
        self._awaited.clear()
        self._doubts.clear()

    def forget_reports(self) -> None:
        """The station may have forgotten, too."""
        self._reported.clear()

    # --- what to send ----------------------------------------------------------------------------------------------

    def next_due(self) -> int | None:
        """When the next command should go; it may be late already."""
        return self._pacer.next_due(self._at_us)

    def next_look(self) -> int | None:
        """When to look whether a reply is missing, or a contradiction stands."""
        dues = [told.at_us + self._times.answer_us for told in self._awaited.values()]
        dues += [judged_us for _, judged_us in self._doubts.values()]
        return min(dues, default=None)

    def command(self, now_us: int, room: Callable[[int], bool]) -> Command | None:
        """The next command, if one is due and there is room for its bytes."""
        while True:
            due_us = self.next_due()
            if due_us is None or due_us > now_us:
                return None
            self._at_us = at_us = due_us if now_us - due_us <= CATCH_UP_US else now_us
            choice = self._pacer.choose(at_us)
            if choice is None:
                return None
            texts = self._texts(choice.name, choice.code)
            size = size_of(texts)
            if texts and not room(size):
                return None
            self._pacer.sent(choice.name, choice.code, at_us, size)
            self._told[choice.name] = told = _Told(texts, now_us)
            self._doubts.pop(choice.name, None)
            if texts and self.wires[choice.name].operation in REPLIED:
                self._awaited[choice.name] = told
            else:
                self._pacer.answered()
            if texts:
                return Command(texts, due_us)

    def _texts(self, name: str, code: int) -> tuple[str, ...]:
        return commands(self._layout, self._layout.outputs[name], self.wires[name], code)

    # --- what the station says -------------------------------------------------------------------------------------

    def pins_known(self) -> set[int]:
        """Pins of which the station has said something: it knows them."""
        return {number for kind, number in self._reported if kind == "pin"}

    def remember(self, said: OutputIs) -> bool:
        """Whether that is another value than it last reported. What it reports first may be of any age."""
        key = (said.kind, said.id)
        before = self._reported.get(key)
        if before is not None or len(self._reported) < MOST_REPORTED:
            self._reported[key] = said.value
        return before is not None and before != said.value

    def report(self, said: OutputIs, news: bool, now_us: int) -> Iterator[tuple[str, float]]:
        """Our own reply, an old one, or another hand; the last is told: which output shows what.

        A station keeps what it was told of an accessory under its own number, and not what we told the accessory. So
        only what has changed and is not what we told is another hand; and not before an old report is out of question.
        """
        for output, code in as_reported(self._by_number, said):
            name, told = output.name, self._told.get(output.name)
            if told is None:
                continue
            if self._texts(name, code) == told.texts:
                self._doubts.pop(name, None)
                self.replied(name)
            elif news and now_us < told.at_us + self._times.settle_us:
                self._doubts[name] = (code, told.at_us + self._times.settle_us)
            elif news:
                yield self._move(name, code, now_us)

    def replied(self, name: str = "") -> bool:
        """A reply for an output; without a name for the one that waits longest. Whether one was waiting."""
        name = name or next(iter(self._awaited), "")
        if self._awaited.pop(name, None) is None:
            return False
        self._pacer.answered()
        return True

    def _move(self, name: str, code: int, now_us: int) -> tuple[str, float]:
        """Another hand. It is left so, until the engine says what is to be."""
        self.moved += 1
        value = shown(self._layout.outputs[name], code)
        self._at_us = max(self._at_us, now_us)
        self._pacer.want(name, Steady(value), self._at_us)
        self._pacer.known(name, code)
        self._told[name] = _Told(self._texts(name, code), now_us - self._times.settle_us)
        return name, value

    def look(self, now_us: int) -> Iterator[tuple[str, float]]:
        """Time has passed: replies that are missing are not waited for; contradictions that stood are other hands."""
        for name in [name for name, told in self._awaited.items() if now_us >= told.at_us + self._times.answer_us]:
            self.unanswered += 1
            self.replied(name)
        for name in [name for name, (_, judged_us) in self._doubts.items() if now_us >= judged_us]:
            yield self._move(name, self._doubts.pop(name)[0], now_us)

    def slept(self, now_us: int) -> None:
        """Nobody here was awake: replies may have come that are still to be read."""
        self._awaited = {name: told._replace(at_us=now_us) for name, told in self._awaited.items()}

    # --- how they stand --------------------------------------------------------------------------------------------

    @property
    def waiting(self) -> int:
        """Outputs that do not show what they should."""
        return self._pacer.waiting(self._at_us)

    @property
    def idle(self) -> bool:
        return not self._awaited and not self.waiting


def _reached(layout: Layout, link: Link) -> tuple[dict[str, Served], dict[str, Unserved]]:
    """The outputs of a link: how each is told, and which cannot be."""
    wires: dict[str, Served] = {}
    unserved: dict[str, Unserved] = {}
    for name, output in layout.outputs.items():
        found = served(layout, output)
        if isinstance(found, Unserved):
            wired = layout.link_of(output.wiring)
            if wired is not None and wired.name == link.name:
                unserved[name] = found
        elif found.link == link.name:
            wires[name] = found
    return wires, unserved
