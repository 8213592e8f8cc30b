"""Text worked through the grammar's tables, sentence by sentence, into a tree; what does not fit is told and passed.

Reads words as the parser library's contextual mode does, goes on after a bad line, and does not know the library.
"""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from engine.layout import Place
from scenes.mistakes import Line, explain, given_name, repaired_name
from scenes.nodes import Node, Word
from scenes.problems import Problem
from scenes.source import DEEPEST_NESTING, LONGEST_CHAIN, LONGEST_NAME, MOST_PROBLEMS, TAB_COLUMNS


class Parsed(NamedTuple):
    """A file's tree and what is wrong with it. A line that could not be read is a `broken` node.

    A `broken` definition or loop carries, as a NAME, the name that it would have given.
    """

    node: Node
    problems: tuple[Problem, ...]


class Rule(NamedTuple):
    """How one line of the grammar is put together: what it is called, how many pieces, which of them stay."""

    origin: str
    size: int
    kind: str | None  # None: its parts belong to the node around it
    kept: tuple[tuple[int, str | None], ...]  # (which piece, its kind if it is a word)
    lone: bool  # a single part stands for itself
    passes: bool = False  # only hands its one part on, as it is


class Tables(NamedTuple):
    start: int
    end: int
    actions: list[dict[str, int]]  # 0 and more: go to that state; below 0: put rule ~n together
    rules: list[Rule]
    words: dict[str, str]  # reserved word -> its kind


# --- words ---------------------------------------------------------------------------------------------------------

_UNITS = {
    "DURATION": "milliseconds|millisecond|ms|seconds|second|secs|sec|s|minutes|minute|mins|min|hours|hour|h",
    "PERCENT": "%|percent",
    "ANGLE": "degrees|degree|deg|°",
    "RATE": "a minute|per minute|/min",
    "LENGTH": "mm|cm|m",
    "SPEED": "mm/s",
    "LUX": "lux|lx",
    "KELVIN": "kelvin|K",
}
_KIND_OF_UNIT = {unit: kind for kind, units in _UNITS.items() for unit in units.split("|")}
_ALL_UNITS = "|".join(sorted(map(re.escape, _KIND_OF_UNIT), key=len, reverse=True))
_KINDS = ("", "NAME", "", "", "TIME", "INTEGER", "TEXT", "_COMMA", "COLON", "LPAR", "RPAR", "", "PLUS", "MINUS", "SIGN")
_COMMENT = 11
_scan = re.compile(
    r"[ \t]*(?:([a-z][a-z0-9]*(?:-[a-z0-9]+)*)"
    rf"|([0-9]+(?:[.,][0-9]+)? ?(?P<unit>{_ALL_UNITS})(?![a-z0-9/%]))"
    r"|([0-9][0-9]?:[0-9][0-9](?::[0-9][0-9])?(?![0-9]))"
    r"|([0-9]+)"
    r'|("[^"\n]*")'
    r"|(,)|(:)|(\()|(\))|(\#.*)|(?<= )(\+)(?= )|(?<= )(-)(?= )|([^ \t]))"
).finditer

# A word: its kind, its text, where it begins and ends. A position is line << 16 | column.
_Token = tuple[str, str, int, int]


def _words(text: str, number: int) -> list[_Token]:
    """The words of one line; a comment is left out."""
    base = number << 16 | 1
    out: list[_Token] = []
    for found in _scan(text):
        group = found.lastindex or 0
        begin, end = found.span(group)
        if group == 1:
            out.append(("NAME", found[1], base + begin, base + end))
        elif group == 2:
            out.append((_KIND_OF_UNIT[found["unit"]], found[2], base + begin, base + end))
        elif group != _COMMENT:
            out.append((_KINDS[group], found[group], base + begin, base + end))
    return out


# --- reading -------------------------------------------------------------------------------------------------------


class _Level(NamedTuple):
    """An indentation: how wide, and whether a block began with it (or nothing did, which was reported).

    `strays`: other widths, reported once, that count as this one.
    """

    width: int
    block: bool
    line: int = 0  # where it began
    strays: tuple[int, ...] = ()


class _Sentence(NamedTuple):
    """One sentence: its words and the numbers of its first and last line."""

    words: list[_Token]
    first: int
    last: int
    width: int


