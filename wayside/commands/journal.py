"""`wayside journal`: what happened in shows, filtered, followed, as a table, as a rehearsal, as a day's summary."""

from __future__ import annotations

import argparse
import re
import sqlite3
import sys
import time
from collections.abc import Iterable
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from wayside import wording
from wayside.commands.journal_given import Moment
from wayside.terminal import say, tell, width, written
from wayside.usage import FINE, UsageProblem, near_miss, why_not

if TYPE_CHECKING:
    from wayside.journal.file import Entry
    from wayside.journal.read import Wanted

DESCRIPTION = """\
Reads the journal that `wayside run` keeps beside the layout file: every scene's beginning and end and why, detectors,
buttons, faults, rules, notes, marks, and what was typed. Times are the hall's own. Without a filter it shows the last
50 entries; with one, all that fit. A show may go on meanwhile.
"""

EXAMPLES = """\
example:

  wayside journal examples/pellbrook-quay --day today --about lane
  wayside journal examples/pellbrook-quay --follow
  wayside journal examples/pellbrook-quay --from 14:00 --to 15:00 --csv hour.csv
  wayside journal examples/pellbrook-quay --mark                                 the minutes before the last mark
  wayside journal examples/pellbrook-quay --at 14:32 --as-rehearsal --into odd.scene
  wayside journal examples/pellbrook-quay --from 14:28 --to 14:33 --as-rehearsal
  wayside journal examples/pellbrook-quay --summary --day yesterday --picture saturday.svg

exit status: 0 fine, 1 a rehearsal that does not do what the journal says, 2 wrong usage or a journal that cannot
be read
"""

PICTURES = (".svg", ".png")
USUAL_LAST = 50
MOST_LAST = 1_000_000
BEFORE_US = 180_000_000
AFTER_US = 10_000_000  # what followed a mark or a time, where entries are shown
FOLLOWED_EVERY_S = 0.5
PRINTED_COLUMNS = 100  # where nobody says how wide the paper is


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    add = parser.add_argument
    add("paths", metavar="FOLDER", nargs="*", help="a layout's folder, or a journal's file")
    add("--day", metavar="2026-11-28", action=Once, help="one day; also `today` and `yesterday`")
    add(
        "--from",
        dest="from_",
        metavar="14:00",
        action=Once,
        help="from this time on, of --day or the journal's last day",
    )
    add("--to", metavar="15:00", action=Once, help="until this time, not included")
    add(
        "--kind",
        metavar="KIND",
        action="append",
        default=[],
        help="scene, detector, button, fault, mark ...; repeatable",
    )
    add("--about", metavar="NAME", action=Once, help="what is about, or names, this output, detector, scene ...")
    add("--last", metavar="50", action=Once, help="the last so many of them")
    add("--follow", action="store_true", help="go on as entries come, until Ctrl-C")
    add("--csv", metavar="FILE", action=Once, help="as a table for spreadsheets; `-` is standard output")
    add("--at", metavar="14:32", action=Once, help="the minutes before a time")
    add("--mark", action="store_true", help="the minutes before the last mark")
    add("--before", metavar="3min", action=Once, help="how long before --at or --mark (3 min unless given)")
    add("--as-rehearsal", action="store_true", help="give them as a rehearsal that does the same again")
    add("--into", metavar="FILE.scene", action=Once, help="write that rehearsal to a new file")
    add("--summary", action="store_true", help="a day in one page, and what to look at before the next")
    add("--picture", metavar="FILE", action=Once, help="the same as a picture, FILE.svg or FILE.png")


def run(options: argparse.Namespace) -> int:
    from wayside.journal import read as journal_read

    path = _journal(options.paths)
    _go_together(options)
    with closing(journal_read.opened(path)) as base:
        try:
            if options.summary:
                return _summary(options, base)
            if options.as_rehearsal:
                return _as_rehearsal(options, base, path)
            wanted = _wanted(options, base)
            if options.csv is not None:
                return _csv(options.csv, base, wanted)
            return _lines(base, wanted, options.follow)
        except sqlite3.Error as problem:
            from wayside.journal.file import reason

            raise UsageProblem(f"{path} cannot be read to its end: {reason(problem)}.") from problem


def _journal(words: list[str]) -> Path:
    """The journal of a folder, or the file itself."""
    if not words or not all(words):
        raise UsageProblem("Which layout? Write its folder: wayside journal FOLDER")
    if len(words) > 1:
        raise UsageProblem(f"One layout at a time: {', '.join(words)} are {len(words)}.")
    from wayside.journal.file import FILE

    path = Path(words[0])
    if not path.exists():
        raise UsageProblem(f"There is no file or folder {path}.")
    if path.is_dir():
        return path / FILE
    if path.suffix not in (".sqlite", ".yaml", ".scene"):
        raise UsageProblem(f"{path} is no journal. Write the layout's folder, or {FILE} in it.")
    return path if path.suffix == ".sqlite" else path.parent / FILE


