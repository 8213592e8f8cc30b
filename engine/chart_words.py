"""The notation in which charts write lights' characters: `Fl(2) W 10s` taken apart, or what is wrong with it.

Owns the words, old and new, and where each mistake stands. Knows nothing of how long a flash lasts.
"""

from __future__ import annotations

import re
from typing import NamedTuple, NoReturn

from engine.rhythms import MORSE, QUICK, Groups, seconds

TEXT = 80  # characters of a light's character
GROUPS = 4  # groups in one bracket
FLASHES = 20  # flashes of all groups together
LETTERS = 3  # Morse letters
COLOURS = 6  # colours of a light that changes colour
PERIOD_US = 120_000_000  # the longest period
DECIMALS = 3  # of a period in seconds

Span = tuple[int, int]  # column and end, from 0; the end is not included


class NotRead(ValueError):
    """The text is no light's character: what is wrong, what to write instead, and where (columns from 0)."""

    def __init__(self, what: str, instead: str, column: int, length: int) -> None:
        super().__init__(f"{what} {instead}")
        self.what, self.instead, self.column, self.length = what, instead, column, length


def refuse(what: str, instead: str, span: Span) -> NoReturn:
    raise NotRead(what, instead, span[0], max(1, span[1] - span[0]))


def written(text: str) -> Written:
    """The parts of a light's character. Raises NotRead."""
    parts = Reader(text).written()
    several = len(set(parts.colours)) > 1
    if parts.changes and not several:
        refuse("`Al` is a light that changes colour: it needs two or more.", "Write `Al WR 10s`.", parts.colours_span)
    if parts.changes and len(parts.colours) > COLOURS:
        refuse(f"A light changes between at most {COLOURS} colours.", "Write `Al WR 10s`.", parts.colours_span)
    if len(parts.colours) > 1 and not parts.changes:
        colours, one = "".join(parts.colours), parts.colours[0]
        head = f"Al {parts.rhythm}" if parts.rhythm in _CHANGING[1:] else "Al"
        what = f"`{colours}` is a light with sectors, which shows one colour to each side."
        instead = f"Write the one that is seen, `{one}`."
        if several:
            instead = f"Write the one that is seen, `{one}`; a light that changes colour is `{head} {colours} 15s`."
        refuse(what, instead, parts.colours_span)
    if parts.rhythm == "F" and not parts.changes and parts.period_us is not None:
        refuse("A fixed light has no period.", "Leave it out, or write `Fl` for flashes.", parts.period_span)
    return parts


# --- words ----------------------------------------------------------------------------------------------------------

_RHYTHMS = (
    "FLFl",
    "FFl",
    "LFl",
    "IVQ",
    "IUQ",
    "Iso",
    "Fl",
    "Oc",
    "VQ",
    "UQ",
    "IQ",
    "Mo",
    "Al",
    "F",
    "Q",
)  # longest first
_BY_LOWER = {name.lower(): name for name in _RHYTHMS}
_COLOURS = ("W", "R", "G", "Y", "Bu", "Vi", "Or", "Am")
_COLOUR = re.compile("Bu|Vi|Or|Am|[WRGY]", re.IGNORECASE)
_COLOUR_NAMES = {
    **dict(zip(("white", "red", "green", "yellow", "blue", "violet", "orange", "amber"), _COLOURS, strict=True)),
    **dict(zip(("wh", "b", "bl", "v", "o", "a"), ("W", "Bu", "Bu", "Vi", "Or", "Am"), strict=True)),
}
_OLD = {  # spellings of older charts, and words: what to write instead
    **dict.fromkeys(("gp", "grp", "group"), "Leave it out; the number in brackets says it: `Fl(2)`."),
    **dict.fromkeys(("occ", "occulting"), "Write `Oc`."),
    **dict.fromkeys(("qk", "qkfl", "quick"), "Write `Q`."),
    **dict.fromkeys(("vqk", "vqkfl", "very"), "Write `VQ`."),
    **dict.fromkeys(("uqk", "uqkfl", "ultra"), "Write `UQ`."),
    **dict.fromkeys(("int", "intqk", "intqkfl", "iqk", "interrupted", "i"), "Write `IQ`, or `IVQ` or `IUQ`."),
    **dict.fromkeys(("alt", "alternating"), "Write `Al`."),
    **dict.fromkeys(("fix", "fixed"), "Write `F`."),
    **dict.fromkeys(("isophase", "eint", "e"), "Write `Iso`."),
    **dict.fromkeys(("flash", "flashing", "fls", "flg"), "Write `Fl`."),
    **dict.fromkeys(("l", "long"), "Write `LFl` in one word."),
    **dict.fromkeys(("v", "u"), "Write `VQ` or `UQ` in one word."),
    **dict.fromkeys(("mor", "morse"), "Write `Mo(A)`."),
}
_SECONDS = ("s", "sec", "secs", "second", "seconds")
_GROUPED = ("Fl", "LFl", "Oc", "FFl", "FLFl", *QUICK)
_CHANGING = ("F", "Fl", "LFl", "Oc", "Iso", *QUICK)  # rhythms that `Al` is read with
_AS_ON_CHARTS = "Write it as on a chart, such as `Fl(2) W 10s`, `Oc R 6s`, `Iso 4s`, `Q(6)+LFl 15s` or `Al WR 10s`."
_LEAVE_OUT = "Leave heights and ranges out; the character ends with its period, such as `10s`."

