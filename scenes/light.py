"""Lines about light alone: flicker, show, fade daylight; the colour of a lamp; the ways in which lamps come on.

What a lamp cannot do is answered here with what to write, or what the layout file must say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from engine.layout import DAYLIGHT, Itself, Kind, Output, colour_of
from engine.program import Come, Flickers, Level, Order, Shows, Statement, Tell, Through
from scenes import quantities
from scenes.manners import Way
from scenes.names import Names, Refused, Scope
from scenes.nodes import Node, Word
from scenes.telling import how, is_a
from scenes.writer import Writer

if TYPE_CHECKING:
    from engine.characters import Character

Wrong = tuple[str, str] | None
Told = list[tuple[Output, Order]]

GLIDE_US = 500_000  # a flicker that says nothing of it begins within this time from what the lamp shows
_COLOURS = {  # the letters of a chart, and what a layout file may call them
    "W": ("white",),
    "R": ("red",),
    "G": ("green",),
    "Y": ("yellow", "amber"),
    "Bu": ("blue",),
    "Vi": ("violet",),
    "Or": ("orange", "amber"),
    "Am": ("amber", "yellow"),
}
_WARM, _COOL = ("warm", "warm-white", "candlelight"), ("cool", "cold", "cool-white", "cold-white")
_SAME_COURSE = {  # other words for what daylight fades through
    **dict.fromkeys(("sunset", "evening", "twilight", "sundown", "nautical-dusk"), "dusk"),
    **dict.fromkeys(("sunrise", "morning", "sunup", "day"), "dawn"),
    "night": "nightfall",
}


def dims(output: Output, needs: str) -> Wrong:
    """Whether it is a lamp with levels between on and off."""
    if output.kind is not Kind.LAMP:
        return f"{is_a(output)}, and only a lamp {needs}", how(output)
    if output.itself is Itself.FLICKERS:
        return f"`{output.name}` flickers by itself: its board does it", f"write `turn on {output.name}`"
    if not output.dimmable:
        say = f"write `turn on {output.name}`, or in the layout file `dimmable: yes` for it if its board can dim"
        return f"`{output.name}` is switched only, and only a lamp that dims {needs}", say
    return None


def coming(writer: Writer, node: Node, scope: Scope, on: bool) -> Order | None:
    """The order of a line's `like NAME` part for a lamp that is turned on or off."""
    like = node.node("like")
    if like is None:
        return None
    word = like.words()[0]
    found = writer.manners.coming(word, scope, on)
    return Come(float(on), *found) if isinstance(found, Way) else Flickers(found, 0.0, 1.0, 0)


def flicker(writer: Writer, node: Node, scope: Scope) -> Statement:
    outputs = writer.outputs(node, scope, lambda output: dims(output, "flickers"))
    like = node.node("like")
    if like is None:
        raise Refused
    manner = writer.manners.flicker(like.words()[0], scope)
    low, high = _between(writer, node, scope)
    over_us = writer.time_of(node, "over", scope)
    order = Flickers(manner, low, high, GLIDE_US if over_us is None else over_us)
    return told(writer, node, scope, [(output, order) for output in outputs])


def _between(writer: Writer, node: Node, scope: Scope) -> tuple[float, float]:
    part = node.node("between")
    if part is None:
        return 0.0, 1.0
    words = [word for word in part.parts if isinstance(word, Word)]
    low, high = (float(writer.names.quantity(word, scope, "PERCENT", quantities.share)) for word in words)
    if low >= high:
        turned = (
            f"write `between {words[1].text} and {words[0].text}`" if low > high else "write two levels that differ"
        )
        raise writer.names.refuse(part.place, "the first level is not below the second", turned, scope)
    return low, high


def told(writer: Writer, node: Node, scope: Scope, orders: Told) -> Statement:
    """Orders that take no time; with `for` they take that long, and each output then does again what it did before."""
    for_us = writer.time_of(node, "for", scope)
    if for_us == 0:
        raise writer.names.refuse(node.place, "for no time at all, nothing would be seen", "write `for 3 s`", scope)
    for output, _ in orders:
        longest = output.longest_on_us
        if for_us is not None and longest is not None and for_us > longest:
            what = f"`{output.name}` may be on for {quantities.say_us(longest)} at a time (layout file)"
            raise writer.names.refuse(node.place, what, f"write `for {quantities.say_us(longest)}` or less", scope)
    return Tell(node.place, tuple((output.name, order) for output, order in orders), for_us)


