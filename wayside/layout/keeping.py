"""The layout file's `journal`: how long entries are kept, and how large the file may grow. Knows no journal."""

from __future__ import annotations

from engine.layout import Keeping
from wayside.layout.names import Reading, text
from wayside.layout.schema import pattern
from wayside.layout.yaml_places import Table

MOST_DAYS = 3_660  # ten years
LEAST_BYTES, MOST_BYTES = 1_000_000, 10_000_000_000
_DAYS = {"d": 1, "w": 7}
_BYTES = {"MB": 1_000_000, "GB": 1_000_000_000}  # decimal, as disks are sold


def read_keeping(reading: Reading, settings: Table) -> Keeping:
    """What the section says; the usual where it says nothing."""
    usual = Keeping()
    return Keeping(_days(reading, settings) or usual.days, _bytes(reading, settings) or usual.most_bytes)


def _days(reading: Reading, settings: Table) -> int | None:
    word = text(settings, "keep")
    found = pattern("days").fullmatch(word.text) if word else None
    if word is None or found is None:
        return None
    days = int(found[1]) * _DAYS[found[2][0]]
    if 1 <= days <= MOST_DAYS:
        return days
    reading.wrong(word.place, f"`keep`: nothing is kept for `{word.text}`", f"Write 1 day to {MOST_DAYS} days")
    return None


def _bytes(reading: Reading, settings: Table) -> int | None:
    word = text(settings, "at most")
    found = pattern("file-size").fullmatch(word.text) if word else None
    if word is None or found is None:
        return None
    size = int(found[1]) * _BYTES[found[2]]
    if LEAST_BYTES <= size <= MOST_BYTES:
        return size
    reading.wrong(word.place, f"`at most`: a journal of `{word.text}` serves nobody", "Write 1 MB to 10 GB")
    return None
