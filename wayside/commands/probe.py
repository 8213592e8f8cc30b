"""`wayside probe`: finds ports, asks a far end how it is, and says in words what is wrong and what to try.

Decides what is probed, and whether it may be; how it is talked to and what that means is decided elsewhere.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

from wayside.terminal import finish, say
from wayside.usage import FINE, PROBLEMS, UsageProblem, near_miss
from wayside.wording import count, duration, read_duration, read_whole_number

if TYPE_CHECKING:
    from engine.layout import Layout, Link
    from wayside.far_ends.diagnosis import Finding, Observed
    from wayside.far_ends.probing import Question

USUAL_US = 5_000_000
LEAST_US, MOST_US = 500_000, 60_000_000
LEAST_BAUD, MOST_BAUD = 300, 4_000_000
WIDE = 100
MEND_FIRST = "Nothing was opened. Put the layout file right first, or probe a port alone: wayside probe PORT"

DESCRIPTION = """\
Finds out why nothing moves. Without anything behind it, lists the ports of this computer. With a port or an address, or
with the FOLDER of a layout whose links have ports, opens it, asks the station how it is, times its answers, asks the
detectors, and says in words what is wrong and what to try.

Opening a port may restart the station and stop every train, so it says so and asks first; a link with
`resets when opened: no` is opened without that. The station is told nothing but which detectors the layout has, as a
show would tell it. Nothing moves, and the track power is never switched.
"""

EXAMPLES = """\
examples:

  wayside probe
  wayside probe /dev/ttyUSB0
  wayside probe COM5 --try-speeds
  wayside probe socket://localhost:2560
  wayside probe examples/pellbrook-quay --link main

    status        answered 8 of 8; round trip 1.4 ms (p50), 1.2 ms to 2.0 ms
    track power   off
    detectors     up-approach clear, lane clear

    wrong: The track power is off: nothing on the track hears a command, ...
      try: Look that no hands are on the track, then switch it on at the station.

