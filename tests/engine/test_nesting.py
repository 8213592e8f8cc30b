"""Every statement nested in every other, to depth 5, and what must always hold whatever the program.

One trace on both drivers (asserted by `played`), nothing running and nothing claimed after a stop, every line that
began has ended, instants never go back, no output told twice in one instant, values within their bounds.
"""

from __future__ import annotations

from collections import Counter

import pytest
from acting import LAYOUT, S, Script, played, program
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine import program as p
from engine import trace as t
from engine.drive import jump
from engine.events import Detected, StartScene, StopScene
from engine.kernel import Kernel

DEPTH = 5
LAMPS = ["ada", "bea", "cid", "dot", "eve", "fay"]
HEADER = "flag shop-open\ncounter trips\n"

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
        "stop repeating",
        'note "here"',
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
        "if near is clear",
        "for each x{depth} in ada, bea side by side",
        "for each x{depth} in cid, dot, 1 s apart",
        "for each x{depth} in eve, fay in random order",
    ]
)


@st.composite
def block(draw: st.DrawFn, depth: int, loops: int = 0) -> list[str]:
    lines: list[str] = []
    for _ in range(draw(st.integers(1, 3))):
        if depth and draw(st.integers(0, 2)):
            head = draw(openers).format(depth=depth)
            inner = draw(block(depth - 1, loops + head.startswith("repeat")))
            if head.startswith("repeat"):
                inner = [*inner, "wait 1 s"]  # so that no loop takes no time
            lines += [head, *("    " + line for line in inner)]
            if head.startswith(("as long", "if")) and draw(st.booleans()):
                lines += ["otherwise", '    note "otherwise"']
        else:
            line = draw(plain)
            if line != "stop repeating" or loops:
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


def check_invariants(kernel: Kernel) -> None:
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
                low, high = (0, 90) if output in ("boom", "gate") else (0, 1)
                assert all(low <= wave.value_at(at) <= high for at in (at_us, at_us + S, at_us + 100 * S))
    assert set(began.values()) <= {0}, "a line began and never ended, or ended twice"


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(block(DEPTH), block(0), events, st.integers(1, 60), st.integers(0, 3))
def test_what_must_always_hold(
    lines: list[str], other: list[str], happenings: list[tuple[int, str, str]], stop_at: int, seed: int
) -> None:
    text = HEADER + "".join(
        f"scene {name}\n" + "".join(f"    {line}\n" for line in body)
        for name, body in (
            ("go", lines),
            ("other", [line for line in other if "other" not in line] or ["wait 1 s"]),
        )
    )
    made = quiet_program(text)
    script = [
        (0.0, StartScene("go")),
        *((float(at), Detected(name, state)) for at, name, state in happenings),
        (float(stop_at), StopScene("go")),
        (float(stop_at), StopScene("other")),
    ]
    kernel = played(made, script, until=600, seed=seed)
    assert kernel.cast.runs == {}
    assert all(now.holder == "" for now in kernel.stage.outputs.values())
    assert not [r for r in kernel.trace if isinstance(r, t.Did | t.Began | t.Noted) and r.at_us > stop_at * S]
    check_invariants(kernel)


def quiet_program(text: str) -> p.Program:
    """The program of a text whose lines may well draw advice, or be unreachable, but must compile."""
    return program(text, LAYOUT)


def test_the_generator_reaches_every_statement() -> None:
    seen: set[str] = set()

    @settings(max_examples=60, deadline=None, database=None, derandomize=True,
              suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])  # fmt: skip
    @given(block(DEPTH))
    def look(lines: list[str]) -> None:
        made = quiet_program(HEADER + "scene other\n    wait 1 s\nscene go\n" + "".join(f"    {x}\n" for x in lines))
        seen.update(type(line).__name__ for line in p.lines_of(made.scenes["go"].block))

    look()
    assert seen >= {
        "Tell", "Fade", "Move", "Pulse", "Wait", "WaitUntil", "Together", "FirstOf", "InOrder", "Repeat",
        "StopRepeating", "AsLongAs", "If", "ForEach", "SetFlag", "Count", "RunScene", "StopScene", "StopOthers",
        "Hold", "Release", "Note",
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
