"""The desk's web side without a browser: who may ask what, and every hand-made attack that came to mind."""

from __future__ import annotations

import asyncio
import json

import httpx
import pytest

from wayside.desk.app import Desk
from wayside.desk.guard import MOST_BODY
from wayside.desk.hub import Hub
from wayside.desk.orders import Order
from wayside.desk.sessions import IDLE_S, LASTS_S, TRIES, TRIES_IN_ALL, WAIT_S, Allowance, Sessions

HOME = "http://127.0.0.1:8640"
SAFE = {"Origin": HOME, "Content-Type": "application/json"}


class Bench:
    """An app with nobody behind it but a list of what was asked."""

    def __init__(self, pin: str | None = None) -> None:
        self.done: list[Order] = []
        self.seconds = 1_000.0
        self.sessions = Sessions(pin, lambda: self.seconds)
        self.desk = Desk(Hub("a-show", {"layout": "Secret Harbour"}), self.sessions, self.carry_out)
        self.page = self.desk.pages.open()
        self.count = 0

    async def carry_out(self, order: Order) -> tuple[bool, list[str]]:
        self.done.append(order)
        return True, []

    def client(self, address: str = "127.0.0.1", home: str = HOME) -> httpx.AsyncClient:
        transport = httpx.ASGITransport(self.desk.app, client=(address, 5_000))  # type: ignore[arg-type]
        return httpx.AsyncClient(transport=transport, base_url=home)

    def headers(self) -> dict[str, str]:
        self.count += 1
        return {**SAFE, "X-Desk-Page": self.page, "X-Desk-Order": str(self.count)}


async def test_a_page_gets_the_desk_and_its_order_is_carried_out_once() -> None:
    bench = Bench()
    async with bench.client() as client:
        assert (await client.get("/")).status_code == 200
        headers = bench.headers()
        body = json.dumps({"do": "start", "scene": "evening"})
        first = await client.post("/do", content=body, headers=headers)
        again = await client.post("/do", content=body, headers=headers)
    assert (first.status_code, again.status_code) == (200, 409)
    assert bench.done == [Order("start", {"scene": "evening"})]


async def test_all_stop_needs_no_open_stream() -> None:
    bench = Bench()
    async with bench.client() as client:
        answer = await client.post("/do", json={"do": "all stop"}, headers={"Origin": HOME})
        other = await client.post("/do", json={"do": "go on"}, headers={"Origin": HOME})
    assert answer.status_code == 200
    assert other.status_code == 409
    assert bench.done == [Order("all stop", {})]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": ""}, 403),
        ({"Origin": f"{HOME}.evil.example"}, 403),
        ({"Origin": "https://127.0.0.1:8640"}, 403),
        ({"Origin": "http://127.0.0.1:9999"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Host": "evil.example"}, 421),  # a name that was bound to our address behind our back
        ({"Host": "evil.example:8640", "Origin": "http://evil.example:8640"}, 421),
        ({"Host": "127.0.0.1"}, 421),
        ({"Host": "127.0.0.1:8641", "Origin": "http://127.0.0.1:8641"}, 421),
        ({"Content-Type": "text/plain"}, 415),  # what a form of another site could send
        ({"Content-Type": "application/x-www-form-urlencoded"}, 415),
        ({"Content-Length": str(MOST_BODY + 1)}, 413),
        ({"Content-Length": "9" * 4_000}, 413),
        ({"Content-Length": "-1"}, 411),
        ({"Transfer-Encoding": "chunked"}, 411),
    ],
)
async def test_what_does_not_come_from_our_page_is_turned_away(headers: dict[str, str], status: int) -> None:
    bench = Bench()
    async with bench.client() as client:
        answer = await client.post("/do", content=b'{"do":"all stop"}', headers={**bench.headers(), **headers})
    assert answer.status_code == status
    assert bench.done == []


@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
async def test_nothing_is_done_but_by_post(method: str) -> None:
    bench = Bench()
    async with bench.client() as client:
        for path in ("/do", "/do?do=all+stop", "/pin"):
            answer = await client.request(method, path, headers=bench.headers())
            assert answer.status_code == 405, (method, path)
    assert bench.done == []


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[" * 4_000, b"\xff\xfe", b"NaN", b'{"do":"start","scene":' + b'"a"' * 9, b'{"do":"rm"}', b"null",
     b"{}",
     b'{"do":{"$ne":1}}', b'{"do":"all stop","do":1}', b'{"do":"take","output":"../../etc/passwd"}'],
)  # fmt: skip
async def test_a_body_that_is_no_order_does_nothing(body: bytes) -> None:
    bench = Bench()
    async with bench.client() as client:
        answer = await client.post("/do", content=body, headers=bench.headers())
    assert answer.status_code == 400
    assert bench.done == []
    assert answer.json()["says"]


@pytest.mark.parametrize(
    "path", ["/page/../desk_app.py", "/page/%2e%2e/desk_app.py", "/page/pin.html", "/page/", "/docs", "/x"]
)
async def test_no_other_file_is_given(path: str) -> None:
    async with Bench().client() as client:
        answer = await client.get(path)
    assert answer.status_code == 404
    assert "import" not in answer.text


