"""From a line that does not fit to one sentence about it and what to write instead. Knows no file and no tree.

The mistakes that people make are data (`scenes.mistake_table`); what is in no table is explained from what could
have stood there.
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import NamedTuple

from scenes.mistake_table import NAME, TABLE, Entry


class Line(NamedTuple):
    """A line that does not fit, and what is around it. `at` and `end` are where in `code` the reading stopped."""

    code: str  # as written, without comment and what follows it
    at: int
    end: int
    kind: str  # of what stands at `at`; _NL at the end of the line
    expected: frozenset[str]  # the kinds of words that could have stood there
    words: Mapping[str, str]  # reserved word -> its kind
    item: str = ""  # first word of the item around it; "" at the left edge
    depth: int = 0
    before: str = ""  # the line before
    continued: bool = False  # the line goes on with a sentence from the line before
    as_name: tuple[int, int] | None = None  # where the word before stands, if it is a reserved one read as a name


class Mistake(NamedTuple):
    """What is wrong, from `start` to `end` in the line's code."""

    start: int
    end: int
    what: str
    instead: str
    key: str = ""


_INSIDE = {"": "t", "scene": "s", "routine": "s", "rule": "r", "rehearsal": "h", "manner": "m", "day": "d"}
_TEXT = re.compile(r'"([^"]*)"')
_FIRST = re.compile(r"[A-Za-z]+")
_WORD = re.compile(r"[^\W_]+(?:[-_'][^\W_]+)*|\S")
_SPELLED = {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "o", "æ": "ae", "å": "a", "ł": "l"}
_MOST_OFFERED = 6
_LONGEST_MATCHED = 300  # characters: the patterns take a time that grows faster than the line


def explain(line: Line) -> Mistake:
    """The one sentence for a line."""
    lead = len(line.code) - len(line.code.lstrip())
    found = _in_table(line, lead) if len(line.code) - lead <= _LONGEST_MATCHED else None
    return found or _sign(line) or _first_word(line, lead) or _missing_name(line) or _fallback(line, lead)


def _in_table(line: Line, lead: int) -> Mistake | None:
    """The sentence of the first entry that fits. Patterns see single blanks and no text in quotation marks."""
    code = line.code[lead:]
    columns = [at for at, sign in enumerate(code) if sign != " " or code[at - 1 : at] != " "]
    squeezed = line._replace(code="".join(code[at] for at in columns), at=bisect_left(columns, line.at - lead))
    bare = _TEXT.sub(lambda found: '"' + "x" * len(found[1]) + '"', squeezed.code)
    inside = _INSIDE.get(line.item, "s")
    for entry in TABLE:
        if (entry.inside and inside not in entry.inside) or (entry.first and line.at > lead):
            continue
        found = re.search(entry.pattern, bare)
        if found and _fits(entry, found, squeezed):
            mistake = _from_table(entry, found, squeezed)
            start, end = columns[mistake.start], columns[mistake.end - 1] + 1
            return mistake._replace(start=lead + start, end=lead + end)
    return None


def _fits(entry: Entry, found: re.Match[str], line: Line) -> bool:
    """A pattern about what comes after a point counts only where the reading stopped within what it found."""
    return not entry.near or found.start() <= line.at <= found.end() + 1  # a blank may stand between


def _from_table(entry: Entry, found: re.Match[str], line: Line) -> Mistake:
    start, end = found.span("x") if "x" in found.re.groupindex else found.span()
    if start < 0:
        start, end = found.span()
    said = {"x": line.code[start:end], "before": line.before.strip(), "line": line.code}
    for name in found.re.groupindex:
        said.setdefault(name, "" if found.start(name) < 0 else line.code[found.start(name) : found.end(name)])
    instead = entry.instead(said) if callable(entry.instead) else entry.instead.format_map(said)
    return Mistake(start, end, entry.what.format_map(said), instead, entry.key)


# --- signs ---------------------------------------------------------------------------------------------------------


def plain_letters(text: str) -> str:
    """The text in the letters a to z, as near as can be: accents left out, ligatures and umlauts written out."""
    spelled = "".join(_SPELLED.get(sign, sign) for sign in text)
    return "".join(sign for sign in unicodedata.normalize("NFKD", spelled) if sign.isascii())


def as_name(text: str) -> str:
    """The nearest thing to a text that can be a name; "" if nothing of it can."""
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "-", text)
    parts = re.findall(r"[a-z0-9]+", plain_letters(spaced.lower()))
    name = "-".join(parts)
    return name if re.fullmatch(NAME, name) else ""