# --- characters ----------------------------------------------------------------------------------------------------


def show(writer: Writer, node: Node, scope: Scope) -> Statement:
    from engine.characters import NotRead, read  # few files have one

    outputs = writer.outputs(node, scope, _shows)
    word = node.word("TEXT")
    if word is None:
        raise Refused
    try:
        character = read(word.text[1:-1])
    except NotRead as no:
        place = word.place
        column = place.column + 1 + no.column
        at = place._replace(column=column, end_column=max(column + 1, min(column + no.length, place.end_column)))
        raise writer.names.refuse(at, no.what, no.instead, scope) from no
    orders: Told = []
    for output in outputs:
        orders.append((output, Shows(character.script(), character.text)))
        orders += _coloured(writer, word, scope, output, character)
    return told(writer, node, scope, orders)


def _shows(output: Output) -> Wrong:
    if output.kind is not Kind.LAMP:
        return f"{is_a(output)}, and only a lamp shows a character", how(output)
    if output.itself in (Itself.FLASHES, Itself.FLICKERS):
        return f"`{output.name}` works by itself, as set on its board", f"write `turn on {output.name}`"
    return None


def _coloured(writer: Writer, text: Word, scope: Scope, lamp: Output, character: Character) -> Told:
    """What the colour of the lamp must do for a character; a lamp of one colour is what it is."""
    from engine.courses import Leg, Script

    colour = colour_output(writer.names, lamp)
    letters = character.colours
    if colour is None or not colour.aspects:
        if len(letters) > 1 or (colour is not None and letters != ("W",)):
            has = "has one colour" if colour is None else "has white light only"
            named = ", ".join(_COLOURS[letter][0] for letter in dict.fromkeys(("W", *letters)))
            what = f"`{lamp.name}` {has}, and `{character.text}` is {_joined(letters)}"
            instead = f"write a character of one colour, or give the lamp `colours: [{named}]` in the layout file"
            raise writer.names.refuse(text.place, what, instead, scope)
        return []
    known = [aspect.name for aspect in colour.aspects]
    index: dict[str | None, int] = {}
    for letter in letters:
        found = next((known.index(name) for name in _COLOURS[letter] if name in known), None)
        if found is None:
            what = f"`{lamp.name}` has no {' or '.join(_COLOURS[letter])}; it has {', '.join(known)}"
            raise writer.names.refuse(text.place, what, "write a character of its colours", scope)
        index[letter] = found
    writer.claim([colour])
    if len(letters) == 1:
        return [(colour, Level(float(index[letters[0]])))]
    shown, legs = index[letters[0]], []
    for phase in character.phases:
        shown = index.get(phase.colour, shown)  # through an eclipse the colour stays as it was
        legs.append(Leg(phase.us, shown / (len(known) - 1)))
    return [(colour, Shows(Script.of(*legs), character.text, float(len(known) - 1)))]


def _joined(letters: tuple[str, ...]) -> str:
    return " and ".join(_COLOURS[letter][0] for letter in letters)


# --- colour --------------------------------------------------------------------------------------------------------


def colour_output(names: Names, lamp: Output) -> Output | None:
    """The output that is a lamp's colour, if the layout file gives it one."""
    return names.layout.outputs.get(colour_of(lamp.name))


def temperatures(writer: Writer, node: Node, scope: Scope, target: Word) -> list[tuple[Output, float]]:
    """The colours of a line's lamps and the mired of its target, such as `2700 K`."""
    kelvin = writer.names.quantity(target, scope, "KELVIN", quantities.kelvin)
    lamps = writer.outputs(node, scope, lambda output: _has_whites(writer.names, output))
    found: list[tuple[Output, float]] = []
    for lamp in lamps:
        colour = colour_output(writer.names, lamp)
        assert colour is not None
        assert colour.mired is not None
        warm, cool = colour.mired
        mired = 1e6 / kelvin
        if not min(warm, cool) - 1e-6 <= mired <= max(warm, cool) + 1e-6:
            bounds = f"{1e6 / warm:.0f} K to {1e6 / cool:.0f} K"
            what = f"`{lamp.name}` shines from {bounds} (layout file), and {target.text} is outside"
            raise writer.names.refuse(target.place, what, f"write a colour from {bounds}", scope)
        found.append((colour, mired))
    writer.claim(colour for colour, _ in found)
    return found


