"""What `wayside journal` gives of more than single entries: minutes as a rehearsal, a day as text and picture."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from wayside import wording
from wayside.terminal import say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, why_not

if TYPE_CHECKING:
    from wayside.journal.day import Day
    from wayside.journal.replay import Window

COLUMNS = 100


class Moment(NamedTuple):
    """An instant by the hall's clock (microseconds since 1970-01-01 00:00 by it), and what it is called."""

    local_us: int
    words: str


def as_rehearsal(base: sqlite3.Connection, folder: Path, moment: Moment, before_us: int, into: Path | None) -> int:
    """Say it, or write it to a new file; then what is to be said of it. 1 if it does not do the same."""
    from wayside.commands.check import counted
    from wayside.journal import replay as journal_replay
    from wayside.journal import replay_words as journal_replay_words
    from wayside.project import load

    project = load([folder])
    if project.errors:
        raise UsageProblem(
            f"{project.name}: {counted(project)}. Put the errors right first: `wayside check` tells them."
        )
    found = journal_replay.replay(base, project.program, moment.local_us, before_us, moment.words, _tried)
    text = journal_replay_words.text(project.program, found, moment.words)
    if into is not None:
        _write_new(into, text)
        tell(f"Written to {into}, the rehearsal {journal_replay_words.name(project.program, found)}.")
    else:
        say(text.rstrip("\n"))
    for remark in journal_replay_words.remarks(project.program, found):
        for line in wording.wrapped(remark, COLUMNS):
            tell(line)
    return FINE if found.apart is None else PROBLEMS


def _tried(windows: list[Window]) -> Iterable[Window]:
    """The instants that are tried, with a bar where that takes long."""
    from wayside.progress import watched

    return watched(windows, "playing")


def _write_new(path: Path, text: str) -> None:
    from wayside.project import SCENE_ENDING

    if path.suffix != SCENE_ENDING:
        raise UsageProblem(f"--into takes a scene file, whose name ends in {SCENE_ENDING}, not {path}.")
    try:
        with open(path, "x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise UsageProblem(f"{path} is there already, and is not written over. Name another file.") from None
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be written: {why_not(problem)}.") from problem


def summary(base: sqlite3.Connection, day: date, picture: Path | None) -> int:
    """A day in one page; and on paper, where that was asked for."""
    from wayside.journal import day as journal_day
    from wayside.journal import read as journal_read
    from wayside.journal import summary as journal_summary

    found = journal_day.of(list(journal_read.whole_day(base, day)))
    if not found.shows:
        tell(f"Nothing in the journal is of {day}.")
        return FINE
    for line in journal_summary.text(found, day):
        say(line)
    if picture is not None:
        _draw(found, day, picture)
    return FINE


def _draw(found: Day, day: date, path: Path) -> None:
    from wayside.journal import picture as journal_picture

    try:
        journal_picture.draw(found, day, path)
    except OSError as problem:
        raise UsageProblem(f"{path} cannot be written: {why_not(problem)}.") from problem
    say(f"\nThe picture is in {path}.")
