"""Minutes of a show, from its journal, as a rehearsal that does the same again; and whether it truly does.

It sets out from the last instant at which the journal says how all stood and from which playing does the same. That is
found by playing, not by reckoning. What is said of it in words is the business of `replay_words`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from engine.conditions import Term, atoms
from engine.layout import NOWHERE
from engine.program import Count, Program, Rehearsal, SetFlag, lines_of
from wayside.journal import alike as journal_alike
from wayside.journal import read as journal_read
from wayside.journal.acts import acts
from wayside.journal.alike import Apart, Event
from wayside.journal.begins import beginnings
from wayside.journal.file import Entry
from wayside.usage import UsageProblem
from wayside.wording import duration

MOST_TRIED = 24  # instants from which it is tried to set out; the show's beginning is always one more
SECOND = 1_000_000
WORTH_US = 600_000_000  # so much earlier it may begin, if then nothing is left out
STILL_US = 5_000_000  # before something happens, nothing did
_CHANGES = frozenset(
    ["scene", "detector", "button", "hand", "day", "link", "flag", "counter", "rule", "output", "standing"]
)
# what cannot be said of how all stood, so that no rehearsal begins there
_NOT_THEN = ("settling", "pressed", "all_stopped")

Tried = Callable[[list["Window"]], Iterable["Window"]]  # lets a long trying show how far it is


class Window(NamedTuple):
    """What is replayed: entries of one show behind how all stood, from and until instants of the show."""

    start: Entry  # how all stood
    from_us: int  # the start of the rehearsal: a full second, maybe a part of one before `start`
    until_us: int
    entries: tuple[Entry, ...]

    @property
    def went_on(self) -> frozenset[str]:
        """Scenes that were half-way then and have no part in what followed: they are left out."""
        return frozenset(self.start.details.get("running", ()))


@dataclass(frozen=True)
class Replay:
    """A rehearsal of a window, as the engine plays it. `events`: what the journal has; `apart`: where it differs."""

    window: Window
    rehearsal: Rehearsal
    events: tuple[Event, ...]
    apart: Apart | None
    wanted_us: int  # the instant of the show from which on it was asked for
    drawn: tuple[str, ...] = ()  # scenery whose draws came otherwise in the show; all else is as `apart` says

    @property
    def whole(self) -> bool:
        """Whether nothing that happened is left out of the comparison."""
        left_out = self.window.went_on & {one.subject for one in self.window.entries if one.kind == "scene"}
        return not self.drawn and not left_out

    @property
    def same_until_us(self) -> int:
        return self.window.until_us if self.apart is None else self.window.from_us + self.apart.at_us


def replay(
    base: sqlite3.Connection,
    program: Program,
    local_us: int,
    before_us: int,
    words: str,
    tried: Tried = lambda windows: windows,
) -> Replay:
    """The time before an instant of the hall's clock as a rehearsal. Raises UsageProblem if no show was on then."""
    show, at_us = _show_at(base, local_us, words)
    begins = next((one for one in show if one.kind == "show"), None)
    if begins is None or begins.details.get("state") != "begins":
        raise UsageProblem(f"The journal does not hold the beginning of the show of {words} any more.")
    until_us = min(at_us, _last_us(show))
    wanted_us = max(0, at_us - before_us)
    if wanted_us >= until_us:
        raise UsageProblem(f"No show was on in the {duration(before_us)} before {words}.")
    best: Replay | None = None
    for window in tried(list(_windows(program, show, until_us, wanted_us))):
        if best is not None and best.apart is None and window.from_us < best.window.from_us - WORTH_US:
            break
        found = _played(program, window, begins, wanted_us)
        if best is None or (found.same_until_us, found.whole) > (best.same_until_us, best.whole):
            best = found
        if found.apart is None and found.whole:
            break
    if best is None:
        raise UsageProblem(
            f"Nothing before {words} can be made a rehearsal: the journal never says how all stood while the scenes "
            "that count did not run."
        )
    return best


# --- which show, and from when on ----------------------------------------------------------------------------------


def _show_at(base: sqlite3.Connection, local_us: int, words: str) -> tuple[list[Entry], int]:
    """The entries of the show that was on, and which instant of it is meant."""
    last = journal_read.last_before(base, local_us)
    if last is None:
        raise UsageProblem(f"No show was on at {words}: the journal begins later.")
    entries = list(journal_read.whole_show(base, last.show))
    of_show = [one for one in entries if one.at_us is not None]
    if not of_show:
        raise UsageProblem(f"No show was on at {words}.")
    near = min(of_show, key=lambda one: abs(_local(one) - local_us))
    return entries, max(0, (near.at_us or 0) + local_us - _local(near))


