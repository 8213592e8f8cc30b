"""Opposing changes: the bounds on how often a manner can flash, found from what it is made of and not by watching it.

What a change and a flash are is said in `engine.flashes`, which counts those that were made. Knows no manners.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

from engine.flashes import CHANGE

Light = Callable[[float], float]  # luminance, 0..1, of a manner's level; never turns back as the level rises


def flashes_of(changes: int) -> float:
    """A flash is a pair of opposing changes; one half of the first pair may lie before the second that is looked at."""
    return float((changes + 1) // 2)


def least_step(light: Light, grid: int = 1_000) -> float:
    """No more than the least step of the argument, within 0..1, over which light changes by `CHANGE`; else above 1."""
    values = [light(number / grid) for number in range(grid + 1)]
    if values[0] > values[-1]:
        values.reverse()
    least, first = 2 * grid, 0
    for last, value in enumerate(values):
        while value - values[first + 1 if first < last else first] >= CHANGE:
            first += 1
        if value - values[first] >= CHANGE:
            least = min(least, last - first)
    return max(0, least - 2) / grid  # the true ends lie up to one grid step inside, at either end


def met_by(changes: list[tuple[int, int]], first: int, end_us: int) -> int:
    """How many changes, from the first on, begin by an instant."""
    count = 0
    while first + count < len(changes) and changes[first + count][0] <= end_us:
        count += 1
    return count


def swings(points: list[tuple[int, float]], least: float = CHANGE) -> list[tuple[int, int]]:
    """The opposing changes of at least so much in a course of light: from when to when each goes, turn to turn."""
    low = high = (points[0][0], points[0][0], points[0][1])  # reached when, left when, light
    turns = [low]  # the last one still moves on
    rising = 0  # 1, -1; 0 while no change was large enough
    for at_us, light in points:
        if rising == 0:
            low, high = _further(low, at_us, light, -1), _further(high, at_us, light, 1)
            if high[2] - low[2] >= least:
                turns, rising = ([low, high], 1) if light == high[2] else ([high, low], -1)
        elif (turns[-1][2] - light) * rising >= least:
            turns.append((at_us, at_us, light))
            rising = -rising
        else:
            turns[-1] = _further(turns[-1], at_us, light, rising)
    return [(left, reached) for (_, left, _), (reached, _, _) in pairwise(turns)]


def _further(turn: tuple[int, int, float], at_us: int, light: float, rising: int) -> tuple[int, int, float]:
    """A turn, or what is further on its way, or as far and later."""
    ahead = (light - turn[2]) * rising
    if ahead > 0:
        return at_us, at_us, light
    return (turn[0], at_us, light) if ahead == 0 else turn
