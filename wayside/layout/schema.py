"""The layout file's schema: the check of a file's shape through the validating library, in our own sentences.

Owns which keys and forms of value there are (in `layout.schema.json`). What the values mean together is not known here.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from engine.layout import Place
from scenes.problems import Problem, nearest
from wayside.layout.yaml_places import Entry, Items, Table, Text, Value

SCHEMA_FILE = Path(__file__).with_name("layout.schema.json")
MOST_FOUND = 1_000  # problems of shape in one file


def schema_text() -> str:
    """The JSON Schema of the layout file (draft 2020-12), for editors."""
    return SCHEMA_FILE.read_text(encoding="utf-8")


@cache
def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(schema_text())
    return loaded


@cache
def pattern(definition: str) -> re.Pattern[str]:
    """The form of one sort of value, as the schema has it; groups are its numbers and its unit."""
    return re.compile(schema()["$defs"][definition]["pattern"])


@cache
def output_keys() -> tuple[str, ...]:
    return tuple(schema()["$defs"]["output"]["properties"])


class _Found(NamedTuple):
    """One finding of the library, with what stands there in the file."""

    error: Any
    path: Sequence[str | int]
    value: Value
    key: Text | None  # the nearest key above the value
    file: str

    @property
    def place(self) -> Place:
        """The value's place; its key's where there is no value to show, or only a large one."""
        shown = isinstance(self.value, Text) and self.value.text
        return self.value.place if shown or self.key is None else self.key.place

    @property
    def name(self) -> str:
        name = self.key.text if self.key else "the layout"
        return f"an item of {name}" if self.path and isinstance(self.path[-1], int) else name

    @property
    def said(self) -> str:
        """The name as a sentence has it."""
        name = f"`{self.key.text}`" if self.key else "the layout"
        return f"an item of {name}" if self.path and isinstance(self.path[-1], int) else name

    @property
    def schema(self) -> dict[str, Any]:
        return _step(tuple(self.error.evaluation_path)[:-1])


def check(root: Table, file: str, torn: frozenset[tuple[str, int]] = frozenset()) -> list[Problem]:
    """Everything whose shape is not as the schema says; each thing once, at its cause.

    `torn` are lines of tables (file and line) that have lost something which was reported: there nothing is missed.
    """
    problems: list[Problem] = []
    explained: dict[tuple[Sequence[str | int], str], None] = {}
    found = [_located(error, root, file) for error in _validator().iter_errors(_plain(root))]
    # Unknown keys first: a mistyped key is also a missing one, and is said once.
    for one in sorted(found, key=lambda one: one.error.kind.name != "additionalProperties"):
        if len(problems) >= MOST_FOUND:
            instead = "Mend these first"
            problems.append(Problem(one.place, f"there are more mistakes than the {MOST_FOUND} told here", instead))
            break
        if one.error.kind.name in ("required", "anyOf") and (one.place.file, one.place.line) in torn:
            continue
        problems += _SAY.get(one.error.kind.name, _unlikely)(one, explained)
    return problems


def with_sections_named(root: Table) -> tuple[Table, list[Problem]]:
    """The file as if each mistyped section had its right name, so that its whole contents are not missed as well."""
    known = schema()["properties"]
    entries: dict[str, Entry] = {}
    problems: list[Problem] = []
    for name, entry in root.entries.items():
        near = None if name in known else nearest(name.lower(), known)
        if near is None or near in root.entries or near in entries:
            entries[name] = entry
            continue
        entries[near] = entry
        what = f"`{name}` is not known at the top of a layout file"
        problems.append(Problem(entry.key.place, what, f"Did you mean `{near}`?"))
    return Table(entries, root.place), problems


@cache
def _validator() -> Any:
    import jsonschema_rs  # late: who only wants the schema's text does not wait for it

    return jsonschema_rs.Draft202012Validator(schema())


def _plain(value: Value) -> Any:
    if isinstance(value, Text):
        return value.text or None
    if isinstance(value, Items):
        return [_plain(item) for item in value.items]
    return {name: _plain(entry.value) for name, entry in value.entries.items()}


def _located(error: Any, root: Value, file: str) -> _Found:
    value, key = root, None
    path = tuple(error.instance_path)
    for step in path:
        if isinstance(value, Table):
            entry = value.entries.get(_as_written(step, value))
            key, value = entry or (key, value)
        elif isinstance(value, Items) and isinstance(step, int):
            value = value.items[step]
    return _Found(error, path, value, key, file)


_UNITS = ("time", "rate", "angle", "share", "area", "lights", "current", "voltage", "price")


@cache
def keys_with_units() -> frozenset[str]:
    """The keys of an output whose values are a number with a unit."""
    properties = schema()["$defs"]["output"]["properties"]
    with_units = {f"#/$defs/{name}" for name in _UNITS}
    return frozenset(key for key, part in properties.items() if part.get("$ref") in with_units)


@cache
def choices(key: str) -> tuple[str, ...]:
    """The words of which one stands after a key of an output."""
    return tuple(schema()["$defs"]["output"]["properties"][key]["enum"])


@cache
def wired_keys() -> frozenset[str]:
    """The keys of everything that is wired to something."""
    return frozenset(key for name in ("output", "detector", "button") for key in schema()["$defs"][name]["properties"])


def _as_written(step: str | int, table: Table) -> str:
    """The library takes a key such as "040" for a number."""
    if isinstance(step, str):
        return step
    return next((name for name in table.entries if name.isdigit() and int(name) == step), "")


def _step(path: Iterable[str | int]) -> dict[str, Any]:
    """The innermost part of the schema that a path leads to, with what the places that refer to it add."""
    whole: Any = schema()
    here: Any = whole
    added: dict[str, Any] = {}
    for step in path:
        if step == "$ref":
            added = {**_said(here), **added}
            here = whole["$defs"][here["$ref"].rpartition("/")[2]]
            continue
        inner = here[step]
        if isinstance(inner, dict) and step not in _GROUPING:
            added = {}
        here = inner if isinstance(inner, dict | list) else here
    return {**here, **added} if isinstance(here, dict) else {}


_GROUPING = ("properties", "dependentRequired")


def _said(part: dict[str, Any]) -> dict[str, Any]:
    return {word: part[word] for word in ("title", "examples") if word in part}


def _flow(value: Any) -> str:
    """An example as it is written in the file."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{name}: {_flow(inner)}" for name, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(inner) for inner in value) + "]"
    return str(value)


