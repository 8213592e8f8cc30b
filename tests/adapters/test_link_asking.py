"""Questions and fences by themselves: when the next is due, how much may be on its way, and who has started anew."""

from __future__ import annotations

import pytest

from adapters import link_asking
from adapters.link_asking import BUFFER, FENCE_BYTES, Asking
from adapters.link_states import TIMES

MS, S = 1_000, 1_000_000


def asked(at_us: int = 0, outstanding: int = 1) -> Asking:
    found = Asking(TIMES, outstanding)
    found.reset(at_us)
    assert found.next_us() == at_us
    found.ask(at_us)
    return found


def answered(at_us: int = 0) -> Asking:
    found = asked(at_us)
    found.heard(at_us + 2 * MS)
    found.answered(at_us + 2 * MS)
    return found


def test_it_is_asked_now_and_then() -> None:
    found = answered()
    assert found.next_us() == TIMES.ask_us
    assert found.round_trip_us == 2 * MS


def test_a_command_has_a_question_behind_it_soon_and_sooner_where_there_are_many() -> None:
    found = answered()
    found.sent(10, 100 * MS)
    assert found.next_us() == 100 * MS + TIMES.fence_us
    found.sent(FENCE_BYTES - 11, 120 * MS)
    assert found.next_us() == 100 * MS + TIMES.fence_us
    found.sent(1, 130 * MS)
    assert found.next_us() <= 130 * MS


def test_no_more_is_on_its_way_than_a_station_can_hold() -> None:
    found = answered()
    found.sent(BUFFER - 4, 100 * MS)
    assert found.room(4)
    assert not found.room(5)
    assert found.next_us() <= 100 * MS
    found.ask(100 * MS)
    assert not found.room(5), "a question is no answer"
    found.heard(110 * MS)
    found.answered(110 * MS)
    assert found.room(BUFFER)


def test_what_went_out_behind_the_question_is_still_on_its_way_when_it_is_answered() -> None:
    found = answered()
    found.sent(30, 100 * MS)
    found.ask(101 * MS)
    found.sent(20, 102 * MS)
    found.heard(110 * MS)
    found.answered(110 * MS)
    assert found.next_us() == 102 * MS + TIMES.fence_us
    assert found.room(BUFFER - 20)
    assert not found.room(BUFFER - 19)


def test_a_command_longer_than_the_buffer_goes_when_nothing_else_is_on_its_way() -> None:
    assert answered().room(BUFFER + 30)


def test_more_may_be_on_its_way_where_the_layout_file_says_so() -> None:
    found = asked(outstanding=3)
    found.sent(2 * BUFFER, 1)
    assert found.room(BUFFER)
    assert not found.room(BUFFER + 1)


def test_an_answer_that_does_not_come_is_asked_for_again_and_stops_the_rest_until_something_is_heard() -> None:
    found = asked()
    found.sent(10, 1)
    assert found.next_us() == TIMES.answer_us
    assert found.room(10)
    found.ask(S)
    assert found.unanswered == 1
    assert not found.room(1), "nothing at all has been heard"
    assert not found.silent(3 * S - 1)
    assert found.silent(3 * S)
    found.heard(1500 * MS)
    assert found.room(10)
    assert not found.silent(3 * S)


def test_where_other_words_come_a_lost_answer_stops_nothing() -> None:
    found = answered()
    found.sent(50, 100 * MS)
    found.ask(S)
    found.sent(10, S)
    found.heard(1500 * MS)
    found.ask(2 * S)
    assert found.room(BUFFER - 10)
    assert not found.room(BUFFER - 9), "what went out behind the lost question may still be there"


def test_after_a_sleep_the_answer_has_its_time_again() -> None:
    found = asked()
    found.slept(60 * S)
    assert found.next_us() == 60 * S + TIMES.answer_us
    assert not found.silent(60 * S)
    assert found.silent(63 * S)


