"""A link against the stand-in, in virtual time, with every fault that it knows; its own outputs are the judges.

The stand-in shares nothing with the adapters: what it has understood was truly said.
"""

from __future__ import annotations

import pytest
from bench_station import MS, S, layout
from hypothesis import example, given, settings
from hypothesis import strategies as st

from adapters.link import LinkMachine
from adapters.link_states import OPEN, State
from adapters.stand_in import Settings, Station
from adapters.stand_in_faults import FAULTS
from engine.events import Detected, Input, LinkState, OutputMoved
from engine.waves import Ramp, Steady

BEGIN = {"ada": 0.0, "red": 1.0, "boom": 90.0, "gate": 0.0, "points": 0.0, "turnout": 90.0}
END = {"ada": 1.0, "red": 1.0, "boom": 0.0, "gate": 0.0, "points": 1.0, "turnout": 0.0}
SETTINGS = Settings(servos=frozenset({20, 21}), boards_start_us=400 * MS)
UNREACHED = {"no-replies", "refuses", "off-by-four"}  # while these last the outputs cannot be right, or known to be


class Wire:
    """A link machine and a stand-in with nothing between them but virtual time."""

    def __init__(self, **link: object) -> None:
        stage = layout(**link)
        self.machine = LinkMachine(stage, stage.links["main"])
        self.station = Station(SETTINGS)
        self.station.power(True, 0)
        self.now_us = 0
        self.inputs: list[Input] = []
        self.gate_was_down = False
        self.most_inputs = 0
        self.want(BEGIN)

    def want(self, values: dict[str, float]) -> None:
        for name, value in values.items():
            self.machine.want(name, Steady(value), self.now_us)

    def run(self, for_us: int) -> None:
        until_us = self.now_us + for_us
        self._step()  # a cable that has just come out is noticed at once
        steps = 0
        while True:
            dues = [self.station.next_due()]
            dues.append(self.machine.next_due() if self.machine.state in OPEN else self.machine.retry_us)
            due_us = min((at for at in dues if at is not None), default=until_us)
            if due_us > until_us:
                break
            self.now_us = max(self.now_us, due_us)
            self._step()
            steps += 1
            assert steps < 200_000, "it never comes to rest"
        self.now_us = until_us

    def _step(self) -> None:
        machine, station, now_us = self.machine, self.station, self.now_us
        if machine.state in OPEN:
            for left in station.advance(now_us):
                machine.take_in(left.data, now_us)
            if not station.plugged:
                machine.lost(now_us, "unplugged")
            elif data := b"".join(machine.due(now_us)):
                station.received(data, now_us)
        elif machine.retry_us <= now_us:
            station.advance(now_us)
            if station.opened(now_us):
                machine.opened(now_us)
            else:
                machine.lost(now_us, "nothing there")
        happened = machine.take()
        self.most_inputs = max(self.most_inputs, len(happened))
        self.inputs += happened
        down = station.angle(21, now_us) == 0.0
        assert down or not self.gate_was_down, "the gate has risen"
        self.gate_was_down = down

    def shown(self) -> dict[str, float]:
        """What the outputs truly show, as the layout file speaks of them."""
        one = self.station.machine
        return {
            "ada": one.pins.get(5, -1),
            "red": one.pins.get(6, -1),
            "boom": round(self.station.angle(20, self.now_us)),
            "gate": round(self.station.angle(21, self.now_us)),
            "points": one.accessories.get(61, -1),
            "turnout": {0: 90.0, 1: 0.0}.get(one.accessories.get(62, -1), -1),
        }

    def states(self) -> list[str]:
        return [one.state for one in self.inputs if isinstance(one, LinkState)]


def talking(**link: object) -> Wire:
    wire = Wire(**link)
    wire.station.detector(30, False, 0, by_current=True)
    wire.run(10 * S)
    assert wire.machine.state is State.TALKING, wire.machine.health()
    assert wire.shown() == BEGIN
    wire.inputs.clear()
    return wire


