"""Keeps a timed train's seconds in the layout file, under its track, where `check` finds them. Owns no file itself."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from engine.layout import Track
from scenes.quantities import say_s
from wayside.layout.edit import CannotSave, Change, save
from wayside.walk.timing import Target


def value_of(us: int, on: date) -> str:
    """`22.4 s on 2026-05-02`."""
    return f"{us / 1_000_000:.1f} s on {on.isoformat()}"


def keep(path: Path, track: Track, target: Target, us: int, on: date, anew: bool = False) -> tuple[bool, str]:
    """Write it down; whether it was, and a sentence. A shorter time from before stays: the fastest train counts."""
    before = next((one for one in track.timed if (one.begin, one.end) == (target.begin, target.end)), None)
    if before is not None and before.us < us and not anew:
        when = f" on {before.on}" if before.on else ""
        return True, (
            f"A faster train took {say_s(before.us)}{when}: that stays, since the fastest counts. --anew puts this one "
            "in its place."
        )
    change = Change(("tracks", target.track, "timed", str(target)), value_of(us, on))
    try:
        kept = save(path, [change])
    except CannotSave as why:
        return False, f"Not kept: {why}".replace("`", "")
    old = f"{kept.parent.name}/{kept.name}"
    return True, f"Kept in {path.name}, under {target.track}: timed, {target}: {change.value}. As it was: {old}."
