"""Dithering over a link: right light on the whole, a turn each slot, and nothing of it where it is bright or off."""

from __future__ import annotations

import pytest

from adapters.demand import Demand
from adapters.dithering import Dithered, as_told
from adapters.pacer import Pace, Pacer
from engine.codes import DITHER_PHASES, DITHER_SLOT_US, code
from engine.layout import NOWHERE, Kind, Output, Setting
from engine.lightness import luminance
from engine.trace import Told
from engine.waves import Ramp, Steady, Wave

S = 1_000_000
LAMP = Output("forge", Kind.LAMP, Setting(0.0), steps=255, dithers=True)
PLAIN = Output("quay-lamp", Kind.LAMP, Setting(0.0), steps=255)


def test_only_a_lamp_that_dithers_is_told_in_turns() -> None:
    assert as_told(Steady(0.1), PLAIN) == Steady(0.1)
    assert isinstance(as_told(Steady(0.1), LAMP), Dithered)


@pytest.mark.parametrize("level", [0.02, 0.05, 0.08, 0.11, 0.2])
def test_the_mean_light_of_a_few_slots_is_what_is_wanted(level: float) -> None:
    wave = as_told(Steady(level), LAMP)
    slots = [wave.value_at(DITHER_SLOT_US * slot + 5) for slot in range(8 * DITHER_PHASES)]
    mean = sum(map(luminance, slots)) / len(slots)
    assert mean == pytest.approx(luminance(level), abs=1 / 255 / 8 + 1e-9)  # an eighth of a code
    assert wave.ends_us is None


@pytest.mark.parametrize("wave", [Ramp(3_333, 2 * S, 0.0, 1.0), Ramp(0, 3 * S, 0.6, 0.05), Ramp(7, 40_000, 0.0, 0.3)])
def test_between_two_turns_it_goes_one_way(wave: Wave) -> None:
    told, at_us = as_told(wave, LAMP), 0
    for _ in range(3_000):
        turn_us = told.turns(at_us)
        if turn_us is None or turn_us > 3 * S:
            break
        step = max(1, (turn_us - at_us) // 50)
        values = [told.value_at(one) for one in range(at_us, turn_us, step)]
        assert values in (sorted(values), sorted(values, reverse=True))
        assert turn_us > at_us
        at_us = turn_us
    else:
        raise AssertionError("it turns without end")


def test_a_bright_lamp_and_one_that_is_off_come_to_rest() -> None:
    assert as_told(Ramp(0, S, 0.0, 0.8), LAMP).ends_us == S
    assert as_told(Ramp(0, S, 0.5, 0.0), LAMP).ends_us == S
    assert as_told(Ramp(0, S, 0.5, 0.03), LAMP).ends_us is None
    assert as_told(Steady(0.9), LAMP).turns(0) is None


def test_a_pacer_tells_a_dark_lamp_in_turns_where_there_is_room_and_others_first() -> None:
    def told(commands_s: float) -> tuple[list[int], float]:
        pacer, now_us, codes, late = Pacer([LAMP, PLAIN], Pace(11_520.0, commands_s)), 0, [], 0.0
        pacer.known(LAMP.name, 0)
        pacer.known(PLAIN.name, 0)
        pacer.want(LAMP.name, Steady(0.05), 0)
        pacer.want(PLAIN.name, Ramp(0, S, 0.0, 1.0), 0)
        while (due_us := pacer.next_due(now_us)) is not None and due_us < S:
            now_us = due_us
            choice = pacer.choose(now_us)
            if choice is None:
                continue
            pacer.sent(choice.name, choice.code, now_us, 11)
            pacer.answered()
            late = max(late, pacer.error(PLAIN.name, now_us))
            codes += [choice.code] if choice.name == LAMP.name else []
        return codes, late

    roomy, _ = told(1_000.0)
    assert len(roomy) > 40
    assert set(roomy) == {code(LAMP, 0.05), code(LAMP, 0.05) + 1}
    narrow, late = told(60.0)
    assert len(narrow) < 30  # of sixty: what is further off goes first
    assert late < 0.1


def test_dithering_takes_what_is_left_over_so_it_is_no_load() -> None:
    demand = Demand()
    demand.add(LAMP, [Told(0, LAMP.name, Steady(0.05), "", NOWHERE)], 0, 2 * S)
    assert [demand.total(second) for second in (0, 1)] == [1, 0]
