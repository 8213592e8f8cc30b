"""What inputs do to a performance: one function for each record of `engine.events`, in one table."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from engine import trace as t
from engine.conditions import Sort
from engine.events import (
    AllStop,
    ByHand,
    Close,
    Darken,
    Detected,
    GoOn,
    HandWorking,
    Hush,
    InUse,
    KeepOld,
    LetGo,
    LinkState,
    OutputMoved,
    Pressed,
    Quieten,
    Remark,
    SetClock,
    Stand,
    StartScene,
    StopScene,
    Swap,
    Swept,
    TrainMoves,
    TrainStands,
)
from engine.layout import NOWHERE, OUT_OF_USE
from engine.queue import INPUT
from engine.stage import DetectorNow
from engine.waves import Steady

if TYPE_CHECKING:
    from engine.kernel import Kernel


def detected(kernel: Kernel, event: Detected) -> None:
    now = kernel.stage.detectors[event.detector]
    now.raw = event.state
    if not now.used:
        return
    if event.state == now.state:
        now.timer = 0
        return
    delay = now.settles_in(event)
    if delay:
        kernel.queue.push(kernel.stage.now_us + delay, INPUT, now)
    else:
        now.timer = 0
        settled(kernel, now)


def settled(kernel: Kernel, now: DetectorNow) -> None:
    """What a detector says has lasted long enough to count."""
    says(kernel, now, now.raw)


def says(kernel: Kernel, now: DetectorNow, state: str) -> None:
    """A detector's state, as it counts from now on."""
    now.state, name = state, now.detector.name
    kernel.changed((Sort.DETECTOR, name))
    kernel.record(t.Saw(kernel.stage.now_us, name, now.state))
    if kernel.passages is not None:
        taken(kernel, kernel.passages.saw(name, now.state))


def swept(kernel: Kernel, event: Swept) -> None:
    if kernel.passages is not None:
        taken(kernel, kernel.passages.swept(event.detector))


def taken(kernel: Kernel, changes: Iterable[tuple[str, bool]]) -> None:
    """Where trains are taken to be has changed."""
    for name, on in changes:
        _train_on(kernel, name, 1 if on else -1)
        kernel.record(t.TrainTaken(kernel.stage.now_us, name, on))


def in_use(kernel: Kernel, event: InUse) -> None:
    """Out of use it says nothing; back in use it is what it said last, at once."""
    now = kernel.stage.detectors[event.detector]
    if now.used == event.used:
        return
    now.used, now.timer = event.used, 0
    says(kernel, now, now.raw if event.used else OUT_OF_USE)


def set_clock(kernel: Kernel, event: SetClock) -> None:
    """Times of day that are passed over by setting it are passed over; those that come again come again."""
    kernel.clock.set(kernel.stage.now_us, event.second, event.running)
    for head in kernel.heads[1] if kernel.heads else ():
        head.clock_was_set()


def pressed(kernel: Kernel, event: Pressed) -> None:
    if kernel.stage.pressed[event.button] == event.down:
        return
    kernel.stage.pressed[event.button] = event.down
    kernel.changed((Sort.BUTTON, event.button))
    kernel.record(t.ButtonIs(kernel.stage.now_us, event.button, event.down))
    if event.down and kernel.program.layout.buttons[event.button].stops:
        kernel.operator.all_stop()
    if event.down and kernel.heads is not None:
        for head in kernel.heads[1]:
            if getattr(head.head, "button", None) == event.button:
                head.press()


def link(kernel: Kernel, event: LinkState) -> None:
    kernel.stage.links[event.link] = event.state
    kernel.changed((Sort.LINK, event.link))
    kernel.record(t.LinkIs(kernel.stage.now_us, event.link, event.state))
    for name, now in kernel.stage.outputs.items():
        link = kernel.program.layout.link_of(now.output.wiring)
        if link is not None and link.name == event.link:
            now.found(kernel.stage.now_us) if event.state == "talking" else now.lost(kernel.stage.now_us)
            if now.read:
                kernel.changed((Sort.OUTPUT, name))
                kernel.follow(name, now)


def moved(kernel: Kernel, event: OutputMoved) -> None:
    """Another hand: the scene that holds the output puts it right, or gives way where the layout file says so.

    What no scene holds stays as the hand has left it, but guarded outputs are put right in any case: only their
    safe state may be given them.
    """
    now = kernel.stage.outputs[event.output]
    output, run, wave = now.output, kernel.cast.runs.get(now.holder), Steady(event.value)
    if now.wave == wave:
        return
    link = kernel.program.layout.link_of(output.wiring)
    holds = run is not None and not (link and link.yields)
    if holds or (output.safe is not None and output.safe.value != event.value):
        scene, place = (run.scene.name, run.scene.place) if run else ("", output.place)
        kernel.told[now.name] = t.Told(kernel.stage.now_us, now.name, now.wave, scene, place, "put right")
    else:
        kernel.order_wave(None, now.name, wave, output.place, "another hand")


def train_moves(kernel: Kernel, event: TrainMoves) -> None:
    kernel.record(t.TrainAt(kernel.stage.now_us, *event))


def train_stands(kernel: Kernel, event: TrainStands) -> None:
    _train_on(kernel, event.detector, 1 if event.on else -1)
    kernel.record(t.TrainOn(kernel.stage.now_us, event.train, event.detector, event.on))


def _train_on(kernel: Kernel, detector: str, by: int) -> None:
    kernel.stage.trains_on[detector] += by
    if by > 0:
        kernel.stage.reached_us[detector] = kernel.stage.now_us
    kernel.changed((Sort.TRAIN, detector))


def close(kernel: Kernel, event: Close) -> None:
    kernel.closed = True
    for name in list(kernel.cast.runs):
        if name != event.keeps:
            kernel.stop_scene(name, "the show is over", NOWHERE)
    kernel.cast.make_safe("the show is over")


def quieten(kernel: Kernel, event: Quieten) -> None:
    kernel.quiet = event.on


INPUTS: dict[type, Callable[..., None]] = {
    Detected: detected,
    Swept: swept,
    Pressed: pressed,
    LinkState: link,
    OutputMoved: moved,
    TrainMoves: train_moves,
    TrainStands: train_stands,
    Stand: lambda kernel, event: kernel.stand(event.output, event.safe),
    Close: close,
    AllStop: lambda kernel, _: kernel.operator.all_stop(),
    GoOn: lambda kernel, _: kernel.operator.go_on(),
    Darken: lambda kernel, event: kernel.operator.darken(event.held),
    Hush: lambda kernel, event: kernel.operator.hush(event.held),
    ByHand: lambda kernel, event: kernel.operator.take(event.output, event.value),
    LetGo: lambda kernel, event: kernel.operator.let_go(event.output),
    HandWorking: lambda kernel, event: kernel.operator.work(event.crossing, event.held),
    InUse: in_use,
    SetClock: set_clock,
    Quieten: quieten,
    Swap: lambda kernel, event: kernel.swapping.ask(event.program, event.at_once, event.what),
    KeepOld: lambda kernel, _: kernel.swapping.forget(),
    Remark: lambda kernel, event: kernel.note("", event.text, event.place),
    StartScene: lambda kernel, event: kernel.start_scene(event.scene, event.why, event.place),
    StopScene: lambda kernel, event: kernel.stop_scene(event.scene, event.why, event.place),
}