def _local(entry: Entry) -> int:
    return entry.utc_us + entry.offset_min * 60 * SECOND


def _last_us(show: Sequence[Entry]) -> int:
    """The last instant before a show was ended, or broke off."""
    ended = [one for one in show if one.kind == "show" and one.details.get("state") in ("closing", "ended")]
    return ended[0].at_us - 1 if ended and ended[0].at_us else max((one.at_us or 0 for one in show), default=0)


def _windows(program: Program, show: Sequence[Entry], until_us: int, wanted_us: int) -> Iterator[Window]:
    """Where a rehearsal could set out: the last instant before the wanted time first, last the show's beginning."""
    standing = [one for one in show if one.kind == "standing" and (one.at_us or 0) < until_us]
    early = [one for one in standing if (one.at_us or 0) <= wanted_us] or standing[:1]
    chosen = early[::-1][:MOST_TRIED]
    if early and early[0] not in chosen:
        chosen.append(early[0])
    for start in chosen:
        at_us = start.at_us or 0
        behind = tuple(one for one in show if one.number > start.number and (one.at_us or 0) <= until_us)
        if any(start.details.get(word) for word in _NOT_THEN):
            continue
        if not any(_counts(program, name) for name in start.details.get("running", ())):
            later_us = min(wanted_us, _still_until(behind, until_us)) // SECOND * SECOND
            if later_us > at_us:
                yield Window(start, later_us, until_us, behind)
            yield Window(start, at_us // SECOND * SECOND, until_us, behind)


def _still_until(behind: Sequence[Entry], until_us: int) -> int:
    """Until when all stood as it did; with room for detectors, whose input came before their settled state."""
    return min((one.at_us or 0 for one in behind if one.kind in _CHANGES), default=until_us) - STILL_US


def _counts(program: Program, name: str) -> bool:
    """Whether a scene that was half-way has a part in what follows, so that it cannot be left out.

    It has if it drives a guarded output, or if a rule or another scene asks after it, its outputs or what it remembers.
    What it begins or stops is compared, and so cannot be missed.
    """
    scene = program.scenes.get(name)
    if scene is None or any(program.layout.outputs[one].guarded for one in scene.writes):
        return True
    changes = {name, *scene.writes}
    for line in lines_of(scene.block):
        changes |= {line.flag} if isinstance(line, SetFlag) else {line.counter} if isinstance(line, Count) else set()
    return bool(changes & {atom.subject for one in _asked(program, name) for atom in atoms(one)})


def _asked(program: Program, without: str) -> Iterator[Term]:
    """The conditions of every rule, and of every other scene."""
    for rule in program.rules.values():
        yield from (one.term for line in rule.lines for one in line.conditions)
    for name, scene in program.scenes.items():
        if name != without:
            yield from (one.term for one in scene.asked)


# --- the rehearsal, played -----------------------------------------------------------------------------------------


def _played(program: Program, window: Window, begins: Entry, wanted_us: int) -> Replay:
    from wayside.rehearsal.rehearsing import rehearse

    rehearsal = _rehearsal(program, window, int(begins.details.get("seed", 0)))
    until_us = window.until_us - window.from_us
    theirs = journal_alike.said(program, window.entries, window.went_on, window.from_us, until_us)
    trace = rehearse(program, rehearsal).trace
    ours = journal_alike.played(program, trace, window.went_on, until_us)
    apart, drawn = journal_alike.apart(ours, theirs), frozenset[str]()
    if apart is not None:
        drawn = journal_alike.ending_otherwise(ours, theirs) & journal_alike.scenery_by_chance(program)
        ours, theirs = (journal_alike.but_for(one, drawn) for one in (ours, theirs))
        apart = journal_alike.apart(ours, theirs)
    return Replay(window, rehearsal, tuple(theirs), apart, wanted_us, tuple(sorted(drawn)))


def _rehearsal(program: Program, window: Window, seed: int) -> Rehearsal:
    stood = window.start.details
    clock_us = int(stood.get("clock_us", 0))
    if stood.get("clock_runs", True):
        clock_us += (window.from_us - (window.start.at_us or 0)) * program.layout.clock.ratio
    return Rehearsal(
        "from-the-journal",
        NOWHERE,
        begins=tuple(one for each in beginnings(program, stood) for one in each.begins),
        begins_at_s=-(-clock_us // SECOND) % 86_400,
        acts=tuple(acts(program, window.start, window.entries, window.from_us)),
        seed=seed,
        lasts_us=max(SECOND, -(-(window.until_us - window.from_us) // SECOND) * SECOND),
    )
