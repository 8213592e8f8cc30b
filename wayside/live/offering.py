"""Edited scene files and the show that runs: what was saved is offered, and swapped in when somebody says so.

In a dry run what is fine is swapped in by itself as soon as its scenes are idle; in a show on links only ever on
request. One offer at a time, the last. Knows no screen and no web: it is asked, and says sentences.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from enum import Enum
from typing import NamedTuple

from engine.events import KeepOld, Swap
from engine.show_day import Phase, ShowDay
from engine.swapping import Difference, alike, difference, in_words
from wayside import wording
from wayside.live.scene_files import Contents, Saved
from wayside.live.showing import Show
from wayside.project import Project

MOST_NAMED = 4  # scenes in one sentence
MOST_LINES = 12  # of what a check says; a page, and `wayside check`, have it all


class Stand(Enum):
    """How an offer stands."""

    NONE = ""
    WRONG = "wrong"  # it has errors
    RESTART = "restart"  # it is fine, but no running show can take it up
    OFFERED = "offered"
    WHEN_IDLE = "when idle"  # it is swapped in when its scenes are idle
    NOW = "now"  # its scenes are being stopped for it
    LEFT = "left"  # somebody has said that the show goes on with what it has


class _Offer(NamedTuple):
    number: int
    names: str
    project: Project
    contents: Contents
    difference: Difference


class Offering:
    """One for a show. `saved` hears of files, `asked` of hands, `swapped` of the show."""

    def __init__(
        self, project: Project, show: Show, dry_run: bool, say: Callable[[str], None], day: ShowDay | None = None
    ) -> None:
        self.project = project  # what is performed
        self.number = 0
        self.stand = Stand.NONE
        self.names = self.says = ""
        self._show, self._dry_run, self._say, self._day = show, dry_run, say, day
        self._offer: _Offer | None = None
        self.performs: Callable[[Project, Contents], None] = lambda project, contents: None  # hears what was taken up
        show.swapped = self._swapped

    # --- files -----------------------------------------------------------------------------------------------------

    def saved(self, saved: Saved | None) -> None:
        """Files were saved and checked; None: they are again as they are performed."""
        self._withdraw()
        if saved is None:
            self.stand, self.names, self.says = Stand.NONE, "", ""
            return
        self.names, self.says = ", ".join(saved.names), saved.checked.says
        project = saved.checked.project
        if project is None:
            self.stand = Stand.WRONG
            self._say(f"{self.names} was saved, and something is wrong. The show goes on with what it has.")
            self._say(_first_lines(saved.checked.says))
            return
        if why := self._why_not(saved, project):
            self.stand, self.says = Stand.RESTART, why
            self._say(f"{self.names} was saved, and nothing is wrong. {why}")
            return
        self.number += 1
        program = replace(project.program, layout=self.project.layout)
        found = difference(self._show.kernel.program, program)
        self._offer = _Offer(self.number, self.names, project._replace(program=program), saved.contents, found)
        self.stand = Stand.OFFERED
        by_itself = self._dry_run and not saved.missing
        if by_itself:
            self._want(Stand.WHEN_IDLE)
        self._say(self._offered(by_itself))

    def _withdraw(self) -> None:
        """What was offered is no more what the files hold."""
        self._offer = None
        if self._show.kernel.swapping.wanted is not None or self.stand in (Stand.WHEN_IDLE, Stand.NOW):
            self._show.inputs.put(KeepOld())

    def _why_not(self, saved: Saved, project: Project) -> str:
        if not alike(project.layout, self.project.layout):
            what = self.names if saved.layout else "A table that the layout file reads"
            return f"{what} says something else of the layout, which a running show keeps: begin the show anew for it."
        if self._day is not None and self._day.name not in project.program.days:
            return f"The day {self._day.name}, which is performed, is gone from it: begin the show anew for it."
        return ""

    def _offered(self, by_itself: bool) -> str:
        assert self._offer is not None
        what = f"{self.names} was saved, and nothing is wrong: {in_words(self._offer.difference)}."
        waits = self.waits
        if by_itself:
            when = f"It is swapped in when {_ended(waits)}; type swap now not to wait." if waits else ""
            return f"{what} {when}".rstrip()
        how = f", which first stops {wording.listed(list(waits), MOST_NAMED)}; or swap when idle" if waits else ""
        return f"{what} The show goes on with what it has. Type swap now to swap it in{how}."

    # --- hands -----------------------------------------------------------------------------------------------------

    @property
    def waits(self) -> tuple[str, ...]:
        """The running scenes that differ in what is offered."""
        if self._offer is None:
            return ()
        return tuple(name for name in self._show.kernel.cast.runs if name in self._offer.difference.touched)

    def asked(self, how: str, number: int | None = None) -> tuple[bool, str]:
        """`now`, `when idle` or `never`, of the offer of that number; whether it is done, and a sentence."""
        offer, waits = self._offer, self.waits
        if offer is None:
            return False, self._nothing()
        if number is not None and number != offer.number:
            return False, f"{offer.names} has been saved again since: look at the new offer first."
        if how == "never":
            if self.stand in (Stand.WHEN_IDLE, Stand.NOW):
                self._show.inputs.put(KeepOld())
            self.stand = Stand.LEFT
            return True, f"The show goes on with what it has. {offer.names} can still be swapped in: swap now."
        if self._show.kernel.closed or (self._day is not None and self._day.phase not in (Phase.BEFORE, Phase.OPEN)):
            return False, "The show is ending: nothing is swapped in any more."
        self._want(Stand.NOW if how == "now" else Stand.WHEN_IDLE)
        if not waits:
            return True, f"{offer.names} is swapped in at once."
        stopped = f"{wording.listed(list(waits), MOST_NAMED)} {'is' if len(waits) == 1 else 'are'} stopped first."
        return True, stopped if how == "now" else f"{offer.names} is swapped in when {_ended(waits)}."

    def _nothing(self) -> str:
        if self.stand is Stand.WRONG:
            return f"{self.names} has something wrong: put it right, and save it. The show goes on with what it has."
        if self.stand is Stand.RESTART:
            return self.says
        return "The scene files are as they are performed: there is nothing to swap in."

    def offered(self) -> str:
        """What is offered, as a sentence."""
        return self._offered(self.stand is Stand.WHEN_IDLE) if self._offer is not None else self._nothing()

    def _want(self, stand: Stand) -> None:
        assert self._offer is not None
        self.stand = stand
        self._show.inputs.put(Swap(self._offer.project.program, stand is Stand.NOW, self._offer.names))

    # --- the show --------------------------------------------------------------------------------------------------

    def _swapped(self) -> None:
        """The show has taken it up: what tells of it must know before it tells of anything more."""
        offer = self._offer
        if offer is None or self._show.kernel.program is not offer.project.program:
            return
        self._offer, self.stand = None, Stand.NONE
        self.names = self.says = ""
        self.project = offer.project
        self.performs(offer.project, offer.contents)
        if not offer.difference.something:
            self._say(f"{offer.names} is swapped in: nothing that is performed is changed by it.")

    def state(self) -> list[object]:
        """For a page: [how it stands, which files, what the check says, the offer's number, what it is, what waits]."""
        what = in_words(self._offer.difference) if self._offer is not None else ""
        return [self.stand.value, self.names, self.says, str(self.number), what, list(self.waits)]


def _ended(scenes: Sequence[str]) -> str:
    return f"{wording.listed(list(scenes), MOST_NAMED)} {'has' if len(scenes) == 1 else 'have'} ended"


def _first_lines(text: str) -> str:
    lines = text.splitlines()
    more = len(lines) - MOST_LINES
    rest = f"and {wording.count(more, 'more line')}; wayside check says it all"
    return "\n".join([*lines[:MOST_LINES], rest] if more > 0 else lines)
