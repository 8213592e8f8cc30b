"""Links and boards in the layout file: what each key gives, what is told of a wrong one, and which numbers exist."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from adapters import packets
from adapters.dialects import DIALECTS, OPERATIONS
from engine.layout import NOWHERE, Board, Layout, Link
from scenes.problems import Problem, as_text
from wayside.layout.file import read_layout, schema_text
from wayside.layout.names import MOST_ADDRESS, MOST_PIN

HEAD = "layout: Pellbrook Quay\n"


def read(folder: Path, text: str) -> tuple[Layout, list[Problem], dict[str, list[str]]]:
    (folder / "layout.yaml").write_text(text, encoding="utf-8")
    return read_layout(folder / "layout.yaml", "layout.yaml")


def right(folder: Path, text: str) -> Layout:
    layout, problems, lines = read(folder, text)
    assert [as_text(problem, lines) for problem in problems] == []
    return layout


def with_link(settings: str) -> str:
    return f"{HEAD}links:\n  main: {{kind: serial text{', ' if settings else ''}{settings}}}\n"


def link(folder: Path, settings: str) -> Link:
    return right(folder, with_link(settings)).links["main"]


def plain(text: str) -> str:
    return text.translate({ord(mark): None for mark in '`"'}).lower()


def one_problem(folder: Path, text: str) -> tuple[Problem, str]:
    """The one problem of a text, which points at the text's mark."""
    at = text.index("§")
    _, problems, lines = read(folder, text.replace("§", ""))
    said = [as_text(problem, lines) for problem in problems]
    assert len(said) == 1, "\n".join(said)
    place = problems[0].place
    assert (place.line, place.column) == (text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)), said[0]
    return problems[0], plain(f"{problems[0].what} {problems[0].instead}")


# --- links: what is right ------------------------------------------------------------------------------------------

KEYS: list[tuple[str, str, Any]] = [
    ("port: /dev/ttyUSB0", "port", "/dev/ttyUSB0"),
    ("port: COM5", "port", "COM5"),
    ("port: com12", "port", "com12"),
    (r"port: '\\.\COM12'", "port", r"\\.\COM12"),
    ("port: socket://localhost:2560", "port", "socket://localhost:2560"),
    ("port: rfc2217://10.0.0.7:65535", "port", "rfc2217://10.0.0.7:65535"),
    ("port: loop://", "port", "loop://"),
    ("speed: 57600", "baud", 57_600),
    ("speed: 9600 baud", "baud", 9_600),
    ("speed: 300baud", "baud", 300),
    ("speed: 4000000", "baud", 4_000_000),
    ("dialect: late", "dialect", "late"),
    ("dialect: early", "dialect", "early"),
    ("resets when opened: no", "resets", False),
    ("resets when opened: yes", "resets", True),
    ("boards from: 0", "from_one", False),
    ("boards from: 1", "from_one", True),
    ("on and off: activation", "by_output", False),
    ("on and off: output", "by_output", True),
    ("track share: 37,5 %", "track_share", 0.375),
    ("track share: 100 %", "track_share", 1.0),
    ("repeats: 1", "repeats", 1),
    ("repeats: 20", "repeats", 20),
    ("preamble: 14", "preamble", 14),
    ("preamble: 40", "preamble", 40),
    ("commands: 40 a second", "commands_s", 40.0),
    ("commands: 0,5 per second", "commands_s", 0.5),
    ("commands: 0.1/s", "commands_s", 0.1),
    ("commands: 10000 a second", "commands_s", 10_000.0),
    ("outstanding: 16", "outstanding", 16),
    ("start-up: 1,5 s", "start_up_us", 1_500_000),
    ("start-up: 0 s", "start_up_us", 0),
    ("start-up: 1 min", "start_up_us", 60_000_000),
    ("if somebody else acts: give way", "yields", True),
    ("if somebody else acts: put it right", "yields", False),
]
FIELDS = [name for name in Link.__slots__ if name not in ("settings", "place")]


