"""How high a supply's voltage may be: limits with their sources, from the one that refuses to those that advise.

Pure; knows no layout. Limits are cautions: local codes come first.
"""

from __future__ import annotations

from typing import NamedTuple


class Limit(NamedTuple):
    """A supply above `most_mv` is refused, or warned of."""

    most_mv: int
    refuses: bool
    what: str
    source: str


# 42.4 V peak is 30 V of a sine's effective value.
ALTERNATING = (
    Limit(50_000, True, "safety extra-low voltage ends at 50 V ac", "IEC 61558-1"),
    Limit(30_000, False, "equipment keeps to 42.4 V peak, which is 30 V ac", "IEC 60335-1 3.4.2"),
    Limit(24_000, False, "toys keep to 24 V", "2009/48/EC"),
)
DIRECT = (
    Limit(120_000, True, "safety extra-low voltage ends at 120 V ripple-free dc", "IEC 61558-1"),
    Limit(60_000, False, "equipment keeps to 60 V dc", "IEC 60335-1 3.4.2"),
    Limit(24_000, False, "toys keep to 24 V", "2009/48/EC"),
)
USUAL = {True: "accessory drives are usual at 14 to 16 V ac", False: "accessory drives are usual at 12 V dc"}
USUAL_SOURCE = "NEM 611 (2017)"
LIGHTS_MV = 15_000  # scenic lights on direct current: NEM 611 (2017)


def passed(millivolts: int, alternating: bool) -> Limit | None:
    """The highest limit that a voltage is above."""
    return next((one for one in (ALTERNATING if alternating else DIRECT) if millivolts > one.most_mv), None)


def is_usual(millivolts: int, alternating: bool) -> bool:
    """Whether accessories are usually fed so. Servos and electronics on 5 V are below, and none the worse for it."""
    return millivolts <= (16_000 if alternating else 12_000)