async def test_every_answer_keeps_a_browser_strict() -> None:
    async with Bench().client() as client:
        answers = [await client.get(path) for path in ("/", "/page/main.js", "/nowhere")]
        answers.append(await client.get("/", headers={"Host": "evil.example"}))
        answers.append(await client.post("/do", content=b"{}", headers={"Origin": "http://evil.example"}))
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert "access-control-allow-origin" not in answer.headers


async def test_the_page_holds_no_script_and_no_style_of_its_own_and_asks_nobody_else() -> None:
    async with Bench().client() as client:
        for path in ("/", "/page/desk.css", *(f"/page/{name}.js" for name in ("main", "feed", "dom", "lists"))):
            text = (await client.get(path)).text
            assert "style=" not in text.replace("el.style", "")
            assert " onclick=" not in text
            assert "innerHTML" not in text
            assert "https://" not in text
            assert text.count("http://") == text.count("http://www.w3.org/2000/svg")


async def test_too_many_orders_wait_and_an_all_stop_still_comes_through() -> None:
    bench = Bench()
    async with bench.client() as client:
        answers = [await client.post("/do", json={"do": "mute"}, headers=bench.headers()) for _ in range(200)]
        stop = await client.post("/do", json={"do": "all stop"}, headers=bench.headers())
    assert {answer.status_code for answer in answers} == {200, 429}
    assert stop.status_code == 200


# --- the PIN -------------------------------------------------------------------------------------------------------


async def enter(client: httpx.AsyncClient, pin: str, origin: str = HOME) -> httpx.Response:
    return await client.post("/pin", data={"pin": pin}, headers={"Origin": origin})


async def test_without_the_pin_nobody_sees_anything_of_the_show() -> None:
    bench = Bench("123456")
    async with bench.client() as client:
        page = await client.get("/")
        assert "PIN" in page.text
        assert "main.js" not in page.text
        for path in ("/page/main.js", "/page/lists.js", "/events"):
            answer = await client.get(path)
            assert answer.status_code == 401
            assert "Secret" not in answer.text
        answer = await client.post("/do", json={"do": "all stop"}, headers=bench.headers())
        assert answer.status_code == 401
        client.cookies.set("desk-8640", "a" * 43)
        assert (await client.get("/page/main.js")).status_code == 401
    assert bench.done == []


async def test_the_pin_opens_a_session_that_no_script_can_read_and_that_expires() -> None:
    bench = Bench("123456")
    async with bench.client() as client:
        answer = await enter(client, " 123 456 ")
        assert answer.status_code == 303
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert (await client.post("/do", json={"do": "all stop"}, headers=bench.headers())).status_code == 200
        bench.seconds += IDLE_S + 1
        assert (await client.get("/page/main.js")).status_code == 401


async def test_a_session_that_is_used_all_day_ends_all_the_same() -> None:
    bench = Bench("123456")
    async with bench.client() as client:
        await enter(client, "123456")
        for _ in range(int(LASTS_S / IDLE_S * 2)):
            assert (await client.get("/page/main.js")).status_code == 200
            bench.seconds += IDLE_S / 2
        bench.seconds += 1
        assert (await client.get("/page/main.js")).status_code == 401


async def test_tries_are_limited_for_each_device_and_for_all_of_them() -> None:
    bench = Bench("123456")
    async with bench.client("10.0.0.5") as client:
        for _ in range(TRIES):
            assert "not the PIN" in (await enter(client, "000000")).text
        assert "Wait five minutes" in (await enter(client, "123456")).text
        bench.seconds += WAIT_S + 1
        assert (await enter(client, "123456")).status_code == 303
    for number in range(TRIES_IN_ALL):
        async with bench.client(f"10.0.1.{number}") as client:
            await enter(client, "000000")
    async with bench.client("10.0.2.1") as client:
        assert "Wait a minute" in (await enter(client, "123456")).text
    async with bench.client("127.0.0.1") as client:  # the one at the show's own computer is not kept out by them
        assert (await enter(client, "123456")).status_code == 303


async def test_another_sites_form_cannot_try_pins() -> None:
    bench = Bench("123456")
    async with bench.client() as client:
        assert (await enter(client, "123456", "http://evil.example")).status_code == 403
        assert (await enter(client, "123456", "null")).status_code == 403


def test_an_allowance_refills_evenly() -> None:
    seconds = [0.0]
    one = Allowance(2.0, 3, lambda: seconds[0])
    assert [one.take() for _ in range(4)] == [True, True, True, False]
    seconds[0] = 0.5
    assert [one.take() for _ in range(2)] == [True, False]
    seconds[0] = 100.0
    assert [one.take() for _ in range(4)] == [True, True, True, False]


async def test_a_body_that_never_comes_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wayside.desk.guard.BODY_WITHIN_S", 0.05)
    bench, sent = Bench(), []

    async def never() -> dict[str, object]:
        await asyncio.Event().wait()
        return {}

    async def send(message: object) -> None:
        sent.append(message)

    headers = [(b"host", b"127.0.0.1:8640"), (b"origin", HOME.encode()), (b"content-length", b"10")]
    scope = {"type": "http", "method": "POST", "path": "/do", "query_string": b"", "headers": headers}
    await bench.desk.app({**scope, "server": ("127.0.0.1", 8640)}, never, send)  # type: ignore[arg-type]
    assert sent[0]["status"] == 408
