"""The check of scene files that are edited while they are performed, in a process of its own, so that no show waits.

What it has read is what it hands back, compiled: nothing that is saved meanwhile can come between. Run as a module.
"""

from __future__ import annotations

import os
import pickle
import sys
from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

from wayside.usage import UsageProblem

if TYPE_CHECKING:
    from wayside.project import Project

NICER_BY = 10  # the show goes first


class Checked(NamedTuple):
    """Whether nothing is wrong, what the check says, and all that was read, if nothing is."""

    fine: bool
    says: str
    project: Project | None = None


def check(words: list[str]) -> Checked:
    """As `wayside check` does it."""
    from wayside.commands.check import given_paths, report
    from wayside.project import load

    try:
        project = load(given_paths(words, "run"))
    except UsageProblem as problem:
        return Checked(False, str(problem))
    says = "\n".join(report(project)).strip()
    return Checked(False, says) if project.errors else Checked(True, says, project)


def main() -> None:
    """To standard output, for the process that asked."""
    with suppress(AttributeError, OSError):
        os.nice(NICER_BY)
    sys.stdout.buffer.write(pickle.dumps(check(sys.argv[1:])))


if __name__ == "__main__":
    from wayside.live import checked_apart

    checked_apart.main()  # by its full name, so that what it hands back is known by it
