"""What an operator does to a show: stops it all, darkens it, hushes it, takes an output by hand. Pure, as the kernel.

An output that is taken stays its scene's: what the scene asks of it meanwhile is remembered as a wish, and applied when
it is given back, as with `takes X from Y`. Guarded outputs are nobody's to take but by hand working.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum
from functools import cached_property
from typing import TYPE_CHECKING

from engine.layout import DAYLIGHT, NOWHERE, Crossing, Kind, Output
from engine.program import Level, Order, Swing
from engine.resuming import resumed
from engine.stage import Wish

if TYPE_CHECKING:
    from engine.kernel import Kernel


class Grip(Enum):
    """Who holds an output in place of its scene; of two the later one in this order has it."""

    DARK = "blackout"
    HUSHED = "mute"
    HAND = "by hand"


_ORDER = tuple(Grip)
_DARK = (Kind.LAMP,)
_HUSHED = (Kind.SOUND,)


class Operator:
    """The operator's grips on outputs, and whether everything is stopped. One for each kernel."""

    def __init__(self, kernel: Kernel) -> None:
        self._kernel = kernel
        self.stopped = False  # nothing begins by itself, or by name, until `go_on`
        self.worked: set[str] = set()  # crossings that are worked by hand
        self.grips: dict[str, list[Grip]] = {}  # by output, in the order of `Grip`
        self._wishes: dict[str, Wish] = {}  # what an output would do, if nobody held it and no scene wants it
        self._told: dict[tuple[str, Grip], float] = {}  # what each grip has told it

    # --- all stop --------------------------------------------------------------------------------------------------

    def all_stop(self) -> None:
        """Every scene is stopped, those with guarded outputs first; what is guarded and free is made safe."""
        kernel = self._kernel
        self.stopped = True
        outputs = kernel.program.layout.outputs
        runs = list(kernel.cast.runs.values())
        for run in sorted(runs, key=lambda run: not any(outputs[name].guarded for name in run.scene.writes)):
            kernel.stop_scene(run.scene.name, "all stop", NOWHERE)
        kernel.cast.make_safe("all stop")

    def go_on(self) -> None:
        """Scenes may begin again: those that run while something holds are looked at afresh.

        Not while a button that stops all is down, as one that locks stays until it is turned.
        """
        if self.held_down:
            return
        self.stopped = False
        self._kernel.cast.latched.clear()
        self._kernel.look_afresh()

    @property
    def held_down(self) -> tuple[str, ...]:
        """The buttons that stop all and are down now."""
        buttons = self._kernel.program.layout.buttons
        return tuple(name for name, down in self._kernel.stage.pressed.items() if down and buttons[name].stops)

    # --- grips -----------------------------------------------------------------------------------------------------

    def darken(self, dark: bool) -> None:
        """Every lamp goes out, or goes on with what it did; guarded ones stay as they are."""
        self._grip_all(Grip.DARK, _DARK, dark)

    def hush(self, hushed: bool) -> None:
        """Every sound is still, or goes on."""
        self._grip_all(Grip.HUSHED, _HUSHED, hushed)

    def _grip_all(self, grip: Grip, kinds: tuple[Kind, ...], held: bool) -> None:
        for output in self._kernel.program.layout.outputs.values():
            if output.kind in kinds and not self._is_guarded(output):
                if held:
                    self._take(output.name, grip, Level(0.0))
                else:
                    self._let_go(output.name, grip)

    def _is_guarded(self, output: Output) -> bool:
        """Whether it is guarded, itself or as a part of a signal that is."""
        return output.guarded or output.name in self._guarded_parts

    @cached_property
    def _guarded_parts(self) -> frozenset[str]:
        signals = (one for one in self._kernel.program.layout.outputs.values() if one.guarded)
        return frozenset(part for one in signals for aspect in one.aspects for part, _ in aspect.parts)

    def why_not(self, name: str, value: float) -> str:
        """Why an output may not be taken by hand and told this; empty if it may."""
        layout = self._kernel.program.layout
        output = layout.outputs[name]
        if output.kind is Kind.DAYLIGHT or output.follows_lux is not None:
            return f"{name} follows the daylight"
        if not self._is_guarded(output):
            return ""
        crossing = next((one for one in layout.crossings.values() if name in _parts_of(one, layout.outputs)), None)
        if crossing is None:
            return f"{name} is guarded: only its scene tells it what to do"
        if crossing.name not in self.worked:
            return f"{name} is guarded: work {crossing.name} by hand first"
        barriers = (*crossing.entrance_barriers, *crossing.exit_barriers)
        if name in crossing.signals and not output.aspects[int(value)].stops and self._any_not_lowered(barriers):
            return f"{name} may not clear before every barrier of {crossing.name} is lowered"
        if name in barriers and value != output.lowered_deg and self._any_not_at_danger(crossing.signals):
            return f"{name} may not rise before every signal of {crossing.name} shows danger"
        return ""

    def take(self, name: str, value: float) -> None:
        """By hand: an output shows a value until it is let go. Ask `why_not` first; what may not be is not done."""
        if self.why_not(name, value):
            return
        output = self._kernel.program.layout.outputs[name]
        orders: list[tuple[str, Order]] = [(name, _order(output, value))]
        if output.kind is Kind.SIGNAL:
            parts = output.aspects[int(value)].parts
            orders += [(part, _order(self._kernel.program.layout.outputs[part], at)) for part, at in parts]
        for part, order in orders:
            self._take(part, Grip.HAND, order)

    def let_go(self, name: str) -> None:
        """Given back to its scene, which finds what it wanted meanwhile."""
        output = self._kernel.program.layout.outputs[name]
        parts = {part for aspect in output.aspects for part, _ in aspect.parts} if output.kind is Kind.SIGNAL else set()
        for part in (name, *sorted(parts)):
            self._let_go(part, Grip.HAND)

    def work(self, crossing: str, by_hand: bool) -> None:
        """Hand working: signals to danger first, everything of it held as it is; or given back to its scene."""
        layout = self._kernel.program.layout
        one = layout.crossings[crossing]
        if not by_hand:
            self.worked.discard(crossing)
            for name in sorted(_parts_of(one, layout.outputs)):
                self._let_go(name, Grip.HAND)
            return
        self.worked.add(crossing)
        for name in one.signals:
            output = layout.outputs[name]
            danger = next((n for n, aspect in enumerate(output.aspects) if aspect.stops), None)
            if danger is not None:
                self.take(name, float(danger))
        for name in (*one.entrance_barriers, *one.exit_barriers):
            now = self._kernel.stage.outputs[name]
            self._take(name, Grip.HAND, Level(now.value(self._kernel.stage.now_us)))

    def _any_not_lowered(self, barriers: Iterable[str]) -> bool:
        outputs, now_us = self._kernel.stage.outputs, self._kernel.stage.now_us
        # a hair is open
        return any(outputs[name].value(now_us) != outputs[name].output.lowered_deg for name in barriers)

    def _any_not_at_danger(self, signals: Iterable[str]) -> bool:
        from engine.conditions import fully_shown

        outputs = self._kernel.program.layout.outputs
        for name in signals:
            stops = [aspect.name for aspect in outputs[name].aspects if aspect.stops]
            if not any(self._kernel.holds(fully_shown(outputs[name], aspect)) for aspect in stops):
                return True
        return False

    # --- taking and giving back ------------------------------------------------------------------------------------

    def held(self, name: str) -> bool:
        """Whether a grip has an output."""
        return name in self.grips

    def _take(self, name: str, grip: Grip, order: Order) -> None:
        kernel = self._kernel
        now, held = kernel.stage.outputs[name], self.grips.get(name)
        if held is None:
            run = kernel.cast.runs.get(now.holder)
            if run is not None:
                run.shadow[name] = now.wish._replace(place=run.scene.place)
            else:
                self._wishes[name] = now.wish
            held = self.grips[name] = []
        if grip not in held:
            held.append(grip)
            held.sort(key=_ORDER.index)
        value = order.value if isinstance(order, Level | Swing) else 0.0
        self._told[name, grip] = value
        if held[-1] is grip:
            kernel.order(None, name, order, now.output.place, grip.value)

    def _let_go(self, name: str, grip: Grip) -> None:
        held = self.grips.get(name)
        if held is None or grip not in held:
            return
        had_it = held[-1] is grip
        held.remove(grip)
        del self._told[name, grip]
        kernel = self._kernel
        now = kernel.stage.outputs[name]
        if held:
            if had_it:
                kernel.order(
                    None, name, _order(now.output, self._told[name, held[-1]]), now.output.place, held[-1].value
                )
            return
        del self.grips[name]
        wish = self._wishes.pop(name, None)
        if not kernel.cast.take_back(name) and wish is not None:
            wave = resumed(wish.wave, kernel.stage.now_us, now.value(kernel.stage.now_us))
            kernel.order_wave(None, name, wave, now.output.place, "given back")

    def wish(self, name: str) -> Wish:
        """What an output that a grip has would do without it."""
        return self._wishes.pop(name, self._kernel.stage.outputs[name].wish)

    def remember(self, name: str, wish: Wish) -> None:
        """A scene that had an output has ended while a grip holds it: what it wanted goes on when it is let go."""
        self._wishes[name] = wish


def _order(output: Output, value: float) -> Order:
    return Swing(value) if output.kind is Kind.SERVO else Level(value)


def _parts_of(crossing: Crossing, outputs: dict[str, Output]) -> set[str]:
    """Every output that plays a part at a crossing, signals' lamps and arms included."""
    lists = (
        crossing.amber, crossing.reds, crossing.entrance_barriers, crossing.exit_barriers,
        crossing.boom_lamps, crossing.audible_warning, crossing.signals,
    )  # fmt: skip
    names = {name for one in lists for name in one if name != DAYLIGHT}
    return names | {part for name in crossing.signals for aspect in outputs[name].aspects for part, _ in aspect.parts}
