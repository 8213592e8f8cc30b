"""The rhythms of charted lights, as times of dark and light: proportions, limits and Morse signs.

Knows nothing of how a character is written. Where the notation leaves proportions open, the constants here choose them.
Definitions: International Hydrographic Organization (list-of-lights standard; chart symbols P10; S-57), IALA. Numbers
marked "ours" are common practice without a source.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

MS = 1_000
S = 1_000_000
MINUTE = 60 * S

UNDER_FIFTY_US = MINUTE // 50  # "single flashes under 50 a minute" (IHO): a period must be longer than this
LONG_US = 2 * S  # a long flash lasts 2 s or more (chart symbols P10.5)
FLASH_US = 1 * S  # ours: the longest flash that is not a long one
ECLIPSE_US = 2 * S  # as in IHO's `Oc W 12s`: 2 s dark, 10 s light
GROUP_ECLIPSE_US = 1 * S  # as in IHO's `Oc(2) W 13s` and `Oc(2+1) W 12s`
MORSE_UNIT_US = 500 * MS  # ours: the longest dot
MORSE_LEAST_US = 200 * MS  # ours: the shortest dot, which keeps dots at 2.5 a second
COLOUR_US = 1 * S  # ours: how long a light that changes colour without going dark keeps each, at least
FEWEST = 3  # ours: flashes between the long eclipses of an interrupted light


class Quick(NamedTuple):
    """A quick rhythm: how long one flash and its eclipse take, and the range of flashes a minute that it may have."""

    cycle_us: int
    least: int
    below: int


QUICK = {  # chart symbols: 50-79, 80-159, 160 and more; usual are 60, 120, 240 to 300, which is where ours ends
    "Q": Quick(1_000 * MS, 50, 80),
    "VQ": Quick(500 * MS, 80, 160),
    "UQ": Quick(250 * MS, 160, 301),
}
INTERRUPTED = {"IQ": "Q", "IVQ": "VQ", "IUQ": "UQ"}


class Beat(NamedTuple):
    """An eclipse and the light that follows it."""

    dark_us: int
    light_us: int


Beats = tuple[Beat, ...]
Groups = tuple[int, ...]  # flashes (or eclipses) in each group; none: the rhythm is not grouped


class Unfit(ValueError):
    """A period does not fit its rhythm."""

    def __init__(self, what: str, instead: str) -> None:
        super().__init__(f"{what} {instead}")
        self.what, self.instead = what, instead


def seconds(us: int) -> str:
    """As on a chart: `7.5s`."""
    return f"{us / S:.6f}".rstrip("0").rstrip(".") + "s"


def beats(rhythm: str, groups: Groups, period_us: int) -> Beats:
    """One period of a rhythm, eclipse first. Raises Unfit."""
    return _BEATS[rhythm](rhythm, groups, period_us)


def usual_period_us(rhythm: str) -> int | None:
    """The period where the notation needs none: that of a quick light's single flash."""
    return QUICK[rhythm].cycle_us if rhythm in QUICK else None


# --- one rhythm each ------------------------------------------------------------------------------------------------


