"""Practice tables' files: how one is found and read, and what is wrong with one.

Owns the form of the file. What its rows mean is known to `practice` and `measures`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from engine.layout import Place
from scenes.names import sentence
from scenes.problems import Problem, in_order, nearest
from wayside.layout.values import rate_a_minute, time_us
from wayside.layout.yaml_places import Entry, Table, Text, Value, read_text, read_yaml
from wayside.practice.measures import MEASURES, Sort
from wayside.practice.names import is_file, shipped, unknown
from wayside.practice.table import Limit, PracticeTable, Row, Status, TableRead
from wayside.usage import UsageProblem, why_not
from wayside.wording import listed

LARGEST_BYTES = 200_000
MOST_ROWS = 200
LONGEST_TEXT = 300
LONGEST_ID = 6  # it is a narrow column

_ID = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?")
_TABLE_KEYS = ("table", "covers", "rows")
_LIMIT_KEYS = ("at least", "at most", "exactly")
_ROW_KEYS = ("quantity", "measure", *_LIMIT_KEYS, "source", "status")


# --- finding one ---------------------------------------------------------------------------------------------------


def find(word: str, beside: Path | None = None) -> TableRead:
    """A shipped table by its name, or a person's own by its file (relative to a folder, where one is given)."""
    tables = shipped()
    if word in tables:
        return read(tables[word], f"{tables[word].parent.name}/{tables[word].name}", word)
    if not word.strip():
        raise UsageProblem(f"The name of the practice table is missing. There is {listed(list(tables))}.")
    if not is_file(word):
        raise UsageProblem(f"There is no practice table {word}. {unknown(word)}")
    file = Path(word) if beside is None else beside / word
    return read(file, str(file), str(file))


def read(file: Path, shown: str, name: str) -> TableRead:
    """A table's file with all that is wrong in it. Raises UsageProblem if it cannot be read at all."""
    try:
        if file.exists() and not file.is_file():
            raise UsageProblem(f"{shown} is a folder, not a practice table.")
        with file.open("rb") as opened:
            raw = opened.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise UsageProblem(
            f"There is no practice table {shown}. `wayside compare --tables` lists the shipped ones."
        ) from None
    except (OSError, ValueError) as problem:
        why = why_not(problem) if isinstance(problem, OSError) else "its name cannot be that of a file"
        raise UsageProblem(f"{shown} cannot be read: {why}.") from problem
    if len(raw) > LARGEST_BYTES:
        raise UsageProblem(f"{shown} is not read: a practice table has at most {LARGEST_BYTES} bytes.")
    return _read(raw, shown, name)


# --- reading one ---------------------------------------------------------------------------------------------------


def _read(raw: bytes, shown: str, name: str) -> TableRead:
    text, lines, problems = read_text(raw, shown)
    root: Value | None = None
    if text is not None and not _says_anything(lines):
        problems = [Problem(Place(shown, 1, 1, 1, 1), "the file is empty", "Begin with a line `table: TITLE`")]
    elif text is not None:
        root, problems = read_yaml(text, shown)
        problems = [_of_a_table(one) for one in problems]
    reading = _Reading(problems)
    table = PracticeTable(name, "", "", ())
    if isinstance(root, Table):
        table = reading.table(root, name)
    elif root is not None:
        reading.wrong(root.place, "a practice table holds `name: value` lines", "Begin with a line `table: TITLE`")
    told = [replace(one, what=sentence(one.what), instead=sentence(one.instead)) for one in reading.problems]
    return TableRead(table, in_order(told), {shown: lines})


def _says_anything(lines: list[str]) -> bool:
    return any(line.split("#")[0].strip() for line in lines)


def _of_a_table(problem: Problem) -> Problem:
    """The reader of YAML speaks of layouts, which is what it reads for most."""
    return replace(problem, what=_not_layout(problem.what), instead=_not_layout(problem.instead))


def _not_layout(text: str) -> str:
    return re.sub(r"\blayout\b", "practice table", text)


