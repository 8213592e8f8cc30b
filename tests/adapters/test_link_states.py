"""The table of a link's states: nothing is left without a way back, and it is drawn in the read-me as it is."""

from __future__ import annotations

from pathlib import Path

from adapters.link_states import MEANING, NEXT, OPEN, TIMES, Event, State, back_off_us, drawn


def reached(start: State) -> set[State]:
    found, new = {start}, {start}
    while new:
        new = {after for (before, _), after in NEXT.items() if before in new} - found
        found |= new
    return found


def test_every_state_can_be_reached_from_every_other_but_the_first() -> None:
    for state in State:
        assert reached(state) >= set(State) - {State.UNPLUGGED}


def test_every_open_state_can_lose_its_port_and_no_other() -> None:
    assert {state for state in State if (state, Event.LOST) in NEXT} == OPEN
    assert {state for state in State if (state, Event.OPENED) in NEXT} == set(State) - OPEN


def test_a_lost_port_is_never_talked_about_as_if_it_had_never_been_there() -> None:
    assert {after for (_, event), after in NEXT.items() if event is Event.LOST} == {State.GONE}
    assert NEXT[State.GONE, Event.NOT_OPENED] is State.GONE


def test_only_what_answers_with_power_on_and_boards_started_talks() -> None:
    assert {pair for pair, after in NEXT.items() if after is State.TALKING} == {(State.WAITING, Event.STARTED)}


def test_every_event_and_every_state_is_in_the_table() -> None:
    assert {event for _, event in NEXT} == set(Event)
    assert {state for state, _ in NEXT} == set(State) == set(MEANING)


def test_the_drawing_has_every_row() -> None:
    rows = drawn().splitlines()
    assert len(rows) == len(State) + len(NEXT)
    assert any(row.startswith("talking ") for row in rows)
    assert sum(row.endswith("> gone") for row in rows) == 5


def test_the_read_me_draws_the_table() -> None:
    assert drawn() in (Path(__file__).parents[2] / "adapters" / "README.md").read_text(encoding="utf-8")


def test_the_back_off_doubles_up_to_its_limit() -> None:
    assert [back_off_us(TIMES, failures) for failures in (0, 1, 2, 3)] == [500_000, 500_000, 1_000_000, 2_000_000]
    assert back_off_us(TIMES, 100_000) == TIMES.last_retry_us == 8_000_000