def test_a_refusal_is_an_answer_of_sorts() -> None:
    found = asked()
    found.sent(60, 1)
    found.answered(MS, refused=True)
    assert found.asked_us is None
    assert found.round_trip_us is None
    assert found.room(4)


@pytest.mark.parametrize(
    ("words", "begins"),
    [
        ("ask power banner", False),
        ("ask power banner more", False),
        ("ask power power banner banner", False),  # it says everything twice
        ("ask power banner banner", True),  # asked just before its start was over
        ("ask banner power", False),
        ("ask power banner pause banner", True),
        ("ask power pause ask pause banner", True),  # it never says so when it is asked
        ("ask power banner pause ask pause banner", True),  # it says so behind its power
        ("ask banner power pause ask pause banner", False),  # it says so before its power: its power may yet come
        ("ask power banner pause ask power pause banner", False),  # a line that is slow this once
        ("ask power banner pause ask power pause banner pause banner", True),
        ("ask power banner pause ask power pause ask pause banner", True),  # nothing is owed to an earlier question
        ("pause banner", True),
    ],
)
def test_an_answer_or_a_new_start(words: str, begins: bool) -> None:
    found = Asking(TIMES, 1)
    found.reset(0)
    now_us, last = 0, False
    for word in words.split():
        now_us += 400 * MS if word == "pause" else 5 * MS
        if word == "ask":
            found.ask(now_us)
        elif word == "power":
            found.heard(now_us)
            found.answered(now_us)
        elif word != "pause":
            found.heard(now_us)
            last = found.begins(now_us, word)
    assert last is begins


def said(found: Asking, words: str, now_us: int, step_us: int = 5 * MS) -> tuple[int, list[bool]]:
    """Say words one after another: when it is then, and for each banner whether the station has begun anew by it."""
    begins = []
    for word in words.split():
        now_us += step_us
        if word == "ask":
            found.ask(now_us)
            continue
        found.heard(now_us)
        if word == "power":
            found.answered(now_us)
        elif word == "banner":
            begins.append(found.begins(now_us, word))
    return now_us, begins


def test_a_line_that_doubles_everything_and_never_pauses_begins_nothing_anew() -> None:
    found, now_us, begins = asked(), 0, []
    for _ in range(100):
        now_us, more = said(found, "power power banner banner pin ask", now_us, 150 * MS)
        begins += more
    assert not any(begins)
    assert len(found._lines) <= link_asking.MOST_LINES


def test_a_report_that_grows_for_ever_is_kept_in_bounds() -> None:
    found = asked()
    said(found, "power banner " + "pin " * 1_000, 0)
    assert len(found._lines) <= link_asking.MOST_LINES


def test_a_station_that_says_what_it_is_twice_in_every_report_is_found_to_do_so() -> None:
    found, now_us, begun = asked(), 0, 0
    for _ in range(50):
        now_us, begins = said(found, "power banner banner", now_us)
        if any(begins):
            begun += 1
            found.reset(now_us)
        now_us, _ = said(found, "ask", now_us, S)
    assert begun == 1  # at first it may as well have begun anew
    found.reset(now_us, opened=True)
    assert said(found, "ask power banner banner", now_us)[1] == [False, True]


def test_twice_in_two_reports_with_a_whole_one_between_is_no_habit() -> None:
    found, now_us = asked(), 0
    for _ in range(5):
        now_us, begins = said(found, "power banner banner", now_us)
        assert begins == [False, True]
        found.reset(now_us)
        now_us, begins = said(found, "ask power banner", now_us)
        assert begins == [False]
        now_us, _ = said(found, "ask", now_us, S)


def test_what_looked_like_an_answer_and_went_no_further_was_a_new_start() -> None:
    found = answered()
    found.ask(S)
    found.heard(1500 * MS)
    found._names = "before"
    assert not found.begins(1500 * MS, "banner")
    assert not found.rebooted(2 * S - 1)
    assert found.rebooted(2 * S)
