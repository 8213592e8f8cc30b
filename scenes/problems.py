"""Problems as records, and how they read: place, line, caret, what is wrong, what to write instead.

Every part that reads a person's files reports through here, so that all messages look alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from engine.layout import Place


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a file.

    `what` says what is wrong in the person's words, `instead` what to write; `also` names other places that belong
    to it ("first named here"). `helps` are several ways out, the best first, a sentence each. Advice does not stop
    anything; an error does.
    """

    place: Place
    what: str
    instead: str = ""
    advice: bool = False
    also: tuple[tuple[Place, str], ...] = ()
    helps: tuple[str, ...] = ()


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known name that is most like a mistyped one, or None where none is near."""
    found = get_close_matches(word, list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Errors before advice, each by file, line and column; the same thing said twice is said once."""
    return sorted(dict.fromkeys(problems), key=lambda p: (p.advice, p.place, p.what))


def excerpt(place: Place, lines: Mapping[str, list[str]]) -> list[str]:
    """The line with a caret under the whole offending span, as two lines of text; none if the line is not known."""
    text = lines.get(place.file, [])
    if not 1 <= place.line <= len(text):
        return []
    line = text[place.line - 1].rstrip()
    last = place.end_column if place.end_line == place.line else len(line) + 1
    width = max(1, min(last, len(line) + 1) - place.column)
    number = f"{place.line:>5} | "
    return [f"{number}{line}", " " * (len(number) + place.column - 1) + "^" * width]


def as_text(problem: Problem, lines: Mapping[str, list[str]]) -> str:
    """One problem as a person reads it; `lines` holds each file's text, a line an entry."""
    kind = "advice" if problem.advice else "error"
    stop = "" if problem.what.endswith((".", "?", "!")) else "."
    out = [f"{problem.place}: {kind}: {problem.what}{stop}", *excerpt(problem.place, lines)]
    if problem.instead:
        out.append(f"        {problem.instead}")
    out.extend(f"        {number}. {way}" for number, way in enumerate(problem.helps, start=1))
    for place, why in problem.also:
        out.append(f"        {why}: {place}")
        out.extend(excerpt(place, lines))
    return "\n".join(out)
