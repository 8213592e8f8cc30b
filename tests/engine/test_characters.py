"""Lights' characters: worked examples and definitions of the charts, and a sentence for whatever is not one.

Sources: IHO (list-of-lights standard, chart symbols, S-57), IALA R1001, 33 CFR 62.45(d), ITU-R M.1677; what is ours
says so.
"""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.characters import FIXED_LEVEL, Character, NotRead, read
from engine.chart_words import COLOURS, FLASHES, GROUPS, LETTERS, PERIOD_US, TEXT
from engine.courses import Course, Ease
from engine.rhythms import MORSE, QUICK
from engine.waves import State

S = 1_000_000
Row = tuple[float, str | None]


def shown(text: str) -> list[Row]:
    return [(phase.us / S, phase.colour) for phase in read(text).phases]


def lengths(text: str) -> list[float]:
    """Seconds, dark and light in turn, as the IHO writes its examples."""
    phases = read(text).phases
    assert [phase.colour is None for phase in phases] == [index % 2 == 0 for index in range(len(phases))]
    return [phase.us / S for phase in phases]


def lights(character: Character) -> list[int]:
    return [phase.us for phase in character.phases if phase.colour and phase.level == 1.0]


def darks(character: Character) -> list[int]:
    return [phase.us for phase in character.phases if phase.colour is None or phase.level < 1.0]


def onsets(character: Character) -> list[float]:
    """Seconds from the start of the period at which it lights up."""
    at, found = 0, []
    for phase in character.phases:
        if phase.colour and phase.level == 1.0:
            found.append(at / S)
        at += phase.us
    return found


def refused(text: str) -> NotRead:
    with pytest.raises(NotRead) as caught:
        read(text)
    return caught.value


# --- published examples and definitions ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Oc W 12s", [2, 10]),  # IHO, worked: dark 2, light 10
        ("Oc(2) W 13s", [1, 1, 1, 10]),  # IHO, worked
        ("Oc(2+1) W 12s", [1, 1, 1, 4, 1, 4]),  # IHO, worked
        ("Iso W 10s", [5, 5]),  # IHO, worked
        # ours, where the notation leaves it open
        ("Fl W 10s", [9, 1]),
        ("Fl W 2.5s", [2, 0.5]),
        ("Fl(2) W 10s", [6, 1, 2, 1]),
        ("Fl(2+1) W 13s", [4, 1, 2, 1, 4, 1]),
        ("LFl W 10s", [8, 2]),
        ("LFl(2) W 15s", [9, 2, 2, 2]),
        ("Oc W 6s", [1, 5]),
        ("Oc W 30s", [2, 28]),
        ("Q W", [0.6, 0.4]),
        ("Fl+LFl W 10s", [5, 1, 2, 2]),
        ("Mo(A) W 8s", [5.5, 0.5, 0.5, 1.5]),
    ],
)
def test_light_and_dark_as_published(text: str, expected: list[float]) -> None:
    assert lengths(text) == expected


@pytest.mark.parametrize(
    ("text", "least", "most"),
    [
        ("Q", 50, 79),  # chart symbols: 50-79 a minute
        ("VQ", 80, 159),  # 80-159 a minute
        ("UQ", 160, 300),  # 160 or more, usually 240-300
        ("Q 1.2s", 50, 50),
        ("VQ 0.75s", 80, 80),
        ("UQ 0.375s", 160, 160),
        ("VQ 0.6s", 80, 159),
        ("UQ 0.2s", 160, 300),
    ],
)
def test_quick_lights_flash_as_often_as_charts_say(text: str, least: int, most: int) -> None:
    assert least <= read(text).flashes_a_minute <= most


def test_where_no_period_is_needed_the_usual_one_is_taken() -> None:
    # 33 CFR 62.45(d): quick is 60 a minute. Chart symbols: usually 50 or 60, 100 or 120, 240 to 300
    assert [read(text).flashes_a_minute for text in ("Q", "VQ", "UQ")] == [60, 120, 240]