def _example(part: dict[str, Any]) -> str:
    examples = part.get("examples")
    return _flow(examples[0]) if examples else ""


def _write(name: str, part: dict[str, Any]) -> str:
    example = _example(part)
    if name.startswith("an item of "):
        return f"Write for example `{example.strip('{}')}`" if example else f"Write {part.get('title', 'a value')}"
    return (
        f"Write for example `{name}: {example}`" if example else f"Write {part.get('title', 'a value')} after `{name}:`"
    )


# --- the sentences, one function for each sort of finding -----------------------------------------------------------

_Explained = dict[tuple[Sequence[str | int], str], None]


def _wrong_form(one: _Found, explained: _Explained) -> list[Problem]:
    if (one.path, _COMMA) in explained:
        return []
    part, text = one.schema, one.value.text if isinstance(one.value, Text) else ""
    title, example = part.get("title", "right here"), _example(part)
    unit = example.partition(" ")[2]
    if any(mark in text for mark in "“”„‘’"):
        return [Problem(one.place, f"{one.said}: the quotes are curly", "Use straight quotes, or none")]
    if title in _SIDES and (number := _SIGNED.fullmatch(text)):
        return [_without_side(one, text, *number.groups())]
    if unit and (_SIGNED if title.startswith("a time zone") else _UNSIGNED).fullmatch(text):
        return [Problem(one.place, f"{one.said}: `{text}` has no unit", f"Write `{one.name}: {text} {unit}`")]
    if re.match(r"-\s*[0-9]", text):
        return [Problem(one.place, f"{one.said}: `{text}` is less than nothing", _write(one.name, part))]
    if title == schema()["$defs"]["name"]["title"]:
        return [Problem(one.place, f"{one.said}: `{text}` is not {title}", _suggested(text))]
    from wayside.layout.meant import meant  # late: a good file needs none of its forms

    guess = meant(text, part.get("pattern", ""))
    where = "" if one.name.startswith("an item of ") else f"{one.name}: "
    instead = f"Write `{where}{guess}`" if guess else _write(one.name, part)
    return [Problem(one.place, f"{one.said}: `{text}` is not {title}", instead)]


_UNSIGNED = re.compile(r"[0-9]+([.,][0-9]+)?")
_SIGNED = re.compile(r"([+-]?)([0-9]+(?:[.,][0-9]+|:[0-9]+)?)")
_SIDES = {"a latitude": ("north", "south"), "a longitude": ("east", "west")}


def _without_side(one: _Found, text: str, sign: str, number: str) -> Problem:
    """A latitude or longitude as a bare number, which people sign in more than one way."""
    sides = _SIDES[one.schema["title"]]
    letters = [side[0].upper() for side in sides]
    meant = letters if not sign else letters[sign == "-" :][:1]
    instead = " or ".join(f"`{one.name}: {number} {letter}`" for letter in meant)
    return Problem(one.place, f"{one.said}: `{text}` does not say {' or '.join(sides)}", f"Write {instead}")