def _go_together(options: argparse.Namespace) -> None:
    """Options of which one makes no sense beside, or without, another. Raises UsageProblem."""
    moment = options.at is not None or options.mark
    filtered = options.kind or options.about or options.last or options.follow or options.csv is not None
    clashes = (
        (options.at is not None and options.mark, "--at and --mark both say when: leave one of the two out."),
        (options.before is not None and not moment, "--before belongs to --at or --mark: write one of them."),
        (
            options.as_rehearsal and not moment and not (options.from_ and options.to),
            "--as-rehearsal needs to know when: write --at 14:32, --mark, or --from 14:00 --to 14:05.",
        ),
        (options.as_rehearsal and filtered, "--as-rehearsal takes everything: leave the filters out."),
        (options.as_rehearsal and options.summary, "--summary and --as-rehearsal: leave one of the two out."),
        (options.into is not None and not options.as_rehearsal, "--into belongs to --as-rehearsal: write both."),
        (options.picture is not None and not options.summary, "--picture draws a day's summary: write --summary, too."),
        (
            options.picture is not None and Path(options.picture).suffix.lower() not in PICTURES,
            f"--picture draws {' or '.join(PICTURES)} files: end the name {options.picture!r} in one of these.",
        ),
        (options.follow and options.csv is not None, "--follow and --csv do not go together: a table has an end."),
        (
            options.follow and (moment or options.to or options.day),
            "--follow looks forward: leave --at, --mark, --to and --day out.",
        ),
        (moment and (options.from_ or options.to), "--at and --mark say when: leave --from and --to out."),
        (options.summary and (moment or options.from_ or options.to), "--summary is of a whole day: write --day."),
        (options.summary and filtered, "--summary is of a whole day: of the other options it takes --day."),
    )
    for clash, says in clashes:
        if clash:
            raise UsageProblem(says)


# --- which entries -------------------------------------------------------------------------------------------------


def _wanted(options: argparse.Namespace, base: sqlite3.Connection) -> Wanted:
    from wayside.journal import read

    kinds = tuple(_kind(word, base) for word in options.kind)
    about = _about(options.about, base) if options.about is not None else ""
    last = None if options.last is None else _last(options.last)
    if options.at is not None or options.mark:
        at = _moment(options, base)
        return read.Wanted(at.local_us - _before_us(options), at.local_us + AFTER_US, kinds, about, last)
    from_us = to_us = None
    if options.day is not None or options.from_ is not None or options.to is not None:
        day = _day(options.day, base)
        first, end = _times(options)
        from_us, to_us = read.local_us(day, first), None if options.follow else read.local_us(day, end)
    elif last is None and not kinds and not about and options.csv is None:
        last = USUAL_LAST
    return read.Wanted(from_us, to_us, kinds, about, last)


def _last(word: str) -> int:
    last = int(word) if word.isascii() and word.isdigit() and len(word) <= len(str(MOST_LAST)) else 0
    if not 0 < last <= MOST_LAST:
        raise UsageProblem(f"--last takes 1 to {MOST_LAST}, not {word}.")
    return last


def _times(options: argparse.Namespace) -> tuple[int, int]:
    """From when to when, in seconds after midnight: the whole day unless said."""
    first = 0 if options.from_ is None else wording.read_time_of_day(options.from_, "--from")
    end = 86_400 if options.to is None else wording.read_time_of_day(options.to, "--to")
    if first >= end:
        raise UsageProblem(f"--from {options.from_} is not before --to {options.to}. Past midnight, ask day by day.")
    return first, end


def _kind(word: str, base: sqlite3.Connection) -> str:
    from wayside.journal.read import kinds_of
    from wayside.journal.words import KINDS

    if word not in KINDS and word not in kinds_of(base):
        near = near_miss(word, KINDS)
        raise UsageProblem(f"--kind: no entry is of a kind {word}.{near} The kinds are {', '.join(KINDS)}.")
    return word


def _about(word: str, base: sqlite3.Connection) -> str:
    from wayside.journal.read import names_in

    if not word.strip():
        raise UsageProblem("--about needs a name, such as --about lane.")
    if not word.isascii() or any(letter in word for letter in " ,:"):
        raise UsageProblem(f"--about takes one name, not {word!r}.")
    if near := near_miss(word, names_in(base) - {word}) if word not in names_in(base) else "":
        tell(f"Nothing in the journal is about {word}; lines that name it are shown, if there are any.{near}")
    return word


