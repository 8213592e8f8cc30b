"""What a link hears, kept until the engine takes it: the last state of each thing, so that no flood makes it longer.

Treadles and buttons are latched, since a contact may be over before anybody has looked: it is shown for a while, and
counted. Knows no bytes and no port.
"""

from __future__ import annotations

from collections import Counter

from adapters.dialects import DetectorIs
from adapters.hearing import meanings, meant
from engine.events import Detected, Input, LinkState, OutputMoved, Pressed
from engine.layout import DetectorKind, Layout, Link

MOST_STRANGE = 256  # numbers that the layout does not name, of which it is known how often they change
MISSES = 2  # questions about detectors that nobody answers, though one was answered before


class LinkInputs:
    """The inputs of one link. It begins with everything unknown, and says so."""

    def __init__(self, layout: Layout, link: Link, contact_us: int) -> None:
        self._layout = layout
        self._link = link.name
        self._contact_us = contact_us
        self._by_id = meanings(layout, link)
        wires = [wire for several in self._by_id.values() for wire in several]
        self._detectors = [wire.name for wire in wires if wire.sort == "detector"]
        self._latched = {wire.name for wire in wires if wire.sort == "button"} | {
            name for name in self._detectors if layout.detectors[name].kind is DetectorKind.TREADLE
        }
        self.contacts: Counter[str] = Counter()  # how often each treadle and button has made contact
        self.strange: Counter[int] = Counter()  # how often numbers have changed that the layout does not name
        self._strangers: dict[int, bool] = {}
        self._waiting: dict[str, Input] = {}
        self._said: dict[str, Input] = {}  # what each thing has said last, whoever has taken it
        self._shown_until_us: dict[str, int] = {}
        self._later: dict[str, Input] = {}  # ends of contacts that are still to be shown
        self._reports = 0  # since they were last asked for
        self._asked = False  # whether they have been asked for since the link began to talk
        self._answers = False  # whether a question was answered since they were defined
        self._misses = 0  # questions without an answer since the last one
        self.talking = True
        self.link_talks(False)

    @property
    def any(self) -> bool:
        """Whether there is anything on this link that could be asked."""
        return bool(self._by_id)

    @property
    def unknown(self) -> list[str]:
        """The detectors that have said nothing since the link began to talk."""
        return [name for name in self._detectors if name not in self._said]

    # --- what happens ----------------------------------------------------------------------------------------------

    def link_talks(self, talks: bool) -> None:
        """From now on reports count; or they do not, and nothing is known any more."""
        if talks != self.talking:
            self.talking = talks
            self._put(f"link {self._link}", LinkState(self._link, "talking" if talks else "gone"))
            if not talks:
                self._gone()

    def defined(self) -> None:
        """The station is told them anew: whether it answers questions about them is to be seen."""
        self._answers, self._misses = False, 0

    def asked(self) -> bool:
        """They are asked for again. False where the station has answered before and does so no more: it forgot them.

        One answer may get lost; two in a row do not.
        """
        answered, self._reports = self._reports > 0, 0
        if self._asked:
            self._answers = self._answers or answered
            self._misses = 0 if answered else self._misses + 1
        self._asked = True
        return not (self._answers and self._misses >= MISSES)

    def _gone(self) -> None:
        self._asked, self._reports = False, 0
        self._said.clear()
        self._later.clear()
        self._shown_until_us.clear()
        for name in self._detectors:
            self._put(name, Detected(name, "unknown"))
        for name in self._latched.difference(self._detectors):
            self._waiting.pop(name, None)  # a button of a link that is gone says nothing, not even late

    def report(self, said: DetectorIs, now_us: int) -> None:
        """A report of the station."""
        if not self.talking:
            return
        self._reports += said.id in self._by_id
        if said.id not in self._by_id:
            self._stranger(said)
            return
        for wire, event in zip(self._by_id.get(said.id, ()), meant(self._layout, self._by_id, said), strict=True):
            if self._said.get(wire.name) == event:
                continue
            if wire.name in self._latched:
                self._contact(wire.name, event, now_us)
            else:
                self._put(wire.name, event)
            self._said[wire.name] = event

    def _stranger(self, said: DetectorIs) -> None:
        """A number that the layout does not name: a train that changes it has found a detector's true number."""
        before = self._strangers.get(said.id)
        if before is None and len(self._strangers) >= MOST_STRANGE:
            return
        self._strangers[said.id] = said.active
        self.strange[said.id] += before is not None and before != said.active

    def _contact(self, name: str, event: Input, now_us: int) -> None:
        if _closed(event):
            self.contacts[name] += name in self._said  # what it says first may be a train that stands there
            self._shown_until_us[name] = now_us + self._contact_us
            self._later.pop(name, None)
            self._put(name, event)
        elif name in self._shown_until_us:
            self._later[name] = event
        else:
            self._put(name, event)

    def output_moved(self, output: str, value: float) -> None:
        """Somebody else has told an output."""
        self._put(f"output {output}", OutputMoved(output, value))

    def _put(self, key: str, event: Input) -> None:
        self._waiting.pop(key, None)  # what is new comes last
        self._waiting[key] = event

    # --- when and what ---------------------------------------------------------------------------------------------

    def next_due(self) -> int | None:
        """When the next contact has been shown for long enough."""
        return min((self._shown_until_us[name] for name in self._later if name not in self._waiting), default=None)

    def due(self, now_us: int) -> None:
        """Let contacts end that have been shown for long enough, and taken."""
        for name in [name for name in self._later if name not in self._waiting]:
            if self._shown_until_us[name] <= now_us:
                del self._shown_until_us[name]
                self._put(name, self._later.pop(name))

    @property
    def waiting(self) -> bool:
        return bool(self._waiting)

    def take(self, now_us: int | None = None) -> list[Input]:
        """All that has happened since the last time, in order. With an instant a contact is shown from then on."""
        if now_us is not None:
            for name in self._shown_until_us.keys() & self._waiting.keys():
                if _closed(self._waiting[name]):  # else whoever is late would see its beginning and its end at once
                    self._shown_until_us[name] = max(self._shown_until_us[name], now_us + self._contact_us)
        events = list(self._waiting.values())
        self._waiting.clear()
        return events


def _closed(event: Input) -> bool:
    """Whether a contact is made."""
    return event.down if isinstance(event, Pressed) else isinstance(event, Detected) and event.state == "occupied"
