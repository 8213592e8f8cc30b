"""YAML text into plain values that know where they were written. Every scalar stays text; nothing is ever executed.

Owns what is readable at all: encoding, size, depth, indentation, quotes, brackets. Knows nothing of layouts.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, NamedTuple

import yaml

from engine.layout import Place
from scenes.problems import Problem

MAX_BYTES = 4_000_000
MAX_DEPTH = 10  # a layout needs five
MAX_VALUES = 600_000  # names and values together

LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# Spaces that word processors and web pages put between a number and its unit look like spaces, so they are.
_SPACES = {0xA0: " ", 0x2007: " ", 0x2009: " ", 0x202F: " "}
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")


class Text(NamedTuple):
    """A scalar exactly as written, without its quotes."""

    text: str
    place: Place


class Items(NamedTuple):
    """A list."""

    items: list[Value]
    place: Place


class Table(NamedTuple):
    """Names with their values, in the order written; of a name given twice, the first."""

    entries: dict[str, Entry]
    place: Place


class Entry(NamedTuple):
    key: Text
    value: Value


Value = Text | Items | Table


class Stop(Exception):
    """Reading on makes no sense; the problem has been noted."""


# --- bytes to text -------------------------------------------------------------------------------------------------


def read_text(raw: bytes, file: str) -> tuple[str | None, list[str], list[Problem]]:
    """Decode a file: the text with plain line ends (None if it is no text), its lines, and what is wrong with it."""
    top = Place(file, 1, 1, 1, 1)
    if len(raw) > MAX_BYTES:
        what = f"the file is larger than {MAX_BYTES // 1_000_000} million characters, the most that is read"
        return (
            None,
            [],
            [Problem(top, what, "Give the outputs as a table in a file of its own: `outputs from: FILE.csv`")],
        )
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return None, [], [Problem(top, "the file is saved as UTF-16", "Save it as UTF-8")]
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        lines = raw.decode("utf-8-sig", "replace").splitlines()
        before = raw[: error.start].decode("utf-8-sig", "replace")
        place = spot(file, before.count("\n") + 1, len(before) - before.rfind("\n"))
        return (
            None,
            lines,
            [Problem(place, "this character is not UTF-8", "Save the file as UTF-8 and look at this line")],
        )
    text = text.replace("\r\n", "\n").replace("\r", "\n").translate(_SPACES)
    lines = text.split("\n")
    problems = [_control(found, text, file) for found in _CONTROL.finditer(text)][:20]
    return (None if problems else text), lines, problems


def _control(found: re.Match[str], text: str, file: str) -> Problem:
    before = text[: found.start()]
    place = spot(file, before.count("\n") + 1, found.start() - before.rfind("\n"))
    return Problem(place, "a character that cannot be seen stands here", "Delete it and type the line again")


def spot(file: str, line: int, column: int, width: int = 1) -> Place:
    return Place(file, line, column, line, column + width)


# --- text to values ------------------------------------------------------------------------------------------------


def read_yaml(text: str, file: str) -> tuple[Value | None, list[Problem]]:
    """The values of a text; None with at least one problem if they cannot be made out."""
    reader = _Reader(file)
    try:
        for event in yaml.parse(text, Loader=LOADER):
            _TAKE.get(type(event).__name__, _Reader.nothing)(reader, event)
    except Stop:
        pass
    except yaml.YAMLError as error:
        from wayside.layout.yaml_sentences import sentence  # few files need one

        reader.problems.append(sentence(error, text.split("\n"), file))
        reader.spoilt = True
    if reader.root is None and not reader.problems:
        reader.problems.append(Problem(spot(file, 1, 1, 0), "the file is empty", "Begin with a line `layout: NAME`"))
    return (None if reader.spoilt else reader.root), reader.problems


class _Open:
    """A table or list that is being read, and the key whose value comes next."""

    __slots__ = ("entries", "items", "key", "start", "waiting")

    def __init__(self, event: Any, is_table: bool) -> None:
        self.start = event.start_mark
        self.entries: dict[str, Entry] | None = {} if is_table else None
        self.items: list[Value] = []
        self.key: Text | None = None
        self.waiting = False  # for a value


class _Reader:
    """Puts events together. Its own stack, so that no depth of nesting can exhaust Python's."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.root: Value | None = None
        self.problems: list[Problem] = []
        self.spoilt = False
        self.stack: list[_Open] = []
        self.count = 0
        self.last = ""  # the name entered last
        self.documents = 0

    def nothing(self, event: Any) -> None:
        """For events that carry no value."""

    def document(self, event: Any) -> None:
        self.documents += 1
        if self.documents > 1:
            place = spot(self.file, event.start_mark.line + 1, 1, 3)
            self._refuse(place, "a second document begins here", "Keep one layout in one file: delete this line")
            raise Stop

    def scalar(self, event: Any) -> None:
        self._plain(event)
        self._put(Text(event.value.strip(), self._place(event.start_mark, event.end_mark)))

    def alias(self, event: Any) -> None:
        place = self._place(event.start_mark, event.end_mark)
        self._refuse(place, f"`*{event.anchor}` stands for something written elsewhere", "Write it out here")
        self._put(Text("", place))

    def open_table(self, event: Any) -> None:
        self._open(event, True)

    def open_items(self, event: Any) -> None:
        self._open(event, False)

    def close(self, event: Any) -> None:
        top = self.stack.pop()
        place = self._place(top.start, event.end_mark)
        self._put(Items(top.items, place) if top.entries is None else Table(top.entries, place))

    def _open(self, event: Any, is_table: bool) -> None:
        self._plain(event)
        if len(self.stack) >= MAX_DEPTH:
            place = self._place(event.start_mark, event.start_mark)
            self._refuse(place, f"names within names go deeper than {MAX_DEPTH} here, the most that is read")
            raise Stop
        self.stack.append(_Open(event, is_table))

    def _plain(self, event: Any) -> None:
        """Refuse marks that make a value something other than what is written there."""
        self.count += 1
        if self.count > MAX_VALUES:
            self._refuse(self._place(event.start_mark, event.start_mark), f"more than {MAX_VALUES} names and values")
            raise Stop
        for mark, label in (("!", event.tag), ("&", event.anchor)):
            if label:
                start = event.start_mark
                place = self._place(start, start)
                what = f"a value cannot begin with `{mark}`: a layout holds plain text only"
                self._refuse(place, what, f"Delete the word that begins with {mark}, or put the value in quotes")

    def _refuse(self, place: Place, what: str, instead: str = "") -> None:
        self.problems.append(Problem(place, what, instead))
        self.spoilt = True

    def _place(self, start: Any, end: Any) -> Place:
        return Place(self.file, start.line + 1, start.column + 1, end.line + 1, end.column + 1)

    def _put(self, value: Value) -> None:
        if not self.stack:
            self.root = value
            return
        top = self.stack[-1]
        if top.entries is None:
            if not self._decimal_item(top.items, value):
                top.items.append(value)
        elif not top.waiting:
            top.key, top.waiting = self._as_key(value), True
        else:
            if top.key is not None:
                self._enter(top.entries, top.key, value)
            top.waiting = False

    def _as_key(self, value: Value) -> Text | None:
        if not isinstance(value, Text):
            self._refuse(value.place, "a name must stand before a colon, not something in brackets")
            return None
        if not value.text:
            self._refuse(value.place, "a name is missing before the colon", "Write `name: value`")
        if value.text == "<<":
            self._refuse(value.place, "`<<` stands for something written elsewhere", "Write it out here")
        return value

    def _enter(self, entries: dict[str, Entry], key: Text, value: Value) -> None:
        if self._decimal(entries, key, value):
            return
        name, colon, rest = key.text.partition(":")
        if colon and rest and isinstance(value, Text) and not value.text:
            what = f"a space is missing after the colon in `{key.text}`"
            self._refuse(key.place, what, f"Write `{name}: {rest.strip()}`")
            return
        first = entries.get(key.text)
        self.last = key.text if first is None else ""
        if first is None:
            entries[key.text] = Entry(key, value)
            return
        what = f"`{key.text}` is given twice"
        also = ((first.key.place, "first given here"),)
        self.problems.append(Problem(key.place, what, "Keep one of the two, or give one another name", also=also))

    def _decimal(self, entries: dict[str, Entry], key: Text, value: Value) -> bool:
        """Between brackets a comma separates; but in `{pulse: 1,5 s}` no name follows it, so it is a decimal comma."""
        if not key.text[:1].isdigit():
            return False
        before = entries.get(self.last)
        if before is None or not isinstance(value, Text) or value.text:
            return False
        number = before.value
        if not isinstance(number, Text) or not is_cut_off(number.text) or not _follows(number.place, key.place):
            return False
        place = Place(self.file, number.place.line, number.place.column, key.place.end_line, key.place.end_column)
        entries[self.last] = Entry(before.key, Text(f"{number.text},{key.text}", place))
        return True

    def _decimal_item(self, items: list[Value], value: Value) -> bool:
        """The same in a list of stretches: `[blind: 1,5 m]`."""
        before = items[-1] if items else None
        if not isinstance(value, Text) or not value.text[:1].isdigit() or not isinstance(before, Table):
            return False
        last = next(reversed(before.entries.values()), None)
        number = last.value if last else None
        if not last or not isinstance(number, Text) or not number.text.isdigit():
            return False
        if not _follows(number.place, value.place):
            return False
        place = Place(self.file, number.place.line, number.place.column, value.place.end_line, value.place.end_column)
        before.entries[last.key.text] = Entry(last.key, Text(f"{number.text},{value.text}", place))
        return True


def is_cut_off(text: str) -> bool:
    """Whether a text may be the part of a quantity before its decimal comma: `1`, `+5`, `1 lux to 9`."""
    return re.fullmatch(r"(?:.* )?[+-]?[0-9]+", text) is not None


def _follows(first: Place, second: Place) -> bool:
    """Whether only a comma stands between the two."""
    return first.end_line == second.line and first.end_column + 1 == second.column


_TAKE: dict[str, Callable[[_Reader, Any], None]] = {
    "DocumentStartEvent": _Reader.document,
    "ScalarEvent": _Reader.scalar,
    "AliasEvent": _Reader.alias,
    "MappingStartEvent": _Reader.open_table,
    "SequenceStartEvent": _Reader.open_items,
    "MappingEndEvent": _Reader.close,
    "SequenceEndEvent": _Reader.close,
}
