"""One rehearsal from beginning to end, on programs built by hand: what passes, what fails, and in which words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.conditions import All, Any, Atom, Becomes, Condition, Held, Not, Sort, Term, Test, fully_shown
from engine.layout import (
    Aspect,
    Blink,
    Button,
    Detector,
    DetectorKind,
    Hold,
    Kind,
    Layout,
    Link,
    Output,
    Place,
    Position,
    Setting,
    Stretch,
    Track,
    Wiring,
)
from engine.monitors import Amount, Margin
from engine.program import (
    Act,
    Begin,
    Block,
    Deed,
    EachTime,
    Expectation,
    Flash,
    InOrder,
    Level,
    Move,
    OnButton,
    Program,
    Rehearsal,
    Repeat,
    Rule,
    RuleLine,
    Scene,
    SetFlag,
    Swing,
    Tell,
    Timing,
    TrainRun,
    Variable,
    Visit,
    Wait,
    WaitUntil,
    Whenever,
)
from engine.trace import Noted, Saw, SceneIs, Told, TrainAt, TrainOn, Trouble
from wayside.rehearsal.rehearsing import LONGEST_REHEARSAL_US, Result, play, rehearse
from wayside.rehearsal.trace_words import value

S = 1_000_000


def at(line: int) -> Place:
    return Place("lane.scene", line, 5, line, 20)


def lamp(name: str) -> Output:
    return Output(name, Kind.LAMP, Setting(0.0))


LAYOUT = Layout(
    outputs={
        "amber": lamp("amber"),
        "bell": Output("bell", Kind.SOUND, Setting(0.0)),
        "barrier": Output(
            "barrier",
            Kind.SERVO,
            Setting(85.0),
            positions=(Position("raised", 85.0), Position("lowered", 0.0)),
            travel_us=4 * S,
        ),
        "arm": Output(
            "arm",
            Kind.SERVO,
            Setting(0.0),
            positions=(Position("danger", 0.0), Position("clear", 45.0)),
            travel_us=1_200_000,
        ),
        "up-signal": Output(
            "up-signal",
            Kind.SIGNAL,
            Setting(0.0),
            aspects=(Aspect("danger", (("arm", 0.0),), stops=True), Aspect("clear", (("arm", 45.0),))),
        ),
    },
    detectors={
        "up-approach": Detector("up-approach", DetectorKind.SECTION, wiring=Wiring(link="main")),
        "lane": Detector("lane", DetectorKind.SECTION, settle_us=200_000),
    },
    buttons={"red-button": Button("red-button", wiring=Wiring(link="main"))},
    tracks={
        "up-line": Track(
            "up-line", (Stretch("up-approach", 1000), Stretch("lane", 200)), 200, 100, (Hold("up-signal", 1000),)
        ),
    },
    links={"main": Link("main")},
)

ON: Term = Atom(Sort.OUTPUT, "amber", Test.ON)
LOWERED: Term = Atom(Sort.OUTPUT, "barrier", Test.ARRIVED, 0.0)
LANE: Term = Atom(Sort.DETECTOR, "lane", Test.OCCUPIED)
TRUE_LANE: Term = Atom(Sort.TRAIN, "lane", Test.TRAIN_ON)


def tell(line: int, output: str, value: float) -> Tell:
    return Tell(at(line), ((output, Level(value)),))


def wait(line: int, us: int) -> Wait:
    return Wait(at(line), us, us)


def lower(line: int, over_us: int = 7 * S) -> Move:
    return Move(at(line), (("barrier", 0.0),), over_us)


def program(
    *block: object, heads: tuple[Whenever | OnButton | EachTime, ...] = (), writes: tuple[str, ...] = ("amber",)
) -> Program:
    scene = Scene("crossing", at(1), block, heads, writes=writes)  # type: ignore[arg-type]
    return Program(LAYOUT, {"crossing": scene}, flags={"shop-open": Variable("shop-open")})


def expect(
    term: Term, timing: Timing, *times: int | None, words: str = "it", line: int = 90, **rest: object
) -> Expectation:
    from_us, to_us = (times[0], times[1]) if len(times) == 2 else (0, times[0] if times else None)
    return Expectation(at(line), Condition(term, words), timing, from_us or 0, to_us, **rest)  # type: ignore[arg-type]


def rehearsal(*expectations: Expectation, plays: bool = True, **rest: object) -> Rehearsal:
    started = ((at(81), "crossing", 0),) if plays else ()
    return Rehearsal("evening", at(80), plays=started, expectations=expectations, **rest)  # type: ignore[arg-type]


def train(from_us: int = 0, length_mm: int = 100, line: int = 85, **rest: object) -> TrainRun:
    return TrainRun(at(line), "up-line", length_mm, 100_000, from_us, **rest)  # type: ignore[arg-type]


AMBER_FOR_3_S = program(tell(2, "amber", 1.0), wait(3, 3 * S), tell(4, "amber", 0.0))


def failures(result: Result) -> list[tuple[str, int | None, Place | None]]:
    return [(one.what_happened, one.at_us, one.place) for one in result.outcomes if not one.passed]


@pytest.mark.parametrize(
    ("expectation", "passes"),
    [
        (expect(ON, Timing.FROM_TO, 0, 3 * S), True),
        (expect(ON, Timing.FROM_TO, 0, 3 * S + 1), False),
        (expect(ON, Timing.AT, 3 * S), False),
        (expect(ON, Timing.AT, 3 * S - 1), True),
        (expect(Not(ON), Timing.BY, 3 * S), True),  # the end's own instant is still played
        (expect(Not(ON), Timing.BY, 3 * S - 1), False),
        (expect(Not(ON), Timing.BEFORE, 3 * S), False),
        (expect(ON, Timing.THROUGHOUT, at_least=1), True),  # it was off before the first instant
        (expect(ON, Timing.THROUGHOUT, at_least=2), False),
        (expect(ON, Timing.THROUGHOUT, at_most=1), True),
        (expect(ON, Timing.BEFORE_CONDITION, other=Condition(Held(ON, S), "amber is on for 1 s")), True),
    ],
)
def test_each_form_at_its_boundary(expectation: Expectation, passes: bool) -> None:
    result = rehearse(AMBER_FOR_3_S, rehearsal(expectation))
    assert [one.passed for one in result.outcomes] == [passes]
    assert result.passed is passes


def test_a_failure_says_what_was_expected_what_happened_when_and_which_line_did_it() -> None:
    wanted = expect(ON, Timing.FROM_TO, 0, 5 * S, words="amber is on")
    assert failures(rehearse(AMBER_FOR_3_S, rehearsal(wanted))) == [
        ("`amber is on` held until 3 s, then no more; amber was off", 3 * S, at(4))
    ]


def test_only_those_to_blame_are_described() -> None:
    crossing = program(tell(2, "amber", 1.0), lower(3), writes=("amber", "barrier"))
    wanted = expect(All((ON, LOWERED)), Timing.BY, 3_500_000, words="all is ready")
    assert failures(rehearse(crossing, rehearsal(wanted))) == [
        (
            "`all is ready` did not hold at any time up to 3.5 s; barrier was moving, "
            + value(LAYOUT.outputs["barrier"], 42.5),
            3_500_000,
            at(3),
        )
    ]


def test_only_those_to_blame_are_marked() -> None:
    crossing = program(tell(2, "amber", 1.0), lower(3), writes=("amber", "barrier"))
    wanted = expect(All((ON, LOWERED)), Timing.BY, 3_500_000, words="all is ready")
    assert rehearse(crossing, rehearsal(wanted)).outcomes[0].subjects == ("barrier",)


def test_of_a_count_nobody_is_to_blame_and_all_are_marked() -> None:
    often = expect(All((ON, Not(LOWERED))), Timing.BY, 3_500_000, at_least=9)
    assert rehearse(AMBER_FOR_3_S, rehearsal(often)).outcomes[0].subjects == ("amber", "barrier")


def test_progress_goes_up_to_the_end_and_costs_the_result_nothing() -> None:
    shares: list[float] = []
    wanted = rehearsal(expect(ON, Timing.AT, 4 * S), lasts_us=8 * S)
    with_it = rehearse(AMBER_FOR_3_S, wanted, progress=shares.append)
    assert with_it == rehearse(AMBER_FOR_3_S, wanted)
    assert not with_it.passed
    again = shares.index(0.0, 1)  # what did it is found by playing again
    assert shares[:again] == sorted(shares[:again]) == shares[again:]
    assert 0 < max(shares) <= 1


def test_an_output_that_nobody_told_anything() -> None:
    wanted = expect(LOWERED, Timing.AT, 1 * S, words="barrier is lowered")
    found = failures(rehearse(AMBER_FOR_3_S, rehearsal(wanted)))
    assert found == [
        (
            "`barrier is lowered` did not hold then; barrier was still raised: no line had told it anything",
            1 * S,
            None,
        )
    ]


def test_a_flashing_lamp_is_said_to_flash() -> None:
    flashes = program(Tell(at(2), (("amber", Flash(Blink(S, 1, 0, 2))),)))
    wanted = expect(Not(Atom(Sort.OUTPUT, "amber", Test.FLASHING)), Timing.AT, S, words="amber is not flashing")
    assert failures(rehearse(flashes, rehearsal(wanted))) == [
        ("`amber is not flashing` did not hold then; amber was flashing, lit", S, at(2))
    ]


def test_a_detector_leads_to_the_train_or_the_hand_behind_it() -> None:
    wanted = expect(Not(LANE), Timing.THROUGHOUT, words="lane is clear")
    by_train = rehearse(Program(LAYOUT), rehearsal(wanted, plays=False, trains=(train(ignores_signals=True),)))
    assert failures(by_train) == [
        ("`lane is clear` held until 10 s, then no more, and again from 13.2 s; lane was occupied", 10 * S, at(85))
    ]
    hand = Act(at(86), 4 * S, Deed.BECOMES, "lane", "occupied")
    by_hand = rehearse(Program(LAYOUT), rehearsal(wanted, plays=False, acts=(hand,)))
    assert failures(by_hand) == [("`lane is clear` held until 4 s, then no more; lane was occupied", 4 * S, at(86))]


def test_a_lost_link_is_behind_an_unknown_detector() -> None:
    wanted = expect(
        Not(Atom(Sort.DETECTOR, "up-approach", Test.UNKNOWN)), Timing.THROUGHOUT, words="up-approach is known"
    )
    lost = Act(at(87), 2 * S, Deed.LOSE_LINK, "main")
    result = rehearse(Program(LAYOUT), rehearsal(wanted, plays=False, acts=(lost,)))
    assert failures(result) == [
        ("`up-approach is known` held until 2 s, then no more; up-approach was unknown", 2 * S, at(87))
    ]


def test_where_trains_truly_are_is_known_and_the_detector_may_lie() -> None:
    stuck = Act(at(86), 0, Deed.STAYS, "lane", "clear", 20 * S)
    result = rehearse(
        Program(LAYOUT),
        rehearsal(
            expect(TRUE_LANE, Timing.FROM_TO, 10 * S, 13 * S),
            expect(Not(TRUE_LANE), Timing.AT, 13 * S),
            expect(LANE, Timing.BY, 13 * S, words="lane is occupied"),
            plays=False,
            trains=(train(ignores_signals=True),),
            acts=(stuck,),
        ),
    )
    assert [one.passed for one in result.outcomes] == [True, True, False]
    assert result.outcomes[2].what_happened.endswith("lane was still clear")


SIGNAL_CLEARS = program(
    WaitUntil(at(2), Condition(Atom(Sort.DETECTOR, "up-approach", Test.OCCUPIED))),
    wait(3, 8_800_000),
    Tell(at(4), (("up-signal", Level(1.0)), ("arm", Swing(45.0)))),
    writes=("up-signal", "arm"),
)


@pytest.mark.parametrize(("longer_us", "starts_us"), [(-1, 0), (0, 0), (1, 10 * S + 1), (4 * S, 14 * S)])
def test_a_signal_that_clears_as_the_train_arrives_and_later(longer_us: int, starts_us: int) -> None:
    """The arm takes 1.2 s: told at 8.8 s it is clear at 10 s, the instant at which the train comes to it."""
    scene = SIGNAL_CLEARS.scenes["crossing"]
    block: Block = (scene.block[0], wait(3, 8_800_000 + longer_us), scene.block[2])
    result = rehearse(
        replace(SIGNAL_CLEARS, scenes={"crossing": replace(scene, block=block)}),
        rehearsal(expect(TRUE_LANE, Timing.BY, 30 * S), trains=(train(),)),
    )
    assert result.passed
    moves = [(one.at_us, one.speed_um_s) for one in result.trace if isinstance(one, TrainAt)]
    lane = next(one.at_us for one in result.trace if isinstance(one, TrainOn) and one.detector == "lane")
    assert lane == max(starts_us, 10 * S)
    standing = [speed for _, speed in moves[1:-1] if speed == 0]
    assert len(standing) <= 1
    assert (starts_us > 10 * S) <= (len(standing) == 1)


def test_a_train_waits_for_ever_at_a_signal_that_nobody_clears() -> None:
    result = rehearse(
        Program(LAYOUT),
        rehearsal(expect(TRUE_LANE, Timing.BY, 60 * S, words="a train is on lane"), plays=False, trains=(train(),)),
    )
    assert failures(result) == [
        ("`a train is on lane` did not hold at any time up to 1 min; no train was on lane", 60 * S, None)
    ]


def test_begin_states_come_before_the_first_instant() -> None:
    clear = fully_shown(LAYOUT.outputs["up-signal"], "clear")
    result = rehearse(
        Program(LAYOUT),
        rehearsal(
            expect(All((LANE, ON, LOWERED, clear)), Timing.FROM_TO, 0, 5 * S),
            expect(Any((LANE, ON)), Timing.THROUGHOUT, at_most=0),  # already so: no becoming
            plays=False,
            begins=(
                Begin(at(82), "lane", "occupied"),
                Begin(at(82), "amber", value=1.0),
                Begin(at(82), "barrier", value=0.0),
                Begin(at(82), "up-signal", value=1.0),
            ),
        ),
    )
    assert failures(result) == []


def test_scenes_are_played_at_their_times_and_by_hands() -> None:
    plays = ((at(81), "crossing", 5 * S),)
    late = Rehearsal(
        "late",
        at(80),
        plays=plays,
        expectations=(expect(ON, Timing.FROM_TO, 5 * S, 8 * S), expect(Not(ON), Timing.FROM_TO, 0, 5 * S)),
    )
    assert rehearse(AMBER_FOR_3_S, late).passed
    stop = Act(at(88), 1 * S, Deed.STOP, "crossing")
    stopped = rehearse(
        AMBER_FOR_3_S, rehearsal(expect(ON, Timing.FROM_TO, 0, 3 * S, words="amber is on"), acts=(stop,))
    )
    assert failures(stopped) == [
        ("`amber is on` held until 1 s, then no more; amber was off, at rest since crossing was stopped", 1 * S, at(88))
    ]


def test_at_one_instant_what_is_written_first_comes_first() -> None:
    first = Act(at(79), 0, Deed.START, "crossing")
    begun = [one for one in rehearse(AMBER_FOR_3_S, rehearsal(acts=(first,))).trace if isinstance(one, SceneIs)]
    assert begun[0].place == at(79)  # what is played stands in line 81


def test_a_scene_that_was_never_started_is_said_so() -> None:
    running = Atom(Sort.SCENE, "crossing", Test.RUNNING)
    wanted = expect(running, Timing.BY, 5 * S, words="crossing is running")
    assert failures(rehearse(AMBER_FOR_3_S, rehearsal(wanted, plays=False))) == [
        ("`crossing is running` did not hold at any time up to 5 s; crossing had not been started", 5 * S, None)
    ]
    ended = expect(running, Timing.AT, 4 * S, words="crossing is running")
    (what, _, _), *_ = failures(rehearse(AMBER_FOR_3_S, rehearsal(ended)))
    assert what == "`crossing is running` did not hold then, only until 3 s; scene crossing had ended"


def test_a_flag_leads_to_the_line_that_set_it() -> None:
    remembers = program(wait(2, S), SetFlag(at(3), "shop-open", True))
    wanted = expect(Not(Atom(Sort.FLAG, "shop-open", Test.SET)), Timing.THROUGHOUT, words="the shop is shut")
    assert failures(rehearse(remembers, rehearsal(wanted))) == [
        ("`the shop is shut` held until 1 s, then no more; shop-open was remembered", 1 * S, at(3))
    ]


def test_buttons_are_pressed_and_let_go() -> None:
    button = program(tell(2, "amber", 1.0), heads=(OnButton(at(1), "red-button"),))
    press = Act(at(86), 2 * S, Deed.PRESS, "red-button")
    pressed = Atom(Sort.BUTTON, "red-button", Test.PRESSED)
    result = rehearse(
        button,
        rehearsal(
            expect(ON, Timing.BY, 2 * S),
            expect(pressed, Timing.FROM_TO, 2 * S, 2_300_000),
            expect(Not(pressed), Timing.AT, 2_300_000),
            plays=False,
            acts=(press,),
        ),
    )
    assert failures(result) == []


def test_a_press_over_a_lost_link_is_noted() -> None:
    acts = (Act(at(86), S, Deed.LOSE_LINK, "main"), Act(at(87), 2 * S, Deed.PRESS, "red-button"))
    result = rehearse(Program(LAYOUT), rehearsal(expect(Not(ON), Timing.THROUGHOUT), plays=False, acts=acts))
    assert Noted(2 * S, "", "red-button was pressed, but its link was gone: nobody heard it", at(87)) in result.trace


def test_a_link_that_carries_nothing_is_said_so() -> None:
    wired = replace(LAYOUT, links={"main": Link("main"), "yard": Link("yard")})
    acts = (Act(at(86), S, Deed.LOSE_LINK, "yard"), Act(at(87), S, Deed.LOSE_LINK, "main"))
    (note,) = rehearse(Program(wired), rehearsal(plays=False, acts=acts)).notes
    assert note.startswith("evening loses link yard, but the layout file wires no detector or button to it.")


def test_chatter_faster_than_the_settle_time_is_one_occupation() -> None:
    """The lane's changes to clear must last 200 ms; it chatters every 50 ms for 2 s and then stays clear."""
    acts = tuple(Act(at(86), n * 50_000, Deed.BECOMES, "lane", "clear" if n % 2 else "occupied") for n in range(40))
    wanted = (
        expect(LANE, Timing.THROUGHOUT, at_most=1),
        expect(LANE, Timing.FROM_TO, 0, 2_150_000),
        expect(Not(LANE), Timing.AT, 2_150_000),
    )
    result = rehearse(Program(LAYOUT), rehearsal(*wanted, plays=False, acts=acts))
    assert failures(result) == []
    assert [one.state for one in result.trace if isinstance(one, Saw)] == ["occupied", "clear"]


