"""`wayside stand-in`: runs the emulated far end, says in plain words what it is told, and takes typed lines.

Decides what goes to the screen, and how much of it; what the station does is decided by the station.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import threading
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from queue import Empty
from typing import TYPE_CHECKING

from wayside.terminal import finish, say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, near_miss, why_not

if TYPE_CHECKING:
    from adapters.stand_in import Entry, Settings, Station
    from adapters.stand_in_faults import Wish
    from adapters.stand_in_ports import StandIn
    from engine.layout import Layout, Link, Wiring
    from wayside.project import Project

HIGHEST_PORT = 65_535
MOST_FAULTS = 30
AGAIN_US = 500_000  # before an output is told of a second time; then twice as long, and so on
LONGEST_PATIENCE_US = 8_000_000
CALM_US = 1_000_000  # an output that was told nothing for so long is told of at once
OUTPUTS = ("accessory", "signal", "pin", "servo", "turnout")
LINES_A_SECOND = 20
MOST_THINGS = 10_000
COMMAND_COLUMN = 62
STDIN = 0

DESCRIPTION = """\
Plays the station at the far end of a serial text line, for people without hardware: it opens a serial port and, if
asked, a TCP port on this computer only, does what it is told as a station would, and says in plain words what that was.
Its track power is off when it starts, as a station's is. With the FOLDER of a layout it knows its outputs by their
names. Type `help` while it runs to see what hands can do: trains come and go, somebody else throws a turnout, cables
come out.
"""

EXAMPLES = """\
examples:

  wayside stand-in
  wayside stand-in examples/pellbrook-quay
  wayside stand-in --tcp 4041 --fault half-replies --fault "late-replies 300 ms"

    0:12.3  accessory 41, red-left: output 1 on             <a 11 0 1>
    0:12.9  servo on pin 20, near-barrier: 1420 us, 85 deg  <z 20 1420>

to use it, write its port as the link's in a layout file, for example at Pellbrook Quay

    links:
      main: {kind: serial text, port: /tmp/wayside-stand-in}

typed lines, for example:

    power on
    detector 12 on
    fault silence 5 s

"""

ENDING = """\
exit status: 0 it ran until Ctrl-C, 1 the files of the layout have errors, 2 wrong usage or a port that cannot be opened
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from adapters.stand_in_faults import FAULTS
    from wayside.cli import Once

    width = max(map(len, FAULTS))
    rows = [f"  {name:<{width}}  {fault.words()}" for name, fault in FAULTS.items()]
    parser.usage = "wayside stand-in [FOLDER] [options]"
    parser.description = DESCRIPTION
    parser.epilog = EXAMPLES + "faults:\n\n" + "\n".join(rows) + "\n\n" + ENDING
    parser._positionals.title = "whose names it says"
    parser.add_argument("folder", metavar="FOLDER", nargs="?", help="the folder of a layout")
    parser.add_argument(
        "--tcp", metavar="PORT", action=Once, help="listen on this TCP port of 127.0.0.1; 0: a free one"
    )
    parser.add_argument("--pty", action="store_true", help="open a serial port; done anyway without --tcp")
    parser.add_argument(
        "--fault", metavar="NAME", action="append", dest="faults", help="what goes wrong; may be given several times"
    )
    parser.add_argument("--link", metavar="NAME", action=Once, help="which link of the layout, where it has several")


