"""Words and replies of the angle-bracket serial text. From memory, all of it; confidence as the rows say."""

from __future__ import annotations

import string
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.codec import LONGEST_FRAME, Decoder, Frame, encode
from adapters.dialect_words import LONGEST_WORDS, OPERATIONS, WORDS, check
from adapters.dialects import (
    DIALECTS,
    EARLY,
    LATE,
    BadWords,
    Banner,
    DetectorIs,
    Dialect,
    NoWords,
    Other,
    OutputIs,
    PowerIs,
    Refused,
    Remark,
    Said,
    Took,
    dialect_of,
    say,
    understand,
)
from engine.layout import Link

BOTH = pytest.mark.parametrize("dialect", [EARLY, LATE], ids=lambda one: one.name)
# what a wire may ask for at the most: every placeholder has room in a command
WIDEST = {
    "act": 1,
    "aspect": 255,
    "board": 510,
    "byte": 255,
    "degrees": 180,
    "id": 32_767,
    "linear": 2_044,
    "pin": 32_767,
    "port": 3,
    "pullup": 1,
    "us": 2_400,
    "value": 4_095,
}


# --- what is said --------------------------------------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize(
    ("operation", "values", "text"),
    [
        ("accessory", {"board": 511, "port": 3, "act": 1}, "a 511 3 1"),  # high
        ("pin", {"pin": 12, "act": 0}, "Z 12 0"),  # high
        ("define pin", {"pin": 12}, "Z 12 12 0"),  # high
        ("define detector", {"id": 40, "pin": 40, "pullup": 1}, "S 40 40 1"),  # high
        ("ask detectors", {}, "Q"),  # middling
        ("power on", {}, "1"),  # high
        ("power off", {}, "0"),  # high
        ("status", {}, "s"),  # high
    ],
)
def test_what_both_dialects_say(dialect: Dialect, operation: str, values: dict[str, int], text: str) -> None:
    assert say(dialect, operation, **values) == text


@pytest.mark.parametrize(
    ("operation", "values", "text"),
    [
        ("linear accessory", {"linear": 2040, "act": 1}, "a 2040 1"),  # middling
        ("aspect", {"linear": 5, "aspect": 4}, "A 5 4"),  # low
        ("level", {"pin": 101, "value": 4095, "byte": 255}, "z 101 4095"),  # low
        ("servo", {"pin": 101, "us": 1500, "value": 307, "degrees": 93}, "z 101 1500"),  # low
        ("stop", {}, "!"),  # low to middling
    ],
)
def test_what_the_late_dialect_alone_says(operation: str, values: dict[str, int], text: str) -> None:
    assert say(LATE, operation, **values) == text
    with pytest.raises(NoWords):
        say(EARLY, operation, **values)


@BOTH
def test_built_in_words_are_good_words(dialect: Dialect) -> None:
    for operation, template in dialect.words.items():
        check(operation, template)


def test_every_operation_has_built_in_words() -> None:
    assert set(OPERATIONS) == set().union(*WORDS.values())


def test_every_placeholder_has_room_in_a_command() -> None:
    names = {name for one in OPERATIONS.values() for name in (*one.every, *one.one_of)}
    assert names == set(WIDEST)
    for operation, one in OPERATIONS.items():
        used = (*one.every, *one.one_of)
        template = " ".join(f"{{{name}}}" for name in used).rjust(LONGEST_WORDS, "x")
        check(operation, template)
        encode(say(dialect_of(Link("main", words=((operation, template),))), operation, **WIDEST))


# --- words of one's own --------------------------------------------------------------------------------------------


def test_words_are_laid_over_key_by_key() -> None:
    own = dialect_of(Link("main", dialect="late", words=(("servo", " y {pin} {degrees} "), ("stop", "none"))))
    assert own.name == "late"
    assert say(own, "servo", pin=3, us=1500, value=307, degrees=93) == "y 3 93"
    assert "stop" not in own.words
    changed = {key for key in LATE.words if own.words.get(key) != LATE.words[key]}
    assert changed == {"servo", "stop"}
    assert own.answers == LATE.answers


