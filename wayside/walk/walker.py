"""A walk under way: at which stop, what is shown there, what a person answers. Terminal and page work it alike.

Knows no port and asks nobody for the time. What it tells goes to a `Hand`; nothing is told before hands are off the
track, and nothing that moves before that was agreed to, one by one.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from engine.events import Input
from engine.layout import Layout
from wayside.usage import near_miss
from wayside.walk.answers import Answer, How
from wayside.walk.listening import Listening, state_of
from wayside.walk.showing import Hand, Showing
from wayside.walk.signs import Heard
from wayside.walk.stops import OUTPUT, Round, Stop
from wayside.walk.words import TAKEN, answer_of, caution_of, must_ask, task_of

HANDS, ASKS, SHOWS, ROLLS, HOMING, DONE = "hands", "asks", "shows", "rolls", "homing", "done"


class Said(NamedTuple):
    """What came of a word: whether it was taken, and a sentence."""

    fine: bool = True
    says: str = ""


class Walker:
    """One walk. `answers` are those of before; all of it may be read at any time."""

    def __init__(
        self,
        layout: Layout,
        walk: Round,
        hand: Hand,
        answers: dict[str, Answer],
        stops: Iterable[Stop],
        positions: dict[str, float] | None = None,
    ) -> None:
        self.layout, self.round, self.answers = layout, walk, answers
        self.stops = tuple(stops)  # of this walk, in order
        self.positions = positions if positions is not None else {}  # where servos were last told to go, degrees
        self.showing = Showing(layout, hand, self.positions)
        self.heard: dict[str, Heard] = {}  # how a link was when something of it did nothing
        self.phase, self.at = HANDS, 0
        self.inputs: dict[str, str] = {}  # the last state of each detector and button
        self.homing = ""  # what goes home
        self._hand = hand
        self._listening: Listening | None = None
        self._until_us = 0  # when it is at home

    @property
    def stop(self) -> Stop | None:
        """The stop that it is at."""
        return self.stops[self.at] if self.at < len(self.stops) else None

    @property
    def caution(self) -> str:
        """What is to be thought of before this stop is told anything."""
        stop = self.stop
        return (
            "" if stop is None or stop.sort != OUTPUT else caution_of(stop, self.layout, self.showing.place(stop.name))
        )

    @property
    def task(self) -> str:
        return "" if self.stop is None else task_of(self.stop, self.layout)

    @property
    def taken(self) -> str:
        """What to do about a detector that is occupied before a wagon has come."""
        return TAKEN if self._listening is not None and self._listening.taken else ""

    @property
    def says(self) -> str:
        """What is told just now."""
        return f"{self.homing} goes home" if self.homing else self.showing.says

    def waits_for(self) -> str:
        """Why nothing is told at this stop although it should be: its link does not talk."""
        if self.stop is None or self.phase not in (SHOWS, ROLLS):
            return ""
        heard = self._hand.heard(self.stop.link)
        return "" if heard.talks else f"Link {heard.link}: {heard.what}. {_begun(heard.instead)}".strip()

    # --- words -----------------------------------------------------------------------------------------------------

    def do(self, line: str, now_us: int) -> Said:
        """Do what a word means here."""
        word = " ".join(line.split())
        lower = word.lower()
        if lower == "stop":
            return self._still(now_us)
        if lower.startswith("go to "):
            return self._go_to(lower.removeprefix("go to "), now_us)
        if lower == "back":
            return self._back(now_us)
        table = {
            HANDS: {"ready": self._ready, "yes": self._ready},
            ASKS: {"go": self._agreed, "yes": self._agreed, "skip": self._skip, "s": self._skip, "no": self._skip},
            SHOWS: {"again": self._again},
            ROLLS: {"again": self._again},
        }
        found = table.get(self.phase, {}).get(lower)
        if found is not None:
            return found(now_us)
        if self.phase in (SHOWS, ROLLS) and self.stop is not None:
            wish = answer_of(word, self.stop, self.layout)
            return self._answered(wish.answer, now_us) if wish.answer is not None else Said(False, wish.wrong)
        return Said(False, _WAITS[self.phase])

    def _ready(self, now_us: int) -> Said:
        self._arrive(now_us)
        return Said()

    def _agreed(self, now_us: int) -> Said:
        if self.stop is not None and not (heard := self._hand.heard(self.stop.link)).talks:
            return Said(False, f"It cannot be told: link {heard.link}: {heard.what}. {_begun(heard.instead)}".strip())
        self._begin(now_us)
        return Said()

    def _skip(self, now_us: int) -> Said:
        return self._answered(Answer(How.SKIPPED), now_us)

    def _again(self, now_us: int) -> Said:
        self._begin(now_us)
        return Said()

    def _still(self, now_us: int) -> Said:
        """Everything stays as it is this instant; nothing more is told until hands are off again."""
        self.showing.still(now_us)
        if self.stop is not None:
            self.phase = HANDS
        self._listening, self.homing = None, ""
        return Said(says="All is still. Nothing moves before hands are off the track again.")

    def _back(self, now_us: int) -> Said:
        if self.phase in (HANDS, HOMING):
            return Said(False, _WAITS[self.phase])
        if self.at == 0:
            return Said(False, "This is the first stop.")
        self._leave(now_us, self.at - 1)
        return Said()

    def _go_to(self, name: str, now_us: int) -> Said:
        at = next((at for at, stop in enumerate(self.stops) if stop.name == name), None)
        if at is None:
            return Said(False, f"This walk has no stop {name}.{near_miss(name, [stop.name for stop in self.stops])}")
        if self.phase == HOMING:
            return Said(False, _WAITS[HOMING])
        if self.phase == HANDS:
            self.at = at
            return Said()
        self._leave(now_us, at)
        return Said()

    def _answered(self, answer: Answer, now_us: int) -> Said:
        stop = self.stop
        assert stop is not None
        if self._listening is not None and answer.how is How.NO:
            answer = answer._replace(rolled=self._listening.heard(self._hand.strange(stop.link)))
        self._note(stop, answer)
        self._leave(now_us, self.at + 1)
        return Said()

    def _note(self, stop: Stop, answer: Answer) -> None:
        self.answers[stop.name] = answer
        if answer.how is How.NO:
            self.heard[stop.link] = self._hand.heard(stop.link)
        elif answer.how is How.YES:
            self.heard.pop(stop.link, None)

    # --- from stop to stop -----------------------------------------------------------------------------------------

    def _leave(self, now_us: int, to: int) -> None:
        """What was shown goes home first, so that nothing else moves at the next stop."""
        name, self.at, self._listening = self.showing.name, to, None
        self._until_us = self.showing.home(now_us)
        if self._until_us <= now_us:
            self._arrive(now_us)
        else:
            self.phase, self.homing = HOMING, name

    def _arrive(self, now_us: int) -> None:
        stop, self.homing = self.stop, ""
        if stop is None:
            self.phase = DONE
        elif stop.sort == OUTPUT and must_ask(stop):
            self.phase = ASKS
        else:
            self._begin(now_us)

    def _begin(self, now_us: int) -> None:
        """Show it, or listen to it, from the beginning."""
        stop = self.stop
        assert stop is not None
        if stop.sort == OUTPUT:
            self.phase = SHOWS
            self.showing.begin(stop.name)
            self._show(now_us)
            return
        self.phase = ROLLS
        self._listening = Listening(stop.name, self.inputs.get(stop.name, ""), self._hand.strange(stop.link))

    # --- time passes -----------------------------------------------------------------------------------------------

    def tick(self, now_us: int) -> None:
        """What is due now."""
        if self.homing and not self._talks(self.homing):
            self.showing.lost(self.homing)
        if self.phase == HOMING and now_us >= self._until_us:
            self._arrive(now_us)
        elif self.phase == SHOWS:
            self._show(now_us)
        elif self.phase == ROLLS:
            self._tick_off(now_us)

    def _show(self, now_us: int) -> None:
        stop = self.stop
        if stop is None:
            return
        if self._hand.heard(stop.link).talks:
            self.showing.tick(now_us)
            return
        self.showing.lost(stop.name)
        self.showing.from_the_beginning()  # when it hears again
        if must_ask(stop):
            self.phase = ASKS
            self.showing.over()

    def _talks(self, name: str) -> bool:
        """Whether the link of one of the stops talks."""
        return all(self._hand.heard(stop.link).talks for stop in self.stops if stop.name == name)

    def finish(self, now_us: int) -> int:
        """The walk is left: what was shown goes home. When it will be there."""
        if self.phase == HOMING:
            return self._until_us
        self.homing = self.showing.name
        return self.showing.home(now_us)

    # --- what is heard ---------------------------------------------------------------------------------------------

    def hear(self, events: Iterable[Input], now_us: int) -> None:
        """Detectors and buttons, from links or by hand."""
        for event in events:
            name, state = state_of(event)
            if not name or self.inputs.get(name, "") == state:
                continue
            self.inputs[name] = state
            if self.phase == ROLLS and self._listening is not None:
                self._listening.changed(name, state, now_us)

    def _tick_off(self, now_us: int) -> None:
        stop, listening = self.stop, self._listening
        if stop is not None and listening is not None and listening.over(now_us):
            self._note(stop, Answer(How.YES, "", listening.heard(self._hand.strange(stop.link))))
            self._leave(now_us, self.at + 1)


def _begun(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


_WAITS = {
    HANDS: "Nothing moves before hands are off the track; ready says that they are.",
    ASKS: "First let it move, with go, or skip it.",
    HOMING: "Wait: what was shown goes home first.",
    DONE: "The walk is done; back goes back.",
}