def repaired_name(code: str) -> str:
    """The name that a broken first line of a scene, routine, rule or rehearsal was to give."""
    rest = code.strip().rstrip(" :.").split(" ", 1)[1:]
    return as_name(re.split(" (?:with|like) ", rest[0])[0]) if rest else ""


_MEMBER = re.compile(r"^(?:for|foreach)\b(?: each| every| all| any)? *(?P<n>[^\s,:]+)")
_DEFINED = (
    re.compile(r"^(?!group|define)[A-Za-z]+ +(?P<n>.+?) *(?::|=| is\b|,? *kept| [0-9]|$)"),
    re.compile(r"^[A-Za-z]+ +(?P<n>[^:=,]+?) *(?::|=| as\b| is\b| are\b)"),
    re.compile(r"^[A-Za-z]+ +(?P<n>[^\s:=,]+)"),
)


def given_name(code: str, in_block: bool) -> str:
    """The name that a broken line was to give: a loop's member in a block, else what a definition defines."""
    patterns = (_MEMBER,) if in_block else _DEFINED
    found = next(filter(None, (pattern.search(code.strip()) for pattern in patterns)), None)
    return as_name(found["n"]) if found else ""


def _sign(line: Line) -> Mistake | None:
    """A sentence for a character that has no meaning anywhere, if the reading stopped at one."""
    if line.kind != "SIGN":
        return None
    sign = line.code[line.at : line.at + 1]
    for word in _WORD.finditer(line.code):
        if word.start() <= line.at < word.end() and sign.isalpha():
            name = as_name(word[0])
            instead = f"Write `{name}`." if name else "Write it in the letters a to z."
            what = f"`{word[0]}` has a letter outside a to z; names are written in small letters from a to z."
            return Mistake(word.start(), word.end(), what, instead, "letters")
    named = "" if sign.isascii() else f" ({unicodedata.name(sign, 'a rare sign').lower()})"
    what = f"The sign `{sign}`{named} has no meaning in a scene file."
    return Mistake(line.at, line.at + 1, what, "Leave it out, or put `#` before it if it begins a remark.", "sign")


# --- what is in no table -------------------------------------------------------------------------------------------

_SAID = {
    "NAME": "a name",
    "DURATION": "a time such as `3 s`",
    "PERCENT": "a level such as `40 %`",
    "ANGLE": "an angle such as `15 deg`",
    "RATE": "a rate such as `45 a minute`",
    "LENGTH": "a length such as `600 mm`",
    "SPEED": "a speed such as `150 mm/s`",
    "LUX": "an amount of light such as `20 lux`",
    "KELVIN": "a colour of light such as `2700 K`",
    "TIME": "a time of day such as `17:45`",
    "INTEGER": "a number",
    "TEXT": "words in quotation marks",
    "_COMMA": "a comma",
    "COLON": "a colon",
    "LPAR": "an opening bracket",
    "RPAR": "a closing bracket",
    "PLUS": "`+`",
    "MINUS": "`-`",
    "_NL": "the end of the line",
}
_AMOUNTS = frozenset({"DURATION", "PERCENT", "ANGLE", "RATE", "LENGTH", "SPEED", "LUX", "KELVIN", "TIME", "INTEGER"})
_STATEMENTS = (
    *("turn on", "turn off", "set", "fade", "move", "flash", "flicker", "show", "pulse", "wait", "repeat", "remember"),
    *("forget", "count", "reset", "do", "run", "start", "stop", "hold", "release", "note", "if", "together", "takes"),
    *("starts", "runs", "expect", "plays", "begins", "lasts", "seed", "never", "always", "whenever"),
)
_SILENT = frozenset({"_INDENT", "_DEDENT", "BROKEN", "$END"})
_CONNECTING = frozenset(
    """
    to over as of is are from for by at and or in with while until before within through than each like between
    becomes once only whenever then not
    """.split()  # noqa: SIM905 - words, not a list of signs
)
_FIRST_OFFERED = ("is", "are", "of", "to", "over", "from", "at", "by", "for")
_USUAL = {
    "s": "such as `turn on`, `set`, `fade`, `move`, `flash`, `wait`, `repeat` or `if`",
    "t": "`scene`, `routine`, `define`, `group`, `flag`, `counter`, `manner`, `rule`, `rehearsal` or `day`",
    "r": "such as `never`, `always`, or a condition",
    "h": "`begins`, `plays`, `a train`, `at`, `expect`, `seed` or `lasts`",
    "d": "`opens at`, `closes at`, `quiet from`, `at`, `every`, `after` or `at closing`",
    "m": "a level such as `70 % for 2 s`, `sways`, `like`, `pace` or `depth`",
}


