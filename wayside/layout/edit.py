"""Saving single values into a layout file: whole and at once, with the file as it was kept, or not at all.

Owns the files. What becomes of the text is decided in `text`.
"""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from wayside.layout.text import CannotSave, Change, by_hand, edited
from wayside.layout.yaml_places import MAX_BYTES
from wayside.live import last_positions
from wayside.usage import why_not

__all__ = ["CannotSave", "Change", "by_hand", "edited", "save"]

MOST_KEPT = 99  # earlier layout files; the oldest goes


def save(path: Path, changes: Sequence[Change], as_read: bytes | None = None) -> Path:
    """Save the values; where the file as it was before is kept.

    `as_read` is what the file held when the caller read it: if it holds anything else now, nothing is saved.
    Nothing is saved either if the layout would have an error that it had not before. Raises CannotSave.
    """
    file = path.resolve()  # a link stays a link
    before = _bytes(file)
    if as_read is not None and before != as_read:
        raise _changed(path, changes)
    try:
        after = edited(before.decode("utf-8"), changes).encode("utf-8")
    except UnicodeDecodeError:
        raise CannotSave(f"{path} is not saved as UTF-8", "Save it as UTF-8 first") from None
    try:
        beside = _write_beside(file, after)
    except OSError as problem:
        raise CannotSave(f"the folder of {path} takes no file ({why_not(problem)})", by_hand(*changes)) from problem
    try:
        _no_new_error(file, beside)
        kept = _keep(file, before)
        if _bytes(file) != before:
            raise _changed(path, changes)
        beside.replace(file)
    except OSError as problem:
        raise CannotSave(f"{path} could not be saved ({why_not(problem)})", by_hand(*changes)) from problem
    finally:
        beside.unlink(missing_ok=True)
    _settle(file.parent)
    return kept


def _bytes(file: Path) -> bytes:
    try:
        if not file.stat().st_mode & 0o222:
            raise CannotSave(f"{file} is write-protected", "Take that off first, or write into it by hand")
        with file.open("rb") as opened:
            return opened.read(MAX_BYTES + 1)
    except OSError as problem:
        raise CannotSave(f"{file} cannot be read ({why_not(problem)})", "Nothing was saved") from problem


def _changed(path: Path, changes: Sequence[Change]) -> CannotSave:
    what = f"{path} was changed by somebody else since it was read, so nothing was saved"
    return CannotSave(what, f"Begin anew, or do it there. {by_hand(*changes)}")


def _write_beside(file: Path, data: bytes) -> Path:
    """A new file on the same disk, as open to others as the old one, and surely written."""
    number, name = tempfile.mkstemp(prefix=f".{file.stem}-", suffix=file.suffix, dir=file.parent)
    try:
        with os.fdopen(number, "wb") as opened:
            opened.write(data)
            opened.flush()
            os.fsync(opened.fileno())
        found = file.stat()
        Path(name).chmod(stat.S_IMODE(found.st_mode))
        if hasattr(os, "chown"):
            with suppress(OSError):
                os.chown(name, found.st_uid, found.st_gid)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _no_new_error(file: Path, beside: Path) -> None:
    """The same file with a value that cannot stand there would stop every show."""
    from wayside.layout.file import read_layout

    old = {problem.what for problem in read_layout(file, file.name)[1] if not problem.advice}
    new = [problem for problem in read_layout(beside, file.name)[1] if not problem.advice]
    for problem in new:
        if problem.what not in old:
            what = f"with that the layout file would have an error: {problem.what.rstrip('.')}"
            raise CannotSave(what, problem.instead.rstrip(".") or "Choose another value")


def _keep(file: Path, data: bytes) -> Path:
    """Put the file as it was in the folder of what is kept, under the next number."""
    folder = file.parent / last_positions.FOLDER
    folder.mkdir(exist_ok=True)
    stem = f"{file.stem}-before-"
    earlier = sorted(folder.glob(f"{stem}*{file.suffix}"), key=lambda one: _number(one, stem))
    kept = folder / f"{stem}{_number(earlier[-1], stem) + 1 if earlier else 1}{file.suffix}"
    with kept.open("xb") as opened:
        opened.write(data)
        opened.flush()
        os.fsync(opened.fileno())
    for old in earlier[: max(0, len(earlier) + 1 - MOST_KEPT)]:
        old.unlink(missing_ok=True)
    return kept


def _number(file: Path, stem: str) -> int:
    word = file.stem.removeprefix(stem)
    return int(word) if word.isdecimal() else 0


def _settle(folder: Path) -> None:
    """So that the new name survives a pulled plug. Not every system can."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
