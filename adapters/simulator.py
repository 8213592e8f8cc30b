"""The far end that is not there: trains, hands and faults of a rehearsal, turned into the kernel's inputs.

Nothing ticks: every instant is known beforehand. Knows trains by their journeys, and the kernel only by one question.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Sequence

from adapters.trains import Journey, State
from engine.events import AllStop, Detected, GoOn, Input, InUse, LinkState, Pressed, StartScene, StopScene, TrainStands
from engine.layout import DetectorKind, Layout, Wiring
from engine.program import Act, Deed, TrainRun

TREADLE_CONTACT_US = 60_000  # how long a treadle closes for a passing train; common practice, no source
PRESS_US = 300_000  # how long a finger stays on a button if nobody says; common practice, no source


class World:
    """The emulated layout. Ask `next_due`, call `advance` then and after every instant that the kernel has worked."""

    def __init__(
        self, layout: Layout, trains: Sequence[TrainRun], acts: Sequence[Act], may_pass: Callable[[str], bool]
    ) -> None:
        self.now_us = 0
        self.unheard: list[tuple[int, Act]] = []  # presses while the button's link was gone
        self._layout = layout
        self._may_pass = may_pass
        self._journeys = {n: Journey(n, run, layout.tracks[run.track]) for n, run in enumerate(trains)}
        self._sent = len(trains)
        self._acts = sorted(acts, key=lambda act: act.at_us)[::-1]  # the next one last; at one instant as written
        self._ends: list[tuple[int, int, str, str]] = []  # (instant, number, what ends, of whom)
        self._number = 0
        self._by_hand: dict[str, str] = {}
        self._stuck: dict[str, list[tuple[int, str]]] = {}  # a detector's (number, state), the latest last
        self._contact_us: dict[str, int] = {}
        self._gone: set[str] = set()
        self._down: dict[str, bool] = {}
        self._release: dict[str, int] = {}  # the number of the release that still counts
        self._told_down: dict[str, bool] = {}
        self._true = dict.fromkeys(layout.detectors, "clear")
        self._told = dict.fromkeys(layout.detectors, "clear")
        self._body = dict.fromkeys(layout.detectors, 0)  # how many trains stand on each detector's stretch
        self._seen = dict.fromkeys(layout.detectors, 0)  # and of how many a section sees something
        self._trains = [(run.from_us, n) for n, run in enumerate(trains)]  # a heap of (next due, number)
        self._held: set[int] = set()
        self._longest_unseen_us = 0
        self._unseen: dict[int, int] = {}  # since when no detector sees it, by train
        heapq.heapify(self._trains)

    def begins(self, detector: str, state: str) -> None:
        """A state from before the first instant, as if worked by hand; a train's change ends it."""
        self._by_hand[detector] = state
        self._told[detector] = state

    def next_due(self) -> int | None:
        """The next instant at which something happens by itself. A train held at a signal has none."""
        due = self._trains[0][0] if self._trains else None
        for other in (self._acts[-1].at_us if self._acts else None, self._ends[0][0] if self._ends else None):
            if other is not None and (due is None or other < due):
                due = other
        return due

    def advance(self, now_us: int) -> list[Input]:
        """What comes in until now, in order. Call it again after the kernel has worked: a signal may have cleared."""
        out: list[Input] = []
        self.now_us = now_us
        due = self.next_due()
        if (due is None or due > now_us) and not self._held:
            return out
        while due is not None and due < now_us:
            self._work(due, out)
            due = self.next_due()
        self._work(now_us, out)
        return out

    def _work(self, at_us: int, out: list[Input]) -> None:
        """One instant: what ends, then what hands do, then trains; then each detector tells its state if it is new."""
        while self._ends and self._ends[0][0] <= at_us:
            _, number, what, name = heapq.heappop(self._ends)
            self._end(number, what, name, out)
        while self._acts and self._acts[-1].at_us <= at_us:
            self._act(self._acts.pop(), at_us, out)
        moving = self._held
        if self._trains and self._trains[0][0] <= at_us:
            moving = moving.copy()
            while self._trains and self._trains[0][0] <= at_us:
                moving.add(heapq.heappop(self._trains)[1])
        for number in sorted(moving) if moving else ():
            self._run(self._journeys[number], at_us, out)
        self._see(at_us)
        self._report(self._layout.detectors, out)
        if self._journeys:
            self._overlook(at_us)

    def unseen_us(self, now_us: int) -> int:
        """The longest time up to now for which a train stood where detectors should see it, and none did."""
        return max([self._longest_unseen_us, *(now_us - since for since in self._unseen.values())])

    def _overlook(self, at_us: int) -> None:
        """Keep count of trains that no detector sees. A treadle sees passing only, and a blind stretch nothing."""
        for journey in self._journeys.values():
            on = [name for name in journey.body if self._layout.detectors[name].kind is not DetectorKind.TREADLE]
            since = self._unseen.get(journey.number)
            if since is not None:
                self._longest_unseen_us = max(self._longest_unseen_us, at_us - since)
            if not on or any(self._told[name] != "clear" for name in on):
                self._unseen.pop(journey.number, None)
            elif since is None:
                self._unseen[journey.number] = at_us

    # --- trains ----------------------------------------------------------------------------------------------------

    def send(self, run: TrainRun) -> int:
        """One more train, while all goes on; the number that it gets. Those that have gone are forgotten."""
        self._journeys = {n: one for n, one in self._journeys.items() if one.state is not State.GONE}
        number, self._sent = self._sent, self._sent + 1
        self._journeys[number] = Journey(number, run, self._layout.tracks[run.track])
        heapq.heappush(self._trains, (run.from_us, number))
        return number

    def take_away(self, number: int, at_us: int) -> list[Input]:
        """Lift a train off its track; what comes in by that. Nothing where there is no such train."""
        journey = self._journeys.pop(number, None)
        if journey is None:
            return []
        self._trains = [one for one in self._trains if one[1] != number]
        heapq.heapify(self._trains)
        self._held.discard(number)
        self._unseen.pop(number, None)
        out: list[Input] = []
        for name in sorted(journey.body):
            self._body[name] -= 1
            out.append(TrainStands(number, name, False))
        for name in journey.seen:
            self._seen[name] -= 1
        self._see(at_us)
        self._report(self._layout.detectors, out)
        return out

    @property
    def under_way(self) -> tuple[Journey, ...]:
        """The trains that are on their tracks, in the order sent."""
        return tuple(one for one in self._journeys.values() if one.state not in (State.TO_COME, State.GONE))

    def _run(self, journey: Journey, at_us: int, out: list[Input]) -> None:
        body, seen = journey.body, journey.seen
        course = journey.advance(at_us, self._may_pass)
        if course is not None:
            out.append(course)
        for name, on in _changes(body, journey.body):
            self._body[name] += 1 if on else -1
            out.append(TrainStands(journey.number, name, on))
        for name, on in _changes(seen, journey.seen):
            self._seen[name] += 1 if on else -1
        for instant, stretch in journey.contacts:
            self._tread(journey.detector_of(stretch), instant)
        journey.contacts.clear()
        (self._held.add if journey.held else self._held.discard)(journey.number)
        due = journey.next_due()
        if due is not None:
            heapq.heappush(self._trains, (due, journey.number))

    def _tread(self, detector: str | None, at_us: int) -> None:
        if detector is not None and self._layout.detectors[detector].kind is DetectorKind.TREADLE:
            self._contact_us[detector] = at_us + TREADLE_CONTACT_US
            self._later(at_us + TREADLE_CONTACT_US, "contact", detector)

    def _see(self, at_us: int) -> None:
        """What trains make of every detector; a change ends what a hand did to it."""
        for name, detector in self._layout.detectors.items():
            if detector.kind is DetectorKind.TREADLE:
                occupied = self._contact_us.get(name, 0) > at_us
            else:
                occupied = (self._body if detector.kind is DetectorKind.BEAM else self._seen)[name] > 0
            state = "occupied" if occupied else "clear"
            if state != self._true[name]:
                self._true[name] = state
                self._by_hand.pop(name, None)

    # --- hands and faults ------------------------------------------------------------------------------------------

    def _act(self, act: Act, at_us: int, out: list[Input]) -> None:
        name = act.subject
        match act.deed:
            case Deed.PRESS:
                self._press(act, at_us, out)
            case Deed.LET_GO:
                self._release.pop(name, None)
                self._button(name, False, out)
            case Deed.START:
                out.append(StartScene(name, act.place))
            case Deed.STOP:
                out.append(StopScene(name, act.place))
            case Deed.ALL_STOP:
                out.append(AllStop())
            case Deed.GO_ON:
                out.append(GoOn())
            case Deed.PUT_ASIDE | Deed.PUT_BACK:
                out.append(InUse(name, act.deed is Deed.PUT_BACK))
            case Deed.LOSE_LINK | Deed.MEND_LINK:
                self._link(name, act.deed is Deed.LOSE_LINK, out)
            case Deed.BECOMES:
                self._by_hand[name] = act.state
                self._report((name,), out)
            case Deed.STAYS:
                number = self._later(None if act.for_us is None else at_us + act.for_us, "stays", name)
                self._stuck.setdefault(name, []).append((number, act.state))
                self._report((name,), out)

    def _press(self, act: Act, at_us: int, out: list[Input]) -> None:
        if self._is_gone(self._layout.buttons[act.subject].wiring):
            self.unheard.append((at_us, act))
        self._button(act.subject, True, out)
        holds_us = act.for_us if act.for_us is not None else self._finger_us(act.subject)
        self._release[act.subject] = self._later(None if holds_us is None else at_us + holds_us, "press", act.subject)
        if holds_us == 0:
            self._button(act.subject, False, out)

    def _finger_us(self, button: str) -> int | None:
        """A press without a time is short, unless the next thing that happens to the button is that it is let go."""
        later = (act for act in reversed(self._acts) if act.subject == button and act.deed in (Deed.PRESS, Deed.LET_GO))
        following = next(later, None)
        return None if following is not None and following.deed is Deed.LET_GO else PRESS_US

    def _end(self, number: int, what: str, name: str, out: list[Input]) -> None:
        if what == "stays":
            self._stuck[name] = [one for one in self._stuck[name] if one[0] != number]
        elif what == "press" and self._release.get(name) == number:
            self._button(name, False, out)

    def _later(self, at_us: int | None, what: str, name: str) -> int:
        """A numbered end to come; None is never."""
        self._number += 1
        if at_us is not None:
            heapq.heappush(self._ends, (at_us, self._number, what, name))
        return self._number

    def _link(self, link: str, lost: bool, out: list[Input]) -> None:
        if lost == (link in self._gone):
            return
        (self._gone.add if lost else self._gone.discard)(link)
        out.append(LinkState(link, "gone" if lost else "talking"))
        self._report((n for n, one in self._layout.detectors.items() if link_of(self._layout, one.wiring) == link), out)
        for name, down in self._down.items():
            self._button(name, down, out)

    def _is_gone(self, wiring: Wiring) -> bool:
        return link_of(self._layout, wiring) in self._gone

    def _button(self, name: str, down: bool, out: list[Input]) -> None:
        """A finger's doing; it is heard if the link talks, else when the link is mended."""
        self._down[name] = down
        if self._told_down.get(name, False) != down and not self._is_gone(self._layout.buttons[name].wiring):
            self._told_down[name] = down
            out.append(Pressed(name, down))

    # --- detectors -------------------------------------------------------------------------------------------------

    def _state(self, name: str) -> str:
        """What a detector says: nothing over a lost link, else what it is stuck in, a hand's work, or the trains."""
        if self._is_gone(self._layout.detectors[name].wiring):
            return "unknown"
        stuck = self._stuck.get(name)
        return stuck[-1][1] if stuck else self._by_hand.get(name, self._true[name])

    def _report(self, names: Iterable[str], out: list[Input]) -> None:
        for name in names:
            state = self._state(name)
            if state != self._told[name]:
                self._told[name] = state
                out.append(Detected(name, state))


def _changes(before: frozenset[str], after: frozenset[str]) -> list[tuple[str, bool]]:
    """What a train came on to, then what it left."""
    if before == after:
        return []
    return [*((name, True) for name in sorted(after - before)), *((name, False) for name in sorted(before - after))]


def link_of(layout: Layout, wiring: Wiring) -> str | None:
    """The link that something is wired to, by its board if it is on one. Where there is one link, all is on it."""
    if wiring.board in layout.boards:
        return layout.boards[wiring.board].link
    if wiring.link is None and len(layout.links) == 1:
        return next(iter(layout.links))
    return wiring.link
