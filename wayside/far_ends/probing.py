"""A short talk with one far end: open its port, listen, ask how it is, ask its detectors, and write down what came.

Decides what is asked and for how long. What it means is the business of `diagnosis`. It tells nobody to move, and
never switches the track power.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from adapters.codec import Decoder, Frame, encode
from adapters.dialects import (
    DIALECTS,
    Banner,
    DetectorIs,
    Dialect,
    Other,
    OutputIs,
    PowerIs,
    Refused,
    Remark,
    Said,
    Took,
    dialect_of,
    say,
    understand,
)
from adapters.hearing import InputWire, inputs
from adapters.link_states import TIMES
from adapters.packets import BadNumber, numbers
from adapters.seats import seat_of
from adapters.serial_port import Port, PortTrouble
from adapters.wires import Served, served
from engine.layout import Layout, Link, Output
from wayside.far_ends.diagnosis import Lost, Numbering, Observed, is_text

ROUNDS = 7  # answered questions after the first, for the round trip
PATIENCE_US = 2_000_000  # for one answer, before it is taken as lost
FOR_STATUS = 0.6  # of the time that is left; the rest is for the detectors
SHORT_PATIENCE_US = 500_000  # for the answer to a definition
GAP_US = 200_000  # between two reports, before no more are expected
MOST_UNANSWERED = 2  # definitions in a row, then no more are sent
MOST_KEPT = 1_000  # detectors, outputs; the first ones
MOST_REMARKS, MOST_TURNS = 5, 20
USUAL_SPEEDS = (115_200, 57_600, 38_400, 19_200, 9_600, 230_400)
SPEED_US = 2_000_000  # for each speed that is tried


class Question(NamedTuple):
    """What one link is asked, and in whose words."""

    link: Link
    dialects: tuple[Dialect, ...]
    layout: Layout | None = None

    @property
    def may_reset(self) -> bool:
        """Whether opening the port moves its control lines, so that the station may start anew."""
        return self.link.resets and not self.link.port.lower().startswith(("socket:", "loop:"))


def of_port(port: str, baud: int) -> Question:
    """A port without a layout: the words of every built-in dialect are tried."""
    return Question(Link("", port=port, baud=baud), tuple(DIALECTS.values()))


def of_link(layout: Layout, link: Link) -> Question:
    return Question(link, (dialect_of(link),), layout)


def probe(question: Question, for_us: int) -> Observed:
    """The whole talk, in `for_us` at most from when the port is open. Raises nothing but for Ctrl-C."""
    link = question.link
    seen = Observed(link.port, link.name, link.baud, link.dialect, numbering=_numbering(question))
    if not link.port:
        return seen
    began_ns = time.monotonic_ns()
    try:
        port = Port.open(link.port, link.baud, leave_lines_alone=not link.resets)
    except PortTrouble as trouble:
        return seen._replace(trouble=Lost(trouble.kind, trouble.what, trouble.instead))
    opened_us = (time.monotonic_ns() - began_ns) // 1_000
    talk = _Talk(port, question, for_us)
    trouble_then = None
    try:
        talk.hold()
    except PortTrouble as trouble:
        trouble_then = Lost(trouble.kind, trouble.what, trouble.instead)
    finally:
        port.close()
    return talk.told(seen)._replace(opened_us=opened_us, trouble=trouble_then)


def other_speeds(question: Question) -> Iterator[tuple[int, bool]]:
    """The usual speeds but the link's own, one after another, and whether what comes has a sense there."""
    for baud in USUAL_SPEEDS:
        if baud != question.link.baud:
            link = Link("", port=question.link.port, baud=baud, resets=question.link.resets)
            yield baud, bool(probe(Question(link, question.dialects), SPEED_US).meant)


def _numbering(question: Question) -> Numbering | None:
    """The layout's first accessory on the link, in both ways of counting."""
    if question.layout is None:
        return None
    for output in question.layout.outputs.values():
        wire, seat = served(question.layout, output), seat_of(question.layout, output.wiring)
        if not isinstance(wire, Served) or wire.operation != "accessory" or seat is None or wire.link != seat.link.name:
            continue
        if seat.link.name == question.link.name:
            return _both_ways(question, output, seat.number)
    return None


