"""The present: what every output shows, every detector says, every flag holds. Changed by the kernel only."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from engine import curves, ways
from engine.chance import Chance, splitmix64
from engine.conditions import Atom, Sort
from engine.courses import Course, Script
from engine.events import Detected
from engine.flicker import Flicker
from engine.layout import NOWHERE, Detector, Kind, Output, Place, Setting
from engine.program import Come, Flash, Flickers, Level, Order, Program, Shows, Swing
from engine.waves import Flashing, Ramp, State, Steady, Wave, endless, next_change

Key = tuple[Sort, str]
V = TypeVar("V", bool, int, str)


def key_of(atom: Atom) -> Key:
    """What must change for the atom's answer to change."""
    return (Sort.OUTPUT if atom.sort is Sort.SHOWN else atom.sort, atom.subject)


class Wish(NamedTuple):
    """What a scene wants of an output, with all that a later drop must know of it."""

    wave: Wave
    order: int  # the number of the order that set the wave
    before_flash: float  # the steady level that a flash goes back to
    place: Place = NOWHERE


class OutputNow:
    """One output: its wave, who ordered it, and the steady level that a flash goes back to."""

    __slots__ = (
        "before_flash",
        "holder",
        "levels",
        "name",
        "order",
        "output",
        "plain",
        "reachable",
        "read",
        "stuck",
        "sure_us",
        "timer",
        "wave",
    )

    def __init__(self, output: Output) -> None:
        self.output = output
        self.name = output.name
        self.wave: Wave = settled_wave(output.rest, 0)
        self.before_flash = output.rest.value
        self.order = 0  # the number of the order that set the wave
        self.holder = ""  # the scene that has claimed it
        self.reachable = True  # whether its link talks: what nobody can reach has not arrived anywhere
        self.stuck: Wave | None = None  # what it shows while nobody can reach it
        self.sure_us = 0  # until then it may still be on its way from where nobody knew it: a servo after a kill
        self.timer = 0  # for the next instant at which a condition about it may change
        self.read = False  # whether any condition reads it
        self.levels: list[float] = []  # values at which a condition about it changes, in order
        self.plain = not (output.soft_start_us or output.comes_on)  # whether a level is reached at once

    def lost(self, now_us: int) -> None:
        """Nobody can reach it any more: it stays as it is, but for work that its board does by itself.

        A lamp that flashes is taken to flash on. Told by us, it in fact stays lit or dark; but no scene could prevent
        that, and a rule that every lost link breaks would prove nothing.
        """
        self.reachable = False
        if self.stuck is None:
            goes_on = self.output.itself or endless(self.wave)
            self.stuck = self.wave if goes_on else Steady(self.wave.value_at(now_us))

    def found(self, now_us: int) -> None:
        """It can be reached again, and is put right: a servo that has to move takes its own time for that."""
        if self.stuck is not None and self.output.kind is Kind.SERVO:
            away = self.stuck.value_at(now_us) != self.wave.value_at(now_us)
            self.sure_us = now_us + self.output.travel_us if away else self.sure_us
        self.reachable, self.stuck = True, None

    @property
    def wish(self) -> Wish:
        """What it does now, to be done again later."""
        return Wish(self.wave, self.order, self.before_flash)

    def value(self, now_us: int) -> float:
        return self.wave.value_at(now_us)

    def asked_about(self, level: float) -> None:
        """A condition compares the value with this level."""
        index = bisect_left(self.levels, level)
        if self.levels[index : index + 1] != [level]:
            self.levels.insert(index, level)

    def next_state_change(self, now_us: int) -> int | None:
        """The next instant at which a condition about this output can change by itself."""
        wave = self.wave
        ends_us = wave.ends_us
        sure_us = self.sure_us if self.sure_us > now_us else None
        if ends_us is not None and ends_us <= now_us:
            return sure_us
        change = self._next_pass(wave, now_us) if self.levels else None
        return min((one for one in (ends_us, change, sure_us) if one is not None), default=None)

    def _next_pass(self, wave: Wave, now_us: int) -> int | None:
        """When the wave may come to another side of a level: a candle that is asked whether it is lit never does."""
        if not isinstance(wave, Flicker):
            return next_change(wave, now_us, self._among)
        settles_us = wave.settled_us if self._on_one_side(wave.settled_reach) else None
        if self._on_one_side(wave.reach) or (settles_us is not None and now_us >= settles_us):
            return None
        return next_change(wave, now_us, self._among, settles_us)

    def _on_one_side(self, reach: tuple[float, float]) -> bool:
        low, high = reach
        return self._among(low) == self._among(high)

    def _among(self, value: float) -> int:
        """Where a value lies among the levels: on one of them, or between two."""
        index = bisect_left(self.levels, value)
        return 2 * index + (self.levels[index : index + 1] == [value])


