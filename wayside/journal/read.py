"""Reading a journal: which entries, by time, kind and name; one after another, also while a show writes. No words."""

from __future__ import annotations

import sqlite3
from collections.abc import Generator, Iterator
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from functools import reduce
from pathlib import Path
from typing import NamedTuple

from wayside.journal import file as journal_file
from wayside.journal.file import COLUMNS, Entry, NotOurs, read_row
from wayside.usage import UsageProblem

DAY_US = 24 * 3_600_000_000
FARTHEST_US = 15 * 3_600_000_000  # no clock is further from universal time
_WORDS = reduce(lambda text, mark: f"replace({text}, '{mark}', ' ')", ".,:;()`", "text")  # as SQL: words only
QUIET = ("standing", "lateness")  # for programs: shown when they are asked for by kind


class Wanted(NamedTuple):
    """Which entries. Times are the hall's own, in microseconds since 1970-01-01 00:00 by its clock."""

    from_us: int | None = None
    to_us: int | None = None  # not included
    kinds: tuple[str, ...] = ()
    about: str = ""
    last: int | None = None
    show: int | None = None
    after: int = 0  # a number; those with a greater one


def opened(path: Path) -> sqlite3.Connection:
    """A journal to be read. Raises UsageProblem where there is none, or it cannot be read."""
    if not path.exists():
        raise UsageProblem(
            f"There is no journal in {path.parent}: `wayside run` keeps one there from its first show on."
        )
    try:
        return journal_file.open_to_read(path)
    except NotOurs as problem:
        raise UsageProblem(
            f"{path} {problem}, and cannot be read. The next show keeps it under another name."
        ) from problem
    except (sqlite3.Error, OSError) as problem:
        raise UsageProblem(f"{path} cannot be read: {journal_file.reason(problem)}.") from problem


def entries(base: sqlite3.Connection, wanted: Wanted) -> Generator[Entry]:
    """Those that are wanted, in the order in which they happened. Raises UsageProblem if the file breaks off."""
    where, given = _where(wanted)
    text = f"SELECT {COLUMNS} FROM entry WHERE {' AND '.join(where)} ORDER BY id"
    if wanted.last is not None:
        text = f"SELECT * FROM ({text} DESC LIMIT ?) ORDER BY id"
        given.append(wanted.last)
    try:
        with closing(base.execute(text, given)) as found:
            for row in found:
                yield read_row(row)
    except sqlite3.Error as problem:
        raise UsageProblem(f"The journal cannot be read to its end: {journal_file.reason(problem)}.") from problem


def _where(wanted: Wanted) -> tuple[list[str], list[object]]:
    local = "utc_us + offset_min * 60000000"
    where, given = ["id > ?"], list[object]([wanted.after])
    if wanted.from_us is not None:
        where += [f"{local} >= ?", "utc_us >= ?"]  # the second for the index
        given += [wanted.from_us, wanted.from_us - FARTHEST_US]
    if wanted.to_us is not None:
        where += [f"{local} < ?", "utc_us < ?"]
        given += [wanted.to_us, wanted.to_us + FARTHEST_US]
    if wanted.kinds:
        where.append(f"kind IN ({', '.join('?' * len(wanted.kinds))})")
        given += wanted.kinds
    else:
        where.append(f"kind NOT IN ({', '.join('?' * len(QUIET))})")
        given += QUIET
    if wanted.about:
        # whole words only: `lane` is not `saltmarsh-lane`
        where.append(f"(subject = ? OR ' ' || {_WORDS} || ' ' LIKE ? ESCAPE '!')")
        given += [wanted.about, f"% {_plainly(wanted.about)} %"]
    if wanted.show is not None:
        where.append("show = ?")
        given.append(wanted.show)
    return where, given


def _plainly(word: str) -> str:
    return "".join(f"!{letter}" if letter in "!%_" else letter for letter in word)


def of_show(path: Path, show: int) -> list[Entry]:
    """All that is known of one show; nothing where the journal cannot be read."""
    try:
        with closing(opened(path)) as base:
            return list(whole_show(base, show))
    except UsageProblem:
        return []


def whole_show(base: sqlite3.Connection, show: int) -> Iterator[Entry]:
    """Every entry of a show, those for programs, too."""
    return entries(base, Wanted(kinds=kinds_of(base), show=show))


def whole_day(base: sqlite3.Connection, day: date) -> Iterator[Entry]:
    """Every entry of a day by the hall's clock, those for programs, too."""
    from_us = local_us(day)
    return entries(base, Wanted(from_us, from_us + DAY_US, kinds_of(base)))


def kinds_of(base: sqlite3.Connection) -> tuple[str, ...]:
    """The kinds that there are in the journal."""
    return tuple(kind for (kind,) in base.execute("SELECT DISTINCT kind FROM entry ORDER BY kind")) or ("show",)


def names_in(base: sqlite3.Connection) -> set[str]:
    """All that entries are about."""
    return {name for (name,) in base.execute("SELECT DISTINCT subject FROM entry") if name}


def first_entry(base: sqlite3.Connection) -> Entry | None:
    """The oldest one that is still kept."""
    row = base.execute(f"SELECT {COLUMNS} FROM entry ORDER BY id LIMIT 1").fetchone()
    return read_row(row) if row else None


def last_entry(base: sqlite3.Connection, kind: str = "") -> Entry | None:
    """The last one of all, or of a kind."""
    where, given = ("WHERE kind = ?", (kind,)) if kind else ("", ())
    row = base.execute(f"SELECT {COLUMNS} FROM entry {where} ORDER BY id DESC LIMIT 1", given).fetchone()
    return read_row(row) if row else None


def last_before(base: sqlite3.Connection, local: int) -> Entry | None:
    """The last entry at or before an instant of the hall's clock."""
    row = base.execute(
        f"SELECT {COLUMNS} FROM entry WHERE utc_us + offset_min * 60000000 <= ? ORDER BY id DESC LIMIT 1", (local,)
    ).fetchone()
    return read_row(row) if row else None


# --- the hall's time -----------------------------------------------------------------------------------------------


def local_us(day: date, second: int = 0) -> int:
    """An instant by the hall's clock, as microseconds since 1970-01-01 00:00 by the same clock."""
    return ((day - date(1970, 1, 1)).days * 86_400 + second) * 1_000_000


def hall(entry: Entry) -> datetime:
    """When it was, by the hall's clock."""
    return datetime.fromtimestamp(0, UTC) + timedelta(microseconds=entry.utc_us, minutes=entry.offset_min)