@pytest.mark.parametrize(("key", "field", "value"), KEYS)
def test_a_key_of_a_link(tmp_path: Path, key: str, field: str, value: Any) -> None:
    found, before = link(tmp_path, key), Link("main")
    assert getattr(found, field) == value
    assert [name for name in FIELDS if getattr(found, name) != getattr(before, name)] in ([field], [])


def test_a_link_that_says_nothing_is_the_usual_one(tmp_path: Path) -> None:
    found = link(tmp_path, "")
    assert {name: getattr(found, name) for name in FIELDS} == {name: getattr(Link("main"), name) for name in FIELDS}


def test_every_key_of_a_link_is_tried_here() -> None:
    keys = set(json.loads(schema_text())["$defs"]["link"]["properties"])
    assert keys == {"kind", "words", *(key.partition(":")[0] for key, _, _ in KEYS)}


WORDS: list[tuple[str, tuple[tuple[str, str], ...]]] = [
    ("{level: 'z {pin} {byte}'}", (("level", "z {pin} {byte}"),)),
    ("{power on: 1, power off: 0 main}", (("power on", "1"), ("power off", "0 main"))),
    ("\n      level: z {pin} {value} 0 2\n      stop: none", (("level", "z {pin} {value} 0 2"), ("stop", "none"))),
]


@pytest.mark.parametrize(("written", "words"), WORDS)
def test_words_of_ones_own(tmp_path: Path, written: str, words: tuple[tuple[str, str], ...]) -> None:
    text = f"{HEAD}links:\n  main:\n    kind: serial text\n    words: {written}\n"
    assert right(tmp_path, text).links["main"].words == words


def test_the_schema_has_the_dialects_and_the_operations_that_there_are() -> None:
    properties = json.loads(schema_text())["$defs"]["link"]["properties"]
    assert properties["dialect"]["enum"] == list(DIALECTS)
    assert list(properties["words"]["properties"]) == list(OPERATIONS)


def test_words_that_cannot_be_said_are_not_kept(tmp_path: Path) -> None:
    layout, problems, _ = read(tmp_path, with_link("words: {level: z, power on: '1 main', stop: '<!>'}"))
    assert layout.links["main"].words == (("power on", "1 main"),)
    assert len(problems) == 2


# --- links: what is wrong ------------------------------------------------------------------------------------------

