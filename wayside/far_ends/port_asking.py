"""What a command settles before it opens a port: which layout, which port, what opening may do, and whether it may.

For commands that tell a station something outside a show. Opens nothing itself.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import Path

from engine.layout import Layout, Link
from wayside.terminal import finish, say
from wayside.usage import UsageProblem, near_miss, why_not
from wayside.wording import listed

LONGEST_SHOWN = 200  # of what was typed


def sound_layout(folder: str, otherwise: str) -> tuple[Layout, Path] | None:
    """The layout of a folder, and its file; None where that has errors, which are said, and then what follows of it.

    Raises UsageProblem for a folder that cannot be read.
    """
    from scenes.problems import as_text
    from wayside.layout.file import read_layout
    from wayside.project import find

    try:
        file = find([Path(folder)]).layout
        file.open("rb").close()
    except ValueError as problem:  # a name with a nought in it
        raise UsageProblem("There is no file or folder of such a name.") from problem
    except OSError as problem:
        raise UsageProblem(f"{folder[:LONGEST_SHOWN]} cannot be read: {why_not(problem)}.") from problem
    layout, problems, text = read_layout(file, str(file))
    errors = [problem for problem in problems if not problem.advice]
    for error in errors:
        say(as_text(error, text) + "\n")
    if errors:
        say(otherwise)
        return None
    return layout, file


def given_ports(port: str | None, layout: Layout) -> dict[str, str]:
    """By link: `main=/dev/ttyUSB0` is for one of them, as `wayside run` has it; a port alone is for any."""
    name, named, rest = (port or "").partition("=")
    from wayside.layout.links import meant_port

    if meant := meant_port(rest or name):
        raise UsageProblem(f"--port {port}: no device and no address is called that. Write {meant}.")
    if not port:
        return {}
    if not named or not re.fullmatch(r"[a-z][a-z0-9-]*", name):
        return dict.fromkeys(layout.links, port)
    if name not in layout.links:
        raise UsageProblem(f"The layout has no link {name}.{near_miss(name, layout.links)}")
    return {name: rest}


def ports_there() -> str:
    """What could be written after --port."""
    from adapters.serial_port import ports

    found = [f"{one.port} ({one.what})" for one in ports()]
    there = f"This computer has {listed(found)}" if found else "This computer shows no serial port"
    return f"{there}; write --port PORT, or `port:` in the layout file."


def trouble_words(what: str, instead: str) -> str:
    """What is wrong with a port, as a sentence. A trial does not go on by itself as a show does."""
    begins = what if what.startswith("`") else f"{what[:1].upper()}{what[1:]}"  # a port keeps its small letters
    return f"{begins.replace('`', '')}: {instead.removesuffix('; Wayside goes on by itself')}."


def tell_at_once(line: str) -> None:
    """At once, since the next line may be seconds away."""
    say(line)
    finish()


def may_reset(link: Link) -> bool:
    """Whether opening its port may make the station start anew."""
    return link.resets and not link.port.lower().startswith(("socket:", "loop:"))


def warning(link: Link) -> str:
    """What opening its port may do."""
    if may_reset(link):
        return f"Opening {link.port} may reset the station: trains may stop, and the track's power may go off."
    if link.resets:
        return f"Opening {link.port} resets nothing by itself."
    return f"The control lines of {link.port} are left alone, so the station should not be reset."


def agreed(question: str) -> bool:
    """The answer of the person who is there. Raises UsageProblem where nobody is."""
    if not sys.stdin.isatty():
        raise UsageProblem("Nobody is there to be asked. Add --yes if the port may be opened.")
    tell_at_once(f"  {question} Type yes, or anything else to leave it:")
    return sys.stdin.readline().strip().lower() in ("yes", "y")


def may_open(links: Sequence[Link], yes: bool) -> bool:
    """Whether all of these ports may be opened; a person is asked where a station might start anew."""
    risky = [link for link in links if may_reset(link)]
    for link in risky:
        tell_at_once(warning(link))
    return yes or not risky or agreed("Open it?" if len(risky) == 1 else "Open them?")
