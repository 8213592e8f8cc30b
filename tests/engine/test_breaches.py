"""What a broken rule sets off, at the instant of the breach: its own lines, or in a live show the safe state."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace

import pytest
from acting import LAYOUT, JumpingClock, S, Script, notes, program, states, told

from engine.breaches import driven_by, guarded_by
from engine.drive import jump
from engine.events import Detected, Input, StartScene, StopScene
from engine.kernel import Kernel
from engine.layout import Setting
from engine.live import perform
from engine.monitors import BREACHES, Verdict
from engine.rules import Broken, Rules, sentences
from engine.trace import Broke, SceneIs
from engine.waves import Steady


def ruled(
    text: str, events: Sequence[tuple[float, Input]], makes_safe: bool = False, until: float = 60
) -> tuple[Kernel, Rules]:
    """Performed with its rules watching, on the driver that jumps; the waiting driver must make the same trace."""
    made = program(text)
    kernel, twin = Kernel(made), Kernel(made)
    rules, other = (Rules(one, sentences(made.rules.values()), makes_safe) for one in (kernel, twin))
    jump(kernel, Script(events), round(until * S))
    asyncio.run(perform(twin, Script(events), JumpingClock(), asyncio.Event(), round(until * S)))
    assert twin.trace == kernel.trace
    assert other.judgements(round(until * S)) == rules.judgements(round(until * S))
    return kernel, rules


def broke(kernel: Kernel) -> list[float]:
    return [record.at_us / S for record in kernel.trace if isinstance(record, Broke)]


OWN = """
scene go
    turn on ada
    wait 30 s
rule dark
    never near is occupied while bea is off
    if broken
        turn on bea
        note "mend"
        wait 5 s
        turn off bea
"""


def test_its_lines_begin_at_the_instant_of_the_breach_and_again_after_they_have_ended() -> None:
    kernel, rules = ruled(OWN, [(2, Detected("near", "occupied")), (20, Detected("near", "clear"))])
    assert broke(kernel) == [2, 7, 12, 17]
    assert notes(kernel) == [(at, "mend") for at in (2, 7, 12, 17)]
    assert [at for at, _ in told(kernel, "bea")] == [2, 7, 7, 12, 12, 17, 17, 22]  # the breach is settled first
    (judgement,) = rules.judgements(60 * S)
    assert (judgement.verdict, judgement.broken) == (Verdict.BROKEN, 4)
    assert judgement.margin is not None
    assert judgement.margin.amount == 0  # mended in its own instant


def test_it_does_not_begin_again_while_it_runs() -> None:
    """Bea is turned off under its hands; the rule breaks again, its lines are still at work."""
    events = [(2, Detected("near", "occupied")), (3, Detected("near", "clear")), (4, Detected("near", "occupied"))]
    text = OWN.replace("        turn on bea\n", "").replace("        turn off bea\n", "")
    kernel, _ = ruled(text, [*events, (9, Detected("near", "clear"))])
    assert broke(kernel) == [2, 4]
    assert states(kernel, "rule dark") == [(2, "running"), (7, "ended")]


def test_who_broke_it_and_that_it_has_ended_is_in_the_trace_after_the_breach() -> None:
    kernel, _ = ruled(OWN, [(2, Detected("near", "occupied")), (3, Detected("near", "clear"))])
    records = [one for one in kernel.trace if isinstance(one, Broke | SceneIs)]
    assert [type(one).__name__ for one in records] == ["Broke", "SceneIs", "SceneIs"]
    assert isinstance(records[1], SceneIs)
    assert (records[1].why, records[1].place.line) == ("dark is broken", 6)


def test_a_rule_that_its_own_lines_break_is_answered_once_in_an_instant() -> None:
    """Each of the two mends itself by breaking the other: in one instant that comes to an end."""
    text = """
scene go
    turn on ada
rule one
    never far is occupied while ada is on
    if broken
        turn off ada
rule other
    never far is occupied while ada is off
    if broken
        turn on ada
"""
    kernel, _ = ruled(text, [(2, Detected("far", "occupied")), (5, Detected("far", "clear"))])
    assert broke(kernel) == [2, 2, 2]  # off at first, so turned on; so turned off; and so off again, unanswered
    assert states(kernel, "rule one") == [(2, "running"), (2, "ended")]
    assert states(kernel, "rule other") == [(2, "running"), (2, "ended")]
    assert kernel.wave("ada") == Steady(0.0)


# --- who has what --------------------------------------------------------------------------------------------------

TAKES = """
scene low
    turn on ada
    wait 20 s
    turn off ada
