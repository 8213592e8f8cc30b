"""Manners and ways by name: those that Wayside brings, and those that a scene file makes with `manner NAME`.

Knows what a name may stand behind `like` of which line; knows nothing of outputs.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from scenes.names import Names, Refused, Scope, Sort, Symbol
from scenes.nodes import Word
from scenes.own_manners import MOST_LEGS as MOST_LEGS
from scenes.own_manners import Own, compiled

if TYPE_CHECKING:
    from engine.courses import Script
    from engine.curves import Profile
    from engine.flicker import Manner

MANNER_DEPTH = 10  # manners like manners like manners

_ARRIVALS = ("bouncing", "settling")
_IS = {
    "manner": "a manner of flickering",
    "way": "a way in which a lamp comes on",
    "course": "the course of a fade or a move",
    "arrival": "how a move arrives",
    "hours": "what daylight fades through",
}
_PROFILES_OR_NONE = "write `like even`, `like swaying` or `like ramped`, or leave `like` out"
# What a line is like, and what the name is instead: why it does not fit, what to write.
_MISFITS = {
    ("flickers like", "way"): ("no lamp flickers like it", "write `turn on ... like {}`"),
    ("flickers like", "course"): ("no lamp flickers like it", "write `fade ... to 60 % over 3 s like {}`"),
    ("comes on like", "course"): ("coming on takes no `over`", "write `fade ... to 100 % over 3 s like {}`"),
    ("goes off like", "course"): ("going off takes no `over`", "write `fade ... to 0 % over 3 s like {}`"),
    ("goes off like", "manner"): (
        "a lamp that goes off does not flicker",
        "write `turn off ...`, or a way such as `like filament`",
    ),
    ("fades like", "manner"): ("a fade comes to an end", "write `flicker ... like {} between 0 % and 60 %`"),
    ("moves like", "way"): ("a servo is no lamp", _PROFILES_OR_NONE),
    ("moves like", "manner"): ("a servo is no lamp", _PROFILES_OR_NONE),
    ("moves like", "arrival"): ("it stands behind a comma", "write `, {}` at the end of the line, without `like`"),
}

_NEVER_LIKE = {
    "arrival": ("only servos move", "leave `like` out"),
    "hours": ("nothing else does", "write `fade daylight through {} over 4 min`"),
}


class Way(NamedTuple):
    """A way in which a lamp comes on or goes off: one that Wayside brings, or the writer's own with its script."""

    name: str
    script: Script | None = None


def _brought() -> dict[str, Iterable[str]]:
    """Every name that Wayside itself brings, by what it is. `candle` is both a way and a manner."""
    from engine.curves import PROFILES
    from engine.daylight import COURSES
    from engine.manners import MANNERS
    from engine.ways import WAYS

    return {"way": WAYS, "manner": MANNERS, "course": PROFILES, "arrival": _ARRIVALS, "hours": COURSES}


def brought(name: str) -> str:
    """What Wayside itself brings under a name: "way", "manner", "course", "arrival", "hours"; "" for nothing."""
    return next((kind for kind, known in _brought().items() if name in known), "")


def every_brought() -> Iterable[str]:
    return (name for known in _brought().values() for name in known)


