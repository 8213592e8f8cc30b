"""The page of a walk: what it is shown, and what it may ask. Joins session, hub, app and server, as the desk of a show.

Everything that touches the walk is done in the walk's own thread.
"""

from __future__ import annotations

import argparse
import asyncio
import secrets
from collections.abc import Callable
from pathlib import Path

from wayside.desk.app import FOLDER, Desk, Done, Site
from wayside.desk.door import Called, Door
from wayside.desk.hub import Hub
from wayside.desk.orders import Order, as_order
from wayside.desk.server import Server
from wayside.desk.state import State, difference
from wayside.terminal import say
from wayside.usage import UsageProblem
from wayside.walk.report import Report, markdown, outcome, summary, table
from wayside.walk.session import Session
from wayside.walk.stops import OUTPUT
from wayside.walk.walker import Said
from wayside.walk.words import HANDS, kind_of
from wayside.wording import read_whole_number

PAGE = Path(__file__).parent / "page"
PORT = 8650
ANSWERS_WITHIN_S = 5.0
CALLED = Called("The page of the walk", "works the walk", "page and walk")
STOP = "stop"
_ORDERS: dict[str, tuple[str, ...]] = {
    "say": ("word", "stop"),  # what could be typed as well, and the stop that the page shows
    STOP: (),
    "time": ("stretch",),
    "press": (),
    "keep": (),
    "leave": (),
}


def read(body: object) -> Order:
    """The JSON of an order from the page. Raises BadOrder for what is none."""
    return as_order(body, _ORDERS)


def made(options: argparse.Namespace, session: Session) -> WalkDesk | None:
    """The page that was asked for, with what is said of it; None where nobody asked and it cannot be had."""
    port = PORT if options.desk is None else read_whole_number(options.desk, "--desk")
    if not 1024 <= port <= 65_535:
        raise UsageProblem(f"--desk {port}: a port for the page is 1024 to 65535.")
    try:
        desk = WalkDesk(port, options.lan, session)
    except UsageProblem as problem:
        if options.desk is not None or options.lan:
            raise
        say(f"{problem} The walk goes on without its page.")
        return None
    say(desk.door.opening(port))
    return desk


class WalkDesk:
    """The page of one walk."""

    def __init__(self, port: int, lan: bool, session: Session) -> None:
        self.door = Door(port, lan, CALLED)
        self._session = session
        self._hub = Hub(secrets.token_urlsafe(9), {})
        self._server: Server | None = None
        self._before: State = {}
        self._report: tuple[int, Report] | None = None
        self._texts = {"walk.md": "", "walk.csv": ""}

    def start(self, now_us: Callable[[], int]) -> None:
        """Open the page. To be called in the walk's loop."""
        session, loop = self._session, asyncio.get_running_loop()
        self._hub.now_us = now_us
        self._hub.facts = {
            "name": session.name,
            "hands": HANDS,
            "outputs": list(session.layout.outputs),
            "stretches": session.time.choices(),
        }

        async def carry_out(order: Order) -> Done:
            future = asyncio.run_coroutine_threadsafe(self._carried_out(order), loop)
            return await asyncio.wait_for(asyncio.wrap_future(future), ANSWERS_WITHIN_S)

        gives = {name: lambda name=name: self._texts[name] for name in self._texts}
        site = Site("walk.html", (FOLDER, PAGE), read, STOP, gives)
        app = Desk(self._hub, self.door.sessions, carry_out, site)
        self._app = app
        self._server = Server(app.app, self.door.socket, self._hub.serve)
        app.stream.let_go = self._server.doors.cut
        self.look()
        self._server.start()

    def stop(self) -> None:
        """The walk is left: pages are told, then the server ends."""
        self._hub.publish({"phase": "left"})
        if self._server is not None:
            self._app.stream.closing = True
            self._server.stop()
        else:
            self.door.socket.close()

    def look(self) -> None:
        """Tell pages what has changed."""
        state = self._state()
        changes = difference(self._before, state)
        if changes:
            self._hub.publish(changes)
            self._before = state

    # --- orders ----------------------------------------------------------------------------------------------------

    async def _carried_out(self, order: Order) -> Done:
        done = self._do(order)
        self._session.look()
        self.look()
        return done.fine, [done.says] if done.says else []

    def _do(self, order: Order) -> Said:
        session = self._session
        match order.do:
            case "say":
                return self._say(order.words["word"], order.words["stop"])
            case "stop":
                return session.do(STOP)
            case "time":
                return session.begin_timing(order.words["stretch"])
            case "press":
                return session.time.press(session.now_us())
            case "keep":
                return session.time.keep()
        return session.time.leave()

    def _say(self, word: str, stop: str) -> Said:
        """A word of a page. Meant for another stop than the one where the walk is by now, it counts nothing."""
        at = self._session.walker.stop
        now = at.name if at is not None else ""
        if stop != now:
            return Said(False, f"The walk has gone on{f' to {now}' if now else ''} meanwhile: nothing was taken down.")
        return self._session.do(word)

    # --- what is shown ---------------------------------------------------------------------------------------------

    def _state(self) -> State:
        session, walker = self._session, self._session.walker
        report = self._reported()
        return {
            "phase": walker.phase,
            "stop": self._stop(),
            "says": walker.says,
            "waits": walker.waits_for(),
            "links": session.lines(),
            "summary": summary(report),
            "faults": [[fault.what, list(fault.tries), list(fault.stops)] for fault in report.faults],
            "stops": [
                [one.name, kind_of(one), one.where, outcome(one, report.seen, report.answers), one in walker.stops]
                for one in report.seen.round.stops
            ],
            "time": session.time.state(),
            "trouble": session.trouble,
        }

    def _stop(self) -> dict[str, object]:
        walker, layout = self._session.walker, self._session.layout
        stop = walker.stop
        if stop is None:
            return {}
        output = layout.outputs.get(stop.name) if stop.sort == OUTPUT else None
        return {
            "at": walker.at + 1,
            "of": len(walker.stops),
            "name": stop.name,
            "sort": stop.sort,
            "kind": kind_of(stop),
            "where": stop.where,
            "task": walker.task,
            "caution": walker.caution or walker.taken,
            "fades": output is not None and output.dimmable,
            "state": walker.inputs.get(stop.name, ""),
        }

    def _reported(self) -> Report:
        """Made anew only when something has been answered: it weighs every guess."""
        mark = hash(frozenset(self._session.walker.answers.items()))
        if self._report is None or self._report[0] != mark:
            report = self._session.report
            self._report = (mark, report)
            self._texts = {"walk.md": markdown(report), "walk.csv": table(report)}
        return self._report[1]
