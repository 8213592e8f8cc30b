"""Whether ports may be opened: what opening may do is said, and a person is asked, before anything is opened."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from engine.layout import Link
from wayside.live_links import may_reset
from wayside.terminal import finish, say
from wayside.usage import UsageProblem


def may_open(links: Sequence[Link], yes: bool) -> bool:
    """Whether the ports of these links may be opened; only those are asked for whose station might start anew."""
    risky = [link for link in links if may_reset(link)]
    for link in risky:
        say(f"Opening {link.port} may restart the station: trains stop, and the track power goes off.")
    if yes or not risky:
        return True
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageProblem("Nobody is there to be asked. Add --yes if the port may be opened.")
    it = "it" if len(risky) == 1 else "them"
    say(f"Open {it}? Type yes, or anything else to leave {it}:")
    finish()
    try:
        return sys.stdin.readline().strip().lower() in ("yes", "y")
    except (OSError, ValueError):  # the terminal has gone, or what was typed is no text
        return False