WRONG: list[tuple[str, str]] = [
    ("§prot: COM5", "did you mean port?"),
    ("§resets: no", "did you mean resets when opened?"),  # and not `repeats`, which is nearer by its letters
    ("§start: 2 s", "did you mean start-up?"),
    ("§baud: 9600", "baud is not known in main. what can stand here: port, speed"),
    ("§port: ''", "port has nothing after it. write for example port: /dev/ttyusb0"),
    ("port: §ttyUSB0", "ttyusb0 is no device and no address. write port: /dev/ttyusb0"),
    ("port: §dev/ttyACM1", "write port: /dev/ttyacm1"),
    ("port: §localhost:2560", "write port: socket://localhost:2560"),
    ("port: §tcp://10.0.0.7:2560", "write port: socket://10.0.0.7:2560"),
    ("port: §socket://localhost", "add a colon and the port's number, such as port: socket://localhost:2560"),
    ("port: §socket://localhost:0", "no network has a port 0"),
    ("port: §socket://localhost:65536", "no network has a port 65536"),
    ("port: §USB 3", "write for example /dev/ttyusb0, com5 or socket://localhost:2560"),
    ("port: §spy://x:1", "write for example /dev/ttyusb0"),
    ("speed: §fast", "fast is not a speed in baud"),
    ("speed: §299", "write 300 to 4000000 baud"),
    ("speed: §4000001 baud", "write 300 to 4000000 baud"),
    ("speed: §115.2 kbaud", "is not a speed in baud. write for example speed: 115200 baud"),
    ("dialect: §lat", "did you mean late?"),
    ("dialect: §klingon", "the dialects are early, late"),
    ("resets when opened: §maybe", "is not yes or no"),
    ("boards from: §2", "2 is not the number of the first board, 1 or 0"),
    ("on and off: §direction", "the meanings are output, activation"),
    ("track share: §0 %", "nothing would ever be told"),
    ("track share: §101 %", "101 % is more than all. write 1 % to 100 %"),
    ("track share: §50", "50 has no unit. write track share: 50 %"),
    ("track share: §-5 %", "less than nothing"),
    ("repeats: §0", "no packet at all would tell nothing. write 1 to 20"),
    ("repeats: §21", "21 is too many. write 1 to 20"),
    ("repeats: §two", "two is not a number of packets. write for example repeats: 2"),
    ("preamble: §13", "decoders need at least 14 bits. write 14 to 40"),
    ("preamble: §41", "41 is too many bits. write 14 to 40"),
    ("commands: §40", "40 has no unit. write commands: 40 a second"),
    ("commands: §0 a second", "no link carries 0 a second. write 0.1 to 10000 a second"),
    ("commands: §10001 a second", "write 0.1 to 10000 a second"),
    ("outstanding: §0", "nothing could ever be told. write 1 to 16"),
    ("outstanding: §17", "17 is more than stations keep waiting"),
    ("start-up: §2", "write start-up: 2 s"),
    ("start-up: §61 s", "write 0 s to 60 s"),
    ("if somebody else acts: §gives way", "did you mean give way?"),
    ("if somebody else acts: §panic", "the answers are put it right, give way"),
    ("words: §level z", "words needs words that differ from the dialect's, not level z"),
    ("§words: {}", "words has no entries"),
    ("words: {§levle: z}", "did you mean level?"),
    ("words: {§level: ''}", "level has nothing after it"),
    ("port: COM5, §port: COM6", "port is given twice"),
    ("words: {level: §'z {pim} {value}'}", "the words for level have no number {pim}. write {pin}"),
    ("words: {level: §'z {pin} {value'}", "a brace without its fellow"),
    ("words: {level: §'z {pin}'}", "the words for level do not say how much. write {value} or {byte}"),
    ("words: {servo: 'z {pin} {us}', accessory: §'<a {board} {port} {act}>'}", "angle brackets. leave them out"),
    ("words: {power on: §'\"€\"'}", "have signs that a station cannot read"),
]


@pytest.mark.parametrize(("settings", "words"), WRONG)
def test_a_wrong_key_of_a_link(tmp_path: Path, settings: str, words: str) -> None:
    _, said = one_problem(tmp_path, with_link(settings))
    assert words in said


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("key", ["track share: 50 %", "repeats: 2", "preamble: 14"])
def test_commands_stated_outright_leave_nothing_to_reckon(tmp_path: Path, key: str, first: bool) -> None:
    settings = f"commands: 9 a second, §{key}" if first else f"{key}, §commands: 9 a second"
    problem, said = one_problem(tmp_path, with_link(settings))
    assert "keep commands if these commands do not go to a track" in said
    assert [place.column < problem.place.column for place, _ in problem.also] == [True]


def test_two_links_on_one_port_tell_both_places(tmp_path: Path) -> None:
    text = "{}links:\n  main: {{kind: serial text, port: {}}}\n  yard: {{kind: serial text, port: §{}}}\n"
    for one, other in (("/dev/ttyS0", "/dev/ttyS0"), ("COM3", "com3"), ("socket://a:1", "socket://a:1")):
        problem, said = one_problem(tmp_path, text.format(HEAD, one, other))
        assert "and only one of them could open it" in said
        assert [place.line for place, _ in problem.also] == [3]
    right(tmp_path, text.format(HEAD, "COM3", "COM4").replace("§", ""))
    right(tmp_path, text.format(HEAD, "loop://", "loop://").replace("§", ""))


# --- boards --------------------------------------------------------------------------------------------------------

LINKS = "links: {main: {kind: serial text}, yard: {kind: serial text, boards from: 0}}\n"


