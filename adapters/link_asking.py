"""Questions whether a station is still there. Each is a fence, too: its answer says that what went before was taken in.

Knows instants and sizes, no words. The station's receive buffer is short (64 bytes, from memory), so no more than that
is ever on its way unanswered. A station says what it is when it starts, but also when it is asked: telling the two
apart is done here.
"""

from __future__ import annotations

from adapters.link_states import Times

BUFFER = 64  # bytes that may be on their way without an answer behind them
NEVER = 1 << 62
MOST_LINES = 64  # of one report that are looked at
POWER = "power"
HABIT = 2  # reports one after another that say the same twice: that is how this station says it
FENCE_BYTES = 40  # after so many a question goes out, so that its answer is there before the buffer is full


class Asking:
    """The questions of one connection."""

    def __init__(self, times: Times, outstanding: int, mute: bool = False) -> None:
        self._times = times
        self._mute = mute  # a far end that cannot be asked: nothing is known of it, and nothing waited for
        self._most = BUFFER * max(1, outstanding)
        self._fence_bytes = self._most - (BUFFER - FENCE_BYTES)
        self.unanswered = 0
        self.round_trip_us: int | None = None
        self.reset(0, opened=True)

    def reset(self, now_us: int, opened: bool = False) -> None:
        """A new connection, or a station that starts anew: nothing is on its way, and it is to be asked at once."""
        if opened:
            self._twice = 0  # reports one after another in which it said again what it is
        self._owes = False  # whether the answer to the last question goes on, and it has not said what it is
        self._names = ""  # where in its report a station says what it is: "behind" its power, "before" it, "never"
        self.asked_us: int | None = None  # the question that has no answer yet
        self._next_us = now_us
        self._since_us: int | None = None  # the first question since anything was heard
        self._unsaid_us: int | None = None  # the first question since it has said how its power is
        self._refuses = False  # whether it has refused one of those
        self._first_us: int | None = None  # the first command behind the last question
        self._on_way = self._behind = 0  # bytes: all that have no answer; those of them behind the question
        self._power_us: int | None = None
        self._report_us, self._pause_us = now_us, 0  # the last line that may be of a report, and the pause before it
        self._named = False  # whether it has said what it is since the last question
        self._lines: list[str] = []  # of the report that is coming in: "power", what it is, or "" for any other
        self._doubt = False  # whether it has said what it is before its answer
        self._stalled = False
        self.blocked = False

    # --- what goes out ---------------------------------------------------------------------------------------------

    def room(self, size: int) -> bool:
        """Whether a command of so many bytes may go; if not, an answer must come first."""
        self.blocked = not self._mute and (self._stalled or (self._on_way > 0 and self._on_way + size > self._most))
        return not self.blocked

    def sent(self, size: int, now_us: int) -> None:
        """A command left."""
        self._on_way += size
        if self.asked_us is not None:
            self._behind += size
        if self._first_us is None:
            self._first_us = now_us

    def next_us(self) -> int:
        """When the next question should go out."""
        if self._mute:
            return NEVER
        if self.asked_us is not None:
            return self.asked_us + self._times.answer_us
        if self._first_us is None:
            return self._next_us
        urgent = self.blocked or self._on_way >= self._fence_bytes
        return min(self._next_us, self._first_us + (0 if urgent else self._times.fence_us))

    def ask(self, now_us: int) -> None:
        """A question goes out; one before it that has no answer gets none."""
        told = self._power_us is not None and now_us - self._power_us > self._times.report_us
        if told and not self._names and not self._named:
            self._names = "never"
        if self._named and self._twice < HABIT:
            self._twice = 0  # the last report was as it should be
        self._named = self._owes = False
        if self.asked_us is not None:
            self.unanswered += 1
            self._stalled = self._since_us is not None
            self._on_way = self._behind
        self.asked_us = now_us
        self._next_us = now_us + self._times.ask_us
        self._since_us = now_us if self._since_us is None else self._since_us
        self._unsaid_us = now_us if self._unsaid_us is None else self._unsaid_us
        self._first_us, self._behind, self.blocked = None, 0, self._stalled

    # --- what comes in ---------------------------------------------------------------------------------------------

    def heard(self, now_us: int, reply: bool = False) -> None:
        """It has said something that can be understood. `reply`: what only ever answers a command, and is in no report.

        A station may take a command just before it says what it is; so a reply makes nothing follow from a report.
        """
        self._since_us, self._stalled = None, False
        if not reply:
            self._pause_us, self._report_us = now_us - self._report_us, now_us
            self._lines = [] if self._pause_us > self._times.report_us else _latest(self._lines)
            self._lines.append("")

    def answered(self, now_us: int, refused: bool = False) -> None:
        """It has said how its power is, which is how it answers; or it has refused the question, which will do."""
        if not refused:
            self._lines[-1:] = [POWER]
            if self._doubt:
                self._names = "before"
            self._power_us, self._doubt = now_us, False
            self._unsaid_us, self._refuses = None, False
        if self.asked_us is None:
            return
        self._refuses = self._refuses or refused
        if not refused:
            self.round_trip_us = now_us - self.asked_us
            self._owes = True
        self.asked_us = None
        self._on_way, self._behind, self.blocked = self._behind, 0, False

    def begins(self, now_us: int, text: str) -> bool:
        """It has said what it is: whether it has started anew, as far as can be told now; `rebooted` may tell later.

        Starting takes a station longer than any pause between two lines of a report. What comes after a pause may
        still be the beginning of an answer, if that is how this station answers; or the rest of one on a slow line.
        """
        self._lines[-1:] = [text]
        first, self._named = not self._named, True
        owed, self._owes = self._owes, False
        if self._pause_us <= self._times.report_us:
            follows = self._power_us is not None and now_us - self._power_us <= self._times.report_us
            if first and follows and not self._names:
                self._names = "behind"
            if self._names != "behind" or self._twice >= HABIT or not self._said_anew(text):
                return False
            self._twice += 1
            return self._twice < HABIT
        if owed and self._names == "behind":
            return False
        self._doubt = self.asked_us is not None and self._names in ("", "before")
        return not self._doubt

    def _said_anew(self, text: str) -> bool:
        """Whether these last words, which follow the power, do so a second time: it started just as it was asked.

        A line that is doubled comes twice at once, and so does the power before it.
        """
        *before, _ = self._lines
        if text not in before:
            return False
        between = before[len(before) - before[::-1].index(text) :]
        return POWER not in between if between else before.count(text) >= before.count(POWER)

    def rebooted(self, now_us: int) -> bool:
        """Whether it said what it is and then did not answer: it had lost the question when it started anew."""
        return self._doubt and self.asked_us is not None and now_us >= self.asked_us + self._times.answer_us

    def silent(self, now_us: int) -> bool:
        """Whether nothing has been heard for long, though asked."""
        return self._since_us is not None and now_us - self._since_us >= self._times.silence_us

    def refuses(self, now_us: int) -> bool:
        """Whether it has for long refused to say how it is: what it was told meanwhile it has refused as well."""
        return self._refuses and self._unsaid_us is not None and now_us - self._unsaid_us >= self._times.silence_us

    def slept(self, now_us: int) -> None:
        """Nobody here was awake for a while, so what has not been heard may have been said."""
        self.asked_us = None if self.asked_us is None else now_us
        self._since_us = None if self._since_us is None else now_us
        self._unsaid_us = None if self._unsaid_us is None else now_us


def _latest(lines: list[str]) -> list[str]:
    """The reports that are looked at still, each from its power on: the first is left out where there are too many."""
    if len(lines) < MOST_LINES:
        return lines
    begins = (at for at in range(1, len(lines)) if lines[at] == POWER and lines[at - 1] != POWER)
    return lines[next(begins, len(lines)) :]
