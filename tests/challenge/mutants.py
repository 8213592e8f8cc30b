"""Wrong crossings made from the right one, by its text alone: a line taken out, two lines swapped, a number changed.

Each is read by the real compiler; what it refuses never gets as far as a train.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from tests.challenge.crossings import EXAMPLE
from wayside.project import Project, load

SCENE = "scene saltmarsh-lane"
NUMBER = re.compile(r"(?<![\w.])(\d+)(?= (?:s|ms|a minute)\b)")
CHANGES = (("halved", 0.5), ("doubled", 2.0), ("zeroed", 0.0))


class Mutant(NamedTuple):
    """`name` says what was done, to which line of the scene (counted from the line after its name)."""

    name: str
    kind: str  # "deleted", "unwrapped", "swapped", "halved", "doubled", "zeroed"
    text: str  # of the whole file

    def project(self) -> Project:
        """Read by the compiler, with the layout and the signals' rule of the example."""
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "saltmarsh-lane.scene"
            file.write_text(self.text, encoding="utf-8")
            return load([EXAMPLE / "layout.yaml", file, EXAMPLE / "signals.scene"])


class _Parts(NamedTuple):
    before: list[str]
    scene: list[str]  # its lines without remarks, after the one with its name
    after: list[str]


def mutants() -> list[Mutant]:
    """All of them, in the order of the text, each text once."""
    parts = _cut()
    seen = {_joined(parts, parts.scene)}
    found = []
    for name, kind, lines in (*_deleted(parts.scene), *_swapped(parts.scene), *_numbers(parts.scene)):
        text = _joined(parts, lines)
        if text not in seen:
            seen.add(text)
            found.append(Mutant(name, kind, text))
    return found


def unchanged() -> Mutant:
    """The good crossing, as the mutants are written."""
    parts = _cut()
    return Mutant("unchanged", "unchanged", _joined(parts, parts.scene))


def _cut() -> _Parts:
    """The example's file without its rehearsals, at the scene's ends."""
    text = (EXAMPLE / "saltmarsh-lane.scene").read_text(encoding="utf-8")
    lines = text.split("\nrehearsal ", 1)[0].splitlines()
    first = next(at for at, line in enumerate(lines) if line.startswith(SCENE))
    end = next(n for n in range(first + 1, len(lines)) if lines[n] and not lines[n].startswith(" "))
    bare = [line.split("#")[0].rstrip() for line in lines[first + 1 : end]]
    return _Parts(lines[: first + 1], [line for line in bare if line], lines[end:])


def _joined(parts: _Parts, scene: list[str]) -> str:
    return "\n".join([*parts.before, *scene, "", *parts.after]) + "\n"


def _depth(line: str) -> int:
    return len(line) - len(line.lstrip())


def _block_end(lines: list[str], start: int) -> int:
    """Where the block of a line is over: the first line that stands no further in."""
    depth = _depth(lines[start])
    return next((n for n in range(start + 1, len(lines)) if _depth(lines[n]) <= depth), len(lines))


def _deleted(lines: list[str]) -> Iterator[tuple[str, str, list[str]]]:
    """Each line with its block; and each line that has a block without it, the block moved out."""
    for n, line in enumerate(lines):
        end = _block_end(lines, n)
        yield f"{n + 1} deleted: {line.strip()}", "deleted", [*lines[:n], *lines[end:]]
        if end > n + 1:
            out = [inner[4:] for inner in lines[n + 1 : end]]
            yield f"{n + 1} unwrapped: {line.strip()}", "unwrapped", [*lines[:n], *out, *lines[end:]]


def _swapped(lines: list[str]) -> Iterator[tuple[str, str, list[str]]]:
    """Each two neighbours that stand equally far in, with their blocks."""
    for n, line in enumerate(lines):
        middle = _block_end(lines, n)
        if middle < len(lines) and _depth(lines[middle]) == _depth(line):
            end = _block_end(lines, middle)
            changed = [*lines[:n], *lines[middle:end], *lines[n:middle], *lines[end:]]
            yield f"{n + 1} swapped: {line.strip()} / {lines[middle].strip()}", "swapped", changed


def _numbers(lines: list[str]) -> Iterator[tuple[str, str, list[str]]]:
    for n, line in enumerate(lines):
        for match in NUMBER.finditer(line):
            for kind, factor in CHANGES:
                new = f"{int(match[1]) * factor:g}"
                changed = f"{line[: match.start()]}{new}{line[match.end() :]}"
                yield f"{n + 1} {kind}: {changed.strip()}", kind, [*lines[:n], changed, *lines[n + 1 :]]
