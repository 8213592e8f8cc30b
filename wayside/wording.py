"""Numbers, times and lists in words, for all that the command line says; and times read from its options."""

from __future__ import annotations

import re

from wayside.usage import UsageProblem

LONGEST_PLAY_S = 48 * 3600  # a free play longer than two days is a slip of the keyboard

_UNITS_US = {"ms": 1_000, "s": 1_000_000, "min": 60_000_000, "h": 3_600_000_000}
_SPELLINGS = {
    "ms": "ms millisecond milliseconds",
    "s": "s sec secs second seconds",
    "min": "min mins minute minutes",
    "h": "h hour hours",
}
_UNIT_OF = {spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings.split()}
_DURATION = re.compile(r"([0-9]{1,9})(?:[.,]([0-9]{1,6}))? ?([a-z]+)")
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")


def count(number: int, one: str, many: str = "") -> str:
    """`1 scene`, `2 scenes`, `no scenes`."""
    return f"{number or 'no'} {one if number == 1 else many or one + 's'}"


def listed(words: list[str], most: int = 12) -> str:
    """`a, b and c`; of a long list only the beginning."""
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def wrapped(text: str, columns: int, first: str = "", rest: str = "") -> list[str]:
    """Lines of at most so many columns, wide letters counted as the two that they take; with indents."""
    from wcwidth import wrap

    return wrap(text, columns, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def wide(text: str) -> int:
    """How many columns a text takes on a terminal."""
    from wcwidth import width

    return width(text)


def duration(us: int) -> str:
    """`400 ms`, `22 s`, `3.25 s`, `1 min 30 s`, `2 h 5 min`."""
    if abs(us) < 1_000_000 and us % 1_000 == 0 and us:
        return f"{us // 1_000} ms"
    hours, rest = divmod(us, _UNITS_US["h"])
    minutes, rest = divmod(rest, _UNITS_US["min"])
    seconds = f"{_readable(rest) / 1_000_000:.6f}".rstrip("0").rstrip(".")
    parts = [f"{hours} h" if hours else "", f"{minutes} min" if minutes else "", f"{seconds} s" if rest else ""]
    return " ".join(part for part in parts if part) or "0 s"


def _readable(us: int) -> int:
    """To the millisecond from a second on; but what misses a round time by less than that is still seen to miss it."""
    near_round = us % 10_000 <= 1_000 or us % 10_000 >= 9_000
    return us if us < 1_000_000 or near_round else round(us, -3)


def read_duration(text: str, option: str) -> int:
    """Microseconds from `20min`, `90 s`, `1,5 h`; spelt as in scene files."""
    found = _DURATION.fullmatch(text.strip().lower())
    unit = _UNIT_OF.get(found[3]) if found else None
    if found is None or unit is None:
        raise UsageProblem(f"{option} takes a time with its unit, such as 20min or 90s, not {text!r}.")
    whole, part = int(found[1]), (found[2] or "").ljust(6, "0")
    us = whole * _UNITS_US[unit] + int(part) * _UNITS_US[unit] // 1_000_000
    if not 0 < us <= LONGEST_PLAY_S * 1_000_000:
        raise UsageProblem(f"{option} takes more than nothing and at most {LONGEST_PLAY_S // 3600} h, not {text!r}.")
    return us


def read_time_of_day(text: str, option: str) -> int:
    """Seconds after midnight from `17:40` or `17:40:30`."""
    found = _TIME.fullmatch(text.strip())
    hours, minutes, seconds = (int(part or 0) for part in found.groups()) if found else (99, 0, 0)
    if hours > 23 or minutes > 59 or seconds > 59:
        raise UsageProblem(f"{option} takes a time of day such as 17:40, not {text!r}.")
    return hours * 3600 + minutes * 60 + seconds


def read_whole_number(text: str, option: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 18:
        raise UsageProblem(f"{option} takes a whole number from 0 up, at most 18 digits, not {text!r}.")
    return int(text)
