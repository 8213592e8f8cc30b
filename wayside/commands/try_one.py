"""`wayside try`: tells one output one thing, and shows what goes over the wire for it.

Decides what was asked for, and whether a port is opened. What a trial is and how it goes is decided elsewhere.
"""

from __future__ import annotations

import argparse
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from engine.layout import Layout, Link, Wiring
from wayside.far_ends.port_asking import (
    agreed,
    given_ports,
    may_reset,
    ports_there,
    sound_layout,
    tell_at_once,
    trouble_words,
    warning,
)
from wayside.terminal import say
from wayside.usage import FINE, PROBLEMS, UsageProblem, near_miss
from wayside.wording import listed, read_whole_number

if TYPE_CHECKING:
    from wayside.far_ends.trial import Trial

MEND_FIRST = "Nothing was tried. Put the layout file right first, or try a pin or an address from another folder."
DESCRIPTION = """\
Tells one output one thing, to see whether it is wired as the layout file says: a name from the layout file and its
state, or an address or pin alone, for which no layout file is needed. Shows the command as text and as bytes, and for
an accessory the packet on the track, counted in both ways, to be compared with the decoder's book.

Without a port, or with --dry-run, it only shows. With one it says what opening it may do, asks, waits for the station,
tells it, and says what came back. It never switches the track's power.
"""

EXAMPLES = """\
examples:

  wayside try quay-lamp-1 40% --in examples/pellbrook-quay --dry-run
  wayside try near-barrier lowered --in examples/pellbrook-quay --port /dev/ttyUSB0
  wayside try --address 41 on --port COM5
  wayside try --address 41 --aspect 3
  wayside try --pin 20 --degrees 45 --port socket://localhost:2560 --yes

exit status: 0 shown or told, 1 it cannot be told, or the station refused or did not answer,
2 wrong usage, or a file or port that cannot be used
"""

OPTIONS = (
    ("--in", "in_", "FOLDER", "the layout's folder (default: this folder, if it holds layout.yaml)"),
    ("--link", "link", "NAME", "the link of an address or pin, where the layout has several"),
    ("--port", "port", "PORT", "the port, in place of the layout file's: /dev/ttyUSB0, COM5, socket://localhost:2560"),
    ("--address", "address", "N", "an accessory's number instead of a name"),
    ("--pin", "pin", "N", "a pin's number instead of a name"),
    ("--degrees", "degrees", "N", "the angle of a servo on that pin"),
    ("--aspect", "aspect", "N", "the aspect of a signal at that address"),
    ("--dialect", "dialect", "NAME", "early or late, in place of the layout file's (without one: late)"),
    (
        "--boards-from",
        "boards_from",
        "N",
        "whether accessory 1 is on board 1 or board 0, in place of the layout file's",
    ),
)
_ANGLE = re.compile(r"([0-9]{1,3}(?:[.,][0-9]{1,6})?) ?(?:degrees?|deg|°)?")


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.usage = "wayside try NAME STATE [options]"
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it tells"
    parser.add_argument(
        "words", metavar="NAME STATE", nargs="*", help="an output, and on, off, a level, a position or an aspect"
    )
    for name, dest, metavar, text in OPTIONS:
        parser.add_argument(name, dest=dest, metavar=metavar, action=Once, help=text)
    parser.add_argument("--dry-run", action="store_true", help="show only: open no port")
    parser.add_argument("--yes", action="store_true", help="do not ask before the port is opened")


def run(options: argparse.Namespace) -> int:
    from wayside.far_ends.trial import CannotBeTold, lines

    _refuse_odd_mixes(options)
    layout, problems = _layout(options)
    if layout is None:
        return problems
    try:
        trial = _trial(options, layout)
    except CannotBeTold as why:
        say(str(why).replace("`", ""))
        return PROBLEMS
    for line in lines(trial):
        say(line)
    if options.dry_run:
        say("  Nothing was sent: this is a dry run.")
        return FINE
    if not trial.link.port:
        say(f"  Nothing was sent: no port is named. {ports_there()}")
        return FINE
    return _send(trial, options.yes)