def test_the_built_in_dialects_stay_as_they_are() -> None:
    before = {name: dict(one.words) for name, one in DIALECTS.items()}
    dialect_of(Link("main", words=(("status", "s1"), ("accessory", "none"))))
    assert {name: dict(one.words) for name, one in DIALECTS.items()} == before
    with pytest.raises(TypeError):
        EARLY.words["status"] = "x"  # type: ignore[index]


@BOTH
def test_a_link_without_words_of_its_own_has_its_dialect(dialect: Dialect) -> None:
    assert dialect_of(Link("main", dialect=dialect.name)) is dialect


WRONG: Sequence[tuple[str, str, str, str]] = [
    ("acessory", "a {board}", "a link has no words for `acessory`", "Write `accessory`"),
    ("xyzzy", "x", "a link has no words for `xyzzy`", "They are `accessory`, `linear accessory`, `aspect`, `pin`"),
    ("pin", "", "the words for `pin` say nothing", "Write `none` if the far end has no words for it"),
    ("pin", "  ", "the words for `pin` say nothing", "or delete the line"),
    ("pin", "<Z {pin} {act}>", "the words for `pin` have angle brackets", "Leave them out"),
    ("pin", "Z {pin} {act}>", "the words for `pin` have angle brackets", "Leave them out"),
    ("pin", "Z {pin} {act} é", "have signs that a station cannot read", "Write plain letters"),
    ("pin", "Z {pin}\n{act}", "have signs that a station cannot read", "in one line"),
    ("pin", "Z {pin} {act}" + "x" * LONGEST_WORDS, f"are longer than {LONGEST_WORDS} signs", "shorten them"),
    ("pin", "Z {pin {act}", "have a brace without its fellow", "Write a number as `{pin}`"),
    ("pin", "Z pin} {act}", "have a brace without its fellow", "Write a number as `{pin}`"),
    ("pin", "Z {{pin}} {act}", "have a brace without its fellow", "Write a number as `{pin}`"),
    ("pin", "Z {pni} {act}", "the words for `pin` have no number `{pni}`", "Write `{pin}`"),
    ("pin", "Z {pin} {act} {board}", "have no number `{board}`", "It has `{pin}`, `{act}`"),
    ("pin", "Z {pin!r} {act}", "have no number `{pin!r}`", "Write `{pin}`"),
    ("pin", "Z {pin:09} {act}", "have no number `{pin:09}`", "Write `{pin}`"),
    ("pin", "Z {pin.real} {act}", "have no number `{pin.real}`", "Write `{pin}`"),
    ("pin", "Z {} {act}", "have no number `{}`", "It has `{pin}`, `{act}`"),
    ("status", "s {pin}", "have no number `{pin}`", "It has no number: write the words alone"),
    ("pin", "Z {pin}", "the words for `pin` do not say `{act}`", "Write for example `Z {pin} {act}`"),
    ("pin", "Z", "the words for `pin` do not say `{pin}`, `{act}`", "Write for example `Z {pin} {act}`"),
    ("accessory", "a {board}", "do not say `{port}`, `{act}`", "Write for example `a {board} {port} {act}`"),
    ("level", "z {pin}", "the words for `level` do not say how much", "Write `{value}` or `{byte}` in them"),
    ("servo", "z {pin}", "do not say how much", "Write `{us}` or `{value}` or `{degrees}` in them"),
    ("level", "z {value}", "do not say `{pin}`", "Write for example `z {pin} {value}`"),
]


@pytest.mark.parametrize(("operation", "template", "what", "instead"), WRONG)
def test_words_that_cannot_be_used(operation: str, template: str, what: str, instead: str) -> None:
    with pytest.raises(BadWords) as caught:
        dialect_of(Link("main", words=((operation, template),)))
    assert caught.value.operation == operation
    assert what in caught.value.what
    assert instead in caught.value.instead
    assert str(caught.value) == f"{caught.value.what}. {caught.value.instead}"


def test_a_dialect_that_there_is_not() -> None:
    for written, instead in (("earyl", "Write early"), ("klingon", "Write early or late")):
        with pytest.raises(BadWords, match=f"no dialect `{written}`") as caught:
            dialect_of(Link("main", dialect=written))
        assert caught.value.instead == instead


