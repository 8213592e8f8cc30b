"""Rules in a live show, in words: each breach with what came before it and what is done, and at the end how all stand.

Keeps the last records and, of what happened before them, the last of each subject. Judges nothing, draws nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from engine.breaches import Deed
from engine.conditions import Atom, Test, atoms
from engine.layout import NOWHERE
from engine.monitors import Breach, Verdict
from engine.program import Begin, Program, Rehearsal, Rule
from engine.rules import Broken, Judgement
from engine.trace import Began, Broke, Did, Ended, Record, Saw
from wayside import wording
from wayside.rehearsal import event_list, rule_words
from wayside.rehearsal import trace_words as words
from wayside.rehearsal.explaining import Story, subject

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_RECORDS = 500  # kept, of the last
KEPT_US = 60_000_000  # seconds of them
EXCERPT_US = 10_000_000  # before a breach, of which its announcement tells
MOST_LINES = 12  # of an excerpt; the last
TOLD_EVERY_US = 60_000_000  # one rule in full; what breaks in between is counted
INDENT = " " * 10


class _Tally:
    """How often one rule has broken, and what has been said of it."""

    def __init__(self) -> None:
        self.broken = self.unsaid = 0
        self.last_us = 0
        self.told_us: int | None = None


class RuleTeller:
    """Hears every record and every breach of a show, and says what a person should know."""

    def __init__(self, program: Program, lines: Mapping[str, list[str]], say: Callable[[str], None]) -> None:
        self._say = say
        self._records: deque[Record] = deque()
        self._before: dict[object, Record] = {}
        self._tallies: dict[str, _Tally] = {}
        self.perform(program, lines)
        unknown = tuple(Begin(NOWHERE, name, "unknown") for name in program.layout.detectors)
        self._began = Rehearsal("", NOWHERE, begins=unknown)

    def perform(self, program: Program, lines: Mapping[str, list[str]]) -> None:
        """Tell of this program's rules from now on. Of one that is gone, only that it has broken is still known."""
        self._program = program
        self._bare = replace(program, scenes={})  # an excerpt has no lines of scenes, and looking them up takes time
        self._lines = lines
        before = self._tallies
        broken = {name: tally for name, tally in before.items() if tally.broken}
        self._tallies = {name: before.get(name) or _Tally() for name in program.rules} | broken
        self._places = words.Places(line.place.file for rule in program.rules.values() for line in rule.lines)

    @property
    def any_broken(self) -> bool:
        return any(tally.broken for tally in self._tallies.values())

    def record(self, record: Record) -> None:
        """Keep it for a while."""
        records = self._records
        records.append(record)
        while len(records) > MOST_RECORDS or records[0].at_us < record.at_us - KEPT_US:
            old = records.popleft()
            about = subject(old)
            if about is not None:
                self._before.pop(about, None)
                self._before[about] = old

    # --- a breach --------------------------------------------------------------------------------------------------

    def broken(self, one: Broken, deed: Deed) -> None:
        """Say at once that a line has broken, if nothing has been said of its rule within the last minute."""
        now_us = one.breach.at_us
        tally = self._tallies[one.rule.name]
        tally.broken, tally.last_us = tally.broken + 1, now_us
        if tally.told_us is not None and now_us - tally.told_us < TOLD_EVERY_US:
            if now_us == tally.told_us:
                self._say("\n".join(self._beside(one)))
            else:
                tally.unsaid += 1
            return
        unsaid, tally.told_us, tally.unsaid = tally.unsaid, now_us, 0
        try:
            said = "\n".join(self._announced(one, deed, unsaid))
        except Exception as problem:  # a show does not end because of something that can't be put in words
            said = f"{self._headline(one)}\n{INDENT}more can't be said of it, for a reason of our own: {problem!r}"
        self._say(said)

    def _headline(self, one: Broken) -> str:
        at = words.clock(one.breach.at_us)
        return f"{at:>8}  rule {one.rule.name} is broken   ({self._places(one.line.place)})"

    def _announced(self, one: Broken, deed: Deed, unsaid: int) -> Iterator[str]:
        yield self._headline(one)
        yield from (f"{INDENT}    {line}" for line in self._written(one))
        yield f"{INDENT}{self._what_was(one)}"
        for name in self._unproven(one):
            yield f"{INDENT}{name} says clear, and nothing has proven it; if nothing stands there, type {name} clear"
        if unsaid:
            yield f"{INDENT}it has broken {wording.count(unsaid, 'time')} more since that was last said"
        yield f"{INDENT}{_done(one.rule, deed)}"
        before = self._excerpt(one)
        if before:
            yield f"{INDENT}before it:"
            yield from (f"{INDENT}    {line}" for line in before)

    def _beside(self, one: Broken) -> Iterator[str]:
        """Another line of a rule that has just been told of."""
        yield f"{INDENT}and so is   ({self._places(one.line.place)})"
        yield from (f"{INDENT}    {line}" for line in self._written(one))

    def _written(self, one: Broken) -> list[str]:
        place = one.line.place
        return [line.strip() for line in self._lines.get(place.file, [])[place.line - 1 : place.line]]

    def _unproven(self, one: Broken) -> Iterator[str]:
        """Detectors that say clear where a train is taken to be, so that a person may know better."""
        for name in (atom.subject for atom in one.guilty if atom.test is Test.TRAIN_ON):
            said = [record for record in self._past if isinstance(record, Saw) and record.detector == name]
            if said and said[-1].state == "clear":
                yield name

    @property
    def _past(self) -> list[Record]:
        """Of long ago the last of each subject, of the last minute everything."""
        return [*self._before.values(), *self._records]

    def _what_was(self, one: Broken) -> str:
        at_us, since_us = one.breach
        breach = Breach(to_the_millisecond(at_us), to_the_millisecond(since_us))
        judgement = Judgement(one.rule, one.line, Verdict.BROKEN, None, "us", (breach,), 1, one.guilty)
        states = Story(self._program, self._began, self._past, at_us).states(rule_words.guilty(judgement))
        said = rule_words.happened(judgement)
        return f"{said}; {states}" if states else said

    def _excerpt(self, one: Broken) -> list[str]:
        """The last that happened to what the line is about, as lines of the event list."""
        asked = {_about(atom) for condition in one.line.conditions for atom in atoms(condition.term)}
        asked |= {("detector", name) for sort, name in asked if sort == "train"}
        from_us = one.breach.at_us - EXCERPT_US
        found = [record for record in self._records if record.at_us >= from_us and self._concerns(record, asked)]
        header_and_rule = 2
        return list(event_list.lines(found, self._bare))[header_and_rule:][-MOST_LINES:] if found else []

    def _concerns(self, record: Record, asked: set[tuple[str, str]]) -> bool:
        if isinstance(record, Began | Ended | Did | Broke):
            return False
        about = subject(record)
        return about is not None and (about[0].value, about[1]) in asked

    # --- how all stand ---------------------------------------------------------------------------------------------

    def opening(self, taken_by: Sequence[str], unproven: Sequence[str]) -> str:
        """What is watched. `taken_by`: detectors by which rules ask for trains; `unproven`: whose clear has to do."""
        if not self._program.rules:
            return ""
        said = f"{wording.count(len(self._program.rules), 'rule')} watched: {wording.listed(list(self._tallies), 8)}."
        if not taken_by:
            return said
        open_ended = [name for name in taken_by if name in unproven]
        but = (
            f" For {wording.listed(open_ended, 4)} nothing can prove it, since a train may leave unseen: there, clear "
            "has to do."
            if open_ended
            else ""
        )
        return (
            f"{said} Rules about trains go by the last proven passage, as detectors tell it, which is weaker than "
            f"where trains truly are.{but}"
        )

    def standing(self) -> list[str]:
        """For a screen: the rules that have broken, a line each."""
        return [
            f"rule {name} has broken {wording.count(tally.broken, 'time')}, the last at {words.clock(tally.last_us)}"
            for name, tally in self._tallies.items()
            if tally.broken
        ]

    def tallies(self) -> dict[str, tuple[int, int]]:
        """For each rule how often it has broken, and when last, in microseconds."""
        return {name: (tally.broken, tally.last_us) for name, tally in self._tallies.items()}

    def closing(self, judgements: Iterable[Judgement]) -> list[str]:
        """At the end of the show: every line of every rule."""
        found = rule_words.closest([("", [_rounded(one) for one in judgements])])
        if not found:
            return []
        head = wording.count(len(found), "line of the rules", "lines of the rules")
        return [f"{head}, and what each had to spare where it came closest:", *rule_words.table(found, True)]


