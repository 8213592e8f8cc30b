"""What stands in the rows of a day's picture: shows, scenes, links, broken rules, marks, and what is to be looked at.

Makes records of spans and ticks from a day's; must not know pages or ink.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta

from wayside.journal import snags as journal_snags
from wayside.journal.day import Day
from wayside.journal.day import Span as Stretch
from wayside.journal.file import Entry
from wayside.journal.read import hall
from wayside.journal.snags import DETECTORS, OUTPUTS, Snag
from wayside.journal.summary import length
from wayside.journal.text import plain
from wayside.pictures.rows import Section
from wayside.pictures.spans import Look, Row, Span, Tick

SHORTEST = timedelta(minutes=1)  # that a page shows


class Rows:
    """Makes rows of a day; instants are microseconds since its first show began."""

    def __init__(self, day: Day) -> None:
        self.day = day
        self.begins = min(span.from_ for span, _ in day.shows)
        self.ends = max(self.begins + SHORTEST, *(span.to for span, _ in day.shows))
        self.until_us = self.us(self.ends)
        self.snags = journal_snags.of(day)

    def us(self, at: datetime) -> int:
        return (at - self.begins) // timedelta(microseconds=1)

    def sections(self) -> Iterator[Section]:
        """From the top of the page down; those without a row are left out."""
        day = self.day
        ran = sorted(day.scenes.items(), key=lambda pair: pair[1][0].from_)
        known = self._by_name([*day.detectors], DETECTORS)
        outputs = self._by_name([*day.outputs, *day.corrected], OUTPUTS)
        yield Section("Shows", (self._row("show", "show", [span for span, _ in day.shows], Look.RUNNING),))
        yield Section("Scenes that ran", tuple(self._row("scene", name, all_, Look.RUNNING) for name, all_ in ran))
        yield Section("Links", tuple(self._link(name) for name in day.links))
        yield Section("Rules broken", tuple(self._rules()))
        yield Section("Marked, stopped, at fault", tuple(self._events()))
        yield Section("Detectors to look at", tuple(self._detector(name, found) for name, found in known))
        yield Section("Outputs to look at", tuple(Row("output", name, (), self._at(one)) for name, one in outputs))

    def _row(self, sort: str, name: str, stretches: Sequence[Stretch], look: Look) -> Row:
        spans = self._filled([self._span(one, look) for one in stretches])
        return Row(sort, name, spans, beside=times(len(stretches)))

    def _span(self, stretch: Stretch, look: Look) -> Span:
        text = "" if stretch.known or look is not Look.RUNNING else "no end known"
        return Span(self.us(stretch.from_), self.us(stretch.to), look, text=text)

    def _filled(self, spans: Iterable[Span]) -> tuple[Span, ...]:
        """With the time in between."""
        out: list[Span] = []
        at_us = 0
        for span in sorted(spans, key=lambda one: one.from_us):
            if span.from_us > at_us:
                out.append(Span(at_us, span.from_us, Look.IDLE))
            out.append(span)
            at_us = max(at_us, span.to_us)
        return (*out, Span(at_us, self.until_us, Look.IDLE)) if at_us < self.until_us else tuple(out)

    def _link(self, name: str) -> Row:
        outages = self.day.outages.get(name, [])
        faults = self._ticks(entry for entry in self.day.faults if entry.subject == name)
        row = self._row("link", name, outages, Look.UNKNOWN)
        return Row("link", name, row.spans, faults, length(outages) if outages else "talked")

    def _rules(self) -> Iterator[Row]:
        for name in dict.fromkeys(entry.subject for entry in self.day.broken):
            found = [entry for entry in self.day.broken if entry.subject == name]
            yield Row("rule", name, (), self._ticks(found), times(len(found)))

    def _events(self) -> Iterator[Row]:
        day = self.day
        links = set(day.links)
        rows = (
            ("marks", self._ticks(day.marks, texts=True)),
            ("stops", self._ticks(day.stops, texts=True)),
            ("faults", self._ticks((one for one in day.faults if one.subject not in links), texts=True)),
        )
        yield from (Row("event", name, (), ticks, times(len(ticks))) for name, ticks in rows if ticks)

    def _ticks(self, entries: Iterable[Entry], texts: bool = False) -> tuple[Tick, ...]:
        return tuple(Tick(self.us(hall(one)), plain(one.text) if texts else "") for one in entries)

    def _by_name(self, names: Sequence[str], sort: str) -> Iterator[tuple[str, list[Snag]]]:
        for name in dict.fromkeys(names):
            if found := [one for one in self.snags if one.subject == name and one.sort == sort]:
                yield name, found

    def _detector(self, name: str, found: Sequence[Snag]) -> Row:
        occupied, unknown = self.day.occupied.get(name, []), self.day.unknown.get(name, [])
        spans = [self._span(one, Look.SOLID) for one in occupied] + [self._span(one, Look.UNKNOWN) for one in unknown]
        return Row("detector", name, self._filled(spans), self._at(found), times(len(occupied)))

    def _at(self, found: Sequence[Snag]) -> tuple[Tick, ...]:
        return tuple(Tick(self.us(at), "") for at in sorted(at for one in found for at in one.at))


def times(number: int) -> str:
    return "once" if number == 1 else f"{number} times" if number else "never"
