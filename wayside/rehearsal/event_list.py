"""The event list: a trace as aligned text, readable on paper: when, until when, what, what it did, who asked.

Reads the trace only. Writes plain ASCII around the person's own names. Must not know how a rehearsal is played.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from pathlib import PurePath
from typing import NamedTuple, assert_never

from engine.layout import NOWHERE, Kind, Output, Place
from engine.program import AsLongAs, Count, Hold, Program, Release, SetFlag, Tell, Wait, WaitUntil
from engine.trace import (
    Began,
    Broke,
    ButtonIs,
    CounterIs,
    Did,
    Ended,
    FlagIs,
    LinkIs,
    Noted,
    Record,
    Saw,
    SceneIs,
    Told,
    TrainAt,
    TrainOn,
    TrainTaken,
    Trouble,
)
from engine.waves import Steady, Wave
from wayside.rehearsal import trace_words as words
from wayside.rehearsal.event_words import Group, in_words, likeness, unknown_output

WIDTH = 100  # columns of a whole line, for names of a usual length; layout time comes on top
GAP = "  "
LONGEST_WORD = 80  # a longer one is broken; names and file names are shorter
MOST_WHAT = 26  # longer lists of names are wrapped
VARIES = -1  # the outputs of one row ended at different times

_HEADS = ("time", "clock", "until", "what", "does", "asked by")
_CLOCK, _WHAT, _DOES, _ASKED = 1, 3, 4, 5
_GIVES_WAY = ((_DOES, 32), (_WHAT, 20), (_ASKED, 30), (_WHAT, 16), (_DOES, 26), (_ASKED, 24))
_CUT = {"dropped": "dropped", "hold": "held", "stopped": "stopped"}
_SCENE = {"running": "begins", "ended": "has ended", "stopping": "is being stopped", "stopped": "is stopped"}


class _Row(NamedTuple):
    at_us: int
    until_us: int | None
    what: str
    does: str
    asked: str


class _Next(NamedTuple):
    """What an output is told after this: when and why."""

    at_us: int
    why: str


class _Index(NamedTuple):
    """What the rows need to know ahead: how each timed line ended, and what each output is told next."""

    ended: dict[int, Ended]
    following: dict[int, _Next]  # by the record's number in the trace


def lines(trace: Sequence[Record], program: Program, wall_start_s: int | None = None) -> Iterator[str]:
    """The event list, a header first; `wall_start_s` (seconds after midnight) adds a column of layout time.

    The trace is read three times (what ends when, how wide, the text), so nothing but the index is kept in memory.
    """
    reader = _Reader(trace, program)
    ratio = program.layout.clock.ratio

    def cells(row: _Row) -> tuple[str, ...]:
        day = "" if wall_start_s is None else words.time_of_day(words.layout_second(row.at_us, wall_start_s, ratio))
        return words.clock(row.at_us), day, _until_text(row.until_us), row.what, row.does, row.asked

    heads = tuple("" if head == "clock" and wall_start_s is None else head for head in _HEADS)
    widths, longest = [len(head) for head in heads], [0] * len(heads)
    for row in reader.rows():
        for column, cell in enumerate(cells(row)):
            widths[column] = max(widths[column], len(cell))
            longest[column] = max(longest[column], *map(len, cell.split() or [""]))
    widths = _fitted(widths, longest)
    yield from _laid_out(heads, widths)
    yield GAP.join("-" * width for width in widths if width)
    for row in reader.rows():
        yield from _laid_out(cells(row), widths)


def _since(at_us: int, since_us: int) -> str:
    return "" if since_us == at_us else f" by what began at {words.clock(since_us)}"


def _until_text(until_us: int | None) -> str:
    if until_us is None:
        return ""
    return "varies" if until_us == VARIES else words.clock(until_us)


def _fitted(widths: Sequence[int], longest: Sequence[int]) -> list[int]:
    """Widths that share out the line, by turns; no column gets narrower than its longest word."""
    fitted = list(widths)
    fitted[_WHAT] = min(fitted[_WHAT], max(MOST_WHAT, longest[_WHAT]))
    over = sum(fitted) - fitted[_CLOCK] + len(GAP) * (len(fitted) - 2) - WIDTH
    for column, least in _GIVES_WAY:
        gives = fitted[column] - max(least, min(longest[column], LONGEST_WORD))
        gives = max(0, min(gives, over))
        fitted[column] -= gives
        over -= gives
    return fitted


def _laid_out(cells: Sequence[str], widths: Sequence[int]) -> Iterator[str]:
    """One event as a line, and more lines below it where a cell is wider than its column."""
    columns = [
        (textwrap.wrap(cell, width, break_on_hyphens=False) or [""], width)
        for cell, width in zip(cells, widths, strict=True)
        if width
    ]
    for number in range(max(len(parts) for parts, _ in columns)):
        parts = [(part[number] if number < len(part) else "").ljust(width) for part, width in columns]
        yield GAP.join(parts).rstrip()


def _look_ahead(trace: Sequence[Record]) -> _Index:
    ended: dict[int, Ended] = {}
    following: dict[int, _Next] = {}
    latest: dict[str, _Next] = {}
    for number in range(len(trace) - 1, -1, -1):
        record = trace[number]
        if isinstance(record, Told):
            if record.output in latest:
                following[number] = latest[record.output]
            latest[record.output] = _Next(record.at_us, record.why)
        elif isinstance(record, Ended):
            ended[record.line] = record
    return _Index(ended, following)


def _files(trace: Sequence[Record], program: Program) -> Iterator[str]:
    yield from (scene.place.file for scene in program.scenes.values() if scene.place != NOWHERE)
    for record in trace:
        place = getattr(record, "place", NOWHERE)
        if place != NOWHERE:
            yield place.file


class _Reader:
    """Turns a trace into rows, an instant at a time."""

    def __init__(self, trace: Sequence[Record], program: Program) -> None:
        self._trace = trace
        self._program = program
        self._index = _look_ahead(trace)
        self._places = words.Places(_files(trace, program))
        self._statements = words.statements(program)
        self._waves: dict[str, Wave] = {}
        self._trains: dict[tuple[int, str], int] = {}  # which way each was last going: 1, -1, or 0 as yet

    def rows(self) -> Iterator[_Row]:
        self._waves.clear()
        self._trains.clear()
        numbered = enumerate(self._trace)
        for _, together in groupby(numbered, key=lambda pair: pair[1].at_us):
            yield from self._instant(list(together))

    def _instant(self, records: list[tuple[int, Record]]) -> Iterator[_Row]:
        groups = self._grouped(records)
        told = {(group.told.scene, group.told.place) for group in groups.values()}
        dids = [record for _, record in records if isinstance(record, Did)]
        for number, record in records:
            if number in groups:
                yield self._group_row(groups[number])
            elif isinstance(record, Told):
                continue  # in an earlier row
            elif isinstance(record, Did):
                if (record.scene, record.place) not in told and (row := self._nothing_new(record)):
                    yield row
            elif row := self._row(record, dids):
                yield row

    # --- outputs ---------------------------------------------------------------------------------------------------

    def _grouped(self, records: list[tuple[int, Record]]) -> dict[int, Group]:
        """The instant's orders by the number of the first of each group."""
        groups: dict[int, Group] = {}
        first: dict[object, int] = {}
        for number, told in records:
            if not isinstance(told, Told):
                continue
            ends_us = told.wave.ends_us
            if ends_us is not None and ends_us <= told.at_us:  # given back after it was over
                told = told._replace(wave=Steady(told.wave.value_at(ends_us)))
            output = self._program.layout.outputs.get(told.output) or unknown_output(told.output)
            before = self._waves.get(told.output)
            until, cut = self._until(number, told, output)
            key = (told.scene, told.place, told.why, cut, likeness(told, output, before))
            if key not in first:
                first[key] = number
                groups[number] = Group(told, [], [], [], cut, before)
            group = groups[first[key]]
            group.outputs.append(output)
            group.waves.append(told.wave)
            group.untils.append(until)
            self._waves[told.output] = told.wave
        return groups

    def _until(self, number: int, told: Told, output: Output) -> tuple[int | None, str]:
        """When what was told ended, and the word for it if it did not run its length."""
        following = self._index.following.get(number)
        ends = told.wave.ends_us
        if ends is None:
            still = isinstance(told.wave, Steady) and (
                told.wave.value == output.rest.value or output.kind is Kind.SERVO
            )
            return (None if still or following is None else following.at_us), ""
        if following is None or following.at_us >= ends:
            return ends, ""
        return following.at_us, _CUT.get(following.why, "cut short")

    def _group_row(self, group: Group) -> _Row:
        told = group.told
        says = in_words(group) + (f", {group.cut}" if group.cut else "")
        until = group.untils[0] if len(set(group.untils)) == 1 else VARIES
        names = ", ".join(output.name for output in group.outputs)
        return _Row(told.at_us, until, names, says, self._asked(told.scene, told.place))

    def _asked(self, scene: str, place: Place) -> str:
        """Scene, file and line; a scene in the file of its own name is not named twice."""
        if PurePath(place.file).stem == scene:
            return self._places(place)
        return ", ".join(part for part in (scene, self._places(place)) if part)

    def _nothing_new(self, did: Did) -> _Row | None:
        """A line that told outputs what another line of the same instant overruled, or what they do already."""
        match self._statements.get(did.place):
            case Tell(orders=orders):
                names = [name for name, _ in orders]
            case Hold(outputs=outputs) | Release(outputs=outputs):
                names = list(outputs)
            case _:
                return None
        shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        return _Row(did.at_us, None, shown or "everything", "no change", self._asked(did.scene, did.place))

    # --- everything else -------------------------------------------------------------------------------------------

    def _row(self, record: Record, dids: list[Did]) -> _Row | None:
        match record:
            case SceneIs(at, scene, state, why, place):
                reason = f": {why}" if why else ""
                return _Row(at, None, words.scene(scene), _SCENE.get(state, state) + reason, self._places(place))
            case Saw(at, detector, state):
                return _Row(at, None, f"detector {detector}", state, "")
            case ButtonIs(at, button, pressed):
                return _Row(at, None, f"button {button}", "pressed" if pressed else "let go", "")
            case FlagIs(at, flag, value):
                asked = self._asker(dids, lambda line: isinstance(line, SetFlag) and line.flag == flag)
                return _Row(at, None, f"flag {flag}", "remembered" if value else "forgotten", asked)
            case CounterIs(at, counter, amount):
                asked = self._asker(dids, lambda line: isinstance(line, Count) and line.counter == counter)
                return _Row(at, None, f"counter {counter}", f"is {amount}", asked)
            case LinkIs(at, link, state):
                return _Row(at, None, f"link {link}", state, "")
            case TrainAt():
                return self._train(record)
            case TrainOn(at, train, detector, on):
                return _Row(at, None, words.train(train), f"{'comes on to' if on else 'leaves'} {detector}", "")
            case TrainTaken(at, detector, on):
                return _Row(at, None, "a train", f"is taken to be {'' if on else 'no more '}on {detector}", "")
            case Noted(at, scene, text, place):
                return _Row(at, None, "note", text, self._asked(scene, place))
            case Broke(at, rule, place, since):
                return _Row(at, None, f"rule {rule}", f"broken{_since(at, since)}", self._places(place))
            case Trouble(at, text, places):
                return _Row(at, None, "trouble", text, ", ".join(self._places(place) for place in places))
            case Began():
                return self._timed(record)
            case Ended() | Did() | Told():
                return None
        assert_never(record)

    def _asker(self, dids: list[Did], fits: Callable[[object], bool]) -> str:
        found = (did for did in dids if fits(self._statements.get(did.place)))
        return next((self._asked(did.scene, did.place) for did in found), "")

    def _train(self, record: TrainAt) -> _Row:
        key, heading = (record.train, record.track), (record.speed_um_s > 0) - (record.speed_um_s < 0)
        known, before = key in self._trains, self._trains.get(key, 0)
        self._trains[key] = heading or before
        front = f"{words.number(record.front_um / 1000, 0)} mm"
        speed = f"{words.number(abs(record.speed_um_s) / 1000, 1)} mm/s"
        track = self._program.layout.tracks.get(record.track)
        ends = sorted((record.front_um, record.tail_um))
        if track and record.speed_um_s == 0 and (ends[0] >= track.length_mm * 1000 or ends[1] <= 0):
            does = f"has left {record.track}"
        elif record.speed_um_s == 0:
            does = f"stands on {record.track}, {front} along"
        elif known and heading == -before:
            does = f"turns back at {front}, {speed}"
        elif known:
            does = f"goes on from {front}, {speed}"
        else:
            does = f"enters {record.track}, {speed}"
        return _Row(record.at_us, None, words.train(record.train), does, "")

    def _timed(self, began: Began) -> _Row | None:
        """Waits and guards have rows of their own; what moves or fades has its outputs' rows."""
        ended = self._index.ended.get(began.line)
        match self._statements.get(began.place):
            case Wait(low_us=low, high_us=high):
                drawn = f" (between {words.length(low)} and {words.length(high)})" if low != high else ""
                took = f" {words.length(ended.at_us - began.at_us)}" if ended and drawn else f" {words.length(high)}"
                does = f"waits{took}{drawn}"
            case WaitUntil(condition=condition, at_most_us=most):
                does = f"waits until {condition.words or 'its condition holds'}"
                does += f", at most {words.length(most)}" if most is not None else ""
            case AsLongAs(condition=condition):
                does = f"goes on as long as {condition.words or 'its condition holds'}"
            case _:
                return None
        if ended and ended.how not in ("ran out", ""):
            does += f": {'time ran out' if ended.how == 'ran out of time' else ended.how}"
        until = ended.at_us if ended else None
        return _Row(began.at_us, until, words.scene(began.scene), does, self._places(began.place))
