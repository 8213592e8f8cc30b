"""What every request to a desk must be before anything is done with it: to this host, from this page, small, whole.

Around any ASGI app. Knows neither the show nor what is asked for.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BODY = 4_096  # bytes; the longest order has some 500
BODY_WITHIN_S = 5.0
LONGEST_TARGET = 200  # characters of a path with its query
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # with none at all, a form's Origin would be `null`
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}
HEADERS = [(name.encode(), value.encode()) for name, value in _HEADERS.items()]


class Guard:
    """Turns away what no page of ours sends, and gives every answer the headers that keep a browser strict."""

    def __init__(self, app: App) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        wrong = refusal(scope)
        if wrong is not None:
            await answer(send, *wrong)
            return
        if scope["method"] != "POST":
            await self._app(scope, receive, _strict(send))
            return
        try:
            body = await asyncio.wait_for(_read(receive), BODY_WITHIN_S)
        except TimeoutError:
            await answer(send, 408, "The request did not come to its end.")
            return
        if body is None:
            return  # nobody is there any more
        await self._app(scope, _given(body, receive), _strict(send))


def refusal(scope: Scope) -> tuple[int, str] | None:
    """Why a request is turned away, as a status and a sentence; None if it is not."""
    headers = _single(scope["headers"])
    if headers is None:
        return 400, "A header stands there twice."
    host, ours = headers.get("host", ""), hosts(scope)
    if host not in ours:
        return 421, "This desk is not called that. Open the address that stands in the terminal."
    if scope["method"] not in ("GET", "HEAD", "POST"):
        return 405, "That is not done here."
    if len(scope.get("raw_path", b"")) + len(scope["query_string"]) > LONGEST_TARGET:
        return 414, "No address here is so long."
    site = headers.get("sec-fetch-site")
    if scope["method"] == "POST":
        return _wrong_post(headers, host, site)
    if site not in (None, "same-origin", "none") and headers.get("sec-fetch-mode") != "navigate":
        return 403, "Another site's page may not read this."
    return None


def _wrong_post(headers: dict[str, str], host: str, site: str | None) -> tuple[int, str] | None:
    if headers.get("origin") != f"http://{host}" or site not in (None, "same-origin"):
        return 403, "Orders are taken from the desk's own page only."
    if "transfer-encoding" in headers or not headers.get("content-length", "").isdigit():
        return 411, "Say how long it is."
    if int(headers["content-length"][:9]) > MOST_BODY or len(headers["content-length"]) > 9:
        return 413, f"No order is longer than {MOST_BODY} bytes."
    return None


def hosts(scope: Scope) -> tuple[str, ...]:
    """The names by which this desk may be asked: the very address that was reached, or this computer's own name for
    itself. A name that somebody else's name server gives to that address is none of them."""
    address, port = scope["server"]
    names = [address, *(["localhost"] if address == "127.0.0.1" else [])]
    return tuple(f"{name}:{port}" for name in names)


def _single(headers: Iterable[tuple[bytes, bytes]]) -> dict[str, str] | None:
    """Headers by name; None if one that we go by stands there twice."""
    found: dict[str, str] = {}
    for raw, value in headers:
        name = raw.decode("latin-1").lower()
        if name in found and name in ("host", "origin", "content-length", "sec-fetch-site", "transfer-encoding"):
            return None
        found[name] = value.decode("latin-1")
    return found


async def _read(receive: Receive) -> bytes | None:
    """The whole body; None if the asker has left. Its length has been looked at, and the server holds it to that."""
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        body += bytes(message.get("body", b""))
        if not message.get("more_body", False):
            return body


def _given(body: bytes, receive: Receive) -> Receive:
    """Gives a body that has been read, then whatever comes after it."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _strict(send: Send) -> Send:
    async def strictly(message: Message) -> None:
        if message["type"] == "http.response.start":
            ours = {name for name, _ in HEADERS}
            kept = [pair for pair in message.get("headers", []) if pair[0].lower() not in ours]
            message = {**message, "headers": [*kept, *HEADERS]}
        await send(message)

    return strictly


async def answer(send: Send, status: int, sentence: str) -> None:
    """A plain sentence."""
    body = sentence.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
