"""What each line does when its turn comes: one function for each statement of `engine.program`, in one table."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from engine import program as p
from engine import ways
from engine.blocks import DONE, LEFT, PENDING, Block, Status
from engine.branches import All, Each, First, Guarded, Loop, One, Pulses, Until, Watch
from engine.chance import splitmix64
from engine.courses import Course
from engine.curves import PROFILES, Curve
from engine.layout import DAYLIGHT
from engine.queue import LINE
from engine.stage import moved, own_time, ramp, script_of
from engine.waves import State, Wave


def _tell(block: Block, line: p.Tell) -> Status:
    kernel, run = block.kernel, block.run
    if line.for_us is None:
        for output, order in line.orders:
            block.begun[output] = kernel.order(run, output, order, line.place)
        return DONE
    before = [(output, kernel.wish(run, output), block.begun.get(output)) for output, _ in line.orders]
    for output, order in line.orders:
        block.tell(output, order, line)

    def go_back(_: bool) -> None:
        for output, wish, begun in before:
            kernel.again(run, output, wish, block.place)  # the line may stand elsewhere by then
            if begun is None:
                block.begun.pop(output, None)  # what goes on was begun by another block, or nobody, and ends with that
            else:
                block.begun[output] = begun

    block.ending = go_back
    return block.sleep(line, line.for_us)


def _fade(block: Block, line: p.Fade) -> Status:
    kernel, now_us = block.kernel, block.kernel.stage.now_us
    for output, target in line.targets:
        value = kernel.view(block.run, output).value_at(now_us)
        block.tell_wave(output, _faded(block, line, output, value, target), line)
    return block.sleep(line, line.over_us)


def _faded(block: Block, line: p.Fade, output: str, value: float, target: float) -> Wave:
    now_us, over_us = block.kernel.stage.now_us, line.over_us
    if value == target or not over_us or (line.like is None and line.profile is None):
        return ramp(now_us, over_us, value, target)
    if line.profile is not None:
        return Curve(now_us, now_us + over_us, value, target, line.profile)
    assert line.like is not None
    like = p.Come(target, line.like.way, line.like.script)
    script = script_of(like, value, splitmix64(block.kernel.chance.key(output) ^ now_us))
    return Course(now_us, ways.scaled(script, over_us), value, target, state=State.UNDER_WAY, name=like.way)


def _through(block: Block, line: p.Through) -> Status:
    from engine import daylight  # the sun's course: few layouts need it

    kernel, now_us = block.kernel, block.kernel.stage.now_us
    layout = kernel.program.layout
    lux = kernel.view(block.run, DAYLIGHT).value_at(now_us)
    sun = daylight.through(layout.whereabouts, line.course, now_us, line.over_us, lux, layout.daylight_lux)
    block.tell_wave(DAYLIGHT, sun, line)
    for name in line.followers:
        bounds = layout.outputs[name].follows_lux
        assert bounds is not None
        block.tell_wave(name, daylight.Follow(sun, *bounds), line)
    return block.sleep(line, line.over_us)


def _move(block: Block, line: p.Move) -> Status:
    kernel, now_us, longest = block.kernel, block.kernel.stage.now_us, 0
    for name, target in line.targets:
        output = kernel.stage.outputs[name].output
        value = kernel.view(block.run, name).value_at(now_us)
        if line.over_us is None:
            takes = own_time(output, value, target)
        else:
            takes = round(line.over_us * output.share(value, target))
        if line.arrives:
            wave = moved(output, now_us, takes, value, target, line.arrives, line.bounces)
        elif takes and value != target and line.over_us is not None:
            wave = Curve(now_us, now_us + takes, value, target, line.profile or PROFILES["smooth"])
        else:
            wave = ramp(now_us, takes, value, target)  # its board moves it, in a way that nobody here knows
        block.tell_wave(name, wave, line)
        longest = max(longest, takes)
    if longest:
        return block.sleep(line, longest)
    kernel.did(block.run.scene.name, line.place)
    return DONE


def _wait(block: Block, line: p.Wait) -> Status:
    kernel = block.kernel
    for_us = line.low_us if line.low_us == line.high_us else kernel.chance.between(line.draw, line.low_us, line.high_us)
    kernel.queue.push(kernel.stage.now_us + for_us, LINE, block)
    return PENDING


def _if(block: Block, line: p.If) -> Status:
    lines = line.block if block.kernel.truth.question(line.condition.term)() else line.otherwise
    return block.enter(One(block, lines)) if lines else DONE


def _by_chance(block: Block, line: p.ByChance) -> Status:
    point = Fraction(block.kernel.chance.draw(line.draw) * 100, 1 << 64)
    for percent, lines in line.shares:
        if point < percent:
            return block.enter(One(block, lines))
        point -= percent
    return DONE


def _set_flag(block: Block, line: p.SetFlag) -> Status:
    block.kernel.set_flag(line.flag, line.value)
    return DONE


def _count(block: Block, line: p.Count) -> Status:
    block.kernel.count(line.counter, line.by)
    return DONE


def _run_scene(block: Block, line: p.RunScene) -> Status:
    kernel, here = block.kernel, block.run.scene.name
    kernel.did(here, line.place)
    if line.scene == here and not line.waits:
        kernel.do_later(lambda: kernel.start_scene(here, f"{here} asked", line.place))
        return DONE
    kernel.start_scene(line.scene, f"{here} asked", line.place, lender=here if line.waits else "")
    if not line.waits or line.scene == here:
        return DONE
    watch = Watch(block)
    if not kernel.tell_when_over(line.scene, watch):
        return DONE
    block.child = watch
    return PENDING


def _stop_scene(block: Block, line: p.StopScene) -> Status:
    kernel, here = block.kernel, block.run.scene.name
    kernel.did(here, line.place)
    if line.scene != here:
        kernel.stop_scene(line.scene, f"{here} asked", line.place)
        return DONE
    kernel.do_later(lambda: kernel.stop_scene(here, f"{here} asked", line.place))
    return PENDING  # nothing after it runs: the stop drops this block at the end of the round


def _stop_others(block: Block, line: p.StopOthers) -> Status:
    kernel, here = block.kernel, block.run.scene.name
    kernel.did(here, line.place)
    for name in kernel.unguarded_scenes():
        if name != here:
            kernel.stop_scene(name, f"{here} stopped every other scene", line.place)
    return DONE


def _hold(block: Block, line: p.Hold) -> Status:
    for output in line.outputs:
        block.kernel.hold(block.run, output, line.place)
    block.kernel.did(block.run.scene.name, line.place)
    return DONE


def _release(block: Block, line: p.Release) -> Status:
    for output, order in block.kernel.rest_orders(line.outputs):
        block.tell(output, order, line)
    block.kernel.did(block.run.scene.name, line.place)
    return DONE


def _note(block: Block, line: p.Note) -> Status:
    block.kernel.note(block.run.scene.name, line.text, line.place)
    return DONE


VERBS: dict[type, Callable[[Block, Any], Status]] = {
    p.Tell: _tell,
    p.Fade: _fade,
    p.Through: _through,
    p.Move: _move,
    p.Pulse: lambda block, line: block.enter(Pulses(block, line)),
    p.Wait: _wait,
    p.WaitUntil: lambda block, line: block.enter(Until(block, line)),
    p.Together: lambda block, line: block.enter(All(block, line.branches)),
    p.FirstOf: lambda block, line: block.enter(First(block, line.branches)),
    p.InOrder: lambda block, line: block.enter(One(block, line.block)),
    p.Repeat: lambda block, line: block.enter(Loop(block, line)),
    p.StopRepeating: lambda block, line: LEFT,
    p.AsLongAs: lambda block, line: block.enter(Guarded(block, line)),
    p.If: _if,
    p.ByChance: _by_chance,
    p.ForEach: lambda block, line: block.enter(Each(block, line)),
    p.SetFlag: _set_flag,
    p.Count: _count,
    p.RunScene: _run_scene,
    p.StopScene: _stop_scene,
    p.StopOthers: _stop_others,
    p.Hold: _hold,
    p.Release: _release,
    p.Note: _note,
}
