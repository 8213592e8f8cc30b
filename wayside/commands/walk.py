"""`wayside walk`: round the layout, each output, detector and button in turn; the answers become likely faults.

Decides what is walked, over which ports, and where the result goes. What a walk does is decided in `walker`.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from wayside.terminal import say
from wayside.usage import FINE, INTERRUPTED, PROBLEMS, UsageProblem, near_miss, why_not
from wayside.wording import count, listed

if TYPE_CHECKING:
    from engine.layout import Layout
    from wayside.walk.keeping import Kept
    from wayside.walk.links import DryHand, LinkHand
    from wayside.walk.performance import Performance
    from wayside.walk.report import Report
    from wayside.walk.stops import Round, Stop

PORT = 8650

DESCRIPTION = """\
Goes round the layout with you. Each output in turn does something that can be found (lamps flash, servos go slowly
between their ends), and you say whether it did that; each detector and button ticks itself off as a wagon is rolled
over it, or it is pressed. From the answers it says what is likely to be wrong, and what to try first.

It goes box by box, what is guarded last. Nothing is told before you have said that hands are off the track, and what
moves, or is guarded, only after it has asked. Track power is never switched. The answers are kept beside the layout
file, so a walk can be left and gone on with; what the layout file says anew is walked anew. With --lan a phone shows
the same walk, with large keys.
"""

EXAMPLES = """\
examples:

  wayside walk examples/pellbrook-quay --dry-run
  wayside walk FOLDER --port /dev/ttyUSB0 --lan
  wayside walk FOLDER --only crossing-board
  wayside walk FOLDER --report --markdown walk.md --csv walk.csv