def with_board(settings: str, more: str = "") -> str:
    return f"{HEAD}{LINKS}boards:\n  box: {{{settings}}}\n{more}"


BOARDS: list[tuple[str, Board]] = [
    ("link: main, first address: 40, ports: 8", Board("box", "main", 40, 8)),
    ("kind: accessory, link: main, first address: 1, ports: 2040", Board("box", "main", 1, 2040)),
    ("link: yard, first address: 2044, ports: 1", Board("box", "yard", 2044, 1)),
    ("kind: pins, link: main, first pin: 0, ports: 32768", Board("box", "main", 0, 32_768, pins=True)),
    ("kind: pins, link: main, first pin: 100, ports: 16", Board("box", "main", 100, 16, pins=True)),
]


@pytest.mark.parametrize(("settings", "board"), BOARDS)
def test_a_board(tmp_path: Path, settings: str, board: Board) -> None:
    found = right(tmp_path, with_board(settings)).boards["box"]
    assert Board(found.name, found.link, found.first_address, found.ports, NOWHERE, found.pins) == board


WRONG_BOARDS: list[tuple[str, str]] = [
    ("kind: §pin, link: main, first pin: 4, ports: 8", "did you mean pins?"),
    ("kind: §relay, link: main, first address: 4, ports: 8", "the kinds are accessory, pins"),
    ("link: main, §first adress: 4, ports: 8", "did you mean first address?"),
    ("link: main, §first pin: 4, ports: 8", "is not said to be a board of pins. add kind: pins"),
    ("kind: accessory, link: main, §first pin: 4, ports: 8", "write kind: pins, or its first address"),
    ("kind: pins, link: main, §first address: 4, ports: 8", "so it has no first address. write first pin: 4"),
    ("link: main, first address: 4, §first pin: 4, ports: 8", "has a first address and a first pin. keep first pin if"),
    ("kind: pins, link: main, first pin: 4, §first address: 4, ports: 8", "has a first address and a first pin"),
    ("link: main, first address: §0, ports: 8", "addresses on main go from 1 to 2040. let it begin at 1 to 2033"),
    ("link: main, first address: §2034, ports: 8", "the addresses 2034 to 2041, and addresses on main go"),
    ("link: yard, first address: §2038, ports: 8", "addresses on yard go from 1 to 2044. let it begin at 1 to 2037"),
    ("link: main, first address: §1, ports: 2041", "give it at most 2040 ports"),
    ("kind: pins, link: main, first pin: §32760, ports: 9", "pins on main go from 0 to 32767. let it begin at 0 to"),
    ("link: main, first address: §four, ports: 8", "four is not a whole number from 0"),
    ("link: main, first address: 4, ports: §0", "is not a whole number from 1"),
]


@pytest.mark.parametrize(("settings", "words"), WRONG_BOARDS)
def test_a_wrong_board(tmp_path: Path, settings: str, words: str) -> None:
    _, said = one_problem(tmp_path, with_board(settings))
    assert words in said


def test_a_board_that_does_not_say_where_it_begins(tmp_path: Path) -> None:
    _, said = one_problem(tmp_path, with_board("link: main, ports: 8").replace("box", "§box"))
    assert "box says neither its first address nor its first pin. add for example first address: 40" in said


def test_boards_of_one_sort_on_one_link_lie_apart(tmp_path: Path) -> None:
    pins = "kind: pins, link: main, first pin: 40, ports: 8"
    _, said = one_problem(tmp_path, with_board(pins, "  §other: {kind: pins, link: main, first pin: 47, ports: 8}\n"))
    assert "box has the pins 40 to 47, and other begins at 47. let other begin at 48" in said
    before = "  §other: {kind: pins, link: main, first pin: 33, ports: 8}\n"
    problem, said = one_problem(tmp_path, with_board(pins, before))
    assert "other has the pins 33 to 40, and box begins at 40. let box begin at 41" in said
    assert [place.line for place, _ in problem.also] == [4]
    right(tmp_path, with_board(pins, "  other: {kind: pins, link: main, first pin: 32, ports: 8}\n"))
    right(tmp_path, with_board(pins, "  other: {link: main, first address: 40, ports: 8}\n"))
    right(tmp_path, with_board(pins, "  other: {kind: pins, link: yard, first pin: 40, ports: 8}\n"))
    right(tmp_path, with_board(pins, "  other: {kind: pins, link: main, first pin: 48, ports: 8}\n"))