class _Reading:
    """One table while it is read."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems

    def wrong(self, place: Place, what: str, instead: str = "") -> None:
        start = Place(place.file, place.line, place.column, place.line, place.column + 1)
        self.problems.append(Problem(place if place.end_line == place.line else start, what, instead))

    def table(self, root: Table, name: str) -> PracticeTable:
        self._known_keys(root, _TABLE_KEYS, "a practice table")
        whole = Place(root.place.file, root.place.line, root.place.column, root.place.line, root.place.column + 1)
        title, covers = (self._text(root, key, whole, "the table") for key in ("table", "covers"))
        entry = root.entries.get("rows")
        if entry is None:
            self.wrong(whole, "the table has no `rows`", "Write `rows:` and under it a line such as `K1:` for each row")
        elif not isinstance(entry.value, Table) or not entry.value.entries:
            self.wrong(entry.key.place, "`rows` holds no row", "Write a line such as `K1:` under it for each row")
        elif len(entry.value.entries) > MOST_ROWS:
            self.wrong(entry.key.place, f"the table has more than {MOST_ROWS} rows, the most that is read", "Split it")
        else:
            rows = [self._row(one) for one in entry.value.entries.values()]
            return PracticeTable(name, title, covers, tuple(row for row in rows if row is not None))
        return PracticeTable(name, title, covers, ())

    def _row(self, entry: Entry) -> Row | None:
        key, value, before = entry.key, entry.value, len(self.problems)
        if len(key.text) > LONGEST_ID or not _ID.fullmatch(key.text):
            instead = f"Write at most {LONGEST_ID} letters and digits, such as K10a"
            self.wrong(key.place, f"`{key.text}` cannot name a row", instead)
        if not isinstance(value, Table):
            self.wrong(key.place, f"row `{key.text}` says nothing", "Write `quantity:`, `measure:` and so on under it")
            return None
        self._known_keys(value, _ROW_KEYS, "a row")
        row = f"row `{key.text}`"
        quantity, measure, source, word = (
            self._text(value, name, key.place, row) for name in ("quantity", "measure", "source", "status")
        )
        limit = self._limit(value, measure, key, row)
        status = next((one for one in Status if one.value == word), None)
        if word and status is None:
            place = value.entries["status"].value.place
            self.wrong(place, f"`{word}` is no status", f"Write {_either([one.value for one in Status])}")
        if len(self.problems) > before or status is None:
            return None
        return Row(key.text, quantity, measure, limit, source, status, key.place)

    def _known_keys(self, table: Table, known: tuple[str, ...], where: str) -> None:
        for name, entry in table.entries.items():
            if name not in known:
                near = nearest(name.lower(), known)
                instead = f"Did you mean `{near}`?" if near else f"It has {_either(known, 'and')}"
                self.wrong(entry.key.place, f"`{name}` is not known in {where}", instead)

    def _text(self, table: Table, key: str, place: Place, where: str) -> str:
        """The text under a key; reported if it is missing, unless a mistyped key was meant for it."""
        entry = table.entries.get(key)
        if entry is None:
            if not any(
                nearest(name.lower(), [key]) for name in table.entries if name not in (*_TABLE_KEYS, *_ROW_KEYS)
            ):
                self.wrong(place, f"{where} has no `{key}`", f"Add `{key}: {_EXAMPLES[key]}`")
            return ""
        if not isinstance(entry.value, Text) or not entry.value.text:
            self.wrong(entry.key.place, f"`{key}` holds a text", f"Write for example `{key}: {_EXAMPLES[key]}`")
            return ""
        if len(entry.value.text) > LONGEST_TEXT:
            self.wrong(entry.key.place, f"the text of `{key}` is longer than {LONGEST_TEXT} characters", "Shorten it")
        return entry.value.text

    # --- what is asked ---------------------------------------------------------------------------------------------

    def _limit(self, row: Table, name: str, key: Text, where: str) -> Limit:
        given = [row.entries[word] for word in _LIMIT_KEYS if word in row.entries]
        measure = MEASURES.get(name)
        if measure is None:
            if name:
                near = nearest(name, MEASURES)
                instead = f"Did you mean `{near}`?" if near else "`wayside compare --measures` lists them all"
                self.wrong(row.entries["measure"].value.place, f"there is no measure `{name}`", instead)
            return Limit()
        if measure.sort is Sort.RULE:
            for entry in given:
                what = f"`{name}` holds or it does not, so it takes no `{entry.key.text}`"
                self.wrong(entry.key.place, what, "Delete this")
            return Limit()
        if not given:
            what = f"{where} asks for nothing: `{name}` counts {measure.sort.value}"
            self.wrong(key.place, what, f"Add {_either([f'`{word}`' for word in _LIMIT_KEYS])}")
            return Limit()
        return self._bounds(row, name, measure.sort, given)

    def _bounds(self, row: Table, name: str, sort: Sort, given: list[Entry]) -> Limit:
        numbers = {entry.key.text: self._number(entry, name, sort) for entry in given}
        least, most, exactly = (numbers.get(word) for word in _LIMIT_KEYS)
        if "exactly" in numbers and len(given) > 1:
            self.wrong(row.entries["exactly"].key.place, "`exactly` stands beside another limit", "Keep one of them")
        if least is not None and most is not None and least > most:
            self.wrong(row.entries["at most"].value.place, "`at most` is less than `at least`", "Exchange the two")
        return Limit(least, most, exactly)

    def _number(self, entry: Entry, name: str, sort: Sort) -> Fraction | None:
        value = entry.value
        text = value.text if isinstance(value, Text) else ""
        found = _READ[sort](text)
        if found is None:
            place = value.place if text else entry.key.place
            what = f"`{entry.key.text}` of `{name}` is {sort.value}"
            self.wrong(place, f"{what}, not `{text}`" if text else what, "Write the number with its unit")
        return found


def _time(text: str) -> Fraction | None:
    found = time_us(text)
    return None if found is None else Fraction(found)


_READ: dict[Sort, Callable[[str], Fraction | None]] = {Sort.TIME: _time, Sort.RATE: rate_a_minute}
_EXAMPLES = {
    "table": "Northern Ireland, full barriers",
    "covers": "crossings with full barriers, worked by trains",
    "quantity": "an entrance barrier's descent",
    "measure": "entrance-descent",
    "source": "the order and its paragraph",
    "status": "read",
}


def _either(words: Sequence[str], joint: str = "or") -> str:
    return f"{', '.join(words[:-1])} {joint} {words[-1]}"