def test_a_second_train_keeps_the_lane_occupied() -> None:
    trains = (train(ignores_signals=True), train(2 * S, ignores_signals=True), train(5 * S, ignores_signals=True))
    result = rehearse(
        Program(LAYOUT),
        rehearsal(
            expect(TRUE_LANE, Timing.FROM_TO, 10 * S, 18 * S),
            expect(TRUE_LANE, Timing.THROUGHOUT, at_most=1),
            plays=False,
            trains=trains,
        ),
    )
    assert failures(result) == []  # the third comes at 15 s, the very instant at which the second leaves


def test_a_visit_that_can_never_be_made_fails_the_rehearsal() -> None:
    visits = (Visit("lane", S, False), Visit("up-approach", S, True))
    result = rehearse(Program(LAYOUT), rehearsal(plays=False, trains=(train(visits=visits, ignores_signals=True),)))
    assert not result.passed
    (trouble,) = result.troubles
    assert trouble.text.startswith("the train never comes to up-approach to reverse there")
    assert trouble.places == (at(85),)


def test_a_train_without_speed_fails_the_rehearsal() -> None:
    still = train()._replace(speed_um_s=0)
    result = rehearse(Program(LAYOUT), rehearsal(plays=False, trains=(still,)))
    assert [one.text for one in result.troubles] == ["a train at 0 mm/s never moves. Give it a speed"]