_WORD = re.compile("[A-Za-z]+")
_NUMBER = re.compile("[0-9]+")
_DECIMAL = re.compile("([0-9]+)(?:[.,]([0-9]+))?")
_METRES = r"[0-9]+(?:[.,][0-9]+)?"
_HEIGHT = re.compile(rf"{_METRES}(?:\s*[-/]\s*{_METRES})*\s*[mM](?![A-Za-z])|{_METRES}\s*[-/]\s*{_METRES}")


def _rhythm_before_colours(word: str) -> str | None:
    """The rhythm of a word such as `FlW`, written as on charts."""
    for name in _RHYTHMS:
        rest = word[len(name) :]
        if word.startswith(name) and (_colours_of(rest, exact=True) or (name == "Al" and _rhythm_before_colours(rest))):
            return name
    return word if word in _RHYTHMS else None


def _colours_of(word: str, exact: bool = False) -> tuple[str, ...]:
    """`WR` as its colours; none if the word has anything else in it."""
    found = _COLOUR.findall(word)
    colours = tuple(letters.capitalize() for letters in found)
    whole = "".join(colours if exact else found) == word
    return colours if whole else ()


# --- reading --------------------------------------------------------------------------------------------------------


class Written(NamedTuple):
    """A character's parts as they were written; spans are (column, end)."""

    rhythm: str
    changes: bool  # whether it changes colour: `Al`
    groups: Groups
    letters: str
    long: bool  # whether `+LFl` follows
    colours: tuple[str, ...]
    colours_span: Span
    period_us: int | None
    period_span: Span

    @property
    def name(self) -> str:
        """The rhythm with its group, as charts write it."""
        group = self.letters or "+".join(map(str, self.groups))
        name = f"{self.rhythm}{f'({group})' if group else ''}{'+LFl' if self.long else ''}"
        if not self.changes:
            return name
        return "Al" if self.rhythm == "F" else f"Al {name}"


class Reader:
    """Reads one text from left to right; `at` is where it stands."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        if len(text) > TEXT:
            refuse(f"A light's character is at most {TEXT} letters and figures long.", _AS_ON_CHARTS, (TEXT, TEXT + 1))

    def written(self) -> Written:
        """All of it, from left to right."""
        rhythm, changes = self.first_rhythm(), False
        if rhythm == "Al":
            rhythm, changes = self.changing(), True
        letters = self.morse_letters() if rhythm == "Mo" else ""
        groups = () if letters else self.group(rhythm)
        rhythm, groups, long = self.joined(rhythm, groups, changes)
        colours, colours_span = self.colours(rhythm)
        period_us, period_span = self.period()
        self.nothing_more()
        return Written(rhythm, changes, groups, letters, long, colours, colours_span, period_us, period_span)

    def skip(self) -> None:
        """Over blanks, and over the full stops that older charts put behind letters and brackets."""
        while self.at < len(self.text):
            here, before = self.text[self.at], self.text[self.at - 1 : self.at]
            if not (here.isspace() or (here == "." and (before == ")" or (before.isascii() and before.isalpha())))):
                return
            self.at += 1

    def sees(self, sign: str) -> bool:
        self.skip()
        return self.text.startswith(sign, self.at)

    def word(self) -> tuple[str, Span]:
        """The letters that stand here, perhaps none; it does not go past them."""
        self.skip()
        found = _WORD.match(self.text, self.at)
        return (found[0], found.span()) if found else ("", (self.at, self.at + 1))

    # --- rhythm and group

    def rhythm(self) -> str | None:
        """Goes past a rhythm; None, and stays, if there is none."""
        word, span = self.word()
        name = _BY_LOWER.get(word.lower()) or _rhythm_before_colours(word)
        if name:
            self.at += len(name)
        elif word.lower() in _OLD:
            refuse(f"`{word}` is not how charts write it now.", _OLD[word.lower()], span)
        return name

    def first_rhythm(self) -> str:
        name = self.rhythm()
        if name:
            return name
        word, span = self.word()
        if _colours_of(word):
            refuse("The rhythm stands first, then the colour.", _AS_ON_CHARTS, span)
        if word:
            refuse(f"`{word}` is no rhythm of a light.", _AS_ON_CHARTS, span)
        refuse("A light's character begins with its rhythm.", _AS_ON_CHARTS, span)

    def changing(self) -> str:
        """What follows `Al`: a rhythm, or colours at once."""
        self.skip()
        start, name = self.at, self.rhythm()
        if name is None:
            return "F"
        if name == "F" or name not in _CHANGING:
            instead = "Write `Al WR 10s`, or `Al Fl WR 10s` for flashes in turn."
            refuse(f"`Al` is not read with `{name}`.", instead, (start, self.at))
        return name

    def morse_letters(self) -> str:
        instead = "Write them in brackets: `Mo(A) W 8s`."
        if not self.sees("("):
            refuse("`Mo` needs its Morse letters.", instead, (self.at, self.at + 1))
        start, end = self.at, self.text.find(")", self.at)
        if end < 0:
            refuse("This bracket is never closed.", instead, (start, start + 1))
        letters = self.text[start + 1 : end].strip().upper()
        wrong = next(
            (at for at in range(start + 1, end) if self.text[at].strip() and self.text[at].upper() not in MORSE), None
        )
        if wrong is not None or not 0 < len(letters) <= LETTERS or not all(letter in MORSE for letter in letters):
            at = start if wrong is None else wrong
            what = f"In these brackets stand one to {LETTERS} letters or figures."
            refuse(what, instead, (at, end + 1 if wrong is None else at + 1))
        self.at = end + 1
        return letters

    def group(self, rhythm: str) -> Groups:
        """`(2+1)` as (2, 1); () if there are no brackets."""
        if not self.sees("("):
            return ()
        start = self.at
        if rhythm not in _GROUPED:
            end = self.text.find(")", start) + 1 or start + 1
            refuse(f"`{rhythm}` has no groups.", "Leave the brackets out, or write `Fl(2) W 10s`.", (start, end))
        counts = [self.count()]
        while self.sees("+"):
            counts.append(self.count())
        if not self.sees(")"):
            what, at = "This bracket is never closed.", start
            if self.at < len(self.text):
                what, at = "Only numbers joined by `+` stand in these brackets.", self.at
            refuse(what, f"Write `{rhythm}(2)` or `{rhythm}(2+1)`.", (at, at + 1))
        self.at += 1
        self.fair(rhythm, tuple(counts), (start, self.at))
        return tuple(counts)

    def count(self) -> int:
        """Goes past the bracket or plus that stands here, and the number behind it."""
        self.at += 1
        self.skip()
        found = _NUMBER.match(self.text, self.at)
        if not found:
            refuse("Here stands how many flashes a group has.", "Write `Fl(2)` or `Fl(2+1)`.", (self.at, self.at + 1))
        self.at = found.end()
        if not 0 < int(found[0]) <= FLASHES:
            refuse(f"A group has 1 to {FLASHES} flashes.", "Write `Fl(2)` or `Fl(2+1)`.", found.span())
        return int(found[0])

    def fair(self, rhythm: str, groups: Groups, span: Span) -> None:
        size = len(groups)
        if groups == (1,):
            refuse("A group of one needs no brackets.", f"Write `{'Fl' if rhythm in QUICK else rhythm}`.", span)
        if size > GROUPS or sum(groups) > FLASHES:
            what = f"At most {GROUPS} groups and {FLASHES} flashes make a character."
            refuse(what, "Write fewer, such as `Fl(2+1)`.", span)
        if any(size % part == 0 and groups == groups[:part] * (size // part) for part in range(1, size)):
            one = f"`{rhythm}({groups[0]})`" if len(set(groups)) == 1 else "them once"
            refuse("These groups only repeat themselves.", f"Write {one}, and the period of one round.", span)

    def joined(self, rhythm: str, groups: Groups, changes: bool) -> tuple[str, Groups, bool]:
        """What follows a `+`: `F+Fl` is another way to write `FFl`; a long flash may end a group."""
        if not self.sees("+"):
            return rhythm, groups, False
        plus = self.at
        self.at += 1
        second = self.rhythm()
        if rhythm == "F" and second in ("Fl", "LFl") and not changes:
            return f"F{second}", self.group(f"F{second}"), False
        if changes or second != "LFl" or len(groups) > 1 or rhythm not in ("Fl", *QUICK):
            instead = "Write `Q(6)+LFl 15s`, `Fl(2)+LFl 15s`, `F+Fl 10s`, or one rhythm."
            refuse("These are not joined by `+`.", instead, (plus, max(plus + 1, self.at)))
        if rhythm in QUICK and not groups:
            instead = f"Write how many, such as `{rhythm}(6)+LFl`."
            refuse(f"`{rhythm}` flashes without a break, so no long flash can follow.", instead, (plus, self.at))
        return rhythm, groups, True

    # --- colours and period

    def colours(self, rhythm: str) -> tuple[tuple[str, ...], Span]:
        self.skip()
        start = end = self.at
        found: tuple[str, ...] = ()
        while True:
            word, span = self.word()
            if not word:
                break
            colours = _colours_of(word)
            if not colours:
                self.refuse_word(rhythm, word, span)
            found, end = found + colours, span[1]
            self.at = end
        if self.text[self.at : self.at + 1] in ("(", "+"):
            what = "Groups and what is joined to them stand right behind the rhythm."
            refuse(what, "Write `Fl(2) W 10s` or `Q(6)+LFl W 15s`.", (self.at, self.at + 1))
        return found, (start, end)

    def refuse_word(self, rhythm: str, word: str, span: Span) -> NoReturn:
        known, name = _BY_LOWER.get(word.lower()) or _rhythm_before_colours(word), _COLOUR_NAMES.get(word.lower())
        if name:
            refuse(f"`{word}` is not how charts write a colour.", f"Write `{name}`.", span)
        if known == "Al":
            refuse("`Al` stands first.", "Write `Al Fl WR 10s`.", span)
        if rhythm == "F" and known in ("Fl", "LFl"):
            refuse("A fixed and flashing light is written in one word.", f"Write `F{known}`.", span)
        if known or word.lower() in _OLD:
            instead = "Write one rhythm, such as `Fl(2) W 10s`, or `Q(6)+LFl W 15s`."
            refuse("Here is a second rhythm.", instead, span)
        colours = "Colours are W, R, G, Y, Bu, Vi, Or and Am; then comes the period, such as `10s`."
        refuse(f"`{word}` means nothing in a light's character.", colours, span)

    def period(self) -> tuple[int | None, Span]:
        """In microseconds; None if no number stands here."""
        self.skip()
        height = _HEIGHT.match(self.text, self.at)
        if height:
            refuse(f"`{height[0]}` is a height or a range.", _LEAVE_OUT, height.span())
        found = _DECIMAL.match(self.text, self.at)
        if not found:
            return None, (self.at, self.at)
        self.at = found.end()
        unit, unit_span = self.word()
        if not unit:
            refuse(f"{found[0]} of what?", f"Write seconds: `{found[0]}s`.", found.span())
        if unit.lower() not in _SECONDS:
            refuse("A period is told in seconds.", "Write it such as `10s`.", (found.start(), unit_span[1]))
        self.at = unit_span[1]
        return self.exact(found[1], found[2] or "", (found.start(), self.at)), (found.start(), self.at)

    def exact(self, whole: str, decimals: str, span: Span) -> int:
        if len(decimals) > DECIMALS:
            refuse(f"A period has at most {DECIMALS} decimals.", "Write it such as `7.5s`.", span)
        period_us = int(whole) * 1_000_000 + int(decimals.ljust(6, "0"))
        if not 0 < period_us <= PERIOD_US:
            what = f"A period is longer than nothing and at most {seconds(PERIOD_US)}."
            refuse(what, "Write it such as `10s`.", span)
        return period_us

    def nothing_more(self) -> None:
        self.skip()
        if self.at == len(self.text):
            return
        height, (word, span) = _HEIGHT.match(self.text, self.at), self.word()
        if height:
            refuse(f"`{height[0]}` is a height or a range.", _LEAVE_OUT, height.span())
        if _colours_of(word):
            refuse("The colour stands before the period.", f"Write `Fl {word} 10s`.", span)
        if word or _NUMBER.match(self.text, self.at):
            refuse("Nothing stands behind the period.", "Leave it out.", (self.at, max(span[1], self.at + 1)))
        sign = self.text[self.at]
        shown = f"`{sign}`" if sign.isprintable() else "This sign"
        refuse(f"{shown} means nothing in a light's character.", _AS_ON_CHARTS, span)