def _refuse_odd_mixes(options: argparse.Namespace) -> None:
    """Combinations that have no meaning; a table of (is it so, what to say)."""
    by_number = options.address is not None or options.pin is not None
    value = options.degrees is not None or options.aspect is not None
    count = len(options.words)
    mixes = (
        (options.address is not None and options.pin is not None, "Give --address or --pin, not both."),
        (options.degrees is not None and options.pin is None, "--degrees goes with --pin N; a name has positions."),
        (options.aspect is not None and options.address is None, "--aspect goes with --address N; a name has its own."),
        (options.link is not None and not by_number, "--link goes with --address or --pin: a name has its link."),
        (value and count > 0, "It is told two things at once. Leave out the words, or --degrees and --aspect."),
        (by_number and not value and not count, "Told what? Write on, off or a level behind it, such as 40%."),
        (not by_number and not count, "Which output? Write its name and its state, such as: wayside try amber on"),
        (not by_number and count == 1, "Told what? Write its state behind the name, such as on, or a position."),
        (not all(options.words), "One of the words after `wayside try` is empty."),
        (options.in_ == "" or options.port == "", "--in and --port need something after them."),
    )  # fmt: skip
    for so, sentence in mixes:
        if so:
            raise UsageProblem(sentence)


# --- the layout, with what the options say of its link ---------------------------------------------------------------


def _layout(options: argparse.Namespace) -> tuple[Layout | None, int]:
    """The layout, its links as the options have them; or None and the exit status, its errors said."""
    from wayside.far_ends.trial import BARE, bare_layout

    by_number = options.address is not None or options.pin is not None
    folder = options.in_ or ("." if Path("layout.yaml").is_file() else None)
    if folder is None and not by_number:
        raise UsageProblem(f"In which layout is {options.words[0]}? Write --in FOLDER, or --pin N or --address N.")
    if folder is None:
        layout = bare_layout(Link(BARE, dialect="late"))
    else:
        found = sound_layout(folder, MEND_FIRST)
        if found is None:
            return None, PROBLEMS
        layout = found[0]
    if options.link is not None and options.link not in layout.links:
        raise UsageProblem(f"The layout has no link {options.link}.{near_miss(options.link, layout.links)}")
    ports = given_ports(options.port, layout)
    return replace(layout, links={name: _changed(link, options, ports) for name, link in layout.links.items()}), FINE


def _changed(link: Link, options: argparse.Namespace, ports: dict[str, str]) -> Link:
    from adapters.dialects import DIALECTS

    if options.dialect is not None:
        if options.dialect not in DIALECTS:
            raise UsageProblem(f"There is no dialect {options.dialect}. Write {' or '.join(DIALECTS)}.")
        link = replace(link, dialect=options.dialect)
    if options.boards_from is not None:
        if options.boards_from not in ("0", "1"):
            raise UsageProblem(f"--boards-from takes 1 or 0, not {options.boards_from!r}.")
        link = replace(link, from_one=options.boards_from == "1")
    return replace(link, port=ports.get(link.name, link.port))


def _trial(options: argparse.Namespace, layout: Layout) -> Trial:
    from wayside.far_ends.trial import Number, by_name, by_number

    state = " ".join(options.words)
    if options.address is None and options.pin is None:
        return by_name(layout, options.words[0], " ".join(options.words[1:]))
    address = None if options.address is None else read_whole_number(options.address, "--address")
    pin = None if options.pin is None else read_whole_number(options.pin, "--pin")
    aspect = None if options.aspect is None else read_whole_number(options.aspect, "--aspect")
    angle = None if options.degrees is None else _angle(options.degrees)
    return by_number(layout, _link(options, layout), Number(Wiring(address=address, pin=pin), state, angle, aspect))


def _angle(text: str) -> float:
    found = _ANGLE.fullmatch(text)
    if not found:
        raise UsageProblem(f"--degrees takes an angle such as 45, not {text!r}.")
    return float(found[1].replace(",", "."))


def _link(options: argparse.Namespace, layout: Layout) -> Link:
    names = list(layout.links)
    if options.link is not None:
        return layout.links[options.link]
    if len(names) != 1:
        several = f"The layout has the links {listed(names)}. Write --link NAME." if names else ""
        raise UsageProblem(several or "The layout file has no link. Add one under links:, or leave out --in.")
    return layout.links[names[0]]


# --- the port ------------------------------------------------------------------------------------------------------


def _send(trial: Trial, yes: bool) -> int:
    link = trial.link
    say(f"  {warning(link)}")
    if not yes and not agreed("Open it and tell the station?"):
        say("  Nothing was sent.")
        return FINE
    from adapters.dialects import dialect_of
    from adapters.serial_port import Port, PortTrouble
    from wayside.far_ends.trial_talk import Talk

    try:
        port = Port.open(link.port, link.baud, leave_lines_alone=not link.resets)
        try:
            talk = Talk(port, dialect_of(link), tell_at_once)
            heard = talk.run(trial.texts, may_reset(link), link.start_up_us, trial.on_the_track)
        finally:
            port.close()
    except PortTrouble as trouble:
        raise UsageProblem(trouble_words(trouble.what, trouble.instead)) from trouble
    return FINE if heard.anything and not heard.refused else PROBLEMS