def run(options: argparse.Namespace) -> int:
    from adapters.stand_in import Settings, Station
    from adapters.stand_in_ports import StandIn

    tcp = None if options.tcp is None else _port(options.tcp)
    wishes = [_wish(text) for text in _few(options.faults or [])]
    if options.link is not None and options.folder is None:
        raise UsageProblem("--link goes with the FOLDER of a layout: write which.")
    names: dict[str, str] = {}
    settings = Settings()
    if options.folder is not None:
        project = _project(options.folder)
        if project.errors:
            return _stopped_by_errors(project)
        names, settings = _from_layout(project.layout, options.link)
    station = Station(settings)
    for wish in wishes:
        station.prepare(wish)
    can_pty = hasattr(os, "openpty")
    if options.pty and not can_pty:
        raise UsageProblem("This computer's system has no serial ports that a program can open. Use --tcp 0 instead.")
    teller = Teller(names)
    pty = options.pty or tcp is None
    stand_in = StandIn(station, pty and can_pty, 0 if tcp is None and not can_pty else tcp, watch=teller.look)
    return _serve(stand_in, teller)


def _few(faults: list[str]) -> list[str]:
    if len(faults) > MOST_FAULTS:
        raise UsageProblem(f"At most {MOST_FAULTS} faults at once.")
    return faults


def _port(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) <= 5 and int(text) <= HIGHEST_PORT):
        raise UsageProblem(f"--tcp takes the number of a port, such as 4041, or 0 for any free one; not {text!r}.")
    return int(text)


def _wish(text: str) -> Wish:
    from adapters.stand_in_faults import BadFault, read_fault

    try:
        wish = read_fault(text)
    except BadFault as problem:
        raise UsageProblem(f"--fault: {problem}") from None
    if wish.over:
        raise UsageProblem(f"--fault: nothing is wrong when it starts, so {wish.name} cannot be switched off.")
    return wish


def _open(stand_in: StandIn) -> None:
    try:
        stand_in.open()
    except PermissionError:
        raise UsageProblem(
            "This port may not be opened by you. Take one above 1023, or --tcp 0 for a free one."
        ) from None
    except OSError as problem:
        if stand_in.port:
            raise UsageProblem(
                f"TCP port {stand_in.port} cannot be opened: {why_not(problem)}. Is another program using it? "
                "Choose another number, or --tcp 0 for a free one."
            ) from None
        raise UsageProblem(f"No port can be opened: {why_not(problem)}.") from None


def greeting(stand_in: StandIn) -> Iterator[str]:
    """Where it listens, and what can be done."""
    from adapters.stand_in_ports import HOST

    yield "This is a stand-in for a station. Ctrl-C ends it."
    if stand_in.pty is not None:
        device = f", which is {stand_in.pty.device}" if stand_in.pty.device != stand_in.pty.name else ""
        yield f"serial port: {stand_in.pty.name}{device}"
    if stand_in.port is not None:
        yield f"TCP port:    socket://{HOST}:{stand_in.port}"
    yield "The track power is off. Lines that you can type here: `help`, `power on`, `detector 12 on`, `show`."
    yield ""


# --- names from a layout -------------------------------------------------------------------------------------------


def _project(folder: str) -> Project:
    from wayside.project import load

    if not folder:
        raise UsageProblem("The name of the folder is empty. Write the folder of a layout, or nothing at all.")
    return load([Path(folder)])


def _stopped_by_errors(project: Project) -> int:
    from wayside.command_check import counted, paragraphs, without

    for paragraph in paragraphs(project.errors, project.lines):
        say(paragraph)
    say(f"{project.name}: {counted(project)}; nothing was started. Put the errors right first.{without(project)}")
    return PROBLEMS


def _from_layout(layout: Layout, wanted: str | None) -> tuple[dict[str, str], Settings]:
    """The names of what is wired to one link, and what kind of station that link has."""
    from adapters.stand_in import Settings
    from adapters.wires import inputs
    from engine.layout import Kind

    link = _link(layout, wanted)
    names: dict[str, str] = {}
    servos = set()
    for output in layout.outputs.values():
        seat = _seat(layout, link, output.wiring)
        if seat is None:
            continue
        number, is_pin = seat
        if is_pin and output.kind is Kind.SERVO:
            servos.add(number)
        kinds = ("pin", "servo on pin") if is_pin else ("accessory", "signal")
        names.update({f"{kind} {number}": output.name for kind in kinds})
    for number, _, name, _ in inputs(layout, link):
        names[f"detector {number}"] = name
    return names, Settings(servos=frozenset(servos), from_one=link.from_one, by_output=link.by_output, baud=link.baud)


