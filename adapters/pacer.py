"""What a link is told next: in each free slot the output that is furthest from what it should show, guarded ones first.

Pure: integer microseconds in, choices out. Knows no words of a dialect and no port, and asks nobody for the time.

The last value of everything is sent within (waiting outputs / commands a second) + 1 s of its wave's end. Proof: an
output whose code has become final, at E with W outputs waiting, joins a queue in order of E. All before it in the queue
waited at E, so it is served by E + W slots if the queue is served in order. The furthest, or a guarded output, goes
before the queue only where every output in it would still be within its time if all moved one slot back; and nothing
ever joins but at the end. Servos of which nothing is known stand outside: they go one after another.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from heapq import heapify, heappop, heappush
from math import ceil, isinf
from typing import NamedTuple

from adapters.wanted import FOREVER, UNKNOWN, Wanted
from engine.layout import Output
from engine.waves import Wave

SECOND_US = 1_000_000
GRACE_US = SECOND_US  # beside its share of the slots, what a last value may wait
PATIENCE_US = 10_000_000  # waiting so long counts as much as being all of the way off; twice as long, four times
GUARDED = 3.0  # what being guarded counts, in whole ways off: a lamp must wait 14 s at least to come before it
# Between the first commands of two servos of which nobody knows where they stand: each may go all of its way at its
# full speed, near stall current. A 9 g servo takes 0.12 s for 60 degrees (sellers), so 180 degrees take 0.36 s.
INRUSH_GAP_US = 360_000
NOTICED_US = 50_000  # what is wrong for less is not counted as an error that is seen (common practice, no source)
_STALE = 64  # forgotten alarms that are kept at least


class Pace(NamedTuple):
    """What a link carries. `math.inf` for no limit."""

    bytes_s: float
    commands_s: float
    outstanding: int = 1  # commands that may be without an answer


class Choice(NamedTuple):
    """What to tell. `error` is how far off the output is, 0..1.

    `since_us` is when it should have been told something else than it was. `exact`: that was this very code, since it
    is a last value, or the output is only switched; others pass through many codes, and some may have been left out.
    """

    name: str
    code: int
    since_us: int = 0
    error: float = 0.0
    exact: bool = True


class Pacer:
    """The outputs of one link. Instants never go backwards.

    The owner calls `want` as waves begin, sleeps until `next_due`, asks `choose`, and says what it `sent`. For a pace
    that is exact over time it gives them the instants that were due, not those at which it happened to wake.
    """

    def __init__(self, outputs: Sequence[Output], pace: Pace, off_track: Container[str] = ()) -> None:
        if not (pace.bytes_s > 0 and pace.commands_s > 0 and pace.outstanding > 0):
            raise ValueError("a link carries bytes and commands, and one without an answer at least")
        self.pace = pace
        self._off_track = off_track  # outputs whose commands end at the station: only their bytes count
        self.furthest = Choice("", 0)  # at the last slot: what has been furthest off long enough to be seen
        self._all = {output.name: Wanted(output) for output in outputs}
        self._waiting: dict[str, Wanted] = {}
        self._final: dict[str, Wanted] = {}  # those of the waiting whose code will not change, in order of since when
        self._alarms: list[tuple[int, int, str]] = []
        self._numbers = 0
        self._slot_us = _us(1, pace.commands_s)
        self._free_us = self._servo_us = self._now_us = 0
        self._unanswered = 0

    # --- what is wanted --------------------------------------------------------------------------------------------

    def want(self, name: str, wave: Wave, now_us: int) -> None:
        """From now on this output should follow this wave; what it should have shown until now is superseded.

        Raises KeyError for an output that is not on this link.
        """
        one = self._all[name]
        self._notice(now_us - 1)
        self._now_us = max(self._now_us, now_us)
        one.ask(wave, now_us, self._number())
        self._ask_again(one, now_us)

    def known(self, name: str, code: int) -> None:
        """The far end is known to show this code already. Before it wants anything, or after `forget`."""
        self._all[name].told = code

    def forget(self, now_us: int | None = None) -> None:
        """Nobody knows any more what the far end shows: everything is put right, guarded outputs first.

        Without an instant, as of the last one that was given.
        """
        now_us = self._now_us if now_us is None else max(now_us, self._now_us)
        self._notice(now_us - 1)
        self._now_us = now_us
        self._unanswered = 0
        for one in self._all.values():
            one.told = one.owed = None
            if one.wave is not None:
                one.ends_us = max(one.ends_us, now_us)
                self._ask_again(one, now_us)

    def _ask_again(self, one: Wanted, now_us: int) -> None:
        self._waiting.pop(one.name, None)
        self._final.pop(one.name, None)
        self._alarm(one, now_us)

    # --- when ------------------------------------------------------------------------------------------------------

    def next_due(self, now_us: int) -> int | None:
        """When to ask `choose` next, now or later; None: not before something is wanted, answered or forgotten."""
        if self._unanswered >= self.pace.outstanding:
            return None
        gated = False
        due_us: int | None = None
        for one in self._waiting.values():
            if not (one.servo and one.told is None):
                due_us = now_us
                break
            gated = True
        if due_us is None:
            alarms = self._alarms
            while alarms and self._all[alarms[0][2]].alarm != alarms[0][1]:
                heappop(alarms)
            due_us = alarms[0][0] if alarms else None
            if gated:
                due_us = self._servo_us if due_us is None else min(due_us, self._servo_us)
        return None if due_us is None else max(due_us, now_us, self._free_us)

    # --- what ------------------------------------------------------------------------------------------------------

    def choose(self, now_us: int) -> Choice | None:
        """What to tell now; None if nothing is to be told, or nothing can be. Asked again, it says the same."""
        if now_us < self._free_us or self._unanswered >= self.pace.outstanding:
            return None
        self._notice(now_us)
        self._now_us = max(self._now_us, now_us)
        best = self._best(now_us)
        if best is None:
            return None
        if self._final and self._slot_us and not self._in_time(now_us):
            best = next(iter(self._final.values()))
        since_us, exact = self._since(best, now_us)
        return Choice(best.name, best.code(now_us), since_us, best.error(now_us), exact)

    def _since(self, one: Wanted, now_us: int) -> tuple[int, bool]:
        if one.ends_us <= now_us and one.owed is None:
            return max(one.since_us, one.ends_us), True
        if one.looked_us is None:
            return one.since_us, one.switched
        if not one.switched:
            return one.looked_us, False
        change_us = one.next_change(one.since_us)
        return (one.since_us if change_us is None else min(change_us, now_us)), True

    def _best(self, now_us: int) -> Wanted | None:
        """The furthest, by what being guarded and having waited add to it. Those that want nothing any more go."""
        best: Wanted | None = None
        most, furthest = -1.0, Choice("", 0)
        done = []
        for one in self._waiting.values():
            code = one.code(now_us)
            if code == one.told:
                done.append(one)
                continue
            error = UNKNOWN if one.told is None else one.apart(code, one.told)
            one.low = min(one.low, error)
            if now_us - one.mark_us >= NOTICED_US:
                if one.low > furthest.error:
                    furthest = Choice(one.name, code, one.since_us, one.low)
                one.mark_us, one.low = now_us, error
            if one.servo and one.told is None and now_us < self._servo_us:
                continue
            if self._slot_us:
                waited = 0.0 if one.behind_us is None else (now_us - one.behind_us) / PATIENCE_US
                score = error + waited * waited + (GUARDED if one.guarded else 0.0)
            else:
                score = 0.0  # nobody has to wait: in the order of the instants, and of what was asked for
            if score > most or (best and score == most and _order(one) < _order(best)):
                best, most = one, score
        for one in done:
            self._rest(one, now_us)
        self.furthest = furthest
        return best

    def _in_time(self, now_us: int) -> bool:
        """Whether each last value would still be in time if one more command went before it."""
        slot_us = self._slot_us
        done_us = now_us + 2 * slot_us
        for one in self._final.values():
            if done_us > one.ends_us + GRACE_US + one.others * slot_us:
                return False
            done_us += slot_us
        return True

    def sent(self, name: str, code: int, now_us: int, size: int, commands: int = 1) -> None:
        """This left, in so many bytes and commands. What came a little late does not put off what follows it."""
        one = self._all[name]
        self._now_us = max(self._now_us, now_us)
        track_us = 0 if name in self._off_track else _us(commands, self.pace.commands_s)
        cost_us = max(track_us, _us(size, self.pace.bytes_s))
        self._slot_us = max(self._slot_us, cost_us)
        self._free_us = max(self._free_us, now_us - cost_us // 2) + cost_us
        self._unanswered += commands
        if one.servo and one.told is None:
            self._servo_us = now_us + INRUSH_GAP_US
        one.told, one.behind_us = code, None
        if one.owed == code:
            one.owed = None
        self._waiting.pop(name, None)
        self._final.pop(name, None)
        if one.wave is None:
            return
        # Nothing can go before the next slot, so what it shows until then need not be known: only whether it will have
        # to be told something. On a line that is full that spares looking for the exact instant.
        if one.code(self._free_us) == code:
            self._rest(one, self._free_us)
        elif self._free_us == now_us or one.ends_us <= now_us or not one.lasts:
            self._alarm(one, now_us)
        else:
            one.since_us = one.behind_us = now_us
            one.mark_us, one.low, one.looked_us = now_us, 2.0, self._free_us
            self._waiting[name] = one
            one.alarm = 0
            if one.ends_us < FOREVER:
                self._alarm(one, one.ends_us)

    def answered(self) -> None:
        """A command got its answer, or will get none."""
        self._unanswered = max(0, self._unanswered - 1)

    # --- how it stands ---------------------------------------------------------------------------------------------

    def error(self, name: str, now_us: int) -> float:
        """How far an output is from what it should show: a lamp's lightness, a servo's share of its travel; 0..1."""
        return self._all[name].error(now_us)

    def told(self, name: str) -> int | None:
        """What an output was told last; None if nobody knows."""
        return self._all[name].told

    def waiting(self, now_us: int) -> int:
        """How many outputs do not show what they should."""
        self._notice(now_us)
        self._now_us = max(self._now_us, now_us)
        return sum(one.wave is not None and one.differs(now_us) for one in self._all.values())

    def backlog(self) -> int:
        """No fewer than those that wait, as it was when the pacer was last asked anything: for what it costs to ask."""
        return len(self._waiting)

    def _count(self, at_us: int) -> int:
        return sum(one.differs(at_us) for one in self._waiting.values())

    # --- alarms: each output waits for one instant at most ---------------------------------------------------------

    def _notice(self, until_us: int) -> None:
        """Work the instants that have come, in order: whose code has changed, and whose has become final."""
        alarms = self._alarms
        while alarms and alarms[0][0] <= until_us:
            at_us = alarms[0][0]
            final = []
            while alarms and alarms[0][0] == at_us:
                _, number, name = heappop(alarms)
                one = self._all[name]
                if one.alarm == number and self._look(one, at_us):
                    final.append(one)
            if final:
                others = self._count(at_us)
                for one in final:
                    one.others = others
                    self._final[one.name] = one

    def _look(self, one: Wanted, at_us: int) -> bool:
        """Whether its code differs from what was told, and will stay as it is."""
        if not one.differs(at_us):
            self._rest(one, at_us)
            return False
        if one.name not in self._waiting:
            self._waiting[one.name] = one
            one.since_us, one.looked_us = at_us, None
            one.mark_us, one.low = at_us, 2.0
            one.behind_us = at_us if one.behind_us is None else one.behind_us
            if not one.lasts and one.told is not None:
                one.owed = one.code(at_us)
        if one.ends_us > at_us:
            one.alarm = 0
            if one.ends_us < FOREVER:
                self._alarm(one, one.ends_us)
            return False
        return not (one.servo and one.told is None)

    def _rest(self, one: Wanted, now_us: int) -> None:
        """It shows what it should: wake when that changes."""
        self._waiting.pop(one.name, None)
        self._final.pop(one.name, None)
        one.behind_us = None
        change_us = one.next_change(now_us)
        if change_us is None:
            one.alarm = 0
        else:
            self._alarm(one, change_us)

    def _alarm(self, one: Wanted, at_us: int) -> None:
        one.alarm = self._number()
        if len(self._alarms) > _STALE + 4 * len(self._all):
            self._alarms = [entry for entry in self._alarms if self._all[entry[2]].alarm == entry[1]]
            heapify(self._alarms)
        heappush(self._alarms, (at_us, one.alarm, one.name))

    def _number(self) -> int:
        self._numbers += 1
        return self._numbers


def _order(one: Wanted) -> tuple[int, int]:
    return one.since_us, one.order


def _us(many: float, per_s: float) -> int:
    """How long so many take, never less."""
    return 0 if isinf(per_s) else ceil(many * SECOND_US / per_s)
