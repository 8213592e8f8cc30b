"""Draws: published vectors, and independence from whoever else draws."""

from engine.chance import Chance, splitmix64

GOLDEN = 0x9E3779B97F4A7C15


def test_splitmix64_against_published_vectors() -> None:
    # SplitMix64, seed 1234567: the first three outputs, as commonly published with the algorithm (computed again)
    state, outputs = 1234567, []
    for _ in range(3):
        outputs.append(splitmix64(state))
        state = (state + GOLDEN) & (1 << 64) - 1
    assert outputs == [6457827717110365317, 3203168211198807973, 9817491932198370423]
    assert splitmix64(0) == 0xE220A8397B1DCDAF


def test_a_new_line_changes_nobody_elses_draws() -> None:
    alone, crowd = Chance(7), Chance(7)
    first = [alone.between(1, 0, 999) for _ in range(20)]
    second = []
    for number in range(20):
        crowd.between(2, 0, 999)
        second.append(crowd.between(1, 0, 999))
        crowd.between(3 + number, 0, 999)
    assert first == second
    assert len(set(first)) > 10
    assert first != [Chance(8).between(1, 0, 999) for _ in range(20)]


def test_both_ends_are_drawn() -> None:
    chance = Chance(1)
    assert {chance.between(5, 3, 5) for _ in range(200)} == {3, 4, 5}
    assert chance.between(6, 4, 4) == 4