@pytest.mark.parametrize(
    ("text", "flashes", "apart", "period"),
    [  # IALA R1001, from memory: north, east, south, west
        ("Q", 1, 1.0, 1.0),
        ("VQ", 1, 0.5, 0.5),
        ("Q(3) 10s", 3, 1.0, 10),
        ("VQ(3) 5s", 3, 0.5, 5),
        ("Q(6)+LFl 15s", 7, 1.0, 15),
        ("VQ(6)+LFl 10s", 7, 0.5, 10),
        ("Q(9) 15s", 9, 1.0, 15),
        ("VQ(9) 10s", 9, 0.5, 10),
    ],
)
def test_cardinal_marks(text: str, flashes: int, apart: float, period: float) -> None:
    mark = read(text)
    assert len(lights(mark)) == flashes
    assert mark.period_us == period * S
    assert [after - before for before, after in pairwise(onsets(mark))] == pytest.approx([apart] * (flashes - 1))
    if "LFl" in text:  # a long flash, of 2 s or more (chart symbols P10.5), comes last
        assert lights(mark)[-1] >= 2 * S > 4 * max(lights(mark)[:-1])
    if flashes > 1:
        assert darks(mark)[0] > 2 * max(darks(mark)[1:])


def test_lights_of_us_aids() -> None:
    # 33 CFR 62.45(d): safe water Mo(A); isolated danger Fl(2); preferred channel Fl(2+1); lateral Fl <= 30 a minute
    assert lights(read("Mo(A) W 8s"))[0] * 3 == lights(read("Mo(A) W 8s"))[1]
    assert len(lights(read("Fl(2) W 5s"))) == 2
    preferred = read("Fl(2+1) R 6s")
    assert len(lights(preferred)) == 3
    inside, first, last = darks(preferred)[1], darks(preferred)[2], darks(preferred)[0]
    assert inside < first
    assert inside < last
    assert all(read(text).flashes_a_minute <= 30 for text in ("Fl R 2.5s", "Fl G 4s", "Fl G 6s"))


def test_a_single_flash_of_fifty_a_minute_or_more_is_quick() -> None:
    # IHO: single flashes under 50 a minute; chart symbols: from 50 on it is Q
    assert read("Fl W 1.201s").flashes_a_minute < 50
    for text, quick in (("Fl W 1.2s", "`Q`"), ("Fl W 0.7s", "`VQ`"), ("Fl W 0.3s", "`UQ`"), ("Fl W 0.1s", "`Q`")):
        assert quick in refused(text).instead


def test_interrupted_quick_lights_have_regular_long_eclipses() -> None:
    # S-57: IQ, IVQ, IUQ are interrupted by regular long eclipses
    for text, quick in (("IQ 15s", "Q"), ("IVQ 15s", "VQ"), ("IUQ 15s", "UQ")):
        light = read(text)
        apart = {round(after - before, 6) for before, after in pairwise(onsets(light))}
        assert apart == {QUICK[quick].cycle_us / S}
        assert darks(light)[0] > 5 * max(darks(light)[1:])
        assert len(lights(light)) >= 3


# --- Morse, ITU-R M.1677, from memory -------------------------------------------------------------------------------


def from_light(character: Character) -> str:
    """Reads Morse off the light itself, by the standard's ratios, with the shortest light as a dot."""
    rows = [(phase.us, phase.colour) for phase in character.phases]
    rows = rows[1:] + rows[:1]  # the period begins with the eclipse that ends the signal
    dot = min(us for us, _ in rows)
    signs, letters = "", []
    for us, colour in rows:
        units = us / dot
        if colour:
            assert units in (1, 3)
            signs += "." if units == 1 else "-"
        elif units >= 3:
            assert units == 3 or units >= 7
            letters.append(signs)
            signs = ""
        else:
            assert units == 1
    known = {sign: letter for letter, sign in MORSE.items()}
    return "".join(known[letter] for letter in letters)


@pytest.mark.parametrize("letters", ["A", "U", "N", "K", "E", "AB", "SOS", "5", "R2"])
def test_morse_can_be_read_off_the_light(letters: str) -> None:
    assert from_light(read(f"Mo({letters}) W 30s")) == letters


