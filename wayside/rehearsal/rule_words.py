"""What rules have come to, in words: margins, what broke, what was to blame. Judges nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from engine.conditions import Atom, as_shown
from engine.layout import Place
from engine.monitors import Verdict
from engine.program import Program, Rehearsal, RuleLine
from engine.rules import Judgement
from engine.trace import Broke, Record
from wayside.pictures.rows import RuleMark
from wayside.rehearsal.explaining import Story
from wayside.rehearsal.judging import to_blame
from wayside.wording import count, duration

VERDICTS = {
    Verdict.HELD: "kept",
    Verdict.BROKEN: "broken",
    Verdict.OPEN: "open",
    Verdict.SILENT: "idle",
}


@dataclass(frozen=True, slots=True)
class RuleOutcome:
    """One line of a rule, judged. If it broke: what happened, the line that did it if one did, and who took part."""

    judgement: Judgement
    what_happened: str = ""
    place: Place | None = None
    subjects: tuple[str, ...] = ()

    @property
    def kept(self) -> bool:
        return self.judgement.verdict is not Verdict.BROKEN

    @property
    def at_us(self) -> int | None:
        """When it broke first."""
        return self.judgement.breaches[0].at_us if self.judgement.breaches else None


class Closest(NamedTuple):
    """A line of a rule over several rehearsals: the worst verdict, the least margin and where it was found."""

    judgement: Judgement
    where: str


# what a line of each form expects of its first two conditions at the instant at which it breaks
_WANTED = {
    "never": (False, False),
    "always": (True, False),
    "at least before": (True, False),
    "before": (True, False),
    "whenever within": (False, True),
    "at most": (False, False),
    "at least": (True, False),
}


def outcome(program: Program, rehearsal: Rehearsal, trace: Sequence[Record], judgement: Judgement) -> RuleOutcome:
    """A judgement with its words; only one that is broken has any."""
    if judgement.verdict is not Verdict.BROKEN:
        return RuleOutcome(judgement)
    blamed = guilty(judgement)
    story = Story(program, rehearsal, until_broken(trace, judgement), judgement.breaches[0].at_us)
    states = story.states(blamed)
    said = f"{happened(judgement)}; {states}" if states else happened(judgement)
    subjects = tuple(dict.fromkeys(atom.subject for atom in blamed))
    return RuleOutcome(judgement, said, story.cause(blamed), subjects)


def until_broken(trace: Sequence[Record], judgement: Judgement) -> Sequence[Record]:
    """The trace up to a line's first breach: what it set off in the same instant is not to blame."""
    first, place = judgement.breaches[0], judgement.line.place
    for number, record in enumerate(trace):
        if isinstance(record, Broke) and record.place == place and record.since_us == first.since_us:
            return trace[:number]
    return trace


def guilty(judgement: Judgement) -> tuple[Atom, ...]:
    """What was to blame, of what was so when the line first broke."""
    wanted = _WANTED[judgement.line.form.removesuffix(" while")]
    so = set(judgement.guilty)
    terms = [condition.term for condition in judgement.line.conditions]

    def holds(atom: Atom) -> bool:
        return as_shown(atom) in so

    found = (atom for term, want in zip(terms, wanted, strict=False) for atom in to_blame(term, want, holds))
    return tuple(dict.fromkeys(found))


# --- what broke ----------------------------------------------------------------------------------------------------


def happened(judgement: Judgement) -> str:
    """`it was so at 24 s, for 1.2 s`: when and how the line first broke, and how often it did."""
    said = _HAPPENED[judgement.line.form.removesuffix(" while")](judgement)
    more = judgement.broken - 1
    return f"{said}, and {count(more, 'time')} more" if more else said


def _never(judgement: Judgement) -> str:
    at_us, since_us = judgement.breaches[0]
    line, margin = judgement.line, judgement.margin
    if line.times_us:
        return f"it was so from {duration(since_us)} on, for longer than {duration(line.times_us[0])}"
    said = "it was not so" if line.form.startswith("always") else "it was so"
    lasted = -margin.amount if margin is not None and judgement.unit == "us" and judgement.broken == 1 else 0
    if judgement.unit != "us" and margin is not None:
        return f"{said} at {duration(at_us)}, by {amount(-margin.amount, judgement.unit)}"
    return f"{said} at {duration(at_us)}{f', for {duration(round(lasted))}' if lasted else ''}"


def _lead(judgement: Judgement) -> str:
    at_us, since_us = judgement.breaches[0]
    what, came = (_words(judgement.line, number) for number in (0, 1))
    if at_us == since_us:
        return f"at {duration(at_us)} {came} came, and {what} had not held before"
    return f"at {duration(at_us)} {came} came, and {what} had held for {duration(at_us - since_us)} only"


