"""Whether playing a rehearsal does what the journal says: scenes begun and ended, rules broken, guarded outputs told.

Knows a trace and entries; must not know how either came about.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

from engine.conditions import Sort, atoms
from engine.program import ByChance, ForEach, Program, Statement, Wait, lines_of
from engine.trace import Broke, Record, SceneIs, Told
from wayside.journal.file import Entry
from wayside.journal.watch import does
from wayside.wording import duration

ABOUT_US = 10  # what is no further apart is at one instant: some acts come a microsecond late
# orders that no scene gives: how it began, and what somebody else on the station did
_NOT_COMPARED = ("begins", "put right", "another hand")


class Event(NamedTuple):
    """Something that both must have. `sort`: scene, rule or output."""

    at_us: int
    sort: str
    subject: str
    did: str

    @property
    def words(self) -> str:
        return f"{'rule ' if self.sort == 'rule' else ''}{self.subject} {self.did} at {duration(self.at_us)}"


class Apart(NamedTuple):
    """Where they differ first, in microseconds of the rehearsal, and how, in words."""

    at_us: int
    words: str


def played(program: Program, trace: Iterable[Record], without: frozenset[str], until_us: int) -> list[Event]:
    """What a trace has. `without`: scenes that are left out, and what they tell outputs."""
    outputs, trains = program.layout.outputs, ask_trains(program)
    found = []
    for one in trace:
        if one.at_us > until_us:
            continue
        match one:
            case SceneIs(at_us, scene, state) if scene not in without:
                found.append(Event(at_us, "scene", scene, state))
            case Broke(at_us, rule) if rule not in trains:
                found.append(Event(at_us, "rule", rule, "broken"))
            case Told(at_us, output, _, scene) if outputs[output].guarded and scene not in without:
                if one.why not in _NOT_COMPARED:
                    found.append(Event(at_us, "output", output, does(program, one)))
    return sorted(found, key=lambda one: one.at_us)


def said(
    program: Program, entries: Iterable[Entry], without: frozenset[str], from_us: int, until_us: int
) -> list[Event]:
    """What the journal has, its instants from the beginning of the rehearsal."""
    outputs, trains = program.layout.outputs, ask_trains(program)
    found = []
    for one in entries:
        at_us, details = (one.at_us or 0) - from_us, one.details
        if at_us > until_us:
            continue
        match one.kind:
            case "scene" if one.subject not in without:
                found.append(Event(at_us, "scene", one.subject, str(details.get("state"))))
            case "rule" if one.subject not in trains:
                found.append(Event(at_us, "rule", one.subject, "broken"))
            case "output" if details.get("scene") not in without and details.get("why") not in _NOT_COMPARED:
                if one.subject not in outputs or outputs[one.subject].guarded:
                    found.append(Event(at_us, "output", one.subject, str(details.get("does"))))
    return sorted(found, key=lambda one: one.at_us)


def apart(ours: Sequence[Event], theirs: Sequence[Event]) -> Apart | None:
    """Where what was played leaves what the journal says; None if nowhere. Each scene, rule and output for itself."""
    found = list(_differences(ours, theirs))
    if not found:
        return None
    at_us, mine, other = min(found, key=lambda one: (one[0], str(one[1:])))
    return Apart(at_us, f"the journal has {_words(other)}, the rehearsal {_words(mine)}")


def ending_otherwise(ours: Sequence[Event], theirs: Sequence[Event]) -> frozenset[str]:
    """The scenes that begin alike, and of which the first thing that differs is when they have ended."""
    first: dict[str, bool] = {}
    for _, *pair in _differences(ours, theirs):
        for one in pair:
            if one is not None and one.sort == "scene":
                first.setdefault(one.subject, any(it is not None and it.did == "ended" for it in pair))
    return frozenset(name for name, ends in first.items() if ends)


def _differences(ours: Sequence[Event], theirs: Sequence[Event]) -> Iterator[tuple[int, Event | None, Event | None]]:
    """The instant of each, what was played and what the journal has."""
    mine, others = _by_subject(ours), _by_subject(theirs)
    for key in mine.keys() | others.keys():
        for pair in zip_longest(mine.get(key, ()), others.get(key, ())):
            if not _alike(*pair):
                yield min(one.at_us for one in pair if one is not None), *pair


def scenery_by_chance(program: Program) -> frozenset[str]:
    """Scenes that draw times or turns and tell no guarded output anything.

    What is drawn hangs on how often the line was drawn for since the show began, which no rehearsal can begin with.
    """
    outputs = program.layout.outputs
    return frozenset(
        name
        for name, scene in program.scenes.items()
        if any(map(_draws, lines_of(scene.block))) and not any(outputs[one].guarded for one in scene.writes)
    )


def _draws(line: Statement) -> bool:
    match line:
        case Wait(_, low_us, high_us):
            return low_us != high_us
        case ForEach(_, _, apart_us, random_order):
            return random_order or (apart_us is not None and apart_us[0] != apart_us[1])
    return isinstance(line, ByChance)


def but_for(events: Iterable[Event], scenes: frozenset[str]) -> list[Event]:
    """Without the beginnings and ends of some scenes."""
    return [one for one in events if one.sort != "scene" or one.subject not in scenes]


def _by_subject(events: Iterable[Event]) -> dict[tuple[str, str], list[Event]]:
    """Of several orders to one output at about one instant the last counts: only that was sent."""
    found: dict[tuple[str, str], list[Event]] = defaultdict(list)
    for one in events:
        before = found[one.sort, one.subject]
        if one.sort == "output" and before and one.at_us - before[-1].at_us <= ABOUT_US:
            before.pop()
        before.append(one)
    return found


def _alike(mine: Event | None, other: Event | None) -> bool:
    return (
        mine is not None and other is not None and mine.did == other.did and abs(mine.at_us - other.at_us) <= ABOUT_US
    )


def _words(event: Event | None) -> str:
    return "nothing like it" if event is None else event.words


def ask_trains(program: Program) -> frozenset[str]:
    """Rules about where trains are: a show takes that from its detectors, a rehearsal from trains; here are none."""
    return frozenset(
        rule.name
        for rule in program.rules.values()
        if any(atom.sort is Sort.TRAIN for line in rule.lines for one in line.conditions for atom in atoms(one.term))
    )
