"""A walk at the terminal: what is printed when it comes to a stop, and what typed lines mean besides answers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from textwrap import wrap

from wayside.terminal import finish, say
from wayside.walk.report import outcome, text_lines
from wayside.walk.session import Session
from wayside.walk.stops import OUTPUT
from wayside.walk.walker import ASKS, DONE, HOMING, ROLLS, SHOWS
from wayside.walk.walker import HANDS as HANDS_ON
from wayside.walk.words import HANDS, HELP_ANY, HELP_INPUT, HELP_OUTPUT, answers_for, kind_of, must_ask

WIDE = 100
_NUMBER = re.compile(r"\b[0-9]+\b")


class Terminal:
    """Prints what has changed since it last looked."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._shown: tuple[str, int] | None = None
        self._at = -1  # the stop whose heading was printed last
        self._waits = self._links = self._trouble = self._says = ""
        self._answers = dict(session.walker.answers)

    def look(self) -> None:
        """Say what is new."""
        session, walker = self._session, self._session.walker
        self._outcomes()
        if session.trouble != self._trouble:
            self._trouble = session.trouble
            self.tell(session.trouble)
        links = session.lines()
        if (how := _NUMBER.sub("", "; ".join(links))) != self._links:  # that there is one more or less is not said anew
            self._links = how
            for line in links:
                self.tell(line)
        if (walker.phase, walker.at) != self._shown:
            self._shown = (walker.phase, walker.at)
            for line in self._stop_lines():
                say(line)
            finish()
        if (waits := walker.waits_for()) != self._waits:
            self._waits = waits
            self.tell(f"Nothing is told yet. {waits}" if waits else "")
        if walker.phase == SHOWS and not walker.showing.repeats and walker.says != self._says:
            self.tell(f"now: {walker.says}", "      ")
        self._says = walker.says

    def _outcomes(self) -> None:
        """What has been answered, at a page too, or has ticked itself off."""
        answers = self._session.walker.answers
        if answers == self._answers:
            return
        seen = self._session.seen
        for stop in seen.round.stops:
            if stop.name in answers and answers[stop.name] != self._answers.get(stop.name):
                self.tell(f"{stop.name}: {outcome(stop, seen, answers)}.", "      ")
        self._answers = dict(answers)

    def _stop_lines(self) -> Iterator[str]:
        walker, layout = self._session.walker, self._session.layout
        if walker.phase == HANDS_ON:
            yield ""
            yield from _wrapped(HANDS)
            yield "Type ready when it is so; quit leaves."
            return
        if walker.phase == HOMING:
            return
        if walker.phase == DONE:
            yield ""
            yield from text_lines(self._session.report)
            yield ""
            yield "That was the last stop. back goes back; quit leaves."
            return
        stop = walker.stop
        assert stop is not None
        if walker.phase == ASKS or self._at != walker.at:
            yield ""
            yield f"{walker.at + 1:>3} of {len(walker.stops)}  {stop.name}, {kind_of(stop)}: {stop.where}"
        self._at = walker.at
        if walker.phase == ASKS:
            yield from _wrapped(walker.task, "      ")
            yield from _wrapped(walker.caution, "      ")
            yield "      Type go, or skip:"
            return
        if stop.sort != OUTPUT or not must_ask(stop):
            yield from _wrapped(walker.task, "      ")
        yield from _wrapped(walker.taken, "      ")
        words = ", ".join(answers_for(stop, layout))
        yield from _wrapped(f"{'Did it do that? ' if walker.phase == SHOWS else ''}{words}:", "      ")

    def help(self) -> None:
        """All words that mean something here."""
        walker = self._session.walker
        here = {SHOWS: HELP_OUTPUT, ROLLS: HELP_INPUT}.get(walker.phase, "")
        say(f"{here}{HELP_ANY}".rstrip())
        finish()

    def faults(self) -> None:
        """What is likely to be wrong, so far."""
        for line in text_lines(self._session.report):
            say(line)
        finish()

    def tell(self, text: str, indent: str = "") -> None:
        """One remark."""
        if text:
            for line in _wrapped(text, indent):
                say(line)
            finish()


def _wrapped(text: str, indent: str = "") -> list[str]:
    return wrap(
        text, WIDE, initial_indent=indent, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