def to_the_millisecond(us: int) -> int:
    """A show's instants are no round ones, and nobody reads microseconds."""
    return us // 1_000 * 1_000


def _rounded(judgement: Judgement) -> Judgement:
    found = judgement.margin
    if found is None:
        return judgement
    amount = to_the_millisecond(round(found.amount)) if judgement.unit == "us" else found.amount
    return judgement._replace(margin=found._replace(amount=amount, at_us=to_the_millisecond(found.at_us)))


def _about(atom: Atom) -> tuple[str, str]:
    return atom.sort.value, atom.subject


def _done(rule: Rule, deed: Deed) -> str:
    if deed.ending:
        return "the show is ending, which leaves everything safe: nothing else is done about it"
    if deed.lines:
        return "what its `if broken` says runs still" if deed.again else "what its `if broken` says begins"
    if not deed.safe:
        return "nothing is done about it: it reads no guarded output, and says nothing under `if broken`"
    if not deed.stopped:
        alone = len(deed.safe) == 1
        goes, them = ("goes to its", "it") if alone else ("go to their", "them")
        return f"{wording.listed(list(deed.safe), 4)} {goes} safe state, until a scene that drives {them} begins"
    names = wording.listed(list(deed.stopped), 4)
    one = len(deed.stopped) == 1
    return (
        f"{names} {'is' if one else 'are'} stopped, and {'its' if one else 'their'} guarded outputs go to their safe "
        f"state; when all is well, type start {deed.stopped[0]}"
    )
