"""A rehearsed show day as a person reads it: the timetable, what ran by itself, what never ran, what links carry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from engine.program import DayAfter, DayEntry
from engine.show_day import Happened
from wayside import hall_time
from wayside.rehearsal.day_rehearsing import DayPlayed, Ran
from wayside.wording import count, duration, listed

MOST_ROWS = 200  # of a timetable; of more only how many there were


def headline(name: str, played: DayPlayed) -> str:
    """`Pellbrook Quay, saturday: Saturday 5 December 2026, 10:00 to 17:00 hall time (+1 h), 84 trains`."""
    plan = played.plan
    begins, opens, ends = plan.hall(0), plan.hall(plan.opens_us), plan.hall(plan.ends_us)
    hours = f"{opens:%H:%M} to {ends:%H:%M}" if plan.closes else f"from {opens:%H:%M} on"
    late = f", begun at {begins:%H:%M}" if plan.opens_us != 0 else ""
    trains = f", {count(played.trains, 'train')}" if played.trains else ""
    return f"{name}, {plan.day.name}: {hall_time.said(plan.date)}, {hours} hall time ({begins:%Z}){late}{trains}"


def timetable(played: DayPlayed, only: Sequence[str] | None) -> Iterator[str]:
    """A row for each thing that was due: when, what, why, and how long it took or why it was left out."""
    wanted = [one for one in played.log if only is None or (one.entry is not None and one.entry.scene in only)]
    rows = [_row(played, one) for one in wanted[:MOST_ROWS]]
    widths = [max((len(row[column]) for row in rows), default=0) for column in range(3)]
    for row in rows:
        yield "  " + "  ".join(f"{cell:<{width}}" for cell, width in zip(row, (*widths, 0), strict=True)).rstrip()
    if len(wanted) > MOST_ROWS:
        yield f"  and {len(wanted) - MOST_ROWS:,} more; --only SCENE shows those of one scene"


def _row(played: DayPlayed, one: Happened) -> tuple[str, str, str, str]:
    at = f"{played.plan.hall(one.at_us):%H:%M:%S}"
    if one.entry is None:
        return at, "", one.what, ""
    return at, one.entry.scene, one.entry.words, _came_of(played, one)


def _came_of(played: DayPlayed, one: Happened) -> str:
    if one.left_out:
        return f"left out: {one.left_out}"
    ran = played.run_of(one)
    late = f"{duration(one.late_us // 1_000_000 * 1_000_000)} late, " if one.late_us >= 1_000_000 else ""
    return late + (one.what if ran is None else _lasted(ran))


def _lasted(ran: Ran) -> str:
    return "runs still" if ran.end_us is None else duration(round(ran.end_us - ran.at_us, -5))


# --- the rest of the day -------------------------------------------------------------------------------------------


def by_itself(played: DayPlayed) -> Iterator[str]:
    """A row for each scene that ran without the day having begun it: how often, how long, why, and when first."""
    begun = {(one.entry.scene, one.at_us) for one in played.log if one.entry is not None and not one.left_out}
    others: dict[str, list[Ran]] = {}
    for ran in played.runs:
        if (ran.scene, ran.at_us) not in begun and ran.scene != played.plan.day.closing:
            others.setdefault(ran.scene, []).append(ran)
    rows = [_others(played, scene, ran) for scene, ran in others.items()]
    widths = [max((len(row[column]) for row in rows), default=0) for column in range(2)]
    for row in rows:
        yield "  " + "  ".join(f"{cell:<{width}}" for cell, width in zip(row, (*widths, 0), strict=True)).rstrip()


def _others(played: DayPlayed, scene: str, runs: Sequence[Ran]) -> tuple[str, str, str]:
    lasted = sorted(ran.end_us - ran.at_us for ran in runs if ran.end_us is not None)
    short, long = (duration(round(one, -5)) for one in (lasted[0], lasted[-1])) if lasted else ("", "")
    how_long = f", {short}" if short == long and short else f", {short} to {long}" if short else ""
    still = "" if len(lasted) == len(runs) else ", runs still"
    first = f"{played.plan.hall(runs[0].at_us):%H:%M:%S}"
    whys = listed(list(dict.fromkeys(ran.why for ran in runs)), 2)
    return scene, f"{count(len(runs), 'time')}{how_long}{still}", f"first at {first}: {whys}"


def missing(played: DayPlayed) -> Iterator[str]:
    """What did not happen: scenes that never ran, and lines of the day of which nothing came."""
    if played.never_ran:
        yield f"Never ran: {listed(played.never_ran)}."
    for entry in played.nothing_came_of:
        yield f"Nothing came of line {entry.place.line}, `{_written(entry)}`: {_why_nothing(played, entry)}."


def _written(entry: DayEntry) -> str:
    begins = "" if entry.words.startswith(("every ", "after ")) else "at "
    return f"{begins}{entry.words} run {entry.scene}"


def _why_nothing(played: DayPlayed, entry: DayEntry) -> str:
    whys = dict.fromkeys(one.left_out for one in played.log if one.entry == entry)
    if whys:
        return " and ".join(whys)
    if isinstance(entry, DayAfter):
        return f"{entry.after} never ran to its end while the day was open"
    return "that time does not come while the day is open"


def loads(played: DayPlayed) -> Iterator[str]:
    """For each link of which the layout file says enough: its fullest second on the line and on the track."""
    from adapters.link_outputs import pace_of
    from adapters.load import Busiest, busiest
    from adapters.wires import off_track
    from wayside.checks.load_check import stated

    def full(what: str, one: Busiest) -> str:
        at = f"{played.plan.hall(one.second * 1_000_000):%H:%M:%S}"
        return f"{what} at most {one.wanted} in a second, at {at}, of the {one.carries:.0f} that it carries"

    layout, result = played.program.layout, played.result
    for link in stated(layout):
        track, line, whole = busiest(
            layout, result.trace, result.ended_us, link, pace_of(link), off_track(layout, link)
        )
        on_track = f"; {full('the track', track)}" if track.wanted else ""
        yield f"  {link.name}  {whole:,} commands in all; {full('the line', line)}{on_track}"


def summary(name: str, played: DayPlayed) -> str:
    """`Pellbrook Quay: saturday was played: 21 times a scene was begun, 2 left out; 3 rules kept.`"""
    lines = [one for one in played.log if one.entry is not None]
    left_out = sum(bool(one.left_out) for one in lines)
    said = f"{count(len(lines) - left_out, 'time')} a scene was begun" + (f", {left_out} left out" if left_out else "")
    rules = len(played.program.rules)
    broke = {one.judgement.rule.name for one in played.result.rules if not one.kept}
    kept = f"; {count(len(broke), 'rule')} broken" if broke else f"; {count(rules, 'rule')} kept" if rules else ""
    return f"{name}: {played.plan.day.name} was played: {said}{kept}."
