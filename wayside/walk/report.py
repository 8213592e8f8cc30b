"""What came of a walk, as text for the terminal, as Markdown to give away, and as a table for a spreadsheet. Pure."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import NamedTuple

from wayside.walk.answers import Answer, How
from wayside.walk.faults import Fault, likely_faults
from wayside.walk.signs import Walked
from wayside.walk.stops import OUTPUT, Stop
from wayside.walk.words import kind_of
from wayside.wording import count, listed

WIDE = 100
SAID = {
    How.YES: "does it",
    How.NO: "does nothing",
    How.OTHER: "{other} moves instead",
    How.ALSO: "does it, and so does {other}",
    How.WRONG_WAY: "the wrong way round",
    How.NO_FADE: "does not fade",
    How.NOT_SURE: "not sure",
    How.SKIPPED: "left out",
}
_SAID_INPUT = {
    "yes": "came and went",
    "no": "never heard",
    "also": "came and went, and so did {other}",
    "other": "{other} came instead",
    "strange": "input {other} came instead",
    "stuck": "does not clear",
    "wrong way": "says the opposite",
    "chatters": "came and went again and again",
}


class Report(NamedTuple):
    """All that is told of a walk; `name` is the layout's."""

    name: str
    seen: Walked
    answers: Mapping[str, Answer]
    faults: tuple[Fault, ...]
    date: str = ""

    @property
    def open(self) -> list[str]:
        """Stops that have no answer that says something."""
        return [stop.name for stop in self.seen.round.stops if stop.name not in self.seen.signs]


def report_of(name: str, seen: Walked, answers: Mapping[str, Answer], date: str = "") -> Report:
    return Report(name, seen, answers, tuple(likely_faults(seen)), date)


def outcome(stop: Stop, seen: Walked, answers: Mapping[str, Answer]) -> str:
    """What came of a stop, in a few words; empty where it has not been come to."""
    answer, sign = answers.get(stop.name), seen.signs.get(stop.name)
    if answer is None:
        return ""
    if stop.sort != OUTPUT and sign is not None:
        return _SAID_INPUT[sign.word].format(other=listed(list(sign.others), 3) or "something else")
    return SAID[answer.how].format(other=answer.other or "something else")


def summary(report: Report) -> str:
    """`34 stops: 30 are right, 3 are not, 1 is open.`"""
    signs = report.seen.signs.values()
    right = sum(sign.word == "yes" for sign in signs)
    wrong = len(signs) - right
    left = len(report.open)
    parts = [f"{right} as they should be", f"{wrong} not" if wrong else "", f"{left} still open" if left else ""]
    return f"{count(len(report.seen.round.stops), 'stop')}: {', '.join(part for part in parts if part)}."


def text_lines(report: Report) -> Iterator[str]:
    """For the terminal."""
    yield f"{report.name}: {summary(report)}"
    for number, fault in enumerate(report.faults, 1):
        yield ""
        yield from _wrapped(fault.what, f"{number:>3}. ", " " * 5)
        for way in fault.tries:
            yield from _wrapped(way, "     try: ", " " * 10)
        if len(fault.stops) > 1 or fault.stops[:1] != fault.about[:1]:
            yield from _wrapped(listed(list(fault.stops), 12), "     seen at: ", " " * 14)
    if report.open:
        yield ""
        yield from _wrapped(f"Still open: {listed(report.open, 12)}.", "", "  ")
    for one in report.seen.round.left_out:
        yield from _wrapped(f"Not walked: {one.why}.".replace("..", "."), "", "  ")
    if not report.faults and report.seen.signs:
        yield "" if report.open else "Everything does what the layout file says."


def markdown(report: Report) -> str:
    """One page to give away."""
    lines = [f"# A walk round {_cell(report.name)}", ""]
    if report.date:
        lines += [f"Walked {report.date}.", ""]
    lines += [summary(report), "", "## Likely faults, the likeliest first", ""]
    for number, fault in enumerate(report.faults, 1):
        lines.append(f"{number}. {_cell(fault.what)}")
        lines += [f"   - Try: {_cell(way)}" for way in fault.tries]
        lines.append(f"   - Seen at: {_cell(', '.join(fault.stops))}")
    if not report.faults:
        lines.append("None." if not report.open else "None so far.")
    lines += ["", "## Every stop", "", "| stop | what | where | seen |", "|---|---|---|---|"]
    for stop in report.seen.round.stops:
        came = _cell(outcome(stop, report.seen, report.answers)) or "(open)"
        lines.append(f"| {stop.name} | {kind_of(stop)} | {stop.where} | {came} |")
    lines += [f"| {one.name} | | not walked | {_cell(one.why)} |" for one in report.seen.round.left_out]
    return "\n".join(lines) + "\n"


def table(report: Report) -> str:
    """Every stop, for a spreadsheet. A cell that begins as a formula does is kept from being one."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("stop", "what", "link", "board", "port", "number", "answer", "instead", "seen", "likely fault"))
    faults = {name: fault.what for fault in report.faults for name in fault.stops}
    for stop in report.seen.round.stops:
        answer = report.answers.get(stop.name)
        cells = (
            stop.name,
            kind_of(stop).removeprefix("a "),
            stop.link,
            stop.board,
            "" if stop.port is None else stop.port,
            stop.number,
            "" if answer is None else answer.how.value,
            "" if answer is None else answer.other,
            outcome(stop, report.seen, report.answers),
            faults.get(stop.name, ""),
        )
        writer.writerow([f"'{cell}" if str(cell)[:1] in "=+-@" and str(cell) else cell for cell in cells])
    return out.getvalue()


def _cell(text: str) -> str:
    """Free words may not break a table, nor become markup."""
    return "".join(f"\\{letter}" if letter in "\\|*_<>[]#" else letter for letter in text.replace("\n", " "))


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return wrap(
        text, WIDE, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )
