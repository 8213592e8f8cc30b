"""Who is called what: the table of all names, groups written out, and the scope of variables and parameters.

Everything that the compiler reports goes through here, so that one cause is told once. Knows no statement.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import TypeVar

from engine.layout import DAYLIGHT, NOWHERE, Kind, Layout, Output, Place, Setting
from scenes import quantities
from scenes.nodes import Node, Word
from scenes.problems import Problem, nearest

NAMES = 100_000  # names in all the files of a layout together
GROUP_SIZE = 2_000  # members of one group, written out
GROUP_DEPTH = 30  # groups within groups
SUGGESTIONS = 100  # searches for a near name; a file with more unknown names has another trouble


class Sort(Enum):
    """What a name can stand for."""

    OUTPUT = "an output"
    DETECTOR = "a detector"
    BUTTON = "a button"
    TRACK = "a track"
    LINK = "a link"
    GROUP = "a group"
    DEFINE = "a condition"
    FLAG = "a flag"
    COUNTER = "a counter"
    SCENE = "a scene"
    ROUTINE = "a routine"
    MANNER = "a manner"


DEFINED = frozenset({Sort.GROUP, Sort.DEFINE, Sort.FLAG, Sort.COUNTER, Sort.ROUTINE, Sort.MANNER})


@dataclass(frozen=True, slots=True)
class Symbol:
    """One name. `node` is its definition where a scene file makes it."""

    name: str
    sort: Sort
    place: Place = NOWHERE
    node: Node | None = None
    output: Output | None = None

    @property
    def described(self) -> str:
        if self.name == DAYLIGHT:
            return "the light outdoors"
        return f"a {self.output.kind.value}" if self.output else self.sort.value


@dataclass(frozen=True, slots=True)
class Scope:
    """Where a line stands: its variables, and what tells its draws from those of every other line."""

    words: Mapping[str, Word] = field(default_factory=dict)
    path: tuple[str, ...] = ()
    first_line: int = 1
    calls: tuple[tuple[str, Place], ...] = ()
    in_repeat: bool = False
    depth: int = 0

    def deeper(self, **changes: object) -> Scope:
        return replace(self, depth=self.depth + 1, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Doubts:
    """What a layout file with errors fails to say: nothing is reported that may only follow from it.

    `names` are those of entries that have an error, and are not in the layout; `any_name` if others may be missing.
    """

    names: frozenset[str] = frozenset()
    any_name: bool = False


T = TypeVar("T")
NO_DOUBTS = Doubts()
OPEN = Scope()


class Refused(Exception):
    """This line cannot be compiled, and that has been reported."""


class Names:
    """All names of a layout and its scene files, and the list of problems."""

    def __init__(self, layout: Layout, doubts: Doubts = NO_DOUBTS) -> None:
        self.layout = layout
        self.doubts = doubts
        self.problems: list[Problem] = []
        self.symbols: dict[str, Symbol] = {}
        self.used: set[str] = set()
        self.something_broken = False  # a line could not be read: what follows from that is not reported
        self.item_broken = doubts.any_name  # a definition without a readable name: any unknown name may be its
        self.broken: set[str] = set()  # names that a line which could not be read would have given
        self._told: set[tuple[Place, bool]] = set()
        self._groups: dict[str, tuple[Symbol, ...]] = {}
        self._open_groups: list[str] = []
        self._searches = 0
        self._full = False
        self.short_group = False  # a group has lost a member, so its number says nothing
        for output in layout.outputs.values():
            self.symbols[output.name] = Symbol(output.name, Sort.OUTPUT, output.place, output=output)
        for sort, things in (
            (Sort.DETECTOR, layout.detectors),
            (Sort.BUTTON, layout.buttons),
            (Sort.TRACK, layout.tracks),
            (Sort.LINK, layout.links),
        ):
            for name, thing in things.items():
                self.symbols.setdefault(name, Symbol(name, sort, thing.place))
        self._states = {word for output in layout.outputs.values() for word in own_words(output)}

    # --- reporting -------------------------------------------------------------------------------------------------

    def report(self, place: Place, what: str, instead: str = "", scope: Scope = OPEN, advice: bool = False) -> None:
        """Note a problem; a second one at the same place follows from the first or from writing it out again."""
        if (place, advice) in self._told:
            return
        self._told.add((place, advice))
        also = tuple((call, f"`{name}` is done here") for name, call in scope.calls[-1:])
        self.problems.append(Problem(place, sentence(what), sentence(instead), advice, also))

    def refuse(self, place: Place, what: str, instead: str = "", scope: Scope = OPEN) -> Refused:
        self.report(place, what, instead, scope)
        return Refused()

    # --- definitions -----------------------------------------------------------------------------------------------

    def add(self, sort: Sort, word: Word, node: Node) -> bool:
        """Take in a name that a scene file makes. False if it is taken; both places are told."""
        before = self.symbols.get(word.text) or self._daylight(word.text)
        if before is not None:
            first = before.described if before.sort is Sort.OUTPUT else before.sort.value
            also = ((before.place, "first named here"),) if before.place != NOWHERE else ()
            self.problems.append(
                Problem(word.place, f"`{word.text}` is already the name of {first}.", "Choose another name.", also=also)
            )
            return False
        if len(self.symbols) >= NAMES:
            if not self._full:
                self.report(word.place, f"there are more than {NAMES:,} names", "split the layout into several")
            self._full = True
            self.item_broken = True
            return False
        self.symbols[word.text] = Symbol(word.text, sort, word.place, node)
        return True

    def bind(self, scope: Scope, variable: Word, value: Word) -> Mapping[str, Word]:
        """The scope's words with one more; a variable that hides a name is reported."""
        known = self.symbols.get(variable.text)
        if known is not None:
            self.report(variable.place, f"`{variable.text}` is already the name of {known.described}", "choose another")
        elif variable.text in scope.words:
            self.report(variable.place, f"`{variable.text}` already stands for something here", "choose another")
        return {**scope.words, variable.text: value}

    # --- looking up ------------------------------------------------------------------------------------------------

    def resolve(self, word: Word, scope: Scope) -> Word:
        """What a word stands for: a variable's or parameter's value, or itself; at the place of use."""
        if word.kind != "NAME" or word.text not in scope.words:
            return word
        value = scope.words[word.text]
        return Word(value.kind, value.text, word.place)

    def look_up(self, word: Word, scope: Scope, *sorts: Sort, need: str = "") -> Symbol | None:
        """The symbol that a word names, or None after reporting that it is unknown or of the wrong sort."""
        value = self.resolve(word, scope)
        wanted = need or _list_sorts(sorts)
        if value.kind != "NAME":
            self.report(word.place, f"`{word.text}` stands for {value.text} here, and this needs {wanted}", "", scope)
            return None
        symbol = self.symbols.get(value.text) or self._daylight(value.text)
        if symbol is None:
            self.unknown(value, wanted, (s.name for s in self.symbols.values() if not sorts or s.sort in sorts), scope)
            return None
        self.used.add(symbol.name)
        if sorts and symbol.sort not in sorts:
            what = f"`{symbol.name}` is {symbol.described}, and this needs {wanted}"
            self.report(word.place, what, self._of_sort(symbol.name, sorts), scope)
            return None
        return symbol

    def _daylight(self, text: str) -> Symbol | None:
        """Every layout has daylight; it stands in the layout only where somebody speaks of it."""
        if text != DAYLIGHT:
            return None
        output = Output(DAYLIGHT, Kind.DAYLIGHT, Setting(self.layout.daylight_lux))
        self.layout = replace(self.layout, outputs={**self.layout.outputs, DAYLIGHT: output})
        self.symbols[DAYLIGHT] = symbol = Symbol(DAYLIGHT, Sort.OUTPUT, output=output)
        return symbol

    def unknown(self, word: Word, wanted: str, known: Iterable[str], scope: Scope = OPEN) -> None:
        """Report an unknown name with the nearest known one, unless a broken definition may have been its."""
        if self.is_broken(word.text):
            return
        near = self.near(word.text, (*known, *self.doubts.names))
        if word.text == "everything":
            near = "only `hold` and `release` take `everything`: name the outputs, or a group of them"
        if word.text == "broken":
            near = "only a rule says `if broken`, below its lines"
        self.report(word.place, f"there is {_none(wanted)} called `{word.text}`", near, scope)

    def is_broken(self, text: str) -> bool:
        """Whether an unknown name may be that of a definition that could not be read.

        Of such a line its beginning is known: `reds-red-left` for `group reds red-left`.
        """
        if self.item_broken or text in self.doubts.names:
            return True
        return any(name == text or name.startswith(f"{text}-") for name in self.broken)

    def lacks(self, word: Word) -> bool:
        """Whether a word is a name that something broken would have given."""
        return word.text not in self.symbols and self.is_broken(word.text)

    def near(self, text: str, known: Iterable[str]) -> str:
        self._searches += 1
        found = nearest(text, known) if self._searches <= SUGGESTIONS else None
        return f"did you mean `{found}`?" if found else ""

    def exists(self, word: Word) -> bool:
        """Whether a name means anything at all: also as a position or an aspect."""
        if word.text in self.symbols:
            self.used.add(word.text)
            return True
        return word.text in self._states or self.is_broken(word.text) or bool(self.doubts.names)

    def every_name(self) -> Iterable[str]:
        return (*self.symbols, *self._states)

    def _of_sort(self, text: str, sorts: tuple[Sort, ...]) -> str:
        return self.near(text, (s.name for s in self.symbols.values() if s.sort in sorts))

    # --- groups ----------------------------------------------------------------------------------------------------

    def members(self, words: Iterable[Word], scope: Scope, *sorts: Sort, need: str = "") -> list[tuple[Word, Symbol]]:
        """Names with groups written out, each member once, in the order written, beside the word that named it."""
        found: dict[str, tuple[Word, Symbol]] = {}
        for word in words:
            symbol = self.look_up(word, scope, *sorts, Sort.GROUP, need=need or _list_sorts((*sorts, Sort.GROUP)))
            if symbol is None:
                continue
            for member in self.group(symbol) if symbol.sort is Sort.GROUP else (symbol,):
                if sorts and member.sort not in sorts:
                    what = f"`{member.name}` in `{symbol.name}` is {member.described}"
                    self.report(word.place, f"{what}, and this needs {need or _list_sorts(sorts)}", "", scope)
                    continue
                found.setdefault(member.name, (word, member))
        return list(found.values())

    def group(self, symbol: Symbol) -> tuple[Symbol, ...]:
        """A group's members, groups within it written out."""
        known = self._groups.get(symbol.name)
        if known is not None or symbol.node is None:
            return known or ()
        if symbol.name in self._open_groups:
            chain = [*self._open_groups[self._open_groups.index(symbol.name) :], symbol.name]
            self.report(symbol.place, f"the group contains itself: {' > '.join(chain)}", "take one of them out")
            return ()
        if len(self._open_groups) >= GROUP_DEPTH:
            self.report(symbol.place, f"groups stand within groups more than {GROUP_DEPTH} deep", "name fewer steps")
            return ()
        self._open_groups.append(symbol.name)
        names = symbol.node.node("names")
        words = names.words() if names else []
        members = self.members(words, OPEN, Sort.OUTPUT, Sort.DETECTOR)
        self.short_group = self.short_group or any(word.text not in self.symbols for word in words)
        self._open_groups.pop()
        if len(members) > GROUP_SIZE:
            self.report(symbol.place, f"the group has {len(members):,} members", f"at most {GROUP_SIZE:,} fit in one")
        self._groups[symbol.name] = tuple(member for _, member in members[:GROUP_SIZE])
        return self._groups[symbol.name]

    # --- quantities ------------------------------------------------------------------------------------------------

    def value(self, word: Word, scope: Scope, kind: str) -> Word:
        """A quantity of one kind, written here or given as a parameter. Raises `Refused` after reporting."""
        value = self.resolve(word, scope)
        if value.kind == kind:
            return value
        if value.kind == "NAME":
            known = self.symbols.get(value.text)
            if known is None and self.is_broken(value.text):
                raise Refused
            what = f"`{value.text}` is {known.described}" if known else f"nothing here is called `{value.text}`"
            figure = quantities.NUMBER_WORDS.get(value.text) if kind == "INTEGER" else None
            near = f"write `{figure} times`" if figure else self.near(value.text, scope.words)
            raise self.refuse(word.place, f"{what}, and this needs {quantities.KINDS[kind]}", near, scope)
        what = f"`{word.text}` stands for {value.text}" if word.kind == "NAME" else f"`{word.text}` stands here"
        raise self.refuse(word.place, f"{what}, and this needs {quantities.KINDS[kind]}", "", scope)

    def duration(self, word: Word, scope: Scope = OPEN) -> int:
        return self.quantity(word, scope, "DURATION", quantities.duration_us)

    def quantity(self, word: Word, scope: Scope, kind: str, read: Callable[[Word], T]) -> T:
        """Read a quantity; one that cannot be meant is reported and raises `Refused`."""
        value = self.value(word, scope, kind)
        try:
            return read(value)
        except quantities.OutOfRange as error:
            raise self.refuse(word.place, str(error), error.instead, scope) from error


def sentence(text: str) -> str:
    """A message as a whole sentence: a capital at the beginning, a stop at the end."""
    return text and text[0].upper() + text[1:] + ("" if text[-1] in ".?!" else ".")


def own_words(output: Output) -> list[str]:
    """The names of an output's own positions and aspects."""
    return [*(one.name for one in output.positions), *(one.name for one in output.aspects)]


def _list_sorts(sorts: tuple[Sort, ...]) -> str:
    words = [sort.value for sort in sorts] or ["a name"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _none(wanted: str) -> str:
    """`an output or a group` -> `no output or group`; `something to ask about` -> `nothing to ask about`."""
    if wanted.startswith("something"):
        return "no" + wanted.removeprefix("some")
    return "no " + " ".join(word for word in wanted.split() if word not in ("a", "an"))