def _earlier(judgement: Judgement) -> str:
    first, second = (_words(judgement.line, number) for number in (0, 1))
    return f"at {duration(judgement.breaches[0].at_us)} {second} began to hold, and {first} had not before"


def _follows(judgement: Judgement) -> str:
    at_us, since_us = judgement.breaches[0]
    return f"it began at {duration(since_us)}, and by {duration(at_us)} {_words(judgement.line, 1)} had not followed"


def _at_most(judgement: Judgement) -> str:
    at_us, since_us = judgement.breaches[0]
    times = judgement.line.count + 1
    if not judgement.line.times_us:
        return f"at {duration(at_us)} it began for time {times}"
    return f"it began {count(times, 'time')} from {duration(since_us)} to {duration(at_us)}"


def _at_least(judgement: Judgement) -> str:
    at_us, since_us = judgement.breaches[0]
    return f"from {duration(since_us)} to {duration(at_us)} it began fewer than {count(judgement.line.count, 'time')}"


_HAPPENED: dict[str, Callable[[Judgement], str]] = {
    "never": _never,
    "always": _never,
    "at least before": _lead,
    "before": _earlier,
    "whenever within": _follows,
    "at most": _at_most,
    "at least": _at_least,
}


def _words(line: RuleLine, number: int) -> str:
    return f"`{line.conditions[number].words}`"


# --- margins -------------------------------------------------------------------------------------------------------


def amount(value: float, unit: str) -> str:
    """`1.2 s`, `2 times`, `12 %`, `3.5 deg`."""
    if unit == "us":
        return duration(round(value))
    if unit == "times":
        return count(round(value), "time")
    return f"{value:.3g} {unit}"


def margin(judgement: Judgement) -> str:
    """`1.2 s to spare at 24 s`, `nothing to spare at 8 s`, `400 ms short at 12 s`; empty where nothing came near."""
    found = judgement.margin
    if found is None:
        return ""
    short = judgement.verdict is Verdict.BROKEN
    size = abs(found.amount)
    said = amount(size, judgement.unit) if size else "nothing"
    word = "broken by" if short else ""
    return f"{word} {said}".strip() if short else f"{said} to spare"


def closest(found: Iterable[tuple[str, Sequence[Judgement]]]) -> list[Closest]:
    """Each line of each rule, in the order written, over several rehearsals: `found` is their names and judgements."""
    worst: dict[Place, Closest] = {}
    for name, judgements in found:
        for judgement in judgements:
            place = judgement.line.place
            if place not in worst or _rank(judgement) < _rank(worst[place].judgement):
                worst[place] = Closest(judgement, name)
    return list(worst.values())


def _rank(judgement: Judgement) -> tuple[int, float]:
    """The worse, the less; an open line is no worse than one that was kept, so its margin goes before it."""
    least = judgement.margin.amount if judgement.margin is not None else float("inf")
    verdict = judgement.verdict
    return (0 if verdict is Verdict.BROKEN else 2 if verdict is Verdict.SILENT else 1, least)


def table(lines: Sequence[Closest], one: bool) -> Iterator[str]:
    """A row a line: `  kept    road-closed  line 56  2 s to spare at 24 s in one-train`."""
    rows = [(_row(closest, one)) for closest in lines]
    widths = [max(len(row[column]) for row in rows) for column in range(3)] if rows else []
    for row in rows:
        cells = [f"{cell:<{width}}" for cell, width in zip(row, widths, strict=False)]
        yield f"  {'  '.join([*cells, row[3]])}".rstrip()


def _row(closest: Closest, one: bool) -> tuple[str, str, str, str]:
    judgement, where = closest
    said = margin(judgement) or _NOTHING.get(judgement.verdict, "")
    found = judgement.margin
    if found is not None:
        said += f" at {duration(found.at_us)}{'' if one else f' in {where}'}"
    if judgement.verdict is Verdict.OPEN:
        said = f"not over at the end{f'; {said}' if found is not None else ''}"
    return VERDICTS[judgement.verdict], judgement.rule.name, f"line {judgement.line.place.line}", said


_NOTHING = {
    Verdict.HELD: "never came near",
    Verdict.SILENT: "nothing that it speaks of happened",
}


def broken(outcomes: Iterable[RuleOutcome]) -> list[RuleOutcome]:
    return [one for one in outcomes if not one.kept]


def rule_marks(judgements: Iterable[Judgement]) -> list[RuleMark]:
    """Where each line came closest, for a picture."""
    return [_mark(one) for one in judgements]


def _mark(judgement: Judgement) -> RuleMark:
    found = judgement.margin
    return RuleMark(
        judgement.rule.name, judgement.line.place.line, None if found is None else found.at_us, margin(judgement)
    )