@given(st.sampled_from(sorted(OPERATIONS)), st.text(st.sampled_from(" {}<>!:.[]0pinactvlue\n" + string.ascii_letters)))
def test_words_are_refused_or_can_be_said(operation: str, template: str) -> None:
    """Whatever a person writes: one clear refusal, or a command that a station gets."""
    try:
        dialect = dialect_of(Link("main", words=((operation, template),)))
    except BadWords as bad:
        told = bad.what, bad.instead
    else:
        told = ("", "")
        if operation in dialect.words:
            encode(say(dialect, operation, **WIDEST))
    assert all(told) or not any(told)


# --- what is understood --------------------------------------------------------------------------------------------

ANSWERS: Sequence[tuple[str, Said]] = [
    ("p1", PowerIs("on")),  # high
    ("p0", PowerIs("off")),
    ("p2", PowerIs("overload")),  # low
    ("p1 MAIN", PowerIs("on")),  # newer dialects add a track's name
    ("p0 MAIN", PowerIs("off")),
    ("p1 A", PowerIs("on")),
    ("p0 PROG", Other("p0 PROG")),  # a programming track says nothing of the layout
    ("p3", Other("p3")),
    ("p", Other("p")),
    ("Q 40", DetectorIs(40, True)),  # high
    ("q 40", DetectorIs(40, False)),
    ("Q40", DetectorIs(40, True)),
    ("Q 40 40 1", Other("Q 40 40 1")),  # how a detector is defined, and not that it is active
    ("Q", Other("Q")),
    ("Q x", Other("Q x")),
    ("Q 1234567", Other("Q 1234567")),
    ("Q 4_0", Other("Q 4_0")),
    ("H 12 1", OutputIs("accessory", 12, 1)),  # high
    ("H 12 0", OutputIs("accessory", 12, 0)),
    ("H 12 3 2 1", OutputIs("accessory", 12, 1)),  # low: with its board and port
    ("H 12 2", Other("H 12 2")),
    ("H 12", Other("H 12")),
    ("H 12 3 1", Other("H 12 3 1")),
    ("Y 20 1", OutputIs("pin", 20, 1)),  # high
    ("Y 20 20 0 0", OutputIs("pin", 20, 0)),  # low: with its pin and flags
    ("Y 20 on", Other("Y 20 on")),
    ("O", Took()),  # high
    ("O 1", Other("O 1")),
    ("X", Refused()),  # high
    ("X 7", Refused()),
    ("Xylophone", Other("Xylophone")),
    ("iWHATEVER 1.2 / board", Banner("WHATEVER 1.2 / board")),  # high that it comes, free text
    ("i", Banner("")),
    ("* a short on the track *", Remark("a short on the track")),  # low to middling
    ("", Other("")),
    ("z 12", Other("z 12")),
    ("x", Other("x")),
    ("P1", Other("P1")),
]


@BOTH
@pytest.mark.parametrize(("text", "said"), ANSWERS)
def test_replies(dialect: Dialect, text: str, said: Said) -> None:
    found = understand(dialect, Frame(text))
    assert type(found) is type(said)
    assert found == said


@BOTH
def test_replies_are_known_by_themselves_and_not_by_what_was_asked(dialect: Dialect) -> None:
    """A detector reports between a definition and its answer, in one read with it."""
    heard = [one for one in Decoder().feed(b"<Q 3>\r\n<O><q 4><Y 20 1>\n<X>") if isinstance(one, Frame)]
    said = [understand(dialect, frame) for frame in heard]
    assert said == [DetectorIs(3, True), Took(), DetectorIs(4, False), OutputIs("pin", 20, 1), Refused()]
    assert [type(one) for one in said] == [DetectorIs, Took, DetectorIs, OutputIs, Refused]


@BOTH
@given(text=st.text(st.sampled_from("pQqHYOXi* 0123456789-+_.PROGMAIN\n\t"), max_size=30))
def test_any_frame_means_something_and_breaks_nothing(dialect: Dialect, text: str) -> None:
    found = understand(dialect, Frame(text.strip()))
    if isinstance(found, DetectorIs):
        assert text.split() in ([f"Q{found.id}"], [f"q{found.id}"]) or len(text.split()) <= 2
    if isinstance(found, OutputIs):
        assert found.value in (0, 1)


@BOTH
def test_a_number_as_long_as_a_frame_breaks_nothing(dialect: Dialect) -> None:
    text = "Q " + "9" * (LONGEST_FRAME - 2)
    assert understand(dialect, Frame(text)) == Other(text)
