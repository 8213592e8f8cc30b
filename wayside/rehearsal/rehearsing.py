"""Plays one rehearsal in virtual time: kernel and emulated layout joined, expectations judged, failures put in words.

The referee. Knows no files, no command line and no drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import chain

from adapters.simulator import World, link_of
from adapters.trains import itinerary
from engine.conditions import Atom, Becomes, Term, atoms
from engine.drive import jump
from engine.kernel import Kernel
from engine.layout import NOWHERE, Layout, Place
from engine.program import Act, Begin, Deed, EachTime, Expectation, Program, Rehearsal
from engine.rules import Judgement, Rules, sentences
from engine.trace import Noted, Record, SceneIs, Trouble
from engine.watchers import Watch
from wayside.rehearsal import rule_words
from wayside.rehearsal.explaining import Story
from wayside.rehearsal.judging import History, Verdict, horizon_us, judge, to_blame
from wayside.rehearsal.playing import drivers_see
from wayside.rehearsal.rule_words import RuleOutcome
from wayside.wording import duration

LONGEST_REHEARSAL_US = 3_600_000_000  # where nothing gives a rehearsal an end and its scenes never finish: an hour

Progress = Callable[[float], None]  # hears the share of the longest that it can take, 0 to 1


@dataclass(frozen=True, slots=True)
class Outcome:
    """One expectation, judged. If it failed: what happened, when, the line that did it, if one did, and the subjects
    that did not do what was expected of them."""

    expectation: Expectation
    passed: bool
    what_happened: str = ""
    at_us: int | None = None
    place: Place | None = None
    subjects: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one rehearsal. `notes` are for the reader: nothing failed by them."""

    rehearsal: Rehearsal
    outcomes: tuple[Outcome, ...]
    trace: tuple[Record, ...]
    ended_us: int
    seed: int
    notes: tuple[str, ...] = field(default=())
    rules: tuple[RuleOutcome, ...] = field(default=())  # one a line of every rule, in the order written

    @property
    def troubles(self) -> tuple[Trouble, ...]:
        """What was cut or refused. Any of it fails the rehearsal."""
        return tuple(record for record in self.trace if isinstance(record, Trouble))

    @property
    def passed(self) -> bool:
        outcomes = all(outcome.passed for outcome in self.outcomes)
        return outcomes and not self.troubles and all(rule.kept for rule in self.rules)


@dataclass(frozen=True, slots=True)
class Run:
    """A rehearsal played once, with the histories of the terms that were watched."""

    trace: tuple[Record, ...]
    ended_us: int
    histories: dict[Term, History]
    under_way: bool  # trains or hands were not done yet
    cut: bool  # it ended at the limit, not because it was over
    unheard: tuple[tuple[int, Act], ...]
    judgements: tuple[Judgement, ...]
    too_early: tuple[tuple[str, str], ...]  # scenes that wait for a change, and what held from the first instant on


def rehearse(
    program: Program, rehearsal: Rehearsal, seed: int | None = None, progress: Progress | None = None
) -> Result:
    """Play it and judge it. The seed given goes before the one written in the rehearsal; without either it is 0.

    `progress` hears how far it has come; where it failed it starts again, since what did it is found by playing again.
    """
    seed = seed if seed is not None else rehearsal.seed or 0
    conditions = chain.from_iterable((one.condition, one.other) for one in rehearsal.expectations)
    run = _play(program, rehearsal, seed, [one.term for one in conditions if one is not None], progress)
    verdicts = [_judge(one, run) for one in rehearsal.expectations]
    outcomes = _explain(program, rehearsal, seed, run, verdicts, progress)
    remarks: Iterable[Record] = chain(_never_done(program.layout, rehearsal), _unheard(run))
    records = list[Record](run.trace)
    records.extend(remarks)
    records.sort(key=lambda record: record.at_us)
    rules = tuple(rule_words.outcome(program, rehearsal, run.trace, one) for one in run.judgements)
    return Result(
        rehearsal, outcomes, tuple(records), run.ended_us, seed, tuple(_notes(program, rehearsal, run)), rules
    )


def play(program: Program, scene: str, from_s: int | None, for_us: int, seed: int | None = None) -> Result:
    """One scene, started by name at a layout time (seconds after midnight), for a time; nothing is expected of it."""
    free = Rehearsal(scene, NOWHERE, begins_at_s=from_s, plays=((NOWHERE, scene, 0),), lasts_us=for_us)
    return rehearse(program, free, seed)


# --- playing -------------------------------------------------------------------------------------------------------


