"""Conditions: from the sentence's tree to terms, by one closed table of states for each kind of subject.

Knows names and states; knows no statement, and not what a term means at an instant.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.conditions import (
    All,
    Any,
    AtLeast,
    Atom,
    Becomes,
    Condition,
    Held,
    Not,
    Term,
    Test,
    atoms,
    fully_shown,
)
from engine.conditions import Sort as On
from engine.layout import Aspect, Kind, Output, colour_of
from scenes import quantities
from scenes.names import OPEN, Names, Refused, Scope, Sort, Symbol, own_words
from scenes.nodes import Node, Word
from scenes.wording import said

TERMS = 20_000  # questions in one condition, groups and defines written out
DEFINE_DEPTH = 30  # defines within defines

State = tuple[Test, bool]  # what is asked, and whether its opposite is meant

_SWITCHED: dict[str, State] = {"on": (Test.ON, True), "off": (Test.ON, False)}
_SHINES: dict[str, State] = {
    "lit": (Test.LIT, True),
    "flashing": (Test.FLASHING, True),
    "fading": (Test.FADING, True),
    "flickering": (Test.FLICKERING, True),
}
_OUTPUT_STATES: dict[Kind, dict[str, State]] = {
    Kind.LAMP: {**_SWITCHED, **_SHINES},
    Kind.SERVO: {"moving": (Test.MOVING, True), "between": (Test.BETWEEN, True)},
    Kind.SIGNAL: {},
    Kind.RELAY: _SWITCHED,
    Kind.MOTOR: {**_SWITCHED, "fading": (Test.FADING, True)},
    Kind.SOUND: {**_SWITCHED, "fading": (Test.FADING, True)},
    Kind.PULSE: _SWITCHED,
    Kind.COLOUR: {},
    Kind.DAYLIGHT: {"fading": (Test.FADING, True)},
}
_OTHER_STATES: dict[Sort, tuple[On, dict[str, State]]] = {
    Sort.DETECTOR: (
        On.DETECTOR,
        {
            "occupied": (Test.OCCUPIED, True),
            "clear": (Test.CLEAR, True),
            "unknown": (Test.UNKNOWN, True),
            "out of use": (Test.OUT_OF_USE, True),
        },
    ),
    Sort.BUTTON: (On.BUTTON, {"pressed": (Test.PRESSED, True), "let go": (Test.PRESSED, False)}),
    Sort.SCENE: (
        On.SCENE,
        {"running": (Test.RUNNING, True), "ended": (Test.ENDED, True), "stopped": (Test.STOPPED, True)},
    ),
    Sort.LINK: (On.LINK, {"talking": (Test.TALKING, True), "gone": (Test.TALKING, False)}),
}
_COMPARED = {"ABOVE": Test.ABOVE, "BELOW": Test.BELOW, "LEAST": Test.AT_LEAST, "MOST": Test.AT_MOST}
_SUBJECTS = (
    Sort.OUTPUT,
    Sort.DETECTOR,
    Sort.BUTTON,
    Sort.FLAG,
    Sort.COUNTER,
    Sort.SCENE,
    Sort.LINK,
    Sort.DEFINE,
)


@dataclass(slots=True)
class _Define:
    """A define once it has been compiled: its term, how many questions it holds, and whether it asks for trains."""

    term: Term | None
    size: int
    trains: bool


class Conditions:
    """Compiles conditions against one table of names."""

    def __init__(self, names: Names) -> None:
        self.names = names
        self._defines: dict[str, _Define] = {}
        self._open: list[str] = []
        self._size = 0
        self._trains = False  # whether a condition here may ask where trains truly are

    def condition(self, node: Node, scope: Scope = OPEN, trains: bool = False) -> Condition | None:
        """The condition of a `held` node or a bare one; None after reporting what is wrong with it."""
        self._size, self._trains = 0, trains
        try:
            return Condition(self._term(node, scope), said(node), node.place)
        except Refused:
            return None

    def needed(self, node: Node, scope: Scope = OPEN, trains: bool = False) -> Condition:
        """As `condition`, for a line that is nothing without it."""
        found = self.condition(node, scope, trains)
        if found is None:
            raise Refused
        return found

    def lasting(self, node: Node, scope: Scope, word: str) -> Condition:
        """A condition that must be able to last: an instant cannot."""
        found = self.needed(node, scope)
        if _an_instant(found.term):
            what = f"`becomes` is true for an instant only, and `{word}` needs something that lasts"
            raise self.names.refuse(node.place, what, "write `is`", scope)
        return found

    def define(self, name: str) -> Term | None:
        """A define's term, compiled once."""
        symbol = self.names.symbols[name]
        if name not in self._defines and symbol.node is not None:
            self._defines[name] = self._compile_define(symbol, symbol.node)
        return self._defines[name].term

    def _compile_define(self, symbol: Symbol, node: Node) -> _Define:
        before = self._size, self._trains
        self._size, self._trains = 0, True
        self._open.append(symbol.name)
        try:
            held = node.node("held")
            term = self._term(held, OPEN) if held else None
        except Refused:
            term = None
        self._open.pop()
        made = _Define(term, self._size, term is not None and any(a.sort is On.TRAIN for a in atoms(term)))
        self._size, self._trains = before
        return made

    # --- by shape --------------------------------------------------------------------------------------------------

    def _term(self, node: Node | Word, scope: Scope) -> Term:
        if isinstance(node, Word) or node.kind not in _SHAPES:
            raise Refused
        return _SHAPES[node.kind](self, node, scope)

    def _held(self, node: Node, scope: Scope) -> Term:
        term = self._term(node.parts[0], scope)
        time = node.word("DURATION", "NAME")
        if time is None:
            return term
        if _an_instant(term):
            what = "`becomes` is true for an instant only, so it cannot hold `for` a time"
            raise self.names.refuse(node.place, what, "write `is`", scope)
        return Held(term, self.names.duration(time, scope))

    def _both(self, node: Node, scope: Scope) -> Term:
        return All(self._all_of(node, scope))

    def _either(self, node: Node, scope: Scope) -> Term:
        return Any(self._all_of(node, scope))

    def _all_of(self, node: Node, scope: Scope) -> tuple[Term, ...]:
        """Every part, so that each mistake is told, before the whole is given up."""
        found: list[Term] = []
        for part in node.nodes():
            try:
                found.append(self._term(part, scope))
            except Refused:
                continue
        if len(found) < len(node.parts):
            raise Refused
        return tuple(found)

    def _named(self, node: Node, scope: Scope) -> Term:
        word = node.words()[0]
        symbol = self.names.look_up(word, scope, need="a condition or a flag")
        if symbol is None:
            raise Refused
        if symbol.sort is Sort.FLAG:
            return self._atom(On.FLAG, symbol.name, Test.SET)
        if symbol.sort is Sort.DEFINE:
            return self._defined(symbol, word, scope)
        what = f"`{word.text}` is {symbol.described}, and this needs something to ask about it"
        raise self.names.refuse(word.place, what, self._example(symbol), scope)

    def _defined(self, symbol: Symbol, word: Word, scope: Scope) -> Term:
        if symbol.name in self._open:
            chain = [*self._open[self._open.index(symbol.name) :], symbol.name]
            raise self.names.refuse(symbol.place, f"the condition asks for itself: {' > '.join(chain)}", "", scope)
        if len(self._open) >= DEFINE_DEPTH:
            what = f"conditions stand within conditions more than {DEFINE_DEPTH} deep"
            raise self.names.refuse(word.place, what, "name fewer steps", scope)
        term = self.define(symbol.name)
        if term is None:
            raise Refused
        made = self._defines[symbol.name]
        if made.trains and not self._trains:
            what = f"`{symbol.name}` asks where trains truly are, which is known in rules and rehearsals only"
            raise self.names.refuse(word.place, what, "ask a detector: `is occupied`", scope)
        self._grow(made.size, word, scope)
        return term

    def _negated(self, node: Node, scope: Scope) -> Term:
        return Not(self._named(node, scope))

    def _compare(self, node: Node, scope: Scope) -> Term:
        return self._about(node, scope, negated=node.word("NOT") is not None)

    def _becomes(self, node: Node, scope: Scope) -> Term:
        state = node.node("state")
        subject = node.node("subject")
        word = state.word("NAME") if state else None
        if subject and word and word.text in ("true", "false") and subject.word("NAME"):
            truth = self._named(subject, scope)
            return Becomes(truth if word.text == "true" else Not(truth))
        return Becomes(self._about(node, scope, negated=False))

    def _train_on(self, node: Node, scope: Scope) -> Term:
        term = self._train(node, scope)
        return Not(term) if node.word("NO", "NOT") else term

    def _reaches(self, node: Node, scope: Scope) -> Term:
        return self._train(node, scope, Test.REACHES)

    def _train(self, node: Node, scope: Scope, test: Test = Test.TRAIN_ON) -> Term:
        word = node.words()[0]
        symbol = self.names.look_up(word, scope, Sort.DETECTOR)
        if symbol is None:
            raise Refused
        if not self._trains:
            what = "a scene does not know where trains truly are; only rules and rehearsals do"
            raise self.names.refuse(node.place, what, f"ask the detector: `{word.text} is occupied`", scope)
        return self._atom(On.TRAIN, symbol.name, test)

    # --- subjects --------------------------------------------------------------------------------------------------

    def _about(self, node: Node, scope: Scope, negated: bool) -> Term:
        subject, state = node.node("subject"), node.node("state", "amount")
        if subject is None or state is None:
            raise Refused
        terms: list[Term] = []
        found = self._subjects(subject, scope)
        for word, symbol in found:
            self._grow(1, word or subject, scope)
            term = self._ask(symbol, state, word or subject, scope)
            terms.append(Not(term) if negated else term)
        quantity = subject.node("quantity")
        if quantity is None:
            return terms[0] if subject.word("NAME") else All(tuple(terms))
        return self._counted(quantity, tuple(terms), scope)

    def _subjects(self, subject: Node, scope: Scope) -> list[tuple[Word | None, Symbol]]:
        if subject.word("OUTPUTS"):
            return [(None, self.names.symbols[name]) for name in self.names.layout.outputs]
        if subject.node("every_detector"):
            return [(None, self.names.symbols[name]) for name in self.names.layout.detectors]
        single = subject.word("NAME")
        if single is not None:
            return [(single, self._single(single, scope))]
        names = subject.node("names")
        words = names.words() if names else []
        found = self.names.members(words, scope, *_SUBJECTS, need="something to ask about")
        if not found or any(self.names.resolve(word, scope).text not in self.names.symbols for word in words):
            raise Refused
        return [(word, symbol) for word, symbol in found]

    def _single(self, word: Word, scope: Scope) -> Symbol:
        symbol = self.names.look_up(word, scope, *_SUBJECTS, Sort.GROUP, need="something to ask about")
        if symbol is None:
            raise Refused
        if symbol.sort is Sort.GROUP:
            what = f"`{symbol.name}` is a group: say how many of it"
            offers = ", ".join(f"`{w} of {symbol.name}`" for w in ("any", "all", "none", "at least 2"))
            raise self.names.refuse(word.place, what, f"write {offers}", scope)
        return symbol

    def _counted(self, quantity: Node, terms: tuple[Term, ...], scope: Scope) -> Term:
        word = quantity.word("ANY", "ALL", "NONE", "LEAST", "MOST")
        kind = word.kind if word else ""
        if kind in ("ANY", "ALL", "NONE"):
            made: dict[str, Term] = {"ANY": Any(terms), "ALL": All(terms), "NONE": Not(Any(terms))}
            return made[kind]
        number = quantity.word("INTEGER")
        count = self.names.quantity(number, scope, "INTEGER", quantities.whole) if number else 0
        if count > len(terms) or (kind == "LEAST" and count == 0):
            if self.names.short_group:
                raise Refused
            asked = f"at {kind.lower()} {count}"
            what = f"there are {len(terms)} of them, so `{asked}` says nothing"
            raise self.names.refuse(quantity.place, what, f"write a number from 1 to {len(terms)}", scope)
        return AtLeast(count, terms) if kind == "LEAST" else Not(AtLeast(count + 1, terms))

    # --- states ----------------------------------------------------------------------------------------------------

    def _ask(self, symbol: Symbol, state: Node, at: Word | Node, scope: Scope) -> Term:
        if state.kind == "amount":
            return self._amount(symbol, state, scope)
        key = self._state_name(state, scope)
        if symbol.output is not None:
            term = self._output_state(symbol.output, key)
            if term is not None:
                return term
        elif symbol.sort in _OTHER_STATES:
            on, table = _OTHER_STATES[symbol.sort]
            if key in table:
                return self._atom(on, symbol.name, *table[key])
        elif symbol.sort in (Sort.FLAG, Sort.DEFINE):
            what = f"`{symbol.name}` is {symbol.described} and true or not by itself"
            instead = f"write just `{symbol.name}` or `not {symbol.name}`"
            raise self.names.refuse(state.place, what, instead, scope)
        raise self.names.refuse(state.place, *self._no_state(symbol, key), scope)

    def _state_name(self, state: Node, scope: Scope) -> str:
        part = state.parts[0]
        if isinstance(part, Node):
            return part.kind.replace("_", " ")
        return self.names.resolve(part, scope).text

    def _output_state(self, output: Output, key: str) -> Term | None:
        if key == "at rest":
            return self._at_rest(output)
        for position in output.positions:
            if position.name == key:
                return Atom(On.OUTPUT, output.name, Test.ARRIVED, position.degrees)
        if any(aspect.name == key for aspect in output.aspects):
            return fully_shown(output, key)
        for index, aspect in enumerate(self._colours(output)):
            if aspect.name == key:
                return Atom(On.OUTPUT, colour_of(output.name), Test.ARRIVED, float(index))
        state = _OUTPUT_STATES[output.kind].get(key)
        return self._atom(On.OUTPUT, output.name, *state) if state else None

    def _colours(self, output: Output) -> tuple[Aspect, ...]:
        """The colours of a lamp that has several."""
        colour = self.names.layout.outputs.get(colour_of(output.name))
        return colour.aspects if colour is not None else ()

    def _at_rest(self, output: Output) -> Term:
        """A signal is at rest when its lamps and arms are, too."""
        parts = dict.fromkeys(name for aspect in output.aspects for name, _ in aspect.parts)
        whole = [Atom(On.OUTPUT, name, Test.AT_REST) for name in (output.name, *parts)]
        return All(tuple(whole)) if parts else whole[0]

    def _no_state(self, symbol: Symbol, key: str) -> tuple[str, str]:
        """What to say about a state that a subject does not have."""
        known = self.states(symbol)
        what = f"{symbol.described} is never `{key}`; `{symbol.name}` can be {_listed(known)}"
        return what, self.names.near(key, known)

    def states(self, symbol: Symbol) -> list[str]:
        """Every word that can stand behind `is` for this subject."""
        if symbol.output is not None:
            if symbol.output.kind is Kind.DAYLIGHT:
                return ["below 70 lux", "at least 70 lux", "fading", "at rest"]
            own = [*own_words(symbol.output), *(aspect.name for aspect in self._colours(symbol.output))]
            past = ["past 50 %"] if symbol.output.kind is Kind.SERVO else []
            return [*own, *_OUTPUT_STATES[symbol.output.kind], *past, "at rest"]
        if symbol.sort is Sort.COUNTER:
            return ["3", "at least 3", "at most 3", "above 3", "below 3"]
        return list(_OTHER_STATES[symbol.sort][1]) if symbol.sort in _OTHER_STATES else []

    def _example(self, symbol: Symbol) -> str:
        known = self.states(symbol)
        if symbol.sort is Sort.GROUP:
            return f"write for example `any of {symbol.name} is ...`"
        return f"write for example `{symbol.name} is {known[0]}`" if known else ""

    def _amount(self, symbol: Symbol, node: Node, scope: Scope) -> Term:
        value = node.word("PERCENT", "ANGLE", "LUX", "INTEGER")
        compared = node.word("PAST", *_COMPARED)
        if value is None:
            raise Refused
        test = _COMPARED.get(compared.kind, Test.PAST) if compared else Test.EQUAL
        if symbol.sort is Sort.COUNTER and value.kind == "INTEGER" and test is not Test.PAST:
            count = self.names.quantity(value, scope, "INTEGER", quantities.whole)
            return self._atom(On.COUNTER, symbol.name, test, True, float(count))
        if symbol.output is not None:
            amount = self._output_amount(symbol.output, value, test, scope)
            if amount is not None:
                return self._atom(On.OUTPUT, symbol.name, test, True, amount)
        raise self.names.refuse(node.place, *self._no_state(symbol, said(node)), scope)

    def _output_amount(self, output: Output, value: Word, test: Test, scope: Scope) -> float | None:
        """The amount in the output's own unit, or None where it cannot be asked."""
        if value.kind == "PERCENT":
            share = self.names.quantity(value, scope, "PERCENT", quantities.share)
            servo = output.kind is Kind.SERVO
            levels = output.kind in (Kind.LAMP, Kind.MOTOR, Kind.SOUND)
            return float(share) if (servo and test is Test.PAST) or (levels and test is not Test.PAST) else None
        if value.kind == "LUX" and output.kind is Kind.DAYLIGHT and test is not Test.PAST:
            return self.names.quantity(value, scope, "LUX", quantities.lux)
        if value.kind == "ANGLE" and output.kind is Kind.SERVO and test is not Test.PAST:
            return quantities.degrees(value)
        return None

    def _atom(self, on: On, subject: str, test: Test, positive: bool = True, amount: float = 0.0) -> Term:
        atom = Atom(on, subject, test, amount)
        return atom if positive else Not(atom)

    def _grow(self, by: int, at: Word | Node, scope: Scope) -> None:
        self._size += by
        if self._size > TERMS:
            what = f"the condition asks more than {TERMS:,} questions, written out"
            raise self.names.refuse(at.place, what, "make it smaller", scope)


def _an_instant(term: Term) -> bool:
    match term:
        case Becomes():
            return True
        case All(terms):
            return any(_an_instant(one) for one in terms)
        case Any(terms):
            return bool(terms) and all(_an_instant(one) for one in terms)
        case _:
            return False


def _listed(words: list[str]) -> str:
    marked = [f"`{word}`" for word in words[:12]]
    return marked[0] if len(marked) == 1 else f"{', '.join(marked[:-1])} or {marked[-1]}" if marked else "nothing"


_SHAPES = {
    "held": Conditions._held,
    "both": Conditions._both,
    "either": Conditions._either,
    "named": Conditions._named,
    "negated": Conditions._negated,
    "compare": Conditions._compare,
    "becomes": Conditions._becomes,
    "train_on": Conditions._train_on,
    "reaches": Conditions._reaches,
}
