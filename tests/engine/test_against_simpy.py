"""Order and times against SimPy, a general-purpose event simulator: the same small programs in both.

At equal instants SimPy runs events in the order in which they were scheduled; so must we ("in the order asked for").
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

import simpy
from hypothesis import given, settings
from hypothesis import strategies as st

from engine import program as p
from engine.drive import Nothing, jump
from engine.events import StartScene
from engine.kernel import Kernel
from engine.layout import NOWHERE
from engine.trace import Noted

Plan = tuple[Any, ...]
waits = st.integers(0, 3).map(lambda seconds: ("wait", seconds))
notes = st.just(("note",))
lines = st.recursive(
    waits | notes,
    lambda inner: st.one_of(
        st.tuples(st.just("together"), st.lists(st.lists(inner, min_size=1, max_size=3), min_size=1, max_size=3)),
        st.tuples(st.just("repeat"), st.integers(0, 3), st.lists(inner, min_size=1, max_size=3)),
        st.tuples(st.just("in order"), st.lists(inner, min_size=1, max_size=3)),
    ),
    max_leaves=12,
)
plans = st.lists(lines, min_size=1, max_size=4)


def named(plan: Any, path: str = "") -> Any:
    """The plan with a name of its own in every note."""
    if isinstance(plan, list):  # first: a pattern in brackets would match a list of two as well
        return [named(one, f"{path}.{number}") for number, one in enumerate(plan)]
    match plan:
        case ("note",):
            return ("note", path)
        case ("wait", _):
            return plan
        case ("repeat", times, block):
            return ("repeat", times, named(block, path))
        case (kind, blocks):
            return (kind, named(blocks, path))
    raise AssertionError(plan)


def ours(plan: list[Plan]) -> p.Block:
    def line(one: Plan) -> p.Statement:
        match one:
            case ("note", text):
                return p.Note(NOWHERE, text)
            case ("wait", seconds):
                return p.Wait(NOWHERE, seconds * 1_000_000, seconds * 1_000_000)
            case ("together", branches):
                return p.Together(NOWHERE, tuple(ours(branch) for branch in branches))
            case ("repeat", times, block):
                return p.Repeat(NOWHERE, ours(block), times=times)
        return p.InOrder(NOWHERE, ours(one[1]))

    return tuple(line(one) for one in plan)


def begun(env: simpy.Environment, steps: Generator) -> None:
    """Run a generator's first lines now, as a line does that begins a branch, and the rest as a SimPy process."""
    try:
        event = next(steps)
    except StopIteration:
        return

    def rest(event: simpy.Event) -> Generator:
        yield event
        yield from steps

    env.process(rest(event))


def theirs(scenes: list[list[Plan]]) -> list[tuple[int, str]]:
    env, log = simpy.Environment(), []

    def block(plan: list[Plan], then: Callable[[], Generator]) -> Generator:
        if not plan:
            yield from then()
            return
        first, rest = plan[0], plan[1:]

        def on() -> Generator:
            return block(rest, then)

        match first:
            case ("note", text):
                log.append((int(env.now) * 1_000_000, text))
                yield from on()
            case ("wait", seconds):
                yield env.timeout(seconds)
                yield from on()
            case ("in order", inner):
                yield from block(inner, on)
            case ("repeat", times, inner):
                yield from block([line for _ in range(times) for line in inner], on)
            case ("together", branches):
                left = [len(branches)]

                def joined() -> Generator:
                    left[0] -= 1
                    if left[0] == 0:  # the last branch goes straight on with what follows
                        yield from on()

                for branch in branches:
                    begun(env, block(branch, joined))

    def nothing() -> Generator:
        yield from ()

    for scene in scenes:
        begun(env, block(scene, nothing))
    env.run()
    return log


@settings(max_examples=300, deadline=None)
@given(st.lists(plans, min_size=1, max_size=3))
def test_same_times_and_same_order_as_simpy(scenes: list[list[Plan]]) -> None:
    scenes = [named(scene, f"s{number}") for number, scene in enumerate(scenes)]
    program = p.Program(
        scenes={f"s{number}": p.Scene(f"s{number}", NOWHERE, ours(scene)) for number, scene in enumerate(scenes)}
    )
    kernel = Kernel(program)
    kernel.advance(0, [StartScene(name) for name in program.scenes])
    jump(kernel, Nothing(), None)
    assert [(r.at_us, r.text) for r in kernel.trace if isinstance(r, Noted)] == theirs(scenes)
