"""Timing a train from the page of a walk: which stretches, the watch, what its seconds mean, and keeping them.

Reads the scenes when it is first asked for, since only they say what has to fit. Tells no output anything.
"""

from __future__ import annotations

from pathlib import Path

from wayside.hall_time import now
from wayside.project import Project, load
from wayside.usage import UsageProblem
from wayside.walk.timing import Target, Watch, fits, targets
from wayside.walk.timing_keeping import keep
from wayside.walk.walker import Said


class WalkTime:
    """At most one train at a time."""

    def __init__(self, layout_file: Path) -> None:
        self._file = layout_file
        self._project: Project | None = None
        self.watch: Watch | None = None
        self.says = ""
        self.verdict: list[str] = []
        self.fits: bool | None = None
        self.kept = False

    def choices(self) -> list[str]:
        """What can be timed, as `up-line: up-approach to lane`."""
        return [_named(one) for one in self._targets()]

    def _targets(self) -> list[Target]:
        project = self._read()
        if project is None:
            return []
        return [one for track in project.layout.tracks.values() for one in targets(project.program, track)]

    def _read(self) -> Project | None:
        """The layout with its scenes; None where they have errors."""
        if self._project is None:
            try:
                project = load([self._file.parent])
            except UsageProblem:
                return None
            self._project = None if project.errors else project
        return self._project

    def begin(self, choice: str) -> Said:
        """Time a train there."""
        found = next((one for one in self._targets() if _named(one) == choice), None)
        if found is None:
            return Said(False, "There is no such stretch to time; `wayside check` may say why.")
        self.leave()
        self.watch = Watch(found)
        self.says = f"Let the fastest train come: from {found.begin} to {found.end}."
        return Said()

    def press(self, now_us: int) -> Said:
        """A hand: the nose passes just now."""
        if self.watch is None:
            return Said(False, "No train is being timed.")
        self._heard(self.watch.press(now_us))
        return Said()

    def hear(self, detector: str, state: str, now_us: int) -> None:
        """A detector has become so."""
        if self.watch is not None:
            self._heard(self.watch.hear(detector, state, now_us))

    def _heard(self, says: str) -> None:
        watch = self.watch
        self.says = says or self.says
        if watch is None or watch.took_us is None or self.verdict or self._project is None:
            return
        found = list(fits(self._project.program, watch.target, watch.took_us, watch.by_hand))
        self.fits = all(fit.fits for fit in found) if found else None
        for fit in found:
            self.verdict += [fit.says, *(f"{number}. {way}" for number, way in enumerate(fit.helps, 1))]
        self.verdict = self.verdict or ["No scene closes a crossing there, so nothing has to fit in it."]

    def keep(self) -> Said:
        """Into the layout file."""
        watch, project = self.watch, self._project
        if watch is None or watch.took_us is None or project is None:
            return Said(False, "No train has been timed.")
        today = now(project.layout).date()
        track = project.layout.tracks[watch.target.track]
        self.kept, says = keep(self._file, track, watch.target, watch.took_us, today)
        self._project = None if self.kept else project  # it is read anew, with what is kept in it
        return Said(self.kept, says)

    def leave(self) -> Said:
        """No train is timed any more."""
        self.watch, self.says, self.verdict, self.fits, self.kept = None, "", [], None, False
        return Said()

    def state(self) -> dict[str, object]:
        """What a page shows of it."""
        watch = self.watch
        return {
            "of": "" if watch is None else _named(watch.target),
            "begin": "" if watch is None else watch.target.begin,
            "end": "" if watch is None else watch.target.end,
            "running": watch is not None and watch.running,
            "took": watch is not None and watch.took_us is not None,
            "says": self.says,
            "verdict": list(self.verdict),
            "fits": self.fits,
            "kept": self.kept,
        }


def _named(target: Target) -> str:
    return f"{target.track}: {target}"
