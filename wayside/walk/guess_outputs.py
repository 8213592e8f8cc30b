"""Guesses of a walk about what does not move at all, or moves in another way. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from engine.layout import Kind
from wayside.walk.guess import DEAD, SHOWN, WRONG_WAY, Guess, all_of, count_of, grouped, words
from wayside.walk.signs import Expect, Walked
from wayside.walk.stops import BUTTON, DETECTOR, Stop
from wayside.wording import listed

# --- what a link itself has said -----------------------------------------------------------------------------------


def not_talking(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(seen.stops(), "link").items():
        heard = seen.heard.get(link)
        if heard is not None and not heard.talks and heard.power not in ("off", "overload"):
            expects = _gone(seen, link, stops)
            instead = (heard.instead[:1].upper() + heard.instead[1:],) if heard.instead else ()
            tries = (*instead, f"Ask it with `wayside probe`, which says more: link {link}.")
            yield Guess((link,), expects, f"Link {link} does not talk: {heard.what}.", tries)


def _gone(seen: Walked, link: str, stops: list[Stop]) -> dict[str, Expect]:
    """What a link that is gone explains; what worked may have done so before."""
    inputs = [one for sort in (DETECTOR, BUTTON) for one in seen.stops(sort) if one.link == link]
    return all_of(stops, words("no", "yes")) | all_of(inputs, words("no", "stuck", "yes"))


def no_power(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(seen.stops(), "link").items():
        heard = seen.heard.get(link)
        if heard is None or heard.power not in ("off", "overload"):
            continue
        expects = _gone(seen, link, stops)
        if heard.power == "off":
            what = f"The track power of link {link} is off: nothing on the track hears a command."
            yield Guess((link,), expects, what, ("Hands off the track; then switch it on at the station.",))
        else:
            what = f"The booster of link {link} has tripped: a short, or more hangs on it than it can feed."
            mend = "Take off what was put on last; look for metal across the rails. Then switch it on at the station."
            yield Guess((link,), expects, what, (mend,))


# --- what does not move --------------------------------------------------------------------------------------------


def board_dead(seen: Walked) -> Iterator[Guess]:
    for name, stops in grouped(seen.stops(), "board").items():
        first = "pin" if seen.layout.boards[name].pins else "address"
        what = f"Nothing on {name} moves ({count_of(stops)}): it has no power, or another {first}."
        tries = (
            f"Look at the supply of {name}: its lamp, its fuse, its plug.",
            f"Look at its wire to {seen.layout.boards[name].link}, and which way round that is.",
            f"Look which {first} it was given: the layout file says its port 0 is "
            f"{seen.layout.boards[name].first_address}. `wayside try` tells one number alone.",
        )
        yield Guess((name,), all_of(stops, DEAD), what, tries, least=2)


def supply_dead(seen: Walked) -> Iterator[Guess]:
    """A supply, or one of its wires: everything that hangs on it does nothing."""
    for supply in seen.layout.supplies.values():
        fuse = " and its fuse" if supply.fuse_ua else ""
        volts = f"{supply.millivolts / 1000:g} V {'ac' if supply.alternating else 'dc'}"
        stops = _powered(seen, supply.powers)
        what = f"Nothing that {supply.name} powers moves ({count_of(stops)})."
        tries: tuple[str, ...] = (
            f"Look at {supply.name}: is it switched on? Look at its lamp{fuse}.",
            f"Measure what comes out of it: {volts}. What is before it, mains above all, is for a qualified person.",
            "Look at the common return of what it powers.",
        )
        yield Guess((supply.name,), all_of(stops, DEAD), what, tries, least=2)
        for run in supply.runs if len(supply.runs) > 1 else ():
            on_it = _powered(seen, run.powers)
            names = listed(list(run.powers), SHOWN)
            what = f"Nothing on one wire from {supply.name} moves, the one to {names} ({count_of(on_it)})."
            tries = (
                f"Follow that wire from {supply.name} to {names}: its plugs, its two ends, its return.",
                "Measure the voltage at its far end, with something switched on.",
            )
            yield Guess((supply.name, *run.powers), all_of(on_it, DEAD), what, tries, least=2)


def _powered(seen: Walked, names: tuple[str, ...]) -> list[Stop]:
    """The stops that hang on boards or outputs of these names; of a signal its parts."""
    outputs = seen.layout.outputs
    signals = (outputs[name] for name in names if name in outputs)
    parts = {part for one in signals for aspect in one.aspects for part, _ in aspect.parts}
    powered = {*names, *parts}
    return [stop for stop in seen.stops() if stop.name in powered or stop.board in powered]


def track_dead(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(seen.stops(), "link").items():
        on_track = [stop for stop in stops if not stop.is_pin]
        what = f"No accessory of link {link} moves ({count_of(on_track)}): what the station sends does not reach them."
        tries = (
            "Look whether the boards hang on the track's wires, or on the accessory bus, and that this bus has power.",
            "Try one number alone with `wayside try --address N on`; then the numbers four further up and down.",
            f"Look at `on and off` and `words` of link {link}: does the station take such commands?",
        )
        yield Guess((link,), all_of(on_track, DEAD), what, tries, least=2)


def link_dead(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(seen.stops(), "link").items():
        what = f"Nothing on link {link} moves ({count_of(stops)}), though the station takes what it is told."
        refused = seen.heard[link].refused if link in seen.heard else 0
        if refused:
            what = f"Nothing on link {link} moves, and the station has refused {refused} of what it was told."
        tries = (
            "Look at the supply that feeds all of it, and at its common return wire.",
            f"Is it the right station? `wayside probe` says what is at the port of {link}.",
            f"Look at `dialect` and `words` of link {link}.",
        )
        yield Guess((link,), all_of(stops, DEAD), what, tries, least=2)


def output_dead(seen: Walked) -> Iterator[Guess]:
    for stop in seen.stops():
        noun = _NOUNS.get(stop.kind or Kind.LAMP, "it")
        what = f"{stop.name} does nothing, and its neighbours do."
        if len([one for one in seen.stops() if one.box == stop.box]) == 1:
            what = f"{stop.name} does nothing; it is alone on {stop.box}."
        tries = (
            f"Look at its two ends: {stop.where}, and the {noun} itself. Is it plugged in, and the right way round?",
            f"Put the {noun} on a port that works: if it works there, the port is wrong, else the {noun}.",
        )
        yield Guess((stop.name,), {stop.name: DEAD}, what, tries)


_NOUNS = {Kind.LAMP: "lamp", Kind.SERVO: "servo", Kind.MOTOR: "motor", Kind.SOUND: "sounder", Kind.SIGNAL: "signal"}


# --- what moves in another way -------------------------------------------------------------------------------------


def all_wrong_way(seen: Walked) -> Iterator[Guess]:
    for link, stops in grouped(seen.stops(), "link").items():
        on_track = [stop for stop in stops if not stop.is_pin]
        by_output = seen.layout.links[link].by_output
        what = f"Every accessory of link {link} does it the wrong way round: on and off are exchanged."
        other = "activation" if by_output else "output"
        tries = (
            f"Write `on and off: {other}` for link {link} in the layout file, and walk on.",
            "If the station's book says otherwise, exchange the two outputs of each pair at the decoders.",
        )
        yield Guess((link,), all_of(on_track, WRONG_WAY), what, tries, least=2)


def wrong_way(seen: Walked) -> Iterator[Guess]:
    for stop in seen.stops():
        if stop.kind is Kind.SERVO:
            what = f"The ends of {stop.name} are reversed."
            output = seen.layout.outputs[stop.name]
            names = [position.name for position in output.positions if position.degrees in output.span]
            ends = f" of `{'` and `'.join(names[:2])}`" if len(names) > 1 else ""
            tries: tuple[str, ...] = (
                f"Exchange the angles{ends} in the layout file, and look that its `limits` still hold.",
                "Or turn the horn round on the servo's shaft, with its power off.",
            )
        else:
            what = f"{stop.name} does it the wrong way round: it is on where it should be off."
            tries = (
                "Is it wired to the other output of the pair, or between the port and plus where minus is meant?",
                "Exchange the two wires at the port; of a lamp with a plus and a minus look which is which.",
            )
        yield Guess((stop.name,), {stop.name: WRONG_WAY}, what, tries)


def no_fade(seen: Walked) -> Iterator[Guess]:
    fading = [stop for stop in seen.stops() if seen.layout.outputs[stop.name].dimmable]
    expect = words("no fade")
    for name, stops in grouped(fading, "board").items():
        what = f"Nothing on {name} fades: it only switches."
        tries: tuple[str, ...] = (
            f"Is {name} a board with levels? If not, write `dimmable: no` for its lamps.",
            "If it is, its ports may have to be set to dimming, as its book says.",
        )
        yield Guess((name,), all_of(stops, expect), what, tries, least=2)
    for link, stops in grouped(fading, "link").items():
        what = f"Nothing on link {link} fades: the station switches what it should dim."
        tries = (f"Does the station know levels? Look at `dialect` and `words: {{level: ...}}` of link {link}.",)
        yield Guess((link,), all_of(stops, expect), what, tries, least=2)
    for stop in fading:
        what = f"{stop.name} is not dimmable where it is wired: it only goes on and off."
        tries = (
            f"Put it on a port that dims; {stop.where} only switches.",
            f"Or write `dimmable: no` for {stop.name}. Some lamps have a circuit of their own and cannot be dimmed.",
        )
        yield Guess((stop.name,), {stop.name: expect}, what, tries)
