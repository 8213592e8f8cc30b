"""Links and boards of a layout file: what a wire is, what it carries, and which numbers stand on it.

Knows no far end: which words a dialect has is the adapters' business, and is asked there.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from engine.layout import Board, Link, Place
from wayside.layout.names import MOST_PIN, Reading, most_address, table, text
from wayside.layout.schema import pattern, schema
from wayside.layout.values import a_second, baud, is_yes, share, time_us, whole
from wayside.layout.yaml_places import Entry, Table, Text

LEAST_BAUD, MOST_BAUD = 300, 4_000_000
LEAST_PREAMBLE, MOST_PREAMBLE = 14, 40  # bits; at least 14: NMRA S-9.2; at least 16: NEM 671
MOST_REPEATS = 20
MOST_OUTSTANDING = 16
MOST_START_UP_US = 60_000_000
LEAST_COMMANDS_S, MOST_COMMANDS_S = 0.1, 10_000.0

PORT_FORMS = "Write for example /dev/ttyUSB0, COM5 or socket://localhost:2560"
_PORT = re.compile(
    r"(?:\\\\\.\\)?COM[0-9]{1,3}|/\S(?:.*\S)?|(?:socket|rfc2217)://\S+:[0-9]{1,5}(?:[/?]\S*)?|loop://\S*", re.IGNORECASE
)
_OF_A_NETWORK = re.compile(r"(?:(\w+)://)?([\w.-]+):([0-9]{1,5})", re.ASCII)
_OF_A_DEVICE = re.compile(r"(?:dev/)?((?:tty|cu)[\w.-]+)", re.ASCII)


class _Range(NamedTuple):
    """The whole numbers that may stand after a key, and what is wrong with one below or above."""

    least: int
    most: int
    usual: int
    below: str
    above: str


_RANGES = {
    "repeats": _Range(1, MOST_REPEATS, 2, "no packet at all would tell nothing", "is too many"),
    "preamble": _Range(LEAST_PREAMBLE, MOST_PREAMBLE, 14, "decoders need at least 14 bits", "is too many bits"),
    "outstanding": _Range(1, MOST_OUTSTANDING, 1, "nothing could ever be told", "is more than stations keep waiting"),
}
_OF_THE_TRACK = ("track share", "repeats", "preamble")


# --- links ---------------------------------------------------------------------------------------------------------


def read_link(reading: Reading, entry: Entry) -> Link:
    settings = entry.value if isinstance(entry.value, Table) else Table({}, entry.key.place)
    usual = Link(entry.key.text)
    written = tuple((key, one.value.text) for key, one in settings.entries.items() if isinstance(one.value, Text))
    link = Link(
        entry.key.text,
        written,
        entry.key.place,
        port=_port(reading, settings),
        baud=_baud(reading, settings) or usual.baud,
        dialect=_chosen(settings, "dialect") or usual.dialect,
        words=_words(settings),
        resets=_yes(settings, "resets when opened", usual.resets),
        from_one=_said(settings, "boards from") != "0",
        by_output=_said(settings, "on and off") != "activation",
        track_share=_share(reading, settings, usual.track_share),
        repeats=_within(reading, settings, "repeats"),
        preamble=_within(reading, settings, "preamble"),
        commands_s=_commands(reading, settings),
        outstanding=_within(reading, settings, "outstanding"),
        start_up_us=_start_up(reading, settings, usual.start_up_us),
        yields=_said(settings, "if somebody else acts") == "give way",
    )
    _one_reckoning(reading, settings)
    return replace(link, words=_good_words(reading, link, settings))


def links_apart(reading: Reading) -> None:
    """Two links never open one port."""
    first: dict[str, Link] = {}
    for link in reading.links.values():
        key = link.port.upper() if link.port.upper().startswith("COM") else link.port
        one = first.setdefault(key, link)
        if not key or one is link or key.startswith("loop:"):
            continue
        what = f"`{link.name}` and `{one.name}` have one port, `{link.port}`, and only one of them could open it"
        also = (_key_place(reading, one.name, "port"), f"`{one.name}` has it here")
        reading.wrong(_key_place(reading, link.name, "port"), what, "Give one of them its own port", also)


def _key_place(reading: Reading, link: str, key: str) -> Place:
    settings = reading.section("links")[link].value
    assert isinstance(settings, Table)  # it has that key
    return settings.entries[key].value.place


def _said(settings: Table, key: str) -> str:
    word = text(settings, key)
    return word.text if word else ""


def _yes(settings: Table, key: str, usual: bool) -> bool:
    word = text(settings, key)
    return usual if word is None or not pattern("yes-or-no").fullmatch(word.text) else is_yes(word.text)


def _chosen(settings: Table, key: str) -> str:
    word = _said(settings, key)
    return word if word in schema()["$defs"]["link"]["properties"][key]["enum"] else ""


def _port(reading: Reading, settings: Table) -> str:
    word = text(settings, "port")
    if word is None:
        return ""
    number = re.search(r":([0-9]{1,5})(?:[/?]\S*)?$", word.text)
    if _PORT.fullmatch(word.text):
        if "://" in word.text and number and not 1 <= int(number[1]) <= 65_535:
            reading.wrong(word.place, f"`port`: no network has a port {number[1]}", "Write 1 to 65535 behind the colon")
            return ""
        return word.text
    instead = PORT_FORMS
    if meant := meant_port(word.text):
        instead = f"Write `port: {meant}`"
    elif re.match(r"(?:socket|rfc2217)://", word.text):
        instead = f"Add a colon and the port's number, such as `port: {word.text.rstrip('/:')}:2560`"
    reading.wrong(word.place, f"`port`: `{word.text}` is no device and no address", instead)
    return ""


def meant_port(written: str) -> str:
    """The port that somebody means by `localhost:2560` or `ttyUSB0`; empty where that cannot be told."""
    network = _OF_A_NETWORK.fullmatch(written)
    if network and (network[1] or "").lower() in ("", "tcp", "telnet", "net"):
        return f"socket://{network[2]}:{network[3]}"
    device = _OF_A_DEVICE.fullmatch(written)
    return f"/dev/{device[1]}" if device else ""


def _baud(reading: Reading, settings: Table) -> int | None:
    word = text(settings, "speed")
    speed = baud(word.text) if word else None
    if word is None or speed is None or LEAST_BAUD <= speed <= MOST_BAUD:
        return speed
    what = f"`speed`: no serial line runs at `{word.text}`"
    reading.wrong(word.place, what, f"Write {LEAST_BAUD} to {MOST_BAUD} baud, as your station's book says")
    return None


def _within(reading: Reading, settings: Table, key: str) -> int:
    bounds, word = _RANGES[key], text(settings, key)
    number = whole(word.text) if word else None
    if word is None or number is None:
        return bounds.usual
    if bounds.least <= number <= bounds.most:
        return number
    wrong = bounds.below if number < bounds.least else f"{number} {bounds.above}"
    what = f"`{key}`: {wrong}"
    reading.wrong(word.place, what, f"Write {bounds.least} to {bounds.most}")
    return bounds.usual


def _share(reading: Reading, settings: Table, usual: float) -> float:
    word = text(settings, "track share")
    part = share(word.text) if word else None
    if word is None or part is None:
        return usual
    if 0 < part <= 1:
        return part
    what = "nothing would ever be told" if part == 0 else f"`{word.text}` is more than all"
    reading.wrong(word.place, f"`track share`: {what}", "Write 1 % to 100 %, such as `track share: 50 %`")
    return usual


def _commands(reading: Reading, settings: Table) -> float | None:
    word = text(settings, "commands")
    rate = a_second(word.text) if word else None
    if word is None or rate is None or LEAST_COMMANDS_S <= rate <= MOST_COMMANDS_S:
        return rate
    bounds = f"Write {LEAST_COMMANDS_S:g} to {MOST_COMMANDS_S:.0f} a second"
    reading.wrong(word.place, f"`commands`: no link carries `{word.text}`", bounds)
    return None


def _start_up(reading: Reading, settings: Table, usual: int) -> int:
    word = text(settings, "start-up")
    time = time_us(word.text) if word else None
    if word is None or time is None:
        return usual
    if time <= MOST_START_UP_US:
        return time
    what = f"`start-up`: with `{word.text}` the show would wait for ever"
    reading.wrong(word.place, what, f"Write 0 s to {MOST_START_UP_US // 1_000_000} s")
    return usual


def _one_reckoning(reading: Reading, settings: Table) -> None:
    """How fast a link is told is stated outright, or follows from the track."""
    both = [key for key in _OF_THE_TRACK if key in settings.entries]
    if "commands" not in settings.entries or not both:
        return
    outright, other = settings.entries["commands"].key.place, settings.entries[both[0]].key.place
    what = f"`commands` states outright what `{'`, `'.join(both)}` would reckon"
    instead = "Keep `commands` if these commands do not go to a track, else delete it"
    place, also = max(outright, other), min(outright, other)
    reading.wrong(place, what, instead, (also, "the other is here"))


def _words(settings: Table) -> tuple[tuple[str, str], ...]:
    known = schema()["$defs"]["link"]["properties"]["words"]["properties"]
    return tuple(
        (key, one.value.text)
        for key, one in table(settings, "words").entries.items()
        if key in known and isinstance(one.value, Text) and one.value.text
    )


def _good_words(reading: Reading, link: Link, settings: Table) -> tuple[tuple[str, str], ...]:
    """The words that can be said; the others are reported."""
    if not link.words:
        return ()
    from adapters.dialects import BadWords, dialect_of  # late: most layouts have no words of their own

    good = []
    for word in link.words:
        try:
            dialect_of(replace(link, words=(word,)))
        except BadWords as bad:
            place = table(settings, "words").entries[word[0]].value.place
            reading.wrong(place, bad.what, bad.instead)
        else:
            good.append(word)
    return tuple(good)


# --- boards --------------------------------------------------------------------------------------------------------

_PLACES = {True: ("first pin", "pins"), False: ("first address", "addresses")}


def read_board(reading: Reading, entry: Entry) -> Board:
    settings = entry.value if isinstance(entry.value, Table) else Table({}, entry.key.place)
    link, ports = text(settings, "link"), text(settings, "ports")
    known = link is not None and reading.known("links", link)
    pins = _is_of_pins(reading, entry.key.text, settings)
    first = text(settings, _PLACES[pins][0])
    board = Board(
        entry.key.text,
        link.text if link and known else "",
        (whole(first.text) if first else None) or 0,
        (whole(ports.text) if ports else None) or 0,
        entry.key.place,
        pins,
    )
    if board.link and board.ports and first and whole(first.text) is not None:
        _numbers_exist(reading, board, first.place)
    return board


def _is_of_pins(reading: Reading, name: str, settings: Table) -> bool:
    kind = text(settings, "kind")
    pins = kind is not None and kind.text == "pins"
    sure = kind is None or kind.text in ("pins", "accessory")  # else it has been reported
    mine, other = _PLACES[pins][0], _PLACES[not pins][0]
    if other not in settings.entries or not sure:
        return pins if sure else "first pin" in settings.entries
    place = settings.entries[other].key.place
    if mine in settings.entries:
        what = f"`{name}` has a first address and a first pin"
        instead = "Keep `first pin` if it has pins that take levels and positions, else `first address`"
        also = settings.entries[mine].key.place
        reading.wrong(max(place, also), what, instead, (min(place, also), "the other is here"))
        return pins
    if pins:
        number = _said(settings, other)
        reading.wrong(place, f"`{name}` is a board of pins, so it has no first address", f"Write `first pin: {number}`")
    elif kind:
        what = f"`{name}` has accessory addresses, so it has no first pin"
        reading.wrong(place, what, "Write `kind: pins`, or its `first address`")
    else:
        reading.wrong(place, f"`{name}` has a first pin, and is not said to be a board of pins", "Add `kind: pins`")
    return not pins


def _numbers_exist(reading: Reading, board: Board, place: Place) -> None:
    least, most = (0, MOST_PIN) if board.pins else (1, most_address(reading, board.link))
    last = board.first_address + board.ports - 1
    if least <= board.first_address and last <= most:
        return
    words = _PLACES[board.pins][1]
    there = f"{words} on `{board.link}` go from {least} to {most}"
    what = f"`{board.name}` would have the {words} {board.first_address} to {last}, and {there}"
    free = most - board.ports + 1
    fits = f"Let it begin at {least} to {free}" if free >= least else f"Give it at most {most - least + 1} ports"
    reading.wrong(place, what, fits)


def boards_apart(reading: Reading) -> None:
    """Two boards on one link never answer to one address, and never have one pin."""
    boards = sorted(
        (box for box in reading.boards.values() if box.link and box.ports),
        key=lambda box: (box.link, box.pins, box.first_address),
    )
    for one, other in pairwise(boards):
        last = one.first_address + one.ports - 1
        if (one.link, one.pins) != (other.link, other.pins) or last < other.first_address:
            continue
        later, first = (one, other) if one.place > other.place else (other, one)
        begins = f"`{other.name}` begins at {other.first_address}"
        what = f"`{one.name}` has the {_PLACES[one.pins][1]} {one.first_address} to {last}, and {begins}"
        also = (first.place, f"`{first.name}` is here")
        reading.wrong(later.place, what, f"Let `{other.name}` begin at {last + 1}", also)
