"""A line that should carry three times what it can: 60 lamps fading and 10 servos moving, paced in four ways.

How far what is shown is from what is wanted (lamps: CIE 1976 lightness, servos: share of their travel, 0 to 1), looked
at every 10 ms from the first order until 5 s after the last wave has ended: worst, 99th percentile, mean, and the mean
over outputs whose wave has ended. The same orders and the same slots for all: the pacer; first come, first served;
frames in which each output has its turn, whether it needs one or not; and such frames without those that need none.
And how many choices a second the pacer makes, and how long the example's evening takes to work out.

Run it: `python tests/benchmarks/pacer_overload.py`.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

from adapters.load import simulate
from adapters.pacer import Pace, Pacer
from engine.chance import key_of, share_at
from engine.codes import commands, seen, shown
from engine.drive import Nothing, jump
from engine.flicker import Flicker
from engine.kernel import Kernel
from engine.layout import Kind, Layout, Link, Output, Position, Setting
from engine.manners import MANNERS
from engine.trace import Told
from engine.waves import Ramp, Wave
from wayside.project import load

S = 1_000_000
LOOK_US = 10_000
LAMPS, SERVOS, TIMES = 60, 10, 3
ROUNDS = 4  # orders that each output gets, one after another
EXAMPLE = Path(__file__).parents[2] / "examples" / "pellbrook-quay"

Order = tuple[int, str, Wave]
Sent = tuple[int, str, int]


def outputs() -> list[Output]:
    ends = (Position("lowered", 0.0), Position("raised", 90.0))
    lamps = [Output(f"lamp-{number}", Kind.LAMP, Setting(0.0), steps=255) for number in range(LAMPS)]
    servos = [Output(f"arm-{number}", Kind.SERVO, Setting(0.0), positions=ends) for number in range(SERVOS)]
    return lamps + servos


def orders() -> list[Order]:
    """Lamps fade in 1 to 15 s, servos move in 2 to 8 s, to and fro; the next order comes 1 s or more after an end."""
    made: list[Order] = []
    for output in outputs():
        key, at_us, value = key_of(output.name), 0, 0.0
        whole, least, most = (90.0, 2.0, 8.0) if output.kind is Kind.SERVO else (1.0, 1.0, 15.0)
        for number in range(ROUNDS):
            at_us += round(share_at(key, 3 * number) * 3 * S)
            over_us = round((least + share_at(key, 3 * number + 1) * (most - least)) * S)
            target = whole * (share_at(key, 3 * number + 2) if number % 2 else 1.0)
            made.append((at_us, output.name, Ramp(at_us, at_us + over_us, value, target)))
            at_us, value = at_us + over_us + S, target
    return sorted(made, key=lambda order: order[0])


def due(all_outputs: Sequence[Output], asked: Sequence[Order], until_us: int) -> list[Sent]:
    """Every command at its instant, as a line without limits would carry it."""
    made: list[Sent] = []
    for output in all_outputs:
        own = [order for order in asked if order[1] == output.name]
        ends = [*(order[0] for order in own[1:]), until_us]
        last = 0
        for (at_us, name, wave), end_us in zip(own, ends, strict=True):
            for when_us, code in commands(wave, output, at_us, end_us):
                if code != last:
                    made.append((when_us, name, code))
                    last = code
    return sorted(made, key=lambda sent: sent[0])


class Wanted:
    """What each output should show, for the looks and for the frames."""

    def __init__(self, all_outputs: Sequence[Output], asked: Sequence[Order]) -> None:
        self.outputs = {output.name: output for output in all_outputs}
        self.own = {name: [order for order in asked if order[1] == name] for name in self.outputs}

    def value(self, name: str, at_us: int) -> tuple[float, Wave | None]:
        wave = next((order[2] for order in reversed(self.own[name]) if order[0] <= at_us), None)
        return (0.0, None) if wave is None else (wave.value_at(at_us), wave)

    def code(self, name: str, at_us: int) -> int:
        value, wave = self.value(name, at_us)
        if wave is None:
            return 0
        return seen(self.outputs[name], wave.value_at(wave.ends_us or at_us))(value)


# --- four ways -----------------------------------------------------------------------------------------------------


def ours(wanted: Wanted, asked: Sequence[Order], rate: float, until_us: int) -> list[Sent]:
    pacer = Pacer(list(wanted.outputs.values()), Pace(11_520.0, rate))
    for name in wanted.outputs:
        pacer.known(name, 0)
    sent: list[Sent] = []
    waiting, now_us = deque(asked), 0
    while True:
        due_us = pacer.next_due(now_us)
        if waiting and (due_us is None or waiting[0][0] <= due_us):
            now_us, name, wave = waiting.popleft()
            pacer.want(name, wave, now_us)
            continue
        if due_us is None or due_us >= until_us:
            return sent
        now_us = due_us
        choice = pacer.choose(now_us)
        if choice is not None:
            sent.append((now_us, choice.name, choice.code))
            pacer.sent(choice.name, choice.code, now_us, 11)
            pacer.answered()


def first_come(wanted: Wanted, asked: Sequence[Order], rate: float, until_us: int) -> list[Sent]:
    sent: list[Sent] = []
    free_us = 0.0
    for at_us, name, code in due(list(wanted.outputs.values()), asked, until_us):
        free_us = max(free_us, at_us)
        if free_us >= until_us:
            break
        sent.append((round(free_us), name, code))
        free_us += S / rate
    return sent


def frames(wanted: Wanted, asked: Sequence[Order], rate: float, until_us: int, skip: bool) -> list[Sent]:
    names, told = list(wanted.outputs), dict.fromkeys(wanted.outputs, 0)
    sent: list[Sent] = []
    turn, slot = 0, 0
    while (now_us := round(slot * S / rate)) < until_us:
        slot += 1
        for _ in names:
            name = names[turn % len(names)]
            turn += 1
            code = wanted.code(name, now_us)
            if code != told[name] or not skip:
                told[name] = code
                sent.append((now_us, name, code))
                break
    return sent


# --- how far off ---------------------------------------------------------------------------------------------------


def looked_at(wanted: Wanted, sent: Sequence[Sent], until_us: int) -> tuple[float, float, float, float]:
    """Worst, 99th percentile, mean of all looks, and mean of the looks at outputs whose wave has ended."""
    told, errors, last = dict.fromkeys(wanted.outputs, 0.0), [], []
    coming = deque(sent)
    for at_us in range(0, until_us, LOOK_US):
        while coming and coming[0][0] <= at_us:
            _, name, code = coming.popleft()
            told[name] = shown(wanted.outputs[name], code)
        for name, output in wanted.outputs.items():
            value, wave = wanted.value(name, at_us)
            error = abs(value - told[name]) / (90.0 if output.kind is Kind.SERVO else 1.0)
            errors.append(error)
            if wave is not None and wave.ends_us is not None and wave.ends_us <= at_us:
                last.append(error)
    errors.sort()
    return errors[-1], errors[len(errors) * 99 // 100], sum(errors) / len(errors), sum(last) / len(last)


def side_by_side() -> None:
    all_outputs, asked = outputs(), orders()
    ends_us = max(wave.ends_us or 0 for _, _, wave in asked)
    until_us = ends_us + 5 * S
    wanted = Wanted(all_outputs, asked)
    all_due = due(all_outputs, asked, until_us)
    rate = len(all_due) / (ends_us / S) / TIMES
    print(f"{len(all_due)} commands wanted in {ends_us / S:.0f} s; the line carries {rate:.1f} a second, a third of it")
    print(f"{'':34}{'worst':>8}{'p99':>8}{'mean':>8}{'ended':>8}{'sent':>8}")
    ways: list[tuple[str, Callable[[], list[Sent]]]] = [
        ("the pacer", lambda: ours(wanted, asked, rate, until_us)),
        ("first come, first served", lambda: first_come(wanted, asked, rate, until_us)),
        ("frames of all outputs", lambda: frames(wanted, asked, rate, until_us, False)),
        ("frames of those that need it", lambda: frames(wanted, asked, rate, until_us, True)),
    ]
    for name, way in ways:
        sent = way()
        figures = looked_at(wanted, sent, until_us)
        print(f"{name:34}{''.join(f'{figure:8.4f}' for figure in figures)}{len(sent):8}")


def choices(seconds: int = 60) -> None:
    for count in (20, 70, 200):
        lamps = [Output(f"lamp-{number}", Kind.LAMP, Setting(0.0), steps=255) for number in range(count)]
        pacer = Pacer(lamps, Pace(11_520.0, 100.0))
        for number, lamp in enumerate(lamps):
            pacer.known(lamp.name, 0)
            pacer.want(lamp.name, Ramp(0, (seconds + number) * S, 0.0, 1.0), 0)
        made, spent, now_us = 0, 0.0, 0
        while now_us < seconds * S:
            due_us = pacer.next_due(now_us)
            if due_us is None:
                break
            now_us = due_us
            began = time.perf_counter()
            choice = pacer.choose(now_us)
            spent += time.perf_counter() - began
            made += 1
            if choice is not None:
                pacer.sent(choice.name, choice.code, now_us, 11)
                pacer.answered()
        print(f"{count} lamps fading: {made / spent:,.0f} choices a second")


def simulations() -> None:
    program = load([EXAMPLE]).program
    kernel = Kernel(program, starts_s=17 * 3600 + 1800)
    jump(kernel, Nothing(), 6 * 3600 * S)
    for rate in (41.05, 1_000.0):
        began = time.process_time()
        found = simulate(program.layout, kernel.trace, 6 * 3600 * S, program.layout.links["main"], Pace(11_520.0, rate))
        spent = time.process_time() - began
        print(f"six hours of the example's evening at {rate:g} a second: {spent:.2f} s, {len(found.stream)} commands")
    lamps = [Output(f"lamp-{number}", Kind.LAMP, Setting(0.0), steps=255) for number in range(200)]
    manners = list(MANNERS.values())
    trace = [
        Told(
            0,
            one.name,
            Flicker(0, 0, key_of(one.name), manners[number % len(manners)], (0.0, 1.0), (0.0, 1.0)),
            "",
            one.place,
        )
        for number, one in enumerate(lamps)
    ]
    layout = Layout(outputs={one.name: one for one in lamps}, links={"main": Link("main")})
    for rate in (41.05, 1_000.0):
        began = time.process_time()
        found = simulate(layout, trace, 60 * S, layout.links["main"], Pace(11_520.0, rate))
        spent = time.process_time() - began
        print(
            f"200 flickering lamps for a minute at {rate:g} a second: {spent:.2f} s, "
            f"looked at up to {found.until_us / S:.0f} s, {found.busiest[1]} wanted in the fullest second"
        )


if __name__ == "__main__":
    side_by_side()
    choices()
    simulations()