def _seat(layout: Layout, link: Link, wiring: Wiring) -> tuple[int, bool] | None:
    from adapters.seats import seat_of

    seat = seat_of(layout, wiring)
    return None if seat is None or seat.link.name != link.name else (seat.number, seat.is_pin)


def _link(layout: Layout, wanted: str | None) -> Link:
    if wanted is not None:
        if wanted not in layout.links:
            raise UsageProblem(f"This layout has no link {wanted}.{near_miss(wanted, layout.links)}")
        return layout.links[wanted]
    if not layout.links:
        raise UsageProblem("This layout has no links, so there is nothing to stand in for. Leave the folder out.")
    if len(layout.links) > 1:
        raise UsageProblem(f"This layout has several links. Write which: --link {' or --link '.join(layout.links)}.")
    return next(iter(layout.links.values()))


# --- what is said --------------------------------------------------------------------------------------------------


class Heard:
    """An output that is told again and again: when it last was, what has not been said yet, and how long that waits."""

    def __init__(self) -> None:
        self.heard_us = self.said_us = 0
        self.patience_us = AGAIN_US
        self.held: Entry | None = None
        self.before = 0  # entries that the held one took the place of


class Teller:
    """Says what the station is told, quietly: of an output that is told something new again and again it says ever
    less, but always the last; and what is asked over and over is said once."""

    def __init__(self, names: dict[str, str], out: Callable[[str], None] = say) -> None:
        self._names = names
        self._out = out
        self._seen = 0
        self._things: dict[str, Heard] = {}
        self._asked: dict[str, str] = {}
        self._second = -1
        self._lines = self._unsaid = 0

    def look(self, station: Station, now_us: int) -> None:
        """Say what is new in the station's log, and what has waited long enough."""
        fresh = min(station.told - self._seen, len(station.log))
        self._seen = station.told
        for entry in list(islice(reversed(station.log), fresh))[::-1]:
            self._hear(entry)
        said = [heard for heard in self._things.values() if heard.held is not None and self._is_time(heard, now_us)]
        for heard in said:
            self._say_held(heard, now_us)
        self._turn(now_us)
        if fresh or said:
            finish()

    def end(self) -> None:
        """Say what is still held."""
        for heard in self._things.values():
            if heard.held is not None:
                self._say_held(heard, heard.held.at_us)

    def _is_time(self, heard: Heard, now_us: int) -> bool:
        return now_us - heard.heard_us >= CALM_US or now_us - heard.said_us >= heard.patience_us

    def _hear(self, entry: Entry) -> None:
        if entry.thing == "asked":
            if self._asked.get(entry.command) != entry.effect:
                self._asked[entry.command] = entry.effect
                self._print(entry)
            return
        if not entry.command or not entry.thing.startswith(OUTPUTS) or len(self._things) >= MOST_THINGS:
            self._print(entry)
            return
        heard = self._things.get(entry.thing)
        if heard is None or entry.at_us - heard.heard_us >= CALM_US:
            if heard is not None and heard.held is not None:
                self._say_held(heard, entry.at_us)
            heard = self._things[entry.thing] = Heard()
            heard.said_us = entry.at_us
            self._print(entry)
        else:
            heard.before += heard.held is not None
            heard.held = entry
        heard.heard_us = entry.at_us

    def _say_held(self, heard: Heard, now_us: int) -> None:
        if heard.held is not None:
            self._print(heard.held._replace(at_us=now_us), heard.before)  # said now: the clock never goes back
        heard.held, heard.before, heard.said_us = None, 0, now_us
        heard.patience_us = min(heard.patience_us * 2, LONGEST_PATIENCE_US)

    def _print(self, entry: Entry, before: int = 0) -> None:
        self._turn(entry.at_us)
        if self._lines >= LINES_A_SECOND:
            self._unsaid += 1
            return
        self._lines += 1
        self._out(line_of(entry, self._names, before))

    def _turn(self, now_us: int) -> None:
        second = now_us // 1_000_000
        if second > self._second:
            if self._unsaid:
                self._out(f"{clock(now_us)}  ... and {self._unsaid} more; `show` tells how everything is now")
            self._second, self._lines, self._unsaid = second, 0, 0