def _wrong_type(one: _Found, _: _Explained) -> list[Problem]:
    part = one.schema
    title = part.get("title", "a value")
    if isinstance(one.value, Text):
        tight = re.fullmatch(r"([A-Za-z][\w -]*):(\S.*)", one.value.text)
        if tight:
            what = f"a space is missing after the colon in `{one.value.text}`"
            return [Problem(one.place, what, f"Write `{tight[1]}: {tight[2]}`")]
        if not one.value.text:
            return [Problem(one.place, f"{one.said} has nothing after it", _write(one.name, part))]
        return [Problem(one.place, f"{one.said} needs {title}, not `{one.value.text}`", _write(one.name, part))]
    got = "a list" if isinstance(one.value, Items) else "names with values of their own"
    return [Problem(one.place, f"{one.said} needs {title}, not {got}", _write(one.name, part))]


def _not_one_of(one: _Found, _: _Explained) -> list[Problem]:
    part, known = one.schema, list(one.schema["enum"])
    if not isinstance(one.value, Text) or not one.value.text:
        return _wrong_type(one, _)
    near = nearest(one.value.text.lower(), known)
    noun = part["title"].split()[1]  # a kind, a way
    instead = f"Did you mean `{near}`?" if near else f"The {noun}s are `{'`, `'.join(known)}`"
    return [Problem(one.place, f"`{one.value.text}` is not {part['title']}", instead)]


def _unknown_keys(one: _Found, explained: _Explained) -> list[Problem]:
    if not isinstance(one.value, Table):
        return []
    known = _known_keys(one)
    problems = []
    for name in one.error.kind.unexpected:
        if cut := _cut_by_a_comma(one.value, name):
            explained[((*one.path, cut[0]), _COMMA)] = None
            problems.append(cut[1])
            continue
        near = _in_short(name.lower(), known) or nearest(name.lower(), known)
        if near:
            explained[(one.path, near)] = None
        free = [key for key in known if key not in one.value.entries]
        instead = f"Did you mean `{near}`?" if near else f"What can stand here: `{'`, `'.join(free)}`"
        where = f"in {one.said}" if one.key else "at the top of a layout file"
        key = one.value.entries[name].key
        problems.append(Problem(key.place, f"`{name}` is not known {where}", instead))
    return problems


_COMMA = ","  # what has been explained of a value that a comma has cut


def _cut_by_a_comma(table: Table, name: str) -> tuple[str, Problem] | None:
    """`{at: 1200 mm, 300 mm}`: in braces a comma ends the value, and its second half reads as a key."""
    before = list(table.entries)[list(table.entries).index(name) - 1]
    value, rest = table.entries[before].value, table.entries[name]
    if before != "at" or rest.value != Text("", rest.value.place) or not isinstance(value, Text):
        return None
    whole = f"{value.text} by {name}"
    if not pattern("place-on-the-plan").fullmatch(whole):
        return None
    return before, Problem(rest.key.place, f"in braces a comma ends `{before}`", f"Write `{before}: {whole}`")


def _in_short(name: str, known: list[str]) -> str | None:
    """The key that a short form such as `lat` stands for."""
    return next((key for key in known if len(name) > 2 and key.startswith(name)), None)


def _known_keys(one: _Found) -> list[str]:
    part = one.schema
    kind = _kind_of(one.value)
    barred = _barred(kind) if kind and part.get("title") == "an output's settings" else ()
    return [key for key in part.get("properties", {}) if key not in barred]


def _kind_of(value: Value) -> str:
    entry = value.entries.get("kind") if isinstance(value, Table) else None
    return entry.value.text if entry and isinstance(entry.value, Text) else ""


@cache
def _barred(kind: str) -> tuple[str, ...]:
    """The keys that an output of this kind cannot have."""
    rows: list[dict[str, Any]] = schema()["$defs"]["output"]["allOf"]
    wanted = [row["then"]["properties"] for row in rows if row["if"]["properties"]["kind"]["const"] == kind]
    return tuple(key for row in wanted for key, allowed in row.items() if allowed is False)


def _missing_key(one: _Found, explained: _Explained) -> list[Problem]:
    name = one.error.kind.property
    if (one.path, name) in explained:
        return []
    explained[(one.path, name)] = None
    instead = _add(one, name)
    if "dependentRequired" in one.error.schema_path and isinstance(one.value, Table):
        because = next(key for key, needs in _depends().items() if name in needs and key in one.value.entries)
        place = one.value.entries[because].key.place
        return [Problem(place, f"{one.said} says its {because}, but not which `{name}`", instead)]
    if one.key is None:
        return [Problem(Place(one.file, 1, 1, 1, 1), f"the file does not say `{name}`, what it is called", instead)]
    return [Problem(one.key.place, f"{one.said} does not say its `{name}`", instead)]