def test_morse_times() -> None:
    assert lengths("Mo(A) W 12s")[1:] == [0.5, 0.5, 1.5]  # dash 3 dots, dark inside a letter 1 dot
    assert lengths("Mo(EE) W 12s") == [9.5, 0.5, 1.5, 0.5]  # dark between letters 3 dots
    assert lengths("Mo(T) W 2.4s") == [1.68, 0.72]
    assert len(MORSE) == 36
    assert len(set(MORSE.values())) == 36
    assert {MORSE[letter] for letter in "ENIATM"} == {".", "-.", "..", ".-", "-", "--"}
    assert (MORSE["S"], MORSE["O"], MORSE["Q"], MORSE["Y"], MORSE["5"], MORSE["8"]) == (
        "...", "---", "--.-", "-.--", ".....", "---..",
    )  # fmt: skip


# --- colours --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Al WR 10s", [(5, "W"), (5, "R")]),
        ("Al WRG 9s", [(3, "W"), (3, "R"), (3, "G")]),
        ("Al Fl WR 10s", [(4, None), (1, "W"), (4, None), (1, "R")]),
        ("Al Fl(2) WR 10s", [(6, None), (1, "W"), (2, None), (1, "R")]),
        ("Al Oc WR 24s", [(2, None), (10, "W"), (2, None), (10, "R")]),
        ("Al Iso GBu 8s", [(2, None), (2, "G"), (2, None), (2, "Bu")]),
        ("Al LFl WR 20s", [(8, None), (2, "W"), (8, None), (2, "R")]),
        ("Al Q WR", [(0.6, None), (0.4, "W"), (0.6, None), (0.4, "R")]),
    ],
)
def test_changing_lights(text: str, expected: list[Row]) -> None:
    assert shown(text) == expected


def test_a_light_of_two_lamps_is_the_two_lamps_together() -> None:
    light = read("Al Fl WR 10s")
    assert light.colours == ("W", "R")
    whole, white, red = (Course(0, light.script(colour), repeats=True) for colour in (None, "W", "R"))
    for at in range(0, 30 * S, 99_991):
        assert white.value_at(at) + red.value_at(at) == whole.value_at(at)
    assert [(leg.us / S, leg.to) for leg in light.script("R").legs] == [(9, 0.0), (1, 1.0)]
    with pytest.raises(ValueError, match="never shows G"):
        light.script("G")


def test_one_colour_after_another_is_no_flash_but_each_lamp_goes_on_and_off() -> None:
    light = read("Al WR 10s")
    assert light.flashes_a_minute == 0
    assert [(leg.us / S, leg.to) for leg in light.script().legs] == [(10, 1.0)]
    assert [(leg.us / S, leg.to) for leg in light.script("R").legs] == [(5, 0.0), (5, 1.0)]


def test_a_fixed_light_never_changes() -> None:
    light = read("F R")
    assert (light.text, light.colours, light.flashes_a_minute) == ("F R", ("R",), 0)
    wave = Course(5, light.script(), repeats=True, state=State.FLASHING)
    assert wave.value_at(10**12) == 1.0
    assert wave.turns(5) is None


def test_a_fixed_and_flashing_light_is_never_dark() -> None:
    for text in ("FFl W 10s", "F+Fl W 10s", "FFl(2) W 10s", "FLFl W 10s", "F+LFl(2) 20s"):
        light = read(text)
        assert {phase.level for phase in light.phases} == {FIXED_LEVEL, 1.0}
        assert all(phase.colour == "W" for phase in light.phases)
        assert light.flashes_a_minute == len(lights(light)) * 60 * S / light.period_us


