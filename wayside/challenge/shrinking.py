"""A failing case made as small and as round as it can be while it fails alike. Plays cases, prints nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from engine.program import Act, TrainRun
from wayside.challenge.case import BEGINS_US, Case, Field, Line, Played, play
from wayside.challenge.case_menu import Budget, within

Fails = Callable[[Case], bool]

ROUND_US = (10_000_000, 5_000_000, 1_000_000, 500_000, 100_000, 50_000, 10_000, 1_000)
SHORT_US = (1_000_000, 5_000_000, 10_000_000, 20_000_000, 30_000_000, 60_000_000, 120_000_000)
ROUND_MM = (100, 50, 10)
ROUND_UM_S = (10_000, 5_000, 1_000)
MOST_PLAYS = 4_000


def fails_alike(ground: Field, line: Line, budget: Budget, bears: bool) -> Fails:
    """Whether a case breaks this line, is possible, and is on the same side of the budget."""
    return _alike(ground, lambda found: line in found.broken, budget, bears)


def snags_alike(ground: Field, text: str, budget: Budget, bears: bool) -> Fails:
    """Whether the same is cut or refused in a case, it is possible, and on the same side of the budget."""
    return _alike(ground, lambda found: any(snag.text == text for snag in found.snags), budget, bears)


def _alike(ground: Field, shows: Callable[[Played], bool], budget: Budget, bears: bool) -> Fails:
    played = 0

    def fails(case: Case) -> bool:
        nonlocal played
        played += 1
        if played > MOST_PLAYS:
            return False
        found = play(ground, case, to_the_end=True)
        if not found.possible or not shows(found):
            return False
        return not bears or within(case, ground.program, budget, found.unseen_us)

    return fails


def shrunk(case: Case, fails: Fails) -> Case:
    """Until no train, act or habit can be dropped, and no number made rounder, without its passing.

    Each step makes it simpler by one measure, so it comes to an end.
    """
    while True:
        now = _measure(case)
        smaller = next((one for one in _smaller(case) if _measure(one) < now and fails(one)), None)
        if smaller is None:
            return case
        case = smaller


def _measure(case: Case) -> tuple[int, int, int, int]:
    """How far from simple: what happens, habits, ragged numbers, and how long one waits for it all."""
    habits = sum(len(run.visits) + run.ignores_signals + run.locomotive_only for run in case.trains)
    times = [run.from_us for run in case.trains] + [act.at_us for act in case.acts]
    stands = [visit.stands_us for run in case.trains for visit in run.visits]
    lasts = [act.for_us for act in case.acts if act.for_us is not None]
    ragged = sum(_raggedness(time, ROUND_US) for time in (*(time - BEGINS_US for time in times), *stands, *lasts))
    ragged += sum(_raggedness(run.length_mm, ROUND_MM) for run in case.trains)
    ragged += sum(_raggedness(run.speed_um_s, ROUND_UM_S) for run in case.trains)
    return case.size, habits + bool(case.seed), ragged, sum(times) + sum(stands) + sum(lasts)


def _raggedness(value: int, steps: tuple[int, ...]) -> int:
    return next((number for number, step in enumerate(steps) if value % step == 0), len(steps))


def needed(case: Case, fails: Fails) -> bool:
    """Whether every train and every act is needed for the failure."""
    return not any(fails(one) for one in _fewer(case))


def _smaller(case: Case) -> Iterator[Case]:
    yield from _fewer(case)
    if case.seed:
        yield case._replace(seed=0)
    yield from _earlier(case)
    for number, train in enumerate(case.trains):
        for simpler in _simpler_train(train):
            yield case._replace(trains=(*case.trains[:number], simpler, *case.trains[number + 1 :]))
    for number, act in enumerate(case.acts):
        for simpler_act in _simpler_act(act):
            yield case._replace(acts=(*case.acts[:number], simpler_act, *case.acts[number + 1 :]))


def _fewer(case: Case) -> Iterator[Case]:
    for number in range(len(case.trains)):
        yield case._replace(trains=(*case.trains[:number], *case.trains[number + 1 :]))
    for number in range(len(case.acts)):
        yield case._replace(acts=(*case.acts[:number], *case.acts[number + 1 :]))


def _earlier(case: Case) -> Iterator[Case]:
    """The same from the beginning on: nothing need wait for something that was dropped."""
    first = min([*(train.from_us for train in case.trains), *(act.at_us for act in case.acts)], default=BEGINS_US)
    shift = first - BEGINS_US
    if shift > 0:
        trains = tuple(train._replace(from_us=train.from_us - shift) for train in case.trains)
        yield case._replace(trains=trains, acts=tuple(act._replace(at_us=act.at_us - shift) for act in case.acts))


def _simpler_train(train: TrainRun) -> Iterator[TrainRun]:
    if train.visits:
        yield train._replace(visits=())
    if train.ignores_signals:
        yield train._replace(ignores_signals=False)
    if train.locomotive_only:
        yield train._replace(locomotive_only=False)
    yield from (train._replace(from_us=value) for value in _rounder_time(train.from_us))
    yield from (train._replace(length_mm=value) for value in _rounder(train.length_mm, ROUND_MM, least=1))
    yield from (train._replace(speed_um_s=value) for value in _rounder(train.speed_um_s, ROUND_UM_S, least=1000))
    for number, visit in enumerate(train.visits):
        for stands_us in (*_shorter(visit.stands_us), *_rounder(visit.stands_us, ROUND_US, least=0)):
            changed = visit._replace(stands_us=stands_us)
            yield train._replace(visits=(*train.visits[:number], changed, *train.visits[number + 1 :]))


def _simpler_act(act: Act) -> Iterator[Act]:
    yield from (act._replace(at_us=value) for value in _rounder_time(act.at_us))
    if act.for_us is not None:
        times = (*_shorter(act.for_us), *_rounder(act.for_us, ROUND_US, least=1_000))
        yield from (act._replace(for_us=value) for value in times)


def _shorter(time_us: int) -> Iterator[int]:
    """Round times that are shorter, the shortest first: nobody wants to watch a train stand for five minutes."""
    return (time for time in SHORT_US if time < time_us)


def _rounder_time(at_us: int) -> Iterator[int]:
    """Counted from the beginning of the case."""
    return (BEGINS_US + value for value in _rounder(at_us - BEGINS_US, ROUND_US, least=0))


def _rounder(value: int, steps: tuple[int, ...], least: int) -> Iterator[int]:
    """Values near this one that are rounder than it is, the roundest first."""
    for step in steps:
        if value % step == 0:
            return
        for near in (value // step * step, -(-value // step) * step):
            if near >= least:
                yield near
