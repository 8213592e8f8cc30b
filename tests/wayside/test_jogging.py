"""What words do to a servo in somebody's hands; no port, no file. Pulses: 544 to 2400 us over 0 to 180 degrees, as a
common servo library has it (references, R), 10.31 us a degree.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.layout import Kind, Output, Position, Setting
from wayside.jog.jogging import HELP, STEPS_DEG, Jog, Move, told

GATE = Output(
    "gate",
    Kind.SERVO,
    Setting(85.0),
    positions=(Position("raised", 85.0), Position("lowered", 0.0)),
    limits=(0.0, 90.0),
    travel_us=3_000_000,
)


def gate(at: float | None = 45.0, limits: tuple[float, float] | None = (0.0, 90.0)) -> Jog:
    return Jog(
        Output("gate", Kind.SERVO, Setting(85.0), positions=GATE.positions, limits=limits, travel_us=3_000_000), at
    )


@pytest.mark.parametrize(
    ("line", "move"),
    [
        ("+", Move(46.0)),
        ("-", Move(44.0)),
        ("+ 5 deg", Move(50.0)),
        ("-0,5", Move(44.5)),
        ("- 0.5 deg", Move(44.5)),
        ("+ 100", Move(90.0)),
        ("- 100", Move(0.0)),
        ("to raised", Move(85.0, round(3_000_000 * 40 / 85))),  # its share of the full travel
        ("to 0", Move(0.0, round(3_000_000 * 45 / 85))),
        ("  to   60   deg ", Move(60.0, round(3_000_000 * 15 / 85))),
    ],
)
def test_moves(line: str, move: Move) -> None:
    jog = gate()
    assert jog.obey(line).move == move
    assert jog.at == move.degrees


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("to raisd", "gate has no end raisd. Did you mean raised?"),
        ("to 91 deg", "91 deg is outside its limits, 0 deg to 90 deg."),
        ("to", "to needs something behind it."),
        ("+ far", "far is no angle. Write for example + 5 deg."),
        ("step 0", "A step is 0.1 deg to 45 deg."),
        ("step wide", "A step is 0.1 deg to 45 deg."),
        ("here is", "Which end is here? It has raised and lowered. Write for example here is raised."),
        ("here is Half Way!", "There is no end Half Way!. It has raised and lowered."),
        ("here is raisd", "There is no end raisd. Did you mean raised? For a new one write: new end raisd."),
        ("new end raised", "raised is there already."),
        ("new end Half Way", "Half Way is no name"),
        ("limits 90 deg to 0 deg", "the smaller first"),
        ("limits 0 deg to 200 deg", "Limits are two angles from 0 deg to 180 deg"),
        ("limits 0 deg to 80 deg", "raised at 85 deg would be outside 0 deg to 80 deg. Move that end first."),
        ("limits wide", "Write for example limits 0 deg to 90 deg."),
        ("lowest here", "lowered at 0 deg would be outside"),
        ("travel 0 s", "A travel is more than nothing"),
        ("travel 2 min", "at most 60 s"),
        ("travel fast", "Write for example travel 3 s."),
        ("save", "Nothing was changed"),
        ("forget", "Nothing was changed"),
        ("raise", "I know no raise. Did you mean to raised?"),
        ("help", HELP.rstrip()),
        ("where", "gate: raised 85 deg (1420 us) and lowered 0 deg (544 us). Limits 0 deg to 90 deg. Full travel 3 s."),
    ],
)
def test_what_changes_nothing_says_why(line: str, says: str) -> None:
    jog = gate()
    said = jog.obey(line)
    assert says in said.says
    assert (said.move, said.lets_go, said.saves, said.ends) == (None, False, False, False)
    assert (jog.at, jog.changes()) == (45.0, [])


def test_limits_hold_and_are_said() -> None:
    jog = gate(89.5)
    assert jog.obey("+").says == "90 deg is its limit: no further."
    assert jog.obey("+").move is None  # it is there
    assert gate(179.5, limits=None).obey("+").says == "180 deg is as far as a servo turns: no further."


def test_ends_limits_and_travel_are_changed_as_the_layout_file_has_them() -> None:
    jog = gate()
    for line in ("to 80", "here is raised", "new end half", "limits 0 deg to 95 deg", "travel 3,5 s"):
        assert jog.obey(line).says or line == "to 80"
    assert [(one.path[1:], one.value) for one in jog.changes()] == [
        (("gate", "positions", "raised"), "80 deg"),
        (("gate", "positions", "half"), "80 deg"),
        (("gate", "limits"), "0 deg to 95 deg"),
        (("gate", "full travel"), "3.5 s"),
    ]
    assert told(jog.changes()[0]) == "raised 80 deg"
    assert "Not saved yet: raised 80 deg; half 80 deg" in jog.obey("end").says
    assert jog.obey("end").ends
    jog.saved()
    assert jog.changes() == []


def test_wider_limits_are_cautioned() -> None:
    assert "back at once if it hums" in gate().obey("limits 0 deg to 95 deg").says
    assert "hums" not in gate().obey("limits 0 deg to 86 deg").says


def test_forget_brings_back_what_the_file_says() -> None:
    jog = gate()
    for line in ("here is raised", "limits 0 deg to 50 deg", "travel 1 s", "to 10"):
        jog.obey(line)
    assert jog.changes()
    assert jog.obey("forget").says.startswith("Forgotten. gate: raised 85 deg")
    assert jog.changes() == []
    assert (jog.low, jog.high) == (0.0, 90.0)


def test_nobody_knows_where_it_stands() -> None:
    for line in ("+", "here is raised", "new end half", "lowest here"):
        assert gate(None).obey(line).says.startswith("Nobody knows where it stands.")
    assert gate(None).obey("to raised").move == Move(85.0)  # at once: it jumps whatever it is told
    assert gate(None).state() == "nobody knows where it stands"


def test_steps_of_the_usual_sizes() -> None:
    jog = gate()
    sizes = []
    for _ in range(len(STEPS_DEG) + 1):
        jog.other_step(larger=True)
        sizes.append(jog.step)
    assert sizes == [2.0, 5.0, 10.0, 10.0, 10.0, 10.0]
    jog.obey("step 3 deg")
    jog.other_step(larger=False)
    assert jog.step == 2.0


@pytest.mark.parametrize(("at", "us"), [(0.0, 544), (90.0, 1472), (180.0, 2400), (45.0, 1008)])
def test_the_pulse_is_shown(at: float, us: int) -> None:
    assert f"{us} us" in gate(at, limits=None).state()


LINES = st.one_of(
    st.text(max_size=30),
    st.sampled_from(["+", "-", "+ 7", "- 30 deg", "to raised", "to lowered", "to 12", "lowest here", "highest here"]),
    st.sampled_from(["limits 5 deg to 88 deg", "limits 0 deg to 180 deg", "here is raised", "forget", "new end half"]),
)


@given(st.lists(LINES, max_size=25))
def test_whatever_is_typed_it_never_passes_its_limits(lines: list[str]) -> None:
    jog = gate()
    for line in lines:
        said = jog.obey(line)
        assert jog.at is not None
        assert jog.low <= jog.at <= jog.high
        assert said.move is None or jog.low <= said.move.degrees <= jog.high
        assert all(jog.low <= at <= jog.high for at in jog.ends.values())
        assert any(said) or not line.split()  # an effect or a sentence
