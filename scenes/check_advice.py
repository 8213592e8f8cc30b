"""Advice: guarded outputs, idle rules, pulses and their feed, short approaches."""

from __future__ import annotations

from collections.abc import Iterator

from engine.conditions import Sort, atoms
from engine.layout import Crossing, Layout, Place, Track
from engine.program import (
    AsLongAs,
    Block,
    EachTime,
    Fade,
    If,
    InOrder,
    Move,
    Program,
    Pulse,
    Repeat,
    Scene,
    Statement,
    Tell,
    Together,
    Wait,
    WaitUntil,
)
from scenes.check_waits import World
from scenes.problems import Problem
from scenes.quantities import say_us
from scenes.walking import every_block, fixed_us, guards, walk, whole


def _advice(place: Place, what: str, instead: str, also: tuple[tuple[Place, str], ...] = ()) -> Problem:
    return Problem(place, what, instead, advice=True, also=also)


# --- guarded outputs and rules -------------------------------------------------------------------------------------


def guarded(program: Program) -> Iterator[Problem]:
    """What a scene with guarded outputs should have: a head that cannot miss, lines for a stop, no blind spot."""
    for scene in program.scenes.values():
        names = guards(scene, program.layout)
        if not names:
            continue
        if scene.when_stopped is None:
            what = f"`{scene.name}` tells guarded outputs such as `{names[0]}`, and says nothing about a stop."
            instead = "They will go to their safe state; write `when stopped` and what shall happen instead."
            yield _advice(scene.place, what, instead)
        for head in scene.heads:
            if isinstance(head, EachTime):
                what = f"`{names[0]}` is guarded, and a change that is missed would leave it as it is."
                yield _advice(head.place, what, "Write `runs whenever`, which cannot miss its moment.")
        yield from _blind(scene, program.layout)


def _blind(scene: Scene, layout: Layout) -> Iterator[Problem]:
    """A stretch between detectors that the scene asks, long enough for a whole train to vanish in it."""
    for track in layout.tracks.values():
        asked = [i for i, stretch in enumerate(track.stretches) if stretch.detector in scene.reads]
        unseen = 0
        for index in range(asked[0], asked[-1] + 1) if asked else ():
            unseen = 0 if index in asked else unseen + track.stretches[index].length_mm
            if unseen > track.shortest_train_mm:
                what = (
                    f"On `{track.name}` a train of {track.shortest_train_mm} mm can stand on {unseen} mm of track "
                    f"that `{scene.name}` does not see."
                )
                also = ((track.place, "the track"),)
                instead = "Ask the detectors between as well, or wait for the train to pass."
                yield _advice(scene.place, what, instead, also)
                return


def ruled(program: Program) -> Iterator[Problem]:
    """Rules about outputs that no scene drives: nothing could break them, or keep them."""
    world = World(program)
    for rule in program.rules.values():
        for line in rule.lines:
            asked = (atom for condition in line.conditions for atom in atoms(condition.term))
            idle = next((a.subject for a in asked if a.sort is Sort.OUTPUT and a.subject not in world.driven), None)
            if idle is not None and program.scenes:
                what = f"No scene tells `{idle}` what to do, so this rule says nothing about it."
                yield _advice(line.place, what, "Name the output that is meant, or take the line out.")


# --- pulses --------------------------------------------------------------------------------------------------------


def feeds(program: Program) -> Iterator[Problem]:
    """Pulses that draw on one feed before it has recharged: they queue."""
    for scene in program.scenes.values():
        for block in every_block(*whole(scene)):
            yield from _in_a_row(block, program.layout)
        for statement in walk(*whole(scene)):
            if isinstance(statement, Pulse):
                yield from _on_one_line(statement, program.layout)
            if isinstance(statement, Together):
                firsts = tuple(branch[0] for branch in statement.branches if branch)
                yield from _side_by_side(firsts, program.layout)


def _feeds(pulse: Pulse, layout: Layout) -> dict[str, list[str]]:
    """The outputs of a pulse by the feed that they draw on."""
    found: dict[str, list[str]] = {}
    for name in pulse.outputs:
        feed = layout.outputs[name].feed if name in layout.outputs else None
        if feed in layout.feeds:
            found.setdefault(feed, []).append(name)
    return found


def _on_one_line(pulse: Pulse, layout: Layout) -> Iterator[Problem]:
    for feed, names in _feeds(pulse, layout).items():
        if len(names) > 1 and layout.feeds[feed].recharge_us:
            recharge = say_us(layout.feeds[feed].recharge_us)
            what = f"`{names[0]}` and `{names[1]}` draw on `{feed}`, which recharges for {recharge}: the second waits."
            yield _advice(pulse.place, what, "Nothing is lost; allow for the time, or use another feed.")


def _side_by_side(firsts: Block, layout: Layout) -> Iterator[Problem]:
    seen: dict[str, Pulse] = {}
    for pulse in firsts:
        for feed in _feeds(pulse, layout) if isinstance(pulse, Pulse) else ():
            if feed in seen and isinstance(pulse, Pulse):
                yield _queued(seen[feed], pulse, feed, layout)
            elif isinstance(pulse, Pulse):
                seen[feed] = pulse