exit status: 0 all answers, 1 something is wrong with the far end or the layout, 2 wrong usage or a file that cannot
be read
"""

_URL = re.compile(r"(?:socket|rfc2217)://[^\s:/]+:[0-9]{1,5}(?:[/?]\S*)?|loop://\S*", re.IGNORECASE)
_COM = re.compile(r"(?:\\\\\.\\)?COM[0-9]{1,3}", re.IGNORECASE)
_HOST = re.compile(r"(?:\w+://)?([\w.-]+:[0-9]{1,5})", re.ASCII)
_DEVICE = re.compile(r"(?:dev/)?((?:tty|cu)[\w.-]+)", re.ASCII)


def describe(parser: argparse.ArgumentParser) -> None:
    from wayside.cli import Once

    parser.usage = "wayside probe [FOLDER | PORT] [options]"
    parser.description, parser.epilog = DESCRIPTION, EXAMPLES
    parser._positionals.title = "what it probes"
    parser.add_argument(
        "target", metavar="FOLDER | PORT", nargs="?", help="a layout's folder, a serial port, or socket://HOST:NUMBER"
    )
    parser.add_argument("--link", metavar="NAME", action=Once, help="one link of the layout; all of them otherwise")
    parser.add_argument("--speed", metavar="BAUD", action=Once, help="of a PORT (default 115200)")
    parser.add_argument(
        "--try-speeds", action="store_true", help="where nothing can be read, try the other usual speeds"
    )
    parser.add_argument(
        "--for", dest="for_", metavar="5s", action=Once, help="how long one far end is listened to at most (default 5s)"
    )
    parser.add_argument("--yes", action="store_true", help="do not ask before a port is opened")


def run(options: argparse.Namespace) -> int:
    for_us = USUAL_US if options.for_ is None else read_duration(options.for_, "--for")
    if not LEAST_US <= for_us <= MOST_US:
        raise UsageProblem(f"--for takes {duration(LEAST_US)} to {duration(MOST_US)}, not {options.for_!r}.")
    speed = None if options.speed is None else _speed(options.speed)
    target = options.target
    if target is None:
        _refuse(options, ("link", "speed", "try_speeds"), "goes with a PORT or the FOLDER of a layout: write which")
        return _list_ports()
    if not target:
        raise UsageProblem("The name after `wayside probe` is empty. Write a folder, a port, or nothing at all.")
    if _is_port(target):
        from wayside.far_ends.probing import of_port

        _refuse(options, ("link",), "goes with the FOLDER of a layout, and this is a port")
        return _probe_all([of_port(target, speed or 115_200)], options, for_us)
    _refuse(options, ("speed",), "goes with a PORT; a layout's links have their own `speed`")
    from wayside.far_ends.port_asking import sound_layout

    found = sound_layout(target, MEND_FIRST)
    return PROBLEMS if found is None else _probe_layout(found[0], options, for_us)


def _refuse(options: argparse.Namespace, names: tuple[str, ...], why: str) -> None:
    for name in names:
        if getattr(options, name):
            raise UsageProblem(f"--{name.replace('_', '-')} {why}.")


def _speed(text: str) -> int:
    speed = read_whole_number(text.lower().removesuffix("baud").strip(), "--speed")
    if not LEAST_BAUD <= speed <= MOST_BAUD:
        raise UsageProblem(f"--speed takes {LEAST_BAUD} to {MOST_BAUD} baud, not {text!r}.")
    return speed


def _is_port(target: str) -> bool:
    """Whether a port was meant, and not a layout's folder. What is nearly a port is told how to become one."""
    if _URL.fullmatch(target) or (_COM.fullmatch(target) and not os.path.exists(target)):
        number = re.search(r":([0-9]+)(?:[/?]|$)", target)
        if number and not 1 <= int(number[1]) <= 65_535:
            raise UsageProblem(f"No network has a port {number[1]}. Write 1 to 65535 behind the colon.")
        return True
    path = Path(target)
    try:
        there, is_device = path.exists(), path.is_char_device()
    except (OSError, ValueError):  # too long to be a name, or with a nought in it
        there = is_device = False
    if is_device or (target.startswith("/dev/") and not path.is_dir()):
        return True
    if there:
        return False
    if host := _HOST.fullmatch(target):
        raise UsageProblem(f"{target} is neither a folder nor a port. An address is written socket://{host[1]}")
    if device := _DEVICE.fullmatch(target):
        raise UsageProblem(f"{target} is neither a folder nor a port. Did you mean /dev/{device[1]}?")
    if "://" in target:
        raise UsageProblem(f"{target} is no address that Wayside knows. Write one such as socket://localhost:2560.")
    return False


# --- the ports of this computer ------------------------------------------------------------------------------------


def _ports() -> list[tuple[str, str]]:
    from adapters.serial_port import ports

    return [(one.port, one.what) for one in ports()]


def _list_ports() -> int:
    found = _ports()
    if not found:
        say("This computer shows no serial port.")
        for line in _wrapped(
            "Plug the station in and switch it on; some cables only charge. A station on the network has no port here: "
            "write its address. Without any hardware, `wayside stand-in` opens a port to try.",
            "  ",
        ):
            say(line)
        say("\n  wayside probe socket://localhost:2560")
        return PROBLEMS
    width = max(len(port) for port, _ in found)
    for port, what in found:
        say(f"{port:<{width}}  {what}")
    say(f"\nTo see what answers:  wayside probe {found[0][0]}")
    say(f"In a layout file:     links: {{main: {{kind: serial text, port: {found[0][0]}}}}}")
    return FINE


# --- a layout ------------------------------------------------------------------------------------------------------


def _probe_layout(layout: Layout, options: argparse.Namespace, for_us: int) -> int:
    from wayside.far_ends.probing import of_link

    if options.link is not None and options.link not in layout.links:
        raise UsageProblem(f"The layout has no link {options.link}.{near_miss(options.link, layout.links)}")
    links: list[Link] = [link for link in layout.links.values() if options.link in (None, link.name)]
    if not links:
        say("The layout file has no links, so there is nothing to probe. Add one, for example:")
        say("  links: {main: {kind: serial text, port: /dev/ttyACM0}}")
        return PROBLEMS
    return _probe_all([of_link(layout, link) for link in links], options, for_us)


