"""What is said of each observation: the cause before its consequences, one row at a time. Nothing is opened here."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from wayside.far_ends.diagnosis import ROWS, Lost, Numbering, Observed, diagnose, report, shown

ROOT = Path(__file__).parents[2]
PORT = "/dev/ttyACM0"
WELL = Observed(
    PORT,
    "main",
    opened_us=2_000,
    listened_us=900_000,
    came=300,
    frames=20,
    meant=20,
    banner="harbour station",
    greeted_us=60_000,
    asked=8,
    answered=8,
    round_trips_us=(1_000, 1_200, 1_300, 1_400, 1_500, 1_600, 1_900, 5_000),
    powers=("on",),
    asked_detectors=True,
    detectors=((60, False), (61, True)),
    wanted=((60, "up-approach", "detector", False), (61, "lane", "detector", False)),
)
NOBODY = Observed(PORT, "main", opened_us=2_000, listened_us=5_000_000, asked=3)
QUAY = Numbering("amber", 40, True, 10, "<a 10 3 1>", "<a 9 3 1>")


def lost(kind: str, opened: bool = False) -> Observed:
    trouble = Lost(kind, f"`{PORT}` is in trouble", "do something about it")
    return Observed(PORT, "main", opened_us=1_000 if opened else None, trouble=trouble, listened_us=1_230_000)


# each row of the table: what must be seen for it, and what is said then
SEEN: Mapping[str, tuple[Observed, str]] = {
    "no port": (Observed("", "main", ports=("COM5 (serial port)",)), "does not say where `main` is plugged in"),
    "nothing there": (lost("nothing there"), "is in trouble"),
    "no permission": (lost("permission"), "is in trouble"),
    "taken by another program": (lost("taken"), "a serial port has one user"),
    "no such address": (lost("no such address"), "is in trouble"),
    "no serial bridge": (lost("other")._replace(port="rfc2217://quay:2560"), "it is no bridge"),
    "not to be opened": (lost("other"), "is in trouble"),
    "takes nothing": (lost("other", opened=True), "holds up the line"),
    "goes away": (lost("unplugged", opened=True), "1.2 s after it was opened"),
    "an echo": (NOBODY._replace(came=9, echoes=3), "comes back as it was said"),
    "another speed": (NOBODY._replace(came=9, speeds=(9600,), right_speed=9600), "at 9600 baud it can"),
    "not a station": (NOBODY._replace(port="socket://quay:80", came=9, noise=9, sample=b"HTTP/1.1"), "`HTTP/1.1`"),
    "no speed fits": (NOBODY._replace(came=9, noise=9, sample=b"\xfe\x00", speeds=(9600, 19200)), "9600 and 19200"),
    "wrong speed": (NOBODY._replace(came=9, noise=9, sample=b"\xfe\x00"), "They begin fe 00"),
    "no words for status": (NOBODY._replace(can_ask=False), "The layout file says `status: none`"),
    "nothing comes back": (NOBODY, "not a byte in 5 s, and 3 questions asked"),
    "words that are not known": (NOBODY._replace(came=9, frames=1, unknown="HELLO 1"), "<HELLO 1>"),
    "speaks and does not answer": (
        NOBODY._replace(came=9, frames=1, meant=1, banner="harbour station"),
        "(`harbour station`), and answered none of 3 questions",
    ),
    "refuses": (WELL._replace(refused=8), "refuses to say how it is"),
    "overload": (WELL._replace(powers=("on", "overload", "on")), "(while we looked: on, then overload, then on)"),
    "power off": (WELL._replace(powers=("off",)), "The track power is off. "),
    "power not told": (WELL._replace(powers=()), "does not say whether the track power is on"),
    "answers are lost": (WELL._replace(answered=7), "Only 7 of 8 questions"),
    "slow": (WELL._replace(round_trips_us=(100_000, 300_000, 900_000)), "takes long to answer: 300 ms"),
    "noise": (WELL._replace(noise=5, sample=b"\xff\x01"), "noise between its answers: 5 bytes, beginning ff 01"),
    "definitions are refused": (WELL._replace(not_taken=("lane",)), "does not take `lane` as an input"),
    "detectors do not answer": (WELL._replace(detectors=((60, False),)), "names `lane`, and nothing answers to it"),
    "strangers": (WELL._replace(detectors=(*WELL.detectors, (7, True))), "also reports 7, which"),
    "only text": (WELL._replace(noise=5, sample=b"hello"), "`hello`"),
    "numbers": (WELL._replace(numbering=QUAY), "`amber` is accessory 40, which here is <a 10 3 1>; "),
    "board 0": (WELL._replace(numbering=QUAY._replace(number=2, from_one=False, board=0)), "is on board 0"),
    "which dialect": (WELL._replace(link="", names_track=True), "names a track with its power"),
}


def names(seen: Observed) -> list[str]:
    return [finding.name for finding in diagnose(seen)]


@pytest.mark.parametrize("name", SEEN)
def test_each_row_is_said_when_its_signs_are_seen(name: str) -> None:
    seen, words = SEEN[name]
    (finding,) = [finding for finding in diagnose(seen) if finding.name == name]
    assert words in finding.what
    assert "{" not in (finding.what + finding.instead).replace("{status: ...}", "")


def test_every_row_has_its_signs() -> None:
    assert list(SEEN) == [row.name for row in ROWS]


def test_all_is_well() -> None:
    assert diagnose(WELL) == []


@pytest.mark.parametrize("row", [row for row in ROWS if row.ends], ids=lambda row: row.name)
def test_a_cause_hides_its_consequences(row: object) -> None:
    assert len(diagnose(SEEN[row.name][0])) == 1  # type: ignore[attr-defined]


def test_what_does_not_hide_the_rest_is_said_together() -> None:
    seen = WELL._replace(powers=("off",), answered=7, detectors=(), numbering=QUAY)
    assert names(seen) == ["power off", "answers are lost", "detectors do not answer", "numbers"]
    assert [finding.wrong for finding in diagnose(seen)] == [True, True, True, False]


@pytest.mark.parametrize("row", [row for row in ROWS if row.wrong], ids=lambda row: row.name)
def test_whatever_is_wrong_has_something_to_try(row: object) -> None:
    seen, _ = SEEN[row.name]  # type: ignore[attr-defined]
    assert all(finding.instead for finding in diagnose(seen) if finding.wrong)


def test_power_that_has_come_on_is_no_fault() -> None:
    assert names(WELL._replace(powers=("off", "on"))) == []


def test_what_never_came_is_silent_only_when_it_was_asked() -> None:
    assert WELL._replace(detectors=()).silent == ("up-approach", "lane")
    assert WELL._replace(detectors=(), asked_detectors=False).silent == ()


def test_a_refused_definition_is_not_told_twice() -> None:
    both = WELL._replace(detectors=(), not_taken=("lane",))
    (silent,) = [finding for finding in diagnose(both) if finding.name == "detectors do not answer"]
    assert "`up-approach`" in silent.what
    assert "lane" not in silent.what
    assert names(WELL._replace(detectors=((60, True),), not_taken=("lane",))) == ["definitions are refused"]


@pytest.mark.parametrize(
    ("from_one", "number", "neighbour", "other_start"), [(True, 40, 44, 0), (False, 40, 36, 1), (True, 1, 5, 0)]
)
def test_the_neighbour_is_four_away(from_one: bool, number: int, neighbour: int, other_start: int) -> None:
    """That the two ways of counting differ by four: RCN-213 and S-9.2.1, in the table of `adapters.packets`."""
    seen = WELL._replace(numbering=QUAY._replace(from_one=from_one, number=number))
    (finding,) = diagnose(seen)
    assert f"accessory {neighbour} moves in its place" in finding.instead
    assert f"`boards from: {other_start}`" in finding.instead


def test_below_the_first_number_there_is_no_neighbour() -> None:
    seen = WELL._replace(numbering=QUAY._replace(from_one=False, number=3, board=0))
    assert names(seen) == ["numbers", "board 0"]
    assert "another one moves in its place" in diagnose(seen)[0].instead


def test_half_of_the_answers_came_within_the_median() -> None:
    lines = dict(report(WELL))
    assert lines["status"] == "answered 8 of 8; round trip 1.5 ms (p50), 1.0 ms to 5.0 ms"
    assert lines["banner"] == "harbour station (by itself, after 60.0 ms)"


def test_states_are_said_as_the_layout_means_them() -> None:
    wanted = (
        (60, "up-approach", "detector", False),
        (61, "lane", "detector", True),
        (62, "evening-button", "button", False),
    )
    seen = WELL._replace(detectors=((60, True), (61, True), (62, True), (9, False)), wanted=wanted)
    words = "up-approach occupied, lane clear, evening-button pressed, 9 inactive"
    assert dict(report(seen))["detectors"] == words


def test_what_others_have_set_and_what_the_station_remarks_are_shown() -> None:
    lines = report(WELL._replace(outputs=(("accessory", 40, 1), ("pin", 9, 0)), remarks=("hello", "track joined")))
    assert lines[-3:] == [("outputs", "accessory 40: 1 and pin 9: 0"), ("remark", "hello"), ("remark", "track joined")]


def test_long_lists_end() -> None:
    many = tuple((number, False) for number in range(100, 300))
    assert dict(report(WELL._replace(detectors=many)))["detectors"].endswith("107 inactive, and 192 more")
    assert len(diagnose(WELL._replace(detectors=many))[0].what) < 300


@pytest.mark.parametrize(
    ("sample", "words"), [(b"HTTP/1.1 400", "`HTTP/1.1 400`"), (b"\x00\xff", "00 ff"), (b"a\n", "61 0a")]
)
def test_bytes_are_shown_as_what_they_are(sample: bytes, words: str) -> None:
    assert shown(sample) == words


def test_every_fault_stands_in_the_readme() -> None:
    text = (ROOT / "adapters" / "README.md").read_text(encoding="utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| *")]
    told = [line.split("*")[1] for line in rows]
    assert told == [row.name for row in ROWS if row.wrong]
