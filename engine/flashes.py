"""Flashes: how often light goes up and down so far and so fast that it can harm people, as WCAG 2.2 counts them.

Pure counting over light as a function of time. Knows waves; knows no outputs, scenes or words.

WCAG 2.2, success criterion 2.3.1 and its definition "general flash and red flash thresholds": no more than three
flashes in any one second, unless together they fill at most 0.006 sr of any 10 degrees of view. A general flash is a
pair of opposing changes (a rise and a fall, or a fall and a rise) of 10 % or more of the greatest relative luminance,
where the darker image is below 0.80. It is written for screens; for lamps on a layout it is a borrowed limit.
Red flashes (opposing transitions with a saturated red) are not told apart: what colour a lamp has that is just wired
to a port cannot be known, so reds count as any light does.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from heapq import heapify, heappop, heappush

from engine.lightness import luminance
from engine.waves import Part, Steady, Wave

MOST_A_SECOND = 3
SECOND_US = 1_000_000
CHANGE = 0.1  # of the greatest relative luminance: less is no change
BRIGHT = 0.8  # where even the darker image is as bright as this, nothing flashes
SMALL_SR = 0.006  # a quarter of the solid angle of 10 degrees of view

_ROUNDING = 1e-9  # a change from 0.4 to 0.5 is one of 10 %, whatever binary fractions make of it

# While up to FEW lamps move, the light between two instants of a series leaves their range by less than HAIR. While
# more do, what comes and goes within GRID_US may be missed, as far as it is made by lamps that move and not by jumps.
HAIR = 0.005
GRID_US = 10_000
FEW = 4
BUDGET = 400_000  # values of lamps asked for in one series: about a second of work

History = Sequence[tuple[int, Wave]]  # what a lamp was told when, in order

_DARK = Steady(0.0)


# --- counting ------------------------------------------------------------------------------------------------------


def count(series: Iterable[tuple[int, float]]) -> list[int]:
    """The instants at which flashes are complete: the second of two opposing changes has gone far enough.

    `series`: light as a share of the greatest, 0 to 1, at instants in order, at least where it turns. Each change
    belongs to one flash only. What wavers by less than CHANGE on its way up is still one way up.
    """
    found: list[int] = []
    low = high = -1.0  # the ends of the change that is under way; its newer one moves on
    rising: bool | None = None  # None: nothing has changed enough yet
    first: float | None = None  # the darker end of the change before, if it has no partner yet
    alone = False  # whether the change under way has no partner yet
    step = CHANGE - _ROUNDING
    for at_us, light in series:
        if low < 0.0:
            low = high = light
        if rising is None:
            low, high = min(low, light), max(high, light)
            if high - low < step:
                continue
            rising, alone = light == high, True
        elif rising:
            if light > high:
                high = light
            elif high - light >= step:
                first, low = low if alone else None, light
                rising, alone = False, True
        elif light < low:
            low = light
        elif light - low >= step:
            first, high = low if alone else None, light
            rising, alone = True, True
        if alone and first is not None and min(first, low) < BRIGHT - _ROUNDING:
            found.append(at_us)
            first, alone = None, False
    return found


def worst_second(instants: Sequence[int]) -> tuple[int, int]:
    """The most instants in any one second, and the first of them where that second begins; (0, 0) for none.

    A second holds its first instant and not its last: with both, three a second for ever would be four in a second.
    """
    most, since_us, begin = 0, 0, 0
    for index, at_us in enumerate(instants):
        while at_us - instants[begin] >= SECOND_US:
            begin += 1
        if index - begin + 1 > most:
            most, since_us = index - begin + 1, instants[begin]
    return most, since_us


def small(areas_mm2: Iterable[float | None], viewing_mm: float | None) -> bool:
    """Whether lit areas are together so small, seen from there, that their flashes do no harm.

    False where an area or the distance is not stated. Where the lamps stand is not known: all are taken to be within
    one 10 degrees of view, and to face the eye.
    """
    if viewing_mm is None:
        return False
    whole = 0.0
    for area in areas_mm2:
        if area is None:
            return False
        whole += area
    return whole <= SMALL_SR * viewing_mm * viewing_mm


# --- light of several lamps ----------------------------------------------------------------------------------------


def series(
    waves: Sequence[tuple[float, History]], from_us: int, until_us: int, budget: int = BUDGET
) -> Iterator[tuple[int, float]]:
    """The light of lamps together, each with its weight, at every instant where their sum may turn; both ends included.

    Waves are in CIE lightness, 0 to 1; a lamp is dark until it is first told something. How exact it is: see HAIR. When
    the budget is spent the series is over: its last instant tells how far it has come.
    """
    light = _Light(waves, from_us)
    yield from_us, light.known
    queue = [(lamp.next_us, number) for number, lamp in enumerate(light.lamps) if lamp.next_us is not None]
    heapify(queue)
    while queue and queue[0][0] <= until_us and light.asked <= budget:
        at_us, due = queue[0][0], []
        while queue and queue[0][0] == at_us:
            due.append(heappop(queue)[1])
        yield from light.worked(at_us, due)
        for number in due:
            next_us = light.lamps[number].next_us
            if next_us is not None:
                heappush(queue, (next_us, number))
    if not queue or queue[0][0] > until_us:
        yield from light.last(until_us)


class _Lamp:
    """One lamp on its way through its waves, a monotone piece at a time."""

    __slots__ = ("_history", "_part", "_told", "_wave", "_weight", "end", "next_us")

    def __init__(self, weight: float, history: History, from_us: int) -> None:
        self._weight = weight
        self._history = history
        self._told = bisect_right(history, from_us, key=lambda told: told[0])  # how many it has been told
        self._wave = history[self._told - 1][1] if self._told else _DARK
        self._part: Part = self._wave.piece(from_us)  # cheaper to ask than the wave
        self.next_us: int | None = None  # the end of the piece, where the next one begins
        self.end = 0.0  # its light in the last instant of the piece

    def light(self, at_us: int) -> float:
        return self._weight * luminance(self._part.value_at(at_us))

    def begin(self, at_us: int) -> float:
        """A piece begins here; its first light."""
        history = self._history
        while self._told < len(history) and history[self._told][0] <= at_us:
            self._wave = history[self._told][1]
            self._told += 1
        self._part = self._wave.piece(at_us)
        turn = self._part.to_us
        told = history[self._told][0] if self._told < len(history) else None
        self.next_us = told if turn is None or (told is not None and told < turn) else turn
        first = self.light(at_us)
        self.end = first if turn is None or self.next_us is None else self.light(self.next_us - 1)
        return first


class _Light:
    """The light of all lamps together. What is `known` of those that move is as old as the last instant given."""

    def __init__(self, waves: Sequence[tuple[float, History]], from_us: int) -> None:
        self.lamps = [_Lamp(weight, history, from_us) for weight, history in waves]
        self.asked = 2 * len(self.lamps)
        self._lights = [lamp.begin(from_us) for lamp in self.lamps]
        self._moving = {number for number in range(len(self.lamps)) if self._moves(number)}
        self.known = sum(self._lights)
        self._given_us, self._given = from_us, self.known  # what was given last
        self._since_us = from_us  # from here on every lamp has been monotone

    def _moves(self, number: int) -> bool:
        return self.lamps[number].end != self._lights[number]

    def worked(self, at_us: int, due: Sequence[int]) -> Iterator[tuple[int, float]]:
        """Some lamps' pieces end here: the light just before, with what led to it, and now, as far as it matters."""
        lamps, lights = self.lamps, self._lights
        before = self.known + sum(lamps[number].end - lights[number] for number in due)
        if self._moving and at_us - 1 > self._given_us and self._matters(at_us, before):
            yield from self._between(self._since_us, at_us - 1, self._all(self._since_us), self._all(at_us - 1))
            yield self._give(at_us - 1)
        for number in due:
            lights[number] = lamps[number].begin(at_us)
            (self._moving.add if self._moves(number) else self._moving.discard)(number)
        self.asked += 2 * len(due)
        self.known = sum(lights)
        self._since_us = at_us
        if self._matters(at_us, self.known):
            yield self._give(at_us)

    def last(self, until_us: int) -> Iterator[tuple[int, float]]:
        if until_us <= self._given_us:
            return
        if self._moving:
            yield from self._between(self._since_us, until_us, self._all(self._since_us), self._all(until_us))
        yield self._give(until_us)

    def _matters(self, at_us: int, light: float) -> bool:
        few = 0 < len(self._moving) <= FEW
        return few or at_us - self._given_us >= GRID_US or abs(light - self._given) >= HAIR

    def _all(self, at_us: int) -> list[float]:
        self.asked += len(self._moving)
        return [self.lamps[number].light(at_us) for number in self._moving]

    def _give(self, at_us: int) -> tuple[int, float]:
        """Ask every lamp that moves."""
        for number, light in zip(self._moving, self._all(at_us), strict=True):
            self._lights[number] = light
        self.known = sum(self._lights)
        self._given_us, self._given = at_us, self.known
        return at_us, self.known

    def _between(self, from_us: int, to_us: int, first: list[float], last: list[float]) -> Iterator[tuple[int, float]]:
        """Inside a stretch where each lamp is monotone: halved until what rises, or what falls, is less than a hair."""
        ways = [b - a for a, b in zip(first, last, strict=True)]
        rises = sum(way for way in ways if way > 0.0)
        if to_us - from_us < 2 or min(rises, rises - sum(ways)) < HAIR:
            return
        middle_us = (from_us + to_us) // 2
        middle = self._all(middle_us)
        yield from self._between(from_us, middle_us, first, middle)
        still = sum(self._lights) - sum(self._lights[number] for number in self._moving)
        yield middle_us, still + sum(middle)
        yield from self._between(middle_us, to_us, middle, last)
