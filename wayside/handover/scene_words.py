"""What a scene does, in its writer's own words: the comment above it, its notes, or else the lines that tell outputs.

Reads the files' lines. Puts nothing into words of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from engine.layout import NOWHERE, Place
from engine.program import (
    Block,
    Fade,
    ForEach,
    InOrder,
    Move,
    Note,
    Pulse,
    RunScene,
    Scene,
    Statement,
    Tell,
    Through,
    blocks_of,
    lines_of,
)

TELLS = (Tell, Fade, Through, Move, Pulse, RunScene)
MOST_COMMENT = 3  # lines of a comment above a scene

Lines = Mapping[str, Sequence[str]]


def in_own_words(scene: Scene, lines: Lines, letters: int) -> str:
    """At most about so many letters; what is left out is counted."""
    said = _comment(scene.place, lines) or [
        statement.text for statement in lines_of(scene.block) if isinstance(statement, Note)
    ]
    return _within(said or list(dict.fromkeys(_told(scene.block, lines))), letters)


def _within(said: list[str], letters: int) -> str:
    if not said:
        return "tells no output anything"
    shown: list[str] = []
    for one in said:
        if shown and sum(map(len, shown)) + len(one) > letters:
            break
        shown.append(one if len(one) <= letters else f"{one[: letters - 1].rstrip()}…")
    more = len(said) - len(shown)
    return "; ".join(shown) + (f"; and {more} more {'line' if more == 1 else 'lines'}" if more else "")


def _comment(place: Place, lines: Lines) -> list[str]:
    """The comment on the scene's own line, or the lines of comment that stand right above it."""
    text = lines.get(place.file, ())
    if place == NOWHERE or not 0 < place.line <= len(text):
        return []
    own = text[place.line - 1].partition("#")[2].strip()
    if own:
        return [own]
    above: list[str] = []
    for line in reversed(text[: place.line - 1]):
        if not line.strip().startswith("#"):
            break
        above.insert(0, line.strip().strip("#").strip(" -"))
    said = " ".join(above[-MOST_COMMENT:]).strip()
    return [said] if said else []


def _told(block: Block, lines: Lines) -> Iterator[str]:
    for statement in block:
        match statement:
            case InOrder(called=called) if called:
                yield f"do {called}"
            case ForEach(members=members) if members:
                inner = list(dict.fromkeys(_told(members[0].block, lines)))
                if inner:
                    yield f"{_written(statement, lines)}: {', '.join(inner)}"
            case _ if isinstance(statement, TELLS):
                yield _written(statement, lines)
            case _:
                for inner_block in blocks_of(statement):
                    yield from _told(inner_block, lines)


def _written(statement: Statement, lines: Lines) -> str:
    """The line as it is written, without its comment."""
    text, place = lines.get(statement.place.file, ()), statement.place
    if not 0 < place.line <= len(text):
        return ""
    return text[place.line - 1].partition("#")[0].strip().rstrip(":").rstrip()
