"""Which drawings some words ask for: names, groups, kinds with a name, bounces and characters; and why there are none.

Knows what can be drawn by name. Must not know options or where a drawing goes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from engine.characters import NotRead, read
from engine.daylight import NoSuchSun
from engine.landings import MOST_TIMES
from wayside import wording
from wayside.pictures.drawing import DRAWS, EVERYTHING, GROUPS, Asked, Drawing, Draws, arrival, character, members
from wayside.usage import UsageProblem, near_miss

LONGEST_NAME = 80  # of what is repeated in a message
LONGEST_PHRASE = 6  # words that make one name: `character Al Fl WR 10s`


def chosen(words: Sequence[str], asked: Asked, layout: str = "") -> list[Drawing]:
    """The drawings that the words ask for. As many words as make sense together are one name: `way candle`."""
    drawings: list[Drawing] = []
    at = 0
    while at < len(words):
        for end in range(min(len(words), at + LONGEST_PHRASE), at, -1):
            found = _found(" ".join(words[at:end]), asked)
            if found is not None:
                break
        else:
            raise UsageProblem(_not_drawn(words[at:], asked, layout))
        drawings += found
        at = end
    return _some(list(dict.fromkeys(drawings)))


def _some(drawings: list[Drawing]) -> list[Drawing]:
    if not drawings:
        raise UsageProblem(
            "There is nothing to draw: none of these courses of daylight happens at that place and date."
        )
    return drawings


def _found(text: str, asked: Asked) -> list[Drawing] | None:
    """What has this name, or the light that has this character; None if nothing has."""
    known = members(asked)
    if text == EVERYTHING:
        return [one for group in known for one in _all_of(group, known[group], asked)]
    singular = {about.one: group for group, about in GROUPS.items()}
    if text in known or text in singular:
        group = singular.get(text, text)
        return _all_of(group, known[group], asked)
    kind, _, rest = text.partition(" ")
    only = singular.get(kind)
    times = re.fullmatch(r"bouncing (once|twice|([0-9]{1,3}) times)", rest if only == "arrivals" else text)
    if times:
        return arrival("bouncing", asked, _bounces({"once": 1, "twice": 2}.get(times[1]) or int(times[2])))
    name = rest if only else text
    if only in (None, "characters") and (only or _looks_like_character(name)):
        return _character(name, asked)
    groups = [group for group in known if name in known[group]]
    found = [group for group in groups if only in (None, group)]
    if not found and groups:
        kinds = wording.listed([f"a {GROUPS[group].one}" for group in groups])
        raise UsageProblem(f"{name} is {kinds}, not a {kind}: write {GROUPS[groups[0]].one} {name}.")
    if not found:
        return None
    return [one for group in found for one in _drawn(DRAWS[group], name, asked)]


def _bounces(times: int) -> int:
    if not 1 <= times <= MOST_TIMES:
        raise UsageProblem(f"An arm bounces 1 to {MOST_TIMES} times, not {times}.")
    return times


def _all_of(group: str, names: Iterable[str], asked: Asked) -> list[Drawing]:
    """A whole group. A course of daylight that does not happen at the layout's place is left out."""
    drawings = []
    for name in names:
        try:
            drawings += DRAWS[group](name, asked)
        except NoSuchSun:
            continue
    return drawings


def _drawn(draw: Draws, name: str, asked: Asked) -> list[Drawing]:
    try:
        return draw(name, asked)
    except NoSuchSun as problem:
        raise UsageProblem(str(problem)) from problem


def _looks_like_character(text: str) -> bool:
    """Names are in small letters; a chart's abbreviations are not."""
    return text != text.lower() or "(" in text


def _character(text: str, asked: Asked) -> list[Drawing] | None:
    try:
        return character(text, asked)
    except NotRead:
        return None


def _not_drawn(words: Sequence[str], asked: Asked, layout: str) -> str:
    """Why the first of these words cannot be drawn, nor anything that begins with it."""
    kind, _, rest = " ".join(words).partition(" ")
    text = rest if kind == "character" and rest else " ".join(words)
    if not _looks_like_character(text.partition(" ")[0]):
        return _unknown(words[0], asked, layout)
    try:
        read(text)
    except NotRead as problem:
        return _not_read(text, problem)
    return _unknown(words[0], asked, layout)  # a character so long that it is taken for several names


def _not_read(text: str, problem: NotRead) -> str:
    """The character with a caret under what is wrong, and what to write instead."""
    shown = text[: LONGEST_NAME + 10]
    length = max(1, min(problem.length, len(shown) - problem.column))
    carets = " " * problem.column + "^" * length
    return (
        f"This is no light's character, from its column {problem.column + 1} on:\n"
        f"    {shown}\n    {carets}\n{problem.what} {problem.instead}"
    )


def _unknown(word: str, asked: Asked, layout: str) -> str:
    known = members(asked)
    names = [name for group in known.values() for name in group]
    shown = word if len(word) <= LONGEST_NAME else word[:LONGEST_NAME] + "..."
    near = near_miss(word, [*names, *known, EVERYTHING])
    of = f", among the manners of {layout} or anywhere else" if layout else ""
    own = "" if layout else " A manner of a scene file needs --in FOLDER."
    return f"Nothing that can be drawn is called {shown}{of}.{near}{own} `wayside draw` lists them all."