def _play(
    program: Program, rehearsal: Rehearsal, seed: int, terms: Sequence[Term], progress: Progress | None = None
) -> Run:
    kernel = Kernel(program, seed, rehearsal.begins_at_s)
    world = World(program.layout, rehearsal.trains, _hands(rehearsal), drivers_see(kernel, program.layout))
    for begin in rehearsal.begins:
        _begin(begin, kernel, world)
    rules = Rules(kernel, sentences(program.rules.values()))
    before = {term: kernel.holds(term) for term in terms}
    watches = {term: kernel.watch(term) for term in before}
    edges = _edges(program, kernel) if _anything_at_once(rehearsal) else []
    end = horizon(rehearsal)
    until = LONGEST_REHEARSAL_US if end is None else end + 1  # the end's own instant included
    last = jump(kernel, world, until, None if progress is None else partial(_tell, progress, until))
    more = [due for due in (kernel.next_due(), world.next_due()) if due is not None]
    cut = end is None and bool(more)
    ended = end if end is not None else LONGEST_REHEARSAL_US if cut else last
    histories = {term: History(watch.changes, ended, before[term]) for term, watch in watches.items()}
    trace = tuple(kernel.trace)
    early = tuple((scene, words) for scene, words, watch in edges if _too_early(scene, watch, trace))
    under_way, judgements = world.next_due() is not None, rules.judgements(ended)
    return Run(trace, ended, histories, under_way, cut, tuple(world.unheard), judgements, early)


def _anything_at_once(rehearsal: Rehearsal) -> bool:
    return any(train.from_us == 0 for train in rehearsal.trains) or any(act.at_us == 0 for act in rehearsal.acts)


def _edges(program: Program, kernel: Kernel) -> list[tuple[str, str, Watch]]:
    """Scenes that start at a change, with what they wait for, where that does not hold before the first instant."""
    heads = [(name, head) for name, scene in program.scenes.items() for head in scene.heads]
    edges = [(name, head.condition) for name, head in heads if isinstance(head, EachTime)]
    states = [(name, one.words, one.term.term if isinstance(one.term, Becomes) else one.term) for name, one in edges]
    return [(name, words, kernel.watch(term)) for name, words, term in states if not kernel.holds(term)]


def _too_early(scene: str, watch: Watch, trace: Sequence[Record]) -> bool:
    """Whether what it waits for came about in the first instant, which counts as having held from the beginning."""
    started = any(isinstance(record, SceneIs) and record.scene == scene and not record.at_us for record in trace)
    return bool(watch.changes) and watch.changes[0] == (0, True) and not started


def _tell(progress: Progress, until_us: int, now_us: int) -> None:
    progress(now_us / until_us)


def _hands(rehearsal: Rehearsal) -> list[Act]:
    """All that hands do, in the order written: a scene that is played is a start by name."""
    plays = [Act(place, at_us, Deed.START, scene) for place, scene, at_us in rehearsal.plays]
    return sorted([*plays, *rehearsal.acts], key=lambda act: act.place)


def _begin(begin: Begin, kernel: Kernel, world: World) -> None:
    if begin.detector_state is not None:
        kernel.set_detector(begin.subject, begin.detector_state)
        world.begins(begin.subject, begin.detector_state)
    elif begin.subject in kernel.stage.flags:
        kernel.set_flag(begin.subject, bool(begin.value))
    elif begin.subject in kernel.stage.counters:
        kernel.count(begin.subject, round(begin.value) - kernel.stage.counters[begin.subject])
    else:
        kernel.set_output(begin.subject, begin.value)


def horizon(rehearsal: Rehearsal) -> int | None:
    """When the rehearsal is over; None if it says nowhere."""
    ends = [rehearsal.lasts_us, *(horizon_us(one) for one in rehearsal.expectations)]
    return max((end for end in ends if end is not None), default=None)


# --- judging -------------------------------------------------------------------------------------------------------


def _judge(expectation: Expectation, run: Run) -> Verdict:
    other = expectation.other
    return judge(
        expectation, run.histories[expectation.condition.term], None if other is None else run.histories[other.term]
    )


def _explain(
    program: Program,
    rehearsal: Rehearsal,
    seed: int,
    run: Run,
    verdicts: Sequence[Verdict],
    progress: Progress | None,
) -> tuple[Outcome, ...]:
    """Outcomes with their words. Only a failure costs a second run, which is the same run, to see what was to blame."""
    pairs = list(zip(rehearsal.expectations, verdicts, strict=True))
    failed = [expectation.condition.term for expectation, verdict in pairs if not verdict.passed]
    asked: list[Term] = list(dict.fromkeys(atom for term in failed for atom in atoms(term)))
    second = _play(program, rehearsal, seed, asked, progress) if failed else run
    return tuple(_outcome(program, rehearsal, second, *pair) for pair in pairs)


