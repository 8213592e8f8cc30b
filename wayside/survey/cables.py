"""Copper wire: its resistance, the voltage that it loses there and back, the current that it may carry.

Pure; knows no layout. Sources stand beside the tables. What is from memory is for advice only.
"""

from __future__ import annotations

from fractions import Fraction

from engine.supply import Cable

# Ohm per kilometre at 20 degrees Celsius by mm2: IEC 60228, class 5, plain copper.
OHM_PER_KM = {
    Fraction("0.5"): Fraction("39.0"),
    Fraction("0.75"): Fraction("26.0"),
    Fraction("1"): Fraction("19.5"),
    Fraction("1.5"): Fraction("13.3"),
    Fraction("2.5"): Fraction("7.98"),
}
# Of a section that is not in the table: what its rows up to 1 mm2 have in common.
OHM_MM2_PER_KM = Fraction("19.5")

# Amperes that a flexible cord may carry: BS 7671 table 4F3A, from memory.
MAY_CARRY_A = {
    Fraction("0.5"): 3,
    Fraction("0.75"): 6,
    Fraction("1"): 10,
    Fraction("1.5"): 16,
    Fraction("2.5"): 25,
}
A_PER_MM2 = 6  # below the table: as its thinnest row (reckoned; thinner wire sheds its heat more easily)

MOST_LOST = Fraction(5, 100)  # of the voltage (IEC 60364-5-52 annex G, from memory)
LOST_SOURCE = "IEC 60364-5-52 annex G, from memory"


def ohm_per_km(mm2: Fraction) -> Fraction:
    """The resistance of one wire. `mm2` is more than nothing."""
    return OHM_PER_KM.get(mm2) or OHM_MM2_PER_KM / mm2


def drop_mv(cable: Cable, ua: int) -> Fraction:
    """The voltage lost on the way there and back."""
    ohms = ohm_per_km(cable.mm2) * 2 * cable.length_mm / 1_000_000
    return ohms * ua / 1_000


def may_carry_ua(mm2: Fraction) -> int:
    """What a wire may carry, and so the most that its fuse may be. Between two rows the thinner one counts."""
    rows = [amperes for section, amperes in MAY_CARRY_A.items() if section <= mm2]
    return rows[-1] * 1_000_000 if rows else int(mm2 * A_PER_MM2 * 1_000_000)


def carries_source(mm2: Fraction) -> str:
    if mm2 < min(MAY_CARRY_A):
        return f"reckoned at {A_PER_MM2} A a mm2, as the thinnest row of BS 7671 table 4F3A, from memory"
    return "BS 7671 table 4F3A, from memory"


def resistance_source(mm2: Fraction) -> str:
    rows = "" if mm2 in OHM_PER_KM else f", by {float(OHM_MM2_PER_KM):g} ohm mm2/km as its rows have"
    return f"IEC 60228, class 5, 20 C{rows}"


def enough(length_mm: int, ua: int, millivolts: int, fuse_ua: int) -> Fraction | None:
    """The thinnest section of the table that carries the fuse and loses no more than is usual; None if none does."""
    for mm2 in OHM_PER_KM:
        if may_carry_ua(mm2) >= fuse_ua and drop_mv(Cable(length_mm, mm2), ua) <= MOST_LOST * millivolts:
            return mm2
    return None
