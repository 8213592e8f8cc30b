"""What a layout file has under which name: references found or answered, names and connections used once.

Shared by the parts that put a layout together. Knows no forms of value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from engine.layout import Board, Kind, Link, Place, Wiring
from scenes.problems import Problem, nearest
from wayside.layout.schema import pattern, plain_name, wired_keys
from wayside.layout.values import whole
from wayside.layout.yaml_places import Entry, Table, Text

MOST_SEARCHES = 100  # for the nearest name; a file with more wrong names than that has another trouble
MOST_LISTED = 8
MOST_PIN = 32_767
# The greatest accessory numbers by the number of the first board, without the four to which every decoder listens
# (boards 1 to 510 and 0 to 510 with four ports each).
MOST_ADDRESS = {True: 2040, False: 2044}

NOUNS = {
    "outputs": ("output", "an output"),
    "detectors": ("detector", "a detector"),
    "buttons": ("button", "a button"),
    "tracks": ("track", "a track"),
    "links": ("link", "a link"),
    "boards": ("board", "a board"),
    "feeds": ("feed", "a feed"),
    "supplies": ("supply", "a supply"),
}
SEEN_BY_SCENES = ("outputs", "detectors", "buttons", "tracks", "links")  # one name space

# Words that a scene could not use as a name without a second meaning.
RESERVED = frozenset(["and", "or", "not", "on", "off", "no", "all", "any", "none", "everything", "blind", "daylight"])

# Words with which a scene says something else where a state stands, so that no state can be called so.
NO_STATES = frozenset(["above", "at", "below", "let", "not", "out", "past"])


@dataclass
class Reading:
    """A layout file while it is being put together."""

    file: str
    problems: list[Problem]
    sections: dict[str, Table]
    kinds: dict[str, Kind | None] = field(default_factory=dict)  # None where the file does not say it properly
    links: dict[str, Link] = field(default_factory=dict)
    boards: dict[str, Board] = field(default_factory=dict)
    seats: dict[tuple[str, str, int], tuple[str, Place]] = field(default_factory=dict)
    searches: int = 0
    meant: dict[str, set[str]] = field(default_factory=dict)
    missing: set[str] = field(default_factory=set)  # names that the file speaks of and does not give

    def wrong(self, place: Place, what: str, instead: str = "", *also: tuple[Place, str]) -> None:
        self.problems.append(Problem(place, what, instead, also=also))

    def section(self, name: str) -> dict[str, Entry]:
        return self.sections[name].entries

    def known(self, section: str, word: Text) -> bool:
        """Whether a name that is referred to exists; reported if not."""
        if word.text in self.section(section):
            return True
        self.missing.add(word.text)
        if word.text in self._meant(section):
            return False  # its name is written wrongly, which has been reported
        noun, a_noun = NOUNS[section]
        other = next((NOUNS[name][1] for name in NOUNS if word.text in self.section(name)), None)
        what = f"`{word.text}` is {other}, not {a_noun}" if other else f"there is no {noun} named `{word.text}`"
        self.wrong(word.place, what, self._offer(section, word.text))
        return False

    def _meant(self, section: str) -> set[str]:
        """The names that a section's wrongly written names were meant to be."""
        if section not in self.meant:
            wrong = (name for name in self.section(section) if not pattern("name").fullmatch(name))
            self.meant[section] = {plain_name(name) for name in wrong}
        return self.meant[section]

    def _offer(self, section: str, word: str) -> str:
        names = list(self.section(section))
        noun = NOUNS[section][0]
        if not names:
            return f"Add it under `{section}:`"
        self.searches += 1
        near = nearest(word, names) if self.searches <= MOST_SEARCHES else None
        if near:
            return f"Did you mean `{near}`?"
        return f"The {noun}s are `{'`, `'.join(names)}`" if len(names) <= MOST_LISTED else f"Add it under `{section}:`"


def text(table: Table, key: str) -> Text | None:
    """The text under a key, if there is one."""
    entry = table.entries.get(key)
    return entry.value if entry and isinstance(entry.value, Text) and entry.value.text else None


def table(parent: Table, key: str) -> Table:
    """The table under a key; an empty one if there is none."""
    entry = parent.entries.get(key)
    return entry.value if entry and isinstance(entry.value, Table) else Table({}, parent.place)


def check_names(reading: Reading) -> None:
    """Everything that a scene can name has a name of its own."""
    seen: dict[str, tuple[str, Place]] = {}
    for section in SEEN_BY_SCENES:
        a_noun = NOUNS[section][1]
        for name, entry in reading.section(section).items():
            place = entry.key.place
            if name in RESERVED:
                what = f"`{name}` cannot be a name: it is a word of the scene language"
                reading.wrong(place, what, f"Write for example `{name}-{NOUNS[section][0]}`")
            first = seen.setdefault(name, (a_noun, place))
            if first[1] != place:
                what = f"`{name}` is {first[0]} and {a_noun} at once, and a scene could not tell them apart"
                instead = f"Give one of them another name, such as `{name}-{NOUNS[section][0]}`"
                reading.wrong(place, what, instead, (first[1], "first used here"))