def _has_whites(names: Names, output: Output) -> Wrong:
    colour = colour_output(names, output) if output.kind is Kind.LAMP else None
    if colour is not None and colour.mired is not None:
        return None
    if output.kind is not Kind.LAMP:
        return f"{is_a(output)}, and only a lamp has a colour of light", how(output)
    if colour is not None:
        named = " or ".join(f"`set {output.name} to {aspect.name}`" for aspect in colour.aspects)
        return f"`{output.name}` has colours of its own, not a temperature", f"write {named}"
    what = f"`{output.name}` has one colour only"
    return what, "for a lamp with two whites write `whites: 2200 K to 6500 K` in the layout file"


def no_colour(names: Names, lamp: Output, said: str) -> tuple[str, str]:
    """What to say of a lamp that is to go to a word which is none of its colours."""
    from engine.daylight import COURSES

    colour = colour_output(names, lamp)
    if said in COURSES:
        what = f"`{lamp.name}` is a lamp, and only daylight goes through `{said}`"
        return what, f"write `fade daylight through {said} over 4 min`"
    if colour is not None and colour.mired is not None:
        warm, cool = (f"{1e6 / mired:.0f} K" for mired in colour.mired)
        near = warm if said in _WARM else cool if said in _COOL else ""
        instead = f"write for example `{near}`" if near else f"write a colour of light from `{warm}` to `{cool}`"
        return f"`{lamp.name}` has no colour called `{said}`", instead
    if colour is not None:
        known = [aspect.name for aspect in colour.aspects]
        what = f"`{lamp.name}` has no colour called `{said}`; it has {', '.join(f'`{name}`' for name in known)}"
        return what, names.near(said, known)
    whites = said in _WARM or said in _COOL
    if whites or any(said in colours for colours in _COLOURS.values()):
        line = "whites: 2200 K to 6500 K" if whites else f"colours: [white, {said}]".replace("white, white", "white")
        return f"`{lamp.name}` has one colour only", f"if it has more, write `{line}` for it in the layout file"
    return f"`{lamp.name}` is a lamp and cannot go to `{said}`", f"write `turn on {lamp.name}`, or a level: `40 %`"


# --- daylight ------------------------------------------------------------------------------------------------------


def through(writer: Writer, node: Node, scope: Scope) -> Statement:
    """`fade daylight through dusk over 4 min`: daylight, and the lamps that follow it."""
    from engine import daylight

    names = writer.names
    subject, course = node.node("names"), names.resolve(node.words()[0], scope)
    words = subject.words() if subject else []
    if [word.text for word in words] != [DAYLIGHT]:
        place = subject.place if subject else node.place
        what = "only `daylight` fades through the hours of a day; the lamps that follow it go with it"
        raise names.refuse(place, what, f"write `fade daylight through {course.text} over 4 min`", scope)
    names.look_up(words[0], scope)
    if course.text not in daylight.COURSES:
        known = ", ".join(f"`{one}`" for one in daylight.COURSES)
        what = f"daylight knows no `{course.text}`; it fades through {known}"
        near = names.near(course.text, daylight.COURSES)
        instead = near or f"write `through {_SAME_COURSE.get(course.text, 'dusk')}`"
        raise names.refuse(course.place, what, instead, scope)
    layout = names.layout
    try:
        daylight.through(layout.whereabouts, course.text, 0, 1_000_000, layout.daylight_lux, layout.daylight_lux)
    except daylight.NoSuchSun as no:
        instead = "choose another date or place under `whereabouts` in the layout file"
        raise names.refuse(course.place, str(no).rstrip("."), instead, scope) from no
    sky, lamps = names.symbols[DAYLIGHT].output, followers(names)
    writer.claim([*([sky] if sky else []), *lamps])
    over_us = writer.time_of(node, "over", scope) or 0
    return Through(node.place, course.text, over_us, tuple(output.name for output in lamps))


def followers(names: Names) -> list[Output]:
    """The lamps that go with the daylight."""
    return [output for output in names.layout.outputs.values() if output.follows_lux is not None]