exit status: 0 nothing is wrong so far, 1 something is, or the layout file has errors, 2 wrong usage or a port that
cannot be used, 130 stopped by Ctrl-C
"""


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once
    from wayside.walk.stops import ORDERS

    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it walks"
    parser.add_argument("folder", metavar="FOLDER", nargs="?", help="a layout's folder, or its layout file")
    add = parser.add_argument
    add("--port", metavar="[LINK=]PORT", action="append", default=[], help="a link's port, as `wayside run` has it")
    add("--dry-run", action="store_true", help="open no port: type `lane occupied`, `lane clear` for detectors")
    add(
        "--only",
        metavar="NAME",
        action="append",
        default=[],
        help="one output, detector, board or link",
    )
    add("--again", action="store_true", help="walk again, too, what was not as it should be")
    add("--anew", action="store_true", help="begin anew; the walk so far is put aside")
    add(
        "--order",
        metavar="|".join(ORDERS),
        action=Once,
        help="board by board (default), by place on the plan, or as written",
    )
    add("--report", action="store_true", help="only say what came of the walk so far")
    add("--markdown", metavar="FILE", action=Once, help="write the result as a page to give away")
    add("--csv", metavar="FILE", action=Once, help="write every stop as a table")
    add("--yes", action="store_true", help="do not ask before a port is opened")
    add("--desk", metavar="PORT", action=Once, help=f"the port of its page, for a browser (default {PORT})")
    add("--no-desk", action="store_true", help="no page")
    add("--lan", action="store_true", help="the page for phones on this network too, behind a PIN")


def run(options: argparse.Namespace) -> int:
    from wayside.far_ends.port_asking import sound_layout
    from wayside.walk import keeping as walk_keeping
    from wayside.walk.stops import ORDERS, walk_round

    _refuse_odd_mixes(options)
    order = options.order or ORDERS[0]
    if order not in ORDERS:
        raise UsageProblem(f"--order takes {' or '.join(ORDERS)}, not {order!r}.{near_miss(order, ORDERS)}")
    found = sound_layout(options.folder, "Nothing was walked. Put the layout file right first.")
    if found is None:
        return PROBLEMS
    layout, file = found
    name = layout.name or file.resolve().parent.name
    walk = walk_round(layout, order)
    if not walk.stops:
        say(f"{name}: nothing is wired to a link in the layout file, so there is nothing to walk.")
        return PROBLEMS
    _known(options.only, walk)
    path = walk_keeping.file_for(file)
    if options.anew:
        _put_aside(path)
    kept = walk_keeping.read(path, layout, walk)
    if options.report:
        return _reported(options, _report(layout, name, walk, kept), kept)
    return _walked(options, layout, file, name, walk, kept)


def _refuse_odd_mixes(options: argparse.Namespace) -> None:
    """Combinations that have no meaning; a table of (is it so, what to say)."""
    mixes = (
        (not options.folder, "Which layout is walked? Write its folder, such as: wayside walk examples/pellbrook-quay"),
        (options.dry_run and options.port, "--dry-run opens no port: leave one of the two out."),
        (options.report and options.anew, "--anew throws away what --report would tell. Leave one of the two out."),
        (options.report and options.only, "--report tells of the whole walk: leave out --only."),
        (options.no_desk and (options.lan or options.desk is not None),
         "--no-desk leaves the page out: leave out --desk and --lan, too."),
        (options.markdown == "" or options.csv == "", "--markdown and --csv need the name of a file after them."),
    )  # fmt: skip
    for so, sentence in mixes:
        if so:
            raise UsageProblem(sentence)


def _known(only: list[str], walk: Round) -> None:
    from wayside.walk.session import names_of

    names = names_of(walk)
    for name in only:
        if name not in names:
            left = next((one for one in walk.left_out if one.name == name), None)
            if left is not None:
                raise UsageProblem(f"{name} cannot be walked: {left.why.rstrip('.')}.")
            raise UsageProblem(f"The walk has no stop, board or link {name}.{near_miss(name, names)}")


def _put_aside(path: Path) -> None:
    from wayside.walk import keeping as walk_keeping

    try:
        walk_keeping.put_aside(path)
    except OSError as problem:
        raise UsageProblem(f"The walk so far cannot be put aside: {why_not(problem)}.") from problem


# --- the result ----------------------------------------------------------------------------------------------------


def _report(layout: Layout, name: str, walk: Round, kept: Kept) -> Report:
    from wayside.walk.report import report_of
    from wayside.walk.signs import walked

    return report_of(name, walked(layout, walk, kept.answers, kept.heard), kept.answers)


def _reported(options: argparse.Namespace, report: Report, kept: Kept) -> int:
    from wayside.walk.report import text_lines

    _said_before(kept)
    for line in text_lines(report):
        say(line)
    return _given(options, report)


def _said_before(kept: Kept) -> None:
    if kept.trouble:
        say(kept.trouble)
    if kept.changed:
        say(f"What the layout file says of {listed(list(kept.changed), 6)} has changed: walked anew.")


def _given(options: argparse.Namespace, report: Report) -> int:
    """Write what was asked for; the exit status."""
    from wayside.walk.report import markdown, table

    for name, write in ((options.markdown, markdown), (options.csv, table)):
        if name is None:
            continue
        try:
            Path(name).write_text(write(report), encoding="utf-8")
        except (OSError, ValueError) as problem:
            why = why_not(problem) if isinstance(problem, OSError) else "no file can be called that"
            raise UsageProblem(f"{name} cannot be written: {why}.") from problem
        say(f"Written: {name}")
    return PROBLEMS if report.faults else FINE


# --- the walk ------------------------------------------------------------------------------------------------------


def _walked(options: argparse.Namespace, layout: Layout, file: Path, name: str, walk: Round, kept: Kept) -> int:
    from wayside.walk.session import chosen

    stops = chosen(walk, kept, options.only, options.again, layout)
    _said_before(kept)
    if not stops:
        say("Every stop has been walked. --again walks what was not right, --anew begins anew.\n")
        return _reported(options, _report(layout, name, walk, kept), kept._replace(changed=(), trouble=""))
    done = len(walk.stops) - len(stops)
    before = f", {done} walked before" if done and not options.only else ""
    say(f"{name}: {count(len(stops), 'stop')}{before}.")
    performance = _begun(options, layout, file, name, walk, stops, kept)
    if performance is None:
        return FINE
    stopped = performance.perform()
    status = _given(options, performance.session.report)
    return INTERRUPTED if stopped else status


def _begun(
    options: argparse.Namespace, layout: Layout, file: Path, name: str, walk: Round, stops: list[Stop], kept: Kept
) -> Performance | None:
    """The walk with its links and its page; None where the port is not to be opened."""
    from wayside.far_ends.port_asking import may_open
    from wayside.live.links import links_of
    from wayside.walk.links import DryHand
    from wayside.walk.performance import Performance
    from wayside.walk.stops import links_walked

    performance = Performance()
    hand: DryHand | LinkHand
    if options.dry_run:
        hand = performance.hand = DryHand()
    else:
        wanted = links_walked(stops)
        links = [link for link in links_of(layout, options.port) if link.name in wanted]
        if not may_open(links, options.yes):
            say("Nothing was opened, and nothing was walked.")
            return None
        hand = performance.linked(layout, links)
    from wayside.walk.session import Session

    performance.session = Session(name, layout, file, walk, stops, kept, hand, performance.now_us)
    if not options.no_desk:
        from wayside.walk.desk import made

        performance.desk = made(options, performance.session)
    return performance