scene high
    takes ada from low
    set ada to 50 %
    wait 20 s
rule alarm
    never near is occupied
    if broken
        flash ada at 60 a minute
        wait 4 s
"""


def test_it_takes_what_it_writes_from_whoever_has_it_and_gives_it_back() -> None:
    events: list[tuple[float, Input]] = [
        (0, StartScene("low")), (1, StartScene("high")), (2, Detected("near", "occupied")),
        (3, Detected("near", "clear")),
    ]  # fmt: skip
    kernel, _ = ruled(TAKES, events)
    shown = [(at, type(wave).__name__) for at, wave in told(kernel, "ada")]
    assert shown == [(0, "Steady"), (1, "Steady"), (2, "Flashing"), (6, "Steady")]
    assert told(kernel, "ada")[3][1] == Steady(0.5)
    assert not [record for record in kernel.trace if type(record).__name__ == "Trouble"]


def test_a_scene_that_begins_meanwhile_waits_for_it() -> None:
    events: list[tuple[float, Input]] = [(2, Detected("near", "occupied")), (3, StartScene("low"))]
    kernel, _ = ruled(TAKES, events)
    assert [(at, type(wave).__name__) for at, wave in told(kernel, "ada")][:3] == [
        (2, "Flashing"), (6, "Steady"), (23, "Steady")
    ]  # fmt: skip


def test_of_two_rules_that_write_one_output_the_latter_has_it() -> None:
    text = TAKES + "rule other\n    never far is occupied\n    if broken\n        turn on ada\n        wait 1 s\n"
    events = [(2, Detected("near", "occupied")), (3, Detected("far", "occupied"))]
    kernel, _ = ruled(text, events)
    assert [(at, type(wave).__name__) for at, wave in told(kernel, "ada")] == [
        (2, "Flashing"), (3, "Steady"), (4, "Flashing")
    ]  # fmt: skip


def test_stop_every_other_scene_does_not_stop_it() -> None:
    text = TAKES + 'scene quiet\n    stop every other scene\n    note "quiet"\n'
    kernel, _ = ruled(text, [(2, Detected("near", "occupied")), (3, StartScene("quiet"))])
    assert states(kernel, "rule alarm") == [(2, "running"), (6, "ended")]
    assert notes(kernel) == [(3, "quiet")]


def test_the_end_of_a_show_stops_it_and_none_begins_after() -> None:
    from engine.events import Close

    kernel, _ = ruled(TAKES, [(2, Detected("near", "occupied")), (3, Close()), (4, Detected("near", "clear")),
                              (5, Detected("near", "occupied"))])  # fmt: skip
    assert broke(kernel) == [2, 5]
    assert states(kernel, "rule alarm") == [(2, "running"), (3, "stopped")]


# --- without lines of its own --------------------------------------------------------------------------------------

CROSSING = """
scene gate-keeper
    runs whenever near is occupied
    when stopped
        turn on ada
        move gate to lowered over 4 s like even
    move gate to lowered over 4 s like even
    wait until near is clear
    move gate to raised over 4 s like even
scene lamps
    turn on bea
    wait 30 s
rule shut
    never far is occupied while gate is not lowered
rule lit
    never far is occupied while bea is on
