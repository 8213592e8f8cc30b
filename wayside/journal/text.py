"""Entries of a journal as people and spreadsheets read them: aligned lines with the hall's time, and CSV.

Names and notes come from outside: nothing in them moves a cursor or becomes a formula.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from typing import TextIO

from engine.sun import MONTHS
from wayside.journal.file import Entry
from wayside.journal.read import hall
from wayside.wording import wrapped

KIND_WIDTH = 8
_HARMLESS = dict.fromkeys([*range(32), 127, *range(128, 160)], "?")
# also what turns the direction of writing round, which would show other words than there are
_HARMLESS |= dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x2028, 0x2029], "?")
# A cell that begins so is a formula to a spreadsheet (OWASP, CSV Injection)
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_UNSEEN = re.compile(r"[^\S\t\r\n]|[\u200b-\u200d\u2060\ufeff]")  # a formula may begin behind these
HEADINGS = ("number", "date", "time", "utc", "show time s", "kind", "subject", "text", "place", "details")
DAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]


def plain(text: str) -> str:
    """A text without anything that a terminal would obey."""
    return text.translate(_HARMLESS)


def day(of: date) -> str:
    """`Saturday 28 November 2026`."""
    return f"{DAYS[of.weekday()]} {of.day} {MONTHS[of.month - 1]} {of.year}"


def clock(at: datetime) -> str:
    """`14:32:05.1`, not rounded up into the next second."""
    return f"{at:%H:%M:%S}.{at.microsecond // 100_000}"


class Lines:
    """One entry after another as lines; a heading where another day begins, or the hall's clock was changed."""

    def __init__(self, width: int) -> None:
        self._width = max(width, 60)
        self._under: tuple[date, int] | None = None

    def of(self, entry: Entry) -> Iterator[str]:
        at = hall(entry)
        if self._under != (at.date(), entry.offset_min):
            if self._under is not None:
                yield ""
            self._under = (at.date(), entry.offset_min)
            yield f"{day(at.date())}, {offset(entry.offset_min)}"
        head = f"{clock(at)}  {plain(entry.kind)[:KIND_WIDTH]:<{KIND_WIDTH}}  "
        place = f"   ({plain(entry.place)})" if entry.place and entry.place not in entry.text else ""
        yield from wrapped(f"{plain(entry.text)}{place}", self._width, head, " " * len(head)) or [head.rstrip()]


def offset(minutes: int) -> str:
    """`UTC`, `UTC+1`, `UTC-3:30`."""
    if not minutes:
        return "UTC"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '-'}{hours}{f':{rest:02d}' if rest else ''}"


def write_csv(entries: Iterable[Entry], out: TextIO) -> int:
    """A heading and a row each, lines ending as RFC 4180 has them; how many entries."""
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(HEADINGS)
    number = 0
    for entry in entries:
        rows.writerow(_cells(entry))
        number += 1
    return number


def _cells(entry: Entry) -> list[object]:
    at = hall(entry)
    utc = datetime.fromtimestamp(entry.utc_us / 1_000_000, UTC)
    details = json.dumps(entry.details, separators=(",", ":")) if entry.details else ""
    texts = (entry.kind, entry.subject, entry.text, entry.place, details)
    return [
        entry.number,
        f"{at:%Y-%m-%d}",
        f"{at:%H:%M:%S.%f}"[:-3],
        f"{utc:%Y-%m-%dT%H:%M:%S.%f}"[:-3] + "Z",
        "" if entry.at_us is None else f"{entry.at_us / 1_000_000:.6f}",
        *(cell(text) for text in texts),
    ]


def cell(text: str) -> str:
    """A text that a spreadsheet takes for text."""
    return f"'{plain(text)}" if _UNSEEN.sub("", text).startswith(FORMULA) else plain(text)
