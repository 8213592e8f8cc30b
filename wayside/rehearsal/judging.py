"""Whether an expectation was met, and how to say what happened instead. Judges histories of truth at settled instants.

Knows neither kernel nor files: a history is a list of changes.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import NamedTuple

from engine.conditions import All, Any, AtLeast, Atom, Becomes, Held, Not, Term
from engine.program import Expectation, Timing
from wayside.wording import count, duration, listed

MOST_TIMES_SAID = 6  # instants listed in one sentence


class Verdict(NamedTuple):
    """`what`, which follows the condition's own words, and `at_us` say how it failed.

    `wanted` is what the condition should have been then.
    """

    passed: bool
    what: str = ""
    at_us: int | None = None
    wanted: bool = True
    explained: bool = True  # whether the state at that instant says anything about it


class History:
    """When a condition held, from the first instant to the last; `before` is its truth before anything happened."""

    def __init__(self, changes: Sequence[tuple[int, bool]], ended_us: int, before: bool = False) -> None:
        settled = {at_us: truth for at_us, truth in changes if at_us <= ended_us}
        self._at = list(settled)
        self._truth = list(settled.values())
        self.ended_us = ended_us
        self._before = before

    def at(self, at_us: int) -> bool:
        index = bisect_right(self._at, at_us) - 1
        return self._truth[index] if index >= 0 else self._before

    def first(self, wanted: bool, from_us: int, until_us: int | None = None) -> int | None:
        """The first instant from `from_us` on, before `until_us`, at which it is so; None if there is none."""
        until = self.ended_us + 1 if until_us is None else until_us
        if from_us < until and self.at(from_us) == wanted:
            return from_us
        changes = zip(self._at, self._truth, strict=True)
        return next((at for at, truth in changes if from_us < at < until and truth == wanted), None)

    def last(self, wanted: bool, before_us: int) -> int | None:
        """The last instant before `before_us` at which it began to be so."""
        changes = zip(self._at, self._truth, strict=True)
        return max((at for at, truth in changes if at < before_us and truth == wanted), default=None)

    def becomes(self, from_us: int, until_us: int) -> list[int]:
        """The instants from `from_us` on, before `until_us`, at which it became true."""
        was = [self._before, *self._truth]
        rising = (at for at, truth, old in zip(self._at, self._truth, was, strict=False) if truth and not old)
        return [at for at in rising if from_us <= at < until_us]


def horizon_us(expectation: Expectation) -> int | None:
    """When the expectation can be judged; None if only the rehearsal's end settles it."""
    if expectation.timing is Timing.AT:
        return _instant(expectation)
    return expectation.to_us


def judge(expectation: Expectation, history: History, other: History | None = None) -> Verdict:
    if expectation.at_least or expectation.at_most is not None:
        return _counted(expectation, history)
    if expectation.timing is Timing.BEFORE_CONDITION and other is not None:
        return _before_other(history, other, expectation.other.words if expectation.other else "")
    return _JUDGES[expectation.timing](expectation, history)


def _instant(expectation: Expectation) -> int:
    return expectation.from_us if expectation.to_us is None else expectation.to_us


def _throughout(expectation: Expectation, history: History) -> Verdict:
    start, end = expectation.from_us, expectation.to_us
    broken = history.first(False, start, end)
    if broken is None:
        return Verdict(True)
    again = history.first(True, broken)
    later = "" if again is None else f", and again from {duration(again)}"
    if broken > start:
        return Verdict(False, f"held until {duration(broken)}, then no more{later}", broken)
    later = " at any time after it" if again is None else f", only from {duration(again)}"
    return Verdict(False, f"did not hold at {duration(start)}{', nor' if again is None else ''}{later}", broken)


def _at(expectation: Expectation, history: History) -> Verdict:
    instant = _instant(expectation)
    if history.at(instant):
        return Verdict(True)
    ceased, begins = history.last(False, instant + 1), history.first(True, instant)
    was = ceased is not None and ceased > 0 and history.first(True, 0, ceased) is not None
    said = [f"only until {duration(ceased)}"] if was and ceased is not None else []
    said += [f"{'and again' if said else 'only'} from {duration(begins)}"] if begins is not None else []
    return Verdict(False, ", ".join(["did not hold then", *said]), instant)


def _by(expectation: Expectation, history: History) -> Verdict:
    """`by` takes in the instant itself, `before` does not."""
    limit = history.ended_us if expectation.to_us is None else expectation.to_us
    inclusive = expectation.timing is Timing.BY
    if history.first(True, expectation.from_us, limit + inclusive) is not None:
        return Verdict(True)
    late = history.first(True, limit)
    word = "up to" if inclusive else "before"
    later = "" if late is None else f", only at {duration(late)}"
    return Verdict(False, f"did not hold at any time {word} {duration(limit)}{later}", limit)


def _before_other(history: History, other: History, words: str) -> Verdict:
    mine, its = history.first(True, 0), other.first(True, 0)
    what = f"`{words}`" if words else "the other"
    if mine is not None and (its is None or mine < its):
        return Verdict(True)
    if its is None:
        return Verdict(False, f"never held, up to the end at {duration(history.ended_us)}", history.ended_us)
    if mine is None:
        return Verdict(False, f"never held, but {what} held at {duration(its)}", its)
    if mine == its:
        return Verdict(False, f"held at {duration(its)}, and {what} at the same instant", its)
    return Verdict(False, f"held only at {duration(mine)}, but {what} at {duration(its)}", its)


def _counted(expectation: Expectation, history: History) -> Verdict:
    end = history.ended_us if expectation.to_us is None else expectation.to_us
    until = end if expectation.timing is Timing.FROM_TO else end + 1
    times = history.becomes(expectation.from_us, until)
    said = f", at {listed([duration(at) for at in times], MOST_TIMES_SAID)}" if times else ""
    said = f"{count(len(times), 'time')}{said}" if times else "not once"
    if len(times) < expectation.at_least:
        return Verdict(False, f"became so {said}", end, explained=not times)
    if expectation.at_most is not None and len(times) > expectation.at_most:
        return Verdict(False, f"became so {said}", times[expectation.at_most], wanted=False)
    return Verdict(True)


_JUDGES: dict[Timing, Callable[[Expectation, History], Verdict]] = {
    Timing.THROUGHOUT: _throughout,
    Timing.FROM_TO: _throughout,
    Timing.AT: _at,
    Timing.BY: _by,
    Timing.BEFORE: _by,
}


def to_blame(term: Term, wanted: bool, holds: Callable[[Atom], bool]) -> tuple[Atom, ...]:
    """The questions whose answers keep a term from being as wanted; all of them if the present does not show it."""
    match term:
        case Atom():
            return (term,)
        case Not(inner):
            return to_blame(inner, not wanted, holds)
        case Held(inner, _) | Becomes(inner):
            return to_blame(inner, wanted, holds)
        case All(terms) | Any(terms) | AtLeast(_, terms):
            guilty = [one for one in terms if _value(one, holds) != wanted] or list(terms)
            found = (atom for one in guilty for atom in to_blame(one, wanted, holds))
            return tuple(dict.fromkeys(found))


def _value(term: Term, holds: Callable[[Atom], bool]) -> bool:
    match term:
        case Atom():
            return holds(term)
        case Not(inner):
            return not _value(inner, holds)
        case Held(inner, _) | Becomes(inner):
            return _value(inner, holds)
        case All(terms):
            return all(_value(one, holds) for one in terms)
        case Any(terms):
            return any(_value(one, holds) for one in terms)
        case AtLeast(least, terms):
            return sum(_value(one, holds) for one in terms) >= least
