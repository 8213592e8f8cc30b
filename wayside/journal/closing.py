"""What is left of a show day when it closes: its page as text and picture beside the layout file, and on the screen.

Reads the journal, so that it tells what was truly written down. Nothing that a disk does stops it: it is said.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date
from pathlib import Path

from wayside.journal import day as journal_day
from wayside.journal import read as journal_read
from wayside.journal import summary as journal_summary
from wayside.journal.day import Day
from wayside.live.last_positions import FOLDER
from wayside.usage import UsageProblem, why_not

LATER = "`wayside journal FOLDER --summary --picture day.svg` does it later"


def closes(journal: Path, show: int) -> list[str]:
    """The page of the day on which a show began, all its shows together; and where it has been written, or why not."""
    try:
        found = _day_of(journal, show)
    except (UsageProblem, sqlite3.Error) as problem:
        return [f"There is no summary of the day: {problem}"]
    if found is None:
        return ["There is no summary of the day: nothing of this show could be kept in the journal."]
    of_day, day = found
    lines = list(journal_summary.text(day, of_day))
    stem = journal.parent / FOLDER / f"day-{of_day}"
    return ["\n".join(lines), *_written(stem, lines, day, of_day)]


def _day_of(journal: Path, show: int) -> tuple[date, Day] | None:
    with closing(journal_read.opened(journal)) as base:
        of_show = list(journal_read.whole_show(base, show))
        if not of_show:
            return None
        of_day = journal_read.hall(of_show[0]).date()
        entries = list(journal_read.whole_day(base, of_day))
    last = entries[-1].number if entries else 0
    after_midnight = [one for one in of_show if one.number > last]
    return of_day, journal_day.of([*entries, *after_midnight])


def _written(stem: Path, lines: list[str], day: Day, of_day: date) -> list[str]:
    """Write both files, each whole or not at all, over those of an earlier show of the day."""
    from wayside.journal import picture as journal_picture

    text, picture = stem.with_suffix(".txt"), stem.with_suffix(".svg")
    try:
        stem.parent.mkdir(exist_ok=True)
        _whole(text, lambda path: path.write_text("\n".join([*lines, ""]), encoding="utf-8", newline="\n"))
        _whole(picture, lambda path: journal_picture.draw(day, of_day, path))
    except OSError as problem:
        return [f"The day's summary could not be written to {stem.parent} ({why_not(problem)}): {LATER}."]
    return [f"The day's summary is in {text}, as a picture in {picture}."]


def _whole(path: Path, write: Callable[[Path], object]) -> None:
    """What is there stays there until the new one is complete."""
    new = path.with_name(f"{path.stem}-new{path.suffix}")
    try:
        write(new)
        os.replace(new, path)
    except OSError:
        with suppress(OSError):
            new.unlink()
        raise
