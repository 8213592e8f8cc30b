"""`wayside jog`: adjusts one servo by hand, and writes its ends, limits and travel into the layout file.

Decides which servo, whether a port is opened, and where it is sent first. What follows is the session's.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from adapters import wires
from engine.layout import Itself, Kind, Layout, Link, Output
from wayside import keys, terminal
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
from wayside.jog.jogging import Jog
from wayside.jog.session import Files, Session, Talks
from wayside.live import last_positions
from wayside.terminal import say
from wayside.usage import FINE, PROBLEMS, UsageProblem, near_miss
from wayside.wording import listed

DESCRIPTION = """\
Adjusts one servo by hand: a key, or a typed line, is a step. Shows the angle and the pulse; its limits hold. Sets its
named ends, its limits and its travel, and writes them into the layout file when told to: everything else in that file
stays as it is, and the old one is kept.

It is first sent to where it was sent last. Where nobody knows that, it jumps, so that is said, and asked. Without a
port, or with --dry-run, it only shows what would be told.

Keep fingers out of arms, rods and gears. Past an end stop a servo draws its stall current, some 650 mA for a small one,
gets hot and breaks its gears: if it hums, step back. One servo at a time, on a supply that can carry it.
"""

EXAMPLES = """\
examples:

  wayside jog near-barrier --in examples/pellbrook-quay
  wayside jog near-barrier --in examples/pellbrook-quay --port /dev/ttyUSB0
  printf 'to raised\\n- 2 deg\\nhere is raised\\nsave\\n' | wayside jog near-barrier --typed --yes

exit status: 0 fine, 1 it cannot be moved from here, or the station refused or did not answer,
2 wrong usage, or a file or port that cannot be used
"""

CARE = """\
  Fingers out of arms, rods and gears. If it hums against an end stop, step back: that is its stall current.
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.usage = "wayside jog SERVO [options]"
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it moves"
    parser.add_argument("servo", metavar="SERVO", nargs="?", help="the name of a servo in the layout file")
    for name, dest, metavar, text in (
        ("--in", "in_", "FOLDER", "the layout's folder (default: this folder, if it holds layout.yaml)"),
        ("--port", "port", "PORT", "the port, in place of the layout file's: /dev/ttyUSB0, COM5, socket://localhost:2560"),
    ):  # fmt: skip
        parser.add_argument(name, dest=dest, metavar=metavar, action=Once, help=text)
    parser.add_argument("--dry-run", action="store_true", help="show only: open no port")
    parser.add_argument("--typed", action="store_true", help="take lines instead of keys, as without a terminal")
    parser.add_argument("--yes", action="store_true", help="do not ask before the port is opened, or before a jump")
    parser.add_argument("--hold", action="store_true", help="do not let go of the servo at the end")


def run(options: argparse.Namespace) -> int:
    if options.in_ == "" or options.port == "":
        raise UsageProblem("--in and --port need something after them.")
    folder = options.in_ or ("." if Path("layout.yaml").is_file() else None)
    if folder is None:
        which = options.servo or "the servo"
        raise UsageProblem(f"In which layout is {which}? Write --in FOLDER, or go to the layout's folder.")
    found = sound_layout(folder, "Nothing was tried. Put the layout file right first.")
    if found is None:
        return PROBLEMS
    layout, file = found
    output = _servo(layout, options.servo)
    served = wires.served(layout, output)
    if isinstance(served, wires.Unserved):
        say(f"{served.what}. {served.instead}.".replace("`", ""))
        return PROBLEMS
    if output.itself is Itself.MOVES:
        say(f"{output.name} is moved by its board, which knows its two ends only: set them there.")
        return PROBLEMS
    if not served.link:
        raise UsageProblem(f"{output.name} has no wire in the layout file. Add its link and pin first.")
    ports = given_ports(options.port, layout)
    layout = replace(layout, links={n: replace(one, port=ports.get(n, one.port)) for n, one in layout.links.items()})
    return _with_port(options, layout, layout.links[served.link], output, file)


def _servo(layout: Layout, name: str | None) -> Output:
    servos = [one.name for one in layout.outputs.values() if one.kind is Kind.SERVO]
    there_is = f"There is {listed(servos)}." if servos else "The layout has no servo."
    if not name:
        raise UsageProblem(f"Which servo? {there_is}")
    output = layout.outputs.get(name)
    if output is None or output.kind in (Kind.COLOUR, Kind.DAYLIGHT):
        raise UsageProblem(f"The layout has no output {name}.{near_miss(name, servos) or f' {there_is}'}")
    if output.kind is Kind.SIGNAL:
        arms = [part for part in dict.fromkeys(p for a in output.aspects for p, _ in a.parts) if part in servos]
        instead = f"Its arm is {listed(arms)}." if arms else there_is
        raise UsageProblem(f"{name} is a signal, and only servos are adjusted. {instead}")
    if output.kind is not Kind.SERVO:
        raise UsageProblem(f"{name} is a {output.kind.value}, and only servos are adjusted. {there_is}")
    return output


