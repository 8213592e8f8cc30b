"""Every statement nested in every other, to depth 5, and what must always hold whatever the program.

One trace on both drivers (asserted by `played`), nothing running and nothing claimed after a stop, what is guarded safe
then and the rest at rest, every line that began has ended, instants never go back, no output told twice in one instant,
values within their bounds, no jump that nobody wrote, who follows daylight in step with it, conditions true just when
the waves of the trace make them so.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from dataclasses import replace

import pytest
from acting import LAYOUT, S, Script, lamp, played, program
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine import program as p
from engine import trace as t
from engine.conditions import Atom, Sort, Test
from engine.courses import Course, Ease
from engine.curves import Curve
from engine.daylight import Follow, Sunlight
from engine.drive import jump
from engine.events import Detected, StartScene, StopScene
from engine.flicker import Flicker
from engine.kernel import Kernel
from engine.layout import DAYLIGHT, Aspect, Blink, Kind, Output, Place, Setting, colour_of
from engine.performance import Run
from engine.stage import OutputNow, settled_wave
from engine.waves import Ramp, State, Steady, Wave

DEPTH = 5
LAMPS = ["ada", "bea", "cid", "dot", "eve", "fay"]
HEADER = """flag shop-open
counter trips
manner stutter
    10 % for 200 ms
    80 % for 400 ms
    30 % over 500 ms
manner dimmer
    20 % for 100 ms
    100 % over 1 s
