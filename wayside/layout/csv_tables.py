"""Outputs from a CSV table, as the same values that the layout file itself would give, each with its cell's place.

Owns what spreadsheets do to tables. What the cells mean together is not known here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from engine.layout import Place
from scenes.problems import Problem, nearest
from wayside.layout.schema import keys_with_units, output_keys
from wayside.layout.yaml_places import Entry, Items, Table, Text, Value, is_cut_off, read_text

MAX_ROWS = 20_000

_SEPARATOR_LINE = re.compile(r'"?sep=(.)"?$')


class _Cell(NamedTuple):
    text: str
    place: Place


class _Heading(NamedTuple):
    key: str  # "" for a column without a heading
    place: Place


class Rows(NamedTuple):
    """The outputs of a table, in its order; a name may stand there twice."""

    entries: list[Entry]
    lines: list[str]
    problems: list[Problem]
    torn: frozenset[tuple[str, int]] = frozenset()  # lines that have lost something, which was reported


def read_rows(raw: bytes, file: str) -> Rows:
    """Read a table. Its first row names the columns: `name` and the keys of an output."""
    text, lines, problems = read_text(raw, file)
    if text is None:
        return Rows([], lines, problems)
    delimiter, rows = _rows(lines, file, problems)
    if not rows:
        top = Place(file, 1, 1, 1, 1)
        if not problems:
            problems.append(Problem(top, "the table is empty", "Begin with a row of headings: name,kind,board,port"))
        return Rows([], lines, problems)
    headings = _headings(rows[0], delimiter, problems)
    if headings is None:
        return Rows([], lines, problems)
    if len(rows) > MAX_ROWS + 1:
        what = f"the table has more than {MAX_ROWS} rows, the most that is read"
        problems.append(Problem(rows[MAX_ROWS + 1][0].place, what, "Divide the layout"))
    entries = [entry for row in rows[1 : MAX_ROWS + 1] if (entry := _entry(row, headings, problems))]
    whole_columns = not any(heading.key == "?" for heading in headings)
    torn = {problem.place[:2] for problem in problems} if whole_columns else {row[0].place[:2] for row in rows}
    return Rows(entries, lines, problems, frozenset(torn))


# --- cells ---------------------------------------------------------------------------------------------------------


def _rows(lines: list[str], file: str, problems: list[Problem]) -> tuple[str, list[list[_Cell]]]:
    """The rows that hold anything, cut at whichever of comma, semicolon and tab the headings are cut at."""
    delimiter, skip_to = "", 0
    rows: list[list[_Cell]] = []
    for number, line in enumerate(lines, 1):
        if number <= skip_to or not line.strip(' ,;\t"'):
            continue
        named = _SEPARATOR_LINE.match(line.strip()) if not rows else None
        if named:
            delimiter = named[1]
            continue
        delimiter = delimiter or max(";,\t", key=lambda mark: re.sub(r'"[^"]*"', "", line).count(mark))
        cells, rest = _cells(line, number, file, delimiter)
        if rest is not None:
            problems.append(rest)
            skip_to = _closing_line(lines, number)
        if cells:
            rows.append(cells)
    return delimiter, rows


def _closing_line(lines: list[str], number: int) -> int:
    """A quote left open may be a cell of several lines: the line that closes it, if one does soon."""
    for later in range(number, min(number + 20, len(lines))):
        if lines[later].count('"') % 2:
            return later + 1
    return number


def _cells(line: str, number: int, file: str, delimiter: str) -> tuple[list[_Cell], Problem | None]:
    cells: list[_Cell] = []
    at = 0
    while at <= len(line):
        start = at + len(line[at:]) - len(line[at:].lstrip(" "))
        if line[start : start + 1] != '"':
            end = line.find(delimiter, at)
            end = len(line) if end < 0 else end
            text = line[at:end].strip()
            lead = len(line[at:end]) - len(line[at:end].lstrip())
            cells.append(_Cell(text, _place(file, number, at + lead if text else at, len(text))))
            at = end + 1
            continue
        quoted = re.compile(r'"((?:[^"]|"")*)"').match(line, start)
        if not quoted:
            what = "a quote is opened in this cell and not closed on its line"
            return cells, Problem(_place(file, number, start, 1), what, "Keep each row on one line, quotes in pairs")
        end = quoted.end() + len(line[quoted.end() :]) - len(line[quoted.end() :].lstrip(" "))
        if end < len(line) and line[end] != delimiter:
            what = "something follows the closing quote in this cell"
            return cells, Problem(_place(file, number, end, 1), what, "Put the whole cell between one pair of quotes")
        inner = quoted[1].replace('""', '"')
        text = inner.strip()
        lead = len(inner) - len(inner.lstrip())
        cells.append(_Cell(text, _place(file, number, start + 1 + lead, len(text))))
        at = end + 1
    return cells, None


def _place(file: str, line: int, column: int, width: int) -> Place:
    """`column` from 0."""
    return Place(file, line, column + 1, line, column + 1 + max(1, width))


# --- rows ----------------------------------------------------------------------------------------------------------


def _headings(row: list[_Cell], delimiter: str, problems: list[Problem]) -> list[_Heading] | None:
    known = ("name", *output_keys())
    first: dict[str, Place] = {}
    headings = []
    for cell in row:
        key = cell.text.lower().replace("_", " ")
        headings.append(_Heading(key if key in known and key not in first else "?" if key else "", cell.place))
        if key in first:
            also = ((first[key], "first given here"),)
            problems.append(Problem(cell.place, f"the heading `{key}` is given twice", "Delete one column", also=also))
        elif key and key not in known:
            near = nearest(key, known)
            instead = f"Did you mean `{near}`?" if near else f"The headings are `{'`, `'.join(known)}`"
            problems.append(Problem(cell.place, f"`{cell.text}` is not a heading of a table of outputs", instead))
        elif key:
            first[key] = cell.place
    if "name" in first:
        return headings
    if not any(nearest(cell.text.lower(), ["name"]) for cell in row):
        instead = "Begin with a row of headings, such as " + delimiter.join(["name", "kind", "board", "port"])
        problems.append(Problem(row[0].place, "the table has no column headed `name`", instead))
    return None


def _entry(row: list[_Cell], headings: list[_Heading], problems: list[Problem]) -> Entry | None:
    """One output; None for a row that cannot be one. Columns that were reported are left out."""
    entries: dict[str, Entry] = {}
    name: _Cell | None = None
    for index, cell in enumerate(row):
        if not cell.text:
            continue
        key = headings[index].key if index < len(headings) else ""
        if key == "name":
            name = cell
        elif not key:
            instead = "Put a cell that holds a comma or semicolon in quotes, or give the column a heading"
            problems.append(Problem(cell.place, "this cell stands in a column without a heading", instead))
            return None
        elif key in keys_with_units() and _splits(row, index):
            what = f'`{key}`: the comma in "{cell.text},{row[index + 1].text}" divides it into two cells'
            problems.append(Problem(cell.place, what, f'Put it in quotes: "{cell.text},{row[index + 1].text}"'))
            return None
        elif key != "?":
            value = _SPLIT.get(key, _whole)(cell, problems)
            entries[key] = Entry(Text(key, cell.place), value)
    if name is None:
        problems.append(
            Problem(row[0].place, "this row has no name", "Write the output's name in the column headed name")
        )
        return None
    whole = Place(name.place.file, name.place.line, name.place.column, name.place.line, name.place.end_column)
    return Entry(Text(name.text, name.place), Table(entries, whole))


def _splits(row: list[_Cell], index: int) -> bool:
    """Whether a decimal comma has been taken for the end of a cell: `1,5 s` without quotes."""
    cell, after = row[index], row[index + 1 : index + 2]
    return is_cut_off(cell.text) and bool(after and re.match(r"[0-9]+ ?[A-Za-z/%]", after[0].text))


def _whole(cell: _Cell, _: list[Problem]) -> Value:
    return Text(cell.text, cell.place)


def _parts(cell: _Cell) -> Iterable[tuple[list[str], Place]]:
    """The parts between semicolons, each as words; `raised: 85 deg` and `raised = 85 deg` are as good as without."""
    at = 0
    for part in cell.text.split(";"):
        text = part.strip()
        column = cell.place.column + at + len(part) - len(part.lstrip())
        at += len(part) + 1
        text = text.strip(":= ")
        if text:
            place = Place(cell.place.file, cell.place.line, column, cell.place.line, column + len(text))
            yield re.split(r"\s*[:=]\s*|\s+", text, maxsplit=1), place


def _split_positions(cell: _Cell, problems: list[Problem]) -> Value:
    entries: dict[str, Entry] = {}
    for words, place in _parts(cell):
        if len(words) < 2:
            what = f"`{words[0]}` has no angle"
            problems.append(Problem(place, what, f"Write `{words[0]} 45 deg`; put ; between two positions"))
            words.append("0 deg")
        _enter(entries, Text(words[0], place), Text(words[1], place), problems)
    return Table(entries, cell.place)


def _split_aspects(cell: _Cell, problems: list[Problem]) -> Value:
    """`danger 0; clear 1`, or `danger up-arm danger; clear up-arm clear`; `halt stops` for one that stops trains."""
    tables: dict[str, Entry] = {}
    for words, place in _parts(cell):
        rest = re.split(r"\s*[:=]\s*|\s+", words[1], maxsplit=1) if len(words) > 1 else []
        if not rest:
            tables.setdefault(words[0], Entry(Text(words[0], place), Text("", place)))
            continue
        inner = tables.setdefault(words[0], Entry(Text(words[0], place), Table({}, place)))
        into = inner.value.entries if isinstance(inner.value, Table) else {}
        if rest == ["stops"]:
            into["stops"] = Entry(Text("stops", place), Text("yes", place))
        elif len(rest) == 1:
            _enter(into, Text("number", place), Text(rest[0], place), problems)
        else:
            _enter(into, Text(rest[0], place), Text(rest[1], place), problems)
    return Table(tables, cell.place)


def _split_colours(cell: _Cell, _: list[Problem]) -> Value:
    """`white; red`, with any separator that does not divide the cell."""
    found = re.finditer(r"[^;,/\s]+", cell.text.strip("[]"))
    shift = cell.place.column + len(cell.text) - len(cell.text.lstrip("["))
    words = [(one[0], shift + one.start()) for one in found]
    place = cell.place
    return Items(
        [Text(word, Place(place.file, place.line, at, place.line, at + len(word))) for word, at in words], place
    )


def _enter(entries: dict[str, Entry], key: Text, value: Text, problems: list[Problem]) -> None:
    if key.text in entries:
        also = ((entries[key.text].key.place, "first given here"),)
        problems.append(Problem(key.place, f"`{key.text}` is given twice", "Keep one of the two", also=also))
        return
    entries[key.text] = Entry(key, value)


_SPLIT = {"positions": _split_positions, "aspects": _split_aspects, "colours": _split_colours}