# --- spellings ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "normal"),
    [
        ("Fl(2) W 10s", "Fl(2) W 10s"),
        ("Fl(2) 10s", "Fl(2) W 10s"),
        ("Fl(2)W.10s", "Fl(2) W 10s"),
        ("Fl.(2).W.10s.", "Fl(2) W 10s"),
        ("  fl ( 2 )  w  10 s ", "Fl(2) W 10s"),
        ("FlG4s", "Fl G 4s"),
        ("FlW.5s", "Fl W 5s"),  # a full stop behind a letter is no decimal point
        ("Fl\u00a0W\u202f10\u2009s", "Fl W 10s"),
        ("Oc 7.5s", "Oc W 7.5s"),
        ("Oc 10,5 s", "Oc W 10.5s"),
        ("Oc 10.50 seconds", "Oc W 10.5s"),
        ("ISO 04s", "Iso W 4s"),
        ("q(6) + lfl 15 sec", "Q(6)+LFl W 15s"),
        ("vq", "VQ W"),
        ("FR", "F R"),
        ("F+Fl(2) 10s", "FFl(2) W 10s"),
        ("Al.WR.10s", "Al WR 10s"),
        ("AlFlWR 10s", "Al Fl WR 10s"),
        ("Al Fl W R 10s", "Al Fl WR 10s"),
        ("mo(a)g8s", "Mo(A) G 8s"),
        ("Fl bu 3s", "Fl Bu 3s"),
        ("Fl Y 120s", "Fl Y 120s"),
    ],
)
def test_spellings_that_are_read(text: str, normal: str) -> None:
    assert read(text).text == normal


