"""Single questions that need no layout: an LED's resistor, what a run of wire loses, which fuse carries a load.

Reads what a person writes after an option, and answers in lines. The reckoning is done elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction

from wayside.layout.electric_values import amperes, cable, current_ua, digits, supply_voltage, voltage_mv, volts, watts
from wayside.layout.supplies import MOST_FORWARD_MV, MOST_IN_SERIES, MOST_MM, MOST_MM2, MOST_UA
from wayside.survey import cables, fuses, resistors
from wayside.survey.supplies import sold_said
from wayside.survey.supply_findings import lost_said
from wayside.survey.voltage_limits import passed
from wayside.usage import UsageProblem

RESISTOR = (
    '--resistor takes the supply, the LED and its current, such as "12 V, 3.2 V, 10 mA" or "12 V, 3 x 3.2 V, 10 mA"'
)
DROP = '--drop takes a run of wire and a current, such as "5 m of 0.5 mm2, 1 A", and the voltage, too: "..., 1 A, 12 V"'
FUSE = '--fuse takes the current that lasts, such as "1.2 A"'
_CHAIN = re.compile(r"([0-9]{1,6}) ?[x×*] ?(.+)")
_BETWEEN = re.compile(r"\s*[;,](?=\s)\s*|\s*;\s*")  # a comma within a number has no space behind it


def resistor(text: str) -> Iterator[str]:
    """What the resistor has to be, and the next higher of E12 and E24. Raises UsageProblem."""
    parts = _BETWEEN.split(text.strip())
    if len(parts) != 3:
        raise UsageProblem(f"{RESISTOR}, not {text!r}.")
    supply = _supply_mv(parts[0], text)
    chain = _CHAIN.fullmatch(parts[1])
    in_series, forward = (int(chain[1]), voltage_mv(chain[2])) if chain else (1, voltage_mv(parts[1]))
    ua = current_ua(parts[2])
    if forward is None or ua is None:
        raise UsageProblem(f"{RESISTOR}, not {text!r}.")
    if in_series > MOST_IN_SERIES or forward > MOST_FORWARD_MV or ua > MOST_UA:
        raise UsageProblem(f"--resistor {text!r}: that is more than any LED has. See whether volts and mA are right.")
    try:
        exact = resistors.exact_ohms(supply, forward, in_series, ua)
        chosen = resistors.choose(supply, forward, in_series, ua)
    except resistors.NoResistor as no:
        raise UsageProblem(f"--resistor {text!r}: {no.what}. {no.instead}.") from no
    left = supply - in_series * forward
    less = f"{in_series} x {volts(forward)}" if in_series > 1 else volts(forward)
    yield f"{volts(supply)} less {less} leaves {volts(left)}; at {amperes(ua)} that is {digits(exact, 4)} ohm."
    yield "The next higher values of IEC 60063, what then flows, and what the resistor takes:"
    yield ""
    for one in chosen:
        ohms = f"{digits(one.ohms, 6)} ohm"
        flows = amperes(one.amperes * 1_000_000)
        head = f"  {one.series}  {resistors.code(one.ohms):<5}  {ohms:<12}"
        yield f"{head}  {flows:<8}  {watts(one.watts):<8}  buy {sold_said(one)}"
    yield ""
    yield "A resistor is bought for twice what it takes (common practice, no source). Each chain of LEDs has its own."


def _supply_mv(word: str, text: str) -> int:
    named = supply_voltage(word)
    found = named[0] if named else voltage_mv(word)
    if named and named[1]:
        raise UsageProblem(
            f"--resistor {text!r}: on alternating current an LED needs a rectifier. Write the dc voltage behind it."
        )
    if found is None:
        raise UsageProblem(f"{RESISTOR}, not {text!r}.")
    limit = passed(found, False)
    if limit is not None and limit.refuses:
        raise UsageProblem(f"--resistor {text!r}: {limit.what} ({limit.source}). Beyond it is for a qualified person.")
    return found


def drop(text: str) -> Iterator[str]:
    """What a run of wire loses there and back, and what it may carry. Raises UsageProblem."""
    parts = _BETWEEN.split(text.strip())
    run = cable(parts[0]) if parts else None
    ua = current_ua(parts[1]) if len(parts) > 1 else None
    millivolts = (supply_voltage(parts[2]) or (voltage_mv(parts[2]),))[0] if len(parts) == 3 else None
    if run is None or ua is None or len(parts) > 3 or (len(parts) == 3 and not millivolts):
        raise UsageProblem(f"{DROP}; not {text!r}.")
    if not 0 < run.length_mm <= MOST_MM or not 0 < run.mm2 <= MOST_MM2 or ua > MOST_UA:
        raise UsageProblem(
            f"--drop {text!r}: write up to {MOST_MM // 1000} m of up to {MOST_MM2} mm2, and up to 100 A."
        )
    if millivolts:
        yield f"{lost_said(run, ua, millivolts)} ({cables.resistance_source(run.mm2)})."
        yield from _better(run.length_mm, ua, millivolts, run.mm2)
    else:
        lost = cables.drop_mv(run, ua)
        yield f"{parts[0]} loses {volts(lost)} there and back at {amperes(ua)} ({cables.resistance_source(run.mm2)})."
    carries = amperes(cables.may_carry_ua(run.mm2))
    yield f"It may carry {carries} ({cables.carries_source(run.mm2)}): its fuse is to be no larger."


def _better(length_mm: int, ua: int, millivolts: int, mm2: Fraction) -> Iterator[str]:
    enough = cables.enough(length_mm, ua, millivolts, ua)
    share = f"{digits(cables.MOST_LOST * 100)} % ({cables.LOST_SOURCE})"
    if enough is None:
        yield f"No section up to 2.5 mm2 keeps within {share}: bring the supply nearer."
    elif enough != mm2:
        yield f"{digits(enough)} mm2 would keep within {share}."


def fuse(text: str) -> Iterator[str]:
    """The least rating for a current that lasts. Raises UsageProblem."""
    ua = current_ua(text.strip())
    if ua is None:
        raise UsageProblem(f"{FUSE}, not {text!r}.")
    rating = fuses.for_load(ua)
    if rating is None or ua == 0:
        most = amperes(fuses.carries_ua(fuses.RATINGS_MA[-1] * 1_000))
        raise UsageProblem(f"{FUSE}; more than nothing, and at most {most}, not {text!r}.")
    carried = f"75 % of its rating is {amperes(fuses.carries_ua(rating))}"
    yield f"{amperes(rating)} ({fuses.RATINGS_SOURCE}): {carried} ({fuses.SHARE_SOURCE})."
    yield f"The wire behind it is to carry {amperes(rating)} or more: {_sections(rating)}."


def _sections(rating_ua: int) -> str:
    found = next((mm2 for mm2 in cables.MAY_CARRY_A if cables.may_carry_ua(mm2) >= rating_ua), None)
    return f"{digits(found)} mm2 does ({cables.carries_source(found)})" if found else "thicker than 2.5 mm2"
