"""The desk of one show: reads the show for the pages, and carries out what they ask. Joins show, hub, app and server.

Everything that touches the show is done in the show's own thread.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING, Protocol

from engine.events import ByHand
from engine.trace import Broke, LinkIs, Record, SceneIs, Trouble
from wayside.desk import servos as desk_servos
from wayside.desk.app import Desk as App
from wayside.desk.app import Done
from wayside.desk.day import coming
from wayside.desk.door import Door
from wayside.desk.facts import facts
from wayside.desk.hub import Hub
from wayside.desk.orders import Asked, Order, asked
from wayside.desk.server import Server
from wayside.desk.state import Reader, State, difference
from wayside.desk.trains import SentTrains
from wayside.live.hands import Answer
from wayside.live.showing import Show
from wayside.project import Project
from wayside.rehearsal.playing import drivers_see

if TYPE_CHECKING:
    from engine.day import Plan
    from engine.show_day import ShowDay

MOVES_EVERY_S = 0.1  # while something moves and a page is open, pages are told so often
LOOKS_EVERY_S = 0.5
ANSWERS_WITHIN_S = 5.0


class Performer(Protocol):
    """What the desk needs of a show with a person at it."""

    def obey(self, answer: Answer) -> list[str]:
        """Do what an answer means; sentences for who asked."""

    def say(self, text: str) -> None:
        """Something to read for everybody: on the screen, and so on the pages."""

    def mark(self, note: str) -> None:
        """Something odd was seen just now: into the journal."""

    def swap(self, how: str, number: int) -> Done:
        """What becomes of edited scene files: the offer of this number."""


class Desk:
    """Made before the show begins, so that a port that cannot be had is said first."""

    def __init__(self, port: int, lan: bool) -> None:
        self.door = Door(port, lan)
        self.lan = lan
        self.trains: SentTrains | None = None
        self._reader: Reader | None = None
        self._hub: Hub | None = None
        self._touched = asyncio.Event()
        self._before: State = {}
        self._talked: set[str] = set()
        self._tasks: list[asyncio.Task[None]] = []
        self._edited: Callable[[], list[object]] = list
        self._server: Server | None = None

    # --- the show's side -------------------------------------------------------------------------------------------

    def stage(self, project: Project, show: Show, dry_run: bool) -> None:
        """The show that it is the desk of."""
        if dry_run:
            self.trains = SentTrains(project.layout, drivers_see(show.kernel, project.layout))
        self._project, self._show, self._dry_run = project, show, dry_run
        self._reader = Reader(show, self.trains)
        self._hub = Hub(secrets.token_urlsafe(9), {})
        self._hub.now_us = show.clock.now_us

    def shows_day(self, day: ShowDay, plan: Plan) -> None:
        """The show performs a show day: pages are told what of it comes next."""
        if self._reader is not None:
            self._reader.coming = partial(coming, day, plan)

    def record(self, record: Record) -> None:
        """From the trace, as it is made."""
        reader = self._reader
        if reader is None:
            return
        match record:
            case SceneIs(at_us, scene, state, why):
                reader.scene_is(scene, state, at_us, why)
            case Trouble(at_us, text):
                reader.fault = (at_us, text)
            case Broke(at_us, rule):
                reader.fault = (at_us, f"rule {rule} was broken")
            case LinkIs(_, link, "talking"):
                self._talked.add(link)
            case LinkIs(at_us, link, state) if link in self._talked:  # before, it has only not come yet
                reader.fault = (at_us, f"link {link} is {state}")
        self._touched.set()

    def remark(self, text: str) -> None:
        """What is said on the screen is said on the pages, too."""
        if self._hub is not None:
            self._hub.event(text.strip())
            self._touched.set()

    def start(
        self,
        performer: Performer,
        links: Callable[[], Iterable[str]],
        rules: Callable[[], dict[str, tuple[int, int]]],
        edited: Callable[[], list[object]],
    ) -> None:
        """Open the page. To be called in the show's loop."""
        assert self._hub is not None
        loop = asyncio.get_running_loop()
        self._edited = edited
        self._hub.facts = self._facts()  # a show day has set the hall's time by now

        async def carry_out(order: Order) -> Done:
            future = asyncio.run_coroutine_threadsafe(self._carried_out(order, performer), loop)
            return await asyncio.wait_for(asyncio.wrap_future(future), ANSWERS_WITHIN_S)

        app = App(self._hub, self.door.sessions, carry_out)
        self._app = app
        self._server = Server(app.app, self.door.socket, self._hub.serve)
        app.stream.let_go = self._server.doors.cut
        self._publish(links, rules)
        self._server.start()
        self._tasks = [asyncio.ensure_future(self._tell(links, rules))]

    def stop(self) -> None:
        """The show is over: the pages are told, then the server ends."""
        for task in self._tasks:
            task.cancel()
        if self._hub is not None:
            self._hub.publish({"show": "over"})
        if self._server is not None:
            self._app.stream.closing = True
            self._server.stop()
        else:
            self.door.socket.close()

    def _facts(self) -> dict[str, object]:
        kernel = self._show.kernel
        return facts(kernel.program, self._project.name, self._dry_run, kernel.hall_starts_s)

    def performs(self) -> None:
        """Another program has been swapped in: pages that know other scenes or rules are begun anew."""
        assert self._hub is not None
        found = self._facts()
        if found != self._hub.facts:
            self._hub.renew(secrets.token_urlsafe(9), found)
            self._before = {}
        self._touched.set()

    async def _tell(self, links: Callable[[], Iterable[str]], rules: Callable[[], dict[str, tuple[int, int]]]) -> None:
        """Read the show whenever something happened in it, and while something moves that somebody watches."""
        assert self._hub is not None
        assert self._reader is not None
        while True:
            watched = self._reader.moving and self._hub.pages
            try:
                async with asyncio.timeout(MOVES_EVERY_S if watched else LOOKS_EVERY_S):
                    await self._touched.wait()
                await asyncio.sleep(0.03)  # what happens in one go is told in one
            except TimeoutError:
                pass
            self._touched.clear()
            self._publish(links, rules)

    def _publish(self, links: Callable[[], Iterable[str]], rules: Callable[[], dict[str, tuple[int, int]]]) -> None:
        assert self._hub is not None
        assert self._reader is not None
        self._reader.links, self._reader.rules = links(), rules()
        state = self._reader.read() | {"files": self._edited()}
        self._hub.publish(difference(self._before, state))
        self._before = state

    # --- orders ----------------------------------------------------------------------------------------------------

    async def _carried_out(self, order: Order, performer: Performer) -> Done:
        what = asked(order, self._show.kernel.program, self._dry_run)
        if what.here is not None:
            return await self._set_here(*what.here, performer)
        return self._do(what, performer)

    async def _set_here(self, name: str, end: str, performer: Performer) -> Done:
        """The disk may take its time, so a thread writes, and the show goes on."""
        kernel = self._show.kernel
        change, why = desk_servos.here(kernel, name, end, self._show.now_us)
        if change is None:
            return False, [why]
        fine, says = await asyncio.to_thread(desk_servos.write, self._project.layout_file, change, kernel)
        if fine:
            performer.say(f"from a page: {end} of {name} is {change.value} in the layout file")
        return fine, [says]

    def _do(self, what: Asked, performer: Performer) -> Done:
        if not what.fine:
            return False, [what.answer.says]
        if what.aloud:
            performer.say(f"from a page: {what.aloud}")
        if what.mark is not None:
            performer.mark(what.mark)
            return True, ["Marked."]
        if what.swap is not None:
            fine, said = performer.swap(*what.swap)
            self._touched.set()
            return fine, said
        if what.train is not None or what.lifted is not None:
            return self._train(what, performer)
        if what.step is not None:
            return self._step(*what.step, performer)
        says = performer.obey(what.answer)
        return not says, says

    def _step(self, name: str, by: float, performer: Performer) -> Done:
        found = desk_servos.step(self._show.kernel, name, by, self._show.now_us)
        if found.why_not:
            return False, [found.why_not]
        says = performer.obey(Answer((ByHand(name, found.to),)))
        if not says:
            performer.say(f"from a page: step {name} to {found.to:g} deg")
        return not says, says

    def _train(self, what: Asked, performer: Performer) -> Done:
        if self.trains is None:
            return False, ["Trains are sent in a dry run only."]
        now_us = self._show.now_us
        if what.train is not None:
            says = self.trains.send(*what.train, now_us)
            fine = " sets out " in says
        else:
            events, says = self.trains.take_away(what.lifted or 0, now_us)
            self._show.inputs.put(*events)
            fine = says.endswith("taken away.")
        if fine:
            performer.say(f"from a page: {says}")
            self._show.inputs.wake.set()
        return fine, [says]