class Shown:
    """An output as it truly is, for rules: one that nobody can reach stays as it was when it was last told."""

    __slots__ = ("_now", "output")

    reachable = True

    def __init__(self, now: OutputNow) -> None:
        self._now = now
        self.output = now.output

    @property
    def wave(self) -> Wave:
        return self._now.stuck or self._now.wave

    @property
    def sure_us(self) -> int:
        return 0 if self._now.stuck else self._now.sure_us


class DetectorNow:
    """One detector: what it says raw, and what counts."""

    __slots__ = ("detector", "raw", "state", "timer", "used")

    def __init__(self, detector: Detector) -> None:
        self.detector = detector
        self.raw = self.state = "clear"
        self.timer = 0
        self.used = True  # an operator can put it out of use

    def settles_in(self, event: Detected) -> int:
        """How long a raw state must last before it counts. To be unknown counts at once: unknown is occupied."""
        if event.state == "clear":
            return self.detector.settle_us
        return self.detector.settle_occupied_us if event.state == "occupied" else 0


class Alarm:
    """A timer with a name of its own: for what is neither a line nor an output."""

    __match_args__ = ("about",)

    __slots__ = ("about", "timer")

    def __init__(self, about: object) -> None:
        self.about = about
        self.timer = 0


class Stage:
    """All of the present, by name."""

    def __init__(self, program: Program) -> None:
        layout = program.layout
        self.now_us = 0
        self.outputs = {name: OutputNow(output) for name, output in layout.outputs.items()}
        self.detectors = {name: DetectorNow(detector) for name, detector in layout.detectors.items()}
        self.pressed = dict.fromkeys(layout.buttons, False)
        self.flags = dict.fromkeys(program.flags, False)
        self.counters = dict.fromkeys(program.counters, 0)
        self.scenes = dict.fromkeys(program.scenes, "")
        self.links = dict.fromkeys(layout.links, "talking")
        self.trains_on: dict[str, int] = dict.fromkeys(layout.detectors, 0)
        self.reached_us: dict[str, int] = dict.fromkeys(
            layout.detectors, -1
        )  # when a train came on to the stretch last
        self.feeds_ready = dict.fromkeys(layout.feeds, 0)

    def declare(self, program: Program) -> None:
        """Another program: what it declares keeps what it holds, what it does not is gone."""
        _declare(self.flags, program.flags, False)
        _declare(self.counters, program.counters, 0)
        _declare(self.scenes, program.scenes, "")


def _declare(held: dict[str, V], names: Iterable[str], fresh: V) -> None:
    before = dict(held)
    held.clear()  # the same table still: conditions ask it
    held.update((name, before.get(name, fresh)) for name in names)


def settled_wave(setting: Setting, now_us: int) -> Wave:
    """What a setting looks like once nothing moves any more."""
    return Steady(setting.value) if setting.blink is None else Flashing(now_us, setting.blink)