# --- numbers on the wire -------------------------------------------------------------------------------------------


def wired(*outputs: str) -> str:
    rows = "".join(f"  {'abc'[i]}-lamp: {{kind: lamp, {where}}}\n" for i, where in enumerate(outputs))
    boards = (
        "  box: {link: main, first address: 40, ports: 8}\n  strip: {kind: pins, link: main, first pin: 40, ports: 8}\n"
    )
    return f"{HEAD}{LINKS}boards:\n{boards}outputs:\n{rows}"


@pytest.mark.parametrize(
    ("where", "words"),
    [
        ("link: main, address: §0", "addresses on main go from 1 to 2040. write 1 to 2040"),
        ("link: main, address: §2041", "addresses on main go from 1 to 2040"),
        ("link: yard, address: §2045", "addresses on yard go from 1 to 2044"),
        ("link: main, pin: §32768", "write 0 to 32767"),
        ("board: strip, port: §8", "its ports are 0 to 7"),
    ],
)
def test_a_number_that_no_wire_has(tmp_path: Path, where: str, words: str) -> None:
    _, said = one_problem(tmp_path, wired(where))
    assert words in said


@pytest.mark.parametrize(
    "where",
    ["link: main, address: 1", "link: main, address: 2040", "link: yard, address: 2044", "link: main, pin: 0",
     "link: main, pin: 32767", "board: strip, port: 7"],
)  # fmt: skip
def test_a_number_that_a_wire_has(tmp_path: Path, where: str) -> None:
    right(tmp_path, wired(where))


@pytest.mark.parametrize(
    ("first", "second", "shared"),
    [
        ("link: main, pin: 9", "link: main, pin: §9", "share pin 9 of main"),
        ("link: main, address: 9", "link: main, address: §9", "share address 9 of main"),
        ("board: box, port: 2", "link: main, address: §42", "share port 2 of box"),
        ("board: strip, port: 2", "link: main, pin: §42", "share port 2 of strip"),
        ("link: main, pin: 42", "board: strip, port: §2", "share port 2 of strip"),
    ],
)
def test_two_on_one_number_tell_both_places(tmp_path: Path, first: str, second: str, shared: str) -> None:
    problem, said = one_problem(tmp_path, wired(first, second))
    assert f"b-lamp and a-lamp {shared}" in said
    assert [place.line for place, _ in problem.also] == [problem.place.line - 1]


def test_a_pin_and_an_address_of_one_number_are_two_places(tmp_path: Path) -> None:
    right(tmp_path, wired("board: box, port: 2", "board: strip, port: 2", "link: yard, pin: 42"))
    right(tmp_path, wired("link: main, pin: 9", "link: main, address: 9", "link: yard, pin: 9"))


def test_a_buttons_pin_may_not_be_one_of_a_boards(tmp_path: Path) -> None:
    text = wired("board: strip, port: 2") + "buttons:\n  bell-push: {link: main, pin: §42}\n"
    _, said = one_problem(tmp_path, text)
    assert "bell-push and a-lamp share port 2 of strip" in said


def test_the_greatest_numbers_leave_out_the_address_of_every_decoder() -> None:
    # NMRA S-9.2.1 D: nine address bits, of which the last value, 511, is for all decoders at once; four ports each.
    assert MOST_ADDRESS == {True: 510 * 4, False: 511 * 4}
    assert {from_one: packets.most(from_one) for from_one in (True, False)} == MOST_ADDRESS
    assert MOST_PIN == 2**15 - 1
