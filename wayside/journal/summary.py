"""A day of shows in one page of text, and what to look at before the next day. What came of it is `day`'s.

Knows a day's records; must not know files, layouts or drawing. What is a snag is told by `snags`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta

from wayside.journal import day as journal_day
from wayside.journal import snags as journal_snags
from wayside.journal.day import Day, Span
from wayside.journal.file import Entry
from wayside.journal.read import hall
from wayside.journal.snags import Snag
from wayside.journal.text import day as day_words
from wayside.journal.text import plain
from wayside.rehearsal.rule_words import amount
from wayside.wording import count, duration, listed, wide, wrapped

COLUMNS = 100
MOST_LISTED = 12
MOST_MARKS = 8
MOST_SNAGS = 4  # at the end of a show
MARGIN = 11  # columns for what a line is about
WIDEST_NAME = 28  # columns; a longer name stands on a line of its own


def text(day: Day, of_day: date, columns: int = COLUMNS) -> Iterator[str]:
    """The page, and below it the snags."""
    yield plain(", ".join(part for part in (day.name, day_words(of_day)) if part))
    yield ""
    yield from _body(day, columns)
    yield ""
    yield from snag_list(journal_snags.of(day), columns)


def snag_list(snags: Iterable[Snag], columns: int = COLUMNS) -> Iterator[str]:
    """What is to be looked at: by detector, by output, and so on."""
    found: dict[str, list[Snag]] = {}
    for one in snags:
        found.setdefault(one.sort, []).append(one)
    yield "To look at before the next show:" if found else "Nothing to look at before the next show."
    for sort, ones in found.items():
        yield f"  {sort}"
        widest = min(WIDEST_NAME, max(wide(plain(one.subject)) for one in ones))
        before = ""
        for one in ones:
            head = "" if one.subject == before else plain(one.subject)
            yield from _beside(head, widest + 2, plain(one.what), columns, "    ")
            before = one.subject


def short(entries: Sequence[Entry], columns: int = COLUMNS) -> list[str]:
    """The end of one show in a few lines."""
    day = journal_day.of(entries)
    snags = list(journal_snags.of(day))
    lines = list(_body(day, columns - 2, without=("shows", "detectors")))
    for number, one in enumerate(snags[:MOST_SNAGS]):
        lines += _beside("" if number else "look at", MARGIN, plain(f"{one.subject}: {one.what}"), columns - 2)
    if len(snags) > MOST_SNAGS:
        lines.append(f"{'':<{MARGIN}}and {len(snags) - MOST_SNAGS} more")
    return ["From the journal:", *(f"  {line}" for line in lines)]


def _beside(head: str, room: int, text: str, columns: int, indent: str = "") -> list[str]:
    """What a line is about, and the line itself beside it, as often broken as it must be."""
    first = f"{indent}{head}{' ' * (room - wide(head))}"
    if wide(head) >= room:
        return [f"{indent}{head}", *_beside("", room, text, columns, indent)]
    return wrapped(text, columns, first, indent + " " * room) or [first.rstrip()]


def _body(day: Day, columns: int, without: Sequence[str] = ()) -> Iterator[str]:
    rows: list[tuple[str, list[str]]] = [
        ("shows", [f"{span.from_:%H:%M:%S} to {span.to:%H:%M:%S}, {how}" for span, how in day.shows]),
        ("scenes", _times({name: len(spans) for name, spans in day.scenes.items()}, day.known_scenes)),
        ("buttons", _times(dict(day.buttons), day.known_buttons)),
        ("detectors", _times({name: len(spans) for name, spans in day.occupied.items()}, day.detectors, "occupied ")),
        ("rules", list(_rules(day))),
        ("links", list(_outages(day))),
        ("faults", list(faults(day))),
        ("late", list(_late(day))),
        ("marks", list(_marks(day))),
    ]
    for head, lines in rows:
        for number, line in enumerate(lines if head not in without else ()):
            yield from _beside(head if not number else "", MARGIN, plain(line), columns)


def _outages(day: Day) -> Iterator[str]:
    for name in day.links:
        if spans := day.outages.get(name, []):
            still = "" if spans[-1].known else ", and still not at the end"
            often = count(len(spans), "time")
            yield f"{name} did not talk {often}, {length(spans)} in all, first at {spans[0].from_:%H:%M:%S}{still}"
        else:
            yield f"{name} talked all the time"


def _times(counted: dict[str, int], known: Sequence[str], did: str = "") -> list[str]:
    """`lane 12 times, up-approach once; never: beyond`."""
    most = sorted(counted.items(), key=lambda pair: (-pair[1], pair[0]))
    said = [f"{name} {did}{'once' if number == 1 else f'{number} times'}" for name, number in most if number]
    never = [name for name in known if not counted.get(name)]
    shown = ", ".join(said[:MOST_LISTED]) + (f" and {len(said) - MOST_LISTED} more" if len(said) > MOST_LISTED else "")
    missing = f"never: {listed(never, MOST_LISTED)}" if never else ""
    return ["; ".join(part for part in (shown, missing) if part)] if said or never else []


def _rules(day: Day) -> Iterator[str]:
    broken = Counter(entry.subject for entry in day.broken)
    for name, number in broken.items():
        first = next(entry for entry in day.broken if entry.subject == name)
        times = "once" if number == 1 else f"{number} times, first"
        yield f"{name} was broken {times} at {hall(first):%H:%M:%S}"
    for (name, line), entry in day.margins.items():
        if name not in broken:
            found = entry.details.get("margin")
            spare = "never came near" if found is None else _spare(float(found), str(entry.details.get("unit", "us")))
            yield f"{name} (line {line}) {entry.details.get('verdict')}, {spare}"


def _spare(margin: float, unit: str) -> str:
    return f"{amount(abs(margin), unit)} {'to spare' if margin >= 0 else 'short'} at the least"


def faults(day: Day) -> Iterator[str]:
    """A line for each link that had any, with the last one."""
    by_subject = Counter(entry.subject for entry in day.faults)
    for name, number in by_subject.most_common():
        last = [entry for entry in day.faults if entry.subject == name][-1]
        whose = f"link {name}" if name else "the scenes"
        yield f"{whose}: {count(number, 'time')}, last at {hall(last):%H:%M:%S}: {last.text}"


def _late(day: Day) -> Iterator[str]:
    if day.lateness:
        worst = max(day.lateness, key=lambda entry: int(entry.details.get("worst_us", 0)))
        p99 = max(int(entry.details.get("p99_us", 0)) for entry in day.lateness)
        yield (
            f"99 of 100 instants of a minute at most {p99 / 1_000:.1f} ms late, "
            f"the worst {int(worst.details.get('worst_us', 0)) / 1_000:.1f} ms "
            f"(in the minute before {hall(worst):%H:%M:%S})"
        )
    if day.lost:
        yield f"{count(day.lost, 'entry', 'entries')} could not be kept: the disk did not take them"


def _marks(day: Day) -> Iterator[str]:
    for entry in day.marks[:MOST_MARKS]:
        yield f"{hall(entry):%H:%M:%S}  {entry.text}"
    if len(day.marks) > MOST_MARKS:
        yield f"and {len(day.marks) - MOST_MARKS} more (wayside journal FOLDER --kind mark)"


def length(spans: Iterable[Span]) -> str:
    """How long all of them lasted together."""
    whole = sum(((span.to - span.from_) for span in spans), timedelta())
    return duration(max(1, round(whole.total_seconds())) * 1_000_000)
