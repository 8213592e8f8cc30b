"""Records of the stand-in: what kind of station it is, what a command did, what can be defined. Knows no wire."""

from __future__ import annotations

from typing import NamedTuple


class Settings(NamedTuple):
    """What kind of station it is. Times in microseconds."""

    baud: int = 115_200
    command_us: int = 200  # one command's work where no packet goes out (a guess)
    track_us: int = 12_180  # one accessory command's place on the track: two mean packets of S-9.2.1, 6090 us each
    boards_start_us: int = 500_000  # from track power on until accessory boards listen
    banner_us: int = 100_000  # from an opening or a restart until the banner
    servo_deg_s: float = 600.0  # 0.10 s for 60 degrees, a small servo at 4.8 V
    servo_starts_deg: float = 90.0  # where arms stand before anybody has told them anything
    servos: frozenset[int] = frozenset()  # pins with servos; a pin whose first value is a pulse has one, too
    from_one: bool = True  # accessory number 1 is board 1 port 0 (True) or board 0 port 0
    by_output: bool = True  # what 1 and 0 of an accessory command mean: which output, or output 0 active or not
    track_name: str = ""  # said after the power, as newer dialects do
    without: str = ""  # letters of commands that this station does not have
    after_reply: bytes = b"\r\n"
    banner: str = "Wayside stand-in"


class Done(NamedTuple):
    """What a command did: to which thing, in words, its new value, the answers, and whether a packet went out."""

    thing: str
    effect: str
    value: float | None = None
    answers: tuple[str, ...] = ()
    to_all: bool = False  # whether the other senders hear the answers, too
    packet: bool = False


class Turnout(NamedTuple):
    board: int
    port: int
    value: int


class PinOutput(NamedTuple):
    pin: int
    flags: int
    value: int


class Input(NamedTuple):
    """A detector as it was defined: its pin, and whether the pin is pulled up."""

    pin: int
    pull_up: int


class Refused(Exception):
    """A command that cannot be done, and why."""
