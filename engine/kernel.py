"""The kernel: a program, an instant and inputs in; a longer trace and the next due instant out. It never waits.

An instant is worked in rounds: inputs, then guards, heads and waits, then the lines that are due in the order asked
for, until nothing changes. Reactions take no time; a chain that never settles is cut at REACTION_LIMIT and reported.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from engine import trace as t
from engine.blocks import Node, Status
from engine.branches import First, Watch
from engine.chance import Chance
from engine.conditions import Sort, Term
from engine.day_clock import LayoutClock
from engine.events import Input
from engine.heads import Heads, TimedHead, make_heads, term_of
from engine.inputs import INPUTS, settled
from engine.layout import NOWHERE, Kind, Place
from engine.operating import Operator
from engine.performance import Cast, Run
from engine.program import Level, Order, Program, conditions
from engine.proven import Passages
from engine.queue import GUARD, Queue, Sleeper
from engine.rules import Broken, Rules, sentences
from engine.stage import Alarm, DetectorNow, Key, OutputNow, Stage, Wish, level_left, orders_for, wave_for
from engine.swapping import Swapping, moved
from engine.truth import Memory, Truth
from engine.verbs import VERBS
from engine.watchers import Watch as Watching
from engine.watchers import Watchers
from engine.waves import State, Steady, Wave, endless, shines, under_way

REACTION_LIMIT = 1_000  # rounds in one instant
ORDER_LIMIT = 100_000  # orders in one instant; beyond that, rounds are cut earlier: nothing else is heard meanwhile
TRACE_LIMIT = 5_000_000  # records; past it nothing is recorded, and the trace says so


class Kernel:
    """One performance of a program. Times are integer microseconds from its first instant, 0.

    `starts_s` is the layout clock's time of day at 0, in seconds after midnight (the layout file's, if None).
    """

    ROUNDS_AT_WORK = 100  # of loops, or of reactions, that are done in any case
    verbs = VERBS  # what each line does; blocks find it here, since the lines themselves make blocks

    def __init__(self, program: Program, seed: int = 0, starts_s: int | None = None) -> None:
        self.program = program
        self.stage = Stage(program)
        self.queue = Queue()
        self.chance = Chance(seed)
        self.truth = Truth(self.stage)
        self.watchers = Watchers(self.truth)
        self.cast = Cast(self)
        self.trace: list[t.Record] = []
        self.starts_s = program.layout.clock.starts_s if starts_s is None else starts_s
        self.hall_starts_s = self.starts_s  # the hall clock's time of day at 0; a show day knows better
        self.quiet = False  # nothing begins by a clock
        self.begins_us = 0  # the first instant; later where a show waits for its links
        self.closed = False  # no scene begins any more
        self.operator = Operator(self)
        self.swapping = Swapping(self)
        self._afresh = False  # whether every head is looked at in the next round
        self.clock = LayoutClock(self.starts_s, program.layout.clock.ratio)
        self.rules: Rules | None = None  # where rules are judged: they watch from outside
        self.passages: Passages | None = None  # in a live show: what is known of where trains are
        self.blame: Place = NOWHERE  # the line that is dropping blocks just now
        self._orders = self._orders_before = 0
        self._lines = self._rounds = 0
        self.told: dict[str, t.Told] = {}  # this instant's last order for each output
        self._dirty: set[Key] = set()
        self._changed: set[Key] = set()  # since rules were judged last
        self._later: list[Callable[[], None]] = []
        self._deciding: list[First] = []
        self._watches: list[Watching] = []
        self._memories = 0
        self.heads: Heads | None = None
        self._longest: dict[str, Alarm] = {}
        self._unguarded = _unguarded(program)

    # --- before the first instant ----------------------------------------------------------------------------------

    def set_detector(self, name: str, state: str) -> None:
        """A detector's state from before the first instant."""
        now = self.stage.detectors[name]
        now.raw = now.state = state

    def set_output(self, name: str, value: float) -> None:
        """What an output shows from before the first instant; a signal's parts, and who follows daylight, with it."""
        output = self.stage.outputs[name].output
        self._place(name, value)
        if output.kind is Kind.SIGNAL and output.aspects:
            for part, part_value in output.aspects[int(value)].parts:
                self._place(part, part_value)
        if output.kind is Kind.DAYLIGHT:
            from engine.daylight import Follow  # the sun's course: few layouts need it

            for lamp in self.program.layout.outputs.values():
                if lamp.follows_lux is not None:
                    self._place(lamp.name, Follow(Steady(value), *lamp.follows_lux).value_at(0))

    def unsure(self, name: str, until_us: int) -> None:
        """Nobody knows where a servo stands: it has arrived nowhere before it has had the time for its whole travel."""
        now = self.stage.outputs[name]
        now.sure_us = until_us
        self.follow(name, now)

    def _place(self, name: str, value: float) -> None:
        self.stage.outputs[name].wave = Steady(value)
        self.told[name] = t.Told(0, name, Steady(value), "", NOWHERE, "begins")

    def believe(self, passages: Passages) -> None:
        """Where trains are is told by detectors from now on, as in a live show. Before the first instant."""
        self.passages = passages
        self.stage.trains_on.update(dict.fromkeys(passages.taken, 1))

    def watch(self, term: Term) -> Watching:
        """Follow a condition's truth at settled instants."""
        watch = Watching(self.truth, term)
        self._watches.append(watch)
        return watch

    # --- the clock's hand ------------------------------------------------------------------------------------------

    def next_due(self) -> int | None:
        """The next instant at which something happens by itself."""
        if self.heads is None:
            return self.begins_us
        return self.queue.next_due()

    def advance(self, now_us: int, inputs: Sequence[Input] = ()) -> None:
        """Work one instant. Instants never go back; the same instant may be worked again with further inputs."""
        if now_us < self.stage.now_us:
            raise ValueError(f"time went back from {self.stage.now_us} to {now_us}")
        self._orders_before = self._orders
        self.stage.now_us = now_us
        first = self.heads is None
        if first:
            self._open()
        for event in inputs:
            INPUTS[type(event)](self, event)
        first, self._afresh = first or self._afresh, False
        self._settle(first)
        if self.swapping.settled():
            self._settle(False)
        self._flush()
        for watch in self._watches:
            watch.settle(now_us)

    def _settle(self, everybody: bool) -> None:
        """Rounds until nothing changes."""
        self._rounds = 0
        while self._round(everybody):
            everybody = False
            self._rounds += 1
            if self._rounds >= REACTION_LIMIT or (self._rounds >= self.ROUNDS_AT_WORK and self.overworked):
                self._cut(self._rounds)
                break

    def count_anew(self) -> None:
        """A scene has been cut: what makes it safe has rounds and orders of its own."""
        self._rounds, self._orders_before = 0, self._orders

    @property
    def overworked(self) -> bool:
        """Whether so much has been told in this instant that a show would be held up by more of it."""
        return self._orders - self._orders_before > ORDER_LIMIT

    def judge(self) -> list[Broken]:
        """The instant is over, and nothing more will come in it: what rules it has broken."""
        if self.rules is None:
            return []
        changed, self._changed = self._changed, set()
        broken = self.rules.settle(self.stage.now_us, changed)
        for one in broken:
            self.record(t.Broke(self.stage.now_us, one.rule.name, one.line.place, one.breach.since_us))
        return broken

    def _open(self) -> None:
        for condition in conditions(self.program):
            self.truth.question(condition.term)
        self._watch_heads(make_heads(self))

    def _watch_heads(self, heads: Heads) -> None:
        self.heads = heads
        for head in heads[0]:
            self.watchers.add(head, "head", head.term, *head.keys)
        for name, now in self.stage.outputs.items():
            self.follow(name, now)

    def take_up(self, program: Program) -> None:
        """Perform another program of the same layout from this settled instant on; what is alike in both goes on.

        No scene that differs may be running: `engine.swapping` sees to that, and looks at those afresh.
        """
        assert self.heads is not None
        at_work = {*self.cast.runs, *(told.scene for told in self.told.values())}
        lines, places = moved(self.program, program, at_work)
        self._know_memories()
        self.program = program
        self._unguarded = _unguarded(program)
        self.stage.declare(program)
        self.cast.take_up(program, lines, places)
        self.told = {name: told._replace(place=places.get(told.place, told.place)) for name, told in self.told.items()}
        judged = sentences(program.rules.values()) if self.rules is not None else ()
        self._forget_but(
            [watch.term for watch in self._watches]
            + [condition.term for condition in conditions(program)]
            + [term_of(head) for scene in program.scenes.values() for head in scene.heads]
            + [term for sentence in judged for term in sentence.terms]
        )
        for condition in conditions(program):
            self.truth.question(condition.term)
        for head in self.heads[0]:
            self.watchers.remove(head)
        if self.rules is not None:
            self.rules.take_up(judged)
        self._watch_heads(make_heads(self, self.heads))

    def _forget_but(self, terms: Iterable[Term | None]) -> None:
        """Conditions that nobody asks any more remember nothing any more."""
        for memory in self.truth.forget_but(term for term in terms if term is not None):
            self.watchers.remove(memory)
            memory.timer = 0
        self._memories = len(self.truth.memories)

    def _round(self, everybody: bool) -> bool:
        """One round; whether anything happened that another round must look at."""
        queue, now_us = self.queue, self.stage.now_us
        self.truth.round += 1
        while (sleeper := queue.alarm_due(now_us)) is not None:
            self._alarm(sleeper)
        if len(self.truth.memories) != self._memories:
            self._know_memories()
        if self._dirty or everybody:
            dirty, self._dirty = self._dirty, set()
            self._changed |= dirty
            self._look(dirty, everybody)
        resume = self._resume
        for number, sleeper in queue.lines_due(now_us):
            if sleeper.timer == number:
                sleeper.timer = 0
                resume(sleeper)  # type: ignore[arg-type]
        if self._deciding or self._later:
            self._decide()
        return bool(self._dirty) or queue.due(now_us)

    def _decide(self) -> None:
        """What was put off until this round's lines had run."""
        deciding, self._deciding = self._deciding, []
        for first_of in deciding:
            if first_of.alive:
                self._resume(first_of)
        later, self._later = self._later, []
        for deed in later:
            deed()

    def _know_memories(self) -> None:
        """Conditions with a memory that were made since the last round begin to remember now."""
        fresh = list(self.truth.memories.values())[self._memories :]
        self._memories = len(self.truth.memories)
        for memory in fresh:
            self.watchers.add(memory, "memory", memory.term)
            self._remember(memory)

    def _remember(self, memory: Memory) -> None:
        due = self.truth.remember(memory)
        if due is not None:
            self.queue.push(due, GUARD, memory)

    def _look(self, dirty: set[Key], everybody: bool) -> None:
        if everybody and self.heads is not None:
            for head in self.heads[0]:
                self.watchers.look(head)
            return
        for looker in self.watchers.affected(dirty):
            if isinstance(looker, Memory):
                self._remember(looker)
            else:
                self.watchers.look(looker)

    def _alarm(self, sleeper: Sleeper) -> None:
        """An alarm has rung: something changes by itself."""
        match sleeper:
            case OutputNow():
                self.changed((Sort.OUTPUT, sleeper.name))
                self.follow(sleeper.name, sleeper)
            case DetectorNow():
                settled(self, sleeper)
            case Memory():
                self._dirty.update(sleeper.keys)
            case Alarm(about=TimedHead() as head):
                head.ring()
            case Alarm(about=str() as name):
                self._too_long(name)

    def _resume(self, sleeper: Node | Run) -> None:
        """Wake a block, and carry its end upwards until somebody has more to do."""
        if isinstance(sleeper, Run):
            if sleeper.wake() is not Status.PENDING:
                self.cast.over(sleeper)
            return
        status, node, run = sleeper.wake(), sleeper, sleeper.run
        while status is not Status.PENDING:
            parent = node.parent
            if parent is None:
                self.cast.over(run)
                return
            status, node = parent.child_done(node, status), parent

    def _cut(self, rounds: int) -> None:
        """Stop the scenes whose lines are still due: only that ends a chain which would go on for ever."""
        due = [sleeper for _, sleeper in self.queue.lines_due(self.stage.now_us)]
        places: dict[Place, None] = {}
        runs: dict[Run, None] = {}
        for sleeper in due:
            run = sleeper if isinstance(sleeper, Run) else sleeper.run  # type: ignore[attr-defined]
            runs[run] = None
            places[sleeper.place] = None  # type: ignore[attr-defined]
        stopped = "; stopped: " + " and ".join(run.scene.name for run in runs) if runs else ""
        self.trouble(f"reactions did not settle in {rounds} rounds{stopped}", *places, cut=True)
        for run in runs:
            self.cast.cut(run, run.stopping)

    def _flush(self) -> None:
        """Of several orders to one output in an instant the last is sent."""
        if self.told:
            if len(self.trace) + len(self.told) <= TRACE_LIMIT:
                self.trace += self.told.values()
            else:
                for told in self.told.values():
                    self.record(told)
            self.told = {}

    # --- what lines ask for ----------------------------------------------------------------------------------------

    def view(self, run: Run | None, output: str) -> Wave:
        """What a scene sees of an output: its own wish, while another scene has taken the output from it."""
        if run is not None and output in run.shadow:
            return run.shadow[output].wave
        return self.stage.outputs[output].wave

    def wish(self, run: Run, output: str) -> Wish:
        """What a scene wants of an output now, with what `again` needs to go back to it."""
        return run.shadow[output] if output in run.shadow else self.stage.outputs[output].wish

    def order(self, run: Run | None, output: str, order: Order, place: Place, why: str = "line") -> int:
        """Give an output an order, from the value that it has now."""
        now = self.stage.outputs[output]
        if type(order) is Level and now.plain:  # by far the most frequent order
            return self.order_wave(run, output, order.steady, place, why)
        wave = wave_for(order, now.output, self.stage.now_us, self.view(run, output), self.chance)
        return self.order_wave(run, output, wave, place, why)

    def order_wave(self, run: Run | None, output: str, wave: Wave, place: Place, why: str = "line") -> int:
        """Give an output a wave; the number that it gets tells later whether it is still the last."""
        self._orders = number = self._orders + 1
        if run is not None and output in run.shadow:
            _, _, before, _ = wish = run.shadow[output]
            if endless(wave) and not endless(wish.wave):
                before = level_left(wish.wave, self.stage.now_us)
            run.shadow[output] = Wish(wave, number, before, place)
            return number
        now = self.stage.outputs[output]
        if type(wave) is not Steady and endless(wave) and not endless(now.wave):
            now.before_flash = level_left(now.wave, self.stage.now_us)
        self._show(run, now, wave, number, place, why)
        return number

    def again(self, run: Run, output: str, wish: Wish, place: Place, why: str = "line") -> None:
        """An output does again what it did, or goes on with it; who began that may still drop it."""
        if output in run.shadow:
            run.shadow[output] = wish._replace(place=place)
            return
        now = self.stage.outputs[output]
        now.before_flash = wish.before_flash
        self._show(run, now, wish.wave, wish.order, place, why)

    def _show(self, run: Run | None, now: OutputNow, wave: Wave, number: int, place: Place, why: str) -> None:
        output, now_us = now.name, self.stage.now_us
        if now.output.longest_on_us is not None:
            self._time_on(now, wave)
        now.wave = wave
        now.order = number
        self.told[output] = t.Told(now_us, output, wave, run.scene.name if run else "", place, why)
        if now.read:
            self._dirty.add((Sort.OUTPUT, output))
            self.follow(output, now)

    def follow(self, name: str, now: OutputNow) -> None:
        """Look again when something that a condition reads of this output changes by itself."""
        if not now.read:
            return
        due = now.next_state_change(self.stage.now_us)
        if due is None:
            now.timer = 0
        else:
            self.queue.push(due, GUARD, now)

    def _time_on(self, now: OutputNow, wave: Wave) -> None:
        """Start, or forget, the longest time that the output may be on, before it does another wave."""
        alarm, now_us = self._longest.setdefault(now.name, Alarm(now.name)), self.stage.now_us
        if not shines(wave, now_us):
            alarm.timer = 0
        elif not alarm.timer or not shines(now.wave, now_us):  # it may have died down by itself since
            assert now.output.longest_on_us is not None
            self.queue.push(now_us + now.output.longest_on_us, GUARD, alarm)

    def _too_long(self, name: str) -> None:
        """What has been on for its longest time goes off at once: the time is there to save it, not to please."""
        now = self.stage.outputs[name]
        if shines(now.wave, self.stage.now_us):
            self.order_wave(None, name, Steady(0.0), now.output.place, "longest time on")

    def drop_order(self, run: Run, output: str, number: int) -> None:
        """A block that gave this order was dropped: a move or fade stops where it is, a flash or flicker ends.

        A lamp that comes on in its own way does so still: it was turned on, and nothing turns it off.
        """
        wave, last, before, _ = self.wish(run, output)
        if last != number:
            return
        now_us = self.stage.now_us
        place = self.blame if self.blame is not NOWHERE else run.scene.place
        if wave.state is State.UNDER_WAY and under_way(wave, now_us):
            self.order_wave(run, output, Steady(wave.value_at(now_us)), place, "dropped")
        elif endless(wave):
            self.order_wave(run, output, Steady(before), place, "dropped")

    def hold(self, run: Run, output: str, place: Place) -> None:
        wave = self.view(run, output)
        if under_way(wave, self.stage.now_us):
            self.order_wave(run, output, Steady(wave.value_at(self.stage.now_us)), place, "hold")

    def stand(self, name: str, safe: bool) -> None:
        """An output that no scene holds goes to its safe state, if it has one, or to rest; a signal's parts with it."""
        output = self.stage.outputs[name].output
        setting = (output.safe if safe else None) or output.rest
        for part, order in orders_for(output, setting, self.program.layout.outputs):
            self.order(None, part, order, output.place, "safe" if safe else "rest")

    def rest_orders(self, outputs: Iterable[str]) -> list[tuple[str, Order]]:
        """The orders that bring outputs to rest."""
        known = self.program.layout.outputs
        return [pair for name in outputs for pair in orders_for(known[name], known[name].rest, known)]

    def set_flag(self, flag: str, value: bool) -> None:
        if self.stage.flags[flag] != value:
            self.stage.flags[flag] = value
            self.changed((Sort.FLAG, flag))
            self.record(t.FlagIs(self.stage.now_us, flag, value))

    def count(self, counter: str, by: int | None) -> None:
        value = 0 if by is None else self.stage.counters[counter] + by
        if value != self.stage.counters[counter]:
            self.stage.counters[counter] = value
            self.changed((Sort.COUNTER, counter))
            self.record(t.CounterIs(self.stage.now_us, counter, value))

    def start_scene(self, name: str, why: str, place: Place, lender: str = "") -> None:
        self.cast.start(name, why, place, lender)

    def stop_scene(self, name: str, why: str, place: Place) -> None:
        self.cast.stop(name, why, place)

    def tell_when_over(self, name: str, watch: Watch) -> bool:
        """Wake the watch when the scene has ended; False if it is not running and will not begin by itself."""
        run = self.cast.runs.get(name)
        if run is None:
            return self.swapping.tell_when_over(name, watch)
        run.watches.append(watch)
        return True

    def unguarded_scenes(self) -> list[str]:
        return self._unguarded

    def settle_later(self, first_of: First) -> None:
        """Decide a `first of` when this round's lines have run."""
        self._deciding.append(first_of)

    def do_later(self, deed: Callable[[], None]) -> None:
        """For what would pull the block that asks from under itself: done when this round's lines have run."""
        self._later.append(deed)

    def scene_changed(self, name: str) -> None:
        """A scene does something else now, or is another: its heads look again."""
        self.changed((Sort.SCENE, name))

    def changed(self, key: Key) -> None:
        """Something that conditions may read has changed."""
        self._dirty.add(key)

    def holds(self, term: Term) -> bool:
        """Whether a term holds now."""
        return self.truth.question(term)()

    def wave(self, output: str) -> Wave:
        """What an output does now."""
        return self.stage.outputs[output].wave

    def until_time(self, second_of_day: int, layout_time: bool) -> int | None:
        """Microseconds until the next such time of day; a full day if it is just now, but 0 at the first instant.

        None while the layout clock is stopped.
        """
        clock = self.clock if layout_time else LayoutClock(self.hall_starts_s, 1)
        return clock.until(second_of_day, self.stage.now_us)

    def look_afresh(self) -> None:
        """Every head looks at its condition again in the next round."""
        self._afresh = True

    # --- the trace -------------------------------------------------------------------------------------------------

    def record(self, record: t.Record) -> None:
        trace = self.trace
        if len(trace) < TRACE_LIMIT:
            trace.append(record)
        elif len(trace) == TRACE_LIMIT:
            trace.append(t.Trouble(record.at_us, f"the trace is full at {TRACE_LIMIT} records", ()))

    def did(self, scene: str, place: Place) -> None:
        self.record(t.Did(self.stage.now_us, scene, place))

    def began(self, scene: str, place: Place) -> int:
        """A line that takes time begins; the number pairs it with its end."""
        self._lines += 1
        self.record(t.Began(self.stage.now_us, self._lines, scene, place))
        return self._lines

    def ended(self, line: int, how: str) -> None:
        self.record(t.Ended(self.stage.now_us, line, how))

    def scene_is(self, name: str, state: str, why: str, place: Place) -> None:
        self.record(t.SceneIs(self.stage.now_us, name, state, why, place))

    def note(self, scene: str, text: str, place: Place) -> None:
        self.record(t.Noted(self.stage.now_us, scene, text, place))

    def trouble(self, text: str, *places: Place, cut: bool = False) -> None:
        """Something was cut or refused; `cut`: a scene is stopped for it."""
        self.record(t.Trouble(self.stage.now_us, text, places, cut))


def _unguarded(program: Program) -> list[str]:
    """The scenes that `stop every other scene` stops."""
    outputs = program.layout.outputs
    return [
        scene.name for scene in program.named_scenes.values() if not any(outputs[name].guarded for name in scene.writes)
    ]
