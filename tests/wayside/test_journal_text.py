"""A journal's entries chosen and written out: filters, the hall's time, lines of 100 columns, tables."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from engine.layout import Layout
from wayside.journal import file as journal_file
from wayside.journal import read as journal_read
from wayside.journal.day import _ACTS
from wayside.journal.file import Entry
from wayside.journal.keeper import AT_ONCE, DETAILS
from wayside.journal.read import Wanted, hall, local_us
from wayside.journal.text import HEADINGS, Lines, cell, clock, day, offset, plain, write_csv
from wayside.journal.watch import _SHAPES, offset_min
from wayside.journal.words import KINDS
from wayside.usage import UsageProblem

NOON_US = 1_795_867_200_000_000  # 2026-11-28 12:00 UTC: `date -u -d @1795867200`
MINUTE_US = 60_000_000


def entry(
    text: str = "", kind: str = "note", subject: str = "", minute: float = 0, zone: int = 0, **more: object
) -> Entry:
    made = Entry(NOON_US + round(minute * MINUTE_US), zone, 1, 0, kind, subject, text)
    return made._replace(**more)  # type: ignore[arg-type]


def written(folder: Path, *entries: Entry) -> Path:
    path = folder / "journal.sqlite"
    with closing(journal_file.open_to_write(path)) as base:
        journal_file.write(base, entries)
    return path


def chosen(path: Path, wanted: Wanted) -> list[str]:
    with closing(journal_read.opened(path)) as base:
        return [one.text for one in journal_read.entries(base, wanted)]


# --- which entries -------------------------------------------------------------------------------------------------


def test_kinds_and_what_only_programs_want(tmp_path: Path) -> None:
    path = written(tmp_path, *(entry(kind, kind) for kind in ("scene", "mark", "standing", "lateness", "note")))
    assert chosen(path, Wanted()) == ["scene", "mark", "note"]
    assert chosen(path, Wanted(kinds=("mark", "standing"))) == ["mark", "standing"]
    with closing(journal_read.opened(path)) as base:
        assert len(list(journal_read.whole_day(base, date(2026, 11, 28)))) == 5
        assert not list(journal_read.whole_day(base, date(2026, 11, 29)))


@pytest.mark.parametrize(
    ("text", "names_it"),
    [
        ("lane", True),
        ("scene lane begins: by hand", True),
        ("lane: 2", True),
        ("told lane, and more", True),
        ("it waits for lane.", True),
        ("trouble (lane)", True),
        ("type `lane clear`", True),
        ("saltmarsh-lane", False),
        ("lanes", False),
        ("lane-end is clear", False),
    ],
)
def test_about_is_a_whole_word(tmp_path: Path, text: str, names_it: bool) -> None:
    assert bool(chosen(written(tmp_path, entry(text)), Wanted(about="lane"))) is names_it


def test_about_takes_the_subject_too_and_no_letter_for_any(tmp_path: Path) -> None:
    path = written(tmp_path, entry("one", subject="a_b"), entry("axb"), entry("100% a!b"), entry("a_b"))
    assert chosen(path, Wanted(about="a_b")) == ["one", "a_b"]
    assert chosen(path, Wanted(about="%")) == []
    assert chosen(path, Wanted(about="a!b")) == ["100% a!b"]


def test_from_is_included_and_to_is_not(tmp_path: Path) -> None:
    path = written(tmp_path, *(entry(str(minute), minute=minute) for minute in range(5)))
    at = local_us(date(2026, 11, 28), 12 * 3600)
    assert chosen(path, Wanted(at + MINUTE_US, at + 3 * MINUTE_US)) == ["1", "2"]
    assert chosen(path, Wanted(from_us=at + 4 * MINUTE_US)) == ["4"]
    assert chosen(path, Wanted(to_us=at + 1)) == ["0"]


@pytest.mark.parametrize("zone", [0, 60, -210, 14 * 60, -12 * 60])
def test_times_are_the_halls_own(tmp_path: Path, zone: int) -> None:
    """The furthest offsets in use are UTC+14 and UTC-12 (tz database, `Pacific/Kiritimati`, `Etc/GMT+12`)."""
    path = written(tmp_path, *(entry(str(minute), minute=minute, zone=zone) for minute in (0, 1)))
    at = local_us(date(2026, 11, 28), 12 * 3600) + zone * MINUTE_US
    assert chosen(path, Wanted(at, at + MINUTE_US)) == ["0"]
    assert chosen(path, Wanted(at + MINUTE_US, at + 2 * MINUTE_US)) == ["1"]
    assert chosen(path, Wanted(to_us=at)) == []


def test_the_last_ones_stay_in_order_and_a_show_is_by_itself(tmp_path: Path) -> None:
    path = written(tmp_path, *(entry(str(number), show=number % 2) for number in range(6)))
    assert chosen(path, Wanted(last=2)) == ["4", "5"]
    assert chosen(path, Wanted(last=2, show=0)) == ["2", "4"]
    assert chosen(path, Wanted(after=4)) == ["4", "5"]
    assert [one.text for one in journal_read.of_show(path, 1)] == ["1", "3", "5"]
    assert chosen(path, Wanted(kinds=("note' OR 1=1 --",))) == []


def test_the_last_entry_of_all_of_a_kind_and_before_an_instant(tmp_path: Path) -> None:
    path = written(tmp_path, entry("a", "mark"), entry("b", minute=1, subject="lane"), entry("c", minute=2))
    at = local_us(date(2026, 11, 28), 12 * 3600)
    with closing(journal_read.opened(path)) as base:
        found = (
            journal_read.last_entry(base),
            journal_read.last_entry(base, "mark"),
            journal_read.last_before(base, at + MINUTE_US),
        )
        assert [one.text for one in found if one] == ["c", "a", "b"]
        assert journal_read.last_entry(base, "rule") is journal_read.last_before(base, at - 1) is None
        assert journal_read.names_in(base) == {"lane"}


def test_no_journal_and_a_file_that_is_none_are_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem, match="There is no journal in"):
        journal_read.opened(tmp_path / "journal.sqlite")
    assert journal_read.of_show(tmp_path / "journal.sqlite", 1) == []
    other = tmp_path / "other.sqlite"
    other.write_text("nothing of the kind" * 100)
    with pytest.raises(UsageProblem, match="is damaged, and cannot be read"):
        journal_read.opened(other)


# --- the hall's time -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", ["Europe/London", "America/St_Johns", "Asia/Kathmandu"])
@pytest.mark.parametrize("month", [1, 7])
def test_the_halls_clock_is_what_the_time_zone_says(zone: str, month: int) -> None:
    """Beside the standard library's own reckoning from the tz database."""
    from datetime import UTC, datetime

    there = datetime(2026, month, 5, 23, 59, 59, 999_999, UTC).astimezone(ZoneInfo(zone))
    minutes = round((there.utcoffset() or there - there).total_seconds() / 60)
    found = hall(Entry(round(there.timestamp() * 1_000_000), minutes, 1, 0, "note", "", ""))
    assert f"{found:%Y-%m-%d %H:%M:%S}" == f"{there:%Y-%m-%d %H:%M:%S}"
    assert clock(found).endswith(":59.9")  # not rounded up into the next second