"""
WARM, COOL = 1e6 / 2200, 1e6 / 6500
STAGE = replace(
    LAYOUT,
    outputs={
        **LAYOUT.outputs,
        **{
            output.name: output
            for output in (
                lamp("gil", comes_on="dynamo", longest_on_us=8 * S),
                lamp("warning", safe=Setting(0.0, Blink(60 * S, 60, 0, 2))),
                replace(lamp("sky", follows_lux=(1.0, 10_000.0)), rest=Setting(1.0)),
                lamp("glow", follows_lux=(300.0, 3.0)),
                lamp("hue"),
                Output(colour_of("hue"), Kind.COLOUR, Setting(WARM), mired=(WARM, COOL)),
                lamp("tri"),
                Output(colour_of("tri"), Kind.COLOUR, Setting(0.0), aspects=(*map(Aspect, ("white", "red", "green")),)),
                Output(DAYLIGHT, Kind.DAYLIGHT, Setting(10_000.0)),
            )
        },
    },
)
BOUNDS = {
    "boom": (0.0, 90.0),
    "gate": (0.0, 90.0),
    colour_of("hue"): (COOL, WARM),
    colour_of("tri"): (0.0, 2.0),
    DAYLIGHT: (0.0, 100_000.0),
}
FOLLOWERS = ("sky", "glow")
WATCHED = (
    Atom(Sort.OUTPUT, "ada", Test.BELOW, 0.55),
    Atom(Sort.OUTPUT, "ada", Test.AT_LEAST, 0.3),
    Atom(Sort.OUTPUT, "bea", Test.ABOVE, 0.55),
    Atom(Sort.OUTPUT, "bea", Test.FLICKERING),
    Atom(Sort.OUTPUT, "cid", Test.FADING),
    Atom(Sort.OUTPUT, "dot", Test.LIT),
    Atom(Sort.OUTPUT, "boom", Test.PAST, 0.4),
    Atom(Sort.OUTPUT, "gate", Test.MOVING),
    Atom(Sort.OUTPUT, "sky", Test.LIT),
    Atom(Sort.OUTPUT, DAYLIGHT, Test.BELOW, 70.0),
)

plain = st.sampled_from(
    [
        "turn on {lamp}",
        "turn off {lamp}",
        "turn on {lamp} for 2 s",
        "set {lamp} to 40 %",
        "fade {lamp} to 80 % over 3 s",
        "flash {lamp} at 60 a minute",
        "flash {lamp} at 90 a minute for 4 s",
        "move boom to lowered over 7 s",
        "move gate to raised over 5 s",
        "pulse coil-a for 100 ms",
        "wait 1 s",
        "wait 0 s",
        "wait 1 s to 3 s",
        "wait until near is occupied",
        "wait until far is clear for 2 s, at most 4 s",
        "remember shop-open",
        "forget shop-open",
        "count trips up",
        "reset trips",
        "run other",
        "start other",
        "stop other",
        "stop every other scene",
        "hold {lamp}",
        "release boom",
        *["stop repeating"] * 4,
        'note "here"',
        "fade {lamp} to 20 % over 4 s like filament",
        "fade {lamp} to 90 % over 2500 ms like gas-mantle",
        "fade {lamp} to 60 % over 3 s like smooth",
        "fade {lamp} to 10 % over 2 s like dimmer",
        "flicker {lamp} like candle",
        "flicker {lamp} like storm between 10 % and 70 % over 3 s",
        "flicker {lamp} like bonfire between 30 % and 60 % for 5 s",
        "flicker {lamp} like stutter",
        'show {lamp} as "Fl(2) 5s"',
        'show {lamp} as "Iso 2s"',
        'show tri as "Al RG 6s"',
        "turn on {lamp} like gas-mantle",
        "turn off {lamp} like filament",
        "turn on {lamp} like tube for 3 s",
        "turn on gil",
        "turn off gil",
        "set gil to 30 % for 2 s",
        "flash warning at 45 a minute",
        "turn on warning",
        "fade daylight through dusk over 6 s",
        "fade daylight through dawn over 4 s",
        "fade daylight through nightfall over 9 s",
        "hold daylight",
        "release daylight",
        "move boom to lowered over 700 ms, bouncing",
        "move gate to lowered over 6 s, bouncing 3 times",
        "move boom to raised over 5 s, settling",
        "move gate to lowered over 4 s like swaying",
        "set hue to 2700 K",
        "fade hue to 4000 K over 3 s",
        "set tri to red",
        "release {lamp}",
        "hold everything",
        "wait until {lamp} is at least 30 %, at most 3 s",
        "wait until daylight is below 70 lux, at most 5 s",
    ]
)
openers = st.sampled_from(
    [
        "together",
        "first of",
        "in order",
        "repeat 2 times",
        "repeat until near is occupied",
        "repeat",
        "as long as far is clear",
        "as long as shop-open",
        "as long as ada is below 55 %",
        "as long as bea is not flickering",
        "as long as boom is not past 40 %",
        "as long as sky is lit",
        "if near is clear",
        "if daylight is below 70 lux",
        "for each x{depth} in ada, bea side by side",
        "for each x{depth} in cid, dot, 1 s apart",
        "for each x{depth} in eve, fay in random order",
    ]
)


@st.composite
def block(draw: st.DrawFn, depth: int, loops: int = 0, alone: bool = False) -> list[str]:
    lines: list[str] = []
    for _ in range(draw(st.integers(1, 3))):
        if depth and draw(st.integers(0, 2)):
            head = draw(openers).format(depth=depth)
            inner = draw(block(depth - 1, loops + head.startswith("repeat"), alone))
            if head.startswith("repeat"):
                inner = [*inner, "wait 1 s"]  # so that no loop takes no time
            lines += [head, *("    " + line for line in inner)]
            if head.startswith(("as long", "if")) and draw(st.booleans()):
                lines += ["otherwise", '    note "otherwise"']
        else:
            line = draw(plain)
            if (line != "stop repeating" or loops) and not (alone and "other" in line):
                lines.append(line.format(lamp=draw(st.sampled_from(LAMPS))))
    return lines or ["wait 1 s"]


events = st.lists(
    st.tuples(
        st.integers(1, 40),
        st.sampled_from(["near", "far"]),
        st.sampled_from(["occupied", "clear", "unknown"]),
    ),
    max_size=8,
)
taken = st.sampled_from(["", "ada, boom", "daylight"])


class Observed(Kernel):
    """A kernel whose every order is looked at, also those that a later one of the same instant replaces."""

    def __init__(self, made: p.Program, seed: int = 0) -> None:
        super().__init__(made, seed)
        self.watched = [self.watch(term) for term in WATCHED]

    def _show(self, run: Run | None, now: OutputNow, wave: Wave, number: int, place: Place, why: str) -> None:
        now_us = self.stage.now_us
        newest = number == self._orders  # else it does again what it did before a line with `for`: that was written
        if (newest or why == "given back") and gentle(now.wave, wave, now_us, why):
            assert wave.value_at(now_us) == now.value(now_us), (now.name, now.wave, wave, why)
        super()._show(run, now, wave, number, place, why)


def gentle(before: Wave, wave: Wave, now_us: int, why: str) -> bool:
    """Whether nobody wrote a jump, so that there must be none."""
    match wave:
        case Steady():
            return why == "hold" or (why == "dropped" and before.state is State.UNDER_WAY)
        case Ramp() | Curve() | Sunlight():
            return wave.from_us == now_us
        case Course(repeats=False):
            return wave.from_us == now_us and wave.script.legs[0].ease is not Ease.HOLD
        case Follow():
            return wave.inner.from_us == now_us if isinstance(wave.inner, Sunlight) else False
        case Flicker():
            return wave.from_us == now_us and wave.over_us > 0
    return False


def courses(kernel: Kernel) -> dict[str, tuple[list[int], list[Wave]]]:
    """What each output did, from the trace alone: from which instants on which waves."""
    found: dict[str, tuple[list[int], list[Wave]]] = {
        name: ([-1], [settled_wave(output.rest, 0)]) for name, output in kernel.program.layout.outputs.items()
    }
    for record in kernel.trace:
        if isinstance(record, t.Told):
            found[record.output][0].append(record.at_us)
            found[record.output][1].append(record.wave)
    return found


def check_trace(kernel: Kernel) -> None:
    began, last = Counter[int](), 0
    told: set[tuple[int, str]] = set()
    for record in kernel.trace:
        assert record.at_us >= last
        last = record.at_us
        match record:
            case t.Began(line=line):
                began[line] += 1
            case t.Ended(line=line):
                began[line] -= 1
            case t.Told(at_us, output, wave):
                assert (at_us, output) not in told
                told.add((at_us, output))
                low, high = BOUNDS.get(output, (0.0, 1.0))
                for later in (0, S // 3, S, 2 * S, 5 * S, 100 * S):
                    assert low <= wave.value_at(at_us + later) <= high, record
    assert set(began.values()) <= {0}, "a line began and never ended, or ended twice"


def check_waves(kernel: Observed) -> None:
    done = courses(kernel)

    def wave(output: str, at_us: int) -> Wave:
        instants, waves = done[output]
        return waves[bisect_right(instants, at_us) - 1]

    marks = sorted({r.at_us for r in kernel.trace})
    marks += [mark + 777_777 for mark in marks] + [mark - 1 for mark in marks if mark]
    for at_us in marks:
        lux = Steady(wave(DAYLIGHT, at_us).value_at(at_us))
        for name in FOLLOWERS:
            bounds = kernel.program.layout.outputs[name].follows_lux
            assert bounds
            assert wave(name, at_us).value_at(at_us) == pytest.approx(Follow(lux, *bounds).value_at(0), abs=1e-9)
    twin = Kernel(kernel.program)
    for term, watch in zip(WATCHED, kernel.watched, strict=True):
        ask, now = twin.truth.question(term), twin.stage.outputs[term.subject]
        instants = [at_us for at_us, _ in watch.changes]
        for at_us in (*marks, *instants, *(at_us - 1 for at_us in instants if at_us)):
            twin.stage.now_us, now.wave = at_us, wave(term.subject, at_us)
            assert watch.changes[bisect_right(instants, at_us) - 1][1] is ask(), (term, at_us, now.wave)


def check_rest(kernel: Kernel, stop_at: int) -> None:
    """What the scenes that were stopped wrote is at rest in the end, and what is guarded is safe."""
    ends = [r for r in kernel.trace if isinstance(r, t.SceneIs) and r.at_us == stop_at * S]
    stopped = {r.scene for r in ends if r.state == "stopped"}
    for name in {name for scene in stopped for name in kernel.program.scenes[scene].writes}:
        output = kernel.program.layout.outputs[name]
        setting = output.safe or output.rest
        if setting.blink is not None:
            assert getattr(kernel.wave(name), "blink", None) == setting.blink
        else:
            assert kernel.wave(name).value_at(600 * S) == setting.value, (name, kernel.wave(name))


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(block(DEPTH), block(1, alone=True), events, st.integers(1, 60), st.integers(0, 3), taken)
def test_what_must_always_hold(
    lines: list[str],
    other: list[str],
    happenings: list[tuple[int, str, str]],
    stop_at: int,
    seed: int,
    takes: str,
) -> None:
    others = [f"takes {takes} from go", f"hold {takes}", *other, "wait 2 s"] if takes else other
    text = HEADER + "".join(
        f"scene {name}\n" + "".join(f"    {line}\n" for line in body)
        for name, body in (("go", lines), ("other", others))
    )
    made = quiet_program(text)
    script = [
        (0.0, StartScene("go")),
        *((float(at), Detected(name, state)) for at, name, state in happenings),
        *([(4.0, StartScene("other"))] if takes else []),
        (float(stop_at), StopScene("go")),
        (float(stop_at), StopScene("other")),
    ]
    kernel = played(made, script, until=600, seed=seed, of=Observed)
    if not takes or stop_at > 4:
        assert kernel.cast.runs == {}
        assert all(now.holder == "" for now in kernel.stage.outputs.values())
        assert not [r for r in kernel.trace if isinstance(r, t.Did | t.Began | t.Noted) and r.at_us > stop_at * S]
        check_rest(kernel, stop_at)
        check_trace(kernel)
    check_waves(kernel)


def quiet_program(text: str) -> p.Program:
    """The program of a text whose lines may well draw advice, or be unreachable, but must compile."""
    return program(text, STAGE)


def test_the_generator_reaches_every_statement() -> None:
    seen: set[str] = set()

    @settings(max_examples=150, deadline=None, database=None, derandomize=True,
              suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])  # fmt: skip
    @given(block(DEPTH))
    def look(lines: list[str]) -> None:
        made = quiet_program(HEADER + "scene other\n    wait 1 s\nscene go\n" + "".join(f"    {x}\n" for x in lines))
        for line in p.lines_of(made.scenes["go"].block):
            seen.add(type(line).__name__)
            if isinstance(line, p.Tell):
                seen.update(f"{type(order).__name__}{' for' * (line.for_us is not None)}" for _, order in line.orders)
            elif isinstance(line, p.Fade):
                seen.add(f"Fade {'way' * (line.like is not None)}{'profile' * (line.profile is not None)}")
            elif isinstance(line, p.Move):
                seen.add(f"Move {line.arrives}")

    look()
    assert seen >= {
        "Tell", "Fade", "Through", "Move", "Pulse", "Wait", "WaitUntil", "Together", "FirstOf", "InOrder", "Repeat",
        "StopRepeating", "AsLongAs", "If", "ForEach", "SetFlag", "Count", "RunScene", "StopScene", "StopOthers",
        "Hold", "Release", "Note", "Level", "Level for", "Flash", "Flash for", "Come", "Come for", "Flickers",
        "Flickers for", "Shows", "Fade way", "Fade profile", "Fade ", "Move ", "Move bouncing", "Move settling",
    }  # fmt: skip


@pytest.mark.parametrize("stop_at", [0, 1, 2, 3, 5, 8])
def test_a_stop_at_any_second_leaves_nothing_claimed(stop_at: int) -> None:
    made = program(
        "scene go\n    repeat\n        together\n            fade ada to 100 % over 3 s\n"
        "            first of\n                wait 2 s\n                flash bea at 60 a minute for 5 s\n"
    )
    kernel = Kernel(made)
    jump(kernel, Script([(0, StartScene("go")), (stop_at, StopScene("go"))]), 100 * S)
    assert kernel.cast.runs == {}
    assert kernel.next_due() is None
