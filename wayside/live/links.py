"""The links of a show: opened, watched, spoken of in plain words, and closed again. Knows no screen and no scene."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations
from typing import NamedTuple

from adapters.dialects import BadWords
from adapters.link_run import LinkRun
from adapters.link_states import TIMES, State, Times
from engine.events import Input
from engine.layout import Layout, Link
from wayside.layout.links import meant_port
from wayside.usage import UsageProblem
from wayside.wording import listed

RESETS = (
    "Opening it may reset the station and stop trains (`resets when opened: no` in the layout file keeps Wayside from "
    "that)."
)
_NUMBER = re.compile(r"\b[0-9]+\b")
NETWORK = ("socket:", "loop:")  # opening these works no control line, so nothing is reset by it


def links_of(layout: Layout, ports: Sequence[str]) -> list[Link]:
    """The links with a port, as the layout file or the command line (`--port main=/dev/ttyUSB0`) says.

    Raises UsageProblem where none has one, or a name is unknown.
    """
    given = dict(_given(word, layout) for word in ports)
    links = [replace(link, port=given.get(link.name, link.port)) for link in layout.links.values()]
    wired = [link for link in links if link.port]
    if not wired:
        raise UsageProblem(
            "No link of this layout says its port. Write it in the layout file (`port: /dev/ttyUSB0`) or behind "
            "--port, or see the show with no hardware: --dry-run."
        )
    for one, other in combinations(wired, 2):
        if one.port == other.port and not one.port.lower().startswith("loop:"):
            raise UsageProblem(f"{one.name} and {other.name} have one port, {one.port}. Give one of them its own port.")
    return wired


def _given(word: str, layout: Layout) -> tuple[str, str]:
    """`main=/dev/ttyUSB0`, or just the port where there is one link."""
    name, equals, port = word.partition("=")
    if meant := meant_port(port or name):
        raise UsageProblem(
            f"--port {word}: no device and no address is called that. Write {name + equals if port else ''}{meant}."
        )
    if not equals or "://" in name:
        if len(layout.links) != 1:
            one = next(iter(layout.links), "")
            for_example = f"Write for example --port {one}={word}." if one else "The layout has none."
            raise UsageProblem(f"--port {word}: which link is meant? {for_example}")
        return next(iter(layout.links)), word
    if name not in layout.links:
        there_is = f" There is {', '.join(layout.links)}." if layout.links else " The layout has none."
        raise UsageProblem(f"--port {word}: the layout has no link {name}.{there_is}")
    return name, port


def may_reset(link: Link) -> bool:
    """Whether opening its port may make the station start anew."""
    return link.resets and not link.port.lower().startswith(NETWORK)


class Unreached(NamedTuple):
    """Guarded outputs of a link that may not be in their safe state, and why."""

    link: str
    outputs: tuple[str, ...]
    why: str


class Links:
    """All of them. `say` is given a sentence when one changes."""

    def __init__(
        self,
        layout: Layout,
        links: Sequence[Link],
        now_us: Callable[[], int],
        say: Callable[[str], None],
        times: Times = TIMES,
    ) -> None:
        self._layout = layout
        self._say = say
        self._put: Callable[..., None] = lambda *_: None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._said: dict[str, str] = {}
        self.runs: list[LinkRun] = []
        for number, link in enumerate(links):
            try:
                run = LinkRun(layout, link, now_us, partial(self._heard, number), times)
            except BadWords as bad:
                raise UsageProblem(f"link {link.name}: {bad}") from bad
            self.runs.append(run)

    def start(self, put: Callable[..., None]) -> None:
        """Open every port. `put` takes inputs, in the loop's own thread."""
        self._put, self._loop = put, asyncio.get_running_loop()
        for run in self.runs:
            self._say(f"link {run.link.name}: opening {run.link.port}.{f' {RESETS}' if may_reset(run.link) else ''}")
            run.start()
        for name in self._without_port():
            self._say(f"link {name} has no port: its outputs are told nothing, and its detectors are worked by hand.")
        nowhere = [one.name for one in self._layout.detectors.values() if self._layout.link_of(one.wiring) is None]
        if nowhere:
            is_ = "is" if len(nowhere) == 1 else "are"
            self._say(f"{listed(nowhere, 6)} {is_} on no link in the layout file, and worked by hand only.")

    def _without_port(self) -> list[str]:
        wired = {run.link.name for run in self.runs}
        return [name for name in self._layout.links if name not in wired]

    def _heard(self, number: int) -> None:
        """Called by a link's thread: there is something to take."""
        if self._loop is not None:
            try:
                self._loop.call_soon_threadsafe(self._take, number)
            except RuntimeError:  # the show is over and its loop closed
                return

    def _take(self, number: int) -> None:
        events: list[Input] = self.runs[number].take()
        if events:
            self._put(*events)

    def look(self) -> None:
        """Say what has changed since the last look."""
        for line, run in zip(self.lines(), self.runs, strict=True):
            state = _NUMBER.sub("", run.health().what)  # that it has refused one more is not said anew
            if self._said.get(run.link.name) != state:
                self._said[run.link.name] = state
                self._say(f"link {line}")

    def lines(self) -> list[str]:
        """One for each link: how it is, and what to try."""
        return [f"{run.link.name} ({run.link.port}): {_words(run)}" for run in self.runs]

    def not_talking(self, detectors: Iterable[str] | None = None) -> list[str]:
        """Links that do not talk, and what they do instead; of all of them, or of those that some detectors hang on."""
        wired = {
            link.name
            for name in detectors or ()
            if (link := self._layout.link_of(self._layout.detectors[name].wiring)) is not None
        }
        runs = [run for run in self.runs if detectors is None or run.link.name in wired]
        return [f"{run.link.name}: {run.health().what}" for run in runs if run.state is not State.TALKING]

    def unreached(self) -> list[Unreached]:
        """What cannot be said to be safe at the end of a show. To be asked before `stop`."""
        found = []
        runs = {run.link.name: run for run in self.runs}
        for name, outputs in guarded_on(self._layout).items():
            run = runs.get(name)
            if run is None:
                found.append(Unreached(name, outputs, "it has no port"))
            elif run.state is not State.TALKING:
                found.append(Unreached(name, outputs, run.health().what))
            elif not run.idle:
                found.append(Unreached(name, outputs, "it has not taken everything"))
        return found

    def order(self, operation: str) -> None:
        """Tell every link that hears. One that does not is told nothing later: hands may be on the track then."""
        for run in self.runs:
            name = run.link.name
            if run.state not in (State.WAITING, State.TALKING):
                self._say(f"link {name} does not hear now, and is not told {operation}: {run.health().what}.")
            elif run.order(operation):
                self._say(f"link {name} is told {operation}.")
            else:
                self._say(f"link {name} has no words for {operation}.")

    def stop(self) -> None:
        for run in self.runs:
            run.stop()


def _words(run: LinkRun) -> str:
    health = run.health()
    shown = health.state is State.TALKING and health.late_p99_us
    late = f", commands at most {health.late_p99_us / 1_000:.1f} ms late" if shown else ""
    tried = f" {health.instead[:1].upper()}{health.instead[1:]}." if health.instead else ""
    return f"{health.what}{late}.{tried}"


def guarded_on(layout: Layout) -> dict[str, tuple[str, ...]]:
    """The guarded outputs of each link; a signal hangs on the links of its parts."""
    found: dict[str, dict[str, None]] = {}
    for output in layout.outputs.values():
        parts = [layout.outputs[name] for aspect in output.aspects for name, _ in aspect.parts]
        for one in (output, *parts) if output.guarded else ():
            link = layout.link_of(one.wiring)
            if link is not None:
                found.setdefault(link.name, {})[output.name] = None
    return {name: tuple(outputs) for name, outputs in found.items()}
