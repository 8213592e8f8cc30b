"""LED resistors against worked examples, against the series of IEC 60063, and against two libraries."""

from __future__ import annotations

from fractions import Fraction

import eseries
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wayside.survey.resistors import (
    E12,
    E24,
    POWERS_MW,
    SERIES,
    Chosen,
    NoResistor,
    choose,
    code,
    exact_ohms,
    next_higher,
)

UNITS = pint.UnitRegistry()
LIBRARY = {"E12": eseries.E12, "E24": eseries.E24}

# Volts of the supply, of the LED, LEDs in series, milliamperes; exact ohms, E12, E24: reckoned by hand from
# R = (Vs - n Vf) / I, rounded up to the values of IEC 60063.
ROWS = [
    (12_000, 3_200, 1, 10_000, 880, 1_000, 910),
    (12_000, 3_200, 3, 10_000, 240, 270, 240),
    (5_000, 2_000, 1, 10_000, 300, 330, 300),
    (15_000, 3_200, 1, 10_000, 1_180, 1_200, 1_200),
]


@pytest.mark.parametrize(("supply", "forward", "number", "ua", "exact", "e12", "e24"), ROWS)
def test_worked_examples(supply: int, forward: int, number: int, ua: int, exact: int, e12: int, e24: int) -> None:
    assert exact_ohms(supply, forward, number, ua) == exact
    assert [one.ohms for one in choose(supply, forward, number, ua)] == [e12, e24]


def test_what_then_flows_and_what_the_resistor_takes() -> None:
    chosen, _ = choose(12_000, 3_200, 1, 10_000)  # 8.8 V over 1k: 8.80 mA, 77 mW
    assert chosen.amperes * 1000 == Fraction("8.8")
    assert chosen.watts * 1000 == Fraction("77.44")
    assert chosen.sold_mw == 250  # 125 mW would be loaded to 62 %


def test_the_series_are_those_of_the_standard() -> None:
    # IEC 60063, two significant figures
    assert E12 == (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
    assert set(E24) - set(E12) == {11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91}
    for name, series in SERIES.items():
        assert list(series) == [round(value) for value in eseries.series(LIBRARY[name])]


@given(st.integers(min_value=1_000, max_value=9_999_999_999), st.sampled_from(sorted(SERIES)))
def test_the_next_higher_value_against_a_library(milliohms: int, name: str) -> None:
    ohms = Fraction(milliohms, 1_000)
    found = next_higher(ohms, SERIES[name])
    assert found >= ohms
    theirs = eseries.find_greater_than_or_equal(LIBRARY[name], float(ohms))
    if abs(theirs / float(ohms) - 1) > 1e-9:  # at a value itself the library's floats may miss it
        assert float(found) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("decade", [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000])
def test_a_value_of_the_series_is_its_own(decade: int) -> None:
    for series in SERIES.values():
        for step in series:
            exact = Fraction(decade * step, 10)
            assert next_higher(exact, series) == exact
            beyond = next_higher(exact + Fraction(1, 10**9), series)
            steps = [*series, 100]
            assert beyond == Fraction(decade * steps[steps.index(step) + 1], 10)


@given(
    st.integers(min_value=3_000, max_value=24_000),
    st.integers(min_value=1_200, max_value=2_900),
    st.integers(min_value=500, max_value=30_000),
)
def test_ohms_and_watts_against_a_units_library(supply: int, forward: int, ua: int) -> None:
    left = (supply - forward) * UNITS.millivolt
    resistance = (left / (ua * UNITS.microampere)).to("ohm").magnitude
    assert float(exact_ohms(supply, forward, 1, ua)) == pytest.approx(resistance, rel=1e-12)
    for one in choose(supply, forward, 1, ua):
        assert one.amperes * 1_000_000 <= ua
        power = (left**2 / (float(one.ohms) * UNITS.ohm)).to("watt").magnitude
        assert float(one.watts) == pytest.approx(power, rel=1e-12)


@pytest.mark.parametrize(
    ("values", "what"),
    [
        ((3_000, 3_000, 1, 10_000), "all the volts"),
        ((9_000, 3_200, 3, 10_000), "3 LEDs need more volts"),
        ((12_000, 2_000, 1, 0), "above nothing"),
        ((5_000, 2_000, 1, 30_000_000), "less than 1 ohm"),
        ((100_000, 2_000, 1, 1), "more than 10 megohms"),
    ],
)
def test_where_there_is_none(values: tuple[int, int, int, int], what: str) -> None:
    with pytest.raises(NoResistor, match=what) as raised:
        choose(*values)
    assert raised.value.instead


@pytest.mark.parametrize(
    ("ohms", "printed"),
    [
        ("1", "1R"),
        ("4.7", "4R7"),
        ("270", "270R"),
        ("1000", "1k"),
        ("1200", "1k2"),
        ("91000", "91k"),
        ("2200000", "2M2"),
    ],
)
def test_how_it_is_printed(ohms: str, printed: str) -> None:
    assert code(Fraction(ohms)) == printed  # the code of IEC 60062 (from memory)


def test_one_that_gets_too_warm_is_not_sold() -> None:
    warm = Chosen("E12", Fraction(10), Fraction(1), Fraction(10))
    assert warm.sold_mw is None
    assert Chosen("E12", Fraction(1), Fraction(1), Fraction(POWERS_MW[0], 2_000)).sold_mw == POWERS_MW[0]
