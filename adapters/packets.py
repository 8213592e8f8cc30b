"""Accessory packets of the track bus (DCC): numbers, bytes, time on the track, and time on the serial line.

Knows no dialect. Sources: NMRA S-9.1, S-9.2, S-9.2.1 (2012); NEM 670 (2013), 671 (2014), 672 (2015); RCN-213 (from
memory).
"""

from __future__ import annotations

from math import ceil
from typing import NamedTuple

from adapters.codec import encode
from engine.layout import Link

BROADCAST = 511  # the board number to which every accessory decoder listens
PORTS = 4  # of one board: pairs of outputs under one board number
ASPECTS = 256  # NEM 672; S-9.2.1 of 2012 has five bits, 32
ONE_HALF_US = 58  # half of a "1" bit, nominal: NMRA S-9.1 A
ZERO_HALF_US = 100  # half of a "0" bit, nominal: NEM 670 2.2
MEAN_ONES = 51_088 / 4_088  # "1" bits in the three bytes of a basic packet, over boards 0 to 510, ports and outputs
SERIAL_BITS = 10  # of a byte on the line: 8N1 is a start bit, eight bits, a stop bit


class BadNumber(ValueError):
    """An accessory number that reaches nobody, or everybody."""

    def __init__(self, what: str, instead: str) -> None:
        super().__init__(f"{what}. {instead}")
        self.what = what
        self.instead = instead


class Seat(NamedTuple):
    """Where an accessory is on the track bus."""

    board: int  # 0 to 510
    port: int  # 0 to 3

    @property
    def raw(self) -> int:
        """The eleven bits of the address as one number."""
        return PORTS * self.board + self.port


# --- numbers -------------------------------------------------------------------------------------------------------
#
# A person counts accessories from 1. Where that 1 lies there are two styles, which differ by four: board 1 port 0
# (RCN-213, from memory: raw address 4), or board 0 port 0 (raw address 0).


def most(from_one: bool) -> int:
    """The greatest number that does not reach everybody: 2040, or 2044."""
    return PORTS * (BROADCAST - (1 if from_one else 0))


def numbers(linear: int, from_one: bool) -> Seat:
    """The board and port of a number as people count. Raises BadNumber."""
    last = most(from_one)
    if linear < 1:
        raise BadNumber(f"there is no accessory {linear}: the first is 1", f"Write 1 to {last}")
    if linear > last + PORTS:
        raise BadNumber(f"there is no accessory {linear}: the last is {last}", f"Write 1 to {last}")
    if linear > last:
        what = f"accessory {linear} is on board {BROADCAST}, to which every decoder on the track listens"
        raise BadNumber(what, f"Write 1 to {last}")
    board, port = divmod(linear - 1, PORTS)
    return Seat(board + 1 if from_one else board, port)


def linear(board: int, port: int, from_one: bool) -> int:
    """The number of a board's port as people count. Raises BadNumber."""
    _check(board, port)
    if from_one and board == 0:
        raise BadNumber("board 0 has no number where 1 is board 1 port 0", "Count from board 0 port 0, or take another")
    return PORTS * (board - (1 if from_one else 0)) + port + 1


def _check(board: int, port: int) -> None:
    if board == BROADCAST:
        what = f"board {BROADCAST} is the one to which every decoder on the track listens"
        raise BadNumber(what, f"Write 0 to {BROADCAST - 1}")
    if not 0 <= board < BROADCAST:
        raise BadNumber(f"there is no board {board}", f"Write 0 to {BROADCAST - 1}")
    if not 0 <= port < PORTS:
        raise BadNumber(f"there is no port {port}", f"Write 0 to {PORTS - 1}")


# --- packets -------------------------------------------------------------------------------------------------------


def basic(board: int, port: int, output: bool | int, active: bool | int = True) -> bytes:
    """The bytes `10AAAAAA 1AAACDDR` and their error byte (S-9.2.1 D). Raises BadNumber.

    `output` is R, which of the pair: 0 diverging or stop, 1 straight or proceed (RCN-213, from memory). `active` is C.
    """
    _check(board, port)
    second = 0x80 | _upper(board) | (8 if active else 0) | port << 1 | (1 if output else 0)
    return _with_error_byte(0x80 | board & 0x3F, second)


def extended(raw: int, aspect: int) -> bytes:
    """The bytes `10AAAAAA 0AAA0AA1 XXXXXXXX` and their error byte (S-9.2.1 D, from memory). Raises BadNumber."""
    board, port = divmod(raw, PORTS)
    _check(board, port)
    if not 0 <= aspect < ASPECTS:
        raise BadNumber(f"there is no aspect {aspect}", f"Write 0 to {ASPECTS - 1}")
    return _with_error_byte(0x80 | board & 0x3F, _upper(board) | port << 1 | 1, aspect)


def told(link: Link, seat: Seat, on: bool | int) -> bytes:
    """The packet that on or off becomes on the track of a link.

    Stations differ in what the last number of the command drives: the output of the pair, which is then always
    activated; or whether the first output is activated (from memory). `Link.by_output` says which.
    """
    return basic(*seat, output=on) if link.by_output else basic(*seat, output=False, active=on)


def _upper(board: int) -> int:
    """The address's upper three bits: as their one's complement, in bits 6 to 4."""
    return (~board >> 6 & 7) << 4


def _with_error_byte(*data: int) -> bytes:
    check = 0
    for byte in data:
        check ^= byte
    return bytes((*data, check))


# --- time ----------------------------------------------------------------------------------------------------------


def packet_us(data: bytes, preamble: int) -> int:
    """How long a packet is on the track: preamble of ones, a zero before each byte, a one at the end."""
    ones = sum(byte.bit_count() for byte in data)
    return _bits_us(preamble + ones + 1, 9 * len(data) - ones)


def _bits_us(ones: int, zeros: int) -> int:
    return 2 * ONE_HALF_US * ones + 2 * ZERO_HALF_US * zeros


def mean_us(preamble: int) -> float:
    """How long a basic packet is on the track, over all addresses."""
    return 2 * ONE_HALF_US * (preamble + MEAN_ONES + 1) + 2 * ZERO_HALF_US * (27 - MEAN_ONES)


def commands_a_second(link: Link) -> float:
    """How many accessory commands the track behind a link carries: its share of the packets over the repeats of each.

    Or what the layout file says outright, for a far end whose commands go to no track.
    """
    if link.commands_s is not None:
        return link.commands_s
    return link.track_share * 1_000_000 / mean_us(link.preamble) / max(1, link.repeats)


def line_us(text: str, baud: int) -> int:
    """How long a command, with its brackets, takes on the serial line."""
    return bytes_us(len(encode(text)), baud)


def bytes_us(count: int, baud: int) -> int:
    """How long some bytes take on the serial line, rounded up."""
    return ceil(count * SERIAL_BITS * 1_000_000 / baud)
