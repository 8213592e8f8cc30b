"""What a person probably meant by a value that is written in another usual way, so that a message can say it rightly.

Knows the usual other ways, and no keys: whether a guess has the right form is for the schema's patterns to say.
"""

from __future__ import annotations

import re

_NUMBER = "[0-9]+(?:[.,][0-9]+)?"
_BETWEEN = r"(?:-|–|—|\.{2,3}|/|,|to|and|until)"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

# Another way of writing, and the usual one here.
_OTHERWISE: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(form, re.IGNORECASE), usual)
    for form, usual in (
        (rf"(?:from |between )?({_NUMBER}) ?[a-z°]* ?{_BETWEEN} ?({_NUMBER}) ?([a-z°]+)", r"\1 \3 to \2 \3"),
        (rf"([nsew])\.? ?({_NUMBER})(?: ?(?:°|deg|degrees))?", r"\2 \1"),
        (rf"({_NUMBER}) ?(?:°|deg|degrees)? ?([nsew])[a-z]*", r"\1 \2"),
        ("(?:utc|gmt|z|universal time)", "0 h"),
        (r"(?:utc|gmt) ?([+−-]) ?([0-9]{1,2}(?::[0-9]{2})?)", r"\1\2 h"),
        (r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})", r"\3-\2-\1"),
        (r"([0-9]{4})[/.]([0-9]{1,2})[/.]([0-9]{1,2})", r"\1-\2-\3"),
        (r"([0-9]{4}-[0-9]{1,2}-[0-9]{1,2})[ t].*", r"\1"),
        (rf"({_NUMBER}) ?(?:sq\.? ?|square )([cm]m)", r"\1 \g<2>2"),
        (rf"({_NUMBER}) ?([cm]m)\^2", r"\1 \g<2>2"),
        (rf"({_NUMBER}) ?(?:by|x|×|,|;|/) ?({_NUMBER})", r"\1 mm by \2 mm"),
        (rf"({_NUMBER}) ?([cm]?m) ?(?:by|x|×|,|;|/|and) ?({_NUMBER})(?: ?[cm]?m)?", r"\1 \2 by \3 \2"),
    )
)
_DAY_FIRST = re.compile(r"([0-9]{1,2})\.? ([a-z]{3})[a-z]*\.?,? ([0-9]{4})", re.IGNORECASE)
_MONTH_FIRST = re.compile(r"([a-z]{3})[a-z]*\.? ([0-9]{1,2}),? ([0-9]{4})", re.IGNORECASE)


def meant(text: str, pattern: str) -> str | None:
    """The same in the form that a pattern asks for; None if nobody can tell."""
    guesses = [found.expand(usual) for form, usual in _OTHERWISE if (found := form.fullmatch(text))]
    return next((guess for guess in [*guesses, *_dates(text)] if re.fullmatch(pattern, guess)), None)


def _dates(text: str) -> list[str]:
    """`21 March 2026` and `March 21, 2026`."""
    found = []
    if day := _DAY_FIRST.fullmatch(text):
        found.append((day[3], day[2], day[1]))
    if month := _MONTH_FIRST.fullmatch(text):
        found.append((month[3], month[1], month[2]))
    return [
        f"{year}-{_MONTHS.index(name.lower()) + 1:02d}-{int(day):02d}"
        for year, name, day in found
        if name.lower() in _MONTHS
    ]
