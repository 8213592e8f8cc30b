"""How the program leaves (exit statuses), and what a person asked for and cannot have: a wrong option, a file that
cannot be read or written.
"""

from __future__ import annotations

from collections.abc import Iterable

FINE, PROBLEMS, USAGE, OUR_FAULT, INTERRUPTED, PIPE_CLOSED = 0, 1, 2, 70, 130, 141


class UsageProblem(Exception):
    """One clear message about how Wayside was called, or about a file that it cannot read or write."""


def near_miss(word: str, known: Iterable[str]) -> str:
    """` Did you mean ...?` for a mistyped word, or nothing where no known word is near."""
    from scenes.problems import nearest

    near = nearest(word, known)
    return f" Did you mean {near}?" if near else ""


def why_not(problem: OSError) -> str:
    """The reason that the system gives, in words without a number or a path."""
    return problem.strerror or type(problem).__name__