"""
OPEN_AND_FAR = [(1, StartScene("lamps")), (2, Detected("near", "occupied")), (4, Detected("far", "occupied"))]


def test_in_a_live_show_scenes_that_drive_what_it_guards_are_stopped() -> None:
    kernel, _ = ruled(
        CROSSING, [*OPEN_AND_FAR, (30, Detected("near", "clear")), (40, Detected("near", "occupied"))], True
    )
    assert states(kernel, "gate-keeper") == [(2, "running"), (4, "stopping"), (6, "stopped"), (40, "running")]
    (stopped,) = [one for one in kernel.trace if isinstance(one, SceneIs) and one.state == "stopping"]
    assert (stopped.why, stopped.place.line) == ("rule shut is broken", 14)
    assert [at for at, _ in told(kernel, "ada")] == [4]
    assert kernel.wave("gate").value_at(60 * S) == 0.0
    assert states(kernel, "lamps") == [(1, "running"), (31, "ended")]  # what it reads is not guarded: only told of
    assert broke(kernel) == [4, 4]


def test_a_rehearsal_only_judges() -> None:
    kernel, rules = ruled(CROSSING, OPEN_AND_FAR)
    assert states(kernel, "gate-keeper")[:2] == [(2, "running")]
    assert [one.verdict for one in rules.judgements(60 * S)] == [Verdict.BROKEN, Verdict.BROKEN]


def test_what_no_scene_holds_goes_to_its_safe_state_itself() -> None:
    kernel, _ = ruled(CROSSING, [(4, Detected("far", "occupied"))], True)
    assert broke(kernel) == [4]
    ((at, wave),) = told(kernel, "gate")
    assert (at, wave.value_at(4 * S), wave.value_at(8 * S)) == (4, 90.0, 0.0)  # type: ignore[attr-defined]
    again, _ = ruled(CROSSING, [(4, Detected("far", "occupied"))])
    assert told(again, "gate") == []


def test_what_a_stopped_scene_holds_is_left_to_its_own_lines() -> None:
    text = CROSSING.replace("        turn on ada\n", "        wait 3 s\n")
    kernel, _ = ruled(text, OPEN_AND_FAR, True)
    stopped = [(at, wave) for at, wave in told(kernel, "gate") if at >= 4]
    assert [at for at, _ in stopped] == [4, 7]  # it stays where it is, and then goes on
    assert type(stopped[0][1]) is Steady


def test_a_crossing_is_made_safe_as_a_whole() -> None:
    """A rule that reads one guarded output is about what its scenes guard beside: here the boom."""
    outputs = {**LAYOUT.outputs, "boom": replace(LAYOUT.outputs["boom"], safe=Setting(0.0))}
    text = CROSSING.replace("        turn on ada\n", "        turn on ada\n        move boom to lowered over 4 s\n")
    made = program(text, replace(LAYOUT, outputs=outputs))
    assert guarded_by(made.rules["shut"], made) == ("gate", "boom")
    kernel = Kernel(made)
    Rules(kernel, sentences(made.rules.values()), makes_safe=True)
    jump(kernel, Script([(4, Detected("far", "occupied"))]), 20 * S)
    assert [kernel.wave(name).value_at(20 * S) for name in ("gate", "boom")] == [0.0, 0.0]


def test_what_a_rule_is_about() -> None:
    made = program(CROSSING)
    assert guarded_by(made.rules["shut"], made) == ("gate",)
    assert driven_by(made.rules["shut"], made) == ("gate-keeper",)
    assert guarded_by(made.rules["lit"], made) == ()
    assert driven_by(made.rules["lit"], made) == ()


# --- monitors and what they tell -----------------------------------------------------------------------------------

FORMS = [
    "never far is occupied while bea is off",
    "never far is occupied for longer than 1 s",
    "bea is on at least 1 s before far is occupied",
    "bea is on before far is occupied",
    "whenever far is occupied, bea is on within 1 s and for 2 s",
    "at most 1 times far is occupied within 5 s",
    "at least 2 times far becomes occupied within 5 s",
]


@pytest.mark.parametrize("line", FORMS)
def test_a_monitor_bears_being_fed_the_same_instant_twice(line: str) -> None:
    """What is set off does nothing that the line asks about, so the verdict is that of a rule without it."""
    events = [(at, Detected("far", state)) for at, state in ((1, "occupied"), (4, "clear"), (6, "occupied"))]
    text = f"scene go\n    turn on bea\nrule r\n    {line}\n"
    plain, alone = ruled(text, events)
    kernel, rules = ruled(text + '    if broken\n        note "x"\n        turn on ada\n', events)
    assert broke(kernel) == broke(plain) != []
    ((ours,), (theirs,)) = rules.judgements(60 * S), alone.judgements(60 * S)
    assert (ours.verdict, ours.margin, ours.breaches) == (theirs.verdict, theirs.margin, theirs.breaches)
    assert len(notes(kernel)) == len(broke(kernel))


def test_of_very_many_breaches_the_latest_is_told_with_its_own_instant() -> None:
    made = program("scene go\n    turn on ada\nrule r\n    never far is occupied while ada is off\n")
    kernel, heard = Kernel(made), list[Broken]()
    rules = Rules(kernel, sentences(made.rules.values()))
    rules.tell = heard.append
    times = BREACHES + 20
    events = [(at, Detected("far", "occupied" if at % 2 else "clear")) for at in range(2 * times)]
    jump(kernel, Script(events), 1000 * S)
    assert [one.breach.at_us for one in heard] == [(2 * number + 1) * S for number in range(times)]
    assert {atom.subject for atom in heard[-1].guilty} == {"far"}


def test_a_stop_by_name_says_so_still() -> None:
    kernel, _ = ruled(CROSSING, [(2, StartScene("lamps")), (3, StopScene("lamps"))])
    whys = [one.why for one in kernel.trace if isinstance(one, SceneIs)]
    assert whys == ["asked for by name", "stopped by name"]
