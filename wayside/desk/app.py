"""The desk as an ASGI app: the page, its stream, its orders, the PIN. The one file that knows the web framework.

Knows the show by two functions only: what carries an order out, and what the hub says.
"""

from __future__ import annotations

import html
import json
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from wayside.desk.guard import App, Guard, Scope
from wayside.desk.hub import Hub
from wayside.desk.orders import BadOrder, Order, read_order
from wayside.desk.sessions import LASTS_S, Allowance, Sessions
from wayside.desk.stream import Pages, Stream

FOLDER = Path(__file__).parent / "page"
KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
SEEN_BY_ALL = ("desk.css", "desk.svg")  # what the form for the PIN needs: nothing of it tells of the layout
ORDERS_A_SECOND, ORDERS_AT_ONCE = 20.0, 60  # of all pages together; a finger gives five a second
STOPS_A_SECOND, STOPS_AT_ONCE = 20.0, 40  # counted apart, so that no flood of others keeps one out

ALL_STOP = "all stop"

Done = tuple[bool, list[str]]  # whether the order was understood and allowed, and what to say of it
CarryOut = Callable[[Order], Awaitable[Done]]


class Site(NamedTuple):
    """What is served: the page of a show, or another one that shares its pieces. `gives` are texts to take home, each
    under its name; `stops` is the order that is carried out whatever has become of the page's stream."""

    page: str = "desk.html"
    folders: tuple[Path, ...] = (FOLDER,)
    read: Callable[[object], Order] = read_order
    stops: str = ALL_STOP
    gives: Mapping[str, Callable[[], str]] = MappingProxyType({})


SHOW = Site()


class Desk:
    """The app, made once for each show."""

    def __init__(self, hub: Hub, sessions: Sessions, carry_out: CarryOut, site: Site = SHOW) -> None:
        self._sessions = sessions
        self._carry_out = carry_out
        self._site = site
        files = (one for folder in site.folders for one in sorted(folder.iterdir()) if one.suffix in KINDS)
        self._files = {one.name: one.read_bytes() for one in files}
        self._orders = Allowance(ORDERS_A_SECOND, ORDERS_AT_ONCE)
        self._stops = Allowance(STOPS_A_SECOND, STOPS_AT_ONCE)
        self.pages = Pages()
        self.stream = Stream(hub, self.pages, self._allowed)
        routes = [
            Route("/", self._page, methods=["GET"]),
            Route("/page/{name}", self._file, methods=["GET"]),
            Route("/take/{name}", self._give, methods=["GET"]),
            Route("/pin", self._pin, methods=["POST"]),
            Route("/do", self._do, methods=["POST"]),
            Route("/events", self.stream, methods=["GET"]),
        ]
        self.app: App = Guard(Starlette(routes=routes))

    def _allowed(self, scope: Scope) -> bool:
        """Whether a request comes from somebody who may see the desk."""
        return self._sessions.allows(Request(scope).cookies.get(_cookie(scope), ""))

    async def _page(self, request: Request) -> Response:
        return self._asset(self._site.page) if self._allowed(request.scope) else self._form(200, "")

    async def _file(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in SEEN_BY_ALL and not self._allowed(request.scope):
            return Response("The PIN is needed.", 401, media_type="text/plain")
        if name not in self._files or name.endswith(".html"):
            return Response("There is no such file.", 404, media_type="text/plain")
        return self._asset(name)

    async def _give(self, request: Request) -> Response:
        """A text to take home, made just now."""
        name = request.path_params["name"]
        if not self._allowed(request.scope):
            return Response("The PIN is needed.", 401, media_type="text/plain")
        if name not in self._site.gives:
            return Response("There is no such file.", 404, media_type="text/plain")
        headers = {"content-disposition": f'attachment; filename="{name}"'}
        return Response(self._site.gives[name](), media_type="text/plain; charset=utf-8", headers=headers)

    def _asset(self, name: str) -> Response:
        return Response(self._files[name], media_type=KINDS[Path(name).suffix])

    # --- the PIN ---------------------------------------------------------------------------------------------------

    def _form(self, status: int, says: str) -> Response:
        text = self._files["pin.html"].decode().replace("{{says}}", html.escape(says))
        return Response(text, status, media_type=KINDS[".html"])

    async def _pin(self, request: Request) -> Response:
        if self._sessions.pin is None:
            return RedirectResponse("/", 303)
        given = parse_qs((await request.body()).decode("latin-1"), max_num_fields=4).get("pin", [""])[0]
        address = request.client.host if request.client else ""
        entered = self._sessions.enter("".join(given.split()), address)
        if not entered.token:
            return self._form(403, entered.says)
        answer = RedirectResponse("/", 303)
        name = _cookie(request.scope)
        answer.set_cookie(name, entered.token, max_age=int(LASTS_S), httponly=True, samesite="strict", path="/")
        return answer

    # --- orders ----------------------------------------------------------------------------------------------------

    async def _do(self, request: Request) -> Response:
        if not self._allowed(request.scope):
            return _said(401, "The PIN is needed.")
        if request.headers.get("content-type", "").split(";")[0].strip() != "application/json":
            return _said(415, "An order is JSON.")
        try:
            order = self._site.read(json.loads(await request.body()))
        except BadOrder as bad:
            return _said(400, str(bad))
        except (ValueError, RecursionError):
            return _said(400, "That is no JSON.")
        stops = order.do == self._site.stops  # harmless to do twice, and done whatever has become of the page's stream
        if not (self._stops if stops else self._orders).take():
            return _said(429, "Too many orders at once. Wait a second.")
        if not stops and not self._counts(request):
            return _said(409, "This page has lost its connection: wait until it is back, then ask again.")
        try:
            fine, says = await self._carry_out(order)
        except TimeoutError:
            return _said(504, "The show did not answer in time. Look at what it does before you ask again.")
        return JSONResponse({"fine": fine, "says": says})

    def _counts(self, request: Request) -> bool:
        number = request.headers.get("x-desk-order", "")
        page = request.headers.get("x-desk-page", "")
        return number.isascii() and number.isdigit() and len(number) < 10 and self.pages.counts(page, int(number))


def _said(status: int, sentence: str) -> Response:
    return JSONResponse({"fine": False, "says": [sentence]}, status)


def _cookie(scope: Scope) -> str:
    """Cookies do not tell ports apart: two shows on one computer have two names."""
    return f"desk-{scope['server'][1]}"
