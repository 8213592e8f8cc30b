"""The journal's file: its table, opened, checked, set aside when it is damaged, kept within bounds. Knows no show.

`journal.sqlite` beside the layout file is an SQLite 3 database in write-ahead mode, with one table, `entry`, a row for
each thing that happened. `PRAGMA application_id` is 0x57595344, `PRAGMA user_version` the version of this table, 1.

  | column       | holds                                                                                             |
  |--------------|---------------------------------------------------------------------------------------------------|
  | `id`         | rises with every row; the order in which things happened                                          |
  | `utc_us`     | when, in microseconds since 1970-01-01 00:00 UTC, by the computer's clock                         |
  | `offset_min` | the hall's local time then, in minutes from UTC                                                   |
  | `show`       | which show: the `utc_us` at which it began                                                        |
  | `at_us`      | the instant of the show in microseconds since it began; null for what belongs to no instant        |
  | `kind`       | see the table in the `README.md` beside it                                                      |
  | `subject`    | the scene, output, detector, button, link, rule, flag or counter that it is about; or empty        |
  | `text`       | a sentence                                                                                        |
  | `details`    | a JSON object with the same for programs, or empty                                                |
  | `place`      | the line that asked, as `file:line`, or empty                                                     |
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterable, Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import Any, NamedTuple
from urllib.request import pathname2url

from engine.layout import Keeping
from wayside.usage import why_not

FILE = "journal.sqlite"
APPLICATION, VERSION = 0x57595344, 1
BUSY_S = 2.0  # how long another writer, or a slow disk, is waited for
LONGEST_TEXT = 2_000  # characters
ROWS_AT_ONCE = 2_000  # are pruned in one go, so that nothing waits long for it
FULL_SHARE = 0.9  # of the greatest size is what pruning leaves
LARGEST_LOG = 4_000_000  # bytes that the write-ahead log keeps once it has been written back

_TABLE = """
CREATE TABLE IF NOT EXISTS entry (
    id INTEGER PRIMARY KEY AUTOINCREMENT, utc_us INTEGER NOT NULL, offset_min INTEGER NOT NULL, show INTEGER NOT NULL,
    at_us INTEGER, kind TEXT NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL, details TEXT NOT NULL,
    place TEXT NOT NULL
)
"""
COLUMNS = "id, utc_us, offset_min, show, at_us, kind, subject, text, details, place"
_INSERT = f"INSERT INTO entry ({COLUMNS.removeprefix('id, ')}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_DAMAGED = ("SQLITE_CORRUPT", "SQLITE_NOTADB")


class Entry(NamedTuple):
    """One row. `number` is its `id`, 0 before it is written; `details` is what the JSON object holds."""

    utc_us: int
    offset_min: int
    show: int
    at_us: int | None
    kind: str
    subject: str
    text: str
    details: Mapping[str, Any] = {}
    place: str = ""
    number: int = 0


class NotOurs(Exception):
    """The file is damaged, or something else than a journal of this version; its text says which."""


def file_for(layout_file: Path) -> Path:
    return layout_file.resolve().parent / FILE


def open_to_write(path: Path) -> sqlite3.Connection:
    """The journal, made if there is none. Raises NotOurs, sqlite3.Error or OSError."""
    fresh = not path.exists()
    base = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    try:
        if not fresh:
            _look_over(base)
        base.execute("PRAGMA auto_vacuum = INCREMENTAL")  # counts for a file without a table
        base.execute("PRAGMA journal_mode = WAL")
        base.execute("PRAGMA synchronous = FULL")  # a commit is on the disk when it returns; a thread waits for it
        base.execute(f"PRAGMA journal_size_limit = {LARGEST_LOG}")
        base.execute("BEGIN IMMEDIATE")
        base.execute(_TABLE)
        base.execute("CREATE INDEX IF NOT EXISTS by_time ON entry (utc_us)")
        base.execute(f"PRAGMA application_id = {APPLICATION}")
        base.execute(f"PRAGMA user_version = {VERSION}")
        base.execute("COMMIT")
    except sqlite3.Error as problem:
        base.close()
        if is_damage(problem):
            raise NotOurs("is damaged") from problem
        raise
    except NotOurs:
        base.close()
        raise
    return base


def _look_over(base: sqlite3.Connection) -> None:
    """Whether the file is whole and ours; one without any table is new."""
    if not base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        return
    (application,), (version,) = (
        base.execute(f"PRAGMA {word}").fetchone() for word in ("application_id", "user_version")
    )
    if application != APPLICATION:
        raise NotOurs("is not a journal of Wayside's")
    if version > VERSION:
        raise NotOurs("was written by a later Wayside")
    if base.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
        raise NotOurs("is damaged")


def is_damage(problem: BaseException) -> bool:
    """Whether what went wrong is that the file is no sound database."""
    return str(getattr(problem, "sqlite_errorname", "")).startswith(_DAMAGED)


def open_to_read(path: Path) -> sqlite3.Connection:
    """The journal, also while a show writes it and where nothing can be written. Raises NotOurs or sqlite3.Error."""
    found: BaseException | None = None
    for mode in ("mode=ro", "mode=ro&immutable=1"):  # the second needs no file of its own beside the journal
        try:
            address = f"file:{pathname2url(str(path.resolve()))}?{mode}"
            base = sqlite3.connect(address, timeout=BUSY_S, isolation_level=None, uri=True)
            with suppress(sqlite3.OperationalError):
                base.execute("PRAGMA query_only = 1")
            (application,) = base.execute("PRAGMA application_id").fetchone()
            (version,) = base.execute("PRAGMA user_version").fetchone()
            if application != APPLICATION:
                raise NotOurs("is not a journal of Wayside's")
            if version > VERSION:
                raise NotOurs("was written by a later Wayside")
            return base
        except sqlite3.Error as problem:
            if is_damage(problem):
                raise NotOurs("is damaged") from problem
            found = problem
    assert found is not None
    raise found


def set_aside(path: Path) -> Path:
    """Give a file that cannot be used another name beside it, with what belongs to it. Raises OSError."""
    stem = f"{path.stem}-set-aside-{time.strftime('%Y%m%d-%H%M%S')}"
    free = (path.with_name(f"{stem}{'' if number == 1 else f'-{number}'}{path.suffix}") for number in range(1, 1_000))
    target = next(name for name in free if not name.exists())
    path.rename(target)
    for ending in ("-wal", "-shm"):
        with suppress(OSError):
            path.with_name(path.name + ending).rename(target.with_name(target.name + ending))
    return target


def write(base: sqlite3.Connection, entries: Iterable[Entry]) -> None:
    """All of them, or none. Raises sqlite3.Error."""
    base.execute("BEGIN IMMEDIATE")
    try:
        base.executemany(_INSERT, map(_row, entries))
        base.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            base.execute("ROLLBACK")
        raise


def _row(entry: Entry) -> tuple[object, ...]:
    details = json.dumps(entry.details, separators=(",", ":"), default=str) if entry.details else ""
    subject, text = (_sound(part)[:LONGEST_TEXT] for part in (entry.subject, entry.text))
    return (*entry[:5], subject, text, details, _sound(entry.place))


def _sound(text: str) -> str:
    """Halves of letters, which a terminal of another alphabet can make, cannot be written."""
    return text.encode("utf-8", "replace").decode("utf-8")


def read_row(row: tuple[Any, ...]) -> Entry:
    """An entry from a row of COLUMNS; details that cannot be read are none."""
    number, utc_us, offset_min, show, at_us, kind, subject, text, details, place = row
    found: Any = None
    if details:
        with suppress(ValueError):
            found = json.loads(details)
    kept = found if isinstance(found, dict) else {}
    return Entry(utc_us, offset_min, show, at_us, kind, subject, text, kept, place, number)


# --- bounds --------------------------------------------------------------------------------------------------------


def too_much(base: sqlite3.Connection, keeping: Keeping) -> bool:
    """Whether the file has grown past its greatest size."""
    return _size(base) > keeping.most_bytes


def prune(base: sqlite3.Connection, keeping: Keeping, now_us: int) -> bool:
    """Take out a few of the oldest entries, if they are too old or the file is too large; whether more are to go."""
    oldest_us = now_us - keeping.days * 24 * 3_600_000_000
    limit = int(keeping.most_bytes * FULL_SHARE)
    large = _size(base) > limit
    chosen = "SELECT id FROM entry {} ORDER BY id LIMIT ?".format("" if large else "WHERE utc_us < ?")
    given: tuple[int, ...] = (ROWS_AT_ONCE,) if large else (oldest_us, ROWS_AT_ONCE)
    gone = base.execute(f"DELETE FROM entry WHERE id IN ({chosen})", given).rowcount
    if gone:
        with closing(base.execute("PRAGMA incremental_vacuum(2000)")) as freed:
            freed.fetchall()
    return bool(gone)


def _size(base: sqlite3.Connection) -> int:
    """Bytes that the entries take; what has been freed in the file is used again."""
    pages, free, each = (
        base.execute(f"PRAGMA {word}").fetchone()[0] for word in ("page_count", "freelist_count", "page_size")
    )
    return int((pages - free) * each)


def reason(problem: BaseException) -> str:
    """Why a file cannot be used, in words."""
    if isinstance(problem, OSError):
        return why_not(problem)
    name = str(getattr(problem, "sqlite_errorname", ""))
    found = next((words for start, words in _REASONS.items() if name.startswith(start)), "")
    return found or str(problem)


_REASONS = {
    "SQLITE_FULL": "the disk is full",
    "SQLITE_IOERR": "the disk cannot be read or written",
    "SQLITE_READONLY": "it may only be read",
    "SQLITE_CANTOPEN": "it cannot be opened or made there",
    "SQLITE_BUSY": "another program keeps it to itself",
    "SQLITE_LOCKED": "another program keeps it to itself",
    "SQLITE_PERM": "its permissions forbid it",
}
