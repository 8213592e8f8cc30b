"""Volts, amperes, runs of wire and prices: read from a person's text, exactly, and said in words again.

Knows the forms of the layout file's schema and no file. Whole microamperes and millivolts; fractions where one divides.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from engine.supply import Cable, Price
from wayside.layout.schema import pattern

_MICRO = {"A": 1_000_000, "mA": 1_000}
_MILLI = {"V": 1_000, "mV": 1}
_LENGTH_MM = {"mm": 1, "cm": 10, "m": 1_000}


def _number(text: str) -> Fraction:
    return Fraction(text.replace(",", "."))


def current_ua(text: str) -> int | None:
    found = pattern("current").fullmatch(text)
    return round(_number(found[1]) * _MICRO[found[2]]) if found else None


def voltage_mv(text: str) -> int | None:
    found = pattern("voltage").fullmatch(text)
    return round(_number(found[1]) * _MILLI[found[2]]) if found else None


def supply_voltage(text: str) -> tuple[int, bool] | None:
    """Millivolts, and whether the current alternates."""
    found = pattern("supply-voltage").fullmatch(text)
    return (round(_number(found[1]) * _MILLI[found[2]]), text.lower().endswith("ac")) if found else None


def cable(text: str) -> Cable | None:
    found = pattern("cable").fullmatch(text)
    return Cable(round(_number(found[1]) * _LENGTH_MM[found[2]]), _number(found[3])) if found else None


def price(text: str) -> Price | None:
    found = pattern("price").fullmatch(text)
    return Price(_number(found[1]), found[2] or "") if found else None


# --- said ----------------------------------------------------------------------------------------------------------


def digits(value: Fraction, significant: int = 3) -> str:
    """A number to so many significant digits, halves up, without an exponent and without idle noughts."""
    if value == 0:
        return "0"
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    step = Decimal(1).scaleb(exact.adjusted() - significant + 1)
    text = f"{exact.quantize(step, rounding=ROUND_HALF_UP):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _scaled(value: Fraction, unit: str, thousandth: str) -> str:
    small = digits(value * 1000)
    if 0 < value < 1 and small != "1000":
        return f"{small} {thousandth}"
    return f"{digits(value)} {unit}"


def amperes(ua: int | Fraction) -> str:
    """`8.8 mA`, `1.21 A`: three significant digits."""
    return _scaled(Fraction(ua) / 1_000_000, "A", "mA")


def volts(mv: int | Fraction) -> str:
    return _scaled(Fraction(mv) / 1_000, "V", "mV")


def watts(value: Fraction) -> str:
    return _scaled(value, "W", "mW")


def metres(mm: int) -> str:
    return f"{digits(Fraction(mm, 1000), 6)} m"


def money(amount: Fraction, currency: str) -> str:
    """Two decimals, and the currency as it was written."""
    cents = Decimal(amount.numerator) / Decimal(amount.denominator)
    return f"{cents.quantize(Decimal('0.01'), rounding=ROUND_HALF_UP)} {currency}".rstrip()


def power_w(millivolts: int, ua: int) -> Fraction:
    return Fraction(millivolts, 1_000) * Fraction(ua, 1_000_000)


def power_said(millivolts: int, alternating: bool, ua: int) -> str:
    """`13.5 W`; volts times amperes of alternating current are volt-amperes: `13.5 VA`."""
    said = watts(power_w(millivolts, ua))
    return said.replace("W", "VA") if alternating else said


def supply_said(millivolts: int, alternating: bool) -> str:
    """`12 V dc`."""
    return f"{digits(Fraction(millivolts, 1000), 6)} V {'ac' if alternating else 'dc'}"