@pytest.mark.parametrize("fault", sorted(FAULTS))
@pytest.mark.parametrize("dialect", ["late", "early"])
def test_when_the_line_is_back_every_output_shows_its_last_value(fault: str, dialect: str) -> None:
    early = (("servo", "z {pin} {us}"),)
    wire = talking(dialect=dialect, words=early if dialect == "early" else ())
    wire.station.fault(fault, wire.now_us)
    start = wire.now_us
    wire.machine.want("boom", Ramp(start, start + 4 * S, 90.0, 0.0), start)
    wire.run(S)
    wire.want({"ada": 1.0, "points": 1.0})
    wire.run(300 * MS)
    wire.want(END)
    if fault == "restart":
        wire.station.power(True, wire.now_us)
    wire.run(30 * S)
    if fault in UNREACHED:
        wire.station.mend(fault, wire.now_us)
        wire.machine.lost(wire.now_us, "unplugged, to begin anew")
        wire.station.closed(wire.now_us)
        wire.run(30 * S)
    assert wire.machine.state is State.TALKING, wire.machine.health()
    assert wire.shown() == END
    assert wire.machine.idle
    assert not [one for one in wire.inputs if isinstance(one, OutputMoved)], "that was nobody's hand"


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_it_begins_under_every_fault(fault: str) -> None:
    wire = Wire()
    wire.station.detector(30, True, 0, by_current=True)
    wire.station.fault(fault, 0)
    wire.run(5 * S)
    if fault in ("restart", "reset-on-open"):
        wire.station.power(True, wire.now_us)
    wire.run(25 * S)
    if fault in UNREACHED:
        wire.station.mend(fault, wire.now_us)
        wire.machine.lost(wire.now_us, "unplugged, to begin anew")
        wire.station.closed(wire.now_us)
        wire.run(30 * S)
    assert wire.machine.state is State.TALKING, wire.machine.health()
    assert wire.shown() == BEGIN
    assert Detected("lane", "occupied") in wire.inputs


def test_a_booster_that_trips_thrice_counts_for_nothing_in_between() -> None:
    wire = talking()
    wire.station.fault("booster-trips", wire.now_us)
    wire.run(100 * MS)
    assert wire.inputs[:2] == [LinkState("main", "gone"), Detected("lane", "unknown")]
    obeyed = wire.station.obeyed
    wire.want(END)
    wire.run(3 * S)
    accessory = [entry for entry in list(wire.station.log)[-200:] if entry.command.startswith("<a")]
    assert accessory[-1].at_us < 10 * S, "nothing is told while it trips and tries again"
    assert wire.station.obeyed > obeyed, "it is asked all the while"
    wire.run(10 * S)
    assert wire.shown() == END
    assert wire.states() == ["gone", "talking"]


def test_a_flood_makes_nothing_longer_and_ends_in_the_truth() -> None:
    wire = talking()
    wire.station.detector(31, True, wire.now_us)
    wire.station.fault("flood", wire.now_us)
    wire.run(5 * S)
    assert wire.most_inputs <= 5
    last = {one.detector: one.state for one in wire.inputs if isinstance(one, Detected)}
    assert last == {"lane": "clear", "beam": "occupied", "reed": "clear"}
    assert wire.machine.state is State.TALKING


def test_a_section_is_unknown_while_track_power_is_off_though_it_reports_clear() -> None:
    wire = talking()
    wire.station.detector(30, True, wire.now_us, by_current=True)
    wire.run(S)
    assert Detected("lane", "occupied") in wire.inputs
    wire.station.power(False, wire.now_us)
    wire.run(20 * S)
    last = [one for one in wire.inputs if isinstance(one, Detected) and one.detector == "lane"][-1]
    assert last == Detected("lane", "unknown")
    wire.station.power(True, wire.now_us)
    wire.run(10 * S)
    assert [one for one in wire.inputs if isinstance(one, Detected) and one.detector == "lane"][-1].state == "occupied"


