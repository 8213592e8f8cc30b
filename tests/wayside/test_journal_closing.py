"""What a show day leaves when it closes, and that no disk stands in the way of its end."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from test_journal_summary import begins, ends, entry, scene

from wayside.journal import closing as journal_closing
from wayside.journal import picture as journal_picture
from wayside.journal.file import Entry, open_to_write, write

HOUR = 3_600


def kept(tmp_path: Path, *entries: Entry) -> Path:
    path = tmp_path / "journal.sqlite"
    base = open_to_write(path)
    write(base, entries)
    base.close()
    return path


def closes(tmp_path: Path, *entries: Entry, show: int = 1) -> list[str]:
    return journal_closing.closes(kept(tmp_path, *entries), show)


def test_the_whole_day_is_told_and_left_as_text_and_picture(tmp_path: Path) -> None:
    said = closes(tmp_path, begins(show=7), ends(60, 7), begins(100), entry(120, "mark", text="odd"), ends(160))
    page, where = said
    assert "shows      12:00:00 to 12:01:00, all is safe\n           12:01:40 to 12:02:40" in page
    assert "    mark  marked at 12:02:00: odd" in page
    text, picture = (tmp_path / ".wayside" / f"day-2026-11-28.{ending}" for ending in ("txt", "svg"))
    assert where == f"The day's summary is in {text}, as a picture in {picture}."
    assert text.read_text(encoding="utf-8") == page + "\n"
    assert "Quay, Saturday 28 November 2026" in picture.read_text(encoding="utf-8")
    assert sorted(os.listdir(tmp_path / ".wayside")) == [text.with_suffix(".svg").name, text.name]


def test_the_next_show_of_a_day_writes_over_it(tmp_path: Path) -> None:
    path = kept(tmp_path, begins(), ends(60))
    journal_closing.closes(path, 1)
    base = open_to_write(path)
    write(base, [begins(100, 2), scene(110, "lane", "running", 2), ends(160, 2)])
    base.close()
    journal_closing.closes(path, 2)
    text = (tmp_path / ".wayside" / "day-2026-11-28.txt").read_text(encoding="utf-8")
    assert "12:01:40 to 12:02:40" in text
    assert "lane once" in text


def test_a_show_past_midnight_belongs_to_the_day_on_which_it_began(tmp_path: Path) -> None:
    made = [begins(11 * HOUR), scene(11.5 * HOUR, "lane", "running"), scene(13 * HOUR, "lane", "ended")]
    page, where = closes(tmp_path, *made, ends(14 * HOUR), begins(20 * HOUR, 2), ends(21 * HOUR, 2))
    assert "shows      23:00:00 to 02:00:00, all is safe" in page
    assert "has no end" not in page
    assert "day-2026-11-28.svg" in where
    assert "08:00:00" not in page  # the next morning's is of the next day


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "No space left on device"), (errno.EROFS, "Read-only file system")]
)
def test_a_disk_that_takes_nothing_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    """What an earlier show has left stays whole."""
    old = tmp_path / ".wayside" / "day-2026-11-28.svg"
    old.parent.mkdir()
    old.write_text("before")

    def full(_: object, __: object, path: Path) -> None:
        path.write_text("half")
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(journal_picture, "draw", full)
    page, where = closes(tmp_path, begins(), ends(60))
    assert page.startswith("Quay, Saturday")
    assert where.startswith(f"The day's summary could not be written to {old.parent} (")
    assert words.lower() in where.lower()
    assert "wayside journal FOLDER --summary --picture day.svg" in where
    assert old.read_text() == "before"
    assert not [name for name in os.listdir(old.parent) if "new" in name]


def test_a_file_in_the_folders_place_is_told_of(tmp_path: Path) -> None:
    (tmp_path / ".wayside").write_text("mine")
    assert "could not be written" in closes(tmp_path, begins(), ends(60))[1]
    assert (tmp_path / ".wayside").read_text() == "mine"


def test_a_journal_that_cannot_be_read_has_no_summary(tmp_path: Path) -> None:
    (said,) = journal_closing.closes(tmp_path / "journal.sqlite", 1)
    assert said.startswith("There is no summary of the day: There is no journal in ")
    (tmp_path / "journal.sqlite").write_bytes(b"no journal" * 500)
    (said,) = journal_closing.closes(tmp_path / "journal.sqlite", 1)
    assert "is damaged" in said
    assert not (tmp_path / ".wayside").exists()


def test_a_show_of_which_nothing_was_kept_has_none_either(tmp_path: Path) -> None:
    (said,) = closes(tmp_path, begins(), ends(60), show=99)
    assert said == "There is no summary of the day: nothing of this show could be kept in the journal."
    assert not (tmp_path / ".wayside").exists()
