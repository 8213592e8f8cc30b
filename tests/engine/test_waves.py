"""Waveforms: closed form against a brute-force walk, and exact flash edges."""

from __future__ import annotations

from collections.abc import Callable

from hypothesis import given
from hypothesis import strategies as st

from engine.layout import Blink
from engine.waves import LOOK_AHEAD, Flashing, Piece, Ramp, Steady, Wave, next_change


def seen(step: float) -> Callable[[float], int]:
    return lambda value: round(value / step)


def walked(wave: Wave, start: int, end: int, step: float) -> list[int]:
    """Every microsecond at which the rounded value is another than a microsecond before."""
    look = seen(step)
    return [at for at in range(start + 1, end + 1) if look(wave.value_at(at)) != look(wave.value_at(at - 1))]


def jumped(wave: Wave, start: int, end: int, step: float) -> list[int]:
    found, at = [], next_change(wave, start, seen(step))
    while at is not None and at <= end:
        found.append(at)
        at = next_change(wave, at, seen(step))
    return found


@given(st.integers(0, 50), st.integers(1, 400), st.integers(-3, 3), st.integers(-3, 3), st.sampled_from([1, 0.5, 0.1]))
def test_a_ramps_changes_are_all_found_and_no_others(start: int, takes: int, low: int, high: int, step: float) -> None:
    wave = Ramp(start, start + takes, float(low), float(high))
    assert jumped(wave, 0, start + takes + 5, step) == walked(wave, 0, start + takes + 5, step)


@given(st.integers(5, 300), st.integers(1, 7), st.integers(1, 5), st.data())
def test_a_flashs_edges_are_all_found_and_no_others(cycle: int, cycles: int, slots: int, data: st.DataObject) -> None:
    slots += 1
    cycle = cycle * cycles * slots // 2
    slot = data.draw(st.integers(0, slots - 1))
    wave = Flashing(10, Blink(cycle, cycles, slot, slots))
    assert jumped(wave, 10, 900, 1.0) == walked(wave, 10, 900, 1.0)


def test_a_flash_of_seventy_a_minute_does_not_drift() -> None:
    wave = Flashing(0, Blink(60_000_000, 70, 0, 2))
    hour = 3600 * 1_000_000
    ons = [at for at in jumped(wave, hour - 60_000_000, hour - 1, 1.0) if wave.value_at(at) > 0]
    assert len(ons) in (69, 70)  # the flash at the first microsecond itself is no change
    assert wave.value_at(hour) == 1.0
    assert wave.value_at(hour - 1) == 0.0


def test_alternating_lamps_are_never_dark_together_and_never_lit_together() -> None:
    # 49 CFR 234.217(c): all light units flash alternately; worked row D9: exactly one of the pair is lit
    left, right = (Flashing(0, Blink(60_000_000, 45, slot, 2)) for slot in (0, 1))
    for at in range(0, 5_000_000, 997):
        assert left.value_at(at) + right.value_at(at) == 1.0


@given(st.integers(1, 1000), st.floats(-2, 2), st.floats(-2, 2), st.floats(0.01, 0.99))
def test_the_next_change_is_the_first_instant_past_a_threshold(
    takes: int, low: float, high: float, share: float
) -> None:
    wave, value = Ramp(0, takes, low, high), low + (high - low) * share
    at = next_change(wave, 0, lambda now: int(now >= value))
    if (low >= value) == (high >= value):
        assert at is None
        return
    assert at is not None
    assert (wave.value_at(at) >= value) != (low >= value)
    assert (wave.value_at(at - 1) >= value) == (low >= value)


def test_steady_never_changes() -> None:
    assert next_change(Steady(0.4), 0, seen(0.1)) is None


def test_a_wave_in_which_nothing_is_seen_to_change_is_asked_about_again() -> None:
    wave = Flashing(0, Blink(2, 1, 0, 2))
    assert next_change(wave, 0, lambda _: 0) == LOOK_AHEAD


def test_a_piece_holds_its_ends_and_is_even_or_smooth_between() -> None:
    # Flash and Hogan (1985), the polynomial of least jerk: 0.10351563 at a quarter, one half in the middle
    assert [Piece(0, 4, 1.0, 3.0).value_at(at) for at in (-1, 0, 1, 2, 4, 9)] == [1.0, 1.0, 1.5, 2.0, 3.0, 3.0]
    smooth = Piece(0, 4, 0.0, 1.0, smooth=True)
    assert [smooth.value_at(at) for at in (0, 2, 4)] == [0.0, 0.5, 1.0]
    assert abs(smooth.value_at(1) - 0.10351563) < 5e-9
    assert Piece(0, None, 0.25, 0.25).value_at(10**12) == 0.25