CASES = [  # text, column, length, words of what is wrong, words of what to write
    ("", 0, 1, "begins with its rhythm", "`Fl(2) W 10s`"),
    ("   ", 3, 1, "begins with its rhythm", "`Fl(2) W 10s`"),
    ("10s", 0, 1, "begins with its rhythm", "`Fl(2) W 10s`"),
    ("Blink 3s", 0, 5, "`Blink` is no rhythm", "`Fl(2) W 10s`"),
    ("FlX 3s", 0, 3, "`FlX` is no rhythm", "`Fl(2) W 10s`"),
    ("W Fl 10s", 0, 1, "rhythm stands first", "`Fl(2) W 10s`"),
    ("Gp Fl(2) 10s", 0, 2, "`Gp`", "Leave it out"),
    ("Gp.Fl.(2).10s", 0, 2, "`Gp`", "Leave it out"),
    ("Occ W 5s", 0, 3, "`Occ`", "`Oc`"),
    ("Qk Fl", 0, 2, "`Qk`", "`Q`"),
    ("V.Qk.Fl", 0, 1, "`V`", "`VQ`"),
    ("Int Qk Fl 10s", 0, 3, "`Int`", "`IQ`"),
    ("E Int 4s", 0, 1, "`E`", "`Iso`"),
    ("L Fl 10s", 0, 1, "`L`", "`LFl`"),
    ("Alt WR 10s", 0, 3, "`Alt`", "`Al`"),
    ("Al Occ WR 10s", 3, 3, "`Occ`", "`Oc`"),
    ("Fixed", 0, 5, "`Fixed`", "`F`"),
    ("Q Fl", 2, 2, "second rhythm", "one rhythm"),
    ("F Fl 10s", 2, 2, "one word", "`FFl`"),
    ("Fl Al WR 10s", 3, 2, "`Al` stands first", "`Al Fl WR 10s`"),
    ("Fl", 2, 1, "`Fl` needs its period", "`Fl W 10s`"),
    ("Fl(9) R ", 7, 1, "`Fl(9)` needs its period", "`Fl(9) R 15s`"),
    ("Oc(2+1) G", 9, 1, "needs its period", "`Oc(2+1) G 10s`"),
    ("Q(9)", 4, 1, "`Q(9)` needs its period", "`Q(9) W 10s`"),
    ("Q(6)+LFl", 8, 1, "needs its period", "`Q(6)+LFl W 10s`"),
    ("IQ", 2, 1, "needs its period", "`IQ W 10s`"),
    ("Mo(A)", 5, 1, "needs its period", "`Mo(A) W 10s`"),
    ("Al WR", 5, 1, "`Al` needs its period", "`Al WR 10s`"),
    ("Fl(3) 4s", 6, 2, "too short for 3 flashes", "Write 4.5s or more."),
    ("Oc(2) W 3.5s", 8, 4, "too short for 2 eclipses", "Write 3.7s or more."),
    ("LFl 4s", 4, 2, "too short for a flash of 2 s", "Write 4.1s or more."),
    ("LFl(2) 9s", 7, 2, "too short", "Write 10s or more."),
    ("Q(9) 9.5s", 5, 4, "too short for 9 flashes of `Q`", "Write 9.6s or more."),
    ("Q(6)+LFl 9s", 9, 2, "too short for 6 flashes and one of 2 s", "Write 9.2s or more."),
    ("Q(2)+LFl 5.6s", 9, 4, "too short for 2 flashes and one of 2 s", "Write 5.7s or more."),
    ("Fl+LFl 4.8s", 7, 4, "too short", "Write 4.9s or more."),
    ("IQ 4s", 3, 2, "too short", "Write 4.5s or more."),
    ("Mo(A) 2s", 6, 2, "too short for Morse A", "Write 2.4s or more."),
    ("Al WR 1.9s", 6, 4, "too short", "Write 2s or more."),
    ("Oc 1.2s", 3, 4, "50 a minute", "more than 1.2s"),
    ("Iso 1s", 4, 2, "60 a minute", "more than 1.2s"),
    ("Q 10s", 2, 3, "without a break, 50 to 79", "`Q(3) 10s`"),
    ("Q 0.75s", 2, 5, "would be 80", "Leave the period out"),
    ("F 10s", 2, 3, "no period", "Leave it out"),
    ("Fl(1) 4s", 2, 3, "group of one", "Write `Fl`."),
    ("Q(1) 4s", 1, 3, "group of one", "Write `Fl`."),
    ("Fl(2+2) 9s", 2, 5, "repeat themselves", "`Fl(2)`"),
    ("Fl(2+1+2+1) 30s", 2, 9, "repeat themselves", "them once"),
    ("Fl(5+4+3+2+1) 90s", 2, 11, f"At most {GROUPS} groups", "fewer"),
    ("Fl(20+1) 90s", 2, 6, f"{FLASHES} flashes", "fewer"),
    ("Fl(21) 90s", 3, 2, f"1 to {FLASHES} flashes", "`Fl(2)`"),
    ("Fl(0) 4s", 3, 1, "1 to", "`Fl(2)`"),
    ("Fl(2+) 4s", 5, 1, "how many", "`Fl(2+1)`"),
    ("Fl(two) 4s", 3, 1, "how many", "`Fl(2)`"),
    ("Fl(2;1) 4s", 4, 1, "numbers joined by `+`", "`Fl(2+1)`"),
    ("Fl(2", 2, 1, "never closed", "`Fl(2)`"),
    ("Iso(2) 8s", 3, 3, "`Iso` has no groups", "Leave the brackets out"),
    ("IQ(3) 8s", 2, 3, "`IQ` has no groups", "Leave the brackets out"),
    ("Fl W(2) 10s", 4, 1, "right behind the rhythm", "`Fl(2) W 10s`"),
    ("Fl+Oc 10s", 2, 3, "not joined", "`Q(6)+LFl 15s`"),
    ("Fl(2+1)+LFl 20s", 7, 4, "not joined", "`Q(6)+LFl 15s`"),
    ("Fl+ 10s", 2, 2, "not joined", "`Q(6)+LFl 15s`"),
    ("Q+LFl 15s", 1, 4, "without a break", "`Q(6)+LFl`"),
    ("Fl(2)+LFl(2) 15s", 9, 1, "right behind the rhythm", "`Q(6)+LFl W 15s`"),
    ("Mo 8s", 3, 1, "needs its Morse letters", "`Mo(A) W 8s`"),
    ("Mo(?) 8s", 3, 1, "letters or figures", "`Mo(A) W 8s`"),
    ("Mo() 8s", 2, 2, "letters or figures", "`Mo(A) W 8s`"),
    ("Mo(ABCD) 90s", 2, 6, f"one to {LETTERS} letters", "`Mo(A) W 8s`"),
    ("Mo(A 8s", 2, 1, "never closed", "`Mo(A) W 8s`"),
    ("Fl white 10s", 3, 5, "`white`", "Write `W`."),
    ("Fl B 10s", 3, 1, "`B`", "Write `Bu`."),
    ("Fl P 10s", 3, 1, "`P` means nothing", "W, R, G"),
    ("Fl 10s W", 7, 1, "before the period", "`Fl W 10s`"),
    ("Fl(2)WRG.10s", 5, 3, "sectors", "`Al Fl WRG 15s`"),
    ("F WR", 2, 2, "sectors", "`Al WR 15s`"),
    ("FFl WR 10s", 4, 2, "sectors", "`Al WR 15s`"),
    ("Fl WW 10s", 3, 2, "sectors", "`W`"),
    ("Al W 10s", 3, 1, "two or more", "`Al WR 10s`"),
    ("Al 10s", 3, 1, "two or more", "`Al WR 10s`"),
    ("Al WRGYWRG 70s", 3, 7, f"at most {COLOURS}", "`Al WR 10s`"),
    ("Al Fl(3) WR 20s", 9, 2, "3 flashes cannot be shared out among 2 colours", "2 divides"),
    ("Al F WR 9s", 3, 1, "not read with `F`", "`Al WR 10s`"),
    ("Al Mo(A) WR 9s", 3, 2, "not read with `Mo`", "`Al Fl WR 10s`"),
    ("Fl 10", 3, 2, "10 of what?", "`10s`"),
    ("Fl 10min", 3, 5, "seconds", "`10s`"),
    ("Fl 1.2345s", 3, 7, "at most 3 decimals", "`7.5s`"),
    ("Fl 0s", 3, 2, "longer than nothing", "`10s`"),
    ("Fl 120.001s", 3, 8, "at most 120s", "`10s`"),
    ("Fl -5s", 3, 1, "`-` means nothing", "`Fl(2) W 10s`"),
    ("Fl .5s", 3, 1, "`.` means nothing", "`Fl(2) W 10s`"),
    ("Fl\x07 5s", 2, 1, "This sign means nothing", "`Fl(2) W 10s`"),
    ("Fl(2) 10s 12m 8M", 10, 3, "`12m` is a height or a range", "Leave heights and ranges out"),
    ("Fl(2)10s12m8M", 8, 3, "`12m` is a height or a range", "Leave heights and ranges out"),
    ("Fl 15s 7-5M", 7, 4, "`7-5M`", "Leave heights and ranges out"),
    ("Fl 8M", 3, 2, "`8M`", "Leave heights and ranges out"),
    ("Fl 10s 5s", 7, 1, "Nothing stands behind the period", "Leave it out"),
    ("Fl 10s horn", 7, 4, "Nothing stands behind the period", "Leave it out"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "column", "length", "what", "instead"), CASES, ids=[repr(case[0]) for case in CASES])