def of_kind(reading: Reading, word: Text, kinds: Sequence[Kind], role: str) -> bool:
    """Whether the word names an output that can play a part; reported if not."""
    if not reading.known("outputs", word):
        return False
    kind = reading.kinds.get(word.text)
    if kind is None or kind in kinds:
        return True
    fitting = " or ".join(f"a {one.value}" for one in kinds)
    reading.wrong(word.place, f"{role} is {fitting}, and `{word.text}` is a {kind.value}", "Name another output")
    return False


# --- connections ---------------------------------------------------------------------------------------------------


def wiring(reading: Reading, name: str, settings: Table, side: str) -> Wiring:
    """Where something is connected. `side` keeps the addresses of outputs and of inputs apart: they are counted
    separately on most buses (common practice, no source); pins and ports are places on a box and are not."""
    board, link = text(settings, "board"), text(settings, "link")
    numbers = {key: _number(settings, key) for key in ("port", "address", "pin")}
    if board and link:
        reading.wrong(
            settings.entries["link"].key.place,
            f"`{name}` names a board and a link",
            "The board has its link: delete this",
        )
        return Wiring()
    if board:
        return _on_board(reading, name, board, settings, numbers["port"])
    if not link or not reading.known("links", link):
        return Wiring()
    if "address" not in settings.entries and "pin" not in settings.entries:
        # a key that is not known may be the mistyped one, and has been reported
        if "port" not in settings.entries and wired_keys().issuperset(settings.entries):
            key = settings.entries["link"].key.place
            reading.wrong(key, f"`{name}` names a link, but not where on it", "Add its pin or its address")
        return Wiring()
    if "address" in settings.entries and "pin" in settings.entries:
        first, second = (settings.entries[key].key.place for key in ("address", "pin"))
        reading.wrong(max(first, second), f"`{name}` has an address and a pin", "Keep the one that it is reached by")
        return Wiring()
    address, pin = numbers["address"], numbers["pin"]
    if pin is not None:
        place = settings.entries["pin"].value.place
        if pin > MOST_PIN:
            reading.wrong(place, f"`{name}` is on pin {pin}, and no far end has so many", f"Write 0 to {MOST_PIN}")
        else:
            _seat(reading, _on_a_board(reading, link.text, pin, True) or ("pin", link.text, pin), name, place)
    elif address is not None:
        place = settings.entries["address"].value.place
        if side == "output" and not 1 <= address <= most_address(reading, link.text):
            most = most_address(reading, link.text)
            what = f"`{name}` has the address {address}, and addresses on `{link.text}` go from 1 to {most}"
            reading.wrong(place, what, f"Write 1 to {most}")
        else:
            _seat(reading, _address_seat(reading, link.text, address, side), name, place)
    return Wiring(link=link.text, address=address, pin=pin)


def _number(settings: Table, key: str) -> int | None:
    found = text(settings, key)
    return whole(found.text) if found else None


def _on_board(reading: Reading, name: str, board: Text, settings: Table, port: int | None) -> Wiring:
    known = reading.known("boards", board)
    for key in ("address", "pin"):
        if key in settings.entries:
            place = settings.entries[key].key.place
            reading.wrong(place, f"`{name}` is on a board, so it has a port and no {key}", "Delete this")
    box = reading.boards.get(board.text)
    if port is None or not known or box is None:
        return Wiring(board=board.text if known else None, port=port)
    place = settings.entries["port"].value.place
    if box.ports and port >= box.ports:
        reading.wrong(place, f"`{box.name}` has no port {port}", f"Its ports are 0 to {box.ports - 1}")
    else:
        _seat(reading, ("port", box.name, port), name, place)
    return Wiring(board=board.text, port=port)


def _address_seat(reading: Reading, link: str, address: int, side: str) -> tuple[str, str, int]:
    """An output's address may be a board's port by its other name."""
    seat = _on_a_board(reading, link, address, False) if side == "output" else None
    return seat or (f"{side} address", link, address)


def _on_a_board(reading: Reading, link: str, number: int, pins: bool) -> tuple[str, str, int] | None:
    for box in reading.boards.values():
        if (box.link, box.pins) == (link, pins) and box.first_address <= number < box.first_address + box.ports:
            return ("port", box.name, number - box.first_address)
    return None


def most_address(reading: Reading, link: str) -> int:
    """The greatest accessory number on a link."""
    return MOST_ADDRESS[reading.links[link].from_one if link in reading.links else True]


def _seat(reading: Reading, seat: tuple[str, str, int], name: str, place: Place) -> None:
    first = reading.seats.setdefault(seat, (name, place))
    if first[1] == place:
        return
    word = seat[0].rpartition(" ")[2]
    what = f"`{name}` and `{first[0]}` share {word} {seat[2]} of `{seat[1]}`"
    reading.wrong(place, what, f"Give one of them another {word}", (first[1], f"`{first[0]}` is here"))