# --- with a port, or without one -----------------------------------------------------------------------------------


def _with_port(options: argparse.Namespace, layout: Layout, link: Link, output: Output, file: Path) -> int:
    jog, files = Jog(output, None), Files(file, file.read_bytes(), last_positions.file_for(file))
    at, why = _last(layout, output, file)
    say(jog.all_of_it())
    if options.dry_run or not link.port:
        say("  Nothing is sent: this is a dry run." if options.dry_run else f"  Nothing is sent. {ports_there()}")
        session = Session(jog, layout, files, None)
        if at is None:
            say(f"  With a port it would jump, and ask before: {why}.")
        session.first(output.rest.value if at is None else at)
        return _work(session, options)
    say(CARE.rstrip())
    if output.guarded:
        say(f"  {output.name} is guarded in a show; here it stays as it is told.")
    say(f"  {warning(link)}")
    if not options.yes and not agreed("Open it?"):
        say("  Nothing was sent.")
        return FINE
    begins = _first(output, jog, at, why, options.yes)
    if begins is None:
        say("  Nothing was sent.")
        return FINE
    return _on_port(options, lambda talk: Session(jog, layout, files, talk), link, begins)


def _on_port(options: argparse.Namespace, make: Callable[[Talks], Session], link: Link, at: float) -> int:
    from adapters.dialects import dialect_of
    from adapters.serial_port import Port, PortTrouble
    from wayside.far_ends.trial_talk import Talk

    session: Session | None = None
    try:
        port = Port.open(link.port, link.baud, leave_lines_alone=not link.resets)
        try:
            talk = Talk(port, dialect_of(link), tell_at_once)
            talk.wake(may_reset(link), link.start_up_us)
            if not talk.awake:
                say("  Nothing came back, so nothing was sent. Is this the station's port, and is it switched on?")
                return PROBLEMS
            session = make(talk)
            session.first(at)
            return _work(session, options)
        finally:
            port.close()
    except PortTrouble as trouble:
        if session is not None:
            session.tell_unsaved()
        raise UsageProblem(trouble_words(trouble.what, trouble.instead)) from trouble


def _work(session: Session, options: argparse.Namespace) -> int:
    try:
        if keys.there() and not options.typed:
            session.by_keys()
        else:
            session.typed()
    except KeyboardInterrupt:
        terminal.end_line()
        session.leave(options.hold)
        raise
    session.leave(options.hold)
    return PROBLEMS if session.failed else FINE


# --- where it is sent first ----------------------------------------------------------------------------------------


def _last(layout: Layout, output: Output, file: Path) -> tuple[float | None, str]:
    """Where it was sent last, and why that is not known."""
    kept = last_positions.file_for(file)
    positions, trouble = last_positions.read(kept, layout)
    if kept.with_name(last_positions.RUNNING).exists():
        return None, "a show is running, or the last one was not ended, so nobody knows where it stands"
    return positions.get(output.name), trouble.rstrip(".") or "nobody knows where it stands"


def _first(output: Output, jog: Jog, at: float | None, why: str, yes: bool) -> float | None:
    """Where it is sent first; None if the person would rather not."""
    if at is not None:
        say(f"  First it is sent to {at:g} deg, where it was sent last. If it was moved by hand since, it jumps there.")
        return at
    rest = output.rest.value
    named = next((f"{one.name}, {rest:g} deg" for one in output.positions if one.degrees == rest), f"{rest:g} deg")
    say(f"  {output.name} will jump, at its full speed: {why}. Take away whatever it could hit.")
    if yes:
        return rest
    if not sys.stdin.isatty():
        raise UsageProblem("Nobody is there to be asked. Add --yes if it may jump.")
    tell_at_once(f"  Type yes to send it to {named}; or an end or an angle to begin there; anything else leaves it:")
    answer = sys.stdin.readline().strip().lower()
    if answer in ("yes", "y"):
        return rest
    said = jog.obey(f"to {answer}") if answer and answer not in ("n", "no") else None
    if said is None or said.move is None:
        if said is not None:
            say(f"  {said.says}")
        return None
    return said.move.degrees
