"""Changes of single values in a layout file's text: every other character stays as the person wrote it.

Pure: text in, text out, read back and compared before it is given away. `edit` is who writes files.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from wayside.layout.yaml_places import Entry, Items, Table, Text, Value, read_text, read_yaml

MOST_CHANGES = 500  # at once
WIDEST = 120  # columns; what would be wider goes on in the next line
_COLON = re.compile(r"[^\S\r\n]*:")
_LINE_END = re.compile(r"\r\n|\r|\n")


class Change(NamedTuple):
    """One value: where it stands, name by name (in a list its number from 0), and the YAML text to stand there."""

    path: tuple[str, ...]
    value: str


class CannotSave(Exception):
    """Why nothing was changed, and what the person can do instead."""

    def __init__(self, what: str, instead: str) -> None:
        self.what, self.instead = what, instead
        super().__init__(f"{what}. {instead}.")


def edited(text: str, changes: Sequence[Change]) -> str:
    """The text with those values, each put in place of the old one, or under a new name at the end of its table.

    `text` is the file as decoded: byte order mark, line ends and odd spaces stay. Raises CannotSave.
    """
    if len(changes) > MOST_CHANGES:
        raise CannotSave(f"{len(changes)} changes at once are too many", f"Save at most {MOST_CHANGES} at a time")
    new, wanted = text, _plain(_Written(text).root)
    for change in changes:
        value = _value(change)
        new = _one(_Written(new), change)
        wanted = _with(wanted, change.path, value)
    if json.dumps(_plain(_read(new)[0])) != json.dumps(wanted):
        raise CannotSave("the file would not say what it should", by_hand(*changes))
    return new


def by_hand(*changes: Change) -> str:
    """The same as a person would write it: Write `raised: 85 deg` under outputs, near-barrier, positions."""
    lines = []
    for change in changes[:4]:
        *above, name = change.path
        lines.append(f"`{name}: {change.value}`" + (f" under {', '.join(above)}" if above else ""))
    return f"Write it by hand: {'; '.join(lines)}"


# --- the text as it stands -----------------------------------------------------------------------------------------


def _read(text: str) -> tuple[Value | None, int]:
    """The values of a text; and the line of what is wrong, if it cannot be read."""
    plain, _, problems = read_text(text.encode("utf-8", "replace"), "layout")
    root = None
    if plain is not None:
        root, problems = read_yaml(plain, "layout")
    return root, problems[0].place.line if problems else 1


class _Written:
    """A text with its values, and the index in it of each place."""

    def __init__(self, text: str) -> None:
        root, line = _read(text)
        if not isinstance(root, Table):
            raise CannotSave(f"line {line} of the layout file cannot be read", "Put it right first: `wayside check`")
        self.text, self.root = text, root
        ends = list(_LINE_END.finditer(text))
        self.line_end = ends[0][0] if ends else "\n"
        self._starts = [int(text.startswith("\ufeff")), *(end.end() for end in ends)]

    def start(self, part: Value) -> int:
        return self._index(part.place.line, part.place.column)

    def end(self, part: Value | Entry) -> int:
        """Behind the last character that belongs to it. The reader sees the end of what has no brackets late."""
        if isinstance(part, Entry):
            nothing = isinstance(part.value, Text) and self.end(part.value) == self.start(part.value)
            return self._behind_name(part) if nothing else self.end(part.value)
        if not isinstance(part, Text) and not self.in_brackets(part):
            inner: Sequence[Value | Entry] = part.items if isinstance(part, Items) else list(part.entries.values())
            return max((self.end(one) for one in inner), default=self.start(part))
        start, end = self.start(part), self._index(part.place.end_line, part.place.end_column)
        return start + len(self.text[start:end].rstrip())

    def _behind_name(self, entry: Entry) -> int:
        at = self.end(entry.key)
        colon = _COLON.match(self.text, at)
        return colon.end() if colon else at

    def in_brackets(self, part: Value) -> bool:
        return self.text[self.start(part)] in "{["

    def line_start(self, at: int) -> int:
        return max(start for start in self._starts if start <= at)

    def line_stop(self, at: int) -> int:
        """Where the line around an index stops, before its line end."""
        found = _LINE_END.search(self.text, at)
        return found.start() if found else len(self.text)

    def put(self, start: int, end: int, new: str) -> str:
        return self.text[:start] + new + self.text[end:]

    def _index(self, line: int, column: int) -> int:
        return min(self._starts[line - 1] + column - 1, len(self.text)) if line <= len(self._starts) else len(self.text)


# --- one change ----------------------------------------------------------------------------------------------------


def _one(written: _Written, change: Change) -> str:
    value: Value = written.root
    entry: Entry | None = None
    for depth, step in enumerate(change.path):
        rest = change.path[depth:]
        if isinstance(value, Items):
            entry, value = None, _item(value, change, step)
        elif isinstance(value, Text) and not value.text and entry is not None:
            return _under_nothing(written, entry, rest, change.value)
        elif isinstance(value, Text):
            raise CannotSave(
                f"`{change.path[depth - 1]}` is a plain value: nothing can stand under it", by_hand(change)
            )
        elif step not in value.entries:
            _not_in_a_table(written.root, change, depth)
            return _new_name(written, value, rest, change.value)
        else:
            entry = value.entries[step]
            value = entry.value
    return _replaced(written, value, entry, change)


def _item(items: Items, change: Change, step: str) -> Value:
    if step.isdecimal() and int(step) < len(items.items):
        return items.items[int(step)]
    raise CannotSave(f"the list has no item `{step}`", by_hand(change))


def _not_in_a_table(root: Table, change: Change, depth: int) -> None:
    """An output that is not in this file may stand in the CSV table beside it, which is not changed from here."""
    source = root.entries.get("outputs from")
    if change.path[0] != "outputs" or depth > 1 or source is None or not isinstance(source.value, Text):
        return
    name, key, *part = (*change.path[1:], "", "")[: max(2, len(change.path) - 1)]
    what = f"`{name}` stands in the table {source.value.text}, which is not changed from here"
    cell = " ".join((*part, change.value))
    among = " in its place among the others, semicolons between them" if part else ""
    raise CannotSave(what, f"Write `{cell}` there, in the row of {name} and the column {key}{among}")


def _replaced(written: _Written, value: Value, entry: Entry | None, change: Change) -> str:
    if isinstance(value, Text) and entry is not None and written.end(value) == written.start(value):
        return _first_value(written, entry, change.value)
    if not isinstance(value, Text) and not written.in_brackets(value):
        what = f"`{change.path[-1]}` has lines of its own, and what stands between them would be lost"
        raise CannotSave(what, "Change the values under it one by one")
    return written.put(written.start(value), written.end(value), change.value)


def _first_value(written: _Written, entry: Entry, value: str) -> str:
    """Behind a name that has none yet."""
    at = written.end(entry)
    return written.put(at, at, f" {value}" if written.text[at - 1] == ":" else f": {value}")


def _under_nothing(written: _Written, entry: Entry, rest: Sequence[str], value: str) -> str:
    """A first name under a name that has nothing after it."""
    start = written.start(entry.key)
    if written.text[written.line_start(start) : start].strip(" -"):  # between brackets
        return _first_value(written, entry, f"{{{_nested(rest, value)}}}")
    return _new_line(written, written.end(entry), entry.key.place.column + 2, _nested(rest, value))


def _new_name(written: _Written, table: Table, rest: Sequence[str], value: str) -> str:
    new = _nested(rest, value)
    if written.in_brackets(table):
        return _new_between_brackets(written, table, new)
    if table is written.root and len(rest) > 1:  # a section of its own
        new = f"{rest[0]}:{written.line_end}  {_nested(rest[1:], value)}"
    return _new_line(written, written.end(table), next(iter(table.entries.values())).key.place.column, new)


def _new_line(written: _Written, after: int, column: int, new: str) -> str:
    """Below the line of what stands before it, whose remark it keeps."""
    at = written.line_stop(after)
    return written.put(at, at, f"{written.line_end}{' ' * (column - 1)}{new}")


def _new_between_brackets(written: _Written, table: Table, new: str) -> str:
    if not table.entries:
        at = written.start(table) + 1
        return written.put(at, at, new)
    last = max(table.entries.values(), key=written.end)
    at = written.end(last)
    closing = written.text[at : written.line_stop(at)].partition(" #")[0].rstrip()
    gap = " " if isinstance(last.value, Text) and not last.value.text else ""  # `a:,` would be a name
    if at - written.line_start(at) + len(f"{gap}, {new}{closing}") <= WIDEST:
        return written.put(at, at, f"{gap}, {new}")
    lead = " " * (next(iter(table.entries.values())).key.place.column - 1)
    return written.put(at, at, f"{gap},{written.line_end}{lead}{new}")


def _nested(rest: Sequence[str], value: str) -> str:
    return f"{rest[0]}: {value}" if len(rest) == 1 else f"{rest[0]}: {{{_nested(rest[1:], value)}}}"


# --- what it is to say ---------------------------------------------------------------------------------------------


def _value(change: Change) -> Any:
    """What the new value says by itself. It must be one value in one line, with no remark behind it."""
    text = f"v: {change.value}"
    found = None if _LINE_END.search(text) else _read(text)[0]
    inner = found.entries["v"].value if isinstance(found, Table) and list(found.entries) == ["v"] else None
    if inner is None or not change.value.strip() or inner.place.end_column - 1 != len(text):
        raise CannotSave(f"`{change.value}` is not one value in one line", "Give one value, such as 85 deg")
    if not change.path or not all(change.path):
        raise CannotSave("a name is missing before the value", "Say under which names it is to stand")
    return _plain(inner)


def _plain(value: Value | None) -> Any:
    if isinstance(value, Text):
        return value.text
    if isinstance(value, Items):
        return [_plain(item) for item in value.items]
    return {name: _plain(entry.value) for name, entry in value.entries.items()} if value else None


def _with(data: Any, path: Sequence[str], value: Any) -> Any:
    """Data in which one value is another."""
    if not path:
        return value
    if isinstance(data, list):
        at = int(path[0])
        return [*data[:at], _with(data[at], path[1:], value), *data[at + 1 :]]
    inner = data if isinstance(data, dict) else {}
    return {**inner, path[0]: _with(inner.get(path[0]), path[1:], value)}
