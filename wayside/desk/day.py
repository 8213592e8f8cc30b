"""What a page says of a show day: what its lines have due next, by the clock on the wall. Plain values for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from engine.day import Plan
    from engine.show_day import Coming, ShowDay

MOST = 8
NAMED = ("opens", "closes")  # the hours that are told with the day's name


def coming(day: ShowDay, plan: Plan) -> list[list[object]]:
    """[instant, hall time, what, why it is due, why it would be left out] of each, the next first."""
    return [_row(one, plan) for one in day.coming(MOST)]


def _row(one: Coming, plan: Plan) -> list[object]:
    at = plan.hall(one.at_us)
    hall = f"{at:%H:%M:%S}" if at.second else f"{at:%H:%M}"
    if one.entry is None:
        what = f"{plan.day.name} {one.what}" if one.what in NAMED else one.what
        return [one.at_us, hall, what, "", ""]
    why = "" if one.entry.words.endswith("hall time") else one.entry.words
    return [one.at_us, hall, one.entry.scene, why, "left out: it is quiet" if one.quiet else ""]