def _day(word: str | None, base: sqlite3.Connection) -> date:
    """The day that is named; else the last one of the journal."""
    from wayside.journal.read import hall, last_entry

    if word in ("today", "yesterday"):
        now = time.localtime()
        return date(now.tm_year, now.tm_mon, now.tm_mday) - timedelta(days=word == "yesterday")
    if word is None:
        last = last_entry(base)
        if last is None:
            raise UsageProblem("The journal is empty: no show has been written down yet.")
        return hall(last).date()
    found = re.fullmatch(r"([0-9]{4})-([0-9]{2})-([0-9]{2})", word)
    try:
        if found is None:
            raise ValueError
        return date(*map(int, found.groups()))
    except ValueError:
        said = f"--day takes a date such as 2026-11-28, or today, or yesterday, not {word!r}."
        raise UsageProblem(said) from None


def _before_us(options: argparse.Namespace) -> int:
    return BEFORE_US if options.before is None else wording.read_duration(options.before, "--before")


def _moment(options: argparse.Namespace, base: sqlite3.Connection) -> Moment:
    """The instant that --at or --mark means."""
    from wayside.journal.read import hall, last_entry, local_us

    if options.mark:
        mark = last_entry(base, "mark")
        if mark is None:
            raise UsageProblem("There is no mark in the journal. While a show runs, type: mark SOMETHING ODD")
        return Moment(mark.utc_us + mark.offset_min * 60_000_000, f"{hall(mark):%H:%M:%S}, the mark `{mark.text}`")
    day = _day(options.day, base)
    second = wording.read_time_of_day(options.at, "--at")
    return Moment(local_us(day, second), f"{options.at} on {day}")


# --- what is given -------------------------------------------------------------------------------------------------


def _lines(base: sqlite3.Connection, wanted: Wanted, follow: bool) -> int:
    from wayside.journal import read as journal_read
    from wayside.journal.text import Lines

    lines = Lines(width() if sys.stdout.isatty() else PRINTED_COLUMNS)
    if follow and wanted.last is None:
        wanted = wanted._replace(last=USUAL_LAST)
    last = _say(lines, journal_read.entries(base, wanted))
    if not last and not follow:
        tell(f"Nothing in the journal is like that. {_days_kept(base)}")
    while follow:
        sys.stdout.flush()
        time.sleep(FOLLOWED_EVERY_S)
        wanted = wanted._replace(after=last or wanted.after, last=None)
        last = _say(lines, journal_read.entries(base, wanted)) or last
    return FINE


def _days_kept(base: sqlite3.Connection) -> str:
    """From when to when the journal goes, for somebody who asked for another time."""
    from wayside.journal.read import first_entry, hall, last_entry

    first, last = first_entry(base), last_entry(base)
    if first is None or last is None:
        return "It is empty: no show has been written down yet."
    return f"It goes from {hall(first):%Y-%m-%d %H:%M} to {hall(last):%Y-%m-%d %H:%M}."


def _say(lines: object, entries: Iterable[Entry]) -> int:
    """Say them; the number of the last."""
    from wayside.journal.text import Lines

    assert isinstance(lines, Lines)
    last = 0
    for entry in entries:
        last = entry.number
        for line in lines.of(entry):
            say(line)
    return last


def _csv(target: str, base: sqlite3.Connection, wanted: Wanted) -> int:
    from wayside.journal import read as journal_read
    from wayside.journal.text import write_csv

    entries = journal_read.entries(base, wanted)
    if target == "-":
        with written():
            if hasattr(sys.stdout, "reconfigure"):
                sys.stdout.reconfigure(newline="")  # the rows end as the format wants it
            write_csv(entries, sys.stdout)
        return FINE
    try:
        # spreadsheets take a file for UTF-8 only if it begins with the mark
        with closing(entries), open(target, "w", encoding="utf-8-sig", newline="") as file:
            number = write_csv(entries, file)
    except OSError as problem:
        raise UsageProblem(f"{target} cannot be written: {why_not(problem)}.") from problem
    tell(f"{wording.count(number, 'entry', 'entries')} written to {target}.")
    return FINE


def _as_rehearsal(options: argparse.Namespace, base: sqlite3.Connection, path: Path) -> int:
    from wayside.commands.journal_given import as_rehearsal

    moment, before_us = _stretch(options, base)
    given = Path(options.paths[0])
    folder = path.parent if given.suffix == ".sqlite" else given
    return as_rehearsal(base, folder, moment, before_us, None if options.into is None else Path(options.into))


def _stretch(options: argparse.Namespace, base: sqlite3.Connection) -> tuple[Moment, int]:
    """Until when a rehearsal goes, and how long before that it begins."""
    from wayside.journal.read import local_us

    if options.at is not None or options.mark:
        return _moment(options, base), _before_us(options)
    day = _day(options.day, base)
    first, end = _times(options)
    return Moment(local_us(day, end), f"{options.to} on {day}"), (end - first) * 1_000_000


def _summary(options: argparse.Namespace, base: sqlite3.Connection) -> int:
    from wayside.commands.journal_given import summary

    return summary(base, _day(options.day, base), None if options.picture is None else Path(options.picture))