def _first_word(line: Line, lead: int) -> Mistake | None:
    """A sentence for a line that begins with no known word."""
    if line.at != lead or line.kind != "NAME" or line.continued:
        return None
    word = line.code[line.at : line.end]
    firsts = [text for text, kind in line.words.items() if kind in line.expected]
    near = _near(word, firsts) if word not in line.words else None
    inside = _INSIDE.get(line.item, "s")
    if word in line.words:
        what = f"A line cannot begin with `{word}` here."
    else:
        what = f"`{word}` is no word that a line can begin with."
    usual = "Here a line begins with" if inside in "thmd" else "Begin the line with a word"
    instead = f"Did you mean `{near}`?" if near and near != word else f"{usual} {_USUAL[inside]}."
    return Mistake(line.at, line.end, what, instead, "first word")


def _near(word: str, known: list[str]) -> str | None:
    """A known word that a mistyped one must have been meant for; a far one would only mislead."""
    found = get_close_matches(word, known, n=1, cutoff=0.75)
    return found[0] if found and len(word) > 2 else None


def _missing_name(line: Line) -> Mistake | None:
    """A sentence for a connecting word that was read as a name, since none stands where one belongs."""
    if line.as_name is None:
        return None
    start, end = line.as_name
    word = line.code[start:end]
    if word not in _CONNECTING:
        return None
    what = f"`{word}` stands where a name or a state belongs."
    return Mistake(start, end, what, f"Write what is missing before `{word}`, or leave `{word}` out.", "missing name")


def _fallback(line: Line, lead: int) -> Mistake:
    """A sentence from what could have stood where the reading stopped."""
    ahead = line.code[lead : line.at].split()
    after = (
        " ".join(ahead[-2:]) if len(ahead) > 1 and ahead[-1] in ("on", "off", "of", "to", "at") else "".join(ahead[-1:])
    )
    here = line.code[line.at : line.end]
    offered = _offered(line.expected, line.words)
    near = _near(here, [text for text, kind in line.words.items() if kind in line.expected])
    if line.kind == "_NL" or not here:
        start = max(lead, line.at - len(ahead[-1])) if ahead else line.at
        what = f"The line ends too early: after `{after}` comes {offered}."
        return Mistake(start, line.at, what, "Write it, or leave out what it belongs to.", "too early")
    if line.expected <= {"_NL", "COLON"} | _SILENT:
        what = f"The sentence is complete before `{here}`."
        begins = any(text.split()[0] == here for text in _STATEMENTS)
        instead = f"Leave out `{here}`" + (", or begin a new line with it." if begins else " and what comes after it.")
        return Mistake(line.at, line.end, what, instead, "too late")
    before = f"after `{after}` comes" if after else "a line begins with"
    what = f"`{here}` does not fit here: {before} {offered}."
    instead = f"Did you mean `{near}`?" if near and near != here else ""
    if not instead and len(line.expected - _SILENT) == 1:
        (kind,) = line.expected - _SILENT
        amounts = kind in _AMOUNTS and here[0].isdigit()
        instead = f"Write that in place of `{here}`." if amounts else f"Write it before `{here}`."
    return Mistake(line.at, line.end, what, instead or "Write that, or leave out what is too much.", "misfit")


def _rank(kind: str, text: str) -> tuple[bool, bool, int, str]:
    common = _FIRST_OFFERED.index(text) if text in _FIRST_OFFERED else len(_FIRST_OFFERED)
    return kind == "_NL", kind not in _SAID, common, text or kind


def _offered(expected: Iterable[str], words: Mapping[str, str]) -> str:
    """What could have stood somewhere, in words: `a name, `until` or a time such as 3 s`."""
    texts = {kind: text for text, kind in words.items()}
    kinds = sorted(set(expected) - _SILENT, key=lambda kind: _rank(kind, texts.get(kind, "")))
    said = [_SAID.get(kind) or f"`{texts.get(kind, kind.lower())}`" for kind in kinds]
    if len(said) > _MOST_OFFERED:
        said = [*said[: _MOST_OFFERED - 1], "another word that belongs there"]
    return said[0] if len(said) == 1 else ", ".join(said[:-1]) + f" or {said[-1]}" if said else "nothing more"
