"""What is wrong with a text's indentation, colons, quotes and brackets, in plain sentences with a place.

Turns the YAML library's own messages into ours, so that none gets through. Knows nothing of layouts.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

import yaml

from engine.layout import Place
from scenes.problems import Problem
from wayside.layout.yaml_places import spot

_TIGHT_COLON = re.compile(r"^\s*(?:- +)?(?P<key>[A-Za-z][\w -]*):(?P<value>[^\s:].*)$")
_LOOSE_MINUS = re.compile(r":\s+(-\s+([0-9][^,}\]#]*[^,}\]#\s]))")
_BACKSLASH = "\\"


class _Trouble(NamedTuple):
    """Where reading stopped, and where the thing began that could not be read to its end. Counted from 0."""

    file: str
    lines: list[str]
    line: int
    column: int
    from_line: int
    from_column: int

    @property
    def text(self) -> str:
        return self.lines[self.line]

    @property
    def char(self) -> str:
        return self.text[self.column : self.column + 1]

    @property
    def lead(self) -> int:
        return len(self.text) - len(self.text.lstrip())

    def here(self, width: int = 1) -> Place:
        return spot(self.file, self.line + 1, self.column + 1, width)

    def opening(self) -> Place:
        return spot(self.file, self.from_line + 1, self.from_column + 1)

    def whole(self, line: int) -> Place:
        text = self.lines[line]
        lead = len(text) - len(text.lstrip())
        return spot(self.file, line + 1, lead + 1, max(1, len(text.strip())))


def sentence(error: yaml.YAMLError, lines: list[str], file: str) -> Problem:
    mark = getattr(error, "problem_mark", None)
    began = getattr(error, "context_mark", None) or mark
    if mark is None or began is None:
        return Problem(spot(file, 1, 1), "the file cannot be read as a layout", "Each line is `name: value`")
    last = max((i for i, line in enumerate(lines) if line.strip()), default=0)
    at_end = mark.line > last
    line, column = (last, len(lines[last].rstrip())) if at_end else (mark.line, mark.column)
    trouble = _Trouble(file, lines, line, column, min(began.line, last), began.column)
    tab = _tab(trouble)
    if tab:
        return tab
    minus = _LOOSE_MINUS.search(trouble.text)
    if minus:
        what = "a space stands between the minus and its number"
        place = spot(file, line + 1, minus.start(1) + 1, len(minus[1]))
        return Problem(place, what, f"Write `-{minus[2]}`")
    message = getattr(error, "problem", None) or ""
    return next(say for words, say in _SAYINGS if words in message)(trouble)


def _tab(at: _Trouble) -> Problem | None:
    text = at.text
    column = text.find("\t", 0, at.lead) if at.lead else -1
    if column < 0 and at.char == "\t":
        column = at.column
    if column < 0:
        return None
    place = spot(at.file, at.line + 1, column + 1)
    return Problem(place, "a tab stands here", "Use spaces: two for each step to the right")


def _tight(at: _Trouble, line: int) -> Problem | None:
    """`kind:lamp`: the colon needs a space after it."""
    found = _TIGHT_COLON.match(at.lines[line])
    if not found or ": " in at.lines[line]:
        return None
    what = f"a space is missing after the colon of `{found['key']}`"
    instead = f"Write `{found['key']}: {found['value'].strip()}`"
    return Problem(spot(at.file, line + 1, found.start("value")), what, instead)


def _no_colon(at: _Trouble) -> Problem:
    return _colonless(at, at.from_line)


def _colonless(at: _Trouble, line: int) -> Problem:
    instead = "Each line is `name: value`, with a colon and a space after the name"
    return _tight(at, line) or Problem(at.whole(line), "this line has no colon", instead)


def _colon_too_many(at: _Trouble) -> Problem:
    if re.search(r":\s", at.text[: at.column]):
        instead = "Put each `name: value` on its own line, or in { } with commas; put a text with a colon in quotes"
        return Problem(at.here(), "a second colon stands on this line", instead)
    above = next((i for i in range(at.line - 1, -1, -1) if at.lines[i].split("#")[0].strip()), None)
    if above is None:
        return _odd(at)
    tight = _tight(at, above)
    if tight:
        return tight
    head = at.lines[above].split("#")[0]
    if not re.search(r":(\s|$)", head):
        return _colonless(at, above)
    start = len(head) - len(head.lstrip())
    what = "this line is indented further than the line above, which has its value already"
    return Problem(at.whole(at.line), what, f"Begin it in column {start + 1}, like the line above")


def _out_of_line(at: _Trouble) -> Problem:
    if at.char and at.char in "}]":
        opening = {"}": "{", "]": "["}[at.char]
        return Problem(at.here(), f"`{at.char}` closes nothing here", f"Delete it, or open it with `{opening}`")
    if at.column > at.lead:
        what = "something follows a value that has ended"
        return Problem(at.here(), what, "Begin a new line, or put # before a remark")
    if at.text.lstrip().startswith(": "):
        return Problem(at.here(), "a name is missing before the colon", "Write `name: value`")
    if at.text.lstrip().startswith("- "):
        what = "a line with a dash stands among lines with names"
        return Problem(at.whole(at.line), what, "Indent it under the name whose list it belongs to")
    what = "this line does not begin in the same column as any line that it could belong to"
    return Problem(at.whole(at.line), what, "Lines that belong together begin in the same column")


def _no_dash(at: _Trouble) -> Problem:
    what = "this line has no dash, but stands in a list whose lines have one"
    return Problem(at.whole(at.line), what, "Begin it with a dash and a space, or further to the left")


def _not_closed(at: _Trouble) -> Problem:
    bracket = at.lines[at.from_line][at.from_column : at.from_column + 1]
    closing = {"{": "}", "[": "]"}.get(bracket, bracket)
    if at.line == at.from_line and at.column < len(at.text.rstrip()):
        what = f"a comma, or the closing `{closing}`, is missing before this"
        return Problem(at.here(), what, "Put a comma between two entries")
    return Problem(at.opening(), f"`{bracket}` is opened here and never closed", f"Close it with `{closing}`")


def _quote(at: _Trouble) -> Problem:
    mark = at.lines[at.from_line][at.from_column : at.from_column + 1]
    what = "a quote is opened here and never closed"
    return Problem(at.opening(), what, f"Put {mark} at the end of the text, too")


def _odd_start(at: _Trouble) -> Problem:
    rest = re.split(r"[,\]}]| #", at.text[at.column :])[0].strip()
    return Problem(at.here(), f"a value cannot begin with `{at.char}`", f'Put it in quotes: "{rest}"')


def _item_beside(at: _Trouble) -> Problem:
    instead = "Begin the list on the next line, or write it in brackets: [one, two]"
    return Problem(at.here(), "a list with dashes cannot begin beside its name", instead)


def _escape(at: _Trouble) -> Problem:
    return Problem(at.here(), f"`{_BACKSLASH}` means something else between double quotes", "Use single quotes: '...'")


def _second_file(at: _Trouble) -> Problem:
    return Problem(at.here(), "the layout has ended before this line", "Delete the line of dots or dashes above it")


def _nothing_there(at: _Trouble) -> Problem:
    if at.char == ",":
        return Problem(at.here(), "nothing stands before this comma", "Delete the comma, or write what is missing")
    if at.char and at.char in "}]":
        return Problem(at.here(), f"`{at.char}` closes nothing here", "Delete it, or write what is missing before it")
    return _odd(at)


def _after_bar(at: _Trouble) -> Problem:
    return Problem(at.opening(), "a value cannot begin with `|` or `>`", "Put it in quotes")


def _marked(at: _Trouble) -> Problem:
    mark = at.lines[at.from_line][at.from_column : at.from_column + 1]
    return Problem(at.opening(), f"a value cannot begin with `{mark}`", "Put it in quotes")


def _odd(at: _Trouble) -> Problem:
    instead = "Each line is `name: value`; lines that belong together begin in the same column"
    return _tight(at, at.line) or Problem(at.whole(at.line), "this line does not fit what stands before it", instead)


# The first row whose words occur in the library's message speaks. Both of its readers, the C one and the other.
_SAYINGS: tuple[tuple[str, Callable[[_Trouble], Problem]], ...] = (
    ("could not find expected ':'", _no_colon),
    ("mapping values are not allowed", _colon_too_many),
    ("mapping keys are not allowed", _odd),
    ("did not find expected key", _out_of_line),
    ("expected <block end>", _out_of_line),
    ("did not find expected '-'", _no_dash),
    ("expected ',' or", _not_closed),
    ("unexpected end of stream", _quote),
    ("unexpected document indicator", _quote),
    ("cannot start any token", _odd_start),
    ("block sequence entries", _item_beside),
    ("sequence entries are not allowed", _item_beside),
    ("unknown escape", _escape),
    ("hexadecimal", _escape),
    ("document start", _second_file),
    ("expected node content", _nothing_there),
    ("expected the node content", _nothing_there),
    ("comment or line break", _after_bar),
    ("alphabetic or numeric", _marked),
    ("expected '>'", _marked),
    ("tag", _marked),
    ("", _odd),
)
