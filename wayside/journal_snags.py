"""What of a day is to be looked at before the next show, by output, detector, link and show. Decides; knows no words'
layout.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from wayside.journal_read import hall
from wayside.wording import count, duration

if TYPE_CHECKING:
    from wayside.journal_summary import Day, Span

# Bounds of our own choice, no source: what a busy day with clean track stays well below
CHATTERS_A_MINUTE = 30  # changes of a detector before they settle
SHORT = timedelta(milliseconds=500)  # a train is longer than that over any detector
SHORT_TIMES = 3
LONG = timedelta(minutes=30)  # nothing stands for so long while trains run
SILENT = timedelta(seconds=10)  # a detector that says nothing


class Snag(NamedTuple):
    subject: str
    what: str


def of(day: Day) -> Iterator[Snag]:
    """In the order: shows, rules, links, detectors, outputs, marks that name nothing."""
    for span, _ in day.shows:
        if not span.known:
            yield Snag("show", f"the one of {span.from_:%H:%M:%S} has no end; its last entry is of {span.to:%H:%M:%S}")
    for name, number in Counter(entry.subject for entry in day.broken).items():
        yield Snag(name, f"the rule was broken {count(number, 'time')}: wayside journal FOLDER --kind rule")
    for name, number in Counter(entry.subject for entry in day.faults).items():
        yield Snag(name or "scenes", f"{count(number, 'fault')}: wayside journal FOLDER --kind fault")
    for name in day.detectors:
        for what in _of_detector(day, name):
            yield Snag(name, what)
    for name, number in day.corrected.items():
        if number:
            yield Snag(name, f"somebody else told it something, and it was put right {count(number, 'time')}")
    yield from _marked(day)


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
    known = {*day.detectors, *day.outputs, *day.known_buttons, *day.known_scenes}
    for entry in day.marks:
        words = set(re.findall(r"[a-z][a-z0-9-]*", entry.text.lower()))
        for name in sorted(known & words) or ["mark"]:
            yield Snag(name, f"marked at {hall(entry):%H:%M:%S}: {entry.text}")