def _both_ways(question: Question, output: Output, number: int) -> Numbering | None:
    def command(from_one: bool) -> str:
        board, port = numbers(number, from_one)
        return f"<{say(question.dialects[0], 'accessory', board=board, port=port, act=1)}>"

    link = question.link
    try:
        mine = numbers(number, link.from_one)
        return Numbering(
            output.name,
            number,
            link.from_one,
            mine.board,
            command(link.from_one),
            command(not link.from_one),
            output.positions[0].name if output.positions else "on",
        )
    except BadNumber:
        return None


class _Talk:
    """What is said and heard while the port is open."""

    def __init__(self, port: Port, question: Question, for_us: int) -> None:
        self._port = port
        self._question = question
        self._began_ns = time.monotonic_ns()
        self._ends_us = for_us
        self._decoder = Decoder()
        self._spoken: set[str] = set()
        self._came = self._noise = self._frames = self._meant = self._echoes = 0
        self._replies = self._refusals = 0
        self._sample = b""
        self._banner = self._unknown = ""
        self._greeted_us: int | None = None
        self._questions = self._answered = self._refused = 0
        self._round_trips: list[int] = []
        self._powers: list[str] = []
        self._detectors: dict[int, bool] = {}
        self._outputs: dict[tuple[str, int], int] = {}
        self._remarks: list[str] = []
        self._not_taken: list[str] = []
        self._asked_detectors = self._names_track = False
        layout = question.layout
        self._wanted: Sequence[InputWire] = () if layout is None else inputs(layout, question.link)

    def hold(self) -> None:
        first_us = TIMES.banner_us if self._question.may_reset else TIMES.quiet_us
        self._listen(min(first_us, self._ends_us // 2), lambda: bool(self._banner))
        if self._banner:
            self._greeted_us = self._now_us()
        self._quiet()
        self._ask_how_it_is()
        if self._answered and self._answered > self._refused:
            self._define_detectors()
            self._ask_detectors()

    # --- asking ----------------------------------------------------------------------------------------------------

    def _ask_how_it_is(self) -> None:
        """Again and again, so that the time of an answer is known; whoever has not yet answered may be starting."""
        dialects = [one for one in self._question.dialects if "status" in one.words]
        texts = list(dict.fromkeys(say(one, "status") for one in dialects))
        last_us = self._now_us() + int(FOR_STATUS * (self._ends_us - self._now_us()))
        while texts and self._answered <= ROUNDS and self._now_us() < (last_us if self._answered else self._ends_us):
            text = texts[self._questions % len(texts)] if not self._answered else texts[0]
            refusals, began_us = self._refusals, self._now_us()
            answered = self._ask(text, PATIENCE_US)
            if answered and not self._answered:
                texts = [text]
                self._questions = 0
            self._questions += answered or not self._answered or self._now_us() - began_us >= PATIENCE_US
            if answered:
                self._answered += 1
                self._round_trips.append(self._now_us() - began_us)
                self._quiet(self._round_trips[-1])  # what is late by so much must not pass for the next answer
                self._refused += self._refusals > refusals

    def _define_detectors(self) -> None:
        """As a show does when it begins: a station that has just started knows none."""
        unanswered = 0
        for wire in self._wanted:
            if not wire.definition or unanswered >= MOST_UNANSWERED or self._now_us() >= self._ends_us:
                continue
            refusals = self._refusals
            unanswered = 0 if self._ask(wire.definition, SHORT_PATIENCE_US) else unanswered + 1
            if self._refusals > refusals:
                self._not_taken.append(wire.name)

    def _ask_detectors(self) -> None:
        text = next((say(one, "ask detectors") for one in self._question.dialects if "ask detectors" in one.words), "")
        if not text or self._now_us() >= self._ends_us:
            return
        self._asked_detectors = True
        before = len(self._detectors)
        patience_us = self._now_us() + min(PATIENCE_US, SHORT_PATIENCE_US + 2 * max(self._round_trips))
        refusals = self._refusals
        self._write(text)
        self._listen(patience_us, lambda: len(self._detectors) > before or self._refusals > refusals)
        wanted = {wire.id for wire in self._wanted}
        while not (wanted and wanted <= set(self._detectors)) and self._now_us() < patience_us:
            came = self._came
            self._listen(self._now_us() + GAP_US, lambda came=came: self._came > came)  # type: ignore[misc]
            if self._came == came:
                return

    def _ask(self, text: str, patience_us: int) -> bool:
        """Whether something came that could be an answer; reports of detectors and outputs never are."""
        replies = self._replies
        self._write(text)
        self._listen(self._now_us() + patience_us, lambda: self._replies > replies)
        return self._replies > replies

    # --- the line --------------------------------------------------------------------------------------------------

    def _now_us(self) -> int:
        return (time.monotonic_ns() - self._began_ns) // 1_000

    def _write(self, text: str) -> None:
        self._spoken.add(text.strip())
        self._port.write(encode(text))

    def _listen(self, until_us: int, enough: Callable[[], bool]) -> None:
        while not enough() and self._now_us() < min(until_us, self._ends_us):
            self._take(self._port.read())

    def _quiet(self, gap_us: int = 0) -> None:
        """Let it finish: until nothing comes, for so long at least, and no frame has begun."""
        last_us = self._now_us()
        until_us = min(last_us + TIMES.report_us + 2 * gap_us, self._ends_us)
        while self._now_us() < until_us:
            data = self._port.read()
            self._take(data)
            if data:
                last_us = self._now_us()
            elif not self._decoder.held and self._now_us() - last_us >= gap_us:
                return

    def _take(self, data: bytes) -> None:
        self._came += len(data)
        for piece in self._decoder.feed(data):
            if not isinstance(piece, Frame):
                self._noise += piece.count
                self._sample = self._sample if self._sample and not is_text(self._sample) else piece.sample
            elif piece.text in self._spoken:
                self._echoes += 1
            else:
                self._frames += 1
                self._hear(piece, understand(self._question.dialects[0], piece))

    def _hear(self, frame: Frame, said: Said) -> None:
        self._replies += isinstance(said, PowerIs | Banner | Took | Refused | Other)
        self._meant += not isinstance(said, Other)
        self._refusals += isinstance(said, Refused)
        match said:
            case PowerIs(state):
                self._names_track = self._names_track or len(frame.text[1:].split()) > 1
                if self._powers[-1:] != [state] and len(self._powers) < MOST_TURNS:
                    self._powers.append(state)
            case Banner(text):
                self._banner = self._banner or text or "(no words)"
            case DetectorIs(number, active) if number in self._detectors or len(self._detectors) < MOST_KEPT:
                self._detectors[number] = active
            case OutputIs(kind, number, value) if len(self._outputs) < MOST_KEPT:
                self._outputs[kind, number] = value
            case Remark(text) if text not in self._remarks and len(self._remarks) < MOST_REMARKS:
                self._remarks.append(text)
            case Other(text):
                self._unknown = self._unknown or text

    # --- the result ------------------------------------------------------------------------------------------------

    def told(self, seen: Observed) -> Observed:
        layout = self._question.layout
        closed = {name for name, one in layout.detectors.items() if one.closed_circuit} if layout else set()
        return seen._replace(
            listened_us=self._now_us(),
            came=self._came,
            noise=self._noise,
            sample=self._sample,
            frames=self._frames,
            meant=self._meant,
            echoes=self._echoes,
            unknown=self._unknown,
            banner=self._banner,
            greeted_us=self._greeted_us,
            can_ask=any("status" in one.words for one in self._question.dialects),
            asked=self._questions,
            answered=self._answered,
            refused=self._refused,
            round_trips_us=tuple(sorted(self._round_trips)),
            powers=tuple(self._powers),
            names_track=self._names_track,
            asked_detectors=self._asked_detectors,
            detectors=tuple(self._detectors.items()),
            wanted=tuple((wire.id, wire.name, wire.sort, wire.name in closed) for wire in self._wanted),
            not_taken=tuple(self._not_taken),
            outputs=tuple((kind, number, value) for (kind, number), value in self._outputs.items()),
            remarks=tuple(self._remarks),
        )