def test_the_offset_of_this_computer(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    if not hasattr(time, "tzset"):
        pytest.skip("no time zone can be set here")
    try:
        # POSIX counts hours west of Greenwich: NST3:30 is UTC-3:30 (POSIX.1, 8.3 Other Environment Variables)
        for name, minutes in (("UTC0", 0), ("CET-1", 60), ("NST3:30", -210)):
            monkeypatch.setenv("TZ", name)
            time.tzset()
            assert offset_min(NOON_US) == minutes
    finally:
        monkeypatch.undo()
        time.tzset()


def test_days_and_offsets_in_words() -> None:
    assert day(date(2026, 11, 28)) == "Saturday 28 November 2026"  # `date -d 2026-11-28 +%A`
    assert [offset(minutes) for minutes in (0, 60, -210, 345)] == ["UTC", "UTC+1", "UTC-3:30", "UTC+5:45"]


# --- lines ---------------------------------------------------------------------------------------------------------


def lines(*entries: Entry, width: int = 100) -> list[str]:
    made = Lines(width)
    return [line for one in entries for line in made.of(one)]


def test_a_line_and_the_heading_of_its_day() -> None:
    assert lines(entry("scene lane begins", "scene", place="a.scene:4"), entry("x", minute=1)) == [
        "Saturday 28 November 2026, UTC",
        "12:00:00.0  scene     scene lane begins   (a.scene:4)",
        "12:01:00.0  note      x",
    ]
    assert lines(entry("trouble (a.scene:4)", place="a.scene:4"))[1].count("a.scene:4") == 1


def test_another_day_and_a_changed_clock_have_a_heading() -> None:
    found = lines(entry("a"), entry("b", zone=60), entry("c", minute=11 * 60, zone=60), entry("d", minute=661, zone=60))
    assert [line for line in found if "UTC" in line] == [
        "Saturday 28 November 2026, UTC",
        "Saturday 28 November 2026, UTC+1",
        "Sunday 29 November 2026, UTC+1",
    ]
    assert found[-2:] == ["00:00:00.0  note      c", "00:01:00.0  note      d"]


@pytest.mark.parametrize("text", ["word " * 200, "y" * 500, "up-approach-" * 60, ""])
def test_no_line_is_longer_than_100_columns_and_nothing_is_left_out(text: str) -> None:
    found = lines(entry(text, "detector-of-a-later-one"))[1:]
    assert max(map(len, found)) <= 100
    assert found[0].startswith("12:00:00.0  detector")
    assert all(line.startswith(" " * 22) for line in found[1:])
    assert "".join(line[22:] for line in found).replace(" ", "") == text.replace(" ", "")


NASTY = "\x1b[2Ja\r\nb\x07\x9b31m\u202ec\u2028\u2066\x7f\x00"


def test_nothing_in_a_text_is_obeyed_by_a_terminal() -> None:
    """C0 and C1 controls (ECMA-48), marks of direction (Unicode, UAX 9)."""
    assert plain(NASTY) == "?[2Ja??b??31m?c????"
    for line in lines(entry(NASTY, kind="\x1b[1m", place=NASTY)):
        assert line.isprintable()
    assert plain("Grüße, 字, –") == "Grüße, 字, –"


# --- tables --------------------------------------------------------------------------------------------------------


def table(*entries: Entry) -> list[list[str]]:
    out = io.StringIO(newline="")
    assert write_csv(iter(entries), out) == len(entries)
    return list(csv.reader(io.StringIO(out.getvalue(), newline=""), strict=True))


def test_a_row_for_each_entry() -> None:
    one = entry('says "a, b"', subject="lane", zone=-210, at_us=1_500_000, details={"b": [1]}, place="a:1", number=7)
    found = table(one, entry("x", at_us=None))
    assert found[0] == list(HEADINGS)
    assert found[1] == [
        "7", "2026-11-28", "08:30:00.000", "2026-11-28T12:00:00.000Z", "1.500000", "note", "lane", 'says "a, b"',
        "a:1", '{"b":[1]}',
    ]  # fmt: skip
    assert found[2][4] == found[2][9] == ""


def test_lines_end_as_the_format_has_it() -> None:
    """RFC 4180, section 2: each record on a line of its own, ended by CRLF."""
    out = io.StringIO(newline="")
    write_csv([entry("a\r\nb"), entry("c")], out)
    assert out.getvalue().count("\r\n") == 3
    assert out.getvalue().count("\n") == out.getvalue().count("\r") == 3


def _formulas() -> Iterator[str]:
    """What begins a formula (OWASP, CSV Injection; the full-width ones and what is not seen from memory)."""
    for sign in "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20":
        for before in ("", " ", "   ", "\xa0", "\u200b", "\ufeff", "\u3000"):
            yield f"{before}{sign}1+1"


@pytest.mark.parametrize("text", list(_formulas()))
def test_no_cell_is_a_formula(text: str) -> None:
    assert cell(text).startswith("'")
    made = Entry(NOON_US, 0, 1, 0, text, text, text, {}, text)
    assert all(one.startswith("'") for one in table(made)[1][5:9])


@pytest.mark.parametrize("text", ["a=1", "lane 3 - 4", "", "1", "'", "note: =1"])
def test_other_cells_stay_as_they_are(text: str) -> None:
    assert cell(text) == text


def test_numbers_and_times_are_no_formulas_either() -> None:
    assert table(entry("x", at_us=5))[1][4] == "0.000005"


# --- kinds ---------------------------------------------------------------------------------------------------------


def test_every_kind_that_is_written_or_treated_apart_is_explained() -> None:
    used = {kind for kind, _, _ in _SHAPES.values()} | DETAILS | AT_ONCE | set(journal_read.QUIET) | set(_ACTS)
    assert used <= set(KINDS)
    assert all(KINDS.values())
    assert Layout().keeping.days > 0
