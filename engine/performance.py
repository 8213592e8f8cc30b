"""Scenes under way: starting, stopping, and who holds which output. One `Run` for each scene that is running."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from engine.blocks import Block, Status, repoint
from engine.branches import Watch
from engine.conditions import Sort
from engine.layout import DAYLIGHT, NOWHERE, Kind, Place
from engine.program import Again, Program, Scene
from engine.queue import LINE
from engine.resuming import followed, resumed
from engine.stage import OutputNow, Wish, orders_for, own_time, ramp
from engine.waves import Steady, Wave

if TYPE_CHECKING:
    from engine.kernel import Kernel

RESTART_LIMIT = 100  # times one scene may begin in one instant; more is cut and reported


class Run:
    """A scene that is running or stopping. `shadow` holds what it wants of outputs that another scene has taken."""

    def __init__(self, kernel: Kernel, scene: Scene) -> None:
        self.kernel = kernel
        self.scene = scene
        self.root: Block | None = None
        self.stopping = False
        self.once_more = False
        self.latch = False  # whether a stop keeps it from starting by itself again
        self.shadow: dict[str, Wish] = {}
        self.lent: dict[str, int] = {}  # outputs lent by the scene that runs this one: their last order until then
        self.watches: list[Watch] = []
        self.timer = 0
        self.rounds = 0  # that its loops went round again in the last instant in which any did
        self.spun_at_us = -1  # when its loops were found to go round for ever
        self._rounds_at_us = -1

    def goes_round(self, now_us: int) -> int:
        """A loop goes round again in one instant; how often loops of this scene have."""
        self.rounds = self.rounds + 1 if self._rounds_at_us == now_us else 1
        self._rounds_at_us = now_us
        return self.rounds

    def spins(self, now_us: int) -> bool:
        """Whether its loops have gone round too often in this instant already."""
        return self.spun_at_us == now_us

    @property
    def place(self) -> Place:
        return self.scene.place

    def wake(self) -> Status:
        """Its first line is due."""
        lines = (self.scene.when_stopped or ()) if self.stopping else self.scene.block
        self.root = Block(self, None, lines)
        return self.root.begin()


class Cast:
    """All runs, the claims on outputs, and what starts and stops them."""

    def __init__(self, kernel: Kernel) -> None:
        self.kernel = kernel
        self.runs: dict[str, Run] = {}
        self.latched: set[str] = set()
        self.begun_at: dict[str, tuple[int, int]] = {}  # scene -> (instant, times it began in it)
        self.hears: Callable[[str], None] | None = None  # is told of each scene whose last line has run

    def start(self, name: str, why: str, place: Place, lender: str = "") -> None:
        """Start a scene; one that is running does what its `if started again` says."""
        kernel, run = self.kernel, self.runs.get(name)
        if kernel.closed or kernel.operator.stopped:
            return
        if kernel.swapping.holds(name):
            kernel.swapping.put_off(name, why, place, lender)
            return
        if run is not None:
            self._again(run, why, place)
            return
        if name not in kernel.program.scenes:  # asked for just before its text was swapped
            kernel.trouble(f"there is no scene {name} any more", place)
            return
        if self._too_often(name, place):
            return
        scene = kernel.program.scenes[name]
        run = self.runs[name] = Run(kernel, scene)
        self.latched.discard(name)
        self._state(name, "running", why, place)
        self._claim(run, place, lender)
        kernel.queue.push(kernel.stage.now_us, LINE, run)

    def _again(self, run: Run, why: str, place: Place) -> None:
        again = run.scene.again
        if run.stopping or again is Again.ONCE_MORE_AFTER:
            run.once_more = True
        elif again is Again.START_OVER:
            self.kernel.blame = place
            if run.root is not None:
                run.root.drop()
                run.root = None
            self._state(run.scene.name, "running", f"{why}, from the start", place)
            self.kernel.queue.push(self.kernel.stage.now_us, LINE, run)

    def take_up(self, program: Program, lines: Mapping[int, Any], places: Mapping[Place, Place]) -> None:
        """Another program, in which all that runs is alike: its lines are found in the new text from now on."""
        for run in self.runs.values():
            scene = program.scenes[run.scene.name]
            if run.scene != scene:
                run.scene = scene
                if run.root is not None:
                    repoint(run.root, lines)
            for output, wish in run.shadow.items():
                run.shadow[output] = wish._replace(place=places.get(wish.place, wish.place))
        self.latched &= program.scenes.keys()
        self.begun_at = {name: begun for name, begun in self.begun_at.items() if name in program.scenes}

    def _too_often(self, name: str, place: Place) -> bool:
        at_us, times = self.begun_at.get(name, (-1, 0))
        times = times + 1 if at_us == self.kernel.stage.now_us else 1
        self.begun_at[name] = (self.kernel.stage.now_us, times)
        if times <= RESTART_LIMIT:
            return False
        if name not in self.latched:
            self.latched.add(name)
            self.kernel.trouble(
                f"{name} ended without taking any time and began again {RESTART_LIMIT} times; it stays stopped",
                self.kernel.program.scenes[name].place,
                cut=True,
            )
        return True

    def _claim(self, run: Run, place: Place, lender: str) -> None:
        """Hold every output that the scene can write: free ones, ones it takes, ones that its caller lends it."""
        name, outputs = run.scene.name, self.kernel.stage.outputs
        takes = {(output, take.scene) for take in run.scene.takes for output in take.outputs}
        for output in run.scene.writes:
            now = outputs[output]
            other, held = self.runs.get(now.holder), self.kernel.operator.held(output)
            if other is None or other is run:
                now.holder = name
                if held:
                    run.shadow[output] = self.kernel.operator.wish(output)
            elif (output, now.holder) in takes or lender == now.holder:
                wish = other.shadow.setdefault(output, now.wish._replace(place=place))
                if (output, now.holder) not in takes:
                    run.lent[output] = wish.order
                now.holder = name
                if held:
                    run.shadow[output] = wish
            elif any(output in take.outputs and take.scene == name for take in other.scene.takes):
                run.shadow[output] = now.wish._replace(place=place)  # the other has taken it from us already
            else:
                run.shadow[output] = now.wish._replace(place=place)
                self.kernel.trouble(f"{name} may not have {output} while {now.holder} runs", run.scene.place, place)

    def over(self, run: Run) -> None:
        """Its last line has run out."""
        if not run.stopping and self.hears is not None:
            self.hears(run.scene.name)
        if run.scene.lingers and not run.stopping:
            run.root = None
            return
        self._give_up(run, "stopped" if run.stopping else "ended", "its last line has run")

    def stop(self, name: str, why: str, place: Place, latch: bool = True) -> None:
        """Drop a scene's blocks, then let its `when stopped` run; a scene that is stopping cannot be stopped."""
        kernel, run = self.kernel, self.runs.get(name)
        if run is None or run.stopping:
            return
        run.stopping, run.once_more, run.latch = True, False, latch
        run.timer = run.rounds = 0
        run.spun_at_us = -1
        kernel.blame = place
        if run.root is not None:
            run.root.drop("stopped")
            run.root = None
        if run.scene.when_stopped is not None:
            self._state(name, "stopping", why, place)
            kernel.queue.push(kernel.stage.now_us, LINE, run)
            return
        self._to_rest(run)
        self._give_up(run, "stopped", why, place)

    def make_safe(self, why: str) -> None:
        """What is guarded and free: by the `when stopped` of an idle scene that drives it, else straight to safe.

        A crossing at rest is closed to the road as its scene closes it: lights first, and then the barriers.
        """
        kernel = self.kernel
        outputs = kernel.stage.outputs
        for name, scene in kernel.program.scenes.items():
            if scene.when_stopped is None or not any(outputs[one].output.guarded for one in scene.writes):
                continue
            if name not in self.runs and not any(outputs[one].holder for one in scene.writes):
                run = self.runs[name] = Run(kernel, scene)
                run.stopping = run.latch = True
                self._state(name, "stopping", why, NOWHERE)
                self._claim(run, NOWHERE, "")
                kernel.queue.push(kernel.stage.now_us, LINE, run)
        for name, now in outputs.items():
            if now.output.guarded and not now.holder:
                kernel.stand(name, safe=True)

    def cut(self, run: Run, stopping: bool) -> None:
        """Stop a scene that never settles; if it is its `when stopped` that does not, end that.

        `stopping`: which of them it was. If it has ended or been stopped since, nothing is left to be cut.
        """
        if self.runs.get(run.scene.name) is not run or run.stopping is not stopping:
            return
        self.kernel.count_anew()
        if run.stopping:
            if run.root is not None:
                run.root.drop("stopped")
            self._give_up(run, "stopped", "its reactions did not settle")
        else:
            self.stop(run.scene.name, "its reactions did not settle", run.scene.place)

    def _to_rest(self, run: Run) -> None:
        """Without a `when stopped`: outputs to rest, guarded ones to their safe state, which comes last and wins."""
        kernel = self.kernel
        outputs = [kernel.stage.outputs[name].output for name in run.scene.writes]
        for output in sorted(outputs, key=lambda output: output.guarded):
            setting = output.safe or output.rest
            why = "safe" if output.guarded else "rest"
            for part, order in orders_for(output, setting, kernel.program.layout.outputs):
                if self._next_in_line(part) is None:  # else it goes on from what it shows, not from its rest
                    kernel.order(run, part, order, run.scene.place, why)

    def _give_up(self, run: Run, state: str, why: str, place: Place = NOWHERE) -> None:
        name, kernel = run.scene.name, self.kernel
        del self.runs[name]
        run.timer = 0
        if run.stopping and run.latch:
            self.latched.add(name)
        for output in sorted(run.scene.writes, key=DAYLIGHT.__ne__):  # daylight first: the lamps that follow it see it
            self._give_back(run, output)
        self._state(name, state, why, place)
        for watch in run.watches:
            if watch.alive:
                kernel.queue.push(kernel.stage.now_us, LINE, watch)
        if run.once_more:
            self.start(name, "once more", run.scene.place)

    def _give_back(self, run: Run, output: str) -> None:
        """An output goes back to the scene that it was taken from, which finds what it wanted meanwhile."""
        now = self.kernel.stage.outputs[output]
        if now.holder != run.scene.name:
            return
        other = self._next_in_line(output)
        now.holder = other.scene.name if other else ""
        if self.kernel.operator.held(output):
            if other is None:
                self.kernel.operator.remember(output, run.shadow[output])
            return
        if other is not None:
            wish = other.shadow.pop(output)
            if run.lent.get(output) != wish.order:  # else what a scene that its lender waits for began goes on
                wish = wish._replace(wave=self._goes_on(now, wish.wave))
                self.kernel.again(other, output, wish, wish.place, "given back")

    def _next_in_line(self, output: str) -> Run | None:
        """Who gets an output when its holder ends: of those that want it, the one that no other took it from."""
        holder = self.kernel.stage.outputs[output].holder  # one that an operator has taken it from is not in line
        wanting = {name: run for name, run in self.runs.items() if output in run.shadow and name != holder}
        taken_from = {take.scene for run in wanting.values() for take in run.scene.takes if output in take.outputs}
        free = (run for name, run in wanting.items() if name not in taken_from)
        return next(free, next(iter(wanting.values()), None))

    def take_back(self, output: str) -> bool:
        """The scene that holds an output gets it back from the operator; whether one does."""
        now = self.kernel.stage.outputs[output]
        run = self.runs.get(now.holder)
        if run is None or output not in run.shadow:
            return False
        wish = run.shadow.pop(output)
        self.kernel.again(run, output, wish._replace(wave=self._goes_on(now, wish.wave)), wish.place, "given back")
        return True

    def _goes_on(self, now: OutputNow, wave: Wave) -> Wave:
        outputs, now_us = self.kernel.stage.outputs, self.kernel.stage.now_us
        if now.output.follows_lux is None:
            shown = now.value(now_us)
            wave = resumed(wave, now_us, shown)
            if now.output.kind is Kind.SERVO and isinstance(wave, Steady):  # not at a leap
                return ramp(now_us, own_time(now.output, shown, wave.value), shown, wave.value)
            return wave
        return followed(wave, outputs[DAYLIGHT].wave, now_us)

    def _state(self, name: str, state: str, why: str, place: Place) -> None:
        self.kernel.stage.scenes[name] = state
        self.kernel.changed((Sort.SCENE, name))
        self.kernel.scene_is(name, state, why, place)
