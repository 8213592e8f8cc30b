"""Manners and ways by name: those that Wayside brings, and those that a scene file makes with `manner NAME`.

Knows what a name may stand behind `like` of which line; knows nothing of outputs.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from scenes import quantities
from scenes.names import OPEN, Names, Refused, Scope, Sort, Symbol
from scenes.nodes import Node, Word

if TYPE_CHECKING:
    from engine.curves import Profile
    from engine.flicker import Manner

    from engine.courses import Script

MOST_LEGS = 100  # lines of a manner that is a list of levels
MANNER_DEPTH = 10  # manners like manners like manners


class Way(NamedTuple):
    """A way in which a lamp comes on or goes off: one that Wayside brings, or the writer's own with its script."""

    name: str
    script: Script | None = None


class Own(NamedTuple):
    """A manner of the writer's own. `script`: it is a list of levels, so that a lamp can also come on like it."""

    manner: Manner
    script: Script | None


class Manners:
    """All that can stand behind `like`."""

    def __init__(self, names: Names) -> None:
        self.names = names
        self._own: dict[str, Own] = {}
        self._open: list[str] = []

    # --- by name ---------------------------------------------------------------------------------------------------

    def flicker(self, word: Word, scope: Scope) -> Manner:
        """What a lamp flickers like."""
        from engine.manners import MANNERS
        from engine.ways import WAYS

        name = self.names.resolve(word, scope).text
        own = self._find(name)
        if own is not None:
            return own.manner
        if name in MANNERS:
            return MANNERS[name]
        if name in WAYS:
            what = f"`{name}` is a way in which a lamp comes on, not one in which it flickers"
            raise self.names.refuse(word.place, what, f"write `turn on ... like {name}`", scope)
        raise self._unknown(word, name, MANNERS, "flickers like", scope)

    def coming(self, word: Word, scope: Scope, on: bool) -> Way | Manner:
        """How a lamp comes on or goes off: in a way, or in a manner in which it stays unsteady."""
        from engine.manners import MANNERS
        from engine.ways import WAYS

        name = self.names.resolve(word, scope).text
        own = self._find(name)
        if own is not None:
            return Way(name, self._whole(word, own, on, scope))
        if name in WAYS:
            return Way(name)
        if name in MANNERS:
            if on:
                return MANNERS[name]
            what = f"`{name}` is a manner of flickering, and a lamp that goes off does not flicker"
            raise self.names.refuse(word.place, what, "write `turn off ...`, or a way such as `like filament`", scope)
        known = (*WAYS, *MANNERS) if on else WAYS
        raise self._unknown(word, name, known, "comes on like" if on else "goes off like", scope)

    def fading(self, word: Word, scope: Scope) -> Profile | Way:
        """How a fade goes: a profile, or a way of coming on squeezed into its time."""
        from engine.curves import PROFILES
        from engine.ways import WAYS

        name = self.names.resolve(word, scope).text
        own = self._find(name)
        if own is not None:
            return Way(name, self._whole(word, own, True, scope))
        if name in PROFILES:
            return PROFILES[name]
        if name in WAYS:
            return Way(name)
        raise self._unknown(word, name, (*PROFILES, *WAYS), "fades like", scope)

    def moving(self, word: Word, scope: Scope) -> Profile:
        from engine.curves import PROFILES

        name = self.names.resolve(word, scope).text
        if name not in PROFILES:
            raise self._unknown(word, name, PROFILES, "moves like", scope)
        return PROFILES[name]

    def _unknown(self, word: Word, name: str, known: Iterable[str], does: str, scope: Scope) -> Refused:
        if self.names.is_broken(name):
            return Refused()
        mine = [symbol.name for symbol in self.names.symbols.values() if symbol.sort is Sort.MANNER]
        listed = ", ".join(f"`{one}`" for one in known)
        near = self.names.near(name, (*known, *mine)) or f"write one of {listed}, or define `manner {name}`"
        return self.names.refuse(word.place, f"nothing {does} `{name}`", near, scope)

    def _whole(self, word: Word, own: Own, on: bool, scope: Scope) -> Script:
        """A list of levels that brings a lamp all the way; for going off it is turned round."""
        from engine.courses import Script

        goal = 1.0 if on else 0.0
        if own.script is None or own.script.legs[-1].to != goal:
            end = "100 %" if on else "0 %"
            what = f"a lamp can come on or go off like `{word.text}` only if it is a list of levels that ends at {end}"
            raise self.names.refuse(word.place, what, f"let its last line say `{end}`", scope)
        return own.script if on else Script.of(*(leg._replace(to=1.0 - leg.to) for leg in own.script.legs))

    # --- of the writer's own ---------------------------------------------------------------------------------------

    def define(self, name: str) -> None:
        """Compile a manner whether or not anybody asks for it."""
        try:
            self._made(self.names.symbols[name])
        except Refused:
            return

    def own(self) -> dict[str, Manner]:
        """Those of the writer's own that could be compiled."""
        return {name: own.manner for name, own in self._own.items()}

    def _find(self, name: str) -> Own | None:
        symbol = self.names.symbols.get(name)
        if symbol is None or symbol.sort is not Sort.MANNER:
            return None
        self.names.used.add(name)
        return self._made(symbol)

    def _made(self, symbol: Symbol) -> Own:
        known = self._own.get(symbol.name)
        if known is not None:
            return known
        if symbol.name in self._open or len(self._open) >= MANNER_DEPTH or symbol.node is None:
            chain = " > ".join([*self._open, symbol.name])
            raise self.names.refuse(symbol.place, f"the manner is like itself: {chain}", "begin with one that is known")
        self._open.append(symbol.name)
        try:
            own = self._own[symbol.name] = self._compiled(symbol.name, symbol.node)
        finally:
            self._open.pop()
        return own

    def _compiled(self, name: str, node: Node) -> Own:
        lines = {kind: list(node.nodes(kind)) for kind in ("leg", "sways", "varied")}
        given = [kind for kind, found in lines.items() if found]
        if not given:
            if any(node.nodes("broken")):
                raise Refused
            what = f"`{name}` has neither levels nor a manner that it is like"
            raise self.names.refuse(node.place, what, "write lines such as `70 % for 2 s`, or `like candle`")
        if len(given) > 1:
            second = min((lines[kind][0] for kind in given), key=lambda one: -one.place.line)
            what = "a manner is a list of levels, or it sways, or it is like another: one of the three"
            raise self.names.refuse(second.place, what, "make two manners of it")
        own = {"leg": self._listed, "sways": self._swaying, "varied": self._like}[given[0]](name, lines[given[0]])
        return self._varied(name, node, own)

    def _listed(self, name: str, lines: list[Node]) -> Own:
        from engine.flicker import Listed

        from engine.courses import Ease, Leg, Script

        if len(lines) > MOST_LEGS:
            what = f"a manner has at most {MOST_LEGS} levels"
            raise self.names.refuse(lines[MOST_LEGS].place, what, "make it shorter; it is run over and over")
        legs = []
        for line in lines:
            word, part = line.word("PERCENT"), line.node("for", "over")
            time = part.word("DURATION", "NAME") if part else None
            if word is None or part is None or time is None:
                raise Refused
            us = self.names.duration(time)
            if us == 0:
                raise self.names.refuse(
                    part.place, "a level that lasts no time is not seen", "write a time such as `2 s`"
                )
            level = float(self.names.quantity(word, OPEN, "PERCENT", quantities.share))
            legs.append(Leg(us, level, Ease.HOLD if part.kind == "for" else Ease.EVEN))
        script = Script.of(*legs)
        return Own(Listed(name, script), script)

    def _swaying(self, name: str, lines: list[Node]) -> Own:
        from engine.flicker import OCTAVES, RATES, Octave, Swaying

        if len(lines) > OCTAVES:
            what = f"a manner sways in at most {OCTAVES} ways at once"
            raise self.names.refuse(lines[OCTAVES].place, what, "take one out: nobody could tell them apart")
        octaves = []
        for line in lines:
            rate, by = line.word("RATE"), line.word("PERCENT")
            if rate is None:
                raise Refused
            a_minute = self.names.quantity(rate, OPEN, "RATE", quantities.rate_per_min)
            weight = float(self.names.quantity(by, OPEN, "PERCENT", quantities.share)) if by else 1.0
            if not RATES[0] <= a_minute / 60 <= RATES[1]:
                what = f"nobody would see a lamp sway {rate.text}"
                bounds = f"write a rate from {RATES[0] * 60:g} to {RATES[1] * 60:g} a minute"
                raise self.names.refuse(rate.place, what, bounds)
            octaves.append(Octave(float(a_minute) / 60, weight))
        if not any(octave.weight for octave in octaves):
            raise self.names.refuse(
                lines[0].place, "a manner that sways by 0 % stands still", "write for example `by 60 %`"
            )
        return Own(Swaying(name, tuple(sorted(octaves))), None)

    def _like(self, name: str, lines: list[Node]) -> Own:
        if len(lines) > 1:
            raise self.names.refuse(lines[1].place, "a manner is like one other", "leave one `like` line")
        return Own(self.flicker(lines[0].words()[0], OPEN), None)

    def _varied(self, name: str, node: Node, own: Own) -> Own:
        from engine.flicker import Varied
        from engine.ways import scaled

        figures = {"pace": 1.0, "depth": 1.0}
        for kind, read in (("pace", quantities.pace), ("depth", lambda word: float(quantities.share(word)))):
            lines = list(node.nodes(kind))
            if len(lines) > 1:
                raise self.names.refuse(
                    lines[1].place, f"`{kind}` stands here for the second time", "leave one of them"
                )
            word = lines[0].word("PERCENT") if lines else None
            if word is not None:
                figures[kind] = self.names.quantity(word, OPEN, "PERCENT", read)
        if figures["depth"] == 0.0:
            place = next(node.nodes("depth")).place
            raise self.names.refuse(
                place, "a manner with a depth of 0 % stands still", "write for example `depth 60 %`"
            )
        if figures == {"pace": 1.0, "depth": 1.0} and not any(node.nodes("varied")):
            return own
        script = own.script if figures["depth"] == 1.0 else None  # a shallower one never comes to full light
        if script is not None:
            script = scaled(script, max(1, round(script.length_us / figures["pace"])))
        return Own(Varied(own.manner, figures["pace"], figures["depth"]), script)
