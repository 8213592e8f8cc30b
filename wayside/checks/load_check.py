"""Whether a layout's links can carry what was played: advice on the lines that ask too much of them.

Reckons with the pacer that drives the links. Links that say nothing of themselves are not reckoned with.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from engine.layout import Layout, Link
from engine.program import Program
from engine.trace import Record
from scenes.problems import Problem

SECOND_US = 1_000_000
BEFORE_S, AFTER_S = 1, 3  # that are played around seconds that are too full
PLAYED_S = 120  # of one trace: a line that is full for longer is full at its beginning
MOST_PLAYED = 40  # scenes that one check plays
PLAY_US = 60_000_000
MOST_SAID = 6  # pieces of advice; the worst come first

_SAYS = frozenset(["port", "dialect", "words", "track share", "repeats", "preamble", "commands", "outstanding"])


def stated(layout: Layout) -> list[Link]:
    """The links of which the layout file says more than that they are there."""
    return [link for link in layout.links.values() if _SAYS & {key for key, _ in link.settings}]


def overloads(program: Program, played: Iterable[tuple[Sequence[Record], int]]) -> list[Problem]:
    """Advice for each line that asks more of a link than it carries, over several traces and their ends."""
    links = stated(program.layout)
    found: dict[object, Problem] = {}
    for trace, until_us in played if links else ():
        for link in links:
            for problem in _on(program.layout, link, trace, until_us):
                found.setdefault(problem.place, problem)
    return list(found.values())[:MOST_SAID]


def by_playing(program: Program) -> list[Problem]:
    """The same before anything is rehearsed: each scene is played for a minute, started by name, nothing else going on.

    Only for links that name their port: those are wired, or about to be, and a check should stay quick.
    """
    if not any(link.port for link in program.layout.links.values()):
        return []
    from wayside.rehearsal.playing import played_alone

    names = list(program.scenes)[:MOST_PLAYED]
    return overloads(program, [played_alone(program, name, PLAY_US) for name in names])


def _on(layout: Layout, link: Link, trace: Sequence[Record], until_us: int) -> Iterator[Problem]:
    from adapters.link_outputs import pace_of
    from adapters.load import full_seconds, simulate
    from adapters.load_advice import advice
    from adapters.wires import off_track

    pace, off = pace_of(link), off_track(layout, link)
    for first, last in _spells(full_seconds(layout, trace, until_us, link, pace, off)):
        begin_us, end_us = first * SECOND_US, min(until_us, (last + AFTER_S) * SECOND_US)
        load = simulate(layout, trace, end_us, link, pace, off_track=off, from_us=begin_us)
        for one in advice(load):
            also = tuple((place, "and here") for place in one.also)
            yield Problem(one.place, f"{one.what}.", f"{one.instead}.", advice=True, also=also)


def _spells(seconds: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Full seconds that follow one another closely, from before the first to after the last; only so many in all."""
    spells: list[tuple[int, int]] = []
    for second in seconds:
        if spells and second - spells[-1][1] <= AFTER_S:
            spells[-1] = spells[-1][0], second
        else:
            spells.append((max(0, second - BEFORE_S), second))
    left = PLAYED_S
    for first, last in spells:
        if left <= 0:
            return
        last = min(last, first + left)
        left -= last - first + AFTER_S
        yield first, last
