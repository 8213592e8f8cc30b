"""Minutes of a show, from its journal, as a rehearsal that does the same again; and whether it truly does.

It sets out from the last instant at which the journal says how all stood and from which playing gives the same scenes
and broken rules at the same times. That is found by playing, not by reckoning.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from engine.conditions import Sort, Term, atoms
from engine.layout import NOWHERE
from engine.program import Act, Deed, Program, Rehearsal
from engine.trace import Broke, Record, SceneIs
from wayside import journal_read
from wayside.journal_begins import beginnings
from wayside.journal_file import Entry
from wayside.journal_text import plain
from wayside.usage import UsageProblem
from wayside.wording import count, duration, listed

MOST_TRIED = 24  # instants from which it is tried to set out; the show's beginning is always one of them
SECOND = 1_000_000
STILL_US = 5_000_000  # before something happens, nothing did
_CHANGES = frozenset(["scene", "detector", "button", "hand", "link", "flag", "counter", "rule", "output", "standing"])

Event = tuple[int, str, str]  # when, what (a scene or `rule NAME`), what it did


@dataclass(frozen=True)
class Replay:
    """A rehearsal in words, with what is to be said of it. `same`: whether it does what the journal says."""

    name: str
    text: str
    same: bool
    remarks: tuple[str, ...] = ()


class Window(NamedTuple):
    """What is replayed: entries of one show behind how all stood, from and until instants of the show."""

    start: Entry  # how all stood
    from_us: int  # the start of the rehearsal: a full second, at or before `start`
    until_us: int
    entries: tuple[Entry, ...]


def replay(base: sqlite3.Connection, program: Program, local_us: int, before_us: int, words: str) -> Replay:
    """The time before an instant of the hall's clock as a rehearsal. Raises UsageProblem if no show was on then."""
    show, at_us = _show_at(base, local_us, words)
    begins = next((one for one in show if one.kind == "show"), None)
    if begins is None or begins.details.get("state") != "begins":
        raise UsageProblem(f"The journal does not hold the beginning of the show of {words} any more.")
    until_us = min([at_us, *(one.at_us or 0 for one in show if one.details.get("why") == "the show is over")])
    best: tuple[int, Window, Rehearsal, str] | None = None
    for window in _windows(program, show, until_us, max(0, until_us - before_us)):
        rehearsal = _rehearsal(program, window, begins)
        if rehearsal is None:
            continue
        difference = _difference(program, window, rehearsal)
        kept_us = until_us - window.from_us if difference is None else difference[0]
        if best is None or kept_us > best[0] or difference is None:
            best = kept_us, window, rehearsal, "" if difference is None else difference[1]
        if difference is None:
            break
    if best is None:
        raise UsageProblem(
            f"Nothing before {words} can be made a rehearsal: the journal never says how all stood while the scenes "
            "that count did not run."
        )
    return _in_words(program, best[1], best[2], best[3], words, until_us - before_us)


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
        if not any(_counts(program, name, behind) for name in start.details.get("running", ())):
            later_us = min(wanted_us, _still_until(behind, until_us)) // SECOND * SECOND
            if later_us > at_us:
                yield Window(start, later_us, until_us, behind)
            yield Window(start, at_us // SECOND * SECOND, until_us, behind)


def _still_until(behind: Sequence[Entry], until_us: int) -> int:
    """Until when all stood as it did; with room for detectors, whose input came before their settled state."""
    return min((one.at_us or 0 for one in behind if one.kind in _CHANGES), default=until_us) - STILL_US


def _counts(program: Program, name: str, behind: Sequence[Entry]) -> bool:
    """Whether a scene that was half-way then has a part in what followed, so that it cannot be left out.

    It has if it ends, if it reads a detector that changes, or if a rule or another scene asks after its outputs.
    """
    scene = program.scenes.get(name)
    if scene is None:
        return True
    inputs = {one.subject for one in behind if one.kind in ("detector", "scene")}
    asked = {atom.subject for one in _asked(program, name) for atom in atoms(one)}
    return name in inputs or bool(inputs & set(scene.reads)) or bool(asked & set(scene.writes))


def _asked(program: Program, without: str) -> Iterator[Term]:
    """The conditions of every rule, and of every other scene."""
    for rule in program.rules.values():
        yield from (one.term for line in rule.lines for one in line.conditions)
    for name, scene in program.scenes.items():
        if name != without:
            yield from (one.term for one in scene.asked)


# --- the rehearsal -------------------------------------------------------------------------------------------------


def _rehearsal(program: Program, window: Window, begins: Entry) -> Rehearsal | None:
    """As the engine plays it; None where something had not settled, or cannot be said."""
    details, stood = begins.details, window.start.details
    if stood.get("settling") or stood.get("pressed") or stood.get("gone"):
        return None
    begun = [one for each in beginnings(program, stood) for one in each.begins]
    ratio = program.layout.clock.ratio
    second = (int(details.get("starts_s", 0)) + window.from_us * ratio // SECOND) % 86_400
    lasts_us = max(SECOND, -(-(window.until_us - window.from_us) // SECOND) * SECOND)
    return Rehearsal(
        "from-the-journal",
        NOWHERE,
        begins=tuple(begun),
        begins_at_s=second,
        acts=tuple(_acts(program, window)),
        seed=int(details.get("seed", 0)),
        lasts_us=lasts_us,
    )


def _acts(program: Program, window: Window) -> Iterator[Act]:
    """What came in from outside, in order; detectors as early as their settling wants it."""
    found = []
    for number, entry in enumerate(window.entries):
        act = _act(program, entry)
        if act is not None:
            found.append((max(0, act.at_us - window.from_us), number, act))
    for at_us, number, act in sorted(found, key=lambda one: one[:2]):
        place = NOWHERE._replace(line=number)  # acts of one instant are played in the order of their places
        yield act._replace(at_us=at_us, place=place)


def _act(program: Program, entry: Entry) -> Act | None:
    layout, at_us, name, details = program.layout, entry.at_us or 0, entry.subject, entry.details
    if entry.kind == "detector" and name in layout.detectors:
        one, state = layout.detectors[name], str(details.get("state"))
        settle_us = {"clear": one.settle_us, "occupied": one.settle_occupied_us}.get(state, 0)
        return Act(NOWHERE, at_us - settle_us, Deed.BECOMES, name, state)
    if entry.kind == "button" and name in layout.buttons:
        return Act(NOWHERE, at_us, Deed.PRESS if details.get("pressed") else Deed.LET_GO, name)
    if entry.kind == "link" and name in layout.links and details.get("state") in ("gone", "talking"):
        if "health" in details:
            return None  # how it is, not an input
        return Act(NOWHERE, at_us, Deed.LOSE_LINK if details["state"] == "gone" else Deed.MEND_LINK, name)
    if entry.kind == "scene" and name in program.scenes and _is_stop(entry):
        return Act(NOWHERE, at_us, Deed.STOP, name)
    if entry.kind == "hand" and name in program.scenes and details.get("deed") in ("start", "stop"):
        return Act(NOWHERE, at_us, Deed.START if details["deed"] == "start" else Deed.STOP, name)
    return None


def _is_stop(entry: Entry) -> bool:
    """Whether a show has stopped a scene for a reason that a rehearsal has not: a broken rule, or all was stopped."""
    why = str(entry.details.get("why", ""))
    stops = entry.details.get("state") in ("stopping", "stopped")
    return stops and (why == "all stop" or (why.startswith("rule ") and why.endswith(" is broken")))


# --- whether it does the same --------------------------------------------------------------------------------------


def _difference(program: Program, window: Window, rehearsal: Rehearsal) -> tuple[int, str] | None:
    """Where playing it differs first from the journal: how long it was the same, and in words; None if nowhere."""
    from wayside.rehearsing import rehearse

    went_on, trains = set(window.start.details.get("running", ())), _ask_trains(program)
    until_us = window.until_us - window.from_us
    played = [one for one in _played(rehearse(program, rehearsal).trace, went_on, trains) if one[0] <= until_us]
    said = [one for one in _said(window, trains) if one[0] <= until_us]
    for ours, theirs in zip([*played, None], [*said, None], strict=False):
        if ours != theirs:
            first = min(one[0] for one in (ours, theirs) if one is not None)
            return first, f"the journal has {_event(theirs)}, the rehearsal {_event(ours)}"
    return None


def _ask_trains(program: Program) -> set[str]:
    """Rules about where trains are: a show takes that from its detectors, a rehearsal from trains; here are none."""
    return {
        rule.name
        for rule in program.rules.values()
        if any(atom.sort is Sort.TRAIN for line in rule.lines for one in line.conditions for atom in atoms(one.term))
    }


def _played(trace: Sequence[Record], went_on: set[str], trains: set[str]) -> list[Event]:
    found: list[Event] = []
    for one in trace:
        if isinstance(one, SceneIs) and one.scene not in went_on:
            found.append((one.at_us, one.scene, one.state))
        elif isinstance(one, Broke) and one.rule not in trains:
            found.append((one.at_us, f"rule {one.rule}", "broken"))
    return sorted(found)


def _said(window: Window, trains: set[str]) -> list[Event]:
    found: list[Event] = []
    for one in window.entries:
        at_us = (one.at_us or 0) - window.from_us
        if one.kind == "scene":
            found.append((at_us, one.subject, str(one.details.get("state"))))
        elif one.kind == "rule" and one.subject not in trains:
            found.append((at_us, f"rule {one.subject}", "broken"))
    return sorted(found)


def _event(event: Event | None) -> str:
    if event is None:
        return "nothing more"
    at_us, what, did = event
    return f"{what} {did} at {duration(at_us)}"


# --- in words ------------------------------------------------------------------------------------------------------


def _in_words(
    program: Program, window: Window, rehearsal: Rehearsal, differs: str, words: str, wanted_us: int
) -> Replay:
    from wayside.case_words import act, time

    at = journal_read.hall(window.start) + timedelta(microseconds=window.from_us - (window.start.at_us or 0))
    name = _free_name(program, at)
    stood = beginnings(program, window.start.details)
    lines = [f"# From the journal: what came before {plain(words)}. It begins with how all stood at {at:%H:%M:%S}."]
    lines += [f"rehearsal {name}", f"    begins at {_time_of_day(rehearsal.begins_at_s or 0)}"]
    lines += [f"    begins with {one.words}" for one in stood]
    for one in rehearsal.acts:
        lines.append(f"    {act(one)}")
    lines += [f"    seed {rehearsal.seed}"] if rehearsal.seed else []
    lines.append(f"    lasts {time(rehearsal.lasts_us or SECOND)}")
    text = "\n".join(lines) + "\n"
    return Replay(name, text, not differs, tuple(_remarks(program, window, differs, wanted_us)))


def _remarks(program: Program, window: Window, differs: str, wanted_us: int) -> Iterator[str]:
    early_us = wanted_us - window.from_us
    if early_us > SECOND and wanted_us > 0:
        yield f"It sets out {duration(early_us // SECOND * SECOND)} earlier: only then did no scene run that counts."
    running = window.start.details.get("running", ())
    if running:
        verb = "was" if len(running) == 1 else "were"
        yield f"{listed(list(running))} {verb} running all the time, and {verb} left out."
    if unsaid := _unsaid(window):
        each = "it" if len(unsaid) == 1 else "each"
        yield f"It begins with {listed(unsaid)} at rest: no rehearsal can begin with what {each} did then."
    moved = {one.subject for one in window.entries if one.details.get("deed") == "moved"}
    if moved:
        yield f"What somebody else on the station told {listed(sorted(moved))} is left out."
    trains = _ask_trains(program)
    broke = sorted({one.subject for one in window.entries if one.kind == "rule"} & trains)
    if broke:
        one = len(broke) == 1
        yield (
            f"{listed(broke)} {'was' if one else 'were'} broken, and {'asks' if one else 'ask'} where trains are: no "
            f"train runs in the rehearsal, so nothing breaks {'it' if one else 'them'} there."
        )
    events = _said(window, trains)
    if differs:
        why = "The files may have been changed since, or chance or an operator plays a part."
        yield f"Rehearsed, it does not do the same: {differs}. {why}"
    else:
        scenes = len([one for one in events if not one[1].startswith("rule ")])
        rules = len(events) - scenes
        rule = f" and {count(rules, 'broken rule')}" if rules else ""
        if not events:
            yield "No scene begins or ends in it and no rule breaks, in the journal and rehearsed."
            return
        ends = count(scenes, "beginning or end", "beginnings and ends")
        yield f"Rehearsed, it does the same: {ends} of scenes{rule}."


def _unsaid(window: Window) -> list[str]:
    """What flashed, flickered or moved by itself while it stood, and no `begins with` can say."""
    return list(window.start.details.get("unsettled", ()))


def _free_name(program: Program, at: datetime) -> str:
    wanted = f"journal-of-{at:%Y-%m-%d-%H-%M-%S}"
    names = (wanted if number == 1 else f"{wanted}-{number}" for number in range(1, 1_000))
    return next(name for name in names if name not in program.rehearsals)


def _time_of_day(second: int) -> str:
    return f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d} layout time"
