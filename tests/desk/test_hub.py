"""What pages are told: changes in order, everything to one that is behind, and nobody held up by one that is slow."""

from __future__ import annotations

import asyncio
import json

import pytest

from wayside.desk.guard import Message
from wayside.desk.hub import EVENTS_KEPT, KEPT, Hub
from wayside.desk.stream import MOST_PAGES, Pages, Stream


def hub() -> Hub:
    return Hub("a-show", {"layout": "Bench"})


def test_changes_come_in_order_and_only_those_not_seen() -> None:
    one = hub()
    one.publish({"a": 1})
    one.publish({"a": 2, "b": 3})
    version, texts = one.after(0) or (0, [])
    assert version == 2
    assert [json.loads(text)["set"] for text in texts] == [{"a": 1}, {"a": 2, "b": 3}]
    assert one.after(1) == (2, texts[1:])
    assert one.after(2) == (2, [])


def test_the_whole_is_what_all_changes_together_make() -> None:
    one = hub()
    one.event("it began")
    one.publish({"a": 1, "b": 1})
    one.publish({"a": 2})
    version, text = one.whole()
    assert version == 2
    assert json.loads(text)["set"] == {"a": 2, "b": 1}
    assert json.loads(text)["events"] == [[1, "it began"]]
    assert json.loads(text)["facts"] == {"layout": "Bench"}


def test_nothing_is_told_where_nothing_has_changed() -> None:
    one = hub()
    one.publish({})
    assert one.after(0) == (0, [])


def test_a_page_too_far_behind_is_sent_everything() -> None:
    one = hub()
    for number in range(KEPT + 1):
        one.publish({"a": number})
    assert one.after(0) is None
    assert one.after(1) is not None


def test_events_are_bounded_and_keep_the_last() -> None:
    one = hub()
    for number in range(10 * EVENTS_KEPT):
        one.event(str(number))
    one.publish({})
    events = json.loads(one.whole()[1])["events"]
    assert len(events) == EVENTS_KEPT
    assert events[-1] == [10 * EVENTS_KEPT, str(10 * EVENTS_KEPT - 1)]


def test_no_order_is_done_twice_and_none_of_a_page_that_has_gone() -> None:
    pages = Pages()
    page = pages.open()
    assert pages.counts(page, 1)
    assert not pages.counts(page, 1)
    assert pages.counts(page, 5)
    assert not pages.counts(page, 4)
    pages.close(page)
    assert not pages.counts(page, 6)
    assert not pages.counts("never-opened", 1)


class Reader:
    """A browser's end of a stream: takes what it is sent, or stops taking."""

    def __init__(self) -> None:
        self.got: list[str] = []
        self.status = 0
        self.reads = asyncio.Event()
        self.reads.set()
        self.left = asyncio.Event()

    async def send(self, message: Message) -> None:
        await self.reads.wait()
        self.status = message.get("status", self.status)
        self.got.append(message.get("body", b"").decode())

    async def receive(self) -> Message:
        await self.left.wait()
        return {"type": "http.disconnect"}


async def until(holds: object) -> None:
    async with asyncio.timeout(10):
        while not holds():  # type: ignore[operator]
            await asyncio.sleep(0.005)


async def test_a_page_that_reads_nothing_holds_up_nobody_and_later_gets_everything() -> None:
    one, slow, quick = hub(), Reader(), Reader()
    one.serve(asyncio.get_running_loop())
    stream = Stream(one, Pages(), lambda scope: True)
    tasks = [asyncio.create_task(stream({}, who.receive, who.send)) for who in (slow, quick)]
    await until(lambda: any("event: whole" in text for text in slow.got) and one.pages == 2)
    slow.reads.clear()
    for number in range(3 * KEPT):
        one.publish({"a": number})
        await asyncio.sleep(0)
    await until(lambda: f'"a":{3 * KEPT - 1}' in "".join(quick.got))
    before = len(slow.got)
    slow.reads.set()
    await until(lambda: any("event: whole" in text and f'"a":{3 * KEPT - 1}' in text for text in slow.got[before:]))
    assert len("".join(slow.got)) < len("".join(quick.got))  # what it missed was never kept for it
    for who in (slow, quick):
        who.left.set()
    one.publish({"a": -1})
    await asyncio.gather(*tasks)
    assert one.pages == 0


async def test_a_page_that_takes_nothing_for_very_long_is_cut_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wayside.desk.stream.SEND_WITHIN_S", 0.05)
    one, dead = hub(), Reader()
    one.serve(asyncio.get_running_loop())
    stream, cut = Stream(one, Pages(), lambda scope: True), []
    stream.let_go = cut.append
    task = asyncio.create_task(stream({"client": ("10.0.0.9", 5)}, dead.receive, dead.send))
    await until(lambda: dead.got)
    dead.reads.clear()
    one.publish({"a": 1})
    await task
    assert cut == [("10.0.0.9", 5)]
    assert one.pages == 0


async def test_there_are_only_so_many_pages() -> None:
    one, pages = hub(), Pages()
    for _ in range(MOST_PAGES):
        pages.open()
    late = Reader()
    await Stream(one, pages, lambda scope: True)({}, late.receive, late.send)
    assert late.status == 503
    assert "Close one" in late.got[-1]


async def test_a_session_that_expires_ends_its_stream() -> None:
    one, who, allowed = hub(), Reader(), [True]
    one.serve(asyncio.get_running_loop())
    task = asyncio.create_task(Stream(one, Pages(), lambda scope: allowed[0])({}, who.receive, who.send))
    await until(lambda: any("event: whole" in text for text in who.got))
    allowed[0] = False
    one.publish({"a": 1})
    async with asyncio.timeout(5):
        await task


def test_pages_that_know_other_things_are_sent_everything_under_another_name() -> None:
    hub = Hub("one", {"scenes": ["old"]})
    hub.publish({"scene old": "runs"})
    version, _ = hub.whole()
    hub.renew("two", {"scenes": ["new"]})
    assert hub.after(version) is None  # none of the changes that it had is enough
    whole = json.loads(hub.whole()[1])
    assert (whole["show"], whole["facts"], whole["set"]) == ("two", {"scenes": ["new"]}, {})
