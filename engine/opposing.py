"""Opposing changes: the bounds on how often a manner can flash, found from what it is made of and not by watching it.

What a change and a flash are is said in `engine.flashes`, which counts those that were made. Knows no manners.
"""

from __future__ import annotations

from collections.abc import Callable

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
    turns = [points[0]]  # where it turned; the last one still moves on
    rising = 0  # 1, -1; 0 while no change was large enough
    low = high = points[0]
    for at_us, light in points:
        if rising == 0:
            low, high = min(low, (at_us, light), key=_light), max(high, (at_us, light), key=_light)
            if high[1] - low[1] >= least:
                rising = 1 if light == high[1] else -1
                turns = [low, high] if rising == 1 else [high, low]
        elif (light - turns[-1][1]) * rising >= 0:
            turns[-1] = (at_us, light)
        elif (turns[-1][1] - light) * rising >= least:
            turns.append((at_us, light))
            rising = -rising
    return [(turns[number][0], turns[number + 1][0]) for number in range(len(turns) - 1)] if rising else []


def _light(point: tuple[int, float]) -> float:
    return point[1]
