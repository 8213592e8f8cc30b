"""What the command line asks of the desk: its options, and the desk that they mean. Loads no web without need."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from wayside import wording
from wayside.terminal import say
from wayside.usage import UsageProblem

if TYPE_CHECKING:
    from wayside.desk.desk import Desk
    from wayside.live.screen import Screen

PORT = 8640


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.add_argument(
        "--desk",
        metavar="PORT",
        action=Once,
        help=f"the port of the desk, a page for a browser (default {PORT}, or the next free one)",
    )
    parser.add_argument("--no-desk", action="store_true", help="no page")
    parser.add_argument("--lan", action="store_true", help="the desk for phones on this network too, behind a PIN")


def desk(options: argparse.Namespace, screen: Screen) -> Desk | None:
    """The desk that was asked for; its port is taken now, so that one that cannot be had is said before all."""
    if options.no_desk:
        if options.lan or options.desk is not None:
            raise UsageProblem("--no-desk leaves the desk out: it has no port, and nobody on the network sees it.")
        return None
    port = PORT if options.desk is None else wording.read_whole_number(options.desk, "--desk")
    if not 1024 <= port <= 65_535:
        raise UsageProblem(f"--desk {port}: a port for the desk is 1024 to 65535.")
    from wayside.desk.desk import Desk

    try:
        made = Desk(port, options.lan)
    except UsageProblem as problem:
        if options.desk is not None or options.lan:
            raise
        screen.remark(f"{problem} The show goes on without its desk.")  # nobody asked for it by name
        return None
    screen.told, screen.recorded = made.remark, made.record
    screen.marks = (f"desk       {made.door}",)
    if made.lan:  # no remark, which a page or a journal might hear, too: the PIN is for whoever sees this terminal
        say(made.door.opening(port))
    else:
        screen.remark(made.door.opening(port))
    if made.lan and not screen.plain:  # a code is larger than the room for events
        say("Press Enter to see the show.")
        screen.held = True
    return made
