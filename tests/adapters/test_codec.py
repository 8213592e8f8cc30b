"""Bytes to frames: any bytes in any cuts, never an exception, never growth."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from adapters.codec import LONGEST_COMMAND, LONGEST_FRAME, SAMPLE, Decoder, Frame, Noise, encode

LIMIT = 24  # of the decoders under test: short, so that frames that are too long come up

# what lines are made of, so that random bytes are often nearly right
BITS = (
    b"<",
    b">",
    b"<Q 12>",
    b"<q 12>",
    b"<p1 MAIN>",
    b"\r\n",
    b"\n",
    b" ",
    b"a",
    b"\x00",
    b"\xff",
    b"\xc3\xa9",
    b"7" * 30,
)
BYTES = st.lists(st.sampled_from(BITS) | st.binary(max_size=6), max_size=40).map(b"".join)


def decoded(pieces: Sequence[bytes], limit: int = LIMIT) -> list[Frame | Noise]:
    decoder = Decoder(limit)
    found: list[Frame | Noise] = []
    for piece in pieces:
        found += decoder.feed(piece)
        assert decoder.held <= limit
    return found


def frames(found: Sequence[Frame | Noise]) -> list[str]:
    return [one.text for one in found if isinstance(one, Frame)]


def noise(found: Sequence[Frame | Noise]) -> int:
    return sum(one.count for one in found if isinstance(one, Noise))


def by_hand(data: bytes, limit: int = LIMIT) -> tuple[list[str], int]:
    """The same one byte at a time, written as the rules are said."""
    texts: list[str] = []
    dropped, body, inside = b"", b"", False
    for byte in (bytes((value,)) for value in data):
        if byte == b"<":
            if inside:
                dropped += b"<" + body
            body, inside = b"", True
        elif not inside:
            dropped += byte
        elif byte == b">":
            if re.fullmatch(rb"[\x20-\x7e\t\r\n]*", body):
                texts.append(body.decode().strip())
            else:
                dropped += b"<" + body + b">"
            inside = False
        else:
            body += byte
            if len(body) > limit:
                dropped, inside = dropped + b"<" + body, False
    return texts, len(re.sub(rb"[ \t\r\n]", b"", dropped))


@given(BYTES)
@example(b"<" + b"1" * LIMIT + b">")
@example(b"<" + b"1" * (LIMIT + 1) + b">")
@example(b"<" + b"1" * (LIMIT + 1) + b"<s>")
def test_any_bytes_give_what_the_rules_say(data: bytes) -> None:
    found = decoded([data])
    assert (frames(found), noise(found)) == by_hand(data)


@given(BYTES, st.data())
def test_any_cuts_give_the_same(data: bytes, draw: st.DataObject) -> None:
    cuts = sorted(draw.draw(st.lists(st.integers(0, len(data)), max_size=8)))
    pieces = [data[low:high] for low, high in zip([0, *cuts], [*cuts, len(data)], strict=True)]
    found, one_by_one = decoded(pieces), decoded([bytes((byte,)) for byte in data])
    assert frames(found) == frames(one_by_one) == frames(decoded([data]))
    assert noise(found) == noise(one_by_one) == noise(decoded([data]))


@settings(max_examples=300)
@given(st.binary(max_size=2_000))
def test_raw_bytes_never_raise_and_never_grow(data: bytes) -> None:
    decoder = Decoder()
    for start in range(0, len(data), 7):
        for one in decoder.feed(data[start : start + 7]):
            assert isinstance(one, Frame) or (one.count > 0 and 0 < len(one.sample) <= SAMPLE)
        assert decoder.held <= LONGEST_FRAME


def test_an_endless_frame_is_never_held() -> None:
    decoder = Decoder()
    told = noise(decoder.feed(b"<"))
    for _ in range(5_000):
        told += noise(decoder.feed(b"x" * 100))
        assert decoder.held <= LONGEST_FRAME
    assert told == 5_000 * 100 + 1
    assert frames(decoder.feed(b"><s>")) == ["s"]


def test_noise_without_an_end_is_told_as_it_comes_and_kept_short() -> None:
    found = decoded([b"\xf0\x0f" * 50_000])
    assert found == [Noise(100_000, (b"\xf0\x0f" * 8))]


def test_of_a_stretch_of_noise_its_beginning_is_kept() -> None:
    found = decoded([b"x" * 10 + b"\r\n<" + b"y" * 10 + b"<s>z"])
    assert found == [Noise(21, b"x" * 10 + b"<" + b"y" * (SAMPLE - 11)), Frame("s"), Noise(1, b"z")]


def test_a_frame_of_the_greatest_length_may_wait_for_its_end() -> None:
    assert decoded([b"<" + b"1" * LIMIT]) == []
    assert decoded([b"<" + b"1" * LIMIT, b">"]) == [Frame("1" * LIMIT)]


def test_an_open_bracket_inside_a_frame_begins_again() -> None:
    assert decoded([b"<Q 1<Q 2>"]) == [Noise(3, b"<Q1"), Frame("Q 2")]
    assert decoded([b"<<<<s>"]) == [Noise(3, b"<<<"), Frame("s")]


def test_the_longest_frame_is_read_and_a_longer_one_is_noise() -> None:
    assert frames(decoded([b"<" + b"1" * LIMIT + b">"])) == ["1" * LIMIT]
    found = decoded([b"<" + b"1" * (LIMIT + 1) + b"><s>"])
    assert found == [Noise(LIMIT + 3, b"<" + b"1" * (SAMPLE - 1)), Frame("s")]


@pytest.mark.parametrize("ending", [b"", b"\r", b"\n", b"\r\n", b"\r\n\r\n", b" "])
def test_lines_end_as_they_like(ending: bytes) -> None:
    assert decoded([b"<Q 1>" + ending + b"<q 1>" + ending]) == [Frame("Q 1"), Frame("q 1")]


def test_many_frames_in_one_read() -> None:
    data = b"".join(b"<Q %d>\r\n" % number for number in range(10_000))
    assert decoded([data]) == [Frame(f"Q {number}") for number in range(10_000)]


def test_blanks_at_the_ends_of_a_frame_go_and_those_inside_stay() -> None:
    assert decoded([b"< * two\nlines * \r>"]) == [Frame("* two\nlines *")]


@pytest.mark.parametrize("body", [b"Q \xb2", b"Q 1\x00", b"\xd9\xa1", b"Q\x7f"])
def test_a_frame_that_is_not_ascii_is_noise(body: bytes) -> None:
    found = decoded([b"<" + body + b"><s>"])
    assert [type(one) for one in found] == [Noise, Frame]
    assert frames(found) == ["s"]


def test_another_connection_does_not_end_what_this_one_began() -> None:
    decoder = Decoder()
    decoder.feed(b"<Q 1")
    decoder.forget()
    assert decoder.held == 0
    assert decoder.feed(b"2><s>") == [Noise(2, b"2>"), Frame("s")]


def test_a_command_gets_its_brackets() -> None:
    assert encode("a 10 3 1") == b"<a 10 3 1>"
    assert len(encode("x" * LONGEST_COMMAND)) == 64  # a station's receive buffer (from memory)


@given(
    st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E, exclude_characters="<>"), max_size=LONGEST_COMMAND)
)
def test_what_is_sent_is_read_again(text: str) -> None:
    if text.strip():
        assert decoded([encode(text)], LONGEST_FRAME) == [Frame(text.strip())]


@pytest.mark.parametrize("text", ["", "  ", "a<1", "a 1>", "a\n1", "tür", "x" * (LONGEST_COMMAND + 1), "a\x7f"])
def test_what_no_station_could_read_is_not_sent(text: str) -> None:
    with pytest.raises(ValueError, match="no command"):
        encode(text)
