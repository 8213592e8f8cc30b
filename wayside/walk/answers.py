"""What a person saw at each stop of a walk, and what was heard from its detectors; and how that is kept as plain data.

Pure. Which faults it speaks of is decided in `faults`.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import NamedTuple

LONGEST_OTHER = 60  # characters of what a person says moved instead
CHATTERS_FROM = 4  # contacts of one wagon: two bogies make two (common practice, no source)


class How(Enum):
    """What came of a stop. The words are those that are kept, and typed."""

    YES = "yes"
    NO = "no"  # nothing happened that could be seen
    OTHER = "other"  # something else did it instead
    ALSO = "also"  # it did, and so did something else
    WRONG_WAY = "wrong way"  # it did, the wrong way round
    NO_FADE = "no fade"  # it only goes on and off, though it should fade
    NOT_SURE = "not sure"
    SKIPPED = "skip"


LOOKED_AT = frozenset(How) - {How.NOT_SURE, How.SKIPPED}  # answers that say something


class Rolled(NamedTuple):
    """What was heard while a wagon was rolled over a detector, or a button was pressed."""

    began: str = ""  # how it stood before: "occupied", "clear", "" where nobody knows
    occupied: int = 0  # how often it became so
    cleared: int = 0
    ended: str = ""
    others: tuple[str, ...] = ()  # other detectors and buttons that changed meanwhile
    strange: tuple[int, ...] = ()  # numbers that changed meanwhile and that the layout file does not name

    @property
    def anything(self) -> bool:
        return bool(self.occupied or self.cleared)

    @property
    def complete(self) -> bool:
        """Whether it has come and gone, as it should."""
        return self.occupied > 0 and self.cleared > 0 and self.ended == "clear"


class Answer(NamedTuple):
    """One stop's outcome; `other` is what moved instead, or as well: a name of the layout, or a person's words."""

    how: How
    other: str = ""
    rolled: Rolled | None = None


Answers = Mapping[str, Answer]


def as_kept(answer: Answer) -> dict[str, object]:
    """Plain data for a file."""
    kept: dict[str, object] = {"how": answer.how.value}
    if answer.other:
        kept["other"] = answer.other
    if answer.rolled is not None:
        rolled = answer.rolled
        kept["rolled"] = rolled._asdict() | {"others": list(rolled.others), "strange": list(rolled.strange)}
    return kept


def from_kept(found: object) -> Answer | None:
    """The answer that was kept; None for what is none."""
    if not isinstance(found, dict):
        return None
    other, rolled = found.get("other", ""), found.get("rolled")
    try:
        how = How(found.get("how"))
    except ValueError:
        return None
    if not isinstance(other, str):
        return None
    return Answer(how, other[:LONGEST_OTHER], _rolled(rolled) if isinstance(rolled, dict) else None)


def _rolled(found: dict[str, object]) -> Rolled | None:
    words = [found.get(name, "") for name in ("began", "ended")]
    counts = [found.get(name, 0) for name in ("occupied", "cleared")]
    others, strange = found.get("others", []), found.get("strange", [])
    if not all(isinstance(word, str) for word in words) or not all(type(number) is int for number in counts):
        return None
    if not isinstance(others, list) or not isinstance(strange, list):
        return None
    return Rolled(
        str(words[0]),
        int(str(counts[0])),
        int(str(counts[1])),
        str(words[1]),
        tuple(one for one in others if isinstance(one, str)),
        tuple(one for one in strange if type(one) is int),
    )
