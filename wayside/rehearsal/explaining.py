"""What a condition's subjects were doing at an instant, and which line had made them so: read from the trace alone.

Serves the text of a failed expectation. Knows nothing of how the trace was made.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from adapters.simulator import link_of
from engine.conditions import Atom, Sort
from engine.layout import NOWHERE, Kind, Output, Place
from engine.program import Act, Count, Deed, Program, Rehearsal, SetFlag, Statement
from engine.trace import ButtonIs, CounterIs, Did, FlagIs, LinkIs, Record, Saw, SceneIs, Told, TrainOn, TrainTaken
from engine.waves import Flashing, Steady, Wave, endless, under_way
from wayside.rehearsal.trace_words import statements, value

MOST_STATES_SAID = 4  # subjects described in one sentence
BEGINS = "begins"  # why an output shows something before the first instant

# why an output shows something that no line of its scene told it in so many words
_WHYS = {
    "rest": ", at rest since {scene} was stopped",
    "safe": ", in its safe state since {scene} was stopped",
    "dropped": ", left so when its line was dropped",
    "given back": ", given back to {scene}",
    "longest time on": ", its longest time on being over",
}
_WHYS_UNASKED = _WHYS | {"rest": ", at rest", "safe": ", in its safe state"}  # no scene held it
_STOPPING = ("stopping", "stopped")

_DEEDS_ON = {
    Sort.DETECTOR: (Deed.STAYS, Deed.BECOMES),
    Sort.BUTTON: (Deed.PRESS, Deed.LET_GO),
    Sort.LINK: (Deed.LOSE_LINK, Deed.MEND_LINK),
}


class Story:
    """A rehearsal's trace up to and with one instant."""

    def __init__(self, program: Program, rehearsal: Rehearsal, trace: Sequence[Record], at_us: int) -> None:
        self._program = program
        self._layout = program.layout
        self._rehearsal = rehearsal
        self._trace = [record for record in trace if record.at_us <= at_us]
        self._at_us = at_us

    def states(self, atoms: Iterable[Atom]) -> str:
        """`near-barrier was moving, 40 % of the way raised to lowered; lane was occupied`."""
        said = list(dict.fromkeys(self._state(atom) for atom in atoms))
        more = len(said) - MOST_STATES_SAID
        if more > 0:
            said = [*said[:MOST_STATES_SAID], f"and {more} more"]
        return "; ".join(said)

    def cause(self, atoms: Iterable[Atom]) -> Place | None:
        """The line behind the last thing that happened to any of the subjects."""
        found = [one for atom in dict.fromkeys(atoms) for one in self._causes(atom)]
        latest = max(found, key=lambda one: one[:2], default=None)
        return None if latest is None or latest[2] == NOWHERE else latest[2]

    # --- causes ----------------------------------------------------------------------------------------------------

    def _causes(self, atom: Atom) -> list[tuple[int, int, Place]]:
        """The last record about the subject, as (instant, place in the trace, line written); none or one."""
        for index in range(len(self._trace) - 1, -1, -1):
            record = self._trace[index]
            if subject(record) != (atom.sort, atom.subject):
                continue
            return [(record.at_us, index, self._line(record, index))]
        return []

    def _line(self, record: Record, index: int) -> Place:
        match record:
            case Told(why="rest" | "safe"):
                return self._stopper(record, index)
            case SceneIs(scene=scene, state="ended" | "stopped", place=place) if place == NOWHERE:
                return self._finish(scene, index)
            case Told(place=place) | SceneIs(place=place):
                return place
            case TrainOn(train=train):
                return self._rehearsal.trains[train].place
            case Saw(at_us, detector, _):
                return self._behind_detector(detector, at_us)
            case ButtonIs(at_us, name, _):
                return self._hand(Sort.BUTTON, name, at_us)[1]
            case LinkIs(at_us, name, _):
                return self._hand(Sort.LINK, name, at_us)[1]
            case _:
                return self._setter(record, index)

    def _stopper(self, told: Told, index: int) -> Place:
        """What stopped the scene whose outputs went to rest or to their safe states."""
        for earlier in reversed(self._trace[:index]):
            if isinstance(earlier, SceneIs) and earlier.scene == told.scene and earlier.state in _STOPPING:
                return earlier.place if earlier.place != NOWHERE else told.place
        return told.place

    def _finish(self, scene: str, index: int) -> Place:
        """Behind a scene whose last line has run: what stopped it, or else the scene itself."""
        for earlier in reversed(self._trace[:index]):
            if isinstance(earlier, SceneIs) and earlier.scene == scene:
                asked = earlier.state in _STOPPING and earlier.place != NOWHERE
                return earlier.place if asked else self._program.scenes[scene].place
        return self._program.scenes[scene].place

    def _behind_detector(self, detector: str, at_us: int) -> Place:
        """A train, a hand or a lost link: whichever was the last not later than the report."""
        rolled = (
            (record.at_us, self._rehearsal.trains[record.train].place)
            for record in self._trace
            if isinstance(record, TrainOn) and record.detector == detector and record.at_us <= at_us
        )
        link = link_of(self._layout, self._layout.detectors[detector].wiring)
        hands = [self._hand(Sort.DETECTOR, detector, at_us)]
        hands += [self._hand(Sort.LINK, link, at_us)] if link is not None else []
        return max([*rolled, *hands], key=lambda one: one[0])[1]

    def _hand(self, sort: Sort, name: str, at_us: int) -> tuple[int, Place]:
        """When a hand last did something to the subject (or stopped doing it), and the line that says so."""
        mine = [act for act in self._rehearsal.acts if act.subject == name and act.deed in _DEEDS_ON[sort]]
        moments = [(moment, act.place) for act in mine for moment in _moments(act) if moment <= at_us]
        return max(moments, key=lambda one: one[0], default=(-1, NOWHERE))

    def _setter(self, record: Record, index: int) -> Place:
        """The line behind a flag or counter: the last that was done just before, or the only one that can have."""
        could = {place for place, line in statements(self._program).items() if _sets(line, record)}
        for earlier in reversed(self._trace[: index + 1]):
            if earlier.at_us != record.at_us:
                break
            if isinstance(earlier, Did) and earlier.place in could:
                return earlier.place
        return could.pop() if len(could) == 1 else NOWHERE

    # --- states ----------------------------------------------------------------------------------------------------

    def _state(self, atom: Atom) -> str:
        mine = [record for record in self._trace if subject(record) == (atom.sort, atom.subject)]
        name = atom.subject
        if atom.sort is Sort.OUTPUT:
            return self._output(name, mine)
        if atom.sort is Sort.TRAIN:
            if mine and isinstance(mine[-1], TrainTaken):
                return f"{'a' if mine[-1].on else 'no'} train was taken to be on {name}"
            there = {record.train: record.on for record in mine if isinstance(record, TrainOn)}
            return f"{'a' if any(there.values()) else 'no'} train was on {name}"
        if not mine:
            return f"{name} {self._untouched(atom)}"
        match mine[-1]:
            case Saw(state=state) | LinkIs(state=state):
                return f"{name} was {state}"
            case SceneIs(state=state):
                return f"scene {name} was {state}" if state != "ended" else f"scene {name} had ended"
            case ButtonIs(pressed=pressed):
                return f"{name} was {'pressed' if pressed else 'let go'}"
            case FlagIs(value=flag):
                return f"{name} was {'remembered' if flag else 'not remembered'}"
            case CounterIs(value=number):
                return f"{name} was {number}"
        return name

    def _untouched(self, atom: Atom) -> str:
        begun = {one.subject: one.detector_state for one in self._rehearsal.begins}
        words = {
            Sort.DETECTOR: f"was still {begun.get(atom.subject) or 'clear'}",
            Sort.SCENE: "had not been started",
            Sort.BUTTON: "had not been pressed",
            Sort.FLAG: "had not been remembered",
            Sort.COUNTER: "was still 0",
        }
        return words.get(atom.sort, "had not changed since the beginning")

    def _output(self, name: str, mine: list[Record]) -> str:
        output = self._layout.outputs[name]
        subject = f"the colour of {name.partition(' ')[0]}" if output.kind is Kind.COLOUR else name
        told = mine[-1] if mine else None
        if isinstance(told, Told) and told.why != BEGINS:
            why = (_WHYS if told.scene else _WHYS_UNASKED).get(told.why, "").format(scene=told.scene)
            return f"{subject} was {self._shows(output, told.wave)}{why}"
        rest: Wave = Steady(output.rest.value)
        if output.rest.blink is not None:
            rest = Flashing(0, output.rest.blink)
        shown = self._shows(output, told.wave if isinstance(told, Told) else rest)
        return f"{subject} was still {shown}: no line had told it anything"

    def _shows(self, output: Output, wave: Wave) -> str:
        words = value(output, wave.value_at(self._at_us))
        if endless(wave) and output.kind is not Kind.COLOUR:
            shown = "lit" if words == "on" else "dark" if words == "off" else f"at {words}"
            return f"{wave.state.value}, {shown}"
        if wave.ends_us is not None and under_way(wave, self._at_us):
            began = wave.turns(-1) or 0
            ends = {
                value(output, wave.value_at(wave.ends_us)): "nearly ",
                value(output, wave.value_at(began)): "still ",
            }
            near = ends.get(words, "")
            return f"{'moving' if output.kind is Kind.SERVO else 'fading'}, {near}{words}"
        return words


def _moments(act: Act) -> tuple[int, ...]:
    return (act.at_us,) if act.for_us is None else (act.at_us, act.at_us + act.for_us)


def _sets(line: Statement, record: Record) -> bool:
    match line, record:
        case SetFlag(flag=flag, value=value), FlagIs(flag=name, value=now):
            return (flag, value) == (name, now)
        case Count(counter=counter), CounterIs(counter=name):
            return counter == name
        case _:
            return False


def subject(record: Record) -> tuple[Sort, str] | None:
    """What a record is about, in the name spaces of conditions."""
    match record:
        case Told(output=name):
            return Sort.OUTPUT, name
        case Saw(detector=name):
            return Sort.DETECTOR, name
        case SceneIs(scene=name):
            return Sort.SCENE, name
        case TrainOn(detector=name) | TrainTaken(detector=name):
            return Sort.TRAIN, name
        case ButtonIs(button=name):
            return Sort.BUTTON, name
        case FlagIs(flag=name):
            return Sort.FLAG, name
        case CounterIs(counter=name):
            return Sort.COUNTER, name
        case LinkIs(link=name):
            return Sort.LINK, name
        case _:
            return None