def _outcome(program: Program, rehearsal: Rehearsal, run: Run, expectation: Expectation, verdict: Verdict) -> Outcome:
    if verdict.passed or verdict.at_us is None:
        return Outcome(expectation, verdict.passed, verdict.what, verdict.at_us)
    at_us = verdict.at_us

    def holds(atom: Atom) -> bool:
        return run.histories[atom].at(at_us)

    words = expectation.condition.words
    said = f"{f'`{words}`' if words else 'it'} {verdict.what}"
    if not verdict.explained:
        return Outcome(expectation, False, said, at_us, subjects=_subjects(atoms(expectation.condition.term)))
    guilty = to_blame(expectation.condition.term, verdict.wanted, holds)
    story = Story(program, rehearsal, run.trace, at_us)
    states = story.states(guilty)
    said = f"{said}; {states}" if states else said
    return Outcome(expectation, False, said, at_us, story.cause(guilty), _subjects(guilty))


def _subjects(about: Iterable[Atom]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(atom.subject for atom in about))


# --- remarks -------------------------------------------------------------------------------------------------------


def _never_done(layout: Layout, rehearsal: Rehearsal) -> Iterable[Trouble]:
    """Trains that do not move, and visits that one can never make, since their stretch is not ahead of it."""
    for train in rehearsal.trains:
        if train.speed_um_s <= 0:
            yield Trouble(train.from_us, "a train at 0 mm/s never moves. Give it a speed", (train.place,))
        for visit in itinerary(train, layout.tracks[train.track]).missed:
            way = "reverse" if visit.reverses else "stand"
            text = (
                f"the train never comes to {visit.detector} to {way} there: that stretch is not ahead of it on "
                f"{train.track} then. Name a stretch that it still comes to, in the order in which it comes to them"
            )
            yield Trouble(0, text, (train.place,))


def _unheard(run: Run) -> Iterable[Noted]:
    for at_us, act in run.unheard:
        yield Noted(at_us, "", f"{act.subject} was pressed, but its link was gone: nobody heard it", act.place)


def _notes(program: Program, rehearsal: Rehearsal, run: Run) -> Iterable[str]:
    yield from _empty_links(program.layout, rehearsal)
    for scene, words in run.too_early:
        yield (
            f"{scene} did not start at 0 s: what it waits for ({words or 'its condition'}) came about in the first "
            "instant, which counts as the beginning, and `starts each time` waits for a change. Let the train come, or "
            "the hand act, from 1 s on"
        )
    if run.cut:
        yield (
            f"Nothing in {rehearsal.name} says when it ends, so it was ended after {duration(run.ended_us)}. "
            "Write how long it lasts, such as: lasts 5 min"
        )
    open_ended = any(horizon_us(one) is None for one in rehearsal.expectations)
    if open_ended and run.under_way and rehearsal.lasts_us is None and not run.cut:
        yield (
            f"{rehearsal.name} was over at {duration(run.ended_us)}, the last time that it names, with a train or a "
            "hand still under way; what has no time of its own was judged up to then. Write how long it lasts, "
            "such as: lasts 5 min"
        )
        return
    late = [act.place for act in _hands(rehearsal) if act.at_us > run.ended_us]
    late += [train.place for train in rehearsal.trains if train.from_us > run.ended_us]
    if late:
        longer = "Write how long it lasts, such as: lasts 5 min" if rehearsal.lasts_us is None else "Let it last longer"
        yield (
            f"{rehearsal.name} was over at {duration(run.ended_us)}, before everything written in it had begun "
            f"(see line {min(late).line}). {longer}"
        )


def _empty_links(layout: Layout, rehearsal: Rehearsal) -> Iterable[str]:
    """Links whose loss changes nothing that the rehearsal could see."""
    wirings = [one.wiring for one in layout.detectors.values()] + [one.wiring for one in layout.buttons.values()]
    wired = {link_of(layout, wiring) for wiring in wirings}
    lost = dict.fromkeys(act.subject for act in rehearsal.acts if act.deed is Deed.LOSE_LINK)
    for link in lost:
        if link not in wired:
            yield (
                f"{rehearsal.name} loses link {link}, but the layout file wires no detector or button to it. "
                f"Write link: {link} (or its board) at each that it carries"
            )
