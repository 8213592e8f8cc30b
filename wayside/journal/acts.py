"""What came in from outside during a show, from its journal, as a rehearsal's acts. Knows no file; plays nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from engine.layout import NOWHERE, OUT_OF_USE
from engine.program import Act, Deed, Program
from wayside.journal.file import Entry

JUST_AFTER_US = 1  # a hand that stops what begins at that very instant comes too early; a broken rule does not

_OF_A_SCENE = {"start": Deed.START, "stop": Deed.STOP}
_OF_ALL = {"all stop": Deed.ALL_STOP, "go on": Deed.GO_ON}
_OF_A_DETECTOR = {"out of use": Deed.PUT_ASIDE, "back in use": Deed.PUT_BACK}


def acts(program: Program, stood: Entry, entries: Sequence[Entry], from_us: int) -> Iterator[Act]:
    """All of it in order, from an instant of the show on; detectors as early as their settling wants it.

    `stood`: how all stood then; a detector that was out of use, and a link that was gone, are made so at once.
    """
    found = [(0, -1, one) for one in _to_begin_with(program, stood)]
    begun = {(one.subject, one.at_us) for one in entries if one.details.get("state") == "running"}
    for number, entry in enumerate(entries):
        act = _act(program, entry)
        if act is not None and act.deed is Deed.STOP and (act.subject, act.at_us) in begun:
            act = act._replace(at_us=act.at_us + JUST_AFTER_US)
        if act is not None:
            found.append((max(0, act.at_us - from_us), number, act))
    for number, (at_us, _, act) in enumerate(sorted(found, key=lambda one: one[:2])):
        # acts of one instant are played in the order of their places
        yield act._replace(at_us=at_us, place=NOWHERE._replace(line=number))


def _to_begin_with(program: Program, stood: Entry) -> Iterator[Act]:
    for name in stood.details.get("gone", ()):
        if name in program.layout.links:
            yield Act(NOWHERE, 0, Deed.LOSE_LINK, name)
    for name in stood.details.get("aside", ()):
        if name in program.layout.detectors:
            yield Act(NOWHERE, 0, Deed.PUT_ASIDE, name)


def _act(program: Program, entry: Entry) -> Act | None:
    layout, at_us, name, details = program.layout, entry.at_us or 0, entry.subject, entry.details
    state = str(details.get("state"))
    if entry.kind == "detector" and name in layout.detectors and state != OUT_OF_USE:
        one = layout.detectors[name]
        settle_us = {"clear": one.settle_us, "occupied": one.settle_occupied_us}.get(state, 0)
        return Act(NOWHERE, at_us - settle_us, Deed.BECOMES, name, state)
    if entry.kind == "button" and name in layout.buttons:
        return Act(NOWHERE, at_us, Deed.PRESS if details.get("pressed") else Deed.LET_GO, name)
    if entry.kind == "link" and name in layout.links and state in ("gone", "talking") and "health" not in details:
        return Act(NOWHERE, at_us, Deed.LOSE_LINK if state == "gone" else Deed.MEND_LINK, name)
    if entry.kind == "scene" and name in program.named_scenes and _stopped_by_a_rule(entry):
        return Act(NOWHERE, at_us, Deed.STOP, name)
    if entry.kind in ("hand", "day"):
        return _asked(program, entry, str(details.get("deed")))
    return None


def _asked(program: Program, entry: Entry, deed: str) -> Act | None:
    at_us, name = entry.at_us or 0, entry.subject
    if deed in _OF_A_SCENE and name in program.named_scenes:
        return Act(NOWHERE, at_us, _OF_A_SCENE[deed], name)
    if deed in _OF_ALL:
        return Act(NOWHERE, at_us, _OF_ALL[deed], "")
    if deed in _OF_A_DETECTOR and name in program.layout.detectors:
        return Act(NOWHERE, at_us, _OF_A_DETECTOR[deed], name)
    return None


def _stopped_by_a_rule(entry: Entry) -> bool:
    """A show stops scenes by a broken rule, which a rehearsal only tells of."""
    why = str(entry.details.get("why", ""))
    stops = entry.details.get("state") in ("stopping", "stopped")
    return stops and why.startswith("rule ") and why.endswith(" is broken")