def _depends() -> dict[str, list[str]]:
    needs: dict[str, list[str]] = schema()["$defs"]["output"]["dependentRequired"]
    return needs


def _add(one: _Found, name: str) -> str:
    """How a missing key is written. A `then` of the schema has no texts of its own: they come from the whole."""
    part = one.schema.get("properties", {}).get(name)
    if not isinstance(part, dict):
        part = schema()["$defs"]["output"]["properties"].get(name, {})
    if "$ref" in part:
        part = {**schema()["$defs"][part["$ref"].rpartition("/")[2]], **part}
    return f"Add for example `{name}: {_example(part) or 'NAME'}`"


def _one_of_two(one: _Found, explained: _Explained) -> list[Problem]:
    choices = [branch[0].kind.property for branch in one.error.kind.context]
    if any((one.path, name) in explained for name in choices):
        return []
    what = f"{one.said} says neither its `{'` nor its `'.join(choices)}`"
    return [Problem(one.place, what, _add(one, choices[0]))]


def _wrong_kind(one: _Found, _: _Explained) -> list[Problem]:
    """A key that outputs of other kinds have."""
    if one.key is None:
        return []
    kind = next(row for row in schema()["$defs"]["output"]["allOf"] if row["then"] is _then(one))
    its = kind["if"]["properties"]["kind"]["const"]
    every = schema()["$defs"]["output"]["properties"]["kind"]["enum"]
    others = [other for other in every if one.key.text not in _barred(other)]
    those = " or ".join([", ".join(others[:-1]), others[-1]] if len(others) > 1 else others)
    what = f"`{one.key.text}` belongs to a {those}, not to a {its}"
    return [Problem(one.key.place, what, "Delete it, or change the kind")]


def _then(one: _Found) -> Any:
    part: Any = schema()
    for step in one.error.schema_path:
        part = part[step]
        if step == "then":
            return part
    return None


def _bad_name(one: _Found, _: _Explained) -> list[Problem]:
    name = one.error.kind.error.instance
    if not isinstance(one.value, Table):
        return []
    place = one.value.entries[name].key.place
    if ":" in name:
        return [Problem(place, f"a space is missing after the colon in `{name}`", "Write `name: value`")]
    if len(name) > schema()["$defs"]["name"]["maxLength"]:
        return [
            Problem(place, f"this name is longer than {schema()['$defs']['name']['maxLength']} letters", "Shorten it")
        ]
    what = f"`{name}` cannot be a name: names are lower-case letters and digits, joined by hyphens"
    return [Problem(place, what, _suggested(name))]


def _suggested(name: str) -> str:
    plain = plain_name(name)
    return f"Write `{plain}`" if plain else "Begin with a letter from a to z"


def plain_name(name: str) -> str:
    """A name as it would be written rightly; empty if nothing of it is left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    plain = re.sub(r"(?<=[a-z])(?=[A-Z])", "-", plain).lower()
    plain = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
    plain = re.sub(r"^[0-9]", r"no-\g<0>", plain)
    return plain if pattern("name").fullmatch(plain) else ""


def _too_few(one: _Found, _: _Explained) -> list[Problem]:
    least = one.error.kind.limit
    what = f"{one.said} has fewer than {least} entries" if least > 1 else f"{one.said} has no entries"
    return [Problem(one.place, what, _write(one.name, one.schema))]


def _too_many(one: _Found, _: _Explained) -> list[Problem]:
    if one.error.kind.limit == 1 and isinstance(one.value, Table):
        second = list(one.value.entries.values())[1].key
        return [
            Problem(second.place, f"`{second.text}` stands in the same item", "Give each stretch a dash of its own")
        ]
    limit = one.error.kind.limit
    return [Problem(one.place, f"{one.said} has more than {limit} entries, the most that is read", f"Keep {limit}")]


def _too_long(one: _Found, _: _Explained) -> list[Problem]:
    return [Problem(one.place, f"{one.said}: this text is too long", "Shorten it")]


def _unlikely(one: _Found, _: _Explained) -> list[Problem]:
    """For a finding that no row below expects: still a place and a sentence."""
    return [Problem(one.place, f"{one.said} is not as it should be", _write(one.name, one.schema))]


_SAY: dict[str, Callable[[_Found, _Explained], list[Problem]]] = {
    "pattern": _wrong_form,
    "type": _wrong_type,
    "enum": _not_one_of,
    "additionalProperties": _unknown_keys,
    "required": _missing_key,
    "anyOf": _one_of_two,
    "falseSchema": _wrong_kind,
    "propertyNames": _bad_name,
    "minProperties": _too_few,
    "minItems": _too_few,
    "maxProperties": _too_many,
    "maxItems": _too_many,
    "maxLength": _too_long,
}
