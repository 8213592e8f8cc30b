"""The lines at the top of a scene: what starts it, what happens when it is started again, what it takes from whom."""

from __future__ import annotations

from collections.abc import Callable

from engine.layout import DAYLIGHT, Place, colour_of
from engine.program import Again, AtTime, EachTime, Every, Head, OnButton, OnlyWhile, Takes, Whenever
from scenes import quantities
from scenes.light import followers
from scenes.names import OPEN, Names, Refused, Scope, Sort
from scenes.nodes import Node, Word
from scenes.writer import Writer


def _whenever(writer: Writer, node: Node) -> Head:
    return Whenever(node.place, writer.lasting(node, OPEN, "runs whenever"))


def _only_while(writer: Writer, node: Node) -> Head:
    return OnlyWhile(node.place, writer.lasting(node, OPEN, "runs only while"))


def _each_time(writer: Writer, node: Node) -> Head:
    return EachTime(node.place, writer.condition(node, OPEN))


def _at_time(writer: Writer, node: Node) -> Head:
    word, clock = node.word("TIME"), node.node("clock")
    if word is None or clock is None:
        raise Refused
    second = writer.names.quantity(word, OPEN, "TIME", quantities.second_of_day)
    return AtTime(node.place, second, clock.word("LAYOUT") is not None)


_ALSO_CALLED = {  # times of the sun by other names
    **dict.fromkeys(("sundown", "sunfall"), "sunset"),
    **dict.fromkeys(("sunup", "morning"), "sunrise"),
    **dict.fromkeys(("twilight", "evening", "nautical-dusk", "civil-dusk"), "dusk"),
    **dict.fromkeys(("daylight", "first-light", "daytime"), "daybreak"),
    **dict.fromkeys(("night", "dark", "darkness", "astronomical-dusk"), "nightfall"),
}


def _at_sun(writer: Writer, node: Node) -> Head:
    """`starts at dusk - 20 min`."""
    return AtTime(node.place, of_the_sun(writer.names, node, node.words()[0], "starts at"), True)


def of_the_sun(names: Names, node: Node, word: Word, at: str) -> int:
    """The second of the layout's day at which something happens to the sun, so much earlier or later as the line says.

    Worked out once, for the place and the date of the layout file. `at` is how the line begins, for messages.
    """
    from engine import daylight

    if word.text not in daylight.EVENTS:
        known = ", ".join(f"`{one}`" for one in daylight.EVENTS)
        what = f"the sun knows no `{word.text}`; it knows {known}"
        time = {"noon": "12:00", "midday": "12:00", "midnight": "0:00"}.get(word.text, "17:45")
        same = _ALSO_CALLED.get(word.text)
        near = f"write `{at} {same}`" if same else names.near(word.text, daylight.EVENTS)
        near = near or f"for a time of day write `{at} {time} layout time`"
        raise names.refuse(word.place, what, near)
    second = daylight.event(names.layout.whereabouts, word.text)
    if second is None:
        what = daylight.why_not(names.layout.whereabouts, word.text).rstrip(".")
        raise names.refuse(word.place, what, f"write a time of day, such as `{at} 17:45 layout time`")
    away = node.word("DURATION")
    away_s, rest_us = divmod(names.duration(away) if away else 0, 1_000_000)
    if away and (rest_us or away_s >= DAY_S):
        what = "a scene starts at a whole second" if rest_us else f"`{away.text}` is a whole day or more"
        raise names.refuse(away.place, what, f"write for example `{at} {word.text} - 20 min`")
    return (second + (-away_s if node.word("MINUS") else away_s)) % DAY_S


def _every(writer: Writer, node: Node) -> Head:
    word = node.word("DURATION")
    every_us = writer.names.duration(word) if word else 0
    if not every_us:
        raise writer.names.refuse(node.place, "a scene cannot start every moment", "write a time such as `20 min`")
    return Every(node.place, every_us)


def _on_button(writer: Writer, node: Node) -> Head:
    symbol = writer.names.look_up(node.words()[0], OPEN, Sort.BUTTON)
    if symbol is None:
        raise Refused
    return OnButton(node.place, symbol.name, writer.time_of(node, "not_again", OPEN) or 0)


DAY_S = 86_400
HEADS: dict[str, Callable[[Writer, Node], Head]] = {
    "whenever": _whenever,
    "only_while": _only_while,
    "each_time": _each_time,
    "at_time": _at_time,
    "at_sun": _at_sun,
    "every": _every,
    "on_button": _on_button,
}
AGAIN = {"carry_on": Again.CARRY_ON, "start_over": Again.START_OVER, "once_more": Again.ONCE_MORE_AFTER}
ONCE = {
    "again": "`if started again`",
    "fit": "`fit into`",
    "accepts": "`accepts flashing`",
    "when_stopped": "`when stopped`",
}
TOP = frozenset({*HEADS, *ONCE, "takes"})


def reason(writer: Writer, node: Node) -> str:
    """Why a scene accepts flashing; without a reason it does not."""
    word = node.word("TEXT")
    text = word.text[1:-1].strip() if word else ""
    if not text:
        what = "flashing is accepted for a reason, and none is given"
        raise writer.names.refuse(
            word.place if word else node.place, what, 'write `because "a lamp the size of a pinhead"`'
        )
    return text


def fit(writer: Writer, node: Node) -> tuple[Place, int]:
    """`fit into 8 s`: where it stands, and the time in which the last barrier shall be down."""
    word = node.word("DURATION")
    us = writer.names.duration(word) if word else 0
    if not us:
        what = "no barrier comes down in no time"
        raise writer.names.refuse(word.place if word else node.place, what, "write a time such as `fit into 8 s`")
    return node.place, us


def takes(writer: Writer, node: Node, scope: Scope = OPEN) -> Takes:
    """`takes GROUP from SCENE`: signals with their parts, lamps with their colour, daylight with what follows it."""
    outputs = node.node("names")
    found = writer.names.members(outputs.words() if outputs else (), scope, Sort.OUTPUT)
    scene = writer.names.look_up(node.words()[0], scope, Sort.SCENE)
    if scene is None or not found:
        raise Refused
    if scene.name == writer.scene:
        raise writer.names.refuse(node.place, "a scene cannot take outputs from itself", "name the other scene")
    named: dict[str, None] = {}
    for _, symbol in found:
        named.setdefault(symbol.name)
        for aspect in symbol.output.aspects if symbol.output else ():
            named.update(dict.fromkeys(part for part, _ in aspect.parts))
        if colour_of(symbol.name) in writer.names.layout.outputs:
            named.setdefault(colour_of(symbol.name))
        if symbol.name == DAYLIGHT:
            named.update(dict.fromkeys(output.name for output in followers(writer.names)))
    return Takes(node.place, tuple(named), scene.name)