def test_trouble_in_the_engine_fails_the_rehearsal_in_its_own_words() -> None:
    for_ever = program(Repeat(at(2), (tell(3, "amber", 1.0),)))
    result = rehearse(for_ever, rehearsal(expect(ON, Timing.AT, 1)))
    assert not result.passed
    assert all(isinstance(one, Trouble) and one.text for one in result.troubles)


def test_rules_are_judged_and_a_broken_one_fails_the_rehearsal() -> None:
    lit = Condition(Atom(Sort.OUTPUT, "amber", Test.ON), "amber is on")
    never = RuleLine(at(71), "never", (lit,))
    longer = RuleLine(at(72), "never", (lit,), (3 * S,))
    ruled = replace(AMBER_FOR_3_S, rules={"dark": Rule("dark", at(70), (never, longer))})
    result = rehearse(ruled, rehearsal())
    broken, kept = result.rules
    assert not result.passed
    assert (broken.kept, broken.at_us, broken.judgement.broken) == (False, 0, 1)
    assert broken.what_happened == "it was so at 0 s, for 3 s; amber was on"
    assert broken.subjects == ("amber",)
    assert (kept.kept, kept.judgement.margin) == (True, Margin(0, Amount.TIME, 0))


@pytest.mark.parametrize("term", [LANE, Becomes(LANE)])
def test_a_change_in_the_first_instant_starts_nothing_and_that_is_said(term: Term) -> None:
    waits = program(tell(2, "amber", 1.0), heads=(EachTime(at(1), Condition(term, "lane is occupied")),))

    def notes(at_us: int, begins: tuple[Begin, ...] = ()) -> tuple[str, ...]:
        hand = Act(at(80), at_us, Deed.BECOMES, "lane", "occupied")
        return rehearse(waits, rehearsal(plays=False, acts=(hand,), begins=begins, lasts_us=9 * S)).notes

    (note,) = notes(0)
    assert note.startswith(
        "crossing did not start at 0 s: what it waits for (lane is occupied) came about in the first"
    )
    assert note.endswith("from 1 s on")
    assert notes(1 * S) == ()
    assert notes(0, (Begin(at(79), "lane", "occupied"),)) == ()  # said to hold from the beginning


