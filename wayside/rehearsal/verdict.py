"""What came of a rehearsal, as a person reads it: the same words on the command line and in a test report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import TYPE_CHECKING

from engine.layout import Place
from scenes.problems import excerpt
from wayside.rehearsal.rule_words import broken
from wayside.wording import count, duration

if TYPE_CHECKING:
    from wayside.rehearsal.rehearsing import Outcome, Result

WIDTH = 100

Lines = Mapping[str, list[str]]


def missed(result: Result) -> list[Outcome]:
    return [outcome for outcome in result.outcomes if not outcome.passed]


def headline(result: Result, width: int = 0) -> str:
    """One line: `held    second-train    4 expectations, 1 min 30 s`."""
    word = "failed" if not result.passed else "held" if result.outcomes else "played"
    return f"  {word:<6}  {result.rehearsal.name:<{width}}  {_score(result)}, {duration(result.ended_us)}"


def _score(result: Result) -> str:
    failures, all_of_them = len(missed(result)), len(result.outcomes)
    broke = {one.judgement.rule.name for one in broken(result.rules)}
    if failures or broke:
        said = f"{failures} of {count(all_of_them, 'expectation')} failed" if failures else ""
        return ", ".join([*([said] if said else []), *([f"{count(len(broke), 'rule')} broken"] if broke else [])])
    if result.troubles:
        return f"{count(all_of_them, 'expectation')} held, but something went wrong"
    return count(all_of_them, "expectation") if all_of_them else "nothing expected"


def details(result: Result, lines: Lines) -> str:
    """Why it failed, a paragraph for each failed expectation and each thing that was cut; empty if it held."""
    paragraphs = [*_missed_text(result, lines), *_broken_text(result, lines), *_trouble_text(result, lines)]
    return "\n\n".join(paragraphs)


def _missed_text(result: Result, lines: Lines) -> Iterator[str]:
    for outcome in missed(result):
        expectation = outcome.expectation
        text = [f"{expectation.place}: expected", *excerpt(expectation.place, lines)]
        when = "" if outcome.at_us is None else f" at {duration(outcome.at_us)}"
        text += _folded(f"failed{when}: {outcome.what_happened}")
        text += _who_did_it(outcome.place, lines)
        yield "\n".join(text)


def _broken_text(result: Result, lines: Lines) -> Iterator[str]:
    for outcome in broken(result.rules):
        rule, line = outcome.judgement.rule, outcome.judgement.line
        text = [f"{line.place}: rule {rule.name}", *excerpt(line.place, lines)]
        text += _folded(f"broken: {outcome.what_happened}")
        text += _who_did_it(outcome.place, lines)
        yield "\n".join(text)


def _who_did_it(place: Place | None, lines: Lines) -> list[str]:
    if place is None or not place.file:
        return []
    return [f"        the line that did it: {place}", *excerpt(place, lines)]


def _trouble_text(result: Result, lines: Lines) -> Iterator[str]:
    for trouble in result.troubles:
        text = _folded(f"at {duration(trouble.at_us)}: {trouble.text}", indent="")
        for place in trouble.places:
            text += [f"        {place}", *excerpt(place, lines)] if place.file else []
        yield "\n".join(text)


def note(text: str) -> str:
    """A remark on a rehearsal that is no failure."""
    return "\n".join(_folded(f"Note: {text}"))


def _folded(text: str, indent: str = " " * 8) -> list[str]:
    """Long sentences over several lines; names are never cut at their hyphens."""
    return wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False
    )


def indented(text: str, by: str = "    ") -> str:
    return "\n".join(by + line if line else line for line in text.splitlines())
