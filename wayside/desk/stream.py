"""One page's stream of changes: the whole state first, then what changes, and a sign of life when nothing does.

Waits for its page as long as that is reasonable, and never makes anybody else wait. Knows no show.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Callable
from typing import Any

from wayside.desk.guard import Message, Receive, Scope, Send, answer
from wayside.desk.hub import Hub

MOST_PAGES = 24
ALIVE_EVERY_S = 2.0  # the page takes three of these without a word for a lost connection
SEND_WITHIN_S = 15.0  # a page that has taken nothing for so long is let go; it asks again when it can


class Pages:
    """The pages whose streams are open, and the number of each one's last order."""

    def __init__(self) -> None:
        self._last: dict[str, int] = {}

    def open(self) -> str:
        page = secrets.token_urlsafe(18)
        self._last[page] = 0
        return page

    def close(self, page: str) -> None:
        self._last.pop(page, None)

    def __len__(self) -> int:
        return len(self._last)

    def counts(self, page: str, number: int) -> bool:
        """Whether an order is a page's next: no order is done twice, and none of a page that has gone."""
        last = self._last.get(page)
        if last is None or number <= last:
            return False
        self._last[page] = number
        return True


class Stream:
    """The ASGI app behind `/events`."""

    def __init__(self, hub: Hub, pages: Pages, allowed: Callable[[Scope], bool]) -> None:
        self._hub, self._pages, self._allowed = hub, pages, allowed
        self.closing = False
        self.let_go: Callable[[Any], None] = lambda client: None  # cuts a connection that takes nothing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if not self._allowed(scope):
            await answer(send, 401, "The PIN is needed.")
            return
        if len(self._pages) >= MOST_PAGES:
            await answer(send, 503, f"{MOST_PAGES} pages are open already. Close one of them.")
            return
        page = self._pages.open()
        self._hub.pages = len(self._pages)
        gone = asyncio.ensure_future(_gone(receive))
        try:
            await self._tell(page, scope, gone, send)
        except TimeoutError:
            self.let_go(scope.get("client"))
        finally:
            gone.cancel()
            self._pages.close(page)
            self._hub.pages = len(self._pages)

    async def _tell(self, page: str, scope: Scope, gone: asyncio.Future[None], send: Send) -> None:
        headers = [(b"content-type", b"text/event-stream; charset=utf-8")]
        await _put(send, {"type": "http.response.start", "status": 200, "headers": headers})
        await _put(send, _body(f"retry: 1000\nevent: page\ndata: {json.dumps(page)}\n\n"))
        version, text = self._hub.whole()
        await _put(send, _body(f"event: whole\ndata: {text}\n\n"))
        while not gone.done() and not self.closing and self._allowed(scope):
            await self._hub.wait(version, ALIVE_EVERY_S)
            after = self._hub.after(version)
            if after is None:
                version, text = self._hub.whole()
                told = f"event: whole\ndata: {text}\n\n"
            else:
                version, changes = after
                told = "".join(f"event: change\ndata: {text}\n\n" for text in changes)
                told = told or f"event: alive\ndata: {self._hub.now_us()}\n\n"
            await _put(send, _body(told))
        await _put(send, {"type": "http.response.body", "body": b"", "more_body": False})


async def _gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def _put(send: Send, message: Message) -> None:
    await asyncio.wait_for(send(message), SEND_WITHIN_S)


def _body(text: str) -> Message:
    return {"type": "http.response.body", "body": text.encode(), "more_body": True}