def _in_a_row(block: Block, layout: Layout) -> Iterator[Problem]:
    """Lines of one block: the time between two pulses of a feed, as far as the lines between tell it."""
    since: dict[str, tuple[int, Pulse]] = {}
    for statement in block:
        lasts_us = fixed_us(statement)
        if lasts_us is None:
            since.clear()
            continue
        drawn = _feeds(statement, layout) if isinstance(statement, Pulse) else {}
        for feed in drawn:
            waited, before = since.get(feed, (0, None))
            if before is not None and waited < layout.feeds[feed].recharge_us and isinstance(statement, Pulse):
                yield _queued(before, statement, feed, layout)
        since = {feed: (waited + lasts_us, pulse) for feed, (waited, pulse) in since.items() if feed not in drawn}
        if isinstance(statement, Pulse):
            since.update(dict.fromkeys(drawn, (0, statement)))


def _queued(before: Pulse, pulse: Pulse, feed: str, layout: Layout) -> Problem:
    recharge = say_us(layout.feeds[feed].recharge_us)
    what = f"This pulse has to wait: `{feed}` recharges for {recharge} after the pulse before."
    return _advice(pulse.place, what, f"Put `wait {recharge}` between them.", ((before.place, "the pulse before"),))


# --- crossings -----------------------------------------------------------------------------------------------------


def crossings(program: Program) -> Iterator[Problem]:
    """An approach so short that the fastest train is at the road before the last barrier is down."""
    for crossing in program.layout.crossings.values():
        barriers = {*crossing.entrance_barriers, *crossing.exit_barriers}
        for scene in program.scenes.values():
            if not scene.heads or not barriers.intersection(scene.writes):
                continue
            lowered = _Lowering(program.layout, barriers)
            lowered.block(scene.block, 0)
            for track in program.layout.tracks.values():
                yield from _too_short(track, crossing, scene, lowered)


def _too_short(track: Track, crossing: Crossing, scene: Scene, lowered: _Lowering) -> Iterator[Problem]:
    seen = [stretch.detector for stretch in track.stretches]
    road = next((i for i, name in enumerate(seen) if name in crossing.on_the_road), None)
    first = next((i for i, name in enumerate(seen) if name in scene.reads), None)
    if road is None or first is None or first >= road or lowered.place is None:
        return
    length_mm = sum(stretch.length_mm for stretch in track.stretches[first:road])
    runs_us = length_mm * 1_000_000 // track.fastest_mm_s
    if runs_us < lowered.at_us:
        what = (
            f"On `{track.name}` the fastest train is at the road after {_seconds(runs_us)}, "
            f"and the last barrier is down after {_seconds(lowered.at_us)}."
        )
        instead = f"Close sooner, or make the approach longer than its {length_mm} mm."
        yield _advice(lowered.place, what, instead, ((track.place, "the track"),))


def _seconds(us: int) -> str:
    return f"{us / 1_000_000:.3g} s"


class _Lowering:
    """When the last barrier is down, if the scene begins with all at rest and nothing has to be waited for."""

    def __init__(self, layout: Layout, barriers: set[str]) -> None:
        self.layout = layout
        self.barriers = barriers
        self.at_us = 0
        self.place: Place | None = None
        self.over = False  # a line was met whose length the files do not tell

    def block(self, block: Block, now_us: int) -> int:
        for statement in block:
            if self.over:
                break
            now_us = self._after(statement, now_us)
        return now_us

    def _after(self, statement: Statement, now_us: int) -> int:
        match statement:
            case Wait(_, _, high, _):
                return now_us + high
            case Fade(_, _, over):
                return now_us + over
            case Tell(_, _, for_us):
                return now_us + (for_us or 0)
            case Move():
                return self._move(statement, now_us)
            case InOrder(_, block, _) | AsLongAs(_, _, block, _):
                return self.block(block, now_us)
            case If(_, _, block, otherwise):
                return max(self.block(block, now_us), self.block(otherwise, now_us))
            case Together(_, branches):
                return max((self.block(branch, now_us) for branch in branches), default=now_us)
            case Repeat(_, block, _, _):
                now_us = self.block(block, now_us)
                self.over = True
                return now_us
            case WaitUntil():
                self.over = True
                return now_us
            case _:
                return now_us

    def _move(self, move: Move, now_us: int) -> int:
        ends = now_us
        for name, value in move.targets:
            output = self.layout.outputs[name]
            low, high = output.span
            away = abs(value - output.rest.value)
            whole_us = move.over_us if move.over_us is not None else output.itself_us
            end = now_us + round(whole_us * away / abs(high - low)) if high != low else now_us
            ends = max(ends, end)
            if name in self.barriers and away and end >= self.at_us:
                self.at_us, self.place = end, move.place
        return ends
