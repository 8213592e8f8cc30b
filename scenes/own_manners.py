"""A manner of the writer's own, compiled from its lines: a list of levels, one that sways, or one like another.

Knows how each line reads and its bounds; where names are looked up is not its business.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from scenes import quantities
from scenes.names import OPEN, Names, Refused, Scope
from scenes.nodes import Node, Word

if TYPE_CHECKING:
    from engine.courses import Script
    from engine.flicker import Manner

    Find = Callable[[Word, Scope], Manner]  # the manner that a name means

MOST_LEGS = 100  # lines of a manner that is a list of levels
SHORTEST_US = 10_000  # of one level: a hundredth of a second; no lamp and no eye is quicker


class Own(NamedTuple):
    """A manner of the writer's own. `script`: it is a list of levels, so that a lamp can also come on like it."""

    manner: Manner
    script: Script | None


def compiled(names: Names, name: str, node: Node, find: Find) -> Own:
    """The manner of a `manner` node. Raises `Refused` after reporting what is wrong with it."""
    if any(node.nodes("broken")):  # half of it is not what was meant
        raise Refused
    lines = {kind: list(node.nodes(kind)) for kind in ("leg", "sways", "varied")}
    given = [kind for kind, found in lines.items() if found]
    if not given:
        what = f"`{name}` has neither levels nor a manner that it is like"
        raise names.refuse(node.place, what, "write lines such as `70 % for 2 s`, or `like candle`")
    if len(given) > 1:
        second = sorted((lines[kind][0] for kind in given), key=lambda one: one.place.line)[1]
        what = "a manner is a list of levels, or it sways, or it is like another: one of the three"
        raise names.refuse(second.place, what, "make two manners of it")
    if given == ["leg"]:
        own = _listed(names, name, lines["leg"])
    elif given == ["sways"]:
        own = _swaying(names, name, lines["sways"])
    else:
        own = _like(names, lines["varied"], find)
    return _varied(names, name, node, own)


# --- the three sorts -----------------------------------------------------------------------------------------------


def _listed(names: Names, name: str, lines: list[Node]) -> Own:
    from engine.courses import Ease, Leg, Script
    from engine.flicker import Listed

    if len(lines) > MOST_LEGS:
        what = f"a manner has at most {MOST_LEGS} levels"
        raise names.refuse(lines[MOST_LEGS].place, what, "make it shorter; it is run over and over")
    legs = []
    for line in lines:
        word, part = line.word("PERCENT"), line.node("for", "over")
        time = part.word("DURATION", "NAME") if part else None
        if word is None or part is None or time is None:
            raise Refused
        level = float(names.quantity(word, OPEN, "PERCENT", quantities.share))
        us = names.duration(time)
        if us < SHORTEST_US:
            what = f"a level that lasts {time.text} is not seen"
            instead = f"write a time such as `2 s`, or at least `{quantities.say_us(SHORTEST_US)}`"
            raise names.refuse(part.place, what, instead)
        legs.append(Leg(us, level, Ease.HOLD if part.kind == "for" else Ease.EVEN))
    script = Script.of(*legs)
    return Own(Listed(name, script), script)


def _swaying(names: Names, name: str, lines: list[Node]) -> Own:
    """Each line is an octave that is high and low in turn, so that it swings just as often as the line says."""
    from engine.flicker import OCTAVES, Octave, Swaying

    if len(lines) > OCTAVES:
        what = f"a manner sways in at most {OCTAVES} ways at once"
        raise names.refuse(lines[OCTAVES].place, what, "take one out: nobody could tell them apart")
    octaves = []
    for line in lines:
        rate, by = line.word("RATE"), line.word("PERCENT")
        if rate is None:
            raise Refused
        points = names.quantity(rate, OPEN, "RATE", _points_a_second)
        weight = float(names.quantity(by, OPEN, "PERCENT", quantities.share)) if by else 1.0
        if not weight:
            what = "a lamp that sways by 0 % stands still"
            raise names.refuse(line.place, what, "write for example `by 60 %`, or take the line out")
        octaves.append(Octave(points, weight, 1.0))
    # together they fill what they say of the way between the two levels, about its middle; never more than all of it
    margin = max(0.0, 1.0 - sum(octave.weight for octave in octaves)) / 2
    return Own(Swaying.of(name, tuple(sorted(octaves)), margin, 1.0 - margin), None)


def _points_a_second(word: Word) -> float:
    """A swing has a high and a low point."""
    from engine.flicker import RATES

    swings = quantities.split(word.text)[0]
    points = float(swings) / 30
    if not RATES[0] <= points <= RATES[1]:
        bounds = f"write a rate from {RATES[0] * 30:g} to {RATES[1] * 30:g} a minute"
        raise quantities.OutOfRange(f"nobody would see a lamp sway {word.text}", bounds)
    return points


def _like(names: Names, lines: list[Node], find: Find) -> Own:
    if len(lines) > 1:
        raise names.refuse(lines[1].place, "a manner is like one other", "leave one `like` line")
    manner = find(lines[0].words()[0], OPEN)
    return Own(manner, _list_in(manner))


def _list_in(manner: Manner) -> Script | None:
    """The list of levels that a manner is, if it is one and not a shallower one."""
    from engine.flicker import Listed, Varied
    from engine.ways import scaled

    if isinstance(manner, Varied) and manner.depth == 1.0:
        script = _list_in(manner.manner)
        return script and scaled(script, max(1, round(script.length_us / manner.pace)))
    return manner.script if isinstance(manner, Listed) else None


# --- quicker, slower, shallower ------------------------------------------------------------------------------------


def _varied(names: Names, name: str, node: Node, own: Own) -> Own:
    from engine.flicker import PACES, Varied
    from engine.ways import scaled

    pace, depth = _figure(names, node, "pace"), _figure(names, node, "depth")
    if not depth:
        what = "a manner with a depth of 0 % stands still"
        raise names.refuse(next(node.nodes("depth")).place, what, "write for example `depth 60 %`")
    whole = pace * _pace_of(own.manner)
    if not PACES[0] * 0.999 <= whole <= PACES[1] * 1.001:
        what = f"with the pace of what it is like, this makes {whole * 100:g} %, and that cannot be seen"
        bounds = f"{PACES[0] * 100:g} % and {PACES[1] * 100:g} %"
        raise names.refuse(next(node.nodes("pace")).place, what, f"write a pace that keeps it between {bounds}")
    if (pace, depth) == (1.0, 1.0) and not any(node.nodes("varied")):
        return own
    script = own.script if depth == 1.0 else None  # a shallower one never comes to full light
    if script is not None:
        script = scaled(script, max(1, round(script.length_us / pace)))
    return Own(Varied(own.manner, pace, depth, name), script)


def _figure(names: Names, node: Node, kind: str) -> float:
    """The share that a `pace` or `depth` line gives; 1 where there is none."""
    lines = list(node.nodes(kind))
    if len(lines) > 1:
        raise names.refuse(lines[1].place, f"`{kind}` stands here for the second time", "leave one of them")
    word = lines[0].word("PERCENT") if lines else None
    if word is None:
        return 1.0
    if kind == "pace":
        return names.quantity(word, OPEN, "PERCENT", quantities.pace)
    return float(names.quantity(word, OPEN, "PERCENT", quantities.share))


def _pace_of(manner: Manner) -> float:
    """How quick a manner is by all the paces that it is varied with."""
    from engine.flicker import Varied

    pace = 1.0
    while isinstance(manner, Varied):
        pace, manner = pace * manner.pace, manner.manner
    return pace