def clock(at_us: int) -> str:
    """`0:12.3`: minutes, seconds and tenths since it began."""
    tenths = at_us // 100_000
    return f"{tenths // 600:>4}:{tenths // 10 % 60:02}.{tenths % 10}"


def line_of(entry: Entry, names: dict[str, str], before: int = 0) -> str:
    """One entry as a line for the screen, with the command as it came."""
    name = f", {names[entry.thing]}" if entry.thing in names else ""
    words = {"asked": f"asked {entry.effect}", "refused": entry.effect}.get(
        entry.thing, f"{entry.thing}{name}: {entry.effect}"
    )
    more = f" ({before} more before)" if before else ""
    text = f"{clock(entry.at_us)}  {words}{more}"
    return f"{text:<{COMMAND_COLUMN}}  {entry.command}".rstrip() if entry.command else text


# --- running -------------------------------------------------------------------------------------------------------


def _serve(stand_in: StandIn, teller: Teller) -> int:
    with _ended_politely(stand_in), contextlib.suppress(KeyboardInterrupt), contextlib.closing(stand_in):
        _open(stand_in)
        for line in greeting(stand_in):
            say(line)
        finish()
        threading.Thread(target=_read_lines, args=(stand_in,), name="typed lines", daemon=True).start()
        stand_in.serve()
    teller.end()
    station = stand_in.station
    lost = f", {station.lost} bytes of which were lost because they came too fast" if station.lost else ""
    say(f"\nStopped after {clock(stand_in.now_us()).strip()}: {station.obeyed} commands{lost}.")
    return FINE


@contextlib.contextmanager
def _ended_politely(stand_in: StandIn) -> Iterator[None]:
    """Being told to end, or a terminal that is closed, is as good as Ctrl-C."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    kinds = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {kind: signal.signal(kind, lambda *_: stand_in.stop()) for kind in kinds}
    try:
        yield
    finally:
        for kind, handler in before.items():
            signal.signal(kind, handler)


def _read_lines(stand_in: StandIn) -> None:
    """Typed lines, as long as there is somebody to type them."""
    with contextlib.suppress(OSError, ValueError, Empty):
        for line in _typed():
            if line.strip().lower() in ("quit", "exit", "bye"):
                stand_in.stop()
                return
            stand_in.ask(lambda station, now_us, line=line: _do(station, line, now_us))  # type: ignore[misc]


def _typed() -> Iterator[str]:
    """Lines from the keyboard, read from its number: a thread that held a reader's lock would spoil the leaving."""
    waiting, most = b"", 4_096
    while True:
        if _in_background():
            threading.Event().wait(0.5)
            continue
        data = os.read(STDIN, most)
        if not data:
            return
        *lines, waiting = (waiting + data).split(b"\n")
        yield from (line.decode("utf-8", "replace") for line in lines)
        waiting = waiting[:most]


def _in_background() -> bool:
    """Reading from a terminal that another job has would stop the whole program."""
    return hasattr(os, "tcgetpgrp") and os.isatty(STDIN) and os.tcgetpgrp(STDIN) != os.getpgrp()


def _do(station: Station, line: str, now_us: int) -> None:
    from adapters.stand_in_typed import BadLine, typed

    try:
        for answer in typed(station, line, now_us):
            say(f"          {answer}")
    except BadLine as problem:
        tell(f"          {problem}")
    finish()