def test_what_is_no_character_is_answered(text: str, column: int, length: int, what: str, instead: str) -> None:
    told = refused(text)
    assert (told.column, told.length) == (column, length), (told.what, told.instead)
    assert what in told.what
    assert instead in told.instead


@pytest.mark.parametrize("text", [case[0] for case in CASES])
def test_what_an_answer_offers_is_read(text: str) -> None:
    told = refused(text)
    for offered in re.findall(r"`([A-Z][^`]*s)`", told.instead):
        assert read(offered).text
    least = re.search(r"Write ([0-9.]+)s or more", told.instead)
    if least:
        longer = text[: told.column] + least[1] + "s"
        assert read(longer).period_us == round(float(least[1]) * S)
        assert refused(f"{text[: told.column]}{float(least[1]) - 0.101:g}s").what  # and not much less would do
    for sentence in (told.what, told.instead):
        assert sentence[0] == "`" or sentence[0].isdigit() or sentence[0].isupper()
        assert sentence.endswith((".", "?"))
        assert not re.search(r"token|pars|syntax|regex|python|None", sentence, re.IGNORECASE)


def test_a_text_has_a_limit() -> None:
    told = refused("Fl W 10s".ljust(TEXT + 1))
    assert told.column == TEXT
    assert read("Fl W 10s".ljust(TEXT)).text == "Fl W 10s"