def test_what_a_station_has_refused_for_a_while_is_told_again() -> None:
    wire = talking()
    wire.station.fault("refuses", wire.now_us)
    wire.want(END)
    wire.run(10 * S)
    assert wire.machine.health().what == "it answers, but refuses what it is asked"
    assert wire.states() == ["gone"]
    wire.station.mend("refuses", wire.now_us)
    wire.run(10 * S)
    assert wire.shown() == END
    assert wire.states() == ["gone", "talking"]


def test_one_output_that_is_refused_is_no_matter_for_the_others() -> None:
    """A number that the station does not take: it answers all the while, and goes on talking."""
    wire = Wire(dialect="early", words=(("servo", "none 1 {pin} {us}"),))
    wire.run(10 * S)
    wire.inputs.clear()
    start = wire.now_us
    wire.machine.want("boom", Ramp(start, start + 8 * S, 90.0, 0.0), start)
    wire.run(10 * S)
    assert wire.machine.refused > 20
    assert wire.states() == []


def test_a_hand_at_the_station_is_an_input() -> None:
    wire = talking()
    wire.station.output(5, 1, wire.now_us)
    wire.run(S)
    assert wire.inputs == [OutputMoved("ada", 1.0)]
    wire.machine.want("ada", Steady(0.0), wire.now_us)
    wire.run(S)
    assert wire.shown() == BEGIN


def test_the_receive_buffer_is_never_overrun() -> None:
    wire = talking(commands_s=2000.0)
    start = wire.now_us
    for name, low, high in (("boom", 90.0, 0.0), ("ada", 0.0, 1.0)):
        wire.machine.want(name, Ramp(start, start + 3 * S, low, high), start)
    for _ in range(200):
        wire.want({"points": 1.0, "turnout": 0.0})
        wire.run(10 * MS)
        wire.want({"points": 0.0, "turnout": 90.0})
        wire.run(10 * MS)
    assert wire.station.lost == 0
    assert wire.station.obeyed > 300


MOMENTS = st.lists(
    st.tuples(
        st.sampled_from([*sorted(set(FAULTS) - UNREACHED - {"flood"}), "wait", "power off", "power on", "mend"]),
        st.integers(1, 3_000_000),
        st.sampled_from([*BEGIN]),
    ),
    max_size=12,
)


@given(MOMENTS)
@settings(max_examples=25, deadline=None)
@example([("restart", 1_002_085, "ada"), ("restart", 1, "ada")])  # asked just before it says what it is
@example([("unplug", 1_400_001, "ada"), ("booster-trips", 2_205_468, "ada"), ("restart", 1, "ada")])  # in its report
@example([("unplug", 903_561, "ada"), ("booster-trips", 3_000_000, "ada"), ("restart", 1, "ada")])  # told a detector so
def test_any_number_of_faults_at_any_time(moments: list[tuple[str, int, str]]) -> None:
    """After the last of them has ended everything is as it was last wanted, and the gate has never risen."""
    wire = talking()
    for step, (what, wait_us, output) in enumerate(moments):
        if what in FAULTS:
            wire.station.fault(what, wire.now_us)
        elif what.startswith("power"):
            wire.station.power(what == "power on", wire.now_us)
        elif what == "mend":
            for fault in FAULTS:
                wire.station.mend(fault, wire.now_us)
        if output != "gate":
            wire.want({output: (END if step % 2 else BEGIN)[output]})
        wire.run(wait_us)
    for fault in FAULTS:
        wire.station.mend(fault, wire.now_us)
    wire.run(12 * S)
    wire.station.power(True, wire.now_us)
    wire.want(END)
    wire.run(30 * S)
    assert wire.machine.state is State.TALKING, wire.machine.health()
    assert wire.shown() == END
