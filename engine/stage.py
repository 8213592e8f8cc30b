"""The present: what every output shows, every detector says, every flag holds. Changed by the kernel only."""

from __future__ import annotations

from engine.conditions import Sort
from engine.events import Detected
from engine.layout import Detector, Kind, Output, Setting
from engine.program import Flash, Level, Order, Program, Swing
from engine.waves import Flashing, Ramp, Steady, Wave

Key = tuple[Sort, str]


class OutputNow:
    """One output: its wave, who ordered it, and the steady level that a flash goes back to."""

    __slots__ = ("before_flash", "holder", "name", "on_since", "order", "output", "read", "thresholds", "timer", "wave")

    def __init__(self, output: Output) -> None:
        self.output = output
        self.name = output.name
        self.wave: Wave = settled_wave(output.rest, 0)
        self.before_flash = output.rest.value
        self.order = 0  # the number of the order that set the wave
        self.holder = ""  # the scene that has claimed it
        self.on_since: int | None = None
        self.timer = 0  # for the next instant at which a condition about it may change
        self.read = False  # whether any condition reads it
        self.thresholds: set[float] | None = None  # values at which a condition changes; None: none reads it

    def value(self, now_us: int) -> float:
        return self.wave.value_at(now_us)

    def next_state_change(self, now_us: int) -> int | None:
        """The next instant at which a condition about this output can change by itself."""
        wave = self.wave
        if isinstance(wave, Ramp):
            return self._ramp_change(wave, now_us)
        if isinstance(wave, Flashing) and self.thresholds is not None:
            return wave.next_change(now_us, 1.0)
        return None

    def _ramp_change(self, wave: Ramp, now_us: int) -> int | None:
        candidates = [wave.to_us]
        for value in self.thresholds or ():
            at = wave.crosses(value)
            if at is not None:
                candidates += [at, at + 1]
        return min((at for at in candidates if at > now_us), default=None)


class DetectorNow:
    """One detector: what it says raw, and what counts."""

    __slots__ = ("detector", "raw", "state", "timer")

    def __init__(self, detector: Detector) -> None:
        self.detector = detector
        self.raw = self.state = "clear"
        self.timer = 0

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
        self.feeds_ready = dict.fromkeys(layout.feeds, 0)


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


def wave_for(order: Order, output: Output, now_us: int, value: float) -> Wave:
    """The wave that an order makes, from the value shown now: no jump that nobody wrote."""
    if isinstance(order, Level):
        soft = round(output.soft_start_us * abs(order.value - value)) if output.soft_start_us else 0
        return ramp(now_us, soft, value, order.value)
    if isinstance(order, Flash):
        return Flashing(now_us, order.blink, order.high)
    return ramp(now_us, own_time(output, value, order.value), value, order.value)


def ramp(now_us: int, over_us: int, value: float, target: float) -> Wave:
    return Ramp(now_us, now_us + over_us, value, target) if over_us > 0 and value != target else Steady(target)


def share(output: Output, value: float, target: float) -> float:
    """The share of a servo's whole travel between two values; 1 where the layout names no two positions."""
    if value == target:
        return 0.0
    low, high = output.span if output.positions else (value, target)
    return abs(target - value) / abs(high - low) if high != low else 1.0


def own_time(output: Output, value: float, target: float) -> int:
    """How long a servo takes when nobody says: its share of its own time for the whole travel."""
    return round((output.itself_us or output.travel_us) * share(output, value, target))