# --- whatever is written --------------------------------------------------------------------------------------------

PARTS = [
    "F",
    "Fl",
    "LFl",
    "Oc",
    "Iso",
    "Q",
    "VQ",
    "UQ",
    "IQ",
    "IVQ",
    "IUQ",
    "Mo",
    "FFl",
    "FLFl",
    "Al",
    "Gp",
    "Occ",
    "Qk",
    "fl",
    "oc",
    "(",
    ")",
    "(2)",
    "(3)",
    "(2+1)",
    "(9)",
    "(1)",
    "(A)",
    "(SOS)",
    "+",
    "+LFl",
    "+Fl",
    "W",
    "R",
    "G",
    "Y",
    "Bu",
    "Vi",
    "WR",
    "WRG",
    "b",
    "white",
    "1s",
    "1.2s",
    "4s",
    "5s",
    "7.5s",
    "10,5",
    "10s",
    "15s",
    "60s",
    "120s",
    "3",
    "s",
    "sec",
    "min",
    "12m",
    "8M",
    ".",
    ",",
    "-",
    "é",
    "/",
    "\t",
]
TEXTS = st.one_of(
    st.lists(st.sampled_from(PARTS), max_size=7).map("".join),
    st.lists(st.sampled_from(PARTS), max_size=7).map(" ".join),
    st.text(max_size=20),
    st.text("FlOcQVUIsoMAW RGBu()+0123456789.,s", max_size=16),
)
COUNTS = st.lists(st.integers(1, 9), min_size=1, max_size=3).map(lambda counts: f"({'+'.join(map(str, counts))})")
PERIODS = st.one_of(
    st.just(""), st.integers(1, 130_000).map(lambda ms: f"{ms / 1000:g}s"), st.integers(1, 60).map("{}s".format)
)
WELL_FORMED = st.builds(
    "{}{}{}{} {} {}".format,
    st.sampled_from(["", "", "Al "]),
    st.sampled_from(
        ["F", "Fl", "LFl", "Oc", "Iso", "Q", "VQ", "UQ", "IQ", "IVQ", "IUQ", "FFl", "FLFl", "Mo(A)", "Mo(K9)"]
    ),
    st.one_of(st.just(""), COUNTS),
    st.sampled_from(["", "", "", "+LFl"]),
    st.sampled_from(["", "W", "R", "WR", "WRG", "GBuW"]),
    PERIODS,
)


def keeps_its_definition(light: Character) -> None:
    """The references' rows, by what is written in front."""
    rhythm = light.text.removeprefix("Al ").split(" ")[0]
    lit, dark = sum(lights(light)), sum(darks(light))
    name = rhythm.split("(")[0].split("+")[0]
    if light.text.startswith("Al ") and re.fullmatch("(Bu|Vi|Or|Am|[WRGY])+", name):
        name = "F"
    rate = light.flashes_a_minute
    if name in ("Fl", "LFl", "FFl", "FLFl"):
        assert lit < dark
    if name in ("Fl", "FFl") and "LFl" not in rhythm:
        assert all(us < 2 * S for us in lights(light))
    if name in ("LFl", "FLFl"):
        assert all(us >= 2 * S for us in lights(light))
    if rhythm.endswith("+LFl"):
        assert lights(light)[-1] >= 2 * S > max(lights(light)[:-1])
        assert lit < dark
    if name in ("Fl", "Oc", "Iso") and "(" not in rhythm:
        assert rate < 50 or rhythm.endswith("+LFl")
    if name == "Oc":
        assert lit > dark
        assert len(set(darks(light))) == 1
    if name == "Iso":
        assert lit == dark
    if name == "F":
        assert dark == 0
    if name in QUICK and rhythm == name:
        assert {"Q": 50, "VQ": 80, "UQ": 160}[name] <= rate < {"Q": 80, "VQ": 160, "UQ": 301}[name]
    if name.startswith("I") and name != "Iso":
        assert darks(light)[0] > 2 * max(darks(light)[1:])
    if name in ("Fl", "FFl") and "(" in rhythm:  # within a group, too
        assert min(after - before for before, after in pairwise(onsets(light))) > 1.2 - 1e-9


