"""Accessory packets and their time, against the standards: the source stands beside each check."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.packets import (
    BadNumber,
    Seat,
    basic,
    bytes_us,
    commands_a_second,
    extended,
    line_us,
    linear,
    mean_us,
    most,
    numbers,
    packet_us,
    told,
)
from engine.layout import Link

# NMRA S-9.2.1 (2012) D for the bytes; RCN-213 (from memory) for the first style of numbering and for what R means.
# number: board, port, R=0, R=1 counted from board 1 port 0; the same counted from board 0 port 0
TABLE = {
    1: ((1, 0, "81 F8 79", "81 F9 78"), (0, 0, "80 F8 78", "80 F9 79")),
    4: ((1, 3, "81 FE 7F", "81 FF 7E"), (0, 3, "80 FE 7E", "80 FF 7F")),
    5: ((2, 0, "82 F8 7A", "82 F9 7B"), (1, 0, "81 F8 79", "81 F9 78")),
    61: ((16, 0, "90 F8 68", "90 F9 69"), (15, 0, "8F F8 77", "8F F9 76")),
    62: ((16, 1, "90 FA 6A", "90 FB 6B"), (15, 1, "8F FA 75", "8F FB 74")),
    64: ((16, 3, "90 FE 6E", "90 FF 6F"), (15, 3, "8F FE 71", "8F FF 70")),
    253: ((64, 0, "80 E8 68", "80 E9 69"), (63, 0, "BF F8 47", "BF F9 46")),
    2040: ((510, 3, "BE 8E 30", "BE 8F 31"), (509, 3, "BD 8E 33", "BD 8F 32")),
}
ROWS = [
    (number, from_one, board, port, output, text)
    for number, styles in TABLE.items()
    for from_one, (board, port, *texts) in zip((True, False), styles, strict=True)
    for output, text in enumerate(texts)
]
BOARDS = st.integers(0, 510)
PORTS = st.integers(0, 3)
BOTH = st.booleans()


@pytest.mark.parametrize(("number", "from_one", "board", "port", "output", "text"), ROWS)
def test_every_row_of_the_table(number: int, from_one: bool, board: int, port: int, output: int, text: str) -> None:
    assert numbers(number, from_one) == (board, port)
    assert linear(board, port, from_one) == number
    assert basic(board, port, output) == bytes.fromhex(text)


@given(BOARDS, PORTS, BOTH, BOTH)
def test_the_bits_are_where_the_standard_has_them(board: int, port: int, output: bool, active: bool) -> None:
    """S-9.2.1 D: 10AAAAAA 1AAACDDR EEEEEEEE; the upper bits of the address complemented; S-9.2: E is the XOR."""
    first, second, error = (f"{byte:08b}" for byte in basic(board, port, output, active))
    upper = "".join("10"[int(bit)] for bit in second[1:4])
    assert first[:2] == "10"
    assert second[0] == "1"
    assert int(upper + first[2:], 2) == board
    assert (second[4], int(second[5:7], 2), second[7]) == (str(int(active)), port, str(int(output)))
    assert int(first, 2) ^ int(second, 2) ^ int(error, 2) == 0


def test_no_two_commands_share_their_bytes() -> None:
    every = [basic(b, p, r, c) for b in range(511) for p in range(4) for r in (0, 1) for c in (0, 1)]
    assert len(set(every)) == len(every) == 511 * 16


def test_the_trap_of_board_63_is_an_ordinary_board() -> None:
    """`BF` alone is no broadcast: it is one only where the upper bits are 000 as sent (S-9.2.1)."""
    packet = basic(63, 0, 0)
    assert packet == bytes.fromhex("BF F8 47")
    assert packet[1] & 0x70 == 0x70


def test_nothing_that_is_made_is_a_broadcast() -> None:
    for board in range(511):
        first, second, _ = basic(board, 0, 0)
        assert not (first == 0xBF and second & 0x70 == 0)


# --- numbers -------------------------------------------------------------------------------------------------------


@given(BOTH, st.data())
def test_numbers_go_round(from_one: bool, draw: st.DataObject) -> None:
    number = draw.draw(st.integers(1, most(from_one)))
    assert linear(*numbers(number, from_one), from_one) == number


@given(BOARDS, PORTS)
def test_seats_go_round(board: int, port: int) -> None:
    assert numbers(linear(board, port, False), False) == (board, port)
    if board:
        assert numbers(linear(board, port, True), True) == (board, port)


@given(st.integers(1, 2040))
def test_the_two_styles_are_four_apart(number: int) -> None:
    """The well-known "offset by four": raw = user + 3 (RCN-213, from memory) against raw = user - 1."""
    assert numbers(number, True).raw == number + 3
    assert numbers(number, False).raw == number - 1


@pytest.mark.parametrize(("from_one", "last"), [(True, 2040), (False, 2044)])
def test_the_numbers_beyond_the_last_reach_everybody_and_are_refused(from_one: bool, last: int) -> None:
    assert most(from_one) == last
    assert numbers(last, from_one) == (510, 3)
    for number in range(last + 1, last + 5):
        with pytest.raises(BadNumber, match="every decoder") as caught:
            numbers(number, from_one)
        assert caught.value.instead == f"Write 1 to {last}"
    for number in (last + 5, 0, -1):
        with pytest.raises(BadNumber, match="there is no accessory"):
            numbers(number, from_one)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: basic(511, 0, 0), "every decoder"),
        (lambda: extended(4 * 511, 0), "every decoder"),
        (lambda: linear(511, 0, False), "every decoder"),
        (lambda: basic(512, 0, 0), "no board 512"),
        (lambda: basic(-1, 0, 0), "no board -1"),
        (lambda: basic(1, 4, 0), "no port 4"),
        (lambda: basic(1, -1, 0), "no port -1"),
        (lambda: linear(0, 3, True), "board 0"),
        (lambda: extended(4, 256), "no aspect 256"),
        (lambda: extended(4, -1), "no aspect -1"),
        (lambda: extended(-1, 0), "no board -1"),
    ],
)
def test_what_does_not_exist_is_refused(ask: Callable[[], object], words: str) -> None:
    with pytest.raises(BadNumber, match=words):
        ask()


@pytest.mark.parametrize(
    ("ask", "instead"),
    [
        (lambda: basic(511, 0, 0), "Write 0 to 510"),
        (lambda: basic(512, 0, 0), "Write 0 to 510"),
        (lambda: basic(1, 4, 0), "Write 0 to 3"),
        (lambda: extended(4, 256), "Write 0 to 255"),
    ],
)
def test_what_may_be_written_instead(ask: Callable[[], object], instead: str) -> None:
    with pytest.raises(BadNumber) as caught:
        ask()
    assert caught.value.instead == instead
    assert str(caught.value) == f"{caught.value.what}. {instead}"


def test_what_on_and_off_drive_is_a_setting() -> None:
    """Dialects differ (from memory): the output of the pair, always activated; or whether the output is activated."""
    seat = Seat(1, 0)
    by_output, by_activation = Link("main"), Link("main", by_output=False)
    assert [told(by_output, seat, on).hex(" ").upper() for on in (0, 1)] == ["81 F8 79", "81 F9 78"]
    assert [told(by_activation, seat, on).hex(" ").upper() for on in (0, 1)] == ["81 F0 71", "81 F8 79"]


# --- extended packets ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("raw", "aspect", "text"), [(4, 0, "81 71 00 F0"), (4, 1, "81 71 01 F1"), (5, 4, "81 73 04 F6")]
)
def test_extended_packets(raw: int, aspect: int, text: str) -> None:
    """S-9.2.1 D (from memory); the rows are computed."""
    assert extended(raw, aspect) == bytes.fromhex(text)


@given(BOARDS, PORTS, st.integers(0, 255))
def test_an_extended_packet_has_the_same_address_bits(board: int, port: int, aspect: int) -> None:
    """0AAA0AA1 against 1AAACDDR: what differs is bits 7, 3 and 0. Eight aspect bits: NEM 672 (2015) 2."""
    plain, long = basic(board, port, 1, active=False), extended(4 * board + port, aspect)
    assert long[0] == plain[0]
    assert long[1] | 0x80 == plain[1]
    assert long[1] & 0b1000_1001 == 1
    assert long[2] == aspect
    assert long[0] ^ long[1] ^ long[2] ^ long[3] == 0


# --- time ----------------------------------------------------------------------------------------------------------

EVERY = [basic(board, port, output) for board in range(511) for port in range(4) for output in (0, 1)]


def test_a_packet_is_as_long_as_its_bits() -> None:
    """NMRA S-9.1 A: 58 us a half of "1"; NEM 670 2.2: 100 us a half of "0"; S-9.2 A: 14 bits of preamble at least."""
    packet = basic(*numbers(1, True), output=1)
    bits = "1" * 14 + "".join(f"0{byte:08b}" for byte in packet) + "1"
    assert len(bits) == 42
    assert packet_us(packet, 14) == sum(2 * (58 if bit == "1" else 100) for bit in bits) == 6132
    assert 8400 - 84 * bits.count("1") == 6132
    assert round(1_000_000 / 6132, 1) == 163.1


def test_the_shortest_and_the_longest_packet() -> None:
    times = [packet_us(packet, 14) for packet in EVERY]
    assert (min(times), max(times)) == (5796, 6804)
    assert (round(1_000_000 / 5796, 1), round(1_000_000 / 6804, 1)) == (172.5, 147.0)


@pytest.mark.parametrize(("preamble", "mean", "a_second"), [(14, 6090.2, 164.2), (16, 6322.2, 158.2)])
def test_the_mean_packet(preamble: int, mean: float, a_second: float) -> None:
    """16 bits of preamble at least: NEM 671 (2014) 3."""
    counted = sum(packet_us(packet, preamble) for packet in EVERY) / len(EVERY)
    assert mean_us(preamble) == pytest.approx(counted, abs=1e-9)
    assert round(mean_us(preamble), 1) == mean
    assert round(1_000_000 / mean_us(preamble), 1) == a_second


def test_an_extended_packet_is_51_bits_long() -> None:
    """The row's mean, 7722.2 us, is over the addresses and the 32 aspects of five bits."""
    every = [packet_us(extended(raw, aspect), 14) for raw in range(4 * 511) for aspect in range(32)]
    mean = sum(every) / len(every)
    assert packet_us(bytes(4), 14) == 15 * 116 + 36 * 200  # 51 bits
    assert round(mean, 1) == 7722.2
    assert round(1_000_000 / mean, 1) == 129.5


