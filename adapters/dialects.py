"""Dialects of the angle-bracket serial text, as data: what is said for each operation, and what replies mean.

All of it from memory. Knows no layout but a link's own words. A reply is known by its letter and its number, never by
what was asked before: reports come between a command and its answer.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Literal, NamedTuple

from adapters.codec import Frame
from adapters.dialect_words import NONE, WORDS, check, nearest
from adapters.dialect_words import OPERATIONS as OPERATIONS
from adapters.dialect_words import BadWords as BadWords
from engine.layout import Link


class Answer(NamedTuple):
    """A reply: its letter, how many numbers may follow (None: any text), and what it means."""

    letter: str
    numbers: tuple[int, ...] | None
    means: str


class Dialect(NamedTuple):
    """What one kind of station says and understands."""

    name: str
    words: Mapping[str, str]
    answers: tuple[Answer, ...]


class NoWords(LookupError):
    """A dialect has no words for an operation."""


ANSWERS = (
    Answer("p", (1, 2), "power"),
    Answer("Q", (1,), "detector active"),  # with three numbers it tells a definition, and no state
    Answer("q", (1,), "detector inactive"),
    Answer("H", (2, 4), "accessory"),  # the number and the state; or with its board and port between them
    Answer("Y", (2, 4), "pin"),  # the same, with its pin and flags between them
    Answer("O", (0,), "took"),
    Answer("X", None, "refused"),
    Answer("i", None, "banner"),
    Answer("*", None, "remark"),
)

EARLY = Dialect("early", WORDS["early"], ANSWERS)
LATE = Dialect("late", WORDS["late"], ANSWERS)
DIALECTS: Mapping[str, Dialect] = MappingProxyType({one.name: one for one in (EARLY, LATE)})


# --- the words of a link -------------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def dialect_of(link: Link) -> Dialect:
    """A link's dialect, with the words that its layout file gives laid over. Raises BadWords."""
    dialect = DIALECTS.get(link.dialect)
    if dialect is None:
        what = f"there is no dialect `{link.dialect}`"
        raise BadWords("dialect", what, f"Write {nearest(link.dialect, DIALECTS) or ' or '.join(DIALECTS)}")
    if not link.words:
        return dialect
    words = dict(dialect.words)
    for operation, template in link.words:
        check(operation, template)
        words[operation] = template.strip()
        if words[operation] == NONE:
            del words[operation]
    return Dialect(dialect.name, MappingProxyType(words), dialect.answers)


# --- speaking ------------------------------------------------------------------------------------------------------


def say(dialect: Dialect, operation: str, **values: int) -> str:
    """The text of a command, without its brackets; values that its words do not name are left out. Raises NoWords."""
    template = dialect.words.get(operation)
    if template is None:
        raise NoWords(f"{dialect.name} has no words for {operation}")
    return template.format_map(values)


# --- listening -----------------------------------------------------------------------------------------------------


class PowerIs(NamedTuple):
    state: Literal["on", "off", "overload"]


class DetectorIs(NamedTuple):
    id: int
    active: bool


class OutputIs(NamedTuple):
    """What somebody, perhaps ourselves, has told an output: `kind` is "accessory" or "pin"."""

    kind: str
    id: int
    value: int


class Took(NamedTuple):
    """The station took the last definition. It does not say that anything moved."""


class Refused(NamedTuple):
    """The station could do nothing with a command; it does not say which."""


class Banner(NamedTuple):
    """What a station says of itself when it has started, and when it is asked."""

    text: str


class Remark(NamedTuple):
    """For people."""

    text: str


class Other(NamedTuple):
    """A frame that means nothing here."""

    text: str


Said = PowerIs | DetectorIs | OutputIs | Took | Refused | Banner | Remark | Other

_POWER: Mapping[str, Literal["on", "off", "overload"]] = {"0": "off", "1": "on", "2": "overload"}
_OTHER_TRACK = "PROG"  # the power of a programming track says nothing of the layout's
_NUMBER = re.compile(r"-?[0-9]{1,6}")


def understand(dialect: Dialect, frame: Frame) -> Said:
    """What a frame means. Whatever is not just as a reply should be is `Other`."""
    text = frame.text
    answer = _by_letter(dialect.answers).get(text[:1])
    if answer is None:
        return Other(text)
    words = text[1:].split()
    if answer.numbers is not None and len(words) not in answer.numbers:
        return Other(text)
    said = _MEANS[answer.means](text, words)
    return Other(text) if said is None else said  # a record without fields is as false as none


@lru_cache(maxsize=64)
def _by_letter(answers: tuple[Answer, ...]) -> dict[str, Answer]:
    return {answer.letter: answer for answer in answers}


def _power(_: str, words: list[str]) -> Said | None:
    if words[1:] == [_OTHER_TRACK] or words[0] not in _POWER:
        return None
    return PowerIs(_POWER[words[0]])


def _detector(active: bool) -> Callable[[str, list[str]], Said | None]:
    def means(_: str, words: list[str]) -> Said | None:
        return DetectorIs(int(words[0]), active) if _NUMBER.fullmatch(words[0]) else None

    return means


def _output(kind: str) -> Callable[[str, list[str]], Said | None]:
    def means(_: str, words: list[str]) -> Said | None:
        if not all(_NUMBER.fullmatch(word) for word in words) or words[-1] not in ("0", "1"):
            return None
        return OutputIs(kind, int(words[0]), int(words[-1]))

    return means


_MEANS: Mapping[str, Callable[[str, list[str]], Said | None]] = {
    "power": _power,
    "detector active": _detector(True),
    "detector inactive": _detector(False),
    "accessory": _output("accessory"),
    "pin": _output("pin"),
    "took": lambda text, words: Took(),
    # with anything behind it but numbers it is another word
    "refused": lambda text, words: Refused() if all(_NUMBER.fullmatch(word) for word in words) else None,
    "banner": lambda text, words: Banner(text[1:].strip()),
    "remark": lambda text, words: Remark(text.strip("* \t\r\n")),
}