_Snapshot = tuple[list[int], list[Any], list[int], list[int]]
_LATE_HEADS = {
    "whenever": "runs whenever",
    "only_while": "runs only while",
    "each_time": "starts each time",
    "at_time": "starts at",
    "at_sun": "starts at",
    "every": "starts every",
    "on_button": "starts on button",
    "again": "if started again",
    "takes": "takes",
    "fit": "fit into",
    "accepts": "accepts",
    "when_stopped": "when stopped",
}
_HEAD_KINDS = frozenset({"scene", "routine", "rule", "rehearsal", "manner", "day"})
# First words that only lines of a rehearsal, of a rule, or of a manner have.
_LINES_OF = {
    "rehearsal": frozenset({"begins", "plays", "expect", "seed", "lasts"}),
    "rule": frozenset({"never", "always"}),
    "manner": frozenset({"sways", "pace", "depth", "like"}),
    "day": frozenset({"opens", "closes", "quiet", "every", "after"}),
}


class Reader:
    """Reads one file, sentence by sentence. A sentence that does not fit is undone, reported, and marked as broken."""

    def __init__(self, file: str, tables: Tables) -> None:
        self.file = file
        self.tables = tables
        self.lines: list[str] = []
        self.states = [tables.start]
        self.values: list[Any] = []
        self.begins: list[int] = []
        self.ends: list[int] = []
        self.levels = [_Level(0, True)]
        self.code_ends: dict[int, int] = {}
        self.problems: dict[int, Problem] = {}  # one a line
        self.invented: set[int] = set()  # where a head was put in for a broken line
        self.item = ""  # first word of the item that the line stands in
        self.before = ""  # the line before, for messages
        self.skip_above: int | None = None
        self.chains: dict[int, int] = {}  # width -> `otherwise if` in a row

    def read(self, lines: list[str]) -> Parsed:
        self.lines = lines
        at = 0
        while at < len(lines) and len(self.problems) < MOST_PROBLEMS:
            sentence = self._next(at)
            if sentence is None:
                break
            at = sentence.last
            if self.skip_above is not None and sentence.width > self.skip_above:
                continue
            self.skip_above = None
            at = self._take(sentence)
        if at < len(lines) and len(self.problems) >= MOST_PROBLEMS and (rest := self._next(at)):
            what = f"The file has {len(self.problems)} mistakes up to here; it is not read further."
            self._report(rest.words[0][2], rest.words[-1][3], what, "Put those right first.")
        self._finish()
        node = self._feed_end()
        self._find_late_heads(node)
        return Parsed(node, tuple(self.problems[line] for line in sorted(self.problems)))

    # .. sentences ..

    def _next(self, at: int) -> _Sentence | None:
        """The sentence from line index `at` on; a comma at the end of a line carries it on."""
        words: list[_Token] = []
        first = 0
        width = 0
        for number in range(at + 1, len(self.lines) + 1):
            text = self.lines[number - 1]
            found = _words(text, number) if text and not text.isspace() else ()
            if not found:
                continue
            self.code_ends[number] = found[-1][3]
            if not words:
                lead = text[: (found[0][2] & 0xFFFF) - 1]
                first, width = number, len(lead) + lead.count("\t") * (TAB_COLUMNS - 1)
            words.extend(found)
            if words[-1][0] != "_COMMA":
                break
        return _Sentence(words, first, number, width) if words else None

    def _take(self, sentence: _Sentence) -> int:
        """Work one sentence; returns the line index to go on from."""
        words = sentence.words
        if sentence.width == 0:
            self.item = words[0][1]
        if not self._indent(sentence):
            return sentence.last
        if words[-1][3] - words[0][2] > LONGEST_NAME:
            self._long_names(words)
        if words[-1][0] == "COLON":
            words = words[:-1] or words
        end = words[-1][3]
        before = self._snapshot()
        bad = self._chain_too_long(sentence) or self._brackets_too_deep(words)
        if not bad:
            bad = self._feed([*words, ("_NL", "", end, end)]) is not None
            if bad:
                return self._mend(sentence._replace(words=words), before)
        self.before = self.lines[sentence.first - 1]
        return sentence.last

    def _long_names(self, words: list[_Token]) -> None:
        for kind, text, begin, end in words:
            if len(text) > LONGEST_NAME and kind == "NAME":
                what = f"The name has {len(text)} letters; the most that a name may have is {LONGEST_NAME}."
                self._report(begin, end, what, "Write a shorter one.")

    def _chain_too_long(self, sentence: _Sentence) -> bool:
        """Whether this is one `otherwise if` too many; it is reported and its block is passed over."""
        words, width = sentence.words, sentence.width
        chained = len(words) > 1 and words[0][1] == "otherwise" and words[1][1] == "if"
        self.chains[width] = self.chains.get(width, 0) + 1 if chained else 0
        if self.chains[width] <= LONGEST_CHAIN:
            return False
        what = f"More than {LONGEST_CHAIN} `otherwise if` follow one another."
        self._report(words[0][2], words[1][3], what, "Share the cases out over several routines.")
        self.skip_above = width
        return True

    def _brackets_too_deep(self, words: list[_Token]) -> bool:
        depth = 0
        if not any(word[0] == "LPAR" for word in words):
            return False
        for kind, _, begin, end in words:
            depth += (kind == "LPAR") - (kind == "RPAR")
            if depth > DEEPEST_NESTING:
                what = f"Brackets stand inside one another more than {DEEPEST_NESTING} deep."
                self._report(begin, end, what, "Give the inner ones a name with `define`.")
                self._feed([("BROKEN", "", words[0][2], words[-1][3]), ("_NL", "", words[-1][3], words[-1][3])])
                return True
        return False

    # .. indentation ..

    def _indent(self, sentence: _Sentence) -> bool:
        """Open and close blocks for a line; False if it lies too deep and is passed over."""
        row = self.tables.actions[self.states[-1]]
        width, begin = sentence.width, sentence.words[0][2]
        if width > self.levels[-1].width and width not in self.levels[-1].strays:
            if "_INDENT" not in row:
                self._report_stray(sentence)
                self.levels.append(_Level(width, False, sentence.first))
                return True
            if sum(level.block for level in self.levels) > DEEPEST_NESTING:
                what = f"Blocks stand inside one another more than {DEEPEST_NESTING} deep."
                self._report(begin, sentence.words[-1][3], what, "Move the inner ones into a routine.")
                self._empty_block(begin)
                self.skip_above = self.levels[-1].width
                return False
            self._feed([("_INDENT", "", begin, begin)])
            self.levels.append(_Level(width, True, sentence.first))
            return True
        if len(row) == 1 and "_INDENT" in row:
            self._report_no_block(sentence)
            self._empty_block(begin)
        self._dedent(sentence)
        return True

    def _dedent(self, sentence: _Sentence) -> None:
        width, begin = sentence.width, sentence.words[0][2]
        steps = [level.width for level in self.levels if level.block]
        while width < self.levels[-1].width and width not in self.levels[-1].strays:
            below = self.levels[-2].width
            if below < width and self.levels[-1].width - width < width - below:
                break  # nearer to the inner block: taken as a line of it
            if self.levels.pop().block:
                self._feed([("_DEDENT", "", begin, begin)])
        top = self.levels[-1]
        if width == top.width or width in top.strays:
            return
        known = ", ".join(map(str, steps[:-1])) + f" or {steps[-1]}"
        what = f"The line is indented by {width} columns; the lines above it stand at {known}."
        instead = "Indent it exactly as the other lines of its block."
        if width > top.width or top.line not in self.problems:  # a first line that is wrong misleads the next
            self._report(sentence.first << 16 | 1, begin, what, instead)
        if width < top.width:
            self.levels[-1] = top._replace(strays=(*top.strays, width))
        else:
            self.levels.append(_Level(width, False, sentence.first))

    def _report_stray(self, sentence: _Sentence) -> None:
        first = sentence.words[0]
        last_line = self.before.strip().split("#")[0].strip()
        if not self.before:
            what, instead = "The first line of a file is not indented.", "Move it to the left edge."
        elif self.before[:1] not in " \t" and last_line.split(" ")[0] in ("define", "group", "flag", "counter"):
            what = f"`{last_line.split(' ')[0]}` takes no block, so this line cannot be indented under it."
            instead = "Move it to the left, or put `scene` and a name above it."
        else:
            what = "The line is indented, but the line above it takes no block."
            instead = "Move it to the left, under the first word of the line above."
        self._report(first[2], sentence.words[-1][3], what, instead)

    def _report_no_block(self, sentence: _Sentence) -> None:
        head = self.before.split("#")[0].strip().rstrip(":").strip()
        width = len(self.before) - len(self.before.lstrip())
        if sentence.width == self.levels[-1].width and not self._opens_item(sentence):
            what = f"The line is not indented, so it does not belong to `{_short(head)}` above it."
            instead = "Indent it, and every line of the block, by 4 spaces more."
            self._report(sentence.words[0][2], sentence.words[-1][3], what, instead)
            return
        self._report_empty(head, width)

    def _report_empty(self, head: str, width: int) -> None:
        line = self.before_line << 16
        what = f"Nothing stands under `{_short(head)}`: its block is missing."
        self._report(
            line | width + 1, line | width + 1 + len(head), what, "Write its lines below it, indented by 4 spaces."
        )

    def _opens_item(self, sentence: _Sentence) -> bool:
        heads = (*_HEAD_KINDS, "define", "group", "flag", "counter")
        return (sentence.width == 0 and sentence.words[0][1] in heads) or sentence.words[0][1] == "otherwise"

    @property
    def before_line(self) -> int:
        """The number of the line before, whose block is missing."""
        return max((line for line in self.code_ends if self.lines[line - 1] == self.before), default=1)

    def _empty_block(self, at: int) -> None:
        self._feed([("_INDENT", "", at, at), ("BROKEN", "", at, at), ("_NL", "", at, at), ("_DEDENT", "", at, at)])

    def _finish(self) -> None:
        at = (len(self.lines) or 1) << 16 | 1
        if self.tables.actions[self.states[-1]].keys() == {"_INDENT"}:
            self._report_empty(self.before.split("#")[0].strip().rstrip(":").strip(), _lead(self.before))
            self._empty_block(at)
        while len(self.levels) > 1:
            if self.levels.pop().block:
                self._feed([("_DEDENT", "", at, at)])

    # .. mistakes ..

    def _mend(self, sentence: _Sentence, before: _Snapshot) -> int:
        """Report a sentence that does not fit, put the broken sign in its place, return where to go on."""
        words = sentence.words
        self._restore(before)
        bad = self._feed([*words, ("_NL", "", words[-1][3], words[-1][3])]) or 0
        self._restore(before)
        self._feed(words[: max(bad - 1, 0)])
        as_name = self._read_as_name(words[bad - 1]) if bad else None
        self._feed(words[max(bad - 1, 0) : bad])
        expected = frozenset(
            name for name in self.tables.actions[self.states[-1]] if name.isupper() and self._accepts(name)
        )
        self._restore(before)
        at_fault = words[bad] if bad < len(words) else ("_NL", "", words[-1][3], words[-1][3])
        number = at_fault[2] >> 16
        last = sentence.last
        own_line = [word for word in words if word[2] >> 16 == number]
        if number > sentence.first and own_line and own_line[0][1] in self._first_words():
            comma = next(word for word in reversed(words) if word[2] >> 16 < number)
            what = "The comma at the end joins this line with the next one, and together they make no sentence."
            self._report(comma[2], comma[3], what, "Leave it out.")
            last = number - 1
        else:
            self._explain(number, at_fault, expected, as_name if number == sentence.first else None, sentence)
        self._broken(sentence, words[0][2], self.code_ends[sentence.first], last)
        self.before = self.lines[sentence.first - 1]
        return last

    def _read_as_name(self, word: _Token) -> tuple[int, int] | None:
        """Where a reserved word stands that can only be a name here."""
        reserved = self.tables.words.get(word[1])
        if reserved is None or reserved in self.tables.actions[self.states[-1]]:
            return None
        return (word[2] & 0xFFFF) - 1, (word[3] & 0xFFFF) - 1

    def _first_words(self) -> set[str]:
        row = self.tables.actions[self.states[-1]]
        return {text for text, kind in self.tables.words.items() if kind in row}

    def _explain(
        self,
        number: int,
        at_fault: _Token,
        expected: frozenset[str],
        as_name: tuple[int, int] | None,
        sentence: _Sentence,
    ) -> None:
        text = self.lines[number - 1]
        code_end = (self.code_ends[number] & 0xFFFF) - 1
        line = Line(
            code=text[:code_end],
            at=(at_fault[2] & 0xFFFF) - 1,
            end=(at_fault[3] & 0xFFFF) - 1,
            kind=at_fault[0],
            expected=expected,
            words=self.tables.words,
            item=self._item,
            depth=len(self.levels) - 1,
            before=self.before,
            continued=number > sentence.first,
            as_name=as_name,
        )
        mistake = explain(line)
        self._report(number << 16 | mistake.start + 1, number << 16 | mistake.end + 1, mistake.what, mistake.instead)

    @property
    def _item(self) -> str:
        """What the line stands in; what stands below `if broken` or `at closing` is as in a scene."""
        blocks = sum(level.block for level in self.levels)
        inside = self.item in ("rule", "day") and blocks > 2
        return "" if len(self.levels) == 1 else "scene" if inside else self.item

    def _broken(self, sentence: _Sentence, begin: int, end: int, last: int) -> None:
        """The broken sign, or a head that lets the lines of its block be read."""
        words = sentence.words
        deeper = self._line_below_is_deeper(sentence, last)
        if sum(level.block for level in self.levels) == 1 and deeper:
            self._broken_head(words, begin, end, last)
        elif deeper and words[0][1] == "by":
            self.invented.add(begin)
            self._feed([("NAME", "by", begin, end), ("NAME", "chance", end, end), ("_NL", "", end, end)])
        else:
            code = self.lines[(begin >> 16) - 1][: (end & 0xFFFF) - 1]
            name = given_name(code, in_block=len(self.levels) > 1)
            self._feed([("BROKEN", name, begin, end), ("_NL", "", end, end)])
            if deeper and words[0][1] == "manner":  # its lines are none of a scene's
                self.skip_above = sentence.width

    def _broken_head(self, words: list[_Token], begin: int, end: int, last: int) -> None:
        kind = self._kind_of_item(words, last)
        code = self.lines[(begin >> 16) - 1][: (end & 0xFFFF) - 1]
        name = repaired_name(code) if words[0][1] in _HEAD_KINDS else ""
        if not name:
            name = f"broken-{begin >> 16}"
            self.invented.add(begin)
        self.item = kind
        self._feed([("NAME", kind, begin, end), ("NAME", name, end, end), ("_NL", "", end, end)])

    def _kind_of_item(self, words: list[_Token], last: int) -> str:
        """What a broken first line was to begin: by a word in it, or by the lines below it."""
        named = next((text for _, text, _, _ in words if text in _HEAD_KINDS), None)
        if named:
            return named
        below = self._next(last)
        if below is not None and below.words[0][0] == "PERCENT":  # in a scene a level stands first only `by chance`
            return "manner"
        for line in self.lines[last:]:
            first = line.split(maxsplit=1)[:1]
            if first and line[0] not in " \t#":
                break
            kind = next((kind for kind, firsts in _LINES_OF.items() if first and first[0] in firsts), None)
            if kind:
                return kind
        return "scene"

    def _line_below_is_deeper(self, sentence: _Sentence, last: int) -> bool:
        below = self._next(last) if last < len(self.lines) else None
        return below is not None and below.width > sentence.width

    def _report(self, begin: int, end: int, what: str, instead: str) -> None:
        place = _place(self.file, begin, max(end, begin + 1))
        self.problems.setdefault(begin >> 16, Problem(place, what, instead))

    def _find_late_heads(self, node: Node) -> None:
        """A scene's head lines stand above its first statement."""
        for scene in node.nodes("scene"):
            started = False
            for part in scene.nodes():
                if part.kind not in _LATE_HEADS:
                    started = started or part.kind != "broken"  # a broken line may have been a head
                elif started:
                    head = _LATE_HEADS[part.kind]
                    what = (
                        f"`{head}` says how the scene runs; it stands above the scene's first line that does something."
                    )
                    begin = part.place.line << 16 | part.place.column
                    self._report(begin, begin + len(head), what, "Move it up, below the line with the scene's name.")

    # .. the tables at work ..

    def _snapshot(self) -> _Snapshot:
        return self.states[:], self.values[:], self.begins[:], self.ends[:]

    def _restore(self, kept: _Snapshot) -> None:
        self.states, self.values, self.begins, self.ends = (part[:] for part in kept)

    def _feed(self, words: list[_Token]) -> int | None:
        """Take words in; returns the number of the first one that does not fit, None if all do."""
        actions, rules, reserved, states = self.tables.actions, self.tables.rules, self.tables.words, self.states
        values, begins, ends = self.values, self.begins, self.ends
        for number, (kind, text, begin, end) in enumerate(words):
            row = actions[states[-1]]
            if kind == "NAME":
                word = reserved.get(text)
                if word is not None and word in row:
                    kind = word
            action = row.get(kind)
            while action is not None and action < 0:
                rule = rules[~action]
                if rule.passes:
                    states.pop()
                else:
                    self._put_together(rule)
                states.append(actions[states[-1]][rule.origin])
                action = actions[states[-1]].get(kind)
            if action is None:
                return number
            states.append(action)
            values.append(text)
            begins.append(begin)
            ends.append(end)
        return None

    def _put_together(self, rule: Rule) -> None:
        """Replace the last pieces by what they make. A part of a list stays nested until a node takes it in."""
        size, begins, ends, file = rule.size, self.begins, self.ends, self.file
        new = tuple.__new__  # a third of the time of calling the record by its name
        parts: list[Any] = []
        pieces = self.values[-size:] if size else []
        for number, word in rule.kept:
            piece = pieces[number]
            if word is not None:
                at = number - size
                begin, end = begins[at], ends[at]
                place = new(Place, (file, begin >> 16, begin & 0xFFFF, end >> 16, end & 0xFFFF))
                parts.append(new(Word, (word, piece, place)))
            elif type(piece) is list and rule.kind is not None:
                _flatten(piece, parts)
            else:
                parts.append(piece)
        begin, end = (begins[-size], ends[-1]) if size else (1 << 16 | 1, 1 << 16 | 1)
        value: Any = parts
        if len(parts) == 1 and (rule.lone or rule.kind is None):
            value = parts[0]
        elif rule.kind is not None:
            kind = rule.kind
            if self.invented and kind in _INVENTED_KINDS and begin in self.invented:
                kind = "broken"
            if kind == "broken":
                parts = _name_of_broken(parts)
            if end >> 16 != begin >> 16:
                end = self.code_ends.get(begin >> 16, end)
            place = new(Place, (file, begin >> 16, begin & 0xFFFF, end >> 16, end & 0xFFFF))
            value = new(Node, (kind, tuple(parts), place))
        if size:
            del self.values[-size:], begins[-size:], ends[-size:], self.states[-size:]
        self.values.append(value)
        begins.append(begin)
        ends.append(end)

    def _accepts(self, kind: str) -> bool:
        """Whether a word of this kind fits now, found without taking it in."""
        states = self.states[:]
        while True:
            action = self.tables.actions[states[-1]].get(kind)
            if action is None or action >= 0:
                return action is not None
            rule = self.tables.rules[~action]
            if rule.size:
                del states[-rule.size :]
            states.append(self.tables.actions[states[-1]][rule.origin])

    def _feed_end(self) -> Node:
        while self.states[-1] != self.tables.end:
            rule = self.tables.rules[~self.tables.actions[self.states[-1]]["$END"]]
            self._put_together(rule)
            self.states.append(self.tables.actions[self.states[-1]][rule.origin])
        node: Node = self.values[-1]
        return node


_INVENTED_KINDS = frozenset({*_HEAD_KINDS, "by_chance"})


def _place(file: str, begin: int, end: int) -> Place:
    return tuple.__new__(Place, (file, begin >> 16, begin & 0xFFFF, end >> 16, end & 0xFFFF))


def _name_of_broken(parts: list[Any]) -> list[Any]:
    """The parts of a broken node with the sign itself left out, but for the name that the line was to give."""
    named = [part._replace(kind="NAME") if part.kind == "BROKEN" else part for part in parts]
    return [part for part in named if part.kind != "NAME" or part.text]


def _flatten(nested: list[Any], into: list[Any]) -> None:
    """The parts of nested lists in order, without recursion: a long block nests as deep as it is long."""
    todo = [nested]
    found: list[Any] = []
    while todo:
        piece = todo.pop()
        if type(piece) is list:
            todo.extend(piece)
        else:
            found.append(piece)
    into.extend(reversed(found))


def _short(code: str) -> str:
    return code if len(code) <= 40 else code[:37].rstrip() + "..."


def _lead(line: str) -> int:
    return len(line) - len(line.lstrip())
