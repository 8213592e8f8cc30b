"""What a show day has begun, kept beside the layout file, so that a show after a kill does not begin it again.

The file is small text, written whole and at once by a thread. Only a show by the hall's true time keeps it.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor, wait
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from engine.program import DayAfter, DayEntry
from wayside.live import last_positions

if TYPE_CHECKING:
    from engine.day import Plan
    from engine.show_day import ShowDay

FILE = "day-begun.json"


def file_for(layout_file: Path) -> Path:
    return layout_file.resolve().parent / last_positions.FOLDER / FILE


def read(path: Path, plan: Plan) -> tuple[dict[int, int], str]:
    """When each line of the day, by its number, was last begun on this date; and what is wrong with the file, if it is.

    Instants are this performance's, so they lie before its beginning. What was kept of another date is passed over.
    """
    found, trouble = last_positions.read_object(path)
    begun = found.get("begun")
    if not isinstance(begun, dict) or [found.get("day"), found.get("date")] != [plan.day.name, plan.date.isoformat()]:
        return {}, trouble
    read_us = {number: _instant(begun.get(_key(entry)), plan) for number, entry in enumerate(plan.day.entries)}
    return {number: at_us for number, at_us in read_us.items() if at_us is not None}, trouble


def _key(entry: DayEntry) -> str:
    return f"{entry.words} run {entry.scene}"


def _instant(said: object, plan: Plan) -> int | None:
    """Microseconds of this performance; None for what is no instant, or lies in its future."""
    try:
        at = datetime.fromisoformat(said) if isinstance(said, str) else None
        at_us = None if at is None or at.tzinfo is None else plan.us(at)
    except (ValueError, OverflowError):
        return None
    return at_us if at_us is not None and at_us <= 0 else None


class DayKept:
    """What one show's day has begun, written whenever there is more of it."""

    def __init__(self, day: ShowDay, plan: Plan, path: Path, before: dict[int, int]) -> None:
        self._day, self._plan, self._path = day, plan, path
        self._begun = {_key(plan.day.entries[number]): at_us for number, at_us in before.items()}
        self._seen = 0  # of the day's log
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._writing: Future[str] | None = None

    def keep(self) -> str:
        """Write down what has been begun since; what is wrong if that could not be done. Never waits for the disk."""
        if self._writing is not None and not self._writing.done():
            return ""
        trouble = "" if self._writing is None else self._writing.result()
        fresh, self._seen = self._day.log[self._seen :], len(self._day.log)
        begun = {
            _key(one.entry): one.at_us
            for one in fresh
            if one.entry is not None and not one.left_out and not isinstance(one.entry, DayAfter)
        }
        if begun:
            self._begun |= begun
            self._writing = self._pool.submit(_write, self._path, self._whole())
        return trouble

    def _whole(self) -> dict[str, object]:
        said = {key: self._plan.hall(at_us).astimezone(UTC).isoformat() for key, at_us in self._begun.items()}
        return {"day": self._plan.day.name, "date": self._plan.date.isoformat(), "begun": said}

    def close(self) -> str:
        """Write what is still to be written; what is wrong if that could not be done."""
        if self._writing is not None:
            wait([self._writing], 2)
        self.keep()
        self._pool.shutdown()
        return "" if self._writing is None else self._writing.result()


def _write(path: Path, found: dict[str, object]) -> str:
    why = last_positions.write_object(path, found)
    return f"What the day has begun cannot be kept in {path} ({why}); a restart may begin it again." if why else ""
