"""The talk of a probe, in virtual time: what is asked, what counts as an answer, and what is never counted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from adapters.codec import Decoder, Frame
from adapters.dialects import EARLY, LATE
from adapters.serial_port import READ_TIMEOUT_S, PortTrouble
from engine.layout import Detector, DetectorKind, Kind, Layout, Link, Output, Setting, Wiring
from wayside.far_ends import probing
from wayside.far_ends.diagnosis import Observed
from wayside.far_ends.probing import MOST_KEPT, ROUNDS, Question, of_link, of_port, probe

MS, S = 1_000, 1_000_000
Reply = tuple[int, bytes]  # so long after the question
URL = "socket://quay:2560"


class FarEnd:
    """A port whose far end is a function: command text and how many came before it -> replies. Reading takes time."""

    def __init__(self, answers: Callable[[str, int], list[Reply]], greets: list[Reply]) -> None:
        self.now_us = 0
        self.heard: list[str] = []
        self.closed = 0
        self._answers = answers
        self._decoder = Decoder()
        self._due = sorted(greets)

    def write(self, data: bytes) -> None:
        for frame in self._decoder.feed(data):
            assert isinstance(frame, Frame)
            replies = self._answers(frame.text, len(self.heard))
            self._due = sorted([*self._due, *((self.now_us + wait_us, data) for wait_us, data in replies)])
            self.heard.append(frame.text)

    def read(self) -> bytes:
        until_us = self.now_us + int(READ_TIMEOUT_S * S)
        if not self._due or self._due[0][0] > until_us:
            self.now_us = until_us
            return b""
        at_us, data = self._due.pop(0)
        self.now_us = max(self.now_us, at_us)
        return data

    def close(self) -> None:
        self.closed += 1


@pytest.fixture
def talk(monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[Observed, FarEnd]]:
    def run(
        answers: Callable[[str, int], list[Reply]],
        question: Question | None = None,
        for_us: int = 5 * S,
        greets: list[Reply] | None = None,
    ) -> tuple[Observed, FarEnd]:
        far_end = FarEnd(answers, greets or [])
        monkeypatch.setattr("wayside.far_ends.probing.Port.open", lambda *_, **__: far_end)
        monkeypatch.setattr("wayside.far_ends.probing.time.monotonic_ns", lambda: far_end.now_us * 1_000)
        return probe(question or of_port(URL, 115_200), for_us), far_end

    return run


Talk = Callable[..., tuple[Observed, FarEnd]]


def station(text: str, _: int) -> list[Reply]:
    return {"s": [(MS, b"<p1>"), (2 * MS, b"<iquay>")], "Q": [(MS, b"<X>")]}.get(text, [(MS, b"<O>")])


def layout_of(**pins: int) -> Layout:
    link = Link("main", port=URL, dialect="late")
    other = Link("depot", port="socket://depot:2560", dialect="late")
    off = Setting(0.0)
    return Layout(
        links={"main": link, "depot": other},
        outputs={
            "depot-lamp": Output("depot-lamp", Kind.LAMP, off, wiring=Wiring("depot", address=7)),
            "amber": Output("amber", Kind.LAMP, off, wiring=Wiring("main", address=2)),
        },
        detectors={
            name: Detector(name, DetectorKind.SECTION, wiring=Wiring("main", pin=pin)) for name, pin in pins.items()
        },
    )


# --- answers and their times ---------------------------------------------------------------------------------------


def test_every_round_is_asked_answered_and_timed(talk: Talk) -> None:
    seen, far_end = talk(station)
    assert far_end.heard == ["s"] * (ROUNDS + 1) + ["Q"]
    assert (seen.asked, seen.answered, seen.refused) == (8, 8, 0)
    assert seen.round_trips_us == (MS,) * 8
    assert (seen.powers, seen.banner, seen.greeted_us) == (("on",), "quay", None)
    assert far_end.closed == 1


def test_a_banner_that_comes_by_itself_is_no_answer(talk: Talk) -> None:
    seen, _ = talk(lambda text, count: [], greets=[(20 * MS, b"<iquay>")])
    assert (seen.banner, seen.greeted_us, seen.answered) == ("quay", 20 * MS, 0)
    assert seen.listened_us >= 5 * S


def test_the_rest_of_an_answer_is_not_the_next_one(talk: Talk) -> None:
    """A frame that has begun is waited for, longer than a line is otherwise let fall quiet."""

    def slow_end(text: str, _: int) -> list[Reply]:
        return [(80 * MS, b"<p1>"), (81 * MS, b"<iqu"), (230 * MS, b"ay>")] if text == "s" else []

    seen, _ = talk(slow_end, for_us=10 * S)
    assert set(seen.round_trips_us) == {80 * MS}


def test_answers_that_come_late_are_not_taken_for_quick_ones(talk: Talk) -> None:
    """The greeting comes late, too, and would else pass for the first answer, the first answer for the second ..."""

    def late(text: str, _: int) -> list[Reply]:
        return [(S, b"<p1>"), (S + 2 * MS, b"<iquay>")] if text == "s" else [(S, b"<X>")]

    seen, _ = talk(late, for_us=8 * S, greets=[(S, b"<iquay>")])
    assert seen.median_us == S
    assert seen.asked == seen.answered


def test_what_is_lost_in_the_middle_is_counted(talk: Talk) -> None:
    seen, _ = talk(lambda text, count: [] if count == 2 else station(text, count), for_us=10 * S)
    assert (seen.asked, seen.answered) == (ROUNDS + 2, ROUNDS + 1)


def test_what_was_asked_before_it_was_awake_is_not_counted(talk: Talk) -> None:
    seen, far_end = talk(lambda text, count: [] if count < 2 else station(text, count), for_us=10 * S)
    assert (seen.asked, seen.answered) == (ROUNDS + 1, ROUNDS + 1)
    assert far_end.heard.count("s") == ROUNDS + 3


def test_a_question_that_was_cut_short_is_not_counted(talk: Talk) -> None:
    seen, far_end = talk(lambda text, count: station(text, count) if count == 0 else [], for_us=1_500 * MS)
    assert far_end.heard[:2] == ["s", "s"]
    assert (seen.asked, seen.answered) == (1, 1)


def test_reports_are_no_answers(talk: Talk) -> None:
    seen, _ = talk(lambda text, count: [(MS, b"<Q 5><H 3 1><Y 4 0><* hello *>")])
    assert (seen.answered, seen.detectors, seen.remarks) == (0, ((5, True),), ("hello",))
    assert seen.outputs == (("accessory", 3, 1), ("pin", 4, 0))
    assert seen.meant > 0


@pytest.mark.parametrize(("power", "names"), [(b"<p1>", False), (b"<p 1>", False), (b"<p1 MAIN>", True)])
def test_a_track_is_named_or_not(talk: Talk, power: bytes, names: bool) -> None:
    seen, _ = talk(lambda text, _: [(MS, power)])
    assert (seen.names_track, seen.powers) == (names, ("on",))


def test_power_is_told_as_it_changes(talk: Talk) -> None:
    states = [b"<p1>", b"<p2>", b"<p2>", b"<p1>"]
    seen, _ = talk(lambda text, count: [(MS, states[count % 4])] if text == "s" else [])
    assert seen.powers == ("on", "overload", "on", "overload", "on")


# --- words, definitions, detectors ---------------------------------------------------------------------------------


def test_each_dialects_words_are_tried(talk: Talk) -> None:
    other = EARLY._replace(words={**EARLY.words, "status": "how now"})
    question = of_port(URL, 115_200)._replace(dialects=(other, LATE))
    seen, far_end = talk(lambda text, count: station(text, count) if text != "how now" else [], question, 10 * S)
    assert far_end.heard[:3] == ["how now", "s", "s"]
    assert far_end.heard.count("how now") == 1
    assert (seen.asked, seen.answered) == (ROUNDS + 1, ROUNDS + 1)


def test_the_layouts_detectors_are_defined_and_asked(talk: Talk) -> None:
    layout = layout_of(lane=60, quay=61)

    def answers(text: str, count: int) -> list[Reply]:
        return [(MS, b"<Q 60>"), (150 * MS, b"<q 61>")] if text == "Q" else station(text, count)

    seen, far_end = talk(answers, of_link(layout, layout.links["main"]))
    assert far_end.heard[-3:] == ["S 60 60 1", "S 61 61 1", "Q"]
    assert seen.detectors == ((60, True), (61, False))
    assert seen.silent == ()


def test_definitions_that_nobody_answers_are_given_up(talk: Talk) -> None:
    layout = layout_of(a=1, b=2, c=3, d=4)
    question = of_link(layout, layout.links["main"])
    _, far_end = talk(lambda text, count: [] if text[0] == "S" else station(text, count), question)
    assert [text for text in far_end.heard if text[0] == "S"] == ["S 1 1 1", "S 2 2 1"]
    assert "Q" in far_end.heard


def test_a_refused_definition_has_its_name(talk: Talk) -> None:
    layout = layout_of(a=1, b=2)
    question = of_link(layout, layout.links["main"])
    seen, _ = talk(lambda text, count: [(MS, b"<X>")] if text == "S 2 2 1" else station(text, count), question)
    assert seen.not_taken == ("b",)


def test_detectors_are_kept_up_to_a_limit(talk: Talk) -> None:
    many = b"".join(b"<Q %d>" % number for number in range(3 * MOST_KEPT))
    seen, _ = talk(lambda text, count: [(MS, many)] if text == "Q" else station(text, count))
    assert len(seen.detectors) == MOST_KEPT


def test_the_first_accessory_is_one_of_this_link() -> None:
    layout = layout_of()
    main, depot = (probing._numbering(of_link(layout, layout.links[name])) for name in ("main", "depot"))
    assert main is not None
    assert (main.name, main.number, main.board, main.command, main.other) == ("amber", 2, 1, "<a 1 1 1>", "<a 0 1 1>")
    assert depot is not None
    assert depot.name == "depot-lamp"


# --- the end -------------------------------------------------------------------------------------------------------


def test_a_port_that_fails_is_closed_and_what_was_seen_is_kept(talk: Talk, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(self: Any) -> bytes:
        if self.now_us > 100 * MS:
            raise PortTrouble("unplugged", "it is gone", "plug it in again")
        self.now_us += 50 * MS
        return b"<iquay>"

    monkeypatch.setattr(FarEnd, "read", fail)
    seen, far_end = talk(station)
    assert (seen.trouble and seen.trouble.kind, seen.banner, far_end.closed) == ("unplugged", "quay", 1)


def test_it_ends_in_time_whatever_comes(talk: Talk, monkeypatch: pytest.MonkeyPatch) -> None:
    def flood(self: Any) -> bytes:
        self.now_us += 3 * MS
        return b"<Q 5><p1><q 5><"

    monkeypatch.setattr(FarEnd, "read", flood)
    seen, far_end = talk(station, for_us=2 * S)
    assert 2 * S > seen.listened_us > 0
    assert far_end.now_us <= 2 * S + 50 * MS
