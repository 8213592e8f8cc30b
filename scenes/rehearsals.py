"""Rules and rehearsals: from their sentences to records. Trains, hands and faults are named here, never played."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from engine.conditions import Becomes, Condition
from engine.layout import Kind, Output, Place, colour_of
from engine.program import (
    Act,
    Begin,
    Deed,
    Expectation,
    Rehearsal,
    Rule,
    RuleLine,
    Timing,
    TrainRun,
    Visit,
)
from engine.waves import Steady
from scenes import quantities
from scenes.conditions import Conditions
from scenes.names import OPEN, Names, Refused, Sort, Symbol
from scenes.nodes import Node, Word

MOST_TIMES = 10_000  # that a rule counts; a monitor keeps so many instants
_DETECTOR_STATES = ("clear", "occupied", "unknown")
REMEMBERED, FORGOTTEN = "remembered", "forgotten"


@dataclass(slots=True)
class _Draft:
    """A rehearsal while its lines are read."""

    begins: list[Begin] = field(default_factory=list)
    begins_at_s: int | None = None
    plays: list[tuple[Place, str, int]] = field(default_factory=list)
    trains: list[TrainRun] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    expectations: list[Expectation] = field(default_factory=list)
    seed: int | None = None
    singles: dict[str, Begin] = field(default_factory=dict)  # what `begins with` says of a single subject
    lasts_us: int | None = None


class Rehearsals:
    """Compiles rules and rehearsals against one table of names."""

    def __init__(self, names: Names, conditions: Conditions) -> None:
        self.names = names
        self.conditions = conditions

    # --- rules -----------------------------------------------------------------------------------------------------

    def rule(self, name: str, node: Node) -> Rule:
        lines: list[RuleLine] = []
        for line in node.nodes(*_RULE_FORMS):
            try:
                lines.append(self._rule_line(line))
            except Refused:
                continue
        return Rule(name, node.place, tuple(lines))

    def _rule_line(self, node: Node) -> RuleLine:
        conditions = [self._condition(part) for part in node.nodes() if part.kind != "longer"]
        longer = node.node("longer")
        words = [*node.words("DURATION"), *(longer.words("DURATION") if longer else ())]
        number = node.word("INTEGER")
        count = self.names.quantity(number, OPEN, "INTEGER", _countable) if number else 0
        if node.word("LEAST") and number is not None and count == 0:
            raise self.names.refuse(number.place, "at least 0 times is always so", "write 1 or more")
        form = _RULE_FORMS[node.kind](node)
        times = tuple(self.names.duration(word) for word in words)
        return RuleLine(node.place, form, tuple(conditions), times, count)

    def _condition(self, node: Node) -> Condition:
        return self.conditions.needed(node, OPEN, trains=True)

    # --- rehearsals ------------------------------------------------------------------------------------------------

    def rehearsal(self, name: str, node: Node) -> Rehearsal:
        draft = _Draft()
        first: dict[str, Place] = {}
        for line in node.nodes(*_LINES):
            try:
                self._only_once(line, first)
                _LINES[line.kind](self, line, draft)
            except Refused:
                continue
        return Rehearsal(
            name,
            node.place,
            tuple(draft.begins),
            draft.begins_at_s,
            tuple(draft.plays),
            tuple(draft.trains),
            tuple(draft.acts),
            tuple(draft.expectations),
            draft.seed,
            draft.lasts_us,
        )

    def _only_once(self, line: Node, first: dict[str, Place]) -> None:
        if line.kind in _ONCE and first.setdefault(line.kind, line.place) != line.place:
            also = f"line {first[line.kind].line}"
            what = f"`{_ONCE[line.kind]}` stands here for the second time; the first is on {also}"
            raise self.names.refuse(line.place, what, "take one of them out")

    def _begins(self, node: Node, draft: _Draft) -> None:
        subject = node.node("subject")
        state = next((part for part in node.parts if isinstance(part, Word)), None)
        if subject is None or state is None:
            raise Refused
        for word, symbol in self._begin_subjects(subject):
            made = self._begin(symbol, word, state, node.place)
            if made and subject.word("NAME"):
                self._no_other(made[0], draft)
            draft.begins.extend(made)

    def _no_other(self, begin: Begin, draft: _Draft) -> None:
        """One subject named by itself begins in one way; it may differ from what was said of many."""
        other = draft.singles.setdefault(begin.subject, begin)
        if (begin.value, begin.detector_state) != (other.value, other.detector_state):
            what = f"`{begin.subject}` begins in another way on line {other.place.line}"
            raise self.names.refuse(begin.place, what, "take one of the two lines out")

    def _begin_subjects(self, subject: Node) -> list[tuple[Place, Symbol]]:
        """What `begins with` speaks of; only `all of` makes sense for several."""
        if subject.node("every_detector"):
            return [(subject.place, self.names.symbols[name]) for name in self.names.layout.detectors]
        if subject.word("OUTPUTS"):
            return [(subject.place, self.names.symbols[name]) for name in self.names.layout.outputs]
        single = subject.word("NAME")
        if single is not None:
            symbol = self.names.look_up(single, OPEN, *_BEGINNERS)
            if symbol is None:
                raise Refused
            if symbol.sort is Sort.GROUP:
                what = f"`{symbol.name}` is a group: say how many of it"
                raise self.names.refuse(single.place, what, f"write `all of {symbol.name}`")
            return [(single.place, symbol)]
        quantity, listed = subject.node("quantity"), subject.node("names")
        if quantity is None or listed is None or not quantity.word("ALL"):
            what = "a rehearsal must begin with something certain"
            raise self.names.refuse(subject.place, what, "write `all of ...`")
        members = self.names.members(listed.words(), OPEN, Sort.OUTPUT, Sort.DETECTOR)
        return [(word.place, symbol) for word, symbol in members]

    def _begin(self, symbol: Symbol, at: Place, state: Word, place: Place) -> list[Begin]:
        if symbol.sort in (Sort.FLAG, Sort.COUNTER):
            return [Begin(place, symbol.name, None, self._begin_variable(symbol, state))]
        if symbol.output is None:
            if state.text not in _DETECTOR_STATES:
                what = f"a detector is never `{state.text}`; `{symbol.name}` can be `clear`, `occupied` or `unknown`"
                raise self.names.refuse(state.place, what, self.names.near(state.text, _DETECTOR_STATES))
            return [Begin(place, symbol.name, state.text)]
        if symbol.output.kind is Kind.DAYLIGHT or symbol.output.follows_lux is not None:
            return self._begin_daylight(symbol.output, state, place)
        colour = self.names.layout.outputs.get(colour_of(symbol.name))
        named = [aspect.name for aspect in colour.aspects] if colour else []
        if colour is not None and state.text in named:
            return [Begin(place, colour.name, None, float(named.index(state.text)))]
        value = self._begin_value(symbol.output, state)
        begins = [Begin(place, symbol.name, None, value)]
        if symbol.output.kind is Kind.SIGNAL:
            parts = symbol.output.aspects[int(value)].parts
            begins.extend(Begin(place, name, None, degrees) for name, degrees in parts)
        return begins

    def _begin_variable(self, symbol: Symbol, state: Word) -> float:
        """What a flag or a counter holds: 1 is remembered."""
        if symbol.sort is Sort.FLAG:
            if state.text not in (REMEMBERED, FORGOTTEN):
                what = f"a flag cannot begin `{state.text}`"
                instead = f"write `begins with {symbol.name} {REMEMBERED}`, or `{FORGOTTEN}`"
                raise self.names.refuse(state.place, what, instead)
            return float(state.text == REMEMBERED)
        if state.kind != "INTEGER":
            what = f"a counter cannot begin `{state.text}`"
            raise self.names.refuse(state.place, what, f"write a whole number: `begins with {symbol.name} 3`")
        return float(self.names.quantity(state, OPEN, "INTEGER", quantities.whole))

    def _begin_daylight(self, output: Output, state: Word, place: Place) -> list[Begin]:
        """How light it is outdoors from the beginning, and what the lamps that follow it make of that."""
        if output.kind is not Kind.DAYLIGHT:
            what = f"`{output.name}` follows the daylight (layout file)"
            raise self.names.refuse(place, what, "write `begins with daylight 20 lux`")
        if state.kind != "LUX":
            what = f"daylight cannot begin `{state.text}`"
            raise self.names.refuse(state.place, what, "write how light it is, such as `daylight 20 lux`")
        from engine.daylight import Follow

        lux = self.names.quantity(state, OPEN, "LUX", quantities.lux)
        sky = [one for one in self.names.layout.outputs.values() if one.follows_lux is not None]
        levels = [(one.name, Follow(Steady(lux), *one.follows_lux).value_at(0)) for one in sky if one.follows_lux]
        return [Begin(place, name, None, value) for name, value in ((output.name, lux), *levels)]

    def _begin_value(self, output: Output, state: Word) -> float:
        named = {position.name: position.degrees for position in output.positions}
        named |= {aspect.name: float(index) for index, aspect in enumerate(output.aspects)}
        switched = output.kind not in (Kind.SERVO, Kind.SIGNAL)
        if state.text in named:
            return named[state.text]
        if switched and state.kind in ("ON", "OFF"):
            return float(state.kind == "ON")
        if output.kind in (Kind.LAMP, Kind.SOUND, Kind.MOTOR) and state.kind == "PERCENT":
            return float(self.names.quantity(state, OPEN, "PERCENT", quantities.share))
        if output.kind is Kind.SERVO and state.kind == "ANGLE":
            return quantities.degrees(state)
        can = ["on", "off"] if switched else list(named)
        what = f"a {output.kind.value} cannot begin `{state.text}`; `{output.name}` can begin "
        listed = " or ".join(f"`{word}`" for word in can)
        raise self.names.refuse(state.place, what + listed, self.names.near(state.text, can))

    def _begins_at(self, node: Node, draft: _Draft) -> None:
        draft.begins_at_s = self._read(node, "TIME", quantities.second_of_day)

    def _plays(self, node: Node, draft: _Draft) -> None:
        time = node.word("DURATION")
        at_us = self.names.duration(time) if time else 0
        draft.plays.append((node.place, self._name(node.words()[0], Sort.SCENE), at_us))

    def _seed(self, node: Node, draft: _Draft) -> None:
        draft.seed = self._read(node, "INTEGER", lambda word: quantities.whole(word, 2**63 - 1))

    def _lasts(self, node: Node, draft: _Draft) -> None:
        draft.lasts_us = self._read(node, "DURATION", quantities.duration_us)

    def _read(self, node: Node, kind: str, read: Callable[[Word], int]) -> int:
        word = node.word(kind)
        if word is None:
            raise Refused
        return self.names.quantity(word, OPEN, kind, read)

    def _name(self, word: Word, sort: Sort) -> str:
        symbol = self.names.look_up(word, OPEN, sort)
        if symbol is None:
            raise Refused
        return symbol.name

    # --- trains ----------------------------------------------------------------------------------------------------

    def _train(self, node: Node, draft: _Draft) -> None:
        track = self._name(node.words()[0], Sort.TRACK)
        traits = [inner for trait in node.nodes("trait") for inner in trait.nodes()]
        draft.trains.append(
            TrainRun(
                node.place,
                track,
                self._read(node, "LENGTH", quantities.length_mm),
                self._read(node, "SPEED", quantities.speed_um_s),
                self._read(node, "DURATION", quantities.duration_us),
                backwards=node.word("BACKWARDS") is not None,
                ignores_signals=any(trait.kind == "ignoring" for trait in traits),
                locomotive_only=any(trait.kind == "locomotive" for trait in traits),
                visits=tuple(self._visit(t, track) for t in traits if t.kind in ("standing", "reversing")),
            )
        )

    def _visit(self, trait: Node, track: str) -> Visit:
        word = trait.words()[0]
        detector = self._name(word, Sort.DETECTOR)
        on_track = [stretch.detector for stretch in self.names.layout.tracks[track].stretches if stretch.detector]
        if detector not in on_track:
            what = f"`{detector}` is not on `{track}`, which has {', '.join(f'`{one}`' for one in on_track)}"
            raise self.names.refuse(word.place, what, "name one of these")
        time = trait.word("DURATION")
        stands_us = self.names.duration(time) if time else 0
        return Visit(detector, stands_us, trait.kind == "reversing")

    # --- hands and faults ------------------------------------------------------------------------------------------

    def _act(self, node: Node, draft: _Draft) -> None:
        at_us = self._read(node, "DURATION", quantities.duration_us)
        deed = next(node.nodes(), None)
        if deed is None or deed.kind not in _DEEDS:
            raise Refused
        kind, sort = _DEEDS[deed.kind]
        if sort is None:
            draft.acts.append(Act(node.place, at_us, kind, ""))
            return
        subject, *states = deed.words()
        name = self._name(subject, sort)
        for state in states:
            if state.text not in _DETECTOR_STATES:
                what = f"a detector is never `{state.text}`; it can be `clear`, `occupied` or `unknown`"
                raise self.names.refuse(state.place, what, self.names.near(state.text, _DETECTOR_STATES))
        held = deed.node("for")
        time = (held or deed).word("DURATION", "NAME") if held else deed.word("DURATION")
        for_us = self.names.duration(time) if time else None
        if time is not None and for_us == 0:
            raise self.names.refuse(time.place, "for no time at all, nothing happens", "write a time such as `2 s`")
        draft.acts.append(Act(node.place, at_us, kind, name, states[0].text if states else "", for_us))

    # --- expectations ----------------------------------------------------------------------------------------------

    def _expect(self, node: Node, draft: _Draft) -> None:
        condition, timing = tuple(node.nodes())[:2]
        found = self._condition(condition)
        if isinstance(found.term, Becomes) and timing.kind in ("throughout", "from_to"):
            span = (
                f" from {' to '.join(word.text for word in timing.words('DURATION'))}"
                if timing.kind == "from_to"
                else ""
            )
            what = "`becomes` is true for an instant only, and this must hold for the whole time"
            instead = f"write `is`; that it happens at all is `is ... at least 1 times{span}`"
            raise self.names.refuse(condition.place, what, instead)
        draft.expectations.append(_TIMINGS[timing.kind](self, node.place, found, timing))

    def _times(self, node: Node) -> list[int]:
        return [self.names.duration(word) for word in node.words("DURATION")]

    def _throughout(self, place: Place, condition: Condition, node: Node) -> Expectation:
        return Expectation(place, condition, Timing.THROUGHOUT)

    def _from_to(self, place: Place, condition: Condition, node: Node) -> Expectation:
        from_us, to_us = self._times(node)
        if from_us >= to_us:
            raise self.names.refuse(node.place, "this time ends before it begins", "write the earlier time first")
        return Expectation(place, condition, Timing.FROM_TO, from_us, to_us)

    def _at(self, place: Place, condition: Condition, node: Node) -> Expectation:
        (at_us,) = self._times(node)
        return Expectation(place, condition, Timing.AT, at_us, at_us)

    def _by(self, place: Place, condition: Condition, node: Node) -> Expectation:
        (to_us,) = self._times(node)
        return Expectation(place, condition, Timing.BY, 0, to_us)

    def _before(self, place: Place, condition: Condition, node: Node) -> Expectation:
        (to_us,) = self._times(node)
        if not to_us:
            raise self.names.refuse(node.place, "nothing happens before the first instant", "write `at 0 s`")
        return Expectation(place, condition, Timing.BEFORE, 0, to_us)

    def _before_event(self, place: Place, condition: Condition, node: Node) -> Expectation:
        other = self._condition(next(node.nodes()))
        return Expectation(place, condition, Timing.BEFORE_CONDITION, other=other)

    def _times_over(self, place: Place, condition: Condition, node: Node) -> Expectation:
        """`at least 2 times from A to B`: becomes true so often; `by T` counts from the start, T included."""
        number = node.word("INTEGER")
        count = self.names.quantity(number, OPEN, "INTEGER", quantities.whole) if number else 0
        least = node.word("LEAST") is not None
        if least and count == 0:
            raise self.names.refuse(node.place, "at least 0 times is always so", "write 1 or more")
        if isinstance(condition.term, Becomes):
            what = "`at least ... times` counts already how often it becomes so"
            raise self.names.refuse(condition.place, what, "write `is`")
        span = node.node("from_to", "by_instant")
        timing, from_us, to_us = Timing.THROUGHOUT, 0, None
        if span is not None:
            times = self._times(span)
            timing = Timing.FROM_TO if len(times) == 2 else Timing.BY
            from_us, to_us = (times[0], times[1]) if len(times) == 2 else (0, times[0])
            if timing is Timing.FROM_TO and from_us >= to_us:
                raise self.names.refuse(span.place, "this time ends before it begins", "write the earlier time first")
        at_least, at_most = (count, None) if least else (0, count)
        return Expectation(place, condition, timing, from_us, to_us, at_least, at_most)


def _countable(word: Word) -> int:
    return quantities.whole(word, MOST_TIMES)


def _while(node: Node) -> str:
    """`never A while B` has two conditions."""
    return f"{node.kind} while" if len([part for part in node.nodes() if part.kind != "longer"]) == 2 else node.kind


_RULE_FORMS: dict[str, Callable[[Node], str]] = {
    "never": _while,
    "always": _while,
    "lead": lambda node: "at least before",
    "comes_first": lambda node: "before",
    "leads_to": lambda node: "whenever within",
    "occurs": lambda node: "at least" if node.word("LEAST") else "at most",
}
_LINES: dict[str, Callable[[Rehearsals, Node, _Draft], None]] = {
    "begins": Rehearsals._begins,
    "begins_at": Rehearsals._begins_at,
    "plays": Rehearsals._plays,
    "train": Rehearsals._train,
    "act": Rehearsals._act,
    "expect": Rehearsals._expect,
    "seed": Rehearsals._seed,
    "lasts": Rehearsals._lasts,
}
_BEGINNERS = (Sort.OUTPUT, Sort.DETECTOR, Sort.FLAG, Sort.COUNTER, Sort.GROUP)
_ONCE = {"begins_at": "begins at", "seed": "seed", "lasts": "lasts"}
_DEEDS: dict[str, tuple[Deed, Sort | None]] = {
    "press": (Deed.PRESS, Sort.BUTTON),
    "let_go_of": (Deed.LET_GO, Sort.BUTTON),
    "start_deed": (Deed.START, Sort.SCENE),
    "stop_deed": (Deed.STOP, Sort.SCENE),
    "lose": (Deed.LOSE_LINK, Sort.LINK),
    "mend": (Deed.MEND_LINK, Sort.LINK),
    "stays": (Deed.STAYS, Sort.DETECTOR),
    "turns": (Deed.BECOMES, Sort.DETECTOR),
    "put_aside": (Deed.PUT_ASIDE, Sort.DETECTOR),
    "put_back": (Deed.PUT_BACK, Sort.DETECTOR),
    "all_stop": (Deed.ALL_STOP, None),
    "go_on": (Deed.GO_ON, None),
}
_TIMINGS: dict[str, Callable[[Rehearsals, Place, Condition, Node], Expectation]] = {
    "throughout": Rehearsals._throughout,
    "from_to": Rehearsals._from_to,
    "at_instant": Rehearsals._at,
    "by_instant": Rehearsals._by,
    "before_instant": Rehearsals._before,
    "before_event": Rehearsals._before_event,
    "times_over": Rehearsals._times_over,
}
