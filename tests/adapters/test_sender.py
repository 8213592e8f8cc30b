"""The thread that keeps time: never early, at once when late, awake when woken. The clock is a hand's."""

from __future__ import annotations

import threading

import pytest

from adapters.sender import REMEMBERED, SPIN_US, Lateness, Sender, monotonic_us


class Ended(Exception):
    pass


def calls(due: list[int | None], now_us: list[int]) -> list[int]:
    """The instants at which `work` is called by a sender whose clock jumps by a step at each look at it."""
    at: list[int] = []

    def look() -> int:
        now_us[0] += now_us[1]
        return now_us[0]

    def work() -> int | None:
        at.append(now_us[0])
        if not due:
            raise Ended
        return due.pop(0)

    raised: list[BaseException] = []
    sender = Sender(work, look, raised.append)
    sender._run()
    assert [type(one) for one in raised] == [Ended]
    return at


def test_it_is_never_early_and_looks_closely_at_the_end() -> None:
    assert calls([100, 250], [0, 10]) == [0, 100, 250]


def test_it_does_not_sleep_when_it_is_late(monkeypatch: pytest.MonkeyPatch) -> None:
    slept: list[float] = []
    monkeypatch.setattr(threading.Event, "wait", lambda self, timeout: slept.append(timeout))
    assert calls([1_000, 2_000, 3_000], [5_000, 7]) == [5_000, 5_014, 5_028, 5_042]
    assert slept == []


def test_it_sleeps_until_shortly_before(monkeypatch: pytest.MonkeyPatch) -> None:
    now, slept = [0, 0], []

    def wait(self: threading.Event, timeout: float) -> None:
        slept.append(timeout)
        now[0] += round(timeout * 1_000_000)
        now[1] = 50  # from now on the clock runs

    monkeypatch.setattr(threading.Event, "wait", wait)
    at = calls([400_000], now)
    assert slept == [(400_000 - SPIN_US) / 1_000_000]
    assert at == [0, 400_000]


def test_waking_brings_it_back_at_once() -> None:
    called, done = threading.Event(), threading.Event()
    times = []

    def work() -> int | None:
        times.append(1)
        called.set()
        if len(times) > 1:
            done.set()
        return None

    sender = Sender(work)
    sender.start()
    assert called.wait(2)
    sender.wake()
    assert done.wait(2)
    threading.Event().wait(0.02)
    assert len(times) == 2, "woken once, it works once"
    sender.stop()
    assert not sender._thread.is_alive()


def test_what_comes_in_during_the_work_is_not_lost() -> None:
    done = threading.Event()
    times = []

    def work() -> int | None:
        times.append(1)
        if len(times) == 1:
            sender.wake()
        else:
            done.set()
        return None

    sender = Sender(work)
    sender.start()
    assert done.wait(2)
    sender.stop()


def test_it_keeps_time_on_a_real_clock() -> None:
    due, early = [monotonic_us() + step * 5_000 for step in range(1, 5)], []

    def work() -> int | None:
        if work.due is not None:  # type: ignore[attr-defined]
            early.append(monotonic_us() < work.due)  # type: ignore[attr-defined]
        work.due = due.pop(0) if due else None  # type: ignore[attr-defined]
        if work.due is None:  # type: ignore[attr-defined]
            done.set()
        return work.due  # type: ignore[attr-defined]

    done = threading.Event()
    work.due = None  # type: ignore[attr-defined]
    sender = Sender(work)
    sender.start()
    assert done.wait(2)
    sender.stop()
    assert early == [False] * 4


def test_lateness_is_the_middle_and_the_hundredth() -> None:
    late = Lateness()
    assert late.now() == (0, 0, 0, 0)
    for one in range(100):
        late.note(one)
    assert late.now() == (100, 50, 99, 99)
    for _ in range(REMEMBERED):
        late.note(7)
    assert late.now() == (100 + REMEMBERED, 7, 7, 7)