@pytest.mark.parametrize(("share", "repeats", "a_second"), [(1.0, 2, 82.1), (0.5, 2, 41.0), (0.5, 4, 20.5)])
def test_commands_a_second(share: float, repeats: int, a_second: float) -> None:
    """Computed: share of the track * 164.2 / repeats."""
    link = Link("main", track_share=share, repeats=repeats)
    assert commands_a_second(link) == pytest.approx(a_second, abs=0.06)
    assert 1_000_000 / bytes_us(11, link.baud) / commands_a_second(link) > 6  # the track is the bottleneck


def test_every_command_is_sent_once_at_least() -> None:
    once, never = (commands_a_second(Link("main", track_share=1.0, repeats=repeats)) for repeats in (1, 0))
    assert round(once, 1) == round(never, 1) == 164.2


def test_commands_a_second_stated_outright() -> None:
    assert commands_a_second(Link("main", commands_s=250.0, track_share=0.1)) == 250.0


def test_the_time_on_the_line() -> None:
    """8N1: ten bits a byte. 115200 baud are 11520 bytes/s, 86.8 us a byte; `<a 511 3 1>` is 11 bytes, 0.955 ms."""
    assert line_us("a 511 3 1", 115_200) == 955
    assert bytes_us(11_520, 115_200) == 1_000_000
    assert bytes_us(1, 115_200) == 87
    assert bytes_us(64, 115_200) == 5_556  # a station's receive buffer, filled at full speed