# --- when it ends --------------------------------------------------------------------------------------------------


def test_it_ends_with_its_last_expectation_or_when_it_says() -> None:
    assert (
        rehearse(AMBER_FOR_3_S, rehearsal(expect(ON, Timing.AT, 1 * S), expect(ON, Timing.AT, 2 * S))).ended_us == 2 * S
    )
    assert rehearse(AMBER_FOR_3_S, rehearsal(expect(ON, Timing.AT, 1 * S), lasts_us=60 * S)).ended_us == 60 * S


def test_without_an_end_it_goes_on_until_nothing_is_due() -> None:
    result = rehearse(AMBER_FOR_3_S, rehearsal())
    assert result.ended_us == 3 * S
    assert result.notes == ()


def test_without_any_end_it_is_ended_and_says_so() -> None:
    endless = program(Repeat(at(2), (InOrder(at(3), (tell(3, "amber", 1.0), wait(4, 600 * S))),)))
    result = rehearse(endless, rehearsal())
    assert result.ended_us == LONGEST_REHEARSAL_US
    assert result.notes == (
        "Nothing in evening says when it ends, so it was ended after 1 h. "
        "Write how long it lasts, such as: lasts 5 min",
    )


def test_what_comes_after_the_end_is_said_never_to_have_come() -> None:
    late = Act(at(88), 9 * S, Deed.PRESS, "red-button")
    (note,) = rehearse(AMBER_FOR_3_S, rehearsal(expect(ON, Timing.AT, S), acts=(late,))).notes
    assert "was over at 1 s, before everything written in it had begun (see line 88). Write how long it lasts" in note
    (note,) = rehearse(AMBER_FOR_3_S, rehearsal(lasts_us=S, acts=(late,))).notes
    assert note.endswith("(see line 88). Let it last longer")


