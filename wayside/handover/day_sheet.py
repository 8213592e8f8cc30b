"""A day sheet's contents: one show day for whoever minds it, put together from the day as it was rehearsed.

Owns which things stand on it and in how many rows: `sheets` gives it whole, then gathered more and more, so that a page
can take the first that fits. Knows no paper.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from engine.program import AtTime, DayAfter, DayEntry, Every, OnButton, OnlyWhile, Scene
from engine.show_day import Happened
from wayside import hall_time
from wayside.desk.facts import begins
from wayside.handover import day_what_if
from wayside.handover.day_signs import Seen
from wayside.handover.scene_words import in_own_words
from wayside.rehearsal.day_rehearsing import DayPlayed, Ran
from wayside.rehearsal.trace_words import length
from wayside.wording import count, listed

BY_CLOCK = "it is time"  # why a scene's own head began it
FILLED_IN = "_" * 24
NO_COLUMN = -1


class Part(NamedTuple):
    """A table with a heading. `widths`: shares of the page's width. `leads`: the column by which a row is found."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    leads: int = 0


class Sheet(NamedTuple):
    """All that stands on it. `gathered`: whether rows stand for several things, which are then counted."""

    title: str
    under: str
    parts: tuple[Part, ...]
    foot: str
    gathered: bool

    @property
    def rows(self) -> int:
        """How many rows it has at least, with headings."""
        return sum(len(part.rows) + 1 for part in self.parts)


class Room(NamedTuple):
    """How much a sheet may hold: the most rows of times and of scenes, letters of what a scene does."""

    each_time: bool  # whether every time has a row of its own
    times: int
    scenes: int
    letters: int


EVERYTHING = 1_000_000
ROOMS = (
    Room(True, EVERYTHING, EVERYTHING, 240),
    Room(False, EVERYTHING, EVERYTHING, 240),
    Room(False, 30, 30, 110),
    Room(False, 12, 10, 70),
    Room(False, 6, 5, 50),
)


class Known(NamedTuple):
    """What a sheet is made of: the day as played, what was seen of each scene, and the text of the files."""

    name: str
    folder: str
    played: DayPlayed
    seen: Mapping[str, Seen]
    lines: Mapping[str, Sequence[str]]
    version: str


def sheets(known: Known) -> Iterator[Sheet]:
    """The sheet with everything on it, then gathered more and more."""
    times = _all_times(known)
    for room in ROOMS:
        yield _sheet(known, times, room)


def _sheet(known: Known, times: Sequence[_Time], room: Room) -> Sheet:
    played, plan = known.played, known.played.plan
    layout = played.program.layout
    opens, ends = plan.hall(plan.opens_us), plan.hall(plan.ends_us)
    hours = f"{opens:%H:%M} to {ends:%H:%M}" if plan.closes else f"from {opens:%H:%M} on"
    rules = {one.judgement.rule.name for one in played.result.rules if not one.kept}
    kept = f" Rules broken in it: {listed(sorted(rules))}." if rules else " Every rule was kept in it."
    kept = kept if played.program.rules else ""
    parts = (
        Part("Hours", (), tuple(_hours(known)), (14, 86)),
        Part(
            "What begins when",
            ("hall time", "scene", "because", "takes"),
            _times(known, times, room),
            (14, 22, 46, 18),
            1,
        ),
        Part("Scenes", ("scene", "what it does", "look for", "takes"), _scenes(known, room), (21, 37, 29, 13)),
        Part("Buttons", (), _buttons(known, room), (21, 79)),
        Part("What to do if", (), tuple(day_what_if.rows(played.program, plan.day.name, known.folder)), (25, 75)),
        Part("With care", (), tuple((one,) for one in day_what_if.cautions(layout)), (100,), NO_COLUMN),
        Part("Filled in by hand", (), _by_hand(), (25, 75)),
    )
    said = f"Made by Wayside {known.version} from the files and the rehearsal of this day.{kept}"
    return Sheet(
        f"{known.name}: day sheet, {plan.day.name}",
        f"{hall_time.said(plan.date)}, {hours} hall time ({opens:%Z})",
        tuple(part for part in parts if part.rows),
        said,
        room != ROOMS[0],
    )


