"""What a walk tells its outputs by: the layout's links, or nothing at all in a dry one. Opens and closes the links."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from adapters.dialects import BadWords
from adapters.link_run import LinkRun
from adapters.link_states import TIMES, State, Times
from engine.events import Detected, Input, Pressed
from engine.layout import NOWHERE, Layout, Link
from engine.trace import Told
from engine.waves import Wave
from wayside.usage import UsageProblem
from wayside.walk.signs import Heard

_SETTLED = (State.TALKING, State.SILENT, State.GONE)
NO_PORT = "no port is named for it"
NAME_ONE = "write its port in the layout file, or behind --port"


class DryHand:
    """Tells nothing to anybody; a person may answer all the same, with the layout in their head or before them."""

    def tell(self, output: str, wave: Wave, at_us: int) -> None:
        """Nothing is told."""

    def heard(self, link: str) -> Heard:
        return Heard(link)

    def strange(self, link: str) -> Mapping[int, int]:
        return {}


class LinkHand:
    """The links of a walk. `hear` is called, from any thread, when there is something to take."""

    def __init__(
        self,
        layout: Layout,
        links: Sequence[Link],
        now_us: Callable[[], int],
        hear: Callable[[], None],
        times: Times = TIMES,
    ) -> None:
        self._runs: dict[str, LinkRun] = {}
        for link in links:
            try:
                self._runs[link.name] = LinkRun(layout, link, now_us, hear, times)
            except BadWords as bad:
                raise UsageProblem(f"link {link.name}: {bad}") from bad

    def start(self) -> None:
        for run in self._runs.values():
            run.start()

    def stop(self) -> None:
        for run in self._runs.values():
            run.stop()

    @property
    def settled(self) -> bool:
        """Whether each link has come to talk, or something else is to be done first."""
        return all(_settled(run) for run in self._runs.values())

    @property
    def idle(self) -> bool:
        """Whether all has been told that was to be told."""
        return all(run.idle for run in self._runs.values())

    def take(self) -> list[Input]:
        """What has been heard since the last time."""
        return [event for run in self._runs.values() for event in run.take()]

    def tell(self, output: str, wave: Wave, at_us: int) -> None:
        told = Told(at_us, output, wave, "", NOWHERE, "walk")
        for run in self._runs.values():
            run.want(output, told)

    def heard(self, link: str) -> Heard:
        run = self._runs.get(link)
        if run is None:
            return Heard(link, False, what=NO_PORT, instead=NAME_ONE)
        health = run.health()
        talks = health.state is State.TALKING
        return Heard(link, talks, health.power, health.what, health.instead, health.refused)

    def strange(self, link: str) -> Mapping[int, int]:
        run = self._runs.get(link)
        return {} if run is None else run.strange()

    def lines(self) -> list[str]:
        """One for each link: how it is, and what to try."""
        found = []
        for name, run in self._runs.items():
            heard = self.heard(name)
            if heard.talks:
                refused = f", and has refused {heard.refused} of what it was told" if heard.refused else ""
                found.append(f"link {name} ({run.link.port}) talks{refused}")
                continue
            instead = f" {heard.instead[:1].upper()}{heard.instead[1:]}." if heard.instead else ""
            found.append(f"link {name} ({run.link.port}): {heard.what}.{instead}")
        return found


def typed_input(line: str, layout: Layout) -> Input | None:
    """`lane occupied`, `lane clear`, `evening-button pressed`, `evening-button let go`; None for anything else."""
    name, _, state = line.partition(" ")
    if name in layout.detectors and state in ("occupied", "clear"):
        return Detected(name, state)
    if name in layout.buttons and state in ("pressed", "let go"):
        return Pressed(name, state == "pressed")
    return None


def _settled(run: LinkRun) -> bool:
    health = run.health()
    not_opened = health.state is State.UNPLUGGED and health.instead
    return bool(health.state in _SETTLED or health.power in ("off", "overload") or not_opened)
