"""A show day in a live show: its world around the show's, what the desk says of it, and what it has begun, kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from engine.day import Plan
from engine.drive import World
from engine.show_day import ShowDay
from wayside.live import day_kept
from wayside.live.show_memory import Memory
from wayside.live.showing import Show

if TYPE_CHECKING:
    from wayside.desk.desk import Desk


class Asked(NamedTuple):
    """The day that was asked for. `kept`: the file of what it has begun, where it goes by the hall's true time."""

    plan: Plan
    kept: Path | None


def day_of(show: Show, asked: Asked, world: World, memory: Memory, desk: Desk | None) -> ShowDay:
    """The day, as a world around another. What a show before this one has begun is not begun again."""
    plan, kept = asked
    begun, trouble = ({}, "") if kept is None else day_kept.read(kept, plan)
    show.kernel.hall_starts_s = plan.hall_starts_s
    day = ShowDay(show.kernel, plan, world, lambda: show.now_us, begun)
    if desk is not None:
        desk.shows_day(day, plan)
    if kept is not None:
        memory.keeps_day(day_kept.DayKept(day, plan, kept, begun), trouble)
    return day