def _hours(known: Known) -> Iterator[tuple[str, str]]:
    played, plan = known.played, known.played.plan
    yield f"{plan.hall(plan.opens_us):%H:%M}", "opens: scenes begin by the clock from now on"
    for from_us, to_us in plan.quiet:
        until = f"{plan.hall(from_us):%H:%M} to {plan.hall(to_us):%H:%M}"
        yield until, "quiet: nothing begins by a clock; trains, buttons and hands work as ever"
    if not plan.closes:
        yield (
            "no end",
            "nothing in the files closes it: type `end`, and wait until it says that the show has ended",
        )
        return
    closing = played.program.scenes.get(plan.day.closing)
    does = in_own_words(closing, known.lines, 200) if closing else "every scene ends"
    yield f"{plan.hall(plan.ends_us):%H:%M}", f"closes: {does}"
    over = next((one for one in played.log if one.what == "is over"), None)
    if over is not None:
        guarded = any(one.guarded for one in played.program.layout.outputs.values())
        safe = ", guarded outputs are in their safe state" if guarded else ""
        yield f"{plan.hall(over.at_us):%H:%M:%S}", f"over{safe}: wait for that, then switch the supplies off"


# --- times ---------------------------------------------------------------------------------------------------------


class _Time(NamedTuple):
    at_us: int
    scene: str
    why: str
    took_us: int | None = None  # None: it goes on, or did not begin, as `instead` says
    instead: str = ""
    left_out: bool = False
    about: bool = False


def _all_times(known: Known) -> list[_Time]:
    """All that the day begins, or leaves out, and what scenes begin by a clock of their own; in order."""
    played = known.played
    began = {(ran.scene, ran.at_us): ran for ran in played.runs}
    found = [_of_day(one, one.entry, began) for one in played.log if one.entry is not None]
    named = played.program.named_scenes
    for ran in played.runs:
        if ran.why == BY_CLOCK and ran.scene in named:
            heads = [begins(head) for head in named[ran.scene].heads if isinstance(head, AtTime | Every)]
            found.append(_begun(_Time(ran.at_us, ran.scene, listed(heads)), ran))
    return sorted(found, key=lambda one: one.at_us)


def _of_day(one: Happened, entry: DayEntry, began: Mapping[tuple[str, int], Ran]) -> _Time:
    time = _Time(one.at_us, entry.scene, entry.words, about=isinstance(entry, DayAfter))
    if one.left_out:
        return time._replace(instead=f"left out: {one.left_out}", left_out=True)
    ran = began.get((entry.scene, one.at_us))
    return time._replace(instead=one.what) if ran is None else _begun(time, ran)


def _begun(time: _Time, ran: Ran) -> _Time:
    if ran.end_us is None:
        return time._replace(instead="goes on")
    return time._replace(took_us=ran.end_us - ran.at_us)


def _about(us: int) -> str:
    """To the second from ten seconds on: `4.4 s`, `1 min 22 s`."""
    return "at once" if us < 50_000 else length(round(us, -5) if us < 10_000_000 else round(us, -6))


def _times(known: Known, times: Sequence[_Time], room: Room) -> tuple[tuple[str, ...], ...]:
    if room.each_time:
        rows = [_time(known, one) for one in times]
    else:
        alike: dict[tuple[str, str], list[_Time]] = {}
        for one in times:
            alike.setdefault((one.scene, one.why), []).append(one)
        rows = [_time(known, found[0]) if len(found) == 1 else _several(known, found) for found in alike.values()]
    return _gathered(rows, room.times, lambda more: ("", f"and {more} more", "see the sheet on the screen", ""))


def _time(known: Known, one: _Time) -> tuple[str, ...]:
    at = f"{known.played.plan.hall(one.at_us):%H:%M}"
    return f"{'about ' if one.about else ''}{at}", one.scene, one.why, _taken([one])