class Manners:
    """All that can stand behind `like`."""

    def __init__(self, names: Names) -> None:
        self.names = names
        self._own: dict[str, Own | None] = {}  # None: it could not be compiled, which was reported
        self._open: list[str] = []

    # --- by name ---------------------------------------------------------------------------------------------------

    def flicker(self, word: Word, scope: Scope) -> Manner:
        """What a lamp flickers like."""
        from engine.manners import MANNERS

        name = self._name(word, scope)
        own = self._find(name)
        if own is not None and own.script is not None and own.script.level:
            what = f"`{name}` has one level only, so a lamp would not flicker like it"
            raise self.names.refuse(word.place, what, f"give `{name}` a second level, such as `40 % for 2 s`", scope)
        if own is not None:
            return own.manner
        if name in MANNERS:
            return MANNERS[name]
        raise self._refused(word, name, MANNERS, "flickers like", scope)

    def coming(self, word: Word, scope: Scope, on: bool) -> Way | Manner:
        """How a lamp comes on or goes off: in a way, or in a manner in which it stays unsteady."""
        from engine.manners import MANNERS
        from engine.ways import WAYS

        name, does = self._name(word, scope), "comes on like" if on else "goes off like"
        own = self._find(name)
        if own is not None and own.script is None:
            if on:
                return own.manner
            raise self._misfit(word, name, "manner", does, scope)
        if own is not None:
            return Way(name, self._whole(word, name, own.script, on, scope))
        if name in WAYS:
            return Way(name)
        if name in MANNERS and on:
            return MANNERS[name]
        raise self._refused(word, name, WAYS, does, scope)

    def fading(self, word: Word, scope: Scope) -> Profile | Way:
        """How a fade goes: a profile, or a way of coming on squeezed into its time."""
        from engine.curves import PROFILES
        from engine.ways import WAYS

        name = self._name(word, scope)
        own = self._find(name)
        if own is not None and own.script is None:
            raise self._misfit(word, name, "manner", "fades like", scope)
        if own is not None:
            return Way(name, self._whole(word, name, own.script, True, scope))
        if name in PROFILES:
            return PROFILES[name]
        if name in WAYS:
            return Way(name)
        raise self._refused(word, name, (*PROFILES, *WAYS), "fades like", scope)

    def moving(self, word: Word, scope: Scope) -> Profile:
        from engine.curves import PROFILES

        name = self._name(word, scope)
        if name in PROFILES:
            return PROFILES[name]
        if self._find(name) is not None:
            raise self._misfit(word, name, "manner", "moves like", scope)
        raise self._refused(word, name, PROFILES, "moves like", scope)

    def _name(self, word: Word, scope: Scope) -> str:
        value = self.names.resolve(word, scope)
        if value.kind != "NAME":
            what = f"`{word.text}` stands for {value.text} here, and `like` needs a name such as `candle`"
            raise self.names.refuse(word.place, what, "", scope)
        return value.text

    # --- what does not fit -----------------------------------------------------------------------------------------

    def _refused(self, word: Word, name: str, known: Iterable[str], does: str, scope: Scope) -> Refused:
        kind = brought(name)
        if kind:
            return self._misfit(word, name, kind, does, scope)
        if name not in self.names.symbols and self.names.is_broken(name):
            return Refused()
        mine = [symbol.name for symbol in self.names.symbols.values() if symbol.sort is Sort.MANNER]
        other = self.names.symbols.get(name)
        what = f"nothing {does} `{name}`" + (f": it is {other.described}" if other else "")
        instead = self.names.near(name, (*known, *mine))
        if not instead:
            instead = f"write one of {', '.join(f'`{one}`' for one in known)}"
            instead += "" if other or does == "moves like" else f", or define `manner {name}`"
        return self.names.refuse(word.place, what, instead, scope)

    def _misfit(self, word: Word, name: str, kind: str, does: str, scope: Scope) -> Refused:
        """A name that belongs behind the `like` of another line."""
        why, instead = _MISFITS.get((does, kind)) or _NEVER_LIKE[kind]
        return self.names.refuse(word.place, f"`{name}` is {_IS[kind]}, and {why}", instead.format(name), scope)

    def _whole(self, word: Word, name: str, script: Script | None, on: bool, scope: Scope) -> Script:
        """A list of levels that brings a lamp all the way; for going off it is turned round."""
        from engine.courses import Script

        if script is None:
            raise Refused
        goal, last = (1.0 if on else 0.0), script.legs[-1].to
        if last != goal:
            does = "comes on" if on else "goes off"
            what = f"`{name}` ends at {last * 100:g} %, and a lamp that {does} like it must end at {goal * 100:g} %"
            raise self.names.refuse(word.place, what, f"let the last line of `{name}` say `{goal * 100:g} %`", scope)
        return script if on else Script.of(*(leg._replace(to=1.0 - leg.to) for leg in script.legs))

    # --- of the writer's own ---------------------------------------------------------------------------------------

    def define(self, name: str) -> None:
        """Compile a manner whether or not anybody asks for it."""
        symbol, kind = self.names.symbols[name], brought(name)
        if kind:
            self.names.used.add(name)
            what = f"`{name}` is a name that Wayside uses itself: {_IS[kind]}"
            self.names.report(symbol.place, what, f"choose another name, such as `own-{name}`")
        try:
            self._made(symbol)
        except Refused:
            return

    def own(self) -> dict[str, Manner]:
        """Those of the writer's own that could be compiled."""
        return {name: own.manner for name, own in self._own.items() if own is not None}

    def _find(self, name: str) -> Own | None:
        symbol = self.names.symbols.get(name)
        if symbol is None or symbol.sort is not Sort.MANNER:
            return None
        self.names.used.add(name)
        return self._made(symbol)

    def _made(self, symbol: Symbol) -> Own:
        name = symbol.name
        if name in self._open:
            chain = " > ".join([*self._open[self._open.index(name) :], name])
            what = f"the manner is like itself: {chain}"
            raise self.names.refuse(symbol.place, what, "begin with one that is known, such as `like candle`")
        if name not in self._own:
            if len(self._open) >= MANNER_DEPTH:
                what = f"manners are like manners more than {MANNER_DEPTH} deep"
                raise self.names.refuse(symbol.place, what, "name fewer steps")
            self._open.append(name)
            self._own[name] = None
            try:
                if symbol.node is not None:
                    self._own[name] = compiled(self.names, name, symbol.node, self.flicker)
            finally:
                self._open.pop()
        own = self._own[name]
        if own is None:
            raise Refused
        return own
