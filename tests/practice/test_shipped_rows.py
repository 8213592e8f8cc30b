"""Every row of every shipped practice table, just inside its limit and just outside, on copies of the two examples.

The limits stand in the sources that the rows name (`wayside/practice/tables`); here they are written a second time, as
numbers in a scene: 60 to 90 a minute, 27 s, and so on. Rows marked "memory" or "reported" may only advise.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.practice import test_ni as ni
from tests.practice import test_us as us
from wayside.practice.comparing import Verdict, compare
from wayside.practice.names import shipped
from wayside.practice.passages import played
from wayside.practice.reading import find
from wayside.practice.table import Status
from wayside.project import load

Changes = tuple[tuple[str, str], ...]


class Try(NamedTuple):
    """A copy of an example with some text changed, and whether one row of one table is kept by it."""

    table: str
    row: str
    inside: bool
    what: str
    changes: Changes
    scene: bool = True  # in the scene; otherwise in the layout file


def both(table: str, row: str, what: str, old: str, inside: str, outside: str, scene: bool = True) -> list[Try]:
    return [
        Try(table, row, True, f"{what} {inside}".strip(), ((old, inside),), scene),
        Try(table, row, False, f"{what} {outside}".strip(), ((old, outside),), scene),
    ]


def numbers(table: str, row: str, text: str, old: str, inside: str, outside: str) -> list[Try]:
    """The same text with another number in it."""
    assert old in text
    tries = both(table, row, "", text, text.replace(old, inside), text.replace(old, outside))
    return [one._replace(what=number) for one, number in zip(tries, (inside, outside), strict=True)]


NI, US, UK, IE = "northern-ireland", "united-states", "uk-half-barriers", "ireland"
NL, JP, AT, DE, VC = "netherlands", "japan", "austria", "germany", "vienna-convention"
RISE_EARLY = (ni.RISE, ni.side_by_side(ni.RISE.strip(), "5.9 s", "turn off reds", 12))
STEADY = ("flash reds in turn at 80 a minute each", "turn on reds")
DARK_GAP = "        turn off amber\n        wait 100 ms\n    flash reds in turn at 80 a minute each\n    wait 5 s\n"


def lamp_rate(table: str, row: str, slow: int, fast: int) -> list[Try]:
    return [
        *numbers(table, row, ni.RED, "80 a minute", f"{slow} a minute", f"{slow - 1} a minute"),
        *numbers(table, row, ni.RED, "80 a minute", f"{fast} a minute", f"{fast + 1} a minute"),
    ]


def in_turn(table: str, row: str) -> list[Try]:
    text = ni.RED.replace("reds in turn", "reds")
    return both(table, row, "", ni.RED, ni.RED + "    # as it stands\n", text)


def one_each(table: str, row: str, what: str, old: str, outside: str) -> list[Try]:
    return [
        Try(table, row, True, "as it stands", ()),
        Try(table, row, False, what, ((old, outside),)),
    ]


def lead(text: str) -> str:
    return us.LEAD.replace("4 s", text)


TRIES = [
    # Northern Ireland: the twins of the tests' own measuring, each for the one part of its row that it breaks
    *numbers(NI, "K1a", ni.WARNING, "3 s", "2.5 s", "2.4 s"),
    *numbers(NI, "K1a", ni.WARNING, "3 s", "3.5 s", "3.6 s"),
    *one_each(
        NI,
        "K1b",
        "bell late",
        " amber and bell\n        wait 3 s",
        " amber\n        wait 100 ms\n        turn on bell\n        wait 2.9 s",
    ),
    *both(NI, "K2", "", ni.RED, ni.RED + "    # as it stands\n", DARK_GAP),
    *numbers(NI, "K3", ni.BOOM, "5 s", "4 s", "3.9 s"),
    *numbers(NI, "K3", ni.BOOM, "5 s", "6 s", "6.1 s"),
    *numbers(NI, "K4", ni.NEAR, "7 s", "6 s", "5.9 s"),
    *numbers(NI, "K4", ni.NEAR, "7 s", "10 s", "10.1 s"),
    *one_each(
        NI, "K5a", "starts 100 ms early", ni.NEAR + ni.FAR, ni.side_by_side(ni.MOVE_NEAR, "6.9 s", ni.MOVE_FAR, 8)
    ),
    *numbers(NI, "K5b", ni.FAR, "7 s", "6 s", "5.9 s"),
    *numbers(NI, "K5b", ni.FAR, "7 s", "10 s", "10.1 s"),
    *one_each(NI, "K6", "100 ms early", ni.BOOM, "    wait 4.9 s\n    turn on boom-lamps\n    wait 100 ms\n"),
    *one_each(NI, "K7", "100 ms early", ni.RISE, ni.side_by_side(ni.RISE.strip(), "5.9 s", "turn off boom-lamps", 12)),
    *one_each(NI, "K8", "100 ms late", ni.SILENCE, "        wait 100 ms\n" + ni.SILENCE),
    *one_each(NI, "K9", "100 ms early", ni.FAR, ni.side_by_side(ni.MOVE_FAR, "6.9 s", "set guards to clear", 8)),
    *both(NI, "K10a", "", ni.GUARDED, "        wait 1200 ms ", "        wait 1100 ms "),
    *one_each(
        NI,
        "K10b",
        "cleared while they are raised",
        "    if all of barriers are raised  ",
        "    set guards to clear\n    if all of barriers are raised  ",
    ),
    *lamp_rate(NI, "K24a", 60, 90),
    *in_turn(NI, "K24b"),
    # half barriers in the United Kingdom: 27 s at 150 mm/s are 4050 mm
    *lamp_rate(UK, "K24a", 60, 90),
    *in_turn(UK, "K24b"),
    *both(UK, "K26", "", "-approach: 3600 mm", "-approach: 4050 mm", "-approach: 4049 mm", scene=False),
    # Ireland: 60 to 80 a minute for the pair are 30 to 40 a minute for each
    *lamp_rate(IE, "K25", 30, 40),
    # the United States
    *numbers(US, "U1", us.RATE, "50", "35", "34"),
    *numbers(US, "U1", us.RATE, "50", "65", "66"),
    *one_each(US, "U2", "both at once", us.RATE, us.RATE.replace(" in turn", "")),
    *both(US, "U3", "", us.LEAD, lead("3 s"), lead("2.9 s")),
    *numbers(US, "U4", us.DOWN, "10 s", "16 s", "16.1 s"),
    *both(
        US,
        "U6",
        "",
        us.LEAD,
        "    wait 5 s\n    do warn\n    wait 4 s\n",
        "    wait 5.1 s\n    do warn\n    wait 4 s\n",
    ),
    *one_each(US, "U12a", "100 ms late", us.LEAD, "    wait 100 ms\n" + us.LEAD),
    *one_each(US, "U12b", "100 ms late", "    turn on arm-tip-lamp ", "    wait 100 ms\n    turn on arm-tip-lamp "),
    *one_each(US, "U12c", "up under the train", us.HELD, "        wait 19 s\n        if all of arms are lowered\n"),
    *one_each(US, "U13a", "goes on rising", "        as long as all-clear\n", "        in order\n"),
    *one_each(US, "U13b", "lights out 100 ms early", us.RISE, us.with_lights_out_after("7.9 s")),
    *one_each(
        US,
        "U13c",
        "arm lights out 100 ms early",
        us.RISE,
        us.with_lights_out_after("7.9 s").replace("turn off lights", "turn off arm-tip-lamp"),
    ),
    *one_each(US, "U15", "tip flashes", "turn on arm-tip-lamp ", "flash arm-tip-lamp at 50 a minute "),
    *one_each(US, "U15", "others together", "flash side-lamps in turn at", "flash side-lamps at"),
    *numbers(US, "U23a", us.DOWN, "10 s", "10 s ", "9.9 s"),
    *numbers(US, "U23a", us.DOWN, "10 s", "15 s", "15.1 s"),
    *numbers(US, "U23b", us.RISE, "8 s", "12 s", "12.1 s"),
    # the Netherlands: 20 s before the train, 5 s of booms up, 12 s of descent, 3 s down; the approach takes 25 s
    *both(
        NL,
        "N1",
        "",
        us.LEAD,
        "    wait 5 s\n    do warn\n    wait 4 s\n",
        "    wait 5.1 s\n    do warn\n    wait 4 s\n",
    ),
    *both(NL, "N2", "", us.LEAD, lead("5 s"), lead("4.9 s")),
    *numbers(NL, "N3", us.DOWN, "10 s", "12 s", "12.1 s"),
    *numbers(NL, "N4", us.DOWN, "10 s", "18 s", "18.1 s"),
    # Japan: 10 s to the barriers down, 15 s from there to the train, 20 s in all
    *numbers(JP, "J1", us.DOWN, "10 s", "6 s", "5.9 s"),
    *numbers(JP, "J2", us.DOWN, "10 s", "6 s", "6.1 s"),
    *both(
        JP,
        "J3",
        "",
        us.LEAD,
        "    wait 5 s\n    do warn\n    wait 4 s\n",
        "    wait 5.1 s\n    do warn\n    wait 4 s\n",
    ),
    # Austria: yellow for 4 s, then steady red until the booms are open
    *one_each(AT, "A1", "reds left on", "    turn off reds and boom-lamps", "    turn off boom-lamps"),
    *numbers(AT, "A2", ni.WARNING, "3 s", "4 s", "3.9 s"),
    *numbers(AT, "A2", ni.WARNING, "3 s", "4000 ms", "4.1 s"),
    *both(AT, "A3", "", ni.RED, ni.RED.replace(*STEADY), DARK_GAP.replace(*STEADY)),
    *both(AT, "A4", "", ni.RED, ni.RED.replace(*STEADY), ni.RED + "    # as it stands\n"),
    *one_each(AT, "A5", "out 100 ms early", *RISE_EARLY),
    # Germany: yellow, then red
    *both(DE, "G1", "", ni.RED, ni.RED + "    # as it stands\n", DARK_GAP),
    # the Vienna Convention: alternately flashing reds
    *in_turn(VC, "V1"),
    *one_each(VC, "V1", "steady", *(ni.RED, ni.RED.replace(*STEADY))),
]
MARRAM = (US, NL, JP)


def verdict(one: Try, tmp_path: Path) -> Verdict:
    folder, scene = (us.FOLDER, us.SCENE) if one.table in MARRAM else (ni.FOLDER, ni.SCENE)
    copy = tmp_path / folder.name
    shutil.copytree(folder, copy)
    file = copy / (scene if one.scene else "layout.yaml")
    text = file.read_text(encoding="utf-8")
    for old, new in one.changes:
        assert old in text
        assert old != new
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")
    project = load([copy])
    assert not project.errors
    (crossing,) = project.layout.crossings.values()
    passages = played(project.program, crossing).passages
    rows = compare(project.program, crossing, passages, find(one.table).table).rows
    return next(each.verdict for each in rows if each.row.name == one.row)


@pytest.mark.parametrize(
    "one", TRIES, ids=lambda one: f"{one.table}-{one.row}-{one.inside}-{one.what.split(chr(10))[0]}"
)
def test_a_row_is_kept_inside_its_limit_and_not_outside(one: Try, tmp_path: Path) -> None:
    (row,) = (row for row in find(one.table).table.rows if row.name == one.row)
    outside = Verdict.NOT_KEPT if row.status is Status.READ else Verdict.ADVICE
    assert verdict(one, tmp_path) is (Verdict.KEPT if one.inside else outside)


def test_every_shipped_row_is_tried_on_either_side() -> None:
    rows = {(name, row.name) for name in shipped() for row in find(name).table.rows}
    for inside in (True, False):
        assert {(one.table, one.row) for one in TRIES if one.inside is inside} == rows


@pytest.mark.parametrize("name", shipped())
def test_a_shipped_table_has_nothing_wrong_with_it(name: str) -> None:
    read = find(name)
    assert not read.problems
    assert read.table.title
    assert read.table.covers
    assert len({row.name for row in read.table.rows}) == len(read.table.rows) > 0


# What the references say of each row's source: R read, R2 reported, M from memory (copied by hand from their tables).
STATUSES = {
    NI: {"K24a": "memory", "K24b": "memory"},
    UK: {"K24a": "memory", "K24b": "memory", "K26": "reported"},
    US: {"U23a": "memory", "U23b": "memory"},
    NL: dict.fromkeys(("N1", "N2", "N3", "N4"), "reported"),
    JP: dict.fromkeys(("J1", "J2", "J3"), "reported"),
}


@pytest.mark.parametrize("name", shipped())
def test_only_what_was_read_is_marked_read(name: str) -> None:
    for row in find(name).table.rows:
        assert row.status.value == STATUSES.get(name, {}).get(row.name, "read")
        assert row.source
