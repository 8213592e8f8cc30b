"""What of a day is to be looked at before the next show, by output, detector, link and show. Decides what
is one; lays nothing out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from wayside.journal.read import hall
from wayside.wording import count, duration

if TYPE_CHECKING:
    from wayside.journal.day import Day, Span
    from wayside.journal.file import Entry

# Bounds of our own choice, no source: what a busy day with clean track stays well below
CHATTERS_A_MINUTE = 30  # changes of a detector before they settle
SHORT = timedelta(milliseconds=500)  # a train is longer than that over any detector
SHORT_TIMES = 3
LONG = timedelta(minutes=30)  # nothing stands for so long while trains run
SILENT = timedelta(seconds=10)  # a detector that says nothing


class Snag(NamedTuple):
    """`sort`: what is to be looked at, as a heading; `at`: the instants at which it showed, where there are some."""

    sort: str
    subject: str
    what: str
    at: tuple[datetime, ...] = ()


SHOWS, RULES, LINKS, SCENES, BUTTONS = "shows", "rules", "links", "scenes", "buttons"
DETECTORS, OUTPUTS, OTHERS = "detectors", "outputs", "marks that name nothing"
_ORDER = (SHOWS, RULES, LINKS, DETECTORS, OUTPUTS, BUTTONS, SCENES, OTHERS)


def of(day: Day) -> list[Snag]:
    """By what they are about, in the order of the headings."""
    found = list(_found(day))
    first: dict[str, int] = {}
    for number, one in enumerate(found):
        first.setdefault(one.subject, number)
    return sorted(found, key=lambda one: (_ORDER.index(one.sort), first[one.subject]))


def _found(day: Day) -> Iterator[Snag]:
    for span, _ in day.shows:
        if not span.known:
            said = f"the one of {span.from_:%H:%M:%S} has no end; its last entry is of {span.to:%H:%M:%S}"
            yield Snag(SHOWS, "show", said, (span.to,))
    for name, broke in _by_subject(day.broken):
        said = f"the rule was broken {count(len(broke), 'time')}: wayside journal FOLDER --kind rule"
        yield Snag(RULES, name, said, tuple(map(hall, broke)))
    for name, faults in _by_subject(day.faults):
        said = f"{count(len(faults), 'fault')}: wayside journal FOLDER --kind fault"
        yield Snag(LINKS if name else SCENES, name or "scenes", said, tuple(map(hall, faults)))
    for name in day.detectors:
        for what in _of_detector(day, name):
            yield Snag(DETECTORS, name, what)
    for name, put_right in day.corrected.items():
        said = f"somebody else told it something, and it was put right {count(len(put_right), 'time')}"
        yield Snag(OUTPUTS, name, said, tuple(map(hall, put_right)))
    yield from _marked(day)


def _by_subject(entries: Iterable[Entry]) -> Iterable[tuple[str, list[Entry]]]:
    found: dict[str, list[Entry]] = {}
    for one in entries:
        found.setdefault(one.subject, []).append(one)
    return found.items()


def _of_detector(day: Day, name: str) -> Iterator[str]:
    occupied, unknown = day.occupied.get(name, []), day.unknown.get(name, [])
    changes, when = day.raw.get(name, (0, None))
    if when is not None and changes > CHATTERS_A_MINUTE:
        yield f"chattered: {changes} changes in the minute before {when:%H:%M:%S}; look at wheels, track and `settle`"
    short = [span for span in occupied if span.known and span.to - span.from_ < SHORT]
    if len(short) >= SHORT_TIMES:
        first = short[0].from_
        yield f"flickered: {count(len(short), 'time')} occupied for less than {_ms(SHORT)}, first at {first:%H:%M:%S}"
    if not occupied:
        yield "never saw a train"
    held = max(occupied, key=_lasts, default=None)
    if held is not None and _lasts(held) > LONG:
        still = "" if held.known else ", and never cleared"
        yield f"was occupied for {_long(held)} from {held.from_:%H:%M:%S} on{still}"
    elif held is not None and not occupied[-1].known:
        yield f"was still occupied at the end, since {occupied[-1].from_:%H:%M:%S}"
    silent = [span for span in unknown if _lasts(span) > SILENT]
    if silent:
        yield f"said nothing {count(len(silent), 'time')}, for {_long(max(silent, key=_lasts))} at the longest"


def _lasts(span: Span) -> timedelta:
    return span.to - span.from_


def _long(span: Span) -> str:
    return duration(round(_lasts(span).total_seconds()) * 1_000_000)


def _ms(span: timedelta) -> str:
    return duration(round(span.total_seconds() * 1_000_000))


def _marked(day: Day) -> Iterator[Snag]:
    """Marks, under the names that they name."""
    sorts = {
        **dict.fromkeys(day.known_scenes, SCENES),
        **dict.fromkeys(day.known_buttons, BUTTONS),
        **dict.fromkeys(day.outputs, OUTPUTS),
        **dict.fromkeys(day.detectors, DETECTORS),
    }
    for entry in day.marks:
        words = set(re.findall(r"[a-z][a-z0-9-]*", entry.text.lower()))
        for name in sorted(sorts.keys() & words) or ["mark"]:
            said = f"marked at {hall(entry):%H:%M:%S}: {entry.text}"
            yield Snag(sorts.get(name, OTHERS), name, said, (hall(entry),))
