"""The command stream of a rehearsal is that of the show: the same commands, in the same order, at the same instants.

The example's crossing closes for a train and opens again, on a real pty, against a stand-in in a process of its own.
Compared is what the stand-in got with what the rehearsal predicts whose detectors change when the show heard of them.

Before the train comes they differ for a good reason: a rehearsal begins with everything known and at rest, a show with
nothing known. It puts every output right, guarded ones in their safe state, and opens the lane when its detectors
have said that they are clear. Compared is from when all of that has been told.

The set and the order are hard. Time is judged by the lateness that the sender itself measures. A computer that is so
busy that commands leave more than 20 ms late makes the sender skip what is superseded: then a second try is made, and
the reason said. Where it is the computer that wakes everybody late, nothing is judged that hangs on it.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest
from bench_passage import MS, Due, Performed, S, in_a_hurry, performed, rehearsed, trains_detectors

from adapters.link_outputs import CATCH_UP_US
from adapters.packets import line_us

BOUND_US = 5 * MS  # p99 of the lateness
WIRE_US = 3 * MS  # a question, a command and the one before it, all on the wire at 115200 baud (24 bytes take 2.1 ms)
WAKES_US = 4 * MS  # the stand-in's own process, until it looks
HEARS_US = 10 * MS  # from a change at the station until the show works it: report, reader, event loop
TRIES = 2


@pytest.fixture
def where(tmp_path: Path) -> Path:
    return tmp_path


async def test_live_equals_rehearsed(where: Path) -> None:
    program = in_a_hurry(where / "layout")
    deeds = trains_detectors(program)
    alone = rehearsed(program, deeds, deeds[-1].at_us + 10 * S)
    assert len(alone) > 500
    for number in range(TRIES):
        live = await performed(program, deeds, where / f"station{number}")
        assert [one[1:] for one in live.heard] == [one[1:] for one in deeds]
        wanted = rehearsed(program, live.heard, live.heard[-1].at_us + 10 * S)
        _same_for_what_is_switched(live, wanted, alone)
        if live.lateness.worst_us <= CATCH_UP_US:
            assert [one.command for one in live.commands] == [one.text for one in wanted], live.reason
            _never_early(live, wanted)
            if _in_time(live, wanted):
                return
        if number + 1 < TRIES:
            warnings.warn(f"a second try: {live.reason}", stacklevel=1)
    if live.machine_us > BOUND_US / 2:
        pytest.skip(f"what is switched was as rehearsed; nothing else can be judged here: {live.reason}")
    raise AssertionError(f"too late, twice: {live.reason}")


def _same_for_what_is_switched(live: Performed, wanted: list[Due], alone: list[Due]) -> None:
    """Lamps, bell: each is told just what the rehearsal says, however late. And each output comes to its last value."""
    told = [one.command for one in live.commands]
    for switched in {one.text.rpartition(" ")[0] for one in wanted if one.text[:2] == "<a"}:
        ours = [text for text in told if text.startswith(f"{switched} ")]
        assert ours == [one.text for one in wanted if one.text.startswith(f"{switched} ")], live.reason
        assert ours == [one.text for one in alone if one.text.startswith(f"{switched} ")], live.reason
    last = {text.split()[1] if text[1] != "a" else text[:-3]: text for text in told}
    assert last == {one.text.split()[1] if one.text[1] != "a" else one.text[:-3]: one.text for one in wanted}


def _never_early(live: Performed, wanted: list[Due]) -> None:
    for got, due in zip(live.commands, wanted, strict=True):
        assert got.arrived_us >= due.at_us + line_us(due.text[1:-1], 115_200) - 1, (got, due)


def _in_time(live: Performed, wanted: list[Due]) -> bool:
    """By the sender's own measure, by the stand-in's, and for the detectors on their way in."""
    after = sorted(got.arrived_us - due.at_us for got, due in zip(live.commands, wanted, strict=True))
    heard = [ours.at_us - theirs.at_us for ours, theirs in zip(live.heard, live.worked, strict=True)]
    print(
        f"\n{len(after)} commands: left p50 {live.lateness.p50_us} us, p99 {live.lateness.p99_us} us late; had arrived "
        f"p50 {after[len(after) // 2]} us, p99 {after[len(after) * 99 // 100]} us after; detectors {heard} us"
    )
    return (
        live.lateness.p99_us < BOUND_US
        and after[len(after) * 99 // 100] < BOUND_US + WIRE_US + WAKES_US
        and max(heard) < HEARS_US
    )
