"""What outlasts a show: its journal, flags and counters that are kept, what its day has begun. Joins them to one
show and its screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.events import Input
from engine.program import Program
from engine.trace import Record, SceneIs
from wayside.journal import file as journal_file
from wayside.journal.hands import in_words
from wayside.journal.keeper import Journal
from wayside.journal.watch import Watch
from wayside.live import kept
from wayside.live.screen import Screen
from wayside.project import Project
from wayside.usage import INTERRUPTED

if TYPE_CHECKING:
    from adapters.link_run import LinkRun
    from wayside.live.day_kept import DayKept
    from wayside.live.showing import Show


class Memory:
    """Made before the show; `begins` before its first instant, `look` twice a second, `close` when it has ended.

    `of_a_day`: a show day was performed, which leaves its summary beside the layout file.
    """

    def __init__(
        self, project: Project, screen: Screen, dry: bool, keeps_journal: bool, of_a_day: bool = False
    ) -> None:
        self._project, self._screen, self._dry, self._of_a_day = project, screen, dry, of_a_day
        self._journal: Journal | None = None
        self._watch: Watch | None = None
        self._kept: kept.Kept | None = None
        self._day: DayKept | None = None
        self._trouble = self._day_trouble = ""
        if keeps_journal:
            self._journal = Journal(journal_file.file_for(project.layout_file), project.layout.keeping)
            self._watch = Watch(self._journal, project.program, project.name, dry=dry)
            screen.said = self._watch.said

    def begins(self, show: Show, runs: Sequence[LinkRun] = (), seed: int = 0) -> None:
        """Before the first instant: kept flags hold what they held, and the journal has its first entries."""
        path = kept.file_for(self._project.layout_file, self._dry)
        values, trouble = kept.read(path, self._project.program)
        self._kept = kept.Kept(show.kernel, path, values)
        if self._journal is not None and self._watch is not None:
            self._journal.start()
            self._watch.begins(show, runs, seed)
        for text in (trouble, kept.as_text(values)):
            if text:
                self._screen.remark(text)

    def perform(self, program: Program) -> None:
        """Another program is performed from now on."""
        if self._watch is not None:
            self._watch.perform(program)
        if self._kept is not None:
            self._kept.swapped()

    def keeps_day(self, day: DayKept, trouble: str) -> None:
        """The show performs a day by the hall's time: what it begins is not begun again by a show after it."""
        self._day = day
        self._keep_day(trouble)

    def record(self, record: Record) -> None:
        """A record of the trace: shown, and written down."""
        if self._day is not None and isinstance(record, SceneIs):
            self._day.keep()  # at once: the show may be killed
        if self._watch is not None:
            self._watch.record(record)
        self._screen.record(record)

    def typed(self, line: str) -> None:
        if self._watch is not None:
            self._watch.typed(line)

    def asked(self, inputs: Sequence[Input]) -> None:
        """Somebody asked for this on a page."""
        for one in inputs:
            self.typed(f"on the desk: {in_words(one)}")

    def mark(self, note: str) -> None:
        """Somebody saw something odd."""
        if self._watch is None:
            self._screen.remark("There is no journal that could be marked: this show runs with --no-journal.")
            return
        self._watch.mark(note)
        self._screen.remark(
            f"Marked{f': {note}' if note else ''}. `wayside journal FOLDER --mark` shows what came before."
        )

    def look(self) -> None:
        """What is done twice a second."""
        if self._watch is not None:
            self._watch.look()
        if self._journal is not None:
            for text in self._journal.messages():
                self._screen.remark(text)
        self._keep(self._kept.keep() if self._kept is not None else "")
        self._keep_day(self._day.keep() if self._day is not None else "")

    def _keep(self, trouble: str) -> None:
        if trouble and trouble != self._trouble:
            self._screen.remark(trouble)
        self._trouble = trouble

    def _keep_day(self, trouble: str) -> None:
        if trouble and trouble != self._day_trouble:
            self._screen.remark(trouble)
        self._day_trouble = trouble

    def close(self, how: str, status: int) -> None:
        """The show has ended: write what is left, and say how it went. A second time does nothing."""
        if self._kept is not None:
            self._keep(self._kept.close())
            self._kept = None
        if self._day is not None:
            self._keep_day(self._day.close())
            self._day = None
        journal, watch = self._journal, self._watch
        if journal is None or watch is None:
            return
        self._journal = self._watch = None
        self._screen.said = lambda text: None
        watch.ended(how, status)
        for text in journal.close():
            self._screen.remark(text)
        if self._of_a_day and status != INTERRUPTED:  # who ends at once will not wait for a picture
            from wayside.journal import closing as journal_closing

            for text in journal_closing.closes(journal.path, watch.began_us):
                self._screen.remark(text)
        else:
            self._say_how_it_went(journal, watch)

    def _say_how_it_went(self, journal: Journal, watch: Watch) -> None:
        """A few lines from the journal itself: what cannot be read there was not written."""
        from wayside.journal import read as journal_read
        from wayside.journal import summary as journal_summary

        entries = journal_read.of_show(journal.path, watch.began_us)
        if entries:
            self._screen.remark("\n".join(journal_summary.short(entries)))