# --- probing -------------------------------------------------------------------------------------------------------


def _probe_all(questions: list[Question], options: argparse.Namespace, for_us: int) -> int:
    if not _agreed(questions, options.yes):
        say("Nothing was opened.")
        return FINE
    right = []
    for number, question in enumerate(questions):
        say("\n" * bool(number) + _heading(question))
        finish()
        right.append(_probe(question, options, for_us))
    return FINE if all(right) else PROBLEMS


def _agreed(questions: list[Question], yes: bool) -> bool:
    """Whether those ports may be opened whose station might start anew."""
    ports = [question.link.port for question in questions if question.link.port and question.may_reset]
    for port in ports:
        say(f"Opening {port} may restart the station: trains stop, and the track power goes off.\n")
    if yes or not ports:
        return True
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageProblem("Nobody is there to be asked. Add --yes if the port may be opened.")
    it = "it" if len(ports) == 1 else "them"
    say(f"Open {it}? Type yes, or anything else to leave {it}:")
    finish()
    try:
        return sys.stdin.readline().strip().lower() in ("yes", "y")
    except (OSError, ValueError):  # the terminal has gone, or what was typed is no text
        return False


def _probe(question: Question, options: argparse.Namespace, for_us: int) -> bool:
    """One far end, from what answers to the verdict; whether all is well."""
    from wayside.far_ends.diagnosis import diagnose, report
    from wayside.far_ends.probing import probe

    seen = probe(question, for_us)._replace(again=_again(question, options))
    if options.try_speeds:
        seen = _try_speeds(question, seen)
    for heading, text in report(seen):
        for line in _wrapped(text, f"  {heading:<12}  ", " " * 16):
            say(line)
    if not seen.opened:
        seen = seen._replace(ports=tuple(f"{port} ({what})" for port, what in _ports()))
    findings = diagnose(seen)
    for finding in findings:
        _tell(finding)
    wrong = sum(finding.wrong for finding in findings)
    name = question.link.name or question.link.port
    say(f"\n{name}: {count(wrong, 'thing is', 'things are')} wrong." if wrong else f"\n{name}: all answers.")
    finish()
    return not wrong


def _heading(question: Question) -> str:
    link = question.link
    if not link.port:
        return f"{link.name}: no port"
    speed = "" if link.port.lower().startswith(("socket:", "loop:")) else f", {link.baud} baud"
    dialect = f", dialect {link.dialect}" if question.layout is not None else ""
    return f"{link.name}{': ' if link.name else ''}{link.port}{speed}{dialect}"


def _again(question: Question, options: argparse.Namespace) -> str:
    one_of_many = f" --link {question.link.name}" if options.link else ""
    return f"wayside probe {options.target}{one_of_many}"


def _try_speeds(question: Question, seen: Observed) -> Observed:
    from wayside.far_ends.probing import other_speeds

    if seen.meant or not seen.opened or seen.trouble is not None or seen.is_network or seen.echoes:
        return seen
    say(f"  At {seen.baud} baud nothing could be read. Other speeds, each of which may restart the station again:")
    tried = []
    for baud, makes_sense in other_speeds(question):
        say(f"    {baud} baud: {'it can be read' if makes_sense else 'nothing'}")
        finish()
        tried.append(baud)
        if makes_sense:
            return seen._replace(speeds=tuple(tried), right_speed=baud)
    return seen._replace(speeds=tuple(tried))


def _tell(finding: Finding) -> None:
    for heading, text in (("wrong" if finding.wrong else "note", finding.what), ("try", finding.instead)):
        if text:
            sentence = text if text.endswith((".", "?")) else f"{text}."
            blank = "" if heading == "try" else "\n"
            for number, line in enumerate(_wrapped(sentence, f"  {heading + ':':>7} ", " " * 10)):
                say(f"{'' if number else blank}{line}")


def _wrapped(text: str, first: str, rest: str | None = None) -> list[str]:
    return wrap(
        text,
        WIDE,
        initial_indent=first,
        subsequent_indent=first if rest is None else rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
