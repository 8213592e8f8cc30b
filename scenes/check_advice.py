"""Advice: guarded outputs, idle rules, pulses and their feed."""

from __future__ import annotations

from collections.abc import Iterator

from engine.conditions import Sort, atoms
from engine.layout import Layout, Place
from engine.program import (
    Block,
    EachTime,
    Program,
    Pulse,
    Scene,
    Together,
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
    for scene in program.named_scenes.values():
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
