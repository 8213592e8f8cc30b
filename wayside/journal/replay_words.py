"""What a replay reads like: the rehearsal as a scene file has it, and what is to be said of it. Plays nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from engine.program import Program
from wayside.challenge.case_words import act, time
from wayside.journal import read as journal_read
from wayside.journal.alike import ask_trains
from wayside.journal.begins import beginnings
from wayside.journal.file import Entry
from wayside.journal.replay import SECOND, Replay
from wayside.journal.text import plain
from wayside.wording import count, duration, listed

MOST_NAMED = 6


def name(program: Program, found: Replay) -> str:
    """`journal-of-2026-11-28-14-29-00`, or one that is free."""
    wanted = f"journal-of-{_begins(found):%Y-%m-%d-%H-%M-%S}"
    names = (wanted if number == 1 else f"{wanted}-{number}" for number in range(1, 1_000))
    return next(name for name in names if name not in program.rehearsals)


def text(program: Program, found: Replay, words: str) -> str:
    """The rehearsal, with a newline at its end. `words`: the moment that was asked for."""
    rehearsal = found.rehearsal
    lines = [
        f"# From the journal: what came before {plain(words)}. It begins with how all stood at "
        f"{_begins(found):%H:%M:%S}."
    ]
    lines += [f"rehearsal {name(program, found)}", f"    begins at {_time_of_day(rehearsal.begins_at_s or 0)}"]
    lines += [f"    begins with {one.words}" for one in beginnings(program, found.window.start.details)]
    lines += [f"    {act(one)}" for one in rehearsal.acts]
    lines += [f"    seed {rehearsal.seed}"] if rehearsal.seed else []
    lines.append(f"    lasts {time(rehearsal.lasts_us or SECOND)}")
    return "\n".join(lines) + "\n"


def _begins(found: Replay) -> datetime:
    """When it begins, by the hall's clock."""
    start = found.window.start
    return journal_read.hall(start) + timedelta(microseconds=found.window.from_us - (start.at_us or 0))


def _time_of_day(second: int) -> str:
    return f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d} layout time"


def remarks(program: Program, found: Replay) -> Iterator[str]:
    """What is left out of it, and last whether it does the same."""
    window = found.window
    early_us = found.wanted_us - window.from_us
    if early_us > SECOND:
        yield f"It sets out {duration(early_us // SECOND * SECOND)} earlier: only then did no scene run that counts."
    if running := sorted(window.went_on):
        was, has, it = ("was", "has", "it is") if len(running) == 1 else ("were", "have", "they are")
        yield f"{_named(running)} {was} half-way then and {has} no part in the rest: {it} left out."
    if unsaid := list(window.start.details.get("unsettled", ())):
        each = "it" if len(unsaid) == 1 else "each"
        yield f"It begins with {_named(unsaid)} at rest: no rehearsal can begin with what {each} did then."
    yield from _not_in_it(program, window.entries)
    if found.drawn:
        draws, its = ("draws", "when it ends is") if len(found.drawn) == 1 else ("draw", "when they end is")
        yield (
            f"{_named(list(found.drawn))} {draws} by chance, and had drawn before: {its} not compared, since it is at "
            "other times in the rehearsal."
        )
    yield _verdict(found)


def _not_in_it(program: Program, entries: Sequence[Entry]) -> Iterator[str]:
    moved = sorted({one.subject for one in entries if one.details.get("deed") == "moved"})
    if moved:
        yield f"What somebody else on the station told {_named(moved)} is left out."
    others = [one for one in entries if one.details.get("deed") == "other"]
    if others:
        said = [f"`{plain(one.text)}` at {journal_read.hall(one):%H:%M:%S}" for one in others]
        yield f"What an operator did is left out, for want of a line that does it: {_named(said)}."
    closing = sorted({one.subject for one in entries if one.kind == "day"} - set(program.named_scenes))
    if closing:
        yield "The show day was closing: its lines at closing are left out."
    lost = sum(int(one.details.get("entries", 0)) for one in entries if one.kind == "lost")
    if lost:
        yield f"The disk did not take {count(lost, 'entry', 'entries')} then, so something may be missing in it."
    trains = ask_trains(program)
    broke = sorted({one.subject for one in entries if one.kind == "rule"} & trains)
    if broke:
        verb, ask, it = ("was", "asks", "it") if len(broke) == 1 else ("were", "ask", "them")
        yield (
            f"{_named(broke)} {verb} broken, and {ask} where trains are: no train runs in the rehearsal, so nothing "
            f"breaks {it} there."
        )


def _verdict(found: Replay) -> str:
    if found.apart is not None:
        until = f" After {duration(found.apart.at_us)}" if found.apart.at_us else " At once"
        return (
            f"Rehearsed, it does not do the same.{until} {found.apart.words}. The files may have been changed since, "
            "or something plays a part that the journal has not, such as chance or an operator."
        )
    numbers = {sort: sum(one.sort == sort for one in found.events) for sort in ("scene", "output", "rule")}
    if not found.events:
        return "No scene begins or ends in it, no guarded output is told anything and no rule breaks, in either."
    parts = [
        count(numbers["scene"], "beginning or end of a scene", "beginnings and ends of scenes"),
        count(numbers["output"], "order to a guarded output", "orders to guarded outputs"),
        count(numbers["rule"], "broken rule"),
    ]
    return f"Rehearsed, it does the same: {listed([one for one in parts if not one.startswith('no ')])}."


def _named(names: list[str]) -> str:
    return listed(names, MOST_NAMED)
