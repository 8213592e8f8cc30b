"""The search for a case that breaks a rule: first every next event at every phase of a passage, then what came closest,
changed. Yields cases and learns from what came of them; plays nothing itself, so any number of cores can.

The same seed makes the same cases in the same order, on any number of cores. A library for random tests was tried on
paper and not taken: it draws from distributions, where here a product must be covered first; it shrinks draws, where
here trains and faults are to be dropped; and it is none of the packages that a show needs.
"""

from __future__ import annotations

import random
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice

from engine.program import ByChance, ForEach, Program, TrainRun, Visit, Wait, lines_of
from wayside.challenge.case import BEGINS_US, Case, Field, Line, Played
from wayside.challenge.case_menu import Budget, Happening, bases, families, menu, moments, within
from wayside.challenge.phases import Asked, Passage, product
from wayside.challenge.snags import Snags

BATCH = 128  # cases that are out at once; what they teach comes in when all are back
CHANGED = 32  # of them are changes of what came closest: three trains, or a long halt, come up in no pair
POOL = 16  # cases kept of each line of a rule: the closest
ORDERS = 100_000  # different orders of detectors that are counted
THIRDS = 4  # closest cases of two at every phase of which a third train is set, when the product has been played
MOST_SEEDS = 10_000  # that a case draws from
MOST_ACTS = 4  # of hands and faults in one case
NUDGE_US = 3_000_000  # how far a change of time goes, at most
AGAIN = 0.1  # how often a change comes after all is over: what a scene remembers from one time to the next


@dataclass(frozen=True)
class Reach:
    """How far a challenge goes."""

    most_trains: int = 3
    seed: int = 0
    beyond: bool = False


@dataclass
class Covered:
    """What has been played: phases of the scenes times next events, orders of detectors, faults."""

    phases: int = 0  # of the passages that everything else is set against
    pairs: int = 0  # of a phase and a next event that were played
    of_pairs: int = 0  # that there are
    thirds: int = 0  # third trains that were set at every phase of the closest cases of two
    cases: int = 0
    trains: int = 0
    impossible: int = 0  # trains would have run through one another, or there was nothing to play
    kinds: Counter[str] = field(default_factory=Counter)
    orders: set[int] = field(default_factory=set)


@dataclass(frozen=True)
class Failure:
    """A case that broke a line, and whether a scene would have had to bear it."""

    line: Line
    asked: Asked
    within: bool


@dataclass(frozen=True)
class _Near:
    """A case that came close to breaking a line."""

    margin: float
    asked: Asked
    instants: tuple[int, ...]


class Search:
    """`batch` gives the next cases, `learn` takes what came of one. Failures are collected as they come."""

    def __init__(self, ground: Field, budget: Budget, reach: Reach) -> None:
        self.covered = Covered()
        self.failures: list[Failure] = []
        self.snags = Snags()
        self.closest: dict[Line, _Near] = {}
        self._program: Program = ground.program
        self._budget = budget
        self._reach = reach
        self._menu = menu(ground.program, budget)
        self._bases = tuple(bases(self._menu))
        self._dice = random.Random(reach.seed)
        self._pool: dict[Line, list[_Near]] = {}
        self._odd: deque[_Near] = deque(maxlen=POOL * 4)  # an order of detectors that was new
        self._todo: deque[Asked] = deque(Asked(one.at(BEGINS_US) or Case(), (one.kind,)) for one in self._alone())
        self._setting_out = len(self._todo)
        self._draws = _leaves_to_chance(ground.program)
        self._passages: list[Passage] = []
        self._thirds = reach.most_trains > 2  # whether third trains are still to be set

    @property
    def over(self) -> bool:
        """Whether there is nothing left to try: a layout without tracks, hands or faults."""
        return not self._menu

    @property
    def setting_out(self) -> bool:
        """Whether the passages that all else is set against have not all come back yet."""
        return self._setting_out > 0

    def _alone(self) -> Sequence[Happening]:
        """Everything by itself, once: the plain passages first."""
        rest = [one for one in self._menu if one not in self._bases]
        return [*self._bases, *rest]

    def batch(self) -> list[Asked]:
        """The next cases. Empty only if nothing can happen at all."""
        if not self._todo and self._thirds and not self._setting_out:
            self._thirds = False
            self._todo.extend(self._third_trains())
        planned = BATCH if self.setting_out else BATCH - CHANGED
        out = [self._todo.popleft() for _ in range(min(planned, len(self._todo)))]
        if self.setting_out or not self._near():
            return out
        changed = (self._changed() for _ in range(BATCH * 4))
        out += islice((asked for asked in changed if asked is not None), BATCH - len(out))
        return out

    def learn(self, asked: Asked, played: Played) -> None:
        """What came of a case, in the order in which the cases were given out."""
        covered = self.covered
        covered.cases += 1
        covered.trains += len(asked.case.trains)
        if self._setting_out:
            self._setting_out -= 1
            if asked.kinds[0] in [one.kind for one in self._bases]:
                self._passages.append(Passage(asked, played.instants))
            if not self._setting_out:
                self._set_against()
        covered.pairs += asked.pair
        if not played.possible:
            covered.impossible += 1
            return
        covered.kinds.update(asked.kinds)
        bears = within(asked.case, self._program, self._budget, played.unseen_us)
        self.failures += [Failure(line, asked, bears) for line in played.broken]
        if bears or self._reach.beyond:
            self.snags.learn(asked.case, bears, played.snags)
            self._keep(asked, played, bears)

    def _keep(self, asked: Asked, played: Played, bears: bool) -> None:
        for line, (margin, _) in played.margins.items():
            near = _Near(margin, asked, played.instants)
            if bears and (line not in self.closest or margin < self.closest[line].margin):
                self.closest[line] = near
            pool = self._pool.setdefault(line, [])
            if len(pool) < POOL or margin < pool[-1].margin:
                pool.append(near)
                pool.sort(key=lambda one: (one.margin, one.asked.case.size))
                del pool[POOL:]
        order = hash(played.order)
        if order not in self.covered.orders and len(self.covered.orders) < ORDERS:
            self.covered.orders.add(order)
            self._odd.append(_Near(0.0, asked, played.instants))

    # --- every next event at every phase ---------------------------------------------------------------------------

    def _set_against(self) -> None:
        """All that can happen next at every phase of every passage, well mixed, so that a short time sees of all."""
        more = self._reach.most_trains > 1
        found = product(self._passages, [one for one in self._menu if more or not one.trains], self._dice)
        pairs = [one for one in found.pairs if self._may(one.case)]
        self.covered.phases = found.phases
        self.covered.of_pairs = found.whole * len(pairs) // max(1, len(found.pairs))
        self._todo.extend(pairs)

    def _may(self, case: Case) -> bool:
        """One kind of fault at a time, unless more is asked for."""
        return self._reach.beyond or len(families(case, self._program)) < 2

    def _third_trains(self) -> Sequence[Asked]:
        """Plain trains at every phase of the two-train cases that came closest to breaking each rule."""
        near = sorted((one for pool in self._pool.values() for one in pool), key=lambda one: one.margin)
        twos = {one.asked.case: one for one in near if len(one.asked.case.trains) == 2}
        passages = [Passage(one.asked, one.instants) for one in list(twos.values())[:THIRDS]]
        found = product(passages, [one for one in self._bases if one.trains], self._dice)
        thirds = [Asked(one.case, one.kinds) for one in found.pairs if self._may(one.case)]
        self.covered.thirds = len(thirds)
        return thirds

    # --- what came closest, changed --------------------------------------------------------------------------------

    def _near(self) -> bool:
        return bool(self._pool or self._odd)

    def _changed(self) -> Asked | None:
        """A case near to a failure, changed once or more; None if the change came to nothing."""
        dice = self._dice
        pools = [*self._pool.values(), *([list(self._odd)] if self._odd else [])]
        near = dice.choice(dice.choice(pools))
        asked = near.asked
        for _ in range(1 + (dice.random() < 0.5) + (dice.random() < 0.25)):
            asked = dice.choice(_CHANGES)(self, asked, near.instants)
        if asked.case == near.asked.case or len(asked.case.trains) > self._reach.most_trains:
            return None
        if len(asked.case.acts) > MOST_ACTS:
            return None
        return asked if self._may(asked.case) else None

    def _instant(self, instants: tuple[int, ...]) -> int:
        """An instant at which something happened, or near one; now and then when all is over."""
        dice = self._dice
        if instants and dice.random() < AGAIN:
            return max(BEGINS_US, instants[-1] + NUDGE_US)
        at_us = dice.choice(instants) if instants else 0
        nudge = dice.choice((0, 0, -1_000, 1_000, dice.randint(-NUDGE_US, NUDGE_US)))
        return max(BEGINS_US, at_us + nudge)

    def _add(self, asked: Asked, instants: tuple[int, ...]) -> Asked:
        happening = self._dice.choice(self._menu)
        if happening.trains and len(asked.case.trains) >= self._reach.most_trains:
            return asked
        added = happening.at(self._instant(instants), self._dice.choice(happening.moments))
        return asked if added is None else asked.joined(added, happening.kind)

    def _retime(self, asked: Asked, instants: tuple[int, ...]) -> Asked:
        """Another instant for one train or one act."""
        trains, acts = list(asked.case.trains), list(asked.case.acts)
        number = self._dice.randrange(len(trains) + len(acts)) if trains or acts else -1
        if 0 <= number < len(trains):
            trains[number] = self._train_retimed(trains[number], instants)
        elif number >= 0:
            number -= len(trains)
            acts[number] = acts[number]._replace(at_us=self._instant(instants))
        return Asked(asked.case._replace(trains=tuple(trains), acts=tuple(acts)), asked.kinds)

    def _train_retimed(self, train: TrainRun, instants: tuple[int, ...]) -> TrainRun:
        moment_us = self._dice.choice(moments(train, self._program.layout.tracks[train.track]))
        from_us = self._instant(instants) - moment_us
        if from_us < BEGINS_US:
            from_us = max(BEGINS_US, train.from_us + self._dice.randint(-NUDGE_US, NUDGE_US))
        return train._replace(from_us=from_us)

    def _other_train(self, asked: Asked, instants: tuple[int, ...]) -> Asked:
        """Another length or speed for one train, or a halt."""
        trains = list(asked.case.trains)
        if not trains:
            return asked
        number = self._dice.randrange(len(trains))
        train, dice = trains[number], self._dice
        track = self._program.layout.tracks[train.track]
        match dice.randrange(3):
            case 0:
                longest = max(track.shortest_train_mm * 6, track.shortest_train_mm + 1)
                train = train._replace(length_mm=dice.randint(track.shortest_train_mm, longest))
            case 1:
                share = dice.choice((1.0, 1.0, 0.75, 0.5, 0.3, dice.uniform(0.1, 1.0)))
                train = train._replace(speed_um_s=max(1000, round(track.fastest_mm_s * share) * 1000))
            case _:
                seen = [one.detector for one in track.stretches if one.detector is not None]
                halt = Visit(dice.choice(seen), dice.randint(1, 60) * 1_000_000, dice.random() < 0.3) if seen else None
                train = train._replace(visits=(halt,) if halt and not train.visits else ())
        trains[number] = train
        return Asked(asked.case._replace(trains=tuple(trains)), asked.kinds)

    def _other_length(self, asked: Asked, instants: tuple[int, ...]) -> Asked:
        """Another time for which a fault lasts."""
        acts = list(asked.case.acts)
        lasting = [number for number, act in enumerate(acts) if act.for_us is not None]
        if not lasting:
            return self._add(asked, instants)
        number = self._dice.choice(lasting)
        for_us = acts[number].for_us or 0
        longest = self._budget.release_us - 1_000 if acts[number].state == "clear" else 30_000_000
        most = max(2_000, longest if not self._reach.beyond else longest * 3)
        for_us = self._dice.choice((for_us * 2, for_us // 2, self._dice.randint(1_000, most), most))
        acts[number] = acts[number]._replace(for_us=max(1_000, min(for_us, most)))
        return Asked(asked.case._replace(acts=tuple(acts)), asked.kinds)

    def _drop(self, asked: Asked, instants: tuple[int, ...]) -> Asked:
        trains, acts = list(asked.case.trains), list(asked.case.acts)
        if len(trains) + len(acts) < 2:
            return asked
        number = self._dice.randrange(len(trains) + len(acts))
        if number < len(trains):
            del trains[number]
        else:
            del acts[number - len(trains)]
        return Asked(asked.case._replace(trains=tuple(trains), acts=tuple(acts)), asked.kinds)

    def _other_draw(self, asked: Asked, instants: tuple[int, ...]) -> Asked:
        """Another seed, where the scenes leave anything to chance."""
        if not self._draws:
            return self._retime(asked, instants)
        return Asked(asked.case._replace(seed=self._dice.randrange(1, MOST_SEEDS)), asked.kinds)


def _leaves_to_chance(program: Program) -> bool:
    lines = (line for scene in program.scenes.values() for line in lines_of(scene.block))
    for line in lines:
        match line:
            case Wait(low_us=low, high_us=high) if low != high:
                return True
            case ByChance() | ForEach(random_order=True):
                return True
            case ForEach(apart_us=(low, high)) if low != high:
                return True
    return False


_CHANGES = (
    Search._add,
    Search._add,
    Search._retime,
    Search._retime,
    Search._other_train,
    Search._other_length,
    Search._other_draw,
    Search._drop,
)
