"""The closed table of what can be measured at a crossing: each measure's name, what it counts, which parts it needs.

Owns the names that practice tables may use. How each is measured stands in `measure_times` and `measure_rules`.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from functools import partial
from operator import attrgetter
from typing import NamedTuple

from wayside.practice import measure_rules as rules
from wayside.practice import measure_times as times
from wayside.practice.measuring import Findings, Passage


class Sort(Enum):
    """What a measure counts; a RULE holds or does not, and says where it did not."""

    TIME = "a time, such as 4 s"
    RATE = "a rate, such as 35 a minute"
    RULE = "no number"


class Need(Enum):
    """A part without which there is nothing to measure, as the layout file has it."""

    AMBER = "amber"
    REDS = "reds"
    TWO_REDS = "two or more reds"
    ENTRANCE = "entrance barriers"
    EXIT = "exit barriers"
    BARRIERS = "barriers"
    BOOMS = "boom lamps"
    THREE_BOOMS = "three or more boom lamps"
    BELL = "audible warning"
    SIGNALS = "signals"
    DETECTORS = "detectors"
    TRAINS = "track over the road"  # and so an instant at which a train arrives


class Measure(NamedTuple):
    sort: Sort
    needs: tuple[Need, ...]
    about: str
    find: Callable[[Passage], Findings]


_REDS = attrgetter("reds_on")
_FLASHING = attrgetter("reds_flash")
_LOWERED = attrgetter("all_lowered")
_LIGHTS = attrgetter("amber_or_reds")
_ENTRANCE, _EXIT, _BARRIERS = (
    attrgetter("crossing.entrance_barriers"),
    attrgetter("crossing.exit_barriers"),
    attrgetter("barriers"),
)
_down, _up = partial(times.whole_ways, down=True), partial(times.whole_ways, down=False)

_TIMES: tuple[tuple[str, tuple[Need, ...], str, Callable[[Passage], Findings]], ...] = (
    ("amber-time", (Need.AMBER,), "how long the amber shines steadily; 0 s if a warning has none", times.amber_time),
    (
        "detection-to-light",
        (Need.DETECTORS, Need.REDS),
        "from a train's detection to the first amber, or to the reds",
        times.detection_to_light,
    ),
    ("detection-to-red", (Need.DETECTORS, Need.REDS), "from a train's detection to the reds", times.detection_to_red),
    (
        "detection-to-boom-lamps",
        (Need.DETECTORS, Need.BOOMS),
        "from a train's detection to the boom lamps",
        times.detection_to_boom_lamps,
    ),
    ("amber-to-red", (Need.AMBER, Need.REDS), "from the amber to the reds", times.amber_to_red),
    ("red-to-lowered", (Need.REDS, Need.BARRIERS), "from the reds to all barriers lowered", times.red_to_lowered),
    (
        "red-before-entrance-barriers",
        (Need.REDS, Need.ENTRANCE),
        "how long the reds have shone when an entrance barrier leaves fully raised",
        partial(times.red_before, barriers=_ENTRANCE),
    ),
    (
        "red-before-barriers",
        (Need.REDS, Need.BARRIERS),
        "how long the reds have shone when any barrier leaves fully raised",
        partial(times.red_before, barriers=_BARRIERS),
    ),
    ("entrance-descent", (Need.ENTRANCE,), "an entrance barrier's whole way down", partial(_down, barriers=_ENTRANCE)),
    ("exit-descent", (Need.EXIT,), "an exit barrier's whole way down", partial(_down, barriers=_EXIT)),
    ("descent", (Need.BARRIERS,), "any barrier's whole way down", partial(_down, barriers=_BARRIERS)),
    ("ascent", (Need.BARRIERS,), "any barrier's whole way up", partial(_up, barriers=_BARRIERS)),
    (
        "red-before-train",
        (Need.REDS, Need.TRAINS),
        "how long the reds have shone when a train reaches the road",
        partial(times.before_train, what=_REDS),
    ),
    (
        "amber-before-train",
        (Need.AMBER, Need.REDS, Need.TRAINS),
        "how long amber or reds have shone when a train reaches the road",
        partial(times.before_train, what=_LIGHTS),
    ),
    (
        "lowered-before-train",
        (Need.BARRIERS, Need.TRAINS),
        "how long all barriers have been lowered when a train reaches the road",
        partial(times.before_train, what=_LOWERED),
    ),
)

_RATES: tuple[tuple[str, tuple[Need, ...], str, Callable[[Passage], Findings]], ...] = (
    ("flash-rate", (Need.REDS,), "how often each red flashes", times.flash_rate),
    ("combined-rate", (Need.REDS,), "how often the reds flash, all of them counted together", times.combined_rate),
)

_RULES: tuple[tuple[str, tuple[Need, ...], str, Callable[[Passage], Findings]], ...] = (
    (
        "red-follows-amber",
        (Need.AMBER, Need.REDS),
        "the reds come on in the instant in which the amber goes out",
        partial(rules.red_follows_amber, reds=_REDS),
    ),
    (
        "flashing-red-follows-amber",
        (Need.AMBER, Need.REDS),
        "the reds begin to flash in the instant in which the amber goes out",
        partial(rules.red_follows_amber, reds=_FLASHING),
    ),
    ("reds-alternate", (Need.TWO_REDS,), "of two reds exactly one is lit, all the time", rules.reds_alternate),
    ("reds-flash", (Need.REDS,), "one red flashes, or several flash alternately", rules.reds_flash),
    ("reds-steady", (Need.REDS,), "the reds do not flash", rules.reds_steady),
    (
        "red-until-raised",
        (Need.REDS, Need.BARRIERS),
        "the reds shine as long as a barrier is not fully raised",
        rules.red_until_raised,
    ),
    ("dark-at-rest", (Need.DETECTORS, Need.REDS), "no amber or red shines with no train about", rules.dark_at_rest),
    (
        "audible-with-amber",
        (Need.AMBER, Need.BELL),
        "an audible warning begins in the instant in which the amber comes on",
        rules.audible_with_amber,
    ),
    (
        "audible-until-lowered",
        (Need.BELL, Need.BARRIERS),
        "the audible warning stops in the instant in which all barriers are lowered",
        rules.audible_until_lowered,
    ),
    (
        "exit-after-entrance",
        (Need.ENTRANCE, Need.EXIT),
        "exit barriers start down only when the entrance barriers are down",
        rules.exit_after_entrance,
    ),
    (
        "boom-lamps-with-barriers",
        (Need.BOOMS, Need.BARRIERS),
        "the boom lamps come on in the instant in which the first barrier leaves fully raised",
        rules.boom_lamps_with_barriers,
    ),
    (
        "boom-lamps-until-raised",
        (Need.BOOMS, Need.BARRIERS),
        "the boom lamps go out only when all barriers are fully raised",
        rules.boom_lamps_until_raised,
    ),
    (
        "boom-lamps-pattern",
        (Need.THREE_BOOMS,),
        "one boom lamp or more shines steadily, the others flash alternately",
        rules.boom_lamps_pattern,
    ),
    (
        "signals-clear-last",
        (Need.SIGNALS, Need.REDS, Need.BARRIERS),
        "a signal leaves danger only with the reds on, all barriers lowered and no sound",
        rules.signals_clear_last,
    ),
    (
        "rise-at-danger",
        (Need.SIGNALS, Need.BARRIERS),
        "barriers rise only while all signals are at danger",
        rules.rise_at_danger,
    ),
    (
        "danger-unless-lowered",
        (Need.SIGNALS, Need.BARRIERS),
        "a signal is not at danger only while all barriers are lowered",
        rules.danger_unless_lowered,
    ),
    (
        "rise-undetected",
        (Need.BARRIERS, Need.DETECTORS),
        "barriers rise only while no train is detected",
        rules.rise_undetected,
    ),
    (
        "lowered-while-occupied",
        (Need.BARRIERS, Need.TRAINS),
        "all barriers are lowered while a train is on the road",
        rules.lowered_while_occupied,
    ),
)

MEASURES: dict[str, Measure] = {
    name: Measure(sort, needs, about, find)
    for sort, rows in ((Sort.TIME, _TIMES), (Sort.RATE, _RATES), (Sort.RULE, _RULES))
    for name, needs, about, find in rows
}

# Times of the opening, which `fit into` leaves as they are written: it squeezes the closing only.
NEVER_SQUEEZED = frozenset({"ascent"})
