"""The conversation of a trial in virtual time: what is waited for, what is sent when, and what is concluded."""

from __future__ import annotations

import pytest

from adapters.dialects import (
    EARLY,
    LATE,
    Banner,
    DetectorIs,
    Dialect,
    Other,
    OutputIs,
    PowerIs,
    Refused,
    Remark,
    Said,
    Took,
)
from adapters.link_states import Times
from wayside.far_ends import trial_talk
from wayside.far_ends.trial_talk import Heard, Talk, in_words

MS = 1_000_000  # nanoseconds
STEP = 10 * MS
TIMES = Times(banner_us=2_500_000, quiet_us=100_000, answer_us=1_000_000)


class Station:
    """A far end in virtual time: says each of its texts at its instant, and its answers so long after a command."""

    def __init__(self, says: dict[int, bytes] | None = None, answers: dict[bytes, bytes] | None = None) -> None:
        self.now = 0
        self.sent: list[tuple[int, bytes]] = []
        self.lines: list[str] = []
        self._says = {ms * MS: data for ms, data in (says or {}).items()}
        self._answers = answers or {}

    def read(self) -> bytes:
        self.now += STEP
        return b"".join(self._says.pop(at) for at in sorted(self._says) if at <= self.now)

    def write(self, data: bytes) -> None:
        self.sent.append((self.now // MS, data))
        if data in self._answers:
            at = self.now + 3 * STEP
            self._says[at] = self._says.get(at, b"") + self._answers[data]

    def talk(
        self, *texts: str, resets: bool = True, start_up_ms: int = 0, track: bool = True, dialect: Dialect = LATE
    ) -> Heard:
        talk = Talk(self, dialect, self.lines.append, TIMES, lambda: self.now)
        return talk.run(texts, resets, start_up_ms * 1_000, track)

    def said(self, words: str) -> bool:
        return any(words in line for line in self.lines)


STATUS = {b"<s>": b"<p1>"}


def test_a_banner_ends_the_waiting() -> None:
    station = Station({200: b"<iStation>\r\n"}, STATUS)
    assert station.talk("a 1 0 1") == Heard(True, False, "on")
    # 100 ms of quiet after the banner; 30 ms to the answer and its quiet
    assert station.sent == [(300, b"<s>"), (430, b"<a 1 0 1>"), (430, b"<s>")]
    assert station.now == 560 * MS
    assert station.said("The station took it.")


def test_a_report_is_no_banner_and_no_answer() -> None:
    station = Station({50: b"<Q 1>", 200: b"<iStation>", 310: b"<Q 2>"}, STATUS)
    station.talk("a 1 0 1")
    assert station.sent == [(300, b"<s>"), (430, b"<a 1 0 1>"), (430, b"<s>")]


def test_without_a_banner_it_is_waited_for() -> None:
    station = Station(answers=STATUS)
    station.talk("a 1 0 1", start_up_ms=5_000)
    assert station.sent[0] == (2_500, b"<s>")
    assert not station.said("started anew")


def test_where_nothing_is_reset_only_a_moment_passes() -> None:
    station = Station(answers=STATUS)
    station.talk("a 1 0 1", resets=False)
    assert station.sent[0] == (100, b"<s>")


def test_the_boards_get_their_time_after_a_start() -> None:
    station = Station({200: b"<iStation>"}, STATUS)
    station.talk("a 1 0 1", start_up_ms=1_500)
    assert station.said("0 s for its boards") is False
    assert station.said("It may have started anew: 1.5 s for its boards to start.")
    assert station.sent[0] == (1_800, b"<s>")
    calm = Station({20: b"<iStation>"}, STATUS)
    calm.talk("a 1 0 1", resets=False, start_up_ms=1_500)
    assert calm.sent[0][0] <= 120


def test_each_text_is_sent_as_it_stands_and_the_power_never() -> None:
    station = Station(answers={b"<s>": b"<p0>"})
    assert station.talk("Z 20 20 0", "Z 20 1", resets=False).power == "off"
    assert [data for _, data in station.sent] == [b"<s>", b"<Z 20 20 0>", b"<Z 20 1>", b"<s>"]


@pytest.mark.parametrize(("answer", "power"), [(b"<p0>", "off"), (b"<p2>", "overload"), (b"<p1>", "on")])
@pytest.mark.parametrize("track", [True, False])
def test_power_is_said_where_it_matters(answer: bytes, power: str, track: bool) -> None:
    station = Station(answers={b"<s>": answer})
    assert station.talk("a 1 0 1", resets=False, track=track).power == power
    assert station.said("No decoder hears this") is (track and power != "on")


def test_power_that_was_known_before_stays_known() -> None:
    class Falls(Station):
        def write(self, data: bytes) -> None:
            super().write(data)
            if data == b"<a 1 0 1>":
                self._answers = {}

    station = Falls(answers=STATUS)
    assert station.talk("a 1 0 1", resets=False) == Heard(False, False, "on")
    assert station.said("Nothing came back after that")
    assert station.now == (100 + 130 + 1_000) * MS  # a whole second for the answer that does not come


def test_a_refusal_before_it_was_told_is_not_its_refusal() -> None:
    station = Station({20: b"<X>"}, STATUS)
    assert station.talk("a 1 0 1", resets=False) == Heard(True, False, "on")
    station = Station(answers={b"<s>": b"<p1>", b"<a 1 0 1>": b"<X>"})
    assert station.talk("a 1 0 1", resets=False) == Heard(True, True, "on")
    assert station.said("The station refused it.")
    assert not station.said("took it")


def test_noise_after_an_answer_does_not_end_the_waiting() -> None:
    """Bytes that cannot be read are no answer, whatever was said before them."""
    station = Station({300: b"<iStation>"}, STATUS)
    station.talk("a 1 0 1")
    calm = station.sent[0][0]
    noisy = Station({300: b"<iStation>", 380: b"\xff\xfe"}, STATUS)
    noisy.talk("a 1 0 1")
    assert noisy.sent[0][0] == calm
    assert noisy.said("2 bytes besides could not be read.")
    assert not station.said("besides")


def test_a_station_without_a_question_is_only_listened_to() -> None:
    words = {key: text for key, text in EARLY.words.items() if key != "status"}
    station = Station({1_500: b"<Y 20 1>"})
    heard = station.talk("Z 20 1", resets=False, dialect=EARLY._replace(words=words))
    assert [data for _, data in station.sent] == [b"<Z 20 1>"]
    assert heard == Heard(True, False, "")


def test_an_echo_is_no_station() -> None:
    station = Station(answers={b"<s>": b"<s>", b"<a 1 0 1>": b"<a 1 0 1>"})
    assert station.talk("a 1 0 1", resets=False) == Heard(False, False, "")
    assert station.said("Only what was sent came back: this line is an echo")
    assert not station.said("heard")
    both = Station(answers={b"<s>": b"<s><p1>", b"<a 1 0 1>": b"<a 1 0 1>"})
    assert both.talk("a 1 0 1", resets=False) == Heard(True, False, "on")
    assert not both.said("echo")


def test_many_lines_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(trial_talk, "MOST_SHOWN", 3)
    station = Station(answers={b"<s>": b"<p1><Q 1><Q 2>"})
    station.talk("a 1 0 1", resets=False)
    assert [line for line in station.lines if line.startswith("  heard")] == [
        "  heard   <p1>  track power is on",
        "  heard   <Q 1>  input 1 is active",
        "  heard   <Q 2>  input 2 is active",
    ]
    assert station.said("And 3 lines more.")
    exact = Station({20: b"<Q 1>"}, STATUS)
    exact.talk("a 1 0 1", resets=False)
    assert len([line for line in exact.lines if line.startswith("  heard")]) == 3
    assert not exact.said("more.")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (PowerIs("on"), "track power is on"),
        (PowerIs("off"), "track power is off"),
        (PowerIs("overload"), "track power is off: too much current, perhaps a short"),
        (DetectorIs(60, True), "input 60 is active"),
        (DetectorIs(60, False), "input 60 is not active"),
        (OutputIs("accessory", 41, 1), "accessory 41 is on"),
        (OutputIs("pin", 20, 0), "pin 20 is off"),
        (Took(), "it has taken a definition"),
        (Refused(), "it refuses"),
        (Banner("x"), "says what it is"),
        (Remark("x"), "a remark"),
        (Other("x"), "means nothing to Wayside"),
    ],
)
def test_every_answer_has_words(said: Said, words: str) -> None:
    assert in_words(said) == words
