"""Whether a layout's links can carry what was played: advice on the lines that ask too much of them.

Reckons with the pacer that drives the links. Links that say nothing of themselves are not reckoned with.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from engine.layout import Layout, Link
from engine.program import Program
from engine.trace import Record
from scenes.problems import Problem

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
    from wayside.playing import played_alone

    names = list(program.scenes)[:MOST_PLAYED]
    return overloads(program, [played_alone(program, name, PLAY_US) for name in names])


def _on(layout: Layout, link: Link, trace: Sequence[Record], until_us: int) -> Iterable[Problem]:
    from adapters.link_outputs import pace_of
    from adapters.load import ever_full, simulate
    from adapters.load_advice import advice
    from adapters.wires import off_track

    off = off_track(layout, link)
    if not ever_full(layout, trace, until_us, link, pace_of(link), off):
        return
    load = simulate(layout, trace, until_us, link, pace_of(link), off_track=off)
    for one in advice(load):
        also = tuple((place, "and here") for place in one.also)
        yield Problem(one.place, f"{one.what}.", f"{one.instead}.", advice=True, also=also)
