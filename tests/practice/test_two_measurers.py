"""The product's measuring against the tests' own, on the same traces: two implementations that share no code.

Every twin of `test_ni.py` and `test_us.py`, just inside and just outside its row, must be kept or not kept by both.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.practice import test_ni, test_us
from tests.practice.measure import Measured, Twin, play
from wayside.practice.comparing import compare
from wayside.practice.measuring import Passage
from wayside.practice.reading import find
from wayside.project import load

Checks = dict[str, Callable[[Measured], list[str]]]

# Rows of the shipped table that say together what one row of the tests says.
NI = {
    "K1": ("K1a", "K1b"),
    "K2": ("K2",),
    "K3": ("K3",),
    "K4": ("K4",),
    "K5": ("K5a", "K5b"),
    "K6": ("K6",),
    "K7": ("K7",),
    "K8": ("K8",),
    "K9": ("K9",),
    "K10": ("K10a", "K10b"),
}
US = {
    "U1": ("U1",),
    "U2": ("U2",),
    "U3": ("U3",),
    "U4": ("U4",),
    "U6": ("U6",),
    "U12": ("U12a", "U12b", "U12c"),
    "U13": ("U13a", "U13b", "U13c"),
}
COUNTRIES = {
    "northern-ireland": (test_ni.FOLDER, test_ni.SCENE, test_ni.PLAYED, test_ni.ROWS, NI),
    "united-states": (test_us.FOLDER, test_us.SCENE, test_us.PLAYED, test_us.ROWS, US),
}
CASES = [
    *(("northern-ireland", twin) for twin in test_ni.TWINS),
    *(("united-states", twin) for twin in test_us.TWINS),
    ("northern-ireland", Twin("", True, "as it stands", ())),
    ("united-states", Twin("", True, "as it stands", ())),
]


def product_faults(folder: Path, played: Sequence[Measured], table: str) -> dict[str, bool]:
    """Each row of a shipped table: whether it is not kept on these traces."""
    program = load([folder]).program
    (crossing,) = program.layout.crossings.values()
    before = dict.fromkeys(program.layout.detectors, "clear")  # as these rehearsals begin
    passages = [Passage("", one.layout, crossing, one.trace, one.ended_us, before) for one in played]
    rows = compare(program, crossing, passages, find(table).table).rows
    assert all(not one.missing for one in rows if one.row.name != "U15")
    return {one.row.name: one.verdict.value in ("not kept", "advice") for one in rows}


@pytest.mark.parametrize(("country", "twin"), CASES, ids=lambda one: one.id if isinstance(one, Twin) else one)
def test_both_find_the_same_rows_kept(country: str, twin: Twin, tmp_path: Path) -> None:
    folder, scene, names, checks, groups = COUNTRIES[country]
    played = play(folder, scene, twin.changes, tmp_path, names)
    ours = product_faults(folder, played, country)
    theirs = {row: any(check(measured) for measured in played) for row, check in checks.items()}
    assert {row: any(ours[name] for name in names) for row, names in groups.items()} == theirs


def test_every_row_of_the_tests_stands_in_a_shipped_table() -> None:
    for table, (_, _, _, checks, groups) in COUNTRIES.items():
        assert set(groups) == set(checks)
        assert {name for names in groups.values() for name in names} <= {row.name for row in find(table).table.rows}