def _several(known: Known, found: list[_Time]) -> tuple[str, ...]:
    """Times of one line of the day in one row: from when to when, how often, which of them are left out."""
    hall = known.played.plan.hall
    begun, left = [one for one in found if not one.left_out], [one for one in found if one.left_out]
    shown = begun or found
    span = f"{hall(shown[0].at_us):%H:%M} to {hall(shown[-1].at_us):%H:%M}"
    out = f"; left out: {listed([f'{hall(one.at_us):%H:%M}' for one in left], 4)}" if left else ""
    return span, found[0].scene, f"{found[0].why}: {count(len(begun), 'time')}{out}", _taken(shown)


def _taken(times: Sequence[_Time]) -> str:
    took = [one.took_us for one in times if one.took_us is not None]
    return _range(took) if took else times[0].instead


def _range(took_us: Sequence[int]) -> str:
    short, long = _about(min(took_us)), _about(max(took_us))
    return short if short == long else f"{short} to {long}"


def _gathered(
    rows: Sequence[tuple[str, ...]], most: int, last: Callable[[int], tuple[str, ...]]
) -> tuple[tuple[str, ...], ...]:
    """The first of them; of the rest how many there are."""
    if len(rows) <= most:
        return tuple(rows)
    return (*rows[: most - 1], last(len(rows) - most + 1))


# --- scenes and buttons --------------------------------------------------------------------------------------------


def _scenes(known: Known, room: Room) -> tuple[tuple[str, ...], ...]:
    named = known.played.program.named_scenes
    rows = [_scene(known, scene, room.letters) for scene in named.values()]
    if len(rows) <= room.scenes:
        return tuple(rows)
    others = list(named)[room.scenes - 1 :]
    return (
        *rows[: room.scenes - 1],
        (f"{len(others)} more", listed(others, 8), "see the sheet on the screen", ""),
    )


def _scene(known: Known, scene: Scene, letters: int) -> tuple[str, ...]:
    seen = known.seen.get(scene.name, Seen())
    heads = [begins(head) for head in scene.heads if not isinstance(head, AtTime | Every | OnButton)]
    does = in_own_words(scene, known.lines, letters)
    signs = [f"first {seen.first}" if seen.first else "", f"then {seen.meanwhile}" if seen.meanwhile else ""]
    signs.append(f"last {seen.last}" if seen.last else "")
    look = "; ".join(sign for sign in signs if sign) or "nothing is seen of it"
    return scene.name, f"{heads[0]}: {does}" if heads else does, look, _takes(scene, seen)


def _takes(scene: Scene, seen: Seen) -> str:
    """How long it takes, by all that was rehearsed."""
    if not seen.took_us:
        ends = any(isinstance(head, OnlyWhile) for head in scene.heads)
        return "while that holds" if ends else "until stopped" if seen.first else "never rehearsed"
    return _range(seen.took_us)


def _buttons(known: Known, room: Room) -> tuple[tuple[str, ...], ...]:
    program = known.played.program
    rows = []
    for button in program.layout.buttons.values():
        starts = [_starts(scene.name, head) for scene in program.named_scenes.values() for head in scene.heads
                  if isinstance(head, OnButton) and head.button == button.name]  # fmt: skip
        does = ["stops everything (all stop)"] if button.stops else []
        ready = f"; {button.ready_lamp} is lit while it may" if button.ready_lamp and starts else ""
        rows.append((button.name, (listed([*does, *starts], 4) or "nothing") + ready))
    return _gathered(rows, room.scenes, lambda more: (f"{more} more", "see the sheet on the screen"))


def _starts(scene: str, head: OnButton) -> str:
    again = f", not again for {length(head.not_again_us)}" if head.not_again_us else ""
    return f"starts {scene}{again}"


def _by_hand() -> tuple[tuple[str, ...], ...]:
    stays = f"{FILLED_IN}  from ______ to ______"
    return (
        ("stays with the layout", stays),
        ("then", stays),
        ("off switch is at", f"{FILLED_IN}  organiser, telephone {FILLED_IN}"),
    )
