"""The desk's server in a thread of its own: its port, and how many may knock at it. The one file that knows the server.

The show's thread never waits for it, but at the very end, and then not long.
"""

from __future__ import annotations

import asyncio
import errno
import logging
import socket
import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from wayside.desk.guard import App
from wayside.usage import UsageProblem, why_not

PORTS_TRIED = 20
MOST_CONNECTIONS = 96
MOST_FROM_ONE = 24  # connections from one address, so that one device cannot keep all others out
KEPT_FOR_HERE = 24  # of all of them, for this computer
AT_ONCE = 128  # taken from the system in one go, before any of them can be turned away
HERE = "127.0.0.1"
QUIET_S = 10.0  # a connection on which no request is under way for two of these is cut
ENDS_WITHIN_S = 2.0


def bound(port: int, lan: bool) -> socket.socket:
    """A socket on the port, or on the next free one. Raises UsageProblem if none of the next is free."""
    problem: OSError | None = None
    for number in range(port, min(port + PORTS_TRIED, 65_536)):
        one = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # on Windows, where reuse would share a port
                one.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
            else:
                one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            one.bind(("0.0.0.0" if lan else HERE, number))
            one.listen(AT_ONCE)
        except OSError as cause:
            one.close()
            if cause.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise UsageProblem(f"The desk cannot listen on port {number}: {why_not(cause)}.") from cause
            problem = cause
        else:
            return one
    raise UsageProblem(
        f"The desk found no free port from {port} on: {why_not(problem) if problem else 'there is none'}. Name another "
        "one with --desk PORT, or leave the desk out with --no-desk."
    )


def lan_address() -> str:
    """This computer's address on its network; the loopback address where it has none. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        try:
            one.connect(("192.0.2.1", 9))  # an address for documentation, RFC 5737: only the way to it is looked up
            return str(one.getsockname()[0])
        except OSError:
            return HERE


class Doors:
    """Every open connection, by the address and port of who is at its other end."""

    def __init__(self) -> None:
        self._open: dict[Any, asyncio.Transport] = {}
        self._from: Counter[str] = Counter()
        self.turned_away = 0

    def __len__(self) -> int:
        return len(self._open)

    def admit(self, client: Any, transport: asyncio.Transport) -> bool:
        """Whether there is room for one more."""
        address = client[0] if client else ""
        room = MOST_CONNECTIONS if address == HERE else MOST_CONNECTIONS - KEPT_FOR_HERE
        if len(self._open) >= room or self._from[address] >= MOST_FROM_ONE:
            self.turned_away += 1
            return False
        self._open[client] = transport
        self._from[address] += 1
        return True

    def leave(self, client: Any) -> None:
        self._open.pop(client, None)
        self._from[client[0] if client else ""] -= 1
        self._from += Counter()  # forgets those at nought

    def cut(self, client: Any) -> None:
        """Cut one off, whatever is still to be sent to it."""
        transport = self._open.get(client)
        if transport is not None:
            transport.abort()


def _protocol(doors: Doors) -> type[asyncio.Protocol]:
    class Door(H11Protocol):
        """The server's own protocol, which turns away too many and cuts those that never ask."""

        _client: Any = None
        _admitted = False
        _quiet = False

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            self._client = transport.get_extra_info("peername")
            if not doors.admit(self._client, transport):
                transport.abort()
                return
            self._admitted = True
            super().connection_made(transport)
            self.loop.call_later(QUIET_S, self._look)

        def connection_lost(self, exc: Exception | None) -> None:
            if self._admitted:
                self._admitted = False
                doors.leave(self._client)
                super().connection_lost(exc)

        def _look(self) -> None:
            if not self._admitted:
                return
            quiet = self.cycle is None or self.cycle.response_complete
            if quiet and self._quiet:
                self.transport.abort()
                return
            self._quiet = quiet
            self.loop.call_later(QUIET_S, self._look)

    return Door


class Server:
    """Started once, stopped once."""

    def __init__(self, app: App, listening: socket.socket, began: Callable[[asyncio.AbstractEventLoop], None]) -> None:
        self.doors = Doors()
        self._socket = listening
        self._began = began
        for name in ("uvicorn.error", "uvicorn.access", "uvicorn.asgi"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # a person is told in sentences, elsewhere
        config = uvicorn.Config(
            app,
            http=_protocol(self.doors),
            ws="none",
            lifespan="off",
            loop="asyncio",
            log_config=None,
            log_level="critical",
            access_log=False,
            proxy_headers=False,  # nobody stands between: what a request says of where it comes from counts nothing
            server_header=False,
            backlog=AT_ONCE,
            timeout_keep_alive=5,
            timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=16_384,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._run, name="desk", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        self._began(asyncio.get_running_loop())
        await self._server.serve(sockets=[self._socket])

    def stop(self) -> None:
        """End it; connections that do not end by themselves are cut."""
        self._server.should_exit = True
        self._thread.join(ENDS_WITHIN_S)
        self._socket.close()
