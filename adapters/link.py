"""A link without its port: bytes in, bytes and inputs out, at instants that somebody else tells. Owns its state.

After each connection, restart of the station or return of track power all of its outputs are put right, when its
boards have had their time: guarded ones first, servos one after another (the pacer does both). The serial text is from
memory. Does no I/O and asks nobody for the time; instants are integer microseconds and never go back.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple

from adapters import dialects as d
from adapters.codec import Decoder, Frame, encode
from adapters.dialects import dialect_of, say, understand
from adapters.link_asking import Asking
from adapters.link_health import Facts, Health, words
from adapters.link_inputs import LinkInputs
from adapters.link_outputs import LinkOutputs, size_of
from adapters.link_starting import Starting
from adapters.link_states import NEXT, OPEN, TIMES, Event, State, Times, back_off_us
from engine.events import Input
from engine.layout import Layout, Link
from engine.waves import Wave

BURST = 64  # commands of one call at most
ASK_INPUTS = 3  # times that detectors are asked which have said nothing
MOST_ORDERS = 16


class Left(NamedTuple):
    """A command that goes out now; when it should have gone, if it tells an output what it should show."""

    data: bytes
    due_us: int | None = None


class LinkMachine:
    """One link. It begins unplugged, with nothing known. Raises BadWords for words that cannot be used."""

    def __init__(self, layout: Layout, link: Link, now_us: int = 0, times: Times = TIMES) -> None:
        self.link, self.times = link, times
        self.state, self.since_us = State.UNPLUGGED, now_us
        self.retry_us = now_us  # when the port should be tried again
        self.trouble = ("", "")  # why it is not open, and what to try
        self.banner = ""  # what its station says of itself
        self.inputs = LinkInputs(layout, link, times.contact_us)
        self.outputs = LinkOutputs(layout, link, times, now_us)
        self._starting = Starting(layout, link, times, self.outputs)
        self._dialect = dialect_of(link)
        self._decoder = Decoder()
        self._asking = Asking(times, link.outstanding, mute="status" not in self._dialect.words)
        self._orders: deque[str] = deque(maxlen=MOST_ORDERS)
        self._awake_us = now_us
        self._ask_inputs_us: int | None = None  # when its detectors are asked next
        self._ask_inputs = 0  # how often more that is soon
        self._now_us = now_us
        self._frames = self._noise = self._refused = self._failures = 0  # on this connection
        self.refused = self.noise = 0

    # --- the port --------------------------------------------------------------------------------------------------

    def opened(self, now_us: int) -> None:
        """The port is open. Nothing is sent yet: a station that starts anew would not hear it."""
        self._now_us = max(self._now_us, now_us)
        self._decoder.forget()
        self._frames = self._noise = self._refused = self._failures = 0
        self._awake_us = now_us + (self.times.banner_us if self.link.resets else self.times.quiet_us)
        self._step(Event.OPENED)

    def lost(self, now_us: int, what: str, instead: str = "") -> None:
        """The port is gone, or could not be opened; `retry_us` says when to try again."""
        self._now_us = max(self._now_us, now_us)
        self.trouble = (what, instead)
        self._failures += 1
        self.retry_us = now_us + back_off_us(self.times, self._failures)
        self._step(Event.LOST if self.state in OPEN else Event.NOT_OPENED)

    def received(self, data: bytes, now_us: int) -> list[Input]:
        """Bytes have come. What they mean for the engine, with all else that has happened."""
        self.take_in(data, now_us)
        return self.take()

    def take_in(self, data: bytes, now_us: int) -> None:
        """The same, where what has happened is taken later."""
        self._look(now_us)
        if self.state in OPEN:
            for found in self._decoder.feed(data):
                if isinstance(found, Frame):
                    said = understand(self._dialect, found)
                    _HEARD[type(said)](self, said)
                else:
                    self.noise += found.count
                    self._noise += found.count

    def take(self, now_us: int | None = None) -> list[Input]:
        """What has happened since it was last asked, for the engine; see `LinkInputs.take`."""
        return self.inputs.take(now_us)

    # --- what is wanted --------------------------------------------------------------------------------------------

    def want(self, output: str, wave: Wave, at_us: int) -> bool:
        """From an instant on an output should do this; whether it is one of this link's."""
        return self.outputs.want(output, wave, at_us)

    def order(self, operation: str) -> bool:
        """Say something once, as soon as it can hear: "power on", "stop". False where its dialect has no words."""
        if operation in self._dialect.words:
            self._orders.append(say(self._dialect, operation))
            return True
        return False

    @property
    def power(self) -> str:
        """Track power, as the station has said: "on", "off", "overload"; empty where it has not."""
        return self._starting.power

    @property
    def idle(self) -> bool:
        """Whether nothing is left to tell, or nobody there to be told."""
        if self.state is State.TALKING:
            return self.outputs.idle
        return self.state not in OPEN or self.state is State.SILENT or self.power in ("off", "overload")

    # --- when, and what to write -----------------------------------------------------------------------------------

    def next_due(self) -> int | None:
        """When `due` should be called next; it may be late already. None: not before something happens."""
        if self.state not in OPEN:
            return self.inputs.next_due()
        if self.state is State.WAKING:
            return self._awake_us
        dues: list[int | None] = [self._asking.next_us(), self._now_us if self._orders else None]
        if self.state is State.WAITING:
            dues.append(self._starting.next_due())
        elif self.state is State.TALKING:
            dues += [self.inputs.next_due(), self.outputs.next_look()]
            dues.append(self._ask_inputs_us)
            dues.append(None if self._asking.blocked else self.outputs.next_due())
        return min((due_us for due_us in dues if due_us is not None), default=None)

    def due(self, now_us: int) -> list[bytes]:
        """All that should be written now."""
        return [left.data for left in self.leaving(now_us)]

    def leaving(self, now_us: int) -> list[Left]:
        """The same, with when each should have gone."""
        self._look(now_us)
        left: list[Left] = []
        while len(left) < BURST and (more := self._next(now_us)):
            left += more
        return left

    def _next(self, now_us: int) -> list[Left]:
        """The next command, by what cannot wait."""
        if self.state not in OPEN or self.state is State.WAKING:
            return []
        if self._orders:
            return [Left(encode(self._orders.popleft()))]
        if now_us >= self._asking.next_us():
            self._asking.ask(now_us)
            return [Left(encode(say(self._dialect, "status")))]
        if self.state is State.WAITING:
            text = self._starting.text(now_us)
            return [Left(encode(text))] if text else []
        return self._next_talking(now_us) if self.state is State.TALKING else []

    def _next_talking(self, now_us: int) -> list[Left]:
        if self._ask_inputs_us is not None and now_us >= self._ask_inputs_us:
            return self._next_question(now_us)
        command = None if self._asking.blocked else self.outputs.command(now_us, self._asking.room)
        if command is None:
            # where there is no room, a question is due at once
            return self._next(now_us) if self._asking.blocked and now_us >= self._asking.next_us() else []
        self._asking.sent(size_of(command.texts), now_us)
        return [Left(encode(text), command.due_us) for text in command.texts]

    def _next_question(self, now_us: int) -> list[Left]:
        """What do the detectors say? Soon again while one has said nothing, and now and then in any case."""
        self._ask_inputs = max(0, self._ask_inputs - 1)
        soon = self._ask_inputs and self.inputs.unknown
        self._ask_inputs_us = now_us + (self.times.ask_us if soon else self.times.inputs_us)
        if not self.inputs.asked():
            self._step(Event.REBOOTED)
            return self._next(now_us)
        text = say(self._dialect, "ask detectors")
        self._asking.sent(size_of((text,)), now_us)
        return [Left(encode(text))]

    # --- time passes -----------------------------------------------------------------------------------------------

    def _look(self, now_us: int) -> None:
        """What the passing of time alone brings about."""
        if self.state in OPEN and now_us - self._now_us > self.times.silence_us:
            self._slept(now_us)
        self._now_us = max(self._now_us, now_us)
        self.inputs.due(now_us)
        if self.state is State.WAKING and now_us >= self._awake_us:
            self._step(Event.AWAKE)
        if self.state not in OPEN or self.state is State.WAKING:
            return
        if self._asking.rebooted(now_us):
            self._step(Event.REBOOTED)
        disowned = self.state is State.TALKING and self._asking.refuses(now_us)
        if disowned or (self.state is not State.SILENT and self._asking.silent(now_us)):
            self._step(Event.NO_ANSWER)
        self._starting.look(now_us)
        if self.state is State.WAITING and self._starting.ready(now_us):
            self._step(Event.STARTED)
        self._moved(self.outputs.look(now_us))

    def _slept(self, now_us: int) -> None:
        """This computer, or this program, was asleep: what was said meanwhile is still to be read, and asked again."""
        self._asking.slept(now_us)
        self._starting.slept(now_us)
        self.outputs.slept(now_us)
        self._ask_about_inputs(now_us)

    def _ask_about_inputs(self, now_us: int) -> None:
        if self.inputs.any and "ask detectors" in self._dialect.words:
            self._ask_inputs, self._ask_inputs_us = ASK_INPUTS, now_us

    def _step(self, event: Event) -> None:
        """From one state to the next, with what goes with it."""
        before, self.state = self.state, NEXT[self.state, event]
        if self.state is not before or event is Event.OPENED:
            self.since_us = self._now_us
        self.inputs.link_talks(self.state is State.TALKING)
        if self.state is not State.TALKING:
            self.outputs.over()
        if event in (Event.AWAKE, Event.ANSWERED, Event.REBOOTED):
            self._asking.reset(self._now_us, opened=event is Event.AWAKE)
            self._starting.begin(self._now_us)
            self.inputs.defined()
        elif event is Event.STARTED:
            self.outputs.put_right(self._now_us)
            self._ask_about_inputs(self._now_us)

    # --- what the station says -------------------------------------------------------------------------------------

    def _understood(self, reply: bool = False) -> bool:
        """It speaks. Whether what it says counts: while it wakes, only that it is awake does."""
        self._frames += 1
        if self.state is State.WAKING:
            return False
        self._asking.heard(self._now_us, reply)
        if self.state is State.SILENT:
            self._step(Event.ANSWERED)
        return True

    def _hear_power(self, said: d.PowerIs) -> None:
        if self._understood():
            self._asking.answered(self._now_us)
            if self._starting.power_is(said.state, self._now_us):
                self._step(Event.POWER_OFF)

    def _hear_banner(self, said: d.Banner) -> None:
        self.banner = said.text
        if self.state is State.WAKING:
            self._frames += 1
            self._step(Event.AWAKE)
        elif self._understood() and self._asking.begins(self._now_us, said.text):
            self._step(Event.REBOOTED)

    def _hear_detector(self, said: d.DetectorIs) -> None:
        if self._understood():
            self.inputs.report(said, self._now_us)

    def _hear_output(self, said: d.OutputIs) -> None:
        if self._understood():
            news = self.outputs.remember(said)
            if self.state is State.TALKING:
                self._moved(self.outputs.report(said, news, self._now_us))

    def _moved(self, moved: Iterable[tuple[str, float]]) -> None:
        for output, value in moved:
            self.inputs.output_moved(output, value)

    def _hear_took(self, _: d.Took) -> None:
        if self._understood(reply=True):
            self._starting.answered()

    def _hear_refused(self, _: d.Refused) -> None:
        """It does not say what it refuses. What waits for an answer of its own has most likely got it."""
        if not self._understood(reply=True):
            return
        self.refused += 1
        self._refused += 1
        if not (self._starting.answered() or self.outputs.replied()):
            self._asking.answered(self._now_us, refused=True)

    def _hear_nothing(self, _: object) -> None:
        """Words for people, or of another dialect: no sign that it understands us."""

    # --- how it is -------------------------------------------------------------------------------------------------

    def health(self) -> Health:
        """All that a view shows of it."""
        facts = Facts(
            state=self.state,
            port=self.link.port,
            baud=self.link.baud,
            trouble=self.trouble,
            power=self.power,
            frames=self._frames,
            noise=self._noise,
            refused=self._refused,
            defining=self._starting.left,
            unknown=len(self.inputs.unknown),
            unserved=len(self.outputs.unserved),
        )
        what, instead = words(facts)
        return Health(
            link=self.link.name,
            state=self.state,
            since_us=self.since_us,
            what=what,
            instead=instead,
            power=self.power,
            round_trip_us=self._asking.round_trip_us,
            refused=self.refused,
            unanswered=self.outputs.unanswered + self._starting.unanswered + self._asking.unanswered,
            noise=self.noise,
            waiting=self.outputs.waiting,
            contacts=dict(self.inputs.contacts),
            moved=self.outputs.moved,
        )


_HEARD: Mapping[type, Callable[[LinkMachine, Any], None]] = {
    d.PowerIs: LinkMachine._hear_power,
    d.Banner: LinkMachine._hear_banner,
    d.DetectorIs: LinkMachine._hear_detector,
    d.OutputIs: LinkMachine._hear_output,
    d.Took: LinkMachine._hear_took,
    d.Refused: LinkMachine._hear_refused,
    d.Remark: LinkMachine._hear_nothing,
    d.Other: LinkMachine._hear_nothing,
}