def orders_for(output: Output, setting: Setting, layout_outputs: dict[str, Output]) -> list[tuple[str, Order]]:
    """The orders that bring an output to a setting (rest, safe), in its own time; a signal's parts come with it."""
    if setting.blink is not None:
        return [(output.name, Flash(setting.blink))]
    if output.kind is Kind.SERVO:
        return [(output.name, Swing(setting.value))]
    orders: list[tuple[str, Order]] = [(output.name, Level(setting.value))]
    if output.kind is Kind.SIGNAL and output.aspects:
        for part, value in output.aspects[int(setting.value)].parts:
            servo = layout_outputs[part].kind is Kind.SERVO
            orders.append((part, Swing(value) if servo else Level(value)))
    return orders


def wave_for(order: Order, output: Output, now_us: int, wave: Wave, chance: Chance) -> Wave:
    """The wave that an order makes, from the value shown now: no jump that nobody wrote."""
    value = wave.value_at(now_us)
    match order:
        case Level(target):
            if output.comes_on:
                return _own_way(output, now_us, value, Come(target, output.comes_on), chance)
            soft = round(output.soft_start_us * abs(target - value)) if output.soft_start_us else 0
            return ramp(now_us, soft, value, target)
        case Come():
            return _own_way(output, now_us, value, order, chance)
        case Flash(blink, high):
            return Flashing(now_us, blink, high)
        case Shows(script, text, high):
            return Course(now_us, script, 0.0, high, repeats=True, state=State.FLASHING, name=text)
        case Flickers(manner, low, high, over_us):
            key = chance.key(output.name)
            goes_on = isinstance(wave, Flicker) and wave.key == key and wave.manner == manner
            before = wave.bounds_at(now_us) if goes_on and isinstance(wave, Flicker) else (value, value)
            return Flicker(now_us, over_us, key, manner, before, (low, high), value)
        case Swing(target):
            takes_us = own_time(output, value, target)
            return (
                moved(output, now_us, takes_us, value, target, output.arrives)
                if output.arrives
                else ramp(now_us, takes_us, value, target)
            )


def _own_way(output: Output, now_us: int, value: float, come: Come, chance: Chance) -> Wave:
    if value == come.value:
        return Steady(value)
    script = script_of(come, value, splitmix64(chance.key(output.name) ^ now_us))
    return Course(now_us, script, value, come.value, name=come.way)


def script_of(come: Come, value: float, key: int) -> Script:
    """How a lamp that shows `value` comes to another; what differs from time to time is drawn from the key."""
    return come.script or (ways.coming_on if come.value > value else ways.going_off)(come.way, key)


def moved(
    output: Output, now_us: int, takes_us: int, value: float, target: float, arrives: str, bounces: int | None = None
) -> Wave:
    """A move that arrives bouncing or settling, and never goes past the servo's ends and limits."""
    if takes_us <= 0 or value == target:
        return Steady(target)
    profile: curves.Profile
    if arrives == "bouncing":
        profile = curves.bouncing(takes_us) if bounces is None else curves.bouncing(takes_us, bounces)
    else:
        profile = curves.settling(takes_us, _room(output, value, target))
    return curves.Curve(now_us, now_us + takes_us, value, target, profile)


def _room(output: Output, value: float, target: float) -> float:
    """How far past its target a servo may go, as a share of the way that it comes."""
    bounds = [*output.span] if output.positions else [value, target]
    bounds = [max(min(bounds), output.limits[0]), min(max(bounds), output.limits[1])] if output.limits else bounds
    past = max(bounds) - target if target > value else target - min(bounds)
    return max(0.0, past / abs(target - value))


def level_left(wave: Wave, now_us: int) -> float:
    """The steady level that a flash comes back to: what is shown, or where a lamp that comes on would have come to."""
    ends_us = wave.ends_us
    return wave.value_at(now_us if ends_us is None or wave.state is not State.OWN_WAY else max(now_us, ends_us))


def ramp(now_us: int, over_us: int, value: float, target: float) -> Wave:
    return Ramp(now_us, now_us + over_us, value, target) if over_us > 0 and value != target else Steady(target)


def own_time(output: Output, value: float, target: float) -> int:
    """How long a servo takes when nobody says: its share of its own time for the whole travel."""
    return round((output.itself_us or output.travel_us) * output.share(value, target))
