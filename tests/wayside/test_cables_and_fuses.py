"""Wires, fuses and limits of voltage: the rows of their standards, worked examples, and a units library."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.supply import Cable
from wayside.layout.electric_values import amperes, digits, money, volts, watts
from wayside.survey import cables, fuses
from wayside.survey.pages import prescale
from wayside.survey.voltage_limits import passed

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("mm2", "ohm_per_km"), [("0.5", "39.0"), ("0.75", "26.0"), ("1", "19.5"), ("1.5", "13.3"), ("2.5", "7.98")]
)
def test_resistance_is_that_of_iec_60228_class_5(mm2: str, ohm_per_km: str) -> None:
    assert cables.ohm_per_km(Fraction(mm2)) == Fraction(ohm_per_km)


@pytest.mark.parametrize(("mm2", "lost"), [("0.5", "390"), ("1.5", "133")])
def test_five_metres_at_one_ampere_there_and_back(mm2: str, lost: str) -> None:
    # 5 m out and back at 1 A: 0.5 mm2 0.39 V, 1.5 mm2 0.133 V, reckoned from the table's rows
    assert cables.drop_mv(Cable(5_000, Fraction(mm2)), 1_000_000) == Fraction(lost)


@given(
    st.integers(min_value=1, max_value=100_000),
    st.sampled_from(sorted(cables.OHM_PER_KM)),
    st.integers(min_value=1, max_value=20_000_000),
)
def test_the_drop_against_a_units_library(length_mm: int, mm2: Fraction, ua: int) -> None:
    each = float(cables.OHM_PER_KM[mm2]) * UNITS.ohm / UNITS.kilometer
    lost = (2 * length_mm * UNITS.millimeter * each * ua * UNITS.microampere).to("millivolt").magnitude
    assert float(cables.drop_mv(Cable(length_mm, mm2), ua)) == pytest.approx(lost, rel=1e-12)


def test_a_section_between_the_rows_is_reckoned_and_says_so() -> None:
    assert cables.ohm_per_km(Fraction("0.25")) == 78  # 19.5 / 0.25
    assert "as its rows have" in cables.resistance_source(Fraction("0.25"))
    assert "as its rows have" not in cables.resistance_source(Fraction("0.75"))
    assert cables.may_carry_ua(Fraction("0.25")) == 1_500_000
    assert cables.may_carry_ua(Fraction("1.2")) == cables.may_carry_ua(Fraction(1))  # the thinner row counts
    assert cables.carries_source(Fraction("0.25")).startswith("reckoned")


def test_copper_conducts_no_better_than_copper() -> None:
    # 1/58 ohm mm2/m at 20 C: annealed copper of IEC 60028 (from memory); a stranded row lies a little above
    for mm2, each in cables.OHM_PER_KM.items():
        assert 1.0 < float(each * mm2) / (1000 / 58) < 1.2


def test_the_thinnest_that_is_enough() -> None:
    assert cables.enough(5_000, 1_000_000, 12_000, 1_000_000) == Fraction("0.5")  # 390 mV of 12 V: 3.3 %
    assert cables.enough(5_000, 1_000_000, 5_000, 1_000_000) == Fraction(1)  # 0.5: 7.8 %, 0.75: 5.2 %, 1: 3.9 %
    assert cables.enough(1_000, 1_000_000, 12_000, 4_000_000) == Fraction("0.75")  # for the fuse's sake
    assert cables.enough(100_000, 5_000_000, 5_000, 1_000_000) is None


def test_a_drop_of_exactly_five_per_cent_is_kept() -> None:
    # 390 mV there and back over 5 m of 0.5 mm2 at 1 A are 5 % of 7.8 V
    assert cables.enough(5_000, 1_000_000, 7_800, 1_000_000) == Fraction("0.5")
    assert cables.enough(5_001, 1_000_000, 7_800, 1_000_000) == Fraction("0.75")


@pytest.mark.parametrize(
    ("load", "rating"),
    [(1_200_000, 1_600_000), (1_200_001, 2_000_000), (750_000, 1_000_000), (24_000, 32_000), (7_500_001, None)],
)
def test_a_fuse_is_loaded_to_three_quarters_at_most(load: int, rating: int | None) -> None:
    # a fuse carries 75 % of its rating for good at 25 C: makers' guides
    assert fuses.for_load(load) == rating


def test_ratings_are_the_ten_steps_of_a_decade() -> None:
    # IEC 60127-2 rates miniature fuses in steps of R10 of ISO 3, with 3.15 and 32 rounded (from memory)
    for one, other in zip(fuses.RATINGS_MA, fuses.RATINGS_MA[1:], strict=False):
        assert 1.18 < other / one < 1.30


@pytest.mark.parametrize(
    ("millivolts", "alternating", "refuses", "source"),
    [
        (50_001, True, True, "IEC 61558-1"),
        (50_000, True, False, "IEC 60335-1"),
        (30_001, True, False, "IEC 60335-1"),
        (30_000, True, False, "2009/48/EC"),
        (24_001, True, False, "2009/48/EC"),
        (120_001, False, True, "IEC 61558-1"),
        (120_000, False, False, "IEC 60335-1"),
        (60_001, False, False, "IEC 60335-1"),
        (60_000, False, False, "2009/48/EC"),
        (24_001, False, False, "2009/48/EC"),
    ],
)
def test_limits_of_voltage(millivolts: int, alternating: bool, refuses: bool, source: str) -> None:
    # 50 V ac, 120 V ripple-free dc: IEC 61558-1. 42.4 V peak, 60 V dc: IEC 60335-1 3.4.2. 24 V: 2009/48/EC.
    limit = passed(millivolts, alternating)
    assert limit is not None
    assert (limit.refuses, source in limit.source) == (refuses, True)


def test_the_peak_of_a_sine() -> None:
    assert round(30 * 2**0.5, 1) == 42.4


@pytest.mark.parametrize("alternating", [True, False])
def test_no_limit_is_passed_at_twenty_four_volts(alternating: bool) -> None:
    assert passed(24_000, alternating) is None


@pytest.mark.parametrize(("rate", "value"), [(200, 30), (50, 121)])
def test_prescale_of_the_driver(rate: int, value: int) -> None:
    assert prescale(rate) == value  # PCA9685 data sheet 7.3.5: round(25 MHz / (4096 * rate)) - 1


@pytest.mark.parametrize(
    ("said", "text"),
    [
        (amperes(8_800), "8.8 mA"),
        (amperes(1_205_000), "1.21 A"),
        (amperes(1_000_000), "1 A"),
        (amperes(0), "0 A"),
        (amperes(999_999), "1 A"),
        (amperes(999_000), "999 mA"),
        (volts(390), "390 mV"),
        (volts(12_000), "12 V"),
        (watts(Fraction("0.07744")), "77.4 mW"),
        (digits(Fraction(1000)), "1000"),
        (digits(Fraction(123456)), "123000"),
        (digits(Fraction(1, 3)), "0.333"),
        (money(Fraction("4.4"), "EUR"), "4.40 EUR"),
        (money(Fraction(53, 12), ""), "4.42"),
    ],
)
def test_how_amounts_are_said(said: str, text: str) -> None:
    assert said == text
