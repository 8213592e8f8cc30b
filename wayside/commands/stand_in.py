"""`wayside stand-in`: runs the emulated far end, with the names of a layout, and takes typed lines.

What the station does is decided by the station, and how much is said of it by the teller.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path
from queue import Empty
from typing import TYPE_CHECKING

from wayside import wording
from wayside.far_ends.stand_in_teller import Teller, clock
from wayside.terminal import finish, say, tell
from wayside.usage import FINE, PROBLEMS, UsageProblem, near_miss, why_not

if TYPE_CHECKING:
    from adapters.stand_in import Settings, Station
    from adapters.stand_in_faults import Wish
    from adapters.stand_in_ports import StandIn
    from engine.layout import Layout, Link, Wiring
    from wayside.project import Project

HIGHEST_PORT = 65_535
MOST_FAULTS = 30
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

    0:12.3  accessory 42, red-left: output 1 on             <a 11 1 1>
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
    from wayside.commands.check import counted, paragraphs, without

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


# --- running -------------------------------------------------------------------------------------------------------


def _serve(stand_in: StandIn, teller: Teller) -> int:
    with _ended_politely(stand_in), contextlib.suppress(KeyboardInterrupt), contextlib.closing(stand_in):
        _open(stand_in)
        for line in greeting(stand_in):
            say(line)
        finish()
        threading.Thread(target=_read_lines, args=(stand_in,), name="typed lines", daemon=True).start()
        stand_in.serve()
    with contextlib.suppress(UsageProblem):  # a terminal that was closed takes no farewell
        teller.end()
        say(farewell(stand_in))
        finish()
    return FINE


def farewell(stand_in: StandIn) -> str:
    """How long it ran, and what it was told."""
    station = stand_in.station
    lost = f"; {wording.count(station.lost, 'byte')} came too fast and were lost" if station.lost else ""
    told = wording.count(station.obeyed, "command")
    return f"\nStopped after {clock(stand_in.now_us()).strip()}: {told}{lost}."


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
