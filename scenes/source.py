"""From the bytes of a scene file to lines of text: encoding, line ends, blanks, limits. Knows nothing of the language.

Every character keeps its column, so that whatever reads the text can point into the file as the person wrote it.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

from engine.layout import Place
from scenes.problems import Problem

LARGEST_FILE = 16 * 1024 * 1024  # bytes
MOST_LINES = 200_000
LONGEST_LINE = 1_000  # characters
DEEPEST_NESTING = 40  # blocks inside one another, and brackets inside one another
LONGEST_CHAIN = 40  # `otherwise if` after `otherwise if`
LONGEST_NAME = 80  # characters
MOST_PROBLEMS = 100  # reported of one file; a file that is no scene file at all needs no thousand messages
TAB_COLUMNS = 4

_BLANKS = "\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"
# Signs without width, which word processors and web pages leave behind, read as blanks, too: columns stay true.
_UNSEEN = "\u00ad\u200b\u200c\u200d\u2060\ufeff"
_TO_BLANK = str.maketrans(dict.fromkeys(_BLANKS + _UNSEEN, " "))
_LINE_ENDS = re.compile("\r\n|[\r\n\u0085\u2028\u2029]")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_WIDE_CODES = (b"\xff\xfe", b"\xfe\xff")


class Source(NamedTuple):
    """A file as read. `text` is for reading on; `lines` are the person's own, for excerpts."""

    file: str
    text: str
    lines: list[str]
    problems: tuple[Problem, ...]


def read(raw: bytes, file: str) -> Source:
    """The text of a file, with what is wrong with it as a file. Where it cannot be read on, `text` is empty."""
    if len(raw) > LARGEST_FILE:
        what = f"The file has {len(raw)} bytes; the most that a scene file may have is {LARGEST_FILE}."
        return _unreadable(file, what, "Share its scenes out over several files.")
    if raw.startswith(_WIDE_CODES):
        return _unreadable(file, "The file is saved as UTF-16.", "Save it as UTF-8.")
    try:
        text = raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        return _not_utf8(raw, error.start, file)
    lines = _LINE_ENDS.split(text)
    if lines and not lines[-1]:
        lines.pop()
    if len(lines) > MOST_LINES:
        what = f"The file has {len(lines)} lines; the most that a scene file may have is {MOST_LINES}."
        return _unreadable(file, what, "Share its scenes out over several files.")
    problems: list[Problem] = []
    clean = _long_lines(lines, file, problems)
    if not text.isascii() or _CONTROL.search(text):
        clean = [_control(line, number, file, problems) for number, line in enumerate(clean, 1)]
    if "\t" in text:
        _tabs(clean, file, problems)
        clean = [_inner_tabs(line) for line in clean]
    shown = [_shown(line) for line in lines] if not text.isascii() or _CONTROL.search(text) or "\t" in text else lines
    return Source(file, "".join(f"{line}\n" for line in clean), shown, tuple(problems[:MOST_PROBLEMS]))


def _unreadable(file: str, what: str, instead: str) -> Source:
    return Source(file, "", [], (Problem(Place(file, 1, 1, 1, 1), what, instead),))


def _not_utf8(raw: bytes, at: int, file: str) -> Source:
    before = raw[:at].removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    lines = [_shown(line) for line in _LINE_ENDS.split(raw.decode("utf-8", "replace").removeprefix("\ufeff"))]
    ahead = _LINE_ENDS.split(before)
    column = len(ahead[-1]) + 1
    place = Place(file, len(ahead), column, len(ahead), column + 1)
    what = "The file is not saved as UTF-8: this letter cannot be read."
    return Source(
        file, "", lines, (Problem(place, what, "Save the file as UTF-8; editors ask for it under `encoding`."),)
    )


def _long_lines(lines: list[str], file: str, problems: list[Problem]) -> list[str]:
    if not lines or max(map(len, lines)) <= LONGEST_LINE:
        return lines
    out = []
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            place = Place(file, number, LONGEST_LINE + 1, number, len(line) + 1)
            what = f"The line has {len(line)} characters; the most that a line may have is {LONGEST_LINE}."
            problems.append(Problem(place, what, "Break it after a comma: the sentence goes on on the next line."))
        out.append("" if len(line) > LONGEST_LINE else line)
    return out


def _control(line: str, number: int, file: str, problems: list[Problem]) -> str:
    """Odd blanks become blanks without a word; a control character is reported, once a line, and becomes a blank."""
    found = _CONTROL.search(line)
    if found:
        column = found.start() + 1
        what = f"An invisible sign (number {ord(found[0])}) stands here."
        problems.append(
            Problem(Place(file, number, column, number, column + 1), what, "Delete it and type the line again.")
        )
        line = _CONTROL.sub(" ", line)
    return line.translate(_TO_BLANK)


def _tabs(lines: list[str], file: str, problems: list[Problem]) -> None:
    """Tabs before a line work as long as nothing else is used; a file that mixes them is told where."""
    first_style: str | None = None
    for number, line in enumerate(lines, 1):
        body = line.lstrip(" \t")
        lead = line[: len(line) - len(body)]
        if not lead or not body or body[0] == "#":
            continue
        place = Place(file, number, 1, number, len(lead) + 1)
        if " " in lead and "\t" in lead:
            what = "The line is indented with tabs and spaces mixed, so how deep it stands cannot be told."
            problems.append(Problem(place, what, "Indent it with spaces only, 4 for each step."))
        elif first_style is None:
            first_style = lead[0]
        elif lead[0] != first_style:
            mine, others = ("tabs", "spaces") if lead[0] == "\t" else ("spaces", "tabs")
            what = f"The line is indented with {mine}, lines above it with {others}."
            problems.append(Problem(place, what, "Indent every line of the file with spaces, 4 for each step."))
            first_style = lead[0]  # told once for each change, not for every line after it


def _inner_tabs(line: str) -> str:
    body = line.lstrip(" \t")
    return line[: len(line) - len(body)] + body.replace("\t", " ")


def _shown(line: str) -> str:
    """The line as a terminal can show it: each sign one column wide, none that moves the cursor."""
    return "".join(_picture(sign) for sign in line) if not line.isascii() or not line.isprintable() else line


def _picture(sign: str) -> str:
    if sign == "\t" or sign in _BLANKS or sign in _UNSEEN:
        return " "
    if unicodedata.category(sign).startswith("C"):
        return chr(0x2400 + ord(sign)) if ord(sign) < 0x20 else "\ufffd"
    return sign