def _flashing(name: str, groups: Groups, period_us: int) -> Beats:
    """More dark than light. One part light and two dark within a group, four parts dark or more after it (ours)."""
    if not groups:
        _under_fifty("flashes", period_us)
        light_us = min(FLASH_US, period_us // 5)
        return (Beat(period_us - light_us, light_us),)
    parts = sum(3 * count + 2 for count in groups)
    _long_enough(period_us, parts * UNDER_FIFTY_US // 3, f"{sum(groups)} flashes at less than 50 a minute", above=True)
    light_us = min(FLASH_US, period_us // parts)
    return _grouped(groups, light_us, 2 * light_us, period_us)


def _long_flashing(name: str, groups: Groups, period_us: int) -> Beats:
    """Flashes of 2 s, and more dark than light; 2 s apart within a group, 4 s or more after it (ours)."""
    if not groups:
        _long_enough(period_us, 2 * LONG_US, "a flash of 2 s and a longer eclipse", above=True)
        return (Beat(period_us - LONG_US, LONG_US),)
    _long_enough(period_us, sum((2 * count + 1) * LONG_US for count in groups), f"{sum(groups)} flashes of 2 s")
    return _grouped(groups, LONG_US, LONG_US, period_us)


def _occulting(name: str, groups: Groups, period_us: int) -> Beats:
    """More light than dark: the eclipses as in IHO's examples, shorter where the period is short (ours)."""
    if not groups:
        _under_fifty("eclipses", period_us)
        dark_us = min(ECLIPSE_US, period_us // 6)
        return (Beat(dark_us, period_us - dark_us),)
    parts = sum(2 * count + 2 for count in groups)
    _long_enough(period_us, parts * UNDER_FIFTY_US // 2, f"{sum(groups)} eclipses at less than 50 a minute", above=True)
    dark_us = min(GROUP_ECLIPSE_US, period_us // parts)
    # the same pattern as that of flashes, with light and dark changed over: each light follows its eclipse
    inverse = _grouped(groups, dark_us, dark_us, period_us)
    return tuple(Beat(dark_us, after.dark_us) for after in (*inverse[1:], inverse[0]))


def _isophase(name: str, groups: Groups, period_us: int) -> Beats:
    """Light and dark alike."""
    _under_fifty("flashes", period_us)
    return (Beat(period_us // 2, period_us - period_us // 2),)


def _quick(name: str, groups: Groups, period_us: int) -> Beats:
    """Two parts light, three dark (ours); groups at the usual rate, with an eclipse of two gaps or more after each."""
    quick = QUICK[name]
    if not groups:
        if not quick.least * period_us <= MINUTE < quick.below * period_us:
            raise Unfit(
                f"`{name}` flashes without a break, {quick.least} to {quick.below - 1} times a minute; "
                f"{seconds(period_us)} would be {_a_minute(period_us)}.",
                f"Leave the period out, or write `{name}(3) 10s` for groups or `I{name} 10s` for regular breaks.",
            )
        return _flash_of(period_us)
    dark_us, light_us = _flash_of(quick.cycle_us)[0]
    least_us = sum(count * quick.cycle_us + dark_us for count in groups)
    _long_enough(period_us, least_us, f"{sum(groups)} flashes of `{name}`")
    return _grouped(groups, light_us, dark_us, period_us)


def _interrupted(name: str, groups: Groups, period_us: int) -> Beats:
    """Quick for two thirds of the period, then dark (ours)."""
    cycle_us = QUICK[INTERRUPTED[name]].cycle_us
    _long_enough(period_us, -(-FEWEST * cycle_us * 3 // 2), f"{FEWEST} flashes and a long eclipse")
    dark_us, light_us = _flash_of(cycle_us)[0]
    return _grouped((2 * period_us // (3 * cycle_us),), light_us, dark_us, period_us)


_BEATS: dict[str, Callable[[str, Groups, int], Beats]] = {
    "Fl": _flashing,
    "LFl": _long_flashing,
    "Oc": _occulting,
    "Iso": _isophase,
    "FFl": _flashing,
    "FLFl": _long_flashing,
    **dict.fromkeys(QUICK, _quick),
    **dict.fromkeys(INTERRUPTED, _interrupted),
}


def then_long(rhythm: str, count: int, period_us: int) -> Beats:
    """Some flashes and at once a long one: the south cardinal mark's `Q(6)+LFl` (IALA R1001)."""
    if rhythm in QUICK:
        dark_us, light_us = _flash_of(QUICK[rhythm].cycle_us)[0]
        least_us = max(count * (light_us + dark_us) + LONG_US + 2 * dark_us, 2 * (count * light_us + LONG_US) + 1)
    else:
        light_us = min(FLASH_US, max(0, period_us - LONG_US) // (3 * count + 4))
        dark_us = 2 * light_us
        # more dark than light, and the flashes less than 50 a minute
        least_us = max(LONG_US + (3 * count + 4) * UNDER_FIFTY_US // 3, 2 * (count * light_us + LONG_US)) + 1
    _long_enough(period_us, least_us, f"{count} flashes and one of 2 s")
    rest_us = period_us - count * (light_us + dark_us) - LONG_US
    return (Beat(rest_us, light_us), *[Beat(dark_us, light_us)] * (count - 1), Beat(dark_us, LONG_US))


def morse(letters: str, period_us: int) -> Beats:
    """Dash 3 dots; dark 1 dot within a letter, 3 between letters, 7 or more at the end (ITU-R M.1677)."""
    signs = [MORSE[letter] for letter in letters]
    dots = sum(sum(3 if sign == "-" else 1 for sign in letter) + len(letter) - 1 for letter in signs)
    dots += 3 * (len(signs) - 1)
    _long_enough(period_us, (dots + 7) * MORSE_LEAST_US, f"Morse {letters}")
    unit_us = min(MORSE_UNIT_US, period_us // (dots + 7))
    found: list[Beat] = []
    for letter in signs:
        for index, sign in enumerate(letter):
            dark = 1 if index else 3
            found.append(Beat(unit_us * dark, unit_us * (3 if sign == "-" else 1)))
    found[0] = Beat(period_us - dots * unit_us, found[0].light_us)
    return tuple(found)


def in_turn(rhythm: str, colours: int, period_us: int) -> Beats:
    """One flash (or eclipse) for each colour of a light that changes colour, evenly spread; "F" is never dark."""
    if rhythm == "F" and colours == 1:
        return (Beat(0, period_us),)
    if rhythm == "F":
        _long_enough(period_us, colours * COLOUR_US, f"{colours} colours, each for a second")
        ends = [period_us * (index + 1) // colours for index in range(colours)]
        return tuple(Beat(0, end - start) for start, end in zip((0, *ends), ends, strict=False))
    share_us = period_us // (2 * colours) * 2  # even, so that halves stay halves
    left_us = period_us - share_us * colours
    first, *rest = beats(rhythm, (), share_us) * colours
    more_dark_us = left_us if rhythm != "Oc" else 0
    if rhythm == "Iso":
        more_dark_us = left_us // 2
    return (Beat(first.dark_us + more_dark_us, first.light_us + left_us - more_dark_us), *rest)


# --- what they share ------------------------------------------------------------------------------------------------


def _grouped(groups: Groups, light_us: int, dark_us: int, period_us: int) -> Beats:
    """Groups of flashes; what they leave of the period is shared out evenly to the eclipses after each."""
    rest_us = period_us - sum(count * light_us + (count - 1) * dark_us for count in groups)
    each_us = rest_us // len(groups)
    found: list[Beat] = []
    for index, count in enumerate(groups):
        before_us = each_us if index else rest_us - each_us * (len(groups) - 1)
        found += [Beat(before_us, light_us), *[Beat(dark_us, light_us)] * (count - 1)]
    return tuple(found)


def _flash_of(cycle_us: int) -> Beats:
    light_us = cycle_us * 2 // 5
    return (Beat(cycle_us - light_us, light_us),)


def _a_minute(period_us: int) -> str:
    return f"{MINUTE / period_us:.1f}".removesuffix(".0")


def _under_fifty(what: str, period_us: int) -> None:
    if period_us > UNDER_FIFTY_US:
        return
    quick = next((name for name, kind in QUICK.items() if kind.below * period_us > MINUTE), "Q")
    rate = f"{_a_minute(period_us)} a minute; from 50 on a light is quick"
    raise Unfit(
        f"{what.capitalize()} every {seconds(period_us)} are {rate}.",
        f"Write `{quick}`, or a period of more than {seconds(UNDER_FIFTY_US)}.",
    )


def _long_enough(period_us: int, least_us: int, what: str, *, above: bool = False) -> None:
    if period_us < least_us or (above and period_us == least_us):
        # to the tenth of a second above, as periods are written
        enough_us = (least_us // (100 * MS) + 1) * 100 * MS if above else -(-least_us // (100 * MS)) * 100 * MS
        raise Unfit(f"{seconds(period_us)} is too short for {what}.", f"Write {seconds(enough_us)} or more.")


MORSE = {  # ITU-R M.1677, from memory
    **dict(zip("ABCDEFGHI", (".-", "-...", "-.-.", "-..", ".", "..-.", "--.", "....", ".."), strict=True)),
    **dict(zip("JKLMNOPQR", (".---", "-.-", ".-..", "--", "-.", "---", ".--.", "--.-", ".-."), strict=True)),
    **dict(zip("STUVWXYZ", ("...", "-", "..-", "...-", ".--", "-..-", "-.--", "--.."), strict=True)),
    **dict(zip("01234", ("-----", ".----", "..---", "...--", "....-"), strict=True)),
    **dict(zip("56789", (".....", "-....", "--...", "---..", "----."), strict=True)),
}