def grouped_clearly(light: Character) -> None:
    """The eclipses (or, of an occulting light, the lights) between groups are clearly longer than those inside."""
    found = re.search(r"(\w+)\(([0-9+]+)\)(\+LFl)?", light.text)
    if not found:
        return
    counts = [int(count) for count in found[2].split("+")]
    inside_after: list[bool] = []
    for count in counts:
        inside_after += [True] * (count - 1) + [False]
    if found[3]:
        inside_after = [True] * (counts[0]) + [False]
    gaps = lights(light) if found[1] == "Oc" else [*darks(light)[1:], darks(light)[0]]
    assert len(gaps) == len(inside_after)
    inside = [us for us, within in zip(gaps, inside_after, strict=True) if within]
    between = [us for us, within in zip(gaps, inside_after, strict=True) if not within]
    assert max(between) - min(between) < 10
    if inside:
        assert min(between) >= 1.99 * max(inside)


def holds_together(light: Character) -> None:
    assert sum(phase.us for phase in light.phases) == light.period_us
    assert all(phase.us > 0 for phase in light.phases)
    assert all(0 < phase.level <= 1 for phase in light.phases)
    never_dark = all(phase.colour for phase in light.phases)
    assert never_dark or light.phases[0].colour is None  # an eclipse first, as the IHO's examples
    assert never_dark or not any(a.colour is None and b.colour is None for a, b in pairwise(light.phases))
    assert read(light.text) == light
    whole = light.script()
    assert whole.length_us == light.period_us
    assert all(leg.ease is Ease.HOLD for leg in whole.legs)
    for colour in light.colours:
        lamp = light.script(colour)
        assert lamp.length_us == light.period_us
        assert any(leg.to > 0 for leg in lamp.legs)
        assert all(before.to != after.to for before, after in pairwise(lamp.legs))
    keeps_its_definition(light)
    grouped_clearly(light)


def answered(text: str) -> None:
    told = None
    try:
        light = read(text)
    except NotRead as error:
        told = error
    if told is None:
        holds_together(light)
        return
    assert 0 <= told.column <= len(text)
    assert told.length >= 1
    assert told.column + told.length <= len(text) + 1
    assert told.what
    assert told.instead
    assert str(told) == f"{told.what} {told.instead}"


@settings(max_examples=600)
@given(TEXTS)
def test_any_text_is_read_or_answered(text: str) -> None:
    answered(text)


@settings(max_examples=600)
@given(WELL_FORMED)
def test_any_light_keeps_its_definition_or_is_answered(text: str) -> None:
    answered(text)


def test_most_of_what_is_well_formed_is_read() -> None:
    """So that the test above does not pass by refusing."""
    rhythms = [
        "Fl",
        "Fl(2)",
        "Fl(3)",
        "Fl(2+1)",
        "LFl",
        "Oc",
        "Oc(2)",
        "Oc(3)",
        "Iso",
        "Q(3)",
        "Q(6)+LFl",
        "VQ(9)",
        "IQ",
        "FFl",
        "Mo(A)",
    ]
    count = 0
    for rhythm in rhythms:
        for tenths in (100, 125, 150, 200, 333, 600, 1200):
            for colour in ("", "W", "Bu"):
                holds_together(read(f"{rhythm} {colour} {tenths / 10:g}s"))
                count += 1
    for rhythm in ("", "Fl ", "Oc ", "Iso ", "LFl ", "Fl(6) ", "Oc(6) ", "Q(6) "):
        for colours in ("WR", "WRG", "RGBu"):
            holds_together(read(f"Al {rhythm}{colours} 59.999s"))
            count += 1
    assert count == 15 * 7 * 3 + 8 * 3


def test_the_longest_and_busiest_lights_still_fit_in_a_script() -> None:
    busiest = read(f"IUQ {PERIOD_US // S}s")
    holds_together(busiest)
    assert len(busiest.script().legs) < 1000