def test_what_has_no_time_of_its_own_is_said_to_have_been_judged_only_to_the_end() -> None:
    throughout, at_1_s = expect(ON, Timing.THROUGHOUT), expect(ON, Timing.AT, S)
    (note,) = rehearse(AMBER_FOR_3_S, rehearsal(throughout, at_1_s, trains=(train(),))).notes
    assert note.startswith("evening was over at 1 s, the last time that it names, with a train")
    assert rehearse(AMBER_FOR_3_S, rehearsal(throughout, at_1_s)).notes == ()
    assert rehearse(AMBER_FOR_3_S, rehearsal(at_1_s, trains=(train(),))).notes == ()
    assert rehearse(AMBER_FOR_3_S, rehearsal(throughout, trains=(train(),), lasts_us=S)).notes == ()


def test_free_play_expects_nothing() -> None:
    result = play(AMBER_FOR_3_S, "crossing", 17 * 3600, 20 * S, 7)
    assert (result.passed, result.ended_us, result.seed, result.outcomes) == (True, 20 * S, 7, ())
    assert result.rehearsal.begins_at_s == 17 * 3600
    assert [one.output for one in result.trace if isinstance(one, Told)] == ["amber", "amber"]


def test_the_seed_given_goes_before_the_one_written() -> None:
    drawn = program(Wait(at(2), S, 60 * S, draw=1), tell(3, "amber", 1.0))
    written = rehearsal(seed=5)
    assert rehearse(drawn, written).seed == 5
    assert rehearse(drawn, written, 6).seed == 6
    assert rehearse(drawn, written).trace == rehearse(drawn, written).trace
    assert rehearse(drawn, written).trace != rehearse(drawn, written, 6).trace


def test_the_same_run_with_and_without_a_failure() -> None:
    """A failed expectation costs a second, more closely watched run: it must be the same run."""
    good = rehearse(SIGNAL_CLEARS, rehearsal(lasts_us=60 * S, trains=(train(),)))
    bad = rehearse(SIGNAL_CLEARS, rehearsal(expect(ON, Timing.AT, S), lasts_us=60 * S, trains=(train(),)))
    assert good.trace == bad.trace
    assert any(isinstance(one, SceneIs) for one in good.trace)
