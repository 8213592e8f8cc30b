"""The operations of the angle-bracket serial text, the built-in words for them, and what other words may look like.

All words are from memory. Knows no reply.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import NamedTuple

from adapters.codec import LONGEST_COMMAND

LONGEST_WORDS = LONGEST_COMMAND - 22  # room for the numbers that take the placeholders' places
NONE = "none"  # written for an operation for which a station has no words


class Placeholders(NamedTuple):
    """The numbers that an operation's words name: all of the first, and one at least of the second."""

    every: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()


OPERATIONS: Mapping[str, Placeholders] = MappingProxyType(
    {
        "accessory": Placeholders(("board", "port", "act")),
        "linear accessory": Placeholders(("linear", "act")),  # the number as the station counts
        "aspect": Placeholders(("linear", "aspect")),
        "pin": Placeholders(("pin", "act")),
        "define pin": Placeholders(("pin",)),
        "level": Placeholders(("pin",), ("value", "byte")),  # 0 to 4095, or 0 to 255
        "servo": Placeholders(("pin",), ("us", "value", "degrees")),  # microseconds, 4096ths of 20 ms, whole degrees
        "define detector": Placeholders(("id", "pin", "pullup")),
        "ask detectors": Placeholders(),
        "power on": Placeholders(),
        "power off": Placeholders(),
        "status": Placeholders(),
        "stop": Placeholders(),
    }
)


class BadWords(ValueError):
    """Words of a link that cannot be used: for which operation, what is wrong, and what to write instead."""

    def __init__(self, operation: str, what: str, instead: str) -> None:
        super().__init__(f"{what}. {instead}")
        self.operation = operation
        self.what = what
        self.instead = instead


_EARLY = {
    "accessory": "a {board} {port} {act}",
    "pin": "Z {pin} {act}",
    "define pin": "Z {pin} {pin} 0",
    "define detector": "S {id} {pin} {pullup}",
    "ask detectors": "Q",
    "power on": "1",
    "power off": "0",
    "status": "s",
}
_LATE = {
    **_EARLY,
    "linear accessory": "a {linear} {act}",
    "aspect": "A {linear} {aspect}",
    "level": "z {pin} {value}",
    "servo": "z {pin} {us}",
    "stop": "!",
}
WORDS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {"early": MappingProxyType(_EARLY), "late": MappingProxyType(_LATE)}
)


def check(operation: str, template: str) -> None:
    """Raises BadWords for words that no station could be told."""
    wanted = OPERATIONS.get(operation)
    if wanted is None:
        near = nearest(operation, OPERATIONS)
        instead = f"Write `{near}`" if near else f"They are {_listed(OPERATIONS)}"
        raise BadWords(operation, f"a link has no words for `{operation}`", instead)
    for wrong, why, instead in _FORM:
        if wrong(template):
            raise BadWords(operation, f"the words for `{operation}` {why}", instead)
    if template.strip() == NONE:
        return
    known = (*wanted.every, *wanted.one_of)
    used = _PLACEHOLDER.findall(template)
    for name in used:
        if name not in known:
            near = nearest(name, known)
            those = f"It has {_listed(_braced(known))}" if known else "It has no number: write the words alone"
            what = f"the words for `{operation}` have no number `{{{name}}}`"
            raise BadWords(operation, what, f"Write `{{{near}}}`" if near else those)
    missing = [name for name in wanted.every if name not in used]
    if missing:
        what = f"the words for `{operation}` do not say {_listed(_braced(missing))}"
        raise BadWords(operation, what, f"Write for example `{example(operation)}`")
    if wanted.one_of and not set(wanted.one_of) & set(used):
        what = f"the words for `{operation}` do not say how much"
        raise BadWords(operation, what, f"Write `{'` or `'.join(_braced(wanted.one_of))}` in them")


def example(operation: str) -> str:
    """Words for an operation as a built-in dialect has them; the same without a letter where none has."""
    wanted = OPERATIONS[operation]
    own = " ".join(_braced((*wanted.every, *wanted.one_of[:1])))
    return next((words[operation] for words in WORDS.values() if operation in words), own)


_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_FORM: tuple[tuple[Callable[[str], object], str, str], ...] = (
    (
        lambda text: not text.strip(),
        "say nothing",
        f"Write `{NONE}` if the far end has no words for it, or delete the line",
    ),
    (lambda text: set(text) & {"<", ">"}, "have angle brackets", "Leave them out: Wayside puts them round the words"),
    (
        lambda text: not (text.isascii() and text.isprintable()),
        "have signs that a station cannot read",
        "Write plain letters, digits and signs, in one line",
    ),
    (
        lambda text: len(text.strip()) > LONGEST_WORDS,
        f"are longer than {LONGEST_WORDS} signs",
        "A station's buffer is short: shorten them",
    ),
    (
        lambda text: set(_PLACEHOLDER.sub("", text)) & {"{", "}"},
        "have a brace without its fellow",
        "Write a number as `{pin}`, with a brace on either side",
    ),
)


def _braced(names: tuple[str, ...] | list[str]) -> list[str]:
    return [f"{{{name}}}" for name in names]


def _listed(names: Mapping[str, object] | list[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def nearest(word: str, known: Mapping[str, object] | tuple[str, ...]) -> str | None:
    from difflib import get_close_matches  # only where something is wrong

    return next(iter(get_close_matches(word, list(known), 1, 0.5)), None)
