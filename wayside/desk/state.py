"""What a desk's page shows of a show just now: one flat table, from names such as `out forge` to plain values.

Reads the show, in the show's own thread, and changes nothing. Knows no web.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from engine.layout import Kind, Output, colour_of
from engine.operating import Grip
from engine.stage import OutputNow
from engine.waves import endless, under_way
from wayside.rehearsal import trace_words as words

if TYPE_CHECKING:
    from engine.kernel import Kernel
    from wayside.desk.trains import SentTrains
    from wayside.live.showing import Show

State = dict[str, object]
DIGITS = 3  # of a lamp's level: finer than anybody sees on a page


class Reader:
    """Reads a show again and again. `since` is kept here: the kernel has no use for it."""

    def __init__(self, show: Show, trains: SentTrains | None) -> None:
        self._show = show
        self._trains = trains
        self._scenes: dict[str, tuple[str, int, str]] = {}
        self._clock: tuple[int, int, bool] = (0, 0, True)
        self.moving = False  # whether something that was read changes by itself
        self.links: Iterable[str] = ()
        self.rules: Mapping[str, tuple[int, int]] = {}
        self.fault: tuple[int, str] | None = None
        self.coming: Callable[[], list[list[object]]] = list  # of a show day: what its lines have due next

    def scene_is(self, scene: str, state: str, at_us: int, why: str) -> None:
        """From the trace: since when a scene does what it does."""
        self._scenes[scene] = (state, at_us, why)

    def read(self) -> State:
        """Everything, as it is at this moment."""
        show, kernel = self._show, self._show.kernel
        now_us, self.moving = show.now_us, False
        state: State = {
            "show": self._phase(kernel),
            "stopped": kernel.operator.stopped,
            "dark": _held(kernel, Grip.DARK),
            "hushed": _held(kernel, Grip.HUSHED),
            "clock": self._layout_clock(kernel, now_us),
            "waits": list(show.kept_closed) if not show.waiting else [],
            "fault": self.fault,
            "quiet": kernel.quiet,
            "coming": self.coming(),
        }
        for name in kernel.program.named_scenes:
            doing, since_us, why = self._scenes.get(name, ("", 0, ""))
            state[f"scene {name}"] = [kernel.stage.scenes[name] or doing, since_us, why]
        for name, seen in kernel.stage.detectors.items():
            state[f"det {name}"] = seen.state
        for name, pressed in kernel.stage.pressed.items():
            state[f"button {name}"] = pressed
        for name, now in kernel.stage.outputs.items():
            state[f"out {name}"] = self._output(kernel, now, now_us)
        for name in kernel.program.layout.crossings:
            state[f"crossing {name}"] = name in kernel.operator.worked
        for name in kernel.program.rules:
            state[f"rule {name}"] = self.rules.get(name, (0, 0))
        state["links"] = list(self.links)
        state["trains"] = self._trains.present(now_us) if self._trains is not None else []
        return state

    def _phase(self, kernel: Kernel) -> str:
        if self._show.waiting:
            return "waiting"
        return "ending" if kernel.closed else "running"

    def _layout_clock(self, kernel: Kernel, now_us: int) -> list[object]:
        """[its microseconds, at which of the show's, whether it runs, its ratio]: the same until it is set."""
        base_us, at_us, running = self._clock
        clock = kernel.clock
        expected = base_us + ((now_us - at_us) * clock.ratio if running else 0)
        if expected != clock.at(now_us) or running != clock.running:
            self._clock = (clock.at(now_us), now_us, clock.running)
        return [*self._clock, clock.ratio]

    def _output(self, kernel: Kernel, now: OutputNow, now_us: int) -> list[object]:
        """[value, in words, who has it, whether its link talks, its light's colour]."""
        output, wave = now.output, now.wave
        value = round(wave.value_at(now_us), _digits(output))
        says = words.value(output, value)
        if endless(wave):
            says, self.moving = wave.state.value, True  # on and off are seen; as words they would only jump
        elif under_way(wave, now_us):
            says, self.moving = f"on its way, {says}", True
        grips = kernel.operator.grips.get(now.name)
        holder = grips[-1].value if grips else now.holder
        return [_share(output, value), says, holder, now.reachable, _light(kernel, now)]


def _held(kernel: Kernel, grip: Grip) -> bool:
    return any(grip in held for held in kernel.operator.grips.values())


def _digits(output: Output) -> int:
    return 1 if output.kind is Kind.SERVO else DIGITS


def _share(output: Output, value: float) -> float:
    """What the page draws: a lamp's level, an arm's share of its way, an aspect's number."""
    return round(words.travel_share(output, value), DIGITS) if output.kind is Kind.SERVO else value


def _light(kernel: Kernel, now: OutputNow) -> str:
    """The colour of a lamp's light, `#rrggbb`, where the layout says that it has one; else nothing."""
    colour = kernel.stage.outputs.get(colour_of(now.name))
    if colour is None:
        return ""
    amount = colour.value(kernel.stage.now_us)
    if colour.output.aspects:
        return ""  # named colours: their names are told in the colour's own words
    from engine.colour import kelvin, rgb

    if amount <= 0:
        return ""
    shares = (round(255 * share ** (1 / 2.2)) for share in rgb(kelvin(amount)))
    return "#" + "".join(f"{share:02x}" for share in shares)


def difference(before: State, after: State) -> State:
    """What has changed, by name. Names never go."""
    return {name: value for name, value in after.items() if name not in before or before[name] != value}
